"""Slow discharges of a lithium-ion cell against an electrochemical model of another library.

An optional group: `pip install '.[electrochemistry]'`, some 800 MB, else it is skipped. The
library's single-particle model of a published 5 Ah cell (Chen et al., J. Electrochem. Soc. 167
(2020) 080534) is discharged to 2.5 V. Its open-circuit voltage and its resistance, the latter at
C/20, make a pack of ours, which is marched at C/20 and C/5.
"""

from __future__ import annotations

import os
from functools import cache
from typing import Any

import numpy as np
import pytest

from advisor.model.battery import life
from advisor.model.drain import Drain, Pack
from advisor.model.ends import ENDS

pytestmark = pytest.mark.filterwarnings("ignore")

RATED, CUT_OFF = 5.0, 2.5  # A h, V
# A h to 2.5 V at C/20, C/5 and 1C, as the library's users report them, within 0.002
REPORTED = {1 / 20: 5.144, 1 / 5: 5.119, 1.0: 5.009}


@cache
def discharged(rate: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(A h, voltage, bulk open-circuit voltage) over a discharge at a rate."""
    os.environ["PYBAMM_DISABLE_TELEMETRY"] = "true"
    pybamm: Any = pytest.importorskip("pybamm", reason="the optional group is not installed")
    values = pybamm.ParameterValues("Chen2020")
    values["Current function [A]"] = RATED * rate
    simulation = pybamm.Simulation(pybamm.lithium_ion.SPM(), parameter_values=values)
    found = simulation.solve(np.linspace(0, 1.2 / rate * 3600, 4000), initial_soc=1.0)
    names = ("Discharge capacity [A.h]", "Terminal voltage [V]", "Bulk open-circuit voltage [V]")
    charge, volts, open_v = (np.asarray(found[name].entries) for name in names)
    return charge, volts, open_v


@pytest.mark.parametrize("rate", REPORTED)
def test_the_library_gives_what_is_reported_of_it(rate: float) -> None:
    assert discharged(rate)[0][-1] == pytest.approx(REPORTED[rate], abs=0.002)


def pack() -> Pack:
    """The cell as a pack of ours: 60 places of its slowest discharge, resistance at C/20."""
    slow, _, open_v = discharged(1 / 100)
    charge, volts, behind = discharged(1 / 20)
    capacity = slow[-1]
    depth = np.linspace(0, 1, 61) ** 0.7  # closer together toward the end, where it bends
    resistance = np.interp(
        depth, charge / capacity, np.maximum((behind - volts) / (RATED / 20), 1e-3)
    )
    one = np.ones(1)
    falling = np.minimum.accumulate(np.interp(depth, slow / capacity, open_v))
    return Pack(
        depth=depth,
        open_v=falling[:, None],
        resistance=resistance[:, None],
        capacity_c=capacity * 3600 * one,
        self_discharge_a=0 * one,
        leak_a=0 * one,
        least_capacity=one,
        mean_capacity=one,
        shelf_life_s=np.inf * one,
    )


@pytest.mark.parametrize(("rate", "error"), [(1 / 20, 3e-4), (1 / 5, 1e-3)])
def test_a_slow_discharge_takes_as_long(rate: float, error: float) -> None:
    charge = discharged(rate)[0]
    current = RATED * rate
    whole = np.full((1, 1, 1), current)
    found = life(
        pack(),
        Drain(
            constant_a=whole,
            power_w=0 * whole,
            share=np.ones((1, 1, 1)),
            duration_s=0 * whole,
            tasks=(),
            period_s=np.zeros((0, 1)),
            cut_off_v=np.full((1, 1), CUT_OFF),
        ),
    )
    assert ENDS[int(found.ends_by[0, 0])].name in ("sag", "cut-off")
    hours = float(found.life_s[0, 0]) / 3600
    # at C/20 the curve is the cell's own, read at 61 places: 0.02 % short. At C/5 its resistance
    # is another one, for charge must diffuse: 0.07 % short
    assert hours == pytest.approx(charge[-1] / current, rel=error)
