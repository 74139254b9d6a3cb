"""The chosen builds over the draws, in chunks that may run side by side.

A chunk's draws depend on the seed and the chunk's number alone, and chunks are put together in
order, so any number of workers gives the same numbers; a chunk also bounds the memory used.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.decide.builds import Assessed, Build, Prepared, assess, part_side, prepare
from advisor.decide.costs import part_cost
from advisor.decide.limits import figures_read, kept
from advisor.decide.stage import Stage, stage
from advisor.decide.value import Criterion, weights
from advisor.model.draws import Array, Trace
from advisor.model.packs import cells_name
from advisor.model.tables import Wanted, part_figures, stack

CHUNK = 2000

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A build over the draws, each (N,): score, battery life s, lifetime cost per unit.

    A draw that breaks a need or a limit is a failure: `fits` tells, its score is 0. `broken` is
    the share of the draws in which a need is broken, by need.
    """

    score: Array
    life_s: Array
    lifetime: Array
    fits: NDArray[np.bool_]
    broken: Mapping[str, float]

    @property
    def fit(self) -> float:
        """Share of the draws in which every need and limit is kept."""
        return float(self.fits.mean())


def draw_builds(
    catalogue: Catalogue,
    product: Product,
    builds: Sequence[Build],
    criteria: Sequence[Criterion],
    draws: int,
    seed: int,
    jobs: int = 1,
    progress: Progress | None = None,
    trace: Trace | None = None,
) -> list[Drawn]:
    """Draw every stated uncertainty through the given builds.

    Parameters
    ----------
    builds : one a part. jobs : workers; the result does not depend on it. progress : told
        (chunks done, chunks in all). trace : filled with the draws (N,) of every uncertain figure.

    Returns
    -------
    One `Drawn` a build, in order.
    """
    sizes = [min(CHUNK, draws - start) for start in range(0, draws, CHUNK)]

    traces: list[Trace] = [{} for _ in sizes]

    def one(chunk: int) -> list[Drawn]:
        kept = None if trace is None else traces[chunk]
        here = stage(catalogue, product, sizes[chunk], seed, chunk, kept)
        return _chunk(here, builds, criteria)

    done: list[list[Drawn]] = []
    for drawn in _in_order(one, len(sizes), jobs):
        done.append(drawn)
        if progress is not None:
            progress(len(done), len(sizes))
    if trace is not None:
        for path in traces[0]:
            trace[path] = np.concatenate([kept[path] for kept in traces])
    return [_together([chunk[i] for chunk in done], sizes) for i in range(len(builds))]


def _together(chunks: Sequence[Drawn], sizes: Sequence[int]) -> Drawn:
    """One build's chunks, one behind the other."""
    broken: dict[str, float] = defaultdict(float)
    for chunk, size in zip(chunks, sizes, strict=True):
        for need, share in chunk.broken.items():
            broken[need] += share * size / sum(sizes)
    return Drawn(
        score=np.concatenate([chunk.score for chunk in chunks]),
        life_s=np.concatenate([chunk.life_s for chunk in chunks]),
        lifetime=np.concatenate([chunk.lifetime for chunk in chunks]),
        fits=np.concatenate([chunk.fits for chunk in chunks]),
        broken=dict(sorted(broken.items(), key=lambda item: (-item[1], item[0]))),
    )


def _in_order(one: Callable[[int], list[Drawn]], count: int, jobs: int) -> Iterator[list[Drawn]]:
    if jobs <= 1 or count == 1:
        yield from map(one, range(count))
        return
    from concurrent.futures import ThreadPoolExecutor

    # the arrays' work runs outside the interpreter's lock, so threads suffice
    with ThreadPoolExecutor(min(jobs, count)) as pool:
        yield from pool.map(one, range(count))


def _chunk(here: Stage, builds: Sequence[Build], criteria: Sequence[Criterion]) -> list[Drawn]:
    """One chunk of the draws."""
    done: dict[int, Drawn] = {}
    for members, made, result in assessed(here, builds, criteria):
        fits, broken = kept(result, made.side, here.own_cost)
        for row, i in enumerate(members):
            shares = {need: float(bad[row].mean()) for need, bad in broken.items()}
            done[i] = Drawn(
                score=np.where(fits[row], result.score[row], 0.0),
                life_s=result.life.life_s[row],
                lifetime=result.costs.lifetime[row],
                fits=fits[row],
                broken={need: share for need, share in shares.items() if share > 0},
            )
    return [done[i] for i in range(len(builds))]


def assessed(
    here: Stage, builds: Sequence[Build], criteria: Sequence[Criterion], fresh: bool = False
) -> Iterator[tuple[list[int], Prepared, Assessed]]:
    """Builds through a stage's figures, those on the same feed together; `fresh` as in `assess`.

    Yields
    ------
    Places in `builds` of a feed's rows, what they draw, and what comes of it.
    """
    groups: dict[tuple[str, str], list[int]] = defaultdict(list)
    for i, build in enumerate(builds):
        made = build.assessed.feed
        groups[cells_name(made.option), made.converter_name].append(i)
    catalogue, product = here.catalogue, here.product
    prepared = []
    for members in groups.values():
        feed = builds[members[0]].assessed.feed
        option = product.supply_options.cells.index(feed.option)
        made, money = here.feed(option, feed.converter_name)
        parts = [catalogue.parts[builds[i].part] for i in members]
        read = []
        for i, part in zip(members, parts, strict=True):
            at_first, row = builds[i].assessed, builds[i].row
            chosen = Wanted(at_first.sleep_name(row), at_first.options(row))
            read.append(part_figures(part, here.figures, here.samplers[part.part], chosen))
        table = stack(read)
        costs = [part_cost(p, here.own_cost, here.samplers[p.part]) for p in parts]
        prepared.append(
            prepare(
                made,
                money,
                table,
                here.figures,
                here.events(table),
                part_side(parts, costs, product, here.samplers, figures_read(product)),
                np.arange(len(members)),
                np.zeros(len(members), dtype=np.intp),
                np.zeros((len(members), len(here.figures.tasks)), dtype=np.intp),
            )
        )
    drawn = weights(product, criteria, here.samplers[product.product])
    results = assess(prepared, here.own_cost, here.figures, criteria, drawn, fresh)
    yield from zip(groups.values(), prepared, results, strict=True)
