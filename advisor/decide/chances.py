"""What chance makes of a build's events: found busy, waiting, in time. (R, N) arrays, SI units."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from advisor.dataclass import dataclass
from advisor.model.chance import Served, served
from advisor.model.draws import Array
from advisor.model.events import Timeline, tried
from advisor.model.waits import Coming, done_within, met
from advisor.model.workload import ProductFigures


@dataclass(frozen=True, slots=True)
class Waiting:
    """Events of one task among those of all: share of them that find the core busy, mean wait of
    all s, and the chance that one is in time, at the worst time of the calendar; (R, N) each."""

    busy: Array
    wait_s: Array
    in_time: Array | None


def bears_on(product: ProductFigures, k: int) -> bool:
    """Whether chance bears on when events of task `k` end."""
    return product.waits or product.tasks[k].by_chance


def waiting(
    product: ProductFigures, lines: Timeline, k: int, enough: float | None = None
) -> Waiting:
    """How task `k` of builds fares; events of a regular task do not meet each other.

    Where it is surely in time in `enough` of its events (a share), that bound is told.
    """
    events = [_served(product, lines, j) for j in range(len(product.tasks))]
    moments = [one.moments for one in events]
    own = product.tasks[k]
    shape = lines.share[:, 0].shape
    busy, wait, done = np.zeros(shape), np.zeros(shape), np.zeros(shape[1])
    in_time = None if own.finish_within is None else np.ones(shape)
    times: list[tuple[list[int], Sequence[Array]]] = []
    for t, paces in enumerate(product.paces):
        if not np.isfinite(paces[k]).all():
            continue
        with_whom = [
            j
            for j in range(len(product.tasks))
            if product.waits and np.isfinite(paces[j]).all() and (j != k or own.random)
        ]
        others = [
            Coming(1 / paces[j], product.tasks[j].random, events[j], moments[j]) for j in with_whom
        ]
        share = (product.times[t].share if product.times else 1.0) / paces[k]
        found = met(others) if others else None
        if found is not None:
            busy = busy + share * np.minimum(found.busy, 1.0)
            wait = wait + share * found.wait
        done = done + share
        if (
            in_time is not None
            and own.finish_within is not None
            and not _no_busier((with_whom, paces), times)
        ):
            chance = done_within(own.finish_within, events[k], others, enough, found)
            in_time = np.minimum(in_time, chance)
        times.append((with_whom, paces))
    return Waiting(busy=busy / done, wait_s=wait / done, in_time=in_time)


def _no_busier(
    time: tuple[list[int], Sequence[Array]], others: Sequence[tuple[list[int], Sequence[Array]]]
) -> bool:
    """Whether no more comes at a time than at one of some others: then none waits longer. Each is
    told by the tasks that come, and by all tasks' periods, (N,) s each."""
    tasks, paces = time
    return any(
        set(tasks) <= set(its) and all((its_paces[j] <= paces[j]).all() for j in tasks)
        for its, its_paces in others
    )


def _served(product: ProductFigures, lines: Timeline, k: int) -> Served:
    """How long the events of a task last."""
    task = product.tasks[k]
    here = lines.tasks[k]
    once = lines.duration[:, here]
    if lines.tries is not None:
        once = once / lines.tries[here]
    return served(once, tried(task), task.tries)
