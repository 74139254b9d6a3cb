"""Samples of a trace in SI, what of its columns makes them so, and faults at their own cells."""

from __future__ import annotations

import csv
import gzip
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
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

PIECE = 1 << 15  # samples worked on at a time
MOST_COLUMNS = 4096  # of a trace; a meter writes a few
LARGEST = 1e15  # of any sample in SI: beyond it a double tells no microsecond and no microampere
LONGEST = 1 << 16  # bytes of a line of text


@dataclass(frozen=True, slots=True)
class Cells:
    """Where the numbers of a file stand.

    `columns` are the places of time, current, voltage and marker in a row, as far as they are read,
    from 0. `above` counts the lines before the first row, and `separator` stands between cells,
    where the file is text.
    """

    file: str
    columns: tuple[int, ...]
    above: int = 0
    separator: str = ""

    def place(self, row: int, which: int) -> Place:
        """The cell of a row, from 0: line and column of a text, row and column of an array."""
        column = self.columns[which] if which < len(self.columns) else 0
        if not self.separator:
            return Place(self.file, row + 1, column + 1)
        line = self.above + row
        try:
            with opened(Path(self.file)) as file:
                text = next(islice(file, line, None), b"").decode("utf-8", "replace")
        except (OSError, EOFError):
            text = ""
        at = 0
        for cell in text.split(self.separator)[:column]:
            at += len(cell) + len(self.separator)
        return Place(self.file, line + 1, min(at, len(text)) + 1)


@dataclass(frozen=True, slots=True)
class Chunk:
    """Successive samples: t in s, i in A (across a shunt: V over its stated value), v in V.

    `m` is the marker as it stands. `file` and `row` tell where the first one stands, and `cells`
    where in the file the numbers of a row are.
    """

    file: str
    row: int
    t: Floats
    i: Floats
    v: Floats | None = None
    m: NDArray[Any] | None = None
    cells: Cells | None = None

    def piece(self, rows: slice) -> Chunk:
        """Some of the samples."""
        first = range(len(self.t))[rows]
        return replace(
            self,
            row=self.row + (first[0] if len(first) else 0),
            t=self.t[rows],
            i=self.i[rows],
            v=None if self.v is None else self.v[rows],
            m=None if self.m is None else self.m[rows],
        )

    def finite(self) -> None:
        """Refuse what is not a finite number, or so great that sums of it mean nothing.

        Raises
        ------
        FaultError
            With the place of the first such sample.
        """
        named = {"time": self.t, "current": self.i, "voltage": self.v, "marker": self.m}
        for name, values in named.items():
            # the extremes show it in two passes that cost less than a test of each sample
            if values is not None and values.dtype.kind == "f" and len(values):
                # a marker is only compared
                most = np.finfo(float).max if name == "marker" else LARGEST
                if -most <= values.min() and values.max() <= most:
                    continue
                at = int(np.flatnonzero(~(np.abs(values) <= most))[0])
                if math.isfinite(values[at]):
                    read, expected = f"{values[at]:.4g}", f"at most {LARGEST:g} in SI"
                else:
                    read, expected = "no number", "a number"
                raise self.refused(at, name, f"{read} in row {self.row + at + 1}", expected)

    def refused(self, at: int, name: str, read: str, expected: str) -> FaultError:
        """A fault of one of these samples' time, current, voltage or marker."""
        order = ["time", "current", "voltage", "marker"]
        if self.v is None:
            order.remove("voltage")
        if self.cells is None:
            return refused(self.file, read, expected, name)
        place = self.cells.place(self.row + at, order.index(name))
        return FaultError((Fault(name, read, expected, place),))

    def joined(self, later: Chunk) -> Chunk:
        """These samples and later ones."""

        def both(a: NDArray[Any] | None, b: NDArray[Any] | None) -> NDArray[Any] | None:
            return None if a is None or b is None else np.concatenate((a, b))

        return replace(
            self,
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

    def chunks(self, cells: Cells, row: int, raw: Sequence[NDArray[Any]]) -> Iterator[Chunk]:
        """Samples in SI from the columns as they stand, in the order of `names`.

        In pieces that the nearest caches hold: every later step walks over them.
        """
        for at in range(0, len(raw[0]), PIECE):
            with np.errstate(over="ignore"):  # `finite` refuses what comes of it
                scaled = [
                    values[at : at + PIECE] * factor if factor != 1.0 else values[at : at + PIECE]
                    for values, factor in zip(raw, self.factors, strict=True)
                ]
            rest = scaled[2:]
            v = rest.pop(0) if self.voltage else None
            m = rest[0] if self.marker else None
            yield Chunk(
                file=cells.file, row=row + at, t=scaled[0], i=scaled[1], v=v, m=m, cells=cells
            )

    def cells(self, file: str, given: Sequence[str], above: int = 0, separator: str = "") -> Cells:
        """Where the columns stand among those of a file.

        Raises
        ------
        FaultError
            With every column that is not there, or there twice, and for too many columns.
        """
        line = max(above, 1)
        if len(given) > MOST_COLUMNS:
            expected = f"a trace of at most {MOST_COLUMNS} columns"
            raise refused(file, f"{len(given)} columns", expected, line=line)
        shown = ", ".join(name[:60] for name in given[:20])
        faults = [
            Fault(
                path=name,
                read=f'no column "{name}"'
                if name not in given
                else f'{given.count(name)} columns "{name}"',
                expected=f"one of {shown}" if given else "a header with the columns' names",
                place=Place(file, line, 1),
                nearest=nearest(name, given),
            )
            for name in self.names
            if given.count(name) != 1
        ]
        if faults:
            raise FaultError(faults)
        columns = tuple(given.index(name) for name in self.names)
        return Cells(file=file, columns=columns, above=above, separator=separator)


def refused(
    file: str, read: str, expected: str, column: str = "trace", line: int = 1
) -> FaultError:
    """A fault of a trace."""
    return FaultError((Fault(column, read, expected, Place(file, line, 1)),))


def opened(path: Path) -> IO[bytes]:
    """A text trace, unpacked."""
    if path.name.lower().endswith(".gz"):
        return gzip.open(path, "rb")  # type: ignore[return-value]
    return open(path, "rb")


def of_frames(
    frames: Iterator[pl.DataFrame], cells: Cells, columns: Columns, row: int = 0
) -> Iterator[Chunk]:
    """Samples of data frames with the wanted columns, the first row of them at `row`."""
    for frame in frames:
        if any(frame.null_count().row(0)):
            for which, name in enumerate(columns.names):
                at = frame[name].is_null().arg_true()
                if len(at):
                    place = cells.place(row + at[0], which)
                    read = f"nothing in row {row + at[0] + 1}"
                    raise FaultError((Fault(name, read, "a number", place),))
        yield from columns.chunks(cells, row, _floats(frame, columns))
        row += len(frame)


def _floats(frame: pl.DataFrame, columns: Columns) -> list[Floats]:
    import polars as pl

    last = len(columns.names) - 1
    return [
        # a marker is only compared
        (frame[name] if columns.marker and k == last else frame[name].cast(pl.Float64)).to_numpy()
        for k, name in enumerate(columns.names)
    ]


def split(text: str, separator: str) -> tuple[str, ...] | None:
    """The cells of one line, without blanks around them; None where it is no such line."""
    try:
        rows = list(csv.reader([text], delimiter=separator))
    except csv.Error:
        return None
    return tuple(cell.strip() for cell in rows[0]) if len(rows) == 1 else None
