"""The columns of a shortlist, declared once: in the terminal, in CSV, in a page, in a workbook.

A column says what it is called where, how it reads, and what becomes of it where somebody tries
other weights: a page and a workbook then show other builds of the same parts.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Literal, Protocol

from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass
from advisor.dimensions import YEAR
from advisor.quantities import show
from advisor.studies.results import RankedPart
from advisor.studies.words import between, in_years, money, per_cent, rails_in_a_cell

Cell = float | str
WEEK = 7 * 86400.0  # s
NOTHING = "-"  # stands where there is no figure
# under other weights a text is the part's own whatever the build, belongs to the build that was
# ranked first, belongs to the draws, is the new rank or score, or is that of the new build
Live = Literal["part", "own", "draws", "rank", "score", "build"]


class Built(Protocol):
    """What a column may read of a build: battery life in s, costs per unit (expected, where there
    are draws), the share of draws with a battery change, the share of draws that fit."""

    @property
    def battery_life_s(self) -> float: ...
    @property
    def purchase(self) -> float | None: ...
    @property
    def lifetime(self) -> float | None: ...
    @property
    def change(self) -> float | None: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column of the shortlist.

    Attributes
    ----------
    name : in CSV and data frames; empty where they have none. value : what stands there, SI.
    head : on a screen and in a page; empty where they have none. legend : what it is, in words;
    `{currency}` is the product's. right : whether it holds figures. text : what stands there.
    where : for which parts it is shown at all; for all when absent. spare : where a line has no
    room for all, those of the greatest are left out first; 0 stays.
    live : what becomes of the text under other weights; of a build it is `built`.
    asked : by which products it has a name; by all when absent.
    sheet : head in a workbook; empty where it has none. cell : what stands there, of a build.
    """

    name: str = ""
    value: Callable[[RankedPart], object] | None = None
    head: str = ""
    legend: str = ""
    right: bool = True
    text: Callable[[RankedPart], str] = str
    where: Callable[[Sequence[RankedPart]], bool] | None = None
    spare: int = 0
    live: Live = "part"
    built: Callable[[Built], str] | None = None
    asked: Callable[[Product], bool] | None = None
    sheet: str = ""
    cell: Callable[[Built], Cell] | None = None

    def __post_init__(self) -> None:
        if bool(self.name) != (self.value is not None) or bool(self.sheet) != (
            self.cell is not None
        ):
            raise ValueError(f"column {self.name or self.head!r} lacks a name or what stands there")
        if self.head and ((self.live == "build") != (self.built is not None)):
            raise ValueError(f"column {self.head!r} does not say what it shows of a build")


def _range(part: RankedPart) -> str:
    lives = part.battery_life_s
    return "" if lives.p05 is None else between(in_years(lives.p05), in_years(lives.p95))


def _charge(part: RankedPart) -> str:
    lasts = part.battery_life_s.one_charge
    return NOTHING if lasts is None else in_years(lasts)


def _one_decimal(value: float | None, digits: int) -> str:
    return NOTHING if value is None else f"{value:.{digits}f}"


def _weeks(seconds: float | None) -> float | None:
    return None if seconds is None else seconds / WEEK


def _years(build: Built) -> Cell:
    found = build.battery_life_s / YEAR
    return found if math.isfinite(found) else "no end"


def known(amount: float | None) -> Cell:
    """An amount as a cell."""
    if amount is None:
        return "not known"
    return amount if math.isfinite(amount) else "unbounded"


COLUMNS = (
    Column(
        name="rank",
        value=lambda part: part.rank,
        head="#",
        text=lambda part: str(part.rank),
        live="rank",
    ),
    Column(
        name="part",
        value=lambda part: part.part,
        head="part",
        right=False,
        text=lambda part: part.part,
    ),
    Column(
        name="score",
        value=lambda part: part.score,
        head="score",
        text=lambda part: f"{part.score:.1f}" + ("*" if part.estimated else ""),
        live="score",
    ),
    Column(
        name="stated_score",
        value=lambda part: part.stated_score,
        head="stated",
        legend="score at the stated values",
        spare=6,
        text=lambda part: f"{part.stated_score:.1f}",
        where=lambda parts: reordered(parts),
        live="own",
    ),
    Column(name="score_p05", value=lambda part: part.score_range.p05),
    Column(name="score_p95", value=lambda part: part.score_range.p95),
    Column(
        name="first_place_probability",
        value=lambda part: part.first_place_probability,
        head="leads in",
        legend="share of draws",
        spare=1,
        text=lambda part: per_cent(part.first_place_probability),
        live="draws",
    ),
    Column(name="fits_probability", value=lambda part: part.fits_probability),
    Column(
        name="meets_life_target_probability",
        value=lambda part: part.meets_life_target_probability,
    ),
    Column(name="cell", value=lambda part: part.build.cell),
    Column(name="series", value=lambda part: part.build.series),
    Column(name="parallel", value=lambda part: part.build.parallel),
    Column(name="converter", value=lambda part: part.build.converter),
    Column(
        name="rails",
        value=lambda part: rails_in_a_cell(part.build) or None,
        asked=lambda product: bool(product.rails),
    ),
    Column(name="sleep_state", value=lambda part: part.build.sleep_state),
    Column(name="addons", value=lambda part: " ".join(part.build.addons)),
    Column(name="rail_current_a", value=lambda part: part.power.rail_current_a),
    Column(name="battery_current_a", value=lambda part: part.power.battery_current_a),
    Column(name="busy_share", value=lambda part: part.power.busy_share),
    Column(
        name="battery_life_s",
        value=lambda part: part.battery_life_s.nominal,
        head="years",
        text=lambda part: in_years(part.battery_life_s.nominal),
        live="build",
        built=lambda build: in_years(build.battery_life_s),
        sheet="battery life, years",
        cell=_years,
    ),
    Column(
        name="battery_life_p05_s",
        value=lambda part: part.battery_life_s.p05,
        head="5–95 %",
        spare=2,
        text=_range,
        live="own",
    ),
    Column(name="battery_life_p95_s", value=lambda part: part.battery_life_s.p95),
    Column(name="ends_by", value=lambda part: part.battery_life_s.ends_by),
    Column(
        name="one_charge_s",
        value=lambda part: part.battery_life_s.one_charge,
        head="a charge",
        legend="how long one lasts, years",
        spare=4,
        text=_charge,
        where=lambda parts: any(part.battery_life_s.one_charge is not None for part in parts),
        live="own",
    ),
    Column(
        name="charges",
        value=lambda part: part.cost.charges,
        asked=lambda product: product.recharge is not None,
    ),
    Column(
        name="days_without_service",
        value=lambda part: None if part.service is None else part.service.lost,
        head="lost",
        legend="days without service, share of all",
        spare=4,
        text=lambda part: per_cent(None if part.service is None else part.service.lost),
        where=lambda parts: any(part.service is not None for part in parts),
        live="own",
        asked=lambda product: product.harvest is not None,
    ),
    Column(
        name="harvest_over_load",
        legend="what is harvested in a year over what the pack gives",
        value=lambda part: None if part.service is None else part.service.cover,
        asked=lambda product: product.harvest is not None,
    ),
    Column(
        name="store_days",
        legend="days of load that the store carries by itself, beyond the nights",
        value=lambda part: None if part.service is None else part.service.store_days,
        asked=lambda product: product.harvest is not None,
    ),
    Column(name="development", value=lambda part: part.cost.development),
    Column(name="upkeep", value=lambda part: part.cost.upkeep),
    Column(name="lifetime", value=lambda part: part.cost.lifetime),
    Column(
        name="expected_cost",
        value=lambda part: part.cost.expected,
        head="cost",
        legend="{expected}{currency} a unit over the service life",
        text=lambda part: money(part.cost.told),
        live="build",
        built=lambda build: money(build.lifetime),
        sheet="cost",
        cell=lambda build: known(build.lifetime),
    ),
    Column(name="cost_p05", value=lambda part: part.cost.p05),
    Column(name="cost_p95", value=lambda part: part.cost.p95),
    Column(
        name="change_probability",
        value=lambda part: part.cost.change_probability,
        head="change",
        legend="battery, share of draws",
        spare=3,
        text=lambda part: per_cent(part.cost.change_probability),
        where=lambda parts: any(p.cost.change_probability for p in parts),
        live="build",
        built=lambda build: per_cent(build.change),
        sheet="chance of a battery change",
        cell=lambda build: known(build.change),
    ),
    Column(
        name="purchase",
        value=lambda part: part.cost.purchase,
        head="buy",
        legend="its purchase, as stated",
        spare=9,
        text=lambda part: money(part.cost.purchase),
        live="build",
        built=lambda build: money(build.purchase),
        sheet="buy",
        cell=lambda build: known(build.purchase),
    ),
    Column(name="currency", value=lambda part: part.cost.currency),
    Column(
        name="setup_h",
        value=lambda part: part.setup_h,
        head="hours",
        legend="set-up",
        spare=4,
        text=lambda part: _one_decimal(part.setup_h, 1),
    ),
    Column(
        name="toolchain",
        value=lambda part: part.toolchain,
        head="tools",
        legend="toolchain maturity of 100",
        spare=8,
        text=lambda part: _one_decimal(part.toolchain, 0),
    ),
    Column(
        name="peak_current_a",
        value=lambda part: part.figures.get("peak-current"),
        head="peak",
        legend="the part's own greatest current",
        where=lambda parts: any("peak-current" in p.figures for p in parts),
        spare=7,
        text=lambda part: (
            show(part.figures["peak-current"], "current")
            if "peak-current" in part.figures
            else NOTHING
        ),
    ),
    Column(
        name="lead_time_s",
        value=lambda part: part.figures.get("price.lead-time"),
        head="weeks",
        legend="to delivery of the part",
        where=lambda parts: any("price.lead-time" in p.figures for p in parts),
        spare=5,
        text=lambda part: _one_decimal(_weeks(part.figures.get("price.lead-time")), 1),
    ),
    Column(name="invented", value=lambda part: part.invented),
    Column(name="estimated", value=lambda part: part.estimated),
)
SHEET = tuple(column for column in COLUMNS if column.sheet)
NAMED = tuple(column for column in COLUMNS if column.name)


def shown(parts: Sequence[RankedPart]) -> tuple[Column, ...]:
    """The columns of a screen or a page for these parts."""
    return tuple(
        column
        for column in COLUMNS
        if column.head and (column.where is None or column.where(parts))
    )


def fitting(
    parts: Sequence[RankedPart], room: Callable[[Sequence[Column]], bool]
) -> tuple[Column, ...]:
    """The columns of `shown` that there is room for, and in any case those that are not spared."""
    columns = shown(parts)
    while not room(columns) and (least := max(column.spare for column in columns)):
        columns = tuple(column for column in columns if column.spare < least)
    return columns


def reordered(parts: Sequence[RankedPart]) -> bool:
    """Whether the stated values put parts, in the order of their ranks, in another order."""
    return any(after.stated_score > before.stated_score for before, after in pairwise(parts))


def flat_names(product: Product) -> list[str]:
    """The names in the rows of `flat_row` of a product's parts."""
    named = [c.name for c in NAMED if c.asked is None or c.asked(product)]
    return [*named, *(f"points {name}" for name in product.priorities), "reason"]


def flat_row(part: RankedPart) -> dict[str, object]:
    """A ranked part as one row, for a data frame or CSV; of what not every product asks, what it
    has."""
    told = ((column, column.value(part)) for column in NAMED if column.value is not None)
    row = {c.name: value for c, value in told if c.asked is None or value is not None}
    for name, criterion in part.criteria.items():
        row[f"points {name}"] = criterion.points
    row["reason"] = part.reason
    return row
