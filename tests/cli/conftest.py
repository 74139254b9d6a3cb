"""How the tests of the command line call it."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from advisor.cli.main import call

Said = tuple[int, str, str]
Caller = Callable[..., Said]


@pytest.fixture
def said(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Caller:
    monkeypatch.setenv("ADVISOR_CACHE_DIR", "/dev/null/none")

    def run(*arguments: str) -> Said:
        code = call(list(arguments))
        out = capsys.readouterr()
        assert "Traceback" not in out.out + out.err
        return code, out.out, out.err

    return run
