"""Places that a change is closed in on from, by what they must be whatever was guessed."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.catalogue.kinds import Figure, Whole
from advisor.catalogue.levers import NEAR, Lever, part_way
from advisor.decide.closing import _beside, _straight, share_of

PLACE: Any = "p:at"
FIGURE = Lever(path=PLACE, kind=Figure("length"), unit="m", now=None, u=0.0)
COUNT = Lever(path=PLACE, kind=Whole(1, 10**9), unit="1", now=None, u=0.0)


@given(st.integers(1, 10**6), st.integers(1, 10**6), st.floats(-0.2, 1.2), st.booleans())
def test_a_whole_number_beside_a_guess_lies_between_what_is_known(
    close: int, beyond: int, share: float, sure: bool
) -> None:
    guess = close + share * (beyond - close)
    x = _beside(COUNT, guess, float(close), float(beyond), sure)
    if abs(close - beyond) < 2:
        assert x is None
        return
    assert x is not None
    assert x == round(x)
    assert min(close, beyond) < x < max(close, beyond)
    # within half a step and a rounding of the guess where that is inside, on the side asked for
    if min(close, beyond) + 1 < guess < max(close, beyond) - 1:
        assert abs(x - guess) <= 1.5
        assert (x - guess) * (beyond - close) * (-1 if sure else 1) >= 0


@given(st.floats(1e-3, 1e3), st.floats(0.05, 0.95), st.booleans(), st.booleans())
def test_a_value_beside_a_guess_is_beyond_it_until_the_change_is_known_there(
    low: float, share: float, up: bool, sure: bool
) -> None:
    """By two fifths of what places are told apart by; the change lies between it and the guess."""
    close, beyond = (low, 2 * low) if up else (2 * low, low)
    guess = close + share * (beyond - close)
    x = _beside(FIGURE, guess, close, beyond, sure)
    assert x is not None
    way = 1.0 if up else -1.0
    assert way * (x - guess) == pytest.approx((-0.4 if sure else 0.4) * NEAR * guess, rel=1e-6)


def test_a_guess_at_what_is_known_is_left_for_the_middle() -> None:
    for sure in (True, False):
        x = _beside(FIGURE, 5.0, 1.0, 2.0, sure)
        assert x == pytest.approx(part_way(1.0, 2.0, 0.5))
    assert _beside(FIGURE, 1.0, 1.0, 1.0 + 1e-5, True) is None


@given(st.floats(1e-3, 1e3), st.floats(1.1, 1e3), st.floats(0.0, 1.0))
def test_a_share_of_the_way_is_where_that_share_leads(low: float, by: float, share: float) -> None:
    for one, other in ((low, low * by), (low * by, low), (-low, low)):
        at = part_way(one, other, share)
        assert share_of(one, other, at) == pytest.approx(share, abs=1e-9)


def test_a_straight_line_is_followed_to_nothing() -> None:
    """Leads of 3 and -1: three quarters of the way; what falls short of a line is halved."""
    assert _straight(-8.0, 3.0, 8.0, -1.0) == pytest.approx(4.0)
    assert _straight(-8.0, 1.0, 8.0, -3.0) == pytest.approx(-4.0)
    assert _straight(-8.0, -1.0, 8.0, -3.0) == pytest.approx(-8.0)
    for ahead, behind in ((float("inf"), -1.0), (1.0, float("-inf")), (1.0, 1.0)):
        assert _straight(-8.0, ahead, 8.0, behind) == pytest.approx(0.0)
