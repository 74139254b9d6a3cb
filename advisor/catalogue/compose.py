"""Writing a new YAML document with its comments, for a reader who goes on by hand.

What stands in a file already is changed by `advisor/catalogue/edit`, which keeps what it finds.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Sequence
from functools import lru_cache

from yaml.nodes import ScalarNode

from advisor.catalogue.edit import flow, quoted
from advisor.dataclass import dataclass
from advisor.faults import FaultError
from advisor.source import read_text
from advisor.texts import on_one_line, visible

WIDTH = 100  # characters of a line of comment; a value is never broken

_WORD = re.compile(r"[^\W\d_][\w .,()/%+-]*")
# what YAML 1.1 would take for something else than text
_OTHERS = frozenset(["y", "n", "yes", "no", "on", "off", "true", "false", "null"])


@dataclass(frozen=True, slots=True)
class Line:
    """A key of the document.

    `value` is plain YAML text (see `text` for what people write), lines below it, or items of a
    list, each of lines of its own. `above` is a comment on lines before it, `behind` one on its
    own line. A line that is `off` stands as a comment: what may be filled in.
    """

    key: str
    value: str | Sequence[Line] | Sequence[Sequence[Line]]
    above: str = ""
    behind: str = ""
    off: bool = False


def document(lines: Sequence[Line], head: str = "", *, check: bool = True) -> str:
    """The text of a document.

    Parameters
    ----------
    head : a comment at its top.
    check : read it back; without, for the many documents of one run, every value must be of `text`,
        of `mapping`, or plain by its making.

    Raises
    ------
    ValueError
        When it does not read back: a value that is no YAML text, a key that comes twice.
    """
    rows = [*_comment(head, 0), *(row for line in lines for row in _rows(line, 0))]
    out = "\n".join(rows) + "\n"
    if not check:
        return out
    try:
        root = read_text(out, "what is to be written").root
    except FaultError as error:
        raise ValueError(f"no document: {error}") from error
    standing = [line.key for line in lines if not line.off]
    if [key.value for key, _ in root.value] != standing or len(set(standing)) < len(standing):
        raise ValueError("the document reads back with other keys")
    return out


def text(words: str) -> str:
    """Free text as YAML: as it stands where nothing else can be read in it, else quoted."""
    plain = (
        _WORD.fullmatch(words)
        and words.isprintable()
        and words == words.strip()
        and words.lower() not in _OTHERS
        and _reads_back(words)
    )
    return words if plain else quoted(words)


def _reads_back(words: str) -> bool:
    """Whether the words stay themselves in a block and in a mapping on one line."""
    if any(mark in words for mark in (", ", " #")) or words.endswith(","):
        return False
    try:
        root = read_text(f"{{a: {words}}}", "").root
    except FaultError:
        return False
    value = root.value[0][1]
    return len(root.value) == 1 and isinstance(value, ScalarNode) and value.value == words


def mapping(**values: str) -> str:
    """Plain values on one line; `_` in a name stands for `-`."""
    return flow({name.replace("_", "-"): value for name, value in values.items()})


def _rows(line: Line, indent: int) -> Iterator[str]:
    pad = " " * indent
    if line.above:
        yield from _comment(line.above, indent)
    aside = f"  # {on_one_line(line.behind)}" if line.behind else ""
    if isinstance(line.value, str):
        off = "# " if line.off else ""
        yield f"{pad}{off}{line.key}: {line.value}{aside}"
        return
    rows = [f"{pad}{line.key}:{aside}"]
    for item in line.value:
        if isinstance(item, Line):
            rows += _rows(item, indent + 2)
        else:
            rows += _item(item, indent + 2)
    yield from (f"{pad}# {row[indent:]}" for row in rows) if line.off else rows


def _item(lines: Sequence[Line], indent: int) -> list[str]:
    """An item of a list: its first key behind the dash, comments before it."""
    rows = [row for line in lines for row in _rows(line, indent + 2)]
    first = next(i for i, row in enumerate(rows) if not row.lstrip().startswith("#"))
    rows[first] = " " * indent + "- " + rows[first].lstrip()
    return rows


def _comment(words: str, indent: int) -> Iterator[str]:
    for paragraph in words.splitlines():
        yield from _wrapped(paragraph, indent)


@lru_cache(maxsize=1024)  # documents of one run say much the same
def _wrapped(paragraph: str, indent: int) -> tuple[str, ...]:
    pad = " " * indent + "# "
    paragraph = visible(paragraph)
    if len(pad) + len(paragraph) <= WIDTH and paragraph == " ".join(paragraph.split()):
        return ((pad + paragraph).rstrip(),)
    rows = textwrap.wrap(
        paragraph,
        WIDTH,
        initial_indent=pad,
        subsequent_indent=pad,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return tuple(rows) or (pad.rstrip(),)
