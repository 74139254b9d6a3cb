"""How a YAML key is declared once and read with its place.

A record is a frozen dataclass; each of its fields is declared by `key(kind, title)`. It
carries what a reader of the file, the fault text and the reference need: the title, the unit (in
the kind), whether the key may be absent, and whether it is informational, that is, shown but
never computed with. Unknown keys and duplicates are faults; so is a value of the wrong shape.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Hashable, Mapping
from functools import cache
from typing import Any, cast

from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from advisor.catalogue.currency import Currency
from advisor.catalogue.definitions import Definitions, Schema
from advisor.catalogue.kinds import (
    PAIR,
    TRIPLE,
    Figure,
    Kind,
    Reading,
    Whole,
    scalar,
    shape_of,
)
from advisor.dataclass import dataclass, field
from advisor.faults import LONGEST, nearest
from advisor.figures import name_of


@dataclass(frozen=True, slots=True)
class ListOf:
    """A list; where `named_by` is given, no two entries may bear the same name."""

    kind: Kind
    named_by: str = ""

    def read(self, node: Node, path: str, reading: Reading) -> tuple[Any, ...] | None:
        if not isinstance(node, SequenceNode):
            reading.fault(node, path, shape_of(node), self.describe())
            return None
        entries = []
        seen: set[str] = set()
        good = True
        for i, item in enumerate(node.value):
            name = name_of(item) or str(i + 1)
            value = self.kind.read(item, f"{path}.{name}", reading)
            if self.named_by and name in seen:
                reading.fault(item, f"{path}.{name}", f'"{name}" twice', "each entry named once")
                good = False
            seen.add(name)
            if value is None:
                good = False
            elif hasattr(value, "entry"):
                value = dataclasses.replace(value, entry=name)
            entries.append(value)
        return tuple(entries) if good else None

    def below(self, name: str) -> Kind | None:
        return self.kind

    def describe(self) -> str:
        return f"a list, each entry {self.kind.describe()}"

    def schema(self, shared: Definitions) -> Schema:
        found: Schema = {"type": "array", "items": self.kind.schema(shared)}
        if self.named_by:
            found["description"] = f"no two entries with the same {self.named_by}"
        return found


@dataclass(frozen=True, slots=True)
class MapOf:
    """A mapping whose keys are the user's names, or codes of currencies."""

    kind: Kind
    names: str = "name"
    whole_keys: bool = False
    keys: tuple[str, ...] = ()
    currencies: bool = False

    def read(self, node: Node, path: str, reading: Reading) -> Mapping[Any, Any] | None:
        if not isinstance(node, MappingNode):
            reading.fault(node, path, shape_of(node), self.describe())
            return None
        out: dict[Any, Any] = {}
        good = True
        for k, v in node.value:
            name: Any = scalar(k, path, reading, f"a {self.names}")
            if name is None:
                good = False
                continue
            at = f"{path}.{name}" if path else name
            if self.whole_keys:
                name = Whole().read(k, at, reading)
            elif self.currencies:
                name = Currency().read(k, at, reading)
            elif self.keys and name not in self.keys:
                reading.fault(
                    k, at, f'"{name}"', "one of " + ", ".join(self.keys), nearest(name, self.keys)
                )
                name = None
            if name in out and name is not None:
                reading.fault(k, at, f'"{name}" twice', "each key once")
                good = False
            value = self.kind.read(v, at, reading)
            if value is None or name is None:
                good = False
            else:
                out[name] = value
        return out if good else None

    def below(self, name: str) -> Kind | None:
        return self.kind

    def describe(self) -> str:
        return f"a mapping of {self.names} to {self.kind.describe()}"

    def schema(self, shared: Definitions) -> Schema:
        names: Schema = {"minLength": 1}
        if self.whole_keys:
            names = {"pattern": Whole().text_pattern()}
        elif self.currencies:
            names = Currency().key_schema()
        elif self.keys:
            names = {"enum": list(self.keys)}
        return {
            "type": "object",
            "propertyNames": names,
            "additionalProperties": self.kind.schema(shared),
        }


@dataclass(frozen=True, slots=True)
class Record:
    """A mapping with the keys that a dataclass declares."""

    cls: type[Any]

    def read(self, node: Node, path: str, reading: Reading) -> Any:
        return read_record(self.cls, node, path, reading)

    def below(self, name: str) -> Kind | None:
        found = specification(self.cls).get(name)
        return None if found is None else found.kind

    def describe(self) -> str:
        return "a mapping of " + ", ".join(specification(self.cls))

    def schema(self, shared: Definitions) -> Schema:
        name = re.sub(r"(?<!^)(?=[A-Z])", "-", self.cls.__name__).lower()
        return shared.refer(name, lambda: record_schema(self.cls, shared))


@dataclass(frozen=True, slots=True)
class Either:
    """A figure, or a record (or names to figures) where a mapping stands that is not the figure's
    own."""

    plain: Figure
    record: Record | MapOf

    def read(self, node: Node, path: str, reading: Reading) -> Any:
        names = (
            {k.value for k, _ in node.value if isinstance(k, ScalarNode)}
            if isinstance(node, MappingNode)
            else set()
        )
        kind: Kind = self.record if names - PAIR - TRIPLE else self.plain
        return kind.read(node, path, reading)

    def below(self, name: str) -> Kind | None:
        return self.plain.below(name) or self.record.below(name)

    def describe(self) -> str:
        return f"{self.plain.describe()}, or {self.record.describe()}"

    def schema(self, shared: Definitions) -> Schema:
        record = {"minProperties": 1, **self.record.schema(shared)}
        return {"anyOf": [self.plain.schema(shared), record]}


@dataclass(frozen=True, slots=True)
class Declared:
    """One declared key of a record."""

    attribute: str
    kind: Kind
    title: str
    required: bool
    informational: bool


def key(
    kind: Kind,
    title: str,
    *,
    default: Any = None,
    required: bool = False,
    informational: bool = False,
    name: str = "",
) -> Any:
    """Declare a field of a record.

    Parameters: `kind` what may stand behind the key, `title` its meaning in a few words, `default`
    what holds when the key is absent (None: absent, which is never zero), `required` for ids,
    `informational` when the key is shown or warned about but enters no figure, `name` the key
    where it is not the attribute's name with hyphens.
    """
    metadata = {
        "kind": kind,
        "title": title,
        "required": required,
        "informational": informational,
        "name": name,
    }
    if isinstance(default, (dict, list)):
        return field(default_factory=lambda: type(default)(default), metadata=metadata)
    return field(default=default, metadata=metadata)


def specification(cls: type[Any]) -> Mapping[str, Declared]:
    """YAML key to declaration, in the order of declaration."""
    return _specification(cast(Hashable, cls))


@cache
def _specification(cls: Any) -> Mapping[str, Declared]:
    out = {}
    for f in dataclasses.fields(cls):
        if "kind" in f.metadata:
            m = f.metadata
            name = m["name"] or f.name.replace("_", "-")
            out[name] = Declared(
                attribute=f.name,
                kind=m["kind"],
                title=m["title"],
                required=m["required"],
                informational=m["informational"],
            )
    return out


def _with(cls: type[Any], instead: Mapping[str, Kind] | None) -> Mapping[str, Declared]:
    """The declarations of a record, other kinds behind some of its keys."""
    spec = specification(cls)
    if not instead:
        return spec
    return {
        name: dataclasses.replace(declared, kind=instead.get(name, declared.kind))
        for name, declared in spec.items()
    }


def record_schema(
    cls: type[Any], shared: Definitions, instead: Mapping[str, Kind] | None = None
) -> Schema:
    """What `read_record` takes as JSON Schema: keys with titles, defaults and marks."""
    defaults = {f.name: _default(f) for f in dataclasses.fields(cls)}
    spec = _with(cls, instead)
    properties: Schema = {}
    for name, declared in spec.items():
        entry = {"title": declared.title, **declared.kind.schema(shared)}
        if defaults[declared.attribute] is not None:
            entry["default"] = defaults[declared.attribute]
        if declared.informational:
            entry["x-informational"] = True
        properties[name] = entry
    found: Schema = {
        "type": "object",
        "description": (cls.__doc__ or "").partition("\n")[0],
        "properties": properties,
        "additionalProperties": False,
    }
    required = [name for name, declared in spec.items() if declared.required]
    return found | {"required": required} if required else found


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


def _unknown(
    cls: type[Any], node: Node, path: str, reading: Reading, spec: Mapping[str, Declared]
) -> None:
    """Note a key that a record does not have, with the one that is meant and where it belongs."""
    from advisor.catalogue.usual_words import key_meant

    near, expected = None, "one of " + ", ".join(spec)
    if isinstance(node, ScalarNode) and len(node.value) <= LONGEST:
        near = key_meant(cls.__name__, node.value, spec)
        if near is not None and near not in spec:
            expected = f"{near}; here {expected}"
        near = near or nearest(node.value, spec)
    reading.fault(node, path, f"unknown key {shape_of(node)}", expected, near)


def _read(kind: Kind, node: Node, path: str, reading: Reading) -> Any:
    """A node's value, or None after noting its faults; from what is known."""
    if reading.read is None:
        return kind.read(node, path, reading)
    known = reading.read.get(id(node))
    if known is None:
        before = len(reading.log.faults)
        known = node, kind.read(node, path, reading)
        if len(reading.log.faults) == before:
            reading.read[id(node)] = known
    return known[1]


def read_record(
    cls: type[Any],
    node: Node,
    path: str,
    reading: Reading,
    instead: Mapping[str, Kind] | None = None,
) -> Any:
    """Read a mapping node into `cls`; None after noting every fault found in it.

    `instead` puts other kinds behind some of its keys.
    """
    spec = _with(cls, instead)
    if not isinstance(node, MappingNode):
        reading.fault(node, path, shape_of(node), "a mapping of " + ", ".join(spec))
        return None
    values: dict[str, Any] = {}
    seen = set()
    good = True
    prefix = f"{path}." if path else ""
    for k, v in node.value:
        name = k.value if isinstance(k, ScalarNode) else None
        declared = spec.get(name) if isinstance(name, str) else None
        if declared is None:
            _unknown(cls, k, f"{prefix}{name}" if isinstance(name, str) else path, reading, spec)
            good = False
            continue
        if name in seen:
            reading.fault(k, f"{prefix}{name}", f'"{name}" twice', "each key once")
            good = False
            continue
        seen.add(name)
        value = _read(declared.kind, v, f"{prefix}{name}", reading)
        if value is None:
            good = False
        values[declared.attribute] = value
    for name, declared in spec.items():
        if declared.required and name not in seen:
            reading.fault(
                node, f"{prefix}{name}", "no such key", f"{declared.title}: it must stand"
            )
            good = False
    return cls(**values) if good else None
