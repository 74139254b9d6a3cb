"""Figures within sentences as they are set in print: a true minus, ranges with an en dash."""

from __future__ import annotations

import re

MINUS, DASH = "\N{MINUS SIGN}", "\N{EN DASH}"

# a sign before a number, where no word, number, path or bracket runs into it
_SIGN = re.compile(r"(?<![^\s(,;:])-(?=\d)")
# a number by itself, so that neither half of a name or of a date is taken for one; what goes from
# here to there is a change, and a dash behind a minus would be read as another
_NUMBER = rf"(?<!from )(?<![\w.,:+/=%{MINUS}-])\d+(?:\.\d+)?"
_RANGE = re.compile(rf"({_NUMBER})(?: to |-)(\d+(?:\.\d+)?)(?![\w.:/-]*\w)")


def typeset(text: str) -> str:
    """A sentence or a figure as it is printed; `4.1 to 6.3 years` becomes one range.

    For what is read only: what one types stays as it is.
    """
    return _RANGE.sub(rf"\1{DASH}\2", _SIGN.sub(MINUS, text))
