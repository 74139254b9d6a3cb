"""Chances of being first, ties split."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.decide.ranks import first_place, percentiles


def test_a_tie_for_first_is_split() -> None:
    scores = np.array([[5.0, 5.0, 1.0, 7.0], [5.0, 3.0, 1.0, 7.0], [4.0, 5.0, 1.0, 7.0]])
    # draws: two share; two others share; all share; all share
    expected = [(1 / 2 + 1 / 2 + 1 / 3 + 1 / 3) / 4, (1 / 2 + 2 / 3) / 4, (1 / 2 + 2 / 3) / 4]
    assert first_place(scores) == pytest.approx(expected, rel=1e-12)


@given(
    parts=st.integers(1, 6), draws=st.integers(1, 50), levels=st.integers(1, 4), seed=st.integers()
)
def test_chances_sum_to_one_and_match_a_plain_count(
    parts: int, draws: int, levels: int, seed: int
) -> None:
    rng = np.random.default_rng(abs(seed))
    scores = rng.integers(0, levels, (parts, draws)).astype(float)
    expected = np.zeros(parts)
    for column in scores.T:
        best = column == column.max()
        expected[best] += 1 / best.sum()
    assert first_place(scores) == pytest.approx(expected / draws, rel=1e-12)
    assert first_place(scores).sum() == pytest.approx(1.0, rel=1e-12)


def test_percentiles_are_numpy_s() -> None:
    values = np.random.default_rng(1).normal(size=999)
    assert percentiles(values) == pytest.approx(np.quantile(values, (0.05, 0.5, 0.95)), rel=1e-12)
