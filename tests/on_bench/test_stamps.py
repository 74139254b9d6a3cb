"""A marker cleaned of ringing, whatever pieces it comes in."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from advisor.bench.chunks import Chunk, Floats
from advisor.bench.stamps import settled
from tests.on_bench.sessions import session

COLUMN = ("marker: {column: m, above: 0.5}", "marker: {column: m, above: 0.5, debounce: 5 ms}")


@pytest.mark.parametrize("size", [1, 2, 3, 7, 60])
def test_what_lasts_less_than_the_debounce_is_no_edge_in_any_pieces(
    tmp_path: Path, size: int
) -> None:
    """Of a sample a millisecond: up for 3, 20 and 4 of them, and down for 2 amid the 20."""
    marker = session(tmp_path, COLUMN).trace.marker
    assert marker is not None
    t: Floats = np.arange(60, dtype=np.float64) * 1e-3
    m = np.zeros(60)
    m[:3] = m[10:30] = m[45:49] = 1.0
    m[18:20] = 0.0
    chunks = [
        Chunk("t", a, t[a : a + size], t[a : a + size], None, m[a : a + size])
        for a in range(0, 60, size)
    ]
    found = list(settled(chunks, marker))
    np.testing.assert_array_equal(np.concatenate([c.t for c in found]), t)
    up = np.concatenate([np.asarray(c.m) for c in found]) > 0.5
    np.testing.assert_array_equal(np.flatnonzero(up), np.arange(10, 30))
