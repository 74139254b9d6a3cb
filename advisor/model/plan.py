"""Which operating point and engines each task runs at: the plans worth assessing, whole points.

(No mixing of points within a task: that is `operating_plan`, the bound.)

More options never make a part worse, so limits come first: an option that breaks one by itself (a
deadline, the voltage that it runs at, the converter's output, the cell's pulse limit, a fresh pack
that cannot carry it) is masked. Of what remains no plan is lost that some weights, some end of the
battery's life or some sum of currents may favour:

- A build's life depends on its mean current a + b/V and on its reach, the depth of discharge to
  which the pack carries every state. At a given reach the life is a convex function of (a, b),
  falling in both, so the longest belongs to a plan of least charge at some voltage between the
  fresh pack's and the empty one's. That plan is separable: each task takes its own cheapest option.
- The reach of a plan is that of its worst task, and so is the share of the tightest deadline left.

So for every level of reach and of headroom (which some may weigh, and which keeps a deadline where
times are uncertain) each task takes its cheapest option among those that keep both: all the plans
that no other beats on charge, reach and headroom. Where a point's own least supply raises the
cut-off, each such level is swept by itself. A busy share above 1 leaves the exact search along the
front of busy share and charge (`tight`).

Two approximations, both small: charges that cross between the ends of the voltage are compared at
five voltages; an option's reach on a reservoir is taken without the other tasks. Where events wait
by chance, the plan in which all are quickest is among them.

Axes: P parts, Z sleep states, O options, K tasks, L levels of cut-off. Stated values (N = 1).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.battery import lives
from advisor.model.draws import Array
from advisor.model.events import EventStates
from advisor.model.packs import Feed, cells_name
from advisor.model.reach import DIGITS, Mask, Reach, TaskOptions, reach, task_options
from advisor.model.tables import Stack
from advisor.model.workload import ProductFigures

HEADROOM = 4  # digits of a share of a deadline that count: a hundredth of a point at the most
VOLTAGES = 5  # between a fresh and an empty pack, where the cheapest option is not the same at both
TOGETHER = 500_000  # rows x states that go through the battery model at a time


@dataclass(frozen=True, slots=True)
class Plans:
    """Plans worth assessing on one feed, and what was found on the way.

    Attributes
    ----------
    part, sleep : (R,) indices into P and Z; choice : (R, K) index of each task's option.
    possible : (P, Z) whether any plan is. busy : (P, Z) busy share of the least busy plan.
    late : (P, Z, K) whether no option that the supply can feed finishes the task in time.
    charge : per task, (P, Z, O) C net cell-side charge of an event; length : same, s;
    fed : per task, (P, O) options that are there and that the feed's voltage can run;
    allowed : per task, (P, Z, O) those that also finish in time.
    """

    part: NDArray[np.intp]
    sleep: NDArray[np.intp]
    choice: NDArray[np.intp]
    possible: Mask
    busy: Array
    late: Mask
    charge: tuple[Array, ...]
    length: tuple[Array, ...]
    fed: tuple[Mask, ...]
    allowed: tuple[Mask, ...]


def choose(
    feeds: Sequence[Feed],
    stack: Stack,
    product: ProductFigures,
    events: tuple[EventStates, ...],
    floor_v: Array,
) -> list[Plans]:
    """The plans worth assessing of every part and sleep state, per feed; see `Plans`.

    Parameters
    ----------
    floor_v : (P,) V, the cut-off that a part sets by itself where the pack is its rail.
    """
    sweeps = [_sweep(feed, stack, product, events, floor_v) for feed in feeds]
    # options that may sag go through the battery model together, those of one pack at once
    packs: dict[str, list[_Sweep]] = defaultdict(list)
    for sweep in sweeps:
        packs[cells_name(sweep.feed.option)].append(sweep)
    for members in packs.values():
        asked = [one for sweep in members for level in sweep.levels for one in level.reaches]
        asked = [one for one in asked if one.index[0].size]
        if asked:
            pack = members[0].feed.pack
            fresh = any(np.isfinite(one.pulse) for one in asked)
            for some in _batches(asked, 1 + sum(len(e.names) for e in events)):
                alone = lives(pack, [one.drain() for one in some], fresh=fresh, means=False)
                for one, life in zip(some, alone, strict=True):
                    one.take(pack, life)
    return [sweep.plans() for sweep in sweeps]


def _batches(asked: Sequence[Reach], states: int) -> Iterator[list[Reach]]:
    """What goes through the battery model at a time, so that many tasks do not fill the memory."""
    some: list[Reach] = []
    rows = 0
    for one in asked:
        more = one.index[0].size
        if some and (rows + more) * states > TOGETHER:
            yield some
            some, rows = [], 0
        some.append(one)
        rows += more
    yield some


def _sweep(
    feed: Feed,
    stack: Stack,
    product: ProductFigures,
    events: tuple[EventStates, ...],
    floor_v: Array,
) -> _Sweep:
    """What there is to choose from on one feed, and the levels of the cut-off."""
    p, z = stack.sleep_a.shape[:2]
    tasks = [task_options(feed, stack, product, e) for e in events]
    direct = feed.converter is None
    at_chip = float(feed.fresh_v[0])
    awake = stack.sleeping & (stack.sleep_min <= at_chip)
    rows = np.arange(p)[:, None]
    least = tuple(stack.supply_min[rows, points] for points in stack.option_point)
    fed = tuple(v & (low <= at_chip) for v, low in zip(stack.valid, least, strict=True))
    allowed = []
    late = np.zeros((p, z, len(tasks)), dtype=bool)
    busy_at = [np.zeros((p, z)) for _ in product.paces]
    for k, (task, may) in enumerate(zip(product.tasks, fed, strict=True)):
        length = tasks[k].length
        inside = np.broadcast_to(may[:, None], length.shape)
        if task.finish_within is not None:
            inside = inside & (tasks[k].shortest <= task.finish_within[0])
        late[:, :, k] = ~inside.any(axis=2)
        shortest = np.where(inside, length, np.inf).min(axis=2, initial=np.inf)
        least_busy = np.where(late[:, :, k], length.min(axis=2, initial=np.inf), shortest)
        for busy, paces in zip(busy_at, product.paces, strict=True):
            busy += least_busy / paces[k][0] if paces[k][0] < np.inf else 0.0
        allowed.append(inside)
    busy = np.maximum.reduce(busy_at)
    possible = awake & ~late.any(axis=2) & (busy <= 1)
    wanted = possible & ~_idle_in_vain(feed, stack, product, tasks, allowed, possible)
    made = _Sweep(
        feed=feed,
        stack=stack,
        product=product,
        tasks=tasks,
        fed=fed,
        allowed=tuple(allowed),
        least=least,
        possible=possible,
        wanted=wanted,
        late=late,
        busy=busy,
        levels=[],
    )
    made.levels.extend(made.opened(_levels(direct, floor_v, stack, least, fed)))
    return made


def _idle_in_vain(
    feed: Feed,
    stack: Stack,
    product: ProductFigures,
    tasks: Sequence[TaskOptions],
    allowed: Sequence[Mask],
    possible: Mask,
) -> Mask:
    """(P, Z): where idling instead of sleeping is of no use, whatever the task's options.

    It is where a sleep state draws no more, in every option's event too, and wakes in a time and
    with a current that count for nothing: some sleep state of nearly every part does.
    """
    idles = stack.sleeping & ~stack.rests
    out = np.zeros(possible.shape, dtype=bool)
    ends = np.array([float(feed.pack.open_v[0, 0]), float(feed.nominal_v[0])])
    for z in range(possible.shape[1]):
        # one of the states to sleep in, against all to idle in
        state = (stack.rests & possible)[:, z : z + 1]
        less = np.broadcast_to(state, out.shape) & idles
        for task, own, may in zip(tasks, product.tasks, allowed, strict=True):
            rest_a, rest_w = task.rest_a[:, z : z + 1], task.rest_w[:, z : z + 1]
            ok = np.ones(may.shape, dtype=bool)
            for volts in ends:
                charge = task.charge_a + task.charge_w / volts
                rest = task.rest_a + task.rest_w / volts
                # over a period: the event beyond rest, and rest all the while
                period = own.period[0]
                mine = charge[:, z : z + 1] + (rest_a + rest_w / volts)[..., None] * period
                ok &= mine <= charge + rest[..., None] * period
            wake = slice(0, 1)  # the first state of an event
            peak_a = task.a[:, z : z + 1, :, 1:].max(axis=3, initial=0.0)
            peak_w = task.w[:, z : z + 1, :, 1:].max(axis=3, initial=0.0)
            ok &= (task.a[:, z : z + 1, :, wake][..., 0] <= peak_a) & (
                task.w[:, z : z + 1, :, wake][..., 0] <= peak_w
            )
            longer = task.length[:, z : z + 1] - task.length
            limit = own.period if own.finish_within is None else own.finish_within
            ok &= longer <= 0.5 * 10.0**-HEADROOM * limit[0]
            less &= (ok | ~may).all(axis=2)
        out |= less
    return out


def _levels(
    direct: bool,
    floor_v: Array,
    stack: Stack,
    least: Sequence[Array],
    fed: Sequence[Mask],
) -> Array:
    """Levels of the cut-off that the points used may set, (L, P) V, rising.

    Where no point asks for more than its part does there is one; behind a converter it is zero,
    since parts and loads see the rail.
    """
    if not direct:
        return np.zeros_like(floor_v)[None]
    if not least:
        return floor_v[None]
    sets = [np.where(may, low, 0.0) for low, may in zip(least, fed, strict=True)]
    sets.append(np.where(stack.sleeping, stack.sleep_min, 0.0))
    ends = np.sort(np.maximum(np.concatenate([floor_v[:, None], *sets], axis=1), floor_v[:, None]))
    # equal levels are swept once: repeats move to the front as the floor itself
    ends[:, 1:][ends[:, 1:] == ends[:, :-1]] = 0.0
    levels = np.sort(np.maximum(ends, floor_v[:, None]), axis=1).T
    moving = (levels > floor_v).any(axis=1)
    return np.concatenate([floor_v[None], levels[moving]])


@dataclass(frozen=True, slots=True)
class _Level:
    """A level of the cut-off: which parts and sleep states have it, (P, Z); reach per task."""

    here: Mask
    inside: tuple[Mask, ...]
    reaches: tuple[Reach, ...]


@dataclass(frozen=True, slots=True)
class _Sweep:
    """The search over levels of cut-off, reach and headroom; one feed."""

    feed: Feed
    stack: Stack
    product: ProductFigures
    tasks: list[TaskOptions]
    fed: tuple[Mask, ...]
    allowed: tuple[Mask, ...]
    least: tuple[Array, ...]
    possible: Mask
    wanted: Mask
    late: Mask
    busy: Array
    levels: list[_Level]

    def opened(self, cuts: Array) -> Iterator[_Level]:
        """The levels of the cut-off, (L, P) V."""
        direct = self.feed.converter is None
        before: Array | None = None
        for cut in cuts:
            # a part without this level is swept at the one below
            here = self.wanted if before is None else self.wanted & (cut > before)[:, None]
            before = cut
            inside = self.allowed
            if direct:
                here = here & (self.stack.sleep_min <= cut[:, None])
                inside = tuple(
                    may & (low <= cut[:, None])[:, None]
                    for may, low in zip(inside, self.least, strict=True)
                )
            for may in inside:
                here = here & may.any(axis=2)
            if here.any():
                reaches = (
                    reach(self.feed, self.product, self.tasks, k, cut, may & here[:, :, None])
                    for k, may in enumerate(inside)
                )
                yield _Level(here, inside, tuple(reaches))

    def plans(self) -> Plans:
        """The plans of all levels, each once."""
        by_level = [self._at(level) for level in self.levels]
        rows = np.concatenate(by_level) if by_level else np.empty((0, 2 + len(self.tasks)), np.intp)
        rows = _each_once(rows)
        volts = self.feed.nominal_v[0]
        return Plans(
            part=rows[:, 0],
            sleep=rows[:, 1],
            choice=rows[:, 2:],
            possible=self.possible,
            busy=self.busy,
            late=self.late,
            charge=tuple(t.charge_a + t.charge_w / volts for t in self.tasks),
            length=tuple(t.length for t in self.tasks),
            fed=self.fed,
            allowed=self.allowed,
        )

    def _at(self, level: _Level) -> NDArray[np.intp]:
        """Plans at one level of the cut-off, as rows (part, sleep, option of each task)."""
        if not self.tasks:
            return np.stack(np.nonzero(level.here), axis=1)
        may = []
        for inside, one in zip(level.inside, level.reaches, strict=True):
            # what no option of a task can do is said of the cheapest, once it is assessed
            fit = inside & (one.depth > 0)
            may.append(np.where(fit.any(axis=2, keepdims=True), fit, inside))
        left = [
            np.round(1 - task.length / own.finish_within[0], HEADROOM)
            if own.finish_within is not None
            else None
            for task, own in zip(self.tasks, self.product.tasks, strict=True)
        ]
        kept = self._kept(may, [np.round(r.depth, DIGITS) for r in level.reaches], left)
        out = [self._cheapest(volts, kept, level.here) for volts in self._voltages(may)]
        timed = self.product.waits and any(x is not None for x in left)
        least = [[task.length for task in self.tasks]] if timed else []
        peaks = [r.peak for r in level.reaches]
        if self.feed.pack.reservoir is not None and any(x is not None for x in peaks):
            # together the tasks draw a little more from the cells than each by itself
            least.append(
                [t.peak if x is None else x for t, x in zip(self.tasks, peaks, strict=True)]
            )
        for of in least:
            each = [np.where(m, x, np.inf).argmin(axis=2) for m, x in zip(may, of, strict=True)]
            out.append(self._rows(np.stack(each, axis=-1)[None], level.here[None]))
        return np.concatenate(out)

    def _kept(
        self, may: Sequence[Mask], reach: Sequence[Array], left: Sequence[Array | None]
    ) -> list[Mask]:
        """Options that keep each level of reach and headroom, per task (T, P, Z, O)."""
        deep = _steps(reach, may)[:, None, ..., None]
        kept = [m & (r >= deep) for m, r in zip(may, reach, strict=True)]
        timed = [(x, m) for x, m in zip(left, may, strict=True) if x is not None]
        levels = (len(deep), 1)
        if timed:
            early = _steps([x for x, _ in timed], [m for _, m in timed])[None, ..., None]
            levels = (len(deep), early.shape[1])
            kept = [k if x is None else k & (x >= early) for k, x in zip(kept, left, strict=True)]
        return [np.broadcast_to(k, (*levels, *k.shape[2:])).reshape(-1, *k.shape[2:]) for k in kept]

    def _voltages(self, may: Sequence[Mask]) -> Array:
        """Voltages at which charges are compared: one where the cheapest is so at all of them."""
        pack, volts = self.feed.pack, float(self.feed.nominal_v[0])
        if not any(task.charge_w.any() for task in self.tasks):
            return np.array([volts])
        ends = (float(pack.open_v[0, 0]), max(float(pack.open_v[-1, 0]), 0.2 * volts))
        for task, inside in zip(self.tasks, may, strict=True):
            at = [
                np.where(inside, task.charge_a + task.charge_w / v, np.inf).argmin(axis=2)
                for v in ends
            ]
            if (at[0] != at[1]).any():
                return np.array([volts, *np.linspace(*ends, VOLTAGES)])
        return np.array([volts])

    def _cheapest(self, volts: float, kept: Sequence[Mask], here: Mask) -> NDArray[np.intp]:
        """Each task's cheapest option at every level, as rows; where busy, by the exact search."""
        shape = kept[0].shape[:3]
        busies = [(np.zeros(shape), np.zeros(shape)) for _ in self.product.paces]
        charges = [task.charge_a + task.charge_w / volts for task in self.tasks]
        option = []
        for task, *paces, charge, may in zip(
            self.tasks, *self.product.paces, charges, kept, strict=True
        ):
            option.append(np.where(may, charge, np.inf).argmin(axis=3))
            length = np.where(may, task.length, np.inf)
            taken = np.take_along_axis(length, option[-1][..., None], axis=3)[..., 0]
            shortest = length.min(axis=3)
            for (busy, least_busy), period in zip(busies, paces, strict=True):
                if period[0] < np.inf:
                    busy += taken / period[0]
                    least_busy += shortest / period[0]
        busy, least_busy = (np.maximum.reduce(one) for one in zip(*busies, strict=True))
        choice = np.stack(option, axis=-1)
        keeps_up = here & (least_busy <= 1)
        rates = [1 / own.period[0] for own in self.product.tasks]
        every = self.product.paces if self.product.times else ()
        at_times = [[1 / period[0] for period in periods] for periods in every]
        for t, i, j in zip(*np.nonzero(keeps_up & (busy > 1)), strict=True):
            choice[t, i, j], _ = tight(
                [c[i, j] for c in charges],
                [task.length[i, j] for task in self.tasks],
                [may[t, i, j] for may in kept],
                rates,
                at_times,
            )
        return self._rows(choice, keeps_up)

    @staticmethod
    def _rows(choice: NDArray[np.intp], keeps_up: Mask) -> NDArray[np.intp]:
        _, i, j = np.nonzero(keeps_up)
        return np.concatenate([i[:, None], j[:, None], choice[keeps_up]], axis=1)


def _each_once(rows: NDArray[np.intp]) -> NDArray[np.intp]:
    """Distinct rows (R, C) of small whole numbers, in order."""
    if len(rows) < 2:
        return rows
    sizes = rows.max(axis=0) + 1
    if float(np.prod(sizes.astype(float))) < 2.0**62:
        # as one number a row, which sorts faster; of the columns that vary, as 64 are the most
        varies = np.flatnonzero(sizes > 1)
        if not len(varies):
            return rows[:1]
        shape = tuple(sizes[varies])
        keys = np.sort(np.ravel_multi_index(tuple(rows[:, varies].T), shape))
        keys = keys[np.append(True, keys[1:] != keys[:-1])]  # `np.unique` loads masked arrays
        out = np.zeros((len(keys), rows.shape[1]), dtype=rows.dtype)
        out[:, varies] = np.stack(np.unravel_index(keys, shape), axis=1)
        return out
    return np.unique(rows, axis=0)


def _steps(values: Sequence[Array], may: Sequence[Mask]) -> Array:
    """Levels of a figure that plans may keep, (T, P, Z), the lowest first.

    `values`, `may` are (P, Z, O) per task. A plan keeps as much as its worst task does, so no level
    lies above what the best option of some task gives; repeats stand at that end.
    """
    most = np.minimum.reduce(
        [np.where(m, v, -np.inf).max(axis=2) for v, m in zip(values, may, strict=True)]
    )[:, :, None]
    every = [np.where(m, np.minimum(v, most), most) for v, m in zip(values, may, strict=True)]
    levels = np.sort(np.concatenate(every, axis=2), axis=2)
    repeat = np.zeros(levels.shape, dtype=bool)
    repeat[:, :, 1:] = levels[:, :, 1:] == levels[:, :, :-1]
    count = int((~repeat).sum(axis=2).max(initial=1))
    levels = np.sort(np.where(repeat, most, levels), axis=2)[:, :, :count]
    return np.moveaxis(levels, 2, 0)


def tight(
    charges: list[Array],
    lengths: list[Array],
    allowed: list[NDArray[np.bool_]],
    rates: list[float],
    at_times: Sequence[Sequence[float]] = (),
) -> tuple[NDArray[np.intp], float]:
    """Whole options of least mean current whose busy shares sum to at most 1.

    Parameters
    ----------
    charges, lengths, allowed : per task, (O,) C, s and bool. rates : per task, events per s.
    at_times : the same at each time of the calendar, where the sum is to be at most 1 at each.

    Returns
    -------
    (K,) options and their busy share, the greatest of all times.

    Raises
    ------
    ValueError
        When no choice keeps the bound; the caller has checked that one does.
    """
    paces = list(zip(*at_times, strict=True)) if at_times else [(rate,) for rate in rates]
    # (busy shares, mean current, options): only those that no other beats on all are kept, so the
    # search is exact and its front stays short
    front: list[tuple[tuple[float, ...], float, tuple[int, ...]]] = [
        ((0.0,) * len(paces[0]) if paces else (0.0,), 0.0, ())
    ]
    for charge, length, may, rate, pace in zip(
        charges, lengths, allowed, rates, paces, strict=True
    ):
        grown = [
            (
                tuple(b + r * float(length[o]) for b, r in zip(busy, pace, strict=True)),
                current + rate * float(charge[o]),
                (*chosen, int(o)),
            )
            for busy, current, chosen in front
            for o in np.nonzero(may)[0]
        ]
        grown.sort()
        front = []
        for entry in grown:
            if max(entry[0]) <= 1 and not any(
                entry[1] >= other[1]
                and all(mine >= its for mine, its in zip(entry[0], other[0], strict=True))
                for other in reversed(front)
            ):
                front.append(entry)
    if not front:
        raise ValueError("no choice of whole points keeps the busy bound")
    busy, _, chosen = min(front, key=lambda entry: entry[1])
    return np.array(chosen, dtype=np.intp), max(busy)
