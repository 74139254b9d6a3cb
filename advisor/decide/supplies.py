"""What the loads and the blocks in use take as their supply, beside the chip's own pin.

They hang on the same rail as the chip: behind a converter that lies still, straight from the pack
it falls from the fresh pack's open voltage to the cut-off, which their least voltages raise.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.rules import loads
from advisor.catalogue.schema_parts import Block, Part, Window
from advisor.catalogue.schema_product import Product
from advisor.decide.screens import Case
from advisor.figures import Path
from advisor.model.draws import Array, Sampler


@dataclass(frozen=True, slots=True)
class Taken:
    """The supply that a load or a block takes, of P parts: each (P, N) V.

    least is 0 and most infinite where they are not stated, and for a part without the block.
    """

    name: str
    least: Array
    most: Array


def taken(
    parts: Sequence[Part], product: Product, samplers: Mapping[str, Sampler]
) -> tuple[Taken, ...]:
    """The supplies of every load of a product and of every block that its tasks use; see `Taken`.

    Loads take the same whatever the part. A block counts where a task uses it at least once.
    """
    size = samplers[parts[0].part].size

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

    out = []
    for path, load in loads(product):
        if load.supply != Window():
            least, most = ends(path, load.supply)
            shape = (len(parts), size)
            out.append(
                Taken(_words(path), np.broadcast_to(least, shape), np.broadcast_to(most, shape))
            )
    used = {
        name: None for task in product.workload for name, uses in task.uses.items() if uses.nominal
    }
    for name in used:
        blocks = [(Path(part.part, ("blocks", name)), part.blocks.get(name)) for part in parts]
        if any(block is not None and block.supply != Window() for _, block in blocks):
            each = [ends(path, (block or Block()).supply) for path, block in blocks]
            least, most = (np.stack(side) for side in zip(*each, strict=True))
            out.append(Taken(f"block {name}", least, most))
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
    volts: Array,
    end: Literal["min", "max"],
) -> Iterator[Case]:
    """One end of every supply that states it, for R builds.

    Parameters
    ----------
    part : (R,) index into P. volts : (N,) V that feeds them, of a fresh pack where that is the
    rail.
    """
    for one in supplies:
        need = f"supply {end} of {one.name}"
        if end == "max" and np.isfinite(one.most).any():
            yield Case(need=need, required=volts, offered=one.most[part])
        if end == "min" and one.least.any():
            yield Case(need=need, required=one.least[part], offered=volts)
