"""Times at which a voltage need not be looked at, against looking at all of them."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from advisor.model.battery import life
from advisor.model.drain import Array, Drain, Pack, Seen, joined, rows_of
from advisor.model.outdone import outdone

pytestmark = pytest.mark.once
DEPTHS = np.array([0.0, 0.2, 0.5, 0.8, 1.0])
ROWS, DRAWS = 3, 4


def made(rng: np.random.Generator, reservoir: bool) -> tuple[Pack, Drain]:
    """A pack of random curves, and drains of one to three tasks at two or three times: the later
    ones often ask for less than the first in all, and sometimes for more in a state or two."""
    one = np.ones(DRAWS)
    fall = np.sort(rng.uniform(1.8, 3.4, (len(DEPTHS), DRAWS)), axis=0)[::-1]
    pack = Pack(
        depth=DEPTHS,
        open_v=fall,
        resistance=np.sort(rng.uniform(2.0, 40.0, (len(DEPTHS), DRAWS)), axis=0),
        capacity_c=3000.0 * one,
        self_discharge_a=1e-7 * one,
        leak_a=0.0 * one,
        least_capacity=one,
        mean_capacity=one,
        shelf_life_s=np.inf * one,
        reservoir=(rng.uniform(50e-6, 500e-6) * one, rng.uniform(0.0, 2.0) * one)
        if reservoir
        else None,
    )
    sizes = rng.integers(1, 4, rng.integers(1, 4))
    ends = np.cumsum(sizes)
    tasks = tuple(slice(int(e - n), int(e)) for e, n in zip(ends, sizes, strict=True))
    shape = (ROWS, int(ends[-1]) + 1, DRAWS)
    duration = rng.uniform(1e-3, 0.2, shape) * rng.choice([0.05, 1.0])
    duration[:, -1] = 0.0
    period = rng.uniform(0.3, 3.0, (len(tasks), DRAWS))
    share = np.full(shape, 1 / shape[1])

    def drain(amps: Array, watts: Array, periods: Array) -> Drain:
        return Drain(
            constant_a=amps,
            power_w=watts,
            share=share,
            duration_s=duration,
            tasks=tasks,
            period_s=periods,
            cut_off_v=np.full((ROWS, DRAWS), 1.8),
        )

    amps = rng.uniform(0.0, 0.02, shape)
    watts = rng.uniform(0.0, 0.03, shape) * (rng.random() < 0.7)
    amps[:, -1], watts[:, -1] = amps[:, -1] / 1e3, watts[:, -1] / 1e3
    times = [Seen(one, drain(amps, watts, period))]
    for _ in range(rng.integers(1, 3)):
        less = rng.choice([1.0, rng.uniform(0.3, 1.0)], shape)
        if rng.random() < 0.3:
            less = np.where(rng.random(shape) < 0.1, 1.1, less)
        later = period * rng.choice([1.0, 1.7]) * (0.9 if rng.random() < 0.1 else 1.0)
        times.append(Seen(one, drain(amps * less, watts * less, later)))
    times = [times[i] for i in rng.permutation(len(times))]
    return pack, replace(drain(amps, watts, period), seen=tuple(times))


@pytest.mark.parametrize("reservoir", [False, True])
def test_what_another_time_outdoes_moves_no_life(reservoir: bool) -> None:
    """Lives, depths, fresh voltages and peaks are those of looking at every time, but for what a
    search may miss a depth by; at many a time nothing is looked at, and never at none of them."""
    rng = np.random.default_rng(31)
    spared = short = 0
    for _ in range(40):
        pack, drain = made(rng, reservoir)
        seen = outdone(drain.seen)
        gone = np.stack([one.outdone for one in seen if one.outdone is not None])
        assert not gone.all(axis=0).any()
        spared += int(gone.sum())
        every, some = life(pack, drain), life(pack, replace(drain, seen=seen))
        short += int((every.end_depth < 1).sum())
        for field in fields(every):
            mine, its = getattr(some, field.name), getattr(every, field.name)
            if its is not None:
                assert np.allclose(mine, its, rtol=5e-6, atol=1e-12, equal_nan=True), field.name
    assert spared > 100
    assert short > 100


def test_of_times_that_are_alike_the_first_is_looked_at() -> None:
    """And where two of three are not to be compared, both are."""
    _, drain = made(np.random.default_rng(5), False)
    one = replace(drain.seen[0].drain, duration_s=drain.duration_s / 1e3)
    first, again = (Seen(np.ones(DRAWS), one) for _ in range(2))
    warmer = Seen(0.5 * np.ones(DRAWS), one)
    found = [s.outdone.all() for s in outdone([first, again, warmer]) if s.outdone is not None]
    assert found == [False, True, False]
    assert outdone([first])[0].outdone is None
    strained = replace(again, strain=1.2)
    told = [s.outdone.all() for s in outdone([first, strained]) if s.outdone is not None]
    assert told == [True, False]


def test_it_goes_with_rows_and_joined_drains() -> None:
    _, drain = made(np.random.default_rng(6), True)
    whole = replace(drain, seen=outdone(drain.seen))
    rows = [rows_of(whole, np.array([r])) for r in range(ROWS)]
    for mine, its in zip(joined(rows).seen, whole.seen, strict=True):
        assert mine.outdone is not None
        assert its.outdone is not None
        assert mine.outdone.tolist() == its.outdone.tolist()


def test_events_that_may_wait_are_looked_at_at_every_time() -> None:
    _, drain = made(np.random.default_rng(7), True)
    long = replace(drain.seen[0].drain, duration_s=np.where(drain.duration_s > 0, 9.0, 0.0))
    one = Seen(np.ones(DRAWS), long)
    assert not any(s.outdone.any() for s in outdone([one, one]) if s.outdone is not None)


def test_of_many_tasks_every_time_is_looked_at() -> None:
    """Of more than three not every order is: which is worst may turn with what they draw."""
    _, drain = made(np.random.default_rng(5), False)
    short = np.full((ROWS, 5, DRAWS), 1e-4)
    short[:, -1] = 0.0
    for count, spared in ((3, True), (4, False)):
        one = replace(
            drain.seen[0].drain,
            constant_a=np.full_like(short, 1e-3),
            power_w=np.full_like(short, 1e-3),
            share=np.full_like(short, 0.2),
            duration_s=short,
            tasks=tuple(slice(k, k + 1) for k in range(count)),
            period_s=np.ones((count, DRAWS)),
        )
        first, again = (Seen(np.ones(DRAWS), one) for _ in range(2))
        gone = outdone([first, again])[1].outdone
        assert gone is not None
        assert gone.all() == gone.any() == spared
