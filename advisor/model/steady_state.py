"""Events one right behind the other, on a reservoir, that repeat for ever: the steady state.

Each task's earlier events leave a fall that decays while the pack rests, a geometric series over
its period. One equation in one unknown, the voltage at which the coming events start, closes it.

P states follow each other in E cases; arrays are (P, E). SI units.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.drain import Array
from advisor.model.relaxation import Circuit, Stepper
from advisor.model.supply import loaded_voltage

TRIFLE = 1e-5  # V, of a start that is not looked at again
SETTLED = 1e-8  # V, by which the start of the events may still move
MOST = 60  # steps of the search


@dataclass(frozen=True, slots=True)
class Run:
    """Events one behind the other: (P, E) states of E cases, and how each repeats.

    amps, watts, seconds : (P, E). periods : (P, E) s, of the task that a state belongs to;
    meetings : (P, E) s, of that task right behind another one. late : (P, E) factor of what its
    earlier events leave, for having waited. opens : (P, E) whether a state is the first of its
    event. powered : per place, whether any case draws a constant power. rest : (E,) V at which
    the capacitor rests. sleep : (A, W) of the rest, each (E,), where that draws a power.
    """

    circuit: Circuit
    amps: Array
    watts: Array
    seconds: Array
    periods: Array
    meetings: Array
    late: Array
    opens: NDArray[np.bool_]
    powered: list[bool]
    rest: Array
    sleep: tuple[Array, Array] | None

    def periodic(self, least: Array, floor: Array) -> tuple[Array, NDArray[np.bool_]]:
        """Lowest voltage in the periodic steady state, (E,), NaN where it collapses.

        With it whether the last event leaves the capacitor below where that event found it.

        The start x of the events is where x = F(x), F(x) the voltage that events started at x
        leave. F rises with x and is concave, so secants from the rest voltage come down to the
        highest such x and never pass it; where they turn up there is none. `least` bounds x; a
        case found below `floor` is left there.
        """
        start = self.rest
        low, after, deeper = self._passed(start, least)
        low = np.where(np.isnan(after), np.nan, low)
        off = start - after
        moving = np.nonzero((np.abs(off) > TRIFLE) & (low >= floor))[0]
        # a start that moves by microvolts lowers what follows by no more
        low = low - np.clip(off, 0.0, TRIFLE)
        if not moving.size:
            return low, deeper
        run, least, x0, x1 = self.taken(moving), least[moving], start[moving], after[moving]
        apart = any(self.powered) and bool((self.opens.sum(axis=0) > 1).any())
        if apart:
            _, x1, _ = run._passed(x0, least, apart)
        g0 = x0 - x1
        for _ in range(MOST):
            here, after, deeper[moving] = run._passed(x1, least, apart)
            g1 = x1 - after
            slope = (g0 - g1) / (x0 - x1)
            open_ones = g1 > SETTLED
            low[moving] = np.where(np.isnan(after) | (open_ones & (slope <= 0)), np.nan, here)
            open_ones &= (slope > 0) & (here >= floor[moving])
            going = np.nonzero(open_ones & (g1 / slope > SETTLED))[0]
            if not going.size:
                return low, deeper
            x0, g0 = x1[going], g1[going]
            down = x0 - g0 / slope[going]
            x1 = np.where(down < least[going], least[going], down)
            moving, least, run = moving[going], least[going], run.taken(going)
        low[moving] = np.nan
        return low, deeper

    def taken(self, index: NDArray[np.intp]) -> Run:
        """Some of the cases, by their indices (n,)."""
        return Run(
            circuit=self.circuit.taken(index),
            amps=self.amps[:, index],
            watts=self.watts[:, index],
            seconds=self.seconds[:, index],
            periods=self.periods[:, index],
            meetings=self.meetings[:, index],
            late=self.late[:, index],
            opens=self.opens[:, index],
            powered=self.powered,
            rest=self.rest[index],
            sleep=None if self.sleep is None else (self.sleep[0][index], self.sleep[1][index]),
        )

    def _passed(
        self, start: Array, least: Array, apart: bool = False
    ) -> tuple[Array, Array, NDArray[np.bool_]]:
        """A pass through the events from `start`.

        apart : whether earlier events are taken to have come one by one, each from `start`, and
        one behind the other no oftener than their tasks can meet. It makes no difference to
        constant currents.

        Returns
        -------
        Lowest terminal voltage, voltage at which the next such events start, and whether the last
        event ends below where it started.
        """
        rate = self._recovery(start)
        gone, fall = np.zeros_like(start), np.zeros_like(start)
        held = alone = found = start
        low = np.full(start.shape, np.inf)
        stepper = Stepper(self.circuit)

        def pulled(before: Array, after: Array) -> Array:
            # what a state pulled down, less what rest would have recovered meanwhile
            return np.asarray(self.rest + (before - self.rest) * recovered - after)

        def series(period: Array) -> Array:
            ago = np.exp(rate * np.minimum(gone - period, 0.0))
            return np.asarray(ago / -np.expm1(-rate * period))

        for p, powered in enumerate(self.powered):
            found = np.where(self.opens[p], held, found)
            load = self.amps[p], self.watts[p] if powered else None, self.seconds[p]
            first, last, after = stepper.step(held, *load)
            low = np.minimum(low, np.minimum(first, last))
            recovered = np.exp(-rate * self.seconds[p])
            gone = gone + self.seconds[p]
            down = pulled(held, after)
            if apart:
                alone = np.where(self.opens[p], start, alone)
                _, _, then = stepper.step(alone, *load)
                once = pulled(alone, then)
                fall = fall + (down - once) * series(self.meetings[p])
                alone, down = then, once
            fall = fall + down * series(self.periods[p]) * self.late[p]
            held = after
        after = self.rest - fall
        return low, np.where(after < least, least, after), held < found

    def _recovery(self, start: Array) -> Array:
        """Rate at which the capacitor recovers at rest, 1/s: 1/tau, or less under a power.

        Under a constant power the rate is that at `start`, the lowest one on the way back.
        """
        circuit = self.circuit
        if self.sleep is None:
            return np.asarray(1 / circuit.tau)
        amps, watts = self.sleep
        kappa = circuit.kappa
        product = circuit.ohms * watts
        v = loaded_voltage(
            kappa * circuit.volts + (1 - kappa) * start, circuit.ohms * kappa, amps, watts
        )
        upper = loaded_voltage(circuit.volts, circuit.ohms, amps, watts)
        rate = (v - product / upper) / (v - kappa * product / v)
        # below the lower root it never recovers
        return np.asarray(np.where(rate > 0, rate, np.nan) / circuit.tau)
