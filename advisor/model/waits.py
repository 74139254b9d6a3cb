"""Waits for a core that does one thing, first come first served, behind random and regular tasks.

An event meets the work that is left. Of tasks at random alone (Poisson) it is that of M/G/1: mean
W = m/(2 (1 - rho)), m the sum of rate E[S^2] (Pollaczek, Khinchine), distribution F by the renewal
equation (Takacs 1955; from memory), lambda and B the rate and the distribution of all lengths:

    F(t) = 1 - rho + integral over 0..t of F(t - x) lambda (1 - B(x)) dx.

A regular task has at most one event in progress. Its phase is taken as random, also against other
regular tasks, whatever their periods. An event of length S on work V lengthens it by S less what
the core has idled since. Where that is nothing by the task's next event, rate l and load r = l E[S]
make

    F' = (1 - a) F - b F* + a (F conv e) + b (F* conv S),  a = r/(1 - rho), b = l W/(1 - rho),
    W' = W + (l E[S^2]/2 + r W)/(1 - rho),

e the residual of S, F* = F conv the residual of V (the work while what was there at first is worked
off): one task after another, the shortest period first. One regular task alone is exact, and very
many short ones come to M/G/1. The derivation is our own.

Under heavy loads work is left by the next event. Then a regular task is a steady flow and a
sawtooth above it: V is no more than the work of all else on a core of speed 1 - r, and 0..S, evenly
(pathwise, for constant S; of tries all but the first count as at random). Where Pollaczek and
Khinchine promise less of a task it is taken as at random, so no mean wait is longer than theirs.

Between both answers, of work that is gone and of work that lasts, the weight of the second is
exp(-(T (1 - rho)^2/s^2)^0.75) for the mean and its square root for the distribution: T the period
(of several the mean, by load), s^2 the variance of the work that comes in a second, which settles
in s^2/(1 - rho)^2. These were held to a simulation (loads of 0.3 to 0.95, with and without others
at random, with tries). Behind one regular task mean waits come out 0.97 to 1.13 of it, and the
share of waits beyond the one that a twentieth exceeds 0.94 to 1.7. Behind two or three, up to a
load of 0.6, mean waits come out 1.0 to 1.15 and such shares 1.0 to 1.6; beyond that means up to
1.5 and such shares up to 4.5, too long rather than too short.

Axes: R rows, N draws. SI units.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.chance import Served
from advisor.model.draws import Array

STEPS = 128  # of the distribution of a wait
PIECE = 4096  # cases whose distributions are worked out at once
HARDLY = 1e-6  # weight of a distribution that is left out


@dataclass(frozen=True, slots=True)
class Coming:
    """A task whose events others may wait for.

    rate : (N,) a second. random : whether they come at random, else a period apart.
    event : their lengths. moments : mean length, (R, N) s, and mean square, s^2.
    """

    rate: Array
    random: bool
    event: Served
    moments: tuple[Array, Array]

    @property
    def tried(self) -> Array:
        """Mean square of what an event takes beyond one try of each state, (R, N) s^2."""
        (mean, square), once = self.moments, self.event.once
        return np.maximum(square - 2 * mean * once + once**2, 0.0)

    def of(self, r: NDArray[np.intp], n: NDArray[np.intp]) -> Coming:
        """That of some cases, by their indices (m,) of row and draw, as the draws of one row."""
        mean, square = self.moments
        rate = np.broadcast_to(self.rate, mean.shape[1:])[n]
        return replace(
            self,
            rate=rate,
            event=self.event.of(r, n),
            moments=(mean[r, n][None], square[r, n][None]),
        )


@dataclass(frozen=True, slots=True)
class Met:
    """What an event meets: `busy`, the share of the time that events take; mean work, s, where that
    of regular tasks is `gone` by their next event and where it `lasts`, and the weight of the
    second; (R, N) each."""

    busy: Array
    gone: Array
    lasts: Array
    weight: Array

    @property
    def wait(self) -> Array:
        """Mean wait, (R, N) s; without end where there is more to do than time."""
        return self._mean(self.weight)

    @property
    def late(self) -> Array:
        """Weight of work that lasts, in the distribution, (R, N) shares: long waits need more."""
        return np.sqrt(self.weight)

    @property
    def at_most(self) -> Array:
        """Mean of the distribution of the wait, (R, N) s."""
        return self._mean(self.late)

    def _mean(self, weight: Array) -> Array:
        with np.errstate(invalid="ignore"):
            between = self.gone + weight * (self.lasts - self.gone)
        return np.where(self.busy < 1, between, np.inf)


def _order(regular: Sequence[Coming]) -> NDArray[np.intp]:
    """Regular tasks, the shortest period first, then by the length of their events: (K, R, N)."""
    keys = [
        np.stack([one.moments[1] for one in regular]),
        np.stack([one.moments[0] for one in regular]),
        np.stack([np.broadcast_to(-one.rate, one.moments[0].shape) for one in regular]),
    ]
    return np.asarray(np.lexsort(keys, axis=0))


def met(tasks: Sequence[Coming]) -> Met:
    """What an event meets of tasks, one at the least."""
    zero = np.zeros(tasks[0].moments[0].shape)
    busy = sum((one.rate * one.moments[0] for one in tasks), zero)
    regular = [one for one in tasks if not one.random]
    load = sum((one.rate * one.moments[0] for one in tasks if one.random), zero)
    moment = sum((one.rate * one.moments[1] for one in tasks if one.random), zero)
    with np.errstate(divide="ignore", invalid="ignore"):
        lasts = moment / (2 * (1 - busy))
        if not regular:
            return Met(busy, lasts, lasts, zero)
        gone = moment / (2 * (1 - load))
        figures = [
            [np.broadcast_to(one.rate, zero.shape) for one in regular],
            [one.moments[0] for one in regular],
            [one.moments[1] for one in regular],
        ]
        if len(regular) > 1:
            order = _order(regular)
            figures = [list(np.take_along_axis(np.stack(x), order, axis=0)) for x in figures]
        taken, together, varies = zero, zero, moment
        for rate, mean, square in zip(*figures, strict=True):
            gone = gone + rate * (square / 2 + mean * gone) / (1 - load)
            load = load + rate * mean
            taken, together = taken + rate * mean, together + mean
            varies = varies + rate * np.maximum(square - mean**2, 0.0)
        for one, flows in zip(regular, _flows(regular, busy), strict=True):
            again = one.rate * one.tried / (2 * (1 - busy))
            chance = one.rate * one.moments[1] / (2 * (1 - busy))
            lasts = lasts + np.where(flows, one.event.once / 2 + again, chance)
        period = np.where(taken > 0, together / taken, 0.0)
        settled = np.where(varies > 0, period * (1 - busy) ** 2 / varies, np.inf)
        weight = np.where(gone < lasts, np.exp(-np.sqrt(settled * np.sqrt(settled))), 1.0)
    return Met(busy, gone, lasts, weight)


def _flows(regular: Sequence[Coming], busy: Array) -> list[NDArray[np.bool_]]:
    """Where a steady flow and a sawtooth is less than what a task at random makes of it."""
    return [
        one.event.once * (1 - busy) < one.rate * (one.moments[1] - one.tried) for one in regular
    ]


def done_within(
    limit: Array,
    own: Served,
    tasks: Sequence[Coming],
    enough: float | None = None,
    found: Met | None = None,
) -> Array:
    """Chance that an event ends within a limit (N,) s of when it is due, (R, N).

    Parameters
    ----------
    own : its lengths. tasks : those that it may have to wait for.
    enough : where a bound says that the chance is as great as this, the bound is returned.
    found : what `met` tells of the tasks, where it is known.
    """
    # what ends just in time but for rounding is in time
    limit = np.broadcast_to(limit, own.once.shape) * (1 + 1e-12)
    if not tasks:
        return _in_time(limit, own, lambda room: np.asarray(room >= 0, dtype=np.float64))
    out = np.full(limit.shape, -np.inf)
    if enough is not None:
        # no wait is longer than t more often than there is one, nor than its mean over t (Markov)
        meets = found or met(tasks)
        busy, wait = meets.busy, meets.at_most

        def sure(room: Array) -> Array:
            with np.errstate(divide="ignore", invalid="ignore"):
                late = np.minimum(np.minimum(busy, wait / room), 1.0)
            return np.asarray(np.where(room > 0, 1 - late, 0.0))

        out = _in_time(limit, own, sure)
    r, n = np.nonzero(~(out >= (np.inf if enough is None else enough)))
    for few, among in _pieces(r, n, tasks):
        at = r[few], n[few]
        out[at] = _after_wait(limit[at][None], own.of(*at), [one.of(*at) for one in among])[0]
    return out


def _pieces(
    r: NDArray[np.intp], n: NDArray[np.intp], tasks: Sequence[Coming]
) -> Iterator[tuple[NDArray[np.intp], list[Coming]]]:
    """Some cases at a time, by their place (m,) among those of rows r and draws n, and the tasks
    with the regular ones in the order of those cases."""
    at_random = [one for one in tasks if one.random]
    regular = [one for one in tasks if not one.random]
    if regular:
        orders, kind = np.unique(_order(regular)[:, r, n], axis=1, return_inverse=True)
    else:
        orders, kind = np.zeros((0, 1), dtype=np.intp), np.zeros(len(r), dtype=np.intp)
    for which, order in enumerate(orders.T):
        among = np.flatnonzero(kind.reshape(-1) == which)
        for start in range(0, len(among), PIECE):
            yield among[start : start + PIECE], at_random + [regular[k] for k in order]


def _in_time(limit: Array, own: Served, sure: Callable[[Array], Array]) -> Array:
    """Chance to end within a limit (R, N) s, where a wait leaves room (R, N) s so `sure`ly."""
    out = np.zeros(limit.shape)
    for chance, length in own.outcomes(limit):
        out += chance * sure(limit - length)
    return np.minimum(out, 1.0)


def _after_wait(limit: Array, own: Served, tasks: Sequence[Coming]) -> Array:
    """Chance that an event, behind its wait, ends within a limit (R, N) s, (R, N)."""
    longest = np.maximum(limit - own.once, 0.0)
    grid = _waits(longest, tasks)
    r, n = np.indices(longest.shape)

    def found(room: Array) -> Array:
        with np.errstate(divide="ignore", invalid="ignore"):
            place = np.where(longest > 0, np.clip(room / longest, 0.0, 1.0) * STEPS, 0.0)
        low = np.minimum(place.astype(np.intp), STEPS - 1)
        part = place - low
        between = grid[low, r, n] * (1 - part) + grid[low + 1, r, n] * part
        return np.asarray(np.where(room >= 0, between, 0.0))

    return _in_time(limit, own, found)


def _waits(longest: Array, tasks: Sequence[Coming]) -> Array:
    """Chance of a wait no longer than each of even steps to `longest` (R, N) s: (STEPS + 1, R, N).

    Regular tasks are added as they stand. Kernels are integrated exactly over each step, F taken
    straight within it.
    """
    meets = met(tasks)
    idle = 1 - meets.busy
    out = np.zeros((STEPS + 1, *longest.shape))
    if (meets.late < 1).any():
        out += (1 - meets.late) * _gone(longest, tasks)
    if (meets.late > HARDLY).any():
        out += meets.late * _lasting(longest, tasks, idle)
    # the core is idle for no less than it is, and what is nearly straight stays so
    out = np.maximum.accumulate(np.maximum(out, idle), axis=0)
    out[0] = idle
    return np.where(idle > 0, np.clip(out, 0.0, 1.0), 0.0)


def _gone(longest: Array, tasks: Sequence[Coming]) -> Array:
    """Chances as of `_waits` where the work of a regular task is gone by its next event."""
    step = longest / STEPS
    at_random = [one for one in tasks if one.random]
    zero = np.zeros(longest.shape)
    load = sum((one.rate * one.moments[0] for one in at_random), zero)
    weight = np.zeros((STEPS, *longest.shape))
    for one in at_random:
        weight += one.rate * _longer(one.event, longest, zero)
    out = _renewed(weight, 1 - load)
    with np.errstate(divide="ignore", invalid="ignore"):
        for one in tasks:
            if one.random:
                continue
            mean = one.moments[0]
            # W F* : the mean work is in b as well
            first = _with(step * (1 - (out[:-1] + out[1:]) / 2), out)
            residual = np.where(mean > 0, _longer(one.event, longest, zero) / mean, 0.0)
            a, b = one.rate * mean / (1 - load), one.rate / (1 - load)
            out = out + a * (_with(residual, out) - out)
            out = out + b * (_later(one.event, longest, first) - first)
            # one that runs into the next may take more than there is
            out = np.maximum.accumulate(np.clip(np.nan_to_num(out), 0.0, 1.0), axis=0)
            load = load + one.rate * mean
    return out


def _lasting(longest: Array, tasks: Sequence[Coming], idle: Array) -> Array:
    """Chances as of `_waits` where the work of a regular task lasts beyond its next event."""
    regular = [one for one in tasks if not one.random]
    flows = _flows(regular, 1 - idle)
    zero = np.zeros(longest.shape)
    teeth = [np.where(f, one.event.once, 0.0) for one, f in zip(regular, flows, strict=True)]
    speed = 1 - sum((one.rate * s for one, s in zip(regular, teeth, strict=True)), zero)
    weight = np.zeros((STEPS, *longest.shape))
    for one in tasks:
        if one.random:
            weight += one.rate * _longer(one.event, longest, zero)
    for one, tooth in zip(regular, teeth, strict=True):
        weight += one.rate * _longer(one.event, longest, tooth)
    step = longest / STEPS
    from_here = np.arange(STEPS)[:, None, None] * step
    with np.errstate(divide="ignore", invalid="ignore"):
        out = _renewed(weight / speed, idle / speed)
        for tooth in teeth:
            even = np.clip(tooth - from_here, 0.0, step) / tooth
            out = np.where(tooth > 0, _with(even, out), out)
    return np.nan_to_num(out)


def _longer(event: Served, longest: Array, beyond: Array) -> Array:
    """Chance that an event lasts longer than t `beyond` (R, N) s, integrated over each of the steps
    of t to `longest` (R, N) s: (STEPS, R, N) s."""
    step = longest / STEPS
    from_here = np.arange(STEPS)[:, None, None] * step
    out = np.zeros((STEPS, *longest.shape))
    longer = np.ones(longest.shape[1:])
    for chance, length in event.outcomes(longest + beyond):
        out += chance * np.clip(length - beyond - from_here, 0.0, step)
        longer = longer - chance
    return out + np.maximum(longer, 0.0) * step


def _renewed(weight: Array, idle: Array) -> Array:
    """F of F(t) = idle + integral of F(t - x) k(x) dx by the kernel's steps (STEPS, R, N)."""
    out = np.zeros((STEPS + 1, *idle.shape))
    out[0] = np.maximum(idle, 0.0)
    for i in range(1, STEPS + 1):
        known = weight[0] * out[i - 1]
        if i > 1:
            pairs = out[i - 1 : 0 : -1] + out[i - 2 :: -1][: i - 1]
            known = known + (weight[1:i] * pairs).sum(axis=0)
        with np.errstate(divide="ignore", invalid="ignore"):
            out[i] = np.where(idle > 0, (idle + known / 2) / (1 - weight[0] / 2), 0.0)
    return np.clip(out, 0.0, 1.0)


def _with(weight: Array, chance: Array) -> Array:
    """The convolution of a density, by its steps (STEPS, R, N), with a distribution (STEPS + 1, R,
    N): of the same shape as that."""
    between = (chance[:-1] + chance[1:]) / 2
    out = np.zeros(chance.shape)
    for i in range(1, STEPS + 1):
        out[i] = (weight[:i] * between[:i][::-1]).sum(axis=0)
    return out


def _later(event: Served, longest: Array, chance: Array) -> Array:
    """A distribution without an atom (STEPS + 1, R, N) an event's length later."""
    steps = np.arange(STEPS + 1)[:, None, None]
    out = np.zeros(chance.shape)
    for share, length in event.outcomes(longest):
        with np.errstate(divide="ignore", invalid="ignore"):
            back = np.where(longest > 0, length / longest * STEPS, np.inf)
        place = np.clip(steps - back, 0.0, STEPS)
        low = np.minimum(place.astype(np.intp), STEPS - 1)
        part = place - low
        some = np.take_along_axis(chance, low, axis=0) * (1 - part)
        out += share * (some + np.take_along_axis(chance, low + 1, axis=0) * part)
    return out
