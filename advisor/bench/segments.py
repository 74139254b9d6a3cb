"""What a trace holds between its edges: pulses by the marker, stretches by time, in one pass.

Each sample stands for the time from half-way to the one before to half-way to the one after, so a
stretch's charge is the trapezoid rule on the real time stamps with its ends where the marker is
taken to change, half-way between two samples. Constant memory: a few numbers a pulse.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.bench.chunks import LARGEST, Chunk, Floats, refused
from advisor.faults import FaultError

BLOCKS = 20  # pieces that a stretch is cut into, for the scatter of its mean
GAP = 3.0  # a step of time this many times the usual one is a drop-out
CLIPPED = 0.5  # share of samples at the extreme that repeat the one before, from here it clips
USUAL = 0.02  # and so few of all others do
MOST_GAPS = 1000
READINGS = 8  # ways of parting levels that are tried
LOOK = 512  # samples of a chunk that tell how often a sample repeats the one before


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch of time, s, cut into equal pieces."""

    begin: float
    end: float
    blocks: int = 1


@dataclass(slots=True)
class Measured:
    """Sums over pulses and windows.

    Attributes
    ----------
    start, end : (P,) edges of the marker's pulses, s. charge : (P,) C. energy : (P,) J, where a
    voltage was recorded. windows : for each window (blocks,) of time, charge and energy; time is
    what the samples in it stand for. step : usual time between samples, s. gaps : (time, length)
    of drop-outs. rows, first, last : samples, and the time of the first and last.
    clipped : whether the current stands at its extreme as a meter's end of range does. low, high :
    its extremes, A.
    """

    start: Floats
    end: Floats
    charge: Floats
    energy: Floats | None
    windows: list[tuple[Floats, Floats, Floats | None]]
    step: float
    gaps: list[tuple[float, float]]
    rows: int
    first: float
    last: float
    clipped: str | None
    low: float
    high: float

    def gap_inside(self, begin: float, end: float) -> tuple[float, float] | None:
        """The first drop-out that touches a stretch."""
        return next(((t, d) for t, d in self.gaps if t < end and t + d > begin), None)


@dataclass(slots=True)
class _Extremes:
    """Samples at an end of the range and how many of them repeat the one before."""

    sign: int
    value: float = -np.inf
    count: int = 0
    repeats: int = 0

    def take(self, i: Floats) -> None:
        top = float(i.max()) if self.sign > 0 else -float(i.min())
        if math.isnan(top):
            self.value = top
            return
        if top > self.value:
            self.value, self.count, self.repeats = top, 0, 0
        if top == self.value:
            at = i == self.sign * top
            self.count += int(np.count_nonzero(at))
            self.repeats += int(np.count_nonzero(at[1:] & at[:-1]))

    def clips(self, usual: float) -> bool:
        """Whether these samples repeat as samples elsewhere, `usual` of them, do not."""
        return self.repeats >= 8 and self.repeats > CLIPPED * self.count and usual < USUAL


@dataclass(slots=True)
class _Pass:
    """The state of one pass over a trace; sums of current and time are twice what they say."""

    windows: Sequence[Window]
    threshold: float | None
    below: bool
    starts: list[float] = field(default_factory=list)
    ends: list[float] = field(default_factory=list)
    charges: list[float] = field(default_factory=list)
    energies: list[float] = field(default_factory=list)
    sums: list[list[Floats]] = field(default_factory=list)
    step: float = 0.0
    gaps: list[tuple[float, float]] = field(default_factory=list)
    tops: tuple[_Extremes, _Extremes] = field(default_factory=lambda: (_Extremes(1), _Extremes(-1)))
    looked: int = 0
    same: int = 0
    up: bool = False

    def __post_init__(self) -> None:
        self.sums = [[np.zeros(w.blocks) for _ in range(3)] for w in self.windows]

    def look(self, chunk: Chunk) -> None:
        """Extremes of one chunk, how often its samples repeat elsewhere, what is no number."""
        i = chunk.i
        for top in self.tops:
            top.take(i)
        whole = [top.value for top in self.tops] + [-float(chunk.t[0]), float(chunk.t[-1])]
        if chunk.v is not None:
            whole += [float(chunk.v.max()), -float(chunk.v.min())]
        sound = all(value <= LARGEST for value in whole)
        if chunk.m is not None and chunk.m.dtype.kind == "f":
            sound = sound and math.isfinite(chunk.m.max()) and math.isfinite(chunk.m.min())
        if not sound:
            chunk.finite()
        few = i[:LOOK]
        inside = (few[1:] != self.tops[0].value) & (few[1:] != -self.tops[1].value)
        self.looked += int(np.count_nonzero(inside))
        self.same += int(np.count_nonzero(inside & (few[1:] == few[:-1])))

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
        if self.threshold is not None and m is not None:
            high = m[1:-1] < self.threshold if self.below else m[1:-1] > self.threshold
            self.pulses(t, twice, i[1:-1], None if v is None else v[1:-1], high)
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
        self, t: Floats, twice: Floats, i: Floats, v: Floats | None, high: NDArray[np.bool_]
    ) -> None:
        """Add samples to pulses; `t` has one sample more at each end."""
        turns = np.flatnonzero(high[1:] != high[:-1]) + 1
        if not self.up and not len(turns) and not high[0]:
            return
        cuts = [0, *turns.tolist(), len(i)]
        for a, b in pairwise(cuts):
            now = bool(high[a])
            if now != self.up:
                self.turned(now, 0.5 * float(t[a] + t[a + 1]))
            if now:
                self.charges[-1] += float(np.einsum("i,i", i[a:b], twice[a:b]))
                if v is not None:
                    self.energies[-1] += float(np.einsum("i,i,i", i[a:b], v[a:b], twice[a:b]))

    def turned(self, up: bool, when: float) -> None:
        self.up = up
        if up:
            self.starts.append(when)
            self.charges.append(0.0)
            self.energies.append(0.0)
        else:
            self.ends.append(when)

    def stretches(self, t: Floats, twice: Floats, i: Floats, v: Floats | None) -> None:
        """Add samples to the windows that they lie in."""
        for window, sums in zip(self.windows, self.sums, strict=True):
            if window.end <= t[0] or window.begin > t[-1]:
                continue
            bounds = np.linspace(window.begin, window.end, window.blocks + 1)
            at = np.searchsorted(t, bounds)
            for k in np.flatnonzero(np.diff(at)):
                piece = slice(at[k], at[k + 1])
                sums[0][k] += twice[piece].sum()
                sums[1][k] += float(np.einsum("i,i", i[piece], twice[piece]))
                if v is not None:
                    sums[2][k] += float(np.einsum("i,i,i", i[piece], v[piece], twice[piece]))


def measure(
    chunks: Iterable[Chunk],
    windows: Sequence[Window] = (),
    threshold: float | None = None,
    below: bool = False,
) -> Measured:
    """One pass over a trace.

    Parameters
    ----------
    chunks : the samples in order. windows : stretches of time. threshold : marker above which, or
    with `below` below which, a kernel is at work; None: no pulses.

    Raises
    ------
    FaultError
        For time that does not go forward, fewer than three samples, and a marker that is up where
        the trace begins or ends.
    """
    state = _Pass(windows, threshold, below)
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
    if threshold is not None:
        _whole_pulses(state, first, file)
    usual = state.same / state.looked if state.looked else 1.0
    words = zip(state.tops, ("top", "bottom"), strict=True)
    voltage = held.v is not None
    return Measured(
        start=np.array(state.starts),
        end=np.array(state.ends),
        charge=0.5 * np.array(state.charges),
        energy=0.5 * np.array(state.energies) if voltage else None,
        windows=[(0.5 * s[0], 0.5 * s[1], 0.5 * s[2] if voltage else None) for s in state.sums],
        step=state.step,
        gaps=state.gaps,
        rows=rows,
        first=first,
        last=float(held.t[-1]),
        clipped=next((word for top, word in words if top.clips(usual)), None),
        low=-state.tops[1].value,
        high=state.tops[0].value,
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


def binned(chunks: Iterable[Chunk], most: int = 1 << 15) -> tuple[Floats, Floats]:
    """(B+1,) edges in s and (B,) mean current of pieces of as many samples each, B up to `most`."""
    size = 1
    sums: list[Floats] = []
    edges: list[Floats] = []
    rest_i: Floats = np.empty(0)
    rest_t: Floats = np.empty(0)
    total = 0
    end = np.nan
    for chunk in chunks:
        end = float(chunk.t[-1]) if len(chunk.t) else end
        rest_i = np.concatenate((rest_i, chunk.i))
        rest_t = np.concatenate((rest_t, chunk.t))
        whole = len(rest_i) // size
        sums.append(rest_i[: whole * size].reshape(whole, size).sum(axis=1))
        edges.append(rest_t[: whole * size : size])
        rest_i, rest_t = rest_i[whole * size :], rest_t[whole * size :]
        total += whole
        while total > most:
            # twice as long, half as many; an odd one waits for its fellow
            s, e = np.concatenate(sums), np.concatenate(edges)
            if len(s) % 2:
                missing = np.repeat(s[-1] / size, size)
                rest_i = np.concatenate((missing, rest_i))
                rest_t = np.concatenate((np.repeat(e[-1], size), rest_t))
                s, e = s[:-1], e[:-1]
            sums, edges = [s.reshape(-1, 2).sum(axis=1)], [e[::2]]
            size *= 2
            total = len(sums[0])
    found = np.concatenate(sums) / size if sums else np.empty(0)
    return np.append(np.concatenate(edges) if edges else np.empty(0), end), found


def changes(level: Floats) -> list[int]:
    """Where a level changes: the first place of each stretch, and the end.

    Pelt with least squares (Killick, Fearnhead & Eckley 2012) and the penalty 2 ln(n) s², with s²
    from the differences of neighbours.
    """
    import ruptures

    noise = float(np.median(np.abs(np.diff(level)))) / (0.6745 * np.sqrt(2))
    noise = max(noise, 1e-9 * float(np.ptp(level)), 1e-30)
    search = ruptures.KernelCPD(kernel="linear", min_size=2).fit((level / noise)[:, None])
    return [0, *map(int, search.predict(pen=2.0 * np.log(len(level))))]


def by_current(level: Floats) -> Iterator[list[tuple[int, int]]]:
    """Stretches of high current, as (first, past the last) piece, from the changes of the level.

    What is high is a matter of where to part the levels: each reading parts them at another step,
    the widest first.
    """
    if len(level) < 8:
        return
    breaks = changes(level)
    means = np.array([level[a:b].mean() for a, b in pairwise(breaks)])
    ranked = np.sort(means)
    steps = np.diff(ranked)
    for at in np.argsort(-steps, kind="stable")[:READINGS]:
        limit = 0.5 * (ranked[at] + ranked[at + 1])
        found: list[tuple[int, int]] = []
        for (a, b), mean in zip(pairwise(breaks), means, strict=True):
            if mean > limit:
                if found and found[-1][1] == a:
                    found[-1] = (found[-1][0], b)
                else:
                    found.append((a, b))
        yield found


def refined(chunks: Iterable[Chunk], spans: Sequence[tuple[float, float]]) -> Iterator[float]:
    """The change in each span of time, s, by the split into two levels of least squares."""
    kept: list[tuple[list[Floats], list[Floats]]] = [([], []) for _ in spans]
    for chunk in chunks:
        if not len(chunk.t):
            continue
        for (begin, end), (times, currents) in zip(spans, kept, strict=True):
            if begin <= chunk.t[-1] and end >= chunk.t[0]:
                a, b = np.searchsorted(chunk.t, (begin, end))
                times.append(chunk.t[a:b].copy())
                currents.append(chunk.i[a:b].copy())
    for times, currents in kept:
        t, i = np.concatenate(times), np.concatenate(currents)
        n = np.arange(1, len(i))
        total = np.cumsum(i - i.mean())
        # least squares of two levels is greatest spread between them
        gain = total[:-1] ** 2 * (1 / n + 1 / (len(i) - n))
        at = int(np.argmax(gain))
        yield 0.5 * float(t[at] + t[at + 1])
