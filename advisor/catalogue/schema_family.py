"""A family: products that share parts, purchases, an engineer's hours and what supply may do."""

from __future__ import annotations

from collections.abc import Mapping

from advisor.catalogue.fields import ListOf, MapOf, Record, key
from advisor.catalogue.kinds import Choice, Figure, Flag, Identity, Text, Whole
from advisor.dataclass import dataclass
from advisor.dimensions import YEAR
from advisor.quantities import Quantity, exact

SECOND = ("refused", "allowed", "required")
OBJECTIVES = ("cost", "score", "front")
MONEY = Figure("money", exact=True)
EVERY = Figure("time", above=True, exact=True)
LASTS = Figure("time", above=True, most=100 * YEAR, exact=True)  # scenarios go week by week


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """A product of the family, and what must hold for it."""

    product: str = key(
        Identity("product"),
        "the product's id: a file ID.yaml beside this one, one of the project's, or a shipped one",
        required=True,
    )
    units: int | None = key(Whole(), "units to be made; the product's own cost.units when absent")
    life_chance: Quantity | None = key(
        Figure("share", above=True, most=1.0, exact=True),
        "least chance of reaching the product's life target",
    )
    give_up: Quantity | None = key(
        Figure("score", most=100.0, exact=True),
        "points of 100 that it may lose at most against its own favourite",
    )
    second_source: str = key(
        Choice(SECOND), "whether it is to run on a second part, of another maker", default="refused"
    )
    second_share: Quantity | None = key(
        Figure("share", above=True, most=0.5, exact=True), "share of its units on the second part"
    )
    porting: Quantity | None = key(
        Figure("time", exact=True), "an engineer's hours to have it run on a second part"
    )
    missed_unit: Quantity | None = key(
        MONEY, "what a unit costs that cannot be delivered, such as the margin that is lost"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FamilyLimits:
    """What the plan must keep; never traded against anything."""

    parts: int | None = key(Whole(), "most parts, each counted once")
    engineering: Quantity | None = key(
        Figure("time", exact=True), "most of an engineer's hours, for set-up and porting"
    )
    capital: Quantity | None = key(
        MONEY, "most money before the first unit is sold: purchases, set-up, porting and tools"
    )
    cost: Quantity | None = key(MONEY, "most expected cost over the service life")


@dataclass(frozen=True, slots=True, kw_only=True)
class Allocation:
    """How often a maker's parts cannot be had, all at once, and for how long."""

    every: Quantity = key(EVERY, "mean time from the end of one to the next", required=True)
    lasts: Quantity = key(LASTS, "mean length", required=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyOutlook:
    """What may become of supply while the units are made."""

    made_over: Quantity = key(LASTS, "how long the units are made, evenly", required=True)
    holding: Quantity = key(
        Figure("rate", exact=True), "what storing costs, as a share of the price", required=True
    )
    spread: Quantity = key(
        Figure("share", exact=True),
        "standard deviation of a year's demand, as a share of it; weeks are independent",
        default=exact(0.0, "share"),
    )
    allocation: Allocation | None = key(
        Record(Allocation), "of any maker that `makers` does not name; none when absent"
    )
    makers: Mapping[str, Allocation] = key(
        MapOf(Record(Allocation), "maker"), "of these makers", default={}
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FamilyFile:
    """Products for which parts are chosen together."""

    family: str = key(
        Identity("family"), "the family's id, equal to the file's name", required=True
    )
    invented: bool = key(Flag(), "demonstration data", default=False)
    summary: str | None = key(Text(), "what they have in common", informational=True)
    products: tuple[Member, ...] = key(
        ListOf(Record(Member), named_by="product"), "the products", required=True
    )
    limits: FamilyLimits = key(
        Record(FamilyLimits), "what the plan must keep", default=FamilyLimits()
    )
    toolchain_share: Quantity = key(
        Figure("share", most=1.0, exact=True),
        "share of a part's set-up hours that is its toolchain's, paid once for all its parts; half "
        "when absent (common practice, no source)",
        default=exact(0.5, "share"),
    )
    stock: Mapping[str, int] = key(
        MapOf(Whole(0), "part, cell, converter or add-on"),
        "pieces at hand, paid for already",
        default={},
    )
    supply: SupplyOutlook | None = key(
        Record(SupplyOutlook), "what may become of supply; certain when absent"
    )
    objective: str = key(
        Choice(OBJECTIVES),
        "least expected cost, greatest expected score within limits.cost, or every plan between "
        "the two that none betters",
        default="cost",
    )
