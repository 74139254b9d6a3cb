"""Notes and traces for the tests of the bench, all made up."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

import numpy as np

from advisor.bench.chunks import Chunk
from advisor.bench.distil import Figures, distil
from advisor.bench.kernels import KERNELS
from advisor.bench.notes import Session, read_notes
from advisor.bench.rehearse import Errors, Truth, errors_of, overhead_trace, rehearsed, truth_of
from advisor.catalogue.load import load_catalogue
from advisor.catalogue.shipped import catalogue_folder
from advisor.studies.kernels import exported
from advisor.studies.rehearse import rehearse

NOTES = """part: bench-demo
origin: rehearsed
trace:
  time: {column: t, unit: s}
  current: {column: i, unit: A}
  marker: {column: m, above: 0.5}
supply: 3.300(2) V
instrument: {id: meter-a, gain: 0.1 %, offset: 2 µA, timebase: 50 ppm}
board-overhead: 1.200(2) mA
point: {name: fast, clock: 120 MHz}
segments:
  - {kernel: hash, units: 20, runs: 20}
  - {kernel: filter, units: 40, runs: 20}
  - {state: ram-kept, from: 2.0 s, to: 2.5 s}
  - {state: idle, from: 2.6 s, to: 2.8 s}
rehearsal:
  rate: 20 kHz
  noise: 100 µA
  spread: 0.5 %
  jitter: 5 us
  idle: 3.1 mA
  kernels:
    hash: {time: 0.412 ms, current: 9.8 mA}
    filter: {time: 0.2 ms, current: 8.1 mA}
  states: {ram-kept: 20 µA}
"""
QUIET = Errors(0.0, 0.0, 0.0, 1.2e-3, 0.0, 1.0, 3.3)


def pack_session(folder: Path) -> None:
    """The pack's notes, a log in which all is right, and a rehearsed trace, in a folder."""
    text = exported()["notes.yaml"].decode()
    (folder / "notes.yaml").write_text(text, "utf-8")
    units = dict(re.findall(r"kernel: ([a-z]+), units: (\d+)", text))
    assert list(units) == list(KERNELS)
    lines = [
        f"kernel={k} run={n} units={units[k]} ticks=9 check=right\n"
        for k in KERNELS
        for n in range(1, 21)
    ]
    (folder / "run.txt").write_text("".join(lines) + "end check=right\n")
    found = rehearse(folder / "notes.yaml", load_catalogue([catalogue_folder()]))
    for path, data in found.write(folder / "trace.csv").items():
        path.write_bytes(data)


def session(folder: Path, *changes: tuple[str, str], text: str = NOTES) -> Session:
    """Notes with texts replaced, read from a file."""
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    path = folder / "notes.yaml"
    path.write_text(text, "utf-8")
    return read_notes(path)


def trace_of(notes: Session, seed: int) -> tuple[Truth, Errors, list[Chunk], list[Chunk]]:
    """(truth, the meter's errors, the trace, the overhead's trace) of a rehearsal."""
    draw = np.random.default_rng(seed)
    truth = truth_of(notes, None)
    errors = errors_of(notes, draw)
    trace = list(rehearsed(notes, truth, errors, draw))
    traced = type(notes.notes.board_overhead).__name__ == "OverheadTrace"
    return truth, errors, trace, list(overhead_trace(notes, errors, draw)) if traced else []


def distilled(notes: Session, trace: Iterable[Chunk], beside: Iterable[Chunk] = ()) -> Figures:
    """The figures of samples that are at hand."""
    kept, board = list(trace), list(beside)
    return distil(notes, lambda: iter(kept), lambda: iter(board))


def changed(trace: list[Chunk], change: Callable[[Chunk], Chunk]) -> Iterator[Chunk]:
    """The trace as one chunk, changed."""
    whole = Chunk(
        "trace",
        0,
        np.concatenate([c.t for c in trace]),
        np.concatenate([c.i for c in trace]),
        None,
        np.concatenate([np.asarray(c.m) for c in trace]),
    )
    yield change(whole)
