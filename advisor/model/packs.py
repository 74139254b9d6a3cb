"""A pack and a converter of the product's choice, as arrays: what the rail is fed from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from advisor.catalogue.records import stated
from advisor.catalogue.schema_parts import Price
from advisor.catalogue.schema_product import CellOption, Reservoir
from advisor.catalogue.schema_supply import Cell, Converter
from advisor.dataclass import dataclass
from advisor.figures import Path
from advisor.model.ageing import ageing_of, lacking
from advisor.model.conversion import Conversion, conversion
from advisor.model.drain import Pack
from advisor.model.draws import Array, Sampler
from advisor.model.ends import ENDS
from advisor.model.leak_curve import leak_curve
from advisor.model.rails import RailFigures, RailStates
from advisor.model.rested import AfterRest, after_rest, pulse_limits
from advisor.model.workload import ProductFigures, curve_values, on_curve
from advisor.quantities import Quantity

REFERENCE = 20.0  # degC at which a cell's self-discharge is stated

# what a cell must state before a life can be computed from it
CELL_NEEDS = (
    "nominal_voltage",
    "capacity",
    "voltage_curve",
    "resistance",
    "cut_off",
    "temperature",
    "self_discharge",
    "doubles_every",
)
CELL_LIMITS = {
    "shelf_life": "its life is not bounded by age",
    "max_pulse": "pulses are not checked",
    "max_continuous": "the mean current is not checked",
}


@dataclass(frozen=True, slots=True)
class Feed:
    """A pack with a converter.

    Attributes
    ----------
    option : the cells; cell : their record, None for an ideal budget; converter : its record, None
    for `none`. pack : the battery model's figures. nominal_v : (N,) V, series x nominal voltage.
    main : the main rail behind the converter. cut_off_v : (N,) V.
    covered : whether the cell's temperature table reaches over the environment. pulse_a : (N,)
    greatest current of the cells for a moment at the place where it is least, infinite where none
    is stated. rested : what one cell gives after rest, where it is stated. rails : those beside the
    main one, each behind its own converter. charge_efficiency : (N,) of cells that may be charged;
    most_charge_a : (N,) A, what they may be charged with where somebody does, if it is stated;
    stated_idle : share of the time too cold and too hot for it, at the stated values.
    """

    option: CellOption
    cell: Cell | None
    converter: Converter | None
    pack: Pack
    nominal_v: Array
    main: Conversion
    cut_off_v: Array
    covered: bool
    pulse_a: Array
    rested: AfterRest | None = None
    rails: tuple[Conversion, ...] = ()
    charge_efficiency: Array | None = None
    most_charge_a: Array | None = None
    stated_idle: tuple[float, float] = (0.0, 0.0)

    @property
    def name(self) -> str:
        """The cells and the converters in a few words."""
        further = "".join(f", {one.rail} by {one.name}" for one in self.rails)
        return f"{cells_name(self.option)}, {self.converter_name}{further}"

    @property
    def converter_name(self) -> str:
        """The id of the main rail's converter, or `none`."""
        return self.main.name

    @property
    def rail_converters(self) -> tuple[str, ...]:
        """The id of each further rail's converter, or `none`."""
        return tuple(one.name for one in self.rails)

    @property
    def conversions(self) -> tuple[Conversion, ...]:
        """The main rail and the further ones."""
        return (self.main, *self.rails)

    @property
    def bought(self) -> tuple[tuple[Converter, int], ...]:
        """Each converter with how many of it a unit has."""
        names = [one.name for one in self.conversions]
        records = {one.name: one.converter for one in self.conversions}
        return tuple((r, names.count(name)) for name, r in records.items() if r is not None)

    @property
    def most_output_a(self) -> float:
        """Greatest current of the main converter, A; infinite where none is stated."""
        return self.main.most_output_a

    @property
    def most_pulse_a(self) -> float:
        """Greatest current of the cells for a moment, A; infinite where none is stated."""
        return float(self.pulse_a.min())

    @property
    def most_mean_a(self) -> float:
        """Greatest mean current of the cells, A; infinite where none is stated."""
        limit = None if self.cell is None else self.cell.max_continuous
        return np.inf if limit is None else limit.nominal * self.option.parallel

    @property
    def fresh_v(self) -> Array:
        """Voltage at the chip, (N,) V: the rail's, or a fresh pack's where that is the rail."""
        return self.fresh_on(None)

    def fresh_on(self, rail: int | None) -> Array:
        """Voltage of a rail by its place, None the main one, as `fresh_v`: (N,) V."""
        one = self.main if rail is None else self.rails[rail]
        return self.pack.open_v[0] if one.converter is None else one.volts

    def chip_voltage(self) -> Array:
        """Voltage at the chip by which builds are compared, (N,) V."""
        return self.main.volts

    def cell_side(
        self,
        chip_a: Array,
        chip_w: Array,
        other_a: Array,
        other_w: Array,
        rails: Sequence[RailStates] = (),
    ) -> tuple[Array, Array]:
        """What the pack carries, as constant current (A) and constant power (W).

        A power is taken from whatever voltage feeds it: behind a converter that is the rail's.

        Parameters
        ----------
        chip_a, chip_w : (..., N) A, W, the chip's constant current and power.
        other_a, other_w : broadcasting, A, W: loads switched on and standing loads.
        rails : what each further rail carries, broadcasting.
        """
        constant, power = self.main_side(chip_a, chip_w, other_a, other_w)
        for one, states in zip(self.rails, rails, strict=True):
            a, w = one.carried(states)
            constant, power = constant + a, power + w
        return constant, power

    def main_side(
        self, chip_a: Array, chip_w: Array, other_a: Array, other_w: Array
    ) -> tuple[Array, Array]:
        """`cell_side` of the main rail alone, (..., N) A and W."""
        if self.converter is None:
            return np.asarray(chip_a + other_a), np.asarray(chip_w + other_w)
        return self.main.through(chip_a + other_a + (chip_w + other_w) / self.main.volts)


def cells_name(option: CellOption) -> str:
    """`2 x alk-pen` and the like."""
    if option.cell is None:
        return "budget" if option.budget is None else f"budget {option.budget.text}"
    text = option.cell if option.series == 1 else f"{option.series} x {option.cell}"
    return text if option.parallel == 1 else f"{option.parallel} strings of {text}"


def missing_cell(cell: Cell, timed: bool = False, aged: bool = False) -> list[str]:
    """Paths of what a cell lacks for a battery life; `timed`: and for a time to delivery; `aged`:
    and for a life over many charges."""
    own = Path(cell.cell)
    needs = CELL_NEEDS if cell.leak is None else CELL_NEEDS[:-2]
    out = [own / n.replace("_", "-") for n in needs if getattr(cell, n) is None]
    if cell.temperature is not None:
        for key, row in zip(cell.temperature.keys, cell.temperature.rows, strict=True):
            out += [
                own.child("temperature", key, n)
                for n in ("capacity", "resistance")
                if getattr(row, n) is None
            ]
    if aged and cell.ageing is not None:
        out += lacking(cell.ageing, own / "ageing")
    if aged and cell.shelf_life is None and (cell.ageing is None or cell.ageing.calendar is None):
        # nothing would ever end its life
        out.append(own / "shelf-life")
    out += _undated(own, cell.price, timed)
    return [str(path) for path in out]


def missing_store(cell: Cell) -> list[str]:
    """Paths of what a cell that may be charged lacks for being harvested into."""
    if not cell.rechargeable or cell.charge is None:
        return []
    own = Path(cell.cell)
    return [] if cell.charge.efficiency is not None else [str(own.child("charge", "efficiency"))]


def unsaid_of_charging(cell: Cell) -> list[str]:
    """What a cell that is charged again does not state, each with what comes of it."""
    ageing, charge = cell.ageing, cell.charge
    out = []
    for name, word in (("calendar", "time"), ("cycles", "charging")):
        law = getattr(ageing, name) if ageing is not None else None
        if law is None:
            out.append(f"{cell.cell} states no ageing.{name}: it loses no capacity with {word}")
        elif law.resistance is None:
            effect = "its resistance does not rise by it"
            out.append(f"{cell.cell} states no ageing.{name}.resistance: {effect}")
    for name in ("min", "max"):
        if charge is None or getattr(charge, name) is None:
            effect = "where it may be charged is not checked"
            out.append(f"{cell.cell} states no charge.{name}: {effect}")
    return out


def chargeable(cell: Cell, product: ProductFigures) -> Array:
    """Share of the time (N,) at which a cell is neither too cold nor too hot to be charged."""
    cold, hot = product.unchargeable(cell.charge)
    return np.asarray((product.share * ~(cold | hot)).sum(axis=0))


def _undated(own: Path, price: Price | None, timed: bool) -> list[Path]:
    stated = price is not None and price.lead_time is not None
    return [own.child("price", "lead-time")] if timed and not stated else []


def missing_converter(converter: Converter, timed: bool = False, gated: bool = False) -> list[str]:
    """Paths of what a converter lacks for its loss and its bounds; `timed` as for a cell, `gated`
    where it is switched off between uses."""
    own = Path(converter.converter)
    out = [own / n for n in ("kind", "quiescent") if getattr(converter, n) is None]
    loss = "dropout" if converter.kind == "linear" else "efficiency"
    if getattr(converter, loss) is None:
        out.append(own / loss)
    for window in ("input", "output"):
        out += [
            own.child(window, end)
            for end in ("min", "max")
            if getattr(getattr(converter, window), end) is None
        ]
    if converter.max_output is None:
        out.append(own / "max-output")
    if gated and converter.start_up is None:
        out.append(own / "start-up")
    out += _undated(own, converter.price, timed)
    return [str(path) for path in out]


def _reservoir(
    reservoir: Reservoir | None, sampler: Sampler
) -> tuple[tuple[Array, Array] | None, Array]:
    if reservoir is None:
        return None, np.zeros(sampler.size)
    at = sampler.root.child("supply-options", "reservoir")
    assert reservoir.capacitance is not None
    assert reservoir.esr is not None
    assert reservoir.leakage is not None
    return (
        sampler.take(at / "capacitance", reservoir.capacitance),
        sampler.take(at / "esr", reservoir.esr),
    ), sampler.take(at / "leakage", reservoir.leakage)


def _ideal(
    option: CellOption, product: ProductFigures, reservoir: Reservoir | None, sampler: Sampler
) -> Pack:
    assert option.budget is not None
    assert option.voltage is not None
    at = sampler.root.child("supply-options", "cells", option.entry)
    one = np.ones(sampler.size)
    volts = sampler.take(at / "voltage", option.voltage)
    capacitor, leak = _reservoir(reservoir, sampler)
    return Pack(
        depth=np.array([0.0, 1.0]),
        open_v=np.array([volts, volts]),
        resistance=np.zeros((2, sampler.size)),
        capacity_c=sampler.take(at / "budget", option.budget),
        self_discharge_a=0 * one,
        leak_a=leak,
        least_capacity=one,
        mean_capacity=one,
        shelf_life_s=np.inf * one,
        two_well=None,
        reservoir=capacitor,
        ideal=True,
        eases=tuple(one for _ in product.times),
        strains=tuple(one for _ in product.times),
        stored_loss_a=tuple(0 * one for _ in product.before),
    )


def _pack(
    option: CellOption,
    cell: Cell,
    product: ProductFigures,
    reservoir: Reservoir | None,
    product_sampler: Sampler,
    sampler: Sampler,
) -> Pack:
    """The pack at the product's temperatures.

    Series multiplies voltage and resistance; parallel multiplies capacity and divides resistance.
    The resistance is that of the worst temperature. Where a draw of the open-circuit curve would
    rise with depth its values are put in falling order, which takes them no further from any
    falling curve and leaves their mean (rearrangement; Chernozhukov, Fernandez-Val & Galichon,
    Econometrica 78 (2010) 1093; from memory). Self-discharge grows as 2^((T - 20)/doubling)
    (common practice, no source), averaged over the environment.
    """
    assert cell.voltage_curve is not None
    assert cell.resistance is not None
    assert cell.capacity is not None
    assert cell.temperature is not None
    own = sampler.root
    v_at, volts = curve_values(own / "voltage-curve", cell.voltage_curve, sampler)
    if sampler.random:
        volts = np.sort(volts, axis=0)[::-1]
    r_at, ohms = curve_values(own / "resistance", cell.resistance, sampler)
    inside = [x for x in (*v_at, *r_at) if 0.0 < x < 1.0]
    depth = np.array(sorted({0.0, 1.0, *inside}))
    places = np.broadcast_to(depth[:, None], (len(depth), sampler.size))
    table = cell.temperature
    t_at = np.array(table.at)

    def over_temperature(name: str) -> Array:
        values = []
        for key, row in zip(table.keys, table.rows, strict=True):
            quantity = getattr(row, name)
            assert quantity is not None
            values.append(sampler.take(own.child("temperature", key, name), quantity))
        return on_curve(t_at, np.array(values), product.temperature)

    def loss(temperature: Array, share: Array) -> Array:
        if drip is not None:
            return np.asarray((np.diff(depth)[:, None] * drip.means(open_v)).sum(axis=0))
        warmth = (share * 2.0 ** ((temperature - REFERENCE) / step)).sum(axis=0)
        return np.asarray(capacity * rate * warmth)

    factor, ohmic = over_temperature("capacity"), over_temperature("resistance")
    worst = ohmic.max(axis=0)
    capacity = sampler.take(own / "capacity", cell.capacity) * option.parallel
    open_v = on_curve(v_at, volts, places) * option.series
    drip = None
    if cell.leak is None:
        assert cell.self_discharge is not None
        assert cell.doubles_every is not None
        step = sampler.take(own / "doubles-every", cell.doubles_every)
        rate = sampler.take(own / "self-discharge", cell.self_discharge)
    else:
        at, amps = curve_values(own / "leak", cell.leak, sampler)
        nominal = np.array([y.nominal for y in cell.leak.y])
        drip = leak_curve(at * option.series, amps * option.parallel, nominal)
    capacitor, leak = _reservoir(reservoir, product_sampler)
    well = cell.two_well
    charged = product.recharge_s is not None and cell.rechargeable
    ages = charged or (product.income is not None and cell.rechargeable)
    return Pack(
        depth=depth,
        open_v=open_v,
        resistance=on_curve(r_at, ohms, places) * worst * (option.series / option.parallel),
        capacity_c=capacity,
        self_discharge_a=loss(product.temperature, product.share),
        leak_a=leak,
        least_capacity=factor.min(axis=0),
        mean_capacity=(product.share * factor).sum(axis=0),
        shelf_life_s=np.full(sampler.size, np.inf)
        if cell.shelf_life is None
        else sampler.take(own / "shelf-life", cell.shelf_life),
        two_well=None
        if well is None or well.c is None or well.k is None
        else (
            sampler.take(own.child("two-well", "c"), well.c),
            sampler.take(own.child("two-well", "k"), well.k),
        ),
        reservoir=capacitor,
        ideal=False,
        figures={
            keys: sampler.take(own.child(*keys), value)
            for end in ENDS
            for keys in end.reads
            if isinstance(value := stated(cell, keys), Quantity)
        },
        eases=tuple(ohmic[time.places].max(axis=0) / worst for time in product.times),
        strains=_strains(cell, product),
        stored_loss_a=tuple(loss(phase.temperature, phase.share) for phase in product.before),
        every_s=product.recharge_s if charged else None,
        ageing=ageing_of(cell.ageing, product, sampler) if ages and cell.ageing else None,
        drip=drip,
    )


def _strains(cell: Cell, product: ProductFigures) -> tuple[Array, ...]:
    """At each time, the least pulse limit of all places over the least of its own, (N,)."""
    if cell.max_pulse is None:
        return tuple(time.share * 0 + 1 for time in product.times)
    limits = pulse_limits(cell.max_pulse, product.temperature)
    return tuple(limits.min(axis=0) / limits[t.places].min(axis=0) for t in product.times)


def feed(
    option: CellOption,
    cell: Cell | None,
    converter: Converter | None,
    product: ProductFigures,
    reservoir: Reservoir | None,
    samplers: Mapping[str, Sampler],
    rails: Sequence[tuple[RailFigures, Converter | None]] = (),
    pack: Pack | None = None,
) -> Feed:
    """The arrays of one pack with one converter, and one for each further rail.

    Parameters
    ----------
    samplers : by document id; the product's, the cell's and the converters' are taken. pack : the
    same pack, where it was made for another converter.
    """
    own = samplers[product.name]
    charge = most_charge = None
    if cell is None:
        pack = pack or _ideal(option, product, reservoir, own)
        nominal, cut_off = pack.open_v[0], np.zeros(own.size)
        covered = True
        pulse, rested = np.full(own.size, np.inf), None
    else:
        sampler = samplers[cell.cell]
        pack = pack or _pack(option, cell, product, reservoir, own, sampler)
        assert cell.nominal_voltage is not None
        assert cell.cut_off is not None
        assert cell.temperature is not None
        at = sampler.root
        nominal = option.series * sampler.take(at / "nominal-voltage", cell.nominal_voltage)
        cut_off = option.series * sampler.take(at / "cut-off", cell.cut_off)
        pulse = np.full(own.size, np.inf)
        if cell.max_pulse is not None:
            pulse = pulse_limits(cell.max_pulse, product.temperature).min(axis=0) * option.parallel
        rested = (
            None
            if cell.after_rest is None
            else after_rest(at / "after-rest", cell.after_rest, sampler)
        )
        if cell.charge is not None and cell.charge.efficiency is not None:
            charge = sampler.take(at.child("charge", "efficiency"), cell.charge.efficiency)
        if pack.every_s is not None and cell.charge is not None and cell.charge.max_current:
            most = sampler.take(at.child("charge", "max-current"), cell.charge.max_current)
            most_charge = most * option.parallel
        ends = cell.temperature.at
        covered = ends[0] <= product.coldest and product.hottest <= ends[-1]
    volts = nominal if product.rail is None or converter is None else product.rail
    main = conversion("", volts, converter, nominal, samplers)
    further = tuple(
        conversion(
            one.name,
            nominal if record is None or one.voltage is None else one.voltage,
            record,
            nominal,
            samplers,
            one.gated,
        )
        for one, record in rails
    )
    for made in (main, *further):
        cut_off = np.maximum(cut_off, made.least_input_v)
    for one, record in rails:
        # where the pack is the rail its loads' least voltage ends it
        cut_off = np.maximum(cut_off, one.least_v) if record is None else cut_off
    return Feed(
        option=option,
        cell=cell,
        converter=converter,
        pack=pack,
        nominal_v=nominal,
        main=main,
        cut_off_v=cut_off,
        covered=covered,
        pulse_a=pulse,
        rested=rested,
        rails=further,
        charge_efficiency=charge,
        most_charge_a=most_charge,
        stated_idle=product.stated_idle(None if cell is None else cell.charge),
    )
