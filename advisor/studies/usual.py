"""Where an outlook goes when nobody says: along which figures, and from where to where."""

from __future__ import annotations

import numpy as np

from advisor.catalogue.levers import Lever, part_way, span
from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.decide.evaluate import Evaluation
from advisor.faults import Fault, FaultError
from advisor.figures import Path

HALVINGS = 12  # of the way to an end of a range that may not stand


def usual(now: Evaluation) -> list[str]:
    """Paths: the period of the task that keeps the best part busiest, and the units to be made.

    Raises
    ------
    FaultError
        For a product that states neither.
    """
    product = now.product
    own = Path(product.product)
    out = []
    if now.candidates and product.workload:
        build = now.candidates[0].best
        lines = build.assessed.timeline
        busy = [float(lines.share[build.row, here, 0].sum()) for here in lines.tasks]
        task = product.workload[int(np.argmax(busy))]
        out.append(str(own.child("workload", task.task, *next(iter(task.periods)))))
    elif product.workload:
        task = product.workload[0]
        out.append(str(own.child("workload", task.task, *next(iter(task.periods)))))
    if product.cost.units is not None:
        out.append(str(own.child("cost", "units")))
    if not out:
        raise FaultError((Fault("--along", "nothing", "a path: the product states no task"),))
    return out


def drawn_in(catalogue: Catalogue, product: Product, found: Lever) -> tuple[float, float]:
    """(from, to) about the value that stands, drawn in to what the product may be.

    Raises
    ------
    FaultError
        Where no value above zero stands.
    """

    def may(x: float) -> bool:
        try:
            with_changes(catalogue, product, [found.assignment(x)])
        except FaultError:
            return False
        return True

    drawn = []
    for end in span(found, None):
        stands, beyond = (end, end) if may(end) else (found.now or end, end)
        for _ in range(HALVINGS if stands != beyond else 0):
            middle = part_way(stands, beyond, 0.5)
            middle = float(round(middle)) if found.whole else middle
            stands, beyond = (middle, beyond) if may(middle) else (stands, middle)
        drawn.append(stands)
    return drawn[0], drawn[1]
