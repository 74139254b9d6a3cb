"""Which figures stand in what is measured, and the evidence of each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from advisor.catalogue.schema_parts import Block, KernelFigure, OperatingPoint, Part, SleepState
from advisor.catalogue.schema_supply import AddOn
from advisor.figures import Path

Measured = OperatingPoint | KernelFigure | Block | SleepState
# keys that are measured or read off a datasheet; a supply or a clock is how, not what
_FIGURES = {
    OperatingPoint: ("idle-current",),
    KernelFigure: ("time", "current"),
    Block: ("current", "for"),
    SleepState: ("wake-time", "wake-charge"),
}


def measured(record: Part | AddOn) -> Iterator[tuple[Path, Measured]]:
    """(path, record) of everything in a part or an add-on that names its evidence."""
    if isinstance(record, AddOn):
        for name, block in record.gives.blocks.items():
            yield Path(record.addon).child("gives", "blocks", name), block
        return
    own = Path(record.part)
    for name, point in record.operating_points.items():
        yield own.child("operating-points", name), point
    for kernel, variants in record.kernels.items():
        for variant, figure in variants.items():
            yield own.child("kernels", kernel, variant), figure
    for name, block in record.blocks.items():
        yield own.child("blocks", name), block
    for name, state in record.sleep_states.items():
        yield own.child("sleep-states", name), state


def evidence_of(record: Measured, figure: str) -> str | None:
    """The evidence of a figure: its own, or the record's for one that names none.

    Parameters
    ----------
    figure : its key in the record (`time`); an entry of a sleep current by its temperature as
        written (`25 degC`), an addition by `adds.NAME`.
    """
    own: Mapping[str, str] = getattr(record, "evidence_of", {})  # a point has one figure
    if figure in own:
        return own[figure]
    if isinstance(record, SleepState) and figure not in ("wake-time", "wake-charge"):
        whole = "adds" if figure.startswith("adds.") else "current"
        return own.get(whole, record.evidence)
    return record.evidence


def figures_of(record: Measured) -> tuple[str, ...]:
    """The figures that stand in a record, as `evidence_of` names them."""
    attributes = {"for": "duration"}
    out = [
        name
        for name in _FIGURES[type(record)]
        if getattr(record, attributes.get(name, name.replace("-", "_"))) is not None
    ]
    if isinstance(record, SleepState):
        if record.current is not None:
            out += record.current.keys or ("current",)
        out += [f"adds.{name}" for name in record.adds]
    return tuple(out)
