"""Whether what was measured may be the work that the notes name: order, cycles and ticks.

A unit typed wrong, runs of another session or a log of another board give figures that look sound
one by one. Held together they do not: a kernel takes so many cycles on any core, and the counter
that a board printed runs at one rate.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterator, Mapping

from advisor.bench.distil import Figures
from advisor.bench.notes import Session, key_of
from advisor.bench.runlog import RunLine, RunLog, StateLine
from advisor.bench.runs import Work
from advisor.catalogue.schema_bench import IDLE, Segment
from advisor.dataclass import dataclass
from advisor.faults import FaultLog
from advisor.quantities import show, spellings

# Least and most instructions of a unit of work, counted by emulation of the targets in `targets`
# with one compiler: least of -Os, -O2 and -O3, most at -O0.
INSTRUCTIONS: Mapping[str, tuple[int, int]] = {
    "hash": (52_496, 677_262),
    "cipher": (173_719, 1_424_405),
    "crc": (32_760, 138_207),
    "filter": (44_305, 224_800),
    "transform": (36_484, 265_844),
    "matrix": (1_664, 106_641),
    "search": (55_541, 125_300),
    "copy": (33_725, 133_794),
    "control": (5_132, 51_524),
}
# Cycles an instruction: several at once and a cleverer compiler; narrow cores and slow memory.
# Common practice, no source: wide enough for any core, narrow enough for a thousand times.
FEWEST, MOST = 0.1, 30.0
UNITS = ("s", "ms", "us", "ns", "min")  # that a time may be in by mistake
TOUCH = 200.0  # cycles between a marker's edge and the reading of the counter, at most
SLACK = 0.01  # by which ratios of ticks to time may differ beyond what is told of them
FASTEST = 100.0  # ticks a cycle that no counter makes


@dataclass(frozen=True, slots=True)
class Told:
    """A segment's runs as the log has them."""

    segment: Segment
    lines: tuple[RunLine, ...]

    @property
    def ticks(self) -> float:
        """Mean of a run."""
        return sum(line.ticks for line in self.lines) / len(self.lines)


def told(session: Session, run: RunLog, log: FaultLog) -> tuple[Told, ...]:
    """The log's runs by the segments of kernels, in their order; () after a fault.

    Notes a fault where the log has kernels in another order, other runs and units, or wrong work.
    """
    wanted = [s for s in session.pulses if s.kernel is not None]
    names = {s.kernel for s in wanted}
    groups = [group for group in _groups(run) if group[0].kernel in names]
    found = {group[0].kernel for group in groups}
    good = True
    for kernel in dict.fromkeys(str(s.kernel) for s in wanted):
        if kernel not in found:
            session.fault(log, "log", f'no line of kernel "{kernel}"', "the lines of its runs")
            good = False
    for line in run.lines:
        if line.kernel in names and not line.right:
            names.discard(line.kernel)
            session.fault(
                log,
                "log",
                f"kernel {line.kernel} computed wrong in run {line.run}",
                "kernels that compute right: figures of wrong work are refused",
            )
            good = False
    if not good:
        return ()
    order = [group[0].kernel for group in groups]
    if order != [s.kernel for s in wanted]:
        read = "kernels in the order " + ", ".join(order)
        expected = ", ".join(str(s.kernel) for s in wanted) + ", the order of segments"
        session.fault(log, "log", read, expected)
        return ()
    out = tuple(Told(s, group) for s, group in zip(wanted, groups, strict=True))
    for one in out:
        units = sorted({line.units for line in one.lines})
        if units != [one.segment.units] or len(one.lines) != one.segment.runs:
            session.fault(
                log,
                "log",
                f"{len(one.lines)} runs of {one.segment.kernel}, of {units} units",
                f"{one.segment.runs} runs of {one.segment.units} units, as in segments",
            )
            good = False
    return out if good else ()


def _groups(run: RunLog) -> Iterator[tuple[RunLine, ...]]:
    """Lines that follow each other, of one kernel with rising numbers."""
    group: list[RunLine] = []
    for line in run.lines:
        if group and (line.kernel != group[-1].kernel or line.run <= group[-1].run):
            yield tuple(group)
            group = []
        group.append(line)
    if group:
        yield tuple(group)


def check(
    session: Session,
    found: Figures,
    runs: tuple[Told, ...],
    states: tuple[StateLine, ...] = (),
) -> None:
    """Refuse figures that can be no such work.

    Parameters
    ----------
    runs, states : the log's runs, and its stretches without work.

    Raises
    ------
    FaultError
        With the likeliest cause: for clock × time that is no number of cycles for a kernel, for
        ticks of the log that do not go with the times by one ratio, and for states of the notes
        that are longer than those of the log, or stand in another order.
    """
    log = FaultLog()
    cycles = _cycles(session, found)
    if not _fit(session, cycles, log) and session.notes.origin == "recorded":
        # a rehearsed trace has no board: its log is of whatever ran the kernels
        _ticks(session, found, runs, log)
    _held(session, found, states, log)
    log.raise_if_any()


def _held(session: Session, found: Figures, states: tuple[StateLine, ...], log: FaultLog) -> None:
    """Note stretches of the notes that cannot be those that the log tells of.

    The pack idles behind its last kernel, then sleeps; other states come from other programs.
    """
    ms = {line.state: line.ms for line in states}
    ends = [s.end_s for s in found.stretches if s.kind == "kernel"]
    last, before = max(ends, default=-math.inf), "the last run of a kernel"
    for what in ("idle", "sleep"):
        held = [s for s in session.states if (s.state == IDLE) == (what == "idle")]
        if what not in ms or not held:
            continue
        for segment in held:
            assert segment.begin is not None
            assert segment.end is not None
            begin, end = segment.begin.nominal, segment.end.nominal
            at = f"{key_of(segment)} from {begin:g} s to {end:g} s"
            if end - begin > ms[what] / 1000:
                expected = f"within the {ms[what]} ms for which the log says {what}"
                session.fault(log, "segments", at, expected)
            if begin < last:
                expected = f"behind {before}, which ends at {last:.6g} s, as in the log"
                session.fault(log, "segments", at, expected)
        last = max(s.end.nominal for s in held if s.end is not None)
        before = f"the {what} stretch"


def unheld(session: Session, run: RunLog) -> list[str]:
    """Warnings for states of the notes of which the log of such a pack tells nothing."""
    if run.built.kernels is None:
        return []  # another program's log: what it held is not known
    told = {line.state for line in run.states}
    out = []
    for segment in session.states:
        kind = "idle" if segment.state == IDLE else "sleep"
        if kind not in told:
            out.append(
                f"the log tells of no {kind} stretch: that {key_of(segment)} was held is the "
                "notes' word"
            )
    return out


def bounds(segment: Segment) -> tuple[float, float]:
    """Fewest and most cycles that a unit of a kernel's work may take."""
    counted = INSTRUCTIONS.get(segment.kernel or "")
    if counted is None or segment.engine is not None:
        return 1.0, math.inf
    return FEWEST * counted[0], MOST * counted[1]


def _cycles(session: Session, found: Figures) -> Mapping[str, tuple[Segment, float]]:
    """Cycles of a unit of work, by kernel; none where the notes state no clock."""
    clock = session.notes.point.clock
    if clock is None:
        return {}
    return {
        key_of(s): (s, clock.nominal * found.kernels[key_of(s)].time.value)
        for s in session.pulses
        if s.kernel is not None and key_of(s) in found.kernels
    }


def _fit(session: Session, cycles: Mapping[str, tuple[Segment, float]], log: FaultLog) -> bool:
    """Note kernels whose cycles are none that a core takes; whether there are any."""
    wrong = {
        name: (segment, value)
        for name, (segment, value) in cycles.items()
        if not bounds(segment)[0] <= value <= bounds(segment)[1]
    }
    unit = _other_unit(session, cycles) if wrong else None
    for name, (segment, value) in wrong.items():
        low, high = bounds(segment)
        few = value < low
        off = low / value if few else value / high
        asked = f"{low:.3g} to {high:.3g}" if math.isfinite(high) else f"at least {low:.3g}"
        clock = session.notes.point.clock
        assert clock is not None
        read = f"{name}: {value:.3g} cycles a unit of work at {show(clock.nominal, 'frequency')}"
        if unit is None:
            expected = (
                f"{asked}: {off:.2g} times too {'few' if few else 'many'}; are units, runs and the "
                "clock right?"
            )
            session.fault(log, "segments", read, expected)
            continue
        word, times = unit
        expected = f"{asked}: {times:g} times too {'few' if few else 'many'}: is the unit {word}?"
        session.fault(log, "trace.time", read, expected)
    return bool(wrong)


def _other_unit(
    session: Session, cycles: Mapping[str, tuple[Segment, float]]
) -> tuple[str, float] | None:
    """(unit of time, factor) by which every kernel's cycles fit best; None where none does."""
    time = session.trace.time
    if time.unit is None:
        return None
    seconds = spellings("time")
    best: tuple[float, str, float] | None = None
    for unit in UNITS:
        ratio = seconds[unit] / seconds[time.unit]
        if ratio == 1.0:
            continue
        far = 0.0
        for segment, value in cycles.values():
            low, high = bounds(segment)
            if not low <= value * ratio <= high:
                break
            if math.isfinite(high):
                middle = math.sqrt(math.prod(INSTRUCTIONS[segment.kernel or ""]))
                far += abs(math.log(value * ratio / middle))
        else:
            if best is None or far < best[0]:
                best = (far, unit, max(ratio, 1 / ratio))
    return None if best is None else (best[1], best[2])


def _ticks(session: Session, found: Figures, runs: tuple[Told, ...], log: FaultLog) -> None:
    """Note kernels whose ticks and times are not of the counter's one rate."""
    timed = [(one, found.kernels[key_of(one.segment)]) for one in runs if one.ticks > 0]
    for one in runs:
        if not one.ticks:
            read = f"{key_of(one.segment)}: no ticks at all"
            session.fault(log, "log", read, "a counter that runs while kernels work")
    if not timed:
        return
    rates = [one.ticks / _run(one, work) for one, work in timed]
    usual = statistics.median_low(rates)
    clock = session.notes.point.clock
    if clock is not None and usual > FASTEST * clock.nominal:
        times = usual / clock.nominal
        read = f"{usual:.3g} ticks a second, {times:.3g} a cycle"
        expected = f"a counter no faster than that: {times:.3g} times: is the unit of time right?"
        session.fault(log, "trace.time", read, expected)
        return
    for (one, work), rate in zip(timed, rates, strict=True):
        length = _run(one, work)
        room = 2 / usual + SLACK * length + 3 * work.time.u * (one.segment.units or 1)
        if clock is not None:
            room += TOUCH / clock.nominal
        if abs(one.ticks / usual - length) <= room:
            continue
        name = key_of(one.segment)
        ratio = rate / usual
        factor = ratio if ratio > 1 else 1 / ratio
        read = (
            f"{name}: {rate:.4g} ticks a second, {usual:.4g} in the middle of all: "
            f"{factor:.3g} times too {'many' if ratio > 1 else 'few'}"
        )
        session.fault(log, "log", read, "one ratio of ticks to time: " + _cause(ratio))


def _cause(ratio: float) -> str:
    near = round(max(ratio, 1 / ratio))
    if near > 1 and abs(max(ratio, 1 / ratio) / near - 1) < SLACK:
        return "are its units and runs those of the log, and the pulses its own?"
    if ratio < 1:
        return "did the counter go round, or is it the log of another session?"
    return "is it the log of another session, or are the pulses another kernel's?"


def _run(one: Told, work: Work) -> float:
    """Mean time of a run, s."""
    return work.time.value * (one.segment.units or 1)
