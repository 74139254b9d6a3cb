"""Forms of what does not stand still, by samples of known form."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.bench.chunks import Chunk, Floats
from advisor.bench.segments import BLOCKS, RAW, Pieces, Window, measure
from advisor.bench.stillness import FINE, _noise, two_levels, unstill, without


@pytest.mark.parametrize("offset", [0.0, 10e-3, -3e-3])
def test_two_levels_are_told_from_one_bell_whatever_they_stand_on(offset: float) -> None:
    """Far apart for their scatter; the best split of a normal carries 2/pi of its variance."""
    noise = np.random.default_rng(4).normal(0.0, 1e-6, 40)
    both = offset + noise + np.where(np.arange(40) % 5 == 0, 50e-6, 0.0)
    found = two_levels(both, 1e-6)
    assert found is not None
    assert found == pytest.approx((offset, offset + 50e-6), abs=1e-6)
    assert two_levels(offset + noise, 0.0) is None


@pytest.mark.parametrize("periods", [16, 17, 200])
def test_a_ripple_is_told_at_its_own_rate_from_sixteen_periods_on(periods: int) -> None:
    """As many periods within the first samples; fewer are a slow change and no ripple."""
    step = 10e-6
    rate = periods / (RAW * step)
    t: Floats = np.arange(20_000, dtype=np.float64) * step
    noise = np.random.default_rng(2).normal(0.0, 1e-6, len(t))
    i = 1e-3 + 0.3e-3 * np.sin(2 * np.pi * rate * t) + noise
    window = Window(0.5 * step, float(t[-1]), BLOCKS * FINE, raw=True)
    (pieces,) = measure([Chunk("t", 0, t, i)], [window]).windows
    found = unstill(pieces, window.begin, window.end, step, 0.0, 0.0)
    (ripple,) = [one for one in found if one.kind == "ripple"]
    assert f" at {rate:.4g} Hz " in ripple.words


@pytest.mark.parametrize("current", [0.0, 0.1e-3, 0.7e-3, 1.1e-3, 3.3e-3, 7.7e-3])
def test_what_is_the_same_throughout_has_no_noise_and_stands_still(current: float) -> None:
    """The squares' mean less the mean's square is nothing, but for rounding to either side."""
    t: Floats = np.arange(20_000, dtype=np.float64) * 1e-4
    window = Window(0.5e-4, float(t[-1]), BLOCKS * FINE, raw=True)
    (pieces,) = measure([Chunk("t", 0, t, np.full(len(t), current))], [window]).windows
    assert unstill(pieces, window.begin, window.end, 1e-4, 0.0, 0.0) == []
    short = Window(0.5e-4, float(t[-1]), BLOCKS * FINE)
    (pieces,) = measure([Chunk("t", 0, t, np.full(len(t), current))], [short]).windows
    assert unstill(pieces, short.begin, short.end, 1e-4, 0.0, 0.0) == []


def test_a_cut_empties_the_pieces_that_it_touches_and_no_others() -> None:
    """Ten pieces of a second; a cut that ends where a piece begins does not touch it."""
    pieces = Pieces.of(10)
    sums = (pieces.time, pieces.charge, pieces.count, pieces.square, pieces.energy, pieces.volts)
    for one in (*sums, pieces.low, pieces.high):
        assert one is not None
        one[:] = 1.0
    pieces.raw.append(np.ones(3))
    without(pieces, 5.0, 15.0, [(6.0, 8.0), (11.5, 11.6)])
    gone = np.isin(np.arange(10), [1, 2, 6])
    for one in sums:
        assert one is not None
        np.testing.assert_array_equal(one, np.where(gone, 0.0, 1.0))
    np.testing.assert_array_equal(pieces.low, np.where(gone, np.inf, 1.0))
    np.testing.assert_array_equal(pieces.high, np.where(gone, -np.inf, 1.0))
    assert pieces.raw == []


def test_rare_bursts_do_not_widen_a_sample_s_noise() -> None:
    """White noise of 1 uA with 1 mA in every twentieth sample: 4,096 neighbours tell the median of
    the steps, 0.6745 sqrt(2) of the deviation, to 3 %; two in twenty of them are a burst's."""
    raw = np.random.default_rng(5).normal(0.0, 1e-6, RAW)
    none = np.empty(0, dtype=np.intp)
    assert _noise(Pieces.of(1), none, raw) == pytest.approx(1e-6, rel=0.05)
    raw[::20] += 1e-3
    assert _noise(Pieces.of(1), none, raw) == pytest.approx(1.15e-6, rel=0.1)


def test_bursts_all_along_move_the_mean_by_what_they_carry() -> None:
    """By hand: 10 uA, and 1 mA in every twentieth sample, over two seconds: 49.5 uA of the mean."""
    t: Floats = np.arange(20_000, dtype=np.float64) * 1e-4
    i = np.where(np.arange(len(t)) % 20 == 7, 1e-3, 10e-6)
    i += np.random.default_rng(3).normal(0.0, 0.1e-6, len(t))
    window = Window(0.5e-4, float(t[-1]), BLOCKS * FINE, raw=True)
    (pieces,) = measure([Chunk("t", 0, t, i)], [window]).windows
    found = unstill(pieces, window.begin, window.end, 1e-4, 0.0, 0.0)
    (bursts,) = [one for one in found if one.kind == "bursts"]
    assert "bursts all along" in bursts.words
    assert bursts.moves == pytest.approx(0.05 * 990e-6, rel=0.01)
    assert bursts.half == bursts.moves
