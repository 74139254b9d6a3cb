"""Builds over many values of levers in one pass: expected scores on the first draws.

What a build is made of (pack, converter, sleep state, operating points) is kept, so this is no
answer: at some values another build of a part is better. It shows where the leader may change;
the real decision is asked there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.decide.bills import Purses, billed
from advisor.decide.builds import Build
from advisor.decide.drawing import assessed, states_of
from advisor.decide.limits import kept
from advisor.decide.marches import Marches
from advisor.decide.stage import GridSamplers, grid_stage
from advisor.decide.value import Criterion
from advisor.figures import Path
from advisor.model.draws import Array, Case, Trace

LONG = 8192  # values of a pass: more take memory and save nothing
TOGETHER = 4_000_000  # builds x states x values of an array


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
    out = np.empty((len(builds), len(cases)))
    marches = marches or Marches(kept=0)
    room = TOGETHER // (len(builds) * states_of(product) or 1)
    size = max(1, min(LONG, room) // max(draws, 1))
    taken: set[Path] = set()
    for start in range(0, len(cases), size):
        some = cases[start : start + size]
        here = grid_stage(catalogue, product, some, draws, seed, memo, marches)
        weighed = criteria[0]
        if len(criteria) > 1:
            weighed = _anchored(criteria[start : start + size], draws or 1)
        for members, made, found in assessed(here, builds, weighed, fresh=draws == 0):
            good, _ = kept(found, made.side, here.own_cost)
            shape = len(members), len(some), draws or 1
            points = np.where(good, found.score, 0.0).reshape(shape).mean(axis=2)
            fits = good.reshape(shape).mean(axis=2) >= product.needs.confidence.nominal
            out[members, start : start + len(some)] = np.where(fits, points, -np.inf)
        assert isinstance(here.samplers, GridSamplers)
        taken |= here.samplers.taken()
    return out, taken


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
    out = np.empty((len(builds), len(cases)))
    carries = purses.of(builds, draws)
    size = max(1, TOGETHER // (max(draws, 1) * len(builds) or 1))
    taken: set[Path] = set()
    for start in range(0, len(cases), size):
        some = cases[start : start + size]
        here = grid_stage(catalogue, product, some, draws, purses.seed, memo)
        weighed = criteria[0]
        if len(criteria) > 1:
            weighed = _anchored(criteria[start : start + size], draws or 1)
        points, good = billed(here, builds, carries, weighed)
        shape = len(builds), len(some), draws or 1
        fits = good.reshape(shape).mean(axis=2) >= product.needs.confidence.nominal
        worth = np.where(good, points, 0.0).reshape(shape).mean(axis=2)
        out[:, start : start + len(some)] = np.where(fits, worth, -np.inf)
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
