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
