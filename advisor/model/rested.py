"""What a cell gives after rest and in the cold: measured voltages, and its pulse limit.

Some cells grow a film while they rest (passivation), which a pulse must first break: its voltage
dips, the deeper the longer the rest, the colder the cell and the greater the current. No law is
taken for it; what was measured is interpolated: straight over current and temperature, over rest in
its logarithm (common practice, no source). Towards less rest, less current and more warmth than
measured the figure at the end is held, which errs against the cell. Towards more current it goes on
as between the last two figures, or as from the open voltage, whichever falls more; towards more
rest as between the two longest. Colder than measured nothing is known.

Axes: R rows, N draws. SI units, temperatures in degC.
"""

from __future__ import annotations

import numpy as np

from advisor.catalogue.curves import Curve, Table
from advisor.dataclass import dataclass
from advisor.figures import Path
from advisor.model.draws import Array, Sampler
from advisor.model.workload import curve_values, on_curve


@dataclass(frozen=True, slots=True)
class AfterRest:
    """Voltages of one cell: per rest in s, per temperature in degC, currents (X,) A to (X, N) V."""

    rests: tuple[float, ...]
    rows: tuple[tuple[tuple[float, ...], tuple[tuple[Array, Array], ...]], ...]

    @property
    def coldest(self) -> float:
        """The temperature below which something is not known, degC."""
        return max(at[0] for at, _ in self.rows)

    def voltage(self, rest: Array, temperature: Array, current: Array, open_v: Array) -> Array:
        """Least voltage of a cell whose pulse comes after rest, (R, N) V.

        Parameters
        ----------
        rest, temperature, open_v : (N,) s, degC, V. current : (R, N) A.
        """
        found = []
        for at, curves in self.rows:
            volts = [_over_current(x, y, current, open_v) for x, y in curves]
            found.append(_between(np.array(at), volts, temperature, beyond=False))
        length = np.log(np.maximum(rest, 1e-9))
        return _between(np.log(np.array(self.rests)), found, length, beyond=True)


def after_rest(path: Path, table: Table, sampler: Sampler) -> AfterRest:
    """The voltages of a cell's table, (X, N) V each; `path` is the table's own."""
    rows = []
    for key, row in zip(table.keys, table.rows, strict=True):
        curves = []
        for at, curve in zip(row.keys, row.rows, strict=True):
            assert isinstance(curve, Curve)
            curves.append(curve_values(path.child(key, at), curve, sampler))
        rows.append((row.at, tuple(curves)))
    return AfterRest(rests=table.at, rows=tuple(rows))


def _over_current(x: Array, y: Array, current: Array, open_v: Array) -> Array:
    """Voltage over current, (R, N) V, beyond its measured end too."""
    inside = on_curve(x, y, current)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.where(x[-1] > 0, (open_v - y[-1]) / x[-1], 0.0)
    if len(x) > 1:
        slope = np.maximum(slope, (y[-2] - y[-1]) / (x[-1] - x[-2]))
    return np.asarray(inside - np.maximum(slope, 0.0) * np.maximum(current - x[-1], 0.0))


def _between(places: Array, values: list[Array], at: Array, beyond: bool) -> Array:
    """Values (R, N) at each of ascending places, straight between them at `at` (N,).

    Below the first and above the last place they are held; with `beyond` a fall between the last
    two goes on above them.
    """
    out = values[0]
    for low, high, one, other in zip(places, places[1:], values, values[1:], strict=False):
        share = np.clip((at - low) / (high - low), 0.0, 1.0)
        out = out + share * (other - one)
    if beyond and len(values) > 1:
        further = np.maximum(at - places[-1], 0.0) / (places[-1] - places[-2])
        out = out + np.minimum(values[-1] - values[-2], 0.0) * further
    return np.asarray(out)


def pulse_limits(curve: Curve, temperature: Array) -> Array:
    """Greatest pulse current of a cell at each place, (E, N) A."""
    values = np.array([[y.nominal] for y in curve.y]) * np.ones(temperature.shape[1])
    if not curve.keys:
        return np.broadcast_to(values[0], temperature.shape)
    return on_curve(np.array(curve.x), values, temperature)
