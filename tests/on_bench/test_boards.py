"""Boards merged, against published examples of random effects and against known truth."""

from __future__ import annotations

import math

import numpy as np
import pytest

from advisor.bench.boards import (
    SPREADS,
    Expected,
    Pooled,
    dersimonian_laird,
    expected,
    figure,
    merged,
    pooled,
)
from tests.shares import mostly_slow

pytestmark = pytest.mark.once

# Sulfur in coal, level 1, eight laboratories, mass fraction in per cent: the example of ISO 5725-2
# (data and results from memory; the three results below come out of these data)
COAL = (
    (0.71, 0.71, 0.70, 0.71),
    (0.69, 0.67, 0.68),
    (0.66, 0.65, 0.69),
    (0.67, 0.65, 0.66),
    (0.70, 0.69, 0.66, 0.71, 0.69),
    (0.73, 0.74, 0.73),
    (0.71, 0.71, 0.69),
    (0.70, 0.65, 0.68),
)
# BCG vaccine trials, Colditz et al., JAMA 271 (1994) 698, from memory: with and without the
# disease, vaccinated, then not
BCG = np.array(
    [
        (4, 119, 11, 128),
        (6, 300, 29, 274),
        (3, 228, 11, 209),
        (62, 13536, 248, 12619),
        (33, 5036, 47, 5761),
        (180, 1361, 372, 1079),
        (8, 2537, 10, 619),
        (505, 87886, 499, 87892),
        (29, 7470, 45, 7232),
        (17, 1699, 65, 1600),
        (186, 50448, 141, 27197),
        (5, 2493, 3, 2338),
        (27, 16886, 29, 17825),
    ],
    dtype=float,
)
# CLASP, DerSimonian and Kacker, Contemporary Clinical Trials 28 (2007) 105: treated, events among
# them, untreated, events among them
CLASP = np.array(
    [
        (156, 5, 74, 8),
        (303, 5, 303, 17),
        (565, 12, 477, 9),
        (1570, 69, 1565, 94),
        (103, 9, 105, 11),
        (4659, 313, 4650, 352),
    ],
    dtype=float,
)


def test_coal_by_laboratories() -> None:
    """ISO 5725-2: m 0.690, s_r 0.015, s_R 0.026; to the last digit that it prints."""
    sizes = np.array([len(x) for x in COAL])
    means = [float(np.mean(x)) for x in COAL]
    squares = sum(float(np.square(np.array(x) - np.mean(x)).sum()) for x in COAL)
    s_r = np.sqrt(squares / (sizes.sum() - len(COAL)))
    found = dersimonian_laird(means, list(s_r / np.sqrt(sizes)))
    assert float((sizes * means).sum() / sizes.sum()) == pytest.approx(0.690, abs=5e-4)
    assert s_r == pytest.approx(0.015, abs=5e-4)
    assert np.sqrt(s_r**2 + found.tau2) == pytest.approx(0.026, abs=5e-4)


def test_vaccine_trials_by_moments() -> None:
    """Logarithms of relative risk: tau² 0.3088, mean -0.7141, u 0.1787, Q 152.233 (from memory)."""
    a, b, c, d = BCG.T
    values = np.log(a / (a + b) / (c / (c + d)))
    u = np.sqrt(1 / a - 1 / (a + b) + 1 / c - 1 / (c + d))
    found = dersimonian_laird(list(values), list(u))
    assert found.tau2 == pytest.approx(0.3088, abs=5e-5)
    assert found.mean == pytest.approx(-0.7141, abs=5e-5)
    assert found.u == pytest.approx(0.1787, abs=1e-4)
    assert found.q == pytest.approx(152.233, abs=5e-4)


def test_aspirin_trials_by_moments() -> None:
    """Logarithms of odds ratios: tau² 0.05397, mean -0.3240, u 0.1540, Q 9.678 (as published)."""
    n, a, m, c = CLASP.T
    values = np.log(a * (m - c) / (c * (n - a)))
    u = np.sqrt(1 / a + 1 / (n - a) + 1 / c + 1 / (m - c))
    found = dersimonian_laird(list(values), list(u))
    assert found.tau2 == pytest.approx(0.05397, abs=5e-6)
    assert found.mean == pytest.approx(-0.3240, abs=5e-5)
    assert found.u == pytest.approx(0.1540, abs=5e-5)
    assert found.q == pytest.approx(9.678, abs=5e-4)


def test_many_trials_leave_the_prior_no_say() -> None:
    """With a wide prior the thirteen trials' mean and spread are those by moments, nearly."""
    a, b, c, d = BCG.T
    values = list(np.log(a / (a + b) / (c / (c + d))))
    u = list(np.sqrt(1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)))
    by_moments, found = dersimonian_laird(values, u), pooled(values, u, 5.0)
    assert found.mean == pytest.approx(by_moments.mean, abs=0.1 * by_moments.u)
    # other methods say 0.28 to 0.40 of tau² here; tau to a quarter
    assert found.tau == pytest.approx(by_moments.tau2**0.5, rel=0.25)
    assert found.mean_u == pytest.approx(by_moments.u, rel=0.25)


def by_quadrature(y: list[float], u: list[float], spread: float) -> tuple[float, float]:
    """(mean, standard deviation) of the next unit, by a plain sum over a grid of m and tau."""
    tau = (np.arange(1500) + 0.5) * spread * 6 / 1500
    wide = 8 * (max(u) + spread)
    m = np.linspace(min(y) - wide, max(y) + wide, 1501)
    log = -0.5 * (tau / spread) ** 2 + np.zeros((m.size, 1))
    for x, s in zip(y, u, strict=True):
        v = s**2 + tau**2
        log = log - 0.5 * np.log(v) - 0.5 * (x - m[:, None]) ** 2 / v
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    mean = float((weight * m[:, None]).sum())
    return mean, float(np.sqrt((weight * ((m[:, None] - mean) ** 2 + tau**2)).sum()))


@pytest.mark.parametrize(
    "boards", [[(1.0, 0.02), (1.05, 0.03)], [(1.0, 0.02), (1.3, 0.05), (0.98, 0.01)]]
)
def test_both_unknowns_are_summed_over(boards: list[tuple[float, float]]) -> None:
    values, u = [v for v, _ in boards], [s for _, s in boards]
    mean, sd = by_quadrature(values, u, 0.1)
    found = pooled(values, u, 0.1)
    # both sums have steps of a percent or so of their widths
    assert found.mean == pytest.approx(mean, abs=5e-3 * sd)
    assert found.next_u == pytest.approx(sd, rel=5e-3)


def test_one_board_has_the_usual_spread() -> None:
    """Its own figure; the mean square of a half-normal's tau is its scale squared."""
    found = pooled([3.0], [0.02], 0.1)
    assert found.mean == pytest.approx(3.0)
    # the one board is also somewhere in its batch: once for it, once for the next
    assert found.mean_u**2 == pytest.approx(0.02**2 + 0.1**2, rel=2e-3)
    assert found.next_u**2 == pytest.approx(0.02**2 + 2 * 0.1**2, rel=2e-3)
    assert found.residuals == (0.0,)


def covered(boards: int, tau: float | None, runs: int, seed: int) -> float:
    """Share of next units inside their intervals; `tau` relative to the prior's scale."""
    draw = np.random.default_rng(seed)
    spread, u, hits = 0.05, 0.01, 0
    for _ in range(runs):
        true = spread * (abs(draw.normal()) if tau is None else tau)
        values = draw.normal(0.0, true, boards) + draw.normal(0.0, u, boards)
        found = pooled([float(x) for x in values], [u] * boards, spread)
        hits += abs(draw.normal(0.0, true) - found.mean) <= found.next_half_95
    return hits / runs


@pytest.mark.parametrize("boards", mostly_slow([2, 10, 3, 5], 4))
@pytest.mark.parametrize("tau", [None, 1.0])
def test_the_next_unit_is_covered(boards: int, tau: float | None) -> None:
    """93 to 97 % of the next units, over parts as the prior has them and at the usual spread."""
    # of 900 the share scatters by 0.7 %: 93 and 97 are nearly three standard deviations away
    assert 0.93 <= covered(boards, tau, 900, boards) <= 0.97


def test_a_narrower_batch_is_covered_the_more() -> None:
    """Where boards differ by half of what is usual the interval of few errs to the safe side."""
    assert covered(2, 0.5, 300, 1) > 0.97


def test_boards_that_agree_never_widen_the_mean_on_average() -> None:
    draw = np.random.default_rng(3)
    widths = []
    for boards in (1, 2, 3, 5, 10, 20):
        found = [
            pooled(list(draw.normal(1.0, 0.01, boards)), [0.01] * boards, 0.05).mean_u
            for _ in range(100)
        ]
        widths.append(float(np.mean(found)))
    assert widths == sorted(widths, reverse=True)


def test_what_all_boards_share_does_not_average_out() -> None:
    found = pooled([1.0] * 50, [0.01] * 50, 0.01, common=0.02)
    assert found.mean_u > 0.02
    apart = pooled([1.0] * 50, [0.01] * 50, 0.01)
    assert found.mean_u**2 == pytest.approx(apart.mean_u**2 + 0.02**2)
    assert found.next_u**2 == pytest.approx(apart.next_u**2 + 0.02**2)


def test_a_far_board_is_shown() -> None:
    """Against the others: within a mean of its own making no board of ten is beyond 2.85."""
    values = [1.0, 1.01, 0.99, 1.0, 1.02, 0.98, 1.0, 1.01, 0.99, 1.4]
    found = pooled(values, [0.005] * 10, 0.05)
    assert found.outliers == (9,)
    assert pooled(values[:-1], [0.005] * 9, 0.05).outliers == ()


def test_sessions_of_a_board_are_one_board() -> None:
    """By hand: equal u halve the variance, and Birge's ratio widens it."""
    assert merged([2.0], [0.1]) == (2.0, 0.1)
    value, u = merged([1.0, 1.0], [0.1, 0.1])
    assert value == 1.0
    assert u == pytest.approx(0.1 / 2**0.5)
    value, u = merged([0.0, 1.0], [0.1, 0.1])
    # chi² is 50 with one degree of freedom
    assert value == pytest.approx(0.5)
    assert u == pytest.approx(0.1 / 2**0.5 * 50**0.5)
    assert merged([1.0, 3.0], [0.0, 0.1]) == (1.0, 0.0)
    # exact ones that differ: their mean, and their own scatter
    value, u = merged([1.0, 3.0, 9.0], [0.0, 0.0, 0.1])
    assert (value, u) == pytest.approx((2.0, 2**0.5))


def test_a_figure_s_draws_are_those_of_the_next_unit() -> None:
    """95 % of the lognormal of the same mean and deviation lies where the interval says."""
    found = figure([2.0e-6, 2.5e-6, 1.6e-6], [2e-8] * 3, 0.3)
    sigma = np.sqrt(np.log1p((found.u / found.value) ** 2))
    middle = np.log(found.value) - sigma**2 / 2
    assert middle == pytest.approx(found.relative.mean)
    assert 1.959964 * sigma == pytest.approx(found.relative.next_half_95, rel=1e-6)
    assert found.mean_u < found.u
    alone = figure([2.0e-6], [2e-8], 0.3)
    assert np.exp(alone.relative.mean) == pytest.approx(2.0e-6)


def test_more_boards_are_expected_to_say_more() -> None:
    """Down to what all boards share for the mean, to the spread itself for the next unit."""
    plan: list[Expected] = [expected(n, 0.002, 0.001, 0.02, 0.05) for n in (1, 2, 3, 5, 10, 30)]
    for what in ("mean_half_95", "next_half_95"):
        widths = [getattr(p, what) for p in plan]
        assert widths == sorted(widths, reverse=True)
    assert plan[-1].next_half_95 == pytest.approx(1.96 * 0.02, rel=0.15)
    assert plan[-1].mean_half_95 == pytest.approx(1.96 * 0.02 / 30**0.5, rel=0.15)


@pytest.mark.parametrize("shift", [-50.0, 50.0])
def test_intervals_are_as_wide_wherever_the_values_lie(shift: float) -> None:
    """Logarithms of amperes are far below zero, of microseconds above it."""
    values, u = [1.0, 1.2, 0.9], [0.02, 0.05, 0.03]
    here, there = pooled(values, u, 0.1), pooled([v + shift for v in values], u, 0.1)
    assert there.mean == pytest.approx(here.mean + shift, rel=1e-12)
    assert there.mean_half_95 == pytest.approx(here.mean_half_95, rel=1e-9)
    assert there.next_half_95 == pytest.approx(here.next_half_95, rel=1e-9)


def test_a_wake_s_charge_spreads_as_the_product_of_a_time_and_a_current() -> None:
    """From where the two have nothing to do with each other to where they are one."""
    time, current = SPREADS["wake-time"], SPREADS["current"]
    assert math.hypot(time, current) < SPREADS["wake-charge"] < 1.001 * (time + current)


def test_exact_boards_are_no_trouble() -> None:
    found: Pooled = pooled([1.0, 1.0], [0.0, 0.0], 0.05)
    assert found.mean == 1.0
    assert 0 < found.next_u < 0.05
