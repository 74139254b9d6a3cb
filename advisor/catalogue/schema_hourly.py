"""A file of hours: how it is declared, and what its days tell."""

from __future__ import annotations

from collections.abc import Mapping

from advisor.catalogue.fields import key
from advisor.catalogue.kinds import Choice, Text, Whole
from advisor.dataclass import dataclass, field
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
    time: str = key(
        Text("a column's name"),
        "column of the time, ISO 8601, with an offset from UTC in every row or in none",
        required=True,
    )
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
