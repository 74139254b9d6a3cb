"""A figure at another value, with the spread that it has: what a lever sets.

The distribution scales with the value, so that its relative spread is kept; a temperature's and a
score's moves along, its spread as it is. An exact figure stays exact. At the value that stands
nothing changes.
"""

from __future__ import annotations

import math
from dataclasses import replace

from advisor.quantities import NORMAL_99, Quantity, QuantityError, exact, pert, typical_max

# ends by which a spread is written, and which may be moved by themselves
ENDS = frozenset(("typical", "max", "low", "likely", "high"))
SIGNED = frozenset(("temperature", "score"))  # what has no natural zero


def moved(quantity: Quantity, value: float) -> Quantity:
    """The figure with `value` (SI) in the place of its stated one.

    A figure of lognormal spread scales whatever it is of, as does every other but temperatures,
    scores and what is stated as zero.
    """
    now, shape = quantity.nominal, quantity.shape
    if value == now:
        return quantity
    if quantity.kind == "lognormal":
        share = value / now
        return replace(
            quantity, nominal=value, u=quantity.u * share, shape=(shape[0] * share, shape[1])
        )
    if quantity.dimension in SIGNED or now == 0:
        ends = tuple(x + value - now for x in shape) if quantity.kind == "pert" else shape
        return replace(quantity, nominal=value, shape=ends)
    share = abs(value / now)
    ends = tuple(x * value / now for x in shape) if quantity.kind == "pert" else ()
    if quantity.kind == "rectangular":
        ends = tuple(x * share for x in shape)
    return replace(quantity, nominal=value, u=quantity.u * share, shape=ends)


def with_end(quantity: Quantity, end: str, value: float) -> Quantity:
    """The figure with one of the `ENDS` that its spread is written by at `value` (SI); as it stands
    where that end is none of its own, or may not stand there."""
    at = quantity.nominal
    ends = {"typical": at, "max": at} if end in ("typical", "max") else {}
    if quantity.kind == "lognormal":
        median, sigma = quantity.shape
        ends = {"typical": median, "max": median * math.exp(sigma * NORMAL_99)}
    elif quantity.kind == "pert":
        ends = dict(zip(("low", "likely", "high"), quantity.shape, strict=True))
    elif quantity.kind != "exact":
        return quantity
    if end not in ends:
        return quantity
    told = [exact(x, quantity.dimension) for x in (ends | {end: value}).values()]
    try:
        return pert(*told) if len(told) == 3 else typical_max(*told)
    except QuantityError:
        return quantity


def written(quantity: Quantity, unit: str, factor: float = 1.0) -> str:
    """The figure as it may stand in a file, with its spread; `unit` is worth `factor` SI ones."""

    def one(value: float) -> str:
        return f"{value / factor:.12g}{unit}"

    value, shape = quantity.nominal, quantity.shape
    if quantity.kind == "normal":
        return f"{value / factor:.12g}±{quantity.u / factor:.12g}{unit}(k=1)"
    if quantity.kind == "rectangular":
        return f"{value / factor:.12g}±{shape[0] / factor:.12g}{unit}"
    if quantity.kind == "lognormal":
        most = shape[0] * math.exp(shape[1] * NORMAL_99)
        return f"{{typical: {one(shape[0])}, max: {one(most)}}}"
    if quantity.kind == "pert":
        low, likely, high = shape
        return f"{{low: {one(low)}, likely: {one(likely)}, high: {one(high)}}}"
    return one(value)
