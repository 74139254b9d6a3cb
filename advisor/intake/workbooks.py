"""Workbooks of Office Open XML (ECMA-376), read by the streaming parser of XML and within bounds.

Written for tables that strangers send: it streams, knows what a cell was typed as (number, date,
formula, error) and what it shows a unit by, and holds declared sizes, document types, rows and
columns before it follows them.
"""

from __future__ import annotations

import posixpath
import re
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.parsers import expat

from advisor.intake.formats import Format, format_of
from advisor.intake.grid import (
    BROKEN,
    DATE,
    FORMULA,
    LONGEST_LINE,
    MOST_CELLS,
    MOST_COLUMNS,
    MOST_ROWS,
    NUMBER,
    Grid,
    Region,
    opened,
    refused,
)
from advisor.texts import HOSTILE, named

MOST_ENTRIES = 10_000
LARGEST_PART = 512 << 20  # bytes that a sheet may unpack to; it is streamed
LARGEST_TEXTS = 64 << 20  # bytes that the shared texts may unpack to; they are kept
BOMB = 200  # times that a large part may unpack to, beyond what cells can
_BLOCK = 1 << 16
_CELL = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,6})")
_RANGE = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,6}):([A-Z]{1,3})([1-9][0-9]{0,6})")
_SPELLED = re.compile(r"_x([0-9A-Fa-f]{4})_")  # ECMA-376 part 1, 22.9.2.19


def read_workbook(
    path: Path, sheet: str | None, data: bytes | None = None, *, guess: bool = False
) -> Grid:
    """Read a sheet of a workbook; by its name, or the only one with cells in it.

    Parameters
    ----------
    data : what is about to be the file's.
    guess : whether of several sheets the one with most cells is meant.

    Raises
    ------
    FaultError
        For what is no workbook, lacks the sheet, or is larger than it may be.
    """
    file = str(path)
    with opened(path, data) as handle:
        start = handle.read(8)
        if start == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
            read = "a workbook with a password, or one of the old kind"
            raise refused(file, read, "a workbook .xlsx without a password")
        handle.seek(0)
        try:
            with zipfile.ZipFile(handle) as archive:
                return _Workbook(file, archive).grid(sheet, guess)
        except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError) as error:
            read = f"what is no workbook ({str(error)[:60]})"
            raise refused(file, read, "a workbook .xlsx") from None
        except RuntimeError:
            raise refused(file, "a part with a password", "a workbook without one") from None


class _Workbook:
    """The parts of a workbook that tell its cells."""

    def __init__(self, file: str, archive: zipfile.ZipFile) -> None:
        self.file, self.archive = file, archive
        self.parts = {info.filename: info for info in archive.infolist()}
        if len(self.parts) > MOST_ENTRIES:
            raise refused(file, f"{len(self.parts)} parts", f"at most {MOST_ENTRIES}")
        self.before_1904 = True
        self.calculated = True
        self.sheets: list[tuple[str, str]] = []
        self._read_workbook()

    def grid(self, sheet: str | None, guess: bool) -> Grid:
        known = ", ".join(f'"{name}"' for name, _ in self.sheets) or "none"
        if sheet is not None:
            found = next((s for s in self.sheets if s[0] == sheet), None)
            if found is None:
                raise refused(self.file, f'sheet "{sheet}"', f"a sheet of the workbook: {known}")
            return self._sheet(*found)
        if len(self.sheets) > 1:
            grids = [self._sheet(*one) for one in self.sheets]
            full = [grid for grid in grids if grid.columns]
            if len(full) > 1 and guess:
                return max(full, key=lambda g: sum(c.count() for c in g.columns))
            if len(full) > 1:
                read = f"{len(full)} sheets with cells"
                raise refused(self.file, read, f"sheet: which of {known} it is")
            return full[0] if full else grids[0]
        if not self.sheets:
            raise refused(self.file, "no sheet", "a workbook with one")
        return self._sheet(*self.sheets[0])

    # Parts ---------------------------------------------------------------------------------------

    def _read_workbook(self) -> None:
        related = self._related("", "officeDocument")
        name = next(iter(related.values()), "xl/workbook.xml")
        found: list[tuple[str, str]] = []

        def start(tag: str, given: dict[str, str]) -> None:
            if tag == "sheet":
                found.append((given.get("name", ""), given.get("id", "")))
            elif tag == "workbookPr":
                self.before_1904 = given.get("date1904", "0") not in ("1", "true")
            elif tag == "calcPr":
                # what was never calculated has values that only look like it
                self.calculated = given.get("fullCalcOnLoad", "0") not in ("1", "true")

        if name not in self.parts:
            raise refused(self.file, "an archive of something else", "a workbook .xlsx")
        self._parse(name, start)
        targets = self._related(name, "worksheet")
        self.sheets = [(title, targets[at]) for title, at in found if at in targets]
        self.texts = self._texts(next(iter(self._related(name, "sharedStrings").values()), ""))
        self.formats = self._formats(next(iter(self._related(name, "styles").values()), ""))

    def _related(self, name: str, kind: str) -> dict[str, str]:
        """Id to part of what a part names as related, of one kind."""
        folder, base = posixpath.split(name)
        where = posixpath.join(folder, "_rels", f"{base}.rels")
        out: dict[str, str] = {}

        def start(tag: str, given: dict[str, str]) -> None:
            inside = given.get("TargetMode", "Internal") == "Internal"
            if tag == "Relationship" and given.get("Type", "").endswith(f"/{kind}") and inside:
                target = given.get("Target", "")
                full = target if target.startswith("/") else posixpath.join(folder, target)
                out[given.get("Id", "")] = posixpath.normpath(full).lstrip("/")

        if where in self.parts:
            self._parse(where, start)
        return {at: part for at, part in out.items() if part in self.parts}

    def _texts(self, name: str) -> list[str]:
        """The shared texts, without what tells their pronunciation."""
        out: list[str] = []
        if not name:
            return out
        pieces: list[str] = []
        state = {"t": False, "off": 0}

        def start(tag: str, _: dict[str, str]) -> None:
            if tag == "si":
                pieces.clear()
            elif tag == "rPh":
                state["off"] += 1
            elif tag == "t":
                state["t"] = not state["off"]

        def end(tag: str) -> None:
            if tag == "si":
                out.append(self._text("".join(pieces)))
            elif tag == "rPh":
                state["off"] -= 1
            elif tag == "t":
                state["t"] = False

        def data(text: str) -> None:
            if state["t"]:
                pieces.append(text)

        self._parse(name, start, end, data, LARGEST_TEXTS)
        return out

    def _formats(self, name: str) -> list[Format]:
        """The number format of each style of cells."""
        if not name:
            return []
        own: dict[int, str] = {}
        styles: list[int] = []
        inside = {"cellXfs": False}

        def start(tag: str, given: dict[str, str]) -> None:
            if tag == "numFmt":
                own[_whole(given.get("numFmtId"))] = given.get("formatCode", "")
            elif tag == "cellXfs":
                inside["cellXfs"] = True
            elif tag == "xf" and inside["cellXfs"]:
                styles.append(_whole(given.get("numFmtId")))

        def end(tag: str) -> None:
            if tag == "cellXfs":
                inside["cellXfs"] = False

        self._parse(name, start, end, largest=LARGEST_TEXTS)
        made = {number: format_of(number, own.get(number)) for number in set(styles)}
        return [made[number] for number in styles]

    def _parse(
        self,
        name: str,
        start: Callable[[str, dict[str, str]], None],
        end: Callable[[str], None] | None = None,
        data: Callable[[str], None] | None = None,
        largest: int = LARGEST_PART,
    ) -> None:
        """Go through a part; names come without their namespace."""
        info = self.parts[name]
        if info.file_size > largest:
            read = f"{name} of {info.file_size >> 20} MiB unpacked"
            raise refused(self.file, read, f"at most {largest >> 20} MiB")
        if info.file_size > 16 << 20 and info.file_size > BOMB * max(info.compress_size, 1):
            times = info.file_size // max(info.compress_size, 1)
            raise refused(self.file, f"{name}, which unpacks to {times} times its size", "a table")
        parser: Any = expat.ParserCreate(namespace_separator="}")
        parser.buffer_text = True

        def local(tag: str) -> str:
            return tag.rpartition("}")[2]

        def started(tag: str, given: dict[str, str]) -> None:
            start(local(tag), {local(k): v for k, v in given.items()})

        def doctype(*_: object) -> None:
            raise refused(self.file, f"a document type in {name}", "XML without one")

        parser.StartElementHandler = started
        if end is not None:
            parser.EndElementHandler = lambda tag: end(local(tag))
        if data is not None:
            parser.CharacterDataHandler = data
        parser.StartDoctypeDeclHandler = doctype
        with self.archive.open(info) as part:
            try:
                while block := part.read(_BLOCK):
                    parser.Parse(block, False)
                parser.Parse(b"", True)
            except expat.ExpatError as error:
                read = f"{name}, broken in line {error.lineno}"
                raise refused(self.file, read, "a workbook whose parts are whole") from None

    def _text(self, text: str) -> str:
        """A text with its spelled characters, refused where they are none to be seen."""
        if "_x" in text:
            text = _SPELLED.sub(lambda found: chr(int(found[1], 16)), text).replace("\r\n", "\n")
        if len(text) > LONGEST_LINE:
            raise refused(self.file, "a text without end", "texts of cells")
        bad = HOSTILE.search(text)
        if bad is not None:
            raise refused(self.file, named(bad[0]), "printable text")
        return text

    # Cells ---------------------------------------------------------------------------------------

    def _sheet(self, title: str, name: str) -> Grid:
        import polars as pl

        reader = _Cells(self, title)
        self._parse(name, reader.start, reader.end, reader.data)
        rows = reader.rows
        numbers = sorted(rows)
        width = max((max(row) for row in rows.values() if row), default=-1) + 1
        if width * len(numbers) > MOST_CELLS:
            read = f"{width * len(numbers)} cells"
            raise refused(self.file, read, f"at most {MOST_CELLS}", sheet=title)
        columns = [
            pl.Series([rows[n].get(at) for n in numbers], dtype=pl.String) for at in range(width)
        ]
        return Grid(
            file=self.file,
            sheet=title,
            columns=columns,
            numbers=numbers,
            regions=reader.regions,
        )


def _whole(text: str | None) -> int:
    return int(text) if text and text.isdecimal() and len(text) < 8 else 0


def _column(word: str) -> int:
    """A column's index from 0 by its letters."""
    at = 0
    for letter in word:
        at = at * 26 + ord(letter) - ord("A") + 1
    return at - 1


class _Cells:
    """Collects the cells of a sheet, row by row."""

    def __init__(self, book: _Workbook, title: str) -> None:
        self.book, self.title = book, title
        self.rows: dict[int, dict[int, str]] = {}
        self.regions: list[Region] = []
        self.count = 0
        self.row, self.column = 0, -1
        self.kind, self.style, self.formula = "n", 0, False
        self.pieces: list[str] = []
        self.wanted = False
        self.memo: dict[tuple[str, int], str] = {}

    def start(self, tag: str, given: dict[str, str]) -> None:
        if tag == "c":
            self._cell(given)
        elif tag == "v" or tag == "t":
            self.wanted = True
        elif tag == "f":
            self.formula = True
        elif tag == "rPh":
            raise self._refused("a text with its pronunciation", "plain texts")
        elif tag == "row":
            word = given.get("r")
            self.row = self.row + 1 if word is None else _whole(word)
            self.column = -1
            if not 0 < self.row <= MOST_ROWS:
                raise self._refused(f"row {(word or self.row)!s:.20}", f"at most {MOST_ROWS}")
        elif tag == "mergeCell":
            self._region(given.get("ref", ""))

    def _cell(self, given: dict[str, str]) -> None:
        word = given.get("r")
        if word is None:
            self.column += 1
        else:
            found = _CELL.fullmatch(word)
            if found is None or int(found[2]) != self.row:
                raise self._refused(f'a cell "{word[:20]}"', f"a cell of row {self.row}")
            self.column = _column(found[1])
        if self.column >= MOST_COLUMNS:
            raise self._refused(f"column {self.column + 1}", f"at most {MOST_COLUMNS}")
        self.kind, self.style = given.get("t", "n"), _whole(given.get("s"))
        self.formula = False
        self.pieces.clear()

    def data(self, text: str) -> None:
        if self.wanted:
            self.pieces.append(text)

    def end(self, tag: str) -> None:
        if tag in ("v", "t"):
            self.wanted = False
        elif tag == "c":
            text = "".join(self.pieces)
            if self.formula and not (text and self.book.calculated):
                cell = FORMULA
            elif text:
                cell = self._said(text)
            else:
                return
            if not cell:
                return
            self.count += 1
            if self.count > MOST_CELLS:
                raise self._refused(f"more than {MOST_CELLS} cells", "a table in several sheets")
            row = self.rows.setdefault(self.row, {})
            if self.column in row:
                raise self._refused("a cell that stands twice", "each cell once")
            row[self.column] = cell

    def _said(self, text: str) -> str:
        """What a cell says, by the kind that it has in the file."""
        kind = self.kind
        if kind == "s":
            at = _whole(text) if text.strip().isdecimal() else -1
            if not 0 <= at < len(self.book.texts):
                raise self._refused("a text that the workbook lacks", "a workbook that is whole")
            return self.book.texts[at]
        if kind in ("str", "inlineStr"):
            return self.book._text(text)
        if kind == "e":
            return BROKEN + text[:20]
        if kind == "b":
            return "true" if text == "1" else "false"
        if kind == "d":
            return DATE + text[:10]
        key = (text, self.style)
        if key not in self.memo:
            self.memo[key] = self._number(text)
        return self.memo[key]

    def _number(self, text: str) -> str:
        styles = self.book.formats
        form = styles[self.style] if self.style < len(styles) else Format()
        try:
            value = float(text)
        except ValueError:
            raise self._refused(f'"{text[:20]}"', "a number") from None
        if form.date:
            return DATE + form.day(value, self.book.before_1904)
        return NUMBER + form.shown(value)

    def _region(self, word: str) -> None:
        found = _RANGE.fullmatch(word)
        if found is not None and len(self.regions) < MOST_ROWS:
            left, top, right, bottom = found.groups()
            self.regions.append(
                Region(int(top), _column(left) + 1, int(bottom), _column(right) + 1)
            )

    def _refused(self, read: str, expected: str) -> Exception:
        return refused(
            self.book.file,
            read,
            expected,
            row=max(self.row, 1),
            column=max(self.column, 0) + 1,
            sheet=self.title,
        )
