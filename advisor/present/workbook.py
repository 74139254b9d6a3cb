"""The report as a workbook: what a manager changes there, weights above all, changes the ranking.

Formulas are ours alone. Texts of a catalogue are written as texts whatever they begin with, and
marked as such, so that no spreadsheet takes one for a formula.
"""

from __future__ import annotations

import datetime
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from advisor.decide.ranks import DIGITS
from advisor.present import contents, tables
from advisor.present.formulas import FORMULAS
from advisor.quantities import YEAR
from advisor.studies.report import OfferedBuild, Report

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
TOP = 3  # rows above a table's header: title, what the data is, what the sheet is for


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


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula with the value that it has now."""

    text: str
    value: float | str


Cell = str | float | int | Formula | None


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
        shortlist = self._sheet("Shortlist", "The ranking under the weights of the next sheet.")
        weights = self._sheet("Weights", "Change the marked cells; the shortlist follows.")
        parts = self._sheet("Parts", "Each part by its best build under the weights.")
        builds = self._sheet(
            "Builds",
            "Builds that some weights may choose, with these anchors; other anchors may bring up "
            "builds that are not listed.",
        )
        if found.parts:
            self._live(shortlist, weights, parts, builds)
        else:
            near = found.shortlist.nearest_miss
            self._cell(shortlist, TOP, 0, f"Nothing fits. Nearest: {near}" if near else "")
        self._breakdowns()
        self._outlook()
        for section in contents.sections(found):
            if section.id in SHEETS:
                self._blocks(section, SHEETS[section.id])
        self._inputs()
        self._about()

    # What is live --------------------------------------------------------------------------------

    def _live(self, shortlist: Any, weights: Any, parts: Any, builds: Any) -> None:
        found = self.found
        criteria = found.criteria
        first = TOP + 2  # number of the first row of figures, as a formula counts
        last = first + len(criteria) - 1
        total = sum(c.weight for c in criteria)
        self._table(
            weights,
            ["criterion", "weight", "share", "poor", "good", "unit"],
            [
                [
                    c.criterion,
                    None,
                    Formula(f"=B{first + i}/SUM(B${first}:B${last})", c.weight / total),
                    c.poor,
                    c.good,
                    c.unit,
                ]
                for i, c in enumerate(criteria)
            ],
        )
        for i, c in enumerate(criteria):
            weights.write_number(TOP + 1 + i, 1, c.weight, self.entry)

        flat = [(part.part, build) for part in found.parts for build in part.builds]
        names = [c.criterion for c in criteria]
        about = ["part", "build", "battery life, years", "cost", "buy", "current, A", "score"]
        rows = [self._build(part, b, first + n, first) for n, (part, b) in enumerate(flat)]
        self._table(builds, [*about, *names, *(f"worth of {n}" for n in names)], rows)

        # equal scores go by current and then by id, so the parts stand in the order of their ids
        begin = first
        spans: dict[str, tuple[int, int]] = {}
        for part in found.parts:
            spans[part.part] = (begin, begin + len(part.builds) - 1)
            begin += len(part.builds)
        ordered = sorted(spans)
        place = {p.part: p.rank for p in found.shortlist.ranking}
        chosen = {p.part: contents.best(found, p.rank - 1) for p in found.shortlist.ranking}
        score = {p.part: round(p.score, DIGITS) for p in found.shortlist.ranking}
        end = first + len(ordered) - 1
        lines: list[list[Cell]] = []
        for n, name in enumerate(ordered):
            a, z = spans[name]
            row = first + n

            def taken(column: str, a: int = a, z: int = z) -> str:
                scores = f"Builds!$G${a}:$G${z}"
                return f"=INDEX(Builds!${column}${a}:${column}${z},MATCH(MAX({scores}),{scores},0))"

            ahead = (
                f"(B${first}:B${end}>B{row})+(B${first}:B${end}=B{row})*((C${first}:C${end}<C{row})"
                f"+(C${first}:C${end}=C{row})*(ROW(B${first}:B${end})<ROW(B{row})))"
            )
            build = chosen[name]
            lines.append(
                [
                    name,
                    Formula(f"=MAX(Builds!G{a}:G{z})", score[name]),
                    Formula(taken("F"), build.battery_a),
                    Formula(f"=1+SUMPRODUCT({ahead})", place[name]),
                    Formula(taken("B"), tables.build_words(build.build)),
                    Formula(taken("C"), _years(build)),
                    Formula(taken("D"), _known(build.lifetime)),
                    Formula(taken("E"), _known(build.purchase)),
                ]
            )
        self._table(
            parts,
            ["part", "score", "current, A", "rank", "build", "battery life, years", "cost", "buy"],
            lines,
        )
        self._table(
            shortlist,
            ["rank", "part", "score", "build", "battery life, years", "cost", "buy"],
            [
                [
                    p.rank,
                    *(
                        Formula(
                            f"=INDEX(Parts!${column}${first}:${column}${end},"
                            f"MATCH($A{first + n},Parts!$D${first}:$D${end},0))",
                            value,
                        )
                        for column, value in (
                            ("A", p.part),
                            ("B", score[p.part]),
                            ("E", tables.build_words(chosen[p.part].build)),
                            ("F", _years(chosen[p.part])),
                            ("G", _known(chosen[p.part].lifetime)),
                            ("H", _known(chosen[p.part].purchase)),
                        )
                    ),
                ]
                for n, p in enumerate(found.shortlist.ranking)
            ],
        )

    def _build(self, part: str, build: OfferedBuild, row: int, first: int) -> list[Cell]:
        """A build with its values, and as formulas what they are worth and the score."""
        count = len(self.found.criteria)
        value = [_letters(7 + i) for i in range(count)]
        worth = [_letters(7 + count + i) for i in range(count)]
        share = [f"Weights!$C${first + i}" for i in range(count)]
        poor = [f"Weights!$D${first + i}" for i in range(count)]
        good = [f"Weights!$E${first + i}" for i in range(count)]
        terms = "+".join(f"{s}*{w}{row}" for s, w in zip(share, worth, strict=True))
        total = sum(c.weight for c in self.found.criteria)
        points = (
            c.weight / total * u for c, u in zip(self.found.criteria, build.worth, strict=True)
        )
        return [
            part,
            tables.build_words(build.build),
            _years(build),
            _known(build.lifetime),
            _known(build.purchase),
            build.battery_a,
            Formula(f"=ROUND(100*({terms}),{DIGITS})", round(100 * sum(points), DIGITS)),
            *(v if math.isfinite(v) else "unbounded" for v in build.values),
            *(
                # beyond all bounds is worth what its end of the scale is worth
                Formula(f"=MAX(0,MIN(1,({v}{row}-{p})/({g}-{p})))", u) if math.isfinite(x) else u
                for v, p, g, u, x in zip(value, poor, good, build.worth, build.values, strict=True)
            ),
        ]

    # What stands ---------------------------------------------------------------------------------

    def _breakdowns(self) -> None:
        chosen = [
            (part.part, contents.best(self.found, place))
            for place, part in enumerate(self.found.parts)
        ]
        if not chosen:
            return
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
            [[part, m.item, _known(m.amount)] for part, b in chosen for m in b.money],
        )

    def _outlook(self) -> None:
        if self.found.outlook is None:
            return
        rows = self.found.outlook.rows()
        if rows:
            names = [n for n in rows[0] if n not in ("step", "joined")]
            sheet = self._sheet("Outlook", "Battery life (s) and cost along figures (SI).")
            self._table(sheet, names, [[_plain(row[n]) for n in names] for row in rows])

    def _blocks(self, section: contents.Section, name: str) -> None:
        sheet = self._sheet(name, section.title)
        row = TOP
        for block in section.blocks:
            if isinstance(block, contents.Grid):
                lines: list[list[Cell]] = [list(line) for line in block.rows]
                row = self._table(sheet, list(block.header), lines, row, wide=False) + 1
                continue
            items = block.items if isinstance(block, contents.Bullets) else (block.text,)
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
                [file.id, f.path[len(file.id) + 1 :], f.text, f.evidence or ""]
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
            figures = bool(rows) and isinstance(_now(rows[0][i]), (int, float))
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
            sheet.write_string(row, column, value, form or self.text)
        elif value is not None:
            sheet.write_number(row, column, value, form or self._form(value))

    def _form(self, value: float) -> Any:
        if isinstance(value, int):
            return None
        if 0 < abs(value) < 1e-3:
            return self.small
        return self.share if abs(value) < 1 else self.number


def _now(value: Cell) -> str | float | None:
    return value.value if isinstance(value, Formula) else value


def _width(value: Cell) -> int:
    """Characters that a cell takes as it is shown."""
    value = _now(value)
    text = f"{value:,.2f}" if isinstance(value, float) else str(value or "")
    return min(len(text) + 2, WIDEST)


def _letters(column: int) -> str:
    """A column's letters, 0 for A."""
    from xlsxwriter.utility import xl_col_to_name

    return str(xl_col_to_name(column))


def _years(build: OfferedBuild) -> float | str:
    years = build.battery_life_s / YEAR
    return years if math.isfinite(years) else "no end"


def _known(amount: float | None) -> float | str:
    if amount is None:
        return "not known"
    return amount if math.isfinite(amount) else "unbounded"


def _plain(value: object) -> Cell:
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return None
    return value if isinstance(value, (int, float)) else str(value)
