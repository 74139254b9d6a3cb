"""The builds that some weights may choose, against drawing every build through all draws."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from advisor.catalogue.load import with_changes
from advisor.catalogue.shipped import load
from advisor.decide.drawing import draw_builds
from advisor.decide.evaluate import evaluate
from advisor.decide.fronts import _weighed, fronts
from advisor.decide.ranks import DIGITS
from tests.decide.random_catalogues import several, unsure

LOST = 0.05  # points, as of the chosen builds


@pytest.mark.parametrize(("seed", "draws"), [(1, 200), (5, 200), (6, 200), (5, 320), (6, 320)])
def test_whatever_the_weights_the_best_build_is_on_the_front(
    seed: int, draws: int, tmp_path: Path
) -> None:
    # with 320 draws a few of them go before
    inputs = unsure(several(seed), seed).load(tmp_path)
    found = evaluate(*inputs, draws)
    assert found.candidates
    weights = np.random.default_rng(seed).dirichlet(np.ones(len(found.criteria)), 50)
    weights = np.concatenate([weights, np.eye(len(found.criteria))])
    wanted = inputs[1].needs.confidence.nominal
    gained = 0
    for candidate, front in zip(found.candidates, fronts(found), strict=True):
        drawn = draw_builds(*inputs, candidate.builds, found.criteria, draws, 1)
        every = np.stack([d.worth for d in drawn if d.fit >= wanted])
        offered = np.stack([one.worth for one in front])
        best, ours = (100 * (weights @ w.T).max(axis=1) for w in (every, offered))
        assert (ours >= best - LOST).all()
        assert candidate.best in [one.build for one in front]
        gained += any(one.build not in candidate.tried for one in front)
    # some were drawn for the front alone
    assert gained


def test_fronts_are_the_same_over_any_number_of_workers(tmp_path: Path) -> None:
    found = evaluate(*unsure(several(5), 5).load(tmp_path), 320)
    told: list[tuple[int, int]] = []
    one, two = (
        [
            [(o.build, o.worth.tobytes(), o.drawn and o.drawn.score.tobytes()) for o in some]
            for some in offered
        ]
        for offered in (fronts(found), fronts(found, 2, lambda *count: told.append(count)))
    )
    assert one == two
    parts = len(found.candidates)
    assert parts > 1
    assert told == sorted(told)
    assert told[-1] == (parts, parts)


@pytest.mark.parametrize(("name", "draws"), [("frost-post", 128), ("frost-post", 0)])
def test_weights_of_nothing_take_the_build_of_least_current(name: str, draws: int) -> None:
    """As the whole decision does, by the worth that the front carries: each criterion alone, and
    some together; builds that differ only by what has no weight are equal."""
    catalogue, product = load(name)
    catalogue = catalogue.only(["quorvane-jor", "quorvane-sij", "tessimur-rud"])
    found = evaluate(catalogue, product, draws)
    names = [one.name for one in found.criteria]
    offered = dict(
        zip((c.part.part for c in found.candidates), fronts(found, ties=True), strict=True)
    )
    plain = dict(zip(offered, fronts(found), strict=True))
    helped = 0
    for some in [(n,) for n in names] + [tuple(names[k : k + 2]) for k in range(len(names) - 1)]:
        weights = [f"{name}:priorities.{n}.weight={int(n in some)}" for n in names]
        there = evaluate(*with_changes(catalogue, product, weights), draws)
        share = np.array([n in some for n in names]) / len(some)
        for candidate in there.candidates:
            carried = offered[candidate.part.part]
            best, other = (
                min(
                    one,
                    key=lambda o: (-round(100 * float(share @ o.worth), DIGITS), o.build.order[1:]),
                )
                for one in (carried, plain[candidate.part.part])
            )
            assert best.build.name == candidate.best.name, (some, candidate.part.part)
            assert 100 * float(share @ best.worth) == pytest.approx(candidate.score, abs=1e-6)
            helped += other.build.name != candidate.best.name
    assert helped
    # what is carried for equal scores is no more than that takes
    for part, carried in offered.items():
        assert len(carried) <= 2 * len(plain[part]) + 4


def test_of_many_criteria_no_more_sets_are_looked_at_than_can_be() -> None:
    """All sets of few; of twenty, which have a million, those of nearly none or nearly all."""
    assert len(list(_weighed(10))) == 2**10 - 1
    some = [frozenset(one) for one in _weighed(20)]
    assert len(set(some)) == len(some) == 20 + 190 + 190 + 20 + 1
