"""The log of hours: added to, refused where it does not fit, and put into a part."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import yaml
from jsonschema import Draft202012Validator

from advisor.catalogue.load import load_catalogue
from advisor.catalogue.shipped import catalogue_folder
from advisor.model.maturity import maturity
from advisor.studies.schema import schema
from tests.cli.conftest import Caller
from tests.cli.conftest import said as said  # the fixture

ADD = ("hours", "add", "log.yaml", "--part", "quorvane-tib")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def sitting(day: int, start: str, stop: str, *more: str) -> tuple[str, ...]:
    return (*ADD, "--date", f"2026-03-{day:02d}", "--start", start, "--stop", stop, *more)


def test_the_whole_way(folder: Path, said: Caller) -> None:
    """1.5 h, 2 h and 0.75 h; the program works after the second: 3.5 h of set-up."""
    blocked = ("--in-the-way", 'a "probe", no driver: none', "--question", "debug")
    assert said(*sitting(12, "10:00", "12:00", "--works"))[0] == 0
    assert said(*sitting(11, "09:30", "11:00", *blocked, "--answer", "partial"))[0] == 0
    code, out, _ = said(*sitting(13, "23:15", "24:00"), "--format", "json")
    found = json.loads(out)
    assert (code, found["total_h"], found["setup_h"]) == (0, 4.25, 3.5)
    assert [s["date"] for s in found["sittings"]] == ["2026-03-11", "2026-03-12", "2026-03-13"]
    document = yaml.safe_load((folder / "log.yaml").read_text())
    validator = Draft202012Validator(schema("hours").document)
    as_text = json.loads(json.dumps(document, default=str))
    assert [error.message for error in validator.iter_errors(as_text)] == []
    parts = folder / "mine" / "parts"
    parts.mkdir(parents=True)
    mine = parts / "quorvane-tib.yaml"
    text = (catalogue_folder() / "parts" / "quorvane-tib.yaml").read_text()
    mine.write_text(text)
    code, out, err = said("hours", "list", "log.yaml", "-o", str(mine), "--format", "json")
    assert code == 0
    assert "toolchain.setup.likely: 1.5 h is now 3.5 h" in err
    assert {r["path"] for r in json.loads(out)["replaced"]} == {
        "toolchain.maturity.debug",
        *(f"toolchain.setup.{end}" for end in ("low", "likely", "high")),
    }
    before = load_catalogue([catalogue_folder()]).parts["quorvane-tib"].toolchain
    after = load_catalogue([catalogue_folder(), folder / "mine"]).parts["quorvane-tib"].toolchain
    # PERT of half, once and twice 3.5 h
    assert after.setup is not None
    assert after.setup.nominal / 3600 == pytest.approx(3.5 * (0.5 + 4 + 2) / 6)
    scores = [m.score for t in (before, after) if (m := maturity(t)) is not None]
    assert scores == [100, 95]
    assert after.maturity is not None
    assert after.maturity["debug"].evidence == (
        'a "probe", no driver: none (log of 2026-03-11, 1.5 h)'
    )


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (sitting(11, "10:30", "12:00"), "while 2026-03-11-0930 lasts to 11:00"),
        (sitting(11, "09:30", "10:00"), "a sitting of that one is logged"),
        (sitting(12, "11:00", "11:00"), "a stop after the start"),
        (sitting(12, "9:30", "11:00"), "a time of the day"),
        (sitting(32, "09:30", "11:00"), "a date such as"),
        (sitting(12, "09:30", "11:00", "--question", "debug"), "both, or neither"),
        (sitting(12, "09:30", "11:00", "--question", "debag", "--answer", "full"), "debug"),
        (sitting(12, "09:30", "11:00", "--toolchain", "other"), "quorvane-kit, as log.yaml"),
        ((*sitting(12, "09:30", "11:00")[:4], "other", *sitting(12, "09", "10")[5:]), "--part"),
    ],
)
def test_what_does_not_fit_is_refused(
    folder: Path, said: Caller, call: tuple[str, ...], words: str
) -> None:
    assert said(*sitting(11, "09:30", "11:00", "--toolchain", "quorvane-kit"))[0] == 0
    before = (folder / "log.yaml").read_text()
    code, out, err = said(*call)
    assert (code, out) == (2, "")
    assert words in err
    assert (folder / "log.yaml").read_text() == before


def test_hours_so_far_are_no_set_up_time(folder: Path, said: Caller) -> None:
    said(*sitting(11, "09:30", "11:00"))
    mine = folder / "quorvane-tib.yaml"
    mine.write_text((catalogue_folder() / "parts" / "quorvane-tib.yaml").read_text())
    before = mine.read_text()
    code, out, err = said("hours", "list", "log.yaml", "-o", str(mine))
    assert (code, out) == (2, "")
    assert "no program works yet" in err
    assert mine.read_text() == before
    assert "no set-up time" in said("hours", "list", "log.yaml")[1]
    assert said("hours", "list", "none.yaml")[0] == 2
    assert said("hours", "list", "log.yaml", "-o", "none.yaml")[0] == 2


def test_a_second_first_program_is_refused(folder: Path, said: Caller) -> None:
    said(*sitting(11, "09:30", "11:00", "--works"))
    code, _, err = said(*sitting(12, "09:30", "11:00", "--works"))
    assert code == 2
    assert "it once" in err
