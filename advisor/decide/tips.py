"""The nearest value of a lever at which another part takes the lead.

From the value that stands the search goes outward on both sides. A scan over many places at
once carries the builds that stand now along the lever and shows where the lead may be lost; there
the real decision is asked. A lever that no scan can move (a whole number, say) is looked at place
by place. Where the leader has changed, false position on the lead, with halving against steps,
closes in on a change to a thousandth. A figure of one part alone moves that part's score one way,
so there a look at the end of the range tells whether there is a change at all.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.levers import NEAR, Lever, part_way
from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.decide.along import Along
from advisor.decide.evaluate import Evaluation, evaluate
from advisor.decide.ranks import DIGITS
from advisor.decide.scan import scan
from advisor.decide.value import score
from advisor.faults import FaultError
from advisor.figures import Path
from advisor.model.draws import Array

SURE = 0.5  # points; a scanned lead above this is one where scans are all but exact
GRID = 200  # places between the value that stands and a change, on which no nearer one is left
SCANNED = 100  # places that a scan looks at on each side
SLACK = 3.0  # points; a scanned lead below this may be none, as other builds may be better there
FAR_BEHIND = 30.0  # points
STRIDE = 12  # of the places where a scanned lead stays lost, every so many are asked at
NEARER = 3  # times that a nearer change is looked for


@dataclass(frozen=True, slots=True)
class Standing:
    """Who leads, and by how many points the part that leads now is ahead (behind: below zero)."""

    leader: str | None
    lead: float


Leader = Callable[[float], Standing]


@dataclass(frozen=True, slots=True)
class Tip:
    """Where a lever tips the decision: the first value found beyond the change, and who leads."""

    at: float
    leader: str | None


class Deciding:
    """The decision as one lever moves, who leads at each value."""

    def __init__(
        self, catalogue: Catalogue, product: Product, base: Evaluation, contenders: tuple[str, ...]
    ) -> None:
        self.catalogue, self.product = catalogue.only(contenders), product
        self.scores = {
            c.part.part: c.best.score for c in base.candidates if c.part.part in contenders
        }
        self.winner = base.candidates[0].part.part
        self.base = base
        builds = [(c.part.part, b) for c in base.candidates for b in c.builds]
        self.parts = [part for part, _ in builds]
        self.builds = [b for part, b in builds if part in self.scores]
        self.near = [b for b in self.builds if b.score >= self.scores[b.part] - FAR_BEHIND]
        self.values = np.stack([b.assessed.values[:, b.row, 0] for _, b in builds], axis=1)

    def along(self, lever: Lever) -> Leader:
        """Who leads at a value; the value's own text is what is set."""
        if self.alone(lever):
            return self._of_part(lever, lever.path.document)
        if self._weighs(lever):
            return self._of_priority(lever)
        line = Along(self.catalogue, self.product, lever)

        def leader(x: float) -> Standing:
            try:
                offers = line.offers(x)
            except FaultError:
                # a value that may not stand there is no value of the lever
                return self.stands()
            return self._standing({name: offer.score for name, offer in offers.items()})

        return leader

    def scanned(self, lever: Lever, places: Array) -> Array | None:
        """The lead over the places (N,) by the builds that stand now, (N,) points.

        None where none can tell.
        """
        if self.alone(lever):
            return None
        if self._weighs(lever):
            found: dict[str, Array] | None = self._weighed(lever, places)
        else:
            # a build far behind its part's best seldom leads, but where the supply itself moves
            supply = lever.path.keys[0] in ("rail", "supply-options")
            builds = self.builds if supply else self.near
            found = scan(
                self.catalogue, self.product, builds, self.base.criteria, lever.path, places
            )
        if found is None:
            return None
        mine = found.pop(self.winner)
        others = np.fmax.reduce([*found.values(), np.full(len(places), -np.inf)])
        with np.errstate(invalid="ignore"):
            lead = mine - others
        # where nothing stands nobody leads
        return np.where(np.isnan(lead), -np.inf, lead)

    def stands(self) -> Standing:
        """Who leads at the stated values."""
        return self._standing(self.scores)

    def _standing(self, scores: Mapping[str, float]) -> Standing:
        others = [score for name, score in scores.items() if name != self.winner]
        mine = scores.get(self.winner, -np.inf)
        lead = mine - max(others, default=-np.inf) if scores else -np.inf
        return Standing(_first(scores), float(lead))

    def _of_part(self, lever: Lever, part: str) -> Leader:
        """A figure of one part moves no other's score."""
        alone = self.catalogue.only([part])
        others = {name: score for name, score in self.scores.items() if name != part}

        def leader(x: float) -> Standing:
            try:
                there = with_changes(alone, self.product, [lever.assignment(x)])
            except FaultError:
                return self.stands()
            found = evaluate(*there).candidates
            return self._standing({**others, **({part: found[0].best.score} if found else {})})

        return leader

    def _weighs(self, lever: Lever) -> bool:
        """Whether a lever is a weight or an anchor as a whole, not one end of its spread."""
        own = Path(self.product.product) / "priorities"
        return lever.path.within(own) and len(lever.path.keys) == 3

    def _of_priority(self, lever: Lever) -> Leader:
        """A weight or an anchor changes what values are worth, and no value."""

        def leader(x: float) -> Standing:
            found = self._weighed(lever, np.array([x]))
            return self._standing({part: float(points[0]) for part, points in found.items()})

        return leader

    def _weighed(self, lever: Lever, places: Array) -> dict[str, Array]:
        """Every part's best score over the places of a weight or an anchor, exactly."""
        _, name, what = lever.path.keys
        criteria, count = self.base.criteria, len(places)
        raw = np.repeat(self.base.weights[:, None], count, axis=1)
        at = [c.name for c in criteria].index(name)
        if what == "weight":
            # on the file's own scale, of which the weights that stand are shares
            raw[at] *= places / (lever.now or 1.0)
        else:
            other = criteria[at].good if what == "poor" else criteria[at].poor
            # anchors that meet are refused: such a value is none of the lever's
            stands = criteria[at].poor if what == "poor" else criteria[at].good
            anchor: dict[str, Any] = {what: np.where(places == other, stands, places)}
            criteria = tuple(replace(c, **anchor) if c.name == name else c for c in criteria)
        values = np.broadcast_to(self.values[:, :, None], (*self.values.shape, count))
        total, _ = score(criteria, values, raw / raw.sum(axis=0))
        best: dict[str, Array] = {}
        for part, points in zip(self.parts, total, strict=True):
            best[part] = np.fmax(best[part], points) if part in best else points
        return best

    def alone(self, lever: Lever) -> bool:
        """Whether a lever moves one part's score alone, and so one way."""
        return lever.path.document in self.scores


def _first(scores: Mapping[str, float]) -> str | None:
    return min(scores, key=lambda name: (-round(scores[name], DIGITS), name), default=None)


def nearest_tip(
    deciding: Deciding, lever: Lever, ends: tuple[float, float], points: int
) -> Tip | None:
    """The nearest tip on either side of the value that stands; None where there is none.

    Parameters
    ----------
    ends : of the range looked at. points : places on each side where no scan can tell.
    """
    now = lever.now
    assert now is not None
    search = _Search(deciding, lever)
    if points == 1 and deciding.alone(lever):
        return _one_way(search, deciding, ends)
    if points == 1:
        return _by_the_ends(search, deciding, ends)
    sides = {
        end: np.array([part_way(now, end, i / SCANNED) for i in range(1, SCANNED + 1)])
        for end in ends
        if end != now
    }
    leads = None
    if sides and not lever.whole:
        leads = deciding.scanned(lever, np.concatenate(list(sides.values())))
    found = []
    for n, (end, places) in enumerate(sides.items()):
        if leads is None:
            tip = search.place_by_place(end, points)
        else:
            tip = search.where_it_may(places, leads[n * SCANNED : (n + 1) * SCANNED])
        if tip is not None:
            found.append(tip)
    return min(found, key=lambda tip: _distance(tip.at, now), default=None)


def _one_way(search: _Search, deciding: Deciding, ends: tuple[float, float]) -> Tip | None:
    """The tip of a figure that moves one part's score one way: at one end of its range at most.

    More of most figures is worse, so the leader's is looked at from above first, a rival's from
    below; where the lead has shrunk there without a change, the other end only lengthens it.
    """
    lever = search.lever
    mine = lever.path.document == deciding.winner
    stands = deciding.stands().lead
    for end in sorted((e for e in ends if e != lever.now), reverse=mine):
        tip = search.place_by_place(end, 1)
        if tip is not None or search.lead < stands - 1e-9:
            return tip
    return None


def _by_the_ends(search: _Search, deciding: Deciding, ends: tuple[float, float]) -> Tip | None:
    """The tip of a price that several parts' builds share: it moves scores one way.

    Prices choose no operating point, so the builds that stand tell by themselves whether the lead
    is anywhere near lost at an end.
    """
    now = search.lever.now
    assert now is not None
    leads = deciding.scanned(search.lever, np.array(ends))
    found = []
    for n, end in enumerate(ends):
        if end == now or (leads is not None and leads[n] > SURE):
            continue
        tip = search.place_by_place(end, 1)
        if tip is not None:
            found.append(tip)
    return min(found, key=lambda tip: _distance(tip.at, now), default=None)


def _distance(x: float, now: float) -> float:
    if x > 0 and now > 0:
        return abs(float(np.log(x / now)))
    return abs(x - now)


@dataclass(slots=True)
class _Search:
    """The search of one lever for the nearest change, on the real decision."""

    deciding: Deciding
    lever: Lever
    lead: float = np.nan  # at the last place that was looked at
    leader: Leader = field(init=False)
    winner: str = field(init=False)

    def __post_init__(self) -> None:
        self.leader, self.winner = self.deciding.along(self.lever), self.deciding.winner

    def place_by_place(self, end: float, points: int) -> Tip | None:
        """The first change at so many places outward."""
        now = self.lever.now
        assert now is not None
        return self._first(now, _outward(now, end, points, self.lever.whole))

    def where_it_may(self, places: Array, leads: Array) -> Tip | None:
        """The first change at the places where the scanned lead is lost or nearly so.

        places : (N,) SI. leads : (N,) points.

        What is nearer than a change that was found is looked for on a grid of its own.
        """
        now = self.lever.now
        assert now is not None
        tip = self._first(now, places[_suspects(leads)].tolist())
        for _ in range(NEARER):
            if tip is None:
                return None
            inside = np.array([part_way(now, tip.at, k / GRID) for k in range(1, GRID)])
            inside = inside[np.abs(inside - tip.at) > 2 * NEAR * abs(tip.at)]
            nearer = None
            if len(inside):
                again = self.deciding.scanned(self.lever, inside)
                assert again is not None
                nearer = self._first(now, inside[_suspects(again)].tolist())
            if nearer is None:
                break
            tip = nearer
        return tip

    def _first(self, now: float, places: Sequence[float]) -> Tip | None:
        before, ahead = now, np.nan
        for x in places:
            there = self.leader(x)
            self.lead = there.lead
            if there.leader != self.winner:
                return _closed_in(self.leader, self.lever, self.winner, (before, ahead), (x, there))
            before, ahead = x, there.lead
        return None


def _suspects(leads: Array) -> NDArray[np.intp]:
    """Places to ask at: where a scanned lead is lost, on the way while it stays lost, where it is
    least before it grows again, and the end."""
    lost = leads < 0
    begins = np.flatnonzero(lost & ~np.concatenate(([False], lost[:-1])))
    while_lost = np.flatnonzero(lost)[::STRIDE]
    around = np.concatenate(([np.inf], leads, [np.inf]))
    least = (leads < around[:-2]) & (leads <= around[2:]) & (leads < SLACK)
    return np.unique([*begins, *while_lost, *np.flatnonzero(least), len(leads) - 1])


def _closed_in(
    leader: Leader,
    lever: Lever,
    winner: str | None,
    near: tuple[float, float],
    far: tuple[float, Standing],
) -> Tip:
    """The change between a place where the winner leads and one where it does not."""
    close, ahead = near
    beyond, there = far
    behind = there.lead
    side = 0
    for n in range(200):
        middle = lever.between(close, beyond, NEAR / 2)
        if middle is None:
            break
        x = _guess(close, beyond, ahead, behind) if n % 3 != 2 and not lever.whole else None
        at = middle if x is None else x
        standing = leader(at)
        if standing.leader == winner:
            close, ahead = at, standing.lead
            behind = behind / 2 if side == 1 else behind
            side = 1
        else:
            beyond, behind, there = at, standing.lead, standing
            ahead = ahead / 2 if side == -1 else ahead
            side = -1
    return Tip(beyond, there.leader)


def _guess(close: float, beyond: float, ahead: float, behind: float) -> float | None:
    """Where a straight line between the leads crosses zero, a little beyond it."""
    if not (np.isfinite(ahead) and np.isfinite(behind)) or ahead - behind <= 0:
        return None
    share = min(max(ahead / (ahead - behind), 0.0) + 2e-4, 1.0)
    x = part_way(close, beyond, share)
    inside = min(close, beyond) < x < max(close, beyond)
    return x if inside else None


def _outward(now: float, end: float, points: int, whole: bool) -> list[float]:
    # closer together near the value that stands
    places = [part_way(now, end, (i / points) ** 1.5) for i in range(1, points + 1)]
    if whole:
        places = list(dict.fromkeys(float(round(x)) for x in places))
    return [x for x in places if x != now]
