"""The operating plan as a linear program: the bound on what whole points can reach, and prices.

Shares x[k, o] >= 0 of task k's events run at option o:

    minimise    I_sleep + sum_k r_k sum_o Q[k, o] x[k, o]
    subject to  sum_o x[k, o] = 1 for every task,   sum_k r_k sum_o L[k, o] x[k, o] <= 1,

with Q the net cell-side charge of an event (what it draws beyond sleeping as long), L its length,
r_k the events per second; options that break a deadline are left out. While the busy bound is
slack every task runs at its own cheapest option. When it is tight at most one task mixes two
options, neighbours on the lower convex hull of charge over length with idle included (Ishihara &
Yasuura, "Voltage scheduling problem for dynamically variable voltage processors", ISLPED 1998).

The bound alone needs no solver: by duality it is the greatest value, over the price lambda >= 0
of busy time, of sum_k min_o r_k (Q + lambda L) - lambda, which is piecewise linear in lambda with
its corners at slopes between two options of a task. `relaxed` takes that way for many parts at
once; `solve` builds the program for one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from advisor import lp
from advisor.dataclass import dataclass, field

Array = NDArray[np.float64]

BUSY = "busy share"
SECONDS = 20.0  # limit on the solver's time; these programs have a few dozen variables


def relaxed(
    charges: Sequence[Array],
    lengths: Sequence[Array],
    allowed: Sequence[NDArray[np.bool_]],
    rates: Array,
) -> tuple[Array, Array]:
    """Least mean net current and the price of busy time, without a solver.

    Parameters
    ----------
    charges, lengths, allowed : per task, (R, O) C, s and whether the option may be used.
    rates : (K,) events per second.

    Returns
    -------
    (R,) A above sleep, infinite where no mix keeps the busy bound; (R,) lambda in A per unit of
    busy share, the least price that reaches the optimum.
    """
    rows = charges[0].shape[0] if charges else 0
    prices = [np.zeros((rows, 1))]
    for charge, length, may in zip(charges, lengths, allowed, strict=True):
        left, right = np.triu_indices(charge.shape[1], 1)
        run = length[:, left] - length[:, right]
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = (charge[:, right] - charge[:, left]) / run
        both = may[:, left] & may[:, right] & (run != 0) & (slope > 0)
        prices.append(np.where(both, slope, 0.0))
    # corners at zero only repeat the slack case
    candidates = np.sort(np.concatenate(prices, axis=1), axis=1)
    value = -candidates
    least_busy = np.zeros(rows)
    for charge, length, may, rate in zip(charges, lengths, allowed, rates, strict=True):
        best = np.full(candidates.shape, np.inf)
        for o in range(charge.shape[1]):
            line = rate * (charge[:, o, None] + candidates * length[:, o, None])
            best = np.minimum(best, np.where(may[:, o, None], line, np.inf))
        value = value + best
        least_busy += rate * np.where(may, length, np.inf).min(axis=1)
    at = value.argmax(axis=1)
    index = np.arange(rows)
    bound, price = value[index, at], candidates[index, at]
    return np.where(least_busy <= 1, bound, np.inf), np.where(least_busy <= 1, price, np.inf)


@dataclass(frozen=True, slots=True)
class PlanTask:
    """One task's options for the program: labels, net charges (C), lengths (s), events per s.

    `late` marks options that break the task's deadline; they enter only when it is dropped.
    `at_times` are the events per s at each time of the calendar, where it has several: the busy
    share is then bounded at each of them.
    """

    name: str
    options: tuple[str, ...]
    charge: tuple[float, ...]
    length: tuple[float, ...]
    rate: float
    late: tuple[bool, ...] = ()
    at_times: Mapping[str, float] = field(default_factory=dict)

    @property
    def paces(self) -> Mapping[str, float]:
        """Events per s by the bound that they count towards."""
        if not self.at_times:
            return {BUSY: self.rate}
        return {f"{BUSY}, {time}": rate for time, rate in self.at_times.items()}


@dataclass(frozen=True, slots=True)
class PlanBound:
    """The solved program of one build.

    Attributes
    ----------
    current : least mean current above sleep, A; None where no mix keeps the busy bound.
    shares : per task, option to share of its events, zero shares left out.
    busy : busy share of that mix. busy_price : lambda, A per unit of busy share.
    busier : per task, what one more event costs, C: d(current)/d(rate).
    deadlines : per task with options that its deadline rules out, the current saved without that
        deadline, A; found by solving again, since a deadline has no dual.
    """

    current: float | None
    shares: dict[str, dict[str, float]] = field(default_factory=dict)
    busy: float = 0.0
    busy_price: float = 0.0
    busier: dict[str, float] = field(default_factory=dict)
    deadlines: dict[str, float] = field(default_factory=dict)


def program(tasks: Sequence[PlanTask], without_deadline: str | None = None) -> lp.Model:
    """The linear program of a build's plan; see the module's own words."""
    model = lp.Model("operating plan")
    objective: dict[str, float] = {}
    busy: dict[str, dict[str, float]] = {}
    for task in tasks:
        shares = {}
        for o, name in _open(task, without_deadline):
            model.variable(name)
            objective[name] = task.rate * task.charge[o]
            for bound, rate in task.paces.items():
                busy.setdefault(bound, {})[name] = rate * task.length[o]
            shares[name] = 1.0
        model.constraint(f"all of {task.name}", shares, "=", 1.0)
    for bound, lengths in busy.items():
        model.constraint(bound, lengths, "<=", 1.0)
    model.minimise(objective)
    return model


def _open(task: PlanTask, without_deadline: str | None) -> list[tuple[int, str]]:
    """(place, variable) of a task's options that may be used."""
    late = task.late or (False,) * len(task.options)
    return [
        (o, f"{task.name} at {label}")
        for o, label in enumerate(task.options)
        if task.name == without_deadline or not late[o]
    ]


def solve(tasks: Sequence[PlanTask]) -> PlanBound:
    """Solve a build's plan, with the prices that follow from it.

    Raises
    ------
    SolverError
        When the solver fails or returns numbers that break the model.
    """
    if not tasks:
        return PlanBound(0.0)
    if any(not _open(task, None) for task in tasks):
        return PlanBound(None)
    solution = program(tasks).solve(SECONDS)
    if solution.status is lp.Status.INFEASIBLE:
        return PlanBound(None)
    if solution.status is not lp.Status.OPTIMAL or solution.objective is None:
        raise lp.SolverError(f"the operating plan ended {solution.status.value}")
    prices = {bound: max(-solution.duals[bound], 0.0) for bound in tasks[0].paces}
    shares: dict[str, dict[str, float]] = {}
    busier: dict[str, float] = {}
    busy = 0.0
    for task in tasks:
        mix = {o: solution.values[name] for o, name in _open(task, None)}
        shares[task.name] = {task.options[o]: x for o, x in mix.items() if x > 0}
        charge = sum(x * task.charge[o] for o, x in mix.items())
        length = sum(x * task.length[o] for o, x in mix.items())
        meets = sum(price * (task.paces[bound] / task.rate) for bound, price in prices.items())
        busier[task.name] = charge + meets * length
        busy += task.rate * length
    deadlines = {}
    for task in tasks:
        if any(task.late):
            free = program(tasks, task.name).solve(SECONDS)
            if free.status is lp.Status.OPTIMAL and free.objective is not None:
                deadlines[task.name] = max(solution.objective - free.objective, 0.0)
    return PlanBound(
        current=solution.objective,
        shares=shares,
        busy=busy,
        busy_price=sum(prices.values(), -0.0),
        busier=busier,
        deadlines=deadlines,
    )
