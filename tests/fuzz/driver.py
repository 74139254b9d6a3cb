"""Cases one after the other through a worker that is watched, and what they come to."""

from __future__ import annotations

import json
import select
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
HANG = 90.0  # s by the clock, since the machine is shared; a case may take 10 of its own


@dataclass(slots=True)
class Count:
    """What the cases of one kind came to."""

    cases: int = 0
    calls: int = 0
    codes: Counter[int] = field(default_factory=Counter)
    failed: int = 0


class Worker:
    """A process that runs cases; started anew when it dies or hangs."""

    def __init__(self) -> None:
        self.process: subprocess.Popen[str] | None = None

    def run(self, kind: str, seed: int, case: int) -> dict[str, Any]:
        """What a case came to."""
        process = self.process
        if process is None:
            process = self.process = subprocess.Popen(
                [sys.executable, "-m", "tests.fuzz.worker"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
                cwd=ROOT,
            )
        assert process.stdin is not None
        assert process.stdout is not None
        with suppress(BrokenPipeError):
            process.stdin.write(json.dumps((kind, seed, case)) + "\n")
            process.stdin.flush()
        ready, _, _ = select.select([process.stdout], [], [], HANG)
        line = process.stdout.readline() if ready else ""
        if line:
            found: dict[str, Any] = json.loads(line)
            return found
        if ready:
            process.wait(HANG)
        self.stop()
        words = f"the process ended with {process.returncode}" if ready else f"over {HANG:.0f} s"
        return {"calls": 1, "codes": [], "failures": [words]}

    def stop(self) -> None:
        """End the process."""
        if self.process is not None:
            self.process.kill()
            self.process.communicate()
            self.process = None


def turns(kinds: Iterable[str], first: int = 0) -> Iterator[tuple[str, int]]:
    """(kind, case) without end, the kinds in turn."""
    names, number = list(kinds), first
    while True:
        for kind in names:
            yield kind, number
        number += 1


def fuzz(
    cases: Iterable[tuple[str, int]], seed: int, seconds: float | None = None
) -> tuple[dict[str, Count], list[tuple[str, int, str]]]:
    """(counts by kind, failures as kind, case and words) of cases, until the time is up."""
    counts: dict[str, Count] = {}
    failures: list[tuple[str, int, str]] = []
    worker, until = Worker(), None if seconds is None else time.monotonic() + seconds
    try:
        for kind, number in cases:
            if until is not None and time.monotonic() > until:
                break
            found = worker.run(kind, seed, number)
            count = counts.setdefault(kind, Count())
            count.cases += 1
            count.calls += found["calls"]
            count.codes.update(found["codes"])
            count.failed += bool(found["failures"])
            failures += [(kind, number, words) for words in found["failures"]]
    finally:
        worker.stop()
    return counts, failures
