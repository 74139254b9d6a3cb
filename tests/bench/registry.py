"""The benchmarks by name, how they are timed, and how their rows read.

Every figure is a ratio to a named reference timed in the same run, turn about, so that a slower
machine or a busy minute moves both. Within one process the middle of the rounds counts; for whole
processes the best of them, since what disturbs a start only ever adds.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Scale:
    """How much to do: the size the targets are set for, or just enough to see that it works."""

    rounds: int
    files: int
    many: int
    few: int
    draws: int
    samples: int


FULL = Scale(rounds=9, files=2000, many=1000, few=100, draws=2000, samples=41_000_000)
SMOKE = Scale(rounds=1, files=12, many=12, few=6, draws=16, samples=20_000)


@dataclass(frozen=True, slots=True)
class Row:
    """One comparison. `ours` and `reference` in s, or in MB where `unit` says so."""

    what: str
    ours: float
    against: str
    reference: float
    target: float
    unit: str = "s"

    @property
    def ratio(self) -> float:
        """Ours over the reference."""
        return self.ours / self.reference

    @property
    def met(self) -> bool:
        """Whether the target is reached."""
        return self.ratio <= self.target


@dataclass(frozen=True, slots=True)
class Benchmark:
    """A named benchmark."""

    name: str
    about: str
    run: Callable[[Scale], list[Row]]


BENCHMARKS: dict[str, Benchmark] = {}


def benchmark(
    name: str, about: str
) -> Callable[[Callable[[Scale], list[Row]]], Callable[[Scale], list[Row]]]:
    """Register a function as a benchmark."""

    def register(run: Callable[[Scale], list[Row]]) -> Callable[[Scale], list[Row]]:
        if name in BENCHMARKS:
            raise ValueError(f"two benchmarks named {name}")
        BENCHMARKS[name] = Benchmark(name, about, run)
        return run

    return register


def timed(work: Callable[[], object]) -> float:
    """Wall time of one call, s."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def turn_about(rounds: int, works: Sequence[Callable[[], float]]) -> list[list[float]]:
    """Each work's times: all run once a round, in an order that turns round by round."""
    times: list[list[float]] = [[] for _ in works]
    for turn in range(rounds):
        for i in range(len(works)):
            at = (i + turn) % len(works)
            times[at].append(works[at]())
    return times


def middle(times: Sequence[float]) -> float:
    """Median."""
    return statistics.median(times)


def table(rows: Sequence[Row]) -> str:
    """The rows as text, a line each with its reference and its target."""
    lines = []
    for row in rows:
        digits = ".4f" if row.unit == "s" else ".1f"
        lines.append(
            f"{'met ' if row.met else 'MISS'} {row.ratio:8.2f}  target {row.target:6.2f}   "
            f"{row.what}: {row.ours:{digits}} {row.unit}; "
            f"{row.against}: {row.reference:{digits}} {row.unit}"
        )
    return "\n".join(lines)
