"""Measured kernels side by side: at the clock they ran at, and at a common one.

At a common clock f* the cycles c = t f are interpolated over the clocks that were measured (held
beyond them, which is marked), so t* = c/f*; the current is a + b f by least squares over two
points or more. From one point no current is inferred: it takes two to tell a static part from a
part that grows with the clock. Uncertainty is to first order (JCGM 100:2008, 5.1).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

NEAR = 1e-6  # relative; a clock as near as this is one that was measured


@dataclass(frozen=True, slots=True)
class Run:
    """One unit of work at one setting.

    Attributes
    ----------
    clock_hz : None where the point states none. time_s, current_a, supply_v with their standard
    uncertainties; supply_v is None where unstated. gain_u : relative standard uncertainty of the
    instrument's gain, already apart from current_u_a. instrument : its id, None where unstated.
    """

    clock_hz: float | None
    time_s: float
    time_u_s: float
    current_a: float
    current_u_a: float
    supply_v: float | None
    supply_u_v: float
    gain_u: float
    instrument: str | None

    @property
    def charge_c(self) -> float:
        """Charge of the unit of work, I t."""
        return self.current_a * self.time_s

    @property
    def energy_j(self) -> float | None:
        """Energy of the unit of work, V I t; None without a supply voltage."""
        return None if self.supply_v is None else self.supply_v * self.charge_c

    @property
    def cycles(self) -> float | None:
        """Cycles of the unit of work, t f; None without a clock."""
        return None if self.clock_hz is None else self.time_s * self.clock_hz

    def relative_u(self, gain: bool = True) -> float:
        """Relative standard uncertainty of the energy, with or without the instrument's gain."""
        parts = [self.time_u_s / self.time_s, self.current_u_a / self.current_a]
        if self.supply_v is not None:
            parts.append(self.supply_u_v / self.supply_v)
        if gain:
            parts.append(self.gain_u)
        return math.hypot(*parts)


def apart(a: Run, b: Run, coverage: float = 2.0) -> bool:
    """Whether two runs' energies differ by more than `coverage` standard uncertainties.

    A gain error that both share through one instrument cancels between them.
    """
    if a.energy_j is None or b.energy_j is None:
        return False
    shared = a.instrument is not None and a.instrument == b.instrument
    spread = math.hypot(
        a.energy_j * a.relative_u(not shared), b.energy_j * b.relative_u(not shared)
    )
    return abs(a.energy_j - b.energy_j) > coverage * spread


@dataclass(frozen=True, slots=True)
class AtClock:
    """A kernel at a common clock; None where nothing may be said, and `why` in words."""

    clock_hz: float
    """[Hz] the common clock"""
    time_s: float | None
    """[s] of one unit of work there"""
    current_a: float | None
    """[A] mean current there"""
    energy_j: float | None
    """[J] of one unit there"""
    extrapolated: bool
    """whether the clock lies outside those that were measured"""
    why: str
    """where nothing may be said, why"""


def at_clock(runs: Sequence[Run], clock_hz: float) -> AtClock:
    """One part's kernel at a common clock, from its runs at its own."""
    known = sorted((r for r in runs if r.clock_hz is not None), key=lambda r: r.clock_hz or 0.0)
    if not known:
        return AtClock(
            clock_hz=clock_hz,
            time_s=None,
            current_a=None,
            energy_j=None,
            extrapolated=False,
            why="no operating point states its clock",
        )
    clocks = np.array([r.clock_hz for r in known], dtype=float)
    if len(np.unique(clocks)) < len(clocks):
        return AtClock(
            clock_hz=clock_hz,
            time_s=None,
            current_a=None,
            energy_j=None,
            extrapolated=False,
            why="two runs at one clock",
        )
    cycles = np.array([r.cycles for r in known], dtype=float)
    time_s = float(np.interp(clock_hz, clocks, cycles)) / clock_hz
    low, high = clocks[0] * (1 - NEAR), clocks[-1] * (1 + NEAR)
    extrapolated = not low <= clock_hz <= high
    why = []
    if extrapolated:
        why.append(
            f"beyond what was measured, {clocks[0] / 1e6:.4g} to {clocks[-1] / 1e6:.4g} MHz"
            if len(known) > 1
            else f"measured at {clocks[0] / 1e6:.4g} MHz alone: its cycles are taken to hold"
        )
    current = None
    if len(known) > 1:
        slope, base = np.polyfit(clocks, [r.current_a for r in known], 1)
        current = float(base + slope * clock_hz)
        if current <= 0:
            current = None
            why.append("the currents' line falls below zero there")
    elif extrapolated:
        why.append("no current from one point")
    else:
        current = known[0].current_a
    supplies = {r.supply_v for r in known}
    energy = None
    if current is not None and len(supplies) == 1 and None not in supplies:
        energy = (supplies.pop() or 0.0) * current * time_s
    elif current is not None:
        why.append("no one supply voltage")
    return AtClock(
        clock_hz=clock_hz,
        time_s=time_s,
        current_a=current,
        energy_j=energy,
        extrapolated=extrapolated,
        why="; ".join(why),
    )
