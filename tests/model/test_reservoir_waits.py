"""Tasks that keep one another waiting on a reservoir, against the simulator of its circuit; and a
reservoir that helps nothing."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from advisor.model import reservoir
from advisor.model.battery import life
from advisor.model.drain import Drain, Pack
from advisor.model.relaxation import Circuit as Cells
from advisor.model.rounds import Train
from tests.model.test_reservoir import SLEEP, Circuit, Task, column, drain, loads, lowest, one, pack

pytestmark = pytest.mark.once

# short by no more than the phases that stand for all may be, deeper by what a bound costs
SHORT, DEEPER = 0.01, 0.08


def falls(cell: Circuit, tasks: list[Task]) -> tuple[float, float]:
    """(modelled, simulated) greatest fall of the voltage at the terminals, V."""
    return cell.volts - modelled(cell, tasks), cell.volts - lowest(cell, tasks)


def modelled(cell: Circuit, tasks: list[Task], enough: float | None = None) -> float:
    """Lowest voltage at the terminals, V; not followed far below `enough`."""
    states = [s for t in tasks for s in t.states] + [(SLEEP, 0.0, 1.0)]
    amps, watts, seconds = (column(*values) for values in zip(*states, strict=True))
    edges = np.cumsum([0, *(len(t.states) for t in tasks)])
    train = Train(
        amps=amps,
        watts=watts,
        seconds=seconds,
        tasks=tuple(slice(a, b) for a, b in pairwise(edges.tolist())),
        periods=column(*(t.period for t in tasks)),
        powered=[s[1] > 0 for s in states],
    )
    cells = Cells.of(one(cell.volts), one(cell.ohms), one(cell.farad), one(cell.esr))
    return float(reservoir.lowest(cells, train, None if enough is None else one(enough))[0])


@pytest.mark.parametrize("seed", [*range(0, 160, 2), 1, 3])
def test_random_tasks_sink_as_low_as_they_do(seed: int) -> None:
    """Two to four tasks, short periods beside long memories; powers where the seed is odd."""
    draw = np.random.default_rng(seed)
    cell = Circuit(3.0, float(draw.uniform(3, 12)), float(draw.uniform(0.05, 0.3)), 0.5)
    powers = seed % 2
    least, most = np.array([5e-3, 5e-3 * powers, 0.02]), np.array([0.03, 0.03 * powers, 0.15])
    tasks = [
        Task(float(draw.uniform(0.7, 4)), tuple(tuple(draw.uniform(least, most)) for _ in range(2)))
        for _ in range(2 + seed // 2 % 3)
    ]
    fall, exact = falls(cell, tasks)
    assert exact * (1 - SHORT) <= fall <= exact * (1 + DEEPER)


@pytest.mark.parametrize("period", [0.35, 0.5, 0.8])
@pytest.mark.parametrize("watts", [0.0, 20e-3])
def test_a_task_that_is_due_again_as_soon_as_it_has_waited(period: float, watts: float) -> None:
    """It recovers a little at its own end, and sinks deeper the second time."""
    tasks = [
        Task(4.0, ((20e-3, 0.0, 0.25),)),
        Task(period, ((60e-3, watts, 0.1), (1e-3, 0.0, 0.05))),
    ]
    fall, exact = falls(Circuit(3.0, 8.0, 0.1, 0.5), tasks)
    assert exact * (1 - SHORT) <= fall <= exact * (1 + DEEPER)


def test_a_frequent_task_comes_twice_before_one_that_a_long_one_keeps_waiting() -> None:
    """While 0.7 s of work run the frequent task falls due again: both of its events pull down the
    one that waits. Without the second the fall is 7 % short."""
    tasks = [
        Task(0.5, ((30e-3, 0.0, 0.06),)),
        Task(6.0, ((40e-3, 0.0, 0.05),)),
        Task(7.0, ((2e-3, 0.0, 0.7),)),
    ]
    fall, exact = falls(Circuit(3.0, 6.5, 0.03, 0.5), tasks)
    assert exact * (1 - SHORT) <= fall <= exact * (1 + DEEPER)


@pytest.mark.parametrize("seed", range(0, 40, 2))
def test_a_bound_that_is_asked_about_is_told_on_its_right_side(seed: int) -> None:
    """Whatever is not followed further down lies below the bound, and not below the lowest."""
    draw = np.random.default_rng(seed)
    cell = Circuit(3.0, float(draw.uniform(3, 12)), float(draw.uniform(0.05, 0.3)), 0.5)
    tasks = [
        Task(
            float(draw.uniform(0.4, 4)),
            ((float(draw.uniform(5e-3, 30e-3)), 0.0, float(draw.uniform(0.02, 0.3))),),
        )
        for _ in range(2 + seed // 2 % 3)
    ]
    low = modelled(cell, tasks)
    for below in (0.2, 0.02, 2e-3):
        fall = cell.volts - low
        assert modelled(cell, tasks, low - below * fall) == pytest.approx(low, abs=1e-5)
        higher = low + below * fall
        assert low - 1e-5 <= modelled(cell, tasks, higher) < higher


def twofold(record: Any, *names: str) -> Any:
    """A record with some arrays' one draw twice."""
    return replace(record, **{name: np.repeat(getattr(record, name), 2, axis=-1) for name in names})


def test_a_pack_without_resistance_gives_what_is_drawn_beside_one_that_has_some() -> None:
    """Two draws: behind no resistance the reservoir helps nothing, the cells see the current."""
    made = pack((0.0, 1.0), (3.0, 3.0), (0.0, 0.0), 1e-3, 0.1)
    own = ("open_v", "capacity_c", "self_discharge_a", "leak_a")
    both: Pack = twofold(made, *own, "least_capacity", "mean_capacity", "shelf_life_s")
    ohms, farad, esr = np.array([[0.0, 10.0], [0.0, 10.0]]), np.full(2, 1e-3), np.full(2, 0.1)
    both = replace(both, resistance=ohms, reservoir=(farad, esr))
    load = drain([Task(10.0, ((20e-3, 0.0, 5e-3),))])
    states = ("constant_a", "power_w", "share", "duration_s", "period_s", "cut_off_v")
    wide: Drain = twofold(load, *states)
    peak = life(both, wide).start_peak_a[0]
    assert peak[0] == pytest.approx(20e-3, rel=1e-9)
    alone = replace(made, resistance=column(10.0, 10.0))
    assert peak[1] == pytest.approx(float(life(alone, load).start_peak_a[0, 0]), rel=1e-9)
    assert peak[1] < 0.9 * 20e-3


@pytest.mark.parametrize("tasks", [2, 4])
def test_which_states_draw_power_saves_time_alone(tasks: int) -> None:
    """In the last state of the last task alone, of few tasks and of many."""
    cells, train = loads(7, tasks)
    train.watts[2 * tasks - 1] = 20e-3
    told = [bool(row.any()) for row in train.watts]
    some = reservoir.lowest(cells, replace(train, powered=told))
    every = reservoir.lowest(cells, replace(train, powered=[True] * len(told)))
    none = reservoir.lowest(cells, train)
    np.testing.assert_allclose(some, every, rtol=1e-9)
    assert (none > every + 1e-3).mean() > 0.3
