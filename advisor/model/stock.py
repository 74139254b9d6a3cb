"""Stock against uncertain demand and against a source that fails: closed forms.

Sources: L. V. Snyder and Z.-J. M. Shen, *Fundamentals of Supply Chain Theory* (the newsvendor
problem with normal demand; the newsvendor problem with disruptions), from memory and recomputed.
"""

from __future__ import annotations

import math
import sys
from statistics import NormalDist

from advisor.dataclass import dataclass

_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class Held:
    """Pieces provided, and what is expected of them: pieces left, pieces short, money."""

    quantity: float
    left: float
    short: float
    cost: float


def newsvendor(mean: float, sd: float, over: float, under: float, least: float = 0.0) -> Held:
    """How many pieces to provide for one normal demand, at least expected cost.

    F(Q) = under/(under + over), cost (over + under)·sd·φ(z) at that Q. A demand below zero is let
    be, as the normal distribution has it.

    Parameters
    ----------
    mean, sd : of the demand, pieces; sd may be 0.
    over, under : money for a piece left and for a piece short. Where a shortage costs nothing,
        as little as allowed is provided.
    least : fewer pieces are not provided; the cost is convex, so where fewer would be best this is.

    Raises
    ------
    ValueError
        When a leftover costs nothing while a shortage does (no quantity is enough), or a figure
        is negative.
    """
    if min(sd, over, under, least) < 0:
        raise ValueError("spread, costs and least quantity cannot be negative")
    if sd == 0:
        quantity = max(mean, least)
        return Held(quantity, quantity - mean, 0.0, over * (quantity - mean))
    if under == 0:
        quantity = least
    elif over == 0:
        raise ValueError("no quantity is enough where a leftover costs nothing")
    else:
        # the lesser tail, which tells chances of a shortage that are far below rounding of 1
        tail = max(min(over, under) / (under + over), sys.float_info.min)
        away = _NORMAL.inv_cdf(tail)
        quantity = max(least, mean + sd * (away if under < over else -away))
    z = (quantity - mean) / sd
    short = sd * (_NORMAL.pdf(z) - z * math.erfc(z / math.sqrt(2)) / 2)
    # far out the two terms cancel to rounding
    short = max(short, 0.0)
    left = quantity - mean + short
    return Held(quantity, left, short, over * left + under * short)


@dataclass(frozen=True, slots=True)
class Failing:
    """A source that fails: share of periods in failure, and the chance that one goes on.

    That it has been failing for more than n periods has the chance share·goes_on^n.
    """

    share: float
    goes_on: float

    @classmethod
    def of(cls, alpha: float, beta: float) -> Failing:
        """Of the chances a period that it begins (alpha, 0..1) and ends (beta, above 0 to 1)."""
        if not (0 <= alpha <= 1 and 0 < beta <= 1):
            raise ValueError("alpha must be 0..1, beta above 0 and at most 1")
        return cls(alpha / (alpha + beta), 1 - beta)

    def beside(self, other: Failing) -> Failing:
        """Both at once, independent of each other: exact, since a joint failure ends at a chance
        that does not depend on its age, and its share of periods is the product."""
        return Failing(self.share * other.share, self.goes_on * other.goes_on)


def newsvendor_with_disruptions(failing: Failing, over: float, under: float) -> Held:
    """How many periods' demand to hold against failures of the source, for demand 1 a period.

    Least n with F(n) = 1 − π·r^n ≥ under/(under + over); cost over·E[n − X]⁺ + under·E[X − n]⁺
    a period, X the periods that the failure has lasted, E[X − n]⁺ = π·r^n/(1 − r). The order-up-to
    level of the source is n + 1 periods' demand: this one's and the buffer.

    Parameters
    ----------
    over, under : money for a period's demand in store, and backordered, for a period each.

    Raises
    ------
    ValueError
        When holding costs nothing while shortage does, or a cost is negative.
    """
    if over < 0 or under < 0:
        raise ValueError("costs cannot be negative")
    share, goes_on = failing.share, failing.goes_on
    n = 0
    if share and under:
        if over == 0:
            raise ValueError("no buffer is enough where holding costs nothing")
        target = over / (over + under) / share  # r^n has to be at most this
        if target < 1:
            n = 1 if goes_on == 0 else math.ceil(math.log(target) / math.log(goes_on) - 1e-12)
    ends = 1 - goes_on
    left = n - share * (1 - goes_on**n) / ends
    short = share * goes_on**n / ends
    return Held(n, left, short, over * left + under * short)
