"""The program itself: its rows written out, held against all plans, and solved by two solvers."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from advisor.decide.family import Family, Item, Limits, Member, Option, Platform
from advisor.decide.family_model import Build, program
from advisor.decide.family_plans import solve
from advisor.decide.family_search import Ask, floor, search
from advisor.decide.family_swaps import Exchange, Worth
from advisor.lp import SolverError, Status
from advisor.model.money import price_at
from tests.decide.small_families import drawn, every_plan, keeps

FILES = Path(__file__).resolve().parent.parent / "lp_files"
NEAR = 3e-6


def option(part: str, feed: str, score: float = 60.0, **pieces: int) -> Option:
    return Option(
        name=part,
        part=part,
        feed=feed,
        pieces={part: 1, **pieces},
        other=0.25,
        upkeep=0.5,
        supply=40.0,
        score=score,
        life_chance=0.9,
    )


def small() -> Family:
    """Two products, two parts of two makers, one cell, nothing limited."""
    options = (option("a", "coin", cell=1), option("b", "coin", score=70.0, cell=1))
    return Family(
        members=(
            Member(name="gate", units=400, options=options, favourite="b"),
            Member(name="post", units=100, options=options, favourite="b", tools=50.0),
        ),
        items=(
            Item(name="a", kind="part", breaks=((1, 2.0),)),
            Item(name="b", kind="part", breaks=((1, 2.5),)),
            Item(name="cell", kind="cell", breaks=((1, 1.0),)),
        ),
        platforms=(
            Platform(part="a", maker="north", setup_h=20.0),
            Platform(part="b", maker="south", setup_h=30.0),
        ),
        rate=80.0,
    )


def bought(**figures: object) -> Family:
    """The small family with its cell at other terms."""
    family = small()
    items = tuple(replace(i, **figures) if i.name == "cell" else i for i in family.items)  # type: ignore[arg-type]
    return replace(family, items=items)


def two_sources() -> Family:
    family = small()
    first = replace(
        family.members[0],
        second="allowed",
        second_share=0.25,
        porting_h=6.0,
        give_up=5.0,
        two_sources={("north", "south"): 10.0, ("south", "north"): 15.0},
    )
    return replace(family, members=(first, family.members[1]))


BREAKS = ((1, 1.0), (450, 0.8))
GOLDEN: dict[str, Callable[[], Family]] = {
    "family_builds_and_adoption": small,
    "family_toolchains": lambda: replace(
        small(), platforms=tuple(replace(q, toolchain="open") for q in small().platforms)
    ),
    "family_breaks_for_all_units": lambda: bought(breaks=BREAKS),
    "family_incremental_breaks": lambda: bought(breaks=BREAKS, incremental=True),
    "family_minimum_order_and_multiple": lambda: bought(breaks=((150, 1.0),), multiple=40),
    "family_stock": lambda: bought(stock=120),
    "family_two_sources": two_sources,
    "family_limits": lambda: replace(
        small(), limits=Limits(parts=1, hours=45.0, capital=5000.0, cost=6000.0)
    ),
}


@pytest.mark.parametrize("name", GOLDEN)
def test_each_family_of_rows_is_written_out(name: str) -> None:
    made = program(GOLDEN[name]())
    Ask().of(made)
    path, text = FILES / f"{name}.lp", made.model.text()
    if os.environ.get("UPDATE_LP_FILES") == "1":
        path.write_text(text, encoding="utf-8")
    assert text == path.read_text(encoding="utf-8")


def test_plans_left_out_are_written_out() -> None:
    made = program(small())
    Ask(without=[{"gate": Build("a"), "post": Build("b")}], least_score=62.0).of(made)
    path, text = FILES / "family_distinct_plans.lp", made.model.text()
    if os.environ.get("UPDATE_LP_FILES") == "1":
        path.write_text(text, encoding="utf-8")
    assert text == path.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "seed", [*range(6), *(pytest.param(s, marks=pytest.mark.slow) for s in range(6, 100))]
)
def test_the_program_alone_against_all_plans(seed: int) -> None:
    """Without the exchanges that the search holds against it, and above the relaxation's floor."""
    family = drawn(seed)
    family = replace(family, members=tuple(reasonable(m) for m in family.members))
    kept = [p for p in every_plan(family) if keeps(family, p)]
    made = program(family)
    Ask().of(made)
    found = made.model.solve(30.0, gap=1e-6)
    assert (found.status is Status.INFEASIBLE) == (not kept)
    if not kept:
        return
    best = min(p.cost for p in kept)
    assert found.objective is not None
    assert found.objective + made.fixed == pytest.approx(best, rel=NEAR)
    loose = program(family, whole=False)
    Ask().of(loose)
    relaxed = loose.model.solve(30.0)
    assert relaxed.objective is not None
    assert floor(loose.model, relaxed) + loose.fixed <= best * (1 + NEAR)
    assert floor(loose.model, relaxed) == pytest.approx(relaxed.objective, rel=1e-6, abs=1e-3)


def reasonable(member: Member) -> Member:
    """Without the upkeep of millions, which the search leaves out before the solver sees it."""
    return replace(
        member, options=tuple(replace(o, upkeep=min(o.upkeep, 20.0)) for o in member.options)
    )


@pytest.mark.parametrize("incremental", [False, True])
@pytest.mark.parametrize("units", [7, 60, 380, 401, 449, 450, 2600])
@pytest.mark.parametrize("multiple", [1, 40])
def test_one_product_buys_as_a_product_does(units: int, multiple: int, incremental: bool) -> None:
    """The same purchase as `price_at`, which prices the products of every other command."""
    breaks = ((20, 1.0), (450, 0.8), (2000, 0.5))
    family = bought(breaks=breaks, multiple=multiple, incremental=incremental)
    one = replace(
        family.members[0], units=units, options=family.members[0].options[:1], favourite="a"
    )
    family = replace(family, members=(one,))
    made = program(family)
    Ask().of(made)
    found = made.model.solve(30.0, gap=1e-9)
    cells = price_at([(q, np.array([p])) for q, p in breaks], multiple, units, incremental)
    rest = units * (2.0 + 0.25 + 0.5) + 40.0 + 20.0 * 80.0
    assert found.objective == pytest.approx(rest + cells.total[0], rel=1e-9)
    plan = solve(family).plan
    assert plan is not None
    purchase = next(b for b in plan.bought if b.item == "cell")
    assert (purchase.pieces, purchase.total) == (cells.pieces[0], cells.total[0])


def test_two_vendors() -> None:
    """The published instance: A for all units 9, 8, 7, 5, 3 from 0, 1000, 2500, 7500, 15000, B for
    those beyond 8, 7, 6, 4, 2 from 0, 1200, 3000, 7500, 14000; 6,000 needed: 7,500 of A, 37,500."""
    a, b = (Option(name=n, part=n, feed="", pieces={n: 1}, other=0.0, upkeep=0.0, supply=0.0,
                   score=0.0, life_chance=1.0) for n in "AB")  # fmt: skip
    for options, cost, pieces in (((a, b), 37_500.0, 7500), ((b,), 40_200.0, 6000)):
        family = Family(
            members=(Member(name="p", units=6000, options=options, favourite=options[0].name),),
            items=(
                Item(name="A", kind="part",
                     breaks=((1, 9.0), (1000, 8.0), (2500, 7.0), (7500, 5.0), (15_000, 3.0))),
                Item(name="B", kind="part", incremental=True,
                     breaks=((1, 8.0), (1200, 7.0), (3000, 6.0), (7500, 4.0), (14_000, 2.0))),
            ),
            platforms=(Platform(part="A", maker="m", setup_h=0.0),
                       Platform(part="B", maker="n", setup_h=0.0)),
            rate=0.0,
        )  # fmt: skip
        plan = solve(family).plan
        assert plan is not None
        assert plan.cost == pytest.approx(cost, rel=1e-9)
        assert [x.pieces for x in plan.bought] == [pieces]


@pytest.mark.parametrize(
    "seed", [0, 1, 2, *(pytest.param(s, marks=pytest.mark.slow) for s in range(3, 200))]
)
def test_the_two_solvers_agree_on_larger_families(seed: int) -> None:
    """Too many plans to try. Each is judged by exchanges that share no code with the solver."""
    family = drawn(seed + 1000, products=5, parts=8)
    ours, theirs = solve(family), solve(family, solver="cbc")
    assert (ours.solver, theirs.solver) == ("highs", "cbc")
    assert ours.status is theirs.status
    if ours.value is not None:
        assert ours.value == pytest.approx(theirs.value, rel=NEAR)


def test_a_best_plan_that_an_exchange_betters_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """By half a per cent, tools that are paid whatever is chosen counted on both sides."""
    family = small()
    family = replace(family, members=(replace(family.members[0], tools=1e6), family.members[1]))
    least = min(p.cost for p in every_plan(family))
    found = search(family, Ask(), 30.0)
    assert found.status is Status.OPTIMAL
    assert found.objective == pytest.approx(least, rel=NEAR)
    assert found.bound == pytest.approx(least, rel=NEAR)
    real = Exchange.better

    def bettered(self: Exchange, builds: dict[str, Build]) -> tuple[dict[str, Build], Worth]:
        better, worth = real(self, builds)
        return better, replace(worth, value=0.995 * worth.value)

    monkeypatch.setattr(Exchange, "better", bettered)
    monkeypatch.setattr(Exchange, "start", lambda _: None)
    with pytest.raises(SolverError, match=r"cbc calls 100\d+\.?\d* the best, an exchange 99\d+"):
        search(family, Ask(), 30.0)


def test_what_does_not_fit_together_is_told_at_once() -> None:
    family = small()
    with pytest.raises(ValueError, match="favourite 'c'") as caught:
        replace(
            family,
            members=(replace(family.members[0], favourite="c", units=0),),
            rate=float("nan"),
        )
    assert len(str(caught.value).splitlines()) == 3
