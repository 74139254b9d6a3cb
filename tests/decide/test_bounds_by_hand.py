"""Guards, ties, clips and empty cases of the decision: just inside, on and just outside them."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import linprog
from scipy.stats import norm

from advisor.decide.along import _tiers
from advisor.decide.choosing import WITHIN, _Race
from advisor.decide.conflicts import _hitting
from advisor.decide.drawing import mean_weights
from advisor.decide.family import Item
from advisor.decide.family_beside import POINTS, undominated
from advisor.decide.family_bound import _Shared, _Use
from advisor.decide.family_model import affine
from advisor.decide.family_plans import Plan
from advisor.decide.family_search import GAP
from advisor.decide.family_swaps import Worth
from advisor.decide.feed_limits import FEED_LIMITS, Supply
from advisor.decide.line import Line
from advisor.decide.screens import Case
from advisor.decide.supply_risk import Allocation, Need, Outlook, Source, of_part, of_two_sources
from advisor.decide.value import Criterion
from advisor.dimensions import YEAR
from advisor.lp import Model, Solution
from advisor.quantities import exact, read_quantity

pytestmark = pytest.mark.once
RNG = np.random.default_rng


def some(**figures: Any) -> Any:
    return SimpleNamespace(**figures)


# Families -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(20))
def test_plans_that_no_other_betters_by_all_pairs(seed: int) -> None:
    """Of few costs and scores, so that many are equal; in any order."""
    rng = RNG(seed)
    plans = [
        some(cost=float(c), score=float(s))
        for c, s in zip(rng.integers(1, 5, 9), rng.integers(1, 5, 9), strict=True)
    ]
    found = [(p.cost, p.score) for p in undominated(cast("list[Plan]", plans))]
    exact_front = {
        (p.cost, p.score)
        for p in plans
        if not any(
            q.cost <= p.cost and q.score >= p.score and (q.cost, q.score) != (p.cost, p.score)
            for q in plans
        )
    }
    assert found == sorted(exact_front)


def test_plans_closer_than_the_gap_are_one() -> None:
    def front(*plans: tuple[float, float]) -> list[tuple[float, float]]:
        made = [some(cost=c, score=s) for c, s in plans]
        return [(p.cost, p.score) for p in undominated(cast("list[Plan]", made))]

    near, far = 0.9 * GAP, 1.1 * GAP
    assert front((10.0, 50.0), (11.0, 50 + near * POINTS)) == [(10.0, 50.0)]
    assert len(front((10.0, 50.0), (11.0, 50 + far * POINTS))) == 2
    assert front((10.0, 50.0), (10 + 10 * near, 60.0)) == [(10 + 10 * near, 60.0)]
    assert len(front((10.0, 50.0), (10 + 10 * far, 60.0))) == 2
    assert front() == []


@pytest.mark.parametrize("unit", [1e-3, 1.0, 1e6])
def test_worth_is_compared_beyond_rounding(unit: float) -> None:
    """Missed limits first, then the objective beyond a gap or beyond rounding, then the tie."""
    one = Worth(0.0, unit, 5.0)
    assert Worth(0.0, unit * (1 - 1.1e-3), 9.0).beats(one, 1e-3)
    assert not Worth(0.0, unit * (1 - 0.9e-3), 9.0).beats(one, 1e-3)
    assert not one.beats(Worth(0.0, unit, 9.0), 0.0)
    assert one.beats(Worth(0.1, unit / 2, 0.0), 1e-3)
    assert not Worth(0.1, unit / 2, 0.0).beats(one, 1e-3)
    assert Worth(0.0, unit * (1 - 1.5e-12), 9.0).settles(one)
    assert not Worth(0.0, unit * (1 - 0.5e-12), 5.0).settles(one)
    assert not Worth(0.0, unit * (1 + 1.5e-12), 1.0).settles(one)
    # within rounding the tie settles it, beyond its own
    assert Worth(0.0, unit * (1 + 0.5e-12), 5 * (1 - 1.5e-12)).settles(one)
    assert not Worth(0.0, unit * (1 - 0.5e-12), 5 * (1 - 0.5e-12)).settles(one)
    assert not one.settles(one)
    assert one.settles(Worth(0.1, unit / 2, 1.0))
    assert not Worth(0.1, unit / 2, 1.0).settles(one)
    # below nothing it is compared by its size, and about nothing by a billionth
    assert Worth(0.0, -unit * (1 + 1.1e-3), 9.0).beats(Worth(0.0, -unit, 5.0), 1e-3)
    assert not Worth(0.0, -unit * (1 + 0.9e-3), 9.0).beats(Worth(0.0, -unit, 5.0), 1e-3)
    assert Worth(0.0, -1.1e-12, 0.0).beats(Worth(0.0, 0.0, 0.0), 1e-3)
    assert not Worth(0.0, -0.9e-12, 0.0).beats(Worth(0.0, 0.0, 0.0), 1e-3)


@pytest.mark.parametrize("seed", range(12))
def test_a_smallest_set_that_meets_all_by_trying_every_set(seed: int) -> None:
    """Of sets as small the one of the earliest limits, by the sum of their places."""
    rng = RNG(seed)
    limits = "abcdefg"
    sets = [
        frozenset(x for x in limits if rng.random() < 0.3) or frozenset(limits[seed % 7])
        for _ in range(int(rng.integers(1, 9)))
    ]
    best = min(
        (len(c), sum(map(limits.index, c)))
        for n in range(8)
        for c in itertools.combinations(limits, n)
        if all(s & set(c) for s in sets)
    )
    found = _hitting(limits, sets)
    assert all(found & s for s in sets)
    assert (len(found), sum(map(limits.index, found))) == best
    assert _hitting(limits, []) == frozenset()


def test_a_smallest_set_is_proven_to_be_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """A search that may stop at any distance from its bound may stop at more limits."""
    gaps: list[float] = []
    solve = Model.solve

    def told(self: Model, seconds: float, solver: Any = "highs", gap: float = 1.0) -> Solution:
        gaps.append(gap)
        return solve(self, seconds, solver, gap)

    monkeypatch.setattr(Model, "solve", told)
    assert _hitting("abc", [frozenset("ab"), frozenset("bc")]) == frozenset("b")
    assert gaps == [0.0]


@pytest.mark.parametrize("seed", range(60))
def test_what_an_item_is_bought_for_by_a_program(seed: int) -> None:
    """The least of cost less income over shares of each product's ways, by SciPy's solver."""
    rng = RNG(seed)
    breaks = sorted({1, *map(int, rng.integers(2, 400, 2))})
    prices = sorted(rng.uniform(0.2, 3.0, len(breaks)), reverse=True)
    item = Item(
        name="cell",
        kind="cell",
        breaks=tuple(zip(breaks, prices, strict=True)),
        multiple=int(rng.choice([1, 1, 10])),
        stock=int(rng.choice([0, 0, 30])),
        incremental=bool(rng.random() < 0.3),
    )
    uses: list[_Use] = []
    price: list[float] = []
    for member in "ab":
        for role in ("only", "first", "second"):
            for _ in range(int(rng.integers(0, 3))):
                pieces = int(rng.integers(1, 200))
                price.append(float(pieces * rng.uniform(-0.5, 4.0)))
                uses.append(_Use(len(uses), member, cast(Any, role), pieces))
    factor = float(rng.uniform(0.5, 3.0))
    sums = np.zeros(len(uses))
    value, spent = _Shared(item, uses).best(np.array(price), factor, sums)
    ways: list[tuple[str, list[_Use]]] = [(u.member, [u]) for u in uses]
    for member in "ab":
        of = {
            r: [u for u in uses if (u.member, u.role) == (member, r)] for r in ("first", "second")
        }
        ways += [(member, [u, v]) for u in of["first"] for v in of["second"]]
    least = 0.0
    options = [(float(item.stock), 0.0, math.inf)]
    options += [(item.stock + q, fixed + each * q, each) for q, fixed, each in affine(item)]
    for room, cost, beyond in options:
        if not ways:
            break
        gain = [-sum(price[u.row] for u in way) for _, way in ways]
        taken = [float(sum(u.pieces for u in way)) for _, way in ways]
        whole = math.isinf(beyond)
        found = linprog(
            [*gain, 0.0 if whole else factor * beyond],
            A_ub=[[*taken, -1.0], *([float(m == k) for m, _ in ways] + [0.0] for k in "ab")],
            b_ub=[room, 1.0, 1.0],
            bounds=[(0, None)] * len(ways) + [(0.0, 0.0 if whole else None)],
        )
        least = min(least, factor * cost + found.fun)
    assert value == pytest.approx(least, rel=1e-7, abs=1e-7)
    # what it costs less what it brings in, by the shares of rows that are taken
    assert value == pytest.approx(factor * spent + float(sums @ price), rel=1e-9, abs=1e-9)


# Supply's risks -----------------------------------------------------------------------------------

OUTLOOK = Outlook(
    made_over_s=4 * YEAR, holding_per_year=0.2, spread=0.3, usual=None, allocations={}
)
PART = Source("made-up", "north", 2.0, 0.25 * YEAR, "active")


def test_stock_over_the_lead_time_is_for_what_is_not_at_hand() -> None:
    """A quarter of 4 years' 8,000 pieces are at hand: of sixteen lead times twelve are exposed."""
    need = Need("gate", units=8000, missed=9.0, at_hand=2000)
    (lead,) = of_part(need, PART, OUTLOOK).lead_time
    assert lead.times == pytest.approx(12.0)
    assert (lead.span_s, lead.mean, lead.sd) == pytest.approx((0.25 * YEAR, 500.0, 0.3 * 1000.0))
    assert (lead.over, lead.under, lead.certain) == pytest.approx((0.2 * 2.0 * 0.25, 9.0, 0.0))
    assert norm.cdf(lead.held.quantity, 500.0, 300.0) == pytest.approx(9.0 / 9.1)
    for less in ({"spread": 0.0}, {"holding_per_year": 0.0}):
        free = Outlook(**{**{k: getattr(OUTLOOK, k) for k in vars_of(OUTLOOK)}, **cast(Any, less)})
        assert of_part(need, PART, free).lead_time == ()
    at_once = Source("made-up", "north", 2.0, 0.0, "active")
    assert of_part(need, at_once, OUTLOOK).lead_time == ()
    assert of_part(Need("gate", 8000, 9.0, 8000), PART, OUTLOOK).lead_time == ()


def vars_of(record: Any) -> tuple[str, ...]:
    return tuple(record.__dataclass_fields__)


def test_what_two_sources_do_not_state_is_told_of_each_once() -> None:
    """Where allocations are known of one maker only, of the other; of a source that has ended
    nothing is asked; what both lack, the spread, once."""
    known = Allocation(every_s=3 * YEAR, lasts_s=0.3 * YEAR)
    need = Need("gate", units=8000, missed=9.0)
    other = Source("other", "south", 2.0, None, "active")

    def lacking(second: Source, **changes: Any) -> tuple[str, ...]:
        outlook = replace(OUTLOOK, allocations={"north": known}, **changes)
        return of_two_sources(need, PART, second, 0.3, outlook).missing

    assert lacking(other) == ("other: price.lead-time", "south: allocation")
    assert lacking(replace(other, lead_time_s=YEAR)) == ("south: allocation",)
    assert lacking(other, usual=known) == ("other: price.lead-time",)
    assert lacking(replace(other, lifecycle="ended")) == ()
    assert lacking(replace(other, lifecycle=None, lead_time_s=YEAR), spread=None) == (
        *("spread", "other: lifecycle", "south: allocation"),
    )
    gone = of_two_sources(need, replace(PART, maker="west", lifecycle="ended"), other, 0.3, OUTLOOK)
    assert gone.missing == ("other: price.lead-time", "south: allocation")


def test_a_last_buy_of_pieces_that_hardly_pay() -> None:
    """4 years at 20 % a year on 2 each are 1.6 held, of which a piece that is used evenly after a
    quarter at hand bears 1 - 0.75/2: 1 each. Missed at 0.5 a piece in store costs more than none:
    what is wanted is bought, whatever the spread."""
    need = Need("gate", units=8000, missed=0.5, at_hand=2000)
    (last,) = of_part(need, Source("p", "n", 2.0, None, "last-orders"), OUTLOOK).last_buy
    assert (last.times, last.span_s, last.mean) == pytest.approx((1.0, 4 * YEAR, 6000.0))
    assert last.sd == pytest.approx(0.3 * 2000 * math.sqrt(4))
    assert (last.over, last.under) == pytest.approx((2.0 + 1.6, 0.5 - 1.0))
    assert last.certain == pytest.approx(6000.0)
    assert last.held.quantity == pytest.approx(6000.0)
    # at the mean half of 0.7979 sd is left and half is missed (normal)
    half = last.sd * norm.pdf(0.0)
    assert (last.held.left, last.held.short) == pytest.approx((half, half))
    assert last.held.cost == pytest.approx(half * (3.6 - 0.5))
    dear = Need("gate", units=8000, missed=5.0, at_hand=2000)
    (last,) = of_part(dear, Source("p", "n", 2.0, None, "last-orders"), OUTLOOK).last_buy
    assert norm.cdf(last.held.quantity, 6000.0, last.sd) == pytest.approx(4.0 / (4.0 + 3.6))


# Limits of a feed ---------------------------------------------------------------------------------


def volts(value: float | None) -> Any:
    return None if value is None else some(nominal=value)


def cases(name: str, **figures: Any) -> list[Case]:
    limit = next(one for one in FEED_LIMITS if one.name == name)
    feed = some(
        pack=some(open_v=np.array([[3.2], [2.0]])),
        cell=None,
        bought=(),
        conversions=(),
        covered=True,
    )
    for key, value in figures.items():
        setattr(feed, key, value)
    product = some(lead_time_s=figures.get("longest"), coldest=-10.0, hottest=40.0)
    return [c for c in limit.cases(Supply(feed, product)) if limit.bad(c).any()]


@pytest.mark.parametrize("end", ["min", "max"])
def test_a_rail_beyond_either_end_of_an_output_breaks_that_end_alone(end: str) -> None:
    """A converter that states one end only, on a rail just inside, at and just outside it."""
    for at, broken in ((2.4, end == "min"), (2.5, False), (2.6, end == "max")):
        ends = {"min": None, "max": None, end: volts(2.5)}
        one = some(
            converter=some(output=some(**ends), kind="buck"),
            name="made-up",
            at="the rail",
            volts=np.array([at]),
        )
        none = some(converter=None, name="none", at="rail x", volts=np.array([at]))
        assert bool(cases(f"output-{end}", conversions=(none, one))) == broken
        assert cases(f"output-{'max' if end == 'min' else 'min'}", conversions=(one,)) == []


def test_a_fresh_pack_may_be_at_a_converter_s_greatest_input() -> None:
    for most, broken in ((3.1, True), (3.2, False), (3.3, False), (None, False)):
        record = some(converter="made-up", input=some(min=None, max=volts(most)))
        assert bool(cases("input-max", bought=((record, 1),))) == broken


def test_what_is_bought_is_there_in_time() -> None:
    def told(days: float | None, longest: float | None) -> list[str]:
        price = None if days is None else some(lead_time=some(nominal=days))
        record = some(converter="made-up", price=price)
        cell = some(cell="pill", price=some(lead_time=some(nominal=30.0)))
        return [
            c.need for c in cases("lead-time", bought=((record, 2),), cell=cell, longest=longest)
        ]

    assert told(40.0, 30.0) == ["made-up lead-time"]
    assert told(30.0, 29.0) == ["pill lead-time", "made-up lead-time"]
    assert told(30.0, 30.0) == []
    assert told(None, 29.0) == ["pill lead-time"]
    assert told(99.0, None) == []


# Builds -------------------------------------------------------------------------------------------


def priced(*breaks: int, multiple: int | None = None, discount: str | None = None) -> Any:
    each = {q: some(nominal=10.0 - n) for n, q in enumerate(breaks)}
    return some(breaks=each, multiple=multiple, discount=discount)


@pytest.mark.parametrize(
    ("units", "told"),
    [
        # the part from 100 pieces, six cells a unit from 100, two converters a unit from 200
        (None, []),
        (16, [1, 1, 1, 1]),
        (17, [1, 2, 1, 1]),
        (99, [1, 2, 1, 1]),
        (100, [2, 2, 2, 1]),
    ],
)
def test_which_price_break_holds_for_all_that_a_build_is_made_of(
    units: int | None, told: list[int]
) -> None:
    feed = some(
        cell=some(price=priced(1, 100, discount="incremental")),
        option=some(series=3, parallel=2),
        bought=((some(price=priced(1, 200, discount="incremental")), 2), (some(price=None), 1)),
    )
    candidate = some(
        part=some(price=priced(1, 100, discount="incremental")),
        best=some(assessed=some(feed=feed)),
        addons=("extra",),
    )
    evaluation = some(catalogue=some(addons={"extra": some(price=priced(1))}))
    found = list(_tiers(cast(Any, candidate), cast(Any, evaluation), units))
    assert found[::2] == told
    assert not any(found[1::2])


def test_more_than_whole_packages_is_told() -> None:
    """95 of 100 at 9 each cost less than 95 at 10: five more are bought than packages of one ask
    for, and none more than packages of ten do."""
    for multiple, more in ((None, 1), (10, 0), (4, 1)):
        candidate = some(
            part=some(price=priced(1, 100, multiple=multiple)),
            best=some(assessed=some(feed=some(cell=None, bought=()))),
            addons=(),
        )
        found = list(_tiers(cast(Any, candidate), cast(Any, some(catalogue=None)), 95))
        assert found == [2, more]


def test_mean_weights_are_those_of_all_draws_together() -> None:
    """Of a fixed weight 1 and a normal one: the mean of x/(1 + x), by quadrature."""
    unsure = read_quantity("2.0(4)", "count")
    share, _ = quad(lambda x: x / (1 + x) * norm.pdf(x, 2.0, 0.4), 0.1, 4.0)
    product = some(
        product="made-up",
        priorities={"a": some(weight=exact(1.0, "count")), "b": some(weight=unsure)},
        workload=(),
        times=(),
    )
    criteria = [some(name="a", weight=0.25), some(name="b", weight=0.75)]
    found = mean_weights(cast(Any, product), cast("list[Criterion]", criteria), 4500, 1)
    assert found == pytest.approx([1 - share, share], abs=4 * 0.05 / math.sqrt(4500))
    assert found.sum() == pytest.approx(1.0)
    for draws, weights in ((0, product.priorities), (50, {"a": some(weight=None)})):
        fixed = some(**{**vars(product), "priorities": {**product.priorities, **weights}})
        if draws:
            fixed.priorities["b"] = some(weight=exact(3.0, "count"))
        found = mean_weights(cast(Any, fixed), cast("list[Criterion]", criteria), draws, 1)
        assert found.tolist() == [0.25, 0.75]


@pytest.mark.parametrize(
    ("best", "seen", "of_best", "may"),
    [
        # ahead by more than WITHIN, less two standard errors
        ([50.0] * 4, [50 + 1.1 * WITHIN] * 4, 50.0, True),
        ([50.0] * 4, [50 + 0.9 * WITHIN] * 4, 50.0, False),
        ([50.0, 52.0] * 2, [49.0, 51.0] * 2, 51.0, False),
        ([50.0] * 4, [48.0, 51.9] * 2, 50.0, True),
        # the best one lost by its later draws what the other need not lose
        ([50.0] * 4, [49.0] * 4, 48.0, True),
        ([50.0] * 4, [48.0 + 0.5 * WITHIN] * 4, 48.0, False),
        ([50.0] * 4, [49.0] * 4, 49.5, False),
        ([50.0] * 4, [49.9] * 4, 50 - 0.5 * WITHIN, False),
    ],
)
def test_whom_a_few_draws_leave_in_the_race(
    best: list[float], seen: list[float], of_best: float, may: bool
) -> None:
    race = object.__new__(_Race)
    first, other = "first", "other"
    race.tried = cast(Any, {first: some(expected=of_best, score=np.array([*best, 0.0]))})
    race.some = cast(Any, {other: some(expected=float(np.mean(seen)), score=np.array(seen))})
    assert race._may_beat(cast(Any, other), cast(Any, first)) is may


# Levers -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("why", ["weighs", "nothing was scanned"])
def test_where_few_draws_are_all_there_is_no_more_are_asked(why: str) -> None:
    line = object.__new__(Line)
    line.lever = cast(Any, "made-up")
    line.deciding = cast(Any, some(weighs=lambda lever: why == "weighs"))
    line._last = None if why != "weighs" else cast(Any, ())
    coarse = np.array([1.0, 0.1, -2.0])
    line.leads = lambda places: coarse  # type: ignore[method-assign]
    leads, told = line.surely(np.array([1.0, 2.0, 3.0]))
    assert (leads.tolist(), told.tolist()) == (coarse.tolist(), [True] * 3)
