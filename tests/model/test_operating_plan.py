"""The operating plan: the program against its closed form, brute force and published examples."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor import lp
from advisor.model import operating_plan
from advisor.model.cheapest import tight
from advisor.model.operating_plan import PlanTask, program, relaxed, solve

REL = 1e-9


def one(tasks: list[PlanTask]) -> tuple[float, float]:
    """(bound, price) of one build by the closed form."""
    late = [t.late or (False,) * len(t.options) for t in tasks]
    bound, price = relaxed(
        [np.array([t.charge]) for t in tasks],
        [np.array([t.length]) for t in tasks],
        [~np.array([flags]) for flags in late],
        np.array([t.rate for t in tasks]),
    )
    return float(bound[0]), float(price[0])


def test_two_points_ishihara_yasuura_1998() -> None:
    """Ishihara & Yasuura, ISLPED 1998: 1e9 cycles in 25 s at 50, 40 or 25 MHz with 40, 25 and
    10 nJ a cycle take 40 J at 5 V, 32.5 J mixing 5 and 2.5 V, 25 J at 4 V (figures from memory,
    recomputed). A cycle stands for an event here, energy for charge.
    """
    cycles, deadline = 1e9, 25.0
    clock = {"5 V": 50e6, "4 V": 40e6, "2.5 V": 25e6}
    energy = {"5 V": 40e-9, "4 V": 25e-9, "2.5 V": 10e-9}

    def joules(points: list[str]) -> tuple[float, dict[str, float]]:
        task = PlanTask(
            "work",
            tuple(points),
            tuple(energy[p] for p in points),
            tuple(1 / clock[p] for p in points),
            cycles / deadline,
        )
        found = solve([task])
        assert found.current is not None
        assert one([task])[0] == pytest.approx(found.current, rel=REL)
        return found.current * deadline, found.shares["work"]

    assert joules(["5 V"])[0] == pytest.approx(40.0, rel=REL)
    mixed, shares = joules(["5 V", "2.5 V"])
    assert mixed == pytest.approx(32.5, rel=REL)
    assert set(shares) == {"5 V", "2.5 V"}
    best, shares = joules(["5 V", "4 V", "2.5 V"])
    assert best == pytest.approx(25.0, rel=REL)
    assert shares == pytest.approx({"4 V": 1.0})


def test_racing_to_idle_beats_the_slowest_point() -> None:
    """Points (rate, power) (0, 0.05), (1, 0.9), (2, 1), (4, 1.6), 10 units in 10 s: 4.375 mixing
    idle and the fastest, against 9.0 at the slowest that suffices (recomputed by hand).
    """
    rates, powers, idle = (1.0, 2.0, 4.0), (0.9, 1.0, 1.6), 0.05
    task = PlanTask(
        "work",
        ("1", "2", "4"),
        tuple((p - idle) / r for r, p in zip(rates, powers, strict=True)),
        tuple(1 / r for r in rates),
        1.0,
    )
    found = solve([task])
    assert found.current is not None
    assert 10 * (found.current + idle) == pytest.approx(4.375, rel=REL)
    assert found.shares["work"] == pytest.approx({"4": 1.0})
    assert 10 * (task.charge[0] * task.rate + idle) == pytest.approx(9.0, rel=REL)


# what an event draws and lasts, over the decades that products span
charge = st.floats(1e-6, 1e-2)
length = st.floats(1e-3, 1.0)


@st.composite
def plans(draw: st.DrawFn) -> list[PlanTask]:
    """One to three tasks with one to four options each, some of them late."""
    tasks = []
    for k in range(draw(st.integers(1, 3))):
        count = draw(st.integers(1, 4))
        tasks.append(
            PlanTask(
                f"task {k}",
                tuple(f"point {o}" for o in range(count)),
                tuple(draw(charge) for _ in range(count)),
                tuple(draw(length) for _ in range(count)),
                draw(st.floats(0.1, 2.0)),
                tuple(draw(st.booleans()) if o else False for o in range(count)),
            )
        )
    return tasks


def whole_points(tasks: list[PlanTask]) -> float | None:
    """Least current over every choice of one option a task that keeps the busy bound."""
    best = None
    for choice in product(*(range(len(t.options)) for t in tasks)):
        if any(t.late[o] for t, o in zip(tasks, choice, strict=True)):
            continue
        picked = list(zip(tasks, choice, strict=True))
        if sum(t.rate * t.length[o] for t, o in picked) <= 1:
            current = sum(t.rate * t.charge[o] for t, o in picked)
            best = current if best is None else min(best, current)
    return best


@given(plans())
@settings(max_examples=60, deadline=None)
def test_program_closed_form_and_brute_force_agree(tasks: list[PlanTask]) -> None:
    found = solve(tasks)
    bound, price = one(tasks)
    whole = whole_points(tasks)
    if found.current is None:
        assert bound == np.inf
        assert whole is None
        return
    # the solver's tolerance on its scaled rows is 1e-9; a price there may be one of several
    assert bound == pytest.approx(found.current, rel=1e-7)
    assert price <= found.busy_price * (1 + 1e-6) + 1e-12
    if whole is not None:
        assert bound <= whole * (1 + 1e-12)
    if found.busy < 1 - 1e-6:
        assert whole == pytest.approx(bound, rel=REL)  # slack: each task's own cheapest point
    assert sum(len(mix) > 1 for mix in found.shares.values()) <= 1  # the two-point theorem
    assert all(len(mix) <= 2 for mix in found.shares.values())


@given(plans())
@settings(max_examples=60, deadline=None)
def test_the_practical_plan_is_the_best_of_all_whole_choices(tasks: list[PlanTask]) -> None:
    whole = whole_points(tasks)
    arguments = (
        [np.array(t.charge) for t in tasks],
        [np.array(t.length) for t in tasks],
        [~np.array(t.late) for t in tasks],
        [t.rate for t in tasks],
    )
    if whole is None:
        with pytest.raises(ValueError, match="busy bound"):
            tight(*arguments)
        return
    options, busy = tight(*arguments)
    picked = list(zip(tasks, options, strict=True))
    assert sum(t.rate * t.charge[o] for t, o in picked) == pytest.approx(whole, rel=REL)
    assert busy == pytest.approx(sum(t.rate * t.length[o] for t, o in picked), rel=REL)
    assert busy <= 1


TIGHT = [
    PlanTask("sense", ("fast", "slow"), (9e-3, 3e-3), (0.2, 0.7), 1.0),
    PlanTask("send", ("fast", "slow"), (5e-3, 4e-3), (0.1, 0.5), 1.0),
]


def test_mixing_two_points_strictly_beats_whole_points() -> None:
    found = solve(TIGHT)
    whole = whole_points(
        [PlanTask(t.name, t.options, t.charge, t.length, t.rate, (False, False)) for t in TIGHT]
    )
    assert found.current is not None
    assert whole is not None
    assert found.current < whole * 0.99
    assert found.busy == pytest.approx(1.0, rel=REL)


@pytest.mark.parametrize("name", ["sense", "send"])
def test_price_of_a_busier_task_is_the_slope_seen_by_solving_again(name: str) -> None:
    found = solve(TIGHT)
    step = 1e-4
    busier = [
        PlanTask(t.name, t.options, t.charge, t.length, t.rate + step * (t.name == name))
        for t in TIGHT
    ]
    again = solve(busier)
    assert again.current is not None
    assert found.current is not None
    slope = (again.current - found.current) / step
    assert found.busier[name] == pytest.approx(slope, rel=1e-5)


def test_price_of_a_deadline_is_what_solving_without_it_saves() -> None:
    task = PlanTask("send", ("fast", "slow"), (5e-3, 4e-3), (0.1, 0.5), 1.0, (False, True))
    found = solve([task])
    assert found.current == pytest.approx(5e-3, rel=REL)
    assert found.deadlines == pytest.approx({"send": 1e-3}, rel=1e-6)


def test_more_work_than_time_has_no_plan() -> None:
    found = solve([PlanTask("send", ("slow",), (4e-3,), (0.5,), 3.0)])
    assert found.current is None
    assert one([PlanTask("send", ("slow",), (4e-3,), (0.5,), 3.0)])[0] == np.inf


def test_the_program_as_a_file_stays_what_it_was() -> None:
    golden = Path(__file__).parent.parent / "lp_files" / "operating_plan.lp"
    assert program(TIGHT).text() == golden.read_text(encoding="utf-8")


@pytest.mark.parametrize("status", [s for s in lp.Status if s is not lp.Status.OPTIMAL])
def test_a_plan_is_what_the_solver_proved_and_nothing_less(
    status: lp.Status, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A point that is only feasible bounds nothing; that there is none is an answer."""
    task = PlanTask("sample", ("only",), (1.0,), (0.1,), 1.0)
    sound = program([task]).solve(20.0)
    assert solve([task]).current == pytest.approx(1.0)
    made = SimpleNamespace(solve=lambda _: replace(sound, status=status))
    monkeypatch.setattr(operating_plan, "program", lambda _: made)
    if status is lp.Status.INFEASIBLE:
        assert solve([task]).current is None
    else:
        with pytest.raises(lp.SolverError, match=f"the operating plan ended {status.value}"):
            solve([task])
