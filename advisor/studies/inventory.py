"""`catalog list`, `catalog show` and `product list`: what there is, figure by figure."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from yaml.nodes import MappingNode, ScalarNode

from advisor import figures
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import Part
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError, nearest
from advisor.model.maturity import Maturity, maturity
from advisor.source import read_file
from advisor.studies.results import frame, plain

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class PartRow:
    """A part in a line; sleep is the lowest sleep current at the coldest end of its curve, A."""

    part: str
    maker: str | None
    invented: bool
    lifecycle: str | None
    flash_b: float | None
    ram_b: float | None
    kernels: int
    sleep_a: float | None
    price: float | None
    currency: str | None
    toolchain: float | None
    setup_h: float | None
    summary: str | None


@dataclass(frozen=True, slots=True)
class OtherRow:
    """A cell, converter, add-on or kernel in a line."""

    kind: str
    id: str
    invented: bool
    summary: str | None


@dataclass(frozen=True, slots=True)
class Inventory:
    """What a catalogue holds."""

    invented: bool
    parts: tuple[PartRow, ...]
    others: tuple[OtherRow, ...]

    def rows(self) -> list[dict[str, Any]]:
        """The parts as rows."""
        return [plain(row) for row in self.parts]

    def to_frame(self) -> pd.DataFrame:
        """The parts as a data frame, SI units."""
        return frame(self.rows())


def inventory(catalogue: Catalogue) -> Inventory:
    """List a catalogue."""
    others: list[OtherRow] = []
    kinds: Mapping[str, Mapping[str, Any]] = {
        "cell": catalogue.cells,
        "converter": catalogue.converters,
        "add-on": catalogue.addons,
    }
    for kind, records in kinds.items():
        others += [OtherRow(kind, k, r.invented, r.summary) for k, r in records.items()]
    others += [OtherRow("kernel", k, False, r.work) for k, r in catalogue.kernels.items()]
    parts = tuple(_part_row(part) for part in catalogue.parts.values())
    invented = any(r.invented for r in parts) or any(r.invented for r in others)
    return Inventory(invented, parts, tuple(others))


def _part_row(part: Part) -> PartRow:
    sleep = [s.current.y[0].nominal for s in part.sleep_states.values() if s.current is not None]
    tools = maturity(part.toolchain)
    breaks = {} if part.price is None else part.price.breaks or {}
    setup = part.toolchain.setup
    return PartRow(
        part=part.part,
        maker=part.maker,
        invented=part.invented,
        lifecycle=part.lifecycle,
        flash_b=None if part.memory.flash is None else part.memory.flash.nominal,
        ram_b=None if part.memory.ram is None else part.memory.ram.nominal,
        kernels=len(part.kernels),
        sleep_a=min(sleep, default=None),
        price=breaks[min(breaks)].nominal if breaks else None,
        currency=None if part.price is None else part.price.currency,
        toolchain=None if tools is None else tools.score,
        setup_h=None if setup is None else setup.nominal / 3600,
        summary=part.summary,
    )


@dataclass(frozen=True, slots=True)
class FigureRow:
    """A figure as it is written, with its path."""

    path: figures.Path
    text: str
    evidence: str | None


@dataclass(frozen=True, slots=True)
class Entry:
    """Everything in one file of the catalogue."""

    id: str
    kind: str
    invented: bool
    summary: str | None
    figures: tuple[FigureRow, ...]
    toolchain: Maturity | None
    cautions: tuple[str, ...]

    def to_frame(self) -> pd.DataFrame:
        """Every figure as a data frame, a row a figure."""
        return frame([plain(row) for row in self.figures])


def entry_of(catalogue: Catalogue, identity: str) -> Entry:
    """One part, cell, converter or add-on, figure by figure.

    Raises
    ------
    FaultError
        For an id that the catalogue does not have.
    """
    kinds: Mapping[str, Mapping[str, Any]] = catalogue.kinds
    kind = next((kind for kind, records in kinds.items() if identity in records), None)
    if kind is None:
        known = tuple(name for records in kinds.values() for name in records)
        raise FaultError(
            (
                Fault(
                    "ID",
                    f'"{identity}"',
                    "an id of the catalogue",
                    nearest=nearest(identity, known),
                    unknown=True,
                ),
            )
        )
    record = kinds[kind][identity]
    return Entry(
        id=identity,
        kind=kind,
        invented=record.invented,
        summary=record.summary,
        figures=figures_of(catalogue, identity),
        toolchain=maturity(record.toolchain) if isinstance(record, Part) else None,
        cautions=() if isinstance(record, Part) else record.cautions,
    )


def figures_of(catalogue: Catalogue, identity: str) -> tuple[FigureRow, ...]:
    """Every figure of a document of the catalogue's, the product's and the kernels' among them."""
    root = catalogue.documents[identity].root
    return tuple(
        FigureRow(path, node.value, _evidence(root, path))
        for path, node in figures.scalars(identity, root)
    )


def _evidence(root: Any, path: figures.Path) -> str | None:
    """The evidence named nearest above a figure, its own before that of all beside it."""
    here = path.parent
    while here.keys:
        node = here.node(root)
        if isinstance(node, MappingNode):
            named = {k.value: v for k, v in node.value}
            below = path.keys[len(here.keys) :]
            own = named.get("evidence-of")
            of = {} if not isinstance(own, MappingNode) else {k.value: v for k, v in own.value}
            for name in (".".join(below), below[-1], below[0]):
                if isinstance(of.get(name), ScalarNode):
                    return str(of[name].value)
            if isinstance(named.get("evidence"), ScalarNode):
                return str(named["evidence"].value)
        here = here.parent
    return None


def shipped_products(files: Mapping[str, Path]) -> list[dict[str, Any]]:
    """The shipped products: id, summary, whether they are demonstration data, file.

    Raises
    ------
    FaultError
        When a file cannot be read.
    """
    rows = []
    for name, path in files.items():
        root = read_file(path).root
        summary, invented = (figures.resolve(root, key) for key in ("summary", "invented"))
        text = summary.value if isinstance(summary, ScalarNode) else None
        demo = isinstance(invented, ScalarNode) and invented.value == "true"
        rows.append({"product": name, "summary": text, "invented": demo, "file": str(path)})
    return rows
