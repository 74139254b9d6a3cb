"""Families at random held against all of their plans, by a judge that knows only the algebra."""

from __future__ import annotations

from dataclasses import replace

import pytest

from advisor.decide.conflicts import conflict
from advisor.decide.family import Family, Item, Limit, Limits, Member, Option, Platform
from advisor.decide.family_beside import alternatives, apart, front, prices
from advisor.decide.family_plans import Answer, Plan, solve
from advisor.lp import Status
from tests.decide.family_judge import (
    CLOSE,
    Judged,
    Pair,
    Plans,
    judged,
    limited,
    purchase,
    small,
)
from tests.shares import mostly_slow

pytestmark = pytest.mark.once

SEEDS = mostly_slow(range(400), every=20)
EXACT = 1e-9
"""Relative: the same sums in another order, floats of size 1e9."""


def pairs(family: Family, plan: Plan) -> tuple[Pair, ...]:
    return tuple((plan.builds[m.name].first, plan.builds[m.name].second) for m in family.members)


def near(value: float, wanted: float) -> bool:
    return abs(value - wanted) <= CLOSE * max(abs(wanted), abs(value)) + EXACT


def worth(plan: Judged, objective: str) -> float:
    return plan.cost if objective == "cost" else plan.score


def hold(plans: Plans, family: Family, answer: Answer, objective: str) -> None:
    """Status, value and sums of an answer, all plans known."""
    # limits that a plan meets to the solver's gap may be kept or not
    able = [plans.best(family, objective, slack) for slack in (-CLOSE, EXACT, CLOSE)]
    values = [worth(b, objective) for b in able if b is not None]
    if answer.plan is None:
        assert answer.status is Status.INFEASIBLE
        assert able[0] is None
        return
    assert answer.value is not None
    assert answer.status is Status.OPTIMAL
    assert any(near(answer.value, v) for v in values)
    if objective == "cost":
        assert answer.bound <= answer.value * (1 + EXACT)
    else:
        assert answer.bound >= answer.value - EXACT
    mine = judged(family, pairs(family, answer.plan))
    for name in ("cost", "capital", "hours", "score"):
        assert getattr(answer.plan, name) == pytest.approx(
            getattr(mine, name), rel=EXACT, abs=EXACT
        )
    assert len(answer.plan.adopted) == mine.parts
    for lines in (answer.plan.lines.values(), (t.cost for t in answer.plan.taken)):
        assert sum(lines) == pytest.approx(mine.cost, rel=EXACT, abs=EXACT)


@pytest.mark.parametrize("seed", SEEDS)
def test_no_plan_is_better_than_the_one_found(seed: int) -> None:
    free = small(seed)
    plans = Plans(free)
    family = limited(free, plans, seed)
    for objective in ("cost", "score"):
        hold(plans, family, solve(family, objective), objective)


@pytest.mark.parametrize("seed", SEEDS)
def test_what_stands_beside_the_plan(seed: int) -> None:
    free = small(seed)
    plans = Plans(free)
    family = limited(free, plans, seed)
    best = solve(family)
    if best.plan is None:
        return
    assert best.value is not None
    seen = [judged(family, pairs(family, best.plan)).places]
    for other in alternatives(family, best, 3):
        assert other.plan is not None
        left = [p for p in plans.keeping(family) if p.places not in seen]
        assert near(other.plan.cost, min(p.cost for p in left))
        seen.append(judged(family, pairs(family, other.plan)).places)
    if len(seen) < 4:
        assert all(p.places in seen for p in plans.keeping(family, -CLOSE))
    for price in prices(family, best):
        loose = None if price.limit.rule == "second-source" else price.value + price.step
        looser = family.moved(price.limit, loose)
        found = [plans.best(looser, "cost", slack) for slack in (-CLOSE, EXACT, CLOSE)]
        gains = [best.value - b.cost for b in found if b is not None]
        assert price.gain is not None
        assert any(abs(price.gain - g) <= 2 * CLOSE * best.value for g in gains)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_front_is_whole(seed: int) -> None:
    free = small(seed)
    plans = Plans(free)
    family = limited(free, plans, seed)
    found = front(family)
    assert found.complete
    every = list(plans.keeping(family))
    for one in every:
        assert any(
            p.cost <= one.cost * (1 + CLOSE) + EXACT and p.score >= one.score - 2e-4
            for p in found.plans
        )
    for p in found.plans:
        assert not any(
            one.cost < p.cost * (1 - CLOSE) - EXACT and one.score >= p.score for one in every
        )


@pytest.mark.parametrize("seed", SEEDS)
def test_the_fewest_limits_that_conflict(seed: int) -> None:
    free = small(seed)
    plans = Plans(free)
    family = limited(free, plans, seed)
    edge = {plans.best(family, "cost", slack) is None for slack in (-CLOSE, CLOSE)}
    if len(edge) == 2:
        return  # met to the solver's gap: either answer will do
    found, size = conflict(family), plans.conflict(family)
    if size is None:
        assert found is None
        return
    assert found is not None
    assert found.smallest
    assert len(found.limits) == size
    assert next(plans.keeping(family.only(found.limits)), None) is None


@pytest.mark.parametrize("seed", SEEDS)
def test_each_product_by_itself(seed: int) -> None:
    family = small(seed)
    found = apart(family)
    stock = {i.name: i.stock for i in family.items}
    total = 0.0
    for at, member in enumerate(family.members):
        own = replace(
            family,
            members=(member,),
            items=tuple(replace(i, stock=stock[i.name]) for i in family.items),
        )
        best = Plans(own).best(own, "cost")
        if best is None:
            assert found is None
            return
        if found is None:
            continue
        plan = found.alone[at]
        assert near(plan.cost, best.cost)
        total += judged(own, pairs(own, plan)).cost
        for b in plan.bought:
            stock[b.item] -= b.from_stock
    assert found is not None
    assert sum(found.separate.values()) == pytest.approx(total, rel=EXACT, abs=EXACT)
    builds = tuple(
        p
        for m, plan in zip(family.members, found.alone, strict=True)
        for p in pairs(replace(family, members=(m,)), plan)
    )
    together = judged(family, builds)
    assert found.pooled.cost == pytest.approx(together.cost, rel=EXACT, abs=EXACT)
    saving = found.saving(found.pooled)
    assert sum(a for a, _ in saving.values()) == pytest.approx(
        total - together.cost, rel=EXACT, abs=EXACT * (1 + total)
    )
    assert all(abs(b) <= EXACT * (1 + total) for _, b in saving.values())


def test_the_families_are_worth_judging() -> None:
    """Some plans to choose from, some conflicts, and every rule at work."""
    rules: set[str] = set()
    able = 0
    for seed in range(0, 400, 20):
        free = small(seed)
        plans = Plans(free)
        family = limited(free, plans, seed)
        rules |= {limit.rule for limit in family.stated()}
        able += len(list(plans.keeping(family))) > 5
    assert rules == {
        "parts",
        "engineering",
        "capital",
        "cost",
        "life-chance",
        "give-up",
        "second-source",
    }
    assert able >= 5


def test_a_purchase_by_hand() -> None:
    """Sums of one's own: 60 at nothing rather than 30 dear, the first break whole, beyond it."""
    item = Item(name="i", kind="cell", breaks=((1, 21.53), (31, 0.0), (48, 0.0)), multiple=30)
    assert purchase(item, 7) == 0
    least = Item(name="i", kind="cell", breaks=((25, 2.0), (50, 1.5)), stock=4)
    assert purchase(least, 4) == 0
    assert purchase(least, 5) == 50.0
    assert purchase(least, 45) == 75.0
    beyond = replace(least, incremental=True)
    assert purchase(beyond, 64) == pytest.approx(50 * 2.0 + 10 * 1.5, rel=1e-12)


@pytest.mark.parametrize(
    ("breaks", "multiple", "stock"),
    [
        (((1, 21.53), (31, 0.0), (38, 0.0), (48, 0.0)), 30, 3),
        (((1, 2.5), (31, 0.2), (38, 0.3), (61, 0.4)), 30, 0),
        (((1, 0.014), (101, 0.0), (102, 0.0), (103, 0.0)), 100, 0),
        (((5, 0.3), (6, 0.9), (16, 0.0), (46, 0.0)), 1, 0),
        (((7, 0.0), (8, 5.0), (40, 0.01)), 4, 2),
    ],
)
def test_breaks_that_no_multiple_meets(
    breaks: tuple[tuple[int, float], ...], multiple: int, stock: int
) -> None:
    """A break that ends before its first multiple lends its price to none that lies further up."""
    items = (
        Item(name="near", kind="part", breaks=breaks, multiple=multiple, stock=stock),
        Item(name="dear", kind="part", breaks=((1, 1.0),)),
    )
    options = tuple(
        Option(
            name=part,
            part=part,
            feed="pen",
            pieces={part: 1},
            other=other,
            upkeep=0.0,
            supply=0.0,
            score=50.0,
            life_chance=1.0,
        )
        for part, other in (("near", 0.0), ("dear", 100.0))
    )
    family = Family(
        members=tuple(
            Member(name=f"m{n}", units=n, options=options, favourite="near") for n in (10, 4)
        ),
        items=items,
        platforms=tuple(Platform(part=i.name, maker="x", setup_h=0.0) for i in items),
        rate=0.0,
    )
    hold(Plans(family), family, solve(family), "cost")


def test_the_judge_knows_limits_of_the_whole() -> None:
    """By hand: two products share one part, or take a part each."""
    family = Family(
        members=tuple(
            Member(
                name=name,
                units=10,
                options=tuple(
                    Option(
                        name=part,
                        part=part,
                        feed="pen",
                        pieces={part: 1},
                        other=0.0,
                        upkeep=1.0,
                        supply=5.0,
                        score=score,
                        life_chance=1.0,
                        setup_h=2.0,
                    )
                    for part, score in (("a", 60.0), ("b", 80.0))
                ),
                favourite="b",
                tools=7.0,
            )
            for name in ("m", "n")
        ),
        items=(
            Item(name="a", kind="part", breaks=((1, 3.0), (20, 2.0))),
            Item(name="b", kind="part", breaks=((1, 4.0),)),
        ),
        platforms=(
            Platform(part="a", maker="x", setup_h=10.0, toolchain="g"),
            Platform(part="b", maker="x", setup_h=6.0, toolchain="g"),
        ),
        rate=100.0,
        limits=Limits(hours=19.0),
    )
    plans = Plans(family)
    found = {p.pairs[0][0] + p.pairs[1][0]: p for p in plans.all}
    # hours: a alone 10 and 2 a product; both 5 + 3 and the greater share 5
    assert [found[k].hours for k in ("aa", "ab", "bb")] == [14.0, 17.0, 10.0]
    # 20 a at 2, 1400 of hours, 14 of tools; 20 of upkeep and 10 of supply beside
    assert found["aa"].capital == 40.0 + 1400.0 + 14.0
    assert found["aa"].cost == found["aa"].capital + 20.0 + 10.0
    assert plans.best(family, "cost") == found["bb"]
    tight = family.moved(Limit("engineering"), 9.0)
    assert plans.conflict(tight) == 1
    hold(plans, family, solve(family), "cost")


@pytest.mark.parametrize("seed", mostly_slow([20771, *range(100)], every=20))
def test_no_equal_plan_an_exchange_apart_is_worth_more(seed: int) -> None:
    """Seed 20771 has two sources that cost less the other way round, at the same score."""
    free = small(seed)
    plans = Plans(free)
    family = limited(free, plans, seed)
    for objective in ("cost", "score"):
        found = solve(family, objective)
        if found.plan is None:
            continue
        taken = judged(family, pairs(family, found.plan))
        for other in plans.keeping(family, -CLOSE):
            apart_by = sum(a != b for a, b in zip(other.pairs, taken.pairs, strict=True))
            equal = abs(worth(other, objective) - worth(taken, objective)) <= 1e-13 * abs(
                worth(taken, objective)
            )
            if apart_by == 1 and equal:
                if objective == "cost":
                    assert other.score <= taken.score + EXACT
                else:
                    assert other.cost >= taken.cost * (1 - EXACT)


@pytest.mark.parametrize("order", [1, -1, 3, 7])
def test_equal_plans_go_by_score_then_by_name(order: int) -> None:
    """Parts alike in all but their names, in any order, for a product by itself each."""
    parts = [f"p{k * order % 10}" for k in range(10)]
    family = Family(
        members=tuple(
            Member(
                name=f"m{k}",
                units=50,
                options=tuple(
                    Option(
                        name=f"{part} pen",
                        part=part,
                        feed="pen",
                        pieces={part: 1},
                        other=0.1,
                        upkeep=0.2,
                        supply=3.0,
                        score=70.0,
                        life_chance=1.0,
                    )
                    for part in parts[5 * k : 5 * k + 5]
                ),
                favourite=f"{parts[5 * k]} pen",
            )
            for k in range(2)
        ),
        items=tuple(
            Item(name=p, kind="part", breaks=((1, 2.0), (40, 1.5)), multiple=50) for p in parts
        ),
        platforms=tuple(Platform(part=p, maker="x", setup_h=4.0) for p in parts),
        rate=80.0,
    )
    for objective in ("cost", "score"):
        found = solve(family, objective)
        assert found.plan is not None
        assert list(found.plan.adopted) == sorted([min(parts[:5]), min(parts[5:])])
