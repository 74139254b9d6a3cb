"""A judge of tips that knows nothing of how they are looked for: decisions on a fine grid."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from advisor.catalogue.levers import NEAR, Lever, part_way, span
from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.decide.evaluate import evaluate
from advisor.faults import FaultError
from advisor.studies.tipping import LeverTip


def leader(
    catalogue: Catalogue, product: Product, lever: Lever, x: float, stands: str, draws: int
) -> str | None:
    """The part of the greatest expected score at a value; the one that stands where it may not."""
    try:
        there = with_changes(catalogue, product, [lever.assignment(x)])
    except FaultError:
        return stands
    found = evaluate(*there, draws).candidates
    return found[0].part.part if found else None


def grid(lever: Lever, tip: LeverTip, count: int) -> Iterator[float]:
    """Places on both sides, outward, all nearer to what stands than the tip, in the logarithm."""
    now = tip.now
    for end in span(lever, None):
        far = end
        if tip.tips_at is not None:
            at = tip.tips_at
            mirrored = now * now / at if now > 0 and at > 0 and end > 0 else 2 * now - at
            own = at if (at > now) == (end > now) else mirrored
            far = own if abs(own - now) < abs(end - now) else end
        for k in range(1, count + 1):
            x = part_way(now, far, k / count)
            x = float(round(x)) if lever.whole else x
            if x == now or (tip.tips_at is not None and abs(x - far) <= 3 * NEAR * abs(far)):
                continue
            yield x


def nearer(
    catalogue: Catalogue,
    product: Product,
    lever: Lever,
    tip: LeverTip,
    winner: str,
    count: int,
    draws: int,
) -> Sequence[tuple[float, str | None]]:
    """The first place of the grid on a side at which another part leads, with that part."""
    for x in grid(lever, tip, count):
        found = leader(catalogue, product, lever, x, winner, draws)
        # where nothing fits there is a limit, no tip
        if found not in (winner, None):
            return [(x, found)]
    return []
