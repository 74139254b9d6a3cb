"""What a measurement would be worth: the expected value of perfect information.

With s_p the score of part p and the figures still uncertain, one chooses the part of the greatest
mean score. Knowing everything first, one would choose the best part of each draw:

    EVPI = E[max_p s_p] - max_p E[s_p]

(Raiffa & Schlaifer, Applied Statistical Decision Theory, 1961). Knowing only some figures x, one
chooses by E[s_p | x]: the partial value, EVPPI = E[max_p E[s_p | x]] - max_p E[s_p]. The
conditional means are estimated by regression on the draws (Strong, Oakley & Brennan, Medical
Decision Making 34 (2014) 311-326): of one figure by bins and a polynomial, of several by a
polynomial with products and by a forest of randomised trees, which learns steps and interactions
(Geurts, Ernst & Wehenkel, Machine Learning 63 (2006) 3-42), weighed by how well each foretells
draws that it was not fitted to (Breiman, Machine Learning 24 (1996) 49-64).

What is counted is the score that a draw realises when the choice is made by a rule fitted without
it, so that chance is not taken for knowledge. Such a rule errs at times, which makes the worth too
low: by how much is read off the loss that comes with half the draws, which is added back and stands
in the error too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.draws import Array

BINS = (12, 48)  # of equal count over one figure
DEGREE = 5  # of the polynomial in one figure
CROSSED = 20  # figures of a group whose products are looked at
FOLDS = 8
TREES, LEAF = 50, 5  # of the forest: trees, and draws in a leaf at least
SMALL = 0.005  # points: where all is worth less, no forest is grown
TOLD = 4  # rivals whose polynomial the trees may split on
HIDDEN = 2.0  # standard errors of a bearing that so few draws cannot show
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

    Returns
    -------
    Worth from 0 to that of knowing all. Its error holds the chance of the draws, what the rule
    still had to learn, and what a bearing too small to be seen in so many draws may be worth.
    """
    means = scores.mean(axis=1)
    fixed = int(means.argmax())
    most = perfect(scores)
    known = [x for x in figures if x.std() > 0]
    rivals = [p for p in range(len(scores)) if p != fixed and (scores[p] > scores[fixed]).any()]
    if most <= 0 or not known or not rivals:
        return Worth(0.0, 0.0)
    z = np.stack([(x - x.mean()) / x.std() for x in known], axis=1)
    ahead = (scores[rivals] - scores[fixed]).T
    draws = len(ahead)
    # by a rule that learns from nearly all of the draws, and by one that learns from half of them
    gained, halved = (
        _gained(ahead, _fitted(z, ahead, folds, most >= SMALL)) for folds in (FOLDS, 2)
    )
    lost = max(float(gained.mean() - halved.mean()), 0.0)
    chance = float(gained.std() / np.sqrt(draws))
    unseen = max(
        _normal_gain(float(d.mean()), HIDDEN * float(d.std()) / np.sqrt(draws)) for d in ahead.T
    )
    value = min(max(float(gained.mean()) + lost, 0.0), most)
    error = float(np.hypot(max(chance, unseen), lost))
    return Worth(value, error if most >= SMALL else max(error, most / 2))


def _gained(ahead: Array, fitted: Array) -> Array:
    """What each draw gives when the rival foretold to be furthest ahead, if any, is chosen."""
    best = fitted.argmax(axis=1)
    at = np.arange(len(ahead))
    return np.where(fitted[at, best] > 0, ahead[at, best], 0.0)


def _normal_gain(mean: float, deviation: float) -> float:
    """E[max(0, x)] - max(0, E[x]) of a normal x."""
    if deviation == 0:
        return 0.0
    c = abs(mean) / deviation
    density = math.exp(-c * c / 2) / math.sqrt(2 * math.pi)
    return deviation * (density - c * math.erfc(c / math.sqrt(2)) / 2)


def _fitted(z: Array, ahead: Array, folds: int, trees: bool) -> Array:
    """Conditional means of `ahead` (N, R) at each draw, by fits that did not see it, (N, R)."""
    from scipy.optimize import nnls

    fold = np.arange(len(z)) % folds
    if z.shape[1] == 1:
        columns = np.stack([z[:, 0] ** n for n in range(DEGREE + 1)], axis=1)
        fits = [_ridge(columns, ahead, fold)]
        fits += [_binned(z[:, 0], ahead, fold, bins) for bins in BINS]
    else:
        linear = _ridge(np.column_stack([np.ones(len(z)), z]), ahead, fold)
        square = _ridge(_products(z, ahead), ahead, fold)
        fits = [linear, square]
        if trees:
            fits.append(_forest(z, ahead, linear, square, fold))
    mean, scale = ahead.mean(axis=0), ahead.std(axis=0) + 1e-300
    basis = np.stack([((fit - mean) / scale).ravel() for fit in fits], axis=1)
    # by the normal equations: as many rows as draws, as few columns as fits
    wanted = basis.T @ ((ahead - mean) / scale).ravel()
    product = basis.T @ basis
    root = np.linalg.cholesky(product + 1e-9 * (np.trace(product) + 1e-300) * np.eye(len(fits)))
    weights, _ = nnls(root.T, np.linalg.solve(root, wanted))
    return np.asarray(mean + scale * (basis @ weights).reshape(ahead.shape))


def _ridge(columns: Array, ahead: Array, fold: NDArray[np.intp]) -> Array:
    out = np.empty_like(ahead)
    product, wanted = columns.T @ columns, columns.T @ ahead
    penalty = RIDGE * np.trace(product) / len(product) * np.eye(len(product))
    for f in range(fold.max() + 1):
        here = columns[fold == f]
        rest = product - here.T @ here + penalty
        out[fold == f] = here @ np.linalg.solve(rest, wanted - here.T @ ahead[fold == f])
    return out


def _binned(x: Array, ahead: Array, fold: NDArray[np.intp], bins: int) -> Array:
    """Means over bins of equal count, each from the draws of the other folds."""
    rank = np.argsort(np.argsort(x, kind="stable"), kind="stable")
    place = rank * bins // len(x)
    count = np.bincount(place * (fold.max() + 1) + fold, minlength=bins * (fold.max() + 1))
    count = count.reshape(bins, -1)
    others = np.maximum(count.sum(axis=1, keepdims=True) - count, 1)
    out = np.empty_like(ahead)
    for r in range(ahead.shape[1]):
        total = np.bincount(
            place * (fold.max() + 1) + fold, weights=ahead[:, r], minlength=count.size
        ).reshape(count.shape)
        out[:, r] = ((total.sum(axis=1, keepdims=True) - total) / others)[place, fold]
    return out


def _products(z: Array, ahead: Array) -> Array:
    """A polynomial of second degree; products only of the figures that move most."""
    moved = np.abs(z.T @ (ahead - ahead.mean(axis=0))).sum(axis=1)
    some = np.sort(np.argsort(-moved, kind="stable")[:CROSSED])
    i, j = np.triu_indices(len(some), 1)
    return np.column_stack([np.ones(len(z)), z, z * z, z[:, some[i]] * z[:, some[j]]])


def _forest(z: Array, ahead: Array, linear: Array, square: Array, fold: NDArray[np.intp]) -> Array:
    """Extremely randomised trees: each draw by the trees, or the fold, that did not see it.

    They may split on the polynomials too, as a step is often one of a sum of figures.
    """
    from sklearn.ensemble import ExtraTreesRegressor

    told = np.argsort(-linear.std(axis=0), kind="stable")[:TOLD]
    columns = np.column_stack([z, linear[:, told], square[:, told]])
    scaled = ahead / (ahead.std(axis=0) + 1e-300)

    def trees(count: int, seed: int, bag: bool) -> ExtraTreesRegressor:
        return ExtraTreesRegressor(
            count, min_samples_leaf=LEAF, bootstrap=bag, oob_score=bag, random_state=seed
        )

    if fold.max() > 1:
        out = trees(TREES, 0, True).fit(columns, _flat(scaled)).oob_prediction_
    else:
        out = np.empty_like(_flat(scaled))
        for f in (0, 1):
            model = trees(TREES // 2, 1 + f, False).fit(
                columns[fold != f], _flat(scaled[fold != f])
            )
            out[fold == f] = model.predict(columns[fold == f])
    return np.asarray(out.reshape(ahead.shape) * (ahead.std(axis=0) + 1e-300))


def _flat(values: Array) -> Array:
    """One rival's values as a vector, as the trees want them."""
    return values[:, 0] if values.shape[1] == 1 else values
