"""A capacitor that leaks the more the higher its voltage: closed forms and a library's solver."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from advisor.model.battery import life, lost_before, stored, taken
from advisor.model.drain import Pack, Stored
from advisor.model.leak_curve import LeakCurve
from tests.model.test_battery import drain, one, pack

AMPS, FULL, EMPTY, CAPACITY = 5e-6, 20e-6, 2e-6, 90.0


def leaking() -> Pack:
    """From 2.7 to 0.9 V, its leak straight from 20 to 2 uA between."""
    made = pack((0.0, 1.0), (2.7, 0.9), (0.0, 0.0), capacity_c=CAPACITY)
    own = LeakCurve((0.9, 2.7), np.array([[EMPTY], [FULL]]))
    return replace(made, drip=own, self_discharge_a=one(11e-6), stored_loss_a=(one(11e-6),))


def until(depth: float, amps: float = AMPS) -> float:
    """Seconds to a depth, by hand: C times the integral of dD over I + leak, straight in D."""
    slope = EMPTY - FULL
    return CAPACITY / slope * float(np.log((amps + FULL + slope * depth) / (amps + FULL)))


def test_a_life_with_a_leak_by_hand() -> None:
    """Its mean over depth would end it 12 % too early: a nearly empty one leaks less."""
    found = life(leaking(), drain([], rest=(AMPS, 0.0), cut_off=0.9))
    seconds = until(1.0)
    assert found.life_s[0, 0] == pytest.approx(seconds, rel=1e-7)
    assert found.mean_current_a[0, 0] == pytest.approx(AMPS, rel=1e-6)
    # what is not drawn has leaked
    assert found.self_a[0, 0] == pytest.approx(CAPACITY / seconds - AMPS, rel=1e-6)
    mean = CAPACITY / (AMPS + (FULL + EMPTY) / 2)
    assert seconds > 1.13 * mean
    resting = drain([], rest=(AMPS, 0.0), cut_off=0.9)
    half, leaked, _ = taken(leaking(), resting, one(until(0.5)))
    assert half[0, 0] == pytest.approx(0.5, rel=1e-7)
    assert leaked[0, 0] == pytest.approx(CAPACITY / 2 / until(0.5) - AMPS, rel=1e-6)


def test_a_leak_under_a_power_is_that_of_a_solver() -> None:
    found = life(leaking(), drain([], rest=(AMPS, 20e-6), cut_off=1.2))

    def rate(_: float, depth: np.ndarray) -> np.ndarray:
        leak = FULL + (EMPTY - FULL) * depth
        return (AMPS + leak + 20e-6 / (2.7 - 1.8 * depth)) / CAPACITY

    def there(_: float, depth: np.ndarray) -> float:
        return float(depth[0] - 1.5 / 1.8)

    there.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(rate, (0, 1e8), [0.0], events=there, rtol=1e-10, atol=1e-12)
    assert found.life_s[0, 0] == pytest.approx(float(solved.t[-1]), rel=1e-6)


def test_one_that_never_starts_leaks_and_draws_as_when_full() -> None:
    """No life to average over: 20 uA beside the load and 20 uW from 2.7 V."""
    found = life(leaking(), drain([], rest=(AMPS, 20e-6), cut_off=3.0))
    assert found.life_s[0, 0] == 0.0
    assert found.self_a[0, 0] == pytest.approx(FULL, rel=1e-12)
    assert found.mean_current_a[0, 0] == pytest.approx(AMPS + 20e-6 / 2.7, rel=1e-12)


def test_a_leak_before_use_falls_with_the_voltage() -> None:
    """Disconnected, it leaks alone: exp(-18 uA t/C) of the way to where it would leak nothing."""
    kept = Stored(seconds=one(3e6), constant_a=np.zeros((1, 1)), power_w=np.zeros((1, 1)))
    states = replace(drain([], rest=(AMPS, 0.0), cut_off=0.9), before=(kept,))
    gone = FULL / 18e-6 * (1 - np.exp(-18e-6 * 3e6 / CAPACITY))
    assert stored(leaking(), states)[0][0, 0] == pytest.approx(gone, rel=1e-7)
    assert lost_before(leaking(), states)[0][0, 0] == pytest.approx(CAPACITY * gone, rel=1e-7)


def test_of_draws_that_the_shelf_ends_the_mean_is_that_of_each_alone() -> None:
    """Some of several draws end by age: what each has leaked until then is its own."""
    n = 6
    alone = leaking()
    shelf = np.full(n, np.inf)
    shelf[2] = until(0.4)
    many = replace(
        alone,
        **{name: getattr(alone, name).repeat(n, axis=-1) for name in
           ("open_v", "resistance", "capacity_c", "self_discharge_a", "leak_a", "least_capacity",
            "mean_capacity")},
        drip=LeakCurve((0.9, 2.7), np.array([[EMPTY] * n, [FULL] * n])),
        shelf_life_s=shelf,
    )  # fmt: skip
    made = drain([], rest=(AMPS, 0.0), cut_off=0.9)
    load = replace(
        made,
        **{name: getattr(made, name).repeat(n, axis=-1) for name in
           ("constant_a", "power_w", "share", "duration_s", "period_s", "cut_off_v")},
    )  # fmt: skip
    found = life(many, load)
    assert found.life_s[0, 2] == pytest.approx(until(0.4), rel=1e-7)
    for k, ends in enumerate(shelf):
        single = life(replace(alone, shelf_life_s=one(float(ends))), made)
        assert found.self_a[0, k] == pytest.approx(single.self_a[0, 0], rel=1e-9)
