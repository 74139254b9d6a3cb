"""A sleep current over temperature: inside a part's table, and beyond its hot end.

Leakage grows exponentially with temperature, so the logarithm of the current runs straight between
the figures of a table (common practice, no source). Below the cold end the last figure is held,
which errs against the part: leakage only falls in the cold.

Beyond the hot end it goes on growing, for a part must not gain by what is not known of it:

- at the stated values with the slope between the two hottest figures; where there is one figure
  only, or the two do not grow, it doubles every 10 K (common practice, no source). A figure without
  a temperature is one at 25 degC, at which typical figures are told (common practice, no source);
- in the draws at a rate between that slope and more. A constant part hides the leakage while it is
  cool, so that the slope of a table grows, and the stated rate is the least. The rate is that of
  PERT: low is the stated one, likely it or 10 K per doubling, whichever grows faster, high half as
  fast again (an estimate of ours, no source).

Axes: E places, X figures of the table, N draws. Temperatures in degC, rates in 1/K.
"""

from __future__ import annotations

import math

import numpy as np

from advisor.catalogue.curves import Curve
from advisor.figures import Path
from advisor.model.draws import Array, Sampler
from advisor.model.workload import curve_values, on_curve

ROOM = 25.0  # degC of a figure without a temperature
DOUBLING = 10.0  # K in which leakage doubles
FASTER = 1.5  # times the likely rate, at the most
MOST = math.log(1e9)  # of a current in A: beyond all that a part can draw, and still a number


def hot_end(curve: Curve) -> float:
    """The hottest temperature of which a sleep current is known, degC."""
    return curve.x[-1] if curve.keys else ROOM


def rates(curve: Curve, values: Array) -> Array:
    """Growth of a sleep current beyond the hot end, (N,) 1/K of its logarithm.

    Parameters
    ----------
    values : (X, N) A, the currents at the places of the curve.
    """
    rule = np.full(values.shape[1], math.log(2.0) / DOUBLING)
    if len(values) == 1:
        return rule
    slope = np.log(values[-1] / values[-2]) / (curve.x[-1] - curve.x[-2])
    return np.where(slope > 0, slope, rule)


def stated_rate(curve: Curve) -> float:
    """That of `rates` at the stated values, 1/K."""
    return float(rates(curve, np.array([[y.nominal] for y in curve.y]))[0])


def sleep_currents(
    path: Path,
    curve: Curve,
    temperature: Array,
    hottest: float,
    sampler: Sampler,
    gains: Array | float = 1.0,
) -> Array:
    """The current at every place, (E, N) A.

    Parameters
    ----------
    path : the curve's own. temperature : (E, N) degC. hottest : degC, the product's hottest place
    at the stated values: what is traced of the growth is the current there, which a measurement
    would settle. gains : (X, N) factors of the entries, where several meters took them.
    """
    x, y = curve_values(path, curve, sampler)
    y = y * gains
    end = hot_end(curve)
    inside = np.log(y)
    above = np.maximum(temperature - end, 0.0)
    known = on_curve(x, inside, temperature)
    if not above.any():
        return np.asarray(np.exp(known))
    rate = rates(curve, y)
    if sampler.random:
        low = stated_rate(curve)
        likely = max(low, math.log(2.0) / DOUBLING)
        rate = sampler.between(path / "beyond", low, likely, FASTER * likely)
        if hottest > end:
            there = np.minimum(inside[-1] + rate * (hottest - end), MOST)
            sampler.traced(path / f"{hottest:.12g} degC", np.exp(there))
    return np.asarray(np.exp(np.minimum(known + rate * above, MOST)))


def told(curve: Curve, hottest: float) -> str | None:
    """What is taken of a sleep current at the hottest place, in words; None inside the table."""
    end = hot_end(curve)
    if hottest <= end:
        return None
    if len(curve.y) == 1:
        why = "its one figure says nothing of its growth" + (
            "" if curve.keys else f", and is taken for one at {ROOM:g} degC"
        )
    elif curve.y[-1].nominal > curve.y[-2].nominal:
        why = "as between its two hottest figures"
    else:
        why = "its two hottest figures do not grow"
    each = math.log(2.0) / stated_rate(curve)
    return (
        f"its current is known up to {end:g} degC, the product goes up to {hottest:g} degC; "
        f"beyond, it is taken to double every {each:.3g} K ({why}), or faster in the draws"
    )
