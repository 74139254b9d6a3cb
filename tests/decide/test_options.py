"""More options never make a part worse, and no plan that could be the best is pruned.

The other options are judged by trying them all: every combination of points, engines and sleep
states goes through the whole decision.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import product as combinations
from pathlib import Path

import numpy as np
import pytest

from advisor.catalogue.load import load_run, with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.catalogue.shipped import catalogue_folder
from advisor.decide import stated as deciding
from advisor.decide.builds import Build
from advisor.decide.evaluate import Evaluation, evaluate
from advisor.model.draws import Array
from advisor.model.ends import ENDS, INDEX
from advisor.model.events import EventStates
from advisor.model.packs import Feed
from advisor.model.plan import Plans, choose
from advisor.model.tables import Stack
from advisor.model.workload import ProductFigures
from tests.decide.random_catalogues import Draft, draft
from tests.shares import mostly_slow

pytestmark = pytest.mark.once

YEAR = 365.25 * 86400.0
SEEDS = range(60)


def best(found: Evaluation) -> float:
    """Score of the best build of the one part; minus infinity where it is out."""
    return found.candidates[0].best.score if found.candidates else -np.inf


def every_plan(
    feeds: Sequence[Feed],
    stack: Stack,
    product: ProductFigures,
    events: tuple[EventStates, ...],
    floor_v: Array,
) -> list[Plans]:
    """In place of `choose`: every combination that keeps the deadlines and the busy bound."""
    out = []
    for plans in choose(feeds, stack, product, events, floor_v):
        rows = []
        for p, z in zip(*np.nonzero(plans.possible), strict=True):
            options = [np.flatnonzero(may[p, z]) for may in plans.allowed]
            for choice in combinations(*options):
                busy = sum(
                    plans.length[k][p, z, o] / product.tasks[k].period[0]
                    for k, o in enumerate(choice)
                )
                if busy <= 1:
                    rows.append((p, z, *choice))
        whole = np.array(rows, dtype=np.intp).reshape(len(rows), 2 + len(events))
        out.append(replace(plans, part=whole[:, 0], sleep=whole[:, 1], choice=whole[:, 2:]))
    return out


def compare_with_all(
    monkeypatch: pytest.MonkeyPatch, catalogue: Catalogue, product: Product
) -> tuple[Evaluation, Evaluation]:
    """(as decided, with every combination tried)."""
    pruned = evaluate(catalogue, product)
    with monkeypatch.context() as patched:
        patched.setattr(deciding, "choose", every_plan)
        return pruned, evaluate(catalogue, product)


@pytest.mark.parametrize("seed", mostly_slow(SEEDS, 10))
def test_the_best_build_is_the_best_of_all_combinations(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a reservoir pruning is exact but for charges that cross between two voltages."""
    pruned, whole = compare_with_all(monkeypatch, *draft(seed).load(tmp_path))
    assert bool(pruned.candidates) == bool(whole.candidates)
    assert best(pruned) == pytest.approx(best(whole), abs=1e-6)


@pytest.mark.parametrize("seed", mostly_slow(SEEDS, 10))
def test_a_reservoir_loses_no_more_than_a_twentieth_of_a_point(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Options are looked at one by one on a reservoir, where tasks also lean on each other."""
    pruned, whole = compare_with_all(monkeypatch, *draft(seed, reservoir=True).load(tmp_path))
    assert bool(pruned.candidates) == bool(whole.candidates)
    assert best(pruned) >= best(whole) - 0.05


@pytest.mark.parametrize("seed", mostly_slow(range(16, 40), 6))
def test_a_boost_converter_spares_the_pack_what_the_chip_needs(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A pack below the least voltage of chip and loads, which see the rail, is searched to its
    own cut-off."""
    one = draft(seed)
    boost = one.converters["buck"].replace("kind: buck", "kind: boost")
    boost = boost.replace("{min: 1.8 V, max: 5.5 V}", "{min: 0.9 V, max: 5.5 V}")
    boost = boost.replace("max: 3.3 V", "max: 3.6 V").replace("buck", "up")
    made = replace(
        one,
        supply=one.supply.replace("min: 1.7 V", "min: 3.3 V"),
        converters={"up": boost},
        converter_options=["up"],
    ).load(tmp_path)
    raised = with_changes(*made, ["probe:rail=3.4 V"])
    pruned, whole = compare_with_all(monkeypatch, *raised)
    assert bool(pruned.candidates) == bool(whole.candidates)
    assert best(pruned) == pytest.approx(best(whole), abs=1e-6)


def smaller(one: Draft) -> Iterator[tuple[str, Draft]]:
    """The draft with one thing less, as often as there is one to take away."""
    for name in one.points:
        if len(one.points) > 1:
            yield f"point {name}", one.without_point(name)
    yield "engine", one.without_engine("aid")
    for name in one.sleeps:
        kept = {k: v for k, v in one.sleeps.items() if k != name}
        yield f"sleep state {name}", replace(one, sleeps=kept)
    for i in range(1, len(one.cell_options)):
        left = one.cell_options[:i] + one.cell_options[i + 1 :]
        yield f"cell {i}", replace(one, cell_options=left)
    for i in range(1, len(one.converter_options)):
        left = one.converter_options[:i] + one.converter_options[i + 1 :]
        yield f"converter {i}", replace(one, converter_options=left)


@pytest.mark.parametrize("reservoir", [False, True])
@pytest.mark.parametrize("seed", mostly_slow(range(100, 140), 10))
def test_measuring_more_never_makes_a_part_worse(
    seed: int, reservoir: bool, tmp_path: Path
) -> None:
    """One operating point, engine, sleep state, cell or converter more: no part falls or goes."""
    whole = draft(seed, reservoir)
    much = best(evaluate(*whole.load(tmp_path)))
    for what, less in smaller(whole):
        little = best(evaluate(*less.load(tmp_path)))
        assert much >= little - (0.05 if reservoir else 1e-6), what


COIN = """
product: coin-case
invented: true
life-target: 5 years
rail: 2.5 V
environment: [{at: -10 degC, share: 1}]
workload: [{task: sign, every: 10 s, kernels: {hash: 1}}]
retain: [ram]
supply-options: {cells: [{cell: lb-coin}], converters: [none]}
priorities: {battery-life: {weight: 1, poor: 0 years, good: 10 years}}
"""


def test_a_coin_cell_in_the_cold_is_spared_a_part_s_fast_points() -> None:
    """The fast points' pulses would end the lives early; slower ones carry them for years."""
    catalogue, product = load_run([catalogue_folder()], COIN.encode())
    whole = evaluate(catalogue, product)
    spared = slowed = 0
    for candidate in whole.candidates:
        name = candidate.part.part
        mine = years(candidate.best)
        for point in candidate.part.operating_points:
            pin = f"coin-case:workload.sign.at={point}"
            alone = evaluate(*with_changes(catalogue.only([name]), product, [pin])).candidates
            slowed += not alone
            if alone:
                assert mine >= years(alone[0].best) - 1e-9
                spared += mine > 7.5 and years(alone[0].best) < 0.5
    # one part would end within half a year by its fast point, another could not run it at all
    assert spared
    assert slowed


def years(build: Build) -> float:
    """Battery life of a build at the stated values."""
    return float(build.assessed.life.life_s[build.row, 0]) / YEAR


def test_random_catalogues_bind_every_limit(tmp_path: Path) -> None:
    """The drafts are worth something only if they end in every way and fail by every limit."""
    ends, needs = set(), set()
    for seed in SEEDS:
        found = evaluate(*draft(seed).load(tmp_path))
        for candidate in found.candidates:
            for build in candidate.builds:
                ends.add(int(build.assessed.life.ends_by[build.row, 0]))
        needs |= {f.need.split(" ")[-1] for failed in found.screened.values() for f in failed}
    # nobody charges these packs
    assert ends == set(range(len(ENDS))) - {INDEX["faded"], INDEX["interval"]}
    assert {"max-pulse", "cold", "workload.report.finish-within"} <= needs
