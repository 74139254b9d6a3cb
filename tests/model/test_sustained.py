"""Lives by the month in which they begin, by hand and against days that are lived through."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import advisor
from advisor.model.ageing import Ageing, Law, Rates, Stress
from advisor.model.draws import Array
from advisor.model.store import MONTH_DAYS
from advisor.model.sustained import walked
from tests.model.lifetime_events import DAY, YEAR, Device
from tests.model.lifetime_products import KEYS, invented, needed, written
from tests.model.lifetime_simulator import harvested

ONE = np.ones(1)
HASTE = 0.2  # of the time and of the cycles that cost as much, for lives of one to three years
APART = 0.012  # of such a life
ERRORS = 3.0  # standard errors of the simulation


def law(exponent: float) -> Law:
    """Of one draw; only its exponent counts here."""
    return Law(exponent * ONE, ONE, ONE, (), 0 * ONE, np.zeros(1), ONE[None], ONE, ONE)


def lives(months: Array, end: float, exponent: float = 1.0, cycles: Array | None = None) -> Array:
    """Days lived from the first of each month, where u grows by so much a day in each."""
    under = Stress(
        Rates((1.0,), lambda _: months[None] / DAY),
        np.zeros((1, 1)) if cycles is None else cycles[None] / DAY,
        np.zeros((1, 1)),
    )
    ageing = Ageing(law(exponent), None if cycles is None else law(1.0), end * ONE)
    return walked(ageing, under, np.inf) / DAY


def test_a_pack_that_ages_in_july_alone_by_hand() -> None:
    """One per cent a day of July, of which 46.5 take it to 0.535: a July and half of another."""
    july = np.where(np.arange(12) == 6, 0.01, 0.0)
    found = lives(july, 1 - 0.465)
    before = np.concatenate([[0], np.cumsum(MONTH_DAYS)[:-1]])
    # days from the first of each month to that of July, and a year and half a July beyond
    to_july = (before[6] - before) % 365
    assert found == pytest.approx(to_july + 365 + 15.5, rel=1e-9)
    # as the square root of it: 0.465 is u of 0.216, so 21.6 days of the first July
    assert lives(july, 1 - 0.465, 0.5) == pytest.approx(to_july + 21.6225, rel=1e-9)
    # cycles in April beside it: July takes 0.31, and the next April 0.15, so half a day of July
    april = np.where(np.arange(12) == 3, 0.005, 0.0)
    from_may = lives(july, 1 - 0.465, cycles=april)[4]
    assert from_may == pytest.approx(365 - before[4] + before[3] + 30 + 61 + 0.5, rel=1e-9)


def test_months_alike_are_no_seasons() -> None:
    """However long they are: what grows evenly is never told by the month in which it begins."""
    found = lives(np.full(12, 1e-4), 0.7, 0.6)
    assert found == pytest.approx(0.3 ** (1 / 0.6) / 1e-4, rel=1e-9)
    # never, where nothing is lost
    assert np.isinf(walked(Ageing(law(1.0), None, 0.7 * ONE), _still(), 3 * YEAR)).all()


def _still() -> Stress:
    none = np.zeros((1, 1))
    return Stress(Rates((1.0,), lambda _: none), none, none)


def test_a_pack_that_is_worn_already_lives_shorter() -> None:
    """0.1 of 0.3 gone before the first day, and bands of loss: twice as fast beyond 0.2."""
    rate = np.array([1e-3, 2e-3]) / DAY
    under = Stress(
        Rates((0.2, 1.0), lambda band: np.full((1, 12), rate[band])),
        np.zeros((1, 1)),
        0.1 * np.ones((1, 1)),
    )
    found = walked(Ageing(law(1.0), None, 0.7 * ONE), under, np.inf) / DAY
    # 100 days to 0.2 and 50 to 0.3; a month counts by the band of its middle
    assert found == pytest.approx(np.full(12, 150.0), abs=15.5)


def short(seed: int, leak: bool = False) -> Device:
    """A device under a panel whose pack fades within some years, keys on and off by chance."""
    rng = np.random.default_rng([seed, 9])
    keys = {key for key in KEYS if rng.uniform() < 0.5} - {"charged", "leak", "places"}
    device = invented(seed, needed(keys | {"panel", "ageing"} | ({"leak"} if leak else set())))
    pack = device.pack
    assert pack.calendar is not None
    assert pack.cycles is not None
    return replace(
        device,
        pack=replace(
            pack,
            calendar=replace(pack.calendar, after=HASTE * pack.calendar.after),
            cycles=replace(pack.cycles, after=HASTE * pack.cycles.after),
        ),
    )


@pytest.mark.parametrize(
    ("seed", "leak"),
    [
        (21, False),
        *(pytest.param(s, s % 2 == 0, marks=pytest.mark.slow) for s in range(30, 50)),
    ],
)
def test_a_short_life_is_as_it_is_lived_from_january(seed: int, leak: bool, tmp_path: Path) -> None:
    """The simulation begins on the first of January, see `tests.model.lifetime_simulator`."""
    device = short(seed, leak)
    path = written(device, tmp_path / "catalogue")
    found = advisor.explain(*advisor.load(str(path), str(tmp_path / "catalogue")), "chip")
    assert found.harvest is not None
    told = [one.life_s for one in found.harvest.months]
    life = found.battery_life_s.nominal
    if found.battery_life_s.ends_by != "faded":
        assert told == [None] * 12
        return
    lives = [one for one in told if one is not None]
    assert len(lives) == 12
    # what is told of all beginnings lies among them, and hardly beside their mean
    assert min(lives) < life < max(lives)
    assert life == pytest.approx(np.mean(lives), rel=0.012)
    lived = harvested(device, seed)
    assert lives[0] == pytest.approx(lived.life, rel=APART + ERRORS * lived.life_u)
