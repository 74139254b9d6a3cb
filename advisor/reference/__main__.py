"""`python -m advisor.reference`: write the reference; in a checkout also outputs that pages show.

With `--check` nothing is written: exit 1 when something is behind the code.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from advisor.reference import FOLDER, WRITTEN, pages
from advisor.reference.outputs import refreshed

ROOT = FOLDER.parents[1]


def main(arguments: list[str]) -> int:
    """Write or check the pages."""
    if arguments not in ([], ["--check"]):
        print("usage: python -m advisor.reference [--check]", file=sys.stderr)
        return 2
    wanted = {FOLDER / name: text for name, text in pages().items()}
    if (ROOT / "pyproject.toml").is_file():
        for page in (ROOT / "README.md", *(FOLDER / name for name in WRITTEN)):
            wanted[page] = _with_outputs(page.read_text("utf-8"))
    behind = [
        path
        for path, text in wanted.items()
        if not path.is_file() or path.read_text("utf-8") != text
    ]
    for path in behind:
        print(f"{'behind' if arguments else 'written'}: {path.name}")
        if not arguments:
            path.write_text(wanted[path], encoding="utf-8")
    return 1 if behind and arguments else 0


def _with_outputs(text: str) -> str:
    """A page with its outputs made anew, in a folder with the files that it shows."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "catalog").symlink_to(ROOT / "catalog")
        return refreshed(text, Path(folder))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
