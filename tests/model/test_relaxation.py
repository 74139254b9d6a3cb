"""A state of constant current and power on a pack with a reservoir, against SciPy's ODE solver.

Kirchhoff at the terminals, (V - v)/R + (c - v)/r = A + P/v, and C dc/dt = (v - c)/r; the higher of
the two voltages is the one that a circuit comes down to, and where there is none it has collapsed.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from advisor.model.relaxation import Circuit, Stepper

VOLTS = 3.0


def terminals(c: float, ohms: float, esr: float, amps: float, watts: float) -> float:
    """The voltage at the terminals; NaN where there is none."""
    g = 1 / ohms + 1 / esr
    b = VOLTS / ohms + c / esr - amps
    square = b * b - 4 * g * watts
    return float((b + np.sqrt(square)) / (2 * g)) if square >= 0 and b > 0 else np.nan


def simulated(
    c: float, ohms: float, esr: float, farad: float, amps: float, watts: float, seconds: float
) -> tuple[float, float, float]:
    """(first, last, the capacitor's last), V; NaN for the last two where it collapses."""
    first = terminals(c, ohms, esr, amps, watts)

    def slope(_: float, y: np.ndarray) -> list[float]:
        return [(terminals(float(y[0]), ohms, esr, amps, watts) - y[0]) / (esr * farad)]

    g = 1 / ohms + 1 / esr

    def lack(_: float, y: np.ndarray) -> float:
        return float(VOLTS / ohms + y[0] / esr - amps - 2 * np.sqrt(g * watts)) - 1e-6

    lack.terminal = True  # type: ignore[attr-defined]
    found = solve_ivp(slope, (0, seconds), [c], events=lack, rtol=1e-9, atol=1e-12)
    if found.status != 0:
        return first, np.nan, np.nan
    after = float(found.y[0, -1])
    return first, terminals(after, ohms, esr, amps, watts), after


@pytest.mark.parametrize("seed", range(3))
def test_a_state_is_what_the_circuit_s_equations_give(seed: int) -> None:
    """Loads that the pack bears, those that only the reservoir does, and some that collapse."""
    draw = np.random.default_rng(seed)
    n = 40
    ohms, esr = draw.uniform(5, 40, n), draw.uniform(0.5, 10, n)
    farad = 10 ** draw.uniform(-4, -2, n)
    held = draw.uniform(2.2, 3.0, n)
    amps = draw.uniform(0, 0.04, n)
    # most power that the pack bears at rest: (V - R A)^2 / 4R
    most = (VOLTS - ohms * amps) ** 2 / (4 * ohms)
    watts = np.where(draw.uniform(size=n) < 0.2, 0.0, most * draw.uniform(0.2, 1.6, n))
    seconds = (ohms + esr) * farad * draw.uniform(0.05, 1.5, n)
    circuit = Circuit.of(np.full(n, VOLTS), ohms, farad, esr)
    with np.errstate(all="ignore"):
        first, last, after = Stepper(circuit).step(held, amps, watts, seconds)
        alone = Stepper(circuit).step(held, amps, None, seconds)
    collapsed = 0
    for k in range(n):
        figures = (held[k], ohms[k], esr[k], farad[k], amps[k])
        exact = simulated(*figures, watts[k], seconds[k])
        if np.isnan(exact[0]):
            continue
        assert first[k] == pytest.approx(exact[0], rel=1e-9)
        collapsed += np.isnan(exact[1])
        # the solver's own tolerance, along a curve that may be steep
        assert last[k] == pytest.approx(exact[1], abs=1e-5, nan_ok=True)
        assert after[k] == pytest.approx(exact[2], abs=1e-5, nan_ok=True)
        plain = simulated(*figures, 0.0, seconds[k])
        assert [x[k] for x in alone] == pytest.approx(list(plain), abs=1e-7)
    assert 0 < collapsed < n / 2


def test_a_constant_current_is_the_same_beside_powers_as_alone() -> None:
    """Also one that the pack could not bear for long, and that only the reservoir feeds."""
    n = 30
    draw = np.random.default_rng(9)
    ohms, esr = draw.uniform(5, 40, n), draw.uniform(0.5, 2, n)
    circuit = Circuit.of(np.full(n, VOLTS), ohms, np.full(n, 1e-2), esr)
    held, amps = draw.uniform(2.5, 3.0, n), VOLTS / ohms * draw.uniform(0.1, 2.0, n)
    watts, seconds = np.where(np.arange(n) % 3 == 0, 0.05, 0.0), 0.1 * circuit.tau
    with np.errstate(all="ignore"):
        mixed = Stepper(circuit).step(held, amps, watts, seconds)
        alone = Stepper(circuit).step(held, amps, None, seconds)
    for one, other in zip(mixed, alone, strict=True):
        np.testing.assert_allclose(one[watts == 0], other[watts == 0], rtol=1e-9)
