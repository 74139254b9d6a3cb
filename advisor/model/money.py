"""Prices at quantity, and costs per unit over the service life. Pure arithmetic on arrays."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Purchase:
    """Pieces bought (N,), the price of each (N,), and what they cost together (N,)."""

    pieces: NDArray[np.int64]
    each: Array
    total: Array


def price_at(
    breaks: Sequence[tuple[int, Array]], multiple: int, pieces: int, incremental: bool = False
) -> Purchase:
    """The cheapest purchase of at least `pieces`, draw by draw: prices are known when one buys.

    Parameters
    ----------
    breaks : (quantity, price each (N,)), ascending; the price holds from that quantity up, for all
        pieces. multiple : pieces are sold in multiples of this.
    pieces : how many are needed.
    incremental : the price holds for the pieces beyond its quantity only. The first one's holds
        for those below too. The price of each is then the mean over all pieces.

    Notes
    -----
    Between two breaks fewer pieces cost less, so only the least quantity that each break allows
    can be cheapest: a larger break's own quantity is bought whole where that costs less (all-unit
    discounts, common practice, no source). Below the first break that
    is the only way. Equal totals: fewer pieces. Incremental prices never make more pieces cost
    less, so what is needed is bought, or the first break.

    Raises
    ------
    ValueError
        Without breaks, or when a count is not above zero.
    """
    if not breaks or multiple < 1 or pieces < 1:
        raise ValueError("breaks, multiple and pieces must be there and above zero")
    if incremental:
        whole = -(-max(pieces, breaks[0][0]) // multiple) * multiple
        starts = [0, *(quantity for quantity, _ in breaks[1:])]
        ends = [*starts[1:], whole]
        total = sum(
            price * max(min(whole, end) - start, 0)
            for start, end, (_, price) in zip(starts, ends, breaks, strict=True)
        )
        spent = np.asarray(total, dtype=np.float64)
        return Purchase(np.full(spent.shape, whole, dtype=np.int64), spent / whole, spent)
    # rounding up may reach the next break; what several breaks come to is bought once
    counts = list(
        dict.fromkeys(-(-max(pieces, quantity) // multiple) * multiple for quantity, _ in breaks)
    )
    prices = [next(price for q, price in reversed(breaks) if q <= count) for count in counts]
    first, *others = (
        np.asarray(price * count, dtype=np.float64)
        for price, count in zip(prices, counts, strict=True)
    )
    if all((first <= total).all() for total in others):
        each = np.asarray(prices[0], dtype=np.float64)
        return Purchase(np.full(each.shape, counts[0], dtype=np.int64), each, first)
    totals = np.array([first, *others])
    best = totals.argmin(axis=0)
    draw = np.arange(totals.shape[1])
    bought = np.array(counts, dtype=np.int64)
    return Purchase(bought[best], np.array(prices)[best, draw], totals[best, draw])


def development(setup_h: Array, rate: Array, tools: Array, units: float) -> Array:
    """(set-up hours x engineer's rate + tools)/units, per unit.

    Hours (R, N) h; rate (N,) per hour and tools (N,) in the product's currency. (R, N).
    """
    return np.asarray((setup_h * rate + tools) / units)


def replacements(service_life: Array, battery_life: Array, following: Array | None = None) -> Array:
    """Battery changes over the service life: max(0, ceil(service life/battery life) - 1).

    Service life (N,) s, battery life (R, N) s; a count, (R, N). Infinite where the battery does
    not last at all; NaN where either is unknown. Where packs that follow the first last otherwise,
    `following` (R, N) s: max(0, ceil((service life - battery life)/following)).
    """
    if following is not None and following is not battery_life:
        with np.errstate(divide="ignore", invalid="ignore"):
            left = np.maximum(service_life - battery_life, 0.0)
            return np.where(left > 0, np.ceil(left / following), left)
    with np.errstate(divide="ignore", invalid="ignore"):
        packs = np.ceil(service_life / battery_life)
    return np.asarray(np.maximum(packs - 1, 0.0))


def whole_intervals(life: Array, every: Array) -> Array:
    """The part of lives (R, N) s that is whole intervals of (N,) s: a pack that is charged at
    intervals is changed at the last visit that it reaches. One that reaches none counts as it is.
    """
    with np.errstate(invalid="ignore"):
        count = np.floor(life / every + 1e-9)
        return np.where((count >= 1) & np.isfinite(life), count * every, life)


def charges(service_life: Array, every: Array, changes: Array) -> Array:
    """Visits over the service life (N,) s that charge a pack, (R, N), one every (N,) s: those at
    which it is changed (R, N) charge nothing, as a pack comes charged."""
    visits = np.maximum(np.ceil(service_life / every - 1e-9) - 1, 0.0)
    return np.asarray(np.maximum(visits - changes, 0.0))


def upkeep(changes: Array, pack: Array, visit: Array) -> Array:
    """changes x (pack + service visit), per unit, (R, N); pack and visit (N,) per change."""
    # no change costs nothing, even where the price of one is unknown or the life is without end
    with np.errstate(invalid="ignore"):
        return np.asarray(np.where(changes == 0, 0.0, changes * (pack + visit)))
