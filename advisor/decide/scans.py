"""What scans of builds along a lever tell, put right by the decisions taken on it.

Where the decision is known a scan's scores are the decision's: on common random numbers a part's
score at a value x is E_N(known) + [E_n(x) - E_n(known)], n draws being the first of N. It is the
build that the decision took that puts its part right. Between two known values what a scan lacks
goes evenly from one to the other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.levers import Lever
from advisor.decide.builds import Build
from advisor.decide.leading import Ask, Decided, Deciding, Standing
from advisor.model.draws import Array
from advisor.model.pieces import across, piece_and_share

COARSE = 16  # draws of a scan over a whole side
FINE = 64  # draws of a scan between two values
MORE = 256  # the most draws of a scan that the value that stands is scanned by as well


class Scans:
    """Builds that are carried along a lever, and what they are worth over it."""

    def __init__(self, deciding: Deciding, lever: Lever, late: Sequence[str] = ()) -> None:
        """`late`: parts that are out as things stand and come in along the lever."""
        self.deciding, self.lever = deciding, lever
        part = lever.path.document
        self.parts = (*deciding.scores, *late)
        self.moves = [part] if deciding.of_part(lever) else list(self.parts)
        self._carried = {(b.part, b.name): b for b in deciding.carried if b.part in self.moves}
        now = lever.now
        assert now is not None
        # scores of parts and the builds that they take, where decided
        chosen = {c.part.part: c.best for c in deciding.candidates}
        self._known: dict[float, tuple[Mapping[str, float], Mapping[str, Build]]] = {
            now: (deciding.scores, chosen)
        }
        self._standings: dict[float, Standing] = {}  # by decisions
        self._last: tuple[Array, list[Build], Array] | None = None
        self._told: tuple[Array, Mapping[str, Array]] | None = None
        # the last scan of whole sides, by how much was known
        self._scanned: tuple[tuple[int, int], Array, Array] | None = None
        # values known by all draws of the builds that stand alone, and those that were looked at
        self._reckoned: set[float] = set()
        self._seen: set[float] = set()
        self._out: set[float] = set()  # of these where the winner was ruled out
        # builds that break a need at the stated values where that was asked
        self._fallen: dict[float, set[Build]] = {}
        self.staged = False  # scanned a place at a time
        self.untold = False  # no scan tells anything
        self._points: dict[tuple[int, float], dict[Build, float]] = {}

    @property
    def carried(self) -> list[Build]:
        """The builds that are carried along."""
        return list(self._carried.values())

    def learn(self, ask: Ask, found: Decided) -> bool:
        """Take over what a decision found; whether any of its builds is new here."""
        self.deciding.worth.update(found.worth if self.deciding.weighs(self.lever) else {})
        self._seen.add(ask.x)
        if self.deciding.winner not in found.standing.scores:
            self._out.add(ask.x)
        fresh = self.bring(found.builds)
        if not ask.stated:
            self._reckoned.discard(ask.x)
            names = [(b.part, b.name) for b in found.builds]
            taken = {key[0]: self._carried[key] for key in names if key in self._carried}
            self._known[ask.x] = found.standing.scores, taken
            self._standings[ask.x] = found.standing
        return fresh

    def bring(self, builds: Sequence[Build]) -> bool:
        """Carry builds along as well; whether any of them is new here."""
        options = self.deciding.product.supply_options.cells
        fresh = False
        for build in builds:
            key = build.part, build.name
            if key not in self._carried and build.assessed.feed.option in options:
                self._carried[key] = self.deciding.one_of(build)
                fresh = True
        return fresh

    def known_standing(self, x: float) -> Standing:
        """The standing at a value at which a decision was taken."""
        return self._standings.get(x) or self.deciding.standing(self._known[x][0])

    def known_lead(self, x: float) -> float:
        """The lead at a value at which a decision was taken, or it was reckoned."""
        return self.known_standing(x).lead

    @property
    def worth_looks(self) -> bool:
        """Whether a decision takes so long that looks are worth while that may save some."""
        return len(self.moves) > 1 and not self.deciding.weighs(self.lever)

    def seen_near(self, x: float, share: float) -> bool:
        """Whether a look or a decision was taken within a share of a value."""
        width = self.lever.reach(x, share)
        return any(abs(one - x) <= width for one in (*self._seen, *self._known))

    def out_near(self, x: float, share: float) -> bool:
        """Whether a look or a decision within a share of a value found the winner ruled out."""
        return any(abs(one - x) <= self.lever.reach(x, share) for one in self._out)

    def kept_before(self, x: float) -> float:
        """The farthest value before another at which a decision found the lead kept, seen from the
        one that stands."""
        now = self.lever.now
        assert now is not None
        kept = [
            one
            for one in self._known
            if min(now, x) <= one <= max(now, x)
            and one != x
            and self.knows(one)
            and self.known_standing(one).leader == self.deciding.winner
        ]
        return max(kept, key=lambda one: abs(one - now), default=now)

    def knows(self, x: float) -> bool:
        """Whether the decision at a value is known."""
        return x in self._known and x not in self._reckoned

    def settled(self, x: float) -> bool:
        """Whether the lead at a value is known or reckoned."""
        return x in self._known

    def reckon(self, x: float, builds: Sequence[Build], draws: int) -> float:
        """The lead at a value by so many draws of some builds, which from then on put scans right
        as a decision does."""
        points = self._raw(builds, np.array([x]), draws)[:, 0]
        taken: dict[str, Build] = {}
        scores = {p: v for p, v in self.deciding.scores.items() if p not in self.moves}
        for build, value in zip(builds, points.tolist(), strict=True):
            if value > scores.get(build.part, -np.inf):
                scores[build.part], taken[build.part] = value, build
        self._known[x] = scores, taken
        self._reckoned.add(x)
        return self.known_lead(x)

    def _scores(
        self, places: Array, draws: int, builds: Sequence[Build]
    ) -> dict[str, Array] | None:
        """Scores of parts over places, exactly the decision's where that is known; None where no
        scan can tell."""
        raw = self._raw(builds, places, draws)
        if not raw.size:
            return None
        return self._parts(builds, raw + self._off(builds, places, draws))

    def _parts(self, builds: Sequence[Build], points: Array) -> dict[str, Array]:
        """Scores of parts by what their builds are worth (B, N)."""
        size = points.shape[1]
        out = {p: np.full(size, v) for p, v in self.deciding.scores.items()}
        for part in self.moves:
            out[part] = np.full(size, -np.inf)
        return out | self._best(builds, points)

    def _off(self, builds: Sequence[Build], places: Array, draws: int) -> Array:
        """What scanned points lack over places, (B, N): at a known value what the build that the
        decision took does, and no less than keeps another from being worth more than that."""
        if draws > MORE:
            # all draws tell what the decision does, but for builds that it saw no need to try
            return np.zeros((len(builds), len(places)))
        known = sorted(self._around(places), key=self._axis)
        names = list(dict.fromkeys(build.part for build in builds))
        row = {name: n for n, name in enumerate(names)}
        which = np.array([row[build.part] for build in builds], dtype=np.intp)
        gaps = np.full((len(known), len(builds)), np.nan)
        for k, x in enumerate(known):
            scores, points = self._chosen(x, draws)
            most = np.array([points.get(name, np.nan) for name in names])
            told = np.array([scores[name] if name in points else np.nan for name in names])
            gaps[k] = told[which] - np.fmax(most[which], self._points_at(builds, x, draws))
        if len(known) == 1:
            return np.repeat(np.where(np.isnan(gaps), 0.0, gaps).T, len(places), axis=1)
        at = np.array([self._axis(x) for x in known])
        axis = np.array([self._axis(x) for x in places.tolist()])
        out = np.zeros((len(builds), len(places)))
        # parts that were decided on at the same known values have the same ones to go between
        there = ~np.isnan(gaps)
        for some in np.unique(there, axis=1).T:
            alike = (there == some[:, None]).all(axis=0)
            if some.any():
                out[alike] = _straight(at[some], gaps[some][:, alike], axis)
        return out

    def _chosen(self, x: float, draws: int) -> tuple[Mapping[str, float], dict[str, float]]:
        """Scores of parts at a known value, and what scans of the builds that they take tell."""
        scores, taken = self._known[x]
        some = [b for p, b in taken.items() if p in self.moves and p in scores]
        if not some:
            return scores, {}
        raw = self._raw(some, np.array([x]), draws)[:, 0]
        return scores, {b.part: float(v) for b, v in zip(some, raw, strict=True) if np.isfinite(v)}

    def _points_at(self, builds: Sequence[Build], x: float, draws: int) -> Array:
        """What is known of scanned points at a value, (B,)."""
        if self.deciding.weighs(self.lever):
            return self._raw(builds, np.array([x]), draws)[:, 0]
        points = self._at(draws, x)
        return np.array([points.get(build, np.nan) for build in builds])

    def _at(self, draws: int, x: float) -> dict[Build, float]:
        """Scanned points at a value; all levers have those as things stand in common."""
        if x == self.lever.now:
            return self.deciding.as_now.setdefault(draws, {})
        return self._points.setdefault((draws, x), {})

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
        """The best of each part's builds (B,) by their scores (B, ...), in any unit."""
        rows: dict[str, list[int]] = {}
        for n, build in enumerate(builds):
            rows.setdefault(build.part, []).append(n)
        return {
            part: scores[some[0]] if len(some) == 1 else np.fmax.reduce(scores[some], axis=0)
            for part, some in rows.items()
        }

    def _lead(self, best: Mapping[str, Array]) -> Array:
        winner = self.deciding.winner
        mine = best.get(winner, np.full(len(next(iter(best.values()))), -np.inf))
        others = [points for part, points in best.items() if part != winner]
        with np.errstate(invalid="ignore"):
            lead = mine - np.fmax.reduce([*others, np.full(len(mine), -np.inf)])
        # where nothing stands nobody leads
        return np.where(np.isnan(lead), -np.inf, lead)

    def take_over(self, places: Array, builds: Sequence[Build], raw: Array) -> None:
        """Scans of builds over places (N,) SI by few draws, (B, N) points, NaN where there is none,
        made for several levers at once."""
        for n, x in enumerate(places.tolist()):
            column = zip(builds, raw[:, n].tolist(), strict=True)
            self._at(COARSE, x).update((b, points) for b, points in column if points == points)

    def given(self, places: Array) -> Array:
        """What was scanned of the builds that are carried over places (N,) SI by few draws, (B, N)
        points, NaN where there is none."""
        columns = [self._points_at(self.carried, x, COARSE) for x in places.tolist()]
        return np.stack(columns, axis=1) if columns else np.empty((len(self.carried), 0))

    def _raw(self, builds: Sequence[Build], places: Array, draws: int) -> Array:
        """Expected scores of builds by some draws, (B, N); empty where no scan can tell."""
        if self.deciding.weighs(self.lever):
            return self.deciding.weighed(self.lever, builds, places)
        points = {x: self._at(draws, x) for x in places.tolist()}
        known = list(points.values())
        new = [b for b in builds if not all(b in one for one in known)]
        at = [x for x, one in points.items() if not all(b in one for b in new)]
        if new:
            found = self.deciding.scanned(self.lever, new, np.array(at), draws, self.staged)
            if found is None:
                return np.empty((len(builds), 0))
            for n, x in enumerate(at):
                found[self._barred(new, x), n] = -np.inf
                points[x].update(zip(new, found[:, n].tolist(), strict=True))
        columns = [points[x] for x in places.tolist()]
        out = np.array([[column[b] for column in columns] for b in builds])
        if draws > COARSE and self._fallen:
            for n, x in enumerate(places.tolist()):
                fallen = self._fallen.get(x, ())
                out[[i for i, b in enumerate(builds) if b in fallen], n] = -np.inf
        return out

    def _barred(self, builds: Sequence[Build], x: float) -> list[int]:
        """Builds (by their places) of parts that fail a need of their own at a value: scans know
        nothing of what parts that are out as things stand must meet by themselves."""
        waiting = self.deciding.waiting
        some = [n for n, build in enumerate(builds) if build.part in waiting.records]
        moved = self.deciding.moved(self.lever, x) if some else None
        return [] if moved is None else [n for n in some if waiting.bars(builds[n], moved[1])]

    def stand(self, builds: Sequence[Build], places: Array) -> NDArray[np.bool_]:
        """Whether builds keep all needs and limits at the stated values, over places (N,) SI, (B,
        N): no decision tries others, however often they fit, and scans go by it from then on."""
        if self.deciding.of_money(self.lever) or self.deciding.weighs(self.lever):
            return np.ones((len(builds), len(places)), dtype=bool)
        found = np.isfinite(self._raw(builds, places, 0))
        if not found.size:
            return np.ones((len(builds), len(places)), dtype=bool)
        for n, x in enumerate(places.tolist()):
            out = {b for b, one in zip(builds, found[:, n], strict=True) if not one}
            if out:
                self._fallen.setdefault(x, set()).update(out)
        return found


def _straight(x: Array, y: Array, at: Array) -> Array:
    """Lines through y (K, B) at ascending x (K,), as they stand at places (N,), (B, N); beyond the
    ends as at them."""
    if len(x) == 1:
        return np.repeat(y.T, len(at), axis=1)
    i, share = piece_and_share(x, np.clip(at, x[0], x[-1]))
    return across(y, i, share).T
