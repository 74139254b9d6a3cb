"""`catalog import`: what is written and when, and how it is told."""

from __future__ import annotations

import csv
import io
import json
import os
from pathlib import Path

import pytest

from tests.cli.conftest import Caller
from tests.intake.packs import VALLEY, description, packed
from tests.intake.trees import EXAMPLE


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("valley.pdsc").write_text(VALLEY, "utf-8")
    Path("cells.dts").write_text(EXAMPLE, "utf-8")
    packed(Path("valley.pack"), {"a.pdsc": VALLEY})
    return tmp_path


def below(folder: str) -> list[str]:
    return sorted(str(p.relative_to(folder)) for p in Path(folder).rglob("*") if p.is_file())


def test_parts_and_cells_are_written_and_told(said: Caller) -> None:
    code, out, err = said("catalog", "import", "valley.pack", "--into", "ours", "--only", "vn4*")
    assert (code, err) == (0, "")
    assert below("ours") == [f"parts/{one}.yaml" for one in ("vn41a-qf", "vn41a-so", "vn41b")]
    assert out.startswith("Valley_DFP 2.1.0: 3 written into ours\n  1 were not asked for\n")
    assert "all: maker, lifecycle, operating-points.full.idle-current, kernels" in out
    assert "vn41b: memory not counted: Mirror, another address of SRAM" in out
    code, out, _ = said("catalog", "import", "cells.dts", "--into", "ours", "--format", "json")
    found = json.loads(out)
    assert code == 0
    assert found["entries"][0]["file"] == "cells/battery.yaml"
    assert "price" in found["entries"][0]["lacks"]
    code, out, _ = said("catalog", "check", "--catalog", "ours")
    assert (code, "no fault in 3 parts, 1 cell" in out) == (0, True)
    code, out, _ = said("catalog", "import", "valley.pack", "--into", "ours", "--format", "csv")
    rows = list(csv.DictReader(io.StringIO(out)))
    assert [row["state"] for row in rows] == ["stands", "stands", "stands", "new"]


def test_a_dry_run_writes_nothing(said: Caller) -> None:
    code, out, _ = said("catalog", "import", "valley.pdsc", "--into", "ours", "--dry-run")
    assert (code, "4 would be written into ours" in out) == (0, True)
    assert not Path("ours").exists()


@pytest.mark.parametrize("form", ["table", "json"])
def test_nothing_is_written_where_anything_is_wrong(said: Caller, form: str) -> None:
    Path("ours/parts").mkdir(parents=True)
    Path("ours/parts/vn70.yaml").write_text("part: vn70\n")
    Path("bad.pdsc").write_text(description('<device Dname="A"/><device Dname="a"/>'))
    for call in (
        ("valley.pdsc", "--into", "ours"),
        ("bad.pdsc", "--into", "ours"),
        ("valley.pdsc", "--into", "ours/parts/vn70.yaml"),
        ("valley.pdsc", "--into", "none/ours"),
        ("valley.pdsc", "--into", "ours", "--only", "vn4*", "-o", "ours/parts/vn41b.yaml"),
        ("valley.pdsc", "--into", "new", "--only", "vn4*", "-o", "valley.pdsc"),
        ("valley.pdsc", "--into", "new", "-o", "none/out"),
        ("valley.pdsc", "--into", "new", "-o", "new"),
        ("valley.zip", "--into", "new"),
        ("none.pdsc", "--into", "new"),
    ):
        code, out, err = said("catalog", "import", *call, "--format", form)
        assert (code, out) == (2, ""), call
        assert err
        assert below("ours") == ["parts/vn70.yaml"], call
        assert not Path("new").exists(), call
    assert Path("valley.pdsc").read_text("utf-8") == VALLEY


def test_an_entry_that_stands_is_not_written_over_by_the_answer(said: Caller) -> None:
    assert said("catalog", "import", "valley.pdsc", "--into", "ours")[0] == 0
    before = Path("ours/parts/vn41b.yaml").read_bytes()
    code, _, err = said(
        "catalog", "import", "valley.pdsc", "--into", "ours", "-o", "ours/parts/vn41b.yaml"
    )
    assert (code, "a file that is imported" in err) == (2, True)
    assert Path("ours/parts/vn41b.yaml").read_bytes() == before


@pytest.mark.skipif(os.geteuid() == 0, reason="whoever may do anything may write there")
def test_a_folder_that_cannot_be_written(said: Caller) -> None:
    Path("ours").mkdir(mode=0o500)
    assert said("catalog", "import", "valley.pdsc", "--into", "ours")[0] == 2


def test_many_entries_are_folded_on_the_screen_alone(said: Caller) -> None:
    devices = "".join(
        f'<device Dname="D{i}"><feature type="QFP" n="{i}"/></device>' for i in range(60)
    )
    Path("many.pdsc").write_text(description(devices))
    code, out, _ = said("catalog", "import", "many.pdsc", "--into", "ours", "--width", "80")
    assert (code, len(below("ours"))) == (0, 60)
    assert "and 20 more; --format csv lists them all" in out
    assert "  all: lifecycle, " in out
    assert out.count("package QFP") == 40
    assert "and 20 more; --format csv tells them all" in out
