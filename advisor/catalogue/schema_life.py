"""A product's calendar: where it stands, when it does what, and what comes before its first day."""

from __future__ import annotations

from typing import Any

from yaml.nodes import Node

from advisor.catalogue.fields import ListOf, Record, key
from advisor.catalogue.kinds import Figure, Identity, Reading, Whole
from advisor.catalogue.schema_parts import TEMPERATURE
from advisor.dataclass import dataclass
from advisor.quantities import Quantity

# what a pack does before use, beside the sleep states that parts have
DISCONNECTED = "disconnected"
ASLEEP = "asleep"

SHARE = Figure("share", above=True, most=1.0)
SUM_WITHIN = 1e-6  # of 1
WHOLE = "shares of the time that sum to 1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """A share of the time spent at a temperature; `entry` is its name in the list."""

    at: Quantity = key(TEMPERATURE, "ambient temperature", required=True)
    share: Quantity = key(SHARE, "share of the time", required=True)
    entry: str = ""


class Shares(ListOf):
    """A list whose entries share the whole time: shares that sum to something else are a fault.

    That is told where the list is read, so that it is told beside what cannot be read elsewhere.
    """

    def read(self, node: Node, path: str, reading: Reading) -> tuple[Any, ...] | None:
        entries = ListOf.read(self, node, path, reading)
        total = sum(one.share.nominal for one in entries or ())
        if entries and abs(total - 1) > SUM_WITHIN:
            reading.fault(node, path, f"shares that sum to {total:.6g}", WHOLE)
        return entries


STAYS = Shares(Record(Stay), named_by="at")


# of a try that always fails there is no last one
FAILS = Figure("share", most=0.999)


@dataclass(frozen=True, slots=True, kw_only=True)
class Retries:
    """Something that may fail, each try by itself, and is then tried again."""

    fails: Quantity = key(FAILS, "chance that a try fails", required=True)
    most: int | None = key(Whole(), "most tries; until one works when absent")


RETRIES = Record(Retries)


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeOfUse:
    """A share of the calendar with its own temperatures and its own pace, such as night."""

    time: str = key(Identity("time"), "the time's name", required=True)
    share: Quantity = key(SHARE, "share of the calendar", required=True)
    environment: tuple[Stay, ...] = key(
        STAYS,
        "temperatures and their share of this time; those of the product when absent",
        default=(),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Phase:
    """Something that the pack goes through before the first day of use, such as storage."""

    phase: str = key(Identity("phase"), "the phase's name", required=True)
    duration: Quantity | None = key(Figure("time"), "how long", name="for")
    environment: tuple[Stay, ...] = key(
        STAYS, "temperatures and their share of this phase", default=()
    )
    state: str | None = key(
        Identity("state"),
        f"{DISCONNECTED}: the pack only discharges itself and into a reservoir; {ASLEEP}: in the "
        "sleep state of use; else the part's sleep state of that name. Powered, standing loads "
        "draw as well",
    )
