"""Ranks and ranges over the draws."""

from __future__ import annotations

import numpy as np

from advisor.model.draws import Array

DIGITS = 9  # decimals of a score of 0..100 that count


def first_place(scores: Array) -> Array:
    """Share of the draws in which each part is first, ties split evenly.

    Parameters
    ----------
    scores : (P, N).

    Returns
    -------
    (P,) summing to 1.
    """
    # equal parts may differ in the last digit, by the order in which numbers were added
    rounded = np.round(scores, DIGITS)
    best = rounded == rounded.max(axis=0)
    return np.asarray((best / best.sum(axis=0)).mean(axis=1))


def percentiles(values: Array) -> tuple[float, float, float]:
    """5, 50 and 95 % of draws (N,), in their unit; an infinite draw counts as the greatest."""
    ordered = np.sort(values)
    at = np.array([0.05, 0.5, 0.95]) * (len(ordered) - 1)
    low = np.floor(at).astype(int)
    high = np.minimum(low + 1, len(ordered) - 1)
    t = at - low
    with np.errstate(invalid="ignore"):
        found = ordered[low] + np.where(t > 0, t * (ordered[high] - ordered[low]), 0.0)
    found = np.where(np.isnan(found), ordered[high], found)
    return float(found[0]), float(found[1]), float(found[2])
