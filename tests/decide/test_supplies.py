"""What loads and blocks take as their supply rules builds out, with its reason in words."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from advisor.catalogue.load import with_changes
from advisor.decide.evaluate import Evaluation, evaluate
from advisor.decide.feed_limits import _table
from advisor.decide.scan import scan
from advisor.figures import Path as Figure
from tests.model.records import CELL, LINEAR, PRODUCT, records
from tests.studies.small import part

# 3.2 V fresh, 2.4 V at the end
BOOST = {
    **{k: v for k, v in LINEAR.items() if k != "dropout"},
    "kind": "boost",
    "input": "{min: 0.8 V, max: 3.3 V}",
    "efficiency": "{10 µA: 0.8, 1 mA: 0.9}",
}
BLOCKS = "blocks: {beacon: {current: 1 mA, for: 1 ms}}\n"
WORK = (
    "[{task: sample, every: 1 s, kernels: {crc: 1}, uses: {beacon: 1}, "
    "loads: [{load: probe, current: 1 mA, for: 1 ms}]}, "
    "{task: never, every: 1 h, kernels: {crc: 1}, uses: {spare: 0}}]"
)


def decided(root: Path, converter: str, *changes: str) -> Evaluation:
    """Parts one and two, of which only the first states what its block takes."""
    keys = {
        **PRODUCT,
        "rail": "3.3 V",
        "workload": WORK,
        "standing-loads": "[{load: divider, current: 1 µA}]",
        "supply-options": f"{{cells: [{{cell: pill}}], converters: [{converter}]}}",
        "priorities": "{battery-life: {weight: 1, poor: 0 s, good: 9 years}}",
    }
    spare = BLOCKS.replace("}}", "}, spare: {current: 1 mA, for: 1 ms}}")
    made = records(
        root,
        keys,
        cells={"pill": CELL},
        converters={"up": BOOST},
        parts={name: part(name) + spare for name in ("one", "two")},
    )
    return evaluate(*with_changes(*made, changes))


@pytest.mark.parametrize(
    ("coldest", "hottest", "told"),
    [(9.9, 50.0, (9.9, 10.0)), (10.0, 50.1, (50.1, 50.0)), (0.0, 60.0, (0.0, 10.0))],
)
def test_beyond_its_table_a_cell_misses_as_much_as_any_figure_that_is_not_there(
    coldest: float, hottest: float, told: tuple[float, float]
) -> None:
    """The end that is passed is told, the cold one first; what is unknown misses by 1."""
    cell = SimpleNamespace(cell="pill", temperature=SimpleNamespace(at=(10.0, 25.0, 50.0)))
    feed = SimpleNamespace(covered=False, cell=cell)
    at: Any = SimpleNamespace(feed=feed, product=SimpleNamespace(coldest=coldest, hottest=hottest))
    (case,) = _table(at)
    assert (case.need, case.broken, case.miss) == ("pill temperature table", True, 1.0)
    assert (case.required, case.offered) == told
    feed.covered = True
    assert not list(_table(at))


def ranked(found: Evaluation) -> set[str]:
    return {c.part.part for c in found.candidates}


WHERE = {
    "load probe of sample": "probe:workload.sample.loads.probe.supply",
    "standing load divider": "probe:standing-loads.divider.supply",
    "block beacon": "one:blocks.beacon.supply",
}


@pytest.mark.parametrize("name", WHERE)
@pytest.mark.parametrize(
    ("converter", "fed", "end", "value", "stays"),
    [
        # straight from the pack the fresh pack's open voltage counts
        ("none", "3.20 V", "max", "3.2 V", True),
        ("none", "3.20 V", "max", "3.19 V", False),
        ("none", "3.20 V", "min", "3.25 V", False),
        # behind a converter the rail does, wherever the pack is
        ("up", "3.30 V", "max", "3.3 V", True),
        ("up", "3.30 V", "max", "3.29 V", False),
        ("up", "3.30 V", "min", "3.3 V", True),
        ("up", "3.30 V", "min", "3.31 V", False),
    ],
)
def test_a_supply_beyond_what_is_taken_is_no_build(
    tmp_path: Path, name: str, converter: str, fed: str, end: str, value: str, stays: bool
) -> None:
    found = decided(tmp_path, converter, f"{WHERE[name]}.{end}={value}")
    limited = {"one"} if name.startswith("block") else {"one", "two"}
    assert ranked(found) == ({"one", "two"} if stays else {"one", "two"} - limited)
    for which in () if stays else limited:
        texts = [f.text for f in found.screened[which]]
        needed, offered = (fed, f"{float(value[:-2]):.2f} V")
        if end == "min":
            needed, offered = offered, needed
        assert f"supply {end} of {name}: {needed} needed, {offered} offered" in texts


@pytest.mark.parametrize("name", WHERE)
def test_a_least_supply_ends_the_life_straight_from_the_pack(tmp_path: Path, name: str) -> None:
    """The pack is at 3.0 V half-way and falls by 1.2 V per capacity: 2.7 V are at three quarters,
    less what the resistance takes."""
    free = decided(tmp_path / "free", "none")
    held = decided(tmp_path / "held", "none", f"{WHERE[name]}.min=2.7 V")
    lives = {
        c.part.part: float(c.best.assessed.life.end_depth[c.best.row, 0]) for c in held.candidates
    }
    whole = {
        c.part.part: float(c.best.assessed.life.end_depth[c.best.row, 0]) for c in free.candidates
    }
    assert 0.65 < lives["one"] < 0.75 < whole["one"]
    cut = next(c.best.assessed.cut_off_v[c.best.row, 0] for c in held.candidates)
    assert cut == pytest.approx(2.7, rel=1e-12) or name.startswith("block")
    assert lives["two"] == (whole["two"] if name.startswith("block") else lives["one"])
    # as if the chip itself asked for it
    chip = decided(tmp_path / "chip", "none", "one:supply.min=2.7 V")
    (own,) = (c.best for c in chip.candidates if c.part.part == "one")
    assert lives["one"] == float(own.assessed.life.end_depth[own.row, 0])


def test_a_converter_keeps_loads_fed_to_the_end_of_the_pack(tmp_path: Path) -> None:
    free = decided(tmp_path / "free", "up")
    held = decided(tmp_path / "held", "up", f"{WHERE['load probe of sample']}.min=3.2 V")
    for one, other in zip(free.candidates, held.candidates, strict=True):
        assert one.best.score == other.best.score
        assert one.best.assessed.cut_off_v[one.best.row, 0] == 2.0  # the cell's own


def test_a_block_that_no_task_uses_does_not_count(tmp_path: Path) -> None:
    assert "one" in ranked(decided(tmp_path, "none", "one:blocks.spare.supply.max=2 V"))


def test_a_scan_moves_what_a_load_takes(tmp_path: Path) -> None:
    path = WHERE["load probe of sample"]
    found = decided(tmp_path, "none", f"{path}.min=2.7 V", f"{path}.max=3.6 V")
    builds = [c.best for c in found.candidates if c.part.part == "one"]
    keys = ("workload", "sample", "loads", "probe", "supply")
    args = (found.catalogue, found.product, builds, [found.criteria])
    low, high = (Figure("probe", (*keys, end)) for end in ("min", "max"))
    least, taken = scan(*args, [(low, x) for x in (2.7, 2.9, 3.3)], 0, 1)
    assert taken == {low}
    assert least[0, 0] == pytest.approx(builds[0].score, rel=1e-12)
    assert least[0, 1] < least[0, 0]
    assert least[0, 2] == -np.inf
    most, taken = scan(*args, [(high, x) for x in (3.6, 3.2, 3.1)], 0, 1)
    assert taken == {high}
    assert most[0] == pytest.approx([builds[0].score, builds[0].score, -np.inf], rel=1e-12)
