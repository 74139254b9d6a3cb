"""Guards, clips and empty cases of the model: just inside, on and just outside, by plain Python."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import ndtri

from advisor.model import served
from advisor.model.ageing import Ageing, Charged, Rates, Stress
from advisor.model.battery import Life
from advisor.model.drain import Drain, Pack
from advisor.model.draws import Array
from advisor.model.ends import INDEX
from advisor.model.gating import uses_of_rail
from advisor.model.lattice import COVER_STEPS, STORE_STEPS, Lattice
from advisor.model.meetings import _burst, task_peak
from advisor.model.plan import _idle_in_vain, _levels
from advisor.model.recharged import scaled
from advisor.model.relaxation import _run_down
from advisor.model.served import NEVER, PULLS, Service, _pulls, shifted
from advisor.model.store import MONTH_DAYS, YEAR_DAYS, dawns
from advisor.model.workload import ProductFigures
from tests.model.test_recharged import law

pytestmark = pytest.mark.once
RNG = np.random.default_rng


def some(**figures: Any) -> Any:
    return SimpleNamespace(**figures)


# Events -------------------------------------------------------------------------------------------


def test_the_peak_of_a_task_is_of_its_own_states_that_take_time() -> None:
    """Currents with powers at the cut-off, (2 rows, 4 states, 1 draw): 30 mW at 2 V are 15 mA."""
    constant = np.array([[1e-3, 5e-3, 90e-3, 70e-3], [2e-3, 1e-3, 90e-3, 70e-3]])[..., None]
    power = np.array([[30e-3, 0.0, 0.0, 0.0], [0.0, 30e-3, 0.0, 0.0]])[..., None]
    length = np.array([[1.0, 1.0, 0.0, 1.0], [1.0, 1.0, 0.0, 1.0]])[..., None]
    drain = some(
        constant_a=constant,
        power_w=power,
        duration_s=length,
        cut_off_v=np.array([[2.0], [2.5]]),
        tasks=(slice(0, 3), slice(3, 4)),
    )
    assert task_peak(cast(Drain, drain), 0).tolist() == pytest.approx(np.array([[16e-3], [13e-3]]))
    assert task_peak(cast(Drain, drain), 1).tolist() == pytest.approx(np.array([[70e-3], [70e-3]]))
    # behind no cut-off nothing is divided by it where no power is drawn
    at_zero = some(**{**vars(drain), "cut_off_v": np.zeros((2, 1)), "power_w": 0 * power})
    assert task_peak(cast(Drain, at_zero), 0).ravel() == pytest.approx([5e-3, 2e-3])


@pytest.mark.parametrize(
    ("busy", "events", "count"),
    [
        # the least n for which events x busy^n is at most one: 1,000 x 0.1^3 = 1, one more to wait
        (0.0999, 1000.0, 4),
        (0.1001, 1000.0, 5),
        (0.5, 4.0, 3),
        (0.4999, 4.0, 3),
        # as few as two are looked at where there are fewer
        (0.25, 1.0, 2),
        (0.0, 1e6, 2),
    ],
)
def test_how_many_events_come_right_behind_each_other(
    busy: float, events: float, count: int
) -> None:
    assert _burst(np.array([[busy]]), events)[0, 0] == count
    assert np.isfinite(_burst(np.ones((1, 1)), 10.0)).all()


@pytest.mark.parametrize("which", range(3))
def test_one_task_of_several_brings_chance_into_a_workload(which: int) -> None:
    def figures(**told: bool) -> ProductFigures:
        task = [some(random=False, by_chance=False) for _ in range(3)]
        for name, value in told.items():
            setattr(task[which], name, value)
        blank = dict.fromkeys(ProductFigures.__dataclass_fields__)
        return ProductFigures(**cast(Any, {**blank, "tasks": tuple(task)}))

    assert not figures().by_chance
    assert figures(by_chance=True).by_chance
    assert not figures(by_chance=True).waits
    assert figures(random=True).waits
    assert figures(random=True).by_chance


# Plans --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(40))
def test_idling_in_vain_is_told_state_by_state(seed: int) -> None:
    """By loops: of no use to idle in z where a state to sleep in draws no more in any option's
    event, at the fresh pack's voltage and at the nominal one, begins it with no more than its later
    states take, and wakes within half of a 10,000th of the period or of the deadline."""
    rng = RNG(seed)
    p, z, o, s = 2, 3, 2, 3
    sleeping, possible = rng.random((2, p, z)) < 0.9
    rests = rng.random((p, z)) < 0.5
    tasks, own, allowed = [], [], []
    for k in range(2):
        close = rng.choice([0.0, 1.0], p=[0.6, 0.4])
        rest_a, rest_w = rng.choice([1e-6, 2e-6], (p, z)), rng.choice([0.0, 2e-6], (p, z))
        shape = (p, z, o)
        tasks.append(
            some(
                charge_a=1e-4 + close * rng.choice([0.0, 2e-6], shape),
                charge_w=3e-4 + close * rng.choice([0.0, 6e-6], shape),
                rest_a=rest_a,
                rest_w=rest_w,
                a=rng.choice([1e-3, 2e-3], (*shape, s), p=[0.3, 0.7]),
                w=rng.choice([1e-3, 2e-3], (*shape, s), p=[0.3, 0.7]),
                length=0.1 + rng.choice([0.0, 4.9e-4, 5.1e-4], shape, p=[0.5, 0.4, 0.1]),
            )
        )
        within = None if k else np.array([10.0])
        own.append(some(period=np.array([[10.0], [20.0]][k]), finish_within=within))
        allowed.append(rng.random(shape) < 0.9)
    rows: Any = some(tasks=tasks, fresh_v=np.full(p, 3.2), nominal_v=np.full(p, 3.0))
    found = _idle_in_vain(
        rows, cast(Any, some(tasks=own)), sleeping & ~rests, rests & possible, allowed
    )
    limit = [10.0, 20.0]

    def useless(i: int, idle: int, state: int) -> bool:
        for k, task in enumerate(tasks):
            for n in range(o):
                if not allowed[k][i, idle, n]:
                    continue
                for volts in (3.2, 3.0):
                    whole = [
                        task.charge_a[i, at, n]
                        + task.charge_w[i, at, n] / volts
                        + (task.rest_a[i, at] + task.rest_w[i, at] / volts) * own[k].period[0]
                        for at in (state, idle)
                    ]
                    if whole[0] > whole[1]:
                        return False
                for draw in (task.a, task.w):
                    if draw[i, state, n, 0] > draw[i, state, n, 1:].max():
                        return False
                if task.length[i, state, n] - task.length[i, idle, n] > 0.5e-4 * limit[k]:
                    return False
        return True

    for i in range(p):
        for idle in range(z):
            exact = any(
                rests[i, state] and possible[i, state] and useless(i, idle, state)
                for state in range(z)
            )
            assert found[i, idle] == (exact and sleeping[i, idle] and not rests[i, idle])


# what is changed of a state to sleep in that is just as good as idling -> still in vain to idle
SLEEPING: dict[str, tuple[dict[str, Any], bool]] = {
    "as good": ({}, True),
    "a greater charge": ({"charge_a": 1e-5}, False),
    "a smaller charge": ({"charge_a": -1e-5}, True),
    "a greater energy": ({"charge_w": 1e-5}, False),
    # a charge is its energy over the voltage: 10 uC are 30 uJ at 3 V, 32 uJ at 3.2 V
    "enough less energy": ({"charge_a": 1e-5, "charge_w": -3.25e-5}, True),
    "enough at one end": ({"charge_a": 1e-5, "charge_w": -3.1e-5}, False),
    "enough at neither": ({"charge_a": 1e-5, "charge_w": -2.9e-5}, False),
    "not at the other end": ({"charge_a": -1e-5, "charge_w": 3.1e-5}, False),
    "a greater current at rest": ({"rest_a": 1e-7}, False),
    "a greater power at rest": ({"rest_w": 1e-7}, False),
    # over a period of 10 s, 0.1 uA are 1 uC
    "what rest takes the event saves": ({"rest_a": 1e-7, "charge_a": -1.01e-6}, True),
    "what rest takes it does not quite": ({"rest_a": 1e-7, "charge_a": -0.99e-6}, False),
    "the greatest current as it wakes": ({"wake_a": 2.1e-3}, False),
    "a current as great as later": ({"wake_a": 2e-3}, True),
    "the greatest power as it wakes": ({"wake_w": 2.1e-3}, False),
    "a power as great as later": ({"wake_w": 2e-3}, True),
    "just quick enough": ({"length": 0.99 * 0.5e-4 * 4.0}, True),
    "just too slow": ({"length": 1.01 * 0.5e-4 * 4.0}, False),
    "slower, and no deadline": ({"length": 0.99 * 0.5e-4 * 10.0, "deadline": None}, True),
    "too slow for the period": ({"length": 1.01 * 0.5e-4 * 10.0, "deadline": None}, False),
    "what is not allowed": ({"charge_a": 1e-5, "allowed": False}, True),
}


@pytest.mark.parametrize("case", SLEEPING)
def test_what_makes_it_in_vain_to_idle(case: str) -> None:
    changed, in_vain = SLEEPING[case]
    told: dict[str, Any] = {"deadline": 4.0, "allowed": True, **changed}

    def pair(of: float, key: str) -> Array:
        return np.array([of + told.get(key, 0.0), of])

    draws = {
        key: np.array([[[[told.get(f"wake_{key}", 1e-3), 1e-3, 2e-3]], [[1e-3, 1e-3, 2e-3]]]])
        for key in "aw"
    }
    task = some(
        charge_a=pair(1e-4, "charge_a")[None, :, None],
        charge_w=pair(3e-4, "charge_w")[None, :, None],
        rest_a=pair(1e-6, "rest_a")[None],
        rest_w=pair(1e-6, "rest_w")[None],
        length=pair(0.1, "length")[None, :, None],
        **draws,
    )
    within = told["deadline"]
    own = some(
        period=np.array([10.0]), finish_within=None if within is None else np.array([within])
    )
    found = _idle_in_vain(
        cast(Any, some(tasks=[task], fresh_v=np.array([3.2]), nominal_v=np.array([3.0]))),
        cast(Any, some(tasks=[own])),
        np.array([[False, True]]),
        np.array([[True, False]]),
        [np.array([[[True], [bool(told["allowed"])]]])],
    )
    assert found.tolist() == [[False, in_vain]]


def test_levels_of_the_cut_off_are_those_that_a_point_or_a_state_sets() -> None:
    """A part with floor 0.6 V, points from 2.0, 0.7 and 2.4 V of which the last is not used, and
    sleep states from 2.2, 2.0 V and, asleep never, 3 V; another with floor 2.1 V that uses all."""
    sleeping = np.array([[True, True, False], [True, True, True]])
    sleep_min = np.array([[2.2, 2.0, 3.0], [2.2, 2.0, 2.0]])
    least = [np.array([[2.0, 0.7, 2.4], [2.0, 0.7, 2.4]])]
    fed = [np.array([[True, True, False], [True, True, True]])]
    floor = np.array([0.6, 2.1])

    def told(least: list[Array]) -> Any:
        return _levels(floor, sleeping, sleep_min, least, fed[: len(least)]).T.tolist()

    first, second = told(least)
    assert sorted(set(first)) == first[:1] + sorted(set(first[1:])) == [0.6, 0.7, 2.0, 2.2]
    assert sorted(set(second)) == [2.1, 2.2, 2.4]
    assert first == sorted(first)
    assert second == sorted(second)
    # a level at which nothing moves is none
    assert len(first) == 4
    assert told([]) == [[0.6], [2.1]]


# Packs that are charged ---------------------------------------------------------------------------


def test_of_a_pack_that_is_charged_only_what_the_capacity_lets_it_carry_moves() -> None:
    """Capacity lost evenly, 10 % a year: an interval of 0.6 years of a charge of 1.5 years carries
    until 60 % is lost, 6 years; were a charge to last twice as long until 80 % is, 8 years."""
    one, rows = np.ones(1), np.ones((5, 1))
    rate = np.array([[0.1], [0.1], [0.1], [0.1], [0.0]])
    story = Charged(
        every_s=np.array([0.6]),
        first_s=rows,
        run_s=np.array([[1.5], [1.5], [1.5], [0.5], [1.5]]),
        depth=rows,
        calendar=rows,
        cycles=rows,
        resistance=rows,
        shelf_s=np.array([[9.0], [7.0], [9.0], [9.0], [9.0]]),
        under=Stress(Rates((1.0,), lambda _: rate), 0 * rate, 0 * rate),
    )
    names = ("interval", "interval", "faded", "interval", "interval")
    ends = np.array([[INDEX[name]] for name in names], dtype=np.int8)
    life = some(life_s=np.array([[6.0], [6.0], [6.0], [0.4], [5.0]]), ends_by=ends, charged=story)
    ageing = Ageing(law({1.0: 0.1}, 1.0, 1.0), None, np.zeros(1))
    pack = some(every_s=np.array([0.6]), ageing=ageing, capacity_c=one)

    def told(rows: list[int], factor: float, of: Any = life, by: Any = pack) -> Any:
        factors = np.full((len(rows), 1), factor)
        return scaled(cast(Life, of), cast(Pack, by), np.array(rows), factors).ravel().tolist()

    # by its shelf life no longer; what fades not at all, though others move beside it; nor what
    # does not carry the first interval, nor what does not age
    assert told([0, 1, 2, 3, 4], 2.0) == pytest.approx([8.0, 7.0, 6.0, 0.4, 5.0])
    assert told([2], 2.0) == [6.0]
    # a charge that lasts no longer than an interval carries nowhere
    assert told([0, 2], 0.4) == pytest.approx([0.0, 6.0])
    assert told([0], 0.3) == [0.0]
    assert told([0], 3.0, some(life_s=life.life_s, charged=None, ends_by=ends)) == [18.0]
    assert told([0], 3.0, by=some(every_s=None)) == [18.0]


# A reservoir --------------------------------------------------------------------------------------


@pytest.mark.parametrize("part", [0.05, 0.5, 0.95])
@pytest.mark.parametrize(
    ("upper", "product", "kappa", "first"),
    [
        # no place of rest; two, and it starts below both; both below zero; at zero
        (2.0, 1.2, 0.3, 1.8),
        (3.0, 1.0, 0.02, 0.37),
        (3.0, 1.0, 0.01, 0.2),
        (-1.0, 0.2, 0.1, 1.5),
        (-3.0, 0.2, 0.1, 0.9),
        (0.0, 0.5, 0.2, 1.0),
    ],
)
def test_a_voltage_that_runs_down_takes_its_time(
    upper: float, product: float, kappa: float, first: float, part: float
) -> None:
    """Time constants from first to v are the integral of (v - kappa product/v) /
    (v^2 - upper v + product) over v, by quadrature."""

    def told(first: float, span: float) -> float:
        values = (np.array([x]) for x in (upper, product, kappa, first, span))
        with np.errstate(all="ignore"):  # as its caller does
            return float(_run_down(*values)[0])

    def time(v: float) -> float:
        return (v - kappa * product / v) / (v * v - upper * v + product)

    floor = math.sqrt(kappa * product)
    whole, _ = quad(time, floor, first)
    found = told(first, part * whole)
    assert floor < found < first
    taken, _ = quad(time, found, first)
    assert taken == pytest.approx(part * whole, rel=1e-6)
    # it has collapsed once no more time is left until the floor, and at the floor at once
    assert np.isfinite(told(first, 0.999 * whole))
    assert np.isnan(told(first, 1.001 * whole))
    assert np.isnan(told(floor, 1e-3))


def test_a_voltage_above_its_lower_place_of_rest_does_not_run_down() -> None:
    """v^2 - 3 v + 1 is nought at 0.382 and 2.618: from above the first it is held up."""
    for first, held in ((0.381, False), (0.383, True), (2.0, True)):
        values = (np.array([x]) for x in (3.0, 1.0, 0.02, first, 1e-3))
        with np.errstate(all="ignore"):
            assert np.isnan(_run_down(*values)[0]) == held


# Stores -------------------------------------------------------------------------------------------

SHAPE = tuple(1 + 0.5 * math.cos(2 * math.pi * m / 12) for m in range(12))
IDLE = (0.0,) * 6 + (0.2,) * 6


def test_stores_lean_by_spread_and_persistence_as_the_chain_does() -> None:
    """At a place of the rough lattice the difference by a tenth more spread, and by 0.05 more
    persistence, is that of another chain's probit, worked out apart."""
    own = Service(SHAPE, 0.5, 0.3, IDLE)
    cover, store = own.rough.values([(3, 4)])
    none = np.zeros((12, 1))

    def probit(spread: float, persistence: float) -> float:
        other = Service(SHAPE, spread, persistence, IDLE)
        place = other.by_month(float(cover[0]), float(store[0]))
        return float(ndtri(np.clip(place.year(place.lost)[0], NEVER, 1 - NEVER)))

    stated = probit(0.5, 0.3)
    wide = np.array([0.1])
    moved, more = own.lean(cover, store, none, wide, np.zeros(1))
    assert moved.tolist() == [0.0]
    assert more[0] == pytest.approx(probit(0.6, 0.3) - stated, rel=0.02)
    _, more = own.lean(cover, store, none, np.zeros(1), np.array([0.05]))
    assert more[0] == pytest.approx(probit(0.5, 0.35) - stated, rel=0.02)
    _, both = own.lean(cover, store, none, wide, np.array([0.05]))
    assert both[0] == pytest.approx(probit(0.6, 0.3) + probit(0.5, 0.35) - 2 * stated, rel=0.02)
    # each draw by its own
    two = own.rough.values([(3, 4), (3, 4)])
    _, more = own.lean(*two, np.zeros((12, 2)), np.array([0.1, 0.0]), np.array([0.0, 0.05]))
    assert more == pytest.approx([probit(0.6, 0.3) - stated, probit(0.5, 0.35) - stated], rel=0.02)
    mixed = np.zeros((12, 2))
    mixed[:, 1] = 0.1
    moved, _ = own.lean(*two, mixed, np.zeros(2), np.zeros(2))
    assert moved == pytest.approx([0.0, 0.1])
    # months that all bring a tenth more are a tenth more cover, whatever each weighs
    moved, more = own.lean(cover, store, np.full((12, 1), 0.1), np.zeros(1), np.zeros(1))
    assert moved == pytest.approx([0.1])
    assert more.tolist() == [0.0]


def test_leanings_go_by_levels_half_a_day_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of stores up to fifteen days, on sixteen at least; thirty do for greater ones."""
    seen: list[tuple[Array, Array]] = []

    def noted(*given: Any) -> Any:
        seen.append((given[1], given[5]))
        return dawns(*given)

    monkeypatch.setattr(served, "dawns", noted)
    own = Service(SHAPE, 0.5, 0.3, IDLE)
    for days in (3.0, 9.0, 13.0, 40.0):
        own.know_leanings(np.ones(1), np.array([days]))
    store, levels = (np.concatenate(x) for x in zip(*seen, strict=True))
    near = store <= 15
    assert ((store > 8) & near).any()
    assert not near.all()
    assert (store[near] / levels[near] <= 0.5).all()
    assert levels.min() == 16
    assert levels.max() == 30


def test_where_every_day_is_idle_nothing_is_harvested() -> None:
    dark = Service((1.0,) * 12, 0.5, 0.3, (1.0,) * 12)
    assert dark._lit.tolist() == [1.0] * 12
    by_month = dark.by_month(2.0, 10.0)
    assert by_month.year(by_month.lost) == pytest.approx([1.0], abs=1e-6)
    half = Service((1.0,) * 6 + (3.0,) * 6, 0.5, 0.3, (0.5,) * 12)
    mean = float((half._lit * 0.5) @ MONTH_DAYS / YEAR_DAYS)
    assert mean == pytest.approx(1.0)
    assert half._lit[11] == pytest.approx(3 * half._lit[0])


def test_between_pulls_it_is_straight_and_beyond_them_held() -> None:
    """By numpy's own interpolation of any values told at the pulls."""
    rng = RNG(1)
    pull = np.concatenate([PULLS, rng.uniform(0, 0.95, 20), [-0.2, 2.0]])
    values = rng.uniform(0.5, 1, len(PULLS))
    total, seen = np.zeros(len(pull)), np.zeros(len(pull))
    for k, where, share in _pulls(pull, pull.shape):
        assert (share > 0).all()
        total[where] += share * values[k]
        seen[where] += share
    assert seen == pytest.approx(np.ones(len(pull)))
    assert total == pytest.approx(np.interp(pull, PULLS, values))
    ((k, where, share),) = _pulls(np.zeros(3), (3,))
    assert (k, where.tolist(), share.tolist()) == (0, [True] * 3, [1.0] * 3)
    assert _pulls(None, (2,))[0][0] == 0


@pytest.mark.parametrize("step", [0.25, 1.0, 5])
def test_places_of_a_lattice_are_evenly_apart_between_its_ends(step: float) -> None:
    """No step of logarithms is wider than told, and one fewer would be."""
    lattice = Lattice(step)
    for axis, steps in enumerate((COVER_STEPS, STORE_STEPS)):
        at, n = lattice.axes[axis]
        assert at.tolist() == [end for end, _ in steps]
        assert n[0] == 0.0
        for a, b, many, (_, told) in zip(at[:-1], at[1:], np.diff(n), steps[1:], strict=True):
            assert many == round(many) > 0
            assert (b - a) / many <= told * step * (1 + 1e-6)
            assert many == 1 or (b - a) / (many - 1) > told * step
    places = [(0, 0), (1, 2), (2, 1)]
    cover, store = lattice.values(places)
    u, v = lattice.numbers(cover, store)
    held = np.minimum(np.array(places).T, [[lattice.axes[0][1][-1]], [lattice.axes[1][1][-1]]])
    inside = (cover > 0.02) & (store > 0.02)
    assert u[inside] == pytest.approx(held[0][inside])
    assert v[inside] == pytest.approx(held[1][inside])
    # what is beyond what is worked out is taken for the nearest that is, nothing for the least
    for out, kept in ((0.0, 0.02), (1e9, 50.0), (np.nan, 0.02)):
        one = np.ones(1)
        assert lattice.numbers(out * one, one)[0] == lattice.numbers(kept * one, one)[0]
    for out, kept in ((0.0, 0.02), (1e9, 500.0), (np.nan, 0.02)):
        one = np.ones(1)
        assert lattice.numbers(one, out * one)[1] == lattice.numbers(one, kept * one)[1]


def test_none_and_all_stay_whatever_moves_chances() -> None:
    chance = np.array([0.0, 0.5, 1.0])
    assert shifted(chance, np.ones(3)) == pytest.approx([0.0, 0.8413447, 1.0])
    assert shifted(chance, np.zeros(3)).tolist() == chance.tolist()


def test_a_rail_is_used_as_often_as_all_tasks_use_it_and_rests_in_between() -> None:
    """Two tasks of 10 s and 40 s, of which the second is tried 1.5 times; one without the rail."""

    def task(period: float, lengths: list[tuple[int | None, float]], tries: float | None) -> Any:
        return SimpleNamespace(
            period=np.array([period]),
            tries=None if tries is None else SimpleNamespace(mean=np.array([tries])),
            loads=[SimpleNamespace(on=on, whole=np.array([length])) for on, length in lengths],
        )

    tasks = [
        task(10.0, [(0, 0.5), (None, 0.25), (0, 0.25), (None, 3.0)], None),
        task(40.0, [(1, 2.0), (0, 1.0)], 1.5),
        task(5.0, [(1, 0.5)], None),
    ]
    product = cast(ProductFigures, SimpleNamespace(tasks=tasks, share=np.ones((1, 1))))
    rate, rest = uses_of_rail(product, 0)
    often = 1 / 10 + 1.5 / 40
    assert rate == pytest.approx([often], rel=1e-12)
    # on from its first load to its last
    assert rest == pytest.approx([(1 - 1.0 / 10 - 1.5 * 1.0 / 40) / often], rel=1e-12)
    rate, rest = uses_of_rail(product, 2)
    assert (rate[0], rest[0]) == (0.0, math.inf)
