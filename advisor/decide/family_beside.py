"""What stands beside a family's plan: choosing apart, the next-best plans, what limits cost, the
plans between least cost and greatest score.
"""

from __future__ import annotations

import math
import time
from collections.abc import Mapping
from dataclasses import replace

from advisor.dataclass import dataclass
from advisor.decide.family import Family, Limit, Limits
from advisor.decide.family_model import Build, program
from advisor.decide.family_plans import LINES, SECONDS, Answer, Plan, ask, broken, priced, solve
from advisor.decide.family_search import GAP, Ask, Objective
from advisor.lp import Solver, Status

POINTS = 100.0
"""The scale of scores: differences below `GAP` of it are ties."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart:
    """Each product on its own, and what of the saving comes from where.

    Attributes
    ----------
    alone : each product's own plan, in order: its own set-up, its own purchases, stock served
        first come first served. None where a product has no plan of its own.
    separate : their money lines added up. pooled : the same builds bought and set up together.
    proven : whether each was shown to be the best.
    """

    alone: tuple[Plan, ...]
    separate: Mapping[str, float]
    pooled: Plan
    proven: bool

    def saving(self, plan: Plan) -> dict[str, tuple[float, float]]:
        """Line by line: what pooling saves, and what choosing together saves beyond that."""
        return {
            k: (self.separate[k] - self.pooled.lines[k], self.pooled.lines[k] - plan.lines[k])
            for k in LINES
        }


def apart(
    family: Family,
    objective: Objective = "cost",
    seconds: float = SECONDS,
    solver: Solver = "highs",
) -> Apart | None:
    """Each product's best plan alone, under its own limits; None where one has none.

    The family's limits hold for all products together, so none of them is asked here.
    """
    left = {i.name: i.stock for i in family.items}
    alone: list[Plan] = []
    builds: dict[str, Build] = {}
    proven = True
    deadline = time.monotonic() + seconds
    for member in family.members:
        items = tuple(replace(i, stock=left[i.name]) for i in family.items)
        own = replace(family, members=(member,), items=items, limits=Limits())
        found = solve(own, objective, max(deadline - time.monotonic(), 0.05), solver)
        if found.plan is None:
            return None
        proven &= found.proven
        for bought in found.plan.bought:
            left[bought.item] -= bought.from_stock
        alone.append(found.plan)
        builds |= found.plan.builds
    return Apart(
        alone=tuple(alone),
        separate={k: math.fsum(p.lines[k] for p in alone) for k in LINES},
        pooled=priced(family, builds),
        proven=proven,
    )


def alternatives(
    family: Family,
    best: Answer,
    count: int,
    seconds: float = SECONDS,
    solver: Solver = "highs",
) -> tuple[Answer, ...]:
    """The next-best plans, each with other parts in some product than all before it.

    The same two parts with first and second source exchanged count as others.

    Fewer where there are no more, or time runs out.
    """
    deadline = time.monotonic() + seconds
    found = [best]
    while best.plan is not None and len(found) <= count and time.monotonic() < deadline:
        without = [a.plan.builds for a in found if a.plan is not None]
        left = max(deadline - time.monotonic(), 0.05)
        one = solve(family, best.objective, left, solver, without)
        if one.plan is None:
            break
        found.append(one)
    return tuple(found[1:])


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """What a limit costs.

    Attributes
    ----------
    value, step : the limit and by how much it was loosened. gain : what the objective gains by
        that, money or points, 0 or more; None where the search found no plan in time. With a plan
        that is not proven it may be off by the two gaps, `unsure`.
    per_unit : gain per unit by the linear relaxation, where it has a price for the limit's row.
    """

    limit: Limit
    words: str
    value: float
    step: float
    gain: float | None
    unsure: float
    per_unit: float | None


STEPS = {"parts": 1.0, "engineering": 1.0, "life-chance": -0.01, "give-up": 1.0}
"""A limit's step; capital and cost go by 1 % of their value."""

_ROWS = {
    "parts": "limit parts",
    "engineering": "limit engineering",
    "capital": "limit capital",
    "cost": "limit cost",
}


def prices(
    family: Family, best: Answer, seconds: float = SECONDS, solver: Solver = "highs"
) -> tuple[Price, ...]:
    """What each limit costs: the search once more with it a step looser.

    A required second source is switched off whole. Limits that nothing is gained by are told with
    a gain of 0; where the plan would be the best without any limit, so are all, unsolved.
    """
    if best.value is None:
        return ()
    deadline = time.monotonic() + seconds
    stated = [x for x in family.stated() if not (x.rule == "cost" and best.objective == "cost")]
    bare = solve(family.only(()), best.objective, seconds, solver) if stated else best
    free = bare.proven and bare.value is not None and _gain(best, bare) <= GAP * abs(bare.value)
    slopes = {} if free or not stated else _slopes(family, best.objective, seconds, solver)
    out = []
    for limit in stated:
        value = family.value(limit)
        step = STEPS.get(limit.rule, 0.01 * (value or 0.0))
        gain: float | None = 0.0
        unsure = 0.0
        if not free:
            looser = None if value is None else max(value + step, 0.0)
            left = max(deadline - time.monotonic(), 0.05)
            found = solve(family.moved(limit, looser), best.objective, left, solver)
            gain = None if found.value is None else _gain(best, found)
            unsure = _apart(best) + _apart(found)
        out.append(
            Price(
                limit=limit,
                words=family.words(limit),
                value=1.0 if value is None else value,
                step=1.0 if value is None else step,
                gain=gain,
                unsure=unsure,
                per_unit=slopes.get(limit.rule) if not limit.member else None,
            )
        )
    return tuple(out)


def _gain(best: Answer, found: Answer) -> float:
    was, now = best.value or 0.0, found.value or 0.0
    gain = was - now if best.objective == "cost" else now - was
    # what is within the gap is none
    return gain if gain > GAP * abs(was) else 0.0


def _apart(answer: Answer) -> float:
    if answer.value is None or answer.proven:
        return 0.0
    return abs(answer.value - answer.bound)


def _slopes(
    family: Family, objective: Objective, seconds: float, solver: Solver
) -> dict[str, float]:
    """Gain of the relaxation per unit of the family's limits."""
    loose = program(family, whole=False)
    Ask(objective).of(loose)
    found = loose.model.solve(seconds, solver, GAP)
    return {rule: -found.duals[row] for rule, row in _ROWS.items() if row in found.duals}


@dataclass(frozen=True, slots=True, kw_only=True)
class Front:
    """The plans that none betters in cost and score at once, by cost ascending.

    `complete` tells whether these are all, to a millionth of cost and of 100 points.
    """

    plans: tuple[Plan, ...]
    complete: bool


def front(
    family: Family, seconds: float = SECONDS, solver: Solver = "highs", most: int = 100
) -> Front:
    """The exact set of non-dominated plans (epsilon-constraint; Haimes, Lasdon and Wismer 1971).

    The cheapest plan, then again and again the cheapest of those that score more than the last,
    until there is none; at most so many plans. Incomplete where time or that number ends first,
    which cuts off the dear end; the plan of greatest score found by then is told with them.
    """
    deadline = time.monotonic() + seconds
    plans: list[Plan] = []
    least: float | None = None
    complete = False
    while time.monotonic() < deadline and len(plans) < most:
        left = max(deadline - time.monotonic(), 0.05)
        found = ask(family, Ask("cost", (), least), left, solver)
        if found.status is Status.INFEASIBLE:
            complete = True
            break
        if found.plan is None or not found.proven:
            break
        plans.append(found.plan)
        least = found.plan.score + GAP * POINTS
    if not complete:
        left = max(deadline - time.monotonic(), 1.0)
        top = solve(family, "score", left, solver)
        if top.plan is not None and not broken(family, top.plan):
            plans.append(top.plan)
    return Front(plans=undominated(plans), complete=complete)


def undominated(plans: list[Plan]) -> tuple[Plan, ...]:
    """The plans that no other betters, by cost ascending; of ties the one of greater score."""
    out: list[Plan] = []
    for plan in sorted(plans, key=lambda p: p.cost):
        if out and plan.score <= out[-1].score + GAP * POINTS:
            continue
        while out and plan.cost <= out[-1].cost + GAP * abs(plan.cost):
            out.pop()
        out.append(plan)
    return tuple(out)
