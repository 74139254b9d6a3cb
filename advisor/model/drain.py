"""A pack and what it carries, as the battery model takes them.

Axes: R rows (builds on one pack), S states, N draws, G depths. SI units.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.ageing import Ageing
from advisor.model.leak_curve import LeakCurve
from advisor.model.pieces import across, between, piece_and_share

Array = NDArray[np.float64]

STEEPEST = 0.85  # ratio of voltages over a step of the depth grid


@dataclass(frozen=True, slots=True)
class Pack:
    """A pack at the product's temperatures.

    Attributes
    ----------
    depth : (G,) from 0 to 1, ascending. open_v : (G, N) V, not rising. resistance : (G, N) ohm,
    at the worst temperature. capacity_c : (N,) C. self_discharge_a, leak_a : (N,) A.
    least_capacity, mean_capacity : (N,) usable share in the coldest place, and on average.
    shelf_life_s : (N,) s, infinite where none. two_well : (c, k in 1/s), each (N,), or None.
    reservoir : (capacitance F, esr ohm), each (N,), or None. ideal : a flat source. figures : those
    of the cell that ends of life read, (N,) by their keys, if it states them. eases : at each of
    the product's times, its share (N,) of the resistance; strains : what a current of the cells
    counts (N,) then, of one where the pulse limit is least. stored_loss_a : in each phase before
    use, the self-discharge, (N,) A. every_s : (N,) s from one charge to the next, None where nobody
    charges it; ageing : how it then ages, if that is stated. drip : what a cell that states its
    leakage over voltage loses by itself at each of the pack's; self_discharge_a and stored_loss_a
    are its mean over depth then.
    """

    depth: Array
    open_v: Array
    resistance: Array
    capacity_c: Array
    self_discharge_a: Array
    leak_a: Array
    least_capacity: Array
    mean_capacity: Array
    shelf_life_s: Array
    two_well: tuple[Array, Array] | None = None
    reservoir: tuple[Array, Array] | None = None
    ideal: bool = False
    figures: Mapping[tuple[str, ...], Array] = field(default_factory=dict)
    eases: tuple[Array, ...] = ()
    strains: tuple[Array, ...] = ()
    stored_loss_a: tuple[Array, ...] = ()
    every_s: Array | None = None
    ageing: Ageing | None = None
    drip: LeakCurve | None = None


@dataclass(frozen=True, slots=True)
class Drain:
    """What the pack carries: i = constant_a + power_w/V' in each state.

    Attributes
    ----------
    constant_a, power_w : (R, S, N) A, W. share : (R, S, N) of the time. duration_s : (R, S, N)
    per event. tasks : the states of each task's event, in order; the last state is the rest
    between events and in no task. period_s : (K, N). cut_off_v : (R, N) V. seen : what pulses are
    held against, where that is not the drain itself. before : what the first pack gives before use.
    copies : how many events of each task come right behind each other, (R, N); once each if empty.
    variance : (R, N) C^2 a second, that of the charge that events take by chance; luck : (N,)
    standard normal deviates of what a device's own events come to. filling : what is filled
    straight from the pack, which takes its own voltage times a conductance (R, S, N) S; and at
    which (N,) V constant_a has it in it. None where nothing is.
    """

    constant_a: Array
    power_w: Array
    share: Array
    duration_s: Array
    tasks: tuple[slice, ...]
    period_s: Array
    cut_off_v: Array
    seen: tuple[Seen, ...] = ()
    before: tuple[Stored, ...] = ()
    variance: Array | None = None
    luck: Array | None = None
    copies: tuple[Array, ...] = ()
    filling: tuple[Array, Array] | None = None

    @property
    def mean_constant_a(self) -> Array:
        """Mean over the time of the constant currents, (R, N) A."""
        return np.asarray((self.share * self.constant_a).sum(axis=1))

    @property
    def steady_a(self) -> Array:
        """The same without what goes by the pack's voltage, (R, N) A."""
        mean = self.mean_constant_a
        return mean if self.filling is None else mean - self.conductance * self.filling[1]

    @property
    def conductance(self) -> Array:
        """What goes by the pack's voltage, as a mean over the time, (R, N) S."""
        if self.filling is None:
            return np.zeros_like(self.cut_off_v)
        return np.asarray((self.share * self.filling[0]).sum(axis=1))

    def constant_at(self, volts: Array) -> Array:
        """The constant currents with what is filled at a voltage (R, N) V, (R, S, N) A."""
        if self.filling is None:
            return self.constant_a
        siemens, told_v = self.filling
        return np.asarray(self.constant_a + siemens * (volts - told_v)[:, None])

    @property
    def mean_power_w(self) -> Array:
        """Mean over the time of the constant powers, (R, N) W."""
        return np.asarray((self.share * self.power_w).sum(axis=1))


@dataclass(frozen=True, slots=True)
class Seen:
    """A drain that the pack has to carry at some time: its pulses behind a share of the resistance.

    ease : (N,) of the pack's resistance. drain : what is carried then. strain : (N,) of what a
    current of the cells counts where their pulse limit is least. outdone : (R, N) where another
    time surely pulls the voltage as low, and asks the cells for as much; None where no other is.
    """

    ease: Array
    drain: Drain
    strain: Array | float = 1.0
    outdone: NDArray[np.bool_] | None = None


@dataclass(frozen=True, slots=True)
class Stored:
    """A phase before use: seconds (N,) and what the pack feeds meanwhile, (R, N) A and W."""

    seconds: Array
    constant_a: Array
    power_w: Array


def rows_of(drain: Drain, rows: slice | NDArray[np.intp]) -> Drain:
    """Some rows of a drain, by a slice or their indices (M,)."""
    return replace(
        drain,
        constant_a=drain.constant_a[rows],
        power_w=drain.power_w[rows],
        share=drain.share[rows],
        duration_s=drain.duration_s[rows],
        cut_off_v=drain.cut_off_v[rows],
        variance=None if drain.variance is None else drain.variance[rows],
        filling=None if drain.filling is None else (drain.filling[0][rows], drain.filling[1]),
        copies=tuple(count[rows] for count in drain.copies),
        seen=tuple(
            replace(
                s,
                drain=rows_of(s.drain, rows),
                outdone=None if s.outdone is None else s.outdone[rows],
            )
            for s in drain.seen
        ),
        before=tuple(
            replace(s, constant_a=s.constant_a[rows], power_w=s.power_w[rows]) for s in drain.before
        ),
    )


def cases_of(
    pack: Pack, drain: Drain, r: NDArray[np.intp], n: NDArray[np.intp], before: bool = False
) -> tuple[Pack, Drain]:
    """Some cases of a pack as the draws of one row, by their indices (m,) of row and draw.

    What comes before use is left out unless it is asked for, and how it ages always.
    """
    own = replace(
        pack,
        open_v=pack.open_v[:, n],
        resistance=pack.resistance[:, n],
        capacity_c=pack.capacity_c[n],
        self_discharge_a=pack.self_discharge_a[n],
        leak_a=pack.leak_a[n],
        least_capacity=pack.least_capacity[n],
        mean_capacity=pack.mean_capacity[n],
        shelf_life_s=pack.shelf_life_s[n],
        two_well=None if pack.two_well is None else (pack.two_well[0][n], pack.two_well[1][n]),
        reservoir=None if pack.reservoir is None else (pack.reservoir[0][n], pack.reservoir[1][n]),
        figures={keys: value[n] for keys, value in pack.figures.items()},
        eases=tuple(one[n] for one in pack.eases),
        strains=tuple(one[n] for one in pack.strains),
        stored_loss_a=tuple(one[n] for one in pack.stored_loss_a) if before else (),
        every_s=None if pack.every_s is None else pack.every_s[n],
        ageing=None,
        drip=None if pack.drip is None else pack.drip.of(n),
    )
    its = _cases(drain, r, n)
    if before:
        its = replace(its, before=tuple(_stored(phase, r, n) for phase in drain.before))
    return own, its


def _stored(phase: Stored, r: NDArray[np.intp], n: NDArray[np.intp]) -> Stored:
    return Stored(phase.seconds[n], phase.constant_a[r, n][None], phase.power_w[r, n][None])


def _cases(drain: Drain, r: NDArray[np.intp], n: NDArray[np.intp]) -> Drain:
    def states(values: Array) -> Array:
        return np.ascontiguousarray(values[r, :, n].T)[None]

    return Drain(
        constant_a=states(drain.constant_a),
        power_w=states(drain.power_w),
        share=states(drain.share),
        duration_s=states(drain.duration_s),
        tasks=drain.tasks,
        period_s=drain.period_s[:, n],
        cut_off_v=drain.cut_off_v[r, n][None],
        seen=tuple(
            Seen(
                ease=one.ease[n],
                drain=_cases(one.drain, r, n),
                strain=one.strain[n] if isinstance(one.strain, np.ndarray) else one.strain,
                outdone=None if one.outdone is None else one.outdone[r, n][None],
            )
            for one in drain.seen
        ),
        variance=None if drain.variance is None else drain.variance[r, n][None],
        filling=None if drain.filling is None else (states(drain.filling[0]), drain.filling[1][n]),
        luck=None if drain.luck is None else drain.luck[n],
        copies=tuple(count[r, n][None] for count in drain.copies),
    )


def some_tasks(drain: Drain, tasks: Sequence[int]) -> Drain:
    """The same without the states of the other tasks."""
    if list(tasks) == list(range(len(drain.tasks))):
        return drain
    states = np.concatenate(
        [*(np.arange(drain.tasks[k].start, drain.tasks[k].stop) for k in tasks), [-1]]
    ).astype(np.intp)
    ends = np.cumsum([drain.tasks[k].stop - drain.tasks[k].start for k in tasks])
    lengths = [drain.tasks[k].stop - drain.tasks[k].start for k in tasks]
    return replace(
        drain,
        constant_a=drain.constant_a[:, states],
        power_w=drain.power_w[:, states],
        share=drain.share[:, states],
        duration_s=drain.duration_s[:, states],
        tasks=tuple(slice(int(e) - n, int(e)) for e, n in zip(ends, lengths, strict=True)),
        period_s=drain.period_s[list(tasks)],
        filling=None if drain.filling is None else (drain.filling[0][:, states], drain.filling[1]),
        copies=tuple(drain.copies[k] for k in tasks) if drain.copies else (),
    )


def one_by_one(
    loads: tuple[Array, Array, Array], tasks: Sequence[slice], counts: Sequence[Array]
) -> tuple[tuple[Array, Array, Array], tuple[slice, ...], list[int]]:
    """States (S, ...) with every event that comes right behind another in states of its own.

    Parameters
    ----------
    loads : A, W and s of the states, the last one the rest. tasks : the states of each task's
    event. counts : (...) how many come of each.

    Returns
    -------
    The same of more states, where fewer come a rest of no length; the states of each task; which
    state each one is.
    """
    which: list[int] = []
    fewer: list[tuple[int, NDArray[np.bool_]]] = []
    out: list[slice] = []
    for task, count in zip(tasks, counts, strict=True):
        start = len(which)
        for n in range(int(count.max(initial=1))):
            if not (n < count).all():
                here = range(len(which), len(which) + task.stop - task.start)
                fewer += [(row, n >= count) for row in here]
            which += range(task.start, task.stop)
        out.append(slice(start, len(which)))
    which.append(len(loads[0]) - 1)
    amps, watts, seconds = (x[which] for x in loads)
    for row, none in fewer:
        for values, instead in ((amps, amps[-1]), (watts, watts[-1]), (seconds, 0.0)):
            np.copyto(values[row], instead, where=none)
    return (amps, watts, seconds), tuple(out), which


def spelled(drain: Drain) -> Drain:
    """The same with every event that comes right behind another in states of its own."""
    if not drain.copies:
        return drain
    first = (drain.constant_a, drain.power_w, drain.duration_s)
    loads = (first[0].swapaxes(0, 1), first[1].swapaxes(0, 1), first[2].swapaxes(0, 1))
    found, tasks, which = one_by_one(loads, drain.tasks, drain.copies)
    amps, watts, seconds = (x.swapaxes(0, 1) for x in found)
    share = drain.share[:, which]
    # all of the time is told once
    share[:, [n for n, s in enumerate(which) if s in which[:n]]] = 0.0
    return replace(
        drain,
        constant_a=amps,
        power_w=watts,
        duration_s=seconds,
        share=share,
        tasks=tasks,
        copies=(),
        filling=None if drain.filling is None else (drain.filling[0][:, which], drain.filling[1]),
    )


def joined(drains: Sequence[Drain]) -> Drain:
    """The rows of several drains one below the other; tasks and periods are those of the first."""
    first = drains[0]
    if len(drains) == 1:
        return first
    return Drain(
        constant_a=np.concatenate([d.constant_a for d in drains]),
        power_w=np.concatenate([d.power_w for d in drains]),
        share=np.concatenate([d.share for d in drains]),
        duration_s=np.concatenate([d.duration_s for d in drains]),
        tasks=first.tasks,
        period_s=first.period_s,
        cut_off_v=np.concatenate([d.cut_off_v for d in drains]),
        variance=None
        if first.variance is None
        else np.concatenate([d.variance for d in drains if d.variance is not None]),
        luck=first.luck,
        filling=_fillings(drains),
        copies=tuple(np.concatenate(of) for of in zip(*(d.copies for d in drains), strict=True)),
        seen=tuple(
            replace(
                of[0],
                drain=joined([s.drain for s in of]),
                outdone=None
                if of[0].outdone is None
                else np.concatenate([s.outdone for s in of if s.outdone is not None]),
            )
            for of in zip(*(d.seen for d in drains), strict=True)
        ),
        before=tuple(
            replace(
                of[0],
                constant_a=np.concatenate([s.constant_a for s in of]),
                power_w=np.concatenate([s.power_w for s in of]),
            )
            for of in zip(*(d.before for d in drains), strict=True)
        ),
    )


def _fillings(drains: Sequence[Drain]) -> tuple[Array, Array] | None:
    """What all rows of several drains fill, some of them nothing."""
    if all(d.filling is None for d in drains):
        return None
    told_v = next(d.filling[1] for d in drains if d.filling is not None)
    each = [np.zeros_like(d.share) if d.filling is None else d.filling[0] for d in drains]
    return np.concatenate(each), told_v


def shelf_left(pack: Pack, drain: Drain) -> Array:
    """What of the shelf life is left on the first day, (N,) s."""
    stored = sum((phase.seconds for phase in drain.before), np.zeros(pack.shelf_life_s.shape))
    return np.asarray(np.maximum(pack.shelf_life_s - stored, 0.0))


def rows_of_each(drains: Sequence[Drain]) -> list[slice]:
    """Which rows are whose where drains are joined."""
    ends = np.cumsum([len(drain.cut_off_v) for drain in drains]).tolist()
    return [slice(start, end) for start, end in zip([0, *ends], ends, strict=False)]


def at_depth(grid: Array, values: Array, depth: Array, draw: NDArray[np.intp]) -> Array:
    """Values on a grid of depths, each for its own draw.

    Parameters
    ----------
    grid : (G,) share of the capacity. values : (G, N), in any unit. depth : of any shape.
    draw : index into N, broadcasting to the depths.

    Returns
    -------
    Of the depths' shape, in the values' unit.
    """
    return between(values, *piece_and_share(grid, depth), draw)


def volts_and_ohms(pack: Pack, depth: Array, draw: NDArray[np.intp]) -> tuple[Array, Array]:
    """(open voltage V, resistance ohm) of a pack at depths of any shape, each for its own draw; see
    `at_depth`."""
    place = piece_and_share(pack.depth, depth)
    return between(pack.open_v, *place, draw), between(pack.resistance, *place, draw)


def leaks_around(pack: Pack, first: Array, last: Array, count: int) -> Array:
    """What a leaking pack loses by itself at so many even places from depths (R, N) to others, each
    as its mean halfway to the next ones: (P, R, N) A, of which the mean over depth is that of all,
    whatever lies between two places."""
    assert pack.drip is not None
    middle = (np.arange(count - 1) + 0.5) / (count - 1)
    edges = np.concatenate([[0.0], middle, [1.0]])[:, None, None]
    draw = np.arange(first.shape[-1])
    return pack.drip.means(at_depth(pack.depth, pack.open_v, first + edges * (last - first), draw))


def refined(pack: Pack) -> Pack:
    """The same curves on a grid fine enough for the quadrature and for finding crossings."""
    volts = np.maximum(pack.open_v, 1e-12)
    falls = np.log((volts[1:] / volts[:-1]).min(axis=1)) / np.log(STEEPEST)
    steps = np.clip(np.ceil(falls - 1e-9), 1, 64).astype(int)
    if (steps == 1).all():
        return pack
    depth = [pack.depth[:1]]
    for lo, hi, count in zip(pack.depth, pack.depth[1:], steps.tolist(), strict=False):
        depth.append(np.linspace(lo, hi, count + 1)[1:])
    grid = np.concatenate(depth)
    place = piece_and_share(pack.depth, grid)
    return replace(
        pack,
        depth=grid,
        open_v=across(pack.open_v, *place),
        resistance=across(pack.resistance, *place),
    )
