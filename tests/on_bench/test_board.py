"""What a board takes besides its chip: zero readings and their drift, by hand."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from advisor.bench.chunks import Chunk, Floats
from advisor.faults import FaultError
from tests.on_bench.sessions import NOTES, distilled, session

ZERO = ("point:", "zero: [{from: 0.1 s, to: 0.9 s}, {from: 9.1 s, to: 9.9 s}]\npoint:")
HEAD = NOTES.partition("segments:")[0].replace("origin: rehearsed", "origin: recorded")
TEXT = HEAD + "segments: [{state: ram-kept, from: 2 s, to: 3 s}]\n"


def _trace(past: float = 10.0) -> Chunk:
    """A sample a millisecond: nothing connected within the first and last second, 10 and 30 uA
    read; between them 2 mA."""
    t: Floats = np.arange(0.0, past, 1e-3)
    i = np.where(t < 1, 10e-6, np.where(t < 9, 2e-3, 30e-6))
    i += 1e-7 * np.random.default_rng(1).standard_normal(len(t))
    return Chunk("t", 0, t, i, None, np.zeros(len(t)))


def test_what_a_meter_reads_of_nothing_comes_off_as_of_then(tmp_path: Path) -> None:
    """At 2.5 s, a quarter of the way from 0.5 to 9.5 s, it is 10 + 20 (2/9) uA. If the drift is
    bent it may be off by half of the way to the nearer half: 20/4 uA (common practice)."""
    found = distilled(session(tmp_path, ZERO, text=TEXT), [_trace()]).states[0].current
    assert found.value == pytest.approx(2e-3 - 1.2e-3 - (10e-6 + 20e-6 * 2 / 9), rel=1e-4)
    lines = {t.source: t.u for t in found.budget}
    assert lines["drift between zero readings"] == pytest.approx(5e-6 / math.sqrt(3), rel=1e-2)


def test_a_zero_stretch_beyond_the_trace_is_refused(tmp_path: Path) -> None:
    words = r"9\.1 to 9\.9 s; expected a stretch inside its trace, 0 to 9\.499 s"
    with pytest.raises(FaultError, match=words):
        distilled(session(tmp_path, ZERO, text=TEXT), [_trace(9.5)])
