"""What is asked of a part: enough to rank it, the most telling figures first."""

from __future__ import annotations

from collections import ChainMap
from dataclasses import replace

from advisor.catalogue.fields import read_record
from advisor.catalogue.kinds import Reading
from advisor.catalogue.records import Catalogue
from advisor.catalogue.rules import PART_FAULTS, apply
from advisor.catalogue.schema_parts import QUESTIONS, Part
from advisor.catalogue.sense import catalogue_warnings
from advisor.faults import Fault, FaultLog
from advisor.intake.forms import (
    ByName,
    Chosen,
    Filled,
    Graded,
    Names,
    Notes,
    One,
    Priced,
    Run,
    Several,
    Spread,
    Words,
    below,
)
from advisor.intake.interview import Default, Step, Table, View
from advisor.quantities import QuantityError, read_quantity
from advisor.source import Document

STATED = "stated"  # the evidence that the figures of an interview name
MEASURED_AT = ("measured-at",)
_COMMON = "common practice, no source"


def _points(view: View) -> tuple[tuple[str, ...], ...]:
    return tuple((name,) for name in view.names("operating-points"))


def _states(view: View) -> tuple[tuple[str, ...], ...]:
    return tuple((name,) for name in view.names("sleep-states"))


def _runs(view: View) -> tuple[tuple[str, ...], ...]:
    points = view.names("operating-points")
    return tuple((kernel, point) for kernel in view.names("kernels") for point in points)


def _measured_at(view: View) -> Default | None:
    """3 V where the part takes it."""
    least, most = view.text("supply", "min"), view.text("supply", "max")
    try:
        low = 0.0 if least is None else read_quantity(least, "voltage").nominal
        high = 99.0 if most is None else read_quantity(most, "voltage").nominal
    except QuantityError:
        return None
    if low <= 3.0 <= high:
        return Default("3.0 V", f"most sheets state currents at 3 V ({_COMMON})")
    return None


def _by_clock(view: View) -> bool:
    """Whether a run current may stand for currents of kernels that nobody has measured."""
    return not any(keys[0] == "kernels" and keys[-1] == "current" for keys in view.filled)


STEPS = (
    Step(
        key="part",
        words="The part's id",
        example="first-part",
        form=One(),
        more="Lower-case letters, digits and hyphens; the file is named after it.",
        needed=True,
    ),
    Step(
        key="supply",
        words="Supply voltage, least and greatest (V)",
        example="1.8 V to 3.6 V",
        form=Several(("min", "max")),
        more="Of the chip's supply pin, by its sheet. The least bounds how far cells may sag.",
    ),
    Step(
        key="operating-points",
        words="Core clock, or clocks by name (MHz)",
        example="24 MHz, or fast 96 MHz, slow 24 MHz",
        form=ByName("clock", unnamed="run"),
        more="Each clock setting that the product may run at is an operating point with a name; "
        "one alone is called run.",
        needed=True,
    ),
    Step(
        key="operating-points.{0}.idle-current",
        words="Idle current at {0}: clocks on, waiting (mA)",
        example="0.9 mA, or typ 0.9 mA max 1.2 mA",
        form=One(),
        more="The chip alone, its core stopped by a wait instruction. A wake costs it, and loads "
        "that the core waits for.",
        each=_points,
    ),
    Step(
        key="sleep-states",
        words="Sleep current at 25 degC, or by sleep state (uA)",
        example="1.1 uA, or clock-kept 0.4 uA, ram-kept typ 1.1 uA max 3 uA",
        form=ByName("current", unnamed="ram-kept"),
        more="Of each sleep state that may be used; over temperature it is "
        "{25 degC: 1.1 uA, 60 degC: 4 uA}. One alone is called ram-kept.",
    ),
    Step(
        key="sleep-states.{0}.wake-time",
        words="Time from the wake event to running code, out of {0} (us)",
        example="20 us",
        form=One(),
        more="With its clock up. The charge of a wake is this at the idle current, unless "
        "wake-charge says otherwise.",
        each=_states,
    ),
    Step(
        key="kernels",
        words="Kernels that were measured, by name; none if none was",
        example="filter, crc",
        form=Chosen(),
        known=lambda view: tuple(view.catalogue.kernels),
        more="`part-advisor kernels list` tells what each does. A kernel is time and current for "
        "one unit of work; a product counts the units.",
    ),
    Step(
        key="kernels.{0}.{1}",
        words="One unit of {0} at {1}: time and current (ms, mA)",
        example="1.61 ms, 2.9 mA",
        form=Run(),
        more="The mean current of the chip alone meanwhile; 1.61(1) ms has its uncertainty. "
        "Without a time, its clock cycles by `kernels verify`: 21000 cycles.",
        each=_runs,
    ),
    Step(
        key="operating-points.{0}.run-current",
        words="Run current at {0}, by clock (uA/MHz)",
        example="105 uA/MHz",
        form=One(),
        more="Of the sheet, with code at work; an estimate rests on it until kernels are measured.",
        each=_points,
        when=_by_clock,
    ),
    Step(
        key="memory",
        words="Program memory and data memory (KiB)",
        example="60 KiB, 10 KiB",
        form=Several(("flash", "ram")),
        more="KiB is 1024 B. A need of a product is held against it.",
    ),
    Step(
        key="price",
        words="Price each, with its currency; or by quantity",
        example="1.10 EUR, or EUR 1: 1.90, 1000: 1.10",
        form=Priced(),
        more="From each quantity up. One price alone is taken to hold from one piece up.",
    ),
    Step(
        key="toolchain.setup",
        words="Hours from the box to a first working program (h)",
        example="5 h, or 3 h, 5 h, 16 h",
        form=Spread(),
        more="As you expect it, or as `hours add` has logged it; of three the least, the likeliest "
        "and the greatest.",
    ),
    Step(
        key="toolchain.maturity",
        words="Toolchain: none, partial or full, for all or by question",
        example="partial, compiler full, manual none",
        form=Graded(tuple(QUESTIONS)),
        more="One word answers all ten questions, later ones single questions: "
        + "; ".join(f"{name}: {words}" for name, words in QUESTIONS.items())
        + ".",
    ),
    Step(
        key="sleep-states.{0}.retains",
        words="What {0} keeps alive",
        example="ram, rtc",
        form=Names(),
        more="A product says what sleep must keep; ram, rtc and names of peripherals are usual.",
        default=Default("ram", f"a state that loses RAM starts anew at each wake ({_COMMON})"),
        each=_states,
    ),
    Step(
        key="temperature",
        words="Rated ambient temperature, coldest and hottest (degC)",
        example="-40 degC to 85 degC",
        form=Several(("min", "max")),
        more="Of the part as ordered. A product's places are held against it.",
        default=Default("-40 degC to 85 degC", f"the usual industrial band ({_COMMON})"),
    ),
    Step(
        key="features",
        words="Counts of what it offers, by name",
        example="uart 2, i2c 1, adc-bits 12",
        form=ByName(),
        more="Any names; a product asks for least counts of them by the same names.",
    ),
    Step(
        key="measured-at",
        words="Supply at which the currents were taken (V)",
        example="3.0 V",
        form=One(),
        more="It goes with every current that was told here.",
        default=_measured_at,
        at=MEASURED_AT,
    ),
    Step(
        key="evidence",
        words="Where the figures come from: datasheet, bench or estimate",
        example="datasheet",
        form=One(),
        more="All of those told here; single ones may name their own in the file.",
        default=Default("datasheet", f"what is typed in is mostly read off one ({_COMMON})"),
        at=("evidence", STATED, "kind"),
    ),
    Step(
        key="lifecycle",
        words="State of supply: announced, active, last-orders or ended",
        example="active",
        form=One(),
        default=Default("active", f"most parts that are considered are ({_COMMON})"),
    ),
    Step(
        key="core.architecture",
        words="Instruction set of the core",
        example="rv32imc",
        form=Words(),
        more="By its usual name, written alike for all parts of one.",
    ),
    Step(
        key="summary",
        words="The part in a line",
        example="small 32-bit part with two serial ports",
        form=Words(),
    ),
)

BLANKS = {
    ("memory",): "{flash: 60 KiB, ram: 10 KiB}",
    ("supply",): "{min: 1.8 V, max: 3.6 V}",
    ("temperature",): "{min: -40 degC, max: 85 degC}",
    ("features",): "{uart: 2, adc-bits: 12}",
    ("core",): "{architecture: rv32imc}",
    ("summary",): "the part in a line",
    ("operating-points", "*", "idle-current"): "0.9 mA",
    ("kernels",): "{filter: {run: {time: 1.61 ms, current: 2.9 mA, supply: 3.0 V}}}",
    ("sleep-states",): "{ram-kept: {current: 1.1 uA, wake-time: 20 us, retains: [ram]}}",
    ("sleep-states", "*", "wake-time"): "20 us",
    ("price",): "{currency: EUR, breaks: {1: 1.90, 1000: 1.10}}",
    ("toolchain",): "{setup: 5 h}",
    ("toolchain", "maturity"): "{compiler: full, debug: partial}",
    ("toolchain", "setup"): "{low: 3 h, likely: 5 h, high: 16 h}",
    ("maker",): "its name",
    ("core", "cores"): "1",
    ("core", "float-unit"): "none",
    ("supply", "regulator"): "linear",
    ("supply", "brown-out"): "1.7 V",
    ("operating-points", "*", "supply-min"): "1.8 V",
    ("sleep-states", "*", "wake-charge"): "30 nC",
    ("sleep-states", "*", "adds"): "{ram-kib: 9 nA}",
    ("blocks",): "{adc: {current: 0.2 mA, for: 20 us}}",
    ("price", "multiple"): "1",
    ("price", "lead-time"): "12 weeks",
    ("extras",): "[{item: crystal, price: 0.20}]",
    ("toolchain", "id"): "its-kit",
    ("peak-current",): "12 mA",
    ("board-area",): "60 mm2",
}


def derive(filled: Filled, notes: Notes, catalogue: Catalogue) -> tuple[Filled, Notes]:
    """The supply and the evidence of all that was told, where those were; a kernel's version."""
    out = {keys: text for keys, text in filled.items() if keys != MEASURED_AT}
    at, told = filled.get(MEASURED_AT), filled.get(("evidence", STATED, "kind"))
    records = [("operating-points", name) for name in below(filled, ("operating-points",))]
    records += [("sleep-states", name) for name in below(filled, ("sleep-states",))]
    runs = {keys[:3] for keys in filled if keys[0] == "kernels" and len(keys) > 3}
    moved = dict(notes)
    for keys in (*records, *sorted(runs)):
        if at is not None:
            out[(*keys, "supply")] = at
            if MEASURED_AT in moved:
                moved[(*keys, "supply")] = moved.pop(MEASURED_AT)
        if told is not None:
            out[(*keys, "evidence")] = STATED
        known = catalogue.kernels.get(keys[1]) if keys[0] == "kernels" else None
        if known is not None and known.version != 1:
            out[(*keys, "version")] = str(known.version)
    return out, moved


def _read(document: Document, identity: str, catalogue: Catalogue, log: FaultLog) -> Part | None:
    """The part of a document, with every fault noted that stops a run."""
    reading = Reading(document.file, identity, log)
    part: Part | None = read_record(Part, document.root, "", reading)
    if part is not None:
        apply(PART_FAULTS, part, identity, {identity: document}, catalogue, log)
    return part


def _odd(part: Part, document: Document, catalogue: Catalogue) -> tuple[Fault, ...]:
    """Warnings of the part beside those of its catalogue."""
    own = part.part
    documents = ChainMap({own: document}, catalogue.documents)  # type: ignore[arg-type]
    beside = replace(catalogue, parts={**catalogue.parts, own: part}, documents=documents)
    return tuple(one for one in catalogue_warnings(beside) if one.path.startswith(f"{own}:"))


TABLE = Table(
    kind="part",
    cls=Part,
    steps=STEPS,
    blanks=BLANKS,
    derive=derive,
    read=_read,
    odd=_odd,
    head="A part, from answers to questions. Lines behind a # may be filled in; their values are "
    "examples. Absent is never zero: what needs a figure says that it is missing.",
)
