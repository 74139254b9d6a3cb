"""A lever: scans along it on the first few draws, corrected by the decisions taken on it.

Where the decision is known a scan's scores are exactly the decision's: on common random numbers a
part's score at a value x is E_N(known) + [E_n(x) - E_n(known)], n draws being the first of N.
Between two known values the correction goes evenly from one to the other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.levers import Lever
from advisor.decide.builds import Build
from advisor.decide.drawing import chunk_of
from advisor.decide.leading import Ask, Decided, Deciding
from advisor.decide.scan import scan
from advisor.model.draws import Array, Case

COARSE = 16  # draws of a scan over a whole side
FINE = 64  # draws of a scan between two values
CLOSE = 3.0  # points; builds as close to their part's best may take turns with it nearby
EQUAL = 0.3  # points; builds of a part that close are told apart by all draws
WIDE = 8.0  # points; parts as close to the best may lead nearby
MUCH = 1000  # builds times places of a scan that is worth a pass for each interval
MARGIN = 2.0  # points by which a scanned score may be wrong where a decision is asked for


class Line:
    """A lever: a scan along it, corrected by the decisions that were taken on it."""

    def __init__(self, deciding: Deciding, lever: Lever) -> None:
        self.deciding, self.lever = deciding, lever
        part = lever.path.document
        self.moves = [part] if deciding.of_part(lever) else list(deciding.scores)
        self._carried = {(b.part, b.name): b for b in deciding.carried if b.part in self.moves}
        now = lever.now
        assert now is not None
        self._known: dict[float, Mapping[str, float]] = {now: deciding.scores}
        self._last: tuple[Array, list[Build], Array] | None = None
        self._told: tuple[Array, Mapping[str, Array]] | None = None
        self.staged = False  # scanned a place at a time
        self.untold = False  # no scan tells anything
        self._points: dict[tuple[int, float], dict[Build, float]] = {}

    @property
    def carried(self) -> list[Build]:
        """The builds that are carried along."""
        return list(self._carried.values())

    def ask(self, x: float) -> Ask:
        """What to ask for at a value: the leader of now and whoever may lead there."""
        if len(self.moves) == 1 or self._told is None:
            return Ask(self.lever, x, tuple(self.deciding.scores))
        places, points = self._told
        # scores may jump between two places: whoever may lead at one of them, and the best rival
        gap = np.abs(places - x)
        winner = self.deciding.winner
        some = {winner}
        for side in (places <= x, places >= x):
            if not side.any():
                continue
            n = int(np.argmin(np.where(side, gap, np.inf)))
            here = {part: float(told[n]) for part, told in points.items()}
            rival = max((v for p, v in here.items() if p != winner), default=-np.inf)
            least = min(max(here.values()) - MARGIN, rival)
            some |= {p for p, value in here.items() if value >= least}
        return Ask(self.lever, x, tuple(sorted(some)))

    def look(self, x: float) -> Ask:
        """What to ask for the builds that stand at a value."""
        return Ask(self.lever, x, tuple(self.deciding.scores), stated=True)

    def learn(self, ask: Ask, found: Decided) -> bool:
        """Take over what a decision found; whether any of its builds is new here."""
        if not ask.stated:
            self._known[ask.x] = found.standing.scores
        self.deciding.worth.update(found.worth if self.deciding.weighs(self.lever) else {})
        options = self.deciding.product.supply_options.cells
        fresh = False
        for build in found.builds:
            key = build.part, build.name
            if key not in self._carried and build.assessed.feed.option in options:
                self._carried[key] = build
                fresh = True
        return fresh

    def known_lead(self, x: float) -> float:
        """The lead at a value at which a decision was taken."""
        return self.deciding.standing(self._known[x]).lead

    def leads(self, places: Array) -> Array | None:
        """The lead over places (N,) by all that is carried along, (N,) points; None where none can
        tell. Places are in SI."""
        if self.untold:
            return None
        builds = self.carried
        scores = self._scores(places, COARSE, builds)
        if scores is None:
            self.untold = True
            return None
        self._last = places, builds, self._raw(builds, places, COARSE)
        self._told = places, scores
        return self._lead(scores)

    def between(self, places: Array) -> Array:
        """The lead over places (N,) SI by the builds that may count from the least to the greatest,
        (N,) points."""
        scores = {part: np.full(len(places), np.nan) for part in self.deciding.scores}
        for some, builds in self._runs(places):
            here = self._scores(places[some], FINE, builds)
            assert here is not None
            for part, points in here.items():
                scores[part][some] = points
        self._told = places, scores
        return self._lead(scores)

    def _runs(self, places: Array) -> list[tuple[NDArray[np.intp], list[Build]]]:
        """Places (N,) SI with the builds that may count there: all together, or where that is
        much to scan those between the same two of the scan over the whole side, by their indices.
        """
        every = np.arange(len(places))
        builds = self._nearby(float(places.min()), float(places.max()))
        if self._last is None or len(places) * len(builds) <= MUCH:
            return [(every, builds)]
        at = np.searchsorted(np.sort(self._last[0]), places)
        runs = [every[at == n] for n in np.unique(at)]
        return [(r, self._nearby(float(places[r].min()), float(places[r].max()))) for r in runs]

    def close(self, places: Array) -> list[Build]:
        """The builds that lead their part at one of some places (N,) SI, of the winner and its
        rivals."""
        deciding = self.deciding
        near = self._nearby(float(places.min()), float(places.max()))
        scores = self._scores(places, FINE, near)
        assert scores is not None
        still = np.full(len(places), -np.inf)
        rivals = [points for p, points in scores.items() if p != deciding.winner]
        top = np.fmax.reduce([*rivals, still])
        raw = self._raw(near, places, FINE)
        mine = self._best(near, raw)
        out = []
        for build, points in zip(near, raw, strict=True):
            counts = np.isfinite(points) & (points >= mine[build.part] - EQUAL)
            if build.part != deciding.winner:
                counts &= scores[build.part] >= top - EQUAL
            if counts.any():
                out.append(build)
        return out

    def exactly(self, x: float, builds: Sequence[Build]) -> float:
        """The lead at a value by all draws (of the first chunk) of some builds."""
        draws = min(self.deciding.base.draws, chunk_of(self.deciding.product))
        scores = self._scores(np.array([x]), draws, builds)
        assert scores is not None
        told = {b.part for b in builds} | set(scores) - set(self.moves)
        return float(self._lead({p: v for p, v in scores.items() if p in told})[0])

    def _nearby(self, low: float, high: float) -> list[Build]:
        """The builds that may count in a range, and those found since all were scanned."""
        if self._last is None:
            return self.carried
        places, builds, raw = self._last
        least = places[places <= low].max(initial=places.min())
        most = places[places >= high].min(initial=places.max())
        inside = (places >= least) & (places <= most)
        scores = raw[:, inside]
        best = self._best(builds, scores)
        still = [v for p, v in self.deciding.scores.items() if p not in self.moves]
        top = np.fmax.reduce([*best.values(), *(np.full(inside.sum(), v) for v in still)])
        known = set(builds)
        kept = [build for build in self.carried if build not in known]
        with np.errstate(invalid="ignore"):
            for build, points in zip(builds, scores, strict=True):
                mine = best[build.part]
                counts = build.part == self.deciding.winner or (mine >= top - WIDE).any()
                if counts and (points >= mine - CLOSE).any():
                    kept.append(build)
        return kept or self.carried

    def _scores(
        self, places: Array, draws: int, builds: Sequence[Build]
    ) -> dict[str, Array] | None:
        """Scores of parts over places, exactly the decision's where that is known; None where no
        scan can tell."""
        known = self._around(places)
        if draws == COARSE:
            # one more value would take a pass of its own
            points = self._points
            known = [
                x
                for x in known
                if x == self.lever.now or all(b in points.get((draws, x), ()) for b in builds)
            ]
        elif draws > FINE:
            # with all draws only builds that none of these is can make a difference
            known = [x for x in known if x != self.lever.now]
        raw = self._raw(builds, np.concatenate([places, known]), draws)
        if not raw.size:
            return None
        out = {p: np.full(len(places), v) for p, v in self.deciding.scores.items()}
        for part in self.moves:
            out[part] = np.full(len(places), -np.inf)
        for part, points_of in self._best(builds, raw).items():
            there = points_of[len(places) :]
            gaps = [
                (self._axis(x), self._known[x][part] - there[n])
                for n, x in enumerate(known)
                if part in self._known[x] and np.isfinite(there[n])
            ]
            off: Array | float = 0.0
            if gaps:
                at, by = np.array(sorted(gaps)).T
                off = np.interp([self._axis(x) for x in places.tolist()], at, by)
            out[part] = points_of[: len(places)] + off
        return out

    def _axis(self, x: float) -> float:
        now = self.lever.now
        return float(np.log(x)) if now is not None and now > 0 and x > 0 else x

    def _around(self, places: Array) -> list[float]:
        """The nearest known values on either side of the places, and those among them."""
        low, high = places.min(), places.max()
        inside = [x for x in self._known if low <= x <= high]
        below = [max(x for x in self._known if x < low)] if min(self._known) < low else []
        above = [min(x for x in self._known if x > high)] if max(self._known) > high else []
        return [*below, *inside, *above]

    @staticmethod
    def _best(builds: Sequence[Build], scores: Array) -> dict[str, Array]:
        best: dict[str, Array] = {}
        for build, points in zip(builds, scores, strict=True):
            part = build.part
            best[part] = np.fmax(best[part], points) if part in best else points
        return best

    def _lead(self, best: Mapping[str, Array]) -> Array:
        winner = self.deciding.winner
        mine = best.get(winner, np.full(len(next(iter(best.values()))), -np.inf))
        others = [points for part, points in best.items() if part != winner]
        with np.errstate(invalid="ignore"):
            lead = mine - np.fmax.reduce([*others, np.full(len(mine), -np.inf)])
        # where nothing stands nobody leads
        return np.where(np.isnan(lead), -np.inf, lead)

    # What builds are worth -----------------------------------------------------------------------

    def take_over(self, places: Array, builds: Sequence[Build], raw: Array) -> None:
        """Scans of builds over places (N,) SI by few draws, (B, N) points, made for several levers
        at once."""
        for n, x in enumerate(places.tolist()):
            self._points.setdefault((COARSE, x), {}).update(zip(builds, raw[:, n], strict=True))

    def _raw(self, builds: Sequence[Build], places: Array, draws: int) -> Array:
        """Expected scores of builds by some draws, (B, N); empty where no scan can tell."""
        if self.deciding.weighs(self.lever):
            return self.deciding.weighed(self.lever, builds, places)
        points = self._points
        wanted = list(dict.fromkeys(places.tolist()))
        new = [b for b in builds if any(b not in points.get((draws, x), ()) for x in wanted)]
        at = [x for x in wanted if any(b not in points.get((draws, x), ()) for b in new)]
        if new:
            found = self.deciding.scanned(self.lever, new, np.array(at), draws, self.staged)
            if found is None:
                return np.empty((len(builds), 0))
            for n, x in enumerate(at):
                points.setdefault((draws, x), {}).update(zip(new, found[:, n], strict=True))
        return np.array([[points[draws, x][b] for x in places.tolist()] for b in builds])


def scanned_together(lines: Sequence[Line], places: Sequence[Array]) -> None:
    """Scan levers of one part in one pass, over places (N,) SI each."""
    first = lines[0]
    builds, base = first.carried, first.deciding.base
    each = [np.concatenate([at, [line.lever.now]]) for line, at in zip(lines, places, strict=True)]
    cases: list[Case] = [
        (line.lever.path, x) for line, at in zip(lines, each, strict=True) for x in at.tolist()
    ]
    draws = min(COARSE, base.draws)
    found, taken = scan(
        first.deciding.catalogue,
        first.deciding.product,
        builds,
        [base.criteria],
        cases,
        draws,
        base.seed,
        first.deciding.memo,
        first.deciding.marches,
    )
    first.deciding.drawn |= taken
    ends = np.cumsum([len(at) for at in each])[:-1]
    for line, at, raw in zip(lines, each, np.split(found, ends, axis=1), strict=True):
        if line.lever.path in taken:
            line.take_over(at, builds, raw)
        else:
            line.untold = True
