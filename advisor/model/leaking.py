"""What a store that leaks over its voltage gives in a day, by the energy that it holds.

The balance of charge at its terminals is C dV/dt = i_h - i - p/V - l(V), of what is harvested, of
constant currents and powers and of the leak; times V, that of energy is

    dE/dt = h - p - V (i + l(V)),    V = V(E)

so a day takes L(E) = p + V i + V l(V) of it, each term by the voltage of what is held then. `Leak`
tells these shapes for the stated curves of a cell, down to some depths at which a build may stop,
and the load as (1 - a)((1 - b) + b v(s)) + a g(s): s the share that is held of the energy down to
there, v and g the voltage and what leaks by it, each over its own mean, a the share of what leaks,
b that of constant currents in the rest. A drawn leak keeps the shape of the stated one. Means weigh
what is held by 1/(s + 0.04): a store runs empty by what it gives when it is low, so that all lose
nearly as many days that have one mean (a choice of ours; the answer rests on it only between places
that are worked out).

Against hours gone through, days lost are within 5 % of themselves for stores of three days to
fifty, within 10 % at ninety (`tests/model/test_leaking_store.py`).

Axes: P places of depth, R rows, N draws. SI units.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.draws import Array
from advisor.model.lattice import LEAST_STORE, MOST_STORE, Lattice
from advisor.model.leak_curve import LeakCurve
from advisor.model.served import ALIKE, Service, answers
from advisor.model.store import Dawns
from advisor.model.store_load import Load

if TYPE_CHECKING:
    from advisor.catalogue.schema_supply import Cell

PLACES = 33  # of depth, and of energy
LOW = 0.04
# depths at which a build stops, shares of constant currents in the rest, shares of what leaks
DEPTHS = tuple((np.arange(21) / 20).tolist())
RESTS = (0.0, 0.04, 0.08, 0.13, 0.19, 0.26, 0.34, 0.43, 0.53, 0.65, 0.8, 1.0)
LEAKS = (
    *(0.0, 0.03, 0.06, 0.1, 0.14, 0.18, 0.22, 0.26, 0.3, 0.34, 0.38, 0.42, 0.47, 0.53, 0.6),
    *(0.7, 0.85, 1.0),
)
AXES = DEPTHS, RESTS, LEAKS
FINER = 2  # times the levels of other stores
CLASSES = 8  # of days
# see `lattice.COVER_STEPS`
COVER_STEPS = ((-4.0, 0.0), (-0.4, 0.3), (3.0, 0.05), (4.0, 0.5))
STORE_STEPS = ((-4.0, 0.0), (-1.2, 0.4), (3.6, 0.09), (6.3, 0.05))
TOGETHER = 250  # stores that are gone through at once
LEAST = 0.01  # of a mean load, which an empty store gives at least
_EVENLY = np.where(np.isin(np.arange(PLACES), (0, PLACES - 1)), 0.5, 1.0) / (PLACES - 1)


@dataclass(frozen=True, slots=True)
class Leak:
    """A cell's stated curves at even depths of discharge, (P,) V and A, and the night, a share of a
    day."""

    volts: tuple[float, ...]
    amps: tuple[float, ...]
    night: float

    def __call__(
        self, shape: tuple[float, ...], spread: float, persistence: float, idle: tuple[float, ...]
    ) -> Service:
        """The chain's answers for a store that leaks so; see `Service`."""
        return _Service(self, shape, spread, persistence, idle)

    def load(self, places: Array) -> Load:
        """Loads over what is held, of B builds by their A places on `AXES`, (B, A) shares."""
        at = np.linspace(0.0, 1.0, PLACES)
        tables = []
        for depth, rest, leaks in places.tolist():
            by_amps, by_leak = self._shapes(depth, at)
            tables.append((1 - leaks) * (1 - rest + rest * by_amps) + leaks * by_leak)
        return Load(table=np.maximum(tables, LEAST), night=self.night, finer=FINER)

    def _shapes(self, depth: float, at: Array) -> tuple[Array, Array]:
        """Of builds that stop at a depth, what constant currents and the leak take at even shares
        of the energy, (P,) each, over their means."""
        volts = np.interp(depth * at, at, self.volts)
        share = held(volts)
        out = []
        for values in (volts, volts * np.interp(depth * at, at, self.amps)):
            mean = float(low_mean(values, share, volts))
            out.append(np.interp(at, share[::-1], values[::-1] / (mean if mean > 0 else 1.0)))
        return out[0], out[1]


def leak_of(cell: Cell, night: float) -> Leak | None:
    """What a cell states of its leak; None where that does not go by its voltage."""
    if cell.leak is None or cell.voltage_curve is None:
        return None
    at = np.linspace(0.0, 1.0, PLACES)
    volts = np.interp(at, cell.voltage_curve.x, [y.nominal for y in cell.voltage_curve.y])
    edges = np.concatenate([at[:1], (at[1:] + at[:-1]) / 2, at[-1:]])
    ends = np.interp(edges, cell.voltage_curve.x, [y.nominal for y in cell.voltage_curve.y])
    # each as its mean halfway to the next ones, so that nothing between two places is left out
    stated = LeakCurve(tuple(cell.leak.x), np.array([[y.nominal] for y in cell.leak.y]))
    amps = stated.means(ends[:, None])[:, 0]
    return Leak(tuple(volts.tolist()), tuple(amps.tolist()), night)


def held(volts: Array) -> Array:
    """Share of the energy that is left at even depths down to the last, of voltages (P, ...)."""
    steps = (volts[1:] + volts[:-1]) / 2
    below = np.concatenate([np.cumsum(steps[::-1], axis=0)[::-1], np.zeros_like(volts[:1])])
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(below[:1] > 0, below / below[:1], 0.0))


def low_mean(values: Array, share: Array, volts: Array) -> Array:
    """Mean of values (P, ...), in any unit, over what is held, a low store's weighed most: at even
    depths with these shares of the energy and voltages."""
    weights = volts / (share + LOW)
    total = np.tensordot(_EVENLY, weights, 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = np.tensordot(_EVENLY, weights * values, 1) / total
    return np.asarray(np.where(total > 0, mean, values[0]))


def taken(
    volts: Array, leak: Array, amps: Array, watts: Array, depth: Array
) -> tuple[Array, tuple[Array, Array, Array]]:
    """Mean load of builds as above, (R, N) W, and their places on `AXES`, (R, N) each.

    Parameters
    ----------
    volts, leak : (P, R, N) V and A at even depths down to where they stop. amps, watts : (R, N) A
    and W, constant; or amps at those depths, (P, R, N), which go with what is held as constant ones
    of that mean would. depth : (R, N) share, where they stop.
    """
    share = held(volts)
    by_amps, by_leak = (low_mean(volts * of, share, volts) for of in (amps, leak))
    mean = watts + by_amps + by_leak
    with np.errstate(divide="ignore", invalid="ignore"):
        rest = np.where(by_amps > 0, by_amps / (watts + by_amps), 0.0)
        leaks = np.where(by_leak > 0, by_leak / mean, 0.0)
    return mean, (depth, rest, leaks)


class _Service(Service):
    """The chain's answers over cover, store and the places on `AXES`: straight within the simplex
    of a lattice of all five that a place lies in, of which few corners are to be worked out."""

    def __init__(
        self,
        leak: Leak,
        shape: tuple[float, ...],
        spread: float,
        persistence: float,
        idle: tuple[float, ...],
    ) -> None:
        super().__init__(shape, spread, persistence, idle)
        self.leak, self.night, self.classes = leak, leak.night, CLASSES
        self.fine = Lattice(min(max(spread / ALIKE, 0.25), 1.0), (COVER_STEPS, STORE_STEPS))
        counts = [int(numbers[-1]) for _, numbers in self.fine.axes]
        self._sizes = tuple(count + 2 for count in (*counts, *(len(axis) for axis in AXES)))
        self._fine = [{}]

    @property
    def pattern(self) -> str:
        """Everything that the answers rest on, exactly."""
        return f"{super().pattern} {self.leak!r}"

    def know(self, cover: Array, store: Array, *load: Array) -> None:
        """Work out at once what `at` takes for these places, of one shape: shares of the load and
        counts of days; see `Service`."""
        corners, _ = self._corners(cover, store, load)
        self._work_out_all(_distinct(corners))

    def by_month(self, cover: float, store: float, *load: float) -> Dawns:
        """How one store fares month by month, (1, 12)."""
        days = np.clip(store, LEAST_STORE, MOST_STORE) * np.ones(1)
        return self._gone_through(cover * np.ones(1), days, self.leak.load(np.array([load])))

    def _gone_through(self, cover: Array, store: Array, load: Load) -> Dawns:
        found = super()._gone_through(cover, store, load)
        # a night from near full takes less than one from full
        return replace(found, level=np.minimum(found.level, 1.0))

    def _told(
        self, cover: Array, store: Array, load: tuple[Array, ...], which: Sequence[int]
    ) -> Sequence[Array]:
        corners, weights = self._corners(cover, store, load)
        keys = _distinct(corners)
        self._work_out_all(keys)
        known = self._fine[0]
        values = np.array([known[key, 0] for key in keys.tolist()])
        at = np.searchsorted(keys, corners)
        return [(weights * values[at, i]).sum(axis=0).reshape(np.shape(cover)) for i in which]

    def _corners(
        self, cover: Array, store: Array, load: tuple[Array, ...]
    ) -> tuple[NDArray[np.intp], Array]:
        """Corners of the simplex of each of M places, by their numbers, (6, M), and weights."""
        shape = np.shape(cover)
        numbers = [one.ravel() for one in self.fine.numbers(cover, store)]
        for axis, values in zip(AXES, load, strict=True):
            inside = np.broadcast_to(values, shape).ravel()
            numbers.append(np.interp(inside, axis, np.arange(len(axis))))
        at = np.stack(numbers)
        low = np.floor(at).astype(np.intp)
        part = at - low
        order = np.argsort(-part, axis=0, kind="stable")
        falling = np.take_along_axis(part, order, axis=0)
        steps = np.cumprod([1, *self._sizes[:0:-1]])[::-1].astype(np.intp)
        first = (low * steps[:, None]).sum(axis=0)
        corners = first + np.concatenate([np.zeros_like(first)[None], np.cumsum(steps[order], 0)])
        ends = np.concatenate([np.ones_like(first)[None], falling, np.zeros_like(first)[None]])
        weights = ends[:-1] - ends[1:]
        # corners that do not count are not to be worked out
        return np.where(weights > 0, corners, first), weights

    def _work_out_all(self, keys: NDArray[np.intp]) -> None:
        known = self._fine[0]
        new = np.array([key for key in keys.tolist() if (key, 0) not in known], dtype=np.intp)
        if not len(new):
            return
        at = np.stack(np.unravel_index(new, self._sizes))
        cover, store = self.fine.values(list(zip(*at[:2].tolist(), strict=True)))
        places = np.stack([np.array(axis)[i] for axis, i in zip(AXES, at[2:], strict=True)], axis=1)
        # those of alike stores together, as their grids are alike
        order = np.argsort(store, kind="stable")
        for start in range(0, len(new), TOGETHER):
            some = order[start : start + TOGETHER]
            found = self._gone_through(cover[some], store[some], self.leak.load(places[some]))
            names = [(key, 0) for key in new[some].tolist()]
            known.update(zip(names, answers(found), strict=True))


def _distinct(keys: NDArray[np.intp]) -> NDArray[np.intp]:
    """Each of some numbers once, in order."""
    found = np.sort(keys, axis=None)
    return np.asarray(found[np.concatenate([[True], found[1:] != found[:-1]])])
