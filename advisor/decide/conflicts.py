"""The smallest set of limits that cannot hold together.

Implicit hitting sets (Ignatiev, Previti, Liffiton and Marques-Silva 2015, "Smallest MUS
extraction with minimal hitting set dualization"): every set of limits that cannot hold meets the
complement of every set that can. So the smallest set that meets all complements found so far is
tried; where it can hold it is grown to a greatest one, whose complement is added. The first that
cannot hold is a smallest of all, since every conflict meets all complements.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Hashable, Sequence
from typing import Generic, TypeVar

from advisor.dataclass import dataclass
from advisor.decide.family import Family, Limit
from advisor.decide.family_plans import SECONDS, broken, possible
from advisor.lp import Model, Solver, SolverError, Status

T = TypeVar("T", bound=Hashable)


@dataclass(frozen=True, slots=True, kw_only=True)
class Conflict(Generic[T]):
    """Limits that cannot hold together.

    `smallest`: whether no smaller set was shown to conflict; not where time ran out, and then the
    set may hold more than it must.
    """

    limits: tuple[T, ...]
    smallest: bool


class OutOfTimeError(RuntimeError):
    """Whether limits can hold was not settled in time."""


def smallest(
    limits: Sequence[T], held_with: Callable[[frozenset[T]], frozenset[T] | None]
) -> frozenset[T] | None:
    """A smallest set of limits that cannot hold together; None where all can.

    Parameters
    ----------
    held_with : all limits that some plan keeps which keeps the given ones; None where none does.
        May raise `OutOfTimeError`.
    """
    everything = frozenset(limits)
    if held_with(everything) is not None:
        return None
    complements: list[frozenset[T]] = []
    while True:
        hit = _hitting(limits, complements)
        held = held_with(hit)
        if held is None:
            return hit
        for limit in limits:
            if limit not in held:
                more = held_with(held | {limit})
                held = held if more is None else held | more
        complements.append(everything - held)


def _hitting(limits: Sequence[T], complements: Sequence[frozenset[T]]) -> frozenset[T]:
    """A smallest set that meets each complement; of several the one of the earliest limits."""
    if not complements:
        return frozenset()
    model = Model("hitting set")
    names = {limit: f"take {at}" for at, limit in enumerate(limits)}
    for name in names.values():
        model.variable(name, 0, 1, integer=True)
    for count, complement in enumerate(complements):
        model.constraint(f"meet {count}", {names[x]: 1.0 for x in complement}, ">=", 1)
    # the places together weigh less than one limit
    small = 1.0 / (2 * len(limits) ** 2)
    model.minimise({name: 1 + small * at for at, name in enumerate(names.values())})
    found = model.solve(SECONDS, gap=0.0)
    if found.status is not Status.OPTIMAL:
        raise OutOfTimeError("the smallest conflict")
    return frozenset(x for x, name in names.items() if found.values[name] > 0.5)


def conflict(
    family: Family, seconds: float = SECONDS, solver: Solver = "highs"
) -> Conflict[Limit] | None:
    """The smallest conflicting set among a family's limits, in their order; None if they hold.

    Empty where no plan exists even without any limit: a product has no build. Where time runs out
    it is all limits, and not the smallest.
    """
    deadline = time.monotonic() + seconds
    stated = family.stated()
    known: dict[frozenset[Limit], frozenset[Limit] | None] = {}

    def held_with(limits: frozenset[Limit]) -> frozenset[Limit] | None:
        if limits not in known:
            left = deadline - time.monotonic()
            if left <= 0:
                raise OutOfTimeError("whether limits can hold")
            status, plan = possible(family.only(limits), left, solver)
            if plan is None and status is not Status.INFEASIBLE:
                raise OutOfTimeError("whether limits can hold")
            # a plan keeps more than was asked: those need no search of their own
            kept = None if plan is None else frozenset(stated) - set(broken(family, plan))
            if kept is not None and not limits <= kept:
                raise SolverError(f"a plan breaks {min(limits - kept)}")
            known[limits] = kept
        return known[limits]

    try:
        found = smallest(stated, held_with)
    except OutOfTimeError:
        return Conflict(limits=stated, smallest=False)
    if found is None:
        return None
    return Conflict(limits=tuple(x for x in stated if x in found), smallest=True)
