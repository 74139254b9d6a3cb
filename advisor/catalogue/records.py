"""A catalogue that has been read and checked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace

from advisor.catalogue.schema_parts import Kernel, KernelFigure, Part
from advisor.catalogue.schema_supply import AddOn, Cell, Converter
from advisor.dataclass import dataclass
from advisor.source import Document

KERNELS = "kernels"  # id of the file of kernels


ESTIMATED = "estimated, missing"  # evidence of what a study has filled in; no file's id


@dataclass(frozen=True, slots=True)
class Estimate:
    """A kernel of a part that rests on no measurement: paths of its entries, and on what instead.

    `why` is in words; those of several parts with the same one are told together.
    """

    part: str
    kernel: str
    paths: tuple[str, ...]
    why: str


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Everything that may be chosen from. Each mapping goes from id to record, in order of id.

    `estimates` are the kernels that a study has filled in, and `stand_ins` those that the parts'
    own cycles and run currents stand in for.
    """

    parts: Mapping[str, Part] = field(default_factory=dict)
    cells: Mapping[str, Cell] = field(default_factory=dict)
    converters: Mapping[str, Converter] = field(default_factory=dict)
    addons: Mapping[str, AddOn] = field(default_factory=dict)
    kernels: Mapping[str, Kernel] = field(default_factory=dict)
    documents: Mapping[str, Document] = field(default_factory=dict, repr=False, compare=False)
    estimates: tuple[Estimate, ...] = ()
    stand_ins: tuple[Estimate, ...] = ()

    @property
    def estimated(self) -> Mapping[str, tuple[str, ...]]:
        """Part to the paths of what of it was estimated."""
        found: dict[str, tuple[str, ...]] = {}
        for one in (*self.estimates, *self.stand_ins):
            found[one.part] = (*found.get(one.part, ()), *one.paths)
        return found

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


def beside(stands: KernelFigure | None, made: KernelFigure) -> KernelFigure:
    """What was made of a kernel's entry, beside what was measured of it."""
    if stands is None:
        return made
    time, current = stands.time or made.time, stands.current or made.current
    of = dict(stands.evidence_of)
    for name in ("time", "current"):
        if getattr(stands, name) is not None and name not in of and stands.evidence is not None:
            of[name] = stands.evidence
    return replace(
        made,
        time=time,
        current=current,
        supply=stands.supply or made.supply,
        version=stands.version,
        evidence_of=of,
    )


def refilled(part: Part, filled: Part) -> Part:
    """A part that was read anew, with what a study had filled in and still is not there."""
    entries = [
        (kernel, variant, figure)
        for kernel, variants in filled.kernels.items()
        for variant, figure in variants.items()
        if figure.evidence == ESTIMATED
    ]
    if not entries:
        return part
    kernels = {kernel: dict(variants) for kernel, variants in part.kernels.items()}
    for kernel, variant, figure in entries:
        stands = kernels.setdefault(kernel, {}).get(variant)
        kernels[kernel][variant] = beside(stands, figure)
    evidence = {**part.evidence, ESTIMATED: filled.evidence[ESTIMATED]}
    return replace(part, kernels=kernels, evidence=evidence)


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
