"""What joins the keys of cells that are charged again, and of who charges them."""

from __future__ import annotations

from collections.abc import Iterator

from advisor.catalogue.records import Catalogue
from advisor.catalogue.rule import Breach, Rule, order
from advisor.catalogue.schema_product import Product
from advisor.catalogue.schema_supply import Cell
from advisor.figures import Path


def _not_rechargeable(cell: Cell, _: Catalogue) -> Iterator[Breach]:
    for name in ("charge", "ageing"):
        if getattr(cell, name) is not None and not cell.rechargeable:
            yield name, "a cell that may not be charged", None


def _charge_range(cell: Cell, _: Catalogue) -> Iterator[Breach]:
    if cell.charge is not None:
        yield from order(cell.charge.min, cell.charge.max, "charge.min")


def _leak_alone(cell: Cell, _: Catalogue) -> Iterator[Breach]:
    if cell.leak is not None and cell.self_discharge is not None:
        yield "leak", "a leak beside a self-discharge", None
    elif cell.leak is not None and cell.doubles_every is not None:
        yield "doubles-every", "the doubling of a self-discharge beside a leak", None


def _absolute_zero(cell: Cell, _: Catalogue) -> Iterator[Breach]:
    """Arrhenius's law goes by the inverse of the temperature of the test."""
    for name in ("calendar", "cycles") if cell.ageing is not None else ():
        law = getattr(cell.ageing, name)
        if law is not None and law.at is not None and law.at.nominal <= -273.15:
            yield f"ageing.{name}.at", law.at.text, None


def _rested(cell: Cell, _: Catalogue) -> Iterator[Breach]:
    """A pulse after rest leaves no more than the voltage that the fresh cell has without load."""
    if cell.after_rest is None or cell.voltage_curve is None:
        return
    full = max(y.nominal for y in cell.voltage_curve.y)
    for rest, places in zip(cell.after_rest.keys, cell.after_rest.rows, strict=True):
        for place, curve in zip(places.keys, places.rows, strict=True):
            for at, least in curve.entries(Path(cell.cell, ("after-rest", rest, place))):
                if least.nominal > full:
                    yield at.dotted, least.text, None


def _end(cell: Cell, _: Catalogue) -> Iterator[Breach]:
    if cell.ageing is not None and cell.ageing.end is not None and cell.ageing.end.nominal >= 1:
        yield "ageing.end", cell.ageing.end.text, None


def _recharge(product: Product, _: Catalogue) -> Iterator[Breach]:
    if product.recharge is not None and product.recharge.every is None:
        yield "recharge.every", "nothing", None


def _chargeable(product: Product, catalogue: Catalogue) -> Iterator[Breach]:
    """Whether some pack can be charged; one whose file was not read may be."""
    if product.recharge is None:
        return
    for option in product.supply_options.cells:
        cell = catalogue.cells.get(option.cell or "")
        if (cell is None and option.cell is not None) or (cell is not None and cell.rechargeable):
            return
    yield "recharge", "packs of which none may be charged", None


CELL_CHARGE_FAULTS = (
    Rule("rechargeable: true beside it", _not_rechargeable),
    Rule("a range whose lower end is not above its upper end", _charge_range),
    Rule("one of leak and self-discharge, by which the cell loses charge", _leak_alone),
    Rule("a temperature above absolute zero", _absolute_zero),
    Rule("no more than the open voltage of the fresh cell", _rested),
    Rule("an end below the rated capacity", _end),
)
PRODUCT_CHARGE_FAULTS = (
    Rule("this figure: absent is never zero", _recharge),
    Rule("a pack of rechargeable cells among supply-options.cells", _chargeable),
)
