"""Stretches told by their current: published synthetic signals, and pieces that lose nothing."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import ruptures
from hypothesis import given
from hypothesis import strategies as st

from advisor.bench.chunks import Chunk, Floats
from advisor.bench.levels import binned, by_current, changes, refined


@pytest.mark.parametrize("seed", range(5))
def test_published_synthetic_signals(seed: int) -> None:
    """`ruptures.pw_constant(500, 1, 4, noise_std=1)`: every break found within 3 samples."""
    signal, breaks = ruptures.pw_constant(500, 1, 4, noise_std=1.0, seed=seed)
    found = changes(signal[:, 0])
    assert found[0] == 0
    assert len(found) == len(breaks) + 1
    assert np.abs(np.array(found[1:]) - np.array(breaks)).max() <= 3


@given(
    st.integers(1, 3000),
    st.integers(2, 64),
    st.lists(st.integers(1, 900), min_size=1, max_size=6),
)
def test_pieces_are_means_of_as_many_samples_each(n: int, most: int, sizes: list[int]) -> None:
    t: Floats = np.arange(n, dtype=np.float64) * 1e-3
    i: Floats = np.random.default_rng(n).normal(size=n)
    cuts = np.minimum(np.cumsum([0, *sizes, n]), n)
    chunks = [Chunk("t", 0, t[a:b], i[a:b]) for a, b in pairwise(cuts)]
    edges, level = binned(chunks, most)
    assert len(level) <= most
    size = 1
    while n // size > most:
        size *= 2
    whole = n // size
    np.testing.assert_allclose(level, i[: whole * size].reshape(whole, size).mean(axis=1))
    np.testing.assert_array_equal(edges[:-1], t[: whole * size : size])


def test_levels_may_be_parted_at_any_step() -> None:
    """Two kernels of different draw over an idle level: one reading has both."""
    level = np.concatenate([np.full(20, x) for x in (1.0, 4.0, 1.0, 20.0, 1.0)])
    level += np.random.default_rng(1).normal(0, 0.01, len(level))
    readings = list(by_current(level))
    assert readings[0] == [(60, 80)]
    assert [(20, 40), (60, 80)] in readings


def test_a_change_is_found_to_the_sample() -> None:
    t: Floats = np.arange(1000, dtype=np.float64) * 1e-3
    i = np.where(t < 0.4315, 1.0, 2.0) + np.random.default_rng(2).normal(0, 0.05, 1000)
    chunks = [Chunk("t", 0, t[:450], i[:450]), Chunk("t", 450, t[450:], i[450:])]
    assert list(refined(chunks, [(0.3, 0.6)])) == [pytest.approx(0.4315, abs=1e-9)]
