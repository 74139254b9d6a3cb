"""The lines of distilled budgets by hand, from a trace without noise."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from advisor.bench.chunks import Chunk
from advisor.faults import FaultError
from tests.on_bench.sessions import distilled, session

Floats = NDArray[np.float64]

HAND = """part: bench-demo
origin: recorded
trace:
  time: {column: t, unit: s}
  current: {column: i, unit: A}
  marker: {column: m, above: 0.5}
supply: 3.300(2) V
instrument: {id: meter-a, gain: 0.1 %, offset: 2 µA, timebase: 50 ppm}
board-overhead: 1.200(3) mA
point: {name: fast, clock: 120 MHz}
segments: [{kernel: hash, units: 2, runs: 5}]
"""


def pulses(lengths: list[int], volts: list[float] | None = None) -> Chunk:
    """Pulses of 6.2 mA of so many samples of 1 ms, 1.2 mA and 3.3 V between them.

    `volts` while each is at work; None for no column of voltage.
    """
    m = np.concatenate([*(np.repeat([0.0, 1.0], [100, n]) for n in lengths), np.zeros(100)])
    at: Floats = np.full(len(m), 3.3)
    for n, (start, length) in enumerate(zip(np.flatnonzero(np.diff(m) > 0), lengths, strict=True)):
        at[start + 1 : start + 1 + length] = 3.3 if volts is None else volts[n]
    t: Floats = np.arange(len(m), dtype=np.float64) * 1e-3
    i: Floats = np.asarray(1.2e-3 + 5e-3 * m, dtype=np.float64)
    mark: Floats = np.asarray(m, dtype=np.float64)
    return Chunk("t", 0, t, i, None if volts is None else at, mark)


def test_every_line_of_the_budgets_by_hand(tmp_path: Path) -> None:
    """Runs of 100 samples, all alike: 0.1 s for two units, 5 mA above the board's 1.2 mA.

    JCGM 100:2008, 4.3.7: limits over the root of three. Each edge lies evenly within a step of
    1 ms, u = 1/sqrt(12) ms; two of them, over two units of work, 1/sqrt(6)/2 ms.
    """
    work = distilled(session(tmp_path, text=HAND), [pulses([100] * 5)]).kernels["hash"]
    root = np.sqrt(3)
    edge = 1e-3 / np.sqrt(6) / 2
    expected = {
        "time": (0.05, {"edges between samples": edge, "clock of the meter": 50e-6 * 0.05 / root}),
        "current": (
            5e-3,
            {
                "gain of the meter": 0.001 * 6.2e-3 / root,  # of all that it read
                "offset of the meter": 2e-6 / root,
                "board overhead": 3e-6,
            },
        ),
        "charge": (
            250e-6,
            {
                "gain of the meter": 0.001 * 6.2e-3 * 0.05 / root,
                "offset of the meter": 2e-6 * 0.05 / root,
                "board overhead": 3e-6 * 0.05,
                "clock of the meter": 50e-6 * 250e-6 / root,
                "edges between samples": edge * 5e-3,
            },
        ),
    }
    charge = expected["charge"][1]
    energy = {k: 3.3 * u for k, u in charge.items()} | {"supply voltage": 0.002 * 250e-6}
    expected["energy"] = (3.3 * 250e-6, energy)
    for name, (value, lines) in expected.items():
        found = getattr(work, name)
        assert found.value == pytest.approx(value, rel=1e-9), name
        # the runs are alike but for the last digits of their times
        told = {t.source: t.u for t in found.budget if t.u > 1e-9 * value}
        assert told == pytest.approx(lines, rel=1e-6), name
        assert found.u == pytest.approx(np.sqrt(sum(u * u for u in lines.values())), rel=1e-6)


def test_runs_of_hardly_any_samples_are_refused(tmp_path: Path) -> None:
    """Two samples of 1 ms are no run; four are."""
    notes = session(tmp_path, text=HAND)
    words = "hash: a run of 2.* ms between samples of 1.* ms; expected more units of work in a run"
    with pytest.raises(FaultError, match=words):
        distilled(notes, [pulses([100, 2, 100, 100, 100])])
    assert distilled(notes, [pulses([100, 4, 100, 100, 100])]).kernels


def test_edges_are_a_line_of_their_own_only_where_the_runs_hide_them(tmp_path: Path) -> None:
    """Two units: the deviation of the runs against 1/sqrt(6)/2 = 0.204 ms."""
    for lengths, there in (
        ([100, 100, 100, 100, 101], True),  # s of one unit 0.447/2 = 0.224 ms: told by the scatter
        ([100, 100, 100, 100, 100], False),
    ):
        work = distilled(session(tmp_path, text=HAND), [pulses(lengths)]).kernels["hash"]
        sources = {t.source for t in work.time.budget if t.u > 1e-9}
        assert ("edges between samples" in sources) is not there
        spread = np.std(np.array(lengths) * 0.5e-3, ddof=1)
        if there:
            (repeat,) = [t for t in work.time.budget if t.source == "repeats"]
            assert repeat.u == pytest.approx(spread / np.sqrt(5), rel=1e-9)
            assert repeat.dof == 4


def test_the_board_s_overhead_takes_energy_at_the_run_s_own_voltage(tmp_path: Path) -> None:
    """5 of 6.2 mA are the chip's, at 2.9 V in one kernel and 3.1 V in the other."""
    text = HAND.replace("supply: 3.300(2) V\n", "").replace(
        "  marker:", "  voltage: {column: v, unit: V, gain: 0.2 %}\n  marker:"
    )
    text = text.replace("runs: 5}]", "runs: 5}, {kernel: filter, units: 2, runs: 5}]")
    trace = pulses([100] * 10, [2.9] * 5 + [3.1] * 5)
    found = distilled(session(tmp_path, text=text), [trace])
    for kernel, volts in (("hash", 2.9), ("filter", 3.1)):
        work = found.kernels[kernel]
        assert work.charge.value == pytest.approx(5e-3 * 0.05, rel=1e-9)
        assert work.energy.value == pytest.approx(volts * 5e-3 * 0.05, rel=1e-9)


@pytest.mark.parametrize(("samples", "enough"), [(1, False), (2, False), (4, True)])
def test_a_run_of_fewer_than_three_samples_tells_nothing(
    tmp_path: Path, samples: int, enough: bool
) -> None:
    notes = session(tmp_path, text=HAND)
    if enough:
        assert distilled(notes, [pulses([samples] * 5)]).kernels["hash"].time.value > 0
        return
    with pytest.raises(FaultError, match="between samples of"):
        distilled(notes, [pulses([samples] * 5)])
