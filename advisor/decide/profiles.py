"""Figures of products, parts and packs kept from pass to pass: what a lever leaves alone is read
once.

What is read of a part rests on its record, on the draws, and on some of the product: temperatures,
units of work, what is to be kept asleep. A load, a period or a supply moves none of it. A pack
rests on its cell, its place among the product's options, and temperatures.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from advisor.catalogue.schema_parts import Part
from advisor.catalogue.schema_product import CellOption, Product, Reservoir
from advisor.catalogue.schema_supply import Cell
from advisor.dataclass import dataclass
from advisor.decide.digests import digest
from advisor.model.drain import Pack
from advisor.model.draws import Array, GridSampler, Sampler, once_each
from advisor.model.packs import Feed
from advisor.model.tables import PartFigures, Wanted, part_figures
from advisor.model.workload import ProductFigures, TaskFigures, product_figures

KEPT = 100_000  # draws of parts that are kept, the latest asked for
PACKS = 40_000  # the same of packs, which have more figures
PRODUCTS = 20_000  # the same of products

# of a part's figures those over the draw axis; at times and in phases, and per task
OVER_DRAWS = (
    "idle_a",
    "idle_w",
    "sleep_a",
    "sleep_w",
    "wake_time",
    "wake_charge",
)
BY_TIME = ("timed_a", "stored_a", "stored_w")
BY_TASK = ("time", "run_a", "run_w", "block_a", "block_time")


@dataclass(frozen=True, slots=True)
class _Asked:
    """A product as parts are read for it: of one case where all of a pass are alike in that."""

    of: ProductFigures
    cases: int
    seen: ProductFigures
    key: bytes
    alike: bool


class Latest:
    """Values by their keys, the latest asked for, as many as there is room for."""

    def __init__(self, room: int) -> None:
        self._room = room
        self._left = room
        self._known: dict[Any, tuple[int, Any]] = {}

    def get(self, key: Any) -> Any:
        """What is known by a key, None where nothing is."""
        size, found = self._known.pop(key, (0, None))
        if found is not None:
            self._known[key] = size, found
        return found

    def put(self, key: Any, size: int, value: Any) -> None:
        """Keep a value that takes so much room."""
        self._known[key] = size, value
        self._left -= size
        while self._left < 0 and len(self._known) > 1:
            self._left += self._known.pop(next(iter(self._known)))[0]


class Profiles:
    """Figures of parts and packs by what they rest on; `kept` so many draws of parts, so many of
    `packs` and of `products`, none where 0."""

    def __init__(self, kept: int = 0, packs: int = 0, products: int = 0) -> None:
        self._parts = Latest(kept) if kept else None
        self._packs = Latest(packs) if packs else None
        self._products = Latest(products) if products else None
        self._last: _Asked | None = None
        self._places: tuple[ProductFigures, bytes] | None = None

    def product(self, product: Product, sampler: Sampler) -> ProductFigures:
        """`product_figures`, those that are known where none of them moves."""
        if self._products is None or _moved(sampler) or sampler.trace is not None:
            return product_figures(product, sampler)
        cases = sampler.cases if isinstance(sampler, GridSampler) else 1
        # the record is kept, so its identity is its own
        key = id(product), _drawn(sampler), cases
        _, found = self._products.get(key) or (None, None)
        if found is None:
            found = product_figures(product, sampler)
            self._products.put(key, sampler.size, (product, found))
        return found

    def of(
        self, part: Part, product: ProductFigures, sampler: Sampler, wanted: Wanted | None = None
    ) -> PartFigures:
        """`part_figures`, from what is known where nothing that they rest on has moved."""
        cases = sampler.cases if isinstance(sampler, GridSampler) else 1
        own = part.part == sampler.identity and not _moved(sampler) and sampler.trace is None
        if self._parts is None or not own:
            return part_figures(part, product, sampler, wanted)
        asked = self._asked(product, cases)
        if not asked.alike:
            return part_figures(part, product, sampler, wanted)
        # the record is kept, so its identity is its own
        key = id(part), wanted, _drawn(sampler), asked.key
        _, found = self._parts.get(key) or (None, None)
        if found is None:
            one = sampler
            if isinstance(sampler, GridSampler) and cases > 1:
                one = GridSampler(part.part, [None], sampler.draws, sampler.seed, sampler.memo)
            found = part_figures(part, asked.seen, one, wanted)
            self._parts.put(key, max(sampler.draws, 1), (part, found))
        return found if cases == 1 else _once_each(found, cases)

    def pack(
        self,
        option: CellOption,
        cell: Cell | None,
        product: ProductFigures,
        reservoir: Reservoir | None,
        samplers: Mapping[str, Sampler],
        made: Callable[[Pack | None], Feed],
    ) -> Feed:
        """The feed that is `made` with a pack, one that is known where nothing that it rests on has
        moved; None has a new one made."""
        own = samplers[product.name]
        rests = self._packs is not None and cell is not None and own.trace is None
        # how long packs that are charged last rests on more of the product
        rests &= product.recharge_s is None and product.income is None
        if self._packs is None or cell is None or not rests:
            return made(None)
        if _moved(samplers[cell.cell]) or _moved(own, "supply-options"):
            return made(None)
        filled = reservoir and (reservoir.capacitance, reservoir.esr, reservoir.leakage)
        cases = own.cases if isinstance(own, GridSampler) else 1
        key = repr((option, filled)), id(cell), _drawn(own), cases, self._at_places(product)
        _, known = self._packs.get(key) or (None, None)
        found = made(known)
        if known is None:
            self._packs.put(key, own.size, (cell, found.pack))
        return found

    def _at_places(self, product: ProductFigures) -> bytes:
        """What tells a product's temperatures from others."""
        if self._places is None or self._places[0] is not product:
            before = tuple((phase.temperature, phase.share) for phase in product.before)
            told = digest((product.temperature, product.share, product.times, before))
            self._places = product, told
        return self._places[1]

    def _asked(self, product: ProductFigures, cases: int) -> _Asked:
        if self._last is None or self._last.of is not product or self._last.cases != cases:
            alike = cases == 1 or all(
                _repeats(array, cases) for array in _arrays(_for_parts(product, None))
            )
            size = product.share.shape[-1] // cases
            seen = _for_parts(product, None if cases == 1 else size)
            self._last = _Asked(
                of=product,
                cases=cases,
                seen=seen,
                key=digest(seen) if alike else b"",
                alike=alike,
            )
        return self._last


def _moved(sampler: Sampler, within: str | None = None) -> bool:
    """Whether a figure of a document moves over the cases of a pass; one `within` a key of it."""
    return isinstance(sampler, GridSampler) and sampler.moves(within)


def _drawn(sampler: Sampler) -> tuple[int, int, int]:
    return sampler.draws, sampler.seed, sampler.chunk


def _for_parts(product: ProductFigures, draws: int | None) -> ProductFigures:
    """What parts are read for, and nothing else of a product; of the first draws alone, or all."""

    def cut(values: Array) -> Array:
        return values if draws is None else values[..., :draws]

    return ProductFigures(
        name=product.name,
        tasks=tuple(
            TaskFigures(
                name=task.name,
                period=np.empty(0),
                kernels={name: cut(units) for name, units in task.kernels.items()},
                uses={name: cut(uses) for name, uses in task.uses.items()},
                loads=(),
                finish_within=None,
                wake_within=task.wake_within,
                at=task.at,
                without=task.without,
            )
            for task in product.tasks
        ),
        standing={},
        temperature=cut(product.temperature),
        share=cut(product.share),
        hottest=product.hottest,
        coldest=product.coldest,
        rail=None,
        retain=product.retain,
        ram_kib=product.ram_kib,
        times=tuple(replace(time, share=cut(time.share)) for time in product.times),
        before=tuple(
            replace(
                phase,
                duration=np.empty(0),
                temperature=cut(phase.temperature),
                share=cut(phase.share),
            )
            for phase in product.before
        ),
    )


def _arrays(seen: ProductFigures) -> list[Array]:
    """Everything over draws of what parts are read for."""
    out = [seen.temperature, seen.share, *(time.share for time in seen.times)]
    for task in seen.tasks:
        out += [*task.kernels.values(), *task.uses.values()]
    for phase in seen.before:
        out += [phase.temperature, phase.share]
    return out


def _repeats(values: Array, cases: int) -> bool:
    """Whether an array (..., cases x draws) is the same in every case."""
    each = values.reshape(*values.shape[:-1], cases, -1)
    return bool((each == each[..., :1, :]).all())


def _once_each(figures: PartFigures, cases: int) -> PartFigures:
    """The figures of one case once for each of so many."""

    def over(values: Array) -> Array:
        return once_each(values, cases)

    changes: dict[str, Any] = {name: over(getattr(figures, name)) for name in OVER_DRAWS}
    # of no times and no phases there is nothing over draws
    changes |= {name: over(each) for name in BY_TIME if len(each := getattr(figures, name))}
    changes |= {name: [over(one) for one in getattr(figures, name)] for name in BY_TASK}
    return replace(figures, **changes)
