"""Figures of parts kept from pass to pass: those that a lever leaves alone are read once.

What is read of a part rests on its record, on the draws, and on some of the product: temperatures,
units of work, what is to be kept asleep. A load, a period or a supply moves none of it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from advisor.catalogue.schema_parts import Part
from advisor.dataclass import dataclass
from advisor.decide.digests import digest
from advisor.model.draws import Array, GridSampler, Sampler
from advisor.model.tables import PartFigures, Wanted, part_figures
from advisor.model.workload import ProductFigures, TaskFigures

KEPT = 100_000  # draws of parts that are kept, the latest asked for

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


class Profiles:
    """Figures of parts by what they rest on; `kept` so many draws of them, none where 0."""

    def __init__(self, kept: int = 0) -> None:
        self._kept = kept
        self._known: dict[Any, tuple[Part, PartFigures]] = {}
        self._draws = 0
        self._last: _Asked | None = None

    def of(
        self, part: Part, product: ProductFigures, sampler: Sampler, wanted: Wanted | None = None
    ) -> PartFigures:
        """`part_figures`, from what is known where nothing that they rest on has moved."""
        cases = sampler.cases if isinstance(sampler, GridSampler) else 1
        own = part.part == sampler.identity and not _moved(sampler) and sampler.trace is None
        if not self._kept or not own:
            return part_figures(part, product, sampler, wanted)
        asked = self._asked(product, cases)
        if not asked.alike:
            return part_figures(part, product, sampler, wanted)
        drawn = sampler.draws, sampler.seed, sampler.chunk
        key = id(part), wanted, drawn, asked.key  # the record is kept, so its identity is its own
        _, found = self._known.pop(key, (None, None))
        if found is None:
            self._draws += max(sampler.draws, 1)
            one = sampler
            if isinstance(sampler, GridSampler) and cases > 1:
                one = GridSampler(part.part, [None], sampler.draws, sampler.seed, sampler.memo)
            found = part_figures(part, asked.seen, one, wanted)
        self._known[key] = part, found
        while self._draws > self._kept and len(self._known) > 1:
            oldest = next(iter(self._known))
            self._draws -= max(oldest[2][0], 1)
            del self._known[oldest]
        return found if cases == 1 else _once_each(found, cases)

    def _asked(self, product: ProductFigures, cases: int) -> _Asked:
        if self._last is None or self._last.of is not product or self._last.cases != cases:
            alike = cases == 1 or all(
                _repeats(array, cases) for array in _arrays(_for_parts(product, None))
            )
            size = product.share.shape[-1] // cases
            seen = _for_parts(product, None if cases == 1 else size)
            self._last = _Asked(product, cases, seen, digest(seen) if alike else b"", alike)
        return self._last


def _moved(sampler: Sampler) -> bool:
    return isinstance(sampler, GridSampler) and sampler.moves


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
        return np.concatenate([values] * cases, axis=-1)

    changes: dict[str, Any] = {name: over(getattr(figures, name)) for name in OVER_DRAWS}
    # of no times and no phases there is nothing over draws
    changes |= {name: over(each) for name in BY_TIME if len(each := getattr(figures, name))}
    changes |= {name: [over(one) for one in getattr(figures, name)] for name in BY_TASK}
    return replace(figures, **changes)
