"""What is kept around the marker's edges, and what is told from it; all made up."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from advisor.bench.edges import Around, Edges, inner, settled
from advisor.bench.runs import guard_of
from tests.on_bench.sessions import session

RUNS, SAMPLES, STEP = 6, 64, 1e-3


@pytest.mark.parametrize("size", [1, 3, 40, 200])
def test_nothing_stands_before_the_first_sample(size: int) -> None:
    """Runs of 50 samples from the sixth and from the 131st on, of 200: all there is is kept."""
    i = np.arange(200.0) + 1000
    turns = (5, 55, 130, 180)
    edges = Edges.of(2)
    for at in range(0, len(i), size):
        piece = i[at : at + size]
        here = [turn - at for turn in turns if at <= turn < at + size]
        edges.take(np.full(len(piece), 2.0), piece, None, here)
    edges.close()
    starts, ends = edges.of_runs(0, 2)
    for around, places in ((starts, turns[::2]), (ends, turns[1::2])):
        for row, at in zip(around.current, places, strict=True):
            # up to the edges beside it, and the trace's ends
            low = max(turn for turn in (0, *turns) if turn < at)
            high = min(turn for turn in (*turns, 200) if turn > at)
            k = np.flatnonzero(np.isfinite(row))
            kept = np.arange(max(low, at - edges.reach), min(high, at + edges.reach))
            np.testing.assert_array_equal(k + at - edges.reach, kept)
            np.testing.assert_array_equal(row[k], i[kept])
    # of runs beyond those that were kept there is nothing, on either side
    assert [around.current.shape for around in edges.of_runs(2, 5)] == [(0, 2 * edges.reach)] * 2


def _around(rising: bool) -> Around:
    """Samples of 1 ms around edges between 1 mA and 5 mA, with noise of 1 uA."""
    current = 1e-6 * np.random.default_rng(rising).standard_normal((RUNS, 2 * SAMPLES))
    high = (np.arange(2 * SAMPLES) >= SAMPLES) == rising
    current += np.where(high, 5e-3, 1e-3)
    time = np.full(current.shape, STEP)
    return Around(time=time, current=current, marker=np.broadcast_to(high, current.shape) * 1.0)


@pytest.mark.parametrize("strange", [None, 0.5e-3, 5.5e-3])
def test_an_edge_is_odd_by_samples_outside_its_two_levels_alone(strange: float | None) -> None:
    starts, ends = _around(True), _around(False)
    if strange is not None:
        current = ends.current.copy()
        current[2, SAMPLES] = strange
        ends = replace(ends, current=current)
    whole = np.full(RUNS, 200 * STEP)
    counts, scatter = np.full(RUNS, 200.0), np.full(RUNS, 1e-6)
    found = inner(5e-3 * whole, whole, counts, scatter, starts, ends, (1, 1))
    assert found.odd == (strange is not None)
    np.testing.assert_allclose(found.current, 5e-3, rtol=1e-3)


def test_a_low_pass_is_given_the_time_to_settle_and_no_more(tmp_path: Path) -> None:
    """A step's remainder is exp(-t / time constant): 3e-4 of it is left, to half a sample."""
    id_ = "instrument: {id: meter-a, gain: 0.1 %, offset: 2 µA, timebase: 50 ppm}"
    (tmp_path / "meter.yaml").write_text(
        "instrument: slow\nsample: low-pass\ntime-constant: 1 ms\nranges:\n  all: {to: 50 mA}\n"
    )
    guard = guard_of(session(tmp_path, (id_, "instrument: {file: meter.yaml}")), 50e-6)
    assert guard is not None
    assert math.exp(-guard[0] * 50e-3) == pytest.approx(3e-4, rel=0.15)
    assert guard[1] == 1


def test_where_a_guard_leaves_too_little_of_a_run_nothing_is_told() -> None:
    """Ten samples of a run, of which a guard takes nine."""
    around = Around(
        time=np.full((3, 64), 1e-3), current=np.full((3, 64), 2e-3), marker=np.ones((3, 64))
    )
    each = np.full(3, 10e-3)
    count, scatter = np.full(3, 10.0), np.zeros(3)
    found = inner(each * 2e-3, each, count, scatter, around, around, (5, 4))
    assert (found.samples, found.leaves, found.odd) == ((5, 4), 1, 0)
    assert np.isnan([*found.current, *found.outside, found.differs, found.leaks]).all()
    assert len(found.current) == len(found.outside) == 3
    enough = inner(each * 2e-3, each, count, scatter, around, around, (4, 4))
    assert enough.leaves == 2
    assert enough.current == pytest.approx(np.full(3, 2e-3), rel=1e-9)


def test_a_current_stands_where_blocks_differ_no_more() -> None:
    """1 mA over three samples, and a quarter more: 3.75, so four. Where fewer than two runs are
    known it is not looked on; nothing known is nothing that differs."""
    profile = np.zeros((3, 12))
    profile[:, :3] = 1e-3
    scatter = np.full(3, 1e-6)
    assert settled(profile, scatter) == 4
    profile[1:, 6:] = math.nan
    profile[0, 7:] = 1.0
    assert settled(profile, scatter) == 4
    assert settled(np.full((3, 12), math.nan), scatter) == 0
