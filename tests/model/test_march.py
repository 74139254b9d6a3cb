"""Marches over depth: by closed forms, and there and back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from advisor.model.drain import Pack, refined
from advisor.model.leak_curve import LeakCurve
from advisor.model.march import March
from tests.model.test_battery import pack

ONE = np.ones((1, 1))
AMPS, WATTS, SIEMENS, CAPACITY = 3e-6, 8e-6, 2e-6, 50.0


def falling(leaks: bool = False) -> Pack:
    """From 3.0 to 1.0 V; where it leaks, 12 uA at 2.4 V and above, straight from 1 uA at 1.7 V."""
    made = pack((0.0, 1.0), (3.0, 1.0), (0.0, 0.0), capacity_c=CAPACITY)
    drip = LeakCurve((1.7, 2.4), np.array([[1e-6], [12e-6]])) if leaks else None
    return refined(replace(made, drip=drip))


def leak(volts: float) -> float:
    return float(np.interp(volts, (1.7, 2.4), (1e-6, 12e-6)))


def rate(depth: float, leaks: bool) -> float:
    volts = 3.0 - 2.0 * depth
    return AMPS + WATTS / volts + SIEMENS * volts + (leak(volts) if leaks else 0.0)


@pytest.mark.parametrize("leaks", [False, True])
def test_a_march_there_and_back(leaks: bool) -> None:
    """Time to depths by quadrature, the depths after those times, and the mean voltage."""
    march = March(falling(leaks), AMPS * ONE, WATTS * ONE, SIEMENS * ONE)
    ends = (0.0, 0.05, 0.3, 0.31, 0.65, 0.9, 1.0)
    bends = (0.3, 0.65)  # where it reaches 2.4 and 1.7 V
    for end in ends:
        wanted = quad(lambda d: CAPACITY / rate(d, leaks), 0, end, points=bends, epsrel=1e-12)[0]
        found = march.time(end * ONE)
        assert found[0, 0] == pytest.approx(wanted, rel=1e-6)
        assert march.depth(found, ONE)[0, 0] == pytest.approx(end, abs=1e-9)
        one, all_of = np.array([[True]]), march.depth_where(ONE > 0, found, ONE)
        assert all_of[0, 0] == pytest.approx(end, abs=1e-9)
        both = March(falling(leaks), *(np.repeat(x * ONE, 4, axis=0) for x in
                                       (AMPS, WATTS, SIEMENS)))  # fmt: skip
        here = np.repeat(one, 4, axis=0) & (np.arange(4) == 2)[:, None]
        some = both.depth_where(here, np.repeat(found, 4, axis=0), np.ones((4, 1)))
        assert some[:, 0].tolist() == pytest.approx([1.0, 1.0, end, 1.0], abs=1e-9)
    first, last = 0.2, 0.8
    weighed, seconds = (
        quad(lambda d, n=n: (3.0 - 2.0 * d) ** n / rate(d, leaks), first, last, points=bends)[0]
        for n in (1, 0)
    )
    mean_v = march.mean_v(first * ONE, last * ONE)[0, 0]
    assert mean_v == pytest.approx(weighed / seconds, rel=1e-6)
    assert march.mean_v(first * ONE, first * ONE)[0, 0] == 3.0
    gone = march.leaked(last * ONE)[0, 0]
    if leaks:
        wanted = quad(
            lambda d: CAPACITY * leak(3.0 - 2.0 * d) / rate(d, True), 0, last, points=bends
        )[0]
        assert gone == pytest.approx(wanted, rel=1e-5)
    else:
        assert gone == 0.0


def test_a_filling_alone_is_an_exponential() -> None:
    """C dD/dt = G V, so V falls as exp(-2 G t/C): a march that nothing else draws of."""
    march = March(falling(), 0 * ONE, 0 * ONE, SIEMENS * ONE)
    assert march.draws.all()
    assert not march.constant
    seconds = CAPACITY / (2 * SIEMENS) * np.log(3.0 / 1.4)
    assert march.time(0.8 * ONE)[0, 0] == pytest.approx(seconds, rel=1e-6)
    assert march.depth(seconds * ONE, ONE)[0, 0] == pytest.approx(0.8, rel=1e-6)


def test_without_any_drain_no_time_is_enough() -> None:
    """Nor where the leak ends on the way; places that lie on each other take no time."""
    for march in (
        March(falling(), 0 * ONE, 0 * ONE),
        March(falling(), 0 * ONE, 0 * ONE, 0 * ONE),
    ):
        assert not march.draws.any()
        assert np.isinf(march.time(ONE)).all()
    flat = replace(falling(leaks=True), drip=LeakCurve((0.5, 3.0), np.array([[0.0], [0.0]])))
    march = March(flat, 0 * ONE, 0 * ONE)
    assert not march.draws.any()
    assert np.isinf(march.time(ONE)).all()
    assert march.time(0 * ONE)[0, 0] == 0.0
    assert march.mean_v(0 * ONE, ONE)[0, 0] == 3.0
