"""From a family's file and the evaluations of its products to the program's plain numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_family import FamilyFile
from advisor.catalogue.schema_family import Member as MemberFile
from advisor.catalogue.schema_parts import Price
from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass
from advisor.decide.admissible import Admissible
from advisor.decide.costs import HOUR
from advisor.decide.evaluate import Evaluation
from advisor.decide.family import KINDS, Family, Item, Kind, Limits, Member, Option, Platform
from advisor.decide.family_supply import Supplied
from advisor.decide.supply_risk import BARRED


@dataclass(frozen=True, slots=True, kw_only=True)
class Joined:
    """A product of the family: its evaluation, what it may take, and why others of its builds may
    not; `options` go by name.

    `lacking` maps a part to the paths of figures without which its cost cannot be told; `barred`
    are parts that cannot be bought, where supply counts.
    """

    evaluation: Evaluation
    options: Mapping[str, Admissible]
    lacking: Mapping[str, tuple[str, ...]]
    barred: tuple[str, ...] = ()

    @property
    def product(self) -> Product:
        """The product."""
        return self.evaluation.product

    @property
    def units(self) -> int:
        """Units of it to be made."""
        units = self.product.cost.units
        assert units is not None
        return units

    @property
    def favourite(self) -> str | None:
        """The option that the product takes by itself: the chosen build of the first part whose
        cost can be told; None without one."""
        chosen = {id(one.build): name for name, one in self.options.items()}
        ranked = (id(candidate.best) for candidate in self.evaluation.candidates)
        return next((chosen[build] for build in ranked if build in chosen), None)


def joined(evaluation: Evaluation, options: Sequence[Admissible], bought: bool) -> Joined:
    """A product with those of its builds whose cost can be told and, if it counts whether parts can
    be `bought`, whose part is not announced only or ended."""
    known: dict[str, Admissible] = {}
    lacking: dict[str, tuple[str, ...]] = {}
    barred: dict[str, None] = {}
    for one in options:
        missing = _missing(evaluation, one)
        if bought and one.candidate.part.lifecycle in BARRED:
            barred[one.part] = None
        elif missing:
            lacking[one.part] = missing
        else:
            known["|".join((one.part, *one.build.addons, one.build.name))] = one
    return Joined(evaluation=evaluation, options=known, lacking=lacking, barred=tuple(barred))


def _missing(evaluation: Evaluation, one: Admissible) -> tuple[str, ...]:
    """Paths of what the cost of a build lacks."""
    product = evaluation.product
    out = [*one.candidate.cost.missing, *one.build.assessed.feed_cost.missing]
    if math.isnan(sum(one.setup_h)):
        out.append(f"{one.part}:toolchain.setup")
    if one.upkeep != one.upkeep and not out:
        known = {
            "service-life": product.service_life,
            "cost.service-visit": product.cost.service_visit,
        }
        out += [f"{product.product}:{name}" for name, value in known.items() if value is None]
        out = out or [f"{one.part}:price"]
    if one.other != one.other and not out:
        out.append(f"{one.part}:extras")
    return tuple(dict.fromkeys(out))


def problem(
    file: FamilyFile,
    catalogue: Catalogue,
    products: Sequence[Joined],
    supply: Mapping[str, Supplied],
) -> Family:
    """What there is to decide on.

    Parameters
    ----------
    products : of the family, in its order. supply : product to its risks; empty where supply is
        certain. A part that cannot be bought any more is none of its product's options.
    """
    own = products[0].evaluation.own_cost
    rates = {currency: float(rate[0]) for currency, rate in own.rates.items()}
    rates[own.currency] = 1.0
    used = {name for one in products for option in one.options.values() for name in option.pieces}
    items = []
    for kind in KINDS:
        records = catalogue.kinds[kind]
        for name in sorted(used & set(records)):
            price = records[name].price
            assert price is not None
            items.append(_item(name, kind, price, rates, file.stock.get(name, 0)))
    parts = {option.part for one in products for option in one.options.values()}
    limits = file.limits
    return Family(
        members=tuple(
            _member(member, one, supply.get(member.product))
            for member, one in zip(file.products, products, strict=True)
        ),
        items=tuple(items),
        platforms=tuple(_platform(catalogue, products, name) for name in sorted(parts)),
        rate=float(own.engineer_rate[0]),
        toolchain_share=file.toolchain_share.nominal,
        limits=Limits(
            parts=limits.parts,
            hours=None if limits.engineering is None else limits.engineering.nominal / HOUR,
            capital=None if limits.capital is None else limits.capital.nominal,
            cost=None if limits.cost is None else limits.cost.nominal,
        ),
    )


def _item(name: str, kind: Kind, price: Price, rates: Mapping[str, float], stock: int) -> Item:
    rate = rates[price.currency or ""]
    assert price.breaks is not None
    return Item(
        name=name,
        kind=kind,
        breaks=tuple((q, each.nominal * rate) for q, each in sorted(price.breaks.items())),
        multiple=price.multiple or 1,
        incremental=price.discount == "incremental",
        stock=stock,
    )


def _platform(catalogue: Catalogue, products: Sequence[Joined], name: str) -> Platform:
    part = catalogue.parts[name]
    hours = next(
        option.setup_h[0]
        for one in products
        for option in one.options.values()
        if option.part == name
    )
    return Platform(
        part=name, maker=maker_of(catalogue, name), setup_h=hours, toolchain=part.toolchain.id
    )


def maker_of(catalogue: Catalogue, part: str) -> str:
    """Who makes a part; a part that does not say is one of its own."""
    return catalogue.parts[part].maker or f"the maker of {part}"


def _member(member: MemberFile, one: Joined, supply: Supplied | None) -> Member:
    tools = float(one.evaluation.own_cost.tools[0])
    favourite = one.favourite
    assert favourite is not None
    return Member(
        name=member.product,
        units=one.units,
        options=tuple(
            Option(
                name=name,
                part=option.part,
                feed=option.feed,
                pieces=option.pieces,
                other=option.other,
                upkeep=option.upkeep,
                supply=0.0 if supply is None else supply.alone[option.part].cost,
                supply_of_two=_of_two(supply, option.part),
                setup_h=option.setup_h[1],
                score=option.score,
                life_chance=0.0 if option.life_chance != option.life_chance else option.life_chance,
            )
            for name, option in one.options.items()
        ),
        favourite=favourite,
        tools=0.0 if tools != tools else tools,
        life_chance=None if member.life_chance is None else member.life_chance.nominal,
        give_up=None if member.give_up is None else member.give_up.nominal,
        second=member.second_source,  # type: ignore[arg-type]
        second_share=0.0 if member.second_share is None else member.second_share.nominal,
        porting_h=0.0 if member.porting is None else member.porting.nominal / HOUR,
        two_sources=None
        if supply is None or not supply.pairs
        else {pair: risk.cost for pair, risk in supply.pairs.items()},
    )


def _of_two(supply: Supplied | None, part: str) -> tuple[float, float]:
    """What is a part's own of the supply's risk as the first and the second of two sources."""
    if supply is None or part not in supply.first:
        return 0.0, 0.0
    return supply.first[part].cost, supply.second[part].cost
