"""Traces without a marker: runs are told by their current alone."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from advisor.bench.chunks import Chunk, Floats
from advisor.bench.notes import Session
from advisor.faults import FaultError
from tests.on_bench.sessions import NOTES, distilled, session


def notes_of_five_runs(folder: Path) -> Session:
    """Five runs of two units, the voltage recorded, nothing of the board's to take off."""
    text = NOTES.replace("supply: 3.300(2) V\n", "").replace(
        "origin: rehearsed", "origin: recorded"
    )
    text = text.replace("  marker: {column: m, above: 0.5}\n", "  voltage: {column: v, unit: V}\n")
    text = text.replace("board-overhead: 1.200(2) mA\n", "").partition("segments:")[0]
    return session(folder, text=text + "segments: [{kernel: hash, units: 2, runs: 5}]\n")


def trace(first: int, noise: float) -> Chunk:
    """A sample a millisecond: 100 at work in each 200, 5 mA at 2.9 V for 1 mA at 3 V."""
    k = np.arange(first, 1100, dtype=np.float64)
    t: Floats = (k - first) * 1e-3
    up = k % 200 >= 100
    scatter = 1 + noise * np.random.default_rng(1).standard_normal(len(k))
    return Chunk("t", 0, t, np.where(up, 5e-3, 1e-3) * scatter, np.where(up, 2.9, 3.0))


def test_runs_and_their_energy_are_found_by_the_current(tmp_path: Path) -> None:
    """By hand: 100 samples of 1 ms are 50 ms a unit; 2.9 V times 5 mA times that is 725 uJ."""
    found = distilled(notes_of_five_runs(tmp_path), [trace(0, 1e-3)])
    work = found.kernels["hash"]
    assert not found.by_marker
    assert work.time.value == pytest.approx(50e-3, rel=1e-9)
    assert work.charge.value == pytest.approx(250e-6, rel=1e-3)
    assert work.energy.value == pytest.approx(725e-6, rel=1e-3)
    assert found.supply.value == pytest.approx(2.9, rel=1e-9)


def test_a_trace_of_one_level_has_no_run(tmp_path: Path) -> None:
    level = trace(0, 0.0)
    flat = replace(level, i=np.full(len(level.t), 1e-3))
    with pytest.raises(FaultError, match=r"0 stretches of high current; expected 5, the runs of"):
        distilled(notes_of_five_runs(tmp_path), [flat])


@pytest.mark.parametrize("at", [0, 150, 550, 1099])
@pytest.mark.parametrize(
    ("value", "words"), [(np.nan, "no number"), (-np.inf, "no number"), (9.9e37, r"9\.9e\+37")]
)
def test_what_is_no_current_is_refused_before_it_is_looked_into(
    tmp_path: Path, at: int, value: float, words: str
) -> None:
    whole = trace(0, 1e-3)
    i = whole.i.copy()
    i[at] = value
    with pytest.raises(FaultError, match=f"current: read {words} in row {at + 1};"):
        distilled(notes_of_five_runs(tmp_path), [replace(whole, i=i)])


@pytest.mark.parametrize("rows", [0, 1, 2])
def test_a_trace_of_hardly_a_sample_is_told_for_what_it_is(tmp_path: Path, rows: int) -> None:
    with pytest.raises(FaultError, match=f"read {rows} samples; expected at least three"):
        distilled(notes_of_five_runs(tmp_path), [trace(0, 1e-3).piece(slice(0, rows))])


def test_a_trace_that_begins_at_work_has_one_stretch_too_many(tmp_path: Path) -> None:
    """It begins in the middle of a run; a sixth is no run of the notes."""
    with pytest.raises(FaultError, match="6 stretches of high current, the first at 0"):
        distilled(notes_of_five_runs(tmp_path), [trace(-50, 0.0)])
