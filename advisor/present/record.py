"""The screens of `decide` and `revisit`."""

from __future__ import annotations

from collections.abc import Sequence

from advisor.present.layout import FAINT, GOOD, POOR, Page
from advisor.present.left_out import left_out
from advisor.present.tables import INVENTED, caution, exchanged, notes
from advisor.studies.family_revisit import FamilyRevisited
from advisor.studies.record import Decided, Revisited

LISTED = 5  # changed figures, and parts, that are told unless all are asked for
NAMES = 3  # files that are named


def decided_page(found: Decided, width: int) -> Page:
    """What was decided, against the advice of the day."""
    page = Page(width)
    page.heading(f"{found.product}: {found.part} is chosen")
    if found.shortlist.invented:
        page.paragraph(INVENTED, style=FAINT)
    first = found.shortlist.ranking[0]
    if found.rank == 1:
        page.paragraph("It is the first of the shortlist.")
    else:
        page.paragraph(f"It is number {found.rank} of the shortlist; first is {first.part}.")
    if found.shortlist.verdict is not None:
        page.paragraph(f"The order is {found.shortlist.verdict.text}.")
    _mind(page, found)
    left_out(page, found.shortlist.left_out, False, "shortlist --all tells why")
    return page


def revisited_page(found: Revisited, width: int, everything: bool = False) -> Page:
    """Whether the decision stands, and what has changed since."""
    page = Page(width)
    page.heading(f"{found.product}: {found.part}, chosen on {found.date.isoformat()}")
    if found.shortlist.invented:
        page.paragraph(INVENTED, style=FAINT)
    page.paragraph(f"Because: {found.because}")
    if found.stands:
        page.line(("The decision stands.", GOOD))
    elif found.unfit is not None:
        page.paragraph(f"The decision does not stand: {found.unfit}.", style=POOR)
    else:
        ahead = ", ".join(found.passed_by)
        are = "is" if len(found.passed_by) == 1 else "are"
        page.paragraph(f"The decision does not stand: {ahead} {are} ahead of it now.", style=POOR)
    _mind(page, found)
    page.paragraph(f"Rule: {found.rule}.", style=FAINT)
    _order(page, found, everything)
    changes(page, found, everything)
    left_out(page, found.shortlist.left_out, everything)
    notes(page, found.shortlist.warnings)
    return page


def _mind(page: Page, found: Decided | Revisited) -> None:
    """The caution of the chosen part's cells, and the general one."""
    listed = found.shortlist
    for part in listed.ranking:
        if part.part == found.part:
            caution(page, part.build, listed.cautions, False, "shortlist --cautions")
    if listed.cautions:
        page.paragraph(listed.cautions[-1])
    for text in exchanged(listed):
        page.paragraph(text, style=FAINT)


def changes(page: Page, found: Revisited | FamilyRevisited, everything: bool = False) -> None:
    """What has changed since a decision: figures that were kept, and files; the first of them, and
    counts of the rest, unless all are asked for; and where the record itself was written over."""
    figures = found.changed
    page.heading("What has changed")
    if found.altered:
        page.paragraph(
            "The record was written over: its figures are not those of its digests for "
            f"{_named(found.altered, everything)}.",
            "  ",
            "    ",
            POOR,
        )
    elif not (figures or found.documents or found.new or found.gone):
        page.paragraph("Nothing.", "  ")
    if figures:
        listed = figures if everything else figures[:LISTED]
        page.table(
            ["figure", "was", "is"],
            [[c.path, c.was or "-", c.now or "-"] for c in listed],
            [False, False, False],
            indent="  ",
        )
        if len(listed) < len(figures):
            more = len(figures) - len(listed)
            page.paragraph(
                f"and {more} more figure{'' if more == 1 else 's'}: --all", "  ", style=FAINT
            )
    for words, names in (
        ("figures of", found.documents),
        ("new:", found.new),
        ("no longer there:", found.gone),
    ):
        if names:
            page.paragraph(f"{words} {_named(names, everything)}", "  ", "    ")


def _named(names: Sequence[str], everything: bool) -> str:
    """Names of files, the first of them and a count where there are many."""
    if everything or len(names) <= NAMES + 1:
        return ", ".join(names)
    return f"{', '.join(names[:NAMES])} and {len(names) - NAMES} more (--all)"


def _order(page: Page, found: Revisited, everything: bool) -> None:
    """The first parts then and now, and in any case the chosen one."""
    page.heading("The order then and now")
    places = sorted(found.places, key=lambda p: (p.rank_now is None, p.rank_now or 0))
    several = len(places)
    if not everything:
        places = [p for n, p in enumerate(places) if n < LISTED or p.part == found.part]
    page.table(
        ["part", "then", "now", "score then", "score now"],
        [
            [
                p.part + (" *" if p.part == found.part else ""),
                "-" if p.rank_then is None else str(p.rank_then),
                "-" if p.rank_now is None else str(p.rank_now),
                "-" if p.score_then is None else f"{p.score_then:.1f}",
                "-" if p.score_now is None else f"{p.score_now:.1f}",
            ]
            for p in places
        ],
        [False, True, True, True, True],
        indent="  ",
    )
    if len(places) < several:
        page.paragraph(f"and {several - len(places)} more: --all", "  ", style=FAINT)
