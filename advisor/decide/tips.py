"""The nearest value of a lever at which another part takes the lead.

From the value that stands the search goes outward on both sides, place by place, on the real
decision; where the leader has changed, false position on the lead, with halving against steps,
closes in on a change to a thousandth. A figure of one part alone moves that part's score one way,
so there a look at the end of the range tells whether there is a change at all.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from advisor.catalogue.levers import NEAR, Lever, part_way
from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.decide.along import Along
from advisor.decide.evaluate import Evaluation, evaluate
from advisor.decide.ranks import DIGITS
from advisor.decide.value import score
from advisor.faults import FaultError


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
        self.values = np.stack([b.found.values[:, b.row, 0] for _, b in builds], axis=1)

    def along(self, lever: Lever) -> Leader:
        """Who leads at a value; the value's own text is what is set."""
        identity, _, dotted = lever.path.partition(":")
        if identity in self.scores:
            return self._of_part(lever, identity)
        if identity == self.product.product and dotted.startswith("priorities."):
            return self._of_priority(lever, dotted)
        line = Along(self.catalogue, self.product, lever)

        def leader(x: float) -> Standing:
            try:
                offers = line.offers(x)
            except FaultError:
                # a value that may not stand there is no value of the lever
                return self._unmoved()
            return self._standing({name: offer.score for name, offer in offers.items()})

        return leader

    def _unmoved(self) -> Standing:
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
                return self._unmoved()
            found = evaluate(*there).candidates
            return self._standing({**others, **({part: found[0].best.score} if found else {})})

        return leader

    def _of_priority(self, lever: Lever, dotted: str) -> Leader:
        """A weight or an anchor changes what values are worth, and no value."""
        name, _, what = dotted.removeprefix("priorities.").rpartition(".")

        def leader(x: float) -> Standing:
            criteria = self.base.criteria
            raw = self.base.weights
            if what == "weight":
                # on the file's own scale, of which the weights that stand are shares
                at = [c.name for c in criteria].index(name)
                stands = lever.now or 0.0
                raw[at] = x * raw[at] / stands
            else:
                anchor: dict[str, Any] = {what: x}
                criteria = tuple(replace(c, **anchor) if c.name == name else c for c in criteria)
                if any(c.poor == c.good for c in criteria):
                    return self._unmoved()
            total, _ = score(criteria, self.values[:, :, None], (raw / raw.sum())[:, None])
            best: dict[str, float] = {}
            for part, points in zip(self.parts, total[:, 0].tolist(), strict=True):
                best[part] = max(best.get(part, -np.inf), points)
            return self._standing(best)

        return leader

    def alone(self, lever: Lever) -> bool:
        """Whether a lever moves one part's score alone, and so one way."""
        return lever.path.partition(":")[0] in self.scores


def _first(scores: Mapping[str, float]) -> str | None:
    return min(scores, key=lambda name: (-round(scores[name], DIGITS), name), default=None)


def nearest_tip(
    leader: Leader,
    lever: Lever,
    ends: tuple[float, float],
    winner: str | None,
    points: int,
) -> Tip | None:
    """The nearest tip on either side of the value that stands; None where there is none.

    Parameters
    ----------
    ends : of the range looked at. winner : who leads now. points : places on each side.
    """
    now = lever.now
    assert now is not None
    found = [
        tip
        for end in ends
        if end != now and (tip := _one_side(leader, lever, now, end, winner, points)) is not None
    ]
    return min(found, key=lambda tip: _distance(tip.at, now), default=None)


def _distance(x: float, now: float) -> float:
    if x > 0 and now > 0:
        return abs(float(np.log(x / now)))
    return abs(x - now)


def _one_side(
    leader: Leader, lever: Lever, now: float, end: float, winner: str | None, points: int
) -> Tip | None:
    before, ahead = now, np.nan
    for x in _outward(now, end, points, lever.whole):
        there = leader(x)
        if there.leader != winner:
            return _closed_in(leader, lever, winner, (before, ahead), (x, there))
        before, ahead = x, there.lead
    return None


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
