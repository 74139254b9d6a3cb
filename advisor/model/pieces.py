"""Curves that go straight from one of their places to the next.

A curve has places `x` (X,) ascending and values (X, N), a column for each draw. Where something
lies on it is told by a piece, the index of its lower end, and the share of the way along it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.intp]


def piece_of(x: Array, at: Array) -> Index:
    """The pieces that places lie in, of their shape; below the curve its first, beyond it its last.

    Parameters
    ----------
    x : (X,) at least two places, ascending, SI of any kind. at : of any shape, likewise.
    """
    # twice as quick as a clip, on the short arrays that are looked up most
    return np.minimum(np.maximum(np.searchsorted(x, at, side="right") - 1, 0), len(x) - 2)


def piece_and_share(x: Array, at: Array) -> tuple[Index, Array]:
    """`piece_of` for places of any shape, and the share of the way along it: below 0 and above 1
    beyond the curve."""
    i = piece_of(x, at)
    return i, (at - x[i]) / (x[i + 1] - x[i])


def between(values: Array, i: Index, share: Array, column: Index) -> Array:
    """Values on pieces, each for its own draw.

    Parameters
    ----------
    values : (X, N), SI of any kind. i, share : see `piece_and_share`. column : index into N,
    broadcasting to them.

    Returns
    -------
    Of their common shape, like the values.
    """
    # by one number a place: taking so is several times as quick as by two
    columns, flat = values.shape[1], values.ravel()
    low = i * columns + column
    return np.asarray(flat.take(low) * (1 - share) + flat.take(low + columns) * share)


def across(values: Array, i: Index, share: Array) -> Array:
    """Values (X, N) SI on pieces of any shape (...), the same ones for all draws: (..., N)."""
    share = share[..., None]
    return np.asarray(values[i] * (1 - share) + values[i + 1] * share)
