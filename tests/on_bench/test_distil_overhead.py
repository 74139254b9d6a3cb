"""Overheads, own shapes of errors, engines and short stretches in figures from rehearsed traces."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from advisor.bench.chunks import Chunk
from advisor.bench.notes import key_of
from advisor.faults import FaultError
from tests.on_bench.sessions import distilled, session, trace_of

pytestmark = pytest.mark.once

Floats = NDArray[np.float64]
TRACED = "board-overhead: {trace: board.csv, from: 0 s, to: 1 s}"


def test_the_overhead_of_a_trace_is_taken_off_with_its_own_scatter(tmp_path: Path) -> None:
    """White noise about 1 mA: u is the experimental standard deviation of the means of its 20
    blocks over sqrt(20) (JCGM 100:2008, 4.2.3), and the mean theirs."""
    notes = session(tmp_path, ("board-overhead: 1.200(2) mA", TRACED))
    _, errors, trace, _ = trace_of(notes, 9)
    t: Floats = np.arange(-0.01, 1.01, 5e-5) + 2.5e-5
    i = 1e-3 + np.random.default_rng(12).normal(0.0, 2e-4, len(t))
    blocks = i[(t > 0) & (t < 1)].reshape(20, -1).mean(axis=1)
    assert errors.overhead == 1e-3
    found = distilled(notes, trace, [Chunk("board", 0, t, i)])
    stated = distilled(session(tmp_path, ("1.200(2) mA", "1 mA")), trace)
    for name, work in found.kernels.items():
        off = blocks.mean() - 1e-3
        there = stated.kernels[name].current.value
        assert work.current.value == pytest.approx(there - off, rel=1e-4)
        lines = {term.source: term for term in work.current.budget}
        u = blocks.std(ddof=1) / np.sqrt(20)
        assert lines["board overhead"].u == pytest.approx(u, rel=2e-2)
        assert lines["board overhead"].dof == 19
        # the meter's offset is in both traces: their difference has none of it
        assert "offset of the meter" not in lines


@pytest.mark.parametrize(
    ("kept", "words"),
    [
        (lambda t: t > 0.1, r"0 to 1 s.*a stretch inside its trace, 0\.1000"),
        (lambda t: t < 0.9, r"0 to 1 s.*a stretch inside its trace, -0\.01"),
        (lambda t: (t < 0.4) | (t > 0.6), r"overhead: a drop-out of 200.* ms at 0\.4 s"),
    ],
)
def test_an_overhead_trace_must_hold_its_stretch(
    tmp_path: Path, kept: Callable[[Floats], NDArray[np.bool_]], words: str
) -> None:
    notes = session(tmp_path, ("board-overhead: 1.200(2) mA", TRACED))
    _, _, trace, _ = trace_of(notes, 9)
    t: Floats = np.arange(-0.01, 1.01, 5e-5)
    t = t[kept(t)]
    noise = np.random.default_rng(1).normal(0, 1e-6, len(t))
    with pytest.raises(FaultError) as error:
        distilled(notes, trace, [Chunk("board", 0, t, 1.2e-3 + noise)])
    (fault,) = error.value.faults
    assert re.search(words, fault.text(), re.DOTALL)


def test_a_state_below_the_board_s_own_current_is_refused(tmp_path: Path) -> None:
    """20 uA asleep, of a board said to draw 100 uA more than it does."""
    notes = session(tmp_path, ("1.200(2) mA", "1.300(2) mA"))
    _, _, trace, _ = trace_of(session(tmp_path), 9)
    with pytest.raises(FaultError, match=r"ram-kept: -7\d.* uA left|ram-kept: .7\d.*left"):
        distilled(notes, trace)


def test_limits_and_deviations_have_their_own_shape(tmp_path: Path) -> None:
    """Limits without a coverage factor are rectangular, a deviation normal (JCGM 100, 4.3)."""
    for text, shape, u in (
        ("1.200(2) mA", "normal", 2e-6),
        ("1.200 mA ± 0.002 mA", "rectangular", 2e-6 / np.sqrt(3)),
    ):
        notes = session(tmp_path, ("1.200(2) mA", text))
        _, _, trace, _ = trace_of(session(tmp_path), 9)
        found = distilled(notes, trace)
        for result in (found.kernels["hash"].current, *(s.current for s in found.states)):
            (term,) = [t for t in result.budget if t.source == "board overhead"]
            assert term.shape == shape
            assert term.u == pytest.approx(u, rel=1e-9)


def test_work_of_an_engine_is_an_entry_of_its_own_in_the_part(tmp_path: Path) -> None:
    notes = session(tmp_path, ("kernel: filter,", "kernel: hash, engine: sha,"))
    assert [key_of(s) for s in notes.pulses] == ["hash", "hash+sha"]
    assert notes.in_part("hash") == ("hash", "fast")
    assert notes.in_part("hash+sha") == ("hash", "fast+sha")


@pytest.mark.parametrize(("length", "few"), [("1.9 ms", True), ("2.1 ms", False)])
def test_a_stretch_has_two_samples_for_each_of_its_pieces(
    tmp_path: Path, length: str, few: bool
) -> None:
    """Twenty pieces at 20 kHz: 40 samples take 2 ms."""
    end = f"to: {2000 + float(length.split()[0])} ms"
    notes = session(tmp_path, ("to: 2.5 s", end))
    _, _, trace, _ = trace_of(session(tmp_path), 3)
    try:
        distilled(notes, trace)
        told = ""
    except FaultError as error:
        told = str(error)
    assert ("ram-kept: fewer than 40 samples" in told) is few


@pytest.mark.parametrize("drift", [0.0, 200e-6])
def test_an_overhead_that_does_not_stand_still_is_refused(tmp_path: Path, drift: float) -> None:
    """1.2 mA that drift by a sixth within the second, far beyond what its scatter makes of it."""
    notes = session(tmp_path, ("board-overhead: 1.200(2) mA", TRACED))
    _, _, trace, (board,) = trace_of(notes, 9)
    drifting = replace(board, i=board.i + drift * board.t)
    if not drift:
        assert distilled(notes, trace, [drifting]).kernels
        return
    with pytest.raises(FaultError, match=r"board-overhead.*a stretch that drifts by") as error:
        distilled(notes, trace, [drifting])
    (fault,) = error.value.faults
    assert fault.expected == "one that stands still"
