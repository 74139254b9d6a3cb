"""Changing values in a user's file and nothing else: comments, order and layout stay."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass

from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from advisor import figures
from advisor.faults import Fault, FaultError
from advisor.source import place_of, read_text


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
    spans: list[tuple[int, int, int, str]] = []
    faults = []
    for dotted, new in values.items():
        node = figures.resolve(root, dotted)
        if not _plain(node):
            place = None if node is None else place_of(node, file)
            faults.append(Fault(dotted, "no plain value on one line", "a value to replace", place))
            continue
        assert node is not None
        start, end = node.start_mark, node.end_mark
        spans.append((start.line, start.column, end.column, new))
    if faults:
        raise FaultError(tuple(faults))
    lines = text.split("\n")
    # a byte order mark is no column of the reader's
    shift = 1 if text.startswith("\ufeff") else 0
    for line, begin, end, new in sorted(spans, reverse=True):
        off = shift if line == 0 else 0
        lines[line] = lines[line][: begin + off] + new + lines[line][end + off :]
    return "\n".join(lines)


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
    _merge(root, tree, edits)
    ending = "\r\n" if "\r\n" in text else "\n"
    lines = text.split("\n")
    shift = 1 if text.startswith("\ufeff") else 0
    ordered = sorted(enumerate(edits), key=lambda e: (e[1].line, e[1].column, e[0]), reverse=True)
    for _, edit in ordered:
        if edit.column is _AFTER:
            at = edit.line + 1
            carriage = "\r" if ending == "\r\n" else ""
            new = [line + carriage for line in edit.new.split("\n")]
            if at == len(lines):
                # the last line had no end of its own
                lines[-1] += carriage
                new.append("")
            lines[at:at] = new
            continue
        first = edit.column + (shift if edit.line == 0 else 0)
        last = edit.end_column + (shift if edit.end_line == 0 else 0)
        head, tail = lines[edit.line][:first], lines[edit.end_line][last:]
        lines[edit.line : edit.end_line + 1] = [head + edit.new + tail]
    return "\n".join(lines)


_AFTER = 1 << 30  # column of what comes on lines of its own, after a line


@dataclass(frozen=True, slots=True)
class _Edit:
    line: int
    column: int
    end_line: int
    end_column: int
    new: str


def _merge(node: MappingNode, tree: Tree, edits: list[_Edit]) -> None:
    there = {k.value: v for k, v in node.value if isinstance(k, ScalarNode)}
    added: list[tuple[str, str | Tree]] = []
    for name, value in tree.items():
        child = there.get(name)
        if child is None:
            added.append((name, value))
        elif isinstance(child, MappingNode) and not isinstance(value, str):
            _merge(child, value, edits)
        else:
            start = child.start_mark
            line, column = _end(child)
            # a key without a value has nothing between it and what is put there
            space = " " if (start.line, start.column) == (line, column) else ""
            edits.append(
                _Edit(
                    line=start.line,
                    column=start.column,
                    end_line=line,
                    end_column=column,
                    new=space + _flow(value),
                )
            )
    if not added:
        return
    if node.flow_style:
        new = ", ".join(f"{name}: {_flow(value)}" for name, value in added)
        # before the brace that closes it
        end = node.end_mark
        column = end.column - 1
        edits.append(
            _Edit(
                line=end.line,
                column=column,
                end_line=end.line,
                end_column=column,
                new=f", {new}" if node.value else new,
            )
        )
        return
    indent = node.start_mark.column
    block = "\n".join(line for name, value in added for line in _block(name, value, indent))
    edits.append(_Edit(line=_end(node)[0], column=_AFTER, end_line=0, end_column=0, new=block))


def _end(node: Node) -> tuple[int, int]:
    """Line and column behind the last character of a value; a block's marks run on to the next."""
    if isinstance(node, (MappingNode, SequenceNode)) and not node.flow_style and node.value:
        last = node.value[-1]
        return _end(last[1] if isinstance(node, MappingNode) else last)
    end = node.end_mark
    if isinstance(node, ScalarNode) and node.style in ("|", ">") and end.column == 0:
        return max(end.line - 1, node.start_mark.line), 0
    return end.line, end.column


def _flow(value: str | Tree) -> str:
    if isinstance(value, str):
        return value
    return "{" + ", ".join(f"{name}: {_flow(inner)}" for name, inner in value.items()) + "}"


def _block(name: str, value: str | Tree, indent: int) -> list[str]:
    """A key and its value on lines of its own; a mapping of plain values on one."""
    pad = " " * indent
    if isinstance(value, str) or all(isinstance(inner, str) for inner in value.values()):
        return [f"{pad}{name}: {_flow(value)}"]
    lines = [f"{pad}{name}:"]
    for inner, below in value.items():
        lines += _block(inner, below, indent + 2)
    return lines


def quoted(text: str) -> str:
    """Free text as a double-quoted YAML scalar.

    What a terminal would not show is escaped, so that the file stays text.
    """
    return json.dumps(text, ensure_ascii=not text.isprintable())
