"""Values of a lever beyond a change, in as few digits of the file's own unit as still tell it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from advisor.catalogue.levers import Lever
from advisor.decide.closing import Tip
from advisor.decide.leading import Ask, Deciding
from advisor.decide.workers import over_groups
from advisor.stages import Progress, begin

# Share of the change needed by which a value may lie beyond it.
BEYOND = 0.05
DIGITS = 7
# Roundings that are asked for of a tip: where the lead comes and goes, fewer digits find nothing.
TRIES = 3


def least_digits(
    deciding: Deciding,
    found: Sequence[tuple[Lever, Tip]],
    progress: Progress | None = None,
    jobs: int = 1,
) -> list[float]:
    """For each tip, found for a lever in its own unit, the value of the fewest digits at which the
    real decision names the same part; the tip's own where no rounded one does.

    Parameters
    ----------
    progress : told how many tips are through, of how many. jobs : workers; the result does not
        depend on it.
    """
    begin(progress, "confirming tips")
    groups: dict[str, list[int]] = {}
    for n, (lever, _) in enumerate(found):
        own = lever.path.document if deciding.of_part(lever) else f"{n}"
        groups.setdefault(own, []).append(n)

    def tell(count: int) -> None:
        if progress is not None:
            progress(count, len(found))

    def work(group: Sequence[int]) -> list[float]:
        return _together(deciding.apart(), [found[n] for n in group])

    return over_groups(work, list(groups.values()), jobs, tell, deciding.put_away)


def _together(deciding: Deciding, found: Sequence[tuple[Lever, Tip]]) -> list[float]:
    """`least_digits` of tips whose decisions are taken in common passes."""
    left = {n: list(rounded(lever, tip.at))[:TRIES] for n, (lever, tip) in enumerate(found)}
    out = [tip.at for _, tip in found]
    every = tuple(deciding.scores)
    while left := {n: values for n, values in left.items() if values}:
        asks = [
            Ask(found[n][0], values.pop(0), found[n][1].among or every)
            for n, values in left.items()
        ]
        for n, ask, told in zip(tuple(left), asks, deciding.decided(asks), strict=True):
            if told.standing.leader == found[n][1].leader:
                out[n] = ask.x
                left.pop(n)
    return out


def rounded(lever: Lever, at: float) -> Iterator[float]:
    """Values a little beyond `at`, seen from the one that stands, the fewest digits first."""
    now = lever.now
    assert now is not None
    factor = lever.factor
    value, change = at / factor, abs(at - now) / factor
    if not value or not change:
        return
    away = math.ceil if at > now else math.floor
    top = math.floor(math.log10(abs(value)))
    for digits in range(1, DIGITS + 1):
        step = top + 1 - digits
        if lever.whole and step < 0:
            return
        # the decimal nearest to it, as it will be written
        near = float(f"{away(round(value / 10.0**step, 9))}e{step}")
        if abs(near - value) <= BEYOND * change and near * value > 0:
            yield near * factor
            if near == value:
                return
