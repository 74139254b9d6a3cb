"""Plans worth assessing, and the reach of options, on figures small enough to follow by hand."""

from __future__ import annotations

import pathlib
import re
from collections.abc import Mapping
from dataclasses import fields, replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from advisor.catalogue.load import load_run
from advisor.decide.stage import Stage, stage
from advisor.model.battery import life
from advisor.model.draws import Array
from advisor.model.events import EventStates
from advisor.model.fed_rows import fed_rows
from advisor.model.packs import Feed
from advisor.model.plan import Plans, _batches, _each_once, _groups, choose
from advisor.model.reach import ALL, Reach, _beaten, alone, reach, take
from advisor.model.tables import Stack, part_figures, stack
from advisor.model.workload import ProductFigures
from tests.decide.random_catalogues import several
from tests.shares import mostly_slow

PART = """
part: one
invented: true
lifecycle: active
supply: {min: 1.8 V, max: 3.6 V}
temperature: {min: -40 degC, max: 85 degC}
evidence: {bench: {kind: bench, date: 2026-03-11}}
operating-points:
  fast: {idle-current: 2 mA, supply: 3.0 V, supply-min: 2.5 V, evidence: bench}
  slow: {idle-current: 0.5 mA, supply: 3.0 V, evidence: bench}
kernels:
  crc:
    fast: {time: 1 ms, current: 20 mA, supply: 3.0 V, evidence: bench}
    slow: {time: 8 ms, current: 3 mA, supply: 3.0 V, evidence: bench}
sleep-states:
  ram-kept: {current: 2 µA, wake-time: 0 s, evidence: bench}
price: {currency: EUR, breaks: {1: 1.00}}
toolchain: {setup: 4 h}
"""
CELL = """
cell: pill
invented: true
nominal-voltage: 3.0 V
capacity: 200 mAh
voltage-curve: {0: 3.0 V, 1: 2.0 V}
resistance: 20 ohm
cut-off: 2.0 V
temperature: {-40 degC: {capacity: 1, resistance: 1}, 85 degC: {capacity: 1, resistance: 1}}
self-discharge: 1 %/year
doubles-every: 10 K
KEYS
price: {currency: EUR, breaks: {1: 0.50}}
"""
PRODUCT = """
product: probe
invented: true
environment: [{at: 20 degC, share: 1}]
workload: [{task: sample, every: PERIOD, kernels: {crc: 1}LIMIT}]
retain: []
supply-options: {cells: [{cell: pill}], converters: [none]}
priorities: {battery-life: {weight: 1, poor: 0 years, good: 9 years}}
"""


def opened(
    root: pathlib.Path,
    limit: str = "",
    keys: str = "",
    period: str = "10 s",
    rail: str = "",
    converters: str = "none",
) -> Stage:
    for kind in ("parts", "cells"):
        (root / kind).mkdir(parents=True)
    (root / "kernels.yaml").write_text("crc: {work: one block}\n")
    (root / "parts/one.yaml").write_text(PART)
    (root / "cells/pill.yaml").write_text(CELL.replace("KEYS\n", keys))
    text = PRODUCT.replace("LIMIT", limit).replace("PERIOD", period)
    text = text.replace("[none]", f"[{converters}]") + rail
    return stage(*load_run([root], text.encode()))


def laid_out(here: Stage) -> Stack:
    part = here.catalogue.parts["one"]
    return stack([part_figures(part, here.figures, here.samplers["one"])])


def chosen(here: Stage, converter: str = "none") -> tuple[Plans, set[str]]:
    """The plans while sleeping, and the points of their one task."""
    table = laid_out(here)
    (plans,) = choose(
        [here.feed(0, converter)[0]], table, here.figures, here.events(table), np.array([1.8])
    )
    asleep = plans.sleep == table.parts[0].sleeps.index("ram-kept")
    options = table.parts[0].options[0]
    return plans, {options[int(o)].point for o in plans.choice[asleep, 0]}


def test_the_cheaper_point_and_the_one_that_reaches_deeper(tmp_path: pathlib.Path) -> None:
    """20 µC at 20 mA against 24 µC at 3 mA: the fast point is cheaper, but asks for 2.5 V.

    So it ends the life at (3.0 V - 2.5 V - 0.4 V)/1.0 V, a tenth; the slow one goes on to
    2.0 V + 20 ohm x 3 mA = 2.06 V. Each has something for it.
    """
    _, points = chosen(opened(tmp_path))
    assert points == {"fast", "slow"}


def test_a_deadline_leaves_what_keeps_it(tmp_path: pathlib.Path) -> None:
    plans, points = chosen(opened(tmp_path / "a", ", finish-within: 7.9 ms"))
    assert points == {"fast"}
    assert not plans.late.any()
    _, points = chosen(opened(tmp_path / "b", ", finish-within: 8 ms"))
    assert points == {"fast", "slow"}
    plans, points = chosen(opened(tmp_path / "c", ", finish-within: 0.9 ms"))
    assert points == set()
    assert plans.late.all()
    assert not plans.possible.any()


def test_more_work_than_time_leaves_no_slow_point(tmp_path: pathlib.Path) -> None:
    """Every 4 ms: 8 ms of slow work do not fit, 1 ms of fast work takes a quarter."""
    plans, points = chosen(opened(tmp_path, period="4 ms"))
    assert points == {"fast"}
    assert plans.busy[plans.possible].max() == pytest.approx(0.25, rel=1e-12)


def test_a_pulse_limit_masks_an_option_before_its_charge_counts(tmp_path: pathlib.Path) -> None:
    _, points = chosen(opened(tmp_path / "a", keys="max-pulse: 19.9 mA\n"))
    assert points == {"slow"}
    _, points = chosen(opened(tmp_path / "b", keys="max-pulse: 20.1 mA\n"))
    assert points == {"fast", "slow"}
    # where every option breaks it the cheapest goes on, so that its fault is told
    _, points = chosen(opened(tmp_path / "c", keys="max-pulse: 2 mA\n"))
    assert "fast" in points


REGULATOR = """
converter: reg
invented: true
kind: linear
input: {min: 2.0 V, max: 5.5 V}
output: {min: 1.2 V, max: 3.6 V}
quiescent: 1 µA
dropout: 10 mV
max-output: MOST
price: {currency: EUR, breaks: {1: 0.28}}
"""


def test_a_converter_s_greatest_output_masks_an_option_before_its_charge_counts(
    tmp_path: pathlib.Path,
) -> None:
    """20 mA at the fast point, 3 mA at the slow one."""
    for folder, most, wanted in (("a", "19.9 mA", {"slow"}), ("b", "20.1 mA", {"fast", "slow"})):
        root = tmp_path / folder
        (root / "converters").mkdir(parents=True)
        (root / "converters/reg.yaml").write_text(REGULATOR.replace("MOST", most))
        _, points = chosen(opened(root, rail="rail: 2.5 V\n", converters="none, reg"), "reg")
        assert points == wanted


def depths(here: Stage, cut: float) -> Mapping[str, float]:
    """Reach of each point while sleeping, at a cut-off in V."""
    table = laid_out(here)
    feed = here.feed(0, "none")[0]
    product: ProductFigures = here.figures
    rows = fed_rows([feed], 1, product, here.events(table))
    inside = np.ones(rows.tasks[0].length.shape, dtype=bool)
    found = reach(rows, product, 0, np.array([cut]), inside)
    for _, asked in found.asked():
        take(feed.pack, life(feed.pack, alone(product, [asked])), [asked])
    z = table.parts[0].sleeps.index("ram-kept")
    return {o.point: float(found.depth[0, z, i]) for i, o in enumerate(table.parts[0].options[0])}


def test_reach_is_where_a_state_first_meets_the_cut_off(tmp_path: pathlib.Path) -> None:
    """V(D) = 3 V - D: 20 ohm x 20 mA = 0.4 V end it 0.4 before the open voltage's own end, 3 mA
    0.06 before."""
    found = depths(opened(tmp_path / "a"), 2.2)
    assert found["fast"] == pytest.approx(0.8 - 0.4, abs=1e-6)
    assert found["slow"] == pytest.approx(0.8 - 0.06, abs=1e-6)
    # below the cell's own cut-off of 2.0 V that is what counts
    found = depths(opened(tmp_path / "b"), 1.0)
    assert found["slow"] == pytest.approx(1 - 0.06, abs=1e-6)
    assert found["fast"] == pytest.approx(1 - 0.4, abs=1e-6)


def test_reach_is_nought_where_a_fresh_pack_is_too_weak_and_all_where_nothing_sags(
    tmp_path: pathlib.Path,
) -> None:
    assert depths(opened(tmp_path / "a"), 2.7)["fast"] == 0.0
    # the cold leaves half of the capacity: no state comes near its end by then
    keys = "two-well: {c: 0.9, k: 9 /h}\n"
    here = opened(tmp_path / "b", keys=keys)
    assert depths(here, 2.2)["slow"] < ALL
    assert depths(opened(tmp_path / "c", keys="max-pulse: 10 mA\n"), 2.2)["fast"] == -1.0


@pytest.mark.parametrize("columns", [1, 5, 62, 63, 304])
def test_rows_of_any_number_of_tasks_stand_once_each(columns: int) -> None:
    """More tasks than an array may have dimensions, against NumPy's own distinct rows."""
    draw = np.random.default_rng(columns)
    rows = draw.integers(0, 2, (50, columns))
    rows[:, 3:] *= np.arange(columns)[3:] % 9 == 0
    many = np.concatenate([rows, rows[::-1]])
    np.testing.assert_array_equal(_each_once(many), np.unique(many, axis=0))
    same = np.zeros((4, columns), dtype=np.intp)
    np.testing.assert_array_equal(_each_once(same), same[:1])


@pytest.mark.parametrize("shape", [(1, 3), (40, 4), (30, 70)])
def test_rows_that_say_the_same_are_kept_once_and_in_order(shape: tuple[int, int]) -> None:
    """Seventy columns are more than one number holds. NumPy's own distinct rows are the peer."""
    rows = np.random.default_rng(3).integers(0, 3, shape)
    rows = np.concatenate([rows, rows[::2]]) if len(rows) > 1 else rows
    np.testing.assert_array_equal(_each_once(rows), np.unique(rows, axis=0))


def test_an_option_that_another_meets_in_every_respect_is_beaten() -> None:
    """By charge, by greatest current and by length, at 3 V and at 2 V; of equals the first stays.

    Against a plain loop over the rule in words; an option of constant power draws more at 2 V.
    """
    draw = np.random.default_rng(7)
    rows: Any = SimpleNamespace(fresh_v=np.array([3.0]), empty_v=np.array([2.0]))
    at = (np.array([0]), np.array([0]))
    beaten = 0
    for _ in range(60):
        shape = (1, 1, 6)
        figures = {
            # few different values, so that equals come
            **{n: draw.integers(1, 4, shape) * 1.0 for n in ("length", "charge_a", "charge_w")},
            **{n: draw.integers(1, 4, (*shape, 2)) * 1.0 for n in ("a", "w")},
            "duration": draw.integers(0, 2, (*shape, 2)) * 1.0,
        }
        among = draw.uniform(size=shape) < 0.8
        found = _beaten(rows, cast(Any, SimpleNamespace(**figures)), at, among[at])

        def sides(o: int, figures: dict[str, Any] = figures) -> list[float]:
            at = {name: values[0, 0, o] for name, values in figures.items()}
            out = [at["length"]]
            for v in (3.0, 2.0):
                out.append(at["charge_a"] + at["charge_w"] / v)
                on = at["duration"] > 0
                out.append(max([0.0, *(at["a"] + at["w"] / v)[on]]))
            return out

        for o in range(6):
            others = [p for p in range(6) if p != o and among[0, 0, p]]
            expected = among[0, 0, o] and any(
                all(x <= y for x, y in zip(sides(p), sides(o), strict=True))
                and (sides(p) != sides(o) or p < o)
                for p in others
            )
            assert found[0, o] == expected
            beaten += expected
    assert 20 < beaten < 300


def asked(here: Stage) -> tuple[Reach, ProductFigures, Stack]:
    """What the battery model is asked of the one task's options, at 2.2 V."""
    table = laid_out(here)
    feed = here.feed(0, "none")[0]
    rows = fed_rows([feed], 1, here.figures, here.events(table))
    inside = np.ones(rows.tasks[0].length.shape, dtype=bool)
    return reach(rows, here.figures, 0, np.array([2.2]), inside), here.figures, table


def test_an_option_alone_takes_its_share_of_the_period_and_rest_the_other(
    tmp_path: pathlib.Path,
) -> None:
    """1 ms or 8 ms of every 40 ms, so that a mean over the shares is one over time."""
    found, product, table = asked(opened(tmp_path, period="40 ms"))
    made = alone(product, [one for _, one in found.asked()])
    options = table.parts[0].options[0]
    busy = [0.001 if options[o].point == "fast" else 0.008 for o in found.index[2]]
    assert len(busy) >= 2
    assert made.share[:, :-1, 0].sum(axis=1) == pytest.approx(np.array(busy) / 0.04, rel=1e-12)
    assert made.share.sum(axis=1)[:, 0] == pytest.approx(np.ones(len(busy)), rel=1e-12)
    assert made.period_s[0, 0] == product.tasks[0].period[0] == 0.04


def test_rows_go_through_the_battery_model_as_many_at_a_time_as_fit(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Together up to the bound; what is beyond it by itself goes alone, and nothing is left out."""
    monkeypatch.setattr("advisor.model.plan.TOGETHER", 60)
    sizes = [3, 2, 1, 7, 1, 6, 1]
    rows: list[Any] = [SimpleNamespace(count=n) for n in sizes]
    batches = [[one.count for one in some] for some in _batches(rows, 10)]
    assert batches == [[3, 2, 1], [7], [1], [6], [1]]


ALWAYS = ""
# the tasks of a draft at other times, warm and cold
BY_TIME = (
    "times:\n  - {time: day, share: 0.5, environment: [{at: 20 degC, share: 1}]}\n"
    "  - {time: night, share: 0.5, environment: [{at: -10 degC, share: 1}]}\n"
)


def drafted(
    seed: int, reservoir: bool, calendar: str, folder: pathlib.Path, order: int = 1
) -> Stage:
    """Four random parts for a random product with its packs and converters; `order` is that of its
    tasks, 1 or -1."""
    one = several(seed, 4, reservoir)
    one = replace(one, tasks=one.tasks[::order])
    catalogue, _ = one.load(folder)
    text = one._product()
    if calendar:
        text = re.sub("environment: .*\n", calendar, text)
        for task, time in (("sample", "day"), ("report", "night")):
            text = re.sub(rf"(task: {task}\n    every: )(.*)", rf"\1{{{time}: \2}}", text)
    return stage(catalogue, load_run([folder], text.encode())[1])


def every_feed(
    here: Stage, seed: int
) -> tuple[list[Feed], Stack, ProductFigures, tuple[EventStates, ...], Array]:
    """What `choose` is asked of a draft, with cut-offs that some parts set above the packs' own."""
    parts = here.catalogue.parts.values()
    table = stack([part_figures(p, here.figures, here.samplers[p.part]) for p in parts])
    supply = here.product.supply_options
    feeds = [
        here.feed(cells, converter)[0]
        for converter in supply.converters
        for cells in range(len(supply.cells))
    ]
    floor = np.random.default_rng(seed).uniform(1.5, 2.3, len(parts))
    return feeds, table, here.figures, here.events(table), floor


@pytest.mark.parametrize("calendar", [ALWAYS, BY_TIME], ids=["always", "by time"])
@pytest.mark.parametrize("reservoir", [False, True])
@pytest.mark.parametrize("seed", mostly_slow(range(60), 5))
def test_feeds_looked_at_in_one_go_have_the_plans_that_each_has_alone(
    seed: int, reservoir: bool, calendar: str, tmp_path: pathlib.Path
) -> None:
    """Every figure to the last digit."""
    feeds, table, product, events, floor = every_feed(
        drafted(seed, reservoir, calendar, tmp_path), seed
    )
    for together, feed in zip(choose(feeds, table, product, events, floor), feeds, strict=True):
        (by_itself,) = choose([feed], table, product, events, floor)
        for field in fields(Plans):
            mine, its = getattr(together, field.name), getattr(by_itself, field.name)
            each = zip(mine, its, strict=True) if isinstance(its, tuple) else [(mine, its)]
            for x, y in each:
                np.testing.assert_array_equal(x, y, err_msg=field.name)


@pytest.mark.parametrize("seed", mostly_slow(range(24), 4))
def test_the_order_in_which_tasks_stand_changes_no_plan(seed: int, tmp_path: pathlib.Path) -> None:
    """One is done while it is warm, the other in the cold, where the pack's resistance is greater:
    each is held against its own."""
    found = []
    for order in (1, -1):
        here = drafted(seed, False, BY_TIME, tmp_path / str(order), order)
        found.append(
            [
                {
                    (int(p), int(z), *choice)
                    for p, z, choice in zip(
                        one.part, one.sleep, one.choice[:, ::order].tolist(), strict=True
                    )
                }
                for one in choose(*every_feed(here, seed))
            ]
        )
    assert found[0] == found[1]


def test_no_feed_has_no_plans(tmp_path: pathlib.Path) -> None:
    here = opened(tmp_path)
    table = laid_out(here)
    assert choose([], table, here.figures, here.events(table), np.array([1.8])) == []


def test_feeds_are_looked_at_in_one_go_as_many_as_fit_those_of_one_pack_beside_each_other(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("advisor.model.plan.BESIDE", 60)

    def of(cell: str, series: int = 1) -> Any:
        option = SimpleNamespace(cell=cell, budget=None, series=series, parallel=1)
        return SimpleNamespace(option=option)

    feeds = [of("pill"), of("pen"), of("pill", 2), of("pill"), of("pen")]
    assert _groups(feeds, 10) == [[0, 3, 1, 4, 2]]
    assert _groups(feeds, 20) == [[0, 3, 1], [4, 2]]
    assert _groups(feeds, 21) == [[0, 3], [1, 4], [2]]
    # one that is too much by itself goes alone
    assert _groups(feeds, 61) == [[0], [3], [1], [4], [2]]
    assert _groups([], 10) == []
