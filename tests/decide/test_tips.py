"""No nearer tip than the one that is found: by decisions on a grid over random catalogues, and by
leads that are made up to hide one; each number of the search has a case that needs it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import cast

import numpy as np
import pytest
from numpy.typing import NDArray

from advisor.catalogue.kinds import Figure
from advisor.catalogue.levers import Lever, lever
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.catalogue.shipped import load
from advisor.decide import leading, tips
from advisor.decide.builds import Build
from advisor.decide.evaluate import evaluate
from advisor.decide.fronts import fronts
from advisor.decide.leading import Ask, Decided, Deciding, Standing
from advisor.decide.line import Line
from advisor.decide.scans import FINE
from advisor.figures import Path as Figures
from advisor.model.draws import Array
from advisor.studies.tipping import _asked, tipping
from tests.decide.judge import nearer
from tests.decide.random_catalogues import several, unsure
from tests.shares import mostly_slow

pytestmark = pytest.mark.once

# By the judge ------------------------------------------------------------------------------------

DRAWS = 200


@pytest.mark.parametrize("seed", mostly_slow(range(3), 3))
def test_the_grid_knows_no_nearer_tip(seed: int, tmp_path: Path) -> None:
    """A few levers of each of a few products, as drawn; more of both are tried by hand."""
    inputs = unsure(several(seed, 2 + seed % 2, reservoir=seed == 2), seed).load(tmp_path)
    _no_nearer(*inputs, seed, 15)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [0, 1, 5])
def test_a_fine_grid_knows_no_nearer_tip(seed: int, tmp_path: Path) -> None:
    _no_nearer(*unsure(several(seed, 2), seed).load(tmp_path), seed, 200)


def _no_nearer(catalogue: Catalogue, product: Product, seed: int, count: int) -> None:
    base = evaluate(catalogue, product, DRAWS)
    assert len(base.candidates) >= 2
    inputs = catalogue.only([c.part.part for c in base.candidates]), product
    levers = _asked(base, ())
    rng = np.random.default_rng(seed)
    some = [levers[n] for n in rng.choice(len(levers), 4, replace=False)]
    winner = base.candidates[0].part.part
    for tip in tipping(*inputs, [str(handle.path) for handle in some], draws=DRAWS).levers:
        handle = lever(*inputs, tip.path)
        assert nearer(*inputs, handle, tip, winner, count, DRAWS) == [], tip.path


# By leads that are made up -----------------------------------------------------------------------

LEVER = Lever(Figures("made-up", ("figure",)), Figure("share"), "1", 1.0, 0.0)
ENDS = (1 / 8, 8.0)
Lead = Callable[[float], float]


@dataclass
class MadeUp:
    """A decision between `one`, which leads now, and `two`, by a function of one lever; a scan of
    it by another, which may know what was asked."""

    lead: Lead
    guess: Callable[[float, Sequence[float]], float]
    lever: Lever = LEVER
    winner: str = "one"
    staged: bool = False
    untold: bool = False
    asked: list[float] = field(default_factory=list)
    carried: list[int] = field(default_factory=list)
    worth_looks: bool = False
    reckoned: list[float] = field(default_factory=list)
    looked: list[float] = field(default_factory=list)
    parts: tuple[str, ...] = ()

    @property
    def deciding(self) -> MadeUp:
        return self

    def stands(self) -> Standing:
        return self.standing(1.0)

    def standing(self, x: float) -> Standing:
        ahead = self.lead(x)
        scores = {"one": 50.0 + ahead, "two": 50.0}
        return Standing("one" if ahead >= 0 else "two", ahead, scores)

    def hides(self, *_: float) -> bool:
        return True

    def knows(self, x: float) -> bool:
        return x == 1.0 or x in self.asked

    def seen_near(self, x: float, share: float) -> bool:
        return any(abs(one - x) <= share * x for one in (1.0, *self.looked, *self.asked))

    def out_near(self, x: float, share: float) -> bool:
        near = [one for one in (*self.looked, *self.asked) if abs(one - x) <= share * x]
        return any(self.winner not in self.standing(one).scores for one in near)

    def kept_before(self, x: float) -> float:
        return max(one for one in (1.0, *self.asked) if one < x and self.lead(one) >= 0)

    def reckon(self, x: float, _: Sequence[int], draws: int) -> float:
        assert draws == self.most
        self.reckoned.append(x)
        return self.exactly(x, [])

    most = 2000

    def stand(self, builds: Sequence[int], places: Array) -> NDArray[np.bool_]:
        return np.ones((len(builds), len(places)), dtype=bool)

    def surely(self, places: Array) -> tuple[Array, NDArray[np.bool_]]:
        return self.leads(places), np.ones(len(places), dtype=bool)

    def finely(self, x: float) -> float:
        return self.guess(x, self.asked)

    def may_bring(self, _: Array) -> bool:
        return True

    def plans(self, _: Lever) -> bool:
        return True

    def look(self, x: float) -> Ask:
        return Ask(self.lever, x, (), stated=True)

    def ask(self, x: float) -> Ask:
        return Ask(self.lever, x, ())

    def learn(self, ask: Ask, _: Decided) -> bool:
        if ask.stated:
            self.looked.append(ask.x)
        else:
            self.asked.append(ask.x)
            self.carried.append(len(self.asked))
        return True

    def known_lead(self, x: float) -> float:
        return self.lead(x)

    def known_standing(self, x: float) -> Standing:
        return self.standing(x)

    def taken(self, _: Sequence[float]) -> list[int]:
        return [1]

    def that_stand(self, _: float, builds: list[int]) -> list[int]:
        return builds

    def leads(self, places: Array) -> Array:
        return np.array([self.guess(x, self.asked) for x in places])

    between = leads

    def close(self, _: Array) -> list[int]:
        return [1]

    def exactly(self, x: float, _: Sequence[int]) -> float:
        return self.guess(x, self.asked)

    def decided(self, wanted: Sequence[Ask]) -> list[Decided]:
        return [Decided(self.standing(one.x), []) for one in wanted]


class Sure(MadeUp):
    """All draws tell the truth."""

    def exactly(self, x: float, _: Sequence[int]) -> float:
        return self.lead(x)


def searched(
    lead: Lead,
    guess: Callable[[float, Sequence[float]], float] | None = None,
    worth_looks: bool = False,
) -> tuple[float | None, MadeUp]:
    """Where the search puts the tip above the value that stands."""
    made = MadeUp(lead, guess or (lambda x, _: lead(x)), worth_looks=worth_looks)
    search = tips._both(cast(Line, made), (1.0, 8.0), 12)
    (found,) = tips._run(cast(Deciding, made), [search])
    return None if found.tip is None else found.tip.at, made


def dent(at: float, slope: float, depth: float) -> Lead:
    """A lead of builds that take turns: down and up again in the logarithm, least at a place."""
    return lambda x: slope * abs(np.log(x / at)) - depth


@pytest.mark.parametrize("at", np.geomspace(1.3, 7.5, 9))
def test_a_lead_that_comes_back_is_seen(at: float) -> None:
    """Lost over 2 % of the figure, far less than the places to begin with are apart."""
    for looks in (False, True):
        found, made = searched(dent(at, 10.0, 0.1), None, looks)
        assert found == pytest.approx(at * np.exp(-0.01), rel=1e-3)
        # by decisions alone, whatever was reckoned on the way
        assert found in made.asked
        assert any(x < at * np.exp(-0.01) < x * (1 + 1.1e-3) for x in [1.0, *made.asked])


@pytest.mark.parametrize("looks", [True, False])
@pytest.mark.parametrize("dip", [-0.1, 0.3])
def test_where_all_draws_keep_the_lead_no_decision_is_taken(looks: bool, dip: float) -> None:
    """A scan that loses the lead at 1.7 and from 3 to 4, or has little left there."""

    def lean(x: float, _: Sequence[float]) -> float:
        return dip if abs(x - 1.7) < 0.05 or 3.0 < x < 4.0 else 2.0

    made = Sure(lambda x: 2.0 if x < 6.0 else -1.0, lean, worth_looks=looks)
    search = tips._both(cast(Line, made), (1.0, 5.0), 12)
    (found,) = tips._run(cast(Deciding, made), [search])
    assert found == tips.Changes(None, None)
    assert made.asked == []
    assert len(made.reckoned) > 0


class Limited(MadeUp):
    """Beyond 4 a limit rules all out that no scan knows of."""

    def standing(self, x: float) -> Standing:
        return Standing(None, -np.inf, {}) if x > 4.0 else super().standing(x)


def test_a_limit_that_no_scan_knows_of_is_found_by_looks() -> None:
    made = Limited(lambda _: 2.0, lambda x, _: 2.0, worth_looks=True)
    search = tips._both(cast(Line, made), (1.0, 8.0), 12)
    (found,) = tips._run(cast(Deciding, made), [search])
    assert found.tip is None
    assert found.limit is not None
    assert found.limit.leader is None
    assert found.limit.at == pytest.approx(4.0, rel=1e-3)


def test_what_was_reckoned_wrongly_is_put_right_by_decisions() -> None:
    """By all draws of what is carried the lead is kept up to 4, by decisions up to 2 only."""
    for until in (4.0, 2.5):

        def scan(x: float, _: Sequence[float], until: float = until) -> float:
            return 3.0 if x < until else -3.0

        found, made = searched(lambda x: 1.0 if x < 2.0 else -1.0, scan, True)
        assert found == pytest.approx(2.0, rel=1e-3)
        assert found in made.asked


def test_what_moves_nothing_is_not_asked_for() -> None:
    found, made = searched(lambda _: 1.5)
    assert found is None
    assert made.asked == []


@pytest.mark.parametrize("at", [1.0005, 1.02, 2.345, 7.99])
def test_a_change_is_confirmed_on_both_sides(at: float) -> None:
    for lead in (lambda x: -np.inf if x > at else 9.0, lambda x: 5 * np.log(at / x)):
        found, made = searched(lead)
        assert found == pytest.approx(at, rel=1e-3)
        assert found is not None
        assert found >= at
        assert any(x < at and x > found * (1 - 1.1e-3) for x in [1.0, *made.asked])
        assert found in made.asked
        assert len(made.asked) <= 6


def optimist(x: float, _: Sequence[float]) -> float:
    """A scan that does not know the rival's best build: 0.4 points too much."""
    return dent(2.5, 10.0, 0.3)(x) + 0.4


def pessimist(x: float, _: Sequence[float]) -> float:
    """A scan that does not know the leader's best build: lost from 1.5 on."""
    return 5.0 if x < 1.5 else -5.0


def learner(x: float, asked: Sequence[float]) -> float:
    """A scan that sees the nearer change only by what was found at the farther one."""
    knows = sum(3.98 < one < 4.02 for one in asked) >= 2
    return truth(x) if knows or x > 3.0 else 9.0


def truth(x: float) -> float:
    """Lost between 1.5 and 1.9, and from 4 to 5."""
    return -1.0 if 1.5 < x < 1.9 or 4.0 < x < 5.0 else 5.0


def narrow(x: float, _: Sequence[float] = ()) -> float:
    """Lost over 1 %."""
    return dent(2.5, 10.0, 0.05)(x)


def late(x: float) -> float:
    """Lost between 3 and 6 only."""
    return -5.0 if 3.0 < x < 6.0 else 5.0


# number of the search -> (the truth, the scan, where it tips, a value with which that is missed)
NEEDED: dict[str, tuple[Lead, Callable[[float, Sequence[float]], float], float, int]] = {
    "SLACK": (dent(2.5, 10.0, 0.3), optimist, 2.5 * np.exp(-0.03), 0),
    "AGAIN": (truth, learner, 1.5, 1),
    "PARTS": (narrow, narrow, 2.5 * np.exp(-0.005), 2),
    "ROUNDS": (narrow, narrow, 2.5 * np.exp(-0.005), 0),
}


@pytest.mark.parametrize("name", NEEDED)
def test_every_number_of_the_search_is_needed(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    lead, guess, at, absurd = NEEDED[name]
    assert searched(lead, guess)[0] == pytest.approx(at, rel=1e-3)
    monkeypatch.setattr(tips, name, absurd)
    missed, _ = searched(lead, guess)
    assert missed is None or missed > 1.005 * at


def test_a_scan_that_loses_the_lead_too_soon_is_gone_beyond() -> None:
    assert searched(late, pessimist)[0] == pytest.approx(3.0, rel=1e-3)


# What is carried and what is decided together ----------------------------------------------------


def deciding_on(name: str, draws: int = 300) -> Deciding:
    catalogue, product = load(name)
    base = evaluate(catalogue, product, draws)
    names = [c.part.part for c in base.candidates[:4]]
    return Deciding(catalogue, product, base, names, fronts(base))


def test_many_values_in_one_pass_are_the_decisions_one_by_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    deciding = deciding_on("barrel-tag")
    first = deciding.winner
    paths = (f"{first}:sleep-states.ram-kept.current.25 degC", f"{first}:supply.min")
    wanted = []
    for path in paths:
        handle = lever(deciding.catalogue, deciding.product, path)
        assert handle.now is not None
        shares = (0.3, 1.0, 1.2, 1.4, 3.0)
        wanted += [Ask(handle, handle.now * share, ()) for share in shares]
    together = deciding.decided(wanted)
    monkeypatch.setattr(leading, "MANY", 3)
    assert [one.standing for one in deciding.decided(wanted)] == [one.standing for one in together]
    for ask, decided in zip(wanted, together, strict=True):
        moved = deciding.moved(ask.lever, ask.x)
        if moved is None:
            # a least supply above the greatest may not stand, so it changes nothing
            assert decided.standing == deciding.stands()
            continue
        found = evaluate(*moved, deciding.base.draws).candidates
        assert decided.standing.leader == found[0].part.part
        scores = {c.part.part: c.score for c in found}
        assert decided.standing.scores == pytest.approx(scores, rel=1e-12)
    assert {one.standing.leader for one in together} > {first}


def test_builds_that_some_weights_may_choose_are_carried() -> None:
    """Those that stand otherwise are one a pack and converter and those drawn; one more beside."""
    plain = deciding_on("barrel-tag")
    first = plain.candidates[0]
    build = next(b for b in first.builds if b not in plain.carried)
    offered = [list(some) for some in fronts(plain.base)]
    offered[0].append(replace(offered[0][0], build=build))
    names = list(plain.scores)
    found = Deciding(plain.catalogue, plain.product, plain.base, names, offered)
    assert set(found.carried) == {*plain.carried, build}
    assert {one.build for one in plain.offered} <= set(plain.carried)


def test_what_moves_no_drawn_figure_is_staged_by_the_draws_asked_for() -> None:
    """The stated values for none: what stands there is told by them."""
    deciding = deciding_on("barrel-tag")
    handle = lever(
        deciding.catalogue, deciding.product, "barrel-tag:standing-loads.level-strip.current"
    )
    assert handle.now is not None
    x = 3 * handle.now
    moved = deciding.moved(handle, x)
    assert moved is not None
    for draws in (0, 40):
        found = deciding._staged(handle, deciding.carried, x, draws)
        assert found is not None
        there = {(b.part, b.name): points for b, points in scored(*moved, draws).items()}
        told = dict(zip(((b.part, b.name) for b in deciding.carried), found, strict=True))
        both = [key for key in there if key in told and np.isfinite(told[key])]
        assert len(both) >= 4
        assert [told[key] for key in both] == pytest.approx([there[key] for key in both], rel=1e-9)


def test_near_a_look_without_the_winner_it_is_out() -> None:
    """Within a share of a value, of 10 K for a temperature; a look that finds it says nothing."""
    deciding = deciding_on("barrel-tag", 0)
    for name, width in (("environment.22 degC.at", 10.0), ("service-life", None)):
        handle = lever(deciding.catalogue, deciding.product, f"barrel-tag:{name}")
        assert handle.now is not None
        line = Line(deciding, handle)
        lost, kept = 1.2 * handle.now, 1.1 * handle.now
        others = {p: v for p, v in deciding.scores.items() if p != deciding.winner}
        for x, scores in ((lost, others), (kept, deciding.scores)):
            ask = Ask(handle, x, (), stated=True)
            line.learn(ask, Decided(deciding.standing(scores), []))
        span = 0.01 * (width or lost)
        assert line.out_near(lost - 0.98 * span, 0.01)
        assert line.out_near(lost, 0.0)
        assert not line.out_near(lost + 1.02 * span, 0.01)
        assert not line.out_near(kept, 0.01)
        assert line.seen_near(kept, 0.0)
        assert not line.seen_near(kept - 0.05 * handle.now, 0.01)


def scored(catalogue: Catalogue, product: Product, draws: int) -> dict[Build, float]:
    """What builds are worth in a decision, in points."""
    candidates = evaluate(catalogue, product, draws).candidates
    if not draws:
        return {b: b.score for c in candidates for b in c.builds}
    return {b: drawn.expected for c in candidates for b, drawn in c.tried.items()}


@pytest.mark.parametrize("name", mostly_slow(["barrel-tag", "frost-post", "valve-driver"], 3))
def test_a_scan_is_exact_where_the_decision_is_known(name: str) -> None:
    deciding = deciding_on(name)
    for dotted in ("cost.engineer-rate", "priorities.lifetime-cost.weight", "service-life"):
        handle = lever(deciding.catalogue, deciding.product, f"{name}:{dotted}")
        assert handle.now is not None
        line = Line(deciding, handle)
        now = np.array([handle.now])
        stands = deciding.stands().lead
        leads = line.leads(now)
        assert leads is not None
        assert leads[0] == pytest.approx(stands, rel=1e-9)
        assert line.between(now)[0] == pytest.approx(stands, rel=1e-9)
        # and where it was asked for
        ask = Ask(handle, 1.5 * handle.now, tuple(deciding.scores))
        (found,) = deciding.decided([ask])
        line.learn(ask, found)
        told = line.between(np.array([1.5 * handle.now]))[0]
        assert told == pytest.approx(found.standing.lead, rel=1e-9)


@pytest.mark.slow
def test_more_draws_tell_the_lead_more_closely() -> None:
    deciding = deciding_on("frost-post", 1000)
    handle = lever(deciding.catalogue, deciding.product, "frost-post:service-life")
    assert handle.now is not None
    line = Line(deciding, handle)
    x = 1.3 * handle.now
    (found,) = deciding.decided([Ask(handle, x, tuple(deciding.scores))])
    assert line.leads(np.array([x])) is not None
    far = abs(line.between(np.array([x]))[0] - found.standing.lead)
    builds = line.close(np.array([x]))
    near = abs(line.exactly(x, builds) - found.standing.lead)
    assert FINE < 1000
    assert near <= max(far, 0.05)
    assert near < 0.1
