"""What a product of a family may be built as, against drawing every build."""

from __future__ import annotations

from collections import defaultdict
from pathlib import Path

import pytest

from advisor.catalogue.shipped import load
from advisor.decide.admissible import admissible
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
