"""The plans that no other beats at one level of the cut-off, row by row.

A case is a row and a sleep state at a level of reach and of headroom that its options keep: each
task takes its cheapest option among those that keep both; see `plan`.

Axes: R rows (a part on a feed each), Z sleep states, O options, K tasks, M rows with a sleep state,
C cases. Stated values (N = 1).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.draws import Array
from advisor.model.fed_rows import FedRows, Mask
from advisor.model.packs import Feed
from advisor.model.reach import DIGITS, Reach
from advisor.model.workload import ProductFigures

HEADROOM = 4  # digits of a share of a deadline that count: a hundredth of a point at the most
VOLTAGES = 5  # between a fresh and an empty pack, where the cheapest option is not the same at both
PIECE = 500_000  # cases x options that are looked at at a time

Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Level:
    """A level of the cut-off: the feeds that have it, and where.

    here : (R, Z) which rows and sleep states have it. inside : per task, (R, Z, O) options there.
    reaches : per task, theirs. place : (R,) index of each row among those of all feeds.
    """

    rows: FedRows
    here: Mask
    inside: tuple[Mask, ...]
    reaches: tuple[Reach, ...]
    place: Indices


@dataclass(frozen=True, slots=True)
class Offers:
    """What the options of each task are to M rows, each with a sleep state.

    Per task: may, which there are; charge_a C, charge_w W s; length s; each (M, O).
    """

    may: list[Mask]
    charge_a: list[Array]
    charge_w: list[Array]
    length: list[Array]


def plans_at(level: Level, product: ProductFigures) -> Indices:
    """Plans at one level of the cut-off: indices of row, sleep state and each task's option,
    (any number, 2 + K)."""
    rows, tasks = level.rows, level.rows.tasks
    i, j = np.nonzero(level.here)
    if not tasks:
        return np.stack([level.place[i], j], axis=1)
    may = []
    for inside, one in zip(level.inside, level.reaches, strict=True):
        # what no option of a task can do is said of the cheapest, once it is assessed
        fit = inside & (one.depth > 0)
        may.append(np.where(fit.any(axis=2, keepdims=True), fit, inside))
    offers = Offers(
        may=[one[i, j] for one in may],
        charge_a=[task.charge_a[i, j] for task in tasks],
        charge_w=[task.charge_w[i, j] for task in tasks],
        length=[task.length[i, j] for task in tasks],
    )
    left = [
        None if own.finish_within is None else np.round(1 - length / own.finish_within[0], HEADROOM)
        for length, own in zip(offers.length, product.tasks, strict=True)
    ]
    depths = [np.round(one.depth[i, j], DIGITS) for one in level.reaches]
    feed = i // rows.parts
    crossing = crossed(rows, may)
    turns = np.empty((0, len(rows.feeds)))  # V
    if crossing.any():
        turns = np.stack([_turns(of) for of in rows.feeds], axis=1)
    out = []  # (which of the M, options)
    for case, kept in _cases(offers, depths, left):
        out.append(_cheapest(offers, product, rows.nominal_v[i], case, kept))
        some = crossing[feed[case]]
        if some.any():
            again, few = case[some], [one[some] for one in kept]
            out += [_cheapest(offers, product, volts[feed], again, few) for volts in turns]
    if product.waits and any(x is not None for x in left):
        out.append(_least(offers, offers.length, np.arange(len(i))))
    # together the tasks draw a little more from the cells than each by itself
    leaning = np.flatnonzero(_leaning(level)[feed])
    if leaning.size:
        peaks = [
            (task.peak if one.peak is None else one.peak)[i, j]
            for task, one in zip(tasks, level.reaches, strict=True)
        ]
        out.append(_least(offers, peaks, leaning))
    which = np.concatenate([m for m, _ in out])
    choice = np.concatenate([options for _, options in out])
    return np.concatenate([level.place[i[which], None], j[which, None], choice], axis=1)


def _leaning(level: Level) -> Mask:
    """(F,): feeds with a reservoir some of whose options were asked about for their pulses."""
    out = np.zeros(len(level.rows.feeds), dtype=bool)
    for one in level.reaches:
        out[one.index[0][np.isfinite(one.pulse)] // level.rows.parts] = True
    return out & [feed.pack.reservoir is not None for feed in level.rows.feeds]


def _least(offers: Offers, of: Sequence[Array], some: Indices) -> tuple[Indices, Indices]:
    """Of some of the rows, and the options that are least by a figure (M, O) per task: indices."""
    each = [
        np.where(may[some], x[some], np.inf).argmin(axis=1)
        for may, x in zip(offers.may, of, strict=True)
    ]
    return some, np.stack(each, axis=1)


def _cases(
    offers: Offers, depths: Sequence[Array], left: Sequence[Array | None]
) -> Iterator[tuple[Indices, list[Mask]]]:
    """Every level of reach and headroom that plans may keep: which of the M rows it is of, (C,)
    indices, and per task the options that keep it, (C, O); some at a time."""
    deep, of_depth = steps(depths, offers.may)
    timed = [(x, may) for x, may in zip(left, offers.may, strict=True) if x is not None]
    if timed:
        early, of_time = steps([x for x, _ in timed], [may for _, may in timed])
        m, d, t = np.nonzero(of_depth[:, :, None] & of_time[:, None, :])
    else:
        m, d = np.nonzero(of_depth)
    count = max(1, PIECE // sum(may.shape[1] for may in offers.may))
    for start in range(0, len(m), count):
        some = slice(start, start + count)
        case = m[some]
        least = deep[case, d[some], None]
        kept = [
            may[case] & (depth[case] >= least)
            for may, depth in zip(offers.may, depths, strict=True)
        ]
        if timed:
            least = early[case, t[some], None]
            kept = [
                k if x is None else k & (x[case] >= least) for k, x in zip(kept, left, strict=True)
            ]
        yield case, kept


def crossed(rows: FedRows, may: Sequence[Mask]) -> Mask:
    """(F,): feeds on which the cheapest of a task's options (R, Z, O) is not the same at the ends
    of the pack's voltage."""
    out = np.zeros(len(rows.direct), dtype=bool)
    ends = rows.fresh_v, np.maximum(rows.empty_v, 0.2 * rows.nominal_v)
    for task, inside in zip(rows.tasks, may, strict=True):
        if inside.shape[2] > 1 and task.charge_w.any():
            first, last = (
                np.where(inside, task.charge_a + task.charge_w / v[:, None, None], np.inf).argmin(
                    axis=2
                )
                for v in ends
            )
            out |= (first != last).any(axis=1)
    return np.asarray(out.reshape(len(rows.feeds), -1).any(axis=1))


def _turns(feed: Feed) -> Array:
    """The further voltages at which charges are compared where they cross, (VOLTAGES,) V."""
    volts = feed.pack.open_v[:, 0]
    return np.linspace(
        float(volts[0]), max(float(volts[-1]), 0.2 * float(feed.nominal_v[0])), VOLTAGES
    )


def _cheapest(
    offers: Offers, product: ProductFigures, volts: Array, case: Indices, kept: Sequence[Mask]
) -> tuple[Indices, Indices]:
    """Each task's cheapest option in every case at a voltage (M,) V; where busy, by the exact
    search.

    Returns which of the M rows, and the options (.., K), of the cases that keep up: indices.
    """
    charges = [
        (a + w / volts[:, None])[case]
        for a, w in zip(offers.charge_a, offers.charge_w, strict=True)
    ]
    lengths = [length[case] for length in offers.length]
    option = [
        np.where(may, charge, np.inf).argmin(axis=1)
        for may, charge in zip(kept, charges, strict=True)
    ]
    able = [np.where(may, length, np.inf) for may, length in zip(kept, lengths, strict=True)]
    every = np.arange(len(case))
    taken = [length[every, o] for length, o in zip(able, option, strict=True)]
    shortest = [length.min(axis=1) for length in able]
    busy, least_busy = (
        np.maximum.reduce([_shares(of, periods, len(case)) for periods in product.paces])
        for of in (taken, shortest)
    )
    choice = np.stack(option, axis=1)
    keeps_up = least_busy <= 1
    tense = np.flatnonzero(keeps_up & (busy > 1)).tolist()
    if tense:
        rates = [1 / own.period[0] for own in product.tasks]
        paces = product.paces if product.times else ()
        at_times = [[1 / period[0] for period in periods] for periods in paces]
        for c in tense:
            choice[c], _ = tight(
                [charge[c] for charge in charges],
                [length[c] for length in lengths],
                [may[c] for may in kept],
                rates,
                at_times,
            )
    return case[keeps_up], choice[keeps_up]


def _shares(lengths: Sequence[Array], periods: Sequence[Array], count: int) -> Array:
    """Busy share of each case, (C,), of the lengths of events (C,) s and the periods of tasks."""
    out = np.zeros(count)
    for length, period in zip(lengths, periods, strict=True):
        if period[0] < np.inf:
            out += length / period[0]
    return out


def steps(values: Sequence[Array], may: Sequence[Mask]) -> tuple[Array, Mask]:
    """Levels that plans may keep of a share, of a pack or of a deadline, (M, T), the lowest first;
    and which of them are no repeats of the one before.

    `values`, `may` are (M, O) per task. A plan keeps as much as its worst task does, so no level
    lies above what the best option of some task gives.
    """
    most = np.minimum.reduce(
        [np.where(m, v, -np.inf).max(axis=1) for v, m in zip(values, may, strict=True)]
    )[:, None]
    every = [np.where(m, np.minimum(v, most), most) for v, m in zip(values, may, strict=True)]
    levels = np.sort(np.concatenate(every, axis=1), axis=1)
    new = np.ones(levels.shape, dtype=bool)
    new[:, 1:] = levels[:, 1:] != levels[:, :-1]
    return levels, new


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
