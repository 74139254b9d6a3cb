"""Answers to an interview, from a file: the key of each question, and what would be typed."""

from __future__ import annotations

from pathlib import Path

from advisor.catalogue.edit import quoted
from advisor.faults import Fault, FaultError, Place
from advisor.source import MappingNode, Node, ScalarNode, SequenceNode, place_of, read_file


def read_answers(path: Path) -> dict[str, tuple[str, Place]]:
    """What a file answers, by the key of each question, with its place.

    Raises
    ------
    FaultError
        For a file that is no mapping, and for a key that stands twice.
    """
    document = read_file(path)
    root = document.root
    if not isinstance(root, MappingNode):
        expected = "answers by the keys of their questions, such as supply: 1.8 V to 3.6 V"
        place = place_of(root, document.file)
        raise FaultError((Fault("--answers", "no mapping", expected, place),))
    out: dict[str, tuple[str, Place]] = {}
    faults = []
    for k, v in root.value:
        place = place_of(k, document.file)
        if not isinstance(k, ScalarNode):
            faults.append(Fault("--answers", "a mapping or a list", "the key of a question", place))
        elif k.value in out:
            faults.append(
                Fault(k.value, f'"{k.value}" twice', "each question answered once", place)
            )
        else:
            out[k.value] = (_typed(v), place)
    if faults:
        raise FaultError(faults)
    return out


def _typed(node: Node) -> str:
    """What would be typed for it; YAML's own lists and mappings on one line."""
    if isinstance(node, ScalarNode):
        return str(node.value)
    return _flow(node)


def _flow(node: Node) -> str:
    if isinstance(node, SequenceNode):
        return "[" + ", ".join(map(_flow, node.value)) + "]"
    if isinstance(node, MappingNode):
        return "{" + ", ".join(f"{_flow(k)}: {_flow(v)}" for k, v in node.value) + "}"
    assert isinstance(node, ScalarNode)
    return quoted(str(node.value)) if node.style else str(node.value)
