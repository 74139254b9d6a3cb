"""The report as a workbook: what a manager changes there, weights above all, changes the ranking.

Formulas are ours alone. Texts of a catalogue are written as texts whatever they begin with, and
marked as such, so that no spreadsheet takes one for a formula.
"""

from __future__ import annotations

import math
from typing import Any

from advisor.dimensions import YEAR
from advisor.present import contents
from advisor.present import formula_cells as cells
from advisor.present.blocks import Section
from advisor.present.formula_cells import Cell, Formula
from advisor.present.formulas import FORMULAS
from advisor.present.workbook_sheets import TOP, Sheets, bound
from advisor.studies.columns import known
from advisor.studies.report import Report

# sections that become a sheet as they are
SHEETS = {
    "feeding": "Feeding",
    "firm": "Firmness",
    "why": "Why",
    "tipping": "Tipping",
    "gaps": "Gaps",
    "out": "Left out",
    "warnings": "Warnings",
    "cautions": "Cautions",
}
CHARTED = 8  # parts in the charts
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


def workbook(found: Report) -> bytes:
    """The workbook as the bytes of an Office Open XML file (ECMA-376)."""
    return bound(
        f"{found.product}: which part", found.date, lambda book: _Writer(book, found).write()
    )


class _Writer(Sheets):
    def __init__(self, book: Any, found: Report) -> None:
        super().__init__(book, found.product, found.invented)
        self.found = found
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
                self.blocks(section, SHEETS[section.id])
        self._inputs()
        self._about()

    def _answer(self, section: Section) -> None:
        """The five figures, what to mind, and charts that follow the weights."""
        found = self.found
        sheet = self.sheet("Answer", "Under the product's own weights.")
        row = self.answer(sheet, section.blocks)
        if found.parts:
            best = found.shortlist.ranking[0]
            now = Formula(f"=Shortlist!B{cells.FIRST}", best.part)
            self.cell(sheet, row + 1, 0, "First, by the sheet Weights")
            self.cell(sheet, row + 1, 1, now)
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
            self.reached(sheet, row + math.ceil((60 + 30 * shown) / 20), 2)

    def _live(self) -> None:
        found = self.found
        parts = cells.part_rows(found)
        sheet = self.sheet("Shortlist", "The ranking under the weights of the next sheet.")
        self.table(sheet, cells.SHORTLIST, cells.shortlist_rows(parts))
        sheet = self.sheet("Weights", "Change the marked cells; the shortlist follows.")
        self.table(sheet, cells.WEIGHTS, cells.weight_rows(found))
        for row, criterion in enumerate(found.criteria, TOP + 1):
            sheet.write_number(row, 1, criterion.weight, self.entry)
        sheet = self.sheet("Parts", "Each part by its best build under the weights.")
        self.table(sheet, cells.PARTS, parts)
        about = "Builds that some weights may choose with these anchors; others may bring up more."
        sheet = self.sheet("Builds", about)
        self.table(sheet, cells.build_header(found), cells.build_rows(found))

    # What stands ---------------------------------------------------------------------------------

    def _breakdowns(self) -> None:
        chosen = [(part.part, part.best) for part in self.found.parts]
        sheet = self.sheet("Current", "Mean current at the pack, by what draws it.")
        self.table(
            sheet,
            ["part", "drawn by", "current, µA", "share"],
            [
                [part, c.consumer, c.a / cells.MICRO, c.share]
                for part, b in chosen
                for c in b.current
            ],
        )
        sheet = self.sheet("Cost", "Cost over the service life, a unit, by item.")
        self.table(
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
            sheet = self.sheet("Outlook", "Battery life and cost along figures.")
            self.table(sheet, header, rows)

    def _inputs(self) -> None:
        sheet = self.sheet("Inputs", "Every figure as its file has it, with its evidence.")
        self.table(
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
        sheet = self.sheet("About", "What makes this again, and how it is reckoned.")
        lines: list[list[Cell]] = [
            ["made on", found.date.isoformat()],
            ["version", found.version],
            ["seed", found.shortlist.seed],
            ["draws", found.shortlist.draws],
            ["command", contents.command(found)],
        ]
        lines += [[f"digest of {name}", digest] for name, digest in found.digests.items()]
        row = self.table(sheet, ["what", "is"], lines)
        formulas: list[list[Cell]] = [list(line) for line in FORMULAS]
        self.table(sheet, ["what", "how", "source"], formulas, row + 1, wide=False)
        sheet.set_column(0, 2, 40)


def _over(value: object, size: float) -> Cell:
    """A figure in a unit of that size."""
    found = _plain(value)
    return found / size if isinstance(found, (int, float)) else found


def _plain(value: object) -> Cell:
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return None
    return value if isinstance(value, (int, float)) else str(value)
