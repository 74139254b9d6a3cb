"""Small pieces of Markdown."""

from __future__ import annotations

from collections.abc import Sequence

BORN = (
    "<!-- Written by `python -m advisor.reference` from the declarations in the code: "
    "change those, not this file. -->"
)


def code(text: str) -> str:
    """Text as it would be typed."""
    return f"`{text}`"


def table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A table; a bar inside an entry is escaped."""
    lines = [header, ["---"] * len(header), *rows]
    return "\n".join(
        "| " + " | ".join(entry.replace("|", "\\|") for entry in line) + " |" for line in lines
    )


def slug(heading: str) -> str:
    """The name by which a page's own heading is linked to."""
    kept = "".join(c for c in heading.lower() if c.isalnum() or c in " -_")
    return kept.replace(" ", "-")
