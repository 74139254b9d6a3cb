"""The reference, written from the code: `python -m advisor.reference`.

`pages()` gives the text of every page that is made of declarations alone; a test compares it with
the files beside this module, so that they cannot fall behind. `outputs` does the same for what the
README and the pages in `WRITTEN` show of commands.
"""

from __future__ import annotations

from pathlib import Path

FOLDER = Path(__file__).resolve().parent
WRITTEN = ("walk.md", "model.md", "family.md")  # by hand, but for the outputs that they show


def pages() -> dict[str, str]:
    """File name to text of every page."""
    from advisor.reference.commands import commands_page
    from advisor.reference.glossary import glossary_page
    from advisor.reference.keys import keys_page
    from advisor.reference.lists import lists_page

    return {
        "keys.md": keys_page(),
        "commands.md": commands_page(),
        "glossary.md": glossary_page(),
        "lists.md": lists_page(),
    }
