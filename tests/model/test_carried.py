"""What the pack carries at several times, shared between them, against each laid out by itself."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np
import pytest

from advisor.decide import stated
from advisor.decide.draining import prepare
from advisor.decide.evaluate import evaluate
from advisor.model import rails
from advisor.model.carried import drain_of
from advisor.model.drain import some_tasks
from advisor.model.events import alike, asleep, calendar, of_tasks, timeline
from tests.bench.lives import CELLS, KEYS, asked

pytestmark = pytest.mark.once


@pytest.fixture(scope="module")
def laid_out() -> tuple[Any, ...]:
    """What builds of the shipped parts are prepared of, and what comes of it: two times, random
    events, a further rail."""
    got: list[tuple[Any, ...]] = []

    def noted(*given: Any) -> Any:
        made = prepare(*given)
        got.append((*given, made))
        return made

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stated, "prepare", noted)
        evaluate(*asked(CELLS, KEYS))
    return got[0]


def same(one: Any, other: Any) -> None:
    """Records of arrays that are equal to the last digit."""
    for field in fields(one):
        mine, its = getattr(one, field.name), getattr(other, field.name)
        if field.name == "rails":
            for a, b in zip(mine, its, strict=True):
                same(a, b)
        elif isinstance(mine, np.ndarray):
            assert np.array_equal(mine, its, equal_nan=True), field.name
        else:
            assert mine == its, field.name


def test_later_times_are_laid_out_as_the_first_is(laid_out: tuple[Any, ...]) -> None:
    _, stack, product, events, _, rows, _ = laid_out
    part, sleep, choice = (np.concatenate(each) for each in zip(*rows, strict=True))
    _, lines = calendar(stack, product, events, part, sleep, choice)
    assert len(events) == len(lines) == 2
    for t, (then, line) in enumerate(zip(events, lines, strict=True)):
        of = stack.in_time(t), product.in_time(t)
        own = of_tasks(*of)
        for event, its in zip(then, own, strict=True):
            same(event, its)
        same(line, timeline(*of, own, part, sleep, choice))
    slept = lines[0].chip_a[:, asleep(product)], lines[1].chip_a[:, asleep(product)]
    assert (slept[0] != slept[1]).any()


def test_what_is_alike_is_converted_once_and_is_the_same(laid_out: tuple[Any, ...]) -> None:
    *_, product, _, _, _, made = laid_out
    shared = []
    for one in made:
        here, drain = one.awake, one.drain
        every = [here.line, *(line for (line,) in here.meeting)]
        assert np.array_equal(alike(every, asleep(product)), here.alike)
        shared.append((here.alike < np.arange(1, 3)[:, None]).mean(axis=1))
        own = drain_of(one.feed, here.line, drain.cut_off_v)
        assert np.array_equal(drain.constant_a, own.constant_a)
        assert np.array_equal(drain.power_w, own.power_w)
        for t, seen in enumerate(drain.seen):
            own = drain_of(one.feed, here.meeting[t][0], drain.cut_off_v)
            own = some_tasks(own, product.done(t))
            assert np.array_equal(seen.drain.constant_a, own.constant_a)
            assert np.array_equal(seen.drain.power_w, own.power_w)
            assert np.array_equal(seen.drain.share, own.share)
    # most states by day are those of the calendar, by night those of either
    assert (np.array(shared) > 0.3).all()
    assert (np.array(shared) < 1.0).all()


def test_a_rail_s_states_that_are_alike_are_converted_once(
    laid_out: tuple[Any, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    *_, made = laid_out
    for one in made:
        (rail,), (states,) = one.feed.rails, one.awake.meeting[0][0].rails
        every = rail.carried(states)
        monkeypatch.setattr(rails, "FEW", 0)
        some, _ = states.apart()
        assert len(some.on) < len(states.on)
        for whole, shared in zip(every, rail.carried(states), strict=True):
            assert np.array_equal(whole, shared)
        monkeypatch.undo()
        assert states.apart()[0] is states
