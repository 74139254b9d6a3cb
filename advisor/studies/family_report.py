"""A family's plan with what its report says beside."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from importlib.metadata import version
from typing import TYPE_CHECKING

from advisor.catalogue.families import FamilyRun
from advisor.dataclass import dataclass
from advisor.model.served import Services
from advisor.stages import Progress
from advisor.studies.family import family
from advisor.studies.family_results import FamilyPlan
from advisor.studies.shortlist import DRAWS
from advisor.studies.since import digests

if TYPE_CHECKING:
    import pandas as pd

PLANS = 3  # next-best plans


@dataclass(frozen=True, slots=True, kw_only=True)
class FamilyReport:
    """A plan with all that a file tells of it.

    Attributes
    ----------
    call : what names the family and its catalogue on the command line. changes : what was set for
        the run. stepped : items whose price holds for the pieces beyond its quantity only, so that
        a purchase is not its pieces at one price. digests : of every file's figures, by id.
    """

    plan: FamilyPlan
    call: tuple[str, ...]
    changes: tuple[str, ...]
    version: str
    date: datetime.date
    stepped: frozenset[str]
    digests: Mapping[str, str]

    def to_frame(self) -> pd.DataFrame:
        """The plan as a data frame, a row a product."""
        from advisor.studies.family import rows
        from advisor.studies.results import frame

        return frame(rows(self.plan))


def family_report(
    run: FamilyRun,
    *,
    call: Sequence[str] = (),
    changes: Sequence[str] = (),
    plans: int = PLANS,
    draws: int = DRAWS,
    seed: int = 1,
    jobs: int = 1,
    date: datetime.date | None = None,
    progress: Progress | None = None,
    estimate_missing: bool = False,
    services: Services | None = None,
) -> FamilyReport:
    """Gather a family's plan for a file.

    Parameters
    ----------
    call, changes : what names the inputs on the command line (the family's id when absent), and
    what was set for the run, to be told. date : today when absent. Others as for `family`.

    Raises
    ------
    FaultError
        As `family` does.
    """
    found = family(
        run,
        plans=plans,
        draws=draws,
        seed=seed,
        jobs=jobs,
        progress=progress,
        estimate_missing=estimate_missing,
        services=services,
    )
    bought = {one.item: run.catalogue.record(one.item) for one in found.purchases}
    stepped = {
        item
        for item, record in bought.items()
        if record is not None
        and record.price is not None
        and record.price.discount == "incremental"
    }
    estimated = ("--estimate-missing",) * estimate_missing
    return FamilyReport(
        plan=found,
        call=(*(call or (run.family.family,)), *estimated),
        changes=tuple(changes),
        version=version("part-advisor"),
        date=date or datetime.date.today(),
        stepped=frozenset(stepped),
        digests=digests(run.catalogue),
    )
