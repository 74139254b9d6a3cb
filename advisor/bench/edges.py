"""The samples around the marker's edges: where a run's current has settled, and what leaked out.

A front end that lags, a sample that is a mean and a delay behind the marker move charge over an
edge, out of the run at its start and back behind its end, and lose none. So a run's current is
told by its inner samples, and its edges must agree: what lacks at the start stands behind the end.
Where it does not, something else happened at an edge.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.bench.chunks import Floats
from advisor.dataclass import dataclass, field

REACH = 128  # samples kept to each side of an edge
LEAST_REACH = 16
MOST_KEPT = 1 << 20  # samples to each side, over all edges
MOST_EDGES = 1 << 16
UNSETTLED = 4.5  # standard errors that a block of samples must differ by
SETTLES = 8.0  # time constants of a low-pass, to 3e-4


@dataclass(slots=True)
class Edges:
    """Samples to each side of up to `most` edges, taken as the trace passes.

    Rows are twice the time that a sample stands for, its current, its marker and, where one was
    recorded, its voltage.
    """

    reach: int = LEAST_REACH
    most: int = 0
    places: list[int] = field(default_factory=list)
    rows: list[tuple[Floats, ...]] = field(default_factory=list)
    seen: int = 0
    waiting: list[int] = field(default_factory=list)
    before: tuple[Floats, ...] = ()

    @classmethod
    def of(cls, runs: int) -> Edges:
        """Room for the edges of so many runs."""
        most = min(2 * runs, MOST_EDGES)
        return cls(reach=max(LEAST_REACH, min(REACH, MOST_KEPT // max(most, 1))), most=most)

    def take(
        self,
        twice: Floats,
        i: Floats,
        m: NDArray[Any] | None,
        turns: list[int],
        v: Floats | None = None,
    ) -> None:
        """Add the next samples; `turns` are the places among them where a pulse begins or ends."""
        keep = 2 * self.reach
        if self.most:
            room = self.most - len(self.places)
            self.places += [self.seen + at for at in turns[:room]]
            self.waiting += [self.seen + at for at in turns[:room]]
            marks = np.zeros(len(i)) if m is None else m
            news = (twice, i, marks, *(() if v is None else (v,)))
            self.before = self.before or tuple(np.empty(0) for _ in news)
            if self.waiting:
                whole = tuple(
                    np.concatenate((a, np.asarray(b, dtype=float)))
                    for a, b in zip(self.before, news, strict=True)
                )
                self.cut(whole, self.seen - len(self.before[0]), False)
                self.before = tuple(w[-keep:].copy() for w in whole)
            else:
                last = tuple(np.asarray(x[-keep:], dtype=float) for x in news)
                if len(i) < keep:
                    last = tuple(
                        np.concatenate((a, b))[-keep:]
                        for a, b in zip(self.before, last, strict=True)
                    )
                self.before = tuple(x.copy() for x in last)
        self.seen += len(i)

    def cut(self, whole: tuple[Floats, ...], first: int, last: bool) -> None:
        """Take the samples around edges whose later side is there, or is `last` all there is."""
        past = first + len(whole[0])
        while self.waiting and (last or self.waiting[0] + self.reach <= past):
            at = self.waiting.pop(0)
            low, high = max(at - self.reach, first), min(at + self.reach, past)
            row = []
            for values in whole:
                kept = np.full(2 * self.reach, np.nan)
                offset = low - (at - self.reach)
                kept[offset : offset + high - low] = values[low - first : high - first]
                row.append(kept)
            self.rows.append(tuple(row))

    def close(self) -> None:
        """Take what is left, at the end of the trace."""
        if self.before:
            self.cut(self.before, self.seen - len(self.before[0]), True)

    def of_runs(self, first: int, past: int) -> tuple[Around, Around]:
        """Samples around the starts and the ends of runs, as far as they were kept."""
        whole = min(past, len(self.rows) // 2)
        places = np.array(self.places[: 2 * (len(self.rows) // 2)])
        both = []
        for side in (0, 1):
            at = np.arange(2 * first + side, 2 * whole, 2)
            if not len(at):
                none = np.empty((0, 2 * self.reach))
                both.append(Around(time=none, current=none, marker=none))
                continue
            twice, i, m, *v = (
                np.array([self.rows[k][n] for k in at]) for n in range(len(self.rows[0]))
            )
            early = np.where(at == 0, -self.seen, places[at - 1] - places[at])
            late = places[np.minimum(at + 1, len(places) - 1)] - places[at]
            late = np.where(at == len(places) - 1, self.seen, late)
            k = np.arange(-self.reach, self.reach)
            other = (k[None, :] < early[:, None]) | (k[None, :] >= late[:, None])
            time, current, marker, *volts = (
                np.where(other, np.nan, x) for x in (0.5 * twice, i, m, *v)
            )
            both.append(
                Around(
                    time=time,
                    current=current,
                    marker=marker,
                    volts=volts[0] if volts else None,
                )
            )
        return both[0], both[1]


@dataclass(frozen=True, slots=True)
class Around:
    """(R, 2 K) samples around an edge of R runs, the edge between K − 1 and K: s, A, marker, V.

    What belongs to another run or pause is no number; `volts` stand where they were recorded.
    """

    time: Floats
    current: Floats
    marker: Floats
    volts: Floats | None = None


@dataclass(frozen=True, slots=True)
class Inner:
    """Runs by their inner samples.

    current : (R,) A; samples : left out at the start and at the end; leaves : at least so many are
    left. differs : mean over the runs, A, by which the charge at and around the edges differs from
    the inner current's; sure : what it must exceed to be no chance; nan where pauses are too short
    to tell. leaks, leaks_sure : the same of the charge outside the edges alone. odd : edges with
    samples outside the two levels. outside : A, the levels around.
    """

    current: Floats
    samples: tuple[int, int]
    leaves: int
    differs: float
    sure: float
    leaks: float
    leaks_sure: float
    odd: int
    outside: Floats


def settled(profile: Floats, scatter: Floats) -> int:
    """Samples from an edge on until the current stands, by blocks half as long as what is before.

    Parameters: `profile` (R, N) A, samples from the edge inwards less the run's inner level;
    `scatter` (R,) A, standard deviation of a sample inside. The last block that differs, and a
    quarter of the way more: what is left of a tail there is below the scatter of the inner mean.
    """
    n, k, last = profile.shape[1], 0, 0
    length = 1
    while k + length <= n:
        block = profile[:, k : k + length]
        good = ~np.isnan(block).any(axis=1)
        if good.sum() < 2:
            break
        means = block[good].mean(axis=1)
        error = float(np.median(scatter)) / math.sqrt(length)
        # a first block's scatter is the edge's own: where it falls between two samples
        if k:
            error = max(error, float(means.std(ddof=1)))
        if abs(float(means.mean())) > UNSETTLED * error / math.sqrt(len(means)):
            last = k + length
        k += length
        length = max(1, k // 2)
    return math.ceil(1.25 * last)


def inner(
    charge: Floats,
    length: Floats,
    count: Floats,
    scatter: Floats,
    starts: Around,
    ends: Around,
    guard: tuple[int, int] | None,
) -> Inner:
    """The current of runs by their inner samples.

    Parameters
    ----------
    charge, length, count, scatter : (R,) of whole runs, C, s, samples, and A of a sample's standard
    deviation. starts, ends : what stands around their edges. guard : samples to leave out at the
    start and end; None: as many as differ from the rest.
    """
    reach = starts.current.shape[1] // 2
    runs = len(starts.current)
    fewest = int(count.min())
    charge, length, scatter = charge[:runs], length[:runs], scatter[:runs]
    if guard is None:
        # a lag's tail is long, and the later part of a run is free of it
        first = max(1, min(reach, fewest // 2)), max(1, min(reach, fewest // 8))
        level, noise = _inside(charge, length, starts, ends, first, scatter)
        near = min(reach, fewest // 2)
        own = 1 if fewest >= 8 else 0
        guard = (
            max(own, settled(starts.current[:, reach : reach + near] - level[:, None], noise)),
            max(
                own,
                settled(ends.current[:, reach - near : reach][:, ::-1] - level[:, None], noise),
            ),
        )
    guard = (min(guard[0], reach), min(guard[1], reach))
    leaves = fewest - sum(guard)
    if leaves < 2:
        nothing = np.full(runs, np.nan)
        return _untold(nothing, guard, leaves)
    level, noise = _inside(charge, length, starts, ends, guard, scatter)
    # as far outside as a guard inside, and the level around from further out
    near = max(2, *guard)
    k = slice(reach - near, reach), slice(reach, reach + near)
    pre, post = starts.current[:, : reach - near], ends.current[:, reach + near :]
    # what the run before leaves behind is no level, nor what comes ahead of the run after
    pre_level = np.array([_mean(row, guard[0], 0) for row in pre])
    post_level = np.array([_mean(row, 0, guard[1]) for row in post])
    wide = np.isfinite(pre_level) & np.isfinite(post_level)
    if not wide.any():
        return _untold(level, guard, leaves)
    outside = np.nansum(
        (starts.current[:, k[0]] - pre_level[:, None]) * starts.time[:, k[0]], axis=1
    ) + np.nansum((ends.current[:, k[1]] - post_level[:, None]) * ends.time[:, k[1]], axis=1)
    excess = (
        outside
        + np.nansum((starts.current[:, k[1]] - level[:, None]) * starts.time[:, k[1]], axis=1)
        + np.nansum((ends.current[:, k[0]] - level[:, None]) * ends.time[:, k[0]], axis=1)
    )
    differs, sure = _with_error((excess / length)[wide])
    leaks, leaks_sure = _with_error((outside / length)[wide])
    odd = 0
    for side, out in ((starts, pre_level), (ends, post_level)):
        low = np.minimum(level, out) - 8 * noise
        high = np.maximum(level, out) + 8 * noise
        span = side.current[:, reach - near : reach + near]
        with np.errstate(invalid="ignore"):
            strange = (span < low[:, None]) | (span > high[:, None])
        odd += int(strange.any(axis=1).sum())
    return Inner(
        current=level,
        samples=guard,
        leaves=leaves,
        differs=differs,
        sure=sure,
        leaks=leaks,
        leaks_sure=leaks_sure,
        odd=odd,
        outside=0.5 * (pre_level + post_level)[wide],
    )


def _untold(level: Floats, guard: tuple[int, int], leaves: int) -> Inner:
    """Runs of whose edges nothing can be said."""
    return Inner(
        current=level,
        samples=guard,
        leaves=leaves,
        differs=math.nan,
        sure=math.nan,
        leaks=math.nan,
        leaks_sure=math.nan,
        odd=0,
        outside=np.full(len(level), np.nan),
    )


def _with_error(values: Floats) -> tuple[float, float]:
    """(mean, its standard error, endless for one value)."""
    n = len(values)
    error = float(values.std(ddof=1)) / math.sqrt(n) if n > 1 else math.inf
    return float(values.mean()), error


def _mean(row: Floats, after: int = 0, before: int = 0) -> float:
    """The mean of what is there, without some samples at a side where another run is.

    No number of fewer than four samples.
    """
    there = np.flatnonzero(np.isfinite(row))
    if not len(there):
        return math.nan
    first = there[0] + (after if there[0] else 0)
    past = there[-1] + 1 - (before if there[-1] + 1 < len(row) else 0)
    return float(row[first:past].mean()) if past - first >= 4 else math.nan


def _inside(
    charge: Floats,
    length: Floats,
    starts: Around,
    ends: Around,
    guard: tuple[int, int],
    scatter: Floats,
) -> tuple[Floats, Floats]:
    """(R,) mean current without the guarded samples, and a sample's standard deviation inside.

    The second is of the samples just inside the guards, which the edges do not widen.
    """
    reach = starts.current.shape[1] // 2
    a, b = slice(reach, reach + guard[0]), slice(reach - guard[1], reach)
    off = (starts.current[:, a] * starts.time[:, a]).sum(axis=1)
    off = off + (ends.current[:, b] * ends.time[:, b]).sum(axis=1)
    time = starts.time[:, a].sum(axis=1) + ends.time[:, b].sum(axis=1)
    level = (charge - off) / (length - time)
    further = starts.current[:, reach + guard[0] :]
    held = np.isfinite(further).sum(axis=1) >= 8
    noise = scatter.copy()
    if held.any():
        noise[held] = np.minimum(noise[held], np.nanstd(further[held], axis=1, ddof=1))
    return level, noise


def rise_of(starts: Around, threshold: float) -> tuple[float, float]:
    """(time of a marker's edge in s, share of it that lies below the threshold).

    Told from the samples between the marker's two levels; (0, 1/2) where none are.
    """
    reach = starts.marker.shape[1] // 2
    between, steps, shares = [], [], []
    for start, time in zip(starts.marker, starts.time, strict=True):
        low, high = _mean(start[: reach // 2]), _mean(start[reach + reach // 2 :])
        if not (np.isfinite(low) and np.isfinite(high)) or low == high:
            continue
        share = (start - low) / (high - low)
        between.append(int(((share > 0.1) & (share < 0.9)).sum()))
        steps.append(float(np.nanmedian(time)))
        shares.append((threshold - low) / (high - low))
    if not between or np.mean(between) < 0.05:
        return 0.0, 0.5
    return float(np.mean(between)) / 0.8 * float(np.median(steps)), float(np.median(shares))
