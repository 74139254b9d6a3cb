"""A leak over voltage between its own voltages: lives and means by quadrature, draw by draw."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad

from advisor.model.battery import life, taken
from advisor.model.drain import Pack, leaks_around
from advisor.model.leak_curve import LEAST, STEEPEST, LeakCurve, leak_curve
from tests.model.test_battery import drain, one, pack

CAPACITY, FULL, EMPTY, CUT = 40.0, 2.8, 0.8, 1.5
# a knee near full, a rise over four powers of ten, a bump of 30 mV, one from nothing
CURVES = {
    "knee": {0.8: 0.2e-6, 2.66: 0.2e-6, 2.72: 60e-6, 2.8: 140e-6},
    "rise": {1.9: 0.1e-6, 2.5: 300e-6, 2.8: 2e-3},
    "bump": {1.5: 1e-6, 2.31: 1e-6, 2.325: 70e-6, 2.34: 1e-6, 2.8: 1.5e-6},
    "nothing": {1.2: 0.0, 2.1: 0.0, 2.6: 40e-6, 2.8: 90e-6},
}


def leaking(name: str, full: float = FULL) -> Pack:
    """A capacitor that leaks so, as a cell's stated curve makes it."""
    made = pack((0.0, 1.0), (full, EMPTY), (0.0, 0.0), capacity_c=CAPACITY)
    volts, amps = (np.array(x) for x in (list(CURVES[name]), list(CURVES[name].values())))
    return replace(made, drip=leak_curve(volts, amps[:, None], amps))


def lasts(name: str, amps: float, watts: float = 0.0, full: float = FULL) -> float:
    """Seconds until the cut-off: the integral of C dD/(i + p/V + leak), between the bends."""
    at, leak = list(CURVES[name]), list(CURVES[name].values())

    def rate(depth: float) -> float:
        volts = full + (EMPTY - full) * depth
        return CAPACITY / (amps + watts / volts + float(np.interp(volts, at, leak)))

    places = [(full - v) / (full - EMPTY) for v in (*at, CUT)]
    bends = [0.0, *sorted(x for x in places if 0 < x <= (full - CUT) / (full - EMPTY))]
    return sum(
        float(quad(rate, low, high, epsrel=1e-12, limit=500)[0]) for low, high in pairwise(bends)
    )


@pytest.mark.parametrize("name", CURVES)
@pytest.mark.parametrize(("amps", "watts"), [(4.9e-6, 0.0), (0.4e-6, 9e-6)])
def test_a_life_follows_every_bend_of_the_leak(name: str, amps: float, watts: float) -> None:
    found = life(leaking(name), drain([], rest=(amps, watts), cut_off=CUT))
    assert found.life_s[0, 0] == pytest.approx(lasts(name, amps, watts), rel=3e-5)


def test_each_draw_meets_the_leak_where_its_own_voltage_does() -> None:
    """Of draws whose voltages differ by tenths of a volt, each lasts as long as by itself."""
    fulls = np.array([2.8, 2.71, 2.65, 2.31, 2.2, 2.45])
    n = len(fulls)
    for name in CURVES:
        single = leaking(name)
        assert single.drip is not None
        many = replace(
            single,
            **{of: getattr(single, of).repeat(n, axis=-1) for of in
               ("open_v", "resistance", "capacity_c", "self_discharge_a", "leak_a",
                "least_capacity", "mean_capacity", "shelf_life_s")},
            drip=single.drip.of(np.zeros(n, dtype=np.intp)),
        )  # fmt: skip
        many.open_v[0] = fulls
        made = drain([], rest=(4.9e-6, 0.0), cut_off=CUT)
        load = replace(
            made,
            **{of: getattr(made, of).repeat(n, axis=-1) for of in
               ("constant_a", "power_w", "share", "duration_s", "period_s", "cut_off_v")},
        )  # fmt: skip
        found = life(many, load)
        wanted = [lasts(name, 4.9e-6, full=float(full)) for full in fulls]
        assert found.life_s[0].tolist() == pytest.approx(wanted, rel=3e-5)
        # and what it has leaked is what it has not given
        own = replace(many, shelf_life_s=0.3 * found.life_s[0])
        early = life(own, load)
        depth, leaked, _ = taken(many, load, early.life_s[0])
        assert early.self_a[0].tolist() == pytest.approx(leaked[0].tolist(), rel=1e-6)
        gone = CAPACITY * depth[0] / early.life_s[0] - 4.9e-6
        assert leaked[0].tolist() == pytest.approx(gone.tolist(), rel=1e-4)


def test_the_mean_over_depth_leaves_nothing_out() -> None:
    """At 33 even depths, of a bump of 1.5 % of them as well."""
    for name, curve in CURVES.items():
        made, last = leaking(name), 0.6 * np.ones((2, 1))
        around = leaks_around(made, 0 * last, last, 33)
        weights = np.where((np.arange(33) == 0) | (np.arange(33) == 32), 0.5, 1.0) / 32
        low = FULL + (EMPTY - FULL) * 0.6
        bends = sorted({low, FULL, *(v for v in curve if low < v < FULL)})
        leak = np.interp(bends, list(curve), list(curve.values()))
        mean = float(np.trapezoid(leak, bends)) / (FULL - low)
        assert np.tensordot(weights, around, 1)[:, 0].tolist() == pytest.approx([mean] * 2)


def test_means_between_voltages_by_hand() -> None:
    """1 uA below 1 V, straight to 3 uA at 2 V, held beyond."""
    made = LeakCurve((1.0, 2.0), np.array([[1e-6, 2e-6], [3e-6, 6e-6]]))
    for volts, mean in (
        ((2.0, 1.0), 2e-6),
        ((2.5, 2.0), 3e-6),
        ((3.0, 1.0), 2.5e-6),
        ((1.5, 0.5), (1.5e-6 * 0.5 + 1e-6 * 0.5)),
        ((1.5, 1.5), 2e-6),
        ((1.5, 1.5 - 1e-9), 2e-6),
    ):
        found = made.means(np.array(volts)[:, None] * np.ones(2))
        assert found[0].tolist() == pytest.approx([mean, 2 * mean], rel=1e-8)
    held = LeakCurve((0.0,), np.array([[3e-6]]))
    assert held.means(np.array([[2.7], [0.9]]))[0, 0] == pytest.approx(3e-6)
    depth, open_v, amps = held.along(np.array([0.0, 1.0]), np.array([[2.7], [0.9]]))
    assert (depth[:, 0].tolist(), open_v[:, 0].tolist()) == ([0.0, 1.0], [2.7, 0.9])
    assert amps[:, 0].tolist() == [3e-6, 3e-6]


def test_a_steep_leak_has_voltages_between() -> None:
    """None grows by more than the ratio from one to the next, and all lie on the stated lines."""
    for curve in CURVES.values():
        stated = np.array(list(curve.values()))
        made = leak_curve(np.array(list(curve)), stated[:, None], stated)
        assert set(curve) <= set(made.volts)
        assert list(made.volts) == sorted(set(made.volts))
        on = np.interp(made.volts, list(curve), stated)
        assert made.amps[:, 0] == pytest.approx(on, rel=1e-9, abs=1e-18)
        seen = np.maximum(made.amps[:, 0], LEAST * stated.max())
        assert float(np.exp(np.abs(np.diff(np.log(seen)))).max()) < STEEPEST * (1 + 1e-9)


def test_a_flat_voltage_leaks_as_stated_there() -> None:
    flat = replace(leaking("knee"), open_v=np.full((2, 1), 2.69), shelf_life_s=one(np.inf))
    found = life(flat, drain([], rest=(4.9e-6, 0.0), cut_off=CUT))
    assert found.life_s[0, 0] == pytest.approx(CAPACITY / (4.9e-6 + 30.1e-6), rel=1e-9)
