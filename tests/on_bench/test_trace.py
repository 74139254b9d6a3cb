"""Every form of trace gives the same samples; what is none is a fault with its row."""

from __future__ import annotations

import gzip
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from advisor.bench.segments import measure
from advisor.bench.trace import (
    PIECE,
    REHEARSED,
    Chunk,
    Columns,
    Floats,
    digest,
    is_rehearsed,
    samples,
    text_of,
)
from advisor.faults import FaultError

COLUMNS = Columns(("time", "amps", "pin"), (1e-3, 1e-3, 1.0), False, True, False)
N = 3 * PIECE + 17
TIME: Floats = np.arange(N, dtype=np.float64) * 0.25
AMPS: Floats = np.round(np.random.default_rng(1).uniform(0.1, 9.9, N), 6)
PIN = (np.arange(N) // 1000 % 2).astype(np.int8)
FRAME = pl.DataFrame({"other": np.arange(N), "amps": AMPS, "time": TIME, "pin": PIN})


def _npz(path: Path) -> None:
    np.savez_compressed(path, time=TIME, amps=AMPS, pin=PIN, other=PIN)


def _npy(path: Path) -> None:
    whole = np.empty(N, dtype=[("time", "f8"), ("pin", "u1"), ("amps", "f8")])
    whole["time"], whole["pin"], whole["amps"] = TIME, PIN, AMPS
    np.save(path, whole)


WRITERS: dict[str, Callable[[Path], object]] = {
    "a.csv": FRAME.write_csv,
    "a.tsv": lambda p: FRAME.write_csv(p, separator="\t"),
    "a.parquet": FRAME.write_parquet,
    "a.csv.gz": lambda p: p.write_bytes(gzip.compress(FRAME.write_csv().encode())),
    "a.npz": _npz,
    "a.npy": _npy,
    "b.csv": lambda p: p.write_bytes(
        b"# meter\n\n# more\n" + FRAME.write_csv(separator=";").encode().replace(b"\n", b"\r\n")
    ),
    "c.csv.gz": lambda p: p.write_bytes(
        gzip.compress(b"# one\n" + FRAME.write_csv().encode().rstrip(b"\n"))
    ),
    "e.csv": lambda p: FRAME.write_csv(p, quote_style="always"),
    "f.csv.gz": lambda p: p.write_bytes(
        gzip.compress(FRAME.write_csv(quote_style="non_numeric").encode())
    ),
    "g.csv": lambda p: p.write_bytes(
        FRAME.write_csv(separator=";")
        .encode()
        .replace(b"other;amps;time", b" other; amps ; time ", 1)
    ),
    "d.csv": lambda p: p.write_bytes(b"\xef\xbb\xbf" + FRAME.write_csv().encode()),
}


@pytest.mark.parametrize("name", WRITERS)
def test_all_forms_give_the_same_samples(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    WRITERS[name](path)
    chunks = list(samples(path, COLUMNS))
    np.testing.assert_allclose(np.concatenate([c.t for c in chunks]), TIME * 1e-3, rtol=1e-12)
    np.testing.assert_allclose(np.concatenate([c.i for c in chunks]), AMPS * 1e-3, rtol=1e-12)
    np.testing.assert_array_equal(np.concatenate([np.asarray(c.m) for c in chunks]), PIN)
    rows = [c.row for c in chunks]
    assert rows == list(np.cumsum([0, *(len(c.t) for c in chunks)])[:-1])


@pytest.mark.parametrize("packed", [False, True])
def test_decimal_comma(tmp_path: Path, packed: bool) -> None:
    text = FRAME.write_csv(separator=";", decimal_comma=True).encode()
    path = tmp_path / ("a.csv.gz" if packed else "a.csv")
    path.write_bytes(gzip.compress(text) if packed else text)
    chunks = list(samples(path, replace(COLUMNS, comma=True)))
    np.testing.assert_allclose(np.concatenate([c.i for c in chunks]), AMPS * 1e-3, rtol=1e-12)


HEAD = "time,amps,pin\n"
GOOD = "".join(f"{k},1.5,0\n" for k in range(40))
BAD = {
    "word": (HEAD + GOOD + "40,oops,0\n" + GOOD, 'amps: read "oops" in row 41'),
    "nothing": (HEAD + GOOD + "40,,0\n", "amps: read nothing in row 41"),
    "not a number": (HEAD + GOOD + "40,nan,0\n", "current: read no number in row 41"),
    "infinite": (HEAD + GOOD + "inf,1,0\n", "time: read no number in row 41"),
    "a marker that is none": (HEAD + GOOD + "40,1,nan\n", "marker: read no number in row 41"),
    "comma": (HEAD.replace(",", ";") + "1,5;2;0\n", '"1,5" in row 1'),
    "empty": ("", "an empty file"),
    "comments alone": ("# a\n# b\n", "an empty file"),
    "no column": ("time;volts;pin\n1;2;3\n", 'no column "amps"'),
    "twice": ("time,amps,pin,amps\n1,2,3,4\n", 'no column "amps"'),
    "too short a line": (HEAD + GOOD + "40\n", "in row 41"),
}


@pytest.mark.parametrize("packed", [False, True])
@pytest.mark.parametrize("case", BAD)
def test_what_is_no_number_is_told_with_its_row(tmp_path: Path, case: str, packed: bool) -> None:
    text, words = BAD[case]
    path = tmp_path / ("a.csv.gz" if packed else "a.csv")
    path.write_bytes(gzip.compress(text.encode()) if packed else text.encode())
    with pytest.raises(FaultError) as error:
        measure(samples(path, COLUMNS), (), 0.5)
    assert words in str(error.value)


def test_files_that_are_none(tmp_path: Path) -> None:
    junk = np.random.default_rng(1).bytes(5000)
    for name in ("a.parquet", "a.npz", "a.npy", "a.csv.gz"):
        path = tmp_path / name
        path.write_bytes(junk)
        with pytest.raises(FaultError, match=name):
            list(samples(path, COLUMNS))
    for name in ("a.xls", "none.csv"):
        with pytest.raises(FaultError, match=name):
            list(samples(tmp_path / name, COLUMNS))
    whole = gzip.compress((HEAD + GOOD).encode())
    (tmp_path / "cut.csv.gz").write_bytes(whole[:-20])
    with pytest.raises(FaultError, match="EOF"):
        list(samples(tmp_path / "cut.csv.gz", COLUMNS))


def test_arrays_of_objects_are_not_run(tmp_path: Path) -> None:
    """Reading a pickled array would run what it says."""
    np.savez(tmp_path / "a.npz", time=np.array([{}]), amps=TIME, pin=PIN)
    np.save(tmp_path / "a.npy", np.array([{}]), allow_pickle=True)
    for name in ("a.npz", "a.npy"):
        with pytest.raises(FaultError):
            list(samples(tmp_path / name, COLUMNS))


def test_a_rehearsed_trace_bears_its_mark(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(text_of(TIME[:9], AMPS[:9], PIN[:9].astype(np.float64), header=True))
    assert path.read_text().startswith(f"# {REHEARSED}\n")
    assert is_rehearsed(path)
    FRAME.write_csv(tmp_path / "b.csv")
    assert not is_rehearsed(tmp_path / "b.csv")


def test_digest_is_of_the_bytes(tmp_path: Path) -> None:
    """FIPS 180-4's example: SHA-256 of "abc", in two files."""
    (tmp_path / "a").write_bytes(b"a")
    (tmp_path / "b").write_bytes(b"bc")
    assert digest([tmp_path / "a", tmp_path / "b"]).startswith("ba7816bf")


@pytest.mark.parametrize("name", WRITERS)
def test_in_any_form_only_the_columns_asked_for_are_read_and_one_that_is_not_there_is_named(
    tmp_path: Path, name: str
) -> None:
    path = tmp_path / name
    WRITERS[name](path)
    for chunk in samples(path, Columns(("amps", "time"), (1.0, 1.0), False, False, False)):
        assert chunk.v is None
        assert chunk.m is None
        np.testing.assert_array_equal(chunk.t, AMPS[chunk.row : chunk.row + len(chunk.t)])
    with pytest.raises(FaultError, match='no column "volts"'):
        list(samples(path, replace(COLUMNS, names=("time", "volts", "pin"))))


@pytest.mark.parametrize("name", ["a.csv", "a.csv.gz"])
def test_a_cell_that_is_no_text_is_a_fault_of_the_file(tmp_path: Path, name: str) -> None:
    data = (HEAD + GOOD).encode() + b"40,\xff\xfe,0\n"
    (tmp_path / name).write_bytes(gzip.compress(data) if name.endswith("gz") else data)
    with pytest.raises(FaultError, match=rf"{name}.*expected a number"):
        measure(samples(tmp_path / name, COLUMNS), (), 0.5)


def test_a_piece_keeps_the_rows_of_its_samples() -> None:
    whole = Chunk("t", 7, TIME[:20], AMPS[:20], AMPS[:20], PIN[:20])
    some = whole.piece(slice(5, 9))
    assert some.row == 12
    for values in (some.t, some.i, some.v, some.m):
        assert values is not None
        assert len(values) == 4
    assert whole.piece(slice(-2, None)).row == 25
    assert len(whole.piece(slice(9, 9)).t) == 0
