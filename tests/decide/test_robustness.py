"""Ranks, regret, dominance and the verdict, against a published exact case and libraries."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from advisor.catalogue.load import with_changes
from advisor.catalogue.shipped import load
from advisor.decide.evaluate import evaluate
from advisor.decide.luck import Lead, lead
from advisor.decide.ranks import first_place
from advisor.decide.robustness import (
    BEFORE,
    CLOSELY,
    MORE,
    beyond_a_toss,
    dominators,
    expected_regret,
    firmness,
    order_agreement,
    rank_acceptability,
    succession,
    verdict,
    what_raises,
)
from advisor.decide.value import Criterion
from advisor.studies.shortlist import shortlist
from tests.decide.criteria import criterion

TOOLS = "toolchain"
pytestmark = pytest.mark.once


def of(directions: list[float]) -> list[Criterion]:
    return [
        criterion(f"c{i}", poor=0.0 if d > 0 else 1.0, good=1.0 if d > 0 else 0.0)
        for i, d in enumerate(directions)
    ]


def test_the_exact_case_of_smaa() -> None:
    # three unit vectors and their middle under weights uniform over the simplex (exact, by
    # symmetry and volume): first with 1/4 each, the middle one second with 3/4; the central
    # weights of a unit vector are 2/3, 1/6, 1/6
    draws = 200_000
    weights = np.random.default_rng(3).dirichlet(np.ones(3), draws).T
    alternatives = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [1 / 2, 1 / 2, 1 / 2]])
    # the middle one scores 1/2 always, so it is first where no weight is above a half
    scores = alternatives @ weights
    found = rank_acceptability(scores)
    error = 4 * np.sqrt(0.25 * 0.75 / draws)
    assert found[:, 0] == pytest.approx([0.25] * 4, abs=error)
    assert found[3, 1] == pytest.approx(0.75, abs=error)
    assert found.sum(axis=0) == pytest.approx(np.ones(4), rel=1e-9)
    assert found.sum(axis=1) == pytest.approx(np.ones(4), rel=1e-9)
    first = scores.argmax(axis=0) == 0
    assert weights[:, first].mean(axis=1) == pytest.approx([2 / 3, 1 / 6, 1 / 6], abs=4e-3)


@given(
    parts=st.integers(1, 6),
    draws=st.integers(1, 40),
    levels=st.integers(1, 4),
    seed=st.integers(0, 999),
)
def test_ranks_match_scipy_s_with_ties_shared(
    parts: int, draws: int, levels: int, seed: int
) -> None:
    scores = np.random.default_rng(seed).integers(0, levels, (parts, draws)).astype(float)
    low = stats.rankdata(-scores, method="min", axis=0)
    high = stats.rankdata(-scores, method="max", axis=0)
    expected = np.zeros((parts, parts))
    for r in range(1, parts + 1):
        inside = (low <= r) & (r <= high)
        expected[:, r - 1] = (inside / (high - low + 1)).mean(axis=1)
    assert rank_acceptability(scores) == pytest.approx(expected, abs=1e-12)


@given(parts=st.integers(1, 12), columns=st.integers(1, 4), seed=st.integers(0, 999))
def test_dominance_is_scikit_criteria_s(parts: int, columns: int, seed: int) -> None:
    from skcriteria import mkdm

    rng = np.random.default_rng(seed)
    values = rng.integers(0, 4, (columns, parts)).astype(float)
    directions = rng.choice([-1.0, 1.0], columns)
    ours = dominators(of(list(directions)), values)
    matrix = mkdm(values.T, [max if d > 0 else min for d in directions])
    theirs = matrix.dominance.dominance(strict=False)
    expected = [tuple(np.nonzero(theirs.to_numpy()[:, p])[0]) for p in range(parts)]
    assert ours == expected


def test_what_is_expected_to_be_worth_more_is_not_dominated() -> None:
    """By the second criterion the first part is expected to be worth more than the second, which
    dominates it as stated; the third is worth less by both."""
    values = np.array([[1.0, 2.0, 0.0], [5.0, 5.0, 5.0]])
    worth = np.array([[0.1, 0.2, 0.0], [0.51, 0.5, 0.5 + 1e-15]])
    assert dominators(of([1.0, 1.0]), values) == [(1,), (), (0, 1)]
    assert dominators(of([1.0, 1.0]), values, worth) == [(), (), (0, 1)]


def test_expected_regret() -> None:
    scores = np.array([[3.0, 1.0], [2.0, 4.0]])
    assert expected_regret(scores) == pytest.approx([1.5, 0.5])


@pytest.mark.parametrize(
    ("chance", "word"),
    [(1.0, "settled"), (0.9, "settled"), (0.89, "leaning"), (0.6, "leaning"), (0.59, "open")],
)
def test_the_verdict_and_its_rule(chance: float, word: str) -> None:
    draws = 10**9  # of which the rule of succession takes nothing that is told
    shares, kept = np.array([0.95, 0.05]), Lead(chance + 2e-9, 79.7)
    found = verdict(["a", "b"], shares, np.array([0.2, 0.4]), kept, 80.0, draws)
    assert found.word == word
    assert "choosing it gives away 0.20 points on average" in found.text
    assert "b" not in found.text.replace("beaten", "").split("; ")[1].split()
    assert found.chance == pytest.approx(chance, abs=1e-8)
    assert found.expected_disappointment == pytest.approx(0.3)
    assert ("it leads in 95 % of the draws, but" in found.text) == (chance < 0.95)
    assert ("it leads in 95 % of the draws, and in more once" in found.text) == (chance > 0.95)
    assert "cannot be said" not in found.text
    assert "expect its own score to be 0.30 points lower" in found.text
    other = verdict(["a", "b"], shares, np.array([0.2, 0.4]), kept, 79.7, draws)
    assert "points lower" not in other.text
    assert other.text.endswith("choosing it gives away 0.20 points on average, the least of all")


@given(st.integers(1, 260), st.integers(0, 260))
def test_a_toss_against_scipy(draws: int, agree: int) -> None:
    """The beta distribution that Laplace's rule leaves of a chance."""
    agree = min(agree, draws)
    above = float(stats.beta(agree + 1, draws - agree + 1).sf(0.5))
    told = beyond_a_toss(agree / draws, draws)
    if draws < 200:
        assert told == (above >= 0.9 - 1e-12)
    elif succession(agree / draws, draws) >= 0.6:
        assert told
        assert above > 0.99


def test_what_a_toss_might_do_as_well_is_open() -> None:
    shares, regrets = np.array([0.7, 0.3]), np.array([0.1, 0.4])
    words = {
        n: verdict(["a", "b"], shares, regrets, Lead(0.7, 80.0), 80.0, n).word for n in (10, 20)
    }
    # 7 of 10 by luck once in six times, 14 of 20 once in seventeen
    assert words == {10: "open", 20: "leaning"}


@pytest.mark.parametrize("chance", [0.3, 0.44, 0.5])
def test_who_is_level_with_the_first_is_said(chance: float) -> None:
    """Never that it stands apart from them, whatever their chances."""
    shares, regrets, kept = np.full(6, 0.44), np.full(6, 0.1), Lead(chance, 80.0)
    for level, words in (
        (["b"], "b is level with it; "),
        (["b", "c"], "b and c are level with it; "),
        (["b", "c", "d", "e", "f"], "b, c, d and 2 more are level with it; "),
    ):
        found = verdict(list("abcdef"), shares, regrets, kept, 80.0, 10**9, level=level)
        assert words in found.text
        assert "apart" not in found.text
        more = "it leads in 44 % of the draws, and in more once the luck in all scores is taken off"
        assert (more in found.text) == (chance > 0.44)
        assert ("the first of 6 is partly first by luck" in found.text) == (chance < 0.44)
    apart = verdict(list("abcdef"), shares, regrets, kept, 80.0, 10**9, raised=BEFORE)
    assert "level" not in apart.text
    assert ("stands apart" in apart.text) == (chance > 0.44)


def test_a_rival_that_leads_in_more_draws_is_named_with_what_outweighs_it() -> None:
    """It is ahead by 1 in two draws of three and behind by 2.6 in the third."""
    scores = np.array([[70.0, 70.0, 70.0], [71.0, 71.0, 67.4], [60.0, 60.0, 60.0]])
    shares = first_place(scores)
    assert shares == pytest.approx([1 / 3, 2 / 3, 0.0])
    found = verdict(
        list("abc"), shares, expected_regret(scores), Lead(0.35, 70.0), 70.0, 10**9, level=["b"]
    )
    assert "b is level with it; it leads in 33 % of the draws, and in more once " in found.text
    assert (
        "; b leads in 67 % of the draws, by no more in all than it is behind in the others; "
        in (found.text)
    )
    other = verdict(list("abc"), shares[[1, 0, 2]], np.zeros(3), Lead(0.6, 70.0), 70.0, 10**9)
    assert "behind in the others" not in other.text


def test_what_raises_a_chance_is_said_by_its_own_numbers() -> None:
    rng = np.random.default_rng(2)

    def told(ahead: float, own: float, others: float, apart: float) -> str:
        errors = rng.normal(0, 1, (5, 4000)) * np.array([own, *[others] * 4])[:, None]
        errors -= errors.mean(axis=1, keepdims=True)
        scores = np.array([70 + ahead, 70, 69.9, 69.8, 69.7])[:, None] + errors
        return what_raises(scores, first_place(scores), Lead(0.9, 70.0, apart))

    assert told(3.0, 1.0, 1.0, 0.9) == BEFORE
    # hardly apart by what is known, by less than its own spread, and by what no text tells
    assert told(3.0, 1.0, 1.0, 0.4) != BEFORE
    assert told(1.0, 1.0, 1.0, 0.9) != BEFORE
    assert told(0.04, 0.01, 0.01, 0.9) != BEFORE
    assert told(0.06, 0.01, 0.01, 0.9) == BEFORE
    # whose scores are less sure
    assert told(1.0, 0.5, 1.0, 0.9) == CLOSELY
    assert told(1.0, 1.0, 0.5, 0.9) == MORE
    # a rival that leads in more draws, each lead being more than its spread
    scores = np.array([[70.0] * 10, [70.01] * 6 + [67.0] * 4])
    assert (scores[0] - scores[1]).mean() < (scores[0] - scores[1]).std()
    assert what_raises(scores, first_place(scores), Lead(0.5, 70.0, 0.9)) == CLOSELY


def test_nobody_stands_apart_from_a_rival_that_is_level() -> None:
    """Near weights at which the two change places; the rival leads in two draws of three."""
    first, rival = "quorvane-tib", "ostrel-ruv"
    catalogue, product = load("barrel-tag")
    weights = ("3.80", "3.07692", "2.30769", "0.76923", "0.13094")
    changes = [
        f"barrel-tag:priorities.{name}.weight={weight}"
        for name, weight in zip(product.priorities, weights, strict=True)
    ]
    found = evaluate(*with_changes(catalogue, product, changes), 2000)
    assert [c.part.part for c in found.candidates[:2]] == [first, rival]
    assert 0.005 < found.candidates[0].score - found.candidates[1].score < 0.05
    told = firmness(found).verdict
    assert told is not None
    assert "stands apart" not in told.text
    assert told.text.split("; ")[1] == f"{rival} is level with it"
    assert f"{rival} leads in 6" in told.text


def test_parts_that_may_be_exchanged_are_called_level() -> None:
    """Twins, where nothing counts that is drawn for each by itself, and none beside them."""
    catalogue, product = load("frost-post")
    weights = [f"frost-post:priorities.{n}.weight=0" for n in product.priorities if n != TOOLS]
    catalogue, product = with_changes(catalogue, product, weights)
    kept = ["quorvane-sij", "tessimur-rud", "quorvane-kez"]
    parts = {name: catalogue.parts[name] for name in kept}
    twin = replace(parts["quorvane-sij"], part="quorvane-zyz")
    documents = {**catalogue.documents, twin.part: catalogue.documents["quorvane-sij"]}
    there = replace(catalogue, parts={**parts, twin.part: twin}, documents=documents)
    found = firmness(evaluate(there, product, 200)).verdict
    assert found is not None
    assert found.text.split("; ")[1] == "quorvane-zyz is level with it"
    assert "tessimur-rud" not in found.text
    alone = firmness(evaluate(replace(catalogue, parts=parts), product, 200)).verdict
    assert alone is not None
    assert "level" not in alone.text


@pytest.mark.parametrize(
    ("draws", "word"),
    [(1, "open"), (2, "open"), (3, "leaning"), (7, "leaning"), (8, "settled"), (2000, "settled")],
)
def test_few_draws_that_agree_settle_nothing(draws: int, word: str) -> None:
    # Laplace: after n of n the next one follows with a chance of (n + 1)/(n + 2)
    shares, kept = np.array([1.0, 0.0]), Lead(1.0, 80.0)
    found = verdict(["a", "b"], shares, np.array([0.0, 0.4]), kept, 80.0, draws)
    assert found.word == word
    assert found.chance == pytest.approx((draws + 1) / (draws + 2), rel=1e-12)
    assert ("cannot be said" in found.text) == (draws < 100)
    # what is not sure is not told as 100 %
    assert ("more than 99 %" in found.text) == (draws == 2000)
    assert " 100 %" not in found.text


@given(st.integers(0, 10_000), st.integers(2, 12), st.integers(1, 5))
def test_agreement_against_scipy(seed: int, parts: int, levels: int) -> None:
    """`scipy.stats.kendalltau`, variant b, draw by draw, with ties."""
    rng = np.random.default_rng(seed)
    stated = rng.integers(0, levels + 1, parts).astype(float)
    scores = rng.integers(0, levels + 1, (parts, 6)).astype(float)
    theirs = [stats.kendalltau(stated, scores[:, n]).statistic for n in range(6)]
    theirs = [tau for tau in theirs if not np.isnan(tau)]
    found = order_agreement(scores, stated)
    if not theirs:
        assert found is None
    else:
        assert found == pytest.approx(float(np.mean(theirs)), abs=1e-12)


def test_pareto_front_against_a_library() -> None:
    """`skcriteria`'s filter of what is dominated, on drawn tables with ties."""
    from skcriteria import mkdm
    from skcriteria.preprocessing.filters import FilterNonDominated

    for seed in range(20):
        rng = np.random.default_rng(seed)
        directions = [1.0, -1.0, 1.0]
        table = rng.integers(0, 4, (12, 3)).astype(float)
        theirs = FilterNonDominated(strict=False).transform(
            mkdm(table, [max if d > 0 else min for d in directions])
        )
        over = dominators(of(directions), table.T)
        ours = [f"A{n}" for n, who in enumerate(over) if not who]
        assert list(theirs.alternatives) == ours


def test_the_shortlist_tells_it_all() -> None:
    found = shortlist(*load("frost-post"), draws=400)
    ranks = [p.rank_acceptability for p in found.ranking]
    for part, shares in zip(found.ranking, ranks, strict=True):
        assert shares is not None
        assert sum(shares) == pytest.approx(1.0)
        assert shares[0] == pytest.approx(part.first_place_probability)
        assert part.expected_regret is not None
        assert part.expected_regret >= 0
        assert (part.part in found.pareto_front) == (not part.dominated_by)
    assert found.verdict is not None
    assert found.ranking[0].part in found.verdict.text
    alone = shortlist(*load("frost-post"), draws=0)
    assert alone.verdict is None
    assert alone.ranking[0].rank_acceptability is None
    assert all((p.part in alone.pareto_front) == (not p.dominated_by) for p in alone.ranking)
    assert alone.order_agreement is None
    assert found.order_agreement is not None
    assert 0.5 < found.order_agreement < 1


def test_a_tie_is_one_whatever_the_last_digit() -> None:
    """Two parts that differ by rounding are in no order, so what is told of them is no error."""
    told = np.array([3.0, 2.0, 1.0])
    ties = np.array([[70.0], [60.0], [60.0]])
    almost = ties + np.array([[0.0], [0.0], [1e-12]])
    expected = stats.kendalltau(told, ties[:, 0]).statistic
    assert order_agreement(almost, told) == pytest.approx(expected, rel=1e-12)


def test_what_a_cell_leaves_open_is_not_told_as_luck() -> None:
    """Nearly all of what is open here is when cells that all parts use give out."""
    catalogue, product = load("frost-post")
    catalogue, product = with_changes(catalogue, product, ["frost-post:service-life=15years"])
    found = evaluate(catalogue, product, 500)
    scores = found.scores()
    told, share = firmness(found).verdict, float(first_place(scores)[0])
    assert told is not None
    assert 0.7 < share < 0.85
    assert share - 0.12 < told.chance <= share
    # where all errors count as luck it says that another part is the better one by now
    assert lead(scores, 0, share).chance < 0.5
    assert told.expected_disappointment < scores[0].mean() - scores[1].mean()
