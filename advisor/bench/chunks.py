"""Samples of a trace in SI, what of its columns makes them so, and faults at their own cells."""

from __future__ import annotations

import csv
import gzip
import io
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import islice
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.schema_bench import TraceColumns
from advisor.dataclass import dataclass
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
    from 0; a `timeless` file has no time. `above` counts the lines before the first row, and
    `separator` stands between cells (a blank: any number of them), where the file is text.
    """

    file: str
    columns: tuple[int, ...]
    above: int
    separator: str
    timeless: bool
    encoding: str = "utf-8"

    def place(self, row: int, which: int) -> Place:
        """The cell of a row, from 0: line and column of a text, row and column of an array."""
        column = self.columns[which] if which < len(self.columns) else 0
        if not self.separator:
            return Place(self.file, row + 1, column + 1)
        line = self.above + row
        try:
            with opened(Path(self.file)) as file:
                lines = io.TextIOWrapper(file, self.encoding, "replace", newline="\n")
                text = next(islice(lines, line, None), "")
        except (OSError, EOFError, UnicodeError):
            text = ""
        if self.separator == " ":
            starts = [found.start() for found in re.finditer(r"\S+", text)]
            return Place(self.file, line + 1, (starts[column] if column < len(starts) else 0) + 1)
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
        if self.cells.timeless:
            order.remove("time")
            if name == "time":
                return refused(
                    self.file, read, expected, name, self.cells.above + self.row + at + 1
                )
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
class Stamps:
    """How the times of samples are told (`TimeColumn`).

    `rate` in 1/s where it tells them, `jitter` in s where stamps beside it only show that no sample
    is missing.
    """

    kind: str = "time"
    column: bool = True
    rate: float | None = None
    jitter: float | None = None

    @property
    def plain(self) -> bool:
        """Whether a factor makes the column times."""
        return self.column and self.kind in ("time", "index") and self.jitter is None

    @property
    def exact(self) -> bool:
        """Whether stamps have more digits than a double tells."""
        return self.kind in ("epoch", "date-time")


@dataclass(frozen=True, slots=True)
class Layout:
    """How a text file is laid out, where notes say more than its columns (`TraceColumns`)."""

    delimiter: str | None = None
    thousands: str | None = None
    encoding: str = "utf-8"
    skip: int = 0
    header: bool = True
    unit_rows: int = 0
    footer: int = 0


DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|", "blanks": " "}


@dataclass(frozen=True, slots=True)
class Columns:
    """Which columns to read and what makes them SI.

    `places` of them in a row, from 1, 0 where the name tells; () where all names do. `units` as the
    notes have them, None for what bears none.
    """

    names: tuple[str, ...]
    factors: tuple[float, ...]
    voltage: bool
    marker: bool
    comma: bool
    stamps: Stamps = Stamps()
    layout: Layout = Layout()
    places: tuple[int, ...] = ()
    units: tuple[tuple[str, str] | None, ...] = ()

    @classmethod
    def of(cls, columns: TraceColumns) -> Columns:
        """From the notes."""
        current, shunt, time = columns.current, columns.current.shunt, columns.time
        across = "current" if shunt is None else "voltage"
        per = spellings(across)[current.unit] / (1.0 if shunt is None else shunt.nominal)
        given: list[tuple[Any, float, tuple[str, str] | None]] = []
        rate = None if time.rate is None else time.rate.nominal
        if time.column is not None or time.place is not None:
            unit = None if time.unit is None else ("time", time.unit)
            factor = 1.0 if unit is None or time.kind == "epoch" else spellings("time")[unit[1]]
            given.append((time, 1.0 / rate if rate and time.kind == "index" else factor, unit))
        given.append((current, per, (across, current.unit)))
        if columns.voltage is not None:
            unit = ("voltage", columns.voltage.unit)
            given.append((columns.voltage, spellings("voltage")[unit[1]], unit))
        if columns.marker is not None:
            given.append((columns.marker, 1.0, None))
        places = tuple(column.place or 0 for column, _, _ in given)
        return cls(
            names=tuple(named(column.column, column.place) for column, _, _ in given),
            factors=tuple(factor for _, factor, _ in given),
            voltage=columns.voltage is not None,
            marker=columns.marker is not None,
            comma=columns.decimal == "comma",
            stamps=Stamps(
                kind=time.kind,
                column=time.column is not None or time.place is not None,
                rate=rate,
                jitter=None if time.jitter is None else time.jitter.nominal,
            ),
            layout=Layout(
                delimiter=columns.delimiter and DELIMITERS[columns.delimiter],
                thousands=columns.thousands,
                encoding=columns.encoding,
                skip=columns.skip,
                header=columns.header == "names",
                unit_rows=columns.unit_rows,
                footer=columns.footer,
            ),
            places=places if any(places) else (),
            units=tuple(unit for _, _, unit in given),
        )

    @property
    def declared(self) -> bool:
        """Whether a text file is laid out in a way that only the notes tell."""
        return self.layout != Layout() or bool(self.places) or self.stamps.exact

    def time_and_current(self) -> Columns:
        """The same without voltage and marker."""
        count = 1 + self.stamps.column
        return replace(
            self,
            names=self.names[:count],
            factors=self.factors[:count],
            voltage=False,
            marker=False,
            places=self.places[:count],
            units=self.units[:count],
        )

    def chunks(self, cells: Cells, row: int, raw: Sequence[NDArray[Any]]) -> Iterator[Chunk]:
        """Samples in SI from the columns as they stand, in the order of `names`.

        In pieces that the nearest caches hold: every later step walks over them. Without a column
        of times they are the samples' numbers.
        """
        for at in range(0, len(raw[0]), PIECE):
            with np.errstate(over="ignore"):  # `finite` refuses what comes of it
                scaled = [
                    values[at : at + PIECE] * factor if factor != 1.0 else values[at : at + PIECE]
                    for values, factor in zip(raw, self.factors, strict=True)
                ]
            if not self.stamps.column:
                scaled.insert(0, np.arange(row + at, row + at + len(scaled[0]), dtype=np.float64))
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
        return Cells(
            file=file,
            columns=tuple(given.index(name) for name in self.names),
            above=above,
            separator=separator,
            timeless=not self.stamps.column,
        )


def named(column: str | None, place: int | None) -> str:
    """What a column is called in faults: its name, or its place."""
    return column if column is not None else f"column {place}"


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
        (
            frame[name]
            if (columns.marker and k == last) or (columns.stamps.exact and k == 0)
            else frame[name].cast(pl.Float64)
        ).to_numpy()
        for k, name in enumerate(columns.names)
    ]


def split(text: str, separator: str) -> tuple[str, ...] | None:
    """The cells of one line, without blanks around them; None where it is no such line."""
    try:
        rows = list(csv.reader([text], delimiter=separator))
    except csv.Error:
        return None
    return tuple(cell.strip() for cell in rows[0]) if len(rows) == 1 else None
