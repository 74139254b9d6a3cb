"""Intervals as marks: one scale, the target's place, plain marks where the encoding lacks them."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest

from advisor.catalogue.shipped import load
from advisor.cli.streams import plain_marks
from advisor.dimensions import YEAR
from advisor.present.layout import Page
from advisor.present.marks import ROOM, marks
from advisor.present.tables import shortlist_page
from advisor.studies.results import RankedPart
from advisor.studies.shortlist import Shortlist, shortlist


@pytest.fixture(scope="module")
def answer() -> Shortlist:
    return shortlist(*load("barrel-tag"), draws=200)


def _part(answer: Shortlist, low: float, stated: float, high: float) -> RankedPart:
    part = answer.ranking[0]
    lives = replace(part.battery_life_s, nominal=stated * YEAR, p05=low * YEAR, p95=high * YEAR)
    return replace(part, battery_life_s=lives)


def test_one_scale_for_all(answer: Shortlist) -> None:
    parts = [_part(answer, 1, 3, 5), _part(answer, 4, 4.5, 10.5), _part(answer, 20, 20, 20)]
    found = marks(parts, 10 * YEAR)
    assert found is not None
    # by hand: a year a letter from 1 on
    assert found.lines[0] == "├─●─┤    ┊" + " " * 10
    assert found.lines[2] == " " * 9 + "┊" + " " * 9 + "●"
    assert found.lines[1][3] == "├"
    assert found.lines[1][9] == "┊"
    assert found.head == "1.00            20.0"
    assert {len(line) for line in (found.head, *found.lines)} == {ROOM}


def test_no_marks_where_there_is_nothing_to_draw(answer: Shortlist) -> None:
    assert marks([_part(answer, 2, 2, 2)], 2 * YEAR) is None
    assert marks([_part(answer, 2, 3, float("inf"))], None) is None
    part = answer.ranking[0]
    lives = replace(part.battery_life_s, p05=None, p95=None)
    assert marks([replace(part, battery_life_s=lives)], None) is None


def test_marks_where_the_width_allows(answer: Shortlist) -> None:
    wide, narrow = (shortlist_page(answer, width).plain() for width in (120, 80))
    assert "├─●─┤: years, 5–95 % and stated, ┊ wanted" in " ".join(wide.split())
    assert "●" not in narrow
    assert max(map(len, wide.splitlines())) <= 120
    for encoding in ("ascii", "cp1252"):
        raw = io.BytesIO()
        stream = io.TextIOWrapper(raw, encoding=encoding, errors=plain_marks())
        stream.write(wide)
        stream.flush()
        told = raw.getvalue().decode(encoding)
        assert "\\" not in told
        assert "|-o-|: years" in " ".join(told.split())
        # one letter for each, or columns would not stand
        assert [len(x) for x in told.splitlines()] == [len(x) for x in wide.splitlines()]


def test_true_minus_signs_and_none_in_what_is_pasted() -> None:
    from advisor.present.layout import setting

    page = Page(0)
    page.paragraph("cost -0.9 (-1.2) at 2026-11-27, --top 0, tm-3, x:a.-10 degC=-5degC")
    page.table(["figure"], [["-3.5"]], [True])
    page.typed(setting("x:a.-10 degC", "-5 degC"))
    assert page.plain().splitlines() == [
        "cost −0.9 (−1.2) at 2026-11-27, --top 0, tm-3, x:a.-10 degC=-5degC",
        "figure",
        "  −3.5",
        "--set 'x:a.-10 degC=-5 degC'",
    ]
