"""A marker cleaned of ringing, whatever pieces it comes in."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from advisor.bench.chunks import Chunk, Floats, Stamps
from advisor.bench.stamps import _Clock, settled
from advisor.faults import FaultError
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


@pytest.mark.parametrize("side", ["above", "below"])
@pytest.mark.parametrize("size", [1, 4, 12])
def test_a_marker_is_at_work_until_it_comes_back_by_the_hysteresis(
    tmp_path: Path, side: str, size: int
) -> None:
    """Level 2, hysteresis 0.5: at work beyond 2, until 1.5 is reached (mirrored: until 2.5)."""
    form = f"marker: {{column: m, {side}: 2, hysteresis: 0.5}}"
    marker = session(tmp_path, (COLUMN[0], form)).trace.marker
    assert marker is not None
    one = [1.9, 2.0, 2.1, 1.9, 1.6, 1.5, 1.6, 2.0, 2.05, 1.55, 1.4, 1.9]
    up = [False, False, True, True, True, False, False, False, True, True, False, False]
    m = np.array(one) if side == "above" else 4.0 - np.array(one)
    t: Floats = np.arange(12, dtype=np.float64) * 1e-3
    chunks = [
        Chunk("t", a, t[a : a + size], t[a : a + size], None, m[a : a + size])
        for a in range(0, 12, size)
    ]
    found = np.concatenate([np.asarray(c.m) for c in settled(chunks, marker)]) - 2.0
    assert ((found > 0) == (np.array(up) == (side == "above"))).all()
    # clear of the level, as far on either side
    np.testing.assert_allclose(np.abs(found), 2.0)


@pytest.mark.parametrize("by", ["first", "last"])
@pytest.mark.parametrize("size", [7, 40, 1000])
def test_batches_of_any_length_may_be_stamped_by_their_first_or_last_sample(
    by: str, size: int
) -> None:
    """At 1 kHz, ten and thirty samples in turn, so that stamps are not evenly apart; with fifty
    samples missing amid them they are off."""
    counts = np.tile([10, 30], 12)
    begin = np.cumsum(counts) - counts
    stamp = 1e-3 * (begin if by == "first" else begin + counts - 1)
    t = np.repeat(stamp, counts)
    stamps = Stamps(rate=1000.0, jitter=1e-3)

    def told(t: Floats) -> Floats:
        chunks = [Chunk("t", a, t[a : a + size], t[a : a + size]) for a in range(0, len(t), size)]
        return np.concatenate([c.t for c in _Clock(stamps, 1.0).told(chunks)])

    assert told(t) == pytest.approx(stamp[0] + 1e-3 * np.arange(len(t)), abs=1e-12)
    lost = np.concatenate([t[:240], t[240:] + 0.055])
    with pytest.raises(FaultError, match="off its neighbour in row 241"):
        told(lost)


@pytest.mark.parametrize("level", [0.0, 0.5, -3.0, 1e20])
def test_a_cleaned_marker_is_clear_of_its_level_whatever_that_is(
    tmp_path: Path, level: float
) -> None:
    """A double of 1e20 plus one is itself: what is clear of it is so by its own size."""
    told = f"marker: {{column: m, above: {level}, debounce: 2 ms}}"
    marker = session(tmp_path, (COLUMN[0], told)).trace.marker
    assert marker is not None
    t: Floats = np.arange(60, dtype=np.float64) * 1e-3
    up = (t > 0.0095) & (t < 0.0295)
    m: Floats = np.where(up, level + max(1.0, abs(level)), level - max(1.0, abs(level)))
    (chunk, *more) = list(settled([Chunk("t", 0, t, t, None, m)], marker))
    cleaned = np.concatenate([np.asarray(c.m) for c in (chunk, *more)])
    np.testing.assert_array_equal(cleaned > level, up)
    np.testing.assert_array_equal(cleaned < level, ~up)


@pytest.mark.parametrize("form", COLUMN)
@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_what_is_no_number_in_a_marker_is_refused_before_it_is_cleaned(
    tmp_path: Path, form: str, bad: float
) -> None:
    """Compared with a level it would be a plain 'not at work', and nobody would hear of it."""
    marker = session(tmp_path, (COLUMN[0], form)).trace.marker
    assert marker is not None
    t: Floats = np.arange(8, dtype=np.float64)
    m = np.where(np.arange(8) == 3, bad, 0.0)
    with pytest.raises(FaultError, match="no number in row 104"):
        list(settled([Chunk("t", 100, t, t, None, m)], marker))
