"""A family's report as Markdown and as a workbook, as other programs read and reckon them."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import formulas
import openpyxl
import pytest
from markdown_it import MarkdownIt

from advisor.present.family_workbook import family_workbook
from advisor.present.markdown import family_markdown
from tests.present.family_pages import family_made
from tests.present.hostile import TEXTS

pytestmark = pytest.mark.once

HEAD = 4  # number of the header's row
ORDER = ["Answer", "Products", "Saving", "Limits", "Plans", "Supply", "Purchases"]
CALLS = {"SUM", "AVERAGE", "SUMIF", "ROUND"}


@pytest.fixture(scope="module")
def data() -> bytes:
    return family_workbook(family_made())


def opened(data: bytes, values: bool = False) -> Any:
    return openpyxl.load_workbook(io.BytesIO(data), data_only=values)


def column(sheet: Any, place: int) -> dict[str, Any]:
    """A column below the head, by the first one."""
    rows = sheet.iter_rows(min_row=HEAD + 1, values_only=True)
    out: dict[str, Any] = {}
    for row in rows:
        # a second table, below an empty row, may name the same
        if row[0]:
            out.setdefault(row[0], row[place])
    return out


def test_the_answer_is_first_and_every_sheet_prints(data: bytes) -> None:
    book = opened(data)
    assert book.sheetnames[: len(ORDER)] == ORDER
    for sheet in book:
        assert sheet.print_area
        assert sheet.page_setup.orientation == "landscape"
        assert sheet.page_setup.paperSize == 9
        assert str(sheet["A2"].value).startswith("DEMONSTRATION DATA")


def test_values_are_the_plan_s(data: bytes) -> None:
    plan, book = family_made().plan, opened(data, values=True)
    assert column(book["Products"], 7)["frost-post"] == pytest.approx(plan.plan[0].cost, rel=1e-12)
    saving = book["Saving"]
    assert column(saving, 6)["all"] == pytest.approx(plan.saving, abs=1e-6)
    for one in plan.lines:
        assert column(saving, 3)[one.line] == pytest.approx(one.together, rel=1e-12)
    assert column(book["Purchases"], 6) == pytest.approx(
        {p.item: p.total for p in plan.purchases} | {"all": sum(p.total for p in plan.purchases)}
    )
    assert list(column(book["Plans"], 2).values()) == pytest.approx(
        [plan.cost, *(o.cost for o in plan.alternatives), *(o.cost for o in plan.front)]
    )


@pytest.mark.filterwarnings("ignore")
def test_formulas_reckon_what_stands_beside_them(data: bytes, tmp_path: Path) -> None:
    """By another program; a price that is raised reaches the sum and the check of the saving."""
    book = opened(data)
    for name in book.sheetnames:
        if name not in ORDER:
            del book[name]
    stated = opened(data, values=True)
    live = {
        (sheet.title.upper(), cell.coordinate): stated[sheet.title][cell.coordinate].value
        for sheet in book
        for row in sheet.iter_rows()
        for cell in row
        if cell.data_type == "f"
    }
    texts = [c.value for s in book for row in s.iter_rows() for c in row if c.data_type == "f"]
    assert {name for text in texts for name in re.findall(r"([A-Z]+)\(", text)} <= CALLS
    assert len(live) > 40
    found = reckoned(book, tmp_path / "book.xlsx")
    for at, value in live.items():
        assert found[at] == pytest.approx(value, rel=1e-9, abs=1e-6), at
    purchases = book["Purchases"]
    pieces, each = purchases["E5"].value, purchases["F5"].value
    assert purchases["B5"].value == "part"
    purchases["F5"] = each + 1.0
    again = reckoned(book, tmp_path / "dearer.xlsx")
    total = ("PURCHASES", f"G{HEAD + 1 + len(family_made().plan.purchases)}")
    assert again[total] - found[total] == pytest.approx(pieces, rel=1e-9)
    off = {at for at in live if at[0] == "SAVING" and again[at] != pytest.approx(found[at])}
    assert len(off) == 2, "the parts by purchases, and how far they are off"


def reckoned(book: Any, file: Path) -> dict[tuple[str, str], Any]:
    """(sheet, cell) to its value, by another program's reading of every formula."""
    book.save(file)
    solution = formulas.ExcelModel().loads(str(file)).finish().calculate()
    out = {}
    for key, found in solution.items():
        at = re.fullmatch(r"'\[.*\]([A-Z]+)'!([A-Z]+\d+)", str(key))
        if at:
            out[at[1], at[2]] = found.value[0, 0]
    return out


def test_markdown_reads_as_written() -> None:
    """By another reader of CommonMark: no markup of a text's own, every table whole."""
    found = family_made(" ".join(TEXTS))
    text = family_markdown(found)
    assert text.startswith("# pair: which parts\n")
    parsed = MarkdownIt("commonmark").enable("table").parse(text)
    kinds = {token.type for token in parsed}
    assert "html_block" not in kinds
    inline = [child.type for token in parsed for child in token.children or ()]
    assert not {"html_inline", "link_open", "image"} & set(inline)
    plan = found.plan
    for title in ("The plan", "What it saves, and why", "Other plans", "Supply", "Cautions"):
        assert f"## {title}" in text
    assert "**Caution: lb\\-coin" in text or "**Caution: lb-coin" in text
    assert "part-advisor family pair --seed 1 --draws 20" in text
    assert sum(token.type == "table_open" for token in parsed) >= 8
    assert all(one.part in text for one in plan.plan)
