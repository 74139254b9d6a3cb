"""Traces in arrays, taken piece by piece."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from advisor.bench import arrays
from advisor.bench.chunks import Columns
from advisor.bench.trace import samples


@pytest.mark.parametrize("rows", [1, 7, 20, 1000])
@pytest.mark.parametrize("name", ["a.npz", "a.npy"])
def test_an_array_of_many_pieces_is_read_once_and_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, rows: int
) -> None:
    monkeypatch.setattr(arrays, "ROWS", rows)
    t, i = np.arange(50.0), np.random.default_rng(1).uniform(size=50)
    if name == "a.npz":
        np.savez(tmp_path / name, t=t, i=i)
    else:
        np.save(tmp_path / name, np.array(list(zip(t, i, strict=True)), [("t", "f8"), ("i", "f8")]))
    chunks = list(samples(tmp_path / name, Columns(("t", "i"), (1.0, 1.0), False, False, False)))
    np.testing.assert_array_equal(np.concatenate([c.t for c in chunks]), t)
    np.testing.assert_array_equal(np.concatenate([c.i for c in chunks]), i)
    assert max(len(c.t) for c in chunks) == min(rows, 50)
