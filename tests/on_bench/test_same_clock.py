"""Figures at a common clock: their uncertainty, and supplies that differ a little."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from uncertainties import correlated_values, ufloat

from advisor.bench.same_clock import AtClock, Run, apart, at_clock, common_clock, spanning
from advisor.present.compare import _there
from advisor.studies.compare import Row

# 480 and 600 thousand cycles; 3 and 9 mA
SLOW = Run(24e6, 20e-3, 0.1e-3, 3e-3, 0.03e-3, 3.0, 0.01, 0.01, "m")
FAST = Run(96e6, 6.25e-3, 0.05e-3, 9e-3, 0.06e-3, 3.0, 0.02, 0.01, "m")


def told(found: AtClock) -> tuple[float, float, float, float, float, float]:
    values = (
        found.time_s,
        found.current_a,
        found.energy_j,
        found.time_u_s,
        found.current_u_a,
        found.energy_u_j,
    )
    assert all(value is not None for value in values), found.why
    return tuple(value or 0.0 for value in values)  # type: ignore[return-value]


@pytest.mark.parametrize("shared", [True, False])
@pytest.mark.parametrize("at", [24e6, 40e6, 60e6, 96e6])
def test_uncertainties_are_another_library_s(at: float, shared: bool) -> None:
    """`uncertainties`, of the same formula written with its numbers: gain and all inputs.

    One meter's gain moves both currents alike, two meters' each its own.
    """
    fast = FAST if shared else replace(FAST, instrument="n")
    time, current, energy, *u = told(at_clock([SLOW, fast], at))
    w = (at - 24e6) / 72e6
    t, i, v = (
        [ufloat(getattr(r, a), getattr(r, b)) for r in (SLOW, fast)]
        for a, b in (
            ("time_s", "time_u_s"),
            ("current_a", "current_u_a"),
            ("supply_v", "supply_u_v"),
        )
    )
    one = ufloat(1, 0.01)
    gains = [one, one if shared else ufloat(1, 0.01)]
    exact_t = ((1 - w) * t[0] * 24e6 + w * t[1] * 96e6) / at
    exact_i = (1 - w) * i[0] * gains[0] + w * i[1] * gains[1]
    exact_e = ((1 - w) * v[0] + w * v[1]) * exact_i * exact_t
    for found, spread, exact in zip(
        (time, current, energy), u, (exact_t, exact_i, exact_e), strict=True
    ):
        assert found == pytest.approx(exact.nominal_value, rel=1e-9)
        # halves of finite steps: of second order in a per cent
        assert spread == pytest.approx(exact.std_dev, rel=1e-4)


def test_a_correlation_of_time_and_current_is_another_library_s() -> None:
    """`uncertainties.correlated_values`, at the own clock and at the common one."""
    r = -0.7
    one = replace(SLOW, correlation=r, gain_u=0.0)
    cross = r * SLOW.time_u_s * SLOW.current_u_a
    t, i = correlated_values(
        [SLOW.time_s, SLOW.current_a],
        [[SLOW.time_u_s**2, cross], [cross, SLOW.current_u_a**2]],
    )
    exact = ufloat(3.0, 0.01) * t * i
    assert (one.energy_j or 0.0) * one.relative_u() == pytest.approx(exact.std_dev, rel=1e-9)
    assert at_clock([one], 24e6).energy_u_j == pytest.approx(exact.std_dev, rel=1e-4)


def test_at_its_own_clock_a_run_is_what_it_was() -> None:
    """Also beside another of another supply: that one counts for nothing there."""
    other = replace(FAST, supply_v=2.9)
    for runs in ([SLOW], [SLOW, FAST], [SLOW, other]):
        time, current, energy, *u = told(at_clock(runs, 24e6))
        assert (time, current) == pytest.approx((SLOW.time_s, SLOW.current_a), rel=1e-9)
        assert energy == pytest.approx(SLOW.energy_j, rel=1e-9)
        whole = math.hypot(0.03 / 3, 0.01) * SLOW.current_a
        assert u[:2] == pytest.approx([SLOW.time_u_s, whole], rel=1e-6)
        assert u[2] == pytest.approx((SLOW.energy_j or 0.0) * SLOW.relative_u(), rel=1e-4)


def bare(run: Run, supply: float, switching: bool = False) -> Run:
    """A run known exactly, at a supply."""
    return replace(
        run,
        time_u_s=0.0,
        current_u_a=0.0,
        supply_u_v=0.0,
        gain_u=0.0,
        supply_v=supply,
        switching=switching,
    )


def test_a_linear_part_s_current_is_taken_as_it_was_measured() -> None:
    """3.0 V at 24 and 2.9 V at 96 MHz: 2.95 V and 6 mA half-way, by hand.

    The current may go with the supply to the power -1 to 1: the two are 1/59 off to either side,
    (3 - 9)/2 mA/59 in all, over the root of three.
    """
    time, current, energy, time_u, current_u, energy_u = told(
        at_clock([bare(SLOW, 3.0), bare(FAST, 2.9)], 60e6)
    )
    assert time == pytest.approx(0.5 * (480e3 + 600e3) / 60e6, rel=1e-12)
    assert current == pytest.approx(6e-3, rel=1e-9)
    assert energy == pytest.approx(2.95 * 6e-3 * 9e-3, rel=1e-9)
    assert time_u == 0
    assert current_u == pytest.approx(3e-3 / 59 / math.sqrt(3), rel=1e-9)
    assert energy_u == pytest.approx(2.95 * 9e-3 * current_u, rel=1e-9)


def test_a_switching_part_s_current_is_a_power_at_the_supply_there() -> None:
    """9 mW and 26.1 mW: 17.55 mW half-way, whatever the supply."""
    runs = [bare(SLOW, 3.0, switching=True), bare(FAST, 2.9, switching=True)]
    time, current, energy, *_ = told(at_clock(runs, 60e6))
    assert current * 2.95 == pytest.approx(17.55e-3, rel=1e-9)
    assert energy == pytest.approx(17.55e-3 * time, rel=1e-9)


@pytest.mark.parametrize("power", [-1.0, -0.5, 0.0, 0.5, 1.0])
def test_a_current_of_any_power_is_inside_what_is_said(power: float) -> None:
    """A part of I = (a + b f) (V/3 V)^e, at supplies 4 % apart: off by no more than the limits."""
    runs = []
    for clock, supply in ((24e6, 3.0), (60e6, 2.95), (96e6, 2.88)):
        current = (1e-3 + clock * 8e-11) * (supply / 3.0) ** power
        runs.append(Run(clock, 1e5 / clock, 0.0, current, 0.0, supply, 0.0, 0.0, None))
    for at in (24e6, 40e6, 80e6, 96e6):
        found = at_clock(runs, at)
        assert found.supply_v is not None
        true = (1e-3 + at * 8e-11) * (found.supply_v / 3.0) ** power
        assert found.current_a is not None
        assert found.current_u_a is not None
        # a second-order rest of the 4 %
        assert abs(found.current_a - true) <= math.sqrt(3) * found.current_u_a + 1e-3 * true


@pytest.mark.parametrize(
    ("supplies", "u", "why"),
    [
        ((3.0, 2.86), 0.0, ""),
        ((3.0, 2.84), 0.0, "supplies of 2.84 V to 3.00 V, more than 5 % apart"),
        ((3.0, 2.6), 0.0, "supplies of 2.60 V to 3.00 V, more than 5 % apart"),
        # as far apart as they are known to: they may be one
        ((3.0, 2.6), 0.15, ""),
        ((3.0, 2.6), 0.13, "more than 5 % apart"),
    ],
)
def test_supplies_further_apart_are_refused_with_why(
    supplies: tuple[float, float], u: float, why: str
) -> None:
    runs = [
        replace(run, supply_v=v, supply_u_v=u)
        for run, v in zip((SLOW, FAST), supplies, strict=True)
    ]
    found = at_clock(runs, 60e6)
    assert (found.energy_j is None) == bool(why)
    assert (found.energy_u_j is None) == bool(why)
    assert why in found.why
    assert found.current_a is not None  # as it was measured


def test_a_clock_that_is_not_known_well_is_no_time_that_is() -> None:
    """One point, its cycles held: 1 % of the clock is 1 % of the time at another."""
    found = at_clock([replace(bare(SLOW, 3.0), clock_u_hz=0.24e6)], 48e6)
    assert found.time_u_s == pytest.approx(0.01 * (found.time_s or 0.0), rel=1e-6)


def test_currents_off_their_line_widen_it() -> None:
    """Three points, known exactly, 0.1 mA off a line: s² of one degree of freedom (GUM H.3)."""
    clocks = np.array([20e6, 60e6, 100e6])
    currents = 1e-3 + clocks * 5e-11 + np.array([0.1e-3, -0.2e-3, 0.1e-3])
    runs = [
        Run(f, 1e5 / f, 0.0, i, 0.0, 3.0, 0.0, 0.0, None)
        for f, i in zip(clocks, currents, strict=True)
    ]
    found = at_clock(runs, 60e6)
    s = math.sqrt(0.1**2 + 0.2**2 + 0.1**2) * 1e-3
    assert found.current_u_a == pytest.approx(s / math.sqrt(3), rel=1e-6)


def test_the_screen_tells_how_well_each_is_known() -> None:
    found = at_clock([SLOW, FAST], 24e6)
    bare: dict[str, Any] = dict.fromkeys(Row.__dataclass_fields__)
    row = Row(**{**bare, "at_clock": found})
    assert _there(row) == "at 24 MHz, 20.0 ms ±0.5 %, 3.00 mA ±1.4 %, 180 µJ ±1.5 %"


def test_a_line_of_currents_is_not_followed_below_zero() -> None:
    """3 mA at 24 MHz and 9 mA at 96 MHz fall by 1 mA in 12 MHz, to 2 mA; steeper they are lost."""
    steep = [replace(SLOW, current_a=0.5e-3), FAST]
    found = at_clock(steep, 12e6)
    assert found.current_a is found.energy_j is None
    assert "the currents' line falls below zero there" in found.why
    assert at_clock(steep, 24e6).current_a == pytest.approx(0.5e-3, rel=1e-9)
    assert at_clock([SLOW, FAST], 12e6).current_a == pytest.approx(2e-3, rel=1e-9)


def test_two_energies_differ_by_more_than_twice_what_is_not_shared() -> None:
    """By hand: 1 % of two energies of 1 J by time, and a gain of 3 % that one meter shares."""
    one = Run(1e6, 1.0, 0.01, 1.0, 0.0, 1.0, 0.0, 0.03, "m")
    for more, differs in ((2.7, False), (3.0, True)):
        other = replace(one, current_a=1 + more * 0.01, instrument="m")
        # 2 x sqrt(0.01^2 + 0.0103^2) = 0.0287
        assert apart(one, other) is differs
        # with a meter each 2 x sqrt(0.0316^2 + 0.0326^2) = 0.0908
        assert not apart(one, replace(other, instrument="n"))
        assert not apart(one, replace(other, instrument=None))
    assert apart(one, replace(one, current_a=1.095, instrument="n"))
    assert not apart(one, replace(one, supply_v=None))


def test_where_no_line_can_be_drawn_nothing_is_told_and_why() -> None:
    for runs, why in (
        ([replace(SLOW, clock_hz=None)], "no operating point states its clock"),
        ([SLOW, replace(SLOW, current_a=4e-3)], "two runs at one clock"),
    ):
        found = at_clock(runs, 48e6)
        assert (found.clock_hz, found.why, found.extrapolated) == (48e6, why, False)
        assert found.time_s is found.current_a is found.energy_j is found.supply_v is None


@pytest.mark.parametrize(
    ("clocks", "expected", "within"),
    [
        ([], None, 0),
        ([(16e6, 48e6)], None, 1),
        # apart: no clock that two were measured around
        ([(1e6, 4e6), (8e6, 48e6), ()], None, 1),
        # 16 MHz lies between those of all three, 8 MHz of two
        ([(4e6, 16e6), (8e6, 48e6), (16e6, 32e6)], 16e6, 3),
        # both 8 and 12 MHz lie between those of two: both parts were measured at 8 MHz
        ([(8e6, 12e6), (8e6, 48e6)], 8e6, 2),
        # nothing else apart: the greater
        ([(4e6, 12e6), (8e6, 48e6)], 12e6, 2),
        # a clock that was read a little off is the same
        ([(16e6,), (16e6 * (1 + 1e-7),)], 16e6, 2),
    ],
)
def test_the_common_clock_lies_between_those_of_the_most_parts(
    clocks: list[tuple[float, ...]], expected: float | None, within: int
) -> None:
    found = common_clock(clocks)
    assert found == (None if expected is None else pytest.approx(expected, rel=1e-6))
    if found is not None:
        assert spanning(clocks, found) == within
