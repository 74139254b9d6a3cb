"""The workbook, as other programs read and reckon it."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import formulas
import numpy as np
import openpyxl
import pytest

from advisor.catalogue.shipped import load
from advisor.decide.ranks import DIGITS
from advisor.present.workbook import workbook
from advisor.studies.report import report
from advisor.studies.results import build_result, cost_result
from advisor.studies.words import build_words
from tests.present.hostile import TEXTS, hostile_report
from tests.present.pages import MOSTLY, PRODUCTS, made
from tests.present.ranking import decided, weighted
from tests.shares import mostly_slow

pytestmark = pytest.mark.once

LIVE = ("Shortlist", "Weights", "Parts", "Builds")
HEAD = 4  # number of the header's row


def opened(data: bytes, values: bool = False) -> Any:
    return openpyxl.load_workbook(io.BytesIO(data), data_only=values)


def rows(sheet: Any) -> list[tuple[Any, ...]]:
    return list(sheet.iter_rows(min_row=HEAD + 1, values_only=True))


@pytest.mark.parametrize("name", MOSTLY)
def test_shows_the_shortlist_as_it_is(name: str) -> None:
    """The values that stand beside the formulas, for whoever does not reckon them anew."""
    found = made(name)
    shown = rows(opened(workbook(found), values=True)["Shortlist"])
    assert [row[1] for row in shown] == [p.part for p in found.shortlist.ranking]
    scores = [p.score for p in found.shortlist.ranking]
    assert [row[2] for row in shown] == pytest.approx(scores, abs=2e-9)


def reckoned(book: Any, folder: Path) -> list[tuple[str, float]]:
    """(part, score) of the shortlist, by another program's reading of every formula."""
    return [(str(row[0]), float(row[1])) for row in interpreted(book, folder)(())]


def interpreted(
    book: Any, folder: Path
) -> Callable[[Sequence[float]], list[tuple[Any, Any, Any, Any]]]:
    """What reckons (part, score, build, cost) of the shortlist under weights, or those that stand
    there."""
    heads = [cell.value for cell in book["Shortlist"][HEAD]]
    letters = [chr(ord("A") + heads.index(name)) for name in ("part", "score", "build", "cost")]
    for name in book.sheetnames:
        if name not in LIVE:
            del book[name]
    book.save(folder / "book.xlsx")
    model = formulas.ExcelModel().loads(str(folder / "book.xlsx")).finish()

    def reckon(weights: Sequence[float]) -> list[tuple[Any, Any, Any, Any]]:
        cells = {}
        asked = {f"'[book.xlsx]WEIGHTS'!B{HEAD + 1 + i}": w for i, w in enumerate(weights)}
        for key, found in model.calculate(inputs=asked).items():
            at = re.fullmatch(r"'\[book\.xlsx\]SHORTLIST'!([A-Z]+)(\d+)", str(key))
            if at and int(at[2]) > HEAD:
                cells[int(at[2]), at[1]] = found.value[0, 0]
        numbers = sorted({row for row, _ in cells})
        part, score, build, cost = ([cells[row, at] for row in numbers] for at in letters)
        return list(zip(part, score, build, cost, strict=True))

    return reckon


@pytest.mark.parametrize("name", mostly_slow(PRODUCTS, 3))
@pytest.mark.filterwarnings("ignore")
def test_other_weights_rank_as_the_whole_decision_does(name: str, tmp_path: Path) -> None:
    """score = sum of weights x worth, reckoned by a spreadsheet interpreter."""
    found = made(name)
    random = np.random.default_rng(11)
    weights = np.round(random.dirichlet(np.full(len(found.criteria), 0.7)) * 9, 3).tolist()
    book = opened(workbook(found))
    for i, weight in enumerate(weights):
        book["Weights"].cell(HEAD + 1 + i, 2).value = weight
    shown = reckoned(book, tmp_path)
    expected = weighted(found, weights)
    assert [part for part, _ in shown] == [part for part, _ in expected]
    assert [s for _, s in shown] == pytest.approx([s for _, s in expected], abs=1e-7)


@pytest.mark.parametrize("name", mostly_slow(PRODUCTS, 3))
@pytest.mark.filterwarnings("ignore")
def test_equal_scores_go_as_in_the_whole_decision(name: str, tmp_path: Path) -> None:
    """One criterion alone leaves builds and parts equal that differ by all others: by it the same
    build of each part, with what it costs, and the same order of parts."""
    found = made(name)
    reckon = interpreted(opened(workbook(found)), tmp_path)
    level = 0
    for weights in np.eye(len(found.criteria)).tolist():
        shown, expected = reckon(weights), decided(found, weights)
        scores = [c.score for c in expected]
        assert [row[1] for row in shown] == pytest.approx(scores, abs=1e-7)
        assert [(row[0], row[2]) for row in shown] == [
            (c.part.part, build_words(build_result(c.best))) for c in expected
        ]
        costs = [cost_result(c, "EUR").told for c in expected]
        assert [row[3] for row in shown] == pytest.approx(costs, abs=1e-7)
        level += len(scores) - len({round(score, DIGITS) for score in scores})
    assert level


def _formulas(book: Any) -> Sequence[tuple[str, Any]]:
    return [
        (sheet.title, cell)
        for sheet in book
        for row in sheet.iter_rows()
        for cell in row
        if cell.data_type == "f"
    ]


def test_hostile_texts_are_texts(tmp_path: Path) -> None:
    """Only the live sheets have formulas, and those call nothing but what they need."""
    book = opened(workbook(hostile_report(tmp_path / "catalogue")))
    found = _formulas(book)
    assert {sheet for sheet, _ in found} == {"Answer", *LIVE}
    called = {name for _, cell in found for name in re.findall(r"[A-Z]+(?=\()", cell.value)}
    assert called == {"INDEX", "MATCH", "MAX", "ROUND", "SUM", "SUMPRODUCT"}
    texts = {
        cell.value: cell
        for sheet in book
        for row in sheet.iter_rows()
        for cell in row
        if cell.data_type == "s"
    }
    for text in TEXTS:
        assert text in texts
        assert texts[text].hyperlink is None
        # marked as text, so that it stays one when somebody edits the cell
        assert texts[text].quotePrefix


@pytest.mark.slow
def test_sheets_say_that_data_are_invented() -> None:
    book = opened(workbook(made("barrel-tag", True)))
    assert {"Current", "Cost", "Outlook", "Tipping", "Gaps", "Inputs", "About"} <= set(
        book.sheetnames
    )
    for sheet in book:
        assert "DEMONSTRATION DATA" in sheet["A2"].value, sheet.title


def test_begins_with_the_answer_and_charts_of_the_first_parts() -> None:
    found = made("barrel-tag")
    book = opened(workbook(found), values=True)
    sheet = book.worksheets[0]
    assert sheet.title == "Answer"
    best = found.shortlist.ranking[0]
    told = {row[0]: row[1] for row in rows(sheet) if row[0]}
    told["Part and cell"] = sheet.cell(HEAD, 2).value
    assert told["Part and cell"] == f"{best.part} on {best.build.cell}"
    assert told["Points"] == f"{best.score:.1f} of 100"
    assert told["First, by the sheet Weights"] == best.part
    assert any("button cells kill children" in str(row[0]) for row in rows(sheet))
    # charts of what the shortlist has, so that they follow the weights
    heads = [cell.value for cell in book["Shortlist"][HEAD]]
    drawn = [chart.series[0].val.numRef.f for chart in sheet._charts]
    letters = [chr(ord("A") + heads.index(name)) for name in ("battery life, years", "cost")]
    assert drawn == [f"Shortlist!${at}$5:${at}$12" for at in letters]


def test_sheets_are_in_the_units_people_use_and_print_whole() -> None:
    book = opened(workbook(made("frost-post")))
    for sheet in book:
        head = [str(cell.value) for cell in sheet[HEAD]]
        assert not [name for name in head if name.endswith((", s", ", A"))], sheet.title
        left, right = sheet.print_area.split(":")
        assert left.endswith("$A$1")
        # nothing is left out of print
        column, row = re.fullmatch(r"\$([A-Z]+)\$(\d+)", right).groups()  # type: ignore[union-attr]
        assert openpyxl.utils.column_index_from_string(column) >= sheet.max_column
        assert int(row) >= sheet.max_row
        assert sheet.page_setup.orientation == "landscape"
        assert sheet.page_setup.fitToHeight == 0
    units = {row[0]: row[3:6] for row in rows(book["Weights"])}
    assert units["battery-life"] == (pytest.approx(3.0), pytest.approx(10.0), "years")
    assert units["bring-up"] == (pytest.approx(40.0), 0, "h")


@pytest.mark.filterwarnings("ignore")
def test_stated_values_rank_in_those_units_too(tmp_path: Path) -> None:
    """Without draws the worth is a formula of value and anchors, here in years."""
    catalogue, product = load("barrel-tag")
    found = report(catalogue.only(sorted(catalogue.parts)[::3]), product, draws=0)
    assert len(found.shortlist.ranking) > 3
    shown = reckoned(opened(workbook(found)), tmp_path)
    assert [part for part, _ in shown] == [p.part for p in found.shortlist.ranking]
    scores = [p.score for p in found.shortlist.ranking]
    assert [score for _, score in shown] == pytest.approx(scores, abs=1e-7)


def test_breakdowns_add_up() -> None:
    found = made("frost-post")
    book = opened(workbook(found))
    for part in found.shortlist.ranking:
        amounts = [row[2] for row in rows(book["Cost"]) if row[0] == part.part]
        assert sum(amounts) == pytest.approx(part.cost.told, rel=1e-9)
        shares = [row[3] for row in rows(book["Current"]) if row[0] == part.part]
        assert sum(shares) == pytest.approx(1.0)


def test_same_report_same_bytes() -> None:
    assert workbook(made("barrel-tag")) == workbook(made("barrel-tag"))
