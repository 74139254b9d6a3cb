"""Small sums of the bench, each against one by hand or by plain Python."""

from __future__ import annotations

import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from advisor.bench.boards import pooled
from advisor.bench.budget import Result
from advisor.bench.chunks import Floats
from advisor.bench.clipping import KEPT, STEPS_OF, Extremes, Steps
from advisor.bench.edges import Around, rise_of
from advisor.bench.runs import Runs, Work, _slow, finite
from advisor.bench.sniff import _footer, _is_number, _marks, _two_levels, _values, epoch_of, unit_of
from advisor.bench.trace import is_rehearsed
from advisor.quantities import exact

pytestmark = pytest.mark.once


@pytest.mark.parametrize(
    ("cell", "number"),
    [
        *((c, True) for c in ("1", "-1.5", "+.5e-3", "1,5", "-,5E6", "1,234.5", "1.234,5")),
        *((c, True) for c in ("1,234,567", "1.234.567", "1 234,5", "1'234.5", "1’234")),
        *((c, False) for c in ("", ".", "e5", "1.5 mA", "1,2,3", "12,34.5", "1 2", "nan", "--1")),
    ],
)
def test_what_is_a_number(cell: str, number: bool) -> None:
    assert _is_number(cell) is number


@pytest.mark.parametrize(
    ("cells", "marks", "values"),
    [
        (["1.5", "x", "-2"], {}, [1.5, -2.0]),
        (["1,5", "2"], {"decimal": "comma"}, [1.5, 2.0]),
        (["1,234.5", "2"], {"thousands": "comma"}, [1234.5, 2.0]),
        (["1.234,5", "2"], {"thousands": "point", "decimal": "comma"}, [1234.5, 2.0]),
        (["1 234", "2,5"], {"thousands": "blank", "decimal": "comma"}, [1234.0, 2.5]),
        (["1 234", "2.5"], {"thousands": "blank"}, [1234.0, 2.5]),
        (["1'234", "2.5"], {"thousands": "apostrophe"}, [1234.0, 2.5]),
    ],
)
def test_marks_are_told_and_numbers_read_by_them(
    cells: list[str], marks: dict[str, str], values: list[float]
) -> None:
    assert _marks(cells) == marks
    assert _values(cells, marks).tolist() == values


def test_small_looks_at_an_export() -> None:
    assert unit_of("I [mA]") == ("I", "mA")
    assert unit_of("current_mA") == ("current", "mA")
    assert unit_of("t/s") == ("t", "s")
    assert unit_of("mA") == ("mA", None)
    assert unit_of("sleep (deep)") == ("sleep (deep)", None)
    is_row = {"1": True, "2": True}.__contains__
    assert _footer(["1", "2", "end", "", "bye"], is_row) == 2
    assert _footer(["1", "2", ""], is_row) == 0
    assert _footer(["end"], is_row) == 0
    for least, unit in ((1e9, "s"), (1e12, "ms"), (1e15, "us"), (1e18, "ns")):
        for times, told in ((0.99, None), (1.0, unit), (4.09, unit), (4.11, None)):
            assert epoch_of(np.array([times * least, 0.0])) == told
    assert epoch_of(np.empty(0)) is None


def test_two_levels_are_nearly_all_there_is_with_few_changes() -> None:
    up = np.repeat([0.0, 1.0, 0.0, 1.0], 25)
    assert _two_levels(up)
    assert _two_levels(3 - 5 * up)
    assert not _two_levels(up[:7])
    assert _two_levels(np.repeat([0.0, 1.0], 4))
    assert not _two_levels(np.zeros(100))
    # three of a hundred between the levels, then one
    for between, told in ((3, False), (1, True)):
        some = up.copy()
        some[10 : 10 + between] = 0.4
        assert _two_levels(some) is told
    # every fourth sample changes, then every tenth
    assert not _two_levels(np.resize([0, 0, 0, 0, 1, 1, 1, 1], 100)[::2].astype(float))
    assert _two_levels((np.arange(100) // 10 % 2).astype(float))


def result(value: float, u: float) -> Result:
    return Result(value=value, u=u, dof=math.inf, k95=1.96, budget=())


@pytest.mark.parametrize("r", [-1.5, -0.8, 0.0, 0.4, 0.9, 1.5])
def test_how_far_time_and_current_err_together(r: float) -> None:
    """e² = t² + i² + v² + 2 r t i (JCGM 100:2008, 5.2.2) of 2, 3 and 0.5 %, turned about.

    What the energy's variance has beside the three, a tenth of it at least, tells r; i is that of
    the current told beside it.
    """
    t, i, v = 0.02, 0.03, 0.005
    square = t * t + i * i + v * v + 2 * r * t * i
    if square < 0:
        return
    e = math.sqrt(square)
    work = Work(
        time=result(2.0, 2.0 * t),
        current=result(5.0, 5.0 * i),
        charge=result(10.0, 1.0),
        energy=result(30.0, 30.0 * e),
        voltage=result(3.0, 3.0 * v),
    )
    told = 0.0 if abs(2 * r * t * i) < 0.1 * square else r
    assert work.together(i) == pytest.approx(max(-1.0, min(1.0, told)))
    assert work.together(2 * i) == pytest.approx(max(-1.0, min(1.0, told / 2)))
    assert work.together(0.0) == 0.0


@pytest.mark.parametrize("inside", [0, 1, 4])
def test_a_marker_s_rise_is_its_samples_between_the_levels(inside: int) -> None:
    """Levels 0 and 2 V, samples at even steps between them: n of 0.8 of the edge, by 10 us."""
    reach = 16
    between = np.linspace(0.3, 1.7, inside) if inside > 1 else np.full(inside, 1.0)
    row = np.concatenate([np.zeros(reach), between, np.full(reach - inside, 2.0)])
    level = np.full((1, 2 * reach), 1.0)
    starts = Around(time=np.full((3, 2 * reach), 10e-6), current=level, marker=np.stack([row] * 3))
    rise, share = rise_of(starts, 0.5)
    if not inside:
        assert (rise, share) == (0.0, 0.5)
        return
    assert rise == pytest.approx(inside / 0.8 * 10e-6)
    assert share == pytest.approx(0.25)
    # a run whose marker stands still tells nothing
    flat = np.stack([row, row, np.zeros(2 * reach)])
    assert rise_of(Around(starts.time, level, flat), 0.5)[0] == pytest.approx(rise)


@pytest.mark.parametrize("boards", [[(1.0, 0.02), (1.05, 0.03), (0.9, 0.01)], [(2.0, 0.5)]])
def test_moments_of_pooled_boards_by_a_fine_sum(boards: list[tuple[float, float]]) -> None:
    """The mean given tau is normal: moments by a midpoint sum over tau of 100,000 even steps."""
    y, s = np.array(boards).T
    spread = 0.1
    tau = (np.arange(100_000) + 0.5) * 12 * spread / 100_000
    w = 1 / (s[:, None] ** 2 + tau**2)
    mean = (w * y[:, None]).sum(axis=0) / w.sum(axis=0)
    log = 0.5 * np.log(w).sum(axis=0) - 0.5 * np.log(w.sum(axis=0))
    log -= 0.5 * (w * (y[:, None] - mean) ** 2).sum(axis=0)
    if len(y) == 1:
        log = np.zeros(len(tau))
    weight = np.exp(log - 0.5 * (tau / spread) ** 2)
    weight /= weight.sum()
    exact = float((weight * mean).sum())
    var = float((weight * (1 / w.sum(axis=0) + (mean - exact) ** 2)).sum())
    found = pooled([float(x) for x in y], [float(x) for x in s], spread, common=0.03)
    assert found.mean == pytest.approx(exact, rel=1e-5)
    assert found.mean_u == pytest.approx(math.sqrt(var + 0.03**2), rel=1e-4)
    next_u = math.sqrt(var + float((weight * tau**2).sum()) + 0.03**2)
    assert found.next_u == pytest.approx(next_u, rel=1e-4)
    half = float(np.interp(0.5, np.cumsum(weight), tau))
    assert found.tau == pytest.approx(half, rel=2e-3)


@pytest.mark.parametrize("unit", [1e-4, 1e4])
def test_pooled_boards_go_by_their_unit(unit: float) -> None:
    """The same boards in another unit: a grid of tau laid in one unit would end too soon."""
    y, s = [1.0, 1.05, 0.9], [0.02, 0.03, 0.01]
    here = pooled(y, s, 0.1, common=0.03)
    there = pooled([unit * x for x in y], [unit * x for x in s], unit * 0.1, common=unit * 0.03)
    for name in ("mean", "mean_u", "mean_half_95", "tau", "next_u", "next_half_95"):
        assert getattr(there, name) == pytest.approx(unit * getattr(here, name), rel=1e-9), name
    assert there.residuals == pytest.approx(here.residuals, rel=1e-9)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("pieces", [1, 3, 7])
def test_extremes_of_any_pieces_are_the_outermost_values(sign: int, pieces: int) -> None:
    i = np.random.default_rng(pieces).normal(0.0, 3.0, 4000).round()
    found = Extremes(sign)
    for part in np.array_split(i, pieces):
        found.take(float((sign * part).max()), part)
    values, counts = np.unique(sign * i, return_counts=True)
    assert found.values.tolist() == values[::-1][:KEPT].tolist()
    assert found.counts.tolist() == counts[::-1][:KEPT].tolist()
    assert found.value == values[-1]


CODES = {
    # counts of the outermost values, the outermost first, a step apart each -> at its end
    "a pile": ([20, 4, 4, 4, 4, 4], 0.0, True),
    "too few": ([15, 3, 3, 3, 3, 3], 0.0, False),
    "not steep": ([20, 5, 5, 5, 5, 5], 0.0, False),
    "steep for two only": ([20, 5, 4, 4, 4, 4], 0.0, False),
    "the fourth is as many": ([20, 4, 4, 5, 4, 4], 0.0, False),
    "the fifth does not count": ([20, 4, 4, 4, 9, 4], 0.0, True),
    "alone": ([16], 0.0, True),
    "codes on the last": ([100, 40, 40, 40, 40, 40], 0.5, True),
    "codes not surely more": ([84, 40, 40, 40, 40, 40], 0.5, False),
    "codes on the last two": ([2, 140, 80, 80, 80, 80], 0.5, True),
    "codes on two, not surely": ([2, 139, 80, 80, 80, 80], 0.5, False),
    "codes on two, no trace above": ([20, 160, 80, 80, 80, 80], 0.5, False),
    "codes, too few beside": ([100, 40, 40, 2, 40, 40], 0.5, False),
    "codes, few of them": ([100, 40, 40, 40, 40], 0.5, False),
}


@pytest.mark.parametrize("case", CODES)
def test_what_piles_up_at_an_end(case: str) -> None:
    """n0 > n1 + 4 sqrt(n0 + n1): 100 > 40 + 47.3, 84 < 40 + 44.5; of
    two 140 - 80 > 4 sqrt(220); or 16 and over four times."""
    counts, repeating, clips = CODES[case]
    values: Floats = 5.0 - 0.25 * np.arange(len(counts), dtype=np.float64)
    assert Extremes(1, values, np.array(counts, dtype=float)).clips(repeating) is clips
    if repeating:
        # off the lattice by a fifth of a step, and the last a step and a half apart
        off = values - 0.05 * (np.arange(len(counts)) == 3)
        assert not Extremes(1, off, np.array(counts, dtype=float)).clips(repeating)
        far = values + 0.13 * (np.arange(len(counts)) == 0)
        assert not Extremes(1, far, np.array(counts, dtype=float)).clips(repeating)
        near = values + 0.12 * (np.arange(len(counts)) == 0)
        assert Extremes(1, near, np.array(counts, dtype=float)).clips(repeating) is clips
    assert not Extremes(1).clips(repeating)


def test_the_step_of_codes_is_that_of_their_size() -> None:
    """Codes of 1 mA at some 0.1 A and of 1 uA at some 0.1 mA; noise has none."""
    steps = Steps()
    assert steps.at(0.1) == 0.0
    steps.take(0.1 + 1e-3 * np.array([0, 1, 3, 4, 8, 3]))
    steps.take(1e-4 + 1e-6 * np.array([0, 2, 3, 9]))
    assert steps.at(0.11) == pytest.approx(1e-3)
    assert steps.at(1.05e-4) == pytest.approx(1e-6)
    # of the sizes beside, where there are none of its own
    assert steps.at(0.2) == pytest.approx(1e-3)
    assert steps.at(10.0) == 0.0
    noise = Steps()
    noise.take(0.1 + 1e-3 * np.array([0.0, 1.0, 2.37, 3.81]))
    assert noise.at(0.1) == 0.0


def test_however_long_a_trace_is_few_samples_of_a_size_are_kept() -> None:
    """256 of each size, the first that come, and of 256 sizes."""
    steps = Steps()
    pieces = [1.0 + 1e-4 * (100 * n + np.arange(100.0)) for n in range(5)]
    for piece in pieces:
        steps.take(piece)
    assert list(steps.kept) == [1]
    assert steps.kept[1] == np.concatenate(pieces)[:256].tolist()
    # a size that comes late has its samples all the same
    steps.take(np.array([4.0, 4.5]))
    assert steps.kept[3] == [4.0, 4.5]
    for size in range(-400, 400):
        steps.take(np.array([1.5 * 2.0**size]))
    assert sum(bool(held) for held in steps.kept.values()) <= 256


def test_what_is_rehearsed_bears_it_in_any_form(tmp_path: Path) -> None:
    t = np.arange(4.0)
    np.savez(tmp_path / "plain.npz", t=t)
    np.savez(tmp_path / "invented.npz", t=t, rehearsed=np.array(1))
    assert not is_rehearsed(tmp_path / "plain.npz")
    assert is_rehearsed(tmp_path / "invented.npz")


def test_slow_edges_are_counted_by_the_threshold_s_place() -> None:
    """By rise (1 - 2 f) and a tenth of it, over the units of a run, rectangular."""
    reach, step = 16, 10e-6
    row = np.concatenate([np.zeros(reach), [0.3, 0.7, 1.3, 1.7], np.full(reach - 4, 2.0)])
    level = np.full((1, 2 * reach), step)
    runs = cast(Runs, SimpleNamespace(starts=Around(level, level, row[None])))
    edge, stated = 4 / 0.8 * step, exact(3e-3, "time")

    def half(above: float | None, below: float | None, rise: Any = None) -> float:
        high, low = (None if x is None else exact(x, "count") for x in (above, below))
        marker = SimpleNamespace(above=high, below=low, rise=rise)
        session = cast(Any, SimpleNamespace(trace=SimpleNamespace(marker=marker)))
        term = _slow(session, runs, 5)
        assert (term.type, term.shape) == ("B", "rectangular")
        return term.u * math.sqrt(3) * 5

    assert half(1.0, None) == pytest.approx(0.1 * edge)
    assert half(0.5, None) == pytest.approx(0.6 * edge)
    assert half(None, 1.6) == pytest.approx(0.7 * edge)
    assert half(1.0, None, stated) == pytest.approx(0.1 * edge)
    # edges quicker than a sample, of which the notes say how long they take
    runs.starts.marker[:] = np.repeat([0.0, 2.0], reach)
    assert half(1.0, None) == 0.0
    assert half(1.0, None, stated) == pytest.approx(3e-3)
    none = cast(Any, SimpleNamespace(trace=SimpleNamespace(marker=None)))
    assert _slow(none, runs, 5).u == 0.0


@pytest.mark.parametrize("great", ["value", "u"])
def test_a_figure_that_overflows_is_refused_once(great: str) -> None:
    said: list[str] = []
    session = cast(Any, SimpleNamespace(fault=lambda log, key, read, expected: said.append(read)))
    sound = result(1.0, 0.1)
    assert finite(session, "hash", cast(Any, None), time=sound, charge=sound)
    assert said == []
    bad = result(*((math.inf, 0.1) if great == "value" else (1.0, math.inf)))
    assert not finite(session, "hash", cast(Any, None), time=sound, charge=bad, energy=bad)
    assert said == ["hash: charge that overflows"]


def test_of_each_size_no_more_samples_are_kept_than_tell_a_step() -> None:
    """From 1 to 2 is one size, and so on: some of each, however often they come; of more sizes
    than any meter has, none."""
    steps = Steps()
    for _ in range(3):
        steps.take(np.linspace(1.0, 1.9, STEPS_OF - 10))
        steps.take(np.linspace(2.0, 3.9, 5))
    assert [len(kept) for kept in steps.kept.values()] == [STEPS_OF, 15]
    steps.take(2.0 ** np.arange(-500.0, 500.0))
    assert sum(map(len, steps.kept.values())) <= STEPS_OF + 15 + 256
