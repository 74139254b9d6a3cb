"""Feeds of the same parts one behind the other, so that all are looked at in one go.

Row f P + p is part p on feed f. What a search looks at on one feed is little, so the number of
calls would be the time that it takes.

Axes: R rows, F feeds, P parts, Z sleep states, O options, S states of an event. Stated values
(N = 1).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.drain import Pack
from advisor.model.draws import Array
from advisor.model.events import EventStates
from advisor.model.packs import Feed, cells_name
from advisor.model.rails import at_rest
from advisor.model.workload import ProductFigures

Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class TaskOptions:
    """One task's options: currents of the states at the pack, charges, lengths.

    Attributes
    ----------
    a, w : (R, Z, O, S) A, W. rest_a, rest_w : (R, Z). charge_a C, charge_w W s : (R, Z, O) above
    sleeping as long. length, shortest : (R, Z, O) s, on average and where
    all works at once. duration : (R, Z, O, S) s. peak : (R, Z, O) A, the
    greatest current at the rail.
    """

    a: Array
    w: Array
    rest_a: Array
    rest_w: Array
    charge_a: Array
    charge_w: Array
    length: Array
    duration: Array
    peak: Array
    shortest: Array

    def at(self, index: Any) -> TaskOptions:
        """Some of them, by an index of their first axes."""
        return TaskOptions(**{name: getattr(self, name)[index] for name in _OF_TASK})


@dataclass(frozen=True, slots=True)
class FedRows:
    """What is asked of some feeds and of the tasks on them, row by row.

    Attributes
    ----------
    feeds : the F feeds, those of one pack beside each other. tasks : the options of each task.
    direct : (R,) whether the pack is the rail. kinetic : (R,) whether the pack's charge moves
    between two wells. at_chip_v, nominal_v, cut_off_v : (R,) V, as of the feed. fresh_v, empty_v,
    last_v : (R,) V, the pack's open voltage at the beginning, at the end, and where the coldest
    place leaves none. ohm : (R,) greatest resistance. most_output_a, most_pulse_a : (R,) A.
    """

    feeds: tuple[Feed, ...]
    tasks: tuple[TaskOptions, ...]
    direct: Mask
    kinetic: Mask
    at_chip_v: Array
    nominal_v: Array
    cut_off_v: Array
    fresh_v: Array
    empty_v: Array
    last_v: Array
    ohm: Array
    most_output_a: Array
    most_pulse_a: Array

    @property
    def parts(self) -> int:
        """How many parts each feed has."""
        return len(self.direct) // len(self.feeds)

    def rows_of(self, some: Mask) -> NDArray[np.intp]:
        """The rows of some feeds, which (F,) tells: indices."""
        return np.flatnonzero(np.repeat(some, self.parts))

    def of(self, some: Mask) -> FedRows:
        """Some of the feeds alone, which (F,) tells."""
        rows = self.rows_of(some)
        figures: dict[str, Any] = {name: getattr(self, name)[rows] for name in _OF_ROWS}
        return FedRows(
            feeds=tuple(feed for feed, here in zip(self.feeds, some, strict=True) if here),
            tasks=tuple(task.at(rows) for task in self.tasks),
            **figures,
        )

    def packs(self) -> list[tuple[str, Pack, int, int]]:
        """Each pack by its name, and its first row and the one behind its last."""
        out: list[tuple[str, Pack, int, int]] = []
        for f, feed in enumerate(self.feeds):
            name, end = cells_name(feed.option), (f + 1) * self.parts
            if out and out[-1][0] == name:
                out[-1] = (*out[-1][:3], end)
            else:
                out.append((name, feed.pack, f * self.parts, end))
        return out


_OF_TASK = [f.name for f in fields(TaskOptions)]
_OF_ROWS = [f.name for f in fields(FedRows)][2:]


def repeated(values: NDArray[Any], count: int) -> NDArray[Any]:
    """What is alike on every feed, (P, ...), as rows (R, ...); in its own unit or index."""
    return values if count == 1 else np.concatenate([values] * count)


def fed_rows(
    feeds: Sequence[Feed], parts: int, product: ProductFigures, events: Sequence[EventStates]
) -> FedRows:
    """Feeds, of which those of one pack are beside each other, of a number of parts."""
    of_pack: dict[int, tuple[float, float, float, float]] = {}
    told = []
    for feed in feeds:
        pack = feed.pack
        if id(pack) not in of_pack:
            volts, least = pack.open_v[:, 0], min(float(pack.least_capacity[0]), 1.0)
            last = float(np.interp(least, pack.depth, volts))
            of_pack[id(pack)] = (volts[0], volts[-1], last, pack.resistance.max())
        own = feed.fresh_v[0], feed.nominal_v[0], feed.cut_off_v[0]
        told.append((*own, *of_pack[id(pack)], feed.most_output_a, feed.most_pulse_a))
    at_chip, nominal, cut_off, fresh, empty, last_v, ohm, output, pulse = np.repeat(
        np.array(told).T, parts, axis=1
    )
    return FedRows(
        feeds=tuple(feeds),
        tasks=tuple(task_options(feeds, product, event) for event in events),
        direct=np.repeat([feed.converter is None for feed in feeds], parts),
        kinetic=np.repeat([feed.pack.two_well is not None for feed in feeds], parts),
        at_chip_v=at_chip,
        nominal_v=nominal,
        cut_off_v=cut_off,
        fresh_v=fresh,
        empty_v=empty,
        last_v=last_v,
        ohm=ohm,
        most_output_a=output,
        most_pulse_a=pulse,
    )


def task_options(feeds: Sequence[Feed], product: ProductFigures, event: EventStates) -> TaskOptions:
    """What one task's options draw on some feeds."""
    standing_a, standing_w = product.standing_a, product.standing_w
    rest = [at_rest(rail) for rail in product.rails]
    load_a, load_w = event.load_a + standing_a, event.load_w + standing_w
    chip_w = event.chip_w + load_w
    on = event.duration > 0
    awake, asleep, peaks = [], [], []
    for feed in feeds:
        other_a = load_a + event.fill_s * feed.main.volts
        awake.append(feed.cell_side(event.chip_a, event.chip_w, other_a, load_w, event.rails))
        asleep.append(feed.cell_side(event.rest_a, event.rest_w, standing_a, standing_w, rest))
        at_rail = event.chip_a + other_a + chip_w / feed.chip_voltage()
        peaks.append(np.where(on, at_rail, 0.0).max(axis=3)[..., 0])
    a, w = (_joined([one[side] for one in awake]) for side in (0, 1))
    rest_a, rest_w = (_joined([one[side] for one in asleep]) for side in (0, 1))
    count = len(feeds)
    duration = repeated(event.duration[..., 0], count)
    return TaskOptions(
        a=a,
        w=w,
        rest_a=rest_a,
        rest_w=rest_w,
        charge_a=(duration * (a - rest_a[:, :, None, None])).sum(axis=3),
        charge_w=(duration * (w - rest_w[:, :, None, None])).sum(axis=3),
        length=repeated(event.length[..., 0], count),
        shortest=repeated(event.shortest[..., 0], count),
        duration=duration,
        peak=np.concatenate(peaks),
    )


def _joined(by_feed: Sequence[Array]) -> Array:
    """Figures of each feed (P, ..., N) one behind the other, at the stated values."""
    return np.concatenate([one[..., 0] for one in by_feed])
