"""Every form of trace gives the same samples; what is none is a fault with its row."""

from __future__ import annotations

import gzip
import io
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from advisor.bench.chunks import PIECE, Chunk, Columns, Floats
from advisor.bench.segments import measure
from advisor.bench.trace import (
    REHEARSED,
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
    "twice": ("time,amps,pin,amps\n1,2,3,4\n", '2 columns "amps"'),
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


def _saved(save: Callable[..., object], *arrays: object, **named: object) -> bytes:
    out = io.BytesIO()
    save(out, *arrays, **named)
    return out.getvalue()


def _claiming(shape: str) -> bytes:
    """An array's file whose header claims a shape."""
    head = f"{{'descr': '<f8', 'fortran_order': False, 'shape': {shape}, }}".encode()
    return b"\x93NUMPY\x01\x00" + (len(head) + 1).to_bytes(2, "little") + head + b"\n"


def _zipped(**members: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as file:
        for name, data in members.items():
            file.writestr(f"{name}.npy", data)
    return out.getvalue()


ROWS = HEAD + GOOD
PACKED = gzip.compress(ROWS.encode())
COLUMN = _saved(np.save, TIME[:9])
NPZ = _saved(np.savez, time=TIME[:9], amps=AMPS[:9], pin=PIN[:9])
FIELDS = [("time", "f8"), ("amps", "f8"), ("pin", "f8")]
# (name, bytes, words): each once ended as a fault of the tool's own
DAMAGED = {
    "carriage returns alone": ("a.csv", ROWS.replace("\n", "\r").encode(), "carriage return alone"),
    "a quote that never ends": ("a.csv", b'"time,amps,pin\n1,2,3\n', "no column"),
    "a row that is too long": ("a.csv", f"{ROWS}40,1,0,7\n".encode(), "4 cells in row 41"),
    "a header in another encoding": ("a.csv", ROWS.encode("utf-16"), "text in UTF-8"),
    "a flipped byte": ("a.csv.gz", PACKED[:20] + b"\xff" + PACKED[21:], "a whole file"),
    "two kinds in one name": ("a.csv.gz", ROWS.encode(), "a whole file"),
    "no archive": ("a.npz", b"time", "a whole file"),
    "half an archive": ("a.npz", NPZ[: len(NPZ) // 2], "a whole file"),
    "an archive under another name": ("a.npy", NPZ, "an archive of arrays"),
    "an array under another name": ("a.npz", COLUMN, "a whole file"),
    "no Parquet": ("a.parquet", b"PAR1junkPAR1", "a whole Parquet file"),
    "a header that breaks off": ("a.npy", _claiming("(3,")[:40], "an array of numbers"),
    "a header that is no shape": ("a.npy", _claiming("(3,"), "an array of numbers"),
    "more than there is": ("a.npy", _claiming("(999999999999,)"), "an array of numbers"),
    "less than nothing": (
        "a.npz",
        _zipped(time=_claiming("(-5,)"), amps=COLUMN, pin=COLUMN),
        "an array of -5 numbers",
    ),
    "more than there is, archived": (
        "a.npz",
        _zipped(**dict.fromkeys(("time", "amps", "pin"), _claiming("(999999999999,)"))),
        "breaks off",
    ),
    "two dimensions": ("a.npy", _saved(np.save, np.zeros((3, 3), FIELDS)), "of 2 dimensions"),
    "no dimension": ("a.npy", _saved(np.save, np.zeros((), FIELDS)), "of 0 dimensions"),
    "several numbers a row": (
        "a.npy",
        _saved(np.save, np.zeros(3, [("time", "f8", (2,)), *FIELDS[1:]])),
        "several a row",
    ),
    "several dimensions, archived": (
        "a.npz",
        _saved(np.savez, time=TIME[:9, None], amps=AMPS[:9], pin=PIN[:9]),
        "of 2 dimensions",
    ),
    "complex numbers": (
        "a.npz",
        _saved(np.savez, time=TIME[:9] * 1j, amps=AMPS[:9], pin=PIN[:9]),
        "complex128",
    ),
    "too great to sum": ("a.csv", f"{ROWS}40,1e300,0\n".encode(), "1e+297 in row 41"),
    "too great in SI": ("a.csv", f"{ROWS}40,-1e20,0\n".encode(), "-1e+17 in row 41"),
    "too late": ("a.csv", f"{ROWS}1e19,1,0\n".encode(), "1e+16 in row 41"),
}


@pytest.mark.parametrize("case", DAMAGED)
def test_damaged_and_absurd_files_are_faults_of_the_file(tmp_path: Path, case: str) -> None:
    name, data, words = DAMAGED[case]
    path = tmp_path / name
    path.write_bytes(data)

    def read() -> None:
        is_rehearsed(path)
        measure(samples(path, COLUMNS), (), 0.5)

    with pytest.raises(FaultError) as error:
        read()
    assert words in str(error.value)
    assert {fault.place and fault.place.file for fault in error.value.faults} == {str(path)}


PLACES = {
    "a word": ("a.csv", HEAD + GOOD + "40,oops,0\n", (42, 4)),
    "a word after comments": ("a.csv", "# one\n\n" + HEAD + GOOD + "40,oops,0\n", (44, 4)),
    "a word in another column": ("a.csv", "amps,pin,x,time\n1,0,9,1\n2,0,9,two\n", (3, 7)),
    "nothing": ("a.csv", HEAD + GOOD + "40,,0\n", (42, 4)),
    "no number": ("a.csv", HEAD + GOOD + "40,1.5,nan\n", (42, 8)),
    "a packed word": ("a.csv.gz", HEAD + GOOD + "40,oops,0\n", (42, 4)),
    "packed infinity": ("a.csv.gz", "# a\n" + HEAD + GOOD + "inf,1,0\n", (43, 1)),
    "time that stands still": ("a.csv", HEAD + "0,1,0\n1,1,0\n1,1,0\n2,1,0\n", (4, 1)),
    "a long row": ("a.csv", HEAD + GOOD + "40,1,0,7\n", (42, 1)),
    "a stray quote": ("a.csv", HEAD + GOOD + '40,"1.5,0\n' + GOOD, (42, 4)),
    "a stray quote that another closes": (
        *("a.csv", HEAD + GOOD + '40,"1.5,0\n' + GOOD + '81,1.5",0\n', (42, 4)),
    ),
}


@pytest.mark.parametrize("case", PLACES)
def test_the_place_of_a_bad_cell_is_its_own_line_and_column(tmp_path: Path, case: str) -> None:
    name, text, (line, column) = PLACES[case]
    path = tmp_path / name
    path.write_bytes(gzip.compress(text.encode()) if name.endswith(".gz") else text.encode())
    with pytest.raises(FaultError) as error:
        measure(samples(path, COLUMNS), (), 0.5)
    place = error.value.faults[0].place
    assert place is not None
    assert (place.line, place.column) == (line, column)


@pytest.mark.parametrize("name", ["a.parquet", "a.npy", "a.npz"])
def test_the_place_in_an_array_is_its_row_and_the_column_s_number(
    tmp_path: Path, name: str
) -> None:
    values = np.arange(50.0)
    amps = np.where(values == 40, np.nan, values)
    whole = np.zeros(50, FIELDS)
    whole["time"], whole["amps"] = values, amps
    columns = {"time": values, "amps": amps, "pin": whole["pin"]}
    writers: dict[str, Callable[[Path], object]] = {
        "a.parquet": lambda path: pl.DataFrame(columns).write_parquet(path),
        "a.npy": lambda path: np.save(path, whole),
        "a.npz": lambda path: path.write_bytes(_saved(np.savez, **columns)),
    }
    path = tmp_path / name
    writers[name](path)
    with pytest.raises(FaultError, match="row 41") as error:
        measure(samples(path, COLUMNS), (), 0.5)
    place = error.value.faults[0].place
    assert place is not None
    assert (place.line, place.column) == (41, 2)


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
    with pytest.raises(FaultError, match=rf"{name}.*amps.*expected (a number|rows of numbers)"):
        measure(samples(tmp_path / name, COLUMNS), (), 0.5)


@pytest.mark.parametrize("name", ["a[1].csv", "a*.csv", "a?.tsv", "a[1].csv.gz", "a[b].parquet"])
def test_a_file_s_name_is_no_pattern(tmp_path: Path, name: str) -> None:
    """Beside it stand files that it would match."""
    few = FRAME.head(9)
    for other, factor in (("a1", 2.0), ("ab", 3.0), (name.partition(".")[0], 1.0)):
        path = tmp_path / (other + name[name.index(".") :])
        frame = few.with_columns(pl.col("amps") * factor)
        if name.endswith("parquet"):
            frame.write_parquet(path)
            continue
        text = frame.write_csv(separator="\t" if name.endswith("tsv") else ",").encode()
        path.write_bytes(gzip.compress(text) if name.endswith("gz") else text)
    (chunk,) = samples(tmp_path / name, COLUMNS)
    np.testing.assert_allclose(chunk.i, AMPS[:9] * 1e-3, rtol=1e-12)


def test_a_piece_keeps_the_rows_of_its_samples() -> None:
    whole = Chunk("t", 7, TIME[:20], AMPS[:20], AMPS[:20], PIN[:20])
    some = whole.piece(slice(5, 9))
    assert some.row == 12
    for values in (some.t, some.i, some.v, some.m):
        assert values is not None
        assert len(values) == 4
    assert whole.piece(slice(-2, None)).row == 25
    assert len(whole.piece(slice(9, 9)).t) == 0


def test_a_parquet_file_is_read_whole_or_refused(tmp_path: Path) -> None:
    """Of hundreds of bits flipped in its footer some make the reader break off without an error."""
    path = tmp_path / "a.parquet"
    buffer = io.BytesIO()
    FRAME.head(2000).write_parquet(buffer, row_group_size=500)
    whole = buffer.getvalue()
    footer = int.from_bytes(whole[-8:-4], "little")
    rng = np.random.default_rng(3)
    read = {True: 0, False: 0}
    for _ in range(300):
        damaged = bytearray(whole)
        damaged[-9 - int(rng.integers(footer))] ^= 1 << int(rng.integers(8))
        path.write_bytes(damaged)
        try:
            rows = sum(len(chunk.t) for chunk in samples(path, COLUMNS))
        except FaultError:
            read[False] += 1
        else:
            read[True] += 1
            assert rows == pl.read_parquet_metadata(path).get("rows", 2000)
    assert min(read.values()) > 20


def test_a_reader_that_breaks_off_is_a_fault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.parquet"
    FRAME.write_parquet(path)
    every = pl.LazyFrame.collect_batches

    def some(*args: Any, **named: Any) -> Any:
        frames = list(every(*args, **named))
        return iter([frames[0].head(7)])

    monkeypatch.setattr(pl.LazyFrame, "collect_batches", some)
    with pytest.raises(FaultError, match=f"7 of {N} rows"):
        list(samples(path, COLUMNS))
