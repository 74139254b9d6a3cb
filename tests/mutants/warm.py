"""`python -m tests.mutants.warm PACKAGE...`, in a copy of the checkout: runs tests in children of
a process that has other people's packages loaded, and ours not.

A request is a line of JSON on standard input, its answer one on standard output.
"""

from __future__ import annotations

import contextlib
import importlib
import json
import os
import resource
import signal
import sys
import time
import traceback
from collections.abc import Generator
from pathlib import Path
from types import FrameType
from typing import Any

import pytest

from tests.mutants.plant import SCOPE

MOST_BYTES = 6 << 30


class Chosen:
    """Runs the given tests in the given order, and notes what they go through where asked.

    `tests` maps them to the processor time that they may take, s.
    """

    def __init__(self, tests: dict[str, float] | None, root: Path, traced: bool) -> None:
        self.limits = tests
        self.order = None if tests is None else {test: i for i, test in enumerate(tests)}
        self.root = f"{root}/"
        self.traced = traced
        self.seconds: dict[str, float] = {}
        self.through: dict[str, set[str]] = {}
        self.shared: set[str] = set()
        self._into = self.shared
        self.failed: list[str] = []

    def note(self, frame: FrameType, event: str, _: Any) -> None:
        """A call, as `sys.settrace` tells it."""
        code = frame.f_code
        name = code.co_filename
        if name.startswith(self.root) and name[len(self.root) :].startswith(SCOPE):
            # comprehensions and lambdas are part of their function
            function = code.co_qualname.partition(".<locals>.<")[0]
            if "<lambda>" in function or function.startswith("<"):
                function = "<module>"
            self._into.add(f"{name[len(self.root) :]} {function}")

    def pytest_sessionstart(self) -> None:
        from hypothesis import Phase, settings

        # a counterexample need not be small here
        settings.register_profile(
            "found", settings.default, phases=(Phase.explicit, Phase.reuse, Phase.generate)
        )
        settings.load_profile("found")
        if self.traced:
            sys.settrace(self.note)

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, config: pytest.Config, items: list[Any]) -> None:
        if self.order is not None:
            order = self.order
            kept = sorted((i for i in items if i.nodeid in order), key=lambda i: order[i.nodeid])
            config.hook.pytest_deselected(items=[i for i in items if i.nodeid not in order])
            items[:] = kept

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: Any) -> Generator[None, object, object]:
        started = _spent()
        self.through[item.nodeid] = set()
        if self.limits is not None:
            # the signal is not caught: it ends the process, inside a library too
            signal.setitimer(signal.ITIMER_PROF, self.limits[item.nodeid])
        done = yield
        self.seconds[item.nodeid] = _spent() - started
        self._into = self.shared
        return done

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_call(self, item: Any) -> Generator[None, object, object]:
        self._into = self.through[item.nodeid]
        if self.traced:
            sys.settrace(self.note)
        return (yield)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.failed.append(report.nodeid)

    def told(self) -> dict[str, Any]:
        """What was noted, as JSON takes it; tests that were skipped tell nothing."""
        return {
            "seconds": self.seconds,
            "through": {test: sorted(names) for test, names in self.through.items()},
            "shared": sorted(self.shared),
            "failed": self.failed,
        }


def _spent() -> float:
    """Processor time of this process and of those that it waited for, s."""
    return sum(os.times()[:4])


def _child(request: dict[str, Any], root: Path, out: Path) -> None:
    """Run the tests of a request and write what came of it; never returns."""
    code = 3
    try:
        os.setsid()
        seconds = int(request["limit"]) + 1
        resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 5))
        resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
        log = os.open(out.with_suffix(".log"), os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        for stream in (0, 1, 2):
            os.dup2(os.open(os.devnull, os.O_RDONLY) if stream == 0 else log, stream)
        plugin = Chosen(request["tests"], root, request["traced"])
        files = dict.fromkeys(t.partition("::")[0] for t in request["tests"] or request["files"])
        arguments = ["-q", "-m", "not slow", "-p", "no:cacheprovider", "--rootdir", str(root)]
        # what is loaded already is other people's, and needs no rewritten assertions
        arguments += ["-W", "ignore:Module already imported:pytest.PytestAssertRewriteWarning"]
        arguments += [] if request["traced"] else ["-x"]
        code = int(pytest.main([*arguments, *files], plugins=[plugin]))
        sys.settrace(None)
        out.write_text(json.dumps({"code": code, **plugin.told()}), "utf-8")
    except BaseException:
        traceback.print_exc()
    finally:
        sys.stderr.flush()
        os._exit(code)


def _answer(request: dict[str, Any], root: Path, out: Path) -> dict[str, Any]:
    """Plant what is asked for, run a child, put the file back."""
    module = request.get("module")
    before = None
    if module is not None:
        path = root / module
        kept = path.stat()
        before = path.read_bytes()
        path.write_text(request["text"], "utf-8")
        # compiled code is told by the second: ours is another's, whatever the clock says
        os.utime(path, (kept.st_atime, kept.st_mtime + 10))
    out.unlink(missing_ok=True)
    try:
        child = os.fork()
        if child == 0:
            _child(request, root, out)
        code = _waited(child, 3 * float(request["limit"]) + 20)
    finally:
        if module is not None and before is not None:
            path.write_bytes(before)
            os.utime(path, (kept.st_atime, kept.st_mtime))
    if code is None:
        return {"code": None, "failed": ["(took too long)"]}
    if not out.exists():
        return {"code": 3, "failed": [f"(ended with {code})"]}
    answer: dict[str, Any] = json.loads(out.read_text("utf-8"))
    return answer


def _waited(child: int, seconds: float) -> int | None:
    """The child's exit code; None where it took too long and was ended, with all it started."""
    until = time.monotonic() + seconds
    code: int | None = None
    while True:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            code = os.waitstatus_to_exitcode(status)
            code = None if code in {-signal.SIGXCPU, -signal.SIGKILL, -signal.SIGPROF} else code
            break
        if time.monotonic() > until:
            break
        time.sleep(0.01)
    with contextlib.suppress(ProcessLookupError):
        os.killpg(child, signal.SIGKILL)
    if not ended:
        os.waitpid(child, 0)
    return code


def main() -> None:
    """Answer until standard input ends."""
    root = Path.cwd()
    for name in sys.argv[1:]:
        with contextlib.suppress(ImportError):
            importlib.import_module(name)
    ours = [name for name in sys.modules if name.split(".")[0] == "advisor"]
    if ours:
        raise SystemExit(f"loaded before a bug could be planted: {', '.join(ours)}")
    for line in sys.stdin:
        answer = _answer(json.loads(line), root, root / ".answer.json")
        print(json.dumps(answer), flush=True)


if __name__ == "__main__":
    main()
