"""Notes that contradict themselves are refused at their place, all of them at once."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.faults import FaultError
from tests.on_bench.sessions import NOTES, distilled, session, trace_of

OVERHEAD = "board-overhead: 1.200(2) mA"
STATE = "{state: ram-kept, from: 2.0 s, to: 2.5 s}"
IDLE = "{state: idle, from: 2.6 s, to: 2.8 s}"
WRONG: dict[str, tuple[tuple[str, str], str, str]] = {
    "an overhead from its end": (
        (OVERHEAD, "board-overhead: {trace: b.csv, from: 1 s, to: 0 s}"),
        *("board-overhead", "no stretch of time"),
    ),
    "an overhead of no length": (
        (OVERHEAD, "board-overhead: {trace: b.csv, from: 1 s, to: 1 s}"),
        *("board-overhead", "no stretch of time"),
    ),
    "a second zero from its end": (
        ("point:", "zero: [{from: 0 s, to: 1 s}, {from: 3 s, to: 2 s}]\npoint:"),
        *("zero.2", "no stretch of time"),
    ),
    "blanks twice": (
        ("supply:", "  delimiter: blanks\n  thousands: blank\nsupply:"),
        *("trace.thousands", "blanks for thousands and delimiter"),
    ),
    "a state from its end": (
        (STATE, STATE.replace("to: 2.5 s", "to: 1.5 s")),
        *("segments.3", "no stretch of time"),
    ),
    "a cut from its end": (
        (STATE, STATE.replace("}", ", cut: [{from: 2.2 s, to: 2.1 s}]}")),
        *("segments.3", "a cut of no stretch of time"),
    ),
    "a warm idle current": (
        (IDLE, IDLE.replace("}", ", temperature: 25 degC}")),
        *("segments.4", "a temperature"),
    ),
    "an engine that sleeps": (
        (STATE, STATE.replace("}", ", engine: sha}")),
        *("segments.3", "engine"),
    ),
    "a kernel from a time on": (
        ("runs: 20}", "runs: 20, from: 1 s}"),
        *("segments.1", "from"),
    ),
    "a kernel of one run": (("runs: 20}", "runs: 1}"), *("segments.1", "1 run")),
    "a kernel of no units": ((", units: 20", ""), *("segments.1", "no units")),
    "nothing at all": ((STATE, "{from: 2.0 s, to: 2.5 s}"), *("segments.3", "none of them")),
    "a kernel that sleeps": (
        (STATE, STATE.replace("state: ram-kept", "state: ram-kept, kernel: crc")),
        *("segments.3", "kernel and state"),
    ),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_contradicts_itself_is_refused_at_its_place(tmp_path: Path, name: str) -> None:
    change, path, read = WRONG[name]
    with pytest.raises(FaultError) as error:
        session(tmp_path, change)
    told = {(fault.path, fault.read) for fault in error.value.faults}
    assert (f"bench-demo:{path}", read) in told
    assert len({fault.path for fault in error.value.faults}) == 1


def test_faults_of_many_places_are_told_at_once(tmp_path: Path) -> None:
    alone = [change for change, *_ in WRONG.values() if change[0] in (OVERHEAD, "point:", IDLE)]
    kept = {old: (old, new) for old, new in alone}
    with pytest.raises(FaultError) as error:
        session(tmp_path, *kept.values())
    paths = {fault.path for fault in error.value.faults}
    assert paths == {f"bench-demo:{p}" for p in ("board-overhead", "zero.2", "segments.4")}


def test_a_stretch_that_is_cut_away_whole_is_refused(tmp_path: Path) -> None:
    _, _, trace, _ = trace_of(session(tmp_path), 3)
    whole = STATE.replace("}", ", cut: [{from: 1.9 s, to: 2.6 s}]}")
    with pytest.raises(FaultError, match="ram-kept: all of it cut"):
        distilled(session(tmp_path, (STATE, whole), text=NOTES), trace)


def test_an_overhead_s_own_trace_and_zeros_in_order_are_no_fault(tmp_path: Path) -> None:
    traced = (OVERHEAD, "board-overhead: {trace: b.csv, from: 0 s, to: 1 s}")
    zeros = ("point:", "zero: [{from: 0 s, to: 1 s}, {from: 2 s, to: 3 s}]\npoint:")
    assert len(session(tmp_path, traced, zeros).notes.zero) == 2
