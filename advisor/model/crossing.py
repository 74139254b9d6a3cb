"""The first depth at which a margin turns negative: bracketing, then false position."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Margin = Callable[[Array, Index], Array]

# a depth of 1e-8 is three seconds in ten years; margins are in volts or shares
NARROW = 1e-8
MOST = 60  # steps of the search within one bracket


def first_negative(margin: Margin, grid: Array, upto: Array, falling: bool) -> Array:
    """First depth at which a margin turns negative, (M,); infinite where it never does.

    Parameters
    ----------
    margin : of depths (m,) and the indices (m,) of the M cases they belong to.
    grid : (G,) depths to bracket with, from 0; between two of them a margin has at most one sign
        change. upto : (M,) depth of interest.
    falling : whether every margin falls with depth, so that one look at the end tells whether
        there is a crossing and halving finds its bracket.
    """
    out = np.full(upto.shape, np.inf)
    cases = np.arange(len(upto))
    if falling:
        cases = cases[margin(upto, cases) < 0]
    start = margin(np.zeros(len(cases)), cases)
    out[cases[start < 0]] = 0.0
    cases, start = cases[start >= 0], start[start >= 0]
    if not cases.size:
        return out
    bracket = _halved if falling else _scanned
    found, low, high, at_low, at_high = bracket(margin, grid, upto, cases, start)
    out[found] = _root(margin, found, low, high, at_low, at_high)
    return out


Brackets = tuple[Index, Array, Array, Array, Array]


def _halved(margin: Margin, grid: Array, upto: Array, cases: Index, start: Array) -> Brackets:
    """Brackets of falling margins that are negative at `upto`, by halving the grid."""
    last = np.searchsorted(grid, upto[cases])  # the first grid point not below the end
    low = np.zeros(len(cases), dtype=np.intp)
    high = np.maximum(last, 1).astype(np.intp)
    at_low, at_high = start.copy(), np.full(len(cases), np.nan)
    while True:
        open_ones = np.nonzero(high - low > 1)[0]
        if not open_ones.size:
            break
        middle = (low[open_ones] + high[open_ones]) // 2
        value = margin(grid[middle], cases[open_ones])
        good = value >= 0
        low[open_ones[good]], at_low[open_ones[good]] = middle[good], value[good]
        high[open_ones[~good]], at_high[open_ones[~good]] = middle[~good], value[~good]
    top = np.minimum(grid[np.minimum(high, len(grid) - 1)], upto[cases])
    unseen = np.isnan(at_high)
    if unseen.any():
        at_high[unseen] = margin(top[unseen], cases[unseen])
    return cases, grid[low], top, at_low, at_high


def _scanned(margin: Margin, grid: Array, upto: Array, cases: Index, start: Array) -> Brackets:
    """First brackets of any margins, grid point by grid point."""
    found: list[Brackets] = []
    low, at_low = np.zeros(len(cases)), start
    for g in grid[1:]:
        if not cases.size:
            break
        high = np.minimum(g, upto[cases])
        at_high = margin(high, cases)
        below = at_high < 0
        found.append((cases[below], low[below], high[below], at_low[below], at_high[below]))
        keep = ~below & (high < upto[cases])
        cases, low, at_low = cases[keep], high[keep], at_high[keep]
    parts = list(zip(*found, strict=True))
    return tuple(np.concatenate(p) for p in parts)  # type: ignore[return-value]


def _root(
    margin: Margin, cases: Index, low: Array, high: Array, at_low: Array, at_high: Array
) -> Array:
    """Zero between low (margin >= 0) and high (< 0), by false position with Illinois weights.

    A margin that is not finite (there is no power to be had) leaves halving.
    """
    low, high, at_low, at_high = low.copy(), high.copy(), at_low.copy(), at_high.copy()
    side = np.zeros(len(low), dtype=np.int8)
    active = np.nonzero(high - low > NARROW)[0]
    for n in range(MOST):
        if not active.size:
            break
        a, b, fa, fb = low[active], high[active], at_low[active], at_high[active]
        with np.errstate(divide="ignore", invalid="ignore"):
            guess = b - fb * (b - a) / (fb - fa)
        usable = np.isfinite(guess) & (n % 5 != 4)
        guess = np.clip(np.where(usable, guess, (a + b) / 2), a, b)
        value = margin(guess, cases[active])
        good = value >= 0
        # the end that stays a second time is weighed down, or false position would creep
        was = side[active]
        at_low[active] = np.where(good, value, np.where(was == -1, fa / 2, fa))
        at_high[active] = np.where(good, np.where(was == 1, fb / 2, fb), value)
        low[active], high[active] = np.where(good, guess, a), np.where(good, b, guess)
        side[active] = np.where(good, 1, -1)
        done = (high[active] - low[active] <= NARROW) | ((value >= 0) & (value <= NARROW))
        active = active[~done]
    return low
