"""A product's rails beside the main one, and what is switched off between its uses, as arrays.

Axes: S states of an event, N draws. SI units.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.schema_product import Load
from advisor.catalogue.schema_rails import Rail
from advisor.dataclass import dataclass
from advisor.figures import Path
from advisor.model.draws import Array
from advisor.quantities import Quantity

FEW = 1000  # values that are sooner converted than compared

Take = Callable[[Path, Quantity | None], Array]


@dataclass(frozen=True, slots=True)
class Demand:
    """What a load draws: a constant current (N,) A or a constant power (N,) W, the other zero."""

    current: Array
    power: Array

    def at(self, volts: Array | float) -> Array:
        """Its current, (N,) A, at a voltage that broadcasts to (N,)."""
        return np.asarray(self.current + self.power / volts)


@dataclass(frozen=True, slots=True)
class Gate:
    """What is filled when something is switched on: capacitance (N,) F, and the time constant
    (N,) s with which it empties meanwhile, None where it is empty again each time."""

    capacitance: Array
    decay: Array | None

    def filled(self, rest: Array) -> Array:
        """What a filling after a rest (..., N) s takes of a full one's C V: (..., N) F.

        The voltage has fallen to V exp(-t/decay), so the charge is C V (1 - exp(-t/decay)); of the
        energy C V^2 (1 - exp(-t/decay)) that the source gives half is stored at the most.
        """
        if self.decay is None:
            return np.broadcast_to(self.capacitance, np.shape(rest)).copy()
        return np.asarray(self.capacitance * -np.expm1(-rest / self.decay))


@dataclass(frozen=True, slots=True)
class RailFigures:
    """A further rail: voltage (N,) V, None where every converter to choose from is `none`.

    `standing` is what draws there all the time; `idle` what would in between were it not gated.
    least_v : (N,) V, the greatest of what its loads need at the least.
    """

    name: str
    voltage: Array | None
    gated: bool
    gate: Gate | None
    standing: Mapping[str, Demand]
    idle: Mapping[str, Demand]
    least_v: Array

    @property
    def standing_a(self) -> Array:
        """Sum of the standing loads that are told as currents, (N,) A."""
        return sum((s.current for s in self.standing.values()), np.zeros_like(self.least_v))

    @property
    def standing_w(self) -> Array:
        """Sum of the standing loads that are told as powers, (N,) W."""
        return sum((s.power for s in self.standing.values()), np.zeros_like(self.least_v))


@dataclass(frozen=True, slots=True)
class RailStates:
    """What a further rail carries in each state of an event or of builds.

    Attributes
    ----------
    load_a, load_w : (S, N) A, W, its standing loads in them. fill_s : (S, N) F/s, the capacitance
    filled in a state over its length: times the voltage a current; (R, S, N) where builds differ.
    starts : (S, N) 1/s, starts of its converter, over the state's length. on : (S, 1) whether it is
    on.
    """

    load_a: Array
    load_w: Array
    fill_s: Array
    starts: Array
    on: NDArray[np.bool_]

    def apart(self) -> tuple[RailStates, NDArray[np.intp]]:
        """The states that are unlike the last one, and it; which of these each one is, (S,)
        indices. Where there is little to save, all of them."""
        if self.load_a.size < FEW:
            return self, np.arange(len(self.load_a))
        every = self.load_a, self.load_w, self.fill_s, self.starts
        apart = [(x != x[..., -1:, :]).any(axis=-1) for x in every]
        unlike = np.logical_or.reduce([x.reshape(-1, x.shape[-1]).any(axis=0) for x in apart])
        unlike[-1] = True
        place = np.where(unlike, np.cumsum(unlike), np.count_nonzero(unlike)) - 1
        return self.of(np.flatnonzero(unlike)), place

    def of_rows(self, rows: slice | int) -> RailStates:
        """Those of some builds, or of one."""
        return self if self.fill_s.ndim == 2 else replace(self, fill_s=self.fill_s[rows])

    def of(self, states: NDArray[np.intp] | slice) -> RailStates:
        """Some of the states, by their indices (M,)."""
        return RailStates(
            load_a=self.load_a[states],
            load_w=self.load_w[states],
            fill_s=self.fill_s[..., states, :],
            starts=self.starts[states],
            on=self.on[states],
        )


def gate_of(path: Path, record: Load | Rail, take: Take) -> Gate | None:
    """What is filled when a load or a rail is switched on; None where it does not tell."""
    if record.capacitance is None:
        return None
    return Gate(
        capacitance=take(path / "capacitance", record.capacitance),
        decay=None if record.decay is None else take(path / "decay", record.decay),
    )


def at_rest(rail: RailFigures) -> RailStates:
    """What a rail carries between events: one state."""
    zero = np.zeros((1, len(rail.least_v)))
    return RailStates(
        load_a=zero + rail.standing_a,
        load_w=zero + rail.standing_w,
        fill_s=zero,
        starts=zero,
        on=np.array([[not rail.gated]]),
    )
