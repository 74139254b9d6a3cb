"""Measured kernels side by side: at the clock they ran at, and at a common one.

At a common clock f* the cycles c = t f are interpolated over the clocks that were measured (held
beyond them, which is marked), so t* = c/f*; the current is a + b f by least squares over two
points or more. From one point no current is inferred: it takes two to tell a static part from a
part that grows with the clock. Uncertainty is to first order (JCGM 100:2008, 5.1).

Supplies that differ a little, by 5 % or by what they are known to, are interpolated as the cycles
are. Each current is brought to the supply at f* as the chip's regulator has it: as measured behind
a linear one, I V/V* behind a switching one. It may follow the supply by one power more or less
than that (of an unregulated core I is proportional to V): I ∝ V^e, e evenly within ±1 of the rule.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from advisor.bench.chunks import Floats
from advisor.dataclass import dataclass
from advisor.quantities import show

SUPPLY_APART = 0.05  # of the greater: supplies that stand for one another; common practice
NEAR = 1e-6  # relative; a clock as near as this is one that was measured


@dataclass(frozen=True, slots=True)
class Run:
    """One unit of work at one setting.

    Attributes
    ----------
    clock_hz : None where the point states none. time_s, current_a, supply_v with their standard
    uncertainties; supply_v is None where unstated. gain_u : relative standard uncertainty of the
    instrument's gain, already apart from current_u_a. instrument : its id, None where unstated.
    switching : whether the chip's own regulator takes a power. clock_u_hz : of clock_hz.
    correlation : of the errors of time and current.
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
    switching: bool = False
    clock_u_hz: float = 0.0
    correlation: float = 0.0

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
        t, i = self.time_u_s / self.time_s, self.current_u_a / self.current_a
        # what of the current's error goes with the time's, and what does not (JCGM 100:2008, 5.2.2)
        parts = [t + self.correlation * i, math.sqrt(1 - self.correlation**2) * i]
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
    time_u_s: float | None
    """[s] its standard uncertainty"""
    current_a: float | None
    """[A] mean current there"""
    current_u_a: float | None
    """[A] its standard uncertainty"""
    supply_v: float | None
    """[V] supply there, between those at the clocks that were measured"""
    energy_j: float | None
    """[J] of one unit there"""
    energy_u_j: float | None
    """[J] its standard uncertainty, with what differing supplies may do to the current"""
    extrapolated: bool
    """whether the clock lies outside those that were measured"""
    why: str
    """where nothing may be said, why"""


def _nothing(clock_hz: float, why: str) -> AtClock:
    return AtClock(
        clock_hz=clock_hz,
        time_s=None,
        time_u_s=None,
        current_a=None,
        current_u_a=None,
        supply_v=None,
        energy_j=None,
        energy_u_j=None,
        extrapolated=False,
        why=why,
    )


def at_clock(runs: Sequence[Run], clock_hz: float) -> AtClock:
    """One part's kernel at a common clock, from its runs at its own."""
    known = sorted((r for r in runs if r.clock_hz is not None), key=lambda r: r.clock_hz or 0.0)
    if not known:
        return _nothing(clock_hz, "no operating point states its clock")
    clocks = np.array([r.clock_hz for r in known], dtype=float)
    if len(np.unique(clocks)) < len(clocks):
        return _nothing(clock_hz, "two runs at one clock")
    extrapolated = not _spans(clocks.tolist(), clock_hz)
    why = []
    if extrapolated:
        why.append(
            f"beyond what was measured, {clocks[0] / 1e6:.4g} to {clocks[-1] / 1e6:.4g} MHz"
            if len(known) > 1
            else f"measured at {clocks[0] / 1e6:.4g} MHz alone: its cycles are taken to hold"
        )
    told = _Told.of(known)
    there = told.at(clock_hz)
    spread = _uncertainty(told, known, clock_hz)
    current: float | None = there.current
    if len(known) == 1 and extrapolated:
        current = None
        why.append("no current from one point")
    elif there.current <= 0:
        current = None
        why.append("the currents' line falls below zero there")
    mixed = _mixed(known)
    energy = None
    if current is not None and not mixed:
        energy = there.energy
    elif current is not None:
        why.append(mixed)
    return AtClock(
        clock_hz=clock_hz,
        time_s=there.time,
        time_u_s=spread.time,
        current_a=current,
        current_u_a=None if current is None else spread.current,
        supply_v=None if energy is None else there.supply,
        energy_j=energy,
        energy_u_j=None if energy is None else spread.energy,
        extrapolated=extrapolated,
        why="; ".join(why),
    )


def spanning(clocks: Sequence[tuple[float, ...]], clock_hz: float) -> int:
    """How many parts a clock lies between the measured ones of; `clocks` of each part, Hz."""
    return sum(_spans(each, clock_hz) for each in clocks)


def _spans(clocks: Sequence[float], clock_hz: float) -> bool:
    """Whether a clock lies between measured ones."""
    if not clocks:
        return False
    return min(clocks) * (1 - NEAR) <= clock_hz <= max(clocks) * (1 + NEAR)


def common_clock(clocks: Sequence[tuple[float, ...]]) -> float | None:
    """The measured clock, Hz, that lies between the measured ones of the most parts.

    Where several do as well, the one at which most parts were measured, then the greatest. None
    where none lies between those of two parts.

    Parameters
    ----------
    clocks : for each part those that it was measured at, Hz.
    """

    def fits(clock: float) -> tuple[int, int, float]:
        there = sum(any(abs(one - clock) <= NEAR * clock for one in each) for each in clocks)
        return spanning(clocks, clock), there, clock

    best = max((fits(clock) for each in clocks for clock in each), default=(0, 0, 0.0))
    return best[2] if best[0] > 1 else None


def _mixed(known: Sequence[Run]) -> str:
    """Why runs' supplies do not let them stand for one another; empty where they do."""
    bare = [f"{(r.clock_hz or 0.0) / 1e6:.4g} MHz" for r in known if r.supply_v is None]
    if bare:
        return f"no supply voltage stated at {', '.join(bare)}"
    least, most = (pick(known, key=lambda r: r.supply_v or 0.0) for pick in (min, max))
    one, other = least.supply_v or 0.0, most.supply_v or 0.0
    known_to = 2 * math.hypot(least.supply_u_v, most.supply_u_v)
    if other - one <= max(SUPPLY_APART * other, known_to):
        return ""
    return (
        f"supplies of {show(one, 'voltage')} to {show(other, 'voltage')}, more than "
        f"{100 * SUPPLY_APART:g} % apart"
    )


@dataclass(frozen=True, slots=True)
class _There:
    """What stands at a common clock, SI; of uncertainties too."""

    time: float
    current: float
    supply: float
    energy: float


@dataclass(frozen=True, slots=True)
class _Told:
    """(K,) runs by ascending clock: Hz, s, A, V; nan where no supply is stated."""

    clocks: Floats
    times: Floats
    currents: Floats
    supplies: Floats
    switching: bool

    @classmethod
    def of(cls, known: Sequence[Run]) -> _Told:
        return cls(
            clocks=np.array([r.clock_hz for r in known], dtype=float),
            times=np.array([r.time_s for r in known]),
            currents=np.array([r.current_a for r in known]),
            supplies=np.array([math.nan if r.supply_v is None else r.supply_v for r in known]),
            switching=any(r.switching for r in known),
        )

    def weights(self, clock_hz: float) -> Floats:
        """(K,) what each current counts for in the straight line at a clock."""
        x = self.clocks - self.clocks.mean()
        square = float((x * x).sum())
        level = np.full(len(x), 1 / len(x))
        return level if not square else level + (clock_hz - self.clocks.mean()) * x / square

    def supply(self, clock_hz: float) -> float:
        return float(np.interp(clock_hz, self.clocks, self.supplies))

    def at_one_supply(self, supply: float) -> Floats:
        """(K,) the currents at one supply, as the chip's regulator has it."""
        if not self.switching or not np.isfinite(self.supplies).all():
            return self.currents
        return np.asarray(self.currents * (self.supplies / supply))

    def at(self, clock_hz: float) -> _There:
        """The work at a clock."""
        time = float(np.interp(clock_hz, self.clocks, self.times * self.clocks)) / clock_hz
        supply = self.supply(clock_hz)
        currents = self.at_one_supply(supply)
        current = float(currents[0])
        if len(currents) > 1:
            slope, base = np.polyfit(self.clocks, currents, 1)
            current = float(base + slope * clock_hz)
        return _There(time, current, supply, supply * current * time)


def _uncertainty(told: _Told, known: Sequence[Run], clock_hz: float) -> _There:
    """Standard uncertainties at a common clock, in the terms of what was measured.

    Each of the runs' figures is moved by its own to both sides (JCGM 100:2008, 5.1.3 note 2), a
    current with the time that it goes with, all currents of one meter by its gain. The currents'
    line has the scatter about it where that is more than what they are known to (H.3).
    """
    lines: list[tuple[_Told, _Told]] = []

    def line(**steps: Floats) -> None:
        up, down = (
            {name: getattr(told, name) + sign * step for name, step in steps.items()}
            for sign in (1, -1)
        )
        lines.append((replace(told, **up), replace(told, **down)))

    k = np.eye(len(known))
    for one, run in zip(k, known, strict=True):
        r = run.correlation
        line(times=run.time_u_s * one, currents=r * run.current_u_a * one)
        line(currents=math.sqrt(1 - r * r) * run.current_u_a * one)
        line(supplies=run.supply_u_v * one)
        line(clocks=run.clock_u_hz * one)
    meters: dict[str, Floats] = {}
    for n, run in enumerate(known):
        # a meter without an id shares its gain with no other
        own = run.instrument or f"#{n}"
        meters[own] = meters.get(own, np.zeros(len(known))) + run.gain_u * k[n]
    for gains in meters.values():
        line(currents=told.currents * gains)
    halves = [
        [(getattr(up, f) - getattr(down, f)) / 2 for f in ("time", "current", "energy")]
        for up, down in ((a.at(clock_hz), b.at(clock_hz)) for a, b in lines)
    ]
    there, weights = told.at(clock_hz), told.weights(clock_hz)
    currents = told.at_one_supply(there.supply)
    of_energy = there.energy / there.current if there.current else 0.0
    # a current may follow the supply by one power more or less than its regulator's rule
    follows = float((weights * currents * (told.supplies / there.supply - 1)).sum()) / math.sqrt(3)
    if math.isfinite(follows):
        halves.append([0.0, follows, of_energy * follows])
    if len(known) > 2:
        fitted = np.polyval(np.polyfit(told.clocks, currents, 1), told.clocks)
        scatter = math.sqrt(float(((currents - fitted) ** 2).sum()) / (len(known) - 2))
        stated = math.hypot(*(w * r.current_u_a for w, r in zip(weights, known, strict=True)))
        more = (scatter * float(np.linalg.norm(weights))) ** 2 - stated**2
        if more > 0:
            halves.append([0.0, math.sqrt(more), of_energy * math.sqrt(more)])
    time, current, energy = (math.hypot(*(line[n] for line in halves)) for n in range(3))
    return _There(time, current, math.nan, energy)
