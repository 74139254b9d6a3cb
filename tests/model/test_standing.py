"""How full stores stand, by hand, and the rate of ageing over their levels against days lived."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from advisor.model.draws import Array
from advisor.model.served import Service
from advisor.model.standing import FADED, Filling, Nights
from advisor.model.store import MONTH_DAYS, YEAR_DAYS
from advisor.model.store_chain import HALF

ONE = np.ones((1, 1))
SEASONS = 1 + 0.45 * np.cos(2 * np.pi * (np.arange(12) - 5.5) / 12)


def filling(
    lacks: float = 0.0,
    square: float = 0.0,
    filled: float = 0.0,
    spare: float = 0.0,
    emptied: float = 0.0,
    dark: float = 0.0,
) -> Filling:
    """Of one store."""
    told = (lacks, square, filled, spare, emptied, dark)
    return Filling.of([one * ONE for one in told], ONE < 0, HALF)


def nights(
    night: float,
    taken: float,
    deepest: float,
    first: float | None = None,
    falls: float = 0.0,
    drawn: Callable[[Array], Array] | None = None,
) -> Nights:
    """Of one pack; nights take the same wherever it stands, but for full ones and as `drawn`."""
    return Nights(
        night=np.array([night]),
        taken=taken * ONE,
        first=(taken if first is None else first) * ONE,
        deepest=deepest * ONE,
        falls=falls * ONE,
        last=taken * ONE,
        drawn=drawn or (lambda depth: taken * ONE),
    )


def numbers(of: Nights, fillings: tuple[Filling, Filling], left: float = 1.0) -> Array:
    """Where it stays, (5, 3): share of the time, from and to which state of charge."""
    return np.array([[np.ravel(x)[0] for x in one] for one in of.stays(fillings, left)])


def test_three_levels_keep_mean_and_square() -> None:
    """Half of the days full, three tenths lack 0.4, a fifth empty: what stands for it is that."""
    of = filling(lacks=0.3 * 0.4 + 0.2, square=0.3 * 0.16 + 0.2, emptied=0.2, dark=0.05)
    lacks, often = of.low
    assert lacks[0, 0] == pytest.approx(0.4, rel=1e-12)
    assert often[0, 0] == pytest.approx(0.3, rel=1e-12)
    # a store that is always full, and one that is always empty
    for lacking in (0.0, 1.0):
        lacks, often = filling(lacks=lacking, square=lacking, emptied=lacking).low
        assert lacks[0, 0] == often[0, 0] == 0.0


def test_what_is_told_of_one_night_goes_for_others() -> None:
    """1 day of load beyond full: 1/(1 + n) of the light; lacking n/(1 + n) of a day of load."""
    of = filling(filled=0.6, spare=0.6 / 1.5, emptied=0.3, dark=0.3 * 0.5 / 1.5)
    for n in (0.25, 0.5, 0.7):
        assert of.full(np.array([n]))[0, 0] == pytest.approx(0.6 / (1 + n), rel=1e-12)
        assert of.empty(np.array([n]))[0, 0] == pytest.approx(1 / (1 + n), rel=1e-12)
    none = filling()
    assert none.full(np.array([0.5]))[0, 0] == none.empty(np.array([0.5]))[0, 0] == 0.0


def test_where_a_pack_stays_by_hand() -> None:
    """A pack that gives 0.8, a night 0.2 of it all; 0.5 of its days full, 0.2 empty."""
    of = filling(0.32, 0.248, filled=0.5, spare=0.5 / 1.5, emptied=0.2, dark=0.2 * 0.5 / 1.5)
    told = numbers(nights(0.5, 0.2, 0.8), (of, of))
    still, dry = 0.5 * 0.5 / 1.5, 0.2 * 0.5 / 1.5
    top = 1 - 0.4 * 0.6
    by_hand = [
        (still, 1.0, 1.0),
        (0.5 - still, 0.8, 1.0),
        (0.3, top - 0.2, top),
        (0.2 - dry, 0.2, 0.2 + 0.2 * (1 - 1 / 1.5)),
        (dry, 0.2, 0.2),
    ]
    assert told == pytest.approx(np.array(by_hand), rel=1e-12)
    assert told[:, 0].sum() == pytest.approx(1.0, rel=1e-12)
    # of half the capacity a night takes twice as much
    half = numbers(nights(0.5, 0.2, 0.8, first=0.3), (of, of), 0.5)
    assert half[1, 1] == pytest.approx(1 - 0.6, rel=1e-12)
    assert half[2, 2] - half[2, 1] == pytest.approx(0.4, rel=1e-12)


def test_energy_that_lacks_is_of_charge_by_the_voltage() -> None:
    """From 4 V to 2 V straight: half of the energy is less than half of the charge."""
    falls = 1 / 3
    of = filling(lacks=0.5, square=0.25)
    q = 1 - numbers(nights(0.5, 0.0, 1.0, falls=falls), (of, of))[2, 2]
    # the energy of 4 V - 2 V q down to there is half of 3 V
    assert 4 * q - q * q == pytest.approx(1.5, rel=1e-12)


def test_a_store_that_fades_stands_as_between_the_two_that_are_told() -> None:
    fresh, faded = filling(lacks=0.2, square=0.04), filling(lacks=0.4, square=0.16)
    for left, lacks in ((1.0, 0.2), (sum(FADED) / 2, 0.3), (FADED[1], 0.4), (0.4, 0.4)):
        often, _, top = numbers(nights(0.5, 0.0, 1.0), (fresh, faded), left)[2]
        assert often * (1 - top) == pytest.approx(lacks, rel=1e-12)


def test_all_that_is_told_of_two_stores_lies_straight_between_them() -> None:
    names = ("lacks", "square", "filled", "spare", "emptied", "dark")
    first = dict(zip(names, (0.2, 0.1, 0.5, 0.3, 0.04, 0.01), strict=True))
    last = dict(zip(names, (0.4, 0.3, 0.1, 0.05, 0.08, 0.03), strict=True))
    found = filling(**first).between(filling(**last), 0.25)
    wanted = {name: 0.75 * first[name] + 0.25 * last[name] for name in names}
    assert {name: float(getattr(found, name)[0, 0]) for name in names} == pytest.approx(wanted)
    assert found.night == HALF


def test_nights_that_are_cut_short_are_cycles_less_deep() -> None:
    """0.5 full and 1.2 as deep, 0.3 mean, 0.2 of which a third is left: two thirds of them evenly
    from none to all; by a power of 1.5."""
    of = filling(0.32, 0.248, emptied=0.2, dark=0.2 * 0.5 * 2 / 3)
    found = nights(0.5, 0.2, 0.8, first=0.24).cycles((of, of), np.array([1.5]))
    by_hand = 0.5 * 1.2**1.5 + 0.3 + 0.2 * (2 / 3) / 2.5
    assert float(found[0, 0]) == pytest.approx(by_hand, rel=1e-12)
    # evenly from a half to all where three quarters are left
    of = filling(0.2, 0.2, emptied=0.2, dark=0.2 * 0.5 * 0.2)
    lasts = 1 - of.empty(np.array([0.5]))[0, 0]
    assert lasts == pytest.approx(0.8)
    found = nights(0.5, 0.2, 0.8).cycles((of, of), np.array([2.0]))
    # of 0.6 to 1 the mean square
    assert float(found[0, 0]) == pytest.approx(0.8 + 0.2 * (1 - 0.6**3) / 0.4 / 3, rel=1e-12)
    # and of those that never empty it none is cut short
    of = filling(emptied=0.2, dark=0.0, lacks=0.2, square=0.2)
    found = nights(0.5, 0.2, 0.8).cycles((of, of), np.array([1.5]))
    assert float(found[0, 0]) == pytest.approx(1.0, rel=1e-8)


def test_a_night_takes_what_goes_at_its_depth() -> None:
    """A leak that is less the lower the store stands: 0.2 of all at full, 0.1 when empty."""

    def drawn(depth: Array) -> Array:
        return 0.2 - 0.1 * depth

    of = filling(0.3 * 0.5, 0.3 * 0.25)
    found = nights(0.5, 0.15, 1.0, first=0.19, drawn=drawn)
    told = numbers(found, (of, of))
    # half of what a mean night leaves is lacking; the middle of the night stands half of 0.19 lower
    dusk = 0.5 * 0.85
    takes = 0.2 - 0.1 * (dusk + 0.095)
    assert told[2, 1:] == pytest.approx([1 - dusk - takes, 1 - dusk], rel=1e-12)
    counts = found.cycles((of, of), np.array([1.0]))
    # of a life it is told at 0.88 of the capacity, of which a night is more
    dusk = 0.5 * (1 - 0.15 / 0.88)
    takes = 0.2 - 0.1 * (dusk + 0.095 / 0.88)
    assert float(counts[0, 0]) * 0.15 == pytest.approx(0.7 * 0.19 + 0.3 * takes, rel=1e-12)


def lived(
    cover: Array, store: float, night: float, spread: float, persistence: float
) -> tuple[float, float, float]:
    """Mean state of charge of a store and of its square, and the share of nights' load that is
    carried, of 400 devices over four years after one: fine steps of days of load, energy alone."""
    rng = np.random.default_rng(5)
    shape, size, steps = spread**-2, 400, 40
    whole = store + night
    sky = rng.gamma(shape, 1 / shape, size)
    level = np.full(size, whole)
    total, dark = np.zeros(2), 0.0
    for year in range(5):
        for month in range(12):
            for _ in range(MONTH_DAYS[month]):
                anew = rng.random(size) >= persistence
                sky = np.where(anew, rng.gamma(shape, 1 / shape, size), sky)
                gain = cover[month] * sky / (1 - night)
                for light, length in ((True, 1 - night), (False, night)):
                    for _ in range(steps // 2):
                        step = length / (steps // 2)
                        last = level
                        level = np.clip(level + step * (light * gain - 1), 0.0, whole)
                        if year:
                            middle = (last + level) / 2 / whole
                            total += step * np.array([middle.mean(), (middle**2).mean()])
                            dark += (not light) * float((last - level).mean())
    days = 4 * YEAR_DAYS
    return total[0] / days, total[1] / days, dark / days / night


@pytest.mark.parametrize(
    ("scale", "store", "night"),
    [(2.2, 3.0, 0.5), (1.3, 4.0, 0.4), (1.3, 1.5, 0.6), (1.05, 6.0, 0.35), (3.0, 0.8, 0.65)],
)
def test_levels_are_those_of_days_that_are_lived(scale: float, store: float, night: float) -> None:
    """Of the mean state of charge, its mean square and what nights take; up to a third is lost."""
    cover = scale * SEASONS
    mean, square, carried = lived(cover, store, night, 0.5, 0.3)
    service = Service(tuple(SEASONS), 0.5, 0.3, (0.0,) * 12)
    year = float(cover @ MONTH_DAYS / YEAR_DAYS)
    of = service.filling(year * ONE, store * ONE)
    whole = store + night
    pack = nights(night, night / whole, 1.0)
    share, low, high = numbers(pack, (of, of)).T
    assert share.sum() == pytest.approx(1.0, rel=1e-12)
    assert share @ (low + high) / 2 == pytest.approx(mean, rel=0.015)
    assert share @ (low**2 + low * high + high**2) / 3 == pytest.approx(square, rel=0.015)
    nights_carried = float(pack.cycles((of, of), np.array([1.0]))[0, 0])
    assert nights_carried == pytest.approx(carried, rel=0.015)


def test_months_make_up_the_year() -> None:
    """What is told month by month is, by their days, what the lattice keeps of the year."""
    service = Service(tuple(SEASONS / SEASONS.mean()), 0.5, 0.3, (0.0,) * 12)
    by_month = service.filling_by_month(1.4, 5.0)
    found = service.by_month(1.4, 5.0)
    for name in ("lacks", "filled", "spare", "emptied", "dark"):
        told = getattr(by_month, name)
        assert told.shape == (1, 12)
        assert float(told[0] @ MONTH_DAYS / YEAR_DAYS) == pytest.approx(
            float(found.year(getattr(found, name))[0]), rel=1e-9
        )
    assert by_month.lacks[0, 0] > 3 * by_month.lacks[0, 6]
    # where nothing comes, or nothing is held beyond a night, it is empty all year
    for cover, store in ((0.0, 5.0), (1.4, -0.1)):
        none = service.filling_by_month(cover, store)
        assert (none.emptied == 1).all()
        assert (none.filled == 0).all()
