"""What supply may cost each product of a family, part by part and pair by pair of makers.

Of two sources the stock against demand is each one's own, the buffer against both makers failing at
once is the pair's: it is reckoned at the price of the dearest of the two makers' parts.

A program that is linear in its builds cannot price these risks at what the family pays together:
that rests on what the other products take. They are priced at what a product pays by itself, and
`at_what_is_paid` tells what a plan makes of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field, replace

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_family import Allocation as AllocationFile
from advisor.catalogue.schema_family import FamilyFile, SupplyOutlook
from advisor.dataclass import dataclass
from advisor.decide.admissible import Admissible
from advisor.decide.family_plans import Plan, Taken
from advisor.decide.supply_risk import (
    Allocation,
    Need,
    Outlook,
    Risk,
    Source,
    of_part,
    of_two_sources,
)
from advisor.dimensions import YEAR

ACTIVE = "active"


@dataclass(frozen=True, slots=True)
class Supplied:
    """Risks of one product.

    Attributes
    ----------
    alone : part to the risk of the product on it alone. first, second : part to what is its own of
    the risk as one of two. pairs : (first maker, second maker) to what is the pair's.
    """

    alone: Mapping[str, Risk] = field(default_factory=dict)
    first: Mapping[str, Risk] = field(default_factory=dict)
    second: Mapping[str, Risk] = field(default_factory=dict)
    pairs: Mapping[tuple[str, str], Risk] = field(default_factory=dict)

    def of(self, first: str, second: str | None, makers: Mapping[str, str]) -> tuple[Risk, ...]:
        """The risks that a choice of parts has, which add up."""
        if second is None:
            return (self.alone[first],)
        pair = self.pairs[makers[first], makers[second]]
        return self.first[first], self.second[second], pair


def outlook_of(supply: SupplyOutlook) -> Outlook:
    """What a family's file supposes of supply."""
    return Outlook(
        made_over_s=supply.made_over.nominal,
        holding_per_year=supply.holding.nominal * YEAR,
        spread=supply.spread.nominal,
        usual=None if supply.allocation is None else _allocation(supply.allocation),
        allocations={maker: _allocation(one) for maker, one in supply.makers.items()},
    )


def _allocation(told: AllocationFile) -> Allocation:
    return Allocation(every_s=told.every.nominal, lasts_s=told.lasts.nominal)


def supplied(
    file: FamilyFile,
    catalogue: Catalogue,
    makers: Mapping[str, str],
    prices: Mapping[str, Mapping[str, float]],
    units: Mapping[str, int],
) -> dict[str, Supplied]:
    """The risks of every product of a family whose file tells what may become of supply.

    Parameters
    ----------
    makers : part to its maker. prices : product to its parts, with what a piece costs it, money.
    units : to be made.
    """
    if file.supply is None:
        return {}
    outlook = outlook_of(file.supply)
    out = {}
    for member in file.products:
        sources = [
            _source(catalogue, makers[part], part, price)
            for part, price in sorted(prices[member.product].items())
        ]
        assert member.missed_unit is not None
        need = Need(member.product, units[member.product], member.missed_unit.nominal)
        found = Supplied(alone={s.part: of_part(need, s, outlook) for s in sources})
        if member.second_source != "refused":
            assert member.second_share is not None
            share = member.second_share.nominal
            found = replace(
                found,
                first={s.part: _own(need, s, outlook, 1 - share) for s in sources},
                second={s.part: _own(need, s, outlook, share) for s in sources},
                pairs=_pairs(need, sources, share, outlook),
            )
        out[member.product] = found
    return out


def prices_alone(options: Iterable[Admissible]) -> dict[str, float]:
    """Part to what a piece costs a product that buys for itself, money."""
    return {one.part: float(one.candidate.cost.part[0]) for one in options}


def at_what_is_paid(
    file: FamilyFile,
    catalogue: Catalogue,
    makers: Mapping[str, str],
    prices: Mapping[str, Mapping[str, float]],
    plan: Plan,
) -> dict[str, tuple[Risk, ...]]:
    """What supply may cost each product of a plan by the prices of the plan's purchases.

    Parameters
    ----------
    prices : as for `supplied`; they hold where stock meets all that is needed of a part.
    """
    paid = {
        one.item: one.total / (one.needed - one.from_stock)
        for one in plan.bought
        if one.kind == "part" and one.needed > one.from_stock
    }
    own = {
        t.member: {o.part: paid.get(o.part, prices[t.member][o.part]) for o in t.options}
        for t in plan.taken
    }
    units = {t.member: sum(t.units) for t in plan.taken}
    found = supplied(file, catalogue, makers, own, units)
    taken = {t.member: t for t in plan.taken}
    return {name: risks_of(found, makers, taken[name]) for name in found}


def risks_of(
    supply: Mapping[str, Supplied], makers: Mapping[str, str], taken: Taken
) -> tuple[Risk, ...]:
    """The risks of what a product takes, which add up."""
    second = None if taken.second is None else taken.second.part
    return supply[taken.member].of(taken.first.part, second, makers)


def weeks_held(risks: Iterable[Risk]) -> int:
    """Weeks of demand in store against allocations."""
    return sum(risk.allocation.weeks for risk in risks if risk.allocation is not None)


def _source(catalogue: Catalogue, maker: str, part: str, price: float) -> Source:
    record = catalogue.parts[part]
    lead = None if record.price is None else record.price.lead_time
    return Source(
        part=part,
        maker=maker,
        price=price,
        lead_time_s=None if lead is None else lead.nominal,
        lifecycle=record.lifecycle,
    )


def _own(need: Need, source: Source, outlook: Outlook, share: float) -> Risk:
    """What chance costs of a share of the units on one part, allocations apart."""
    found = of_part(replace(need, units=need.units * share), source, outlook)
    return replace(found, allocation=None)


def _pairs(
    need: Need, sources: Sequence[Source], share: float, outlook: Outlook
) -> dict[tuple[str, str], Risk]:
    """What two makers failing at once costs, by their dearest parts."""
    dearest: dict[str, float] = {}
    for source in sources:
        dearest[source.maker] = max(dearest.get(source.maker, 0.0), source.price)
    of_maker = {
        maker: Source(maker, maker, price, lead_time_s=None, lifecycle=ACTIVE)
        for maker, price in dearest.items()
    }
    return {
        (a, b): replace(
            of_two_sources(need, of_maker[a], of_maker[b], share, replace(outlook, spread=0.0)),
            lead_time=(),
            last_buy=(),
            missing=(),
        )
        for a in of_maker
        for b in of_maker
        if a != b
    }
