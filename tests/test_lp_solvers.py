"""Solvers that lie, cannot say, or are gone."""

from __future__ import annotations

import itertools
import math
import subprocess
import sys
from collections.abc import Mapping
from typing import Any, Literal

import numpy as np
import pulp
import pytest

from advisor import lp
from advisor.lp import Model, Solver, SolverError, Status

SECONDS = 20.0

needs_cbc = pytest.mark.skipif(
    lp._cbc(1.0, 0.0, None) is None, reason="no CBC on this machine: nothing to compare with"
)


def product_mix() -> Model:
    """Of doors and windows at most 36 (Hillier and Lieberman's first example)."""
    model = Model("product mix")
    for name in ("doors", "windows"):
        model.variable(name)
    model.constraint("plant 1", {"doors": 1}, "<=", 4)
    model.constraint("plant 2", {"windows": 2}, "<=", 12)
    model.constraint("plant 3", {"doors": 3, "windows": 2}, "<=", 18)
    model.minimise({"doors": -3, "windows": -5})
    return model


@pytest.mark.parametrize(
    ("values", "word"),
    [
        ({"x": 1.0, "n": 1.0}, "broke constraint 'row'"),
        ({"x": 7.0, "n": 0.0}, "out of its bounds"),
        ({"x": 2.0, "n": 0.4}, "'n' came back as 0.4"),
        ({"x": math.nan, "n": 1.0}, "'x' came back as nan"),
        ({"x": 2.0}, "'n' came back as nan"),
    ],
)
def test_numbers_that_break_the_model_are_not_handed_on(
    monkeypatch: pytest.MonkeyPatch, values: dict[str, float], word: str
) -> None:
    model = Model()
    model.variable("x", 0, 5)
    model.variable("n", 0, 1, integer=True)
    model.constraint("row", {"x": 1, "n": 1}, ">=", 3)
    model.minimise({"x": 1, "n": 5})
    monkeypatch.setattr(
        lp._Program, "highs", lambda *_: lp._Answer(Status.OPTIMAL, dict(values), {}, 0.0)
    )
    with pytest.raises(SolverError, match=word):
        model.solve(SECONDS)


@needs_cbc
def test_cbc_stands_in(monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(lp, "_available", lambda solver: solver == "cbc")
        assert product_mix().solve(SECONDS).solver == "cbc"
    monkeypatch.setattr(lp._Program, "highs", lambda *_: lp._Answer(Status.FAILED))
    found = product_mix().solve(SECONDS)
    assert found.solver == "cbc"
    assert found.objective == pytest.approx(-36)


@needs_cbc
def test_a_cbc_that_cannot_say_has_failed(monkeypatch: pytest.MonkeyPatch) -> None:
    """The modelling layer's own word for it is "undefined"; whatever numbers stand there."""

    def solve(problem: pulp.LpProblem, _: object) -> None:
        problem.status, problem.sol_status = pulp.LpStatusUndefined, pulp.LpSolutionNoSolutionFound
        for variable in problem.variables():
            variable.varValue = 0.0

    monkeypatch.setattr(pulp.LpProblem, "solve", solve)
    assert product_mix().solve(SECONDS, "cbc").status is Status.FAILED


def test_without_any_solver(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lp, "_available", lambda _: False)
    with pytest.raises(SolverError, match="no solver is installed"):
        product_mix().solve(SECONDS)


def test_nothing_reaches_standard_output() -> None:
    """Seen from outside the process: some releases of HiGHS print from their C++ side."""
    program = (
        "from advisor.lp import Model\n"
        "for solver in ('highs', 'cbc'):\n"
        "    for whole in (False, True):\n"
        "        for least in (1, 9):\n"
        "            m = Model(); m.variable('x', 0, 5, whole)\n"
        "            m.constraint('row', {'x': 2}, '>=', 2 * least); m.minimise({'x': 1})\n"
        "            s = m.solve(10, solver); m.text()\n"
        "            assert s.solved == (least == 1), s\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, timeout=120, check=False
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, b"", b"")


def test_a_solver_is_never_given_less_than_no_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Below zero HiGHS would take its limit for none at all."""
    given = []

    def highs(program: lp._Program, seconds: float, gap: float) -> lp._Answer:
        given.append(seconds)
        return lp._Answer(Status.LIMIT)

    clock = iter(range(0, 10_000, 100))
    monkeypatch.setattr(lp._Program, "highs", highs)
    monkeypatch.setattr("advisor.lp.time.monotonic", lambda: float(next(clock)))
    assert product_mix().solve(30.0).status is Status.LIMIT
    assert len(given) == 1
    assert 0 < given[0] < 1


@pytest.mark.parametrize("solver", ["highs", "cbc"])
def test_one_huge_coefficient_hides_no_other(solver: Literal["highs", "cbc"]) -> None:
    """Facilities at small costs are chosen rightly beside one that nobody could pay for."""
    rng = np.random.default_rng(5)
    opening, serving = rng.uniform(1, 3, 5), rng.uniform(0.05, 1.0, (5, 8))
    best = min(
        opening[list(some)].sum() + serving[list(some)].min(axis=0).sum()
        for count in range(1, 6)
        for some in itertools.combinations(range(5), count)
    )
    model = Model("beside a huge one")
    cost = {}
    for i in range(5):
        model.variable(f"open {i}", 0, 1, integer=True)
        cost[f"open {i}"] = float(opening[i])
    for j in range(8):
        model.variable(f"absurd {j}", 0, 1, integer=True)
        cost[f"absurd {j}"] = 1e13
        for i in range(5):
            model.variable(f"serve {i} {j}", 0, 1)
            cost[f"serve {i} {j}"] = float(serving[i, j])
            model.constraint(f"link {i} {j}", {f"serve {i} {j}": 1, f"open {i}": -1}, "<=", 0)
        served = {f"serve {i} {j}": 1.0 for i in range(5)} | {f"absurd {j}": 1.0}
        model.constraint(f"served {j}", served, "=", 1)
    model.minimise(cost)
    found = model.solve(20, solver)
    assert found.status is Status.OPTIMAL
    assert found.objective == pytest.approx(best, rel=1e-6)


@pytest.mark.parametrize(
    ("x", "n", "word"),
    [
        # a millionth of the row's greatest term, 3; of a whole number; of the bound, 5
        (2 - 3 * 0.9e-6, 1.0, ""),
        (2 - 3 * 1.1e-6, 1.0, "broke constraint 'row' by 1.1e-06"),
        (2.5, 1 - 0.9e-6, ""),
        (2.5, 1 - 1.1e-6, "not whole"),
        (5 * (1 + 0.9e-6), 0.0, ""),
        (5 * (1 + 1.1e-6), 0.0, "out of its bounds"),
        # below one it is a millionth itself
        (-0.9e-6, 3.0, ""),
        (-1.1e-6, 3.0, "out of its bounds"),
    ],
)
def test_numbers_may_break_a_model_by_a_millionth(
    monkeypatch: pytest.MonkeyPatch, x: float, n: float, word: str
) -> None:
    model = Model()
    model.variable("x", 0, 5)
    model.variable("n", 0, 3, integer=True)
    model.constraint("row", {"x": 1, "n": 1}, ">=", 3)
    model.minimise({"x": 1, "n": 5})
    answer = lp._Answer(Status.OPTIMAL, {"x": x, "n": n}, {}, 0.0)
    monkeypatch.setattr(lp._Program, "highs", lambda *_: answer)
    if word:
        with pytest.raises(SolverError, match=word):
            model.solve(SECONDS)
    else:
        found = model.solve(SECONDS)
        assert found.values == {"x": min(max(x, 0.0), 5.0), "n": round(n)}
        assert found.objective == found.values["x"] + 5 * found.values["n"]


@pytest.mark.parametrize(
    ("solver", "said", "plain", "told"),
    [
        ("cbc", Status.INFEASIBLE, Status.OPTIMAL, Status.UNBOUNDED),
        ("cbc", Status.INFEASIBLE, Status.INFEASIBLE, Status.INFEASIBLE),
        ("highs", Status.UNBOUNDED, Status.FEASIBLE, Status.UNBOUNDED),
        ("highs", Status.UNBOUNDED, Status.INFEASIBLE, Status.INFEASIBLE),
        # this one tells the two apart itself
        ("highs", Status.INFEASIBLE, None, Status.INFEASIBLE),
        ("highs", Status.LIMIT, None, Status.LIMIT),
    ],
)
def test_infeasible_or_unbounded_is_told_apart_by_any_point(
    monkeypatch: pytest.MonkeyPatch,
    solver: Solver,
    said: Status,
    plain: Status | None,
    told: Status,
) -> None:
    asked: list[bool] = []

    def run(_: Model, __: Solver, ___: float, ____: float, objective: Mapping[str, float]) -> Any:
        asked.append(bool(objective))
        status = said if objective else plain
        assert status is not None
        return lp._Answer(status)

    monkeypatch.setattr(Model, "_run", run)
    assert product_mix()._ask(solver, math.inf, 0.0).status is told
    assert asked == ([True] if plain is None else [True, False])


def test_no_other_solver_is_looked_for_where_the_first_one_answers(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(lp, "_cbc", lambda *_: pytest.fail("looked for"))
    model = lp.Model("short")
    model.variable("x", 0.0, 4.0)
    model.minimise({"x": -1.0})
    found = model.solve(60.0)
    assert (found.status, found.solver) == (lp.Status.OPTIMAL, "highs")
