"""Builds over many values of figures of money: what they carry is worked out once.

A price, a rate, an hourly rate, the service life, an anchor or a weight moves no current and no
battery life. So of each build what its costs and its worth rest on is kept, by so many first draws,
and at each value only the costs, the criteria and the limit on the unit's cost are worked out anew.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.criteria import DAY, SETUP, Keys
from advisor.catalogue.levers import Lever
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass
from advisor.decide.builds import Build
from advisor.decide.costs import HOUR, Costs, PartCost, costs, feed_cost, part_cost, with_addons
from advisor.decide.drawing import assessed
from advisor.decide.limits import kept
from advisor.decide.marches import Marches
from advisor.decide.screens import UNIT_COST
from advisor.decide.stage import Stage, grid_stage
from advisor.decide.value import Criterion, score, values_of, weights
from advisor.model.companions import fitted
from advisor.model.draws import Array, Trace, once_each
from advisor.model.packs import Feed


@dataclass(frozen=True, slots=True)
class Carries:
    """What a build's costs and its worth rest on beside money, each (N,) over some first draws.

    life_s, next_s : s, of the first pack and of those that replace it. energy_per_day : J/day.
    headroom, memory_headroom, days_without : shares. toolchain : 0..100. figures : the part's own.
    keeps : whether every limit but that on the unit's cost is kept. feed : as it was drawn.
    """

    feed: Feed
    life_s: Array
    next_s: Array
    energy_per_day: Array
    headroom: Array
    memory_headroom: Array
    toolchain: Array
    days_without: Array
    figures: Mapping[Keys, Array]
    keeps: NDArray[np.bool_]


def of_money(lever: Lever, catalogue: Catalogue, product: Product) -> bool:
    """Whether a lever moves costs, or what values are worth, and nothing that a build carries."""
    keys, document = lever.path.keys, lever.path.document
    if keys[-1] == "lead-time":
        return False  # stands with the price, and a need rules out who takes longer
    if document == product.product:
        if keys[0] in ("cost", "priorities", "service-life", "life-target"):
            return True
        return keys[0] in ("supply-options", "harvest", "recharge") and keys[-1] in (
            "price",
            "cost",
        )
    if document in catalogue.parts:
        return keys[0] in ("price", "extras") or keys[:2] == SETUP
    if document in catalogue.addons:
        return keys[0] in ("price", "setup")
    return keys[0] == "price"


def carry(
    here: Stage, builds: Sequence[Build], criteria: Sequence[Criterion], fresh: bool
) -> dict[Build, Carries]:
    """What builds carry, by a stage of one case; `fresh` as in `assess`."""
    out = {}
    for members, made, found in assessed(here, builds, criteria, fresh=fresh):
        keeps, _ = kept(found, made.side, here.own_cost, without=(UNIT_COST,))
        lost = np.zeros(keeps.shape) if found.harvest is None else found.harvest.lost
        energy = found.life.mean_current_a * found.feed.nominal_v * DAY
        for row, n in enumerate(members):
            side, part = made.side, int(found.part[row])
            out[builds[n]] = Carries(
                feed=found.feed,
                life_s=found.life.life_s[row],
                next_s=found.life.next_s[row],
                energy_per_day=energy[row],
                headroom=found.headroom[row],
                memory_headroom=side.memory_headroom[part],
                toolchain=side.toolchain[part],
                days_without=lost[row],
                figures={keys: values[part] for keys, values in side.figures.items()},
                keeps=keeps[row],
            )
    return out


class Purses:
    """What builds carry as things stand, by so many first draws: of each build worked out once."""

    def __init__(
        self,
        catalogue: Catalogue,
        product: Product,
        criteria: Sequence[Criterion],
        seed: int,
        memo: Trace,
        marches: Marches,
    ) -> None:
        self.catalogue, self.product, self.criteria = catalogue, product, criteria
        self.seed, self.memo, self.marches = seed, memo, marches
        self._stages: dict[int, Stage] = {}
        self._known: dict[int, dict[Build, Carries]] = {}

    def apart(self) -> Purses:
        """The same, to learn of further builds by itself."""
        out = copy(self)
        out._known = {draws: dict(known) for draws, known in self._known.items()}
        return out

    def of(self, builds: Sequence[Build], draws: int) -> list[Carries]:
        """What builds carry over the first draws; 0 for the stated values."""
        known = self._known.setdefault(draws, {})
        new = [build for build in builds if build not in known]
        if new:
            if draws not in self._stages:
                self._stages[draws] = grid_stage(
                    self.catalogue,
                    self.product,
                    [None],
                    draws,
                    self.seed,
                    self.memo,
                    self.marches,
                )
            known.update(carry(self._stages[draws], new, self.criteria, fresh=draws == 0))
        return [known[build] for build in builds]


def billed(
    here: Stage,
    builds: Sequence[Build],
    carries: Sequence[Carries],
    criteria: Sequence[Criterion],
) -> tuple[Array, NDArray[np.bool_]]:
    """Builds by what they carry and by the money of a stage's cases.

    Parameters
    ----------
    builds, carries : B of them. criteria : anchors may be of each value, (N,). N = cases x draws.

    Returns
    -------
    (B, N) points, and whether every limit is kept.
    """
    shape = len(builds), here.samplers[here.product.product].size
    points, keeps = np.empty(shape), np.empty(shape, dtype=bool)
    drawn = weights(here.product, criteria, here.samplers[here.product.product])
    feeds: dict[str, list[int]] = defaultdict(list)
    for n, build in enumerate(builds):
        feeds[build.assessed.feed.name].append(n)
    bought: dict[Any, tuple[PartCost, Array | None]] = {}
    for members in feeds.values():
        some = [carries[n] for n in members]
        feed = some[0].feed
        each = [_bought(here, builds[n], bought) for n in members]
        every = feed.pack.every_s
        money = costs(
            np.array([cost.each for cost, _ in each]),
            np.array([cost.setup_h for cost, _ in each]),
            feed_cost(_priced(feed, here.catalogue), here.product, here.own_cost, here.samplers),
            here.own_cost,
            _over(here, [one.life_s for one in some]),
            _over(here, [one.next_s for one in some]),
            None if every is None else once_each(every, here.cases),
        )
        view = _View(here, some, money, [setup for _, setup in each])
        values = values_of(criteria, view, (len(members), shape[1]))
        points[members] = score(criteria, values, drawn)[0]
        within = ~(money.purchase > here.own_cost.limit)
        keeps[members] = _over(here, [one.keeps for one in some]) & within
    return points, keeps


def _priced(feed: Feed, catalogue: Catalogue) -> Feed:
    """A feed with the records of a catalogue, in which prices may be others."""
    main, *rails = (
        replace(
            one,
            converter=None if one.converter is None else catalogue.converters[one.name],
        )
        for one in feed.conversions
    )
    cell = None if feed.cell is None else catalogue.cells[feed.cell.cell]
    return replace(feed, cell=cell, main=main, rails=tuple(rails))


def _over(here: Stage, rows: Sequence[NDArray[Any]]) -> NDArray[Any]:
    """Rows (R, draws) once for each case, (R, N)."""
    return once_each(np.array(rows), here.cases)


def _bought(
    here: Stage, build: Build, known: dict[Any, tuple[PartCost, Array | None]]
) -> tuple[PartCost, Array | None]:
    """What the part of a build and its add-ons cost, and the time to set them up, (N,) s."""
    key = build.part, build.companions
    if key not in known:
        catalogue = here.catalogue
        one = fitted(catalogue, catalogue.parts[build.part], build.companions)
        sampler = here.samplers[build.part]
        cost = part_cost(one.part, here.own_cost, sampler)
        hours = one.part.toolchain.setup
        setup = None if hours is None else sampler.take(sampler.root.child(*SETUP), hours)
        with_all = with_addons(cost, one.addons, here.own_cost, here.samplers)
        if setup is not None and one.addons:
            setup = with_all.setup_h * HOUR
        known[key] = with_all, setup
    return known[key]


@dataclass(frozen=True, slots=True)
class _View:
    """What the criteria read of builds on one feed; see `criteria.View`."""

    here: Stage
    some: Sequence[Carries]
    money: Costs
    setup_s: Sequence[Array | None]

    def _rows(self, name: str) -> Array:
        return _over(self.here, [getattr(one, name) for one in self.some])

    @property
    def life_s(self) -> Array:
        """Battery life, (R, N) s."""
        return self._rows("life_s")

    @property
    def lifetime(self) -> Array:
        """Cost over the service life, (R, N) per unit."""
        return self.money.lifetime

    @property
    def purchase(self) -> Array:
        """Cost of the purchase, (R, N) per unit."""
        return self.money.purchase

    @property
    def energy_per_day(self) -> Array:
        """What the pack gives, at its nominal voltage, (R, N) J a day."""
        return self._rows("energy_per_day")

    @property
    def headroom(self) -> Array:
        """Share of the tightest deadline left, (R, N)."""
        return self._rows("headroom")

    @property
    def memory_headroom(self) -> Array:
        """Share of the tightest memory left, (R, N)."""
        return self._rows("memory_headroom")

    @property
    def toolchain(self) -> Array:
        """Maturity of the toolchain, (R, N), 0..100."""
        return self._rows("toolchain")

    @property
    def days_without(self) -> Array:
        """Share of days on which the load is not carried, (R, N)."""
        return self._rows("days_without")

    def figure(self, keys: Keys) -> Array:
        """A part's own figure, (R, N) SI; NaN where it is not stated."""
        kept_as = _over(self.here, [one.figures[keys] for one in self.some])
        if keys != SETUP:
            return np.asarray(kept_as)
        return np.array(
            [old if new is None else new for old, new in zip(kept_as, self.setup_s, strict=True)]
        )
