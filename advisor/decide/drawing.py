"""The chosen builds over the draws, in chunks that may run side by side.

A chunk's draws depend on the seed and the chunk's number alone, and chunks are put together in
order, so any number of workers gives the same numbers. How long a chunk is depends on the product
alone, so that another part changes no draws; with how many builds are taken through it together it
bounds the memory used.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass
from advisor.decide.builds import Assessed, Build, assess
from advisor.decide.costs import PartCost, part_cost, with_addons
from advisor.decide.draining import Prepared, prepare
from advisor.decide.limits import figures_read, kept
from advisor.decide.marches import Marches
from advisor.decide.sides import part_side
from advisor.decide.stage import Begun, Stage, anew_stage
from advisor.decide.value import Criterion, weights
from advisor.model.addon_set import Companions
from advisor.model.companions import Fitted, fitted, with_companions
from advisor.model.draws import Array, Sampler, Trace
from advisor.model.tables import Option, Wanted, stack
from advisor.stages import Progress

CHUNK = 2000  # draws at a time
STATES = 256  # of a product's events; with more of them fewer draws are taken at a time
LEAST = 64
TOGETHER = 1_500_000  # builds x states x draws of an array


@dataclass(frozen=True, slots=True)
class Drawn:
    """A build over the draws.

    A draw that breaks a need or a limit is a failure: `fits` tells, its score is 0.

    Attributes
    ----------
    score : (N,) of 0..100. life_s : (N,) s. lifetime : (N,) per unit over the service life.
    changes : (N,) battery changes. battery_a : (N,) A, mean current at the pack. fits : (N,).
    broken : share of the draws in which a need is broken, by need. worth : (C,) mean utility,
    failures counting 0 and each draw by its weight, so that 100 x mean weight x worth adds up to
    the mean score. purchase, development, upkeep : mean per unit over the draws that fit.
    fit : share of the draws in which every need and limit is kept. expected : mean score, of
    0..100.
    """

    score: Array
    life_s: Array
    lifetime: Array
    changes: Array
    battery_a: Array
    fits: NDArray[np.bool_]
    broken: Mapping[str, float]
    worth: Array
    purchase: float
    development: float
    upkeep: float
    fit: float
    expected: float

    @property
    def cost(self) -> float:
        """Mean cost per unit over the service life, over the draws that fit; NaN where none does
        or a price is missing."""
        return self.purchase + self.development + self.upkeep

    @property
    def change(self) -> float:
        """Share of the draws that fit in which the battery is changed at least once; NaN where
        none fits or the service life is unknown."""
        there = self.changes[self.fits]
        return float(np.mean(there > 0)) if there.size and not np.isnan(there).any() else np.nan


def states_of(product: Product) -> int:
    """How many states the events of a product have, sleep among them, once for each of its times
    and once for all together."""
    states = 1 + sum(1 + len(t.kernels) + len(t.uses) + len(t.loads) for t in product.workload)
    return states * (1 + len(product.times))


def chunk_of(product: Product) -> int:
    """How many draws of a product are taken at a time."""
    return max(LEAST, min(CHUNK, CHUNK * STATES // states_of(product)))


def _sizes(product: Product, draws: int) -> list[int]:
    """Draws of each chunk."""
    chunk = chunk_of(product)
    return [min(chunk, draws - start) for start in range(0, draws, chunk)]


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
    marches: Marches | None = None,
    begun: Begun | None = None,
) -> list[Drawn]:
    """Draw every stated uncertainty through the given builds.

    Parameters
    ----------
    builds : one a part. jobs : workers; the result does not depend on it. progress : told
        (chunks done, chunks in all). trace : filled with the draws (N,) of every uncertain figure.
    marches : battery lives of earlier passes, and of this one. begun : what earlier passes of the
    same decision had in common with this one.

    Returns
    -------
    One `Drawn` a build, in order.
    """
    sizes = _sizes(product, draws)
    marches = marches or Marches(kept=0)
    traces: list[Trace] = [{} for _ in sizes]
    passes = begun or Begun()

    def one(chunk: int) -> list[Drawn]:
        kept = None if trace is None else traces[chunk]
        here = passes.stage(catalogue, product, sizes[chunk], seed, marches, chunk, kept)
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


def draw_currents(
    catalogue: Catalogue,
    product: Product,
    builds: Sequence[Build],
    draws: int,
    seed: int,
    begun: Begun,
    marches: Marches,
) -> list[Array]:
    """Mean current at the pack of each of some builds, (draws,) A; see `draw_builds`."""
    out: list[list[Array]] = [[] for _ in builds]
    for chunk, size in enumerate(_sizes(product, draws)):
        here = begun.stage(catalogue, product, size, seed, marches, chunk)
        for group in _groups(here, builds):
            for members, made in _prepared(here, [builds[i] for i in group]):
                for i, current in zip(members, made.battery_a, strict=True):
                    out[group[i]].append(current)
    return [np.concatenate(some) for some in out]


def draw_anew(
    catalogue: Catalogue,
    product: Product,
    builds: Sequence[Build],
    criteria: Sequence[Criterion],
    draws: int,
    seed: int,
    marches: Marches,
) -> list[Drawn]:
    """Builds over so many of the first draws of the first chunk, or all of it, the parts' own
    figures drawn anew: what differs from `draw_builds` comes of these alone."""
    here = anew_stage(catalogue, product, min(draws, chunk_of(product)), seed, marches)
    return _chunk(here, builds, criteria)


def _together(chunks: Sequence[Drawn], sizes: Sequence[int]) -> Drawn:
    """One build's chunks, one behind the other; what is broken most often first."""
    broken: dict[str, float] = defaultdict(float)
    for chunk, size in zip(chunks, sizes, strict=True):
        for need, share in chunk.broken.items():
            broken[need] += share * size / sum(sizes)

    def mean(values: Sequence[Array | float], counts: Sequence[float]) -> Array:
        # a chunk of which nothing counts has no mean
        some = [(v, n) for v, n in zip(values, counts, strict=True) if n]
        return np.asarray(sum(v * n for v, n in some) / sum(counts) if some else np.nan)

    fitting = [float(chunk.fits.sum()) for chunk in chunks]
    return Drawn(
        score=np.concatenate([chunk.score for chunk in chunks]),
        life_s=np.concatenate([chunk.life_s for chunk in chunks]),
        lifetime=np.concatenate([chunk.lifetime for chunk in chunks]),
        changes=np.concatenate([chunk.changes for chunk in chunks]),
        battery_a=np.concatenate([chunk.battery_a for chunk in chunks]),
        fits=np.concatenate([chunk.fits for chunk in chunks]),
        broken=dict(sorted(broken.items(), key=lambda item: (-item[1], item[0]))),
        worth=mean([chunk.worth for chunk in chunks], sizes),
        purchase=float(mean([chunk.purchase for chunk in chunks], fitting)),
        development=float(mean([chunk.development for chunk in chunks], fitting)),
        upkeep=float(mean([chunk.upkeep for chunk in chunks], fitting)),
        fit=float(mean([chunk.fit for chunk in chunks], sizes)),
        expected=float(mean([chunk.expected for chunk in chunks], sizes)),
    )


def mean_weights(product: Product, criteria: Sequence[Criterion], draws: int, seed: int) -> Array:
    """Mean over the draws of the criteria's weights, (C,) shares of 1."""
    given = [product.priorities[c.name].weight for c in criteria]
    if not draws or all(weight is None or weight.u == 0 for weight in given):
        return np.array([c.weight for c in criteria])
    out = np.zeros(len(criteria))
    for chunk, size in enumerate(_sizes(product, draws)):
        drawn = weights(product, criteria, Sampler(product.product, size, seed, chunk))
        out += drawn.sum(axis=1)
    return out / draws


def _in_order(one: Callable[[int], list[Drawn]], count: int, jobs: int) -> Iterator[list[Drawn]]:
    if jobs <= 1 or count == 1:
        yield from map(one, range(count))
        return
    from concurrent.futures import ThreadPoolExecutor

    # the arrays' work runs outside the interpreter's lock, so threads suffice
    with ThreadPoolExecutor(min(jobs, count)) as pool:
        yield from pool.map(one, range(count))


def _chunk(here: Stage, builds: Sequence[Build], criteria: Sequence[Criterion]) -> list[Drawn]:
    """One chunk of the draws, a group of builds after another."""
    done: dict[int, Drawn] = {}
    for group in _groups(here, builds):
        drawn = _group(here, [builds[i] for i in group], criteria)
        done |= zip(group, drawn, strict=True)
    return [done[i] for i in range(len(builds))]


def _groups(here: Stage, builds: Sequence[Build]) -> Iterator[list[int]]:
    """Builds, by their places, as they go through a stage together."""
    size = here.samplers.draws * states_of(here.product)
    count = max(1, TOGETHER // size)
    # those on one feed side by side: they share what it draws
    order = sorted(range(len(builds)), key=lambda i: builds[i].assessed.feed.name)
    for start in range(0, len(order), count):
        yield order[start : start + count]


def _group(here: Stage, builds: Sequence[Build], criteria: Sequence[Criterion]) -> list[Drawn]:
    """Builds over one chunk of the draws, all together."""
    done: dict[int, Drawn] = {}
    weight = weights(here.product, criteria, here.samplers[here.product.product])
    # a criterion of no weight still has a worth, for whoever gives it one
    mean = weight.mean(axis=1, keepdims=True)
    share = np.where(mean > 0, weight / np.where(mean > 0, mean, 1.0), 1.0)
    for members, made, result in assessed(here, builds, criteria):
        fits, broken = kept(result, made.side, here.own_cost)
        worth = np.einsum("cn,crn,rn->rc", share, result.utilities, fits) / fits.shape[1]
        money = result.costs
        lost = {need: bad.mean(axis=1) for need, bad in broken.items()}
        fit, expected = fits.mean(axis=1), np.where(fits, result.score, 0.0).mean(axis=1)
        for row, i in enumerate(members):
            shares = {need: float(share[row]) for need, share in lost.items()}
            good = fits[row]
            done[i] = Drawn(
                score=np.where(good, result.score[row], 0.0),
                life_s=result.life.life_s[row],
                lifetime=money.lifetime[row],
                changes=money.replacements[row],
                battery_a=result.battery_a[row],
                fits=good,
                broken={need: share for need, share in shares.items() if share > 0},
                worth=worth[row],
                purchase=_mean(money.purchase[row], good),
                development=_mean(money.development[row], good),
                upkeep=_mean(money.upkeep[row], good),
                fit=float(fit[row]),
                expected=float(expected[row]),
            )
    return [done[i] for i in range(len(builds))]


def _mean(values: Array, of: NDArray[np.bool_]) -> float:
    if of.all():
        return float(values.mean())
    return float(values[of].mean()) if of.any() else np.nan


def assessed(
    here: Stage, builds: Sequence[Build], criteria: Sequence[Criterion], fresh: bool = False
) -> Iterator[tuple[list[int], Prepared, Assessed]]:
    """Builds through a stage's figures, those on the same feed together; `fresh` as in `assess`.

    Yields
    ------
    Places in `builds` of a feed's rows, what they draw, and what comes of it.
    """
    made = _prepared(here, builds)
    drawn = weights(here.product, criteria, here.samplers[here.product.product])
    results = assess(
        [one for _, one in made],
        here.own_cost,
        here.figures,
        criteria,
        drawn,
        fresh,
        here.marches,
        here.cases,
    )
    for (members, one), result in zip(made, results, strict=True):
        yield members, one, result


def _prepared(here: Stage, builds: Sequence[Build]) -> list[tuple[list[int], Prepared]]:
    """What builds draw from their packs, those on the same feed together: their places in `builds`,
    and theirs."""
    catalogue, product = here.catalogue, here.product
    # builds on several feeds have what they take of their part in common, and so have passes
    known, priced = dict(here.read), dict(here.priced)
    places: dict[tuple[str, str, tuple[Option, ...], Companions], int] = {}
    parts: list[Fitted] = []
    costs: list[PartCost] = []
    groups: dict[str, list[int]] = defaultdict(list)
    rows: dict[str, list[int]] = defaultdict(list)
    for i, build in enumerate(builds):
        part, at_first = catalogue.parts[build.part], build.assessed
        asleep, options = at_first.sleep_name(build.row), at_first.options(build.row)
        key = part.part, asleep, options, build.companions
        if key not in places:
            one, sampler = fitted(catalogue, part, build.companions), here.samplers[part.part]
            places[key] = len(parts)
            bought = part.part, one.companions
            if key not in known:
                use = Wanted(asleep, options)
                bare = here.marches.profiles.of(part, here.figures, sampler, use)
                known[key] = with_companions(bare, one, here.figures, here.samplers)
            if bought not in priced:
                cost = part_cost(part, here.own_cost, sampler)
                priced[bought] = with_addons(cost, one.addons, here.own_cost, here.samplers)
            parts.append(one)
            costs.append(priced[bought])
        groups[at_first.feed.name].append(i)
        rows[at_first.feed.name].append(places[key])
    table = stack([known[key] for key in places])
    fed = [here.like(builds[members[0]].assessed.feed) for members in groups.values()]
    tasks = len(here.figures.tasks)
    prepared = prepare(
        fed,
        table,
        here.figures,
        here.timed(table),
        part_side(parts, costs, product, here.samplers, figures_read(product)),
        [
            (
                np.array(some, dtype=np.intp),
                np.zeros(len(some), dtype=np.intp),
                np.zeros((len(some), tasks), dtype=np.intp),
            )
            for some in rows.values()
        ],
    )
    room = TOGETHER // (here.samplers.draws * states_of(product) or 1)
    here.read.update(list(known.items())[:room])
    here.priced.update(list(priced.items())[:room])
    return list(zip(groups.values(), prepared, strict=True))
