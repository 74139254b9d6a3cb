"""A map held against a table: which column goes behind which key, and in which unit."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from yaml.nodes import MappingNode, Node

from advisor.catalogue.currency import Currency
from advisor.catalogue.curves import CurveOf
from advisor.catalogue.fields import ListOf, MapOf, Record
from advisor.catalogue.kinds import Choice, Figure, Kind, Text, Whole
from advisor.catalogue.schema_map import Column, TableMap
from advisor.dataclass import dataclass
from advisor.faults import FaultError, FaultLog, Place
from advisor.intake.cells import Bad, Converter, Style, unit_of
from advisor.intake.grid import Grid
from advisor.intake.headers import BRACKETS, Header, header_of
from advisor.intake.targets import Target, TargetError, parse
from advisor.quantities import spellings
from advisor.source import Document, place_of


@dataclass(frozen=True, slots=True)
class Entry:
    """A column, the key that it goes behind, and what makes its cells the key's."""

    target: Target
    column: int
    converter: Converter


@dataclass(frozen=True, slots=True)
class Plan:
    """What is done with a table."""

    header: Header
    style: Style
    part: int
    entries: tuple[Entry, ...]
    holes: dict[str, Entry]
    constants: tuple[tuple[Target, str, Place], ...]
    minimum: tuple[int, Converter] | None
    down: frozenset[int]
    skipped: frozenset[int]
    only: tuple[tuple[int, frozenset[str]], ...]
    never: tuple[tuple[int, frozenset[str]], ...]

    @property
    def mapped(self) -> frozenset[int]:
        """The columns that are read."""
        least = () if self.minimum is None else (self.minimum[0],)
        holes = (entry.column for entry in self.holes.values())
        return frozenset((self.part, *(e.column for e in self.entries), *holes, *least))


def plan_of(grid: Grid, given: TableMap, document: Document) -> Plan:
    """Hold a map against a table.

    Raises
    ------
    FaultError
        With every fault of the map, and of the table's header.
    """
    return _Planner(grid, given, document).plan()


class _Planner:
    def __init__(self, grid: Grid, given: TableMap, document: Document) -> None:
        self.grid, self.given, self.document = grid, given, document
        self.log = FaultLog()
        header = header_of(grid, given.header or grid.numbers[:1], given.unit_row)
        if isinstance(header, Bad):
            key = "unit-row" if given.unit_row and given.header is None else "header"
            self.fault((key,), header)
            raise FaultError(self.log.faults)
        self.header = header
        self.style = Style.of(given, text_file=not grid.sheet)

    def plan(self) -> Plan:
        given = self.given
        targets = {text: self.target(("keys", text)) for text in given.keys}
        constants = {text: self.target(("constants", text)) for text in given.constants}
        part = self.column(("part",), given.part)
        holes = dict(self.holes([t for t in (*targets.values(), *constants.values()) if t]))
        entries = []
        for text, target in targets.items():
            at = self.column(("keys", text), given.keys[text])
            if target is not None and at is not None:
                entries.append(self.entry(("keys", text), target, at, given.keys[text]))
        fixed = []
        for text, target in constants.items():
            if target is not None:
                place = self.place(("constants", text))
                fixed.append((target, given.constants[text], place))
        minimum = None
        if given.minimum_order is not None:
            at = self.column(("minimum-order",), given.minimum_order)
            if at is not None:
                words = given.minimum_order.words
                minimum = at, Converter(Whole(), self.style, words=words)
        down = [self.column(("fill-down",), Column(column=name)) for name in given.fill_down]
        plan = (
            self.where("only-where", given.only_where),
            self.where("skip-where", given.skip_where),
        )
        skipped = frozenset(self.skipped())
        self.log.raise_if_any()
        assert part is not None
        return Plan(
            header=self.header,
            style=self.style,
            part=part,
            entries=tuple(entries),
            holes=holes,
            constants=tuple(fixed),
            minimum=minimum,
            down=frozenset(at for at in down if at is not None),
            skipped=skipped,
            only=plan[0],
            never=plan[1],
        )

    # Faults --------------------------------------------------------------------------------------

    def node(self, keys: Sequence[str]) -> Node:
        """The deepest node of the map on the way down some keys, the last step the key itself."""
        node = self.document.root
        for depth, name in enumerate(keys):
            pairs = node.value if isinstance(node, MappingNode) else []
            for key, value in pairs:
                if key.value == name:
                    node = key if depth == len(keys) - 1 and depth else value
                    break
            else:
                break
        return node

    def place(self, keys: Sequence[str]) -> Place:
        return place_of(self.node(keys), self.document.file)

    def fault(self, keys: Sequence[str], bad: Bad, place: Place | None = None) -> None:
        at = place or self.place(keys)
        self.log.add(bad.fault("map:" + ".".join(keys), at))

    # What the map says ---------------------------------------------------------------------------

    def target(self, keys: tuple[str, str]) -> Target | None:
        try:
            target = parse(keys[1], whole=self.style.as_written)
        except TargetError as error:
            self.fault(keys, Bad(f'"{keys[1]}"', error.expected, error.nearest))
            return None
        if target.steps[0].text in ("part", "boards"):
            what = "the column part:" if target.steps[0].text == "part" else "sessions, by distil"
            if target.steps[0].text == "part" or not self.style.as_written:
                self.fault(
                    keys, Bad(f'"{keys[1]}"', f"a key of a part; this one is told by {what}")
                )
                return None
        return target

    def column(self, keys: Sequence[str], wanted: Column) -> int | None:
        if (wanted.column is None) == (wanted.place is None):
            self.fault(keys, Bad("neither or both of column and place", "one of them"))
            return None
        found = self.header.find(wanted)
        if isinstance(found, Bad):
            self.fault(keys, found)
            return None
        return found

    def holes(self, targets: Sequence[Target]) -> Iterator[tuple[str, Entry]]:
        used = {hole: (t, step) for t in targets for step in t.steps for hole in step.holes}
        for hole, (target, _) in used.items():
            if hole not in self.given.rows:
                section = "keys" if target.text in self.given.keys else "constants"
                self.fault(
                    (section, target.text),
                    Bad(f"{{{hole}}}", "rows: that names the column of this placeholder"),
                )
        for hole, wanted in self.given.rows.items():
            if hole not in used:
                read = f"{{{hole}}}, which no key has"
                self.fault(("rows", hole), Bad(read, "a placeholder of a key"))
                continue
            at = self.column(("rows", hole), wanted)
            if at is None:
                continue
            target, step = used[hole]
            kind, named = _kind_of(step.inside)
            unit = ""
            if isinstance(kind, Figure):
                unit = self.unit(("rows", hole), kind, at, wanted)
            maker = Converter(
                kind=kind,
                style=self.style,
                unit=unit,
                words=wanted.words,
                end=wanted.end,
                name=named,
            )
            yield hole, Entry(target, at, maker)

    def entry(self, keys: Sequence[str], target: Target, at: int, wanted: Column) -> Entry:
        unit = self.unit(keys, target.kind, at, wanted)
        maker = Converter(
            kind=target.kind,
            style=self.style,
            unit=unit,
            words=wanted.words,
            end=wanted.end,
        )
        return Entry(target, at, maker)

    def unit(self, keys: Sequence[str], kind: Kind, at: int, wanted: Column) -> str:
        """The unit of a column's bare numbers: what the map says, held against the table's."""
        if self.style.as_written:
            if wanted.unit is not None:
                self.fault(keys, Bad(f'unit "{wanted.unit}"', "none: cells are as written"))
            return ""
        figure = kind.y if isinstance(kind, CurveOf) else kind
        there = self.header.units[at]
        bracket = BRACKETS.fullmatch(self.header.lowest[at])
        if not there and bracket is not None and isinstance(figure, Figure):
            there = bracket[2]
        told = unit_of(there, kind) if there else ""
        if wanted.unit is not None:
            said = unit_of(wanted.unit, kind)
            if isinstance(said, Bad):
                self.fault(keys, said)
                return ""
            if isinstance(told, str) and told and isinstance(figure, Figure):
                known = spellings(figure.dimension)
                if known.get(told) != known.get(said):
                    self.fault(keys, Bad(f'unit "{said}"', f'"{told}", as the table has it'))
            return said
        if isinstance(told, Bad):
            if bracket is not None and there == bracket[2] and not self.header.units[at]:
                # what stands in brackets need be no unit; figures without one are told as such
                return ""
            row = self.header.below - 1
            expected = told.expected + ", or unit: at this column's key in the map"
            bad = Bad(told.read, expected, told.nearest)
            self.fault(keys, bad, self.grid.place(row, at))
            return ""
        return told

    def where(
        self, key: str, given: dict[str, tuple[str, ...]] | object
    ) -> tuple[tuple[int, frozenset[str]], ...]:
        assert isinstance(given, dict)
        out = []
        for name, texts in given.items():
            at = self.column((key, name), Column(column=name))
            if at is not None:
                out.append((at, frozenset(" ".join(text.split()) for text in texts)))
        return tuple(out)

    def skipped(self) -> Iterator[int]:
        for text in self.given.skip_rows:
            found = re.fullmatch(r"([0-9]{1,7})(?:\s*-\s*([0-9]{1,7}))?", text.strip())
            first = int(found[1]) if found else 0
            last = int(found[2] or found[1]) if found else -1
            if not 0 < first <= last:
                self.fault(("skip-rows",), Bad(f'"{text}"', "a row such as 12, or rows as 12-15"))
                continue
            yield from range(first, min(last, self.grid.numbers[-1]) + 1)


def _kind_of(inside: Kind) -> tuple[Kind, bool]:
    """(kind of a placeholder's cells, whether they are names that become ids)."""
    if isinstance(inside, CurveOf):
        return inside.x, False
    if isinstance(inside, MapOf):
        if inside.whole_keys:
            return Whole(), False
        if inside.currencies:
            return Currency(), False
        if inside.keys:
            return Choice(inside.keys), False
        plain = isinstance(inside.kind, (Record, MapOf)) or inside.names in ("feature", "kernel")
        return Text(), plain
    assert isinstance(inside, ListOf)
    return Text(), False
