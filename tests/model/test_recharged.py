"""Packs that are charged again: by hand, day by day, and as they must behave."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest

from advisor.model.ageing import Ageing, Law
from advisor.model.battery import Life, life
from advisor.model.drain import Drain, Pack, Stored, joined
from advisor.model.recharged import on_one_charge, recharged, scaled
from tests.model.charge_simulator import DAY, Story, ranges, simulate
from tests.model.test_battery import YEAR, column, drain, ends, one, pack, seconds


def law(loss: dict[float, float], unit: float, z: float, rise: float = 0.0, **more: float) -> Law:
    places = sorted(loss)
    return Law(
        exponent=one(z),
        unit=one(unit),
        warmth=one(more.get("warmth", 1.0)),
        stored=(),
        rise=one(rise),
        charged=np.array(places),
        loss=column(*(loss[s] for s in places)),
        depth=one(more.get("depth", 1.0)),
        power=one(more.get("power", 1.0)),
    )


def lived(of: Pack, under: Drain) -> Life:
    return recharged(of, under, life(on_one_charge(of), under))


def charged(
    of: Pack, every: float, calendar: Law | None = None, cycles: Law | None = None, end: float = 0.0
) -> Pack:
    return replace(of, every_s=one(every), ageing=Ageing(calendar, cycles, one(end)))


TEN = drain([], rest=(10e-6, 0.0))  # 225 mAh last 2.5667 years
FULL = 0.225 * 3600 / 10e-6


def test_by_hand_a_charge_that_no_longer_lasts() -> None:
    """10 uA from 225 mAh, charged each year of 365.25 days: 38.96 % of the capacity is needed, so
    61.04 % may be lost; of 8 % in the first year with the square root of time that takes 58.2
    years."""
    calendar = law({1.0: 0.08}, YEAR, 0.5)
    found = lived(charged(pack(), YEAR, calendar), TEN)
    room = 1 - YEAR / FULL
    assert seconds(found) == pytest.approx(YEAR * (room / 0.08) ** 2, rel=1e-9)
    assert seconds(found) / YEAR == pytest.approx(58.21, abs=0.01)
    assert ends(found) == "interval"
    assert found.charged is not None
    assert found.charged.depth[0, 0] == pytest.approx(YEAR / FULL, rel=1e-9)
    assert found.charged.left[0, 0] == pytest.approx(YEAR / FULL, rel=1e-9)


@pytest.mark.parametrize("taken", [25.6e-6, 25.0e-6, 40e-6])
def test_storage_that_leaves_less_than_age_takes_leaves_nothing(taken: float) -> None:
    """A year of storage that takes nearly all, and age 8 % of the rest: no life is below none."""
    calendar = replace(law({1.0: 0.08}, YEAR, 0.5), stored=(one(1.0),))
    stored = Stored(one(YEAR), column(taken), column(0.0))
    of = replace(charged(pack(), YEAR, calendar), stored_loss_a=(one(0.0),))
    found = lived(of, replace(TEN, before=(stored,)))
    assert seconds(found) == 0.0
    assert found.charged is not None
    assert 0 <= found.charged.left[0, 0] <= 1


def test_by_hand_the_first_charge_of_a_pack_that_storage_has_aged() -> None:
    """A year in store takes 2.25 mAh of 225 and ages it by 8 %: 92 % are left, less 1 %."""
    calendar = replace(law({1.0: 0.08}, YEAR, 0.5), stored=(one(1.0),))
    stored = Stored(one(YEAR), column(0.01 * 0.225 * 3600 / YEAR), column(0.0))
    of = replace(charged(pack(), YEAR, calendar), stored_loss_a=(one(0.0),))
    found = lived(of, replace(TEN, before=(stored,))).charged
    assert found is not None
    assert found.one_s[0, 0] == pytest.approx((0.92 - 0.01) * FULL, rel=1e-9)
    assert found.run_s[0, 0] == pytest.approx(FULL, rel=1e-9)


def test_by_hand_capacity_that_is_to_be_left() -> None:
    """The same pack to 70 %: (0.3/0.08)^2 years; and by cycles: 20 % by 500 of 80 %."""
    calendar = law({1.0: 0.08}, YEAR, 0.5)
    found = lived(charged(pack(), YEAR, calendar, end=0.7), TEN)
    assert seconds(found) == pytest.approx(YEAR * (0.3 / 0.08) ** 2, rel=1e-9)
    assert ends(found) == "faded"
    cycles = law({0.0: 0.2}, 500.0, 0.5, depth=0.8, power=1.3)
    found = lived(charged(pack(), YEAR, cycles=cycles, end=0.9), TEN)
    each = (YEAR / FULL / 0.8) ** 1.3
    assert seconds(found) == pytest.approx(YEAR * 500 / each * (0.1 / 0.2) ** 2, rel=1e-9)


def test_without_ageing_only_the_charge_and_the_shelf_life_count() -> None:
    of = replace(pack(), shelf_life_s=one(9 * YEAR))
    found = lived(replace(of, every_s=one(YEAR)), TEN)
    assert (seconds(found), ends(found)) == (9 * YEAR, "shelf-life")
    # a charge that does not last to the next is all there is
    found = lived(replace(of, every_s=one(3 * YEAR)), TEN)
    assert seconds(found) == pytest.approx(FULL, rel=1e-12)
    assert ends(found) == "interval"


def test_resistance_that_rises_ends_it_earlier() -> None:
    """20 mA behind 10 ohm from 3.0 V to 2.7 V: 0.2 V sag when new, 0.3 V at one and a half times
    the resistance; until then flat, so the resistance alone ends it."""
    pulses = drain([(20e-3, 0.0, 10e-3)], rest=(2e-6, 0.0), cut_off=2.7)
    of = pack(ohms=(10.0, 10.0))
    calendar = law({1.0: 0.04}, YEAR, 0.5, rise=5.0)
    found = lived(charged(of, YEAR / 12, calendar), pulses)
    assert seconds(found) == pytest.approx(YEAR * (0.5 / 5 / 0.04) ** 2, rel=1e-5)
    assert ends(found) == "interval"
    without = lived(charged(of, YEAR / 12, law({1.0: 0.04}, YEAR, 0.5)), pulses)
    assert seconds(without) > 10 * seconds(found)


PULSES = drain([(20e-3, 0.0, 10e-3)], rest=(2e-6, 0.0), cut_off=2.7)  # 5.3 uA: 4.8 years
SAGS = YEAR * (0.5 / 5 / 0.04) ** 2  # 6.25 years, till half as much again is its resistance


@pytest.mark.parametrize("kept", [YEAR / 12, 0.99 * SAGS, 1.01 * SAGS, 2 * SAGS, 20 * YEAR])
def test_resistance_that_rises_within_the_first_interval_ends_it_there(kept: float) -> None:
    """The pack above, of a capacity that lasts far longer: whatever the interval, its pulses fall
    short as its resistance has risen by a half."""
    of = charged(pack(ohms=(10.0, 10.0), capacity_c=81000.0), kept, law({1.0: 0.04}, YEAR, 0.5, 5))
    found = lived(of, PULSES)
    assert seconds(found) == pytest.approx(SAGS, rel=1e-6)
    assert ends(found) == "interval"
    assert found.next_s[0, 0] == seconds(found)


def test_by_hand_a_first_charge_that_is_over_while_the_pack_ages() -> None:
    """8 % lost in a year and in proportion to time: a charge of 2.5667 years is over after t with
    t = 2.5667 (1 - 0.08 t), whichever later day the next is on; resistance that costs nothing
    changes nothing."""
    years = FULL / YEAR
    for rise in (0.0, 1.0):
        for every in (2.2 * YEAR, 3 * YEAR, 30 * YEAR):
            found = lived(charged(pack(), every, law({1.0: 0.08}, YEAR, 1.0, rise)), TEN)
            assert seconds(found) / YEAR == pytest.approx(years / (1 + 0.08 * years), rel=1e-7)
            assert ends(found) == "interval"
    carried = lived(charged(pack(), 2.1 * YEAR, law({1.0: 0.08}, YEAR, 1.0)), TEN)
    assert seconds(carried) > 2.1 * YEAR


@pytest.mark.parametrize("every", [YEAR / 12, YEAR, 2 * YEAR, 20 * YEAR])
@pytest.mark.parametrize("years", [1.0, 4.0, 6.0, 6.5, 9.0])
def test_resistance_that_rises_in_store_counts_from_the_first_day(
    years: float, every: float
) -> None:
    """Aged alike in store and in use, the pack above has what is left of its 6.25 years; stored
    for longer it cannot carry its pulses, and one that replaces it lasts as ever."""
    calendar = replace(law({1.0: 0.04}, YEAR, 0.5, 5.0), stored=(one(1.0),))
    of = charged(pack(ohms=(10.0, 10.0), capacity_c=81000.0), every, calendar)
    of = replace(of, stored_loss_a=(one(0.0),))
    before = (Stored(one(years * YEAR), column(1e-9), column(0.0)),)
    found = lived(of, replace(PULSES, before=before))
    left = max(SAGS - years * YEAR, 0.0)
    assert seconds(found) == pytest.approx(left, rel=1e-6, abs=1e-6 * SAGS if left else 0.0)
    assert found.next_s[0, 0] == pytest.approx(SAGS, rel=1e-6)
    assert ends(found) == "interval"
    assert found.charged is not None
    assert found.charged.first_low_v is not None
    low = 3.0 - 20e-3 * 10 * (1 + 5 * 0.04 * years**0.5)
    assert found.charged.first_low_v[0, 0] == pytest.approx(low, rel=1e-9)
    assert bool(found.charged.first_s[0, 0] == 0) is (left == 0)


def test_a_first_charge_sags_by_the_depth_that_storage_leaves() -> None:
    """From 3.1 V straight to 2.1 V, of which 0.3 V sag when new, to 2.5 V: a charge goes to a depth
    of 0.3, and of 0.27 once the resistance is a tenth greater, as it is after a year that takes 1 %
    of the capacity. All of it is ten years; storage takes 0.15."""
    pulses = drain([(30e-3, 0.0, 10e-3)], rest=(2e-6, 0.0), cut_off=2.5)
    mean = float(pulses.mean_constant_a[0, 0])
    of = pack(volts=(3.1, 2.1), ohms=(10.0, 10.0), capacity_c=mean * 10 * YEAR)
    calendar = replace(law({1.0: 0.01}, YEAR, 1.0, 10.0), stored=(one(0.0),))
    before = (Stored(one(YEAR), column(1.5 * mean), column(0.0)),)

    def years(every: float) -> float:
        aged = replace(charged(of, every * YEAR, calendar), stored_loss_a=(one(0.0),))
        found = lived(aged, replace(pulses, before=before))
        assert ends(found) == "interval"
        return seconds(found) / YEAR

    def root(a: float, b: float, c: float) -> float:
        return float(-b - np.sqrt(b * b - 4 * a * c)) / (2 * a)

    # t = 10 (0.3 - 0.03 t) (1 - 0.01 t) - 1.5, which is 1.13 years
    first = root(0.003, -1.33, 1.5)
    for every in (1.01 * first, 1.45, 8.0):
        assert years(every) == pytest.approx(first, rel=1e-6)
    # to a visit within them it comes, and from then on each charge begins full
    for every in (1.0, 0.99 * first):
        assert years(every) == pytest.approx(root(0.003, -0.33, 3 - every), rel=1e-6)


def test_rainflow_counts_an_interval_as_one_cycle() -> None:
    """ASTM E1049's example, and a pack's state of charge over intervals: the cycles that the law
    counts are those."""
    example = [-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0]
    assert ranges(example) == {3.0: 0.5, 4.0: 1.5, 6.0: 0.5, 8.0: 1.0, 9.0: 0.5}
    of = charged(pack(), YEAR, cycles=law({0.0: 0.2}, 500.0, 1.0), end=0.9)
    found = lived(of, TEN)
    assert found.charged is not None
    depth = float(found.charged.depth[0, 0])
    turns = [state for _ in range(12) for state in (1.0, 1.0 - depth)] + [1.0]
    counted = ranges(turns)
    assert counted == {round(depth, 9): 12.0}
    # of depth 1 in the test and in proportion to depth: what 12 of them cost
    years = 0.1 / (0.2 / 500 * depth)
    assert seconds(found) == pytest.approx(years * YEAR, rel=1e-9)


def invented(seed: int) -> Story:
    """A pack of figures at random, of a kind that is sold."""
    at = random.Random(seed)
    full, empty = at.uniform(3.4, 4.2), at.uniform(2.6, 3.2)
    cut = at.uniform(2.3, empty)
    capacity = at.uniform(0.3, 2.0) * 3600
    rest = at.uniform(5e-6, 60e-6)
    ohms = at.uniform(0.05, 3.0)
    pulse = at.uniform(1e-3, 0.4 * (empty - 2.2) / ohms / 1.5)
    cold = at.uniform(0.6, 1.0)
    every = at.uniform(0.1, 0.75) * cold * capacity / (rest * 2.2)
    return Story(
        capacity_c=capacity,
        empty_v=empty,
        full_v=full,
        ohms=ohms,
        empty_ohms=ohms * at.uniform(1.0, 2.5),
        cut_off_v=cut,
        least_capacity=cold,
        self_a=capacity * at.uniform(0.01, 0.1) / YEAR,
        rest_a=rest,
        rest_w=rest * at.uniform(0.0, 1.0),
        pulse_a=pulse,
        pulse_s=0.01,
        period_s=0.01 * pulse / (rest * at.uniform(0.1, 1.0)),
        every_s=min(every, 2 * YEAR),
        shelf_s=20 * YEAR,
        end=at.choice((0.0, 0.0, 0.6, 0.7)),
        places=((at.uniform(-15, 5), 0.3), (at.uniform(10, 40), 0.7)),
        calendar={
            "loss_empty": at.uniform(0.01, 0.03),
            "loss_full": at.uniform(0.03, 0.09),
            "after": YEAR,
            "at": 25.0,
            "step": at.uniform(9, 25),
            "z": at.uniform(0.45, 0.9),
            "rise": at.choice((0.0, 1.5, 4.0)),
        },
        cycles={
            "loss": at.uniform(0.1, 0.25),
            "after": at.uniform(20, 300),
            "depth": 0.8,
            "at": 25.0,
            "step": at.uniform(15, 40),
            "z": at.uniform(0.5, 1.0),
            "p": at.uniform(1.0, 1.5),
            "rise": at.choice((0.0, 2.0)),
        },
    )


def modelled(story: Story) -> tuple[Pack, Drain]:
    """The same for the code under test."""

    def warmth(of: dict[str, float]) -> float:
        return float(sum(s * story.factor(of, t) ** (1 / of["z"]) for t, s in story.places))

    use, rest = story.cycles, story.calendar
    of = replace(
        pack(
            volts=(story.full_v, story.empty_v),
            ohms=(story.ohms, story.empty_ohms),
            capacity_c=story.capacity_c,
            self_a=story.self_a,
        ),
        least_capacity=one(story.least_capacity),
        shelf_life_s=one(story.shelf_s),
    )
    calendar = law(
        {0.0: rest["loss_empty"], 1.0: rest["loss_full"]},
        rest["after"],
        rest["z"],
        rest["rise"],
        warmth=warmth(rest),
    )
    cycles = law(
        {0.0: use["loss"]},
        use["after"],
        use["z"],
        use["rise"],
        warmth=warmth(use),
        depth=use["depth"],
        power=use["p"],
    )
    states = drain(
        [(story.pulse_a, 0.0, story.pulse_s)],
        rest=(story.rest_a, story.rest_w),
        period=story.period_s,
        cut_off=story.cut_off_v,
    )
    return charged(of, story.every_s, calendar, cycles, story.end), states


SEEDS = [*range(4), *(pytest.param(s, marks=pytest.mark.slow) for s in range(4, 40))]


@pytest.mark.once
@pytest.mark.parametrize("seed", SEEDS)
def test_a_march_day_by_day_agrees(seed: int) -> None:
    """Within half a per cent, or a tenth of an interval: the model spreads what is lost in one
    evenly over it, while a pack loses more while it is full."""
    story = invented(seed)
    found = lived(*modelled(story))
    other = simulate(story)
    assert seconds(found) == pytest.approx(other.seconds, rel=5e-3, abs=0.1 * story.every_s)
    assert found.charged is not None
    if other.seconds > 30 * DAY and ends(found) == other.ends_by:
        apart = 5e-3 + 0.1 * story.every_s / other.seconds
        assert found.charged.calendar[0, 0] == pytest.approx(other.calendar, rel=apart)
        assert found.charged.cycles[0, 0] == pytest.approx(other.cycles, rel=apart)


@pytest.mark.parametrize("seed", range(12))
def test_what_no_pack_may_do(seed: int) -> None:
    of, states = modelled(invented(seed))
    found = lived(of, states)
    stated = of.ageing
    assert stated is not None
    assert stated.calendar is not None
    assert stated.cycles is not None
    assert found.charged is not None
    faster = replace(stated.calendar, loss=stated.calendar.loss * 1.1)
    often = replace(stated.cycles, loss=stated.cycles.loss * 1.1)
    grows = replace(stated.calendar, rise=stated.calendar.rise + 1.0)
    for worse in (
        replace(stated, calendar=faster),
        replace(stated, cycles=often),
        replace(stated, calendar=grows),
        replace(stated, end=stated.end + 0.05),
    ):
        assert seconds(lived(replace(of, ageing=worse), states)) <= seconds(found) * (1 + 1e-6)
    # a shorter interval takes less of each charge, and a charge of the new pack lasts as long
    assert of.every_s is not None
    sooner = lived(replace(of, every_s=of.every_s * 0.8), states)
    assert sooner.charged is not None
    assert sooner.charged.run_s == found.charged.run_s
    assert sooner.charged.depth[0, 0] < found.charged.depth[0, 0]
    # a little more of anything changes little, whatever ends it
    near = replace(stated, calendar=replace(stated.calendar, loss=stated.calendar.loss * 1.0001))
    assert seconds(lived(replace(of, ageing=near), states)) == pytest.approx(
        seconds(found), rel=2e-3
    )
    assert found.charged.left[0, 0] >= float(stated.end[0]) - 1e-9


def test_rows_and_draws_side_by_side_are_those_alone() -> None:
    packs = [modelled(invented(seed)) for seed in (1, 5, 9)]
    of, states = packs[0]
    for _, other in packs[1:]:
        both = joined([states, other])  # their tasks and periods are alike
        together = lived(of, both)
        alone = [lived(of, states), lived(of, other)]
        for row, found in enumerate(alone):
            assert together.life_s[row, 0] == pytest.approx(seconds(found), rel=1e-6)


def test_a_charge_that_lasts_longer_moves_the_life_by_the_laws() -> None:
    of = charged(pack(), YEAR, law({1.0: 0.08}, YEAR, 0.5))
    found = lived(of, TEN)
    factor = np.array([[0.9, 1.0, 1.3]])
    moved = scaled(found, of, np.array([0]), factor)
    assert moved[0] == pytest.approx(YEAR * ((1 - YEAR / FULL / factor[0]) / 0.08) ** 2, rel=1e-9)
    ended = lived(charged(pack(), YEAR, law({1.0: 0.08}, YEAR, 0.5), end=0.7), TEN)
    assert scaled(ended, of, np.array([0]), factor)[0] == pytest.approx([seconds(ended)] * 3)
