"""A family's report as a workbook: sums are formulas over what they are sums of, to be checked."""

from __future__ import annotations

from typing import Any

from advisor.dimensions import YEAR
from advisor.present import family_contents as contents
from advisor.present.blocks import Section
from advisor.present.family import beside, parts_of
from advisor.present.formula_cells import FIRST, Cell, Formula
from advisor.present.workbook_sheets import LINE, TOP, Sheets, bound
from advisor.studies.family_report import FamilyReport
from advisor.studies.family_results import PlannedProduct
from advisor.studies.words import build_words

# sections that become a sheet as they are
SHEETS = {"assumed": "Assumed", "out": "Left out", "warnings": "Warnings", "cautions": "Cautions"}
# lines of the saving that are sums of purchases, by kind
BOUGHT = {"parts": "part", "cells": "cell", "converters": "converter", "add-ons": "add-on"}


def family_workbook(found: FamilyReport) -> bytes:
    """The workbook as the bytes of an Office Open XML file (ECMA-376)."""
    return bound(contents.title(found), found.date, lambda book: _Writer(book, found).write())


class _Writer(Sheets):
    def __init__(self, book: Any, found: FamilyReport) -> None:
        super().__init__(book, found.plan.family, found.plan.invented)
        self.found, self.plan = found, found.plan

    def write(self) -> None:
        first, *others = contents.sections(self.found)
        self._answer(first)
        if self.plan.plan:
            self._products()
            self._saving()
            self._limits()
            self._plans()
            self._supply()
            self._purchases()
        for section in others:
            if section.id in SHEETS:
                self.blocks(section, SHEETS[section.id])
        self._about()

    def _answer(self, section: Section) -> None:
        if not self.plan.plan:
            self.blocks(section, "Answer")
            return
        sheet = self.sheet("Answer", "The plan in five figures; sums are live on their sheets.")
        row = self.answer(sheet, section.blocks)
        plan = self.plan
        if plan.lines and plan.saving is not None and plan.cost is not None:
            last = FIRST + len(plan.lines) - 1
            for name, column, value in (
                ("Expected cost, by the sheet Saving", "D", plan.cost),
                ("Saving, by the sheet Saving", "G", plan.saving),
            ):
                row += 1
                self.cell(sheet, row, 0, name, self.wrapped)
                self.cell(sheet, row, 1, Formula(f"=Saving!{column}{last}", value))
            self.reached(sheet, row, 2)

    def _products(self) -> None:
        plan = self.plan
        sheet = self.sheet("Products", f"What each product takes; money in {plan.currency}.")
        header = ["product", "part", "second part", "cell", "converter", "add-ons", "units", "cost"]
        header += ["cost a unit", "battery life, years", "life target met", "score", "favourite"]
        header += ["its score", "gives up", "alone", "cost alone", "build", "note", "ends by"]
        header += ["a charge lasts, years", "visits to charge", "days without service"]
        rows = [self._product(one, row) for row, one in enumerate(plan.plan, FIRST)]
        last = FIRST + len(rows) - 1
        units, cost = sum(one.units for one in plan.plan), sum(one.cost for one in plan.plan)
        score = sum(one.score for one in plan.plan) / len(plan.plan)
        sums: list[Cell] = ["all", *[""] * 5, _sum("G", last, units), _sum("H", last, cost)]
        sums += [Formula(f"=H{last + 1}/G{last + 1}", cost / units), None, None]
        sums += [Formula(f"=AVERAGE(L{FIRST}:L{last})", score), *[""] * 11]
        row = self.table(sheet, header, [*rows, sums]) + 1
        names = [line.line for line in plan.lines if line.line != "all"]
        names = names or list(dict.fromkeys(name for one in plan.plan for name in one.lines))
        top, count = row + 1, len(plan.plan)
        row = self.paragraph(
            sheet,
            row,
            "Cost of each product by line: a part's set-up in equal shares of those that take it, "
            "a purchase by pieces.",
            count,
            True,
        )
        body: list[list[Cell]] = []
        for n, name in enumerate(names, top + 2):
            own = [one.lines.get(name, 0.0) for one in plan.plan]
            body.append([name, *own, Formula(f"=SUM(B{n}:{_letter(count)}{n})", sum(own))])
        end = top + 1 + len(names)
        total: list[Cell] = ["all"]
        for i in range(count + 1):
            value = sum(_value(line[i + 1]) for line in body)
            total.append(Formula(f"=SUM({_letter(i + 1)}{top + 2}:{_letter(i + 1)}{end})", value))
        head = ["line", *(one.product for one in plan.plan), "all"]
        self.table(sheet, head, [*body, total], row, wide=False)

    def _product(self, one: PlannedProduct, row: int) -> list[Cell]:
        first, second = one.first, one.second
        return [
            one.product,
            one.part,
            "" if second is None else f"{second.part} ({second.units} units)",
            one.cell,
            one.converter,
            ", ".join(one.addons),
            one.units,
            one.cost,
            Formula(f"=H{row}/G{row}", one.cost_per_unit),
            first.life_s / YEAR,
            first.life_chance,
            one.score,
            one.favourite,
            one.favourite_score,
            Formula(f"=N{row}-L{row}", one.favourite_score - one.score),
            one.alone,
            one.alone_cost,
            build_words(first.build),
            beside(one),
            first.ends_by,
            None if first.one_charge_s is None else first.one_charge_s / YEAR,
            first.charges,
            None if first.service is None else first.service.lost,
        ]

    def _saving(self) -> None:
        plan = self.plan
        if not plan.lines:
            return
        sheet = self.sheet("Saving", f"Expected cost in three ways, {plan.currency}.")
        *lines, total = plan.lines
        last = FIRST + len(lines) - 1
        rows: list[list[Cell]] = []
        for n, one in enumerate([*lines, total], FIRST):
            three: list[Cell] = [one.separate, one.pooled, one.together]
            if one is total:
                pairs = zip("BCD", (one.separate, one.pooled, one.together), strict=True)
                three = [_sum(column, last, value) for column, value in pairs]
            rows.append(
                [
                    one.line,
                    *three,
                    Formula(f"=B{n}-C{n}", one.separate - one.pooled),
                    Formula(f"=C{n}-D{n}", one.pooled - one.together),
                    Formula(f"=B{n}-D{n}", one.saving),
                ]
            )
        header = ["line", "separately", "bought together", "the plan", "saved by buying together"]
        header += ["saved by choosing together", "saved"]
        row = self.table(sheet, header, rows) + 1
        # the same by another way: purchases added up by kind
        end = FIRST + len(plan.purchases) - 1
        body: list[list[Cell]] = []
        places = {one.line: FIRST + n for n, one in enumerate(lines)}
        for line, kind in BOUGHT.items():
            if line in places:
                value = sum(one.total for one in plan.purchases if one.kind == kind)
                at = row + 2 + len(body) + 1
                spent = f'=SUMIF(Purchases!B{FIRST}:B{end},"{kind}",Purchases!G{FIRST}:G{end})'
                apart = value - next(one.together for one in lines if one.line == line)
                away = Formula(f"=ROUND(B{at}-D{places[line]},6)", round(apart, 6) + 0.0)
                body.append([line, Formula(spent, value), away])
        if body:
            row = self.paragraph(sheet, row, "Checked by the sheet Purchases", 2, True)
            self.table(sheet, ["line", "purchases", "off by"], body, row, wide=False)

    def _limits(self) -> None:
        plan = self.plan
        if not plan.limits:
            return
        what = "points" if plan.aim == "score" else plan.currency
        sheet = self.sheet("Limits", f"The plan made anew with each limit a step looser; {what}.")
        header = ["limit", "a step", "gains", "give or take", "a unit, by the relaxation"]
        rows: list[list[Cell]] = [
            [
                one.limit,
                one.step,
                "not found in time" if one.saving is None else one.saving,
                one.unsure,
                one.dual,
            ]
            for one in plan.limits
        ]
        self.table(sheet, header, rows)

    def _plans(self) -> None:
        plan = self.plan
        assert plan.cost is not None
        assert plan.score is not None
        sheet = self.sheet("Plans", f"The plan and others, expected cost in {plan.currency}.")
        of: dict[str, list[str]] = {}
        for one in plan.plan:
            both = one.part if one.second is None else f"{one.part} + {one.second.part}"
            of.setdefault(both, []).append(one.product)
        own = "; ".join(f"{part}: {', '.join(products)}" for part, products in of.items())
        rows: list[list[Cell]] = [
            ["the plan", own, plan.cost, 0.0, plan.score, _yes(plan.status == "optimal")]
        ]
        rows[0].append(plan.regret)
        for kind, listed in (("next best", plan.alternatives), ("front", plan.front)):
            for n, other in enumerate(listed, 1):
                at = FIRST + len(rows)
                more = Formula(f"=C{at}-C{FIRST}", other.more)
                row: list[Cell] = [f"{kind} {n}", parts_of(other), other.cost, more, other.score]
                rows.append([*row, _yes(other.proven), other.regret])
        header = ["plan", "parts", "cost", "more", "mean score", "proven", "regret"]
        self.table(sheet, header, rows)

    def _supply(self) -> None:
        plan = self.plan
        if not plan.supply:
            return
        sheet = self.sheet("Supply", f"What supply may cost, {plan.currency} expected.")
        rows: list[list[Cell]] = []
        for n, one in enumerate(plan.supply, FIRST):
            row: list[Cell] = [one.product, one.part, one.lead_time, one.allocation, one.last_buy]
            total = Formula(f"=SUM(C{n}:E{n})", one.total)
            rows.append([*row, total, one.buffer_weeks, one.alone])
        last = FIRST + len(rows) - 1
        sums: list[Cell] = ["all", "", None, None, None]
        rows.append([*sums, _sum("F", last, sum(one.total for one in plan.supply)), None, None])
        header = ["product", "part", "lead time", "allocation", "last buy", "all", "weeks held"]
        self.table(sheet, [*header, "with its first part alone"], rows)

    def _purchases(self) -> None:
        plan = self.plan
        sheet = self.sheet("Purchases", f"What is bought for all products, {plan.currency}.")
        rows: list[list[Cell]] = []
        for n, one in enumerate(plan.purchases, FIRST):
            total: Cell = Formula(f"=E{n}*F{n}", one.total)
            if one.item in self.found.stepped:
                total = one.total
            row: list[Cell] = [one.item, one.kind, one.needed, one.from_stock, one.pieces]
            rows.append([*row, one.each, total])
        last = FIRST + len(rows) - 1
        sums: list[Cell] = ["all", "", None, None, None, None]
        rows.append([*sums, _sum("G", last, sum(one.total for one in plan.purchases))])
        header = ["item", "kind", "needed", "from stock", "bought", "each", "total"]
        after = self.table(sheet, header, rows)
        if self.found.stepped:
            told = "Prices of these hold beyond their quantities only, so each is a mean: "
            told += ", ".join(sorted(self.found.stepped))
            self.paragraph(sheet, after + 1, told, len(header) - 1)

    def _about(self) -> None:
        found = self.found
        sheet = self.sheet("About", "What makes this again.")
        lines: list[list[Cell]] = [
            ["made on", found.date.isoformat()],
            ["version", found.version],
            ["seed", found.plan.seed],
            ["draws", found.plan.draws],
            ["command", contents.command(found)],
        ]
        lines += [[f"digest of {name}", digest] for name, digest in found.digests.items()]
        self.table(sheet, ["what", "is"], lines, TOP)
        sheet.set_column(1, 1, LINE)


def _sum(column: str, last: int, value: float) -> Formula:
    return Formula(f"=SUM({column}{FIRST}:{column}{last})", value)


def _letter(place: int) -> str:
    """A column by its place from 0."""
    letters = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def _value(cell: Cell) -> float:
    found = cell.value if isinstance(cell, Formula) else cell
    return float(found or 0.0)


def _yes(flag: bool) -> str:
    return "yes" if flag else "no"
