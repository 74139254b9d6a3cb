"""What the pack must carry where events come by chance: pulses that meet, bursts, many tries.

The core does one thing at a time, so an event that finds it busy waits. But while a load is on and
the core sleeps, an event at random may come: then both draw. Events at random may come one right
behind the other, and tries may fail several times in a row: as often as is to be expected once in
the product's life. What is switched on is filled after rests of many lengths, by chance or since
the periods of several tasks on a rail do not keep step: the longest counts. All four are bounds,
taken together, by which sag, pulses and the kinetic battery model are held; the mean current is not
touched.

Axes: R rows, S states, N draws. SI units.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from advisor.catalogue.schema_supply import Cell
from advisor.model.drain import Drain, Pack
from advisor.model.draws import Array
from advisor.model.events import Timeline, tried
from advisor.model.gating import longest_rest, span_of, users_of_rail
from advisor.model.workload import ProductFigures, TaskFigures
from advisor.quantities import show

MOST = 4  # events of a task right behind each other that are looked at
# loads on at once are held apart in so many sets; of a further task the most of each kind is taken
MOST_SETS = 16
# kinds are A, W and F/s of the main rail, then of each further one, with what it fills itself
OWN = slice(6, None, 4)

Beside = tuple[Array, Array, Array]


def coinciding(
    product: ProductFigures, lines: Timeline, done: Sequence[int], once: bool
) -> list[list[Beside]]:
    """Loads that may be on beside each state, (S, N) A, W and F/s: those during which the core
    sleeps, of other tasks, where of each two that meet one comes at random; of the main rail, then
    of the further ones. `done` are the tasks in question; fillings and `once` as for `fullest`.

    A task has one load on at a time, and which of them is the worst goes by what feeds its rail: a
    list for each choice that may be the worst, with the first one where a state has fewer. A rail
    that is switched off between uses is filled by one of the tasks that meet on it: the others find
    it full.
    """
    main, fillings = _fillings(product, lines, once)
    kinds = [lines.load_a, lines.load_w, main]
    for rail, (of_loads, own, _) in zip(lines.rails, fillings, strict=True):
        # beyond what stands there all the time
        stands = rail.on[-1] * rail.load_a[-1], rail.on[-1] * rail.load_w[-1]
        kinds += [rail.load_a - stands[0], rail.load_w - stands[1], of_loads, own]
    every = np.stack(kinds, axis=1)
    on: dict[int, list[Array]] = {}
    for k in done:
        asleep = {load.name for load in product.tasks[k].loads if load.asleep}
        states = [
            s
            for s, name in enumerate(lines.names[k], lines.tasks[k].start)
            if name.kind == "load" and name.name in asleep
        ]
        on[k] = _unlike([np.zeros_like(every[0]), *every[states]])
    sets = {k: _sets(product, on, k) for k in done}
    out = []
    for n in range(max((len(of) for of in sets.values()), default=1)):
        more = np.zeros_like(every)
        for k, of in sets.items():
            here = lines.tasks[k]
            more[here] = of[n] if n < len(of) else of[0]
            more[here, OWN] = np.maximum(more[here, OWN] - every[here, OWN], 0.0)
        a, w, fill = (more[:, kind] for kind in range(3))
        further = [more[:, first : first + 4] for first in range(3, more.shape[1], 4)]
        out.append([(a, w, fill), *((of[:, 0], of[:, 1], of[:, 2] + of[:, 3]) for of in further)])
    return out


def _sets(product: ProductFigures, on: Mapping[int, Sequence[Array]], k: int) -> list[Array]:
    """What may be on at once beside a state of task `k`, (M, N) each, those that may be the worst.

    Of `on`, what each task may have on, it is one of every other task that comes at random, and,
    beside a random one, one of a single regular task: two of these do not meet.
    """
    others = [j for j in on if j != k]
    regular = [one for j in others if not product.tasks[j].random for one in on[j]]
    choices = [on[j] for j in others if product.tasks[j].random]
    if product.tasks[k].random and regular:
        choices.append(regular)
    found = [np.zeros_like(on[k][0])]
    for choice in choices:
        more = _unlike([_both(one, its) for one in found for its in choice])
        if len(more) > MOST_SETS:
            most = np.maximum.reduce(choice)
            more = _unlike([_both(one, most) for one in found])
        found = more
    return found


def _both(one: Array, other: Array) -> Array:
    """What two sets draw and fill together, (M, N) each: a rail's own filling only once."""
    out = one + other
    out[OWN] = np.maximum(one[OWN], other[OWN])
    return np.asarray(out)


def _unlike(sets: Sequence[Array]) -> list[Array]:
    """Those of some sets, (M, N) each, that may be the worst: two are one, the greater in each
    draw, where in all draws one of them is the less in no kind."""
    kept: list[Array] = []
    for one in sets:
        n = 0
        while n < len(kept):
            most = np.maximum(one, kept[n])
            if ((most == one).all(axis=0) | (most == kept[n]).all(axis=0)).all():
                one = most
                del kept[n]
                n = 0
            else:
                n += 1
        kept.append(one)
    return kept


def fullest(product: ProductFigures, lines: Timeline, once: bool) -> Timeline:
    """A timeline with the most that is filled in each state: after the longest rest of all times,
    and `once` spread over one try of the state, as its current is then; a converter's start too.
    """
    main, fillings = _fillings(product, lines, once)
    changed = [
        replace(one, fill_s=of_loads + own, starts=starts)
        for one, (of_loads, own, starts) in zip(lines.rails, fillings, strict=True)
    ]
    return replace(lines, fill_s=main, rails=tuple(changed))


def _fillings(
    product: ProductFigures, lines: Timeline, once: bool
) -> tuple[Array, list[tuple[Array, Array, Array]]]:
    """What is filled at the most, see `fullest`: (S, N) F/s by loads on the main rail; of each
    further rail by the loads on it and by itself, (S, N) F/s, and starts of its converter, (S, N)
    1/s."""
    main = np.zeros_like(lines.load_a)
    rails = [(np.zeros_like(main), np.zeros_like(main), np.zeros_like(main)) for _ in lines.rails]
    for task, here, names in zip(product.tasks, lines.tasks, lines.names, strict=True):
        at = [s for s, name in enumerate(names, here.start) if name.kind == "load"]
        for load, s in zip(task.loads, at, strict=True):
            if load.gated and load.gate is not None:
                filled = load.gate.filled(longest_rest([task], [load.whole]))
                fill = main if load.on is None else rails[load.on][0]
                fill[s] += filled / (load.duration if once else load.whole)
        for r, rail in enumerate(product.rails):
            span = span_of(task, r)
            if not rail.gated or span is None:
                continue
            _, own, starts = rails[r]
            first, s = task.loads[span[0]], at[span[0]]
            length = first.duration if once else first.whole
            starts[s] = 1 / length
            if rail.gate is not None:
                own[s] = rail.gate.filled(longest_rest(*users_of_rail(product, r))) / length
    return main, rails


def met(lines: Timeline, beside: Sequence[Beside]) -> Timeline:
    """A timeline with what may be on beside its states; see `coinciding`."""
    (a, w, fill), *further = beside
    rails = tuple(
        replace(
            rail,
            load_a=rail.load_a + more_a,
            load_w=rail.load_w + more_w,
            fill_s=rail.fill_s + more_fill,
            on=rail.on | (more_a + more_w > 0).any(axis=1, keepdims=True),
        )
        for rail, (more_a, more_w, more_fill) in zip(lines.rails, further, strict=True)
    )
    return replace(
        lines,
        load_a=lines.load_a + a,
        load_w=lines.load_w + w,
        fill_s=lines.fill_s + fill,
        rails=rails,
    )


def heaviest(pack: Pack, drains: Sequence[Drain]) -> Drain:
    """One drain that asks for no less than any of some does, whose states are the same, at all
    voltages between the cut-off and that of a fresh pack.

    In each state (R, S, N) it is the one that draws the most A at both of these voltages. Where it
    is not the same at both it is A + P/V' through the most at either: currents A + P/V' + G V' bend
    upwards over 1/V', so the most of them lies below that line in between.
    """
    first, *others = drains
    if not others:
        return first
    high = np.broadcast_to(pack.open_v[0], first.cut_off_v.shape)
    low = np.maximum(first.cut_off_v, 1e-3 * high)  # a source may have no cut-off
    high = np.maximum(high, low * (1 + 1e-6))
    fills = [np.zeros_like(first.power_w) if d.filling is None else d.filling[0] for d in drains]
    told_v = next((d.filling[1] for d in drains if d.filling is not None), None)
    # what each fills beyond that is another current; a reservoir takes all of it as a constant one
    bridged = pack.reservoir is not None
    siemens = (np.maximum if bridged else np.minimum).reduce(fills)
    constant, power = first.constant_a.copy(), first.power_w.copy()
    for s in range(constant.shape[1]):
        a = np.stack([d.constant_a[:, s] for d in drains])
        w = np.stack([d.power_w[:, s] for d in drains])
        more = np.zeros_like(a)
        if told_v is not None and not bridged:
            more = np.stack([fill[:, s] for fill in fills]) - siemens[:, s]
        if not any((of != of[0]).any() for of in (a, w, more)):
            continue
        steady = a if told_v is None else a - more * told_v
        at_low, at_high = (steady + w / v + more * v for v in (low, high))
        most_low, most_high = at_low.max(axis=0), at_high.max(axis=0)
        slope = np.maximum(most_low - most_high, 0.0) / (1 / low - 1 / high)
        chosen = at_high.argmax(axis=0)[None]
        its_a, its_w, its_more, its_low = (
            np.take_along_axis(of, chosen, axis=0)[0] for of in (a, w, more, at_low)
        )
        alone = (its_low >= most_low) & (its_more == 0)
        constant[:, s] = np.where(alone, its_a, most_high - slope / high)
        power[:, s] = np.where(alone, its_w, slope)
    filling = None if told_v is None else (siemens, told_v)
    return replace(first, constant_a=constant, power_w=power, filling=filling)


def strained(product: ProductFigures, drain: Drain, done: Sequence[int]) -> Drain:
    """A drain with its events as long as rare tries make them, and as many right behind each other
    as are to be expected once, where they come at random and are `done`."""
    lengths = np.empty_like(drain.duration_s)
    lengths[:, -1] = drain.duration_s[:, -1]
    counts = []
    for k, (task, here) in enumerate(zip(product.tasks, drain.tasks, strict=True)):
        events = product.events_of(k)
        lengths[:, here] = drain.duration_s[:, here] * _longest(task, events)
        count = np.ones_like(drain.cut_off_v)
        if task.random and k in done:
            busy = lengths[:, here].sum(axis=1) / drain.period_s[k]
            count = np.fmin(_burst(busy, events), MOST)
        counts.append(count)
    copies = tuple(counts) if any((count > 1).any() for count in counts) else ()
    return replace(drain, duration_s=lengths, copies=copies)


def _longest(task: TaskFigures, events: float) -> Array:
    """What the rarest tries of a life make of each state's mean length, (S, N) times it."""
    whole = 1.0 if task.tries is None else task.tries.within(events) / task.tries.mean
    each = [
        np.ones_like(task.period) if t is None else t.within(events) / t.mean for t in tried(task)
    ]
    return np.stack([whole * one for one in each])


def _burst(busy: Array, events: float) -> Array:
    """Events right behind each other that are to be expected once among so many, (R, N).

    Each comes before the one before it has ended with no more than its busy share, busy (R, N).
    """
    share = np.clip(busy, 1e-300, 1 - 1e-9)
    return np.asarray(1 + np.ceil(np.log(max(events, 2.0)) / -np.log(share)))


def variance(product: ProductFigures, drain: Drain, volts: Array, tries: Array | None) -> Array:
    """Variance of the charge that events take beyond rest, (R, N) C^2 a second.

    Compound Poisson where they come at random, else that of their tries; volts (N,) at which powers
    are taken, tries (S, N) that the drain's lengths hold.
    """
    rest_a = drain.constant_a[:, -1:] + drain.power_w[:, -1:] / volts
    beyond = drain.constant_a + drain.power_w / volts - rest_a
    once = drain.duration_s if tries is None else drain.duration_s / tries
    out = np.zeros_like(drain.cut_off_v)
    for k, task in enumerate(product.tasks):
        here = drain.tasks[k]
        each = beyond[:, here] * once[:, here]
        mean, spread = np.zeros_like(out), np.zeros_like(out)
        for s, t in enumerate(tried(task)):
            mean = mean + each[:, s] * (1.0 if t is None else t.mean)
            spread = spread + (0.0 if t is None else each[:, s] ** 2 * t.variance)
        if task.tries is not None:
            spread = task.tries.mean * spread + task.tries.variance * mean**2
            mean = task.tries.mean * mean
        out += (spread + (mean**2 if task.random else 0.0)) / task.period
    return out


def rest_before(product: ProductFigures, k: int) -> tuple[Array, Array]:
    """(longest rest s, coldest place degC) of a task's events, (N,) each.

    The rest is its period, the longest of those at which it is done at all, as times have no
    lengths; the longest of many gaps where it comes at random (that of n is ln n times the mean;
    exponential); or what comes before use.
    """
    task = product.tasks[k]
    then = [t for t in range(len(product.times)) if k in product.done(t)]
    rest = np.maximum.reduce([task.periods[t] for t in then]) if then else task.period
    if task.random:
        rest = rest * np.log(np.maximum(product.lasts_s / rest, np.e))
    stored = sum((phase.duration for phase in product.before), np.zeros_like(rest))
    places = [product.temperature[product.times[t].places] for t in then] or [product.temperature]
    return np.maximum(rest, stored), np.concatenate(places).min(axis=0)


def longer_rests(cell: Cell, product: ProductFigures) -> list[str]:
    """That a cell is to rest longer than was measured, in words."""
    if cell.after_rest is None or not product.tasks:
        return []
    longest = max(float(rest_before(product, k)[0][0]) for k in range(len(product.tasks)))
    if longest <= cell.after_rest.at[-1]:
        return []
    on = "goes on as between the two longest" if len(cell.after_rest.at) > 1 else "is held"
    return [
        f"{cell.cell}: rests of up to {show(longest, 'time')} are longer than the longest that "
        f"after-rest was measured with; beyond it the voltage {on}"
    ]


def task_peak(drain: Drain, k: int) -> Array:
    """Greatest current of the cells in a task's events, (R, N) A, its powers at the cut-off."""
    here = drain.tasks[k]
    there = drain.duration_s[:, here] > 0
    with np.errstate(divide="ignore", invalid="ignore"):
        power = np.where(
            drain.power_w[:, here] > 0, drain.power_w[:, here] / drain.cut_off_v[:, None], 0.0
        )
    amps = drain.constant_a[:, here] + power
    return np.asarray(np.where(there, amps, 0.0).max(axis=1))
