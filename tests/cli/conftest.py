"""How the tests of the command line call it."""

from __future__ import annotations

import importlib
import pickle
import pkgutil
from collections.abc import Callable
from typing import Any

import pytest

from advisor import studies
from advisor.cli.main import call

Said = tuple[int, str, str]
Caller = Callable[..., Said]

_FOUND: dict[tuple[str, bytes], Any] = {}


def cache_folder(factory: pytest.TempPathFactory) -> str:
    """One cache of catalogues for a worker: the shipped one is read from its files once."""
    folder = factory.getbasetemp() / "catalogues"
    folder.mkdir(mode=0o700, exist_ok=True)
    return str(folder)


@pytest.fixture
def said(
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path_factory: pytest.TempPathFactory,
) -> Caller:
    monkeypatch.setenv("ADVISOR_CACHE_DIR", cache_folder(tmp_path_factory))

    def run(*arguments: str) -> Said:
        code = call(list(arguments))
        out = capsys.readouterr()
        assert "Traceback" not in out.out + out.err
        return code, out.out, out.err

    return run


@pytest.fixture
def studied_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Studies of the same inputs are made once a worker, for tests of how they are shown."""
    # whatever takes one study from another has the real one, also beyond this test
    for found in pkgutil.iter_modules(studies.__path__):
        importlib.import_module(f"advisor.studies.{found.name}")

    def once(name: str) -> None:
        module = importlib.import_module(f"advisor.studies.{name}")
        study = getattr(module, name)

        def found(*inputs: Any, progress: object = None, **options: Any) -> Any:
            # where answers of stores are kept changes none
            told = sorted((k, value) for k, value in options.items() if k != "services")
            key = (name, pickle.dumps((inputs, told)))
            if key not in _FOUND:
                _FOUND[key] = study(*inputs, progress=progress, **options)
            return _FOUND[key]

        monkeypatch.setattr(module, name, found)

    for name in ("shortlist", "explain", "outlook", "tipping", "gaps", "weights", "report"):
        once(name)
