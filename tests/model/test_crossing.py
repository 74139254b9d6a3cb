"""First sign changes against scipy's root finder and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from advisor.model.crossing import CLOSE, NARROW, first_negative, first_short
from advisor.model.pieces import Array, Index

GRID = np.linspace(0, 1, 11)
ZERO_AT = np.array([0.05, 0.1, 0.3333, 0.777, 0.9999, 1.5])


@pytest.mark.parametrize("falling", [True, False])
def test_straight_lines_cross_where_they_do(falling: bool) -> None:
    found = first_negative(
        lambda depth, case: ZERO_AT[case] - depth, GRID, np.ones(len(ZERO_AT)), falling
    )
    assert found[:-1] == pytest.approx(ZERO_AT[:-1], abs=2 * NARROW)
    assert found[-1] == np.inf


def test_both_ends_are_looked_at_once_and_one_that_is_known_not_at_all() -> None:
    asked: list[float] = []

    def margin(depth: Array, case: Index) -> Array:
        asked.extend(depth.tolist())
        return np.asarray(np.exp(-3 * depth) - np.exp(-3 * ZERO_AT[case]))

    ends, ones = np.array([0.0, 1.0]), np.ones(len(ZERO_AT))
    found = first_negative(margin, ends, ones, True)
    short = np.count_nonzero(np.isfinite(found))
    assert asked.count(1.0) == len(ZERO_AT)
    assert asked.count(0.0) == short
    asked.clear()
    begun = 1 - np.exp(-3 * ZERO_AT)
    assert (first_negative(margin, ends, ones, True, begun=begun) == found).all()
    assert 0.0 not in asked
    # a grid that ends sooner has been looked at nowhere
    sooner = first_negative(margin, np.array([0.0, 0.8]), ones, True)
    assert sooner[:4] == pytest.approx(ZERO_AT[:4], abs=2 * NARROW)


@pytest.mark.parametrize("near", [0.0, 1e-9, 1e-3])
def test_a_margin_that_is_nearly_nil_ends_the_search(near: float) -> None:
    looks = 0

    def margin(depth: Array, case: Index) -> Array:
        nonlocal looks
        looks += 1
        return np.asarray(np.exp(-3 * depth) - np.exp(-3 * ZERO_AT[case]))

    found = first_negative(margin, np.array([0.0, 1.0]), np.ones(len(ZERO_AT)), True, near)
    # the slope is steeper than 3 exp(-3)
    assert found[:-1] == pytest.approx(ZERO_AT[:-1], abs=max(near / (3 * np.exp(-3)), 2 * NARROW))
    assert found[-1] == np.inf
    assert looks <= {0.0: 20, 1e-9: 14, 1e-3: 11}[near]


@pytest.mark.parametrize("falling", [True, False])
def test_a_crossing_beyond_the_depth_of_interest_is_none(falling: bool) -> None:
    upto = np.array([0.5, 0.77, 0.78])
    found = first_negative(lambda depth, case: 0.777 - depth + 0 * case, GRID, upto, falling)
    assert found[:2].tolist() == [np.inf, np.inf]
    assert found[2] == pytest.approx(0.777, abs=2 * NARROW)


@pytest.mark.parametrize("falling", [True, False])
def test_negative_from_the_start(falling: bool) -> None:
    found = first_negative(lambda depth, _: -1.0 - depth, GRID, np.ones(2), falling)
    assert found.tolist() == [0.0, 0.0]


def test_the_first_of_several_crossings_counts() -> None:
    # cos turns negative at 1/6, positive at 1/2, negative again at 5/6
    found = first_negative(lambda d, _: np.cos(3 * np.pi * d), GRID, np.ones(1), falling=False)
    assert found[0] == pytest.approx(1 / 6, abs=2 * NARROW)


def test_a_margin_that_recovers_has_crossed_all_the_same() -> None:
    # cos turns negative at 1/4 and is positive again from 3/4 on
    found = first_negative(lambda d, _: np.cos(2 * np.pi * d), GRID, np.ones(1), falling=False)
    assert found[0] == pytest.approx(1 / 4, abs=2 * NARROW)


def test_a_margin_that_fails_at_the_first_place_only_has_crossed() -> None:
    # negative from 0.08 to 0.12, around the first place of the grid behind the start
    found = first_negative(lambda d, _: (d - 0.08) * (d - 0.12), GRID, np.ones(1), falling=False)
    assert found[0] == pytest.approx(0.08, abs=2 * NARROW)


def test_a_margin_that_is_not_there_is_negative_by_halving() -> None:
    # the square root ends where there is no power to be had: NaN counts as failed
    def margin(depth: np.ndarray, _: np.ndarray) -> np.ndarray:
        with np.errstate(invalid="ignore"):
            return np.nan_to_num(np.sqrt(0.4321 - depth), nan=-1.0)

    found = first_negative(margin, GRID, np.ones(1), falling=True)
    assert found[0] == pytest.approx(0.4321, abs=2 * NARROW)


@given(power=st.floats(0.2, 8.0), level=st.floats(0.02, 0.98))
def test_curved_margins_against_brentq(power: float, level: float) -> None:
    def margin(depth: np.ndarray, _: np.ndarray) -> np.ndarray:
        return np.asarray(level - np.asarray(depth) ** power)

    found = first_negative(margin, GRID, np.ones(1), falling=True)
    exact = brentq(lambda d: level - d**power, 0, 1, xtol=1e-14)
    # it stops where the bracket is narrow, or the margin itself is: NARROW of either
    slope = power * exact ** (power - 1)
    assert found[0] == pytest.approx(exact, abs=2 * NARROW * max(1.0, 1 / slope))
    assert float(margin(found, np.zeros(1))[0]) >= 0


@pytest.mark.parametrize("seed", range(20))
def test_margins_of_voltages_cross_where_a_root_finder_says(seed: int) -> None:
    """Invented packs: V falls, R rises, both in pieces; g bends, jumps or is not there at all, and
    what is lost already under half of the load is told by that."""
    rng = np.random.default_rng(seed)
    count, places = 40, np.concatenate([[0.0], np.sort(rng.uniform(0.02, 0.98, 8)), [1.0]])
    volts = 3.3 - np.cumsum(rng.uniform(0.0, 0.4, (10, count)) ** 2, axis=0)
    ohms = np.cumsum(rng.uniform(0.0, 2.0, (10, count)), axis=0)
    if seed % 5 == 0:
        ohms[:, :5] = 0.0
    amps, power, jump = rng.uniform(0, 0.1, count), rng.uniform(0, 0.3, count), rng.random(count)
    upto = rng.uniform(0.3, 1.0, count)
    looks = np.zeros(count, dtype=int)

    def one(depth: float, n: int, load: float = 1.0) -> float:
        """Behind a resistance, a current and a power; the current steps up where a case jumps."""
        v, r = np.interp(depth, places, volts[:, n]), np.interp(depth, places, ohms[:, n])
        current = load * amps[n] * (1.5 if seed % 3 == 0 and depth > jump[n] else 1.0)
        square = (v - r * current) ** 2 - 4 * r * load * power[n]
        return -np.inf if square < 0 else (v - r * current + np.sqrt(square)) / 2 - 2.0

    def told(depth: float, n: int) -> float:
        half = one(depth, n, 0.5)
        return half if seed % 2 and half < -CLOSE else one(depth, n)

    def margin(depth: np.ndarray, case: np.ndarray) -> np.ndarray:
        np.add.at(looks, case, 1)
        return np.array([told(d, n) for d, n in zip(depth, case, strict=True)])

    def growth(value: np.ndarray, case: np.ndarray) -> np.ndarray:
        watts, milder = power[case], value + 2.0
        return np.asarray((amps[case] + watts / 2.0) / (amps[case] + watts / milder))

    found = first_short(margin, places, volts - 2.0, ohms, upto, growth)
    for n, at in enumerate(found):
        if one(0.0, n) < 0:
            assert at == 0.0
        elif one(upto[n], n) >= 0:
            assert at == np.inf
        else:
            assert 0 <= at <= upto[n]
            step = 1e-7
            assert one(max(at - step, 0.0), n) >= 0 > one(at + step, n)
    assert looks.mean() < 6
    assert looks.max() <= 65


@pytest.mark.parametrize("beyond", [1e-8, 1e-7])
@pytest.mark.parametrize("miss", [3e-7, 9e-7])
def test_a_look_that_misses_by_a_microvolt_just_below_the_end_is_near_enough(
    beyond: float, miss: float
) -> None:
    """A margin is known to a microvolt; what lies below it just before the end of what is looked at
    is the depth itself, and not the beginning."""
    grid, end = np.array([0.0, 1.0]), 0.5 + beyond

    def margin(depth: Array, cases: Index) -> Array:
        inside = (depth > 0) & (depth < end)
        return 3 - depth - 10 * 0.25 - np.where(inside, miss, 0.0) + 0.0 * cases

    volts, ohms = np.array([[3.0], [2.0]]), np.array([[10.0], [10.0]])
    ones = lambda value, _: np.ones(value.shape)  # noqa: E731
    found = first_short(margin, grid, volts, ohms, np.array([end]), ones)
    assert found[0] == pytest.approx(0.5, abs=2e-6)


@pytest.mark.parametrize("bend", [0.2, 0.4, 0.6])
def test_looks_that_are_told_too_great_below_nil_end_at_no_root_of_their_own(bend: float) -> None:
    """Beyond 0.75 a milder load tells what is clearly short; the true margin ends at 0.5."""
    grid, volts, ohms = np.array([0.0, 1.0]), np.array([[1.0], [0.0]]), np.full((2, 1), 10.0)

    def margin(depth: Array, _: Index) -> Array:
        past = depth - 0.75
        milder = -past * (0.5 + bend * past)
        return np.asarray(np.where(milder < -CLOSE, milder, 0.5 - depth))

    ones = lambda value, _: np.ones(value.shape)  # noqa: E731
    found = first_short(margin, grid, volts, ohms, np.ones(1), ones)
    assert found[0] == pytest.approx(0.5, abs=2 * NARROW)
