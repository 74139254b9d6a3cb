"""What the studies share in their results; field names are the JSON's keys, SI in the name.

The text below a field of a result is its entry in the glossary: its unit in brackets, where it has
one and its `unit` does not say, then what it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, fields, is_dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np

from advisor.catalogue.records import Catalogue
from advisor.catalogue.sense import in_words, product_warnings
from advisor.dataclass import dataclass
from advisor.decide.builds import Build
from advisor.decide.cautions import cautions_of
from advisor.decide.drawing import Drawn
from advisor.decide.evaluate import Candidate, Evaluation
from advisor.decide.missing import STAY
from advisor.decide.ranks import percentiles
from advisor.decide.screens import Failed
from advisor.figures import Path
from advisor.model.ends import ENDS
from advisor.model.tables import never_sleeps
from advisor.studies.assumed import late_change, missed_deadlines, of_build, slow_charges
from advisor.studies.harvests import ServiceResult

if TYPE_CHECKING:
    import pandas as pd


WHERE_STATED: Mapping[str, Any] = MappingProxyType({"where stated": True})  # else left out


@dataclass(frozen=True, slots=True)
class BuildResult:
    """How a part is built into the product."""

    cell: str
    """the cell's id, or `budget` for an ideal budget of charge"""
    series: int
    """cells in series"""
    parallel: int
    """strings of cells in parallel"""
    converter: str
    """the converter's id; `none`: straight from the pack"""
    rails: Mapping[str, str] = field(kw_only=True, default_factory=dict, metadata=WHERE_STATED)
    """further rail to its converter's id; left out where the product has none"""
    sleep_state: str
    """where the part waits between events; `idle at POINT`: it idles there in place of sleeping"""
    addons: tuple[str, ...]
    """ids of the add-ons that bring what the part lacks, a piece of each; empty where it lacks
    nothing"""
    operating_points: Mapping[str, str]
    """task to the clock setting that it runs at"""
    engines: Mapping[str, tuple[str, ...]]
    """task to the engines on the chip that do kernels' work"""


@dataclass(frozen=True, slots=True)
class Breakdown:
    """Mean rail current by consumer; sums to the rail current."""

    sleep: float
    """[A] asleep between events"""
    standing: float
    """[A] standing loads"""
    addons: Mapping[str, float]
    """[A] add-on to what it draws all the time; uses of its blocks are their task's"""
    tasks: Mapping[str, float]
    """[A] task to what its events draw, add-ons' standing currents apart"""


@dataclass(frozen=True, slots=True)
class Power:
    """Mean currents at the stated values."""

    rail_current_a: float
    """[A] mean current at the chip's supply, loads included"""
    battery_current_a: float
    """[A] mean current from the pack over its life, reservoir leak included, self-discharge not"""
    busy_share: float
    """[share] time spent in events, Σ length/period; above 1 the part cannot keep up"""
    breakdown_a: Breakdown
    """[A] the rail current by consumer"""


@dataclass(frozen=True, slots=True)
class Range:
    """A figure at the stated values, with 5, 50 and 95 % of its draws (None without draws)."""

    nominal: float
    """at the stated values"""
    p05: float | None
    """5 % of the draws are below"""
    p50: float | None
    """median of the draws"""
    p95: float | None
    """95 % of the draws are below"""


@dataclass(frozen=True, slots=True)
class Spread:
    """5, 50 and 95 % of the draws (None without draws)."""

    p05: float | None
    """5 % of the draws are below"""
    p50: float | None
    """median of the draws"""
    p95: float | None
    """95 % of the draws are below"""


@dataclass(frozen=True, slots=True)
class LifeResult:
    """Battery life and what ends it."""

    nominal: float
    """[s] at the stated values"""
    p05: float | None
    """[s] 5 % of the draws are below"""
    p50: float | None
    """[s] median of the draws"""
    p95: float | None
    """[s] 95 % of the draws are below"""
    ends_by: str
    """what ends it at the stated values, see [ends of life](lists.md#ends-of-life)"""
    averaged: float
    """[s] the life if the mean usable capacity over the year counted, not the coldest place's"""
    one_charge: float | None = field(default=None, metadata=WHERE_STATED)
    """[s] how long the first charge lasts, of which what comes before use may have taken some, and
    aged the pack; left out where nobody charges it"""


@dataclass(frozen=True, slots=True)
class CostResult:
    """Cost per unit over the service life; None where a figure is missing, or without draws.

    Expectations are over the draws in which the part keeps every need and limit.
    """

    currency: str
    """of every amount"""
    purchase: float | None
    """[per unit] part, extras, pack, converter, reservoir, at the price of the quantity bought, at
    the stated values"""
    development: float | None
    """[per unit] set-up hours and tools, over the units made, at the stated values"""
    upkeep: float | None
    """[per unit] battery changes with their visits, and visits to charge, at the stated values"""
    lifetime: float | None
    """[per unit] purchase, development and upkeep, at the stated values"""
    replacements: float | None
    """battery changes over the service life, at the stated values"""
    expected: float | None
    """[per unit] mean over the draws of what it costs over the service life"""
    p05: float | None
    """[per unit] 5 % of the draws are below"""
    p95: float | None
    """[per unit] 95 % of the draws are below"""
    expected_purchase: float | None
    """[per unit] mean of the purchase"""
    expected_development: float | None
    """[per unit] mean of the development"""
    expected_upkeep: float | None
    """[per unit] mean of the upkeep"""
    change_probability: float | None
    """[share] draws in which the battery is changed at least once over the service life"""
    charges: float | None = field(default=None, metadata=WHERE_STATED)
    """visits over the service life that charge the pack; left out where nobody does"""

    @property
    def told(self) -> float | None:
        """Per unit over the service life: expected, or at the stated values without draws."""
        return self.lifetime if self.expected is None else self.expected


@dataclass(frozen=True, slots=True)
class CriterionResult:
    """A criterion's value, its worth, its weight and its points."""

    value: float
    """the figure at the stated values, in `unit`"""
    unit: str
    """of the value: SI, or a currency"""
    utility: float
    """[0 to 1] what it is worth, 0 at `poor` and 1 at `good`: the mean over the draws, of which
    those that break a need count 0, or without draws that of the value"""
    weight: float
    """of a sum of 1; the mean where weights are uncertain"""
    points: float
    """100 × weight × utility"""


@dataclass(frozen=True, slots=True)
class FailedResult:
    """A need that is not met."""

    need: str
    """what is asked for"""
    required: float | str
    """[SI] what it asks"""
    offered: float | str | None
    """[SI] what there is"""
    text: str
    """the same in words"""


@dataclass(frozen=True, slots=True)
class RankedPart:
    """A part of the shortlist, at its best build."""

    rank: int
    """1 is first"""
    part: str
    """the part's id"""
    maker: str | None
    """who makes it"""
    invented: bool
    """whether its file says that it is demonstration data"""
    score: float
    """[of 100] Σ points of the criteria: the mean over the draws, or without draws that of the
    stated values"""
    stated_score: float
    """[of 100] the same at the stated values"""
    score_range: Spread
    """[of 100] of the draws; a weight written `5 ± 2` is drawn too"""
    first_place_probability: float | None
    """[share] draws in which the part has the highest score; ties are split"""
    meets_life_target_probability: float | None
    """[share] draws in which the battery lasts the life target, and every need is kept"""
    fits_probability: float | None
    """[share] draws in which it keeps every need and limit; in the others it scores nothing"""
    broken: Mapping[str, float]
    """[share] need or limit to the draws in which it is broken, the most often broken first"""
    rank_acceptability: tuple[float, ...] | None
    """[share] draws in which it has rank 1, 2, …; ties share their ranks (SMAA-2)"""
    expected_regret: float | None
    """[points] what choosing it gives away on average against the best of each draw"""
    dominated_by: tuple[str, ...]
    """parts at least as good by every criterion, as stated and as expected over the draws, and
    better by one ("beaten by")"""
    estimated: tuple[str, ...]
    """paths of figures that nobody measured, filled in by `--estimate-missing`"""
    build: BuildResult
    """how it is built into the product"""
    power: Power
    """where its current goes"""
    battery_life_s: LifeResult
    """how long a set of cells lasts"""
    cost: CostResult
    """what a unit costs"""
    setup_h: float | None
    """[h] from the box to the first working program, at the stated values"""
    toolchain: float | None
    """[of 100] ten questions, none 0, partial 50, full 100, of equal weight; unanswered ones widen
    the range"""
    figures: Mapping[str, float]
    """[SI] the part's own figures that criteria and limits read, by their keys"""
    criteria: Mapping[str, CriterionResult]
    """criterion to its value and its points"""
    reason: str
    """why it stands where it stands, in a line"""
    ends: str
    """what ends the battery's life, in words"""
    service: ServiceResult | None = field(default=None, metadata=WHERE_STATED)
    """how a store that is harvested into fares; left out where nothing is"""


def known(value: float) -> float | None:
    """The value, or None where it is not a number."""
    return None if np.isnan(value) else float(value)


def build_result(build: Build) -> BuildResult:
    """The build's choices by name."""
    assessed, row = build.assessed, build.row
    option = assessed.feed.option
    options = assessed.options(row)
    tasks = assessed.task_names
    return BuildResult(
        cell=option.cell or "budget",
        series=option.series,
        parallel=option.parallel,
        converter=assessed.feed.converter_name,
        rails={one.rail: one.name for one in assessed.feed.rails},
        sleep_state=assessed.sleep_name(row),
        addons=build.addons,
        operating_points={t: o.point for t, o in zip(tasks, options, strict=True)},
        engines={t: o.engines for t, o in zip(tasks, options, strict=True)},
    )


def addon_currents(build: Build) -> dict[str, np.ndarray]:
    """What each add-on draws in every state of a build, its blocks in use apart: (S,) A."""
    assessed, row = build.assessed, build.row
    lines, figures = assessed.timeline, assessed.stack.parts[int(assessed.part[row])]
    asleep = np.arange(lines.share.shape[1]) == lines.share.shape[1] - 1
    for task, here, names in zip(assessed.product.tasks, lines.tasks, lines.names, strict=True):
        loads = {load.name for load in task.loads if load.asleep}
        for s, name in zip(range(here.start, here.stop), names, strict=True):
            asleep[s] = name.kind == "load" and name.name in loads
    rests = not never_sleeps(assessed.sleep_name(row))
    return {
        name: np.where(asleep & rests, figures.asleep_a[name][0], up[0])
        for name, up in figures.awake_a.items()
    }


def battery_current(build: Build) -> float:
    """Mean current from a build's pack over its life, A: the only place where it is told.

    The reservoir's leak is in it, self-discharge is not; what `explain` tells by consumer adds up
    to it.
    """
    return float(build.assessed.life.mean_current_a[build.row, 0])


def power_result(build: Build) -> Power:
    """Mean currents of a build, by consumer.

    Each task counts what its events draw, the core's sleep in between counts as sleep:
    average = sum over tasks of charge/period + I_sleep x (1 - busy share) + standing loads.
    """
    assessed, row = build.assessed, build.row
    lines = assessed.timeline.filled_by(row)
    volts = assessed.feed.chip_voltage()
    current = lines.chip_a[row] + lines.load_a + (lines.chip_w[row] + lines.load_w) / volts
    current = current + lines.fill_s * volts
    beside = addon_currents(build)
    current = current - sum((a[:, None] for a in beside.values()), 0.0)
    part = (lines.share[row] * current)[:, 0]
    return Power(
        rail_current_a=float(assessed.rail_a[row, 0]),
        battery_current_a=battery_current(build),
        busy_share=float(lines.busy[row, 0]),
        breakdown_a=Breakdown(
            sleep=float(part[-1]),
            standing=float((lines.standing_a + lines.standing_w / volts)[0]),
            addons={n: float((lines.share[row, :, 0] * a).sum()) for n, a in beside.items()},
            tasks={
                name: float(part[here].sum())
                for name, here in zip(assessed.task_names, lines.tasks, strict=True)
            },
        ),
    )


def fitting(drawn: Drawn, values: np.ndarray) -> np.ndarray:
    """Those of the values (N,) in which every need and limit is kept."""
    return values if drawn.fits.all() else values[drawn.fits]


def spread(values: np.ndarray | None) -> Spread:
    """5, 50, 95 % of draws; Nones without them."""
    if values is None or not values.size or bool(np.isnan(values).any()):
        return Spread(p05=None, p50=None, p95=None)
    p05, p50, p95 = percentiles(values)
    return Spread(p05=p05, p50=p50, p95=p95)


def life_result(candidate: Candidate, averaged: float) -> LifeResult:
    """Battery life of the chosen build; `averaged` is that of `averaged_lives`, s."""
    build = candidate.best
    life, row = build.assessed.life, build.row
    drawn = spread(None if candidate.drawn is None else candidate.drawn.life_s)
    return LifeResult(
        nominal=float(life.life_s[row, 0]),
        p05=drawn.p05,
        p50=drawn.p50,
        p95=drawn.p95,
        ends_by=ENDS[int(life.ends_by[row, 0])].name,
        averaged=averaged,
        one_charge=None if life.charged is None else float(life.charged.one_s[row, 0]),
    )


def cost_result(candidate: Candidate, currency: str) -> CostResult:
    """Cost of the chosen build."""
    build, drawn = candidate.best, candidate.drawn
    money, row = build.assessed.costs, build.row
    lifetimes = spread(None if drawn is None else fitting(drawn, drawn.lifetime))
    return CostResult(
        currency=currency,
        purchase=known(money.purchase[row, 0]),
        development=known(money.development[row, 0]),
        upkeep=known(money.upkeep[row, 0]),
        lifetime=known(money.lifetime[row, 0]),
        replacements=known(money.replacements[row, 0]),
        expected=None if drawn is None else known(drawn.cost),
        p05=lifetimes.p05,
        p95=lifetimes.p95,
        expected_purchase=None if drawn is None else known(drawn.purchase),
        expected_development=None if drawn is None else known(drawn.development),
        expected_upkeep=None if drawn is None else known(drawn.upkeep),
        change_probability=None if drawn is None else known(drawn.change),
        charges=None if money.charges is None else known(money.charges[row, 0]),
    )


def failed_result(failed: Failed) -> FailedResult:
    """A failed need, with its words."""
    return FailedResult(failed.need, failed.required, failed.offered, failed.text)


def plain(value: Any) -> Any:
    """A result as dicts, lists and numbers, keys in the order of declaration."""
    if isinstance(value, Path):
        return str(value)
    if is_dataclass(value) and not isinstance(value, type):
        told = [f for f in fields(value) if f.repr]
        return {
            f.name: plain(getattr(value, f.name))
            for f in told
            if "where stated" not in f.metadata or getattr(value, f.name)
        }
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (tuple, list)):
        return [plain(v) for v in value]
    if isinstance(value, np.generic):
        return value.item()
    return value


def names_of(record: type[Any]) -> list[str]:
    """The names that `plain` gives the values of a record."""
    return [f.name for f in fields(record) if f.repr]


def frame(rows: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """Rows as a data frame."""
    import pandas as pd

    return pd.DataFrame.from_records([dict(row) for row in rows])


def invented(evaluation: Evaluation) -> bool:
    """Whether anything of the answer rests on demonstration data."""
    feeds = [c.best.assessed.feed for c in evaluation.candidates]
    return (
        evaluation.product.invented
        or any(p.invented for p in evaluation.catalogue.parts.values())
        or any(f.cell is not None and f.cell.invented for f in feeds)
        or any(record.invented for f in feeds for record, _ in f.bought)
        or any(addon.invented for addon in evaluation.addons)
    )


def cautions_in_use(evaluation: Evaluation) -> tuple[str, ...]:
    """What to mind with the cells, converters and add-ons of the chosen builds."""
    best = [candidate.best for candidate in evaluation.candidates]
    return cautions_of(best, evaluation.catalogue, evaluation.figures.hottest)


def warnings_of(evaluation: Evaluation, catalogue: Catalogue | None = None) -> tuple[str, ...]:
    """What looks odd in the product and in the parts that it reads, each once.

    `catalogue` is the whole one where only some of its parts were evaluated.
    """
    product = evaluation.product
    whole = catalogue or evaluation.catalogue
    odd = in_words(product_warnings(product, whole))
    empty = [] if whole.parts else ["the catalogue has no parts yet: `catalog add` asks for one"]
    told = [text for c in evaluation.candidates for text in of_build(c.best)]
    told += slow_charges(c.best for c in evaluation.candidates)
    told += [text for c in evaluation.candidates[:1] for text in late_change(c.best, product)]
    told += [text for c in evaluation.candidates[:1] for text in missed_deadlines(c.best)]
    return tuple(dict.fromkeys([*empty, *odd, *evaluation.warnings, *told]))


def moving_warnings(evaluation: Evaluation, catalogue: Catalogue | None = None) -> tuple[str, ...]:
    """Those of an answer that moves figures, see `warnings_of`."""
    stay = (STAY,) if evaluation.catalogue.estimates else ()
    return (*warnings_of(evaluation, catalogue), *stay)
