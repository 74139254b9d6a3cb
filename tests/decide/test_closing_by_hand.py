"""Changes of the lead closed in on along leads that are written down, whatever a scan tells."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from advisor.catalogue.kinds import Figure, Whole
from advisor.catalogue.levers import NEAR, Lever, part_way
from advisor.decide.closing import (
    DOUBT,
    SURE,
    Tip,
    _crossing,
    _first_zero,
    _halved,
    pinned,
    surely_kept,
)
from advisor.decide.leading import Ask, Standing
from advisor.decide.line import Line
from advisor.decide.refused import last_that_may
from advisor.decide.tips import (
    SLACK,
    _decided,
    _doubtful,
    _looked_into,
    _suspects,
    _wide,
)

pytestmark = pytest.mark.once

Lead = Callable[[float], float]
FIGURE = Lever(path=cast(Any, "p:at"), kind=Figure("length"), unit="m", now=None, u=0.0)
COUNT = Lever(path=cast(Any, "p:at"), kind=Whole(1, 10**9), unit="1", now=None, u=0.0)


class Written:
    """A line whose leads are written down: the decision's, the scan's and those of all draws."""

    def __init__(self, true: Lead, scan: Lead, exact: Lead, lever: Lever) -> None:
        self.true, self.scan, self.exact, self.lever = true, scan, exact, lever
        self.deciding = SimpleNamespace(winner="a")
        self.known: dict[float, Standing] = {}

    worth_looks = False

    def stand(self, builds: list[str], places: Any) -> Any:
        return np.ones((len(builds), len(places)), dtype=bool)

    def ask(self, x: float) -> Ask:
        return Ask(self.lever, x, ("a", "b"))

    def learn(self, ask: Ask, found: Any) -> bool:
        self.known[ask.x] = found.standing
        return False

    def knows(self, x: float) -> bool:
        return x in self.known

    def known_lead(self, x: float) -> float:
        return self.known[x].lead

    def known_standing(self, x: float) -> Standing:
        return self.known[x]

    def taken(self, places: Any) -> list[str]:
        return ["build"]

    def that_stand(self, x: float, builds: list[str]) -> list[str]:
        return builds

    def between(self, places: Any) -> Any:
        return np.array([self.scan(float(x)) for x in places])

    def finely(self, x: float) -> float:
        return self.scan(x)

    def out_near(self, x: float, share: float) -> bool:
        return False

    def reckon(self, x: float, builds: list[str], draws: int) -> float:
        return self.exact(x)

    most = 2000

    def close(self, places: Any) -> list[str]:
        return ["build"]

    def exactly(self, x: float, builds: Any) -> float:
        return self.exact(x)


def searched(
    line: Written,
    close: float,
    beyond: float,
    sure: bool,
    leads: str | None = "b",
    scanned: float | None = None,
) -> tuple[Tip | None, list[Ask]]:
    """What is found between a place where `a` leads and one where it may not, and what is asked;
    `scanned`: the last where the scan says so."""
    asked: list[Ask] = []

    def standing(x: float) -> Standing:
        lead = line.true(x)
        return Standing("a" if lead >= 0 else leads, lead)

    line.known[close] = standing(close)
    there = standing(beyond) if sure else None
    near = close, close if scanned is None else scanned
    search = pinned(cast(Line, line), near, beyond, there)
    try:
        ask = next(search)
        while True:
            asked.append(ask)
            ask = search.send(cast(Any, SimpleNamespace(standing=standing(ask.x))))
    except StopIteration as end:
        return end.value, asked


SHAPES: dict[str, Callable[[float], Lead]] = {
    "a straight line": lambda at: lambda x: 3 * (at - x),
    "a bend": lambda at: lambda x: (at - x) * (1 + 4 * abs(at - x)),
    "a step": lambda at: lambda x: 2.0 if x < at else -5.0,
    "out": lambda at: lambda x: 2.0 if x < at else -np.inf,
}
WRONG: dict[str, Callable[[Lead], Lead]] = {
    "right": lambda true: true,
    "too great": lambda true: lambda x: true(x) + 0.3,
    "too small": lambda true: lambda x: true(x) - 0.3,
}


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("wrong", WRONG)
@pytest.mark.parametrize("sure", [True, False])
@pytest.mark.parametrize("ends", [(1.0, 3.0), (3.0, 1.0), (-1.0, 2.0), (2.0, -1.0)])
@pytest.mark.parametrize("share", [0.02, 0.4, 0.93])
def test_a_change_is_found_on_its_far_side_whatever_the_scan_says(
    shape: str, wrong: str, sure: bool, ends: tuple[float, float], share: float
) -> None:
    close, beyond = ends
    at = close + share * (beyond - close)
    way = 1.0 if beyond > close else -1.0
    along = SHAPES[shape](way * at)

    def true(x: float) -> float:
        return along(way * x)

    scan = WRONG[wrong](true)
    line = Written(true, scan, scan, FIGURE)
    found, asked = searched(line, close, beyond, sure)
    # where only the scan would know of it, the end itself is asked
    assert found is not None
    assert found.leader == "b"
    assert found.among == ("a", "b")
    assert true(found.at) < 0
    room = NEAR * abs(at) + NEAR * 1e-2
    assert abs(found.at - at) <= 1.1 * room
    # each answer narrows it, also where the scan is not put right by what is known
    assert len(asked) <= (2 if wrong == "right" and shape == "a straight line" else 22)
    assert len({ask.x for ask in asked}) == len(asked)


@pytest.mark.parametrize("sure", [True, False])
@pytest.mark.parametrize("at", [3, 50, 998])
@pytest.mark.parametrize("up", [True, False])
def test_a_change_of_a_count_is_the_first_whole_number_beyond(
    sure: bool, at: int, up: bool
) -> None:
    close, beyond = (1.0, 1000.0) if up else (1000.0, 1.0)

    def true(x: float) -> float:
        assert x == round(x)
        return 1.0 if (x < at) == up else -1.0

    def scan(x: float) -> float:
        return 1.0 if (x < at) == up else -1.0

    found, _ = searched(Written(true, scan, scan, COUNT), close, beyond, sure)
    assert found is not None
    assert found.at == (at if up else at - 1)


@pytest.mark.parametrize("off", [-0.2, -5.0])
def test_a_lead_that_is_kept_is_no_change(off: float) -> None:
    """The scan loses it by little, or all along, and the decision does not."""
    true: Lead = lambda x: 4.0 - x  # noqa: E731
    scan: Lead = lambda x: true(x) + off - (x > 2.5)  # noqa: E731
    line = Written(true, scan, scan, FIGURE)
    found, asked = searched(line, 1.0, 3.0, False)
    assert found is None
    assert asked[-1].x == 3.0
    assert len(asked) <= 12


def test_where_nothing_fits_beyond_all_parts_are_asked() -> None:
    line = Written(SHAPES["a step"](2.0), SHAPES["a step"](2.0), SHAPES["a step"](2.0), FIGURE)
    found, asked = searched(line, 1.0, 3.0, True, leads=None)
    assert found == Tip(asked[-1].x, None)
    assert (asked[-1].parts, asked[-2].parts) == (None, ("a", "b"))
    assert 2.0 <= asked[-1].x <= 2.0 * (1 + NEAR)


@pytest.mark.parametrize("seed", range(30))
def test_the_first_zero_of_leads_that_are_put_right(seed: int) -> None:
    """By walking along in small steps."""
    rng = np.random.default_rng(seed)
    shares = np.linspace(0, 1, 9)
    leads = rng.uniform(-1, 3, 9) * rng.choice([1, 100], 9, p=[0.8, 0.2])
    told = {float(x): float(rng.uniform(-1, 1)) for x in rng.uniform(0, 1, int(rng.integers(1, 4)))}
    at = sorted(told)
    fine = np.union1d(np.linspace(0, 1, 200_001), [*shares, *at])
    there = np.interp(fine, shares, np.clip(leads, -100, 100))
    there = there + np.interp(fine, at, [told[x] for x in at])
    lost = np.flatnonzero(there < 0)
    found = _first_zero(shares, leads, told)
    if not lost.size:
        assert found is None
    else:
        assert found == pytest.approx(fine[lost[0]], abs=1e-5)


@pytest.mark.parametrize("at", [1.05, 1.5, 2.2, 2.9])
@pytest.mark.parametrize("around", [(1.4, 1.8), (1.0, 3.0), (1.6, 3.0), (1.0, 1.2)])
@pytest.mark.parametrize("x", [1.0, 1.55, 2.99])
def test_a_step_is_halved_also_where_it_lies_elsewhere(
    at: float, around: tuple[float, float], x: float
) -> None:
    step: Lead = lambda value: 1.0 if value < at else -np.inf  # noqa: E731
    line = Written(step, step, step, FIGURE)
    found = _halved(cast(Line, line), (1.0, 3.0), around, x, [])
    assert found is not None
    # eight halvings of what is left, at the most
    assert abs(found - at) <= 2.0 / 2**7
    never: Lead = lambda value: 1.0  # noqa: E731
    kept = _halved(cast(Line, Written(never, never, never, FIGURE)), (1.0, 3.0), around, x, [])
    assert kept is None or around[1] == 3.0


@pytest.mark.parametrize("seed", range(25))
def test_where_a_lead_may_fall_below_nothing_unseen(seed: int) -> None:
    """By loops: between two places that keep it, by no more than it changes by there or beside."""
    rng = np.random.default_rng(seed)
    leads = rng.choice([-1.0, 0.0, 0.3, 0.5, 1.0, 1.5, 3.0, 3.0, 500.0, np.inf, -np.inf], 9)
    told = [min(max(float(x), -100.0), 100.0) for x in leads]
    steps = [abs(b - a) for a, b in pairwise(told)]
    exact = []
    for k in range(8):
        near = max(steps[max(k - 1, 0) : k + 2])
        least = min(told[k], told[k + 1])
        if near > 0 and least >= 0 and least - near < SLACK:
            exact.append(k)
    assert _doubtful(leads).tolist() == exact


@pytest.mark.parametrize(
    ("close", "leads", "certain", "places"),
    [
        (3.0, [2.0, 1.0, 0.5], False, []),
        (3.0, [2.0, 1.0, 0.5], True, [2]),
        # lost at all of these
        (3.0, [2.0, -0.1, -3.0], False, [1, 2]),
        # what ends small has its least there
        (3.0, [0.0, 0.0, 0.0], False, [0]),
        # small and least before it grows again, not where it is large, nor on the way
        (3.0, [0.4, 0.6, 2.0], False, [0]),
        (3.0, [0.5, 0.6, 2.0], False, []),
        (0.3, [0.4, 0.6, 2.0], False, []),
        (3.0, [1.0, 0.2, 0.1, 0.4], False, [2]),
        # of places with one lead the first
        (3.0, [0.4, 0.4, 0.4, 0.6], False, [0]),
        (3.0, [1.0, 0.2, 0.2, 0.6], True, [1, 3]),
        (0.4, [0.4, 0.4, 0.6], False, []),
    ],
)
def test_places_at_which_the_decision_is_asked(
    close: float, leads: list[float], certain: bool, places: list[int]
) -> None:
    assert _suspects(close, np.array(leads), certain).tolist() == places


@pytest.mark.parametrize("most", [1.004, 3.3, 7.999, 9.0])
def test_a_side_ends_where_a_value_may_no_longer_stand(most: float) -> None:
    """From 1 towards 8, of which values up to `most` may stand."""
    figure, count = replace(FIGURE, now=1.0), replace(COUNT, now=1.0)
    deciding: Any = SimpleNamespace(may_stand=lambda _, x: x <= most)
    last = last_that_may(deciding, figure, 8.0)
    assert last <= most
    assert last == pytest.approx(min(most, 8.0), rel=NEAR)
    assert last_that_may(deciding, count, 8.0) == min(int(most), 8)
    # the figure beside it that sets the limit is tried first, and another one changes nothing
    for beside in ([most], [0.5, 2.0, most], [2.0, 6.0], [1.0]):
        asked: list[float] = []
        told: Any = SimpleNamespace(may_stand=lambda _, x, a=asked: a.append(x) or x <= most)
        assert last_that_may(told, figure, 8.0, beside) == last
        assert len(asked) <= (5 if most in beside else 18)


def test_an_interval_is_looked_into_down_to_a_sixteenth_of_its_own() -> None:
    """Places at 1, 2 and 8 to begin with; shares are those of the logarithm."""
    grid = np.array([1.0, 8.0, 2.0])
    for low, high in ((1.0, 2.0), (2.0, 8.0)):
        for share, wide in ((1 / 4, True), (1 / 15, True), (1 / 16, False), (1 / 64, False)):
            for begin in (0.0, 0.5, 1 - share):
                pair = part_way(low, high, begin), part_way(low, high, begin + share)
                assert _wide(grid, *pair) is wide
                assert _wide(grid, *reversed(pair)) is wide


# Decisions, and passes of all draws, that 24 changes may take, where only the scan says that the
# lead is lost at the far end and where that is known: as many as they take and a thirtieth more. A
# decision on either side of a change is the least; a scan that is wrong all along is put right by
# decisions alone here.
MOST = {
    ("a straight line", "right"): ((48, 44), (48, 44)),
    ("a straight line", "too great"): ((311, 191), (279, 191)),
    ("a bend", "right"): ((48, 87), (48, 87)),
    ("a step", "right"): ((71, 303), (73, 306)),
    ("out", "right"): ((58, 342), (58, 342)),
}


@pytest.mark.parametrize("case", MOST)
@pytest.mark.parametrize("sure", [True, False])
def test_a_change_takes_few_decisions(case: tuple[str, str], sure: bool) -> None:
    shape, wrong = case
    decisions = passes = 0
    for close, beyond in ((1.0, 3.0), (3.0, 1.0), (-1.0, 2.0), (2.0, -1.0)):
        for share in (0.02, 0.11, 0.4, 0.55, 0.78, 0.93):
            way = 1.0 if beyond > close else -1.0
            along = SHAPES[shape](way * (close + share * (beyond - close)))
            true = Turned(along, way)
            exact = Counted(WRONG[wrong](true))
            line = Written(true, exact.lead, exact, FIGURE)
            _, asked = searched(line, close, beyond, sure)
            decisions += len(asked)
            passes += exact.count
    most = MOST[case][int(sure)]
    assert (decisions <= most[0], passes <= most[1]) == (True, True), (decisions, passes)


@pytest.mark.parametrize(("sure", "most"), [(False, 4), (True, 3.7)])
def test_where_the_scan_keeps_the_lead_too_far_it_is_soon_looked_for_before(
    sure: bool, most: float
) -> None:
    """Half way from the change to the far end the scan still keeps it; from the place that is known
    to keep it all draws tell where it is lost."""
    asked = 0
    for close, beyond in ((1.0, 3.0), (3.0, 1.0), (-1.0, 2.0), (2.0, -1.0)):
        for share in (0.02, 0.11, 0.4, 0.55, 0.78, 0.93):
            at = close + share * (beyond - close)
            way = 1.0 if beyond > close else -1.0
            true = Turned(SHAPES["a straight line"](way * at), way)
            line = Written(true, true, true, FIGURE)
            found, some = searched(line, close, beyond, sure, scanned=(at + beyond) / 2)
            assert found is not None
            assert found.at == pytest.approx(at, rel=1.1 * NEAR)
            asked += len(some)
    assert asked <= 24 * most


class Turned:
    """A lead along a lever, or against it."""

    def __init__(self, along: Lead, way: float) -> None:
        self.along, self.way = along, way

    def __call__(self, x: float) -> float:
        return self.along(self.way * x)


class Counted:
    """A lead, and how often it was asked for."""

    def __init__(self, lead: Lead) -> None:
        self.lead, self.count = lead, 0

    def __call__(self, x: float) -> float:
        self.count += 1
        return self.lead(x)


def test_by_decisions_alone_a_change_is_closed_in_on_from_the_place_before() -> None:
    """`a` leads up to 2.3 and beyond 6, which lies behind the first place that another leads at."""
    line: Any = SimpleNamespace(
        lever=replace(FIGURE, now=1.0),
        deciding=SimpleNamespace(winner="a", scores={"a": 1.0, "b": 0.0}),
        parts=("a", "b"),
    )

    def decided(most: float) -> tuple[Tip | None, list[float]]:
        search = _decided(line, np.array([2.0, 4.0, 8.0]))
        ask, seen = next(search), []
        while True:
            seen.append(ask.x)
            leader = "b" if 2.3 < ask.x < most else "a"
            try:
                ask = search.send(cast(Any, SimpleNamespace(standing=Standing(leader, 0.0))))
            except StopIteration as end:
                return end.value, seen

    tip, seen = decided(6.0)
    assert tip is not None
    assert tip.leader == "b"
    assert 2.3 < tip.at <= 2.3 * (1 + NEAR)
    assert seen[:2] == [2.0, 4.0]
    assert all(2.0 < x < 4.0 for x in seen[2:])
    assert decided(2.3) == (None, [2.0, 4.0, 8.0])


def test_a_lead_of_just_nothing_is_not_lost() -> None:
    line: Any = SimpleNamespace(
        lever=FIGURE,
        between=lambda places: np.where(places > places[0], 0.0, 1.0),
        close=lambda _: [],
    )
    assert _crossing(line, 1.0, 2.0) is None


def test_beyond_a_place_that_is_known_the_lead_is_that_of_the_next() -> None:
    """The lead of now is little; that of 8 and 64 is great, and hardly moves."""
    asked: list[float] = []

    def between(places: Any) -> Any:
        asked.extend(places.tolist())
        return np.full(len(places), 30.0)

    line: Any = SimpleNamespace(
        lever=replace(FIGURE, now=1.0),
        deciding=SimpleNamespace(stands=lambda: Standing("a", 0.1)),
        between=between,
        hides=lambda *_: True,
    )
    every, leads = np.array([2.0, 8.0, 64.0]), np.array([30.0, 30.2])
    places, found = _looked_into(line, 2.0, every, every[1:], leads, np.empty(0), set())
    assert (places.tolist(), found.tolist(), asked) == ([8.0, 64.0], [30.0, 30.2], [])
    # from where it stands it may be lost on the way to the first place
    places, _ = _looked_into(line, 1.0, every, every[1:], leads, np.empty(0), set())
    assert any(1 < x < 8 for x in asked)
    assert sorted(places) == sorted([*asked, 8.0, 64.0])


@pytest.mark.parametrize(
    ("few", "every", "known", "out", "kept", "reckoned"),
    [
        (1.0, SURE, False, False, True, True),
        (-DOUBT, 1.0, False, False, True, True),
        (1.0, 0.9 * SURE, False, False, False, False),
        (-1.01 * DOUBT, 1.0, False, False, False, False),
        (1.0, 1.0, True, False, False, False),
        (1.0, 1.0, False, True, False, False),
        (1.0, np.inf, False, False, False, False),
    ],
)
def test_all_draws_spare_a_decision_where_they_keep_the_lead_beyond_doubt(
    few: float, every: float, known: bool, out: bool, kept: bool, reckoned: bool
) -> None:
    """Not where it is known, where a limit rules the winner out nearby, or where few draws lose it
    so clearly that all need not be asked."""

    class Told(Written):
        def knows(self, x: float) -> bool:
            return known

        def out_near(self, x: float, share: float) -> bool:
            return out

        def reckon(self, x: float, builds: list[str], draws: int) -> float:
            put_right.append((x, builds, draws))
            return self.exact(x)

    put_right: list[Any] = []
    line = Told(lambda _: 1.0, lambda _: few, lambda _: every, FIGURE)
    assert surely_kept(cast(Line, line), 2.0) is kept
    assert put_right == ([(2.0, ["build"], 2000)] if reckoned else [])
