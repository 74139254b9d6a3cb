"""A catalogue that has been read and checked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from advisor.catalogue.schema_parts import Kernel, Part
from advisor.catalogue.schema_supply import AddOn, Cell, Converter
from advisor.source import Document

KERNELS = "kernels"  # id of the file of kernels


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Everything that may be chosen from. Each mapping goes from id to record, in order of id.

    `estimated` maps a part to the paths of figures that nobody measured and a study has filled in.
    """

    parts: Mapping[str, Part] = field(default_factory=dict)
    cells: Mapping[str, Cell] = field(default_factory=dict)
    converters: Mapping[str, Converter] = field(default_factory=dict)
    addons: Mapping[str, AddOn] = field(default_factory=dict)
    kernels: Mapping[str, Kernel] = field(default_factory=dict)
    documents: Mapping[str, Document] = field(default_factory=dict, repr=False, compare=False)
    estimated: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def kinds(self) -> Mapping[str, Mapping[str, Part | Cell | Converter | AddOn]]:
        """Records by id, for each kind of file."""
        return {
            "part": self.parts,
            "cell": self.cells,
            "converter": self.converters,
            "add-on": self.addons,
        }

    def record(self, identity: str) -> Part | Cell | Converter | AddOn | None:
        """The record that bears an id, of whatever kind."""
        found = (records.get(identity) for records in self.kinds.values())
        return next((record for record in found if record is not None), None)

    def unread(self) -> frozenset[str]:
        """Ids of files that stand there but could not be read: their faults are told already."""
        kinds = self.kinds.values()
        if len(self.documents) <= sum(map(len, kinds)):
            return frozenset()
        read = {KERNELS, *(identity for kind in kinds for identity in kind)}
        return frozenset(self.documents) - read

    def only(self, parts: Sequence[str]) -> Catalogue:
        """The same catalogue with just the named parts.

        Raises
        ------
        KeyError
            For a part that is not there.
        """
        return replace(self, parts={name: self.parts[name] for name in sorted(parts)})


def stated(record: object, keys: tuple[str, ...]) -> object:
    """What a record states behind keys, such as `toolchain`, `setup`; None where nothing."""
    found = record
    for name in keys:
        if isinstance(found, Mapping):
            found = found.get(name)
        else:
            found = getattr(found, name.replace("-", "_"))
        if found is None:
            return None
    return found
