"""Chance in a workload: tries that fail, events at random, waits for a core that does one thing.

A try fails with p, independently, and at most m are made: the mean number of tries is
(1 - p^m)/(1 - p), all fail with p^m. Events at random are a Poisson process; the charge of many is
compound Poisson, of variance rate x E[q^2] a second (that of regular events rate x var q).

An event that finds the core busy waits, first come first served. Waits are those of one server
with Poisson arrivals and any service times (M/G/1): mean by Pollaczek and Khinchine,
W = sum(rate E[S^2])/(2 (1 - rho)), and the distribution F of the wait by the renewal equation

    F(t) = 1 - rho + integral over 0..t of F(t - x) lambda (1 - B(x)) dx,

lambda and B the rate and the distribution of the service times of all events (Takacs 1955; from
memory). Regular events of several tasks do not keep step; taken as Poisson they make others wait
longer than they do, so waits among them are a bound.

Axes: R rows, O outcomes of an event, N draws. SI units.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product as combinations

import numpy as np

from advisor.dataclass import dataclass
from advisor.model.draws import Array

OUTCOMES = 64  # of an event's tries that are told apart
STEPS = 128  # of the distribution of a wait


@dataclass(frozen=True, slots=True)
class Tries:
    """What is tried again: each try fails with a chance (N,); `most` tries, None until it works."""

    fails: Array
    most: int | None

    @property
    def lost(self) -> Array:
        """Chance that all tries fail, (N,), a share."""
        return np.zeros_like(self.fails) if self.most is None else self.fails**self.most

    @property
    def mean(self) -> Array:
        """Mean number of tries, (N,), a count."""
        return np.asarray((1 - self.lost) / (1 - self.fails))

    @property
    def variance(self) -> Array:
        """Variance of the number of tries, (N,), of a count.

        E[n^2] is the sum of (2 j + 1) p^j over j < m.
        """
        p, m = self.fails, self.most
        square = (1 + p) / (1 - p) ** 2
        if m is not None:
            # what the sum has beyond m tries
            square = square - p**m * ((1 + p) / (1 - p) ** 2 + 2 * m / (1 - p))
        return np.maximum(square - self.mean**2, 0.0)

    def outcomes(self, count: int) -> list[tuple[float | Array, Array]]:
        """(tries, chance (N,)) of up to `count` outcomes; the last holds the mean of the rest."""
        most = count if self.most is None else min(self.most, count)
        p = self.fails
        out: list[tuple[float | Array, Array]] = [
            (float(j), p ** (j - 1) * (1 - p)) for j in range(1, most)
        ]
        left = p ** (most - 1)
        if self.most == most:
            return [*out, (float(most), left)]
        before = sum((np.asarray(n * chance) for n, chance in out), np.zeros_like(p))
        with np.errstate(divide="ignore", invalid="ignore"):
            mean = np.where(left > 0, (self.mean - before) / left, float(most))
        return [*out, (mean, left)]

    def within(self, times: float) -> int:
        """Most tries of which one such row is to be expected among so many."""
        p = float(self.fails.max())
        if p <= 0:
            return 1
        many = 1 + int(np.log(max(times, 2.0)) / -np.log(p))
        return many if self.most is None else min(many, self.most)


@dataclass(frozen=True, slots=True)
class Served:
    """How long events of a task last: chances (O, N), lengths (O, R, N) s."""

    chance: Array
    length: Array

    @property
    def mean(self) -> Array:
        """Mean length, (R, N) s."""
        return np.asarray((self.chance[:, None] * self.length).sum(axis=0))

    @property
    def square(self) -> Array:
        """Mean square of the length, (R, N) s^2."""
        return np.asarray((self.chance[:, None] * self.length**2).sum(axis=0))


def served(single: Array, tries: Sequence[Tries | None], whole: Tries | None) -> Served:
    """The lengths that an event may have.

    Parameters
    ----------
    single : (R, S, N) s, each state tried once. tries : of each state. whole : of the event.
    """
    some = [(s, t) for s, t in enumerate(tries) if t is not None]
    count = len(some) + (whole is not None)
    each = max(2, int(OUTCOMES ** (1 / count))) if count else 1
    base = single.sum(axis=1)
    one = np.ones(single.shape[2])
    lists = [[(s, n, chance) for n, chance in t.outcomes(each)] for s, t in some]
    # an event that is tried again is taken to last as long each time
    again = [(1.0, one)] if whole is None else whole.outcomes(each)
    chances, lengths = [], []
    for outcome in combinations(*lists):
        length, chance = base, one
        for s, n, share in outcome:
            length, chance = length + single[:, s] * (n - 1), chance * share
        for n, share in again:
            chances.append(chance * share)
            lengths.append(length * n)
    return Served(np.stack(chances), np.stack(lengths))


def mean_wait(rates: Sequence[Array], events: Sequence[Served]) -> Array:
    """Mean wait of an event at random, (R, N) s, by the tasks' rates (N,) a second; infinite where
    there is more to do than time."""
    busy = sum(rate * one.mean for rate, one in zip(rates, events, strict=True))
    moment = sum(rate * one.square for rate, one in zip(rates, events, strict=True))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(busy < 1, moment / (2 * (1 - busy)), np.inf))


def done_within(
    limit: Array,
    own: Served,
    rates: Sequence[Array],
    events: Sequence[Served],
    enough: float | None = None,
) -> Array:
    """Chance that an event ends within a limit (N,) s of when it is due, (R, N).

    Parameters
    ----------
    own : its lengths. rates (N,) a second, events : of the tasks that it may have to wait for.
    enough : where a bound says that the chance is as great as this, the bound is returned.
    """
    room = limit - own.length
    if not events:
        return np.asarray((own.chance[:, None] * (room >= 0)).sum(axis=0))
    if enough is None:
        return _in_time(room, own.chance, rates, events)
    # no wait is longer than t more often than there is one, nor than its mean over t (Markov)
    busy = sum(rate * one.mean for rate, one in zip(rates, events, strict=True))
    with np.errstate(divide="ignore", invalid="ignore"):
        late = np.minimum(busy, mean_wait(rates, events) / room)
    sure = np.where(room > 0, 1 - np.minimum(late, 1.0), 0.0)
    out = np.asarray((own.chance[:, None] * sure).sum(axis=0))
    r, n = np.nonzero(~(out >= enough))
    if r.size:
        few = [Served(one.chance[:, n], one.length[:, r, n][:, None]) for one in events]
        each = [np.broadcast_to(rate, limit.shape)[n] for rate in rates]
        out[r, n] = _in_time(room[:, r, n][:, None], own.chance[:, n], each, few)[0]
    return out


def _in_time(
    room: Array, chances: Array, rates: Sequence[Array], events: Sequence[Served]
) -> Array:
    """Chance that a wait leaves room, (R, N): room (O, R, N) s, chances (O, N) of its lengths."""
    longest = np.maximum(room.max(axis=0), 0.0)
    grid = _waits(longest, rates, events)
    with np.errstate(divide="ignore", invalid="ignore"):
        place = np.where(longest > 0, np.clip(room / longest, 0.0, 1.0) * STEPS, 0.0)
    low = np.minimum(place.astype(np.intp), STEPS - 1)
    r, n = np.indices(longest.shape)
    found = grid[low, r, n] * (1 - (place - low)) + grid[low + 1, r, n] * (place - low)
    return np.asarray((chances[:, None] * np.where(room >= 0, found, 0.0)).sum(axis=0))


def _waits(longest: Array, rates: Sequence[Array], events: Sequence[Served]) -> Array:
    """Chance of a wait no longer than each of even steps to `longest` (R, N) s: (STEPS + 1, R, N).

    The kernel is integrated exactly over each step, F taken straight within it.
    """
    step = longest / STEPS
    weight = np.zeros((STEPS, *longest.shape))
    for j in range(STEPS):
        for rate, one in zip(rates, events, strict=True):
            inside = np.clip(one.length - j * step, 0.0, step)
            weight[j] += rate * (one.chance[:, None] * inside).sum(axis=0)
    busy = sum(rate * one.mean for rate, one in zip(rates, events, strict=True))
    out = np.zeros((STEPS + 1, *longest.shape))
    idle = np.maximum(1 - np.asarray(busy), 0.0)
    out[0] = idle
    for i in range(1, STEPS + 1):
        known = weight[0] * out[i - 1]
        if i > 1:
            pairs = out[i - 1 : 0 : -1] + out[i - 2 :: -1][: i - 1]
            known = known + (weight[1:i] * pairs).sum(axis=0)
        with np.errstate(divide="ignore", invalid="ignore"):
            out[i] = np.where(idle > 0, (idle + known / 2) / (1 - weight[0] / 2), 0.0)
    return np.clip(out, 0.0, 1.0)
