"""The additive value function against a published example and two decision libraries."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.catalogue.criteria import nominal_energy
from advisor.catalogue.shipped import load
from advisor.decide.value import Criterion, criteria, score
from tests.decide.criteria import criterion

pytestmark = pytest.mark.once

DAY, YEAR = 86400.0, 365.25 * 86400.0

# Hwang & Yoon, Multiple Attribute Decision Making (1981), weights 0.2, 0.15, 0.4, 0.25 on a table
# whose weighted sums are 21.5, 22 and 22 (table from memory); its 0..100 scale is the anchors'
WEIGHTS = (0.2, 0.15, 0.4, 0.25)
TABLE = np.array([[25, 20, 15, 30], [10, 30, 20, 30], [30, 10, 30, 10]], dtype=float)
PUBLISHED = (21.5, 22.0, 22.0)


def of(weights: tuple[float, ...], poor: float = 0.0, good: float = 100.0) -> list[Criterion]:
    return [criterion(f"c{i}", w, poor, good) for i, w in enumerate(weights)]


def test_the_published_weighted_sums() -> None:
    total, worth = score(of(WEIGHTS), TABLE.T[:, :, None])
    assert total[:, 0] == pytest.approx(PUBLISHED, rel=1e-12)
    assert worth[:, :, 0] == pytest.approx(TABLE.T / 100)


def test_scikit_criteria_gives_the_same_sums() -> None:
    from skcriteria import mkdm
    from skcriteria.agg.simple import WeightedSumModel

    found = WeightedSumModel().evaluate(mkdm(TABLE, [max] * 4, weights=WEIGHTS))
    ours, _ = score(of(WEIGHTS), TABLE.T[:, :, None])
    assert ours[:, 0] == pytest.approx(np.asarray(found.e_.score), rel=1e-12)


def test_pymcdm_gives_the_same_sums() -> None:
    from pymcdm.methods import WSM

    # the library scales each column by its sum when asked for none of its own: hand it worth
    ours, worth = score(of(WEIGHTS), TABLE.T[:, :, None])
    method = WSM(normalization_function=lambda x, cost: x)
    theirs = method(worth[:, :, 0].T, np.array(WEIGHTS), np.ones(4))
    assert ours[:, 0] == pytest.approx(100 * np.asarray(theirs), rel=1e-12)


@given(
    weights=st.lists(st.floats(0.01, 1.0), min_size=2, max_size=5),
    seed=st.integers(0, 10_000),
)
def test_random_tables_with_mixed_directions_match_scikit_criteria(
    weights: list[float], seed: int
) -> None:
    from skcriteria import mkdm
    from skcriteria.agg.simple import WeightedSumModel

    rng = np.random.default_rng(seed)
    shares = np.array(weights) / sum(weights)
    values = rng.uniform(-5, 5, (6, len(weights)))
    anchors = rng.uniform(-3, 3, (2, len(weights)))
    ours, worth = score(
        [
            criterion(f"c{i}", w, poor, good)
            for i, (w, poor, good) in enumerate(zip(shares, *anchors, strict=True))
        ],
        values.T[:, :, None],
    )
    assert worth.min() >= 0
    assert worth.max() <= 1
    theirs = WeightedSumModel().evaluate(
        mkdm(worth[:, :, 0].T, [max] * len(weights), weights=shares)
    )
    assert ours[:, 0] == pytest.approx(100 * np.asarray(theirs.e_.score), rel=1e-9, abs=1e-12)


def test_a_value_beyond_its_anchors_is_clipped() -> None:
    falling = criterion("cost", 1.0, 14.0, 6.0, "money", "EUR")
    assert falling.utility(np.array([20.0, 14.0, 10.0, 6.0, 1.0])).tolist() == [0, 0, 0.5, 1, 1]
    assert np.isnan(falling.utility(np.array([np.nan]))).all()


def test_default_anchors_follow_from_the_product_alone() -> None:
    catalogue, product = load("frost-post")
    plain = {
        name: replace(next(iter(product.priorities.values())), poor=None, good=None)
        for name in (
            "battery-life",
            "lifetime-cost",
            "purchase-cost",
            "toolchain",
            "bring-up",
            "time-headroom",
            "memory-headroom",
            "energy-per-day",
        )
    }
    cell = catalogue.cells["lm-thumb"]
    found = {c.name: (c.poor, c.good) for c in criteria(replace(product, priorities=plain), cell)}
    energy = 1.5 * 3600 * 3.0
    assert nominal_energy(product, cell) == pytest.approx(energy, rel=1e-12)
    assert found == {
        "battery-life": (0.0, pytest.approx(20 * YEAR)),
        "lifetime-cost": (18.0, 0.0),
        "purchase-cost": (18.0, 0.0),
        "toolchain": (0.0, 100.0),
        "bring-up": (40 * 3600.0, 0.0),
        "time-headroom": (0.0, 1.0),
        "memory-headroom": (0.0, 0.75),
        "energy-per-day": (pytest.approx(energy / (10 * YEAR) * DAY), 0.0),
    }


def test_weights_are_shares_of_their_sum() -> None:
    catalogue, product = load("frost-post")
    found = criteria(product, catalogue.cells["lm-thumb"])
    assert sum(c.weight for c in found) == pytest.approx(1.0, rel=1e-12)
    assert found[0].weight == pytest.approx(5 / 15, rel=1e-12)


def test_money_is_in_the_product_s_currency_and_else_just_money() -> None:
    catalogue, product = load("frost-post")
    cell = catalogue.cells["lm-thumb"]
    assert product.cost.currency == "EUR"
    for currency, unit in (("EUR", "EUR"), (None, "money")):
        priced = replace(product, cost=replace(product.cost, currency=currency))
        units = {c.name: c.unit for c in criteria(priced, cell)}
        assert units["lifetime-cost"] == unit
