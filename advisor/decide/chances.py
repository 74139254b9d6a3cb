"""What chance makes of a build's events: found busy, waiting, in time. (R, N) arrays, SI units."""

from __future__ import annotations

import numpy as np

from advisor.dataclass import dataclass
from advisor.model.chance import Served, done_within, mean_wait, served
from advisor.model.draws import Array
from advisor.model.events import Timeline, tried
from advisor.model.workload import ProductFigures


@dataclass(frozen=True, slots=True)
class Waiting:
    """Events of one task among those of all: share of them that find the core busy, mean wait s,
    and the chance that one is in time, at the worst time of the calendar; (R, N) each."""

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
    own = product.tasks[k]
    shape = lines.share[:, 0].shape
    busy, wait, met = np.zeros(shape), np.zeros(shape), np.zeros(shape[1])
    in_time = None if own.finish_within is None else np.ones(shape)
    for t, paces in enumerate(product.paces):
        if not np.isfinite(paces[k]).all():
            continue
        with_whom = [
            j
            for j in range(len(product.tasks))
            if product.waits and np.isfinite(paces[j]).all() and (j != k or own.random)
        ]
        rates, others = [1 / paces[j] for j in with_whom], [events[j] for j in with_whom]
        share = (product.times[t].share if product.times else 1.0) / paces[k]
        if others:
            busy = busy + share * np.minimum(
                sum(r * one.mean for r, one in zip(rates, others, strict=True)), 1.0
            )
            wait = wait + share * mean_wait(rates, others)
        met = met + share
        if in_time is not None and own.finish_within is not None:
            chance = done_within(own.finish_within, events[k], rates, others, enough)
            in_time = np.minimum(in_time, chance)
    return Waiting(busy=busy / met, wait_s=wait / met, in_time=in_time)


def _served(product: ProductFigures, lines: Timeline, k: int) -> Served:
    """How long the events of a task last."""
    task = product.tasks[k]
    here = lines.tasks[k]
    once = lines.duration[:, here]
    if lines.tries is not None:
        once = once / lines.tries[here]
    return served(once, tried(task), task.tries)
