"""Plans of a family: solved, reckoned again by plain arithmetic, and set against others.

The solver chooses builds and nothing else is taken from it: what is bought, at which prices, and
every amount of a plan is worked out here from the builds, and has to agree with the solver's
objective to the gap.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from advisor.dataclass import dataclass
from advisor.decide.family import Family, Item, Kind, Limit, Member, Option
from advisor.decide.family_model import Build, program
from advisor.decide.family_search import GAP, Ask, Found, Objective, search
from advisor.decide.family_swaps import Exchange
from advisor.lp import Solver, SolverError, Status
from advisor.model.money import price_at

SECONDS = 60.0

LINES = (
    "parts",
    "cells",
    "converters",
    "add-ons",
    "extras",
    "set-up",
    "porting",
    "tools",
    "upkeep",
    "supply",
)
"""Money lines of a plan; expected cost is their sum, capital that of the first eight."""

_BOUGHT: dict[Kind, str] = {
    "part": "parts",
    "cell": "cells",
    "converter": "converters",
    "add-on": "add-ons",
}
_LATER = ("upkeep", "supply")


@dataclass(frozen=True, slots=True, kw_only=True)
class Bought:
    """One purchase: pieces needed by all products, taken from stock, bought; mean price, money."""

    item: str
    kind: Kind
    needed: int
    from_stock: int
    pieces: int
    each: float
    total: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What a product takes.

    Attributes
    ----------
    second : the build of its second source, or None. units : made with each of them.
    score : points, weighed by units. favourite : points of its own favourite.
    lines : its share of each money line: of a purchase by pieces, of set-up hours in equal parts
        by the products that use the part or a part of the toolchain.
    """

    member: str
    first: Option
    second: Option | None
    units: tuple[int, int]
    score: float
    favourite: float
    lines: Mapping[str, float]

    @property
    def options(self) -> tuple[Option, ...]:
        """Its builds, one or two."""
        return (self.first,) if self.second is None else (self.first, self.second)

    @property
    def parts(self) -> str:
        """Its part, or `first + second`."""
        return " + ".join(option.part for option in self.options)

    @property
    def build(self) -> Build:
        """The builds by name."""
        return Build(self.first.name, None if self.second is None else self.second.name)

    @property
    def cost(self) -> float:
        """Expected cost, money for all units."""
        return math.fsum(self.lines.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A build for each product, and what it all comes to.

    Attributes
    ----------
    adopted : parts, in order of name. hours : of set-up and porting. score : mean over products.
    """

    taken: tuple[Taken, ...]
    bought: tuple[Bought, ...]
    adopted: tuple[str, ...]
    hours: float
    lines: Mapping[str, float]
    score: float

    @property
    def cost(self) -> float:
        """Expected cost over the service life, money."""
        return math.fsum(self.lines.values())

    @property
    def capital(self) -> float:
        """First purchases and development, money."""
        return math.fsum(v for k, v in self.lines.items() if k not in _LATER)

    @property
    def builds(self) -> dict[str, Build]:
        """Product to its builds."""
        return {t.member: t.build for t in self.taken}


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """How a search ended.

    Attributes
    ----------
    status : read it first; without a plan `plan` and `value` are None.
    value : the objective, reckoned from the plan: money, or points.
    bound : no plan costs less, or scores more. gap : |value - bound| relative to the value.
    """

    status: Status
    objective: Objective
    plan: Plan | None
    value: float | None
    bound: float
    solver: Solver = "highs"

    @property
    def gap(self) -> float:
        """Relative distance from the bound; 0 where they meet, infinite without a plan."""
        if self.value is None:
            return math.inf
        apart = abs(self.value - self.bound)
        return apart / max(abs(self.value), abs(self.bound)) if apart else 0.0

    @property
    def proven(self) -> bool:
        """Whether the plan is the best there is, to the gap."""
        return self.status is Status.OPTIMAL


def solve(
    family: Family,
    objective: Objective = "cost",
    seconds: float = SECONDS,
    solver: Solver = "highs",
    without: Sequence[Mapping[str, Build]] = (),
) -> Answer:
    """The cheapest plan, or the one of greatest mean score, within the limits.

    Parameters
    ----------
    seconds : limit on the search, s; a plan that stands by then is told with its bound.
    without : plans to leave out, with all that put the same parts into the same roles (the only
        source, the first or the second of two) of the same products.

    Raises
    ------
    SolverError
        When no solver is at hand, or what came back does not bear reckoning again.
    """
    return ask(family, Ask(objective, without), seconds, solver)


def ask(
    family: Family, question: Ask, seconds: float = SECONDS, solver: Solver = "highs"
) -> Answer:
    """The plan that a question is answered with; `solve` in short."""
    return _answer(family, question.objective, search(family, question, seconds, solver))


def possible(
    family: Family, seconds: float = SECONDS, solver: Solver = "highs"
) -> tuple[Status, Plan | None]:
    """Some plan within the limits, no matter which; the status tells why there is none."""
    start = Exchange(family).start()
    if start is not None:
        return Status.OPTIMAL, priced(family, start[0])
    made = program(family)
    found = made.model.solve(seconds, solver)
    if not found.solved:
        return found.status, None
    return Status.OPTIMAL, priced(family, made.builds(found.values))


def _answer(family: Family, objective: Objective, found: Found) -> Answer:
    """A search's end, once its plan bears reckoning again."""
    sign = 1.0 if objective == "cost" else -1.0
    answer = Answer(
        status=found.status,
        objective=objective,
        plan=None,
        value=None,
        bound=sign * found.bound,
        solver=found.solver,
    )
    if found.objective is None:
        return answer
    plan = priced(family, found.builds)
    value = plan.cost if objective == "cost" else plan.score
    near = 2 * GAP * max(abs(found.objective), 1e-9)
    if not found.bound - near <= sign * value <= found.objective + near:
        said = sign * found.objective
        raise SolverError(f"{found.solver} says {objective} {said}, the plan's is {value}")
    missed = broken(family, plan)
    if missed:
        raise SolverError(f"{found.solver}'s plan breaks {missed[0]}")
    bound = sign * min(found.bound, sign * value)
    return replace(answer, plan=plan, value=value, bound=bound)


def broken(family: Family, plan: Plan) -> tuple[Limit, ...]:
    """The limits that a plan does not keep, to the gap."""
    taken = {t.member: t for t in plan.taken}
    own = {"parts": float(len(plan.adopted)), "engineering": plan.hours}
    own |= {"capital": plan.capital, "cost": plan.cost}
    out = []
    for limit in family.stated():
        if not limit.member:
            value = family.value(limit)
            kept = value is None or own[limit.rule] <= value + GAP * max(value, 1.0)
        else:
            member, one = family.member(limit.member), taken[limit.member]
            kept = {
                "life-chance": all(member.lives(o) for o in one.options),
                "give-up": one.score >= member.least_score - GAP,
                "second-source": one.second is not None,
            }[limit.rule]
        if not kept:
            out.append(limit)
    return tuple(out)


def priced(family: Family, builds: Mapping[str, Build]) -> Plan:
    """A plan worked out from its builds alone."""
    lines: dict[str, dict[str, float]] = {m.name: dict.fromkeys(LINES, 0.0) for m in family.members}
    chosen: dict[str, tuple[Option, Option | None, tuple[int, int]]] = {}
    pieces: dict[str, dict[str, int]] = defaultdict(dict)
    makers = {q.part: q.maker for q in family.platforms}
    hours = 0.0
    for m in family.members:
        options = {o.name: o for o in m.options}
        build = builds[m.name]
        first, second = options[build.first], None
        units = (m.units, 0)
        own = lines[m.name]
        if build.second is None:
            own["supply"] = first.supply
        else:
            second = options[build.second]
            units = (m.units - m.second_units, m.second_units)
            hours += m.porting_h
            own["porting"] = family.rate * m.porting_h
            pair = makers[first.part], makers[second.part]
            own["supply"] = first.supply_of_two[0] + second.supply_of_two[1]
            own["supply"] += 0.0 if m.two_sources is None else m.two_sources[pair]
        chosen[m.name] = first, second, units
        own["tools"] = m.tools
        for option, made in zip((first, second), units, strict=True):
            if option is not None:
                hours += option.setup_h
                own["set-up"] += family.rate * option.setup_h
                own["extras"] += option.other * made
                own["upkeep"] += option.upkeep * made
                for item, count in option.pieces.items():
                    if count:
                        so_far = pieces[item].get(m.name, 0)
                        pieces[item][m.name] = so_far + count * made
    bought = []
    for one in family.items:
        if pieces[one.name]:
            purchase = _purchase(one, sum(pieces[one.name].values()))
            bought.append(purchase)
            for name, count in pieces[one.name].items():
                lines[name][_BOUGHT[one.kind]] += purchase.total * count / purchase.needed
    for of_hours, users in _setup(family, chosen):
        hours += of_hours
        for name in users:
            lines[name]["set-up"] += family.rate * of_hours / len(users)
    taken = tuple(_taken(m, *chosen[m.name], lines[m.name]) for m in family.members)
    return Plan(
        taken=taken,
        bought=tuple(bought),
        adopted=tuple(sorted({o.part for t in taken for o in t.options})),
        hours=hours,
        lines={k: math.fsum(own[k] for own in lines.values()) for k in LINES},
        score=math.fsum(t.score for t in taken) / len(taken),
    )


def _purchase(item: Item, needed: int) -> Bought:
    rest = max(needed - item.stock, 0)
    pieces, each, total = 0, 0.0, 0.0
    if rest:
        breaks = [(q, np.array([price])) for q, price in item.breaks]
        found = price_at(breaks, item.multiple, rest, item.incremental)
        pieces, each, total = int(found.pieces[0]), float(found.each[0]), float(found.total[0])
    return Bought(
        item=item.name,
        kind=item.kind,
        needed=needed,
        from_stock=needed - rest,
        pieces=pieces,
        each=each,
        total=total,
    )


def _setup(
    family: Family, chosen: Mapping[str, tuple[Option, Option | None, tuple[int, int]]]
) -> Iterable[tuple[float, list[str]]]:
    """Hours, and the products that share them: a part's own, and those of a toolchain."""
    users: dict[str, list[str]] = defaultdict(list)
    for name, (first, second, _) in chosen.items():
        for part in dict.fromkeys(o.part for o in (first, second) if o is not None):
            users[part].append(name)
    sigma = family.toolchain_share
    chains: dict[str, tuple[float, list[str]]] = {}
    for q in family.platforms:
        if q.part not in users:
            continue
        if q.toolchain is None:
            yield q.setup_h, users[q.part]
            continue
        yield (1 - sigma) * q.setup_h, users[q.part]
        most, whose = chains.get(q.toolchain, (0.0, []))
        whose = list(dict.fromkeys([*whose, *users[q.part]]))
        chains[q.toolchain] = max(most, q.setup_h), whose
    for most, whose in chains.values():
        yield sigma * most, whose


def _taken(
    member: Member,
    first: Option,
    second: Option | None,
    units: tuple[int, int],
    lines: Mapping[str, float],
) -> Taken:
    made = [(first, member.units)]
    if second is not None:
        made = [(first, units[0]), (second, units[1])]
    favourite = next(o.score for o in member.options if o.name == member.favourite)
    return Taken(
        member=member.name,
        first=first,
        second=second,
        units=units,
        score=member.points(made),
        favourite=favourite,
        lines=lines,
    )
