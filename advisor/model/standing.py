"""How full a store stands over the year, and so how fast it ages by its state of charge.

The chain of a store (`store`) tells of its dawns what the store lacks to full, as mean and mean
square, how often a day fills it and how often a night empties it. For them stand three levels: full
and empty, and one between that with both keeps mean and mean square (the rule of Gauss and Lobatto
with its ends fixed, textbook). A calendar law's rate is averaged over them, and so over the year: a
mean level would tell less of a law that rises ever more steeply, and more of one that flattens.

By night a store goes down evenly from its dusk, and by day up, as evenly. A day that brings more
than fills it leaves it full for the rest of the light: w/(w + n) of it, w what the day brings
beyond, n what it fills for the night. A night that empties it leaves it empty for the rest: n/(1 +
n/b) is lacking of nights of n, b from one night for which it is told. What the chain counts is
energy; states of charge are of charge, by the pack's own voltage.

Axes: R rows (builds on one pack), N draws.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.ageing import Stay
from advisor.model.draws import Array

FADED = (1.0, 0.7)  # shares of a store that are left, at which it is told how full it stands
MIDDLE = 0.88  # share that is left, for all cycles of a life


@dataclass(frozen=True, slots=True)
class Filling:
    """How full stores stand, of any shape.

    lacks, square : at dawn, the mean of what they lack to full, a share of the store, and of its
    square. filled : share of days that fill them, spare : that and the share of their light that is
    left then. emptied : share of nights that empty them, dark : that and what is lacking of their
    load, days of it. night : share of a day that is dark, for which `spare` and `dark` are told.
    """

    lacks: Array
    square: Array
    filled: Array
    spare: Array
    emptied: Array
    dark: Array
    night: float

    def between(self, other: Filling, share: float) -> Filling:
        """What lies at a share of the way to another."""

        def at(a: Array, b: Array) -> Array:
            return np.asarray(a + (b - a) * share)

        return Filling(
            lacks=at(self.lacks, other.lacks),
            square=at(self.square, other.square),
            filled=at(self.filled, other.filled),
            spare=at(self.spare, other.spare),
            emptied=at(self.emptied, other.emptied),
            dark=at(self.dark, other.dark),
            night=self.night,
        )

    @classmethod
    def of(cls, told: Sequence[Array], nothing: NDArray[np.bool_], night: float) -> Filling:
        """From the shares above in their order, of any shape; `nothing` tells, of the same, which
        are always empty."""
        lacks, square, filled, spare, emptied, dark = (np.where(nothing, 0.0, x) for x in told)
        return cls(
            lacks=lacks + nothing,
            square=square + nothing,
            filled=filled,
            spare=spare,
            emptied=emptied + nothing,
            dark=dark + nothing * night,
            night=night,
        )

    @property
    def low(self) -> tuple[Array, Array]:
        """The level between full and empty, as the share that it lacks at dawn, and its share of
        the days; both of any shape."""
        lacks = np.maximum(self.lacks - self.emptied, 0.0)
        square = np.clip(self.square - self.emptied, 0.0, lacks)
        some = square > 0
        at = np.where(some, square / np.where(some, lacks, 1.0), 0.0)
        often = np.where(some, lacks**2 / np.where(some, square, 1.0), 0.0)
        return at, np.minimum(often, 1 - self.emptied)

    def full(self, night: Array) -> Array:
        """Share of the light during which they stand full, for nights (N,), shares of a day."""
        of_day = _part(self.spare, self.filled)
        beyond = self.night * of_day
        return np.asarray(self.filled * _part(beyond, beyond + night * (1 - of_day)))

    def empty(self, night: Array) -> Array:
        """Share of nights (N,), shares of a day, that is lacking where one empties them."""
        lacking = np.minimum(_part(self.dark, self.emptied) / self.night, 1.0)
        # told of one night, x = 1/(1 + n/b); of another
        lasts = self.night * (1 - lacking)
        return _part(self.night * lacking, self.night * lacking + lasts / self.night * night)


def clipped(told: Sequence[Array]) -> tuple[Array, ...]:
    """Shares of a `Filling` in its order, of any shape, within what they may be of each other."""
    lacks, square, filled, spare, emptied, dark = told
    lacks = np.clip(lacks, 0.0, 1.0)
    # no less than that of the mean, where stores are always as full
    square = np.clip(square, lacks**2, lacks)
    filled = np.clip(filled, 0.0, 1.0)
    spare = np.clip(spare, 0.0, filled)
    emptied = np.clip(emptied, 0.0, square)
    dark = np.clip(dark, 0.0, emptied)
    return lacks, square, filled, spare, emptied, dark


def _part(some: Array, of: Array) -> Array:
    return np.asarray(np.where(of > 0, some / np.where(of > 0, of, 1.0), 0.0))


@dataclass(frozen=True, slots=True)
class Nights:
    """What nights take of packs.

    night : (N,) share of a day. taken, first, last, deepest : (R, N) charge of a mean night, of one
    from a full pack, of one down to where it gives no more and of all that they give, shares of the
    rated capacity. falls : (R, N) by how much more than its mean over that the voltage is at first,
    and less at last, as if straight. drawn : charge of a night, a share of the rated capacity, of a
    pack that stands at depths (R, N) meanwhile, as a leak and powers go with its voltage.
    """

    night: Array
    taken: Array
    first: Array
    last: Array
    deepest: Array
    falls: Array
    drawn: Callable[[Array], Array]

    def stays(self, fillings: Sequence[Filling], left: float) -> list[Stay]:
        """Where packs stay of which a share of the capacity is left, from how full they stand at
        those in `FADED`; see `ageing.Stay`."""
        filling = _faded(fillings, left)
        deepest, night = self.deepest, self.night
        first, last = (np.minimum(one / left, deepest) for one in (self.first, self.last))
        full = np.ones((1, deepest.shape[1]))
        _, often = filling.low
        dusk, middle = self._middle(filling, left)
        top = 1 - dusk
        still = (1 - night) * filling.full(night)
        short = filling.empty(night)
        bottom = 1 - deepest
        dry = filling.emptied * short * night
        return [
            (still, full, full),
            (1 - often - filling.emptied - still, full - first, full),
            (often, top - middle, top),
            (filling.emptied - dry, bottom, bottom + last * (1 - short)),
            (dry, bottom, bottom),
        ]

    def cycles(self, fillings: Sequence[Filling], power: Array) -> Array:
        """Nights as shares of mean ones, (R, N), over a life, where cycles count by a power (N,) of
        their depth; what nights last that empty a store is spread, see `_evenly`."""
        filling = _faded(fillings, MIDDLE)
        _, often = filling.low
        _, middle = self._middle(filling, MIDDLE)
        first, middle, last = (
            np.where(self.taken > 0, _part(one, self.taken), 1.0)
            for one in (self.first, middle * MIDDLE, self.last)
        )
        short = filling.empty(self.night)
        return np.asarray(
            (1 - often - filling.emptied) * first**power
            + often * middle**power
            + filling.emptied * last**power * _evenly(1 - short, power)
        )

    def _middle(self, filling: Filling, left: float) -> tuple[Array, Array]:
        """Of packs between full and empty: the depth at dusk and what the night takes, (R, N)
        shares of the capacity left."""
        deepest = self.deepest
        lacks, _ = filling.low
        energy = lacks * (1 - _part(np.minimum(self.taken / left, deepest), deepest))
        # what was given goes as (1 + k) q - k q^2 over charge q, shares of both
        beside = 1 + self.falls
        root = np.sqrt(np.maximum(beside**2 - 4 * self.falls * energy, 0.0))
        dusk = deepest * 2 * energy / (beside + root)
        about = np.minimum(dusk + self.first / left / 2, deepest)
        return dusk, np.minimum(self.drawn(about) / left, deepest - dusk)


def _evenly(mean: Array, power: Array) -> Array:
    """Mean of a power (N,) of shares of which the mean is known, (R, N): evenly from none to all
    where that is a half, and as many more of none, or of all, as there have to be; all of them
    evenly near all."""
    below = np.minimum(mean, 0.5)
    start = np.clip(2 * mean - 1, 0.0, 1 - 1e-9)
    above = (1 - start ** (power + 1)) / (1 - start)
    return np.asarray(np.where(mean > 0.5, above, 2 * below) / (power + 1))


def _faded(fillings: Sequence[Filling], left: float) -> Filling:
    """How full stores stand of which a share is left, no less than the last of `FADED`."""
    fresh, faded = fillings
    return fresh.between(faded, min((FADED[0] - left) / (FADED[0] - FADED[1]), 1.0))
