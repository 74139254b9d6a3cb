"""Converters and the voltage under load."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from advisor.model.supply import loaded_voltage, through_linear, through_switching


def array(*values: float) -> np.ndarray:
    return np.array(values)


def test_a_linear_converter_s_efficiency() -> None:
    # 3.0 V to 1.8 V: at best the ratio of the voltages, 0.600; with 1 uA of its own at 10 uA,
    # 1.8 x 10 / (3.0 x 11) = 0.5455 (textbook energy balance)
    for quiescent, efficiency in ((0.0, 0.600), (1e-6, 0.5455)):
        current, power = through_linear(array(10e-6), array(quiescent))
        assert power[0] == 0
        assert 1.8 * 10e-6 / (3.0 * current[0]) == pytest.approx(efficiency, abs=5e-5)


RAIL, QUIESCENT = array(1.8), array(0.5e-6)
LOADS = array(10e-6, 100e-6, 1e-3, 10e-3)
ETA = np.array([[0.70], [0.82], [0.90], [0.88]])


def pack_current(load: float, volts: float = 3.0) -> float:
    constant, power = through_switching(array(load), RAIL, QUIESCENT, LOADS, ETA)
    return float(constant[0] + power[0] / volts)


@pytest.mark.parametrize(("load", "eta"), list(zip(LOADS, ETA[:, 0], strict=True)))
def test_a_switching_converter_at_its_table(load: float, eta: float) -> None:
    assert pack_current(load) == pytest.approx(1.8 * load / (eta * 3.0), rel=1e-12)


def test_between_two_loads_efficiency_is_linear_in_the_logarithm() -> None:
    middle = float(np.sqrt(100e-6 * 1e-3))
    assert pack_current(middle) == pytest.approx(1.8 * middle / (0.86 * 3.0), rel=1e-12)


def test_above_the_table_efficiency_is_flat() -> None:
    assert pack_current(0.1) == pytest.approx(1.8 * 0.1 / (0.88 * 3.0), rel=1e-12)


def test_below_the_table_the_current_runs_straight_to_no_load() -> None:
    at_least = pack_current(10e-6)
    assert pack_current(0.0) == pytest.approx(0.5e-6, rel=1e-12)
    expected = 0.5e-6 + (at_least - 0.5e-6) * 0.25
    assert pack_current(2.5e-6) == pytest.approx(expected, rel=1e-12)


@given(
    volts=st.floats(0.5, 5.0),
    ohms=st.floats(0.0, 200.0),
    constant=st.floats(0.0, 0.02),
    power=st.floats(0.0, 0.1),
)
def test_the_loaded_voltage_solves_its_equation(
    volts: float, ohms: float, constant: float, power: float
) -> None:
    found = float(loaded_voltage(array(volts), array(ohms), array(constant), array(power))[0])
    # the greatest power that a source behind a resistance gives is U^2/(4 R)
    u = volts - ohms * constant
    if np.isnan(found):
        assert power > 0
        assert u <= 0 or u * u < 4 * ohms * power
        return
    assert found == pytest.approx(u - (ohms * power / found if power else 0.0), rel=1e-9, abs=1e-12)
    if power and ohms and u > 0:
        middle = u / 2
        upper = brentq(lambda v: v * (u - v) / ohms - power, middle, u)
        # near the maximum of power the root is as flat as a parabola's top
        assert found == pytest.approx(upper, rel=1e-6)
