"""What joins the keys of what a product harvests."""

from __future__ import annotations

from collections.abc import Iterator

from advisor.catalogue.records import Catalogue
from advisor.catalogue.rule import Breach, Rule
from advisor.catalogue.schema_harvest import Harvest
from advisor.catalogue.schema_hourly import MONTHS
from advisor.catalogue.schema_product import Product


def _ways(harvest: Harvest) -> list[str]:
    """By which keys it is told what is harvested."""
    return [name for name in ("energy", "irradiation", "file") if getattr(harvest, name)]


def _told_once(product: Product, _: Catalogue) -> Iterator[Breach]:
    if product.harvest is not None:
        ways = _ways(product.harvest)
        if len(ways) != 1:
            yield "harvest", " and ".join(ways) or "none of them", None


def per_area(harvest: Harvest) -> bool:
    """Whether what is harvested is told per area of a panel."""
    days = harvest.days
    return bool(harvest.irradiation) or (days is not None and days.dimension == "irradiation")


def _panel(product: Product, _: Catalogue) -> Iterator[Breach]:
    harvest = product.harvest
    if harvest is None:
        return
    if harvest.panel is not None and len(_ways(harvest)) == 1 and not per_area(harvest):
        yield "harvest.panel", "a panel beside an energy", None


def _missing(product: Product, _: Catalogue) -> Iterator[Breach]:
    harvest = product.harvest
    if harvest is None:
        return
    for name in ("energy", "irradiation"):
        told = getattr(harvest, name)
        for month in MONTHS:
            if told and month not in told:
                yield f"harvest.{name}.{month}", "nothing", None
    if per_area(harvest):
        for name in ("area", "efficiency"):
            if harvest.panel is None or getattr(harvest.panel, name) is None:
                yield f"harvest.panel.{name}", "nothing", None
        if harvest.charger is None:
            yield "harvest.charger.efficiency", "nothing", None
    if harvest.charger is not None and harvest.charger.efficiency is None:
        yield "harvest.charger.efficiency", "nothing", None
    if harvest.file is None:
        for name in ("spread", "persistence", "night"):
            if getattr(harvest, name) is None:
                yield f"harvest.{name}", "nothing", None


def _in_vain(product: Product, _: Catalogue) -> Iterator[Breach]:
    if product.needs.service is not None and product.harvest is None:
        yield "needs.service", product.needs.service.text, None


def _twice(product: Product, _: Catalogue) -> Iterator[Breach]:
    if product.harvest is not None and product.recharge is not None:
        yield "recharge", "a recharge beside a harvest", None


FAULTS = (
    Rule("one of recharge and harvest, by which the pack is charged", _twice),
    Rule("one of energy, irradiation and file", _told_once),
    Rule("irradiation, or a file per area, for a panel to stand in", _panel),
    Rule("this figure of the harvest: absent is never zero", _missing),
    Rule("a harvest, by which days of service are counted", _in_vain),
)
