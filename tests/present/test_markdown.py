"""The Markdown form, as another program reads it."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from markdown_it import MarkdownIt

from advisor.present import contents
from advisor.present.blocks import Grid
from advisor.present.markdown import escaped, markdown
from tests.present.hostile import TEXTS, hostile_report
from tests.present.pages import PRODUCTS, made
from tests.shares import mostly_slow

pytestmark = pytest.mark.once


def rendered(text: str) -> str:
    """The HTML that a CommonMark reader with tables makes of a text."""
    return str(MarkdownIt("commonmark").enable("table").render(text))


def read(text: str) -> str:
    """What a reader sees of HTML."""
    bare = re.sub(r"<[^>]*>", "", text)
    return html.unescape(bare).replace("​", "")


@pytest.mark.parametrize("name", mostly_slow(PRODUCTS, 3))
def test_tables_are_whole(name: str) -> None:
    """Every table of the contents, row by row and cell by cell."""
    page = rendered(markdown(made(name)))
    tables = re.findall(r"<table>(.*?)</table>", page, re.S)
    grids = [
        block
        for section in contents.sections(made(name))
        for block in section.blocks
        if isinstance(block, Grid) and not section.bulky
    ]
    assert len(tables) == len(grids) > 8
    for table, grid in zip(tables, grids, strict=True):
        rows = [
            [read(cell).strip() for cell in re.findall(r"<td[^>]*>(.*?)</td>", row, re.S)]
            for row in re.findall(r"<tr>(.*?)</tr>", table, re.S)[1:]
        ]
        notes = [[note] for note in grid.small] or [[] for _ in grid.rows]
        assert rows == [[*row, *note] for row, note in zip(grid.rows, notes, strict=True)]


@pytest.mark.parametrize("name", mostly_slow(PRODUCTS, 3))
def test_fits_where_it_goes(name: str) -> None:
    """A comment of 65,536 characters is the most that common forges take (from memory)."""
    assert len(markdown(made(name))) < 60_000


@pytest.mark.slow
def test_says_what_the_page_says() -> None:
    text = rendered(markdown(made("barrel-tag", True)))
    for section in contents.sections(made("barrel-tag", True)):
        assert section.bulky or f"<h2>{html.escape(section.title)}</h2>" in text
    assert "What would change the winner" in text
    assert "What to measure next" in text
    assert made("barrel-tag").digests["barrel-tag"] in text


def test_hostile_texts_are_texts(tmp_path: Path) -> None:
    source = markdown(hostile_report(tmp_path / "catalogue"))
    page = rendered(source)
    code = re.sub(r"<pre>.*?</pre>", "", page, flags=re.S)
    assert set(re.findall(r"<(\w+)", code)) <= {
        *("h1", "h2", "p", "strong", "ul", "li", "table", "thead", "tbody", "tr", "th", "td"),
    }
    seen = read(page)
    for text in TEXTS:
        assert text in seen
    # what readers make links and mentions of without being asked
    told = html.unescape(re.sub(r"```.*?```", "", source, flags=re.S))
    assert "someone" in told
    assert not re.search(r"(?<!\w)@\w|(?<!\w)#\d|://|www\.", told)


@given(st.text(st.sampled_from("ab1 .)#>+-=*_`|[]()!<&;~\\:/@\n"), max_size=24))
@example("1) a")
@example("- a")
@example("&lt;")
@example("![a](b)")
def test_any_text_reads_as_itself(text: str) -> None:
    """In a cell of a table, where a bar or a line's end would do harm too."""
    page = rendered(f"| a |\n|:--|\n| x{escaped(text)}x |\n")
    cells = re.findall(r"<td[^>]*>(.*?)</td>", page, re.S)
    assert len(cells) == 1
    assert read(cells[0]) == "x" + " ".join(text.split()) + "x"
    assert set(re.findall(r"<(\w+)", cells[0])) == set()
