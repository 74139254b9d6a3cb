"""Rails and loads that are switched off between uses, in the states of an event.

What is switched on fills its capacitance C: the source gives C V (1 - exp(-t/decay)) of charge at
the rail after a rest t (C V where it is empty again), so C V^2 of energy at the rail's voltage, of
which half is stored and half is lost in whatever switches it, whatever its resistance (a capacitor
charged from a constant voltage; textbook). Rests are those that occur, and the charge is its mean
over them, which bends downwards over t and so is less than that of the mean rest:

- regular uses, a period T apart and l long, rest T - l;
- uses at random rest 0 where one waits for another to end, with the chance l/T of a queue with one
  server, else exponentially with the mean T (memoryless), so C V (1 - l/T) T/(T + decay);
- where several tasks use a rail the rest is since the last of all. A regular one of another task
  came evenly long ago, since their periods do not keep step, and

      E[1 - exp(-rest/decay)] = integral over x of exp(-x/decay)/decay P(rest > x);

- tries of a whole event rest for all else that a try does, from its wake on, as long as a build
  takes for it. While options are compared that is the loads alone: how long the rest takes goes by
  the options of all tasks. What is tried within a use lengthens it by its mean.

A filling is spread over the state in which it is switched on, whose current it adds to. Pulses are
held against the greatest one instead, after the longest rest, see `meetings`.
A rail is on from the first to the last of its loads in an event; each try of a whole event switches
anew.

Axes: S states of an event, N draws. SI units.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache

import numpy as np

from advisor.dataclass import dataclass
from advisor.model.draws import Array
from advisor.model.rails import Gate, RailStates, at_rest
from advisor.model.workload import LoadFigures, ProductFigures, TaskFigures

Lengths = Mapping[str, Array]  # of a try of each task's events in builds, (R, N) s
NONE: Lengths = {}


@cache
def _nodes() -> tuple[list[float], list[float]]:
    """Places on 0..1 and their weights for the mean over rests, whose chances are straight between
    the ends of regular periods."""
    places, weights = np.polynomial.legendre.leggauss(24)
    return ((places + 1) / 2).tolist(), (weights / 2).tolist()


@dataclass(frozen=True, slots=True)
class Use:
    """A use of something by a task: period and length (N,) s, of all tries of the event together,
    and whether it comes at random."""

    period: Array
    length: Array
    random: bool


def emptied(decay: Array, uses: Sequence[Use], own: int) -> Array:
    """Mean of 1 - exp(-rest/decay) before a use of task `own`, (N,) shares; decay (N,) s.

    `uses` are those of all tasks that share it. The weight exp(-x/decay) and the chances that none
    came at random since make one exponential, over which the rest is integrated.
    """
    rate, free, longest = 1 / decay, np.ones_like(decay), np.full_like(decay, np.inf)
    for use in uses:
        if use.random:
            rate = rate + 1 / use.period
            free = free * np.maximum(1 - use.length / use.period, 0.0)
        else:
            longest = np.minimum(longest, np.maximum(use.period - use.length, 0.0))
    whole = -np.expm1(-rate * longest)
    even = [use for k, use in enumerate(uses) if k != own and not use.random]
    total: Array = np.zeros_like(decay)
    for node, weight in zip(*_nodes(), strict=True):
        rest = -np.log1p(-whole * node) / rate
        ago = np.ones_like(decay)
        for use in even:
            ago = ago * np.maximum(1 - (rest + use.length) / use.period, 0.0)
        total = total + weight * ago
    return np.asarray(free * whole * total / (decay * rate))


def _filled(gate: Gate, uses: Sequence[Use], own: int, tries: Array, between: Array) -> Array:
    """What a filling takes on average, (N,) F: of the first try of an event, and of those that
    follow after a rest (N,) s."""
    if gate.decay is None:
        return gate.filled(between)
    first = gate.capacitance * emptied(gate.decay, uses, own)
    return np.asarray((first + (tries - 1) * gate.filled(between)) / tries)


def _tries(task: TaskFigures) -> Array:
    """How often an event is gone through, (N,), a mean count."""
    return np.ones_like(task.period) if task.tries is None else task.tries.mean


def _use(task: TaskFigures, length: Array, between: Array) -> Use:
    """A task's use of something that is on for so long in a try and off for so long until the next
    one, (N,) s each."""
    tries = _tries(task)
    return Use(task.period, tries * length + (tries - 1) * between, task.random)


def rest_of_load(task: TaskFigures, load: LoadFigures) -> Array:
    """Mean time between the uses of a load, (N,) s."""
    return np.maximum(task.period / _tries(task) - load.whole, 0.0)


def refills(product: ProductFigures) -> bool:
    """Whether what is filled goes by how long a try takes: events are tried again whole, and
    something empties meanwhile."""
    gates = [rail.gate for rail in product.rails if rail.gated]
    gates += [load.gate for task in product.tasks for load in task.loads if load.gated]
    empties = any(gate is not None and gate.decay is not None for gate in gates)
    return empties and any(task.tries is not None for task in product.tasks)


def once(product: ProductFigures, tasks: Sequence[slice], duration: Array) -> Lengths:
    """How long a try of each task's events takes in builds, (R, N) s; duration (R, S, N) s of all
    tries, `tasks` whose states are which."""
    return {
        task.name: duration[:, here].sum(axis=1) / _tries(task)
        for task, here in zip(product.tasks, tasks, strict=True)
    }


def filled_of_load(task: TaskFigures, load: LoadFigures, gate: Gate, once: Lengths = NONE) -> Array:
    """What switching on a load fills on average, (N,) F, (R, N) where `once` tells how long a try
    takes in builds."""
    between = _once(task, once) - load.whole
    return _filled(gate, [_use(task, load.whole, between)], 0, _tries(task), between)


def filled_of_rail(
    product: ProductFigures, rail: int, gate: Gate, once: Lengths = NONE
) -> dict[str, Array]:
    """What switching on a rail fills on average, (N,) F, by the tasks that use it; `once` as
    above."""
    users, lengths = users_of_rail(product, rail)
    gaps = [_once(task, once) - on for task, on in zip(users, lengths, strict=True)]
    uses = [_use(*of) for of in zip(users, lengths, gaps, strict=True)]
    return {
        task.name: _filled(gate, uses, k, _tries(task), between)
        for k, (task, between) in enumerate(zip(users, gaps, strict=True))
    }


def _once(task: TaskFigures, once: Lengths) -> Array:
    """How long a try of an event takes, (N,) or (R, N) s; that of its loads where nothing tells."""
    known = once.get(task.name)
    return _lengths(task, task.loads) if known is None else known


def _lengths(task: TaskFigures, loads: Sequence[LoadFigures]) -> Array:
    """How long some loads of a task are on together, (N,) s."""
    return sum((load.whole for load in loads), np.zeros_like(task.period))


def span_of(task: TaskFigures, rail: int) -> tuple[int, int] | None:
    """The first and the last of a task's loads on a rail, by their places; None without any."""
    at = [i for i, load in enumerate(task.loads) if load.on == rail]
    return (at[0], at[-1]) if at else None


def uses_of_rail(product: ProductFigures, rail: int) -> tuple[Array, Array]:
    """(how often a rail is used, (N,) 1/s; mean time between its uses, (N,) s)."""
    rate, on = np.zeros(product.share.shape[-1]), np.zeros(product.share.shape[-1])
    for task in product.tasks:
        span = span_of(task, rail)
        if span is not None:
            often = _tries(task) / task.period
            rate = rate + often
            on = on + often * sum(load.whole for load in task.loads[span[0] : span[1] + 1])
    with np.errstate(divide="ignore", invalid="ignore"):
        rest = np.where(rate > 0, np.maximum(1 - on, 0.0) / rate, np.inf)
    return rate, rest


def load_states(
    task: TaskFigures, states: Sequence[int], count: int, once: Lengths = NONE
) -> Array:
    """What gated loads on the main rail fill over their states, (S, N) F/s, (R, S, N) with `once`;
    `states` are those of the task's loads among `count`."""
    fill = np.zeros((*_rows(once), count, len(task.period)))
    for load, s in zip(task.loads, states, strict=True):
        if load.on is None:
            fill[..., s, :] += _own_filling(task, load, once)
    return fill


def _rows(once: Lengths) -> tuple[int, ...]:
    """How many builds there are, as the beginning of a shape."""
    return next(((len(length),) for length in once.values()), ())


def users_of_rail(product: ProductFigures, rail: int) -> tuple[list[TaskFigures], list[Array]]:
    """The tasks that use a rail, and how long it is on in one of their tries, (N,) s each."""
    users, on = [], []
    for task in product.tasks:
        span = span_of(task, rail)
        if span is not None and np.isfinite(task.period).all():
            users.append(task)
            on.append(_lengths(task, task.loads[span[0] : span[1] + 1]))
    return users, on


def longest_rest(users: Sequence[TaskFigures], on: Sequence[Array]) -> Array:
    """The longest rest that uses leave at any time, each on for (N,) s, (N,) s: without end where
    all come at random, or none at some time."""
    rests = []
    for t in range(max(len(users[0].periods), 1)):
        rest = np.full_like(on[0], np.inf)
        for task, length in zip(users, on, strict=True):
            if not task.random:
                period = task.periods[t] if task.periods else task.period
                rest = np.minimum(rest, np.maximum(period - length, 0.0))
        rests.append(rest)
    return np.asarray(np.maximum.reduce(rests))


def _own_filling(task: TaskFigures, load: LoadFigures, once: Lengths) -> Array:
    """What a load's own capacitance takes over its length, (N,) or (R, N) F/s."""
    if not load.gated or load.gate is None:
        return np.zeros_like(load.duration)
    return filled_of_load(task, load, load.gate, once) / load.whole


def rail_states(
    product: ProductFigures,
    task: TaskFigures,
    states: Sequence[int],
    count: int,
    once: Lengths = NONE,
) -> tuple[RailStates, ...]:
    """What each further rail carries in the states of a task's event; parameters as for
    `load_states`."""
    out = []
    for r, rail in enumerate(product.rails):
        shape = (count, len(task.period))
        a, w = np.zeros(shape) + rail.standing_a, np.zeros(shape) + rail.standing_w
        fill, starts = np.zeros((*_rows(once), *shape)), np.zeros(shape)
        on = np.full((count, 1), not rail.gated)
        for load, s in zip(task.loads, states, strict=True):
            if load.on == r:
                a[s] += in_use(load, rail.gated)
                w[s] += load.demand.power
                fill[..., s, :] += _own_filling(task, load, once)
        span = span_of(task, r)
        if rail.gated and span is not None:
            first, last = span
            on[states[first] : states[last] + 1] = True
            if rail.gate is not None:
                filled = filled_of_rail(product, r, rail.gate, once)
                if task.name in filled:  # one that is not done then is of no time
                    fill[..., states[first], :] += filled[task.name] / task.loads[first].whole
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
            fill_s=_joined([one.fill_s for one in of]),
            starts=np.concatenate([one.starts for one in of]),
            on=np.concatenate([one.on for one in of]),
        )
        for of in zip(*parts, strict=True)
    )


def refilled(
    product: ProductFigures, loads: Sequence[Sequence[bool]], once: Lengths
) -> tuple[Array, tuple[RailStates, ...]]:
    """What is filled in the states of builds, (R, S, N) F/s, and what further rails carry in them,
    whose tries take so long; `loads` tells of each task's states which are its loads."""
    fill, rails = [], []
    for task, states in zip(product.tasks, loads, strict=True):
        at = [s for s, load in enumerate(states) if load]
        fill.append(load_states(task, at, len(states), once))
        rails.append(rail_states(product, task, at, len(states), once))
    fill.append(np.zeros((1, product.share.shape[-1])))
    rails.append(tuple(at_rest(rail) for rail in product.rails))
    return _joined(fill), together(rails)


def _joined(parts: Sequence[Array]) -> Array:
    """What is filled in states one behind the other, (S, N) F/s; (R, S, N) where it is in some."""
    rows = np.broadcast_shapes(*(part.shape[:-2] for part in parts))
    return np.concatenate([np.broadcast_to(p, (*rows, *p.shape[-2:])) for p in parts], axis=-2)
