"""Reasons against points worked by hand."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from advisor.catalogue.criteria import CRITERIA
from advisor.catalogue.shipped import load, product_files
from advisor.decide.evaluate import evaluate
from advisor.decide.reasons import UNNAMED, against_rival, differences, ending, points, reason
from tests.decide.hand import YEAR, life, pair

pytestmark = pytest.mark.once


def test_points_and_differences_by_hand(tmp_path: Path) -> None:
    # battery life weighs 3 of 4 over 0..10 years, purchase 1 of 4 from 4.00 down to 0
    found = evaluate(*pair(tmp_path, {"breaks": "{1: 3.00}"}, {"kernel": "6 mA"}))
    by_part = {c.part.part: c for c in found.candidates}
    first, second = by_part["one"], by_part["two"]
    a, b = life() / YEAR, life(kernel=6e-3) / YEAR
    one, two = (75 * a / 10, 25 * (4 - 3) / 4), (75 * b / 10, 25 * (4 - 1) / 4)
    assert points(found, first) == pytest.approx(one, rel=1e-9)
    assert points(found, second) == pytest.approx(two, rel=1e-9)
    assert first.score == pytest.approx(sum(one), rel=1e-9)
    rows = differences(found, first, second)
    gains = {"battery-life": one[0] - two[0], "purchase-cost": one[1] - two[1]}
    order = sorted(gains, key=lambda name: -abs(gains[name]))
    assert [c.name for c, *_ in rows] == order
    for criterion, gain, mine, theirs in rows:
        assert gain == pytest.approx(gains[criterion.name], rel=1e-9)
        expected = {"battery-life": (a * YEAR, b * YEAR), "purchase-cost": (3.0, 1.0)}
        assert (mine, theirs) == pytest.approx(expected[criterion.name], rel=1e-9)


def test_a_reason_says_what_makes_the_gap_and_then_what_speaks_against_it(tmp_path: Path) -> None:
    found = evaluate(*pair(tmp_path, {"breaks": "{1: 1.80}"}, {"kernel": "6 mA"}))
    gain = 7.5 * (life() - life(kernel=6e-3)) / YEAR
    cost = -25 * 0.80 / 4
    assert gain > -cost
    assert reason(found, 0) == (
        f"{gain + cost:.1f} ahead of two: battery-life {gain:+.1f}; purchase-cost {cost:+.1f}"
    )
    assert reason(found, 1) == (
        f"{gain + cost:.1f} behind one: battery-life {-gain:+.1f}; purchase-cost {-cost:+.1f}"
    )


def test_what_a_reason_leaves_unnamed_comes_to_little() -> None:
    for name in product_files():
        found = evaluate(*load(name), draws=500)
        for place, candidate in enumerate(found.candidates):
            text = reason(found, place)
            named = [float(gain) for gain in re.findall(r" ([+-][0-9.]+)", text)]
            gap = candidate.score - found.candidates[1 if place == 0 else 0].score
            # each is told to a tenth
            assert abs(gap - sum(named)) < UNNAMED + 0.05 * len(named)
            if len(found.candidates) > 1:
                rival = found.candidates[1 if place == 0 else 0]
                gains = differences(found, candidate, rival)
                unnamed = [gain for c, gain, *_ in gains if f"{c.name} " not in text]
                assert all(abs(gain) < UNNAMED for gain in unnamed)


def test_of_two_that_are_level_a_reason_says_what_outweighs_what(tmp_path: Path) -> None:
    gain = 7.5 * (life() - life(kernel=6e-3)) / YEAR
    price = 1.00 + 4 * gain / 25  # what makes the shorter life good, 1.00 being the other's
    found = evaluate(*pair(tmp_path, {"breaks": f"{{1: {price:.6f}}}"}, {"kernel": "6 mA"}))
    assert abs(found.candidates[0].score - found.candidates[1].score) < 1e-3
    for place, candidate in enumerate(found.candidates):
        way = 1 if candidate.part.part == "one" else -1
        text = reason(found, place)
        assert f"battery-life {way * gain:+.1f}" in text
        assert f"purchase-cost {-way * gain:+.1f}" in text


def test_a_part_alone(tmp_path: Path) -> None:
    catalogue, product = pair(tmp_path, {}, {})
    found = evaluate(catalogue.only(["one"]), product)
    assert reason(found, 0) == "the only part that fits"
    assert ending(found.candidates[0].best) == "the cells are used up"


@pytest.mark.parametrize(
    ("name", "value", "text"),
    [
        ("lifetime-cost", 12.345, "EUR 12.35"),
        ("lifetime-cost", float("inf"), "EUR ∞"),
        ("lifetime-cost", 0.00494, "EUR 0.0049"),
        ("lifetime-cost", -0.000031, "EUR -0.000031"),
        ("lifetime-cost", 0.0, "EUR 0.00"),
        ("bring-up", 5400.0, "1.5 h"),
        ("time-headroom", 0.1234, "12.3 %"),
        ("toolchain", 0.66666, "0.667"),
        ("energy-per-day", 0.5, "500 mJ/day"),
        ("battery-life", 2 * YEAR, "2.00 years"),
    ],
)
def test_values_as_a_person_says_them(name: str, value: float, text: str) -> None:
    assert CRITERIA[name].shown(value, "EUR") == text


def test_what_differs_by_less_than_a_reason_tells_is_level(tmp_path: Path) -> None:
    found = evaluate(*pair(tmp_path, {}, {}))
    assert [reason(found, place) for place in (0, 1)] == ["level with two", "level with one"]
    assert against_rival(0.04, "two") == "level with two"
    assert against_rival(-0.06, "two", "points ") == "0.1 points behind two"
