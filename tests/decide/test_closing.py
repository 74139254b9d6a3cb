"""Places that a change is closed in on from, by what they must be whatever was guessed."""

from __future__ import annotations

from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.catalogue.kinds import Figure, Whole
from advisor.catalogue.levers import NEAR, Lever, part_way
from advisor.decide import tips
from advisor.decide.closing import _beside, _between_taken, _halved, _straight, share_of

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


BUILDS: Any = ["build"]


def stepping(step: float, asked: list[float] | None = None, kept: float = 1.0) -> Any:
    """A line whose lead, by all draws, is `kept` below a value and lost without end from there on;
    what it is asked for is noted."""
    noted = [] if asked is None else asked

    def exactly(x: float, _: Any) -> float:
        noted.append(x)
        return kept if x < step else float("-inf")

    return SimpleNamespace(
        lever=FIGURE,
        exactly=exactly,
        taken=lambda _: ["build"],
        that_stand=lambda _, builds: builds,
    )


@pytest.mark.parametrize("step", [1.03, 1.2, 1.31, 1.49])
def test_a_step_without_height_is_closed_in_on_by_halving(step: float) -> None:
    """In the part of the bracket where the scan had it: eight halvings of a logarithm of 1.5."""
    found = _halved(stepping(step), (1.0, 1.5), (1.0, 1.5), 1.2, BUILDS)
    assert found == pytest.approx(step, rel=1.5**0.5**8 - 1)


@pytest.mark.parametrize("step", [1.02, 1.14, 1.32, 1.46])
def test_a_step_is_found_in_the_bracket_where_the_scan_was_wrong(step: float) -> None:
    """The scan had it from 1.2 to 1.3: it lies before, or beyond."""
    found = _halved(stepping(step), (1.0, 1.5), (1.2, 1.3), 1.25, BUILDS)
    assert found == pytest.approx(step, rel=1e-3)


def test_where_all_draws_keep_the_lead_to_the_end_there_is_no_step() -> None:
    assert _halved(stepping(1.6), (1.0, 1.5), (1.2, 1.3), 1.25, BUILDS) is None
    # downward as upward: lost from 1 on, seen from 2, which loses it at once
    assert _halved(stepping(3.0), (2.0, 1.0), (1.8, 1.5), 1.6, BUILDS) is None


def test_halving_ends_where_places_are_no_longer_told_apart() -> None:
    asked: list[float] = []
    narrow = 1.0, 1.0 + NEAR
    found = _halved(stepping(1.0003, asked), narrow, narrow, 1.0005, BUILDS)
    assert found == pytest.approx(1.0003, abs=0.2 * NEAR)
    assert len(asked) <= 2 + 3


@pytest.mark.parametrize("step", [1.001, 1.012, 1.0295])
def test_a_step_between_two_decisions_is_found_by_the_builds_that_they_took(step: float) -> None:
    asked: list[float] = []
    found = _between_taken(stepping(step, asked), 1.0, 1.03)
    assert found == pytest.approx(step, abs=NEAR / 2)
    assert len(asked) <= 7  # one of them at the far end, where they must lose it
    # decisions that lose it where all draws keep it tell of no step between builds
    assert _between_taken(stepping(1.04), 1.0, 1.03) is None
    assert _between_taken(SimpleNamespace(taken=lambda _: []), 1.0, 1.03) is None  # type: ignore[arg-type]


def test_a_build_that_does_not_stand_at_the_stated_values_is_no_longer_counted() -> None:
    """Of two builds the better one keeps its needs as far as 1.01 only; draws do not tell."""
    line: Any = SimpleNamespace(
        lever=FIGURE,
        taken=lambda _: ["better", "other"],
        that_stand=lambda x, builds: builds if x < 1.01 else ["other"],
        exactly=lambda _, builds: 1.0 if "better" in builds else -1.0,
    )
    assert _between_taken(line, 1.0, 1.03) == pytest.approx(1.01, abs=NEAR / 2)


def test_more_draws_begin_behind_the_last_place_that_they_were_asked_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What lies between two places that stand for a run of equal leads is not known to be kept."""
    begun: list[tuple[tuple[float, float], float]] = []

    def pinned(_: Any, near: tuple[float, float], beyond: float, there: None) -> Iterator[Any]:
        begun.append((near, beyond))
        assert there is None
        yield from ()

    def checked(leads: list[float], told: list[bool]) -> None:
        lever = SimpleNamespace(now=1.0)
        line: Any = SimpleNamespace(
            lever=lever, surely=lambda _: (np.array(leads), np.array(told, dtype=bool))
        )
        assert list(tips._checked(line, np.array([2.0, 3.0, 4.0, 5.0]))) == []

    monkeypatch.setattr(tips, "pinned", pinned)
    yes, no = True, False
    for told, close in (((yes,) * 4, 4.0), ((yes, yes, no, yes), 3.0), ((no, no, no, yes), 1.0)):
        checked([2.5, 1.5, 0.5, -0.5], [*told])
        assert begun.pop() == ((1.0, close), 5.0)
    checked([2.5, 1.5, 0.5, 0.5], [yes] * 4)
    assert begun == []
