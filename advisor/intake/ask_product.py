"""What is asked of a product: what it does, on which cells, how long, and what matters."""

from __future__ import annotations

from collections import ChainMap, Counter
from collections.abc import Iterable
from dataclasses import replace

from advisor.catalogue.fields import read_record
from advisor.catalogue.kinds import Reading
from advisor.catalogue.records import Catalogue
from advisor.catalogue.rules import check_product
from advisor.catalogue.schema_hourly import MONTHS
from advisor.catalogue.schema_product import Product
from advisor.catalogue.sense import product_warnings
from advisor.faults import Fault, FaultLog
from advisor.intake.forms import (
    ByName,
    Filled,
    Loads,
    Names,
    Notes,
    One,
    Packs,
    Several,
    Stays,
    Words,
    below,
)
from advisor.intake.interview import Default, Step, Table, View
from advisor.source import Document

_COMMON = "common practice, no source"
CELLS = ("supply-options", "cells")


def _tasks(view: View) -> tuple[tuple[str, ...], ...]:
    return tuple((name,) for name in view.names("workload"))


def _sorted(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(sorted(set(names)))


def _measured(view: View) -> tuple[str, ...]:
    """Kernels that some part was measured with."""
    return _sorted(kernel for part in view.catalogue.parts.values() for kernel in part.kernels)


def _currencies(view: View) -> list[str]:
    """Currencies of the catalogue's prices, the most frequent first."""
    records = [r for kind in view.catalogue.kinds.values() for r in kind.values()]
    prices = [record.price for record in records if record.price is not None]
    counted = Counter(price.currency for price in prices if price.currency is not None)
    return [name for name, _ in sorted(counted.items(), key=lambda one: (-one[1], one[0]))]


def _currency(view: View) -> Default | None:
    found = _currencies(view)
    if not found:
        return Default("EUR", "no price of the catalogue names another")
    # with several a rate is needed, which nobody can guess
    return Default(found[0], "that of the catalogue's prices") if len(found) == 1 else None


def _foreign(view: View) -> tuple[tuple[str, ...], ...]:
    """Currencies that prices at hand are in and the product is not."""
    home = view.text("cost", "currency")
    chosen = [view.text(*CELLS, n, "cell") or "" for n in view.names(*CELLS)]
    cells = [view.catalogue.cells[name] for name in chosen if name in view.catalogue.cells]
    prices = [part.price for part in view.catalogue.parts.values()]
    prices += [cell.price for cell in cells]
    converters = view.catalogue.converters
    prices += [converters[name].price for name in _converters(view) if name in converters]
    found = {p.currency for p in prices if p is not None and p.currency is not None}
    rate = view.text("cost", "engineer-rate")
    if rate is not None:
        found.add(rate.partition("/")[0].split()[-1])
    return tuple((name,) for name in sorted(found - {home or ""}))


def _converters(view: View) -> list[str]:
    """Converters that may stand between pack and rail."""
    names = view.text("supply-options", "converters") or "[none]"
    found = (name.strip() for name in names.strip("[]").split(","))
    return [name for name in found if name not in ("none", "")]


def _converted(view: View) -> bool:
    return bool(_converters(view))


def _use(view: View) -> Default | None:
    target = view.text("life-target")
    if target is None:
        return None
    return Default(target, f"as long as one set of cells is to last ({_COMMON})")


def _priorities(view: View) -> Default | None:
    """What may be weighed on what was told, battery life first."""
    wanted = []
    if view.has("life-target"):
        wanted.append("battery-life 3")
    cost = [view.has("cost", name) for name in ("currency", "units", "unit-cost-limit")]
    priced = all(part.price is not None for part in view.catalogue.parts.values())
    if all(cost) and priced:
        wanted.append("purchase-cost 2")
    tools = [part.toolchain.setup for part in view.catalogue.parts.values()]
    if tools and None not in tools:
        wanted.append("bring-up 1")
    if not wanted:
        return None
    reason = f"what was told can be weighed, battery life most ({_COMMON})"
    return Default(", ".join(wanted), reason)


def _packs(view: View) -> Default:
    return Default(
        "220 mAh at 3 V",
        "an ideal source of a common coin cell's size (from memory), until cells are chosen",
    )


STEPS = (
    Step(
        key="product",
        words="The product's id",
        example="first-product",
        form=One(),
        more="Lower-case letters, digits and hyphens; the file is named after it.",
        needed=True,
    ),
    Step(
        key="workload",
        words="What it does and how often, by name (s, min, h)",
        example="sample 10 s, report 1 h",
        form=ByName("every", unnamed="work", own="task"),
        more="Each task with its period; a period alone is a task called work.",
        needed=True,
    ),
    Step(
        key="workload.{0}.kernels",
        words="Units of work of each kernel in one {0}",
        example="filter 2, crc 1",
        form=ByName(),
        more="Kernels that parts were measured with; `part-advisor kernels list` tells what a "
        "unit of each is. Without one the task wakes and waits, and computes nothing.",
        known=lambda view: tuple(dict.fromkeys((*view.catalogue.kernels, *_measured(view)))),
        offers=lambda view: tuple(f"{name} (measured)" for name in _measured(view)),
        each=_tasks,
    ),
    Step(
        key="workload.{0}.loads",
        words="Loads switched on during one {0}, and how long (mA, ms)",
        example="radio 26 mA for 60 ms, probe 0.6 mA for 2 ms asleep",
        form=Loads(),
        more="In this order; asleep where the core sleeps meanwhile. A power (1.2 mW) or a charge "
        "(3 uC) may stand for a current. Without one none is counted.",
        each=_tasks,
    ),
    Step(
        key="supply-options.cells",
        words="Cells, by id, or an ideal source (mAh, V)",
        example="lb-coin, 2 x alk-pen, or 220 mAh at 3 V",
        form=Packs(),
        more="Each is tried; 2 x puts two in series. `catalog list` tells what each is.",
        offers=lambda view: tuple(view.catalogue.cells),
        default=_packs,
        needed=True,
    ),
    Step(
        key="life-target",
        words="Battery life wanted (years)",
        example="5 years",
        form=One(),
        more="Scores count from none to twice this; a shorter life is not refused.",
        default=Default("5 years", f"a usual target for a device in the field ({_COMMON})"),
    ),
    Step(
        key="environment",
        words="Temperatures and their share of the time (degC, %)",
        example="-10 degC 20 %, 20 degC 80 %",
        form=Stays(),
        more="Where the product stands. Cold costs capacity, heat self-discharge and sleep "
        "current.",
        default=Default("20 degC", f"indoors, all the time ({_COMMON})"),
        needed=True,
    ),
    Step(
        key="retain",
        words="What sleep must keep",
        example="ram, rtc",
        form=Names(),
        more="By the names that sleep states of parts tell; none for nothing.",
        offers=lambda view: _sorted(
            name
            for part in view.catalogue.parts.values()
            for state in part.sleep_states.values()
            for name in state.retains or ()
        ),
        default=Default("ram", f"a product that loses RAM starts anew at each wake ({_COMMON})"),
    ),
    Step(
        key="needs.memory",
        words="Least program memory and data memory (KiB)",
        example="16 KiB, 4 KiB",
        form=Several(("flash", "ram")),
        more="A part with less is out, one that does not say is set aside.",
    ),
    Step(
        key="needs.features",
        words="Least counts of features, by name",
        example="uart 1, i2c 1, adc-bits 12",
        form=ByName(),
        more="By the names that parts count. A part with less is out, one that does not say is "
        "set aside.",
        offers=lambda view: _sorted(f for p in view.catalogue.parts.values() for f in p.features),
    ),
    Step(
        key="standing-loads",
        words="What draws all the time beside the part (uA)",
        example="divider 0.8 uA",
        form=Loads(standing=True),
        more="Sensors, dividers, a supervisor. Without one none is counted.",
    ),
    Step(
        key="supply-options.converters",
        words="Converters between cells and rail, by id; none: the cells are the rail",
        example="none, ldo-a",
        form=Names(word=True),
        more="Each is tried; `catalog list` tells what each is.",
        offers=lambda view: tuple(view.catalogue.converters),
        default=Default("[none]", f"the cells feed the part: the simplest start ({_COMMON})"),
    ),
    Step(
        key="rail",
        words="Voltage behind a converter (V)",
        example="2.5 V",
        form=One(),
        when=_converted,
        needed=True,
    ),
    Step(
        key="service-life",
        words="How long the product is in use (years)",
        example="10 years",
        form=One(),
        more="Battery changes are counted over it.",
        default=_use,
    ),
    Step(
        key="cost.currency",
        words="Currency of the product",
        example="EUR",
        form=One(),
        more="Three letters. Skipped, no cost is weighed.",
        default=_currency,
    ),
    Step(
        key="cost.units",
        words="Units to be made",
        example="1000",
        form=One(),
        more="Prices are those of this quantity.",
        default=Default("1000", f"a small series ({_COMMON})"),
        when=lambda view: view.has("cost", "currency"),
    ),
    Step(
        key="cost.unit-cost-limit",
        words="Most that the parts of a unit may cost",
        example="9.00",
        form=One(),
        more="In the product's currency: part, cells, converter. What costs more is out; scores of "
        "costs count up to twice this. Skipped, there is no limit.",
        when=lambda view: view.has("cost", "currency"),
    ),
    Step(
        key="priorities",
        words="What matters, and how much: criteria with weights",
        example="battery-life 3, purchase-cost 2, toolchain 1",
        form=ByName("weight", whole=True),
        more="On any scale. battery-life; lifetime-cost and purchase-cost; toolchain; bring-up; "
        "time-headroom; memory-headroom; board-area; energy-per-day. `weights` shows later what "
        "they mean.",
        default=_priorities,
        needed=True,
    ),
    Step(
        key="cost.service-visit",
        words="Cost of a visit to change the cells",
        example="20.00",
        form=One(),
        when=lambda view: view.has("priorities", "lifetime-cost"),
        needed=True,
    ),
    Step(
        key="cost.engineer-rate",
        words="Cost of an engineer's hour",
        example="80 EUR/h",
        form=One(),
        when=lambda view: view.has("priorities", "lifetime-cost"),
        needed=True,
    ),
    Step(
        key="cost.tools",
        words="One-off cost of tools",
        example="600, or 0",
        form=One(),
        when=lambda view: view.has("priorities", "lifetime-cost"),
        needed=True,
    ),
    Step(
        key="cost.rates.{0}",
        words="What 1 {0} costs in the product's currency",
        example="0.92",
        form=One(),
        more="Prices at hand are in it.",
        each=_foreign,
        when=lambda view: view.has("cost", "currency"),
        needed=True,
    ),
    Step(
        key="workload.{0}.finish-within",
        words="Longest time from the wake to the end of one {0} (ms)",
        example="100 ms",
        form=One(),
        more="A deadline: what takes longer is out.",
        each=_tasks,
    ),
    Step(
        key="needs.lifecycle",
        words="States of supply that are acceptable",
        example="active, announced",
        form=Names(),
        more="Of announced, active, last-orders, ended. A part that does not say is set aside.",
    ),
    Step(
        key="add-ons",
        words="Whether companion chips may fill gaps: allowed or refused",
        example="refused",
        form=One(),
        default=Default("allowed", "a part competes with what brings what it lacks"),
    ),
    Step(
        key="summary",
        words="The product in a line",
        example="a sensor that looks every ten seconds",
        form=Words(),
    ),
)

BLANKS = {
    ("summary",): "what it is and where it stands",
    ("life-target",): "5 years",
    ("service-life",): "10 years",
    ("rail",): "2.5 V",
    ("workload", "*", "kernels"): "{filter: 2}",
    ("workload", "*", "loads"): "[{load: radio, current: 26 mA, for: 60 ms}]",
    ("workload", "*", "finish-within"): "100 ms",
    ("retain",): "[ram, rtc]",
    ("needs",): "{memory: {flash: 16 KiB}, features: {uart: 1}, lifecycle: [active]}",
    ("needs", "memory"): "{flash: 16 KiB, ram: 4 KiB}",
    ("needs", "features"): "{uart: 1, i2c: 1}",
    ("needs", "lifecycle"): "[active]",
    ("cost",): "{currency: EUR, units: 1000}",
    ("cost", "unit-cost-limit"): "9.00",
    ("workload", "*", "uses"): "{adc: 1}",
    ("workload", "*", "wake-within"): "1 ms",
    ("standing-loads",): "[{load: divider, current: 0.8 uA}]",
    ("needs", "temperature"): "{min: -25 degC, max: 70 degC}",
    ("needs", "lead-time"): "12 weeks",
    ("supply-options", "reservoir"): "{capacitance: 220 uF, esr: 0.05 ohm, leakage: 0.4 uA, "
    "price: 0.20}",
    ("cost", "engineer-rate"): "80 EUR/h",
    ("cost", "service-visit"): "20.00",
    ("cost", "tools"): "0",
    ("measuring",): "{hours: {kernel: 2 h}}",
    ("times",): "[{time: day, share: 0.6}, {time: night, share: 0.4}]",
    ("before-use",): "[{phase: storage, for: 6 months, environment: [{at: 10 degC, share: 1}], "
    "state: asleep}]",
    ("workload", "*", "arrival"): "random",
    ("workload", "*", "retries"): "{fails: 10 %, most: 3}",
    ("rails",): "[{rail: radio, voltage: 3.0 V, converters: [ldo-a]}]",
    # of these two one
    ("recharge",): "{every: 6 months, cost: 5.00}",
    ("harvest",): "{energy: {"
    + ", ".join(f"{month}: 40 J" for month in MONTHS)
    + "}, spread: 50 %, persistence: 0.4, night: 15 h}",
}


def derive(filled: Filled, notes: Notes, catalogue: Catalogue) -> tuple[Filled, Notes]:
    """Nothing follows but that a task stands with its name before all else of it."""
    tasks: Filled = {("workload", name, "task"): name for name in below(filled, ("workload",))}
    return {**filled, **tasks}, notes


def _read(document: Document, identity: str, catalogue: Catalogue, log: FaultLog) -> Product | None:
    """The product of a document, with every fault noted that stops a run."""
    reading = Reading(document.file, identity, log)
    product: Product | None = read_record(Product, document.root, "", reading)
    if product is not None:
        check_product(product, document, catalogue, log)
    return product


def _odd(product: Product, document: Document, catalogue: Catalogue) -> tuple[Fault, ...]:
    documents = ChainMap({product.product: document}, catalogue.documents)  # type: ignore[arg-type]
    return product_warnings(product, replace(catalogue, documents=documents))


TABLE = Table(
    kind="product",
    cls=Product,
    steps=STEPS,
    blanks=BLANKS,
    derive=derive,
    read=_read,
    odd=_odd,
    head="A product, from answers to questions. Lines behind a # may be filled in; their values "
    "are examples. Absent is never zero: what needs a figure says that it is missing.",
)
