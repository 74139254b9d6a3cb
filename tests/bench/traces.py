"""Distilling a trace against the reader's own work on the same file."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl

from advisor.bench.chunks import Columns
from advisor.bench.distil import distil
from advisor.bench.notes import Session, read_notes
from advisor.bench.trace import samples
from tests.bench.processes import RUN, peak_memory
from tests.bench.registry import Row, Scale, benchmark, middle, timed, turn_about

PULSE = 50_001  # samples of a run and of a pause
SMALLER = 4  # the memory of a file this many times smaller is told beside

NOTES = """part: drawn
origin: recorded
trace:
  time: {{column: t, unit: s}}
  current: {{column: i, unit: mA}}
  marker: {{column: m, above: 0.5}}
supply: 3.300(2) V
instrument: {{id: meter-a, gain: 0.1 %, offset: 2 µA, timebase: 50 ppm}}
point: {{name: fast}}
segments:
  - {{kernel: hash, units: 20, runs: {runs}}}
"""


def write_trace(path: Path, rows: int) -> int:
    """A text trace of so many rows, some 24 bytes each, with as many runs as it returns."""
    draw = np.random.default_rng(1)
    pulse = min(PULSE, max(rows // 9, 20))
    runs = (rows - 1) // (2 * pulse)
    with open(path, "wb") as file:
        file.write(b"t,i,m\n")
        for at in range(0, rows, 1 << 20):
            k = np.arange(at, min(rows, at + (1 << 20)))
            m = ((k // pulse) % 2) * (k < 2 * pulse * runs)
            i = 1.2 + 8.6 * m + draw.normal(0, 0.05, len(k))
            table = pl.DataFrame({"t": k * 1e-5, "i": i, "m": m.astype(np.int8)})
            file.write(table.write_csv(include_header=False, float_precision=7).encode())
    return runs


def _notes(folder: Path, runs: int) -> Session:
    path = folder / f"notes-{runs}.yaml"
    path.write_text(NOTES.format(runs=runs), "utf-8")
    return read_notes(path)


def _distilled(session: Session, path: Path) -> Callable[[], float]:
    columns = Columns.of(session.trace)
    return lambda: timed(lambda: distil(session, lambda: samples(path, columns)))


@benchmark("distil", "a long trace against the reader's own streamed sum and scan of the same file")
def distil_trace(scale: Scale) -> list[Row]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        text, packed, small = folder / "a.csv", folder / "a.parquet", folder / "b.csv"
        session = _notes(folder, write_trace(text, scale.samples))
        pl.scan_csv(text).sink_parquet(packed)
        few = _notes(folder, write_trace(small, scale.samples // SMALLER))

        def grouped(*columns: str) -> object:
            lazy = pl.scan_csv(text).group_by("m").agg(pl.col(*columns).sum())
            return lazy.collect(engine="streaming")

        def scanned() -> None:
            for batch in pl.scan_parquet(packed).collect_batches(engine="streaming"):
                len(batch)

        rounds = min(scale.rounds, 5)
        works = [
            _distilled(session, text),
            lambda: timed(lambda: grouped("t", "i")),
            lambda: timed(lambda: grouped("i")),
        ]
        ours, theirs, least = turn_about(rounds, works)
        mine, bare = turn_about(rounds, [_distilled(session, packed), lambda: timed(scanned)])

        def peak(notes: Session, trace: Path) -> float:
            command = [*RUN, "distil", str(trace), "--bench", notes.document.file, "-q"]
            return peak_memory(command, folder, {})

        return [
            Row(
                f"a text trace of {text.stat().st_size / 1e9:.2f} GB",
                middle(ours),
                "the reader's streamed grouped sum of its columns",
                middle(theirs),
                1.5,
            ),
            # one column fewer to read than anyone who heeds the time stamps
            Row("the same", middle(ours), "of its current alone", middle(least), 1.5),
            Row("the same as Parquet", middle(mine), "the reader's bare scan", middle(bare), 2.0),
            Row("peak memory", peak(session, text), "1/500 of the bound", 1.0, 500, "MB"),
            Row(
                f"peak memory of a trace {SMALLER} times as long",
                peak(session, text),
                "the shorter one's",
                peak(few, small),
                1.6,
                "MB",
            ),
        ]
