"""Which figures stand in what is measured, and the evidence of each."""

from __future__ import annotations

from collections.abc import Mapping

from advisor.catalogue.schema_parts import Block, KernelFigure, OperatingPoint, SleepState

Measured = OperatingPoint | KernelFigure | Block | SleepState
# keys that are measured or read off a datasheet; a supply or a clock is how, not what
_FIGURES = {
    OperatingPoint: ("idle-current",),
    KernelFigure: ("time", "current"),
    Block: ("current", "for"),
    SleepState: ("wake-time", "wake-charge"),
}


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
        out += [f"adds.{name}" for name in record.adds or ()]
    return tuple(out)
