"""How far a lever may be moved before the rules of the files refuse it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from advisor.catalogue.levers import NEAR, Lever
from advisor.decide.leading import Deciding


def last_that_may(
    deciding: Deciding, lever: Lever, end: float, beside: Sequence[float] = ()
) -> float:
    """The end of a side, or the last value before it that may stand where the lever does.

    Most rules hold a figure against one `beside` it, so these are tried as the limit first.
    """
    now = lever.now
    assert now is not None
    if deciding.may_stand(lever, end):
        return end
    for limit in beside:
        if (limit - now) * (end - now) < 0:
            continue
        last, refused = _parted(lever, end, partial(_is_nearer, now, limit))
        stands = last == now or deciding.may_stand(lever, last)
        if stands and not deciding.may_stand(lever, refused):
            return last
    return _parted(lever, end, lambda x: deciding.may_stand(lever, x))[0]


def _is_nearer(now: float, limit: float, x: float) -> bool:
    return abs(x - now) < abs(limit - now)


def _parted(lever: Lever, end: float, stands: Callable[[float], bool]) -> tuple[float, float]:
    """The last value that stands on the way to an end that does not, and the first that does not,
    by halving."""
    last, refused = lever.now, end
    assert last is not None
    while (middle := lever.between(last, refused, NEAR)) is not None:
        if stands(middle):
            last = middle
        else:
            refused = middle
    return last, refused
