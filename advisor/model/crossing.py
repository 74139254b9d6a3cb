"""The first depth at which a margin turns negative: bracketing, then false position.

Of a margin that falls and is V(d) - R(d) g(d), V and R known and straight between places, g alone
is asked for: it hardly bends where V and R do, so a line through its last two values tells the next
place to look at, and half as many looks are enough. A constant power draws more at a lower voltage:
what g would be with the margin at nil bends less still, and has the same root.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from advisor.model.pieces import Array, Index, between, piece_and_share

Margin = Callable[[Array, Index], Array]
Growth = Callable[[Array, Index], Array]

# a depth of 1e-8 is three seconds in ten years; margins are in volts or shares
NARROW = 1e-8
NEAR = 1e-6  # V, by which the last look may miss where a line tells where to look
LEFT = 1e-8  # V, which a line through the last two looks is taken to leave
SURELY = 0.03  # of the miss before it: a look so much closer shows that the line leads there
CLOSE = 1e-3  # V, below nil: what is hardly short is told as it is
LEAST_OHM = 1e-9
MOST = 60  # steps of the search within one bracket


def first_negative(
    margin: Margin,
    grid: Array,
    upto: Array,
    falling: bool,
    near: float = 0.0,
    begun: Array | None = None,
) -> Array:
    """First depth at which a margin turns negative, (M,); infinite where it never does.

    Parameters
    ----------
    margin : of depths (m,) and the indices (m,) of the M cases they belong to.
    grid : (G,) depths to bracket with, from 0; between two of them a margin has at most one sign
        change. upto : (M,) depth of interest.
    falling : whether every margin falls with depth, so that one look at the end tells whether
        there is a crossing and halving finds its bracket.
    near : a margin so small on either side of nil is nil, in its unit. begun : (M,) margins at
        nothing, where they are known.
    """
    out = np.full(upto.shape, np.inf)
    cases = np.arange(len(upto))
    at_end = np.full(len(upto), np.nan)
    if falling:
        at_end = margin(upto, cases)
        cases = cases[at_end < 0]
    start = margin(np.zeros(len(cases)), cases) if begun is None else begun[cases]
    out[cases[start < 0]] = 0.0
    cases, start = cases[start >= 0], start[start >= 0]
    if not cases.size:
        return out
    if falling:
        brackets = _halved(margin, grid, upto, cases, start, at_end[cases])
    else:
        brackets = _scanned(margin, grid, upto, cases, start)
    found, low, high, at_low, at_high = brackets
    out[found] = _root(margin, found, low, high, at_low, at_high, near)
    return out


def first_short(
    margin: Margin, grid: Array, volts: Array, ohms: Array, upto: Array, growth: Growth
) -> Array:
    """`first_negative` of falling margins volts - ohms g, with g to be found.

    Parameters
    ----------
    margin, upto : as there, V and shares of the capacity; less than `CLOSE` below nil a margin has
    to be right, farther below it may be told too great. grid : (G,) depths. volts, ohms : (G, M),
    V and ohm, straight between depths of the grid; no resistance is next to none. growth : of
    margins (m,) and the indices of their cases, about how many times g it would be at no margin.
    """
    out = np.full(upto.shape, np.inf)
    cases = np.arange(len(upto))
    at_high = margin(upto, cases)
    cases, at_high = cases[at_high < 0], at_high[at_high < 0]
    if not cases.size:
        return out
    volts, ohms = volts[:, cases], np.maximum(ohms[:, cases], LEAST_OHM)
    line = _Line(grid, volts, ohms, lambda value, some: growth(value, cases[some]))
    low, high = np.zeros(len(cases)), upto[cases]
    active = np.arange(len(cases))
    line.note(active, high, at_high)
    off, earlier = np.abs(at_high), np.full(len(cases), np.inf)
    slow = np.zeros(len(cases), dtype=bool)
    begun = slow.copy()  # what is not short at some depth is not at 0
    for _ in range(MOST):
        active = active[high[active] - low[active] > NARROW]
        if not active.size:
            break
        a, b = low[active], high[active]
        guess = line.guess(active, a, b)
        # halved where the line leads nowhere, and where the last look was hardly closer; what was
        # short so far may be so from the beginning
        fits = (guess > a) & (guess < b) & ~slow[active]
        guess = np.where(fits, guess, np.where(begun[active], (a + b) / 2, 0.0))
        value = margin(guess, cases[active])
        good = value >= 0
        begun[active] |= good
        low[active], high[active] = np.where(good, guess, a), np.where(good, b, guess)
        line.note(active, guess, value)
        miss, last = np.abs(value), off[active]
        # so close that the line tells the rest: of a secant's misses each is in one proportion to
        # the product of the two before it
        told = (miss * miss <= LEFT * earlier[active]) & (miss <= SURELY * last) & (last < np.inf)
        near = (miss <= NEAR) | (told & (earlier[active] < np.inf))
        slow[active] = (miss > last / 2) & fits
        off[active], earlier[active] = miss, last
        at = active[near]
        rest = line.guess(at, low[at], high[at])
        # where it does not, the last look was as near
        low[at] = np.where(np.isfinite(rest), rest, guess[near])
        active = active[~near]
    out[cases] = low
    return out


class _Line:
    """Lines through the last two values of g of each case, (M,); through one they are level."""

    def __init__(self, grid: Array, volts: Array, ohms: Array, growth: Growth) -> None:
        self.grid, self.volts, self.ohms, self.growth = grid, volts, ohms, growth
        self.at, self.g, self.slope = np.full((3, volts.shape[1]), np.nan)

    def note(self, cases: Index, depth: Array, value: Array) -> None:
        """Take a margin (m,) V at a depth of some cases."""
        g = self._g(cases, depth, value)
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = (g - self.g[cases]) / (depth - self.at[cases])
        self.slope[cases] = np.where(np.isfinite(slope), slope, 0.0)
        there = np.isfinite(g)
        self.at[cases[there]], self.g[cases[there]] = depth[there], g[there]

    def guess(self, cases: Index, low: Array, high: Array) -> Array:
        """Depths, shares, at which some cases' margins are half of what is close enough, (m,); NaN
        where that is not between two others."""
        grid = self.grid[:, None]
        # at places of the grid both curves are told, so that only two others are looked up
        (volts_low, volts_high), (ohms_low, ohms_high) = self._curves(cases, np.array([low, high]))
        before, beyond = grid <= low, grid >= high
        place = np.where(before, low, np.where(beyond, high, grid))
        volts = np.where(before, volts_low, np.where(beyond, volts_high, self.volts[:, cases]))
        ohms = np.where(before, ohms_low, np.where(beyond, ohms_high, self.ohms[:, cases]))
        g = self.g[cases] + self.slope[cases] * (place - self.at[cases])
        left = volts - ohms * g - NARROW / 2
        # the first of these pieces at whose end it is short
        end = np.maximum((left < 0).argmax(axis=0), 1)
        m = np.arange(len(cases))
        start = end - 1
        width = place[end, m] - place[start, m]
        v0, dv = volts[start, m], volts[end, m] - volts[start, m]
        r0, dr = ohms[start, m], ohms[end, m] - ohms[start, m]
        with np.errstate(divide="ignore", invalid="ignore"):
            g0, dg = g[start, m], g[end, m] - g[start, m]
            c, b, a = v0 - r0 * g0 - NARROW / 2, dv - r0 * dg - dr * g0, -dr * dg
            # of the two roots the one that there is without a bend
            part = 2 * c / (-b + np.sqrt(b * b - 4 * a * c))
            fits = (c >= 0) & (left[end, m] < 0) & (part >= 0) & (part <= 1)
            return np.asarray(np.where(fits, place[start, m] + part * width, np.nan))

    def _g(self, cases: Index, depth: Array, value: Array) -> Array:
        volts, ohms = (x[0] for x in self._curves(cases, depth[None]))
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray((volts - value) / ohms * self.growth(value, cases))

    def _curves(self, cases: Index, depth: Array) -> tuple[Array, Array]:
        """Open voltage and resistance of some cases at depths (P, m)."""
        place = piece_and_share(self.grid, depth)
        return between(self.volts, *place, cases), between(self.ohms, *place, cases)


Brackets = tuple[Index, Array, Array, Array, Array]


def _halved(
    margin: Margin, grid: Array, upto: Array, cases: Index, start: Array, at_end: Array
) -> Brackets:
    """Brackets of falling margins that are negative at `upto`, by as much as `at_end`, by halving
    the grid."""
    low = np.zeros(len(cases), dtype=np.intp)
    high = np.searchsorted(grid, upto[cases])  # the first grid point not below the end
    # where the grid goes as far, the end has been looked at
    at_low, at_high = start.copy(), np.where(high < len(grid), at_end, np.nan)
    while True:
        open_ones = np.nonzero(high - low > 1)[0]
        if not open_ones.size:
            break
        middle = (low[open_ones] + high[open_ones]) // 2
        value = margin(grid[middle], cases[open_ones])
        good = value >= 0
        low[open_ones[good]], at_low[open_ones[good]] = middle[good], value[good]
        high[open_ones[~good]], at_high[open_ones[~good]] = middle[~good], value[~good]
    top = np.minimum(grid[np.minimum(high, len(grid) - 1)], upto[cases])
    unseen = np.isnan(at_high)
    if unseen.any():
        at_high[unseen] = margin(top[unseen], cases[unseen])
    return cases, grid[low], top, at_low, at_high


def _scanned(margin: Margin, grid: Array, upto: Array, cases: Index, start: Array) -> Brackets:
    """First brackets of any margins, grid point by grid point."""
    found: list[Brackets] = []
    low, at_low = np.zeros(len(cases)), start
    for g in grid[1:]:
        if not cases.size:
            break
        high = np.minimum(g, upto[cases])
        at_high = margin(high, cases)
        below = at_high < 0
        found.append((cases[below], low[below], high[below], at_low[below], at_high[below]))
        keep = ~below & (high < upto[cases])
        cases, low, at_low = cases[keep], high[keep], at_high[keep]
    parts = list(zip(*found, strict=True))
    return tuple(np.concatenate(p) for p in parts)  # type: ignore[return-value]


def _root(
    margin: Margin,
    cases: Index,
    low: Array,
    high: Array,
    at_low: Array,
    at_high: Array,
    near: float = 0.0,
) -> Array:
    """Zero between low (margin >= 0) and high (< 0), by false position with Illinois weights.

    A margin that is not finite (there is no power to be had) leaves halving.
    """
    low, high, at_low, at_high = low.copy(), high.copy(), at_low.copy(), at_high.copy()
    side = np.zeros(len(low), dtype=np.int8)
    active = np.nonzero(high - low > NARROW)[0]
    for n in range(MOST):
        if not active.size:
            break
        a, b, fa, fb = low[active], high[active], at_low[active], at_high[active]
        with np.errstate(divide="ignore", invalid="ignore"):
            guess = b - fb * (b - a) / (fb - fa)
        usable = np.isfinite(guess) & (n % 5 != 4)
        guess = np.clip(np.where(usable, guess, (a + b) / 2), a, b)
        value = margin(guess, cases[active])
        good = value >= 0
        # the end that stays a second time is weighed down, or false position would creep
        was = side[active]
        at_low[active] = np.where(good, value, np.where(was == -1, fa / 2, fa))
        at_high[active] = np.where(good, np.where(was == 1, fb / 2, fb), value)
        low[active], high[active] = np.where(good, guess, a), np.where(good, b, guess)
        side[active] = np.where(good, 1, -1)
        nil = np.abs(value) <= near
        low[active[nil]] = guess[nil]
        done = nil | (high[active] - low[active] <= NARROW) | (good & (value <= NARROW))
        active = active[~done]
    return low
