"""A file of hours: rows of a text file to days, and what these tell by month.

The file is bounded, every row is held against the step of the first two, and no day may lack one:
a gap is a fault with its line, since what is not there is not nothing. Times with an offset from
UTC are held by the instant, and their days and months go by the clock that wrote them: a day on
which that is put forward or back has an hour less or more.
"""

from __future__ import annotations

import csv
import hashlib
import io
import math
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

from yaml.nodes import Node

from advisor.catalogue.kinds import Reading
from advisor.catalogue.schema_hourly import DELIMITERS, MONTHS, UNITS, Days, FileOfHours
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError, Place, nearest
from advisor.quantities import exact
from advisor.source import open_file

if TYPE_CHECKING:
    import numpy as np

LARGEST = 16 * 1024 * 1024  # bytes: forty years of hours
MOST_ROWS = 400_000
LONGEST_CELL = 64
STEPS = (60, 21600)  # s: from a minute to a quarter of a day
DARK = 0.01  # of the day's greatest row: what is below brings nothing
DAY = 86400
EVEN = 1e-9  # of a mean, below which days differ by rounding alone
FEWEST = 2  # days of a month, below which it has no spread


@dataclass(frozen=True, slots=True)
class _Row:
    """A row: its time as the clock on the wall says it, and that clock's offset from UTC, where it
    is told."""

    line: int
    start: datetime
    value: float
    offset: timedelta | None = None

    @property
    def instant(self) -> datetime:
        """When it was, by one clock for all rows."""
        return self.start if self.offset is None else self.start - self.offset


class _RefusedError(Exception):
    """What is wrong with the file, and where."""

    def __init__(
        self, line: int, read: str, expected: str, column: int = 1, near: str | None = None
    ) -> None:
        super().__init__(read)
        self.line, self.read, self.expected = line, read, expected
        self.column, self.near = column, near


def read_days(declared: FileOfHours, node: Node, path: str, reading: Reading) -> FileOfHours | None:
    """The same with what its file tells; None after noting why it tells nothing."""
    beside = Path(reading.file).parent
    place = beside / declared.name
    shown = str(place)
    try:
        with open_file(place, shown, "a text file of hours") as handle:
            data = handle.read(LARGEST + 1)
    except FaultError as error:
        for fault in error.faults:
            reading.fault(node, f"{path}.name", f'"{declared.name}": {fault.read}', fault.expected)
        return None
    except OSError as error:
        why = error.strerror or "an error"
        reading.fault(node, f"{path}.name", why, "a file that can be read")
        return None
    try:
        return replace(declared, days=days_of(data, declared))
    except _RefusedError as found:
        reading.log.add(
            Fault(
                path=f"{reading.identity}:{path}",
                read=found.read,
                expected=found.expected,
                place=Place(shown, found.line, found.column),
                nearest=found.near,
            )
        )
        return None


def days_of(data: bytes, declared: FileOfHours) -> Days:
    """What the bytes of a file of hours tell of its days; see `Days`."""
    if len(data) > LARGEST:
        raise _RefusedError(1, "a larger file", f"at most {LARGEST // 1024**2} MiB")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise _RefusedError(line, f"byte 0x{data[error.start]:02x}", "text in UTF-8") from None
    import numpy as np

    dimension, factor, rate = UNITS[declared.unit]
    rows = _rows(text, declared)
    step = _step(rows)
    days = _whole_days(rows, step)
    scale = factor * (step if rate else 1.0)
    totals = np.array([sum(row.value for row in day) for day in days]) * scale
    month = np.array([day[0].start.month - 1 for day in days])
    counts = np.bincount(month, minlength=12)
    few = [MONTHS[m] for m in np.flatnonzero(counts < FEWEST)]
    if few:
        read = f"fewer than {FEWEST} days in {', '.join(few)}"
        raise _RefusedError(rows[-1].line, read, "days of all twelve months")
    means = np.bincount(month, totals, minlength=12) / counts
    if not means.any():
        raise _RefusedError(rows[-1].line, "nothing but zeros", "something that is harvested")
    spread, persistence = _scatter(days, totals, month, means)
    dark = np.array([_dark(day, step) for day in days])
    lit = totals > 0
    nights = [
        float(dark[lit & (month == m)].mean()) for m in range(12) if (lit & (month == m)).any()
    ]
    return Days(
        dimension=dimension,
        months={name: exact(float(means[m]), dimension) for m, name in enumerate(MONTHS)},
        spread=exact(spread, "ratio"),
        persistence=exact(persistence, "share"),
        night=exact(max(nights), "time"),
        count=len(days),
        digest=hashlib.sha256(data).hexdigest(),
    )


def _rows(text: str, declared: FileOfHours) -> list[_Row]:
    """The rows below the line that names the columns."""
    handle = io.StringIO(text, newline="")
    for _ in range(declared.skip):
        handle.readline()
    lines = csv.reader(handle, delimiter=DELIMITERS[declared.delimiter])
    first = declared.skip
    out: list[_Row] = []
    try:
        head = [name.strip() for name in next(lines, [])]
        places = [_column(head, name, first + 1) for name in (declared.time, declared.value)]
        for cells in lines:
            line = first + lines.line_num
            if not any(cell.strip() for cell in cells):
                continue
            if len(out) >= MOST_ROWS:
                raise _RefusedError(line, "more rows", f"at most {MOST_ROWS} rows")
            out.append(_row(cells, places, declared, line))
            if (out[-1].offset is None) != (out[0].offset is None):
                told = "no" if out[-1].offset is None else "an"
                raise _RefusedError(
                    line,
                    f'"{cells[places[0]].strip()}", with {told} offset from UTC',
                    "an offset from UTC in every row, or in none",
                    places[0] + 1,
                )
    except csv.Error as error:
        raise _RefusedError(first + lines.line_num, str(error), "rows of cells") from None
    if len(out) < 2:
        raise _RefusedError(first + 1, f"{len(out)} rows", "rows of hours")
    if declared.stamp == "end":
        out = _from_ends(out)
    return out


def _from_ends(rows: list[_Row]) -> list[_Row]:
    """Rows whose times are those of their ends, by their starts: where the row before ended, if
    that was a step before, by the clock of then."""
    step = rows[1].instant - rows[0].instant
    out = [replace(rows[0], start=rows[0].start - step)]
    for before, row in pairwise(rows):
        if row.instant - before.instant == step:
            out.append(replace(row, start=before.start, offset=before.offset))
        else:
            out.append(replace(row, start=row.start - step))
    return out


def _column(head: list[str], name: str, line: int) -> int:
    if head.count(name) != 1:
        often = "twice" if name in head else "no such column"
        near = None if name in head else nearest(name, head)
        raise _RefusedError(
            line, f'"{name}": {often}', "a column that the file names once", 1, near
        )
    return head.index(name)


def _row(cells: list[str], places: list[int], declared: FileOfHours, line: int) -> _Row:
    told = []
    for place in places:
        cell = cells[place].strip() if place < len(cells) else ""
        if not cell or len(cell) > LONGEST_CELL:
            read = "nothing" if not cell else f'"{cell[:LONGEST_CELL]}…"'
            raise _RefusedError(line, read, "a time and a value in every row", place + 1)
        told.append(cell)
    try:
        stamp = datetime.fromisoformat(told[0])
    except ValueError:
        expected = "a time such as 2026-03-11T14:00"
        raise _RefusedError(line, f'"{told[0]}"', expected, places[0] + 1) from None
    try:
        number = told[1].replace(",", ".") if declared.decimal == "comma" else told[1]
        value = float(number)
    except ValueError:
        raise _RefusedError(line, f'"{told[1]}"', "a number", places[1] + 1) from None
    if not math.isfinite(value) or value < 0 or value > 1e12:
        raise _RefusedError(line, f'"{told[1]}"', "a number not below zero", places[1] + 1)
    return _Row(line, stamp.replace(tzinfo=None), value, stamp.utcoffset())


def _step(rows: list[_Row]) -> int:
    """Seconds from one row to the next."""
    between = rows[1].instant - rows[0].instant
    seconds = int(between.total_seconds())
    whole = between == timedelta(seconds=seconds)
    if not whole or not STEPS[0] <= seconds <= STEPS[1] or DAY % seconds:
        read = f"{between.total_seconds():g} s after the row before"
        raise _RefusedError(
            rows[1].line, read, "rows a step of 1 min to 6 h apart that divides the day"
        )
    return seconds


def _whole_days(rows: list[_Row], step: int) -> list[list[_Row]]:
    """The rows by day, each of which has all of its rows, in order; days may be of any years."""
    days: list[list[_Row]] = []
    for row in rows:
        if days and days[-1][0].start.date() == row.start.date():
            gap = row.instant - days[-1][-1].instant
            if gap != timedelta(seconds=step):
                read = f"{gap.total_seconds():g} s after the row before"
                expected = f"rows {step} s apart"
                if row.offset is None:
                    expected += ", without a change to summer time unless offsets from UTC tell it"
                raise _RefusedError(row.line, read, expected)
            days[-1].append(row)
        else:
            days.append([row])
    before: _Row | None = None
    for day in days:
        length = timedelta(seconds=DAY) - _put_forward(before, day, step)
        # a change by less than a step leaves a row that lies in two days
        fewest = length // timedelta(seconds=step)
        most = -(-length // timedelta(seconds=step))
        if not fewest <= len(day) <= most:
            read = f"{len(day)} rows on {day[0].start.date().isoformat()}"
            raise _RefusedError(day[0].line, read, f"{fewest} rows a day, {step} s apart")
        before = day[-1]
    return days


def _put_forward(before: _Row | None, day: list[_Row], step: int) -> timedelta:
    """By how much the clock is put forward on a day, at its start too where the day before ends
    with the row `before`; below zero where it is put back."""
    first, last = day[0], day[-1]
    if first.offset is None or last.offset is None:
        return timedelta(0)
    follows = before is not None and first.instant - before.instant == timedelta(seconds=step)
    held = before.offset if follows and before is not None else None
    return last.offset - (first.offset if held is None else held)


def _scatter(
    days: list[list[_Row]], totals: np.ndarray, month: np.ndarray, means: np.ndarray
) -> tuple[float, float]:
    """Standard deviation of days about their month's mean, and their correlation with the next day.

    A month that brings nothing has no scatter. The months' means are taken from the same days, so
    as many degrees of freedom are gone.
    """
    import numpy as np

    lit = means[month] > 0
    off = np.where(lit, totals / np.where(lit, means[month], 1.0) - 1.0, 0.0)
    free = int(lit.sum()) - int((means > 0).sum())
    square = float((off**2).sum())
    spread = math.sqrt(square / free) if free > 0 else 0.0
    following = np.array(
        [(b[0].start.date() - a[0].start.date()).days == 1 for a, b in pairwise(days)]
    )
    pairs = following & lit[1:] & lit[:-1]
    if spread < EVEN or not pairs.any():
        return min(spread, 3.0) if spread >= EVEN else 0.0, 0.0
    product = float((off[1:] * off[:-1])[pairs].mean())
    return min(spread, 3.0), min(max(product / (square / int(lit.sum())), 0.0), 0.95)


def _dark(day: list[_Row], step: int) -> float:
    """Seconds of a day that bring next to nothing."""
    greatest = max(row.value for row in day)
    return float(step * sum(row.value <= DARK * greatest for row in day))
