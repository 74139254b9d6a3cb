"""What a harvest brings, as it is drawn."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from advisor.catalogue.load import with_changes
from advisor.catalogue.shipped import load
from advisor.decide.stage import stage
from advisor.model.income import Income

DRAWS = 500


def income(*changes: str) -> Income:
    """Drawn, of the shipped product that harvests."""
    found = stage(*with_changes(*load("crate-call"), changes), DRAWS).figures.income
    assert found is not None
    return found


def test_persistence_is_drawn_and_stays_below_95_per_cent() -> None:
    """A lognormal of mean 0.5 and deviation 0.3 is beyond that in 7.6 % of the draws."""
    found = income("crate-call:harvest.persistence=0.5(3)").persistence
    sigma = np.sqrt(np.log1p(0.36))
    beyond = norm.sf((np.log(0.95 / 0.5) + sigma**2 / 2) / sigma)
    assert found.min() > 0
    assert found.max() == 0.95
    assert (found == 0.95).mean() == pytest.approx(beyond, abs=3 * np.sqrt(beyond / DRAWS))
    inside = found[found < 0.95]
    assert np.unique(inside).size == inside.size


def test_a_night_is_no_longer_than_a_day() -> None:
    found = income("crate-call:harvest.night=20(4) h").night
    assert found.max() == 1.0
    assert found.min() < 0.7
    assert income("crate-call:harvest.night=12 h").night == pytest.approx(0.5)
