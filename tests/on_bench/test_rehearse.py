"""Rehearsals: what a plan reckons, by hand, the board's own trace, and what is refused."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from advisor.bench.rehearse import (
    OVERHEAD_A,
    Errors,
    _Piece,
    _recorded,
    _Seen,
    expected,
    rehearsed,
    truth_of,
)
from advisor.catalogue.load import load_catalogue
from advisor.catalogue.shipped import catalogue_folder
from advisor.faults import FaultError
from tests.on_bench.sessions import NOTES, QUIET, session, trace_of

# nothing is uncertain, from run to run or by the meter's statements
PLAIN = (
    NOTES.replace("supply: 3.300(2) V", "supply: 3.3 V")
    .replace(", gain: 0.1 %, offset: 2 µA, timebase: 50 ppm", "")
    .replace("1.200(2) mA", "1.2 mA")
    .replace("  noise: 100 µA\n  spread: 0.5 %\n  jitter: 5 us\n", "")
)
TRACED = "board-overhead: {trace: board.csv, from: 0 s, to: 1 s}"
METER = "{id: meter-a"
# hash draws 9.8 mA for 0.412 ms, the meter reads 11 mA with the board's 1.2 mA
READ = 11.0 / 9.8


@pytest.mark.parametrize(
    ("old", "new", "relative"),
    [
        (METER, f"{METER}, gain: 1 %", 0.01 / math.sqrt(3) * READ),
        (METER, f"{METER}, offset: 98 µA", 0.01 / math.sqrt(3)),
        (METER, f"{METER}, timebase: 1 %", 0.01 / math.sqrt(3)),
        ("1.2 mA", "1.200(98) mA", 0.01),
        ("point:", "reset-current: 0.300(98) mA\npoint:", 0.01),
        ("supply: 3.3 V", "supply: 3.300(33) V", 0.01),
        ("unit: A}", "unit: mV, shunt: 10.0(1) ohm}", 0.01 * READ),
    ],
)
def test_each_statement_alone_enters_a_plan_by_hand(
    tmp_path: Path, old: str, new: str, relative: float
) -> None:
    """JCGM 100:2008, 4.3.7 and 5.1: a limit is over sqrt(3); each to first order of V I t."""
    plain = session(tmp_path, text=PLAIN)
    assert expected(plain, truth_of(plain, None), "hash", 20e3, 20).type_b == 0
    notes = session(tmp_path, (old, new), text=PLAIN)
    found = expected(notes, truth_of(notes, None), "hash", 20e3, 20)
    assert found.type_b == pytest.approx(relative, rel=1e-9)
    assert found.u_relative == pytest.approx(math.hypot(found.type_a, relative), rel=1e-12)


@pytest.mark.parametrize(
    ("scatter", "relative"),
    [
        # two edges, each anywhere within a sample of 50 us: sqrt(2/12) of it in 8.24 ms
        ("", 50e-6 / math.sqrt(6) / 8.24e-3),
        ("  jitter: 1 ms\n", math.sqrt(2) * 1e-3 / 8.24e-3),
        ("  spread: 10 %\n", 0.1 * math.sqrt(2)),
        # 164.8 samples of a run share their noise
        ("  noise: 9.8 mA\n", 1 / math.sqrt(164.8)),
    ],
)
def test_what_scatters_from_run_to_run_goes_by_the_root_of_their_number(
    tmp_path: Path, scatter: str, relative: float
) -> None:
    notes = session(tmp_path, ("  rate: 20 kHz\n", f"  rate: 20 kHz\n{scatter}"), text=PLAIN)
    truth = truth_of(notes, None)
    edges = 50e-6 / math.sqrt(6) / 8.24e-3
    whole = math.hypot(relative, edges) if scatter else edges
    for runs in (1, 20):
        found = expected(notes, truth, "hash", 20e3, runs)
        assert found.type_a == pytest.approx(whole / math.sqrt(runs), rel=1e-9)


def test_an_overhead_of_its_own_trace_cancels_the_offset_and_adds_nothing_read(
    tmp_path: Path,
) -> None:
    changes = (("board-overhead: 1.2 mA", TRACED), (METER, f"{METER}, gain: 1 %, offset: 98 µA"))
    notes = session(tmp_path, *changes, text=PLAIN)
    found = expected(notes, truth_of(notes, None), "hash", 20e3, 20)
    assert found.type_b == pytest.approx(0.01 / math.sqrt(3), rel=1e-9)


def test_a_plan_is_for_the_kernel_and_not_for_a_wake_before_it(tmp_path: Path) -> None:
    """A sleep state may bear a kernel's name."""
    name = "hash"
    wake = ("segments:\n", "segments:\n  - {" + f"wake: {name}, runs: 30}}\n")
    given = ("  states:", "  wakes: " + f"{{{name}: {{time: 300 us, current: 2 mA}}}}\n  states:")
    notes, plain = session(tmp_path, wake, given, text=PLAIN), session(tmp_path, text=PLAIN)
    for name in ("hash", "filter"):
        found = expected(notes, truth_of(notes, None), name, 20e3, 20)
        assert found == expected(plain, truth_of(plain, None), name, 20e3, 20)


def test_the_board_s_trace_is_its_overhead_with_the_meter_s_noise(tmp_path: Path) -> None:
    """20,000 samples of 100 uA of noise: the deviation is known to 0.5 %, the mean to 0.7 uA."""
    notes = session(tmp_path, ("board-overhead: 1.200(2) mA", TRACED))
    _, errors, _, (board,) = trace_of(notes, 3)
    assert errors.overhead == OVERHEAD_A
    read = OVERHEAD_A * (1 + errors.gain) + errors.offset
    assert board.i.mean() == pytest.approx(read, abs=4e-6)
    assert board.i.std() == pytest.approx(100e-6, rel=0.02)
    # whole samples before and after the stretch that the notes name
    assert board.t[0] < 0
    assert board.t[-1] > 1
    np.testing.assert_allclose(np.diff(board.t), 50e-6, rtol=1e-4)


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        # 33 ms of work and 0.7 s of states
        ("rate: 20 kHz", "rate: 100 MHz", "rehearsal.rate"),
        # twenty runs of twenty units, seven seconds each
        ("hash: {time: 0.412 ms", "hash: {time: 7 s", "rehearsal.rate"),
        # as short, but half an hour later
        ("from: 2.6 s, to: 2.8 s", "from: 3000 s, to: 3000.2 s", "segments"),
        ("jitter: 5 us", "jitter: 0.51 ms", "rehearsal.jitter"),
    ],
)
def test_more_samples_than_anyone_wants_and_edges_that_meet_are_refused(
    tmp_path: Path, old: str, new: str, key: str
) -> None:
    notes = session(tmp_path, (old, new))
    with pytest.raises(FaultError) as error:
        next(rehearsed(notes, truth_of(notes, None), QUIET, np.random.default_rng(1)))
    (fault,) = error.value.faults
    assert fault.path == f"bench-demo:{key}"


def test_an_edge_may_jitter_by_a_tenth_of_the_pause(tmp_path: Path) -> None:
    """The pause is 5 ms where the notes say nothing."""
    notes = session(tmp_path, ("jitter: 5 us", "jitter: 0.5 ms"))
    chunks = list(rehearsed(notes, truth_of(notes, None), QUIET, np.random.default_rng(1)))
    up = np.concatenate([np.asarray(c.m) for c in chunks]) > 0.5
    assert np.count_nonzero(up[1:] & ~up[:-1]) == 40


@pytest.mark.parametrize(("stated", "at"), [("", 25.0), (", temperature: 60 degC", 60.0)])
def test_a_state_without_a_figure_is_the_part_s_at_its_temperature(
    tmp_path: Path, stated: str, at: float
) -> None:
    own = ("  states: {ram-kept: 20 µA}\n", "")
    notes = session(tmp_path, own, ("to: 2.5 s}", f"to: 2.5 s{stated}}}"))
    part = load_catalogue([catalogue_folder()]).parts["quorvane-tib"]
    curve = part.sleep_states["ram-kept"].current
    assert curve is not None
    there = [y.nominal for x, y in zip(curve.x, curve.y, strict=True) if x == at]
    assert truth_of(notes, part).states["ram-kept"] == pytest.approx(there[0], rel=1e-9)
    for known in (None, replace(part, sleep_states={})):
        with pytest.raises(FaultError) as error:
            truth_of(notes, known)
        assert "bench-demo:rehearsal.states.ram-kept" in [f.path for f in error.value.faults]


@pytest.mark.parametrize("lost", ["time", "current"])
def test_a_kernel_without_a_figure_has_no_truth(tmp_path: Path, lost: str) -> None:
    hashed = "    hash: {time: 0.412 ms, current: 9.8 mA}\n"
    notes = session(tmp_path, (hashed, ""))
    part = load_catalogue([catalogue_folder()]).parts["quorvane-tib"]
    kernel, variant = notes.in_part("hash")
    figure = part.kernels[kernel][variant]
    assert figure.time is not None
    assert figure.current is not None
    known = truth_of(notes, part).kernels["hash"]
    assert known == (figure.time.nominal, figure.current.nominal)
    gone: Any = {lost: None}
    part = replace(part, kernels={kernel: {variant: replace(figure, **gone)}})
    with pytest.raises(FaultError) as error:
        truth_of(notes, part)
    assert [f.path for f in error.value.faults] == ["bench-demo:rehearsal.kernels.hash"]


def test_a_low_pass_follows_each_piece_from_where_the_last_one_left_it(tmp_path: Path) -> None:
    """By hand: of 2 mA above the level e^-1 is left after one time constant, 1.5 of it are on."""
    meter: Any = SimpleNamespace(sample="low-pass", lag=2e-3)
    seen = _Seen(meter, 1e-3, 0.0, level=3e-3)
    first = seen.through(_Piece(0.0, 2e-3, 1e-3, True), np.array([0.0, 1e-3]))
    left = 1e-3 + 2e-3 * math.exp(-1.0)
    assert first == pytest.approx([3e-3, 1e-3 + 2e-3 * math.exp(-0.5)], rel=1e-12)
    assert seen.level == pytest.approx(left, rel=1e-12)
    second = seen.through(_Piece(2e-3, 5e-3, 5e-3, False), np.array([2e-3, 4e-3]))
    on = 5e-3 + (left - 5e-3) * math.exp(-1.0)
    assert second == pytest.approx([left, on], rel=1e-12)
    assert seen.level == pytest.approx(5e-3 + (left - 5e-3) * math.exp(-1.5), rel=1e-12)


def test_a_mean_s_sample_stands_for_the_interval_before_it(tmp_path: Path) -> None:
    """By hand, in ms and mA: 1 until 2.5, 5 until 5.2, 9 until 5.5 (no sample falls there), 1."""
    meter: Any = SimpleNamespace(sample="mean")
    seen = _Seen(meter, 1e-3, 0.0, level=1e-3)
    out = []
    for begin, end, current, at in (
        (0.0, 2.5, 1.0, [1.0, 2.0]),
        (2.5, 5.2, 5.0, [3.0, 4.0, 5.0]),
        (5.2, 5.5, 9.0, []),
        (5.5, 8.0, 1.0, [6.0, 7.0]),
    ):
        piece = _Piece(begin * 1e-3, end * 1e-3, current * 1e-3, False)
        out += (1e3 * seen.through(piece, 1e-3 * np.array(at))).tolist()
    half = 0.5 * 1.0 + 0.5 * 5.0
    mixed = 0.2 * 5.0 + 0.3 * 9.0 + 0.5 * 1.0
    assert out == pytest.approx([1.0, 1.0, half, 5.0, 5.0, mixed, 1.0], rel=1e-9)


def test_a_meter_errs_as_is_said_of_the_range_that_it_reads_in() -> None:
    """By hand: (current + board - reset) x (1 + gain) x shunt + offset, in steps of the range."""
    meter: Any = SimpleNamespace(
        ranges=[
            SimpleNamespace(to=1e-3, noise=None, resolution=None),
            SimpleNamespace(to=1.0, noise=None, resolution=1e-3),
        ]
    )
    errors = Errors(0.1, 2e-3, 1e-3, 0.5e-3, 0.2e-3, 1.5, 3.3, ranges=((0.2, -3e-3),))
    t = np.array([1.0, 2.0, 3.0])
    current = np.array([0.1e-3, 20e-3, -0.2e-3])
    made = _recorded(meter, 4, t, current, np.zeros(3), errors, 0.0, np.random.default_rng(1))
    fine = [x * 1.1 * 1.5 + 2e-3 for x in (0.4e-3, 0.1e-3)]
    # 20.3 mA x 1.2 x 1.5 - 3 mA = 33.54 mA
    assert made.i == pytest.approx([fine[0], 34e-3, fine[1]], rel=1e-12)
    assert made.t == pytest.approx([1.001, 2.002, 3.003], rel=1e-12)
    assert made.row == 4
    loud = _recorded(meter, 0, t, current, np.zeros(3), errors, 1e-3, np.random.default_rng(1))
    draw = np.random.default_rng(1).standard_normal(3)
    assert loud.i[0] - made.i[0] == pytest.approx(1e-3 * draw[0] * 1.1 * 1.5, rel=1e-9)
