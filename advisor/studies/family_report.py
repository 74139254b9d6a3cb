"""A family's plan with what its report says beside."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from advisor.studies.family_results import FamilyPlan


@dataclass(frozen=True, slots=True, kw_only=True)
class FamilyReport:
    """A plan, what makes it again, and the day."""

    plan: FamilyPlan
    command: str
    date: datetime.date
