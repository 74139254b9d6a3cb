"""Chance in a workload against published values, and against simulation event by event."""

from __future__ import annotations

import itertools
import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.decide.chances import waiting
from advisor.decide.evaluate import evaluate
from advisor.model.chance import Served, Tries, served
from advisor.model.waits import Coming, done_within, met
from advisor.studies.explain import explain
from tests.model.calendar_simulator import YEAR, Device, Job, live
from tests.model.test_calendar import lives, made

pytestmark = pytest.mark.once

ONE = np.ones(1)


def test_tries_are_those_of_the_handbook() -> None:
    """At most 4 tries of which each fails with 0.2: 1.248 tries, 0.0016 lost."""
    tries = Tries(0.2 * ONE, 4)
    assert tries.mean[0] == pytest.approx(1.248, rel=1e-12)
    assert tries.lost[0] == pytest.approx(0.0016, rel=1e-12)
    chance = np.array([0.8, 0.16, 0.032, 0.008])
    square = float((chance * np.arange(1, 5) ** 2).sum())
    assert tries.variance[0] == pytest.approx(square - 1.248**2, rel=1e-12)
    assert Tries(0.2 * ONE, None).mean[0] == pytest.approx(1.25)
    # geometric: variance p/(1 - p)^2
    assert Tries(0.2 * ONE, None).variance[0] == pytest.approx(0.2 / 0.64)


@pytest.mark.parametrize("most", [1, 2, 4, 30, None])
def test_numbers_of_tries_have_the_mean_and_the_whole_chance(most: int | None) -> None:
    tries = Tries(np.array([0.0, 0.2, 0.7]), most)
    found = tries.counts(1000)
    assert found.sum(axis=0) == pytest.approx(np.ones(3), abs=1e-11)
    n = np.arange(1, len(found) + 1)[:, None]
    assert (n * found).sum(axis=0) == pytest.approx(tries.mean)
    mean, square = tries.mean, (n**2 * found).sum(axis=0)
    assert square - mean**2 == pytest.approx(tries.variance, abs=1e-8)


def coming(rate: np.ndarray, random: bool, own: Served) -> Coming:
    return Coming(rate, random, own, own.moments)


def at_random(rate: float | np.ndarray, own: Served) -> Coming:
    return coming(rate * ONE, True, own)


def mean_wait(rate: float, own: Served) -> float:
    return float(met([at_random(rate, own)]).wait[0, 0])


def in_time(own: Served, limit: float) -> float:
    return float(done_within(np.array([limit]), own, [])[0, 0])


def test_a_deadline_under_retries_by_hand() -> None:
    """1 s, then tries of 0.5 s of which 0.2 fail, at most 4: ends after 1.5, 2, 2.5, 3 s.

    By 2.2 s two tries must do: 1 - 0.2^2. The mean length, 1.624 s, would keep each of these.
    """
    own = served(np.array([[[1.0], [0.5]]]), [None, Tries(0.2 * ONE, 4)], None)
    assert own.moments[0][0, 0] == pytest.approx(1 + 0.5 * 1.248)
    for limit, chance in ((1.4, 0.0), (1.5, 0.8), (1.7, 0.8), (2.2, 0.96), (2.5, 0.992), (3.0, 1)):
        assert in_time(own, limit) == pytest.approx(chance, abs=1e-12)
    # twice, or not at all: 0.5 that the whole has to be gone through again, tries of its own in it
    again = served(np.array([[[1.0], [0.5]]]), [None, Tries(0.2 * ONE, 2)], Tries(0.5 * ONE, 2))
    # one go takes 1.5 or 2.0 s; two 3.0, 3.5 (two ways) or 4.0 s
    for limit, chance in ((1.5, 0.4), (2.0, 0.5), (3.0, 0.82), (3.5, 0.98), (4.0, 1.0)):
        assert in_time(again, limit) == pytest.approx(chance, abs=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_a_deadline_of_several_tries_is_that_of_all_outcomes(seed: int) -> None:
    """Every combination of tries of three states, each with its own length, is added up."""
    rng = np.random.default_rng(seed)
    lengths = rng.uniform(0.05, 0.4, 4)
    fails, most = rng.uniform(0.05, 0.8, 3), rng.integers(1, 12, 3)
    single = lengths[None, :, None]
    tries = [None, *(Tries(p * ONE, int(m)) for p, m in zip(fails, most, strict=True))]
    own = served(single, tries, None)
    ends: list[tuple[float, float]] = []
    for counts in itertools.product(*(range(1, m + 1) for m in most)):
        chance, length = 1.0, lengths[0]
        for n, p, m, one in zip(counts, fails, most, lengths[1:], strict=True):
            chance *= p ** (n - 1) * (1 - p if n < m else 1.0)
            length += n * one
        ends.append((length, chance))
    mean = sum(length * chance for length, chance in ends)
    assert own.moments[0][0, 0] == pytest.approx(mean)
    assert own.moments[1][0, 0] == pytest.approx(sum(x**2 * chance for x, chance in ends))
    for limit in np.array([0.8, 1.0, 1.4]) * mean:
        exact = sum(chance for length, chance in ends if length <= limit)
        assert in_time(own, float(limit)) == pytest.approx(exact, abs=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_a_deadline_behind_others_is_that_of_a_queue(seed: int) -> None:
    """Waits of one server by Lindley's recursion (1952; from memory), event by event."""
    rng = np.random.default_rng(seed)
    once, try_s, p, most = 0.3, float(rng.uniform(0.2, 0.6)), float(rng.uniform(0.2, 0.6)), 6
    single = np.array([[[once], [try_s]]])
    whole = Tries(0.15 * ONE, 3) if seed else None
    own = served(single, [None, Tries(p * ONE, most)], whole)
    rate = 0.7 / own.moments[0][0, 0]
    events = 400_000

    def lengths() -> np.ndarray:
        return once + try_s * np.minimum(rng.geometric(1 - p, events), most)

    length, going = np.zeros(events), np.ones(events, dtype=bool)
    for _ in range(3 if whole else 1):
        length += np.where(going, lengths(), 0.0)
        going &= rng.random(events) < 0.15
    apart = rng.exponential(1 / rate, events)
    steps = np.concatenate([[0.0], np.cumsum(length[:-1] - apart[1:])])
    wait = steps - np.minimum.accumulate(steps)
    assert mean_wait(rate, own) == pytest.approx(wait.mean(), rel=0.05)
    for limit in np.array([1.0, 2.0, 4.0]) * own.moments[0][0, 0]:
        found = done_within(np.array([limit]), own, [at_random(rate, own)])[0, 0]
        late = wait + length > limit
        # as many batches as make them independent
        error = float(np.std(late.reshape(40, -1).mean(axis=1)) / np.sqrt(40))
        assert abs(1 - found - late.mean()) < 4 * error + 2e-3


def test_tries_without_number_are_told_apart_as_far_as_a_deadline_goes() -> None:
    """Of tries that nearly always fail none is left out: 1 - 0.999^n by n tries."""
    own = served(np.array([[[0.0], [1e-3]]]), [None, Tries(0.999 * ONE, None)], None)
    assert in_time(own, 5.0) == pytest.approx(1 - 0.999**5000, rel=1e-9)


def _fixed(seconds: float) -> Served:
    return served(np.full((1, 1, 1), seconds), [None], None)


def test_a_wait_is_that_of_pollaczek_and_khinchine() -> None:
    """M/D/1 with rate 0.8 and service 1 waits 2.0; exponential service, of E[S^2] = 2, 4.0:
    what very many very short tries come to."""
    assert mean_wait(0.8, _fixed(1.0)) == pytest.approx(2.0, rel=1e-12)
    short = served(np.full((1, 1, 1), 1e-4), [Tries((1 - 1e-4) * ONE, None)], None)
    assert mean_wait(0.8, short) == pytest.approx(4.0, rel=1e-3)
    assert np.isinf(mean_wait(1.2, _fixed(1.0)))


@pytest.mark.parametrize("rate", [0.1, 0.5, 0.8, 0.95])
@pytest.mark.parametrize("wait", [0.3, 1.0, 2.5, 6.0])
def test_the_distribution_of_a_wait_is_erlang_s(rate: float, wait: float) -> None:
    """M/D/1 (Erlang 1909; from memory): P(W <= t) = (1 - rho) sum over j <= t/D of
    (lambda (jD - t))^j/j! exp(-lambda (jD - t)). Our steps leave a thousandth."""
    exact = (1 - rate) * sum(
        (rate * (j - wait)) ** j / math.factorial(j) * math.exp(-rate * (j - wait))
        for j in range(int(wait) + 1)
    )
    found = done_within(np.array([wait + 1.0]), _fixed(1.0), [at_random(rate, _fixed(1.0))])
    assert found[0, 0] == pytest.approx(exact, abs=1e-3)


# a device without temperature: two tasks, the first at random, a radio that is tried again
def device(seed: int) -> tuple[Device, str]:
    rng = np.random.default_rng(seed)
    jobs, work = [], []
    for k in range(2):
        every = float(rng.uniform(2, 6))
        fails = float(rng.choice([0.0, 0.3, 0.6]))
        most = int(rng.integers(1, 5))
        seconds, amps = float(rng.uniform(0.1, 0.5)), float(rng.uniform(1e-4, 1e-3))
        random = k == 0 or bool(rng.random() < 0.5)
        jobs.append(
            Job(
                [every],
                [(0.002, 5e-3, 0.0, 0.0, 1), (seconds, amps + 1e-3, 0.0, fails, most)],
                random,
            )
        )
        work.append(
            f"  - task: t{k}\n    every: {every:.12g} s\n    kernels: {{crc: 1}}\n"
            f"    arrival: {'random' if random else 'regular'}\n    finish-within: 900 ms\n"
            f"    loads: [{{load: l, current: {amps:.12g} A, for: {seconds:.12g} s, "
            f"retries: {{fails: {fails}, most: {most}}}}}]\n"
        )
    return (
        Device(
            capacity=20.0,
            volts=(3.2, 2.6),
            loss=0.1 / YEAR,
            doubling=10.0,
            sleep=(0.0, 1e-6, 40.0, 1e-5),
            times=[(1.0, 20.0)],
            jobs=jobs,
            standing=2e-6,
        ),
        "".join(work),
    )


STAYS = "environment: [{at: 20 degC, share: 1}]\nneeds: {confidence: 1 %}"


@pytest.mark.parametrize("seed", range(5))
def test_a_life_by_chance_is_that_of_a_simulation(seed: int, tmp_path: Path) -> None:
    """Life within 1 % and four standard deviations of it; losses and busy events likewise.

    Two tasks of which one is regular meet each other at random phases."""
    one, work = device(seed)
    found = made(one, STAYS, work, tmp_path)
    assert lives(found)[0] > 0
    told = explain(*found, "chip").chances
    assert told is not None
    assert told.life_sd_s is not None
    runs = [live(one, 100 * seed + n) for n in range(2)]
    life = float(np.mean([r.life for r in runs]))
    sd = told.life_sd_s / math.sqrt(len(runs))
    assert abs(lives(found)[0] - life) < 0.01 * life
    assert abs(lives(found)[0] - life) < 0.003 * life + 4 * sd
    events = sum(r.events for r in runs)
    rates = [1 / job.every[0] for job in one.jobs if job.every[0]]
    mean = sum(r * t.busy for r, t in zip(rates, told.tasks, strict=True)) / sum(rates)
    met = sum(r.met_busy for r in runs) / events
    waits = [t.wait_s for t in told.tasks]
    wait = sum(r * w for r, w in zip(rates, waits, strict=True) if w is not None) / sum(rates)
    waited = sum(r.waited for r in runs) / events
    lost = sum(r * t.lost for r, t in zip(rates, told.tasks, strict=True)) / sum(rates)
    assert sum(r.lost for r in runs) / events == pytest.approx(lost, rel=0.1, abs=1e-3)
    if all(job.random for job in one.jobs):
        assert met == pytest.approx(mean, rel=0.08)
        assert waited == pytest.approx(wait, rel=0.15)
    else:
        assert met == pytest.approx(mean, rel=0.08)
        assert waited == pytest.approx(wait, rel=0.15)


def test_a_year_s_charge_is_compound_poisson(tmp_path: Path) -> None:
    """Ten events a day of 5 mC a try, tried until one in five does not fail: 365 days take 22.81 C,
    with a standard deviation of 0.414 C."""
    work = (
        "  - task: t0\n    every: 8640 s\n    arrival: random\n"
        "    loads: [{load: l, charge: 5 mC, for: 1 ms, cpu: asleep, retries: {fails: 0.2}}]\n"
    )
    one = device(0)[0]
    found = made(one, STAYS, work, tmp_path)
    build = evaluate(*found).candidates[0].best
    at = build.assessed
    year = 365 * 86400.0
    assert at.drain.variance is not None
    sd = math.sqrt(float(at.drain.variance[build.row, 0]) * year)
    assert sd == pytest.approx(0.414, rel=1e-3)
    load = float((at.timeline.share[build.row, :, 0] * at.timeline.load_a[:, 0]).sum()) * year
    assert load == pytest.approx(22.81, rel=1e-3)


def test_a_device_s_own_luck_is_in_the_draws(tmp_path: Path) -> None:
    """A life of some hundred events varies by what is told, with nothing else uncertain."""
    work = (
        "  - task: t0\n    every: 1 d\n    arrival: random\n"
        "    loads: [{load: l, charge: 80 mC, for: 1 ms, cpu: asleep}]\n"
    )
    found = made(device(0)[0], STAYS, work, tmp_path)
    result = evaluate(*found, draws=2000)
    lives_s = result.candidates[0].drawn
    assert lives_s is not None
    told = explain(*found, "chip").chances
    assert told is not None
    assert float(lives_s.life_s.std()) == pytest.approx(told.life_sd_s, rel=0.08)
    assert float(lives_s.life_s.mean()) == pytest.approx(lives(found)[0], rel=0.01)


def test_an_uncertain_chance_is_drawn_per_device(tmp_path: Path) -> None:
    one, work = device(1)
    found = made(one, STAYS, work, tmp_path)
    path = "probe:workload.t0.loads.l.retries"

    def spread(fails: str) -> float:
        moved = with_changes(*found, [f"{path}={{fails: {fails}, most: 5}}"])
        drawn = evaluate(*moved, draws=400).candidates[0].drawn
        assert drawn is not None
        return float(drawn.life_s.std() / drawn.life_s.mean())

    assert spread("0.4 ± 0.2") > 3 * spread("0.4")


@pytest.mark.parametrize("seed", range(3))
def test_more_failing_never_lengthens_the_life(seed: int, tmp_path: Path) -> None:
    one, work = device(seed)
    found = made(one, STAYS, work, tmp_path)
    path = "probe:workload.t0.loads.l.retries"
    told = []
    for fails, most in ((0.0, 4), (0.1, 4), (0.5, 4), (0.5, 9), (0.9, 9)):
        moved = with_changes(*found, [f"{path}={{fails: {fails}, most: {most}}}"])
        told.append(lives(moved)[0] if evaluate(*moved).candidates else 0.0)
    assert all(b <= a * (1 + 1e-9) for a, b in pairwise(told))
    assert told[-1] < told[0]


def test_a_pulse_at_random_meets_a_load_during_which_the_core_sleeps(tmp_path: Path) -> None:
    """A pump of 20 mA for 5 s and a button of 30 mA: 50 mA at once, if the button comes at random;
    one after the other where both are regular."""
    work = (
        "  - task: pump\n    every: 1 h\n"
        "    loads: [{load: l, current: 20 mA, for: 5 s, cpu: asleep}]\n"
        "  - task: button\n    every: 1 h\n    arrival: ARRIVAL\n"
        "    loads: [{load: l, current: 30 mA, for: 10 ms}]\n"
    )

    def peak(arrival: str, folder: Path) -> float:
        made_now: tuple[Catalogue, Product] = made(
            device(0)[0], STAYS, work.replace("ARRIVAL", arrival), folder
        )
        build = evaluate(*made_now).candidates[0].best
        assert build.assessed.peak_a[build.row, 0] == pytest.approx(
            build.assessed.life.start_peak_a[build.row, 0], rel=1e-3
        )
        return float(build.assessed.life.start_peak_a[build.row, 0])

    # the core idles at 1 mA, the divider draws 2 µA
    assert peak("regular", tmp_path / "a") == pytest.approx(31.002e-3, rel=1e-6)
    assert peak("random", tmp_path / "b") == pytest.approx(51.002e-3, rel=1e-6)


def test_regular_tasks_that_never_fail_wait_for_nobody(tmp_path: Path) -> None:
    one, work = device(0)
    plain = work.replace("arrival: random", "arrival: regular")
    found = made(one, STAYS, plain, tmp_path)
    build = evaluate(*found).candidates[0].best
    assert not waiting(build.assessed.product, build.assessed.timeline, 0).busy.any()
    bare = "".join(line for line in plain.splitlines(True) if "arrival" not in line)
    assert lives(found) == lives(made(one, STAYS, bare, tmp_path))


def test_a_bound_of_the_chance_to_be_in_time_is_one() -> None:
    """Where the bound is not enough the chance itself is told."""
    rng = np.random.default_rng(5)
    single = rng.uniform(0.1, 1.0, (3, 2, 4))
    own = served(single, [Tries(np.full(4, 0.3), 3), None], None)
    tasks = [coming(np.full(4, 0.3), True, own)]
    limit = np.array([0.5, 1.5, 3.0, 30.0])
    exact = done_within(limit, own, tasks)
    assert done_within(limit, own, tasks, enough=2.0) == pytest.approx(exact, rel=1e-12)
    bound = done_within(limit, own, tasks, enough=0.6)
    assert (bound <= exact + 1e-3).all()
    assert ((bound >= 0.6) == (exact >= 0.6)).all()
    assert (bound != exact).any()
