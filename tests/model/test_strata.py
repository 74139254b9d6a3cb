"""Evenly spread draws against what a hypercube promises, scipy's quantiles and plain draws."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special, stats
from scipy.stats import qmc

from advisor.figures import Path
from advisor.model import strata
from advisor.model.draws import GridSampler, Sampler, stream

N = 2048


def drawn(
    kind: Callable[[np.random.Generator, int], np.ndarray], name: str, size: int = N
) -> np.ndarray:
    return kind(stream(1, "strata", name), size)


@pytest.mark.parametrize("k", range(8))
def test_first_draws_take_each_stratum_once(k: int) -> None:
    # what makes a Latin hypercube (McKay, Beckman & Conover, Technometrics 21 (1979) 239-245), of
    # each first 16 x 2^k draws
    many = 16 << k
    for name in "abcd":
        first = drawn(strata.uniform, name)[:many]
        assert np.bincount((first * many).astype(int), minlength=many).tolist() == [1] * many


def test_every_block_takes_each_sixteenth_once_in_an_order_of_its_own() -> None:
    blocks = (drawn(strata.uniform, "a") * 16).astype(int).reshape(-1, 16)
    assert (np.sort(blocks, axis=1) == np.arange(16)).all()
    assert len({tuple(block) for block in blocks.tolist()}) == len(blocks)
    # each sixteenth is as likely at each place: 128 blocks, so 8 +- 4 x 2.74
    for place in blocks.T:
        assert np.abs(np.bincount(place, minlength=16) - 8).max() <= 11


def test_a_line_is_as_even_as_the_library_s_own_hypercube() -> None:
    # in one dimension the discrepancies of two hypercubes of as many strata differ by where in
    # their strata draws lie alone; that of plain draws is some hundred times as great
    ours = qmc.discrepancy(drawn(strata.uniform, "a")[:512, None])
    theirs = qmc.discrepancy(qmc.LatinHypercube(1, rng=np.random.default_rng(3)).random(512))
    plain = qmc.discrepancy(np.random.default_rng(3).random((512, 1)))
    assert ours == pytest.approx(theirs, rel=0.5)
    assert ours < 0.02 * plain


def test_deviates_are_the_normal_distribution_s_quantiles() -> None:
    places = drawn(strata.uniform, "a")
    np.testing.assert_allclose(drawn(strata.normal, "a"), special.ndtri(places), rtol=1e-12)
    every = np.sort(drawn(strata.normal, "b", strata.PLACES))
    assert every.mean() == pytest.approx(0.0, abs=1e-12)
    # the strata's middles leave a little of the tails out
    assert every.var() == pytest.approx(1.0, abs=1e-4)
    assert every[-1] == pytest.approx(stats.norm.isf(0.5 / strata.PLACES), rel=1e-12)


@pytest.mark.parametrize(
    ("alpha", "other"), [(1.0, 5.0), (5.0, 1.0), (3.0, 3.0), (1.2, 4.8), (4.4, 1.6)]
)
def test_beta_draws_are_the_library_s_quantiles(alpha: float, other: float) -> None:
    places = drawn(strata.uniform, "a")
    found = strata.beta(alpha, other, stream(1, "strata", "a"), N)
    np.testing.assert_allclose(found, stats.beta.ppf(places, alpha, other), atol=1e-5)
    assert found.min() >= 0
    assert found.max() <= 1


@given(few=st.integers(1, 600), more=st.integers(600, 2000))
def test_fewer_draws_are_the_first_of_more(few: int, more: int) -> None:
    for kind in (strata.uniform, strata.normal):
        np.testing.assert_array_equal(drawn(kind, "a", few), drawn(kind, "a", more)[:few])
        assert len(drawn(kind, "a", few)) == few


def test_more_draws_than_places_begin_anew() -> None:
    found = drawn(strata.uniform, "a", 2 * strata.PLACES)
    first, second = found[: strata.PLACES], found[strata.PLACES :]
    for half in (first, second):
        assert len(np.unique(half)) == strata.PLACES
    assert (first != second).mean() > 0.99
    assert len(drawn(strata.uniform, "a", strata.PLACES + 1)) == strata.PLACES + 1


def test_figures_are_independent_of_each_other() -> None:
    # the correlation of two independent figures is about 1/sqrt(n - 1), whatever their strata;
    # over 120 pairs the mean of its square is within 4 x sqrt(2/120) of 1/(n - 1)
    for many in (16, 64, 1000):
        z = np.array([drawn(strata.normal, f"x{i}", many) for i in range(16)])
        found = np.corrcoef(z)[np.triu_indices(16, 1)]
        assert (found**2).mean() * (many - 1) == pytest.approx(1.0, abs=4 * np.sqrt(2 / 120))
        assert found.mean() == pytest.approx(0.0, abs=4 / np.sqrt(120 * (many - 1)))


def _spread(f: Callable[[np.ndarray, np.ndarray], np.ndarray], draws: int) -> tuple[float, float]:
    """Deviation over 60 seeds of a mean over evenly spread draws and over plain ones."""
    even, plain = [], []
    for seed in range(60):
        even.append(f(*(strata.normal(stream(seed, name), draws) for name in "ab")).mean())
        plain.append(f(*(stream(seed, name).standard_normal(draws) for name in "ab")).mean())
    return float(np.std(even)), float(np.std(plain))


def test_what_each_figure_does_by_itself_is_known_almost_without_chance() -> None:
    # a hypercube takes out of a mean's variance what is additive in the figures, and no more
    # (Stein, Technometrics 29 (1987) 143-151); a product of two centred figures has no such part
    even, plain = _spread(lambda a, b: np.exp(0.3 * a) + np.abs(b), 512)
    assert even < 0.1 * plain
    even, plain = _spread(lambda a, b: a * b, 512)
    assert 0.6 < even / plain < 1.6


def test_what_is_between_ends_is_drawn_alike_in_all_cases() -> None:
    path = Path("x").child("current", "beyond")
    one = Sampler("x", 64, 5)
    several = GridSampler("x", [None, (Path("x").child("y"), 2.0), None], 64, 5)
    alone = one.between(path, 1.0, 2.0, 4.0)
    assert 1.0 <= alone.min() < 1.3
    assert 3.2 < alone.max() <= 4.0
    np.testing.assert_array_equal(several.between(path, 1.0, 2.0, 4.0), np.tile(alone, 3))
