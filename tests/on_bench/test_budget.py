"""Budgets against the guides' own examples and another library."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate, optimize, stats
from uncertainties import ufloat

from advisor.bench.budget import Term, combined, half_width, repeats, student


def test_gum_h1_end_gauge() -> None:
    """JCGM 100:2008, H.1: 25, 9.7, 2.9 and 16.6 nm give 32 nm, 16 degrees of freedom, U99 93 nm."""
    found = combined(
        50.000838e6,
        [
            Term("standard", "B", 25.0, dof=18),
            Term("comparator", "A", 9.7, "t", 25.6),
            Term("expansion", "B", 2.9, dof=50),
            Term("temperature", "B", 16.6, dof=2),
        ],
    )
    assert found.u == pytest.approx(31.66, abs=0.05)  # the printed digits
    assert math.floor(found.dof) == 16
    t99 = student(16, 0.99)
    assert t99 == pytest.approx(2.92, abs=0.005)
    assert t99 * found.u == pytest.approx(93, abs=1)


def test_jcgm_101_four_rectangular() -> None:
    """JCGM 101:2008, 9.2.3: unit standard deviations, 95 % within 2 sqrt(3) (2 - 0.6^(1/4))."""
    terms = [Term(str(k), "B", 1.0, "rectangular") for k in range(4)]
    exact = 2 * math.sqrt(3) * (2 - 0.6**0.25)
    assert half_width(terms) == pytest.approx(exact, rel=1e-4)
    # no one term dominates: the guide's own first-order rule holds, and is some 1 % wider
    assert combined(0.0, terms).expanded == pytest.approx(1.96 * 2, rel=1e-3)


def test_jcgm_101_one_dominant() -> None:
    """JCGM 101:2008, 9.2.4: with one ten times wider, 17.0 where first order says 19.9."""
    terms = [Term(str(k), "B", 1.0, "rectangular") for k in range(3)]
    found = combined(0.0, [*terms, Term("wide", "B", 10.0, "rectangular")])
    assert found.u == pytest.approx(math.sqrt(103), rel=1e-12)
    assert found.expanded == pytest.approx(17.01, abs=0.01)
    assert found.expanded < 1.96 * found.u


@pytest.mark.parametrize("dof", [4, 9, 19, 200])
def test_student_against_scipy(dof: int) -> None:
    assert student(dof) == pytest.approx(stats.t.ppf(0.975, dof), rel=1e-9)
    alone = [Term("repeats", "A", 0.3, "t", dof)]
    assert half_width(alone) == pytest.approx(0.3 * stats.t.ppf(0.975, dof), rel=2e-3)


def test_convolution_against_draws() -> None:
    """A million draws of a t, a normal and a wide rectangular term; the quantile's own noise."""
    draw = np.random.default_rng(5)
    n = 1_000_000
    total = (
        0.4 * draw.standard_t(9, n) + draw.normal(0, 0.3, n) + math.sqrt(3) * draw.uniform(-1, 1, n)
    )
    terms = [
        Term("a", "A", 0.4, "t", 9),
        Term("b", "B", 0.3),
        Term("c", "B", 1.0, "rectangular"),
    ]
    assert half_width(terms) == pytest.approx(np.quantile(np.abs(total), 0.95), rel=3e-3)


def test_sum_of_squares_against_another_library() -> None:
    """`uncertainties`: independent contributions to an energy V I t."""
    volts, amps, seconds = ufloat(3.3, 0.002), ufloat(9.8e-3, 4e-5), ufloat(412e-6, 3e-7)
    energy = volts * amps * seconds
    value = 3.3 * 9.8e-3 * 412e-6
    found = combined(
        value,
        [
            Term("V", "B", value * 0.002 / 3.3),
            Term("I", "A", value * 4e-5 / 9.8e-3, "t", 19),
            Term("t", "A", value * 3e-7 / 412e-6, "t", 19),
        ],
    )
    assert found.u == pytest.approx(energy.std_dev, rel=1e-9)


def test_repeats_are_the_mean_and_its_deviation() -> None:
    """JCGM 100:2008, 4.2.3, by hand: 1, 2, 3, 4 has s²/n = 5/12."""
    mean, term = repeats([1.0, 2.0, 3.0, 4.0], "repeats")
    assert mean == 2.5
    assert term.u == pytest.approx(math.sqrt(5 / 12))
    assert term.dof == 3


def test_no_uncertainty_is_none() -> None:
    found = combined(1.0, [Term("nothing", "B", 0.0)])
    assert (found.u, found.budget, found.expanded) == (0.0, (), 0.0)


def test_terms_whose_squares_overflow_still_add_up() -> None:
    """Two equal terms are √2 of one, whatever their size; fourth powers overflow from 1e77 on."""
    for size in (1e-200, 1e-90, 1e90, 1e200):
        terms = [Term("a", "A", size, "t", 9), Term("b", "A", size, "t", 9)]
        found = combined(1.0, terms)
        assert found.u == pytest.approx(math.sqrt(2) * size, rel=1e-12)
        assert found.dof == pytest.approx(18, rel=1e-12)  # Welch and Satterthwaite: (1+1)²/(2/9)
        assert found.without("a") == pytest.approx(size, rel=1e-12)


@pytest.mark.parametrize("unit", [1e-9, 1e6])
def test_a_half_width_goes_by_its_unit(unit: float) -> None:
    """The same terms in nanoamperes: a grid laid in amperes would be all one step."""
    terms = [Term("a", "A", 0.4, "t", 9), Term("b", "B", 0.3), Term("c", "B", 1.0, "rectangular")]
    scaled = [replace(t, u=t.u * unit) for t in terms]
    assert half_width(scaled) == pytest.approx(unit * half_width(terms), rel=1e-9)


@pytest.mark.parametrize("dof", [1, 2, 3, 5, 19])
@pytest.mark.parametrize("share", [0.1, 0.3, 0.49])
def test_few_repeats_beside_a_limit_of_error(dof: int, share: float) -> None:
    """The distribution function of t averaged over the rectangle, integrated and solved by scipy;
    of two runs the tails reach far beyond what other terms do."""
    u, half = math.sqrt(share), math.sqrt(3 * (1 - share))

    def outside(k: float) -> float:
        def beyond(x: float) -> float:
            return float(stats.t.sf((k - x) / u, dof) + stats.t.cdf((-k - x) / u, dof))

        return float(integrate.quad(beyond, -half, half, epsabs=1e-10)[0]) / (2 * half) - 0.05

    terms = [Term("a", "A", u, "t", dof), Term("c", "B", half / math.sqrt(3), "rectangular")]
    exact = float(optimize.brentq(outside, 0.5, 50))
    assert half_width(terms) == pytest.approx(exact, rel=1e-3 if dof < 4 else 2e-4)
