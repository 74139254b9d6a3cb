"""The first depth at which a margin turns negative: bracketing, then false position."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def first_negative(
    margin: Callable[[Array, NDArray[np.intp]], Array], grid: Array, upto: Array
) -> Array:
    """First depth at which a margin turns negative, (M,); infinite where it never does.

    Parameters
    ----------
    margin : of depths (m,) and the indices (m,) of the M cases they belong to. grid : (G,) depths
    to bracket with. upto : (M,) depth of interest.
    """
    out = np.full(upto.shape, np.inf)
    alive = np.arange(len(upto))
    low = np.zeros(len(upto))
    at_low = margin(low, alive)
    out[alive[at_low < 0]] = 0.0
    keep = at_low >= 0
    alive, low, at_low = alive[keep], low[keep], at_low[keep]
    for g in grid[1:]:
        if not alive.size:
            break
        high = np.minimum(g, upto[alive])
        at_high = margin(high, alive)
        below = at_high < 0
        if below.any():
            out[alive[below]] = _root(
                margin, alive[below], low[below], high[below], at_low[below], at_high[below]
            )
        keep = ~below & (high < upto[alive])
        alive, low, at_low = alive[keep], high[keep], at_high[keep]
    return out


def _root(
    margin: Callable[[Array, NDArray[np.intp]], Array],
    index: NDArray[np.intp],
    low: Array,
    high: Array,
    at_low: Array,
    at_high: Array,
) -> Array:
    """Zero between low (margin >= 0) and high (< 0), by false position with Illinois weights."""
    low, high, at_low, at_high = low.copy(), high.copy(), at_low.copy(), at_high.copy()
    for n in range(80):
        with np.errstate(divide="ignore", invalid="ignore"):
            guess = high - at_high * (high - low) / (at_high - at_low)
        # a margin that is not finite (no power to be had) leaves halving
        guess = np.where(np.isfinite(guess) & (n % 4 != 3), guess, (low + high) / 2)
        guess = np.clip(guess, low, high)
        value = margin(guess, index)
        good = value >= 0
        at_high = np.where(good, at_high * 0.5, value)
        at_low = np.where(good, value, at_low * 0.5)
        low, high = np.where(good, guess, low), np.where(good, high, guess)
        if bool(((high - low) < 1e-13).all()) or bool((np.abs(value) < 1e-13).all()):
            break
    return low
