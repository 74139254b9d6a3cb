"""The blocks that a report is made of, which a page and a text file both show."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from advisor.dataclass import dataclass
from advisor.present.glance import Figure
from advisor.present.typeset import typeset

# where a page shows something only to whoever asks for it: nowhere, on a narrow screen, anywhere
Fold = Literal["", "narrow", "always"]


@dataclass(frozen=True, slots=True)
class Glance:
    """Figures that answer at a glance, each with its name and a few words."""

    figures: tuple[Figure, ...]


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph; `kind` is empty, `lead`, `faint`, `caution`, or `finding` of a chart."""

    text: str
    kind: str = ""


@dataclass(frozen=True, slots=True)
class Bullets:
    """A list; to each item what one types to get there, or nothing.

    Where a page folds it, it says `title` for it.
    """

    items: tuple[str, ...]
    typed: tuple[str, ...] = ()
    title: str = ""
    fold: Fold = ""

    def told(self) -> list[str]:
        """Both in one line each."""
        typed = self.typed or ("",) * len(self.items)
        return [f"{a} ({b})" if b else a for a, b in zip(self.items, typed, strict=True)]


@dataclass(frozen=True, slots=True)
class Typed:
    """What one types to get there."""

    text: str


@dataclass(frozen=True, slots=True)
class Grid:
    """A table of texts.

    `name` tells it from the others. `head` is the column that names the row: with those up to
    `texts` it holds words, the others hold figures. `small` has a line to each row, to stand below
    its name, `typed` where one types them; `last` marks a row of sums. A page shows the
    `first` rows before one asks for all of them, where it is not 0; `rest` is what rows are.
    """

    name: str
    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    texts: int = 1
    small: tuple[str, ...] = ()
    typed: bool = False
    last: bool = False
    head: int = 0
    fold: Fold = ""
    first: int = 0
    rest: str = "rows"


Block = Glance | Words | Bullets | Typed | Grid


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the report; `bulky` where a reader asks for it first.

    Where a page folds it, `beside` says in a few words what there is.
    """

    id: str
    title: str
    blocks: tuple[Block, ...]
    bulky: bool = False
    fold: Fold = ""
    beside: str = ""


def printed(section: Section) -> Section:
    """A section with its figures as they are set in print; what one types stays as it is."""
    return replace(
        section, title=typeset(section.title), blocks=tuple(map(_printed, section.blocks))
    )


def _printed(block: Block) -> Block:
    match block:
        case Glance(figures):
            some = tuple(
                replace(f, value=typeset(f.value), about=typeset(f.about)) for f in figures
            )
            return replace(block, figures=some)
        case Words(text):
            return replace(block, text=typeset(text))
        case Bullets(items):
            return replace(block, items=tuple(map(typeset, items)))
        case Grid() if block.name != "digests":
            return replace(
                block,
                caption=typeset(block.caption),
                header=tuple(map(typeset, block.header)),
                rows=tuple(tuple(map(typeset, row)) for row in block.rows),
                small=block.small if block.typed else tuple(map(typeset, block.small)),
            )
    return block
