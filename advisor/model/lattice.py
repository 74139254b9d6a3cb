"""Places of a lattice over the logarithms of cover and store, and what lies between them.

Between places values go along straight lines, or along cubics that overshoot nowhere (Fritsch and
Carlson 1980, their limit on slopes of parabolas through three places); slopes along one axis are
those of the lattice's places, told once for all that lies between them.

Arrays are of any shape where not said: shares, or days of load.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from advisor.model.draws import Array

# logarithms of cover and of store, and the step between places that are worked out up to there from
# the one before: close where much depends on them, as on days of store where months bring nothing,
# and on covers where a large store just fills or empties in the long run
COVER_STEPS = ((-4.0, 0.0), (-0.4, 0.3), (-0.1, 0.05), (0.05, 0.0125), (1.6, 0.05), (4.0, 0.25))
STORE_STEPS = ((-4.0, 0.0), (-1.2, 0.25), (2.7, 0.13), (6.3, 0.04))
LEAST_STORE, MOST_STORE = 0.02, 500.0  # days of load
LEAST_COVER, MOST_COVER = 0.02, 50.0

Steps = Sequence[tuple[float, float]]


class Lattice:
    """Places of a lattice over the logarithms of cover and store, numbered along each."""

    def __init__(self, step: float, axes: Sequence[Steps] = (COVER_STEPS, STORE_STEPS)) -> None:
        self.axes = [_numbered(of, step) for of in axes]

    def numbers(self, cover: Array, store: Array) -> tuple[Array, Array]:
        """Where covers and stores (any shape) lie, by the index of places along each."""
        u = np.log(np.clip(np.nan_to_num(cover), LEAST_COVER, MOST_COVER))
        v = np.log(np.clip(np.nan_to_num(store), LEAST_STORE, MOST_STORE))
        (at_u, n_u), (at_v, n_v) = self.axes
        return np.interp(u, at_u, n_u), np.interp(v, at_v, n_v)

    @property
    def at(self) -> tuple[Array, Array]:
        """The logarithms of all covers, shares of the load, (U,), and stores, days of it, (V,)."""
        u, v = (np.interp(np.arange(n[-1] + 1), n, at) for at, n in self.axes)
        return u, v

    @property
    def sizes(self) -> tuple[int, int]:
        """How many covers and stores there are."""
        covers, stores = (int(n[-1]) + 1 for _, n in self.axes)
        return covers, stores

    def values(self, places: list[tuple[int, int]]) -> tuple[Array, Array]:
        """Covers, shares of the load, and stores, counts of days, (B,) of some places."""
        i, j = np.array(places, dtype=float).T
        (at_u, n_u), (at_v, n_v) = self.axes
        return np.exp(np.interp(i, n_u, at_u)), np.exp(np.interp(j, n_v, at_v))


def _numbered(steps: Steps, step: float) -> tuple[Array, Array]:
    """Ends of the parts of an axis, and their numbers: whole steps, as long as told or shorter."""
    at = np.array([end for end, _ in steps])
    counts = [
        np.ceil((b - a) / (s * step) - 1e-9) for a, (b, s) in zip(at, steps[1:], strict=False)
    ]
    return at, np.concatenate([[0.0], np.cumsum(counts)])


class Cell:
    """The cell of a lattice of logarithms that each of some places lies in, its corners, and those
    of as many cells `around` as there are."""

    def __init__(self, cover: Array, store: Array, lattice: Lattice, around: int = 0) -> None:
        u, v = lattice.numbers(cover, store)
        self.lattice = lattice
        sizes = lattice.sizes
        # the last place of an axis is the end of the cell before it
        self.i, self.j = (
            np.minimum(np.floor(x), n - 2).astype(np.intp)
            for x, n in zip((u, v), sizes, strict=True)
        )
        self.s, self.t = u - self.i, v - self.j
        self.low = max(int(self.i.min()) - around, 0), max(int(self.j.min()) - around, 0)
        # marked in a table, as `np.unique` loads masked arrays
        corners = np.zeros(
            (int(self.i.max()) + 2 + around, int(self.j.max()) + 2 + around), dtype=bool
        )
        corners[self.i, self.j] = True
        for _ in range(1 + around):
            corners[:, 1:] |= corners[:, :-1]
            corners[1:] |= corners[:-1]
        for _ in range(around):
            corners[:, :-1] |= corners[:, 1:]
            corners[:-1] |= corners[1:]
        there = corners[: sizes[0], : sizes[1]]
        self.corners = [(int(a), int(b)) for a, b in np.argwhere(there)]

    def _table(self, values: dict[tuple[int, int], float]) -> tuple[Array, int]:
        places = np.array(list(values)) - self.low
        table = np.full(places.max(axis=0) + 1, np.nan)
        table[places[:, 0], places[:, 1]] = list(values.values())
        return table.ravel(), table.shape[1]

    def along_cubics(self, values: dict[tuple[int, int], float]) -> Array:
        """Values of the corners along cubics between them, with those around, of the shape of the
        places, shares or counts; in the logarithms of cover and store, along the latter first."""
        at_u, at_v = self.lattice.at
        u, v = (
            at[k] + share * (at[k + 1] - at[k])
            for at, k, share in ((at_u, self.i, self.s), (at_v, self.j, self.t))
        )
        flat, wide = self._table(values)
        slopes = _slopes(at_v[self.low[1] : self.low[1] + wide], flat.reshape(-1, wide)).ravel()
        first, width = at_v[self.j], at_v[self.j + 1] - at_v[self.j]
        i = [np.clip(self.i + k, 0, len(at_u) - 1) for k in (-1, 0, 1, 2)]
        rows = []
        for a in i:
            at = (a - self.low[0]) * wide + (self.j - self.low[1])
            ends, its = ((x.take(at), x.take(at + 1)) for x in (flat, slopes))
            rows.append(_between((v - first) / width, width, ends, its))
        return _cubic([at_u[k] for k in i], rows, u)

    def between(self, values: dict[tuple[int, int], float]) -> Array:
        """Values of the corners between them, of the shape of the places, shares or counts."""
        flat, wide = self._table(values)
        at = (self.i - self.low[0]) * wide + (self.j - self.low[1])
        near = flat.take(at) * (1 - self.t) + flat.take(at + 1) * self.t
        far = flat.take(at + wide) * (1 - self.t) + flat.take(at + wide + 1) * self.t
        return np.asarray(near * (1 - self.s) + far * self.s)


def _cubic(x: Sequence[Array], y: Sequence[Array], at: Array) -> Array:
    """The cubic between the second and the third of four places, of any one shape, its slopes those
    of `_slope`; with no first or no fourth, the same as its neighbour, that of the line between."""
    h = [b - a for a, b in pairwise(x)]
    with np.errstate(divide="ignore", invalid="ignore"):
        line = [(b - a) / width for (a, b), width in zip(pairwise(y), h, strict=True)]
    slopes = [
        np.where((h[k] > 0) & (h[k + 1] > 0), _slope(*line[k : k + 2], *h[k : k + 2]), line[1])
        for k in (0, 1)
    ]
    return _between((at - x[1]) / h[1], h[1], y[1:3], slopes)


def _slopes(x: Array, y: Array) -> Array:
    """Slopes at places x (V,) of values y (U, V), at both ends those of the lines."""
    h = np.diff(x)
    line = np.diff(y, axis=1) / h
    inside = _slope(line[:, :-1], line[:, 1:], h[:-1], h[1:])
    return np.concatenate([line[:, :1], inside, line[:, -1:]], axis=1)


def _slope(one: Array, other: Array, h: Array, g: Array) -> Array:
    """Of the parabola through three places, between lines of two slopes over widths h and g: at
    most three times as steep as either and level where these turn, so that cubics stay within."""
    with np.errstate(divide="ignore", invalid="ignore"):
        steep = (one * g + other * h) / (h + g)
        most = 3 * np.minimum(np.abs(one), np.abs(other))
        return np.where(one * other > 0, np.clip(steep, -most, most), 0.0)


def _between(t: Array, width: Array, y: Sequence[Array], slopes: Sequence[Array]) -> Array:
    """The cubic at shares t of widths between two values of some slopes, all of any one shape."""
    from_first = (1 - t) ** 2 * ((1 + 2 * t) * y[0] + width * t * slopes[0])
    return np.asarray(from_first + t * t * ((3 - 2 * t) * y[1] - width * (1 - t) * slopes[1]))
