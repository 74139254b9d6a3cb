"""Several products that share parts: what there is to decide on, as plain numbers.

Pure data. Amounts of money are in one currency, expected over the draws or stated; nothing here
knows of a catalogue. `family_model` makes the mixed-integer program of it, `family_plans` solves.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import field, replace
from typing import Literal

from advisor.dataclass import dataclass

Kind = Literal["part", "cell", "converter", "add-on"]
Second = Literal["refused", "allowed", "required"]
Rule = Literal["parts", "engineering", "capital", "cost", "life-chance", "give-up", "second-source"]

KINDS: tuple[Kind, ...] = ("part", "cell", "converter", "add-on")
SAME = 1e-9
"""What a score in points or a chance may miss by rounding alone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """Something bought by the piece.

    Attributes
    ----------
    breaks : (quantity, price each), quantities ascending from 1 or the minimum order up. The price
        holds for all pieces of a purchase; with `incremental` for the pieces beyond the quantity.
    multiple : sold in multiples of this. stock : pieces at hand, paid already.
    """

    name: str
    kind: Kind
    breaks: tuple[tuple[int, float], ...]
    multiple: int = 1
    incremental: bool = False
    stock: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """A build that a product may take.

    Attributes
    ----------
    part : of a `Platform`; bought as the item of that name. feed : pack and converter, any text.
    pieces : item to pieces per unit, the part among them.
    other, upkeep : money per unit: extras and reservoir; expected upkeep over the service life.
    supply : expected cost of supply risk with this as the only source, money for all units.
    supply_of_two : what is its own of that cost as the first and as the second of two sources.
    setup_h : hours that it takes beside its part's, for each product that takes it.
    score : expected score, points. life_chance : of reaching the life target, 0..1.
    """

    name: str
    part: str
    feed: str
    pieces: Mapping[str, int]
    other: float
    upkeep: float
    supply: float
    score: float
    life_chance: float
    supply_of_two: tuple[float, float] = (0.0, 0.0)
    setup_h: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """A product of the family.

    Attributes
    ----------
    favourite : the option that it takes where nothing is shared, by name.
    tools : money, once. life_chance : least chance of reaching the life target, 0..1.
    give_up : points of score that it may lose against its favourite.
    second_share : share of the units made with the second source. porting_h : hours for it.
    two_sources : (maker, maker) to what is the pair's of the expected cost of supply risk, money
        for all units; None where supply is not counted.
    """

    name: str
    units: int
    options: tuple[Option, ...]
    favourite: str
    tools: float = 0.0
    life_chance: float | None = None
    give_up: float | None = None
    second: Second = "refused"
    second_share: float = 0.0
    porting_h: float = 0.0
    two_sources: Mapping[tuple[str, str], float] | None = None

    @property
    def second_units(self) -> int:
        """Units made with the second source, where there is one: the nearest whole number."""
        return math.floor(self.second_share * self.units + 0.5)

    @property
    def least_score(self) -> float:
        """Points that the product keeps under its give-up, rounding allowed for; else -inf."""
        if self.give_up is None:
            return -math.inf
        best = next(o.score for o in self.options if o.name == self.favourite)
        return best - self.give_up - SAME

    def points(self, made: Sequence[tuple[Option, int]]) -> float:
        """Its score with one or two options, each with the units that are made so."""
        if len(made) == 1:
            return made[0][0].score
        return sum(o.score * units for o, units in made) / self.units

    def lives(self, option: Option) -> bool:
        """Whether an option reaches the life target as surely as is asked."""
        return self.life_chance is None or option.life_chance >= self.life_chance - SAME


@dataclass(frozen=True, slots=True, kw_only=True)
class Platform:
    """A part's maker, its set-up hours, and the id of its toolchain; None: one of its own."""

    part: str
    maker: str
    setup_h: float
    toolchain: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Of the whole family: different parts, engineering hours, capital, expected cost."""

    parts: int | None = None
    hours: float | None = None
    capital: float | None = None
    cost: float | None = None


@dataclass(frozen=True, slots=True, order=True)
class Limit:
    """One limit by its rule and, where it is a product's own, the product."""

    rule: Rule
    member: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """The products, what can be bought, and what limits them all.

    Attributes
    ----------
    toolchain_share : share of a part's set-up hours that belongs to its toolchain, paid once for
        all adopted parts of one toolchain (the most hours of them). rate : money per hour.

    Raises
    ------
    ValueError
        With everything that does not fit together, one line each.
    """

    members: tuple[Member, ...]
    items: tuple[Item, ...]
    platforms: tuple[Platform, ...]
    rate: float
    toolchain_share: float = 0.5
    limits: Limits = field(default_factory=Limits)

    def __post_init__(self) -> None:
        wrong = list(_faults(self))
        if wrong:
            raise ValueError("\n".join(wrong))

    def member(self, name: str) -> Member:
        """The product of that name."""
        return next(m for m in self.members if m.name == name)

    def stated(self) -> tuple[Limit, ...]:
        """The limits that are on: the family's, then each product's."""
        own: list[Limit] = []
        for rule, value in _shared(self.limits).items():
            own += [] if value is None else [Limit(rule)]
        for m in self.members:
            own += [] if m.life_chance is None else [Limit("life-chance", m.name)]
            own += [] if m.give_up is None else [Limit("give-up", m.name)]
            own += [Limit("second-source", m.name)] if m.second == "required" else []
        return tuple(own)

    def only(self, limits: Iterable[Limit]) -> Family:
        """The family with all other limits switched off. A second source stays allowed."""
        kept = set(limits)
        found = self
        for limit in self.stated():
            if limit not in kept:
                found = found.moved(limit, None)
        return found

    def moved(self, limit: Limit, value: float | None) -> Family:
        """The family with a limit at another value; None switches it off."""
        match limit.rule:
            case "parts":
                whole = None if value is None else int(value)
                return replace(self, limits=replace(self.limits, parts=whole))
            case "engineering":
                return replace(self, limits=replace(self.limits, hours=value))
            case "capital":
                return replace(self, limits=replace(self.limits, capital=value))
            case "cost":
                return replace(self, limits=replace(self.limits, cost=value))
            case "life-chance":
                return self._with(replace(self.member(limit.member), life_chance=value))
            case "give-up":
                return self._with(replace(self.member(limit.member), give_up=value))
            case "second-source":
                word: Second = "allowed" if value is None else "required"
                return self._with(replace(self.member(limit.member), second=word))

    def value(self, limit: Limit) -> float | None:
        """A limit's value; None where it is off, or where it has none."""
        if limit.member:
            m = self.member(limit.member)
            return {"life-chance": m.life_chance, "give-up": m.give_up}.get(limit.rule)
        return _shared(self.limits)[limit.rule]

    def words(self, limit: Limit) -> str:
        """A limit as one says it."""
        value = self.value(limit)
        if limit.rule == "second-source":
            return f"{limit.member} has a second source"
        if value is None:
            raise ValueError(f"{limit} is not on")
        match limit.rule:
            case "parts":
                return f"at most {value:.0f} different part{'' if value == 1 else 's'}"
            case "engineering":
                return f"at most {value:g} h of engineering"
            case "capital":
                return f"at most {value:,.12g} of capital"
            case "cost":
                return f"at most {value:,.12g} of expected cost"
            case "life-chance":
                share = f"{100 * value:.10g} %"
                return f"{limit.member} reaches its life target in at least {share} of the draws"
            case _:
                return f"{limit.member} gives up at most {value:g} points of its score"

    def _with(self, member: Member) -> Family:
        members = tuple(member if m.name == member.name else m for m in self.members)
        return replace(self, members=members)


def _shared(limits: Limits) -> dict[Rule, float | None]:
    return {
        "parts": limits.parts,
        "engineering": limits.hours,
        "capital": limits.capital,
        "cost": limits.cost,
    }


def _faults(family: Family) -> Iterator[str]:
    """What does not fit together."""
    for what, names in (
        ("product", [m.name for m in family.members]),
        ("item", [i.name for i in family.items]),
        ("part", [p.part for p in family.platforms]),
    ):
        yield from (f"{what} {n!r} is there twice" for n in sorted(_twice(names)))
    yield from _unreal("the family", rate=family.rate)
    yield from () if family.members else ("a family has a product at least",)
    if not 0 <= family.toolchain_share <= 1:
        yield f"a toolchain's share of {family.toolchain_share}"
    for rule, value in _shared(family.limits).items():
        if value is not None and not (value >= 0 and math.isfinite(value)):
            yield f"limit {rule}: {value}"
    for platform in family.platforms:
        yield from _unreal(f"part {platform.part!r}", setup_h=platform.setup_h)
    for item in family.items:
        yield from _of_item(item)
    known = {p.part: p.maker for p in family.platforms}
    items = {i.name for i in family.items}
    for member in family.members:
        yield from _of_member(member, known, items)


def _of_item(item: Item) -> Iterator[str]:
    at = f"item {item.name!r}"
    quantities = [q for q, _ in item.breaks]
    if not quantities or quantities != sorted(set(quantities)) or quantities[0] < 1:
        yield f"{at}: breaks at {quantities} are not ascending from 1 up"
    for q, price in item.breaks:
        yield from _unreal(at, **{f"price from {q}": price})
    if item.multiple < 1 or item.stock < 0:
        yield f"{at}: a multiple of {item.multiple}, {item.stock} in stock"


def _of_member(member: Member, makers: Mapping[str, str], items: set[str]) -> Iterator[str]:
    at = f"product {member.name!r}"
    names = [o.name for o in member.options]
    yield from (f"{at}: option {n!r} is there twice" for n in sorted(_twice(names)))
    if member.favourite not in names:
        yield f"{at}: its favourite {member.favourite!r} is none of its options"
    if member.units < 1:
        yield f"{at}: {member.units} units"
    yield from _unreal(at, tools=member.tools, porting_h=member.porting_h)
    if member.life_chance is not None and not 0 <= member.life_chance <= 1:
        yield f"{at}: a chance of {member.life_chance}"
    if member.give_up is not None:
        yield from _unreal(at, give_up=member.give_up)
    used = {makers[o.part] for o in member.options if o.part in makers}
    if member.second != "refused":
        if not 0 < member.second_units < member.units:
            yield f"{at}: a second source for {member.second_units} of {member.units} units"
        known = member.two_sources
        pairs = [(a, b) for a in sorted(used) for b in sorted(used - {a})]
        for a, b in pairs:
            if known is not None and (a, b) not in known:
                yield f"{at}: no cost of supply with {a!r} first and {b!r} second"
        for pair, money in (known or {}).items():
            yield from _unreal(at, **{" and ".join(pair): money})
    for option in member.options:
        here = f"{at}, option {option.name!r}"
        if option.part not in makers:
            yield f"{here}: no part {option.part!r}"
        if option.pieces.get(option.part, 0) < 1:
            yield f"{here}: its part is not among its pieces"
        for name, count in option.pieces.items():
            if name not in items:
                yield f"{here}: no item {name!r}"
            if count < 0:
                yield f"{here}: {count} pieces of {name!r}"
        amounts = {"other": option.other, "upkeep": option.upkeep, "supply": option.supply}
        amounts["setup_h"] = option.setup_h
        for place, own in zip(("first", "second"), option.supply_of_two, strict=True):
            amounts[f"supply as the {place} of two"] = own
        yield from _unreal(here, **amounts)
        if not math.isfinite(option.score):
            yield f"{here}: a score of {option.score}"
        if not 0 <= option.life_chance <= 1:
            yield f"{here}: a chance of {option.life_chance}"


def _unreal(at: str, **amounts: float) -> Iterator[str]:
    for name, amount in amounts.items():
        if not (amount >= 0 and math.isfinite(amount)):
            yield f"{at}: {name} of {amount}"


def _twice(names: Iterable[str]) -> set[str]:
    counts = Counter(names)
    return {name for name, count in counts.items() if count > 1}
