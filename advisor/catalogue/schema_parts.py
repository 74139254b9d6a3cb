"""The measured profile of a part and the kernels it is measured with: every key, declared once."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping

from yaml.nodes import MappingNode, Node

from advisor.catalogue.currency import Currency
from advisor.catalogue.curves import Curve, CurveOf
from advisor.catalogue.definitions import Definitions, Schema
from advisor.catalogue.fields import Either, ListOf, MapOf, Record, key, read_record
from advisor.catalogue.kinds import (
    Choice,
    Day,
    Figure,
    Flag,
    Identity,
    Kind,
    Reading,
    Text,
    Whole,
    scalar,
)
from advisor.dataclass import dataclass
from advisor.faults import nearest
from advisor.quantities import NORMAL_95, Quantity

CURRENT = Figure("current")
TIME = Figure("time")
VOLTAGE = Figure("voltage", above=True)
TEMPERATURE = Figure("temperature", least=-273.15)
COUNT = Figure("count")
FEATURE = Figure("count", exact=True)
LIMIT = Figure("temperature", least=-273.15, exact=True)
MONEY = Figure("money")

# What stands in for a measurement is right to such a factor in nine cases of ten (common practice,
# no source): cycles come from a simulator or another part, whose flash waits otherwise, and a
# datasheet's run current is of some loop of its maker's choice.
CYCLES_WITHIN, RUN_CURRENT_WITHIN = 2.0, 1.5
CYCLES = Figure("count", above=True, unsure=math.log(CYCLES_WITHIN) / NORMAL_95)
PER_CLOCK = Figure(
    "current-per-frequency", above=True, unsure=math.log(RUN_CURRENT_WITHIN) / NORMAL_95
)

LIFECYCLES = ("announced", "active", "last-orders", "ended")
EVIDENCE_KINDS = ("bench", "datasheet", "estimate", "pack")
ANSWERS = ("none", "partial", "full")
QUESTIONS = {
    "compiler": "supported by an upstream compiler",
    "kit": "maintained driver kit",
    "debug": "in-circuit debugging with open tools",
    "flashing": "programming in one step",
    "rtos": "maintained port of a real-time kernel",
    "manual": "complete manual in the team's language",
    "errata": "errata published",
    "examples": "examples build unmodified",
    "help": "questions get answered",
    "supply-promise": "dated promise of supply",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Kernel:
    """A compute kernel of the bench."""

    work: str | None = key(Text(), "what one unit of work is", informational=True)
    stresses: str | None = key(
        Choice(("memory", "integer", "float", "branch", "control")),
        "what it leans on",
        informational=True,
    )
    check: str | None = key(Text(), "how a run's result is checked", informational=True)
    version: int = key(
        Whole(1, 9999),
        "of the work: figures of another version are of other work, and are refused",
        default=1,
        informational=True,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Build:
    """How the kernels were built that a measurement ran."""

    toolchain: str | None = key(Identity("toolchain"), "the toolchain, by its id")
    compiler: str | None = key(Text(), "the compiler and its version")
    flags: str | None = key(Text(), "the flags it was given")
    pack: str | None = key(Text(), "digest of the pack's kernels, as `kernels export` writes it")


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """Where figures come from."""

    kind: str | None = key(Choice(EVIDENCE_KINDS), "what kind of evidence it is")
    date: datetime.date | None = key(Day(), "when it was taken", informational=True)
    instrument: str | None = key(Identity("instrument"), "the meter, by its id")
    gain: Quantity | None = key(
        Figure("share", most=0.5, exact=True),
        "gain error of the instrument, half-width, shared by its figures",
    )
    built: Build = key(
        Record(Build), "how the kernels were built", default=Build(), informational=True
    )
    note: str | None = key(Text(), "a word on it", informational=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Core:
    """The processor core."""

    architecture: str | None = key(
        Text(), "instruction set; --estimate-missing takes cycles from parts of the same"
    )
    cores: int | None = key(Whole(), "number of cores", informational=True)
    float_unit: str | None = key(
        Choice(("none", "single", "double")),
        "floating-point hardware; --estimate-missing takes no cycles from a part with other",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Memory:
    """Program and data memory."""

    flash: Quantity | None = key(Figure("information", exact=True), "program memory")
    ram: Quantity | None = key(Figure("information", exact=True), "data memory")


@dataclass(frozen=True, slots=True, kw_only=True)
class PartSupply:
    """What the chip's supply pin takes."""

    min: Quantity | None = key(VOLTAGE, "least supply voltage")
    max: Quantity | None = key(Figure("voltage", above=True, exact=True), "greatest supply voltage")
    regulator: str | None = key(
        Choice(("linear", "switching")), "regulator on the chip", default="linear"
    )
    brown_out: Quantity | None = key(VOLTAGE, "reset below this voltage")


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A range of voltage."""

    min: Quantity | None = key(Figure("voltage", exact=True), "least")
    max: Quantity | None = key(Figure("voltage", above=True, exact=True), "greatest")


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A range of temperature."""

    min: Quantity | None = key(LIMIT, "coldest")
    max: Quantity | None = key(LIMIT, "hottest")


_EVIDENCE_OF = (
    "figures that come from elsewhere, each with its own evidence: by key, an entry of a sleep "
    "current by its temperature"
)


def _evidence_of() -> MapOf:
    return MapOf(Identity("evidence"), "figure")


@dataclass(frozen=True, slots=True, kw_only=True)
class RunCurrent:
    """What a core draws at work, by its datasheet."""

    per_clock: Quantity | None = key(
        PER_CLOCK,
        "supply current per clock; no surer than a factor of "
        f"{RUN_CURRENT_WITHIN:g} in nine cases of ten (common practice, no source)",
        required=True,
    )
    base: Quantity | None = key(CURRENT, "what it draws beside that, whatever the clock")
    supply: Quantity | None = key(VOLTAGE, "supply voltage at which it was taken")
    evidence: str | None = key(Identity("evidence"), "where the figures come from")


_RUN_CURRENT = (
    "current at work per clock, as a datasheet has it: stands in for kernels' currents that were "
    "not measured there"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class OperatingPoint:
    """A clock and voltage setting of the core."""

    clock: Quantity | None = key(
        Figure("frequency", above=True),
        "core clock; counts where cycles or a run current stand in for what was not measured",
    )
    idle_current: Quantity | None = key(CURRENT, "clocks on, waiting")
    run_current: Quantity | RunCurrent | None = key(
        Either(PER_CLOCK, Record(RunCurrent)), f"{_RUN_CURRENT}; before the part's"
    )
    supply: Quantity | None = key(
        VOLTAGE, "supply at which the idle current and a plain run current were taken"
    )
    supply_min: Quantity | None = key(
        Figure("voltage", above=True, exact=True), "least supply at this point"
    )
    evidence: str | None = key(Identity("evidence"), "where the figures come from")


@dataclass(frozen=True, slots=True, order=True)
class Variant:
    """How a kernel is run: the operating point, and the engines that do the work there."""

    point: str
    engines: tuple[str, ...] = ()

    def __str__(self) -> str:
        """`POINT` or `POINT+ENGINE+…`, the key of a part's kernel."""
        return "+".join((self.point, *self.engines))

    @classmethod
    def parse(cls, text: str) -> Variant:
        """The variant of a part's key; the rules see to it that no name in it is empty."""
        point, *engines = text.split("+")
        return cls(point, tuple(engines))


@dataclass(frozen=True, slots=True, kw_only=True)
class KernelFigure:
    """Time and chip current of one unit of work of a kernel."""

    time: Quantity | None = key(Figure("time", above=True), "time for one unit of work")
    current: Quantity | None = key(
        Figure("current", above=True), "mean supply current of the chip alone meanwhile"
    )
    cycles: Quantity | None = key(
        CYCLES,
        "clock cycles of one unit of work, as `kernels verify` or a part of the same core tells: "
        "stand in for a time that was not measured; no surer than a factor of "
        f"{CYCLES_WITHIN:g} in nine cases of ten (common practice, no source)",
    )
    supply: Quantity | None = key(
        VOLTAGE, "supply voltage at the chip's pin meanwhile: the energy over the charge"
    )
    correlation: Quantity | None = key(
        Figure("score", least=-1.0, most=1.0, exact=True),
        "correlation coefficient of the errors of time and current (JCGM 100:2008, 5.2.2); absent: "
        "none",
    )
    version: int = key(
        Whole(1, 9999),
        "of the kernel's work that was measured; must be that of kernels.yaml",
        default=1,
    )
    evidence: str | None = key(Identity("evidence"), "where the figures come from")
    evidence_of: Mapping[str, str] = key(_evidence_of(), _EVIDENCE_OF, default={})


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """An on-chip block's draw for one use, above the idle core."""

    current: Quantity | None = key(CURRENT, "current above the idle core")
    duration: Quantity | None = key(TIME, "how long one use lasts", name="for")
    supply: Window = key(
        Record(Window), "supply voltage at which the block works", default=Window()
    )
    evidence: str | None = key(Identity("evidence"), "where the figures come from")
    evidence_of: Mapping[str, str] = key(_evidence_of(), _EVIDENCE_OF, default={})


@dataclass(frozen=True, slots=True, kw_only=True)
class SleepState:
    """A sleep state of the chip."""

    current: Curve | None = key(
        CurveOf(TEMPERATURE, Figure("current", above=True)),
        "sleep current over temperature; without one it is that at 25 degC, and grows beyond",
    )
    supply: Curve | None = key(
        CurveOf(TEMPERATURE, VOLTAGE),
        "supply voltage at the chip's pin where the current was measured, over its temperatures; "
        "a measurement at another is not mixed with it",
        informational=True,
    )
    wake_time: Quantity | None = key(TIME, "from the wake event to running code")
    wake_charge: Quantity | None = key(
        Figure("charge"), "charge of one wake; absent: idle current over the wake time"
    )
    retains: tuple[str, ...] | None = key(
        ListOf(Identity("what is kept")), "what stays alive", default=()
    )
    adds: Mapping[str, Quantity] = key(
        MapOf(CURRENT, "addition"),
        "current for keeping more: NAME-kib per KiB needed of that memory, else per use in retain",
        default={},
    )
    evidence: str | None = key(Identity("evidence"), "where the figures come from")
    evidence_of: Mapping[str, str] = key(_evidence_of(), _EVIDENCE_OF, default={})


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """What one session measured of one board; the part's own figures are merged from these."""

    board: str = key(Text("a serial number"), "the board, by its serial number", required=True)
    date: datetime.date | None = key(Day(), "of the session")
    trace: str | None = key(Text(), "SHA-256 of the traces")
    evidence: str | None = key(Identity("evidence"), "the session, as evidence")
    operating_points: Mapping[str, OperatingPoint] = key(
        MapOf(Record(OperatingPoint), "operating point"), "clock settings", default={}
    )
    kernels: Mapping[str, Mapping[str, KernelFigure]] = key(
        MapOf(MapOf(Record(KernelFigure), "operating point, or point+engine"), "kernel"),
        "kernels, per unit of work",
        default={},
    )
    sleep_states: Mapping[str, SleepState] = key(
        MapOf(Record(SleepState), "sleep state"), "sleep states", default={}
    )
    common: Mapping[str, Quantity] = key(
        MapOf(Figure("share", exact=True), "figure's path"),
        "relative standard uncertainty that sessions with one meter share, by figure",
        default={},
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """What one piece costs."""

    currency: str | None = key(Currency(), "currency of the price")
    breaks: Mapping[int, Quantity] | None = key(
        MapOf(MONEY, "quantity", whole_keys=True),
        "price each, from that quantity up; more than needed is bought where that costs less",
    )
    multiple: int | None = key(Whole(), "sold in multiples of", default=1)
    discount: str | None = key(
        Choice(("all-units", "incremental")),
        "what a break's price holds for: all pieces, or those beyond its quantity",
        default="all-units",
    )
    lead_time: Quantity | None = key(
        Figure("time", exact=True), "longest time to delivery that is promised"
    )
    offer: str | None = key(Text(), "the offer that it comes from", informational=True)
    date: datetime.date | None = key(Day(), "of the offer", informational=True)
    stock: int | None = key(Whole(0), "pieces in stock at that date", informational=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Extra:
    """Something the part needs beside it."""

    item: str = key(Text("the item's name"), "what it is", required=True)
    price: Quantity | None = key(MONEY, "price each, in the currency of the part's price")


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """An answer to a question on the toolchain."""

    answer: str | None = key(Choice(ANSWERS), "none, partial or full")
    evidence: str | None = key(Text(), "a word of evidence", informational=True)


def _answer(word: str) -> str | None:
    from advisor.catalogue.usual_words import word_meant

    return word_meant(word, ANSWERS) or nearest(word, ANSWERS)


class AnswerKind:
    """`full`, or `full, a word of evidence`, or a mapping of answer and evidence."""

    def read(self, node: Node, path: str, reading: Reading) -> Answer | None:
        if isinstance(node, MappingNode):
            value: Answer | None = read_record(Answer, node, path, reading)
            return value
        text = scalar(node, path, reading, self.describe())
        if text is None:
            return None
        word, _, reason = (piece.strip() for piece in text.partition(","))
        if word in ANSWERS:
            return Answer(answer=word, evidence=reason or None)
        reading.fault(node, path, f'"{text}"', self.describe(), _answer(word))
        return None

    def below(self, name: str) -> Kind | None:
        return Record(Answer).below(name)

    def describe(self) -> str:
        return "none, partial or full, then perhaps a comma and a word of evidence"

    def schema(self, shared: Definitions) -> Schema:
        words = rf"^\s*(?:{'|'.join(ANSWERS)})\s*(?:,[\s\S]*)?$"
        return {"anyOf": [{"type": "string", "pattern": words}, Record(Answer).schema(shared)]}


@dataclass(frozen=True, slots=True, kw_only=True)
class Toolchain:
    """What stands between the box and the first working program."""

    id: str | None = key(Identity("toolchain"), "the toolchain, by its id", informational=True)
    maturity: Mapping[str, Answer] | None = key(
        MapOf(AnswerKind(), "question", keys=tuple(QUESTIONS)),
        "ten questions on the toolchain",
        default={},
    )
    setup: Quantity | None = key(TIME, "box to first working program")


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A microcontroller's profile."""

    part: str = key(Identity("part"), "the part's id, equal to the file's name", required=True)
    maker: str | None = key(Text(), "who makes it", informational=True)
    invented: bool = key(Flag(), "demonstration data", default=False)
    summary: str | None = key(Text(), "the part in a line", informational=True)
    lifecycle: str | None = key(Choice(LIFECYCLES), "state of supply")
    core: Core | None = key(Record(Core), "the processor core")
    memory: Memory = key(Record(Memory), "memory", default=Memory())
    supply: PartSupply = key(Record(PartSupply), "supply pin", default=PartSupply())
    temperature: Span = key(Record(Span), "rated ambient temperature", default=Span())
    features: Mapping[str, Quantity] = key(
        MapOf(FEATURE, "feature"), "counts of whatever the part offers", default={}
    )
    evidence: Mapping[str, Evidence] = key(
        MapOf(Record(Evidence), "evidence"), "where figures come from", default={}
    )
    operating_points: Mapping[str, OperatingPoint] = key(
        MapOf(Record(OperatingPoint), "operating point"), "clock settings", default={}
    )
    kernels: Mapping[str, Mapping[str, KernelFigure]] = key(
        MapOf(MapOf(Record(KernelFigure), "operating point, or point+engine"), "kernel"),
        "measured kernels, per unit of work",
        default={},
    )
    blocks: Mapping[str, Block] = key(MapOf(Record(Block), "block"), "on-chip blocks", default={})
    sleep_states: Mapping[str, SleepState] = key(
        MapOf(Record(SleepState), "sleep state"), "sleep states", default={}
    )
    run_current: Quantity | RunCurrent | None = key(
        Either(PER_CLOCK, Record(RunCurrent)), _RUN_CURRENT
    )
    price: Price | None = key(Record(Price), "what one piece costs")
    extras: tuple[Extra, ...] = key(
        ListOf(Record(Extra), named_by="item"), "what it needs beside it", default=()
    )
    toolchain: Toolchain = key(Record(Toolchain), "the toolchain", default=Toolchain())
    peak_current: Quantity | None = key(
        CURRENT, "greatest current that it draws for a moment, as at start-up or to write its flash"
    )
    board_area: Quantity | None = key(
        Figure("area", above=True), "board area that it takes, with all that stands beside it"
    )
    code_size: Mapping[str, Quantity] = key(
        MapOf(Figure("information", exact=True), "kernel"),
        "program memory that each kernel takes, as built",
        default={},
        informational=True,
    )
    boards: Mapping[str, Observation] = key(
        MapOf(Record(Observation), "observation"),
        "what sessions measured of single boards",
        default={},
        informational=True,
    )
    own_figures: Mapping[str, Quantity] = key(
        MapOf(Figure("score", least=None), "own figure"), "the user's own numbers", default={}
    )
