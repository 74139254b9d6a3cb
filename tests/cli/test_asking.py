"""Interviews from the command line: typed in a terminal, or answered by a script."""

from __future__ import annotations

import json
import os
import re
import select
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from advisor.catalogue.load import load_catalogue, load_product
from advisor.catalogue.shipped import catalogue_folder
from advisor.cli.streams import await_answer
from advisor.texts import HOSTILE
from tests.cli.conftest import Caller
from tests.cli.terminal import END, ROOT, STOP, session

FIRST = [
    *("1.8 V to 3.6 V", "24 MHz", "0.9 mA", "typ 1.1 uA max 3 uA", "20 us"),
    *("filter", "1.61(1) ms, 2.9 mA", "60 KiB, 10 KiB", "1.10 EUR", "3 h, 5 h, 16 h", "done"),
]
SECOND = [
    *("1.7 V to 3.6 V", "48 MHz", "1.9 mA", "0.6 uA", "30 us"),
    *("filter", "0.61 ms, 5.2 mA", "120 KiB, 20 KiB", "1.60 EUR", "2 h", "done"),
]
PRODUCT = ["sample 10 s", "filter 2", "probe 0.8 mA for 4 ms", "", "3 years", "", "", "done"]
ESCAPES = re.compile(r"\x1b\[[0-9;]*m")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where the user works, with no project above."""
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.once
def test_from_nothing_to_a_ranked_answer_with_two_own_parts(said: Caller, folder: Path) -> None:
    """In under 40 answers, Enter counted, and with no file edited by hand."""
    answers = 0
    for arguments, lines in (
        (["catalog", "start", "mine"], []),
        (["catalog", "add", "one", "-q"], FIRST),
        (["catalog", "add", "two", "-q"], SECOND),
        (["product", "new", "tag"], PRODUCT),
    ):
        done = session(arguments, lines, folder)
        assert done.code == 0, done.shown
        assert done.typed == len(lines), done.shown
        answers += done.typed
        if arguments[0] == "product":
            # shown after the fifth answer, with what was assumed
            at = [done.shown.index(f"\n{n}. ") for n in (6, 7)]
            assert done.shown.index("So far, for tag: 2 parts fit") < at[0]
            assert "assumed: environment 20 °C" in done.shown.replace("degC", "°C")
    assert answers < 40
    code, out, err = said("shortlist", "tag", "--draws", "200")
    assert code == 0
    assert "catalogue: mine, by .part-advisor.yaml" in err
    assert re.search(r"^First: (one|two) on budget", out, re.M)
    assert re.search(r"^2  (one|two) ", out, re.M)
    assert "DEMONSTRATION" not in out
    for check in (["catalog", "check"], ["product", "check", "tag"]):
        assert said(*check)[0] == 0


@pytest.mark.once
def test_a_part_is_looked_at_in_a_product_with_what_is_not_known(folder: Path) -> None:
    done = session(["catalog", "add", "one"], FIRST, folder)
    assert done.code == 0
    assert re.search(r"So far, in frost-post: one is number \d+ of \d+", done.shown)
    assert "not looked at, not known yet: need of features.uart" in done.shown
    assert "DEMONSTRATION DATA" in done.shown
    # beside no catalogue of one's own it lies in the working folder, which is said
    assert (folder / "one.yaml").is_file()
    assert "no catalogue that is read" in " ".join(done.shown.split())


def test_help_back_skip_and_faults_never_end_it(folder: Path) -> None:
    lines = [
        *("back", "?", "1.8 V to 3.6 A", "3.6 V to 1.8 V", "\x1b[A", "1.8 V to 3.6 V", "back"),
        *("1.7 V to 3.6 V", "skip", "", "x" * 3000, "24 MHz", "done"),
    ]
    done = session(["catalog", "add", "one", "-q"], lines, folder)
    assert (done.code, done.typed) == (0, len(lines)), done.shown
    words = " ".join(done.shown.split())
    for said in (
        "this is the first question",
        "Its key in scripts: supply.",
        "expected a voltage",
        "a range whose lower end is not above its upper end",
        "the control character U+001B",
        "nothing can be made without it",
        "there is no default",
        "3000 characters; expected at most 1000",
    ):
        assert said in words, said
    text = (folder / "one.yaml").read_text("utf-8")
    assert "min: 1.7 V" in text
    assert not HOSTILE.search(text)


@pytest.mark.parametrize(("key", "code"), [(STOP, 130), (END, 2)])
def test_an_interrupt_or_the_end_of_input_writes_nothing(folder: Path, key: str, code: int) -> None:
    done = session(["product", "new", "tag", "-q"], ["sample 10 s", key], folder)
    assert done.code == code
    assert list(folder.glob("*.yaml")) == []
    if code == 2:
        words = " ".join(done.shown.split())
        assert "tag:workload.sample.kernels: read the end of the answers" in words
        assert "--answer workload.sample.kernels=VALUE" in words


def test_an_interrupt_that_comes_before_the_wait_is_heard(monkeypatch: pytest.MonkeyPatch) -> None:
    """Between a question and the system's own wait, which begins once the interrupt has been."""
    master, slave = os.openpty()
    # a shell's background job begins with interrupts ignored, and so do the tests in one
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with open(slave, closefd=False) as terminal:
            monkeypatch.setattr(sys, "stdin", terminal)
            waits: list[float] = []

            def interrupted(*given: Any) -> Any:
                waits.append(given[3])
                assert len(waits) <= 2
                if len(waits) == 2:
                    signal.raise_signal(signal.SIGINT)
                return [], [], []

            monkeypatch.setattr(select, "select", interrupted)
            with pytest.raises(KeyboardInterrupt):
                await_answer()
            assert len(waits) == 2
            assert 0 < max(waits) < 1
            monkeypatch.undo()
            monkeypatch.setattr(sys, "stdin", terminal)
            os.write(master, b"an answer\n")
            await_answer()
            assert terminal.readline() == "an answer\n"
    finally:
        signal.signal(signal.SIGINT, before)
        os.close(master)
        os.close(slave)


def test_lines_pasted_at_once_answer_one_question_each(folder: Path) -> None:
    done = session(["catalog", "add", "one", "-q"], FIRST, folder, at_once=True)
    assert done.code == 0, done.shown
    part = load_catalogue([_as_catalogue(folder)]).parts["one"]
    assert part.toolchain.setup is not None
    assert set(part.kernels["filter"]) == {"run"}


def _as_catalogue(folder: Path) -> Path:
    place = folder / "made"
    (place / "parts").mkdir(parents=True)
    (folder / "one.yaml").rename(place / "parts" / "one.yaml")
    return place


@pytest.mark.parametrize(
    "environment",
    [
        {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
        {"PYTHONIOENCODING": "latin-1", "NO_COLOR": "1"},
    ],
)
def test_narrow_terminals_and_other_encodings(folder: Path, environment: dict[str, str]) -> None:
    lines = ["1.8 V to 3.6 V", "24 MHz", "0.9 mA", "1.1 µA", "?", "done"]
    arguments = ["catalog", "add", "one", "-q"]
    done = session(arguments, lines, folder, columns=40, environment=environment)
    assert done.code == 0, done.shown
    assert "current: 1.1 µA" in (folder / "one.yaml").read_text("utf-8")
    asked = done.shown.partition("\n1. ")[2].partition("one.yaml: ")[0]
    # what the user types stands behind a prompt, which is no line of the tool's
    ours = [line for line in asked.splitlines() if "> " not in line]
    # the degree sign is one byte in Latin-1, which is no UTF-8
    ours = [line.replace("\\xb0", "°") for line in ours]
    assert [line for line in ours if len(line) > 40] == []
    if "NO_COLOR" in environment:
        assert not ESCAPES.search(done.shown)


def add(said: Caller, *answers: str, name: str = "one") -> tuple[int, str, str]:
    options = [f"--answer={one}" for one in answers]
    return said("catalog", "add", name, "--defaults", *options)


def test_a_script_gives_answers_by_options_and_a_file(said: Caller, folder: Path) -> None:
    file = folder / "answers.yaml"
    file.write_text(
        "# of the sheet\nsupply: 1.8 V to 3.6 V\noperating-points: {run: {clock: 16 MHz}}\n"
        "sleep-states: {ram-kept: {current: 2 uA}}\n",
        "utf-8",
    )
    arguments = ["catalog", "add", "one", "--answers", str(file), "--defaults"]
    # a mapping stands for one value of ByName only where the form has none of its own
    code, _, err = said(*arguments)
    assert code == 2
    assert f"{file}:3:1: one:operating-points" in err
    file.write_text("supply: 1.8 V to 3.6 V\noperating-points: 16 MHz\n", "utf-8")
    code, out, err = said(*arguments, "--answer", "operating-points=24 MHz", "--format", "json")
    assert (code, err.count("\n")) == (0, 0), err
    found = json.loads(out)
    assert found["part"] == "one"
    assert found["file"] == "one.yaml"
    assert found["new"] is True
    assert found["defaults"]["temperature"] == "-40 degC to 85 degC"
    assert "memory" in found["not_known"]
    text = Path("one.yaml").read_text("utf-8")
    assert "clock: 24 MHz" in text
    # the same again changes nothing; another answer is refused
    code, out, _ = said(*arguments, "--answer", "operating-points=24 MHz", "--format", "json")
    assert (code, json.loads(out)["new"]) == (0, False)
    code, _, err = said(*arguments)
    assert code == 2
    assert "what stands is not written over" in err
    assert Path("one.yaml").read_text("utf-8") == text


def test_a_scripts_wrong_answers_are_all_told_at_once(said: Caller, folder: Path) -> None:
    code, _, err = add(said, "supply=3 A, 4 A", "operating-points=24 MHz", "price=free")
    assert code == 2
    assert err.count("one:supply.min: ") == 1
    assert err.count("one:supply.max: ") == 1
    assert "one:price: " in err
    assert not Path("one.yaml").exists()
    code, _, err = add(said, "operating-points=24 MHz", "memroy=1 KiB, 1 KiB")
    assert code == 2
    assert "memroy: " in err
    assert "nearest valid: memory" in err
    for wrong, words in (("supply", "KEY=VALUE"), ("=1", "KEY=VALUE")):
        code, _, err = add(said, "operating-points=24 MHz", wrong)
        assert code == 2
        assert words in err
    code, _, err = add(said, "supply=skip", "supply=1 V, 2 V", "operating-points=24 MHz")
    assert code == 2
    assert "supply twice" in err


@pytest.mark.once
def test_a_pipe_that_lacks_an_answer_is_told_its_key(folder: Path) -> None:
    def run(given: bytes, *arguments: str) -> subprocess.CompletedProcess[bytes]:
        return subprocess.run(
            [sys.executable, "-m", "advisor", *arguments],
            input=given,
            capture_output=True,
            timeout=60,
            cwd=folder,
            env={
                "PYTHONPATH": str(ROOT),
                "HOME": str(folder),
                "ADVISOR_CACHE_DIR": "/dev/null",
            },
            check=False,
        )

    done = run(b"10 s\nskip\n", "product", "new", "tag")
    assert done.returncode == 2
    assert b"tag:workload.work.loads: read the end of the answers" in done.stderr
    assert done.stdout == b""
    assert not (folder / "tag.yaml").exists()
    done = run(b"10 s\ndone", "product", "new", "tag")  # no line feed behind the last answer
    assert done.returncode == 0
    assert (folder / "tag.yaml").exists()
    done = run(b"\xff\xfe\n", "product", "new", "tig")
    assert done.returncode == 2
    assert b"Traceback" not in done.stderr
    done = run(b"", "catalog", "add", "--defaults")
    assert done.returncode == 2
    assert b"--answer part=VALUE" in done.stderr


def test_questions_are_listed_with_keys_defaults_and_reasons(said: Caller, folder: Path) -> None:
    code, out, _ = said("product", "new", "--list-questions", "--format", "json")
    assert code == 0
    rows = {row["key"]: row for row in json.loads(out)["questions"]}
    assert rows["workload.<task>.kernels"]["needed"] is False
    assert "no source" in rows["environment"]["reason"]
    code, out, _ = said("catalog", "add", "--list-questions", "--width", "40")
    assert code == 0
    assert "kernels.<kernel>.<operating point>" in out
    code, out, _ = said("catalog", "add", "--list-questions", "--format", "csv")
    assert out.splitlines()[0] == "key,question,example,default,reason,needed"


def test_a_catalogue_is_started_where_nothing_is(said: Caller, folder: Path) -> None:
    code, out, _ = said("catalog", "start", "mine", "--format", "json")
    assert code == 0
    assert json.loads(out)["project"] == ".part-advisor.yaml"
    assert {p.name for p in Path("mine").iterdir()} == {
        *("parts", "cells", "converters", "addons", "kernels.yaml")
    }
    code, out, _ = said("catalog", "check")
    assert code == 0
    assert "No parts yet: `part-advisor catalog add` asks for one." in out
    # nothing is written over, and the project stays as it is
    code, _, err = said("catalog", "start", "mine")
    assert code == 2
    assert "a new or empty folder" in err
    code, out, _ = said("catalog", "start", "more", "--examples")
    assert code == 0
    assert "add more to its catalogues" in " ".join(out.split())
    assert "mine" in Path(".part-advisor.yaml").read_text("utf-8")
    more = load_catalogue([Path("more")])
    assert all(cell.invented for cell in more.cells.values())
    assert len(more.cells) == len(load_catalogue([catalogue_folder()]).cells)


def test_a_product_on_an_empty_catalogue_says_what_is_missing(said: Caller, folder: Path) -> None:
    assert said("catalog", "start", "mine")[0] == 0
    options = ["--defaults", "--answer", "workload=sample 10 s"]
    assert said("product", "new", "tag", *options)[0] == 0
    code, out, _ = said("shortlist", "tag", "--draws", "20")
    assert code == 1
    assert "the catalogue has no parts yet" in out


def test_new_files_go_where_the_project_or_the_call_says(said: Caller, folder: Path) -> None:
    assert said("catalog", "start", "mine")[0] == 0
    assert add(said, "operating-points=24 MHz")[0] == 0
    assert Path("mine/parts/one.yaml").is_file()
    code, _, err = add(said, "operating-points=24 MHz", name="filter")
    assert code == 0, err
    other = folder / "other"
    (other / "parts").mkdir(parents=True)
    (other / "kernels.yaml").write_bytes(Path("mine/kernels.yaml").read_bytes())
    options = ["--defaults", "--answer", "operating-points=1 MHz", "--catalog", str(other)]
    code, out, _ = said("catalog", "add", "three", *options)
    assert code == 0
    assert (other / "parts" / "three.yaml").is_file()
    assert f"--catalog {other}" in out
    code, _, err = said("catalog", "add", "four", *options, "-o", "else.yaml")
    assert code == 2
    assert "four.yaml: a file is named after its id" in err


def test_an_id_of_the_catalogue_is_not_given_to_a_product(said: Caller, folder: Path) -> None:
    options = ["--defaults", "--answer", "workload=10 s"]
    code, _, err = said("product", "new", "lb-coin", *options)
    assert code == 2
    assert "lb-coin" in err
    assert not Path("lb-coin.yaml").exists()


def test_a_terminal_is_told_at_once_of_a_file_that_stands(folder: Path) -> None:
    (folder / "tag.yaml").write_text("product: tag\n", "utf-8")
    done = session(["product", "new", "tag"], [], folder)
    assert done.code == 2
    assert "which is there" in " ".join(done.shown.split())
    # asked for, the id is refused at its question
    lines = ["tag", "../up", "lb-coin", "tog", "sample 10 s", "done"]
    done = session(["product", "new", "-q"], lines, folder)
    assert (done.code, done.typed) == (0, len(lines)), done.shown
    words = " ".join(done.shown.split())
    assert "which is there" in words
    assert "an id that no file of the catalogue bears" in words
    assert {path.name for path in folder.glob("*.yaml")} == {"tag.yaml", "tog.yaml"}


def test_a_look_that_is_asked_for_is_given_to_scripts_too(said: Caller, folder: Path) -> None:
    figures = ["operating-points=24 MHz", "operating-points.run.idle-current=1 mA"]
    figures += ["sleep-states=1 uA", "sleep-states.ram-kept.wake-time=20 us", "supply=1.8 to 3.6 V"]
    options = ["--defaults", *(f"--answer={one}" for one in figures), "--format", "json"]
    code, out, err = said("catalog", "add", "one", *options, "--for", "barrel-tag")
    assert code == 0
    look = json.loads(out)["look"]
    assert (look["product"], look["own"]) == ("barrel-tag", "one")
    assert "kernel crc" in look["left"]
    assert "So far, in barrel-tag" in err
    assert "look" not in json.loads(said("catalog", "add", "two", *options)[1])
    code, _, err = said("catalog", "add", "three", *options, "--for", "nobody")
    assert code == 2
    assert not Path("three.yaml").exists()


def test_an_id_is_told_once(said: Caller, folder: Path) -> None:
    code, _, err = add(said, "operating-points=24 MHz", "part=two")
    assert code == 2
    assert "the id told once" in err
    code, _, err = said("catalog", "add", "../x", "--defaults")
    assert code == 2
    assert "lower-case letters" in err


# ------------------------------------------------------------------------- the project's file


@pytest.fixture
def project(said: Caller, folder: Path) -> Path:
    """A project with a catalogue of one part over the demonstration, and a product."""
    assert said("catalog", "start", "mine")[0] == 0
    assert add(said, "operating-points=24 MHz")[0] == 0
    options = ["--defaults", "--answer", "workload=sample 10 s"]
    assert said("product", "new", "tag", *options)[0] == 0
    return folder


def test_what_the_project_names_is_read_and_told(said: Caller, project: Path) -> None:
    code, out, err = said("product", "check", "tag", "--format", "json")
    assert code == 0
    assert err == "part-advisor: catalogue: mine, by .part-advisor.yaml\n"
    assert json.loads(out)["project"] == {
        "file": ".part-advisor.yaml",
        "demonstration": False,
        "catalogues": ["mine"],
    }
    assert said("product", "check", "tag", "-q")[2] == ""
    code, out, _ = said("product", "list", "--format", "csv")
    assert "tag," in out
    # --catalog counts before it, and JSON says no more
    listing = ("catalog", "list", "--format", "json")
    code, out, err = said(*listing, "--catalog", str(catalogue_folder()))
    assert code == 0
    assert "by --catalog, in place of that of .part-advisor.yaml" in err
    assert "project" not in json.loads(out)
    text = Path(".part-advisor.yaml").read_text("utf-8").replace("false", "true", 1)
    Path(".part-advisor.yaml").write_text(text, "utf-8")
    code, out, err = said(*listing)
    assert "catalogue: the demonstration, mine" in err
    assert "ostrel-yab" in out
    assert '"one"' in out


def test_inputs_of_the_project_are_not_written_over(said: Caller, project: Path) -> None:
    before = {p: p.read_bytes() for p in project.rglob("*.yaml")}
    for place in ("mine/parts/one.yaml", ".part-advisor.yaml", "tag.yaml"):
        code, _, err = said("shortlist", "tag", "--draws", "0", "-o", place)
        assert code == 2
        assert "an input of this run" in err
    assert {p: p.read_bytes() for p in project.rglob("*.yaml")} == before


@pytest.mark.parametrize(
    "arguments",
    [
        ("shortlist", "nobody"),
        ("catalog", "show", "nothing"),
        ("compare", "nothing"),
        ("shortlist", "frost-post", "--set", "nobody:price=1"),
    ],
)
def test_a_forgotten_catalogue_is_told(
    said: Caller, folder: Path, arguments: tuple[str, ...]
) -> None:
    code, _, err = said(*arguments)
    assert code == 2
    assert "only the demonstration catalogue was read" in err
    assert "--catalog DIR" in err
    code, _, err = said(*arguments, "--catalog", str(catalogue_folder()))
    assert code == 2
    assert "only the demonstration" not in err


def test_an_unknown_kernel_or_cell_of_a_product_hints_at_the_catalogue(
    said: Caller, folder: Path
) -> None:
    Path("tag.yaml").write_text(
        "product: tag\nlife-target: 3 years\nenvironment: [{at: 20 degC, share: 1}]\n"
        "workload: [{task: t, every: 1 s, kernels: {mine: 1}}]\n"
        "supply-options: {cells: [{cell: mine-cell}]}\npriorities: {battery-life: {weight: 1}}\n",
        "utf-8",
    )
    code, _, err = said("product", "check", "tag.yaml", "--format", "json")
    assert code == 2
    faults = json.loads(err)["faults"]
    assert len(faults) == 2
    assert all("only the demonstration catalogue was read" in f["expected"] for f in faults)
    # and prices in a currency that one's own catalogue may not have
    text = Path("tag.yaml").read_text("utf-8").replace("{mine: 1}", "{filter: 1}")
    text = text.replace("{cell: mine-cell}", "{budget: 100 mAh, voltage: 3 V}")
    text += "service-life: 3 years\ncost: {currency: EUR, units: 100}\n"
    Path("tag.yaml").write_text(text, "utf-8")
    code, _, err = said("product", "check", "tag.yaml")
    assert code == 2
    assert "cost.rates.USD" in err
    assert "only the demonstration catalogue was read" in err


def test_a_project_in_a_folder_above_counts(
    said: Caller, project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (project / "deep").mkdir()
    monkeypatch.chdir(project / "deep")
    code, _, err = said("product", "check", "tag")
    assert code == 0
    assert err == "part-advisor: catalogue: ../mine, by ../.part-advisor.yaml\n"
    product = load_product(project / "tag.yaml", load_catalogue([project / "mine"]))
    assert product.product == "tag"
