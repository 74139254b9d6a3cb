"""A browser for the tests of the page."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

from tests.browsing import Browser, browsing, programs
from tests.present.pages import Pages


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """One browser for all tests of a worker; it must be there where `.ci/run` installs it."""
    if programs() is None:
        if os.environ.get("CI") == "true":
            pytest.fail("no Chromium with its driver")
        pytest.skip("no Chromium with its driver")
    with browsing(tmp_path_factory.mktemp("profile")) as started:
        yield started


@pytest.fixture(scope="session")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, Path]:
    return Pages(tmp_path_factory.mktemp("pages"))
