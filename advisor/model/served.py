"""How stores fare over cover and size: the chain of `store` at places of a lattice, and between.

Between places the probit of lost days goes along cubics that overshoot nowhere (Fritsch and Carlson
1980, their limit on slopes of parabolas through three places): of 0.2 to 10 % of the days, at
spreads of 0.1, 0.3 and 0.6, it errs by less than 0.1 % of them in the median, by 2 % in one place
of ten and by an eighth at the most (`tests/model/test_store.py`).

Arrays are of any shape where not said: shares, or days of load.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.draws import Array
from advisor.model.lattice import LEAST_COVER, LEAST_STORE, MOST_STORE, Cell, Lattice
from advisor.model.pieces import piece_and_share
from advisor.model.standing import Filling, clipped
from advisor.model.store import MONTH_DAYS, YEAR_DAYS, Dawns, dawns
from advisor.model.store_chain import HALF
from advisor.model.store_load import FEWEST, Load
from advisor.model.weather import gamma_days

CLASSES, FEW = 10, 4  # of days; where days are much alike
ALIKE = 0.2  # spread below which places stand closer and classes are fewer
LEANING = 30  # levels for leanings, but for one for two days
ROUGH = 10  # such steps from one place to the next where leanings are worked out
# by how much more of the mean load a full store carries, at which stores are worked out
PULLS = (0.0, 0.04, 0.09, 0.15, 0.22, 0.3, 0.4, 0.55, 0.75, 0.95)
MANY = 64  # patterns of which the answers of a run are remembered
FIRST = 32  # of them that are kept from run to run
NEVER = 1e-9  # chances below it are none
SURE = 6.0  # probit of a chance below that
_erfc = np.frompyfunc(math.erfc, 1, 1)
LOWEST = 1e-3  # of a month's mean, to which logarithms of its ratio are held


@dataclass(frozen=True, slots=True)
class Fared:
    """How stores fare, of any shape: share of days on which the load is not carried, share of the
    load that is not served."""

    lost: Array
    unserved: Array


class Service:
    """The chain's answers for one pattern of months, over the year's mean cover and the store.

    The probit of lost days is nearly linear in the logarithms of both, so it is worked out at
    places of a lattice that do not depend on what is asked, each when first asked for, and in
    between it goes along cubics, all else along straight lines.
    """

    def __init__(
        self, shape: tuple[float, ...], spread: float, persistence: float, idle: tuple[float, ...]
    ) -> None:
        self.shape, self.idle = np.array(shape), np.array(idle)
        self.spread, self.persistence = spread, persistence
        self.classes = CLASSES if spread >= ALIKE else FEW
        self.fine = Lattice(min(max(spread / ALIKE, 0.25), 1.0))
        self.rough = Lattice(ROUGH)
        self._fine: list[dict[tuple[int, int], Answer]] = [{} for _ in PULLS]
        self._coarse: dict[tuple[int, int], Array] = {}
        self.told = 0
        self.night = HALF  # share of a day that is dark, for which fillings are told

    @property
    def pattern(self) -> str:
        """Everything that the answers rest on, exactly."""
        return repr((self.shape.tolist(), self.spread, self.persistence, self.idle.tolist()))

    @property
    def known(self) -> int:
        """At how many places answers have been worked out."""
        return len(self._coarse) + sum(map(len, self._fine))

    def as_text(self) -> str:
        """All answers that are known, as JSON, exactly; `told` is how many."""
        self.told = self.known
        fine = [[[i, j, *of] for (i, j), of in known.items()] for known in self._fine]
        coarse = [[i, j, *of.tolist()] for (i, j), of in self._coarse.items()]
        return json.dumps({"fine": fine, "coarse": coarse}, separators=(",", ":"))

    def learn(self, text: bytes) -> None:
        """Take over what `as_text` told in another run; what is no such text counts for nothing."""
        try:
            found = json.loads(text)
            fine = [{(i, j): tuple(of) for i, j, *of in known} for known in found["fine"]]
            coarse = {(i, j): np.array(of, dtype=float) for i, j, *of in found["coarse"]}
            rows = [
                np.array(list(known.values()), dtype=float).reshape(len(known), KEPT)
                for known in fine
            ]
        except (ValueError, TypeError, KeyError, RecursionError):
            return
        shares = np.concatenate([row[:, 1:] for row in rows]) if rows else np.zeros((0, 1))
        sound = len(fine) == len(self._fine) and all(np.isfinite(row).all() for row in rows)
        sound = sound and bool(((shares >= 0) & (shares <= 1 + 1e-9)).all())
        if sound and all(of.shape == (14,) and np.isfinite(of).all() for of in coarse.values()):
            self._fine, self._coarse = fine, coarse
            self.told = self.known

    def at(self, cover: Array, store: Array, *load: Array) -> Fared:
        """How stores fare where the mean harvest of the year, idle days included, is `cover` loads
        of a day and the store `store` of them, of one shape; shares of load and of days. `load`
        tells how it goes with what is held: by how much more of the mean a full one carries;
        between those worked out it is straight. What is not served is told as a part of the lost
        days, of which it is never more."""
        probit, part = self._told(cover, store, load, (0, 1))
        lost = np.where(probit > 0, 1.0, 0.0)
        # that of the standard library, as few places are neither safe nor lost
        between = np.abs(probit) < SURE
        lost[between] = 0.5 * _erfc(probit[between] / -np.sqrt(2.0)).astype(float)
        lost = np.where(lost < 2 * NEVER, 0.0, np.where(lost > 1 - 2 * NEVER, 1.0, lost))
        # a store that does not last a night never serves a day; where nothing comes, none either
        none = (store <= 0) | (cover <= 0)
        lost = np.where(none, 1.0, lost)
        unserved = lost * part
        # below the least cover that is worked out what is served goes with what comes
        some = np.maximum(cover, 0.0) / LEAST_COVER
        return Fared(lost=lost, unserved=np.where(some < 1, 1 - (1 - unserved) * some, unserved))

    def filling(self, cover: Array, store: Array, *load: Array) -> Filling:
        """How full stores stand, shares of any shape, as for `at`."""
        told = self._told(cover, store, load, range(2, KEPT))
        return Filling.of(told, (store <= 0) | (cover <= 0), self.night)

    def lean(
        self, cover: Array, store: Array, months: Array, spread: Array, persistence: Array
    ) -> tuple[Array, Array]:
        """What differs from the pattern, at places (R, N), to the first order: the logarithm to add
        to the cover for months that bring more, by theirs (12, N); the probit to add to lost days
        for more spread and more persistence, (N,). (R, N) shares each."""
        cell = self._about(cover, store)

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

    def know(self, cover: Array, store: Array, *load: Array) -> None:
        """Work out at once what `at` takes for these places, of one shape: shares of the load and
        counts of days."""
        for k, where, _ in _pulls(load[0] if load else None, np.shape(cover)):
            self._near(cover[where], store[where], k)

    def know_leanings(self, cover: Array, store: Array) -> None:
        """The same for `lean`, of one shape: shares of the load, counts of days."""
        self._about(cover, store)

    def filling_by_month(self, cover: float, store: float, *load: float) -> Filling:
        """How full one store stands month by month, (1, 12) shares."""
        found = self.by_month(cover, store, *load)
        nothing = np.full((1, 12), store <= 0 or cover <= 0)
        return Filling.of(clipped(found.fill), nothing, self.night)

    def by_month(self, cover: float, store: float, *load: float) -> Dawns:
        """How one store fares month by month, (1, 12)."""
        return self._gone_through(
            cover * np.ones(1),
            np.clip(store, LEAST_STORE, MOST_STORE) * np.ones(1),
            Load(pull=load[0] if load else 0.0),
        )

    def _told(
        self, cover: Array, store: Array, load: tuple[Array, ...], which: Sequence[int]
    ) -> Sequence[Array]:
        """Which of an `Answer`, shares of 1; see `at`."""
        totals = [np.zeros(np.shape(cover)) for _ in which]
        for k, where, share in _pulls(load[0] if load else None, np.shape(cover)):
            cell = self._near(cover[where], store[where], k)
            for i, total in zip(which, totals, strict=True):
                values = {c: self._fine[k][c][i] for c in cell.corners}
                total[where] += share * (cell.between(values) if i else cell.along_cubics(values))
        return totals

    def _gone_through(self, cover: Array, store: Array, load: Load) -> Dawns:
        """The chain for stores (B,), shares of the load and days of it."""
        count = np.ones(len(cover))
        return dawns(
            cover[:, None] * self._lit,
            store,
            gamma_days(self.spread * count, self.classes),
            self.persistence * count,
            np.broadcast_to(self.idle, (len(cover), 12)),
            load=load,
        )

    def _near(self, cover: Array, store: Array, k: int) -> Cell:
        """The cell of each place, a share of the load and days of it, its corners worked out at one
        of the pulls, and those of cells around it, by which cubics go."""
        cell = Cell(cover, store, self.fine, around=1)
        self._work_out([c for c in cell.corners if c not in self._fine[k]], k)
        return cell

    def _about(self, cover: Array, store: Array) -> Cell:
        """The same on the rough lattice: by how much a share and days lean there."""
        cell = Cell(cover, store, self.rough)
        self._lean_out([c for c in cell.corners if c not in self._coarse])
        return cell

    @property
    def _lit(self) -> Array:
        """Mean harvest of days that are not idle, (12,), for a mean of 1 over the year."""
        busy = 1 - self.idle
        mean = (self.shape * busy) @ MONTH_DAYS / YEAR_DAYS
        return self.shape / mean if mean > 0 else self.shape

    def _work_out(self, places: list[tuple[int, int]], k: int) -> None:
        if not places:
            return
        found = self._gone_through(*self.fine.values(places), Load(pull=PULLS[k]))
        self._fine[k].update(zip(places, answers(found), strict=True))

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
            gamma_days(spread.ravel(), CLASSES),
            persistence.ravel(),
            np.broadcast_to(self.idle, (15 * cases, 12)),
            np.repeat(_few(store), 15),
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


# probit of lost days, part of them that is not served, and those of a `Filling`
Answer = tuple[float, ...]
KEPT = 8


def answers(found: Dawns) -> list[Answer]:
    """What is kept of each store."""
    probit = _probit(found.year(found.lost))
    lost, unserved = found.year(found.lost), found.year(found.unserved)
    # lost days fall far faster than straight between places, and what is not served with them
    part = np.where(lost > 0, np.minimum(unserved / np.where(lost > 0, lost, 1.0), 1.0), 1.0)
    parts = (probit, part, *clipped([found.year(one) for one in found.fill]))
    return list(zip(*(one.tolist() for one in parts), strict=True))


def _pulls(
    pull: Array | None, shape: tuple[int, ...]
) -> list[tuple[int, NDArray[np.bool_], Array]]:
    """Of each pull of some shape: (which of `PULLS`, where it counts, the share (M,) by which it
    does there)."""
    if pull is None or not pull.any():
        return [(0, np.ones(shape, dtype=bool), np.ones(int(np.prod(shape))))]
    known = np.array(PULLS)
    held = np.clip(np.broadcast_to(pull, shape), 0.0, known[-1])
    low, part = piece_and_share(known, held)
    out = []
    for k in range(len(known)):
        share = np.where(low == k, 1 - part, 0.0) + np.where(low + 1 == k, part, 0.0)
        if (share > 0).any():
            out.append((k, share > 0, share[share > 0]))
    return out


class Shelf(Protocol):
    """Where answers of earlier runs may be kept, by their patterns."""

    def read(self, pattern: str) -> bytes | None:
        """What was written there, if anything."""

    def write(self, pattern: str, text: str) -> None:
        """Keep a text, where that is possible."""


class Services:
    """The answers that studies of a run share, and where some are kept for later ones."""

    def __init__(self, shelf: Shelf | None = None) -> None:
        self._shelf = shelf
        self._made = lru_cache(maxsize=MANY)(self._make)
        self._first: list[Service] = []

    def of(
        self,
        shape: tuple[float, ...],
        spread: float,
        persistence: float,
        idle: tuple[float, ...],
        made: Callable[..., Service] = Service,
    ) -> Service:
        """The answers for months of this shape (of any mean), spread, persistence and shares of
        idle days, those that are known among them; `made` makes those of another kind."""
        return self._made(made, shape, spread, persistence, idle)

    def put_away(self) -> None:
        """Keep what has been found beside what the shelf told."""
        for one in self._first:
            if self._shelf is not None and one.known > one.told:
                self._shelf.write(one.pattern, one.as_text())

    def _make(self, kind: Callable[..., Service], *pattern: Any) -> Service:
        made = kind(*pattern)
        # of those that a study moves figures to some are kept, as the next one may move them too
        if self._shelf is not None and len(self._first) < FIRST:
            self._first.append(made)
            text = self._shelf.read(made.pattern)
            if text is not None:
                made.learn(text)
        return made


def shifted(chance: Array, more: Array) -> Array:
    """Chances (of any shape), shares of 1, with more (broadcasting) on their probits; none and one
    stay."""
    if not more.any():
        return chance
    from scipy.special import ndtr, ndtri

    there = (chance > 0) & (chance < 1)
    return np.asarray(np.where(there, ndtr(ndtri(np.where(there, chance, 0.5)) + more), chance))


def _few(store: Array) -> NDArray[np.intp]:
    """Steps of the grid by which leanings are told, (B,), of stores of as many days."""
    return np.clip(np.ceil(2 * store), FEWEST, np.maximum(LEANING, store / 2)).astype(np.intp)


def _probit(chance: Array) -> Array:
    from scipy.special import ndtri

    return np.asarray(ndtri(np.clip(chance, NEVER, 1 - NEVER)))
