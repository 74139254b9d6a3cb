"""Runs that are killed while they write: at any moment the old file is there whole, or the new.

Each case starts a process of the tool's own that writes, kills it at a moment drawn by the seed,
and looks at what is there. The moments are system calls, counted by a tracer inside the process,
so that the same seed kills at the same places on any machine; or a number of milliseconds, where
whatever the machine does meanwhile takes part.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import random
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from advisor import files
from advisor.catalogue import cache as entries
from advisor.catalogue.shipped import product_files
from advisor.decide.shelf import KIND

# The steps of a write, each of which a run may not live to finish.
STEPS = ("open", "link", "chmod", "fsync", "replace", "rename", "unlink", "posix_fallocate")
CACHES = ("cache", "older cache")  # entries of a catalogue and of what stores answer
HARVESTED = "crate-call"  # its answer takes what stores answer
ANSWERED = ["shortlist", "mine.yaml", "--draws", "0", "--format", "json"]
KINDS = ("new", "old", "link", "further name", "weights", "record", *CACHES)
PROGRAM = """
import os, shutil, signal, sys
at = int(sys.argv.pop(1))
count = 0

def counted(name, module=os):
    real = getattr(module, name)

    def step(*given, **named):
        global count
        for moment in ("before", "after"):
            count += 1
            if count == at:
                os.kill(os.getpid(), signal.SIGKILL)
            if moment == "before":
                found = real(*given, **named)
        return found

    setattr(module, name, step)

def piecemeal(new, file):
    # a copy that may be cut anywhere
    global count
    while piece := new.read(700):
        file.write(piece)
        file.flush()
        count += 1
        if count == at:
            os.kill(os.getpid(), signal.SIGKILL)

if at > 0:
    import advisor.files
    for name in STEPS:
        counted(name)
    shutil.copyfileobj = piecemeal
"""
_ENTRY = re.compile(rf"({entries.NAME}|{KIND})[0-9a-f]{{64}}\.json")
TOOL = "from advisor.cli.main import run; run()"
ALONE = """
from pathlib import Path
from advisor.files import Staged
with Staged(Path("answer"), b"what is new " * 900) as staged:
    staged.put()
"""


@dataclass(frozen=True, slots=True)
class Case:
    """A kind of write, and when it is killed: at a step, or after so many milliseconds."""

    kind: str
    step: int
    delay_ms: float


def cases(count: int, seed: int) -> Iterator[Case]:
    """That many cases, half of them by steps."""
    draw = random.Random(seed)
    for n in range(count):
        kind = KINDS[n % len(KINDS)]
        if n // len(KINDS) % 2 == 0:
            yield Case(kind, draw.randrange(1, 40), 0.0)
        else:
            yield Case(kind, 0, draw.uniform(100.0, 1500.0))


def _product(name: str, folder: Path) -> Path:
    """The user's own product, as one of the demonstration's is."""
    text, own = product_files()[name].read_text("utf-8"), folder / "mine.yaml"
    own.write_text(text.replace(f"product: {name}", "product: mine"), "utf-8")
    return own


def _calls(kind: str) -> list[str]:
    if kind == "weights":
        order = "battery-life,lifetime-cost,purchase-cost,memory-headroom,toolchain"
        return ["weights", "mine.yaml", "--write", "--draws", "0", "--no-cache", "--order", order]
    call = ["decide", "mine.yaml", "quorvane-tib", "--because", "x"]
    if kind != "record":
        call = ["shortlist", "mine.yaml"]
    return [*call, "--draws", "0", "--no-cache", "-o", "answer"]


def _prepared(kind: str, folder: Path) -> Path:
    """Fill a folder with the user's own and give the file that is written."""
    product, target = _product("barrel-tag", folder), folder / "answer"
    old = b"the user's own\n" * 500
    if kind == "link":
        (folder / "far").write_bytes(old)
        target.symlink_to("far")
    elif kind in ("old", "further name"):
        target.write_bytes(old)
        if kind == "further name":
            os.link(target, folder / "too")
    return product if kind == "weights" else target


def _started(
    line: list[str], folder: Path, out: int = subprocess.DEVNULL
) -> subprocess.Popen[bytes]:
    """A process of the tool's own in a folder, with the cache in it."""
    where = str(Path(files.__file__).resolve().parent.parent)
    environment = {**os.environ, "PYTHONPATH": where, "ADVISOR_CACHE_DIR": str(folder / "kept")}
    return subprocess.Popen(
        [sys.executable, *line],
        cwd=folder,
        stdout=out,
        stderr=subprocess.DEVNULL,
        env=environment,
    )


@cache
def _wanted(kind: str) -> bytes:
    """What the call of a kind writes where nobody kills it."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        target = _prepared(kind, folder)
        if _started(["-m", "advisor", *_calls(kind)], folder).wait(timeout=120):
            raise AssertionError(f"{kind}: the call fails by itself")
        return target.read_bytes()


def lost(case: Case, folder: Path) -> str | None:
    """What was lost of the user's in a case; None where nothing was."""
    if case.kind in CACHES:
        return _lost_cached(case, folder)
    wanted = _wanted(case.kind)
    target = _prepared(case.kind, folder)
    before, others = _held(target, folder)
    _kill(case, _calls(case.kind), folder)
    return _missing(target, before, wanted, others, folder)


def _kill(case: Case, call: list[str], folder: Path) -> None:
    program = PROGRAM.replace("STEPS", repr(STEPS)) + TOOL
    run = _started(["-c", program, str(case.step), *call], folder)
    if case.delay_ms:
        time.sleep(case.delay_ms / 1000)
        run.send_signal(signal.SIGKILL)
    run.wait(timeout=120)


def _lost_cached(case: Case, folder: Path) -> str | None:
    """What was lost in a case that fills the cache: of the user's files there, of older entries, or
    of what the next run says, which it says from whatever entries there are."""
    _product(HARVESTED, folder)
    wanted = _answered()
    place = folder / "kept" / entries.OWN
    place.mkdir(parents=True, mode=0o700)
    place.chmod(0o700)
    (place / "stores-of-mine.json").write_bytes(b"the user's own\n")
    if case.kind == "older cache":
        for name, data in _older().items():
            (place / name).write_bytes(data)
    before = {path: path.read_bytes() for path in place.iterdir()}
    _kill(case, ANSWERED, folder)
    for path, data in before.items():
        # the answers of a store are kept beside those that were known, in one entry
        if path.read_bytes() != data and not path.name.startswith(KIND):
            return f"{path.name} is another"
    if (place / "stores-of-mine.json").read_bytes() != b"the user's own\n":
        return "stores-of-mine.json is another"
    if found := _unsound(place):
        return f"half written: {found}"
    if _said(ANSWERED, folder) != wanted:
        return "the next run says something else"
    left = [p.name for p in place.iterdir() if p not in before and not _is_entry(p)]
    if left:
        return f"left lying: {', '.join(sorted(left))}"
    kinds = {p.name.partition("-")[0] + "-" for p in place.iterdir() if _is_entry(p)}
    return None if kinds == {entries.NAME, KIND} else f"kept after the next run: {sorted(kinds)}"


@cache
def _answered() -> bytes:
    """What the call that fills the cache says without one."""
    with tempfile.TemporaryDirectory() as name:
        _product(HARVESTED, Path(name))
        return _said([*ANSWERED, "--no-cache"], Path(name))


def _said(call: list[str], folder: Path) -> bytes:
    run = _started(["-m", "advisor", *call], folder, subprocess.PIPE)
    out, _ = run.communicate(timeout=120)
    if run.returncode:
        raise AssertionError(f"{call}: the call fails by itself")
    return out


@cache
def _older() -> dict[str, bytes]:
    """What a run with a smaller panel keeps: the same catalogue, other answers of a store."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _product(HARVESTED, folder)
        _said([*ANSWERED, "--set", "mine:harvest.panel.area=0.5 cm2"], folder)
        place = folder / "kept" / entries.OWN
        return {path.name: path.read_bytes() for path in place.iterdir()}


def _is_entry(path: Path) -> bool:
    return _ENTRY.fullmatch(path.name) is not None


def _unsound(place: Path) -> str:
    """The entries of a cache that its own digest does not vouch for."""
    out = []
    for path in filter(_is_entry, place.iterdir()):
        head, _, body = path.read_bytes().partition(b"\n")
        key = path.stem.rpartition("-")[2]
        if head != hashlib.sha256(key.encode() + b"\n" + body).hexdigest().encode():
            out.append(path.name)
    return ", ".join(sorted(out))


def lost_alone(kind: str, step: int, folder: Path) -> tuple[str | None, bool]:
    """The same of a write by itself killed at a step, and whether it came to that step."""
    wanted = b"what is new " * 900
    target = _prepared(kind, folder)
    before, others = _held(target, folder)
    program = PROGRAM.replace("STEPS", repr(STEPS)) + ALONE
    code = _started(["-c", program, str(step)], folder).wait(timeout=120)
    return _missing(target, before, wanted, others, folder), code == -signal.SIGKILL


def _held(target: Path, folder: Path) -> tuple[bytes | None, dict[Path, bytes]]:
    """What the file held, and what all others of the folder that are not it hold."""
    before = target.read_bytes() if target.exists() else None
    others = {
        path: path.read_bytes()
        for path in folder.iterdir()
        if before is None or not path.samefile(target)
    }
    return before, others


def _missing(
    target: Path, before: bytes | None, wanted: bytes, others: dict[Path, bytes], folder: Path
) -> str | None:
    for path, data in others.items():
        if path.read_bytes() != data:
            return f"{path.name} is another"
    found = target.read_bytes() if target.exists() else None
    whole = files.whole_of(target)
    if found not in (before, wanted) and not (whole.exists() and whole.read_bytes() == wanted):
        return f"{target.name} is neither the old one nor the new"
    files.remove_leftovers(folder)
    names = {p.name for p in folder.iterdir()} - {p.name for p in others}
    odd = names - {target.name, whole.name, "far", "too", "mine.yaml"}
    return f"left lying: {', '.join(sorted(odd))}" if odd else None


def run(count: int, seed: int, until: float | None = None) -> list[str]:
    """Kill that many runs, or as many as time allows; what was lost, case by case.

    Parameters
    ----------
    until : reading of the monotonic clock after which no more are killed.
    """
    found = []
    for n, case in enumerate(cases(count, seed)):
        if until is not None and time.monotonic() > until:
            print(f"{n} of {count} kills in the time given")
            break
        with tempfile.TemporaryDirectory() as name:
            what = lost(case, Path(name))
            if what is not None:
                found.append(f"{case}: {what}")
    return found


def main(arguments: list[str]) -> int:
    """Kill runs and tell what was lost; 0 where nothing was."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz.kills")
    parser.add_argument("--count", type=int, default=500)
    parser.add_argument("--minutes", type=float)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args(arguments)
    until = None if given.minutes is None else time.monotonic() + 60 * given.minutes
    failures = run(given.count, given.seed, until)
    print(f"kills: {len(failures)} with something lost")
    print("\n".join(failures))
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
