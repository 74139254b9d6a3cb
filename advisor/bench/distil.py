"""From traces and notes to the figures of a profile, each with its uncertainty budget.

What the meter reads is taken to the chip's own current by i = (read − offset)·gain/shunt −
overhead + reset current, where all but the read value and stated overheads are one or zero with a
stated limit of error. A board's overhead recorded by the same meter carries the same offset, which
cancels in the difference; a stated one does not. A kernel's time and charge are of one unit of
work; energy is the voltage times the charge.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from advisor.bench.budget import Result, Term, combined, limit_of_error, repeats, stated
from advisor.bench.chunks import Chunk, Floats
from advisor.bench.notes import Session, key_of
from advisor.bench.segments import BLOCKS, Measured, Window, binned, by_current, measure, refined
from advisor.catalogue.schema_bench import IDLE, OverheadTrace, Segment
from advisor.faults import FaultLog
from advisor.quantities import show

FEW_RUNS = 4  # fewer say little of their scatter (JCGM 101:2008, 6.4.9.4)
GAIN = "gain of the meter"
OF_THE_METER = frozenset(("clock of the meter", "offset of the meter", "shunt"))

Source = Callable[[], Iterable[Chunk]]


@dataclass(frozen=True, slots=True)
class Stretch:
    """What was cut from a trace: a segment's pulses, or a state's stretch, s from its start."""

    kind: Literal["kernel", "wake", "state"]
    name: str
    runs: int
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Work:
    """A unit of a kernel's work, or one wake-up."""

    time: Result
    current: Result
    charge: Result
    energy: Result


@dataclass(frozen=True, slots=True)
class Held:
    """A state's current; `temperature` in degC where the notes say so."""

    state: str
    temperature: float | None
    current: Result


@dataclass(frozen=True, slots=True)
class Figures:
    """Everything that a session's traces say.

    `kernels` by `KERNEL` or `KERNEL+ENGINE`, `wakes` by sleep state; `supply` is the voltage at the
    chip's pin; `by_marker` whether the stretches were told by the marker.
    """

    stretches: tuple[Stretch, ...]
    by_marker: bool
    kernels: Mapping[str, Work]
    wakes: Mapping[str, Work]
    states: tuple[Held, ...]
    supply: Result
    peak: Result  # the greatest sample, of the chip alone
    warnings: tuple[str, ...]


@dataclass(slots=True)
class _Board:
    """What stands between the meter's reading and the chip's own current."""

    overhead: float = 0.0
    reset: float = 0.0
    terms: list[Term] = field(default_factory=list)
    cancels: bool = False  # whether the overhead carries the meter's own offset


def distil(session: Session, trace: Source, overhead: Source | None = None) -> Figures:
    """The figures of a session.

    Parameters
    ----------
    trace : gives the samples anew at each call. overhead : the same for the overhead's trace.

    Raises
    ------
    FaultError
        For what cannot be told from the traces: a marker that never rises or rises another number
        of times than the notes say, drop-outs and clipped samples, time that runs backwards, a
        baseline above the signal.
    """
    log = FaultLog()
    warnings: list[str] = []
    board = _board(session, overhead, log)
    found, pulses = _cut(session, trace)
    _sound(session, found, log)
    _count(session, pulses, log)
    for segment in session.states:
        _inside(session, segment, found, pulses, log)
    log.raise_if_any()

    supply = _supply(session, found, pulses)
    kernels: dict[str, Work] = {}
    wakes: dict[str, Work] = {}
    stretches = []
    at = 0
    for segment in session.pulses:
        assert segment.runs is not None
        span = slice(at, at + segment.runs)
        at += segment.runs
        name = key_of(segment)
        pulse = pulses.some(span)
        pulse.whole(session, name, found, log)
        work = _work(session, segment, pulse, board, found.step, supply, log)
        if work is not None:
            (wakes if segment.wake else kernels)[name] = work
        kind: Literal["kernel", "wake"] = "wake" if segment.wake else "kernel"
        begin, end = float(pulse.start[0]), float(pulse.end[-1])
        stretches.append(Stretch(kind=kind, name=name, runs=segment.runs, start_s=begin, end_s=end))
        warnings += _warn(name, segment, pulse, found.step)
    states = []
    for segment, held_sums in zip(session.states, found.windows, strict=False):
        held = _held(session, segment, held_sums, board, log)
        window = _window(segment)
        stretches.append(
            Stretch(
                kind="state", name=key_of(segment), runs=1, start_s=window.begin, end_s=window.end
            )
        )
        if held is not None:
            states.append(held)
            if held.current.expanded > held.current.value:
                warnings.append(
                    f"{held.state}: its current, {show(held.current.value, 'current')}, is not "
                    "told from zero: the uncertainty is as great; use a meter with less offset"
                )
    log.raise_if_any()
    for moment, length in found.gaps[:3]:
        warnings.append(
            f"a drop-out of {show(length, 'time')} at {moment:.6g} s, in no stretch that counts"
        )
    top = found.high - board.overhead + board.reset
    return Figures(
        stretches=tuple(sorted(stretches, key=lambda s: s.start_s)),
        by_marker=session.notes.trace.marker is not None,
        kernels=kernels,
        wakes=wakes,
        states=tuple(states),
        supply=supply,
        peak=combined(top, _chip(session, board, top, 1.0)),
        warnings=tuple(warnings),
    )


def _finite(session: Session, name: str, log: FaultLog, **results: Result) -> bool:
    """Whether figures are numbers; samples and limits of error may be too great to multiply."""
    for figure, result in results.items():
        if not (math.isfinite(result.value) and math.isfinite(result.u)):
            read = f"{name}: {figure} that overflows"
            session.fault(log, "segments", read, "a trace and limits of error of ordinary size")
            return False
    return True


def _window(segment: Segment) -> Window:
    assert segment.begin is not None
    assert segment.end is not None
    return Window(segment.begin.nominal, segment.end.nominal, BLOCKS)


def _cut(session: Session, trace: Source) -> tuple[Measured, _Pulses]:
    """The trace's sums, and the pulses in it by the marker or, without one, by their current."""
    windows = [_window(s) for s in session.states]
    marker = session.notes.trace.marker
    if marker is not None:
        level = marker.above if marker.above is not None else marker.below
        assert level is not None
        found = measure(trace(), windows, level.nominal, marker.above is None)
        return found, _Pulses(found.start, found.end, found.charge, found.energy)
    told = list(_by_current(session, trace)) if session.pulses else []
    found = measure(trace(), [*windows, *told])
    sums = found.windows[len(windows) :]
    energy = [e[0] for _, _, e in sums if e is not None]
    return found, _Pulses(
        np.array([w.begin for w in told]),
        np.array([w.end for w in told]),
        np.array([q[0] for _, q, _ in sums]),
        None if session.notes.supply is not None else np.array(energy),
    )


def _by_current(session: Session, trace: Source) -> Iterator[Window]:
    """Pulses told by the current alone, outside the stretches of states."""
    measure(trace())  # what is no trace is refused before anything is looked for in it
    edges, level = binned(trace())
    quiet = [_window(s) for s in session.states]
    wanted = sum(s.runs or 0 for s in session.pulses)
    spans: list[tuple[int, int]] = []
    for reading in by_current(level):
        outside = [
            (a, b)
            for a, b in reading
            if not any(edges[a] < w.end and edges[b] > w.begin for w in quiet)
        ]
        if len(outside) == wanted:
            spans = outside
            break
        spans = spans or outside
    around: list[tuple[float, float]] = []
    for pair in spans:
        for cut in pair:
            low = edges[max(cut - 2, 0)]
            high = edges[min(cut + 2, len(edges) - 1)]
            around.append((float(low), float(high)))
    exact = list(refined(trace(), around))
    for begin, end in zip(exact[::2], exact[1::2], strict=True):
        yield Window(begin, end)


def _sound(session: Session, found: Measured, log: FaultLog) -> None:
    """Refuse a trace that a meter at its end of range has made."""
    limit = session.notes.instrument.range
    if limit is not None and found.high >= limit.nominal * (1 - 1e-9):
        session.fault(
            log,
            "instrument.range",
            f"samples of {show(found.high, 'current')}, clipped",
            f"every sample below the range of {show(limit.nominal, 'current')}",
        )
    elif found.clipped is not None:
        value = found.high if found.clipped == "top" else found.low
        session.fault(
            log,
            "trace.current",
            f"samples that stand at {show(value, 'current')}, clipped at the {found.clipped}",
            "a trace inside the meter's range",
        )


def _count(session: Session, pulses: _Pulses, log: FaultLog) -> None:
    wanted, found = sum(s.runs or 0 for s in session.pulses), len(pulses.start)
    if found == wanted:
        return
    by_marker = session.notes.trace.marker is not None
    if by_marker and not found:
        session.fault(
            log, "trace.marker", "a marker that never rises", f"{wanted} pulses, as in segments"
        )
        return
    what = "pulses of the marker" if by_marker else "stretches of high current"
    session.fault(
        log,
        "segments",
        f"{found} {what}" + (f", the first at {pulses.start[0]:.6g} s" if found else ""),
        f"{wanted}, the runs of " + ", ".join(f"{key_of(s)} {s.runs}" for s in session.pulses)
        if wanted
        else "none, as in segments",
    )


def _inside(
    session: Session, segment: Segment, found: Measured, pulses: _Pulses, log: FaultLog
) -> None:
    """Refuse a state's stretch that is not in the trace, is too short, or has something else."""
    window = _window(segment)
    span = f"{key_of(segment)} from {window.begin:g} to {window.end:g} s"
    if window.begin < found.first or window.end > found.last:
        session.fault(
            log,
            "segments",
            span,
            f"a stretch inside the trace, {found.first:g} to {found.last:g} s",
        )
    elif (window.end - window.begin) / BLOCKS < 2 * found.step:
        session.fault(
            log,
            "segments",
            f"{key_of(segment)}: fewer than {2 * BLOCKS} samples",
            "a longer stretch",
        )
    other = (pulses.start < window.end) & (pulses.end > window.begin)
    if other.any():
        at = float(pulses.start[other][0])
        session.fault(
            log, "segments", f"{span}, with a pulse at {at:.6g} s in it", "a stretch without pulses"
        )
    gap = found.gap_inside(window.begin, window.end)
    if gap is not None:
        session.fault(log, "segments", _gap_words(key_of(segment), gap), "no drop-out in it")


def _gap_words(name: str, gap: tuple[float, float]) -> str:
    return f"{name}: a drop-out of {show(gap[1], 'time')} at {gap[0]:.6g} s"


def _board(session: Session, overhead: Source | None, log: FaultLog) -> _Board:
    """The overhead and the reset current with their terms, A."""
    notes, board = session.notes, _Board()
    told = notes.board_overhead
    if isinstance(told, OverheadTrace):
        assert overhead is not None
        assert told.begin is not None
        assert told.end is not None
        window = Window(told.begin.nominal, told.end.nominal, BLOCKS)
        found = measure(overhead(), [window])
        if window.begin < found.first or window.end > found.last:
            session.fault(
                log,
                "board-overhead",
                f"{window.begin:g} to {window.end:g} s",
                f"a stretch inside its trace, {found.first:g} to {found.last:g} s",
            )
        gap = found.gap_inside(window.begin, window.end)
        if gap is not None:
            session.fault(log, "board-overhead", _gap_words("overhead", gap), "no drop-out in it")
        log.raise_if_any()
        time, charge, _ = found.windows[0]
        board.overhead, term = repeats(charge / time, "board overhead")
        board.terms.append(term)
        board.cancels = True
    elif told is not None:
        board.overhead = told.nominal
        board.terms.append(stated("board overhead", told, 1.0))
    if notes.reset_current is not None:
        board.reset = notes.reset_current.nominal
        board.terms.append(stated("reset current", notes.reset_current, 1.0))
    return board


def _supply(session: Session, found: Measured, pulses: _Pulses) -> Result:
    """The voltage at the chip's pin: as stated, or the mean over what was drawn."""
    notes = session.notes
    if notes.supply is not None:
        return combined(notes.supply.nominal, [stated("supply voltage", notes.supply, 1.0)])
    states = found.windows[: len(session.states)]
    charge = float(pulses.charge.sum()) + sum(float(q.sum()) for _, q, _ in states)
    energy = sum(float(e.sum()) for _, _, e in states if e is not None)
    energy += 0.0 if pulses.energy is None else float(pulses.energy.sum())
    if charge <= 0:
        raise session.refuse("trace.voltage", "no charge drawn", "a current above zero")
    column = notes.trace.voltage
    assert column is not None
    value = energy / charge
    return combined(value, [limit_of_error("gain of the voltage channel", column.gain, value)])


@dataclass(frozen=True, slots=True)
class _Pulses:
    """Runs: edges in s, charge in C, energy in J where a voltage was recorded."""

    start: Floats
    end: Floats
    charge: Floats
    energy: Floats | None

    def some(self, rows: slice) -> _Pulses:
        """Those of one segment."""
        energy = None if self.energy is None else self.energy[rows]
        return _Pulses(self.start[rows], self.end[rows], self.charge[rows], energy)

    def whole(self, session: Session, name: str, found: Measured, log: FaultLog) -> None:
        """Refuse runs with drop-outs or with hardly any samples."""
        for begin, end in zip(self.start, self.end, strict=True):
            gap = found.gap_inside(float(begin), float(end))
            if gap is not None:
                session.fault(log, "segments", _gap_words(name, gap), "no drop-out in a run")
                return
        shortest = float((self.end - self.start).min())
        if shortest < 3 * found.step:
            session.fault(
                log,
                "segments",
                f"{name}: a run of {show(shortest, 'time')} between samples of "
                f"{show(found.step, 'time')}",
                "more units of work in a run, or more samples a second",
            )


def _work(
    session: Session,
    segment: Segment,
    pulse: _Pulses,
    board: _Board,
    step: float,
    supply: Result,
    log: FaultLog,
) -> Work | None:
    """Time, current, charge and energy of one unit of work."""
    meter = session.notes.instrument
    name, units = key_of(segment), segment.units or 1
    length = pulse.end - pulse.start
    net = board.overhead - board.reset
    each_time = length / units
    each_charge = (pulse.charge - net * length) / units
    each_current = each_charge / each_time
    if each_charge.mean() <= 0:
        session.fault(
            log,
            "board-overhead",
            f"{name}: {show(float(pulse.charge.sum() / length.sum()), 'current')} measured, "
            f"{show(net, 'current')} of it the board's",
            "a baseline below the signal",
        )
        return None
    # where the runs scatter less than where an edge may lie between samples, they share its phase
    phase = step / math.sqrt(6) / units
    time, repeat = repeats(each_time, "repeats")
    terms = [repeat, limit_of_error("clock of the meter", meter.timebase, time)]
    hidden = phase if repeat.u * math.sqrt(len(length)) < phase else 0.0
    terms.append(Term("edges between samples", "B", hidden))
    timed = combined(time, terms)

    current, repeat = repeats(each_current, "repeats")
    drawn = combined(current, [repeat, *_chip(session, board, current, 1.0)])
    charge, repeat = repeats(each_charge, "repeats")
    edges = Term("edges between samples", "B", hidden * current)
    clock = limit_of_error("clock of the meter", meter.timebase, charge)
    terms = [repeat, *_chip(session, board, current, time), clock, edges]
    charged = combined(charge, terms)
    if pulse.energy is None:
        each_energy = supply.value * each_charge
    else:
        # the overhead is drawn at the mean voltage of its run
        each_energy = pulse.energy / units - net * each_time * pulse.energy / pulse.charge
    energy, repeat = repeats(each_energy, "repeats")
    volts = energy / charge
    scaled = [replace(t, u=t.u * volts) for t in terms[1:]]
    relative = [replace(t, u=t.u * energy / supply.value) for t in supply.budget]
    work = Work(timed, drawn, charged, combined(energy, [repeat, *scaled, *relative]))
    sound = _finite(
        session, name, log, time=timed, current=drawn, charge=charged, energy=work.energy
    )
    return work if sound else None


def _chip(session: Session, board: _Board, current: float, factor: float) -> list[Term]:
    """Type B terms of the chip's current times a factor (1 for a current, a time for a charge)."""
    meter = session.notes.instrument
    shunt = session.notes.trace.current.shunt
    # what the meter read: with the overhead of its own trace taken off, the gain holds for the rest
    read = current - board.reset + (0.0 if board.cancels else board.overhead)
    terms = [limit_of_error(GAIN, meter.gain, read * factor)]
    if not board.cancels:
        terms.append(limit_of_error("offset of the meter", meter.offset, factor))
    if shunt is not None:
        terms.append(stated("shunt", shunt, read / shunt.nominal * factor))
    return terms + [replace(t, u=t.u * factor) for t in board.terms]


def _held(
    session: Session,
    segment: Segment,
    sums: tuple[Floats, Floats, Floats | None],
    board: _Board,
    log: FaultLog,
) -> Held | None:
    """A state's mean current, its scatter from the pieces of the stretch."""
    time, charge, _ = sums
    value, repeat = repeats(charge / time - board.overhead + board.reset, "repeats")
    if value <= 0:
        session.fault(
            log,
            "board-overhead" if session.notes.board_overhead is not None else "segments",
            f"{key_of(segment)}: {show(value, 'current')} left of the measured current",
            "a baseline below the signal",
        )
        return None
    temperature = None if segment.temperature is None else segment.temperature.nominal
    terms = [repeat, *_chip(session, board, value, 1.0)]
    held = Held(segment.state or IDLE, temperature, combined(value, terms))
    return held if _finite(session, held.state, log, current=held.current) else None


def _warn(name: str, segment: Segment, pulse: _Pulses, step: float) -> Iterator[str]:
    if (segment.runs or 0) < FEW_RUNS:
        yield f"{name}: {segment.runs} runs show little of their scatter; {FEW_RUNS} or more do"
    length = pulse.end - pulse.start
    middle = float(np.median(length))
    off = int(np.argmax(np.abs(length - middle)))
    spread = float(np.median(np.abs(length - middle))) * 1.4826
    if abs(length[off] - middle) > max(8 * spread, 3 * step, 0.2 * middle):
        yield (
            f"{name}: run {off + 1} took {show(float(length[off]), 'time')}, the others about "
            f"{show(middle, 'time')}: something else ran, or the notes have the runs elsewhere"
        )
