"""Where the money of a build goes, item by item."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from advisor.dataclass import dataclass
from advisor.decide.builds import Build
from advisor.decide.drawing import Drawn
from advisor.decide.evaluate import Candidate, Evaluation
from advisor.studies.results import known
from advisor.studies.words import per_cent

LEAST = 0.005  # of an amount that is told by itself


@dataclass(frozen=True, slots=True)
class MoneyItem:
    """An item of the lifetime cost, per unit; for all units, the pieces needed and bought."""

    item: str
    """what is paid for"""
    amount: float | None
    """[per unit] over the service life"""
    needed: int | None = None
    """pieces that all units need"""
    bought: int | None = None
    """pieces bought, where a price break or a multiple makes it more"""


def money_items(
    evaluation: Evaluation, candidate: Candidate, build: Build, drawn: Drawn | None
) -> tuple[MoneyItem, ...]:
    """The lifetime cost of a candidate's build by item, per unit; the items add up to it.

    With draws it is the expected cost: what is bought at the stated prices, what the mean price is
    above or below them, and the mean of the rest.
    """
    assessed, row = build.assessed, build.row
    money, feed = assessed.costs, assessed.feed
    cost = assessed.feed_cost
    part = candidate.part
    items: list[tuple[str, float]] = []
    own = candidate.costs[int(assessed.part[row])]
    purchases = {**own.bought, **cost.bought}  # by the names of the items
    extras = {k: float(v[0]) for k, v in own.extras.items()}
    items.append((part.part, float(own.part[0])))
    items += [(f"{part.part}: {name}", amount) for name, amount in extras.items()]
    items += [(name, float(each[0])) for name, each in own.addons.items()]
    if feed.cell is not None:
        name = f"{feed.option.series * feed.option.parallel} x {feed.cell.cell}"
        items.append((name, float(cost.pack[0])))
        if feed.cell.cell in cost.bought:
            purchases[name] = cost.bought[feed.cell.cell]
    for record, count in feed.bought:
        name = record.converter if count == 1 else f"{count} x {record.converter}"
        items.append((name, float(cost.converters[record.converter][0])))
        if record.converter in cost.bought:
            purchases[name] = cost.bought[record.converter]
    if evaluation.product.supply_options.reservoir is not None:
        items.append(("reservoir", float(cost.reservoir[0])))
    items += [(name, float(each[0])) for name, each in cost.source.items()]
    development, upkeep = float(money.development[row, 0]), float(money.upkeep[row, 0])
    charging = 0.0 if money.charging is None else float(money.charging[row, 0])
    upkeep -= charging
    visits = float(money.replacements[row, 0])
    words = f"upkeep: {visits:g} battery change{'' if visits == 1 else 's'}"
    words = "upkeep" if np.isnan(visits) else words
    if drawn is not None:
        moved = drawn.purchase - float(money.purchase[row, 0])
        if abs(moved) >= LEAST:
            items.append(("mean of the prices against the stated ones", moved))
        else:
            # what rounds to nothing is told with the hours, so that the sum stays the sum
            development += moved
        development += drawn.development - float(money.development[row, 0])
        upkeep = drawn.upkeep - charging
        words = "upkeep"
        if not np.isnan(drawn.change):
            words += f": a battery change in {per_cent(drawn.change)} of draws"
    items.append(("development: set-up hours and tools", development))
    items.append((words, upkeep))
    if money.charges is not None:
        visited = float(money.charges[row, 0])
        items.append((f"{visited:g} visits to charge the pack", charging))
    out = []
    for name, amount in items:
        bought = purchases.get(name)
        item = MoneyItem(name, known(amount))
        if bought is not None:
            item = replace(item, needed=bought.needed, bought=int(bought.purchase.pieces[0]))
        out.append(item)
    return tuple(out)
