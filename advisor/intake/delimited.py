"""Text files of cells, such as CSV (RFC 4180) and what spreadsheets make of it."""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Sequence
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from advisor.catalogue.schema_map import DELIMITERS
from advisor.intake.grid import (
    LARGEST,
    LONGEST_LINE,
    MOST_CELLS,
    MOST_COLUMNS,
    MOST_ROWS,
    Grid,
    opened,
    refused,
)
from advisor.source import collector_paused
from advisor.texts import HOSTILE, named

if TYPE_CHECKING:
    import polars as pl

_BLOCK = 1 << 20
_SNIFFED = 64  # lines that tell the delimiter
_CONTROLS = bytes(set(range(32)) - {9, 10, 13}) + b"\x7f"
_KEPT = bytes(set(range(256)) - set(_CONTROLS))
_MARKS = {
    codecs.BOM_UTF8: "utf-8",
    codecs.BOM_UTF16_LE: "utf-16",
    codecs.BOM_UTF16_BE: "utf-16",
}


def read_delimited(
    path: Path, encoding: str | None, delimiter: str | None, data: bytes | None = None
) -> Grid:
    """Read a text file of cells.

    Parameters
    ----------
    encoding, delimiter : as a map names them; None to be told from the file.
    data : what is about to be the file's.

    Raises
    ------
    FaultError
        For what is no such file, or too large.
    """
    file = str(path)
    text, found = _in_utf_8(file, _checked(path, data), encoding)
    notes, layout = [], {}
    if found != (encoding or "utf-8"):
        layout["encoding"] = found
        notes.append(f"read as {found}, which is what its bytes can be; encoding: says otherwise")
    if delimiter is None:
        delimiter = _told_delimiter(text)
        layout["delimiter"] = delimiter
        notes.append(f"read with a {delimiter} between cells; delimiter: says otherwise")
    with collector_paused():
        columns, numbers = _columns(file, text, DELIMITERS[delimiter])
    return Grid(
        file=file,
        sheet="",
        columns=columns,
        numbers=numbers,
        notes=tuple(notes),
        layout=layout,
    )


def _checked(path: Path, data: bytes | None) -> bytes:
    """The bytes of a file whose lines end in time and that holds text."""
    file, blocks, line, run = str(path), list[bytes](), 1, 0
    with opened(path, data) as handle:
        wide = handle.read(2) in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
        handle.seek(0)
        size = 0
        while block := handle.read(_BLOCK):
            size += len(block)
            if size > LARGEST:
                raise refused(file, f"more than {LARGEST >> 20} MiB", "a table in several files")
            first = block.find(b"\n")
            last = block.rfind(b"\n")
            ended = len(block) if first < 0 else first
            if run + ended > LONGEST_LINE or _longest(block) > LONGEST_LINE:
                raise refused(file, "a line without end", "rows in lines", row=line)
            run = run + len(block) if last < 0 else len(block) - last - 1
            if not wide and block.translate(None, _KEPT):
                at, bad = _first_control(block)
                line += block[:at].count(b"\n")
                raise refused(file, named(chr(bad)), "a text file", row=line)
            line += block.count(b"\n")
            blocks.append(block)
    return b"".join(blocks)


def _longest(block: bytes) -> int:
    """Bytes of the longest line of a block, not looked at where none can be too long."""
    return max(map(len, block.split(b"\n"))) if len(block) > LONGEST_LINE else 0


def _first_control(block: bytes) -> tuple[int, int]:
    controls = set(_CONTROLS)
    return next((i, byte) for i, byte in enumerate(block) if byte in controls)


def _in_utf_8(file: str, data: bytes, encoding: str | None) -> tuple[bytes, str]:
    """(text in UTF-8 with line feeds, encoding) of a file.

    What is no UTF-8 is taken for the usual encoding of Windows.
    """
    mark = next((name for mark, name in _MARKS.items() if data.startswith(mark)), None)
    if mark is not None and encoding not in (None, mark):
        raise refused(file, f"the byte order mark of {mark}", f"encoding: {mark}")
    tried = [encoding or mark or "utf-8"]
    if tried == ["utf-8"] and encoding is None and mark is None:
        tried.append("cp1252")
    if tried[0] == "utf-8" and data.isascii():
        return data.replace(b"\r\n", b"\n"), "utf-8"
    for name in tried:
        try:
            text = data.decode("utf-8-sig" if name == "utf-8" else name)
        except UnicodeDecodeError as error:
            read = f"byte 0x{data[error.start]:02x}"
            line = data[: error.start].count(b"\n") + 1
            failed = refused(file, read, f"text in {' or '.join(tried)}", row=line)
            continue
        # a carriage return alone may end a line
        bad = HOSTILE.search(text.replace("\r", "\n"))
        if bad is not None:
            line = text[: bad.start()].count("\n") + 1
            raise refused(file, named(bad[0]), "printable text", row=line)
        return text.replace("\r\n", "\n").encode(), name
    raise failed


def _told_delimiter(text: bytes) -> str:
    """What parts most lines into the same number of cells, more than one."""
    head = text[: 1 << 18].decode("utf-8", "ignore")
    lines = list(islice(io.StringIO(head, newline=""), _SNIFFED))
    best, score = "comma", 0.0
    for name, mark in DELIMITERS.items():
        try:
            widths = [len(row) for row in csv.reader(lines, delimiter=mark) if row]
        except csv.Error:
            continue
        if not widths:
            continue
        usual = max(set(widths), key=lambda w: (widths.count(w), w))
        told = widths.count(usual) / len(widths) * min(usual, 20) if usual > 1 else 0.0
        if told > score:
            best, score = name, told
    return best


def _columns(file: str, text: bytes, mark: str) -> tuple[Sequence[pl.Series], Sequence[int]]:
    """The columns of a file and the line of each row."""
    found = None if b'"' in text or b"\r" in text else _at_once(text, mark)
    if found is None:
        return _row_by_row(file, text.decode(), mark)
    _bounded(file, len(found), len(found[0]))
    return found, range(1, len(found[0]) + 1)


def _at_once(text: bytes, mark: str) -> list[pl.Series] | None:
    """The columns by the stream reader of tables; None where it would not keep line for line."""
    import polars as pl

    head = text[: 1 << 16].split(b"\n", _SNIFFED)[:_SNIFFED]
    width = max(line.count(mark.encode()) for line in head) + 1
    lines = text.count(b"\n") + (not text.endswith(b"\n"))
    if b"\n\n" in text or text[:1] in (b"", b"\n") or not 1 < width <= MOST_COLUMNS:
        return None
    try:
        frame = pl.read_csv(
            text,
            separator=mark,
            has_header=False,
            quote_char=None,
            schema={str(i): pl.String for i in range(width)},
        )
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException):
        return None
    return frame.get_columns() if len(frame) == lines else None


def _row_by_row(file: str, text: str, mark: str) -> tuple[list[pl.Series], Sequence[int]]:
    """The columns by the reader that knows quotes, and the line at which each row begins."""
    import polars as pl

    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    rows, numbers, cells, begun = list[list[str]](), list[int](), 0, 1
    try:
        for row in reader:
            rows.append(row)
            numbers.append(begun)
            begun = reader.line_num + 1
            cells += len(row)
            if cells > MOST_CELLS or len(row) > MOST_COLUMNS or len(rows) > MOST_ROWS:
                _bounded(file, len(row), len(rows), cells, numbers[-1])
    except csv.Error as error:
        read = f"a row that breaks off ({error})"
        raise refused(file, read, "cells, quotes closed", row=begun) from None
    width = max(map(len, rows), default=0)
    if width * len(rows) > MOST_CELLS:
        _bounded(file, width, len(rows), width * len(rows))
    if any(len(row) < width for row in rows):
        rows = [row + [""] * (width - len(row)) for row in rows]
    columns = (pl.Series(column, dtype=pl.String) for column in zip(*rows, strict=True))
    return [column.replace("", None) for column in columns], numbers


def _bounded(file: str, columns: int, rows: int, cells: int = 0, line: int = 1) -> None:
    """Refuse more than a table may have."""
    cells = cells or columns * rows
    for count, most, what in (
        (columns, MOST_COLUMNS, "columns"),
        (rows, MOST_ROWS, "rows"),
        (cells, MOST_CELLS, "cells"),
    ):
        if count > most:
            raise refused(file, f"{count} {what}", f"at most {most}", row=line)
