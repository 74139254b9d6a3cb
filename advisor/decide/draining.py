"""What builds on several feeds draw from their packs, before any battery life is known.

(R, N) arrays of R builds on one feed and N draws, SI units.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from advisor.dataclass import dataclass
from advisor.decide.awake import Awake, Index, awake
from advisor.decide.costs import FeedCost
from advisor.decide.sides import PartSide
from advisor.model.carried import Carried, carried
from advisor.model.drain import Drain
from advisor.model.draws import Array
from advisor.model.events import EventStates
from advisor.model.packs import Feed
from advisor.model.tables import Stack
from advisor.model.workload import ProductFigures


@dataclass(frozen=True, slots=True)
class Prepared:
    """Builds on one feed before their battery life: see `Assessed` for what is alike."""

    feed: Feed
    feed_cost: FeedCost
    stack: Stack
    side: PartSide
    awake: Awake
    drain: Drain

    @property
    def battery_a(self) -> Array:
        """Mean current at the pack, (R, N) A; see `Assessed`."""
        drain = self.drain
        current = drain.constant_a + drain.power_w / self.feed.nominal_v
        return np.asarray((self.awake.line.share * current).sum(axis=1))


def prepare(
    fed: Sequence[tuple[Feed, FeedCost]],
    stack: Stack,
    product: ProductFigures,
    events: Sequence[tuple[EventStates, ...]],
    side: PartSide,
    rows: Sequence[tuple[Index, Index, Index]],
) -> list[Prepared]:
    """What builds on several feeds draw from their packs.

    Parameters
    ----------
    events : of `at_times`. rows : of each of the feeds part and sleep state, (R,) indices into the
    stack each, and choice, (R, K) index of each task's option.
    """
    if not fed:
        return []
    part, sleep, choice = (np.concatenate(each) for each in zip(*rows, strict=True))
    bridged = any(feed.pack.reservoir is not None for feed, _ in fed)
    known: Carried = {}
    every = awake(stack, product, events, part, sleep, choice, bridged)
    return [
        _prepared(feed, money, stack, product, side, one, known)
        for (feed, money), one in zip(fed, every.each([len(p) for p, _, _ in rows]), strict=True)
    ]


def _prepared(
    feed: Feed,
    feed_cost: FeedCost,
    stack: Stack,
    product: ProductFigures,
    side: PartSide,
    here: Awake,
    known: Carried,
) -> Prepared:
    part, sleep, choice = here.part, here.sleep, here.choice
    cut_off = np.broadcast_to(feed.cut_off_v, (len(part), here.line.share.shape[2]))
    if feed.converter is None:
        points = [stack.option_point[k][part, choice[:, k]] for k in range(choice.shape[1])]
        least = [stack.sleep_min[part, sleep], *(stack.supply_min[part, p] for p in points)]
        cut_off = np.maximum.reduce(
            [cut_off, side.floor_v[part], *(v[:, None] + 0.0 * cut_off for v in least)]
        )
    drain = carried(
        feed, stack, product, here.line, here.meeting, here.alike, part, sleep, cut_off, known
    )
    return Prepared(
        feed=feed,
        feed_cost=feed_cost,
        stack=stack,
        side=side,
        awake=here,
        drain=drain,
    )
