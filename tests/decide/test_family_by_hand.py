"""What a search over plans of a family starts from and ends with, where it is cut off."""

from __future__ import annotations

import math
from itertools import permutations
from typing import Any

import pytest

from advisor.decide import family_search
from advisor.decide.family_beside import front
from advisor.decide.family_model import Build, admissible, program
from advisor.decide.family_search import Ask, _held_by, by_sets, search
from advisor.decide.family_sets import PartSets
from advisor.decide.family_swaps import Exchange
from advisor.lp import Model, Solution, SolverError, Status
from advisor.studies.family_results import given_up
from tests.decide.small_families import drawn, every_plan, keeps
from tests.decide.test_family_sets import few

pytestmark = pytest.mark.once


@pytest.mark.parametrize("seed", range(8))
def test_builds_to_begin_with_hold_the_likeliest_pair_of_each_two_makers(seed: int) -> None:
    """Of every feed the cheapest option of each maker, and the one of the greatest score, with each
    other where their makers differ; alone whatever may stand alone. No pair of two feeds."""
    family = drawn(seed, products=3, parts=5)
    price = {i.name: i.breaks[-1][1] for i in family.items}
    maker = {q.part: q.maker for q in family.platforms}
    exchange = Exchange(family)
    for member in family.members:
        alone, either = admissible(member)
        money = {
            o.name: sum(price[i] * n for i, n in o.pieces.items()) + o.other + o.upkeep
            for o in either
        }
        wanted = set() if member.second == "required" else {Build(o.name) for o in alone}
        for feed in {o.feed for o in either}:
            here = [o for o in either if o.feed == feed]
            likely = {
                min(
                    (o for o in here if maker[o.part] == name),
                    key=lambda o: (money[o.name], o.name),
                ).name
                for name in {maker[o.part] for o in here}
            }
            likely.add(max(here, key=lambda o: (o.score, o.name)).name)
            by = {o.name: maker[o.part] for o in here}
            wanted |= {Build(a, b) for a, b in permutations(likely, 2) if by[a] != by[b]}
        assert set(exchange._builds[member.name]) == wanted


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("most", [1, 2])
def test_a_front_that_is_cut_off_has_its_cheapest_plans_and_the_best(seed: int, most: int) -> None:
    """By all plans; cost within a millionth, scores within a ten-thousandth of a point."""
    family = drawn(seed)
    kept = [p for p in every_plan(family) if keeps(family, p)]
    exact: list[Any] = []
    for plan in sorted(kept, key=lambda p: (p.cost, -p.score)):
        if not exact or plan.score > exact[-1].score + 1e-4:
            exact.append(plan)
    found = front(family, seconds=60.0, most=most)
    assert found.complete == (len(exact) < most)
    if len(exact) > most:
        exact = [*exact[:most], exact[-1]]
    assert [p.score for p in found.plans] == pytest.approx([p.score for p in exact], abs=1e-3)
    assert [p.cost for p in found.plans] == pytest.approx([p.cost for p in exact], rel=1e-5)


@pytest.mark.parametrize("seed", [0, 12, 21, 24, 48])
def test_sets_that_no_time_was_left_for_are_told_and_nothing_is_proven(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where a set may hold a better plan than the one found by exchange."""
    family, plans = few(seed)
    if not plans:
        return
    exchange = Exchange(family)
    start = exchange.start()
    assert start is not None
    # one that costs more, so that there is something left to look for
    dear = start[0], type(start[1])(0.0, 1.5 * start[1].value + 1.0, start[1].tie)
    left = PartSets(family).below(dear[1].value)
    assert left
    kept = {key for one in left for key in PartSets(family).builds([one])}
    found, rest = by_sets(family, exchange, Ask(), kept, dear, 0.0, "highs")
    assert found.status is Status.FEASIBLE
    assert found.bound == -math.inf
    assert (found.objective, found.builds) == (dear[1].value, dear[0])
    assert rest == kept | _held_by(dear[0])
    solved, _ = by_sets(family, exchange, Ask(), kept, dear, 60.0, "highs")
    assert solved.status is Status.OPTIMAL
    least = min(p.cost for p in plans)
    assert solved.objective == pytest.approx(least, rel=1e-6)
    assert solved.bound <= least * (1 + 1e-9) + 1e-9
    # what is proven is no more than what the sets' own programs prove
    among = family_search._among

    def looser(*given: Any) -> Any:
        ended, below, plan = among(*given)
        return ended, below - 0.01 * abs(below), plan

    monkeypatch.setattr(family_search, "_among", looser)
    solved, _ = by_sets(family, exchange, Ask(), kept, dear, 60.0, "highs")
    assert solved.bound == pytest.approx(0.99 * least, rel=1e-3)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    ("said", "status"),
    [
        (Solution(Status.LIMIT, None, -math.inf), Status.FEASIBLE),
        (Solution(Status.LIMIT, None, 3.0), Status.FEASIBLE),
    ],
)
def test_a_solver_without_a_plan_leaves_the_one_found_by_exchange(
    seed: int, said: Solution, status: Status, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With no bound better than the solver's; where there is none either, the solver's own word."""
    family = drawn(seed, limited=False)
    start = Exchange(family).start()
    assert start is not None
    monkeypatch.setattr(Model, "solve", lambda *_: said)
    found = search(family, Ask(), 10.0)
    assert (found.status, found.builds) == (status, start[0])
    assert found.objective == start[1].value
    fixed = program(family).fixed
    assert found.bound == pytest.approx(min(said.bound + fixed, start[1].value))
    monkeypatch.setattr(Exchange, "start", lambda _: None)
    found = search(family, Ask(), 10.0)
    assert (found.status, found.objective, found.bound) == (said.status, None, said.bound + fixed)


def test_a_solver_that_denies_what_an_exchange_found_is_wrong(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Where each solver finds no plan although there is one, that is told."""
    family = drawn(1, limited=False)
    monkeypatch.setattr(Model, "solve", lambda *_: Solution(Status.INFEASIBLE, None, math.inf))
    with pytest.raises(SolverError, match="cbc finds no plan where there is one"):
        search(family, Ask(), 10.0)
    with pytest.raises(SolverError, match="cbc finds no plan where there is one"):
        search(family, Ask(), 10.0, "cbc")
    monkeypatch.setattr(Exchange, "start", lambda _: None)
    assert search(family, Ask(), 10.0).status is Status.INFEASIBLE


@pytest.mark.parametrize(
    ("favourite", "score", "behind"),
    [
        (74.3, 74.3 + 1.3e-12, 0.0),
        (74.3 + 1.3e-12, 74.3, 0.0),
        (74.5, 74.25, 0.25),
        (74.25, 74.5, -0.25),
        (50.0 + 2e-9, 50.0, pytest.approx(2e-9, rel=1e-3)),
    ],
)
def test_points_given_up_by_rounding_are_none(
    favourite: float, score: float, behind: float
) -> None:
    assert given_up(favourite, score) == behind
