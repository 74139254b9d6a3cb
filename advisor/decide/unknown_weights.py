"""Whom the figures favour where nobody knows the weights: SMAA-2.

All weights are equally likely, uniform over the simplex. A part's rank-one acceptability is the
share of them that put it first, its central weights are their mean: what somebody cares for who
would choose it. Its confidence factor is how often it is first under those, over the draws of the
figures (Lahdelma & Salminen, Operations Research 49 (2001) 444-454).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from advisor.dataclass import dataclass
from advisor.decide.evaluate import Evaluation, evaluate
from advisor.decide.fronts import Offered
from advisor.decide.ranks import DIGITS, first_place
from advisor.decide.weighing import weighed
from advisor.model.draws import Array, stream
from advisor.stages import Progress, begin

# a share is then known to 0.2 percentage points of standard error, or better
WEIGHTINGS = 100_000
SURE = 3  # parts whose confidence is told, each a decision of its own
BLOCK = 4_000_000  # scores at a time


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a part stands under unknown weights.

    Attributes
    ----------
    part : its id. acceptability : share of the weightings that put it first by its expected score.
    central : (C,) their mean, None where there are none. confidence : share of the draws in which
    it is first under its central weights; None where it is not looked at.
    """

    part: str
    acceptability: float
    central: Array | None
    confidence: float | None


def acceptability(worth: Sequence[Array], weights: Array) -> tuple[Array, Array]:
    """Rank-one acceptability and central weights, each part by its best build per weighting.

    Parameters
    ----------
    worth : for each of P parts the utilities (B, C) of its builds. weights : (C, W), each
        weighting's summing to 1.

    Returns
    -------
    (P,) shares summing to 1, ties split evenly, and (P, C), NaN where a part is never first.
    """
    rows = np.concatenate(worth)
    owner = np.repeat(np.arange(len(worth)), [len(builds) for builds in worth])
    first, middle = np.zeros(len(worth)), np.zeros((len(worth), len(weights)))
    block = max(1, BLOCK // len(rows))
    for start in range(0, weights.shape[1], block):
        some = weights[:, start : start + block]
        scores = rows @ some
        # equal parts may differ in the last digit; a share of 1 is 100 points
        build, at = np.nonzero(scores >= scores.max(axis=0) - 10.0**-DIGITS / 100)
        # a part counts once, however many of its builds are level
        at, part = np.divmod(np.unique(at * len(worth) + owner[build]), len(worth))
        share = 1.0 / np.bincount(at, minlength=some.shape[1])[at]
        first += np.bincount(part, share, len(worth))
        for c, weight in enumerate(some):
            middle[:, c] += np.bincount(part, share * weight[at], len(worth))
    with np.errstate(invalid="ignore"):
        return first / weights.shape[1], middle / first[:, None]


def standings(
    evaluation: Evaluation,
    offered: Sequence[Sequence[Offered]],
    draws: int,
    seed: int = 1,
    jobs: int = 1,
    progress: Progress | None = None,
) -> list[Standing]:
    """Every part of an evaluation under unknown weights, the most widely acceptable first.

    Parameters
    ----------
    offered : the builds of each candidate that some weights may choose, see `fronts`.
    draws : of the figures, for the confidence of the first `SURE` parts; 0 for none.
    seed : of the weightings and the draws. jobs : workers; the result does not depend on it.
    progress : told (parts drawn, parts in all).
    """
    if not evaluation.candidates:
        return []
    names = [c.name for c in evaluation.criteria]
    weights = stream(seed, "weightings").dirichlet(np.ones(len(names)), WEIGHTINGS).T
    worth = [np.stack([one.worth for one in builds]) for builds in offered]
    first, middle = acceptability(worth, weights)
    # of equals the one that ranks first by the product's own weights
    order = [int(p) for p in np.argsort(-first, kind="stable")]
    asked = [p for p in order[:SURE] if draws and first[p] > 0]
    begin(progress, "drawing parts at their mean weights")
    sure: dict[int, float] = {}
    for p in asked:
        central = dict(zip(names, middle[p].tolist(), strict=True))
        product = weighed(evaluation.product, central)
        kept = evaluation.stated.marches
        there = evaluate(evaluation.catalogue, product, draws, seed, jobs, marches=kept)
        parts = [c.part.part for c in there.candidates]
        mine = evaluation.candidates[p].part.part
        # a part whose needs the draws break too often is not chosen whatever the weights
        chances = dict(zip(parts, first_place(there.scores()), strict=True)) if parts else {}
        sure[p] = float(chances.get(mine, 0.0))
        if progress is not None:
            progress(len(sure), len(asked))
    return [
        Standing(
            evaluation.candidates[p].part.part,
            float(first[p]),
            middle[p] if first[p] > 0 else None,
            sure.get(p),
        )
        for p in order
    ]
