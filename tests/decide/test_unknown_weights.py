"""Unknown weights against exact cases and the whole decision."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.catalogue.shipped import load
from advisor.decide.evaluate import evaluate
from advisor.decide.fronts import fronts
from advisor.decide.unknown_weights import acceptability, standings
from advisor.quantities import exact
from advisor.studies.shortlist import shortlist

pytestmark = pytest.mark.once


def simplex(criteria: int, count: int = 200_000) -> np.ndarray:
    return np.random.default_rng(3).dirichlet(np.ones(criteria), count).T


def test_the_exact_case_of_smaa() -> None:
    # three unit vectors and their middle (exact, by symmetry and volume): first with 1/4 each;
    # a unit vector leads where its weight is above a half, a simplex of half the size whose middle
    # is (2/3, 1/6, 1/6); what is left to the middle one has its own middle at the centre
    worth = [np.eye(3)[[i]] for i in range(3)] + [np.full((1, 3), 0.5)]
    first, central = acceptability(worth, simplex(3))
    error = 4 * np.sqrt(0.25 * 0.75 / 200_000)
    assert first == pytest.approx(np.full(4, 0.25), abs=error)
    exact_middles = np.array([[4, 1, 1], [1, 4, 1], [1, 1, 4], [2, 2, 2]]) / 6
    # a weight deviates by 0.12 at most within a quarter of the simplex: five standard errors
    assert central == pytest.approx(exact_middles, abs=5 * 0.12 / np.sqrt(50_000))


@given(a=st.floats(0.05, 1.0))
def test_two_criteria_by_length(a: float) -> None:
    # (1, 0) is ahead of (0, a) where w1 > a/(1 + a)
    turn = a / (1 + a)
    first, central = acceptability(
        [np.array([[1.0, 0.0]]), np.array([[0.0, a]])], simplex(2, 20_000)
    )
    assert first == pytest.approx([1 - turn, turn], abs=5 * 0.5 / np.sqrt(20_000))
    assert central[:, 0] == pytest.approx([(1 + turn) / 2, turn / 2], abs=0.03)


def test_a_part_is_taken_by_its_best_build() -> None:
    # one part with two unit vectors against the third: first unless the third weight is greatest
    worth = [np.eye(3)[:2], np.eye(3)[2:], np.zeros((1, 3))]
    first, central = acceptability(worth, simplex(3))
    assert first == pytest.approx([2 / 3, 1 / 3, 0], abs=5e-3)
    # the middle of the third of the simplex where w3 is greatest: the mean greatest of three
    # spacings, (1 + 1/2 + 1/3)/3
    assert central[1] == pytest.approx([7 / 36, 7 / 36, 11 / 18], abs=3e-3)
    assert np.isnan(central[2]).all()


def test_ties_are_split_and_a_part_counts_once() -> None:
    # the third sums its weights in another order: the last digit may differ
    same = np.array([0.1, 0.2, 0.7])
    worth = [np.stack([same, same]), same[None], same[None] + 1e-15, same[None] / 2]
    first, central = acceptability(worth, simplex(3, 3000))
    assert first == pytest.approx([1 / 3, 1 / 3, 1 / 3, 0], rel=1e-12)
    assert central[:3] == pytest.approx(np.full((3, 3), 1 / 3), abs=0.03)


@pytest.mark.slow
def test_confidence_is_the_chance_of_being_first_by_a_shortlist_with_those_weights() -> None:
    catalogue, product = load("frost-post")
    evaluation = evaluate(catalogue, product, 300, seed=4)
    found = standings(evaluation, fronts(evaluation), 300, seed=4)
    assert sum(one.acceptability for one in found) == pytest.approx(1.0, rel=1e-9)
    told = [one for one in found if one.confidence is not None]
    assert len(told) == 3
    assert told == found[:3]
    assert any(0.05 < (one.confidence or 0.0) < 0.95 for one in told)
    names = [c.name for c in evaluation.criteria]
    for one in told:
        assert one.central is not None
        central = dict(zip(names, one.central.tolist(), strict=True))
        weighed = replace(
            product,
            priorities={
                name: replace(p, weight=exact(100 * central[name], "count"))
                for name, p in product.priorities.items()
            },
        )
        ranking = shortlist(catalogue, weighed, draws=300, seed=4).ranking
        chance = {p.part: p.first_place_probability for p in ranking}[one.part]
        assert one.confidence == pytest.approx(chance, rel=1e-9)


def test_shares_are_those_of_decisions_by_each_weighting() -> None:
    catalogue, product = load("barrel-tag")
    evaluation = evaluate(catalogue, product)
    found = {one.part: one.acceptability for one in standings(evaluation, fronts(evaluation), 0)}
    tries = 30
    firsts = []
    for row in np.random.default_rng(8).dirichlet(np.ones(len(evaluation.criteria)), tries):
        priorities = {
            name: replace(p, weight=exact(float(w), "count"))
            for (name, p), w in zip(product.priorities.items(), row, strict=True)
        }
        there = evaluate(catalogue, replace(product, priorities=priorities))
        firsts.append(there.candidates[0].part.part)
    for part, share in found.items():
        error = max(np.sqrt(share * (1 - share) / tries), 1 / tries)
        assert firsts.count(part) / tries == pytest.approx(share, abs=4 * error), part


def test_nothing_fits() -> None:
    catalogue, product = load("frost-post")
    evaluation = replace(evaluate(catalogue, product), candidates=())
    assert standings(evaluation, [], 100) == []
