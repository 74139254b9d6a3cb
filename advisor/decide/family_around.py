"""Around a plan of a family: choosing separately, next-best plans, what limits cost, conflicts.

Each is the program of `family_model` solved again with something changed, so that every amount is
as sure as the plan itself.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from advisor.decide.family import Family, Limit, Limits
from advisor.decide.family_model import Build
from advisor.decide.family_plans import GAP, LINES, Answer, Objective, Plan, priced, solve
from advisor.lp import Model, Status

HOUR_STEP, POINT_STEP, CHANCE_STEP, MONEY_STEP = 1.0, 1.0, 0.01, 0.01


@dataclass(frozen=True, slots=True)
class Apart:
    """Each product by itself: `plans` in order of the products, and their builds bought together.

    A product that has no plan by itself has None there, and nothing is `pooled`.
    """

    plans: tuple[Plan | None, ...]
    pooled: Plan | None

    @property
    def lines(self) -> Mapping[str, float] | None:
        """Sum of each money line over the products; None where one has no plan."""
        if any(plan is None for plan in self.plans):
            return None
        return {k: math.fsum(p.lines[k] for p in self.plans if p is not None) for k in LINES}


def apart(family: Family, objective: Objective, seconds: float) -> Apart:
    """Each product choosing, buying and setting up by itself, under its own limits alone."""
    plans: list[Plan | None] = []
    builds: dict[str, Build] = {}
    for member in family.members:
        own = replace(family, members=(member,), limits=Limits())
        found = solve(own, objective, seconds)
        plans.append(found.plan)
        if found.plan is not None:
            builds |= found.plan.builds
    whole = len(builds) == len(family.members)
    return Apart(tuple(plans), priced(family, builds) if whole else None)


def next_best(
    family: Family, objective: Objective, plan: Plan, count: int, seconds: float
) -> list[Answer]:
    """Plans that put other parts into the products, best first, each by one more no-good cut."""
    without: list[Mapping[str, Build]] = [plan.builds]
    found: list[Answer] = []
    for _ in range(count):
        answer = solve(family, objective, seconds, without=without)
        if answer.plan is None:
            break
        found.append(answer)
        without.append(answer.plan.builds)
    return found


@dataclass(frozen=True, slots=True)
class Price:
    """A limit made looser by a step: `saving` is what the plan then gains, None in no time."""

    limit: Limit
    step: str
    saving: float | None
    binds: bool


def price_of(family: Family, limit: Limit, answer: Answer, seconds: float) -> Price:
    """What a limit costs: the program solved again with it a step looser, or switched off where
    it has no steps. It binds where switching it off would change the objective."""
    free = _value(solve(family.moved(limit, None), answer.objective, seconds))
    assert answer.value is not None
    gain = _gain(answer, free)
    binds = gain is None or gain > GAP * max(1.0, abs(answer.value))
    value = family.value(limit)
    if value is None:
        return Price(limit, "without it", gain, binds)
    looser, words = _looser(limit, value)
    if not binds:
        return Price(limit, words, 0.0, False)
    found = _value(solve(family.moved(limit, looser), answer.objective, seconds))
    return Price(limit, words, _gain(answer, found), True)


def _value(answer: Answer) -> float | None:
    return answer.value if answer.proven else None


def _gain(answer: Answer, other: float | None) -> float | None:
    if other is None or answer.value is None:
        return None
    gain = answer.value - other if answer.objective == "cost" else other - answer.value
    return gain if gain > GAP * max(1.0, abs(answer.value)) else 0.0


def _looser(limit: Limit, value: float) -> tuple[float, str]:
    match limit.rule:
        case "parts":
            return value + 1, "one part more"
        case "engineering":
            return value + HOUR_STEP, "1 h more"
        case "capital" | "cost":
            return value * (1 + MONEY_STEP), "1 % more"
        case "life-chance":
            return max(value - CHANCE_STEP, 0.0), "1 % of the draws less"
        case _:
            return value + POINT_STEP, "1 point more"


def smallest_conflict(family: Family, seconds: float) -> tuple[Limit, ...]:
    """The fewest limits that no plan keeps together; empty where some plan keeps all.

    Any set of limits that cannot hold together has one of every correction set, that is of the
    limits that some plan breaks. So the least set that meets all correction sets found so far is
    tried; where a plan keeps it, the limits that the plan breaks are one more correction set
    (Ignatiev et al. 2015, smallest minimal unsatisfiable subsets by implicit hitting sets).
    """
    limits = family.stated()
    broken_by: list[frozenset[Limit]] = []
    for _ in range(2 ** min(len(limits), 16)):
        tried = _hitting(limits, broken_by)
        answer = solve(family.only(tried), "cost", seconds)
        if answer.status is Status.INFEASIBLE:
            return tried
        if answer.plan is None:
            return ()
        # as many limits kept as can be: what is then broken is a small correction set
        kept = _grown(family, tried, limits, seconds)
        rest = frozenset(limits) - frozenset(kept)
        if not rest:
            return ()
        broken_by.append(rest)
    return ()


def _grown(
    family: Family, kept: Sequence[Limit], limits: Sequence[Limit], seconds: float
) -> list[Limit]:
    """Limits that can hold together with those kept, as many as one more at a time will do."""
    grown = list(kept)
    for limit in limits:
        if limit not in grown and solve(family.only([*grown, limit]), "cost", seconds).plan:
            grown.append(limit)
    return grown


def _hitting(limits: Sequence[Limit], sets: Sequence[frozenset[Limit]]) -> tuple[Limit, ...]:
    """The fewest limits of which each set has one, the first in order of equal ones."""
    if not sets:
        return ()
    made = Model("conflict")
    names = {limit: f"limit_{i}" for i, limit in enumerate(limits)}
    for name in names.values():
        made.variable(name, 0, 1, integer=True)
    for i, one in enumerate(sets):
        made.constraint(
            f"meet_{i}", {names[limit]: 1.0 for limit in limits if limit in one}, ">=", 1
        )
    # of equally few the first ones, by what is too little to make up for one more
    made.minimise({name: 1 + 1e-3 * i / len(limits) for i, name in enumerate(names.values())})
    solved = made.solve(10.0)
    return tuple(limit for limit, name in names.items() if solved.values[name] > 0.5)


def front(family: Family, seconds: float, most: int = 200) -> list[Answer]:
    """Every plan that no other betters by cost and by score, from the cheapest to the best.

    Epsilon-constraint (Haimes et al. 1971), exact: of the plans of greater score than the last the
    cheapest, then of those that cost no more the one of greatest score.
    """
    found: list[Answer] = []
    least = None
    for _ in itertools.count():
        if len(found) == most:
            break
        cheap = solve(family, "cost", seconds)
        if cheap.plan is None:
            break
        capped = replace(
            family,
            limits=replace(family.limits, cost=cheap.plan.cost * (1 + GAP / 10) + 1e-9),
        )
        best = solve(capped, "score", seconds)
        chosen = best if best.plan is not None and best.plan.score > cheap.plan.score else cheap
        assert chosen.plan is not None
        found.append(replace(cheap, plan=chosen.plan))
        least = chosen.plan.score + 1e-6
    return found
