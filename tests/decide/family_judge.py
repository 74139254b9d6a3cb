"""A judge of families of products: every plan priced in plain loops, from the written algebra.

Written from `advisor/reference/family.md` and the records' own texts, by somebody who had not read
the program that it judges. Nothing but the records is used.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from advisor.decide.family import (
    Family,
    Item,
    Limits,
    Member,
    Option,
    Platform,
)

ROUNDING = 1e-9
"""Relative; sums of some twenty amounts are rounded by less."""
CLOSE = 3e-6
"""Limits that a plan passes by less are kept or not: the solver's gap is 1e-6."""

Pair = tuple[str, str | None]


# --- what is bought -------------------------------------------------------------------------


def price_of(item: Item, pieces: int) -> float:
    """Money for exactly so many pieces, at least the first break's quantity."""
    if not item.incremental:
        each = [price for quantity, price in item.breaks if quantity <= pieces]
        return pieces * each[-1]
    money = pieces * item.breaks[0][1]
    for (_, before), (quantity, after) in itertools.pairwise(item.breaks):
        if pieces > quantity:
            money += (after - before) * (pieces - quantity)
    return money


def purchase(item: Item, needed: int) -> float:
    """The least money that covers a need beyond the stock."""
    wanted = needed - min(needed, item.stock)
    if wanted == 0:
        return 0.0
    m = item.multiple
    least = max(wanted, item.breaks[0][0])
    starts = {-(-q // m) * m for q in (least, *(b for b, _ in item.breaks)) if q >= least}
    return min(price_of(item, pieces) for pieces in starts)


# --- a plan ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Judged:
    """A plan with all its sums."""

    pairs: tuple[Pair, ...]
    places: frozenset[tuple[str, str, str]]
    parts: int
    hours: float
    capital: float
    cost: float
    score: float


def pairs_of(member: Member, makers: Mapping[str, str]) -> list[Pair]:
    """What a product may take, whatever its limits; a required second source apart."""
    by_name = {o.name: o for o in member.options}
    found: list[Pair] = []
    if member.second != "required":
        found += [(name, None) for name in by_name]
    if member.second != "refused":
        for a, b in itertools.permutations(member.options, 2):
            if a.feed == b.feed and makers[a.part] != makers[b.part]:
                found.append((a.name, b.name))
    return found


def own_score(member: Member, pair: Pair) -> float:
    """Points of a product, weighed by the units of each source."""
    by_name = {o.name: o for o in member.options}
    first = by_name[pair[0]].score
    if pair[1] is None:
        return first
    n2 = int(member.second_share * member.units + 0.5)
    n1 = member.units - n2
    return (n1 * first + n2 * by_name[pair[1]].score) / member.units


def keeps_own(member: Member, pair: Pair) -> bool:
    """Whether a product's own limits are kept by what it takes."""
    by_name = {o.name: o for o in member.options}
    taken = [by_name[name] for name in pair if name is not None]
    if member.life_chance is not None and any(
        o.life_chance < member.life_chance - 1e-9 for o in taken
    ):
        return False
    if member.give_up is None:
        return True
    favourite = by_name[member.favourite].score
    return own_score(member, pair) >= favourite - member.give_up - 1e-9


def judged(family: Family, pairs: tuple[Pair, ...]) -> Judged:
    """All sums of a plan."""
    needed: dict[str, int] = {}
    makers = {p.part: p.maker for p in family.platforms}
    used: set[str] = set()
    places: set[tuple[str, str, str]] = set()
    hours = porting = addons = other = upkeep = supply = tools = 0.0
    for member, pair in zip(family.members, pairs, strict=True):
        by_name = {o.name: o for o in member.options}
        n2 = 0 if pair[1] is None else int(member.second_share * member.units + 0.5)
        sources = [(by_name[pair[0]], member.units - n2)]
        if pair[1] is not None:
            sources.append((by_name[pair[1]], n2))
            porting += member.porting_h
        tools += member.tools
        roles = ("only",) if pair[1] is None else ("first", "second")
        for (option, units), role in zip(sources, roles, strict=True):
            used.add(option.part)
            places.add((member.name, option.part, role))
            addons += option.setup_h
            other += option.other * units
            upkeep += option.upkeep * units
            for name, count in option.pieces.items():
                needed[name] = needed.get(name, 0) + count * units
        if pair[1] is None:
            supply += sources[0][0].supply
        else:
            (first, _), (second, _) = sources
            supply += first.supply_of_two[0] + second.supply_of_two[1]
            if member.two_sources is not None:
                supply += member.two_sources[makers[first.part], makers[second.part]]
    chains: dict[tuple[str, str], float] = {}
    for platform in family.platforms:
        if platform.part in used:
            shared = family.toolchain_share * platform.setup_h
            hours += platform.setup_h - shared
            chain = (platform.toolchain or "", "" if platform.toolchain else platform.part)
            chains[chain] = max(chains.get(chain, 0.0), shared)
    hours += sum(chains.values()) + porting + addons
    bought = sum(purchase(i, needed.get(i.name, 0)) for i in family.items)
    capital = bought + other + family.rate * hours + tools
    scores = [own_score(m, p) for m, p in zip(family.members, pairs, strict=True)]
    return Judged(
        pairs=pairs,
        places=frozenset(places),
        parts=len(used),
        hours=hours,
        capital=capital,
        cost=capital + upkeep + supply,
        score=sum(scores) / len(scores),
    )


class Plans:
    """All plans of a family, whatever its limits; then those that keep some."""

    def __init__(self, family: Family) -> None:
        self.family = family
        makers = {p.part: p.maker for p in family.platforms}
        loose = [
            replace(m, second="allowed") if m.second == "required" else m for m in family.members
        ]
        self.all = [
            judged(family, pairs)
            for pairs in itertools.product(*(pairs_of(m, makers) for m in loose))
        ]

    def keeping(self, family: Family, slack: float = ROUNDING) -> Iterator[Judged]:
        """Plans that keep the limits of a family that differs in limits alone."""
        limits = family.limits
        for plan in self.all:
            whole = (
                (plan.parts, limits.parts),
                (plan.hours, limits.hours),
                (plan.capital, limits.capital),
                (plan.cost, limits.cost),
            )
            if any(m is not None and v > m + slack * max(m, 1e-9) for v, m in whole):
                continue
            if all(
                keeps_own(m, p) and not (m.second == "required" and p[1] is None)
                for m, p in zip(family.members, plan.pairs, strict=True)
            ):
                yield plan

    def best(self, family: Family, objective: str, slack: float = ROUNDING) -> Judged | None:
        """The cheapest plan, or the one of greatest score."""
        found = list(self.keeping(family, slack))
        if not found:
            return None
        if objective == "cost":
            return min(found, key=lambda p: p.cost)
        return max(found, key=lambda p: p.score)

    def conflict(self, family: Family) -> int | None:
        """How many limits a smallest conflicting set has; None where all hold together."""
        if next(self.keeping(family), None) is not None:
            return None
        stated = family.stated()
        for size in range(len(stated) + 1):
            for chosen in itertools.combinations(stated, size):
                if next(self.keeping(family.only(chosen)), None) is None:
                    return size
        raise AssertionError("no set conflicts, and yet no plan keeps them all")


# --- families at random ---------------------------------------------------------------------


def _money(rng: random.Random) -> float:
    """Zero now and then, else of any size."""
    if rng.random() < 0.12:
        return 0.0
    return float(f"{10 ** rng.uniform(-2, 2.5):.{rng.randint(1, 5)}g}")


def _item(rng: random.Random, name: str, kind: str, scale: int) -> Item:
    quantity = rng.choice((1, 1, 1, 3, 25, max(1, scale // 2), 2 * scale))
    price = _money(rng)
    breaks = []
    for _ in range(rng.randint(1, 4)):
        breaks.append((quantity, price))
        quantity = quantity + rng.choice((1, 7, max(1, scale // 3), scale, 3 * scale))
        # Mostly falling, as price lists do; some rise.
        price = price * rng.choice((0.5, 0.8, 0.93, 0.999, 1.0, 1.2, 3.0, 0.0))
    return Item(
        name=name,
        kind=kind,  # type: ignore[arg-type]
        breaks=tuple(breaks),
        multiple=rng.choice((1, 1, 1, 2, 7, 100, 3 * scale)),
        incremental=rng.random() < 0.35,
        stock=rng.choice((0, 0, 0, 1, scale // 3, scale, 10 * scale)),
    )


def _options(
    rng: random.Random, parts: list[str], others: list[str], scale: float, count: int
) -> tuple[Option, ...]:
    found: list[Option] = []
    for k in range(count):
        part = rng.choice(parts)
        pieces = {part: rng.choice((1, 1, 1, 2))}
        for name in rng.sample(others, rng.randint(0, len(others))):
            pieces[name] = rng.choice((0, 1, 1, 2, 5))
        option = Option(
            name=f"b{k}",
            part=part,
            feed=rng.choice(("pen", "pen", "pen", "coin")),
            pieces=pieces,
            other=_money(rng) * rng.choice((0, 1)),
            upkeep=_money(rng) * rng.choice((0, 1)),
            supply=_money(rng) * rng.choice((0, scale)),
            score=round(rng.uniform(40, 95), 2) * rng.choice((1, 1, 1, -0.1)),
            life_chance=rng.choice((0.0, 0.5, 0.9, 0.95, 1.0, 1.0, 1.0)),
            supply_of_two=(_money(rng) * rng.choice((0, scale)), _money(rng) * rng.choice((0, 1))),
            setup_h=rng.choice((0.0, 0.0, 0.5, 12.25)),
        )
        if found and rng.random() < 0.35:
            # the last one again, equal but for its name or in all but one thing
            alike = replace(found[-1], name=f"b{k}")
            thing = rng.choice(("", "setup_h", "supply_of_two", "upkeep", "supply", "score"))
            option = replace(alike, **{thing: getattr(option, thing)}) if thing else alike
        found.append(option)
    return tuple(found)


def small(seed: int) -> Family:
    """A family of 2 to 4 products with 2 to 5 options each, without limits of the whole."""
    rng = random.Random(seed)
    scale = rng.choice((1, 3, 10, 250, 1000, 12345, 10**6))
    parts = [f"p{i}" for i in range(rng.randint(2, 5))]
    others = [f"i{i}" for i in range(rng.randint(0, 3))]
    kinds = ("cell", "converter", "add-on")
    items = [_item(rng, n, "part", scale) for n in parts]
    items += [_item(rng, n, kinds[i], scale) for i, n in enumerate(others)]
    platforms = tuple(
        Platform(
            part=p,
            maker="xyz"[(k + rng.randint(0, 1)) % 3],
            setup_h=rng.choice((0.0, 0.0, 1.0, 8.0, round(rng.uniform(0, 300), 3))),
            toolchain=rng.choice((None, "gear", "gear", "kit")),
        )
        for k, p in enumerate(parts)
    )
    makers = {p.part: p.maker for p in platforms}
    members = []
    products = rng.choice((2, 2, 3, 3, 4))
    for k in range(products):
        count = rng.randint(2, {2: 5, 3: 4, 4: 3}[products])
        units = max(2, int(scale * rng.choice((0.3, 1, 1, 1.7))))
        options = _options(rng, parts, others, scale, count)
        second = rng.choice(("refused",) * 3 + ("allowed",) * 4 + ("required",))
        share = rng.choice((0.5, 0.25, 0.3, 1 / 3))
        if not 0 < int(share * units + 0.5) < units:
            second = "refused"
        used = sorted({makers[o.part] for o in options})
        pairs = {(a, b): _money(rng) * rng.choice((0, scale)) for a in used for b in used if a != b}
        members.append(
            Member(
                name=f"m{k}",
                units=units,
                options=options,
                favourite=max(options, key=lambda o: o.score).name
                if rng.random() < 0.8
                else rng.choice(options).name,
                tools=_money(rng) * rng.choice((0, 100)),
                life_chance=rng.choice((None, None, None, None, 0.5, 0.9)),
                give_up=rng.choice((None, None, None, None, 5.0, 30.0)),
                second=second,  # type: ignore[arg-type]
                second_share=share,
                porting_h=rng.choice((0.0, 4.0, 77.7)),
                two_sources=pairs if rng.random() < 0.5 else None,
            )
        )
    return Family(
        members=tuple(members),
        items=tuple(items),
        platforms=platforms,
        rate=rng.choice((0.0, 1.0, 85.0, 1e4)),
        toolchain_share=rng.choice((0.0, 0.5, 0.37, 1.0)),
    )


def limited(family: Family, plans: Plans, seed: int) -> Family:
    """Limits drawn about what the family's plans come to; some are met exactly."""
    rng = random.Random(seed + 10**6)
    wanted = list(plans.keeping(family)) or plans.all
    if not wanted:
        return family

    def of(name: str, chance: float) -> float | None:
        if rng.random() > chance:
            return None
        values = sorted(getattr(p, name) for p in wanted)
        value = float(values[int(rng.random() ** 2 * len(values))])
        return value * rng.choice((1.0, 1.01, 1.01, 1.01, 1.05, 0.97))

    return replace(
        family,
        limits=Limits(
            parts=rng.choice((None, None, None, 1, 2, 2, 3)),
            hours=of("hours", 0.25),
            capital=of("capital", 0.25),
            cost=of("cost", 0.2),
        ),
    )
