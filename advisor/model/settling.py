"""By how much a harvest prolongs a discharge, and where it ends it.

A pack at depth of discharge D gives W(D) = p + V(D) (i + g V(D) + i_own(D)), of constant powers,
constant currents, what is filled at its voltage and what it loses by itself; a mean harvest H puts
back as much. The balance of energy at its terminals, C_0 V dD/dt = W(D) - H, takes it from one
depth to another in

    t(H) = integral of C_0 V dD/(W(D) - H)

so the discharge lasts t(H)/t(0) times as long. Where W falls to H on the way the pack settles there
and is never emptied by use: the factor grows without bound towards that, as W falls continuously.
Where W is the same at all depths it is 1/(1 - H/W). Between places W is taken as straight, over
which 1/(W - H) is integrated exactly, and V as its mean (from the balance; no source).

Axes: P places of depth, R rows (builds on one feed), N draws. SI units.
"""

from __future__ import annotations

import numpy as np

from advisor.model.drain import Drain, Pack, at_depth, leaks_around, rows_of
from advisor.model.draws import Array

PLACES = np.linspace(0.0, 1.0, 33)
ALIKE = 1e-6  # of a mean, below which the ends of a piece count as one


def prolonged(pack: Pack, drain: Drain, income_w: Array, start: Array, end: Array) -> Array:
    """By how much longer discharges last, (R, N) factors, infinite where they settle on the way.

    Parameters
    ----------
    income_w : (N,) W, the mean harvest that comes out of the pack again. start, end : (R, N)
    shares of the capacity, depths from and to which they go.
    """
    out = np.ones(end.shape)
    rows = np.flatnonzero(((end > start) & (income_w > 0)).any(axis=1))
    if not len(rows):
        return out
    own = rows_of(drain, rows)
    first, last = start[rows], end[rows]
    volts, watts = _given(pack, own, first, last)
    volts = (volts[1:] + volts[:-1]) / 2
    net = watts - income_w
    settles = (net <= 0).any(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        found = _lasts(volts, np.where(settles, watts, net)) / _lasts(volts, watts)
    found = np.where(settles, np.inf, np.maximum(found, 1.0))
    out[rows] = np.where((last > first) & (income_w > 0), found, 1.0)
    return out


def _given(pack: Pack, drain: Drain, first: Array, last: Array) -> tuple[Array, Array]:
    """Open voltages and what is given, V and W, from depths to others, (P, R, N) each."""
    draw = np.arange(first.shape[-1])
    depth = first + PLACES[:, None, None] * (last - first)
    volts = at_depth(pack.depth, pack.open_v, depth, draw)
    own_a = pack.self_discharge_a
    if pack.drip is not None:
        own_a = leaks_around(pack, first, last, len(PLACES))
        # it settles by what it gives at its ends themselves
        own_a[[0, -1]] = pack.drip.at(volts[[0, -1]])
    amps = drain.steady_a + own_a + pack.leak_a
    if drain.filling is not None:
        amps = amps + drain.conductance * volts
    return volts, np.asarray(drain.mean_power_w + volts * amps)


def _lasts(volts: Array, watts: Array) -> Array:
    """Sum over pieces of their voltages (P - 1, R, N) times the mean of 1/W, of W straight between
    their ends (P, R, N), in V/W; (R, N)."""
    one, other = watts[:-1], watts[1:]
    apart, mean = one - other, (one + other) / 2
    alike = np.abs(apart) <= ALIKE * mean
    safe = np.where(alike, 1.0, apart)
    ratio = np.log(np.where(alike, 1.0, one / other)) / safe
    return np.asarray((volts * np.where(alike, 1 / mean, ratio)).sum(axis=0))
