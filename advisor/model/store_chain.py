"""The chains of stores side by side, day by day through a year; see `store`.

Most stores stand at few of their levels in the days of a month: what may be reached is told first,
by the least and the most that a day leads to, and moves and sums go over that alone.

Axes: B cases, K classes of days, T levels of all cases, L of them that are reached.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.draws import Array
from advisor.model.store_load import MIDDLE, Load
from advisor.model.weather import NARROW, Days

MOST_ADDED = 0.75  # of the days' variance that is made up for
NEVER = 1e9  # days of load, which no day brings
LEAST_LEFT = 1e-3  # of a store, behind a night
STEEP = 30.0  # logarithm by which a full store is likelier than an empty one, to begin with it
SOON = 2.0  # logarithm by which a change fades in a year, to begin with a full store
FAINT = 1e-12  # shares of the likeliest level below which none is begun with
GONE = 1e-15  # chances of a level below which none is followed on
BESIDE = 30  # levels beside those begun at for which a month's moves are told with them
APART = 1e-9  # part of the greatest square below which changes of years are not told apart
TINY = 1e-300
LEAST_VARIANCE = 1e-6  # of a year, days of load squared
HALF = 0.5  # of a day, the night for which it is told how long stores stand full
# of each month: what is told by class of day, of low levels and of all, and what else
BY_LOW = ("lost", "unserved", "emptied", "dark")
BY_CLASS = ("lacks", "filled", "spare", *BY_LOW)
TOLD_OF = ("level", "square", *BY_CLASS)


@dataclass(frozen=True, slots=True)
class _Alike:
    """Days that are alike: levels that stores may stand at on them, (L,) of all; those from which
    this holds, (T,); their moves between levels, a sparse matrix; what is told by class of day and
    level, (K, L) each of `BY_CLASS`, what lacks in days of load; of `BY_LOW` for the low ones of
    the levels alone."""

    levels: NDArray[np.intp]
    begun: NDArray[np.bool_]
    move: Any
    told: tuple[Array, ...]


class Chain:
    """The chains of some cases side by side, their levels one behind the other."""

    def __init__(
        self,
        cover: Array,
        store: Array,
        days: Days,
        persistence: Array,
        idle: Array,
        levels: NDArray[np.intp],
        steps: NDArray[np.int_],
        load: Load,
        of: NDArray[np.intp],
    ) -> None:
        self.steps, self.load = steps, load.of(of)
        self.cover, self.store, self.idle = cover[of], store[of], idle[of]
        # at dawn, behind a night
        self.most = np.maximum(self.store - load.night * self.load.full, self.store * LEAST_LEFT)
        self.levels = levels[of]
        self.sizes = self.levels + 1
        self.starts = np.concatenate([[0], np.cumsum(self.sizes)[:-1]])
        self.case = np.repeat(np.arange(len(of)), self.sizes)
        self.place = np.arange(int(self.sizes.sum())) - self.starts[self.case]
        self.width = (self.store / self.levels)[self.case]
        self.x = self.place * self.width
        its = days.of(of)
        self.values, self.spread = its.values, its.spread
        # (K, T), or (K, 1) where they are those of all cases
        self.chances = np.atleast_2d(its.chances).T
        if its.chances.ndim > 1:
            self.chances = self.chances.take(self.case, axis=1)
        self.persistence = persistence[of][self.case]
        self.short = self._short()
        # levels at which a load may not be carried
        self.low = self.short > -self.width / 2
        self.low_starts = np.searchsorted(np.flatnonzero(self.low), self.starts)
        # what a store holds beyond a night, at dusk, and what a day has to fill, the night with it
        self.beyond = np.maximum(self.store - load.night, self.store * LEAST_LEFT)
        night = 0.0 if load.night else HALF
        self.to_fill = np.maximum(self.store[self.case] - self.x + night, LEAST_LEFT)
        # a year begins after the best month
        best = (self.cover * (1 - self.idle)).sum(axis=0).argmax()
        self.months = [(int(best) + 1 + m) % 12 for m in range(12)]
        self.known: dict[tuple[int, int], _Alike] = {}
        self.drift, self.variance = self._year_by_level()

    def begun(self) -> Array:
        """Chances (shares of 1) to begin with, (K, T).

        Stores are full where a year brings far more than it takes, or where what they begin with is
        soon forgotten. Elsewhere they stand as in the long run a level does between empty and full
        that drifts by a year's surplus and spreads by its variance: with a density that goes with
        exp(2 drift x / variance) (reflected Brownian motion; from memory).
        """
        steps = 2 * self.drift * self.width / self.variance[self.case]
        rise = np.cumsum(steps)
        # logarithms within each case, none of them above nought
        first = np.repeat(rise[self.starts] - steps[self.starts], self.sizes)
        rise = rise - first
        total = rise[self.starts + self.levels]
        most = np.maximum.reduceat(rise, self.starts)
        density = np.exp(np.maximum(rise - most[self.case], -700.0))
        density[density < FAINT] = 0.0
        density /= self.by_case(density)[self.case]
        full = self.place == self.levels[self.case]
        at_full = (total > STEEP) | ((self.fading > SOON) & (total > -STEEP))
        return np.asarray(self.chances * np.where(at_full[self.case], full, density))

    @property
    def more_to_come(self) -> Array:
        """How often what changed in a year is still to come, at least once, (B,) counts."""
        return np.asarray(np.maximum(1 / np.expm1(np.minimum(self.fading, 700.0)), 1.0))

    @property
    def fading(self) -> Array:
        """By how much a year makes the logarithm of the slowest change less, (B,) a count: of a
        level that drifts and spreads by variance (pi/store)^2/2 + drift^2/(2 variance), or as it is
        drawn back to where harvest and load balance."""
        least = np.minimum.reduceat(np.abs(self.drift), self.starts)
        low, high = self.drift[self.starts], self.drift[self.starts + self.levels]
        least = np.where(low * high < 0, 0.0, least)
        spreads = self.variance * (np.pi / self.store) ** 2 / 2 + least**2 / (2 * self.variance)
        return np.asarray(np.maximum(spreads, (low - high) / self.store))

    def onward(self, p: Array, change: Array, before: list[tuple[Array, Array]]) -> Array:
        """Chances (K, T) to begin the next year with, nearer to what ends as it began than p, with
        which a year ends that changed as much, (K, T) both: of `before`, the same of earlier years,
        the mixture with p, case by case, whose change is least in the mean square (Anderson's
        process, J. ACM 12 (1965) 547; from memory). A year is linear in what it begins with, so a
        mixture of years changes by the mixture of their changes."""
        apart = [change - its for _, its in before]
        on = np.stack([self._dot(one, change) for one in apart], axis=1)
        by = np.stack([np.stack([self._dot(a, b) for b in apart], axis=1) for a in apart], axis=2)
        size = np.sqrt(np.maximum(np.einsum("bii->bi", by), TINY))
        by /= size[:, :, None] * size[:, None, :]
        shares = np.linalg.pinv(by, rcond=APART, hermitian=True) @ (on / size)[:, :, None]
        shares = shares[:, :, 0] / size
        there = p.copy()
        for share, (end, _) in zip(shares.T, before, strict=True):
            there -= share[self.case] * (p - end)
        np.maximum(there, 0.0, out=there)
        return np.asarray(there / self.by_case(there.sum(axis=0))[self.case])

    def _dot(self, one: Array, other: Array) -> Array:
        """Sums of products of (K, T) over classes and the levels of each case, (B,)."""
        return self.by_case(np.einsum("kt,kt->t", one, other))

    def _year_by_level(self) -> tuple[Array, Array]:
        """By how much a year's harvest passes its load at each level, (T,), and the variance of the
        harvest, (B,); days of load, and their square."""
        busy = (1 - self.idle) * self.steps
        chances, values = self._chances(self.starts), self.values.T
        mean, apart = ((chances * of).sum(axis=0) for of in (values, values**2))
        keep = self.persistence[self.starts]
        runs = (1 + keep) / (1 - keep)
        variance = (apart - mean**2) * runs * (self.cover**2 * busy).sum(axis=1)
        surplus = (self.cover * busy).sum(axis=1)[self.case] - self.steps.sum() * self._load(self.x)
        return surplus, np.maximum(variance, LEAST_VARIANCE)

    def by_case(self, values: Array) -> Array:
        """Sums of (T,) over the levels of each case, (B,) shares."""
        return np.add.reduceat(values, self.starts)

    def year(self, p: Array) -> tuple[Array, dict[str, Array]]:
        """(chances a year later, (K, T); what comes on the way, (B, 12) each of `TOLD_OF`); from
        chances (K, T), shares."""
        found = {name: np.zeros(self.cover.shape) for name in TOLD_OF}
        for m in self.months:
            for days, lit in self._month(m):
                at_dawn = np.asarray((p > 0).any(axis=0))
                alike = self.known.get((m, days.start))
                if alike is None or (at_dawn & ~alike.begun).any():
                    begun = self._about(at_dawn if alike is None else at_dawn | alike.begun)
                    alike = self._alike(self.cover[:, m] * lit, len(days), begun)
                    self.known[m, days.start] = alike
                p = self._gone(p, alike, len(days), found, m)
        found["lacks"] /= self.beyond[:, None]
        found["square"] /= self.beyond[:, None] ** 2
        return p, found

    def _gone(self, p: Array, alike: _Alike, days: int, found: dict[str, Array], m: int) -> Array:
        """Chances (K, T) behind so many days that are alike; what comes on them is added to that of
        their month."""
        at = alike.levels
        part, total = p.take(at, axis=1), np.zeros((len(p), len(at)))
        keep = self.persistence[at]
        fresh = (1 - keep) * self._chances(at)
        more = np.empty_like(total)
        for _ in range(days):
            total += part
            part = (alike.move @ part.reshape(-1)).reshape(part.shape)
            whole = part.sum(axis=0)
            part *= keep
            part += np.multiply(fresh, whole, out=more)
        # what hardly ever comes would have to be followed through all that it may come to
        part *= part.sum(axis=0) > GONE
        p = np.zeros_like(p)
        p[:, at] = part
        total /= self.steps[m]
        level = self._by_level(total.sum(axis=0), at)
        found["level"][:, m] += self.by_case(self.x * level) / self.most
        its = self.low[at]
        low, at_low = total.compress(its, axis=1), at[its]
        for name, one in zip(BY_CLASS, alike.told, strict=True):
            if name in BY_LOW:
                sums = self._by_level(np.einsum("kt,kt->t", one, low), at_low)
                found[name][:, m] += np.add.reduceat(sums[self.low], self.low_starts)
            else:
                sums = self._by_level(np.einsum("kt,kt->t", one, total), at)
                found[name][:, m] += self.by_case(sums)
        lacks = alike.told[0]
        square = np.einsum("kt,kt,kt->t", lacks, lacks, total)
        found["square"][:, m] += self.by_case(self._by_level(square, at))
        return p

    def _chances(self, at: NDArray[np.intp]) -> Array:
        """Chances of the classes of days at some levels, (K, L) or (K, 1) shares."""
        return self.chances if self.chances.shape[1] == 1 else self.chances.take(at, axis=1)

    def _by_level(self, values: Array, at: NDArray[np.intp]) -> Array:
        """Values of some levels among none at the others, (T,), shares or days."""
        out = np.zeros(len(self.x))
        out[at] = values
        return out

    def _month(self, m: int) -> list[tuple[range, Array]]:
        """A month's days that are alike, in order: which; how much of them is lit, (B,) shares."""
        steps = int(self.steps[m])
        # idle days come first; the one in which they end is lit for the rest of it
        begun = np.arange(1, steps + 1)[:, None] - self.idle[:, m] * steps
        lit = np.clip(begun, 0.0, 1.0)
        changes = np.flatnonzero((np.diff(lit, axis=0) != 0).any(axis=1)) + 1
        bounds = [0, *(int(c) for c in changes), steps]
        return [(range(start, end), lit[start]) for start, end in pairwise(bounds)]

    def _alike(self, cover: Array, days: int, begun: NDArray[np.bool_]) -> _Alike:
        """So many days of a mean harvest (B,) from some levels (T,) on."""
        from scipy.sparse import csc_matrix

        harvest = cover[:, None] * self._narrowed(cover)
        bright, to = self._dawn(harvest.T.take(self.case, axis=1))
        to = to / self.width
        at = self._reached(begun, to.min(axis=0), to.max(axis=0), days)
        number = np.zeros(len(self.x), dtype=np.int32)
        number[at] = np.arange(len(at))
        case = self.case[at]
        low, share, unserved = self._split(to.take(at, axis=1), self.width[at])
        rows = np.empty((*share.shape, 2), dtype=np.int32)
        first, top = self.starts[case], self.levels[case]
        for k in (0, 1):
            rows[..., k] = number[first + np.minimum(np.maximum(low + k, 0), top)]
        rows += np.arange(len(share), dtype=np.int32)[:, None, None] * len(at)
        moved = np.empty(rows.shape)
        np.subtract(1, share, out=moved[..., 0])
        moved[..., 1] = share
        size = share.size
        ends = np.arange(0, 2 * size + 1, 2, dtype=np.int32)
        move = csc_matrix((moved.reshape(-1), rows.reshape(-1), ends), shape=(size, size))
        bright = bright.take(at, axis=1)
        bright -= self.store[case]
        over = np.maximum(bright, 0.0)
        lacks = np.clip(np.negative(bright, out=bright), 0.0, self.beyond[case])
        its = self.low[at]
        at_low, few = at[its], unserved.compress(its, axis=1)
        return _Alike(
            levels=at,
            begun=begun,
            move=move,
            told=(
                lacks,
                np.sign(over),
                over / (over + self.to_fill[at]),
                self._lost(cover[self.case[at_low]], at_low),
                few,
                np.sign(few),
                np.minimum(few, self.load.night or HALF),
            ),
        )

    def _about(self, there: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """From the lowest to the highest of some levels of each case, and those next to them, (T,)
        both: the year after begins at hardly any others."""
        at = np.arange(len(there))
        low = np.minimum.reduceat(np.where(there, at, len(there)), self.starts) - BESIDE
        high = np.maximum.reduceat(np.where(there, at, 0), self.starts) + BESIDE
        return np.asarray((at >= low[self.case]) & (at <= high[self.case]))

    def _reached(
        self, begun: NDArray[np.bool_], least: Array, most: Array, days: int
    ) -> NDArray[np.intp]:
        """Levels, of T, that stores may come to in so many days: from those at which they begin,
        and on each day from the lowest to the highest to which any of those between leads; of each
        the `least` and the `most` that it leads to, by steps of the grid."""
        first, top = self.starts[self.case], self.levels[self.case]
        below, above = (
            first + np.clip(_step(to) + k, 0, top) for k, to in enumerate((least, most))
        )
        # no less than from any level above, no more than from any below
        below = np.minimum.accumulate(below[::-1])[::-1]
        above = np.maximum.accumulate(above)
        low = np.where(begun, np.arange(len(begun)), len(begun))
        low = np.minimum.reduceat(low, self.starts)
        high = np.maximum.reduceat(np.where(begun, np.arange(len(begun)), 0), self.starts)
        ends = np.zeros(len(begun) + 1, dtype=np.intp)
        for _ in range(days):
            before = low, high
            low, high = below[low], above[high]
            ends[low] += 1
            ends[high + 1] -= 1
            if (low == before[0]).all() and (high == before[1]).all():
                break
        there = begun | (np.cumsum(ends[:-1]) > 0)
        # sums over a single one would go in another order
        there[:2] = True
        return np.flatnonzero(there)

    def _narrowed(self, cover: Array) -> Array:
        """Harvests over their mean (B, K), nearer to it by the variance that splitting between two
        levels adds: a sixth of a step's square, on each day anew; cover (B,) loads of a day."""
        if self.spread is None:
            return self.values
        keep = self.persistence[self.starts]
        step = self.store / self.levels
        with np.errstate(divide="ignore", invalid="ignore"):
            added = step**2 / 6 * (1 - keep) / (1 + keep) / (cover * self.spread) ** 2
        less = np.sqrt(1 - np.clip(np.where(cover > 0, added, 0.0), 0.0, MOST_ADDED))
        return np.asarray(1 + (self.values - 1) * less[:, None])

    def _load(self, x: Array) -> Array:
        """The load of a day of which the store holds x (..., T) on average, in mean ones."""
        return self.load.at(np.clip(x / self.store[self.case], 0.0, 1.0), self.case)

    def _dawn(self, harvest: Array) -> tuple[Array, Array]:
        """Where days of harvests (..., T) come to at dusk and at the next dawn, below nothing and
        beyond a full store too, by the levels at dawn; the same where a night is set aside."""
        x, whole, night = self.x, self.store[self.case], self.load.night
        bright = x + harvest
        dusk = bright - (1 - night) * self._load(x)
        for _ in range(self.load.rounds):
            dusk = bright - (1 - night) * self._load((x + dusk) / 2)
        if not night:
            return np.asarray(dusk), np.asarray(dusk)
        bright, dusk = dusk, np.minimum(dusk, whole)
        dawn = dusk - night * self._load(dusk)
        for _ in range(self.load.rounds):
            dawn = dusk - night * self._load((dusk + dawn) / 2)
        return np.asarray(bright), np.asarray(dawn)

    def _short(self) -> Array:
        """What a day has to bring at least for the load to be carried, (T,), by the levels."""
        if not self.load.night:
            # what ends the day just empty
            return np.asarray(self._load(self.x / 2) - self.x)
        night, whole = self.load.night, self.store[self.case]
        dusk = night * self._load(np.zeros(len(self.x)))
        for _ in range(MIDDLE):
            dusk = night * self._load(dusk / 2)
        short = dusk - self.x + (1 - night) * self._load((self.x + dusk) / 2)
        return np.asarray(np.where(dusk > whole, NEVER, short))

    def _split(self, to: Array, width: Array) -> tuple[NDArray[np.intp], Array, Array]:
        """Of where days come to (K, L), by steps of the grid of a width (L,), days of load: the
        level below, the share that goes above it, and what is lacking there; (K, L) each."""
        low = _step(to)
        part = np.clip(to - low, 0.0, 1.0)
        gone = np.maximum(-low, 0) * (1 - part) + np.maximum(-low - 1, 0) * part
        return low, part, gone * width

    def _lost(self, cover: Array, at: NDArray[np.intp]) -> Array:
        """Chance that the load is not carried, by class and each of some levels, on a day of a mean
        harvest of as many, days of load."""
        short, case = self.short[at], self.case[at]
        lacking = np.maximum(short, 0.0)
        if self.spread is None:
            return np.asarray((cover * self.values.T[:, case] < lacking - 1e-9) * 1.0)
        from scipy.special import gammainc

        shape = np.maximum(self.spread, NARROW)[case] ** -2.0
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            below = gammainc(shape, np.minimum(shape * lacking / cover, 1e300))
        # with nothing harvested the level tells all: none is lost above what is lacking, and half
        # of a step about it
        dark = np.clip(short / self.width[at] + 0.5, 0.0, 1.0)
        own = self._chances(at)
        first = np.cumsum(own, axis=0) - own
        told = np.clip((below - first) / np.maximum(own, 1e-300), 0.0, 1.0)
        return np.asarray(np.where(cover > 0, np.where(lacking > 0, told, 0.0), dark))


def _step(to: Array) -> NDArray[np.intp]:
    """The level below a place, of any shape, both by steps of the grid."""
    # of what meets a level but for rounding nothing goes to the next
    return np.floor(to + 1e-9).astype(np.intp)
