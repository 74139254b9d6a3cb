"""Runs bugs: a copy of the checkout and a warm process for each job, verdicts in a fixed order."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from queue import Queue
from tempfile import TemporaryDirectory
from typing import Any

from tests.mutants.near import Trace, chosen, digest, read_traces, write_traces
from tests.mutants.plant import Bug

ROOT = Path(__file__).resolve().parent.parent.parent
COPIED = ("advisor", "tests", "catalog", "profiles", "pyproject.toml", "README.md", "DEVELOPERS.md")
EQUIVALENTS = Path(__file__).with_name("equivalents.txt")
# other people's packages that tests load, slow ones first of all
LOADED: tuple[str, ...] = (
    *("hypothesis", "numpy", "pandas", "polars", "pulp", "highspy", "ruptures", "scipy.integrate"),
    *("scipy.optimize", "scipy.special", "scipy.stats", "sklearn.ensemble", "typer", "yaml"),
)
PATIENCE_S = 5.0  # of processor time that a test may take beyond ten times its own
MOST_S = 45.0  # of tests for each bug, in processor time of the code as it is
TRACE_S = 600  # for the tests of one file while they are traced


class Copy:
    """A copy of the checkout with a process of its own, which has packages `loaded`."""

    def __init__(self, root: Path, loaded: tuple[str, ...] = LOADED) -> None:
        self.root = root
        skipped = shutil.ignore_patterns("__pycache__", ".*cache", ".hypothesis")
        for name in COPIED:
            if (ROOT / name).is_dir():
                shutil.copytree(ROOT / name, root / name, ignore=skipped)
            else:
                shutil.copy2(ROOT / name, root / name)
        subprocess.run(
            [sys.executable, "-m", "compileall", "-q", "advisor"],
            cwd=root, check=True,
        )  # fmt: skip
        cache = root / ".user"
        cache.mkdir()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.mutants.warm", *loaded],
            cwd=root,
            env={
                **{k: v for k, v in os.environ.items() if not k.startswith("PYTEST_")},
                "PYTHONPATH": str(root),
                "PYTHONDONTWRITEBYTECODE": "1",
                "ADVISOR_CACHE_DIR": str(cache),
                # two copies side by side leave one core each
                "OMP_NUM_THREADS": "1",
                "OPENBLAS_NUM_THREADS": "1",
                "POLARS_MAX_THREADS": "1",
            },
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def ask(self, **request: Any) -> dict[str, Any]:
        """The answer to a request."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(json.dumps(request) + "\n")
        self.process.stdin.flush()
        line = self.process.stdout.readline()
        if not line:
            raise SystemExit(f"the process of {self.root} ended")
        answer: dict[str, Any] = json.loads(line)
        return answer

    def close(self) -> None:
        """End the process."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.close()
        self.process.wait(60)
        self.process.stdout.close()


@dataclass(frozen=True)
class Verdict:
    """What came of a bug: the test that caught it, or `survived`, or `untested`."""

    bug: Bug
    word: str  # caught, survived, equivalent
    by: str

    def line(self) -> str:
        """The verdict on one line."""
        bug = self.bug
        what = f"{bug.module}:{bug.line} {bug.function} [{bug.kind}] {bug.change}"
        return f"{self.word:10} {what}{f'  ({self.by})' if self.by else ''}"


@contextmanager
def copies(jobs: int, loaded: tuple[str, ...] = LOADED) -> Iterator[Queue[Copy]]:
    """So many copies, free ones in a queue; gone afterwards."""
    with TemporaryDirectory(prefix="planted-") as folder:
        free: Queue[Copy] = Queue()
        made = []
        try:
            for i in range(jobs):
                one = Copy(Path(folder).resolve() / str(i), loaded)
                made.append(one)
                free.put(one)
            yield free
        finally:
            for one in made:
                one.close()


def traces_of(
    files: list[str], free: Queue[Copy], jobs: int, kept: Path | None, say: Callable[[str], None]
) -> list[Trace]:
    """The traces of test files, as kept where nothing has changed since."""
    known = read_traces(kept) if kept else {}
    digests = {file: digest(ROOT, file) for file in files}
    new = [f for f in files if f not in known or known[f].digest != digests[f]]

    def one(file: str) -> Trace:
        copy = free.get()
        try:
            got = copy.ask(tests=None, files=[file], traced=True, limit=TRACE_S)
        finally:
            free.put(copy)
        if got["code"] not in {0, 1, 5}:
            raise SystemExit(f"{file}: its tests do not run on the code as it is: {got['failed']}")
        for test in got["failed"]:
            say(f"left out, fails on the code as it is: {test}")
        sound = {t for t in got["seconds"] if t not in got["failed"]}
        say(f"traced {file}: {sum(got['seconds'].values()):.1f} s")
        return Trace(
            file=file,
            digest=digests[file],
            seconds={t: s for t, s in got["seconds"].items() if t in sound},
            through={t: frozenset(n) for t, n in got["through"].items() if t in sound},
            shared=frozenset(got["shared"]),
        )

    with ThreadPoolExecutor(jobs) as pool:
        for trace in pool.map(one, new):
            known[trace.file] = trace
            if kept:
                write_traces(kept, list(known.values()))
    return [known[f] for f in files]


def equivalents(path: Path = EQUIVALENTS) -> dict[tuple[str, str, str], str]:
    """Bugs that change nothing that can be seen, with the reason of each."""
    out = {}
    for number, line in enumerate(path.read_text("utf-8").splitlines(), start=1):
        if not line or line.startswith("#"):
            continue
        parts = [part.strip() for part in line.split(" ; ")]
        if len(parts) != 4 or not all(parts):
            raise SystemExit(f"{path.name}:{number}: module ; function ; was -> now ; reason")
        out[parts[0], parts[1], parts[2]] = parts[3]
    return out


def judged(
    bugs: list[Bug],
    traces: list[Trace],
    free: Queue[Copy],
    jobs: int,
    say: Callable[[str], None],
    patience_s: float = PATIENCE_S,
) -> list[Verdict]:
    """What becomes of each bug, in their order; told one by one as they are known."""
    nothing = equivalents()
    seconds = {test: s for trace in traces for test, s in trace.seconds.items()}
    # what tests of a file share is made by whichever comes first: the dearest may have done so
    shared = {t: max(trace.seconds.values()) for trace in traces for t in trace.seconds}

    def one(bug: Bug) -> Verdict:
        lots = chosen(bug, traces, MOST_S)
        copy = free.get()
        try:
            text = bug.planted((copy.root / bug.module).read_bytes()).decode()
            for tests in lots:
                limit = 30 + sum(5 * seconds[t] for t in tests) + 2 * max(shared[t] for t in tests)
                got = copy.ask(
                    tests={t: patience_s + 10 * seconds[t] + 2 * shared[t] for t in tests},
                    files=[],
                    traced=False,
                    limit=limit,
                    module=bug.module,
                    text=text,
                )
                if got["code"] != 0:
                    return Verdict(bug, "caught", (got["failed"] or ["cannot be imported"])[0])
        finally:
            free.put(copy)
        if bug.key in nothing:
            return Verdict(bug, "equivalent", nothing[bug.key])
        return Verdict(bug, "survived", "" if lots else "no test goes through it")

    def told(bug: Bug) -> Verdict:
        verdict = one(bug)
        say(verdict.line())
        return verdict

    with ThreadPoolExecutor(jobs) as pool:
        return list(pool.map(told, bugs))
