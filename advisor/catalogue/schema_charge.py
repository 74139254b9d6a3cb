"""Cells that are charged again: how they may be charged, how they age, who charges them."""

from __future__ import annotations

from advisor.catalogue.curves import Curve, CurveOf
from advisor.catalogue.fields import Record, key
from advisor.catalogue.kinds import Figure
from advisor.catalogue.schema_parts import MONEY, TEMPERATURE
from advisor.dataclass import dataclass
from advisor.quantities import Quantity

# what a test of ageing starts from may be nothing, what it ends with may not
LOSS = Figure("share", above=True, most=1.0)
STATE_OF_CHARGE = Figure("share", most=1.0)
# a law that all but jumps is none, and its inverse overflows
EXPONENT = Figure("ratio", least=0.01)
STEP = Figure("temperature-step", above=True)
RISE = "rise of the resistance, as a share of the fresh one, for each share of the capacity lost"


@dataclass(frozen=True, slots=True, kw_only=True)
class Charge:
    """How a cell may be charged."""

    efficiency: Quantity | None = key(
        Figure("share", above=True, most=1.0), "share of the charge put in that can be taken out"
    )
    min: Quantity | None = key(
        Figure("temperature", least=-273.15, exact=True), "coldest place to charge it"
    )
    max: Quantity | None = key(
        Figure("temperature", least=-273.15, exact=True), "hottest place to charge it"
    )
    max_current: Quantity | None = key(
        Figure("current", above=True, exact=True), "greatest charging current"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class CalendarAgeing:
    """Capacity lost with time, whatever the cell does: loss (t/after)^exponent."""

    loss: Curve | None = key(
        CurveOf(STATE_OF_CHARGE, LOSS),
        "capacity lost in that time, of the rated one, perhaps over state of charge",
    )
    after: Quantity | None = key(Figure("time", above=True), "the time that took")
    at: Quantity | None = key(TEMPERATURE, "the temperature of that test")
    doubles_every: Quantity | None = key(
        STEP, "warming from `at` that doubles the loss; further by Arrhenius's law"
    )
    exponent: Quantity | None = key(EXPONENT, "exponent of time, 0.5 where a film grows")
    resistance: Quantity | None = key(Figure("ratio"), RISE)


@dataclass(frozen=True, slots=True, kw_only=True)
class CycleAgeing:
    """Capacity lost by use: loss ((n/after) (depth taken/depth)^depth-exponent)^exponent."""

    loss: Quantity | None = key(LOSS, "capacity lost by those cycles, of the rated one")
    after: Quantity | None = key(Figure("count", above=True), "cycles that took")
    depth: Quantity | None = key(
        LOSS, "charge that each of them took, as a share of the rated capacity"
    )
    at: Quantity | None = key(TEMPERATURE, "the temperature of that test")
    doubles_every: Quantity | None = key(
        STEP, "warming from `at` that doubles the loss; further by Arrhenius's law"
    )
    exponent: Quantity | None = key(EXPONENT, "exponent of the number of cycles")
    depth_exponent: Quantity | None = key(
        Figure("ratio"), "exponent of the depth; 1 where only the charge that goes through counts"
    )
    resistance: Quantity | None = key(Figure("ratio"), RISE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ageing:
    """How a cell that is charged again loses capacity; both losses add up."""

    calendar: CalendarAgeing | None = key(Record(CalendarAgeing), "with time")
    cycles: CycleAgeing | None = key(Record(CycleAgeing), "with charging and discharging")
    end: Quantity | None = key(
        Figure("share", above=True, most=1.0),
        "least capacity left, of the rated one; when absent a pack is kept while it does its work",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Recharge:
    """Somebody charges the pack: at intervals, from the first day."""

    every: Quantity | None = key(Figure("time", above=True), "time from one charge to the next")
    cost: Quantity | None = key(MONEY, "cost of a visit to charge it, in the product's currency")
