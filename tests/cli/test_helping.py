"""Help texts: no word broken, exit codes named."""

from __future__ import annotations

import pytest

from tests.cli.conftest import Caller

COMMANDS = ("shortlist", "tipping", "decide", "report", "kernels verify", "catalog import", "")


@pytest.mark.once
@pytest.mark.parametrize("command", COMMANDS)
def test_help_breaks_no_word_and_names_the_exit_codes(
    said: Caller, command: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    for columns in ("60", "80", "100"):
        monkeypatch.setenv("COLUMNS", columns)
        code, out, _ = said(*command.split(), "--help")
        assert code == 0
        # the library for options would break behind any hyphen
        assert not [line for line in out.splitlines() if line.endswith("-")]
        told = " ".join(out.split())
        assert "Exit codes: 0 done; 1 done, and the answer is no; 2 the input" in told
        assert out.isprintable() or "\ue000" not in out
        assert out.count('"') % 2 == 0
        assert all(line.count('"') % 2 == 0 for line in out.splitlines())
