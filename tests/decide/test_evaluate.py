"""Whole decisions on small records, against sums worked by hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from advisor.catalogue.shipped import load
from advisor.decide.drawing import draw_builds
from advisor.decide.evaluate import Evaluation, evaluate
from tests.model.records import CELL, LINEAR, PRODUCT, records

PART = """
part: chip
invented: true
lifecycle: active
supply: {min: 1.7 V, max: 3.7 V}
temperature: {min: -40 degC, max: 85 degC}
operating-points:
  fast: {idle-current: 2 mA, supply: 3.0 V}
  slow: {idle-current: 0.1 mA, supply: 3.0 V}
kernels:
  crc:
    fast: {time: 1 ms, current: 10 mA, supply: 3.0 V}
    slow: {time: 12 ms, current: 0.8 mA, supply: 3.0 V}
sleep-states: {ram-kept: {current: 1 µA, wake-time: 0 s}}
"""
TASK = (
    "[{task: sample, every: 1 s, kernels: {crc: 1}, "
    "loads: [{load: radio, current: 30 mA, for: 1 ms, cpu: idle}]}]"
)


def decided(
    root: Path,
    cells: str = "{cell: pill}",
    converter: str = "none",
    cell: dict[str, str] | None = None,
    record: dict[str, str] | None = None,
    **product: str,
) -> Evaluation:
    options = f"{{cells: [{cells}], converters: [{converter}]}}"
    named = {**PRODUCT, "workload": TASK, "supply-options": options, **product}
    converters = None if record is None else {converter: record}
    made = records(root, named, {"pill": {**CELL, **(cell or {})}}, converters, {"chip": PART})
    return evaluate(*made)


def reasons(found: Evaluation) -> str:
    return "; ".join(f.text for faults in found.screened.values() for f in faults)


@pytest.mark.parametrize(
    ("limit", "strings", "fits"),
    # slow: 30 mA of load, 0.1 mA idle; fast: 32 mA. 30.1 mA through one string, 15.05 mA each
    # through two
    [("30 mA", 1, False), ("33 mA", 1, True), ("14 mA", 2, False), ("17 mA", 2, True)],
)
def test_strings_in_parallel_share_a_pulse(
    tmp_path: Path, limit: str, strings: int, fits: bool
) -> None:
    found = decided(tmp_path, f"{{cell: pill, parallel: {strings}}}", cell={"max-pulse": limit})
    assert bool(found.candidates) is fits
    if not fits:
        assert "pill max-pulse" in reasons(found)


@pytest.mark.parametrize(
    ("limit", "strings", "fits"),
    # a mean of some 41 uA: 30 mA for 1 ms and 10 mA for 1 ms a second (or 0.8 mA for 12 ms)
    [("39 µA", 1, False), ("44 µA", 1, True), ("19 µA", 2, False), ("22 µA", 2, True)],
)
def test_strings_in_parallel_share_the_mean(
    tmp_path: Path, limit: str, strings: int, fits: bool
) -> None:
    found = decided(
        tmp_path, f"{{cell: pill, parallel: {strings}}}", cell={"max-continuous": limit}
    )
    assert bool(found.candidates) is fits
    if not fits:
        assert "pill max-continuous" in reasons(found)


@pytest.mark.parametrize(
    ("cut_off", "series", "depth"),
    # each cell falls from 3.2 V over 3.0 V half-way to 2.4 V; its resistance is all but nothing.
    # 2.7 V lies half-way down the second half: for two in series as for one
    [("2.7 V", 1, 0.75), ("2.7 V", 2, 0.75), ("3.1 V", 2, 0.25)],
)
def test_cells_in_series_end_each_at_its_own_cut_off(
    tmp_path: Path, cut_off: str, series: int, depth: float
) -> None:
    cell = {"cut-off": cut_off, "resistance": "1 mohm"}
    record = {**LINEAR, "input": "{min: 1.9 V, max: 9 V}"}
    found = decided(
        tmp_path, f"{{cell: pill, series: {series}}}", "conv", cell, record, rail="1.8 V"
    )
    best = found.candidates[0].best
    # a milliohm and 30 mA are 60 uV of some 1.2 V
    assert best.assessed.life.end_depth[best.row, 0] == pytest.approx(depth, abs=1e-4)


BUCK = {
    **{k: v for k, v in LINEAR.items() if k != "dropout"},
    "kind": "buck",
    "quiescent": "0 A",
}
QUICK = "[{task: sample, every: 1 s, kernels: {crc: 1}}]"


@pytest.mark.parametrize(
    ("efficiency", "point"),
    # at the rail 10 mA x 1 ms = 10 uC fast, 0.8 mA x 12 ms = 9.6 uC slow (less the sleep they
    # displace). At 90 % throughout slow takes less; at 80 % at 0.8 mA and 90 % at 10 mA fast does
    [("{1 µA: 0.9}", "slow"), ("{1 µA: 0.8, 800 µA: 0.8, 10 mA: 0.9}", "fast")],
)
def test_the_plan_is_made_behind_the_converter(tmp_path: Path, efficiency: str, point: str) -> None:
    record = {**BUCK, "efficiency": efficiency}
    found = decided(tmp_path, converter="conv", record=record, rail="1.8 V", workload=QUICK)
    best = found.candidates[0].best
    assert [o.point for o in best.assessed.options(best.row)] == [point]
    # and its current at the pack's nominal 3.0 V: the rail's power over each state's efficiency
    rail, time, eta = (0.8e-3, 12e-3, 0.9) if point == "slow" else (10e-3, 1e-3, 0.9)
    rest = 1e-6 / (0.9 if point == "slow" else 0.8)
    mean = 1.8 / 3.0 * (rail / eta * time + rest * (1 - time))
    assert best.order[1] == pytest.approx(mean, rel=1e-9)


def test_without_a_converter_the_slow_point_takes_less(tmp_path: Path) -> None:
    found = decided(tmp_path, workload=QUICK)
    best = found.candidates[0].best
    assert [o.point for o in best.assessed.options(best.row)] == ["slow"]
    mean = 0.8e-3 * 12e-3 + 1e-6 * (1 - 12e-3)
    assert best.order[1] == pytest.approx(mean, rel=1e-9)


def test_a_deadline_asks_for_the_fast_point(tmp_path: Path) -> None:
    late = QUICK.replace("kernels", "finish-within: 11 ms, kernels")
    best = decided(tmp_path, workload=late).candidates[0].best
    assert [o.point for o in best.assessed.options(best.row)] == ["fast"]
    assert best.order[1] == pytest.approx(10e-3 * 1e-3 + 1e-6 * (1 - 1e-3), rel=1e-9)


def test_the_first_draws_rank_where_that_is_asked_for() -> None:
    catalogue, product = load("barrel-tag")
    for few in (None, 1, 5):
        found = evaluate(catalogue, product, 60, ranked_by=few).candidates
        means = [float(c.drawn.score[:few].mean()) for c in found if c.drawn is not None]
        assert len(means) == len(found) > 3
        assert means == sorted(means, reverse=True)


def test_a_pulse_limit_counts_in_the_draws_of_whichever_build_may_pass_it(tmp_path: Path) -> None:
    """20 ± 6 mA from the cells pass 23 mA in (26 - 23)/12 = a quarter of the draws; behind the
    converter at most 26 mA x 1.8 V/(0.95 x 2.4 V) = 20.5 mA flow, whatever the draw."""
    text = PART.replace("time: 1 ms, current: 10 mA", "time: 1 ms, current: 20 ± 6 mA")
    text = text.replace("    slow: {time: 12 ms, current: 0.8 mA, supply: 3.0 V}\n", "")
    cell = {**CELL, "resistance": "1 ohm", "cut-off": "2.4 V", "max-pulse": "23 mA"}
    options = "{cells: [{cell: pill}], converters: [none, conv]}"
    named = {**PRODUCT, "workload": QUICK, "supply-options": options, "rail": "1.8 V"}
    converters = {"conv": {**BUCK, "efficiency": "{1 µA: 0.95}"}}
    made = records(tmp_path, named, {"pill": cell}, converters, {"chip": text})
    found = evaluate(*made)
    by_name = {b.assessed.feed.converter_name: b for b in found.candidates[0].builds}
    assert set(by_name) == {"none", "conv"}
    builds = [by_name["none"], by_name["conv"]]
    straight, behind = draw_builds(*made, builds, found.criteria, 2000, 1)
    # four standard errors of a share of 2,000 draws
    assert straight.broken == {"pill max-pulse": pytest.approx(0.25, abs=0.04)}
    assert straight.fit == pytest.approx(0.75, abs=0.04)
    assert behind.fit == 1.0
    assert behind.broken == {}


def test_a_deadline_that_nothing_meets_is_told_with_the_quickest_option(tmp_path: Path) -> None:
    """1 ms of the fast point and 12 ms of the slow one, woken in no time, against 0.4 ms."""
    late = QUICK.replace("kernels", "finish-within: 0.4 ms, kernels")
    (failed,) = decided(tmp_path, workload=late).screened["chip"]
    assert failed.need == "workload.sample.finish-within"
    assert (failed.required, failed.offered) == pytest.approx((0.4e-3, 1e-3), rel=1e-12)


def test_builds_that_went_through_all_draws_stand_by_what_they_came_to() -> None:
    """The chosen one first, the others the best first; then those that were left by the way."""
    found = evaluate(*load("barrel-tag"), 200)
    several = 0
    for candidate in found.candidates:
        tried = [b for b in candidate.builds if b in candidate.tried]
        assert list(candidate.builds[: len(tried)]) == tried
        assert tried[0] is candidate.best
        others = [candidate.tried[b].expected for b in tried[1:]]
        assert others == sorted(others, reverse=True)
        several += len(set(others)) > 1
    assert several


def test_parts_of_which_no_build_has_a_price_are_set_aside_for_it() -> None:
    """No cell of the product has one: what packs lack is told of every part that would stand."""
    catalogue, product = load("barrel-tag")
    stood = {c.part.part for c in evaluate(catalogue, product).candidates}
    cells = {name: replace(cell, price=None) for name, cell in catalogue.cells.items()}
    found = evaluate(replace(catalogue, cells=cells), product)
    lacking = tuple(f"{o.cell}:price" for o in product.supply_options.cells)
    assert found.candidates == ()
    told = [found.set_aside[name] for name in sorted(stood)]
    assert told
    assert all(mine and set(mine) <= set(lacking) for mine in told)
