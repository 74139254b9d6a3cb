"""Exports that contradict their notes: each refused by name, at its line and column."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from advisor.faults import FaultError
from advisor.studies.distil import distil
from tests.on_bench.layouts import BODY, PLACED, RATE, batched, notes_of, rows


def _lost(k: int, i: float, m: int) -> str:
    return "" if 2000 <= k < 2050 else f"{batched(k)},{i},{m}\n"


WRONG: dict[str, tuple[str, bytes, Sequence[str], dict[str, str], str]] = {
    "a batch is missing": (
        *("a.csv", ("t,i,m\n" + rows(_lost)).encode(), ()),
        {"time": "{column: t, unit: s, rate: 2 kHz, jitter: 4 ms}"},
        r"a\.csv:2002:1.*off its neighbour in row 2001",
    ),
    "two batches that lie too far apart": (
        *("a.csv", b"t,i,m\n" + b"0.0,1,0\n" * 20 + b"0.5,1,0\n" * 20, ()),
        {"time": "{column: t, unit: s, rate: 2 kHz, jitter: 4 ms}"},
        "off ",
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
    "a unit row after a column that has no unit": (
        *("a.csv", ("t,i,m\n,µA,\n" + BODY).encode(), ("unit-rows: 1",)),
        {"time": "{column: t, as: date-time}"},
        r'a\.csv:2:1.*unit "µA" of column 2.*"mA"',
    ),
    "an epoch that is no number": (
        *("a.csv", b"t,i,m\n1772357400,1,0\n1772357401x,1,0\n", ()),
        {"time": "{column: t, as: epoch, unit: s}"},
        r'a\.csv:3:1.*"1772357401x" in row 2; expected a whole or decimal number$',
    ),
    "a header and no end of line": ("a.csv", b"t,i,m", (), {}, "samples|rows"),
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
    "two bad cells, the earlier in the later column": (
        *("a.csv", b"t,i,m\n0,1,0\n1,1,no\n2,nought,0\n", ("delimiter: comma",), {}),
        r'a\.csv:3:5.*"no" in row 2',
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
    "a line of more than 64 KiB": (
        *("a.csv", ("t,i,m," + "x" * 70_000 + "\n" + BODY).encode(), (), {}),
        r"a line of more than 65536 bytes",
    ),
    "a line of more than 64 KiB where the layout is told": (
        *("a.csv", ("t,i,m," + "x" * 70_000 + "\n" + BODY).encode(), ("delimiter: comma",), {}),
        r"a line of more than 65536 bytes",
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
    "a date of no column": ((), {"time": "{rate: 1 kHz, as: date-time}"}, '"date-time" without a'),
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
