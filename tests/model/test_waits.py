"""Waits behind regular tasks: exact where they are, else against an event-by-event simulation."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from advisor.model.chance import Served, Tries, served
from advisor.model.waits import Coming, done_within, met
from advisor.studies.explain import explain
from tests.model.test_calendar import made
from tests.model.test_chance import STAYS, coming, device

pytestmark = pytest.mark.once

ONE = np.ones(1)


def lasting(once: float, try_s: float = 0.0, fails: float = 0.0, most: int = 1) -> Served:
    return served(np.array([[[once], [try_s]]]), [None, Tries(fails * ONE, most)], None)


def every(period: float, event: Served) -> Coming:
    return coming(1 / period * ONE, False, event)


def at_random(period: float, event: Served) -> Coming:
    return coming(1 / period * ONE, True, event)


def mean(*tasks: Coming) -> float:
    return float(met(tasks).wait[0, 0])


def beyond(seconds: float, *tasks: Coming) -> float:
    """Chance to wait longer than so many seconds: that an event of no length ends no sooner."""
    return 1 - float(done_within(np.array([seconds]), lasting(0.0), tasks)[0, 0])


def theirs(*tasks: Coming) -> float:
    """Mean wait of Pollaczek and Khinchine."""
    busy = sum(float(t.rate[0] * t.moments[0][0, 0]) for t in tasks)
    return sum(float(t.rate[0] * t.moments[1][0, 0]) for t in tasks) / (2 * (1 - busy))


@pytest.mark.parametrize(
    ("period", "wait"), [(1.0, 0.01805), (0.5, 0.0361), (0.32, 0.05640625), (0.25, 0.0722)]
)
def test_behind_one_regular_task_a_wait_is_what_is_left_of_it(period: float, wait: float) -> None:
    """190 ms every T: a share S/T waits, evenly 0..S, S^2/2T on average."""
    task = every(period, lasting(0.19))
    found = met([task])
    assert found.busy[0, 0] == pytest.approx(0.19 / period, rel=1e-12)
    assert mean(task) == pytest.approx(wait, rel=1e-12)
    # among calls that hardly ever come
    assert mean(task, at_random(86400.0, lasting(0.1))) == pytest.approx(wait, rel=1e-4)
    for seconds in (0.02, 0.1, 0.15, 0.18, 0.19, 0.25):
        late = max(0.19 - seconds, 0.0) / period
        assert beyond(seconds, task) == pytest.approx(late, abs=2e-9)


def test_a_deadline_behind_a_long_regular_task() -> None:
    """152.9 ms every 320 ms: 36.5 ms on average, and 16.5 % wait beyond 100 ms."""
    task = every(0.32, lasting(0.1529))
    assert mean(task) == pytest.approx(0.1529**2 / 0.64, rel=1e-12)
    assert beyond(0.1, task) == pytest.approx(0.0529 / 0.32, abs=1e-9)


# period s, once s, a try s, chance to fail, most tries; whether at random
Task = tuple[float, float, float, float, int, bool]


def simulated(tasks: list[Task], seed: int) -> np.ndarray:
    """Work left, met by 200 000 events of no length at random, in 20 lives of other phases."""
    rng = np.random.default_rng(seed)
    waits = []
    life = 20_000 / sum(1 / period for period, *_ in tasks)
    for _ in range(20):
        due, length = [], []
        for period, once, try_s, fails, most, random in tasks:
            if random:
                when = rng.uniform(0, life, rng.poisson(life / period))
            else:
                when = np.arange(rng.uniform(0, period), life, period)
            tries = np.minimum(rng.geometric(1 - fails, len(when)), most)
            due.append(when)
            length.append(once + try_s * tries)
        due.append(rng.uniform(0.02 * life, life, 10_000))
        length.append(np.full(10_000, -1.0))
        when, takes = np.concatenate(due), np.concatenate(length)
        order = np.argsort(when)
        free = 0.0
        for at, needs in zip(when[order].tolist(), takes[order].tolist(), strict=True):
            if needs < 0:
                waits.append(max(free - at, 0.0))
            else:
                free = max(free, at) + needs
    return np.array(waits)


CASES: dict[str, tuple[list[Task], float, float]] = {
    # tasks, most that the mean may be above, most that the share of long waits may be above
    "one": ([(3.0, 1, 0, 0, 1, False)], 0.01, 0.03),
    "one of tries": ([(4.0, 1, 0.3, 0.3, 4, False)], 0.02, 0.05),
    "a short one beside": ([(2.0, 1, 0, 0, 1, False), (1.0, 0.1, 0, 0, 1, True)], 0.02, 0.15),
    "a long one beside": ([(3.3, 1, 0, 0, 1, False), (20.0, 4, 0, 0, 1, True)], 0.05, 0.3),
    "tries beside": ([(4.0, 1, 0.5, 0.3, 3, False), (6.0, 0.5, 0.5, 0.3, 4, True)], 0.05, 0.3),
    "two": ([(3.1, 1, 0, 0, 1, False), (1.7, 0.3, 0, 0, 1, False)], 0.05, 0.2),
    "two and one at random": (
        [(3.1, 1, 0, 0, 1, False), (1.7, 0.3, 0, 0, 1, False), (5.0, 0.5, 0, 0, 1, True)],
        0.10,
        0.4,
    ),
    "three": (
        [(3.1, 0.5, 0, 0, 1, False), (1.7, 0.3, 0, 0, 1, False), (7.7, 0.9, 0, 0, 1, False)],
        0.10,
        0.4,
    ),
    "heavy": ([(2.0, 1, 0, 0, 1, False), (1.0, 0.42, 0, 0, 1, True)], 0.15, 0.3),
    "heavier": ([(1.25, 1, 0, 0, 1, False), (1.0, 0.15, 0, 0, 1, True)], 0.15, 0.3),
}


@pytest.mark.parametrize("case", CASES)
def test_waits_are_those_of_a_simulation(case: str) -> None:
    """No more than a little shorter, and too long by no more than is told of each."""
    tasks, above, above_late = CASES[case]
    waits = simulated(tasks, seed=len(case))
    batches = waits.reshape(20, -1)
    told = [
        (at_random if random else every)(period, lasting(once, try_s, fails, most))
        for period, once, try_s, fails, most, random in tasks
    ]
    error = float(batches.mean(axis=1).std() / np.sqrt(20) / waits.mean())
    ratio = mean(*told) / float(waits.mean())
    assert 0.97 - 4 * error < ratio < 1 + above + 4 * error
    for share in (0.2, 0.05):
        seconds = float(np.quantile(waits, 1 - share))
        late = (batches > seconds).mean(axis=1)
        error = float(late.std() / np.sqrt(20) / share)
        if seconds > 0:
            assert 0.92 - 4 * error < beyond(seconds, *told) / share < 1 + above_late + 4 * error


def test_very_many_short_regular_tasks_are_like_random_ones() -> None:
    tasks = [every(100.0 + k / 10, lasting(0.3)) for k in range(200)]
    assert mean(*tasks) == pytest.approx(theirs(*tasks), rel=0.01)
    few = tasks[:40]
    like = coming(np.sum([t.rate for t in few], axis=0), True, lasting(0.3))
    for seconds in (0.1, 0.25, 0.5):
        assert beyond(seconds, *few) == pytest.approx(beyond(seconds, like), rel=0.05)


@pytest.mark.parametrize("seed", range(40))
def test_a_wait_lies_between_what_is_left_and_pollaczek_and_khinchine(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 5))
    share = rng.dirichlet(np.ones(count)) * rng.uniform(0.05, 0.98)
    tasks = []
    for k, load in enumerate(share):
        own = lasting(float(rng.uniform(0.1, 2)), float(rng.uniform(0, 1)), 0.3, 3)
        make = at_random if rng.random() < 0.4 and k else every
        tasks.append(make(float(own.moments[0][0, 0] / load), own))
    least = sum(float(t.rate[0] * t.moments[1][0, 0]) / 2 for t in tasks)
    assert least * (1 - 1e-9) <= mean(*tasks) <= theirs(*tasks) * (1 + 1e-9)
    # whatever the order
    assert mean(*tasks[::-1]) == pytest.approx(mean(*tasks), rel=1e-12)
    some = float(rng.uniform(0.1, 3)) * mean(*tasks)
    late = beyond(some, *tasks)
    assert beyond(some, *tasks[::-1]) == pytest.approx(late, rel=1e-9, abs=1e-12)
    assert 0 <= late <= sum(share) + 1e-12
    assert beyond(1.1 * some, *tasks) <= late + 1e-3
    # each event more makes them longer
    more = [*tasks, every(50.0, lasting(0.5))]
    assert sum(share) > 0.95 or mean(*more) > mean(*tasks)


def test_cases_are_each_worked_out_by_themselves() -> None:
    """Rows and draws whose regular tasks stand in other orders are told as each alone."""
    rng = np.random.default_rng(3)
    lengths = rng.uniform(0.1, 0.5, (3, 2, 4))  # R, tasks, N
    periods = rng.uniform(1.5, 3.0, (2, 4))
    own = served(np.full((3, 1, 4), 0.2), [None], None)

    def tasks(r: slice, n: slice) -> list[Coming]:
        call = served(np.full_like(lengths[r, :1, n], 0.2), [None], None)
        return [
            *(
                coming(1 / periods[k, n], False, served(lengths[r, k : k + 1, n], [None], None))
                for k in range(2)
            ),
            coming(np.full_like(periods[0, n], 0.1), True, call),
        ]

    every_one = slice(None)
    limit = np.full(4, 0.4)
    found = done_within(limit, own, tasks(every_one, every_one))
    waits = met(tasks(every_one, every_one)).wait
    for r in range(3):
        for n in range(4):
            alone = tasks(slice(r, r + 1), slice(n, n + 1))
            one = done_within(limit[:1], lasting(0.2), alone)[0, 0]
            assert found[r, n] == pytest.approx(one, rel=1e-9)
            assert waits[r, n] == pytest.approx(met(alone).wait[0, 0], rel=1e-12)


def test_a_task_that_takes_no_time_makes_nobody_wait() -> None:
    nothing, other = every(1.0, lasting(0.0)), at_random(3.0, lasting(1.0))
    assert mean(nothing) == 0
    assert beyond(0.1, nothing) == 0
    assert mean(nothing, other) == pytest.approx(theirs(other), rel=1e-12)
    assert beyond(0.5, nothing, other) == pytest.approx(beyond(0.5, other), rel=1e-9)
    # more to do than time
    assert np.isinf(mean(every(1.0, lasting(1.5)), other))
    assert beyond(5.0, every(1.0, lasting(1.5)), other) == 1


def test_the_bound_by_the_mean_holds_behind_regular_tasks() -> None:
    rng = np.random.default_rng(8)
    for _ in range(20):
        load, part = rng.uniform(0.3, 0.95), rng.uniform(0.2, 0.9)
        length = float(rng.uniform(0.05, 5))
        tasks = [
            every(1 / (load * part), lasting(1.0)),
            at_random(length / (load * (1 - part)), lasting(length)),
        ]
        for times in (0.5, 1.0, 2.0, 4.0):
            limit = np.array([times * mean(*tasks)])
            exact = done_within(limit, lasting(0.0), tasks)
            assert done_within(limit, lasting(0.0), tasks, enough=0.0) <= exact + 2e-3


def test_a_product_s_random_call_waits_for_one_watch_at_most(tmp_path: Path) -> None:
    """A watch of 150 ms every 320 ms: a call of next to no time misses 100 ms in 50/320."""
    work = (
        "  - task: watch\n    every: 320 ms\n"
        "    loads: [{load: l, current: 1 mA, for: 150 ms}]\n"
        "  - task: call\n    every: 15 min\n    arrival: random\n    finish-within: 100 ms\n"
        "    loads: [{load: l, current: 1 mA, for: 1 us}]\n"
    )
    told = explain(*made(device(0)[0], STAYS, work, tmp_path), "chip").chances
    assert told is not None
    call = next(one for one in told.tasks if one.task == "call")
    assert call.busy == pytest.approx(150 / 320, rel=0.01)
    assert call.wait_s == pytest.approx(0.15**2 / 0.64, rel=0.01)
    assert call.missed == pytest.approx(50 / 320, rel=0.02)


def area(seconds: float, *tasks: Coming) -> float:
    """Mean wait by the distribution: chances to wait longer, summed by Simpson's rule."""
    at = np.linspace(0.0, seconds, 201)
    late = np.array([beyond(float(x), *tasks) for x in at])
    weight = np.ones(len(at))
    weight[1:-1:2], weight[2:-1:2] = 4.0, 2.0
    return float(late @ weight * (at[1] - at[0]) / 3)


def test_a_distribution_has_the_mean_that_is_told_where_work_is_gone() -> None:
    """One or two regular tasks with long periods beside random ones: W = m/(2 (1 - rho)) of these,
    then W' = W + (l E[S^2]/2 + r W)/(1 - rho), task after task."""
    random = at_random(10.0, lasting(2.0))
    wait, load = 0.1 * 4.0 / (2 * 0.8), 0.2
    tasks = [random]
    # of two tries 1.0 or 1.5 s: E[S] = 1.15, E[S^2] = 1.375
    for task, period, of_mean, of_square in (
        (every(2000.0, lasting(400.0)), 2000.0, 400.0, 160_000.0),
        (every(3000.0, lasting(0.5, 0.5, 0.3, 2)), 3000.0, 1.15, 1.375),
    ):
        tasks.append(task)
        wait += (of_square / 2 + of_mean * wait) / period / (1 - load)
        load += of_mean / period
        found = met(tasks)
        assert found.gone[0, 0] == pytest.approx(wait, rel=1e-12)
        assert found.weight[0, 0] < 1e-9
        assert mean(*tasks) == pytest.approx(wait, rel=1e-6)
        assert area(480.0, *tasks) == pytest.approx(wait, rel=0.01)


def test_how_long_work_lasts_goes_by_what_varies_in_a_second() -> None:
    """exp(-(T (1 - rho)^2/s^2)^0.75): T of the regular tasks by their load, s^2 of the random ones'
    E[S^2] and the regular ones' variance, a second."""
    tries = lasting(0.4, 0.3, 0.25, 2)  # 0.7 or 1.0 s: mean 0.775, variance 0.016875
    alone = met([every(1.0, tries)])
    settled = 1.0 * (1 - 0.775) ** 2 / 0.016875
    assert alone.weight[0, 0] == pytest.approx(np.exp(-(settled**0.75)), rel=1e-9)
    both = met([every(1.0, tries), at_random(20.0, lasting(2.0))])
    settled = 1.0 * (1 - 0.875) ** 2 / (0.016875 + 4.0 / 20)
    assert both.weight[0, 0] == pytest.approx(np.exp(-(settled**0.75)), rel=1e-9)


def test_what_tries_add_is_the_mean_square_beyond_one_of_each() -> None:
    task = every(5.0, lasting(0.4, 0.3, 0.25, 3))
    # none more with 0.75, one with 0.1875, two with 0.0625
    assert task.tried[0, 0] == pytest.approx(0.1875 * 0.3**2 + 0.0625 * 0.6**2, rel=1e-9)


def test_what_ends_just_in_time_but_for_rounding_is_in_time() -> None:
    own = lasting(0.1, 0.2)
    assert own.once[0, 0] > 0.3
    assert done_within(np.array([0.3]), own, [])[0, 0] == 1.0
    assert done_within(np.array([0.29]), own, [])[0, 0] == 0.0
