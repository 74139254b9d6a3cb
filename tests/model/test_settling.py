"""How long discharges under a harvest last, by hand and by an integrator apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from advisor.model.drain import Drain, Pack
from advisor.model.leak_curve import LeakCurve
from advisor.model.settling import prolonged

ONE = np.ones((1, 1))


def slope(
    full: float, empty: float, leak: tuple[float, float] | None = None, own: float = 0.0
) -> Pack:
    """A pack of 100 C whose voltage falls straight, and its leak from full to empty."""
    depth = np.linspace(0.0, 1.0, 65)
    open_v = (full + (empty - full) * depth)[:, None]
    drip = None if leak is None else LeakCurve((empty, full), np.array([[leak[1]], [leak[0]]]))
    one = np.ones(1)
    return Pack(
        depth=depth, open_v=open_v, resistance=np.zeros_like(open_v), capacity_c=100.0 * one,
        self_discharge_a=own * one, leak_a=0.0 * one, least_capacity=one, mean_capacity=one,
        shelf_life_s=np.inf * one, drip=drip,
    )  # fmt: skip


def drain_of(amps: float, watts: float) -> Drain:
    """A constant current and a constant power, of one row and draw."""
    one = np.ones((1, 1, 1))
    return Drain(
        constant_a=amps * one, power_w=watts * one, share=one, duration_s=0 * one, tasks=(),
        period_s=np.zeros((0, 1)), cut_off_v=0 * ONE,
    )  # fmt: skip


def times(pack: Pack, drain: Drain, watts: float, end: float = 1.0, start: float = 0.0) -> float:
    return float(prolonged(pack, drain, np.array([watts]), start * ONE, end * ONE)[0, 0])


@pytest.mark.parametrize("cover", [0.0, 0.1, 0.5, 0.93, 0.999])
def test_what_gives_the_same_at_all_depths_lasts_by_what_is_lacking(cover: float) -> None:
    """Constant currents at a flat voltage, and constant powers at any: 1/(1 - cover)."""
    flat, sloped = slope(3.0, 3.0, own=1e-6), slope(2.7, 0.9)
    assert times(flat, drain_of(9e-6, 0.0), cover * 30e-6) == pytest.approx(
        1 / (1 - cover), rel=1e-12
    )
    assert times(sloped, drain_of(0.0, 5e-5), cover * 5e-5) == pytest.approx(
        1 / (1 - cover), rel=1e-12
    )


def test_a_store_settles_where_its_load_has_fallen_to_its_harvest() -> None:
    """30 uA from 2.7 V to 0.9 V are 81 uW to 27 uW: what brings 54 uW holds it at 1.8 V."""
    pack, drain = slope(2.7, 0.9), drain_of(30e-6, 0.0)
    assert np.isinf(times(pack, drain, 54e-6))
    assert np.isinf(times(pack, drain, 54.1e-6, end=0.5))
    # until 1.8 V alone it is used up before: with H = I v, v = 1.7 V, dt goes as V dV/(V - v)
    by_hand = (0.9 + 1.7 * np.log(1.0 / 0.1)) / 0.9
    assert times(pack, drain, 51e-6, end=0.5) == pytest.approx(by_hand, rel=2e-3)
    # from there on the same harvest has it settle
    assert np.isinf(times(pack, drain, 51e-6, start=0.5))


@pytest.mark.parametrize("seed", range(20))
def test_random_stores_last_as_an_integrator_says(seed: int) -> None:
    rng = np.random.default_rng(seed)
    full = rng.uniform(2, 4)
    empty, leak = full * rng.uniform(0.3, 1), np.sort(rng.uniform(0, 2e-5, 2))[::-1]
    amps, power = rng.uniform(1e-6, 4e-5), rng.uniform(0, 8e-5)
    pack, drain = slope(full, empty, (leak[0], leak[1])), drain_of(amps, power)
    end, start = rng.uniform(0.6, 1.0), rng.uniform(0.0, 0.4)

    def watts(d: float) -> float:
        volts = full + (empty - full) * d
        return float(power + volts * (amps + leak[0] + (leak[1] - leak[0]) * d))

    def lasts(harvest: float) -> float:
        def rate(d: float) -> float:
            return float((full + (empty - full) * d) / (watts(d) - harvest))

        return float(quad(rate, start, end, limit=200)[0])

    least = min(watts(d) for d in np.linspace(start, end, 1001))
    for share in (0.2, 0.7, 0.95):
        told = times(pack, drain, share * least, end, start)
        assert told == pytest.approx(lasts(share * least) / lasts(0.0), rel=3e-3)
    assert np.isinf(times(pack, drain, 1.0001 * least, end, start))


@pytest.mark.parametrize("seed", range(30))
def test_more_harvest_less_load_and_less_leak_never_last_shorter(seed: int) -> None:
    """Times to the end, t0 times the factor: t0 is as the mean of V/W over the depth."""
    rng = np.random.default_rng([seed, 5])
    full = rng.uniform(2, 4)
    empty, leak = full * rng.uniform(0.3, 1), np.sort(rng.uniform(0, 2e-5, 2))[::-1]
    amps, power = rng.uniform(1e-6, 4e-5), rng.uniform(0, 8e-5)
    harvest = rng.uniform(0.0, 1.3) * (power + amps * empty)

    def lasts(h: float, i: float, p: float, times_leak: float, charge: float) -> float:
        pack = slope(full, empty, (leak[0] * times_leak, leak[1] * times_leak))
        pack = replace(pack, capacity_c=charge * pack.capacity_c)
        depth = np.linspace(0.0, 1.0, 20001)
        volts = full + (empty - full) * depth
        watts = p + volts * (i + times_leak * (leak[0] + (leak[1] - leak[0]) * depth))
        without = charge * np.mean(volts / watts)
        return float(without * times(pack, drain_of(i, p), h))

    first = lasts(harvest, amps, power, 1.0, 1.0)
    slack = 1 - 2e-3  # of the quadrature
    assert lasts(1.03 * harvest, amps, power, 1.0, 1.0) >= slack * first
    assert lasts(harvest, 0.97 * amps, power, 1.0, 1.0) >= slack * first
    assert lasts(harvest, amps, 0.97 * power, 1.0, 1.0) >= slack * first
    assert lasts(harvest, amps, power, 0.9, 1.0) >= slack * first
    assert lasts(harvest, amps, power, 1.0, 1.3) >= slack * first
    # without a jump up to where it settles for ever
    factors = [times(slope(full, empty), drain_of(amps, power), h) for h in
               (power + amps * empty) * (1 - 10.0 ** -np.arange(1, 9))]  # fmt: skip
    assert (np.diff(factors) >= 0).all()
