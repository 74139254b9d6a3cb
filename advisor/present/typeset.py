"""Figures within sentences as they are set in print: a true minus, ranges with an en dash."""

from __future__ import annotations

import re

MINUS, DASH = "\N{MINUS SIGN}", "\N{EN DASH}"
CELSIUS = "\N{DEGREE SIGN}C"

# a sign before a number, where no word, number, path or bracket runs into it
_SIGN = re.compile(r"(?<![^\s(,;:])-(?=\d)")
# a number by itself, so that neither half of a name or of a date is taken for one; what goes from
# here to there is a change, and a dash behind a minus would be read as another
_NUMBER = rf"(?<!from )(?<![\w.,:+/=%{MINUS}-])\d+(?:\.\d+)?"
# with a hyphen only before a unit, as names of standards have numbers with hyphens too
_UNIT = r"(?= (?:%|years?\b|days?\b|hours?\b|points?\b|[A-Za-zµ]{1,3}\b))"
_RANGE = re.compile(rf"({_NUMBER})(?: to (\d+(?:\.\d+)?)|-(\d+(?:\.\d+)?){_UNIT})(?![\w.:/-]*\w)")


# a temperature by itself: the places of curves in paths are typed
_DEGREES = re.compile(rf"(?<![\w.=:/\"'{MINUS}-])([{MINUS}-]?\d+(?:\.\d+)?) degC\b")


def typeset(text: str) -> str:
    """A sentence or a figure as it is printed; `4.1 to 6.3 years` becomes one range.

    For what is read only: what one types stays as it is.
    """
    return degrees(ranges(_SIGN.sub(MINUS, text)))


def ranges(text: str) -> str:
    """A text whose ranges have an en dash, and one figure where both of their ends are alike."""

    def printed(found: re.Match[str]) -> str:
        low, high = found[1], found[2] or found[3]
        return low if low == high else f"{low}{DASH}{high}"

    return _RANGE.sub(printed, text)


def degrees(text: str) -> str:
    """A text whose temperatures are in °C, which files write `degC`."""
    return _DEGREES.sub(rf"\1 {CELSIUS}", text)
