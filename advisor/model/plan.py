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

Feeds are looked at together, as rows one behind the other (`fed_rows`); `cheapest` sweeps a level.

Axes: P parts, R rows (parts on each of some feeds), Z sleep states, O options, K tasks, L levels of
cut-off. Stated values (N = 1).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.battery import life
from advisor.model.cheapest import HEADROOM, Level, plans_at
from advisor.model.draws import Array
from advisor.model.events import EventStates
from advisor.model.fed_rows import FedRows, Mask, fed_rows, repeated
from advisor.model.packs import Feed, cells_name
from advisor.model.reach import Asked, alone, done_at, reach, take
from advisor.model.tables import Stack
from advisor.model.workload import ProductFigures

TOGETHER = 500_000  # rows x states that go through the battery model at a time
BESIDE = 50_000  # rows x sleep states x options x states of the feeds that are looked at in one go


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
    groups = _groups(feeds, sum(event.duration.size for event in events) or floor_v.size)
    sweeps = [_sweep([feeds[f] for f in some], stack, product, events, floor_v) for some in groups]
    # options that may sag go through the battery model together, those of one pack at once where
    # the product's times bear on them alike
    times = [done_at(product, k) for k in range(len(events))]
    packs: dict[tuple[str, tuple[int, ...]], list[Asked]] = defaultdict(list)
    for sweep in sweeps:
        for level in sweep.levels:
            for one in level.reaches:
                for name, asked in one.asked():
                    packs[name, times[one.k]].append(asked)
    for every in packs.values():
        pack, fresh = every[0].pack, any(asked.limited for asked in every)
        for few in _batches(every, 1 + sum(len(e.names) for e in events)):
            take(pack, life(pack, alone(product, few), fresh=fresh, means=False), few)
    found: dict[int, Plans] = {}
    for some, sweep in zip(groups, sweeps, strict=True):
        found |= dict(zip(some, sweep.plans(events), strict=True))
    return [found[f] for f in range(len(feeds))]


def _groups(feeds: Sequence[Feed], size: int) -> list[list[int]]:
    """Feeds, by their places, that are looked at in one go, each of so many figures; those of one
    pack stand beside each other. Many figures gain nothing by that, and would fill the memory."""
    by_pack: dict[str, list[int]] = defaultdict(list)
    for f, feed in enumerate(feeds):
        by_pack[cells_name(feed.option)].append(f)
    order = [f for members in by_pack.values() for f in members]
    most = max(1, BESIDE // max(size, 1))
    return [order[start : start + most] for start in range(0, len(order), most)]


def _batches(asked: Sequence[Asked], states: int) -> Iterator[list[Asked]]:
    """What goes through the battery model at a time, so that many tasks do not fill the memory."""
    some: list[Asked] = []
    rows = 0
    for one in asked:
        more = one.count
        if some and (rows + more) * states > TOGETHER:
            yield some
            some, rows = [], 0
        some.append(one)
        rows += more
    yield some


def _sweep(
    feeds: Sequence[Feed],
    stack: Stack,
    product: ProductFigures,
    events: tuple[EventStates, ...],
    floor_v: Array,
) -> _Sweep:
    """What there is to choose from on some feeds, and the levels of the cut-off."""
    p, z = stack.sleep_a.shape[:2]
    count = len(feeds)
    rows = fed_rows(feeds, p, product, events)
    at_chip, direct = rows.at_chip_v[:, None], rows.direct[:, None]
    sleeping, sleep_min = repeated(stack.sleeping, count), repeated(stack.sleep_min, count)
    here = np.arange(p)[:, None]
    least = [repeated(stack.supply_min[here, points], count) for points in stack.option_point]
    fed = tuple(
        repeated(there, count) & (low <= at_chip)
        for there, low in zip(stack.valid, least, strict=True)
    )
    allowed = []
    late = np.zeros((count * p, z, len(events)), dtype=bool)
    busy_at = [np.zeros((count * p, z)) for _ in product.paces]
    for k, (task, may) in enumerate(zip(product.tasks, fed, strict=True)):
        length = rows.tasks[k].length
        inside = np.broadcast_to(may[:, None], length.shape)
        if task.finish_within is not None:
            inside = inside & (rows.tasks[k].shortest <= task.finish_within[0])
        late[:, :, k] = ~inside.any(axis=2)
        shortest = np.where(inside, length, np.inf).min(axis=2, initial=np.inf)
        least_busy = np.where(late[:, :, k], length.min(axis=2, initial=np.inf), shortest)
        for busy, paces in zip(busy_at, product.paces, strict=True):
            busy += least_busy / paces[k][0] if paces[k][0] < np.inf else 0.0
        allowed.append(inside)
    busy = np.maximum.reduce(busy_at)
    possible = sleeping & (sleep_min <= at_chip) & ~late.any(axis=2) & (busy <= 1)
    rests = repeated(stack.rests, count)
    wanted = possible & ~_idle_in_vain(rows, product, sleeping & ~rests, rests & possible, allowed)
    # behind a converter parts and loads see the rail: no level of the cut-off is theirs
    floor = np.where(rows.direct, repeated(floor_v, count), 0.0)
    least = [np.where(direct, low, 0.0) for low in least]
    sleep_min = np.where(direct, sleep_min, 0.0)
    cuts = _levels(floor, sleeping, sleep_min, least, fed)
    return _Sweep(
        rows=rows,
        product=product,
        fed=fed,
        allowed=tuple(allowed),
        possible=possible,
        late=late,
        busy=busy,
        levels=list(_opened(rows, product, cuts, wanted, sleep_min, least, allowed)),
    )


def _idle_in_vain(
    rows: FedRows, product: ProductFigures, idles: Mask, rests: Mask, allowed: Sequence[Mask]
) -> Mask:
    """(R, Z): where idling instead of sleeping is of no use, whatever the task's options.

    It is where a sleep state draws no more, in every option's event too, and wakes in a time and
    with a current that count for nothing: some sleep state of nearly every part does. `idles`,
    `rests` tell which (R, Z) are to idle in, and to sleep in.
    """
    out = np.zeros(idles.shape, dtype=bool)
    # the states to idle in, against all to sleep in: (R, from, to, O)
    to = np.flatnonzero(idles.any(axis=0))
    start = np.flatnonzero(rests.any(axis=0))
    if not (to.size and start.size):
        return out
    less = rests[:, start, None] & idles[:, None, to]
    for task, own, may in zip(rows.tasks, product.tasks, allowed, strict=True):
        ok = np.ones((*less.shape, may.shape[2]), dtype=bool)
        period = own.period[0]
        for volts in (rows.fresh_v[:, None], rows.nominal_v[:, None]):
            # over a period: the event beyond rest, and rest all the while
            rest = (task.rest_a + task.rest_w / volts)[..., None]
            whole = task.charge_a + task.charge_w / volts[..., None] + rest * period
            ok &= whole[:, start, None] <= whole[:, None, to]
        for draw in (task.a, task.w):
            # the first state of an event wakes
            wakes = draw[..., 0] <= draw[..., 1:].max(axis=3, initial=0.0)
            ok &= wakes[:, start, None]
        longer = task.length[:, start, None] - task.length[:, None, to]
        limit = own.period if own.finish_within is None else own.finish_within
        ok &= longer <= 0.5 * 10.0**-HEADROOM * limit[0]
        less &= (ok | ~may[:, None, to]).all(axis=3)
    out[:, to] = less.any(axis=1)
    return out


def _levels(
    floor_v: Array,
    sleeping: Mask,
    sleep_min: Array,
    least: Sequence[Array],
    fed: Sequence[Mask],
) -> Array:
    """Levels of the cut-off that the points used may set, (L, R) V, rising.

    Where no point asks for more than its part does there is one.
    """
    if not least:
        return floor_v[None]
    sets = [np.where(may, low, 0.0) for low, may in zip(least, fed, strict=True)]
    sets.append(np.where(sleeping, sleep_min, 0.0))
    ends = np.sort(np.maximum(np.concatenate([floor_v[:, None], *sets], axis=1), floor_v[:, None]))
    # equal levels are swept once: repeats move to the front as the floor itself
    ends[:, 1:][ends[:, 1:] == ends[:, :-1]] = 0.0
    levels = np.sort(np.maximum(ends, floor_v[:, None]), axis=1).T
    moving = (levels > floor_v).any(axis=1)
    return np.concatenate([floor_v[None], levels[moving]])


def _opened(
    rows: FedRows,
    product: ProductFigures,
    cuts: Array,
    wanted: Mask,
    sleep_min: Array,
    least: Sequence[Array],
    allowed: Sequence[Mask],
) -> Iterator[Level]:
    """The levels of the cut-off, (L, R) V, each of the feeds that have it."""
    before: Array | None = None
    for cut in cuts:
        # a part without this level is swept at the one below
        here = wanted & (sleep_min <= cut[:, None])
        if before is not None:
            here &= (cut > before)[:, None]
        before = cut
        inside = [
            may & (low <= cut[:, None])[:, None] for may, low in zip(allowed, least, strict=True)
        ]
        for may in inside:
            here &= may.any(axis=2)
        some = here.reshape(len(rows.feeds), -1).any(axis=1)
        if some.any():
            of, place = rows, np.arange(len(here))
            if not some.all():
                of, place = rows.of(some), rows.rows_of(some)
                here, cut, inside = here[place], cut[place], [may[place] for may in inside]
            yield Level(
                rows=of,
                here=here,
                inside=tuple(inside),
                reaches=tuple(
                    reach(of, product, k, cut, may & here[:, :, None])
                    for k, may in enumerate(inside)
                ),
                place=place,
            )


@dataclass(frozen=True, slots=True)
class _Sweep:
    """The search over levels of cut-off, reach and headroom; some feeds."""

    rows: FedRows
    product: ProductFigures
    fed: tuple[Mask, ...]
    allowed: tuple[Mask, ...]
    possible: Mask
    late: Mask
    busy: Array
    levels: list[Level]

    def plans(self, events: Sequence[EventStates]) -> list[Plans]:
        """The plans of all levels, each once, feed by feed."""
        tasks, parts = self.rows.tasks, self.rows.parts
        by_level = [plans_at(level, self.product) for level in self.levels]
        found = np.concatenate(by_level) if by_level else np.empty((0, 2 + len(tasks)), np.intp)
        found = _each_once(found)
        charges = [t.charge_a + t.charge_w / self.rows.nominal_v[:, None, None] for t in tasks]
        length = tuple(event.length[..., 0] for event in events)
        starts = np.arange(len(self.rows.feeds) + 1) * parts
        places = np.searchsorted(found[:, 0], starts).tolist()
        out = []
        for f, start in enumerate(starts[:-1].tolist()):
            own, mine = slice(start, start + parts), found[places[f] : places[f + 1]]
            out.append(
                Plans(
                    part=mine[:, 0] - start,
                    sleep=mine[:, 1],
                    choice=mine[:, 2:],
                    possible=self.possible[own],
                    busy=self.busy[own],
                    late=self.late[own],
                    charge=tuple(charge[own] for charge in charges),
                    length=length,
                    fed=tuple(may[own] for may in self.fed),
                    allowed=tuple(may[own] for may in self.allowed),
                )
            )
        return out


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
