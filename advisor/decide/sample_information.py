"""What more measurements would be worth: the expected value of sample information.

A figure x is measured n times more, each reading of x with an independent normal error of standard
deviation u. Their mean y says of x what all of them say, and one then chooses by E[s_p | y]:

    EVSI(n) = E[max_p E[s_p | y]] - max_p E[s_p]

(Raiffa & Schlaifer, Applied Statistical Decision Theory, 1961). As y is drawn beside each draw of
x, the conditional means are those of a regression on y, the summary of the data (Strong, Oakley,
Brennan & Breeze, Medical Decision Making 35 (2015) 570-583), by the machinery of `partial`.

More readings are worth no less, and never more than to know x; chance may say otherwise, so worths
are held to that order. All n share their normal numbers, which leaves little of such chance.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from advisor.decide.information import Worth, partial
from advisor.model import strata
from advisor.model.draws import Array

COUNTS = (1, 4, 16)  # of more measurements


def sampled(
    scores: Array,
    figure: Array,
    deviation: float,
    rng: np.random.Generator,
    counts: Sequence[int] = COUNTS,
    known: Worth | None = None,
) -> tuple[Worth, ...]:
    """EVSI of measuring a figure so many times more, in the unit of the scores.

    Parameters
    ----------
    scores : (P, N). figure : its draws, (N,). deviation : standard deviation of the error of one
    measurement, in the figure's unit; 0 tells the figure at once. rng : of the errors. counts : of
    measurements, ascending. known : EVPPI of the figure, where it has been worked out.

    Returns
    -------
    A worth for each count, none less than the one before it nor more than `known`.
    """
    most = partial(scores, [figure]) if known is None else known
    if most.value == 0 or deviation == 0:
        return tuple(most for _ in counts)
    errors = deviation * strata.normal(rng, len(figure))
    found: list[Worth] = []
    value = most.value
    for n in sorted(counts, reverse=True):
        worth = partial(scores, [figure + errors / np.sqrt(n)])
        value = min(value, worth.value)
        found.append(Worth(value, worth.error))
    return tuple(reversed(found))
