"""Whether a stretch stands still: what else is in it, and the second where it is.

A stretch's slow course is told by the medians of its blocks, which short bursts do not move; bursts
by samples far above it; a ripple by its line in the spectrum. Each finding says by how much it
moves the stretch's mean, so that what is lost in the figure's uncertainty stops nobody.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from advisor.bench.chunks import Floats
from advisor.bench.segments import BLOCKS, Pieces
from advisor.dataclass import dataclass
from advisor.quantities import show

Places = NDArray[np.intp]

FINE = 50  # pieces of a block
MUCH = 3.0  # mean square of the blocks' departures over what chance gives, for slow changes
FITS = 0.8  # share of the blocks' departures that a form must carry to give its name
FAR = 8.0  # standard deviations of a sample that a burst stands out by
LINE = 0.25  # share of a stretch's variance in one line and its overtones
SWAY = 0.1  # amplitude of a ripple over the mean
HUM = (45.0, 190.0)  # Hz: the mains and their first overtones, which are no regulator's
LEAST_RAW = 256
SLOWEST = 16  # periods among the samples that are looked at
LEAST_A = 1e-18  # six electrons a second: what reads nothing throughout has no noise
TONES = 8  # a line and its overtones: of noise, they carry a few per cent


@dataclass(frozen=True, slots=True)
class Unstill:
    """What keeps a stretch from standing still.

    `kind` is the word by which notes accept it; `moves` is A that the mean moves by; `half` the
    half-width of the mean's place where it is accepted, A.
    """

    kind: str
    words: str
    moves: float
    half: float


def unstill(
    pieces: Pieces, begin: float, end: float, step: float, floor: float, code: float
) -> list[Unstill]:
    """What is found in a stretch's pieces.

    Parameters
    ----------
    begin, end : s. step : between samples, s. floor : A, a sample's least standard deviation, from
    the meter's statement. code : A, step of the meter's codes, 0 where there is none.
    """
    full = np.flatnonzero(pieces.count)
    if len(full) < 2 * BLOCKS:
        return []
    edges = np.linspace(begin, end, len(pieces.count) + 1)
    at = 0.5 * (edges[full] + edges[full + 1])
    time, count = pieces.time[full], pieces.count[full]
    level = pieces.charge[full] / time
    mean = float(pieces.charge[full].sum() / time.sum())
    raw = np.concatenate(pieces.raw) if pieces.raw else np.empty(0)
    least = max(1e-9 * abs(mean), LEAST_A)
    sigma = max(_noise(pieces, full, raw), floor, code / math.sqrt(12), least)
    near = float(np.median(np.abs(np.diff(level)))) / (0.6745 * math.sqrt(2))
    usual = float(np.median(count))
    piece = max(near, sigma / math.sqrt(usual))

    found = []
    slow, told = _slow(at, level, piece, mean, end - begin)
    found += told
    found += _bursts(pieces, full, at, level - slow, slow, sigma, piece, raw, step)
    found += _ripple(raw, step, mean, begin)
    return found


def _noise(pieces: Pieces, full: Places, raw: Floats) -> float:
    """A sample's standard deviation that neither bursts nor a slow course widen, A."""
    count = pieces.count[full]
    several = count >= 4
    out = math.inf
    if several.any():
        n = count[several]
        mean = _piece_mean(pieces, full[several])
        spread = np.maximum(pieces.square[full][several] - n * mean**2, 0.0) / (n - 1)
        out = math.sqrt(float(np.median(spread)))
    if len(raw) >= 8:
        # of neighbours: half of a slow course's samples are no burst's
        robust = float(np.median(np.abs(np.diff(raw)))) / (0.6745 * math.sqrt(2))
        out = min(out, robust)
    return 0.0 if math.isinf(out) else out


def _piece_mean(pieces: Pieces, at: Places) -> Floats:
    return np.asarray(pieces.charge[at] / pieces.time[at])


def _slow(
    at: Floats, level: Floats, piece: float, mean: float, length: float
) -> tuple[Floats, list[Unstill]]:
    """(the slow course at each piece, A, what it is where it is none of chance)."""
    groups = np.array_split(np.arange(len(level)), BLOCKS)
    x = np.array([at[g].mean() for g in groups])
    y = np.array([np.median(level[g]) for g in groups])
    # a median's standard deviation is 1.25 of a mean's, for a normal distribution
    error = np.array([1.2533 * piece / math.sqrt(len(g)) for g in groups])
    middle = float(np.median(level))
    chance = float(((y - y.mean()) ** 2 / error**2).sum()) / (BLOCKS - 1)
    if chance < MUCH:
        return np.full(len(level), middle), []
    whole = float(((y - y.mean()) ** 2).sum())
    # ends of the stretch have few samples of a tail or of a late sleep: look at the pieces as well
    forms: list[tuple[float, str, Floats, str, float, float]] = []
    slope, offset = np.polyfit(x - x[0], y, 1)
    line = offset + slope * (at - x[0])
    rest = float(((y - offset - slope * (x - x[0])) ** 2).sum())
    half = abs(slope) * length / 2
    words = (
        f"drifts by {show(abs(float(slope)) * length, 'current')} from {at[0]:.6g} to "
        f"{at[-1]:.6g} s (the meter's offset, or a part that cools)"
    )
    forms.append((rest, "drift", line, words, half, half))
    for cut in range(1, BLOCKS):
        a, b = y[:cut].mean(), y[cut:].mean()
        rest = float(((y[:cut] - a) ** 2).sum() + ((y[cut:] - b) ** 2).sum())
        where = _change(at, level, float(x[cut - 1]), float(x[cut]))
        stair = np.where(at < where, a, b)
        moves = mean - float(b if cut < BLOCKS / 2 else a)
        words = (
            f"stands at {show(float(a), 'current')} until {where:.6g} s and at "
            f"{show(float(b), 'current')} after it (a part that went to sleep late, or woke)"
        )
        # a stair of one block at the beginning is a tail's as well, which comes after it
        forms.append((rest * 1.0001, "late", stair, words, moves, abs(float(a - b)) / 2))
    for share in np.geomspace(0.01, 0.5, 12):
        shape = np.exp(-(x - at[0]) / (share * length))
        grown = np.stack((np.ones(BLOCKS), shape), axis=1)
        (base, high), *_ = np.linalg.lstsq(grown, y, rcond=None)
        rest = float(((y - grown @ (base, high)) ** 2).sum())
        tail = base + high * np.exp(-(at - at[0]) / (share * length))
        until = float(at[0]) + 3 * share * length
        words = (
            f"falls from {show(float(base + high), 'current')} at {at[0]:.6g} s to "
            f"{show(float(base), 'current')}, until about {min(until, float(at[-1])):.6g} s "
            "(the tail of what was before it)"
        )
        if high > 0:
            forms.append((rest * 1.0002, "tail", tail, words, mean - float(base), abs(mean - base)))
    rest, kind, course, words, moves, half = min(forms, key=lambda f: f[0])
    if rest <= (1 - FITS) * whole:
        return course, [Unstill(kind, words, abs(moves), half)]
    course = np.interp(at, x, y)
    levels = two_levels(level, piece)
    if levels is not None:
        high = level > sum(levels) / 2
        first = int(np.argmax(high))
        rare = min(float(high.mean()), 1 - float(high.mean()))
        words = (
            f"stands at {show(levels[0], 'current')} and {show(levels[1], 'current')} in turn, the "
            f"second from {at[first]:.6g} s on (a lamp, or something that wakes)"
        )
        moves = (levels[1] - levels[0]) * rare
        return course, [Unstill("bursts", words, moves, moves)]
    off = int(np.argmax(np.abs(y - middle)))
    words = (
        f"wanders between {show(float(y.min()), 'current')} and {show(float(y.max()), 'current')}, "
        f"farthest at {x[off]:.6g} s"
    )
    return course, [Unstill("wander", words, float(np.ptp(y)) / 2, float(np.ptp(y)) / 2)]


def _change(at: Floats, level: Floats, low: float, high: float) -> float:
    """Where between two moments the level changes, by the widest step of neighbours."""
    inside = np.flatnonzero((at >= low) & (at <= high))
    if len(inside) < 2:
        return 0.5 * (low + high)
    steps = np.abs(np.diff(level[inside]))
    k = inside[int(np.argmax(steps))]
    return 0.5 * float(at[k] + at[k + 1])


def _bursts(
    pieces: Pieces,
    full: Places,
    at: Floats,
    above: Floats,
    slow: Floats,
    sigma: float,
    piece: float,
    raw: Floats,
    step: float,
) -> list[Unstill]:
    """Samples far from the slow course; `above` is each piece's mean over it."""
    high = pieces.high[full] - slow > FAR * sigma
    low = slow - pieces.low[full] > FAR * sigma
    odd = high | low | (np.abs(above) > FAR * piece)
    if not odd.any():
        return []
    time = pieces.time[full]
    if odd.mean() > 0.5:
        quiet = float(np.median(raw)) if len(raw) else float(np.median(slow))
        charge = pieces.charge[full]
        moves = float(charge.sum() / time.sum()) - quiet
        words = (
            f"has bursts all along, up to {show(float(pieces.high[full].max()), 'current')} at "
            f"{at[int(np.argmax(pieces.high[full]))]:.6g} s over {show(quiet, 'current')}"
        )
        return [Unstill("bursts", words, abs(moves), abs(moves))]
    moves = float((above * time)[odd].sum() / time.sum())
    where = np.flatnonzero(odd)
    groups = np.split(where, np.flatnonzero(np.diff(where) > 1) + 1)
    first = groups[0][0]
    peak = pieces.high[full][odd].max() if high.any() else pieces.low[full][odd].min()
    words = (
        f"has {len(groups)} burst{'s' if len(groups) > 1 else ''}, the first at {at[first]:.6g} s, "
        f"{'up' if high.any() else 'down'} to {show(float(peak), 'current')} (a lamp, a wake-up, "
        "or the meter's change of range)"
    )
    if len(groups) > 2:
        apart = np.diff([at[g[0]] for g in groups])
        if apart.std() < 0.2 * apart.mean():
            words += f", one every {show(float(apart.mean()), 'time')}"
    # one sample of a burst tells nothing of how long it was; their number is chance as well
    few = float(np.median([pieces.time[full][g].sum() for g in groups])) < 3 * step
    scatter = abs(moves) / math.sqrt(len(groups))
    return [Unstill("bursts", words, abs(moves), abs(moves) if few else scatter)]


def _ripple(raw: Floats, step: float, mean: float, begin: float) -> list[Unstill]:
    """A line in the spectrum of the first samples, as a switching regulator makes it."""
    n = len(raw)
    if n < LEAST_RAW or not step or not np.ptp(raw):
        return []
    power = np.abs(np.fft.rfft((raw - raw.mean()) * np.hanning(n))) ** 2
    power[:SLOWEST] = 0.0
    whole = float(power.sum())
    if not whole:
        return []
    peak = int(np.argmax(power))
    tones = range(peak, min(len(power), peak * TONES + 1), max(peak, 1))
    own = sum(float(power[k - 2 : k + 3].sum()) for k in tones)
    # the window takes 3/8 of a variance
    variance = whole * 2 / (n**2 * 0.375)
    sway = math.sqrt(2 * variance * min(own / whole, 1.0))
    rate = peak / (n * step)
    if own < LINE * whole or sway < SWAY * abs(mean) or HUM[0] <= rate <= HUM[1]:
        return []
    words = (
        f"sways by {show(sway, 'current')} at {rate:.4g} Hz from {begin:.6g} s on (a switching "
        "regulator between the meter and the chip, or bursts: before a regulator the current is "
        "another)"
    )
    return [Unstill("ripple", words, math.inf, sway)]


def without(pieces: Pieces, begin: float, end: float, cuts: list[tuple[float, float]]) -> None:
    """Empty the pieces that touch stretches to be cut."""
    edges = np.linspace(begin, end, len(pieces.count) + 1)
    for low, high in cuts:
        gone = (edges[:-1] < high) & (edges[1:] > low)
        pieces.time[gone] = pieces.charge[gone] = pieces.count[gone] = pieces.square[gone] = 0.0
        pieces.low[gone], pieces.high[gone] = np.inf, -np.inf
        for sums in (pieces.energy, pieces.volts):
            if sums is not None:
                sums[gone] = 0.0
        pieces.raw.clear()


def two_levels(runs: Floats, noise: float) -> tuple[float, float] | None:
    """The two currents that runs fall into, as where something else draws in some of them.

    `noise` is a run's least standard deviation. A normal distribution's best split into two carries
    2/π of its variance.
    """
    if len(runs) < 6:
        return None
    ranked = np.sort(runs)
    n, total = len(ranked), np.cumsum(ranked - ranked.mean())
    whole = float(((ranked - ranked.mean()) ** 2).sum())
    k = np.arange(2, n - 1)
    between = total[k - 1] ** 2 * (1 / k + 1 / (n - k))
    cut = int(k[np.argmax(between)])
    share = float(between.max()) / whole if whole else 0.0
    if share < (0.95 if len(runs) < 12 else 0.9):
        return None
    low, high = float(ranked[:cut].mean()), float(ranked[cut:].mean())
    return (low, high) if high - low > 4 * noise else None


def trend(runs: Floats) -> float:
    """Student's t of the slope over the runs in order; 0 where there are too few."""
    n = len(runs)
    if n < 6 or not np.ptp(runs):
        return 0.0
    k = np.arange(n) - (n - 1) / 2
    slope = float((k * runs).sum() / (k**2).sum())
    rest = runs - runs.mean() - slope * k
    error = math.sqrt(float((rest**2).sum()) / (n - 2) / float((k**2).sum()))
    return slope / error if error else math.copysign(math.inf, slope)
