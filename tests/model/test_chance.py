"""Chance in a workload against published values, and against simulation event by event."""

from __future__ import annotations

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
from advisor.model.chance import Served, Tries, done_within, mean_wait, served
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
def test_outcomes_have_the_mean_and_the_whole_chance(most: int | None) -> None:
    tries = Tries(np.array([0.0, 0.2, 0.7]), most)
    found = tries.outcomes(8)
    assert sum(chance for _, chance in found) == pytest.approx(np.ones(3))
    assert sum(n * chance for n, chance in found) == pytest.approx(tries.mean)


def _fixed(seconds: float) -> Served:
    return served(np.full((1, 1, 1), seconds), [None], None)


def test_a_wait_is_that_of_pollaczek_and_khinchine() -> None:
    """M/D/1 with rate 0.8 and service 1 waits 2.0; exponential service, of E[S^2] = 2, 4.0."""
    assert mean_wait([0.8 * ONE], [_fixed(1.0)])[0, 0] == pytest.approx(2.0, rel=1e-12)
    spread = Served(np.full((2, 1), 0.5), np.array([[[0.0]], [[2.0]]]))
    assert mean_wait([0.8 * ONE], [spread])[0, 0] == pytest.approx(4.0, rel=1e-12)
    assert np.isinf(mean_wait([1.2 * ONE], [_fixed(1.0)])[0, 0])


@pytest.mark.parametrize("rate", [0.1, 0.5, 0.8, 0.95])
@pytest.mark.parametrize("wait", [0.3, 1.0, 2.5, 6.0])
def test_the_distribution_of_a_wait_is_erlang_s(rate: float, wait: float) -> None:
    """M/D/1 (Erlang 1909; from memory): P(W <= t) = (1 - rho) sum over j <= t/D of
    (lambda (jD - t))^j/j! exp(-lambda (jD - t)). Our steps leave a thousandth."""
    exact = (1 - rate) * sum(
        (rate * (j - wait)) ** j / math.factorial(j) * math.exp(-rate * (j - wait))
        for j in range(int(wait) + 1)
    )
    found = done_within(np.array([wait + 1.0]), _fixed(1.0), [rate * ONE], [_fixed(1.0)])
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

    Waits among events of which some are regular are a bound: no shorter than simulated."""
    one, work = device(seed)
    found = made(one, STAYS, work, tmp_path)
    assert lives(found)[0] > 0
    told = explain(*found, "chip").chances
    assert told is not None
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
        assert met <= mean * 1.05
        assert waited <= wait * 1.05


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
    assert not waiting(build.assessed, 0).busy.any()
    bare = "".join(line for line in plain.splitlines(True) if "arrival" not in line)
    assert lives(found) == lives(made(one, STAYS, bare, tmp_path))


def test_a_bound_of_the_chance_to_be_in_time_is_one() -> None:
    """Where the bound is not enough the chance itself is told."""
    rng = np.random.default_rng(5)
    single = rng.uniform(0.1, 1.0, (3, 2, 4))
    own = served(single, [Tries(np.full(4, 0.3), 3), None], None)
    rates = [np.full(4, 0.3)]
    limit = np.array([0.5, 1.5, 3.0, 30.0])
    exact = done_within(limit, own, rates, [own])
    assert done_within(limit, own, rates, [own], enough=2.0) == pytest.approx(exact, rel=1e-12)
    bound = done_within(limit, own, rates, [own], enough=0.6)
    assert (bound <= exact + 1e-3).all()
    assert ((bound >= 0.6) == (exact >= 0.6)).all()
    assert (bound != exact).any()
