"""A decision along a lever: what each part offers at a place, where leaders change, where it jumps.

A place is a value of the lever. Between two places a property (who leads, how often the battery is
changed, which price break holds) may change at one point or more; halving finds every change that
shows at the halves, to a stated closeness.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Iterator
from dataclasses import dataclass

import numpy as np

from advisor.catalogue.levers import NEAR, Lever
from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import Price
from advisor.catalogue.schema_product import Product
from advisor.decide.drawing import draw_builds
from advisor.decide.evaluate import Candidate, Evaluation, evaluate, with_draws
from advisor.model.money import price_at

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
    """The decision at the places of one lever, each worked out once.

    `near` is the share of the lever's value to which changes are found, unless another is asked.
    """

    def __init__(
        self, catalogue: Catalogue, product: Product, lever: Lever, near: float = NEAR
    ) -> None:
        self.catalogue, self.product, self.lever, self.near = catalogue, product, lever, near
        self._found: dict[tuple[float, tuple[str, ...]], Evaluation] = {}

    def evaluated(self, place: float, parts: tuple[str, ...] = ()) -> Evaluation:
        """The evaluation at a place at the stated values, of all parts or of some."""
        for known in ((place, ()), (place, parts)):
            if known in self._found:
                return self._found[known]
        catalogue, product = with_changes(
            self.catalogue, self.product, [self.lever.assignment(place)]
        )
        found = evaluate(catalogue.only(parts) if parts else catalogue, product)
        self._found[place, parts] = found
        return found

    def drawn(
        self, place: float, parts: Collection[str], draws: int, seed: int, jobs: int
    ) -> dict[str, Candidate]:
        """The parts of those named that fit at a place, their best builds drawn."""
        found = self.evaluated(place)
        here = [c for c in found.candidates if c.part.part in parts]
        if draws and here:
            builds = [c.best for c in here]
            drawn = draw_builds(
                found.catalogue, found.product, builds, found.criteria, draws, seed, jobs
            )
            here = with_draws(here, drawn)
        return {c.part.part: c for c in here}

    def offers(self, place: float, parts: tuple[str, ...] = ()) -> dict[str, Offer]:
        """What every part (or some) that fits offers at a place, in order of rank."""
        found = self.evaluated(place, parts)
        return {c.part.part: _offer(c, found) for c in found.candidates}

    def leader(self, place: float) -> str | None:
        """The part of the greatest score; None where nothing fits."""
        found = self.evaluated(place)
        return found.candidates[0].part.part if found.candidates else None

    def changes(
        self, key: Callable[[float], Hashable], low: float, high: float, near: float | None = None
    ) -> Iterator[tuple[float, float]]:
        """(last place before, first place after) of each change of a property between two places.

        Both are within a share `near` of each other, or next to each other for a whole number.
        """
        if key(low) == key(high):
            return
        middle = self.lever.between(low, high, self.near if near is None else near)
        if middle is None:
            yield low, high
            return
        yield from self.changes(key, low, middle, near)
        yield from self.changes(key, middle, high, near)


def _offer(candidate: Candidate, evaluation: Evaluation) -> Offer:
    build = candidate.best
    assessed, row = build.assessed, build.row
    lifetime = float(assessed.costs.lifetime[row, 0])
    changes = float(assessed.costs.replacements[row, 0])
    return Offer(
        score=candidate.score,
        life_s=float(assessed.life.life_s[row, 0]),
        lifetime=None if np.isnan(lifetime) else lifetime,
        state=(build.name, None if np.isnan(changes) else changes, *_tiers(candidate, evaluation)),
        changes=changes,
    )


def _tiers(candidate: Candidate, evaluation: Evaluation) -> Iterator[int]:
    """Which price break holds for everything that a build is made of, and whether more is bought
    than rounding up to whole packages asks for."""
    units = evaluation.product.cost.units
    if units is None:
        return
    feed = candidate.best.assessed.feed
    bought: list[tuple[Price | None, int]] = [(candidate.part.price, units)]
    if feed.cell is not None:
        bought.append((feed.cell.price, units * feed.option.series * feed.option.parallel))
    if feed.converter is not None:
        bought.append((feed.converter.price, units))
    for price, pieces in bought:
        if price is not None and price.breaks:
            stated = [(q, np.array([each.nominal])) for q, each in sorted(price.breaks.items())]
            multiple = price.multiple or 1
            whole = int(price_at(stated, multiple, pieces).pieces[0])
            yield sum(quantity <= whole for quantity in price.breaks)
            yield int(whole - pieces >= multiple)
