"""Published mixed-integer instances through the door to the solvers, and coefficients far apart."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.lp import Model, Solver, Status

DATA = Path(__file__).parent / "data"
SECONDS = 60.0
both = pytest.mark.parametrize("solver", ["highs", "cbc"])


def warehouses(text: str) -> Model:
    """Capacitated location, shares of a customer by warehouse, as the OR-Library states it."""
    numbers = iter(map(float, text.split()))
    count, customers = int(next(numbers)), int(next(numbers))
    made = [(next(numbers), next(numbers)) for _ in range(count)]
    model = Model("warehouses")
    costs = {}
    for i, (_, fixed) in enumerate(made):
        model.variable(f"open {i}", 0, 1, integer=True)
        costs[f"open {i}"] = fixed
    loads: list[dict[str, float]] = [{} for _ in made]
    for j in range(customers):
        demand = next(numbers)
        for i in range(count):
            model.variable(f"serve {j} from {i}", 0, 1)
            costs[f"serve {j} from {i}"] = next(numbers)
            loads[i][f"serve {j} from {i}"] = demand
            row = {f"serve {j} from {i}": 1.0, f"open {i}": -1.0}
            model.constraint(f"only open {j} {i}", row, "<=", 0)
        served = {f"serve {j} from {i}": 1.0 for i in range(count)}
        model.constraint(f"served {j}", served, "=", 1)
    for i, (capacity, _) in enumerate(made):
        model.constraint(f"capacity {i}", loads[i] | {f"open {i}": -capacity}, "<=", 0)
    assert next(numbers, None) is None
    model.minimise(costs)
    return model


@both
@pytest.mark.once
@pytest.mark.parametrize(("name", "optimum"), [("cap41", 1040444.375), ("cap72", 977799.400)])
def test_capacitated_warehouses(solver: Solver, name: str, optimum: float) -> None:
    """OR-Library (Beasley 1990), optima as published there."""
    model = warehouses((DATA / f"{name}.txt").read_text(encoding="utf-8"))
    found = model.solve(SECONDS, solver, gap=1e-6)
    assert found.status is Status.OPTIMAL
    assert found.solver == solver
    assert found.objective == pytest.approx(optimum, rel=1e-6)
    assert found.objective is not None
    assert found.bound <= found.objective
    assert found.bound == pytest.approx(optimum, rel=2e-6)


def knapsack(huge: float) -> Model:
    """Four projects (Winston, from memory: at most 42 of 14) and one that costs beyond reason."""
    model = Model("knapsack")
    for name in ("a", "b", "c", "d", "absurd"):
        model.variable(name, 0, 1, integer=True)
    sizes = {"a": 5.0, "b": 7.0, "c": 4.0, "d": 3.0, "absurd": -1.0}
    model.constraint("room", sizes, "<=", 14)
    model.minimise({"a": -16.0, "b": -22.0, "c": -12.0, "d": -8.0, "absurd": huge})
    return model


@both
@pytest.mark.parametrize("huge", [1e3, 1e6, 1e9, 1e12])
def test_one_huge_cost_does_not_take_the_others_digits(solver: Solver, huge: float) -> None:
    found = knapsack(huge).solve(SECONDS, solver)
    assert found.status is Status.OPTIMAL
    assert found.objective == -42
    assert [found.values[n] for n in "abcd"] == [0, 1, 1, 1]


@both
@pytest.mark.parametrize("huge", [1e3, 1e6, 1e9])
def test_one_huge_term_of_a_row_does_not_hide_the_others(solver: Solver, huge: float) -> None:
    """Textbook knapsack (Cormen et al., from memory): 220 of room 50, beside one of no use."""
    model = Model("knapsack")
    for name in ("a", "b", "c", "absurd"):
        model.variable(name, 0, 1, integer=True)
    sizes = {"a": 10.0, "b": 20.0, "c": 30.0, "absurd": huge}
    model.constraint("room", sizes, "<=", 50)
    model.minimise({"a": -60.0, "b": -100.0, "c": -120.0, "absurd": -1.0})
    found = model.solve(SECONDS, solver)
    assert found.status is Status.OPTIMAL
    assert found.objective == -220
    assert found.values["absurd"] == 0


@both
def test_many_pieces_beside_yes_and_no(solver: Solver) -> None:
    """Two vendors' prices (a published instance): A 9, 8, 7, 5, 3 for all pieces from 0, 1000,
    2500, 7500, 15000; B 8, 7, 6, 4, 2 for those beyond 0, 1200, 3000, 7500, 14000. 6,000 are
    needed: 7,500 of A for 37,500; exactly 6,000 cost 40,200, all of B."""
    for exact, optimum in ((False, 37_500.0), (True, 40_200.0)):
        model = Model("vendors")
        wanted: dict[str, float] = {}
        costs: dict[str, float] = {}
        chosen: dict[str, dict[str, float]] = {}
        a = [(0, 9.0), (1000, 8.0), (2500, 7.0), (7500, 5.0), (15_000, 3.0)]
        b = [(0, 8.0), (1200, 7.0), (3000, 6.0), (7500, 4.0), (14_000, 2.0)]
        for vendor, breaks in (("A", a), ("B", b)):
            fixed, before = 0.0, breaks[0][1]
            for at, (start, price) in enumerate(breaks):
                end = breaks[at + 1][0] if at + 1 < len(breaks) else 20_000
                tag = f"{vendor} {start}"
                fixed += (before - price) * start if vendor == "B" else 0.0
                before = price
                model.variable(f"use {tag}", 0, 1, integer=True)
                model.variable(f"buy {tag}", 0, 20_000)
                model.constraint(f"least {tag}", {f"buy {tag}": 1, f"use {tag}": -start}, ">=", 0)
                model.constraint(f"most {tag}", {f"buy {tag}": 1, f"use {tag}": -end}, "<=", 0)
                wanted[f"buy {tag}"] = 1.0
                chosen.setdefault(vendor, {})[f"use {tag}"] = 1.0
                costs |= {f"buy {tag}": price, f"use {tag}": fixed}
        for vendor, terms in chosen.items():
            model.constraint(f"one break of {vendor}", terms, "<=", 1)
        model.constraint("wanted", wanted, "=" if exact else ">=", 6000)
        model.minimise(costs)
        found = model.solve(SECONDS, solver)
        assert found.objective == pytest.approx(optimum, rel=1e-7), exact
