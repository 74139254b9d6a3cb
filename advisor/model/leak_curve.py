"""What a cell leaks over its voltage, straight between the stated voltages and held beyond them.

The leak bends at voltages, not at depths: where a draw of the pack reaches one of them is its own.
So a march over depth goes by places of each draw, at which its voltage is one of the curve's; in
between the leak is straight over the depth, as the voltage is. Where it grows manifold from one
voltage to the next the curve has further ones between, so that a quadrature of 1/(i + leak) follows
it as well.

Axes: K voltages, G places of depth, N draws. SI units.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.pieces import across, piece_and_share
from advisor.model.workload import on_curve

Array = NDArray[np.float64]

# greatest ratio of a stated leak over a step: three-point Gauss-Legendre of 1/x over it is within
# 1e-5 of itself
STEEPEST = 1.75
LEAST = 1e-4  # of the greatest stated leak, below which ratios do not count
SAME = 1e-6  # V, below which two voltages count as one


@dataclass(frozen=True, slots=True)
class LeakCurve:
    """Leakage over the pack's voltage: volts (K,), ascending; amps (K, N) A."""

    volts: tuple[float, ...]
    amps: Array

    def of(self, draws: NDArray[np.intp]) -> LeakCurve:
        """That of some draws, by their indices (M,)."""
        return LeakCurve(self.volts, self.amps[:, draws])

    def at(self, volts: Array) -> Array:
        """Leakage at voltages (..., N) V, (..., N) A."""
        return on_curve(np.array(self.volts), self.amps, volts)

    def means(self, volts: Array) -> Array:
        """Mean leakage between voltages (P, ..., N) V and the next ones, (P - 1, ..., N) A."""
        knots = np.array(self.volts)
        steps = np.diff(knots)[:, None] * (self.amps[1:] + self.amps[:-1]) / 2
        until = np.concatenate([np.zeros_like(self.amps[:1]), np.cumsum(steps, axis=0)])
        inside = np.minimum(np.maximum(volts, knots[0]), knots[-1])
        leak = self.at(volts)
        place = np.minimum(np.searchsorted(knots, inside, side="right"), len(knots)) - 1
        draw = np.arange(self.amps.shape[1])
        area = until[place, draw] + (inside - knots[place]) * (self.amps[place, draw] + leak) / 2
        area += (volts - inside) * leak
        apart, mean = np.diff(volts, axis=0), (leak[1:] + leak[:-1]) / 2
        some = np.abs(apart) > SAME
        return np.asarray(np.divide(np.diff(area, axis=0), apart, out=mean, where=some))

    def along(self, depth: Array, open_v: Array) -> tuple[Array, Array, Array]:
        """Places at which the voltage or the leak may bend, of each draw its own.

        Parameters
        ----------
        depth : (G,) shares of the capacity. open_v : (G, N) V, not rising, straight in between.

        Returns
        -------
        Depths, ascending, open voltages V and leakage A there, (G + M, N) each: some may lie on
        each other.
        """
        reached = [v for v in self.volts if (open_v[-1] < v).any() and (open_v[0] > v).any()]
        knots = np.array(reached)[:, None]
        before = (open_v >= knots[:, None]).sum(axis=1)
        low, draw = np.clip(before, 1, len(depth) - 1), np.arange(open_v.shape[1])
        high_v, low_v = open_v[low - 1, draw], open_v[low, draw]
        share = (high_v - knots) / np.where(high_v > low_v, high_v - low_v, 1.0)
        share = np.where(before == 0, 0.0, np.where(before == len(depth), 1.0, share))
        there = depth[low - 1] + np.clip(share, 0.0, 1.0) * (depth[low] - depth[low - 1])
        volts = np.clip(knots, open_v[-1], open_v[0])
        every = np.concatenate([np.broadcast_to(depth[:, None], open_v.shape), there])
        order = np.argsort(every, axis=0, kind="stable")
        volts = np.take_along_axis(np.concatenate([open_v, volts]), order, axis=0)
        return np.take_along_axis(every, order, axis=0), volts, self.at(volts)


def leak_curve(volts: Array, amps: Array, stated: Array) -> LeakCurve:
    """A leak with further voltages where it is steep.

    Parameters
    ----------
    volts : (K,) V, ascending. amps : (K, N) A. stated : (K,) A, by which it is told how steep: the
    places are the same whatever is drawn.
    """
    if len(volts) == 1:
        return LeakCurve(tuple(volts.tolist()), amps)
    seen = np.maximum(stated, LEAST * float(stated.max()))
    fine = [volts[:1]]
    for k, (one, other) in enumerate(zip(seen[:-1].tolist(), seen[1:].tolist(), strict=True)):
        if one != other:
            steps = int(np.ceil(abs(np.log(other / one)) / np.log(STEEPEST)))
            between = one * (other / one) ** (np.arange(1, steps) / steps)
            share = (between - stated[k]) / (stated[k + 1] - stated[k])
            fine.append(volts[k] + share * (volts[k + 1] - volts[k]))
        fine.append(volts[k + 1 : k + 2])
    at = np.concatenate(fine)
    return LeakCurve(tuple(at.tolist()), across(amps, *piece_and_share(volts, at)))
