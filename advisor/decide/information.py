"""What a measurement would be worth: the expected value of perfect information.

With s_p the score of part p and the figures still uncertain, one chooses the part of the greatest
mean score. Knowing everything first, one would choose the best part of each draw:

    EVPI = E[max_p s_p] - max_p E[s_p]

(Raiffa & Schlaifer, Applied Statistical Decision Theory, 1961). Knowing only some figures x, one
chooses by E[s_p | x]: the partial value, EVPPI = E[max_p E[s_p | x]] - max_p E[s_p]. The
conditional means are estimated by regression on the draws (Strong, Oakley & Brennan, Medical
Decision Making 34 (2014) 311-326), here crosswise: the rule fitted to one half of the draws
chooses in the other half, so that chance is not taken for knowledge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from advisor.model.draws import Array

BINS = 25
RIDGE = 1e-6  # of the basis' own size: groups hold figures that say the same


def perfect(scores: Array) -> float:
    """EVPI of scores (P, N), in their unit."""
    return float(scores.max(axis=0).mean() - scores.mean(axis=1).max())


@dataclass(frozen=True, slots=True)
class Worth:
    """What knowing some figures first is worth, with the standard error of the estimate."""

    value: float
    error: float


def partial(scores: Array, figures: Sequence[Array]) -> Worth:
    """EVPPI of knowing some figures.

    Parameters
    ----------
    scores : (P, N). figures : the draws of each figure that would be known, (N,) each.

    Notes
    -----
    The means over one figure are those of its bins of equal count, which follow a step such as a
    battery change; over several figures a polynomial of their standard scores. A rule that is no
    better than chance gives a value about zero, at times below; the estimate errs low where the
    means bend more finely than that.
    """
    basis = _basis(figures, scores.shape[1])
    draws = scores.shape[1]
    fixed = int(scores.mean(axis=1).argmax())
    gained = np.empty(draws)
    half = np.arange(draws) % 2 == 0
    for known, other in ((half, ~half), (~half, half)):
        fitted = _fitted(basis[known], scores[:, known].T, basis[other])
        chosen = fitted.argmax(axis=1)
        there = scores[:, other]
        gained[other] = there[chosen, np.arange(there.shape[1])] - there[fixed]
    return Worth(float(gained.mean()), float(gained.std() / np.sqrt(draws)))


def _basis(figures: Sequence[Array], draws: int) -> Array:
    varied = [x for x in figures if x.std() > 0]
    if len(varied) == 1:
        rank = np.argsort(np.argsort(varied[0], kind="stable"), kind="stable")
        place = rank * min(BINS, draws) // draws
        return np.asarray(place[:, None] == np.arange(place.max() + 1), dtype=np.float64)
    columns = [np.ones(draws)]
    for values in varied:
        z = (values - values.mean()) / values.std()
        columns += [z, z * z]
    return np.stack(columns, axis=1)


def _fitted(known: Array, scores: Array, other: Array) -> Array:
    """Conditional means at `other` of a least-squares fit to `known`, (N', P)."""
    product = known.T @ known
    penalty = RIDGE * np.trace(product) / len(product) * np.eye(len(product))
    return np.asarray(other @ np.linalg.solve(product + penalty, known.T @ scores))
