"""The voltage of a pack under load: its lowest over the states, and where it first falls short.

    V' = V - R i,    i = A + P/V' + G V'

in every state, R the resistance at the depth of discharge in the coldest place, G what is filled
straight from the pack. With a reservoir across the pack see `reservoir`; there what is filled is a
constant current, as at the nominal voltage.

Axes: R rows (builds on one pack), S states, N draws, G depths. SI units.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from advisor.model.crossing import CLOSE, first_negative, first_short
from advisor.model.drain import Array, Drain, Pack, at_depth, volts_and_ohms
from advisor.model.relaxation import Circuit
from advisor.model.reservoir import holds, lowest
from advisor.model.rounds import Train
from advisor.model.supply import loaded_voltage

ROUNDING = 1e-9  # of a voltage


class Lows:
    """The lowest loaded voltage over the states, against the cut-off, case by case.

    A case is a row and a draw; arrays of cases are (m,), and states come first: (S, m).
    """

    def __init__(self, pack: Pack, drain: Drain, outdone: NDArray[np.bool_] | None = None) -> None:
        # `outdone`: (R, N) cases that are not asked for, as those of another time are as low
        self.pack, self.drain, self.outdone = pack, drain, outdone
        # what falls short does so at the cut-off: what is filled is a constant current there
        self.at_cut = drain
        if drain.filling is not None and pack.reservoir is None:
            self.at_cut = replace(drain, constant_a=drain.constant_at(drain.cut_off_v))
        self.shape = drain.cut_off_v.shape
        self.powered: list[bool] = np.asarray(drain.power_w.any(axis=(0, 2))).tolist()
        # the open voltage never rises with depth; where the resistance never falls, every loaded
        # voltage falls
        self.falling = bool((np.diff(pack.resistance, axis=0) >= 0).all())

    def first_below(self, upto: Array, start: Array | None = None) -> Array:
        """First depth at which a loaded voltage is below the cut-off, (R, N); else infinite.

        Depths are shares of the capacity; `upto` (R, N) is the last one looked at, `start` the
        first, 0 where it is 0 at the first of them.
        """
        out = np.full(self.shape, np.inf)
        if self.pack.ideal and not self.pack.resistance.any():
            return out
        asked = self.suspect(upto)
        if self.outdone is not None:
            asked &= ~self.outdone
        index = np.nonzero(asked.ravel())[0]
        if index.size and self.pack.reservoir is not None:
            cases = _Cases(self.pack, self.at_cut, index, self.powered)
            there = upto.ravel()[index]
            index = index[~cases.held(there, self._greatest(there, cases.draw))]
        if index.size:
            cases = _Cases(self.pack, self.at_cut, index, self.powered, start)
            there, grid = upto.ravel()[index], self.pack.depth
            if self.falling and start is None:
                cut = cases.cut_off
                curves = self.pack.open_v[:, cases.draw] - cut, self.pack.resistance[:, cases.draw]
                out.ravel()[index] = first_short(cases.margin, grid, *curves, there, cases.growth)
            else:
                out.ravel()[index] = first_negative(cases.margin, grid, there, self.falling)
        return out

    def suspect(self, upto: Array, rise: Array | None = None) -> NDArray[np.bool_]:
        """Where a loaded voltage might fall short until a depth, (R, N) shares of the capacity: a
        bound that costs one look at each state. `rise`, (R, N), is by what the resistance grows, if
        it does.

        The open voltage does not rise with depth, so the worst is the voltage at the last depth
        of interest behind the greatest resistance until then; a reservoir only lifts it, since it
        moves between the voltages that the states would settle at.
        """
        drain = self.at_cut
        short = np.zeros(self.shape, dtype=bool)
        rows: slice | NDArray[np.intp] = slice(None)
        if self.outdone is not None:
            asked = ~self.outdone.all(axis=1)
            if not asked.any():
                return short
            rows = rows if asked.all() else np.flatnonzero(asked)
        n = np.arange(self.shape[1])
        volts = at_depth(self.pack.depth, self.pack.open_v, upto[rows], n)
        worst = self._greatest(upto[rows], n)
        if rise is not None:
            worst = worst * np.broadcast_to(rise, self.shape)[rows]
        cut = drain.cut_off_v[rows]
        # of most cases the greatest current and the greatest power of all states tell already
        power = drain.power_w[rows].max(axis=1) if any(self.powered) else None
        needed = needed_voltage(worst, drain.constant_a[rows].max(axis=1), power, cut)
        r, n = np.nonzero(volts < needed * (1 + ROUNDING))
        if r.size:
            row = np.arange(self.shape[0])[rows][r]
            volts, worst, cut = volts[r, n], worst[r, n], cut[r, n]
            some = np.zeros(r.shape, dtype=bool)
            for s, powered in enumerate(self.powered):
                power = drain.power_w[row, s, n] if powered else None
                some |= volts < needed_voltage(worst, drain.constant_a[row, s, n], power, cut)
            short[row, n] = some
        return short

    def _greatest(self, upto: Array, n: NDArray[np.intp]) -> Array:
        """A bound of the resistance at depths up to `upto`, for their draws, ohm."""
        if self.falling:
            return at_depth(self.pack.depth, self.pack.resistance, upto, n)
        return np.broadcast_to(self.pack.resistance.max(axis=0)[n], upto.shape)

    def fresh(self, start: Array | None = None) -> tuple[Array, Array]:
        """(lowest loaded voltage V, greatest current of the cells A) of a fresh pack, (R, N).

        `start` (R, N) is its depth of discharge then, where that is not 0.
        """
        drain, pack = self.drain, self.pack
        low, peak = np.full(self.shape, np.inf), np.zeros(self.shape)
        volts, ohms = pack.open_v[0], pack.resistance[0]
        if start is not None:
            n = np.arange(self.shape[1])
            volts, ohms = volts_and_ohms(pack, start, n)
        if pack.reservoir is not None:
            asked = np.ones(self.shape, dtype=bool) if self.outdone is None else ~self.outdone
            index = np.flatnonzero(asked)
            cases = _Cases(pack, drain, index, self.powered)
            volts, ohms = (np.broadcast_to(x, self.shape)[asked] for x in (volts, ohms))
            low[asked], peak[asked] = cases.on_reservoir(volts, ohms, np.arange(len(index)))
            return low, peak
        for s, powered in enumerate(self.powered):
            constant = drain.constant_a[:, s]
            if drain.filling is not None:
                siemens, told_v = drain.filling[0][:, s], drain.filling[1]
                # V'(1 + R G) = V - R (A + P/V')
                constant, eased = constant - siemens * told_v, 1 + ohms * siemens
                power = drain.power_w[:, s]
                loaded = loaded_voltage(volts / eased, ohms / eased, constant, power)
                low = np.minimum(low, loaded)
                amps = np.where(power == 0, constant, constant + power / loaded)
                peak = np.maximum(peak, amps + siemens * loaded)
                continue
            if not powered:
                low = np.minimum(low, volts - ohms * constant)
                peak = np.maximum(peak, constant)
                continue
            power = drain.power_w[:, s]
            loaded = loaded_voltage(volts, ohms, constant, power)
            low = np.minimum(low, loaded)  # NaN, where there is no voltage, wins
            with np.errstate(divide="ignore", invalid="ignore"):
                peak = np.maximum(peak, np.where(power == 0, constant, constant + power / loaded))
        return low, peak


class _Cases:
    """Some cases of a drain, their states side by side."""

    def __init__(
        self,
        pack: Pack,
        drain: Drain,
        index: NDArray[np.intp],
        powered: list[bool],
        start: Array | None = None,
    ) -> None:
        self.start = None if start is None else start.ravel()[index]
        self.pack, self.powered = pack, powered
        row, self.draw = np.divmod(index, drain.cut_off_v.shape[1])

        def flat(values: Array) -> Array:
            return np.ascontiguousarray(values[row, :, self.draw].T)

        self.cut_off = drain.cut_off_v.ravel()[index]
        counts = [count.ravel()[index] for count in drain.copies]
        self.train = Train(
            amps=flat(drain.constant_a),
            watts=flat(drain.power_w),
            seconds=flat(drain.duration_s),
            tasks=drain.tasks,
            periods=drain.period_s[:, self.draw],
            powered=powered,
            copies=np.array(counts) if counts else None,
        )

    def margin(self, depth: Array, case: NDArray[np.intp]) -> Array:
        """Lowest of loaded voltage less cut-off over the states, (m,) V, at depths (m,)."""
        n = self.draw[case]
        if self.start is not None:
            depth = np.maximum(depth, self.start[case])
        volts, ohms = volts_and_ohms(self.pack, depth, n)
        cut = self.cut_off[case]
        if self.pack.reservoir is not None:
            # what is hardly short is followed to the end, so that a search may trust how near it is
            low = lowest(self._circuit(volts, ohms, case), self._train(case), cut - CLOSE)
            return np.asarray(np.where(np.isnan(low), -np.inf, low) - cut)
        least = np.full(depth.shape, np.inf)
        for s, powered in enumerate(self.powered):
            power = self.train.watts[s, case] if powered else None
            need = needed_voltage(ohms, self.train.amps[s, case], power, cut)
            least = np.minimum(least, volts - need)
        return least

    def growth(self, margin: Array, case: NDArray[np.intp]) -> Array:
        """What a current at the voltage of a margin (m,) V is to be multiplied by for the one at
        the cut-off, (m,): a share of it goes with 1/V, the rest does not."""
        if self.pack.reservoir is None:
            return np.ones(margin.shape)  # where the margin takes the currents at the cut-off
        cut, share = self.cut_off[case], self._of_power[case]
        return np.asarray(1 / (1 - share + share * cut / (margin + cut)))

    @cached_property
    def _of_power(self) -> Array:
        """Share of the current at the cut-off that is a constant power's, in the state that draws
        most, (m,)."""
        amps = self.train.watts / self.cut_off
        total = self.train.amps + amps
        most = np.maximum(total.max(axis=0), 1e-30)
        some = np.where(total >= most, amps, 0.0).max(axis=0)
        return np.asarray(some / most)

    def _circuit(self, volts: Array, ohms: Array, case: NDArray[np.intp]) -> Circuit:
        assert self.pack.reservoir is not None
        farad, esr = (x[self.draw[case]] for x in self.pack.reservoir)
        return Circuit.of(volts, ohms, farad, esr)

    def _train(self, case: NDArray[np.intp]) -> Train:
        return self.train if len(case) == len(self.draw) else self.train.taken(case)

    def held(self, upto: Array, worst: Array) -> NDArray[np.bool_]:
        """Where a cheap bound says that no voltage falls short up to some depths, (m,).

        Parameters
        ----------
        upto : (m,) the depths. worst : (m,) ohm, greatest resistance before them.
        """
        case = np.arange(len(upto))
        volts = at_depth(self.pack.depth, self.pack.open_v, upto, self.draw)
        return holds(self._circuit(volts, worst, case), self._train(case), self.cut_off)

    def on_reservoir(
        self, volts: Array, ohms: Array, case: NDArray[np.intp]
    ) -> tuple[Array, Array]:
        """(lowest voltage V, greatest cell current A) with a reservoir across the pack, (m,).

        volts, ohms : (m,) V, ohm, of the pack at some depth. case : (m,) indices.
        """
        low = lowest(self._circuit(volts, ohms, case), self._train(case))
        with np.errstate(invalid="ignore", divide="ignore"):
            # the cells see the terminals through their resistance, so they give most at the lowest
            peak = (volts - low) / ohms
            if not ohms.all():
                amps, watts = self.train.amps[:, case], self.train.watts[:, case]
                peak = np.where(ohms > 0, peak, (amps + watts / volts).max(axis=0))
        return low, peak


def needed_voltage(
    resistance: Array, constant_a: Array, power_w: Array | None, cut_off: Array
) -> Array:
    """Least open voltage that keeps the loaded one at or above the cut-off, V.

    resistance ohm, constant_a A, power_w W or None for none, cut_off V: arrays that broadcast.

    V = x + R (A + P/x) for a loaded voltage x; the least V over x >= V_cut lies at V_cut, or at
    x = sqrt(R P) where that is higher: below it the pack cannot give the power at all.
    """
    if power_w is None:
        return np.asarray(cut_off + resistance * constant_a)
    product = resistance * power_w
    at = np.maximum(cut_off, np.sqrt(product))
    with np.errstate(divide="ignore", invalid="ignore"):
        under = np.where(product > 0, product / at, 0.0)
    return np.asarray(at + resistance * constant_a + under)
