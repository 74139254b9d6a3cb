"""Closed forms of stock, against published values, quadrature and plain loops."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from advisor.model.stock import Failing, newsvendor, newsvendor_with_disruptions

pytestmark = pytest.mark.once


def test_newsvendor_of_snyder_and_shen() -> None:
    """Published values from memory, recomputed; as many digits as are printed."""
    held = newsvendor(50, 8, over=0.18, under=0.70)
    assert held.quantity == pytest.approx(56.604, abs=5e-4)
    assert held.cost == pytest.approx(1.99761, abs=5e-6)


@pytest.mark.parametrize("ratio", [1e6, 1e15, 1e40, 1e90])
def test_a_shortage_that_costs_beyond_all_measure(ratio: float) -> None:
    """Chances below the rounding of 1; the cost at the best quantity is sd·o·(1 + m/o)·pdf(z)."""
    found = newsvendor(100.0, 10.0, over=1.0, under=ratio)
    z = norm.isf(1 / (1 + ratio))
    assert found.quantity == pytest.approx(100 + 10 * z, rel=1e-9)
    # pdf(z) - z·sf(z) cancels by z², up to some 400
    assert found.cost == pytest.approx(10 * (1 + ratio) * norm.pdf(z), rel=1e-9)
    assert newsvendor(100.0, 10.0, over=ratio, under=1.0).quantity == pytest.approx(
        max(0.0, 100 - 10 * z), abs=1e-6
    )


def test_disruptions_of_snyder_and_shen() -> None:
    """Published values from memory, recomputed: order up to 8000, cost 2737.07 for demand 2000."""
    held = newsvendor_with_disruptions(Failing.of(0.04, 0.25), over=0.25, under=3)
    assert 2000 * (held.quantity + 1) == 8000
    assert 2000 * held.cost == pytest.approx(2737.07, abs=5e-3)


@pytest.mark.parametrize("least", [0, 120])
@pytest.mark.parametrize(("over", "under"), [(0.18, 0.7), (3, 1), (0.01, 25)])
def test_expected_stock_and_shortage_by_quadrature(over: float, under: float, least: float) -> None:
    held = newsvendor(100, 20, over=over, under=under, least=least)
    ends = (-100, 300)  # ten standard deviations

    def expected(quantity: float) -> tuple[float, float]:
        left = quad(lambda x: (quantity - x) * norm.pdf(x, 100, 20), ends[0], quantity)[0]
        return left, quad(lambda x: (x - quantity) * norm.pdf(x, 100, 20), quantity, ends[1])[0]

    assert (held.left, held.short) == pytest.approx(expected(held.quantity), rel=1e-6)
    for other in (held.quantity + 1, held.quantity - 1):
        if other >= least:
            left, short = expected(other)
            assert over * left + under * short > held.cost


@pytest.mark.parametrize(("alpha", "beta"), [(0.04, 0.25), (0.2, 1.0), (1.0, 0.5)])
def test_disruptions_by_a_chain_walked_week_by_week(alpha: float, beta: float) -> None:
    rng, age, weeks = random.Random(5), 0, 400_000
    failing = Failing.of(alpha, beta)
    held = newsvendor_with_disruptions(failing, over=0.25, under=3)
    left = short = 0.0
    for _ in range(weeks):
        down = rng.random() < (1 - beta if age else alpha)
        age = age + 1 if down else 0
        left += max(held.quantity - age, 0)
        short += max(age - held.quantity, 0)
    # some 10 000 failures: their mean length is known to 1 %, tails to a few
    assert left / weeks == pytest.approx(held.left, rel=0.01)
    assert short / weeks == pytest.approx(held.short, rel=0.05)


def test_two_chains_that_fail_at_once_walked_week_by_week() -> None:
    rng, first, second, both = random.Random(6), (0.05, 0.2), (0.1, 0.3), 0
    down, longer, weeks, last = [False, False], 0, 400_000, 0
    for _ in range(weeks):
        for n, (alpha, beta) in enumerate((first, second)):
            down[n] = rng.random() < (1 - beta if down[n] else alpha)
        last = last + 1 if all(down) else 0
        both += last > 0
        longer += last > 2
    joint = Failing.of(*first).beside(Failing.of(*second))
    assert both / weeks == pytest.approx(joint.share, rel=0.05)
    assert longer / weeks == pytest.approx(joint.share * joint.goes_on**2, rel=0.1)


def test_the_least_number_of_periods_that_is_best() -> None:
    for share in (0.01, 0.1, 0.5):
        for goes_on in (0.0, 0.5, 0.95):
            failing = Failing(share, goes_on)
            held = newsvendor_with_disruptions(failing, over=0.1, under=4)

            def cost(n: int, share: float = share, r: float = goes_on) -> float:
                chances = [1 - share, *(share * (1 - r) * r**k for k in range(1500))]
                return sum(
                    q * (0.1 * max(n - x, 0) + 4 * max(x - n, 0)) for x, q in enumerate(chances)
                )

            assert held.quantity == min(range(120), key=cost)
            assert held.cost == pytest.approx(cost(int(held.quantity)), rel=1e-9)


def test_edges() -> None:
    assert newsvendor(50, 0, over=1, under=2).cost == 0
    assert newsvendor(50, 8, over=1, under=0.5, least=50).quantity == 50
    assert newsvendor(50, 8, over=1, under=0, least=50).quantity == 50
    assert newsvendor_with_disruptions(Failing.of(0, 0.5), over=0, under=3).cost == 0
    assert newsvendor_with_disruptions(Failing.of(0.1, 0.5), over=3, under=0.1).quantity == 0
    for alpha, beta in ((0.1, 0.0), (1.1, 0.5)):
        with pytest.raises(ValueError, match="alpha"):
            Failing.of(alpha, beta)
    with pytest.raises(ValueError, match="enough"):
        newsvendor(50, 8, over=0, under=1)
    with pytest.raises(ValueError, match="enough"):
        newsvendor_with_disruptions(Failing.of(0.1, 0.5), over=0, under=1)


money = st.floats(0.01, 50)


@given(money, money, st.floats(1, 3), st.floats(0.1, 100))
def test_dearer_never_costs_less(over: float, under: float, more: float, sd: float) -> None:
    once = newsvendor(100, sd, over=over, under=under, least=100).cost
    slack = 1 - 1e-9  # rounding
    assert newsvendor(100, sd, over=over * more, under=under, least=100).cost >= once * slack
    assert newsvendor(100, sd, over=over, under=under * more, least=100).cost >= once * slack
    assert newsvendor(100, sd * more, over=over, under=under, least=100).cost >= once * slack
