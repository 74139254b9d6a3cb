"""Days of a harvest as few classes that stand for all: what each brings, and its chance.

A chain of days (`store`) follows each class by itself, so few are to keep what empties a store: the
mean, the spread and how far poor days and bright ones reach.

Axes: B cases, K classes of days. Shares of the mean day.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.draws import Array

NARROW = 1e-3  # spread below which all days are alike
# chances by which bands of days end, by the number of classes; even ones for others
EDGES = {10: (0.0, 0.15, 0.4, 0.65, 0.9, 1.0)}
NODES = 48  # places for the means of a band


@dataclass(frozen=True, slots=True)
class Days:
    """Classes of days, from the poorest: harvest over its mean (B, K), and the chance of each,
    (B, K), or (K,) of all. `spread` (B,) is that of the gamma distribution that they stand for;
    None where there are no others."""

    values: Array
    chances: Array
    spread: Array | None = None

    def of(self, some: NDArray[np.intp]) -> Days:
        """Those of some cases, by their indices (M,)."""
        chances = self.chances if self.chances.ndim == 1 else self.chances[some]
        spread = None if self.spread is None else self.spread[some]
        return Days(self.values[some], chances, spread)


def gamma_days(spread: Array, classes: int) -> Days:
    """Days of gamma distributions of mean 1 and spreads (B,), shares, in an even number of classes.

    Bands of much alike chance have two classes each: the places and chances of Gauss's rule, which
    keep the band's mean, variance and third moment, and so those of all days.
    """
    from scipy.special import gammaincinv

    found, back = np.unique(np.maximum(spread, NARROW), return_inverse=True)
    shape = found[:, None, None] ** -2.0
    edges = np.array(EDGES.get(classes, np.linspace(0.0, 1.0, classes // 2 + 1)))
    own = np.diff(edges)
    # means over the chance, smooth at both ends of a band
    places, weights = np.polynomial.legendre.leggauss(NODES)
    places, weights = (places + 1) / 2, weights / 2
    weights = weights * 6 * places * (1 - places)
    chance = edges[:-1, None] + own[:, None] * places**2 * (3 - 2 * places)
    at = gammaincinv(shape, chance) / shape
    at = at / ((at @ weights) @ own)[:, None, None]
    mean = at @ weights
    beside = at - mean[:, :, None]
    deviation = np.maximum(np.sqrt(beside**2 @ weights), 1e-12)
    skew = beside**3 @ weights / deviation**3
    root = np.sqrt(skew**2 + 4)
    values = np.stack([skew - root, skew + root], axis=-1) / 2
    values = mean[:, :, None] + deviation[:, :, None] * values
    upper = (1 - skew / root) / 2
    chances = own[:, None] * np.stack([1 - upper, upper], axis=-1)
    values, chances = (x.reshape(len(found), -1) for x in (values, chances))
    # the exact spread, of which the sums over places miss a little
    wide = np.sqrt(((values - 1) ** 2 * chances).sum(axis=1))
    values = np.maximum(1 + (values - 1) * (found / wide)[:, None], 0.0)
    back = back.reshape(-1)
    return Days(values[back], chances[back], np.asarray(spread))
