"""Which operating point and engines each task runs at: the practical plan, whole points only.

For each part, sleep state and feed, tasks take the options of least battery current at the pack's
nominal voltage. While the busy bound is slack each task's cheapest option is the answer: the one
with the least net cell-side charge Q - I_sleep*L, since awake time displaces sleep. When the
cheapest options together would keep the part busy for more than all the time, the exact choice is
searched along the Pareto front of busy share and charge.

Axes: P parts, Z sleep states, O options, K tasks. Stated values only (N = 1).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.model.draws import Array
from advisor.model.events import EventStates
from advisor.model.packs import Feed
from advisor.model.tables import Stack
from advisor.model.workload import ProductFigures


@dataclass(frozen=True, slots=True)
class Choice:
    """The chosen options of every part and sleep state on one feed.

    Attributes
    ----------
    option : (P, Z, K) index into a task's options. possible : (P, Z) whether any choice is.
    busy : (P, Z) busy share of the choice, or of the least busy one where none is possible.
    late : (P, Z, K) whether no available option finishes the task in time.
    charge : per task, (P, Z, O) C net cell-side charge of an event; length : same, s;
    fed : per task, (P, O) options that are there and that the feed's voltage can run;
    allowed : per task, (P, Z, O) those that also finish in time.
    """

    option: NDArray[np.intp]
    possible: NDArray[np.bool_]
    busy: Array
    late: NDArray[np.bool_]
    charge: tuple[Array, ...]
    length: tuple[Array, ...]
    fed: tuple[NDArray[np.bool_], ...]
    allowed: tuple[NDArray[np.bool_], ...]


def net_charge(
    feed: Feed, stack: Stack, product: ProductFigures, event: EventStates
) -> tuple[Array, Array]:
    """(net cell-side charge, length) of one event for every part, sleep state and option.

    Both (P, Z, O): C above what sleeping as long would take, at series x nominal voltage, and s.
    """
    standing = product.standing_total
    volts = feed.nominal_v
    a, w = feed.cell_side(event.chip_a, event.chip_w, event.load_a + standing)
    rest_a, rest_w = feed.cell_side(stack.sleep_a, stack.sleep_w, standing)
    rest = (rest_a + rest_w / volts)[:, :, None, None]
    charge = (event.duration * (a + w / volts - rest)).sum(axis=3)[..., 0]
    return np.asarray(charge), event.length[..., 0]


def choose(
    feed: Feed, stack: Stack, product: ProductFigures, events: tuple[EventStates, ...]
) -> Choice:
    """The practical plan for every part and sleep state on one feed; see `Choice`."""
    p, z = stack.sleep_a.shape[:2]
    at_chip = feed.pack.open_v[0, 0] if feed.converter is None else feed.rail_v[0]
    option = np.zeros((p, z, len(events)), dtype=np.intp)
    possible = stack.sleeping.copy()
    late = np.zeros((p, z, len(events)), dtype=bool)
    busy = np.zeros((p, z))
    least_busy = np.zeros((p, z))
    charges, lengths, feds, alloweds = [], [], [], []
    rows = np.arange(p)[:, None]
    for k, event in enumerate(events):
        task = product.tasks[k]
        charge, length = net_charge(feed, stack, product, event)
        fed = stack.valid[k] & (stack.supply_min[rows, stack.option_point[k]] <= at_chip)
        allowed = np.broadcast_to(fed[:, None], charge.shape)
        if task.finish_within is not None:
            allowed = allowed & (length <= task.finish_within[0])
        none = ~allowed.any(axis=2)
        late[:, :, k] = none
        possible &= ~none
        option[:, :, k] = np.where(allowed, charge, np.inf).argmin(axis=2)
        rate = 1 / task.period[0]
        busy += rate * np.take_along_axis(length, option[:, :, k : k + 1], axis=2)[..., 0]
        shortest = np.where(allowed, length, np.inf).min(axis=2)
        least_busy += rate * np.where(none, length.min(axis=2), shortest)
        charges.append(charge)
        lengths.append(length)
        feds.append(fed)
        alloweds.append(allowed)
    possible &= least_busy <= 1
    np.copyto(busy, least_busy, where=~possible)
    rates = [1 / t.period[0] for t in product.tasks]
    for i, j in zip(*np.nonzero(possible & (busy > 1)), strict=True):
        option[i, j], busy[i, j] = tight(
            [c[i, j] for c in charges],
            [n[i, j] for n in lengths],
            [a[i, j] for a in alloweds],
            rates,
        )
    return Choice(
        option, possible, busy, late, tuple(charges), tuple(lengths), tuple(feds), tuple(alloweds)
    )


def tight(
    charges: list[Array],
    lengths: list[Array],
    allowed: list[NDArray[np.bool_]],
    rates: list[float],
) -> tuple[NDArray[np.intp], float]:
    """Whole options of least mean current whose busy shares sum to at most 1.

    Parameters
    ----------
    charges, lengths, allowed : per task, (O,) C, s and bool. rates : per task, events per s.

    Returns
    -------
    (K,) options and their busy share.

    Raises
    ------
    ValueError
        When no choice keeps the bound; the caller has checked that one does.
    """
    # (busy share, mean current, options): only those that no other beats on both are kept, so the
    # search is exact and its front stays short
    front: list[tuple[float, float, tuple[int, ...]]] = [(0.0, 0.0, ())]
    for charge, length, may, rate in zip(charges, lengths, allowed, rates, strict=True):
        grown = [
            (busy + rate * float(length[o]), current + rate * float(charge[o]), (*chosen, int(o)))
            for busy, current, chosen in front
            for o in np.nonzero(may)[0]
        ]
        grown.sort()
        front = []
        for entry in grown:
            if entry[0] <= 1 and (not front or entry[1] < front[-1][1]):
                front.append(entry)
    if not front:
        raise ValueError("no choice of whole points keeps the busy bound")
    busy, _, chosen = front[-1]
    return np.array(chosen, dtype=np.intp), busy
