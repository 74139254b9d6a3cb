"""Levers: figures that a study moves, by their paths.

A lever's value is in SI units (money in the file's currency); its text can be pasted behind
`--set PATH=`. A figure keeps its own spread as it moves, see `spread`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from yaml.nodes import Node

from advisor.catalogue.curves import CurveOf
from advisor.catalogue.fields import Either, Record, specification
from advisor.catalogue.kinds import Figure, Kind, Reading, Whole
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import FEATURE
from advisor.catalogue.schema_product import Product
from advisor.catalogue.spread import moved, written
from advisor.dataclass import dataclass
from advisor.dimensions import DIMENSIONS
from advisor.faults import Fault, FaultError, FaultLog, nearest
from advisor.figures import Path, document_of, names_in, scalars
from advisor.quantities import Quantity, show, spellings
from advisor.source import read_text

NEAR = 1e-3  # relative; a price break or a change of leaders is found at least as closely
DEGREES = 10.0  # K; a temperature is found to the same share of these


@dataclass(frozen=True, slots=True)
class Lever:
    """A figure that a study may move.

    Attributes
    ----------
    path : where it stands. kind : what may stand there. unit : SI unit of its values. now : the
    value that stands, None where the key is absent. u : its standard uncertainty, 0 where exact.
    stated : the figure that stands, None for a whole number and where the key is absent.
    rate : of a rate of exchange the currency that it is of, and the one that it is in. own :
    whether its texts are in the unit of its file. currency : of an amount of money, where one is
    told.
    """

    path: Path
    kind: Figure | Whole
    unit: str
    now: float | None
    u: float
    stated: Quantity | None = None
    rate: tuple[str, str] | None = None
    own: bool = False
    currency: str | None = None

    @property
    def whole(self) -> bool:
        """Whether it moves by whole numbers: also what is counted, where no fraction is stated."""
        if isinstance(self.kind, Whole):
            return True
        return self.kind == FEATURE and (self.now is None or self.now.is_integer())

    @property
    def movable(self) -> bool:
        """Whether a value stands that it may move from: one above zero, or a temperature."""
        return self.now is not None and (self.now > 0 or self.dimension == "temperature")

    @property
    def dimension(self) -> str:
        """Dimension of its values."""
        return "count" if isinstance(self.kind, Whole) else self.kind.dimension

    def text(self, value: float) -> str:
        """A value as it may stand in the file, with the figure's own spread."""
        if self.whole:
            return f"{round(value)}"
        unit = "" if self.unit == "1" else self.unit
        if self.stated is None:
            return f"{value:.12g}{unit}"
        if self._unit_text:
            unit = self._unit_text
        return written(moved(self.stated, value), unit, self.factor)

    def in_own_unit(self) -> Lever:
        """The lever with texts in the unit that its file states it in."""
        return replace(self, own=True)

    @property
    def factor(self) -> float:
        """What the unit of its texts is worth, in SI."""
        return spellings(self.dimension)[self._unit_text] if self._unit_text else 1.0

    @property
    def _unit_text(self) -> str:
        """The file's own unit, where texts are in it and it has no zero of its own."""
        if not self.own or self.stated is None or self.dimension == "temperature":
            return ""
        text = self.stated.unit_text.strip()
        return text if text in spellings(self.dimension) else ""

    def reach(self, value: float, near: float) -> float:
        """What a share `near` of a value comes to; of 10 K for a temperature."""
        return near * (DEGREES if self.dimension == "temperature" else abs(value))

    def above(self, value: float, digits: int = 6) -> float:
        """The least value of so many digits that is not below `value`."""
        if self.whole or value == 0:
            return value
        scale = 10.0 ** (digits - 1 - math.floor(math.log10(abs(value))))
        return math.ceil(value * scale * (1 - 1e-15)) / scale

    def shown(self, value: float) -> str:
        """A value for people."""
        if self.whole:
            return f"{round(value)}"
        digits = 12 if self.own else 4
        if self.rate is not None:
            return f"1 {self.rate[0]} = {value:.{digits}g} {self.rate[1]}"
        if self.dimension == "money-rate":
            return f"{value:.{digits}g} {self.unit}"
        if self.dimension == "money":
            return f"{self.currency or ''} {value:.{digits}g}".strip()
        if self.own and self.dimension == "temperature":
            return f"{value:.7g} {self.unit}"
        if self.own:
            told = f"{value / self.factor:.12g}"
            unit = _for_people(self._unit_text)
            return f"{told} {unit}{'s' if unit in COUNTED and told != '1' else ''}".rstrip()
        return _trimmed(show(value, self.dimension, 4))

    def assignment(self, value: float) -> str:
        """The change that sets it."""
        return f"{self.path}={self.text(value)}"

    def read(self, text: str) -> float:
        """A value from text.

        Raises
        ------
        FaultError
            For text that may not stand there, and for one with an uncertainty.
        """
        value = read_option("--along", text, self.kind)
        if isinstance(value, Quantity):
            return value.nominal
        return float(value)

    def between(self, one: float, other: float, near: float) -> float | None:
        """A place between two, midway; None where they are within a share `near` of each other
        (of 10 K for temperatures), or next to each other for a whole number."""
        middle = part_way(one, other, 0.5)
        if self.whole:
            low, high = sorted((one, other))
            middle = float(round(middle))
            return middle if low < middle < high else low + 1 if high - low > 1 else None
        apart = abs(other - one)
        # about zero no share of the value is small enough
        close = self.reach(max(abs(one), abs(other)), near)
        if apart <= close or (min(one, other) <= 0 and apart <= 1e-9):
            return None
        return middle


COUNTED = ("year", "month", "week", "day", "hour")  # units that are words


def _trimmed(text: str) -> str:
    """A figure without zeros at the end of its decimals."""
    number, blank, unit = text.partition(" ")
    return (number.rstrip("0").rstrip(".") if "." in number else number) + blank + unit


def _for_people(unit: str) -> str:
    """A unit as screens spell it."""
    return f"µ{unit[1:]}" if len(unit) > 1 and unit[0] in "uμ" else unit


def part_way(one: float, other: float, share: float) -> float:
    """The place a share of the way from one to another, in the logarithm where both are above
    zero."""
    if one > 0 and other > 0:
        return float(one * (other / one) ** share)
    return one + (other - one) * share


def read_option(option: str, text: str, kind: Figure | Whole) -> Any:
    """A value that an option gives, exact.

    Raises
    ------
    FaultError
        For text that may not stand there, and for a figure with an uncertainty.
    """
    log = FaultLog()
    wanted = replace(kind, exact=True) if isinstance(kind, Figure) else kind
    value = wanted.read(read_text(text, option).root, "", Reading(option, option, log))
    log.raise_if_any()
    return value


def lever(catalogue: Catalogue, product: Product, where: str | Path) -> Lever:
    """The lever at a path, or at what a text says of one.

    Raises
    ------
    FaultError
        For a path that leads to no figure.
    """
    text = str(where)
    identity = document_of(text)
    record = product if identity == product.product else catalogue.record(identity)
    path = Path("")
    if record is not None:
        root = catalogue.documents[identity].root
        path = Path.parse(root, text) if isinstance(where, str) else where
    if not path.keys:
        known = [product.product, *(name for kind in catalogue.kinds.values() for name in kind)]
        raise FaultError(
            (
                Fault(
                    text,
                    f'"{text}"',
                    "a figure's path, ID:dotted.keys, such as frost-post:workload.sample.every",
                    nearest=nearest(identity, known) if record is None else None,
                    unknown=record is None,
                ),
            )
        )
    kind: Kind | None = Record(type(record))
    node: Node | None = root
    for key in path.keys:
        below = getattr(kind, "below", None)
        kind = None if below is None else below(key)
        alike = 0 if node is None else names_in(node).count(key)
        node = None if node is None else Path("", (key,)).node(node)
        if kind is None:
            raise _none_there(text, key, path.nearest(root))
        if alike > 1:
            raise FaultError((Fault(text, f'"{key}"', f"an entry named once; {alike} bear it"),))
    if isinstance(kind, CurveOf) and kind.constant:
        kind = kind.y
    if isinstance(kind, Either):
        kind = kind.plain
    if not isinstance(kind, Figure | Whole):
        raise _none_there(text, path.dotted)
    made = _made(path, kind, node, product)
    if made.dimension != "money":
        return made
    # what a part is bought with beside itself is in the currency of its price
    price = product.cost if record is product else getattr(record, "price", None)
    return replace(made, currency=getattr(price, "currency", None))


def levers_of(catalogue: Catalogue, product: Product, identity: str) -> Iterator[Lever]:
    """Every figure of the product or of a record that moves by itself, in the order of the file.

    No words, and no key that enters no figure; no share of a sum, since the others would have to
    move along; nothing that is not above zero, but for temperatures.

    Raises
    ------
    KeyError
        For an id that no record bears.
    """
    record = product if identity == product.product else catalogue.record(identity)
    if record is None:
        raise KeyError(identity)
    keys = specification(type(record))
    for path, _ in scalars(identity, catalogue.documents[identity].root):
        first = path.keys[0]
        if keys[first].informational or (first == "environment" and path.keys[-1] == "share"):
            continue
        try:
            found = lever(catalogue, product, path)
        except FaultError:
            continue  # a word, a list, a share of a sum: no figure that moves by itself
        if found.movable:
            yield found


def _none_there(path: str, name: str, near: str | None = None) -> FaultError:
    return FaultError((Fault(path, f'"{name}"', "a path that leads to a figure", nearest=near),))


def _made(path: Path, kind: Figure | Whole, node: Node | None, product: Product) -> Lever:
    now, u, stated = None, 0.0, None
    if node is not None:
        value = kind.read(node, path.dotted, Reading("", path.document, FaultLog()))
        if value is None:
            # a curve, where a figure might stand as well
            raise _none_there(str(path), path.keys[-1])
        now = value.nominal if isinstance(value, Quantity) else float(value)
        stated = value if isinstance(value, Quantity) else None
        u = 0.0 if stated is None else stated.u
    if isinstance(kind, Whole):
        return Lever(path=path, kind=kind, unit="1", now=now, u=u)
    rate = None
    if path.document == product.product and path.keys[:2] == ("cost", "rates"):
        rate = path.keys[2], product.cost.currency or "money"
    unit = _unit(kind.dimension, product)
    return Lever(path=path, kind=kind, unit=unit, now=now, u=u, stated=stated, rate=rate)


def _unit(dimension: str, product: Product) -> str:
    if dimension == "money-rate":
        rate = product.cost.engineer_rate
        currency = rate.unit_text.partition("/")[0] if rate is not None else product.cost.currency
        return f"{currency or 'EUR'}/h"
    unit = DIMENSIONS[dimension].si_unit
    return f"/{unit[2:]}" if unit.startswith("1/") else unit


def span(
    found: Lever, text: str | None, width: float = 8.0, step: float = 20.0
) -> tuple[float, float]:
    """(from, to) of a lever: as written, `FROM:TO`; else about the value that stands.

    A value above zero runs from an eighth of it to eight times it, a temperature by 20 K about it,
    both within what may stand there; `width` and `step` set those numbers.

    Raises
    ------
    FaultError
        When no value stands and no range is given, or the range is empty.
    """
    if text is not None:
        begin, colon, end = text.partition(":")
        if not colon:
            raise FaultError((Fault("--along", f'"{text}"', "a range FROM:TO"),))
        ends = found.read(begin.strip()), found.read(end.strip())
        if not ends[0] < ends[1]:
            raise FaultError(
                (Fault("--along", f'"{text}"', "a range whose end is above its start"),)
            )
        return ends
    now = found.now
    if now is None or (now <= 0 and found.dimension != "temperature"):
        raise FaultError(
            (
                Fault(
                    str(found.path), "no value above zero", f"a range, --along {found.path}=FROM:TO"
                ),
            )
        )
    if found.dimension == "temperature":
        return now - step, now + step
    low, high = now / width, now * width
    if found.whole:
        return float(max(found.kind.least or 0, round(low))), float(round(high))
    if found.kind.most is not None:
        high = min(high, found.kind.most)
    return low, high


def grid(ends: tuple[float, float], points: int, whole: bool, now: float | None) -> Sequence[float]:
    """Places from end to end, evenly in the logarithm where the start is above zero, else evenly;
    the value that stands is among them where it lies inside."""
    low, high = ends
    places = [part_way(low, high, i / (points - 1)) for i in range(points)]
    places[0], places[-1] = low, high
    if now is not None and low < now < high:
        places.append(now)
    if whole:
        places = [float(round(x)) for x in places]
    return sorted(set(places))
