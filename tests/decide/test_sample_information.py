"""The worth of samples against closed forms, over seeds.

To act on a normal figure or to leave it: with m its mean and s the deviation of what is learnt of
it, to know that first is worth s Psi(|m|/s), Psi the unit normal loss (Raiffa & Schlaifer 1961).
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy import stats

from advisor.decide.information import Worth, partial
from advisor.decide.sample_information import COUNTS, sampled

pytestmark = pytest.mark.once

N = 4000
MEAN, SPREAD, NOISE = 0.5, 1.0, 2.0
# published worths of that prior and noise, for n = 1, 4, 16
PUBLISHED = (0.02961, 0.09982, 0.16117)


def act(seed: int, draws: int = N) -> tuple[np.ndarray, np.ndarray]:
    x = np.random.default_rng(seed).normal(MEAN, SPREAD, draws)
    return np.stack([x, np.zeros(draws)]), x


def exact(n: int) -> float:
    learnt = SPREAD**2 / np.hypot(SPREAD, NOISE / np.sqrt(n))
    c = MEAN / learnt
    return float(learnt * (stats.norm.pdf(c) - c * stats.norm.sf(c)))


def test_the_published_worths_are_the_closed_form() -> None:
    assert [exact(n) for n in COUNTS] == pytest.approx(PUBLISHED, abs=5e-6)
    assert exact(10**9) == pytest.approx(0.19780, abs=5e-6)


def test_samples_of_a_normal_figure() -> None:
    runs = [sampled(*act(seed), NOISE, np.random.default_rng([7, seed])) for seed in range(40)]
    values = np.array([[w.value for w in run] for run in runs])
    errors = np.array([[w.error for w in run] for run in runs])
    within = np.abs(values - PUBLISHED) <= 2 * errors + 1e-9
    # 95 % of the seeds, give or take what so few show
    assert (within.mean(axis=0) >= 0.85).all(), (values, errors)
    # a mean of 40 is within three of its own errors, and of what the rule cannot learn of so little
    chance = 3 * values.std(axis=0) / np.sqrt(len(runs))
    assert (np.abs(values.mean(axis=0) - PUBLISHED) <= chance + 0.01 * np.array(PUBLISHED)).all()
    # an error as wide as the worth would say nothing
    assert (errors.mean(axis=0) < 0.25 * np.array(PUBLISHED)).all()


@pytest.mark.parametrize("seed", range(20))
def test_more_is_worth_no_less_and_never_more_than_to_know(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x = (
        rng.normal(size=600),
        rng.lognormal(size=600),
        rng.uniform(size=600),
        rng.gumbel(size=600),
    )[seed % 4]
    scores = np.stack([x, np.sin(3 * x), rng.normal(size=600)])
    known = partial(scores, [x])
    found = sampled(scores, x, float(x.std()), np.random.default_rng(1), (1, 2, 4, 16, 64), known)
    values = [0.0, *(w.value for w in found), known.value]
    assert all(one <= more for one, more in pairwise(values))


def test_a_sample_that_errs_hardly_is_to_know_and_one_that_only_errs_is_nothing() -> None:
    scores, x = act(3)
    known = partial(scores, [x])
    rng = np.random.default_rng
    assert sampled(scores, x, 0.0, rng(1)) == (known,) * len(COUNTS)
    (sharp,) = sampled(scores, x, 1e-6, rng(1), (1,))
    assert sharp.value == pytest.approx(known.value, rel=1e-3)
    (blunt,) = sampled(scores, x, 1e3, rng(1), (1,))
    assert blunt.value <= 2 * blunt.error < 0.1 * known.value
    # to measure what cannot move the choice
    assert sampled(scores + np.array([[9.0], [0.0]]), x, 1.0, rng(1), (1,)) == (Worth(0.0, 0.0),)


def test_the_unit_of_the_figure_does_not_matter() -> None:
    scores, x = act(4)
    one = sampled(scores, x, NOISE, np.random.default_rng(1))
    other = sampled(scores, 1e-6 * x, 1e-6 * NOISE, np.random.default_rng(1))
    assert [w.value for w in other] == pytest.approx([w.value for w in one], rel=1e-6)
