"""What a stretch that does not stand still is told to do, by courses whose figures are known by
hand: pieces of a second each, without noise."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from advisor.bench.chunks import Floats
from advisor.bench.segments import BLOCKS, RAW, Pieces
from advisor.bench.stillness import (
    _bursts,
    _change,
    _noise,
    _ripple,
    _slow,
    trend,
    two_levels,
    unstill,
)
from advisor.quantities import show

N = 1000
AT: Floats = np.arange(N, dtype=np.float64) + 0.5
LASTS = 0.5  # s of each that samples stand for: the rest is a drop-out
EVERY = np.arange(N)


def uA(amperes: float) -> str:
    return show(amperes * 1e-6, "current")


def stretch(level: Floats, *, samples: float = 1.0) -> Pieces:
    """A piece a second, each of so many samples at its level, A."""
    pieces = Pieces.of(len(level))
    pieces.time[:] = LASTS
    pieces.charge[:] = level * LASTS
    pieces.count[:] = samples
    pieces.square[:] = samples * level**2
    pieces.low[:] = pieces.high[:] = level
    return pieces


def slow(level: Floats) -> tuple[Floats, str, str, float, float]:
    course, (found,) = _slow(AT, level, 1e-12, float(level.mean()), float(N))
    return course, found.kind, found.words, found.moves, found.half


def test_a_drift_is_told_by_its_slope() -> None:
    """A nanoampere a second over 1,000 s, either way: half of a microampere to each side."""
    for sign in (1.0, -1.0):
        level = 10e-6 + sign * 1e-9 * AT
        course, kind, words, moves, half = slow(level)
        np.testing.assert_allclose(course, level, rtol=1e-9)
        assert kind == "drift"
        assert words.startswith(f"drifts by {uA(1.0)} from 0.5 to 999.5 s ")
        assert (moves, half) == pytest.approx((0.5e-6, 0.5e-6))


@pytest.mark.parametrize("until", [50, 300, 320, 720, 950])
def test_a_late_sleep_is_told_where_it_begins(until: int) -> None:
    """10, then 4 uA: what is shorter than the other half is what moves the mean."""
    level = np.where(until > AT, 10e-6, 4e-6)
    course, kind, words, moves, half = slow(level)
    np.testing.assert_allclose(course, level, rtol=1e-9)
    assert kind == "late"
    assert words.startswith(f"stands at {uA(10)} until {until} s and at {uA(4)} after it ")
    mean = (until * 10 + (N - until) * 4) / N * 1e-6
    assert moves == pytest.approx(abs(mean - (4e-6 if until < N / 2 else 10e-6)))
    assert half == pytest.approx(3e-6)


def test_a_tail_is_told_by_its_ends() -> None:
    """From 10 to 4 uA with a time constant of 59.24 s, one of the twelve from 10 to 500 s."""
    tau = 10.0 * 50 ** (5 / 11)
    level = 4e-6 + 6e-6 * np.exp(-(AT - 0.5) / tau)
    course, kind, words, moves, half = slow(level)
    assert kind == "tail"
    # a block's median is its curve's middle, to the square of its length over tau
    np.testing.assert_allclose(course, level, rtol=0.05)
    assert words.startswith(("falls from 9.9", "falls from 10"))
    assert f" at 0.5 s to {uA(4)}, until about {0.5 + 3 * tau:.6g} s " in words
    moved = float(level.mean()) - 4e-6
    assert (moves, half) == pytest.approx((moved, moved), rel=0.02)
    long = 4e-6 + 6e-6 * np.exp(-(AT - 0.5) / 500.0)
    assert "until about 999.5 s " in slow(long)[2]


def test_two_levels_in_turn_are_bursts_and_any_other_course_wanders() -> None:
    """Blocks of 50 pieces: 6 of 20 at 50 uA, the others at 10; then a sine of 3 uA over 10."""
    block = EVERY // 50
    high = np.isin(block, [2, 5, 6, 11, 15, 16])
    for at, level in ((100.5, np.where(high, 50e-6, 10e-6)), (0.5, np.where(high, 10e-6, 50e-6))):
        _, kind, words, moves, half = slow(level)
        assert kind == "bursts"
        assert words.startswith(f"stands at {uA(10)} and {uA(50)} in turn, the second from {at} s ")
        assert (moves, half) == pytest.approx((12e-6, 12e-6))
    level = 10e-6 + 3e-6 * np.sin(2 * np.pi * AT / 500) - 1e-6 * (block == 17)
    medians = np.array([np.median(level[block == b]) for b in range(BLOCKS)])
    course, kind, words, moves, half = slow(level)
    assert kind == "wander"
    far = 50 * int(np.argmax(np.abs(medians - np.median(level)))) + 25
    ends = f"{show(float(medians.min()), 'current')} and {show(float(medians.max()), 'current')}"
    assert words == f"wanders between {ends}, farthest at {far} s"
    assert moves == half == pytest.approx(float(np.ptp(medians)) / 2)
    np.testing.assert_allclose(course, np.interp(AT, 50.0 * np.arange(BLOCKS) + 25, medians))


def test_what_chance_gives_is_no_course() -> None:
    """A mean square of 3 times what the pieces' own scatter gives the medians is the limit.

    Medians at m ± d scatter by d: with d² BLOCKS / (BLOCKS - 1) = 3 (1.2533 p)² / 50.
    """
    piece = 1e-9
    limit = math.sqrt(3 * (BLOCKS - 1) / BLOCKS * 1.2533**2 / 50) * piece
    for share, told in ((0.99, False), (1.01, True)):
        level = 10e-6 + share * limit * np.where(EVERY // 50 % 2, 1.0, -1.0)
        course, found = _slow(AT, level, piece, 10e-6, float(N))
        assert bool(found) is told
        if not told:
            np.testing.assert_allclose(course, np.median(level))


@pytest.mark.parametrize(("low", "high", "where"), [(7.4, 12.6, 10.0), (9.6, 10.4, 10.0)])
def test_a_change_lies_at_the_widest_step(low: float, high: float, where: float) -> None:
    """Of the neighbours inside; half-way where there are no two."""
    level = np.where(AT < 10, 1.0, 2.0) + np.where(AT < 5, 9.0, 0.0) + np.where(AT > 15, 9.0, 0.0)
    assert _change(AT, level, low, high) == where
    assert _change(AT, level, 20.1, 21.1) == 20.6


BURSTS = {
    # (pieces that are odd, level there, step) -> words, A that the mean moves by, groups
    "one up": ([400, 401], 90.0, 1.0, "has 1 burst, the first at 400.5 s, up to"),
    "two": ([100, 700], 90.0, 1.0, "has 2 bursts, the first at 100.5 s, up to"),
    "three alike": ([100, 400, 700], 90.0, 1.0, "has 3 bursts, the first at 100.5 s, up to"),
    "three uneven": ([100, 400, 550], 90.0, 1.0, "has 3 bursts, the first at 100.5 s, up to"),
    "long ones": ([100, 101, 400, 401, 700], 90.0, 0.3, "has 3 bursts, the first at 100.5"),
    "long ones down": ([100, 101, 400, 401, 700], 2.0, 0.3, "has 3 bursts, the first at 100.5"),
    "down": ([100, 400, 700], 2.0, 1.0, "has 3 bursts, the first at 100.5 s, down to"),
}


@pytest.mark.parametrize("case", BURSTS)
def test_bursts_are_counted_and_weighed(case: str) -> None:
    """Over a level of 10 uA with samples that scatter by 0.1 uA, told by hand."""
    odd, to, step, words = BURSTS[case]
    level = np.full(N, 10e-6)
    level[odd] = to * 1e-6
    pieces = stretch(level)
    base = np.full(N, 10e-6)
    (found,) = _bursts(pieces, EVERY, AT, level - base, base, 0.1e-6, 0.1e-6, np.empty(0), step)
    assert found.kind == "bursts"
    assert found.words.startswith(words)
    assert f" to {uA(to)} (" in found.words
    groups = 1 + int(np.count_nonzero(np.diff(odd) > 1))
    assert found.moves == pytest.approx(len(odd) * abs(to - 10) / N * 1e-6)
    every = case in {"three alike", "down", "long ones", "long ones down"}
    assert (f", one every {show(300.0, 'time')}" in found.words) is every
    assert ("one every" in found.words) is every
    few = not case.startswith("long ones")
    assert found.half == pytest.approx(found.moves / (1.0 if few else math.sqrt(groups)))


def test_a_sample_stands_out_from_eight_deviations_on_a_piece_from_eight_of_its_own() -> None:
    base, level = np.full(N, 10e-6), np.full(N, 10e-6)
    sigma, piece = 0.1e-6, 0.01e-6
    for share, told in ((0.99, False), (1.01, True)):
        for what in ("high", "low", "mean", "mean below"):
            pieces, above = stretch(level), np.zeros(N)
            if what.startswith("mean"):
                above[7] = share * 8 * piece * (-1 if "below" in what else 1)
            else:
                getattr(pieces, what)[7] += share * 8 * sigma * (1 if what == "high" else -1)
            got = _bursts(pieces, EVERY, AT, above, base, sigma, piece, np.empty(0), 1.0)
            assert bool(got) is told, what


def test_bursts_all_along_are_told_over_the_quiet_level() -> None:
    """In 600 of 1,000 pieces; quiet is the samples' median, or that of the course."""
    level = np.where(EVERY % 5 < 3, 30e-6, 10e-6)
    level[123] = 95e-6
    pieces, base = stretch(level), np.full(N, 10e-6)
    for raw, quiet in ((np.empty(0), 10.0), (np.full(9, 12e-6), 12.0)):
        args = (level - base, base, 0.1e-6, 0.1e-6, raw, 1.0)
        (found,) = _bursts(pieces, EVERY, AT, *args)
        assert found.words == (f"has bursts all along, up to {uA(95)} at 123.5 s over {uA(quiet)}")
        assert found.moves == found.half == pytest.approx(float(level.mean()) - quiet * 1e-6)
    # half of them are some, which are counted
    halves = np.where(EVERY % 2 < 1, 30e-6, 10e-6)
    (found,) = _bursts(
        stretch(halves), EVERY, AT, halves - base, base, 0.1e-6, 0.1e-6, np.empty(0), 1.0
    )
    assert found.words.startswith("has 500 bursts")
    dips = stretch(np.where(EVERY % 5 < 3, 2e-6, 10e-6))
    (found,) = _bursts(dips, EVERY, AT, np.full(N, -8e-6), base, 0.1e-6, 0.1e-6, np.empty(0), 1.0)
    assert found.moves == found.half == pytest.approx(0.6 * 8e-6)


def test_a_stretch_without_noise_has_the_course_and_the_bursts_that_were_put_in() -> None:
    """All of it through the pieces' sums; too few of them tell nothing."""
    level = 10e-6 + 1e-9 * AT
    level[400] += 50e-6
    found = unstill(stretch(level), 0.0, float(N), 1.0, 0.0, 0.0)
    assert [f.kind for f in found] == ["drift", "bursts"]
    assert found[1].moves == pytest.approx(50e-6 / N, rel=2e-3)
    few = stretch(level[: 2 * BLOCKS - 1] * np.linspace(1, 3, 2 * BLOCKS - 1))
    assert unstill(few, 0.0, 39.0, 1.0, 0.0, 0.0) == []
    enough = stretch(level[: 2 * BLOCKS] * np.linspace(1, 3, 2 * BLOCKS))
    assert unstill(enough, 0.0, 40.0, 1.0, 0.0, 0.0)[0].kind == "drift"
    # what the meter states, or its codes of a / sqrt(12) deviation, hides a burst of 7 of it
    # pieces of four samples each scatter by half of that
    jump = np.full(N, 10e-6)
    for high in (7.0, 9.0):
        jump[400] = (10 + 0.1 * high) * 1e-6
        pieces = stretch(jump, samples=4.0)
        pieces.high[400], pieces.charge[400] = jump[400], 10e-6 * LASTS
        for floor, code in ((0.1e-6, 0.0), (0.0, 0.1e-6 * math.sqrt(12))):
            got = unstill(pieces, 0.0, float(N), 1.0, floor, code)
            assert bool(got) is (high > 8), (high, floor)


def test_noise_is_that_within_pieces_of_four_samples_or_of_neighbours() -> None:
    """Pieces of 4 with squares' sums for a deviation of 2 uA; of 3 tell none."""
    level = np.full(60, 10e-6)
    for samples, sigma in ((4.0, 2e-6), (3.0, 0.0)):
        pieces = stretch(level, samples=samples)
        pieces.square += (samples - 1) * (2e-6) ** 2
        assert _noise(pieces, np.arange(60), np.empty(0)) == pytest.approx(sigma)
    pieces = stretch(level, samples=4.0)
    pieces.square += 3 * (2e-6) ** 2
    raw = np.array([0.0, 1.0] * 4) * 1e-6
    near = 1e-6 / (0.6745 * math.sqrt(2))
    assert _noise(pieces, np.arange(60), raw) == pytest.approx(near)
    assert _noise(pieces, np.arange(60), raw[:7]) == pytest.approx(2e-6)
    assert _noise(pieces, np.arange(60), 9 * raw) == pytest.approx(2e-6)


def test_a_ripple_is_told_by_its_size_and_rate() -> None:
    """A sine of amplitude a over the mean; a Hann window's line carries it to a part in a hundred.

    From a tenth of the mean on; the mains' own rates are no regulator's.
    """
    k = np.arange(RAW)
    for rate, share, told in (
        (1000.0, 0.11, True),
        (1000.0, 0.09, False),
        (100.0, 0.5, False),
        (46.0, 0.5, False),
        (44.0, 0.5, True),
        (192.0, 0.5, True),
    ):
        step = round(200 / (rate * RAW), 12)
        raw = 1e-3 * (1 + share * np.sin(2 * np.pi * 200 * k / RAW))
        found = _ripple(raw, step, 1e-3, 0.25)
        assert bool(found) is told, (rate, share)
        if told:
            assert found[0].moves == math.inf
            assert found[0].half == pytest.approx(share * 1e-3, rel=0.01)
            words = f"sways by {show(found[0].half, 'current')} at {rate:.4g} Hz from 0.25 s on "
            assert found[0].words.startswith(words)
    sine = 1e-3 * (1 + 0.5 * np.sin(2 * np.pi * 40 * np.arange(256) / 256))
    assert _ripple(sine, 1e-5, 1e-3, 0.0) != []
    assert _ripple(sine[:255], 1e-5, 1e-3, 0.0) == []
    assert _ripple(sine, 0.0, 1e-3, 0.0) == []
    assert _ripple(np.full(256, 1e-3), 1e-5, 1e-3, 0.0) == []


@given(st.lists(st.integers(-1000, 1000), min_size=1, max_size=14), st.integers(0, 400))
def test_two_levels_are_the_best_of_all_splits(values: list[int], noise: int) -> None:
    """By trying each: at least two runs a side, sums of squares between and in all."""
    runs = np.array(values, dtype=float)
    best: tuple[float, float, float] | None = None
    ranked = sorted(values)
    n = len(ranked)
    mean = sum(ranked) / n
    whole = sum((x - mean) ** 2 for x in ranked)
    for k in range(2, n - 1):
        a, b = sum(ranked[:k]) / k, sum(ranked[k:]) / (n - k)
        between = k * (a - mean) ** 2 + (n - k) * (b - mean) ** 2
        if best is None or between > best[0] * (1 + 1e-12):
            best = (between, a, b)
    share = best[0] / whole if best and whole else 0.0
    least = 0.95 if n < 12 else 0.9
    found = two_levels(runs, float(noise))
    if n < 6 or share < least - 1e-9 or (best and best[2] - best[1] <= 4 * noise):
        assert found is None
    elif share > least + 1e-9:
        assert best is not None
        assert found == pytest.approx(best[1:])


@pytest.mark.parametrize("n", [8, 14])
@pytest.mark.parametrize("share", [0.89, 0.91, 0.94, 0.96])
def test_the_share_that_two_levels_carry_is_by_their_number(n: int, share: float) -> None:
    """Halves at ±1 with rests at ±w: the split carries 1 / (1 + w²)."""
    w = math.sqrt(1 / share - 1)
    runs = np.array([s + r for s in (-1.0, 1.0) for r in np.resize([w, -w], n // 2)])
    if n == 14:
        w = math.sqrt((1 / share - 1) * 7 / 6)
        runs = np.array([s + r for s in (-1.0, 1.0) for r in [*np.resize([w, -w], 6), 0.0]])
    found = two_levels(runs, 0.0)
    assert (found is not None) is (share > (0.95 if n < 12 else 0.9))
    if found is not None:
        assert found == pytest.approx((-1.0, 1.0))


@given(st.lists(st.integers(-1000, 1000), min_size=6, max_size=12))
def test_a_trend_is_the_slope_over_its_error(values: list[int]) -> None:
    """`scipy.stats.linregress` gives both."""
    runs = np.array(values, dtype=float)
    found = trend(runs)
    if not np.ptp(runs):
        assert found == 0.0
        return
    line = stats.linregress(np.arange(len(runs)), runs)
    if line.stderr > 1e-6 * abs(line.slope):
        assert found == pytest.approx(line.slope / line.stderr, rel=1e-6, abs=1e-9)
    assert trend(runs[:5]) == 0.0


def test_runs_that_only_rise_have_a_trend_without_end() -> None:
    assert trend(np.arange(8.0)) == math.inf
    assert trend(-np.arange(8.0)) == -math.inf
