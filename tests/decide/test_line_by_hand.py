"""Which places and builds of a lever's scan are looked at closely, over points written down."""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from advisor.catalogue.kinds import Figure
from advisor.catalogue.levers import Lever
from advisor.decide import line as lines
from advisor.decide.line import CLOSE, FAR_OUT, GAIN, SAFE, WIDE, Line, first_looks
from advisor.decide.looks import _weighed
from advisor.figures import Path as Figures

pytestmark = pytest.mark.once

OUT = -np.inf


@dataclass(frozen=True)
class Build:
    """A build by its part and its name."""

    part: str
    name: str


class Written(Line):
    """A line whose builds are worth what is written down at some places."""

    points: dict[Build, dict[float, float]]

    def _raw(self, builds: Any, places: Any, draws: int) -> Any:
        return np.array([[self.points[b][float(x)] for x in places] for b in builds])

    def _off(self, builds: Any, places: Any, draws: int) -> Any:
        return np.zeros((len(builds), len(places)))


def written(
    points: dict[str, dict[float, float]], now: float, **still: float
) -> tuple[Written, list[Any]]:
    """Builds named by part and number; the part `a` leads; `still` are parts that stay."""
    line = object.__new__(Written)
    line.points = {Build(name[0], name): row for name, row in points.items()}
    line.moves = cast(Any, {b.part for b in line.points})
    scores = {**dict.fromkeys(line.moves, 0.0), **still}
    line.deciding = cast(Any, SimpleNamespace(winner="a", scores=scores))
    line.lever = Lever(path=cast(Any, "p:at"), kind=Figure("share"), unit="1", now=now, u=0.0)
    return line, list(line.points)


# what `b` is worth beside `a` with 50 at places 1, 5 (now) and 9 -> which of 3 and 7 is looked at
LOOKED = {
    "it comes near on the low side": ((49.9, 45.0, 45.0), [3.0]),
    "it comes near on the high side": ((45.0, 45.0, 49.9), [7.0]),
    "it comes near on both": ((49.9, 45.0, 49.9), [3.0, 7.0]),
    # what is worth no more between two places than at them stays half a point behind
    "it stays behind": ((45.0, 50 - 1.1 * SAFE, 45.0), []),
    "it is near now": ((45.0, 50 - 0.9 * SAFE, 45.0), [3.0, 7.0]),
    "it moves nowhere": ((49.8, 49.8, 49.8), []),
    "it goes before": ((51.0, 45.0, 45.0), [3.0]),
    "it comes up": ((OUT, 45.0, 45.0), [3.0]),
    # never within reach: what comes up may gain some points until it falls
    "it comes up far behind": ((OUT, 50 - GAIN - SAFE, 40.0), []),
    "it stays far behind": ((30.0, 20.0, 30.0), []),
}


@pytest.mark.parametrize("case", LOOKED)
def test_where_a_lead_may_be_lost_between_places(case: str) -> None:
    beside, wanted = LOOKED[case]
    at = (1.0, 5.0, 9.0)
    line, builds = written(
        {"a1": dict.fromkeys(at, 50.0), "b1": dict(zip(at, beside, strict=True))}, 5.0
    )
    places = np.array([3.0, 9.0, 1.0, 7.0])
    seen = np.array([1, 2])
    raw = line._raw(builds, places[seen], 0)
    found, some = line._hidden(builds, places, seen, raw)
    assert sorted(places[found]) == wanted
    assert some == (builds if wanted else [])


@pytest.mark.parametrize(("last", "wanted"), [(58.8, [7.0]), (57.4, [])])
def test_a_lead_that_shrinks_by_more_than_is_left_may_be_lost_on_the_way(
    last: float, wanted: list[float]
) -> None:
    """Both gain from 5 to 9, the winner from 50 to 60; of a lead of 3 there are 1.2 or 2.6 left."""
    line, builds = written(
        {"a1": {1.0: 50.0, 5.0: 50.0, 9.0: 60.0}, "b1": {1.0: 47.0, 5.0: 47.0, 9.0: last}}, 5.0
    )
    places = np.array([3.0, 9.0, 1.0, 7.0])
    seen = np.array([1, 2])
    found, _ = line._hidden(builds, places, seen, line._raw(builds, places[seen], 0))
    assert places[found].tolist() == wanted


@pytest.mark.parametrize(("second", "wanted"), [(OUT, [7.0]), (47.0, [])])
def test_where_a_build_comes_up_on_the_way_the_lead_may_be_lost(
    second: float, wanted: list[float]
) -> None:
    """A lead of 1.1 grows to 1.2 from 5 to 9; of the rival a second build stands at 9, and at 5 or
    not. It may have been worth more before."""
    at = (1.0, 5.0, 9.0)
    rows = {"a1": (50.0, 50.0, 51.0), "b1": (48.9, 48.9, 49.8), "b2": (second, second, 48.0)}
    line, builds = written({n: dict(zip(at, row, strict=True)) for n, row in rows.items()}, 5.0)
    places = np.array([3.0, 9.0, 1.0, 7.0])
    seen = np.array([1, 2])
    found, _ = line._hidden(builds, places, seen, line._raw(builds, places[seen], 0))
    assert places[found].tolist() == wanted


@pytest.mark.parametrize(
    ("keys", "moved", "brings"),
    [
        # what moves builds may bring others up; what hardly does brings none
        (("priorities", "life", "good"), 0.2, True),
        (("priorities", "life", "good"), 0.05, False),
        # what moves none may be a limit, which a scan does not know of
        (("needs", "headroom"), 0.0, True),
        (("price", "multiple"), 0.0, True),
        # but for the price of another number of pieces than is bought
        (("price", "breaks", "10000"), 0.0, False),
    ],
)
def test_other_builds_come_up_where_a_figure_moves_some_or_rules_them_out(
    keys: tuple[str, ...], moved: float, brings: bool
) -> None:
    """The rival goes up by so many points on the way to 9, the winner stays."""
    at = {5.0: 40.0, 7.0: 40 + moved / 2, 9.0: 40 + moved}
    line, builds = written({"a1": dict.fromkeys(at, 50.0), "b1": at}, 5.0)
    line.lever = replace(line.lever, path=Figures("p", keys))
    places = np.array([7.0, 9.0])
    line._last = places, builds, line._raw(builds, places, 0)
    told: Any = line
    told.leads = lambda _: np.array([10 - moved / 2, 10 - moved])
    told.deciding.stands = lambda: SimpleNamespace(lead=10.0)
    assert line.may_bring(places) is brings


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_beyond_a_clear_loss_nothing_is_looked_at(way: float) -> None:
    """Lost by more than half a point four beyond 5, on either side: what lies beyond, up to twelve,
    is another change's."""
    for lost, wanted in ((50 + 1.1 * SAFE, [2.0]), (50 + 0.9 * SAFE, [2.0, 8.0])):
        at = {5.0: 45.0, 5 + 4 * way: lost, 5 + 12 * way: 49.0}
        line, builds = written({"a1": dict.fromkeys(at, 50.0), "b1": at}, 5.0)
        places = 5 + way * np.array([2.0, 4.0, 8.0, 12.0])
        seen = np.array([1, 3])
        found, _ = line._hidden(builds, places, seen, line._raw(builds, places[seen], 0))
        assert (way * (places[found] - 5)).tolist() == wanted


@pytest.mark.parametrize(
    ("rival", "still", "counts"),
    [
        # the winner is worth 50 at least; a rival that comes within half a point may lead
        (50 - 0.9 * SAFE, {}, True),
        (50 - 1.1 * SAFE, {}, False),
        (20.0, {"z": 50 - 0.9 * SAFE}, True),
        (20.0, {"z": 50 - 1.1 * SAFE}, False),
        # a part of that name that moves is not counted as it stands
        (20.0, {"b": 60.0}, False),
    ],
)
def test_a_winner_that_stays_ahead_of_all_hides_nothing(
    rival: float, still: dict[str, float], counts: bool
) -> None:
    line, builds = written({"a1": {}, "b1": {}}, 5.0, **still)
    points = np.array([[50.0, 52.0], [rival - 5, rival]])
    assert (line._may_count(builds, points) is not None) is counts


def test_builds_that_may_lead_between_two_places() -> None:
    """Of a part those within two points of what its builds are worth at least; of the parts the
    winner, and those within five of the best; none that is out at both ends."""
    names = ("a1", "a2", "a3", "b1", "c1", "c2", "d1", "d2")
    line, builds = written({name: {} for name in names}, 5.0)
    ends = {
        "a1": (50.0, 51.0),
        "a2": (40.0, 50 - 0.9 * CLOSE),
        "a3": (40.0, 50 - 1.1 * CLOSE),
        "b1": (50.0 - WIDE, 50.0 - WIDE),
        "c1": (44.0, 50 - 1.01 * WIDE),
        "c2": (20.0, 44.0),
        "d1": (48.0, 49.0),
        "d2": (OUT, OUT),
    }
    low, high = np.array([ends[n] for n in names]).T
    found = line._counting(builds, low, high)
    assert [n for n, one in zip(names, found, strict=True) if one] == ["a1", "a2", "b1", "d1"]


def test_points_that_nobody_asked_for_lie_straight_between_the_next_ones() -> None:
    """On the lever's own axis; what is out on one side is out up to the other; the value of now is
    known."""
    line, builds = written({"a1": {5.0: 10.0}, "b1": {5.0: 10.0}, "c1": {5.0: OUT}}, 5.0)
    line._axis = lambda x: x  # type: ignore[method-assign]
    nan = np.nan
    told = np.array([[14.0, nan, nan, 30.0], [nan, nan, OUT, nan], [nan, 1.0, nan, nan]])
    found = line._filled(builds, np.array([1.0, 3.0, 6.0, 10.0]), told)
    assert found[0].tolist() == pytest.approx([14.0, 12.0, 14.0, 30.0])
    assert found[1].tolist() == [10.0, 10.0, OUT, OUT]
    assert found[2].tolist() == [1.0, 1.0, OUT, OUT]
    assert FAR_OUT > 1e4


def test_a_lead_is_over_the_best_of_the_others_and_none_where_nothing_stands() -> None:
    line, builds = written({"a1": {}, "a2": {}, "b1": {}, "c1": {}}, 5.0)
    scores = np.array(
        [
            [50.0, 40.0, OUT, OUT, 50.0],
            [45.0, 55.0, OUT, OUT, np.nan],
            [30.0, 60.0, 20.0, OUT, np.nan],
            [35.0, 10.0, 10.0, OUT, 45.0],
        ]
    )
    best = line._best(builds, scores)
    assert {k: v.tolist() for k, v in best.items()} == {
        "a": [50.0, 55.0, OUT, OUT, 50.0],
        "b": pytest.approx([30.0, 60.0, 20.0, OUT, np.nan], nan_ok=True),
        "c": [35.0, 10.0, 10.0, OUT, 45.0],
    }
    assert line._lead(best).tolist() == [15.0, -5.0, OUT, OUT, 5.0]
    # without the winner all is lost; without a rival nothing can be
    assert line._lead({"b": np.array([1.0])}).tolist() == [OUT]
    assert line._lead({"a": np.array([1.0])}).tolist() == [np.inf]


def test_whoever_is_near_its_part_s_best_at_one_of_the_places_is_scanned_again() -> None:
    """Within five points at 3 or at 9; `c` is twice as far behind at both, but for what it has at
    1, which nobody asked for; `d` is carried and was not scanned."""
    ends = {"a1": (80.0, 60.0), "a2": (60.0, 80.0), "a3": (74.0, 74.0), "b1": (79.0, 70.0)}
    ends |= {"b2": (75.0, 66.0), "b3": (73.0, OUT), "c1": (69.0, 69.0)}
    line, builds = written(
        {n: {1.0: 99.0, 3.0: low, 9.0: high} for n, (low, high) in ends.items()}, 5.0
    )
    scanned = np.array([1.0, 3.0, 9.0])
    line._last = scanned, builds, line._raw(builds, scanned, 0)
    new = Build("d", "d1")
    line._carried = {(b.part, b.name): b for b in cast(Any, [*builds, new])}
    found = line._ahead(np.array([3.0, 9.0]), 5.0)
    assert [b.name for b in found] == ["a1", "a2", "b1", "b2", "d1"]


def test_places_of_a_long_scan_go_with_the_builds_of_their_own_interval(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    line, builds = written({"a1": {}, "b1": {}}, 5.0)
    asked: list[tuple[float, float]] = []

    def nearby(low: float, high: float) -> list[Any]:
        asked.append((low, high))
        return builds

    monkeypatch.setattr(line, "_nearby", nearby)
    places = np.array([1.5, 3.2, 2.5, 1.2, 0.5])
    # not in order: what a scan went over outward from the middle
    line._last = np.array([2.0, 3.0, 1.0]), builds, np.zeros((2, 3))
    assert [run.tolist() for run, _ in line._runs(places)] == [[0, 1, 2, 3, 4]]
    monkeypatch.setattr(lines, "MUCH", 9)
    asked.clear()
    runs = line._runs(places)
    assert [run.tolist() for run, _ in runs] == [[4], [0, 3], [2], [1]]
    assert asked[1:] == [(0.5, 0.5), (1.2, 1.5), (2.5, 2.5), (3.2, 3.2)]


class Surer(Line):
    """A line whose lead is scanned too high, by more where fewer draws tell."""

    asked: list[tuple[list[float], int]]

    def leads(self, places: Any) -> Any:
        return self.lead(places) + 0.2

    @staticmethod
    def lead(places: Any) -> Any:
        return 3.0 - 0.5 * places

    def _ahead(self, places: Any, points: float) -> Any:
        return ["any"]

    def _scores(self, places: Any, draws: int, builds: Any) -> Any:
        self.asked.append((places.tolist(), draws))
        return {"a": 50.0 + self.lead(places) + 1.0 / draws, "b": 50.0 + 0 * places}

    def settled(self, x: float) -> bool:
        return x == 3.0


def surer(kind: type[Surer]) -> Surer:
    """A line on which `a` leads by 3.2 points as things stand."""
    line = object.__new__(kind)
    line.asked, line._last = [], cast(Any, ())
    line.lever = Lever(path=cast(Any, "p:at"), kind=Figure("share"), unit="1", now=0.0, u=0.0)
    stands, empty = SimpleNamespace(lead=3.2), SimpleNamespace(workload=(), times=())
    deciding = SimpleNamespace(winner="a", base=SimpleNamespace(draws=5000), product=empty)
    deciding.weighs, deciding.stands = lambda _: False, lambda: stands
    line.deciding = cast(Any, deciding)
    return line


def test_where_few_draws_tell_a_small_lead_more_are_taken() -> None:
    """Below 2.0, below 0.8 and below 0.3 by so many draws each time; not beyond the first loss, nor
    where a decision is known."""
    line = surer(Surer)
    places = np.array([1.0, 3.0, 4.0, 4.3, 5.0, 5.6, 6.8, 7.0])
    leads, told = line.surely(places)
    assert line.asked == [
        ([4.0, 4.3, 5.0, 5.6], 64),
        ([5.0, 5.6], 256),
        ([5.6], 2000),
    ]
    exact = 3.0 - 0.5 * places
    wanted = exact + np.array([0.2, 0.2, 1 / 64, 1 / 64, 1 / 256, 1 / 2000, 0.2, 0.2])
    assert leads == pytest.approx(wanted, abs=1e-12)
    assert told.all()


class Flat(Surer):
    """The lead that stands up to 2, then one and the same up to 6, then none."""

    @staticmethod
    def lead(places: Any) -> Any:
        return np.select([places <= 2.0, places <= 6.0], [3.0, 0.5], -0.5)


def test_of_places_with_one_lead_the_first_and_the_last_stand_for_all() -> None:
    """Where the lead is that of now, now is the first."""
    line = surer(Flat)
    leads, told = line.surely(np.array([1.0, 2.0, 4.0, 4.5, 5.0, 6.0, 7.0]))
    assert line.asked == [([4.0, 6.0], 64), ([4.0, 6.0], 256)]
    assert told.tolist() == [False, True, True, False, False, True, True]
    assert leads[[3, 4]].tolist() == [0.7, 0.7]


@pytest.mark.parametrize(("weighs", "scanned"), [(True, True), (False, False)])
def test_where_nothing_was_scanned_the_lead_may_be_lost_anywhere(
    weighs: bool, scanned: bool
) -> None:
    line, builds = written({"a1": {1.0: 90.0, 9.0: 90.0}, "b1": {1.0: 10.0, 9.0: 10.0}}, 5.0)
    line.deciding = cast(Any, SimpleNamespace(weighs=lambda _: weighs))
    at = np.array([1.0, 9.0])
    line._last = (at, builds, line._raw(builds, at, 0)) if scanned else None
    assert line.hides(1.0, 9.0)


def test_every_third_place_outward_is_looked_at_first_and_the_last_one() -> None:
    """Of eight above 5 the last, the fifth and the second; of four below the last and the first."""
    places = np.array([4.0, 6.0, 7.0, 8.0, 9.0, 5.0, 10.0, 3.0, 11.0, 12.0, 13.0, 2.0, 1.0])
    assert places[first_looks(places, 5.0)].tolist() == [4.0, 7.0, 5.0, 10.0, 13.0, 1.0]


def test_what_all_draws_tell_lacks_nothing() -> None:
    """By more draws than what stands is scanned by, and as they do nothing is known of it."""
    line, builds = written({"a1": {}, "b1": {}}, 5.0)
    assert Line._off(line, builds, np.array([1.0, 9.0]), 300).tolist() == [[0.0, 0.0]] * 2


def test_criteria_of_several_levers_stand_one_behind_the_other() -> None:
    """One set for all where no anchor moves; else one for each place, of each lever."""
    found = {"a": [("now",)], "b": [("low",), ("high",)], "c": [("now",)]}
    deciding: Any = SimpleNamespace(
        base=SimpleNamespace(criteria=("now",)), criteria=lambda lever, _: found[lever]
    )

    def weighed(**places: list[float]) -> Any:
        some: Any = [(SimpleNamespace(lever=n), np.array(at)) for n, at in places.items()]
        return _weighed(deciding, some)

    assert weighed(a=[1.0, 2.0, 3.0], c=[4.0]) == [("now",)]
    assert weighed(a=[1.0, 2.0, 3.0], b=[4.0, 5.0], c=[]) == [("now",)] * 3 + [("low",), ("high",)]
