"""What chance makes of a build, task by task."""

from __future__ import annotations

import numpy as np

from advisor.dataclass import dataclass
from advisor.decide.builds import Build
from advisor.decide.chances import bears_on, waiting
from advisor.model.ends import BY_AGE
from advisor.studies.results import battery_current, known


@dataclass(frozen=True, slots=True)
class ChanceResult:
    """A task whose events come, end or fail by chance, at the stated values."""

    task: str
    """its name"""
    arrival: str
    """`regular`, or `random`: a Poisson process"""
    tries: float
    """mean number of tries of the whole event"""
    lost: float
    """[share] events of which something still fails at its last try"""
    busy: float
    """[share] events that find the core busy and wait"""
    wait_s: float | None
    """[s] mean wait of all events, those that find the core idle included; null where there is
    more to do than time"""
    missed: float | None
    """[share] events that miss `finish-within`, whether their last try works or not, at the worst
    time of the calendar; null without one"""


@dataclass(frozen=True, slots=True)
class SpreadResult:
    """What the charge of a life varies by, from device to device, by chance alone."""

    charge_sd_c: float
    """[C] standard deviation of the charge that events take over the battery's life"""
    life_sd_s: float | None
    """[s] what that makes of the battery's life; it is in the draws; null for a life that age ends,
    which it does not move"""
    tasks: tuple[ChanceResult, ...]
    """task by task"""


def chances(build: Build) -> SpreadResult | None:
    """What chance makes of a build; None where nothing in the workload is a matter of chance."""
    at, row = build.assessed, build.row
    if not at.product.by_chance or at.drain.variance is None:
        return None
    tasks = []
    for k, task in enumerate(at.product.tasks):
        if not bears_on(at.product, k):
            continue
        found = waiting(at.product, at.timeline, k)
        every = [task.tries, *task.use_tries.values(), *(load.tries for load in task.loads)]
        kept = [1 - float(t.lost[0]) for t in every if t is not None]
        tasks.append(
            ChanceResult(
                task=task.name,
                arrival="random" if task.random else "regular",
                tries=1.0 if task.tries is None else float(task.tries.mean[0]),
                lost=1 - float(np.prod(kept)),
                busy=float(found.busy[row, 0]),
                wait_s=known(found.wait_s[row, 0]),
                missed=None if found.in_time is None else 1 - float(found.in_time[row, 0]),
            )
        )
    life = float(at.life.life_s[row, 0])
    sd = float(np.sqrt(at.drain.variance[row, 0] * life)) if np.isfinite(life) else np.inf
    mean = battery_current(build) + float(at.life.self_a[row, 0])
    by_age = at.life.charged is not None or at.life.ends_by[row, 0] in BY_AGE
    return SpreadResult(
        charge_sd_c=sd, life_sd_s=None if by_age else known(sd / mean), tasks=tuple(tasks)
    )
