"""Text on a terminal: columns that never cut, bars, wrapped paragraphs, colour that may be lost."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, field

from rich.cells import cell_len
from rich.style import Style
from rich.text import Text

STRONG = Style(bold=True)
FAINT = Style(dim=True)
GOOD = Style(color="green")
POOR = Style(color="red")
ACCENT = Style(color="cyan")
FULL, EIGHTHS = "█", " ▏▎▍▌▋▊▉"


@dataclass(slots=True)
class Page:
    """Lines of styled text of a given width; width 0 means that nothing is wrapped."""

    width: int
    lines: list[Text] = field(default_factory=list)

    def line(self, *pieces: str | Text | tuple[str, Style]) -> None:
        """One line, as it stands."""
        self.lines.append(Text.assemble(*pieces))

    def paragraph(
        self, text: str, indent: str = "", hanging: str | None = None, style: Style | None = None
    ) -> None:
        """A paragraph, wrapped between words; no word is cut."""
        rest = indent if hanging is None else hanging
        if not self.width:
            self.line((indent + text, style or Style()))
            return
        for row in textwrap.wrap(
            text,
            max(self.width, len(rest) + 20),
            initial_indent=indent,
            subsequent_indent=rest,
            break_long_words=False,
            break_on_hyphens=False,
        ):
            self.line((row, style or Style()))

    def heading(self, text: str) -> None:
        """A heading, with an empty line before it unless it is the first."""
        if self.lines:
            self.lines.append(Text(""))
        self.paragraph(text, style=STRONG)

    def table(
        self,
        header: Sequence[str],
        rows: Sequence[Sequence[str]],
        right: Sequence[bool],
        notes: Sequence[str] = (),
        styles: Sequence[Style | None] = (),
        indent: str = "",
    ) -> None:
        """Columns as wide as their widest entry; `notes` go below their row, wrapped.

        Where the width does not take the columns, each row becomes a block of `header: entry`
        lines, so that nothing is cut.
        """
        widths = [max(cell_len(r[i]) for r in [header, *rows]) for i in range(len(header))]
        total = len(indent) + sum(widths) + 2 * (len(widths) - 1)
        stacked = bool(self.width) and total > self.width
        if not stacked:
            self.line((indent + _columns(header, widths, right), FAINT))
        for n, row in enumerate(rows):
            style = styles[n] if n < len(styles) else None
            if stacked:
                self._block(header, row, style, indent)
            else:
                self.line((indent + _columns(row, widths, right), style or Style()))
            if n < len(notes) and notes[n]:
                self.paragraph(notes[n], indent + "   ")

    def _block(
        self, header: Sequence[str], row: Sequence[str], style: Style | None, indent: str
    ) -> None:
        for i, (name, entry) in enumerate(zip(header, row, strict=True)):
            if entry:
                lead = indent if i == 0 else indent + "  "
                self.paragraph(f"{name}: {entry}", lead, lead + "  ", style if i < 2 else None)

    def bars(self, rows: Sequence[tuple[str, float, str]], room: int = 24) -> None:
        """Names, bars for shares of 0..1, and figures."""
        if not rows:
            return
        names = max(cell_len(name) for name, _, _ in rows)
        figures = max(cell_len(text) for _, _, text in rows)
        if self.width:
            room = max(4, min(room, self.width - names - figures - 6))
        for name, share, text in rows:
            pad = " " * (names - cell_len(name))
            self.line(f"  {name}{pad}  ", (bar(share, room), ACCENT), f"  {text:>{figures}}")


def bar(share: float, room: int) -> str:
    """A bar of `room` cells for a share of 0..1, filled with spaces."""
    eighths = round(max(0.0, min(1.0, share)) * room * 8)
    if share > 0 and eighths == 0:
        eighths = 1
    full, part = divmod(eighths, 8)
    text = FULL * full + (EIGHTHS[part] if part else "")
    return text + " " * (room - len(text))


def _columns(row: Sequence[str], widths: Sequence[int], right: Sequence[bool]) -> str:
    cells = []
    for entry, width, to_right in zip(row, widths, right, strict=True):
        pad = " " * (width - cell_len(entry))
        cells.append(pad + entry if to_right else entry + pad)
    return "  ".join(cells).rstrip()
