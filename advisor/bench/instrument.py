"""The meter as it is: ranges with their limits of error, and what one of its samples stands for.

A range's errors are its own: an offset that two readings share cancels between them only where one
range took both. Which range took a reading is told from its size, the smallest that holds it; near
a range's end both it and the next are possible, and the wider limit holds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

from advisor.bench.budget import Term, limit_of_error
from advisor.catalogue.load import read_document
from advisor.catalogue.schema_bench import (
    Instrument,
    InstrumentFile,
    TraceColumns,
    VoltageChannel,
    VoltageColumn,
)
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError, Place
from advisor.quantities import Quantity
from advisor.source import Document

GAIN = "gain of the meter"
OFFSET = "offset of the meter"
CLOCK = "clock of the meter"
SHUNT = "shunt"
NEAR_END = 0.9  # share of a range's end from which the next may have read; common practice


@dataclass(frozen=True, slots=True)
class Range:
    """One range: it reads up to `to`, A, endless where nothing is stated; limits of error, A."""

    name: str
    to: float
    gain: Quantity | None = None
    offset: Quantity | None = None
    resolution: float | None = None
    noise: float | None = None


@dataclass(frozen=True, slots=True)
class Channel:
    """A voltage channel's statement: limits of error, the step of its codes in V."""

    gain: Quantity | None = None
    offset: Quantity | None = None
    resolution: float | None = None

    @classmethod
    def of(cls, given: VoltageChannel | VoltageColumn) -> Channel:
        """As a meter's file or the notes state it."""
        return cls(gain=given.gain, offset=given.offset, resolution=_or_none(given.resolution))

    @property
    def silent(self) -> list[str]:
        """Limits of error that nobody states."""
        return [name for name in ("gain", "offset") if getattr(self, name) is None]


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter's statement; `ranges` from the smallest up, never empty.

    `sample` is what a sample is, None where nobody says; `lag` the low-pass's time constant, s;
    `volts` its voltage channel; `export` how it writes traces, told in `document`, its own file.
    """

    id: str | None
    timebase: Quantity | None
    ranges: tuple[Range, ...]
    sample: str | None = None
    lag: float | None = None
    volts: Channel = Channel()
    export: TraceColumns | None = None
    document: Document | None = None

    @property
    def gain(self) -> Quantity | None:
        """The gain error that all its figures share; None where ranges have gains of their own."""
        return self.ranges[0].gain if len(self.ranges) == 1 else None

    @property
    def end(self) -> float:
        """The greatest current it reads, A; infinite where nobody says."""
        return self.ranges[-1].to

    def touched(self, low: float, high: float) -> tuple[Range, ...]:
        """Ranges that readings between two currents, A, may have been taken in."""
        least, most = sorted((abs(low), abs(high)))
        if low < 0 < high:
            least = 0.0
        found: list[Range] = []
        below = 0.0
        for one in self.ranges:
            if least <= one.to and (most > NEAR_END * below or not found):
                found.append(one)
            below = one.to
        return tuple(found) or self.ranges[-1:]

    def gains(self, ranges: Sequence[Range], factor: float) -> Term:
        """The term of gain of a reading taken in some ranges: the widest limit."""
        return self._widest(GAIN, ranges, [r.gain for r in ranges], factor)

    def offsets(self, ranges: Sequence[Range], factor: float) -> Term:
        """The term of offset of a reading taken in some ranges: the widest limit."""
        return self._widest(OFFSET, ranges, [r.offset for r in ranges], factor)

    def _widest(
        self, source: str, ranges: Sequence[Range], limits: list[Quantity | None], factor: float
    ) -> Term:
        stated = [limit for limit in limits if limit is not None]
        widest = max(stated, key=lambda limit: limit.nominal, default=None)
        return limit_of_error(self.named(source, ranges), widest, factor)

    def named(self, source: str, ranges: Sequence[Range]) -> str:
        """A source of error, with the ranges' names where the meter has more than one."""
        if len(self.ranges) == 1:
            return source
        return f"{source}, {' and '.join(r.name for r in ranges)}"


def quantised(source: str, step: float, scatter: float, factor: float) -> Term:
    """The term of reading in steps: step/√12 (JCGM 100:2008, F.2.2.1) where nothing dithers it.

    A mean's error is a saw-tooth over the current, of amplitudes step/(π m); normal noise of a
    standard deviation s takes each down by exp(−2 (π m s/step)²) (Widrow & Kollár, Quantization
    Noise, 2008, from memory).
    """
    if not step:
        return Term(source, "B", 0.0, "rectangular")
    tones = [math.exp(-2 * (math.pi * m * scatter / step) ** 2) / m for m in range(1, 200)]
    whole = math.pi**2 / 6 - sum(1 / m**2 for m in range(1, 200))  # of the tones beyond
    rest = whole if scatter == 0 else 0.0
    u = step / (math.pi * math.sqrt(2)) * math.sqrt(sum(x * x for x in tones) + rest)
    return Term(source, "B", u * abs(factor), "rectangular")


def meter_of(
    given: Instrument, folder: Path, notes: str, trace: TraceColumns | None = None
) -> Meter:
    """The meter that notes state or name; `trace` are the columns that the notes state.

    Raises
    ------
    FaultError
        For what is wrong in the meter's own file, and for keys stated beside it.
    """
    column = None if trace is None else trace.voltage
    if given.file is None:
        end = math.inf if given.range is None else given.range.nominal
        only = Range(name="only", to=end, gain=given.gain, offset=given.offset)
        own = Channel() if column is None else Channel.of(column)
        return Meter(id=given.id, timebase=given.timebase, ranges=(only,), volts=own)
    beside = [
        name
        for name in ("id", "gain", "offset", "timebase", "range")
        if getattr(given, name) is not None
    ]
    if beside:
        read = f"{', '.join(beside)} beside {given.file}"
        expected = f"one statement: these keys, or all of them in {given.file}"
        raise FaultError((Fault("instrument", read, expected, Place(notes, 1, 1)),))
    path = folder / given.file
    found, document = read_document(InstrumentFile, path)
    if trace is None and found.export is not None:
        column = found.export.voltage

    def fault(key: str, read: str, expected: str) -> FaultError:
        mark = document.root.start_mark
        return FaultError((Fault(key, read, expected, Place(str(path), mark.line + 1, 1)),))

    if not found.ranges:
        raise fault("ranges", "an empty mapping", "at least one range")
    if (found.sample == "low-pass") != (found.time_constant is not None):
        read = "a low-pass without one" if found.sample == "low-pass" else "one without a low-pass"
        raise fault("time-constant", read, "a time constant for sample: low-pass alone")
    ranges = sorted(
        (
            Range(
                name=name,
                to=one.to.nominal,
                gain=one.gain,
                offset=one.offset,
                resolution=_or_none(one.resolution),
                noise=_or_none(one.noise),
            )
            for name, one in found.ranges.items()
        ),
        key=lambda r: r.to,
    )
    if len({r.to for r in ranges}) < len(ranges):
        raise fault("ranges", "two ranges with the same end", "each range with an end of its own")
    return Meter(
        id=found.instrument,
        timebase=found.timebase,
        ranges=tuple(ranges),
        sample=found.sample,
        lag=_or_none(found.time_constant),
        volts=_channel(column, found.voltage, given.file, notes),
        export=found.export,
        document=document,
    )


def _channel(
    column: VoltageColumn | None, own: VoltageChannel | None, file: str, notes: str
) -> Channel:
    """The voltage channel, stated at the notes' column or in the meter's file."""
    told = [
        name
        for name in ("gain", "offset", "resolution")
        if column is not None and getattr(column, name) is not None
    ]
    if own is not None and told:
        read = f"{', '.join(told)} beside the voltage of {file}"
        expected = f"one statement: these keys, or all of them in {file}"
        raise FaultError((Fault("trace.voltage", read, expected, Place(notes, 1, 1)),))
    given = own if own is not None else column
    return Channel() if given is None else Channel.of(given)


def _or_none(figure: Quantity | None) -> float | None:
    return None if figure is None else figure.nominal
