"""Cells, converters and add-ons: every key, declared once."""

from __future__ import annotations

import datetime
from collections.abc import Mapping

from advisor.catalogue.curves import (
    Curve,
    CurveOf,
    Table,
    TableOf,
)
from advisor.catalogue.fields import ListOf, MapOf, Record, key
from advisor.catalogue.kinds import (
    Choice,
    Day,
    Figure,
    Flag,
    Identity,
    Kind,
    Text,
)
from advisor.catalogue.schema_charge import Ageing, Charge
from advisor.catalogue.schema_parts import (
    CURRENT,
    EVIDENCE_KINDS,
    FEATURE,
    LIFECYCLES,
    TEMPERATURE,
    TIME,
    VOLTAGE,
    Block,
    Evidence,
    Price,
    Span,
    Window,
)
from advisor.catalogue.schema_rails import ENERGY, LIGHT_LOAD, LightLoad
from advisor.dataclass import dataclass
from advisor.quantities import Quantity

DEPTH = Figure("share", most=1.0)
FACTOR = Figure("ratio", above=True)
REST = Figure("time", above=True)
PULSE = Figure("current", above=True)
# cautions of cells that may hold lithium for all that is known: what is not known to be harmless is
# not
UNSTATED = "its chemistry is not stated: treat it as a lithium cell"
UNFAMILIAR = "its chemistry is not known here: treat it as a lithium cell"


@dataclass(frozen=True, slots=True, kw_only=True)
class AtTemperature:
    """How a cell fares at one temperature, against its rated figures."""

    capacity: Quantity | None = key(
        Figure("ratio", above=True, most=1.0), "usable share of the rated capacity"
    )
    resistance: Quantity | None = key(FACTOR, "factor on the resistance")


@dataclass(frozen=True, slots=True)
class TemperatureTableKind(TableOf):
    """A mapping of temperature to {capacity, resistance}."""

    x: Figure = TEMPERATURE
    kind: Kind = Record(AtTemperature)
    once: str = "each temperature once"

    def describe(self) -> str:
        return "a mapping of temperature to {capacity, resistance}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where the figures of a cell or converter come from."""

    kind: str | None = key(
        Choice(EVIDENCE_KINDS), "what kind of evidence it is", informational=True
    )
    date: datetime.date | None = key(Day(), "when it was taken", informational=True)
    note: str | None = key(Text(), "a word on it", informational=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoWell:
    """Parameters of the kinetic battery model (Manwell & McGowan 1993)."""

    c: Quantity | None = key(
        Figure("share", above=True, most=1.0), "share of the capacity that is at hand"
    )
    k: Quantity | None = key(Figure("rate", above=True), "rate constant k' = k/(c(1-c))")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A battery cell."""

    cell: str = key(Identity("cell"), "the cell's id, equal to the file's name", required=True)
    invented: bool = key(Flag(), "demonstration data", default=False)
    summary: str | None = key(Text(), "the cell in a line", informational=True)
    chemistry: str | None = key(Text(), "chemistry")
    rechargeable: bool = key(Flag(), "whether it may be charged", default=False)
    nominal_voltage: Quantity | None = key(VOLTAGE, "nominal voltage")
    capacity: Quantity | None = key(Figure("charge", above=True), "rated capacity")
    voltage_curve: Curve | None = key(
        CurveOf(DEPTH, VOLTAGE), "open-circuit voltage over depth of discharge"
    )
    resistance: Curve | None = key(
        CurveOf(DEPTH, Figure("resistance")), "internal resistance over depth of discharge"
    )
    cut_off: Quantity | None = key(Figure("voltage"), "least voltage of use")
    temperature: Table | None = key(
        TemperatureTableKind(), "capacity and resistance over temperature"
    )
    self_discharge: Quantity | None = key(Figure("rate"), "loss at 20 degC, of the rated capacity")
    leak: Curve | None = key(
        CurveOf(VOLTAGE, CURRENT),
        "leakage over the cell's voltage, of a capacitor, in place of a self-discharge",
    )
    doubles_every: Quantity | None = key(
        Figure("temperature-step", above=True), "warming that doubles the self-discharge"
    )
    discharge_to: Quantity | None = key(
        Figure("share", above=True, most=1.0),
        "depth of discharge at which it is to be changed or charged; 1 when absent",
    )
    shelf_life: Quantity | None = key(Figure("time", above=True), "longest time in use or store")
    max_continuous: Quantity | None = key(Figure("current", exact=True), "greatest mean current")
    max_pulse: Curve | None = key(
        CurveOf(TEMPERATURE, Figure("current", exact=True)),
        "greatest pulse current, perhaps over temperature",
    )
    after_rest: Table | None = key(
        TableOf(REST, TableOf(TEMPERATURE, CurveOf(PULSE, VOLTAGE, constant=False))),
        "least voltage of a pulse after rest, measured: rest, then temperature, then current",
    )
    price: Price | None = key(Record(Price), "what one cell costs")
    mass: Quantity | None = key(Figure("mass"), "mass of one cell", informational=True)
    size: str | None = key(Text(), "size", informational=True)
    two_well: TwoWell | None = key(Record(TwoWell), "kinetic battery model's parameters")
    charge: Charge | None = key(Record(Charge), "how it may be charged")
    ageing: Ageing | None = key(Record(Ageing), "how it ages when it is charged again")
    cautions: tuple[str, ...] = key(ListOf(Text()), "cautions to show", default=())
    evidence: Mapping[str, Source] = key(
        MapOf(Record(Source), "evidence"),
        "where figures come from",
        default={},
        informational=True,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Converter:
    """What stands between the pack and the rail."""

    converter: str = key(
        Identity("converter"), "the converter's id, equal to the file's name", required=True
    )
    invented: bool = key(Flag(), "demonstration data", default=False)
    summary: str | None = key(Text(), "the converter in a line", informational=True)
    kind: str | None = key(Choice(("linear", "buck", "boost", "buck-boost")), "its kind")
    input: Window = key(Record(Window), "input voltage", default=Window())
    output: Window = key(Record(Window), "output voltage", default=Window())
    quiescent: Quantity | None = key(CURRENT, "no-load current at the input")
    dropout: Quantity | None = key(
        Figure("voltage"), "least difference of input and output, linear kind"
    )
    efficiency: Curve | None = key(
        CurveOf(
            Figure("current", above=True),
            Figure("share", above=True, most=1.0),
            constant=False,
        ),
        "total efficiency over load current, own draw included, switching kinds",
    )
    light_load: LightLoad | None = key(
        LIGHT_LOAD, "what it draws below a load current, switching kinds"
    )
    start_up: Quantity | None = key(ENERGY, "energy at its input that one start takes")
    max_output: Quantity | None = key(Figure("current", exact=True), "greatest load current")
    price: Price | None = key(Record(Price), "what one piece costs")
    cautions: tuple[str, ...] = key(ListOf(Text()), "cautions to show", default=())
    evidence: Mapping[str, Source] = key(
        MapOf(Record(Source), "evidence"),
        "where figures come from",
        default={},
        informational=True,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Giving:
    """What an add-on brings."""

    features: Mapping[str, Quantity] = key(
        MapOf(FEATURE, "feature"), "counts of what it brings; they add to the part's", default={}
    )
    grades: Mapping[str, Quantity] = key(
        MapOf(FEATURE, "feature"),
        "features that tell how good something is, such as adc-bits; of these the best counts",
        default={},
    )
    blocks: Mapping[str, Block] = key(MapOf(Record(Block), "block"), "blocks it brings", default={})


@dataclass(frozen=True, slots=True, kw_only=True)
class Taking:
    """What an add-on occupies."""

    features: Mapping[str, Quantity] = key(
        MapOf(FEATURE, "feature"), "ports of the part that it occupies", default={}
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class AddOn:
    """A companion chip or module."""

    addon: str = key(Identity("add-on"), "the add-on's id, equal to the file's name", required=True)
    invented: bool = key(Flag(), "demonstration data", default=False)
    summary: str | None = key(Text(), "the add-on in a line", informational=True)
    lifecycle: str | None = key(Choice(LIFECYCLES), "state of supply")
    gives: Giving = key(Record(Giving), "what it brings", default=Giving())
    takes: Taking = key(Record(Taking), "what it occupies", default=Taking())
    standing: Quantity | None = key(
        CURRENT, "current that it draws all the time, its blocks in use apart"
    )
    sleep: Quantity | None = key(
        CURRENT, "current that it draws while the part sleeps, in place of standing"
    )
    supply: Window = key(Record(Window), "supply voltage that it takes", default=Window())
    temperature: Span = key(Record(Span), "rated ambient temperature", default=Span())
    setup: Quantity | None = key(TIME, "box to first working use, beside the part's own")
    board_area: Quantity | None = key(
        Figure("area", above=True), "board area that it takes, with all that stands beside it"
    )
    price: Price | None = key(Record(Price), "what one piece costs")
    cautions: tuple[str, ...] = key(ListOf(Text()), "cautions to show", default=())
    evidence: Mapping[str, Evidence] = key(
        MapOf(Record(Evidence), "evidence"), "where figures come from", default={}
    )
