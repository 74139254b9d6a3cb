"""Battery nodes of a devicetree to cells.

What the properties mean is the published binding of `simple-battery` (Battery Characteristics,
`power/supply/battery.yaml`): microvolts, microampere-hours, micro-ohms, degrees Celsius; the tables
pair an open-circuit voltage with the per cent of the capacity that is left, and a temperature with
the per cent of the internal resistance.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise
from pathlib import Path

from advisor.catalogue.compose import Line, document
from advisor.catalogue.edit import flow
from advisor.catalogue.schema_supply import UNFAMILIAR, UNSTATED
from advisor.faults import Fault, FaultError, FaultLog, Place
from advisor.intake.devicetree import LARGEST, Node, Property, read_devicetree
from advisor.intake.entries import (
    Brought,
    Entry,
    check_identities,
    chosen,
    file_bytes,
    identity_of,
    printable,
    yaml_identity,
    yaml_words,
)

UNKNOWN = "…"
ROOM = 25  # degC: of several open-circuit tables the one nearest to it is taken
MOST = 10**12  # of a value in micro-units
COLDEST, HOTTEST = -273, 1000  # degC
COMPATIBLE = "simple-battery"

# the binding's words, all of cells that are charged
CHEMISTRIES = {
    "nickel-cadmium": "nickel cadmium",
    "nickel-metal-hydride": "nickel metal hydride",
    "lithium-ion": "lithium ion",
    "lithium-ion-polymer": "lithium ion polymer",
    "lithium-ion-iron-phosphate": "lithium iron phosphate",
    "lithium-ion-manganese-oxide": "lithium ion manganese oxide",
}
_CHARGED_BY = (
    *("re-charge-voltage-microvolt", "trickle-charge-current-microamp"),
    *("precharge-current-microamp", "precharge-upper-limit-microvolt"),
    *("charge-term-current-microamp", "constant-charge-current-max-microamp"),
    *("constant-charge-voltage-max-microvolt", "over-voltage-threshold-microvolt"),
)
# common practice in the trade, no source; the last from the UN Manual of Tests and Criteria, 38.3
LITHIUM = (
    "charge only with a charger made for it, never beyond its voltage, current and temperature",
    "needs protection against overcharge, deep discharge and short circuit",
    "never short, crush, pierce, heat or open: it can vent, burn or burst",
    "transport rules for lithium cells apply (UN 38.3)",
)
NICKEL = (
    "charge only with a charger made for it, which ends the charge",
    "never short: it gives great currents and can burn",
)


def read_batteries(path: Path, only: Sequence[str] = ()) -> Brought:
    """The cells that the battery nodes of a devicetree source bring.

    Parameters
    ----------
    only : patterns of nodes' labels or names; all where there is none.

    Raises
    ------
    FaultError
        With every fault, each with its line.
    """
    file = str(path)
    root = read_devicetree(file_bytes(path, LARGEST, "a devicetree source"), file)
    nodes = [n for n in root.walk() if _is_battery(n)]
    if not nodes:
        expected = f'a node with compatible = "{COMPATIBLE}"'
        raise FaultError((Fault("file", "no battery", expected, Place(file, 1, 1)),))
    names = [_name(node) for node in nodes]
    asked = chosen(
        [(name, *node.labels, node.name) for name, node in zip(names, nodes, strict=True)],
        only,
        "a battery node",
    )
    taken = [(n, node) for n, node, a in zip(names, nodes, asked, strict=True) if a]
    log = FaultLog()
    check_identities(((identity_of(n), n, node.place(file)) for n, node in taken), log)
    cells = [_Cell(name, node, path.name, file, log) for name, node in taken]
    log.raise_if_any()
    entries = tuple(cell.entry() for cell in cells)
    return Brought(path.name, None, entries, len(nodes) - len(taken))


def _is_battery(node: Node) -> bool:
    compatible = node.properties.get("compatible")
    return compatible is not None and COMPATIBLE in compatible.texts


def _name(node: Node) -> str:
    """A node's label, or its own name."""
    return node.labels[0] if node.labels else node.name


class _Cell:
    """What a battery node tells, in the words of a cell's file."""

    def __init__(self, name: str, node: Node, source: str, file: str, log: FaultLog) -> None:
        self.name, self.node, self.source, self.file, self.log = name, node, source, file, log
        self.place = node.place(file)
        self.used: set[str] = {"compatible"}
        self.aside: list[str] = []
        self.lacks: list[str] = []
        self.charge = self._one("charge-full-design-microamp-hours")
        self.energy = self._one("energy-full-design-microwatt-hours")
        self.least = self._one("voltage-min-design-microvolt")
        self.most = self._one("voltage-max-design-microvolt")
        self.resistance = self._one("factory-internal-resistance-micro-ohms")
        self.chemistry = self._chemistry()
        self.charged = self._charged()
        self.curve, self.curve_at = self._curve()
        self.warmth = self._warmth()
        if self.least is not None and self.most is not None and self.least > self.most:
            self._fault("voltage-min-design-microvolt", str(self.least), f"at most {self.most}")
        self._rest()

    # ------------------------------------------------------------------------- what is read

    def _property(self, name: str) -> Property | None:
        found = self.node.properties.get(name)
        if found is None:
            return None
        self.used.add(name)
        if found.odd is not None:
            place = Place(self.file, found.odd.line, found.odd.column)
            self.log.add(Fault(name, f'"{found.odd.text}"', "plain numbers", place))
            return None
        return found

    def _fault(self, name: str, read: str, expected: str) -> None:
        place = self.node.properties[name].place(self.file)
        self.log.add(Fault(name, read, expected, place))

    def _one(self, name: str) -> int | None:
        """A value above zero, in the micro-unit that its name ends in."""
        found = self._property(name)
        if found is None:
            return None
        cells = found.cells
        if len(cells) != 1 or found.texts or not 0 < cells[0] <= MOST:
            read = ", ".join(map(str, cells[:4])) or "no number"
            self._fault(name, read, f"one number from 1 to {MOST}")
            return None
        return cells[0]

    def _pairs(self, name: str) -> list[tuple[int, int]] | None:
        found = self._property(name)
        if found is None:
            return None
        cells = found.cells
        if not cells or len(cells) % 2 or found.texts:
            self._fault(name, f"{len(cells)} numbers", "pairs of numbers")
            return None
        return list(zip(cells[::2], cells[1::2], strict=True))

    def _chemistry(self) -> str | None:
        found = self.node.properties.get("device-chemistry")
        if found is None:
            return None
        self.used.add("device-chemistry")
        if len(found.texts) != 1:
            self._fault("device-chemistry", f"{len(found.texts)} texts", "one text")
            return None
        place = found.place(self.file)
        words = printable(found.texts[0], "device-chemistry", place, self.log)
        return CHEMISTRIES.get(words, words.replace("-", " ")) or None

    def _charged(self) -> bool | None:
        """Whether it may be charged; None where the node does not say."""
        told = self.node.properties.get("device-chemistry")
        words = told.texts[0] if told is not None and told.texts else ""
        # kinds of lithium-ion cells that come to be named are charged as those are
        known = words in CHEMISTRIES or words.startswith("lithium-ion")
        if known or any(name in self.node.properties for name in _CHARGED_BY):
            return True
        return None

    def _curve(self) -> tuple[list[tuple[Decimal, int]], int | None]:
        """(depth of discharge and microvolts, degC) of the table nearest to room temperature."""
        at = self._property("ocv-capacity-celsius")
        tables = {
            int(name.rpartition("-")[2][:6]): name
            for name in self.node.properties
            if name.startswith("ocv-capacity-table-") and name.rpartition("-")[2].isdecimal()
        }
        if at is None:
            for name in tables.values():
                self._fault(name, "no ocv-capacity-celsius beside it", "its temperature")
                self.used.add(name)
            return [], None
        places = at.cells
        if not all(COLDEST <= t <= HOTTEST for t in places):
            self._fault(at.name, "a temperature beyond all", f"from {COLDEST} to {HOTTEST}")
            return [], None
        good: dict[int, list[tuple[int, int]]] = {}
        for index, name in sorted(tables.items()):
            pairs = self._pairs(name)
            if index >= len(places):
                self._fault(name, f"table {index}", f"a temperature for it, of {len(places)}")
            elif pairs is not None and self._sound(name, pairs):
                good[index] = pairs
        if not good:
            return [], None
        whole = {i: pairs for i, pairs in good.items() if _from_full_to_empty(pairs)}
        best = min(whole, key=lambda i: (abs(places[i] - ROOM), -places[i]), default=None)
        for index, pairs in good.items():
            if index not in whole:
                # beyond its ends a curve is flat, which would promise voltage that is not there
                left = [percent for _, percent in pairs]
                span = f"from {max(left)} to {min(left)} % only"
                self.aside.append(f"an open-circuit table at {places[index]} degC {span}")
            elif index != best:
                self.aside.append(f"an open-circuit table at {places[index]} degC: a cell has one")
        if best is None:
            return [], None
        points = sorted((Decimal(100 - left) / 100, voltage) for voltage, left in whole[best])
        return points, places[best]

    def _sound(self, name: str, pairs: list[tuple[int, int]]) -> bool:
        for voltage, percent in pairs:
            if not 0 < voltage <= MOST or not 0 <= percent <= 100:
                expected = "microvolts above zero and 0 to 100 per cent"
                self._fault(name, f"<{voltage} {percent}>", expected)
                return False
        falling = sorted(pairs, key=lambda pair: -pair[1])
        for (high, above), (low, below) in pairwise(falling):
            if above == below or low > high:
                read = f"<{high} {above}> and <{low} {below}>"
                self._fault(name, read, "each per cent once, with voltages that fall")
                return False
        return True

    def _warmth(self) -> list[tuple[int, Decimal]]:
        """(degC, factor on the resistance), from the coldest."""
        pairs = self._pairs("resistance-temp-table")
        if pairs is None:
            return []
        seen: dict[int, Decimal] = {}
        for at, percent in pairs:
            if not COLDEST <= at <= HOTTEST or not 0 < percent <= 10**6 or at in seen:
                expected = "each temperature once, with per cent above zero"
                self._fault("resistance-temp-table", f"<{at} {percent}>", expected)
                return []
            seen[at] = Decimal(percent) / 100
        return sorted(seen.items())

    def _rest(self) -> None:
        """What the node tells and a cell has no key for."""
        if self.most is not None:
            self.aside.append(f"voltage when full {_micro(self.most, 'V')}")
        for name, found in self.node.properties.items():
            if name in self.used or name in ("phandle", "status") or name.startswith("#"):
                continue
            numbers = " ".join(map(str, found.cells[:8]))
            texts = " ".join(found.texts[:2])
            words = " ".join(f"{name} {numbers} {texts}".split())
            self.aside.append(printable(words[:200], name, found.place(self.file), self.log))

    # ------------------------------------------------------------------------------ the file

    def entry(self) -> Entry:
        """The cell as a file."""
        lines = self._lines()
        head = [
            f"From the battery node {self.node.name} of {self.source}.",
            f"What stands behind a # with {UNKNOWN} is not in the node: measure it or look it up.",
        ]
        if self.aside:
            head += ["", "Also in the node:", *(f"- {each}" for each in self.aside)]
        facts = tuple(
            (key, value)
            for key, value in (
                ("chemistry", self.chemistry),
                ("capacity", None if self.charge is None else _charge(self.charge)),
                ("voltage", self._nominal()),
            )
            if value is not None
        )
        text = document(lines, head="\n".join(head))
        return Entry(
            folder="cells",
            identity=identity_of(self.name),
            name=self.name,
            text=text,
            place=self.place,
            lacks=tuple(self.lacks),
            aside=tuple(self.aside),
            facts=facts,
        )

    def _nominal(self) -> str | None:
        """The mean voltage of the discharge: energy over charge."""
        if self.energy is None or self.charge is None:
            return None
        volts = Decimal(self.energy) / Decimal(self.charge)
        # beyond these no cell has its voltage: one of the two is in another unit
        if not Decimal("0.1") <= volts < 1000:
            return None
        return f"{_plain(volts.quantize(Decimal('0.001')))} V"

    def _lines(self) -> list[Line]:
        def told(
            key: str, value: str | None, words: str, behind: str = "", above: str = ""
        ) -> Line:
            if value is not None:
                return Line(key, value, behind=behind, above=above)
            self.lacks.append(key)
            return Line(key, UNKNOWN, behind=words, off=True)

        curve = (
            flow({f"{_plain(x)}": _micro(v, "V") for x, v in self.curve}) if self.curve else None
        )
        charge = None if self.charge is None else _charge(self.charge)
        ohms = None if self.resistance is None else _micro(self.resistance, "ohm")
        least = None if self.least is None else _micro(self.least, "V")
        charged = None if self.charged is None else "true"
        lines = [
            Line("cell", yaml_identity(identity_of(self.name))),
            Line("summary", yaml_words(f"battery node {self.name} of {self.source}")),
            told(
                "chemistry",
                None if self.chemistry is None else yaml_words(self.chemistry),
                "such as lithium ion",
            ),
            told("rechargeable", charged, "true or false; false when absent"),
            told("nominal-voltage", self._nominal(), "", behind="energy over charge"),
            told("capacity", charge, "rated"),
            told(
                "voltage-curve",
                curve,
                "open-circuit voltage over depth of discharge, from 0 to 1",
                above=f"open circuit, at {self.curve_at} degC",
            ),
            told("resistance", ohms, "internal, over depth of discharge", behind="when new"),
            told("cut-off", least, "least voltage of use", behind="when drained"),
            self._temperature(),
            told("self-discharge", None, "such as 3 %/month"),
            told("doubles-every", None, "warming that doubles the self-discharge"),
            told("shelf-life", None, "longest time in use or store"),
            told("max-continuous", None, "greatest mean current"),
            told("max-pulse", None, "greatest pulse current"),
            told("price", None, "currency, breaks, multiple, lead-time"),
        ]
        cautions = self._cautions()
        if cautions:
            words = ", ".join(
                yaml_words(each) if "," not in each else f'"{each}"' for each in cautions
            )
            lines.append(Line("cautions", f"[{words}]"))
        else:
            lines.append(told("cautions", None, "what to warn of"))
        note = yaml_words(f"battery node of {self.source}")
        lines.append(Line("evidence", [Line("pack", flow({"kind": "pack", "note": note}))]))
        return lines

    def _temperature(self) -> Line:
        if not self.warmth:
            self.lacks.append("temperature")
            words = "by temperature: {capacity: share, resistance: factor}"
            return Line("temperature", UNKNOWN, behind=words, off=True)
        self.lacks += [f"temperature.{at} degC.capacity" for at, _ in self.warmth]
        rows = [
            Line(f"{at} degC", flow({"resistance": _plain(factor)})) for at, factor in self.warmth
        ]
        return Line(
            "temperature", rows, above="the capacity's share beside each is not in the node"
        )

    def _cautions(self) -> tuple[str, ...]:
        if self.chemistry is None:
            return (UNSTATED, *LITHIUM)
        if "lithium" in self.chemistry.lower():
            return LITHIUM
        if "nickel" in self.chemistry.lower():
            return NICKEL
        return (UNFAMILIAR, *LITHIUM)


def _from_full_to_empty(pairs: Sequence[tuple[int, int]]) -> bool:
    left = [percent for _, percent in pairs]
    return max(left) == 100 and min(left) == 0


def _plain(value: Decimal) -> str:
    return f"{value.normalize():f}"


def _micro(value: int, unit: str) -> str:
    return f"{_plain(Decimal(value) / 10**6)} {unit}"


def _charge(micro_amp_hours: int) -> str:
    return f"{_plain(Decimal(micro_amp_hours) / 1000)} mAh"
