"""`family` as it is called: products named one by one, forms, exit codes."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from tests.cli.conftest import Caller

pytestmark = pytest.mark.once

FEW = ("barrel-tag", "valve-driver", "--draws", "0", "--plans", "1")


def test_products_of_a_call_are_planned_together_in_every_form(said: Caller) -> None:
    code, screen, err = said("family", *FEW, "--width", "80")
    assert (code, err) == (0, "")
    assert "2 products" in screen
    code, told, _ = said("family", *FEW, "--format", "json")
    plan = json.loads(told)
    assert code == 0
    assert [one["product"] for one in plan["plan"]] == ["barrel-tag", "valve-driver"]
    code, rows, beside = said("family", *FEW, "--format", "csv")
    read = list(csv.DictReader(io.StringIO(rows)))
    assert [row["product"] for row in read] == ["barrel-tag", "valve-driver"]
    assert [row["part"] for row in read] == [one["part"] for one in plan["plan"]]
    assert "Expected cost" in beside
    assert all("never charge" in row["cautions"] for row in read)


def test_limits_that_conflict_end_with_one_and_say_which(said: Caller) -> None:
    limits = ("--set", "family:limits={parts: 1, capital: 10, engineering: 100 h}")
    code, screen, _ = said("family", *FEW, *limits)
    assert code == 1
    assert "at most 10 of capital" in screen
    assert "engineering" not in screen.partition("Taken for granted")[0]
    code, rows, beside = said("family", *FEW, *limits, "--format", "csv")
    assert code == 1
    assert rows.startswith("product,part,")
    assert "cannot hold together: at most 10 of capital" in beside


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("family",), "Missing argument"),
        (("family", "frost-pst"), "frost-post"),
        (("family", *FEW, "--aim", "price"), "cost, score, front"),
        (("family", *FEW, "--seconds", "nan"), "a time above zero"),
        (("family", *FEW, "--set", "family:limits.part=1"), "parts"),
        (("family", *FEW, "--set", "familly:limits.parts=1"), "family"),
    ],
)
def test_what_is_wrong_with_a_call_is_told(said: Caller, words: tuple[str, ...], told: str) -> None:
    code, out, err = said(*words)
    assert code == 2
    assert out == ""
    assert told in err


def test_no_file_of_the_run_is_written_over(said: Caller, tmp_path: Path) -> None:
    file = tmp_path / "field.yaml"
    text = "family: field\nproducts: [{product: barrel-tag}, {product: valve-driver}]\n"
    file.write_text(text)
    code, _, err = said("family", str(file), "--draws", "0", "-o", str(file))
    assert code == 2
    assert str(file) in err
    assert file.read_text() == text
