"""What may stand behind a key: texts, choices, figures, curves; and where their faults go."""

from __future__ import annotations

import datetime
import re
from dataclasses import replace
from types import ModuleType
from typing import Any, Protocol

from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from advisor import quantities
from advisor.catalogue.definitions import Definitions, Schema, exactly
from advisor.dataclass import dataclass
from advisor.dimensions import DIMENSIONS
from advisor.faults import LONGEST, Fault, FaultLog, nearest
from advisor.grammar import Sign
from advisor.quantities import Quantity, QuantityError
from advisor.source import place_of

ID = re.compile(r"[a-z0-9][a-z0-9-]*")
DAY = re.compile(
    "[0-9]{4}-(?:(?:0[13578]|1[02])-(?:0[1-9]|[12][0-9]|3[01])"
    "|(?:0[469]|11)-(?:0[1-9]|[12][0-9]|30)|02-(?:0[1-9]|[12][0-9]))"
)
CLOCK = re.compile("(?:[01][0-9]|2[0-3]):[0-5][0-9]|24:00")
# what YAML takes for no value where it stands without quotes
NULLS = frozenset(("null", "Null", "NULL", "~"))


# values that nodes were read as without a fault, with the nodes, by their identity
Read = dict[int, tuple[Node, Any]]


class Reading:
    """One document being read: where faults go and what they are called. What `read` has is not
    read again: documents that differ in a figure share the nodes off its path."""

    def __init__(self, file: str, identity: str, log: FaultLog, read: Read | None = None) -> None:
        self.file = file
        self.identity = identity
        self.log = log
        self.read = read

    def fault(
        self, node: Node, path: str, read: str, expected: str, near: str | None = None
    ) -> None:
        """Note a fault at `node`; `path` is dotted, without the document's id."""
        self.log.add(
            Fault(
                path=f"{self.identity}:{path}" if path else self.identity,
                read=read,
                expected=expected,
                place=place_of(node, self.file),
                nearest=near,
            )
        )


class Kind(Protocol):
    """What may stand behind a key."""

    def read(self, node: Node, path: str, reading: Reading) -> Any:
        """The value, or None after noting a fault."""

    def describe(self) -> str:
        """The kind in a few words, for fault texts and the reference."""

    def schema(self, shared: Definitions) -> Schema:
        """What `read` takes as JSON Schema, draft 2020-12, from the same declarations.

        It never refuses what `read` takes. It may take more: it knows neither the value that a
        unit gives, nor order, nor how a number that bears no quotes was spelled.
        """


class Compound(Protocol):
    """A kind with keys or entries below it."""

    def below(self, name: str) -> Kind | None:
        """The kind of what bears that name below it; None where nothing can."""


class Placed(Protocol):
    """A kind whose keys are figures themselves, so that one may be spelled in several ways."""

    @property
    def places(self) -> Figure:
        """What its keys are."""


def _words() -> ModuleType:
    """What people mean by a word; loaded where one is refused, which most runs never do."""
    from advisor.catalogue import usual_words

    return usual_words


def shape_of(node: Node) -> str:
    """What was read, in words, for a fault."""
    if isinstance(node, MappingNode):
        return "a mapping"
    if isinstance(node, SequenceNode):
        return "a list"
    return f'"{node.value}"' if node.value else "nothing"


def scalar(node: Node, path: str, reading: Reading, expected: str) -> str | None:
    """The text of a scalar node; None after a fault."""
    if isinstance(node, ScalarNode) and node.value != "":
        return str(node.value)
    reading.fault(node, path, shape_of(node), expected)
    return None


def value_text(node: Node, path: str, reading: Reading, expected: str) -> str | None:
    """The text of a scalar that may be any word; one that YAML takes for nothing is none."""
    text = scalar(node, path, reading, expected)
    if text in NULLS and not getattr(node, "style", None):
        reading.fault(node, path, f'"{text}"', f"{expected}, that word in quotes if it is meant")
        return None
    return text


@dataclass(frozen=True, slots=True)
class Text:
    """Free text."""

    what: str = "text"

    def read(self, node: Node, path: str, reading: Reading) -> str | None:
        return value_text(node, path, reading, self.what)

    def describe(self) -> str:
        return self.what

    def schema(self, shared: Definitions) -> Schema:
        # any scalar is text to the reader: `size: 17` is the text "17"
        return {"type": ["string", "number", "boolean"], "minLength": 1}


@dataclass(frozen=True, slots=True)
class Identity:
    """An id: lower-case letters, digits and hyphens; in `own` files equal to the file's name."""

    what: str = "id"

    def read(self, node: Node, path: str, reading: Reading) -> str | None:
        text = value_text(node, path, reading, self.describe())
        if text is not None and not ID.fullmatch(text):
            reading.fault(node, path, f'"{text}"', self.describe(), _words().id_meant(text))
            return None
        return text

    def describe(self) -> str:
        return f"{self.what}: lower-case letters, digits and hyphens"

    def schema(self, shared: Definitions) -> Schema:
        # `17`, `1e5` and `true` are ids to the reader
        types = ["string", "number", "boolean"]
        return {"type": types, "pattern": f"^{ID.pattern}$", "minimum": 0}


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a few words."""

    options: tuple[str, ...]

    def read(self, node: Node, path: str, reading: Reading) -> str | None:
        text = scalar(node, path, reading, self.describe())
        if text is None or text in self.options:
            return text
        near = _words().word_meant(text, self.options) or nearest(text, self.options)
        reading.fault(node, path, f'"{text}"', self.describe(), near)
        return None

    def describe(self) -> str:
        return "one of " + ", ".join(self.options)

    def schema(self, shared: Definitions) -> Schema:
        return {"enum": list(self.options)}


@dataclass(frozen=True, slots=True)
class Flag:
    """`true` or `false`, spelled so."""

    def read(self, node: Node, path: str, reading: Reading) -> bool | None:
        text = scalar(node, path, reading, self.describe())
        if text in ("true", "false"):
            return text == "true"
        if text is not None:
            near = _words().word_meant(text, ("true", "false"))
            reading.fault(node, path, f'"{text}"', self.describe(), near)
        return None

    def describe(self) -> str:
        return "true or false"

    def schema(self, shared: Definitions) -> Schema:
        return {"enum": [True, False, "true", "false"]}


@dataclass(frozen=True, slots=True)
class Day:
    """A calendar date, ISO 8601."""

    def read(self, node: Node, path: str, reading: Reading) -> datetime.date | None:
        text = scalar(node, path, reading, self.describe())
        if text is None:
            return None
        try:
            if DAY.fullmatch(text):
                return datetime.date.fromisoformat(text)
        except ValueError:
            pass
        reading.fault(node, path, f'"{text}"', self.describe(), _words().day_meant(text))
        return None

    def describe(self) -> str:
        return "a date such as 2026-03-11"

    def schema(self, shared: Definitions) -> Schema:
        # the format knows leap years, for whoever heeds it
        return {"type": "string", "format": "date", "pattern": f"^{DAY.pattern}$"}


@dataclass(frozen=True, slots=True)
class Clock:
    """A time of the day to the minute, ISO 8601, 24:00 its end; read as minutes."""

    def read(self, node: Node, path: str, reading: Reading) -> int | None:
        text = scalar(node, path, reading, self.describe())
        if text is None:
            return None
        if CLOCK.fullmatch(text):
            hour, _, minute = text.partition(":")
            return 60 * int(hour) + int(minute)
        reading.fault(node, path, f'"{text}"', self.describe(), _words().clock_meant(text))
        return None

    def describe(self) -> str:
        return "a time of the day such as 09:30"

    def schema(self, shared: Definitions) -> Schema:
        return {"type": "string", "pattern": f"^(?:{CLOCK.pattern})$"}


@dataclass(frozen=True, slots=True)
class Whole:
    """A whole number, at least `least` and at most `most`, a power of ten or twelve nines."""

    least: int = 1
    most: int = 10**12 - 1

    def read(self, node: Node, path: str, reading: Reading) -> int | None:
        text = scalar(node, path, reading, self.describe())
        if text is None:
            return None
        if re.fullmatch(r"[+-]?[0-9]{1,12}", text) and self.least <= int(text) <= self.most:
            return int(text)
        near = _words().number_meant(text)
        if near is not None and not (len(near) <= 12 and self.least <= int(near) <= self.most):
            near = None
        expected = self.describe()
        if self.most == 10**12 - 1 and re.fullmatch(r"\+?[0-9]{13,}", text):
            expected += ", with at most 12 digits"
        reading.fault(node, path, f'"{text}"', expected, near if near != text else None)
        return None

    def describe(self) -> str:
        most = f" and at most {self.most}" if self.most < 10**12 - 1 else ""
        return f"a whole number of at least {self.least}{most}"

    def text_pattern(self) -> str:
        """Regular expression of the number as text; a bound beyond zero and one is left out."""
        signs = {1: r"\+?(?=0*[1-9])", 0: r"(?:\+?|-(?=0+$))"}
        digits = "[0-9]{1,12}"
        if self.most < 10**12 - 1:
            digits = f"(?={digits}$)0*(?:{self.most}|[0-9]{{1,{len(str(self.most)) - 1}}})"
        return f"^{signs.get(self.least, '[+-]?')}{digits}$"

    def schema(self, shared: Definitions) -> Schema:
        number = {"type": "integer", "minimum": self.least, "maximum": self.most}
        return {"anyOf": [number, {"type": "string", "pattern": self.text_pattern()}]}


ROUNDING = 1e-15  # of a greatest value, by which another unit may read beyond it
PAIR = frozenset(("typical", "max"))
_STEPS_OF = {"temperature": "temperature-step"}  # a difference of temperatures
TRIPLE = frozenset(("low", "likely", "high"))


@dataclass(frozen=True, slots=True)
class Figure:
    """A physical figure with its unit and perhaps its uncertainty.

    `least` and `most` bound the stated value in SI; with `above`, `least` itself is refused.
    `exact` figures are limits, needs and targets: an uncertainty there would say nothing. Others
    are no surer than a standard deviation `unsure` of their logarithm, whatever they state.
    """

    dimension: str
    least: float | None = 0.0
    above: bool = False
    most: float | None = None
    exact: bool = False
    unsure: float = 0.0

    def read(self, node: Node, path: str, reading: Reading) -> Quantity | None:
        value = self._stated(node, path, reading)
        return quantities.at_least(value, self.unsure) if value and self.unsure else value

    def _stated(self, node: Node, path: str, reading: Reading) -> Quantity | None:
        value = self._read(node, path, reading)
        if self.exact and value is not None and (value.u or isinstance(node, MappingNode)):
            reading.fault(
                node, path, "an uncertain figure", f"{self.describe()}, without uncertainty"
            )
            return None
        return value

    def _read(self, node: Node, path: str, reading: Reading) -> Quantity | None:
        if type(node) is ScalarNode:
            return self._one(node, path, reading)
        if isinstance(node, MappingNode):
            names = {k.value for k, _ in node.value if isinstance(k, ScalarNode)}
            if names in (PAIR, TRIPLE) and len(node.value) == len(names):
                return self._several(node, path, reading)
            if self._ends_meant(node, path, reading):
                return None
            if names and names <= PAIR | TRIPLE:
                reading.fault(
                    node,
                    path,
                    "a mapping of " + ", ".join(sorted(names)),
                    "{typical, max} or {low, likely, high}, each key once",
                )
                return None
        meant = None
        if self.dimension == "time" and isinstance(node, SequenceNode):
            from advisor import usage

            meant = usage.weekdays([str(n.value) for n in node.value][:10])
        if meant is not None:
            reading.fault(node, path, shape_of(node), self.describe() + meant.say, meant.right)
        else:
            reading.fault(node, path, shape_of(node), self.describe())
        return None

    def _ends_meant(self, node: MappingNode, path: str, reading: Reading) -> bool:
        """Note ends of a spread that bear another word; whether there were any."""
        ends = PAIR | TRIPLE
        given = [k for k, _ in node.value if isinstance(k, ScalarNode)]
        meant = {k.value: _words().word_meant(k.value[:LONGEST], sorted(ends)) for k in given}
        if not given or None in meant.values() or ends >= set(meant):
            return False
        wanted = set(meant.values())
        if not (wanted <= PAIR or wanted <= TRIPLE):
            expected = "{typical, max} or {low, likely, high}, not of both"
            reading.fault(node, path, "a mapping of " + ", ".join(meant), expected)
            return True
        for k in given:
            if k.value not in ends:
                expected = "one of " + ", ".join(sorted(ends))
                at = f"{path}.{k.value}"
                reading.fault(k, at, f"unknown key {shape_of(k)}", expected, meant[k.value])
        return True

    def _one(self, node: ScalarNode, path: str, reading: Reading) -> Quantity | None:
        try:
            value = quantities.read_quantity(node.value, self.dimension)
        except QuantityError as error:
            reading.fault(node, path, shape_of(node), error.expected, error.nearest)
            return None
        return value if self._in_bounds(value, node, path, reading) else None

    def _in_bounds(self, value: Quantity, node: Node, path: str, reading: Reading) -> bool:
        low, high = self.least, self.most
        if low is not None and (value.nominal < low or (self.above and value.nominal == low)):
            bound = f"{'above' if self.above else 'not below'} {self._bound(low)}"
        elif high is not None and value.nominal > high * (1 + ROUNDING):
            bound = f"at most {self._bound(high)}"
        else:
            return self._reaches(value, node, path, reading)
        reading.fault(node, path, shape_of(node), f"{self.describe()}, {bound}")
        return False

    def _reaches(self, value: Quantity, node: Node, path: str, reading: Reading) -> bool:
        """Whether a figure's own uncertainty stays where the figure may be."""
        if self.least is None or not value.u:
            return True
        room = value.nominal - self.least
        if value.kind == "rectangular" and value.shape[0] > room * (1 + 1e-9):  # ± 100 % may stand
            most = quantities.show(room, _STEPS_OF.get(self.dimension, self.dimension))
            bound = f"with a half-width of at most {most}: its limits reach below "
        elif value.kind == "normal" and room <= 0:
            bound = "without uncertainty: it would reach below "
        else:
            return True
        expected = f"{self.describe()}, {bound}{self._bound(self.least)}"
        reading.fault(node, path, shape_of(node), expected)
        return False

    def _bound(self, value: float) -> str:
        return "zero" if value == 0 else quantities.show(value, self.dimension)

    def _several(self, node: MappingNode, path: str, reading: Reading) -> Quantity | None:
        read: dict[str, Quantity] = {}
        for k, v in node.value:
            value = self._stated(v, f"{path}.{k.value}", reading)
            if value is not None:
                read[k.value] = value
        if len(read) < len(node.value):
            return None
        if any(value.u for value in read.values()):
            reading.fault(
                node, path, "a spread inside a spread", "plain figures inside {…}: they are it"
            )
            return None
        try:
            if "typical" in read:
                return quantities.typical_max(read["typical"], read["max"])
            return quantities.pert(read["low"], read["likely"], read["high"])
        except QuantityError as error:
            reading.fault(node, path, "a mapping", error.expected, error.nearest)
            return None

    def below(self, name: str) -> Kind | None:
        return self if name in PAIR | TRIPLE else None

    def describe(self) -> str:
        return DIMENSIONS[self.dimension].wanted

    def schema(self, shared: Definitions) -> Schema:
        found = shared.refer(self._name(), lambda: self._body(shared))
        return {**found, "x-unit": DIMENSIONS[self.dimension].si_unit}

    def key_schema(self) -> Schema:
        """What an exact figure is as a key."""
        pattern = quantities.text_pattern(self.dimension, self._sign(), spread=False)
        return {"pattern": pattern, "maxLength": quantities.LONGEST}

    def _name(self) -> str:
        """The name of its schema: the dimension and the bounds."""
        name = self.dimension
        if self.least is None:
            name += ".signed"
        elif self.least:
            name += f".from-{self.least:g}".replace("--", "-minus-")
        if self.above:
            name += ".positive" if self.least == 0 else ".above"
        if self.most is not None:
            name += f".to-{self.most:g}"
        return name + ".exact" * self.exact

    def _sign(self) -> Sign:
        """What the bounds say of the number as written, whatever its unit."""
        if self.least is None or self.least < 0 or DIMENSIONS[self.dimension].offsets:
            return "any"
        return "positive" if self.above or self.least > 0 else "not-negative"

    def _body(self, shared: Definitions) -> Schema:
        forms = self._forms()
        if self.exact:
            return {"description": self.describe(), "anyOf": forms}
        stated = replace(self, exact=True)
        positive = stated
        if self._sign() != "positive" and not DIMENSIONS[self.dimension].offsets:
            positive = replace(stated, least=0.0, above=True)
        pair = {name: positive.schema(shared) for name in ("typical", "max")}
        triple = {name: stated.schema(shared) for name in ("low", "likely", "high")}
        return {
            "description": self.describe() + ", perhaps with its uncertainty",
            "anyOf": [*forms, exactly(pair), exactly(triple)],
        }

    def _forms(self) -> list[Schema]:
        """A figure as text and, where it has no unit, as a bare number."""
        dimension = DIMENSIONS[self.dimension]
        text = {
            "type": "string",
            "pattern": quantities.text_pattern(self.dimension, self._sign(), spread=not self.exact),
            "maxLength": quantities.LONGEST,
            "examples": dimension.example.split(" or "),
        }
        if not dimension.bare:
            return [text]
        number: Schema = {"type": "number"}
        if self.least is not None:
            number["exclusiveMinimum" if self.above else "minimum"] = self.least
        if self.most is not None:
            number["maximum"] = self.most
        return [number, text]
