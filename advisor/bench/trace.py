"""Traces as a stream of samples in SI: text, Parquet and NumPy files, in constant memory.

Text is read by its columns' names: any separator of comma, semicolon and tab, a decimal comma where
the notes say so, gzip, lines that begin with # before the header. What is not a number is a fault
with its row.
"""

from __future__ import annotations

import csv
import gzip
import hashlib
import io
import math
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.schema_bench import TraceColumns
from advisor.faults import Fault, FaultError, Place, nearest
from advisor.quantities import spellings

if TYPE_CHECKING:
    import polars as pl

Floats = NDArray[np.float64]

BLOCK = 1 << 23  # bytes of text read at a time where the file is packed
ROWS = 1 << 17  # samples of an array taken at a time
PIECE = 1 << 15  # and worked on at a time
REHEARSED = "rehearsed: invented, not measured"  # what a rehearsed trace bears for good
TEXT = (".csv", ".tsv", ".txt")
ENDINGS = (*TEXT, *(f"{t}.gz" for t in TEXT), ".parquet", ".npy", ".npz")


@dataclass(frozen=True, slots=True)
class Chunk:
    """Successive samples: t in s, i in A (across a shunt: V over its stated value), v in V.

    `m` is the marker as it stands. `file` and `row` tell where the first one stands.
    """

    file: str
    row: int
    t: Floats
    i: Floats
    v: Floats | None = None
    m: NDArray[Any] | None = None

    def piece(self, rows: slice) -> Chunk:
        """Some of the samples."""
        first = range(len(self.t))[rows]
        return Chunk(
            file=self.file,
            row=self.row + (first[0] if len(first) else 0),
            t=self.t[rows],
            i=self.i[rows],
            v=None if self.v is None else self.v[rows],
            m=None if self.m is None else self.m[rows],
        )

    def finite(self) -> None:
        """Refuse what is not a finite number.

        Raises
        ------
        FaultError
            With the row of the first such sample.
        """
        named = {"time": self.t, "current": self.i, "voltage": self.v, "marker": self.m}
        for name, values in named.items():
            # the extremes show it in two passes that cost less than a test of each sample
            if values is not None and values.dtype.kind == "f" and len(values):
                if math.isfinite(values.max()) and math.isfinite(values.min()):
                    continue
                row = self.row + int(np.flatnonzero(~np.isfinite(values))[0]) + 1
                raise refused(self.file, f"no number in row {row}", "a number", name)

    def joined(self, later: Chunk) -> Chunk:
        """These samples and later ones."""

        def both(a: NDArray[Any] | None, b: NDArray[Any] | None) -> NDArray[Any] | None:
            return None if a is None or b is None else np.concatenate((a, b))

        return Chunk(
            file=self.file,
            row=self.row,
            t=np.concatenate((self.t, later.t)),
            i=np.concatenate((self.i, later.i)),
            v=both(self.v, later.v),
            m=both(self.m, later.m),
        )


@dataclass(frozen=True, slots=True)
class Columns:
    """Which columns to read and what makes them SI."""

    names: tuple[str, ...]
    factors: tuple[float, ...]
    voltage: bool
    marker: bool
    comma: bool

    @classmethod
    def of(cls, columns: TraceColumns) -> Columns:
        """From the notes."""
        current, shunt = columns.current, columns.current.shunt
        per = (
            spellings("current")[current.unit]
            if shunt is None
            else spellings("voltage")[current.unit] / shunt.nominal
        )
        names = [columns.time.column, current.column]
        factors = [spellings("time")[columns.time.unit], per]
        if columns.voltage is not None:
            names.append(columns.voltage.column)
            factors.append(spellings("voltage")[columns.voltage.unit])
        if columns.marker is not None:
            names.append(columns.marker.column)
            factors.append(1.0)
        return cls(
            names=tuple(names),
            factors=tuple(factors),
            voltage=columns.voltage is not None,
            marker=columns.marker is not None,
            comma=columns.decimal == "comma",
        )

    def chunks(self, file: str, row: int, raw: Sequence[NDArray[Any]]) -> Iterator[Chunk]:
        """Samples in SI from the columns as they stand, in the order of `names`.

        In pieces that the nearest caches hold: every later step walks over them.
        """
        for at in range(0, len(raw[0]), PIECE):
            scaled = [
                values[at : at + PIECE] * factor if factor != 1.0 else values[at : at + PIECE]
                for values, factor in zip(raw, self.factors, strict=True)
            ]
            rest = scaled[2:]
            v = rest.pop(0) if self.voltage else None
            m = rest[0] if self.marker else None
            yield Chunk(file=file, row=row + at, t=scaled[0], i=scaled[1], v=v, m=m)


def refused(file: str, read: str, expected: str, column: str = "trace") -> FaultError:
    """A fault of a trace."""
    return FaultError((Fault(column, read, expected, Place(file, 1, 1)),))


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
    if not path.is_file():
        raise refused(str(path), "no such file", "a trace")
    return found


def samples(path: Path, columns: Columns) -> Iterator[Chunk]:
    """Every sample of a trace, in the order of the file.

    Raises
    ------
    FaultError
        For a column that is not there, what is no number, and a file that cannot be read.
    """
    ending = ending_of(path)
    try:
        if ending == ".parquet":
            yield from _parquet(path, columns)
        elif ending == ".npy":
            yield from _array(path, columns)
        elif ending == ".npz":
            yield from _arrays(path, columns)
        elif ending.endswith(".gz"):
            yield from _packed_text(path, columns)
        else:
            yield from _text(path, columns)
    except (OSError, EOFError, zipfile.BadZipFile) as error:
        raise refused(str(path), f"{type(error).__name__}: {error}", "a whole file") from None


def is_rehearsed(path: Path) -> bool:
    """Whether a trace bears the mark of a rehearsal."""
    ending = ending_of(path)
    if ending == ".parquet":
        import polars as pl

        return "rehearsed" in pl.read_parquet_metadata(path)
    if ending == ".npz":
        with zipfile.ZipFile(path) as file:
            return "rehearsed.npy" in file.namelist()
    if ending == ".npy":
        return False
    try:
        with _opened(path) as file:
            return file.readline(4096).strip() == f"# {REHEARSED}".encode()
    except (OSError, EOFError):
        return False


def digest(paths: Sequence[Path]) -> str:
    """SHA-256 over the traces' bytes, in order."""
    found = hashlib.sha256()
    for path in paths:
        with open(path, "rb") as file:
            while block := file.read(BLOCK):
                found.update(block)
    return found.hexdigest()


def _opened(path: Path) -> IO[bytes]:
    if path.name.lower().endswith(".gz"):
        return gzip.open(path, "rb")  # type: ignore[return-value]
    return open(path, "rb")


def _known(columns: Columns, given: Sequence[str], file: str) -> None:
    """Refuse columns that are not there, all at once."""
    faults = [
        Fault(
            path=name,
            read=f'no column "{name}"',
            expected="one of " + ", ".join(given[:20])
            if given
            else "a header with the columns' names",
            place=Place(file, 1, 1),
            nearest=nearest(name, given),
        )
        for name in columns.names
        if given.count(name) != 1
    ]
    if faults:
        raise FaultError(faults)


@dataclass(frozen=True, slots=True)
class _Header:
    """What stands before the numbers of a text file."""

    skip: int
    separator: str
    names: tuple[str, ...]
    quoted: bool
    padded: bool = False


def _header(path: Path, columns: Columns) -> _Header:
    skip = 0
    with _opened(path) as file:
        while True:
            line = file.readline(1 << 16)
            if not line:
                raise refused(str(path), "an empty file", "a header and numbers")
            if line.startswith(b"#") or not line.strip():
                skip += 1
                continue
            break
        # looking for quotes costs a third of the reading: only where the first lines have some
        quoted = b'"' in line + file.readline(1 << 16)
    try:
        text = line.decode("utf-8-sig").strip("\r\n")
    except UnicodeDecodeError:
        raise refused(str(path), "a header that is not text", "text in UTF-8") from None
    separator = next((s for s in "\t;," if s in text), ",")
    names = tuple(name.strip() for name in next(csv.reader([text], delimiter=separator)))
    if separator == "," and columns.comma:
        raise refused(str(path), "commas between the columns", "another separator: decimal comma")
    _known(columns, names, str(path))
    padded = b'"' in line or any(name not in text.split(separator) for name in names)
    return _Header(skip=skip, separator=separator, names=names, quoted=quoted, padded=padded)


def _lazy(source: Any, head: _Header, columns: Columns, text: bool = False) -> pl.LazyFrame:
    """The wanted columns of a text, as numbers or as they stand."""
    import polars as pl

    kind = pl.String if text else pl.Float64
    first = head.skip == 0 and isinstance(source, bytes)
    return pl.scan_csv(
        source,
        has_header=not first,
        new_columns=None if not first else list(head.names),
        skip_lines=head.skip,
        separator=head.separator,
        quote_char='"' if head.quoted else None,
        # renaming slows the reading by a tenth: only names with blanks or quotes need it
        with_column_names=(lambda _: list(head.names)) if head.padded and not first else None,
        schema_overrides=dict.fromkeys(columns.names, kind),
        infer_schema=False,
        decimal_comma=columns.comma and not text,
        null_values=None,
        glob=False,
    ).select(columns.names)


def _frames(
    frames: Iterator[pl.DataFrame], path: Path, columns: Columns, row: int = 0
) -> Iterator[Chunk]:
    for frame in frames:
        if any(frame.null_count().row(0)):
            for name in columns.names:
                at = frame[name].is_null().arg_true()
                if len(at):
                    raise refused(str(path), f"nothing in row {row + at[0] + 1}", "a number", name)
        yield from columns.chunks(str(path), row, _floats(frame, columns))
        row += len(frame)


def _floats(frame: pl.DataFrame, columns: Columns) -> list[Floats]:
    import polars as pl

    last = len(columns.names) - 1
    return [
        # a marker is only compared
        (frame[name] if columns.marker and k == last else frame[name].cast(pl.Float64)).to_numpy()
        for k, name in enumerate(columns.names)
    ]


def _text(path: Path, columns: Columns) -> Iterator[Chunk]:
    import polars as pl

    head = _header(path, columns)
    try:
        batches = _lazy(path, head, columns).collect_batches(engine="streaming")
        yield from _frames(iter(batches), path, columns)
    except (pl.exceptions.ComputeError, pl.exceptions.SchemaError) as error:
        found = _no_number(_lazy(path, head, columns, text=True), columns)
        read = f"{found[1]} in row {found[2]}" if found else str(error).splitlines()[0]
        raise refused(str(path), read, "a number", found[0] if found else "trace") from None


def _no_number(lazy: pl.LazyFrame, columns: Columns) -> tuple[str, str, int] | None:
    """(column, what stands there, row) of the first cell that is no number."""
    import polars as pl

    row = 0
    try:
        for frame in lazy.collect_batches(engine="streaming"):
            for name in columns.names:
                raw = frame[name].str.replace(",", ".") if columns.comma else frame[name]
                bad = raw.str.strip_chars(" ").cast(pl.Float64, strict=False).is_null().arg_true()
                if len(bad):
                    return name, f'"{frame[name][bad[0]]}"', row + bad[0] + 1
            row += len(frame)
    except pl.exceptions.PolarsError:
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
            whole = rest + block
            cut = whole.rfind(b"\n") + 1 if block else len(whole)
            part, rest = whole[:cut], whole[cut:]
            if part.strip():
                bare = replace(head, skip=0)
                try:
                    frame = _lazy(part, bare, columns).collect()
                except pl.exceptions.PolarsError as error:
                    found = _no_number(_lazy(part, bare, columns, text=True), columns)
                    read = str(error).splitlines()[0]
                    if found:
                        read = f"{found[1]} in row {row + found[2]}"
                    raise refused(
                        str(path), read, "a number", found[0] if found else "trace"
                    ) from None
                yield from _frames(iter([frame]), path, columns, row)
                row += len(frame)
            if not block:
                return


def _parquet(path: Path, columns: Columns) -> Iterator[Chunk]:
    import polars as pl

    try:
        scan = pl.scan_parquet(path, glob=False)
        schema = scan.collect_schema()
        _known(columns, schema.names(), str(path))
        for name in columns.names:
            if not (schema[name].is_numeric() or schema[name] == pl.Boolean):
                raise refused(str(path), f"a column of {schema[name]}", "numbers", name)
        yield from _frames(
            iter(scan.select(columns.names).collect_batches(engine="streaming")), path, columns
        )
    except pl.exceptions.PolarsError as error:
        raise refused(str(path), str(error).splitlines()[0], "a Parquet file") from None


def _array(path: Path, columns: Columns) -> Iterator[Chunk]:
    """A structured array, mapped from the file."""
    try:
        whole = np.load(path, mmap_mode="r", allow_pickle=False)
    except ValueError as error:
        raise refused(str(path), str(error), "an array of numbers") from None
    _known(columns, whole.dtype.names or (), str(path))
    for at in range(0, len(whole), ROWS):
        piece = whole[at : at + ROWS]
        yield from columns.chunks(
            str(path), at, [_numbers(piece[n], path, n) for n in columns.names]
        )


def _arrays(path: Path, columns: Columns) -> Iterator[Chunk]:
    """An archive of arrays, one a column, read piece by piece."""
    with zipfile.ZipFile(path) as file:
        names = [n.removesuffix(".npy") for n in file.namelist()]
        _known(columns, names, str(path))
        members = [file.open(f"{n}.npy") for n in columns.names]
        try:
            heads = [_array_head(m, path, n) for m, n in zip(members, columns.names, strict=True)]
            length = heads[0][0]
            for (size, _), name in zip(heads, columns.names, strict=True):
                if size != length:
                    raise refused(str(path), f"{size} numbers", f"{length}, as in time", name)
            for at in range(0, length, ROWS):
                count = min(ROWS, length - at)
                raw = []
                for member, (_, kind), name in zip(members, heads, columns.names, strict=True):
                    data = member.read(count * kind.itemsize)
                    if len(data) < count * kind.itemsize:
                        raise EOFError("the file breaks off")
                    raw.append(_numbers(np.frombuffer(data, kind), path, name))
                yield from columns.chunks(str(path), at, raw)
        finally:
            for member in members:
                member.close()


def _array_head(member: IO[bytes], path: Path, name: str) -> tuple[int, np.dtype[Any]]:
    from numpy.lib import format as layout

    try:
        version = layout.read_magic(member)
        read = layout.read_array_header_1_0 if version == (1, 0) else layout.read_array_header_2_0
        shape, _, kind = read(member)
    except ValueError as error:
        raise refused(str(path), str(error), "an array of numbers", name) from None
    if len(shape) != 1:
        raise refused(str(path), f"an array of {len(shape)} dimensions", "one dimension", name)
    return shape[0], kind


def _numbers(values: NDArray[Any], path: Path, name: str) -> Floats:
    if values.dtype.kind not in "fiub":
        raise refused(str(path), f"values of type {values.dtype}", "numbers", name)
    return np.ascontiguousarray(values, dtype=np.float64)


def text_of(t: Floats, i: Floats, m: Floats, header: bool) -> bytes:
    """Samples as lines of a text trace, s, A and marker; with `header` the rehearsal's mark."""
    import polars as pl

    out = io.BytesIO()
    if header:
        out.write(f"# {REHEARSED}\nt,i,m\n".encode())
    frame = pl.DataFrame({"t": t, "i": i, "m": m.astype(np.int8)})
    frame.write_csv(out, include_header=False)
    return out.getvalue()
