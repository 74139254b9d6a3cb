"""A meter's own file: ranges, their terms, zero readings, and what is refused of it."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from advisor.bench.clipping import Extremes, Steps
from advisor.bench.instrument import Meter, Range, quantised
from advisor.bench.notes import read_notes
from advisor.bench.rehearse import errors_of, rehearsed, truth_of
from advisor.faults import FaultError
from advisor.studies.distil import Distilled
from advisor.studies.into_part import into_part
from advisor.studies.schema import schema
from tests.on_bench.meters import AUTO, KINDS, PLAIN, Kind, session, statement
from tests.on_bench.sessions import NOTES, distilled, trace_of
from tests.on_bench.simulator import Bench

METER = """instrument: bench-seven
sample: mean
timebase: 50 ppm
ranges:
  low: {to: 100 µA, gain: 0.5 %, offset: 20 nA, resolution: 10 nA, noise: 30 nA}
  high: {to: 50 mA, gain: 0.2 %, offset: 2 µA, resolution: 1 µA, noise: 5 µA}
"""
INLINE = "instrument: {id: meter-a, gain: 0.1 %, offset: 2 µA, timebase: 50 ppm}"


def _notes(folder: Path, meter: str = METER, text: str = NOTES) -> Path:
    assert INLINE in text
    (folder / "meter.yaml").write_text(meter, "utf-8")
    path = folder / "notes.yaml"
    path.write_text(text.replace(INLINE, "instrument: {file: meter.yaml}"), "utf-8")
    return path


def test_a_meter_in_a_file_of_its_own(tmp_path: Path) -> None:
    meter = read_notes(_notes(tmp_path)).meter
    assert (meter.id, meter.sample, meter.end) == ("bench-seven", "mean", 50e-3)
    assert [r.name for r in meter.ranges] == ["low", "high"]
    assert [r.name for r in meter.touched(20e-6, 20e-6)] == ["low"]
    assert [r.name for r in meter.touched(20e-6, 3e-3)] == ["low", "high"]
    assert [r.name for r in meter.touched(95e-6, 95e-6)] == ["low", "high"]
    assert [r.name for r in meter.touched(-1.0, 1.0)] == ["low", "high"]
    assert meter.gain is None  # figures of two ranges share none


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("sample: mean\n", "sample: low-pass\n", "a low-pass without one"),
        ("sample: mean\n", "sample: mean\ntime-constant: 1 ms\n", "one without a low-pass"),
        ("to: 50 mA", "to: 100 µA", "two ranges with the same end"),
        ("instrument: bench-seven\n", "", "no such key"),
        ("noise: 5 µA", "noise: 5 µV", "noise"),
        (METER[METER.index("ranges:") :], "ranges: {}\n", "an empty mapping"),
    ],
)
def test_bad_meters_are_refused_in_their_file(
    tmp_path: Path, old: str, new: str, words: str
) -> None:
    assert old in METER
    with pytest.raises(FaultError, match=words) as error:
        read_notes(_notes(tmp_path, METER.replace(old, new)))
    assert all(f.place is not None and "meter.yaml" in f.place.file for f in error.value.faults)


def test_a_file_and_keys_beside_it_are_refused(tmp_path: Path) -> None:
    path = _notes(tmp_path)
    path.write_text(path.read_text().replace("{file: meter.yaml}", "{file: meter.yaml, id: x}"))
    with pytest.raises(FaultError, match=r"id beside meter\.yaml"):
        read_notes(path)


TRACE = NOTES[NOTES.index("trace:\n") : NOTES.index("supply:")]
EXPORT = TRACE.replace("trace:", "export:")


def test_a_meter_tells_how_it_writes_traces(tmp_path: Path) -> None:
    """The same figures as where the notes tell it; one of the two, and faults in its own file."""
    stated, told = tmp_path / "stated", tmp_path / "told"
    stated.mkdir()
    told.mkdir()
    notes = read_notes(_notes(stated))
    text = NOTES.replace(TRACE, "")
    other = read_notes(_notes(told, METER + EXPORT, text))
    assert other.notes.trace is None
    assert other.trace == notes.trace
    _, _, trace, beside = trace_of(notes, 3)
    found, also = distilled(notes, trace, beside), distilled(other, trace, beside)
    assert also.kernels["hash"].energy == found.kernels["hash"].energy
    with pytest.raises(FaultError, match="trace beside the export of bench-seven"):
        read_notes(_notes(told, METER + EXPORT))
    with pytest.raises(FaultError, match="here or as export"):
        read_notes(_notes(told, METER, text))
    twice = EXPORT.replace("column: i", "column: t")
    with pytest.raises(FaultError, match='"t" twice') as error:
        read_notes(_notes(told, METER + twice, text))
    (fault,) = error.value.faults
    assert fault.path == "bench-seven:export.current.column"
    assert fault.place is not None
    assert fault.place.file.endswith("meter.yaml")
    assert (
        fault.place.line
        == (METER + twice).splitlines().index("  current: {column: t, unit: A}") + 1
    )


def test_the_schema_takes_what_the_reader_takes() -> None:
    for text in (METER, *(statement(kind) for kind in KINDS.values())):
        Draft202012Validator(schema("instrument").document).validate(yaml.safe_load(text))


@given(st.floats(0.02, 0.6))
def test_a_saw_tooth_s_error_by_hand(noise: float) -> None:
    """The mean of rounded normal values over all places between two codes, by summing codes."""
    term = quantised("q", 1.0, noise, 1.0)
    assert quantised("q", 1.0, 0.0, 1.0).u == pytest.approx(1 / math.sqrt(12), rel=1e-9)
    from scipy.special import ndtr

    x = np.linspace(0, 1, 401)[:-1]
    codes = np.arange(-6, 8)[:, None]
    share = ndtr((codes + 0.5 - x) / noise) - ndtr((codes - 0.5 - x) / noise)
    error = (share * codes).sum(axis=0) - x
    # the grid of 400 places; below 1e-6 of a code neither counts
    assert term.u == pytest.approx(float(np.sqrt((error**2).mean())), rel=1e-3, abs=1e-6)


def test_an_offset_cancels_within_one_range_only(tmp_path: Path) -> None:
    """A sleep current of 20 µA and an overhead of 1 mA: the first in low, the board's in high."""
    text = NOTES.replace(
        "board-overhead: 1.200(2) mA", "board-overhead: {trace: board.csv, from: 0 s, to: 1 s}"
    )
    plain = METER.replace("sample: mean\n", "sample: point\n")
    wide = plain.replace("to: 100 µA", "to: 2 mA")
    for meter, said in ((plain, False), (wide, True)):
        notes = read_notes(_notes(tmp_path, meter, text))
        _, _, trace, beside = trace_of(notes, 3)
        found = distilled(notes, trace, beside)
        hash_terms = {t.source for t in found.kernels["hash"].current.budget}
        sleep_terms = {t.source for t in found.states[0].current.budget}
        assert not any(s.startswith("offset") for s in sleep_terms)  # 1.02 mA and 1 mA: one range
        crossed = {"offset of the meter, high", "offset of the meter, low, of the overhead"}
        assert (crossed <= hash_terms) == said
        assert any("cancels within one range only" in w for w in found.warnings) == said


def test_zero_readings_take_the_offset_out(tmp_path: Path) -> None:
    """An offset of 1 µA stated to 5 µA; before and after, nothing was connected for 50 ms."""
    kind = Kind((PLAIN[0].__class__(50e-3, 1e-3, 5e-6, 0.0, 1e-6),), says="sample: point")
    one = session(kind, 4, tmp_path)
    without = one.distilled().states[0].current
    quiet = np.random.default_rng(1)
    step = one.t[1] - one.t[0]
    k = np.arange(1, 1001)
    offset = float(np.median(one.i[one.t > one.bench.spans["ram-kept"][0]][:100]))
    offset -= one.bench.states["ram-kept"] + 0.4e-3
    for side in (-1, 1):
        t = (one.t[0] - step * k)[::-1] if side < 0 else one.t[-1] + step * k
        i = offset + 1e-6 * quiet.standard_normal(1000)
        order = (t, one.t) if side < 0 else (one.t, t)
        values = (i, one.i) if side < 0 else (one.i, i)
        marks = (0 * i, one.m) if side < 0 else (one.m, 0 * i)
        one.t, one.i, one.m = map(np.concatenate, (order, values, marks))
    spans = [(one.t[0] + 1e-3, one.t[0] + 45e-3), (one.t[-1] - 45e-3, one.t[-1] - 1e-3)]
    zero = ", ".join(f"{{from: {a} s, to: {b} s}}" for a, b in spans)
    one.changes.append(("point: {", f"zero: [{zero}]\npoint: {{"))
    found = one.distilled().states[0].current
    assert found.u < without.u / 3
    assert not any(t.source.startswith("offset") for t in found.budget)
    assert {"zero readings", "drift between zero readings"} <= {t.source for t in found.budget}
    assert abs(found.value - one.bench.states["ram-kept"]) < 3 * found.u


def test_a_current_below_zero_by_chance_is_kept(tmp_path: Path) -> None:
    """0.2 µA behind an overhead known to 0.5 µA: of 20 sessions some are below zero, none lost."""
    kind = Kind((PLAIN[0].__class__(50e-3, 0.0, 1e-6, 0.0, 1e-6),), says="sample: point")

    def sleeps(made: Bench, draw: np.random.Generator) -> None:
        device = made.device
        own = made.states["ram-kept"]
        at = len(device.currents) - 2
        device.currents[at] -= own - 0.2e-6
        made.states["ram-kept"] = 0.2e-6

    values = []
    for seed in range(20):
        one = session(kind, seed, tmp_path, change=sleeps)
        found = one.distilled()
        values.append(found.states[0].current.value)
        told = found.states[0].current.value > found.states[0].current.expanded
        assert told != any("not told from zero" in w for w in found.warnings)
    assert min(values) < 0 < max(values)
    # the offsets are even on ± 1 µA, the overheads' sigma is 0.1 µA: mean known to 0.13 µA
    assert np.mean(values) == pytest.approx(0.2e-6, abs=3 * 0.6e-6 / math.sqrt(20))
    seed = int(np.argmin(values))
    one = session(kind, seed, tmp_path, change=sleeps)
    found = one.distilled()
    notes = read_notes(tmp_path / "notes.yaml")
    done = Distilled(
        session=notes, traces=(), figures=found, invented=False, versions={}, warnings=()
    )
    text = into_part(done, None, "drawn-part.yaml")
    current = found.states[0].current
    entry = re.search(r"current: ([0-9.]+)\((\d+)\) nA", text[text.index("sleep-states") :])
    assert entry is not None
    assert float(entry[1]) == pytest.approx((current.value + current.expanded) / 2e-9, rel=0.05)


def test_rehearsals_are_of_the_meter_that_the_notes_name(tmp_path: Path) -> None:
    """Codes, ranges and means of a made-up trace are those of its file."""
    notes = read_notes(_notes(tmp_path, text=NOTES.replace("  noise: 100 µA\n", "")))
    draw = np.random.default_rng(2)
    errors = errors_of(notes, draw)
    assert len(errors.ranges) == 1
    trace = list(rehearsed(notes, truth_of(notes, None), errors, draw))
    i = np.concatenate([c.i for c in trace])
    high = i[np.abs(i) > 120e-6]
    np.testing.assert_allclose(high / 1e-6, np.round(high / 1e-6), atol=1e-6)
    found = distilled(notes, trace)
    assert found.kernels["hash"].current.value == pytest.approx(9.8e-3, rel=0.02)


@pytest.mark.parametrize("sigma", [0.7, 1.5, 4.0])
@pytest.mark.parametrize("seed", range(4))
def test_bells_are_no_clipping_and_cut_bells_are(sigma: float, seed: int) -> None:
    """Codes of normal noise, and the same cut off at a standard deviation above its middle."""
    draw = np.random.default_rng(seed)
    i = np.round(1000.3 + sigma * draw.standard_normal(20_000))
    for values, clips in ((i, False), (np.minimum(i, round(1000.3 + 0.3 * sigma)), sigma > 1)):
        top = Extremes(1)
        for piece in np.array_split(values, 7):
            top.take(float(piece.max()), piece)
        assert top.clips(0.3) == clips
        assert top.counts[0] == np.count_nonzero(values == values.max())


def test_steps_are_those_of_the_codes() -> None:
    draw = np.random.default_rng(1)
    steps = Steps()
    steps.take(np.round(10e-3 / 2.44e-6 + 3 * draw.standard_normal(500)) * 2.44e-6)
    steps.take(20e-6 + 1e-6 * draw.standard_normal(500))
    assert steps.at(10e-3) == pytest.approx(2.44e-6, rel=1e-6)
    assert steps.at(20e-6) == 0.0


def test_an_auto_ranged_trace_is_not_taken_for_clipped(tmp_path: Path) -> None:
    """A coarse range whose noise is below its code repeats its highest code; it is no end."""
    coarse = (AUTO[0], AUTO[1].__class__(100e-3, 1e-3, 5e-6, 100e-6, 5e-6))
    for seed in range(4):
        one = session(Kind(coarse), seed, tmp_path)
        found = one.distilled()
        assert found.kernels["hash"].current.value > 0


def test_an_only_range_is_endless() -> None:
    meter = Meter(None, None, (Range("only", math.inf),))
    assert meter.touched(-5.0, 5.0) == meter.ranges
    assert meter.offsets(meter.ranges, 1.0).u == 0
