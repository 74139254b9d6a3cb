"""What an answer assumes of a chosen build's pack, and what is odd about its changes, in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from advisor.catalogue.schema_product import Product
from advisor.decide.builds import Build
from advisor.decide.chances import bears_on, waiting
from advisor.model.drain import at_depth
from advisor.model.packs import cells_name
from advisor.quantities import show
from advisor.studies.charging import charge_time

MISSED = 0.1  # of a task's events that miss their deadline, for it to be told
LATE = 0.1  # of a pack's life, that is left of the service life at its last change
SLOW = 0.1  # of the time from charge to charge, that a charge takes at least, for it to be told


def of_build(build: Build) -> Iterator[str]:
    """What is assumed of a chosen build's pack."""
    life, row, feed = build.assessed.life, build.row, build.assessed.feed
    if life.emptied is not None and life.emptied[row, 0] and feed.cell is not None:
        volts = show(
            float(
                at_depth(
                    feed.pack.depth, feed.pack.open_v, life.start_depth[row, :1], np.array([0])
                )[0]
            ),
            "voltage",
        )
        yield (
            f"{feed.cell.cell} is emptied by before-use: the harvest is taken to charge it again, "
            f"by a charger that starts into {volts} without a lock-out; days until it works are "
            "not counted"
        )


def missed_deadlines(build: Build) -> Iterator[str]:
    """Which tasks of a chosen build often miss the time that they are to finish within, by chance,
    as the needs allow."""
    assessed = build.assessed
    product = assessed.product
    for k, task in enumerate(product.tasks):
        if task.finish_within is None or not bears_on(product, k):
            continue
        found = waiting(product, assessed.timeline, k).in_time
        missed = 0.0 if found is None else 1 - float(found[build.row, 0])
        if missed >= MISSED:
            yield (
                f"{100 * missed:.3g} % of the events of {task.name} miss workload.{task.name}."
                f"finish-within; needs.confidence asks for {100 * product.confidence:.3g} % in time"
            )


def late_change(build: Build, product: Product) -> Iterator[str]:
    """That the last change of a chosen build's pack comes shortly before the product's end."""
    life, row = build.assessed.life, build.row
    service = product.service_life
    first, later = float(life.life_s[row, 0]), float(life.next_s[row, 0])
    if service is None or not 0 < first < service.nominal or later <= 0 or life.charged is not None:
        return
    # a life that just reaches is no change, but for rounding
    changes = int(np.ceil((service.nominal - first) / later - 1e-9))
    left = service.nominal - first - (changes - 1) * later
    if changes and left < LATE * later:
        yield (
            f"the last of {changes} battery changes comes {show(left, 'time')} before the end of "
            "the service life: a little more life saves the visit"
        )


def slow_charges(builds: Iterable[Build]) -> Iterator[str]:
    """Packs of chosen builds that take a good share of the time from one charge to the next to be
    charged, at their cells' greatest current; each with the build that asks for most."""
    most: dict[str, tuple[float, Build]] = {}
    for build in builds:
        name, seconds = cells_name(build.assessed.feed.option), charge_time(build)
        if seconds is not None and seconds > most.get(name, (0.0, build))[0]:
            most[name] = seconds, build
    for name, (seconds, build) in most.items():
        charged, cell = build.assessed.life.charged, build.assessed.feed.cell
        if charged is None or cell is None or cell.charge is None:
            continue
        limit, every = cell.charge.max_current, float(charged.every_s[0])
        if limit is None or seconds <= SLOW * every:
            continue
        yield (
            f"{name}: a charge takes at least {show(seconds, 'time')} at charge.max-current, "
            f"{limit.text}, {100 * seconds / every:.3g} % of recharge.every: charges count as "
            "taking no time"
        )
