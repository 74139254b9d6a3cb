"""The bar of work that lasts: it names the stage, moves by itself, and leaves nothing behind."""

from __future__ import annotations

import importlib
import io
import os
import re
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from advisor.catalogue.shipped import load
from advisor.cli import progress as module
from advisor.cli.main import call
from advisor.cli.progress import Bar, progress
from advisor.faults import AdvisorError
from advisor.stages import begin
from advisor.studies.shortlist import shortlist
from advisor.studies.tipping import tipping

LASTS = 0.3  # s that a study takes here


class Terminal(io.StringIO):
    """A stream that says it is one."""

    def isatty(self) -> bool:
        return True


@pytest.fixture
def hasty(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "PATIENCE", 0.0)
    monkeypatch.setattr(module, "EVERY", 0.01)


def _until(found: Callable[[], bool]) -> None:
    end = time.monotonic() + 30  # a guard on a slow machine, no claim of speed
    while not found():
        assert time.monotonic() < end
        time.sleep(0.005)


@pytest.mark.usefixtures("hasty")
def test_a_bar_names_its_stage_moves_and_goes() -> None:
    stream = Terminal()
    bar = Bar(stream, "reading")
    _until(lambda: len(set(re.findall(r"\r([|/\\-]) reading", stream.getvalue()))) == 4)
    bar.begin("drawing")
    bar(3, 4)
    _until(lambda: "drawing 3 of 4 [##################......] 0:0" in stream.getvalue())
    bar.say("a warning\n")
    _until(lambda: not stream.getvalue().endswith("a warning\n"))
    bar.close()
    text = stream.getvalue()
    # what was said stands on a line of its own, and nothing of the bar is left on its own
    assert re.search(r"\r +\ra warning\n\r[|/\\-] drawing", text)
    assert re.search(r"\r +\r\Z", text)
    assert text.isascii()


@pytest.mark.usefixtures("hasty")
def test_no_bar_where_nobody_sees_it(monkeypatch: pytest.MonkeyPatch) -> None:
    for quiet, stream in ((False, io.StringIO()), (True, Terminal())):
        monkeypatch.setattr(sys, "stderr", stream)
        with progress(quiet) as told:
            assert told is None
            begin(told, "nothing")
        assert stream.getvalue() == ""


def test_work_that_does_not_last_shows_no_bar(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "PATIENCE", 60.0)
    stream = Terminal()
    monkeypatch.setattr(sys, "stderr", stream)
    with progress(False):
        pass
    assert stream.getvalue() == ""
    assert sys.stderr is stream


STUDIES = {
    "shortlist": ("shortlist", "shortlist", ["barrel-tag"]),
    "explain": ("explain", "explain", ["barrel-tag", "quorvane-tib"]),
    "outlook": ("outlook", "outlook", ["barrel-tag"]),
    "tipping": ("tipping", "tipping", ["barrel-tag"]),
    "gaps": ("gaps", "gaps", ["barrel-tag"]),
    "weights": ("weights", "weights", ["barrel-tag"]),
    "report": ("report", "report", ["barrel-tag", "-o", "out.html"]),
    "decide": ("record", "decide", ["barrel-tag", "quorvane-tib", "--because", "x"]),
    "compare": ("compare", "compare", []),
    "kernels verify": ("kernels", "verify", []),
    "catalog list": ("inventory", "inventory", []),
    "catalog check": ("check", "check_catalogue", []),
    "product check": ("check", "check_product", ["barrel-tag"]),
    "catalog import": ("imported", "imported", ["a.pdsc", "--into", "new"]),
    "catalog merge": ("combine", "combine", ["one", "two", "--into", "new"]),
    "distil": ("distil", "distil", ["trace.csv", "--bench", "notes.yaml"]),
    "distil --look": ("look", "look", ["trace.csv"]),
}


@pytest.mark.once
@pytest.mark.usefixtures("hasty")
@pytest.mark.parametrize("command", STUDIES)
def test_every_command_that_may_last_stands_behind_a_bar(
    command: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    where, name, arguments = STUDIES[command]
    drawn: list[float] = []

    def lasts(*_: object, **__: object) -> Any:
        drawn.append(stream.tell())
        time.sleep(LASTS)
        drawn.append(stream.tell())
        raise AdvisorError("enough")

    monkeypatch.setattr(importlib.import_module(f"advisor.studies.{where}"), name, lasts)
    monkeypatch.chdir(tmp_path)
    for folder in ("one", "two"):
        os.mkdir(folder)
    Path("a.pdsc").write_text("<package/>")
    stream = Terminal()
    monkeypatch.setattr(sys, "stderr", stream)
    assert call([*command.split(), *arguments]) == 1
    told = stream.getvalue()[int(drawn[0]) : int(drawn[1])]
    # a picture every 10 ms: that a busy machine draws every tenth of them is all that is asked
    assert len(re.findall(r"\r[|/\\-] [a-z]", told)) >= 3
    assert re.search(r"\r +\rpart-advisor: enough\n\Z", stream.getvalue())


class Heard:
    """A progress that keeps the names of the stages, and what each came to."""

    def __init__(self) -> None:
        self.stages: dict[str, tuple[int, int]] = {}
        self.now = ""

    def begin(self, stage: str) -> None:
        self.now = stage
        self.stages[stage] = (0, 0)

    def __call__(self, done: int, total: int) -> None:
        before, _ = self.stages[self.now]
        assert before <= done <= total
        self.stages[self.now] = done, total


@pytest.mark.once
def test_studies_name_their_stages() -> None:
    inputs = load("barrel-tag")
    heard = Heard()
    shortlist(*inputs, draws=2100, progress=heard)
    assert list(heard.stages) == [
        "screening parts",
        "working out builds",
        "choosing builds",
        "drawing builds",
    ]
    done, total = heard.stages["drawing builds"]
    assert done == total > 1
    heard = Heard()
    tipping(*inputs, ["tessimur-mub:price.breaks.1"], draws=0, points=1, progress=heard)
    assert heard.stages["scanning figures"] == (1, 1)
