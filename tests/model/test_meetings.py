"""Pulses that meet by chance: which do, and that of a task's loads in turn only one does."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from advisor.decide.builds import Assessed
from advisor.decide.evaluate import evaluate
from advisor.model import meetings
from advisor.model.drain import Drain, Pack
from advisor.model.meetings import heaviest
from tests.model.test_fillings import FALLING
from tests.model.test_rails import CONVERTER, PART, made

pytestmark = pytest.mark.once

RAIL_V, OHMS = 2.0, 20.0
RUN_A, IDLE_A, SLEEP_A = 5e-3, 1e-3, 2e-6  # of `PART`
LINEAR = """
converter: NAME
invented: true
kind: linear
input: {min: 1.0 V, max: 6 V}
output: {min: 1.0 V, max: 4 V}
quiescent: 4 µA
dropout: 100 mV
max-output: 500 mA
price: {currency: EUR, breaks: {1: 0.50}}
"""
SWITCHING = CONVERTER.replace("boost", "buck-boost").replace("max: 3.6 V", "max: 4 V")
CONVERTERS = {
    "linear": LINEAR,
    # the main rail's: its own loss rises with the load
    "switching": SWITCHING.replace("1 mA: 0.9", "1 µA: 0.6, 1 mA: 0.9, 100 mA: 0.8"),
}
PRODUCT = """
product: probe
invented: true
service-life: 1 years
environment: [{at: 20 degC, share: 1}]
RAILS
MAIN
workload: [TASKS]
supply-options: {cells: [{cell: slope}], converters: [FED]}
cost: {currency: EUR, units: 100, engineer-rate: 80 EUR/h, service-visit: 10, tools: 0}
priorities: {battery-life: {weight: 1, poor: 0 years, good: 50 years}}
"""


@dataclass(frozen=True)
class Load:
    """A load of so many A at 2 V; told as a power there, with the core idle, or on the core's rail
    where there is a further one."""

    amps: float
    power: bool = False
    idle: bool = False
    main: bool = False


@dataclass(frozen=True)
class Task:
    """A kernel of 5 mA, then loads in turn."""

    random: bool
    loads: tuple[Load, ...] = ()


def assessed(
    root: Path, tasks: Sequence[Task], fed: str = "linear", on: str = "", by_day: Sequence[int] = ()
) -> Assessed:
    """The build of a product whose core is on 2 V behind a converter, or straight on the pack
    (`none`), with the loads there or on a further rail of 2 V behind the converter `on`; some tasks
    are done by day only."""
    entries = []
    for k, task in enumerate(tasks):
        loads = ", ".join(
            f"{{load: l{k}{n}, for: 30 ms, cpu: {'idle' if load.idle else 'asleep'}, "
            + (f"power: {1e3 * RAIL_V * load.amps!r} mW" if load.power else
               f"current: {1e3 * load.amps!r} mA")
            + (", rail: aux}" if on and not load.main else "}")
            for n, load in enumerate(task.loads)
        )  # fmt: skip
        arrival = ", arrival: random" if task.random else ""
        every = f"{60 + 7 * k} s"
        if by_day:
            every = f"{{day: {every}}}" if k in by_day else f"{{day: {every}, night: {every}}}"
        entries.append(
            f"{{task: t{k}, every: {every}{arrival}, kernels: {{crc: 1}}, loads: [{loads}]}}"
        )
    product = PRODUCT.replace("TASKS", ", ".join(entries)).replace("FED", fed)
    product = product.replace("MAIN", f"rail: {RAIL_V} V" if fed != "none" else "")
    if by_day:
        times = "times: [{time: day, share: 0.5}, {time: night, share: 0.5}]\nworkload:"
        product = product.replace("workload:", times)
    cell = FALLING.replace("resistance: 0 ohm", f"resistance: {OHMS} ohm")
    rails = f"{{rail: aux, voltage: {RAIL_V} V, converters: [{on}]}}" if on else ""
    (root / "cells").mkdir(parents=True)
    (root / "cells/slope.yaml").write_text(cell)
    part = PART.replace("supply: 3.0 V", "supply: 2.0 V")
    inputs = made(root, rails, converters=CONVERTERS, part=part, product=product)
    (only,) = evaluate(*inputs).candidates
    return only.best.assessed


def figures(found: Assessed) -> tuple[float, ...]:
    """What pulses decide: the depth, the first voltage and current, and converters' outputs."""
    life = found.life
    peaks = [float(p[0]) for p in found.rail_peaks]
    return (
        float(life.end_depth[0, 0]),
        float(life.start_low_v[0, 0]),
        float(life.start_peak_a[0, 0]),
        float(found.peak_a[0, 0]),
        *peaks,
    )


PLACES = [("linear", ""), ("switching", ""), ("linear", "linear"), ("linear", "switching")]
IN_TURN = Load(10e-3), Load(9e-3)


@pytest.mark.parametrize(("fed", "on"), PLACES)
def test_loads_of_one_event_in_turn_meet_another_one_by_one(
    fed: str, on: str, tmp_path: Path
) -> None:
    """10 and 9 mA, whichever is told as its power at the rail: the kernel's 5 mA meet 10 mA."""
    seen = []
    for n, powers in enumerate(itertools.product([False, True], repeat=2)):
        loads = tuple(replace(a, power=p) for a, p in zip(IN_TURN, powers, strict=True))
        found = assessed(tmp_path / str(n), [Task(True, loads), Task(False)], fed, on)
        seen.append(figures(found))
    assert seen[0][3] == pytest.approx(RUN_A + (0 if on else 10e-3), rel=1e-12)
    if on:
        assert seen[0][4] == pytest.approx(10e-3, rel=1e-12)
    if (fed, on) in PLACES[::2]:  # linear ones alone
        own = 4e-6 * (2 if on else 1)
        depth = (3.5 - 2.1 - OHMS * (15e-3 + own)) / 1.6
        assert seen[0][0] == pytest.approx(depth, rel=1e-8)
    for one in seen[1:]:
        assert one == pytest.approx(seen[0], rel=1e-8)


def test_loads_in_turn_on_several_rails_meet_another_one_by_one(tmp_path: Path) -> None:
    """10 mA on the core's rail, then 9 mA on a further one, both behind linear converters: the pack
    gives 5 + 10 mA at the most, each converter what is on its own rail."""
    tasks = [Task(True, (Load(10e-3, main=True), Load(9e-3))), Task(False)]
    depth, _, first, main, further = figures(assessed(tmp_path, tasks, "linear", "linear"))
    assert depth == pytest.approx((1.4 - OHMS * (15e-3 + 8e-6)) / 1.6, rel=1e-8)
    assert first == pytest.approx(15e-3 + 8e-6, rel=1e-12)
    assert (main, further) == pytest.approx((15e-3, 9e-3), rel=1e-12)


def test_straight_from_the_pack_the_voltage_tells_which_is_the_worst(tmp_path: Path) -> None:
    """10 mA, then 27 mW: 15 mA at the cut-off of 1.8 V, where it ends, and 8 mA at first."""
    tasks = [Task(True, (Load(10e-3), Load(13.5e-3, power=True))), Task(False)]
    found = assessed(tmp_path / "both", tasks, "none")
    alone = [
        assessed(tmp_path / str(n), [Task(True, (load,)), Task(False)], "none")
        for n, load in enumerate(tasks[0].loads)
    ]
    need = 1.8 + OHMS * (RUN_A + 27e-3 / 1.8)  # V
    assert found.life.end_depth[0, 0] == pytest.approx((3.5 - need) / 1.6, rel=1e-8)
    assert found.life.end_depth[0, 0] == pytest.approx(alone[1].life.end_depth[0, 0], rel=1e-8)
    # at first, with the pack a little below its open voltage, a bound: by less than 4 %
    most = max(one.life.start_peak_a[0, 0] for one in alone)
    assert most == pytest.approx(15e-3, rel=1e-12)
    assert most * (1 - 1e-9) < found.life.start_peak_a[0, 0] < 1.04 * most
    assert found.life.start_low_v[0, 0] <= min(one.life.start_low_v[0, 0] for one in alone)


@pytest.mark.parametrize(
    ("random", "most_ma"),
    [
        # of loads of 10 and 9 mA and a kernel of 5 mA: two regular tasks do not meet
        ((False, False, False), 10 + 2e-3),
        ((False, False, True), 5 + 10),
        ((True, False, False), 10 + 9 + 2e-3),
        ((True, True, False), 5 + 10 + 9),
        ((True, False, True), 5 + 10 + 9),
        ((True, True, True), 5 + 10 + 9),
    ],
)
@pytest.mark.parametrize("power", [False, True])
def test_three_meet_where_each_two_of_them_may(
    random: tuple[bool, ...], most_ma: float, power: bool, tmp_path: Path
) -> None:
    loads = ((Load(10e-3, power),), (Load(9e-3),), ())
    tasks = [Task(comes, its) for comes, its in zip(random, loads, strict=True)]
    found = assessed(tmp_path, tasks)
    assert found.peak_a[0, 0] == pytest.approx(most_ma / 1e3, rel=1e-9)
    need = 2.1 + OHMS * (most_ma / 1e3 + 4e-6)
    assert found.life.end_depth[0, 0] == pytest.approx((3.5 - need) / 1.6, rel=1e-8)


@pytest.mark.parametrize(("by_day", "night_ma"), [((0, 1), 5), ((1,), 5 + 10), ((0,), 5 + 8)])
def test_what_meets_at_a_time_is_of_the_tasks_done_then(
    by_day: tuple[int, ...], night_ma: float, tmp_path: Path
) -> None:
    """10 and 9 mA in turn, one a power, and 8 mA by the clock, of which some come by day only; a
    kernel of 5 mA at random meets by night what is left."""
    loads = ((Load(10e-3, True), Load(9e-3)), (Load(8e-3),), ())
    tasks = [Task(False, its) for its in loads[:2]] + [Task(True)]
    found = assessed(tmp_path, tasks, by_day=by_day)
    need = 2.1 + OHMS * (15e-3 + 4e-6)
    assert found.life.end_depth[0, 0] == pytest.approx((3.5 - need) / 1.6, rel=1e-8)
    most = [one.drain.constant_a[0, :-1].max() - 4e-6 for one in found.drain.seen]
    assert most == pytest.approx([15e-3, night_ma / 1e3], rel=1e-9)


# Against every set of states that may be at once --------------------------------------------------


def workload(rng: np.random.Generator) -> list[Task]:
    """Two to four tasks, of which some come at random, with up to three loads each."""

    def load() -> Load:
        return Load(float(rng.uniform(1e-3, 9e-3)), bool(rng.integers(2)), rng.random() < 0.25)

    return [
        Task(bool(rng.integers(2)), tuple(load() for _ in range(rng.integers(4))))
        for _ in range(rng.integers(2, 5))
    ]


def most_at_once(tasks: Sequence[Task], on_main: bool) -> float:
    """Greatest current at 2 V of any states that may be at once, A: one of each of some tasks, of
    each two of which one comes at random, with the core awake in one at the most."""
    each: list[list[tuple[int, bool, float] | None]] = []
    for k, task in enumerate(tasks):
        states: list[tuple[int, bool, float] | None] = [None, (k, True, RUN_A)]
        for load in task.loads:
            amps = load.amps if on_main else 0.0
            states.append((k, load.idle, amps + (IDLE_A if load.idle else 0.0)))
        each.append(states)
    most = 0.0
    for chosen in itertools.product(*each):
        at_once = [one for one in chosen if one is not None]
        awake = sum(one[1] for one in at_once)
        regular = sum(not tasks[one[0]].random for one in at_once)
        if awake <= 1 and regular <= 1:
            most = max(most, sum(one[2] for one in at_once) + (0.0 if awake else SLEEP_A))
    return most


@pytest.mark.parametrize("seed", range(12))
def test_a_load_s_power_is_its_current_in_all_that_meets(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Random workloads, told as they come, all as currents and all as powers."""
    rng = np.random.default_rng(seed)
    tasks = workload(rng)
    fed, on = PLACES[seed % len(PLACES)]
    seen = []
    for n, power in enumerate((None, False, True)):
        told = [
            replace(
                task,
                loads=tuple(
                    load if power is None else replace(load, power=power) for load in task.loads
                ),
            )
            for task in tasks
        ]
        seen.append(figures(assessed(tmp_path / str(n), told, fed, on)))
    for one in seen[1:]:
        assert one == pytest.approx(seen[0], rel=1e-8)
    assert seen[0][3] == pytest.approx(most_at_once(tasks, not on), rel=1e-9)
    # where there are more sets than are held apart, what stands in for them is a bound
    monkeypatch.setattr(meetings, "MOST_SETS", 1)
    bound = figures(assessed(tmp_path / "bound", tasks, fed, on))
    assert bound[0] <= seen[0][0] * (1 + 1e-12)
    assert all(b >= a * (1 - 1e-12) for b, a in zip(bound[2:], seen[0][2:], strict=True))


# One drain for several ----------------------------------------------------------------------------


def drains(rng: np.random.Generator, filled: bool) -> list[Drain]:
    """Three drains of two states, in five draws."""
    shape = (2, 2, 5)
    return [
        Drain(
            constant_a=rng.uniform(0, 20e-3, shape),
            power_w=rng.uniform(0, 60e-3, shape),
            share=np.full(shape, 0.5),
            duration_s=np.ones(shape),
            tasks=(slice(0, 1),),
            period_s=np.ones((1, 5)),
            cut_off_v=np.full((2, 5), 1.8),
            filling=(rng.uniform(0, 5e-3, shape), np.full(5, 3.0)) if filled else None,
        )
        for _ in range(3)
    ]


def at(drain: Drain, volts: float) -> Any:
    """What it draws at a voltage, (R, S, N) A."""
    constant = drain.constant_at(np.full_like(drain.cut_off_v, volts))
    return constant + drain.power_w / volts


@pytest.mark.parametrize("filled", [False, True])
@pytest.mark.parametrize("seed", range(5))
def test_the_heaviest_asks_for_no_less_and_at_both_ends_for_no_more(
    seed: int, filled: bool
) -> None:
    """From a cut-off of 1.8 V to a fresh pack of 3.5 V."""
    every = drains(np.random.default_rng(seed), filled)
    pack = cast(Pack, SimpleNamespace(open_v=np.full((2, 5), 3.5), reservoir=None))
    found = heaviest(pack, every)
    assert (found.constant_a >= 0).all()
    assert (found.power_w >= 0).all()
    for volts in np.linspace(1.8, 3.5, 18):
        most = np.maximum.reduce([at(one, volts) for one in every])
        assert (at(found, volts) >= most * (1 - 1e-12)).all()
        if volts in (1.8, 3.5) and not filled:
            assert at(found, volts) == pytest.approx(most, rel=1e-9)
    assert heaviest(pack, every[:1]) is every[0]


def test_the_heaviest_is_one_of_them_where_one_is_so_at_both_ends() -> None:
    one = drains(np.random.default_rng(0), True)[0]
    less = replace(one, constant_a=one.constant_a / 2, power_w=one.power_w / 2)
    pack = cast(Pack, SimpleNamespace(open_v=np.full((2, 5), 3.5), reservoir=None))
    for every in ([one, less], [less, one]):
        found = heaviest(pack, every)
        assert np.array_equal(found.constant_a, one.constant_a)
        assert np.array_equal(found.power_w, one.power_w)


def test_on_a_reservoir_what_is_filled_is_a_constant_current() -> None:
    """As the nominal voltage gives it, which the constant current has in it."""
    every = drains(np.random.default_rng(1), True)
    pack = cast(Pack, SimpleNamespace(open_v=np.full((2, 5), 3.5), reservoir=()))
    found = heaviest(pack, every)
    for volts in (1.8, 2.5, 3.5):
        most = np.maximum.reduce([one.constant_a + one.power_w / volts for one in every])
        assert (found.constant_a + found.power_w / volts >= most * (1 - 1e-12)).all()
