"""The benchmarks run; their times are not judged here. And what they are fed is what they say."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
import yaml

from advisor.catalogue.load import load_catalogue, load_product
from advisor.studies.shortlist import shortlist
from tests.bench import (
    families,
    imports,
    inside,
    lives,
    processes,
    registry,
    reports,
    synthetic,
    tables,
    traces,
)
from tests.browsing import programs

pytestmark = pytest.mark.once

ROOT = Path(__file__).resolve().parent.parent


@pytest.mark.slow
@pytest.mark.smoke
@pytest.mark.parametrize("name", sorted(registry.BENCHMARKS))
def test_each_runs(name: str) -> None:
    if name == "page" and programs() is None and os.environ.get("CI") != "true":
        pytest.skip("no Chromium with its driver")
    rows = registry.BENCHMARKS[name].run(registry.SMOKE)
    assert rows
    for row in rows:
        assert row.ours > 0
        assert row.reference > 0
        assert row.what in registry.table(rows)


@pytest.mark.smoke
def test_the_command_lists_and_refuses() -> None:
    def call(*arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "tests.bench", *arguments],
            cwd=ROOT,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )

    listed = call("--list")
    assert listed.returncode == 0
    assert {line.split()[0] for line in listed.stdout.splitlines()} == set(registry.BENCHMARKS)
    assert call("no-such").returncode == 2


def test_drawn_parts_are_whole_and_differ(tmp_path: Path) -> None:
    """60 lines each, read without a fault, ranked, and no two of the same figures."""
    files = [synthetic.part_file(i) for i in range(20)]
    assert {len(text.splitlines()) for text in files} == {synthetic.LINES}
    assert synthetic.part_file(7) == files[7]
    figures = {yaml.dump({**yaml.safe_load(text), "part": 0, "summary": 0}) for text in files}
    assert len(figures) == len(files)
    catalogue = load_catalogue([synthetic.write_catalogue(tmp_path / "drawn", 20)])
    product = load_product(synthetic.PRODUCT.encode(), catalogue)
    found = shortlist(catalogue, product, draws=0)
    # what is timed must be the whole calculation, not parts that drop out at the door
    assert len(found.ranking) >= 15
    assert len({part.battery_life_s.nominal for part in found.ranking}) > 10


def test_a_miss_is_a_miss() -> None:
    row = registry.Row("ours", 3.0, "theirs", 2.0, 1.4)
    assert (row.ratio, row.met) == (1.5, False)
    assert registry.table([row]).startswith("MISS     1.50")
    assert registry.Row("ours", 2.8, "theirs", 2.0, 1.4).met


def test_turns_change_places() -> None:
    order: list[str] = []

    def work(name: str) -> float:
        order.append(name)
        return float(len(order))

    times = registry.turn_about(2, [lambda: work("a"), lambda: work("b")])
    assert order == ["a", "b", "b", "a"]
    assert times == [[1.0, 4.0], [2.0, 3.0]]


def test_the_empty_app_has_as_many_commands() -> None:
    from advisor.cli.application import app

    def count(typer_app: object) -> int:
        commands = len(getattr(typer_app, "registered_commands", []))
        groups = getattr(typer_app, "registered_groups", [])
        return commands + sum(count(group.typer_instance) for group in groups)

    program = processes.empty_app()
    assert program.count(".command(") == count(app) > 0
    compile(program, "empty.py", "exec")


def test_what_is_measured_is_registered() -> None:
    assert {b.run.__module__ for b in registry.BENCHMARKS.values()} == {
        inside.__name__,
        processes.__name__,
        tables.__name__,
        traces.__name__,
        reports.__name__,
        imports.__name__,
        families.__name__,
        lives.__name__,
    }
