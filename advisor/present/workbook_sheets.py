"""Sheets of a workbook: titles, tables, paragraphs and how they print.

Texts of a catalogue are written as texts whatever they begin with, and marked as such, so that no
spreadsheet takes one for a formula.
"""

from __future__ import annotations

import datetime
import io
import math
from collections.abc import Callable, Sequence
from itertools import zip_longest
from typing import Any

from advisor.present import formula_cells as cells
from advisor.present import tables
from advisor.present.blocks import Block, Bullets, Glance, Grid, Section, Words
from advisor.present.formula_cells import Cell, Formula
from advisor.texts import visible

WIDEST = 60  # characters of a column
NARROWEST = 8
HEAD = 14  # from this width on a head wraps
LINE = 100  # characters of a paragraph's line, and of a sheet's narrowest print
HIGH = 15  # points of a line
A4 = 9  # ECMA-376, 18.18.50: paper sizes by number
TOP = cells.FIRST - 2  # rows above a table's header: title, what the data is, what the sheet is for


def bound(title: str, date: datetime.date, write: Callable[[Any], None]) -> bytes:
    """A workbook as the bytes of an Office Open XML file (ECMA-376); `write` fills it."""
    import xlsxwriter

    out = io.BytesIO()
    # a text that begins like a formula, an address or a number stays what it is
    plain = {f"strings_to_{kind}": False for kind in ("formulas", "urls", "numbers")}
    book = xlsxwriter.Workbook(out, {"in_memory": True, **plain})
    made = datetime.datetime.combine(date, datetime.time(), datetime.UTC)
    book.set_properties({"title": title, "created": made})
    write(book)
    book.close()
    return out.getvalue()


class Sheets:
    """A workbook's sheets; each bears the name of what the workbook is of."""

    def __init__(self, book: Any, name: str, invented: bool) -> None:
        self.book, self.name, self.invented = book, name, invented
        self.reach: dict[str, tuple[int, int]] = {}  # the last row and column of each sheet
        text = {"quote_prefix": True}
        self.title = book.add_format({**text, "bold": True, "font_size": 14})
        self.head = book.add_format({**text, "bold": True, "bottom": 1, "text_wrap": True})
        self.right = book.add_format(
            {**text, "bold": True, "bottom": 1, "align": "right", "text_wrap": True}
        )
        self.note = book.add_format({**text, "italic": True})
        self.text = book.add_format({**text, "valign": "top"})
        self.wrapped = book.add_format({**text, "valign": "top", "text_wrap": True})
        self.strong = book.add_format({**text, "valign": "top", "text_wrap": True, "bold": True})
        self.large = book.add_format({**text, "valign": "top", "bold": True, "font_size": 14})
        self.number = book.add_format({"num_format": "#,##0.00"})
        self.share = book.add_format({"num_format": "0.000"})
        self.small = book.add_format({"num_format": "0.000E+00"})

    def sheet(self, name: str, purpose: str) -> Any:
        """A sheet with its title and what it is for."""
        sheet = self.book.add_worksheet(name)
        self.cell(sheet, 0, 0, f"{self.name}: {name}", self.title)
        if self.invented:
            self.cell(sheet, 1, 0, tables.INVENTED, self.note)
        self.cell(sheet, 2, 0, purpose, self.note)
        sheet.hide_gridlines(2)
        sheet.set_landscape()
        sheet.set_paper(A4)
        sheet.fit_to_pages(1, 0)
        sheet.set_footer("&L&A&RPage &P of &N")
        return sheet

    def paragraph(self, sheet: Any, row: int, text: str, last: int, strong: bool = False) -> int:
        """A text across the columns up to `last`, as high as its lines; gives the next row."""
        form = self.strong if strong else self.wrapped
        if last > 0:
            sheet.merge_range(row, 0, row, last, "", form)
        sheet.set_row(row, HIGH * max(1, math.ceil(len(text) / (0.9 * LINE))))
        self.cell(sheet, row, 0, text, form)
        self.reached(sheet, row, last)
        return row + 1

    def reached(self, sheet: Any, row: int, column: int) -> None:
        """Print as far as there, and as far as before."""
        before = self.reach.get(sheet.name, (0, 0))
        self.reach[sheet.name] = rows, columns = max(before[0], row), max(before[1], column)
        sheet.print_area(0, 0, rows, columns)

    def table(
        self,
        sheet: Any,
        header: Sequence[str],
        rows: Sequence[Sequence[Cell]],
        top: int = TOP,
        wide: bool = True,
    ) -> int:
        """Write a table; gives the number of the row after it."""
        widths = widths_of(header, rows)
        if wide:
            lines = max(math.ceil((len(n) + 1) / w) for n, w in zip(header, widths, strict=True))
            sheet.set_row(top, HIGH * lines)
        for i, name in enumerate(header):
            figures = bool(rows) and isinstance(cells.now(rows[0][i]), (int, float))
            self.cell(sheet, top, i, name, self.right if figures else self.head)
        for n, row in enumerate(rows, top + 1):
            for i, value in enumerate(row):
                long = isinstance(value, str) and len(value) > WIDEST
                self.cell(sheet, n, i, value, self.wrapped if long else None)
        if wide:
            for i, width in enumerate(widths):
                sheet.set_column(i, i, width)
            sheet.freeze_panes(top + 1, 0)
            sheet.repeat_rows(top)
        self.reached(sheet, top + len(rows), len(header) - 1)
        return top + 1 + len(rows)

    def cell(self, sheet: Any, row: int, column: int, value: Cell, form: Any = None) -> None:
        """Write a text, a figure or a formula with the value that it has now."""
        if isinstance(value, Formula):
            form = form or (None if isinstance(value.value, str) else self.form_of(value.value))
            sheet.write_formula(row, column, value.text, form, value.value)
        elif isinstance(value, str):
            sheet.write_string(row, column, visible(value), form or self.text)
        elif value is not None:
            sheet.write_number(row, column, value, form or self.form_of(value))

    def answer(self, sheet: Any, blocks: Sequence[Block]) -> int:
        """Figures at a glance and paragraphs; gives the row after them."""
        row = TOP
        for block in blocks:
            if isinstance(block, Glance):
                for n, width in enumerate((22, 34, WIDEST)):
                    sheet.set_column(n, n, width)
                for figure in block.figures:
                    lines = math.ceil(len(figure.about) / (WIDEST - 4))
                    sheet.set_row(row, max(1.4, lines) * HIGH)
                    self.cell(sheet, row, 0, figure.name)
                    self.cell(sheet, row, 1, figure.value, self.large)
                    self.cell(sheet, row, 2, figure.about, self.wrapped)
                    row += 1
                row += 1
            elif isinstance(block, Words):
                strong = block.kind in ("lead", "caution")
                row = self.paragraph(sheet, row, block.text, 2, strong)
        return row

    def blocks(self, section: Section, name: str) -> None:
        """A section as a sheet of its own."""
        sheet = self.sheet(name, section.title)
        grids = [block for block in section.blocks if isinstance(block, Grid)]
        several = [widths_of(grid.header, grid.rows) for grid in grids] or [[LINE]]
        widths = [max(some) for some in zip_longest(*several, fillvalue=NARROWEST)]
        # a paragraph stands across the table's columns, and has room there
        widths[-1] += max(0, LINE - sum(widths))
        for i, width in enumerate(widths):
            sheet.set_column(i, i, width)
        last = len(widths) - 1
        row = TOP
        for block in section.blocks:
            if isinstance(block, Grid):
                row = self.paragraph(sheet, row, block.caption, last, True)
                lines: list[list[Cell]] = [list(line) for line in block.rows]
                row = self.table(sheet, list(block.header), lines, row, wide=False) + 1
                continue
            items = block.told() if isinstance(block, Bullets) else (getattr(block, "text", ""),)
            for text in items:
                row = self.paragraph(sheet, row, text, last)

    def form_of(self, value: float) -> Any:
        """How a figure is shown."""
        if isinstance(value, int):
            return None
        if 0 < abs(value) < 1e-3:
            return self.small
        return self.share if abs(value) < 1 else self.number


def _width(value: Cell) -> int:
    """Characters that a cell takes as it is shown."""
    value = cells.now(value)
    text = f"{value:,.2f}" if isinstance(value, float) else str(value or "")
    return min(len(text) + 2, WIDEST)


def widths_of(header: Sequence[str], rows: Sequence[Sequence[Cell]]) -> list[int]:
    """Of each column, that of its widest cell; a head wraps, but no word of it."""
    return [
        max(
            *(_width(word) for word in name.split(" ")),
            min(_width(name), HEAD),
            NARROWEST,
            *(_width(row[i]) for row in rows),
        )
        for i, name in enumerate(header)
    ]
