"""What the studies share in their results; field names are the JSON's keys, SI in the name."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from advisor.catalogue.records import Catalogue
from advisor.decide.builds import Build
from advisor.decide.evaluate import Candidate, Evaluation
from advisor.decide.ranks import percentiles
from advisor.decide.screens import Failed
from advisor.faults import Fault, nearest
from advisor.figures import Path
from advisor.model.ends import ENDS

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class BuildResult:
    """How a part is built into the product."""

    cell: str
    series: int
    parallel: int
    converter: str
    sleep_state: str
    addons: tuple[str, ...]
    operating_points: Mapping[str, str]
    engines: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Breakdown:
    """Mean rail current by consumer, A; sums to the rail current."""

    sleep: float
    standing: float
    tasks: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Power:
    """Mean currents at the stated values; battery current is the mean over the battery's life."""

    rail_current_a: float
    battery_current_a: float
    busy_share: float
    breakdown_a: Breakdown


@dataclass(frozen=True, slots=True)
class Range:
    """A figure at the stated values, with 5, 50 and 95 % of its draws (None without draws)."""

    nominal: float
    p05: float | None
    p50: float | None
    p95: float | None


@dataclass(frozen=True, slots=True)
class Spread:
    """5, 50 and 95 % of the draws (None without draws)."""

    p05: float | None
    p50: float | None
    p95: float | None


@dataclass(frozen=True, slots=True)
class LifeResult:
    """Battery life, s, and what ends it; `averaged` takes the mean capacity over the year."""

    nominal: float
    p05: float | None
    p50: float | None
    p95: float | None
    ends_by: str
    averaged: float


@dataclass(frozen=True, slots=True)
class CostResult:
    """Cost per unit over the service life, at the stated values; None where a figure is missing."""

    currency: str
    purchase: float | None
    development: float | None
    upkeep: float | None
    lifetime: float | None
    replacements: float | None
    lifetime_p05: float | None
    lifetime_p95: float | None


@dataclass(frozen=True, slots=True)
class CriterionResult:
    """A criterion's value, in `unit`, its worth of 0..1, its weight and its points."""

    value: float
    unit: str
    utility: float
    weight: float
    points: float


@dataclass(frozen=True, slots=True)
class FailedResult:
    """A need that is not met."""

    need: str
    required: float | str
    offered: float | str | None
    text: str


@dataclass(frozen=True, slots=True)
class RankedPart:
    """A part of the shortlist, at its best build.

    `fits_probability` is the share of the draws in which it keeps every need and limit; `broken`
    tells which it breaks in what share of them. `figures` are those of the part's own that
    criteria and limits read, SI, by their keys.
    """

    rank: int
    part: str
    maker: str | None
    invented: bool
    score: float
    score_range: Spread
    first_place_probability: float | None
    meets_life_target_probability: float | None
    fits_probability: float | None
    broken: Mapping[str, float]
    rank_acceptability: tuple[float, ...] | None
    expected_regret: float | None
    dominated_by: tuple[str, ...]
    estimated: tuple[str, ...]
    build: BuildResult
    power: Power
    battery_life_s: LifeResult
    cost: CostResult
    setup_h: float | None
    toolchain: float | None
    figures: Mapping[str, float]
    criteria: Mapping[str, CriterionResult]
    reason: str
    ends: str


def known(value: float) -> float | None:
    """The value, or None where it is not a number."""
    return None if np.isnan(value) else float(value)


def build_result(build: Build) -> BuildResult:
    """The build's choices by name."""
    found, row = build.found, build.row
    option = found.feed.option
    options = found.options(row)
    tasks = found.task_names
    return BuildResult(
        cell=option.cell or "budget",
        series=option.series,
        parallel=option.parallel,
        converter=found.feed.converter_name,
        sleep_state=found.sleep_name(row),
        addons=(),
        operating_points={t: o.point for t, o in zip(tasks, options, strict=True)},
        engines={t: o.engines for t, o in zip(tasks, options, strict=True)},
    )


def power_result(build: Build) -> Power:
    """Mean currents of a build, by consumer.

    Each task counts what its events draw, the core's sleep in between counts as sleep:
    average = sum over tasks of charge/period + I_sleep x (1 - busy share) + standing loads.
    """
    found, row = build.found, build.row
    lines = found.timeline
    volts = found.feed.chip_voltage()
    current = lines.chip_a[row] + lines.chip_w[row] / volts + lines.load_a
    part = (lines.share[row] * current)[:, 0]
    life = found.life
    return Power(
        rail_current_a=float(found.rail_a[row, 0]),
        battery_current_a=float(life.mean_current_a[row, 0]),
        busy_share=float(lines.busy[row, 0]),
        breakdown_a=Breakdown(
            sleep=float(part[-1]),
            standing=float(lines.standing_a[0]),
            tasks={
                name: float(part[here].sum())
                for name, here in zip(found.task_names, lines.tasks, strict=True)
            },
        ),
    )


def spread(values: np.ndarray | None) -> tuple[float | None, float | None, float | None]:
    """5, 50, 95 % of draws; Nones without them."""
    if values is None or bool(np.isnan(values).any()):
        return None, None, None
    return percentiles(values)


def life_result(candidate: Candidate, averaged: float) -> LifeResult:
    """Battery life of the chosen build; `averaged` is that of `averaged_lives`, s."""
    build = candidate.best
    life, row = build.found.life, build.row
    drawn = None if candidate.drawn is None else candidate.drawn.life_s
    return LifeResult(
        float(life.life_s[row, 0]),
        *spread(drawn),
        ends_by=ENDS[int(life.ends_by[row, 0])].name,
        averaged=averaged,
    )


def cost_result(candidate: Candidate, currency: str) -> CostResult:
    """Cost of the chosen build."""
    build = candidate.best
    money, row = build.found.costs, build.row
    drawn = None if candidate.drawn is None else candidate.drawn.lifetime
    low, _, high = spread(drawn)
    return CostResult(
        currency=currency,
        purchase=known(money.purchase[row, 0]),
        development=known(money.development[row, 0]),
        upkeep=known(money.upkeep[row, 0]),
        lifetime=known(money.lifetime[row, 0]),
        replacements=known(money.replacements[row, 0]),
        lifetime_p05=low,
        lifetime_p95=high,
    )


def failed_result(failed: Failed) -> FailedResult:
    """A failed need, with its words."""
    return FailedResult(failed.need, failed.required, failed.offered, failed.text)


def plain(value: Any) -> Any:
    """A result as dicts, lists and numbers, keys in the order of declaration."""
    if isinstance(value, Path):
        return str(value)
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value) if f.repr}
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (tuple, list)):
        return [plain(v) for v in value]
    if isinstance(value, np.generic):
        return value.item()
    return value


def frame(rows: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """Rows as a data frame."""
    import pandas as pd

    return pd.DataFrame.from_records([dict(row) for row in rows])


def invented(evaluation: Evaluation) -> bool:
    """Whether anything of the answer rests on demonstration data."""
    feeds = [c.best.found.feed for c in evaluation.candidates]
    return (
        evaluation.product.invented
        or any(p.invented for p in evaluation.catalogue.parts.values())
        or any(f.cell is not None and f.cell.invented for f in feeds)
        or any(f.converter is not None and f.converter.invented for f in feeds)
    )


def unknown_parts(catalogue: Catalogue, given: Iterable[tuple[str, str]]) -> list[Fault]:
    """Faults of parts that the catalogue does not have, of (option, id)."""
    return [
        Fault(
            option,
            f'"{part}"',
            "a part of the catalogue",
            nearest=nearest(part, tuple(catalogue.parts)),
        )
        for option, part in given
        if part not in catalogue.parts
    ]
