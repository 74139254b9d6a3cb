"""A rail and the converter that feeds it, as arrays: what its loads make of the pack's current.

Axes: R builds or whatever comes before them, S states, N draws. SI units.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from advisor.catalogue.schema_supply import Converter
from advisor.dataclass import dataclass
from advisor.model.draws import Array, Sampler
from advisor.model.rails import RailStates
from advisor.model.supply import LightMode, through_linear, through_switching
from advisor.model.workload import curve_values


@dataclass(frozen=True, slots=True)
class Conversion:
    """A rail with its converter.

    Attributes
    ----------
    rail : its name, empty for the main one. converter : its record, None for `none`. volts : (N,)
    V of the rail, the pack's nominal one where that is the rail. quiescent : (N,) A; loads_a (E,),
    efficiency (E, N). light : its light-load mode, where it states one. start_up_j : (N,) J.
    least_input_v : (N,) V at which it still makes the rail, 0 for `none`. gated : whether the rail
    is switched off between uses.
    """

    rail: str
    converter: Converter | None
    volts: Array
    quiescent: Array
    loads_a: Array
    efficiency: Array
    light: LightMode | None
    start_up_j: Array
    least_input_v: Array
    gated: bool = False

    @property
    def name(self) -> str:
        """The converter's id, or `none`."""
        return "none" if self.converter is None else self.converter.converter

    @property
    def at(self) -> str:
        """The rail in words."""
        return f"rail {self.rail}" if self.rail else "the rail"

    @property
    def switching(self) -> bool:
        """Whether it passes power, not current."""
        return self.converter is not None and self.converter.kind != "linear"

    @property
    def most_output_a(self) -> float:
        """Greatest current of the converter, A; infinite where none is stated."""
        limit = None if self.converter is None else self.converter.max_output
        return np.inf if limit is None else limit.nominal

    def through(self, current_a: Array) -> tuple[Array, Array]:
        """Constant current A and power W at the pack of a current (..., N) A behind a converter."""
        assert self.converter is not None
        if self.converter.kind == "linear":
            return through_linear(current_a, self.quiescent)
        return through_switching(
            current_a, self.volts, self.quiescent, self.loads_a, self.efficiency, self.light
        )

    def current(self, states: RailStates) -> Array:
        """Current of a rail in each state, (S, N) A, fillings spread over their states; (R, S, N)
        where builds fill otherwise."""
        filling = states.fill_s * self.volts
        return np.asarray(states.load_a + states.load_w / self.volts + filling)

    def carried(self, states: RailStates) -> tuple[Array, Array]:
        """What the pack carries for a rail in each state, (S, N) A and W; nothing while it is off.

        A filling takes C V from the pack or through a linear converter, C V^2 over the efficiency
        through a switching one; a start of the converter takes its energy at the input.
        """
        if self.converter is None:
            constant = states.load_a + states.fill_s * self.volts
            power = states.load_w
        else:
            # most states carry what the rest does: they are converted once
            some, place = states.apart()
            constant, power = self.through(self.current(some))
            power = (power + some.starts * self.start_up_j)[..., place, :]
            constant = constant[..., place, :]
        return np.where(states.on, constant, 0.0), np.where(states.on, power, 0.0)


def conversion(
    rail: str,
    volts: Array,
    converter: Converter | None,
    nominal_v: Array,
    samplers: Mapping[str, Sampler],
    gated: bool = False,
) -> Conversion:
    """The arrays of one converter that makes a rail of (N,) V from a pack of nominal (N,) V."""
    zero = np.zeros_like(nominal_v)
    quiescent, least, start_up = zero, zero, zero
    loads, efficiency = np.empty(0), np.empty((0, len(zero)))
    light = None
    if converter is not None:
        sampler = samplers[converter.converter]
        assert converter.quiescent is not None
        at = sampler.root
        quiescent = sampler.take(at / "quiescent", converter.quiescent)
        least = _least_input(converter, volts, sampler)
        if converter.efficiency is not None:
            loads, efficiency = curve_values(at / "efficiency", converter.efficiency, sampler)
            efficiency = np.minimum(efficiency, 1.0)
        mode = converter.light_load
        if mode is not None:
            own = at / "light-load"
            light = LightMode(
                below=sampler.take(own / "below", mode.below),
                no_load=sampler.take(own / "no-load", mode.no_load),
                efficiency=np.minimum(sampler.take(own / "efficiency", mode.efficiency), 1.0),
                at_v=nominal_v,
            )
        if gated and converter.start_up is not None:
            start_up = sampler.take(at / "start-up", converter.start_up)
    return Conversion(
        rail=rail,
        converter=converter,
        volts=volts,
        quiescent=quiescent,
        loads_a=loads,
        efficiency=efficiency,
        light=light,
        start_up_j=start_up,
        least_input_v=least,
        gated=gated,
    )


def _least_input(converter: Converter, rail: Array, sampler: Sampler) -> Array:
    """Least input voltage at which the converter still makes the rail, (N,) V."""
    assert converter.input.min is not None
    own = sampler.root
    least = sampler.take(own.child("input", "min"), converter.input.min)
    if converter.kind == "linear":
        assert converter.dropout is not None
        return np.maximum(least, rail + sampler.take(own / "dropout", converter.dropout))
    if converter.kind == "buck":
        return np.maximum(least, rail)
    return least
