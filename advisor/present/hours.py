"""The screen of `hours`."""

from __future__ import annotations

from advisor.present.layout import FAINT, Page
from advisor.studies.hours import Hours, notes


def hours_page(found: Hours, width: int) -> Page:
    """The sittings, their sum, and what they answer."""
    page = Page(width)
    of = "" if found.toolchain is None else f" with {found.toolchain}"
    page.heading(f"{found.part}{of}: hours to the first working program")
    page.table(
        ["day", "from", "to", "hours", "question", "answer"],
        [
            [
                s.date.isoformat(),
                s.start,
                s.stop,
                f"{s.hours:.2f}",
                s.question or "",
                s.answer or "",
            ]
            for s in found.sittings
        ],
        [False, False, False, True, False, False],
        [
            "; ".join(
                word
                for word in (
                    s.did,
                    None if s.in_the_way is None else f"in the way: {s.in_the_way}",
                    "the first program works" if s.works else None,
                )
                if word is not None
            )
            for s in found.sittings
        ],
        indent="  ",
    )
    page.paragraph(f"{found.total_h:.2f} h in all", "  ")
    if found.setup_h is not None:
        page.paragraph(f"{found.setup_h:.2f} h to the first working program", "  ")
    for note in notes(found):
        page.paragraph(f"- {note}", "  ", "    ", FAINT)
    return page
