"""What is switched off between uses: what that takes, and from what rest on it pays."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.dataclass import dataclass
from advisor.decide.builds import Build
from advisor.model.conversion import Conversion
from advisor.model.draws import Array
from advisor.model.gating import (
    Lengths,
    filled_of_load,
    filled_of_rail,
    once,
    rest_of_load,
    uses_of_rail,
)
from advisor.model.rails import Gate, RailStates, at_rest
from advisor.model.workload import LoadFigures, ProductFigures
from advisor.studies.consumers import mean_voltage, real_voltage

ROUNDS = 200  # of a fixed point that contracts


@dataclass(frozen=True, slots=True)
class GateResult:
    """A rail or a load that is switched off between uses, or that tells what that would take; at
    the stated values."""

    gate: str
    """`rail radio`, `load probe of sample`"""
    gated: bool
    """whether it is switched off between uses"""
    rest_s: float | None
    """[s] mean time between its uses; null where it is never used"""
    charge_c: float
    """[C] what filling its capacitance takes at its rail, on average over the rests that occur;
    where the pack is the rail, at its mean voltage over its life"""
    energy_j: float
    """[J] the same as energy, charge times the rail's voltage"""
    stored_j: float
    """[J] energy in the capacitance when it is full"""
    start_up_j: float
    """[J] what its converter's start takes"""
    takes_j: float
    """[J] what switching it on once takes from the pack, with its converter's loss and start"""
    standing_by_w: float | None
    """[W] what it would take from the pack between its uses were it not switched off; null where
    that is not stated, or its rail is switched off then"""
    pays_beyond_s: float | None
    """[s] rest beyond which switching off takes less than standing by: the mean one where all its
    uses come at random; null where that is not known, or never"""
    rail_off: bool
    """whether it is a load whose rail is switched off between uses as well"""


def gating(build: Build) -> tuple[GateResult, ...]:
    """Everything of a build that tells a capacitance to be filled."""
    return tuple(_gates(build))


def _gates(build: Build) -> Iterator[GateResult]:
    assessed = build.assessed
    product, feed = assessed.product, assessed.feed
    line = assessed.timeline
    every = once(product, line.tasks, line.duration)
    lengths = {name: length[build.row] for name, length in every.items()}

    def at(one: Conversion) -> tuple[Array, Array]:
        """What a rail is filled to, and at which voltage the pack gives it, (1,) V each."""
        if one.converter is None:
            return (np.array([mean_voltage(build)]),) * 2
        return one.volts, np.array([real_voltage(build)])

    for r, rail in enumerate(product.rails):
        if rail.gate is not None and (rail.gated or not rail.standing.keys() - rail.idle.keys()):
            one = feed.rails[r]
            rate, rest = uses_of_rail(product, r)
            first = next(load for t in product.tasks for load in t.loads if load.on == r)
            volts, real = at(one)
            idle = _watts(one, _sum([d.current for d in rail.idle.values()]), real)
            yield _result(
                f"rail {rail.name}",
                rail.gated,
                rest if rate[0] > 0 else None,
                _on_average(product, r, rail.gate, lengths),
                all(t.random for t in product.tasks if any(x.on == r for x in t.loads)),
                rail.gate,
                one,
                first.demand.at(one.volts),
                first.whole,
                idle,
                volts,
                real,
            )
    for k, task in enumerate(product.tasks):
        for load in task.loads:
            if load.gate is None:
                continue
            one = feed.main if load.on is None else feed.rails[load.on]
            volts, real = at(one)
            watts: Array | None = None
            if load.standby is not None and not one.gated:
                stands = (product.standing_a + product.standing_w / one.volts)[:1]
                if load.on is not None:
                    stands = one.current(at_rest(product.rails[load.on]))[0, :1]
                stands = stands if load.gated else stands - load.standby[:1]
                watts = _watts(one, stands + load.standby, real) - _watts(one, stands, real)
            yield _result(
                f"load {load.name} of {task.name}",
                load.gated,
                rest_of_load(task, load),
                _of_load(product, k, load, load.gate, lengths),
                task.random,
                load.gate,
                one,
                load.demand.at(one.volts),
                load.whole,
                watts,
                volts,
                real,
                one.gated,
            )


def _on_average(product: ProductFigures, r: int, gate: Gate, lengths: Lengths) -> Array:
    """What a filling of a rail takes, (1,) F, on average over its uses at all times; lengths (1,) s
    of a try of each task's events."""
    found = [
        (share * _rate(then, name), farads)
        for share, then in _times(product)
        for name, farads in filled_of_rail(then, r, gate, lengths).items()
    ]
    return _mean(found, gate.capacitance)


def _of_load(
    product: ProductFigures, k: int, load: LoadFigures, gate: Gate, lengths: Lengths
) -> Array:
    """The same of a load of task `k`."""
    found = [
        (share / then.tasks[k].period, filled_of_load(then.tasks[k], load, gate, lengths))
        for share, then in _times(product)
    ]
    return _mean(found, gate.capacitance)


def _times(product: ProductFigures) -> list[tuple[Array, ProductFigures]]:
    """Each time of the calendar with its share (1,), the whole where there are none."""
    if not product.times:
        return [(np.ones(1), product)]
    return [(time.share, product.in_time(t)) for t, time in enumerate(product.times)]


def _rate(product: ProductFigures, name: str) -> Array:
    """How often a task's events are tried, (1,) 1/s."""
    task = next(task for task in product.tasks if task.name == name)
    return np.asarray((1.0 if task.tries is None else task.tries.mean) / task.period)


def _mean(found: list[tuple[Array, Array]], otherwise: Array) -> Array:
    """Mean of values (1,) by their rates (1,); what is never used is filled whole."""
    # what is not done at a time is not filled then
    some = [(rate, farads) for rate, farads in found if rate[0] > 0]
    if not some:
        return otherwise
    rates = [rate for rate, _ in some]
    return np.asarray(sum(r * f for r, f in some) / sum(rates))


def _sum(amounts: list[Array]) -> Array:
    return np.asarray(sum(amounts, np.zeros(1)))


def _states(amps: Array) -> RailStates:
    zero = np.zeros((1, len(amps)))
    return RailStates(
        load_a=amps[None], load_w=zero, fill_s=zero, starts=zero, on=np.array([[True]])
    )


def _watts(one: Conversion, amps: Array, real: Array) -> Array:
    """What the pack gives for a current at a rail, (1,) W."""
    a, w = one.carried(_states(amps))
    return np.asarray(a[0] * real + w[0])


def _result(
    name: str,
    gated: bool,
    rest: Array | None,
    filled: Array,
    random: bool,
    gate: Gate,
    one: Conversion,
    amps: Array,
    seconds: Array,
    watts: Array | None,
    volts: Array,
    real: Array,
    rail_off: bool = False,
) -> GateResult:
    """From what a load draws, (1,) A, while (1,) F of its rail's capacitance are filled over (1,) s
    to (1,) V, which the pack gives at its `real` ones."""
    full = gate.capacitance * volts
    charge = full if rest is None else filled * volts
    with np.errstate(divide="ignore", invalid="ignore"):
        more = _watts(one, amps + charge / seconds, real) - _watts(one, amps, real)
    start = one.start_up_j if one.rail and name == f"rail {one.rail}" else 0 * real
    filling = float((more * seconds)[0])
    each = filling / float(charge[0]) if charge[0] > 0 else 0.0
    pays = None
    if watts is not None and watts[0] > 0:
        law = _pays_at_random if random and gate.decay is not None else _pays
        pays = law(gate, each * float(full[0]), float(start[0]), float(watts[0]))
    return GateResult(
        gate=name,
        gated=gated,
        rest_s=None if rest is None else float(rest[0]),
        charge_c=float(charge[0]),
        energy_j=float((charge * volts)[0]),
        stored_j=float((full * volts)[0]) / 2,
        start_up_j=float(start[0]),
        takes_j=filling + float(start[0]),
        standing_by_w=None if watts is None else float(watts[0]),
        pays_beyond_s=pays,
        rail_off=rail_off,
    )


def _pays(gate: Gate, full_j: float, start_j: float, watts: float) -> float:
    """The greatest rest t at which start + full (1 - exp(-t/decay)) = watts x t, s.

    The left is concave, so from above the iteration falls onto its last root; at rests beyond it
    standing by takes more.
    """
    rest = (full_j + start_j) / watts
    if gate.decay is not None:
        decay = float(gate.decay[0])
        for _ in range(ROUNDS):
            rest = (start_j - full_j * float(np.expm1(-rest / decay))) / watts
    return rest


def _pays_at_random(gate: Gate, full_j: float, start_j: float, watts: float) -> float:
    """The mean rest t of exponential ones at which start + full t/(t + decay) = watts x t, s."""
    assert gate.decay is not None
    decay = float(gate.decay[0])
    half = (start_j + full_j - watts * decay) / (2 * watts)
    return half + float(np.sqrt(half**2 + start_j * decay / watts))
