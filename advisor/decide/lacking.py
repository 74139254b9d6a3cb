"""What packs, converters and parts lack of the figures that a product's battery life, criteria and
limits need."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product as combinations

from advisor.catalogue.criteria import MATURITY, measures
from advisor.catalogue.records import Catalogue, stated
from advisor.catalogue.schema_parts import Part
from advisor.catalogue.schema_product import Product
from advisor.catalogue.schema_rails import NONE
from advisor.decide.left_out import Supplies, on_rail
from advisor.figures import Path
from advisor.model.harvest import harvestable
from advisor.model.maturity import maturity
from advisor.model.packs import (
    CELL_LIMITS,
    cells_name,
    missing_cell,
    missing_converter,
    missing_store,
    unsaid_of_charging,
)


def feed_pairs(
    catalogue: Catalogue, product: Product, supplies: Supplies
) -> tuple[list[tuple[int, str, tuple[str, ...]]], list[str], list[str]]:
    """((cell option, converter, those of further rails), paths missing, warnings) of the product's
    supply, in every combination."""
    pairs: list[tuple[int, str, tuple[str, ...]]] = []
    missing: list[str] = []
    warnings: list[str] = []
    gone: set[str] = set()
    timed = product.needs.lead_time is not None
    converters = list(dict.fromkeys(product.supply_options.converters))
    for name in converters:
        if name != "none":
            lacking = missing_converter(catalogue.converters[name], timed)
            if lacking:
                missing += lacking
                gone.add(name)
                supplies.lacking["converter", name] = tuple(lacking)
    each = []
    for rail in product.rails:
        whole = []
        for name in dict.fromkeys(rail.converters):
            lacking = (
                []
                if name == NONE
                else missing_converter(catalogue.converters[name], timed, rail.gated)
            )
            if lacking:
                missing += lacking
                supplies.lacking["converter", on_rail(name, rail.rail)] = tuple(lacking)
            else:
                whole.append(name)
        each.append(whole)
    further = list(combinations(*each))
    for i, option in enumerate(product.supply_options.cells):
        if option.cell is not None:
            cell = catalogue.cells[option.cell]
            charged = product.recharge is not None and cell.rechargeable
            stored = product.harvest is not None and harvestable(cell)
            lacking = missing_cell(cell, timed, charged or stored)
            if stored:
                lacking += missing_store(cell)
            if lacking:
                missing += lacking
                supplies.lacking["pack", cells_name(option)] = tuple(lacking)
                continue
            if product.harvest is not None and not harvestable(cell):
                why = "states no charge" if cell.rechargeable else "cannot be charged"
                warnings.append(f"{option.cell} {why}: it lives without the harvest")
            for name, effect in CELL_LIMITS.items():
                if getattr(cell, name) is None:
                    warnings.append(f"{option.cell} states no {name.replace('_', '-')}: {effect}")
            if charged or stored:
                warnings += unsaid_of_charging(cell)
        elif product.harvest is not None:
            warnings.append("the ideal budget cannot be charged: it lives without the harvest")
        pairs += [(i, c, rest) for c in converters if c not in gone for rest in further]
    return pairs, missing, list(dict.fromkeys(warnings))


def criterion_missing(part: Part, product: Product, cost_missing: Sequence[str]) -> list[str]:
    """Paths of figures that a weighted criterion needs and the part lacks."""
    out: list[str] = []
    if product.cost.unit_cost_limit is not None:
        out += cost_missing
    for keys in dict.fromkeys(keys for measure in measures(product) for keys in measure.reads):
        if keys == ("price",):
            out += cost_missing
        elif stated(part, keys) is None or (keys == MATURITY and maturity(part.toolchain) is None):
            # answers to it may be there and yet tell nothing
            out.append(str(Path(part.part, keys)))
    for end in ("min", "max"):
        if getattr(part.supply, end) is None:
            out.append(f"{part.part}:supply.{end}")
    return out
