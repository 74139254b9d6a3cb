"""Figures of sessions are as they were kept: a regression net, see `tests/ledger/kept.py`."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.ledger.kept import hold
from tests.ledger.measured import CASES


@pytest.mark.parametrize("name", CASES)
def test_a_session_is_as_kept(tmp_path: Path, name: str) -> None:
    hold(name, CASES[name](tmp_path))
