"""A family's report for the tests, made once a worker."""

from __future__ import annotations

import datetime
import tempfile
from functools import cache
from pathlib import Path

from advisor.studies.family_report import FamilyReport, family_report
from tests.studies.small_family import TEXT, family_run, write_family

DAY = datetime.date(2026, 3, 11)
TEXT_OF_ALL = (
    TEXT.replace("give-up: 20", "give-up: 20, missed-unit: 6.00")
    .replace("units: 12000", "units: 12000, missed-unit: 2.00")
    .replace("summary: two of a vineyard's field devices", "summary: '{summary}'")
    + """
supply: {made-over: 4 years, holding: 18 %/year, allocation: {every: 8 years, lasts: 14 weeks}}
objective: front
"""
)


@cache
def family_made(summary: str = "two field devices", changes: tuple[str, ...] = ()) -> FamilyReport:
    """The report of a small family with everything that one may tell."""
    with tempfile.TemporaryDirectory() as folder:
        text = TEXT_OF_ALL.replace("{summary}", summary.replace("'", "''"))
        run = family_run(write_family(Path(folder), text), changes)
        return family_report(run, changes=changes, draws=20, date=DAY)
