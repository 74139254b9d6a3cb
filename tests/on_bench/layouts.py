"""Made-up samples, and how exports spell them; for the tests of exports."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np

from advisor.studies.distil import Distilled

RATE = 2000
N = 6000
K = np.arange(N)
LENGTHS = (190, 184, 187, 181, 189, 182, 186, 183)  # of pulses, in samples
PHASE = K % 400 - 200
PIN = ((PHASE >= 0) & (np.resize(LENGTHS, 400)[K // 400] > PHASE) & (K < 3200)).astype(int)
NOISE = np.random.default_rng(7).normal(0, 0.05, N)
AMPS = np.round(np.where(PIN, 9.8, np.where(K < 3600, 3.1, 1.25)) + NOISE, 4)  # mA
NOTES = """part: bench-demo
origin: recorded
date: 2026-03-01
trace:
  time: {time}
  current: {current}
  marker: {marker}
{more}supply: 3.300(2) V
instrument: {{id: meter-a, gain: 0.1 %, offset: 2 µA, timebase: 50 ppm}}
point: {{name: fast}}
segments:
  - {{kernel: hash, units: 20, runs: 4}}
  - {{kernel: filter, units: 40, runs: 4}}
  - {{state: ram-kept, from: 1.90025 s, to: 2.90025 s}}
"""
START = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)


def notes_of(
    folder: Path,
    *more: str,
    time: str = "{column: t, unit: s}",
    current: str = "{column: i, unit: mA}",
    marker: str = "{column: m, above: 0.5}",
) -> Path:
    path = folder / "notes.yaml"
    lines = "".join(f"  {line}\n" for line in more)
    path.write_text(NOTES.format(time=time, current=current, marker=marker, more=lines), "utf-8")
    return path


def values(found: Distilled) -> list[float]:
    """Every figure and the lines of its budget."""
    out = []
    for _, _, _, result in found.results():
        out += [result.value, result.u, result.k95, *(t.u for t in result.budget)]
    return out + [x for s in found.figures.stretches for x in (s.start_s, s.end_s)]


def rows(text: Callable[[int, float, int], str]) -> str:
    return "".join(text(int(k), float(i), int(m)) for k, i, m in zip(K, AMPS, PIN, strict=True))


def comma(value: float) -> str:
    return f"{value}".replace(".", ",")


def parted(value: float, by: str, mark: str) -> str:
    return f"{value:,.4f}".replace(",", "x").replace(".", mark).replace("x", by)


def iso(k: int, zone: timezone = UTC) -> str:
    return (START + timedelta(microseconds=k * 1_000_000 // RATE)).astimezone(zone).isoformat()


def batched(k: int) -> str:
    """One stamp for 50 samples, that of the last, up to 4 ms late."""
    batch = k // 50
    return f"{(batch * 50 + 49) / RATE + 0.004 * ((batch * 7) % 5) / 4:.6f}"


BODY = rows(lambda k, i, m: f"{k / RATE},{i},{m}\n")
PLACED = {
    "time": "{place: 1, unit: ms}",
    "current": "{place: 2, unit: mA}",
    "marker": "{place: 4, above: 0.5}",
}
