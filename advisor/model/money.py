"""Prices at quantity, and costs per unit over the service life. Pure arithmetic on arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Purchase:
    """Pieces bought, the price of each (N,), and what they cost together (N,)."""

    pieces: int
    each: Array
    total: Array


def pieces_bought(first: int, multiple: int, pieces: int) -> int:
    """Pieces bought where `pieces` are needed: at least the first break's quantity, whole
    multiples."""
    return -(-max(pieces, first) // multiple) * multiple


def price_at(breaks: Sequence[tuple[int, Array]], multiple: int, pieces: int) -> Purchase:
    """What `pieces` cost.

    Parameters
    ----------
    breaks : (quantity, price each (N,)), ascending; the price holds from that quantity up.
    multiple : pieces are sold in multiples of this; the number bought is rounded up.
    pieces : how many are needed.

    Notes
    -----
    Below the first break one buys that break's quantity whole.

    Raises
    ------
    ValueError
        Without breaks, or when a count is not above zero.
    """
    if not breaks or multiple < 1 or pieces < 1:
        raise ValueError("breaks, multiple and pieces must be there and above zero")
    bought = pieces_bought(breaks[0][0], multiple, pieces)
    each = next(price for quantity, price in reversed(breaks) if quantity <= bought)
    return Purchase(bought, each, each * bought)


def development(setup_h: Array, rate: Array, tools: Array, units: float) -> Array:
    """(set-up hours x engineer's rate + tools)/units, per unit."""
    return np.asarray((setup_h * rate + tools) / units)


def replacements(service_life: Array, battery_life: Array) -> Array:
    """Battery changes over the service life: max(0, ceil(service life/battery life) - 1).

    Infinite where the battery does not last at all; NaN where either is unknown.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        packs = np.ceil(service_life / battery_life)
    return np.asarray(np.maximum(packs - 1, 0.0))


def upkeep(changes: Array, pack: Array, visit: Array) -> Array:
    """changes x (pack + service visit), per unit."""
    # no change costs nothing, even where the price of one is unknown or the life is without end
    with np.errstate(invalid="ignore"):
        return np.asarray(np.where(changes == 0, 0.0, changes * (pack + visit)))
