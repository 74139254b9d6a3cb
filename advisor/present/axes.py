"""Marks of axes, at steps of 1, 2 and 5."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from itertools import pairwise

_ZEROS = re.compile(r"(?:\.0+|(\.\d*?[1-9])0+)(?= |$)")
STEEP = 10.0  # from this ratio on, figures are drawn on a logarithmic scale
CLOSE = 0.08  # of an axis; labels that are nearer would touch
# what people count time by, s
TIMES = (
    *(step * 10.0**power for power in range(-9, 1) for step in (1, 2, 5)),
    *(10.0, 20.0, 60.0, 120.0, 300.0, 600.0, 1200.0),
    *(3600.0 * hours for hours in (1, 2, 5, 10, 24, 48, 120, 240, 480)),
    *(31_557_600.0 * years for years in (0.2, 0.5, 1, 2, 5, 10, 20, 50, 100)),
)


def steep(values: Iterable[float], span: float = STEEP) -> bool:
    """Whether values span more than tenfold, or `span`, all above zero."""
    some = list(values)
    return bool(some) and min(some) > 0 and max(some) > span * min(some)


def marks(low: float, high: float, log: bool, most: int = 7) -> list[float]:
    """1, 2 and 5 times powers of ten from `low` to `high`, at most so many."""
    if not high > low:
        return [low]
    if log:
        first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
        for steps, every in (((1, 2, 5), 1), ((1, 5), 1), ((1,), 1), ((1,), 2), ((1,), 3)):
            found = [s * 10.0**p for p in range(first, last + 1, every) for s in steps]
            found = [x for x in found if low * (1 - 1e-9) <= x <= high * (1 + 1e-9)]
            if len(found) <= most:
                break
        if len(found) > 1:
            return found
    raw = (high - low) / max(most - 1, 1)
    size = 10.0 ** math.floor(math.log10(raw))
    step = next(s * size for s in (1, 2, 5, 10) if s * size >= raw * (1 - 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(i * step, 12) for i in range(first, last + 1)]


def times(low: float, high: float, most: int = 7) -> list[float]:
    """Marks of a logarithmic axis of time, s."""
    found = [x for x in TIMES if low * (1 - 1e-9) <= x <= high * (1 + 1e-9)]
    return found[:: math.ceil(len(found) / most)] if len(found) > 1 else marks(low, high, True)


def plain(text: str) -> str:
    """A figure as a mark: `1 mA` for `1.00 mA`."""
    return _ZEROS.sub(lambda found: found[1] or "", text)


def apart(values: Sequence[float], low: float, high: float, log: bool) -> bool:
    """Whether labels at these values would not touch on an axis from `low` to `high`."""

    def at(x: float) -> float:
        return math.log(x) if log else x

    if not high > low:
        return len(values) < 2
    places = sorted((at(x) - at(low)) / (at(high) - at(low)) for x in values)
    return all(b - a >= CLOSE for a, b in pairwise(places))
