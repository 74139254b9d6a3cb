"""Whatever the streams, the names and the surroundings are: the right exit code, and no traceback.

A process of its own each time: streams are closed and full for all of it.
"""

from __future__ import annotations

import csv
import gc
import io
import json
import os
import shlex
import subprocess
import sys
from itertools import product
from pathlib import Path

import pytest

from advisor.catalogue.shipped import catalogue_folder, product_files
from tests.cli.conftest import Caller
from tests.shares import mostly_slow

HANG = 60  # s, a guard against hanging on a slow machine, no claim of speed
LONG = "n" * 300  # a name of more than the 255 bytes that a file may bear


def shell(line: str, folder: Path, **environment: str | None) -> subprocess.CompletedProcess[bytes]:
    """Run a line in which `advisor` is the tool."""
    given: dict[str, str | None] = {**os.environ, "ADVISOR_CACHE_DIR": "/dev/null"}
    given |= environment
    done = subprocess.run(
        ["bash", "-c", f'advisor() {{ {shlex.quote(sys.executable)} -m advisor "$@"; }}; {line}'],
        cwd=folder,
        env={name: value for name, value in given.items() if value is not None}
        | {"PYTHONPATH": str(Path(__file__).resolve().parents[2])},
        capture_output=True,
        timeout=HANG,
        check=False,
    )
    assert b"Traceback" not in done.stderr
    assert b"Exception ignored" not in done.stderr
    return done


# a report of it takes little: there are no curves to draw
ASLEEP = (
    "product: asleep\ninvented: true\nlife-target: 5 years\nrail: 3.0 V\n"
    "environment: [{at: 20 degC, share: 1}]\nworkload: []\n"
    "supply-options: {cells: [{budget: 900 mAh, voltage: 3.0 V}]}\n"
    "priorities: {battery-life: {weight: 1}}\n"
)
STREAMS = {
    "output closed": "advisor product list >&-",
    "output closed, help": "advisor --help >&-",
    "output closed, version": "advisor --version >&-",
    "output closed, report": "advisor report ../asleep.yaml --draws 0 -o r.md >&-",
    "errors closed": "advisor shortlist nobody 2>&-",
    "all closed": "advisor shortlist nobody <&- >&- 2>&-",
    "input closed": "advisor shortlist - <&-",
    "output full": "advisor product list >/dev/full",
    "output full, JSON": "advisor product list --format json >/dev/full",
    "output full, help": "advisor --help >/dev/full",
    "output full, version": "advisor --version >/dev/full",
    "output full, report": "advisor report ../asleep.yaml --draws 0 -o r.md >/dev/full",
    "errors full": "advisor shortlist nobody 2>/dev/full",
    "both full": "advisor product list >/dev/full 2>/dev/full",
}


@pytest.mark.parametrize("case", STREAMS)
def test_streams_that_take_nothing(tmp_path: Path, case: str) -> None:
    (tmp_path / "asleep.yaml").write_text(ASLEEP, "utf-8")
    here = tmp_path / "here"
    here.mkdir()
    done = shell(STREAMS[case], here)
    assert (done.returncode, done.stdout) == (2, b"")
    # nothing was written, as it says
    assert list(here.iterdir()) == []


@pytest.mark.once
def test_what_cannot_be_said_is_no_reason_to_fail(tmp_path: Path) -> None:
    whole = shell("advisor shortlist barrel-tag --draws 0 --format csv", tmp_path)
    assert whole.returncode == 0
    for errors in ("2>&-", "2>/dev/full"):
        done = shell(f"advisor shortlist barrel-tag --draws 0 --format csv {errors}", tmp_path)
        assert (done.returncode, done.stdout) == (0, whole.stdout)


@pytest.mark.once
@pytest.mark.parametrize(
    ("encoding", "form"),
    # each of both once, and in slow tests with every other
    mostly_slow(product(["ascii", "cp1252", "utf-16"], ["table", "csv", "json"]), 4),
)
def test_output_on_any_encoding(tmp_path: Path, said: Caller, encoding: str, form: str) -> None:
    line = f"catalog show ostrel-yab --format {form}"
    done = shell(f"advisor {line}", tmp_path, PYTHONIOENCODING=encoding)
    assert done.returncode == 0
    text, whole = done.stdout.decode(encoding), said(*line.split())[1]
    assert not whole.isascii()
    if form == "json":
        assert json.loads(text) == json.loads(whole)
    else:
        assert len(text.splitlines()) == len(whole.splitlines())


@pytest.mark.once
def test_faults_on_any_encoding(tmp_path: Path) -> None:
    line = "advisor shortlist 日本 --format json"
    for encoding in ("ascii", "cp1252"):
        done = shell(line, tmp_path, PYTHONIOENCODING=encoding)
        assert done.returncode == 2
        assert "日本" in json.loads(done.stderr)["faults"][0]["read"]
        assert shell("advisor shortlist 日本", tmp_path, PYTHONIOENCODING=encoding).returncode == 2


NAMES = {
    "product": f"advisor shortlist {LONG}",
    "product's file": f"advisor shortlist {LONG}.yaml",
    "catalogue": f"advisor catalog list --catalog {LONG}",
    "output": f"advisor product list -o {LONG}",
    "folder": f"advisor kernels export {LONG}",
    "log": f"advisor kernels verify --log {LONG}",
    "record": f"advisor revisit {LONG}",
    "notes": f"advisor rehearse {LONG}",
    "bench": f"advisor distil t.csv --bench {LONG}",
    "plot": f"advisor compare --plot {LONG}.svg",
    "write": f"advisor weights {LONG}.yaml --write",
}


@pytest.mark.parametrize("case", NAMES)
def test_names_that_no_file_bears(said: Caller, case: str) -> None:
    code, out, err = said(*NAMES[case].split()[1:])
    assert (code, out) == (2, "")
    assert "nothing written" in err


def test_no_home(tmp_path: Path) -> None:
    gone = dict.fromkeys(("HOME", "ADVISOR_CACHE_DIR", "XDG_CACHE_HOME", "USER", "LOGNAME"))
    done = shell("advisor shortlist barrel-tag --draws 0", tmp_path, **gone)
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.once
@pytest.mark.usefixtures("studied_once")
def test_paths_that_are_no_utf_8(
    tmp_path: Path, said: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = product_files()["barrel-tag"].read_text("utf-8")
    folder = os.fsencode(tmp_path) + b"/\xff \x1b[31m"
    os.mkdir(folder)
    with open(os.path.join(folder, b"mine.yaml"), "w") as file:
        file.write(text.replace("product: barrel-tag", "product: mine"))
    monkeypatch.chdir(tmp_path)
    name = os.fsdecode(b"\xff \x1b[31m/mine.yaml")
    typed = "$'\\377 \\033[31m/mine.yaml'"
    done = shell(f"advisor shortlist {typed} --draws 0 --format table", tmp_path)
    assert done.returncode == 0
    assert said("shortlist", name, "--draws", "0", "--format", "json")[0] == 0
    wrong = shell(f"advisor shortlist {typed} --set mine:rail=3A --format json -o x", tmp_path)
    assert wrong.returncode == 2
    assert b"\x1b" not in wrong.stderr
    wrong.stderr.decode()
    for ending in ("html", "md", "xlsx"):
        place = f"r.{ending}"
        along = ("--along", "mine:cost.units")
        assert said("report", name, "--draws", "0", *along, "-o", place)[0] == 0
    # what is printed to get it again can be pasted as it stands
    told = (tmp_path / "r.md").read_text("utf-8")
    (line,) = [x for x in told.splitlines() if x.startswith("part-advisor shortlist")]
    again = shell(line.replace("part-advisor", "advisor"), tmp_path)
    assert again.returncode == 0
    assert said("product", "list", "-o", os.fsdecode(b"\xff"))[0] == 0
    assert os.path.exists(os.fsencode(tmp_path) + b"/\xff")


@pytest.mark.parametrize(
    "command", ["shortlist barrel-tag", "rehearse notes.yaml", "decide barrel-tag x --because y"]
)
@pytest.mark.parametrize("seed", ["-1", "1000000000000", "x"])
def test_seeds_that_are_none(said: Caller, command: str, seed: str) -> None:
    code, out, err = said(*command.split(), "--seed", seed)
    assert (code, out) == (2, "")
    assert "--seed" in err


def test_a_folder_that_cannot_be_read(said: Caller, monkeypatch: pytest.MonkeyPatch) -> None:
    real = Path.iterdir

    def closed(self: Path) -> object:
        if self.name == "parts":
            raise PermissionError(13, "Permission denied", str(self))
        return real(self)

    monkeypatch.setattr(Path, "iterdir", closed)
    code, out, err = said("catalog", "list", "--catalog", str(catalogue_folder()))
    assert (code, out) == (2, "")
    assert "parts: read Permission denied" in err


def test_what_the_system_refuses_is_no_fault_of_ours(
    said: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(24, "Too many open files", "somewhere")

    monkeypatch.setattr("advisor.studies.shortlist.shortlist", full)
    code, out, err = said("shortlist", "frost-post")
    assert (code, out) == (2, "")
    assert "somewhere: read Too many open files" in err


STOPPED = """
import importlib.abc, os, signal, sys
# as in a terminal: a shell's background job begins with interrupts ignored
signal.signal(signal.SIGINT, signal.default_int_handler)
at = sys.argv.pop(1)
class Stop(importlib.abc.MetaPathFinder):
    def find_spec(self, name, *_):
        if name == at:
            os.kill(os.getpid(), signal.SIGINT)
sys.meta_path.insert(0, Stop())
from advisor.cli.main import run
run()
"""


@pytest.mark.parametrize(
    "module",
    [
        *("typer", "advisor.cli.application", "advisor.cli.weighing", "typer.exceptions", "yaml"),
        *("advisor.catalogue.load", "numpy", "advisor.studies.shortlist", "csv"),
    ],
)
def test_an_interrupt_during_start_up(tmp_path: Path, module: str) -> None:
    call = [sys.executable, "-c", STOPPED, module, "shortlist", "barrel-tag", "--format", "csv"]
    root = str(Path(__file__).resolve().parents[2])
    done = subprocess.run(
        call,
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": root},
        capture_output=True,
        timeout=HANG,
        check=False,
    )
    assert (done.returncode, done.stdout) == (130, b"")
    assert done.stderr == b"part-advisor: interrupted\n"


# Forms ------------------------------------------------------------------------------------------

UNFIT = ("--set", "frost-post:needs.memory.flash=64 MiB")


def test_a_part_that_is_out_is_told_in_every_form(said: Caller) -> None:
    call = ["explain", "frost-post", "quorvane-sij", "--draws", "0", *UNFIT]
    code, out, err = said(*call, "--format", "json")
    assert (code, err) == (1, "")
    told = json.loads(out)
    assert told["ranked"] is False
    assert told["part"] == "quorvane-sij"
    assert "memory.flash" in told["why"]
    code, out, err = said(*call, "--format", "csv")
    assert code == 1
    assert out.splitlines()[0].startswith("criterion,points")
    assert "memory.flash" in err
    code, out, err = said(*call)
    assert (code, out) == (1, "")
    assert "quorvane-sij is screened out" in err


@pytest.mark.once
@pytest.mark.parametrize(
    "command",
    [
        ["shortlist", "barrel-tag", "--draws", "0"],
        [
            *("outlook", "barrel-tag", "--points", "2", "--draws", "0"),
            *("--along", "barrel-tag:cost.units=1000:2000"),
        ],
        [
            *("tipping", "barrel-tag", "--points", "1", "--draws", "0"),
            *("--lever", "quorvane-tib:price.breaks.1000"),
        ],
        ["gaps", "barrel-tag", "--draws", "100"],
    ],
    ids=lambda command: command[0],
)
def test_a_table_has_its_head_even_if_nothing_fits(said: Caller, command: list[str]) -> None:
    unfit = ("--set", "barrel-tag:needs.memory.flash=64 MiB")
    fits = said(*command, "--format", "csv", "--quiet")
    none = said(*command, *unfit, "--format", "csv", "--quiet")
    assert (fits[0], none[0]) == (0, 1)
    heads = [next(csv.reader(io.StringIO(out))) for out in (fits[1], none[1])]
    assert heads[0] == heads[1]


def test_an_empty_list_of_warnings_has_its_head(said: Caller) -> None:
    code, out, _ = said("product", "check", "frost-post", "--format", "csv")
    assert code == 0
    assert out.startswith("file,line,column,path,read,expected,nearest\n")


# Texts ------------------------------------------------------------------------------------------


@pytest.mark.once
@pytest.mark.parametrize("text", ["\x1b[31m", "a\u202eb", "\x9b2J"])
def test_what_is_typed_is_shown_escaped(said: Caller, text: str) -> None:
    for call in (
        ["shortlist", text],
        [text],
        ["shortlist", "frost-post", text],
        ["shortlist", "frost-post", "--set", text],
        ["shortlist", "frost-post", "--set", f"frost-post:{text}=1"],
        ["shortlist", "frost-post", "--set", f"frost-post:summary={text}"],
        ["shortlist", "frost-post", "--format", text],
        ["product", "list", "-o", f"/none/{text}"],
        ["explain", "frost-post", text],
        ["weights", "frost-post", "--order", text],
        ["compare", text],
    ):
        code, out, err = said(*call)
        assert (code, out) == (2, "")
        assert text not in err
        assert "\\x" in err or "\\u" in err or "U+" in err


CALL = """
import gc, sys
{before}
from advisor.cli import main
told = []
def call(arguments, stopped):
    from advisor.cli.application import carry_out
    code = carry_out(arguments, stopped)
    told.append((gc.isenabled(), gc.get_freeze_count() > 50_000))
    return code
main.call = call
sys.argv = ["part-advisor", "shortlist", "barrel-tag", "--draws", "0"]
try:
    main.run()
except SystemExit as end:
    print(told, end.code)
"""


@pytest.mark.parametrize("before", ["", "sys.modules['ctypes'] = None", "gc.collect()"])
def test_a_call_collects_what_it_makes_and_does_without_the_c_library(before: str) -> None:
    """The collector is on while a command works, and what was loaded and read is frozen; a Python
    without access to the C library answers as well."""
    done = subprocess.run(
        [sys.executable, "-c", CALL.format(before=before)],
        env=os.environ | {"ADVISOR_CACHE_DIR": "/dev/null"},
        cwd=Path(__file__).resolve().parents[2],
        capture_output=True,
        text=True,
        timeout=HANG,
        check=False,
    )
    assert done.stderr == ""
    assert done.stdout.splitlines()[-1] == "[(True, True)] 0"


def test_a_call_among_others_freezes_nothing(said: Caller) -> None:
    frozen = gc.get_freeze_count()
    assert said("shortlist", "barrel-tag", "--draws", "0")[0] == 0
    assert gc.get_freeze_count() <= frozen  # some of it is dropped
