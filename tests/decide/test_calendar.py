"""Invariants of a calendar on random catalogues: more of what hurts never makes a life longer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from advisor.decide.evaluate import evaluate
from tests.decide.random_catalogues import Draft, draft
from tests.shares import mostly_slow

pytestmark = pytest.mark.once


def longest(one: Draft, calendar: str, every: dict[str, str], folder: Path) -> float:
    """The longest life of any build that stands, in s; 0 where none does."""
    tasks = one.tasks
    for name, pace in every.items():
        tasks = [
            task.replace(task.split("every: ")[1].split("\n")[0], pace)
            if f"task: {name}\n" in task
            else task
            for task in tasks
        ]
    moved = replace(one, tasks=[f"{tasks[0]}", *tasks[1:]])
    catalogue, product = _with(moved, calendar).load(folder)
    lives = [
        float(b.assessed.life.life_s[b.row, 0])
        for c in evaluate(catalogue, product).candidates
        for b in c.builds
    ]
    return max(lives, default=0.0)


def _with(one: Draft, calendar: str) -> Draft:
    """The draft with keys above its priorities."""
    return replace(one, priorities=f"{one.priorities}{calendar}")


def never_longer(found: Sequence[float]) -> bool:
    """Each no longer than the one before; crossings are found to 1e-8 of depth."""
    return all(b <= a * (1 + 1e-6) for a, b in pairwise(found))


@pytest.mark.parametrize("seed", mostly_slow(list(range(24)), 6))
def test_longer_storage_never_lengthens_the_life(seed: int, tmp_path: Path) -> None:
    one = draft(seed, reservoir=seed % 3 == 0)
    found = [
        longest(
            one,
            f"before-use: [{{phase: store, for: {months} months, state: {state}, "
            "environment: [{at: 5 degC, share: 0.5}, {at: 40 degC, share: 0.5}]}]\n",
            {},
            tmp_path,
        )
        for state in ("disconnected", "asleep")
        for months in (0, 3, 30)
    ]
    assert never_longer(found[:3])
    assert never_longer(found[3:])
    assert found[4] <= found[1] * (1 + 1e-6)
    if found[0]:
        assert found[2] < found[0]


@pytest.mark.parametrize("seed", mostly_slow(list(range(24)), 6))
def test_more_of_the_busier_time_never_lengthens_the_life(seed: int, tmp_path: Path) -> None:
    one = draft(seed, reservoir=seed % 3 == 1)
    found = [
        longest(
            one,
            f"times: [{{time: day, share: {share}}}, {{time: night, share: {1 - share:.3g}}}]\n",
            {"sample": "{day: 20 s, night: 200 s}", "report": "{day: 60 s}"},
            tmp_path,
        )
        for share in (0.2, 0.5, 0.9)
    ]
    assert never_longer(found)
