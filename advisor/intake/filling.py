"""From keys and texts to a part: a document that is read and checked as any, and its YAML."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any

from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from advisor.catalogue import compose, rules
from advisor.catalogue.compose import Line
from advisor.catalogue.curves import CurveOf
from advisor.catalogue.edit import Tree, flow, placed
from advisor.catalogue.fields import ListOf, MapOf, Record, read_record, specification
from advisor.catalogue.kinds import PAIR, TRIPLE, Figure, Kind, Reading
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import AnswerKind, Part
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError, FaultLog, Place
from advisor.intake.told import Keys, Put
from advisor.source import CellMark, Document, read_text

ROOT = Record(Part)
WIDEST = 96  # characters of a mapping on one line
EMPTY = {"{}", "[]"}
_MAP, _SEQ, _STR = (f"tag:yaml.org,2002:{name}" for name in ("map", "seq", "str"))
# figures and words that read as themselves in a block and in braces
_PLAIN = re.compile(r"[A-Za-z0-9.+µ(-][A-Za-z0-9 .+±/%µμΩ°²()=-]*")
_DASH = re.compile(r"-($|[ .-])|.*\s$")


@dataclass(slots=True)
class Branch:
    """Keys below a key, in the order of the declarations."""

    kind: Kind
    below: dict[str, Branch | Put]


def branch(puts: Mapping[Keys, Put], log: FaultLog, part: str) -> Branch:
    """Put texts behind their keys.

    A `typical` alone is a plain figure; other ends of a spread that stand alone are faults.
    """
    root = Branch(ROOT, {})
    for keys, put in puts.items():
        at = root
        for depth, name in enumerate(keys[:-1]):
            kind = put.target.steps[depth + 1].inside
            inner = at.below.get(name)
            if isinstance(inner, Put):
                dotted = ".".join(keys[: depth + 1])
                read = f'"{inner.text}" and keys below it'
                log.add(Fault(f"{part}:{dotted}", read, "one of the two", put.place))
                break
            if inner is None:
                inner = at.below[name] = Branch(kind, {})
            at = inner
        else:
            if isinstance(at.below.get(keys[-1]), Branch):
                read = f'"{put.text}" and keys below it'
                log.add(Fault(f"{part}:{'.'.join(keys)}", read, "one of the two", put.place))
            else:
                at.below[keys[-1]] = put
    _ordered(root)
    _spreads(root, log, part, ())
    return root


def _ordered(at: Branch) -> None:
    if isinstance(at.kind, Record):
        order = {name: i for i, name in enumerate(specification(at.kind.cls))}
        at.below = dict(sorted(at.below.items(), key=lambda kv: order.get(kv[0], 0)))
    elif isinstance(at.kind, MapOf) and at.kind.whole_keys:
        at.below = dict(
            sorted(at.below.items(), key=lambda kv: int(kv[0]) if kv[0].isdecimal() else 0)
        )
    for inner in at.below.values():
        if isinstance(inner, Branch):
            _ordered(inner)


def _spreads(at: Branch, log: FaultLog, part: str, keys: Keys) -> None:
    for name, inner in list(at.below.items()):
        if not isinstance(inner, Branch):
            continue
        here = (*keys, name)
        names = set(inner.below)
        if isinstance(inner.kind, (Figure, CurveOf)) and names and names <= PAIR | TRIPLE:
            typical = inner.below.get("typical")
            if names == {"typical"} and isinstance(typical, Put):
                at.below[name] = typical
            elif names not in (PAIR, TRIPLE):
                one = next(p for p in inner.below.values() if isinstance(p, Put))
                read = " and ".join(sorted(names)) + " alone"
                expected = "typical and max, or low, likely and high, in the same row"
                log.add(Fault(f"{part}:{'.'.join(here)}", read, expected, one.place))
        else:
            _spreads(inner, log, part, here)


def _pieces(text: str) -> list[str]:
    """The entries of a list that a cell holds."""
    return [piece.strip() for piece in re.split(r"[,;]", text) if piece.strip()]


def node(at: Branch | Put, kind: Kind) -> Node:
    """The document that a part's keys make, each value at its cell."""
    if isinstance(at, Put):
        mark: Any = CellMark(at.place)
        if at.text in EMPTY and not isinstance(kind, Figure):
            made = (MappingNode, _MAP) if at.text == "{}" else (SequenceNode, _SEQ)
            return made[0](made[1], [], mark, mark)
        if isinstance(kind, ListOf):
            items = [ScalarNode(_STR, one, mark, mark, style='"') for one in _pieces(at.text)]
            return SequenceNode(_SEQ, items, mark, mark)
        return ScalarNode(_STR, at.text, mark, mark, style='"')
    mark = CellMark(_first(at).place)
    pairs: list[Any] = []
    for name, inner in at.below.items():
        value = node(inner, _kind(at, name, inner))
        if isinstance(at.kind, ListOf):
            named = ScalarNode(_STR, at.kind.named_by, mark, mark)
            item = ScalarNode(_STR, name, mark, mark, style='"')
            rest = value.value if isinstance(value, MappingNode) else []
            pairs.append(MappingNode(_MAP, [(named, item), *rest], mark, mark))
        else:
            pairs.append((ScalarNode(_STR, name, value.start_mark, value.end_mark), value))
    if isinstance(at.kind, ListOf):
        return SequenceNode(_SEQ, pairs, mark, mark)
    return MappingNode(_MAP, pairs, mark, mark)


def _first(at: Branch | Put) -> Put:
    while isinstance(at, Branch):
        at = next(iter(at.below.values()))
    return at


def _kind(at: Branch, name: str, inner: Branch | Put) -> Kind:
    if isinstance(inner, Branch):
        return inner.kind
    below = getattr(at.kind, "below", None)
    found = below(name) if below is not None else None
    return inner.target.kind if found is None else found


@lru_cache(maxsize=65536)
def plain(text: str) -> str:
    """A text as YAML, in quotes where it needs them."""
    figure = _PLAIN.fullmatch(text) and not _DASH.match(text) and not text[0].isalpha()
    return text if figure else compose.text(text)


def value(at: Branch | Put, kind: Kind) -> str | Tree:
    """What goes behind a key as YAML: a text, or keys with theirs."""
    if isinstance(at, Put):
        if at.text in EMPTY and not isinstance(kind, Figure):
            return at.text
        if isinstance(kind, ListOf):
            return "[" + ", ".join(plain(one) for one in _pieces(at.text)) + "]"
        return plain(at.text)
    inner = {plain(name): value(one, _kind(at, name, one)) for name, one in at.below.items()}
    if isinstance(at.kind, ListOf):
        items = [
            flow({at.kind.named_by: name, **(one if isinstance(one, Mapping) else {})})
            for name, one in inner.items()
        ]
        return "[" + ", ".join(items) + "]"
    if isinstance(at.kind, (Figure, CurveOf)) and set(inner) in (PAIR, TRIPLE):
        return flow(inner)
    return inner


def lines(at: Branch) -> list[Line]:
    """The lines of a part's file."""
    made = value(at, at.kind)
    assert isinstance(made, Mapping)
    return [_line(n, i, made[plain(n)], 0) for n, i in at.below.items()]


def _line(name: str, at: Branch | Put, made: str | Tree, indent: int) -> Line:
    key, text = plain(name), flow(made)
    if isinstance(made, str) or isinstance(at, Put):
        return Line(key, text)
    deep = isinstance(at.kind, MapOf) and isinstance(at.kind.kind, (Record, MapOf, AnswerKind))
    if not deep and indent + len(key) + 2 + len(text) <= WIDEST:
        return Line(key, text)
    return Line(key, [_line(n, i, made[plain(n)], indent + 2) for n, i in at.below.items()])


@dataclass(frozen=True, slots=True)
class Filled:
    """A part from a table: its record, and the whole text of its file."""

    part: Part
    text: str


def new_part(
    part: str,
    puts: Mapping[Keys, Put],
    place: Place,
    head: str,
    catalogue: Catalogue,
    log: FaultLog,
) -> Filled | None:
    """A part that does not stand yet, read and checked; None after noting its faults.

    Parameters
    ----------
    place : the cell that names it. head : a comment at the top of its file.
    """
    found = record_of(part, puts, place, catalogue, log)
    if found is None:
        return None
    record, tree = found
    text = compose.document([Line("part", part), *lines(tree)], head)
    again = read_record(Part, read_text(text, part).root, "", Reading(part, part, FaultLog()))
    if again != record:
        raise ValueError(f"{part} reads back as another part")
    return Filled(record, text)


def record_of(
    part: str, puts: Mapping[Keys, Put], place: Place, catalogue: Catalogue, log: FaultLog
) -> tuple[Part, Branch] | None:
    """A part and its keys, read and checked; None after noting its faults at their cells."""
    before = len(log.faults)
    tree = branch(puts, log, part)
    if len(log.faults) > before:
        return None
    mark: Any = CellMark(place)
    name = (ScalarNode(_STR, "part", mark, mark), ScalarNode(_STR, part, mark, mark, style='"'))
    root = MappingNode(_MAP, [name, *_pairs(tree)], mark, mark)
    record = _read(part, Document(place.file, root), catalogue, log)
    return None if record is None or len(log.faults) > before else (record, tree)


def _pairs(tree: Branch) -> list[Any]:
    if not tree.below:
        return []
    made = node(tree, ROOT)
    assert isinstance(made, MappingNode)
    return list(made.value)


def _read(part: str, document: Document, catalogue: Catalogue, log: FaultLog) -> Part | None:
    found: Part | None = read_record(Part, document.root, "", Reading(document.file, part, log))
    if found is not None:
        rules.apply(rules.PART_FAULTS, found, part, {part: document}, catalogue, log)
    return found


def put_into(
    part: str,
    puts: Mapping[Keys, Put],
    before: str,
    file: str,
    catalogue: Catalogue,
    log: FaultLog,
    whole: Keys = (),
) -> Filled | None:
    """A part that stands, with what a table tells put into its text; None after noting faults.

    Faults of what was put are told at their cells.

    Parameters
    ----------
    whole : keys of a mapping that takes the place of the one that stands; others are added to.
    """
    own = FaultLog()
    tree = branch(puts, own, part)
    made = value(tree, ROOT)
    if whole:
        made = _whole(made, whole)
    text, record = before, None
    if not own.faults:
        try:
            text = placed(before, file, made if isinstance(made, Mapping) else {})
            record = _read(part, read_text(text, file), catalogue, own)
            own.raise_if_any()
        except FaultError as error:
            own = FaultLog()
            for fault in error.faults:
                own.add(_at_cell(fault, part, puts))
    for fault in own.faults:
        log.add(fault)
    return None if record is None or own.faults else Filled(record, text)


def _whole(made: str | Tree, keys: Keys) -> str | Tree:
    """The mapping behind some keys as one text, which replaces what stands there."""
    if not keys or isinstance(made, str):
        return flow(made)
    return {n: _whole(v, keys[1:]) if n == keys[0] else v for n, v in made.items()}


def _at_cell(fault: Fault, part: str, puts: Mapping[Keys, Put]) -> Fault:
    """A fault of a part's text at the cell that it comes from, if it comes from one."""
    dotted = fault.path.removeprefix(f"{part}:")
    for keys, put in puts.items():
        own = ".".join(keys)
        if dotted == own or dotted.startswith(own + ".") or own.startswith(dotted + "."):
            return replace(fault, place=put.place)
    return fault
