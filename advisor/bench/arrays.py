"""Traces that are no text: Parquet, a structured array, an archive of arrays."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from advisor.bench.chunks import Cells, Chunk, Columns, Floats, of_frames, refused
from advisor.faults import Fault, FaultError

if TYPE_CHECKING:
    import polars as pl

ROWS = 1 << 17  # samples of an array taken at a time
_EXPECTED = "an array of numbers"


def parquet(path: Path, columns: Columns) -> Iterator[Chunk]:
    """Samples of a Parquet file.

    Raises
    ------
    FaultError
        For what is no such file, or has no such columns of numbers.
    """
    import polars as pl

    try:
        scan = pl.scan_parquet(path, glob=False)
        schema = scan.collect_schema()
        cells = columns.cells(str(path), schema.names())
        for which, name in enumerate(columns.names):
            if not (schema[name].is_numeric() or schema[name] == pl.Boolean):
                read = f"a column of {schema[name]}"
                raise FaultError((Fault(name, read, "numbers", cells.place(0, which)),))
        rows = int(scan.select(pl.len()).collect().item())
        batches = scan.select(columns.names).collect_batches(engine="streaming")
        yield from of_frames(_whole(path, iter(batches), rows), cells, columns)
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
        raise refused(str(path), _first_line(error), "a whole Parquet file") from None


def _whole(path: Path, frames: Iterator[pl.DataFrame], rows: int) -> Iterator[pl.DataFrame]:
    """Frames of so many rows; that they break off is no error to their reader."""
    counted = 0
    for frame in frames:
        counted += len(frame)
        yield frame
    if counted != rows:
        raise refused(str(path), f"{counted} of {rows} rows", "a whole Parquet file")


def parquet_marked(path: Path) -> bool:
    """Whether a Parquet file bears the mark of a rehearsal.

    Raises
    ------
    FaultError
        For what is no such file.
    """
    import polars as pl

    try:
        return "rehearsed" in pl.read_parquet_metadata(path)
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
        raise refused(str(path), _first_line(error), "a whole Parquet file") from None


def _first_line(error: BaseException) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0]


def _mapped(path: Path) -> Any:
    """What NumPy finds in a file, mapped from it."""
    try:
        return np.load(path, mmap_mode="r", allow_pickle=False)
    except OSError:
        raise
    except Exception as error:
        # the header is an expression, so a damaged one may fail in any way that parsing can
        raise refused(str(path), _first_line(error), _EXPECTED) from None


def array(path: Path, columns: Columns) -> Iterator[Chunk]:
    """Samples of a structured array, mapped from the file.

    Raises
    ------
    FaultError
        For what is no such array of one dimension, or has no such fields of numbers.
    """
    whole = _mapped(path)
    if not isinstance(whole, np.ndarray):
        whole.close()
        raise refused(str(path), "an archive of arrays", "one array, or a name that ends in .npz")
    cells = columns.cells(str(path), whole.dtype.names or ())
    if whole.ndim != 1:
        raise refused(str(path), f"an array of {whole.ndim} dimensions", "one dimension")
    for at in range(0, len(whole), ROWS):
        piece = whole[at : at + ROWS]
        raw = [_numbers(piece[name], cells, name, k) for k, name in enumerate(columns.names)]
        yield from columns.chunks(cells, at, raw)


def members(path: Path) -> list[str]:
    """Names of the arrays of an archive, without their ending."""
    with zipfile.ZipFile(path) as file:
        return [name.removesuffix(".npy") for name in file.namelist()]


def archive(path: Path, columns: Columns) -> Iterator[Chunk]:
    """Samples of an archive of arrays, one a column, read piece by piece.

    Raises
    ------
    FaultError
        For arrays that are not there, not of one dimension, not of numbers or not of one length.
    """
    cells = columns.cells(str(path), members(path))
    with zipfile.ZipFile(path) as file:
        held: list[IO[bytes]] = []
        try:
            for name in columns.names:
                held.append(_member(file, f"{name}.npy", path))
            heads = [_head(m, path, n) for m, n in zip(held, columns.names, strict=True)]
            length = heads[0][0]
            for (size, _), name in zip(heads, columns.names, strict=True):
                if size != length:
                    raise refused(str(path), f"{size} numbers", f"{length}, as in time", name)
            for at in range(0, length, ROWS):
                count = min(ROWS, length - at)
                raw = []
                for which, (member, (_, kind)) in enumerate(zip(held, heads, strict=True)):
                    data = member.read(count * kind.itemsize)
                    if len(data) < count * kind.itemsize:
                        raise EOFError("the file breaks off")
                    name = columns.names[which]
                    raw.append(_numbers(np.frombuffer(data, kind), cells, name, which))
                yield from columns.chunks(cells, at, raw)
        finally:
            for member in held:
                member.close()


def _member(file: zipfile.ZipFile, name: str, path: Path) -> IO[bytes]:
    try:
        return file.open(name)
    except (KeyError, NotImplementedError, RuntimeError) as error:
        # not there under that spelling, packed in a way that is not known, or under a password
        raise refused(str(path), _first_line(error), "a plain archive of arrays", name) from None


def _head(member: IO[bytes], path: Path, name: str) -> tuple[int, np.dtype[Any]]:
    """(length, kind of number) of an array of an archive."""
    from numpy.lib import format as layout

    try:
        version = layout.read_magic(member)
        read = layout.read_array_header_1_0 if version == (1, 0) else layout.read_array_header_2_0
        shape, _, kind = read(member)
    except (OSError, EOFError, zipfile.BadZipFile):
        raise
    except Exception as error:
        # the header is an expression, so a damaged one may fail in any way that parsing can
        raise refused(str(path), _first_line(error), _EXPECTED, name) from None
    if len(shape) != 1:
        raise refused(str(path), f"an array of {len(shape)} dimensions", "one dimension", name)
    if shape[0] < 0:
        raise refused(str(path), f"an array of {shape[0]} numbers", _EXPECTED, name)
    _only_numbers(kind, path, name)
    return shape[0], kind


def _only_numbers(kind: np.dtype[Any], path: Path, name: str) -> None:
    if kind.kind not in "fiub" or kind.shape:
        raise refused(str(path), f"values of type {kind}", "numbers", name)


def _numbers(values: NDArray[Any], cells: Cells, name: str, which: int) -> Floats:
    if values.dtype.kind not in "fiub" or values.ndim != 1:
        read = f"values of type {values.dtype}" + ", several a row" * (values.ndim != 1)
        raise FaultError((Fault(name, read, "numbers", cells.place(0, which)),))
    with np.errstate(over="ignore"):  # longer floats than ours
        return np.ascontiguousarray(values, dtype=np.float64)


def beginning(path: Path, ending: str, rows: int) -> dict[str, Floats]:
    """The first numbers of each column, by its name; what is no column of numbers is left out.

    Raises
    ------
    FaultError
        For what is no such file.
    """
    if ending == ".parquet":
        import polars as pl

        try:
            frame = pl.scan_parquet(path, glob=False).head(rows).collect()
        except (pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
            raise refused(str(path), _first_line(error), "a whole Parquet file") from None
        kinds = frame.schema.items()
        named = [n for n, kind in kinds if kind.is_numeric() or kind == pl.Boolean]
        return {n: frame[n].cast(pl.Float64).drop_nulls().to_numpy() for n in named}
    if ending == ".npz":
        out: dict[str, Floats] = {}
        with zipfile.ZipFile(path) as file:
            for name in members(path):
                with _member(file, f"{name}.npy", path) as member:
                    length, kind = _head(member, path, name)
                    data = member.read(min(rows, length) * kind.itemsize)
                    out[name] = np.frombuffer(data, kind).astype(np.float64)
        return out
    columns = _mapped(path)
    names = columns.dtype.names or ()
    return {n: np.asarray(columns[n][:rows], dtype=np.float64) for n in names}
