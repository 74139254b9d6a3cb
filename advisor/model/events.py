"""What happens in an event, state by state, and what the rail carries on average.

An event of a task at an operating point is, in order: one wake; the kernels; the on-chip blocks;
the loads in the order of the file, with the core idle or asleep meanwhile. An idle load after one
during which the core slept pays one more wake.

Axes: P parts, Z sleep states, O options, S states, N draws. SI units.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.chance import Tries
from advisor.model.draws import Array
from advisor.model.gating import in_use, load_states, once, rail_states, refilled, refills, together
from advisor.model.rails import RailStates, at_rest
from advisor.model.tables import Stack
from advisor.model.workload import ProductFigures, TaskFigures


@dataclass(frozen=True, slots=True)
class StateName:
    """What a state of an event is: kind is wake, kernel, block or load."""

    kind: str
    name: str

    def __str__(self) -> str:
        return self.kind if not self.name else f"{self.kind} {self.name}"


@dataclass(frozen=True, slots=True)
class EventStates:
    """The states of one task's event.

    Attributes
    ----------
    names : the S states in order. duration : (P, Z, O, S, N) s. chip_a, chip_w : the chip's
    constant current (A) and constant power (W), same shape. load_a, load_w : (S, N) A, W, loads
    switched on at the main rail. rest_a, rest_w : (P, Z, N) asleep, as its events meet it.
    fill_s : (S, N) F/s, what gated loads there fill. rails : what the further ones carry.
    tries : (S, N) mean number of times that each state is gone through, in its duration; None for
    once each.
    """

    names: tuple[StateName, ...]
    duration: Array
    chip_a: Array
    chip_w: Array
    load_a: Array
    load_w: Array
    rest_a: Array
    rest_w: Array
    fill_s: Array
    rails: tuple[RailStates, ...] = ()
    tries: Array | None = None

    @property
    def shortest(self) -> Array:
        """Length of an event of which everything works at once, (P, Z, O, N) s."""
        if self.tries is None:
            return self.length
        return np.asarray((self.duration / self.tries).sum(axis=3))

    @property
    def length(self) -> Array:
        """Length of the event, (P, Z, O, N) s."""
        return np.asarray(self.duration.sum(axis=3))


def state_names(task: TaskFigures) -> tuple[StateName, ...]:
    """The states that an event of a task goes through; the same for every part."""
    names = [StateName("wake", "")]
    names += [StateName("kernel", k) for k in task.kernels]
    names += [StateName("block", b) for b in task.uses]
    slept = False
    for load in task.loads:
        if slept and not load.asleep:
            names.append(StateName("wake", ""))
        names.append(StateName("load", load.name))
        slept = load.asleep
    return tuple(names)


def asleep(product: ProductFigures) -> NDArray[np.bool_]:
    """Whether the chip sleeps in each state of all events, and of the rest behind them, (S,) truth
    values: in those alone it draws otherwise from time to time."""
    out = []
    for task in product.tasks:
        of = {load.name for load in task.loads if load.asleep}
        out += [name.kind == "load" and name.name in of for name in state_names(task)]
    return np.array([*out, True])


def tried(task: TaskFigures) -> list[Tries | None]:
    """How often each state of an event is tried, in the order of `state_names`."""
    of = {("load", load.name): load.tries for load in task.loads}
    of |= {("block", block): tries for block, tries in task.use_tries.items()}
    return [of.get((name.kind, name.name)) for name in state_names(task)]


def _later(
    stack: Stack, product: ProductFigures, first: tuple[EventStates, ...]
) -> tuple[EventStates, ...]:
    """The events at one time, of those at another: what sleeps draws otherwise, and what is filled
    after other rests."""
    out = []
    flags = iter(asleep(product).tolist())
    for task, event in zip(product.tasks, first, strict=True):
        chip_a = event.chip_a.copy()
        for s in (s for s in range(len(event.names)) if next(flags)):
            chip_a[..., s, :] = stack.sleep_a[:, :, None]
        at = [s for s, name in enumerate(event.names) if name.kind == "load"]
        out.append(
            replace(
                event,
                chip_a=chip_a,
                rest_a=stack.sleep_a,
                fill_s=load_states(task, at, len(event.names)),
                rails=rail_states(product, task, at, len(event.names)),
            )
        )
    return tuple(out)


def expand(stack: Stack, product: ProductFigures, k: int) -> EventStates:
    """The event of task `k` for every part, sleep state and option; see `EventStates`."""
    task = product.tasks[k]
    stack = stack.at_pace(product, task)
    names = state_names(task)
    p, z, n = stack.sleep_a.shape
    o = stack.valid[k].shape[1]
    shape = (p, z, o, len(names), n)
    duration, chip_a, chip_w = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    load_a, load_w = np.zeros((len(names), n)), np.zeros((len(names), n))
    rows = np.arange(p)[:, None]
    idle_a = stack.idle_a[rows, stack.option_point[k]][:, None]  # (P, 1, O, N)
    idle_w = stack.idle_w[rows, stack.option_point[k]][:, None]
    wake_time = stack.wake_time[:, :, None]  # (P, Z, 1, N)
    stated = ~np.isnan(stack.wake_charge[:, :, None]) & (wake_time > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        wake_a = np.where(stated, stack.wake_charge[:, :, None] / wake_time, idle_a)
    wake_w = np.where(stated, 0.0, idle_w)

    def put(s: int, time: Array, a: Array, w: Array) -> None:
        duration[..., s, :], chip_a[..., s, :], chip_w[..., s, :] = time, a, w

    put(0, wake_time, wake_a, wake_w)
    s = 1
    for j in range(len(task.kernels)):
        put(
            s,
            stack.time[k][:, None, :, j],
            stack.run_a[k][:, None, :, j],
            stack.run_w[k][:, None, :, j],
        )
        s += 1
    for j in range(len(task.uses)):
        block_a = stack.block_a[k][:, None, None, j]
        put(s, stack.block_time[k][:, None, None, j], block_a + idle_a, idle_w)
        s += 1
    slept = False
    at = []
    for load in task.loads:
        if slept and not load.asleep:
            put(s, wake_time, wake_a, wake_w)
            s += 1
        if load.asleep:
            put(s, load.duration, stack.sleep_a[:, :, None], stack.sleep_w[:, :, None])
        else:
            put(s, load.duration, idle_a, idle_w)
        if load.on is None:
            load_a[s], load_w[s] = in_use(load), load.demand.power
        at.append(s)
        s += 1
        slept = load.asleep
    tries = None
    if task.by_chance:
        ones = np.ones(n)
        whole = ones if task.tries is None else task.tries.mean
        tries = np.stack([whole if t is None else whole * t.mean for t in tried(task)])
        duration = duration * tries
    return EventStates(
        names=names,
        duration=duration,
        chip_a=chip_a,
        chip_w=chip_w,
        load_a=load_a,
        load_w=load_w,
        rest_a=stack.sleep_a,
        rest_w=stack.sleep_w,
        fill_s=load_states(task, at, len(names)),
        rails=rail_states(product, task, at, len(names)),
        tries=tries,
    )


@dataclass(frozen=True, slots=True)
class Timeline:
    """The states of whole builds: every task's event, then sleep.

    Attributes
    ----------
    chip_a, chip_w : (R, S, N) the chip's constant current (A) and constant power (W).
    load_a, load_w : (S, N) A, W, loads switched on, standing loads not in them. standing_a,
    standing_w : (N,) A, W. All at the main rail, as fill_s : (S, N) F/s, what gated loads fill,
    (R, S, N) where builds differ; rails : what each further rail carries.
    duration : (R, S, N) s per event, 0 for sleep. share : (R, S, N) of the time; rows sum to 1.
    tasks : which states belong to each task; the last state is sleep. period : (K, N) s.
    names : per task, its states' names. busy_at : (R, N) busy share at each time of the calendar,
    where it has several.
    """

    chip_a: Array
    chip_w: Array
    load_a: Array
    load_w: Array
    standing_a: Array
    standing_w: Array
    duration: Array
    share: Array
    tasks: tuple[slice, ...]
    period: Array
    names: tuple[tuple[StateName, ...], ...]
    fill_s: Array
    rails: tuple[RailStates, ...] = ()
    busy_at: tuple[Array, ...] = ()
    tries: Array | None = None

    @property
    def most_busy(self) -> Array:
        """Share of the time spent in events when there are most of them, (R, N)."""
        return np.maximum.reduce(self.busy_at) if self.busy_at else self.busy

    @property
    def busy(self) -> Array:
        """Share of the time spent in events, (R, N)."""
        return np.asarray(self.share[:, :-1].sum(axis=1))

    def of_rows(self, rows: slice) -> Timeline:
        """Some of the builds."""
        return replace(
            self,
            chip_a=self.chip_a[rows],
            chip_w=self.chip_w[rows],
            duration=self.duration[rows],
            share=self.share[rows],
            busy_at=tuple(busy[rows] for busy in self.busy_at),
            fill_s=self.fill_s if self.fill_s.ndim == 2 else self.fill_s[rows],
            rails=tuple(rail.of_rows(rows) for rail in self.rails),
        )

    def filled_by(self, row: int) -> Timeline:
        """The same with what one of the builds fills, (S, N) F/s."""
        fill = self.fill_s if self.fill_s.ndim == 2 else self.fill_s[row]
        return replace(self, fill_s=fill, rails=tuple(one.of_rows(row) for one in self.rails))

    def rail_current(self, voltage: Array) -> Array:
        """Rail current of each state at a chip voltage, (R, S, N) A; voltage broadcasts."""
        constant = self.chip_a + self.at_rail(voltage)
        return np.asarray(constant + (self.chip_w + self.other_w[None]) / voltage)

    def at_rail(self, voltage: Array) -> Array:
        """Constant current of the loads of each state with what they fill, (S, N) A or (R, S, N),
        at (N,) V."""
        return np.asarray(self.other_a + self.fill_s * voltage)

    @property
    def other_a(self) -> Array:
        """Constant current of the loads of each state, standing ones in it, (S, N) A."""
        return self.load_a + self.standing_a

    @property
    def other_w(self) -> Array:
        """Constant power of the loads of each state, standing ones in it, (S, N) W."""
        return self.load_w + self.standing_w


def timeline(
    stack: Stack,
    product: ProductFigures,
    events: tuple[EventStates, ...],
    part: NDArray[np.intp],
    sleep: NDArray[np.intp],
    choice: NDArray[np.intp],
) -> Timeline:
    """Builds as rows.

    Parameters
    ----------
    part, sleep : (R,) indices into P and Z. choice : (R, K) index of each task's option.
    """
    n = stack.sleep_a.shape[2]
    rows = len(part)
    total = sum(len(e.names) for e in events) + 1
    shape = (rows, total, n)
    chip_a, chip_w, duration = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    share = np.zeros(shape)
    load_a, load_w = np.zeros((total, n)), np.zeros((total, n))
    tasks = []
    s = 0
    for k, event in enumerate(events):
        here = slice(s, s + len(event.names))
        index = (part, sleep, choice[:, k])
        chip_a[:, here] = event.chip_a[index]
        chip_w[:, here] = event.chip_w[index]
        duration[:, here] = event.duration[index]
        share[:, here] = duration[:, here] / product.tasks[k].period
        load_a[here], load_w[here] = event.load_a, event.load_w
        tasks.append(here)
        s = here.stop
    chip_a[:, -1] = stack.sleep_a[part, sleep]
    chip_w[:, -1] = stack.sleep_w[part, sleep]
    share[:, -1] = np.maximum(1 - share[:, :-1].sum(axis=1), 0.0)
    made = Timeline(
        chip_a=chip_a,
        chip_w=chip_w,
        load_a=load_a,
        load_w=load_w,
        standing_a=product.standing_a,
        standing_w=product.standing_w,
        duration=duration,
        share=share,
        tasks=tuple(tasks),
        period=np.array([t.period for t in product.tasks]).reshape(len(tasks), n),
        names=tuple(e.names for e in events),
        fill_s=np.concatenate([*(e.fill_s for e in events), np.zeros((1, n))]),
        rails=together([*(e.rails for e in events), tuple(at_rest(r) for r in product.rails)]),
        tries=_tries(events, n),
    )
    return _refilled(product, made)


def _refilled(product: ProductFigures, line: Timeline) -> Timeline:
    """A timeline with what is filled after all that a build does between the tries of an event."""
    if not refills(product):
        return line
    loads = [[name.kind == "load" for name in names] for names in line.names]
    fill_s, rails = refilled(product, loads, once(product, line.tasks, line.duration))
    return replace(line, fill_s=fill_s, rails=rails)


def _tries(events: tuple[EventStates, ...], n: int) -> Array | None:
    """Mean number of times that each state is gone through, (S, N); sleep once."""
    if all(e.tries is None for e in events):
        return None
    each = [np.ones((len(e.names), n)) if e.tries is None else e.tries for e in events]
    return np.concatenate([*each, np.ones((1, n))])


def of_tasks(stack: Stack, product: ProductFigures) -> tuple[EventStates, ...]:
    """The events of every task."""
    return tuple(expand(stack, product, k) for k in range(len(product.tasks)))


def at_times(stack: Stack, product: ProductFigures) -> tuple[tuple[EventStates, ...], ...]:
    """The events of every task at each of the product's times, once where it has none."""
    if not product.times:
        return (of_tasks(stack, product),)
    first, *others = ((stack.in_time(t), product.in_time(t)) for t in range(len(product.times)))
    events = of_tasks(*first)
    return (events, *(_later(*other, events) for other in others))


def calendar(
    stack: Stack,
    product: ProductFigures,
    events: Sequence[tuple[EventStates, ...]],
    part: NDArray[np.intp],
    sleep: NDArray[np.intp],
    choice: NDArray[np.intp],
) -> tuple[Timeline, list[Timeline]]:
    """R builds as rows over the whole calendar, and at each of the product's times, as if it lasted
    for ever; `events` as of `at_times`; part, sleep (R,) and choice (R, K) as for `timeline`.
    A task that is not done then has its states all the same, of no share.
    """
    if not product.times:
        return timeline(stack, product, events[0], part, sleep, choice), []
    every = [(stack.in_time(t), product.in_time(t)) for t in range(len(product.times))]
    out = [timeline(*every[0], events[0], part, sleep, choice)]
    flags = asleep(product)
    for (table, then), met in zip(every[1:], events[1:], strict=True):
        out.append(_at_time(out[0], table, then, met, flags, (part, sleep, choice)))
    return _mixed(product, out, flags), out


def _at_time(
    first: Timeline,
    stack: Stack,
    product: ProductFigures,
    events: tuple[EventStates, ...],
    flags: NDArray[np.bool_],
    builds: tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]],
) -> Timeline:
    """`timeline` at one time, from that at the first one; `flags` are those of `asleep`."""
    part, sleep, choice = builds
    chip_a, share = first.chip_a.copy(), np.empty_like(first.share)
    for k, (event, here) in enumerate(zip(events, first.tasks, strict=True)):
        for s in np.flatnonzero(flags[here]):
            chip_a[:, here.start + s] = event.chip_a[part, sleep, choice[:, k], s]
        np.divide(first.duration[:, here], product.tasks[k].period, out=share[:, here])
    chip_a[:, -1] = stack.sleep_a[part, sleep]
    share[:, -1] = np.maximum(1 - share[:, :-1].sum(axis=1), 0.0)
    made = replace(
        first,
        chip_a=chip_a,
        share=share,
        period=np.array([t.period for t in product.tasks]).reshape(first.period.shape),
        fill_s=np.concatenate([*(e.fill_s for e in events), np.zeros_like(first.load_a[-1:])]),
        rails=together([*(e.rails for e in events), tuple(at_rest(r) for r in product.rails)]),
    )
    return _refilled(product, made)


def _mixed(
    product: ProductFigures, lines: Sequence[Timeline], flags: NDArray[np.bool_]
) -> Timeline:
    """The whole calendar's timeline from those of its times: each state's mean chip current and
    share over the times at which it occurs; `flags` are those of `asleep`."""
    shares = [time.share * one.share for time, one in zip(product.times, lines, strict=True)]
    share = np.asarray(sum(shares))
    chip_a = lines[0].chip_a.copy()
    for s in np.flatnonzero(flags):
        values = [one.chip_a[:, s] for one in lines]
        if all((one == values[0]).all() for one in values[1:]):
            continue
        whole = sum(of[:, s] * one for of, one in zip(shares, values, strict=True))
        np.divide(whole, share[:, s], out=chip_a[:, s], where=share[:, s] > 0)
    return replace(
        lines[0],
        chip_a=chip_a,
        share=share,
        period=np.array([t.period for t in product.tasks]).reshape(lines[0].period.shape),
        busy_at=tuple(one.busy for one in lines),
        fill_s=_often(product, [one.fill_s for one in lines], lines[0]),
        rails=tuple(
            replace(
                of[0],
                fill_s=_often(product, [one.fill_s for one in of], lines[0]),
            )
            for of in zip(*(one.rails for one in lines), strict=True)
        ),
    )


def alike(lines: Sequence[Timeline], flags: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Of each line but the first, and each state, the index of an earlier line of the same builds
    that draws the same in it, or its own, (L, S). `flags` are those of `asleep`: states that are
    not looked at.
    """
    out = np.arange(1, len(lines))[:, None].repeat(len(flags), axis=1)
    for n, line in enumerate(lines[1:], 1):
        for m in reversed(range(n)):
            same = _beside(line, lines[m])
            if line.chip_a is not lines[m].chip_a:
                same &= ~flags
            out[n - 1, same] = m
    return out


def _beside(one: Timeline, other: Timeline) -> NDArray[np.bool_]:
    """In which states two lines carry the same beside the chip, (S,)."""
    pairs = [(one.load_a, other.load_a), (one.load_w, other.load_w), (one.fill_s, other.fill_s)]
    same = np.ones(len(one.load_a), dtype=bool)
    for mine, its in zip(one.rails, other.rails, strict=True):
        pairs += [(mine.load_a, its.load_a), (mine.load_w, its.load_w)]
        pairs += [(mine.fill_s, its.fill_s), (mine.starts, its.starts)]
        same &= (mine.on == its.on).all(axis=1)
    for a, b in pairs:
        if a is not b:
            equal = (a == b).all(axis=-1)
            same &= equal.reshape(-1, equal.shape[-1]).all(axis=0)
    return same


def _often(product: ProductFigures, values: Sequence[Array], lines: Timeline) -> Array:
    """Each state's mean over the times, (S, N) or (R, S, N), each by how many of its task's events
    come then."""
    out = values[0].copy()
    for task, here in zip(product.tasks, lines.tasks, strict=True):
        rates = [
            time.share / period for time, period in zip(product.times, task.periods, strict=True)
        ]
        whole = sum(r * v[..., here, :] for r, v in zip(rates, values, strict=True))
        out[..., here, :] = whole / sum(rates)
    return out
