"""The report as a workbook: what a manager changes there, weights above all, changes the ranking.

Formulas are ours alone. Texts of a catalogue are written as texts whatever they begin with, and
marked as such, so that no spreadsheet takes one for a formula.
"""

from __future__ import annotations

import datetime
import io
import math
from collections.abc import Sequence
from itertools import zip_longest
from typing import Any

from advisor.dimensions import YEAR
from advisor.present import contents, tables
from advisor.present import formula_cells as cells
from advisor.present.blocks import Bullets, Glance, Grid, Section, Words
from advisor.present.formula_cells import Cell, Formula
from advisor.present.formulas import FORMULAS
from advisor.studies.columns import known
from advisor.studies.report import Report
from advisor.texts import visible

# sections that become a sheet as they are
SHEETS = {
    "firm": "Firmness",
    "why": "Why",
    "tipping": "Tipping",
    "gaps": "Gaps",
    "out": "Left out",
    "warnings": "Warnings",
    "cautions": "Cautions",
}
WIDEST = 60  # characters of a column
NARROWEST = 8
HEAD = 14  # from this width on a head wraps
LINE = 100  # characters of a paragraph's line, and of a sheet's narrowest print
HIGH = 15  # points of a line
CHARTED = 8  # parts in the charts
A4 = 9  # ECMA-376, 18.18.50: paper sizes by number
COLOURS = ("#2F5D8A", "#B5541C")  # as the page has them
# columns of the outlook's rows with what they are called, lives in years
LIVES = {
    "battery_life_s": "battery life, years",
    "battery_life_p05_s": "5 % below, years",
    "battery_life_p95_s": "95 % below, years",
}
REST = {
    "lifetime_cost": "expected cost",
    "lifetime_cost_p05": "5 % below",
    "lifetime_cost_p95": "95 % below",
    "battery_change": "chance of a battery change",
    "score": "score",
}
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
        self.entry = book.add_format({"num_format": "0.00##", "bg_color": "#FFF3C4", "border": 1})

    def write(self) -> None:
        found = self.found
        first, *others = contents.sections(found)
        self._answer(first)
        if found.parts:
            self._live()
            self._breakdowns()
        self._outlook()
        for section in others:
            if section.id in SHEETS:
                self._blocks(section, SHEETS[section.id])
        self._inputs()
        self._about()

    def _answer(self, section: Section) -> None:
        """The five figures, what to mind, and charts that follow the weights."""
        found = self.found
        sheet = self._sheet("Answer", "Under the product's own weights.")
        row = TOP
        for block in section.blocks:
            if isinstance(block, Glance):
                for n, width in enumerate((22, 34, WIDEST)):
                    sheet.set_column(n, n, width)
                for figure in block.figures:
                    lines = math.ceil(len(figure.about) / (WIDEST - 4))
                    sheet.set_row(row, max(1.4, lines) * HIGH)
                    self._cell(sheet, row, 0, figure.name)
                    self._cell(sheet, row, 1, figure.value, self.large)
                    self._cell(sheet, row, 2, figure.about, self.wrapped)
                    row += 1
                row += 1
            elif isinstance(block, Words):
                strong = block.kind in ("lead", "caution")
                row = self._paragraph(sheet, row, block.text, 2, strong)
        if found.parts:
            best = found.shortlist.ranking[0]
            now = Formula(f"=Shortlist!B{cells.FIRST}", best.part)
            self._cell(sheet, row + 1, 0, "First, by the sheet Weights")
            self._cell(sheet, row + 1, 1, now)
            self._charts(sheet, row + 3)

    def _charts(self, sheet: Any, row: int) -> None:
        """Battery life and cost of the first parts, as the shortlist has them."""
        found = self.found
        shown = min(CHARTED, len(found.parts))
        first, last = cells.FIRST - 1, cells.FIRST + shown - 2
        listed = cells.shortlist_rows(cells.part_rows(found))[:shown]
        target = found.shortlist.life_target_s
        unit = found.shortlist.ranking[0].cost.currency or "no currency"
        life = "" if target is None else f" (wanted {target / YEAR:.3g})"
        titles = {
            "battery life, years": f"Battery life, years{life}",
            "cost": f"Cost over the service life, {unit} a unit",
        }
        place = 0
        for name, title in titles.items():
            at = cells.SHORTLIST.index(name)
            if not any(isinstance(cells.now(line[at]), float) for line in listed):
                continue
            chart = self.book.add_chart({"type": "bar"})
            chart.add_series(
                {
                    "name": title,
                    "categories": ["Shortlist", first, 1, last, 1],
                    "values": ["Shortlist", first, at, last, at],
                    "fill": {"color": COLOURS[place]},
                    "data_labels": {"value": True, "num_format": "0.00"},
                    "gap": 60,
                }
            )
            chart.set_title({"name": title, "name_font": {"size": 12}})
            chart.set_legend({"none": True})
            chart.set_y_axis({"reverse": True})
            # each bar has its figure
            chart.set_x_axis({"min": 0, "visible": False, "major_gridlines": {"visible": False}})
            chart.set_size({"width": 410, "height": 60 + 30 * shown})
            about = f"{title}, of the first {shown} parts; the sheet Shortlist says the same"
            options = {"description": about, "x_offset": 5 + 420 * place, "object_position": 3}
            sheet.insert_chart(row, 0, chart, options)
            place += 1
        if place:
            self._reach(sheet, row + math.ceil((60 + 30 * shown) / 20), 2)

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
            ["part", "drawn by", "current, µA", "share"],
            [
                [part, c.consumer, c.a / cells.MICRO, c.share]
                for part, b in chosen
                for c in b.current
            ],
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
        rows: list[list[Cell]] = []
        for one in self.found.outlook.levers:
            most = max((abs(p.x) for curve in one.curves for p in curve.points), default=0.0)
            size, unit = cells.readable(most, one.unit)
            for row in one.rows():
                lives = (_over(row[key], YEAR) for key in LIVES)
                rest = (_plain(row[key]) for key in REST)
                rows.append(
                    [one.lever, str(row["part"]), _over(row["x"], size), unit, *lives, *rest]
                )
        if rows:
            header = ["figure", "part", "at", "its unit", *LIVES.values(), *REST.values()]
            sheet = self._sheet("Outlook", "Battery life and cost along figures.")
            self._table(sheet, header, rows)

    def _blocks(self, section: Section, name: str) -> None:
        sheet = self._sheet(name, section.title)
        grids = [block for block in section.blocks if isinstance(block, Grid)]
        several = [_widths(grid.header, grid.rows) for grid in grids] or [[LINE]]
        widths = [max(some) for some in zip_longest(*several, fillvalue=NARROWEST)]
        # a paragraph stands across the table's columns, and has room there
        widths[-1] += max(0, LINE - sum(widths))
        for i, width in enumerate(widths):
            sheet.set_column(i, i, width)
        last = len(widths) - 1
        row = TOP
        for block in section.blocks:
            if isinstance(block, Grid):
                row = self._paragraph(sheet, row, block.caption, last, True)
                lines: list[list[Cell]] = [list(line) for line in block.rows]
                row = self._table(sheet, list(block.header), lines, row, wide=False) + 1
                continue
            items = block.told() if isinstance(block, Bullets) else (getattr(block, "text", ""),)
            for text in items:
                row = self._paragraph(sheet, row, text, last)

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
        self._table(sheet, ["what", "how", "source"], formulas, row + 1, wide=False)
        sheet.set_column(0, 2, 40)

    # Cells ---------------------------------------------------------------------------------------

    def _sheet(self, name: str, purpose: str) -> Any:
        sheet = self.book.add_worksheet(name)
        self._cell(sheet, 0, 0, f"{self.found.product}: {name}", self.title)
        if self.found.invented:
            self._cell(sheet, 1, 0, tables.INVENTED, self.note)
        self._cell(sheet, 2, 0, purpose, self.note)
        sheet.hide_gridlines(2)
        sheet.set_landscape()
        sheet.set_paper(A4)
        sheet.fit_to_pages(1, 0)
        sheet.set_footer("&L&A&RPage &P of &N")
        return sheet

    def _paragraph(self, sheet: Any, row: int, text: str, last: int, strong: bool = False) -> int:
        """A text across the columns up to `last`, as high as its lines; gives the next row."""
        form = self.strong if strong else self.wrapped
        if last > 0:
            sheet.merge_range(row, 0, row, last, "", form)
        sheet.set_row(row, HIGH * max(1, math.ceil(len(text) / (0.9 * LINE))))
        self._cell(sheet, row, 0, text, form)
        self._reach(sheet, row, last)
        return row + 1

    def _reach(self, sheet: Any, row: int, column: int) -> None:
        """Print as far as there, and as far as before."""
        before = self.reach.get(sheet.name, (0, 0))
        self.reach[sheet.name] = rows, columns = max(before[0], row), max(before[1], column)
        sheet.print_area(0, 0, rows, columns)

    def _table(
        self,
        sheet: Any,
        header: Sequence[str],
        rows: Sequence[Sequence[Cell]],
        top: int = TOP,
        wide: bool = True,
    ) -> int:
        """Write a table; gives the number of the row after it."""
        widths = _widths(header, rows)
        if wide:
            lines = max(math.ceil((len(n) + 1) / w) for n, w in zip(header, widths, strict=True))
            sheet.set_row(top, HIGH * lines)
        for i, name in enumerate(header):
            figures = bool(rows) and isinstance(cells.now(rows[0][i]), (int, float))
            self._cell(sheet, top, i, name, self.right if figures else self.head)
        for n, row in enumerate(rows, top + 1):
            for i, value in enumerate(row):
                long = isinstance(value, str) and len(value) > WIDEST
                self._cell(sheet, n, i, value, self.wrapped if long else None)
        if wide:
            for i, width in enumerate(widths):
                sheet.set_column(i, i, width)
            sheet.freeze_panes(top + 1, 0)
            sheet.repeat_rows(top)
        self._reach(sheet, top + len(rows), len(header) - 1)
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


def _widths(header: Sequence[str], rows: Sequence[Sequence[Cell]]) -> list[int]:
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


def _over(value: object, size: float) -> Cell:
    """A figure in a unit of that size."""
    found = _plain(value)
    return found / size if isinstance(found, (int, float)) else found


def _plain(value: object) -> Cell:
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return None
    return value if isinstance(value, (int, float)) else str(value)
