"""Draws of the stated figures against the standards' own cases and scipy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from advisor.model.draws import GridSampler, Instrument, Known, Sampler, sample, stream
from advisor.quantities import Quantity, pert, read_quantity, typical_max

N = 200_000


def draws(quantity: Quantity, name: str = "x", size: int = N) -> np.ndarray:
    return sample(quantity, stream(1, "test", name), size)


def taken(sampler: Sampler, name: str, quantity: Quantity) -> np.ndarray:
    return sampler.take(sampler.root / name, quantity)


def interval(values: np.ndarray) -> tuple[float, float]:
    low, high = np.quantile(values, (0.025, 0.975))
    return float(low), float(high)


def test_jcgm_101_9_2_3_four_rectangular() -> None:
    # JCGM 101:2008 9.2.3: four rectangular figures of unit deviation; the sum has u = 2 and its
    # 95 % interval, by an Irwin-Hall argument, is +-2 sqrt(3)(2 - 0.6^(1/4)) = +-3.8794
    half = np.sqrt(3.0)
    one = Quantity(0.0, "score", 1.0, "rectangular", (half,), "0", "")
    total = sum(draws(one, f"x{i}") for i in range(4))
    assert np.std(total) == pytest.approx(2.0, abs=4 * 2.0 / np.sqrt(2 * N))
    exact = 2 * half * (2 - 0.6**0.25)
    assert exact == pytest.approx(3.8794, abs=5e-5)
    # a quantile's deviation is sqrt(p(1-p)/N)/f; the density there is near 0.033
    for bound in interval(np.asarray(total)):
        assert abs(bound) == pytest.approx(exact, abs=4 * np.sqrt(0.025 * 0.975 / N) / 0.033)


def test_jcgm_101_9_2_4_one_of_them_ten_times_wider() -> None:
    # JCGM 101:2008 9.2.4: u = sqrt(103), 95 % = +-17.0 where first order says +-19.9
    half = np.sqrt(3.0)
    narrow = Quantity(0.0, "score", 1.0, "rectangular", (half,), "0", "")
    wide = Quantity(0.0, "score", 10.0, "rectangular", (10 * half,), "0", "")
    total = draws(wide, "wide") + sum(draws(narrow, f"x{i}") for i in range(3))
    assert np.std(total) == pytest.approx(np.sqrt(103), rel=0.006)
    for bound in interval(total):
        assert abs(bound) == pytest.approx(17.01, abs=0.06)


@pytest.mark.parametrize(
    ("low", "likely", "high", "mean", "deviation"),
    # 5/8/14 and 4/5/12, worked examples of three-point estimates (from memory). Their classic
    # deviations, (H - L)/6 = 1.5 and 1.333, are a rule of thumb; the distribution's own variance
    # is (mean - L)(H - mean)/7, that is 1.6583 and 1.3093
    [("5 h", "8 h", "14 h", 8.5, 1.6583), ("4 h", "5 h", "12 h", 6.0, 1.3093)],
)
def test_pert_moments(low: str, likely: str, high: str, mean: float, deviation: float) -> None:
    figure = pert(*(read_quantity(t, "time") for t in (low, likely, high)))
    values = draws(figure) / 3600
    a, m, b = (float(t.split()[0]) for t in (low, likely, high))
    alpha, beta = 1 + 4 * (m - a) / (b - a), 1 + 4 * (b - m) / (b - a)
    law = stats.beta(alpha, beta, loc=a, scale=b - a)
    assert law.mean() == pytest.approx(mean, rel=1e-12)
    assert values.mean() == pytest.approx(mean, abs=4 * deviation / np.sqrt(N))
    assert values.std() == pytest.approx(law.std(), rel=0.01)
    assert law.std() == pytest.approx(deviation, abs=5e-5)
    assert figure.u / 3600 == pytest.approx(law.std(), rel=1e-9)
    assert stats.kstest(values[:5000], law.cdf).pvalue > 1e-3


def test_typical_and_max_are_median_and_99_per_cent() -> None:
    figure = typical_max(read_quantity("2.4 µA", "current"), read_quantity("6 µA", "current"))
    values = draws(figure)
    assert np.median(values) == pytest.approx(2.4e-6, rel=0.01)
    # the share above max is binomial: 1 % +- 4 x 0.0222 %
    assert (values > 6e-6).mean() == pytest.approx(0.01, abs=9e-4)
    assert figure.nominal == 2.4e-6


@pytest.mark.parametrize("text", ["10(3) µA", "10(8) µA", "10 ± 9 µA (k=2)"])
def test_a_wide_figure_is_lognormal_of_the_same_mean_and_deviation(text: str) -> None:
    figure = read_quantity(text, "current")
    assert figure.u > 0.2 * figure.nominal
    values = draws(figure)
    assert values.min() > 0
    assert values.mean() == pytest.approx(figure.nominal, rel=0.01)
    # the deviation of a deviation grows with the fourth moment, 3 % at u = 80 %
    assert values.std() == pytest.approx(figure.u, rel=0.03)
    assert np.log(values).std() == pytest.approx(
        np.sqrt(np.log1p((figure.u / figure.nominal) ** 2)), rel=0.01
    )
    assert abs(stats.skew(np.log(values))) < 0.03


@pytest.mark.parametrize("half", [0.3, 1.0, 1.9, 2.0])
def test_limits_are_kept_however_wide(half: float) -> None:
    # JCGM 100:2008 4.3.7: all of it lies between the limits, and evenly; a rectangle's mean is the
    # value, its variance a^2/3, its fourth central moment a^4/5
    figure = read_quantity(f"2 ± {half} µA", "current")
    values = draws(figure, size=100_000) * 1e6
    assert values.min() >= 2 - half
    assert values.max() <= 2 + half
    assert values.min() > 0
    # and it comes near them: a thousandth of the width holds 100 of the draws
    assert values.min() == pytest.approx(2 - half, abs=2e-3 * half)
    assert values.max() == pytest.approx(2 + half, abs=2e-3 * half)
    mean, n = half / np.sqrt(3), len(values)
    assert values.mean() == pytest.approx(2.0, abs=4 * mean / np.sqrt(n))
    # the sample variance of a rectangle scatters by a^2/3 sqrt(4/(5 N))
    assert values.var() == pytest.approx(half**2 / 3, rel=4 * np.sqrt(0.8 / n))
    assert ((values - 2) ** 4).mean() == pytest.approx(half**4 / 5, rel=4 * np.sqrt(16 / 9 / n))
    assert stats.kstest(values, stats.uniform(2 - half, 2 * half).cdf).pvalue > 1e-3
    assert figure.u * 1e6 == pytest.approx(mean, rel=1e-12)


def test_pert_keeps_its_ends() -> None:
    figure = pert(*(read_quantity(t, "time") for t in ("0 h", "1 h", "9 h")))
    values = draws(figure, size=100_000) / 3600
    assert figure.u > 0.2 * figure.nominal  # as wide as what would be lognormal were it normal
    assert values.min() >= 0
    assert values.max() <= 9


def test_an_expanded_uncertainty_is_normal() -> None:
    values = draws(read_quantity("10 ± 2 µA (k=2)", "current")) * 1e6
    assert stats.kstest(values, stats.norm(10, 1).cdf).pvalue > 1e-3
    assert (abs(values - 10) > 2).mean() == pytest.approx(0.0455, abs=0.002)


def test_a_narrow_figure_keeps_its_own_distribution() -> None:
    rectangular = draws(read_quantity("10 ± 3 µA", "current"))
    assert rectangular.min() >= 7e-6
    assert rectangular.max() <= 13e-6
    assert stats.kstest(rectangular[:5000], stats.uniform(7e-6, 6e-6).cdf).pvalue > 1e-3
    normal = draws(read_quantity("10(1) µA", "current"))
    assert stats.kstest(normal[:5000], stats.norm(10e-6, 1e-6).cdf).pvalue > 1e-3


def test_a_temperature_may_be_below_zero() -> None:
    values = draws(read_quantity("-10 ± 20 degC", "temperature"))
    assert values.min() < -29
    assert values.max() > 9


def test_instruments_share_their_gain_and_figures_do_not() -> None:
    left, right = Sampler("left", 1000), Sampler("right", 1000)
    meter = Instrument("meter")
    assert np.array_equal(left.gain(meter, 0.01), right.gain(meter, 0.01))
    others = (Instrument("other-meter"), left.root / "gain", right.root / "gain")
    for other in (left.gain(source, 0.01) for source in others):
        assert abs(np.corrcoef(left.gain(meter, 0.01), other)[0, 1]) < 0.15
    figure = read_quantity("10(1) µA", "current")
    assert abs(np.corrcoef(taken(left, "a", figure), taken(right, "a", figure))[0, 1]) < 0.15
    assert abs(np.corrcoef(taken(left, "a", figure), taken(left, "b", figure))[0, 1]) < 0.15


def test_a_figure_s_draws_depend_on_nothing_but_seed_id_path_and_chunk() -> None:
    figure, wider = read_quantity("10(1) µA", "current"), read_quantity("10(2) µA", "current")
    first = Sampler("part", 500, seed=3)
    taken(first, "other", figure)
    again = Sampler("part", 500, seed=3)
    assert np.array_equal(taken(first, "a", figure), taken(again, "a", figure))
    for changed in (
        Sampler("part", 500, seed=4),
        Sampler("p", 500, seed=3),
        Sampler("part", 500, 3, 1),
    ):
        assert not np.array_equal(taken(first, "a", figure), taken(changed, "a", figure))
    # widening a figure stretches its own draws about the same places
    narrow, wide = taken(first, "a", figure) - 10e-6, taken(first, "a", wider) - 10e-6
    assert np.allclose(wide, 2 * narrow, rtol=1e-9, atol=1e-18)


def test_without_draws_a_sampler_gives_the_stated_value() -> None:
    figure = read_quantity("10(1) µA", "current")
    assert taken(Sampler("part"), "a", figure).tolist() == [figure.nominal]
    assert Sampler("part").gain(Instrument("meter"), 0.1) == 1.0


@given(value=st.floats(1e-9, 1e3), share=st.floats(0.0, 0.6))
def test_draws_of_a_positive_figure_are_positive_and_about_it(value: float, share: float) -> None:
    figure = Quantity(value, "current", share * value, "normal" if share else "exact", (), "", "A")
    values = sample(figure, stream(1, "p"), 4000)
    assert (values > 0).all()
    # five deviations of a mean of 4,000
    assert values.mean() == pytest.approx(value, rel=5 * share / np.sqrt(4000) + 1e-12)


@pytest.mark.parametrize("r", [-0.9, 0.4, 1.0])
def test_two_figures_go_together_as_their_correlation_says(r: float) -> None:
    """The moments of 200,000 draws: means and deviations stay, and r comes out to 0.5 %."""
    time, current = read_quantity("2.00(2) ms", "time"), read_quantity("4.00(8) mA", "current")
    sampler = Sampler("chip", 200_000)
    t, i = sampler.root / "t", sampler.root / "i"
    one, other = sampler.take(t, time), sampler.beside(i, current, t, time, r)
    assert np.corrcoef(one, other)[0, 1] == pytest.approx(r, abs=0.005)
    assert other.mean() == pytest.approx(current.nominal, rel=2e-4)
    assert other.std() == pytest.approx(current.u, rel=0.01)
    # none, and nothing drawn: what it is without
    plain = sampler.take(i, current)
    assert np.array_equal(sampler.beside(i, current, t, time, 0.0), plain)
    assert Sampler("chip").beside(i, current, t, time, r).tolist() == [current.nominal]


def test_a_time_that_is_moved_takes_no_current_with_it() -> None:
    """A lever's place is no error: in its case the current goes with the draws about that place."""
    time, current = read_quantity("2.00(2) ms", "time"), read_quantity("4.00(8) mA", "current")
    root = Sampler("chip").root
    t, i = root / "t", root / "i"
    grid = GridSampler("chip", [None, (t, 4e-3), (i, 8e-3)], 500, 1)
    stands, slow, high = grid.beside(i, current, t, time, -0.8).reshape(3, -1)
    alone = Sampler("chip", 500).beside(i, current, t, time, -0.8)
    assert stands == pytest.approx(alone, rel=1e-12)
    assert slow == pytest.approx(alone, rel=1e-12)
    assert high == pytest.approx(2 * alone, rel=1e-9)  # its spread goes with it


def test_draws_that_are_known_serve_the_figure_they_are_of_alone() -> None:
    known: Known = {}
    one, other = (read_quantity(text, "current") for text in ("2 µA ± 10 %", "3 µA ± 10 %"))
    first = taken(Sampler("some-part", draws=50, known=known), "current", one)
    moved = taken(Sampler("some-part", draws=50, known=known), "current", other)
    again = taken(Sampler("some-part", draws=20, known=known), "current", other)
    assert np.array_equal(moved, taken(Sampler("some-part", draws=50), "current", other))
    assert np.array_equal(again, moved[:20])
    assert not np.array_equal(moved, first)
