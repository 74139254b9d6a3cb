"""Rails beside the main one, what is switched off between uses, and converters at light load."""

from __future__ import annotations

from advisor.catalogue.fields import ListOf, Record, key
from advisor.catalogue.kinds import Figure, Flag, Identity
from advisor.catalogue.schema_parts import CURRENT, VOLTAGE
from advisor.dataclass import dataclass
from advisor.quantities import Quantity

CAPACITANCE = Figure("capacitance")
DECAY = Figure("time", above=True)
ENERGY = Figure("energy")

NONE = "none"  # the pack itself is the rail
ON = Identity("rail")


@dataclass(frozen=True, slots=True, kw_only=True)
class LightLoad:
    """What a switching converter draws below a load current: a current, and a share on top."""

    below: Quantity = key(
        Figure("current", above=True),
        "load current below which it is in this mode, whether it draws less there or more",
        required=True,
    )
    no_load: Quantity = key(CURRENT, "current at the input without load", required=True)
    efficiency: Quantity = key(
        Figure("share", above=True, most=1.0),
        "efficiency of what passes through, the no-load current apart",
        required=True,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rail:
    """A further rail, fed from the pack through a converter of its own."""

    rail: str = key(Identity("rail"), "the rail's name", required=True)
    voltage: Quantity | None = key(VOLTAGE, "its voltage, behind a converter")
    converters: tuple[str, ...] = key(
        ListOf(Identity("converter, or none")),
        "converters to choose from; none: the pack is the rail",
        default=(),
    )
    gated: bool = key(
        Flag(), "whether it is on only from the first to the last of its loads", default=False
    )
    capacitance: Quantity | None = key(
        CAPACITANCE, "capacitance on it, filled each time it is switched on"
    )
    decay: Quantity | None = key(
        DECAY, "time constant with which that empties; it is empty again when absent"
    )


RAILS = ListOf(Record(Rail), named_by="rail")
LIGHT_LOAD = Record(LightLoad)
