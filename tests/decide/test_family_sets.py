"""Plans by the parts they adopt, against all plans of families at random by their judge."""

from __future__ import annotations

import dataclasses
import math
from collections import Counter

import pytest

from advisor.decide import family_search, family_sets
from advisor.decide.family import Family, Item
from advisor.decide.family_model import Build
from advisor.decide.family_plans import solve
from advisor.decide.family_search import _held_by, by_sets
from advisor.decide.family_sets import PartSets, least_each
from advisor.decide.family_swaps import spent
from advisor.lp import Status
from tests.bench.families import drawn
from tests.decide.family_judge import Judged, Plans, limited, small
from tests.shares import mostly_slow

pytestmark = pytest.mark.once

SEEDS = mostly_slow(range(300), every=12)


def few(seed: int) -> tuple[Family, list[Judged]]:
    """A small family of at most three parts, with all plans within its limits."""
    alone = small(seed)
    plans = Plans(alone)
    family = limited(alone, plans, seed)
    limits = dataclasses.replace(family.limits, parts=family.limits.parts or 3)
    family = dataclasses.replace(family, limits=limits)
    return family, list(plans.keeping(family))


@pytest.mark.parametrize("seed", SEEDS)
def test_no_plan_is_below_the_bound_of_the_parts_it_adopts(seed: int) -> None:
    family, found = few(seed)
    sets = PartSets(family)
    left = sets.below(float("inf"))
    assert left is not None
    bounds = {s.parts: s.bound for s in left}
    assert [s.bound for s in left] == sorted(bounds.values())
    for plan in found:
        names = [
            (member, name)
            for member, pair in zip(family.members, plan.pairs, strict=True)
            for name in pair
            if name is not None
        ]
        parts = frozenset(next(o.part for o in m.options if o.name == n) for m, n in names)
        assert bounds[parts] <= plan.cost + 1e-9 * (1 + abs(plan.cost))


@pytest.mark.parametrize("seed", SEEDS)
def test_no_piece_costs_less_than_the_least_each(seed: int) -> None:
    for item in small(seed).items:
        edges = [q + d for q, _ in item.breaks for d in (-1, 0, 1)]
        wanted = [n for n in (1, 2, 7, *edges, 3 * item.breaks[-1][0]) if n > 0]
        each = {n: spent(item, item.stock + n) / n for n in {1, 2, 3, *wanted}}
        first = [spent(item, item.stock + n) / n for n in range(1, min(max(wanted), 300) + 1)]
        for most in wanted:
            least = least_each(item, most)
            assert all(x >= least * (1 - 1e-12) for n, x in each.items() if n <= most), item
            if most <= 300:
                assert min(first[:most]) == pytest.approx(least, rel=1e-12)


def test_a_piece_may_cost_least_where_whole_packages_are_used_up() -> None:
    """Packages of a hundred, 50 pieces at 3 and what is beyond at 1: 300 for 200 pieces; of 210
    wanted a third package makes it 400."""
    item = Item(
        name="chip", kind="part", breaks=((1, 3.0), (50, 1.0)), multiple=100, incremental=True
    )
    assert [least_each(item, most) for most in (100, 210, 290)] == [2.0, 1.5, 400 / 290]


@pytest.mark.parametrize("seed", SEEDS)
def test_the_cheapest_plan_by_sets_is_the_cheapest_of_all(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    family, found = few(seed)
    monkeypatch.setattr(family_search, "MANY", 0)
    told: list[Status] = []

    def by(*args: object) -> object:
        answer = by_sets(*args)  # type: ignore[arg-type]
        told.append(answer[0].status)
        return answer

    monkeypatch.setattr(family_search, "by_sets", by)
    answer = solve(family, seconds=60.0)
    if not found:
        assert answer.plan is None
        return
    least = min(p.cost for p in found)
    assert answer.value == pytest.approx(least, rel=1e-6, abs=1e-6)
    assert answer.bound <= least * (1 + 1e-9) + 1e-6
    # what is proven is so by a bound as close as a search may stop
    assert answer.bound >= least * (1 - 1e-5) - 1e-6
    assert all(status is Status.OPTIMAL for status in told)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_search_by_sets_changes_no_plan(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    family = drawn(5, 30, seed, limited=True)
    limits = dataclasses.replace(family.limits, hours=120.0, capital=90_000.0)
    family = dataclasses.replace(family, limits=limits)
    whole = solve(family, seconds=60.0)
    for most in (500, 1):
        # as many sets as there are, then all but one left to the program of the rest
        monkeypatch.setattr(family_search, "MANY", 20)
        monkeypatch.setattr(family_search, "_SETS", most)
        near = solve(family, seconds=60.0)
        assert near.proven
        assert whole.proven
        assert near.plan is not None
        assert whole.plan is not None
        assert near.plan.builds == whole.plan.builds
        assert near.value == pytest.approx(whole.value, rel=1e-9)


def test_sets_are_not_tried_where_many_parts_may_be_adopted() -> None:
    family = drawn(3, 40, 1)
    assert not PartSets(family).few()
    assert PartSets(few(1)[0]).few()
    # fifty million sets of six of sixty, but half a million beginnings to go through one by one
    many = drawn(3, 60, 1)
    for most, tried in ((4, True), (6, False), (60, False)):
        limits = dataclasses.replace(many.limits, parts=most)
        assert PartSets(dataclasses.replace(many, limits=limits)).few() is tried


@pytest.mark.parametrize("seed", SEEDS)
def test_parts_of_one_toolchain_share_its_set_up(seed: int) -> None:
    """The longest of a toolchain is paid whole, of the others what is their own."""
    family = small(seed)
    sets = PartSets(family)
    platform = {k: next(q for q in family.platforms if q.part == p) for p, k in sets.at.items()}
    for some, hours in sets._within(min(3, len(sets.at))):
        for places, told in zip(some.tolist(), hours.tolist(), strict=True):
            chains: dict[str, list[float]] = {}
            for k in places:
                q = platform[k]
                chains.setdefault(q.toolchain or q.part, []).append(q.setup_h)
            share = family.toolchain_share
            whole = sum(share * max(hs) + (1 - share) * sum(hs) for hs in chains.values())
            assert told == pytest.approx(whole, abs=1e-9)


def test_more_sets_than_are_worth_bounding_are_left_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Of all numbers of parts together: those of any one number are fewer here."""
    sets = PartSets(few(1)[0])
    every = sets.below(math.inf)
    assert every is not None
    sizes = Counter(len(one.parts) for one in every)
    assert max(sizes.values()) < len(every)
    monkeypatch.setattr(family_sets, "MOST_LEFT", len(every))
    assert sets.below(math.inf) == every
    monkeypatch.setattr(family_sets, "MOST_LEFT", len(every) - 1)
    assert sets.below(math.inf) is None


def test_a_plan_holds_each_build_in_its_role() -> None:
    plan = {"gate": Build("a"), "post": Build("b", "c")}
    assert _held_by(plan) == {
        ("gate", "only", "a"),
        ("post", "first", "b"),
        ("post", "second", "c"),
    }
