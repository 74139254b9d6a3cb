"""Battery life against closed forms, quadrature and ODE solvers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from advisor.model.battery import Life, averaged, life
from advisor.model.drain import Drain, Pack
from advisor.model.ends import ENDS
from advisor.model.kinetic_cell import lifetime

YEAR = 365.25 * 86400.0


def one(value: float) -> np.ndarray:
    return np.array([value])


def column(*values: float) -> np.ndarray:
    return np.array(values)[:, None]


def pack(
    depth: tuple[float, ...] = (0.0, 1.0),
    volts: tuple[float, ...] = (3.0, 3.0),
    ohms: tuple[float, ...] = (0.0, 0.0),
    capacity_c: float = 3600.0 * 0.225,
    self_a: float = 0.0,
    leak_a: float = 0.0,
) -> Pack:
    return Pack(
        depth=np.array(depth),
        open_v=column(*volts),
        resistance=column(*ohms),
        capacity_c=one(capacity_c),
        self_discharge_a=one(self_a),
        leak_a=one(leak_a),
        least_capacity=one(1.0),
        mean_capacity=one(1.0),
        shelf_life_s=one(np.inf),
    )


def drain(
    states: list[tuple[float, float, float]],
    rest: tuple[float, float] = (0.0, 0.0),
    period: float = 60.0,
    cut_off: float = 0.0,
) -> Drain:
    """One task whose states are (constant A, power W, duration s), and what rests in between."""
    rows = [*states, (*rest, 0.0)]
    duration = np.array([d for _, _, d in rows])
    share = duration / period
    share[-1] = 1 - share.sum()

    def shaped(values: object) -> np.ndarray:
        return np.asarray(values, dtype=float).reshape(1, -1, 1)

    return Drain(
        constant_a=shaped([a for a, _, _ in rows]),
        power_w=shaped([w for _, w, _ in rows]),
        share=shaped(share),
        duration_s=shaped(duration),
        tasks=(slice(0, len(states)),),
        period_s=np.array([[period]]),
        cut_off_v=np.array([[cut_off]]),
    )


def ends(found: Life) -> str:
    return ENDS[int(found.ends_by[0, 0])].name


def seconds(found: Life) -> float:
    return float(found.life_s[0, 0])


def test_a_flat_cell_and_one_task_in_closed_form() -> None:
    # 5 mA for 10 ms every 60 s over 2 uA of sleep, from 225 mAh: charge over mean current
    mean = 5e-3 * 10e-3 / 60 + 2e-6 * (1 - 10e-3 / 60)
    found = life(pack(), drain([(5e-3, 0.0, 10e-3)], rest=(2e-6, 0.0)))
    assert seconds(found) == pytest.approx(0.225 * 3600 / mean, rel=1e-9)
    assert ends(found) == "capacity"
    assert found.mean_current_a[0, 0] == pytest.approx(mean, rel=1e-9)


def test_self_discharge_on_the_rated_capacity() -> None:
    # 225 mAh, 10 uA and 1 % a year of the rated capacity: 2.5025 years of 8766 hours
    self_a = 0.225 * 3600 * 0.01 / YEAR
    found = life(pack(self_a=self_a), drain([], rest=(10e-6, 0.0)))
    assert seconds(found) / YEAR == pytest.approx(2.5025, abs=5e-5)
    assert found.mean_current_a[0, 0] == pytest.approx(10e-6, rel=1e-9)


def test_a_reservoir_s_leak_counts_as_current() -> None:
    found = life(pack(leak_a=5e-6), drain([], rest=(10e-6, 0.0)))
    assert seconds(found) == pytest.approx(0.225 * 3600 / 15e-6, rel=1e-9)
    assert found.mean_current_a[0, 0] == pytest.approx(15e-6, rel=1e-9)


DEPTH = (0.0, 0.1, 0.5, 0.9, 1.0)
VOLTS = (3.2, 3.0, 2.9, 2.6, 1.2)


@pytest.mark.parametrize(("a", "w"), [(4e-6, 0.0), (0.0, 12e-6), (3e-6, 20e-6), (1e-6, 1e-3)])
def test_the_integral_of_time_over_depth(a: float, w: float) -> None:
    made = pack(DEPTH, VOLTS, (0.0,) * 5, self_a=1e-7)
    found = life(made, drain([], rest=(a, w)))

    def slowness(depth: float) -> float:
        return 1 / (a + w / float(np.interp(depth, DEPTH, VOLTS)) + 1e-7)

    exact, _ = quad(slowness, 0, 1, points=DEPTH[1:-1], epsabs=0, epsrel=1e-12)
    # stated: the relative error is below 1e-4; three-point Gauss on short steps does far better
    assert seconds(found) == pytest.approx(0.225 * 3600 * exact, rel=1e-7)


def test_the_open_voltage_ends_it_at_the_cut_off() -> None:
    made = pack(DEPTH, VOLTS, (0.0,) * 5)
    found = life(made, drain([], rest=(10e-6, 0.0), cut_off=1.9))
    depth = 0.9 + 0.1 * (2.6 - 1.9) / (2.6 - 1.2)
    assert found.end_depth[0, 0] == pytest.approx(depth, abs=1e-9)
    assert seconds(found) == pytest.approx(0.225 * 3600 * depth / 10e-6, rel=1e-8)
    assert ends(found) == "cut-off"


def test_a_pulse_ends_it_by_sag() -> None:
    # resistance rises from 10 to 50 ohm over the depth: 20 mA pull 3.0 V below 2.4 V at 30 ohm
    made = pack(ohms=(10.0, 50.0))
    found = life(made, drain([(20e-3, 0.0, 1e-3)], rest=(1e-6, 0.0), cut_off=2.4))
    assert found.end_depth[0, 0] == pytest.approx(0.5, abs=3e-8)
    assert ends(found) == "sag"


def test_a_constant_power_pulse_ends_it_where_the_quadratic_says() -> None:
    made = pack(ohms=(10.0, 110.0))
    power = 30e-3
    found = life(made, drain([(0.0, power, 1e-3)], rest=(1e-6, 0.0), cut_off=2.5))
    # V' = 2.5 where R = (3.0 - 2.5) 2.5/P = 41.67 ohm
    assert found.end_depth[0, 0] == pytest.approx((0.5 * 2.5 / power - 10) / 100, abs=3e-8)


def test_a_source_that_cannot_give_the_power_is_dead() -> None:
    found = life(pack(ohms=(500.0, 500.0)), drain([(0.0, 10e-3, 1e-3)], rest=(1e-6, 0.0)))
    assert bool(found.dead[0, 0])
    assert seconds(found) == 0.0


def test_the_cold_and_the_shelf_life_bound_it() -> None:
    cold = replace(pack(), least_capacity=one(0.7), mean_capacity=one(0.9))
    found = life(cold, drain([], rest=(10e-6, 0.0)))
    assert seconds(found) == pytest.approx(0.7 * 0.225 * 3600 / 10e-6, rel=1e-9)
    mild = averaged(cold, drain([], rest=(10e-6, 0.0)))
    assert mild[0, 0] == pytest.approx(0.9 * 0.225 * 3600 / 10e-6, rel=1e-9)
    assert ends(found) == "cold"
    aged = replace(pack(), shelf_life_s=one(5 * YEAR))
    found = life(aged, drain([], rest=(1e-6, 0.0)))
    assert seconds(found) == 5 * YEAR
    assert ends(found) == "shelf-life"
    assert found.mean_current_a[0, 0] == pytest.approx(1e-6, rel=1e-9)


def test_a_cell_that_is_to_be_discharged_no_deeper() -> None:
    made = replace(pack(), figures={("discharge-to",): one(0.6)})
    found = life(made, drain([], rest=(10e-6, 0.0)))
    assert seconds(found) == pytest.approx(0.6 * 0.225 * 3600 / 10e-6, rel=1e-9)
    assert ends(found) == "discharged"
    # where the cold leaves less, that is what ends it
    cold = life(replace(made, least_capacity=one(0.5)), drain([], rest=(10e-6, 0.0)))
    assert seconds(cold) == pytest.approx(0.5 * 0.225 * 3600 / 10e-6, rel=1e-9)
    assert ends(cold) == "cold"


def test_what_draws_do_without_changes_nothing_else() -> None:
    made = replace(pack(DEPTH, VOLTS, (5.0, 5.0, 8.0, 20.0, 60.0)), least_capacity=one(0.8))
    load = drain([(15e-3, 5e-3, 4e-3)], rest=(2e-6, 1e-6), cut_off=2.0)
    full, short = life(made, load), life(made, load, fresh=False)
    assert seconds(full) == pytest.approx(seconds(short), rel=1e-7)
    assert np.isnan(short.start_peak_a).all()
    assert np.isnan(short.start_low_v).all()


# a resistance R and a capacitor C of esr r across the pack, a pulse I from rest
OHMS, FARAD, PULSE = 15.0, 100e-6, 10e-3


@pytest.mark.parametrize(
    ("duration", "esr", "voltage"),
    # 3 V, 15 ohm, 100 uF and 10 mA: V - R I (1 - exp(-t/RC)), the first-order step response
    [(1e-3, 0.0, 2.92701), (10e-3, 0.0, 2.85019), (1e-3, 0.5, None), (4e-3, 2.0, None)],
)
def test_a_reservoir_s_step_against_an_ode_solver(
    duration: float, esr: float, voltage: float | None
) -> None:
    made = replace(pack(ohms=(OHMS, OHMS)), reservoir=(one(FARAD), one(esr)))
    found = life(made, drain([(PULSE, 0.0, duration)]))
    assert esr >= 0

    def rate(_: float, held: np.ndarray) -> np.ndarray:
        # the node between source, capacitor and load: (V - v)/R + (vc - v)/r = I
        if esr == 0:
            return np.array(((3.0 - held) / OHMS - PULSE) / FARAD)
        node = (3.0 / OHMS + held / esr - PULSE) / (1 / OHMS + 1 / esr)
        return np.array((node - held) / esr / FARAD)

    solved = solve_ivp(rate, (0, duration), [3.0], method="LSODA", rtol=1e-10, atol=1e-12)
    held = float(solved.y[0, -1])
    node = held if esr == 0 else (3.0 / OHMS + held / esr - PULSE) / (1 / OHMS + 1 / esr)
    low = float(found.start_low_v[0, 0])
    assert low == pytest.approx(node, abs=1e-7)
    assert found.start_peak_a[0, 0] == pytest.approx((3.0 - node) / OHMS, rel=1e-5)
    if voltage is not None:
        assert low == pytest.approx(voltage, abs=5e-6)


def test_a_train_of_states_on_a_reservoir_against_an_ode_solver() -> None:
    esr = 0.4
    states = [(2e-3, 2e-3), (30e-3, 1e-3), (8e-3, 6e-3)]
    made = replace(pack(ohms=(OHMS, OHMS)), reservoir=(one(FARAD), one(esr)))
    found = life(made, drain([(i, 0.0, t) for i, t in states], rest=(1e-4, 0.0)))
    held, low = 3.0 - OHMS * 1e-4, np.inf
    for current, duration in states:

        def node(volts: np.ndarray, current: float = current) -> np.ndarray:
            return np.asarray((3.0 / OHMS + volts / esr - current) / (1 / OHMS + 1 / esr))

        solved = solve_ivp(
            lambda _, v, node=node: (node(v) - v) / esr / FARAD,
            (0, duration),
            [held],
            method="LSODA",
            rtol=1e-10,
            atol=1e-12,
        )
        low = min(low, float(node(solved.y[0]).min()))
        held = float(solved.y[0, -1])
    assert found.start_low_v[0, 0] == pytest.approx(low, abs=1e-6)


@pytest.mark.parametrize("esr", [0.0, 1.0])
@pytest.mark.parametrize("power", [3e-3, 20e-3, 60e-3])
@pytest.mark.parametrize("duration", [0.1e-3, 1e-3, 3e-3, 30e-3])
def test_a_constant_power_pulse_on_a_reservoir_against_an_ode_solver(
    power: float, duration: float, esr: float
) -> None:
    made = replace(pack(ohms=(OHMS, OHMS)), reservoir=(one(FARAD), one(esr)))
    found = life(made, drain([(1e-3, power, duration)]))

    def node(held: float) -> float:
        # (3 - v)/R + (vc - v)/r = A + P/v, a quadratic; with r = 0 it stands at vc
        if esr == 0:
            return held
        g, b = 1 / OHMS + 1 / esr, 3.0 / OHMS + held / esr - 1e-3
        return float(b + np.sqrt(b * b - 4 * g * power)) / (2 * g)

    def rate(_: float, held: np.ndarray) -> list[float]:
        v = node(held[0])
        return [((3.0 - v) / OHMS - 1e-3 - power / v) / FARAD]

    solved = solve_ivp(rate, (0, duration), [3.0], method="LSODA", rtol=1e-10, atol=1e-12)
    fall = 3.0 - node(float(solved.y[0, -1]))
    # exact for short and long states; in between the rate changes on the way by a share of the
    # order of R P/V^2, of which a small part is left
    print((3.0 - found.start_low_v[0, 0]) / fall - 1, OHMS * power / 9)
    assert 3.0 - found.start_low_v[0, 0] == pytest.approx(
        fall, rel=0.05 * OHMS * power / 9.0 + 1e-5
    )


def test_the_two_well_bound_by_marching_the_wells() -> None:
    c, k = 0.3, 2e-4
    made = replace(pack(capacity_c=40.0), two_well=(one(c), one(k)))
    load = [(5e-3, 0.0, 20.0)]
    found = life(made, drain(load, rest=(1e-5, 0.0), period=600.0))
    assert ends(found) == "two-well"
    marched = lifetime(40.0, c, k, [(5e-3, 20.0), (1e-5, 580.0)])
    # the bound takes the settled peak: it may end up to one period early
    assert seconds(found) == pytest.approx(marched, rel=600.0 / marched)


def test_the_two_well_bound_of_events_closer_than_a_second() -> None:
    """A rest of 0.4 s levels the wells no further than that."""
    c, k = 0.3, 0.2
    made = replace(pack(capacity_c=400.0), two_well=(one(c), one(k)))
    found = life(made, drain([(2.0, 0.0, 0.1)], period=0.5))
    assert ends(found) == "two-well"
    marched = lifetime(400.0, c, k, [(2.0, 0.1), (0.0, 0.4)])
    assert seconds(found) == pytest.approx(marched, rel=0.5 / marched)


def test_a_worse_pack_or_a_greater_load_never_lasts_longer() -> None:
    load = drain([(15e-3, 5e-3, 4e-3)], rest=(2e-6, 1e-6), cut_off=2.0)
    made = pack(DEPTH, VOLTS, (5.0, 5.0, 8.0, 20.0, 60.0), self_a=1e-7)
    base = seconds(life(made, load))
    worse = [
        replace(made, resistance=made.resistance * 1.3),
        replace(made, capacity_c=made.capacity_c * 0.9),
        replace(made, self_discharge_a=made.self_discharge_a * 2),
        replace(made, open_v=made.open_v - 0.05),
    ]
    assert all(seconds(life(p, load)) < base for p in worse)
    heavier = replace(load, constant_a=load.constant_a * 1.1)
    assert seconds(life(made, heavier)) < base


@given(
    volts=st.lists(st.floats(1.0, 4.0), min_size=2, max_size=6),
    a=st.floats(1e-7, 1e-3),
    w=st.floats(0.0, 1e-3),
    cut_off=st.floats(0.0, 3.0),
    ohms=st.floats(0.0, 30.0),
)
def test_a_random_pack_against_a_fine_march(
    volts: list[float], a: float, w: float, cut_off: float, ohms: float
) -> None:
    falling = sorted(volts, reverse=True)
    depth = np.linspace(0, 1, len(falling))
    made = pack(tuple(depth), tuple(falling), (ohms,) * len(falling))
    found = life(made, drain([], rest=(a, w), cut_off=cut_off))
    fine = np.linspace(0, 1, 4001)
    open_v = np.interp(fine, depth, falling)
    with np.errstate(invalid="ignore"):
        loaded = (open_v - ohms * a + np.sqrt((open_v - ohms * a) ** 2 - 4 * ohms * w)) / 2
    alive = loaded >= cut_off
    end = 1.0 if alive.all() else float(fine[int(np.argmin(alive))])
    assert found.end_depth[0, 0] == pytest.approx(end, abs=3e-4)
    middle = (np.linspace(0, end, 4001)[1:] + np.linspace(0, end, 4001)[:-1]) / 2
    rate = a + w / np.interp(middle, depth, falling)
    # the march's own end is known to a grid step of 2.5e-4
    assert seconds(found) == pytest.approx(
        float((0.225 * 3600 * end / 4000 / rate).sum()),
        rel=1e-4,
        abs=0.225 * 3600 * 3e-4 / rate.min() if end else 1e-9,
    )


@pytest.mark.parametrize("end", [2.4, 1.0, 0.3])
def test_a_steep_curve_is_integrated_as_closely_as_a_flat_one(end: float) -> None:
    """From 3 V straight down to an end, 1 mA and 3 mW: in closed form the integral of
    V/(aV + b) over V is V/a - b/a^2 ln(aV + b)."""
    a, b = 1e-3, 3e-3

    def whole(volts: float) -> float:
        return float(volts / a - b / a**2 * np.log(a * volts + b))

    cell = pack(volts=(3.0, end))
    found = life(cell, drain([(a, b, 60.0)]))
    exact = cell.capacity_c[0] * (whole(3.0) - whole(end)) / (3.0 - end)
    assert found.life_s[0, 0] == pytest.approx(exact, rel=1e-7)
