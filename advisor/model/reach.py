"""How deep a pack may be discharged under each option of a task, option by option.

The depth to which a pack carries a whole plan is that of its worst task, so options can be told
apart before plans are made. Most options strain no pack: a bound says so, and only the rest go
through the battery model.

Axes: R rows (a part on a feed each), Z sleep states, O options, S states of an event. Stated values
(N = 1).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.battery import Life, cut_off_depth
from advisor.model.drain import Drain, Pack, Seen
from advisor.model.draws import Array
from advisor.model.fed_rows import FedRows, Mask, TaskOptions
from advisor.model.sag import needed_voltage
from advisor.model.workload import ProductFigures

Index = tuple[NDArray[np.intp], ...]

ALL = 2.0  # reach of an option that never ends the pack's life: deeper than there is
DIGITS = 9  # of a reach or a headroom: levels closer than this are one


@dataclass(slots=True)
class Reach:
    """The depth to which a pack carries each option of a task by itself.

    rows, k : the feeds and the task. depth : (R, Z, O), `ALL` where no state of it ends the pack's
    life, 0 where a fresh pack cannot carry it, below 0 where a limit is broken. index : the Q
    options whose depth the battery model must tell, as indices (Q,) of each axis. cut_off : (Q,) V,
    theirs; pulse : (Q,) A, their limit. peak : (R, Z, O) A of the cells, fresh, where a pulse limit
    may bind.
    """

    rows: FedRows
    k: int
    depth: Array
    index: Index
    cut_off: Array
    pulse: Array
    peak: Array | None

    def asked(self) -> Iterator[tuple[str, Asked]]:
        """What the battery model is asked, each by its pack's name."""
        if self.index[0].size:
            for name, pack, start, end in self.rows.packs():
                first, behind = np.searchsorted(self.index[0], (start, end)).tolist()
                if behind > first:
                    yield name, Asked(self, pack, slice(first, behind))


@dataclass(frozen=True, slots=True)
class Asked:
    """Some of the options of a reach, all on one pack."""

    of: Reach
    pack: Pack
    some: slice

    @property
    def index(self) -> Index:
        """Theirs of each axis, (Q,) indices."""
        return tuple(of[self.some] for of in self.of.index)

    @property
    def count(self) -> int:
        """How many."""
        return int(self.some.stop - self.some.start)

    @property
    def limited(self) -> bool:
        """Whether the pack has a pulse limit."""
        return bool(np.isfinite(self.of.pulse[self.some]).any())


def take(pack: Pack, life: Life, asked: Sequence[Asked]) -> None:
    """Take what the battery model found of all that was asked about a pack."""
    cut = np.concatenate([one.of.cut_off[one.some] for one in asked])[:, None]
    pulse = np.concatenate([one.of.pulse[one.some] for one in asked])
    most = np.minimum(np.minimum(pack.least_capacity, 1.0), cut_off_depth(pack, cut))
    free = life.end_depth >= most - 10.0**-DIGITS
    depth = np.where(life.dead, 0.0, np.where(free, ALL, life.end_depth))[:, 0]
    fresh = life.start_peak_a[:, 0]
    limited = bool(np.isfinite(pulse).any())
    if limited:
        depth = np.where(fresh > pulse, -1.0, depth)
    end = 0
    for one in asked:
        start, end = end, end + one.count
        one.of.depth[one.index] = depth[start:end]
        if limited:
            assert one.of.peak is not None
            one.of.peak[one.index] = fresh[start:end]


def reach(rows: FedRows, product: ProductFigures, k: int, cut: Array, inside: Mask) -> Reach:
    """The reach of task `k`'s options, as far as bounds tell it.

    Parameters
    ----------
    cut : (R,) V, the cut-off. inside : (R, Z, O) options that are asked about.
    """
    task = rows.tasks[k]
    depth = np.where(task.peak > rows.most_output_a[:, None, None], -1.0, ALL)
    low = np.maximum(rows.cut_off_v, cut)
    able = inside & (depth > 0)
    # a task with one option has nothing to choose by
    index = np.nonzero(able & (inside.sum(axis=2) > 1)[:, :, None])
    if index[0].size:
        index = _of(index, _strained(rows, task, index, low[index[0]]))
    if index[0].size:
        # what another option beats in every way need not be looked at
        asks = np.zeros(inside.shape[:2], dtype=bool)
        asks[index[:2]] = True
        at = np.nonzero(asks)
        beaten = np.zeros(inside.shape, dtype=bool)
        beaten[at] = _beaten(rows, task, at, able[at])
        out = beaten[index]
        depth[_of(index, out)] = 0.0
        index = _of(index, ~out)
    pulse = rows.most_pulse_a[index[0]]
    return Reach(
        rows=rows,
        k=k,
        depth=depth,
        index=index,
        cut_off=low[index[0]],
        pulse=pulse,
        peak=task.peak.copy() if np.isfinite(pulse).any() else None,
    )


def _of(index: Index, some: Mask) -> Index:
    """Some of the options that an index tells."""
    return tuple(of[some] for of in index)


def _strained(rows: FedRows, task: TaskOptions, index: Index, cut: Array) -> Mask:
    """Whether options (Q,) may fall short of the cut-off or pass the pulse limit: a bound.

    Behind the pack's greatest resistance, at its lowest voltage of interest; a reservoir only
    helps. The kinetic battery model is always asked.
    """
    row = index[0]
    a, w, there = task.a[index], task.w[index], task.duration[index] > 0
    low = cut[:, None]
    # the open voltage's own end at the cut-off is alike for all
    needed = needed_voltage(rows.ohm[row, None], a, w if w.any() else None, low)
    short = np.maximum(rows.last_v[row, None], low) < needed
    most = rows.most_pulse_a[row, None]
    if np.isfinite(most).any():
        volts = np.broadcast_to(np.minimum(low, rows.fresh_v[row, None]), w.shape)
        with np.errstate(divide="ignore"):
            short |= a + np.divide(w, volts, out=np.zeros_like(w), where=w > 0) > most
    return np.asarray((there & short).any(axis=1) | rows.kinetic[row])


def _beaten(rows: FedRows, task: TaskOptions, at: Index, among: Mask) -> Mask:
    """(M, O): options that another meets or beats by charge, by greatest current and by length, of
    some rows and sleep states.

    All at the fresh pack's voltage and at the empty one's; of equals the first stays.
    """
    there, a, w = task.duration[at] > 0, task.a[at], task.w[at]
    charge_a, charge_w = task.charge_a[at], task.charge_w[at]
    sides = [task.length[at]]
    for volts in (rows.fresh_v[at[0]], np.maximum(rows.empty_v[at[0]], 1e-3)):
        sides.append(charge_a + charge_w / volts[:, None])
        sides.append(np.where(there, a + w / volts[:, None, None], 0.0).max(axis=2))
    count = among.shape[1]
    no_worse = among[:, :, None] & among[:, None, :]
    alike = no_worse.copy()
    for side in sides:
        no_worse &= side[:, :, None] <= side[:, None, :]
        alike &= side[:, :, None] == side[:, None, :]
    earlier = np.arange(count)[:, None] < np.arange(count)[None, :]
    return np.asarray((no_worse & (~alike | earlier)).any(axis=1))


def alone(product: ProductFigures, asked: Sequence[Asked]) -> Drain:
    """What a pack would carry if a task were the only one, for all that is asked about, as rows.

    The other tasks' states take no time. All that is asked is of one pack, and of tasks that are
    done at the same of the product's times.
    """
    tasks = asked[0].of.rows.tasks
    ends = np.cumsum([t.duration.shape[3] for t in tasks]).tolist()
    states = tuple(
        slice(end - t.duration.shape[3], end) for end, t in zip(ends, tasks, strict=True)
    )
    shape = (sum(one.count for one in asked), ends[-1] + 1)
    constant, power = np.empty(shape), np.empty(shape)
    duration, share = np.zeros(shape), np.zeros(shape)
    last = 0
    for one in asked:
        first, last = last, last + one.count
        index, mine = one.index, slice(first, last)
        task, here = one.of.rows.tasks[one.of.k], (mine, states[one.of.k])
        rest_a, rest_w = task.rest_a[index[:2]][:, None], task.rest_w[index[:2]][:, None]
        spans = task.duration[index]
        there = spans > 0
        constant[mine], power[mine] = rest_a, rest_w
        constant[here] = np.where(there, task.a[index], rest_a)
        power[here] = np.where(there, task.w[index], rest_w)
        duration[here] = spans
        share[here] = spans / product.tasks[one.of.k].period[0]
        share[mine, -1] = np.maximum(1 - share[here].sum(axis=1), 0.0)
    drain = Drain(
        constant_a=constant[:, :, None],
        power_w=power[:, :, None],
        share=share[:, :, None],
        duration_s=duration[:, :, None],
        tasks=states,
        period_s=np.array([t.period[:1] for t in product.tasks]),
        cut_off_v=np.concatenate([one.of.cut_off[one.some] for one in asked])[:, None],
    )
    pack, then = asked[0].pack, done_at(product, asked[0].of.k)
    if not then:
        return drain
    # at its worst times
    ease = np.maximum.reduce([pack.eases[t] for t in then])
    strain = np.maximum.reduce([pack.strains[t] for t in then])
    return replace(drain, seen=(Seen(ease, drain, strain),))


def done_at(product: ProductFigures, k: int) -> tuple[int, ...]:
    """At which of the product's times a task is done."""
    return tuple(t for t in range(len(product.times)) if k in product.done(t))
