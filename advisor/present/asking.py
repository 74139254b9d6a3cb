"""The screens of what questions have led to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from advisor.present.layout import FAINT, STRONG, Page

if TYPE_CHECKING:
    from advisor.intake.listing import QuestionRow


def written_page(lead: Sequence[str], steps: Sequence[str], width: int) -> Page:
    """What was written, and what may come next."""
    page = Page(width)
    for text in lead:
        page.paragraph(text, "", "  ")
    page.heading("Next")
    for text in steps:
        page.paragraph(text, "  ", "    ")
    return page


def questions_page(kind: str, rows: Sequence[QuestionRow], width: int) -> Page:
    """Every question with its key, what Enter takes, and why."""
    page = Page(width)
    page.heading(f"{kind}: {len(rows)} questions")
    page.paragraph("<names> in a key are one's own, from an earlier answer.", style=FAINT)
    for row in rows:
        page.paragraph(row.key, "  ", "    ", STRONG)
        page.paragraph(f"{row.question}, such as {row.example}", "      ")
        if row.default is not None:
            page.paragraph(f"default: {row.default} ({row.reason})", "      ")
        if row.needed:
            page.paragraph("must be answered", "      ")
    return page


def interviewed_page(
    file: str,
    new: bool,
    skipped: Sequence[str],
    taken: Mapping[str, str],
    steps: Sequence[str],
    width: int,
) -> Page:
    """Where a new file is, what it rests on, and what may come next."""
    page = Page(width)
    words = "written, and read back without a fault" if new else "stands there already, as it is"
    page.paragraph(f"{file}: {words}", "", "  ")
    if taken:
        page.paragraph("Defaults: " + ", ".join(f"{k} {v}" for k, v in taken.items()), "  ", "    ")
    if skipped:
        page.paragraph("Not known: " + ", ".join(skipped), "  ", "    ")
    page.heading("Next")
    for text in steps:
        page.paragraph(text, "  ", "    ")
    return page
