"""Completion: what may stand at the cursor, in real shells, and never a word of what is wrong."""

from __future__ import annotations

import os
import pty
import select
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import typer

from advisor.catalogue.shipped import catalogue_folder, product_files
from advisor.cli.application import app
from advisor.cli.completing import COMPLETERS, answer, bash_lines, candidates
from advisor.cli.completion import SCRIPTS, Shell

PARTS = sorted(path.stem for path in (catalogue_folder() / "parts").glob("*.yaml"))
PRODUCTS = list(product_files())


def told(*words: str) -> list[str]:
    return [value for value, _ in candidates(words)]


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (["shortl"], ["shortlist"]),
        (["catalog", "sh"], ["show"]),
        (["shortlist", ""], PRODUCTS),
        (["shortlist", "fr"], ["frost-post"]),
        (["explain", "frost-post", ""], PARTS),
        (["explain", "frost-post", "ostrel-yab", "--over", "quorvane-j"], ["quorvane-jor"]),
        (["compare", "quorvane-j"], ["quorvane-jor"]),
        (["catalog", "show", "ls-p"], ["ls-pen"]),
        (["shortlist", "frost-post", "--se"], ["--set", "--seed"]),
        (["shortlist", "--format", "j"], ["json"]),
        (["shortlist", "frost-post", "--set", "frost"], ["frost-post:"]),
        (["shortlist", "frost-post", "--set", "frost-post:wor"], ["frost-post:workload."]),
        (
            ["shortlist", "frost-post", "--set", "frost-post:workload.sample.ev"],
            ["frost-post:workload.sample.every="],
        ),
        (
            ["shortlist", "frost-post", "--set=frost-post:workload.sample.ev"],
            ["frost-post:workload.sample.every="],
        ),
        (
            ["shortlist", "frost-post", "--set", "frost-post:workload.sample.every="],
            ["frost-post:workload.sample.every=1 s"],
        ),
        (
            ["tipping", "frost-post", "--lever", "ostrel-yab:price.mult"],
            ["ostrel-yab:price.multiple"],
        ),
        (
            ["outlook", "frost-post", "--along", "ostrel-yab:price.mult"],
            ["ostrel-yab:price.multiple"],
        ),
        (["weights", "frost-post", "--order", "toolchain,bring"], ["toolchain,bring-up"]),
        (["kernels", "export", "--kernels", "hash,cr"], ["hash,crc"]),
        (["schema", "inst"], ["instrument"]),
        (["completion", "z"], ["zsh"]),
        (["shortlist", "frost-post", "--set", "nobody:"], []),
        (["hours", "add", "log.yaml", "--toolchain", ""], []),
    ],
)
def test_what_may_stand_at_the_cursor(words: list[str], wanted: list[str]) -> None:
    found = told(*words)
    if words == ["shortlist", "frost-post", "--set", "frost-post:workload.sample.every="]:
        text = product_files()["frost-post"].read_text()
        assert found[0].partition("=")[2] in text
        return
    assert sorted(found) == sorted(wanted)


def test_every_path_that_is_offered_leads_to_a_figure() -> None:
    """Going down every branch ends at a value, by paths that `--set` takes as they stand."""
    from advisor.catalogue.shipped import load

    left = ["ostrel-yab:price.", "ostrel-yab:sleep-states."]
    whole: list[str] = []
    while left:
        for found in told("shortlist", "frost-post", "--set", left.pop()):
            (whole if found.endswith("=") else left).append(found)
    assert len(whole) > 8
    changes = []
    for path in whole:
        (full,) = told("shortlist", "frost-post", "--set", path)
        changes.append(full)
    # each laid over with the value that stands
    catalogue, _ = load("frost-post", changes=[c for c in changes if "[" not in c])
    assert "ostrel-yab" in catalogue.parts


def test_one_s_own_catalogue_and_product_are_looked_into(tmp_path: Path) -> None:
    (tmp_path / "parts").mkdir()
    (tmp_path / "parts/my-chip.yaml").write_text("part: my-chip\nmemory: {ram: 1 KiB}\n")
    own = tmp_path / "my-post.yaml"
    own.write_text(product_files()["frost-post"].read_text().replace("frost-post", "my-post"))
    given = ["shortlist", str(own), "--catalog", str(tmp_path), "--set"]
    assert told(*given, "my-") == ["my-post:", "my-chip:"]
    assert told(*given, "my-chip:mem") == ["my-chip:memory."]
    assert told(*given, "my-chip:memory.") == ["my-chip:memory.ram="]
    assert told("explain", str(own), "--catalog", str(tmp_path), "m") == ["my-chip"]


BROKEN = {
    "not YAML": "part: [\n",
    "bytes": "\x00\x01",
    "a list": "- 1\n- 2\n",
    "nothing": "",
    "hostile": 'part: "a\\eb"\n"\\e[31m": 1\n',
}


@pytest.mark.parametrize("case", BROKEN)
def test_broken_files_are_passed_over_in_silence(
    tmp_path: Path, case: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "parts").mkdir()
    (tmp_path / "parts/odd.yaml").write_text(BROKEN[case])
    (tmp_path / "kernels.yaml").write_text(BROKEN[case])
    given = ["shortlist", "no/where.yaml", "--catalog", str(tmp_path), "--set"]
    for word in ("odd:", "odd:part", "kernels:", ""):
        answer("fish", [*given, word])
        found = capsys.readouterr()
        assert found.err == ""
        assert "\x1b" not in found.out
    answer("fish", ["kernels", "export", "--kernels", ""])
    assert capsys.readouterr().err == ""


def test_a_shell_s_call_says_nothing_but_candidates() -> None:
    line = "part-advisor explain frost-post quorvane-j"
    extra = {"PART_ADVISOR_COMPLETE": "bash", "COMP_LINE": line, "COMP_POINT": str(len(line))}
    call, env = [sys.executable, "-m", "advisor"], {**os.environ, **extra}
    done = subprocess.run(call, env=env, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "quorvane-jor\n", "")


@pytest.mark.parametrize("words", [["--bogus", ""], ["bogus", "x"], ["shortlist"] * 50, [""] * 3])
def test_lines_that_lead_nowhere_are_passed_over(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    answer("zsh", words)
    assert capsys.readouterr().err == ""


def test_bash_gets_what_is_behind_its_last_break(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COMP_WORDBREAKS", " \t\n:=")
    assert bash_lines("a:b.", [("a:b.25 degC=", "")]) == ["b.25\\ degC="]
    assert bash_lines("a:b=", [("a:b=1 µA", "")]) == ["1\\ µA"]
    monkeypatch.setenv("COMP_WORDBREAKS", " \t\n")
    assert bash_lines("a:b.", [("a:b.(x)=", "")]) == ["a:b.\\(x\\)="]


def parameters(command: object) -> Iterator[tuple[str, str]]:
    for inner in getattr(command, "commands", {}).values():
        yield from parameters(inner)
    for parameter in getattr(command, "params", []):
        yield str(parameter.name), str(parameter.metavar)


# numbers, words of one's own, and files, which the shell itself completes
LEFT = {
    *("N", "K", "SHARE", "TIME", "CLOCK", "DAY", "LEVEL", "TEXT", "NAME", "A:B=N", "None"),
    *("DIR", "FILE", "FILE.html|md|xlsx|svg|png", "FILE.svg|png", "LOG", "NOTES", "NOTES.yaml"),
    *("PART.yaml", "RECORD", "RECORD.yaml", "TRACE", "TRACE..."),
    *("S", "cost|score|front"),
    *("DIR...", "FILE.yaml", "FILE.zip", "KEY", "KEY=VALUE", "MAP.yaml", "PACK", "PATTERN"),
    *("PUBLIC", "ROLES[=ORGANISATION]", "SPDX", "TABLE", "TABLE.csv|xlsx", "VERSION", "[NAME]"),
}


def test_every_parameter_is_completed_or_known_to_be_left() -> None:
    shown = {metavar for _, metavar in parameters(typer.main.get_command(app))}
    assert set(COMPLETERS) <= shown
    assert not set(COMPLETERS) & LEFT
    # a new one is put forward by the choices of its type, or left, on purpose
    assert shown - set(COMPLETERS) - LEFT == set()


@pytest.mark.parametrize("shell", Shell)
def test_the_script_is_one_of_its_shell(shell: Shell) -> None:
    program = shutil.which(shell)
    if program is None:
        pytest.skip(f"{shell} is not installed")
    call = [program, "-n"] if shell is not Shell.FISH else [program, "--no-execute"]
    done = subprocess.run(call, input=SCRIPTS[shell], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


# what is typed, a tabulator where that key is pressed, and what the line then ends with
TYPED = {
    "part-advisor shortl\t": "part-advisor shortlist ",
    "part-advisor shortlist fro\t": "part-advisor shortlist frost-post ",
    "part-advisor shortlist --set frost-post:workload.sample.ev\t": "sample.every=",
    "part-advisor shortlist --set quorvane-jor:mem\tr\t": "quorvane-jor:memory.ram=",
    "part-advisor shortlist --set ls-pen:temperature.20\tc\t": "20\\ degC.capacity=",
}


@pytest.mark.once
@pytest.mark.skipif(shutil.which("bash") is None, reason="bash is not installed")
def test_it_completes_in_a_terminal(tmp_path: Path) -> None:
    program = tmp_path / "part-advisor"
    program.write_text(f'#!/bin/sh\nexec {sys.executable} -m advisor "$@"\n')
    program.chmod(0o755)
    settings = "PS1='> '\nbind 'set enable-bracketed-paste off'\nstty cols 200\n"
    (tmp_path / "rc").write_text(settings + SCRIPTS[Shell.BASH])
    env = {**os.environ, "PATH": f"{tmp_path}:{os.environ['PATH']}", "TERM": "dumb"}
    env["PYTHONPATH"] = str(Path(__file__).parents[2])
    pid, terminal = pty.fork()
    if pid == 0:
        os.execvpe("bash", ["bash", "--noprofile", "--rcfile", str(tmp_path / "rc"), "-i"], env)
    try:
        assert read_until(terminal, "> ").endswith("> ")
        for typed, becomes in TYPED.items():
            os.write(terminal, typed.encode())
            shown = read_until(terminal, becomes)
            assert becomes in shown, typed
            os.write(terminal, b"\x15\r")  # the line away, and a new one
            read_until(terminal, "> ")
    finally:
        os.close(terminal)
        os.waitpid(pid, 0)


def read_until(terminal: int, word: str, seconds: float = 20.0) -> str:
    """What a terminal shows until a word stands there."""
    shown, end = "", time.monotonic() + seconds
    while time.monotonic() < end and word not in shown:
        ready, _, _ = select.select([terminal], [], [], 0.2)
        if ready:
            shown += os.read(terminal, 65536).decode("utf-8", "replace")
    return shown
