"""What a day takes of a store that is harvested into, by what it holds; see `store`.

Axes: B stores, T levels of all of them, G places of a table.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.draws import Array

PER_DAY, FEWEST = 2, 16  # levels for a day of load, and at least
MOST = 240  # with a table, but for a level for each day
MIDDLE, ROUNDS = 4, 2  # rounds of the middle of a day; where its halves are told apart


@dataclass(frozen=True, slots=True)
class Load:
    """The loads of a day of B stores over the energy that they hold, in mean ones.

    pull : by how much more of it a full store carries, and an empty one less. table : in its place,
    (B, G), the load at even shares of the energy, empty first; the store is then all of it, what
    nights take included. night : with it, the share of a day that is dark. finer : times as many
    levels.
    """

    pull: float = 0.0
    table: Array | None = None
    night: float = 0.0
    finer: int = 1

    @property
    def empty(self) -> Array:
        """Those of empty stores, (B,) shares of a mean load, or one for all."""
        return np.array([1 - self.pull]) if self.table is None else self.table[:, 0]

    @property
    def full(self) -> Array:
        """Those of full ones, (B,) shares of a mean load, or one for all."""
        return np.array([1 + self.pull]) if self.table is None else self.table[:, -1]

    @property
    def rounds(self) -> int:
        """How often the middle of a day is looked for."""
        return ROUNDS if self.table is not None else MIDDLE if self.pull else 0

    def of(self, some: NDArray[np.intp]) -> Load:
        """Those of some stores, by their indices (M,)."""
        return self if self.table is None else replace(self, table=self.table[some])

    def at(self, share: Array, case: NDArray[np.intp]) -> Array:
        """Those of stores (T,) that hold shares (..., T), as shares of a mean load."""
        if self.table is None:
            return np.asarray(np.sqrt((1 - self.pull) ** 2 + 4 * self.pull * share))
        last = self.table.shape[1] - 1
        place = share * last
        low = np.minimum(place.astype(np.intp), last - 1)
        flat = self.table.ravel()
        first = case * (last + 1) + low
        return np.asarray(flat[first] + (flat[first + 1] - flat[first]) * (place - low))

    def levels(self, store: Array) -> NDArray[np.intp]:
        """Steps of the grid for stores (B,), counts of days."""
        per, few = self.finer * PER_DAY, self.finer * FEWEST
        levels = np.maximum(np.ceil(per * store), few)
        if self.table is not None:
            levels = np.minimum(levels, np.maximum(np.ceil(store), MOST))
        return levels.astype(np.intp)


STEADY = Load()
