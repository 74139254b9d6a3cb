"""What charges a product's store where it stands: a panel or another source, month by month."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from yaml.nodes import Node

from advisor.catalogue.fields import MapOf, Record, key
from advisor.catalogue.kinds import Choice, Figure, Kind, Reading, Text, Whole
from advisor.catalogue.schema_parts import MONEY
from advisor.quantities import Quantity

MONTHS = (
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
)
ENERGY = Figure("energy")
IRRADIATION = Figure("irradiation")
SHARE = Figure("share", above=True, most=1.0)

# units of what a file of hours tells: (dimension of its days, factor to SI, whether it is a rate)
UNITS: Mapping[str, tuple[str, float, bool]] = {
    "W/m2": ("irradiation", 1.0, True),
    "kW/m2": ("irradiation", 1e3, True),
    "Wh/m2": ("irradiation", 3600.0, False),
    "kWh/m2": ("irradiation", 3.6e6, False),
    "J/m2": ("irradiation", 1.0, False),
    "kJ/m2": ("irradiation", 1e3, False),
    "MJ/m2": ("irradiation", 1e6, False),
    "W": ("energy", 1.0, True),
    "mW": ("energy", 1e-3, True),
    "uW": ("energy", 1e-6, True),
    "J": ("energy", 1.0, False),
    "mJ": ("energy", 1e-3, False),
    "Wh": ("energy", 3600.0, False),
    "mWh": ("energy", 3.6, False),
}
DELIMITERS: Mapping[str, str] = {"comma": ",", "semicolon": ";", "tab": "\t", "blank": " "}


def by_month(kind: Kind) -> MapOf:
    """Month to something."""
    return MapOf(kind, "month", keys=MONTHS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """What turns light into electricity."""

    area: Quantity | None = key(Figure("area", above=True), "area in the light")
    efficiency: Quantity | None = key(
        SHARE, "share of what falls on it that reaches the charger, its wiring and dirt included"
    )
    price: Quantity | None = key(MONEY, "price, in the product's currency")


@dataclass(frozen=True, slots=True, kw_only=True)
class Charger:
    """What charges the store from the source."""

    efficiency: Quantity | None = key(
        SHARE, "share of what reaches it that goes into the store, its own draw included"
    )
    price: Quantity | None = key(MONEY, "price, in the product's currency")


@dataclass(frozen=True, slots=True)
class Days:
    """What a file of hours tells of its days.

    Attributes
    ----------
    dimension : `energy`, or `irradiation` where it is told per area. months : mean of a day, by
    month. spread : standard deviation of a day about its month's mean, as a share of it.
    persistence : lag-1 correlation of these. night : the part of a day, s, that brings nothing, in
    the month where that is longest. digest : SHA-256 of the file.
    """

    dimension: str
    months: Mapping[str, Quantity]
    spread: Quantity
    persistence: Quantity
    night: Quantity
    count: int
    digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FileOfHours:
    """A text file with a row an hour, or another step, over whole days."""

    name: str = key(Text("a file's name"), "the file, beside the product's", required=True)
    time: str = key(Text("a column's name"), "column of the time, ISO 8601", required=True)
    value: str = key(Text("a column's name"), "column of what is harvested", required=True)
    unit: str = key(
        Choice(tuple(UNITS)), "its unit; per area where a panel is to stand in it", required=True
    )
    stamp: str = key(
        Choice(("start", "end")),
        "whether a time is that of its row's start or end",
        default="start",
    )
    delimiter: str = key(Choice(tuple(DELIMITERS)), "what parts columns", default="comma")
    decimal: str = key(Choice(("point", "comma")), "decimal mark", default="point")
    skip: int = key(Whole(0, 1000), "lines above the one that names the columns", default=0)
    days: Days | None = field(default=None, repr=False)


@dataclass(frozen=True, slots=True)
class HoursKind(Record):
    """A file of hours, read when the product is."""

    def read(self, node: Node, path: str, reading: Reading) -> Any:
        found = Record.read(self, node, path, reading)
        if found is None:
            return None
        from advisor.catalogue.hours_file import read_days

        return read_days(found, node, path, reading)


@dataclass(frozen=True, slots=True, kw_only=True)
class Harvest:
    """What charges the store: told by one of energy, irradiation and file."""

    panel: Panel | None = key(Record(Panel), "the panel, where what falls on it is told")
    charger: Charger | None = key(
        Record(Charger), "the charger; when absent the energy is told behind it"
    )
    energy: Mapping[str, Quantity] = key(
        by_month(ENERGY), "mean energy of a day that reaches the charger, by month", default={}
    )
    irradiation: Mapping[str, Quantity] = key(
        by_month(IRRADIATION), "mean of a day in the panel's plane, by month", default={}
    )
    file: FileOfHours | None = key(
        HoursKind(FileOfHours), "hours of some years, from which all of this is taken"
    )
    scale: Quantity | None = key(
        Figure("ratio"), "factor on all of it, such as shade or a poor year; 1 when absent"
    )
    spread: Quantity | None = key(
        Figure("ratio", most=3.0),
        "standard deviation of a day about its month's mean, of that mean; the file's when absent",
    )
    persistence: Quantity | None = key(
        Figure("share", most=0.95),
        "correlation of a day with the next; a file's own when absent",
    )
    night: Quantity | None = key(
        Figure("time", most=86400.0),
        "longest part of a day that brings nothing, which the store has to bridge; a file's own "
        "when absent",
    )

    @property
    def days(self) -> Days | None:
        """What the file tells, where there is one."""
        return None if self.file is None else self.file.days
