"""The kinetic battery model against published lifetimes and an ODE solver."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from advisor.model.kinetic_cell import lifetime, periodic_peak, step

# Jongerden, Haverkort, Bohnenkamp & Katoen, "Maximizing system lifetime by battery scheduling",
# DSN 2009: c = 0.166, k' = 0.122 /min, 5.5 A min, in jobs of one minute (lifetimes from memory)
C, K, CAPACITY = 0.166, 0.122, 5.5
HIGH, LOW, SHORT, LONG = (0.5, 1.0), (0.25, 1.0), (0.0, 1.0), (0.0, 2.0)
PUBLISHED = {
    "CL 250": ([LOW], 4.53),
    "CL 500": ([HIGH], 2.02),
    "CL alt": ([HIGH, LOW], 2.58),
    "ILs 250": ([LOW, SHORT], 10.80),
    "ILs 500": ([HIGH, SHORT], 4.30),
    "ILs alt": ([HIGH, SHORT, LOW, SHORT], 4.80),
    "ILl 250": ([LOW, LONG], 21.86),
    "ILl 500": ([HIGH, LONG], 6.53),
}


@pytest.mark.parametrize("name", PUBLISHED)
def test_lifetimes_of_jongerden_2009(name: str) -> None:
    load, published = PUBLISHED[name]
    # published to a hundredth of a minute
    assert lifetime(CAPACITY, C, K, load) == pytest.approx(published, abs=0.005)


def test_a_load_that_draws_nothing_or_ends_never_empties() -> None:
    assert lifetime(CAPACITY, C, K, [(0.0, 1.0)]) == np.inf
    assert lifetime(CAPACITY, C, K, [HIGH], repeat=False) == np.inf


def test_a_slow_drain_takes_all_of_it() -> None:
    # far below k the bound well follows, so nearly all the charge comes out
    assert lifetime(CAPACITY, C, K, [(1e-4, 100.0)]) == pytest.approx(CAPACITY / 1e-4, rel=1e-3)


def test_a_step_is_the_equation_s_own_solution() -> None:
    found = solve_ivp(
        lambda _, d: 0.5 / C - K * d, (0, 3.0), [0.7], method="LSODA", rtol=1e-10, atol=1e-12
    )
    ours = step(np.array(0.7), np.array(0.5), np.array(3.0), np.array(C), np.array(K))
    assert float(ours) == pytest.approx(float(found.y[0, -1]), rel=1e-8)


def test_the_periodic_peak_is_where_a_long_march_settles() -> None:
    load = [(0.5, 1.0), (0.1, 2.0), (0.4, 0.5)]
    rest = (0.01, 6.0)
    delta, peak = 0.0, 0.0
    for _ in range(200):
        peak = 0.0
        for current, duration in [*load, rest]:
            arrays = (np.array(x) for x in (delta, current, duration, C, K))
            delta = float(step(*arrays))
            peak = max(peak, delta)
    ours = periodic_peak(
        [np.array(i) for i, _ in load],
        [np.array(t) for _, t in load],
        np.array(rest[0]),
        np.array(rest[1]),
        np.array(C),
        np.array(K),
    )
    assert float(ours) == pytest.approx(peak, rel=1e-12)


@pytest.mark.parametrize("rest", [0.0, 6.0])
def test_the_mean_over_a_period_is_the_mean_current_s(rest: float) -> None:
    # averaged over one settled period d(delta)/dt is zero, so k <delta> = <i>/c, whatever the order
    load = [(0.5, 1.0), (0.1, 2.0), (0.4, 0.5)]
    states = [*load, (0.01, rest)] if rest else load
    period = sum(t for _, t in states)
    mean = sum(i * t for i, t in states) / period
    found = float(
        periodic_peak(
            [np.array(i) for i, _ in load],
            [np.array(t) for _, t in load],
            np.array(0.01),
            np.array(rest),
            np.array(C),
            np.array(K),
        )
    )
    # march one period from each candidate start to find the settled one, by a solver
    delta = mean / (C * K)
    for _ in range(int(25 / (K * period)) + 1):
        area, peak = 0.0, delta
        for current, duration in states:
            solved = solve_ivp(
                lambda _, y, i=current: [i / C - K * y[0], y[0]],
                (0, duration),
                [delta, 0.0],
                rtol=1e-10,
                atol=1e-12,
            )
            delta, area = float(solved.y[0, -1]), area + float(solved.y[1, -1])
            peak = max(peak, delta)
    assert area / period == pytest.approx(mean / (C * K), rel=1e-7)
    assert found == pytest.approx(peak, rel=1e-7)
    assert found > mean / (C * K)
