"""The report as Markdown, to stand in a pull request or a wiki (CommonMark with tables).

Texts are escaped so that a catalogue's text shows as it is: no markup, no link, no mention of
anyone, no row of a table out of place.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from advisor.present import contents, family_contents, tables
from advisor.present.blocks import Block, Bullets, Glance, Grid, Section, Typed, Words
from advisor.studies.family_report import FamilyReport
from advisor.studies.report import Report
from advisor.texts import visible

_MARKUP = re.compile(r"[\\`*_\[\]<>|&~]")
_OPENING = re.compile(r"^(\d*)([-#+=.)])")
# what readers make a link or a mention of where nothing marks it: a space of no width keeps it text
_LIVELY = re.compile(r"(@|#)(?=\w)|(:)(?=//)|\b(www)(?=\.)", re.IGNORECASE)
_NO_WIDTH = "&#8203;"


def markdown(found: Report) -> str:
    """The report as text; the input files' figures are left to the other forms."""
    title, sections = f"{found.product}: which part", contents.sections(found)
    return composed(title, found.summary, found.invented, sections)


def family_markdown(found: FamilyReport) -> str:
    """A family's report as text."""
    plan, sections = found.plan, family_contents.sections(found)
    return composed(family_contents.title(found), plan.summary, plan.invented, sections)


def composed(title: str, summary: str | None, invented: bool, sections: Iterable[Section]) -> str:
    """Sections under a title."""
    lines = [f"# {escaped(title)}", ""]
    if summary:
        lines += [_line(summary), ""]
    if invented:
        lines += [f"**{escaped(tables.INVENTED)}**", ""]
    for section in sections:
        if section.bulky:
            continue
        lines += [f"## {escaped(section.title)}", ""]
        for block in section.blocks:
            lines += [*_block(block), ""]
    return "\n".join(lines).rstrip("\n") + "\n"


def escaped(text: str) -> str:
    """A text within a line that shows as it is."""
    line = _MARKUP.sub(lambda found: "\\" + found[0], visible(" ".join(text.split())))
    return _LIVELY.sub(lambda found: found[0] + _NO_WIDTH, line)


def code(text: str) -> str:
    """What one types, within a line, as it stands."""
    ticks = "`" * (_ticks(text) + 1)
    # a blank at both ends is taken off again (CommonMark 0.31.2, 6.1)
    pad = " " if text[:1] in "` " or text[-1:] in "` " else ""
    return f"{ticks}{pad}{text}{pad}{ticks}"


def _ticks(text: str) -> int:
    """The longest run of ticks in a text."""
    return max(map(len, re.findall("`+", text)), default=0)


def _line(text: str) -> str:
    """A text that begins a line, where more would be markup."""
    return _OPENING.sub(r"\1\\\2", escaped(text))


def _block(block: Block) -> Iterator[str]:
    match block:
        case Glance():
            for f in block.figures:
                yield f"- {escaped(f.name)}: **{escaped(f.value)}**; {escaped(f.about)}"
        case Words():
            strong = block.kind in ("lead", "caution")
            yield f"**{escaped(block.text)}**" if strong else _line(block.text)
        case Bullets():
            for n, item in enumerate(block.items):
                typed = block.typed[n] if block.typed else ""
                yield f"- {_line(item)}" + (f" ({code(typed)})" if typed else "")
        case Typed():
            fence = "`" * max(3, _ticks(block.text) + 1)
            yield from (f"{fence}sh", block.text, fence)
        case Grid():
            yield from _table(block)


def _table(grid: Grid) -> Iterator[str]:
    noted = any(grid.small)
    yield f"{_line(grid.caption)}:"
    yield ""
    header = [*grid.header, *(["note"] if noted else [])]
    yield _row(header)
    texts = [i < grid.texts or i >= len(grid.header) for i in range(len(header))]
    yield "|" + "|".join(":--" if left else "--:" for left in texts) + "|"
    for n, row in enumerate(grid.rows):
        shown = [escaped(cell) for cell in row]
        if noted:
            note = grid.small[n]
            # within a table a bar ends a cell, in code too
            shown.append(code(note).replace("|", "\\|") if grid.typed and note else escaped(note))
        yield _cells(shown)


def _row(cells: list[str]) -> str:
    return _cells([escaped(cell) for cell in cells])


def _cells(cells: list[str]) -> str:
    return "| " + " | ".join(cells) + " |"
