"""`report` of a family on the command line."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Caller
from tests.studies.small_family import write_catalogue, write_family

pytestmark = pytest.mark.once


@pytest.fixture(scope="module")
def named(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """What names a small family and a small catalogue."""
    folder = tmp_path_factory.mktemp("family")
    file = write_family(folder / "products")
    return [str(file), "--catalog", str(write_catalogue(folder / "mine")), "--draws", "0", "-q"]


@pytest.mark.parametrize(
    ("ending", "begins"),
    [("html", b"<!doctype html>"), ("md", b"# pair: which parts"), ("xlsx", b"PK")],
)
def test_ending_says_the_form(
    ending: str, begins: bytes, named: list[str], said: Caller, tmp_path: Path
) -> None:
    place = tmp_path / f"report.{ending.upper()}"
    code, out, err = said("report", *named, "-o", str(place))
    assert (code, err) == (0, "")
    assert out.startswith(f"pair: 2 parts for 2 products; written to {place}")
    assert place.read_bytes().startswith(begins)
    if ending == "md":
        again = place.read_text("utf-8").partition("```sh\n")[2].partition("\n")[0]
        assert again == f"part-advisor family {named[0]} --catalog={named[2]} --seed 1 --draws 0"


def test_what_a_family_s_report_has_not_is_refused(said: Caller, tmp_path: Path) -> None:
    place = tmp_path / "report.html"
    wrong = ("--along", "vineyard:limits.parts", "--tipping", "--gaps")
    code, out, err = said("report", "vineyard", "-o", str(place), *wrong)
    assert (code, out) == (2, "")
    for option in ("--along", "--tipping", "--gaps"):
        assert f'{option}: read "vineyard", a family; expected a product' in err
    assert not place.exists()


def test_no_plan_is_an_answer_and_inputs_stay(
    named: list[str], said: Caller, tmp_path: Path
) -> None:
    place = tmp_path / "report.md"
    tight = ("--set", "pair:limits.capital=5")
    code, out, _ = said("report", *named, "-o", str(place), *tight)
    assert code == 1
    assert "pair: no plan; written to" in out
    assert "at most 5 of capital" in place.read_text("utf-8")
    code, _, err = said("report", *named, "-o", str(Path(named[0]).with_suffix(".pdf")))
    assert code == 2
    assert "--output" in err
