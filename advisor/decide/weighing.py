"""Weights: from an order, from judgements by pairs; what they mean, and how little changes a lead.

- By order: rank-order centroid weights, the middle of all weights that keep the order (Barron &
  Barrett, Management Science 42 (1996) 1515-1523).
- By pairs: the principal eigenvector of the matrix of judgements and its consistency ratio (Saaty,
  The Analytic Hierarchy Process, 1980; a ratio up to 0.1 is commonly accepted).
- Whatever their source, an additive value makes weights rates of exchange: what one criterion's
  unit is worth in another's (Keeney & Raiffa 1976).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from advisor import lp
from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass
from advisor.decide.evaluate import Evaluation
from advisor.decide.fronts import Offered
from advisor.decide.value import Criterion
from advisor.model.draws import Array
from advisor.quantities import exact

# Saaty's random index for 1 to 10 criteria, as in his first tables; later ones differ a little
RANDOM_INDEX = (0.0, 0.0, 0.58, 0.90, 1.12, 1.24, 1.32, 1.41, 1.45, 1.49)
ACCEPTED = 0.1  # consistency ratio
SECONDS = 20.0
CLOSE = 1e-9  # of a distance, and of a worth; a program is no more exact


def order_weights(count: int) -> Array:
    """Rank-order centroid weights, the most important first: w_k = (1/n) sum_{i=k}^n 1/i.

    (n,) shares of 1, of a count n of criteria.
    """
    parts = 1.0 / np.arange(1, count + 1)
    return np.asarray(parts[::-1].cumsum()[::-1] / count)


@dataclass(frozen=True, slots=True)
class Judged:
    """Weights of judgements by pairs.

    Attributes
    ----------
    weights : (n,) summing to 1. greatest : the principal eigenvalue, n where all agrees.
    ratio : consistency ratio, (greatest - n)/(n - 1) over the random index; 0 below three.
    triple : the three criteria whose judgements agree least, None below three.
    discord : by what factor the triple's judgements miss each other, 1 where they agree.
    """

    weights: Array
    greatest: float
    ratio: float
    triple: tuple[int, int, int] | None
    discord: float


def pair_weights(judgements: Array) -> Judged:
    """Weights, shares of 1, from a reciprocal matrix.

    Parameters
    ----------
    judgements : (n, n), n from 1 to 10, a[i, j] how many times as important i is as j;
        a[j, i] = 1/a[i, j].

    Raises
    ------
    ValueError
        When it is no reciprocal matrix of numbers above zero, or too large.
    """
    n = len(judgements)
    if judgements.shape != (n, n) or not 1 <= n <= len(RANDOM_INDEX):
        raise ValueError("a square matrix of 1 to 10 criteria")
    if not (judgements > 0).all() or not np.allclose(judgements * judgements.T, 1.0, rtol=1e-9):
        raise ValueError("numbers above zero with a[j, i] = 1/a[i, j]")
    values, vectors = np.linalg.eig(judgements)
    at = int(np.argmax(values.real))
    weights = np.abs(vectors[:, at].real)
    greatest = float(values[at].real)
    ratio = 0.0
    if n > 2:
        ratio = max(greatest - n, 0.0) / (n - 1) / RANDOM_INDEX[n - 1]
    triple, discord = None, 1.0
    logs = np.log(judgements)
    for i, j, k in combinations(range(n), 3):
        miss = float(np.exp(abs(logs[i, j] + logs[j, k] - logs[i, k])))
        if triple is None or miss > discord + 1e-12:
            triple, discord = (i, j, k), miss
    return Judged(
        weights=weights / weights.sum(),
        greatest=greatest,
        ratio=ratio,
        triple=triple,
        discord=discord,
    )


def exchange(criteria: Sequence[Criterion], weights: Array, of: int, for_one: int) -> float:
    """How much of criterion `of` (its SI unit) is worth one SI unit of criterion `for_one`.

    Both within their anchors: a unit of a criterion is worth weight/(good - poor). `weights` are
    (C,) in the order of `criteria`, `of` and `for_one` indices into them.
    """
    unit = [float(w) / (c.good - c.poor) for c, w in zip(criteria, weights, strict=True)]
    return abs(unit[for_one] / unit[of]) if unit[of] else np.inf


def weighed(product: Product, weights: Mapping[str, float]) -> Product:
    """The product with other weights, exactly known, by criterion."""
    priorities = {
        name: replace(priority, weight=exact(weights[name], "count"))
        for name, priority in product.priorities.items()
    }
    return replace(product, priorities=priorities)


@dataclass(frozen=True, slots=True)
class Lead:
    """The smallest change of weights that brings a part to the front.

    Attributes
    ----------
    part : its id. distance : sum of the weights' absolute changes, of weights that sum to 1;
    None where no weights at all bring it there. weights : the changed weights by criterion.
    """

    part: str
    distance: float | None
    weights: Mapping[str, float]


def leads(
    evaluation: Evaluation, offered: Sequence[Sequence[Offered]], weights: Array
) -> list[Lead]:
    """For every part the smallest change of weights that makes it first.

    A part is first where one of its builds scores at least as much as every build of every other
    part: for each of its builds that no other of its own beats, a linear program over the simplex
    of weights minimises the L1 distance; the least over the builds counts.

    Parameters
    ----------
    offered : the builds of each candidate that some weights may choose, see `fronts`.
    weights : (C,) of a sum of 1.

    Returns
    -------
    In the order of the evaluation's candidates.
    """
    worth = {
        c.part.part: _greatest([one.worth for one in builds])
        for c, builds in zip(evaluation.candidates, offered, strict=True)
    }
    names = [c.name for c in evaluation.criteria]
    out = []
    for part, mine in worth.items():
        rivals = _greatest([row for other, rows in worth.items() if other != part for row in rows])
        best: Lead | None = None
        # the nearest by what bounds them first: the others can mostly not be nearer
        for least, n in sorted((_at_least(weights, row, rivals), n) for n, row in enumerate(mine)):
            if np.isinf(least) or (best is not None and least > (best.distance or 0.0) + CLOSE):
                break
            found = _nearest(names, weights, mine[n], rivals)
            if found is not None and (best is None or found[0] < (best.distance or 0.0)):
                best = Lead(part, found[0], dict(zip(names, found[1], strict=True)))
        out.append(best or Lead(part, None, {}))
    return out


def _at_least(weights: Array, build: Array, rivals: Sequence[Array]) -> float:
    """A bound from below of the L1 distance to weights at which a build (C,) leads; infinite where
    a rival beats it by every criterion.

    To make up for w d < 0, d being what it is ahead by each criterion, a change of weights that
    sums to nothing brings no more than half its L1 norm times the range of d.
    """
    if not len(rivals):
        return 0.0
    ahead = build - np.stack(rivals)
    most = ahead.max(axis=1)
    if (most < -CLOSE).any():
        return np.inf
    behind, span = -(ahead @ weights), most - ahead.min(axis=1)
    counts = (behind > 0) & (span > 0)
    return float((2 * behind[counts] / span[counts]).max(initial=0.0))


def _nearest(
    names: Sequence[str], weights: Array, build: Array, rivals: Sequence[Array]
) -> tuple[float, list[float]] | None:
    """(L1 distance, weights) nearest to `weights` at which a build leads; None where nowhere."""
    model = lp.Model("nearest weights")
    for name in names:
        model.variable(f"weight {name}")
        model.variable(f"change {name}")
    model.constraint("sum", {f"weight {n}": 1.0 for n in names}, "=", 1.0)
    for name, weight in zip(names, weights, strict=True):
        # change >= |weight - now|, from both sides
        up = {f"change {name}": 1.0, f"weight {name}": -1.0}
        down = {f"change {name}": 1.0, f"weight {name}": 1.0}
        model.constraint(f"up {name}", up, ">=", -float(weight))
        model.constraint(f"down {name}", down, ">=", float(weight))
    for i, rival in enumerate(rivals):
        lead = {f"weight {n}": float(d) for n, d in zip(names, build - rival, strict=True)}
        model.constraint(f"ahead of {i}", lead, ">=", 0.0)
    model.minimise({f"change {n}": 1.0 for n in names})
    found = model.solve(SECONDS)
    if found.status is lp.Status.INFEASIBLE:
        return None
    if found.status is not lp.Status.OPTIMAL or found.objective is None:
        raise lp.SolverError(f"the nearest weights ended {found.status.value}")
    return max(found.objective, 0.0), [max(found.values[f"weight {n}"], 0.0) for n in names]


def _greatest(rows: Sequence[Array]) -> list[Array]:
    """The rows that no other beats: whoever leads them leads the rest as well."""
    if not rows:
        return []
    order = sorted(range(len(rows)), key=lambda n: -float(rows[n].sum()))
    kept = np.empty((len(rows), len(rows[0])))
    count = 0
    for n in order:
        if not (kept[:count] >= rows[n]).all(axis=1).any():
            kept[count] = rows[n]
            count += 1
    return list(kept[:count])
