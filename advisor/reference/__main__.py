"""`python -m advisor.reference`: write the reference pages, and in a checkout the README's outputs.

With `--check` nothing is written: exit 1 when something is behind the code.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from advisor.reference import FOLDER, pages
from advisor.reference.readme import refreshed

ROOT = FOLDER.parents[1]


def main(arguments: list[str]) -> int:
    """Write or check the pages."""
    if arguments not in ([], ["--check"]):
        print("usage: python -m advisor.reference [--check]", file=sys.stderr)
        return 2
    wanted = {FOLDER / name: text for name, text in pages().items()}
    readme = ROOT / "README.md"
    if (ROOT / "pyproject.toml").is_file() and readme.is_file():
        with tempfile.TemporaryDirectory() as folder:
            (Path(folder) / "catalog").symlink_to(ROOT / "catalog")
            wanted[readme] = refreshed(readme.read_text("utf-8"), Path(folder))
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


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
