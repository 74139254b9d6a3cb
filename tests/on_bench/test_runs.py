"""Runs with something else in them."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from advisor.bench import runs
from advisor.bench.budget import combined, student
from advisor.faults import FaultError
from tests.on_bench.sessions import changed, distilled, session, trace_of
from tests.on_bench.test_budget_lines import HAND, pulses


def test_one_sample_of_an_overload_inside_a_run_is_refused_with_its_time(tmp_path: Path) -> None:
    """Of 20 runs, the middle sample of the fifth reads 1 A, which makes 17 mA of its 11."""
    notes = session(tmp_path)
    _, _, trace, _ = trace_of(notes, 9)
    (whole,) = changed(trace, lambda c: c)
    m = np.asarray(whole.m)
    at = int(np.flatnonzero((m[:-1] == 0) & (m[1:] == 1))[4]) + 80
    i = whole.i.copy()
    i[at] = 1.0
    words = rf"hash: a sample of 1\.\d* A at {whole.t[at]:.6g} s in a run of 17\.\d mA"
    with pytest.raises(FaultError, match=words):
        distilled(notes, [replace(whole, i=i)])
    assert distilled(notes, [whole]).kernels


def test_a_state_s_figure_that_is_no_number_is_a_fault_that_names_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    notes = session(tmp_path)
    _, _, trace, _ = trace_of(notes, 9)
    monkeypatch.setattr(runs, "of_state", lambda *_: combined(math.inf, []))
    with pytest.raises(FaultError, match="ram-kept: voltage that overflows") as error:
        distilled(notes, trace)
    assert {fault.path for fault in error.value.faults} == {"bench-demo:segments"}


@pytest.mark.parametrize("count", [2, 5])
def test_what_is_sure_of_runs_is_so_by_one_less_than_there_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, count: int
) -> None:
    """Of n repeats n - 1 are free (JCGM 100:2008, G.3.3); refusals are sure to a thousandth."""
    asked: list[tuple[float, float]] = []

    def told(dof: float, coverage: float = 0.95) -> float:
        asked.append((dof, coverage))
        return student(dof, coverage)

    monkeypatch.setattr(runs, "student", told)
    text = HAND.replace("runs: 5", f"runs: {count}")
    assert distilled(session(tmp_path, text=text), [pulses([100] * count)]).kernels
    assert set(asked) == {(count - 1, 0.999)}
