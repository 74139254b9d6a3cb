"""What the pack carries under builds: state by state, at each time of the calendar, before use.

Axes: R rows (builds on one feed), S states, N draws. SI units.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from advisor.model.drain import Drain, Seen, Stored, some_tasks
from advisor.model.draws import Array
from advisor.model.events import Timeline
from advisor.model.meetings import strained, variance
from advisor.model.outdone import outdone
from advisor.model.packs import Feed
from advisor.model.rails import at_rest
from advisor.model.tables import Stack
from advisor.model.workload import ProductFigures


def carried(
    feed: Feed,
    stack: Stack,
    product: ProductFigures,
    lines: Timeline,
    meeting: Sequence[Timeline],
    part: NDArray[np.intp],
    sleep: NDArray[np.intp],
    cut_off: Array,
) -> Drain:
    """The battery model's view of builds on one feed.

    Parameters
    ----------
    lines : of the whole calendar. meeting : with what events meet by chance, at each of the
    product's times, once where it has none. part, sleep : (R,) indices. cut_off : (R, N) V.
    """
    drain = drain_of(feed, lines, cut_off)
    if not (product.times or product.before or product.by_chance):
        return drain
    if product.times:
        seen = outdone(
            Seen(
                feed.pack.eases[t],
                some_tasks(_pulses(feed, product, one, cut_off, product.done(t)), product.done(t)),
                feed.pack.strains[t],
            )
            for t, one in enumerate(meeting)
        )
    elif product.by_chance:
        whole = np.ones(cut_off.shape[1])
        every = range(len(product.tasks))
        seen = (Seen(whole, _pulses(feed, product, meeting[0], cut_off, every)),)
    else:
        seen = ()
    return replace(
        drain,
        seen=seen,
        before=_before_use(feed, stack, product, part, sleep),
        variance=variance(product, drain, feed.nominal_v, lines.tries)
        if product.by_chance
        else None,
        luck=product.luck,
    )


def _pulses(
    feed: Feed, product: ProductFigures, lines: Timeline, cut_off: Array, done: Sequence[int]
) -> Drain:
    """The drain that pulses are held against, (R, S, N) A and W, of what may meet; cut_off (R, N)
    V, `done` the tasks of which events come."""
    drain = drain_of(feed, lines, cut_off)
    return strained(product, drain, done) if product.by_chance else drain


def drain_of(feed: Feed, lines: Timeline, cut_off: Array) -> Drain:
    """What the pack carries in each state, (R, S, N) A and W; cut_off (R, N) V."""
    constant, power = feed.cell_side(
        lines.chip_a,
        lines.chip_w,
        lines.at_rail(feed.main.volts)[None],
        lines.other_w[None],
        lines.rails,
    )
    # a state of no length draws nothing that could pull the voltage down
    gone = lines.duration == 0
    gone[:, -1] = False
    for s in np.flatnonzero(gone.any(axis=(0, 2))):
        for values in (constant, power):
            np.copyto(values[:, s], values[:, -1], where=gone[:, s])
    return Drain(
        constant_a=constant,
        power_w=power,
        share=lines.share,
        duration_s=lines.duration,
        tasks=lines.tasks,
        period_s=lines.period,
        cut_off_v=cut_off,
    )


def _before_use(
    feed: Feed,
    stack: Stack,
    product: ProductFigures,
    part: NDArray[np.intp],
    sleep: NDArray[np.intp],
) -> tuple[Stored, ...]:
    """The phases before use of builds, by their (R,) indices of parts and sleep states.

    A pack that is not disconnected feeds the chip, the standing loads and the converter.
    """
    out = []
    for f, phase in enumerate(product.before):
        a, w = stack.stored_a[part, f, sleep], stack.stored_w[part, f, sleep]
        if phase.connected:
            rest = [at_rest(rail) for rail in product.rails]
            a, w = feed.cell_side(a, w, product.standing_a, product.standing_w, rest)
        out.append(Stored(seconds=phase.duration, constant_a=a, power_w=w))
    return tuple(out)
