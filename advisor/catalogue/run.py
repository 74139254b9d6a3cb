"""One reading of files: where the faults of all documents and changes of a run meet."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from yaml.nodes import MappingNode, Node, ScalarNode

from advisor import figures
from advisor.catalogue.fields import read_record
from advisor.catalogue.kinds import ID, Read, Reading
from advisor.faults import Fault, FaultError, FaultLog, nearest
from advisor.source import Document, place_of, read_file


class Run:
    """One reading of everything: where the faults of all documents meet.

    `products` are the documents of those that were read, with their changes, by id.
    """

    def __init__(self, assignments: Sequence[str]) -> None:
        self.log = FaultLog()
        self.changes: dict[str, list[figures.Assignment]] = {}
        self.done: set[str] = set()
        self.products: dict[str, Document] = {}
        for text in assignments:
            try:
                change = figures.split_assignment(text)
            except FaultError as error:
                self.note(error)
                continue
            self.changes.setdefault(change.document, []).append(change)

    def note(self, error: FaultError) -> None:
        """Keep the faults of an error."""
        for fault in error.faults:
            self.log.add(fault)

    def document(self, path: Path, shown: str) -> Document | None:
        """A file's document, or None after noting why it cannot be read."""
        try:
            return read_file(path, shown)
        except FaultError as error:
            self.note(error)
            return None

    def changed(self, identity: str, document: Document) -> Document:
        """The document with the run's changes to it laid over."""
        root = document.root
        self.done.add(identity)
        for change in self.changes.get(identity, ()):
            try:
                root = figures.changed(root, change)
            except FaultError as error:
                self.note(error)
        return document if root is document.root else Document(document.file, root)

    def leftover(self, known: Sequence[str]) -> None:
        """A change to a document that is not there is a fault, not a thing to ignore."""
        for identity, changes in self.changes.items():
            if identity not in self.done:
                for change in changes:
                    self.log.add(
                        Fault(
                            path=change.text,
                            read=f'"{identity}"',
                            expected="the id of a part, cell, converter, add-on or product "
                            "of this run",
                            place=place_of(change.value_node, "--set"),
                            nearest=nearest(identity, known),
                            unknown=True,
                        )
                    )

    def record(
        self,
        kind: str,
        cls: type[Any],
        identity: str,
        document: Document,
        read: Read | None = None,
    ) -> Any:
        """A document read as a record that bears the file's id; None after noting its faults.
        `read` as for `Reading`."""
        reading = Reading(document.file, identity, self.log, read)
        value = read_record(cls, document.root, "", reading)
        if value is not None and getattr(value, kind) != identity:
            node, own = value_of(document.root, kind) or document.root, getattr(value, kind)
            told, expected = f'"{own}"', f'the file\'s name, "{identity}"'
            if not ID.fullmatch(identity):
                # a name that no id can equal is what has to change
                ending = os.path.splitext(document.file)[1]
                told += f', and a file\'s name that is no id, "{identity}"'
                expected = f"the file named after it: rename it to {own}{ending}"
            reading.fault(node, kind, told, expected)
            return None
        return value


def value_of(root: Node, name: str) -> Node | None:
    """What stands behind a key of a document's top level."""
    if isinstance(root, MappingNode):
        for k, v in root.value:
            if isinstance(k, ScalarNode) and k.value == name:
                return v  # type: ignore[no-any-return]
    return None
