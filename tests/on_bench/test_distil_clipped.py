"""Samples that pile up at a trace's top: an end of range, or codes wider than the noise."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from advisor.bench.chunks import Chunk, Floats
from advisor.faults import FaultError
from tests.on_bench.sessions import NOTES, distilled, session

HEAD = NOTES.partition("segments:")[0].replace("origin: rehearsed", "origin: recorded")
TEXT = HEAD + "segments: [{state: ram-kept, from: 2 s, to: 3 s}]\n"
INLINE = "instrument: {id: meter-a, gain: 0.1 %, offset: 2 µA, timebase: 50 ppm}"


def _steps() -> Chunk:
    """Codes of 100 uA: 2 mA, then ramps up to 4 mA, where it stands for a while each time."""
    t: Floats = np.arange(0.0, 10.0, 1e-3)
    ramp = np.minimum(2e-3 + 4e-3 * (t % 1.0), 4e-3)
    i = np.where(t < 5, 2e-3, ramp) + np.random.default_rng(1).normal(0.0, 10e-6, len(t))
    return Chunk("t", 0, t, np.round(i / 100e-6) * 100e-6, None, np.zeros(len(t)))


def test_a_pile_of_coarse_codes_is_no_end_of_a_range_that_goes_further(tmp_path: Path) -> None:
    """A level within a tenth of a code reads as that code; the range tells that it may be read."""
    with pytest.raises(FaultError, match=r"samples that stand at 4\.00 mA, clipped at the top"):
        distilled(session(tmp_path, text=TEXT), [_steps()])
    meter = "instrument: coarse\nranges:\n  all: {{to: {to}, resolution: 100 µA}}\n"
    for to, clipped in (("100 mA", False), ("4.05 mA", True)):
        (tmp_path / "meter.yaml").write_text(meter.format(to=to))
        notes = session(tmp_path, (INLINE, "instrument: {file: meter.yaml}"), text=TEXT)
        if clipped:
            with pytest.raises(FaultError, match="clipped"):
                distilled(notes, [_steps()])
        else:
            (state,) = distilled(notes, [_steps()]).states
            assert state.current.value == pytest.approx(0.8e-3, rel=1e-6)
