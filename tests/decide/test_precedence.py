"""Parts of equal score: none goes before one that beats it, and every command has the same first.

Beyond both anchors all values are worth the same, so scores are level and do not tell parts apart.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, permutations

import numpy as np
import pytest

from advisor.catalogue.load import with_changes
from advisor.catalogue.shipped import load
from advisor.decide.evaluate import evaluate
from advisor.decide.robustness import dominators
from advisor.decide.value import precedence
from advisor.studies.outlook import outlook
from advisor.studies.report import report
from advisor.studies.shortlist import shortlist
from advisor.studies.tipping import tipping
from tests.decide.criteria import criterion

pytestmark = pytest.mark.once

# so far apart from all values that each part is worth everything by each
BEYOND = (
    "barrel-tag:priorities.battery-life.poor=1 h",
    "barrel-tag:priorities.battery-life.good=2 h",
    "barrel-tag:priorities.purchase-cost.poor=900",
    "barrel-tag:priorities.purchase-cost.good=800",
    "barrel-tag:priorities.lifetime-cost.poor=900",
    "barrel-tag:priorities.lifetime-cost.good=800",
    "barrel-tag:priorities.memory-headroom.weight=0",
    "barrel-tag:priorities.toolchain.weight=0",
)


def test_what_beats_another_goes_first_whatever_the_order_of_criteria() -> None:
    rng = np.random.default_rng(5)
    some = [criterion("b", 1.0, 0.0, 9.0), criterion("a", 0.0, 9.0, 0.0), criterion("c", 2.0, 1, 2)]
    ways = np.array([1, -1, 1])
    for _ in range(200):
        one, other = rng.integers(0, 3, (2, 3))
        ahead = ways * one >= ways * other
        if ahead.all() and (one != other).any():
            for order in permutations(range(3)):
                held = [some[i] for i in order]
                mine, its = ([float(v[i]) for i in order] for v in (one, other))
                assert precedence(held, mine) < precedence(held, its)


def test_the_order_of_sums_makes_no_difference() -> None:
    some = [criterion("a", 1.0, 0.0, 9.0), criterion("b", 1.0, 9.0, 0.0)]
    assert precedence(some, [0.1 + 0.2, 3.0]) == precedence(some, [0.3, 3.0])
    assert precedence(some, [0.3, np.inf]) == precedence(some, [0.3, np.inf])


@pytest.mark.parametrize("draws", [0, 60])
def test_no_part_goes_before_one_that_beats_it(draws: int) -> None:
    catalogue, product = with_changes(*load("barrel-tag"), BEYOND)
    found = evaluate(catalogue, product, draws)
    level = [c for c in found.candidates if round(c.score, 9) == 100]
    assert len(level) > 3
    values = np.stack([c.best.assessed.values[:, c.best.row, 0] for c in level], axis=1)
    over = dominators(found.criteria, values)
    assert any(over)
    for place, who in enumerate(over):
        assert all(one < place for one in who)
    # two parts at a time, so that no other stands between
    for some in combinations([c.part.part for c in level[:4]], 2):
        (first, second) = evaluate(catalogue.only(some), product, draws).candidates
        assert first.order < second.order


def test_every_study_names_the_same_first_part_of_equal_ones() -> None:
    """Under a lever by which all come to be level, too."""
    catalogue, product = load("barrel-tag")
    level = [one for one in BEYOND if "battery-life" not in one]
    some = with_changes(catalogue, product, [*level, "barrel-tag:priorities.battery-life.poor=1 h"])
    lever = "barrel-tag:priorities.battery-life.good"
    (along,) = outlook(*some, along=[f"{lever}=2 h:8 years"], points=5, draws=60).levers
    tip = tipping(*some, [lever], draws=60)
    places = {p.x for c in along.curves for p in c.points if p.step == 0}
    firsts = set()
    for x in sorted(places):
        there = with_changes(*some, [f"{lever}={x!r} s"])
        first = shortlist(*there, draws=60).ranking[0].part
        firsts.add(first)
        before = [c for c in along.crossings if c.x <= x]
        told = before[-1].to if before else along.crossings[0].before if along.crossings else None
        assert first == (told or tip.winner)
    assert firsts
    (one,) = tip.levers
    if one.tips_at is not None:
        there = with_changes(*some, [f"{lever}={one.text}"])
        assert shortlist(*there, draws=60).ranking[0].part == one.new_winner


def test_the_page_and_the_workbook_carry_the_same_order() -> None:
    catalogue, product = with_changes(*load("barrel-tag"), BEYOND)
    found = report(catalogue, product, draws=60, tipping=False, gaps=False)
    chosen = {part.part: part.best for part in found.parts}
    level = [p for p in found.shortlist.ranking if round(p.score, 9) == 100]
    order = [chosen[p.part].precedence for p in level]
    assert order == sorted(order)
    every = [b.precedence for p in found.parts for b in p.builds]
    assert sorted(every) == list(range(1, len(every) + 1))


def test_a_twin_goes_by_its_name() -> None:
    catalogue, product = load("barrel-tag")
    first = evaluate(catalogue, product).candidates[0].part
    for name in ("aaa-twin", "zzz-twin"):
        parts = {first.part: first, name: replace(first, part=name)}
        found = evaluate(replace(catalogue, parts=parts), product).candidates
        assert [c.part.part for c in found] == sorted(parts)
