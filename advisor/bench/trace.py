"""Traces as a stream of samples in SI: text, Parquet and NumPy files, in constant memory.

Text is read by its columns' names: any separator of comma, semicolon and tab, a decimal comma where
the notes say so, gzip, lines that begin with # before the header; what is laid out otherwise goes
through `exports`. What is not a number is a fault at its line and column.
"""

from __future__ import annotations

import codecs
import gzip
import hashlib
import io
import mmap
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from advisor.bench import arrays, exports
from advisor.bench.chunks import (
    LONGEST,
    Cells,
    Chunk,
    Columns,
    Floats,
    of_frames,
    opened,
    refused,
    split,
)
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError

if TYPE_CHECKING:
    import polars as pl

BLOCK = 1 << 23  # bytes of text read at a time where the file is packed
WINDOW = 1 << 20  # bytes of text among which a line must end
REHEARSED = "rehearsed: invented, not measured"  # what a rehearsed trace bears for good
TEXT = (".csv", ".tsv", ".txt", ".dat", ".log")
ENDINGS = (*TEXT, *(f"{t}.gz" for t in TEXT), ".parquet", ".npy", ".npz")
_NUMBERS = "rows of numbers in lines"


def ending_of(path: Path) -> str:
    """The ending that tells how a trace is stored.

    Raises
    ------
    FaultError
        For one that no reader knows, and for a file that is not there.
    """
    name = path.name.lower()
    found = next((e for e in ENDINGS if name.endswith(e)), None)
    if found is None:
        raise refused(str(path), f'"{path.name}"', "a file that ends in " + ", ".join(ENDINGS))
    try:
        if not path.is_file():
            read = "something that is no file" if path.exists() else "no such file"
            raise refused(str(path), read, "a trace")
    except (OSError, ValueError) as error:
        raise refused(str(path), str(getattr(error, "strerror", error)), "a trace") from None
    return found


@contextmanager
def _whole(path: Path) -> Iterator[None]:
    """Let what a damaged file does to its reader be a fault of that file."""
    try:
        yield
    except (OSError, EOFError, zipfile.BadZipFile, zlib.error) as error:
        words = f"{type(error).__name__}: {getattr(error, 'strerror', None) or error}"
        raise refused(str(path), words, "a whole file") from None


def samples(path: Path, columns: Columns) -> Iterator[Chunk]:
    """Every sample of a trace, in the order of the file.

    Times that no factor makes of a column are left to `stamps.Clock`.

    Raises
    ------
    FaultError
        For a column that is not there, what is no number, a file that cannot be read, and one that
        is no text where the notes tell how a text is laid out.
    """
    ending = ending_of(path)
    if columns.declared and not ending.startswith(TEXT):
        read = f"a file that ends in {ending}"
        raise refused(str(path), read, "a text: the notes tell how one is laid out or stamped")
    with _whole(path):
        if columns.declared:
            yield from exports.text(path, columns)
        elif ending == ".parquet":
            yield from arrays.parquet(path, columns)
        elif ending == ".npy":
            yield from arrays.array(path, columns)
        elif ending == ".npz":
            yield from arrays.archive(path, columns)
        elif ending.endswith(".gz"):
            yield from _packed_text(path, columns)
        else:
            yield from _text(path, columns)


def is_rehearsed(path: Path) -> bool:
    """Whether a trace bears the mark of a rehearsal.

    Raises
    ------
    FaultError
        For a file that cannot be read.
    """
    ending = ending_of(path)
    with _whole(path):
        if ending == ".parquet":
            return arrays.parquet_marked(path)
        if ending == ".npz":
            return "rehearsed" in arrays.members(path)
        with opened(path) as file:
            line = file.readline(4096)
        # the mark outlasts another encoding
        for mark in (b"\0", codecs.BOM_UTF8, codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
            line = line.replace(mark, b"")
        return line.strip() == f"# {REHEARSED}".encode()


def digest(paths: Sequence[Path]) -> str:
    """SHA-256 over the traces' bytes, in order."""
    found = hashlib.sha256()
    for path in paths:
        with open(path, "rb") as file:
            while block := file.read(BLOCK):
                found.update(block)
    return found.hexdigest()


@dataclass(frozen=True, slots=True)
class _Header:
    """What stands before the numbers of a text file, and where the wanted ones stand."""

    skip: int
    separator: str
    names: tuple[str, ...]
    cells: Cells
    quoted: bool
    padded: bool = False


def _header(path: Path, columns: Columns) -> _Header:
    skip, file_name = 0, str(path)
    with opened(path) as file:
        while True:
            line = file.readline(LONGEST)
            if not line:
                raise refused(file_name, "an empty file", "a header and numbers")
            if len(line) == LONGEST and not line.endswith(b"\n"):
                read = f"a line of more than {LONGEST} bytes"
                raise refused(file_name, read, "a header with the columns' names", line=skip + 1)
            if line.startswith(b"#") or not line.strip():
                skip += 1
                continue
            break
        # looking for quotes costs a third of the reading: only where the first lines have some
        quoted = b'"' in line + file.readline(LONGEST)
    try:
        text = line.decode("utf-8-sig").strip("\r\n")
    except UnicodeDecodeError:
        read = "a header that is not text in UTF-8"
        wide = line.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
        expected = "encoding: utf-16 in the notes" if wide else "its encoding in the notes"
        raise refused(file_name, read, expected, line=skip + 1) from None
    if "\r" in text:
        read = "lines that end in a carriage return alone"
        raise refused(file_name, read, "lines that end in a line feed", line=skip + 1)
    separator = next((s for s in "\t;," if s in text), ",")
    names = split(text, separator)
    if names is None:
        raise refused(file_name, "a header that breaks off", "names of columns", line=skip + 1)
    if separator == "," and columns.comma:
        read = "commas between the columns"
        raise refused(file_name, read, "another separator: decimal comma", line=skip + 1)
    cells = columns.cells(file_name, names, skip + 1, separator)
    padded = b'"' in line or any(name not in text.split(separator) for name in names)
    return _Header(
        skip=skip, separator=separator, names=names, cells=cells, quoted=quoted, padded=padded
    )


def _lines_end(path: Path) -> None:
    """Refuse text whose lines go on without end, before a reader takes one into memory.

    A window of bytes is looked at up to its first line's end only.
    """
    size = path.stat().st_size
    if size <= WINDOW:
        return
    with open(path, "rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        for at in range(0, size - WINDOW, WINDOW):
            if data.find(b"\n", at, at + WINDOW) < 0:
                raise _endless(path)


def _endless(path: Path) -> FaultError:
    return refused(str(path), f"a line of more than {WINDOW} bytes", _NUMBERS)


def _lazy(source: Any, head: _Header, columns: Columns, text: bool = False) -> pl.LazyFrame:
    """The wanted columns of a text, as numbers or as they stand; bytes bear no header."""
    import polars as pl

    kind = pl.String if text else pl.Float64
    bare = isinstance(source, bytes)
    return pl.scan_csv(
        source,
        has_header=not bare,
        new_columns=list(head.names) if bare else None,
        skip_lines=0 if bare else head.skip,
        separator=head.separator,
        quote_char='"' if head.quoted else None,
        # renaming slows the reading by a tenth: only names with blanks or quotes need it
        with_column_names=(lambda _: list(head.names)) if head.padded and not bare else None,
        schema_overrides=dict.fromkeys(columns.names, kind),
        infer_schema=False,
        decimal_comma=columns.comma and not text,
        null_values=None,
        glob=False,
    ).select(columns.names)


def _text(path: Path, columns: Columns) -> Iterator[Chunk]:
    import polars as pl

    head = _header(path, columns)
    _lines_end(path)
    try:
        batches = _lazy(path, head, columns).collect_batches(engine="streaming")
        yield from of_frames(iter(batches), head.cells, columns)
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
        with opened(path) as file:
            rows = islice(file, head.cells.above, None)
            wrong = _wrong(rows, 0, _lazy(path, head, columns, text=True), head, columns)
        raise wrong or refused(str(path), _first_line(error), _NUMBERS) from None


def _first_line(error: BaseException) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0]


def _wrong(
    lines: Iterable[bytes], row: int, lazy: pl.LazyFrame, head: _Header, columns: Columns
) -> FaultError | None:
    """The fault of the first cell that is no number, else of the first row that is too long.

    `lines` and `lazy` give the same rows of numbers, the first of them the file's row `row`.
    """
    found = _no_number(lazy, columns)
    if found is not None:
        which, read, at = found
        place = head.cells.place(row + at, which)
        words = f"{read} in row {row + at + 1}"
        return FaultError((Fault(columns.names[which], words, "a number", place),))
    for at, line in enumerate(lines, row):
        cells = split(line.decode("utf-8", "replace").strip("\r\n"), head.separator)
        if cells is None or len(cells) > len(head.names):
            read = "a broken row" if cells is None else f"{len(cells)} cells"
            expected = f"{len(head.names)} cells, as in the header"
            line_of = head.cells.above + at + 1
            return refused(head.cells.file, f"{read} in row {at + 1}", expected, line=line_of)
    return None


def _no_number(lazy: pl.LazyFrame, columns: Columns) -> tuple[int, str, int] | None:
    """(place in `names`, what stands there, row) of the first cell that is no number."""
    import polars as pl

    row = 0
    try:
        for frame in lazy.collect_batches(engine="streaming"):
            worst: list[tuple[int, int]] = []
            for which, name in enumerate(columns.names):
                raw = frame[name].str.replace(",", ".") if columns.comma else frame[name]
                bad = raw.str.strip_chars(" ").cast(pl.Float64, strict=False).is_null().arg_true()
                if len(bad):
                    worst.append((bad[0], which))
            if worst:
                at, which = min(worst)
                cell = frame[columns.names[which]][at]
                return which, "nothing" if cell is None else f'"{cell}"', row + at
            row += len(frame)
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException):
        return None
    return None


def _packed_text(path: Path, columns: Columns) -> Iterator[Chunk]:
    """gzip: unpacked block by block, cut at the ends of lines."""
    import polars as pl

    head = _header(path, columns)
    row, rest = 0, b""
    with gzip.open(path, "rb") as file:
        for _ in range(head.skip + 1):
            file.readline()
        while True:
            block = file.read(BLOCK)
            if len(block) >= WINDOW and b"\n" not in block:
                raise _endless(path)
            whole = rest + block
            cut = whole.rfind(b"\n") + 1 if block else len(whole)
            part, rest = whole[:cut], whole[cut:]
            if part.strip():
                try:
                    frame = _lazy(part, head, columns).collect()
                except (pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
                    lazy = _lazy(part, head, columns, text=True)
                    wrong = _wrong(io.BytesIO(part), row, lazy, head, columns)
                    raise wrong or refused(str(path), _first_line(error), _NUMBERS) from None
                yield from of_frames(iter([frame]), head.cells, columns, row)
                row += len(frame)
            if not block:
                return


def text_of(t: Floats, i: Floats, m: Floats, header: bool) -> bytes:
    """Samples as lines of a text trace, s, A and marker; with `header` the rehearsal's mark."""
    import polars as pl

    out = io.BytesIO()
    if header:
        out.write(f"# {REHEARSED}\nt,i,m\n".encode())
    frame = pl.DataFrame({"t": t, "i": i, "m": m.astype(np.int8)})
    frame.write_csv(out, include_header=False)
    return out.getvalue()
