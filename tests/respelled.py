"""The shipped catalogue with the keys of its curves and tables written otherwise."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

from yaml.nodes import MappingNode, Node, ScalarNode

from advisor.catalogue.shipped import catalogue_folder
from advisor.source import read_file

OTHERWISE = {"temperature": "K", "voltage-curve": "%", "resistance": "%", "current": "K"}


def respelled(root: Path) -> Path:
    """A copy of the shipped catalogue: temperatures in kelvin, depths in percent, and the same."""
    folder = root / "catalog"
    shutil.copytree(catalogue_folder(), folder)
    for path in [*folder.glob("cells/*.yaml"), *folder.glob("parts/*.yaml")]:
        lines = path.read_text(encoding="utf-8").split("\n")
        for key, text in sorted(_keys(read_file(path).root, ""), key=_place, reverse=True):
            line, begin, end = key.start_mark.line, key.start_mark.column, key.end_mark.column
            lines[line] = lines[line][:begin] + text + lines[line][end:]
        path.write_text("\n".join(lines), encoding="utf-8")
    return folder


def _place(found: tuple[ScalarNode, str]) -> tuple[int, int]:
    return found[0].start_mark.line, found[0].start_mark.column


def _keys(node: Node, below: str) -> Iterator[tuple[ScalarNode, str]]:
    if not isinstance(node, MappingNode):
        return
    for key, child in node.value:
        text = _otherwise(key.value, OTHERWISE.get(below, ""))
        if text is not None:
            yield key, text
        yield from _keys(child, key.value)


def _otherwise(key: str, unit: str) -> str | None:
    number = key.removesuffix(" degC")
    if unit == "K" and key != number:
        return f"{float(number) + 273.15:.2f} K"
    if unit == "%" and key.replace(".", "").isdigit():
        return f"{100 * float(key):.6g} %"
    return None
