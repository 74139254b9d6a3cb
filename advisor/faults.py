"""Faults: what was read, what was expected, and where; collected so that a run shows them all."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from advisor.dataclass import dataclass

LONGEST = 60  # characters that a fault repeats of what is too long to repeat whole
MOST = 1000  # faults of a run; text made to exhaust could have hundreds of thousands

Severity = Literal["fault", "warning"]


@dataclass(frozen=True, slots=True)
class Place:
    """A place in a file; line and column count from 1. In a workbook they are a sheet's."""

    file: str
    line: int
    column: int
    sheet: str = ""

    def text(self) -> str:
        """`FILE:LINE:COLUMN`, in a workbook `FILE:SHEET!B7`."""
        if not self.sheet:
            # an option's text stands for a file, and may be as long as anyone likes
            option = self.file.startswith("--")
            file = shortened(self.file) if option else _visible(self.file)
            return f"{file}:{self.line}:{self.column}"
        return f"{_visible(self.file)}:{_visible(self.sheet)}!{letters(self.column)}{self.line}"


@dataclass(frozen=True, slots=True)
class Fault:
    """Something wrong in the input.

    `path` is the figure's path, `read` what stands there, `expected` what should, `nearest` the
    nearest valid word where there is one. `unknown` faults name what no file that was read bears:
    the file that does may not have been named.
    """

    path: str
    read: str
    expected: str
    place: Place | None = None
    nearest: str | None = None
    severity: Severity = "fault"
    unknown: bool = False

    def text(self) -> str:
        """One line: place, path, what was read, what was expected, the nearest valid word."""
        where = "" if self.place is None else f"{self.place.text()}: "
        text = f"{where}{shortened(self.path)}: read {shortened(self.read)}; "
        text += f"expected {_visible(self.expected)}"
        return text + (f"; nearest valid: {_visible(self.nearest)}" if self.nearest else "")

    def as_dict(self) -> dict[str, str | int | None]:
        """The fault for JSON; None where nothing is known."""
        place = self.place
        return {
            "file": None if place is None else place.file,
            **({"sheet": place.sheet} if place is not None and place.sheet else {}),
            "line": None if place is None else place.line,
            "column": None if place is None else place.column,
            "path": shortened(self.path),
            "read": shortened(self.read),
            "expected": self.expected,
            "nearest": self.nearest,
        }


def letters(column: int) -> str:
    """A column of a sheet by its letters: 1 is A, 27 is AA."""
    out = ""
    while column > 0:
        column, digit = divmod(column - 1, 26)
        out = chr(ord("A") + digit) + out
    return out


def _visible(text: str) -> str:
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def shortened(text: str) -> str:
    """The text with control characters made visible, its middle left out where it is long."""
    if len(text) <= 3 * LONGEST:
        return _visible(text)
    return f"{_visible(text[:LONGEST])}…{_visible(text[-LONGEST // 3 :])}"


class AdvisorError(Exception):
    """What this library raises on purpose."""


class FaultError(AdvisorError):
    """The input has faults; `faults` holds every one that was found."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(fault.text() for fault in self.faults))


class InstallationError(Exception):
    """The installation lacks a file of its own: no fault of the input."""


class FaultLog:
    """Collects the faults and warnings of a run, up to `MOST` faults."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []
        self.warnings: list[Fault] = []

    def add(self, fault: Fault) -> None:
        """Keep a fault or a warning, each once.

        Raises
        ------
        FaultError
            With every fault so far when there are too many for reading on to be of use.
        """
        if fault.severity == "warning":
            if fault not in self.warnings[-50:]:
                self.warnings.append(fault)
            return
        if fault not in self.faults[-50:]:
            self.faults.append(fault)
        if len(self.faults) >= MOST:
            last = self.faults[-1]
            stopped = Fault(last.path, f"{MOST} faults", "fewer before reading on", last.place)
            raise FaultError((*self.faults, stopped))

    def raise_if_any(self) -> None:
        """Raise `FaultError` when there is a fault."""
        if self.faults:
            raise FaultError(self.faults)


def nearest(word: str, choices: Iterable[str]) -> str | None:
    """The choice nearest to a word that is none of them; None when none is near."""
    if len(word) > LONGEST:
        return None
    import difflib

    lower = {choice.lower(): choice for choice in choices}
    found = difflib.get_close_matches(word.lower(), list(lower), n=1, cutoff=0.6)
    return lower[found[0]] if found else None
