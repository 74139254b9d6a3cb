"""Exports of many layouts, written by hand here: each gives the figures of the plain trace.

The samples are made up. What a file holds beside them, and how it spells them, is common practice
of loggers, no source; ISO 8601-1:2019 for dates and times, RFC 4180 for quotes.
"""

from __future__ import annotations

import gzip
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest

from advisor.bench import exports
from advisor.bench.chunks import Columns, Layout, Stamps
from advisor.bench.stamps import recorded
from advisor.faults import FaultError
from advisor.studies.distil import Distilled, distil

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


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> list[float]:
    folder = tmp_path_factory.mktemp("plain")
    rows = [f"{k / RATE},{i},{m}\n" for k, i, m in zip(K, AMPS, PIN, strict=True)]
    (folder / "a.csv").write_text("t,i,m\n" + "".join(rows))
    return values(distil(notes_of(folder), [folder / "a.csv"]))


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


EUROPEAN = (
    "Export;Bench 3\n\nZeit;Strom;Pin\n[s];[mA];\n"
    + rows(lambda k, i, m: f"{comma(k / RATE)};{comma(i)};{m}\n")
    + "Mittel;4,2;-\nEnde\n\n"
)
EUROPEAN_KEYS = ("delimiter: semicolon", "decimal: comma", "skip: 1", "unit-rows: 1", "footer: 2")
BERLIN = {
    "time": "{column: Zeit, unit: s}",
    "current": "{column: Strom, unit: mA}",
    "marker": "{column: Pin, above: 0.5}",
}
PLACED = {
    "time": "{place: 1, unit: ms}",
    "current": "{place: 2, unit: mA}",
    "marker": "{place: 4, above: 0.5}",
}
NO_TIME = {
    "time": "{rate: 2 kHz}",
    "current": "{column: i, unit: mA}",
    "marker": "{column: m, above: 0.5}",
}
LAYOUTS: dict[str, tuple[str, bytes, Sequence[str], dict[str, str]]] = {
    "UTF-16 with a mark, decimal comma, unit row, footer": (
        *("a.csv", EUROPEAN.encode("utf-16")),
        *((*EUROPEAN_KEYS, "encoding: utf-16"), BERLIN),
    ),
    "UTF-16 without a mark": (
        *("a.txt", EUROPEAN.encode("utf-16-be")),
        *((*EUROPEAN_KEYS, "encoding: utf-16-be"), BERLIN),
    ),
    "a code page, names in it, packed": (
        "a.csv.gz",
        gzip.compress(EUROPEAN.replace("Strom", "Strom µ").replace("\n", "\r\n").encode("cp1252")),
        (*EUROPEAN_KEYS, "encoding: cp1252"),
        {**BERLIN, "current": "{column: Strom µ, unit: mA}"},
    ),
    "no header, blanks": (
        "a.dat",
        rows(lambda k, i, m: f"  {k / 2:9.1f}\t{i:8.4f}   0 {m}\n").encode(),
        ("delimiter: blanks", "header: none"),
        PLACED,
    ),
    "no header, bars, skipped lines": (
        "a.log",
        ("boot\nready 1|2\n" + rows(lambda k, i, m: f"{k / 2}|{i}|x|{m}\n")).encode(),
        ("delimiter: bar", "header: none", "skip: 2"),
        PLACED,
    ),
    "thousands by points": (
        "a.csv",
        (
            "t;i;m\n"
            + rows(
                lambda k, i, m: f"{parted(k * 500, '.', ',')};{parted(1000 * i, '.', ',')};{m}\n"
            )
        ).encode(),
        ("decimal: comma", "thousands: point"),
        {"time": "{column: t, unit: us}", "current": "{column: i, unit: µA}"},
    ),
    "thousands by commas, in quotes": (
        "a.csv",
        ("t,i,m\n" + rows(lambda k, i, m: f'"{k * 500:,}","{1000 * i:,.1f}",{m}\n')).encode(),
        ("thousands: comma",),
        {"time": "{column: t, unit: us}", "current": "{column: i, unit: µA}"},
    ),
    "thousands by narrow blanks": (
        "a.csv",
        (
            "t,i,m\n" + rows(lambda k, i, m: f"{parted(k * 500, chr(0x202F), '.')},{i},{m}\n")
        ).encode(),
        ("thousands: blank",),
        {"time": "{column: t, unit: us}"},
    ),
    "names twice": (
        "a.csv",
        ("t,i,i,m\n" + rows(lambda k, i, m: f"{k / RATE},99,{i},{m}\n")).encode(),
        (),
        {"current": "{place: 3, unit: mA}"},
    ),
    "an index": (
        "a.csv",
        ("n,i,m\n" + rows(lambda k, i, m: f"{k},{i},{m}\n")).encode(),
        (),
        {"time": "{column: n, as: index, rate: 2 kHz}"},
    ),
    "no time": ("a.csv", ("i,m\n" + rows(lambda k, i, m: f"{i},{m}\n")).encode(), (), NO_TIME),
    "no time, quoted, packed": (
        "a.csv.gz",
        gzip.compress(("m;i\n" + rows(lambda k, i, m: f'"{m}";"{i}"\n')).encode()),
        (),
        NO_TIME,
    ),
    "no time, laid out": (
        "a.csv",
        ("i\tm\nmA\t\n" + rows(lambda k, i, m: f"{i}\t{m}\n")).encode(),
        ("unit-rows: 1",),
        NO_TIME,
    ),
    "ISO 8601": (
        "a.csv",
        ("t,i,m\n" + rows(lambda k, i, m: f"{iso(k)},{i},{m}\n")).encode(),
        (),
        {"time": "{column: t, as: date-time}"},
    ),
    "ISO 8601, another zone half-way": (
        "a.csv",
        (
            "t;i;m\n"
            + rows(
                lambda k, i, m: (
                    iso(k, timezone(timedelta(hours=-3.5 if k > N / 2 else 1))).replace(".", ",")
                    + f";{comma(i)};{m}\n"
                )
            )
        ).encode(),
        ("decimal: comma",),
        {"time": "{column: t, as: date-time}"},
    ),
    "epoch in s": (
        "a.csv",
        (
            "t,i,m\n"
            + rows(lambda k, i, m: f"{1772357400 + k // RATE}.{k % RATE * 500:06d},{i},{m}\n")
        ).encode(),
        (),
        {"time": "{column: t, as: epoch, unit: s}"},
    ),
    "epoch in ns": (
        "a.csv",
        (
            "t,i,m\n" + rows(lambda k, i, m: f"{1772357400000000017 + k * 500_000},{i},{m}\n")
        ).encode(),
        (),
        {"time": "{column: t, as: epoch, unit: ns}"},
    ),
    "jitter": (
        "a.csv",
        (
            "t,i,m\n"
            + rows(lambda k, i, m: f"{k / RATE + 0.003 * (k * 37 % 11) / 11:.6f},{i},{m}\n")
        ).encode(),
        (),
        {"time": "{column: t, unit: s, rate: 2 kHz, jitter: 3 ms}"},
    ),
    "a ringing, noisy marker": (
        "a.csv",
        (
            "t,i,m\n"
            + rows(
                lambda k, i, m: (
                    f"{k / RATE},{i},"
                    # spikes in the pauses, and a bounce right behind each rising edge
                    f"{(3.3 if m else 0.0) * (k % 400 not in (201, 203)) + 3.3 * (k % 400 == 77)}\n"
                )
            )
        ).encode(),
        (),
        {"marker": "{column: m, above: 2, hysteresis: 1, debounce: 2 ms}"},
    ),
    "a marker within its hysteresis": (
        "a.csv",
        (
            "t,i,m\n"
            + rows(lambda k, i, m: f"{k / RATE},{i},{(2.1 if k % 2 else 1.5) if m else 0.2}\n")
        )
        .encode()
        .replace(b"1.5\n", b"1.5\n"),
        (),
        {"marker": "{column: m, above: 1.4, hysteresis: 0.8}"},
    ),
}


@pytest.mark.parametrize("block", [1 << 23, 1 << 12])
@pytest.mark.parametrize("name", LAYOUTS)
def test_every_layout_gives_the_figures_of_the_plain_trace(
    tmp_path: Path,
    plain: list[float],
    monkeypatch: pytest.MonkeyPatch,
    name: str,
    block: int,
) -> None:
    """To 1e-9: the samples are the same, times are so to some digits of a double."""
    monkeypatch.setattr(exports, "BLOCK", block)
    file, data, more, columns = LAYOUTS[name]
    (tmp_path / file).write_bytes(data)
    found = values(distil(notes_of(tmp_path, *more, **columns), [tmp_path / file]))
    np.testing.assert_allclose(found, plain, rtol=1e-9)


def test_batched_stamps_give_the_figures_of_the_plain_trace(
    tmp_path: Path, plain: list[float]
) -> None:
    """The first sample stands at its own stamp, so the notes' times go by that."""
    text = "t,i,m\n" + rows(lambda k, i, m: f"{batched(k)},{i},{m}\n")
    (tmp_path / "a.csv").write_text(text)
    notes = notes_of(tmp_path, time="{column: t, unit: s, rate: 2 kHz, jitter: 4 ms}")
    late = float(batched(0))
    moved = notes.read_text("utf-8").replace("1.90025 s", f"{1.90025 + late:.6f} s")
    notes.write_text(moved.replace("2.90025 s", f"{2.90025 + late:.6f} s"), "utf-8")
    found = values(distil(notes, [tmp_path / "a.csv"]))
    np.testing.assert_allclose(found[:-6], plain[:-6], rtol=1e-9)
    np.testing.assert_allclose(np.array(found[-6:]) - late, plain[-6:], rtol=1e-9)


def _lost(k: int, i: float, m: int) -> str:
    return "" if 2000 <= k < 2050 else f"{batched(k)},{i},{m}\n"


BODY = rows(lambda k, i, m: f"{k / RATE},{i},{m}\n")
WRONG: dict[str, tuple[str, bytes, Sequence[str], dict[str, str], str]] = {
    "a batch is missing": (
        *("a.csv", ("t,i,m\n" + rows(_lost)).encode(), ()),
        {"time": "{column: t, unit: s, rate: 2 kHz, jitter: 4 ms}"},
        r"a\.csv:2002:1.*off its neighbour in row 2001",
    ),
    "another rate": (
        *("a.csv", ("t,i,m\n" + BODY).encode(), ()),
        {"time": "{column: t, unit: s, rate: 1990 Hz, jitter: 1 ms}"},
        "off the rate by then in row",
    ),
    "the unit row says another unit": (
        *("a.csv", ("t,i,m\ns,µA,\n" + BODY).encode(), ("unit-rows: 1",), {}),
        r'a\.csv:2:1.*unit "µA" of column 2.*"mA"',
    ),
    "a sample in the footer": (
        *("a.csv", ("t,i,m\n" + BODY).encode(), ("footer: 1",), {}),
        "in the footer, a sample",
    ),
    "a footer that is not told": (
        *("a.csv", ("t,i,m\n" + BODY + "end,of,it\n").encode(), ("unit-rows: 0", "skip: 0"), {}),
        r'a\.csv:6002:1.*"end"',
    ),
    "a footer longer than told": (
        "a.csv",
        ("#\nt|i|m\n" + BODY.replace(",", "|") + "mean|4|0\nend\n").encode(),
        ("delimiter: bar", "footer: 1"),
        {},
        r'a\.csv:6003:1.*"mean" in row 6001',
    ),
    "a thousands mark that is a decimal one": (
        *("a.csv", ('t,i,m\n0,"1,25",0\n' + BODY).encode(), ("thousands: comma",), {}),
        r'a\.csv:2:3.*"1,25" in row 1.*threes',
    ),
    "no byte order mark": (
        *("a.csv", ("t,i,m\n" + BODY).encode("utf-16-le"), ("encoding: utf-16",), {}),
        "no byte order mark",
    ),
    "a byte order mark": (
        *("a.csv", ("t,i,m\n" + BODY).encode("utf-16"), ("encoding: cp1252",), {}),
        "encoding: utf-16",
    ),
    "UTF-16 untold": (
        *("a.csv", ("t,i,m\n" + BODY).encode("utf-16"), (), {}),
        "encoding: utf-16 in the notes",
    ),
    "bytes of no text": (
        *("a.csv", b"t,i,m\n0,1,0\n1,\x81,0\n", ("encoding: cp1252",), {}),
        r"a\.csv:3:1.*no cp1252",
    ),
    "a place beyond the row": (
        *("a.csv", BODY.encode(), ("header: none",), {**PLACED, "marker": "{place: 5, above: 1}"}),
        "at least 5",
    ),
    "a name without a header": (
        *("a.csv", BODY.encode(), ("header: none",), {}),
        "place: no line of names",
    ),
    "a name and its place": (
        *("a.csv", ("t,i,m\n" + BODY).encode(), (), {"current": "{place: 1, unit: mA}"}),
        "one column for two",
    ),
    "stamps of no date": (
        *("a.csv", ("t,i,m\n" + BODY).encode(), (), {"time": "{column: t, as: date-time}"}),
        r'a\.csv:2:1.*"0\.0" in row 1.*2026-03-11T',
    ),
    "a day that is none": (
        "a.csv",
        b"t,i,m\n2026-02-28T00:00:00,1,0\n2026-02-30T00:00:00,1,0\n",
        (),
        {"time": "{column: t, as: date-time}"},
        r'a\.csv:3:1.*"2026-02-30T00:00:00" in row 2',
    ),
    "too many cells": (
        *("a.dat", b"t i m\n0 1 0\n1 1 0 7\n", ("delimiter: blanks",), {}),
        r"a\.dat:3:1.*4 cells in row 2",
    ),
    "a cell too few": (
        *("a.dat", b"t i m\n0 1 0\n1 1\n", ("delimiter: blanks",), {}),
        r"a\.dat:3:1.*nothing in row 2",
    ),
    "a blank line among samples": (
        *(
            "a.csv",
            ("t,i,m\n" + BODY[:700] + "\n" + BODY[700:]).encode(),
            ("delimiter: comma",),
            {},
        ),
        r"a\.csv:4[0-9]:1",
    ),
    "a restless marker": (
        "a.csv",
        ("t,i,m\n" + rows(lambda k, i, m: f"{k / RATE},{i},{k % 2}\n")).encode(),
        (),
        {"marker": "{column: m, above: 0.5, debounce: 2 ms}"},
        "does not settle from row 2 on",
    ),
    "a text's layout for another form": (
        *("a.npy", b"", ("footer: 1",), {}),
        "a text: the notes tell how one is laid out",
    ),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_contradicts_the_notes_is_refused_at_its_place(tmp_path: Path, name: str) -> None:
    file, data, more, columns, words = WRONG[name]
    (tmp_path / file).write_bytes(data)
    with pytest.raises(FaultError, match=words):
        distil(notes_of(tmp_path, *more, **columns), [tmp_path / file])


NOTED: dict[str, tuple[Sequence[str], dict[str, str], str]] = {
    "no time at all": ((), {"time": "{unit: s}"}, "neither column nor place"),
    "an index without a rate": ((), {"time": "{column: t, as: index}"}, "no rate"),
    "an index with a unit": (
        *((), {"time": "{column: t, as: index, rate: 1 kHz, unit: s}"}),
        "no unit for a time as index",
    ),
    "a rate without jitter": (
        *((), {"time": "{column: t, unit: s, rate: 1 kHz}"}),
        "rate without jitter",
    ),
    "hours since 1970": ((), {"time": "{column: t, as: epoch, unit: h}"}, "since 1970"),
    "a date with a unit": ((), {"time": "{column: t, as: date-time, unit: s}"}, "no unit for"),
    "a rate alone with a unit": (
        (),
        {"time": "{rate: 1 kHz, unit: s}"},
        "no unit for a time where",
    ),
    "column and place": ((), {"current": "{column: i, place: 2, unit: mA}"}, "one of column and"),
    "a place twice": (
        ("header: none",),
        {**PLACED, "current": "{place: 1, unit: mA}"},
        "1 twice",
    ),
    "marks alike": (("decimal: comma", "thousands: comma"), {}, "can be told apart"),
    "a decimal comma between commas": (("decimal: comma", "delimiter: comma"), {}, "told apart"),
}


@pytest.mark.parametrize("name", NOTED)
def test_notes_that_say_too_much_or_too_little_are_refused(tmp_path: Path, name: str) -> None:
    more, columns, words = NOTED[name]
    with pytest.raises(FaultError, match=words):
        distil(notes_of(tmp_path, *more, **columns), [tmp_path / "none.csv"])


def test_several_files_go_on_in_time(tmp_path: Path, plain: list[float]) -> None:
    """Stamps count from the first file's first sample; without any, nothing tells the time."""
    lines = [f"{iso(int(k))},{i},{m}\n" for k, i, m in zip(K, AMPS, PIN, strict=True)]
    paths = [tmp_path / "a.csv", tmp_path / "b.csv"]
    for path, part in zip(paths, (lines[:2500], lines[2500:]), strict=True):
        path.write_text("t,i,m\n" + "".join(part))
    notes = notes_of(tmp_path, time="{column: t, as: date-time}")
    np.testing.assert_allclose(values(distil(notes, paths)), plain, rtol=1e-9)
    with pytest.raises(FaultError, match="nothing tells the time between them"):
        distil(notes_of(tmp_path, time="{rate: 2 kHz}"), paths)


@pytest.mark.parametrize("block", range(1, 60))
def test_a_footer_is_found_wherever_blocks_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, block: int
) -> None:
    monkeypatch.setattr(exports, "BLOCK", block)
    text = "# one\n\ni;t\nmA;s\n10,5;0\n20,25;1\n\n3,5;2\n\nmean;1\n \nend\n\n\n"
    (tmp_path / "a.csv").write_bytes(text.replace("\n\n3,5", "\n3,5").encode("utf-16-le"))
    layout = Layout(encoding="utf-16-le", unit_rows=1, footer=2)
    found = list(
        recorded(
            [tmp_path / "a.csv"],
            Columns(("t", "i"), (1.0, 1.0), False, False, True, layout=layout),
        )
    )
    assert np.concatenate([c.i for c in found]).tolist() == [10.5, 20.25, 3.5]
    assert np.concatenate([c.t for c in found]).tolist() == [0, 1, 2]
    assert [c.row for c in found] == list(np.cumsum([0, *(len(c.t) for c in found)])[:-1])


@pytest.mark.parametrize("at", [1, 5])
def test_a_blank_line_is_no_sample(tmp_path: Path, at: int) -> None:
    """A reader may pass over it, and samples without times would close up."""
    lines = ["i", "1", "2", "3", "4", "5", "6"]
    lines.insert(at + 1, "")
    (tmp_path / "a.csv").write_text("\n".join(lines) + "\n\n\n")
    found = Columns(("i",), (1.0,), False, False, False, Stamps(column=False, rate=1.0))
    if at == 1:
        found = replace(found, layout=Layout(unit_rows=0, delimiter=","))
    with pytest.raises(FaultError, match=rf"a\.csv:{at + 2}:1"):
        list(recorded([tmp_path / "a.csv"], found))


def test_a_rehearsal_s_mark_outlasts_another_encoding(tmp_path: Path) -> None:
    text = "# rehearsed: invented, not measured\nt,i,m\n" + BODY
    (tmp_path / "a.csv").write_bytes(text.encode("utf-16"))
    with pytest.raises(FaultError, match="bears that mark, for good"):
        distil(notes_of(tmp_path, "encoding: utf-16"), [tmp_path / "a.csv"])
