"""The notes of a session on the bench: every key, declared once."""

from __future__ import annotations

import datetime
from collections.abc import Mapping

from yaml.nodes import Node

from advisor import quantities
from advisor.catalogue.definitions import Definitions, Schema
from advisor.catalogue.fields import Either, ListOf, MapOf, Record, key
from advisor.catalogue.kinds import (
    Choice,
    Day,
    Figure,
    Flag,
    Identity,
    Reading,
    Text,
    Whole,
    scalar,
)
from advisor.catalogue.schema_parts import LIMIT, Build
from advisor.dataclass import dataclass
from advisor.faults import nearest
from advisor.quantities import Quantity

IDLE = "idle"  # the state that is an operating point's, not a sleep state

# what keeps a stretch from standing still
UNSTILL = ("bursts", "drift", "late", "ripple", "tail", "wander")

_ERROR = Figure("share", most=0.5, exact=True)
_MOMENT = Figure("time", least=None, exact=True)
_AMPERES = Figure("current", exact=True)
_VOLTS = Figure("voltage", exact=True)
_PLACE = Whole(1, 10_000)
_PLACED = "its place in a row, from 1, where it has no name or shares it"
EPOCH_UNITS = ("s", "ms", "us", "µs", "μs", "ns")
ENCODINGS = (
    *("utf-8", "utf-16", "utf-16-le", "utf-16-be", "latin-1", "cp437", "cp850"),
    *("cp1250", "cp1251", "cp1252", "cp1253", "cp1254", "shift-jis"),
)


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of a dimension, by itself: what the numbers of a column are in."""

    dimensions: tuple[str, ...]

    def read(self, node: Node, path: str, reading: Reading) -> str | None:
        text = scalar(node, path, reading, self.describe())
        if text is None or text in self.spellings():
            return text
        from advisor import usage

        meant = (usage.unit_meant(text[: quantities.LONGEST], name) for name in self.dimensions)
        near = next((m.right for m in meant if m is not None and m.right), None)
        near = near or nearest(text, self.spellings())
        reading.fault(node, path, f'"{text}"', self.describe(), near)
        return None

    def spellings(self) -> list[str]:
        """Every unit that may stand here, as often as it may be spelled."""
        return [unit for name in self.dimensions for unit in quantities.spellings(name)]

    def describe(self) -> str:
        return "a unit of " + " or ".join(self.dimensions) + ", such as " + self.spellings()[1]

    def schema(self, shared: Definitions) -> Schema:
        return {"enum": self.spellings()}


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeColumn:
    """Where the time stands in a trace, or the rate that tells it."""

    column: str | None = key(Text("a column's name"), "name of the column")
    place: int | None = key(_PLACE, _PLACED)
    kind: str = key(
        Choice(("time", "index", "epoch", "date-time")),
        "what the column holds: a time, the number of the sample, the time since 1970, or ISO "
        "8601; of the last two, times of the notes count from the first sample",
        default="time",
        name="as",
    )
    unit: str | None = key(Unit(("time",)), "unit of its numbers, for a time and an epoch")
    rate: Quantity | None = key(
        Figure("frequency", above=True, exact=True),
        "samples a second, evenly spaced: without a column, for an index, or where stamps come in "
        "batches or jitter",
    )
    jitter: Quantity | None = key(
        Figure("time", above=True, exact=True),
        "how far a stamp may be off where rate tells the time: stamps then only show that no "
        "sample is missing",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class CurrentColumn:
    """Where the current stands in a trace, or the voltage across a shunt."""

    column: str | None = key(Text("a column's name"), "name of the column")
    place: int | None = key(_PLACE, _PLACED)
    unit: str = key(Unit(("current", "voltage")), "unit of its numbers", required=True)
    shunt: Quantity | None = key(
        Figure("resistance", above=True), "the shunt that a voltage was taken across"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class VoltageColumn:
    """Where the supply voltage at the chip's pin stands in a trace."""

    column: str | None = key(Text("a column's name"), "name of the column")
    place: int | None = key(_PLACE, _PLACED)
    unit: str = key(Unit(("voltage",)), "unit of its numbers", required=True)
    gain: Quantity | None = key(
        _ERROR,
        "gain error of the voltage channel, half-width; absent, in the meter's file too: none is "
        "counted, with a warning",
    )
    offset: Quantity | None = key(
        _VOLTS,
        "offset error of the voltage channel, half-width; absent, in the meter's file too: none "
        "is counted, with a warning",
    )
    resolution: Quantity | None = key(
        _VOLTS, "voltage of one code; absent, in the meter's file too: told from the samples"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkerColumn:
    """Where the marker stands in a trace, and when it says that a kernel is at work."""

    column: str | None = key(Text("a column's name"), "name of the column")
    place: int | None = key(_PLACE, _PLACED)
    above: Quantity | None = key(Figure("score", least=None, exact=True), "at work above this")
    below: Quantity | None = key(Figure("score", least=None, exact=True), "at work below this")
    rise: Quantity | None = key(
        Figure("time", exact=True),
        "how long its edges take; absent: told from the samples between its two levels",
    )
    hysteresis: Quantity | None = key(
        Figure("score", above=True, exact=True),
        "how far back beyond above or below it must go to count as changed",
    )
    debounce: Quantity | None = key(
        Figure("time", above=True, exact=True),
        "what changes back in less is chatter: an edge is where the marker first left",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceColumns:
    """What the columns of the traces mean."""

    time: TimeColumn = key(Record(TimeColumn), "the time", required=True)
    current: CurrentColumn = key(Record(CurrentColumn), "the supply current", required=True)
    voltage: VoltageColumn | None = key(Record(VoltageColumn), "the supply voltage, if recorded")
    marker: MarkerColumn | None = key(
        Record(MarkerColumn), "the marker; absent: stretches are found by their current"
    )
    decimal: str = key(Choice(("point", "comma")), "decimal mark of a text file", default="point")
    thousands: str | None = key(
        Choice(("comma", "point", "blank", "apostrophe")),
        "what parts a text file's digits in threes; absent: nothing does",
    )
    delimiter: str | None = key(
        Choice(("comma", "semicolon", "tab", "bar", "blanks")),
        "what stands between cells; absent: the header's tab, semicolon or comma",
    )
    encoding: str = key(
        Choice(ENCODINGS),
        "of a text file; utf-16 by its byte order mark",
        default="utf-8",
    )
    skip: int = key(Whole(0, 10_000), "lines above the header", default=0)
    header: str = key(
        Choice(("names", "none")),
        "whether a line of names stands above the numbers",
        default="names",
    )
    unit_rows: int = key(Whole(0, 100), "rows below the header that are no samples", default=0)
    footer: int = key(Whole(0, 1000), "lines at the end that are no samples", default=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """The meter's statement of its limits of error, rectangular (JCGM 100:2008, 4.3.7)."""

    file: str | None = key(
        Text("a file's name"), "the meter's own file, beside the notes, instead of all other keys"
    )
    id: str | None = key(Identity("instrument"), "the meter, by its id")
    gain: Quantity | None = key(_ERROR, "gain error, half-width")
    offset: Quantity | None = key(_AMPERES, "offset error, half-width")
    timebase: Quantity | None = key(_ERROR, "error of its clock, half-width")
    range: Quantity | None = key(
        Figure("current", above=True, exact=True), "greatest current it reads; from there it clips"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterRange:
    """A range of a meter; it reads currents up to its end, and errors hold inside it alone."""

    to: Quantity = key(
        Figure("current", above=True, exact=True), "greatest current it reads", required=True
    )
    gain: Quantity | None = key(_ERROR, "gain error, half-width")
    offset: Quantity | None = key(_AMPERES, "offset error, half-width")
    resolution: Quantity | None = key(_AMPERES, "current of one code")
    noise: Quantity | None = key(_AMPERES, "standard deviation of one sample")


@dataclass(frozen=True, slots=True, kw_only=True)
class VoltageChannel:
    """A meter's voltage channel; limits of error, rectangular."""

    gain: Quantity | None = key(_ERROR, "gain error, half-width")
    offset: Quantity | None = key(_VOLTS, "offset error, half-width")
    resolution: Quantity | None = key(_VOLTS, "voltage of one code")


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentFile:
    """A meter as it is: its ranges, its clock, and what one of its samples stands for."""

    instrument: str = key(Identity("instrument"), "the meter's id", required=True)
    invented: bool = key(Flag(), "made up for a demonstration", default=False, informational=True)
    summary: str | None = key(Text(), "a word on it", informational=True)
    sample: str | None = key(
        Choice(("point", "mean", "low-pass")),
        "what a sample is: the current at its moment, its mean since the sample before, or what "
        "a low-pass lets through; absent: told from the runs",
    )
    time_constant: Quantity | None = key(Figure("time", above=True, exact=True), "of the low-pass")
    timebase: Quantity | None = key(_ERROR, "error of its clock, half-width")
    ranges: Mapping[str, MeterRange] = key(
        MapOf(Record(MeterRange), "range"),
        "its ranges; the smallest that holds it is used",
        required=True,
    )
    voltage: VoltageChannel | None = key(
        Record(VoltageChannel), "its voltage channel, instead of keys at the notes' voltage column"
    )
    export: TraceColumns | None = key(
        Record(TraceColumns), "how it writes traces, instead of `trace` in the notes"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class OverheadTrace:
    """A stretch of a trace with the chip's own supply link lifted."""

    trace: str = key(Text("a file's name"), "the trace, beside the notes", required=True)
    begin: Quantity | None = key(_MOMENT, "where the stretch begins", name="from")
    end: Quantity | None = key(_MOMENT, "where it ends", name="to")


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of the trace, by time."""

    begin: Quantity = key(_MOMENT, "where it begins", name="from", required=True)
    end: Quantity = key(_MOMENT, "where it ends", name="to", required=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """The operating point of the session."""

    name: str = key(Identity("operating point"), "its name in the part's file", required=True)
    clock: Quantity | None = key(Figure("frequency", above=True), "core clock")


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """A stretch of a trace: runs of a kernel, wake-ups, or a state that is held."""

    kernel: str | None = key(Identity("kernel"), "a kernel at work, a pulse of the marker a run")
    engine: str | None = key(Identity("engine"), "hardware engine that does the work")
    units: int | None = key(Whole(), "units of work in a run")
    wake: str | None = key(
        Identity("sleep state"), "wake-ups, a pulse from the wake event to running code"
    )
    runs: int | None = key(Whole(), "pulses of the marker")
    state: str | None = key(Identity("state"), "a sleep state, or idle, held for a while")
    begin: Quantity | None = key(_MOMENT, "where the state's stretch begins", name="from")
    end: Quantity | None = key(_MOMENT, "where it ends", name="to")
    temperature: Quantity | None = key(LIMIT, "of the chip in this state")
    cut: tuple[Span, ...] = key(
        ListOf(Record(Span)), "what of the state's stretch is left out", default=()
    )
    accept: tuple[str, ...] = key(
        ListOf(Choice(UNSTILL)), "what may be in the state's stretch, as part of it", default=()
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueWork:
    """What a unit of work takes, for a rehearsal."""

    time: Quantity = key(Figure("time", above=True, exact=True), "time", required=True)
    current: Quantity = key(Figure("current", above=True, exact=True), "current", required=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsal:
    """What a rehearsed trace is made of; kernels and states that are absent come from the part."""

    rate: Quantity = key(
        Figure("frequency", above=True, exact=True), "samples a second", required=True
    )
    noise: Quantity | None = key(_AMPERES, "standard deviation of one sample")
    spread: Quantity | None = key(
        Figure("share", most=0.1, exact=True), "relative standard deviation from run to run"
    )
    board_spread: Quantity | None = key(
        Figure("share", most=1, exact=True),
        "relative standard deviation of the energies between boards; absent: what is usual",
    )
    jitter: Quantity | None = key(
        Figure("time", exact=True), "standard deviation of a marker's edge"
    )
    pause: Quantity | None = key(
        Figure("time", above=True, exact=True), "between pulses; absent: 5 ms"
    )
    idle: Quantity | None = key(_AMPERES, "the chip's draw between pulses")
    kernels: Mapping[str, TrueWork] = key(
        MapOf(Record(TrueWork), "kernel, or kernel+engine"), "true work", default={}
    )
    wakes: Mapping[str, TrueWork] = key(
        MapOf(Record(TrueWork), "sleep state"), "true wake-ups", default={}
    )
    states: Mapping[str, Quantity] = key(
        MapOf(_AMPERES, "state"), "true current of a state", default={}
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Notes:
    """Notes of a session on the bench, for one part at one operating point."""

    part: str = key(Identity("part"), "the part's id", required=True)
    origin: str = key(
        Choice(("recorded", "rehearsed")), "a meter's trace, or a made-up one", required=True
    )
    date: datetime.date | None = key(Day(), "of the session; absent: today")
    note: str | None = key(Text(), "a word on it, for the part's evidence")
    log: str | None = key(Text("a file's name"), "the lines the kernels printed, beside the notes")
    board: str | None = key(
        Text("a serial number"), "the board, by its serial number; boards of one part are merged"
    )
    built: Build = key(Record(Build), "how the kernels were built", default=Build())
    code_size: Mapping[str, Quantity] = key(
        MapOf(Figure("information", exact=True), "kernel"),
        "program memory that each kernel takes, as built",
        default={},
    )
    peak: bool = key(
        Flag(),
        "whether the traces hold the part's greatest draw (start-up, flash writes), so that their "
        "greatest sample is its peak-current",
        default=False,
    )
    trace: TraceColumns | None = key(
        Record(TraceColumns), "the traces' columns; absent: the `export` of the meter's file"
    )
    supply: Quantity | None = key(Figure("voltage", above=True), "supply voltage at the chip's pin")
    instrument: Instrument = key(Record(Instrument), "the meter", default=Instrument())
    measured_at: str = key(
        Choice(("chip", "board-linear", "board-switching")),
        "where the current was taken: at the chip's pin, or before a regulator of the board",
        default="chip",
    )
    board_overhead: Quantity | OverheadTrace | None = key(
        Either(Figure("current"), Record(OverheadTrace)),
        "what the board draws beside the chip, with the chip's own supply link lifted",
    )
    reset_current: Quantity | None = key(
        Figure("current"),
        "the chip's own draw in reset, added back where the overhead was taken so",
    )
    zero: tuple[Span, ...] = key(
        ListOf(Record(Span)),
        "stretches with nothing connected, whose mean is the offset of the lowest range",
        default=(),
    )
    edge_guard: Quantity | None = key(
        Figure("time", exact=True),
        "left out of a run's current at each end; absent: by the meter's sample, or told from the "
        "runs",
    )
    delay: Quantity | None = key(
        Figure("time", least=None, exact=True), "of the current behind the marker; absent: told"
    )
    point: Point = key(Record(Point), "the operating point", required=True)
    segments: tuple[Segment, ...] = key(
        ListOf(Record(Segment)), "stretches in the order of the marker's pulses", required=True
    )
    rehearsal: Rehearsal | None = key(Record(Rehearsal), "what `rehearse` makes a trace of")
