"""`schema`: the keys of each kind of file, listed and as JSON Schema, from their declarations."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from advisor.catalogue.criteria import CRITERIA
from advisor.catalogue.curves import CurveOf, TableOf
from advisor.catalogue.fields import Declared, Either, ListOf, MapOf, Record, specification
from advisor.catalogue.kinds import Figure, Identity, Kind
from advisor.catalogue.project import ProjectFile
from advisor.catalogue.schema_bench import InstrumentFile, Notes
from advisor.catalogue.schema_family import FamilyFile
from advisor.catalogue.schema_hours import HoursLog
from advisor.catalogue.schema_map import Column, ColumnKind, TableMap
from advisor.catalogue.schema_parts import Answer, AnswerKind, Kernel, Part
from advisor.catalogue.schema_product import PrioritiesKind, Priority, Product
from advisor.catalogue.schema_record import DecisionRecord, FamilyRecord
from advisor.catalogue.schema_supply import (
    AddOn,
    AtTemperature,
    Cell,
    Converter,
    TemperatureTableKind,
)
from advisor.dataclass import dataclass
from advisor.dimensions import DIMENSIONS
from advisor.faults import Fault, FaultError, nearest
from advisor.figures import NAME_KEYS
from advisor.quantities import show
from advisor.studies.json_schema import document
from advisor.studies.results import frame, plain

if TYPE_CHECKING:
    import pandas as pd

# kind of file -> where it stands, and what may stand in it
KINDS: Mapping[str, tuple[str, Kind]] = {
    "part": ("catalog/parts/ID.yaml", Record(Part)),
    "cell": ("catalog/cells/ID.yaml", Record(Cell)),
    "converter": ("catalog/converters/ID.yaml", Record(Converter)),
    "addon": ("catalog/addons/ID.yaml", Record(AddOn)),
    "kernels": ("catalog/kernels.yaml", MapOf(Record(Kernel), "kernel")),
    "product": ("profiles/ID.yaml", Record(Product)),
    "family": ("a family of products, for family", Record(FamilyFile)),
    "record": ("the record of a decision, of decide and for revisit", Record(DecisionRecord)),
    "family-record": ("the record of a family's decision, likewise", Record(FamilyRecord)),
    "notes": ("bench notes, for distil and rehearse", Record(Notes)),
    "instrument": ("a meter, named by bench notes", Record(InstrumentFile)),
    "hours": ("a log of hours, of hours add", Record(HoursLog)),
    "map": ("the map of a table, for catalog import and catalog quote", Record(TableMap)),
    "project": (".part-advisor.yaml, in the working folder or above", Record(ProjectFile)),
}


@dataclass(frozen=True, slots=True)
class KeyRow:
    """A YAML key: its dotted path with `<names>` of the user's own, and what may stand behind it.

    `unit` is the SI unit that JSON and CSV give the figure in, None where there is none.
    `informational` keys are shown or warned about and enter no figure.
    """

    path: str
    title: str
    what: str
    unit: str | None
    default: str | None
    required: bool
    informational: bool


@dataclass(frozen=True, slots=True)
class Reference:
    """Every key of a kind of file, in the order of declaration, and the same as JSON Schema."""

    kind: str
    file: str
    keys: tuple[KeyRow, ...]
    document: Mapping[str, Any]

    def rows(self) -> list[dict[str, Any]]:
        """The keys as rows."""
        return [plain(row) for row in self.keys]

    def to_frame(self) -> pd.DataFrame:
        """The keys as a data frame, a row a key."""
        return frame(self.rows())


def schema(kind: str) -> Reference:
    """The keys of a kind of file.

    Parameters
    ----------
    kind : a key of `KINDS`: part, cell, converter, addon, kernels, product, family, record,
    family-record, notes, instrument, hours, map or project.

    Raises
    ------
    FaultError
        For another kind.
    """
    if kind not in KINDS:
        expected = "one of " + ", ".join(KINDS)
        raise FaultError((Fault("KIND", f'"{kind}"', expected, nearest=nearest(kind, KINDS)),))
    file, inside = KINDS[kind]
    return Reference(kind, file, tuple(_inside(inside, "", False)), document(kind, inside))


def _inside(kind: Kind, at: str, informational: bool) -> Iterator[KeyRow]:
    """The keys below a key; none below a figure or a word."""
    if isinstance(kind, Record):
        yield from _record(kind.cls, at, informational)
    elif isinstance(kind, Either):
        yield from _inside(kind.record, at, informational)
    elif isinstance(kind, ListOf):
        yield from _inside(kind.kind, f"{at}.<{_entry(kind) or 'number'}>", informational)
    elif isinstance(kind, MapOf):
        yield from _inside(kind.kind, f"{at}.<{kind.names}>".lstrip("."), informational)
    elif isinstance(kind, AnswerKind):
        yield from _record(Answer, at, informational)
    elif isinstance(kind, ColumnKind):
        yield from _record(Column, at, informational)
    elif isinstance(kind, TemperatureTableKind):
        yield from _record(AtTemperature, f"{at}.<temperature>", informational)
    elif isinstance(kind, PrioritiesKind):
        for row in _record(Priority, f"{at}.<criterion>", informational):
            anchor = not row.path.endswith(".weight")
            yield dataclasses.replace(row, what=_ANCHORS, unit=None) if anchor else row


def _record(cls: type[Any], at: str, informational: bool) -> Iterator[KeyRow]:
    defaults = {f.name: _default(f) for f in dataclasses.fields(cls)}
    for name, declared in specification(cls).items():
        path = f"{at}.{name}".lstrip(".")
        shown = informational or declared.informational
        yield KeyRow(
            path=path,
            title=declared.title,
            what=words(declared.kind),
            unit=_unit(declared),
            default=defaults[declared.attribute],
            required=declared.required,
            informational=shown,
        )
        yield from _inside(declared.kind, path, shown)


def _entry(kind: ListOf) -> str:
    """The key that names a list's entries in paths."""
    if kind.named_by or not isinstance(kind.kind, Record):
        return kind.named_by
    spec = specification(kind.kind.cls)
    return " or ".join(name for name in NAME_KEYS if name in spec)


def _default(field: dataclasses.Field[Any]) -> str | None:
    """What holds when a key is absent, in words; None: then it is absent, which is never zero."""
    value = field.default
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (str, int)):
        return str(value)
    if isinstance(value, tuple) and value:
        return "[" + ", ".join(value) + "]"
    return None


def _unit(declared: Declared) -> str | None:
    kind = declared.kind
    while isinstance(kind, (ListOf, MapOf)):
        kind = kind.kind
    while isinstance(kind, TableOf):
        kind = kind.kind
    if isinstance(kind, CurveOf):
        kind = kind.y
    if not isinstance(kind, Figure) or DIMENSIONS[kind.dimension].si_unit == "1":
        return None
    return DIMENSIONS[kind.dimension].si_unit


def words(kind: Kind) -> str:
    """What may stand behind a key, in words, with its bounds; its own keys follow it."""
    if isinstance(kind, Figure):
        return kind.describe() + _bounds(kind)
    if isinstance(kind, Identity):
        return "an id of lower-case letters, digits and hyphens"
    if isinstance(kind, (Record, AnswerKind, ColumnKind)):
        also = "" if isinstance(kind, Record) else f"; or {kind.describe()}"
        return f"the keys below{also}"
    if isinstance(kind, ListOf):
        return f"a list, each entry {words(kind.kind)}"
    if isinstance(kind, MapOf):
        names = f"{kind.names} ({', '.join(kind.keys)})" if kind.keys else kind.names
        return f"a mapping of {names} to {words(kind.kind)}"
    if isinstance(kind, PrioritiesKind):
        return f"a mapping of criterion to the keys below; {kind.describe()}"
    return kind.describe()


def _bounds(kind: Figure) -> str:
    """The bounds of a figure in words; that one is not negative goes without saying."""
    text = ""
    if kind.least is None:
        text += ", perhaps negative"
    elif kind.above and kind.least == 0:
        text += ", above zero"
    elif kind.least:
        low = show(kind.least, kind.dimension, 5)
        text += f", {'above' if kind.above else 'at least'} {low}"
    if kind.most is not None:
        text += f", at most {show(kind.most, kind.dimension)}"
    return text


_ANCHORS = "a figure in the criterion's own unit: " + "; ".join(
    f"{name} {Figure(one.dimension).describe()}" for name, one in CRITERIA.items()
)
