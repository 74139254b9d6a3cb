"""How often a store that is harvested into runs empty: an exact Markov chain of its level, by day.

A day's harvest is H, its load 1 (all in days of load). At dawn the store holds x, and at the next

    x' = min(S, x + H - 1), no less than 0;   the load is not carried where x + H < 1

with S what is left of the store for that, the nights' load taken off. This is the theory of dams
(Moran, Austral. J. Appl. Sci. 5 (1954) 116; from memory). H has the month's mean and a gamma
distribution of the stated spread, which is not negative; with the chance of `persistence` a day
is as the day before it (discrete autoregression of Jacobs & Lewis, J. Roy. Statist. Soc. B 40
(1978) 94; from memory): any distribution is kept, and correlations are powers of it. On idle days,
such as those too cold to charge, which come independently of it, nothing is harvested.

The level stands on a grid and the day in one of some classes of alike chance, of the exact mean and
spread. What comes between two levels is split over both, which keeps the mean; whether the load is
carried is told by the distribution itself. The year is gone through, from a full store after the
best month, until it ends as it began. A store of many days goes by blocks of days, whose sums are
taken for gamma distributed, with the spread and the correlation that sums of such days have; a
block's lack is as many days as an empty store has of it. Against simulations of spreads to 0.8 and
persistences to 0.7 the share of lost days is within 5 %, mostly 2 %, of itself.

Axes: B cases, K classes of days, T levels of all cases; arrays are shares, means or days of load.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from advisor.model.draws import Array

MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
YEAR_DAYS = 365

CLASSES, FEW = 6, 4  # of days, of alike chance; where days are much alike
PER_DAY, FEWEST, MOST = 2, 16, 120  # levels for a day of load, at least and at most
BLOCKS = ((300.0, 30), (100.0, 10), (50.0, 5), (0.0, 1))  # days of a step, from a store of days on
NARROW = 1e-3  # spread below which all days are alike
SAME = 1e-4  # chance by which a year may end otherwise than it began
YEARS = 12  # after which the answer is that of the last one
# logarithms of cover and of store, and the step between places that are worked out up to there from
# the one before: close where much depends on them
COVER_STEPS = ((-4.0, 0.0), (-0.4, 0.6), (1.6, 0.1), (4.0, 0.5))
STORE_STEPS = ((-4.0, 0.0), (-1.2, 0.5), (4.0, 0.26), (6.3, 0.46))
ALIKE = 0.2  # spread below which places stand closer and classes are fewer
ROUGH = 5  # such steps from one place to the next where leanings are worked out
LEAST_STORE, MOST_STORE = 0.02, 500.0  # days of load
LEAST_COVER, MOST_COVER = 0.02, 50.0
FAR = 6.5  # standard deviations, beyond which nothing comes
NEVER = 1e-9  # chances below it are none
LOWEST = 1e-3  # of a month's mean, to which logarithms of its ratio are held


@dataclass(frozen=True, slots=True)
class Dawns:
    """By month, (B, 12) each: share of days on which the load is not carried; share of the load
    that is not served; mean level at dawn, as a share of the store."""

    lost: Array
    unserved: Array
    level: Array

    def year(self, what: Array) -> Array:
        """(B,) mean over the year of one of them, a share."""
        return np.asarray(what @ MONTH_DAYS / YEAR_DAYS)


@dataclass(frozen=True, slots=True)
class Days:
    """Classes of days: harvest over its mean (B, K), and the chance of each (K,). `spread` (B,) is
    that of the gamma distribution that they stand for; None where there are no others."""

    values: Array
    chances: Array
    spread: Array | None = None


def gamma_days(spread: Array, classes: int = CLASSES) -> Days:
    """Days of gamma distributions of mean 1 and the spreads (B,), in classes of alike chance.

    Each class stands at its own mean, stretched by a power so that all have the exact spread.
    """
    from scipy.special import gammainc, gammaincinv

    found, back = np.unique(np.maximum(spread, NARROW), return_inverse=True)
    shape = found[:, None] ** -2.0
    edges = np.linspace(0.0, 1.0, classes + 1)
    with np.errstate(over="ignore"):
        reached = gammainc(shape + 1, gammaincinv(shape, edges))
    reached[:, -1] = 1.0
    means = np.maximum(np.diff(reached, axis=1) * classes, 1e-12)
    low, high = np.ones(len(found)), np.full(len(found), 4.0)
    for _ in range(50):
        middle = (low + high) / 2
        tried = _to_power(means, middle)
        small = tried.std(axis=1) < found
        low, high = np.where(small, middle, low), np.where(small, high, middle)
    values = _to_power(means, (low + high) / 2)
    return Days(values[back.reshape(-1)], np.full(classes, 1 / classes), np.asarray(spread))


def _to_power(values: Array, power: Array) -> Array:
    """(B, K) values to powers (B,), of mean 1."""
    raised = values ** power[:, None]
    return np.asarray(raised / raised.mean(axis=1, keepdims=True))


def dawns(
    cover: Array,
    store: Array,
    days: Days,
    persistence: Array,
    idle: Array,
    levels: NDArray[np.intp] | None = None,
    same: float = SAME,
) -> Dawns:
    """How B stores fare over the year, in the long run.

    Parameters
    ----------
    cover : (B, 12) mean harvest of a day that is not idle, in loads of a day. store : (B,) days of
    load. persistence : (B,). idle : (B, 12) share of idle days. levels : (B,) steps of the grid,
    from the store when absent. same : chance by which a year may end otherwise than it began.
    """
    out = Dawns(*(np.full(cover.shape, np.nan) for _ in range(3)))
    left = np.ones(len(store), dtype=bool)
    if days.spread is not None and levels is None:
        left = ~_surely(out, cover * (1 - idle), store, days.spread, persistence, idle)
    for least, block in BLOCKS:
        of = np.flatnonzero(left & (store >= least)) if days.spread is not None else ()
        if block > 1 and len(of):
            left[of] = False
            cases = Days(days.values[of], days.chances, days.spread[of])
            some = _by_block(block, cover[of], store[of], cases, persistence[of], idle[of], same)
            for name in ("lost", "unserved", "level"):
                getattr(out, name)[of] = getattr(some, name)
    if levels is None:
        levels = np.clip(np.ceil(PER_DAY * store), FEWEST, MOST).astype(np.intp)
    steps = MONTH_DAYS
    _settle(out, np.flatnonzero(left), (cover, store, days, persistence, idle, levels, steps), same)
    return out


def _surely(
    out: Dawns, lit: Array, store: Array, spread: Array, persistence: Array, idle: Array
) -> NDArray[np.bool_]:
    """Fill in the rows (B,) whose store no year can empty, nor draw down for good; which they are.

    lit : (B, 12) mean harvest. The store holds what the mean year draws it down and `FAR` standard
    deviations of a year's sum, and the year's surplus is as many of them.
    """
    runs = (1 + persistence) / (1 - persistence)
    odd = idle / (1 - np.minimum(idle, 0.99))
    square = lit**2 * (spread[:, None] ** 2 * runs[:, None] + odd * (1 + spread[:, None] ** 2))
    deviation = np.sqrt(square @ MONTH_DAYS)
    twice = np.tile((lit - 1) * MONTH_DAYS, 2)
    path = np.concatenate([np.zeros((len(store), 1)), np.cumsum(twice, axis=1)], axis=1)
    down = (np.maximum.accumulate(path, axis=1) - path)[:, 12:]
    enough = FAR * deviation
    sure = (store > down.max(axis=1) + enough) & (path[:, 12] > enough)
    out.lost[sure] = out.unserved[sure] = 0.0
    mean = (down[:, :-1] + down[:, 1:]) / 2
    out.level[sure] = 1 - (mean / store[:, None])[sure]
    return np.asarray(sure)


def _by_block(
    block: int,
    cover: Array,
    store: Array,
    days: Days,
    persistence: Array,
    idle: Array,
    same: float,
) -> Dawns:
    """The same by blocks of days, months of thirty days; arrays as for `dawns`."""
    from scipy.special import gammainc

    assert days.spread is not None
    spread = np.maximum(days.spread, NARROW)
    lag = np.arange(1, block)
    runs = block + 2 * ((block - lag) * persistence[:, None] ** lag).sum(axis=1)
    odd = (idle / (1 - np.minimum(idle, 0.99))).max(axis=1) * (1 + spread**2) * block
    square = spread**2 * runs + odd
    ends = persistence * ((1 - persistence**block) / (1 - persistence)) ** 2
    lit = cover * (1 - idle)
    levels = np.clip(np.ceil(PER_DAY * store / block), FEWEST, MOST).astype(np.intp)
    steps = np.full(12, 30 // block)
    wide = gamma_days(np.sqrt(square) / block, len(days.chances))
    blocks = (
        lit,
        store / block,
        wide,
        spread**2 * ends / square,
        np.zeros(idle.shape),
        levels,
        steps,
    )
    found = Dawns(*(np.full(cover.shape, np.nan) for _ in range(3)))
    _settle(found, np.arange(len(store)), blocks, same)
    # of an empty store a day is lost where it brings less than the load, and lacks the rest of it
    shape = spread[:, None] ** -2.0
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        edge = np.minimum(shape / cover, 1e300)
        below, part = gammainc(shape, edge), gammainc(shape + 1, edge)
    below, part = (np.where(cover > 0, one, 1.0) for one in (below, part))
    lacking = idle + (1 - idle) * np.maximum(below - cover * part, 0.0)
    often = idle + (1 - idle) * below
    with np.errstate(divide="ignore", invalid="ignore"):
        each = np.where(lacking > 0, often / lacking, 1.0)
    lost = np.minimum(found.unserved * np.maximum(each, 1.0), 1.0)
    return Dawns(lost, found.unserved, found.level)


_Case = tuple[Array, Array, Days, Array, Array, NDArray[np.intp], NDArray[np.int_]]


def _settle(out: Dawns, left: NDArray[np.intp], cases: _Case, same: float) -> None:
    """Fill in the rows `left` of an answer: year by year, until each ends as it began."""
    state: Array | None = None
    years = 0
    while len(left):
        chain = _Chain(*cases, left)
        p = chain.full() if state is None else state
        open_ones = np.ones(len(left), dtype=bool)
        # what is settled goes along until it is most
        while 2 * open_ones.sum() > len(left):
            years += 1
            begun = p
            p, found = chain.year(p)
            settled = chain.by_case(np.abs(p - begun).sum(axis=0)) <= same
            now = open_ones & (settled | (years >= YEARS))
            for name in ("lost", "unserved", "level"):
                getattr(out, name)[left[now]] = getattr(found, name)[now]
            open_ones &= ~now
        state = p[:, np.repeat(open_ones, chain.sizes)]
        left = left[open_ones]


class _Chain:
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
        of: NDArray[np.intp],
    ) -> None:
        self.steps = steps
        self.cover, self.store, self.idle = cover[of], store[of], idle[of]
        self.levels = levels[of]
        self.sizes = self.levels + 1
        self.starts = np.concatenate([[0], np.cumsum(self.sizes)[:-1]])
        self.case = np.repeat(np.arange(len(of)), self.sizes)
        self.place = np.arange(int(self.sizes.sum())) - self.starts[self.case]
        self.width = (self.store / self.levels)[self.case]
        self.x = self.place * self.width
        self.values = days.values[of]
        self.chances = days.chances
        self.spread = None if days.spread is None else days.spread[of]
        self.persistence = persistence[of][self.case]
        # from a full store after the best month
        best = (self.cover * (1 - self.idle)).sum(axis=0).argmax()
        self.months = [(int(best) + 1 + m) % 12 for m in range(12)]
        self.moves = [self._month(m) for m in range(12)]

    def full(self) -> Array:
        """Full stores, (K, T)."""
        return np.asarray(self.chances[:, None] * (self.place == self.levels[self.case]))

    def by_case(self, values: Array) -> Array:
        """Sums of (T,) over the levels of each case, (B,)."""
        return np.add.reduceat(values, self.starts)

    def year(self, p: Array) -> tuple[Array, Dawns]:
        """(chances a year later, (K, T); what comes on the way), from chances (K, T)."""
        shape = self.cover.shape
        found = Dawns(*(np.zeros(shape) for _ in range(3)))
        keep = self.persistence
        alike = bool((self.chances == self.chances[0]).all())
        # classes of the same chance get the same
        fresh = (1 - keep) * (self.chances[0] if alike else self.chances[:, None])
        for m in self.months:
            move, lost, unserved = self.moves[m]
            total = np.zeros_like(p)
            for _ in range(self.steps[m]):
                total += p
                p = (move @ p.reshape(-1)).reshape(p.shape)
                whole = p.sum(axis=0)
                p *= keep
                p += fresh * whole
            total /= self.steps[m]
            found.lost[:, m] = self.by_case((lost * total).sum(axis=0))
            found.unserved[:, m] = self.by_case((unserved * total).sum(axis=0))
            found.level[:, m] = self.by_case(self.x * total.sum(axis=0)) / self.store
        return p, found

    def _month(self, m: int) -> tuple[object, Array, Array]:
        """A month's moves between levels, a sparse matrix; where the load is not carried, (K, T);
        what is not served, (K, T) days of load."""
        from scipy.sparse import csc_matrix

        lit = [self._split(self.cover[:, m, None] * self.values)]
        idle = self.idle[:, m][self.case]
        shares = [1 - idle]
        if self.idle[:, m].any():
            lit.append(self._split(np.zeros_like(self.values)))
            shares.append(idle)
        rows, weights = [], []
        unserved = np.zeros((len(self.chances), len(self.x)))
        for (low, part, gone), share in zip(lit, shares, strict=True):
            top = self.levels[self.case]
            base = np.arange(len(self.chances))[:, None] * len(self.x) + self.starts[self.case]
            rows += [base + np.clip(low, 0, top), base + np.clip(low + 1, 0, top)]
            weights += [share * (1 - part), share * part]
            unserved += share * gone
        size = unserved.size
        several = len(rows)
        move = csc_matrix(
            (
                np.stack(weights, axis=-1).ravel(),
                np.stack(rows, axis=-1).ravel(),
                np.arange(0, several * size + 1, several),
            ),
            shape=(size, size),
        )
        lost = shares[0] * self._lost(m)
        if len(shares) > 1:
            lost = lost + idle * np.clip((1 - self.x) / self.width + 0.5, 0.0, 1.0)
        return move, lost, unserved

    def _split(self, harvest: Array) -> tuple[NDArray[np.intp], Array, Array]:
        """Of harvests (B, K) in days of load: the level below where each comes to, the share that
        goes above it, and what is lacking there; (K, T) each."""
        to = self.place + ((harvest.T - 1)[:, self.case]) / self.width
        # of what meets a level but for rounding nothing goes to the next
        low = np.floor(to + 1e-9)
        part = np.clip(to - low, 0.0, 1.0)
        gone = np.maximum(-low, 0) * (1 - part) + np.maximum(-low - 1, 0) * part
        return low.astype(np.intp), part, gone * self.width

    def _lost(self, m: int) -> Array:
        """Chance that the load is not carried, by class and level, (K, T), on a day not idle."""
        cover = self.cover[:, m][self.case]
        lacking = np.maximum(1 - self.x, 0.0)
        if self.spread is None:
            return np.asarray((cover * self.values.T[:, self.case] < lacking - 1e-9) * 1.0)
        from scipy.special import gammainc

        shape = np.maximum(self.spread, NARROW)[self.case] ** -2.0
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            below = gammainc(shape, np.minimum(shape * lacking / cover, 1e300))
        below = np.where(lacking > 0, np.where(cover > 0, below, 1.0), 0.0)
        first = np.arange(len(self.chances))[:, None]
        return np.clip(below * len(self.chances) - first, 0.0, 1.0)


@dataclass(frozen=True, slots=True)
class Fared:
    """How stores fare, of any shape: share of days on which the load is not carried, share of the
    load that is not served, mean level at dawn as a share of the store."""

    lost: Array
    unserved: Array
    level: Array


class Service:
    """The chain's answers for one pattern of months, over the year's mean cover and the store.

    The probit of lost days is nearly linear in the logarithms of both, so it is worked out at
    places of a lattice that do not depend on what is asked, each when first asked for, and in
    between it is linear.
    """

    def __init__(
        self, shape: tuple[float, ...], spread: float, persistence: float, idle: tuple[float, ...]
    ) -> None:
        self.shape, self.idle = np.array(shape), np.array(idle)
        self.spread, self.persistence = spread, persistence
        self.classes = CLASSES if spread >= ALIKE else FEW
        self.fine = _Lattice(min(max(spread / ALIKE, 0.25), 1.0))
        self.rough = _Lattice(ROUGH)
        self._fine: dict[tuple[int, int], tuple[float, float, float]] = {}
        self._coarse: dict[tuple[int, int], Array] = {}

    def at(self, cover: Array, store: Array) -> Fared:
        """How stores fare where the mean harvest of the year, idle days included, is `cover` loads
        of a day and the store `store` of them, of one shape."""
        from scipy.special import ndtr

        cell = _Cell(cover, store, self.fine)
        self._work_out([c for c in cell.corners if c not in self._fine])
        probit, unserved, level = (
            cell.between({c: self._fine[c][i] for c in cell.corners}) for i in range(3)
        )
        lost = ndtr(probit)
        lost = np.where(lost < 2 * NEVER, 0.0, np.where(lost > 1 - 2 * NEVER, 1.0, lost))
        # a store that does not last a night never serves a day; where nothing comes, none either
        none = (store <= 0) | (cover <= 0)
        return Fared(
            lost=np.where(none, 1.0, lost),
            unserved=np.where(cover <= 0, 1.0, np.clip(unserved, 0.0, 1.0)),
            level=np.where(none, 0.0, level),
        )

    def lean(
        self, cover: Array, store: Array, months: Array, spread: Array, persistence: Array
    ) -> tuple[Array, Array]:
        """What differs from the pattern, at places (R, N), to the first order: the logarithm to add
        to the cover for months that bring more, by theirs (12, N); the probit to add to lost days
        for more spread and more persistence, (N,). (R, N) each, of no unit."""
        cell = _Cell(cover, store, self.rough)
        self._lean_out([c for c in cell.corners if c not in self._coarse])

        def told(i: int) -> Array:
            return cell.between({c: float(self._coarse[c][i]) for c in cell.corners})

        moved, more = np.zeros(cover.shape), np.zeros(cover.shape)
        for m in range(12):
            if months[m].any():
                moved += told(m) * months[m]
        for i, by in ((12, spread), (13, persistence)):
            if by.any():
                more += told(i) * by
        return moved, more

    def know(self, cover: Array, store: Array, leaning: bool = False) -> None:
        """Work out at once what `at`, or `lean`, takes for these places, of one shape."""
        if leaning:
            cell = _Cell(cover, store, self.rough)
            self._lean_out([c for c in cell.corners if c not in self._coarse])
        else:
            cell = _Cell(cover, store, self.fine)
            self._work_out([c for c in cell.corners if c not in self._fine])

    def by_month(self, cover: float, store: float) -> Dawns:
        """How one store fares month by month, (1, 12)."""
        one = np.ones(1)
        return dawns(
            cover * self._lit[None],
            np.clip(store, LEAST_STORE, MOST_STORE) * one,
            gamma_days(self.spread * one, self.classes),
            self.persistence * one,
            self.idle[None],
        )

    @property
    def _lit(self) -> Array:
        """Mean harvest of days that are not idle, (12,), for a mean of 1 over the year."""
        busy = 1 - self.idle
        mean = (self.shape * busy) @ MONTH_DAYS / YEAR_DAYS
        return self.shape / mean if mean > 0 else self.shape

    def _work_out(self, places: list[tuple[int, int]]) -> None:
        if not places:
            return
        count = np.ones(len(places))
        cover, store = self.fine.values(places)
        found = dawns(
            cover[:, None] * self._lit,
            store,
            gamma_days(self.spread * count, self.classes),
            self.persistence * count,
            np.broadcast_to(self.idle, (len(places), 12)),
        )
        probit = _probit(found.year(found.lost))
        rest = zip(probit, found.year(found.unserved), found.year(found.level), strict=True)
        self._fine.update(
            (place, (float(z), float(u), float(x)))
            for place, (z, u, x) in zip(places, rest, strict=True)
        )

    def _lean_out(self, places: list[tuple[int, int]]) -> None:
        """Differences by each month's harvest, the spread and the persistence, on a rough grid."""
        if not places:
            return
        more, wider, longer = 0.1, 0.1, 0.05
        cases = len(places)
        cover, store = self.rough.values(places)
        lit = np.repeat(cover[:, None] * self._lit, 15, axis=0).reshape(cases, 15, 12)
        lit[:, np.arange(1, 13), np.arange(12)] *= np.exp(more)
        spread, persistence = np.full((cases, 15), self.spread), np.full((cases, 15), 0.0)
        persistence += self.persistence
        spread[:, 13] += wider
        persistence[:, 14] = min(self.persistence + longer, 0.97)
        found = dawns(
            lit.reshape(-1, 12),
            np.repeat(store, 15),
            gamma_days(spread.ravel(), 6),
            persistence.ravel(),
            np.broadcast_to(self.idle, (15 * cases, 12)),
            np.clip(np.ceil(2 * np.repeat(store, 15)), FEWEST, MOST // 4).astype(np.intp),
        )
        z = _probit(found.year(found.lost)).reshape(cases, 15)
        months = np.maximum(z[:, :1] - z[:, 1:13], 0.0)
        mean = self._lit * (1 - self.idle) * MONTH_DAYS / YEAR_DAYS
        total = months.sum(axis=1, keepdims=True)
        # where nothing is ever lost, or all, each month counts by what it brings
        weight = np.where(total > 0.01, months / np.where(total > 0, total, 1.0), mean)
        weight /= weight.sum(axis=1, keepdims=True)
        step = persistence[:, 14] - self.persistence
        beside = np.stack([(z[:, 13] - z[:, 0]) / wider, (z[:, 14] - z[:, 0]) / step], axis=1)
        for place, row in zip(places, np.concatenate([weight, beside], axis=1), strict=True):
            self._coarse[place] = row


@lru_cache(maxsize=64)
def service(
    shape: tuple[float, ...], spread: float, persistence: float, idle: tuple[float, ...]
) -> Service:
    """The answers for months of this shape (of any mean), spread, persistence and shares of idle
    days, those that are known among them."""
    return Service(shape, spread, persistence, idle)


def shifted(chance: Array, more: Array) -> Array:
    """Chances (of any shape) with something more (broadcasting) on their probits; none and one
    stay."""
    if not more.any():
        return chance
    from scipy.special import ndtr, ndtri

    there = (chance > 0) & (chance < 1)
    return np.asarray(np.where(there, ndtr(ndtri(np.where(there, chance, 0.5)) + more), chance))


def _probit(chance: Array) -> Array:
    from scipy.special import ndtri

    return np.asarray(ndtri(np.clip(chance, NEVER, 1 - NEVER)))


class _Lattice:
    """Places of a lattice over the logarithms of cover and store, numbered along each."""

    def __init__(self, step: float) -> None:
        self.axes = [_numbered(of, step) for of in (COVER_STEPS, STORE_STEPS)]

    def numbers(self, cover: Array, store: Array) -> tuple[Array, Array]:
        """Where covers and stores (any shape) lie, in numbers of places along each."""
        u = np.log(np.clip(np.nan_to_num(cover), LEAST_COVER, MOST_COVER))
        v = np.log(np.clip(np.nan_to_num(store), LEAST_STORE, MOST_STORE))
        (at_u, n_u), (at_v, n_v) = self.axes
        return np.interp(u, at_u, n_u), np.interp(v, at_v, n_v)

    def values(self, places: list[tuple[int, int]]) -> tuple[Array, Array]:
        """Covers and stores (B,) of some places."""
        i, j = np.array(places, dtype=float).T
        (at_u, n_u), (at_v, n_v) = self.axes
        return np.exp(np.interp(i, n_u, at_u)), np.exp(np.interp(j, n_v, at_v))


def _numbered(steps: Sequence[tuple[float, float]], step: float) -> tuple[Array, Array]:
    """Ends of the parts of an axis, and their numbers: whole steps, as long as told or shorter."""
    at = np.array([end for end, _ in steps])
    counts = [
        np.ceil((b - a) / (s * step) - 1e-9) for a, (b, s) in zip(at, steps[1:], strict=False)
    ]
    return at, np.concatenate([[0.0], np.cumsum(counts)])


class _Cell:
    """The cell of a lattice of logarithms that each of some places lies in."""

    def __init__(self, cover: Array, store: Array, lattice: _Lattice) -> None:
        u, v = lattice.numbers(cover, store)
        self.i, self.j = np.floor(u).astype(np.intp), np.floor(v).astype(np.intp)
        self.s, self.t = u - self.i, v - self.j
        self.low = int(self.i.min()), int(self.j.min())
        wide = int(self.j.max()) - self.low[1] + 1
        keys = np.unique((self.i - self.low[0]) * wide + self.j - self.low[1])
        cells = [(int(k) // wide + self.low[0], int(k) % wide + self.low[1]) for k in keys]
        self.corners = sorted({(i + a, j + b) for i, j in cells for a in (0, 1) for b in (0, 1)})

    def between(self, values: dict[tuple[int, int], float]) -> Array:
        """Values of the corners between them, of the places' shape."""
        places = np.array(list(values)) - self.low
        table = np.full(places.max(axis=0) + 1, np.nan)
        table[places[:, 0], places[:, 1]] = list(values.values())
        i, j = self.i - self.low[0], self.j - self.low[1]
        near = table[i, j] * (1 - self.t) + table[i, j + 1] * self.t
        far = table[i + 1, j] * (1 - self.t) + table[i + 1, j + 1] * self.t
        return np.asarray(near * (1 - self.s) + far * self.s)
