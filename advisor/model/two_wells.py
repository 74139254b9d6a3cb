"""Where a pack of two wells no longer gives what its load asks for, see `kinetic_cell`.

The worst event counts, in its periodic steady state; the rest of its period carries what the pack
gives on average besides.

Axes: R rows (builds on one pack), N draws. SI units.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from advisor.model.crossing import first_negative
from advisor.model.drain import Array, Drain, Pack, at_depth, spelled
from advisor.model.kinetic_cell import periodic_peak


def two_well_depth(
    pack: Pack, drain: Drain, a: Array, b: Array, upto: Array, start: Array | None
) -> Array:
    """First depth beyond the kinetic battery model's bound, infinite where none is, (R, N) shares
    of the capacity.

    Parameters
    ----------
    a, b : (R, N) A, W, the mean drain. upto : (R, N) the last depth looked at, a share of the
    capacity. start : (R, N) share at which the first look is taken, where that is not 0.
    """
    assert pack.two_well is not None
    out = np.full(upto.shape, np.inf)
    c, k = pack.two_well
    draws = upto.shape[1]

    def margin(depth: Array, index: NDArray[np.intp]) -> Array:
        r, n = np.divmod(index, draws)
        if start is not None:
            depth = np.maximum(depth, start[r, n])
        volts = at_depth(pack.depth, pack.open_v, depth, n)
        mean = a[r, n] + b[r, n] / volts
        worst = mean / (c[n] * k[n])
        for task, here in enumerate(drain.tasks):
            states = range(here.start, here.stop)
            currents = [drain.constant_a[r, s, n] + drain.power_w[r, s, n] / volts for s in states]
            spans = [drain.duration_s[r, s, n] for s in states]
            period = drain.period_s[task, n]
            length = sum(spans, np.zeros_like(period))
            charge = sum((x * y for x, y in zip(currents, spans, strict=True)), 0.0 * period)
            rest = np.maximum(period - length, 0.0)
            with np.errstate(divide="ignore", invalid="ignore"):
                idle = np.where(rest > 0, (mean * period - charge) / rest, 0.0)
            peak = periodic_peak(currents, spans, np.maximum(idle, 0.0), rest, c[n], k[n])
            worst = np.maximum(worst, peak)
        return np.asarray(1 - (1 - c[n]) * worst / pack.capacity_c[n] - depth)

    flat = upto.ravel()
    last = upto if start is None else np.maximum(upto, start)
    index = np.flatnonzero(~_surely_within(pack, drain, a, b, last).ravel())
    if index.size:
        drain = spelled(drain)
        out.ravel()[index] = first_negative(
            lambda depth, case: margin(depth, index[case]), pack.depth, flat[index], falling=True
        )
    return out


def _surely_within(pack: Pack, drain: Drain, a: Array, b: Array, depth: Array) -> NDArray[np.bool_]:
    """Where the bound of the kinetic battery model surely leaves enough at depths (R, N).

    An event of charge Q every T raises the head that is lacking by no more than Q/c at a time,
    which decays as exp(-k t): by Q/(c (1 - exp(-k T))) at most, above what the rest of the period
    draws on without end.
    """
    assert pack.two_well is not None
    c, k = pack.two_well
    volts = at_depth(pack.depth, pack.open_v, depth, np.arange(depth.shape[1]))
    mean = a + b / volts
    worst = mean / (c * k)
    for task, here in enumerate(drain.tasks):
        span, period = drain.duration_s[:, here], drain.period_s[task]
        amps = drain.constant_a[:, here] + drain.power_w[:, here] / volts[:, None]
        count = drain.copies[task] if drain.copies else 1.0
        charge, rest = count * (amps * span).sum(axis=1), period - count * span.sum(axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            idle = np.where(rest > 0, np.maximum(mean * period - charge, 0.0) / rest, 0.0)
            most = idle / (c * k) + charge / (c * -np.expm1(-k * period))
        worst = np.maximum(worst, most)
    return np.asarray(1 - (1 - c) * worst / pack.capacity_c - depth >= 0)
