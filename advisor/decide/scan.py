"""A lever over many places at once: the builds that stand now, carried along it.

What a build is made of (pack, converter, sleep state, operating points) is kept, so this is no
answer: at some places another build of a part is better. It shows in one pass where the leader may
change; the real decision is asked there.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.decide.builds import Assessed, Build, Prepared
from advisor.decide.costs import ProductCost
from advisor.decide.drawing import assessed
from advisor.decide.stage import GridSamplers, grid_stage
from advisor.decide.value import Criterion
from advisor.model.draws import Array


def scan(
    catalogue: Catalogue,
    product: Product,
    builds: Sequence[Build],
    criteria: Sequence[Criterion],
    path: str,
    places: Array,
) -> dict[str, Array] | None:
    """Every part's best score over the places of a lever, by part.

    Parameters
    ----------
    builds : of the parts that are looked at. path : the lever's. places : (N,) SI.

    Returns
    -------
    (N,) points a part, minus infinity where none of its builds stands; None where the lever is no
    figure that builds are reckoned with, such as a whole number.
    """
    here = grid_stage(catalogue, product, path, places)
    best = {build.part: np.full(len(places), -np.inf) for build in builds}
    for members, made, found in assessed(here, builds, criteria, whole=True):
        stands = _stands(made, found, here.own_cost)
        score = np.where(stands, found.score, -np.inf)
        for row, i in enumerate(members):
            part = builds[i].part
            best[part] = np.fmax(best[part], score[row])
    samplers = here.samplers
    assert isinstance(samplers, GridSamplers)
    return best if samplers.taken else None


def _stands(made: Prepared, found: Assessed, own: ProductCost) -> NDArray[np.bool_]:
    """(R, N): whether a build keeps every limit that `builds.row_faults` and a plan hold it to."""
    feed, side, lines = made.feed, made.side, made.timeline
    open_v = feed.pack.open_v[0]
    chip_v = open_v if feed.converter is None else feed.rail_v
    good = (chip_v <= side.most_v[made.part]) & (chip_v >= side.least_v[made.part])
    good = good & (lines.share[:, -1] >= 0) & ~found.life.dead
    good &= ~(found.headroom < 0)
    record, cell = feed.converter, feed.cell
    if record is not None:
        assert record.output.min is not None
        assert record.output.max is not None
        assert record.input.max is not None
        rail = feed.rail_v
        good &= (rail >= record.output.min.nominal) & (rail <= record.output.max.nominal)
        good &= open_v <= record.input.max.nominal
        if record.kind in ("buck", "boost"):
            good &= (open_v >= rail) if record.kind == "buck" else (open_v <= rail)
        if record.max_output is not None:
            good &= found.peak_a <= record.max_output.nominal
    if cell is not None:
        for limit, value in (
            (cell.max_pulse, found.life.start_peak_a),
            (cell.max_continuous, found.life.start_mean_a),
        ):
            if limit is not None:
                good &= ~(value > limit.nominal * feed.option.parallel)
    good &= ~(found.costs.purchase > own.limit)
    return np.asarray(np.broadcast_to(good, found.score.shape))
