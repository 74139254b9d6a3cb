"""A lever: looks along it, and the builds that count there.

Between two places a build is taken to be worth no less and no more than at them: so far a look at
few places tells where the lead may be lost in between.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from advisor.decide.builds import Build
from advisor.decide.drawing import CHUNK, chunk_of
from advisor.decide.leading import Ask
from advisor.decide.scans import COARSE, FINE, MORE, Scans
from advisor.decide.stage import Paired
from advisor.model.draws import Array

# where a scan tells of no more than so many points, so many draws are taken instead
UNSURE = ((64, 2.0), (256, 0.8), (CHUNK, 0.3))
CLOSE = 2.0  # points; builds as close to their part's best may take turns with it nearby
EQUAL = 0.3  # points; builds of a part that close are told apart by all draws
WIDE = 5.0  # points; parts as close to the best may lead nearby
STRIDE = 3  # of places outward every third is looked at first
SAFE = 0.5  # points by which the lead is kept where the places between two are not looked at
GAIN = 8.0  # points that a build may gain between two places before it is out
LITTLE = 0.1  # points; where a lever moves no build by more, no other build comes up
FAR_OUT = 1e6  # below zero: what stands for a build that is out
MUCH = 1000  # builds times places of a scan that is worth a pass for each interval
BEHIND = 10.0  # points; builds so far behind their part's best are no better nearby
MARGIN = 2.0  # points by which a scanned score may be wrong where a decision is asked for


class Line(Scans):
    """A lever: a scan along it, corrected by the decisions that were taken on it."""

    def ask(self, x: float, parts: tuple[str, ...] | None = None) -> Ask:
        """What to ask for at a value: of some parts, or the leader of now and whoever may lead."""
        if parts is not None:
            without, beside = self._hopeless(x, parts)
            return Ask(self.lever, x, parts, without=without, beside=beside)
        if len(self.moves) == 1 or self._told is None:
            return Ask(self.lever, x, self.parts)
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
        return self.ask(x, tuple(sorted(some)))

    def look(self, x: float) -> Ask:
        """What to ask for the builds that stand at a value."""
        return replace(self.ask(x, self.parts), stated=True)

    def _hopeless(
        self, x: float, parts: Collection[str]
    ) -> tuple[frozenset[Paired], dict[str, float]]:
        """Packs with converters on which no build of some parts is its part's best at a value: all
        those scanned nearby that stand there are far behind; with what each part may be worth on
        them, points."""
        if self._last is None or len(self.moves) == 1 or self.deciding.weighs(self.lever):
            return frozenset(), {}
        now = self.lever.now
        assert now is not None
        places, builds, raw = self._last
        places = np.concatenate([[now], places])
        raw = np.concatenate([self._raw(builds, places[:1], COARSE), raw], axis=1)
        # the places on either side of it, or the last one
        gap = np.abs(places - x)
        sides = [side for side in (places <= x, places >= x) if side.any()]
        points = raw[:, [int(np.argmin(np.where(side, gap, np.inf))) for side in sides]]
        best = self._best(builds, points)
        out: set[Paired] = set()
        near = {self.deciding.paired(b) for _, t in self._known.values() for b in t.values()}
        near |= {self.deciding.paired(build) for build in set(self.carried) - set(builds)}
        for build, row in zip(builds, points, strict=True):
            if build.part in parts and np.isfinite(row).any():
                pair = self.deciding.paired(build)
                out.add(pair)
                if (row > best[build.part] - BEHIND).any():
                    near.add(pair)
        left = frozenset(out - near)
        most: dict[str, float] = {}
        for build, row in zip(builds, points.max(axis=1).tolist(), strict=True):
            if build.part in parts and row > -np.inf and self.deciding.paired(build) in left:
                most[build.part] = max(most.get(build.part, -np.inf), row)
        return left, most

    def leads(self, places: Array) -> Array | None:
        """The lead over places (N,) by all that is carried along, (N,) points; None where none can
        tell. Places are in SI. Between some of them it goes straight where nothing may be lost."""
        if self.untold:
            return None
        builds = self.carried
        found = self._still(places)
        if found is not None:
            return found
        raw = self._surveyed(builds, places)
        if raw is None:
            self.untold = True
            return None
        self._last = places, builds, raw
        scores = self._parts(builds, raw + self._off(builds, places, COARSE))
        self._told = places, scores
        leads = self._lead(scores)
        self._scanned = (len(builds), len(self._known)), places, leads
        return leads

    def told(self, places: Array, x: float) -> float | None:
        """What the best part is worth at the nearest of places (N,) SI to a value, points; None
        where no scan tells."""
        if self.leads(places) is None or self._told is None:
            return None
        at, points = self._told
        n = int(np.argmin(np.abs(at - x)))
        return float(np.max([told[n] for told in points.values()]))

    def _still(self, places: Array) -> Array | None:
        """The lead over places (N,) SI by the last scan of a whole side, where nothing was learned
        since and it went over all of them."""
        if self._scanned is None:
            return None
        state, scanned, leads = self._scanned
        if state != (len(self._carried), len(self._known)):
            return None
        order = np.argsort(scanned)
        at = order[np.minimum(np.searchsorted(scanned, places, sorter=order), len(scanned) - 1)]
        return np.asarray(leads[at]) if (scanned[at] == places).all() else None

    def _surveyed(self, builds: Sequence[Build], places: Array) -> Array | None:
        """Builds over places (N,) SI by few draws, (B, N) points: every so-manyth place outward
        first, those between only where the lead may be lost there."""
        now = self.lever.now
        assert now is not None
        if self.deciding.weighs(self.lever):
            return self._raw(builds, places, COARSE)
        seen = first_looks(places, now)
        # with what they are worth now, which is asked for below
        raw = self._raw(builds, np.array([now, *places[seen]]), COARSE)[:, 1:]
        if not raw.size:
            return None
        wanted, some = self._hidden(builds, places, seen, raw)
        asked = np.isin(np.arange(len(places)), wanted)
        if wanted.size and some:
            self._raw(some, places[wanted], COARSE)
        told = np.stack([self._points_at(builds, x, COARSE) for x in places.tolist()], axis=1)
        told[:, ~(asked | np.isin(np.arange(len(places)), seen))] = np.nan
        return self._filled(builds, places, told)

    def _filled(self, builds: Sequence[Build], places: Array, told: Array) -> Array:
        """Points of builds (B, N), those that nobody asked for on a straight line between the next
        ones that are known."""
        now = self.lever.now
        assert now is not None
        axis = np.array([self._axis(x) for x in (now, *places.tolist())])
        there = self._raw(builds, np.array([now]), COARSE)
        every = np.maximum(np.concatenate([there, told], axis=1), -FAR_OUT)
        for row in every:
            known = ~np.isnan(row)
            if not known.all():
                at = axis[known]
                order = np.argsort(at)
                row[~known] = np.interp(axis[~known], at[order], row[known][order])
        every[every < -np.sqrt(FAR_OUT)] = -np.inf
        return np.asarray(every[:, 1:])

    def _hidden(
        self, builds: Sequence[Build], places: Array, seen: NDArray[np.intp], raw: Array
    ) -> tuple[NDArray[np.intp], list[Build]]:
        """The places (by their indices) among those not `seen` where the lead may be lost, and
        those of the builds that count there. A build is taken to be worth no less and no more
        between two places than at them."""
        now = self.lever.now
        assert now is not None
        at = np.array([now, *places[seen]])
        points = np.concatenate([self._raw(builds, at[:1], COARSE), raw], axis=1)
        points = points + self._off(builds, at, COARSE)
        leads = self._lead(self._parts(builds, points))
        wanted: list[int] = []
        counts = np.zeros(len(builds), dtype=bool)
        for side in (at <= now, at >= now):
            order = np.flatnonzero(side)
            order = order[np.argsort(np.abs(at[order] - now))]
            moved = np.abs(np.diff(np.clip(leads[order], -100.0, 100.0)))
            for n, (i, j) in enumerate(pairwise(order)):
                inside = np.flatnonzero((places > min(at[i], at[j])) & (places < max(at[i], at[j])))
                if inside.size:
                    around = moved[max(n - 1, 0) : n + 2].max()
                    least = min(leads[i], leads[j])
                    here = self._may_count(builds, points[:, [i, j]])
                    if here is None or not around:
                        continue
                    stands = np.isfinite(points[here][:, [i, j]])
                    # what stands at one end only may come or go anywhere
                    steps = bool((stands[:, 0] != stands[:, 1]).any())
                    if steps or least < 0 or least - around < SAFE:
                        wanted += inside.tolist()
                        counts |= here
                if leads[j] < -SAFE:
                    break
        some = [build for build, one in zip(builds, counts, strict=True) if one]
        return np.array(sorted(wanted), dtype=np.intp), some

    def _may_count(self, builds: Sequence[Build], points: Array) -> NDArray[np.bool_] | None:
        """Which builds (B,) may lead between two places, by their points there (B, 2); None where
        the winner stays ahead of all."""
        low, high = points.min(axis=1), points.max(axis=1)
        # what stands at one end only may gain until it falls
        high = np.where(np.isfinite(high) & ~np.isfinite(low), high + GAIN, high)
        winner = self.deciding.winner
        least, most = self._ends(builds, low, high)
        mine = least.get(winner, -np.inf)
        rival = max((v for p, v in most.items() if p != winner), default=-np.inf)
        return None if mine - rival >= SAFE else self._counting(builds, low, high)

    def _counting(self, builds: Sequence[Build], low: Array, high: Array) -> NDArray[np.bool_]:
        """Which builds (B,) may lead where each is worth from `low` to `high`, (B,) points."""
        least, most = self._ends(builds, low, high)
        top = max(least.values())
        wide = {p: p == self.deciding.winner or v >= top - WIDE for p, v in most.items()}
        return np.array(
            [high[n] >= least[b.part] - CLOSE and wide[b.part] for n, b in enumerate(builds)],
            dtype=bool,
        ) & (high > -np.inf)

    def _ends(
        self, builds: Sequence[Build], low: Array, high: Array
    ) -> tuple[dict[str, float], dict[str, float]]:
        """What parts are worth at least and at most, by the least and most of builds (B,)."""
        best = self._best(builds, np.array([low, high]).T)
        least = {p: float(v[0]) for p, v in best.items()}
        most = {p: float(v[1]) for p, v in best.items()}
        still = {p: v for p, v in self.deciding.scores.items() if p not in self.moves}
        return least | still, most | still

    def may_bring(self, places: Array) -> bool:
        """Whether other builds than those that are carried may come up over places (N,) outward:
        not where a figure that is reckoned with hardly moves any, nor where the winner gains."""
        leads = self.leads(places)
        if self._last is None or leads is None:
            return True
        stands = self.deciding.stands().lead
        if (leads >= stands - 1e-9).all() and leads[-1] > stands + LITTLE:
            return False
        if self._of_currents:
            # the winner's other builds only add to its lead; a rival's are no better by so much
            least = SAFE if self.moves == [self.deciding.winner] else GAIN
            if (leads >= least).all():
                return False
        _, builds, raw = self._last
        now = self.lever.now
        assert now is not None
        there = self._raw(builds, np.array([now]), COARSE)
        with np.errstate(invalid="ignore"):
            moved = np.where(raw == there, 0.0, np.abs(raw - there))
        # on either side: a limit may rule all out where scores hardly move
        most = float(np.nan_to_num(moved, nan=np.inf).max(initial=0.0))
        # a price of another number of pieces than is bought; a lead time is limited unscanned
        money = self.lever.path.keys[:2] == ("price", "breaks")
        return most > LITTLE or (most == 0 and not money)

    @property
    def _of_currents(self) -> bool:
        """Whether it is a current or a time of work of one part, which no screen asks for."""
        keys = self.lever.path.keys
        if len(self.moves) != 1:
            return False
        named = {"kernels": ("current", "time"), "operating-points": ("idle-current",)}
        named["sleep-states"] = ("current",)
        return any(key in named.get(keys[0], ()) for key in keys[2:4])

    def between(self, places: Array) -> Array:
        """The lead over places (N,) SI by the builds that may count from the least to the greatest,
        (N,) points."""
        scores = {part: np.full(len(places), np.nan) for part in self.parts}
        for some, builds in self._runs(places):
            here = self._scores(places[some], FINE, builds)
            assert here is not None
            for part, points in here.items():
                scores[part][some] = points
        self._told = places, scores
        return self._lead(scores)

    def surely(self, places: Array) -> tuple[Array, NDArray[np.bool_]]:
        """The lead over places (N,) SI, (N,) points, by more draws where few tell that it is small;
        and where it was asked for: of places with one lead the first and the last stand for all."""
        coarse = self.leads(places)
        assert coarse is not None
        if self.deciding.weighs(self.lever) or self._last is None:
            return coarse, np.ones(len(places), dtype=bool)
        leads = coarse.copy()
        now = self.deciding.stands().lead
        told = np.clip(coarse, -100.0, 100.0)
        turns = np.abs(np.diff(told, prepend=now, append=np.inf)) > 1e-6
        turned = turns[:-1] | turns[1:]
        some = np.flatnonzero(turned & (np.abs(told - now) > 1e-9))
        for draws, unsure in UNSURE:
            lost = np.flatnonzero(leads < 0)
            some = np.array(
                [n for n in some if leads[n] < unsure and not self.settled(float(places[n]))],
                dtype=int,
            )
            some = some[some < lost[0]] if lost.size else some
            if not some.size:
                break
            builds = self._ahead(places[some], unsure)
            scores = self._scores(
                places[some], min(draws, self.most) if draws > MORE else draws, builds
            )
            assert scores is not None
            leads[some] = self._lead(scores)
        return leads, turned

    def _ahead(self, places: Array, points: float) -> list[Build]:
        """The builds that are at most so many points behind their part's best at one of some of the
        places (N,) SI that were scanned last, their part as many behind the first."""
        assert self._last is not None
        scanned, builds, raw = self._last
        some = np.isin(scanned, places)
        known = set(builds)
        new = [build for build in self.carried if build not in known]
        told = raw[:, some] + self._off(builds, scanned[some], COARSE)
        best = self._best(builds, told)
        top = np.fmax.reduce(list(best.values()))
        for part, score in self.deciding.scores.items():
            if part not in self.moves:
                top = np.fmax(top, score)
        far = {p: p != self.deciding.winner and mine < top - 2 * points for p, mine in best.items()}
        least = {p: np.where(far[p], np.inf, mine - points) for p, mine in best.items()}
        kept = [
            b
            for b, row in zip(builds, told, strict=True)
            if (np.isfinite(row) & (row >= least[b.part])).any()
        ]
        return kept + new or self.carried

    def hides(self, close: float, beyond: float) -> bool:
        """Whether the lead may be lost between two places by what builds are worth there, each no
        less and no more in between."""
        if self.deciding.weighs(self.lever) or self._last is None:
            return True
        builds = self._nearby(min(close, beyond), max(close, beyond))
        at = np.array([close, beyond])
        for draws in (FINE, COARSE):
            points = np.stack([self._points_at(builds, x, draws) for x in at.tolist()], axis=1)
            if not np.isnan(points).any():
                return self._may_count(builds, points + self._off(builds, at, draws)) is not None
        return True

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

    def finely(self, x: float) -> float:
        """The lead at a value by the builds that may count there, by more draws than a whole side
        is scanned with."""
        scores = self._scores(np.array([x]), FINE, self._nearby(x, x))
        return -np.inf if scores is None else float(self._lead(scores)[0])

    def taken(self, places: Sequence[float]) -> list[Build]:
        """The builds that decisions took at values, each once, where there was one at each."""
        if not all(x in self._known for x in places):
            return []
        each = (build for x in places for build in self._known[x][1].values())
        return [build for build in dict.fromkeys(each) if build.part in self.moves]

    def that_stand(self, x: float, builds: Sequence[Build]) -> list[Build]:
        """Those of some builds that keep all needs and limits at the stated values, with the lever
        at a value."""
        stands = self.stand(builds, np.array([x]))[:, 0]
        return [build for build, one in zip(builds, stands, strict=True) if one]

    def exactly(self, x: float, builds: Sequence[Build]) -> float:
        """The lead at a value by all draws (of the first chunk) of some builds."""
        scores = self._scores(np.array([x]), self.most, builds)
        assert scores is not None
        told = {b.part for b in builds} | set(scores) - set(self.moves)
        return float(self._lead({p: v for p, v in scores.items() if p in told})[0])

    @property
    def most(self) -> int:
        """Draws of the first chunk, the most that a scan takes."""
        return min(self.deciding.base.draws, chunk_of(self.deciding.product))

    def _nearby(self, at_least: float, at_most: float) -> list[Build]:
        """The builds that may count in a range, those found since all were scanned, and those that
        decisions took there."""
        if self._last is None:
            return self.carried
        places, builds, raw = self._last
        least = places[places <= at_least].max(initial=places.min())
        most = places[places >= at_most].min(initial=places.max())
        inside = (places >= least) & (places <= most)
        low, high = raw[:, inside].min(axis=1), raw[:, inside].max(axis=1)
        known = set(builds)
        kept = [build for build in self.carried if build not in known]
        counts = self._counting(builds, low, high)
        some = [t for x, (_, t) in self._known.items() if at_least <= x <= at_most]
        taken = {build for each in some for build in each.values()}
        kept += [b for b, one in zip(builds, counts, strict=True) if one or b in taken]
        return kept or self.carried

    def further_looks(self, places: Array) -> tuple[Array, list[Build]]:
        """Where to look after the first looks over places (N,) SI, and the builds that count."""
        seen = first_looks(places, self.lever.now or 0.0)
        builds = self.carried
        wanted, some = self._hidden(builds, places, seen, self._raw(builds, places[seen], COARSE))
        return places[wanted], some


def first_looks(places: Array, now: float) -> NDArray[np.intp]:
    """Of places (N,) on both sides of a value those that are looked at first, by their indices:
    every `STRIDE`th outward, the outermost among them."""
    out: list[int] = np.flatnonzero(places == now).tolist()
    for side in (places < now, places > now):
        order = np.flatnonzero(side)
        order = order[np.argsort(np.abs(places[order] - now), kind="stable")]
        out += order[::-1][::STRIDE].tolist()
    return np.array(sorted(out), dtype=np.intp)
