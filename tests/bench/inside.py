"""Inside one process: reading, calculating, and the numerics by themselves."""

from __future__ import annotations

import gc
import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import numpy as np
import yaml

from advisor.catalogue.load import load_catalogue, load_product
from advisor.model.battery import life
from advisor.model.drain import Drain, Pack
from advisor.model.march import March
from advisor.model.operating_plan import relaxed
from advisor.studies.shortlist import shortlist
from tests.bench.registry import Row, Scale, benchmark, middle, timed, turn_about
from tests.bench.synthetic import PRODUCT, write_catalogue


@contextmanager
def drawn_catalogue(parts: int) -> Iterator[Path]:
    """A catalogue of drawn parts and a cache of its own, both gone afterwards."""
    before = os.environ.get("ADVISOR_CACHE_DIR")
    with tempfile.TemporaryDirectory() as name:
        os.environ["ADVISOR_CACHE_DIR"] = str(Path(name, "cache"))
        try:
            yield write_catalogue(Path(name, "catalogue"), parts)
        finally:
            if before is None:
                del os.environ["ADVISOR_CACHE_DIR"]
            else:
                os.environ["ADVISOR_CACHE_DIR"] = before


@benchmark("load", "2,000 part files read and checked against PyYAML's C loader alone")
def load(scale: Scale) -> list[Row]:
    with drawn_catalogue(scale.files) as folder:
        files = sorted(folder.rglob("*.yaml"))

        def plain() -> None:
            for path in files:
                with path.open("rb") as file:
                    yaml.load(file, Loader=yaml.CSafeLoader)

        def warm() -> None:
            load_catalogue([folder], cached=True)

        # quantities that were read once are remembered in a process: start from none, as a run does
        def cold() -> None:
            from advisor.quantities import read_quantity

            read_quantity.cache_clear()
            load_catalogue([folder])

        warm()
        works = [partial(_collected, work) for work in (cold, warm, plain)]
        ours, kept, theirs = map(middle, turn_about(scale.rounds, works))
    against = "CSafeLoader on the same files"
    return [
        Row(f"{scale.files} part files loaded and checked", ours, against, theirs, 4),
        Row(f"{scale.files} part files from a warm cache", kept, against, theirs, 0.3),
    ]


def _collected(work: Callable[[], object]) -> float:
    gc.collect()
    return timed(work)


@benchmark("growth", "the calculation for ten times as many parts")
def growth(scale: Scale) -> list[Row]:
    rows = []
    with drawn_catalogue(scale.many) as folder:
        many = load_catalogue([folder])
        few = many.only(sorted(many.parts)[: scale.few])
        product = load_product(PRODUCT.encode(), many)
        for draws in (0, scale.draws // 20):
            works = [partial(shortlist, who, product, draws=draws) for who in (many, few)]
            above, below = turn_about(scale.rounds, [partial(timed, work) for work in works])
            how = f"{draws} draws" if draws else "stated values"
            rows.append(
                Row(
                    f"shortlist of {scale.many} parts, {how}",
                    middle(above),
                    f"of {scale.few} parts",
                    middle(below),
                    12.0 * scale.many / scale.few / 10,
                )
            )
    return rows


@benchmark("march", "the battery march against one NumPy pass of a/(b + c/v) over the same shape")
def march(scale: Scale) -> list[Row]:
    rows, states, draws = 24, 6, scale.draws
    draw = np.random.default_rng(7)
    depth = np.array([0.0, 0.05, 0.2, 0.5, 0.8, 0.9, 0.97, 1.0])
    volts = np.array([3.25, 3.1, 3.0, 2.9, 2.8, 2.6, 2.3, 2.0])
    ohms = np.array([8.0, 8.0, 9.0, 11.0, 15.0, 20.0, 30.0, 45.0])
    scatter = draw.normal(1.0, 0.02, draws)
    ones = np.ones(draws)
    pack = Pack(
        depth=depth,
        open_v=volts[:, None] * scatter,
        resistance=ohms[:, None] * draw.normal(1.0, 0.1, draws),
        capacity_c=2000.0 * scatter,
        self_discharge_a=1e-7 * ones,
        leak_a=0.0 * ones,
        least_capacity=0.8 * ones,
        mean_capacity=0.95 * ones,
        shelf_life_s=3e8 * ones,
    )
    shape = (rows, states, draws)
    share = draw.uniform(0.0, 1e-3, shape)
    share[:, -1] = 1 - share[:, :-1].sum(axis=1)
    current = draw.uniform(1e-3, 1e-2, shape)
    current[:, -1] = 2e-6
    drain = Drain(
        constant_a=current,
        power_w=draw.uniform(1e-3, 1e-2, shape) * (np.arange(states) < states - 1)[:, None],
        share=share,
        duration_s=share * 60.0,
        tasks=(slice(0, states - 1),),
        period_s=np.full((1, draws), 60.0),
        cut_off_v=np.full((rows, draws), 2.0),
    )
    mean = (drain.share * drain.constant_a).sum(axis=1) + pack.self_discharge_a
    steps = March(pack, mean, (drain.share * drain.power_w).sum(axis=1))
    end = np.ones((rows, draws))

    def one_pass(*size: int) -> Callable[[], object]:
        a, b, c, v = (draw.uniform(1.0, 2.0, size) for _ in range(4))
        return lambda: a / (b + c / v)

    marched, lived, small, large = map(
        middle,
        turn_about(
            2 * scale.rounds,
            [
                partial(timed, lambda: steps.time(end)),
                partial(timed, lambda: life(pack, drain)),
                partial(timed, one_pass(rows, len(depth), draws)),
                partial(timed, one_pass(rows, states, len(depth), draws)),
            ],
        ),
    )
    size = f"{rows} builds x {len(depth)} depths x {draws} draws"
    against = "one pass of a/(b + c/v)"
    return [
        Row(f"march to the end, {size}", marched, against, small, 4),
        Row(
            # each state's loaded voltage is followed down the curve, and the march runs thrice
            f"whole life with lows and ends, {states} states x {size}",
            lived,
            against,
            large,
            4,
        ),
    ]


@benchmark("plans", "operating plans of many parts against one batched linear program")
def plans(scale: Scale) -> list[Row]:
    from scipy.optimize import linprog
    from scipy.sparse import coo_array

    parts, tasks, options = scale.many, 3, 6
    draw = np.random.default_rng(11)
    length = [draw.uniform(0.05, 0.5, (parts, options)) for _ in range(tasks)]
    # faster costs more, and some options cost more than their speed is worth
    charge = [1e-6 * draw.uniform(0.5, 2.0, (parts, options)) / n for n in length]
    allowed = [np.ones((parts, options), dtype=bool) for _ in range(tasks)]
    rates = np.array([1.1, 0.85, 0.65])

    columns = parts * tasks * options
    index = np.arange(columns)
    part, task = index // (tasks * options), index // options
    cost = np.stack(charge, axis=1) * rates[:, None]
    busy = np.stack(length, axis=1) * rates[:, None]
    ones = coo_array((np.ones(columns), (task, index)), shape=(parts * tasks, columns)).tocsr()
    held = coo_array((busy.ravel(), (part, index)), shape=(parts, columns)).tocsr()
    scaled = cost.ravel() * 1e6  # the solver's tolerances are absolute

    def batched() -> float:
        found = linprog(
            scaled, held, np.ones(parts), ones, np.ones(parts * tasks), method="highs-ds"
        )
        assert found.status == 0
        return float(found.fun) * 1e-6

    def ours() -> float:
        return float(relaxed(charge, length, allowed, rates)[0].sum())

    # a busy bound that is slack everywhere would be no test of speed
    if not 0.2 < float((relaxed(charge, length, allowed, rates)[1] > 0).mean()) < 0.95:
        raise RuntimeError("the drawn plans are all tight or all slack")

    theirs = batched()
    if abs(ours() - theirs) > 1e-9 * theirs:
        raise RuntimeError(f"plans differ: {ours()} A against {theirs} A")
    fast, slow = turn_about(scale.rounds, [lambda: timed(ours), lambda: timed(batched)])
    return [
        Row(
            f"operating plans of {parts} parts, {tasks} tasks, {options} options, equal to 1e-9",
            middle(fast),
            "one batched linear program, HiGHS by SciPy, without building it",
            middle(slow),
            0.1,
        )
    ]


@benchmark("acceptability", "who is first under unknown weights against the bare matrix product")
def unknown(scale: Scale) -> list[Row]:
    from advisor.decide.unknown_weights import acceptability

    parts, builds, criteria, weightings = scale.many, 4, 8, scale.draws * 20
    draw = np.random.default_rng(13)
    rows = draw.random((parts * builds, criteria))
    worth = np.split(rows, parts)
    weights = draw.dirichlet(np.ones(criteria), weightings).T
    block = 1000

    def product() -> None:
        for start in range(0, weightings, block):
            rows @ weights[:, start : start + block]

    ours, bare = turn_about(
        scale.rounds,
        [partial(timed, lambda: acceptability(worth, weights)), partial(timed, product)],
    )
    return [
        Row(
            f"first of {parts} parts x {builds} builds x {criteria} criteria under {weightings} "
            "weightings",
            middle(ours),
            "the matrix product of that shape, in blocks",
            middle(bare),
            8,
        )
    ]
