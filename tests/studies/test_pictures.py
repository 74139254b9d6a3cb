"""What the pictures are drawn of, against the evaluation and against itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from advisor.catalogue.load import with_changes
from advisor.catalogue.shipped import load
from advisor.decide.evaluate import Evaluation, evaluate
from advisor.dimensions import YEAR
from advisor.studies.consumers import consumers
from advisor.studies.pictures import THIN, Pictures, pictures

PRODUCT = "barrel-tag"


@pytest.fixture(scope="module")
def found() -> Evaluation:
    return evaluate(*load(PRODUCT), draws=200)


@pytest.fixture(scope="module")
def seen(found: Evaluation) -> Pictures:
    made = pictures(found, {c.part.part: consumers(c.best) for c in found.candidates})
    assert made is not None
    return made


def test_front_is_beaten_by_none(seen: Pictures) -> None:
    assert seen.cloud is not None
    spots = seen.cloud.spots
    for one in spots:
        better = [
            two
            for two in spots
            if two.life_s >= one.life_s
            and two.cost <= one.cost
            and (two.life_s, -two.cost) != (one.life_s, -one.cost)
        ]
        assert one.front == (not better), one.part
    assert 0 < sum(s.front for s in spots) < len(spots)


def test_cloud_is_a_bounded_share_of_the_draws(found: Evaluation, seen: Pictures) -> None:
    assert seen.cloud is not None
    first, drawn = seen.cloud.spots[0], found.candidates[0].drawn
    assert drawn is not None
    assert len(first.draws) == THIN == seen.cloud.shown
    assert set(first.draws) <= set(zip(drawn.life_s, drawn.lifetime, strict=True))
    assert first.life_s == np.median(drawn.life_s)
    assert first.cost == pytest.approx(drawn.cost)
    assert sum(bool(s.draws) for s in seen.cloud.spots) == 8


def test_states_fill_the_period(found: Evaluation, seen: Pictures) -> None:
    """Charge of the states over the periods is the mean current at the rail: the tasks' own, and
    sleep for what no task takes."""
    for task in seen.tasks:
        for part in task.parts:
            assert sum(part.duration_s) == pytest.approx(task.period_s, rel=1e-12)
    build = found.candidates[0].best
    own = [task.parts[0] for task in seen.tasks]
    sleep = own[0].current_a[-1]
    mean = sleep
    for one, task in zip(own, seen.tasks, strict=True):
        more = (
            (a - sleep) * t for a, t in zip(one.current_a[:-1], one.duration_s[:-1], strict=True)
        )
        mean += sum(more) / task.period_s
    assert mean == pytest.approx(build.assessed.rail_a[build.row, 0], rel=1e-9)


def test_a_further_rail_s_load_stands_in_its_state() -> None:
    """A radio on a rail of its own: what it draws there comes on top of the core's current."""
    found = evaluate(*load("crate-call"))
    one = pictures(found, {c.part.part: consumers(c.best) for c in found.candidates})
    assert one is not None
    call = next(task for task in one.tasks if task.task == "call")
    assert call.where == "the rails, each at its own voltage"
    radio = next(load for load in found.product.workload[1].loads if load.load == "radio")
    assert radio.current is not None
    assert radio.on == found.product.rails[0].rail
    for part in call.parts:
        told = dict(zip(call.states, part.current_a, strict=True))
        # the rail's filling and the core, which is not asleep, are the rest
        assert told["load radio"] > radio.current.nominal
        assert told["load radio"] < 1.2 * radio.current.nominal
        assert max(told, key=told.__getitem__) == "load radio"


def test_charges_are_the_mean_current(found: Evaluation, seen: Pictures) -> None:
    assert seen.charges is not None
    for candidate in found.candidates[:8]:
        build = candidate.best
        amounts = seen.charges.amounts[build.part]
        assert len(amounts) == len(seen.charges.names) <= 8
        life = float(build.assessed.life.mean_current_a[build.row, 0])
        # self-discharge and a reservoir's leak come on top of what the build draws
        assert sum(amounts) == pytest.approx(sum(c.a for c in consumers(build) if c.a > 0))
        assert sum(amounts) >= life * (1 - 1e-6)


def test_warmth_is_the_decision_at_each_temperature(found: Evaluation, seen: Pictures) -> None:
    """Against the decision with the product's file changed; the names of what changes too."""
    warm = seen.warmth
    assert warm is not None
    assert list(warm.places) == sorted(warm.places)
    assert warm.places[0] < min(warm.stays) <= max(warm.stays) < warm.places[-1]
    names = tuple(sorted(p.part for p in warm.parts))
    for i in (0, len(warm.places) - 1):
        catalogue, product = with_changes(
            *load(PRODUCT), [f"{PRODUCT}:environment=[{{at: {warm.places[i]:g} degC, share: 1}}]"]
        )
        there = evaluate(catalogue.only(names), product)
        lives = {
            c.part.part: float(c.best.assessed.life.life_s[c.best.row, 0]) for c in there.candidates
        }
        assert {p.part: p.life_s[i] for p in warm.parts} == pytest.approx(lives)
    turns = [switch for part in warm.parts for switch in part.switches]
    assert all(switch.to and warm.places[0] < switch.at for switch in turns)


def test_findings_name_what_is_drawn(seen: Pictures) -> None:
    assert seen.cloud is not None
    assert seen.charges is not None
    assert seen.warmth is not None
    ends = sorted((s for s in seen.cloud.spots if s.front), key=lambda s: s.cost)
    assert ends[0].part in seen.cloud.finding
    assert f"{ends[-1].life_s / YEAR:.2f} years" in seen.cloud.finding
    first = next(iter(seen.charges.amounts))
    assert seen.charges.finding.startswith(f"{first} spends most on ")
    for task in seen.tasks:
        most = max(task.parts[0].current_a)
        assert task.states[task.parts[0].current_a.index(most)] in task.finding
    assert "degC" in seen.warmth.finding


def test_nothing_that_fits_draws_nothing(found: Evaluation) -> None:
    assert pictures(replace(found, candidates=()), {}) is None
