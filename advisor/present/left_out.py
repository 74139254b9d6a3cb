"""What was left out, on a screen: folded to a line, or all of it with its reasons."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from advisor.decide.left_out import PLURALS, LeftOut
from advisor.present.layout import FAINT, Page

ALL = "--all tells why"


def folded(found: Sequence[LeftOut], width: int = 0, how: str = ALL) -> str:
    """How many of each kind, in one line of at most `width` (0: any); empty where there is none.

    Where the kinds do not fit the line it is their number that is told.
    """
    if not found:
        return ""
    counts = Counter(one.kind for one in found)
    told = [
        f"{counts[kind]} {kind.replace('-', ' ') if counts[kind] == 1 else plural}"
        for kind, plural in PLURALS.items()
        if counts[kind]
    ]
    line = f"Left out: {', '.join(told)}; {how}"
    if width and len(line) > width:
        line = f"Left out: {len(found)} in all; {how}"
    return line


def told(found: Sequence[LeftOut], everything: bool) -> list[str]:
    """Lines for where there is no page: the fold, or each with its reason."""
    if not everything:
        return [folded(found)] if found else []
    return [f"left out: {name(one)}: {one.why}" for one in found]


def name(one: LeftOut) -> str:
    """What it is and which, such as `sleep state PATH`."""
    return f"{one.kind.replace('-', ' ')} {one.id}"


def left_out(page: Page, found: Sequence[LeftOut], everything: bool, how: str = ALL) -> None:
    """The fold, or with `everything` each kind with its reasons."""
    if not everything:
        if found:
            page.lines.append([])
            page.line((folded(found, page.width, how), FAINT))
        return
    for kind, plural in PLURALS.items():
        some = [one for one in found if one.kind == kind]
        if some:
            page.heading(f"Left out: {plural}")
            for one in some:
                page.paragraph(f"{one.id}: {one.why}", "  ", "    ")
