"""What the pack carries under builds: state by state, at each time of the calendar, before use.

Axes: R rows (builds on one feed), S states, N draws. SI units.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import chain, islice

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.schema_product import CellOption
from advisor.model.drain import Drain, Seen, Stored, some_tasks
from advisor.model.draws import Array
from advisor.model.events import Timeline
from advisor.model.meetings import heaviest, strained, variance
from advisor.model.outdone import outdone
from advisor.model.packs import Feed
from advisor.model.rails import RailStates, at_rest
from advisor.model.tables import Stack
from advisor.model.workload import ProductFigures

# what further rails carry, by the rail, its converter, the cells and the states' identity; with the
# states, which then stay what they are
Carried = dict[tuple[str, str, CellOption | None, int], tuple[RailStates, Array, Array]]


def carried(
    feed: Feed,
    stack: Stack,
    product: ProductFigures,
    lines: Timeline,
    meeting: Sequence[Sequence[Timeline]],
    alike: NDArray[np.intp],
    part: NDArray[np.intp],
    sleep: NDArray[np.intp],
    cut_off: Array,
    known: Carried,
) -> Drain:
    """The battery model's view of builds on one feed.

    Parameters
    ----------
    lines : of the whole calendar. meeting : with what events meet by chance and the greatest
    fillings, at each of the product's times, once where it has none, each in every choice that may
    be the worst; alike : (L, S) of each of these, as of `events.alike`. part, sleep : (R,) indices.
    cut_off : (R, N) V. known : what further rails carry, kept for feeds of the same pass.
    """
    held = product.times or product.by_chance or product.uneven
    every = [lines, *(chain.from_iterable(meeting) if held else ())]
    drain, *others = _drains(feed, every, alike, cut_off, known)
    if not (held or product.before):
        return drain
    rest = iter(others)
    drains = [heaviest(feed.pack, list(islice(rest, len(of)))) for of in meeting if held]
    if product.times:
        done = [product.done(t) for t in range(len(product.times))]
        seen = outdone(
            Seen(feed.pack.eases[t], some_tasks(_pulses(product, one, some), some), strain)
            for t, (one, some, strain) in enumerate(
                zip(drains, done, feed.pack.strains, strict=True)
            )
        )
    elif held:
        whole = np.ones(cut_off.shape[1])
        seen = (Seen(whole, _pulses(product, drains[0], range(len(product.tasks)))),)
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


def _pulses(product: ProductFigures, drain: Drain, done: Sequence[int]) -> Drain:
    """The drain that pulses are held against, (R, S, N) A and W, of what may meet; `done` the tasks
    of which events come."""
    return strained(product, drain, done) if product.by_chance else drain


def drain_of(feed: Feed, lines: Timeline, cut_off: Array) -> Drain:
    """What the pack carries in each state, (R, S, N) A and W; cut_off (R, N) V."""
    return _drains(feed, [lines], np.empty((0, 0), dtype=np.intp), cut_off, {})[0]


def _filling(feed: Feed, line: Timeline, gone: NDArray[np.bool_]) -> tuple[Array, Array] | None:
    """What builds fill straight from the pack, see `Drain`; `gone` (R, S, N) states do not.

    C V each time, of the voltage that the pack has then: a conductance of C a second.
    """
    fill = [line.fill_s] if feed.converter is None else []
    for one, states in zip(feed.rails, line.rails, strict=True):
        if one.converter is None:
            fill.append(np.where(states.on, states.fill_s, 0.0))
    siemens = sum(fill, np.zeros_like(line.fill_s))
    if not siemens.any():
        return None
    return np.where(gone, 0.0, siemens), feed.nominal_v


def _drains(
    feed: Feed,
    every: Sequence[Timeline],
    alike: NDArray[np.intp],
    cut_off: Array,
    known: Carried,
) -> list[Drain]:
    """`drain_of` of several lines of builds, whose states are `alike` as in `carried` and last as
    long in each."""
    sides = [_cell_side(feed, every[0], slice(None), known)]
    for n, line in enumerate(every[1:], 1):
        like = alike[n - 1]
        own = np.flatnonzero(like == n)
        found = [np.empty_like(values) for values in sides[0]]
        for m, side in enumerate([*sides, _cell_side(feed, line, own, known) if own.size else ()]):
            here = np.flatnonzero(like == m)
            for values, of in zip(found, side, strict=False):
                values[:, here] = of if m == n else of[:, here]
        sides.append((found[0], found[1]))
    # a state of no length draws nothing that could pull the voltage down
    gone = every[0].duration == 0
    gone[:, -1] = False
    for s in np.flatnonzero(gone.any(axis=(0, 2))):
        for values in (values for side in sides for values in side):
            np.copyto(values[:, s], values[:, -1], where=gone[:, s])
    return [
        Drain(
            constant_a=constant,
            power_w=power,
            share=line.share,
            duration_s=line.duration,
            tasks=line.tasks,
            period_s=line.period,
            cut_off_v=cut_off,
            filling=_filling(feed, line, gone),
        )
        for line, (constant, power) in zip(every, sides, strict=True)
    ]


def _cell_side(
    feed: Feed, line: Timeline, states: NDArray[np.intp] | slice, known: Carried
) -> tuple[Array, Array]:
    """What the pack carries in some states, by their indices (M,): (R, M, N) A and W."""
    constant, power = feed.main_side(
        line.chip_a[:, states],
        line.chip_w[:, states],
        line.at_rail(feed.main.volts)[..., states, :],
        line.other_w[states][None],
    )
    for a, w in _further(feed, line.rails, known):
        constant, power = constant + a[..., states, :], power + w[..., states, :]
    return constant, power


def _further(feed: Feed, rails: Sequence[RailStates], known: Carried) -> list[tuple[Array, Array]]:
    """What the pack carries for each further rail in each state, (S, N) A and W.

    It rests on the rail's converter, and with some on the cells as well.
    """
    out = []
    for one, states in zip(feed.rails, rails, strict=True):
        alone = one.converter is not None and one.light is None
        key = one.rail, one.name, None if alone else feed.option, id(states)
        if key not in known:
            known[key] = (states, *one.carried(states))
        out.append(known[key][1:])
    return out


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
