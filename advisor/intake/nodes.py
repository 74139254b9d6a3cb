"""YAML nodes without their layout, and as text that goes into another document."""

from __future__ import annotations

import re
from typing import Any

from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from advisor.catalogue.edit import Tree, quoted

_UNSAFE = re.compile(r"""[,\[\]{}]|: |:$| \#|^[\s?:!&*|>'"%@`#-]|\s$|^$""")
_KEY = re.compile(r"[\w.+][\w .+%/()±°-]*|-[0-9][\w .]*")


def get(node: Node | None, *keys: str) -> Node | None:
    """What stands behind keys; None where nothing does."""
    for name in keys:
        if not isinstance(node, MappingNode):
            return None
        node = next((v for k, v in node.value if k.value == name), None)
    return node


def text(node: Node) -> str:
    """A node as YAML on one line."""
    if isinstance(node, MappingNode):
        return "{" + ", ".join(f"{key(k)}: {text(v)}" for k, v in node.value) + "}"
    if isinstance(node, SequenceNode):
        return "[" + ", ".join(map(text, node.value)) + "]"
    value = str(node.value)
    return quoted(value) if getattr(node, "style", None) or _UNSAFE.search(value) else value


def key(node: Node) -> str:
    """A key as YAML."""
    value = str(node.value)
    return value if _KEY.fullmatch(value) else quoted(value)


def tree(node: Node) -> str | Tree:
    """A node as what `edit.placed` takes."""
    if isinstance(node, MappingNode):
        return {key(k): tree(v) for k, v in node.value}
    return text(node)


def shown(node: Node) -> str:
    return str(node.value) if isinstance(node, ScalarNode) else text(node)


def pairs(node: Node | None) -> list[tuple[Any, Any]]:
    return list(node.value) if isinstance(node, MappingNode) else []


def values(node: Node | None) -> list[Node]:
    return [value for _, value in pairs(node)]
