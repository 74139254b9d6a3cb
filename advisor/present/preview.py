"""A look at the answer while its file is being written."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from advisor.dimensions import YEAR
from advisor.present.layout import Page
from advisor.present.tables import INVENTED

if TYPE_CHECKING:
    from advisor.intake.interview import Default, Question
    from advisor.studies.preview import Preview


def preview_page(found: Preview, assumed: Sequence[tuple[Question, Default]], width: int) -> Page:
    """The first parts, or one's own among them; what was assumed, left out, and is missing."""
    page = Page(width)
    page.line("")
    what = f"in {found.product}" if found.own is not None else f"for {found.product}"
    own = next((row for row in found.rows if row.part == found.own), None)
    if found.own is None:
        head = f"{found.of} parts fit; first {found.leads}" if found.leads else "no part fits yet"
    elif own is not None:
        head = f"{found.own} is number {own.rank} of {found.of}"
    else:
        head = f"{found.own} cannot be ranked yet"
    page.paragraph(f"So far, {what}: {head} (a quick look, few draws).", "   ", "     ")
    for row in found.rows:
        years = f"{row.battery_life_s / YEAR:.3g} years"
        page.paragraph(f"{row.rank}  {row.part}  {row.score:.1f} of 100, {years}", "   ", "     ")
    for words, items in (
        ("missing", found.lacks),
        ("of no use in it", found.unused),
        ("estimated from other parts", found.estimated),
        ("not looked at, not known yet", found.left),
        ("assumed", [f"{q.key} {d.text}" for q, d in assumed]),
    ):
        if items:
            page.paragraph(f"{words}: {'; '.join(items)}", "   ", "     ")
    if found.invented:
        page.paragraph(INVENTED, "   ", "   ")
    page.line("")
    return page
