"""`report` on the command line: what it writes, refuses and says."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.present.html import page
from tests.cli.conftest import Caller

pytestmark = pytest.mark.once

QUICK = ("--draws", "0")


@pytest.mark.usefixtures("studied_once")
@pytest.mark.parametrize(
    ("ending", "begins"), [("html", b"<!doctype html>"), ("md", b"# barrel-tag"), ("xlsx", b"PK")]
)
def test_ending_says_the_form(ending: str, begins: bytes, said: Caller, tmp_path: Path) -> None:
    place = tmp_path / f"report.{ending.upper()}"
    code, out, err = said("report", "barrel-tag", "-o", str(place), *QUICK)
    assert (code, err) == (0, "")
    assert out.startswith(f"barrel-tag: quorvane-tib is first; written to {place}")
    assert place.read_bytes().startswith(begins)
    assert [p.name for p in tmp_path.iterdir()] == [place.name]


@pytest.mark.usefixtures("studied_once")
def test_a_file_that_the_installation_lacks_is_its_own_fault(
    said: Caller, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The chart library stands in no checkout before the package is installed."""
    monkeypatch.setattr(page, "SCRIPTS", ("none-there.js", *page.SCRIPTS[1:]))
    code, out, err = said("report", "barrel-tag", "-o", str(tmp_path / "r.html"), *QUICK)
    assert (code, out) == (3, "")
    assert err.startswith("part-advisor: a fault of this installation, not of your input: ")
    assert "none-there.js is not there" in err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["report", "report.pdf", "nowhere/report.html"])
def test_refuses_a_place_before_any_work(name: str, said: Caller, tmp_path: Path) -> None:
    code, out, err = said("report", "barrel-tag", "-o", str(tmp_path / name))
    assert (code, out) == (2, "")
    assert "--output" in err
    assert list(tmp_path.iterdir()) == []


def test_asks_for_a_place(said: Caller) -> None:
    code, _, err = said("report", "barrel-tag")
    assert code == 2
    assert "--output" in err


@pytest.mark.parametrize(
    "wrong", [("--set", "barrel-tag:service-life=soon"), ("--along", "barrel-tag:nothing")]
)
def test_faults_leave_what_was_there(wrong: tuple[str, str], said: Caller, tmp_path: Path) -> None:
    place = tmp_path / "report.html"
    place.write_text("before", "utf-8")
    code, _, err = said("report", "barrel-tag", "-o", str(place), *QUICK, *wrong)
    assert code == 2
    assert "nothing written" in err
    assert place.read_text("utf-8") == "before"


@pytest.mark.usefixtures("studied_once")
@pytest.mark.parametrize("ending", ["html", "md", "xlsx"])
def test_nothing_fits_is_an_answer(ending: str, said: Caller, tmp_path: Path) -> None:
    place = tmp_path / f"report.{ending}"
    needs = "barrel-tag:needs.memory.flash=1GiB"
    code, out, _ = said("report", "barrel-tag", "-o", str(place), *QUICK, "--set", needs)
    assert code == 1
    assert "nothing fits" in out
    if ending != "xlsx":
        assert "memory.flash" in place.read_text("utf-8")


def test_curves_show_where_something_would_fit(said: Caller, tmp_path: Path) -> None:
    """Nothing fits now; the figure that is asked about is looked along all the same."""
    place = tmp_path / "report.md"
    limit = ("--set", "barrel-tag:cost.unit-cost-limit=0.10")
    wrong = said("report", "barrel-tag", "-o", str(place), *QUICK, *limit, "--along", "nothing")
    assert wrong[0] == 2
    assert not place.exists()
    along = ("--along", "barrel-tag:cost.unit-cost-limit=0.05:4")
    assert said("report", "barrel-tag", "-o", str(place), *QUICK, *limit, *along)[0] == 1
    text = place.read_text("utf-8")
    assert "## Nothing fits" in text
    assert "Leader by expected score: nothing fits at first" in text


def test_nothing_to_draw_along(said: Caller, tmp_path: Path) -> None:
    """A product that sleeps all its life, of no stated number, has an answer and no curves."""
    product = tmp_path / "sleeper.yaml"
    product.write_text(
        "product: sleeper\ninvented: true\nlife-target: 5 years\nrail: 3.0 V\n"
        "environment: [{at: 20 degC, share: 1}]\nworkload: []\n"
        "supply-options: {cells: [{budget: 900 mAh, voltage: 3.0 V}]}\n"
        "priorities: {battery-life: {weight: 1}}\n",
        "utf-8",
    )
    place = tmp_path / "report.html"
    code, _, err = said("report", str(product), "-o", str(place), *QUICK)
    assert code == 0, err
    assert 'id="outlook"' not in place.read_text("utf-8")


def test_tells_what_was_set_and_how_to_get_it_again(said: Caller, tmp_path: Path) -> None:
    place = tmp_path / "report.md"
    change = "barrel-tag:cost.units=2500"
    said("report", "barrel-tag", "-o", str(place), *QUICK, "--seed", "5", "--set", change)
    command = f"part-advisor shortlist barrel-tag --set {change} --seed 5 --draws 0"
    assert command in place.read_text("utf-8")


def test_curves_along_another_figure(said: Caller, tmp_path: Path) -> None:
    place = tmp_path / "report.md"
    along = "barrel-tag:cost.engineer-rate"
    assert said("report", "barrel-tag", "-o", str(place), *QUICK, "--along", along)[0] == 0
    text = place.read_text("utf-8")
    assert f"Along {along}" in text
    assert "Along barrel-tag:cost.units" not in text
