"""Changing values in a user's file and nothing else: comments, order and layout stay."""

from __future__ import annotations

from collections.abc import Mapping

from yaml.nodes import Node, ScalarNode

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
