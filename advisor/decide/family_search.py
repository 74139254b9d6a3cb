"""The search for a plan: one program, and what is held against its answer.

Before it, exchanges give a plan. Builds that cost more by themselves, with every other product's
cheapest, than that whole plan are left out: no limit can make them part of a cheaper one, and a
build whose battery must be changed without end would take the digits of all others with it. Where
many are left, `family_bound` leaves out those that cost more than a known plan in any company.

After it, no exchange may better the answer by more than twice the gap. A solver whose answer does
not bear that is followed by the other; where both fail there is no answer. `floor` is a bound that
owes nothing to the solver's tolerances; the tests hold programs to it, the search does not yet.
"""

from __future__ import annotations

import math
import time
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Literal

from advisor.dataclass import dataclass, field
from advisor.decide.family import Family
from advisor.decide.family_model import Build, Key, Program, Terms, program
from advisor.decide.family_swaps import Exchange, Worth
from advisor.lp import Model, Solution, Solver, SolverError, Status

Objective = Literal["cost", "score"]

GAP = 1e-6
"""Relative distance from the bound at which the search may stop, and below which plans tie."""

MANY = 600
"""More builds than this are first narrowed down by a bound; fewer are solved sooner as they are."""

_FIRST_CLIMB, _SECOND_CLIMB = 150, 300  # steps; measured on drawn families of 2,400 builds
_LIKELIEST = 60  # builds that are solved by themselves for a better plan
_SETS = 500  # sets of parts that are solved by themselves before the rest is solved as one
_HOPELESS = 0.15  # of the ceiling: a bound that stays so far below it excludes next to nothing

Plan = tuple[dict[str, Build], Worth]


@dataclass(frozen=True, slots=True)
class Found:
    """What a search ended with; `objective` and `bound` of the least sum that was asked for."""

    status: Status
    objective: float | None
    bound: float
    builds: Mapping[str, Build] = field(default_factory=dict)
    solver: Solver = "highs"


@dataclass(frozen=True, slots=True)
class Ask:
    """What a program is asked: an objective, plans to leave out, the least score to reach."""

    objective: Objective = "cost"
    without: Sequence[Mapping[str, Build]] = ()
    least_score: float | None = None

    def of(self, made: Program) -> Terms:
        """The terms to minimise, with the rows that go with them put into the program."""
        for count, builds in enumerate(self.without, 1):
            made.exclude(builds, f"distinct {count}")
        if self.least_score is not None:
            made.model.constraint("least score", made.score, ">=", self.least_score)
        terms = made.cost if self.objective == "cost" else {k: -v for k, v in made.score.items()}
        made.model.minimise(terms)
        return terms

    def exchange(self, family: Family) -> Exchange:
        """Plans that answer the same question, by exchange."""
        plain = Exchange(family)
        return Exchange(
            family,
            self.objective,
            frozenset(plain.pattern(b) for b in self.without),
            -math.inf if self.least_score is None else self.least_score,
        )


def search(family: Family, ask: Ask, seconds: float, solver: Solver = "highs") -> Found:
    """The least of the objective over all plans, to the gap.

    Raises
    ------
    SolverError
        When no solver is at hand, or what came back does not hold.
    """
    deadline = time.monotonic() + seconds
    exchange = ask.exchange(family)
    start = exchange.start()
    kept = affordable(family, exchange, ask, start)
    if kept is not None and len(kept) > MANY and start is not None and ask.objective == "cost":
        best, kept = by_sets(family, exchange, ask, kept, start, seconds / 2, solver)
        if best.status is Status.OPTIMAL:
            return best
        start = dict(best.builds), exchange.worth(best.builds)
        kept, start = narrowed(family, exchange, ask, kept, start, seconds / 4, solver)
    made = program(family, kept=kept)
    ask.of(made)
    fixed = made.fixed if ask.objective == "cost" else 0.0
    order: tuple[Solver, ...] = ("highs", "cbc") if solver == "highs" else ("cbc",)
    said = ""
    for name in order:
        solved = made.model.solve(max(deadline - time.monotonic(), 0.05), name, GAP)
        value = solved.objective
        if value is None:
            if solved.status is Status.INFEASIBLE and start is not None:
                said = f"{name} finds no plan where there is one"
                continue
            if start is not None:
                return _held(start, solved, fixed)
            return Found(
                status=solved.status,
                objective=None,
                bound=solved.bound + fixed,
                solver=solved.solver,
            )
        builds = made.builds(solved.values)
        better, worth = exchange.better(builds)
        reached = Worth(0.0, value + fixed, 0.0)
        if start is not None and start[1].settles(worth):
            better, worth = start
        if solved.status is Status.OPTIMAL and worth.beats(reached, 2 * GAP):
            said = f"{name} calls {value + fixed} the best, an exchange {worth.value}"
            continue
        if worth.missed:
            better, worth = builds, reached
        return Found(
            status=solved.status,
            objective=worth.value,
            bound=min(solved.bound + fixed, worth.value),
            builds=better,
            solver=solved.solver,
        )
    raise SolverError(said)


def _held(start: tuple[dict[str, Build], Worth], solved: Solution, fixed: float) -> Found:
    """The plan found by exchange, where the solver had no time for one."""
    builds, worth = start
    return Found(
        status=Status.FEASIBLE,
        objective=worth.value,
        bound=min(solved.bound + fixed, worth.value),
        builds=builds,
        solver=solved.solver,
    )


def affordable(
    family: Family,
    exchange: Exchange,
    ask: Ask,
    start: Plan | None,
) -> set[Key] | None:
    """The builds that may be part of a plan that costs no more than is known to be possible."""
    ceiling = math.inf if family.limits.cost is None else family.limits.cost
    if ask.objective == "cost" and start is not None:
        ceiling = min(ceiling, start[1].value)
    if not math.isfinite(ceiling):
        return None
    ceiling += 1e-6 * abs(ceiling)
    least = exchange.least()
    cheapest = {
        m.name: min((v for (p, _, _), v in least.items() if p == m.name), default=0.0)
        for m in family.members
    }
    rest = math.fsum(cheapest.values())
    return {k for k, v in least.items() if rest - cheapest[k[0]] + v <= ceiling}


def by_sets(
    family: Family,
    exchange: Exchange,
    ask: Ask,
    kept: set[Key],
    start: Plan,
    seconds: float,
    solver: Solver,
) -> tuple[Found, set[Key]]:
    """The cheapest plan by the parts it adopts, and the builds that may still be part of one.

    Optimal where the next set's bound is no lower; else the best plan so far, and the builds of
    sets that were not solved: where no limit keeps the parts few, `start` and all of them.
    """
    from advisor.decide.family_sets import PartSets

    deadline = time.monotonic() + seconds
    found = Found(
        status=Status.FEASIBLE,
        objective=start[1].value,
        bound=-math.inf,
        builds=start[0],
        solver=solver,
    )
    sets = PartSets(family, kept)
    left = sets.below(start[1].value) if sets.few() else None
    if left is None:
        return found, kept
    bound = math.inf
    for place, one in enumerate(left[: _SETS + 1]):
        value = start[1].value
        if one.bound >= value - GAP * abs(value):
            break
        room = deadline - time.monotonic()
        ended, least, plan = Status.LIMIT, -math.inf, None
        if room > 0 and place < _SETS:
            ended, least, plan = _among(family, exchange, ask, sets.builds([one]), room, solver)
        if ended not in (Status.OPTIMAL, Status.INFEASIBLE):
            rest = sets.builds(left[place:]) | _held_by(start[0])
            return replace(found, objective=start[1].value, builds=start[0]), rest
        if plan is not None:
            bound = min(bound, least)
            if plan[1].settles(start[1]):
                start = plan
    value = start[1].value
    best = replace(found, status=Status.OPTIMAL, objective=value, builds=start[0])
    return replace(best, bound=min(bound, value)), kept


def _among(
    family: Family,
    exchange: Exchange,
    ask: Ask,
    kept: set[Key],
    seconds: float,
    solver: Solver,
) -> tuple[Status, float, Plan | None]:
    """How the program of some builds ended, its bound, and the plan found, bettered by exchange."""
    few = program(family, kept=kept)
    ask.of(few)
    solved = few.model.solve(seconds, solver, GAP)
    plan = exchange.better(few.builds(solved.values)) if solved.solved else None
    return solved.status, solved.bound + few.fixed, plan


def _held_by(builds: Mapping[str, Build]) -> set[Key]:
    """The builds of a plan, each in its role."""
    held: set[Key] = set()
    for member, build in builds.items():
        held.add((member, "only" if build.second is None else "first", build.first))
        if build.second is not None:
            held.add((member, "second", build.second))
    return held


def narrowed(
    family: Family,
    exchange: Exchange,
    ask: Ask,
    kept: set[Key],
    start: Plan,
    seconds: float,
    solver: Solver,
) -> tuple[set[Key], Plan]:
    """The builds that a bound does not exclude, and a plan that costs no more than `start`.

    The likeliest builds are solved by themselves on the way, for at most `seconds`: the less the
    plan costs, the more builds go. All stay where a part has too many sets of uses.
    """
    from advisor.decide.family_bound import SETS, Bound, free_parts

    bare = program(free_parts(family), kept=kept)
    ask.of(bare)
    if Bound.sets(bare) > SETS:
        return kept, start
    bound = Bound(family, bare, start[1].value - bare.fixed)
    reached = bound.climb(_FIRST_CLIMB)
    if reached < (1 - _HOPELESS) * bound.ceiling:
        return kept, start
    left = bound.leave_out()
    likeliest = set(sorted(left, key=lambda k: (left[k], k))[:_LIKELIEST])
    _, _, better = _among(family, exchange, ask, likeliest, max(seconds, 0.05), solver)
    if better is not None and better[1].beats(start[1], 0.0):
        start = better
    bound.ceiling = start[1].value - bare.fixed
    bound.climb(_SECOND_CLIMB)
    return set(bound.leave_out()), start


def floor(model: Model, solved: Solution) -> float:
    """A bound on a program of bounded variables, from the prices of its relaxation's rows.

    With prices y no point has a lower objective than y b + sum of min(r l, r u), where r = c - y A
    are the reduced costs and l, u the bounds: whatever the solver's accuracy, since any y of the
    right signs will do (weak duality).
    """
    terms, boxes = model.columns()
    rest = dict(terms)
    bound = []
    for name, sense, rhs, row in model.rows():
        y = solved.duals.get(name, 0.0)
        y = min(y, 0.0) if sense == "<=" else max(y, 0.0) if sense == ">=" else y
        if y:
            bound.append(y * rhs)
            for k, a in row.items():
                rest[k] = rest.get(k, 0.0) - y * a
    for k, r in rest.items():
        lower, upper = boxes[k]
        bound.append(r * (lower if r > 0 else upper) if r else 0.0)
    return math.fsum(bound)
