"""Changing values in a user's file and nothing else: comments, order and layout stay."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from advisor import figures
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError
from advisor.source import place_of, read_text

# what the parser takes for the end of a line (YAML 1.1, 4.2)
_ENDS = re.compile("\r\n|[\n\r\x85\u2028\u2029]")


def replaced(text: str, file: str, values: Mapping[str, str]) -> str:
    """The text with the values at some paths replaced.

    Parameters
    ----------
    file : its name, for faults. values : dotted path to the new plain text; each path must lead to
        a plain value on one line.

    Raises
    ------
    FaultError
        For a path that leads to no such value, and for text that cannot be read.
    """
    root = read_text(text, file).root
    edits: list[_Edit] = []
    faults = []
    expected = plain(root)
    for dotted, new in values.items():
        node = figures.resolve(root, dotted)
        if not _plain(node):
            place = None if node is None else place_of(node, file)
            faults.append(Fault(dotted, "no plain value on one line", "a value to replace", place))
            continue
        assert node is not None
        edits.append(_Edit(node.start_mark.index, node.end_mark.index, new))
        _put(expected, root, node, _read(new, file))
    if faults:
        raise FaultError(tuple(faults))
    return _edited(text, file, edits, expected)


def _plain(node: Node | None) -> bool:
    return (
        isinstance(node, ScalarNode)
        and not node.style
        and node.start_mark.line == node.end_mark.line
    )


Tree = Mapping[str, "str | Tree"]


def placed(text: str, file: str, tree: Tree) -> str:
    """The text with values put at keys, those that stand replaced and the others added.

    Parameters
    ----------
    file : its name, for faults. tree : key to plain YAML text, or to a tree of its own. New keys
        follow those that their mapping has.

    Raises
    ------
    FaultError
        For text that cannot be read or whose root is no mapping.
    """
    root = read_text(text, file).root
    if not isinstance(root, MappingNode):
        raise FaultError((Fault(file, "no mapping", "keys and values", place_of(root, file)),))
    edits: list[_Edit] = []
    _merge(root, tree, edits, _Text(text.removeprefix(_MARK)))
    return _edited(text, file, edits, _merged(plain(root), tree, file))


_MARK = "\ufeff"  # of byte order; the parser never sees it


@dataclass(frozen=True, slots=True)
class _Edit:
    """Characters from `start` to `end`, as the parser counts them, give way to new ones."""

    start: int
    end: int
    new: str


def _edited(text: str, file: str, edits: list[_Edit], expected: _Plain) -> str:
    """The text with the edits made, read back: it must hold what was wanted and all else it had."""
    mark = _MARK if text.startswith(_MARK) else ""
    body = text[len(mark) :]
    if any(edit.start > len(body) for edit in edits):
        body += _Text(body).ending
    ordered = sorted(enumerate(edits), key=lambda e: (e[1].start, e[1].end, e[0]), reverse=True)
    for _, edit in ordered:
        body = body[: edit.start] + edit.new + body[edit.end :]
    try:
        same = plain(read_text(body, file).root) == expected
    except FaultError:
        same = False
    if not same:
        fault = Fault(file, "a layout in which no value can be put", "keys and values on lines")
        raise FaultError((fault,))
    return mark + body


# A document without its layout: a scalar's text, a list, or a mapping in its order.
_Plain = Any


def plain(node: Node) -> _Plain:
    """A node without its layout."""
    if isinstance(node, MappingNode):
        return {_key(k): plain(v) for k, v in node.value}
    if isinstance(node, SequenceNode):
        return [plain(item) for item in node.value]
    return node.value


def _key(node: Node) -> str:
    return str(node.value) if isinstance(node, ScalarNode) else repr(plain(node))


def _read(text: str, file: str) -> _Plain:
    return plain(read_text(text, file).root)


def _put(tree: _Plain, root: Node, wanted: Node, value: _Plain) -> bool:
    """Set what stands at a node in the plain form of its root; whether it was found."""
    pairs: list[tuple[Any, Node]]
    if isinstance(root, MappingNode):
        pairs = [(_key(k), v) for k, v in root.value]
    elif isinstance(root, SequenceNode):
        pairs = list(enumerate(root.value))
    else:
        return False
    for name, child in pairs:
        if child is wanted:
            tree[name] = value
            return True
        if _put(tree[name], child, wanted, value):
            return True
    return False


def _merged(there: _Plain, tree: Tree, file: str) -> _Plain:
    out = dict(there)
    for name, value in tree.items():
        if isinstance(value, str):
            out[name] = _read(value, file)
        else:
            held = out.get(name)
            out[name] = _merged(held if isinstance(held, dict) else {}, value, file)
    return out


@dataclass(frozen=True, slots=True)
class _Text:
    """The text that is edited."""

    text: str

    @property
    def ending(self) -> str:
        """How a new line ends: as the first one does."""
        first = _ENDS.search(self.text)
        return first[0] if first and first[0] in ("\r\n", "\r", "\n") else "\n"

    def line_after(self, index: int) -> int:
        """Where the next line begins; beyond the end where the last line has no end of its own."""
        if index and _ENDS.fullmatch(self.text[index - 1 : index]):
            return index
        found = _ENDS.search(self.text, index)
        return len(self.text) + len(self.ending) if found is None else found.end()


def _merge(node: MappingNode, tree: Tree, edits: list[_Edit], text: _Text) -> None:
    there = {k.value: v for k, v in node.value if isinstance(k, ScalarNode)}
    added: list[tuple[str, str | Tree]] = []
    for name, value in tree.items():
        child = there.get(name)
        if child is None:
            added.append((name, value))
        elif isinstance(child, MappingNode) and not isinstance(value, str):
            _merge(child, value, edits, text)
        else:
            start, end = child.start_mark.index, _end(child, text)
            # a key without a value has nothing between it and what is put there
            edits.append(_Edit(start, end, (" " if start == end else "") + flow(value)))
    if not added:
        return
    if node.flow_style:
        new = ", ".join(f"{name}: {flow(value)}" for name, value in added)
        # before the brace that closes it
        at = node.end_mark.index - 1
        edits.append(_Edit(at, at, f", {new}" if node.value else new))
        return
    at = text.line_after(_end(node, text))
    indent = node.start_mark.column
    lines = [line + text.ending for name, value in added for line in _block(name, value, indent)]
    edits.append(_Edit(at, at, "".join(lines)))


def _end(node: Node, text: _Text) -> int:
    """Where a value ends, behind its last character; the marks of a block run on to the next."""
    if isinstance(node, (MappingNode, SequenceNode)) and not node.flow_style and node.value:
        last = node.value[-1]
        return _end(last[1] if isinstance(node, MappingNode) else last, text)
    start, end = int(node.start_mark.index), int(node.end_mark.index)
    if isinstance(node, ScalarNode) and node.style in ("|", ">"):
        return start + len(text.text[start:end].rstrip(" \r\n\x85\u2028\u2029"))
    return end


def flow(value: str | Tree) -> str:
    """A value on one line; put in place of a mapping it leaves nothing of that."""
    if isinstance(value, str):
        return value
    return "{" + ", ".join(f"{name}: {flow(inner)}" for name, inner in value.items()) + "}"


def _block(name: str, value: str | Tree, indent: int) -> list[str]:
    """A key and its value on lines of its own; a mapping of plain values on one."""
    pad = " " * indent
    if isinstance(value, str) or all(isinstance(inner, str) for inner in value.values()):
        return [f"{pad}{name}: {flow(value)}"]
    lines = [f"{pad}{name}:"]
    for inner, below in value.items():
        lines += _block(inner, below, indent + 2)
    return lines


def quoted(text: str) -> str:
    """Free text as a double-quoted YAML scalar.

    What a terminal would not show is escaped, so that the file stays text.
    """
    return (
        '"' + "".join(_QUOTED.get(c) or (c if c.isprintable() else _spelled(c)) for c in text) + '"'
    )


_QUOTED = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t"}


def _spelled(character: str) -> str:
    """A character as YAML's own escape (YAML 1.1, 5.6), which knows no pairs of surrogates."""
    code = ord(character)
    if 0xD800 <= code < 0xE000:
        # a byte that is no UTF-8, on its way from the command line; no YAML can spell it
        return f"\\\\x{code & 0xFF:02x}"
    return (
        f"\\x{code:02x}"
        if code < 0x100
        else f"\\u{code:04x}"
        if code < 0x10000
        else f"\\U{code:08x}"
    )
