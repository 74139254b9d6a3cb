"""Small families at random, and all of their plans from the algebra in plain loops.

Nothing here uses the model: only the records.
"""

from __future__ import annotations

import itertools
import random
from dataclasses import dataclass

from advisor.decide.family import Family, Item, Limits, Member, Option, Platform, Second

MAKERS = ("north", "south", "west")


@dataclass(frozen=True)
class Whole:
    """A plan as the algebra has it: what each product takes, and its sums."""

    builds: tuple[tuple[str, str | None], ...]
    parts: tuple[tuple[str, ...], ...]
    cost: float
    capital: float
    hours: float
    score: float


def spend(item: Item, need: int) -> float:
    """The least money for at least so many pieces, every quantity tried one by one."""
    if need <= item.stock:
        return 0.0
    rest = need - item.stock
    highest = max(rest, item.breaks[-1][0]) + item.multiple
    best = None
    for q in range(rest, highest + 1):
        if q % item.multiple or q < item.breaks[0][0]:
            continue
        if item.incremental:
            money = 0.0
            for k, (start, price) in enumerate(item.breaks):
                lower = 0 if k == 0 else start
                upper = item.breaks[k + 1][0] if k + 1 < len(item.breaks) else q
                money += price * max(0, min(q, upper) - lower)
        else:
            money = q * [price for start, price in item.breaks if start <= q][-1]
        best = money if best is None else min(best, money)
    assert best is not None
    return best


def every_plan(family: Family) -> list[Whole]:
    """All plans, whatever the limits; only a second source that is required or refused counts."""
    part = {q.part: q for q in family.platforms}
    items = {i.name: i for i in family.items}
    money: dict[tuple[str, int], float] = {}
    choices: list[list[tuple[Option, Option | None]]] = []
    for m in family.members:
        own: list[tuple[Option, Option | None]] = []
        if m.second != "required":
            own += [(o, None) for o in m.options]
        if m.second != "refused":
            own += [
                (a, b)
                for a in m.options
                for b in m.options
                if a.feed == b.feed and part[a.part].maker != part[b.part].maker
            ]
        choices.append(own)
    found = []
    for chosen in itertools.product(*choices):
        need: dict[str, int] = {}
        later = extras = tools = hours = score = 0.0
        used: set[str] = set()
        for m, (a, b) in zip(family.members, chosen, strict=True):
            n2 = 0 if b is None else int(m.units * m.second_share + 0.5)
            n1 = m.units - n2
            tools += m.tools
            for o, n in ((a, n1), (b, n2)):
                if o is not None:
                    used.add(o.part)
                    extras += o.other * n
                    later += o.upkeep * n
                    score += o.score * n / m.units
                    for name, count in o.pieces.items():
                        need[name] = need.get(name, 0) + count * n
            if b is None:
                later += a.supply
            else:
                hours += m.porting_h
                if m.two_sources is not None:
                    later += m.two_sources[part[a.part].maker, part[b.part].maker]
        chains: dict[str, list[float]] = {}
        for name in used:
            if part[name].toolchain is None:
                hours += part[name].setup_h
            else:
                hours += (1 - family.toolchain_share) * part[name].setup_h
                chains.setdefault(str(part[name].toolchain), []).append(part[name].setup_h)
        hours += sum(family.toolchain_share * max(hs) for hs in chains.values())
        purchases = 0.0
        for name, n in need.items():
            if n and (name, n) not in money:
                money[name, n] = spend(items[name], n)
            purchases += money[name, n] if n else 0.0
        capital = purchases + extras + tools + family.rate * hours
        found.append(
            Whole(
                tuple((a.name, None if b is None else b.name) for a, b in chosen),
                tuple((a.part,) if b is None else (a.part, b.part) for a, b in chosen),
                capital + later,
                capital,
                hours,
                score / len(family.members),
            )
        )
    return found


def keeps(family: Family, plan: Whole, slack: float = 1e-7) -> bool:
    """Whether a plan keeps every limit."""
    limits = family.limits
    used = {p for parts in plan.parts for p in parts}
    if limits.parts is not None and len(used) > limits.parts:
        return False
    for value, limit in (
        (plan.hours, limits.hours),
        (plan.capital, limits.capital),
        (plan.cost, limits.cost),
    ):
        if limit is not None and value > limit + slack:
            return False
    for m, (first, second) in zip(family.members, plan.builds, strict=True):
        options = {o.name: o for o in m.options}
        both = [options[first]] + ([] if second is None else [options[second]])
        if m.life_chance is not None and any(o.life_chance < m.life_chance for o in both):
            return False
        if m.give_up is not None:
            share = 0.0 if second is None else int(m.units * m.second_share + 0.5) / m.units
            score = (1 - share) * both[0].score + share * both[-1].score
            if score < options[m.favourite].score - m.give_up - slack:
                return False
        if m.second == "required" and second is None:
            return False
    return True


def drawn(seed: int, products: int = 3, parts: int = 4, limited: bool = True) -> Family:
    """A small family: every kind of price, limit, stock and source comes up among the seeds."""
    draw = random.Random(seed)

    def item(name: str, kind: str, low: float, high: float) -> Item:
        price = round(draw.uniform(low, high), 2)
        breaks = [(draw.choice([1, 1, 1, 20, 60]), price)]
        for q in sorted(draw.sample([80, 100, 150, 240, 300], draw.choice([0, 1, 2, 2]))):
            price = round(price * draw.choice([0.97, 0.9, 0.7, 0.5, 1.1]), 2)
            breaks.append((q, price))
        return Item(
            name=name,
            kind=kind,  # type: ignore[arg-type]
            breaks=tuple(breaks),
            multiple=draw.choice([1, 1, 1, 7, 50]),
            incremental=draw.random() < 0.3,
            stock=draw.choice([0, 0, 0, 30, 90, 400]),
        )

    platforms = tuple(
        Platform(
            part=f"p{j}",
            maker=draw.choice(MAKERS),
            setup_h=float(draw.randrange(0, 30)),
            toolchain=draw.choice([None, "a", "a", "b"]),
        )
        for j in range(parts)
    )
    items = [item(f"p{j}", "part", 1, 6) for j in range(parts)]
    items += [item("cell-1", "cell", 0.5, 3), item("cell-2", "cell", 0.5, 3)]
    items += [item("buck", "converter", 0.2, 1), item("radio", "add-on", 1, 3)]
    members = []
    for p in range(products):
        options = []
        for j in range(parts):
            for cell in draw.sample(["cell-1", "cell-2"], draw.choice([1, 1, 2])):
                pieces = {f"p{j}": 1, cell: draw.choice([1, 1, 2])}
                pieces |= {"buck": 1} if cell == "cell-2" else {}
                pieces |= {"radio": 1} if draw.random() < 0.2 else {}
                upkeep = draw.choice([0.0, 0.01, 0.5, 2.0, 2.0, 9.0, 1e6, 1e12])
                options.append(
                    Option(
                        name=f"p{j} on {cell}",
                        part=f"p{j}",
                        feed=cell,
                        pieces=pieces,
                        other=round(draw.uniform(0, 1), 2),
                        upkeep=upkeep,
                        supply=float(draw.randrange(0, 90)),
                        score=float(draw.randrange(20, 95)),
                        life_chance=draw.randrange(50, 101) / 100,
                    )
                )
        draw.shuffle(options)
        second: Second = "refused"
        if draw.random() < 0.4:
            second = draw.choice(["allowed", "allowed", "required"]) if limited else "allowed"
        pairs = {(a, b): float(draw.randrange(0, 60)) for a in MAKERS for b in MAKERS if a != b}
        members.append(
            Member(
                name=f"product-{p}",
                units=draw.choice([20, 45, 70, 110]),
                options=tuple(options),
                favourite=max(options, key=lambda o: o.score).name,
                tools=float(draw.randrange(0, 300)),
                life_chance=draw.choice([None, None, 0.6, 0.8, 0.9]) if limited else None,
                give_up=draw.choice([None, None, 40.0, 25.0, 8.0]) if limited else None,
                second=second,
                second_share=0.3 if second != "refused" else 0.0,
                porting_h=float(draw.randrange(0, 12)),
                two_sources=draw.choice([pairs, pairs, None]),
            )
        )
    limits = Limits()
    if limited:
        limits = Limits(
            parts=draw.choice([None, None, 1, 2]),
            hours=draw.choice([None, None, 25.0, 60.0]),
            capital=draw.choice([None, None, 1600.0, 3500.0]),
            cost=draw.choice([None, None, None, 5000.0]),
        )
    return Family(
        members=tuple(members),
        items=tuple(items),
        platforms=platforms,
        rate=float(draw.choice([10, 60])),
        toolchain_share=draw.choice([0.5, 0.5, 0.0, 1.0, 0.3]),
        limits=limits,
    )
