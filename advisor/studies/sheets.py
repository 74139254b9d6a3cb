"""`catalog import` of tables, `catalog quote`, `catalog export`: parts from and to spreadsheets."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import Part, Price
from advisor.dataclass import dataclass
from advisor.intake import exporting, quotes
from advisor.intake.importing import files_of, parts_of, read_map, read_through, records_of
from advisor.intake.proposing import Proposal
from advisor.intake.proposing import propose as proposed
from advisor.studies.results import frame, plain

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class ImportedPart:
    """A part from a table."""

    part: str
    """its id"""
    name: str
    """its name in the table"""
    rows: int
    """rows of the table that tell of it"""
    values: int
    """keys that they put into it"""
    new: bool
    """whether it is new to the catalogue"""
    changed: bool
    """whether its file is another one now"""


@dataclass(frozen=True, slots=True)
class Imported:
    """Parts from a table. `files` are the texts of their files, by path."""

    table: str
    """the table's file"""
    sheet: str
    """the sheet of a workbook"""
    parts: tuple[ImportedPart, ...]
    """the parts, in order of the table"""
    notes: tuple[str, ...]
    """what was guessed, and what of the table goes nowhere"""
    files: Mapping[Path, str]

    def document(self) -> dict[str, Any]:
        """The answer for JSON."""
        return {
            "table": self.table,
            "sheet": self.sheet or None,
            "parts": [plain(part) for part in self.parts],
            "notes": list(self.notes),
        }

    def rows(self) -> list[dict[str, Any]]:
        """The parts as rows."""
        return [plain(part) for part in self.parts]

    def to_frame(self) -> pd.DataFrame:
        """The parts as a data frame, a row a part."""
        return frame(self.rows())


def propose(table: Path) -> Proposal:
    """A map for a table, guessed from the names of its columns and what stands in them.

    Raises
    ------
    FaultError
        For a table that cannot be read, or that has no header.
    """
    return proposed(table)


def import_table(table: Path, map_file: Path, into: Path, *, update: bool = False) -> Imported:
    """Parts from a table by its map, with the texts of their files; nothing is written.

    Parameters
    ----------
    into : the folder of the catalogue that they go into. update : whether parts that stand already
    are put into; otherwise they are faults.

    Raises
    ------
    FaultError
        With every fault of map, table and parts.
    """
    given, document = read_map(map_file)
    told = read_through(table, given, document)
    written = parts_of(told, into, update)
    files = {
        path: text
        for one, (path, text) in zip(written, files_of(written, into).items(), strict=True)
        if one.filled.text != one.before
    }
    parts = tuple(
        ImportedPart(
            part=one.part,
            name=one.name,
            rows=len(one.rows),
            values=one.values,
            new=one.new,
            changed=one.filled.text != one.before,
        )
        for one in written
    )
    notes = [*told.notes]
    for part, dropped in told.dropped.items():
        notes.append(least_note(part, told.least_order(part), dropped))
    return Imported(
        table=str(table),
        sheet=told.grid.sheet,
        parts=parts,
        notes=tuple(notes),
        files=files,
    )


def least_note(part: str, least: int | None, dropped: Sequence[int]) -> str:
    """What a minimum order does to the breaks below it."""
    return f"{part}: sold from {least} pieces, so no price at {', '.join(map(str, dropped))}"


@dataclass(frozen=True, slots=True)
class QuotedPart:
    """A part with the price of a quote."""

    part: str
    """its id"""
    name: str
    """its name in the quote"""
    currency: str
    """currency of the price"""
    breaks: Mapping[int, float]
    """price each, from that quantity up"""
    before: Mapping[int, float] | None
    """price each as it stood"""
    currency_before: str | None
    """currency as it stood"""
    multiple: int
    """sold in multiples of"""
    lead_time: str | None
    """longest time to delivery"""
    minimum_order: int | None
    """fewest pieces that are sold, as the quote has it"""
    below_minimum: tuple[int, ...]
    """quantities of the quote below it, which are left out"""
    stays: tuple[str, ...]
    """keys of the price that the quote says nothing of, and that stay"""


@dataclass(frozen=True, slots=True)
class QuoteAnswer:
    """What a quote did to a catalogue. `files` are the texts of the parts' files, by path."""

    table: str
    """the quote's file"""
    parts: tuple[QuotedPart, ...]
    """the parts that it prices"""
    unknown: tuple[str, ...]
    """names of the quote that no part of the catalogue bears"""
    silent: tuple[str, ...]
    """parts of the catalogue that the quote says nothing of"""
    currencies: Mapping[str, int]
    """parts priced in each currency"""
    notes: tuple[str, ...]
    """what was guessed, and what of the table goes nowhere"""
    files: Mapping[Path, str]

    def document(self) -> dict[str, Any]:
        """The answer for JSON."""
        return {
            "table": self.table,
            "parts": [plain(part) for part in self.parts],
            "unknown": list(self.unknown),
            "silent": list(self.silent),
            "currencies": dict(self.currencies),
            "notes": list(self.notes),
        }

    def rows(self) -> list[dict[str, Any]]:
        """The prices as rows, one a break."""
        return [
            {
                "part": part.part,
                "quantity": quantity,
                "price": price,
                "price_before": (part.before or {}).get(quantity),
                "currency": part.currency,
                "multiple": part.multiple,
                "lead_time": part.lead_time,
            }
            for part in self.parts
            for quantity, price in part.breaks.items()
        ]

    def to_frame(self) -> pd.DataFrame:
        """The prices as a data frame, a row a break."""
        return frame(self.rows())


def quote(table: Path, map_file: Path, onto: Path) -> QuoteAnswer:
    """Put a quote onto the parts of a catalogue, with the texts of their files; nothing is written.

    Raises
    ------
    FaultError
        With every fault of map, quote and parts.
    """
    given, document = read_map(map_file)
    found = quotes.quote(table, given, document, onto)
    parts = tuple(
        QuotedPart(
            part=one.part,
            name=one.name,
            currency=one.now.currency or "",
            breaks=_breaks(one.now),
            before=None if one.was is None else _breaks(one.was),
            currency_before=None if one.was is None else one.was.currency,
            multiple=one.now.multiple or 1,
            lead_time=None if one.now.lead_time is None else one.now.lead_time.text,
            minimum_order=one.least,
            below_minimum=one.dropped,
            stays=one.stays,
        )
        for one in found.parts
    )
    files = {
        onto / "parts" / f"{one.part}.yaml": one.filled.text
        for one in found.parts
        if one.filled.text != one.before
    }
    return QuoteAnswer(
        table=str(table),
        parts=parts,
        unknown=found.unknown,
        silent=found.silent,
        currencies=found.currencies,
        notes=found.notes,
        files=files,
    )


def _breaks(price: Price) -> dict[int, float]:
    return {quantity: one.nominal for quantity, one in sorted((price.breaks or {}).items())}


def quote_notes(found: QuoteAnswer, most: int = 12) -> Iterator[str]:
    """What to mind of a quote."""
    if len(found.currencies) > 1:
        told = ", ".join(f"{code} ({count})" for code, count in found.currencies.items())
        yield f"parts by their currency, several currencies: {told}; a product needs cost.rates"
    for part in found.parts:
        if part.below_minimum:
            yield least_note(part.part, part.minimum_order, part.below_minimum)
        if part.stays:
            yield f"{part.part}: the quote is silent on {', '.join(part.stays)}, which stay"
    for names, words in (
        (found.unknown, "names that no part of the catalogue bears"),
        (found.silent, "parts that the quote says nothing of"),
    ):
        if names:
            more = f" and {len(names) - most} more" if len(names) > most else ""
            yield f"{words}: {', '.join(names[:most])}{more}"
    yield from found.notes


@dataclass(frozen=True, slots=True)
class Exported:
    """Parts as a table, and the map that brings it back."""

    data: bytes
    map: str
    notes: tuple[str, ...]


def export_table(catalogue: Catalogue, form: str, name: str = "the table") -> Exported:
    """The parts of a catalogue as a table, read back and held against them.

    Parameters
    ----------
    form : csv or xlsx. name : the table's, for the map.

    Raises
    ------
    FaultError
        For names that no table can hold, and more than a workbook holds.
    """
    table = exporting.table_of(catalogue)
    data = exporting.to_workbook(table) if form == "xlsx" else exporting.to_text(table)
    text = exporting.map_of(table, name)
    again = _read_back(data, text, form, catalogue)
    if again != catalogue.parts:
        raise ValueError("the exported table brings other parts back")
    commented = [part for part in catalogue.parts if "#" in _source(catalogue.documents[part].file)]
    notes: tuple[str, ...] = ()
    if commented:
        notes = (f"comments stay behind, in the files of {len(commented)} parts",)
    return Exported(data, text, notes)


def _source(file: str) -> str:
    try:
        return Path(file).read_text("utf-8")
    except (OSError, UnicodeError):
        return ""


def _read_back(data: bytes, text: str, form: str, catalogue: Catalogue) -> Mapping[str, Part]:
    given, document = read_map(Path("map.yaml"), text)
    told = read_through(Path(f"table.{form}"), given, document, data=data)
    return records_of(told, catalogue)
