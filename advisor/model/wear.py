"""How far a pack has aged after a time under a stress, and after which time it has aged so far.

The laws, and how they carry their state, are told in `ageing`. The calendar law's rate is that of
bands of loss, gone through one after the other: when each begins is worked out once, and only as
far as the pack gets within the time that is asked about.

Within a band both laws' u grow evenly, so what is lost after t is (u_c + K_c t)^z_c + (u_y + K_y
t)^z_y. With x = ln t the logarithm of each is convex in x and rising, and so is that of their sum:
Newton's steps are above the answer after the first, stay above and close in quadratically.

Axes: R rows (builds on one pack), N draws, M cases of both. SI units.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.ageing import Ageing, Law, Stress
from advisor.model.draws import Array

Index = NDArray[np.intp]

CLOSE = 1e-8  # of a time, in the last of Newton's steps: what is left is of its square
MOST = 40  # of those steps
ROUNDING = 1e-12  # of a loss


@dataclass(frozen=True, slots=True)
class Worn:
    """What a pack has lost, (R, N): with time and by cycles, shares of the rated capacity; and the
    resistance over the fresh one's."""

    calendar: Array
    cycles: Array
    resistance: Array

    @property
    def left(self) -> Array:
        """Capacity left, (R, N) share of the rated one."""
        return np.asarray(np.maximum(1 - self.calendar - self.cycles, 0.0))


class Course:
    """A pack under a stress, over its time in use.

    Parameters
    ----------
    upto : s, broadcasting to (R, N), beyond which nothing is asked.
    """

    def __init__(self, ageing: Ageing, under: Stress, upto: Array | float = np.inf) -> None:
        self.ageing, self.under = ageing, under
        self.shape = np.broadcast_shapes(under.begun.shape, under.cycles.shape)
        self.upto = np.broadcast_to(upto, self.shape)
        # when each band begins, s, and the calendar law's u then; never where it is not reached
        self._begins = [(np.zeros(self.shape), np.broadcast_to(under.begun, self.shape))]
        self._all = False
        self._by_cycles: Array | None = None

    def worn(self, seconds: Array, cases: Index | None = None) -> Worn:
        """What is lost after (R, N) s in use; of some cases, by their places (M,) in all, after
        (M,) s."""
        ageing, cycles = self.ageing, self.under.cycles
        if cases is not None:
            ageing = ageing.of(cases % self.shape[1])
        u_c = _picked(self._begins[0][1], cases) + _over(self._rate(0, cases), seconds)
        band = 1
        while (begins := self._begin(band)) is not None:
            at, begun = (_picked(x, cases) for x in begins)
            reached = seconds > at
            if not reached.any():
                break
            with np.errstate(invalid="ignore"):
                more = begun + _over(self._rate(band, cases), seconds - at)
            u_c = np.where(reached, more, u_c)
            band += 1
        u_y = _over(_picked(np.broadcast_to(cycles, self.shape), cases), seconds)
        laws = ageing.calendar, ageing.cycles
        q_c, q_y = (_lost(law, u) for law, u in zip(laws, (u_c, u_y), strict=True))
        rise = sum(q * law.rise for law, q in zip(laws, (q_c, q_y), strict=True) if law is not None)
        return Worn(q_c, q_y, 1 + rise + np.zeros(q_c.shape))

    def time_to(self, loss: Array) -> Array:
        """Seconds in use until a share of the capacity is lost, (R, N); infinite where that is
        never, or later than what is asked about."""
        loss = np.broadcast_to(loss, self.shape)
        out = np.full(self.shape, np.inf)
        bounds = self.under.calendar.bounds
        low = -np.inf
        for band, bound in enumerate(bounds):
            if not (loss > low).any():
                break
            begins = self._begin(band)
            if begins is None:
                break
            here = (loss > low) & np.isfinite(loss)
            if band + 1 < len(bounds):
                here &= loss <= bound
            cases = self._within(band, here, loss)
            if cases.size:
                at = begins[0].ravel()[cases]
                aim = loss.ravel()[cases]
                out.ravel()[cases] = at + self._until(band, cases, aim)
            low = bound
        return out

    def _rate(self, band: int, cases: Index | None = None) -> Array:
        return _picked(np.broadcast_to(self.under.calendar[band], self.shape), cases)

    def _begin(self, band: int) -> tuple[Array, Array] | None:
        """When a band begins and u then, (R, N); None where no case gets there."""
        while band >= len(self._begins):
            if self._all:
                return None
            last = len(self._begins) - 1
            bound = self.under.calendar.bounds[last]
            aim = np.broadcast_to(np.float64(bound), self.shape)
            anywhere = np.ones(self.shape, dtype=bool)
            cases = self._within(last, anywhere, aim) if bound < 1 else np.zeros(0, dtype=np.intp)
            if not cases.size:
                self._all = True
                return None
            at, u = self._begins[last]
            seconds = self._until(last, cases, aim.ravel()[cases])
            then, u_then = np.full(self.shape, np.inf), u.copy()
            then.ravel()[cases] = at.ravel()[cases] + seconds
            u_then.ravel()[cases] += self._rate(last, cases) * seconds
            self._begins.append((then, u_then))
        return self._begins[band]

    def _within(self, band: int, here: NDArray[np.bool_], loss: Array) -> Index:
        """Places (M,) of those cases `here` that are in a band, in time, and come to a loss in it
        were it to go on."""
        at, u = self._begins[band]
        cases = np.flatnonzero(here & (at <= self.upto) & np.isfinite(at))
        upto, law = self.upto.ravel()[cases], self.ageing.calendar
        lost = self._lost_by_cycles()[cases]
        if law is not None:
            u = u.ravel()[cases] + _over(self._rate(band, cases), upto - at.ravel()[cases])
            lost = u ** law.exponent[cases % self.shape[1]] + lost
        return cases[lost >= loss.ravel()[cases]]

    def _lost_by_cycles(self) -> Array:
        """What cycles cost until the end of what is asked about, (R N,)."""
        if self._by_cycles is None:
            u = _over(np.broadcast_to(self.under.cycles, self.shape), self.upto)
            self._by_cycles = _lost(self.ageing.cycles, u).ravel()
        return self._by_cycles

    def _until(self, band: int, cases: Index, loss: Array) -> Array:
        """Seconds from the beginning of a band until a loss (M,), which is within it."""
        n = cases % self.shape[1]
        at, u = (x.ravel()[cases] for x in self._begins[band])
        cycles = np.broadcast_to(self.under.cycles, self.shape).ravel()[cases]
        laws = [
            (law.exponent[n], rate, begun)
            for law, rate, begun in (
                (self.ageing.calendar, self._rate(band, cases), u),
                (self.ageing.cycles, cycles, cycles * at),
            )
            if law is not None
        ]
        first, already = np.full(len(cases), np.inf), np.zeros(len(cases))
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            for z, rate, begun in laws:
                alone = (np.maximum(loss, 0.0) ** (1 / z) - begun) / rate
                first = np.minimum(first, np.where(rate > 0, alone, np.inf))
                already = already + begun**z
        # at once where as much is lost already
        later = (loss > already * (1 + ROUNDING)) & (first > 0)
        if len(laws) < 2 or not later.any():
            return np.where(later, first, 0.0)
        if later.all():
            return _together(laws, first, loss)
        out = np.zeros(len(cases))
        some = [(z[later], rate[later], begun[later]) for z, rate, begun in laws]
        out[later] = _together(some, first[later], loss[later])
        return out


def _together(laws: Sequence[tuple[Array, Array, Array]], first: Array, loss: Array) -> Array:
    """Seconds until laws of exponents, rates and u at first, (M,) each, have cost a loss together,
    from a time by which one alone would have."""
    x, aim = np.log(first), np.log(loss)
    for _ in range(MOST):
        t = np.exp(x)
        total, slope = np.zeros(x.shape), np.zeros(x.shape)
        for z, rate, begun in laws:
            more = rate * t
            u = begun + more
            lost = u**z
            total += lost
            slope += z * lost * (more / np.maximum(u, 1e-300))
        move = (np.log(total) - aim) * total / slope
        x -= move
        if np.abs(move).max() < CLOSE:
            break
    return np.asarray(np.minimum(np.exp(x), first))


def time_to(ageing: Ageing, under: Stress, loss: Array) -> Array:
    """Seconds in use until a share of the capacity is lost, (R, N); infinite where it never is.

    Of one draw several losses may be asked.
    """
    draws = loss.shape[1]
    if draws > len(ageing.end):
        ageing = ageing.of(np.zeros(draws, dtype=np.intp))
        under = under.each(lambda x: np.broadcast_to(x, loss.shape))
    return Course(ageing, under).time_to(loss)


def _picked(values: Array, cases: Index | None) -> Array:
    return values if cases is None else values.ravel()[cases]


def _over(rate: Array, seconds: Array) -> Array:
    # a pack that lasts for ever and does not age has lost nothing
    return np.asarray(np.where(rate > 0, rate * np.where(rate > 0, seconds, 0.0), 0.0))


def _lost(law: Law | None, u: Array) -> Array:
    return np.zeros(u.shape) if law is None else u**law.exponent
