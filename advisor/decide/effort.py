"""What a measurement takes: an engineer's hours, by kind of figure.

Figures that one measurement tells together are counted once: time and current of a kernel come from
one run, time and charge of a wake from one capture, the prices of a part from one quotation, a
cell's curve, resistance and capacity from one discharge at a temperature.
"""

from __future__ import annotations

from collections.abc import Iterable

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import Part
from advisor.catalogue.schema_product import USUAL_HOURS, Hours
from advisor.catalogue.schema_supply import AddOn, Cell, Converter
from advisor.dataclass import dataclass
from advisor.figures import Path
from advisor.model.draws import Instrument, Source

# asked once and then known: more of them tell nothing new
ENQUIRIES = frozenset(("quotation", "toolchain-trial", "maturity", "other"))
# of a product, on the bench
BENCH = "on the bench"
MEASURED = frozenset(("workload", "standing-loads"))
# of a cell, from one discharge with pulses
DISCHARGE = frozenset(("capacity", "voltage-curve", "resistance", "two-well", "nominal-voltage"))


@dataclass(frozen=True, slots=True)
class Measurement:
    """One measurement: its kind, a key of `measuring.hours`, and what tells it from others."""

    kind: str
    of: tuple[str, ...]

    @property
    def repeats(self) -> bool:
        """Whether another one of the same kind would tell more."""
        if self.kind == "product":
            return self.of[1] in MEASURED or self.of[-1] == BENCH
        return self.kind not in ENQUIRIES


@dataclass(frozen=True, slots=True)
class Effort:
    """An engineer's hours, and the kinds among them whose hours the product does not state."""

    hours: float
    usual: frozenset[str]


def measurement(source: Source, catalogue: Catalogue) -> Measurement:
    """The measurement that tells a figure."""
    if isinstance(source, Instrument):
        return Measurement("calibration", (source.name,))
    kind, of = _told(source, catalogue.record(source.document))
    return Measurement(kind, (source.document, *of))


def effort(measurements: Iterable[Measurement], hours: Hours, whole: bool = False) -> Effort:
    """What measurements take, those that are the same counted once.

    `whole` where they are all of a part: then at most the hours stated for a whole part.
    """
    distinct = sorted(set(measurements), key=lambda m: (m.kind, m.of))
    total, usual = 0.0, set()
    for one in distinct:
        stated = getattr(hours, one.kind.replace("-", "_"))
        if stated is None:
            usual.add(one.kind)
        total += USUAL_HOURS[one.kind] if stated is None else stated.nominal / 3600
    if whole and hours.whole_part is not None and hours.whole_part.nominal / 3600 <= total:
        return Effort(hours.whole_part.nominal / 3600, frozenset())
    return Effort(total, frozenset(usual))


def _told(path: Path, record: object) -> tuple[str, tuple[str, ...]]:
    """(kind, keys that tell it from others) of the measurement of a document's figure."""
    match path.keys:
        case ["evidence", name, "gain"]:
            return "calibration", (name,)
        case ["price" | "extras", *_] if record is not None:
            return "quotation", ()
    if isinstance(record, Part):
        return _of_part(path.keys)
    if isinstance(record, Cell):
        return "cell", _of_cell(path.keys)
    if isinstance(record, Converter):
        return "converter", path.keys[:1]
    if isinstance(record, AddOn):
        return _of_addon(path.keys)
    return "product", _of_product(path.keys)


def _of_part(keys: tuple[str, ...]) -> tuple[str, tuple[str, ...]]:
    match keys:
        case ["kernels", kernel, point, *_]:
            return "kernel", (kernel, point)
        case ["run-current" | "operating-points" as where, *rest] if "run-current" in keys:
            # a kernel that runs on the bench tells it at the point
            return "kernel", (where, *(name for name in rest[:1] if where != "run-current"))
        case ["operating-points", point, "idle-current" | "clock"]:
            return "idle-current", (point,)
        case ["sleep-states", state, "current" | "adds" as what, *place]:
            return "sleep-current", (state, what, *place)
        case ["sleep-states", state, "wake-time" | "wake-charge"]:
            return "wake", (state,)
        case ["blocks", block, *_]:
            return "block", (block,)
        case ["toolchain", "setup"]:
            return "toolchain-trial", ()
        case ["toolchain", "maturity", question, *_]:
            return "maturity", (question,)
    return "other", keys


def _of_addon(keys: tuple[str, ...]) -> tuple[str, tuple[str, ...]]:
    match keys:
        case ["gives", "blocks", block, *_]:
            return "block", (block,)
        case ["standing" | "sleep" as what]:
            return "sleep-current", (what,)
        case ["setup"]:
            return "toolchain-trial", ()
    return "other", keys


def _of_cell(keys: tuple[str, ...]) -> tuple[str, ...]:
    match keys:
        case ["temperature", place, *_]:
            return (place,)
        case [what, *_] if what in DISCHARGE:
            return ("discharge",)
    return keys


def _of_product(keys: tuple[str, ...]) -> tuple[str, ...]:
    match keys:
        case ["workload", task, "loads", load, *_]:
            return ("workload", task, "loads", load)
        case ["supply-options", "reservoir", what] if what != "price":
            return ("supply-options", "reservoir", BENCH)
    return keys


def action(source: Source) -> str:
    """What to do about a figure, in words, such as `ask for a quotation for ID`."""
    if isinstance(source, Instrument):
        return f"calibrate {source.name}, whose gain many figures share"
    identity = source.document
    match source.keys:
        case ["kernels", kernel, point, "cycles"]:
            return f"measure the time of {kernel} at {point} of {identity}, told by cycles so far"
        case ["kernels", kernel, point, what]:
            how = " with a better meter" if what == "current" else ""
            return f"measure the {what} of {kernel} at {point} of {identity}{how}"
        case ["run-current", *_]:
            return f"measure the current of kernels of {identity}, told by its run-current so far"
        case ["operating-points", point, "run-current", *_]:
            return f"measure the current of kernels at {point} of {identity}, told by run-current"
        case ["operating-points", point, what]:
            return f"measure the {what.replace('-', ' ')} at {point} of {identity}"
        case ["sleep-states", state, "current", *place]:
            where = f" at {place[0]}" if place else ""
            return f"measure the sleep current in {state}{where} of {identity} with a better meter"
        case ["sleep-states", state, what, *_]:
            return f"measure the {what.replace('-', ' ')} of {state} of {identity}"
        case ["gives", "blocks", block, what] | ["blocks", block, what]:
            word = "length" if what == "for" else what
            return f"measure the {word} of {block} of {identity}"
        case ["price" | "extras", *_]:
            return f"ask for a quotation for {identity}"
        case ["standing" | "sleep" as what]:
            return f"measure the {what} current of {identity} with a better meter"
        case ["setup"]:
            return f"try {identity} on the bench"
        case ["toolchain", "setup"]:
            return f"try the toolchain of {identity}"
        case ["toolchain", "maturity", question]:
            return f'answer the question "{question}" on the toolchain of {identity}'
        case ["evidence", name, "gain"]:
            return f"calibrate what {name} of {identity} was taken with"
        case _:
            return f"find out {source.dotted} of {identity}"
