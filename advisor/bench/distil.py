"""From traces and notes to the figures of a profile, each with its uncertainty budget.

What the meter reads is taken to the chip's own current by i = (read − offset)·gain/shunt −
overhead + reset current, where all but the read value and stated overheads are one or zero with a
stated limit of error. A board's overhead recorded by the same meter carries the same offset, which
cancels in the difference; a stated one does not. A kernel's time and charge are of one unit of
work; its voltage is its own where one was recorded, and energy is that times the charge.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Literal

import numpy as np

from advisor.bench.board import Reading, Source, board_of, gap_words, stretch, zero_windows
from advisor.bench.budget import Result, combined
from advisor.bench.chunks import Floats
from advisor.bench.instrument import CLOCK, OFFSET, SHUNT
from advisor.bench.levels import binned, by_current, refined
from advisor.bench.notes import Session, key_of
from advisor.bench.runs import Held, Runs, Work, held, work
from advisor.bench.segments import BLOCKS, Measured, Pieces, Window, measure
from advisor.bench.stillness import without
from advisor.bench.volts import rail_of
from advisor.catalogue.schema_bench import Segment
from advisor.dataclass import dataclass
from advisor.faults import FaultLog
from advisor.quantities import show

FEW_RUNS = 4  # fewer say little of their scatter (JCGM 101:2008, 6.4.9.4)
NEAR_END = 1.5  # codes below a range's end from which a sample may be clipped
INSIDE = 0.98  # of a range's end, up to which it is not
# beginnings of the names of terms that a meter brings into every session
OF_THE_METER = (CLOCK, OFFSET, SHUNT)


@dataclass(frozen=True, slots=True)
class Stretch:
    """What was cut from a trace: a segment's pulses, or a state's stretch, s from its start."""

    kind: Literal["kernel", "wake", "state"]
    name: str
    runs: int
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Figures:
    """Everything that a session's traces say.

    `kernels` by `KERNEL` or `KERNEL+ENGINE`, `wakes` by sleep state; `supply` is the voltage at the
    chip's pin, over all that was drawn, `by_channel` whether it was recorded, so that each figure
    has its own; `by_marker` whether the stretches were told by the marker.
    """

    stretches: tuple[Stretch, ...]
    by_marker: bool
    kernels: Mapping[str, Work]
    wakes: Mapping[str, Work]
    states: tuple[Held, ...]
    supply: Result
    by_channel: bool
    peak: Result  # the greatest sample, of the chip alone
    warnings: tuple[str, ...]


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
    found = _cut(session, trace)
    states = found.windows[: len(session.states)]
    zeros = found.windows[len(states) :][: len(session.notes.zero)]
    for pieces in found.windows:
        _cut_out(session, pieces, found.windows)
    _count(session, found, log)
    for segment in session.states:
        _inside(session, segment, found, log)
    log.raise_if_any()
    board = board_of(session, overhead, found, zeros, log)
    _sound(session, found, board.code(found.high), log)
    log.raise_if_any()

    rail = rail_of(session, found, states)
    warnings += rail.says()
    kernels: dict[str, Work] = {}
    wakes: dict[str, Work] = {}
    stretches = []
    at = 0
    for segment in session.pulses:
        assert segment.runs is not None
        runs = Runs.of(found, at, at + segment.runs)
        at += segment.runs
        name = key_of(segment)
        if runs.whole(session, name, found, log):
            one = work(session, segment, runs, board, found, rail, warnings, log)
            if one is not None:
                (wakes if segment.wake else kernels)[name] = one
        kind: Literal["kernel", "wake"] = "wake" if segment.wake else "kernel"
        begin, end = float(runs.start[0]), float(runs.end[-1])
        stretches.append(Stretch(kind=kind, name=name, runs=segment.runs, start_s=begin, end_s=end))
        warnings += _warn(name, segment, runs.length, found.step)
    kept = []
    for segment, pieces in zip(session.states, states, strict=True):
        window = _window(segment)
        state = held(session, segment, pieces, window, board, found.step, rail, warnings, log)
        stretches.append(
            Stretch(
                kind="state", name=key_of(segment), runs=1, start_s=window.begin, end_s=window.end
            )
        )
        if state is not None:
            kept.append(state)
            if state.current.expanded > state.current.value:
                warnings.append(
                    f"{state.state}: its current, {show(state.current.value, 'current')}, is not "
                    "told from zero: the uncertainty is as great; use a meter with less offset"
                )
    log.raise_if_any()
    for moment, length in found.gaps[:3]:
        warnings.append(
            f"a drop-out of {show(length, 'time')} at {moment:.6g} s, in no stretch that counts"
        )
    highest = Reading(
        mean=found.high, low=found.high, high=found.high, scatter=0.0, when=found.first
    )
    top = found.high - board.net(highest)
    return Figures(
        stretches=tuple(sorted(stretches, key=lambda s: s.start_s)),
        by_marker=session.trace.marker is not None,
        kernels=kernels,
        wakes=wakes,
        states=tuple(kept),
        supply=rail.mean,
        by_channel=rail.channel is not None,
        peak=combined(top, board.chip(highest, 1.0)),
        warnings=tuple(warnings),
    )


def _window(segment: Segment) -> Window:
    assert segment.begin is not None
    assert segment.end is not None
    return stretch(segment.begin.nominal, segment.end.nominal)


def _cut(session: Session, trace: Source) -> Measured:
    """The trace's sums, with the pulses in it by the marker or, without one, by their current."""
    windows = [*(_window(s) for s in session.states), *zero_windows(session)]
    runs = sum(s.runs or 0 for s in session.pulses)
    marker = session.trace.marker
    if marker is not None:
        level = marker.above if marker.above is not None else marker.below
        assert level is not None
        return measure(trace(), windows, level.nominal, marker.above is None, runs=runs)
    told = list(_by_current(session, trace)) if session.pulses else []
    turns = np.maximum.accumulate(np.array([(w.begin, w.end) for w in told]).reshape(-1))
    return measure(trace(), windows, turns=turns, runs=runs)


def _cut_out(session: Session, pieces: Pieces, windows: list[Pieces]) -> None:
    """Empty what the notes cut from a state's stretch."""
    for segment, held_pieces in zip(session.states, windows, strict=False):
        if held_pieces is pieces and segment.cut:
            window = _window(segment)
            cuts = [(c.begin.nominal, c.end.nominal) for c in segment.cut]
            without(pieces, window.begin, window.end, cuts)


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


def _sound(session: Session, found: Measured, code: float, log: FaultLog) -> None:
    """Refuse a trace that a meter at its end of range has made; `code` is its step there, A."""
    end = session.meter.end
    at = "instrument.range" if session.notes.instrument.range is not None else "instrument"
    worst = max(found.high, -found.low)
    if worst >= min(end * (1 - 1e-9), end - NEAR_END * code):
        session.fault(
            log,
            at,
            f"samples of {show(worst, 'current')}, clipped",
            f"every sample below the range of {show(end, 'current')}",
        )
    elif found.clipped is not None:
        # a level read in steps wider than its noise, in a range that is known to go further
        coarse = found.gap > 0.5 * code > 0 and found.high < INSIDE * end < np.inf
        if found.clipped == "top" and coarse:
            return
        value = found.high if found.clipped == "top" else found.low
        session.fault(
            log,
            "trace.current",
            f"samples that stand at {show(value, 'current')}, clipped at the {found.clipped}",
            "a trace inside the meter's range; where it is, a meter that states its range",
        )


def _count(session: Session, found: Measured, log: FaultLog) -> None:
    wanted, there = sum(s.runs or 0 for s in session.pulses), len(found.start)
    if there == wanted:
        return
    by_marker = session.trace.marker is not None
    if by_marker and not there:
        session.fault(
            log, "trace.marker", "a marker that never rises", f"{wanted} pulses, as in segments"
        )
        return
    what = "pulses of the marker" if by_marker else "stretches of high current"
    session.fault(
        log,
        "segments",
        f"{there} {what}" + (f", the first at {found.start[0]:.6g} s" if there else ""),
        f"{wanted}, the runs of " + ", ".join(f"{key_of(s)} {s.runs}" for s in session.pulses)
        if wanted
        else "none, as in segments",
    )


def _inside(session: Session, segment: Segment, found: Measured, log: FaultLog) -> None:
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
    count = min(len(found.start), len(found.end))
    other = (found.start[:count] < window.end) & (found.end[:count] > window.begin)
    if other.any():
        at = float(found.start[:count][other][0])
        session.fault(
            log, "segments", f"{span}, with a pulse at {at:.6g} s in it", "a stretch without pulses"
        )
    gap = found.gap_inside(window.begin, window.end)
    if gap is not None:
        session.fault(log, "segments", gap_words(key_of(segment), gap), "no drop-out in it")


def _warn(name: str, segment: Segment, length: Floats, step: float) -> Iterator[str]:
    if (segment.runs or 0) < FEW_RUNS:
        yield f"{name}: {segment.runs} runs show little of their scatter; {FEW_RUNS} or more do"
    middle = float(np.median(length))
    off = int(np.argmax(np.abs(length - middle)))
    spread = float(np.median(np.abs(length - middle))) * 1.4826
    if abs(length[off] - middle) > max(8 * spread, 3 * step, 0.2 * middle):
        yield (
            f"{name}: run {off + 1} took {show(float(length[off]), 'time')}, the others about "
            f"{show(middle, 'time')}: something else ran, or the notes have the runs elsewhere"
        )
