"""Reports and pages for the tests, each made once a worker."""

from __future__ import annotations

import datetime
from functools import cache
from pathlib import Path

import pytest

from advisor.catalogue.shipped import load
from advisor.present.html.page import html_page
from advisor.studies.report import Report, report

# the quickest first: the others are marked slow where they say the same, the last everywhere
PRODUCTS = ("barrel-tag", "frost-post", "valve-driver")
MOSTLY = [*PRODUCTS[:-1], pytest.param(PRODUCTS[-1], marks=pytest.mark.slow)]
DAY = datetime.date(2026, 3, 11)


@cache
def made(product: str, extras: bool = False) -> Report:
    """The report of a shipped product; `extras` brings tips along and what to measure next."""
    return report(*load(product), draws=60, date=DAY, tipping=extras, gaps=extras)


@cache
def page(product: str) -> str:
    """Its page."""
    return html_page(made(product))


class Pages(dict[str, Path]):
    """The pages of the products in a folder, each written when it is first asked for."""

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self.folder = folder

    def __missing__(self, name: str) -> Path:
        path = self[name] = self.folder / f"{name}.html"
        path.write_text(page(name), "utf-8")
        return path
