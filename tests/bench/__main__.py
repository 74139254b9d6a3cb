"""`python -m tests.bench [NAME...]`: every benchmark, a line a ratio.

    --list      name the benchmarks
    --smoke     run each once on small input and judge nothing
    --rounds N  how often each is timed

Exit 0 when every target is reached, 1 when one is missed. For figures that can be compared between
dates install with `-c tests/bench/constraints.txt`.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
from dataclasses import replace
from importlib.metadata import version

from tests.bench import families, imports, inside, lives, processes, reports, tables, traces
from tests.bench.registry import BENCHMARKS, FULL, SMOKE, Scale, table

MODULES = (
    processes,
    inside,
    traces,
    reports,
    imports,
    tables,
    families,
    lives,
)  # imported for what they register
PINNED = ("numpy", "pandas", "PyYAML", "typer", "PuLP", "highspy", "scipy", "polars")


def main(arguments: list[str]) -> int:
    """Run the named benchmarks, or all of them."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench")
    parser.add_argument("names", nargs="*", metavar="NAME", help=", ".join(BENCHMARKS))
    parser.add_argument("--list", action="store_true", help="name the benchmarks")
    parser.add_argument("--smoke", action="store_true", help="small input, nothing judged")
    parser.add_argument("--rounds", type=int, help="how often each is timed")
    given = parser.parse_args(arguments)
    unknown = [name for name in given.names if name not in BENCHMARKS]
    if unknown:
        parser.error(f"no benchmark {', '.join(unknown)}; there are {', '.join(BENCHMARKS)}")
    if given.list:
        print("\n".join(f"{b.name:10} {b.about}" for b in BENCHMARKS.values()))
        return 0
    scale: Scale = SMOKE if given.smoke else FULL
    if given.rounds is not None:
        if given.rounds < 1:
            parser.error("--rounds: at least 1")
        scale = replace(scale, rounds=given.rounds)
    versions = ", ".join(f"{name} {version(name)}" for name in PINNED)
    print(f"Python {platform.python_version()}, {os.cpu_count()} cores; {versions}")
    missed = 0
    for name in given.names or BENCHMARKS:
        rows = BENCHMARKS[name].run(scale)
        print(f"{name}: {BENCHMARKS[name].about}\n{table(rows)}", flush=True)
        missed += sum(not row.met for row in rows)
    if given.smoke:
        print("small input: ratios mean nothing")
        return 0
    print(f"{missed} targets missed" if missed else "every target reached")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
