"""Sets of parts that a plan below a known cost can adopt, where only few parts may be adopted.

A set of parts costs at least its set-up, and for each product the least that a build of parts in
the set comes to at the best price each that its pieces can ever reach. Of the sets of a few parts
among hundreds the limits on parts and hours and that bound leave some thousands, and the cheapest
plan is found by solving the program of one set after another, the least bound first, until the
next bound is no lower than the best plan (a best-first search; Lawler and Wood 1966,
doi:10.1287/opre.14.4.699, cited from memory).
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.decide.family import SAME, Family, Item, Member, Option
from advisor.decide.family_model import (
    BOTH,
    Key,
    Role,
    admissible,
    beside_pieces,
    breaks_of,
    units_of,
)

Floats = NDArray[np.float64]
Places = NDArray[np.int64]

MOST_SETS = 100_000_000
"""So many sets are tried against the limit on hours; some 40 million a second."""

MOST_BEFORE = 30_000
"""So many beginnings of a set are gone through one by one, all pairs of its last two at once."""

MOST_LEFT = 20_000_000
"""So many sets are bounded; where the hours leave more, there is no search by sets."""


@dataclass(frozen=True, slots=True)
class PartSet:
    """Parts that a plan may adopt together, and what it then costs at least, money."""

    bound: float
    parts: frozenset[str]


def least_each(item: Item, most: float) -> float:
    """The least that a piece can cost beyond the stock where at most `most` are needed, money.

    Price breaks are affine in what is bought, so cost over pieces is least at an end of one, or
    where what is bought passes what is needed.
    """
    if most <= 0:
        return 0.0
    m, found = item.multiple, []
    under, over = most // m * m, math.ceil(most / m) * m
    for t in breaks_of(item):
        if t.least <= t.most:
            ends = (max(t.least, min(t.most, q)) for q in (t.least, under, over))
            found += [(t.fixed + t.each * q) / min(q, most) for q in ends]
    return min(found)


class PartSets:
    """Bounds on the plans of a family by the parts that they adopt, few at most.

    `kept` are the builds that a plan may hold; None: all that are admissible.
    """

    def __init__(self, family: Family, kept: Iterable[Key] | None = None) -> None:
        """A least cost for each product and pair of parts, with a part's own on the diagonal."""
        self.family = family
        keys = None if kept is None else set(kept)
        self.ways = [_Ways(m, keys) for m in family.members]
        used = {o.part for ways in self.ways for _, o in ways.all()}
        # most set-up first: of parts with one toolchain all but the first pay less of it
        self.platforms = sorted(
            (q for q in family.platforms if q.part in used), key=lambda q: (-q.setup_h, q.part)
        )
        self.at = {q.part: k for k, q in enumerate(self.platforms)}
        most: dict[str, int] = defaultdict(int)
        for ways in self.ways:
            for name, count in ways.counts().items():
                most[name] += count * ways.member.units
        self.items = {i.name: i for i in family.items if most[i.name]}
        self.each = {i: least_each(item, most[i]) for i, item in self.items.items()}
        self.pairs: Floats = np.array([self._pairs(ways) for ways in self.ways])
        own = [self.each[i] * self.items[i].stock for i in self.items if i not in self.at]
        self.fixed = math.fsum(m.tools for m in family.members) - math.fsum(own)

    def few(self) -> bool:
        """Whether the limit on parts leaves so few sets that trying them is of use."""
        n, most = len(self.at), self.family.limits.parts
        if most is None or not n:
            return False
        sizes = range(1, min(most, n) + 1)
        sets = sum(math.comb(n, k) for k in sizes)
        before = sum(math.comb(n, k - 2) for k in sizes if k > 1)
        return sets <= MOST_SETS and before <= MOST_BEFORE

    def below(self, ceiling: float) -> list[PartSet] | None:
        """The sets whose bound is no higher than the ceiling, the least first.

        None where too many sets keep to the limits for each to be bounded.
        """
        found: list[tuple[float, tuple[int, ...]]] = []
        left = 0
        for sets, hours in self._within(min(self.family.limits.parts or 0, len(self.at))):
            left += len(sets)
            if left > MOST_LEFT:
                return None
            bounds = self._bounds(sets, hours)
            low = bounds <= ceiling + SAME * max(abs(ceiling), 1.0)
            found += zip(bounds[low].tolist(), map(tuple, sets[low].tolist()), strict=True)
        names = [q.part for q in self.platforms]
        return [PartSet(b, frozenset(names[k] for k in s)) for b, s in sorted(found)]

    def _bounds(self, sets: Places, hours: Floats) -> Floats:
        """The least cost of plans that adopt just these parts; sets: (n, k), hours: (n,)."""
        least = np.full((len(self.pairs), len(sets)), np.inf)
        for a, b in itertools.combinations_with_replacement(range(sets.shape[1]), 2):
            np.minimum(least, self.pairs[:, sets[:, a], sets[:, b]], out=least)
        stocked = [
            self.each[q.part] * self.items[q.part].stock if q.part in self.items else 0.0
            for q in self.platforms
        ]
        spared = np.array(stocked)[sets].sum(axis=1)
        total: Floats = least.sum(axis=0) + self.family.rate * hours + self.fixed - spared
        return total

    def _within(self, most: int) -> Iterator[tuple[Places, Floats]]:
        """Sets of up to `most` parts that the limit on hours allows, with their hours of set-up."""
        limit = math.inf if self.family.limits.hours is None else self.family.limits.hours
        porting = math.fsum(m.porting_h for m in self.family.members if m.second == "required")
        room = limit + SAME * max(limit, 1.0) - porting
        n = len(self.at)
        hours = np.array([q.setup_h for q in self.platforms])
        chains = [q.toolchain for q in self.platforms]
        same = np.array([[a == b is not None for b in chains] for a in chains], dtype=bool)
        saved = self.family.toolchain_share * hours
        if most >= 1:
            single = np.flatnonzero(hours <= room)
            yield single[:, None], hours[single]
        for size in range(2, most + 1):
            for before in itertools.combinations(range(n), size - 2):
                first = before[-1] + 1 if before else 0
                if n - first < 2:
                    continue
                told = np.array(before, dtype=np.int64)
                shared: NDArray[np.bool_] = np.any(same[told], axis=0)
                spent = math.fsum(
                    hours[b] - (saved[b] if same[told[:k], b].any() else 0.0)
                    for k, b in enumerate(before)
                )
                own = hours - np.where(shared, saved, 0.0)
                if spent + own[first:].min() > room:
                    continue
                # the later one of two pays less where it shares with an earlier one
                b, c = np.triu_indices(n - first, 1)
                b, c = b + first, c + first
                both = spent + own[b] + hours[c] - np.where(shared[c] | same[b, c], saved[c], 0.0)
                low = np.flatnonzero(both <= room)
                if len(low):
                    sets = np.column_stack([np.tile(told, (len(low), 1)), b[low], c[low]])
                    yield sets, both[low]

    def _pairs(self, ways: _Ways) -> Floats:
        """What a product at least costs with a build of two parts, (parts, parts), money.

        On the diagonal with one part alone; infinite where no build is of these parts.
        """
        n = len(self.at)
        least = np.full((n, n), np.inf)
        own = np.full(n, np.inf)
        for o in ways.roles["only"]:
            k = self.at[o.part]
            own[k] = min(own[k], self._least(ways.member, "only", o))
        np.fill_diagonal(least, own)
        m, makers = ways.member, {q.part: q.maker for q in self.platforms}
        n1, n2 = (units_of(m, role) for role in BOTH)
        second = [(o, self._least(m, "second", o)) for o in ways.roles["second"]]
        for a in ways.roles["first"]:
            cost = self._least(m, "first", a) + self.family.rate * m.porting_h
            for b, more in second:
                one, other = makers[a.part], makers[b.part]
                if a.feed != b.feed or one == other or m.points(((a, n1), (b, n2))) < m.least_score:
                    continue
                pair = (m.two_sources or {}).get((one, other), 0.0)
                i, j = sorted((self.at[a.part], self.at[b.part]))
                least[i, j] = min(least[i, j], cost + more + pair)
        return least

    def _least(self, member: Member, role: Role, option: Option) -> float:
        """What a build adds to a plan's cost, each piece at the least it can cost."""
        units = units_of(member, role)
        own = beside_pieces(member, role, option, self.family.rate)
        return own + math.fsum(self.each[i] * n * units for i, n in option.pieces.items() if n)

    def builds(self, sets: Iterable[PartSet]) -> set[Key]:
        """The builds of parts in any of the sets."""
        parts = frozenset[str]().union(*(s.parts for s in sets))
        return {
            (w.member.name, role, o.name)
            for w in self.ways
            for role, o in w.all()
            if o.part in parts
        }


class _Ways:
    """The builds of a product that a plan may hold, by role."""

    def __init__(self, member: Member, kept: set[Key] | None) -> None:
        self.member = member
        alone, either = admissible(member)
        self.roles: dict[Role, Sequence[Option]] = {
            "only": [] if member.second == "required" else alone,
            "first": either,
            "second": either,
        }
        if kept is not None:
            for role, options in self.roles.items():
                self.roles[role] = [o for o in options if (member.name, role, o.name) in kept]

    def all(self) -> Iterator[tuple[Role, Option]]:
        return ((role, o) for role, options in self.roles.items() for o in options)

    def counts(self) -> dict[str, int]:
        """Of each item the most pieces that a unit takes."""
        found: dict[str, int] = {}
        for _, o in self.all():
            for item, count in o.pieces.items():
                found[item] = max(found.get(item, 0), count)
        return found
