"""The log of hours from the box to the first working program: every key, declared once."""

from __future__ import annotations

import datetime
from collections.abc import Mapping

from advisor.catalogue.fields import MapOf, Record, key
from advisor.catalogue.kinds import Choice, Clock, Day, Flag, Identity, Text
from advisor.catalogue.schema_parts import ANSWERS, QUESTIONS
from advisor.dataclass import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Sitting:
    """A stretch of work without a break, within one day."""

    date: datetime.date = key(Day(), "the day", required=True)
    start: int = key(Clock(), "when it began", required=True)
    stop: int = key(Clock(), "when it ended; one past midnight is two sittings", required=True)
    did: str | None = key(Text(), "what was done")
    in_the_way: str | None = key(Text(), "what stood in the way")
    question: str | None = key(
        Choice(tuple(QUESTIONS)), "the question on the toolchain that it bears on"
    )
    answer: str | None = key(Choice(ANSWERS), "how it answers that question")
    works: bool = key(Flag(), "whether the first program worked at its end", default=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class HoursLog:
    """Hours spent on a part until the first program worked."""

    part: str = key(Identity("part"), "the part's id", required=True)
    toolchain: str | None = key(Identity("toolchain"), "the toolchain, by its id")
    sittings: Mapping[str, Sitting] = key(
        MapOf(Record(Sitting), "sitting"), "stretches of work", default={}
    )
