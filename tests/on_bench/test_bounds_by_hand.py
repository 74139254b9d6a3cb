"""Guards, clips, edges and empty cases of the bench: just inside, on and just outside them."""

from __future__ import annotations

import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from advisor.bench import chunks as chunks_module
from advisor.bench import exports, levels, plausible, rehearse, sniff
from advisor.bench.board import _there
from advisor.bench.budget import Term, combined
from advisor.bench.chunks import Cells, Chunk, Columns, Floats
from advisor.bench.distil import _sound
from advisor.bench.instrument import Meter, Range
from advisor.bench.levels import by_current, refined
from advisor.bench.outline import outline
from advisor.bench.plausible import _ticks
from advisor.bench.segments import ENOUGH, Measured, Window, _Pass
from advisor.catalogue.schema_bench import IDLE
from advisor.faults import Fault, FaultError, FaultLog
from tests.on_bench.sessions import session

pytestmark = pytest.mark.once


def some(**figures: Any) -> Any:
    return SimpleNamespace(**figures)


# Where a fault stands -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("timeless", "volts", "columns", "name", "place"),
    [
        # row 7 of a piece that begins at row 5, so row 8 or, below four lines, line 12
        (False, False, (2, 0, 3), "time", (8, 3)),
        (False, False, (2, 0, 3), "current", (8, 1)),
        (False, False, (2, 0, 3), "marker", (8, 4)),
        (False, True, (2, 0, 5, 3), "voltage", (8, 6)),
        (False, True, (2, 0, 5, 3), "marker", (8, 4)),
        (True, False, (1, 3), "current", (8, 2)),
        (True, False, (1, 3), "marker", (8, 4)),
        (True, True, (1, 4, 3), "voltage", (8, 5)),
        (True, True, (1, 4, 3), "marker", (8, 4)),
        (True, False, (1, 3), "time", (12, None)),
    ],
)
def test_a_fault_of_a_sample_stands_in_its_own_cell(
    timeless: bool, volts: bool, columns: tuple[int, ...], name: str, place: tuple[int, int | None]
) -> None:
    cells = Cells(file="a.npz", columns=columns, above=4, separator="", timeless=timeless)
    two = np.zeros(3)
    chunk = Chunk("a.npz", 5, two, two, two if volts else None, two, cells)
    (fault,) = chunk.refused(2, name, "x", "y").faults
    assert fault.place is not None
    assert fault.place.line == place[0]
    if place[1] is not None:
        assert fault.place.column == place[1]
    assert (fault.path, fault.read, fault.expected) == (name, "x", "y")


@pytest.mark.parametrize(
    ("separator", "line", "columns", "at"),
    [
        (";", "1;22;333", (0, 2), [1, 6]),
        # one that is not there would begin behind another separator
        (";", "1;22", (1, 3), [3, 6]),
        (" ", "  1   22  333", (0, 2), [3, 11]),
        (" ", "1 22", (5,), [1]),
    ],
)
def test_a_cell_of_a_text_is_counted_in_letters(
    tmp_path: Path, separator: str, line: str, columns: tuple[int, ...], at: list[int]
) -> None:
    path = tmp_path / "a.csv"
    path.write_text(f"head\n{line}\nrest\n", "utf-8")
    cells = Cells(str(path), columns, above=1, separator=separator, timeless=False)
    places = [cells.place(0, k) for k in range(len(columns))]
    assert [p.column for p in places] == at
    assert {p.line for p in places} == {2}
    # beyond the file there is nothing to count
    assert cells.place(9, 0).line == 11


def test_samples_come_in_pieces_with_their_rows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(chunks_module, "PIECE", 3)
    rate = [("time: {column: t, unit: s}", "time: {rate: 20 kHz}")]
    cells = Cells("a", (0, 1), 0, "", False)
    for changes, timed in (([], True), (rate, False)):
        columns = Columns.of(session(tmp_path, *changes).trace).time_and_current()
        t, i = np.arange(8.0) * 2, np.arange(8.0) + 50
        found = list(columns.chunks(cells, 10, [t, i] if timed else [i]))
        assert [c.row for c in found] == [10, 13, 16]
        assert np.concatenate([c.i for c in found]).tolist() == i.tolist()
        times = t if timed else np.arange(10.0, 18.0)
        assert np.concatenate([c.t for c in found]).tolist() == times.tolist()
        assert all(c.v is None and c.m is None for c in found)


# Texts --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("block", [1, 3, 1 << 16])
@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_a_byte_that_is_none_of_the_encoding_is_told_by_its_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, block: int, ends: str
) -> None:
    """81 hexadecimal is no letter of code page 1252 (its published table)."""
    monkeypatch.setattr(exports, "BLOCK", block)
    path = tmp_path / "a.csv"
    path.write_bytes(f"t;i{ends}1;\u20ac{ends}2;3{ends}".encode("cp1252") + b"4;\x81\n5;6\n")
    with pytest.raises(FaultError) as error:
        list(exports.blocks(path, "cp1252"))
    (fault,) = error.value.faults
    assert fault.place is not None
    assert (fault.place.line, fault.read) == (4, "bytes that are no cp1252")
    path.write_bytes(f"t;i{ends}1;\u20ac{ends}2;3".encode("cp1252"))
    found = list(exports.blocks(path, "cp1252"))
    assert b"".join(found) == "t;i\n1;\u20ac\n2;3".encode()
    assert all(part.endswith(b"\n") for part in found[:-1])


def test_columns_of_arrays_are_counted_from_one(tmp_path: Path) -> None:
    np.savez(tmp_path / "a.npz", **cast(Any, {"t": np.arange(9.0), "I [mA]": np.ones(9)}))
    found = sniff.sniff(tmp_path / "a.npz")
    assert [(c.name, c.place, c.unit) for c in found.columns] == [
        ("t", 1, None),
        ("I [mA]", 2, "mA"),
    ]
    assert found.keys == {}


def test_looks_further_on_are_whole_lines(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """All lines that have an end of line before and behind, and more after it, in a look."""
    monkeypatch.setattr(sniff, "HEAD", 64)
    lines = [f"{n};{n * n}" for n in range(100)]
    path = tmp_path / "a.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    data = path.read_bytes()
    head, later, tail = sniff._looks(path, "utf-8")
    assert head == lines[: len(head)]
    assert len("\n".join(head)) <= 64 < len("\n".join(lines[: len(head) + 2]))
    starts = [data.index(f"\n{line}\n".encode()) for line in lines[1:]]
    places = [int(at) // 2 * 2 for at in np.linspace(64, len(data) - 64, sniff.LOOKS)]
    for at, look in zip(places, later, strict=True):
        inside = [
            line
            for line, start in zip(lines[1:], starts, strict=True)
            if at <= start and start + len(line) + 2 < at + 64
        ]
        assert look == inside
    assert tail == lines[-len(tail) :]
    assert len("\n".join(tail)) in range(50, 65)
    # what is read at once has no looks further on
    path.write_text("1;2\n3;4\n", "utf-8")
    assert sniff._looks(path, "utf-8") == (["1;2", "3;4"], [], ["1;2", "3;4"])


# Levels and outlines ------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [1, 4, 7, 100])
def test_a_change_is_told_wherever_pieces_end(size: int) -> None:
    """From 1 to 2 between samples 9 and 10, in spans that end at, before and after a piece's."""
    t: Floats = np.arange(20, dtype=np.float64)
    i = np.where(t < 9.5, 1.0, 2.0)
    empty = Chunk("a", 0, t[:0], i[:0])
    pieces = [Chunk("a", a, t[a : a + size], i[a : a + size]) for a in range(0, 20, size)]
    spans = [(7.0, 12.0), (8.0, 13.0), (9.0, 11.0), (3.5, 16.5), (0.0, 19.0)]
    assert list(refined([empty, *pieces, empty], spans)) == [9.5] * len(spans)


def test_too_few_pieces_have_no_levels(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(levels, "changes", lambda level: [0, 4, 8])
    level = np.repeat([1.0, 5.0], 4)
    assert list(by_current(level[:7])) == []
    assert next(iter(by_current(level))) == [(4, 8)]


def test_an_outline_passes_over_pieces_without_samples() -> None:
    t: Floats = np.arange(6, dtype=np.float64)
    pieces = [Chunk("a", a, t[a:b], t[a:b] ** 2) for a, b in ((0, 2), (2, 2), (2, 6), (6, 6))]
    found = outline(pieces)
    assert found.rows == 6
    assert found.t.tolist() == [*t.tolist(), 5.0]
    assert found.low.tolist() == found.mean.tolist() == found.high.tolist() == (t**2).tolist()
    with pytest.raises(FaultError, match="no samples"):
        outline(pieces[1:2])


# What a meter made --------------------------------------------------------------------------------


def faults_of(stated: bool, end: float, code: float, **found: Any) -> list[tuple[str, str]]:
    """Path and words of what is told of a trace, in A."""
    told: list[tuple[str, str]] = []
    range_ = some() if stated else None
    of = some(
        meter=some(end=end),
        notes=some(instrument=some(range=range_)),
        fault=lambda log, path, read, expected: told.append((path, read)),
    )
    figures = {"high": 0.5, "low": 0.0, "gap": 1e-3, "clipped": None, **found}
    _sound(of, some(**figures), code, FaultLog())
    return told


@pytest.mark.parametrize(
    ("high", "low", "code", "clipped"),
    [
        # a code and a half below the range's end, 1 A, on either side
        (0.9849, 0.0, 0.01, False),
        (0.9851, 0.0, 0.01, True),
        (0.5, -0.9849, 0.01, False),
        (0.5, -0.9851, 0.01, True),
        # codes as good as none leave a billionth
        (1 - 2e-9, 0.0, 0.0, False),
        (1 - 0.5e-9, 0.0, 0.0, True),
        (1.0, 0.0, 0.0, True),
    ],
)
def test_samples_at_a_range_s_end_are_clipped(
    high: float, low: float, code: float, clipped: bool
) -> None:
    for stated, path in ((True, "instrument.range"), (False, "instrument")):
        found = faults_of(stated, 1.0, code, high=high, low=low)
        assert [p for p, _ in found] == [path] * clipped
    assert faults_of(False, math.inf, code, high=high, low=low) == []


@pytest.mark.parametrize(
    ("found", "end", "code", "refused"),
    [
        ({"clipped": "top"}, math.inf, 0.0, "at 500 mA, clipped at the top"),
        ({"clipped": "bottom", "low": -0.02}, 1.0, 0.1, "mA, clipped at the bottom"),
        # read in steps wider than its noise, in a range that goes further
        ({"clipped": "top", "gap": 5.1e-3}, 1.0, 10e-3, ""),
        ({"clipped": "top", "gap": 4.9e-3}, 1.0, 10e-3, "at 500 mA, clipped at the top"),
        ({"clipped": "top", "gap": 5.1e-3, "high": 0.979}, 1.0, 10e-3, ""),
        ({"clipped": "top", "gap": 5.1e-3, "high": 0.981}, 1.0, 10e-3, "at 981 mA, clipped"),
        ({"clipped": "top", "gap": 5.1e-3}, math.inf, 10e-3, "at 500 mA, clipped at the top"),
        ({"clipped": "bottom", "gap": 5.1e-3}, 1.0, 10e-3, "clipped at the bottom"),
        ({}, 1.0, 10e-3, ""),
    ],
)
def test_samples_that_stand_at_an_extreme_are_refused(
    found: dict[str, Any], end: float, code: float, refused: str
) -> None:
    told = faults_of(True, end, code, **found)
    assert [p for p, _ in told] == ["trace.current"] * bool(refused)
    assert all(refused in read for _, read in told)


def test_a_budget_of_nothing_and_one_without_end_are_normal() -> None:
    """The 97.5th percentile of the normal distribution is 1.96 (tables)."""
    none = combined(3.0, [Term("a", "B", 0.0, "normal")])
    assert (none.u, none.dof, none.k95, none.budget) == (0.0, math.inf, 1.96, ())
    endless = combined(3.0, [Term("a", "B", math.inf, "normal"), Term("b", "B", 0.0, "normal")])
    assert (endless.u, endless.dof, endless.k95) == (math.inf, math.inf, 1.96)
    assert endless.budget == (Term("a", "B", math.inf, "normal"),)


@pytest.mark.parametrize(
    ("ticks", "clock", "told"),
    [
        # three kernels of 1 s, 10 units of 0.1 s each at 1,000 ticks a second: room of two ticks,
        # a hundredth, and three times the uncertainty of all units, 3 x 10 x 1 ms
        (1041.0, None, 0),
        (1043.0, None, 1),
        (959.0, None, 0),
        (957.0, None, 1),
        # and 200 cycles where the clock is known: 20 ms of 10 kHz
        (1061.0, 10e3, 0),
        (1063.0, 10e3, 1),
    ],
)
def test_ticks_of_one_rate_may_differ_by_what_is_not_known(
    ticks: float, clock: float | None, told: int
) -> None:
    said: list[str] = []
    point = some(clock=None if clock is None else some(nominal=clock))
    of = some(notes=some(point=point), fault=lambda log, path, read, expected: said.append(read))
    runs, kernels = [], {}
    for name, count in (("hash", 1000.0), ("crc", 1000.0), ("cipher", ticks)):
        segment = some(kernel=name, wake=None, state=None, units=10, engine=None, cut="")
        runs.append(some(segment=segment, ticks=count))
        kernels[name] = some(time=some(value=0.1, u=1e-3))
    keyed = {id(one.segment): one.segment.kernel for one in runs}
    patch = pytest.MonkeyPatch()
    patch.setattr("advisor.bench.plausible.key_of", lambda s: keyed[id(s)])
    try:
        _ticks(of, cast(Any, some(kernels=kernels)), tuple(runs), FaultLog())
    finally:
        patch.undo()
    assert len(said) == told
    assert all("cipher" in read for read in said)


@pytest.mark.parametrize(
    ("window", "gaps", "told"),
    [
        # a trace from 0 to 10 s, a sample a millisecond: 20 blocks of two samples are 40 ms
        ((0.0, 10.0), (), []),
        ((-1e-9, 1.0), (), ["0 to 1 s"]),
        ((9.0, 10.001), (), ["9 to 10.001 s"]),
        ((1.0, 1.0401), (), []),
        ((1.0, 1.0399), (), ["fewer than 40 samples"]),
        ((1.0, 2.0), ((0.5, 0.49), (2.0, 1.0)), []),
        ((1.0, 2.0), ((0.5, 0.51),), ["gap"]),
        ((1.0, 2.0), ((1.999, 1.0),), ["gap"]),
        ((1.0, 1.03), ((1.01, 0.001),), ["fewer than 40 samples", "gap"]),
        ((9.5, 10.5), ((9.6, 0.01),), ["9.5 to 10.5 s", "gap"]),
    ],
)
def test_a_stretch_that_must_stand_still_is_whole(
    window: tuple[float, float], gaps: tuple[tuple[float, float], ...], told: list[str]
) -> None:
    said: list[str] = []
    log = FaultLog()

    def fault(log: FaultLog, path: str, read: str, expected: str) -> None:
        said.append("gap" if "drop-out" in expected else read)
        log.add(Fault(path, read, expected))

    whole = dict.fromkeys(Measured.__dataclass_fields__)
    found = Measured(
        **cast(Any, {**whole, "first": 0.0, "last": 10.0, "step": 1e-3, "gaps": list(gaps)})
    )
    log.add(Fault("before", "x", "y"))
    sound = _there(cast(Any, some(fault=fault)), "zero", Window(*window), found, log)
    assert [one.replace("-1e-09", "0") for one in said] == told
    assert sound is not bool(told)


@pytest.mark.parametrize(
    ("low", "high", "names"),
    [
        # a range up to 1 mA, one up to 10 mA, one up to 100 mA, the next from 0.9 of its end
        (0.0, 0.0, "a"),
        (0.5, 0.9, "a"),
        (0.5, 0.901, "ab"),
        (1.0, 1.0, "ab"),
        (1.001, 5.0, "b"),
        (-5.0, -1.001, "b"),
        (-5.0, -0.5, "ab"),
        (-0.1, 20.0, "abc"),
        (9.5, 9.5, "bc"),
        (150.0, 200.0, "c"),
    ],
)
def test_ranges_that_a_reading_may_have_been_taken_in(low: float, high: float, names: str) -> None:
    ranges = tuple(Range(n, to * 1e-3) for n, to in zip("abc", (1.0, 10.0, 100.0), strict=True))
    meter = Meter(id=None, timebase=None, ranges=ranges)
    found = meter.touched(low * 1e-3, high * 1e-3)
    assert "".join(r.name for r in found) == names
    assert meter.end == 0.1


@pytest.mark.parametrize("unit", [None, ("ms", 1000.0)])
def test_every_kernel_of_cycles_that_no_core_takes_is_told(
    unit: tuple[str, float] | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From 100 to 1,000 cycles a unit, and for what an engine does 100 at least."""
    monkeypatch.setattr(plausible, "bounds", lambda s: (100.0, math.inf if s == "sha" else 1000.0))
    monkeypatch.setattr(plausible, "_other_unit", lambda *_: unit)
    said: list[tuple[str, str, str]] = []
    of = some(
        notes=some(point=some(clock=some(nominal=8e6))),
        fault=lambda log, *words: said.append(words),
    )
    cycles = {"at": 100.0, "a": 50.0, "sha": 1e9, "b": 2500.0, "to": 1000.0, "sha2": 99.0}
    told = {name: (name.rstrip("2"), value) for name, value in cycles.items()}
    assert plausible._fit(of, cast(Any, told), FaultLog())
    read = [f"{name}: {of} cycles a unit of work at 8.00 MHz" for name, of in READ]
    assert [words[1] for words in said] == read
    assert {words[0] for words in said} == ({"segments"} if unit is None else {"trace.time"})
    ways = ["100 to 1e+03: {} times too few", "100 to 1e+03: {} times too many"]
    ways.append("at least 100: {} times too few")
    times = ("2", "2.5", "1") if unit is None else ("1000",) * 3
    ends = "are units, runs and the clock right?" if unit is None else "is the unit ms?"
    for words, way, off in zip(said, ways, times, strict=True):
        assert words[2].startswith(way.format(off))
        assert words[2].endswith(ends)
    said.clear()
    sound = {name: told[name] for name in ("at", "sha", "to")}
    assert not plausible._fit(of, cast(Any, sound), FaultLog())
    assert said == []


READ = (("a", "50"), ("b", "2.5e+03"), ("sha2", "99"))


def test_samples_of_more_than_half_the_greatest_tell_how_often_these_repeat() -> None:
    """Of ten samples up to 8 mA: after the first there are, neither the greatest nor the least, 4
    twice in a row, 5, 5 and 3; beyond half of it 5 and 5 alone, one of which repeats."""
    found = _Pass(windows=(), threshold=None, below=False)
    i = 1e-3 * np.array([1.0, 4.0, 4.0, 5.0, 5.0, 8.0, 8.0, 3.0, 1.0, 1.0])
    found.look(Chunk("a", 0, np.arange(10.0), i))
    assert (found.looked, found.same) == (5, 2)
    assert (found.looked_high, found.same_high) == (2, 1)
    assert found.repeating(False) == found.repeating(True) == 0.4
    found.looked_high, found.same_high = ENOUGH, ENOUGH // 4
    assert found.repeating(True) == 0.25
    found.looked_high = ENOUGH - 1
    assert found.repeating(True) == 0.4
    assert _Pass(windows=(), threshold=None, below=False).repeating(False) == 1.0


def volt(value: float | None) -> Any:
    return None if value is None else some(nominal=value)


@pytest.mark.parametrize(
    ("stated", "points", "idle"),
    [
        (3e-3, {"fast": 1e-3}, 3e-3),
        (None, {"fast": 1e-3, "slow": 2e-3}, 1e-3),
        # a part that does not have the point, or tells nothing of it
        (None, {"slow": 2e-3}, 0.0),
        (None, {"fast": None}, 0.0),
        (None, None, 0.0),
    ],
)
def test_what_a_rehearsal_idles_at(
    stated: float | None, points: dict[str, float | None] | None, idle: float
) -> None:
    told = None if points is None else {k: some(idle_current=volt(v)) for k, v in points.items()}
    part = None if told is None else some(operating_points=told)
    of = some(notes=some(rehearsal=some(idle=volt(stated))), point="fast")
    assert rehearse._idle(of, part) == idle


@pytest.mark.parametrize(
    ("state", "stated", "known", "drawn"),
    [
        ("deep", {"deep": 5e-6}, True, 5e-6),
        ("deep", {}, True, 7e-6),
        ("deep", {}, False, 0.0),
        ("odd", {}, True, 0.0),
        # idle is what it idles at, where nothing else is stated
        (None, {}, True, 1e-3),
        (None, {IDLE: 2e-3}, True, 2e-3),
        (IDLE, {}, False, 1e-3),
    ],
)
def test_what_a_rehearsal_draws_asleep(
    state: str | None, stated: dict[str, float], known: bool, drawn: float
) -> None:
    curve = some(keys=(), x=(25.0,), y=(some(nominal=7e-6),))
    part = some(sleep_states={"deep": some(current=curve), "odd": some(current=None)})
    given = some(states={k: volt(v) for k, v in stated.items()})
    segment = some(state=state, temperature=None)
    assert rehearse._state(given, part if known else None, segment, 1e-3) == pytest.approx(
        drawn, rel=1e-12
    )
