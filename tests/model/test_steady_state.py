"""How fast a reservoir recovers between events, against the circuit's own equation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from advisor.model.relaxation import Circuit
from advisor.model.steady_state import Run
from tests.model.test_relaxation import VOLTS, terminals


def at_rest(ohms: float, esr: float, farad: float, amps: float, watts: float) -> Run:
    """No events, a pack that rests under a constant current and power."""
    one = np.ones(1)
    cell = Circuit.of(VOLTS * one, ohms * one, farad * one, esr * one)
    none = np.empty((0, 1))
    return Run(
        circuit=cell,
        amps=none,
        watts=none,
        seconds=none,
        periods=none,
        meetings=none,
        late=none,
        opens=none.astype(bool),
        powered=[],
        rest=VOLTS * one,
        sleep=None if watts == 0 else (amps * one, watts * one),
    )


@pytest.mark.parametrize("watts", [0.0, 5e-3, 40e-3])
def test_a_small_fall_is_recovered_at_the_rate_of_the_circuit(watts: float) -> None:
    """A millivolt below where it rests; a load of constant power makes it slower than 1/tau."""
    ohms, esr, farad, amps = 10.0, 2.0, 0.05, 1e-3
    run = at_rest(ohms, esr, farad, amps, watts)
    rest = (VOLTS - ohms * amps) / 2 + np.sqrt((VOLTS - ohms * amps) ** 2 / 4 - ohms * watts)

    def slope(_: float, y: np.ndarray) -> list[float]:
        return [(terminals(float(y[0]), ohms, esr, amps, watts) - y[0]) / (esr * farad)]

    found = solve_ivp(slope, (0, 0.3), [rest - 1e-3], rtol=1e-10, atol=1e-13)
    rate = -np.log((rest - found.y[0, -1]) / 1e-3) / 0.3
    # the rate is that at the start: a thousandth of a volt in three changes it by as much
    assert run._recovery(np.array([rest - 1e-3]))[0] == pytest.approx(rate, rel=1e-3)
    assert (rate < 1 / ((ohms + esr) * farad) - 1e-6) == (watts > 0)
