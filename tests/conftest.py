"""What every test stands on."""

from __future__ import annotations

import gc
from collections import Counter
from typing import Any

import pytest
from hypothesis import settings

# The same examples on every machine and every run, and no verdict by the clock: a slow, shared
# machine is no fault of the code.
settings.register_profile("steady", derandomize=True, deadline=None, max_examples=60)
settings.load_profile("steady")

# Ten thousand tests are collected to be kept: nothing of them is looked through for what is unused,
# neither while they come, which takes longer than all else about them, nor while they run.
gc.disable()

# Files whose tests share what takes long to make: one report a product and one browser, one study.
TOGETHER = {
    "tests/present/test_markdown.py": "reports",
    "tests/present/test_page.py": "reports",
    "tests/present/test_pictures.py": "reports",
    "tests/present/test_workbook.py": "reports",
    "tests/studies/test_report.py": "reports",
    "tests/cli/test_forms.py": "shown",
    "tests/cli/test_report.py": "shown",
}

# Files with the longest tests: with `-n` they begin, so that at the end no worker waits for one.
LONG = (
    *("tests/test_readme.py", "tests/test_fuzz.py", "tests/fuzz/test_kills.py"),
    *("tests/test_mutants.py", "tests/test_reference.py", "tests/test_glossary.py"),
)


# Of a test's cases each so many-th, from the first, runs on every Python, the others on one: what
# differs between them is the language and its library, which all cases go through alike.
EVERY = 8


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark what needs no second Python, and on a worker set the order of handing out."""
    cases: Counter[str] = Counter()
    for item in items:
        if hasattr(item, "callspec"):
            name = item.nodeid.partition("[")[0]
            if cases[name] % EVERY:
                item.add_marker("once")
            cases[name] += 1
    if hasattr(config, "workerinput"):
        items.sort(key=lambda item: not item.nodeid.startswith(LONG))


def pytest_collection_finish() -> None:
    """From here on what is unused is looked for among what the tests make."""
    gc.freeze()
    # a collection takes long among so much that the tests keep for each other, and finds little
    gc.set_threshold(1_000_000, 10, 10)
    gc.enable()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """With `-n`, files of a group go to one worker, all other tests to whoever is free."""
    if config.getvalue("dist") != "load":
        return None
    from xdist.scheduler import LoadScopeScheduling

    class Scheduling(LoadScopeScheduling):  # type: ignore[misc]
        def _split_scope(self, nodeid: str) -> str:
            return TOGETHER.get(nodeid.partition("::")[0], nodeid)

    return Scheduling(config, log)
