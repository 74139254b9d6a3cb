"""The screens of tables: what was imported, what a quote changed."""

from __future__ import annotations

from advisor.present.layout import FAINT, Page
from advisor.studies.sheets import Imported, QuoteAnswer, quote_notes


def _parts(count: int) -> str:
    return "1 part" if count == 1 else f"{count} parts"


def imported_page(found: Imported, into: str, width: int, written: bool = True) -> Page:
    """The parts from a table; not `written` where it was only asked what would be."""
    page = Page(width)
    new = sum(part.new for part in found.parts)
    changed = sum(part.changed and not part.new for part in found.parts)
    same = len(found.parts) - new - changed
    what = [f"{new} new"] * (new > 0) + [f"{changed} changed"] * (changed > 0)
    what += [f"{same} as they stood"] * (same > 0)
    come = "" if written else " would come"
    page.heading(f"{_parts(len(found.parts))}{come} into {into}: {', '.join(what)}")
    page.table(
        ["part", "in the table", "rows", "values", ""],
        [
            [
                part.part,
                part.name,
                str(part.rows),
                str(part.values),
                "new" if part.new else "changed" if part.changed else "as it stood",
            ]
            for part in found.parts
        ],
        [False, False, True, True, False],
        indent="  ",
    )
    for note in found.notes:
        page.paragraph(f"- {note}", "  ", "    ", FAINT)
    return page


def quote_page(found: QuoteAnswer, onto: str, width: int, written: bool = True) -> Page:
    """The prices of a quote beside those that stood; not `written` where it was only asked."""
    page = Page(width)
    would = "" if written else " would be"
    page.heading(f"{_parts(len(found.parts))} of {onto}{would} with the prices of {found.table}")
    rows = []
    for part in found.parts:
        before = part.before or {}
        same = part.currency_before in (None, part.currency)
        for at, (quantity, price) in enumerate(part.breaks.items()):
            old = before.get(quantity)
            code = "" if same else f" {part.currency_before}"
            rows.append(
                [
                    part.part if at == 0 else "",
                    str(quantity),
                    f"{price:g} {part.currency}",
                    "" if old is None else f"{old:g}{code}",
                    str(part.multiple) if at == 0 else "",
                    (part.lead_time or "") if at == 0 else "",
                ]
            )
    page.table(
        ["part", "from", "price each", "before", "multiple", "lead time"],
        rows,
        [False, True, True, True, True, False],
        indent="  ",
    )
    for note in quote_notes(found):
        page.paragraph(f"- {note}", "  ", "    ", FAINT)
    return page
