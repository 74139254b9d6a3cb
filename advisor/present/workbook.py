"""The report as a workbook: what a manager changes there, weights above all, changes the ranking.

Formulas are ours alone. Texts of a catalogue are written as texts whatever they begin with, and
marked as such, so that no spreadsheet takes one for a formula.
"""

from __future__ import annotations

import datetime
import io
import math
from collections.abc import Sequence
from typing import Any

from advisor.present import contents, tables
from advisor.present import formula_cells as cells
from advisor.present.blocks import Bullets, Glance, Grid, Section
from advisor.present.formula_cells import Cell, Formula
from advisor.present.formulas import FORMULAS
from advisor.studies.columns import known
from advisor.studies.report import Report
from advisor.texts import visible

# sections that become a sheet as they are
SHEETS = {
    "answer": "Answer",
    "firm": "Firmness",
    "why": "Why",
    "tipping": "Tipping",
    "gaps": "Gaps",
    "out": "Left out",
    "warnings": "Warnings",
    "cautions": "Cautions",
}
WIDEST = 60  # characters of a column
TOP = cells.FIRST - 2  # rows above a table's header: title, what the data is, what the sheet is for


def workbook(found: Report) -> bytes:
    """The workbook as the bytes of an Office Open XML file (ECMA-376)."""
    import xlsxwriter

    out = io.BytesIO()
    # a text that begins like a formula, an address or a number stays what it is
    plain = {f"strings_to_{kind}": False for kind in ("formulas", "urls", "numbers")}
    book = xlsxwriter.Workbook(out, {"in_memory": True, **plain})
    made = datetime.datetime.combine(found.date, datetime.time(), datetime.UTC)
    book.set_properties({"title": f"{found.product}: which part", "created": made})
    _Writer(book, found).write()
    book.close()
    return out.getvalue()


class _Writer:
    def __init__(self, book: Any, found: Report) -> None:
        self.book, self.found = book, found
        text = {"quote_prefix": True}
        self.title = book.add_format({**text, "bold": True, "font_size": 14})
        self.head = book.add_format({**text, "bold": True, "bottom": 1, "text_wrap": True})
        self.right = book.add_format({**text, "bold": True, "bottom": 1, "align": "right"})
        self.note = book.add_format({**text, "italic": True})
        self.text = book.add_format(text)
        self.number = book.add_format({"num_format": "#,##0.00"})
        self.share = book.add_format({"num_format": "0.000"})
        self.small = book.add_format({"num_format": "0.000E+00"})
        self.entry = book.add_format({"num_format": "0.00##", "bg_color": "#FFF3C4", "border": 1})

    def write(self) -> None:
        found = self.found
        if found.parts:
            self._live()
            self._breakdowns()
        self._outlook()
        for section in contents.sections(found):
            if section.id in SHEETS:
                self._blocks(section, SHEETS[section.id])
        self._inputs()
        self._about()

    def _live(self) -> None:
        found = self.found
        parts = cells.part_rows(found)
        sheet = self._sheet("Shortlist", "The ranking under the weights of the next sheet.")
        self._table(sheet, cells.SHORTLIST, cells.shortlist_rows(parts))
        sheet = self._sheet("Weights", "Change the marked cells; the shortlist follows.")
        self._table(sheet, cells.WEIGHTS, cells.weight_rows(found))
        for row, criterion in enumerate(found.criteria, TOP + 1):
            sheet.write_number(row, 1, criterion.weight, self.entry)
        sheet = self._sheet("Parts", "Each part by its best build under the weights.")
        self._table(sheet, cells.PARTS, parts)
        about = "Builds that some weights may choose with these anchors; others may bring up more."
        sheet = self._sheet("Builds", about)
        self._table(sheet, cells.build_header(found), cells.build_rows(found))

    # What stands ---------------------------------------------------------------------------------

    def _breakdowns(self) -> None:
        chosen = [(part.part, part.best) for part in self.found.parts]
        sheet = self._sheet("Current", "Mean current at the pack, by what draws it.")
        self._table(
            sheet,
            ["part", "drawn by", "current, A", "share"],
            [[part, c.consumer, c.a, c.share] for part, b in chosen for c in b.current],
        )
        sheet = self._sheet("Cost", "Cost over the service life, a unit, by item.")
        self._table(
            sheet,
            ["part", "item", "amount"],
            [[part, m.item, known(m.amount)] for part, b in chosen for m in b.money],
        )

    def _outlook(self) -> None:
        if self.found.outlook is None:
            return
        rows = self.found.outlook.rows()
        if rows:
            names = [n for n in rows[0] if n not in ("step", "joined")]
            sheet = self._sheet("Outlook", "Battery life (s) and cost along figures (SI).")
            self._table(sheet, names, [[_plain(row[n]) for n in names] for row in rows])

    def _blocks(self, section: Section, name: str) -> None:
        sheet = self._sheet(name, section.title)
        row = TOP
        for block in section.blocks:
            if isinstance(block, Grid):
                lines: list[list[Cell]] = [list(line) for line in block.rows]
                row = self._table(sheet, list(block.header), lines, row, wide=False) + 1
                continue
            items = block.told() if isinstance(block, Bullets) else (block.text,)
            for text in items:
                self._cell(sheet, row, 0, text)
                row += 1
        sheet.set_column(0, 0, 40)

    def _inputs(self) -> None:
        sheet = self._sheet("Inputs", "Every figure as its file has it, with its evidence.")
        self._table(
            sheet,
            ["file", "figure", "as written", "evidence"],
            [
                [file.id, f.path.dotted, f.text, f.evidence or ""]
                for file in self.found.inputs
                for f in file.figures
            ],
        )

    def _about(self) -> None:
        found = self.found
        sheet = self._sheet("About", "What makes this again, and how it is reckoned.")
        lines: list[list[Cell]] = [
            ["made on", found.date.isoformat()],
            ["version", found.version],
            ["seed", found.shortlist.seed],
            ["draws", found.shortlist.draws],
            ["command", contents.command(found)],
        ]
        lines += [[f"digest of {name}", digest] for name, digest in found.digests.items()]
        row = self._table(sheet, ["what", "is"], lines)
        formulas: list[list[Cell]] = [list(line) for line in FORMULAS]
        self._table(sheet, ["what", "how", "source"], formulas, row + 1)

    # Cells ---------------------------------------------------------------------------------------

    def _sheet(self, name: str, purpose: str) -> Any:
        sheet = self.book.add_worksheet(name)
        self._cell(sheet, 0, 0, f"{self.found.product}: {name}", self.title)
        if self.found.invented:
            self._cell(sheet, 1, 0, tables.INVENTED, self.note)
        self._cell(sheet, 2, 0, purpose, self.note)
        sheet.hide_gridlines(2)
        sheet.set_landscape()
        sheet.fit_to_pages(1, 0)
        return sheet

    def _table(
        self,
        sheet: Any,
        header: Sequence[str],
        rows: Sequence[Sequence[Cell]],
        top: int = TOP,
        wide: bool = True,
    ) -> int:
        """Write a table; gives the number of the row after it."""
        for i, name in enumerate(header):
            figures = bool(rows) and isinstance(cells.now(rows[0][i]), (int, float))
            self._cell(sheet, top, i, name, self.right if figures else self.head)
        for n, row in enumerate(rows, top + 1):
            for i, value in enumerate(row):
                self._cell(sheet, n, i, value)
        if wide:
            for i, name in enumerate(header):
                sheet.set_column(i, i, max(_width(name), *(_width(row[i]) for row in rows), 8))
            sheet.freeze_panes(top + 1, 0)
        return top + 1 + len(rows)

    def _cell(self, sheet: Any, row: int, column: int, value: Cell, form: Any = None) -> None:
        if isinstance(value, Formula):
            form = form or (None if isinstance(value.value, str) else self._form(value.value))
            sheet.write_formula(row, column, value.text, form, value.value)
        elif isinstance(value, str):
            sheet.write_string(row, column, visible(value), form or self.text)
        elif value is not None:
            sheet.write_number(row, column, value, form or self._form(value))

    def _form(self, value: float) -> Any:
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


def _plain(value: object) -> Cell:
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return None
    return value if isinstance(value, (int, float)) else str(value)
