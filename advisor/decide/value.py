"""Criteria, their anchors, and what a value is worth: an additive value function.

v(x) runs linearly from 0 at `poor` to 1 at `good` and is clipped there; a build's score is
100 x sum(weight x v), weights summing to 1 (Keeney & Raiffa, Decisions with Multiple Objectives,
1976: additive value under preferential independence). The default anchors depend on the product
alone, so that adding or removing a part changes no other part's score.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from advisor.catalogue.criteria import CURRENCY, Measure, View, anchors_of, measures
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.catalogue.schema_supply import Cell
from advisor.dataclass import dataclass
from advisor.model.draws import Array, Sampler

ALIKE = 9  # figures of a value that tell it from another


@dataclass(frozen=True, slots=True)
class Criterion:
    """A criterion with its weight (of a sum of 1) and anchors in SI (money in the currency)."""

    measure: Measure
    weight: float
    poor: float
    good: float
    unit: str

    @property
    def name(self) -> str:
        """As the product's file has it."""
        return self.measure.name

    @property
    def dimension(self) -> str:
        """Of its values and anchors."""
        return self.measure.dimension

    def shown(self, value: float) -> str:
        """A value as a person would say it."""
        return self.measure.shown(value, self.unit)

    def utility(self, value: Array) -> Array:
        """Worth, 0..1, of values of any shape, SI; a NaN stays NaN."""
        with np.errstate(invalid="ignore"):
            worth = np.asarray((value - self.poor) / (self.good - self.poor))
            return np.asarray(np.minimum(np.maximum(worth, 0.0), 1.0))


def criteria(product: Product, first_cell: Cell | None) -> tuple[Criterion, ...]:
    """The product's weighted criteria, in the order of the file.

    Parameters
    ----------
    first_cell : the record of the first cell option, whose nominal energy anchors
        `energy-per-day`; None when that option is an ideal budget.
    """
    weights = {n: p.weight.nominal for n, p in product.priorities.items() if p.weight is not None}
    total = sum(weights.values())
    out = []
    for measure in measures(product):
        poor, good = anchors_of(product, measure, first_cell)
        unit = measure.unit
        if unit == CURRENCY:
            unit = product.cost.currency or "money"
        share = weights[measure.name] / total
        out.append(Criterion(measure=measure, weight=share, poor=poor, good=good, unit=unit))
    return tuple(out)


def criteria_of(catalogue: Catalogue, product: Product) -> tuple[Criterion, ...]:
    """The product's weighted criteria, with the first cell option's record of a catalogue."""
    first = product.supply_options.cells[0].cell
    return criteria(product, None if first is None else catalogue.cells.get(first))


def precedence(criteria: Sequence[Criterion], values: Sequence[float]) -> tuple[float, ...]:
    """What goes first among parts of equal score, whatever the weights: the least is first.

    It compares values criterion by criterion, so that nothing goes before what is at least as good
    by every one and better by one, as may be where all lie beyond an anchor. Values that differ by
    the order of their sums are equal.

    Parameters
    ----------
    values : (C,) in the order of `criteria`, SI.
    """
    by_name = sorted(zip(criteria, values, strict=True), key=lambda one: one[0].name)
    return tuple(float(f"{(-x if c.good > c.poor else x):.{ALIKE}g}") for c, x in by_name)


def weights(product: Product, criteria: Sequence[Criterion], sampler: Sampler) -> Array:
    """Weights of the criteria, (C, N), each draw's summing to 1.

    A weight may be uncertain, as `5 ± 2` when a team cannot say: then it is drawn, and the chance
    of being first counts over weights as well (SMAA: Lahdelma, Hokkanen & Salminen 1998).
    """
    drawn = []
    at = sampler.root / "priorities"
    for criterion in criteria:
        weight = product.priorities[criterion.name].weight
        assert weight is not None
        drawn.append(sampler.take(at / criterion.name / "weight", weight))
    raw = np.array(drawn)
    return np.asarray(raw / raw.sum(axis=0))


def values_of(criteria: Sequence[Criterion], view: View, shape: tuple[int, int]) -> Array:
    """Values of builds by each criterion, (C, R, N) SI, in the order of `criteria`; `shape` is
    (R, N)."""
    out = np.empty((len(criteria), *shape))
    for row, criterion in zip(out, criteria, strict=True):
        row[...] = criterion.measure.value(view)
    return out


def score(
    criteria: Sequence[Criterion], values: Array, drawn: Array | None = None
) -> tuple[Array, Array]:
    """(score, utilities) of builds.

    Parameters
    ----------
    values : (C, R, N) in the order of `criteria`. drawn : (C, N) weights, those of the criteria
        when absent.

    Returns
    -------
    (R, N) score of 0..100, and (C, R, N) utilities.
    """
    worth = np.empty(values.shape)
    for row, criterion, value in zip(worth, criteria, values, strict=True):
        row[...] = criterion.utility(value)
    if drawn is None:
        drawn = np.array([c.weight for c in criteria])[:, None]
    return np.asarray(100 * (drawn[:, None] * worth).sum(axis=0)), worth
