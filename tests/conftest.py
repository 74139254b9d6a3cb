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

# Files whose tests share what takes long to make beyond the file: one report a product and one
# browser, one study. All tests of a file share what they keep anyway.
TOGETHER = {
    "tests/present/test_family_forms.py": "reports",
    "tests/present/test_family_page.py": "reports",
    "tests/present/test_markdown.py": "reports",
    "tests/present/test_page.py": "reports",
    "tests/present/test_page_layout.py": "reports",
    "tests/present/test_pictures.py": "reports",
    "tests/present/test_report_pictures.py": "reports",
    "tests/present/test_workbook.py": "reports",
    "tests/studies/test_report.py": "reports",
    "tests/cli/test_forms.py": "shown",
    "tests/cli/test_report.py": "shown",
}

# Files that take longest: with `-n` they begin, so that at the end no worker waits for one. First
# of all one whose tests mostly wait, while style and types are looked at beside.
LONG = (
    *("tests/on_bench/test_small_parts.py", "tests/present/test_page.py", "tests/test_readme.py"),
    *("tests/present/test_page_layout.py", "tests/test_fuzz.py", "tests/studies/test_every_key.py"),
    *("tests/present/test_feeding.py", "tests/studies/test_outlook.py", "tests/cli/test_forms.py"),
    *("tests/studies/test_harvest.py", "tests/model/test_whole_life.py", "tests/test_mutants.py"),
    *(
        "tests/studies/test_tipping.py",
        "tests/studies/test_shortlist.py",
        "tests/fuzz/test_kills.py",
    ),
    *(
        "tests/ledger/test_answers.py",
        "tests/decide/test_workers.py",
        "tests/studies/test_paths.py",
    ),
    *(
        "tests/studies/test_explain.py",
        "tests/studies/test_gaps.py",
        "tests/studies/test_record.py",
    ),
    *("tests/studies/test_crate_call.py", "tests/present/test_family_page.py"),
    *("tests/on_bench/test_kernels.py", "tests/test_reference.py", "tests/test_glossary.py"),
)
FIRST = {name: place for place, name in enumerate(LONG)}


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
        items.sort(key=lambda item: FIRST.get(item.nodeid.partition("::")[0], len(LONG)))


def pytest_collection_finish() -> None:
    """From here on what is unused is looked for among what the tests make."""
    gc.freeze()
    # a collection takes long among so much that the tests keep for each other, and finds little
    gc.set_threshold(1_000_000, 10, 10)
    gc.enable()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """With `-n`, files go to whoever is free, and those of a group to one worker."""
    if config.getvalue("dist") != "load":
        return None
    from xdist.scheduler import LoadScopeScheduling

    class Scheduling(LoadScopeScheduling):  # type: ignore[misc]
        def _split_scope(self, nodeid: str) -> str:
            file = nodeid.partition("::")[0]
            return TOGETHER.get(file, file)

    return Scheduling(config, log)
