"""Text traces that are laid out as the notes tell: encoding, delimiter, digits, rows that are none.

A file is decoded block by block, what stands above and below its samples is taken off, and the
cells that the notes name are read as numbers or stamps; the rest is passed over. Whatever does not
fit the notes is a fault at its line and column.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from advisor.bench.chunks import (
    LONGEST,
    Cells,
    Chunk,
    Columns,
    of_frames,
    opened,
    refused,
    split,
)
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError, Place
from advisor.quantities import spellings

if TYPE_CHECKING:
    import polars as pl

BLOCK = 1 << 23  # bytes read at a time
WINDOW = 1 << 20  # bytes among which a line must end
THOUSANDS = {"comma": ",", "point": ".", "blank": " \u00a0\u202f", "apostrophe": "'\u2019"}
EPOCH_DIGITS = {"s": 9, "ms": 6, "us": 3, "µs": 3, "μs": 3, "ns": 0}  # decimals to a nanosecond
_BLANKS = re.compile(rb"[ \t]+")
_EDGES = re.compile(rb"(?m)^ | $")
_STAMP = (
    r"^(\d{4}-\d\d-\d\d)[T ](\d\d:\d\d:\d\d)(?:[.,](\d{1,9})\d*)?"
    r"(Z|[+-]\d\d(?::?\d\d)?)?$"
)


@dataclass(frozen=True, slots=True)
class Head:
    """What stands above the samples.

    `cells` tell where the wanted columns are; `width` counts the cells of a row, `rest` is what was
    read beyond the head, and `rows` the lines of names and units as (line, cells).
    """

    cells: Cells
    width: int
    rest: bytes
    rows: tuple[tuple[int, tuple[str, ...]], ...]


def text(path: Path, columns: Columns) -> Iterator[Chunk]:
    """Samples of a text file by its layout; stamps that a double does not tell are whole ns.

    Raises
    ------
    FaultError
        For a column that is not there, cells and rows that are not what the notes say, and bytes
        that are none of the encoding.
    """
    source = blocks(path, columns.layout.encoding)
    head = _head(path, columns, source)
    row = 0
    for part in _parts(path, columns, head, source):
        lines = part.count(b"\n") + (part[-1:] not in (b"", b"\n"))
        if not lines:
            continue
        frame = _frame(part, row, columns, head)
        if len(frame) != lines:
            at = head.cells.above + row
            raise refused(
                str(path), f"{lines} lines with {len(frame)} rows", "a row a line", line=at + 1
            )
        yield from of_frames(iter([frame]), head.cells, columns, row)
        row += lines


def blocks(path: Path, encoding: str) -> Iterator[bytes]:
    """A file as UTF-8, in blocks that end with a line, the last one as it ends.

    Raises
    ------
    FaultError
        For bytes that are none of the encoding, and a line without end.
    """
    decoder = codecs.getincrementaldecoder(encoding)("strict")
    passed = encoding == "utf-8"
    rest, line, begun = b"", 1, False
    with opened(path) as file:
        while True:
            block = file.read(BLOCK)
            if not begun:
                _marked(path, encoding, block)
            if passed:
                block_text = block
            else:
                try:
                    block_text = decoder.decode(block, final=not block).encode()
                except UnicodeDecodeError as error:
                    # what the decoder held back from before stands in the error's object
                    good = bytes(error.object[: error.start]).decode(encoding, "replace")
                    words = f"bytes that are no {encoding}"
                    at = line + rest.count(b"\n") + good.count("\n")
                    raise refused(str(path), words, "encoding as in the file", line=at) from None
            if not begun:
                block_text = block_text.removeprefix(codecs.BOM_UTF8)
                begun = True
            whole = rest + block_text
            cut = whole.rfind(b"\n") + 1 if block else len(whole)
            part, rest = whole[:cut].replace(b"\r\n", b"\n"), whole[cut:]
            if len(rest) > WINDOW:
                words = f"a line of more than {WINDOW} bytes"
                raise refused(str(path), words, "rows of numbers in lines", line=line)
            if b"\r" in part.rstrip(b"\r\n"):
                read = "lines that end in a carriage return alone"
                raise refused(str(path), read, "lines that end in a line feed", line=line)
            line += part.count(b"\n")
            if part:
                yield part
            if not block:
                return


def _marked(path: Path, encoding: str, block: bytes) -> None:
    """Refuse a byte order mark that is another encoding's, and utf-16 without one."""
    wide = {codecs.BOM_UTF16_LE: "utf-16-le", codecs.BOM_UTF16_BE: "utf-16-be"}
    found = next((name for mark, name in wide.items() if block.startswith(mark)), None)
    if found is None and encoding == "utf-16":
        expected = "one, or encoding: utf-16-le or utf-16-be"
        raise refused(str(path), "no byte order mark", expected)
    if found is not None and encoding != "utf-16":
        raise refused(str(path), "the byte order mark of UTF-16", "encoding: utf-16")
    if block.startswith(codecs.BOM_UTF8) and encoding != "utf-8":
        raise refused(str(path), "the byte order mark of UTF-8", "encoding: utf-8")


def cells_of(line: str, separator: str) -> tuple[str, ...] | None:
    """The cells of a line; None where it is broken."""
    return tuple(line.split()) if separator == " " else split(line, separator)


def separator_of(line: str) -> str:
    """What parts the cells of a line where nobody says."""
    return next((s for s in "\t;," if s in line), ",")


def _head(path: Path, columns: Columns, source: Iterator[bytes]) -> Head:
    layout, file = columns.layout, str(path)
    buffer, at, number = b"", 0, 0

    def following() -> tuple[str, int] | None:
        """The next line and where it begins; None at the end."""
        nonlocal buffer, at, number
        while (end := buffer.find(b"\n", at)) < 0:
            more = next(source, None)
            if more is None:
                end = len(buffer)
                break
            buffer += more
        if at >= len(buffer):
            return None
        begin, at, number = at, end + 1, number + 1
        line = buffer[begin:end]
        if len(line) > LONGEST:
            raise refused(file, f"a line of more than {LONGEST} bytes", "a header", line=number)
        return line.decode("utf-8", "replace"), begin

    for _ in range(layout.skip):
        if following() is None:
            raise refused(file, f"{number} lines", f"more than {layout.skip}, as in skip")
    separator = layout.delimiter or ""
    rows: list[tuple[int, tuple[str, ...]]] = []
    wanted = layout.header + layout.unit_rows
    names: tuple[str, ...] | None = None
    while True:
        found = following()
        if found is None:
            raise refused(file, "no row of numbers", "a header and numbers", line=max(number, 1))
        line, begin = found
        if not line.strip() or line.startswith("#"):
            continue  # what stands above
        separator = separator or separator_of(line)
        if separator == "," and columns.comma and layout.delimiter is None:
            read = "commas between the columns"
            raise refused(file, read, "another delimiter: decimal comma", line=number)
        cells = cells_of(line, separator)
        if cells is None:
            raise refused(file, "a line that breaks off", "cells", line=number)
        if len(rows) < wanted:
            rows.append((number, cells))
            if layout.header and len(rows) == 1:
                names = cells
            continue
        break
    if names is None:
        names = tuple("" for _ in cells)
    for row, unit_cells in rows[1 if layout.header else 0 :]:
        _units(file, row, unit_cells, columns, names)
    head_line = rows[0][0] if layout.header else number
    above = number - 1
    where = _located(columns, file, names, head_line, above, separator)
    return Head(where, len(names), buffer[begin:], tuple(rows))


def _located(
    columns: Columns, file: str, names: tuple[str, ...], line: int, above: int, separator: str
) -> Cells:
    """Where the wanted columns stand, by place or by name."""
    places = columns.places or (0,) * len(columns.names)
    faults = []
    called = list(names)
    for name, place in zip(columns.names, places, strict=True):
        if place > len(names):
            read = f"{len(names)} columns"
            faults.append(Fault(name, read, f"at least {place}", Place(file, line, 1)))
        elif place:
            called[place - 1] = name
        elif not columns.layout.header:
            expected = "place: no line of names stands above the numbers"
            faults.append(Fault(name, "a column's name", expected, Place(file, line, 1)))
    if faults:
        raise FaultError(faults)
    by_name = tuple(n for n, p in zip(columns.names, places, strict=True) if not p)
    named = replace(columns, names=by_name).cells(file, names, line)
    rest = iter(named.columns)
    order = tuple(place - 1 if place else next(rest) for place in places)
    if len(set(order)) < len(order):
        raise refused(file, "one column for two", "a column of its own for each", line=line)
    return replace(
        named, columns=order, above=above, separator=separator, encoding=columns.layout.encoding
    )


def _units(
    file: str, line: int, cells: tuple[str, ...], columns: Columns, names: tuple[str, ...]
) -> None:
    """Refuse a unit row that says another unit than the notes."""
    places = columns.places or (0,) * len(columns.names)
    for name, place, unit in zip(columns.names, places, columns.units, strict=False):
        at = place - 1 if place else names.index(name) if name in names else -1
        if unit is None or not 0 <= at < len(cells):
            continue
        dimension, noted = unit
        word = cells[at].strip("[](){} ")
        known = spellings(dimension)
        if word in known and known[word] != known[noted]:
            expected = f'"{noted}", as in the notes'
            raise refused(file, f'unit "{word}" of column {at + 1}', expected, name, line)


def _parts(path: Path, columns: Columns, head: Head, source: Iterator[bytes]) -> Iterator[bytes]:
    """Rows without the footer and blank lines at the end.

    What may be either waits for the next block.
    """
    held = head.rest
    for block in source:
        cut = _rows_end(held, columns.layout.footer)
        if cut:
            yield _tidy(held[:cut], head)
        held = held[cut:] + block
    end = _trimmed(held, len(held))
    for _ in range(columns.layout.footer):
        cut = held.rfind(b"\n", 0, end) + 1
        if not cut:
            read = f"fewer than {columns.layout.footer + 1} lines"
            raise refused(str(path), read, f"samples and a footer of {columns.layout.footer}")
        _no_sample(path, columns, head, held[cut:end])
        end = _trimmed(held, cut)
    yield _tidy(held[:end], head)


def _rows_end(held: bytes, footer: int) -> int:
    """Where rows end that no footer of so many lines may belong to; 0 where there are none."""
    end = _trimmed(held, len(held))
    for _ in range(footer):
        end = _trimmed(held, max(held.rfind(b"\n", 0, end), 0))
    return held.find(b"\n", end) + 1 if end else 0


def _trimmed(held: bytes, end: int) -> int:
    """The end of what stands before blanks and empty lines."""
    while end and held[end - 1] in b" \t\n":
        end -= 1
    return end


def _no_sample(path: Path, columns: Columns, head: Head, line: bytes) -> None:
    """Refuse a line of the footer that reads as a sample."""
    frame = None
    cells = cells_of(line.decode("utf-8", "replace"), head.cells.separator)
    if cells is not None and len(cells) == head.width:
        frame = _texts(_tidy(line, head), columns, head)
    if frame is not None and not _numbers(frame, columns).null_count().sum_horizontal()[0]:
        words = f'"{line[:60].decode("utf-8", "replace")}" in the footer, a sample by its cells'
        raise refused(str(path), words, f"{columns.layout.footer} lines that are none")


def _tidy(part: bytes, head: Head) -> bytes:
    """Cells a single blank apart where blanks part them."""
    if head.cells.separator != " ":
        return part
    return _EDGES.sub(b"", _BLANKS.sub(b" ", part))


def _frame(part: bytes, row: int, columns: Columns, head: Head) -> pl.DataFrame:
    """The wanted columns of some rows, the first of them the file's row `row`, as numbers."""
    import polars as pl

    # with a decimal comma the reader takes a point as well: such cells are looked at as texts
    plain = columns.layout.thousands is None and not columns.stamps.exact
    if plain and not (columns.comma and b"." in part):
        try:
            found = _scan(part, columns, head, pl.Float64, columns.comma)
            if not any(found.null_count().row(0)):
                return found
        except (pl.exceptions.PolarsError, pl.exceptions.PanicException):
            pass  # the cell is looked for below
    texts = _texts(part, columns, head)
    if texts is None:
        raise _broken(part, row, head)
    found = _numbers(texts, columns)
    worst: list[tuple[int, int]] = []
    for which, name in enumerate(columns.names):
        bad = found[name].is_null().arg_true()
        if len(bad):
            worst.append((int(bad[0]), which))
    if worst:
        at, which = min(worst)
        name = columns.names[which]
        cell: str | None = texts[name][at]
        read = "nothing" if cell is None else f'"{cell}"'
        place = head.cells.place(row + at, which)
        words = f"{read} in row {row + at + 1}"
        raise FaultError((Fault(name, words, _expected(columns, which), place),))
    return found


def _expected(columns: Columns, which: int) -> str:
    if which == 0 and columns.stamps.exact:
        if columns.stamps.kind == "epoch":
            return "a whole or decimal number"
        return "a date and time such as 2026-03-11T09:30:00.125"
    comma = "a decimal comma" if columns.comma else "a decimal point"
    thousands = columns.layout.thousands
    if thousands:
        return f"a number with {comma}, threes parted by a {thousands}"
    return f"a number with {comma}" if columns.comma else "a number"


def _broken(part: bytes, row: int, head: Head) -> FaultError:
    """The fault of the first row that is too long or breaks off."""
    for at, line in enumerate(part.split(b"\n"), row):
        cells = cells_of(line.decode("utf-8", "replace"), head.cells.separator)
        if cells is None or len(cells) > head.width:
            read = "a broken row" if cells is None else f"{len(cells)} cells"
            expected = f"{head.width} cells, as above"
            line_of = head.cells.above + at + 1
            return refused(head.cells.file, f"{read} in row {at + 1}", expected, line=line_of)
    return refused(head.cells.file, "what is no rows", "rows of numbers in lines")


def _scan(
    part: bytes, columns: Columns, head: Head, kind: type[pl.DataType], comma: bool
) -> pl.DataFrame:
    import polars as pl

    called = [f"\0{k}" for k in range(head.width)]
    for name, at in zip(columns.names, head.cells.columns, strict=True):
        called[at] = name
    return (
        pl.scan_csv(
            part,
            has_header=False,
            new_columns=called,
            separator=head.cells.separator,
            quote_char='"' if b'"' in part else None,
            schema_overrides=dict.fromkeys(columns.names, kind),
            infer_schema=False,
            decimal_comma=comma,
            null_values=None,
        )
        .select(columns.names)
        .collect()
    )


def _texts(part: bytes, columns: Columns, head: Head) -> pl.DataFrame | None:
    """The wanted cells as they stand; None where a row is too long."""
    import polars as pl

    # the reader takes the first row for the width, so a row with every cell goes before
    first = head.cells.separator.join("0" * head.width).encode() + b"\n"
    try:
        return _scan(first + part, columns, head, pl.String, False)[1:]
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException):
        return None


def _numbers(texts: pl.DataFrame, columns: Columns) -> pl.DataFrame:
    """Cells as numbers, and stamps as whole nanoseconds; null where they are neither."""
    import polars as pl

    out = []
    for which, name in enumerate(columns.names):
        cell = pl.col(name).str.strip_chars(" \u00a0")
        if which == 0 and columns.stamps.exact:
            out.append(_stamps(cell, columns).alias(name))
            continue
        if columns.layout.thousands is not None:
            mark = "[" + re.escape(THOUSANDS[columns.layout.thousands]) + "]"
            decimal = "," if columns.comma else r"\."
            whole = rf"(?:\d{{1,3}}(?:{mark}\d{{3}})+|\d*)"
            shape = rf"^[+-]?{whole}(?:{decimal}\d*)?(?:[eE][+-]?\d+)?$"
            cell = pl.when(cell.str.contains(shape)).then(cell.str.replace_all(mark, ""))
        if columns.comma:
            cell = (
                pl.when(~cell.str.contains(".", literal=True)).then(cell).otherwise(None)
            ).str.replace(",", ".", literal=True)
        out.append(cell.cast(pl.Float64, strict=False).alias(name))
    return texts.select(out)


def _stamps(cell: pl.Expr, columns: Columns) -> pl.Expr:
    """Whole nanoseconds since 1970 of an epoch in its unit, or of a date and time."""
    import polars as pl

    if columns.stamps.kind == "epoch":
        unit = columns.units[0]
        assert unit is not None
        digits = EPOCH_DIGITS[unit[1]]
        shape = rf"^(\d+)(?:[{',' if columns.comma else '.'}](\d{{0,9}})\d*)?$"
        whole = cell.str.extract(shape, 1).cast(pl.Int64, strict=False)
        whole = pl.when(whole <= 9 * 10 ** (18 - digits)).then(whole)
        part = cell.str.extract(shape, 2).fill_null("")
        part = (part + "0" * digits).str.slice(0, digits) if digits else pl.lit("0")
        told: pl.Expr = whole * 10**digits + part.cast(pl.Int64, strict=False)
        return told
    day, clock = cell.str.extract(_STAMP, 1), cell.str.extract(_STAMP, 2)
    whole = (day + " " + clock).str.to_datetime("%Y-%m-%d %H:%M:%S", time_unit="ns", strict=False)
    part = (cell.str.extract(_STAMP, 3).fill_null("") + "0" * 9).str.slice(0, 9)
    zone = cell.str.extract(_STAMP, 4).fill_null("Z").str.replace(":", "", literal=True)
    zone = pl.when(zone == "Z").then(pl.lit("+0000")).otherwise((zone + "00").str.slice(0, 5))
    minutes = zone.str.slice(1, 2).cast(pl.Int64) * 60 + zone.str.slice(3, 2).cast(pl.Int64)
    signed = pl.when(zone.str.starts_with("-")).then(-minutes).otherwise(minutes)
    return whole.cast(pl.Int64) + part.cast(pl.Int64) - signed * 60 * 10**9
