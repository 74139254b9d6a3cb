"""An entry's file as a template: as it stands, with what to change for one of another name."""

from __future__ import annotations

import re
from pathlib import Path

from yaml.nodes import MappingNode, Node, ScalarNode

from advisor.catalogue.records import Catalogue
from advisor.faults import Fault, FaultError, nearest
from advisor.source import read_bytes

FOLDERS = {"part": "parts", "cell": "cells", "converter": "converters", "add-on": "addons"}


def template(catalogue: Catalogue, entry: str) -> str:
    """The YAML of an entry, whole and with its comments, below lines of what to change in it.

    Parameters
    ----------
    entry : id of a part, cell, converter or add-on.

    Raises
    ------
    FaultError
        For an id that the catalogue does not have.
    """
    kind = next((name for name, records in catalogue.kinds.items() if entry in records), None)
    if kind is None:
        known = [name for records in catalogue.kinds.values() for name in records]
        expected = "the id of a part, cell, converter or add-on"
        raise FaultError((Fault("ID", f'"{entry}"', expected, nearest=nearest(entry, known)),))
    document = catalogue.documents[entry]
    text = read_bytes(Path(document.file), document.file).decode("utf-8-sig")
    body = re.sub("\r\n?", "\n", text).rstrip() + "\n"
    head = _head(kind, entry, document.root)
    # the lines told are those of what is printed, the ones that tell them included
    return "".join(f"{line}\n" for line in head) + body


def _head(kind: str, entry: str, root: Node) -> list[str]:
    key = kind.replace("-", "")
    lines = {
        k.value: k.start_mark.line + 1
        for k, _ in (root.value if isinstance(root, MappingNode) else ())
        if isinstance(k, ScalarNode)
    }
    told = [
        f"{FOLDERS[kind]}/{entry}.yaml, whole: `part-advisor catalog check` takes it by that name.",
        f"For another {kind}: its own name in line {{{key}}} ({key}: {entry}), and for its file.",
    ]
    if "invented" in lines:
        told.append("Line {invented} (invented) goes once all figures are real.")
    if "evidence" in lines:
        told.append("From line {evidence} on (evidence): where the figures come from.")
    above = len(told)
    return ["# " + line.format(**{k: n + above for k, n in lines.items()}) for line in told]
