"""`python -m tests.mutants`: plants bugs in a copy of the package and reports which tests miss.

    --count N       how many bugs, spread over the modules by their code (320)
    --seed N        another choice of them
    --only FILE     in this module alone, `advisor/model/drain.py`; may be given again
    --without FILE  not in this module; may be given again
    --jobs N        copies at work side by side
    --kept FILE     keeps what the tests go through, for another run on the same code
    --list          names the bugs and plants none

Exit 0 when at least 95 % are caught of those that change something, 1 when fewer are. Bugs that
change nothing that can be seen stand in `equivalents.txt`, each with its reason.
"""

from __future__ import annotations

import argparse
import sys
import threading
from pathlib import Path, PurePosixPath

from tests.mutants.near import files_near
from tests.mutants.plant import bugs, choose, scope
from tests.mutants.run import ROOT, Verdict, copies, judged, traces_of

COUNT = 320
LEAST = 0.95


def table(verdicts: list[Verdict]) -> str:
    """Counts by folder and in all."""
    rows: dict[str, list[str]] = {}
    for v in verdicts:
        at = PurePosixPath(v.bug.module)
        rows.setdefault(str(at if str(at.parent) == "advisor" else at.parent), []).append(v.word)
    rows["in all"] = [v.word for v in verdicts]
    lines = [f"{'':16}{'planted':>9}{'caught':>9}{'survived':>10}{'equivalent':>12}"]
    for name, words in rows.items():
        counts = [words.count(w) for w in ("caught", "survived", "equivalent")]
        lines.append(f"{name:16}{len(words):9}{counts[0]:9}{counts[1]:10}{counts[2]:12}")
    return "\n".join(lines)


def main(arguments: list[str]) -> int:
    """Plant, run, report."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutants")
    parser.add_argument("--count", type=int, default=COUNT)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", action="append", default=[], metavar="FILE")
    parser.add_argument("--without", action="append", default=[], metavar="FILE")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--kept", type=Path, metavar="FILE")
    parser.add_argument("--list", action="store_true")
    given = parser.parse_args(arguments)
    every = scope(ROOT)
    unknown = [name for name in (*given.only, *given.without) if name not in every]
    if unknown:
        parser.error(f"no module {', '.join(unknown)}; there are {', '.join(every)}")
    if given.count < 1 or given.jobs < 1:
        parser.error("--count, --jobs: at least 1")
    modules = [m for m in given.only or every if m not in given.without]
    sources = {m: (ROOT / m).read_bytes() for m in modules}
    found = {m: bugs(m, source) for m, source in sources.items()}
    planted = choose(found, sources, given.count, given.seed)
    if given.list:
        for bug in planted:
            print(Verdict(bug, bug.kind, "").line())
        return 0
    lock = threading.Lock()

    def say(line: str) -> None:
        with lock:
            print(line, file=sys.stderr, flush=True)

    with copies(given.jobs) as free:
        traces = traces_of(files_near(ROOT, modules), free, given.jobs, given.kept, say)
        verdicts = judged(planted, traces, free, given.jobs, say)
    for verdict in verdicts:
        if verdict.word == "survived":
            print(verdict.line())
    print(table(verdicts))
    caught = sum(v.word == "caught" for v in verdicts)
    counted = sum(v.word != "equivalent" for v in verdicts)
    late = sum("took too long" in v.by for v in verdicts)
    share = caught / counted if counted else 1.0
    if late:
        print(f"{late} of those caught took too long: that they hang is told by the clock alone")
    print(f"{share:.1%} caught of {counted} that change something; at least {LEAST:.0%} must be")
    return 0 if share >= LEAST else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
