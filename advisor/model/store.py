"""How often a store that is harvested into runs empty: an exact Markov chain of its level, by day.

A day's harvest is H, its load 1 (all in days of load). At dawn the store holds x, and at the next

    x' = min(S, x + H - 1), no less than 0;   the load is not carried where x + H < 1

Where constant currents are taken straight from the store the load goes with its voltage, 1 - k for
an empty and 1 + k for a full one, straight over its charge: so over what it holds of energy, x/S,

    L = sqrt((1 - k)^2 + 4 k x/S)

and a day takes L in the middle between the two dawns, 1 where k is 0. Any other L is told as a
table over all that the store holds, nights included. A day then goes by its sun, up to a full
store, and its night, n of the day, each with L in its middle:

    e = min(S, x + H - (1 - n) L((x + e)/2)),    x' = e - n L((e + x')/2)

S is what is left of the store for that, the nights' load taken off. This is the theory of dams
(Moran, Austral. J. Appl. Sci. 5 (1954) 116; from memory). H has the month's mean and a gamma
distribution of the stated spread, which is not negative; with the chance of `persistence` a day
is as the day before it (discrete autoregression of Jacobs & Lewis, J. Roy. Statist. Soc. B 40
(1978) 94; from memory): any distribution is kept, and correlations are powers of it. On idle days,
such as those too cold to charge, nothing is harvested; they come as one spell in each month, at its
beginning (common practice, no source).

The level stands on a grid and the day in one of some classes, which keep the distribution's first
moments. What comes between two levels is split over both, which keeps the mean and adds to the
spread, so that days are taken with as much less; whether the load is carried is told by the
distribution itself. The year is gone through, from a full store after the
best month, until it ends as it began. A store of many days goes by blocks of days, whose sums are
taken for gamma distributed, with the spread and the correlation that sums of such days have; a
block's lack is as many days as an empty store has of it. Against simulations of spreads to 0.8 and
persistences to 0.7 the share of lost days is within 5 %, mostly 2 %, of itself.

Axes: B cases, K classes of days, T levels of all cases; arrays are shares, means or days of load.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.draws import Array
from advisor.model.store_load import MIDDLE, STEADY, Load
from advisor.model.weather import NARROW, Days, gamma_days

MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
YEAR_DAYS = 365

BLOCKS = ((300.0, 30), (100.0, 10), (50.0, 5), (0.0, 1))  # days of a step, from a store of days on
TOLD = 100.0  # days of store up to which spells of a month are followed day by day
MOST_ADDED = 0.75  # of the days' variance that is made up for
SAME = 1e-4  # chance by which a year may end otherwise than it began
YEARS = 12  # after which the answer is that of the last one
NEVER = 1e9  # days of load, which no day brings
LEAST_LEFT = 1e-3  # of a store, behind a night
HALF = 0.5  # of a day, the night for which it is told how long stores stand full
FAR = 6.5  # standard deviations, beyond which nothing comes
# of each month: what is told by class of day, of low levels and of all, and what else
BY_LOW = ("lost", "unserved", "emptied", "dark")
BY_CLASS = ("lacks", "filled", "spare", *BY_LOW)
TOLD_OF = ("level", "square", *BY_CLASS)


@dataclass(frozen=True, slots=True)
class Dawns:
    """By month, (B, 12) each: share of days on which the load is not carried; share of the load
    that is not served; mean level at dawn, as a share of the store; what it lacks at dusk, as a
    share of all but a night's load, and the square of that; share of days that fill the store, and
    with it of their light that is left then, were half of the day dark; share of days that empty
    it, and what their nights lack then, were they half of the day, in days of load."""

    lost: Array
    unserved: Array
    level: Array
    lacks: Array
    square: Array
    filled: Array
    spare: Array
    emptied: Array
    dark: Array

    def year(self, what: Array) -> Array:
        """(B,) mean over the year of one of them, a share."""
        return np.asarray(what @ MONTH_DAYS / YEAR_DAYS)


def _blank(shape: tuple[int, ...], value: float) -> Dawns:
    return Dawns(**{name: np.full(shape, value) for name in TOLD_OF})


def dawns(
    cover: Array,
    store: Array,
    days: Days,
    persistence: Array,
    idle: Array,
    levels: NDArray[np.intp] | None = None,
    same: float = SAME,
    load: Load = STEADY,
) -> Dawns:
    """How B stores fare over the year, in the long run.

    Parameters
    ----------
    cover : (B, 12) mean harvest of a day that is not idle, in loads of a day. store : (B,) days of
    load. persistence : (B,). idle : (B, 12) share of idle days. levels : (B,) steps of the grid,
    from the store when absent. same : chance by which a year may end otherwise than it began.
    """
    out = _blank(cover.shape, np.nan)
    left = np.ones(len(store), dtype=bool)
    if days.spread is not None and levels is None:
        left = ~_surely(out, cover, store, days.spread, persistence, idle, load.full)
    for least, block in BLOCKS:
        # spells are followed day by day as far as they tell
        followed = np.where(idle.any(axis=1), TOLD, 0.0)
        if load.table is not None:
            followed = np.full(len(store), BLOCKS[0][0])
        of = np.flatnonzero(left & (store >= np.maximum(least, followed)))
        if block > 1 and len(of) and days.spread is not None:
            left[of] = False
            its = days.of(of)
            its_load = load.of(of)
            beyond = np.maximum(store[of] - its_load.night * its_load.full, 0.0)
            own = cover[of], beyond, its, persistence[of], idle[of]
            some = _by_block(block, *own, same, its_load)
            for name in TOLD_OF:
                getattr(out, name)[of] = getattr(some, name)
    if levels is None:
        levels = load.levels(store)
    steps = MONTH_DAYS
    cases = (cover, store, days, persistence, idle, levels, steps, load)
    _settle(out, np.flatnonzero(left), cases, same)
    return out


def _surely(
    out: Dawns,
    cover: Array,
    store: Array,
    spread: Array,
    persistence: Array,
    idle: Array,
    load: Array,
) -> NDArray[np.bool_]:
    """Fill in the rows (B,) whose store no year can empty, nor draw down for good; which they are.

    cover, idle : (B, 12), as for `dawns`. The store holds what the mean year draws it down, spells
    in it, and `FAR` standard deviations of a year's sum, and the year's surplus is as many of them.
    """
    runs = (1 + persistence) / (1 - persistence)
    busy = (1 - idle) * MONTH_DAYS
    deviation = np.sqrt((cover**2 * spread[:, None] ** 2 * runs[:, None] * busy).sum(axis=1))
    load = load[:, None]
    moves = np.stack([-load * idle * MONTH_DAYS, (cover - load) * busy], axis=2)
    twice = np.tile(moves.reshape(len(store), -1), 2)
    path = np.concatenate([np.zeros((len(store), 1)), np.cumsum(twice, axis=1)], axis=1)
    down = (np.maximum.accumulate(path, axis=1) - path)[:, 24:]
    enough = FAR * deviation
    sure = (store > down.max(axis=1) + enough) & (path[:, 24] > enough)
    for none in (out.lost, out.unserved, out.emptied, out.dark):
        none[sure] = 0.0
    first, last = (down[:, :-1] / store[:, None], down[:, 1:] / store[:, None])
    part = np.stack([idle, 1 - idle], axis=2).reshape(len(store), -1)

    def by_month(values: Array) -> Array:
        parts = part * values
        return np.asarray((parts[:, ::2] + parts[:, 1::2])[sure])

    out.lacks[sure] = by_month((first + last) / 2)
    out.level[sure] = 1 - out.lacks[sure]
    out.square[sure] = by_month((first**2 + first * last + last**2) / 3)
    full = (last <= 0) & (first <= 0) & (moves.reshape(len(store), -1) > 0)
    out.filled[sure] = by_month(full)
    more = np.maximum(cover - load, 0.0)
    out.spare[sure] = out.filled[sure] * (more / (more + HALF * load))[sure]
    return np.asarray(sure)


def _by_block(
    block: int,
    cover: Array,
    store: Array,
    days: Days,
    persistence: Array,
    idle: Array,
    same: float,
    load: Load,
) -> Dawns:
    """The same by blocks of days, months of thirty days; arrays as for `dawns`."""
    from scipy.special import gammainc

    assert days.spread is not None
    spread = np.maximum(days.spread, NARROW)
    lag = np.arange(1, block)
    runs = block + 2 * ((block - lag) * persistence[:, None] ** lag).sum(axis=1)
    square = spread**2 * runs
    ends = persistence * ((1 - persistence**block) / (1 - persistence)) ** 2
    levels = load.levels(store / block)
    steps = np.full(12, 30 // block)
    wide = gamma_days(np.sqrt(square) / block, days.values.shape[1])
    blocks = (
        cover,
        store / block,
        wide,
        spread**2 * ends / square,
        idle,
        levels,
        steps,
        replace(load, night=0.0),
    )
    found = _blank(cover.shape, np.nan)
    _settle(found, np.arange(len(store)), blocks, same)
    # of an empty store a day is lost where it brings less than the load, and lacks the rest of it
    shape = spread[:, None] ** -2.0
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        edge = np.minimum(shape * load.empty[:, None] / cover, 1e300)
        below, part = gammainc(shape, edge), gammainc(shape + 1, edge)
    below, part = (np.where(cover > 0, one, 1.0) for one in (below, part))
    lacking = idle + (1 - idle) * np.maximum(below - cover / load.empty[:, None] * part, 0.0)
    often = idle + (1 - idle) * below
    with np.errstate(divide="ignore", invalid="ignore"):
        each = np.where(lacking > 0, often / lacking, 1.0)
    lost = np.minimum(found.unserved * np.maximum(each, 1.0), 1.0)
    return replace(found, lost=lost, emptied=lost, dark=np.minimum(found.unserved, HALF * lost))


_Case = tuple[Array, Array, Days, Array, Array, NDArray[np.intp], NDArray[np.int_], Load]


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
            for name in TOLD_OF:
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
            self.chances = self.chances[:, self.case]
        self.persistence = persistence[of][self.case]
        self.short = self._short()
        # levels at which a load may not be carried
        self.some = np.flatnonzero(self.short > -self.width / 2)
        self.some_starts = np.searchsorted(self.some, self.starts)
        # what a store holds beyond a night, at dusk, and what a day has to fill, the night with it
        self.beyond = np.maximum(self.store - load.night, self.store * LEAST_LEFT)
        night = 0.0 if load.night else HALF
        self.to_fill = np.maximum(self.store[self.case] - self.x + night, LEAST_LEFT)
        # from a full store after the best month
        best = (self.cover * (1 - self.idle)).sum(axis=0).argmax()
        self.months = [(int(best) + 1 + m) % 12 for m in range(12)]
        self.moves = [self._month(m) for m in range(12)]

    def full(self) -> Array:
        """Chances (shares of 1) of full stores, (K, T)."""
        return np.asarray(self.chances * (self.place == self.levels[self.case]))

    def by_case(self, values: Array) -> Array:
        """Sums of (T,) over the levels of each case, (B,) shares."""
        return np.add.reduceat(values, self.starts)

    def year(self, p: Array) -> tuple[Array, Dawns]:
        """(chances a year later, (K, T); what comes on the way); from chances (K, T), shares."""
        shape = self.cover.shape
        found = _blank(shape, 0.0)
        keep = self.persistence
        fresh = (1 - keep) * self.chances
        for m in self.months:
            for repeats, move, *by_level in self.moves[m]:
                total = np.zeros_like(p)
                for _ in range(repeats):
                    total += p
                    p = (move @ p.reshape(-1)).reshape(p.shape)
                    whole = p.sum(axis=0)
                    p *= keep
                    p += fresh * whole
                total /= self.steps[m]
                found.level[:, m] += self.by_case(self.x * total.sum(axis=0)) / self.most
                low = total[:, self.some]
                for name, one in zip(BY_CLASS, by_level, strict=True):
                    part, starts = (total, self.starts)
                    if name in BY_LOW:
                        part, starts = low, self.some_starts
                    sums = np.einsum("kt,kt->t", one, part)
                    getattr(found, name)[:, m] += np.add.reduceat(sums, starts)
                lacks = by_level[0]
                found.square[:, m] += self.by_case(np.einsum("kt,kt,kt->t", lacks, lacks, total))
        found.lacks[:] /= self.beyond[:, None]
        found.square[:] /= self.beyond[:, None] ** 2
        return p, found

    def _month(self, m: int) -> list[tuple[Any, ...]]:
        """A month's days that are alike, in order: how many; their moves between levels, a sparse
        matrix; what is told by class of day and level, (K, T) each of `BY_CLASS`, what lacks in
        days of load; of `BY_LOW` for the levels of `some` alone."""
        steps = int(self.steps[m])
        # idle days come first; the one in which they end is lit for the rest of it
        begun = np.arange(1, steps + 1)[:, None] - self.idle[:, m] * steps
        lit = np.clip(begun, 0.0, 1.0)
        changes = np.flatnonzero((np.diff(lit, axis=0) != 0).any(axis=1)) + 1
        bounds = [0, *(int(c) for c in changes), steps]
        return [
            (end - start, *self._day(self.cover[:, m] * lit[start]))
            for start, end in pairwise(bounds)
        ]

    def _day(self, cover: Array) -> tuple[Any, ...]:
        """The moves of days of a mean harvest (B,), and what is told of them; see `_month`."""
        from scipy.sparse import csc_matrix

        bright, to = self._dawn((cover[:, None] * self._narrowed(cover)).T[:, self.case])
        low, part, unserved = self._split(to)
        bright = np.array(bright)
        top = self.levels[self.case]
        base = np.arange(len(low))[:, None] * len(self.x) + self.starts[self.case]
        rows = (base + np.clip(low, 0, top), base + np.clip(low + 1, 0, top))
        size = unserved.size
        move = csc_matrix(
            (
                np.stack((1 - part, part), axis=-1).ravel(),
                np.stack(rows, axis=-1).ravel(),
                np.arange(0, 2 * size + 1, 2),
            ),
            shape=(size, size),
        )
        bright -= self.store[self.case]
        over = np.maximum(bright, 0.0)
        lacks = np.clip(np.negative(bright, out=bright), 0.0, self.beyond[self.case])
        lost, few = self._lost(cover[self.case[self.some]]), unserved[:, self.some]
        dark = np.minimum(few, self.load.night or HALF)
        return (
            move,
            lacks,
            np.sign(over),
            over / (over + self.to_fill),
            lost,
            few,
            np.sign(few),
            dark,
        )

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

    def _split(self, to: Array) -> tuple[NDArray[np.intp], Array, Array]:
        """Of where days come to (K, T), days of load: the level below, the share that goes above
        it, and what is lacking there; (K, T) each."""
        to = to / self.width
        # of what meets a level but for rounding nothing goes to the next
        low = np.floor(to + 1e-9)
        part = np.clip(to - low, 0.0, 1.0)
        gone = np.maximum(-low, 0) * (1 - part) + np.maximum(-low - 1, 0) * part
        return low.astype(np.intp), part, gone * self.width

    def _lost(self, cover: Array) -> Array:
        """Chance that the load is not carried, by class and each of `some` levels, on a day of a
        mean harvest of as many, days of load."""
        short, case = self.short[self.some], self.case[self.some]
        lacking = np.maximum(short, 0.0)
        if self.spread is None:
            return np.asarray((cover * self.values.T[:, case] < lacking - 1e-9) * 1.0)
        from scipy.special import gammainc

        shape = np.maximum(self.spread, NARROW)[case] ** -2.0
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            below = gammainc(shape, np.minimum(shape * lacking / cover, 1e300))
        # with nothing harvested the level tells all: none is lost above what is lacking, and half
        # of a step about it
        dark = np.clip(short / self.width[self.some] + 0.5, 0.0, 1.0)
        own = self.chances if self.chances.shape[1] == 1 else self.chances[:, self.some]
        first = np.cumsum(own, axis=0) - own
        told = np.clip((below - first) / np.maximum(own, 1e-300), 0.0, 1.0)
        return np.asarray(np.where(cover > 0, np.where(lacking > 0, told, 0.0), dark))
