"""Calls as a user types them: exit codes, hostile input, what goes where."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from advisor.catalogue.shipped import product_files
from advisor.cli.main import call
from tests.cli.conftest import Caller

PLACE = re.compile(r"^(.+?):(\d+):(\d+): ", re.M)
HANG = 30  # s, a guard against hanging on a slow machine, no claim of speed


@pytest.fixture
def product(tmp_path: Path) -> Callable[..., str]:
    """A file of the shipped product with texts replaced."""

    def write(*changes: tuple[str, str], name: str = "frost-post") -> str:
        text = product_files()[name].read_text()
        for old, new in changes:
            assert old in text
            text = text.replace(old, new, 1)
        path = tmp_path / f"{name}.yaml"
        path.write_text(text)
        return str(path)

    return write


BAD = {
    "zero period": ("every: 1 s", "every: 0 s", "workload.sample.every"),
    "negative period": ("every: 1 s", "every: -1 s", "workload.sample.every"),
    "unknown key": ("rail: 2.5 V", "rial: 2.5 V", "rial"),
    "duplicate key": ("rail: 2.5 V", "rail: 2.5 V\nrail: 2.6 V", "rail"),
    "wrong unit": ("rail: 2.5 V", "rail: 2.5 mA", "rail"),
    "missing unit": ("rail: 2.5 V", "rail: 2.5", "rail"),
    "not a number": ("rail: 2.5 V", "rail: nan V", "rail"),
    "infinity": ("rail: 2.5 V", "rail: inf V", "rail"),
    "huge exponent": ("rail: 2.5 V", "rail: 1e999 V", "rail"),
    "5,000 digits": ("rail: 2.5 V", f"rail: {'9' * 5000} V", "rail"),
    "5,000 decimals": ("rail: 2.5 V", f"rail: 0.{'1' * 5000} V", "rail"),
    "negative current": ("current: 0.6 mA", "current: -0.6 mA", "loads.probe.current"),
    "unknown cell": ("cell: lm-thumb", "cell: lm-thomb", "lm-thomb"),
    "unknown kernel": ("filter: 6", "filtre: 6", "workload.sample.kernels.filtre"),
    "unknown converter": ("boost-a", "boots-a", "boots-a"),
    "shares": ("share: 0.08", "share: 0.8", "environment"),
    "a list for a figure": ("rail: 2.5 V", "rail: [2.5 V]", "rail"),
    "a mapping for a list": ("retain: [ram, rtc]", "retain: {ram: 1}", "retain"),
    "nothing": ("rail: 2.5 V", "rail:", "rail"),
    "alias": ("rail: 2.5 V", "rail: &a 2.5 V", "anchor"),
    "tag": ("rail: 2.5 V", "rail: !!float 2.5", "tag"),
    "python tag": ("rail: 2.5 V", "rail: !!python/object/apply:os.system [ls]", "tag"),
    "merge": ("rail: 2.5 V", "<<: {rail: 2.5 V}", "merge"),
    "syntax": ("rail: 2.5 V", "rail: [2.5 V", ""),
    "tab": ("rail: 2.5 V", "\trail: 2.5 V", ""),
    "bell": ("rail: 2.5 V", "rail: 2.5\x07 V", ""),
    "no unit of money": ("currency: EUR", "currency: [EUR]", "cost.currency"),
    "weight": ("battery-life: {weight: 5", "battery-life: {weight: -5", "battery-life.weight"),
    "criterion": ("toolchain: {weight: 2}", "toolchian: {weight: 2}", "toolchian"),
    "anchors": ("poor: 3 years, good: 10 years", "poor: 3 years, good: 3 years", "battery-life"),
}


@pytest.mark.parametrize("case", BAD)
@pytest.mark.parametrize("command", ["shortlist", "product check"])
def test_bad_input_is_refused_at_its_place(
    said: Caller, product: Callable[..., str], case: str, command: str
) -> None:
    old, new, key = BAD[case]
    path = product((old, new))
    code, out, err = said(*command.split(), path)
    assert code == 2
    assert out == ""
    places = PLACE.findall(err)
    assert places
    assert all(file == path for file, _, _ in places)
    assert key in err
    lines = Path(path).read_text().splitlines()
    assert all(1 <= int(line) <= len(lines) + 1 for _, line, _ in places)
    assert max(map(len, err.splitlines())) < 1000


BYTES = {
    "empty": b"",
    "spaces": b"  \n\n",
    "only a comment": b"# nothing\n",
    "NUL": b"product: a\x00b\n",
    "not UTF-8": b"product: \xff\xfe\n",
    "UTF-16": "product: frost-post\n".encode("utf-16"),
    "a list": b"- 1\n- 2\n",
    "a word": b"frost-post\n",
    "two documents": b"product: a\n---\nproduct: b\n",
    "deep": b"a: " + b"[" * 100_000,
    "deep blocks": b"\n".join(b" " * i + b"a:" for i in range(2000)),
    "long": b"a: " + b"x" * (5 * 1024 * 1024),
    "many keys": b"".join(b"k%d: 1\n" % i for i in range(200_000)),
    "laughs": b"a: &a [x,x,x,x,x,x,x,x,x]\n"
    + b"".join(
        b"%c: &%c [%s]\n" % (98 + i, 98 + i, b",".join([b"*%c" % (97 + i)] * 9)) for i in range(9)
    ),
    "quotes": b'a: "' + b"\\" * 1001,
    "a long key": b"x" * 100_000 + b": 1\n",
    "binary": bytes(range(256)) * 100,
}


ONE_BY_ONE = """
import contextlib, io, json, sys
from advisor.cli.main import call

for path in sys.argv[1:]:
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8") for _ in range(2))
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = call(["shortlist", path, "--no-cache"])
    said = []
    for stream in (out, err):
        stream.flush()
        said.append(stream.buffer.getvalue().decode())
    print(json.dumps([path, code, *said]), flush=True)
"""


@pytest.mark.once
def test_hostile_files_are_refused_at_once(tmp_path: Path) -> None:
    for number, data in enumerate(BYTES.values()):
        (tmp_path / f"{number}.yaml").write_bytes(data)
    paths = [str(tmp_path / f"{number}.yaml") for number in range(len(BYTES))]
    # a process of their own: what exhausts memory or recursion must not take the tests along
    done = subprocess.run(
        [sys.executable, "-c", ONE_BY_ONE, *paths],
        capture_output=True,
        text=True,
        timeout=4 * HANG,
        check=False,
    )
    told = [json.loads(line) for line in done.stdout.splitlines()]
    # the one after the last that is told is the one that ended it
    assert [path for path, *_ in told] == paths, done.stderr[-2000:]
    assert (done.returncode, done.stderr) == (0, "")
    for case, (path, code, out, err) in zip(BYTES, told, strict=True):
        assert (code, out) == (2, ""), (case, err[-2000:])
        assert PLACE.match(err) or f"{path}:" in err, case
        assert "Traceback" not in err, case
        assert len(err) < 400_000, case


def test_a_folder_a_missing_file_and_an_unreadable_one(said: Caller, tmp_path: Path) -> None:
    (tmp_path / "folder.yaml").mkdir()
    for name in ("folder.yaml", "missing.yaml"):
        code, out, err = said("shortlist", str(tmp_path / name))
        assert (code, out) == (2, "")
        assert name in err
    for folder in ("nowhere", "folder.yaml"):
        code, out, err = said("shortlist", "frost-post", "--catalog", str(tmp_path / folder))
        assert (code, out) == (2, "")
        assert folder in err


def test_every_fault_of_a_run_at_once(said: Caller, product: Callable[..., str]) -> None:
    path = product(
        ("rail: 2.5 V", "rail: 2.5 mA"), ("every: 1 s", "every: 0 s"), ("retain:", "retian:")
    )
    code, out, err = said("shortlist", path, "--set", "quorvane-sij:memory.flash=3 V")
    assert (code, out) == (2, "")
    for key in ("rail", "workload.sample.every", "retian", "quorvane-sij:memory.flash"):
        assert key in err
    assert "4 faults, nothing written" in err


def test_faults_as_json(said: Caller, product: Callable[..., str]) -> None:
    path = product(("rail: 2.5 V", "rial: 2.5 V"))
    code, out, err = said("shortlist", path, "--format", "json")
    assert (code, out) == (2, "")
    (fault,) = json.loads(err)["faults"]
    assert fault.keys() == {"file", "line", "column", "path", "read", "expected", "nearest"}
    assert fault["file"] == path
    assert fault["nearest"] == "rail"
    assert Path(path).read_text().splitlines()[fault["line"] - 1].startswith("rial")


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ("frost-post:workload.sample.every=1ms", "busy share"),
        ("frost-post:needs.memory.flash=64 MiB", "memory.flash"),
        (
            "frost-post:supply-options.cells=[{budget: 10 mAh, voltage: 0.4 V}]",
            "voltage of a fresh pack",
        ),
        ("frost-post:workload.report.finish-within=1 ms", "finish-within"),
        ("frost-post:cost.unit-cost-limit=0.10", "unit-cost-limit"),
    ],
)
@pytest.mark.parametrize("form", ["table", "json", "csv"])
def test_nothing_fits_is_an_answer(said: Caller, change: str, word: str, form: str) -> None:
    code, out, err = said(
        "shortlist", "frost-post", "--draws", "0", "--set", change, "--format", form
    )
    assert code == 1
    assert word in out + err
    if form == "json":
        assert json.loads(out)["ranking"] == []
        assert err == ""


@pytest.mark.parametrize(
    "arguments",
    [
        ["shortlist"],
        ["shortlist", "frost-post", "--frobnicate"],
        ["frobnicate"],
        ["shortlist", "frost-past"],
        ["shortlist", "frost-post", "--draws", "-1"],
        ["shortlist", "frost-post", "--format", "xml"],
        ["shortlist", "frost-post", "--set", "nonsense"],
        ["shortlist", "frost-post", "--set", "frost-post:rail"],
        ["shortlist", "frost-post", "--set", "nobody:rail=1 V"],
        ["explain", "frost-post", "nobody"],
        ["explain", "frost-post", "quorvane-sij", "--over", "quorvane-sij"],
        ["catalog", "show", "nobody"],
        ["schema", "nothing"],
        ["outlook", "frost-post", "nobody"],
        ["outlook", "frost-post", "--along", "frost-post:nothing"],
        ["outlook", "frost-post", "--points", "1"],
        ["outlook", "frost-post", "--plot", "curves.pdf"],
        ["outlook", "frost-post", "--plot", "/nowhere/at/all/curves.svg"],
        ["shortlist", "frost-post", "-o", "/nowhere/at/all/answer.txt"],
    ],
)
def test_a_wrong_call(said: Caller, arguments: list[str]) -> None:
    code, out, err = said(*arguments)
    assert code == 2
    assert out == ""
    assert err


@pytest.mark.parametrize("typed", ["a" * 5000, "b " * 5000, "--" + "c" * 5000, "d\x1b[2J" * 999])
def test_what_was_typed_is_told_back_by_its_ends(said: Caller, typed: str) -> None:
    for more in ((), ("--format", "json")):
        code, out, err = said("kernels", "list", typed, *more)
        assert (code, out) == (2, "")
        assert len(err) < 3000
        assert "\x1b" not in err
        assert (typed if typed.isprintable() else "d")[:20] in err


def test_our_own_fault_is_never_the_user_s(said: Caller, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("inside")

    monkeypatch.setattr("advisor.studies.shortlist.shortlist", broken)
    code, out, err = said("shortlist", "frost-post")
    assert (code, out) == (3, "")
    assert "fault of this tool" in err
    assert "inside" not in err
    monkeypatch.setenv("ADVISOR_DEBUG", "1")
    with pytest.raises(ZeroDivisionError):
        call(["shortlist", "frost-post"])


def test_an_interrupt(said: Caller, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("advisor.studies.shortlist.shortlist", stopped)
    assert said("shortlist", "frost-post")[0] == 130


def test_a_closed_pipe_is_quiet() -> None:
    command = f"{sys.executable} -m advisor catalog show ostrel-yab | head -n 1"
    done = subprocess.run(
        ["bash", "-o", "pipefail", "-c", command],
        capture_output=True,
        text=True,
        timeout=HANG,
        check=False,
    )
    assert done.stderr == ""
    assert done.returncode == 0
    assert done.stdout.count("\n") == 1


@pytest.mark.once
def test_nothing_but_the_result_on_standard_output() -> None:
    # the solver has been known to print a banner there, so a process of its own tells
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "advisor",
            "explain",
            "frost-post",
            "quorvane-sij",
            "--format",
            "json",
        ],
        capture_output=True,
        text=True,
        timeout=HANG,
        check=True,
    )
    assert json.loads(done.stdout)["plan"]["bound_a"] is not None
    assert done.stderr == ""
