"""What a pack, a plan and a build may not exceed; `screens` has the part's own needs.

Each limit is declared once: with its words it says what fails at the stated values, as a mask over
(R, N) whether builds stand, R builds on one feed, N draws or places of a lever. SI figures.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.criteria import Keys, measures
from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass
from advisor.decide import pack_limits
from advisor.decide.builds import Assessed
from advisor.decide.chances import bears_on
from advisor.decide.costs import ProductCost
from advisor.decide.feed_limits import FEED_LIMITS, Supply
from advisor.decide.option_limits import OPTION_LIMITS, Planned
from advisor.decide.screens import (
    DARK,
    LEAD_TIME,
    PART_LIMITS,
    TAKES,
    UNIT_COST,
    Case,
    Failed,
    Limit,
)
from advisor.decide.sides import PartSide
from advisor.decide.supplies import cases
from advisor.model.draws import Array
from advisor.model.meetings import rest_before, task_peak
from advisor.model.packs import Feed
from advisor.model.plan import Plans
from advisor.model.rails import at_rest
from advisor.model.tables import Stack
from advisor.model.workload import ProductFigures


@dataclass(frozen=True, slots=True)
class Held:
    """Builds on one feed: the subject of the limits at the level `build`."""

    assessed: Assessed
    side: PartSide
    own: ProductCost

    @property
    def chip_v(self) -> Array:
        """Voltage at the chip, of a fresh pack where that is the rail, (N,) V."""
        return self.assessed.feed.fresh_v

    def figure(self, keys: Keys) -> Array:
        """A part's own figure, (R, N); NaN where it is not stated."""
        return self.side.figures[keys][self.assessed.part]


def _of(cases: Callable[[Assessed], Iterator[Case]]) -> Callable[[Held], Iterator[Case]]:
    return lambda at: cases(at.assessed)


def _supply_max(at: Held) -> Iterator[Case]:
    most = at.side.most_v[at.assessed.part]
    yield Case(need="supply max at the chip", required=at.chip_v, offered=most)


def _supply_min(at: Held) -> Iterator[Case]:
    least = at.side.least_v[at.assessed.part]
    yield Case(need="supply min at the chip", required=least, offered=at.chip_v)


def _takers(end: Literal["min", "max"]) -> Callable[[Held], Iterator[Case]]:
    return lambda at: cases(at.side.supplies, at.assessed.part, at.assessed.feed.fresh_on, end)


def _max_output(at: Held) -> Iterator[Case]:
    feed = at.assessed.feed
    if np.isfinite(feed.most_output_a):
        need = f"{feed.converter_name} max-output"
        yield Case(need=need, required=at.assessed.peak_a, offered=feed.most_output_a)
    for one, peak in zip(feed.rails, at.assessed.rail_peaks, strict=True):
        if np.isfinite(one.most_output_a):
            need = f"{one.name} max-output for {one.at}"
            yield Case(need=need, required=peak, offered=one.most_output_a)


def _max_pulse(at: Held) -> Iterator[Case]:
    feed = at.assessed.feed
    if feed.cell is not None and np.isfinite(feed.most_pulse_a):
        peak = at.assessed.life.start_peak_a
        need = f"{feed.cell.cell} max-pulse"
        yield Case(need=need, required=peak, offered=feed.pulse_a)


def _after_rest(at: Held) -> Iterator[Case]:
    """Each task's pulse after its own rest; other tasks' pulses may be too weak to break a film."""
    assessed = at.assessed
    feed, product = assessed.feed, assessed.product
    if feed.rested is None or feed.cell is None:
        return
    for k, task in enumerate(product.tasks):
        rest, coldest = rest_before(product, k)
        amps = task_peak(assessed.drain, k)
        if feed.pack.reservoir is not None:
            amps = np.fmin(amps, assessed.life.start_peak_a)
        open_v = feed.pack.open_v[0] / feed.option.series
        volts = feed.rested.voltage(rest, coldest, amps / feed.option.parallel, open_v)
        yield Case(
            need=f"{feed.cell.cell} after-rest: voltage under {task.name}, rested",
            required=assessed.cut_off_v,
            offered=volts * feed.option.series,
        )


def _max_continuous(at: Held) -> Iterator[Case]:
    feed = at.assessed.feed
    if feed.cell is not None and np.isfinite(feed.most_mean_a):
        mean = at.assessed.life.start_mean_a
        need = f"{feed.cell.cell} max-continuous"
        yield Case(need=need, required=mean, offered=feed.most_mean_a)


def _service(at: Held) -> Iterator[Case]:
    harvest, wanted = at.assessed.harvest, at.assessed.product.service
    if harvest is not None and wanted is not None:
        offered = 1 - harvest.lost
        yield Case(need="needs.service on a share of the days", required=wanted, offered=offered)


def _unit_cost(at: Held) -> Iterator[Case]:
    own, paid = at.own, at.assessed.costs.purchase
    yield Case(
        need=UNIT_COST, required=own.limit, offered=paid, unit=own.currency, beyond="it costs"
    )


def _deadlines(at: Held) -> Iterator[Case]:
    lines = at.assessed.timeline
    for k, (task, here) in enumerate(zip(at.assessed.product.tasks, lines.tasks, strict=True)):
        if task.finish_within is not None and not bears_on(at.assessed.product, k):
            length = lines.duration[:, here].sum(axis=1)
            need = f"workload.{task.name}.finish-within"
            yield Case(need=need, required=task.finish_within, offered=length, beyond=TAKES)


def _by_chance(at: Held) -> Iterator[Case]:
    product = at.assessed.product
    for k, task in enumerate(product.tasks):
        if task.finish_within is not None and bears_on(product, k):
            yield Case(
                need=f"workload.{task.name}.finish-within in a share of the events",
                required=product.confidence,
                offered=at.assessed.awake.in_time(k),
            )


def _busy(at: Held) -> Iterator[Case]:
    yield Case(need="busy share of the time", required=at.assessed.timeline.most_busy, offered=1.0)


PEAK: Keys = ("peak-current",)


def _own_peak(at: Held) -> Iterator[Case]:
    """How long it lasts is not stated, so no reservoir is counted on."""
    feed, own = at.assessed.feed, at.figure(PEAK)
    if np.isnan(own).all():
        return
    product = at.assessed.product
    constant = product.standing_a + at.side.standing_a[at.assessed.part]
    yield Case(
        need=f"{feed.converter_name} max-output for the part's peak-current",
        required=own + constant + product.standing_w / at.chip_v,
        offered=feed.most_output_a,
    )
    rest = [at_rest(rail) for rail in product.rails]
    amps, watts = feed.cell_side(own, 0.0 * own, constant, product.standing_w, rest)
    yield Case(
        need="the cells' max-pulse for the part's peak-current",
        required=amps + watts / feed.pack.open_v[0],
        offered=feed.pulse_a,
    )


BUILD_LIMITS = (
    Limit(
        name="supply-max",
        level="build",
        title="the chip's supply does not pass its greatest",
        dimension="voltage",
        cases=_supply_max,
        apart_from=DARK,
    ),
    Limit(
        name="supply-min",
        level="build",
        title="the chip's supply reaches its least",
        dimension="voltage",
        cases=_supply_min,
        apart_from=DARK,
    ),
    Limit(
        name="load-supply-max",
        level="build",
        title="the supply of loads, of add-ons and of blocks in use does not pass their greatest",
        dimension="voltage",
        cases=_takers("max"),
        apart_from=DARK,
    ),
    Limit(
        name="load-supply-min",
        level="build",
        title="the supply of loads, of add-ons and of blocks in use reaches their least",
        dimension="voltage",
        cases=_takers("min"),
        apart_from=DARK,
    ),
    Limit(
        name="max-output",
        level="build",
        title="the greatest current at the rail is within the converter's output",
        dimension="current",
        cases=_max_output,
        apart_from=DARK,
    ),
    Limit(
        name="max-pulse",
        level="build",
        title="the cells' greatest current is within their pulse limit",
        dimension="current",
        cases=_max_pulse,
    ),
    Limit(
        name="after-rest",
        level="build",
        title="a pulse after rest, in the cold, leaves the cells' voltage above the cut-off",
        dimension="voltage",
        cases=_after_rest,
    ),
    Limit(
        name="peak-current",
        level="build",
        title="converter and cells give the part's own greatest current",
        dimension="current",
        cases=_own_peak,
        reads=(PEAK,),
    ),
    Limit(
        name="max-continuous",
        level="build",
        title="the cells' mean current is within their continuous limit",
        dimension="current",
        cases=_max_continuous,
    ),
    Limit(
        name="before-use",
        level="build",
        title="what comes before use leaves the pack something to give",
        dimension="share",
        cases=_of(pack_limits.stored),
    ),
    Limit(
        name="in-store",
        level="build",
        title="the cells' shelf life is longer than what comes before use",
        dimension="time",
        cases=_of(pack_limits.in_store),
    ),
    Limit(
        name="aged-in-store",
        level="build",
        title="age leaves the cells more than `ageing.end` when what comes before use is over",
        dimension="share",
        cases=_of(pack_limits.aged_in_store),
    ),
    Limit(
        name="fresh",
        level="build",
        title="a new pack, and the first as it ages before use, carries the load in the cold",
        dimension="voltage",
        cases=_of(pack_limits.fresh),
    ),
    Limit(
        name="service",
        level="build",
        title="a store that is harvested into carries the load on as many days as `needs.service`",
        dimension="share",
        cases=_service,
    ),
    Limit(
        name="recharge",
        level="build",
        title="one charge lasts until the next",
        dimension="time",
        cases=_of(pack_limits.interval),
    ),
    Limit(
        name="charge-current",
        level="build",
        title="the cells can be charged with what they give from charge to charge",
        dimension="current",
        cases=_of(pack_limits.charging),
    ),
    Limit(
        name=UNIT_COST,
        level="build",
        title="what the parts of a unit may cost",
        dimension="money",
        least=False,
        cases=_unit_cost,
    ),
    Limit(
        name="finish-within",
        level="build",
        title="every task finishes in time",
        dimension="time",
        least=False,
        cases=_deadlines,
        apart_from=DARK,
    ),
    Limit(
        name="finish-by-chance",
        level="build",
        title="events that wait or are tried again finish in time as often as `needs.confidence`",
        dimension="share",
        cases=_by_chance,
        apart_from=DARK,
    ),
    Limit(
        name="busy",
        level="build",
        title="the tasks together leave the core time",
        dimension="share",
        cases=_busy,
        apart_from=DARK,
    ),
)

LIMITS = (*PART_LIMITS, *FEED_LIMITS, *OPTION_LIMITS, *BUILD_LIMITS)


def figures_read(product: Product) -> tuple[Keys, ...]:
    """Keys of the parts' own figures that the product's criteria, limits and needs read."""
    weighed = (keys for measure in measures(product) for keys in measure.reads)
    needed = () if product.needs.lead_time is None else (LEAD_TIME,)
    limits = (keys for one in LIMITS for keys in one.reads)
    return tuple(dict.fromkeys([*weighed, *limits, *needed]))


def _faults(limits: Sequence[Limit], subject: object) -> list[Failed]:
    """What a single subject fails, at the stated values."""
    return [
        limit.failed(case)
        for limit in limits
        for case in limit.cases(subject)
        if limit.bad(case).any()
    ]


def feed_faults(feed: Feed, product: ProductFigures) -> list[Failed]:
    """What rules a feed out whatever the part, at the stated values."""
    return _faults(FEED_LIMITS, Supply(feed, product))


def plan_faults(
    plan: Plans, table: Stack, product: ProductFigures
) -> Iterator[tuple[int, list[Failed]]]:
    """(part, why it has no plan) of every part and sleep state without one."""
    for p, z in zip(*np.nonzero(table.sleeping & ~plan.possible), strict=True):
        found = _faults(
            OPTION_LIMITS,
            Planned(plan=plan, table=table, product=product, part=int(p), sleep=int(z)),
        )
        if found:
            yield int(p), found


def row_faults(assessed: Assessed, side: PartSide, own: ProductCost) -> list[list[Failed]]:
    """What rules each build out, by row, at the stated values; empty for those that stand."""
    out: list[list[Failed]] = [[] for _ in assessed.part]
    for limit in BUILD_LIMITS:
        for case in limit.cases(Held(assessed, side, own)):
            bad = limit.bad(case)
            if not bad.any():
                continue
            rows = np.flatnonzero(np.broadcast_to(bad, (len(out), 1))).tolist()
            for row, failed in zip(rows, limit.each_failed(case, rows), strict=True):
                out[row].append(failed)
    return out


def kept(
    assessed: Assessed, side: PartSide, own: ProductCost, without: Collection[str] = ()
) -> tuple[NDArray[np.bool_], dict[str, NDArray[np.bool_]]]:
    """(whether builds keep every limit of their feed and their own, (R, N); where which need is
    broken, (R, N) each); limits of the names `without` are not looked at."""
    keeps = np.ones(assessed.score.shape, dtype=bool)
    broken: dict[str, NDArray[np.bool_]] = {}
    supply, held = Supply(assessed.feed, assessed.product), Held(assessed, side, own)
    asked = [*((one, supply) for one in FEED_LIMITS), *((one, held) for one in BUILD_LIMITS)]
    with np.errstate(invalid="ignore"):
        for limit, subject in asked:
            if limit.name in without:
                continue
            for case in limit.cases(subject):
                bad = limit.compared(case)
                if bad.any():
                    broken[case.need] = np.broadcast_to(bad, keeps.shape)
                    keeps &= ~bad
    return keeps, broken
