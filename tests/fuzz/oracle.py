"""One call of the command in this process, and what no call may do whatever it is given.

A call ends with 0, 1 or 2; says nothing of our code; writes nothing where it ends with 2; prints
JSON where JSON is asked for; takes less than 10 s of processor time and 1 GB.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import random
import shutil
import sys
import time
import traceback
import warnings
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from advisor.cli.main import call

SECONDS = 10.0
MEGABYTES = 1000.0
CACHE = "cache"  # the folder of a case that the tool may write to at any time
LONGEST = 2000  # characters of a line of faults


@dataclass(frozen=True, slots=True)
class Said:
    """What a call left: its exit code, standard output and standard error."""

    code: int
    out: bytes
    err: bytes


@dataclass(slots=True)
class Bench:
    """Where a case works: a folder of its own, and what was found wrong in it.

    `base` is a folder that all cases of a run share and none changes.
    """

    folder: Path
    base: Path
    calls: int = 0
    codes: list[int] = field(default_factory=list)
    failures: list[str] = field(default_factory=list)

    def fail(self, words: str) -> None:
        """Note what is wrong."""
        self.failures.append(words)

    def call(self, *arguments: str, stdin: bytes = b"", cached: bool = False) -> Said:
        """Call the command in the case's folder and judge what it did."""
        given = list(arguments)
        if not cached and "--no-cache" not in given and _takes_no_cache(given):
            given.append("--no-cache")
        before = written(self.folder)
        forget_peak()
        started = time.process_time()
        said, raised = _called(given, stdin, self.folder)
        spent, peak = time.process_time() - started, peak_megabytes()
        self.calls += 1
        self.codes.append(said.code)
        shown = " ".join(map(repr, given))
        for words in judged(given, said, before == written(self.folder)):
            self.fail(f"{words}\n  call: {shown}\n  said: {_tail(said.err)}{raised}")
        if spent > SECONDS:
            self.fail(f"{spent:.1f} s\n  call: {shown}")
        if peak > MEGABYTES:
            self.fail(f"{peak:.0f} MB\n  call: {shown}")
        return said


Kind = Callable[[random.Random, Bench], None]


def judged(arguments: list[str], said: Said, unchanged: bool) -> Iterator[str]:
    """What is wrong with how a call ended; `unchanged`: no file came, went or became another."""
    if said.code not in (0, 1, 2):
        yield f"exit code {said.code}"
        return
    if b"Traceback" in said.out + said.err:
        yield "a traceback"
    if said.code == 2:
        if said.out:
            yield "exit 2 and something on standard output"
        if not said.err.strip():
            yield "exit 2 and no word why"
        if not unchanged:
            yield "exit 2 and a file written"
    if asks_json(arguments):
        yield from _json_faults(arguments[0], said)
    elif said.code == 2 and max(map(len, said.err.splitlines()), default=0) > LONGEST:
        yield "a fault of more than 2000 characters"


def asks_json(arguments: list[str]) -> bool:
    """Whether a call asks for JSON, and not for help."""
    at = [i for i, word in enumerate(arguments) if word == "--format"]
    asked = bool(at) and arguments[at[-1] + 1 : at[-1] + 2] == ["json"]
    return asked and "--help" not in arguments


def _json_faults(command: str, said: Said) -> Iterator[str]:
    if said.code == 2:
        found = _parsed(said.err)
        if not isinstance(found, dict) or not found.get("faults"):
            yield "exit 2 and no faults as JSON"
    elif said.out:
        found = _parsed(said.out)
        if found is None:
            yield "no JSON on standard output"
        else:
            yield from _no_numbers(command, found)


def _no_numbers(command: str, found: Any) -> Iterator[str]:
    """Figures of an answer that are no numbers, which JSON shows as null."""
    if command == "shortlist":
        for row in found["ranking"]:
            for name in ("score", "stated_score", "first_place_probability"):
                if name in row and row[name] is None and (name == "score" or found["draws"]):
                    yield f"{name} is no number"
            if row["score"] is not None and not -1e-9 <= row["score"] <= 100 + 1e-9:
                yield f"a score of {row['score']}"
            for name, value in row["power"].items():
                if value is None:
                    yield f"{name} is no number"
            for name, one in row["criteria"].items():
                if one["utility"] is None or one["weight"] is None:
                    yield f"utility or weight of {name} is no number"
    elif command == "distil":
        for name, result in _results(found):
            if any(result[key] is None for key in ("value", "u", "k95")):
                yield f"{name} is no number"


def _results(found: Any, name: str = "") -> Iterator[tuple[str, Any]]:
    if isinstance(found, dict) and "k95" in found:
        yield name, found
    elif isinstance(found, dict):
        for key, value in found.items():
            yield from _results(value, f"{name}.{key}")
    elif isinstance(found, list):
        for value in found:
            yield from _results(value, name)


def _parsed(text: bytes) -> Any:
    def refused(word: str) -> None:
        raise ValueError(word)

    try:
        return json.loads(text.decode("utf-8"), parse_constant=refused)
    except ValueError:
        return None


def _tail(text: bytes) -> str:
    return text.decode("utf-8", "replace").strip()[-600:]


def _takes_no_cache(arguments: list[str]) -> bool:
    reads = {"shortlist", "explain", "outlook", "tipping", "gaps", "weights", "compare", "report"}
    reads |= {"decide", "revisit", "rehearse"}
    if not arguments or "--help" in arguments:
        return False
    two = arguments[:2] in (["catalog", "list"], ["catalog", "show"], ["catalog", "check"])
    return arguments[0] in reads or two or arguments[:2] == ["product", "check"]


@contextmanager
def _environment(folder: Path) -> Iterator[None]:
    kept = {"ADVISOR_CACHE_DIR": str(folder / CACHE), "NO_COLOR": "1"}
    before = {name: os.environ.get(name) for name in (*kept, "ADVISOR_DEBUG")}
    here = os.getcwd()
    os.environ.update(kept)
    os.environ.pop("ADVISOR_DEBUG", None)
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(here)
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def _called(arguments: list[str], stdin: bytes, folder: Path) -> tuple[Said, str]:
    """What a call says and, where it is at fault itself, where in our code."""
    with _environment(folder):
        said = _captured(arguments, stdin)
        if said.code in (0, 1, 2):
            return said, ""
        os.environ["ADVISOR_DEBUG"] = "1"
        try:
            _captured(arguments, stdin)
        except Exception:
            return said, "\n" + traceback.format_exc()[-2500:]
        return said, ""


def _captured(arguments: list[str], stdin: bytes) -> Said:
    kept = sys.stdin, sys.stdout, sys.stderr
    out, err = io.BytesIO(), io.BytesIO()
    # what is not closed would close the buffers with it
    streams = [io.TextIOWrapper(b, "utf-8", write_through=True) for b in (out, err)]
    sys.stdin = io.TextIOWrapper(io.BytesIO(stdin), "utf-8")
    sys.stdout, sys.stderr = streams
    try:
        with warnings.catch_warnings():
            code = call(arguments)
    finally:
        sys.stdin, sys.stdout, sys.stderr = kept
        for stream in streams:
            with suppress(ValueError):
                stream.flush()
    return Said(code, out.getvalue(), err.getvalue())


def written(folder: Path) -> Mapping[str, str]:
    """Every file below a folder but the cache's, with a digest of its bytes."""
    found = {}
    for path in sorted(folder.rglob("*")):
        name = str(path.relative_to(folder))
        if path.parts[len(folder.parts)] == CACHE:
            continue
        whole = path.is_file() and not path.is_symlink()
        found[name] = hashlib.sha256(path.read_bytes()).hexdigest() if whole else ""
    return found


def forget_peak() -> None:
    """Let the peak of this process's memory be counted anew, where the system can."""
    with suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5")


def peak_megabytes() -> float:
    """Peak of this process's resident memory, MB; 0 where the system does not say."""
    with suppress(OSError):
        for line in Path("/proc/self/status").read_text().splitlines():
            if line.startswith("VmHWM:"):
                return float(line.split()[1]) / 1000
    return 0.0


def run_case(kind: Kind, name: str, seed: int, case: int, base: Path, folder: Path) -> Bench:
    """One case: the same seed and number make the same one, whatever ran before."""
    bench = Bench(folder, base)
    folder.mkdir()
    try:
        kind(random.Random(f"{name}:{seed}:{case}"), bench)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return bench
