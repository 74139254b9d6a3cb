"""The map of a table: which column goes behind which key of a part; every key, declared once."""

from __future__ import annotations

from collections.abc import Mapping

from yaml.nodes import MappingNode, Node

from advisor.catalogue.definitions import Definitions, Schema
from advisor.catalogue.fields import ListOf, MapOf, Record, key, read_record
from advisor.catalogue.kinds import Choice, Identity, Kind, Reading, Text, Whole, value_text
from advisor.dataclass import dataclass

DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}
ENCODINGS = ("utf-8", "utf-16", "latin-1", "cp437", "cp850", "cp1250", "cp1251", "cp1252")
AS_WRITTEN = "as-written"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column of the table."""

    column: str | None = key(
        Text("a column's name"),
        "its name, below a merged header `ABOVE / BELOW` or what stands lowest",
    )
    place: str | None = key(
        Text("a column's letters"), "its letters, such as C, where it has no name or shares it"
    )
    unit: str | None = key(
        Text("a unit"), "of its bare numbers; absent: that of the unit row, or of the name"
    )
    words: Mapping[str, str] = key(
        MapOf(Text(), "word of the table"), "what a word of the table means", default={}
    )
    end: str | None = key(
        Choice(("low", "high")), "which end, where its cells are ranges such as 1.8 to 3.6"
    )


class ColumnKind:
    """A column's name, or a mapping that says more of it."""

    def read(self, node: Node, path: str, reading: Reading) -> Column | None:
        if isinstance(node, MappingNode):
            value: Column | None = read_record(Column, node, path, reading)
            return value
        text = value_text(node, path, reading, self.describe())
        return None if text is None else Column(column=text)

    def below(self, name: str) -> Kind | None:
        return Record(Column).below(name)

    def describe(self) -> str:
        return "a column's name"

    def schema(self, shared: Definitions) -> Schema:
        return {"anyOf": [Text().schema(shared), Record(Column).schema(shared)]}


COLUMN = ColumnKind()
_WHERE = MapOf(ListOf(Text("a cell's text")), "column")


@dataclass(frozen=True, slots=True, kw_only=True)
class TableMap:
    """How a table becomes parts."""

    sheet: str | None = key(Text("a sheet's name"), "of a workbook; absent: the only one")
    encoding: str | None = key(
        Choice(ENCODINGS), "of a text file; absent: UTF-8, or cp1252 where it is none"
    )
    delimiter: str | None = key(
        Choice(tuple(DELIMITERS)), "what stands between cells; absent: told from the lines"
    )
    decimal: str = key(Choice(("point", "comma")), "decimal mark of texts", default="point")
    thousands: str | None = key(
        Choice(("comma", "point", "blank", "apostrophe")),
        "what parts digits in threes; absent: nothing does",
    )
    header: tuple[int, ...] | None = key(
        ListOf(Whole()), "rows with the names of the columns, from above; absent: the first"
    )
    unit_row: int | None = key(Whole(), "the row with their units")
    cells: str = key(
        Choice(("typed", AS_WRITTEN)),
        "what people type, or to the letter what a part's file has",
        default="typed",
    )
    blanks: tuple[str, ...] = key(
        ListOf(Text("a cell's text")), "texts of cells that say nothing", default=()
    )
    part: Column = key(COLUMN, "the column that names the part", required=True)
    names: Mapping[str, str] = key(
        MapOf(Identity("part"), "name in the table"), "parts that bear another id", default={}
    )
    rows: Mapping[str, Column] = key(
        MapOf(COLUMN, "placeholder"),
        "columns that tell what a row is of, each for a `{placeholder}` in the keys",
        default={},
    )
    keys: Mapping[str, Column] = key(
        MapOf(COLUMN, "key of a part"),
        "the columns by the key of a part that they go behind, such as memory.flash",
        required=True,
    )
    minimum_order: Column | None = key(
        COLUMN, "the fewest pieces that are sold: breaks below it are none"
    )
    constants: Mapping[str, str] = key(
        MapOf(Text(), "key of a part"), "what holds of every part or row", default={}
    )
    fill_down: tuple[str, ...] = key(
        ListOf(Text("a column's name")), "columns whose blanks repeat what stands above", default=()
    )
    skip_rows: tuple[str, ...] = key(
        ListOf(Text("rows such as 12 or 12-15")), "rows that are passed over", default=()
    )
    skip_where: Mapping[str, tuple[str, ...]] = key(
        _WHERE, "rows that are passed over, by a column's texts", default={}
    )
    only_where: Mapping[str, tuple[str, ...]] = key(
        _WHERE, "the only rows that are taken, by a column's texts", default={}
    )
