"""Weights against published values, an LP of another library, and replays on the real decision."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linprog

from advisor.catalogue.shipped import load, product_files
from advisor.decide.evaluate import evaluate
from advisor.decide.fronts import fronts
from advisor.decide.weighing import (
    ACCEPTED,
    RANDOM_INDEX,
    _at_least,
    _nearest,
    exchange,
    leads,
    order_weights,
    pair_weights,
)
from advisor.quantities import exact
from tests.decide.criteria import criterion
from tests.shares import mostly_slow

pytestmark = pytest.mark.once


@pytest.mark.parametrize(
    "published",
    # rank-order centroid weights, Barron & Barrett 1996 (from memory; recomputed)
    [
        (0.6111, 0.2778, 0.1111),
        (0.5208, 0.2708, 0.1458, 0.0625),
        (0.4567, 0.2567, 0.1567, 0.09, 0.04),
    ],
)
def test_rank_order_centroid(published: tuple[float, ...]) -> None:
    found = order_weights(len(published))
    assert found == pytest.approx(published, abs=5e-5)
    assert found.sum() == pytest.approx(1.0, rel=1e-12)


DRAWS = 500


def test_rank_order_centroid_is_the_middle_of_all_weights_in_that_order() -> None:
    drawn = np.sort(np.random.default_rng(1).dirichlet(np.ones(4), 100_000), axis=1)[:, ::-1]
    assert order_weights(4) == pytest.approx(drawn.mean(axis=0), abs=3e-3)


def test_saaty_s_random_index() -> None:
    # Saaty 1980, n = 3 to 10
    assert RANDOM_INDEX[2:] == (0.58, 0.90, 1.12, 1.24, 1.32, 1.41, 1.45, 1.49)


def test_the_published_choice_of_a_leader() -> None:
    # experience, education, charisma, age: judgements and weights of a widely printed example of
    # the analytic hierarchy process
    found = pair_weights(
        np.array([[1, 4, 3, 7], [1 / 4, 1, 1 / 3, 3], [1 / 3, 3, 1, 5], [1 / 7, 1 / 3, 1 / 5, 1]])
    )
    assert found.weights == pytest.approx([0.5476, 0.1266, 0.2700, 0.0559], abs=1e-4)
    assert found.greatest == pytest.approx(4.1184, abs=5e-5)
    assert found.ratio == pytest.approx((4.1184 - 4) / 3 / 0.90, abs=5e-5)
    assert found.ratio < ACCEPTED
    # 4 x 1/3 against 3: the first three miss each other most
    assert found.triple == (0, 1, 2)
    assert found.discord == pytest.approx(9 / 4, rel=1e-12)


@given(raw=st.lists(st.floats(0.1, 10.0), min_size=1, max_size=7))
def test_judgements_that_agree_give_back_the_weights(raw: list[float]) -> None:
    weights = np.array(raw) / sum(raw)
    found = pair_weights(weights[:, None] / weights[None, :])
    assert found.weights == pytest.approx(weights, rel=1e-9)
    assert found.ratio == pytest.approx(0.0, abs=1e-9)
    assert found.discord == pytest.approx(1.0, rel=1e-9)


@pytest.mark.parametrize(
    "matrix",
    [
        np.ones((2, 3)),
        np.array([[1.0, 2.0], [2.0, 1.0]]),
        np.array([[1.0, -2.0], [-0.5, 1.0]]),
        np.ones((11, 11)),
    ],
)
def test_what_is_no_matrix_of_judgements(matrix: np.ndarray) -> None:
    with pytest.raises(ValueError, match=r"square|above zero"):
        pair_weights(matrix)


def test_the_rate_of_exchange() -> None:
    life = criterion("battery-life", 0.5, 0.0, 10.0, "time", "s")
    cost = criterion("lifetime-cost", 0.25, 20.0, 0.0, "money", "EUR")
    # a unit of life is 0.5/10 of the score, a unit of money 0.25/20
    assert exchange([life, cost], np.array([0.5, 0.25]), 1, 0) == pytest.approx(4.0)
    assert exchange([life, cost], np.array([0.5, 0.25]), 0, 1) == pytest.approx(0.25)
    assert exchange([life, cost], np.array([0.5, 0.0]), 1, 0) == np.inf


@given(rivals=st.integers(1, 5), criteria=st.integers(2, 4), seed=st.integers(0, 9999))
def test_the_nearest_weights_are_scipy_s(rivals: int, criteria: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    weights = rng.dirichlet(np.ones(criteria))
    build, others = rng.random(criteria), rng.random((rivals, criteria))
    names = [f"c{i}" for i in range(criteria)]
    ours = _nearest(names, weights, build, list(others))
    # weights w, changes d: minimise sum d, d >= |w - now|, (build - rival) w >= 0, sum w = 1
    eye = np.eye(criteria)
    above = np.vstack(
        [
            np.hstack([eye, -eye]),
            np.hstack([-eye, -eye]),
            np.hstack([-(build - others), np.zeros((rivals, criteria))]),
        ]
    )
    limit = np.concatenate([weights, -weights, np.zeros(rivals)])
    cost = np.concatenate([np.zeros(criteria), np.ones(criteria)])
    total = np.concatenate([np.ones(criteria), np.zeros(criteria)])[None]
    theirs = linprog(cost, above, limit, total, [1.0])
    bound = _at_least(weights, build, list(others))
    if ours is None:
        assert theirs.status == 2
        return
    assert theirs.status == 0
    # a bound from below, and of one rival between two criteria the distance itself
    assert bound <= theirs.fun + 1e-9
    if rivals == 1 and criteria == 2:
        assert bound == pytest.approx(theirs.fun, abs=1e-9)
    # the solver's tolerance on rows near one
    assert ours[0] == pytest.approx(theirs.fun, abs=1e-6)
    assert sum(ours[1]) == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("name", mostly_slow(sorted(product_files()), 3))
def test_changed_weights_bring_the_part_to_the_front(name: str) -> None:
    catalogue, product = load(name)
    evaluation = evaluate(catalogue, product, DRAWS)
    now = np.array([c.weight for c in evaluation.criteria])
    found = leads(evaluation, fronts(evaluation), now)
    assert found[0].distance == pytest.approx(0.0, abs=1e-6)
    for lead in found[:: 2 if name == "barrel-tag" else 1]:
        if lead.distance is None:
            continue
        moved = sum(abs(lead.weights[c.name] - c.weight) for c in evaluation.criteria)
        assert moved == pytest.approx(lead.distance, abs=1e-5)
        weighed = {
            c: replace(p, weight=exact(lead.weights[c], "count"))
            for c, p in product.priorities.items()
        }
        there = evaluate(catalogue, replace(product, priorities=weighed), DRAWS)
        scores = {c.part.part: c.score for c in there.candidates}
        # drawn level or ahead; the solver's tolerance is 1e-6 of a share, here 1e-4 points, and a
        # build may be 0.05 points short of the best one
        assert scores[lead.part] >= max(scores.values()) - 0.05, lead.part


def test_no_weights_bring_a_part_to_the_front_that_has_none() -> None:
    catalogue, product = load("valve-driver")
    evaluation = evaluate(catalogue, product)
    now = np.array([c.weight for c in evaluation.criteria])
    never = {
        lead.part for lead in leads(evaluation, fronts(evaluation), now) if lead.distance is None
    }
    assert never
    rng = np.random.default_rng(5)
    names = [c.part.part for c in evaluation.candidates]
    drawn = rng.dirichlet(0.4 * np.ones(len(now)), 4000).T
    best = np.stack(
        [
            np.max([drawn.T @ b.assessed.utilities[:, b.row, 0] for b in c.builds], axis=0)
            for c in evaluation.candidates
        ]
    )
    assert never.isdisjoint({names[i] for i in best.argmax(axis=0)})


def test_three_judgements_have_a_closed_form() -> None:
    """Of three criteria the greatest eigenvalue is 1 + r + 1/r, r the cube root of how far the
    three are apart: 8 against 2 x 2 makes 1 + 2^(1/3) + 2^(-1/3)."""
    found = pair_weights(np.array([[1, 2, 8], [1 / 2, 1, 2], [1 / 8, 1 / 2, 1]]))
    greatest = 1 + 2 ** (1 / 3) + 2 ** (-1 / 3)
    assert found.greatest == pytest.approx(greatest, rel=1e-12)
    assert found.ratio == pytest.approx((greatest - 3) / 2 / 0.58, rel=1e-9)
    assert found.triple == (0, 1, 2)
    assert found.discord == pytest.approx(2.0)
    # and two are always of one mind
    assert pair_weights(np.array([[1, 7], [1 / 7, 1]])).ratio == 0.0
