"""Answers are as they were kept: a regression net, see `tests/ledger/kept.py`."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.ledger.answers import CASES
from tests.ledger.kept import differences, read, told


@pytest.mark.parametrize("name", CASES)
def test_an_answer_is_as_kept(tmp_path: Path, name: str) -> None:
    changed = list(differences(told(CASES[name](tmp_path)), read(name)))
    words = f"{len(changed)} figures are not as kept; if that is meant: python -m tests.ledger"
    assert not changed, "\n".join((words, *changed[:40]))
