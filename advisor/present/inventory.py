"""The screens of `catalog` and `product`."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from advisor.catalogue.schema_parts import QUESTIONS
from advisor.present.layout import FAINT, Page
from advisor.present.tables import INVENTED
from advisor.quantities import show
from advisor.studies.check import Checked
from advisor.studies.inventory import Entry, Inventory

NO_PARTS = "No parts yet: `part-advisor catalog add` asks for one."
LONGEST = 0.6  # of the width, that the column of paths may take


def _figure(value: float | None, dimension: str) -> str:
    return "-" if value is None else show(value, dimension)


def inventory_page(found: Inventory, width: int) -> Page:
    """Parts in a table with their summaries, then the rest by kind."""
    page = Page(width)
    page.heading(f"{len(found.parts)} parts")
    if found.invented:
        page.paragraph(INVENTED, style=FAINT)
    if not found.parts:
        page.paragraph(NO_PARTS, "  ", "  ")
    else:
        _parts_table(page, found)
    for kind in dict.fromkeys(row.kind for row in found.others):
        rows = [row for row in found.others if row.kind == kind]
        page.heading(f"{len(rows)} {kind}s")
        for row in rows:
            page.paragraph(f"{row.id}: {row.summary or ''}".rstrip(": "), "  ", "    ")
    return page


def _parts_table(page: Page, found: Inventory) -> None:
    page.table(
        ["part", "flash", "RAM", "kernels", "sleep", "price", "tools", "set-up"],
        [
            [
                row.part,
                _figure(row.flash_b, "information"),
                _figure(row.ram_b, "information"),
                str(row.kernels),
                _figure(row.sleep_a, "current"),
                "-" if row.price is None else f"{row.currency or ''} {row.price:.2f}".strip(),
                "-" if row.toolchain is None else f"{row.toolchain:.0f}",
                "-" if row.setup_h is None else f"{row.setup_h:.3g} h",
            ]
            for row in found.parts
        ],
        [False, True, True, True, True, True, True, True],
        [_words(row.maker, row.lifecycle, row.summary) for row in found.parts],
    )


def _words(*pieces: str | None) -> str:
    return "; ".join(piece for piece in pieces if piece)


def entry_page(entry: Entry, width: int) -> Page:
    """Every figure of an entry, with its path and evidence."""
    page = Page(width)
    page.heading(f"{entry.kind} {entry.id}" + (f": {entry.summary}" if entry.summary else ""))
    if entry.invented:
        page.paragraph(INVENTED, style=FAINT)
    _figures(page, entry)
    page.paragraph(f"Paths for --set begin with {entry.id}:", style=FAINT)
    if entry.toolchain is not None:
        found = entry.toolchain
        text = f"Toolchain maturity {found.score:.0f} of 100"
        if found.unanswered:
            text += f", between {found.low:.0f} and {found.high:.0f}: unanswered are " + ", ".join(
                f"{q} ({QUESTIONS[q]})" for q in found.unanswered
            )
        page.heading("Toolchain")
        page.paragraph(text + ".", "  ")
    if entry.cautions:
        page.heading("Cautions")
        for text in entry.cautions:
            page.paragraph(f"- {text}", "  ", "    ")
    return page


def _figures(page: Page, entry: Entry) -> None:
    """A row a figure; a value that the width does not take stands below its row.

    What has a path too long for a column comes last, in sentences.
    """
    header = ["figure", "value", "evidence"]
    every = [[row.path.dotted, row.text, row.evidence or ""] for row in entry.figures]
    room = LONGEST * (page.width or math.inf)
    rows = [row for row in every if len(row[0]) <= room]
    below = [""] * len(rows)
    for n in sorted(range(len(rows)), key=lambda n: len(rows[n][1]), reverse=True):
        if page.takes(header, rows):
            break
        rows[n][1], below[n] = "", rows[n][1]
    page.table(header, rows, [False, False, False], below)
    for path, *rest in every:
        if len(path) > room:
            page.paragraph(f"{path}: {', '.join(filter(None, rest))}", "", "   ")


def checked_page(found: Checked, width: int) -> Page:
    """Counts, then the warnings, each with its place."""
    page = Page(width)
    counts = ", ".join(_counted(n, name) for name, n in found.counts.items())
    page.heading(f"{found.what}: no fault in {counts}")
    if found.counts.get("parts") == 0:
        page.paragraph(NO_PARTS, "  ", "  ")
    if found.warnings:
        count = len(found.warnings)
        page.heading(f"{count} warning{'' if count == 1 else 's'}: odd, not wrong")
        for warning in found.warnings:
            page.paragraph(warning.text(), "  ", "    ")
    return page


def _counted(count: int, name: str) -> str:
    """A count and its noun, which is given in the plural."""
    if count == 1:
        name = name[:-3] + "y" if name.endswith("ies") else name[:-1]
    return f"{count} {name}"


def products_page(rows: Sequence[dict[str, Any]], width: int) -> Page:
    """The products that have an id."""
    page = Page(width)
    page.heading(f"{len(rows)} products")
    if any(row["invented"] for row in rows):
        page.paragraph(INVENTED, style=FAINT)
    for row in rows:
        page.paragraph(f"{row['product']}: {row['summary'] or ''}".rstrip(": "), "  ", "    ")
    return page
