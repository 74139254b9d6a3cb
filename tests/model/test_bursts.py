"""Events right behind each other: how many a build is held against, and that it is no more."""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from advisor.model.drain import Drain, Pack, some_tasks, spelled
from advisor.model.draws import Array
from advisor.model.events import StateName, Timeline
from advisor.model.meetings import coinciding, met, strained
from advisor.model.relaxation import Circuit
from advisor.model.reservoir import lowest
from advisor.model.rounds import Train
from advisor.model.sag import Lows
from advisor.model.workload import ProductFigures

pytestmark = pytest.mark.once
PERIOD_S = 10.0
EVENTS = 1e6
# busy shares of 1e-4, 0.02 and 0.2: 1e6 events of each find so many busy at once where its power
# falls to a millionth, one more waits: 1 + ceil(6/4), 1 + ceil(6/1.7), more than are looked at
SECONDS = np.array([1e-3, 0.2, 2.0])
COUNTS = (3, 4, 4)


def product(random: bool = True) -> ProductFigures:
    """A task at random, of a wake and a kernel, and one by the clock."""

    def task(comes: bool) -> Any:
        return SimpleNamespace(
            random=comes, tries=None, use_tries={}, loads=(), uses=(), kernels=("crc",),
            period=np.array([PERIOD_S]),
        )  # fmt: skip

    return cast(
        ProductFigures,
        SimpleNamespace(tasks=(task(random), task(False)), events_of=lambda k: EVENTS),
    )


def drain(rows: list[int]) -> Drain:
    """Builds whose random events last as long as `SECONDS`: half at 10 mA, half at 30 mA."""
    half = SECONDS[rows] / 2
    zero = np.zeros_like(half)
    duration = np.stack([half, half, zero + 0.01, zero + 0.01, zero], axis=1)[..., None]
    share = duration / PERIOD_S
    share[:, -1] = 1 - share.sum(axis=1)
    amps = np.broadcast_to(np.array([10e-3, 30e-3, 5e-3, 6e-3, 1e-6])[None, :, None], share.shape)
    return Drain(
        constant_a=amps,
        power_w=np.where(amps > 8e-3, 1e-3, 0.0),
        share=share,
        duration_s=duration,
        tasks=(slice(0, 2), slice(2, 4)),
        period_s=np.full((2, 1), PERIOD_S),
        cut_off_v=np.full((len(rows), 1), 2.0),
    )


def held(made: Drain, done: tuple[int, ...] = (0, 1), random: bool = True) -> Drain:
    """What its pulses are held against."""
    return strained(product(random), made, done)


def copies(rows: list[int], done: tuple[int, ...] = (0, 1), random: bool = True) -> list[Any]:
    """Events right behind each other, task by task, build by build; none where all come once."""
    return [count[:, 0].tolist() for count in held(drain(rows), done, random).copies]


def least(found: Drain) -> Array:
    """Lowest terminal voltage of each row behind 10 ohm and 2 mF with 1 ohm, V."""
    rows = len(found.cut_off_v)
    amps, watts, seconds = (
        x[..., 0].T for x in (found.constant_a, found.power_w, found.duration_s)
    )
    circuit = Circuit.of(*(np.full(rows, x) for x in (3.0, 10.0, 2e-3, 1.0)))
    counts = [count[:, 0] for count in found.copies]
    train = Train(
        amps=amps,
        watts=watts,
        seconds=seconds,
        tasks=found.tasks,
        periods=np.repeat(found.period_s, rows, axis=1),
        powered=[bool(w.any()) for w in watts],
        copies=np.stack(counts) if counts else None,
    )
    return lowest(circuit, train)


def test_as_many_are_looked_at_as_a_build_has_to_expect() -> None:
    assert copies([0, 1, 2]) == [[*COUNTS], [1, 1, 1]]
    assert copies([1]) == [[COUNTS[1]], [1]]
    assert copies([1], done=(1,)) == copies([1], random=False) == []


def test_a_build_is_held_against_its_own_events_whoever_is_beside_it() -> None:
    """A build that expects few right behind each other sinks no lower beside one that expects
    many, to the last digit, and lower than behind a single one."""
    together = least(held(drain([0, 1, 2])))
    for row in range(3):
        assert together[row] == least(held(drain([row])))[0]
    once = least(drain([0]))
    assert together[0] < once[0] - 0.01
    # three events of 1 ms right behind each other are one of 3 ms: it ends as deep
    three = drain([0])
    order = [0, 1, 0, 1, 0, 1, 2, 3, 4]
    written = Drain(
        constant_a=three.constant_a[:, order],
        power_w=three.power_w[:, order],
        share=three.share[:, order],
        duration_s=three.duration_s[:, order],
        tasks=(slice(0, 6), slice(6, 8)),
        period_s=three.period_s,
        cut_off_v=three.cut_off_v,
    )
    assert least(written)[0] == together[0]
    assert least(spelled(held(three)))[0] == together[0]


def test_what_is_not_to_be_expected_takes_no_time_and_draws_what_the_rest_does() -> None:
    made = drain([0, 2])
    found = spelled(held(made))
    assert found.tasks == (slice(0, 8), slice(8, 10))
    for n in range(4):
        here = slice(2 * n, 2 * n + 2)
        for row, count in enumerate((COUNTS[0], COUNTS[2])):
            there = n < count
            rest = np.s_[row, -1:, 0]
            for got, own in ((found.constant_a, made.constant_a), (found.power_w, made.power_w)):
                want = own[row, :2, 0] if there else own[rest].repeat(2)
                assert got[row, here, 0].tolist() == want.tolist()
            assert found.duration_s[row, here, 0].any() == there
    # each moment is told once
    assert found.share[..., 0].sum(axis=1) == pytest.approx([1.0, 1.0])
    assert (found.share[:, 2:8] == 0).all()
    assert spelled(made) is made
    assert [len(some_tasks(held(made), [k]).copies) for k in (0, 1)] == [1, 1]
    assert some_tasks(made, [0]).copies == ()


def pack(ohms: float, reservoir: tuple[Array, Array] | None = None) -> Pack:
    """From 3 V full down to 2 V empty, straight."""
    one = np.ones(1)
    return Pack(
        depth=np.array([0.0, 1.0]),
        open_v=np.array([[3.0], [2.0]]),
        resistance=np.full((2, 1), ohms),
        capacity_c=1000 * one,
        self_discharge_a=0 * one,
        leak_a=0 * one,
        least_capacity=one,
        mean_capacity=one,
        shelf_life_s=np.inf * one,
        reservoir=reservoir,
    )


@pytest.mark.parametrize(("amps", "first"), [(50e-3, 0.5), (6e-3, 0.7)])
def test_what_comes_after_a_burst_is_held_against_the_cut_off_as_well(
    amps: float, first: float
) -> None:
    """Behind 10 ohm, 30 mA of the burst fall short of 2 V from 0.7 on, 50 mA behind it from 0.5."""
    made = drain([0, 2])
    constant = made.constant_a.copy()
    constant[:, 3] = amps
    made = replace(made, constant_a=constant, power_w=np.zeros_like(constant))
    lows = Lows(pack(10.0), held(made))
    assert lows.first_below(np.ones((2, 1))) == pytest.approx(first, abs=1e-6)
    low, peak = lows.fresh()
    assert peak == pytest.approx(max(amps, 30e-3))
    assert low == pytest.approx(3 - 10 * max(amps, 30e-3))


def test_cells_without_resistance_give_what_is_drawn_past_a_reservoir() -> None:
    """30 mA and 6 mW at 3 V are 32 mA: a capacitor across an ideal source gives nothing."""
    made = drain([2])
    made = replace(made, power_w=np.where(made.constant_a > 8e-3, 6e-3, 0.0))
    _, peak = Lows(pack(0.0, (np.array([2e-3]), np.array([1.0]))), made).fresh()
    assert peak == pytest.approx(32e-3)


@pytest.mark.parametrize("stands", [False, True])
def test_what_meets_on_a_further_rail_is_beyond_what_stands_there(stands: bool) -> None:
    """5 mA and 7 mW while a radio is on, 1 mA and 2 mW all the time where the rail is."""
    amps, watts = np.full((4, 1), 1e-3), np.full((4, 1), 2e-3)
    amps[1], watts[1] = 5e-3, 7e-3
    rail = SimpleNamespace(
        on=np.array([[stands], [True], [stands], [stands]]),
        load_a=amps, load_w=watts,
    )  # fmt: skip
    zero = np.zeros((4, 1))
    lines = SimpleNamespace(
        load_a=zero, load_w=zero, rails=(rail,), tasks=(slice(0, 2), slice(2, 3)),
        names=((StateName("wake", ""), StateName("load", "radio")), (StateName("wake", ""),)),
    )  # fmt: skip
    radio = SimpleNamespace(name="radio", asleep=True, gated=False, on=0)
    tasks = SimpleNamespace(loads=(radio,), random=False), SimpleNamespace(loads=(), random=True)
    told = cast(ProductFigures, SimpleNamespace(tasks=tasks, rails=(SimpleNamespace(gated=False),)))
    ((main, (a, w, _)),) = coinciding(told, cast(Timeline, lines), (0, 1), once=True)
    assert not any(kind.any() for kind in main)
    assert a[:, 0] == pytest.approx([0, 0, 5e-3 - stands * 1e-3, 0])
    assert w[:, 0] == pytest.approx([0, 0, 7e-3 - stands * 2e-3, 0])


@dataclass(frozen=True)
class Carried:
    """What a rail carries, and whether it is on."""

    load_a: Array
    load_w: Array
    fill_s: Array
    on: Any = None
    rails: tuple[Any, ...] = ()


def test_what_meets_adds_to_what_a_state_carries_and_fills() -> None:
    """A, W and F/s on the main rail and on a further one, on where anything meets there."""

    def carried(a: float, w: float, fill: float) -> tuple[Array, Array, Array]:
        return tuple(np.array([[x], [x]]) for x in (a, w, fill))  # type: ignore[return-value]

    off = np.array([[False], [False]])
    further = Carried(*carried(4e-3, 5e-3, 6e-6), on=off)
    lines = cast(Timeline, Carried(*carried(1e-3, 2e-3, 3e-6), rails=(further,)))
    more = carried(7e-3, 0.0, 9e-6)
    more[0][1] = 0.0
    found = met(lines, [carried(10e-3, 20e-3, 30e-6), more])
    assert found.load_a[:, 0] == pytest.approx([11e-3] * 2)
    assert found.load_w[:, 0] == pytest.approx([22e-3] * 2)
    assert found.fill_s[:, 0] == pytest.approx([33e-6] * 2)
    (rail,) = found.rails
    assert rail.load_a[:, 0] == pytest.approx([11e-3, 4e-3])
    assert rail.load_w[:, 0] == pytest.approx([5e-3] * 2)
    assert rail.fill_s[:, 0] == pytest.approx([15e-6] * 2)
    assert rail.on[:, 0].tolist() == [True, False]
