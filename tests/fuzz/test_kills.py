"""A small share of the kills; `python -m tests.fuzz.kills --count 500` makes more."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.fuzz import kills

pytestmark = pytest.mark.once


@pytest.mark.parametrize("kind", ["new", "old", "link", "further name"])
def test_a_write_that_dies_at_any_step_loses_nothing(kind: str, tmp_path: Path) -> None:
    for step in range(1, 100):
        folder = tmp_path / str(step)
        folder.mkdir()
        what, killed = kills.lost_alone(kind, step, folder)
        assert what is None, f"step {step}"
        if not killed:
            break
    assert 10 < step < 60  # each step was tried, and the last of them ended by itself


def test_runs_that_are_killed_lose_nothing() -> None:
    assert kills.run(count=3, seed=1) == []


def test_a_run_that_is_killed_leaves_sound_entries_of_both_kinds(tmp_path: Path) -> None:
    assert kills.lost(kills.Case("cache", 20, 0.0), tmp_path) is None
