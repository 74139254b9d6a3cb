"""Plans by exchange: one product's build for another while that gains, all priced exactly.

What it finds is a plan, not the best one. It serves the search as a start and a ceiling, and
afterwards as a judge who shares no arithmetic with the solver: where an exchange betters a plan
that is called the best, the claim is wrong. Equal plans are settled here too: of those an exchange
apart, the one of greater score (of less cost, where score is asked for) comes first, then by name.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import Literal

from advisor.dataclass import dataclass, field
from advisor.decide.family import SAME, Family, Item, Member, Option, Platform
from advisor.decide.family_model import Build, Role, admissible, beside_pieces, units_of

Objective = Literal["cost", "score"]

_PAIRS = 5  # of each feed: so many first and second sources are tried with each other at the start


@dataclass(frozen=True, slots=True, order=True)
class Worth:
    """What a plan is worth, less is better: by how much limits are missed, objective, tie."""

    missed: float
    value: float
    tie: float

    def beats(self, other: Worth, gap: float) -> bool:
        """Whether it is better by more than the gap."""
        if self.missed != other.missed:
            return self.missed < other.missed
        return self.value < other.value - gap * max(abs(other.value), 1e-9)

    def settles(self, other: Worth) -> bool:
        """Whether it is better at all, ties by rounding aside."""
        near = 1e-12 * max(abs(other.value), 1e-9)
        if self.missed != other.missed or abs(self.value - other.value) > near:
            return self < other
        return self.tie < other.tie - 1e-12 * max(abs(other.tie), 1e-9)


@dataclass(slots=True)
class Exchange:
    """Plans of a family, priced and bettered."""

    family: Family
    objective: Objective = "cost"
    without: frozenset[tuple[tuple[str, ...], ...]] = frozenset()
    least_score: float = -math.inf
    _options: dict[str, dict[str, Option]] = field(default_factory=dict)
    _builds: dict[str, tuple[Build, ...]] = field(default_factory=dict)
    _items: dict[str, Item] = field(default_factory=dict)
    _platforms: dict[str, Platform] = field(default_factory=dict)
    _either: dict[str, list[Option]] = field(default_factory=dict)
    _known: dict[tuple[str, int], float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._items = {i.name: i for i in self.family.items}
        self._platforms = {q.part: q for q in self.family.platforms}
        for m in self.family.members:
            self._options[m.name] = {o.name: o for o in m.options}
            self._builds[m.name] = tuple(sorted(self._of(m), key=_named))

    # ------------------------------------------------------------------------------ worth

    def worth(self, builds: Mapping[str, Build]) -> Worth:
        """A plan's worth, worked out from its builds."""
        family, limits = self.family, self.family.limits
        pieces: dict[str, int] = defaultdict(int)
        hours = capital = later = score = missed = 0.0
        parts: dict[str, None] = {}
        for m in family.members:
            build = builds[m.name]
            made = self._made(m, build)
            capital += m.tools
            later += self._supply(m, build)
            points = m.points(made)
            score += points
            if build.second is not None:
                hours += m.porting_h
                if points < m.least_score:
                    missed += 1.0
            for option, units in made:
                parts[option.part] = None
                hours += option.setup_h
                capital += option.other * units
                later += option.upkeep * units
                for item, count in option.pieces.items():
                    pieces[item] += count * units
        hours += self._setup(parts)
        capital += family.rate * hours + sum(self._spent(i, n) for i, n in pieces.items())
        cost, score = capital + later, score / len(family.members)
        for value, limit in (
            (float(len(parts)), limits.parts),
            (hours, limits.hours),
            (capital, limits.capital),
            (cost, limits.cost),
        ):
            if limit is not None and value > limit + SAME * max(limit, 1.0):
                missed += (value - limit) / max(limit, 1.0)
        missed += max(self.least_score - SAME - score, 0.0)
        if self.without and self.pattern(builds) in self.without:
            missed += 1.0
        if self.objective == "cost":
            return Worth(missed, cost, -score)
        return Worth(missed, -score, cost)

    def pattern(self, builds: Mapping[str, Build]) -> tuple[tuple[str, ...], ...]:
        """Which part goes into which product, in their order."""
        out = []
        for m in self.family.members:
            b, options = builds[m.name], self._options[m.name]
            names = (b.first,) if b.second is None else (b.first, b.second)
            out.append(tuple(options[n].part for n in names))
        return tuple(out)

    def _pair(self, m: Member, first: Option, second: Option) -> float:
        own = first.supply_of_two[0] + second.supply_of_two[1]
        if m.two_sources is None:
            return own
        return own + m.two_sources[self._maker(first), self._maker(second)]

    def _spent(self, item: str, needed: int) -> float:
        found = self._known.get((item, needed))
        if found is None:
            found = self._known[item, needed] = spent(self._items[item], needed)
        return found

    def _setup(self, parts: Mapping[str, None]) -> float:
        hours = 0.0
        chains: dict[str, float] = defaultdict(float)
        sigma = self.family.toolchain_share
        for part in parts:
            q = self._platforms[part]
            if q.toolchain is None:
                hours += q.setup_h
            else:
                hours += (1 - sigma) * q.setup_h
                chains[q.toolchain] = max(chains[q.toolchain], sigma * q.setup_h)
        return hours + sum(chains.values())

    # ---------------------------------------------------------------------------- exchange

    def least(self) -> dict[tuple[str, Role, str], float]:
        """What each build in each role at least adds to a plan's cost, money.

        At the best prices there are; set-up, porting, pieces in stock and, of two sources, the
        other one and what is the pair's of supply are taken to cost nothing.
        """
        prices = {i.name: min(p for _, p in i.breaks) for i in self.family.items}
        out: dict[tuple[str, Role, str], float] = {}
        for m in self.family.members:
            alone, either = admissible(m)
            roles: list[tuple[Role, list[Option]]] = [("first", either), ("second", either)]
            roles += [] if m.second == "required" else [("only", alone)]
            for role, options in roles:
                units = units_of(m, role)
                for o in options:
                    total = m.tools + beside_pieces(m, role, o, self.family.rate)
                    for i, n in o.pieces.items():
                        total += prices[i] * max(n * units - self._items[i].stock, 0)
                    out[m.name, role, o.name] = total
        return out

    def better(
        self, builds: Mapping[str, Build], rounds: int = 50
    ) -> tuple[dict[str, Build], Worth]:
        """The plan after exchanges, product by product, until none gains; of equals by name."""
        now = dict(builds)
        worth = self.worth(now)
        for _ in range(rounds):
            before = worth
            for name in self._builds:
                for build in self._around(name, now[name]):
                    tried = now | {name: build}
                    its = self.worth(tried)
                    equal = not worth.settles(its) and _named(build) < _named(now[name])
                    if its.settles(worth) or equal:
                        now, worth = tried, its
            if not worth.settles(before):
                break
        return now, worth

    def start(self) -> tuple[dict[str, Build], Worth] | None:
        """A good plan from scratch, or None where a product has no build or limits are missed."""
        if not all(self._builds.values()):
            return None
        if self.objective == "score":
            key = {
                (m.name, b): -m.points(self._made(m, b))
                for m in self.family.members
                for b in self._builds[m.name]
            }
        else:
            key = self._alone()
        easy = {
            m: bs[min((key[m, b], at) for at, b in enumerate(bs))[1]]
            for m, bs in self._builds.items()
        }
        now, worth = easy, self.worth(easy)
        on = self._by_part(key)
        # whole platforms at a time: all to a part, and those that gain by it
        for _ in range(4 * len(self._builds)):
            before = worth
            for part in on:
                here = on[part]
                gaining = {m: b for m, b in here.items() if key[m, b] < key[m, now[m]]}
                at = {m: self._options[m][b.first].part for m, b in now.items()}
                moves = [here, gaining]
                for old in dict.fromkeys(at.values()):
                    moved = {m: b for m, b in here.items() if at[m] == old}
                    moves += [moved, moved | gaining]
                for tried in (now | move for move in moves if move):
                    its = self.worth(tried)
                    if its.settles(worth):
                        now, worth = tried, its
            if not worth.settles(before):
                break
        now, worth = self.better(now)
        return None if worth.missed else (now, worth)

    def _alone(self) -> dict[tuple[str, Build], float]:
        key = {}
        for m in self.family.members:
            for b in self._builds[m.name]:
                total = self._supply(m, b)
                for o, units in self._made(m, b):
                    total += (o.other + o.upkeep) * units + self.family.rate * o.setup_h
                    total += sum(self._spent(i, n * units) for i, n in o.pieces.items())
                key[m.name, b] = total
        return key

    def _by_part(self, key: Mapping[tuple[str, Build], float]) -> dict[str, dict[str, Build]]:
        on: dict[str, dict[str, Build]] = defaultdict(dict)
        for m, builds in self._builds.items():
            for b in builds:
                part = self._options[m][b.first].part
                if m not in on[part] or key[m, b] < key[m, on[part][m]]:
                    on[part][m] = b
        return on

    def _made(self, m: Member, b: Build) -> list[tuple[Option, int]]:
        options = self._options[m.name]
        if b.second is None:
            return [(options[b.first], m.units)]
        return [(options[b.first], m.units - m.second_units), (options[b.second], m.second_units)]

    def _supply(self, m: Member, b: Build) -> float:
        options = self._options[m.name]
        if b.second is None:
            return options[b.first].supply
        return self._pair(m, options[b.first], options[b.second])

    def _of(self, m: Member) -> Iterator[Build]:
        """The builds to try: each alone, and for each feed the likeliest pairs of makers."""
        alone, either = admissible(m)
        if m.second != "required":
            yield from (Build(o.name) for o in alone)
        self._either[m.name] = either
        feeds: dict[str, list[Option]] = defaultdict(list)
        for o in either:
            feeds[o.feed].append(o)
        for options in feeds.values():
            best: dict[str, Option] = {}
            for o in sorted(options, key=lambda o: (self._rough(o), o.name)):
                best.setdefault(self._maker(o), o)
            few = list(best.values())[:_PAIRS]
            top = max(options, key=lambda o: (o.score, o.name))
            few += [] if top in few else [top]
            yield from (
                Build(a.name, b.name) for a in few for b in few if self._maker(a) != self._maker(b)
            )

    def _maker(self, option: Option) -> str:
        return self._platforms[option.part].maker

    def _rough(self, o: Option) -> float:
        money = sum(self._items[i].breaks[-1][1] * n for i, n in o.pieces.items())
        return money + o.other + o.upkeep

    def _around(self, name: str, build: Build) -> Iterator[Build]:
        """All of a product's builds, and of two sources the other way round, or another for one."""
        yield from self._builds[name]
        if build.second is not None:
            yield Build(build.second, build.first)
            first, second = (self._options[name][n] for n in (build.first, build.second))
            for o in self._either[name]:
                if o.feed == first.feed:
                    if self._maker(o) != self._maker(second):
                        yield Build(o.name, second.name)
                    if self._maker(o) != self._maker(first):
                        yield Build(first.name, o.name)


def spent(item: Item, needed: int) -> float:
    """What pieces of an item cost beyond the stock, at the cheapest purchase that covers them."""
    rest = needed - item.stock
    if rest <= 0:
        return 0.0
    m = item.multiple
    if item.incremental:
        q = -(-max(rest, item.breaks[0][0]) // m) * m
        total, start = 0.0, 0
        for at, (_, price) in enumerate(item.breaks):
            end = item.breaks[at + 1][0] if at + 1 < len(item.breaks) else q
            total += price * max(min(q, end) - start, 0)
            start = end
        return total
    cheapest = math.inf
    for quantity, _ in item.breaks:
        q = -(-max(rest, quantity) // m) * m
        price = next(p for least, p in reversed(item.breaks) if least <= q)
        cheapest = min(cheapest, price * q)
    return cheapest


def _named(build: Build) -> tuple[str, str]:
    return build.first, build.second or ""
