"""What charges a product's store where it stands: a panel or another source, month by month."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from yaml.nodes import Node

from advisor.catalogue.fields import MapOf, Record, key
from advisor.catalogue.kinds import Figure, Kind, Reading
from advisor.catalogue.schema_hourly import MONTHS, Days, FileOfHours
from advisor.catalogue.schema_parts import MONEY
from advisor.dataclass import dataclass
from advisor.quantities import Quantity

ENERGY = Figure("energy")
IRRADIATION = Figure("irradiation")
SHARE = Figure("share", above=True, most=1.0)


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

    @property
    def months(self) -> Mapping[str, Quantity]:
        """What a day brings, by month: energy, or irradiation where there is a panel."""
        return (self.days.months if self.days is not None else self.energy) or self.irradiation

    @property
    def factors(self) -> dict[tuple[str, ...], Quantity]:
        """What that is multiplied by on its way into the store, those that are stated, by keys."""
        panel, charger = self.panel, self.charger
        found = {
            ("panel", "area"): None if panel is None else panel.area,
            ("panel", "efficiency"): None if panel is None else panel.efficiency,
            ("charger", "efficiency"): None if charger is None else charger.efficiency,
            ("scale",): self.scale,
        }
        return {keys: one for keys, one in found.items() if one is not None}
