"""Prices at quantity and costs over the service life."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.model.money import development, price_at, replacements, upkeep


def one(value: float) -> np.ndarray:
    return np.array([value])


BREAKS = [(10, one(1.42)), (100, one(0.98)), (1000, one(0.71))]


@pytest.mark.parametrize(
    ("pieces", "multiple", "bought", "each"),
    [
        (1, 1, 10, 1.42),  # below the first break one buys it whole
        (10, 1, 10, 1.42),
        (69, 1, 69, 1.42),  # 97.98, where a hundred are 98.00
        (70, 1, 100, 0.98),  # 98.00 for a hundred, 99.40 for seventy
        (99, 100, 100, 0.98),  # rounding up may reach the next break
        (100, 1, 100, 0.98),
        (101, 100, 200, 0.98),
        (724, 1, 724, 0.98),  # 709.52 against 710.00
        (999, 1, 1000, 0.71),  # 979.02 against 710.00
        (1000, 7, 1001, 0.71),
    ],
)
def test_the_price_of_a_number_of_pieces(
    pieces: int, multiple: int, bought: int, each: float
) -> None:
    found = price_at(BREAKS, multiple, pieces)
    assert found.pieces.tolist() == [bought]
    assert found.each[0] == each
    assert found.total[0] == pytest.approx(each * bought, rel=1e-15)


def test_a_larger_break_bought_whole() -> None:
    # two vendors' all-unit prices (worked by hand): 9, 8, 7, 5, 3 from 0, 1000, 2500, 7500, 15000;
    # 6,000 needed. In its own tier 6,000 x 7 = 42,000; 7,500 x 5 = 37,500; 15,000 x 3 = 45,000
    tiers = [(q, one(p)) for q, p in ((1, 9), (1000, 8), (2500, 7), (7500, 5), (15000, 3))]
    found = price_at(tiers, 1, 6000)
    assert (found.pieces[0], found.each[0], found.total[0]) == (7500, 5.0, 37_500.0)


def test_incremental_prices_hold_beyond_their_quantity() -> None:
    # the other of the two vendors: 8, 7, 6, 4, 2 beyond 0, 1200, 3000, 7500, 14000. Exactly 6,000
    # cost 1,200 x 8 + 1,800 x 7 + 3,000 x 6 = 40,200 (published with that instance)
    tiers = [(q, one(p)) for q, p in ((1, 8), (1200, 7), (3000, 6), (7500, 4), (14_000, 2))]
    found = price_at(tiers, 1, 6000, incremental=True)
    assert (found.pieces[0], found.total[0]) == (6000, 40_200.0)
    assert found.each[0] == pytest.approx(6.7, rel=1e-15)
    # a break's own quantity still goes at the price below; the next piece does not
    assert price_at(tiers, 1, 1200, incremental=True).total[0] == 9600
    assert price_at(tiers, 1, 1201, incremental=True).total[0] == 9607
    # packages of 500, and a minimum order bought whole at the first price
    assert price_at(tiers, 500, 1201, incremental=True).total[0] == 9600 + 300 * 7
    assert price_at([(100, one(3.0))], 1, 7, incremental=True).total[0] == 300


@given(
    quantities=st.lists(st.integers(1, 60), min_size=1, max_size=4, unique=True),
    prices=st.lists(st.integers(1, 40), min_size=4, max_size=4),
    multiple=st.integers(1, 9),
    need=st.integers(1, 70),
)
def test_incremental_prices_piece_by_piece(
    quantities: list[int], prices: list[int], multiple: int, need: int
) -> None:
    tiers = list(zip(sorted(quantities), prices, strict=False))
    bought = next(q for q in range(max(need, tiers[0][0]), 200) if q % multiple == 0)
    money = 0
    for piece in range(1, bought + 1):
        money += next((p for q, p in reversed(tiers) if q < piece), tiers[0][1])
    found = price_at([(q, one(p)) for q, p in tiers], multiple, need, incremental=True)
    assert (found.pieces[0], found.total[0]) == (bought, money)


def test_equal_totals_take_fewer_pieces() -> None:
    tiers = [(1, one(2.0)), (100, one(1.0))]
    assert price_at(tiers, 1, 50).pieces[0] == 50  # 100 either way
    assert price_at(tiers, 1, 51).pieces[0] == 100


def test_each_draw_buys_at_its_own_prices() -> None:
    tiers = [(1, np.array([1.0, 1.0, 1.0])), (100, np.array([0.9, 0.4, 1.2]))]
    found = price_at(tiers, 1, 60)
    # 60 against 90, 40 and 120
    assert found.pieces.tolist() == [60, 100, 60]
    assert found.total.tolist() == [60.0, 40.0, 60.0]
    # from the break up its price holds, though it be dearer: 120 pieces at 1.2
    assert price_at(tiers, 1, 120).total.tolist() == pytest.approx([108.0, 48.0, 144.0], rel=1e-15)


@given(
    quantities=st.lists(st.integers(1, 60), min_size=1, max_size=4, unique=True),
    prices=st.lists(st.integers(1, 40), min_size=4, max_size=4),
    multiple=st.integers(1, 9),
    need=st.integers(1, 70),
)
def test_no_quantity_at_or_above_the_need_costs_less(
    quantities: list[int], prices: list[int], multiple: int, need: int
) -> None:
    # every quantity one may buy, tried one by one; prices may rise or fall from tier to tier
    tiers = dict(zip(sorted(quantities), prices, strict=False))

    def total(quantity: int) -> float:
        return quantity * tiers[max(q for q in tiers if q <= quantity)]

    first = min(tiers)
    ways = [q for q in range(need, 200) if q % multiple == 0 and q >= first]
    cheapest = min(ways, key=lambda q: (total(q), q))
    found = price_at([(q, one(p)) for q, p in tiers.items()], multiple, need)
    assert found.pieces[0] == cheapest
    assert found.total[0] == total(cheapest)


@pytest.mark.parametrize(
    ("breaks", "multiple", "pieces"), [([], 1, 1), (BREAKS, 0, 1), (BREAKS, 1, 0)]
)
def test_what_cannot_be_bought(
    breaks: list[tuple[int, np.ndarray]], multiple: int, pieces: int
) -> None:
    with pytest.raises(ValueError, match="above zero"):
        price_at(breaks, multiple, pieces)


def test_development_is_shared_by_the_units() -> None:
    assert development(one(3.0), one(80.0), one(500.0), 1000)[0] == pytest.approx(0.74, rel=1e-15)


@pytest.mark.parametrize(
    ("service", "battery", "changes"),
    [(10, 10, 0), (10, 10.1, 0), (10, 9.99, 1), (10, 5, 1), (10, 4.99, 2), (10, np.inf, 0)],
)
def test_battery_changes(service: float, battery: float, changes: float) -> None:
    assert replacements(one(service), one(battery))[0] == changes


def test_a_pack_that_never_starts_is_changed_without_end() -> None:
    assert replacements(one(10.0), one(0.0))[0] == np.inf


def test_upkeep() -> None:
    assert upkeep(one(2.0), one(1.5), one(30.0))[0] == 63.0
    assert upkeep(one(0.0), one(np.nan), one(30.0))[0] == 0.0


@pytest.mark.parametrize(
    ("f1", "v1", "f2", "v2", "volume"),
    # (F2 - F1)/(v1 - v2), textbook crossover and break-even volumes: 20000/2 and 50000/(25 - 15)
    [(10_000, 5.0, 30_000, 3.0, 10_000), (0, 25.0, 50_000, 15.0, 5_000)],
)
def test_the_crossover_volume(f1: float, v1: float, f2: float, v2: float, volume: int) -> None:
    def unit(fixed: float, each: float, units: int) -> float:
        pieces = price_at([(1, one(each))], 1, units)
        return float(
            development(one(0.0), one(0.0), one(fixed), units)[0] + pieces.total[0] / units
        )

    assert unit(f1, v1, volume) == pytest.approx(unit(f2, v2, volume), rel=1e-12)
    assert unit(f1, v1, volume - 1) < unit(f2, v2, volume - 1)
    assert unit(f1, v1, volume + 1) > unit(f2, v2, volume + 1)
