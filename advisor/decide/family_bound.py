"""Builds that no plan below a known cost can hold, by Lagrangian relaxation.

The rows that tie parts to each other (one build a product, cells and toolchains shared, limits)
are given prices. What is left falls apart: for each part the best set of uses of it, tried whole;
for each other item the best pieces at each break, in shares; and boxes. Their sum is a bound on
every plan's cost whatever the prices are (Geoffrion 1974, doi:10.1007/BFb0120690), and with a
build forced into its part's set it bounds the plans that hold it. It is higher than that of the
linear relaxation because a part's sets are whole. Prices go up the subgradient with Polyak's step
(Held, Wolfe and Crowder 1974, doi:10.1007/BF01580223). Both are cited from memory.
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.decide.family import Family, Item
from advisor.decide.family_model import Key, Program, Role, affine, breaks_of, units_of
from advisor.decide.family_swaps import spent

Floats = NDArray[np.float64]

SETS = 5_000
"""So many sets of uses of a part are tried; where there are more nothing is bounded."""

_SLACK = 1e-6  # of the ceiling: what rounding may take from a bound
_STALL = 12  # steps without gain after which the step shrinks
_SWEEP = 25  # steps between two looks at what can be left out


def free_parts(family: Family) -> Family:
    """The family with parts that cost nothing by the piece: their purchases are a table here."""
    items = (
        replace(i, breaks=((1, 0.0),), multiple=1, incremental=False, stock=0)
        if i.kind == "part"
        else i
        for i in family.items
    )
    return replace(family, items=tuple(items))


def purchases(item: Item, pieces: Floats) -> Floats:
    """What numbers of pieces cost beyond the stock, as `family_swaps.spent`; any shape."""
    rest = np.maximum(pieces - item.stock, 0.0)
    best = np.full(rest.shape, np.inf)
    whole = np.ceil(rest / item.multiple) * item.multiple
    for t in breaks_of(item):
        buy = np.maximum(whole, t.least)
        best = np.minimum(best, np.where(buy <= t.most, t.fixed + t.each * buy, np.inf))
    return np.where(rest > 0, best, 0.0)


@dataclass(frozen=True, slots=True)
class _Use:
    """A covered row of an item that is no part: its place, and the pieces that it is about."""

    row: int
    member: str
    role: Role
    pieces: int


@dataclass(slots=True)
class _Shared:
    """An item that is no part, bought at breaks by several products."""

    item: Item
    uses: list[_Use]

    def best(self, price: Floats, factor: float, sums: Floats) -> tuple[float, float]:
        """The least cost at prices of rows, and what is bought for; adds shares to `sums`."""
        steps = sorted(self._hull(price), key=lambda s: -s[0])
        stock = float(self.item.stock)
        ways = [(stock, 0.0, math.inf)]
        ways += [
            (stock + least, factor * (fixed + each * least), factor * each)
            for least, fixed, each in affine(self.item)
        ]
        found: tuple[float, float, list[tuple[float, tuple[int, ...], tuple[int, ...]]]]
        found = (0.0, 0.0, [])
        for room, cost, beyond in ways:
            value, bought, shares = cost, cost, []
            for ratio, width, gone, come in steps:
                if ratio <= 0:
                    break
                share = min(room / width, 1.0)
                rest = 1.0 - share if ratio > beyond else 0.0
                if share + rest <= 0:
                    break
                room -= share * width
                bought += beyond * rest * width if rest else 0.0
                value += (beyond * rest * width if rest else 0.0) - ratio * width * (share + rest)
                shares.append((share + rest, gone, come))
            if value < found[0]:
                found = (value, bought, shares)
        for share, gone, come in found[2]:
            for row in gone:
                sums[row] += share  # b - A x of a covered row: what is taken counts against it
            for row in come:
                sums[row] -= share
        return found[0], found[1] / factor

    def _hull(
        self, price: Floats
    ) -> Iterator[tuple[float, float, tuple[int, ...], tuple[int, ...]]]:
        """Steps of each product's upper hull of income over pieces: slope, width, rows."""
        by: dict[str, dict[Role, list[_Use]]] = defaultdict(lambda: defaultdict(list))
        for use in self.uses:
            by[use.member][use.role].append(use)
        for roles in by.values():
            ways: list[tuple[_Use, ...]] = [(u,) for us in roles.values() for u in us]
            ways += itertools.product(roles["first"], roles["second"])
            points = [
                (sum(u.pieces for u in way), sum(float(price[u.row]) for u in way), way)
                for way in ways
            ]
            at: tuple[float, float, tuple[_Use, ...]] = (0.0, 0.0, ())
            while True:
                right = [p for p in points if p[0] > at[0] and p[1] > at[1]]
                if not right:
                    break
                slope, width, come = max(
                    ((p[1] - at[1]) / (p[0] - at[0]), p[0] - at[0], k) for k, p in enumerate(right)
                )
                to = right[come]
                yield slope, width, tuple(u.row for u in at[2]), tuple(u.row for u in to[2])
                at = to


class Bound:
    """Bounds on the plans of a program, and on those that hold a build.

    `made` is the program of `free_parts(family)`, asked for its cost; `ceiling` the cost that is
    known to be possible, both without what the program holds fixed.
    """

    def __init__(self, family: Family, made: Program, ceiling: float) -> None:
        """Everything as arrays: columns k, rows r, parts j, choices q = (product, role, count)."""
        self.family, self.made, self.ceiling = family, made, ceiling
        model = made.model
        terms, boxes = model.columns()
        names = [n for n in boxes if n.split(" ", 1)[0] not in ("take", "reach", "bought")]
        column = {n: k for k, n in enumerate(names)}
        self.cost: Floats = np.array([terms.get(n, 0.0) for n in names])
        self.box: Floats = np.array([boxes[n] for n in names])
        rows: list[str] = []
        self.limits: list[int] = []
        signs: list[int] = []
        rhs: list[float] = []
        scale: list[float] = []
        at_row: list[int] = []
        at_column: list[int] = []
        values: list[float] = []
        for name, sense, b, row in model.rows():
            own = {n: a for n, a in row.items() if n in column}
            if not own or name.split(" ", 1)[0] == "adopted":
                continue
            r = len(rows)
            if name in ("limit capital", "limit cost"):
                self.limits.append(r)
            rows.append(name)
            signs.append({"<=": -1, "=": 0, ">=": 1}[sense])
            rhs.append(b)
            scale.append(max(abs(a) for a in own.values()))
            at_row += [r] * len(own)
            at_column += [column[n] for n in own]
            values += own.values()
        self.rows = np.array(at_row), np.array(at_column), np.array(values, dtype=float)
        self.signs = np.array(signs)
        self.rhs: Floats = np.array(rhs, dtype=float)
        self.scale: Floats = np.array(scale, dtype=float)
        place = {n: r for r, n in enumerate(rows)}
        options = {(m.name, o.name): o for m in family.members for o in m.options}
        self.keys = list(self.made.roles)
        self.column = np.array([column[self.made.roles[k]] for k in self.keys])
        parts = list(dict.fromkeys(options[p, o].part for p, _, o in self.keys))
        self.adopt = np.array([column[f"adopt {j}"] for j in parts])
        choices: dict[tuple[str, Role, int], int] = {}
        part, choice = [], []
        for p, role, o in self.keys:
            count = options[p, o].pieces[options[p, o].part]
            part.append(parts.index(options[p, o].part))
            choice.append(choices.setdefault((p, role, count), len(choices)))
        self.part, self.choice = np.array(part), np.array(choice)
        others = np.ones(len(names), bool)
        others[self.column] = others[self.adopt] = False
        self.others = np.flatnonzero(others)
        self._sets(parts, list(choices))
        uses: dict[str, dict[str, _Use]] = defaultdict(dict)
        for p, role, o in self.keys:
            for item, count in options[p, o].pieces.items():
                name = f"covered {item} {p} {role} {count}"
                if count and name in place:
                    n = count * units_of(family.member(p), role)
                    uses[item][name] = _Use(place[name], p, role, n)
        self.shared = [_Shared(i, [*uses[i.name].values()]) for i in family.items if uses[i.name]]
        self.price: Floats = np.zeros(len(rows))
        for shared in self.shared:
            for use in shared.uses:
                self.price[use.row] = spent(shared.item, 4 * use.pieces) / 4
        self.one = {m.name: place[f"one build {m.name}"] for m in family.members}
        self._first_prices(list(choices))

    @staticmethod
    def sets(made: Program) -> float:
        """How many sets of uses of a part there are to try."""
        options = {(m.name, o.name): o for m in made.family.members for o in m.options}
        by: dict[str, set[tuple[Role, int]]] = defaultdict(set)
        for p, role, o in made.roles:
            by[p].add((role, options[p, o].pieces[options[p, o].part]))
        return math.prod(1.0 + len(c) for c in by.values())

    def _sets(self, parts: Sequence[str], choices: Sequence[tuple[str, Role, int]]) -> None:
        """All sets of uses, a product at most once in each: a part has one maker."""
        by: dict[str, list[int]] = defaultdict(list)
        for q, (p, _, _) in enumerate(choices):
            by[p].append(q)
        sets = np.zeros((1, len(choices)))
        for qs in by.values():
            one = np.zeros((1 + len(qs), len(choices)))
            one[1 + np.arange(len(qs)), qs] = 1.0
            sets = (sets[None, :, :] + one[:, None, :]).reshape(-1, len(choices))
        self.all = sets
        self.pieces = np.array([c * units_of(self.family.member(p), r) for p, r, c in choices])
        items = {i.name: i for i in self.family.items}
        needed = sets @ self.pieces
        self.table: Floats = np.array([purchases(items[j], needed) for j in parts])

    def _first_prices(self, choices: Sequence[tuple[str, Role, int]]) -> None:
        """A product's price at the start: its cheapest build, with its share of all set-up."""
        rest, _ = self._reduced()
        share = (self.table.max(axis=1) + rest[self.adopt]) / max(self.all[-1] @ self.pieces, 1.0)
        own = rest[self.column] + share[self.part] * self.pieces[self.choice]
        least = np.full(len(choices), np.inf)
        np.minimum.at(least, self.choice, own)
        of: dict[tuple[str, Role], float] = defaultdict(lambda: math.inf)
        for (p, role, _), v in zip(choices, least, strict=True):
            of[p, role] = min(of[p, role], float(v))
        for p, row in self.one.items():
            self.price[row] = min(of[p, "only"], of[p, "first"] + of[p, "second"])

    def _reduced(self) -> tuple[Floats, float]:
        """What each column costs at the prices, and the factor of what is bought."""
        r, k, a = self.rows
        rest: Floats = self.cost - np.bincount(k, a * self.price[r], len(self.cost))
        return rest, 1.0 - float(self.price[self.limits].sum())

    def _value(self) -> tuple[float, Floats, Floats, Floats]:
        """The bound at the prices; its slope; each part's worth by set; each choice's by part."""
        rest, factor = self._reduced()
        gain = np.full((len(self.adopt), self.all.shape[1]), 1e15)
        own = rest[self.column]
        np.minimum.at(gain, (self.part, self.choice), own)
        worth = factor * self.table
        worth += gain @ self.all.T
        worth += rest[self.adopt][:, None]
        worth[:, 0] = np.minimum(rest[self.adopt], 0.0)
        at = worth.argmin(axis=1)
        here = np.arange(len(at))
        x = np.zeros(len(rest))
        taken = self.all[at]
        x[self.adopt] = (at > 0) | (rest[self.adopt] < 0)
        chosen = (taken[self.part, self.choice] > 0) & (own <= gain[self.part, self.choice])
        x[self.column] = chosen / np.maximum(self._alike(chosen), 1)
        lower, upper = self.box[self.others].T
        x[self.others] = np.where(rest[self.others] > 0, lower, upper)
        r, k, a = self.rows
        slope: Floats = self.rhs - np.bincount(r, a * x[k], len(self.rhs))
        total = float(self.price @ self.rhs + worth[here, at].sum())
        total += float(rest[self.others] @ x[self.others])
        bought = float(self.table[here, at].sum())
        for shared in self.shared:
            value, spending = shared.best(self.price, factor, slope)
            total += value
            bought += spending
        slope[self.limits] -= bought
        return total, slope, worth, gain

    def _alike(self, chosen: NDArray[np.bool_]) -> Floats:
        """How many builds share the least cost of a choice of a part."""
        key = self.part * self.all.shape[1] + self.choice
        alike: Floats = np.bincount(key, chosen, len(self.adopt) * self.all.shape[1])[key]
        return alike

    def climb(self, steps: int) -> float:
        """Better prices, and all builds left out that the bound excludes on the way; the bound.

        Needs the ceiling; costs steps x parts x sets multiplications for each product.
        """
        best, kept, step, stalled = -math.inf, self.price.copy(), 1.0, 0
        for count in range(1, steps + 1):
            total, slope, _, _ = self._value()
            if total > best:
                stalled = 0 if total > best + 1e-5 * abs(self.ceiling) else stalled + 1
                best, kept = total, self.price.copy()
            else:
                stalled += 1
            if stalled > _STALL:
                self.price, step, stalled = kept.copy(), 0.6 * step, 0
                continue
            if count % _SWEEP == 0:
                now, self.price = self.price, kept
                self.leave_out()
                self.price = now
            go = slope / self.scale
            go[(self.signs < 0) & (self.price >= 0) & (go > 0)] = 0.0
            go[(self.signs > 0) & (self.price <= 0) & (go < 0)] = 0.0
            length = float(go @ go)
            if length < 1e-12 or total >= self.ceiling:
                break
            self.price = self.price + step * (self.ceiling - total) / length * go / self.scale
            self.price = np.where(self.signs < 0, np.minimum(self.price, 0.0), self.price)
            self.price = np.where(self.signs > 0, np.maximum(self.price, 0.0), self.price)
        self.price = kept
        return best

    def leave_out(self) -> dict[Key, float]:
        """The bound on plans that hold a build, for those it does not exclude; others are gone."""
        total, _, worth, gain = self._value()
        rest, _ = self._reduced()
        base = total - worth.min(axis=1)
        with_ = np.empty(gain.shape)
        for q in range(gain.shape[1]):
            with_[:, q] = worth[:, self.all[:, q] > 0].min(axis=1)
        more = rest[self.column] - gain[self.part, self.choice]
        bound = base[self.part] + with_[self.part, self.choice] + more
        stays = bound <= self.ceiling + _SLACK * abs(self.ceiling)
        left = {k: float(b) for k, b, s in zip(self.keys, bound, stays, strict=True) if s}
        self._keep(stays)
        return left

    def _keep(self, stays: NDArray[np.bool_]) -> None:
        if stays.all():
            return
        gone = self.column[~stays]
        self.keys = [k for k, s in zip(self.keys, stays, strict=True) if s]
        self.column, self.choice, part = self.column[stays], self.choice[stays], self.part[stays]
        parts = np.unique(part)
        self.part = np.searchsorted(parts, part)
        gone = np.concatenate([gone, np.delete(self.adopt, parts)])
        self.adopt, self.table = self.adopt[parts], self.table[parts]
        r, k, a = self.rows
        here = ~np.isin(k, gone)
        self.rows = r[here], k[here], a[here]
