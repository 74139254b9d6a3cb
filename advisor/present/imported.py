"""The screen of `catalog import`."""

from __future__ import annotations

from collections import defaultdict

from advisor.present.layout import FAINT, PLAIN, Page, Style
from advisor.studies.imported import Imported, ImportedEntry

SHOWN = 40  # entries in the table, and lines of what is said of some
NAMED = 6  # ids behind a line of what some lack


def imported_page(found: Imported, width: int, written: bool) -> Page:
    """The entries, then what they lack and what was left out, alike ones together."""
    page = Page(width)
    what = f"{found.source} {found.version or ''}".rstrip()
    new = sum(entry.state == "new" for entry in found.entries)
    verb = "written" if written else "would be written"
    page.heading(f"{what}: {new} {verb} into {found.folder}")
    if new < len(found.entries):
        page.paragraph(f"{len(found.entries) - new} stand there already, the same", "  ")
    if found.passed_over:
        page.paragraph(f"{found.passed_over} were not asked for", "  ")
    _table(page, found.entries)
    page.heading("not in the source: measure it or look it up")
    lacking = [(", ".join(e.lacks) or "nothing", e) for e in found.entries]
    _told(page, lacking, found, PLAIN)
    aside = [(words, e) for e in found.entries for words in e.aside]
    if aside:
        page.heading("in the source, and in the files as comments only")
        _told(page, aside, found, FAINT)
    return page


def _table(page: Page, entries: tuple[ImportedEntry, ...]) -> None:
    shown = entries[:SHOWN]
    keys = list(dict.fromkeys(key for entry in shown for key in entry.facts))
    kinds = {e.kind for e in shown}
    page.table(
        [*(kinds if len(kinds) == 1 else ["entry"]), *keys],
        [[e.id, *(e.facts.get(key, "-") for key in keys)] for e in shown],
        [False] * (1 + len(keys)),
        indent="  ",
    )
    if len(entries) > SHOWN:
        rest = len(entries) - SHOWN
        page.paragraph(f"and {rest} more; --format csv lists them all", "  ", style=FAINT)


def _told(page: Page, said: list[tuple[str, ImportedEntry]], found: Imported, style: Style) -> None:
    """What is said of entries, alike ones together."""
    groups = list(_alike(said).items())
    for words, entries in groups[:SHOWN]:
        page.paragraph(f"{_whose(entries, found)}: {words}", "  ", "    ", style)
    if len(groups) > SHOWN:
        rest = len(groups) - SHOWN
        page.paragraph(f"and {rest} more; --format csv tells them all", "  ", style=FAINT)


def _alike(said: list[tuple[str, ImportedEntry]]) -> dict[str, list[ImportedEntry]]:
    out: dict[str, list[ImportedEntry]] = defaultdict(list)
    for words, entry in said:
        out[words].append(entry)
    return out


def _whose(entries: list[ImportedEntry], found: Imported) -> str:
    if len(entries) == len(found.entries):
        return "all" if len(entries) > 1 else entries[0].id
    named = ", ".join(entry.id for entry in entries[:NAMED])
    rest = len(entries) - NAMED
    return f"{named} and {rest} more" if rest > 0 else named
