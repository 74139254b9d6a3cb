"""Exports of many layouts, written by hand here: each gives the figures of the plain trace.

The samples are made up. What a file holds beside them, and how it spells them, is common practice
of loggers, no source; ISO 8601-1:2019 for dates and times, RFC 4180 for quotes.
"""

from __future__ import annotations

import gzip
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta, timezone
from pathlib import Path

import numpy as np
import pytest

from advisor.bench import exports
from advisor.bench.chunks import Columns, Layout, Stamps
from advisor.bench.stamps import recorded
from advisor.faults import FaultError
from advisor.studies.distil import distil
from tests.on_bench.layouts import (
    AMPS,
    BODY,
    PIN,
    PLACED,
    RATE,
    K,
    N,
    batched,
    comma,
    iso,
    notes_of,
    parted,
    rows,
    values,
)


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> list[float]:
    folder = tmp_path_factory.mktemp("plain")
    rows = [f"{k / RATE},{i},{m}\n" for k, i, m in zip(K, AMPS, PIN, strict=True)]
    (folder / "a.csv").write_text("t,i,m\n" + "".join(rows))
    return values(distil(notes_of(folder), [folder / "a.csv"]))


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


@pytest.mark.parametrize("cell", ["12.345", "4.2e-1", ".5"])
def test_a_decimal_point_among_decimal_commas_is_refused(tmp_path: Path, cell: str) -> None:
    """12.345 may be twelve thousand or twelve: by its place, never one of them in silence."""
    lines = EUROPEAN.split("\n")
    first, _, last = lines[100].split(";")
    lines[100] = f"{first};{cell};{last}"
    (tmp_path / "a.csv").write_text("\n".join(lines))
    with pytest.raises(FaultError) as refusal:
        distil(notes_of(tmp_path, *EUROPEAN_KEYS, **BERLIN), [tmp_path / "a.csv"])
    (fault,) = refusal.value.faults
    assert f'"{cell}"' in fault.read
    assert "decimal comma" in fault.expected
    assert fault.place is not None
    assert fault.place.line == 101
