"""What loads, add-ons and the blocks in use take as their supply, beside the chip's own pin.

They hang on the same rail as the chip, or on a further one: behind a converter that lies still,
straight from the pack it falls from the fresh pack's open voltage to the cut-off, which their least
voltages raise.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.schema_parts import Window
from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass
from advisor.decide.screens import Case
from advisor.figures import Path
from advisor.model.companions import Fitted
from advisor.model.draws import Array, Sampler


@dataclass(frozen=True, slots=True)
class Taken:
    """The supply that a load, an add-on or a block takes, of P parts: each (P, N) V.

    least is 0 and most infinite where they are not stated, and for a part without it. `on` is the
    place of its rail among the further ones, None on the main one.
    """

    name: str
    least: Array
    most: Array
    on: int | None = None


def taken(
    parts: Sequence[Fitted], product: Product, samplers: Mapping[str, Sampler]
) -> tuple[Taken, ...]:
    """The supplies of every load of a product, of every add-on beside a part and of every block
    that its tasks use; see `Taken`.

    Loads take the same whatever the part. A block counts where a task uses it at least once.
    """
    size = samplers[parts[0].part.part].size

    def ends(path: Path, window: Window) -> tuple[Array, Array]:
        sampler = samplers[path.document]
        return (
            np.zeros(size)
            if window.min is None
            else sampler.take(path.child("supply", "min"), window.min),
            np.full(size, np.inf)
            if window.max is None
            else sampler.take(path.child("supply", "max"), window.max),
        )

    def made(name: str, each: Sequence[tuple[Path, Window] | None]) -> Taken:
        sides = [absent if one is None else ends(*one) for one in each]
        least, most = (np.stack(side) for side in zip(*sides, strict=True))
        return Taken(name, least, most)

    absent = np.zeros(size), np.full(size, np.inf)
    rails = [rail.rail for rail in product.rails]
    out = []
    for path, load in product.every_load:
        if load.supply != Window():
            least, most = ends(path, load.supply)
            shape = (len(parts), size)
            out.append(
                Taken(
                    _words(path),
                    np.broadcast_to(least, shape),
                    np.broadcast_to(most, shape),
                    None if load.on is None else rails.index(load.on),
                )
            )
    used = {
        name: None for task in product.workload for name, uses in task.uses.items() if uses.nominal
    }
    for name in used:
        blocks = [one.block(name) for one in parts]
        if any(block is not None and block[1].supply != Window() for block in blocks):
            out.append(made(f"block {name}", [b and (b[0], b[1].supply) for b in blocks]))
    beside = {addon.addon: addon for one in parts for addon in one.addons}
    for name, addon in sorted(beside.items()):
        if addon.supply != Window():
            there = (Path(name), addon.supply)
            mine = [there if name in one.companions.addons else None for one in parts]
            out.append(made(f"add-on {name}", mine))
    return tuple(out)


def _words(path: Path) -> str:
    """`load radio of report`, `standing load divider`."""
    match path.keys:
        case ("workload", task, _, load):
            return f"load {load} of {task}"
        case (*_, load):
            return f"standing load {load}"
    raise AssertionError(path)


def cases(
    supplies: Sequence[Taken],
    part: NDArray[np.intp],
    fresh_on: Callable[[int | None], Array],
    end: Literal["min", "max"],
) -> Iterator[Case]:
    """One end of every supply that states it, for R builds.

    Parameters
    ----------
    part : (R,) index into P. fresh_on : (N,) V of a rail, of a fresh pack where that is the rail.
    """
    for one in supplies:
        volts = fresh_on(one.on)
        need = f"supply {end} of {one.name}"
        if end == "max" and np.isfinite(one.most).any():
            yield Case(need=need, required=volts, offered=one.most[part])
        if end == "min" and one.least.any():
            yield Case(need=need, required=one.least[part], offered=volts)
