"""First sign changes against scipy's root finder and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from advisor.model.crossing import NARROW, first_negative

GRID = np.linspace(0, 1, 11)
ZERO_AT = np.array([0.05, 0.1, 0.3333, 0.777, 0.9999, 1.5])


@pytest.mark.parametrize("falling", [True, False])
def test_straight_lines_cross_where_they_do(falling: bool) -> None:
    found = first_negative(
        lambda depth, case: ZERO_AT[case] - depth, GRID, np.ones(len(ZERO_AT)), falling
    )
    assert found[:-1] == pytest.approx(ZERO_AT[:-1], abs=2 * NARROW)
    assert found[-1] == np.inf


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
