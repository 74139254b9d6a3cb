"""YAML with places: nodes are composed, never constructed, so that text stays what was written.

Plain loading would read `1e-6` as text and `no` as false and keep the last of two equal keys; here
every scalar stays text with its line and column. Anchors, aliases, merges, tags, several documents
and whatever is too large or too deep are refused.
"""

from __future__ import annotations

import contextlib
import gc
import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

import yaml
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from advisor.dataclass import dataclass
from advisor.faults import MOST as MOST_FAULTS
from advisor.faults import Fault, FaultError, Place
from advisor.texts import HOSTILE, named

LARGEST = 4 * 1024 * 1024  # bytes of a file
DEEPEST = 64  # collections inside one another
MOST = 50_000  # keys and values of a file; a long one of ours has a few hundred
# the base loader resolves no types: nothing here wants them
_BASE: Any = getattr(yaml, "CBaseLoader", yaml.BaseLoader)
# what is not one of YAML 1.1's printable characters, or acts on those around it; U+0085, an end of
# a line to YAML 1.1 only, is none of ours
_BAD_LATIN = re.compile("[^\t\n\r\x20-\x7e\xa0-\xff]")
_BAD = (
    "[^\t\n\r\x20-\x7e\xa0-\u061b\u061d-\u200d\u2010-\u2029\u202f-\u2065\u206a-\ud7ff"
    "\ue000-\ufffd\U00010000-\U0010ffff]"
)  # compiled where a text asks for it: that takes longer than to read one
_LINE_END = re.compile("\r\n?|\n")
_SUSPICIOUS = re.compile(r"[&*!]|<<|^---|^\.\.\.|^%", re.MULTILINE)


class _TooMuchError(Exception):
    """Text that goes too deep or on for too long: (what was read, what was expected, its mark)."""


class _Loader(_BASE):  # type: ignore[misc]
    """Composes plain nodes and gives up early on text made to exhaust.

    The parser is lazy, and both composers call these two hooks around each node, so depth and
    length are bounded in the same single pass.
    """

    depth = 0
    nodes = 0

    def descend_resolver(self, parent: Node | None, index: Node | int | None) -> None:
        self.depth += 1
        self.nodes += 1
        if self.depth > DEEPEST + 1 or self.nodes > MOST:
            near = index if isinstance(index, Node) else parent
            if isinstance(near, SequenceNode) and near.value:
                near = near.value[-1]
            mark = near.start_mark if near is not None else None
            if self.nodes > MOST:
                raise _TooMuchError(f"more than {MOST} keys and values", f"at most {MOST}", mark)
            raise _TooMuchError("collections nested too deep", f"at most {DEEPEST} levels", mark)

    def ascend_resolver(self) -> None:
        self.depth -= 1


@dataclass(frozen=True, slots=True)
class Document:
    """A YAML document as composed nodes, and the name of its file."""

    file: str
    root: Node


@dataclass(frozen=True, slots=True)
class CellMark:
    """Stands for a mark of the parser where a value came from a cell of a table."""

    place: Place

    @property
    def name(self) -> str:
        """The file's."""
        return self.place.file


@contextlib.contextmanager
def collector_paused(*, stays: bool = False) -> Iterator[None]:
    """Read without the garbage collector: what is read makes many small objects and no garbage,
    which it would walk in vain. What `stays` until the process ends is not walked later either."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if stays:
            gc.freeze()
        if was:
            gc.enable()


def place_of(node: Node, file: str) -> Place:
    """Where a node begins; a change made on the command line names itself."""
    mark = node.start_mark
    if isinstance(mark, CellMark):
        return mark.place
    if mark.name.startswith("--set"):
        file = mark.name
    return Place(file, mark.line + 1, mark.column + 1)


def read_file(path: Path, shown_as: str | None = None, *, spelled: bool = False) -> Document:
    """Read a YAML file; `spelled` as for `read_text`.

    Raises
    ------
    FaultError
        When it cannot be read, or is not one plain YAML document.
    """
    file = shown_as or str(path)
    return read_text(read_bytes(path, file), file, spelled=spelled)


def read_bytes(path: Path, file: str) -> bytes:
    """The bytes of a file of at most 4 MiB; `file` is what faults call it.

    Raises
    ------
    FaultError
        When it cannot be read, or is larger.
    """
    with open_file(path, file, "a YAML file") as handle:
        try:
            size = os.fstat(handle.fileno()).st_size
            if size > LARGEST:
                raise _too_large(file, size)
            return handle.read(LARGEST + 1)
        except (OSError, ValueError) as error:
            raise unreadable(file, error, "a YAML file") from None


def open_file(path: Path, file: str, kind: str) -> IO[bytes]:
    """A regular file, opened for reading; `file` is what faults call it, `kind` what it should be.

    Raises
    ------
    FaultError
        When it cannot be opened or is no file.
    """
    try:
        # os.path, as the methods of a path raise for names that no file can bear
        if os.path.isdir(path):
            raise _refused(file, "a folder", kind)
        if os.path.exists(path) and not os.path.isfile(path):
            raise _refused(file, "something that is no file", kind)
        return path.open("rb")
    except FileNotFoundError:
        raise _refused(file, "no such file", kind) from None
    except (OSError, ValueError) as error:
        raise unreadable(file, error, kind) from None


def unreadable(file: str, error: Exception, kind: str) -> FaultError:
    """The fault of a file that the system does not give."""
    reason = getattr(error, "strerror", None) or "a name that cannot be"
    return _refused(file, str(reason), f"{kind} that can be read")


def _refused(file: str, read: str, expected: str, line: int = 1, column: int = 1) -> FaultError:
    return FaultError((Fault("file", read, expected, Place(file, line, column)),))


def _too_large(file: str, size: int) -> FaultError:
    # of what goes on, such as standard input, no more than a byte too many is read
    shown = f"{size / 1024 / 1024:.1f}" if size > LARGEST + 1 else "more than 4"
    return _refused(file, f"{shown} MiB", "a file of at most 4 MiB")


def read_text(text: str | bytes, file: str, *, spelled: bool = False) -> Document:
    """Read YAML text; `file` is what faults call it.

    Control characters may not stand in it, nor be spelled by escapes unless `spelled` lets them.

    Raises
    ------
    FaultError
        When it is not one plain YAML document.
    """
    if isinstance(text, bytes):
        if len(text) > LARGEST:
            raise _too_large(file, len(text))
        try:
            text = text.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            data = bytes(error.object)
            line, column = _position(data[: error.start].decode("latin-1"))
            byte = f"byte 0x{data[error.start]:02x}"
            raise _refused(file, byte, "text in UTF-8", line, column) from None
    elif len(text) > LARGEST:
        raise _too_large(file, len(text))
    text = text.removeprefix("\ufeff")
    _characters(text, file)
    if _SUSPICIOUS.search(text):
        _refuse_constructs(text, file)
    try:
        loader = _Loader(text)
        try:
            root = loader.get_single_node()
        finally:
            loader.dispose()
    except yaml.MarkedYAMLError as error:
        raise _syntax(error, file) from None
    except _TooMuchError as error:
        read, expected, mark = error.args
        line, column = (mark.line + 1, mark.column + 1) if mark is not None else (1, 1)
        raise _refused(file, read, expected, line, column) from None
    except yaml.YAMLError:
        raise _refused(file, "text that is not YAML", "a YAML document") from None
    if root is None:
        raise _refused(file, "an empty file", "a YAML document")
    if not spelled and "\\" in text:
        _unescaped(root, file)
    return Document(file, root)


def _unescaped(root: Node, file: str) -> None:
    """Refuse what an escape made of a text: what may not stand as it is may not be spelled either.

    Raises
    ------
    FaultError
        With every such text, keys among them.
    """
    faults = []
    left = [root]
    while left:
        node = left.pop()
        if isinstance(node, ScalarNode):
            bad = HOSTILE.search(node.value) if node.style == '"' else None
            if bad is not None:
                faults.append(Fault("file", named(bad[0]), "printable text", place_of(node, file)))
        elif isinstance(node, MappingNode):
            left += [child for pair in reversed(node.value) for child in reversed(pair)]
        else:
            left += reversed(node.value)
    if faults:
        raise FaultError(faults[:MOST_FAULTS])


def _characters(text: str, file: str) -> None:
    latin = text.isascii() or max(text) <= "\xff"
    bad = _BAD_LATIN.search(text) if latin else re.search(_BAD, text)
    if bad is None:
        return
    line, column = _position(text[: bad.start()])
    raise _refused(file, named(bad[0]), "printable text", line, column)


def _position(before: str) -> tuple[int, int]:
    """(line, column) behind a text; lines may end in any of the three ways."""
    ends = list(_LINE_END.finditer(before))
    return len(ends) + 1, len(before) - (ends[-1].end() if ends else 0) + 1


def _refuse_constructs(text: str, file: str) -> None:
    """Find anchors, aliases, tags, merges and further documents, with their places."""
    faults: list[Fault] = []

    def note(mark: Any, read: str, expected: str) -> None:
        faults.append(Fault("file", read, expected, Place(file, mark.line + 1, mark.column + 1)))

    documents = 0
    try:
        for count, event in enumerate(yaml.parse(text, Loader=_BASE)):
            mark = event.start_mark
            if isinstance(event, yaml.DocumentStartEvent):
                documents += 1
                if event.tags or event.version:
                    note(mark, "a directive", "plain YAML without directives")
                if documents == 2:
                    note(mark, "a second document", "one document in a file")
            elif isinstance(event, yaml.AliasEvent):
                note(mark, f"alias *{event.anchor}", "the value itself, written out")
            elif isinstance(event, yaml.NodeEvent):
                if event.anchor is not None:
                    note(mark, f"anchor &{event.anchor}", "plain values without anchors")
                tag = getattr(event, "tag", None)
                if tag is not None:
                    note(mark, f"tag {tag}", "plain values without tags")
                if isinstance(event, yaml.ScalarEvent) and event.value == "<<" and not event.style:
                    note(mark, "merge key <<", "the keys themselves, written out")
            # composing, which follows, refuses what goes on for longer than this
            if len(faults) >= 20 or documents == 2 or count > 2 * MOST:
                break
    except yaml.MarkedYAMLError as error:
        raise FaultError((*faults, *_syntax(error, file).faults)) from None
    if faults:
        raise FaultError(faults)


def _syntax(error: yaml.MarkedYAMLError, file: str) -> FaultError:
    mark = error.problem_mark or error.context_mark
    line, column = (mark.line + 1, mark.column + 1) if mark is not None else (1, 1)
    return _refused(
        file, f"bad YAML: {error.problem or error.context}", "a YAML document", line, column
    )


__all__ = [
    "Document",
    "MappingNode",
    "Node",
    "ScalarNode",
    "SequenceNode",
    "place_of",
    "read_file",
    "read_text",
]
