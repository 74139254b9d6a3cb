"""The door to the solvers: textbook optima, certificates of optimality, and what may go wrong."""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Mapping, Sequence
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor import lp
from advisor.lp import Model, Sense, Solver, Status, _width

SECONDS = 20.0
# HiGHS hands over doubles; CBC's answer passes through a file with 8 significant digits.
RELATIVE = {"highs": 1e-9, "cbc": 1e-7}

both = pytest.mark.parametrize("solver", ["highs", "cbc"])
needs_cbc = pytest.mark.skipif(
    lp._cbc(1.0, 0.0, None) is None, reason="no CBC on this machine: nothing to compare with"
)


def maximise(model: Model, terms: Mapping[str, float]) -> None:
    model.minimise({name: -a for name, a in terms.items()})


def product_mix() -> Model:
    model = Model("product mix")
    for name in ("doors", "windows"):
        model.variable(name)
    model.constraint("plant 1", {"doors": 1}, "<=", 4)
    model.constraint("plant 2", {"windows": 2}, "<=", 12)
    model.constraint("plant 3", {"doors": 3, "windows": 2}, "<=", 18)
    maximise(model, {"doors": 3, "windows": 5})
    return model


def paint_mix() -> Model:
    model = Model("paint mix")
    for name in ("outside", "inside"):
        model.variable(name)
    model.constraint("m1", {"outside": 6, "inside": 4}, "<=", 24)
    model.constraint("m2", {"outside": 1, "inside": 2}, "<=", 6)
    model.constraint("balance", {"outside": -1, "inside": 1}, "<=", 1)
    model.constraint("demand", {"inside": 1}, "<=", 2)
    maximise(model, {"outside": 5, "inside": 4})
    return model


def choose(values: Sequence[float], sizes: Sequence[float], room: float, whole: bool) -> Model:
    model = Model("choice")
    for i in range(len(values)):
        model.variable(f"x{i}", 0, 1, integer=whole)
    model.constraint("room", {f"x{i}": s for i, s in enumerate(sizes)}, "<=", room)
    maximise(model, {f"x{i}": v for i, v in enumerate(values)})
    return model


def transport() -> Model:
    stock = {"p1": 350, "p2": 600}
    demand = {"a": 325, "b": 300, "c": 275}
    thousand_miles = {
        ("p1", "a"): 2.5, ("p1", "b"): 1.7, ("p1", "c"): 1.8,
        ("p2", "a"): 2.5, ("p2", "b"): 1.8, ("p2", "c"): 1.4,
    }  # fmt: skip
    model = Model("transport")
    for p, m in thousand_miles:
        model.variable(f"{p} to {m}")
    for p, most in stock.items():
        model.constraint(f"stock {p}", {f"{p} to {m}": 1 for m in demand}, "<=", most)
    for m, least in demand.items():
        model.constraint(f"demand {m}", {f"{p} to {m}": 1 for p in stock}, ">=", least)
    model.minimise({f"{p} to {m}": 90 * d / 1000 for (p, m), d in thousand_miles.items()})
    return model


# ------------------------------------------------------------------------------ textbook optima


@both
def test_product_mix(solver: Solver) -> None:
    """Hillier & Lieberman, Introduction to Operations Research, chapter 3 (from memory): 36 at
    (2, 6) with shadow prices 0, 1.5 and 1. A maximum's shadow price is minus our dual."""
    found = product_mix().solve(SECONDS, solver)
    assert found.status is Status.OPTIMAL
    assert found.solver == solver
    assert found.objective == pytest.approx(-36, rel=RELATIVE[solver])
    assert found.bound == found.objective
    assert found.values == pytest.approx({"doors": 2, "windows": 6}, rel=RELATIVE[solver])
    assert [-found.duals[f"plant {i}"] for i in (1, 2, 3)] == pytest.approx([0, 1.5, 1], abs=1e-9)


@both
def test_paint_mix(solver: Solver) -> None:
    """Taha, Operations Research: An Introduction, chapter 2 (from memory): 21 at (3, 1.5), dual
    prices 0.75, 0.5, 0, 0."""
    found = paint_mix().solve(SECONDS, solver)
    assert found.objective == pytest.approx(-21, rel=RELATIVE[solver])
    assert found.values == pytest.approx({"outside": 3, "inside": 1.5}, rel=RELATIVE[solver])
    duals = [-found.duals[k] for k in ("m1", "m2", "balance", "demand")]
    assert duals == pytest.approx([0.75, 0.5, 0, 0], abs=1e-9)


@both
def test_capital_budgeting(solver: Solver) -> None:
    """Winston, Operations Research: Applications and Algorithms, chapter 9 (from memory): 42 at
    (0, 1, 1, 1), and 44 when shares of an investment may be bought."""
    values, sizes = [16, 22, 12, 8], [5, 7, 4, 3]
    whole = choose(values, sizes, 14, whole=True).solve(SECONDS, solver)
    assert whole.objective == -42
    assert list(whole.values.values()) == [0, 1, 1, 1]
    assert whole.bound == pytest.approx(-42, rel=1e-6)
    assert whole.bound <= -42
    assert whole.duals == {}
    relaxed = choose(values, sizes, 14, whole=False).solve(SECONDS, solver)
    assert relaxed.objective == pytest.approx(-44, rel=RELATIVE[solver])


@both
def test_knapsack(solver: Solver) -> None:
    """Cormen, Leiserson, Rivest & Stein, Introduction to Algorithms, chapter on greedy algorithms
    (from memory): 240 with fractions, 220 without."""
    values, sizes = [60, 100, 120], [10, 20, 30]
    fractions = choose(values, sizes, 50, whole=False).solve(SECONDS, solver)
    assert fractions.objective == pytest.approx(-240, rel=RELATIVE[solver])
    assert choose(values, sizes, 50, whole=True).solve(SECONDS, solver).objective == -220


@both
def test_transport(solver: Solver) -> None:
    """Dantzig, Linear Programming and Extensions, chapter 3 (from memory): 153.675."""
    found = transport().solve(SECONDS, solver)
    assert found.objective == pytest.approx(153.675, rel=RELATIVE[solver])


@both
def test_beale_does_not_cycle(solver: Solver) -> None:
    """Beale 1955 (from memory): the simplex method may cycle here; the optimum is -1.25."""
    model = Model("beale")
    for name in "abcd":
        model.variable(name)
    model.constraint("r1", {"a": 0.25, "b": -8, "c": -1, "d": 9}, "<=", 0)
    model.constraint("r2", {"a": 0.5, "b": -12, "c": -0.5, "d": 3}, "<=", 0)
    model.constraint("r3", {"c": 1}, "<=", 1)
    model.minimise({"a": -0.75, "b": 20, "c": -0.5, "d": 6})
    found = model.solve(SECONDS, solver)
    assert found.objective == pytest.approx(-1.25, rel=RELATIVE[solver])


# --------------------------------------------------------------------- certificates, brute force

small = st.integers(-6, 6)


@st.composite
def programs(draw: st.DrawFn) -> tuple[list[list[int]], list[Sense], list[int], list[int]]:
    columns, rows = draw(st.integers(1, 4)), draw(st.integers(1, 4))
    table = [[draw(small) for _ in range(columns)] for _ in range(rows)]
    senses: list[Sense] = [draw(st.sampled_from(["<=", "=", ">="])) for _ in range(rows)]
    return table, senses, [draw(small) for _ in range(rows)], [draw(small) for _ in range(columns)]


def build(
    table: list[list[int]], senses: list[Sense], rhs: list[int], costs: list[int], **box: Any
) -> Model:
    model = Model("drawn")
    for j in range(len(costs)):
        model.variable(f"x{j}", **box)
    for i, row in enumerate(table):
        model.constraint(f"r{i}", {f"x{j}": a for j, a in enumerate(row)}, senses[i], rhs[i])
    model.minimise({f"x{j}": c for j, c in enumerate(costs)})
    return model


@given(programs())
def test_duals_prove_the_optimum(
    drawn: tuple[list[list[int]], list[Sense], list[int], list[int]],
) -> None:
    """Strong duality: values that hold every row, and duals of the right signs that price no
    column below its cost, with equal objectives, prove each other (Gale, Kuhn & Tucker 1951)."""
    table, senses, rhs, costs = drawn
    found = build(*drawn).solve(SECONDS)
    if found.status is not Status.OPTIMAL:
        assert found.status in (Status.INFEASIBLE, Status.UNBOUNDED)
        assert not found.solved
        assert found.objective is None
        assert found.values == {}
        assert found.duals == {}
        return
    assert found.objective is not None
    y = [found.duals[f"r{i}"] for i in range(len(rhs))]
    near = 1e-7 * (1 + sum(map(abs, y)))
    for sense, price in zip(senses, y, strict=True):
        assert sense != "<=" or price <= near
        assert sense != ">=" or price >= -near
    for j, cost in enumerate(costs):
        assert sum(y[i] * table[i][j] for i in range(len(rhs))) <= cost + 10 * near
    worth = math.fsum(p * b for p, b in zip(y, rhs, strict=True))
    assert found.objective == pytest.approx(worth, rel=1e-7, abs=10 * near)


@needs_cbc
@given(programs())
def test_the_two_solvers_agree(
    drawn: tuple[list[list[int]], list[Sense], list[int], list[int]],
) -> None:
    ours, theirs = build(*drawn).solve(SECONDS), build(*drawn).solve(SECONDS, "cbc")
    assert (ours.solver, theirs.solver) == ("highs", "cbc")
    assert ours.status is theirs.status
    if ours.solved:
        assert ours.objective == pytest.approx(theirs.objective, rel=1e-6, abs=1e-7)


@given(programs())
def test_whole_numbers_against_trying_all(
    drawn: tuple[list[list[int]], list[Sense], list[int], list[int]],
) -> None:
    table, senses, rhs, costs = drawn
    holds = {"<=": int.__le__, "=": int.__eq__, ">=": int.__ge__}
    best: int | None = None
    for point in itertools.product(range(4), repeat=len(costs)):
        if all(
            holds[senses[i]](sum(a * x for a, x in zip(row, point, strict=True)), rhs[i])
            for i, row in enumerate(table)
        ):
            cost = sum(c * x for c, x in zip(costs, point, strict=True))
            best = cost if best is None else min(best, cost)
    found = build(*drawn, lower=0, upper=3, integer=True).solve(SECONDS)
    assert found.status is (Status.INFEASIBLE if best is None else Status.OPTIMAL)
    assert found.objective == best
    assert all(value == int(value) for value in found.values.values())


def test_duals_are_what_one_more_unit_is_worth() -> None:
    model = transport()
    base = model.solve(SECONDS)
    assert base.objective is not None
    for name in ("stock p1", "stock p2", "demand a", "demand b", "demand c"):
        nudged = transport()
        row = nudged._rows[name]
        nudged._rows[name] = lp._Row(row.terms, row.sense, row.rhs + 1)
        change = nudged.solve(SECONDS).objective
        assert change is not None
        # p1's stock is taken up whole: the basis holds for one more case
        assert change - base.objective == pytest.approx(base.duals[name], rel=1e-6, abs=1e-9)


# ------------------------------------------------------------------------------------ bad models


@both
@pytest.mark.parametrize("whole", [False, True])
def test_infeasible(solver: Solver, whole: bool) -> None:
    model = Model()
    model.variable("x", 0, 9, integer=whole)
    model.constraint("low", {"x": 1}, "<=", 1)
    model.constraint("high", {"x": 1}, ">=", 2)
    model.minimise({"x": 1})
    found = model.solve(SECONDS, solver)
    assert found.status is Status.INFEASIBLE
    assert found.objective is None
    assert found.bound == math.inf
    assert found.values == {}
    assert found.duals == {}


@both
@pytest.mark.parametrize("whole", [False, True])
def test_unbounded(solver: Solver, whole: bool) -> None:
    model = Model()
    model.variable("x", integer=whole)
    model.variable("y", integer=whole)
    model.constraint("gap", {"x": 1, "y": -1}, "<=", 1)
    model.minimise({"x": -1, "y": -1})
    found = model.solve(SECONDS, solver)
    assert found.status is Status.UNBOUNDED
    assert found.objective is None
    assert found.bound == -math.inf


@both
def test_a_downhill_ray_in_an_infeasible_model_is_not_unbounded(solver: Solver) -> None:
    model = Model()
    for name in "xyz":
        model.variable(name)
    model.constraint("low", {"x": 1, "y": 1}, "<=", 1)
    model.constraint("high", {"x": 1, "y": 1}, ">=", 2)
    model.minimise({"z": -1})
    assert model.solve(SECONDS, solver).status is Status.INFEASIBLE


@both
def test_only_whole_numbers_are_missing(solver: Solver) -> None:
    model = Model()
    model.variable("x", 0, 5, integer=True)
    model.constraint("odd", {"x": 2}, "=", 3)
    model.minimise({"x": -1})
    assert model.solve(SECONDS, solver).status is Status.INFEASIBLE


def test_a_limit_is_not_an_optimum() -> None:
    """Market split (Cornuejols & Dawande 1999): small, and out of reach of branch and bound."""
    draw = random.Random(3)
    model = Model("market split")
    for j in range(50):
        model.variable(f"x{j}", 0, 1, integer=True)
    for i in range(6):
        sizes = {f"x{j}": float(draw.randrange(100)) for j in range(50)}
        for side in ("over", "under"):
            model.variable(f"{side}{i}")
        model.constraint(
            f"r{i}", {**sizes, f"over{i}": -1, f"under{i}": 1}, "=", sum(sizes.values()) // 2
        )
    model.minimise({f"{side}{i}": 1 for side in ("over", "under") for i in range(6)})
    found = model.solve(0.5)
    assert found.status in (Status.FEASIBLE, Status.LIMIT)
    if found.solved:
        assert found.objective is not None
        assert found.bound < found.objective


@pytest.mark.parametrize(
    ("terms", "sense", "rhs", "word"),
    [
        ({"y": 1.0}, "<=", 1.0, "no variable 'y'"),
        ({"x": math.nan}, "<=", 1.0, "coefficient nan"),
        ({"x": 1.0}, "<", 1.0, "sense '<'"),
        ({"x": 1.0}, "<=", math.inf, "right-hand side inf"),
    ],
)
def test_bad_constraint(terms: dict[str, float], sense: Any, rhs: float, word: str) -> None:
    model = Model()
    model.variable("x")
    with pytest.raises(ValueError, match=word):
        model.constraint("row", terms, sense, rhs)


@pytest.mark.parametrize(
    "box",
    [(2.0, 1.0), (math.nan, 1.0), (0.0, math.nan), (math.inf, math.inf), (-math.inf, -math.inf)],
)
def test_bad_bounds(box: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="nothing lies between"):
        Model().variable("x", *box)


def test_bad_names_and_limits() -> None:
    model = Model()
    model.variable("x")
    model.constraint("row", {"x": 1}, ">=", 1)
    with pytest.raises(ValueError, match="there already"):
        model.variable("x")
    with pytest.raises(ValueError, match="there already"):
        model.constraint("row", {"x": 1}, ">=", 1)
    with pytest.raises(ValueError, match="no whole number"):
        model.variable("y", 0.2, 0.8, integer=True)
    with pytest.raises(ValueError, match="no variable 'z'"):
        model.minimise({"z": 1})
    for seconds in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(ValueError, match="time limit"):
            model.solve(seconds)
    with pytest.raises(ValueError, match="gap"):
        model.solve(1.0, gap=-1.0)


# ------------------------------------------------------------------------------ small and odd ones


@both
def test_figures_in_microamperes_are_not_lost_in_the_solver_tolerance(solver: Solver) -> None:
    """A solver takes reduced costs and breaches under 1e-7 for zero, whatever the units."""
    model = Model()
    for name in ("fast", "slow"):
        model.variable(name, 0, 1)
    model.constraint("shares", {"fast": 1, "slow": 1}, "=", 1)
    model.constraint("charge", {"fast": 4e-9, "slow": 1e-9}, ">=", 2e-9)
    model.minimise({"fast": 2.0e-9, "slow": 1.9e-9})
    found = model.solve(SECONDS, solver)
    assert found.values == pytest.approx({"fast": 1 / 3, "slow": 2 / 3}, rel=1e-6)
    assert found.objective == pytest.approx(1.9e-9 + 0.1e-9 / 3, rel=1e-7)
    assert found.duals["charge"] == pytest.approx(0.1 / 3, rel=1e-6)


@both
def test_bounds_of_every_kind(solver: Solver) -> None:
    model = Model()
    model.variable("free", -math.inf)
    model.variable("fixed", 2, 2)
    model.variable("below", -math.inf, -3)
    model.variable("unused", 4, 7)
    model.variable("whole unused", 0.5, 7, integer=False)
    model.constraint("row", {"free": 1, "fixed": 1, "below": 1}, ">=", -10)
    model.minimise({"free": 2, "below": 1})
    found = model.solve(SECONDS, solver)
    assert found.objective == pytest.approx(-21, rel=RELATIVE[solver])
    assert found.values == pytest.approx(
        {"free": -9, "fixed": 2, "below": -3, "unused": 4, "whole unused": 0.5}
    )


@both
@pytest.mark.parametrize(("rhs", "status"), [(1.0, Status.OPTIMAL), (-1.0, Status.INFEASIBLE)])
def test_rows_without_terms(solver: Solver, rhs: float, status: Status) -> None:
    model = Model()
    model.variable("x", 1, 2)
    model.constraint("empty", {"x": 0.0}, "<=", rhs)
    model.minimise({"x": 1})
    found = model.solve(SECONDS, solver)
    assert found.status is status
    assert found.values == ({"x": 1.0} if found.solved else {})
    assert found.duals == ({"empty": 0.0} if found.solved else {})


@pytest.mark.parametrize(("lower", "upper", "nearest"), [(0.3, 3, 1), (-3, -0.3, -1), (-1, 2, 0)])
def test_what_nothing_asks_for_is_the_whole_number_nearest_to_zero(
    lower: float, upper: float, nearest: int
) -> None:
    """By hand: bounds that are no whole numbers themselves leave the next one inside."""
    model = Model("unasked")
    model.variable("n", lower, upper, integer=True)
    model.variable("x", 1, 2)
    model.minimise({"x": 1})
    assert model.solve(SECONDS).values == {"n": nearest, "x": 1}


@both
def test_a_whole_number_may_have_no_choice(solver: Solver) -> None:
    model = Model()
    model.variable("n", 2, 2, integer=True)
    model.constraint("row", {"n": 1}, ">=", 1)
    model.minimise({"n": 3})
    assert model.solve(SECONDS, solver).values == {"n": 2}
    with pytest.raises(ValueError, match="no whole number"):
        model.variable("between", 2.1, 2.9, integer=True)


@both
def test_nothing_to_minimise(solver: Solver) -> None:
    assert Model().solve(SECONDS, solver).objective == 0
    model = Model()
    model.variable("x", 3)
    model.constraint("row", {"x": 1}, ">=", 5)
    found = model.solve(SECONDS, solver)
    assert found.status is Status.OPTIMAL
    assert found.objective == found.bound == 0
    assert found.values["x"] >= 5


@both
@needs_cbc
def test_nothing_is_no_negative_nothing(solver: Solver) -> None:
    """Texts show a sign: -1 times nothing is shown as 0."""
    model = Model("nothing")
    model.variable("x", 0.0, 0.0)
    model.minimise({"x": -1.0})
    found = model.solve(SECONDS, solver)
    assert found.objective is not None
    assert math.copysign(1.0, found.objective) == 1.0
    assert math.copysign(1.0, found.bound) == 1.0


def test_solvers_that_all_fail_promise_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """The bound of an optimum that nobody knows is as low as any."""
    failed = lp._Answer(Status.FAILED)
    monkeypatch.setattr(Model, "_ask", lambda *_: failed)
    model = Model("failing")
    model.variable("x", 0.0, 1.0)
    model.minimise({"x": 1.0})
    found = model.solve(SECONDS)
    assert (found.status, found.objective, found.bound) == (Status.FAILED, None, -math.inf)


@pytest.mark.parametrize("solver", ["highs", "cbc"])
@pytest.mark.parametrize("unit", [1e-7, 1.0, 1e9])
def test_an_optimum_is_its_own_bound_in_any_unit(solver: Solver, unit: float) -> None:
    """Integers: 3 x + 2 y at least 7, each unit of x costs five and of y four: (1, 2) for 13."""
    model = Model("units")
    for name in "xy":
        model.variable(name, 0, 9, integer=True)
    model.constraint("need", {"x": 3.0, "y": 2.0}, ">=", 7.0)
    model.minimise({"x": 5 * unit, "y": 4 * unit})
    found = model.solve(30.0, solver)
    assert found.status is Status.OPTIMAL
    assert found.objective == pytest.approx(13 * unit, rel=1e-9)
    assert found.bound == pytest.approx(13 * unit, rel=1e-6)


@pytest.mark.parametrize(
    ("low", "high", "width"),
    [(0, 1000, 1024), (-3, 0.5, 4), (-0.5, 3, 4), (0, 0, 1), (0, math.inf, 1), (-math.inf, 5, 1)],
)
def test_a_variable_is_scaled_by_its_greater_bound(low: float, high: float, width: float) -> None:
    model = Model("widths")
    model.variable("x", low, high)
    assert _width(model._variables["x"]) == width
