"""What a harvest makes of a build: how often its store runs empty, and what would mend that."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from advisor.catalogue.schema_hourly import MONTHS
from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass
from advisor.decide.builds import Build
from advisor.model.store import MONTH_DAYS, YEAR_DAYS
from advisor.model.sustained import by_beginning

USUAL = 0.99  # share of the days that is aimed at where the product wants none
WIDEST = 1e4  # times as much, beyond which nothing is looked for
STEPS = 40


@dataclass(frozen=True, slots=True)
class ServiceResult:
    """How a store that is harvested into fares, at the stated values."""

    lost: float
    """[share] days on which the store does not carry the load, over the life of the pack as it
    fades; as a weighted criterion, and for `needs.service`, over the draws"""
    cover: float | None
    """[share] what is harvested in a year, over what the pack gives; null where it gives nothing"""
    store_days: float | None
    """[days] load that the fresh store carries by itself beyond the nights; null for a load of
    nothing"""


@dataclass(frozen=True, slots=True)
class MonthResult:
    """A month of a store that is harvested into."""

    month: str
    """its name"""
    income_j: float
    """[J] a day's mean harvest that comes out of the store again"""
    lost: float
    """[share] days on which the load is not carried"""
    level: float
    """[share] mean level at dawn of what the store has beyond the nights"""
    life_s: float | None
    """[s] battery life where the first day is the month's first; null where the pack does not fade
    first, or no season moves it"""


@dataclass(frozen=True, slots=True)
class HarvestResult:
    """A build's store through the year, at the stated values."""

    income_j: float
    """[J] mean of a day's harvest over the year, what comes out of the store again"""
    load_j: float
    """[J] what the pack gives in a day, its own losses in it"""
    store_j: float
    """[J] energy of the fresh store down to where it no longer carries the build"""
    night_j: float
    """[J] of that, what the longest night takes"""
    service: ServiceResult
    """how often it runs empty"""
    unserved: float
    """[share] load that is not served, less than the days on which some of it is not"""
    cold: float
    """[share] time too cold to charge the cells, taken to be in the six months of least harvest,
    what is more than these have in the others, as one spell in each"""
    hot: float
    """[share] time too hot to charge them, taken to be in the other months, what is more than these
    have in the six, as one spell in each"""
    months: tuple[MonthResult, ...]
    """month by month"""
    aim: float
    """[share] days with service that are aimed at: `needs.service`, or 99 %"""
    panel_area_m2: float | None
    """[m2] area of the panel; null without one"""
    enough_area_m2: float | None
    """[m2] area that reaches the aim with this store; null without a panel, or where none does"""
    enough_income: float | None
    """times the harvest that reach the aim with this store; null where none do"""
    enough_store_j: float | None
    """[J] fresh store that reaches the aim with this harvest and load, its self-discharge that of
    this store; null where none does"""


def service_of(build: Build) -> ServiceResult | None:
    """How often a build's store runs empty; None where nothing is harvested into it."""
    harvest, row = build.assessed.harvest, build.row
    if harvest is None:
        return None
    cover, days = float(harvest.cover[row, 0]), float(harvest.days[row, 0])
    return ServiceResult(
        lost=float(harvest.lost[row, 0]),
        cover=cover if np.isfinite(cover) else None,
        store_days=max(days, 0.0) if np.isfinite(days) else None,
    )


def harvest_of(build: Build, product: Product) -> HarvestResult | None:
    """A build's store through the year; None where nothing is harvested into it."""
    harvest, row = build.assessed.harvest, build.row
    service = service_of(build)
    if harvest is None or service is None or product.harvest is None:
        return None
    told = product.needs.service
    aim = USUAL if told is None else told.nominal
    most = 1 - aim

    def least(lost: Callable[[float], float]) -> float | None:
        """The least factor by which no more days are lost than may be; None where none is."""
        low, high = 1 / WIDEST, WIDEST
        if lost(high) > most:
            return None
        if lost(low) <= most:
            return low
        for _ in range(STEPS):
            middle = float(np.sqrt(low * high))
            low, high = (low, middle) if lost(middle) <= most else (middle, high)
        return high

    income = least(lambda factor: harvest.again(row, income=factor))
    store = least(lambda factor: harvest.again(row, store=factor))
    store_j = float(harvest.store_j[row, 0])
    panel = product.harvest.panel
    area = None if panel is None or panel.area is None else panel.area.nominal
    return HarvestResult(
        income_j=float(harvest.income_w[0]) * 86400,
        load_j=float(harvest.load_w[row, 0]) * 86400,
        store_j=store_j,
        night_j=float(harvest.night_j[row, 0]),
        service=service,
        unserved=float(harvest.unserved[row, 0]),
        cold=float(harvest.cold[0]),
        hot=float(harvest.hot[0]),
        months=_months(build),
        aim=aim,
        panel_area_m2=area,
        enough_area_m2=None if area is None or income is None else area * income,
        enough_income=income,
        enough_store_j=None if store is None else store * store_j,
    )


def _months(build: Build) -> tuple[MonthResult, ...]:
    """Month by month; their lost days add up to those of the year, which are interpolated."""
    harvest, row = build.assessed.harvest, build.row
    assert harvest is not None
    found = harvest.by_month(row)
    lost = found.lost[0]
    mean = float(lost @ MONTH_DAYS / YEAR_DAYS)
    told = float(harvest.lost[row, 0])
    assessed = build.assessed
    lives = by_beginning(assessed.life, harvest, assessed.feed.pack, assessed.drain, row)
    if mean > 0:
        lost = np.minimum(lost * told / mean, 1.0)
    return tuple(
        MonthResult(
            month=month,
            income_j=float(harvest.income_j[m, 0]),
            lost=float(lost[m]),
            level=float(found.level[0, m]),
            life_s=None if lives is None else float(lives[m]),
        )
        for m, month in enumerate(MONTHS)
    )
