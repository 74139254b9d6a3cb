"""Marches kept and shared among cases, against marching everything."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from advisor.decide import marches
from advisor.decide.digests import digest
from advisor.decide.marches import Marches, lives_of_cases
from advisor.model.battery import Life, lives
from advisor.model.drain import Array, Drain, Pack


def made(watts: Array) -> tuple[Pack, list[Drain]]:
    """A pack and two drains of a build each, of one task and a rest; `watts` (N,) in the task."""
    n = len(watts)
    one = np.ones(n)
    pack = Pack(
        depth=np.linspace(0, 1, 6),
        open_v=np.linspace(3.0, 2.0, 6)[:, None] * one,
        resistance=np.linspace(2.0, 9.0, 6)[:, None] * one,
        capacity_c=3600.0 * one,
        self_discharge_a=1e-7 * one,
        leak_a=0 * one,
        least_capacity=one,
        mean_capacity=one,
        shelf_life_s=np.inf * one,
        reservoir=(1e-4 * one, 0.1 * one),
    )
    share = np.array([0.001, 0.999])[:, None] * one
    power = np.stack([watts, 0 * watts])
    drain = Drain(
        constant_a=np.array([1e-3, 2e-6])[None, :, None] * one,
        power_w=power[None],
        share=share[None],
        duration_s=np.array([0.01, 9.99])[None, :, None] * one,
        tasks=(slice(0, 1),),
        period_s=10.0 * one[None],
        cut_off_v=1.8 * one[None],
    )
    return pack, [drain, replace(drain, power_w=2 * drain.power_w)]


def assert_same(found: list[Life], wanted: list[Life]) -> None:
    for one, other in zip(found, wanted, strict=True):
        for field in fields(Life):
            a, b = getattr(one, field.name), getattr(other, field.name)
            if a is None or b is None:
                assert a is b
                continue
            # a search ends where the last of its cases does
            np.testing.assert_allclose(a, b, rtol=1e-7, err_msg=field.name)


@pytest.mark.parametrize(
    ("cases", "marched"), [([1, 1, 1], 1), ([1, 2, 1], 2), ([2, 1, 2], 2), ([1, 2, 3], 3)]
)
def test_cases_that_are_alike_are_marched_once(
    cases: list[float], marched: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    draws = np.array([0.01, 0.03, 0.02, 0.05])
    pack, drains = made(np.concatenate([draws * case for case in cases]))
    seen: list[int] = []

    def counted(pack: Pack, drains: list[Drain], fresh: bool, means: bool) -> list[Life]:
        seen.append(drains[0].share.shape[2] // len(draws))
        return lives(pack, drains, fresh, means)

    monkeypatch.setattr(marches, "lives", counted)
    assert_same(lives_of_cases(pack, drains, True, True, len(cases)), lives(pack, drains))
    one = drains[:1]
    assert_same(lives_of_cases(pack, one, True, True, len(cases)), lives(pack, one))
    assert seen == [marched, marched]


def test_what_is_known_is_not_marched_again_and_anything_else_is(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    kept = Marches()
    pack, drains = made(np.array([0.01, 0.03]))
    first = kept.lives(pack, drains, True, True, 1)
    seen: list[Pack] = []

    def counted(pack: Pack, drains: list[Drain], fresh: bool, means: bool) -> list[Life]:
        seen.append(pack)
        return lives(pack, drains, fresh, means)

    monkeypatch.setattr(marches, "lives", counted)
    again, alike = made(np.array([0.01, 0.03]))
    assert_same(kept.lives(again, alike, True, True, 1), first)
    assert not seen
    for other in (
        replace(pack, capacity_c=2 * pack.capacity_c),
        replace(pack, reservoir=None),
        replace(pack, shelf_life_s=1e6 * np.ones(2)),
    ):
        assert_same(kept.lives(other, drains, True, True, 1), lives(other, drains))
    assert len(seen) == 3
    assert kept.lives(pack, drains[::-1], True, True, 1)[0].life_s[0, 1] < first[0].life_s[0, 1]
    assert len(seen) == 4


def test_what_is_no_array_tells_marches_apart_too() -> None:
    """The same arrays: whether a fresh pack is looked at, whether means are, and drains that
    are fewer."""
    kept = Marches()
    pack, drains = made(np.array([0.01, 0.03]))
    asked = [(drains, True, True), (drains, False, True), (drains[:1], True, True)]
    asked += [(drains, True, False), (drains, False, False)]
    assert len({digest((pack, tuple(one[0]), *one[1:])) for one in asked}) == len(asked)
    for some, fresh, means in (*asked, *asked):
        found = kept.lives(pack, some, fresh, means, 1)
        assert_same(found, lives(pack, some, fresh, means))
