"""Prices at quantity and costs over the service life."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.model.money import development, price_at, replacements, upkeep


def one(value: float) -> np.ndarray:
    return np.array([value])


BREAKS = [(10, one(1.42)), (100, one(0.98)), (1000, one(0.71))]


@pytest.mark.parametrize(
    ("pieces", "multiple", "bought", "each"),
    [
        (1, 1, 10, 1.42),  # below the first break one buys it whole
        (10, 1, 10, 1.42),
        (99, 1, 99, 1.42),
        (99, 100, 100, 0.98),  # rounding up may reach the next break
        (100, 1, 100, 0.98),
        (101, 100, 200, 0.98),
        (999, 1, 999, 0.98),
        (1000, 7, 1001, 0.71),
    ],
)
def test_the_price_of_a_number_of_pieces(
    pieces: int, multiple: int, bought: int, each: float
) -> None:
    found = price_at(BREAKS, multiple, pieces)
    assert found.pieces == bought
    assert found.each[0] == each
    assert found.total[0] == pytest.approx(each * bought, rel=1e-15)


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


@pytest.mark.parametrize(("fixed", "saved", "volume"), [(20000, 2.0, 10000), (50000, 10.0, 5000)])
def test_the_crossover_volume(fixed: float, saved: float, volume: float) -> None:
    # (F2 - F1)/(v1 - v2), a textbook break-even; development is the fixed cost
    cheaper = development(one(0.0), one(0.0), one(fixed), volume)
    assert cheaper[0] == pytest.approx(saved, rel=1e-15)
