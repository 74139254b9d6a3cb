"""Chance in a workload: tries that fail, and the lengths that they make of events.

A try fails with p, independently, and at most m are made: the mean number of tries is
(1 - p^m)/(1 - p), all fail with p^m. Events at random are a Poisson process; the charge of many is
compound Poisson, of variance rate x E[q^2] a second (that of regular events rate x var q).

The length of an event is what each number of tries makes of it, each state's tries with a length of
their own, and is told apart outcome by outcome. Waits behind such events are those of `waits`.

Axes: R rows, J numbers of tries, N draws. SI units.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.draws import Array

OUTCOMES = 20_000  # of an event's tries that are told apart
NEVER = 1e-12  # chance of an outcome that is left out, and counts as late


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

    def counts(self, most: int) -> Array:
        """Chances of 1, 2, ... tries, (J, N) shares; no more than `most`, and none beyond which
        hardly any are left. What is missing of 1 takes more."""
        p = self.fails
        last = most if self.most is None else min(self.most, most)
        worst = float(p.max())
        if worst <= 0:
            last = 1
        elif worst < 1:
            last = min(last, 1 + int(np.log(NEVER) / np.log(worst)))
        out = p ** np.arange(last)[:, None] * (1 - p)
        if last == self.most:
            out[-1] = p ** (last - 1)
        return np.asarray(out)

    def of(self, n: NDArray[np.intp]) -> Tries:
        """Those of some draws, by their indices (m,)."""
        return replace(self, fails=self.fails[n])

    def within(self, times: float) -> int:
        """Most tries of which one such row is to be expected among so many."""
        p = float(self.fails.max())
        if p <= 0:
            return 1
        many = 1 + int(np.log(max(times, 2.0)) / -np.log(p))
        return many if self.most is None else min(many, self.most)


@dataclass(frozen=True, slots=True)
class Served:
    """How long events of a task last.

    once : (R, N) s, each state tried once. again : what is tried again, with the (R, N) s of a try.
    whole : tries of the whole event, of which each has tries of its own; None for one.
    """

    once: Array
    again: tuple[tuple[Tries, Array], ...] = ()
    whole: Tries | None = None

    @property
    def moments(self) -> tuple[Array, Array]:
        """Mean length, (R, N) s, and mean square, s^2, by the variance of a random sum."""
        # of one go through the states, and of all
        go = self.once + sum((t.mean - 1) * s for t, s in self.again)
        varies = sum((t.variance * s**2 for t, s in self.again), np.zeros_like(self.once))
        if self.whole is None:
            return np.asarray(go), np.asarray(varies + go**2)
        mean = go * self.whole.mean
        varies = self.whole.mean * varies + self.whole.variance * go**2
        return np.asarray(mean), np.asarray(varies + mean**2)

    def of(self, r: NDArray[np.intp], n: NDArray[np.intp]) -> Served:
        """That of some cases, by their indices (m,) of row and draw, as the draws of one row."""
        return Served(
            self.once[r, n][None],
            tuple((t.of(n), s[r, n][None]) for t, s in self.again),
            None if self.whole is None else self.whole.of(n),
        )

    def outcomes(self, limit: Array) -> Iterator[tuple[Array, Array]]:
        """(chance (N,), length (R, N) s) of each outcome that ends within a limit (R, N) s.

        Each try of the whole event has its own tries of its states: the number of those of one
        state in n goes is the n-fold convolution. Whatever is missing of a chance of 1 lasts
        longer. Of several states with very many tries some are told together, at the longest.
        """
        each = max(2, int(OUTCOMES ** (1 / max(1, len(self.again)))))
        goes = np.ones((1, 1)) if self.whole is None else self.whole.counts(each)
        single = [t.counts(_fit(limit, s, each)) for t, s in self.again]
        more = single
        for n, share in enumerate(goes, 1):
            length = n * self.once
            if not (length <= limit).any():
                return
            if n > 1:
                more = [_sum(a, b, each) for a, b in zip(more, single, strict=True)]
            of = [(chances, s) for chances, (_, s) in zip(more, self.again, strict=True)]
            yield from _each(share + 0 * limit[0], length, of, limit)


def _fit(limit: Array, seconds: Array, most: int) -> int:
    """How many tries of so many s (R, N) may end within a limit (R, N) s, one at the least."""
    least = float(seconds.min())
    return 1 + int(min(float(limit.max()) / least, most)) if least > 0 else most


def _sum(one: Array, other: Array, most: int) -> Array:
    """Chances of the sum of two numbers, from 0 up, (J, N) each; no more than `most` of them."""
    out = np.zeros((min(len(one) + len(other) - 1, most), one.shape[1]))
    for j, chance in enumerate(other):
        here = out[j : j + len(one)]
        here += one[: len(here)] * chance
    return out


def _each(
    chance: Array, length: Array, of: list[tuple[Array, Array]], limit: Array
) -> Iterator[tuple[Array, Array]]:
    """The outcomes of states with chances of 0, 1, ... more tries, (J, N), of (R, N) s each."""
    if not of:
        yield chance, length
        return
    (chances, seconds), *rest = of
    for j, share in enumerate(chances):
        then = length + j * seconds
        if not (then <= limit).any():
            return
        both = chance * share
        if float(both.max()) >= NEVER:
            yield from _each(both, then, rest, limit)


def served(single: Array, tries: Sequence[Tries | None], whole: Tries | None) -> Served:
    """The lengths that an event may have.

    Parameters
    ----------
    single : (R, S, N) s, each state tried once. tries : of each state. whole : of the event.
    """
    again = tuple((t, single[:, s]) for s, t in enumerate(tries) if t is not None)
    return Served(single.sum(axis=1), again, whole)
