"""Made-up traces with a known truth, to try notes on and to plan a session on the bench.

Every call redraws the meter's errors inside its statement: gain, offset and clock from their limits
(rectangular), the stated overhead, supply and shunt from their uncertainty. So distilling many
rehearsals shows whether the stated intervals hold the truth as often as they say.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import numpy as np

from advisor.bench.chunks import Chunk, Floats
from advisor.bench.instrument import Meter
from advisor.bench.notes import Session, key_of
from advisor.catalogue.schema_bench import IDLE, OverheadTrace, Rehearsal, Segment
from advisor.catalogue.schema_parts import Part
from advisor.dataclass import dataclass
from advisor.faults import FaultLog
from advisor.quantities import Quantity

PAUSE_S = 5e-3
OVERHEAD_A = 1e-3  # what the board draws where its overhead is to be taken from a trace
MOST_SAMPLES = 50_000_000
EDGES = 10  # standard deviations of an edge that a pause must hold, for pulses to stay apart


@dataclass(frozen=True, slots=True)
class Truth:
    """What a rehearsed trace is made of, SI: (time, current) of work and wakes, state currents."""

    kernels: Mapping[str, tuple[float, float]]
    wakes: Mapping[str, tuple[float, float]]
    states: Mapping[str, float]
    idle: float
    supply: float


@dataclass(frozen=True, slots=True)
class Errors:
    """One meter's errors, and the voltage that the supply really has.

    `ranges` are the gain and the offset, A, of each range of the meter but the first, whose are
    `gain` and `offset`.
    """

    gain: float
    offset: float
    timebase: float
    overhead: float
    reset: float
    shunt: float
    supply: float
    ranges: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class _Piece:
    """A stretch of one true current; `up` while the marker says at work."""

    begin: float
    end: float
    current: float
    up: bool


def truth_of(session: Session, part: Part | None) -> Truth:
    """The truth of a rehearsal: as the notes say, else as the part's profile does.

    Raises
    ------
    FaultError
        For every kernel, wake and state whose truth stands nowhere.
    """
    log, given = FaultLog(), _rehearsal(session)
    kernels: dict[str, tuple[float, float]] = {}
    wakes: dict[str, tuple[float, float]] = {}
    states: dict[str, float] = {}
    idle = _idle(session, part)
    for segment in session.notes.segments:
        name = key_of(segment)
        found: object | None
        if segment.kernel is not None:
            found = kernels[name] = _kernel(session, part, segment) or (0.0, 0.0)
            where = f"rehearsal.kernels.{name}"
        elif segment.wake is not None:
            work = given.wakes.get(name)
            found = wakes[name] = (
                (0.0, 0.0) if work is None else (work.time.nominal, work.current.nominal)
            )
            where = f"rehearsal.wakes.{name}"
        else:
            states[name] = _state(given, part, segment, idle)
            found, where = (states[name],), f"rehearsal.states.{name}"
        if not any(found):
            session.fault(log, where, "no truth", "one, or a part of the catalogue that has it")
    log.raise_if_any()
    supply = session.notes.supply
    return Truth(
        kernels=kernels,
        wakes=wakes,
        states=states,
        idle=idle,
        supply=math.nan if supply is None else supply.nominal,
    )


def _rehearsal(session: Session) -> Rehearsal:
    if session.notes.rehearsal is None:
        raise session.refuse("rehearsal", "no such key", "what to make a trace of: rate and more")
    return session.notes.rehearsal


def _pause(given: Rehearsal) -> float:
    return PAUSE_S if given.pause is None else given.pause.nominal


def _idle(session: Session, part: Part | None) -> float:
    given = _rehearsal(session).idle
    if given is not None:
        return given.nominal
    point = None if part is None else part.operating_points.get(session.point)
    known = None if point is None else point.idle_current
    return 0.0 if known is None else known.nominal


def _kernel(session: Session, part: Part | None, segment: Segment) -> tuple[float, float] | None:
    work = _rehearsal(session).kernels.get(key_of(segment))
    if work is not None:
        return work.time.nominal, work.current.nominal
    kernel, variant = session.in_part(key_of(segment))
    known = None if part is None else part.kernels.get(kernel, {}).get(variant)
    if known is None or known.time is None or known.current is None:
        return None
    return known.time.nominal, known.current.nominal


def _state(given: Rehearsal, part: Part | None, segment: Segment, idle: float) -> float:
    name = segment.state or IDLE
    stated = given.states.get(name)
    if stated is not None:
        return stated.nominal
    if name == IDLE:
        return idle
    known = None if part is None else part.sleep_states.get(name)
    curve = None if known is None else known.current
    if curve is None:
        return 0.0
    at = 25.0 if segment.temperature is None else segment.temperature.nominal
    return float(np.exp(np.interp(at, curve.x, [math.log(y.nominal) for y in curve.y])))


def errors_of(session: Session, draw: np.random.Generator) -> Errors:
    """A meter and a supply inside their statements."""
    notes, meter = session.notes, session.meter

    def limit(figure: Quantity | None) -> float:
        half = 0.0 if figure is None else figure.nominal
        return float(draw.uniform(-half, half))

    def about(figure: Quantity | None) -> float:
        if figure is None:
            return 0.0
        if figure.kind == "rectangular":
            return float(draw.uniform(-figure.shape[0], figure.shape[0])) + figure.nominal
        return float(draw.normal(figure.nominal, figure.u))

    overhead = notes.board_overhead
    shunt = session.trace.current.shunt
    first, *others = meter.ranges
    return Errors(
        gain=limit(first.gain),
        offset=limit(first.offset),
        timebase=limit(meter.timebase),
        overhead=OVERHEAD_A if isinstance(overhead, OverheadTrace) else about(overhead),
        reset=about(notes.reset_current),
        shunt=1.0 if shunt is None else about(shunt) / shunt.nominal,
        supply=math.nan if notes.supply is None else about(notes.supply),
        ranges=tuple((limit(r.gain), limit(r.offset)) for r in others),
    )


def _pieces(session: Session, truth: Truth, draw: np.random.Generator) -> Iterator[_Piece]:
    """Stretches of one current in order of time, the marker's among them."""
    given = _rehearsal(session)
    pause = _pause(given)
    spread = 0.0 if given.spread is None else given.spread.nominal
    # who takes a stretch from a trace leaves its ends out, and the meter's clock errs
    margin = pause / 2
    quiet = sorted(
        (s.begin.nominal - margin, s.end.nominal + margin, truth.states[key_of(s)])
        for s in session.states
        if s.begin is not None and s.end is not None
    )
    now = min([0.0, *(begin - pause for begin, _, _ in quiet)])

    def held(until: float) -> Iterator[_Piece]:
        nonlocal now
        while quiet and quiet[0][0] < until + pause:
            begin, end, current = quiet.pop(0)
            yield _Piece(now, begin, truth.idle, False)
            yield _Piece(begin, end, current, False)
            now = end
            until = max(until, end + pause)
        yield _Piece(now, now + pause, truth.idle, False)
        now += pause

    for segment in session.pulses:
        one, current = (truth.wakes if segment.wake else truth.kernels)[key_of(segment)]
        for _ in range(segment.runs or 0):
            length = one * (segment.units or 1) * (1 + spread * float(draw.standard_normal()))
            yield from held(now + pause + length)
            drawn = current * (1 + spread * float(draw.standard_normal()))
            yield _Piece(now, now + length, drawn, True)
            now += length
    yield from held(math.inf if quiet else now)
    yield _Piece(now, now + pause, truth.idle, False)


def rehearsed(
    session: Session, truth: Truth, errors: Errors, draw: np.random.Generator
) -> Iterator[Chunk]:
    """A trace as a meter with these errors would record it: t in s, i in A, m 0 or 1.

    Raises
    ------
    FaultError
        For a trace of more samples than anyone would want.
    """
    given = _rehearsal(session)
    rate = given.rate.nominal
    jitter = 0.0 if given.jitter is None else given.jitter.nominal
    noise = 0.0 if given.noise is None else given.noise.nominal
    pause = _pause(given)
    if jitter > pause / EDGES:
        raise session.refuse(
            "rehearsal.jitter",
            f"{jitter:g} s",
            f"at most the pause over {EDGES}, {pause / EDGES:g} s",
        )
    works = {**truth.kernels, **truth.wakes}
    length = sum(
        (s.runs or 0) * (works[key_of(s)][0] * (s.units or 1) + pause) for s in session.pulses
    ) + sum(s.end.nominal - s.begin.nominal for s in session.states if s.begin and s.end)
    if length * rate > MOST_SAMPLES or length / pause > MOST_SAMPLES:
        raise session.refuse(
            "rehearsal.rate",
            f"{length * rate:.3g} samples",
            f"at most {MOST_SAMPLES:.0e}: fewer runs, less time or a lower rate",
        )
    pieces = list(_pieces(session, truth, draw))
    length = pieces[-1].end - pieces[0].begin
    if length * rate > MOST_SAMPLES:
        raise session.refuse(
            "segments", f"{length:.3g} s at {rate:g} Hz", f"at most {MOST_SAMPLES:.0e} samples"
        )
    # samples fall anywhere between edges
    first = pieces[0].begin + float(draw.uniform(0.0, 1.0)) / rate
    turns = np.array(
        [(p.begin, p.end) + jitter * draw.standard_normal(2) for p in pieces if p.up]
    ).reshape(-1)
    state, row = _Seen(session.meter, 1 / rate, noise, pieces[0].current), 0
    for piece in pieces:
        stop = max(0, math.ceil((piece.end - first) * rate))
        t = first + np.arange(row, stop) / rate
        seen = state.through(piece, t)
        if not len(t):
            continue
        m = (np.searchsorted(turns, t, side="right") % 2).astype(float)
        yield _recorded(session.meter, row, t, seen, m, errors, noise, draw)
        row = stop


@dataclass(slots=True)
class _Seen:
    """What a meter's samples stand for, over currents that are constant piece by piece."""

    meter: Meter
    step: float
    noise: float
    level: float  # of the low-pass, A; of the interval's mean, the charge since its last sample
    charge: float = 0.0

    def through(self, piece: _Piece, t: Floats) -> Floats:
        """The current of samples at `t`, s, in a piece."""
        length = piece.end - piece.begin
        if self.meter.sample == "low-pass":
            assert self.meter.lag is not None
            off = self.level - piece.current
            self.level = piece.current + off * math.exp(-length / self.meter.lag)
            return piece.current + off * np.exp(-(t - piece.begin) / self.meter.lag)
        seen = np.full(len(t), piece.current)
        if self.meter.sample == "mean":
            if len(t):
                inside = float(t[0]) - piece.begin
                before = self.step - inside
                # what the first sample of all saw before the trace is its own piece's
                known = self.charge if self.charge else before * piece.current
                seen[0] = (known + inside * piece.current) / (before + inside)
                self.charge = (piece.end - float(t[-1])) * piece.current
            else:
                self.charge += length * piece.current
        return seen


def _recorded(
    meter: Meter,
    row: int,
    t: Floats,
    seen: Floats,
    m: Floats,
    errors: Errors,
    noise: float,
    draw: np.random.Generator,
) -> Chunk:
    board = seen + errors.overhead - errors.reset
    ends = np.array([r.to for r in meter.ranges])
    which = np.minimum(np.searchsorted(ends, np.abs(board)), len(ends) - 1)
    gains, offsets = np.array([(errors.gain, errors.offset), *errors.ranges]).T
    stated = np.array([r.noise or 0.0 for r in meter.ranges])
    spread = noise if noise else stated[which]
    read = (board + spread * draw.standard_normal(len(t))) * (1 + gains[which]) * errors.shunt
    read = read + offsets[which]
    steps = np.array([r.resolution or 0.0 for r in meter.ranges])[which]
    coarse = steps > 0
    read[coarse] = np.round(read[coarse] / steps[coarse]) * steps[coarse]
    return Chunk(file="rehearsal", row=row, t=t * (1 + errors.timebase), i=read, v=None, m=m)


def overhead_trace(session: Session, errors: Errors, draw: np.random.Generator) -> Iterator[Chunk]:
    """The trace of the board alone, where the notes want one."""
    stated, given = session.notes.board_overhead, _rehearsal(session)
    assert isinstance(stated, OverheadTrace)
    assert stated.begin is not None
    assert stated.end is not None
    margin = 10 / given.rate.nominal
    begin, end = stated.begin.nominal - margin, stated.end.nominal + margin
    t = np.arange(begin, end, 1 / given.rate.nominal)
    noise = 0.0 if given.noise is None else given.noise.nominal
    off = np.zeros(len(t))
    yield _recorded(session.meter, 0, t, off, off, errors, noise, draw)


@dataclass(frozen=True, slots=True)
class Expected:
    """What a session of a rate and a number of runs would reach for a kernel's energy.

    `u_relative` is the relative standard uncertainty, `type_a` the part that more runs reduce,
    `type_b` the part that only a better meter does.
    """

    kernel: str
    rate_hz: float
    runs: int
    u_relative: float
    type_a: float
    type_b: float


def expected(session: Session, truth: Truth, name: str, rate: float, runs: int) -> Expected:
    """The budget of a kernel's energy before any trace is taken, to first order.

    Type A: the spread of time and of current from run to run, the noise of a run's samples, the
    two edges between samples and their jitter; over √runs. Type B: the statements.
    """
    notes, given, meter = session.notes, _rehearsal(session), session.meter
    segment = next(s for s in session.pulses if s.kernel is not None and key_of(s) == name)
    one, current = truth.kernels[name]
    length = one * (segment.units or 1)
    overhead = notes.board_overhead
    traced = isinstance(overhead, OverheadTrace)
    stated = None if isinstance(overhead, OverheadTrace) else overhead
    read = current + (0.0 if stated is None else stated.nominal)
    # an overhead of its own trace draws little: it is read in the smallest range
    (own, *_), lowest = meter.touched(read, read), meter.ranges[0]
    spread = 0.0 if given.spread is None else given.spread.nominal
    noise = 0.0 if given.noise is None else given.noise.nominal
    jitter = 0.0 if given.jitter is None else given.jitter.nominal
    edges = math.hypot(1 / (rate * math.sqrt(6)), jitter * math.sqrt(2)) / length
    a = math.hypot(
        spread * math.sqrt(2), noise / current / math.sqrt(max(1.0, rate * length)), edges
    ) / math.sqrt(runs)

    def half(figure: Quantity | None) -> float:
        return 0.0 if figure is None else figure.nominal / math.sqrt(3)

    shunt = session.trace.current.shunt
    b = math.hypot(
        half(own.gain) * read / current,
        0.0 if traced and own == lowest else half(own.offset) / current,
        half(lowest.offset) / current if traced and own != lowest else 0.0,
        half(meter.timebase),
        0.0 if stated is None else stated.u / current,
        0.0 if notes.reset_current is None else notes.reset_current.u / current,
        0.0 if notes.supply is None else notes.supply.u / notes.supply.nominal,
        0.0 if shunt is None else shunt.u / shunt.nominal * read / current,
    )
    return Expected(
        kernel=name, rate_hz=rate, runs=runs, u_relative=math.hypot(a, b), type_a=a, type_b=b
    )
