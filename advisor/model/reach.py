"""How deep a pack may be discharged under each option of a task, option by option.

The depth to which a pack carries a whole plan is that of its worst task, so options can be told
apart before plans are made. Most options strain no pack: a bound says so, and only the rest go
through the battery model.

Axes: P parts, Z sleep states, O options, S states of an event. Stated values (N = 1).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.battery import Life, cut_off_depth
from advisor.model.drain import Drain, Pack, Seen
from advisor.model.draws import Array
from advisor.model.events import EventStates
from advisor.model.packs import Feed
from advisor.model.rails import at_rest
from advisor.model.sag import needed_voltage
from advisor.model.tables import Stack
from advisor.model.workload import ProductFigures

Mask = NDArray[np.bool_]

ALL = 2.0  # reach of an option that never ends the pack's life: deeper than there is
DIGITS = 9  # of a reach or a headroom: levels closer than this are one


@dataclass(frozen=True, slots=True)
class TaskOptions:
    """One task's options on a feed: currents of the states at the pack, charges, lengths.

    Attributes
    ----------
    a, w : (P, Z, O, S) A, W. rest_a, rest_w : (P, Z). charge_a C, charge_w W s : (P, Z, O) above
    sleeping as long. length, shortest : (P, Z, O) s, on average and where
    all works at once. duration : (P, Z, O, S) s. peak : (P, Z, O) A, the
    greatest current at the rail.
    """

    a: Array
    w: Array
    rest_a: Array
    rest_w: Array
    charge_a: Array
    charge_w: Array
    length: Array
    duration: Array
    peak: Array
    shortest: Array


def task_options(
    feed: Feed, stack: Stack, product: ProductFigures, event: EventStates
) -> TaskOptions:
    """What one task's options draw on a feed."""
    standing_a, standing_w = product.standing_a, product.standing_w
    other_a = event.load_a + standing_a + event.fill_s * feed.main.volts
    other_w = event.load_w + standing_w
    a, w = feed.cell_side(event.chip_a, event.chip_w, other_a, other_w, event.rails)
    rest = [at_rest(rail) for rail in product.rails]
    rest_a, rest_w = feed.cell_side(event.rest_a, event.rest_w, standing_a, standing_w, rest)
    duration = event.duration[..., 0]
    at_rail = event.chip_a + other_a + (event.chip_w + other_w) / feed.chip_voltage()
    peak = np.where(event.duration > 0, at_rail, 0.0).max(axis=3)[..., 0]
    above_a = (duration * (a[..., 0] - rest_a[:, :, None])).sum(axis=3)
    above_w = (duration * (w[..., 0] - rest_w[:, :, None])).sum(axis=3)
    return TaskOptions(
        a=a[..., 0],
        w=w[..., 0],
        rest_a=rest_a[..., 0],
        rest_w=rest_w[..., 0],
        charge_a=above_a,
        charge_w=above_w,
        length=event.length[..., 0],
        shortest=event.shortest[..., 0],
        duration=duration,
        peak=peak,
    )


@dataclass(slots=True)
class Reach:
    """The depth to which a pack carries each option of a task by itself.

    depth : (P, Z, O), `ALL` where no state of it ends the pack's life, 0 where a fresh pack cannot
    carry it, below 0 where a limit is broken. index : options whose depth the battery model must
    tell, as rows of what `drain` makes. cut_off : (R,) V, theirs. peak : (P, Z, O) A of the cells,
    fresh, where the pulse limit may bind. pulse : that limit, A.
    """

    depth: Array
    index: tuple[NDArray[np.intp], ...]
    drain: Callable[[], Drain]
    cut_off: Array
    peak: Array | None
    pulse: float

    def take(self, pack: Pack, life: Life) -> None:
        """Take what the battery model found of the rows."""
        most = np.minimum(
            np.minimum(pack.least_capacity, 1.0), cut_off_depth(pack, self.cut_off[:, None])
        )
        free = life.end_depth >= most - 10.0**-DIGITS
        depth = np.where(life.dead, 0.0, np.where(free, ALL, life.end_depth))[:, 0]
        if np.isfinite(self.pulse):
            fresh = life.start_peak_a[:, 0]
            assert self.peak is not None
            self.peak[self.index] = fresh
            depth = np.where(fresh > self.pulse, -1.0, depth)
        self.depth[self.index] = depth


def reach(
    feed: Feed,
    product: ProductFigures,
    tasks: Sequence[TaskOptions],
    k: int,
    cut: Array,
    inside: Mask,
) -> Reach:
    """The reach of task `k`'s options, as far as bounds tell it.

    Parameters
    ----------
    cut : (P,) V, the cut-off. inside : (P, Z, O) options that are asked about.
    """
    task = tasks[k]
    depth = np.full(inside.shape, ALL)
    depth[task.peak > feed.most_output_a] = -1.0
    pulse = feed.most_pulse_a
    low = np.broadcast_to(np.maximum(feed.cut_off_v[0], cut)[:, None, None], inside.shape)
    # a task with one option has nothing to choose by
    asks = inside & (depth > 0) & (inside.sum(axis=2) > 1)[:, :, None]
    if asks.any():
        asks &= _strained(feed, task, low, pulse)
    if asks.any():
        # what another option beats in every way need not be looked at
        beaten = asks & _beaten(feed, task, inside & (depth > 0))
        depth[beaten] = 0.0
        asks &= ~beaten
    index = np.nonzero(asks)
    peak = task.peak.copy() if index[0].size and np.isfinite(pulse) else None
    return Reach(
        depth=depth,
        index=index,
        # made when it is asked for: of many tasks each has the states of all
        drain=partial(_alone, feed.pack, product, tasks, k, index, low[index]),
        cut_off=low[index],
        peak=peak,
        pulse=pulse,
    )


def _strained(feed: Feed, task: TaskOptions, cut: Array, pulse: float) -> Mask:
    """Whether an option may fall short of the cut-off or pass the pulse limit: a bound.

    Behind the pack's greatest resistance, at its lowest voltage of interest; a reservoir only
    helps. The kinetic battery model is always asked.
    """
    pack = feed.pack
    out = np.zeros(cut.shape, dtype=bool)
    if pack.two_well is not None:
        return ~out
    fresh, ohms = float(pack.open_v[0, 0]), pack.resistance.max()
    last = float(np.interp(min(float(pack.least_capacity[0]), 1.0), pack.depth, pack.open_v[:, 0]))
    for s in range(task.a.shape[3]):
        a, w = task.a[..., s], task.w[..., s]
        there = task.duration[..., s] > 0
        power = w if w.any() else None
        # the open voltage's own end at the cut-off is alike for all
        short = np.maximum(last, cut) < needed_voltage(ohms, a, power, cut)
        if np.isfinite(pulse):
            with np.errstate(divide="ignore"):
                short |= a + (0.0 if power is None else w / np.minimum(cut, fresh)) > pulse
        out |= there & short
    return out


def _beaten(feed: Feed, task: TaskOptions, among: Mask) -> Mask:
    """(P, Z, O): options that another meets or beats by charge, by greatest current and by length.

    All at the fresh pack's voltage and at the empty one's; of equals the first stays.
    """
    volts = float(feed.pack.open_v[0, 0]), max(float(feed.pack.open_v[-1, 0]), 1e-3)
    there = task.duration > 0
    sides = [task.length]
    for v in volts:
        sides.append(task.charge_a + task.charge_w / v)
        sides.append(np.where(there, task.a + task.w / v, 0.0).max(axis=3))
    count = among.shape[2]
    no_worse = among[..., :, None] & among[..., None, :]
    alike = no_worse.copy()
    for side in sides:
        no_worse &= side[..., :, None] <= side[..., None, :]
        alike &= side[..., :, None] == side[..., None, :]
    earlier = np.arange(count)[:, None] < np.arange(count)[None, :]
    return np.asarray((no_worse & (~alike | earlier)).any(axis=2))


def _alone(
    pack: Pack,
    product: ProductFigures,
    tasks: Sequence[TaskOptions],
    k: int,
    index: tuple[NDArray[np.intp], ...],
    cut: Array,
) -> Drain:
    """What the pack would carry if a task were the only one, for some options as rows.

    The other tasks' states take no time.
    """
    p, z, _ = index
    task = tasks[k]
    ends = np.cumsum([t.duration.shape[3] for t in tasks])
    states = tuple(
        slice(int(end) - t.duration.shape[3], int(end)) for end, t in zip(ends, tasks, strict=True)
    )
    shape = (len(p), int(ends[-1]) + 1)
    constant = np.repeat(task.rest_a[p, z][:, None], shape[1], axis=1)
    power = np.repeat(task.rest_w[p, z][:, None], shape[1], axis=1)
    duration, share = np.zeros(shape), np.zeros(shape)
    here, spans = states[k], task.duration[index]
    there = spans > 0
    constant[:, here] = np.where(there, task.a[index], constant[:, here])
    power[:, here] = np.where(there, task.w[index], power[:, here])
    duration[:, here] = spans
    share[:, here] = spans / product.tasks[k].period[0]
    share[:, -1] = np.maximum(1 - share[:, here].sum(axis=1), 0.0)
    drain = Drain(
        constant_a=constant[:, :, None],
        power_w=power[:, :, None],
        share=share[:, :, None],
        duration_s=duration[:, :, None],
        tasks=states,
        period_s=np.array([t.period[:1] for t in product.tasks]),
        cut_off_v=cut[:, None],
    )
    then = [t for t in range(len(product.times)) if k in product.done(t)]
    if not then:
        return drain
    # at its worst times
    ease = np.maximum.reduce([pack.eases[t] for t in then])
    strain = np.maximum.reduce([pack.strains[t] for t in then])
    return replace(drain, seen=(Seen(ease, drain, strain),))
