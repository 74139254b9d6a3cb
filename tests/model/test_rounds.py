"""A round of events from rest, against walking every order of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from advisor.model import reservoir, rounds
from advisor.model.draws import Array
from advisor.model.relaxation import Circuit
from advisor.model.rounds import Train, lowest_of_round, once_tells
from advisor.model.supply import loaded_voltage

pytestmark = pytest.mark.once
CASES = 240


def made(seed: int, tasks: int, powers: bool) -> tuple[Circuit, Train]:
    """Cells under events of two states each that are over long before any is due again; some
    states draw less than the rest does, some loads are more than the cells can give."""
    draw = np.random.default_rng(seed)
    states = 2 * tasks
    shape = states + 1, CASES
    amps = draw.uniform(0.0, 0.08, shape) * (draw.random(shape) < 0.8)
    watts = draw.uniform(0.0, 0.15, shape) * (draw.random(shape) < 0.7) * powers
    amps[-1], watts[-1] = 2e-3, 1e-3 * powers
    circuit = Circuit.of(
        np.full(CASES, 3.0),
        draw.uniform(1, 14, CASES),
        10 ** draw.uniform(-4, -2, CASES),
        draw.uniform(0, 2, CASES),
    )
    train = Train(
        amps=amps,
        watts=watts,
        seconds=circuit.tau * 10 ** draw.uniform(-2, 1.5, shape),
        tasks=tuple(slice(2 * k, 2 * k + 2) for k in range(tasks)),
        periods=np.full((tasks, CASES), 1000.0),
        powered=[powers] * (states + 1),
        copies=draw.integers(1, 5, (tasks, CASES)).astype(float),
    )
    return circuit, train


@pytest.mark.parametrize("tasks", [1, 2, 3])
@pytest.mark.parametrize("powers", [False, True])
def test_orders_that_are_not_walked_sink_no_lower(
    tasks: int, powers: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    for seed in range(2):
        circuit, train = made(seed, tasks, powers)
        assert once_tells(circuit, train).all()
        with np.errstate(invalid="ignore", divide="ignore"):
            rest = loaded_voltage(circuit.volts, circuit.ohms, train.amps[-1], train.watts[-1])
            found, again = lowest_of_round(circuit, train, rest)
        monkeypatch.setattr(reservoir, "MANY", CASES + 1)
        every = reservoir.lowest(circuit, train)
        assert np.isnan(every).any() == powers
        assert np.allclose(found, every, rtol=0.0, atol=1e-7, equal_nan=True)
        assert not again.any()


@pytest.mark.parametrize("tasks", [1, 2, 3])
def test_what_may_come_again_is_left_to_a_longer_look(
    tasks: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Periods from less than all events last to far more: with a round where it tells all, and
    without."""
    circuit, train = made(7, tasks, powers=True)
    draw = np.random.default_rng(3)
    length = sum(train.seconds[of].sum(axis=0) for of in train.tasks)
    periods = length * 10 ** draw.uniform(-0.3, 2.0, (tasks, CASES))
    train = replace(train, seconds=train.seconds * 10, periods=10 * periods)
    floor = np.full(CASES, 2.2)
    once = once_tells(circuit, train)
    assert 0.1 < once.mean() < 0.98
    if tasks == 2:
        # a task of which less is left than of the other may well be due again meanwhile
        of = circuit.taken(np.nonzero(once)[0]), train.taken(np.nonzero(once)[0])
        with np.errstate(invalid="ignore", divide="ignore"):
            low, soon = lowest_of_round(*of, np.full(once.sum(), 2.9))
            # a thousand times as slow, nothing else is different
            later = replace(of[0], farad=1e3 * of[0].farad)
            slower = replace(of[1], seconds=1e3 * of[1].seconds, periods=1e3 * of[1].periods)
            slow, as_soon = lowest_of_round(later, slower, np.full(once.sum(), 2.9))
        assert soon.any()
        assert (soon == as_soon).all()
        assert slow == pytest.approx(low, rel=1e-9, nan_ok=True)
    found = []
    for many in (1, CASES + 1):
        monkeypatch.setattr(reservoir, "MANY", many)
        found.append(reservoir.lowest(circuit, train, floor))
    short = [~(low >= floor) for low in found]
    assert (short[0] == short[1]).all()
    held = ~short[0]
    assert 0.1 < held.mean() < 0.95
    assert found[0][held] == pytest.approx(found[1][held], abs=1e-7)


def test_an_order_that_may_sink_lower_is_walked(monkeypatch: pytest.MonkeyPatch) -> None:
    """Behind a long strong event a weak one recovers, whatever came before; behind a short one it
    sinks lower than before it, by what is left of both."""
    walked: list[int] = []
    passed = rounds._Events.passed

    def noted(events: rounds._Events, task: int, held: Array) -> tuple[Array, Array]:
        walked.append(task)
        return passed(events, task, held)

    monkeypatch.setattr(rounds._Events, "passed", noted)
    one = np.ones(1)
    circuit = Circuit.of(3.0 * one, 10.0 * one, 1e-3 * one, 0.0 * one)
    train = Train(
        amps=np.array([[10e-3], [80e-3], [0.0]]),
        watts=np.zeros((3, 1)),
        seconds=np.array([[2e-3], [50e-3], [0.0]]),
        tasks=(slice(0, 1), slice(1, 2)),
        periods=np.full((2, 1), 60.0),
        powered=[False] * 3,
    )
    # the time constant is 10 ms; in the end they fall by 0.1 V and 0.8 V
    weak, strong = 1 - np.exp(-0.2), 1 - np.exp(-5.0)
    low, _ = lowest_of_round(circuit, train, 3.0 * one)
    assert low[0] == pytest.approx(3 - (0.1 * weak * (1 - strong) + 0.8 * strong), abs=1e-12)
    assert walked == [0, 1, 0]
    walked.clear()
    short = replace(train, amps=np.array([[50e-3], [60e-3], [0.0]]))
    short = replace(short, seconds=np.array([[2e-3], [2e-3], [0.0]]))
    low, _ = lowest_of_round(circuit, short, 3.0 * one)
    assert low[0] == pytest.approx(3 - (0.5 * weak * (1 - weak) + 0.6 * weak), abs=1e-12)
    assert walked == [0, 1, 0, 1, 0]
