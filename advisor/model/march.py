"""How a pack comes from one depth of discharge to the next: time over depth.

    t(D) = integral from 0 to D of C0 dD/(a + b/V + g V + l(V))

a of constant currents, b of constant powers, g a conductance, l what a cell leaks over its voltage;
V(D) the open-circuit voltage, straight between the places of the grid. Where there is a leak the
grid is each draw's own, see `leak_curve`.

Axes: R rows (builds on one pack), N draws, G depths. SI units.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import copy

import numpy as np
from numpy.typing import NDArray

from advisor.model.drain import Array, Pack

# three-point Gauss-Legendre on 0..1: exact for polynomials to degree 5; with the voltage falling
# by at most a seventh in a step the integrand's remainder is below 1e-8 of the step
_NODES = np.array([0.5 - np.sqrt(0.15), 0.5, 0.5 + np.sqrt(0.15)])
_WEIGHTS = np.array([5.0, 8.0, 5.0]) / 18.0
_MOVED = 1e-8  # of depth, in the last of Newton's steps: what is left is of its square


class March:
    """Time over depth for rates a + b/V + g V, and what the pack leaks over its voltage.

    The nodes of the quadrature are looked at together, on an axis before the others.

    a, b, g : (R, N) A, W, S; no conductance where g is None.
    """

    def __init__(self, pack: Pack, a: Array, b: Array, g: Array | None = None) -> None:
        self.capacity_c, self.a, self.b, self.g = pack.capacity_c, a, b, g
        # (G,) shares of the capacity, or (G, N); (G, N) V and A there
        self.grid, self.volts = pack.depth, pack.open_v
        self.leak: Array | None = None
        if pack.drip is not None:
            self.grid, self.volts, self.leak = pack.drip.along(pack.depth, pack.open_v)
        self._nodes, self._weights = _NODES[:, None, None], _WEIGHTS[:, None, None]
        self.constant = not b.any() and pack.drip is None and (g is None or not g.any())

    @property
    def draws(self) -> NDArray[np.bool_]:
        """Whether anything is drawn at all, (R, N)."""
        drawn = self.a + self.b + (0.0 if self.g is None else self.g) > 0
        return drawn if self.leak is None else drawn | (self.leak > 0).all(axis=0)

    def _width(self, k: int) -> Array:
        """Of depth, from a grid point to the next, () or (N,)."""
        return np.asarray(self.grid[k + 1] - self.grid[k])

    def _along(self, values: Array, k: int, along: Array | float) -> Array:
        """Values on the grid, in any unit, so far from a grid point."""
        step = self._width(k)
        if self.leak is not None:
            step = np.where(step > 0, step, 1.0)  # where two places lie on each other
        return np.asarray(values[k] + (values[k + 1] - values[k]) / step * along)

    def _rate(self, k: int, along: Array | float) -> tuple[Array, Array]:
        """(voltage V; currents A but for constant powers) so far from a grid point."""
        volts, amps = self._along(self.volts, k, along), self.a
        if self.leak is not None:
            amps = amps + self._along(self.leak, k, along)
        return volts, amps if self.g is None else amps + self.g * volts

    def _total(self, end: Array, of: Callable[[int, Array], Array]) -> Array:
        """Integral over time, until a depth, of what `of` tells so far from a grid point, (R, N)
        its unit times s."""
        total = np.zeros_like(end)
        for k in range(len(self.grid) - 1):
            width = np.clip(end - self.grid[k], 0.0, self._width(k))
            along = width * self._nodes
            volts, amps = self._rate(k, along)
            under = np.maximum(amps * volts + self.b, 1e-300)
            for term in self._weights * width * of(k, along) * volts / under:
                total += term
        return np.asarray(self.capacity_c * total)

    def leaked(self, end: Array) -> Array:
        """What the pack leaks over its voltage until a depth, (R, N) C."""
        leak = self.leak
        if leak is None:
            return np.zeros_like(end)
        return self._total(end, lambda k, along: self._along(leak, k, along))

    def mean_v(self, first: Array, last: Array) -> Array:
        """Mean of the voltage over the time from one depth to another, (R, N) V; that of a full
        pack where it is of no length, or without end."""

        def until(end: Array) -> Array:
            return self._total(end, lambda k, along: self._along(self.volts, k, along))

        seconds = self.time(last) - self.time(first)
        some = (seconds > 0) & np.isfinite(seconds)
        mean = (until(last) - until(first)) / np.where(some, seconds, 1.0)
        return np.where(some, mean, self.volts[0])

    def _step(self, k: int, width: Array | float) -> Array:
        """Integral of one over the rate over `width` of depth from a grid point, alike for all or
        not."""
        if self.constant:
            return np.asarray(width / self.a)
        volts, amps = self._rate(k, width * self._nodes)
        under = amps * volts + self.b
        first, second, third = np.divide(self._weights * volts, under, out=under)
        total = first + second + third
        if self.leak is None:
            return np.asarray(total * width)
        # nothing is drawn for no time between places that lie on each other
        return np.where(width > 0, total * width, 0.0)

    def time(self, end: Array) -> Array:
        """Time to reach a depth, (R, N) s; infinite without any drain."""
        grid = self.grid
        with np.errstate(divide="ignore", invalid="ignore"):
            if self.constant:
                seconds = self.capacity_c * end / self.a
                return np.where(end > 0, seconds, 0.0)
            total, least = np.zeros_like(end), end.min(initial=np.inf)
            for k in range(len(grid) - 1):
                step = self._width(k)
                if least >= grid[k + 1].max():
                    total += self._step(k, step)
                    continue
                width = np.minimum(np.maximum(end - grid[k], 0.0), step)
                if not width.any():
                    if grid[k].min() > 0:
                        break
                    if self.leak is not None:
                        continue  # the first places of all draws may lie on each other
                total += self._step(k, width)
        return np.asarray(self.capacity_c * total)

    def depth(self, time: Array, end: Array) -> Array:
        """Depth reached after (R, N) s that are before the end, (R, N) share of the capacity."""
        with np.errstate(divide="ignore", invalid="ignore"):
            if self.constant:
                return np.asarray(np.minimum(time * self.a / self.capacity_c, end))
            left = time / self.capacity_c
            reached = np.zeros_like(end)
            for k in range(len(self.grid) - 1):
                width = self._width(k)
                to_cross = self._step(k, width)
                covered = np.where(
                    left >= to_cross, width, np.minimum(left / to_cross, 1.0) * width
                )
                here = (left > 0) & (left < to_cross)
                if here.any():
                    covered[here] = self._covered(k, here, covered[here], left[here])
                reached += np.where(left > 0, covered, 0.0)
                left = left - np.minimum(left, to_cross)
                if not (left > 0).any():
                    break
        return np.asarray(np.minimum(np.nan_to_num(reached), end))

    def _covered(self, k: int, here: NDArray[np.bool_], first: Array, left: Array) -> Array:
        """Depth covered from a grid point in what is left of the time, (M,) shares and s/C, in the
        cases `here` that do not come to the next one; `first` where to look first, (M,)."""
        some = self._of(here, slice(k, k + 2))
        covered, width = first, some._width(0)
        for _ in range(4):
            # Newton on a smooth, nearly linear function
            volts, now_a = some._rate(0, covered)
            rate = (now_a * volts + some.b) / volts
            before = covered
            covered = covered - (some._step(0, covered) - left) * rate
            covered = np.minimum(np.maximum(covered, 0.0), width)
            if not (np.abs(covered - before) > _MOVED).any():
                break
        return np.asarray(covered)

    def depth_where(self, here: NDArray[np.bool_], time: Array, end: Array) -> Array:
        """`depth` after (R, N) s in some of the cases, `here`, and the end in the others, (R, N)
        share of the capacity."""
        if self.constant or 2 * np.count_nonzero(here) > here.size:
            return np.where(here, self.depth(time, end), end)
        some, out = self._of(here, slice(None)), end.copy()
        out[here] = some.depth(time[here], end[here])
        return out

    def _of(self, here: NDArray[np.bool_], grid: slice) -> March:
        """That of some cases, `here` (R, N), side by side, over a part of the grid."""
        n, some = np.nonzero(here)[-1], copy(self)
        some.constant = False
        some._nodes, some._weights = _NODES[:, None], _WEIGHTS[:, None]
        some.capacity_c = self.capacity_c[n]
        some.grid = self.grid[grid] if self.leak is None else self.grid[grid, n]
        some.volts = self.volts[grid, n]
        some.leak = None if self.leak is None else self.leak[grid, n]
        some.a, some.b = (np.broadcast_to(x, here.shape)[here] for x in (self.a, self.b))
        some.g = None if self.g is None else np.broadcast_to(self.g, here.shape)[here]
        return some
