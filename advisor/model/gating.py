"""Rails and loads that are switched off between uses, in the states of an event.

What is switched on fills its capacitance C: the source gives C V (1 - exp(-t/decay)) of charge at
the rail after a rest t (C V where it is empty again), so C V^2 of energy at the rail's voltage, of
which half is stored and half is lost in whatever switches it, whatever its resistance (a capacitor
charged from a constant voltage; textbook). t is the time between uses: the mean one, period less
length, where several tasks use it, where events come at random or are tried again. As the charge
bends downwards over t that is a bound, which the mean of random rests lies below.

A filling is spread over the state in which it is switched on, whose current it adds to. A rail is
on from the first to the last of its loads in an event; each try of a whole event switches anew.

Axes: S states of an event, N draws. SI units.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from advisor.model.draws import Array
from advisor.model.rails import RailStates
from advisor.model.workload import LoadFigures, ProductFigures, TaskFigures


def _tries(task: TaskFigures) -> Array | float:
    """How often an event is gone through, (N,), a mean count."""
    return 1.0 if task.tries is None else task.tries.mean


def rest_of_load(task: TaskFigures, load: LoadFigures) -> Array:
    """Mean time between the uses of a load, (N,) s."""
    return np.maximum(task.period / _tries(task) - load.whole, 0.0)


def _span(task: TaskFigures, rail: int) -> tuple[int, int] | None:
    """The first and the last of a task's loads on a rail, by their places; None without any."""
    at = [i for i, load in enumerate(task.loads) if load.on == rail]
    return (at[0], at[-1]) if at else None


def uses_of_rail(product: ProductFigures, rail: int) -> tuple[Array, Array]:
    """(how often a rail is used, (N,) 1/s; mean time between its uses, (N,) s)."""
    rate, on = np.zeros(product.share.shape[-1]), np.zeros(product.share.shape[-1])
    for task in product.tasks:
        span = _span(task, rail)
        if span is not None:
            often = _tries(task) / task.period
            rate = rate + often
            on = on + often * sum(load.whole for load in task.loads[span[0] : span[1] + 1])
    with np.errstate(divide="ignore", invalid="ignore"):
        rest = np.where(rate > 0, np.maximum(1 - on, 0.0) / rate, np.inf)
    return rate, rest


def load_states(task: TaskFigures, states: Sequence[int], count: int) -> Array:
    """What gated loads on the main rail fill over their states, (S, N) F/s; `states` are those of
    the task's loads among `count`."""
    fill = np.zeros((count, len(task.period)))
    for load, s in zip(task.loads, states, strict=True):
        if load.on is None:
            fill[s] += _filled(task, load)
    return fill


def _filled(task: TaskFigures, load: LoadFigures) -> Array:
    """What a load's own capacitance takes over its length, (N,) F/s."""
    if not load.gated or load.gate is None:
        return np.zeros_like(load.duration)
    return load.gate.filled(rest_of_load(task, load)) / load.whole


def rail_states(
    product: ProductFigures, task: TaskFigures, states: Sequence[int], count: int
) -> tuple[RailStates, ...]:
    """What each further rail carries in the states of a task's event; parameters as for
    `load_states`."""
    out = []
    for r, rail in enumerate(product.rails):
        shape = (count, len(task.period))
        a, w = np.zeros(shape) + rail.standing_a, np.zeros(shape) + rail.standing_w
        fill, starts = np.zeros(shape), np.zeros(shape)
        on = np.full((count, 1), not rail.gated)
        for load, s in zip(task.loads, states, strict=True):
            if load.on == r:
                a[s] += in_use(load, rail.gated)
                w[s] += load.demand.power
                fill[s] += _filled(task, load)
        span = _span(task, r)
        if rail.gated and span is not None:
            first, last = span
            on[states[first] : states[last] + 1] = True
            if rail.gate is not None:
                rest = uses_of_rail(product, r)[1]
                fill[states[first]] += rail.gate.filled(rest) / task.loads[first].whole
            starts[states[first]] = 1 / task.loads[first].whole
        out.append(RailStates(load_a=a, load_w=w, fill_s=fill, starts=starts, on=on))
    return tuple(out)


def in_use(load: LoadFigures, off: bool = False) -> Array:
    """Current that a load in use adds to what it draws between uses, (N,) A; `off` where its rail
    is switched off then."""
    if load.standby is None or load.gated or off:
        return load.demand.current
    return load.demand.current - load.standby


def together(parts: Sequence[tuple[RailStates, ...]]) -> tuple[RailStates, ...]:
    """The states of several events one behind the other, rail by rail."""
    return tuple(
        RailStates(
            load_a=np.concatenate([one.load_a for one in of]),
            load_w=np.concatenate([one.load_w for one in of]),
            fill_s=np.concatenate([one.fill_s for one in of]),
            starts=np.concatenate([one.starts for one in of]),
            on=np.concatenate([one.on for one in of]),
        )
        for of in zip(*parts, strict=True)
    )
