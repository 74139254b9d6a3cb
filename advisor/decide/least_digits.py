"""Values of a lever just beyond a change, in as few digits of the file's own unit as tip so near.

Who reads one takes it for the place of the change, and pastes it as such.
"""

from __future__ import annotations

import math
from collections.abc import Generator, Iterator

from advisor.catalogue.levers import Lever
from advisor.decide.closing import Tip, asked_among
from advisor.decide.leading import Ask, Decided
from advisor.decide.line import Line

# Shares by which a value may lie beyond a change: of the change needed, so that small ones are told
# aright, and of the value itself (of 10 K for temperatures), which three digits always meet.
BEYOND = 0.05
CLOSE = 0.01
DIGITS = 7
# Roundings that are asked for of a tip: where the lead comes and goes, fewer digits find nothing.
TRIES = 3


def least_digits(line: Line, tip: Tip) -> Generator[Ask, Decided, float]:
    """The value of the fewest digits just beyond a tip, of a lever in its own unit, at which the
    real decision names the same part as at it; the tip's own where no rounded one does."""
    among = tip.among or tuple(line.deciding.scores)
    if tip.leader is not None and tip.leader not in among:
        return tip.at
    for x in list(rounded(line.lever, tip.at))[:TRIES]:
        if x == tip.at or (yield from asked_among(line, x, among)).leader == tip.leader:
            return x
    return tip.at


def rounded(lever: Lever, at: float) -> Iterator[float]:
    """Values just beyond `at`, seen from the one that stands, the fewest digits first."""
    now = lever.now
    assert now is not None
    factor = lever.factor
    value, change = at / factor, abs(at - now) / factor
    if not value or not change:
        return
    away = math.ceil if at > now else math.floor
    most = min(BEYOND * change, lever.reach(at, CLOSE) / factor)
    top = math.floor(math.log10(abs(value)))
    for digits in range(1, DIGITS + 1):
        step = top + 1 - digits
        if lever.whole and step < 0:
            return
        # the decimal nearest to it, as it will be written
        near = float(f"{away(round(value / 10.0**step, 9))}e{step}")
        if abs(near - value) <= most and near * value > 0:
            yield near * factor
            if near == value:
                return
