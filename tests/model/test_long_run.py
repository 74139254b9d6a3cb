"""Stores that take years to forget how full they began, against a simulation apart."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from advisor.model import store
from advisor.model.draws import Array
from advisor.model.served import CLASSES, Service
from advisor.model.store import MONTH_DAYS, YEAR_DAYS, Dawns, dawns
from advisor.model.store_chain import Chain
from advisor.model.weather import gamma_days
from tests.model.test_store import NEVER_IDLE, ONE, SEASONS


def lost_in_the_long_run(
    cover: np.ndarray, store: float, spread: float, persistence: float, burn: int
) -> tuple[float, float, float]:
    """(share of days lost, its standard error, share of the load not served), from code of its own:
    200 devices at levels anywhere in the store, of which the first years do not count."""
    rng = np.random.default_rng(23)
    devices, years = 200, 25
    shape = spread**-2
    today = rng.gamma(shape, 1 / shape, devices)
    level = rng.uniform(0.0, store, devices)
    calendar = np.repeat(cover, MONTH_DAYS)
    lost, unserved = np.zeros(devices), 0.0
    for year in range(burn + years):
        for mean in calendar:
            anew = rng.random(devices) >= persistence
            today = np.where(anew, rng.gamma(shape, 1 / shape, devices), today)
            level = level + mean * today - 1
            if year >= burn:
                lost += level < 0
                unserved -= level[level < 0].sum()
            level = np.clip(level, 0.0, store)
    each = lost / (years * YEAR_DAYS)
    total = devices * years * YEAR_DAYS
    return float(each.mean()), float(each.std() / np.sqrt(devices)), float(unserved / total)


@pytest.mark.parametrize(
    ("mean", "store", "burn"),
    [(0.942, 300.0, 20), (0.942, 500.0, 20), (0.985, 120.0, 30), (1.015, 150.0, 60)],
)
def test_a_large_store_about_the_load_loses_as_much_in_the_long_run(
    mean: float, store: float, burn: int
) -> None:
    """It takes tens of years to forget that it began full."""
    cover = mean * SEASONS / (SEASONS @ MONTH_DAYS / YEAR_DAYS)
    simulated, error, unserved = lost_in_the_long_run(cover, store, 0.7, 0.3, burn)
    found = Service(tuple(SEASONS), 0.7, 0.3, NEVER_IDLE).at(mean * ONE, store * ONE)
    near = 0.08 + 4 * error / simulated
    assert float(found.lost[0]) == pytest.approx(simulated, rel=near)
    assert float(found.unserved[0]) == pytest.approx(unserved, rel=near)
    # what is harvested is all that may be served
    assert float(found.unserved[0]) >= 1 - mean - 1e-3


def test_stores_that_never_fill_lose_the_same_however_large() -> None:
    found = Service(tuple(SEASONS), 0.7, 0.3, NEVER_IDLE)
    stores = np.array([200.0, 260.0, 330.0, 410.0, 500.0])
    lost = found.at(0.93 + 0 * stores, stores).lost
    assert lost == pytest.approx(lost[0], rel=2e-3)


@pytest.mark.parametrize("cover", [0.96, 1.0, 1.01])
def test_what_a_store_is_still_to_lose_is_told_before_it_has(
    cover: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As by going through all the years until nothing changes, none mixed of others."""
    case = (
        cover * SEASONS[None] / (SEASONS @ MONTH_DAYS / YEAR_DAYS),
        150 * ONE,
        gamma_days(0.7 * ONE, CLASSES),
        0.3 * ONE,
        np.zeros((1, 12)),
    )
    found = dawns(*case)
    monkeypatch.setattr(store, "BACK", 0)
    monkeypatch.setattr(store, "YEARS", 2000)
    exact = dawns(*case, same=1e-9)
    for what in ("lost", "unserved", "level"):
        told, wanted = (float(one.year(getattr(one, what))[0]) for one in (found, exact))
        assert told == pytest.approx(wanted, rel=0.01), what


# stores of months just about covered: mean harvests of a year, days of load
ABOUT_ONE = np.array([0.956, 0.983, 1.022, 1.045, 1.153]), np.array([79.3, 83.9, 55.5, 75.9, 65.7])


def fared(
    levels: NDArray[np.intp] | None = None, classes: int = CLASSES, same: float = store.SAME
) -> Dawns:
    """How the stores about one fare, at the levels asked for, (5,), or those of `Load`."""
    cover, stores = ABOUT_ONE
    shares = SEASONS / (SEASONS @ MONTH_DAYS / YEAR_DAYS)
    ones = np.ones(len(stores))
    return dawns(
        cover[:, None] * shares, stores, gamma_days(0.5 * ones, classes), 0.4 * ones,
        np.zeros((len(stores), 12)), levels, same,
    )  # fmt: skip


def test_years_mixed_settle_where_years_gone_through_do(monkeypatch: pytest.MonkeyPatch) -> None:
    """Within a hundred thousandth of the days, ten times as near as years may end apart; and few
    years bring the mixture there."""
    told, near = fared(), fared(same=1e-9)
    gone: list[int] = []
    year = Chain.year

    def counted(self: Chain, p: Array) -> tuple[Array, dict[str, Array]]:
        gone.append(len(self.store))
        return year(self, p)

    monkeypatch.setattr(Chain, "year", counted)
    fared(same=1e-9)
    mixed = sum(gone)
    gone.clear()
    monkeypatch.setattr(store, "BACK", 0)
    monkeypatch.setattr(store, "YEARS", 2000)
    exact = fared(same=1e-9)
    assert mixed < 0.6 * sum(gone)
    for what, within in (("lost", 1e-5), ("unserved", 1e-5), ("level", 1e-4)):
        one, other, wanted = (by.year(getattr(by, what)) for by in (told, near, exact))
        assert one == pytest.approx(wanted, rel=0, abs=within), what
        assert other == pytest.approx(wanted, rel=0, abs=1e-9), what


def test_large_stores_lose_hardly_more_than_at_levels_four_times_as_close() -> None:
    """Twice a day against eight times, in more classes of days: 1 to 4 % of themselves too many,
    none too few."""
    told, fine = (
        one.year(one.lost)
        for one in (fared(), fared(np.ceil(8 * ABOUT_ONE[1]).astype(np.intp), classes=24))
    )
    assert fine.min() > 0.002
    off = told / fine - 1
    assert off.min() > 0
    assert off.max() < 0.05
    assert np.median(off) < 0.02


def test_stores_fare_the_same_whatever_goes_along(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each by itself and all together, but for rounding."""
    together = fared()
    monkeypatch.setattr(store, "TOGETHER", 1)
    alone = fared()
    for what in ("lost", "unserved", "level", "lacks", "filled", "emptied"):
        one, other = getattr(together, what), getattr(alone, what)
        assert one == pytest.approx(other, rel=1e-8, abs=1e-12), what
