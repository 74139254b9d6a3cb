"""Drains side by side, and values of a grid at depths between its points."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.model.battery import life, lives
from advisor.model.drain import Drain, Pack, at_depth, joined, some_tasks


def drain(current: float, power: float, duration: float, cut_off: float) -> Drain:
    share = duration / 10.0

    def shaped(*values: float) -> np.ndarray:
        return np.array(values)[None, :, None]

    return Drain(
        shaped(current, 1e-6),
        shaped(power, 2e-6),
        shaped(share, 1 - share),
        shaped(duration, 0.0),
        (slice(0, 1),),
        np.array([[10.0]]),
        np.array([[cut_off]]),
    )


def pack() -> Pack:
    one = np.ones(1)
    return Pack(
        np.array([0.0, 0.5, 1.0]),
        np.array([[3.2], [2.9], [2.0]]),
        np.array([[5.0], [10.0], [40.0]]),
        800 * one,
        1e-8 * one,
        0 * one,
        one,
        one,
        np.inf * one,
    )


def test_values_between_grid_points_are_each_draw_s_own() -> None:
    grid = np.array([0.0, 0.25, 1.0])
    values = np.array([[10.0, 0.0], [20.0, 4.0], [50.0, 1.0]])
    depth = np.array([0.0, 0.125, 0.25, 0.625, 1.0])
    for draw in (0, 1):
        found = at_depth(grid, values, depth, np.full(5, draw))
        assert found == pytest.approx(np.interp(depth, grid, values[:, draw]), rel=1e-15)
    mixed = at_depth(grid, values, np.array([0.125, 0.625]), np.array([0, 1]))
    assert mixed.tolist() == pytest.approx([15.0, 2.5], rel=1e-15)


def test_drains_side_by_side_last_as_long_as_each_alone() -> None:
    several = [drain(10e-3, 0.0, 5e-3, 2.2), drain(0.0, 30e-3, 8e-3, 2.5), drain(2e-3, 0, 1e-3, 0)]
    together = joined(several)
    assert together.constant_a.shape == (3, 2, 1)
    assert together.cut_off_v[:, 0].tolist() == [2.2, 2.5, 0.0]
    alone = [life(pack(), one) for one in several]
    assert len({float(one.life_s[0, 0]) for one in alone}) == 3
    for found, one in zip(lives(pack(), several), alone, strict=True):
        for name in ("life_s", "end_depth", "start_peak_a", "start_low_v", "mean_current_a"):
            assert getattr(found, name) == pytest.approx(getattr(one, name), rel=1e-9)
        assert np.array_equal(found.ends_by, one.ends_by)


def test_tasks_that_are_done_keep_their_states() -> None:
    """Of three tasks of two, one and three states, asleep last: the first and the third."""
    told = np.arange(7.0)
    drain = Drain(
        constant_a=told[None, :, None],
        power_w=10 + told[None, :, None],
        share=20 + told[None, :, None],
        duration_s=30 + told[None, :, None],
        tasks=(slice(0, 2), slice(2, 3), slice(3, 6)),
        period_s=np.array([[60.0], [600.0], [3600.0]]),
        cut_off_v=np.full((1, 1), 1.8),
        copies=tuple(np.full((1, 1), n) for n in (2.0, 1.0, 4.0)),
    )
    found = some_tasks(drain, [0, 2])
    kept = [0, 1, 3, 4, 5, 6]
    assert found.constant_a[0, :, 0].tolist() == kept
    assert found.power_w[0, :, 0].tolist() == [10 + k for k in kept]
    assert found.share[0, :, 0].tolist() == [20 + k for k in kept]
    assert found.duration_s[0, :, 0].tolist() == [30 + k for k in kept]
    assert found.period_s[:, 0].tolist() == [60.0, 3600.0]
    of_tasks = [found.constant_a[0, states, 0].tolist() for states in found.tasks]
    assert of_tasks == [[0, 1], [3, 4, 5]]
    assert [int(count[0, 0]) for count in found.copies] == [2, 4]
    assert some_tasks(drain, range(3)) is drain
