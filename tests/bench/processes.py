"""Whole processes, as a user waits for them: from the call to the exit."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from tests.bench.registry import Row, Scale, benchmark, turn_about

RUN = [sys.executable, "-c", "from advisor.cli.main import run; run()"]
BARE = [sys.executable, "-c", "pass"]
PRODUCT = "frost-post"
MEGABYTE = 1e6


def wait(command: Sequence[str], folder: Path, changes: Mapping[str, str] | None = None) -> float:
    """Wall time of a process from start to exit, s; its output is thrown away.

    Raises
    ------
    RuntimeError
        When it fails: the time of a failure says nothing.
    """
    start = time.perf_counter()
    done = subprocess.run(
        command,
        cwd=folder,
        env={**os.environ, **(changes or {})},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        check=False,
        timeout=120,
    )
    taken = time.perf_counter() - start
    if done.returncode:
        raise RuntimeError(f"{command}: exit {done.returncode}: {done.stderr.decode()[-2000:]}")
    return taken


def peak_memory(command: Sequence[str], folder: Path, changes: Mapping[str, str]) -> float:
    """Greatest resident memory of a process, MB.

    A child starts out with its parent's peak, so a small process of its own does the starting.
    """
    program = (
        "import os, sys\n"
        "null = os.open(os.devnull, os.O_RDWR)\n"
        "moves = [(os.POSIX_SPAWN_DUP2, null, 0), (os.POSIX_SPAWN_DUP2, null, 1)]\n"
        "pid = os.posix_spawn(sys.argv[1], sys.argv[1:], os.environ, file_actions=moves)\n"
        "_, status, used = os.wait4(pid, 0)\n"
        "print(os.waitstatus_to_exitcode(status), used.ru_maxrss)\n"
    )
    done = subprocess.run(
        [sys.executable, "-I", "-S", "-c", program, *command],
        cwd=folder,
        env={**os.environ, **changes},
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    code, peak = map(int, done.stdout.split())
    if code:
        raise RuntimeError(f"{command}: exit {code}: {done.stderr[-2000:]}")
    # Linux counts KiB, macOS bytes
    return peak * (1 if sys.platform == "darwin" else 1024) / MEGABYTE


def empty_app() -> str:
    """The program of a Typer app with our commands, groups and markup mode, all of them empty."""
    from advisor.cli.application import app

    lines = [
        "import typer",
        f"app = typer.Typer(add_completion=False, rich_markup_mode={app.rich_markup_mode!r})",
        "@app.callback()",
        "def top(): pass",
    ]

    def grow(theirs: Any, ours: str) -> None:
        for i, _ in enumerate(theirs.registered_commands):
            lines.extend([f"@{ours}.command('{ours}{i}')", f"def {ours}{i}(): 'Does it.'"])
        for i, group in enumerate(theirs.registered_groups):
            name = f"{ours}_{i}"
            lines.append(f"{name} = typer.Typer(rich_markup_mode={app.rich_markup_mode!r})")
            grow(group.typer_instance, name)
            lines.append(f"{ours}.add_typer({name}, name='{name}')")

    grow(app, "app")
    return "\n".join([*lines, "app()", ""])


@benchmark("help", "the whole process of --help against an empty app with as many commands")
def help_page(scale: Scale) -> list[Row]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        script = folder / "empty.py"
        script.write_text(empty_app(), encoding="utf-8")
        ours, theirs = turn_about(
            2 * scale.rounds,
            [
                lambda: wait([*RUN, "--help"], folder),
                lambda: wait([sys.executable, "empty.py", "--help"], folder),
            ],
        )
    return [Row("--help", min(ours), "an empty Typer app's --help", min(theirs), 1.25)]


@benchmark("shortlist", f"the whole process of `shortlist {PRODUCT}` against `python -c pass`")
def shortlist_process(scale: Scale) -> list[Row]:
    command = [*RUN, "shortlist", PRODUCT]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        warm = {"ADVISOR_CACHE_DIR": str(folder / "warm")}
        wait(command, folder, warm)
        cold, kept, bare = turn_about(
            scale.rounds,
            [
                lambda: wait([*command, "--no-cache"], folder),
                lambda: wait(command, folder, warm),
                lambda: wait(BARE, folder),
            ],
        )
        peak = peak_memory([*command, "--no-cache"], folder, {})
    against = "python -c pass"
    return [
        Row(f"shortlist {PRODUCT}, no cache", min(cold), against, min(bare), 60),
        Row(f"shortlist {PRODUCT}, cache warm", min(kept), against, min(bare), 60),
        Row(f"peak memory of shortlist {PRODUCT}", peak, "1/250 of the bound", 1.0, 250, "MB"),
    ]


@benchmark("add-ons", f"`shortlist {PRODUCT}` with add-ons allowed against refused, cache warm")
def add_ons_process(scale: Scale) -> list[Row]:
    # few parts lack something as it stands; with a radio to have, all do, each by two sets
    every = f"{PRODUCT}:needs.features.radio=1"
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        warm = {"ADVISOR_CACHE_DIR": str(folder / "warm")}

        def listed(add_ons: str, *changes: str) -> float:
            sets = (f"{PRODUCT}:add-ons={add_ons}", *changes)
            return wait(
                [*RUN, "shortlist", PRODUCT, *(x for s in sets for x in ("--set", s))], folder, warm
            )

        listed("allowed")
        refused, allowed, lacking = turn_about(
            scale.rounds,
            [
                lambda: listed("refused"),
                lambda: listed("allowed"),
                lambda: listed("allowed", every),
            ],
        )
    return [
        Row(f"shortlist {PRODUCT}, add-ons allowed", min(allowed), "refused", min(refused), 1.5),
        Row("the same where every part lacks a radio", min(lacking), "refused", min(refused), 1.5),
    ]


@benchmark("tipping", "the whole process of `tipping barrel-tag` against `python -c pass`")
def tipping_process(scale: Scale) -> list[Row]:
    # all that is moved unasked; one figure is enough to see that it works
    some = [] if scale.rounds > 1 else ["--lever", "barrel-tag:cost.units"]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        warm = {"ADVISOR_CACHE_DIR": str(folder / "warm")}
        command = [*RUN, "tipping", "barrel-tag", *some]
        whole, bare = turn_about(
            min(scale.rounds, 2),
            [lambda: wait(command, folder, warm), lambda: wait(BARE, folder)],
        )
    return [Row("tipping barrel-tag", min(whole), "python -c pass", min(bare), 450)]
