"""`hours`: the log from the box to the first working program, and what it says of a toolchain."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from advisor.catalogue.edit import Tree, flow, placed, quoted
from advisor.catalogue.fields import read_record
from advisor.catalogue.kinds import ID, Reading
from advisor.catalogue.load import read_document
from advisor.catalogue.schema_hours import HoursLog, Sitting
from advisor.catalogue.schema_parts import Part
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError, FaultLog
from advisor.names import Named
from advisor.source import Document, place_of, read_text
from advisor.studies.results import frame

if TYPE_CHECKING:
    import pandas as pd

# Another engineer's hours against the ones that were logged, least and most (common practice, no
# source): half for one who knows the family, twice for one who is new to it.
LEAST, MOST = 0.5, 2.0


@dataclass(frozen=True, slots=True)
class Spent:
    """A sitting of the log."""

    name: str
    """its key in the log"""
    date: datetime.date
    """the day"""
    start: str
    """when it began"""
    stop: str
    """when it ended"""
    hours: float
    """[h] from start to stop"""
    did: str | None
    """what was done"""
    in_the_way: str | None
    """what stood in the way"""
    question: str | None
    """the question on the toolchain that it bears on"""
    answer: str | None
    """how it answers that question"""
    works: bool
    """whether the first program worked at its end"""


@dataclass(frozen=True, slots=True)
class Hours:
    """A log of hours.

    `setup_h` are those up to the sitting at whose end the first program worked, None before that.
    """

    part: str
    """the part's id"""
    toolchain: str | None
    """the toolchain, by its id"""
    sittings: tuple[Spent, ...]
    """in order of time"""
    total_h: float
    """[h] of all sittings"""
    setup_h: float | None
    """[h] from the box to the first working program; None where it does not work yet"""

    @property
    def answers(self) -> Mapping[str, Spent]:
        """The last sitting that answers a question on the toolchain, by the question."""
        return {s.question: s for s in self.sittings if s.question is not None}

    def document(self) -> dict[str, Any]:
        """The result for JSON."""
        return {
            "part": self.part,
            "toolchain": self.toolchain,
            "total_h": self.total_h,
            "setup_h": self.setup_h,
            "answers": {
                q: {"answer": s.answer, "evidence": _why(s)} for q, s in self.answers.items()
            },
            "sittings": self.rows(),
        }

    def rows(self) -> list[dict[str, Any]]:
        """A row a sitting."""
        return [
            {
                "date": s.date.isoformat(),
                "start": s.start,
                "stop": s.stop,
                "hours": s.hours,
                "did": s.did,
                "in_the_way": s.in_the_way,
                "question": s.question,
                "answer": s.answer,
                "works": s.works,
            }
            for s in self.sittings
        ]

    def to_frame(self) -> pd.DataFrame:
        """The sittings as a data frame."""
        return frame(self.rows())


def hours(log: Named, text: str | None = None) -> Hours:
    """What a log of hours says.

    Parameters
    ----------
    log : the file. text : what is about to be the file's.

    Raises
    ------
    FaultError
        With every fault: sittings that end before they begin or overlap, a question without an
        answer, more than one first program.
    """
    log = Path(log)
    found, document = read_document(HoursLog, log, text)
    faults = FaultLog()
    spent = sorted(
        (_spent(name, s) for name, s in found.sittings.items()), key=lambda s: (s.date, s.start)
    )
    _check(spent, document, log, faults)
    faults.raise_if_any()
    until: list[float] = []
    for one in spent:
        until.append(one.hours)
        if one.works:
            break
    works = any(s.works for s in spent)
    return Hours(
        part=found.part,
        toolchain=found.toolchain,
        sittings=tuple(spent),
        total_h=sum(s.hours for s in spent),
        setup_h=sum(until) if works else None,
    )


def _spent(name: str, s: Sitting) -> Spent:
    return Spent(
        name=name,
        date=s.date,
        start=_clock(s.start),
        stop=_clock(s.stop),
        hours=(s.stop - s.start) / 60,
        did=s.did,
        in_the_way=s.in_the_way,
        question=s.question,
        answer=s.answer,
        works=s.works,
    )


def _clock(minutes: int) -> str:
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _check(spent: list[Spent], document: Document, log: Path, faults: FaultLog) -> None:
    nodes = {
        k.value: v
        for key, value in document.root.value
        if key.value == "sittings"
        for k, v in value.value
    }
    reading = Reading(document.file, log.stem, faults)

    def fault(one: Spent, read: str, expected: str) -> None:
        reading.fault(nodes[one.name], f"sittings.{one.name}", read, expected)

    before: Spent | None = None
    for one in spent:
        if one.hours <= 0:
            fault(one, f"{one.start} to {one.stop}", "a stop after the start, on the same day")
        if before is not None and before.date == one.date and before.stop > one.start:
            fault(one, f"{one.start}, while {before.name} lasts to {before.stop}", "a later start")
        if (one.question is None) != (one.answer is None):
            fault(one, "one of question and answer", "both, or neither")
        before = one
    works = [s for s in spent if s.works]
    for one in works[1:]:
        fault(one, "works: true", f"it once: the first program worked after {works[0].name}")


def _why(s: Spent) -> str:
    """A word of evidence for an answer."""
    word = s.in_the_way or s.did
    day = f"log of {s.date.isoformat()}, {s.hours:.3g} h"
    return day if word is None else f"{word} ({day})"


def added(log: Path, part: str, sitting: Mapping[str, str], toolchain: str | None = None) -> str:
    """A log's text with a sitting added, checked as a whole.

    Parameters
    ----------
    log : the file; one that is not there begins a new log. sitting : its keys as plain text, date,
        start and stop among them.

    Raises
    ------
    FaultError
        For a log of another part or toolchain, and for a sitting that does not fit the others.
    """
    tree: dict[str, Tree | str] = {}
    if log.exists():
        stands = hours(log)
        text = log.read_text("utf-8")
        for option, given, kept in (
            ("--part", part, stands.part),
            ("--toolchain", toolchain, stands.toolchain),
        ):
            if given is not None and kept is not None and given != kept:
                raise FaultError((Fault(option, f'"{given}"', f"{kept}, as {log} has it"),))
        if toolchain is not None and stands.toolchain is None:
            tree["toolchain"] = _as_text(toolchain)
    else:
        text = f"part: {_as_text(part)}\n"
        if toolchain is not None:
            tree["toolchain"] = _as_text(toolchain)
    name = re.sub("[^0-9-]", "", f"{sitting['date']}-{sitting['start']}")
    if log.exists() and name in {s.name for s in hours(log).sittings}:
        expected = "another start: a sitting of that one is logged"
        raise FaultError((Fault("--start", f'"{sitting["start"]}"', expected),))
    tree["sittings"] = {name: {k: _as_text(v) for k, v in sitting.items()}}
    after = placed(text, str(log), tree)
    hours(log, after)
    return after


def _as_text(value: str) -> str:
    """Text for a file: an id, a day or a word as it stands, all else in quotes."""
    return value if ID.fullmatch(value) else quoted(value)


def into_part(found: Hours, log: str, before: str, file: str) -> str:
    """A part's file with the log's set-up time and answers in it, all else as it was.

    Raises
    ------
    FaultError
        For another part's file or toolchain, and where the first program does not work yet: hours
        so far are no set-up time.
    """
    root = read_text(before, file).root
    faults = FaultLog()
    part: Part | None = read_record(Part, root, "", Reading(file, found.part, faults))
    faults.raise_if_any()
    assert part is not None
    for key, mine, theirs in (
        ("part", found.part, part.part),
        ("toolchain", found.toolchain, part.toolchain.id),
    ):
        if mine is not None and theirs is not None and mine != theirs:
            raise FaultError((Fault(key, f'"{mine}"', f"{theirs}, as {file} has it"),))
    if found.setup_h is None:
        read = f"{found.total_h:.3g} h, and no program works yet"
        expected = "a sitting with works: true, at whose end the first one did"
        raise FaultError(
            (Fault("sittings", read, expected, place_of(read_text("{}", log).root, log)),)
        )
    h = found.setup_h
    ends = zip(("low", "likely", "high"), (LEAST * h, h, MOST * h), strict=True)
    tools: dict[str, Tree | str] = {} if found.toolchain is None else {"id": found.toolchain}
    tools["setup"] = flow({name: f"{value:.3g} h" for name, value in ends})
    tools["maturity"] = {q: quoted(f"{s.answer}, {_why(s)}") for q, s in found.answers.items()}
    if not found.answers:
        del tools["maturity"]
    after = placed(before, file, {"toolchain": tools})
    read_record(Part, read_text(after, file).root, "", Reading(file, found.part, faults))
    faults.raise_if_any()
    return after


def notes(found: Hours) -> Iterator[str]:
    """What to mind of the log."""
    if found.setup_h is None:
        yield "no program works yet: the hours so far are no set-up time"
    yield (
        f"of one engineer: another is taken to need {LEAST:g} to {MOST:g} times as long (common "
        "practice, no source)"
    )
