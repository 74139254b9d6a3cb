"""A decision along a lever: what each part offers at a place, where leaders change, where it jumps.

A place is a value of the lever. Between two places a property (who leads, which is cheaper, which
price break holds) may change at one point or more; halving finds every change that shows at the
halves, to a stated closeness.

With draws, places take the first few of them. A part's expected figures are corrected on common
random numbers, E_N(now) + [E_n(place) - E_n(now)], so that at the value that stands they are those
of all draws; where parts are too close for that to tell who leads, all draws are taken.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator

import numpy as np

from advisor.catalogue.levers import NEAR, Lever
from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import Price
from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass
from advisor.decide.drawing import Drawn
from advisor.decide.evaluate import Candidate, Evaluation, evaluate
from advisor.decide.marches import Marches
from advisor.decide.ranks import DIGITS
from advisor.figures import Path
from advisor.model.draws import Known
from advisor.model.money import price_at

Key = Callable[[float], Hashable]  # a property of a decision at a place

TELLS = 1.0  # points by which a corrected score may be wrong


@dataclass(frozen=True, slots=True)
class Offer:
    """What a part offers at a place, expected over the draws or at the stated values.

    `score` of 0..100; `lifetime` per unit, None where unknown; `change` the chance of a battery
    change, None without draws or where unknown. `made` is the build, and at the stated values the
    battery changes, whose number is `changes`; `tiers` are the price breaks that hold.
    """

    candidate: Candidate
    score: float
    lifetime: float | None
    change: float | None
    made: tuple[Hashable, ...]
    tiers: tuple[Hashable, ...]
    changes: float | None

    @property
    def state(self) -> tuple[Hashable, ...]:
        """What makes a curve jump where it changes."""
        return (*self.made, *self.tiers)


@dataclass(frozen=True, slots=True)
class _Means:
    score: float
    lifetime: float
    change: float


def _means(drawn: Drawn, draws: int) -> _Means:
    """Expected figures of a build over the first draws."""
    fits = drawn.fits[:draws]
    some = bool(fits.any())
    changes = drawn.changes[:draws][fits]
    known = some and not np.isnan(changes).any()
    return _Means(
        score=float(drawn.score[:draws].mean()),
        lifetime=float(drawn.lifetime[:draws][fits].mean()) if some else np.nan,
        change=float((changes > 0).mean()) if known else np.nan,
    )


class Along:
    """The decision at the places of one lever, each worked out once.

    `base` is the decision as things stand, of all parts, whose draws and seed hold; places take
    `draws` of them. `near` is the share of the lever's value to which changes are found, unless
    another is asked.
    """

    def __init__(
        self,
        catalogue: Catalogue,
        product: Product,
        lever: Lever,
        base: Evaluation,
        draws: int = 0,
        near: float = NEAR,
    ) -> None:
        self.catalogue, self.product, self.lever, self.near = catalogue, product, lever, near
        self.base, self.draws = base, min(draws, base.draws)
        self._found: dict[tuple[float, tuple[str, ...], int], Evaluation] = {}
        # prices are told from the catalogue, which such a lever leaves as it is
        self._counts = lever.path == Path(product.product).child("cost", "units")
        self._marches = Marches(base.stated.marches.services)
        self._known: Known = {}
        self._off: dict[str, _Means] = {}
        for candidate in base.candidates:
            if candidate.drawn is not None:
                every, few = candidate.drawn, _means(candidate.drawn, self.draws)
                self._off[candidate.part.part] = _Means(
                    every.expected - few.score,
                    every.cost - few.lifetime,
                    every.change - few.change,
                )

    def evaluated(
        self, place: float, parts: tuple[str, ...] = (), draws: int | None = None
    ) -> Evaluation:
        """The evaluation at a place, of all parts or of some (more may come along)."""
        draws = self.draws if draws is None else draws
        if place == self.lever.now:
            return self.base
        for known in ((place, (), draws), (place, parts, draws)):
            if known in self._found:
                return self._found[known]
        catalogue, product = with_changes(
            self.catalogue, self.product, [self.lever.assignment(place)]
        )
        some = catalogue.only(parts) if parts else catalogue
        seed = self.base.seed
        found = evaluate(some, product, draws, seed, marches=self._marches, known=self._known)
        self._found[place, parts, draws] = found
        return found

    def offers(self, place: float, parts: tuple[str, ...] = ()) -> dict[str, Offer]:
        """What every part (or some) that fits offers at a place, the greatest score first."""
        found = self.evaluated(place, parts)
        some = [c for c in found.candidates if not parts or c.part.part in parts]
        offers = [(c, self._offer(c, found)) for c in some]
        offers.sort(key=lambda one: (-round(one[1].score, DIGITS), *one[0].order[1:]))
        return {c.part.part: offer for c, offer in offers}

    def leader(self, place: float, parts: tuple[str, ...] = ()) -> str | None:
        """The part of the greatest expected score, by all draws where it is close; None where
        nothing fits."""
        offers = self.offers(place, parts)
        if place == self.lever.now or not offers:
            return next(iter(offers), None)
        top = next(iter(offers.values())).score
        close = [name for name, offer in offers.items() if offer.score >= top - TELLS]
        if self.draws < self.base.draws and len(close) > 1:
            found = self.evaluated(place, tuple(sorted(close)), self.base.draws)
            return found.candidates[0].part.part if found.candidates else None
        return close[0]

    def may_lead(self, places: tuple[float, float], parts: tuple[str, ...] = ()) -> tuple[str, ...]:
        """Parts that may lead between two places: those not far behind at one of them."""
        out: set[str] = set()
        for place in places:
            offers = self.offers(place, parts)
            top = max((offer.score for offer in offers.values()), default=0.0)
            out |= {name for name, offer in offers.items() if offer.score >= top - 5 * TELLS}
        return tuple(sorted(out))

    def changes(
        self,
        key: Key,
        low: float,
        high: float,
        near: float | None = None,
        known: Callable[[float, float], Key | None] = lambda *_: None,
    ) -> Iterator[tuple[float, float]]:
        """(last place before, first place after) of each change of a property between two places.

        Both are within a share `near` of each other, or next to each other for a whole number.
        `known` gives a property that changes where this one does between two places and takes no
        decision to tell, if there is one.
        """
        told = known(low, high)
        if told is not None:
            yield from self.changes(told, low, high, near)
            return
        if key(low) == key(high):
            return
        middle = self.lever.between(low, high, self.near if near is None else near)
        if middle is None:
            yield low, high
            return
        yield from self.changes(key, low, middle, near, known)
        yield from self.changes(key, middle, high, near, known)

    def jumps(
        self, offer: Callable[[float], Offer | None], low: float, high: float, near: float
    ) -> Iterator[tuple[float, float]]:
        """The changes of what makes a part's curve jump, by what it offers at a place.

        How many are made moves price breaks alone while the build stays: they are known without a
        decision.
        """

        def state(x: float) -> Hashable:
            found = offer(x)
            return None if found is None else found.state

        def tiers(low: float, high: float) -> Key | None:
            one, other = offer(low), offer(high)
            if not self._counts or one is None or other is None or one.made != other.made:
                return None
            candidate = one.candidate
            return lambda x: tuple(_tiers(candidate, self.base, round(x)))

        return self.changes(state, low, high, near, tiers)

    def _offer(self, candidate: Candidate, evaluation: Evaluation) -> Offer:
        build, drawn = candidate.best, candidate.drawn
        assessed, row = build.assessed, build.row
        tiers = tuple(_tiers(candidate, evaluation, evaluation.product.cost.units))
        if drawn is None:
            lifetime = float(assessed.costs.lifetime[row, 0])
            changes = float(assessed.costs.replacements[row, 0])
            steps = None if np.isnan(changes) else changes
            return Offer(
                candidate=candidate,
                score=candidate.score,
                lifetime=None if np.isnan(lifetime) else lifetime,
                change=None,
                made=(build.name, steps),
                tiers=tiers,
                changes=steps,
            )
        off = _Means(0.0, 0.0, 0.0)
        if evaluation is not self.base:
            off = self._off.get(candidate.part.part, off)
        lifetime = drawn.cost + np.nan_to_num(off.lifetime)
        change = float(np.clip(drawn.change + np.nan_to_num(off.change), 0.0, 1.0))
        return Offer(
            candidate=candidate,
            score=min(max(drawn.expected + off.score, 0.0), 100.0),
            lifetime=None if np.isnan(lifetime) else float(lifetime),
            change=None if np.isnan(change) else change,
            made=(build.name,),
            tiers=tiers,
            changes=None,
        )


def _tiers(candidate: Candidate, evaluation: Evaluation, units: int | None) -> Iterator[int]:
    """Which price break holds for everything that a build is made of where so many are made, and
    whether more is bought than rounding up to whole packages asks for."""
    if units is None:
        return
    feed = candidate.best.assessed.feed
    bought: list[tuple[Price | None, int]] = [(candidate.part.price, units)]
    if feed.cell is not None:
        bought.append((feed.cell.price, units * feed.option.series * feed.option.parallel))
    bought += [(record.price, units * count) for record, count in feed.bought]
    bought += [(evaluation.catalogue.addons[name].price, units) for name in candidate.addons]
    for price, pieces in bought:
        if price is not None and price.breaks:
            stated = [(q, np.array([each.nominal])) for q, each in sorted(price.breaks.items())]
            multiple = price.multiple or 1
            incremental = price.discount == "incremental"
            whole = int(price_at(stated, multiple, pieces, incremental).pieces[0])
            yield sum(quantity <= whole for quantity in price.breaks)
            yield int(whole - pieces >= multiple)
