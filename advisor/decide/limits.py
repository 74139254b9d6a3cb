"""What a build may not exceed, told once: with words at the stated values, and over many places.

Figures are SI; arrays are (R, N) or broadcast to it: R builds on one feed, N places of a lever.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.decide.builds import Assessed, PartSide
from advisor.decide.costs import ProductCost
from advisor.decide.screens import Failed, gap
from advisor.model.draws import Array
from advisor.model.packs import Feed
from advisor.model.workload import ProductFigures


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit: `bad` where it is broken; what is required, and what is offered, there."""

    need: str
    dimension: str
    required: Array | float
    offered: Array | float
    bad: NDArray[np.bool_]

    def failed(self, row: int) -> Failed:
        """What a build (a row of `bad`) fails, at the stated values."""
        wanted, given = np.broadcast_arrays(self.required, self.offered, self.bad)[:2]
        a, b = float(wanted[row, 0]), float(given[row, 0])
        return Failed(self.need, a, b, self.dimension, gap(a, b))


def _over(need: str, dimension: str, required: Array | float, offered: Array | float) -> Limit:
    """A limit that is broken where more is required than offered."""
    with np.errstate(invalid="ignore"):
        bad = np.atleast_2d(np.greater(required, offered))
    return Limit(need, dimension, required, offered, bad)


def _under(need: str, dimension: str, required: Array | float, offered: Array | float) -> Limit:
    """A limit that is broken where less is required than offered."""
    with np.errstate(invalid="ignore"):
        bad = np.atleast_2d(np.less(required, offered))
    return Limit(need, dimension, required, offered, bad)


def feed_limits(feed: Feed) -> Iterator[Limit]:
    """Those of a converter that does not go with its pack, whatever the part; one row."""
    record = feed.converter
    if record is None:
        return
    name, volts = record.converter, feed.pack.open_v[0]
    assert record.input.max is not None
    assert record.output.min is not None
    assert record.output.max is not None
    most, least, rail = record.output.max.nominal, record.output.min.nominal, feed.rail_v
    yield _over(f"{name} input max for a fresh pack", "voltage", volts, record.input.max.nominal)
    yield _under(f"{name} output min for the rail", "voltage", rail, least)
    yield _over(f"{name} output max for the rail", "voltage", rail, most)
    if record.kind == "buck":
        need = f"{name} (buck) needs a pack at or above the rail"
        yield _over(need, "voltage", rail, volts)
    if record.kind == "boost":
        need = f"{name} (boost) needs a pack at or below the rail"
        yield _under(need, "voltage", rail, volts)


def build_limits(found: Assessed, side: PartSide, own: ProductCost) -> Iterator[Limit]:
    """Those of the chip, the converter, the cell and the product, build by build."""
    feed = found.feed
    record, cell = feed.converter, feed.cell
    chip_v = feed.pack.open_v[0] if record is None else feed.rail_v
    yield _over("supply max at the chip", "voltage", chip_v, side.most_v[found.part])
    yield _over("supply min at the chip", "voltage", side.least_v[found.part], chip_v)
    if record is not None and record.max_output is not None:
        limit = record.max_output.nominal
        yield _over(f"{record.converter} max-output", "current", found.peak_a, limit)
    if cell is not None:
        for name, bound, value in (
            ("max-pulse", cell.max_pulse, found.life.start_peak_a),
            ("max-continuous", cell.max_continuous, found.life.start_mean_a),
        ):
            if bound is not None:
                limit = bound.nominal * feed.option.parallel
                yield _over(f"{cell.cell} {name}", "current", value, limit)
    yield Limit(
        "voltage of a fresh pack under load, in the cold",
        "voltage",
        found.cut_off_v,
        np.nan_to_num(found.life.start_low_v),
        found.life.dead,
    )
    yield _under("unit-cost-limit", "money", own.limit, found.costs.purchase)


def feed_faults(feed: Feed, product: ProductFigures) -> list[Failed]:
    """What rules a feed out whatever the part, at the stated values."""
    out = []
    if not feed.covered and feed.cell is not None and feed.cell.temperature is not None:
        ends = feed.cell.temperature.at
        cold = product.coldest < ends[0]
        out.append(
            Failed(
                f"{feed.cell.cell} temperature table",
                product.coldest if cold else product.hottest,
                ends[0] if cold else ends[-1],
                "temperature",
            )
        )
    return [*out, *(limit.failed(0) for limit in feed_limits(feed) if limit.bad.any())]


def row_faults(found: Assessed, side: PartSide, own: ProductCost) -> list[list[Failed]]:
    """What rules each build out, by row, at the stated values; empty for those that stand."""
    out: list[list[Failed]] = [[] for _ in found.part]
    for limit in build_limits(found, side, own):
        if limit.bad.any():
            bad = np.broadcast_to(limit.bad, (len(out), 1))
            for row in np.nonzero(bad[:, 0])[0]:
                out[row].append(limit.failed(int(row)))
    return out


def stands(found: Assessed, side: PartSide, own: ProductCost) -> NDArray[np.bool_]:
    """(R, N): whether a build keeps its limits, its deadlines, and has time for its tasks."""
    good = (found.timeline.share[:, -1] >= 0) & ~(found.headroom < 0)
    for limit in (*feed_limits(found.feed), *build_limits(found, side, own)):
        good = good & ~limit.bad
    return np.asarray(np.broadcast_to(good, found.score.shape))
