"""Values on broken lines, against numpy's own interpolation inside and extrapolation by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.model.pieces import across, between, piece_and_share, piece_of

X = np.array([0.0, 0.25, 1.0])
VALUES = np.array([[10.0, 0.0], [20.0, 4.0], [50.0, 1.0]])


def test_a_piece_begins_at_its_lower_end_and_the_outermost_go_on_beyond() -> None:
    places = np.array([-1.0, 0.0, 0.2, 0.25, 0.9, 1.0, 7.0])
    assert piece_of(X, places).tolist() == [0, 0, 0, 1, 1, 1, 1]
    i, share = piece_and_share(X, places)
    assert i.tolist() == piece_of(X, places).tolist()
    assert share.tolist() == pytest.approx([-4.0, 0.0, 0.8, 0.0, 0.65 / 0.75, 1.0, 9.0])


def test_beyond_the_curve_it_goes_on_straight() -> None:
    i, share = piece_and_share(X, np.array([-0.25, 1.75]))
    assert between(VALUES, i, share, np.array([0, 1])).tolist() == pytest.approx([0.0, -2.0])


@given(
    st.lists(st.floats(0, 100), min_size=2, max_size=6, unique=True).map(sorted),
    st.lists(st.floats(0, 1), min_size=1, max_size=5),
)
def test_values_are_those_of_a_line_through_both_ends(x: list[float], shares: list[float]) -> None:
    grid = np.cumsum(1e-3 + np.array(x))  # apart from each other
    rng = np.random.default_rng(len(x) * 31 + len(shares))
    values = rng.normal(size=(len(grid), 3))
    at = grid[0] + np.array(shares) * (grid[-1] - grid[0])
    i, share = piece_and_share(grid, at)
    wanted = np.stack([np.interp(at, grid, column) for column in values.T], axis=1)
    assert across(values, i, share) == pytest.approx(wanted, abs=1e-9)
    for n in range(3):
        one = between(values, i, share, np.full(len(at), n))
        assert one == pytest.approx(wanted[:, n], abs=1e-9)
    # each place its own draw, over several rows
    rows = np.stack([at[:1].repeat(3), at[-1:].repeat(3)])
    i, share = piece_and_share(grid, rows)
    found = between(values, i, share, np.arange(3))
    assert found == pytest.approx(wanted[[0, -1]], abs=1e-9)
