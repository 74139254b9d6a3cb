"""Files made to exhaust are refused before they do: in under 5 s and 200 MB each.

A process of its own each: what takes the machine's memory must not take the tests along.
"""

from __future__ import annotations

import gzip
import io
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from tests.shares import mostly_slow

pytestmark = pytest.mark.once

SECONDS, MEGABYTES = 5.0, 200.0
WIDE = 40_000
GIANT = 3_000_000_000
NOTES = """part: bench-demo
origin: recorded
trace:
  time: {column: t, unit: s}
  current: {column: i, unit: mA}
supply: 3.3 V
point: {name: fast}
segments: [{kernel: hash, units: 20, runs: 4}]
"""
# runs the command below limits: processor time, and what it allocates; tells its peak in MB
RUN = """
import resource, subprocess, sys
spent = lambda: resource.getrusage(resource.RUSAGE_CHILDREN)
def limits():
    resource.setrlimit(resource.RLIMIT_DATA, (1_500_000_000, 1_500_000_000))
done = subprocess.run([sys.executable, "-m", "advisor", *sys.argv[1:]], preexec_fn=limits)
found = spent()
print("PEAK", found.ru_maxrss / 1000, found.ru_utime + found.ru_stime, file=sys.stderr)
sys.exit(done.returncode)
"""


def _sparse(head: bytes) -> Callable[[Path], None]:
    """A file that takes no room on disk and goes on for 3 GB in one line."""

    def write(path: Path) -> None:
        with path.open("wb") as file:
            file.write(head)
            file.truncate(GIANT)

    return write


def _packed(head: bytes) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        with gzip.open(path, "wb", 1) as file:
            file.write(head)
            for _ in range(20):
                file.write(bytes(1 << 24))

    return write


def _names() -> list[str]:
    return ["t", "i", *(f"c{k}" for k in range(WIDE))]


def _parquet(path: Path) -> None:
    pl.DataFrame({name: [1.0, 2.0, 3.0] for name in _names()}).write_parquet(path)


def _npz(path: Path) -> None:
    member = io.BytesIO()
    np.save(member, np.zeros(3))
    with zipfile.ZipFile(path, "w") as file:
        for name in _names():
            file.writestr(f"{name}.npy", member.getvalue())


TRACES: dict[str, tuple[str, Callable[[Path], object], str]] = {
    "one line of 3 GB": ("a.csv", _sparse(b"t,i\n0,1\n"), "a line of more than"),
    "a header of 3 GB": ("a.csv", _sparse(b"t,i"), "a line of more than"),
    "a comment of 3 GB": ("a.csv", _sparse(b"# meter"), "a line of more than"),
    "one packed line": ("a.csv.gz", _packed(b"t,i\n0,1\n"), "a line of more than"),
    "a packed header": ("a.csv.gz", _packed(b"t,i"), "a line of more than"),
    "a line of commas": ("a.csv", lambda p: p.write_bytes(b"t,i" + b"," * WIDE), "40002 columns"),
    "commas for numbers": (
        "a.csv",
        lambda p: p.write_bytes(b"t,i\n0,1\n" + b"," * 9_000_000),
        "a line of more than",
    ),
    "40,000 columns": (
        "a.csv",
        lambda p: p.write_text(",".join(_names()) + "\n0,1" + ",5" * WIDE + "\n"),
        "a line of more than",
    ),
    "40,000 columns of Parquet": ("a.parquet", _parquet, "columns"),
    "40,000 arrays": ("a.npz", _npz, "columns"),
}


def _refused(arguments: list[str], folder: Path, stdin: int, words: str) -> None:
    done = subprocess.run(
        [sys.executable, "-c", RUN, *arguments],
        cwd=folder,
        stdin=stdin,
        capture_output=True,
        text=True,
        timeout=120,  # a guard against hanging on a slow machine
        check=False,
    )
    text, _, spent = done.stderr.rpartition("PEAK ")
    peak, seconds = map(float, spent.split())
    assert (done.returncode, done.stdout) == (2, ""), text[-2000:]
    assert words in text
    assert seconds < SECONDS
    assert peak < MEGABYTES


@pytest.mark.parametrize("case", mostly_slow(TRACES, 5))
def test_a_trace_made_to_exhaust_is_refused_at_once(tmp_path: Path, case: str) -> None:
    name, write, words = TRACES[case]
    write(tmp_path / name)
    (tmp_path / "notes.yaml").write_text(NOTES, "utf-8")
    _refused(["distil", name, "--bench", "notes.yaml"], tmp_path, subprocess.DEVNULL, words)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["shortlist", "-"], "more than 4 MiB"),
        (["product", "check", "-"], "more than 4 MiB"),
        (["weights", "frost-post", "--draws", "0", "--ask", "order"], "1000 characters"),
    ],
)
def test_standard_input_is_read_no_further_than_it_may_be_long(
    tmp_path: Path, arguments: list[str], words: str
) -> None:
    with open("/dev/zero", "rb") as endless:
        _refused(arguments, tmp_path, endless.fileno(), words)


def test_a_record_s_draws_are_as_many_as_a_command_takes(tmp_path: Path) -> None:
    text = (
        "decision: frost-post\npart: quorvane-tib\nbecause: x\ndate: 2026-03-01\n"
        "draws: 999999999999\nseed: 1\nranking: []\ndigests: {}\n"
    )
    (tmp_path / "record.yaml").write_text(text, "utf-8")
    words = "record.yaml:5:8: record:draws"
    _refused(["revisit", "record.yaml"], tmp_path, subprocess.DEVNULL, words)
