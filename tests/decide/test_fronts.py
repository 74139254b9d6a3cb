"""The builds that some weights may choose, against drawing every build through all draws."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from advisor.decide.drawing import draw_builds
from advisor.decide.evaluate import evaluate
from advisor.decide.fronts import fronts
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
