"""From the rail to the pack: what a converter makes of a load, and the voltage under load.

Every state is described at the pack by a constant current A and a constant power P, so that
i = A + P/V' with V' the voltage at the pack's terminals.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.pieces import between, piece_and_share

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LightMode:
    """What a switching converter draws below a load current, (N,) each: below A, no-load A,
    efficiency of what passes through, and the input voltage V at which it is held against what the
    table says at `below`."""

    below: Array
    no_load: Array
    efficiency: Array
    at_v: Array


def through_linear(current_a: Array, quiescent_a: Array) -> tuple[Array, Array]:
    """A linear converter passes the load current and adds its own.

    Parameters
    ----------
    current_a : (..., N) A at the rail; quiescent_a : (N,) A.

    Returns
    -------
    Constant current (..., N) A and constant power (..., N) W, the latter zero.
    """
    constant = current_a + quiescent_a
    return np.asarray(constant), np.zeros_like(constant)


def through_switching(
    current_a: Array,
    rail_v: Array,
    quiescent_a: Array,
    loads_a: Array,
    efficiency: Array,
    light: LightMode | None = None,
) -> tuple[Array, Array]:
    """A switching converter passes power: i = V_rail I/(eta(I) V) for I >= I1.

    eta is the total efficiency, own draw included, linear in ln I and flat above the table. Below
    the table's least load I1 the input current runs straight to the no-load current:
    i = I_q + (i(I1) - I_q) I/I1.

    A light-load mode takes the place of both below its own current: i = I_0 + V_rail I/(eta_0 V),
    as pulses of a constant charge draw. It never makes more load the cheaper: where the mode would
    draw more than the table says at the mode's end, that is drawn, since a converter gives the
    lesser load at the greater one's input. Which of the two is told at the pack's nominal voltage.

    Parameters
    ----------
    current_a : (..., N) A at the rail; rail_v, quiescent_a : (N,); loads_a : (E,) A ascending,
    above zero; efficiency : (E, N), above zero.

    Returns
    -------
    Constant current (..., N) A and constant power (..., N) W at the input.
    """
    least = loads_a[0]
    floor = np.maximum(current_a, least)
    if len(loads_a) == 1:
        eta = np.broadcast_to(efficiency[0], floor.shape)
    elif efficiency.shape[1] == 1:
        eta = np.interp(np.log(floor), np.log(loads_a), efficiency[:, 0])
    else:
        x, at = np.log(loads_a), np.log(floor)
        i, share = piece_and_share(x, at)
        share = np.minimum(np.maximum(share, 0.0), 1.0)
        eta = between(efficiency, i, share, np.arange(floor.shape[-1]))
    below = np.minimum(current_a / least, 1.0)
    constant = quiescent_a * (1 - below)
    # below the table current_a/eta(I1) is i(I1) I/I1; above it this is the whole input power
    power = rail_v * current_a / eta
    if light is not None:
        end = through_switching(light.below, rail_v, quiescent_a, loads_a, efficiency)
        mode = light.no_load, rail_v * current_a / light.efficiency
        more = mode[0] + mode[1] / light.at_v > end[0] + end[1] / light.at_v
        here = current_a < light.below
        constant = np.where(here, np.where(more, end[0], mode[0]), constant)
        power = np.where(here, np.where(more, end[1], mode[1]), power)
    return np.asarray(constant), np.asarray(power)


def loaded_voltage(open_v: Array, resistance: Array, constant_a: Array, power_w: Array) -> Array:
    """Voltage at the terminals behind a resistance: V' = V - R (A + P/V').

    The upper root, (U + sqrt(U^2 - 4 R P))/2 with U = V - R A, is the stable one: below it more
    current brings less power. NaN where no real root exists, since the source cannot give P.

    Parameters
    ----------
    open_v V, resistance ohm, constant_a A, power_w W: arrays that broadcast.
    """
    u = open_v - resistance * constant_a
    square = u * u - 4 * resistance * power_w
    with np.errstate(invalid="ignore"):
        root = (u + np.sqrt(square)) / 2
    # with no power asked for the equation is linear and its root may be below zero
    return np.asarray(np.where(u > 0, root, np.where(power_w == 0, u, np.nan)))
