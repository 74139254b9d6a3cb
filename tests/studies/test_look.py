"""What `distil --look` proposes and draws: held to what the files were written with."""

from __future__ import annotations

import gzip
import json
import re
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from advisor.bench import exports, sniff
from advisor.bench.chunks import PIECE, Chunk, Columns
from advisor.bench.notes import read_notes
from advisor.bench.outline import MOST, outline
from advisor.bench.stamps import recorded
from advisor.faults import FaultError
from advisor.source import read_text
from advisor.studies.distil import distil
from advisor.studies.look import look
from tests.cli.conftest import Caller
from tests.cli.conftest import said as said  # the fixture
from tests.on_bench.layouts import AMPS, BODY, PIN, RATE, K, batched, notes_of, rows
from tests.on_bench.sessions import pack_session
from tests.on_bench.test_exports import LAYOUTS

pytestmark = pytest.mark.once

# the one thing a file does not tell: which of two columns of one name is meant
AMBIGUOUS = {"names twice"}


def proposed(folder: Path, text: str, supply: str = "3.3 V") -> Path:
    path = folder / "notes.yaml"
    path.write_text(text.replace("# supply: 3.300(2) V", f"supply: {supply}"), "utf-8")
    return path


@pytest.mark.parametrize("name", [n for n in LAYOUTS if n not in AMBIGUOUS])
def test_a_proposal_reads_the_file_as_it_was_written(tmp_path: Path, name: str) -> None:
    """The samples are the plain trace's but for units that the file does not state."""
    file, data, _, columns = LAYOUTS[name]
    (tmp_path / file).write_bytes(data)
    found = look([tmp_path / file])
    assert found.proposal is not None
    session = read_notes(proposed(tmp_path, found.proposal))
    trace = session.trace
    chunks = list(recorded([tmp_path / file], Columns.of(trace), trace.marker))
    t, i = np.concatenate([c.t for c in chunks]), np.concatenate([c.i for c in chunks])
    np.testing.assert_allclose(i / i[0], AMPS / AMPS[0], rtol=1e-9)
    # the rate of jittered stamps is estimated: good to their jitter over the trace
    rtol = 1e-3 if "jitter" in name else 1e-9
    np.testing.assert_allclose((t - t[0]) / (t[-1] - t[0]), K / K[-1], rtol=rtol, atol=rtol)
    assert len(found.stretches) == 8
    assert "? no unit" not in found.proposal or "[mA]" not in data.decode("latin-1")
    if "as:" in columns.get("time", ""):
        assert re.search(r"as: [\w-]+", columns["time"])[0] in found.proposal  # type: ignore[index]


def test_batched_stamps_are_proposed_as_such(tmp_path: Path) -> None:
    text = "t [s],i [mA],m\n" + rows(lambda k, i, m: f"{batched(k)},{i},{m}\n")
    (tmp_path / "a.csv").write_text(text)
    found = look([tmp_path / "a.csv"]).proposal
    assert found is not None
    rate = re.search(r"unit: s, rate: ([\d.]+) Hz, jitter: ", found)
    assert rate is not None
    assert float(rate[1]) == pytest.approx(RATE, rel=1e-2)  # of 120 batches, late by up to 4 ms
    assert "stamps come in batches" in found
    assert 'current: {column: "i [mA]", unit: mA}' in found


@pytest.mark.parametrize("ending", ["csv", "csv.gz", "parquet", "npz", "npy"])
def test_other_forms_and_a_long_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ending: str
) -> None:
    """A marker that rises beyond the head is seen by looks further on, of a plain file."""
    monkeypatch.setattr(sniff, "HEAD", 1 << 11)
    monkeypatch.setattr(exports, "BLOCK", 1 << 11)
    path = tmp_path / f"a.{ending}"
    frame = pl.DataFrame({"time": K / RATE, "I_mA": AMPS, "gpio": PIN})
    if ending == "csv":
        frame.write_csv(path)
    elif ending == "csv.gz":
        path.write_bytes(gzip.compress(frame.write_csv().encode()))
    elif ending == "parquet":
        frame.write_parquet(path)
    elif ending == "npz":
        np.savez(path, time=K / RATE, I_mA=AMPS, gpio=PIN)
    else:
        np.save(path, frame.to_numpy(structured=True))
    found = look([path])
    assert found.proposal is not None
    assert "current: {column: I_mA, unit: mA}" in found.proposal
    assert found.outline.rows == len(K)
    if ending != "csv.gz":
        assert "marker: {column: gpio, above: 0.5}" in found.proposal
        assert len(found.stretches) == 8


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("a.csv", b"", "no rows of numbers"),
        ("a.csv", b"a,b\nc,d\ne,f\n", "no rows of numbers"),
        ("a.csv", b"t,i\n0,1\n1,2\n", "at least 3 rows"),
        ("a.npy", b"\x93NUMPY", "an array of numbers"),
        ("a.parquet", b"PAR1", "a whole Parquet file"),
        ("a.npz", b"PK", "a whole file"),
        ("a.doc", b"", "a file that ends in"),
    ],
)
def test_what_is_no_trace_is_refused(tmp_path: Path, name: str, data: bytes, words: str) -> None:
    (tmp_path / name).write_bytes(data)
    with pytest.raises(FaultError, match=words):
        look([tmp_path / name])


def test_nothing_has_no_outline() -> None:
    none = np.zeros(0)
    for chunks in ([], [Chunk("empty.csv", 0, none, none)]):
        with pytest.raises(FaultError, match="no samples"):
            outline(chunks)


@pytest.mark.parametrize("size", [1, 7, 1000, MOST + 3, PIECE])
def test_an_outline_is_the_extremes_and_means_of_its_pieces(size: int) -> None:
    draw = np.random.default_rng(3)
    i = draw.normal(size=5 * MOST + 11)
    t = np.cumsum(draw.uniform(0.5, 1.5, len(i)))
    chunks = [Chunk("x", a, t[a : a + size], i[a : a + size]) for a in range(0, len(i), size)]
    found = outline(chunks)
    starts = np.searchsorted(t, found.t[:-1])
    assert MOST // 2 <= len(found.low) <= MOST + 1
    assert found.rows == len(i)
    np.testing.assert_array_equal(found.low, np.minimum.reduceat(i, starts))
    np.testing.assert_array_equal(found.high, np.maximum.reduceat(i, starts))
    counts = np.diff(np.append(starts, len(i)))
    np.testing.assert_allclose(found.mean, np.add.reduceat(i, starts) / counts, rtol=1e-9)


def test_the_command_draws_and_proposes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, said: Caller
) -> None:
    """Standard output is notes that can be read, with the picture in comments."""
    pack_session(tmp_path)
    monkeypatch.chdir(tmp_path)
    code, out, err = said("distil", "--look", "trace.csv", "--plot", "a.svg")
    assert (code, err) == (0, "")
    root = read_text(out, "notes.yaml").root
    assert [k.value for k, _ in root.value] == ["part", "origin", "trace", "point", "segments"]
    assert "REHEARSED" in out
    assert "# a marker: 180 pulses" in out
    assert (tmp_path / "a.svg").read_bytes().startswith(b"<?xml")
    code, out, err = said("distil", "--look", "trace.csv", "--bench", "notes.yaml", "--width", "80")
    assert (code, err) == (0, "")
    strip = next(line for line in out.splitlines() if "aabb" in line.replace(" ", ""))
    assert re.sub(r"(.)\1*", r"\1", re.sub("[^a-z]", "", strip)) == "abcdefghijk"
    assert "k ram-kept: 5.5 to 9.5 s" in out
    code, out, _ = said("distil", "--look", "trace.csv", "--bench", "notes.yaml", "--format=json")
    told = json.loads(out)
    names = [s["name"] for s in told["stretches"]]
    assert (names.count("hash"), names.count("idle"), len(names)) == (20, 1, 182)
    figures = distil(tmp_path / "notes.yaml", [tmp_path / "trace.csv"]).figures
    hashes = [s for s in told["stretches"] if s["name"] == "hash"]
    kept = next(s for s in figures.stretches if s.name == "hash")
    # twelve digits in JSON
    assert hashes[0]["start_s"] == pytest.approx(kept.start_s, rel=1e-11)
    assert hashes[-1]["end_s"] == pytest.approx(kept.end_s, rel=1e-11)
    # what does not go with the notes is told, not refused: it is to be seen
    text = (
        (tmp_path / "notes.yaml")
        .read_text()
        .replace("hash, units: 20, runs: 20", "hash, units: 20, runs: 19")
    )
    (tmp_path / "fewer.yaml").write_text(text)
    code, out, err = said("distil", "--look", "trace.csv", "--bench", "fewer.yaml")
    assert code == 0
    assert "180 pulses of the marker, 179 runs in the notes" in out + err


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (("distil", "a.csv"), "--bench: read no notes"),
        (("distil", "a.csv", "--look", "-o", "my-part.yaml"), "no figures with --look"),
        (("distil", "a.csv", "--bench", "notes.yaml", "--plot", "a.svg"), "--look with it"),
        (("distil", "a.csv", "--look", "--plot", "a.gif"), "--plot"),
        (("distil", "a.csv", "--look", "--plot", "a.csv"), "a.csv"),
    ],
)
def test_calls_that_do_not_go_together(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    said: Caller,
    call: tuple[str, ...],
    words: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    notes_of(tmp_path)
    (tmp_path / "a.csv").write_text("t,i,m\n" + BODY)
    before = sorted(tmp_path.iterdir())
    code, out, err = said(*call)
    assert (code, out) == (2, "")
    assert words in err
    assert sorted(tmp_path.iterdir()) == before
