"""Ageing laws against published ones, by hand, and as laws must behave."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from advisor.catalogue.curves import Curve
from advisor.catalogue.schema_charge import Ageing as Stated
from advisor.catalogue.schema_charge import CalendarAgeing, CycleAgeing
from advisor.model.ageing import Ageing, Stress, ageing_of, before_use, stress
from advisor.model.draws import Sampler
from advisor.model.wear import Course, Worn, time_to
from advisor.model.workload import ProductFigures
from advisor.quantities import exact

R = 8.314  # J/(mol K)
DAY = 86400.0
YEAR = 365.0 * DAY


def at(*places: tuple[float, float]) -> ProductFigures:
    """A product that stands at temperatures for shares of the time."""
    return ProductFigures(
        name="probe",
        tasks=(),
        standing={},
        temperature=np.array([[t] for t, _ in places]),
        share=np.array([[s] for _, s in places]),
        hottest=max(t for t, _ in places),
        coldest=min(t for t, _ in places),
        rail=None,
        retain=(),
        ram_kib=None,
    )


def worn(law: Ageing, under: Stress, seconds: np.ndarray) -> Worn:
    """What a pack has lost after (R, N) s."""
    return Course(law, under, seconds).worn(seconds)


def doubling(joules: float, celsius: float) -> float:
    """Warming from a temperature that doubles what has an activation energy, J/mol, in K."""
    start = celsius + 273.15
    return 1 / (1 / start - math.log(2) * R / joules) - start


def calendar(loss: dict[float, float], **figures: float) -> CalendarAgeing:
    places = sorted(loss)
    curve = Curve(
        tuple(places),
        tuple(exact(loss[s], "share") for s in places),
        tuple(f"{s:g}" for s in places) if len(places) > 1 else (),
    )
    return CalendarAgeing(loss=curve, **quantities(figures))


def quantities(figures: dict[str, float]) -> dict[str, Any]:
    kinds = {"after": "time", "at": "temperature", "doubles_every": "temperature-step"}
    return {name: exact(value, kinds.get(name, "ratio")) for name, value in figures.items()}


def laws(product: ProductFigures, **stated: Any) -> Ageing:
    return ageing_of(Stated(**stated), product, Sampler("probe-cell"))


def cell(value: float) -> np.ndarray:
    return np.array([[value]])


def lost(law: Ageing, depth: float, every: float, seconds: float, full: float = 1.0) -> float:
    found = worn(law, stress(law, cell(depth), np.array([every]), full), cell(seconds))
    return float(found.calendar[0, 0] + found.cycles[0, 0])


def test_cycles_as_wang_and_others_published() -> None:
    """Wang et al. 2011, iron phosphate at C/2: 1,000 Ah at 60 degC cost 16.17 %."""
    joules = 31700 - 370.3 * 0.5
    ampere_hours = 500 * 0.9 * 2.2
    loss = 31630 * math.exp(-joules / (R * 298.15)) * ampere_hours**0.55 / 100
    figures = {"after": 500.0, "depth": 0.9, "at": 25.0, "exponent": 0.55, "depth_exponent": 1.0}
    stated = CycleAgeing(
        **quantities({"loss": loss, "doubles_every": doubling(joules, 25.0), **figures})
    )
    law = laws(at((60.0, 1.0)), cycles=stated)
    # other depths than the test's: only the charge counts
    for depth in (0.1, 0.5):
        cycles = 1000 / (depth * 2.2)
        assert lost(law, depth, DAY, cycles * DAY) == pytest.approx(0.1617, abs=5e-5)


def naumann(product: ProductFigures) -> Ageing:
    """Naumann et al. 2018, iron phosphate, as storage tests at 25 degC would tell it."""
    shape = [s / 8 for s in range(9)]
    losses = {s: 1.2571e-5 * (2.8575 * (s - 0.5) ** 3 + 0.60225) * math.sqrt(YEAR) for s in shape}
    return laws(
        product,
        calendar=calendar(
            losses, after=YEAR, at=25.0, doubles_every=doubling(17126.0, 25.0), exponent=0.5
        ),
    )


@pytest.mark.parametrize(("celsius", "full", "published"), [(25, 0.5, 0.04252), (40, 1.0, 0.0943)])
def test_storage_as_naumann_and_others_published(
    celsius: float, full: float, published: float
) -> None:
    law = naumann(at((celsius, 1.0)))
    assert lost(law, 0.0, YEAR, YEAR, full) == pytest.approx(published, abs=5e-6)


def test_storage_as_schmalstieg_and_others_published() -> None:
    """Schmalstieg et al. 2014, layered oxide: 365 d at 3.7 V and 25 degC cost 2.395 %.

    Stated as tests of 100 d at 50 degC, empty at 3.5 V and full at 3.9 V, straight between.
    """
    losses = {
        s: (7.543 * (3.5 + 0.4 * s) - 23.75) * 1e6 * math.exp(-6976 / 323.15) * 100**0.75
        for s in (0.0, 1.0)
    }
    step = doubling(6976 * R, 50.0)
    law = laws(
        at((25.0, 1.0)),
        calendar=calendar(losses, after=100 * DAY, at=50.0, doubles_every=step, exponent=0.75),
    )
    assert lost(law, 0.0, YEAR, YEAR, 0.5) == pytest.approx(0.02395, abs=5e-6)


BOTH: dict[str, Any] = {
    "calendar": calendar(
        {0.0: 0.02, 0.5: 0.03, 1.0: 0.06},
        after=YEAR,
        at=25.0,
        doubles_every=15.0,
        exponent=0.6,
        resistance=1.5,
    ),
    "cycles": CycleAgeing(
        **quantities(
            {
                "loss": 0.2,
                "after": 500.0,
                "depth": 0.8,
                "at": 25.0,
                "doubles_every": 30.0,
                "exponent": 0.7,
                "depth_exponent": 1.3,
                "resistance": 2.0,
            }
        )
    ),
}


def test_a_change_of_stress_carries_the_state() -> None:
    """By hand: what has been lost, not the time, says how fast it goes on."""
    z, months = 0.6, YEAR / 12
    warm, cool = laws(at((40.0, 1.0)), **BOTH), laws(at((10.0, 1.0)), **BOTH)
    mixed = laws(at((40.0, 0.25), (10.0, 0.75)), **BOTH)
    assert warm.calendar is not None
    assert cool.calendar is not None
    # three months in the heat, then nine in the cool from the equivalent time on
    first = lost(Ageing(warm.calendar, None, warm.end), 0.0, YEAR, 3 * months)
    year_cool = lost(Ageing(cool.calendar, None, cool.end), 0.0, YEAR, YEAR)
    equivalent = YEAR * (first / year_cool) ** (1 / z)
    then = year_cool * ((equivalent + 9 * months) / YEAR) ** z
    found = lost(Ageing(mixed.calendar, None, mixed.end), 0.0, YEAR, YEAR)
    assert found == pytest.approx(then, rel=1e-12)
    # neither the mean of both losses nor the loss at the mean temperature
    year_warm = lost(Ageing(warm.calendar, None, warm.end), 0.0, YEAR, YEAR)
    middle = laws(at((17.5, 1.0)), **BOTH)
    at_mean = lost(Ageing(middle.calendar, None, middle.end), 0.0, YEAR, YEAR)
    assert abs(found / (0.25 * year_warm + 0.75 * year_cool) - 1) > 0.01
    assert abs(found / at_mean - 1) > 0.01


def test_cycles_and_time_by_hand() -> None:
    """40 % a quarter, from full, at 25 degC, after 8 years: both laws by hand.

    With l of the capacity left that is down to a state of charge of 1 - 0.4/l: an equation that a
    library's solver goes through.
    """
    law = laws(at((25.0, 1.0)), **BOTH)
    under = stress(law, cell(0.4), np.array([YEAR / 4]))
    found = worn(law, under, cell(8 * YEAR))
    power = 1 / 0.6

    def cycled(years: float) -> float:
        return float(0.2 * (4 * years / 500 * (0.4 / 0.8) ** 1.3) ** 0.7)

    def rate(years: float, u: np.ndarray) -> np.ndarray:
        low = 1 - 0.4 / (1 - max(u[0], 0.0) ** 0.6 - cycled(years))
        charged = np.linspace(low, 1.0, 2001)
        loss = np.interp(charged, [0.0, 0.5, 1.0], [0.02, 0.03, 0.06])
        mean = np.trapezoid(loss**power, charged) / (1.0 - low)
        return np.array([mean])

    solved = solve_ivp(rate, (0.0, 8.0), [0.0], rtol=1e-9, atol=1e-12).y[0, -1] ** 0.6
    assert found.calendar[0, 0] == pytest.approx(solved, rel=1e-3)
    # what the state of charge of the rated capacity would come to
    assert found.calendar[0, 0] < 0.997 * (8 * float(rate(0.0, np.zeros(1))[0])) ** 0.6
    cycles = 0.2 * (32 / 500 * (0.4 / 0.8) ** 1.3) ** 0.7
    assert found.cycles[0, 0] == pytest.approx(cycles, rel=1e-12)
    rise = 1 + 1.5 * found.calendar[0, 0] + 2.0 * cycles
    assert found.resistance[0, 0] == pytest.approx(rise, rel=1e-12)


@pytest.mark.parametrize("begun", [0.0, 1e-4, 0.01])
@pytest.mark.parametrize("loss", [1e-3, 0.05, 0.3, 0.9])
def test_the_time_to_a_loss_gives_that_loss(begun: float, loss: float) -> None:
    law = laws(at((5.0, 0.5), (30.0, 0.5)), **BOTH)
    under = stress(law, np.array([[0.02], [0.4], [0.9]]), np.array([30 * DAY]))
    under = Stress(under.calendar, under.cycles, under.begun + begun)
    seconds = time_to(law, under, np.full((3, 1), loss))
    reached = worn(law, under, seconds)
    there = reached.calendar + reached.cycles
    assert (((there - loss) / loss < 1e-9) | (seconds == 0)).all()
    assert (there[seconds > 0] == pytest.approx(loss, rel=1e-9)) or begun > 0
    assert (there >= loss * (1 - 1e-9)).all()


def test_laws_that_are_not_stated_take_nothing() -> None:
    nothing = laws(at((25.0, 1.0)))
    under = stress(nothing, cell(0.5), np.array([DAY]))
    assert worn(nothing, under, cell(9 * YEAR)).left[0, 0] == 1
    assert time_to(nothing, under, cell(0.2))[0, 0] == np.inf


def test_storage_counts_before_use() -> None:
    """A year full at 25 degC costs the test's loss; a second one in use goes on from it."""
    law = laws(at((25.0, 1.0)), calendar=BOTH["calendar"])
    assert law.calendar is not None
    begun = before_use(Ageing(_stored(law), None, law.end), [np.array([YEAR])], [cell(0.0)])
    under = stress(law, cell(0.0), np.array([DAY]))
    later = Stress(under.calendar, under.cycles, under.begun + begun)
    assert worn(law, later, cell(0.0)).calendar[0, 0] == pytest.approx(0.06, rel=1e-9)
    assert worn(law, later, cell(YEAR)).calendar[0, 0] == pytest.approx(0.06 * 2**0.6, rel=1e-9)


@pytest.mark.parametrize(("warm", "gone"), [(50.0, 0.66), (40.0, 0.33), (40.0, 0.95)])
def test_storage_ages_by_states_of_charge_of_the_capacity_left(warm: float, gone: float) -> None:
    """Against many small steps: of 300 days in which a share of the rated capacity is lost."""
    loss = {0.0: 0.015, 0.5: 0.036, 1.0: 0.075}
    test = {"after": YEAR, "at": 25.0, "doubles_every": 16.0, "exponent": 0.75}
    law = laws(at((warm, 1.0)), calendar=calendar(loss, **test))
    assert law.calendar is not None
    seconds, steps = 300 * DAY, 20_000
    u = q = 0.0
    for k in range(steps):
        full = max(1 - gone * (k + 0.5) / steps / (1 - q), 0.0)
        at_test = float(np.interp(full, list(loss), list(loss.values())))
        u += at_test ** (1 / 0.75) * law.calendar.warmth[0] * seconds / steps / YEAR
        q = u**0.75
    aged = Ageing(_stored(law), None, law.end)
    begun = before_use(aged, [np.array([seconds])], [cell(gone)])
    assert float(np.ravel(begun)[0]) ** 0.75 == pytest.approx(q, rel=4e-3)
    # the same in two phases, of which the second goes on where the first has got to
    parts = Ageing(_stored(law, 2), None, law.end)
    halves = [np.array([seconds / 2])] * 2
    begun = before_use(parts, halves, [cell(gone / 2), cell(gone)])
    assert float(np.ravel(begun)[0]) ** 0.75 == pytest.approx(q, rel=2e-3)


def _stored(law: Ageing, phases: int = 1) -> Any:
    from dataclasses import replace

    assert law.calendar is not None
    return replace(law.calendar, stored=(law.calendar.warmth,) * phases)


def test_a_pack_that_is_charged_from_elsewhere() -> None:
    """3 % a day at 70 % full, until 80 % are left; its own end counts where it is higher."""
    law = laws(at((25.0, 1.0)), **BOTH)
    day = np.array([DAY])
    # held where it is, and taken from and given back by day
    still, daily = stress(law, cell(0.0), day, 0.7), stress(law, cell(0.03), day)
    under = Stress(still.calendar, daily.cycles, cell(0.0))
    found = time_to(law, under, cell(0.2))
    u_c = (0.03 + 0.03 * 0.4) ** (1 / 0.6) / YEAR
    u_y = 0.2 ** (1 / 0.7) * (0.03 / 0.8) ** 1.3 / 500 / DAY
    seconds = float(found[0, 0])
    assert (u_c * seconds) ** 0.6 + (u_y * seconds) ** 0.7 == pytest.approx(0.2, rel=1e-9)
    ended = Ageing(law.calendar, law.cycles, np.array([0.9]))
    assert time_to(ended, under, 1 - np.maximum(cell(0.8), ended.end))[0, 0] < seconds


@pytest.mark.parametrize("exponent", [0.5, 0.6, 0.75, 1.0])
def test_means_over_states_of_charge_against_a_quadrature(exponent: float) -> None:
    """Losses that rise, fall, and stand (nearly) still; within one piece, over several, nowhere."""
    places = {0.1: 0.02, 0.4: 0.05, 0.5: 0.05 * (1 + 3e-7), 0.7: 0.05, 0.9: 0.01}
    law = laws(
        at((25.0, 1.0)),
        calendar=calendar(places, after=YEAR, at=25.0, doubles_every=10.0, exponent=exponent),
    )

    def raised(charged: float) -> float:
        return float(np.interp(charged, list(places), list(places.values())) ** (1 / exponent))

    for low, high in (
        (0.0, 1.0),
        (0.15, 0.35),
        (0.38, 0.62),
        (0.45, 0.47),
        (0.8, 0.8001),
        (0.3, 0.3),
    ):
        under = stress(law, cell(high - low), np.array([DAY]), high)
        # no bound is passed in the first band, whose middle the depth is told at
        left = 1 - 0.04 / 2
        low_there = max(high - (high - low) / left, 0.0)
        span = high - low_there
        inside = [s for s in places if low_there < s < high]
        mean = (
            quad(raised, low_there, high, points=inside or None, epsrel=1e-12)[0] / span
            if span
            else raised(high)
        )
        assert under.calendar[0][0, 0] * YEAR == pytest.approx(mean, rel=1e-8)


def test_what_is_asked_up_to_a_time_is_that_without_an_end() -> None:
    law = laws(at((5.0, 0.5), (30.0, 0.5)), **BOTH)
    depth = np.array([[0.02], [0.4], [0.9]])
    under = stress(law, depth, np.array([30 * DAY]))
    for loss in (0.03, 0.2, 0.5):
        ever = time_to(law, under, np.full((3, 1), loss))
        for upto in (YEAR, 5 * YEAR, 50 * YEAR):
            within = Course(law, under, upto).time_to(np.full((3, 1), loss))
            expected = np.where(ever <= upto, ever, np.inf)
            assert within == pytest.approx(expected, rel=1e-10)
            some = np.array([2, 0])
            seconds = np.array([0.9, 0.3]) * upto
            whole = worn(law, under, np.array([[0.3], [1.0], [0.9]]) * upto).left[some, 0]
            assert Course(law, under, upto).worn(seconds, some).left == pytest.approx(
                whole, rel=1e-12
            )
