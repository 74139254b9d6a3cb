"""Faults: what was read, what was expected, and where; collected so that a run shows them all."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

LONGEST = 60  # characters of what was read that a fault repeats

Severity = Literal["fault", "warning"]


@dataclass(frozen=True, slots=True)
class Place:
    """A place in a file; line and column count from 1."""

    file: str
    line: int
    column: int


@dataclass(frozen=True, slots=True)
class Fault:
    """Something wrong in the input.

    `path` is the figure's path, `read` what stands there, `expected` what should, `nearest` the
    nearest valid word where there is one.
    """

    path: str
    read: str
    expected: str
    place: Place | None = None
    nearest: str | None = None
    severity: Severity = "fault"

    def text(self) -> str:
        """One line: place, path, what was read, what was expected, the nearest valid word."""
        where = ""
        if self.place is not None:
            where = f"{_visible(self.place.file)}:{self.place.line}:{self.place.column}: "
        text = f"{where}{shortened(self.path)}: read {shortened(self.read)}; "
        text += f"expected {_visible(self.expected)}"
        return text + (f"; nearest valid: {_visible(self.nearest)}" if self.nearest else "")

    def as_dict(self) -> dict[str, str | int | None]:
        """The fault for JSON; None where nothing is known."""
        place = self.place
        return {
            "file": None if place is None else place.file,
            "line": None if place is None else place.line,
            "column": None if place is None else place.column,
            "path": shortened(self.path),
            "read": shortened(self.read),
            "expected": self.expected,
            "nearest": self.nearest,
        }


def _visible(text: str) -> str:
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def shortened(text: str) -> str:
    """The text with control characters made visible, its middle left out where it is long."""
    if len(text) > 4 * LONGEST:
        text = text[: 2 * LONGEST] + " " * LONGEST + text[-LONGEST:]
        cut = True
    else:
        cut = len(text) > 3 * LONGEST
    shown = _visible(text)
    if not cut:
        return shown
    return f"{shown[:LONGEST]}…{shown[-LONGEST // 3 :]}"


class AdvisorError(Exception):
    """What this library raises on purpose."""


class FaultError(AdvisorError):
    """The input has faults; `faults` holds every one that was found."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(fault.text() for fault in self.faults))


class FaultLog:
    """Collects the faults and warnings of a run."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []
        self.warnings: list[Fault] = []

    def add(self, fault: Fault) -> None:
        """Keep a fault or a warning, each once."""
        kept = self.faults if fault.severity == "fault" else self.warnings
        if fault not in kept[-50:]:
            kept.append(fault)

    def raise_if_any(self) -> None:
        """Raise `FaultError` when there is a fault."""
        if self.faults:
            raise FaultError(self.faults)


def nearest(word: str, choices: Iterable[str]) -> str | None:
    """The choice nearest to a word that is none of them; None when none is near."""
    if len(word) > LONGEST:
        return None
    lower = {choice.lower(): choice for choice in choices}
    found = difflib.get_close_matches(word.lower(), list(lower), n=1, cutoff=0.6)
    return lower[found[0]] if found else None
