"""`python -m tests.fuzz`: hostile input without end, and what the tool makes of it.

    --minutes N   how long (default 1)
    --seed S      other cases (default 1)
    --kind K      yaml, traces, arguments, cache, packs or kills; all in turn if absent
    --case N      one case alone, as a failure names it
    --first N     the number to begin with

Exit 0 when nothing failed, else 1 with what replays each failure.
"""

from __future__ import annotations

import argparse
import importlib
import sys
from itertools import islice

from tests.fuzz.driver import fuzz, turns
from tests.fuzz.kinds import KINDS

KILLS = "kills"


def main(arguments: list[str]) -> int:
    """Run cases and tell what they came to."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz")
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", choices=[*KINDS, KILLS])
    parser.add_argument("--case", type=int)
    parser.add_argument("--first", type=int, default=0)
    given = parser.parse_args(arguments)
    if given.case is not None and given.kind not in KINDS:
        parser.error("--case needs the --kind that it is of, other than kills")
    if given.kind == KILLS:
        return _kills(given.minutes, given.seed)
    kinds = list(KINDS) if given.kind is None else [given.kind]
    cases = turns(kinds, given.first if given.case is None else given.case)
    if given.case is not None:
        counts, failures = fuzz(islice(cases, 1), given.seed)
    else:
        counts, failures = fuzz(cases, given.seed, 60 * given.minutes)
    for kind, number, words in failures:
        print(f"python -m tests.fuzz --kind {kind} --seed {given.seed} --case {number}\n  {words}")
    for kind, count in counts.items():
        codes = ", ".join(f"{n} with {code}" for code, n in sorted(count.codes.items()))
        print(
            f"{kind}: {count.cases} cases, {count.calls} calls ({codes or 'none'}), "
            f"{count.failed} failed"
        )
    return 1 if failures else 0


def _kills(minutes: float, seed: int) -> int:
    found = importlib.import_module("tests.fuzz.kills")
    code: int = found.main(["--minutes", str(minutes), "--seed", str(seed)])
    return code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
