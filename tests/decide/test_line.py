"""Whom a search along a lever asks for, and how many parts a hidden difference is told of."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from advisor.catalogue.kinds import Figure, Whole
from advisor.catalogue.levers import NEAR, Lever
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.decide import leading, tips
from advisor.decide.clipping import clips
from advisor.decide.closing import _crossing, _straight
from advisor.decide.evaluate import Candidate, Evaluation, evaluate
from advisor.decide.leading import Ask, Decided, Deciding, Standing, _better, _taken
from advisor.decide.line import Line
from advisor.decide.newcomers import Newcomers
from advisor.decide.tips import Changes, _between, _laid_out
from advisor.figures import Path as Figures
from tests.studies.small import loaded, part

OUT = float("-inf")
TOLD = {"one": [90.0, 90.0], "two": [70.0, 50.0], "three": [60.0, 89.5], "four": [10.0, 10.0]}


def asked(x: float, told: dict[str, list[float]]) -> set[str] | None:
    """The parts that are asked for between the places 1 and 2, `one` being the winner."""
    line = object.__new__(Line)
    line.deciding = cast(Deciding, SimpleNamespace(winner="one", scores=dict.fromkeys(told, 0.0)))
    line.lever = Lever(Figures("made-up", ("figure",)), Figure("share"), "1", 1.0, 0.0)
    line.moves, line._last = list(told), None
    line._told = np.array([1.0, 2.0]), {name: np.array(row) for name, row in told.items()}
    parts = line.ask(x).parts
    return None if parts is None else set(parts)


def test_whoever_may_lead_on_either_side_of_a_value_is_asked() -> None:
    """A score may jump in between, so the nearer place alone does not tell; and a winner that is
    asked alone leads whatever comes."""
    assert asked(1.1, TOLD) == asked(1.9, TOLD) == {"one", "two", "three"}
    assert asked(1.0, TOLD) == {"one", "two"}
    assert asked(2.0, TOLD) == {"one", "three"}
    # beyond all places the last one tells
    assert asked(0.5, TOLD) == asked(1.0, TOLD)
    assert asked(2.5, TOLD) == asked(2.0, TOLD)


def test_where_nothing_fits_on_one_side_all_are_asked() -> None:
    assert asked(1.1, {name: [row[0], OUT] for name, row in TOLD.items()}) == set(TOLD)


class Scanned(Line):
    """A line whose builds are worth what is written down, (B, N) points at some places."""

    points: dict[Any, list[float]]
    ranges: list[tuple[float, float]]

    def _nearby(self, low: float, high: float) -> list[Any]:
        self.ranges.append((low, high))
        return list(self.points)

    def _raw(self, builds: Any, places: Any, draws: int) -> Any:
        return np.array([self.points[b] for b in builds])

    def _scores(self, places: Any, draws: int, builds: Any) -> Any:
        return self._best(builds, self._raw(builds, places, draws))


def written(points: dict[str, list[float]]) -> Scanned:
    """Builds named by part and number; the part `a` is the winner."""
    line = object.__new__(Scanned)
    line.deciding = cast(Deciding, SimpleNamespace(winner="a"))
    line.points = {Hashed(name[0], name): row for name, row in points.items()}
    line.ranges, line._last = [], None
    return line


@dataclass(frozen=True)
class Hashed:
    """A build by its part and its name."""

    part: str
    name: str


def test_builds_that_lead_their_part_anywhere_are_looked_at_closely() -> None:
    """Of the winner whatever leads it at one place; of its rivals where their part leads them."""
    line = written(
        {
            "a1": [80.0, 70.0, 70.0],
            "a2": [70.0, 70.0, 71.0],
            "a3": [60.0, 60.0, 60.0],
            "b1": [75.0, 60.0, 60.0],
            "b2": [74.0, 61.0, 50.0],
            "c1": [70.0, 60.5, 65.0],
            "c2": [OUT, OUT, OUT],
            "d1": [50.0, 50.0, 50.0],
        }
    )
    found = line.close(np.array([1.0, 3.0, 2.0]))
    assert [b.name for b in found] == ["a1", "a2", "b1", "b2", "c1"]
    assert line.ranges == [(1.0, 3.0)]


def test_builds_between_the_least_and_the_greatest_place_are_scanned() -> None:
    line = written({"a1": [0.0] * 3})
    ((some, builds),) = line._runs(np.array([2.0, 5.0, 3.0]))
    assert some.tolist() == [0, 1, 2]
    assert [b.name for b in builds] == ["a1"]
    assert line.ranges == [(2.0, 5.0)]


def test_of_fewer_parts_than_five_all_are_counted(tmp_path: Path) -> None:
    """Every life lies beyond the anchor of a tenth of a year."""
    product = """
product: plain
invented: true
environment: [{at: 20 degC, share: 1}]
workload: [{task: sample, every: 10 s, kernels: {crc: 3}}]
supply-options: {cells: [{budget: 500 mAh, voltage: 3.0 V}], converters: [none]}
priorities:
  battery-life: {weight: 3, poor: 0 years, good: 0.1 years}
"""
    parts = {name: part(name, "2 ms", "4 mA", "2 µA", "{1: 1.5}", "3 h") for name in ("one", "two")}
    (clip,) = clips(evaluate(*loaded(tmp_path, parts, product), 0))
    assert (clip.head, clip.of, set(clip.parts)) == (2, 2, {"one", "two"})
    assert "battery-life: 2 of the first 2 lie beyond its good anchor" in clip.text
    for change, words in (
        ({"head": 1}, "1 of the first 2 lies beyond"),
        ({"head": 1, "of": 1}, "the only part lies beyond"),
        ({"head": 0, "of": 5}, "none of the first 5 but 2 further down lie beyond"),
        ({"head": 0, "of": 5, "parts": ("one",)}, "but 1 further down lies beyond"),
    ):
        assert words in replace(clip, **change).text


@pytest.mark.parametrize("limit", [True, False])
def test_a_price_may_move_builds_where_a_unit_may_cost_no_more(limit: bool) -> None:
    cost = SimpleNamespace(unit_cost_limit=1.0 if limit else None)
    deciding = object.__new__(Deciding)
    deciding.product = cast(Product, SimpleNamespace(product="probe", cost=cost))
    deciding.scores = {"one": 50.0}
    price = Lever(Figures("one", ("price", "breaks", "1")), Figure("money"), "1", 1.0, 0.0)
    clock = Lever(Figures("one", ("operating-points", "fast")), Figure("current"), "1", 1.0, 0.0)
    assert deciding.plans(price) is limit
    assert deciding.plans(clock)
    # a chip beside a part counts towards what a unit costs as the part does
    deciding.catalogue = cast(Catalogue, SimpleNamespace(addons={"chip": None}))
    for keys in (("price", "breaks", "1"), ("setup",)):
        chip = Lever(Figures("chip", keys), Figure("money"), "1", 1.0, 0.0)
        assert deciding.plans(chip) is limit
    current = Lever(Figures("chip", ("current",)), Figure("current"), "1", 1.0, 0.0)
    assert deciding.plans(current)


@dataclass(frozen=True, order=True)
class Drawing:
    """A build by its name, and what it draws on average."""

    name: str
    amps: float
    part: str = "one"

    @property
    def order(self) -> tuple[float, float, str]:
        return 0.0, self.amps, self.name


def test_builds_worth_the_same_are_told_apart_by_what_they_draw(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Beyond nine decimals points are told apart by the order of sums alone: of four builds two
    are looked at, those that draw least, as `Build.order` has it."""
    told = {("a", 4e-6): 60 + 3e-11, ("b", 2e-6): 60.0, ("c", 3e-6): 60 + 5e-11}
    told["d", 1e-6] = 60 - 1e-8
    builds = [Drawing(*one) for one in told]
    points = np.array(list(told.values()))[:, None]
    monkeypatch.setattr(leading, "scan_bills", lambda *_: (points, set()))
    monkeypatch.setattr(leading, "criteria_of", lambda *_: ())
    deciding = object.__new__(Deciding)
    deciding.catalogue, deciding.product = cast(Any, None), cast(Any, None)
    deciding.moved = lambda *_: None  # type: ignore[method-assign]
    deciding._purses, deciding.winner = cast(Any, None), "one"
    deciding._levels = {}
    deciding._stand, deciding.scores = cast(Any, builds), {"one": 60.0, "two": 50.0}
    units = Lever(Figures("probe", ("cost", "units")), Figure("count"), "1", 1.0, 0.0)
    found = deciding._billed(Ask(units, 2.0, None))
    assert [build.name for build in found.builds] == ["b", "c"]
    assert found.standing.scores == {"one": 60.0}


@pytest.mark.parametrize("weighs", [True, False])
@pytest.mark.parametrize("moves", [["one"], ["one", "two"]])
def test_looks_are_for_what_moves_several_parts_and_is_no_weight(
    moves: list[str], weighs: bool
) -> None:
    """Values of one part are decided many in a pass, and weights move what is known already."""
    line = object.__new__(Line)
    line.moves, line.lever = moves, cast(Lever, None)
    line.deciding = cast(Deciding, SimpleNamespace(weighs=lambda _: weighs))
    assert line.worth_looks is (len(moves) > 1 and not weighs)


def test_who_leads_and_by_how_much() -> None:
    """Of `one`, which leads now; a part that is out has no score."""
    deciding = object.__new__(Deciding)
    deciding.winner, deciding._levels = "one", {"one": (3.0,), "two": (2.0,)}
    for scores, leader, lead in (
        ({"three": 50.0, "one": 50.0, "two": 50.0}, "two", 0.0),
        ({"one": 60.0, "two": 50.0, "three": 55.0}, "one", 5.0),
        ({"one": 50.0, "two": 60.0, "three": 55.0}, "two", -10.0),
        ({"one": 50.0}, "one", np.inf),
        ({"two": 60.0}, "two", OUT),
        ({}, None, OUT),
    ):
        found = deciding.standing(scores)
        assert (found.leader, found.lead) == (leader, lead)


def test_anchors_move_with_what_they_go_by(monkeypatch: pytest.MonkeyPatch) -> None:
    """Above 5 nothing may stand, and they are those of now; weights are those that stand."""
    deciding: Any = object.__new__(Deciding)
    deciding.catalogue, deciding.product = "parts", "now"
    deciding.base = SimpleNamespace(criteria=(Anchored("now", 3.0),))
    deciding.moved = lambda _, x: ("parts", f"at {x:g}") if x <= 5 else None
    monkeypatch.setattr(leading, "criteria_of", lambda _, product: (Anchored(product, 1.0),))
    assert deciding._criteria_at(None, 4.0) == (Anchored("at 4", 3.0),)
    assert deciding._criteria_at(None, 6.0) == (Anchored("now", 3.0),)


@dataclass(frozen=True)
class Anchored:
    """A criterion by where its anchors are from, and its weight."""

    of: str
    weight: float


def test_a_decision_by_draws_takes_the_build_that_it_chose() -> None:
    """By the stated values two others do better; one of these is far behind the other."""
    builds = [SimpleNamespace(score=score) for score in (60.0, 50.0, 40.0)]
    chosen: Any = SimpleNamespace(builds=builds, best=builds[2])
    assert _taken(chosen, False) == [builds[2]]
    stated: Any = SimpleNamespace(builds=builds, best=builds[0])
    assert _taken(stated, True) == [builds[0]]


@pytest.mark.parametrize(
    ("ahead", "behind", "share"),
    [(1.0, -1.0, 0.5), (3.0, -1.0, 0.75), (-0.5, -2.0, 0), (2.0, 0.5, 1), (np.inf, -1.0, 0.5)],
)
def test_a_straight_line_is_followed_no_further_than_its_ends(
    ahead: float, behind: float, share: float
) -> None:
    """From 1 to 3, by the logarithm; where the lead has no end it is halved."""
    found = _straight(1.0, ahead, 3.0, behind)
    assert found == pytest.approx(3.0**share, rel=1e-12)


def test_places_of_a_whole_number_are_whole() -> None:
    whole = Lever(Figures("made-up", ("figure",)), Whole(), "4", 4.0, 0.0)
    assert _between(whole, 4.0, 9.0, 3) == [5.0, 7.0]
    assert _between(whole, 4.0, 5.0, 4) == []
    # outward from 4, by the powers of 3/2 of sixths: 4.2, 4.7, 5.3, 6.2, 7.4 and the end
    assert _laid_out(whole, 9.0, 6).tolist() == [5.0, 6.0, 7.0, 9.0]


def test_it_is_told_of_every_lever_that_is_through(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two of the product, and two of a part, which are searched together."""
    deciding: Any = SimpleNamespace(
        of_part=lambda one: one.path.document == "one",
        may_stand=lambda *_: True,
        decided=lambda _: [],
        weighs=lambda _: False,
        scores={},
        drawn=set(),
        look_as_now=lambda *_, **__: None,
        of_money=lambda _: False,
        put_away=lambda: None,
        apart=lambda: deciding,
    )

    def at_once(*_: object) -> Generator[Ask, Decided, Changes]:
        yield from ()
        return Changes(None, None)

    monkeypatch.setattr(tips, "_both", at_once)
    line = SimpleNamespace(
        untold=False, carried=[], given=lambda _: np.empty((0, 0)), take_over=lambda *_: None
    )
    monkeypatch.setattr(tips, "Line", lambda *_: line)
    monkeypatch.setattr(tips, "scanned_together", lambda *_: None)
    monkeypatch.setattr(tips, "let_in", lambda *_: Newcomers())
    levers = [
        (Lever(Figures(name, (key,)), Figure("share"), "1", 1.0, 0.0), (0.5, 2.0))
        for name in ("probe", "one")
        for key in ("a", "b")
    ]
    told: list[int] = []
    found = tips.nearest_tips(deciding, levers, 5, told.append)
    assert found == [Changes(None, None)] * 4
    assert told == [2, 3, 4]  # the part's first, which take longest


@pytest.mark.parametrize("steep", [0.5, 4.0, 60.0])
@pytest.mark.parametrize("at", [1.21, 1.37, 1.44])
def test_a_crossing_is_closed_in_on_where_the_scan_is_wrong(at: float, steep: float) -> None:
    """The scan has a straight lead, gone at 1.3; the draws have one that bends, gone at `at`."""
    line: Any = SimpleNamespace(
        lever=Lever(Figures("made-up", ("figure",)), Figure("share"), "1", 1.0, 0.0),
        between=lambda places: steep * (1.3 - places),
        close=lambda _: ["build"],
        stand=lambda builds, places: np.ones((len(builds), len(places)), dtype=bool),
        knows=lambda _: False,
        exactly=lambda x, _: steep * (at**3 - x**3),
    )
    found = _crossing(line, 1.0, 2.0)
    assert found == pytest.approx(at, rel=NEAR)


@pytest.mark.parametrize("gone", [1.13, 1.371, 1.44])
def test_a_build_that_falls_out_at_its_stated_values_is_a_step(gone: float) -> None:
    """By the draws the build that leads is kept up to 1.5; at the stated values it breaks a limit
    from `gone` on, and the lead is lost there."""
    lever = Lever(Figures("made-up", ("figure",)), Figure("share"), "1", 1.0, 0.0)
    fallen: set[float] = set()

    def stand(builds: list[str], places: Any) -> Any:
        fallen.update(x for x in places.tolist() if x >= gone)
        return np.array([[b == "other" or x < gone for x in places.tolist()] for b in builds])

    def between(places: Any) -> Any:
        leads = np.where(places < 1.5, 3.0, -2.0)
        return np.where([x in fallen for x in places.tolist()], -2.0, leads)

    line: Any = SimpleNamespace(
        lever=lever,
        between=between,
        close=lambda _: ["best", "other"],
        stand=stand,
        that_stand=lambda x, builds: [b for b in builds if b == "other" or x < gone],
        knows=lambda _: False,
        exactly=lambda x, some: 3.0 if "best" in some else -2.0,
    )
    assert _crossing(line, 1.0, 2.0) == pytest.approx(gone, rel=NEAR)


def test_packs_far_behind_on_both_sides_are_not_tried() -> None:
    """From 1 to 2 the second pack is 30 points behind and the third 4 at one end; of the fourth
    none stands, so nothing is known; the fifth was taken by a decision."""
    points = {
        "a1": [90.0, 80.0],
        "a2": [60.0, 50.0],
        "a3": [86.0, 60.0],
        "a4": [OUT, OUT],
        "a5": [50.0, 50.0],
        "b2": [70.0, 70.0],
    }
    line = Spread([1.0, 2.0], points)
    line.lever = Lever(Figures("made-up", ("figure",)), Figure("share"), "1", 1.0, 0.0)
    line.deciding = cast(
        Deciding,
        SimpleNamespace(
            winner="a", scores={}, weighs=lambda _: False, paired=lambda build: build.name[1]
        ),
    )
    five = next(b for b in line.builds if b.name == "a5")
    line._known = {1.5: ({}, {"a": cast(Any, five)})}
    line._raw = lambda builds, places, draws: np.array([[points[b.name][0]] for b in builds])  # type: ignore[method-assign]
    line.moves = ["a", "b"]
    without, beside = line._hopeless(1.4, ("a",))
    assert set(map(str, without)) == {"2"}
    assert beside == {"a": 60.0}
    # a part that has nothing better wants it
    assert not any(line._hopeless(1.4, ("a", "b")))


def test_packs_left_out_are_tried_where_a_part_has_nothing_better() -> None:
    one: Any = SimpleNamespace(part=SimpleNamespace(part="a"), score=70.0)
    lever = Lever(Figures("made-up", ("figure",)), Figure("share"), "1", 1.0, 0.0)

    def better(points: float, *parts: str) -> bool:
        return _better([one], Ask(lever, 1.0, parts, beside={"a": points}))

    assert better(66.0, "a")
    assert not better(68.0, "a")
    # ruled out on all that was tried
    assert not better(66.0, "a", "b")


def test_a_figure_s_spread_may_move_what_its_stated_value_does_not() -> None:
    """A lever that changes no stated score is let be, but an end of a spread, which moves draws."""
    deciding = object.__new__(Deciding)
    two = [("one", (40.0, 50.0)), ("two", (30.0,))]
    deciding.candidates = cast(
        list[Candidate],
        [
            SimpleNamespace(
                part=SimpleNamespace(part=name), builds=[SimpleNamespace(score=x) for x in scores]
            )
            for name, scores in two
        ],
    )

    deciding.scores = {"one": 50.0, "two": 30.0}

    def nothing(key: str, document: str, **scores: float) -> bool:
        moved = Lever(Figures(document, ("clock", key)), Figure("time"), "1", 1.0, 0.0)
        return deciding.moves_nothing(moved, Standing("one", 0.0, scores))

    assert nothing("value", "one", one=50.0)
    assert not nothing("value", "one", one=50.1)
    assert not nothing("value", "probe", one=50.0)
    assert nothing("value", "probe", one=50.0, two=30.0)
    assert not nothing("value", "probe", one=50.0, two=30.0, three=10.0)  # which is out now
    for end in ("typical", "max", "low", "likely", "high"):
        assert not nothing(end, "one", one=50.0)


@pytest.mark.parametrize("u", [0.0, 0.5])
def test_a_weight_is_weighed_anew_where_no_weight_is_drawn(u: float) -> None:
    deciding = object.__new__(Deciding)
    weight = {"life": SimpleNamespace(u=0.0), "cost": SimpleNamespace(u=u)}
    priorities = {name: SimpleNamespace(weight=one) for name, one in weight.items()}
    deciding.product = cast(Product, SimpleNamespace(product="probe", priorities=priorities))
    criteria = [SimpleNamespace(name=name) for name in weight]
    deciding.base = cast(Evaluation, SimpleNamespace(criteria=criteria))
    for keys, named in (
        (("priorities", "life", "weight"), True),
        (("priorities", "life", "good"), False),
        (("priorities", "size", "weight"), False),
        (("cost", "life", "weight"), False),
    ):
        lever = Lever(Figures("probe", keys), Figure("count"), "1", 1.0, 0.0)
        assert deciding.weighs(lever) is (named and not u)


class Spread(Line):
    """A line of which only what was scanned last is known; the part `a` is the winner."""

    def __init__(self, places: list[float], points: dict[str, list[float]]) -> None:
        self.builds = [Hashed(name[0], name) for name in points]
        self._carried = {(b.part, b.name): cast(Any, b) for b in self.builds}
        self._known = {}
        self._last = np.array(places), cast(Any, self.builds), np.array(list(points.values()))
        self.moves = cast(Any, {b.part for b in self.builds})
        self.deciding = cast(Deciding, SimpleNamespace(winner="a", scores={}))


def test_between_two_places_count_the_builds_that_may_lead_there() -> None:
    """From 2.5 to 3.5 the scan's places 2 to 4 tell, and from 0 to 9 all of them. Where builds take
    turns each may be at its least in between, so one that is no better counts as well."""
    points = {
        "a1": [10.0, 60.0, 60.0, 60.0, 10.0],
        "a2": [60.0, 10.0, 10.0, 10.0, 10.0],
        "a3": [10.0, 10.0, 10.0, 10.0, 60.0],
        "b1": [55.0, 20.0, 20.0, 59.0, 20.0],
        "c1": [10.0, 10.0, 10.0, 10.0, 10.0],
    }
    line = Spread([1.0, 2.0, 3.0, 4.0, 5.0], points)
    for low, high, counts in (
        (2.5, 3.5, {"a1", "b1"}),
        (2.5, 2.8, {"a1"}),
        (4.2, 4.8, {"a1", "a2", "a3", "b1"}),
        (0.5, 1.2, {"a1", "a2", "a3", "b1"}),
        (4.5, 9.0, {"a1", "a2", "a3", "b1"}),
        (0.0, 9.0, {"a1", "a2", "a3", "b1"}),
    ):
        assert {b.name for b in line._nearby(low, high)} == counts, (low, high)
