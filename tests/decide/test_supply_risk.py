"""What supply's risks cost: closed forms, their edges, and the draws that must agree with them."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from advisor.decide.supply_risk import (
    WEEK,
    Allocation,
    Need,
    Outlook,
    Source,
    _Judged,
    of_part,
    of_two_sources,
    regret,
    scenario_costs,
    scenarios,
    second_source_worth,
)
from advisor.dimensions import YEAR

USUAL = Allocation(every_s=3 * YEAR, lasts_s=16 * WEEK)
OUTLOOK = Outlook(
    made_over_s=4 * YEAR,
    holding_per_year=0.18,
    spread=0.25,
    usual=USUAL,
    allocations={"Ostrel Devices": Allocation(every_s=2 * YEAR, lasts_s=30 * WEEK)},
)
NEED = Need("frost-post", units=5000, missed=25)
PART = Source("ostrel-pej", "Ostrel Devices", 2.5, 16 * WEEK, "active")
OTHER = Source("varn-k2", "Varn", 3.1, 12 * WEEK, "active")
LAST = replace(PART, lifecycle="last-orders")


def test_stock_over_the_lead_time_by_quadrature() -> None:
    (lead,) = of_part(NEED, PART, OUTLOOK).lead_time
    mean, sd = 5000 / 4 * 16 * WEEK / YEAR, 0.25 * 5000 / 4 * math.sqrt(16 * WEEK / YEAR)
    over, q = 0.18 * 2.5 * 16 * WEEK / YEAR, lead.held.quantity
    assert norm.cdf(q, mean, sd) == pytest.approx(25 / (25 + over), rel=1e-9)
    one = quad(lambda x: over * (q - x) * norm.pdf(x, mean, sd), mean - 9 * sd, q)[0]
    one += quad(lambda x: 25 * (x - q) * norm.pdf(x, mean, sd), q, mean + 9 * sd)[0]
    assert lead.cost == pytest.approx(one * 4 * YEAR / (16 * WEEK), rel=1e-6)


@pytest.mark.parametrize("at_hand", [0, 2000])
def test_a_last_buy_walked_through_its_years(at_hand: float) -> None:
    """The store counted week by week: pieces at hand go first, what is left lies to the end."""
    (last,) = of_part(replace(NEED, at_hand=at_hand), LAST, OUTLOOK).last_buy
    assert last.mean == 5000 - at_hand
    rng, (runs, weeks) = np.random.default_rng(3), (20_000, 208)
    wanted = rng.normal(5000, 0.25 * 1250 * 2, runs)
    store = np.zeros(runs)
    for week in range(weeks):
        gone = np.maximum(wanted * (week + 0.5) / weeks - at_hand, 0)
        store += np.maximum(last.held.quantity - gone, 0) / weeks
    over = last.held.quantity - np.maximum(wanted - at_hand, 0)
    costs = 0.18 * 2.5 * 4 * store + np.where(over > 0, 2.5 * over, -25 * over)
    # the model lets a store that runs dry fall evenly to the end: a little too much in store
    assert last.cost == pytest.approx(costs.mean(), rel=0.02)


def test_a_buffer_walked_week_by_week() -> None:
    """Units missed are counted once, as the allocation goes on."""
    risk = of_part(NEED, PART, OUTLOOK)
    assert risk.allocation is not None
    rng, age, weeks, missed, stock = random.Random(4), 0, 1_000_000, 0, 0
    alpha, beta, n = WEEK / (2 * YEAR), 1 / 30, risk.allocation.weeks
    assert n > 10
    for _ in range(weeks):
        age = age + 1 if rng.random() < (1 - beta if age else alpha) else 0
        missed += age > n
        stock += max(n - age, 0)
    exposed, weekly = 4 * YEAR / WEEK, 5000 / (4 * YEAR / WEEK)
    # some 7 000 allocations, one in some outlasting the buffer
    assert risk.allocation.short == pytest.approx(missed / weeks * weekly * exposed, rel=0.06)
    assert risk.allocation.stock == pytest.approx(stock / weeks * weekly, rel=0.02)
    expected = 0.18 * 2.5 * 4 * stock / weeks * weekly + 25 * missed / weeks * weekly * exposed
    assert risk.allocation.cost == pytest.approx(expected, rel=0.04)


def test_two_sources_without_a_buffer_are_short_while_both_are_in_allocation() -> None:
    need = replace(NEED, missed=0.01)
    both = of_two_sources(need, PART, OTHER, 0.3, OUTLOOK).allocation
    assert both is not None
    assert both.weeks == 0
    first, second = (
        1 / (1 + every / lasts) for every, lasts in ((2 * YEAR / WEEK, 30), (3 * YEAR / WEEK, 16))
    )
    assert both.cost == pytest.approx(first * second * 5000 * 0.01, rel=1e-12)


def test_edges() -> None:
    still = replace(OUTLOOK, spread=None, usual=None, allocations={})
    assert of_part(NEED, replace(PART, lead_time_s=None), OUTLOOK).missing == (
        "ostrel-pej: price.lead-time",
    )
    assert set(of_part(NEED, replace(PART, lifecycle=None), still).missing) == {
        "spread",
        "ostrel-pej: lifecycle",
        "Ostrel Devices: allocation",
    }
    gone = of_part(replace(NEED, at_hand=1000), replace(PART, lifecycle="ended"), OUTLOOK)
    assert (gone.lacking, gone.cost) == (4000, math.inf)
    assert of_part(replace(NEED, at_hand=9000), replace(PART, lifecycle="ended"), OUTLOOK).cost == 0
    assert of_part(NEED, PART, replace(OUTLOOK, holding_per_year=0.0)).cost == 0
    flat = of_part(NEED, PART, replace(OUTLOOK, spread=0.0))
    assert flat.lines["lead time"] == 0
    assert flat.missing == ()
    (cheap,) = of_part(replace(NEED, missed=0.01), PART, OUTLOOK).lead_time
    assert cheap.held.quantity == cheap.mean  # never below what is wanted
    (long,) = of_part(NEED, replace(PART, lead_time_s=9 * YEAR), OUTLOOK).lead_time
    assert (long.times, long.span_s, long.mean) == (1, 4 * YEAR, 5000)
    brief = replace(OUTLOOK, allocations={}, usual=Allocation(WEEK / 2, WEEK / 2))
    known = of_part(NEED, PART, brief).allocation
    assert known is not None
    assert known.weeks == 1
    with pytest.raises(ValueError, match="two makers"):
        of_two_sources(NEED, PART, replace(OTHER, maker=PART.maker), 0.3, OUTLOOK)


def test_times_of_an_allocation_are_above_nothing_and_count_as_a_week_at_least() -> None:
    for every, lasts in ((0.0, WEEK), (WEEK, 0.0), (-WEEK, WEEK)):
        with pytest.raises(ValueError, match="above zero"):
            Allocation(every, lasts).failing()
    least = Allocation(WEEK, WEEK).failing()
    assert (least.share, least.goes_on) == (0.5, 0.0)
    assert Allocation(0.1, 0.1).failing() == least
    assert Allocation(0.1, 4 * WEEK).failing().goes_on == pytest.approx(0.75)


def test_last_orders_leave_one_source_waiting() -> None:
    both = of_two_sources(NEED, LAST, OTHER, 0.3, OUTLOOK)
    assert both.allocation is not None
    assert both.allocation.makers == ("Varn",)
    assert both.allocation.weekly == pytest.approx(0.3 * 5000 / (4 * YEAR / WEEK))
    assert both.last_buy[0].mean == pytest.approx(3500)
    assert len(both.lead_time) == 1


def test_no_risk_costs_nothing() -> None:
    still = replace(OUTLOOK, spread=None, usual=None, allocations={})
    assert of_part(NEED, PART, still).cost == 0.0
    assert of_two_sources(NEED, PART, OTHER, 0.5, still).cost == 0.0


PLANS = (
    [
        of_part(NEED, PART, OUTLOOK),
        of_part(replace(NEED, product="gate", at_hand=800), OTHER, OUTLOOK),
    ],
    [of_part(NEED, LAST, OUTLOOK), of_part(replace(NEED, product="gate"), OTHER, OUTLOOK)],
    [of_two_sources(NEED, PART, OTHER, 0.3, OUTLOOK)],
)


def test_draws_agree_with_the_closed_forms() -> None:
    drawn = scenarios(["Ostrel Devices", "Varn"], ["frost-post", "gate"], OUTLOOK, 6000, 1)
    base = np.array([100.0, 0.0, 5.0])
    costs = scenario_costs(PLANS, base, drawn)
    for money, plan, row in zip(base, PLANS, costs, strict=True):
        error = row.std() / math.sqrt(row.size)
        expected = money + sum(risk.cost for risk in plan)
        assert abs(row.mean() - expected) < 4 * error
        assert 4 * error < 0.12 * expected  # so that the check says something
    weeks = drawn.in_allocation["Varn"].mean()
    assert weeks == pytest.approx(209 * USUAL.failing().share, rel=0.1)


def test_regret_is_against_the_best_plan_of_each_scenario() -> None:
    assert regret(np.array([[1.0, 5.0], [2.0, 2.0]])).tolist() == [1.5, 0.5]


def test_one_more_maker_changes_no_others_draws() -> None:
    few = scenarios(["Varn"], ["gate"], OUTLOOK, 40, 7)
    more = scenarios(["Ostrel Devices", "Varn"], ["frost-post", "gate"], OUTLOOK, 40, 7)
    assert few.lasted["Varn"].tobytes() == more.lasted["Varn"].tobytes()
    assert few.demand["gate"].tobytes() == more.demand["gate"].tobytes()
    other = scenarios(["Varn"], ["gate"], OUTLOOK, 40, 8)
    assert few.lasted["Varn"].tobytes() != other.lasted["Varn"].tobytes()


def test_what_a_second_source_is_worth_adds_up() -> None:
    alone = of_part(NEED, PART, OUTLOOK)
    both = of_two_sources(NEED, PART, OTHER, 0.3, OUTLOOK)
    worth = second_source_worth(alone, both)
    assert worth["total"] == pytest.approx(alone.cost - both.cost)
    assert worth["allocation"] > 0


lasting = st.floats(2, 60)  # weeks; one of a week or less uses up stock that would cost holding
times = st.floats(60, 600)
more = st.floats(1, 3)
SLACK = 1 - 1e-9  # rounding


@settings(max_examples=60)
@given(lasting, times, more, st.floats(0.1, 60), st.sampled_from(["active", "last-orders"]))
def test_worse_risk_never_costs_less(
    lasts: float, every: float, factor: float, missed: float, lifecycle: str
) -> None:
    part, need = replace(PART, lifecycle=lifecycle), replace(NEED, missed=missed)

    def cost(lasts: float, missed: float, holding: float) -> float:
        outlook = replace(
            OUTLOOK,
            allocations={},
            usual=Allocation(every * WEEK, lasts * WEEK),
            holding_per_year=holding,
        )
        return of_part(replace(need, missed=missed), part, outlook).cost

    once = cost(lasts, missed, 0.18) * SLACK
    assert cost(min(60.0, lasts * factor), missed, 0.18) >= once
    assert cost(lasts, missed * factor, 0.18) >= once
    assert cost(lasts, missed, 0.18 * factor) >= once


@settings(max_examples=60)
@given(lasting, times, lasting, times, st.floats(0.1, 60))
def test_a_second_source_never_makes_allocations_worse(
    a: float, b: float, c: float, d: float, missed: float
) -> None:
    chances = {
        "Ostrel Devices": Allocation(b * WEEK, a * WEEK),
        "Varn": Allocation(d * WEEK, c * WEEK),
    }
    outlook = replace(OUTLOOK, allocations=chances)
    need, twin = replace(NEED, missed=missed), replace(PART, maker="Varn")
    alone = of_part(need, PART, outlook).allocation
    both = of_two_sources(need, PART, twin, 0.4, outlook).allocation
    assert alone is not None
    assert both is not None
    assert both.cost * SLACK <= alone.cost
    one, two = chances["Ostrel Devices"].failing(), chances["Varn"].failing()
    n = alone.weeks  # with as much in store as before fewer units are missed
    joint = one.beside(two)
    assert joint.share * joint.goes_on**n <= one.share * one.goes_on**n


@pytest.mark.parametrize(
    ("weeks", "held", "missed"),
    [(0, 0.0, 3 / 4), (1, 1 / 4, 1 / 4), (2, 1.0, 0.0), (3, 2.0, 0.0), (5, 4.0, 0.0)],
)
def test_a_buffer_against_allocations_written_down(weeks: int, held: float, missed: float) -> None:
    """Four exposed weeks by hand, into allocations of 0, 1, 2 and 1 weeks by then; a week before
    them does not count. With two makers it is the shorter one that is waited for."""
    first = np.array([[9, 0, 1, 2, 1], [9, 0, 0, 0, 0]])
    drawn: Any = SimpleNamespace(
        draws=2, weeks=5, lasted={"north": first, "south": first[::-1] + np.array([[0], [9]])}
    )
    buffer: Any = SimpleNamespace(
        makers=("north",), exposed=3.5, weeks=weeks, holding=2.0, missed=7.0, weekly=10.0
    )
    judged = _Judged(drawn)
    found = judged._allocated(buffer)
    assert found[0] == pytest.approx(35.0 * (2.0 * held + 7.0 * missed), rel=1e-12)
    # never in one: all is held
    assert found[1] == pytest.approx(35.0 * 2.0 * weeks, rel=1e-12)
    two: Any = SimpleNamespace(**{**vars(buffer), "makers": ("north", "south")})
    both = judged._allocated(two)
    assert both[0] == pytest.approx(35.0 * 2.0 * weeks, rel=1e-12)
