"""Rules that join several keys: conditions as data, each with its words and its severity.

A rule looks at one record and yields what breaks it. Faults stop the run; warnings are questions
of sense, asked by `catalog check` and `product check` only.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Mapping
from functools import partial
from itertools import pairwise
from typing import Any

from advisor.catalogue.criteria import OWN, anchors_of, asked_words, measure_of, unmet
from advisor.catalogue.evidence import figures_of, measured
from advisor.catalogue.records import Catalogue
from advisor.catalogue.rule import Breach, Rule, no_breaks, order, unknown_evidence
from advisor.catalogue.rules_addon import ADDON_FAULTS
from advisor.catalogue.rules_charge import CELL_CHARGE_FAULTS, PRODUCT_CHARGE_FAULTS
from advisor.catalogue.rules_harvest import FAULTS as HARVEST
from advisor.catalogue.rules_life import FAULTS as CALENDAR
from advisor.catalogue.rules_rails import CONVERTER_FAULTS as LIGHT_LOADS
from advisor.catalogue.rules_rails import PRODUCT_FAULTS as RAILS
from advisor.catalogue.schema_parts import Part, Price, SleepState, Variant
from advisor.catalogue.schema_product import Load, Product, StandingLoad
from advisor.catalogue.schema_supply import Cell, Converter
from advisor.catalogue.sheet import run_currents
from advisor.faults import Fault, FaultLog, nearest
from advisor.figures import Path
from advisor.source import Document, place_of

# ---------------------------------------------------------------------------------------- parts


def _unknown_run_evidence(part: Part, _: Catalogue) -> Iterator[Breach]:
    for path, run in run_currents(part):
        if run.evidence is not None and run.evidence not in part.evidence:
            near = nearest(run.evidence, tuple(part.evidence))
            yield (path / "evidence").dotted, f'"{run.evidence}"', near


def _lone_correlation(part: Part, _: Catalogue) -> Iterator[Breach]:
    for kernel, variants in part.kernels.items():
        for variant, figure in variants.items():
            if figure.correlation is not None and (figure.time is None or figure.current is None):
                yield f"kernels.{kernel}.{variant}.correlation", figure.correlation.text, None


def _no_such_figure(part: Part, _: Catalogue) -> Iterator[Breach]:
    for path, record in measured(part):
        known = figures_of(record)
        if isinstance(record, SleepState) and record.current is not None and record.current.keys:
            known = (*known, "current")
        if isinstance(record, SleepState) and record.adds:
            known = (*known, "adds")
        for name in getattr(record, "evidence_of", {}):
            if name not in known:
                near = nearest(name, known)
                yield (path / "evidence-of" / name).dotted, f'"{name}"', near


def _unknown_point(part: Part, _: Catalogue) -> Iterator[Breach]:
    for kernel, variants in part.kernels.items():
        for variant in variants:
            run = Variant.parse(variant)
            if run.point not in part.operating_points or "" in run.engines:
                near = nearest(run.point, tuple(part.operating_points))
                yield f"kernels.{kernel}.{variant}", f'"{variant}"', near


def _unknown_kernel(part: Part, catalogue: Catalogue) -> Iterator[Breach]:
    for kernel in part.kernels:
        if catalogue.kernels and kernel not in catalogue.kernels:
            yield f"kernels.{kernel}", f'"{kernel}"', nearest(kernel, tuple(catalogue.kernels))


def _other_work(part: Part, catalogue: Catalogue) -> Iterator[Breach]:
    for kernel, variants in part.kernels.items():
        for variant, figure in variants.items():
            known = catalogue.kernels.get(kernel)
            if known is not None and figure.version != known.version:
                read = f"version {figure.version}, where kernels.yaml has {known.version}"
                yield f"kernels.{kernel}.{variant}.version", read, None


def _part_ranges(part: Part, _: Catalogue) -> Iterator[Breach]:
    yield from order(part.supply.min, part.supply.max, "supply.min")
    yield from order(part.supply.brown_out, part.supply.max, "supply.brown-out")
    yield from order(part.temperature.min, part.temperature.max, "temperature.min")
    for name, block in part.blocks.items():
        yield from order(block.supply.min, block.supply.max, f"blocks.{name}.supply.min")


def _instant_charge(part: Part, _: Catalogue) -> Iterator[Breach]:
    for name, state in part.sleep_states.items():
        if state.wake_charge is not None and (
            state.wake_time is None or state.wake_time.nominal == 0
        ):
            yield f"sleep-states.{name}.wake-charge", state.wake_charge.text, None


PART_FAULTS = (
    Rule("an entry of this file's evidence", unknown_evidence),
    Rule("an entry of this file's evidence", _unknown_run_evidence),
    Rule("a time and a current that were measured beside it", _lone_correlation),
    Rule("a figure that stands beside it, its key or temperature as written", _no_such_figure),
    Rule("an operating point of this part, or POINT+ENGINE", _unknown_point),
    Rule("a kernel of kernels.yaml", _unknown_kernel),
    Rule("the kernel's version: figures of other work are not mixed", _other_work),
    Rule("a range whose lower end is not above its upper end", _part_ranges),
    Rule("a wake-time above zero beside the wake-charge", _instant_charge),
    Rule("at least one price break", no_breaks),
)

# ------------------------------------------------------------------------- cells and converters


def _cell_voltage(cell: Cell, _: Catalogue) -> Iterator[Breach]:
    if cell.voltage_curve is None:
        return
    values = [y.nominal for y in cell.voltage_curve.y]
    if any(b > a for a, b in pairwise(values)):
        yield "voltage-curve", "a voltage that rises with depth", None


def _two_well_pair(cell: Cell, _: Catalogue) -> Iterator[Breach]:
    if cell.two_well is not None and (cell.two_well.c is None or cell.two_well.k is None):
        yield "two-well", "one of c and k", None


CELL_FAULTS = (
    Rule("an open-circuit voltage that never rises with depth of discharge", _cell_voltage),
    Rule("both c and k", _two_well_pair),
    *CELL_CHARGE_FAULTS,
    Rule("at least one price break", no_breaks),
)


def _windows(record: Any, _: Catalogue) -> Iterator[Breach]:
    for name in ("input", "output"):
        window = getattr(record, name)
        yield from order(window.min, window.max, f"{name}.min")


def _kind_keys(converter: Converter, _: Catalogue) -> Iterator[Breach]:
    if converter.kind == "linear" and converter.efficiency is not None:
        yield "efficiency", "a table for a linear converter", None
    if converter.kind not in (None, "linear") and converter.dropout is not None:
        yield "dropout", "a dropout for a switching converter", None


CONVERTER_FAULTS = (
    Rule("a range whose lower end is not above its upper end", _windows),
    Rule("dropout with kind linear, efficiency with the switching kinds", _kind_keys),
    *LIGHT_LOADS,
    Rule("at least one price break", no_breaks),
)

# -------------------------------------------------------------------------------------- product


def _missing_product(product: Product, _: Catalogue) -> Iterator[Breach]:
    if not product.supply_options.cells:
        yield "supply-options.cells", "nothing", None
    if not product.supply_options.converters:
        yield "supply-options.converters", "nothing", None
    for task in product.workload:
        for load in task.loads:
            if load.duration is None:
                yield f"workload.{task.task}.loads.{load.load}.for", "nothing", None
    reservoir = product.supply_options.reservoir
    if reservoir is not None:
        for name, value in (
            ("capacitance", reservoir.capacitance),
            ("esr", reservoir.esr),
            ("leakage", reservoir.leakage),
        ):
            if value is None:
                yield f"supply-options.reservoir.{name}", "nothing", None
    if product.rail is None and any(c != "none" for c in product.supply_options.converters):
        yield "rail", "nothing", None


def _weightless(product: Product, _: Catalogue) -> Iterator[Breach]:
    if not any(p.weight is not None and p.weight.nominal > 0 for p in product.priorities.values()):
        yield "priorities", "no weight above zero", None


def _told_once(
    names: tuple[str, ...], kind: type, product: Product, _: Catalogue
) -> Iterator[Breach]:
    """Loads of a kind that tell what they draw in no way or in several of those named."""
    for path, load in product.every_load:
        if isinstance(load, kind):
            told = [name for name in names if getattr(load, name) is not None]
            if not told:
                yield path.dotted, "none of them", None
            for name in told[1:]:
                yield (path / name).dotted, " and ".join(told), None


def _instant_load(product: Product, _: Catalogue) -> Iterator[Breach]:
    for path, load in product.every_load:
        if isinstance(load, Load) and load.charge is not None:
            length = load.duration
            if length is not None and length.nominal == 0:
                yield (path / "for").dotted, length.text, None


def _load_ranges(product: Product, _: Catalogue) -> Iterator[Breach]:
    for path, load in product.every_load:
        yield from order(load.supply.min, load.supply.max, path.child("supply", "min").dotted)


def _priority_weights(product: Product, _: Catalogue) -> Iterator[Breach]:
    for name, priority in product.priorities.items():
        if priority.weight is None:
            yield f"priorities.{name}.weight", "nothing", None


def _asked(expected: str, product: Product, _: Catalogue) -> Iterator[Breach]:
    """What the weighted criteria ask of the product with these words."""
    for ask in unmet(product, expected):
        yield ask.path, ask.read, None


def _anchors(product: Product, _: Catalogue) -> Iterator[Breach]:
    for name, priority in product.priorities.items():
        path = f"priorities.{name}"
        given = (priority.poor is not None) + (priority.good is not None)
        measure = measure_of(name)
        rest = None if measure is None else measure.anchors_rest_on
        if name.startswith(OWN) and given < 2:
            yield path, "own figures without both anchors", None
        elif rest is not None and given < 2 and not rest[1](product):
            yield path, f"anchors missing, and no {rest[0]} to take them from", None
        if (
            priority.poor is not None
            and priority.good is not None
            and priority.poor.nominal == priority.good.nominal
        ):
            yield path, "poor equal to good", None


def _unknown_ids(product: Product, catalogue: Catalogue) -> Iterator[Breach]:
    unread = catalogue.unread()
    if not unread:
        yield from _unknown_names(product, catalogue)
    known = {*catalogue.cells, *unread}
    for option in product.supply_options.cells:
        if option.cell is not None and option.cell not in known:
            near = nearest(option.cell, tuple(catalogue.cells))
            yield f"supply-options.cells.{option.cell}", f'"{option.cell}"', near
    known = {*catalogue.converters, *unread}
    for name in product.supply_options.converters:
        if name != "none" and name not in known:
            near = nearest(name, ("none", *catalogue.converters))
            yield f"supply-options.converters.{name}", f'"{name}"', near


def _unknown_names(product: Product, catalogue: Catalogue) -> Iterator[Breach]:
    """Names that some part must define, which can be told once every part is read."""
    known_blocks = {b for part in catalogue.parts.values() for b in part.blocks}
    known_blocks |= {b for addon in catalogue.addons.values() for b in addon.gives.blocks}
    known_kernels = set(catalogue.kernels) | {
        k for part in catalogue.parts.values() for k in part.kernels
    }
    variants = [v for part in catalogue.parts.values() for k in part.kernels.values() for v in k]
    known_engines = {engine for v in variants for engine in v.split("+")[1:]}
    known_points = {p for part in catalogue.parts.values() for p in part.operating_points}
    for task in product.workload:
        if task.at is not None and task.at not in known_points:
            near = nearest(task.at, tuple(sorted(known_points)))
            yield f"workload.{task.task}.at", f'"{task.at}"', near
        for path, names, known in (
            (f"workload.{task.task}.kernels", task.kernels, known_kernels),
            (f"workload.{task.task}.uses", task.uses, known_blocks),
            (f"workload.{task.task}.without-engines", task.without_engines, known_engines),
        ):
            for name in names:
                if name not in known:
                    yield f"{path}.{name}", f'"{name}"', nearest(name, tuple(sorted(known)))
    own = {name for part in catalogue.parts.values() for name in part.own_figures}
    for name in product.priorities:
        if name.startswith(OWN) and name[len(OWN) :] not in own:
            near = nearest(name[len(OWN) :], tuple(sorted(own)))
            yield f"priorities.{name}", f'"{name[len(OWN) :]}"', near and OWN + near


def _cell_options(product: Product, _: Catalogue) -> Iterator[Breach]:
    for option in product.supply_options.cells:
        path = f"supply-options.cells.{option.entry}"
        if (option.cell is None) == (option.budget is None):
            yield path, "neither or both of cell and budget", None
        elif option.budget is not None and option.voltage is None:
            yield path, "a budget without its voltage", None
        elif option.cell is not None and option.voltage is not None:
            yield path, "a voltage beside a cell", None
        elif option.budget is not None and (option.series > 1 or option.parallel > 1):
            yield path, "series or parallel beside a budget", None


def rate_currency(product: Product) -> str | None:
    """The currency that the engineer's rate is written in; None without a rate."""
    rate = product.cost.engineer_rate
    return None if rate is None else rate.unit_text.partition("/")[0].strip()


def _priced(product: Product, catalogue: Catalogue) -> Iterator[tuple[str, Price]]:
    """(path, price) of whatever may be bought for a product; of its parts all."""
    cells = (catalogue.cells.get(option.cell or "") for option in product.supply_options.cells)
    converters = (catalogue.converters.get(name) for name in product.every_converter)
    for part in catalogue.parts.values():
        if part.price is not None:
            yield f"{part.part}:price", part.price
    for cell in cells:
        if cell is not None and cell.price is not None:
            yield f"{cell.cell}:price", cell.price
    for converter in converters:
        if converter is not None and converter.price is not None:
            yield f"{converter.converter}:price", converter.price


def exchanged(product: Product, catalogue: Catalogue) -> dict[str, float]:
    """The rates of exchange that a product's amounts rest on, by currency: what one of it is worth
    in the product's own."""
    met = {price.currency for _, price in _priced(product, catalogue)}
    met |= {addon.price.currency for addon in catalogue.addons.values() if addon.price}
    met.add(rate_currency(product))
    rates = product.cost.rates
    return {name: rates[name].nominal for name in sorted(rates) if name in met}


def _currencies(product: Product, catalogue: Catalogue) -> Iterator[Breach]:
    home = product.cost.currency
    if home is None:
        return
    missing: dict[str, str] = {}
    hour = rate_currency(product)
    if hour is not None and hour not in (home, *product.cost.rates):
        missing[hour] = f"{product.product}:cost.engineer-rate"
    for where, price in _priced(product, catalogue):
        if price.currency is not None and price.currency not in (home, *product.cost.rates):
            missing.setdefault(price.currency, where)
    for currency, where in missing.items():
        yield f"cost.rates.{currency}", f"nothing, and {where} is in {currency}", None


def _direction(better: str, product: Product, catalogue: Catalogue) -> Iterator[Breach]:
    """Anchors the wrong way round, defaults among them; equal ones in the file are told before."""
    options = product.supply_options.cells
    first = catalogue.cells.get(options[0].cell or "") if options else None
    for name, priority in product.priorities.items():
        measure = measure_of(name)
        if measure is None or measure.better != better or not options:
            continue
        poor, good = anchors_of(product, measure, first)
        if (priority.poor is None and priority.good is None) or math.isnan(good - poor):
            continue
        both = priority.poor is not None and priority.good is not None
        if (poor == good and both) or (good - poor) * (1 if better == "more" else -1) > 0:
            continue
        key = "poor" if priority.good is None else "good"
        given = {"poor": priority.poor, "good": priority.good}
        words = [
            f"{which} {anchor.text}" if anchor is not None else f"{which} as by default"
            for which, anchor in given.items()
        ]
        yield f"priorities.{name}.{key}", ", ".join(words), None


PRODUCT_FAULTS = (
    *(Rule(words, breaches, unknown=unknown) for words, breaches, unknown in CALENDAR),
    *RAILS,
    *PRODUCT_CHARGE_FAULTS,
    *HARVEST,
    Rule("this figure: absent is never zero", _missing_product),
    Rule("a weight above zero for one criterion or more", _weightless),
    Rule(
        "one of current, power and charge",
        partial(_told_once, ("current", "power", "charge"), Load),
    ),
    Rule("one of current and power", partial(_told_once, ("current", "power"), StandingLoad)),
    Rule("a time above zero beside a charge", _instant_load),
    Rule("a range whose lower end is not above its upper end", _load_ranges),
    Rule("a weight, on any scale", _priority_weights),
    *(Rule(words, partial(_asked, words)) for words in asked_words()),
    Rule("poor and good, two different values", _anchors),
    Rule("good above poor: by this criterion more is better", partial(_direction, "more")),
    Rule("good below poor: by this criterion less is better", partial(_direction, "less")),
    Rule("an id that the catalogue defines", _unknown_ids, unknown=True),
    Rule("either a cell, or a budget with its voltage", _cell_options),
    # of a catalogue that was not meant, prices may be in any
    Rule("the rate of every currency that prices are in", _currencies, unknown=True),
)


# ------------------------------------------------------------------------------------- applying


def apply(
    rules: Iterable[Rule],
    record: Any,
    identity: str,
    documents: Mapping[str, Document],
    catalogue: Catalogue,
    log: FaultLog,
) -> None:
    """Note every breach of `rules` by one record, at the place of the nearest key that stands."""
    for rule in rules:
        for path, read, near in rule.breaches(record, catalogue):
            where, place = f"{identity}:{path}", None
            document = documents.get(identity)
            if document is not None:
                _, node = Path.parse(document.root, where).placed(document.root)
                place = place_of(node, document.file)
            log.add(
                Fault(
                    path=where,
                    read=read,
                    expected=rule.expected,
                    place=place,
                    nearest=near,
                    severity=rule.severity,  # type: ignore[arg-type]
                    unknown=rule.unknown,
                )
            )


def check_catalogue(
    catalogue: Catalogue, log: FaultLog, only: Collection[str] | None = None
) -> None:
    """Apply the rules that stop a run to every record of a catalogue, or to `only` some ids."""
    for records, rules in (
        (catalogue.parts, PART_FAULTS),
        (catalogue.cells, CELL_FAULTS),
        (catalogue.converters, CONVERTER_FAULTS),
        (catalogue.addons, ADDON_FAULTS),
    ):
        for identity, record in records.items():
            if only is None or identity in only:
                apply(rules, record, identity, catalogue.documents, catalogue, log)


def check_product(
    product: Product, document: Document, catalogue: Catalogue, log: FaultLog
) -> None:
    """Apply the rules that stop a run to a product."""
    apply(PRODUCT_FAULTS, product, product.product, {product.product: document}, catalogue, log)
