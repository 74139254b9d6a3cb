"""What starts and ends a march, against solvers: fresh pack, shelf, several tasks on two wells."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from advisor.model.battery import averaged, life
from advisor.model.drain import Drain
from tests.model.test_battery import DEPTH, VOLTS, YEAR, drain, ends, one, pack, seconds


def test_a_fresh_pack_s_mean_and_peak_by_hand() -> None:
    # 3.2 V fresh behind 5 ohm: 15 mA and 12 mW for 4 ms a minute, 2 uA and 6 uW in between
    made = pack(DEPTH, VOLTS, (5.0, 5.0, 8.0, 20.0, 60.0), self_a=1e-6, leak_a=1e-6)
    found = life(made, drain([(15e-3, 12e-3, 4e-3)], rest=(2e-6, 6e-6)))
    busy = 4e-3 / 60
    mean = busy * (15e-3 + 12e-3 / 3.2) + (1 - busy) * (2e-6 + 6e-6 / 3.2)
    # what the cell loses by itself and in the reservoir is not the load's
    assert found.start_mean_a[0, 0] == pytest.approx(mean, rel=1e-12)
    # V' = 3.2 - 5 (0.015 + 0.012/V'): V'^2 - 3.125 V' + 0.06 = 0
    low = (3.125 + np.sqrt(3.125**2 - 4 * 0.06)) / 2
    assert found.start_low_v[0, 0] == pytest.approx(low, rel=1e-12)
    assert found.start_peak_a[0, 0] == pytest.approx(15e-3 + 12e-3 / low, rel=1e-9)


@pytest.mark.parametrize("share", [0.02, 0.4, 0.9, 1.1])
def test_the_shelf_life_against_an_ode_solver(share: float) -> None:
    made = pack(DEPTH, VOLTS, (0.0,) * 5, self_a=2e-6, leak_a=1e-6)
    load = drain([], rest=(3e-6, 20e-6))
    capacity = 0.225 * 3600
    whole = seconds(life(made, load))
    shelf = share * whole
    found = life(replace(made, shelf_life_s=one(shelf)), load)
    assert ends(found) == ("shelf-life" if share < 1 else "capacity")
    assert seconds(found) == pytest.approx(min(shelf, whole), rel=1e-12)
    mild = averaged(replace(made, shelf_life_s=one(shelf)), load)
    assert mild[0, 0] == pytest.approx(min(shelf, whole), rel=1e-12)

    # depth until then: dD/dt = (a + w/V + self + leak)/C; of it the load and the leak took all but
    # the cell's own loss
    def rate(_: float, d: np.ndarray) -> np.ndarray:
        return np.asarray((6e-6 + 20e-6 / np.interp(d, DEPTH, VOLTS)) / capacity)

    until = min(shelf, whole)
    solved = solve_ivp(rate, (0, until), [0.0], rtol=1e-9, atol=1e-12, max_step=until / 200)
    mean = capacity * float(solved.y[0, -1]) / until - 2e-6
    # the solver meets the curve's corners within its steps
    assert found.mean_current_a[0, 0] == pytest.approx(mean, rel=1e-6)


def test_the_averaged_life_keeps_to_the_shelf() -> None:
    # the cold leaves 40 %, the year's mean 90 %: 0.4 and 0.9 of 2.57 years, on a shelf of 1.5
    made = replace(pack(), least_capacity=one(0.4), mean_capacity=one(0.9))
    load = drain([], rest=(10e-6, 0.0))
    made = replace(made, shelf_life_s=one(1.5 * YEAR))
    found = life(made, load)
    assert ends(found) == "cold"
    assert seconds(found) == pytest.approx(0.4 * 0.225 * 3600 / 10e-6, rel=1e-9)
    assert averaged(made, load)[0, 0] == pytest.approx(1.5 * YEAR, rel=1e-12)


WELL_C, WELL_K = 0.3, 2e-4


def two_tasks(
    power: float, turned: bool = False
) -> tuple[Drain, list[tuple[list[tuple[float, float, float]], float]]]:
    """Two tasks over a rest; of each its states (A, W, s) and its period."""
    tasks = [([(2e-3, 0.0, 10.0), (4e-3, power, 30.0)], 900.0), ([(6e-3, power, 60.0)], 3600.0)]
    if turned:
        tasks = tasks[::-1]
    rest = (2e-5, 0.0)
    states = [s for found, _ in tasks for s in found]
    share = [s[2] / period for found, period in tasks for s in found]

    def shaped(values: list[float]) -> np.ndarray:
        return np.array(values)[None, :, None]

    return Drain(
        shaped([*(a for a, _, _ in states), rest[0]]),
        shaped([*(w for _, w, _ in states), rest[1]]),
        shaped([*share, 1 - sum(share)]),
        shaped([*(t for _, _, t in states), 0.0]),
        (slice(0, 1), slice(1, 3)) if turned else (slice(0, 2), slice(2, 3)),
        np.array([[p] for _, p in tasks]),
        np.array([[0.0]]),
    ), tasks


def settled_peak(states: list[tuple[float, float]], period: float, mean: float) -> float:
    """Greatest difference of the wells, by a solver over periods until it repeats."""
    length, charge = sum(t for _, t in states), sum(i * t for i, t in states)
    # what the other tasks and the rest take comes evenly over what is left of the period
    whole = [*states, ((mean * period - charge) / (period - length), period - length)]
    delta, peak = mean / (WELL_C * WELL_K), 0.0
    for _ in range(int(22 / (WELL_K * period)) + 1):
        peak = 0.0
        for current, duration in whole:
            solved = solve_ivp(
                lambda _, d, i=current: i / WELL_C - WELL_K * d,
                (0, duration),
                [delta],
                rtol=1e-10,
                atol=1e-12,
            )
            delta = float(solved.y[0, -1])
            peak = max(peak, delta)
    return peak


@pytest.mark.parametrize("turned", [False, True])
def test_the_two_well_bound_takes_the_worst_of_several_tasks(turned: bool) -> None:
    load, tasks = two_tasks(0.0, turned)
    # what the cell loses by itself flows through no well's wall
    made = replace(pack(capacity_c=20.0, self_a=1e-5), two_well=(one(WELL_C), one(WELL_K)))
    found = life(made, load)
    share = [i * t / p for states, p in tasks for i, _, t in states]
    busy = sum(t / p for states, p in tasks for _, _, t in states)
    mean = sum(share) + (1 - busy) * 2e-5
    peaks = [settled_peak([(i, t) for i, _, t in s], p, mean) for s, p in tasks]
    end = 1 - (1 - WELL_C) * max(peaks) / 20.0
    assert (peaks[1] > peaks[0]) is not turned
    assert 0.2 < end < 0.9
    assert ends(found) == "two-well"
    assert found.end_depth[0, 0] == pytest.approx(end, abs=1e-6)


def test_the_two_well_bound_at_the_falling_voltage() -> None:
    load, tasks = two_tasks(9e-3)
    made = replace(
        pack((0.0, 1.0), (3.6, 1.8), capacity_c=35.0), two_well=(one(WELL_C), one(WELL_K))
    )
    found = life(made, load)

    def margin(depth: float) -> float:
        volts = 3.6 - 1.8 * depth
        at = [([(i + w / volts, t) for i, w, t in s], p) for s, p in tasks]
        busy = sum(t / p for s, p in at for _, t in s)
        mean = sum(i * t / p for s, p in at for i, t in s) + (1 - busy) * 2e-5
        peak = max(settled_peak(s, p, mean) for s, p in at)
        return 1 - (1 - WELL_C) * peak / 35.0 - depth

    assert ends(found) == "two-well"
    # the margin falls by a little more than the depth grows, so it is as small as the depth is off
    assert margin(float(found.end_depth[0, 0])) == pytest.approx(0.0, abs=1e-6)


def test_the_two_well_bound_of_a_steady_drain() -> None:
    # settled: delta = i/(c k), so D = 1 - (1 - c) i/(c k C)
    made = replace(pack(capacity_c=40.0), two_well=(one(WELL_C), one(WELL_K)))
    found = life(made, drain([], rest=(1e-3, 0.0)))
    end = 1 - 0.7 * 1e-3 / (0.3 * 2e-4 * 40.0)
    assert ends(found) == "two-well"
    assert found.end_depth[0, 0] == pytest.approx(end, abs=1e-7)
    bare = replace(drain([], rest=(1e-3, 0.0)), tasks=(), period_s=np.zeros((0, 1)))
    assert life(made, bare).end_depth[0, 0] == pytest.approx(end, abs=1e-7)
