"""No nearer tip than the one that is found: by decisions on a grid over random catalogues, and by
leads that are made up to hide one; each number of the search has a case that needs it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import cast

import numpy as np
import pytest

from advisor.catalogue.kinds import Figure
from advisor.catalogue.levers import Lever, lever
from advisor.catalogue.shipped import load
from advisor.decide import leading, tips
from advisor.decide.evaluate import evaluate
from advisor.decide.leading import Deciding, Shared, Standing
from advisor.decide.tips import nearest_tips
from advisor.figures import Path as Figures
from advisor.model.draws import Array
from advisor.studies.tipping import _asked, tipping
from tests.decide.judge import nearer
from tests.decide.random_catalogues import several

# By the judge ------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(4))
def test_the_grid_knows_no_nearer_tip(seed: int, tmp_path: Path) -> None:
    """A few levers of each of a few products, as drawn; more of both are tried by hand."""
    catalogue, product = several(seed, 2 + seed % 2, reservoir=seed == 2).load(tmp_path)
    base = evaluate(catalogue, product)
    assert len(base.candidates) >= 2
    inputs = catalogue.only([c.part.part for c in base.candidates]), product
    levers = _asked(base, ())
    rng = np.random.default_rng(seed)
    some = [levers[n] for n in rng.choice(len(levers), 4, replace=False)]
    for tip in tipping(*inputs, [str(handle.path) for handle in some]).levers:
        handle = lever(*inputs, tip.path)
        winner = base.candidates[0].part.part
        assert nearer(*inputs, handle, tip, winner, 15) == [], tip.path


# By leads that are made up -----------------------------------------------------------------------

LEVER = Lever(Figures("made-up", ("figure",)), Figure("share"), "1", 1.0, 0.0)
ENDS = (1 / 8, 8.0)
Lead = Callable[[float], float]


@dataclass
class MadeUp:
    """A decision between `one`, which leads now, and `two`, by a function of one lever."""

    lead: Lead
    asked: int = 0
    winner: str = "one"

    def of_part(self, _: Lever) -> bool:
        return True

    def may_stand(self, _: Lever, __: float) -> bool:
        return True

    def stands(self) -> Standing:
        return self.standing(1.0)

    def standing(self, x: float) -> Standing:
        ahead = self.lead(x)
        return Standing("one" if ahead >= 0 else "two", ahead)

    def of_parts(self, wanted: Sequence[tuple[Lever, float]]) -> list[Standing]:
        self.asked += len(wanted)
        return [self.standing(x) for _, x in wanted]


def found(lead: Lead, points: int = 6) -> float | None:
    """Where the search of a lever of one part puts the tip."""
    (tip,) = nearest_tips(cast(Deciding, MadeUp(lead)), [(LEVER, ENDS)], points)
    return None if tip is None else tip.at


def dent(at: float, slope: float, depth: float) -> Lead:
    """A lead of builds that take turns: down and up again in the logarithm, least at a place."""
    return lambda x: slope * abs(np.log(x / at)) - depth


@pytest.mark.parametrize("at", np.geomspace(1.3, 7.5, 9))
def test_a_lead_that_comes_back_is_seen(at: float) -> None:
    """Lost over 2 % of the figure, far less than the places to begin with are apart."""
    lead = dent(at, 10.0, 0.1)
    assert found(lead) == pytest.approx(at * np.exp(-0.01), rel=1e-3)
    assert found(lambda x: lead(1 / x)) == pytest.approx(np.exp(0.01) / at, rel=1e-3)


@pytest.mark.parametrize(("name", "value"), [("PARTS", 2), ("ROUNDS", 0)])
def test_a_lead_that_comes_back_needs_the_places_between(
    name: str, value: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tips, name, value)
    lost = [at for at in np.geomspace(1.3, 7.5, 9) if found(dent(at, 10.0, 0.1)) is None]
    assert lost


def test_what_moves_nothing_is_not_looked_into() -> None:
    still = MadeUp(lambda _: 0.5)
    assert nearest_tips(cast(Deciding, still), [(LEVER, ENDS)], 6) == [None]
    assert still.asked == 12


def test_a_step_is_closed_in_on() -> None:
    assert found(lambda x: -np.inf if x > 2.345 else 9.0) == pytest.approx(2.345, rel=1e-3)


@dataclass
class Line:
    """Decisions and a scan along a lever, both made up; what was asked may change the scan."""

    deciding: MadeUp
    guess: Callable[[float, Sequence[float]], float]
    lever: Lever = LEVER

    def __post_init__(self) -> None:
        self.asked: list[float] = []

    def ask(self, x: float) -> Standing:
        self.asked.append(x)
        return self.deciding.standing(x)

    def scanned(self, places: Array, _: tuple[float, ...] = ()) -> Array:
        return np.array([self.guess(x, self.asked) for x in places])


def by_scan(lead: Lead, guess: Callable[[float, Sequence[float]], float]) -> float | None:
    """Where the search by a scan puts the tip above the value that stands."""
    made = Line(MadeUp(lead), guess)
    line = cast(Shared, made)
    places = np.geomspace(1.0, 8.0, tips.SCANNED + 1)[1:]
    search = tips._scanned(line, 8.0, places, made.scanned(places))
    tip = tips._run(search, lambda asked: [line.ask(x) for x in asked])
    return None if tip is None else tip.at


def optimist(x: float, _: Sequence[float]) -> float:
    """A scan that does not know the rival's best build: 2 points too much."""
    return dent(2.5, 10.0, 0.5)(x) + 2.0


def pessimist(x: float, _: Sequence[float]) -> float:
    """A scan that does not know the leader's best build: lost from 1.5 on."""
    return 5.0 if x < 1.5 else -5.0


def learner(x: float, asked: Sequence[float]) -> float:
    """A scan that sees the nearer change only by what was found at the farther one."""
    knows = sum(3.99 < one < 4.01 for one in asked) >= 2
    return truth(x) if knows or x > 3.0 else 9.0


def truth(x: float) -> float:
    """Lost between 1.5 and 1.7, and from 4 to 5."""
    return -1.0 if 1.5 < x < 1.7 or 4.0 < x < 5.0 else 5.0


def narrow(x: float, _: Sequence[float] = ()) -> float:
    """Lost over 1 %."""
    return dent(2.5, 10.0, 0.05)(x)


def late(x: float) -> float:
    """Lost between 3 and 6 only."""
    return -5.0 if 3.0 < x < 6.0 else 5.0


# number of the search -> (the truth, the scan, where it tips, a value with which that is missed)
NEEDED: dict[str, tuple[Lead, Callable[[float, Sequence[float]], float], float, float]] = {
    "SLACK": (dent(2.5, 10.0, 0.5), optimist, 2.5 * np.exp(-0.05), 0.0),
    "STRIDE": (late, pessimist, 3.0, 10**6),
    "NEARER": (truth, learner, 1.5, 0),
    "SCANNED": (narrow, narrow, 2.5 * np.exp(-0.005), 2),
    "PARTS": (narrow, narrow, 2.5 * np.exp(-0.005), 2),
}


@pytest.mark.parametrize("name", NEEDED)
def test_every_number_of_a_scanned_search_is_needed(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    lead, guess, at, absurd = NEEDED[name]
    assert by_scan(lead, guess) == pytest.approx(at, rel=1e-3)
    monkeypatch.setattr(tips, name, absurd)
    missed = by_scan(lead, guess)
    assert missed is None or missed > 1.1 * at


# What is carried and what is decided together ----------------------------------------------------


def deciding_on(name: str) -> Deciding:
    catalogue, product = load(name)
    base = evaluate(catalogue, product)
    return Deciding(catalogue, product, base, [c.part.part for c in base.candidates[:4]])


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
        wanted += [(handle, handle.now * share) for share in (0.3, 1.0, 1.2, 1.4, 3.0)]
    together = deciding.of_parts(wanted)
    monkeypatch.setattr(leading, "MANY", 3)
    assert deciding.of_parts(wanted) == together
    for (handle, x), standing in zip(wanted, together, strict=True):
        alone = Shared(deciding, handle).ask(x)
        assert alone.leader == standing.leader
        assert alone.lead == pytest.approx(standing.lead, rel=1e-12)
    assert {standing.leader for standing in together} > {first}


def test_builds_close_to_the_best_take_turns(monkeypatch: pytest.MonkeyPatch) -> None:
    """Between the ends of a lever a part's best may be neither end's: `CLOSE` keeps it."""
    deciding = deciding_on("frost-post")
    handle = lever(deciding.catalogue, deciding.product, "frost-post:workload.sample.every")
    assert handle.now is not None
    line = Shared(deciding, handle)
    places = np.geomspace(handle.now / 2, handle.now * 2, 40)
    whole = line.scanned(places)
    assert whole is not None
    assert line.scanned(places[[0, -1]]) is not None

    def off(close: float) -> float:
        monkeypatch.setattr(leading, "CLOSE", close)
        near = line.scanned(places, (places[0], places[-1]))
        assert near is not None
        return float(np.abs(near - whole).max())

    assert off(3.0) < 1e-9
    assert off(0.0) > 0.1
