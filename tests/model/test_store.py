"""The chain of a store's level: a published example, a simulation apart, and what must hold."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from advisor.model.draws import Array
from advisor.model.lattice import _cubic
from advisor.model.served import CLASSES, FIRST, Service, Services
from advisor.model.store import MONTH_DAYS, YEAR_DAYS, Dawns, dawns
from advisor.model.store_chain import HALF
from advisor.model.weather import Days, gamma_days

ONE = np.ones(1)
NEVER_IDLE = (0.0,) * 12
SEASONS = 1 + 0.6 * np.cos(2 * np.pi * (np.arange(12) - 5.5) / 12)


def lost_in_simulation(
    cover: np.ndarray, store: float, spread: float, persistence: float, idle: float = 0.0
) -> tuple[float, float]:
    """(share of days lost, its standard error), day by day, from code of its own: 300 devices over
    eleven years, of which the first does not count."""
    rng = np.random.default_rng(7)
    devices, years = 300, 11
    shape = spread**-2
    today = rng.gamma(shape, 1 / shape, devices)
    level = np.full(devices, store)
    lost = np.zeros((years, devices))
    for year in range(years):
        for month in range(12):
            for day in range(MONTH_DAYS[month]):
                anew = rng.random(devices) >= persistence
                today = np.where(anew, rng.gamma(shape, 1 / shape, devices), today)
                # one spell at the beginning of each month
                lit = min(max(day + 1 - idle * MONTH_DAYS[month], 0.0), 1.0)
                level = level + lit * cover[month] * today - 1
                lost[year] += level < 0
                level = np.clip(level, 0.0, store)
    each = lost[1:].mean(axis=0) / YEAR_DAYS
    return float(each.mean()), float(each.std() / np.sqrt(devices))


def test_loss_of_load_of_an_exact_chain() -> None:
    """Store 0 to 5 days, harvest 0 or 2 days' load with p = 0.6: birth and death of r = 1.5, of
    which (1 - p)(r - 1)/(r^6 - 1) of the days are lost (exact)."""
    found = dawns(
        np.ones((1, 12)),
        5 * ONE,
        Days(np.array([[0.0, 2.0]]), np.array([0.4, 0.6])),
        0 * ONE,
        np.zeros((1, 12)),
        np.array([5]),
        same=1e-12,
    )
    exact = 0.4 * 0.5 / (1.5**6 - 1)
    assert exact == pytest.approx(0.0192481, abs=1e-7)
    # to the digits that are published
    assert found.year(found.lost)[0] == pytest.approx(exact, abs=1e-9)


@pytest.mark.parametrize(
    ("scale", "store", "spread", "persistence"),
    [(1.6, 0.7, 0.45, 0.4), (1.8, 4.0, 0.45, 0.4), (1.35, 30.0, 0.45, 0.4), (2.2, 1.5, 0.8, 0.7)],
)
def test_a_simulation_apart_loses_as_many_days(
    scale: float, store: float, spread: float, persistence: float
) -> None:
    cover = scale * SEASONS
    simulated, error = lost_in_simulation(cover, store, spread, persistence)
    mean = float(cover @ MONTH_DAYS / YEAR_DAYS)
    found = Service(tuple(SEASONS), spread, persistence, NEVER_IDLE)
    lost = float(found.at(mean * ONE, store * ONE).lost[0])
    # classes of days, levels and interpolation cost up to 8 % at the widest spread
    assert abs(lost - simulated) < 0.08 * simulated + 4 * error


@pytest.mark.parametrize(("idle", "store"), [(0.2, 3.0), (0.2, 9.0), (0.13, 5.5), (0.3, 25.0)])
def test_idle_days_are_lost_as_in_a_simulation(idle: float, store: float) -> None:
    """They come as one spell in each month, which a store of some days does not outlast."""
    scale = 2.0
    simulated, error = lost_in_simulation(scale * SEASONS, store, 0.45, 0.4, idle=idle)
    found = Service(tuple(SEASONS), 0.45, 0.4, (idle,) * 12)
    mean = float(scale * (1 - idle) * SEASONS @ MONTH_DAYS / YEAR_DAYS)
    lost = float(found.at(mean * ONE, store * ONE).lost[0])
    assert abs(lost - simulated) < 0.08 * simulated + 4 * error


def test_a_spell_is_lost_day_by_day() -> None:
    """By hand: six days in each month of thirty bring nothing, all others twice the load; a store
    of four days carries four of them, so two are lost."""
    idle = np.where(MONTH_DAYS == 30, 0.2, 0.0)[None]
    found = dawns(
        np.full((1, 12), 2.0), 4 * ONE, Days(np.ones((1, 1)), ONE), 0 * ONE, idle, np.array([16])
    )
    assert found.lost[0] == pytest.approx(np.where(idle[0] > 0, 2 / 30, 0.0), abs=1e-9)


def lost_in_charge(
    cover: np.ndarray, store: float, night: float, full: float, empty: float
) -> tuple[float, float]:
    """(share of days lost, its standard error) of a capacitor that a constant current is taken
    from, hour by hour in charge; its load of a day is 1 and its voltage falls straight from full
    to empty. Spread 0.45 and persistence 0.4; cover is the harvest at the middle voltage."""
    rng = np.random.default_rng(11)
    devices, years, steps = 200, 5, 24
    shape = 0.45**-2
    today = rng.gamma(shape, 1 / shape, devices)
    whole, middle = store + night, (full + empty) / 2
    level = np.full(devices, store)
    lost = np.zeros((years, devices))
    for year in range(years):
        for month in range(12):
            for _ in range(MONTH_DAYS[month]):
                anew = rng.random(devices) >= 0.4
                today = np.where(anew, rng.gamma(shape, 1 / shape, devices), today)
                out = np.zeros(devices, dtype=bool)
                for _ in range(steps):
                    volts = empty + (full - empty) * level / whole
                    level = level + cover[month] * today * middle / volts / steps
                    level = level - (1 - night) / steps
                    out |= level < -1e-12
                    level = np.clip(level, 0.0, whole)
                level = level - night
                lost[year] += out | (level < -1e-12)
                level = np.maximum(level, 0.0)
    each = lost[1:].mean(axis=0) / YEAR_DAYS
    return float(each.mean()), float(each.std() / np.sqrt(devices))


@pytest.mark.parametrize(
    ("scale", "store", "full", "empty"),
    [(1.3, 3.0, 2.7, 1.8), (1.5, 5.0, 4.18, 3.0), (1.8, 2.0, 2.7, 1.08)],
)
def test_a_constant_current_is_balanced_in_charge(
    scale: float, store: float, full: float, empty: float
) -> None:
    """A balance of energy at the mean voltage loses 17 to 220 % more days."""
    night = 0.6
    simulated, error = lost_in_charge(scale * SEASONS, store, night, full, empty)
    found = Service(tuple(SEASONS), 0.45, 0.4, NEVER_IDLE)
    mean = float(scale * SEASONS @ MONTH_DAYS / YEAR_DAYS)
    pull = (full - empty) / (full + empty) * store / (store + night)
    lost = float(found.at(mean * ONE, store * ONE, pull * ONE).lost[0])
    assert abs(lost - simulated) < 0.035 * simulated + 4 * error
    energy = float(found.at(mean * ONE, store * ONE).lost[0])
    assert energy > 1.15 * simulated


def test_a_finer_grid_moves_little() -> None:
    """The error of the grid, shown by refining it."""
    cover, store = np.tile(1.5 * SEASONS, (2, 1)), np.full(2, 12.0)
    lost = [
        dawns(
            cover[:1], store[:1], gamma_days(0.45 * ONE, classes), 0.4 * ONE,
            np.zeros((1, 12)), np.array([levels]),
        )
        for classes, levels in ((6, 24), (24, 192))
    ]  # fmt: skip
    rough, fine = (float(one.year(one.lost)[0]) for one in lost)
    assert rough == pytest.approx(fine, rel=0.03)


DARK = np.array([0, 20, 30, 30, 30, 30, 30, 25, 15, 15, 12, 0.0])
DARKER = np.array([0, 0, 0, 5, 30, 30, 30, 25, 15, 10, 2, 0.0])


@pytest.mark.parametrize(
    ("months", "mean", "store", "within"),
    [(DARK, 1.93, 54.0, 0.03), (DARK, 1.93, 59.4, 0.03), (DARKER, 1.5, 125.0, 0.02),
     (DARKER, 1.5, 150.0, 0.05), (1 + 0.95 * (SEASONS - 1) / 0.6, 1.1, 100.0, 0.03)],
)  # fmt: skip
def test_months_that_bring_nothing_are_bridged_as_in_a_simulation(
    months: np.ndarray, mean: float, store: float, within: float
) -> None:
    """By stores of many days, of which a step is a good part of what is lost; no fewer days are
    lost than those that a full store does not reach to."""
    cover = mean * months / float(months @ MONTH_DAYS / YEAR_DAYS)
    simulated, error = lost_in_simulation(cover, store, 0.5, 0.4)
    found = Service(tuple(months), 0.5, 0.4, NEVER_IDLE)
    lost = float(found.at(mean * ONE, store * ONE).lost[0])
    assert abs(lost - simulated) < within * simulated + 4 * error
    dark = float(MONTH_DAYS[months == 0].sum())
    assert lost * YEAR_DAYS > (dark - store) * 0.999


def test_stores_that_surely_last_are_told_as_by_the_chain(monkeypatch: pytest.MonkeyPatch) -> None:
    """By a bound, against the chain gone through: none lost, and as full as it tells."""
    cover, stores = 8.0 * SEASONS[None] * np.ones((4, 1)), np.array([40.0, 60.0, 150.0, 400.0])
    ones = np.ones(4)
    idle = np.tile(np.where(SEASONS < 0.9, 0.3, 0.0), (4, 1))

    def told() -> Dawns:
        return dawns(cover, stores, gamma_days(0.4 * ones, CLASSES), 0.4 * ones, idle)

    by_bound = told()
    monkeypatch.setattr("advisor.model.store._surely", lambda *_: np.zeros(4, dtype=bool))
    by_chain = told()
    assert (by_bound.lost == 0).all()
    assert by_chain.lost.max() < 1e-11
    for one, other, within in zip(
        by_bound.fill, by_chain.fill, (3e-3, 1e-3, 0.02, 0.02, 1e-9, 1e-9), strict=True
    ):
        assert by_bound.year(one) == pytest.approx(by_chain.year(other), abs=within)


def test_a_harvest_above_the_load_without_spread_loses_nothing() -> None:
    found = Service((1.0,) * 12, 0.0, 0.0, NEVER_IDLE)
    assert found.at(np.array([1.1, 3.0]), np.array([0.5, 40.0])).lost.max() == 0.0


def test_no_harvest_serves_no_day() -> None:
    found = Service((1.0,) * 12, 0.4, 0.3, NEVER_IDLE).at(0 * ONE, 9 * ONE)
    assert found.lost[0] == 1.0
    assert found.unserved[0] == 1.0


def test_of_next_to_no_harvest_no_more_is_served_than_comes() -> None:
    cover = np.array([1e-6, 1e-3, 0.01, 0.02, 0.03])
    found = Service(tuple(SEASONS), 0.45, 0.4, NEVER_IDLE).at(cover, 0 * cover + 5.0)
    served = 1 - found.unserved
    # the least that is worked out, as well as a store's levels tell it
    assert served[3] == pytest.approx(0.02, rel=0.02)
    assert served[:3] == pytest.approx(cover[:3] * served[3] / 0.02, rel=1e-6)
    assert served[4] == pytest.approx(0.03, rel=0.02)
    assert found.lost.tolist() == [1.0] * 5


@pytest.mark.parametrize(
    ("cover", "store", "spread", "persistence"),
    [(1.13, 4.2, 0.6, 0.0), (1.3, 3.77, 0.8, 0.0), (1.6, 1.0, 0.5, 0.4), (1.1, 20.0, 0.7, 0.4)],
)
def test_months_that_are_all_alike_lose_as_many_days_as_a_simulation(
    cover: float, store: float, spread: float, persistence: float
) -> None:
    """Without a dark season it is runs of poor days that empty a store, so the distribution's tail
    counts; six classes of alike chance told up to a third too many here."""
    same = np.ones(12)
    simulated, error = lost_in_simulation(cover * same, store, spread, persistence)
    found = dawns(
        cover * same[None], store * ONE, gamma_days(spread * ONE, CLASSES), persistence * ONE,
        np.zeros((1, 12)),
    )  # fmt: skip
    lost = float(found.year(found.lost)[0])
    assert abs(lost - simulated) < 0.05 * simulated + 3 * error


def test_more_harvest_and_more_store_lose_no_more() -> None:
    found = Service(tuple(SEASONS), 0.45, 0.4, NEVER_IDLE)
    cover, store = np.meshgrid(np.linspace(0.6, 4, 12), np.geomspace(0.05, 40, 12))
    lost = found.at(cover, store).lost
    # a place's own grid tells it to some parts in a thousand
    assert np.diff(lost, axis=0).max() < 3e-3
    assert np.diff(lost, axis=1).max() < 1e-12


def test_where_nothing_comes_or_nothing_is_held_no_day_is_served_and_no_level_told() -> None:
    found = Service(tuple(SEASONS), 0.45, 0.4, NEVER_IDLE)
    cover, store = np.array([0.0, 2.0, 2.0]), np.array([5.0, 0.0, 5.0])
    told = found.at(cover, store)
    assert told.lost[:2].tolist() == [1.0, 1.0]
    filling = found.filling(cover, store)
    for empty in (filling.lacks, filling.square, filling.emptied, filling.dark / HALF):
        assert empty[:2].tolist() == [1.0, 1.0]
    assert filling.filled[:2].tolist() == filling.spare[:2].tolist() == [0.0, 0.0]
    assert told.unserved[0] == 1.0
    assert 0.1 < told.unserved[1] < 1.0  # by day the panel carries it
    assert 0.0 < filling.lacks[2] < 0.9
    assert told.lost[2] < 0.5


def test_what_is_known_ahead_is_all_that_is_asked_for() -> None:
    cover, store = np.linspace(0.8, 3, 7), np.geomspace(0.5, 20, 7)
    for load in ((), (np.linspace(0, 0.5, 7),)):
        found = Service(tuple(SEASONS), 0.45, 0.4, NEVER_IDLE)
        found.know(cover, store, *load)
        known = found.known
        assert known
        found.at(cover, store, *load)
        assert found.known == known


def test_where_no_day_is_lost_each_month_counts_by_what_it_brings() -> None:
    """Days on which nothing is harvested bring nothing: half of a January's count half."""
    idle = (0.5, *NEVER_IDLE[1:])
    found = Service(tuple(SEASONS), 0.45, 0.4, idle)
    brought = SEASONS * (1 - np.array(idle)) * MONTH_DAYS
    cover, store = np.full((1, 1), 20.0), np.full((1, 1), 100.0)
    for month in range(12):
        more = np.zeros((12, 1))
        more[month] = 0.2
        moved, _ = found.lean(cover, store, more, np.zeros(1), np.zeros(1))
        assert moved[0, 0] == pytest.approx(0.2 * brought[month] / brought.sum(), rel=1e-6)


def test_days_of_a_class_keep_mean_and_spread() -> None:
    for spread in (0.05, 0.45, 1.2):
        days = gamma_days(spread * ONE, CLASSES)
        beside = days.values[0] - 1
        assert days.chances[0].sum() == pytest.approx(1, rel=1e-12)
        assert days.chances[0] @ beside == pytest.approx(0, abs=1e-9)
        assert np.sqrt(days.chances[0] @ beside**2) == pytest.approx(spread, rel=1e-6)
        # the skewness of a gamma distribution is twice its spread
        assert days.chances[0] @ beside**3 == pytest.approx(2 * spread**4, rel=1e-4)
        assert (days.values >= 0).all()
        assert (np.diff(days.values[0]) > 0).all()


def test_leanings_tell_what_another_pattern_would() -> None:
    """A brighter December by the first order against a chain of its own."""
    first = Service(tuple(SEASONS), 0.45, 0.4, NEVER_IDLE)
    mean = 1.8 * float(SEASONS @ MONTH_DAYS / YEAR_DAYS)
    brighter = SEASONS.copy()
    brighter[11] *= 1.1
    other = 1.8 * float(brighter @ MONTH_DAYS / YEAR_DAYS)
    told = (brighter / (brighter @ MONTH_DAYS)) / (SEASONS / (SEASONS @ MONTH_DAYS))
    cover, store = np.array([[other]]), np.array([[4.0]])
    moved, _ = first.lean(cover, store, np.log(told)[:, None], np.zeros(1), np.zeros(1))
    lost = float(first.at(cover * np.exp(moved), store).lost[0, 0])
    own = float(Service(tuple(brighter), 0.45, 0.4, NEVER_IDLE).at(cover, store).lost[0, 0])
    before = float(first.at(np.array([[mean]]), store).lost[0, 0])
    assert own < before / 1.05
    # the first order finds the move to a quarter of it
    assert lost - before == pytest.approx(own - before, rel=0.25)


@pytest.mark.parametrize("spread", [0.0, 0.1, 0.45, 0.8])
def test_no_more_is_unserved_than_days_are_lost(spread: float) -> None:
    """Between the places of the lattice, where lost days fall far faster than straight."""
    found = Service((1.0,) * 12, spread, 0.2, NEVER_IDLE)
    cover, store = np.meshgrid([0.6, 1.02, 1.05, 1.3, 2.0], [0.6, 3.3, 17.0, 44.0])
    fared = found.at(cover, store)
    assert (fared.unserved <= fared.lost).all()
    assert (fared.unserved[:, 0] > 0.1).all()


def test_answers_of_another_run_are_taken_as_they_are() -> None:
    """Told as text and learned again: the same to the last bit, and nothing worked out anew."""
    pattern = tuple(SEASONS.tolist()), 0.45, 0.4, NEVER_IDLE
    cover, store = np.array([[0.9, 1.4, 3.0]]), np.array([[2.0, 5.0, 9.0]])
    pull, months = np.array([[0.0, 0.1, 0.3]]), np.ones((12, 3)) * 0.1
    first = Service(*pattern)
    found = first.at(cover, store, pull)
    moved = first.lean(cover, store, months, np.array([0.1]), np.array([0.0]))
    text = first.as_text().encode()
    again = Service(*pattern)
    again.learn(text)
    known = again.known
    assert known == first.known > 0
    for name in ("lost", "unserved"):
        assert (getattr(again.at(cover, store, pull), name) == getattr(found, name)).all()
    for name in ("lacks", "square", "filled", "spare", "emptied", "dark"):
        filling = first.filling(cover, store, pull)
        assert (getattr(again.filling(cover, store, pull), name) == getattr(filling, name)).all()
    then = again.lean(cover, store, months, np.array([0.1]), np.array([0.0]))
    assert all((a == b).all() for a, b in zip(moved, then, strict=True))
    assert again.known == known
    # what is no such text, or tells what cannot be, is as if there were none
    for bad in (
        b"",
        b"{}",
        b'{"fine": [], "coarse": []}',
        text[:-9],
        text.replace(b'{"fine":[[[', b'{"fine":[[[0,0,1e999,1.0,1.0],['),
        text.replace(b'{"fine":[[[', b'{"fine":[[[0,0,0.0,7.0,1.0],['),
    ):
        other = Service(*pattern)
        other.learn(bad)
        assert other.known == 0, bad[:40]


def test_studies_share_answers_and_put_the_first_patterns_away() -> None:
    """Each object of answers stands by itself: what one has found another knows from a shelf
    alone."""
    kept: dict[str, str] = {}

    class Boxes:
        def read(self, pattern: str) -> bytes | None:
            return kept[pattern].encode() if pattern in kept else None

        def write(self, pattern: str, text: str) -> None:
            kept[pattern] = text

    pattern = tuple(SEASONS.tolist()), 0.45, 0.4, NEVER_IDLE
    one = Services(Boxes())
    assert one.of(*pattern) is one.of(*pattern)
    found = one.of(*pattern).at(1.4 * ONE, 3 * ONE).lost
    others = [one.of(pattern[0], 0.5, k / (FIRST + 1), NEVER_IDLE) for k in range(FIRST)]
    for other in others:
        other.at(1.4 * ONE, 3 * ONE)
    assert Services().of(*pattern).known == 0
    assert Services(Boxes()).of(*pattern).known == 0  # nothing is kept unasked
    one.put_away()
    assert set(kept) == {one.of(*pattern).pattern, *(o.pattern for o in others[:-1])}
    again = Services(Boxes()).of(*pattern)
    assert again.known == one.of(*pattern).known > 0
    assert (again.at(1.4 * ONE, 3 * ONE).lost == found).all()
    kept.clear()
    one.put_away()  # what is kept already is not written again
    assert not kept


def test_chances_are_those_of_the_normal_distribution() -> None:
    """Against another library's, to the last digits but one."""
    one = Service(tuple(SEASONS.tolist()), 0.45, 0.4, NEVER_IDLE)
    cover, store = np.full((1, 40), 1.6), np.linspace(1.0, 20.0, 40)[None]
    lost = one.at(cover, store).lost
    cell = one._near(cover, store, 0)
    probit = cell.along_cubics({c: one._fine[0][c][0] for c in cell.corners})
    inside = (lost > 0) & (lost < 1)
    assert inside.sum() > 10
    assert lost[inside] == pytest.approx(ndtr(probit)[inside], rel=1e-13)
    assert (lost[~inside] == np.round(ndtr(probit)[~inside])).all()


@pytest.mark.parametrize("spread", [0.1, 0.3, 0.6])
def test_between_places_of_the_lattice_days_are_lost_as_by_the_chain(spread: float) -> None:
    """Places drawn over cover and store where 0.2 to 10 % of the days are lost, against the chain
    gone through at each of them: neither too few nor too many in the median."""
    rng = np.random.default_rng(4)
    by_month = np.array((0.9, 1.6, 2.7, 3.9, 4.8, 5.3, 5.4, 4.7, 3.4, 2.0, 1.1, 0.7))
    service = Service(tuple(by_month / by_month.mean()), spread, 0.4, (0.0,) * 12)
    cover = np.exp(rng.uniform(np.log(0.9), np.log(6.0), 300))
    store = np.exp(rng.uniform(np.log(0.8), np.log(60.0), 300))
    shares = by_month / (by_month @ MONTH_DAYS / YEAR_DAYS)
    ones = np.ones(300)
    days = gamma_days(spread * ones, service.classes)
    found = dawns(cover[:, None] * shares, store, days, 0.4 * ones, np.zeros((300, 12)))
    lost = found.year(found.lost)
    some = (lost > 0.002) & (lost < 0.1)
    assert some.sum() > 30
    off = service.at(cover[some], store[some]).lost / lost[some] - 1
    tenth, middle, last = np.percentile(off, [10, 50, 90])
    assert abs(middle) < 0.001
    assert tenth > -0.005
    assert last < 0.02
    assert np.abs(off).max() < 0.08


def test_cubics_go_through_their_places_and_keep_between_them() -> None:
    """Lines and parabolas are told exactly, whatever the steps; what turns is not passed."""
    x = [np.array([one]) for one in (0.0, 0.5, 0.8, 2.0)]
    at = np.linspace(0.5, 0.8, 7)

    def told(y: list[float]) -> Array:
        return _cubic(x, [np.array([one]) for one in y], at)

    assert told([3.0, 2.0, 1.4, -1.0]) == pytest.approx(3 - 2 * at, abs=1e-14)
    # a parabola's slopes are those of its parabolas
    assert told([float(one[0] ** 2) for one in x]) == pytest.approx(at**2, abs=1e-14)
    # level where the lines turn, and within both values behind a step
    for y in (
        [0.0, 1.0, 1.0, 0.0],
        [0.0, 0.0, 1.0, 1.0],
        [0.0, 1.0, 9.0, 9.01],
        [5.0, 1.0, 2.0, 0.0],
    ):
        found = told(y)
        assert (found[0], found[-1]) == pytest.approx((y[1], y[2]))
        assert (np.diff(found) * np.sign(y[2] - y[1]) >= 0).all()
    # at an end of the axis the slope is the line's
    x[0] = x[1]
    assert told([2.0, 2.0, 1.4, 0.2]) == pytest.approx(2 - 2 * (at - 0.5) + 0.0, abs=0.05)
    x[3] = x[2]
    assert told([2.0, 2.0, 1.4, 1.4]) == pytest.approx(2 - 2 * (at - 0.5), abs=1e-14)
