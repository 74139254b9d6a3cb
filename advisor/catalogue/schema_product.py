"""A product: what it does, where it stands, what it needs, what it may cost, what matters."""

from __future__ import annotations

from collections.abc import Mapping

from yaml.nodes import MappingNode, Node

from advisor.catalogue.criteria import CRITERIA, OWN, measure_of
from advisor.catalogue.currency import Currency
from advisor.catalogue.definitions import Definitions, Schema
from advisor.catalogue.fields import (
    Either,
    ListOf,
    MapOf,
    Record,
    key,
    read_record,
    record_schema,
)
from advisor.catalogue.kinds import (
    Choice,
    Figure,
    Flag,
    Identity,
    Kind,
    Reading,
    Text,
    Whole,
    scalar,
    shape_of,
)
from advisor.catalogue.schema_charge import Recharge
from advisor.catalogue.schema_harvest import Harvest
from advisor.catalogue.schema_life import (
    RETRIES,
    STAYS,
    Phase,
    Retries,
    Shares,
    Stay,
    TimeOfUse,
)
from advisor.catalogue.schema_parts import (
    COUNT,
    CURRENT,
    FEATURE,
    LIFECYCLES,
    MONEY,
    TIME,
    VOLTAGE,
    Memory,
    Span,
    Window,
)
from advisor.catalogue.schema_rails import CAPACITANCE, DECAY, ON, RAILS, Rail
from advisor.dataclass import dataclass
from advisor.faults import nearest
from advisor.figures import Path
from advisor.quantities import Quantity, exact

POWER = Figure("power")
TAKES = Record(Window)


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """A load on the rail while a task runs: what it draws is told in one of three ways."""

    load: str = key(Identity("load"), "the load's name", required=True)
    current: Quantity | None = key(CURRENT, "current on the rail")
    power: Quantity | None = key(POWER, "power at whatever voltage feeds it, in place of a current")
    charge: Quantity | None = key(
        Figure("charge"), "charge that one event takes from the rail, in place of a current"
    )
    duration: Quantity | None = key(TIME, "how long", name="for")
    supply: Window = key(TAKES, "supply voltage that it takes", default=Window())
    cpu: str = key(Choice(("idle", "asleep")), "what the core does meanwhile", default="idle")
    retries: Retries | None = key(RETRIES, "tries of it, one right behind the other")
    on: str | None = key(ON, "the rail that it stands on; the main one when absent", name="rail")
    gated: bool = key(Flag(), "whether it is switched off between its uses", default=False)
    capacitance: Quantity | None = key(
        CAPACITANCE, "capacitance beside it, filled each time it is switched on"
    )
    decay: Quantity | None = key(
        DECAY, "time constant with which that empties; it is empty again when absent"
    )
    standby: Quantity | None = key(
        CURRENT, "current that it draws between its uses, unless it or its rail is switched off"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class StandingLoad:
    """A load on the rail all the time: what it draws is told in one of two ways."""

    load: str = key(Identity("load"), "the load's name", required=True)
    current: Quantity | None = key(CURRENT, "current on the rail")
    power: Quantity | None = key(POWER, "power at whatever voltage feeds it, in place of a current")
    supply: Window = key(TAKES, "supply voltage that it takes", default=Window())
    on: str | None = key(ON, "the rail that it stands on; the main one when absent", name="rail")


PERIOD = Figure("time", above=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """Something the product does again and again."""

    task: str = key(Identity("task"), "the task's name", required=True)
    every: Quantity | Mapping[str, Quantity] | None = key(
        Either(PERIOD, MapOf(PERIOD, "time")),
        "period; or one for each of `times` at which it is done",
    )
    arrival: str = key(
        Choice(("regular", "random")),
        "a period apart, or at random with that mean, as a button is pressed (Poisson)",
        default="regular",
    )
    retries: Retries | None = key(RETRIES, "tries of the whole event, each with its wake")
    use_retries: Mapping[str, Retries] = key(
        MapOf(RETRIES, "block"), "tries of all uses of a block", default={}
    )
    kernels: Mapping[str, Quantity] = key(
        MapOf(COUNT, "kernel"), "units of work per event", default={}
    )
    uses: Mapping[str, Quantity] = key(
        MapOf(COUNT, "block"), "uses of blocks, on the chip or of an add-on, per event", default={}
    )
    loads: tuple[Load, ...] = key(
        ListOf(Record(Load), named_by="load"), "loads switched on in this order", default=()
    )
    at: str | None = key(
        Identity("operating point"), "the operating point it must run at; any when absent"
    )
    without_engines: tuple[str, ...] = key(
        ListOf(Identity("engine")), "hardware engines that may not do its work", default=()
    )
    finish_within: Quantity | None = key(
        Figure("time", above=True, exact=True), "from the wake to the end of the event"
    )
    wake_within: Quantity | None = key(
        Figure("time", above=True, exact=True), "longest wake allowed"
    )

    @property
    def periods(self) -> Mapping[tuple[str, ...], Quantity]:
        """Keys below the task to each period that is stated."""
        if self.every is None:
            return {}
        if isinstance(self.every, Quantity):
            return {("every",): self.every}
        return {("every", time): period for time, period in self.every.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class Needs:
    """What a part must have; never traded against anything."""

    memory: Memory = key(Record(Memory), "least memory", default=Memory())
    features: Mapping[str, Quantity] = key(MapOf(FEATURE, "feature"), "least counts", default={})
    temperature: Span = key(Record(Span), "range the part must be rated for", default=Span())
    lifecycle: tuple[str, ...] | None = key(
        ListOf(Choice(LIFECYCLES)), "states of supply that are acceptable"
    )
    lead_time: Quantity | None = key(
        Figure("time", above=True, exact=True),
        "longest time to delivery of a part, a cell, a converter or an add-on",
    )
    service: Quantity | None = key(
        Figure("share", above=True, most=1.0, exact=True),
        "least share of days on which a store that is harvested into carries the load",
    )
    confidence: Quantity = key(
        Figure("share", above=True, most=1.0, exact=True),
        "least share of the draws in which all needs and limits must be kept, and of a task's "
        "events that must finish in time where chance bears on them; 0.5 when absent",
        default=exact(0.5, "share"),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class CellOption:
    """A pack that may be used: cells in series and parallel, or an ideal budget.

    `entry` is its name in the list.
    """

    cell: str | None = key(Identity("cell"), "the cell's id")
    series: int = key(Whole(), "cells in series", default=1)
    parallel: int = key(Whole(), "strings in parallel", default=1)
    budget: Quantity | None = key(
        Figure("charge", above=True), "an ideal flat source of this charge, in place of a cell"
    )
    voltage: Quantity | None = key(VOLTAGE, "voltage of that ideal source")
    entry: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reservoir:
    """A capacitor across the pack."""

    capacitance: Quantity | None = key(Figure("capacitance", above=True), "capacitance")
    esr: Quantity | None = key(Figure("resistance"), "series resistance")
    leakage: Quantity | None = key(CURRENT, "leakage current")
    price: Quantity | None = key(MONEY, "price, in the product's currency")


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyOptions:
    """Packs and converters that may be used."""

    cells: tuple[CellOption, ...] = key(ListOf(Record(CellOption)), "packs", default=())
    converters: tuple[str, ...] = key(
        ListOf(Identity("converter, or none")),
        "converters; none: the pack is the rail",
        default=("none",),
    )
    reservoir: Reservoir | None = key(Record(Reservoir), "capacitor across the pack")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What the money side rests on."""

    currency: str | None = key(Currency(), "currency of the product")
    units: int | None = key(Whole(), "units to be made")
    engineer_rate: Quantity | None = key(Figure("money-rate"), "cost of an engineer's hour")
    unit_cost_limit: Quantity | None = key(
        Figure("money", above=True, exact=True), "most that the parts of a unit may cost"
    )
    service_visit: Quantity | None = key(MONEY, "cost of a visit to change the cells")
    tools: Quantity | None = key(MONEY, "one-off cost of tools")
    rates: Mapping[str, Quantity] = key(
        MapOf(Figure("money", above=True), "currency", currencies=True),
        "what one unit of another currency costs in the product's",
        default={},
    )


# an engineer's hours for one measurement, by kind of figure, where the product states none: common
# practice, no source
USUAL_HOURS: Mapping[str, float] = {
    "kernel": 2.0,
    "idle-current": 1.0,
    "sleep-current": 2.0,
    "wake": 2.0,
    "block": 2.0,
    "quotation": 1.0,
    "toolchain-trial": 8.0,
    "maturity": 1.0,
    "product": 2.0,
    "cell": 8.0,
    "converter": 3.0,
    "calibration": 4.0,
    "other": 1.0,
}


HOURS = Figure("time", exact=True)


def _usually(name: str, title: str) -> str:
    return f"{title}; usually {USUAL_HOURS[name]:g} h (common practice, no source)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Hours:
    """An engineer's hours for one measurement, by kind of figure."""

    kernel: Quantity | None = key(
        HOURS, _usually("kernel", "time and current of a kernel at a point, one run")
    )
    idle_current: Quantity | None = key(HOURS, _usually("idle-current", "idle current of a point"))
    sleep_current: Quantity | None = key(
        HOURS, _usually("sleep-current", "current of a sleep state at one temperature")
    )
    wake: Quantity | None = key(HOURS, _usually("wake", "time and charge of a wake"))
    block: Quantity | None = key(HOURS, _usually("block", "current and length of a block's use"))
    quotation: Quantity | None = key(
        HOURS, _usually("quotation", "a quotation for a part, cell or converter")
    )
    toolchain_trial: Quantity | None = key(
        HOURS, _usually("toolchain-trial", "trying a toolchain's set-up")
    )
    maturity: Quantity | None = key(
        HOURS, _usually("maturity", "one question on a toolchain answered")
    )
    product: Quantity | None = key(
        HOURS, _usually("product", "a figure of the product's own, such as a load")
    )
    cell: Quantity | None = key(HOURS, _usually("cell", "one test of a cell, such as a discharge"))
    converter: Quantity | None = key(HOURS, _usually("converter", "one test of a converter"))
    calibration: Quantity | None = key(HOURS, _usually("calibration", "calibrating an instrument"))
    other: Quantity | None = key(HOURS, _usually("other", "any other figure of a part"))
    whole_part: Quantity | None = key(
        HOURS, "everything of a part in one go, where that is less than all of its measurements"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Measuring:
    """What measurements take, for `gaps`."""

    hours: Hours = key(Record(Hours), "an engineer's hours by kind of figure", default=Hours())


@dataclass(frozen=True, slots=True, kw_only=True)
class Priority:
    """Weight of a criterion and the anchors of its value function."""

    # beyond it a sum of weights loses the lesser ones
    weight: Quantity | None = key(Figure("count", most=1e12), "weight on any scale")
    poor: Quantity | None = key(Figure("score", least=None), "worth nothing from here down")
    good: Quantity | None = key(Figure("score", least=None), "worth everything from here up")


@dataclass(frozen=True, slots=True)
class PriorityKind:
    """{weight, poor, good} of a criterion; the anchors bear the criterion's dimension."""

    dimension: str

    @property
    def anchor(self) -> Figure:
        """What poor and good are."""
        least = None if self.dimension == "score" else 0.0
        return Figure(self.dimension, least=least, exact=True)

    @property
    def _anchors(self) -> Mapping[str, Kind]:
        return {"poor": self.anchor, "good": self.anchor}

    def read(self, node: Node, path: str, reading: Reading) -> Priority | None:
        if not isinstance(node, MappingNode):
            reading.fault(node, path, shape_of(node), self.describe())
            return None
        read: Priority | None = read_record(Priority, node, path, reading, self._anchors)
        return read

    def below(self, name: str) -> Kind | None:
        return self._anchors.get(name) or Record(Priority).below(name)

    def describe(self) -> str:
        return "a mapping of weight, poor, good"

    def schema(self, shared: Definitions) -> Schema:
        return record_schema(Priority, shared, self._anchors)


class PrioritiesKind:
    """Criterion to {weight, poor, good}."""

    def read(self, node: Node, path: str, reading: Reading) -> Mapping[str, Priority] | None:
        if not isinstance(node, MappingNode):
            reading.fault(node, path, shape_of(node), self.describe())
            return None
        out: dict[str, Priority] = {}
        good = True
        for k, v in node.value:
            name = scalar(k, path, reading, "a criterion")
            if name is None:
                good = False
                continue
            kind = self.below(name)
            at = f"{path}.{name}"
            if kind is None:
                from advisor.catalogue.usual_words import key_meant

                near = key_meant("priorities", name, CRITERIA) or nearest(name, tuple(CRITERIA))
                other = near is not None and near not in CRITERIA
                expected = f"{near}; here {self.describe()}" if other else self.describe()
                reading.fault(k, at, f'"{name}"', expected, near)
            elif name in out:
                reading.fault(k, at, f'"{name}" twice', "each criterion once")
            else:
                value = kind.read(v, at, reading)
                if value is not None:
                    out[name] = value
                    continue
            good = False
        return out if good else None

    def below(self, name: str) -> PriorityKind | None:
        measure = measure_of(name)
        return None if measure is None else PriorityKind(measure.dimension)

    def describe(self) -> str:
        return f"one of {', '.join(CRITERIA)}, {OWN}NAME"

    def schema(self, shared: Definitions) -> Schema:
        own = "^" + OWN.replace(".", r"\.") + r"[\s\S]"
        return {
            "type": "object",
            "properties": {
                name: PriorityKind(one.dimension).schema(shared) for name, one in CRITERIA.items()
            },
            "patternProperties": {own: PriorityKind("score").schema(shared)},
            "additionalProperties": False,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Product:
    """A battery product."""

    product: str = key(
        Identity("product"), "the product's id, equal to the file's name", required=True
    )
    invented: bool = key(Flag(), "demonstration data", default=False)
    summary: str | None = key(Text(), "what it is and where it stands", informational=True)
    life_target: Quantity | None = key(
        Figure("time", above=True, exact=True), "battery life wanted"
    )
    service_life: Quantity | None = key(
        Figure("time", above=True), "how long the product is in use"
    )
    rail: Quantity | None = key(VOLTAGE, "supply rail behind a converter")
    rails: tuple[Rail, ...] = key(
        RAILS, "further rails, each through a converter of its own", default=()
    )
    environment: tuple[Stay, ...] = key(
        STAYS, "temperatures and their share of the time", default=()
    )
    times: tuple[TimeOfUse, ...] = key(
        Shares(Record(TimeOfUse), named_by="time"),
        "times that repeat, such as day and night; one time when absent",
        default=(),
    )
    before_use: tuple[Phase, ...] = key(
        ListOf(Record(Phase), named_by="phase"),
        "what the first pack goes through before the first day, in this order; a pack that "
        "replaces it comes fresh",
        default=(),
    )
    recharge: Recharge | None = key(
        Record(Recharge), "somebody charges packs that may be charged; others are changed"
    )
    workload: tuple[Task, ...] = key(
        ListOf(Record(Task), named_by="task"), "what it does", default=()
    )
    standing_loads: tuple[StandingLoad, ...] = key(
        ListOf(Record(StandingLoad), named_by="load"), "what draws all the time", default=()
    )
    retain: tuple[str, ...] = key(
        ListOf(Identity("what sleep keeps")), "what sleep must keep", default=()
    )
    needs: Needs = key(Record(Needs), "what a part must have", default=Needs())
    supply_options: SupplyOptions = key(
        Record(SupplyOptions), "packs and converters to choose from", default=SupplyOptions()
    )
    harvest: Harvest | None = key(
        Record(Harvest), "what charges the store where the product stands"
    )
    add_ons: str = key(
        Choice(("allowed", "refused")),
        "whether companion chips may bring what a part lacks",
        default="allowed",
    )
    cost: Cost = key(Record(Cost), "the money side", default=Cost())
    measuring: Measuring = key(Record(Measuring), "what measurements take", default=Measuring())
    priorities: Mapping[str, Priority] = key(
        PrioritiesKind(), "what matters, and how much", default={}
    )

    @property
    def stays(self) -> tuple[Stay, ...]:
        """Where it stands in use, at all times."""
        if not self.times:
            return self.environment
        return tuple(s for time in self.times for s in time.environment or self.environment)

    @property
    def every_converter(self) -> tuple[str, ...]:
        """Ids of all converters to choose from, of every rail, each once."""
        further = (name for rail in self.rails for name in rail.converters)
        return tuple(dict.fromkeys([*self.supply_options.converters, *further]))

    @property
    def every_load(self) -> tuple[tuple[Path, Load | StandingLoad], ...]:
        """(path, record) of every load, those of tasks first."""
        own = Path(self.product)
        return (
            *(
                (own.child("workload", task.task, "loads", load.load), load)
                for task in self.workload
                for load in task.loads
            ),
            *((own.child("standing-loads", one.load), one) for one in self.standing_loads),
        )
