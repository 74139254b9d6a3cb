"""The reference of keys and commands, written from the code: `python -m advisor.reference`.

`pages()` gives the text of every page; a test compares it with the files beside this module, so
that they cannot fall behind the declarations. `readme.py` does the same for the outputs that the
README shows.
"""

from __future__ import annotations

from pathlib import Path

FOLDER = Path(__file__).resolve().parent


def pages() -> dict[str, str]:
    """File name to text of every page."""
    from advisor.reference.commands import commands_page
    from advisor.reference.keys import keys_page

    return {"keys.md": keys_page(), "commands.md": commands_page()}
