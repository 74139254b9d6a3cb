"""The mixed-integer program of a family, written once; its algebra is in reference/family.md.

Every variable and row bears the name that it has there. A build is `only` of its product, or
`first` or `second` of two; the three are called roles. What is bought is assigned, role by role,
to the price break of its item at which it is bought, so that one binary a break is tight: a part
of a product's pieces cannot enjoy a break that is not paid for (disaggregated, as in capacitated
location; Krarup and Bilde 1977 show the same for lot sizes).
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import Literal

from advisor.dataclass import dataclass, field
from advisor.decide.family import Family, Item, Member, Option
from advisor.lp import Model

Role = Literal["only", "first", "second"]
Key = tuple[str, Role, str]  # a product, a role, an option
Terms = dict[str, float]

BOTH: tuple[Role, Role] = ("first", "second")
_SIDES: tuple[tuple[str, tuple[Role, ...]], ...] = (
    ("", ("only", "first")),
    (" second", ("only", "second")),
)


@dataclass(frozen=True, slots=True)
class Build:
    """A build that a product takes, and the one of its second source, by name."""

    first: str
    second: str | None = None


@dataclass(frozen=True, slots=True)
class Tier:
    """A price break of an item: pieces from `least` to `most` cost `fixed` + `each` x pieces."""

    least: int
    most: float
    fixed: float
    each: float


@dataclass(slots=True)
class Program:
    """The model, and what is read off and bounded: sums over its variables.

    `roles` maps (product, role, option) to its variable; `parts` (product, role, part) to those
    of the options that use the part.
    """

    family: Family
    model: Model
    roles: dict[tuple[str, Role, str], str] = field(default_factory=dict)
    parts: dict[tuple[str, Role, str], list[str]] = field(default_factory=dict)
    cost: Terms = field(default_factory=lambda: defaultdict(float))
    capital: Terms = field(default_factory=lambda: defaultdict(float))
    hours: Terms = field(default_factory=lambda: defaultdict(float))
    score: Terms = field(default_factory=lambda: defaultdict(float))
    fixed: float = 0.0  # tools: in cost and capital, whatever is chosen
    whole: bool = True
    linked: set[str] = field(default_factory=set)  # parts whose breaks imply their adoption
    kept: Collection[Key] | None = None

    def builds(self, values: Mapping[str, float]) -> dict[str, Build]:
        """What a solution takes, product by product."""
        taken: dict[str, dict[Role, str]] = {m.name: {} for m in self.family.members}
        for (member, role, option), name in self.roles.items():
            if values[name] > 0.5:
                taken[member][role] = option
        return {
            m: Build(t["only"]) if "only" in t else Build(t["first"], t["second"])
            for m, t in taken.items()
        }

    def exclude(self, builds: Mapping[str, Build], name: str) -> None:
        """Leave out the plans that put the parts of `builds` where it puts them."""
        terms: Terms = {}
        count = 0
        for member in self.family.members:
            part = {o.name: o.part for o in member.options}
            build = builds[member.name]
            pairs: list[tuple[Role, str]] = [("only", build.first)]
            if build.second is not None:
                pairs = [("first", build.first), ("second", build.second)]
            for role, option in pairs:
                count += 1
                terms |= dict.fromkeys(self.parts.get((member.name, role, part[option]), ()), 1.0)
        self.model.constraint(name, terms, "<=", count - 1)


def program(family: Family, whole: bool = True, kept: Collection[Key] | None = None) -> Program:
    """The program of a family, without an objective; its relaxation with `whole` false.

    `kept` restricts it to some of the (product, role, option) of another program.
    """
    made = Program(family, Model("family"), whole=whole, kept=kept)
    uses: dict[str, list[_Use]] = defaultdict(list)
    for member in family.members:
        _member(made, member, uses)
    _platforms(made)
    for item in family.items:
        if uses[item.name]:
            _item(made, item, uses[item.name])
    _adopted(made)
    _limits(made)
    return made


@dataclass(frozen=True, slots=True)
class _Use:
    """Pieces of an item that a product needs in a role, if one of `options` is taken."""

    member: str
    role: Role
    count: int
    pieces: int
    options: tuple[str, ...]


def admissible(member: Member) -> tuple[list[Option], list[Option]]:
    """The options that may be the only build, and those that may be one of two.

    Of options that differ in money per unit, score and chance alone the one that no other beats
    is kept, the first by name of equal ones: no limit could ever prefer another.
    """
    living = [o for o in member.options if member.lives(o)]
    alone = [o for o in living if o.score >= member.least_score]
    return _unbeaten(alone), [] if member.second == "refused" else _unbeaten(living)


def _unbeaten(options: Sequence[Option]) -> list[Option]:
    like: dict[object, list[Option]] = defaultdict(list)
    for o in options:
        like[o.part, o.feed, tuple(sorted(o.pieces.items()))].append(o)
    beaten = {
        a.name
        for alike in like.values()
        for a in alike
        for b in alike
        if a is not b and _beats(b, a)
    }
    return [o for o in options if o.name not in beaten]


def _beats(b: Option, a: Option) -> bool:
    mine = (a.other, a.upkeep, a.supply, *a.supply_of_two, a.setup_h, -a.score, -a.life_chance)
    its = (b.other, b.upkeep, b.supply, *b.supply_of_two, b.setup_h, -b.score, -b.life_chance)
    no_worse = all(y <= x for x, y in zip(mine, its, strict=True))
    return no_worse and (mine != its or b.name < a.name)


def _member(made: Program, member: Member, uses: dict[str, list[_Use]]) -> None:
    """A product's builds: one, or a first and a second of different makers on one feed."""
    model, p = made.model, member.name
    alone, either = admissible(member)
    made.fixed += member.tools
    one: Terms = {}
    if member.second != "required":
        alone = _of(made, p, "only", alone)
        one = {_build(made, member, "only", o): 1.0 for o in alone}
        _needs(member, "only", alone, made, uses)
    if member.second != "refused":
        dual = f"dual {p}"
        _whole(made, dual)
        options: dict[Role, list[Option]] = {r: _of(made, p, r, either) for r in BOTH}
        for role in BOTH:
            for o in options[role]:
                _build(made, member, role, o)
            _needs(member, role, options[role], made, uses)
        _two_sources(made, member, options, dual)
        made.hours[dual] += member.porting_h
        one[dual] = 1.0
    model.constraint(f"one build {p}", one, "=", 1)


def _of(made: Program, member: str, role: Role, options: Sequence[Option]) -> list[Option]:
    kept = made.kept
    return [o for o in options if kept is None or (member, role, o.name) in kept]


def _build(made: Program, member: Member, role: Role, option: Option) -> str:
    """The variable of a build in a role, with what it costs and scores per unit made so."""
    name = f"{role} {member.name} {option.name}"
    _whole(made, name)
    made.roles[member.name, role, option.name] = name
    made.parts.setdefault((member.name, role, option.part), []).append(name)
    units = units_of(member, role)
    made.capital[name] += option.other * units
    if option.setup_h:
        made.hours[name] += option.setup_h
    made.cost[name] += (option.other + option.upkeep) * units
    first, second = option.supply_of_two
    made.cost[name] += {"only": option.supply, "first": first, "second": second}[role]
    made.score[name] += option.score * units / member.units / len(made.family.members)
    return name


def units_of(member: Member, role: Role) -> int:
    """Units of a product that are made in a role."""
    if role == "only":
        return member.units
    return member.second_units if role == "second" else member.units - member.second_units


def beside_pieces(member: Member, role: Role, option: Option, rate: float) -> float:
    """What a build costs in a role beside its pieces and what it shares with others, money."""
    first, second = option.supply_of_two
    supply = {"only": option.supply, "first": first, "second": second}[role]
    own = (option.other + option.upkeep) * units_of(member, role)
    return own + rate * option.setup_h + supply


def _two_sources(
    made: Program, member: Member, options: Mapping[Role, Sequence[Option]], dual: str
) -> None:
    model, p, roles = made.model, member.name, made.roles
    makers = {q.part: q.maker for q in made.family.platforms}
    either = [*options["first"], *options["second"]]
    for role in BOTH:
        terms = {roles[p, role, o.name]: 1.0 for o in options[role]} | {dual: -1.0}
        model.constraint(f"{role} {p}", terms, "=", 0)
    for feed in dict.fromkeys(o.feed for o in either):
        terms = {
            roles[p, role, o.name]: sign
            for role, sign in zip(BOTH, (1.0, -1.0), strict=True)
            for o in options[role]
            if o.feed == feed
        }
        model.constraint(f"same feed {p} {feed}", terms, "=", 0)
    used = list(dict.fromkeys(makers[o.part] for o in either))
    pairs = [(a, b) for a in used for b in used if a != b]
    for a, b in pairs:
        model.variable(f"pair {p} {a} | {b}", 0, 1)
        made.cost[f"pair {p} {a} | {b}"] += (member.two_sources or {}).get((a, b), 0.0)
    for place, role in enumerate(BOTH):
        for maker in used:
            terms = {roles[p, role, o.name]: 1.0 for o in options[role] if makers[o.part] == maker}
            terms |= {f"pair {p} {a} | {b}": -1.0 for a, b in pairs if (a, b)[place] == maker}
            model.constraint(f"maker {role} {p} {maker}", terms, "=", 0)
    if member.give_up is not None:
        n = member.units
        terms = {dual: -member.least_score}
        for role in BOTH:
            share = units_of(member, role) / n
            terms |= {roles[p, role, o.name]: o.score * share for o in options[role]}
        model.constraint(f"give-up {p}", terms, ">=", 0)


def _needs(
    member: Member,
    role: Role,
    options: Iterable[Option],
    made: Program,
    uses: dict[str, list[_Use]],
) -> None:
    """The pieces that a role needs, item by item and count by count."""
    by: dict[tuple[str, int], list[str]] = defaultdict(list)
    for o in options:
        for item, count in o.pieces.items():
            if count:
                by[item, count].append(made.roles[member.name, role, o.name])
    units = units_of(member, role)
    for (item, count), names in by.items():
        uses[item].append(
            _Use(
                member=member.name,
                role=role,
                count=count,
                pieces=count * units,
                options=tuple(names),
            )
        )


def _platforms(made: Program) -> None:
    """Adopted parts, and the hours of their set-up and toolchains."""
    family, model = made.family, made.model
    used = {part for _, _, part in made.parts}
    platforms = [q for q in family.platforms if q.part in used]
    chains: dict[str, list[str]] = defaultdict(list)
    for q in platforms:
        _whole(made, f"adopt {q.part}")
        if q.toolchain is not None:
            chains[q.toolchain].append(q.part)
    hours = {q.part: q.setup_h for q in platforms}
    sigma = family.toolchain_share
    shared = {part for parts in chains.values() if len(parts) > 1 for part in parts}
    for part, h in hours.items():
        made.hours[f"adopt {part}"] += h * (1 - sigma if part in shared else 1.0)
    for chain, parts in chains.items():
        if len(parts) > 1 and sigma > 0:
            model.variable(f"toolchain {chain}", 0, sigma * max(hours[part] for part in parts))
            made.hours[f"toolchain {chain}"] += 1.0
            for member in family.members:
                for with_, roles in _SIDES:
                    terms = {
                        name: sigma * hours[part]
                        for part in parts
                        for role in roles
                        for name in made.parts.get((member.name, role, part), ())
                    }
                    if terms and (with_ == "" or member.second != "refused"):
                        terms[f"toolchain {chain}"] = -1.0
                        row = f"toolchain {chain} {member.name}{with_}"
                        model.constraint(row, terms, "<=", 0)
    for name, h in made.hours.items():
        made.capital[name] += family.rate * h
        made.cost[name] += family.rate * h


def _adopted(made: Program) -> None:
    """A part is used only where it is adopted; where it is bought at a break, that says so."""
    users: dict[tuple[str, str], Terms] = defaultdict(dict)
    for (p, _, part), names in made.parts.items():
        if part not in made.linked:
            users[part, p] |= dict.fromkeys(names, 1.0)
    for (part, p), terms in users.items():
        # the roles of one product exclude each other on one part: makers differ
        made.model.constraint(f"adopted {part} {p}", terms | {f"adopt {part}": -1.0}, "<=", 0)


def affine(item: Item) -> Iterator[tuple[int, float, float]]:
    """Each price break: its quantity, what it costs beside the pieces, its price each."""
    fixed, before = 0.0, item.breaks[0][1]
    for at, (quantity, each) in enumerate(item.breaks):
        if item.incremental and at:
            fixed += (before - each) * quantity
        before = each
        yield quantity, fixed, each


def breaks_of(item: Item) -> list[Tier]:
    """The price breaks by whole multiples; none fits into one whose least is above its most."""
    m = item.multiple
    ends = [*((q - 1) // m * m for q, _ in item.breaks[1:]), math.inf]
    return [
        Tier(-(-quantity // m) * m, end, fixed, each)
        for (quantity, fixed, each), end in zip(affine(item), ends, strict=True)
    ]


def tiers(item: Item, fewest: int, most: int) -> list[Tier]:
    """The price breaks at which between `fewest` and `most` pieces can be bought best.

    Left out are those that end below the fewest, and those beyond the most whose whole least
    purchase costs no less than the most pieces at a lower break.
    """
    found = []
    whole = -(-most // item.multiple) * item.multiple
    for at, tier in enumerate(breaks_of(item)):
        if tier.least <= tier.most and fewest <= tier.most:
            found.append(tier)
        last = at + 1 == len(item.breaks)
        if found and not last and whole < item.breaks[at + 1][0]:
            # only what a break that is kept sells: its price may not hold further up
            all_of_it = min(
                t.fixed + t.each * max(t.least, whole) for t in found if whole <= t.most
            )
            rest = item.breaks[at + 1 :]
            if item.incremental or all(q * price >= all_of_it for q, price in rest):
                break
    return found


def _item(made: Program, item: Item, uses: Sequence[_Use]) -> None:
    """What an item costs, at the break that the pieces of all products reach together."""
    model, i = made.model, item.name
    most: dict[tuple[str, Role], int] = defaultdict(int)
    for use in uses:
        most[use.member, use.role] = max(most[use.member, use.role], use.pieces)
    fewest = 1 if item.stock else min(use.pieces for use in uses)
    most_of_all = max(sum(most.values()) - item.stock, 1)
    found = tiers(item, fewest, most_of_all)
    only = found[0]
    plain = len(found) == 1 and not (item.stock or item.multiple > 1 or only.fixed)
    if plain and only.least <= fewest:  # a price each, whoever buys
        for use in uses:
            for name in use.options:
                _pay(made, name, only.each * use.pieces)
        return
    if item.stock:
        terms = {_take(use, i, "stock"): float(use.pieces) for use in uses}
        for name in terms:
            model.variable(name, 0, 1)
        model.constraint(f"stock {i}", terms, "<=", item.stock)
    for use in uses:
        takes = {_take(use, i, t.least): 1.0 for t in found if _fits(use, item, t)}
        for name in takes:
            model.variable(name, 0, 1)
        if item.stock:
            takes[_take(use, i, "stock")] = 1.0
        row = f"covered {i} {use.member} {use.role} {use.count}"
        model.constraint(row, takes | dict.fromkeys(use.options, -1.0), "=", 0)
    reaches = {}
    for t in found:
        reach, bought, tag = f"reach {i} {t.least}", f"bought {i} {t.least}", f"{i} {t.least}"
        _whole(made, reach)
        reaches[reach] = 1.0
        m = float(item.multiple)
        # more is never of use: all that may be needed, or what the break asks for
        room = math.ceil(max(most_of_all, t.least) / m)
        model.variable(bought, 0, room, integer=made.whole and item.multiple > 1)
        fitting = [use for use in uses if _fits(use, item, t)]
        terms = {_take(use, i, t.least): float(use.pieces) for use in fitting}
        model.constraint(f"pieces {tag}", terms | {bought: -m}, "<=", 0)
        model.constraint(f"least {tag}", {reach: float(t.least), bought: -m}, "<=", 0)
        if math.isfinite(t.most):
            model.constraint(f"most {tag}", {bought: m, reach: -float(t.most)}, "<=", 0)
        _open(made, item, fitting, t, reach)
        _pay(made, bought, t.each * m)
        _pay(made, reach, t.fixed)
    if item.kind == "part" and f"adopt {i}" in made.hours:
        model.constraint(f"one break {i}", reaches | {f"adopt {i}": -1.0}, "<=", 0)
        if not item.stock:
            made.linked.add(i)
    else:
        model.constraint(f"one break {i}", reaches, "<=", 1)


def _open(made: Program, item: Item, uses: Sequence[_Use], t: Tier, reach: str) -> None:
    """A product's pieces come at a break only where it is paid for."""
    # on a part the roles exclude each other; on what both sources share they do not
    groups: Sequence[tuple[str, tuple[Role, ...]]] = _SIDES
    if item.kind == "part":
        groups = [("", ("only", "first", "second"))]
    by: dict[str, list[_Use]] = defaultdict(list)
    for use in uses:
        by[use.member].append(use)
    for p, own in by.items():
        for suffix, roles in groups:
            terms = {_take(use, item.name, t.least): 1.0 for use in own if use.role in roles}
            if not terms or (suffix and all(use.role == "only" for use in own)):
                continue
            row = f"open {item.name} {t.least} {p}{suffix}"
            made.model.constraint(row, terms | {reach: -1.0}, "<=", 0)


def _limits(made: Program) -> None:
    limits, model = made.family.limits, made.model
    if limits.parts is not None:
        terms = {n: 1.0 for n in made.hours if n.startswith("adopt ")}
        model.constraint("limit parts", terms, "<=", limits.parts)
    if limits.hours is not None:
        model.constraint("limit engineering", made.hours, "<=", limits.hours)
    if limits.capital is not None:
        model.constraint("limit capital", made.capital, "<=", limits.capital - made.fixed)
    if limits.cost is not None:
        model.constraint("limit cost", made.cost, "<=", limits.cost - made.fixed)


def _fits(use: _Use, item: Item, t: Tier) -> bool:
    """Whether a break does not end below what the use alone makes one buy."""
    return use.pieces - item.stock <= t.most


def _take(use: _Use, item: str, where: int | str) -> str:
    return f"take {item} {use.member} {use.role} {use.count} {where}"


def _pay(made: Program, name: str, amount: float) -> None:
    made.capital[name] += amount
    made.cost[name] += amount


def _whole(made: Program, name: str) -> None:
    made.model.variable(name, 0, 1, integer=made.whole)
