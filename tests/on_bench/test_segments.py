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
from advisor.bench.segments import Window, _Pass, measure
from advisor.faults import FaultError


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


def noisy(n: int, seed: int) -> tuple[Floats, Floats]:
    t: Floats = np.arange(n, dtype=np.float64) * 1e-3
    return t, np.random.default_rng(seed).normal(0, 1, n)


@pytest.mark.parametrize(("word", "sign"), [("top", 1.0), ("bottom", -1.0)])
def test_a_trace_that_stands_at_one_end_of_its_range_is_clipped_there(
    word: str, sign: float
) -> None:
    """Most of the samples cut off, from the first on; elsewhere none repeats the one before."""
    t, i = noisy(400, 5)
    assert measure([Chunk("t", 0, t, i)]).clipped is None
    cut = sign * np.minimum(sign * i, -0.3)
    found = measure([Chunk("t", 0, t, cut)])
    assert found.clipped == word
    assert (found.low, found.high) == (cut.min(), cut.max())


@pytest.mark.parametrize("at", [10, 250])
def test_what_is_no_number_is_refused_in_any_chunk(at: int) -> None:
    t, i = noisy(300, 5)
    i[at] = np.nan
    with pytest.raises(FaultError, match=f"row {at + 1}"):
        measure([Chunk("t", 0, t[:200], i[:200]), Chunk("t", 200, t[200:], i[200:])])


def test_a_time_that_is_no_number_is_not_one_that_runs_backwards() -> None:
    t, i = noisy(300, 5)
    t[120] = np.nan
    with pytest.raises(FaultError, match="time: read no number in row 121"):
        measure([Chunk("t", 0, t, i)])


def test_pieces_without_samples_and_of_one_lose_nothing() -> None:
    """A hole of 50 ms in a trace of a sample a millisecond, told from any pieces."""
    t, i = noisy(300, 5)
    t[100:] += 0.05
    whole = measure([Chunk("t", 0, t, i)], [Window(0.02, 0.28)])
    assert not whole.windows[0].raw  # nobody asked for the samples as they stand
    for cuts in ((0, 0, 40, 40, 40, 300, 300), range(301)):
        chunks = [Chunk("t", a, t[a:b], i[a:b]) for a, b in pairwise(cuts)]
        found = measure(chunks, [Window(0.02, 0.28)])
        assert found.rows == 300
        assert found.last == t[-1]
        assert found.step == pytest.approx(1e-3, rel=1e-9)
        np.testing.assert_allclose(found.gaps, whole.gaps, rtol=1e-9)
        np.testing.assert_allclose(found.windows[0].charge, whole.windows[0].charge, rtol=1e-12)


def test_a_trace_without_a_voltage_has_no_figure_of_one() -> None:
    """Absent and not zero, of runs and of stretches."""
    t: Floats = np.arange(400, dtype=np.float64) * 1e-3
    m = np.zeros(400)
    m[100:200] = 1.0
    for volts in (None, np.full(400, 3.0)):
        found = measure([Chunk("t", 0, t, 1.0 + m, volts, m)], [Window(0.25, 0.35)], 0.5)
        (pieces,) = found.windows
        figures = (found.energy, found.volts, found.volt_square, pieces.energy, pieces.volts)
        assert [x is None for x in figures] == [volts is None] * 5
    assert found.energy is not None
    assert found.volts is not None
    # by hand: 0.1 s of 2 A at 3 V
    assert found.energy[0] == pytest.approx(0.6, rel=0.01)
    assert found.volts[0] == pytest.approx(0.3, rel=0.01)


def test_the_step_is_that_of_most_samples() -> None:
    """A hole of a second in a trace of a sample a millisecond is one, and no step."""
    t, i = noisy(300, 5)
    t[100:] += 1.0
    found = measure([Chunk("t", 0, t, i)])
    assert found.step == pytest.approx(1e-3, rel=1e-9)
    np.testing.assert_allclose(found.gaps, [(0.099, 1.001)], rtol=1e-9)


def test_a_trace_that_repeats_every_sample_is_not_clipped_where_it_does_so_at_the_top() -> None:
    """A meter slower than its file: each reading stands four times, the greatest ten times."""
    levels = np.random.default_rng(8).permutation(np.arange(100, dtype=np.float64))
    i: Floats = np.repeat(levels, np.where(levels == 99, 10, 4))
    t: Floats = np.arange(len(i), dtype=np.float64) * 1e-3
    assert measure([Chunk("t", 0, t, i)]).clipped is None


@pytest.mark.parametrize(("high", "share"), [(100, 99 / 100), (20, 19 / 320)])
def test_how_often_great_samples_repeat_is_told_of_them_where_there_are_many(
    high: int, share: float
) -> None:
    """300 small samples, each unlike the one before, and great ones that stand; twenty of these
    are too few to tell. The greatest and the least do not count."""
    i: Floats = np.concatenate(([1.0, -1.0], 1e-3 * (1 + np.arange(300) % 7), np.full(high, 0.8)))
    state = _Pass([], None, False)
    t: Floats = np.arange(len(i), dtype=np.float64) * 1e-3
    state.look(Chunk("t", 0, t, i, None, np.zeros(len(i))))
    assert state.repeating(True) == pytest.approx(share, rel=1e-12)
    assert state.repeating(False) == pytest.approx((high - 1) / (high + 300), rel=1e-12)


@pytest.mark.parametrize(("scatter", "clipped"), [(0.0, None), (1e-4, "top")])
def test_a_pile_of_great_samples_is_judged_by_how_often_such_repeat(
    scatter: float, clipped: str | None
) -> None:
    """Where great samples stand for long on coarse steps a pile at the top is no clipping, however
    restless the small ones are; where they scatter as well it is."""
    rng = np.random.default_rng(6)
    great = np.repeat([9e-3, 10e-3, 8e-3, 7e-3, 10e-3, 6e-3], [20, 150, 20, 20, 150, 20])
    great[great < 10e-3] += scatter * rng.normal(size=80)
    i: Floats = np.concatenate([great, 1e-4 * rng.normal(size=4000)])
    t: Floats = np.arange(len(i), dtype=np.float64) * 1e-3
    chunks = [Chunk("t", a, t[a : a + 500], i[a : a + 500]) for a in range(0, len(i), 500)]
    assert measure(chunks, [Window(1.0, 2.0)]).clipped == clipped
