"""Number formats of cells (ECMA-376 part 1, 18.8.30 and 18.8.31): what a cell shows."""

from __future__ import annotations

import datetime
import re

from advisor.dataclass import dataclass

# built-in formats that show dates and times
_DATES = frozenset((*range(14, 23), *range(27, 37), 45, 46, 47, *range(50, 59)))
_PER_CENT = frozenset((9, 10))
_LITERAL = re.compile(r'"([^"]*)"|\\(.)|_.|\*.|\[([^\]]*)\]')
_DATE_LETTERS = re.compile(r"[ymdhs]", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Format:
    """How a cell shows its number: as a date, in per cent, with a unit or currency behind it."""

    date: bool = False
    per_cent: bool = False
    unit: str = ""
    scaled: bool = False

    def shown(self, value: float) -> str:
        """The number, with what the format puts behind it."""
        if self.per_cent:
            return f"{plain(value * 100)} %"
        if self.unit:
            # a format that shows thousands as ones would have its unit stand for another
            mark = "scaled by its format " if self.scaled else ""
            return f"{mark}{plain(value)} {self.unit}"
        return plain(value)

    def day(self, value: float, since_1900: bool) -> str:
        """The date that a number shows, with the 29 February 1900 that there never was."""
        start = datetime.datetime(1899, 12, 30) if since_1900 else datetime.datetime(1904, 1, 1)
        if since_1900 and value < 60:
            start += datetime.timedelta(days=1)
        try:
            at = start + datetime.timedelta(days=value)
        except (OverflowError, ValueError):
            return "of no calendar"
        if at.time() == datetime.time():
            return at.date().isoformat()
        return at.isoformat(sep=" ", timespec="minutes")


def plain(value: float) -> str:
    """A number as a spreadsheet tells it: 15 digits, without what binary fractions add."""
    text = repr(float(f"{value:.15g}"))
    digits, _, power = text.partition("e")
    digits = digits.removesuffix(".0")
    if not power:
        return digits
    return f"{digits}e{int(power)}"


def format_of(number: int, code: str | None) -> Format:
    """A number format by its number, and its code where the workbook has its own."""
    if code is None:
        return Format(date=number in _DATES, per_cent=number in _PER_CENT)
    first = code.partition(";")[0]
    words: list[str] = []

    def literal(found: re.Match[str]) -> str:
        if found[1] is not None:
            words.append(found[1])
        elif found[2] is not None:
            words.append(found[2])
        elif found[3] is not None and found[3].startswith("$"):
            # a currency's sign or code, and the place it is of
            words.append(found[3][1:].partition("-")[0])
        return ""

    rest = _LITERAL.sub(literal, first)
    # hours and minutes that go on beyond a day stand in brackets
    elapsed = re.search(r"\[[hms]+\]", first, re.IGNORECASE) is not None
    if elapsed or (_DATE_LETTERS.search(rest) and "General" not in rest):
        return Format(date=True)
    return Format(
        per_cent="%" in rest,
        unit="".join(words).strip(),
        scaled=re.search(r"[0#?],+(?![0#?,])", rest) is not None,
    )
