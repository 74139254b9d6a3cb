"""Text on a terminal: columns that never cut, bars, wrapped paragraphs, colour that may be lost."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence

from advisor.dataclass import dataclass, field
from advisor.present.typeset import degrees, ranges
from advisor.texts import in_shell, on_one_line

# styles by their names in rich, which is loaded only where there is colour to show
PLAIN = ""
STRONG = "bold"
FAINT = "dim"
GOOD = "green"
POOR = "red"
ACCENT = "cyan"

Style = str
Line = list[tuple[str, Style]]
GAP = "  "  # between columns
FULL, EIGHTHS = "█", " ▏▎▍▌▋▊▉"


# a blank inside a figure, between a number and its unit or a currency and its amount, at which no
# line ends; it stands in for the blank while a paragraph is wrapped
KEPT = "\N{NO-BREAK SPACE}"
_FIGURE = re.compile(
    r"(?<=\d) (?=%|(?:years?|days?|weeks?|hours?|points?|h|min|m?s|[munpµ]s|degC|°C|ohm|K|[kM]?Hz|"
    r"[kmunpµ]?(?:[AVWJCF]|Ah|Wh))\b)|(?<=\b[A-Z]{3}) (?=\d)"
)


def unbroken(text: str) -> str:
    """A text whose figures have a blank inside at which no line ends."""
    return _FIGURE.sub(KEPT, text)


# a hyphen that stands for a minus: before a number, behind nothing that a name or an option is of
_MINUS = re.compile(r"(?<![^\s(])-(?=\d)")


def in_print(text: str) -> str:
    """A text for a screen, with true minus signs before its figures and temperatures in °C; nothing
    that is pasted."""
    return degrees(_MINUS.sub("−", on_one_line(text)))


@dataclass(frozen=True, slots=True)
class Typed:
    """Words of a command, as they are before a shell reads them."""

    words: tuple[str, ...]

    def __str__(self) -> str:
        """What a shell reads as those words."""
        return " ".join(map(in_shell, self.words))


def setting(path: str, value: str | None) -> Typed:
    """What sets a figure for a run."""
    return Typed(("--set", f"{path}={value}"))


@dataclass(slots=True)
class Page:
    """Lines of (text, style) pieces of a given width; width 0 means that nothing is wrapped.

    Texts are shown, whatever they are: a control character stands as its escape.
    """

    width: int
    lines: list[Line] = field(default_factory=list)

    def line(self, *pieces: str | tuple[str, Style]) -> None:
        """One line, as it stands."""
        both = [(p, PLAIN) if isinstance(p, str) else p for p in pieces]
        self.lines.append([(on_one_line(text), style) for text, style in both])

    def plain(self) -> str:
        """The page without its styles."""
        return "".join("".join(t for t, _ in line).rstrip() + "\n" for line in self.lines)

    def typed(self, command: Typed, indent: str = "", style: Style = PLAIN) -> None:
        """Words of a command, broken so that a shell reads them as one line, no word broken."""
        room = self.width - len(" \\") if self.width else 0
        row = ""
        for word in map(in_shell, command.words):
            if row and room and len(indent) + cells(f"{row} {word}") > room:
                self.line((f"{indent}{row} \\", style))
                row = word
            else:
                row = f"{row} {word}".lstrip()
        self.line((indent + row, style))

    def paragraph(
        self, text: str, indent: str = "", hanging: str | None = None, style: Style = PLAIN
    ) -> None:
        """A paragraph, wrapped between words; no word is cut."""
        rest = indent if hanging is None else hanging
        text = ranges(in_print(text))
        if not self.width:
            self.line((indent + text, style))
            return
        for row in textwrap.wrap(
            unbroken(text),
            max(self.width, len(rest) + 20),
            initial_indent=indent,
            subsequent_indent=rest,
            break_long_words=False,
            break_on_hyphens=False,
        ):
            self.line((row.replace(KEPT, " "), style))

    def heading(self, text: str) -> None:
        """A heading, with an empty line before it unless it is the first."""
        if self.lines:
            self.lines.append([])
        self.paragraph(text, style=STRONG)

    def table(
        self,
        header: Sequence[str],
        rows: Sequence[Sequence[str]],
        right: Sequence[bool],
        notes: Sequence[str | Typed] = (),
        styles: Sequence[Style] = (),
        indent: str = "",
    ) -> None:
        """Columns as wide as their widest entry; `notes` go below their row, wrapped.

        Where the width does not take the columns, each row becomes a block of `header: entry`
        lines, so that nothing is cut.
        """
        header = [on_one_line(name) for name in header]
        rows = [[in_print(entry) for entry in row] for row in rows]
        widths = _widths(header, rows)
        stacked = not self.takes(header, rows, indent)
        if not stacked:
            self.line((indent + _columns(header, widths, right), FAINT))
        for n, row in enumerate(rows):
            style = styles[n] if n < len(styles) else PLAIN
            if stacked:
                self._block(header, row, style, indent)
            else:
                self.line((indent + _columns(row, widths, right), style))
            note = notes[n] if n < len(notes) else ""
            if isinstance(note, Typed):
                self.typed(note, indent + "   ")
            elif note:
                self.paragraph(note, indent + "   ")

    def takes(self, header: Sequence[str], rows: Sequence[Sequence[str]], indent: str = "") -> bool:
        """Whether a table's columns stand side by side within the width."""
        widths = _widths(header, rows)
        total = len(indent) + sum(widths) + len(GAP) * (len(widths) - 1)
        return not self.width or total <= self.width

    def _block(self, header: Sequence[str], row: Sequence[str], style: Style, indent: str) -> None:
        for i, (name, entry) in enumerate(zip(header, row, strict=True)):
            if entry:
                lead = indent if i == 0 else indent + "  "
                self.paragraph(f"{name}: {entry}", lead, lead + "  ", style if i < 2 else PLAIN)

    def bars(self, rows: Sequence[tuple[str, float, str]], room: int = 24) -> None:
        """Names, bars for amounts, the greatest as long as there is room, and figures.

        Where the width does not take the bars they are left out; where it does not take names and
        figures beside each other either, they are wrapped.
        """
        if not rows:
            return
        written = rows
        rows = [(on_one_line(name), amount, in_print(text)) for name, amount, text in rows]
        names = max(cells(name) for name, _, _ in rows)
        figures = max(cells(text) for _, _, text in rows)
        if self.width:
            room = min(room, self.width - names - figures - 6)
            if room < LEAST_BAR and names + figures + 4 > self.width:
                for name, _, text in written:
                    self.paragraph(f"{name}: {' '.join(text.split())}", "  ", "    ")
                return
        most = max(amount for _, amount, _ in rows) or 1.0
        for name, amount, text in rows:
            pad = " " * (names - cells(name))
            if room < LEAST_BAR:
                self.line(f"  {name}{pad}  {text:>{figures}}")
                continue
            drawn = bar(amount / most, room)
            self.line(f"  {name}{pad}  ", (drawn, ACCENT), f"  {text:>{figures}}")


LEAST_BAR = 4  # cells


def cells(text: str) -> int:
    """Columns that a text takes on a terminal."""
    if text.isascii():
        return len(text)
    from rich.cells import cell_len

    return cell_len(text)


def bar(share: float, room: int) -> str:
    """A bar of `room` cells for a share of 0..1, filled with spaces."""
    eighths = round(max(0.0, min(1.0, share)) * room * 8)
    if share > 0 and eighths == 0:
        eighths = 1
    full, part = divmod(eighths, 8)
    text = FULL * full + (EIGHTHS[part] if part else "")
    return text + " " * (room - len(text))


def _widths(header: Sequence[str], rows: Sequence[Sequence[str]]) -> list[int]:
    """Of each column, that of its widest entry."""
    return [max(cells(row[i]) for row in [header, *rows]) for i in range(len(header))]


def _columns(row: Sequence[str], widths: Sequence[int], right: Sequence[bool]) -> str:
    out = []
    for entry, width, to_right in zip(row, widths, right, strict=True):
        pad = " " * (width - cells(entry))
        out.append(pad + entry if to_right else entry + pad)
    return GAP.join(out).rstrip()
