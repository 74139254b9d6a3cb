"""Builds over many values of levers in one pass: expected scores on the first draws.

What a build is made of (pack, converter, sleep state, operating points) is kept, so this is no
answer: at some values another build of a part is better. It shows where the leader may change;
the real decision is asked there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.decide.bills import Purses, billed
from advisor.decide.builds import Build
from advisor.decide.drawing import assessed, states_of
from advisor.decide.limits import kept
from advisor.decide.marches import Marches
from advisor.decide.stage import GridSamplers, Stage, grid_stage
from advisor.decide.value import Criterion
from advisor.figures import Path
from advisor.model.draws import Array, Case, Trace

LONG = 8192  # values of a pass: more take memory and save nothing
TOGETHER = 4_000_000  # builds x states x values of an array
# builds by their places, their points and whether every limit is kept, (R, N)
Reckoned = tuple[list[int], Array, NDArray[np.bool_]]


def scan(
    catalogue: Catalogue,
    product: Product,
    builds: Sequence[Build],
    criteria: Sequence[Sequence[Criterion]],
    cases: Sequence[Case],
    draws: int,
    seed: int,
    memo: Trace | None = None,
    marches: Marches | None = None,
) -> tuple[Array, set[Path]]:
    """Every build's expected score in each case.

    Parameters
    ----------
    builds : B of them. criteria : of each case, or one for all. cases : P, see `GridSampler`.
    draws, seed : the first draws of the decision's; 0 for the stated values.
    marches : battery lives of earlier passes, and of this one.
    memo : draws of earlier passes with this catalogue, product and seed, and of this one.

    Returns
    -------
    (B, P) points in the order of `builds`, minus infinity where a build keeps its needs in too few
    draws; and the cases' figures that the builds were reckoned with: others, such as whole
    numbers, move nothing here.
    """
    marches = marches or Marches(kept=0)
    room = TOGETHER // (len(builds) * states_of(product) or 1)
    size = max(1, min(LONG, room) // max(draws, 1))

    def opened(some: Sequence[Case]) -> Stage:
        return grid_stage(catalogue, product, some, draws, seed, memo, marches)

    def reckoned(here: Stage, weighed: Sequence[Criterion]) -> Iterator[Reckoned]:
        for members, made, found in assessed(here, builds, weighed, fresh=draws == 0):
            yield members, found.score, kept(found, made.side, here.own_cost)[0]

    return _over_cases(len(builds), criteria, cases, draws, size, opened, reckoned)


def scan_bills(
    catalogue: Catalogue,
    product: Product,
    builds: Sequence[Build],
    criteria: Sequence[Sequence[Criterion]],
    cases: Sequence[Case],
    draws: int,
    purses: Purses,
    memo: Trace | None = None,
) -> tuple[Array, set[Path]]:
    """`scan` where cases move nothing but money and worth: ((B, P) points, the figures that were
    asked for); what builds carry is in `purses`."""
    carries = purses.of(builds, draws)
    size = max(1, TOGETHER // (max(draws, 1) * len(builds) or 1))

    def opened(some: Sequence[Case]) -> Stage:
        return grid_stage(catalogue, product, some, draws, purses.seed, memo)

    def reckoned(here: Stage, weighed: Sequence[Criterion]) -> Iterator[Reckoned]:
        yield list(range(len(builds))), *billed(here, builds, carries, weighed)

    return _over_cases(len(builds), criteria, cases, draws, size, opened, reckoned)


def _over_cases(
    count: int,
    criteria: Sequence[Sequence[Criterion]],
    cases: Sequence[Case],
    draws: int,
    size: int,
    opened: Callable[[Sequence[Case]], Stage],
    reckoned: Callable[[Stage, Sequence[Criterion]], Iterator[Reckoned]],
) -> tuple[Array, set[Path]]:
    """Expected scores of so many builds in cases, `size` of these at a time; see `scan`."""
    out = np.empty((count, len(cases)))
    taken: set[Path] = set()
    for start in range(0, len(cases), size):
        some = cases[start : start + size]
        here = opened(some)
        weighed = criteria[0]
        if len(criteria) > 1:
            weighed = _anchored(criteria[start : start + size], draws or 1)
        for members, points, good in reckoned(here, weighed):
            shape = len(members), len(some), draws or 1
            worth = np.where(good, points, 0.0).reshape(shape).mean(axis=2)
            wanted = here.product.needs.confidence.nominal
            fits = good.reshape(shape).mean(axis=2) >= wanted
            out[members, start : start + len(some)] = np.where(fits, worth, -np.inf)
        assert isinstance(here.samplers, GridSamplers)
        taken |= here.samplers.taken()
    return out, taken


def _anchored(each: Sequence[Sequence[Criterion]], draws: int) -> Sequence[Criterion]:
    """The criteria with the anchors of each case, (P x draws,)."""
    out = []
    for i, criterion in enumerate(each[0]):
        anchors: dict[str, Any] = {
            name: np.repeat([getattr(there[i], name) for there in each], draws)
            for name in ("poor", "good")
        }
        out.append(replace(criterion, **anchors))
    return out
