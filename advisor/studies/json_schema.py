"""JSON Schema (draft 2020-12) of the files, for editors that complete and check as one writes.

The schema says what a single key may hold. Ids that must exist, bounds on figures that bear a
unit, and rules that join keys are beyond it: `catalog check` and `product check` have the last
word.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping
from typing import Any

from advisor.catalogue.criteria import CRITERIA, OWN
from advisor.catalogue.fields import Either, ListOf, MapOf, Record, specification
from advisor.catalogue.kinds import (
    Choice,
    CurveOf,
    Day,
    Figure,
    Flag,
    Identity,
    Kind,
    Text,
    Unit,
    Whole,
)
from advisor.catalogue.schema_parts import ANSWERS, TEMPERATURE, Answer, AnswerKind
from advisor.catalogue.schema_product import PrioritiesKind, Priority
from advisor.catalogue.schema_supply import AtTemperature, TemperatureTableKind
from advisor.quantities import DIMENSIONS

DRAFT = "https://json-schema.org/draft/2020-12/schema"

_NUMBER = r"(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)"
_POWER = r"(?:[eE][+-]?[0-9]{1,3})?"
_ABOUT = r"\s*(?:±|\+/-)\s*"
_COVER = r"\s*\(\s*k\s*=\s*[0-9]+(?:\.[0-9]+)?\s*\)"
_RATE_OF_MONEY = r"[A-Z]{3}\s*/\s*(?:h|hour|day|min)"


def document(name: str, kind: Kind) -> dict[str, Any]:
    """The schema of one kind of file.

    Parameters
    ----------
    name : of the kind of file. kind : what may stand in it, a `Record` or a `MapOf`.
    """
    builder = _Builder()
    root = builder.of(kind)
    # the file's own record stands at the root rather than behind a reference
    if "$ref" in root:
        root = builder.definitions.pop(root["$ref"].rpartition("/")[2])
    return {
        "$schema": DRAFT,
        "$id": f"urn:part-advisor:schema:{name}",
        **root,
        "$defs": dict(sorted(builder.definitions.items())),
    }


def figure_pattern(kind: Figure, *, spread: bool = True) -> str:
    """Regular expression of a figure as text, anchored; without `spread` no uncertainty in it."""
    sign = "[+-]?" if kind.least is None or kind.least < 0 else r"\+?"
    dimension = DIMENSIONS[kind.dimension]
    units = sorted((u for u in dimension.units if u), key=lambda u: (-len(u), u))
    written = [re.escape(u).replace("µ", "[uµμ]").replace("/", r"\s*/\s*") for u in units]
    unit = f"(?:{'|'.join(written)})" if written else ""
    if kind.dimension == "money-rate":
        unit = _RATE_OF_MONEY
    own = f"{unit}?" if unit and dimension.bare else unit
    if not spread:
        return rf"^{sign}{_NUMBER}{_POWER}\s*{own}$"
    also = f"(?:%|{unit})" if unit else "%"
    if dimension.bare:
        also += "?"
    return (
        rf"^{sign}{_NUMBER}(?:"
        rf"\([0-9]+\){_POWER}\s*{own}"
        rf"|{_POWER}\s*{own}"
        rf"|{_POWER}{_ABOUT}{_NUMBER}{_POWER}\s*{own}(?:{_COVER})?"
        rf"|{_POWER}\s*{own}{_ABOUT}{_NUMBER}{_POWER}\s*{also}(?:{_COVER})?"
        r")$"
    )


class _Builder:
    """Turns declared kinds into schemas; what is used often goes into the definitions."""

    def __init__(self) -> None:
        self.definitions: dict[str, Any] = {}

    def of(self, kind: Kind) -> dict[str, Any]:
        """The schema of what may stand behind a key."""
        if isinstance(kind, Record):
            return self.record(kind.cls)
        if isinstance(kind, Figure):
            return self.figure(kind)
        if isinstance(kind, CurveOf):
            curve = {
                "type": "object",
                "minProperties": 1,
                "propertyNames": {"pattern": figure_pattern(kind.x, spread=False)},
                "additionalProperties": self.figure(kind.y),
            }
            return {"anyOf": [self.figure(kind.y), curve]} if kind.constant else curve
        if isinstance(kind, ListOf):
            found: dict[str, Any] = {"type": "array", "items": self.of(kind.kind)}
            if kind.named_by:
                found["description"] = f"no two entries with the same {kind.named_by}"
            return found
        if isinstance(kind, MapOf):
            return {
                "type": "object",
                **self.names(kind),
                "additionalProperties": self.of(kind.kind),
            }
        return self.own_kind(kind)

    def names(self, kind: MapOf) -> dict[str, Any]:
        """What the keys of a mapping may be."""
        if kind.whole_keys:
            return {"propertyNames": {"pattern": r"^\+?0*[1-9][0-9]{0,11}$"}}
        if kind.keys:
            return {"propertyNames": {"enum": list(kind.keys)}}
        return {"propertyNames": {"minLength": 1}}

    def own_kind(self, kind: Kind) -> dict[str, Any]:
        """The kinds that are one scalar, or that one key only has."""
        if isinstance(kind, Text):
            # any scalar is text to the reader: `size: 17` is the text "17"
            return {"type": ["string", "number", "boolean"], "minLength": 1}
        if isinstance(kind, Identity):
            return {"type": ["string", "integer"], "pattern": "^[a-z0-9][a-z0-9-]*$"}
        if isinstance(kind, Choice):
            return {"enum": list(kind.options)}
        if isinstance(kind, Flag):
            return {"type": "boolean"}
        if isinstance(kind, Day):
            return {
                "type": "string",
                "format": "date",
                "pattern": "^[0-9]{4}-[0-9]{2}-[0-9]{2}$",
            }
        if isinstance(kind, Unit):
            return {"enum": kind.spellings()}
        if isinstance(kind, Either):
            return {"anyOf": [self.of(kind.plain), self.of(kind.record)]}
        if isinstance(kind, Whole):
            return {"type": "integer", "minimum": kind.least, "maximum": 10**12 - 1}
        if isinstance(kind, AnswerKind):
            words = {"type": "string", "pattern": rf"^\s*(?:{'|'.join(ANSWERS)})\s*(?:,.*)?$"}
            return {"anyOf": [words, self.record(Answer)]}
        if isinstance(kind, TemperatureTableKind):
            return {
                "type": "object",
                "minProperties": 1,
                "propertyNames": {"pattern": figure_pattern(TEMPERATURE)},
                "additionalProperties": self.record(AtTemperature),
            }
        if isinstance(kind, PrioritiesKind):
            return self.priorities()
        raise TypeError(f"no JSON Schema for {type(kind).__name__}")

    def record(self, cls: type[Any]) -> dict[str, Any]:
        """A reference to the schema of a record."""
        name = re.sub(r"(?<!^)(?=[A-Z])", "-", cls.__name__).lower()
        if name not in self.definitions:
            self.definitions[name] = self.body(cls)
        return {"$ref": f"#/$defs/{name}"}

    def body(self, cls: type[Any], **instead: dict[str, Any]) -> dict[str, Any]:
        """The schema of a record in full; `instead` puts other schemas behind some keys."""
        absent = {f.name: _default(f) for f in dataclasses.fields(cls)}
        spec = specification(cls)
        properties: dict[str, Any] = {}
        for name, declared in spec.items():
            entry: dict[str, Any] = {"title": declared.title}
            entry |= instead[name] if name in instead else self.of(declared.kind)
            if absent[declared.attribute] is not None:
                entry["default"] = absent[declared.attribute]
            if declared.informational:
                entry["x-informational"] = True
            properties[name] = entry
        found: dict[str, Any] = {
            "type": "object",
            "description": (cls.__doc__ or "").partition("\n")[0],
            "properties": properties,
            "additionalProperties": False,
        }
        required = [name for name, declared in spec.items() if declared.required]
        if required:
            found["required"] = required
        return found

    def figure(self, kind: Figure) -> dict[str, Any]:
        """A reference to the schema of a figure, its SI unit beside it."""
        name = kind.dimension
        if kind.least is None:
            name += ".signed"
        if kind.above:
            name += ".positive"
        if kind.most is not None:
            name += f".to-{kind.most:g}"
        if name not in self.definitions:
            stated = self.forms(kind, spread=False)
            one_of_it = {"$ref": f"#/$defs/{name}.stated"}
            self.definitions[f"{name}.stated"] = {"anyOf": stated}
            self.definitions[name] = {
                "description": kind.describe() + ", perhaps with its uncertainty",
                "anyOf": [
                    *self.forms(kind, spread=True),
                    _exactly(one_of_it, "typical", "max"),
                    _exactly(one_of_it, "low", "likely", "high"),
                ],
            }
        return {"$ref": f"#/$defs/{name}", "x-unit": DIMENSIONS[kind.dimension].si_unit}

    def forms(self, kind: Figure, *, spread: bool) -> list[dict[str, Any]]:
        """A figure as text and, where it has no unit, as a bare number."""
        dimension = DIMENSIONS[kind.dimension]
        text = {
            "type": "string",
            "pattern": figure_pattern(kind, spread=spread),
            "examples": dimension.example.split(" or "),
        }
        if not dimension.bare:
            return [text]
        number: dict[str, Any] = {"type": "number"}
        if kind.least is not None:
            number["exclusiveMinimum" if kind.above else "minimum"] = kind.least
        if kind.most is not None:
            number["maximum"] = kind.most
        return [number, text]

    def priorities(self) -> dict[str, Any]:
        """Every criterion with anchors in its own unit."""
        anchors = {
            name: Figure(one.dimension, least=None if one.dimension == "score" else 0.0)
            for name, one in CRITERIA.items()
        }
        own = Figure("score", least=None)
        return {
            "type": "object",
            "properties": {name: self.priority(figure) for name, figure in anchors.items()},
            "patternProperties": {"^" + re.escape(OWN) + ".": self.priority(own)},
            "additionalProperties": False,
        }

    def priority(self, anchor: Figure) -> dict[str, Any]:
        """A weight, and anchors of one dimension."""
        figure = self.figure(anchor)
        return self.body(Priority, poor=figure, good=figure)


def _exactly(inside: Mapping[str, Any], *names: str) -> dict[str, Any]:
    """A mapping of exactly these keys."""
    return {
        "type": "object",
        "properties": {name: dict(inside) for name in names},
        "required": list(names),
        "additionalProperties": False,
    }


def _default(field: dataclasses.Field[Any]) -> Any:
    """What holds when a key is absent; None: then it is absent, which is never zero."""
    value = field.default
    if isinstance(value, (bool, str, int)):
        return value
    if isinstance(value, tuple):
        return list(value)
    if field.default_factory is not dataclasses.MISSING:
        return field.default_factory()
    return None
