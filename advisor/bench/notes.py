"""Notes of a session on the bench: read, and checked as a whole."""

from __future__ import annotations

from pathlib import Path

from advisor import figures
from advisor.bench.instrument import Meter, meter_of
from advisor.catalogue.kinds import Reading
from advisor.catalogue.load import read_document
from advisor.catalogue.schema_bench import (
    EPOCH_UNITS,
    IDLE,
    Notes,
    OverheadTrace,
    Segment,
    TraceColumns,
)
from advisor.catalogue.schema_parts import Variant
from advisor.dataclass import dataclass
from advisor.faults import FaultError, FaultLog
from advisor.quantities import Quantity, spellings
from advisor.source import Document

LEAST_RUNS = 2  # below this there is no scatter to tell; JCGM 101 asks for 4 (6.4.9.4)


@dataclass(frozen=True, slots=True)
class Session:
    """Checked notes and where they stand; `folder` is what file names in them are relative to.

    `meter` is as the notes or the meter's own file state it, `trace` the columns that one of them
    states.
    """

    notes: Notes
    document: Document
    folder: Path
    meter: Meter
    trace: TraceColumns

    def fault(self, log: FaultLog, dotted: str, read: str, expected: str) -> None:
        """Note a fault at a key of the notes, or at the deepest key on the way that stands; of the
        trace's columns in the meter's file where that tells them."""
        document, name = self.document, self.notes.part
        own = self.meter.document
        if self.notes.trace is None and own is not None and dotted.partition(".")[0] == "trace":
            document, name = own, str(self.meter.id)
            dotted = "export" + dotted.removeprefix("trace")
        root = document.root
        _, node = figures.Path.parse(root, f"{name}:{dotted}").placed(root)
        Reading(document.file, name, log).fault(node, dotted, read, expected)

    def refuse(self, dotted: str, read: str, expected: str) -> FaultError:
        """One fault at a key of the notes, to be raised."""
        log = FaultLog()
        self.fault(log, dotted, read, expected)
        return FaultError(log.faults)

    @property
    def pulses(self) -> tuple[Segment, ...]:
        """Segments that the marker's pulses stand for, in order."""
        return tuple(s for s in self.notes.segments if s.state is None)

    @property
    def states(self) -> tuple[Segment, ...]:
        """Segments in which a state is held."""
        return tuple(s for s in self.notes.segments if s.state is not None)

    @property
    def point(self) -> str:
        """The operating point's name."""
        return self.notes.point.name

    def in_part(self, name: str) -> tuple[str, str]:
        """(kernel, operating point with its engine) in a part, of a pulse's key (`key_of`)."""
        segment = next(s for s in self.pulses if s.kernel is not None and key_of(s) == name)
        engines = () if segment.engine is None else (segment.engine,)
        return str(segment.kernel), str(Variant(self.point, engines))


def key_of(segment: Segment) -> str:
    """What a segment is of: `hash`, `hash+engine`, `ram-kept`."""
    name = segment.kernel or segment.wake or segment.state or ""
    return f"{name}+{segment.engine}" if segment.engine else name


def read_notes(path: Path) -> Session:
    """Read the notes of a session.

    Raises
    ------
    FaultError
        With every fault found.
    """
    notes, document = read_document(Notes, path)
    meter = meter_of(notes.instrument, path.parent, str(path), notes.trace)
    log = FaultLog()
    trace = notes.trace if notes.trace is not None else meter.export
    if trace is None or (notes.trace is not None and meter.export is not None):
        read = "no such key" if trace is None else f"trace beside the export of {meter.id}"
        expected = "the traces' columns, here or as export in the meter's own file"
        _, node = figures.Path.parse(document.root, f"{notes.part}:trace").placed(document.root)
        Reading(document.file, notes.part, log).fault(node, "trace", read, expected)
        raise FaultError(log.faults)
    session = Session(notes=notes, document=document, folder=path.parent, meter=meter, trace=trace)
    _check(session, log)
    log.raise_if_any()
    return session


def _check(session: Session, log: FaultLog) -> None:
    notes, columns = session.notes, session.trace
    current = columns.current
    volts = current.unit in spellings("voltage")
    if volts != (current.shunt is not None):
        session.fault(
            log,
            "trace.current",
            f'unit "{current.unit}" {"without" if volts else "with"} a shunt',
            "a current's unit, or a voltage's with the shunt it was taken across",
        )
    _columns(session, log)
    if (notes.supply is None) == (columns.voltage is None):
        session.fault(
            log,
            "supply",
            "no supply voltage" if notes.supply is None else "two supply voltages",
            "supply, or a voltage column in trace",
        )
    if notes.measured_at == "board-switching":
        session.fault(
            log,
            "measured-at",
            '"board-switching"',
            "a current taken behind the board's switching regulator: before it the current is "
            "another, by the ratio of the voltages and a loss that nobody knows",
        )
    overhead = notes.board_overhead
    if notes.measured_at == "board-linear" and overhead is None:
        session.fault(
            log,
            "board-overhead",
            "no such key",
            "the board's own draw, to be taken off: 0 mA is an answer too",
        )
    if isinstance(overhead, OverheadTrace) and not _in_order(overhead.begin, overhead.end):
        expected = "from and to, from before to"
        session.fault(log, "board-overhead", "no stretch of time", expected)
    if notes.reset_current is not None and overhead is None:
        session.fault(log, "reset-current", "no overhead", "board-overhead, taken in reset")
    for i, span in enumerate(notes.zero, 1):
        if not _in_order(span.begin, span.end):
            session.fault(log, f"zero.{i}", "no stretch of time", "from before to")
    if not notes.segments:
        session.fault(log, "segments", "an empty list", "at least one stretch")
    seen: set[tuple[str, float | None]] = set()
    for i, segment in enumerate(notes.segments, 1):
        _segment(session, log, i, segment, seen)


def _columns(session: Session, log: FaultLog) -> None:
    """Each column told once, the time in one way, and a text's marks apart."""
    columns, marker = session.trace, session.trace.marker
    time = columns.time
    given = [("current", columns.current), ("voltage", columns.voltage), ("marker", marker)]
    seen: set[str | int] = set()
    for what, one in [("time", time), *((w, c) for w, c in given if c is not None)]:
        both = one.column, one.place
        if None not in both:
            session.fault(log, f"trace.{what}", "column and place", "one of column and place")
        name = one.column if one.column is not None else one.place
        if name is None and (what != "time" or time.rate is None):
            expected = "column or place" + ", or rate" * (what == "time")
            session.fault(log, f"trace.{what}", "neither column nor place", expected)
        elif name in seen:
            read = f'"{name}" twice' if one.column is not None else f"{name} twice"
            key = "column" if one.column is not None else "place"
            session.fault(log, f"trace.{what}.{key}", read, "a column of its own")
        elif name is not None:
            seen.add(name)
    _time(session, log)
    if marker is not None and (marker.above is None) == (marker.below is None):
        session.fault(log, "trace.marker", "above and below", "one of above and below")
    if columns.decimal == columns.thousands or (
        columns.decimal == "comma" and columns.delimiter == "comma"
    ):
        other = "thousands" if columns.decimal == columns.thousands else "delimiter"
        read = f"{columns.decimal} for decimal and {other}"
        session.fault(log, f"trace.{other}", read, "marks that can be told apart")
    if columns.thousands == "blank" and columns.delimiter == "blanks":
        read = "blanks for thousands and delimiter"
        session.fault(log, "trace.thousands", read, "marks that can be told apart")


def _time(session: Session, log: FaultLog) -> None:
    """Unit, rate and jitter, as what the column holds asks for."""
    time = session.trace.time
    column = time.column is not None or time.place is not None
    may: dict[str, tuple[set[str], set[str]]] = {
        "time": ({"unit"}, {"rate", "jitter"}),
        "epoch": ({"unit"}, {"rate", "jitter"}),
        "date-time": (set(), {"rate", "jitter"}),
        "index": ({"rate"}, set()),
    }
    needs, also = may[time.kind]
    if not column:
        if time.rate is None:
            return
        if time.kind != "time":
            session.fault(log, "trace.time.as", f'"{time.kind}" without a column', "a column")
        needs, also = {"rate"}, set()
    of = f"as {time.kind}" if column else "where rate alone tells it"
    for name in ("unit", "rate", "jitter"):
        given = getattr(time, name) is not None
        if name in needs and not given:
            session.fault(log, "trace.time", f"no {name}", f"{name}, for a time {of}")
        elif given and name not in needs | also:
            session.fault(log, f"trace.time.{name}", name, f"no {name} for a time {of}")
    if column and time.kind != "index" and (time.rate is None) != (time.jitter is None):
        session.fault(
            log,
            "trace.time",
            "rate without jitter" if time.jitter is None else "jitter without rate",
            "both, where rate tells the times and stamps are only good to jitter; else neither",
        )
    if column and time.kind == "epoch" and time.unit is not None and time.unit not in EPOCH_UNITS:
        expected = "one of " + ", ".join(EPOCH_UNITS)
        session.fault(log, "trace.time.unit", f'"{time.unit}" since 1970', expected)


def _in_order(begin: Quantity | None, end: Quantity | None) -> bool:
    return begin is not None and end is not None and begin.nominal < end.nominal


def _segment(
    session: Session,
    log: FaultLog,
    number: int,
    segment: Segment,
    seen: set[tuple[str, float | None]],
) -> None:
    at = "segments"
    entries = figures.resolve(session.document.root, at)
    assert entries is not None
    node = entries.value[number - 1]
    reading = Reading(session.document.file, session.notes.part, log)

    def fault(read: str, expected: str) -> None:
        reading.fault(node, f"{at}.{number}", read, expected)

    kinds = [name for name in ("kernel", "wake", "state") if getattr(segment, name) is not None]
    if len(kinds) != 1:
        fault(" and ".join(kinds) or "none of them", "one of kernel, wake and state")
        return
    needs = {"kernel": {"units", "runs"}, "wake": {"runs"}, "state": {"begin", "end"}}[kinds[0]]
    may = {"kernel": {"engine"}, "wake": set(), "state": {"temperature", "cut", "accept"}}[kinds[0]]
    names = {"begin": "from", "end": "to"}
    for name in ("engine", "units", "runs", "begin", "end", "temperature", "cut", "accept"):
        given = getattr(segment, name) not in (None, ())
        if name in needs and not given:
            fault(f"no {names.get(name, name)}", f"{names.get(name, name)}, for a {kinds[0]}")
        elif given and name not in needs | may:
            fault(names.get(name, name), f"no {names.get(name, name)} for a {kinds[0]}")
    if segment.runs is not None and segment.runs < LEAST_RUNS:
        fault(f"{segment.runs} run", f"at least {LEAST_RUNS} runs: one shows no scatter")
    both = segment.begin is not None and segment.end is not None
    if both and not _in_order(segment.begin, segment.end):
        fault("no stretch of time", "from before to")
    if any(not _in_order(span.begin, span.end) for span in segment.cut):
        fault("a cut of no stretch of time", "from before to")
    if segment.state == IDLE and segment.temperature is not None:
        fault("a temperature", "none for the idle current")
    temperature = None if segment.temperature is None else segment.temperature.nominal
    held = (f"{kinds[0]} {key_of(segment)}", temperature)
    if held in seen:
        fault(f'"{key_of(segment)}" twice', "each kernel, wake and state once")
    seen.add(held)
    if segment.state and {t is None for n, t in seen if n == held[0]} == {True, False}:
        fault("no temperature", "one, as its other stretches have")
