"""What a product of a family may be built as, against drawing every build."""

from __future__ import annotations

from collections import defaultdict
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from advisor.catalogue.shipped import load
from advisor.decide.admissible import _standing, _surely, admissible
from advisor.decide.drawing import draw_builds
from advisor.decide.evaluate import evaluate
from tests.decide.random_catalogues import several, unsure
from tests.shares import mostly_slow

pytestmark = pytest.mark.once

DRAWS = 400
LOST = 0.05  # points: as much as choosing a part's build may lose
DEARER = 0.01  # of the least upkeep, which steps with whole battery changes


@pytest.mark.parametrize("seed", mostly_slow(range(40), 8))
def test_no_pack_is_judged_by_a_worse_build_than_it_has(seed: int, tmp_path: Path) -> None:
    catalogue, product = unsure(several(seed), seed).load(tmp_path)
    found = evaluate(catalogue, product, DRAWS)
    taken = admissible(found)
    wanted = product.needs.confidence.nominal
    best: dict[tuple[str, str], float] = defaultdict(lambda: -1.0)
    least: dict[tuple[str, str], float] = defaultdict(lambda: float("inf"))
    for candidate in found.candidates:
        drawn = draw_builds(
            found.catalogue, product, candidate.builds, found.criteria, DRAWS, found.seed
        )
        for build, one in zip(candidate.builds, drawn, strict=True):
            if one.fit >= wanted:
                at = build.part, build.assessed.feed.name
                best[at] = max(best[at], one.expected)
                least[at] = min(least[at], one.upkeep)
    for at in best:
        mine = [one for one in taken if (one.part, one.feed) == at]
        assert max(one.score for one in mine) >= best[at] - LOST
        assert min(one.upkeep for one in mine) <= least[at] * (1 + DEARER) + 1e-9


def test_the_favourite_stands_among_them_with_the_figures_of_the_shortlist() -> None:
    catalogue, product = load("barrel-tag")
    found = evaluate(catalogue, product, DRAWS)
    first = found.candidates[0]
    (mine,) = [one for one in admissible(found) if one.build is first.best]
    assert first.drawn is not None
    assert mine.score == first.score
    assert mine.upkeep == first.drawn.upkeep
    cost = first.best.assessed.costs
    bought = first.cost.part + first.best.assessed.feed_cost.each
    assert bought + mine.other == pytest.approx(cost.purchase[first.best.row], rel=1e-12)


def test_nothing_that_is_bought_alike_is_worse_in_everything() -> None:
    catalogue, product = load("frost-post")
    found = evaluate(catalogue, product)
    taken = admissible(found)
    for one in taken:
        for other in taken:
            same = (one.part, one.feed, one.pieces) == (other.part, other.feed, other.pieces)
            if one is other or not same or other.build is other.candidate.best:
                continue
            assert not (
                one.upkeep <= other.upkeep
                and one.score >= other.score
                and one.life_chance >= other.life_chance
            )


def _drawn(score: float = 50.0, cost: float = 10.0, years: float = 5.0, seed: int = 0) -> Any:
    """Draws of a build about these, with a scatter of its own of a hundredth."""
    rng = np.random.default_rng(seed)
    scatter = 1 + 0.01 * rng.standard_normal((3, 256))
    score_, lifetime, life_s = np.array([score, cost, years])[:, None] * scatter
    return SimpleNamespace(
        score=score_, lifetime=lifetime, life_s=life_s, fits=np.ones(256, dtype=bool)
    )


def test_a_build_is_surely_beaten_by_score_upkeep_and_life_beyond_chance() -> None:
    """Each alone may speak for it; 256 pairs that scatter by 1.4 % have a mean to 0.09 %."""
    good = _drawn()
    assert _surely(good, _drawn(score=40, cost=12, years=4, seed=1))
    assert not _surely(_drawn(score=40, cost=12, years=4, seed=1), good)
    for better in ({"score": 60.0}, {"cost": 8.0}, {"years": 6.0}):
        other: Any = {"score": 40.0, "cost": 12.0, "years": 4.0} | better
        assert not _surely(good, _drawn(**other, seed=1)), better
    # what never differs speaks for nobody, two without end alike among it
    alike: Any = SimpleNamespace(**{**vars(good), "score": good.score - 1.0})
    assert _surely(good, alike)
    for one in (good, alike):
        one.life_s = np.where(np.arange(256) == 0, np.inf, good.life_s)
        one.lifetime = np.where(np.arange(256) == 0, np.inf, good.lifetime)
    assert _surely(good, alike)
    # less than chance could make, and one pair, tell nothing
    near = _drawn(score=49.9, cost=12, years=4, seed=1)
    assert not _surely(good, near)
    # where one of them does not fit its cost and life say nothing
    odd = _drawn(score=40, cost=12, years=4, seed=1)
    odd.fits[:100] = False
    odd.lifetime[:100], odd.life_s[:100] = 0.0, 1e9
    assert _surely(_drawn(), odd)


def test_builds_on_a_feed_compete_by_their_averaged_points() -> None:
    """By hand: 0.75 and 0.25 of utilities 0.5 and 1 are 62.5 points, of 0.8 and 0.2 are 65."""
    evaluation: Any = SimpleNamespace(weights=np.array([0.75, 0.25]))
    one, two, three = (SimpleNamespace(score=score) for score in (90.0, 10.0, 63.0))
    smooth = {0: np.array([0.5, 1.0]), 1: np.array([0.8, 0.2])}

    class Smooth:
        @staticmethod
        def get(build: Any) -> Any:
            return smooth.get([one, two, three].index(build))

    candidate: Any = SimpleNamespace(smooth=Smooth)
    builds: Any = (one, two, three)
    standings = [_standing(evaluation, candidate, b)[0] for b in builds]
    assert standings == pytest.approx([-62.5, -65.0, -63.0])
