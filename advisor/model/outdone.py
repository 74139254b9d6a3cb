"""At which of a product's times a pack's voltage need not be looked at.

A voltage that every event pulls as low by day as by night, in each of its states and no less often,
is found by a look at the day alone. All of it moves one way: a voltage behind the same resistance
is no higher where no state draws less, each lasts as long, and each task's next event comes no
later; so with a reservoir across the pack, by comparison of the equations of `relaxation`, as long
as all events one behind the other are over before any is due again: what is taken of those that
wait is a bound that need not move so. Of times that are alike the first is looked at.

The kinetic battery model asks for the mean between events as well, and is not spared anything.

Axes: R rows (builds on one pack), S states, N draws. SI units.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from advisor.model.drain import Seen

MOST = 3  # tasks whose events are looked at in every order


def outdone(times: Iterable[Seen]) -> tuple[Seen, ...]:
    """The times of a calendar, each with the cases in which another outdoes it."""
    seen = tuple(times)
    if len(seen) < 2:
        return seen
    settled = [_settled(one) for one in seen]
    above = [
        [_above(one, other) & own for other in seen] for one, own in zip(seen, settled, strict=True)
    ]
    out = []
    for j, one in enumerate(seen):
        gone = np.zeros(one.drain.cut_off_v.shape, dtype=bool)
        for i in range(len(seen)):
            if i != j:
                gone |= above[i][j] & ~above[j][i] if i > j else above[i][j]
        out.append(replace(one, outdone=gone))
    return tuple(out)


def _settled(one: Seen) -> NDArray[np.bool_]:
    """Where all events, one behind the other, are over before any is due again, (R, N)."""
    drain = one.drain
    if len(drain.tasks) > MOST:
        return np.zeros(drain.cut_off_v.shape, dtype=bool)
    if not drain.tasks:
        return np.ones(drain.cut_off_v.shape, dtype=bool)
    counts = drain.copies or (1.0,) * len(drain.tasks)
    lengths = zip(
        counts, (drain.duration_s[:, here].sum(axis=1) for here in drain.tasks), strict=True
    )
    return np.asarray(sum(count * one for count, one in lengths) < drain.period_s.min(axis=0))


def _above(one: Seen, other: Seen) -> NDArray[np.bool_]:
    """Where a time asks for no less than another in all, (R, N)."""
    mine, its = one.drain, other.drain
    shape = mine.cut_off_v.shape
    if mine.tasks != its.tasks or len(mine.copies) != len(its.copies):
        return np.zeros(shape, dtype=bool)
    alike = (one.ease == other.ease) & (one.strain >= other.strain)
    alike = alike & (mine.period_s <= its.period_s).all(axis=0)
    if not alike.any():
        return np.zeros(shape, dtype=bool)
    for count, other_count in zip(mine.copies, its.copies, strict=False):
        alike = alike & (count == other_count)
    more = mine.constant_a >= its.constant_a
    more &= mine.power_w >= its.power_w
    if mine.filling is not None or its.filling is not None:
        fills, less = (0.0 if one.filling is None else one.filling[0] for one in (mine, its))
        more &= np.asarray(fills >= less)
        more &= mine.constant_at(mine.cut_off_v) >= its.constant_at(its.cut_off_v)
    more &= mine.duration_s == its.duration_s
    return np.asarray(more.all(axis=1) & alike)
