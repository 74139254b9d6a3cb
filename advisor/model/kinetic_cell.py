"""The kinetic battery model: two wells of charge, one at hand and one that follows slowly.

Manwell & McGowan, "Lead acid battery storage model for hybrid energy systems", Solar Energy 50
(1993) 399-405. With h1, h2 the heads of the available and the bound well and delta = h2 - h1:

    d(delta)/dt = i/c - k delta,    h1 = y - (1 - c) delta,

y the charge left in both wells, c the available share, k the constant k' = k0/(c(1 - c)). The
cell is empty for its load when h1 reaches zero, whatever is left in the bound well.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def step(delta: Array, current: Array, duration: Array, c: Array, k: Array) -> Array:
    """delta (C) after a constant current (A) for a duration (s). Arrays broadcast.

    c is a share, k in 1/s.
    """
    decay = np.exp(-k * duration)
    return np.asarray(delta * decay - current / (c * k) * np.expm1(-k * duration))


def periodic_peak(
    currents: Sequence[Array],
    durations: Sequence[Array],
    rest_current: Array,
    rest: Array,
    c: Array,
    k: Array,
) -> Array:
    """Greatest delta (C) of a load that repeats for ever.

    Parameters
    ----------
    currents (A), durations (s) : the states of one period in order, arrays of one shape.
    rest_current (A), rest (s) : what follows until the period ends, of that shape too. c (share),
    k (1/s) : of the cell (pack), broadcasting.

    Notes
    -----
    One period maps delta to d + delta exp(-k T), so the periodic value at its start is
    d/(1 - exp(-k T)). Within a state delta moves one way, so its extremes are at states' ends.
    """
    period = rest + sum(durations, np.zeros_like(rest))
    grown = np.zeros_like(period)
    for current, duration in zip(currents, durations, strict=True):
        grown = step(grown, current, duration, c, k)
    grown = step(grown, rest_current, rest, c, k)
    delta = grown / -np.expm1(-k * period)
    peak = delta
    for current, duration in zip(currents, durations, strict=True):
        delta = step(delta, current, duration, c, k)
        peak = np.maximum(peak, delta)
    return np.asarray(peak)


def lifetime(
    capacity: float,
    c: float,
    k: float,
    segments: Sequence[tuple[float, float]],
    repeat: bool = True,
) -> float:
    """Time until the available well is empty under a load of constant-current segments.

    Parameters
    ----------
    capacity : charge in both wells at the start. c, k : the model's parameters.
    segments : (current, duration) in turn; with `repeat` over and over.

    Any units that agree (A, s, C; or A, min, A min).

    Returns
    -------
    The lifetime; infinity when the load ends, or draws nothing, before the well is empty.
    """
    if repeat and not any(i > 0 and t > 0 for i, t in segments):
        return np.inf
    left, delta, time = capacity, 0.0, 0.0
    while True:
        for current, duration in segments:
            after = float(
                step(
                    np.array(delta), np.array(current), np.array(duration), np.array(c), np.array(k)
                )
            )
            # the available head is concave or falling within a segment, so the sign at its end
            # tells whether it reaches zero on the way
            if left - current * duration - (1 - c) * after <= 0:
                return time + _empties(left, delta, current, duration, c, k)
            left -= current * duration
            delta = after
            time += duration
        if not repeat:
            return np.inf


def _empties(
    left: float, delta: float, current: float, duration: float, c: float, k: float
) -> float:
    low, high = 0.0, duration
    settled = current / (c * k)
    for _ in range(200):
        middle = (low + high) / 2
        here = settled + (delta - settled) * np.exp(-k * middle)
        if left - current * middle - (1 - c) * here > 0:
            low = middle
        else:
            high = middle
    return high
