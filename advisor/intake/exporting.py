"""Parts as a table, and the map that brings them back as they were.

A row a part, and one for each of its kernels at each point, its sleep states and whatever else
bears a name of the user's; a column a key. Cells are to the letter what the part's file has. A
table cannot hold comments, the order of keys, and names with braces, which are refused.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence

from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from advisor.catalogue import compose
from advisor.catalogue.compose import Line
from advisor.catalogue.fields import Either, ListOf, MapOf, Record, specification
from advisor.catalogue.kinds import Kind
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_map import AS_WRITTEN
from advisor.catalogue.schema_parts import AnswerKind
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError
from advisor.figures import name_of
from advisor.intake.grid import MOST_COLUMNS, MOST_ROWS
from advisor.intake.targets import PART, TargetError, parse
from advisor.source import place_of
from advisor.texts import spreadsheet_cell

LONGEST_CELL = 32_767  # characters of a cell in a workbook (common practice)
_HOLES = {
    "operating point": "point",
    "operating point, or point+engine": "point",
    "sleep state": "state",
}
PART_COLUMN = "part"
Assigned = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """Texts in rows below names: the part, the placeholders in braces, the keys."""

    holes: tuple[str, ...]
    keys: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    @property
    def header(self) -> tuple[str, ...]:
        """The names of the columns."""
        return (PART_COLUMN, *(f"{{{hole}}}" for hole in self.holes), *self.keys)


@dataclass(frozen=True, slots=True)
class _Cell:
    template: str
    keys: tuple[str, ...]
    holes: Assigned
    text: str
    node: Node


def table_of(catalogue: Catalogue) -> Table:
    """The parts of a catalogue as a table.

    Raises
    ------
    FaultError
        For names that no table can hold.
    """
    faults: list[Fault] = []
    order: dict[str, tuple[tuple[int, float, str], ...]] = {}
    parts: list[tuple[str, dict[Assigned, dict[str, str]]]] = []
    holes: dict[str, None] = {}
    for part in catalogue.parts:
        document = catalogue.documents[part]
        rows: dict[Assigned, dict[str, str]] = {(): {}}
        for cell in _cells(document.root, PART, (), ()):
            if cell.keys == ("part",):
                continue
            if cell.template not in order:
                order[cell.template] = _place(cell.template)
            if not _comes_back(cell):
                read = f'"{".".join(cell.keys)}"'
                expected = "names without braces, and none that end like .max: no table can tell"
                place = place_of(cell.node, document.file)
                faults.append(Fault(f"{part}:{'.'.join(cell.keys)}", read, expected, place))
            rows.setdefault(cell.holes, {})[cell.template] = cell.text
            holes |= dict.fromkeys(name for name, _ in cell.holes)
        parts.append((part, rows))
    if faults:
        raise FaultError(faults)
    keys = sorted(order, key=lambda name: order[name])
    lines = [
        (part, *(dict(given).get(hole, "") for hole in holes), *(row.get(k, "") for k in keys))
        for part, rows in parts
        for given, row in rows.items()
    ]
    return Table(tuple(holes), tuple(keys), tuple(lines))


def _comes_back(cell: _Cell) -> bool:
    """Whether the template leads to the same keys again."""
    try:
        target = parse(cell.template, whole=True)
    except TargetError:
        return False
    given = dict(cell.holes)
    return set(target.holes) == set(given) and target.path(given) == cell.keys


def _cells(
    node: Node, kind: Kind, keys: tuple[str, ...], holes: Assigned, at: str = ""
) -> Iterator[_Cell]:
    """The cells of what stands below a node."""
    if isinstance(node, ScalarNode):
        yield _cell(at, keys, holes, str(node.value), node)
        return
    if isinstance(node, SequenceNode):
        if not node.value or not (isinstance(kind, ListOf) and isinstance(kind.kind, Record)):
            items = ", ".join(str(item.value) for item in node.value)
            yield _cell(at, keys, holes, items or "[]", node)
            return
        for entry in node.value:
            name = name_of(entry) or ""
            rest = MappingNode(
                entry.tag,
                [(k, v) for k, v in entry.value if k.value != kind.named_by],
                entry.start_mark,
                entry.end_mark,
            )
            named = (*holes, (kind.named_by, name))
            yield from _cells(rest, kind.kind, (*keys, name), named, f"{at}.{{{kind.named_by}}}")
        return
    assert isinstance(node, MappingNode)
    if not node.value and keys:
        yield _cell(at, keys, holes, "{}", node)
    for key, value in node.value:
        name = str(key.value)
        below = _below(kind, name)
        if isinstance(kind, MapOf) and isinstance(kind.kind, (Record, MapOf)):
            hole = _HOLES.get(kind.names, re.sub("[^a-z]+", "-", kind.names))
            step, named = f"{{{hole}}}", (*holes, (hole, name))
        else:
            step, named = name, holes
        yield from _cells(value, below, (*keys, name), named, f"{at}.{step}".lstrip("."))


def _cell(at: str, keys: tuple[str, ...], holes: Assigned, text: str, node: Node) -> _Cell:
    return _Cell(template=at, keys=keys, holes=holes, text=text, node=node)


def _below(kind: Kind, name: str) -> Kind:
    found = getattr(kind, "below", lambda _: None)(name)
    return kind if found is None else found


def _place(template: str) -> tuple[tuple[int, float, str], ...]:
    """Where a column stands among others: by the declarations, numbers by size, names as told."""
    out: list[tuple[int, float, str]] = []
    try:
        target = parse(template, whole=True)
    except TargetError:
        return ((10**6, 0.0, template),)
    for step in target.steps:
        inside = step.inside
        inside = inside.record if isinstance(inside, Either) else inside
        if isinstance(inside, (Record, AnswerKind)):
            names = list(specification(inside.cls)) if isinstance(inside, Record) else []
            out.append((names.index(step.text) if step.text in names else 0, 0.0, step.text))
        else:
            number = re.match(r"-?[0-9]+(?:\.[0-9]+)?", step.text)
            out.append((0, float(number[0]) if number else 0.0, step.text))
    return tuple(out)


def map_of(table: Table, file: str, more: Sequence[Line] = ()) -> str:
    """The map that brings a table back.

    Parameters
    ----------
    more : lines of the map on how to read the file.
    """
    rows = [Line(_word(hole), _word(f"{{{hole}}}")) for hole in table.holes]
    keys = [Line(_word(key), _word(key)) for key in table.keys]
    head = f"Brings {file} back as it was exported: part-advisor catalog import."
    lines = [*more, Line("cells", AS_WRITTEN), Line("part", PART_COLUMN)]
    if rows:
        lines.append(Line("rows", rows))
    return compose.document([*lines, Line("keys", keys or "{}")], head)


def _word(text: str) -> str:
    return text if re.fullmatch(r"[a-z][a-z0-9.-]*[a-z0-9]", text) else compose.text(text)


def to_text(table: Table) -> bytes:
    """The table as CSV (RFC 4180), in UTF-8 with the mark by which spreadsheets know it.

    A text that a spreadsheet would run as a formula is led by an apostrophe, and so is one that
    begins with one.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    for row in (table.header, *table.rows):
        writer.writerow([_guarded(text) for text in row])
    return b"\xef\xbb\xbf" + out.getvalue().encode()


def _guarded(text: str) -> str:
    return f"'{text}" if text.startswith("'") else spreadsheet_cell(text)


def to_workbook(table: Table) -> bytes:
    """The table as a sheet of a workbook (ECMA-376), every cell a text.

    Raises
    ------
    FaultError
        For more than a sheet holds.
    """
    import datetime

    import xlsxwriter

    for count, most, what in (
        (len(table.rows) + 1, MOST_ROWS, "rows"),
        (len(table.header), MOST_COLUMNS, "columns"),
        (max((len(t) for row in table.rows for t in row), default=0), LONGEST_CELL, "characters"),
    ):
        if count > most:
            expected = f"at most {most} in a workbook; CSV takes more"
            raise FaultError((Fault("--output", f"{count} {what}", expected),))
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True})
    book.set_properties({"created": datetime.datetime(2000, 1, 1)})
    text = book.add_format({"quote_prefix": True, "num_format": "@"})
    bold = book.add_format({"quote_prefix": True, "num_format": "@", "bold": True})
    sheet = book.add_worksheet("Parts")
    for at, row in enumerate((table.header, *table.rows)):
        for column, cell in enumerate(row):
            if cell:
                sheet.write_string(at, column, cell, bold if at == 0 else text)
    sheet.freeze_panes(1, 1)
    widths = [max(len(row[i]) for row in (table.header, *table.rows)) for i in range(len(row))]
    for column, width in enumerate(widths):
        sheet.set_column(column, column, min(max(width, 4) + 1, 40))
    book.close()
    return out.getvalue()


def of_exported(header: Sequence[str]) -> tuple[list[str], list[str]] | None:
    """(placeholders, keys) of a table that was exported, by its header; None for another."""
    if not header or header[0] != PART_COLUMN:
        return None
    holes = [name[1:-1] for name in header[1:] if re.fullmatch(r"\{[^{}.]+\}", name)]
    keys = [name for name in header[1:] if not re.fullmatch(r"\{[^{}.]+\}", name)]
    for key in keys:
        try:
            parse(key, whole=True)
        except TargetError:
            return None
    return holes, keys
