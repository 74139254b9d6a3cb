"""Questions of sense that `catalog check` and `product check` ask: odd, not wrong.

The bounds are the trade's rules of thumb (common practice, no source).
"""

from __future__ import annotations

import datetime
import statistics
from collections import defaultdict
from collections.abc import Iterable, Iterator
from itertools import pairwise
from math import prod

from advisor.catalogue.evidence import evidence_of, figures_of, measured
from advisor.catalogue.records import Catalogue
from advisor.catalogue.rule import Breach, Rule
from advisor.catalogue.rules import apply
from advisor.catalogue.schema_life import ASLEEP, DISCONNECTED
from advisor.catalogue.schema_parts import Part, Variant
from advisor.catalogue.schema_product import Product
from advisor.faults import Fault, FaultLog, nearest, shortened
from advisor.quantities import show

OLD = 3 * 365.25  # days
APART = 10.0  # times

Medians = dict[tuple[str, bool], float]


def _sleep_above_idle(part: Part, _: Catalogue) -> Iterator[Breach]:
    idle = [p.idle_current.nominal for p in part.operating_points.values() if p.idle_current]
    if not idle:
        return
    for name, state in part.sleep_states.items():
        if state.current is not None and state.current.y[0].nominal > min(idle):
            text = state.current.y[0].text
            yield f"sleep-states.{name}.current", f"{text}, above the lowest idle current", None


def _price_rises(part: Part, _: Catalogue) -> Iterator[Breach]:
    if part.price is None or part.price.breaks is None:
        return
    ordered = sorted(part.price.breaks.items())
    for (_few, before), (quantity, after) in pairwise(ordered):
        if after.nominal > before.nominal:
            yield f"price.breaks.{quantity}", f"{after.text} after {before.text}", None


def _slow_is_faster(part: Part, _: Catalogue) -> Iterator[Breach]:
    clocks = {n: p.clock.nominal for n, p in part.operating_points.items() if p.clock}
    for kernel, variants in part.kernels.items():
        plain = sorted(
            (clocks[v], f.time.nominal, v)
            for v, f in variants.items()
            if v in clocks and f.time is not None
        )
        for (slow, longer, _name), (fast, time, name) in pairwise(plain):
            if fast > slow and time > longer:
                yield f"kernels.{kernel}.{name}.time", "longer than at a lower clock", None


def _energy(part: Part) -> Iterator[tuple[str, str, float]]:
    for kernel, variants in part.kernels.items():
        for variant, f in variants.items():
            if f.time and f.current and f.supply:
                yield kernel, variant, f.time.nominal * f.current.nominal * f.supply.nominal


def _by_engine(variant: str) -> bool:
    return bool(Variant.parse(variant).engines)


def _energy_apart(part: Part, medians: Medians) -> Iterator[Breach]:
    """Energy out of line with the catalogue's for the kernel and with the part's own level.

    Parts differ by more than ten times in honest ways, so each is measured by its own median: what
    stands out is a figure with a slipped digit or unit.
    """
    ratios = {
        (kernel, variant): energy / medians[kernel, _by_engine(variant)]
        for kernel, variant, energy in _energy(part)
        if (kernel, _by_engine(variant)) in medians
    }
    if not ratios:
        return
    own = statistics.median(ratios.values())
    for (kernel, variant), ratio in ratios.items():
        times = ratio / own
        if times > APART or times < 1 / APART:
            word = f"{times:.3g} times the energy that the part's other kernels lead to expect"
            yield f"kernels.{kernel}.{variant}", word, None


def _medians(catalogue: Catalogue) -> Medians:
    """Median energy per unit of work, by kernel and whether an engine does it; of 4 or more."""
    groups: dict[tuple[str, bool], list[float]] = defaultdict(list)
    for part in catalogue.parts.values():
        for kernel, variant, energy in _energy(part):
            groups[kernel, _by_engine(variant)].append(energy)
    return {name: statistics.median(group) for name, group in groups.items() if len(group) >= 4}


def _old_evidence(part: Part, _: Catalogue) -> Iterator[Breach]:
    today = datetime.date.today()
    for name, evidence in part.evidence.items():
        if evidence.date is not None and (today - evidence.date).days > OLD:
            yield f"evidence.{name}.date", f"{evidence.date}, older than three years", None
        elif evidence.date is not None and evidence.date > today:
            yield f"evidence.{name}.date", f"{evidence.date}, in the future", None


def _estimates(part: Part, _: Catalogue) -> Iterator[Breach]:
    resting: dict[str | None, list[str]] = defaultdict(list)
    for path, record in measured(part):
        for figure in figures_of(record):
            resting[evidence_of(record, figure)].append(path.dotted)
    for name, of in resting.items():
        paths = list(dict.fromkeys(of))
        kind = part.evidence.get(name or "")
        rest = f" and {len(paths) - 1} more" if len(paths) > 1 else ""
        if name is None:
            yield paths[0], f"figures without evidence: {paths[0]}{rest}", None
        elif kind is not None and kind.kind == "estimate":
            yield f"evidence.{name}", f"an estimate, behind {paths[0]}{rest}", None


def one_board(part: Part) -> list[str]:
    """That the spread between boards is not measured, where only one was on the bench."""
    if len({observation.board for observation in part.boards.values()}) != 1:
        return []
    return [
        f"{part.part}: one board was measured; how far the next one may be from it is what is "
        "usual between boards (common practice, no source)"
    ]


def _switching_idle(part: Part, _: Catalogue) -> Iterator[Breach]:
    if part.supply.regulator == "switching":
        for name, point in part.operating_points.items():
            if point.idle_current is not None and point.supply is None:
                yield f"operating-points.{name}.supply", "nothing", None


PART_SENSE = (
    Rule("sleep below idle", _sleep_above_idle, "warning"),
    Rule("a price that falls with quantity", _price_rises, "warning"),
    Rule("a shorter time at the higher clock", _slow_is_faster, "warning"),
    Rule("evidence of the last three years", _old_evidence, "warning"),
    Rule("figures from the bench or a datasheet", _estimates, "warning"),
    Rule("the supply at which the idle current was taken", _switching_idle, "warning"),
)


def _target_beyond_use(product: Product, _: Catalogue) -> Iterator[Breach]:
    target, service = product.life_target, product.service_life
    if target and service and target.nominal > service.nominal:
        yield "life-target", f"{target.text}, longer than the service life", None


def _deadline_beyond_period(product: Product, _: Catalogue) -> Iterator[Breach]:
    for task in product.workload:
        shortest = min((p.nominal for p in task.periods.values()), default=0.0)
        if task.finish_within and shortest and task.finish_within.nominal > shortest:
            word = f"{task.finish_within.text}, longer than the period"
            yield f"workload.{task.task}.finish-within", word, None


def _retained_without_ram(product: Product, _: Catalogue) -> Iterator[Breach]:
    if "ram" in product.retain and product.needs.memory.ram is None:
        yield "retain", "ram, with no needs.memory.ram: a part's whole RAM is counted", None


def _idle_weight(product: Product, _: Catalogue) -> Iterator[Breach]:
    for name, priority in product.priorities.items():
        if priority.weight is not None and priority.weight.nominal == 0:
            yield f"priorities.{name}.weight", "0: it changes nothing", None


def _unknown_feature(product: Product, catalogue: Catalogue) -> Iterator[Breach]:
    known = {f for part in catalogue.parts.values() for f in part.features}
    known |= {f for a in catalogue.addons.values() for f in (*a.gives.features, *a.gives.grades)}
    for name in product.needs.features:
        if name not in known:
            read = f'"{name}", which no part counts and no add-on brings'
            yield f"needs.features.{name}", read, nearest(name, sorted(known))


def _unknown_block(product: Product, catalogue: Catalogue) -> Iterator[Breach]:
    known = {b for part in catalogue.parts.values() for b in part.blocks}
    for task in product.workload:
        for name in task.uses:
            if name not in known:
                read = f'"{name}", which no part has'
                yield f"workload.{task.task}.uses.{name}", read, nearest(name, sorted(known))


def _kept_by_none(product: Product, catalogue: Catalogue) -> Iterator[Breach]:
    known = {
        k
        for part in catalogue.parts.values()
        for state in part.sleep_states.values()
        for k in state.retains or ()
    }
    for name in product.retain:
        if name not in known:
            read = f'"{name}", which no sleep state keeps'
            yield "retain", read, nearest(name, sorted(known))


SEASONS = 2.0  # times a month's harvest over another's, from which there are seasons
ONE_SEASON = 10.0  # K between the coldest and the hottest place, below which no season is told


def _seasons(product: Product, _: Catalogue) -> Iterator[Breach]:
    """Months that differ in what they bring, where temperatures tell of none."""
    harvest = product.harvest
    if harvest is None or not product.stays:
        return
    days = harvest.days
    told = harvest.energy or harvest.irradiation or (days.months if days is not None else {})
    brings = [month.nominal for month in told.values()]
    at = [stay.at.nominal for stay in product.stays]
    if brings and max(brings) > SEASONS * min(brings) and max(at) - min(at) < ONE_SEASON:
        read = (
            f"{min(at):g} to {max(at):g} degC all the year, though the best month brings "
            f"{max(brings) / min(brings):.3g} times the worst: no season is told"
            if min(brings) > 0
            else f"{min(at):g} to {max(at):g} degC all the year, though some months bring nothing"
        )
        yield "environment", read, None


def _brighter(product: Product, catalogue: Catalogue) -> Iterator[Breach]:
    """Cells that the light of a month charges with more, on its mean, than they state to bear."""
    harvest = product.harvest
    if harvest is None:
        return
    months, days = harvest.months, harvest.days
    night = harvest.night or (days.night if days is not None else None)
    light = 86400.0 - (night.nominal if night is not None else 0.0)
    if not months or light <= 0:
        return
    month = max(months, key=lambda name: months[name].nominal)
    energy = months[month].nominal * prod(one.nominal for one in harvest.factors.values())
    power = energy / light
    for option in product.supply_options.cells:
        cell = catalogue.cells.get(option.cell or "")
        if cell is None or cell.charge is None or cell.voltage_curve is None:
            continue
        most = cell.charge.max_current
        full = max(y.nominal for y in cell.voltage_curve.y) * option.series
        current = power / full / option.parallel
        if most is not None and current > most.nominal:
            read = (
                f"{show(current, 'current')} into {cell.cell} on the mean of {month}'s light, "
                f"above its charge.max-current of {most.text}: what the charger has to hold back "
                "counts as harvested"
            )
            yield "harvest", read, None


def _stored_beyond(product: Product, catalogue: Catalogue) -> Iterator[Breach]:
    """Phases before use beyond the temperatures that the cells' tables hold."""
    cells = dict.fromkeys(o.cell for o in product.supply_options.cells if o.cell is not None)
    for name in cells:
        cell = catalogue.cells.get(name)
        if cell is None or cell.temperature is None:
            continue
        low, high = cell.temperature.at[0], cell.temperature.at[-1]
        for phase in product.before_use:
            for stay in phase.environment:
                at = stay.at.nominal
                beyond = low - at if at < low else at - high
                if beyond > 0:
                    end = "coldest" if at < low else "hottest"
                    read = (
                        f"{stay.at.text}, {beyond:.3g} K beyond the {end} that {name} states: "
                        "its losses go on by their law, whether the cell bears it is not known"
                    )
                    yield f"before-use.{phase.phase}.environment.{stay.entry}", read, None


WASTEFUL = 5.0  # times the current of another sleep state of the part


def _wasteful(product: Product, catalogue: Catalogue) -> Iterator[Breach]:
    """A sleep state kept before use although most parts that have it have one that draws far
    less."""
    for phase in product.before_use:
        state = phase.state
        if state in (None, ASLEEP, DISCONNECTED):
            continue
        worse = []
        for part in catalogue.parts.values():
            told = {
                name: one.current.y[0].nominal
                for name, one in part.sleep_states.items()
                if one.current is not None
            }
            if state in told and told[state] > WASTEFUL * min(told.values()):
                worse.append((part.part, min(told, key=lambda name: told[name]), told))
        if worse:
            part_id, least, told = worse[0]
            times = told[state] / told[least] if told[least] > 0 else float("inf")
            others = f", and in {len(worse) - 1} more parts" if len(worse) > 1 else ""
            read = f"{state}, which in {part_id} draws {times:.3g} times what {least} does{others}"
            yield f"before-use.{phase.phase}.state", read, None


EXCHANGED = 30.0  # times, between parts priced in one currency and in another


def _exchange(product: Product, catalogue: Catalogue) -> Iterator[Breach]:
    """A rate that makes parts priced in a currency many times as dear or as cheap as the others:
    what a slipped digit or a rate the wrong way round does, whatever the two currencies are."""
    prices: dict[str, list[float]] = defaultdict(list)
    for part in catalogue.parts.values():
        price = part.price
        if price is not None and price.breaks and price.currency is not None:
            prices[price.currency].append(price.breaks[min(price.breaks)].nominal)
    own = prices.get(product.cost.currency or "")
    for name, rate in product.cost.rates.items():
        if not own or name not in prices or name == product.cost.currency:
            continue
        here, there = statistics.median(own), statistics.median(prices[name]) * rate.nominal
        if here > 0 and there > 0 and max(here / there, there / here) > EXCHANGED:
            times = float(f"{there / here:.2g}")
            read = (
                f"{rate.text}, by which parts priced in {name} cost {times:g} times what those in "
                f"{product.cost.currency} do"
            )
            yield f"cost.rates.{name}", read, None


def _off_twice(product: Product, _: Catalogue) -> Iterator[Breach]:
    """What a load that is switched off would take standing by, though its rail is off as well."""
    gated = {rail.rail for rail in product.rails if rail.gated}
    for task in product.workload:
        for load in task.loads:
            if load.gated and load.standby is not None and load.on in gated:
                read = f"{load.standby.text}, which changes nothing: its rail {load.on} is off then"
                yield f"workload.{task.task}.loads.{load.load}.standby", read, None


PRODUCT_SENSE = (
    Rule("a life target within the service life", _target_beyond_use, "warning"),
    Rule("a deadline within the period", _deadline_beyond_period, "warning"),
    Rule("the RAM that must be kept", _retained_without_ram, "warning"),
    Rule("a weight above zero", _idle_weight, "warning"),
    Rule("a feature of some part", _unknown_feature, "warning"),
    Rule("a block of some part", _unknown_block, "warning"),
    Rule("something that sleep can keep", _kept_by_none, "warning"),
    Rule("temperatures of all seasons", _seasons, "warning"),
    Rule("a harvest that the cells bear", _brighter, "warning"),
    Rule("storage within what the cells state", _stored_beyond, "warning"),
    Rule("what one of it is worth in the product's own currency", _exchange, "warning"),
    Rule("a sleep state that draws little while nobody uses the product", _wasteful, "warning"),
    Rule("a load on a rail that stays on between uses", _off_twice, "warning"),
)


def catalogue_warnings(catalogue: Catalogue) -> tuple[Fault, ...]:
    """Everything odd in a catalogue that has passed its rules."""
    log = FaultLog()
    medians = _medians(catalogue)
    energy = Rule(
        f"energy per unit of work within {APART:g} times of that",
        lambda part, _: _energy_apart(part, medians),
        "warning",
    )
    for name, part in catalogue.parts.items():
        apply((*PART_SENSE, energy), part, name, catalogue.documents, catalogue, log)
    return tuple(log.warnings)


def in_words(warnings: Iterable[Fault]) -> Iterator[str]:
    """Warnings of a product as an answer tells them, without places in files.

    `frost-post:needs.features.uatr: "uatr", which no part counts and no add-on brings; the nearest
    name is uart`
    """
    for one in warnings:
        near = "" if one.nearest is None else f"; the nearest name is {one.nearest}"
        yield f"{shortened(one.path)}: {shortened(one.read)}{near}"


def product_warnings(product: Product, catalogue: Catalogue) -> tuple[Fault, ...]:
    """Everything odd in a product that has passed its rules."""
    log = FaultLog()
    apply(PRODUCT_SENSE, product, product.product, catalogue.documents, catalogue, log)
    return tuple(log.warnings)
