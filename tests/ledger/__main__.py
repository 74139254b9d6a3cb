"""`python -m tests.ledger`: keeps all figures as they are now, and says which have changed.

    NAME ...   only these cases
    --compare  says which have changed and keeps nothing; exit 1 where any has

What changes is to be understood before it is kept: a difference that nobody meant is a bug.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.ledger import answers, kept, measured

CASES = {**answers.CASES, **measured.CASES}
SHOWN = 12  # changed figures of a case


def main(arguments: list[str]) -> int:
    """Compare, say, keep."""
    parser = argparse.ArgumentParser(prog="python -m tests.ledger")
    parser.add_argument("names", nargs="*", metavar="NAME")
    parser.add_argument("--compare", action="store_true")
    given = parser.parse_args(arguments)
    unknown = [name for name in given.names if name not in CASES]
    if unknown:
        parser.error(f"no case {', '.join(unknown)}; there are {', '.join(CASES)}")
    any_changed = False
    for name in given.names or CASES:
        with TemporaryDirectory() as folder:
            found = kept.told(CASES[name](Path(folder)))
        there = (kept.FOLDER / f"{name}.json").exists()
        changed = list(kept.differences(found, kept.read(name))) if there else ["new"]
        if changed:
            any_changed = True
            print(f"{name}: {len(changed)} changed")
            for line in changed[:SHOWN]:
                print(f"  {line}")
            if not given.compare:
                kept.write(name, found)
    if not given.names and not given.compare:
        for path in sorted(kept.FOLDER.glob("*.json")):
            if path.stem not in CASES:
                path.unlink()
                print(f"{path.stem}: gone")
    return int(given.compare and any_changed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
