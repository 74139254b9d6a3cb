"""What a figure is written of: the pieces of the reader's regular expression and of the schema's.

`FIGURE` is wide, so that a fault can say what is wrong; `pattern` is as narrow as the reader is in
the end. A text is one figure to both, or to neither.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Literal

Sign = Literal["any", "not-negative", "positive"]

# Two digits of a power of ten are more than any figure needs, and too few for a number to become
# zero or infinite unseen.
_SIGN = "[+\N{MINUS SIGN}-]?"
_DIGITS = r"(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)"
_POWER = "(?:[eE][+\N{MINUS SIGN}-]?0?[0-9]{1,2})?"
_ABOUT = r"\s*(?:±|\+/-)\s*"
_LAST = r"[0-9]+(?:\.[0-9]+)?"
_COVER = r"\s*\(\s*k\s*=\s*{}\s*\)"
_SLASH = r"\s*/\s*"

FIGURE = re.compile(
    rf"(?P<value>{_SIGN}{_DIGITS})(?:\((?P<digits>{_LAST})\))?(?P<power>{_POWER})"
    rf"(?:{_ABOUT}(?P<half>{_SIGN}{_DIGITS}{_POWER}))?"
    r"\s*(?P<unit>[^0-9\s()±+][^()±+]*?)?"
    rf"(?:{_ABOUT}(?P<after>{_SIGN}{_DIGITS}{_POWER})\s*(?P<afterunit>[^()±]*?))?"
    rf"(?:{_COVER.format(f'(?P<k>{_LAST})')})?\s*\Z"
)
SIMPLE = re.compile(rf"([+-]?{_DIGITS}{_POWER}) ?([A-Za-zµμΩ%°][A-Za-zµμΩ%°/]*)?\Z")
COMMA = re.compile(r"[0-9],[0-9]")
LONG_POWER = re.compile("[0-9.][eE][+\N{MINUS SIGN}-]?(?!0)[0-9]{3}")
CURRENCY = "[A-Z]{3}"
MONEY_RATE = f"{CURRENCY}/(?:h|hour|day|min)"

_NOT_ZERO = "(?=[0.]*[1-9])"
_SIGNS = {
    "any": _SIGN,
    # -0 is not below zero
    "not-negative": "(?:[+]|[\N{MINUS SIGN}-](?=[0.]+(?![0-9.])))?",
    "positive": f"[+]?{_NOT_ZERO}",
}
_NO_SPREAD = r"(?:0+(?:\.0*)?|\.0+)", r"0+(?:\.0+)?"

# a character of a unit -> what may be written for it
_ALSO = {"µ": "u\N{GREEK SMALL LETTER MU}", "Ω": "\N{OHM SIGN}"}


def spellings(unit: str) -> list[str]:
    """Other ways to write a unit: for the micro sign also mu or `u`."""
    return [
        unit.replace(char, other)
        for char, others in _ALSO.items()
        for other in others
        if char in unit
    ]


def unit_word(text: str) -> str:
    """A unit without the blanks about it and about its slash."""
    return re.sub(_SLASH, "/", text.strip())


def pattern(
    units: Iterable[str], sign: Sign, *, spread: bool, bare: bool, zero_elsewhere: bool
) -> str:
    """Regular expression of figures, anchored; for Python and for ECMA-262.

    Parameters
    ----------
    units : regular expressions of the units, `/` for a slash. sign : of the number as written.
    spread : whether it may be uncertain; if not, a spread that is stated must be zero.
    bare : whether the unit may be left out. zero_elsewhere : whether zero of a unit is not zero in
    SI, so that per cent of it have no sense.
    """
    number, last = (_DIGITS, _LAST) if spread else _NO_SPREAD
    half = rf"{_ABOUT}\+?{number}{_POWER}"
    cover = f"(?:{_COVER.format(_NOT_ZERO + _LAST)})?"
    words = sorted((_unit_pattern(u) for u in units if u), key=lambda word: (-len(word), word))
    own = _one_of(words, bare)
    forms = [rf"(?:\({last}\))?{_POWER}\s*{own}", rf"{_POWER}{half}\s*{own}{cover}"]
    plain = [word for word in words if word != "%"]
    if plain:
        after = _one_of(plain if zero_elsewhere else [*plain, "%"], bare)
        forms.append(rf"{_POWER}\s*{_one_of(plain)}{half}\s*{after}{cover}")
    if "%" in words:
        # behind a percentage per cent could be points or parts of it
        forms.append(rf"{_POWER}\s*%{half}\s*{_one_of(plain, bare)}{cover}")
    return rf"^\s*{_SIGNS[sign]}{_DIGITS}(?:{'|'.join(forms)})\s*$"


def _unit_pattern(unit: str) -> str:
    for char, others in _ALSO.items():
        unit = unit.replace(char, f"[{char}{others}]")
    return unit.replace("/", _SLASH)


def _one_of(words: Sequence[str], or_none: bool = False) -> str:
    return f"(?:{'|'.join(words)}){'?' if or_none else ''}" if words else ""
