"""`python -m tests.fuzz.worker`: runs the cases that it is told, a line of JSON each way.

A process of its own: whoever hangs or dies takes no other case along.
"""

from __future__ import annotations

import json
import os
import resource
import sys
import tempfile
from pathlib import Path

from tests.fuzz.files import furnish
from tests.fuzz.kinds import KINDS
from tests.fuzz.oracle import Bench, run_case

HELD = 4_000_000_000  # bytes; beyond, memory is refused rather than taken from the machine


def main() -> None:
    """Run cases until there are no more."""
    resource.setrlimit(resource.RLIMIT_DATA, (HELD, HELD))
    tell = os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)  # nothing but the protocol on standard output
    orders = os.fdopen(os.dup(0), "r")
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    with tempfile.TemporaryDirectory(prefix="fuzz-") as name:
        base = Path(name) / "base"
        furnish(base)
        for line in orders:
            kind, seed, case = json.loads(line)
            try:
                bench = run_case(KINDS[kind], kind, seed, case, base, Path(name) / "case")
            except Exception as error:  # of the case's own making
                bench = Bench(base, base, failures=[f"no case: {error!r}"])
            found = {"calls": bench.calls, "codes": bench.codes, "failures": bench.failures}
            tell.write(json.dumps(found) + "\n")
            tell.flush()


if __name__ == "__main__":
    main()
    sys.exit(0)
