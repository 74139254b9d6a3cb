"""A lever over many places at once: the builds that stand now, carried along it.

What a build is made of (pack, converter, sleep state, operating points) is kept, so this is no
answer: at some places another build of a part is better. It shows in one pass where the leader may
change; the real decision is asked there.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.decide.builds import Build
from advisor.decide.drawing import assessed
from advisor.decide.limits import stands
from advisor.decide.stage import GridSamplers, grid_stage
from advisor.decide.value import Criterion
from advisor.figures import Path
from advisor.model.draws import Array


def scan(
    catalogue: Catalogue,
    product: Product,
    builds: Sequence[Build],
    criteria: Sequence[Criterion],
    path: Path,
    places: Array,
) -> Array | None:
    """Every build's score over the places of a lever.

    Parameters
    ----------
    builds : B of them. path : the lever's. places : (N,) SI.

    Returns
    -------
    (B, N) points in the order of `builds`, minus infinity where one does not stand; None where the
    lever is no figure that builds are reckoned with, such as a whole number.
    """
    here = grid_stage(catalogue, product, path, places)
    out = np.empty((len(builds), len(places)))
    for members, made, found in assessed(here, builds, criteria, fresh=True):
        good = stands(found, made.side, here.own_cost)
        out[members] = np.where(good, found.score, -np.inf)
    samplers = here.samplers
    assert isinstance(samplers, GridSamplers)
    return out if samplers.taken else None
