"""What a unit costs: pieces at the quantities bought, in the product's currency.

Everything per unit made. A price that is missing makes the costs that need it NaN; the caller
decides whether a criterion needs them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace

import numpy as np

from advisor.catalogue.rules import rate_currency
from advisor.catalogue.schema_parts import Part, Price
from advisor.catalogue.schema_product import Product
from advisor.catalogue.schema_supply import AddOn
from advisor.dataclass import dataclass
from advisor.model.draws import Array, Sampler
from advisor.model.harvest import harvestable
from advisor.model.money import (
    Purchase,
    charges,
    development,
    price_at,
    replacements,
    upkeep,
    whole_intervals,
)
from advisor.model.packs import Feed

HOUR = 3600.0


@dataclass(frozen=True, slots=True)
class Bought:
    """Pieces of something needed for all units, and the purchase that covers them."""

    needed: int
    purchase: Purchase


@dataclass(frozen=True, slots=True)
class PartCost:
    """A part's share of the cost, (N,): part, its extras and its add-ons per unit, set-up time of
    all of them in hours.

    `bought` maps the ids of part and add-ons to their purchases, where they have a price.
    """

    part: Array
    extras: Mapping[str, Array]
    setup_h: Array
    missing: tuple[str, ...]
    bought: Mapping[str, Bought] = field(default_factory=dict)
    addons: Mapping[str, Array] = field(default_factory=dict)

    @property
    def each(self) -> Array:
        """Part, extras and add-ons, (N,) per unit."""
        return sum((*self.extras.values(), *self.addons.values()), self.part)


@dataclass(frozen=True, slots=True)
class FeedCost:
    """A feed's share of the cost, (N,) per unit: the pack, the converters, the reservoir, and the
    panel and charger where it is charged by them.

    `converters` has each by its id; `bought` maps the ids of cell and converters to their
    purchases, where they have a price.
    """

    pack: Array
    converter: Array
    reservoir: Array
    missing: tuple[str, ...]
    bought: Mapping[str, Bought] = field(default_factory=dict)
    converters: Mapping[str, Array] = field(default_factory=dict)
    source: Mapping[str, Array] = field(default_factory=dict)

    @property
    def each(self) -> Array:
        """All of it, (N,) per unit."""
        return sum(self.source.values(), self.pack + self.converter + self.reservoir)


@dataclass(frozen=True, slots=True)
class ProductCost:
    """The product's own money figures, (N,); NaN where unstated."""

    currency: str
    units: int | None
    engineer_rate: Array
    service_visit: Array
    tools: Array
    rates: Mapping[str, Array]
    service_life: Array
    limit: float
    charge: Array


def product_cost(product: Product, sampler: Sampler) -> ProductCost:
    """Read the money side of a product."""
    cost = product.cost
    unknown = np.full(sampler.size, np.nan)

    own = sampler.root / "cost"

    def take(name: str) -> Array:
        quantity = getattr(cost, name)
        if quantity is None:
            return unknown
        return sampler.take(own / name.replace("_", "-"), quantity)

    rates = {c: sampler.take(own / "rates" / c, q) for c, q in cost.rates.items()}
    hour = take("engineer_rate")
    if cost.engineer_rate is not None and rate_currency(product) != cost.currency:
        hour = hour * rates.get(rate_currency(product) or "", unknown)
    return ProductCost(
        currency=cost.currency or "",
        units=cost.units,
        engineer_rate=hour,
        service_visit=take("service_visit"),
        tools=take("tools"),
        rates=rates,
        service_life=unknown
        if product.service_life is None
        else sampler.take(sampler.root / "service-life", product.service_life),
        limit=np.inf if cost.unit_cost_limit is None else cost.unit_cost_limit.nominal,
        charge=unknown
        if product.recharge is None or product.recharge.cost is None
        else sampler.take(sampler.root.child("recharge", "cost"), product.recharge.cost),
    )


def _rate(currency: str | None, own: ProductCost) -> Array | float | None:
    """Worth of one unit of a currency in the product's; None where it cannot be said."""
    if currency is None:
        return None
    if currency == own.currency:
        return 1.0
    return own.rates.get(currency)


def _purchase(
    name: str,
    price: Price | None,
    per_unit: int,
    own: ProductCost,
    sampler: Sampler,
    bought: dict[str, Bought],
) -> Array | None:
    """Cost per unit of `per_unit` pieces at the quantity bought; None where a figure is missing."""
    if price is None or not price.breaks or own.units is None:
        return None
    rate = _rate(price.currency, own)
    if rate is None:
        return None
    at = sampler.root.child("price", "breaks")
    breaks = [
        (quantity, sampler.take(at / str(quantity), each))
        for quantity, each in sorted(price.breaks.items())
    ]
    needed = per_unit * own.units
    incremental = price.discount == "incremental"
    found = price_at(breaks, price.multiple or 1, needed, incremental)
    bought[name] = Bought(needed, found)
    return np.asarray(found.total * rate / own.units)


def part_cost(part: Part, own: ProductCost, sampler: Sampler) -> PartCost:
    """Part, extras and set-up hours of one part."""
    unknown = np.full(sampler.size, np.nan)
    missing = []
    bought: dict[str, Bought] = {}
    each = _purchase(part.part, part.price, 1, own, sampler, bought)
    if each is None:
        if part.price is None or not part.price.breaks:
            missing.append(f"{part.part}:price.breaks")
        elif part.price.currency is None:
            missing.append(f"{part.part}:price.currency")
    extras = {}
    currency = None if part.price is None else part.price.currency
    rate = _rate(currency, own)
    for extra in part.extras:
        at = sampler.root.child("extras", extra.item, "price")
        if extra.price is None:
            missing.append(str(at))
            extras[extra.item] = unknown
        elif rate is None:
            extras[extra.item] = unknown
        else:
            extras[extra.item] = sampler.take(at, extra.price) * rate
    setup, at = part.toolchain.setup, sampler.root.child("toolchain", "setup")
    return PartCost(
        part=unknown if each is None else each,
        extras=extras,
        setup_h=unknown if setup is None else sampler.take(at, setup) / HOUR,
        missing=tuple(missing),
        bought=bought,
    )


def with_addons(
    cost: PartCost,
    addons: Sequence[AddOn],
    own: ProductCost,
    samplers: Mapping[str, Sampler],
) -> PartCost:
    """A part's cost with a piece of each of its add-ons, whose set-up hours come beside its own."""
    if not addons:
        return cost
    bought, each, setup_h = dict(cost.bought), {}, cost.setup_h
    for addon in addons:
        name, sampler = addon.addon, samplers[addon.addon]
        unknown = np.full(sampler.size, np.nan)
        found = _purchase(name, addon.price, 1, own, sampler, bought)
        each[name] = unknown if found is None else found
        at = sampler.root / "setup"
        hours = unknown if addon.setup is None else sampler.take(at, addon.setup) / HOUR
        setup_h = setup_h + hours
    return replace(cost, addons=each, bought=bought, setup_h=setup_h)


def feed_cost(
    feed: Feed, product: Product, own: ProductCost, samplers: Mapping[str, Sampler]
) -> FeedCost:
    """Pack, converter and reservoir of one feed; an ideal budget costs nothing."""
    sampler = samplers[product.product]
    zero, unknown = np.zeros(sampler.size), np.full(sampler.size, np.nan)
    missing = []
    bought: dict[str, Bought] = {}
    pack, converter, reservoir = zero, zero, zero
    if feed.cell is not None:
        count = feed.option.series * feed.option.parallel
        name = feed.cell.cell
        found = _purchase(name, feed.cell.price, count, own, samplers[name], bought)
        if found is None:
            missing.append(f"{name}:price")
        pack = unknown if found is None else found
    converters: dict[str, Array] = {}
    for record, count in feed.bought:
        name = record.converter
        found = _purchase(name, record.price, count, own, samplers[name], bought)
        if found is None:
            missing.append(f"{name}:price")
        converters[name] = unknown if found is None else found
        converter = converter + converters[name]
    capacitor = product.supply_options.reservoir
    if capacitor is not None:
        reservoir = (
            unknown
            if capacitor.price is None
            else sampler.take(
                sampler.root.child("supply-options", "reservoir", "price"), capacitor.price
            )
        )
    source = {}
    harvest = product.harvest
    if harvest is not None and harvestable(feed.cell):
        for name in ("panel", "charger"):
            record = getattr(harvest, name)
            if record is not None:
                at = sampler.root.child("harvest", name, "price")
                source[name] = unknown if record.price is None else sampler.take(at, record.price)
    return FeedCost(
        pack=pack,
        converter=converter,
        reservoir=reservoir,
        missing=tuple(missing),
        bought=bought,
        converters=converters,
        source=source,
    )


@dataclass(frozen=True, slots=True)
class Costs:
    """Per unit over the service life, each (R, N), in the product's currency.

    `charges` are the visits that charge the pack, None where nobody does, and `charging` what they
    cost; it is part of the upkeep.
    """

    purchase: Array
    development: Array
    replacements: Array
    upkeep: Array
    charges: Array | None = None
    charging: Array | None = None

    @property
    def lifetime(self) -> Array:
        """Purchase, development and upkeep together, (R, N) per unit."""
        return self.purchase + self.development + self.upkeep


def costs(
    part_each: Array,
    setup_h: Array,
    feed: FeedCost,
    own: ProductCost,
    life: Array,
    following: Array | None = None,
    every: Array | None = None,
) -> Costs:
    """Costs of builds on one feed.

    Parameters
    ----------
    part_each, setup_h : (R, N) part with extras per unit, and set-up hours. life : (R, N) s of the
    first pack. following : of those that replace it, where it is another. every : (N,) s from one
    charge of the pack to the next, None where nobody charges it.
    """
    units = np.nan if own.units is None else float(own.units)
    if every is not None:
        life = whole_intervals(life, every)
        following = None if following is None else whole_intervals(following, every)
    changes = replacements(own.service_life, life, following)
    changing = upkeep(changes, feed.pack, own.service_visit)
    visits = charging = None
    if every is not None:
        visits = charges(own.service_life, every, changes)
        charging = np.where(visits == 0, 0.0, visits * own.charge)
    return Costs(
        purchase=part_each + feed.each,
        development=development(setup_h, own.engineer_rate, own.tools, units),
        replacements=changes,
        upkeep=changing if charging is None else changing + charging,
        charges=visits,
        charging=charging,
    )
