"""What builds take of their part, and of the add-ons beside it, apart from the currents."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from advisor.catalogue.criteria import SETUP, Keys
from advisor.catalogue.records import stated
from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass
from advisor.decide.companions import AREA
from advisor.decide.costs import PartCost
from advisor.decide.supplies import Taken, taken
from advisor.model.companions import Fitted
from advisor.model.draws import Array, Sampler
from advisor.model.maturity import maturity, maturity_draws
from advisor.quantities import Quantity


@dataclass(frozen=True, slots=True)
class PartSide:
    """What a build takes of its part beside the currents, each (P, N) and in the stack's order.

    least_v, brown_out_v : V, 0 where unstated; most_v : V. cost : per unit; setup_h : hours.
    toolchain : 0..100. memory_headroom : share. figures : those that criteria and limits read.
    standing_a : A, what its add-ons draw while it is awake. supplies : what the product's loads,
    the add-ons and the blocks take.
    """

    least_v: Array
    brown_out_v: Array
    most_v: Array
    cost: Array
    setup_h: Array
    toolchain: Array
    memory_headroom: Array
    figures: Mapping[Keys, Array]
    standing_a: Array
    supplies: tuple[Taken, ...]

    @property
    def floor_v(self) -> Array:
        """Least voltage that a part, its blocks and the loads need where the pack is their rail,
        (P, N) V."""
        least = [one.least for one in self.supplies if one.on is None]
        return np.asarray(np.maximum.reduce([self.least_v, self.brown_out_v, *least]))


def part_side(
    fitted: Sequence[Fitted],
    part_costs: Sequence[PartCost],
    product: Product,
    samplers: Mapping[str, Sampler],
    wanted: Iterable[Keys],
) -> PartSide:
    """Gather `PartSide` for P >= 1 parts with their add-ons; a figure that is missing and not
    needed is NaN.

    `wanted` are keys of the parts' own figures that are read besides; of those that add-ons have
    too, theirs are in it.
    """
    parts = [one.part for one in fitted]
    size = samplers[parts[0].part].size

    def beside(one: Fitted, name: str) -> Array:
        """Sum of a figure of a part's add-ons, (N,); NaN where one lacks it."""
        total = np.zeros(size)
        for addon in one.addons:
            quantity, sampler = getattr(addon, name.replace("-", "_")), samplers[addon.addon]
            total = total + (
                np.nan if quantity is None else sampler.take(sampler.root / name, quantity)
            )
        return total

    def gathered(keys: tuple[str, ...], quantities: Sequence[object], absent: float) -> Array:
        rows = []
        for part, quantity in zip(parts, quantities, strict=True):
            sampler = samplers[part.part]
            rows.append(
                np.full(size, absent)
                if quantity is None
                else sampler.take(sampler.root.child(*keys), quantity)  # type: ignore[arg-type]
            )
        return np.array(rows)

    tools = []
    for part in parts:
        answers = maturity(part.toolchain)
        tools.append(
            np.full(size, np.nan)
            if answers is None
            else maturity_draws(answers, samplers[part.part])
        )
    memory = []
    for part in parts:
        left = [
            1 - need.nominal / offer.nominal
            for need, offer in (
                (product.needs.memory.flash, part.memory.flash),
                (product.needs.memory.ram, part.memory.ram),
            )
            if need is not None and offer is not None and offer.nominal > 0
        ]
        memory.append(np.full(size, min(left, default=np.nan)))
    read = {keys: [stated(part, keys) for part in parts] for keys in wanted}
    figures = {
        keys: gathered(keys, quantities, np.nan)
        for keys, quantities in read.items()
        if all(q is None or isinstance(q, Quantity) for q in quantities)
    }
    for keys in figures:
        if keys in (SETUP, AREA):
            figures[keys] = figures[keys] + [beside(one, keys[-1]) for one in fitted]
    return PartSide(
        least_v=gathered(("supply", "min"), [p.supply.min for p in parts], 0.0),
        brown_out_v=gathered(("supply", "brown-out"), [p.supply.brown_out for p in parts], 0.0),
        most_v=gathered(("supply", "max"), [p.supply.max for p in parts], np.inf),
        cost=np.array([c.each for c in part_costs]),
        setup_h=np.array([c.setup_h for c in part_costs]),
        toolchain=np.array(tools),
        memory_headroom=np.array(memory),
        figures=figures,
        standing_a=np.array([beside(one, "standing") for one in fitted]),
        supplies=taken(fitted, product, samplers),
    )
