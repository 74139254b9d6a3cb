"""What a trace holds between its edges: pulses by the marker, stretches by time, in one pass.

Each sample stands for the time from half-way to the one before to half-way to the one after, so a
stretch's charge is the trapezoid rule on the real time stamps with its ends where the marker is
taken to change, half-way between two samples. Constant memory: a few numbers a pulse.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.bench.chunks import LARGEST, Chunk, Floats, refused
from advisor.bench.clipping import Extremes, Steps
from advisor.bench.edges import Edges
from advisor.dataclass import dataclass, field
from advisor.faults import FaultError

BLOCKS = 20  # pieces that a stretch is cut into, for the scatter of its mean
GAP = 3.0  # a step of time this many times the usual one is a drop-out
RAW = 4096  # successive samples of a stretch that are kept as they stand
# no part of these, and no battery they run on, gives more; common practice, no source. Meters write
# 9.9e37 for an overload and 9.91e37 for no number (SCPI-99, 7.2.1)
IMPOSSIBLE = 100.0
ENOUGH = 64  # samples of the greatest's size that tell how often these repeat
MOST_GAPS = 1000
LOOK = 512  # samples of a chunk that tell how often a sample repeats the one before


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch of time, s, cut into equal pieces; `raw` keeps its first samples as they stand."""

    begin: float
    end: float
    blocks: int = 1
    raw: bool = False


@dataclass(slots=True)
class Pieces:
    """What the pieces of a window hold, each (blocks,).

    time : s, what the samples in it stand for; charge : C; energy : J and volts : V s, the
    voltage over time, where one was recorded; count : samples; square : sum of the samples'
    squares, A²; low, high : their extremes, A. raw : up to `RAW` successive samples of the window,
    A.
    """

    time: Floats
    charge: Floats
    energy: Floats | None
    volts: Floats | None
    count: Floats
    square: Floats
    low: Floats
    high: Floats
    raw: list[Floats] = field(default_factory=list)

    @classmethod
    def of(cls, blocks: int) -> Pieces:
        """Empty ones."""
        none = [np.zeros(blocks) for _ in range(6)]
        time, charge, energy, volts, count, square = none
        low, high = np.full(blocks, np.inf), np.full(blocks, -np.inf)
        return cls(
            time=time,
            charge=charge,
            energy=energy,
            volts=volts,
            count=count,
            square=square,
            low=low,
            high=high,
        )

    def together(self, blocks: int) -> tuple[Floats, Floats]:
        """(charge in C, time in s) of so many pieces instead, each of as many as possible."""
        groups = np.array_split(np.flatnonzero(self.count), blocks)
        return (
            np.array([self.charge[g].sum() for g in groups if len(g)]),
            np.array([self.time[g].sum() for g in groups if len(g)]),
        )


@dataclass(slots=True)
class Measured:
    """Sums over pulses and windows.

    Attributes
    ----------
    start, end : (P,) edges of the marker's pulses, s. charge : (P,) C. energy, volts, volt_square :
    (P,) J, V s and the sum of the samples' squares, V², where a voltage was recorded. count : (P,)
    samples; square : (P,) sum of their squares, A². high_at, high_of : (P,) when the greatest came,
    s, and what it is, A. edges : samples around the edges. windows : what each holds. step : usual
    time between samples, s. gaps : (time, length) of drop-outs. rows, first, last : samples, and
    the time of the first and last. clipped : whether the current stands at its extreme as a meter's
    end of range does. low, high : its extremes, A; gap : A, from the greatest to the value next to
    it. steps, volt_steps : of the codes of current and voltage.
    """

    start: Floats
    end: Floats
    charge: Floats
    energy: Floats | None
    volts: Floats | None
    volt_square: Floats | None
    count: Floats
    square: Floats
    high_at: Floats
    high_of: Floats
    edges: Edges
    windows: list[Pieces]
    step: float
    gaps: list[tuple[float, float]]
    rows: int
    first: float
    last: float
    clipped: str | None
    low: float
    high: float
    gap: float
    steps: Steps
    volt_steps: Steps

    def gap_inside(self, begin: float, end: float) -> tuple[float, float] | None:
        """The first drop-out that touches a stretch."""
        return next(((t, d) for t, d in self.gaps if t < end and t + d > begin), None)


@dataclass(slots=True)
class _Sums:
    """What one pulse holds, with twice its charge, energy and voltage over time."""

    charge: float = 0.0
    energy: float = 0.0
    volts: float = 0.0
    volt_square: float = 0.0
    count: int = 0
    square: float = 0.0
    high: float = -math.inf
    high_at: float = math.nan


@dataclass(slots=True)
class _Pass:
    """The state of one pass over a trace; sums of current and time are twice what they say."""

    windows: Sequence[Window]
    threshold: float | None
    below: bool
    turns: Floats | None = None  # s, edges of pulses that are known beforehand
    edges: Edges = field(default_factory=Edges)
    starts: list[float] = field(default_factory=list)
    ends: list[float] = field(default_factory=list)
    runs: list[_Sums] = field(default_factory=list)
    pieces: list[Pieces] = field(default_factory=list)
    step: float = 0.0
    gaps: list[tuple[float, float]] = field(default_factory=list)
    tops: tuple[Extremes, Extremes] = field(default_factory=lambda: (Extremes(1), Extremes(-1)))
    looked: int = 0
    same: int = 0
    looked_high: int = 0
    same_high: int = 0
    steps: Steps = field(default_factory=Steps)
    volt_steps: Steps = field(default_factory=Steps)
    up: bool = False

    def __post_init__(self) -> None:
        self.pieces = [Pieces.of(w.blocks) for w in self.windows]

    def look(self, chunk: Chunk) -> None:
        """Extremes of one chunk, how often its samples repeat elsewhere, what is no number."""
        i = chunk.i
        top, bottom = float(i.max()), float(i.min())
        whole = [top, -bottom, -float(chunk.t[0]), float(chunk.t[-1])]
        if chunk.v is not None:
            whole += [float(chunk.v.max()), -float(chunk.v.min())]
        sound = all(value <= LARGEST for value in whole)
        if chunk.m is not None and chunk.m.dtype.kind == "f":
            sound = sound and math.isfinite(chunk.m.max()) and math.isfinite(chunk.m.min())
        if not sound:
            chunk.finite()
        if max(top, -bottom) > IMPOSSIBLE:
            at = int(np.argmax(np.abs(i)))
            read = f"{i[at]:.4g} A in row {chunk.row + at + 1}"
            expected = (
                f"at most {IMPOSSIBLE:g} A: no such part draws more (a meter's word for an "
                "overload, or the unit is another?)"
            )
            raise chunk.refused(at, "current", read, expected)
        self.tops[0].take(top, i)
        self.tops[1].take(-bottom, i)
        few = i[:LOOK]
        self.steps.take(few)
        if chunk.v is not None:
            self.volt_steps.take(chunk.v[:LOOK])
        again = few[1:] == few[:-1]
        inside = (few[1:] != self.tops[0].value) & (few[1:] != -self.tops[1].value)
        self.looked += int(np.count_nonzero(inside))
        self.same += int(np.count_nonzero(inside & again))
        inside &= few[1:] > 0.5 * self.tops[0].value
        self.looked_high += int(np.count_nonzero(inside))
        self.same_high += int(np.count_nonzero(inside & again))

    def repeating(self, high: bool) -> float:
        """Share of samples that repeat the one before; of those of the greatest's size."""
        if high and self.looked_high >= ENOUGH:
            return self.same_high / self.looked_high
        return self.same / self.looked if self.looked else 1.0

    def inner(self, t: Floats, i: Floats, v: Floats | None, m: Any | None) -> None:
        """Add the samples 1 to n − 2; those at the ends only say how long these stand for."""
        if len(t) < 3:
            return
        if not self.step:
            steps = np.diff(t[: 1 << 14])
            self.step = float(np.median(steps[steps > 0])) if steps.any() else 0.0
        twice = t[2:] - t[:-2]
        if self.step and float(twice.max()) > GAP * self.step:
            self.drop_outs(t)
        if self.turns is not None:
            known = np.searchsorted(self.turns, t[1:-1], side="right") % 2 == 1
            self.pulses(t, twice, i[1:-1], None if v is None else v[1:-1], None, known)
        elif self.threshold is not None and m is not None:
            inside = m[1:-1]
            high = inside < self.threshold if self.below else inside > self.threshold
            self.pulses(t, twice, i[1:-1], None if v is None else v[1:-1], inside, high)
        if self.windows:
            self.stretches(t[1:-1], twice, i[1:-1], None if v is None else v[1:-1])

    def drop_outs(self, t: Floats) -> None:
        steps = np.diff(t)
        for at in np.flatnonzero(steps > GAP * self.step):
            found = (float(t[at]), float(steps[at]))
            # seams are seen twice
            if len(self.gaps) < MOST_GAPS and found not in self.gaps[-2:]:
                self.gaps.append(found)

    def pulses(
        self,
        t: Floats,
        twice: Floats,
        i: Floats,
        v: Floats | None,
        m: NDArray[Any] | None,
        high: NDArray[np.bool_],
    ) -> None:
        """Add samples to pulses; `t` has one sample more at each end."""
        turns = np.flatnonzero(high[1:] != high[:-1]) + 1
        first = [0] if len(high) and bool(high[0]) != self.up else []
        self.edges.take(twice, i, m, [*first, *turns.tolist()], v)
        if not self.up and not len(turns) and not high[0]:
            return
        cuts = [0, *turns.tolist(), len(i)]
        for a, b in pairwise(cuts):
            now = bool(high[a])
            if now != self.up:
                self.turned(now, 0.5 * float(t[a] + t[a + 1]))
            if now:
                run, part = self.runs[-1], i[a:b]
                run.charge += float(np.einsum("i,i", part, twice[a:b]))
                run.square += float(np.einsum("i,i", part, part))
                run.count += b - a
                top = int(np.argmax(part))
                if part[top] > run.high:
                    run.high, run.high_at = float(part[top]), float(t[a + top + 1])
                if v is not None:
                    own = v[a:b]
                    run.energy += float(np.einsum("i,i,i", part, own, twice[a:b]))
                    run.volts += float(np.einsum("i,i", own, twice[a:b]))
                    run.volt_square += float(np.einsum("i,i", own, own))

    def turned(self, up: bool, when: float) -> None:
        self.up = up
        if up:
            self.starts.append(when)
            self.runs.append(_Sums())
        else:
            self.ends.append(when)

    def stretches(self, t: Floats, twice: Floats, i: Floats, v: Floats | None) -> None:
        """Add samples to the windows that they lie in."""
        for window, held in zip(self.windows, self.pieces, strict=True):
            if window.end <= t[0] or window.begin > t[-1]:
                continue
            bounds = np.linspace(window.begin, window.end, window.blocks + 1)
            at = np.searchsorted(t, bounds)
            filled = np.flatnonzero(np.diff(at))
            if not len(filled):
                continue
            inside, cuts = slice(at[0], at[-1]), at[filled] - at[0]
            part, long = i[inside], twice[inside]
            held.time[filled] += np.add.reduceat(long, cuts)
            charge = part * long
            held.charge[filled] += np.add.reduceat(charge, cuts)
            if v is not None:
                assert held.energy is not None
                assert held.volts is not None
                held.energy[filled] += np.add.reduceat(charge * v[inside], cuts)
                held.volts[filled] += np.add.reduceat(long * v[inside], cuts)
            held.count[filled] += np.diff(at)[filled]
            held.square[filled] += np.add.reduceat(part * part, cuts)
            held.low[filled] = np.minimum(held.low[filled], np.minimum.reduceat(part, cuts))
            held.high[filled] = np.maximum(held.high[filled], np.maximum.reduceat(part, cuts))
            room = RAW - sum(map(len, held.raw))
            if window.raw and room > 0:
                held.raw.append(part[:room].copy())


def measure(
    chunks: Iterable[Chunk],
    windows: Sequence[Window] = (),
    threshold: float | None = None,
    below: bool = False,
    *,
    turns: Floats | None = None,
    runs: int = 0,
) -> Measured:
    """One pass over a trace.

    Parameters
    ----------
    chunks : the samples in order. windows : stretches of time. threshold : marker above which, or
    with `below` below which, a kernel is at work; None: no pulses. turns : (2P,) s, the pulses'
    edges where no marker tells them. runs : pulses that are expected.

    Raises
    ------
    FaultError
        For time that does not go forward, fewer than three samples, and a marker that is up where
        the trace begins or ends.
    """
    state = _Pass(
        windows=windows, threshold=threshold, below=below, turns=turns, edges=Edges.of(runs)
    )
    rows = 0
    first = np.nan
    file = "trace"
    # the last two samples of a chunk: the last one waits for the next, to know how long it stands
    held: Chunk | None = None
    for chunk in chunks:
        if not len(chunk.t):
            continue
        file = chunk.file
        if held is None:
            first = float(chunk.t[0])
            if len(chunk.t) > 2:
                state.step = float(np.median(np.diff(chunk.t[: 1 << 14])))
            held = chunk.piece(slice(0, 1))
        elif not chunk.t[0] > held.t[-1]:
            chunk.finite()
            raise _not_forward(chunk, 0, bool(chunk.t[0] == held.t[-1]))
        rows += len(chunk.t)
        seam = held.joined(chunk.piece(slice(0, 2)))
        state.look(chunk)
        _forward(chunk)
        state.inner(seam.t, seam.i, seam.v, seam.m)
        state.inner(chunk.t, chunk.i, chunk.v, chunk.m)
        held = (chunk if len(chunk.t) > 1 else seam).piece(slice(-2, None))
    if rows < 3 or held is None:
        raise refused(file, f"{rows} samples", "at least three")
    # the last sample stands for half a step
    seam = held.joined(held.piece(slice(-1, None)))
    state.inner(seam.t, seam.i, seam.v, seam.m)
    if turns is None and threshold is not None:
        _whole_pulses(state, first, file)
    state.edges.close()
    words = zip(state.tops, ("top", "bottom"), strict=True)
    voltage = held.v is not None
    for pieces in state.pieces:
        pieces.time *= 0.5
        pieces.charge *= 0.5
        for name in ("energy", "volts"):
            setattr(pieces, name, 0.5 * getattr(pieces, name) if voltage else None)
    done = state.runs
    values = state.tops[0].values
    return Measured(
        start=np.array(state.starts),
        end=np.array(state.ends),
        charge=0.5 * np.array([r.charge for r in done]),
        energy=0.5 * np.array([r.energy for r in done]) if voltage else None,
        volts=0.5 * np.array([r.volts for r in done]) if voltage else None,
        volt_square=np.array([r.volt_square for r in done]) if voltage else None,
        count=np.array([r.count for r in done], dtype=float),
        square=np.array([r.square for r in done]),
        high_at=np.array([r.high_at for r in done]),
        high_of=np.array([r.high for r in done]),
        edges=state.edges,
        windows=state.pieces,
        step=state.step,
        gaps=state.gaps,
        rows=rows,
        first=first,
        last=float(held.t[-1]),
        clipped=next(
            (word for top, word in words if top.clips(state.repeating(top.sign > 0))), None
        ),
        low=-state.tops[1].value,
        high=state.tops[0].value,
        gap=float(values[0] - values[1]) if len(values) > 1 else math.inf,
        steps=state.steps,
        volt_steps=state.volt_steps,
    )


def _forward(chunk: Chunk) -> None:
    """Refuse time that stands still or runs backwards inside a chunk."""
    good = chunk.t[1:] > chunk.t[:-1]
    if not good.all():
        chunk.finite()
        at = int(np.flatnonzero(~good)[0]) + 1
        raise _not_forward(chunk, at, bool(chunk.t[at] == chunk.t[at - 1]))


def _not_forward(chunk: Chunk, at: int, still: bool) -> FaultError:
    word = "stands still" if still else "runs backwards"
    read = f"time {word} in row {chunk.row + at + 1}"
    return chunk.refused(at, "time", read, "time that goes forward")


def _whole_pulses(state: _Pass, first: float, file: str) -> None:
    if state.up:
        raise refused(file, "the marker up at the end", "a trace that outlasts its runs", "marker")
    if state.starts and state.starts[0] <= first:
        raise refused(file, "the marker up at the start", "a trace that begins before", "marker")
