"""A unit of work from its runs, and a state's current from its stretch, with their budgets."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from advisor.bench.board import MATTERS, Board, Reading, blocks, gap_words, odd, reading
from advisor.bench.budget import Result, Term, combined, limit_of_error, repeats, student
from advisor.bench.chunks import Floats
from advisor.bench.edges import SETTLES, Around, Inner, inner, rise_of
from advisor.bench.instrument import CLOCK
from advisor.bench.notes import Session, key_of
from advisor.bench.segments import Measured, Pieces, Window
from advisor.bench.stillness import trend, two_levels
from advisor.bench.volts import SCATTER, Pulses, Rail, at_mean, of_runs, of_state
from advisor.catalogue.schema_bench import IDLE, Segment
from advisor.dataclass import dataclass
from advisor.faults import FaultLog
from advisor.quantities import show

CERTAIN = 0.999  # of Student's t, for what is refused
SPIKE = 12.0  # standard deviations of a sample
QUIETER = 0.3  # of the stated noise
TREND = 6.0  # Student's t
LEAST_SAMPLES = 3  # of a run
TOGETHER = 0.1  # of the energy's variance: less moves its u by less than a twentieth


@dataclass(frozen=True, slots=True)
class Work:
    """A unit of a kernel's work, or one wake-up."""

    time: Result
    current: Result
    charge: Result
    energy: Result
    voltage: Result

    def together(self, current_u: float) -> float:
        """Correlation coefficient of the errors of time and current (JCGM 100:2008, 5.2.2).

        What the energy's scatters beside those of time, current and voltage; 0 where it does not
        matter. `current_u` is the relative u of the current that is told beside it, without what a
        gain told elsewhere carries.
        """
        t, i, v, e = (r.u / r.value for r in (self.time, self.current, self.voltage, self.energy))
        more = e * e - t * t - i * i - v * v
        if not t * current_u or abs(more) < TOGETHER * e * e:
            return 0.0
        return max(-1.0, min(1.0, more / (2 * t * current_u)))


@dataclass(frozen=True, slots=True)
class Held:
    """A state's current and voltage; `temperature` in degC where the notes say so."""

    state: str
    temperature: float | None
    current: Result
    voltage: Result


@dataclass(frozen=True, slots=True)
class Runs:
    """Runs: edges in s, charge in C, samples.

    `square` is the sum of the samples' squares, A²; `high`, `high_at` the greatest sample and its
    time; `starts` and `ends` the samples around the edges; `pulses` what they are with their
    voltage, where one was recorded.
    """

    start: Floats
    end: Floats
    charge: Floats
    pulses: Pulses | None
    count: Floats
    square: Floats
    high: Floats
    high_at: Floats
    starts: Around
    ends: Around

    @classmethod
    def of(cls, found: Measured, first: int, past: int) -> Runs:
        """Those of one segment, by their place among all pulses."""
        some = slice(first, past)
        starts, ends = found.edges.of_runs(first, past)
        pulses = None
        if found.energy is not None and found.volts is not None and found.volt_square is not None:
            pulses = Pulses(
                charge=found.charge[some],
                energy=found.energy[some],
                volts=found.volts[some],
                square=found.volt_square[some],
                count=found.count[some],
                length=found.end[some] - found.start[some],
                starts=starts,
                ends=ends,
            )
        return cls(
            start=found.start[some],
            end=found.end[some],
            charge=found.charge[some],
            pulses=pulses,
            count=found.count[some],
            square=found.square[some],
            high=found.high_of[some],
            high_at=found.high_at[some],
            starts=starts,
            ends=ends,
        )

    @property
    def length(self) -> Floats:
        """(R,) s."""
        return self.end - self.start

    @property
    def scatter(self) -> Floats:
        """(R,) A, standard deviation of a run's samples."""
        mean = self.charge / self.length
        return np.sqrt(np.maximum(self.square / np.maximum(self.count, 1) - mean**2, 0.0))

    def whole(self, session: Session, name: str, found: Measured, log: FaultLog) -> bool:
        """Note runs with drop-outs or with hardly any samples."""
        for begin, end in zip(self.start, self.end, strict=True):
            gap = found.gap_inside(float(begin), float(end))
            if gap is not None:
                session.fault(log, "segments", gap_words(name, gap), "no drop-out in a run")
                return False
        shortest = float(self.length.min())
        if shortest < LEAST_SAMPLES * found.step:
            session.fault(
                log,
                "segments",
                f"{name}: a run of {show(shortest, 'time')} between samples of "
                f"{show(found.step, 'time')}",
                "more units of work in a run, or more samples a second",
            )
            return False
        return True


def guard_of(session: Session, step: float) -> tuple[int, int] | None:
    """Samples that the notes or the meter leave out of a run at each end; None: nobody says."""
    notes, meter = session.notes, session.meter
    delay = 0.0 if notes.delay is None else notes.delay.nominal
    if notes.edge_guard is not None:
        start = end = notes.edge_guard.nominal
    elif meter.sample == "mean":
        start = end = step
    elif meter.sample == "low-pass":
        assert meter.lag is not None
        start, end = SETTLES * meter.lag, step
    else:
        return None  # points too: the marker may be early or late
    # a moment's own rounding is no sample more
    counts = [math.ceil(max(x, 0.0) / step - 1e-6) for x in (start + delay, end - delay)]
    return counts[0], counts[1]


def work(
    session: Session,
    segment: Segment,
    runs: Runs,
    board: Board,
    found: Measured,
    rail: Rail,
    warnings: list[str],
    log: FaultLog,
) -> Work | None:
    """Time, current, charge, energy and voltage of one unit of work."""
    name, units, step = key_of(segment), segment.units or 1, found.step
    timebase = session.meter.timebase
    each_time = runs.length / units
    got = inner(
        runs.charge,
        runs.length,
        runs.count,
        runs.scatter,
        runs.starts,
        runs.ends,
        guard_of(session, step),
    )
    reach = runs.starts.current.shape[1] // 2
    if got.leaves < 2 or (guard_of(session, step) is None and max(got.samples) >= reach > 0):
        session.fault(
            log,
            "segments",
            f"{name}: a current that does not settle, {sum(got.samples)} samples at a run's "
            f"edges of {int(runs.count.min())}",
            "more units of work in a run, a faster front end, or edge-guard",
        )
        return None
    # of points, samples at an edge that leave nothing outside are the work's own
    sure = student(max(len(got.current) - 1, 1), CERTAIN) * got.leaks_sure
    own = (
        session.meter.sample == "point"
        and session.notes.edge_guard is None
        and not got.odd
        and not abs(got.leaks) > sure
    )
    level = runs.charge / runs.length if own else got.current
    read = Reading(
        mean=float(level.mean()),
        low=float(level.min()),
        high=float(level.max()),
        scatter=float(np.median(runs.scatter)),
        between=float(level.std(ddof=1)),
        when=float(0.5 * (runs.start[0] + runs.end[-1])),
    )
    net = board.net(read)
    each_current = level - net
    # whoever kept fewer edges than runs tells the current by those
    each_charge = each_current * each_time[: len(each_current)]
    if each_charge.mean() <= 0:
        session.fault(
            log,
            "board-overhead",
            f"{name}: {show(read.mean, 'current')} measured, {show(net, 'current')} of it the "
            "board's",
            "a baseline below the signal",
        )
        return None
    # where the runs scatter less than where an edge may lie between samples, they share its phase
    phase = step / math.sqrt(6) / units
    time, repeat = repeats(each_time, "repeats")
    hidden = phase if repeat.u * math.sqrt(len(each_time)) < phase else 0.0
    edges = [Term("edges between samples", "B", hidden), _slow(session, runs, units)]
    timed = combined(time, [repeat, limit_of_error(CLOCK, timebase, time), *edges])

    each_volts = None
    if runs.pulses is not None:
        each_volts, _ = runs.pulses.of_chip(None if own else got.samples, net)
        each_volts = each_volts[: len(each_charge)]
    current, repeat, _ = at_mean(each_current, each_volts, each_charge, "repeats")
    drawn = combined(current, [repeat, *board.chip(read, 1.0)])
    charge, repeat, _ = at_mean(each_charge, each_volts, each_charge, "repeats")
    clock = limit_of_error(CLOCK, timebase, charge)
    moved = [replace(t, u=t.u * current) for t in edges]
    terms = [repeat, *board.chip(read, time), clock, *moved]
    charged = combined(charge, terms)
    each_energy = each_charge * (rail.mean.value if each_volts is None else each_volts)
    energy, repeat, apart = at_mean(each_energy, each_volts, each_charge, "repeats")
    volts = energy / charge
    voltage = rail.mean
    if runs.pulses is not None and each_volts is not None:
        samples = None if own else got.samples
        voltage = combined(volts, of_runs(rail, runs.pulses, each_volts, samples, net, drawn))
    scaled = [replace(t, u=t.u * volts) for t in terms[1:]]
    # runs that scatter by their voltage have told its own scatter
    scaled += [replace(t, u=t.u * charge) for t in voltage.budget if apart or t.source != SCATTER]
    work = Work(
        time=timed,
        current=drawn,
        charge=charged,
        energy=combined(energy, [repeat, *scaled]),
        voltage=voltage,
    )
    if not finite(
        session,
        name,
        log,
        time=timed,
        current=drawn,
        charge=charged,
        energy=work.energy,
        voltage=voltage,
    ):
        return None
    _hushed(session, name, runs, board, read, log)
    _edges(session, name, runs, got, board, drawn, own, warnings, log)
    _spikes(session, name, runs, got, drawn, step, log)
    warnings += board.says(name, read)
    warnings += _levels(name, each_current, each_volts, runs, drawn)
    return work


def _hushed(
    session: Session, name: str, runs: Runs, board: Board, read: Reading, log: FaultLog
) -> None:
    """Refuse runs with less noise than the meter has: it stands at its end, or repeats itself."""
    noise, code = 2 * board.floor(read.mean), board.code(read.mean)
    quietest = float(np.median(runs.scatter))
    if noise > code and quietest < QUIETER * noise:
        session.fault(
            log,
            "segments",
            f"{name}: runs whose samples scatter by {show(quietest, 'current')}, from "
            f"{runs.start[0]:.6g} s on",
            f"the meter's own noise at least, {show(noise, 'current')}: is it at its end?",
        )


def _slow(session: Session, runs: Runs, units: int) -> Term:
    """The term of a marker whose edges take time: a threshold off their middle moves both edges.

    A run seems longer by rise (1 − 2 f), f the threshold's place between the levels; a tenth of the
    rise is left for edges that are no straight lines. Common practice, no source.
    """
    marker = session.trace.marker
    if marker is None:
        return Term("slow edges of the marker", "B", 0.0, "rectangular")
    at = marker.above if marker.above is not None else marker.below
    assert at is not None
    rise, share = rise_of(runs.starts, at.nominal)
    half = rise * (abs(1 - 2 * share) + 0.1)
    if marker.rise is not None and not rise:
        half = marker.rise.nominal  # the threshold may lie anywhere
    return Term("slow edges of the marker", "B", half / units / math.sqrt(3), "rectangular")


def _edges(
    session: Session,
    name: str,
    runs: Runs,
    got: Inner,
    board: Board,
    drawn: Result,
    own: bool,
    warnings: list[str],
    log: FaultLog,
) -> None:
    """Refuse runs whose edges carry another charge than their inside, or tell why they may."""
    if math.isnan(got.differs):
        if max(got.samples) > 2:
            warnings.append(
                f"{name}: {got.samples[0]} and {got.samples[1]} samples at the runs' edges left "
                "out; the pauses are too short to tell what became of their charge"
            )
        return
    sure = student(max(len(got.current) - 1, 1), CERTAIN) * got.sure
    small = abs(got.differs) <= max(sure, MATTERS * drawn.u) or own
    outside = board.meter.touched(float(got.outside.min()), float(got.outside.max()))
    inside = board.meter.touched(float(got.current.min()), float(got.current.max()))
    if outside != inside and (got.odd or not small):
        count = got.odd or 2 * len(got.current)
        warnings.append(
            f"{name}: {count} edge{'s' if count > 1 else ''} with samples of the meter's change of "
            f"range from {outside[0].name} to {inside[-1].name}, left out"
        )
        return
    if small:
        return
    if session.notes.edge_guard is not None:
        warnings.append(
            f"{name}: the edges carry {show(got.differs, 'current')} beside the inner current; "
            "left out, as edge-guard says"
        )
    else:
        session.fault(
            log,
            "segments",
            f"{name}: edges that differ from the inside of the runs by "
            f"{show(abs(got.differs), 'current')} over a run, the first at {runs.start[0]:.6g} s",
            "runs of one level, or edge-guard: what of each end is no part of the work",
        )


def _spikes(
    session: Session,
    name: str,
    runs: Runs,
    got: Inner,
    drawn: Result,
    step: float,
    log: FaultLog,
) -> None:
    """Refuse single samples far from all others that move a figure."""
    n = len(got.current)
    noise = float(np.median(runs.scatter))
    far = runs.high[:n] - got.current
    odd_ones = far > max(SPIKE * noise, 1e-6 * abs(drawn.value))
    moved = float((far * step / runs.length[:n])[odd_ones].sum()) / n
    # an edge's own samples are left out of the current already
    edge = np.minimum(runs.high_at[:n] - runs.start[:n], runs.end[:n] - runs.high_at[:n])
    inside = odd_ones & (edge > (max(got.samples) + 0.5) * step)
    if inside.any() and moved > MATTERS * drawn.u and inside.mean() < MATTERS:
        at = int(np.argmax(np.where(inside, far, 0.0)))
        session.fault(
            log,
            "segments",
            f"{name}: a sample of {show(float(runs.high[at]), 'current')} at "
            f"{runs.high_at[at]:.6g} s in a run of {show(float(got.current[at]), 'current')}",
            "runs without an overload, a change of range or something else in them",
        )


def _levels(
    name: str, currents: Floats, volts: Floats | None, runs: Runs, drawn: Result
) -> Iterator[str]:
    """Runs that are not of one level, or move from one to the next."""
    n = len(currents)
    noise = float(np.median(runs.scatter)) / math.sqrt(float(np.median(runs.count)))
    levels = two_levels(currents, noise)
    if levels is not None and levels[1] - levels[0] > 2 * MATTERS * drawn.u:
        high = int(np.argmax(currents > sum(levels) / 2))
        yield (
            f"{name}: runs of {show(levels[0], 'current')} and of {show(levels[1], 'current')}, "
            f"the first of these at {runs.start[high]:.6g} s: something else draws in some of "
            "them (a lamp?)"
        )
    slope = trend(currents)
    if abs(slope) > TREND:
        k = np.arange(n)
        change = float(np.polyfit(k, currents, 1)[0]) * (n - 1)
        if abs(change) / 2 > MATTERS * drawn.u:
            falls = 0.0 if volts is None else float(np.polyfit(k, volts, 1)[0]) * (n - 1)
            why = "the meter's offset, or the part warms"
            if volts is not None and abs(trend(volts)) > TREND:
                why = f"its supply moves by {show(falls, 'voltage')} meanwhile; else {why}"
            yield (
                f"{name}: its current moves by {show(change, 'current')} from the first run at "
                f"{runs.start[0]:.6g} s to the last at {runs.start[-1]:.6g} s ({why})"
            )


def held(
    session: Session,
    segment: Segment,
    pieces: Pieces,
    window: Window,
    board: Board,
    step: float,
    rail: Rail,
    warnings: list[str],
    log: FaultLog,
) -> Held | None:
    """A state's mean current, its scatter from the pieces of the stretch, and its voltage.

    A mean below zero by chance is kept: to refuse it would bias those that are not.
    """
    name = key_of(segment)
    if not pieces.count.any():
        session.fault(log, "segments", f"{name}: all of it cut", "a stretch with something left")
        return None
    read = reading(pieces, window.begin, window.end)
    value, repeat = repeats(blocks(pieces) - board.net(read), "repeats")
    terms = [repeat, *board.chip(read, 1.0)]
    plain, still = combined(value, terms), True
    for one in odd(board, pieces, window, step):
        if one.moves <= MATTERS * plain.u:
            continue
        if one.kind in segment.accept:
            still = False
            terms.append(Term(f"{one.kind}, accepted", "B", one.half / math.sqrt(3), "rectangular"))
            warnings.append(f"{name}: {one.words}; accepted")
        elif one.kind == "wander":
            warnings.append(f"{name}: {one.words}")
        else:
            session.fault(
                log,
                "segments",
                f"{name}: a stretch that {one.words}",
                f"one that stands still; else `cut` what is no part of the state, or "
                f"`accept: [{one.kind}]` where it is",
            )
    current = combined(value, terms)
    if value + current.expanded <= 0:
        session.fault(
            log,
            "board-overhead" if session.notes.board_overhead is not None else "segments",
            f"{name}: {show(value, 'current')} left of the measured current",
            "a baseline below the signal",
        )
        return None
    temperature = None if segment.temperature is None else segment.temperature.nominal
    voltage = of_state(rail, pieces, board.net(read), plain, still)
    out = Held(segment.state or IDLE, temperature, current, voltage)
    warnings += board.says(name, read)
    return out if finite(session, out.state, log, current=current, voltage=voltage) else None


def finite(session: Session, name: str, log: FaultLog, **results: Result) -> bool:
    """Whether figures are numbers; samples and limits of error may be too great to multiply."""
    for figure, result in results.items():
        if not (math.isfinite(result.value) and math.isfinite(result.u)):
            read = f"{name}: {figure} that overflows"
            session.fault(log, "segments", read, "a trace and limits of error of ordinary size")
            return False
    return True
