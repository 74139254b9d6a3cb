"""Who leads at the values of levers, by expected score.

The real decision at a value is what `shortlist` finds there, among some parts. Between such values
a scan carries builds along on the first few draws. It is corrected so that where the decision is
known its scores are exactly the decision's: on common random numbers the score at a value x is
E_N(known) + [E_n(x) - E_n(known)], n draws being the first of N.

A figure of one part moves no other part's score, so many of its values, and many such figures, are
decided in one pass, each value as a part of its own.
"""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from copy import copy
from dataclasses import field, replace

import numpy as np

from advisor.catalogue.criteria import MOVED_BY
from advisor.catalogue.levers import Lever
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import Part
from advisor.catalogue.schema_product import Product
from advisor.catalogue.spread import ENDS, moved
from advisor.dataclass import dataclass
from advisor.decide.bills import Purses, of_money
from advisor.decide.builds import Build
from advisor.decide.drawing import draw_builds
from advisor.decide.elsewhere import Elsewhere
from advisor.decide.evaluate import Candidate, Evaluation, evaluate
from advisor.decide.fronts import Offered, worth_carrying
from advisor.decide.marches import Marches
from advisor.decide.profiles import KEPT, PACKS, PRODUCTS, Profiles
from advisor.decide.ranks import DIGITS
from advisor.decide.scan import scan, scan_bills
from advisor.decide.stage import ALIKE, Paired, paired_in
from advisor.decide.value import Criterion, criteria_of
from advisor.decide.waiting import Waiting
from advisor.figures import Path
from advisor.model.draws import Array, Case, Known, Trace

CLOSE = 3.0  # points; builds as close to their part's best at the stated values may be better
MANY = 60  # values decided in one pass: more save little and take memory
FAR = 8.0  # points; parts that are farther behind at the stated values are not looked at for builds
BOUNDLESS = 1e6  # times a limit that rules nothing out
MOST = 2  # builds of a part that a look at the stated values takes over
WEIGHT = ("priorities",), ("weight",)  # the keys of a weight around the name of its criterion


@dataclass(frozen=True, slots=True)
class Standing:
    """Who leads, and by how many points the part that leads now is ahead (behind: below zero).

    `scores` are those of the parts that were decided on.
    """

    leader: str | None
    lead: float
    scores: Mapping[str, float] = field(default_factory=dict)


class Deciding:
    """The decision as levers move, among some parts.

    Attributes
    ----------
    scores : of these parts, as they stand. winner : the part that leads now. waiting : parts that
    are out as things stand, and may come in along a lever.
    """

    def __init__(
        self,
        catalogue: Catalogue,
        product: Product,
        base: Evaluation,
        contenders: Sequence[str],
        offered: Sequence[Sequence[Offered]] = (),
        known: Known | None = None,
        out: Waiting | None = None,
    ) -> None:
        """`offered`: builds of `fronts`; `known`: draws of figures with the same seed."""
        self.waiting = out or Waiting()
        some = [*contenders, *self.waiting.parts]
        self.catalogue, self.product, self.base = catalogue.only(some), product, base
        self._everyone = catalogue
        self.candidates = [c for c in base.candidates if c.part.part in contenders]
        self.scores = {c.part.part: c.score for c in self.candidates}
        self.winner = base.candidates[0].part.part
        self._levels = _levels(self.candidates)
        self.offered = [
            one
            for candidate, some in zip(base.candidates, offered, strict=False)
            if candidate.part.part in contenders
            for one in some
        ]
        fronts: dict[str, list[Build]] = {name: [] for name in self.scores}
        for one in self.offered:
            fronts[one.build.part].append(one.build)
        self.memo: Trace = {}
        self._known: Known = known if known is not None else {}
        # what builds are worth as things stand, by so many first draws
        self.as_now: dict[int, dict[Build, float]] = {}
        read = Profiles(KEPT, PACKS, PRODUCTS)
        self.marches = Marches(base.stated.marches.services, profiles=read)
        # where currents move no life is met again, and none is worth a digest
        self._fleeting = Marches(base.stated.marches.services, kept=0, profiles=read)
        self._purses = Purses(
            self.catalogue, product, base.criteria, base.seed, self.memo, self.marches
        )
        self._elsewhere = Elsewhere(self.catalogue, product)
        self._stand: list[Build] = []  # all that stand but for what they cost
        self._anchored: dict[Path, tuple[float, float]] = {}  # between which the criteria stay
        self.canonical: dict[tuple[str, str], Build] = {}  # builds by their part and name
        self.drawn: set[Path] = set()  # levers that move what builds are reckoned with
        self.worth = {one.build: one.worth for one in self.offered}
        for c in self.candidates:
            self.worth |= {build: drawn.worth for build, drawn in c.tried.items()}
            self.worth.setdefault(c.best, c.worth)
        self.carried = [
            build
            for candidate in self.candidates
            for build in worth_carrying(candidate, fronts[candidate.part.part])
        ]
        self.canonical |= {(b.part, b.name): b for b in self.carried}

    def apart(self) -> Deciding:
        """The same decision for a search of its own: what one search learns changes no other, so
        it does not matter which of them are made before it, or where."""
        out = copy(self)
        out.as_now = {draws: dict(points) for draws, points in self.as_now.items()}
        out._purses = self._purses.apart()
        out.worth, out.canonical = dict(self.worth), dict(self.canonical)
        out.drawn = set(self.drawn)
        out._anchored = dict(self._anchored)
        return out

    def put_away(self) -> None:
        """Keep for later runs what stores have answered."""
        self.marches.services.put_away()

    def look_as_now(self, parts: Container[str], draws: int, chosen: bool = False) -> None:
        """What the builds of parts are worth as things stand, by so many first draws; those that
        are `chosen` or all that are carried."""
        points = self.as_now.setdefault(draws, {})
        some = [c.best for c in self.candidates] if chosen else self.carried
        new = [b for b in some if b.part in parts and b not in points]
        if new:
            base = self.base
            raw, _ = scan_bills(
                self.catalogue,
                self.product,
                new,
                [base.criteria],
                [None],
                min(draws, base.draws),
                self._purses,
                self.memo,
            )
            points.update(zip(new, raw[:, 0].tolist(), strict=True))

    def prepare_looks(self) -> None:
        """All builds that stand but for what they cost, and what they carry at the stated values:
        what looks along figures of money go by."""
        limit, cost = self.product.cost.unit_cost_limit, self.product.cost
        product = self.product
        if limit is not None:
            free = replace(cost, unit_cost_limit=moved(limit, BOUNDLESS * limit.nominal))
            product = replace(product, cost=free)
        some = self.catalogue.only([*self.scores, *self.waiting.unbuilt])
        found = self._evaluated(some, product, True, self.marches)
        self._stand = [self.one_of(build) for c in found for build in c.builds]
        self._purses.of(self._stand, 0)

    def _billed(self, one: Ask) -> Decided:
        """A look along a figure of money: no pack is drawn on otherwise, so the builds stay."""
        catalogue, product = self.moved(one.lever, one.x) or (self.catalogue, self.product)
        builds = [b for b in self._stand if one.parts is None or b.part in one.parts]
        if self.of_part(one.lever):
            builds = [b for b in builds if b.part == one.lever.path.document]
        weighed = criteria_of(catalogue, product)
        found, _ = scan_bills(catalogue, product, builds, [weighed], [None], 0, self._purses)
        points = {b: p for b, p in zip(builds, found[:, 0].tolist(), strict=True) if p > -np.inf}
        order = sorted(points, key=lambda b: (-round(points[b], DIGITS), b.order[1], b))
        scores: dict[str, float] = {}
        if self.of_part(one.lever):
            own = one.lever.path.document
            scores = {p: s for p, s in self.scores.items() if p != own}
        best: dict[str, list[Build]] = {}
        for build in order:
            best.setdefault(build.part, []).append(build)
        scores |= {part: points[some[0]] for part, some in best.items()}
        least = -np.inf if self.of_part(one.lever) else max(scores.values(), default=0.0) - FAR
        taken = [
            build
            for some in best.values()
            for build in some[:MOST]
            if points[some[0]] >= least and points[build] >= points[some[0]] - CLOSE
        ]
        return Decided(self.standing(scores), taken)

    def one_of(self, build: Build) -> Build:
        """The build that stands for all of its part and name: they share what scans tell."""
        return self.canonical.setdefault((build.part, build.name), build)

    def of_part(self, lever: Lever) -> bool:
        """Whether a lever moves one part's score alone."""
        return lever.path.document in self.scores

    def may_stand(self, lever: Lever, x: float) -> bool:
        """Whether a value may stand where the lever does, by the rules of the files."""
        return self.moved(lever, x) is not None

    def moved(self, lever: Lever, x: float) -> tuple[Catalogue, Product] | None:
        """The files with a lever at a value; None where it may not stand there."""
        return self._elsewhere.at(lever, x)

    def plans(self, lever: Lever) -> bool:
        """Whether a lever may change which builds stand or which are worth a look: not one that
        only moves what they cost over the service life, or what that is worth."""
        keys, limited = lever.path.keys, self._limited or lever.path.keys[-1] == "lead-time"
        if self.of_part(lever):
            return keys[0] not in ("price", "extras", "toolchain") or limited
        if lever.path.document in self.catalogue.addons:
            return keys[0] not in ("price", "setup", "board-area") or limited
        if lever.path.document != self.product.product:
            return limited
        money = keys[0] == "cost" and keys[1:] != ("unit-cost-limit",)
        if money and keys[1] == "rates":
            return self._limited
        return not (money or keys[0] in ("priorities", "service-life"))

    @property
    def _limited(self) -> bool:
        return self.product.cost.unit_cost_limit is not None

    def weighs(self, lever: Lever) -> bool:
        """Whether a lever is a weight, and all weights are exact."""
        document, keys = lever.path.document, lever.path.keys
        if document != self.product.product or (keys[:1], keys[2:]) != WEIGHT:
            return False
        weights = {c.name: self.product.priorities[c.name].weight for c in self.base.criteria}
        return keys[1] in weights and all(w is not None and w.u == 0 for w in weights.values())

    def stands(self) -> Standing:
        """Who leads as things stand."""
        return self.standing(self.scores)

    def standing(self, scores: Mapping[str, float], found: Sequence[Candidate] = ()) -> Standing:
        """Who leads by scores; parts that are out are not among them. Equal ones go as those
        `found` do, or as things stand."""
        others = [points for name, points in scores.items() if name != self.winner]
        mine = scores.get(self.winner, -np.inf)
        lead = mine - max(others, default=-np.inf) if scores else -np.inf
        level = self._levels | _levels(found)
        order = [
            (-round(points, DIGITS), level.get(n, (np.inf,)), n) for n, points in scores.items()
        ]
        return Standing(min(order)[2] if order else None, float(lead), scores)

    def scanned(
        self,
        lever: Lever,
        builds: Sequence[Build],
        places: Array,
        draws: int,
        staged: bool,
    ) -> Array | None:
        """Expected scores of builds over places by the first draws, (B, N); None where none can
        tell. `staged`: a place at a time where the lever moves no drawn figure."""
        draws = min(draws, self.base.draws)
        cases: list[Case] = [(lever.path, x) for x in places.tolist()]
        weighed = self.criteria(lever, places)
        found = self.scan_cases(builds, weighed, cases, draws, self.of_money(lever))
        if lever.path in self.drawn:
            return found
        if not staged:
            return None
        columns = [self._staged(lever, builds, x, draws) for x in places.tolist()]
        there = [column for column in columns if column is not None]
        return np.stack(there, axis=1) if len(there) == len(columns) else None

    def scan_cases(
        self,
        builds: Sequence[Build],
        weighed: Sequence[Sequence[Criterion]],
        cases: Sequence[Case],
        draws: int,
        money: bool,
    ) -> Array:
        """Expected scores of builds in cases (B, P), those of levers `of_money` or of others."""
        catalogue, product, memo = self.catalogue, self.product, self.memo
        if money:
            found, taken = scan_bills(
                catalogue, product, builds, weighed, cases, draws, self._purses, memo
            )
        else:
            seed, marches = self.base.seed, self._fleeting
            found, taken = scan(
                catalogue, product, builds, weighed, cases, draws, seed, memo, marches
            )
        self.drawn |= taken
        return found

    def of_money(self, lever: Lever) -> bool:
        """Whether a lever moves costs, or what values are worth, and nothing that builds carry."""
        return of_money(lever, self.catalogue, self.product)

    def _staged(self, lever: Lever, builds: Sequence[Build], x: float, draws: int) -> Array | None:
        """Scores at one value of a lever that moves no drawn figure, (B,)."""
        catalogue, product = self.moved(lever, x) or (self.catalogue, self.product)
        if product.supply_options != self.product.supply_options:
            return None
        weighed = criteria_of(catalogue, product)
        if self.of_money(lever):
            found, _ = scan_bills(
                catalogue, product, builds, [weighed], [None], draws, self._purses
            )
            return np.asarray(found[:, 0])
        if not draws:
            seed, kept = self.base.seed, self._fleeting
            found, _ = scan(catalogue, product, builds, [weighed], [None], 0, seed, marches=kept)
            return np.asarray(found[:, 0])
        drawn = draw_builds(
            catalogue, product, builds, weighed, draws, self.base.seed, marches=self.marches
        )
        wanted = product.needs.confidence.nominal
        return np.array([d.expected if d.fit >= wanted else -np.inf for d in drawn])

    def weighed(self, lever: Lever, builds: Sequence[Build], places: Array) -> Array:
        """Scores under other weights: what a build is worth by a criterion stays, (B, N)."""
        at = [c.name for c in self.base.criteria].index(lever.path.keys[1])
        raw = np.repeat(self.base.weights[:, None], len(places), axis=1)
        # on the file's own scale, of which the weights that stand are shares
        raw[at] *= places / (lever.now or 1.0)
        weights = raw / raw.sum(axis=0)
        out = -np.inf
        rows = [
            100 * (self.worth[b] @ weights) if b in self.worth else out + 0 * places for b in builds
        ]
        return np.stack(rows)

    def criteria(self, lever: Lever, places: Array) -> Sequence[Sequence[Criterion]]:
        """The criteria at places (P,) SI, or one set for all: anchors may rest on the lever."""
        base = self.base.criteria
        if lever.path.document != self.product.product or lever.path.keys[0] not in MOVED_BY:
            return [base]  # anchors rest on some of the product alone
        low, high = float(places.min()), float(places.max())
        # equal at two values they are so in between
        least, most = self._anchored.get(lever.path, (np.inf, -np.inf))
        new = [x for x in (low, high) if not least <= x <= most]
        if any(self._criteria_at(lever, x) != base for x in new):
            self.drawn.add(lever.path)
            return [self._criteria_at(lever, x) for x in places.tolist()]
        self._anchored[lever.path] = min(least, low), max(most, high)
        return [base]

    def _criteria_at(self, lever: Lever, x: float) -> tuple[Criterion, ...]:
        catalogue, product = self.moved(lever, x) or (self.catalogue, self.product)
        found = criteria_of(catalogue, product)
        # a weight that moves is drawn with the others
        return tuple(
            replace(there, weight=one.weight)
            for there, one in zip(found, self.base.criteria, strict=True)
        )

    def moves_nothing(self, lever: Lever, found: Standing) -> bool:
        """Whether a look at the stated values elsewhere found all as it stands."""
        if lever.path.keys[-1] in ENDS or any(p not in self.scores for p in found.scores):
            return False
        own = [c for c in self.candidates if c.part.part == lever.path.document]
        now = {c.part.part: max(b.score for b in c.builds) for c in own or self.candidates}
        return all(
            name in found.scores and abs(now[name] - found.scores[name]) < 1e-9 for name in now
        )

    def decided(self, wanted: Sequence[Ask]) -> list[Decided]:
        """The decisions that are asked for; those on one part in one pass.

        A value that may not stand is no value of the lever: nothing is changed there.
        """
        out: dict[int, Decided] = {}
        alone: dict[bool, dict[str, tuple[int, Part]]] = {True: {}, False: {}}
        for n, one in enumerate(wanted):
            files = self.moved(one.lever, one.x)
            part = one.lever.path.document
            if files is None:
                out[n] = Decided(self.stands(), [])
            elif one.stated and self._stand and self.of_money(one.lever):
                out[n] = self._billed(one)
            elif self.of_part(one.lever):
                name = f"{part}{ALIKE}{n:04d}"
                alone[one.stated][name] = n, replace(files[0].parts[part], part=name)
            else:
                there, product = files
                if one.parts is None:
                    there, _ = self._elsewhere.changed(self._everyone, one.lever, one.x)
                else:
                    there = there.only(one.parts)
                kept = self.marches if self.of_money(one.lever) else self._fleeting
                found = self._evaluated(there, product, one.stated, kept, one.without)
                if one.without and not _better(found, one):
                    found = self._evaluated(there, product, one.stated, kept)
                scores = {c.part.part: c.score for c in found}
                # a look is for builds that may lead there
                least = max(scores.values(), default=0.0) - FAR if one.stated else -np.inf
                near = [c for c in found if c.score >= least]
                builds = [b for c in near for b in _taken(c, one.stated)]
                worth = {} if one.stated else {c.best: c.worth for c in found}
                out[n] = Decided(self.standing(scores, found), builds, worth)
        for stated, named in alone.items():
            names = list(named)
            for k in range(0, len(names), MANY):
                parts = {name: named[name][1] for name in names[k : k + MANY]}
                there = replace(self.catalogue, parts=parts)
                found = self._evaluated(there, self.product, stated, self._fleeting)
                by_name = {c.part.part: c for c in found}
                for name in parts:
                    own = name.partition(ALIKE)[0]
                    scores = {p: s for p, s in self.scores.items() if p != own}
                    builds = []
                    if name in by_name:
                        scores[own] = by_name[name].score
                        builds = [replace(b, part=own) for b in _taken(by_name[name], stated)]
                    standing = self.standing(scores, [c for c in found if c.part.part == name])
                    out[named[name][0]] = Decided(standing, builds)
        return [out[n] for n in range(len(wanted))]

    def _evaluated(
        self,
        catalogue: Catalogue,
        product: Product,
        stated: bool,
        marches: Marches,
        without: frozenset[Paired] = frozenset(),
    ) -> Sequence[Candidate]:
        draws = 0 if stated else self.base.draws
        return evaluate(
            catalogue,
            product,
            draws,
            self.base.seed,
            marches=marches,
            known=self._known,
            without=without,
            told=False,
        ).candidates

    def at_stated(self, catalogue: Catalogue, product: Product) -> Evaluation:
        """The decision on files by the stated values alone."""
        return evaluate(catalogue, product, 0, self.base.seed, marches=self._fleeting)

    def paired(self, build: Build) -> Paired:
        """The pack of a build with its converters."""
        return paired_in(self.product, build.assessed.feed)


def _levels(found: Sequence[Candidate]) -> dict[str, tuple[float, ...]]:
    """How parts go where their scores are equal."""
    return {c.part.part.partition(ALIKE)[0]: c.order[1] for c in found}


def _better(found: Sequence[Candidate], ask: Ask) -> bool:
    """Whether each part is worth more than it may be on the packs that were not tried."""
    scores = {c.part.part: c.score for c in found}
    return all(part in scores for part in ask.parts or ()) and all(
        scores.get(part, np.inf) > points + CLOSE for part, points in ask.beside.items()
    )


def _taken(candidate: Candidate, stated: bool) -> list[Build]:
    """The builds that a decision takes; at the stated values those that nearly do as well."""
    if not stated:
        return [candidate.best]
    return [b for b in candidate.builds[:MOST] if b.score >= candidate.best.score - CLOSE]


@dataclass(frozen=True, slots=True)
class Decided:
    """What a decision found: who leads, and the builds that it takes with their utilities."""

    standing: Standing
    builds: Sequence[Build]
    worth: Mapping[Build, Array] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Ask:
    """A value of a lever at which a decision among some parts is asked for, None for all of the
    catalogue's; `stated`: by the stated values alone, for the builds that stand there. `without`:
    packs with converters that are not tried where the lever moves more than one part, unless a
    part is worth no more than `beside` without them, its points on them."""

    lever: Lever
    x: float
    parts: tuple[str, ...] | None
    stated: bool = False
    without: frozenset[Paired] = frozenset()
    beside: Mapping[str, float] = field(default_factory=dict)
