"""A decision along a lever: what each part offers at a place, where leaders change, where it jumps.

A place is a value of the lever. Between two places a property (who leads, how often the battery is
changed, which price break holds) may change at one point or more; halving finds every change that
shows at the halves, to a stated closeness.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass

import numpy as np

from advisor.catalogue.levers import NEAR, Lever
from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import Price
from advisor.catalogue.schema_product import Product
from advisor.decide.evaluate import Candidate, Evaluation, evaluate
from advisor.model.money import pieces_bought

MOST_CHANGES = 3  # battery changes between two places that are worth telling apart as steps


@dataclass(frozen=True, slots=True)
class Offer:
    """What a part offers at a place, at the stated values; life in s, cost per unit.

    `state` tells what makes a curve jump: the build, the battery changes, the price breaks.
    """

    score: float
    life_s: float
    lifetime: float | None
    state: tuple[Hashable, ...]
    changes: float


class Along:
    """The decision at the places of one lever, each worked out once."""

    def __init__(self, catalogue: Catalogue, product: Product, lever: Lever) -> None:
        self.catalogue, self.product, self.lever = catalogue, product, lever
        self._offers: dict[tuple[float, tuple[str, ...]], dict[str, Offer]] = {}

    def evaluated(
        self,
        place: float,
        parts: tuple[str, ...] = (),
        draws: int = 0,
        seed: int = 1,
        jobs: int = 1,
    ) -> Evaluation:
        """The whole evaluation at a place, of all parts or of some."""
        catalogue, product = with_changes(
            self.catalogue, self.product, [self.lever.assignment(place)]
        )
        if parts:
            catalogue = catalogue.only(parts)
        return evaluate(catalogue, product, draws, seed, jobs)

    def offers(self, place: float, parts: tuple[str, ...] = ()) -> dict[str, Offer]:
        """What every part (or some) that fits offers at a place, in order of rank."""
        known = self._offers.get((place, ()))
        if known is not None:
            return known
        if (place, parts) not in self._offers:
            found = self.evaluated(place, parts)
            self._offers[place, parts] = {c.part.part: _offer(c, found) for c in found.candidates}
        return self._offers[place, parts]

    def leader(self, place: float) -> str | None:
        """The part of the greatest score; None where nothing fits."""
        return next(iter(self.offers(place)), None)

    def changes(
        self, key: Callable[[float], Hashable], low: float, high: float, near: float = NEAR
    ) -> Iterator[tuple[float, float]]:
        """(last place before, first place after) of each change of a property between two places.

        Both are within a share `near` of each other, or next to each other for a whole number.
        """
        if key(low) == key(high):
            return
        middle = self.lever.between(low, high, near)
        if middle is None:
            yield low, high
            return
        yield from self.changes(key, low, middle, near)
        yield from self.changes(key, middle, high, near)


def _offer(candidate: Candidate, evaluation: Evaluation) -> Offer:
    build = candidate.best
    found, row = build.found, build.row
    lifetime = float(found.costs.lifetime[row, 0])
    changes = float(found.costs.replacements[row, 0])
    return Offer(
        score=build.score,
        life_s=float(found.life.life_s[row, 0]),
        lifetime=None if np.isnan(lifetime) else lifetime,
        state=(build.name, None if np.isnan(changes) else changes, *_tiers(candidate, evaluation)),
        changes=changes,
    )


def _tiers(candidate: Candidate, evaluation: Evaluation) -> Iterator[int]:
    """Which price break holds for everything that a build is made of."""
    units = evaluation.product.cost.units
    if units is None:
        return
    feed = candidate.best.found.feed
    bought: list[tuple[Price | None, int]] = [(candidate.part.price, units)]
    if feed.cell is not None:
        bought.append((feed.cell.price, units * feed.option.series * feed.option.parallel))
    if feed.converter is not None:
        bought.append((feed.converter.price, units))
    for price, pieces in bought:
        if price is not None and price.breaks:
            first = min(price.breaks)
            whole = pieces_bought(first, price.multiple or 1, pieces)
            yield sum(quantity <= whole for quantity in price.breaks)
            yield int(pieces < first)
