"""The screen of `schema`."""

from __future__ import annotations

from advisor.present.layout import STRONG, Page
from advisor.studies.schema import KeyRow, Reference

HOW_TO_READ = (
    "<names> in a path are the user's own. A key may be absent unless it is marked; absent is "
    "never zero: what needs the figure says that it is missing."
)


def reference_page(found: Reference, width: int) -> Page:
    """Every key with its title, what may stand behind it, and what holds when it is absent."""
    page = Page(width)
    page.heading(f"{found.kind}: {found.file}, {len(found.keys)} keys")
    page.paragraph(HOW_TO_READ)
    for row in found.keys:
        page.paragraph(row.path, "  ", "    ", STRONG)
        page.paragraph(f"{row.title}: {row.what}", "      ")
        notes = key_notes(row)
        if notes:
            page.paragraph("; ".join(notes), "      ")
    return page


def key_notes(row: KeyRow) -> list[str]:
    """What else there is to say of a key."""
    notes = []
    if row.required:
        notes.append("must stand")
    if row.default is not None:
        notes.append(f"{row.default} when absent")
    if row.unit == "1/h":
        notes.append("computed per hour")
    elif row.unit is not None and not row.informational:
        notes.append(f"computed in {row.unit}")
    if row.informational:
        notes.append("informational: enters no figure")
    return notes
