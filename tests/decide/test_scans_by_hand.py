"""What scans know of a lever, and what they lack between known values, over written figures."""

from __future__ import annotations

from collections.abc import Mapping
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from advisor.catalogue.kinds import Figure
from advisor.catalogue.levers import Lever
from advisor.decide.scans import COARSE, FINE, Scans
from advisor.decide.waiting import Waiting
from tests.decide.test_line_by_hand import Build

pytestmark = pytest.mark.once

NOW = 4.0
A1, A2, B1 = Build("a", "a1"), Build("a", "a2"), Build("b", "b1")


class Told(Scans):
    """Scans of which decisions and points are written down."""

    chosen: Mapping[float, Mapping[str, float]]  # what scans tell of the builds that were taken
    own: Mapping[float, Mapping[Build, float]]

    def _chosen(self, x: float, draws: int) -> Any:
        return self._known[x][0], self.chosen.get(x, {})

    def _points_at(self, builds: Any, x: float, draws: int) -> Any:
        return np.array([self.own.get(x, {}).get(build, np.nan) for build in builds])


def told(known: Mapping[float, Mapping[str, float]], kind: type[Scans] = Told) -> Any:
    """Scans with the scores of parts at some values; `a` is the part that leads now."""
    out: Any = object.__new__(kind)
    out.lever = Lever(path=cast(Any, "p:at"), kind=Figure("share"), unit="1", now=NOW, u=0.0)
    out.moves, out.staged = ["a", "b"], False
    out._known = {x: (scores, {}) for x, scores in known.items()}
    out._standings = {}
    out._reckoned, out._points, out._fallen = set(), {}, {}
    out.deciding = SimpleNamespace(
        winner="a",
        as_now={},
        weighs=lambda _: False,
        waiting=Waiting(),
        standing=lambda scores: SimpleNamespace(leader=max(scores, key=scores.__getitem__)),
    )
    return out


def test_the_farthest_value_before_another_at_which_the_lead_was_kept() -> None:
    kept, lost = {"a": 50.0, "b": 40.0}, {"a": 40.0, "b": 50.0}
    line = told({NOW: kept, 3.0: kept, 2.0: lost, 7.0: kept, 8.0: kept, 9.0: kept})
    line._reckoned.add(8.0)
    assert line.kept_before(1.0) == 3.0
    assert line.kept_before(3.5) == NOW
    assert line.kept_before(8.5) == 7.0
    # the value itself tells nothing of what lies before it
    assert line.kept_before(9.0) == 7.0


@pytest.mark.parametrize(
    ("places", "wanted"),
    [
        ([3.0, 6.0], [2.0, 4.0, 8.0]),
        ([4.5, 6.0], [4.0, 8.0]),
        ([2.5, 3.0], [2.0, 4.0]),
        ([9.0, 10.0], [8.0]),
        ([1.0], [2.0]),
        ([4.0], [2.0, 4.0, 8.0]),
    ],
)
def test_known_values_around_places(places: list[float], wanted: list[float]) -> None:
    line = told({x: {"a": 1.0} for x in (8.0, 2.0, 4.0)})
    assert sorted(line._around(np.array(places))) == wanted


def test_what_scans_lack_goes_evenly_over_the_logarithm_between_decisions() -> None:
    line = told({x: {"a": 50.0, "b": 40.0} for x in (2.0, NOW, 8.0)})
    # at 2 no build of b was taken; there a2 is worth more by the scan than the one that was
    line.chosen = {2.0: {"a": 48.0}, NOW: {"a": 50.0, "b": 39.0}, 8.0: {"a": 51.0, "b": 43.0}}
    line.own = {2.0: {A1: 47.0, A2: 49.0}, NOW: {B1: 30.0}}
    at = np.array([1.0, 2.0, 2.5, NOW, 6.0, 8.0, 20.0])
    found = line._off([A1, B1, A2], at, FINE)
    axis = np.log(at)
    ends = np.log([2.0, NOW, 8.0])
    assert found[0] == pytest.approx(np.interp(axis, ends, [2.0, 0.0, -1.0]))
    assert found[1] == pytest.approx(np.interp(axis, ends[1:], [1.0, -3.0]))
    assert found[2] == pytest.approx(np.interp(axis, ends, [1.0, 0.0, -1.0]))


def test_one_decision_puts_right_its_parts_alone() -> None:
    line = told({NOW: {"a": 50.0, "b": 40.0}})
    line.chosen, line.own = {NOW: {"a": 48.0}}, {}
    assert line._off([A1, B1], np.array([1.0, 9.0]), FINE).tolist() == [[2.0, 2.0], [0.0, 0.0]]


def test_builds_that_fall_at_the_stated_values_are_out_of_all_but_the_first_scans() -> None:
    line = told({NOW: {"a": 50.0}}, Scans)
    line.deciding.scanned = lambda lever, builds, places, draws, staged: np.full(
        (len(builds), len(places)), float(draws)
    )
    line._fallen = {2.0: {A2}}
    some = np.array([2.0, 3.0])
    assert line._raw([A1, A2], some, FINE).tolist() == [[FINE, FINE], [-np.inf, FINE]]
    assert line._raw([A1, A2], some, COARSE).tolist() == [[COARSE, COARSE], [COARSE, COARSE]]


def test_where_no_scan_tells_anything_there_are_no_scores() -> None:
    line = told({NOW: {"a": 50.0}}, Scans)
    line.deciding.scanned = lambda *_: None
    assert line._scores(np.array([2.0]), FINE, [A1]) is None
