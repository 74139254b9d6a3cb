"""Who leads at the values of levers, by the real decision, and by how much.

A figure of one part moves no other part's score, so many of its values, and many such figures, are
decided in one pass, each value as a part of its own. A weight or an anchor changes what values are
worth, and no value. Any other lever takes a decision a value; between them a scan carries builds
along.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from advisor.catalogue.levers import Lever
from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import Part
from advisor.catalogue.schema_product import Product
from advisor.decide.along import Along
from advisor.decide.builds import Build
from advisor.decide.evaluate import Candidate, Evaluation, evaluate
from advisor.decide.ranks import DIGITS
from advisor.decide.scan import scan
from advisor.decide.value import Criterion, criteria, score
from advisor.faults import FaultError
from advisor.figures import Path
from advisor.model.draws import Array

CLOSE = 3.0  # points; builds as close to their part's best may take turns with it nearby
MANY = 100  # values decided in one pass: more save little and take memory


@dataclass(frozen=True, slots=True)
class Standing:
    """Who leads, and by how many points the part that leads now is ahead (behind: below zero)."""

    leader: str | None
    lead: float


class Deciding:
    """The decision as levers move, among some parts.

    Attributes
    ----------
    scores : of these parts, as they stand. winner : the part that leads now.
    """

    def __init__(
        self, catalogue: Catalogue, product: Product, base: Evaluation, contenders: Sequence[str]
    ) -> None:
        self.catalogue, self.product, self.base = catalogue.only(contenders), product, base
        self.candidates = [c for c in base.candidates if c.part.part in contenders]
        self.scores = {c.part.part: c.best.score for c in self.candidates}
        self.winner = base.candidates[0].part.part
        builds = [(c.part.part, b) for c in base.candidates for b in c.builds]
        self._parts = [part for part, _ in builds]
        self._values = np.stack([b.assessed.values[:, b.row, 0] for _, b in builds], axis=1)

    def of_part(self, lever: Lever) -> bool:
        """Whether a lever moves one part's score alone."""
        return lever.path.document in self.scores

    def may_stand(self, lever: Lever, x: float) -> bool:
        """Whether a value may stand where the lever does, by the rules of the files."""
        try:
            with_changes(self.catalogue, self.product, [lever.assignment(x)])
        except FaultError:
            return False
        return True

    def weighs(self, lever: Lever) -> bool:
        """Whether a lever is a weight or an anchor as a whole, not one end of its spread."""
        own = Path(self.product.product) / "priorities"
        return lever.path.within(own) and len(lever.path.keys) == 3

    def stands(self) -> Standing:
        """Who leads at the stated values."""
        return self.standing(self.scores)

    def standing(self, scores: Mapping[str, float]) -> Standing:
        """Who leads by scores; parts that are out are not among them."""
        others = [points for name, points in scores.items() if name != self.winner]
        mine = scores.get(self.winner, -np.inf)
        lead = mine - max(others, default=-np.inf) if scores else -np.inf
        leader = min(scores, key=lambda name: (-round(scores[name], DIGITS), name), default=None)
        return Standing(leader, float(lead))

    def of_parts(self, wanted: Sequence[tuple[Lever, float]]) -> list[Standing]:
        """Who leads at values of levers that move one part each; a value's own text is set."""
        alone: dict[str, Part] = {}
        for n, (lever, x) in enumerate(wanted):
            part = lever.path.document
            try:
                there, _ = with_changes(
                    self.catalogue.only([part]), self.product, [lever.assignment(x)]
                )
            except FaultError:
                continue
            name = f"{n:06d}"
            alone[name] = replace(there.parts[part], part=name)
        found: dict[str, float] = {}
        names = list(alone)
        for k in range(0, len(names), MANY):
            some = {name: alone[name] for name in names[k : k + MANY]}
            ranked = evaluate(replace(self.catalogue, parts=some), self.product).candidates
            found |= {c.part.part: c.best.score for c in ranked}
        out = []
        for n, (lever, _) in enumerate(wanted):
            name = f"{n:06d}"
            if name not in alone:
                # a value that may not stand there is no value of the lever
                out.append(self.stands())
                continue
            scores = dict(self.scores)
            del scores[lever.path.document]
            if name in found:
                scores[lever.path.document] = found[name]
            out.append(self.standing(scores))
        return out

    def of_priority(self, lever: Lever, places: Sequence[float]) -> list[Standing]:
        """Who leads at the values of a weight or an anchor."""
        found = self._weighed(lever, np.array(places))
        return [
            self.standing({part: float(points[n]) for part, points in found.items()})
            for n in range(len(places))
        ]

    def _weighed(self, lever: Lever, places: Array) -> dict[str, Array]:
        """Every part's best score over the places of a weight or an anchor, (N,) each."""
        _, name, what = lever.path.keys
        weighed, count = self.base.criteria, len(places)
        raw = np.repeat(self.base.weights[:, None], count, axis=1)
        at = [c.name for c in weighed].index(name)
        if what == "weight":
            # on the file's own scale, of which the weights that stand are shares
            raw[at] *= places / (lever.now or 1.0)
        else:
            one = weighed[at]
            ahead = one.good - places if what == "poor" else places - one.poor
            # anchors that meet or change sides are refused: such a value is none of the lever's
            either = one.measure.better == "either"
            may = ahead != 0 if either else ahead * (one.good - one.poor) > 0
            stands = one.poor if what == "poor" else one.good
            anchor: dict[str, Any] = {what: np.where(may, places, stands)}
            weighed = tuple(replace(c, **anchor) if c.name == name else c for c in weighed)
        values = np.broadcast_to(self._values[:, :, None], (*self._values.shape, count))
        total, _ = score(weighed, values, raw / raw.sum(axis=0))
        best: dict[str, Array] = {}
        for part, points in zip(self._parts, total, strict=True):
            best[part] = np.fmax(best[part], points) if part in best else points
        return best


class Shared:
    """A lever that several parts' scores rest on: decisions, and a scan between them.

    What the decisions find is carried along from then on.
    """

    def __init__(self, deciding: Deciding, lever: Lever) -> None:
        self.deciding, self.lever = deciding, lever
        self._line = Along(deciding.catalogue, deciding.product, lever)
        self._carried: dict[tuple[str, str], Build] = {}
        self._scan: tuple[Array, list[Build], Array] = np.empty(0), [], np.empty((0, 0))
        for candidate in deciding.candidates:
            self._carry(worth_carrying(candidate, deciding.base.criteria))

    def ask(self, x: float) -> Standing:
        """Who leads at a value; the value's own text is what is set."""
        try:
            found = self._line.evaluated(x)
        except FaultError:
            # a value that may not stand there is no value of the lever
            return self.deciding.stands()
        options = self.deciding.product.supply_options.cells
        self._carry(c.best for c in found.candidates if c.best.assessed.feed.option in options)
        return self.deciding.standing({c.part.part: c.best.score for c in found.candidates})

    def scanned(self, places: Array, near: tuple[float, ...] = ()) -> Array | None:
        """The lead over places by the builds carried along, (N,); None where none can tell.

        Where `near` gives places, those builds alone that may count from the least to the greatest
        of them: `CLOSE` to the best of their part at a place there, by the last scan of all.
        """
        builds = list(self._carried.values())
        if near:
            builds = self._counting(min(near), max(near))
        scores = self._scores(builds, places)
        if scores is None:
            return None
        if not near:
            self._scan = places, builds, scores
        return self._lead(self._best(builds, scores))

    def _counting(self, low: float, high: float) -> list[Build]:
        """The builds that may count in a range, and those found since all were scanned."""
        places, builds, scores = self._scan
        # to the next place on either side
        least = places[places <= low].max(initial=places.min())
        most = places[places >= high].min(initial=places.max())
        scores = scores[:, (places >= least) & (places <= most)]
        best = self._best(builds, scores)
        known = {id(build) for build in builds}
        kept = [build for build in self._carried.values() if id(build) not in known]
        for build, points in zip(builds, scores, strict=True):
            if (points >= best[build.part] - CLOSE).any():
                kept.append(build)
        return kept

    def _scores(self, builds: Sequence[Build], places: Array) -> Array | None:
        deciding = self.deciding
        return scan(
            deciding.catalogue,
            deciding.product,
            builds,
            self._criteria(places),
            self.lever.path,
            places,
        )

    @staticmethod
    def _best(builds: Sequence[Build], scores: Array) -> dict[str, Array]:
        best: dict[str, Array] = {}
        for build, points in zip(builds, scores, strict=True):
            part = build.part
            best[part] = np.fmax(best[part], points) if part in best else points
        return best

    def _lead(self, best: dict[str, Array]) -> Array:
        mine = best[self.deciding.winner]
        others = [points for part, points in best.items() if part != self.deciding.winner]
        with np.errstate(invalid="ignore"):
            lead = mine - np.fmax.reduce([*others, np.full(len(mine), -np.inf)])
        # where nothing stands nobody leads
        return np.where(np.isnan(lead), -np.inf, lead)

    def _carry(self, builds: Iterable[Build]) -> None:
        for build in builds:
            self._carried.setdefault((build.part, build.name), build)

    def _criteria(self, places: Array) -> Sequence[Criterion]:
        """The criteria at the places: default anchors may rest on the lever."""
        base = self.deciding.base.criteria
        if all(self._criteria_at(x) == base for x in (places[0], places[-1])):
            return base
        each = [self._criteria_at(x) for x in places.tolist()]
        out = []
        for i, criterion in enumerate(base):
            anchors: dict[str, Any] = {
                name: np.array([getattr(there[i], name) for there in each])
                for name in ("poor", "good")
            }
            out.append(replace(criterion, **anchors))
        return out

    def _criteria_at(self, x: float) -> tuple[Criterion, ...]:
        deciding = self.deciding
        try:
            catalogue, product = with_changes(
                deciding.catalogue, deciding.product, [self.lever.assignment(x)]
            )
        except FaultError:
            return deciding.base.criteria
        first = product.supply_options.cells[0].cell
        return criteria(product, None if first is None else catalogue.cells.get(first))


def worth_carrying(candidate: Candidate, weighed: Sequence[Criterion]) -> list[Build]:
    """A part's builds of which one is likely to be its best along a lever.

    The best on each pack with each converter, and every build that no other is as good as by each
    criterion. Values are compared as they are: what lies beyond an anchor now may count elsewhere.
    """
    out: list[Build] = []
    better = np.array([np.sign(c.good - c.poor) for c in weighed])
    feeds: set[str] = set()
    front: list[Array] = []
    for build in candidate.builds:
        values = better * build.assessed.values[:, build.row, 0]
        name = build.assessed.feed.name
        met = any((other >= values).all() for other in front)
        if name not in feeds or not met:
            out.append(build)
        if not met:
            front.append(values)
        feeds.add(name)
    return out
