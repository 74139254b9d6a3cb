"""The builds of each part that some weights may choose, with what they are worth.

What a build is worth by a criterion does not depend on the weights. So whoever carries these builds
with their utilities ranks the parts under any weights as the whole decision does.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from itertools import combinations

import numpy as np

from advisor.dataclass import dataclass
from advisor.decide.builds import Build
from advisor.decide.choosing import LEANING, SOME
from advisor.decide.drawing import Drawn, draw_builds
from advisor.decide.evaluate import Candidate, Evaluation
from advisor.decide.stage import Begun
from advisor.decide.workers import over_groups
from advisor.model.draws import Array, Known
from advisor.stages import Progress, begin

MANY = 12  # criteria, of which no longer all sets are looked at
GROUPS = 2  # of parts, whose builds are drawn apart, maybe side by side
FAR = 1.5  # of a share's standard deviation at the worst, a half, three of them


@dataclass(frozen=True, slots=True, eq=False)
class Offered:
    """A build that some weights may choose: its utilities (C,), expected where there are draws."""

    build: Build
    worth: Array
    drawn: Drawn | None


def worth_carrying(candidate: Candidate, offered: Sequence[Build]) -> list[Build]:
    """A part's builds of which one is likely to be its best along a lever: those that went through
    all draws, those that some weights may choose, the best on each pack with each converter."""
    out = list(dict.fromkeys([candidate.best, *candidate.tried, *offered]))
    feeds = {build.assessed.feed.name for build in out}
    for build in candidate.builds:
        if build.assessed.feed.name not in feeds:
            out.append(build)
            feeds.add(build.assessed.feed.name)
    return out


def fronts(
    evaluation: Evaluation,
    jobs: int = 1,
    progress: Progress | None = None,
    known: Known | None = None,
    ties: bool = False,
) -> list[list[Offered]]:
    """For every candidate the builds that some weights may choose, the chosen one among them.

    A build is left out where another is at least as good by every criterion and goes before it
    where their scores are equal (`Build.order`): whatever the weights, that other one is taken.
    With draws it must fit in the share of them that is wanted.

    Parameters
    ----------
    jobs : workers for the draws; the result does not depend on it. progress : told (parts done, of
    how many). known : draws of figures that the evaluation took. ties : whether weights of nothing
    count as well: they leave builds equal that differ, of which the one of least current is taken,
    and of those of one current the first by name.
    """
    candidates = evaluation.candidates
    if not evaluation.draws:
        return [_front([_stated(b) for b in c.builds], c.best, ties) for c in candidates]
    begin(progress, "drawing builds that some weights may choose")
    groups = _groups([len(c.builds) for c in candidates])

    def tell(count: int) -> None:
        if progress is not None:
            progress(count, len(candidates))

    def work(group: Sequence[int]) -> list[list[tuple[int, Drawn | None]]]:
        # by their places, and without what is there already: less to give back
        return [
            [(places[b], None if b in one.candidate.tried else d) for b, d in one.kept().items()]
            for one in _drawn(
                evaluation, [candidates[n] for n in group], jobs, dict(known or {}), ties
            )
            for places in [{b: k for k, b in enumerate(one.candidate.builds)}]
        ]

    found = over_groups(work, groups, jobs, tell, evaluation.stated.marches.services.put_away)
    out = []
    for c, some in zip(candidates, found, strict=True):
        drawn = [(c.builds[k], c.tried[c.builds[k]] if d is None else d) for k, d in some]
        out.append(_front([Offered(build, d.worth, d) for build, d in drawn], c.best, ties))
    return out


def _groups(sizes: Sequence[int]) -> list[list[int]]:
    """Numbers of parts in groups of much the same size, so many whatever the workers are."""
    out: list[list[int]] = [[] for _ in range(min(GROUPS, len(sizes)))]
    for n in sorted(range(len(sizes)), key=lambda n: -sizes[n]):
        min(out, key=lambda group: (sum(sizes[k] for k in group), len(group))).append(n)
    return out


def _drawn(
    evaluation: Evaluation, candidates: Sequence[Candidate], jobs: int, known: Known, ties: bool
) -> list[_Side]:
    """Parts whose builds on the front went through all draws."""
    begun = Begun(known)

    def draw(builds: Sequence[Build], draws: int) -> list[Drawn]:
        return draw_builds(
            evaluation.catalogue,
            evaluation.product,
            builds,
            evaluation.criteria,
            draws,
            evaluation.seed,
            max(1, jobs // GROUPS),
            marches=evaluation.stated.marches,
            begun=begun,
        )

    sides = [_Side(c, evaluation.product.needs.confidence.nominal, ties) for c in candidates]
    if evaluation.draws >= 2 * SOME:
        _through(sides, lambda builds: draw(builds, SOME), few=True)
    _through(sides, lambda builds: draw(builds, evaluation.draws), few=False)
    return sides


def _through(sides: Sequence[_Side], draw: Callable[[list[Build]], list[Drawn]], few: bool) -> None:
    """Draw builds until no other may be on its part's front."""
    while True:
        # a build that was drawn may be worth less than it promised, and no longer beat another
        asked = [(one, one.likely_few() if few else one.likely()) for one in sides]
        asked = [(one, builds) for one, builds in asked if builds]
        if not asked:
            return
        found = iter(draw([build for _, builds in asked for build in builds]))
        for one, builds in asked:
            (one.few if few else one.drawn).update((build, next(found)) for build in builds)
        sides = [one for one, _ in asked]


class _Side:
    """A part's builds on the way to its front, drawn by a `few` draws and by all of them. With
    `ties` only one that goes before its equals beats another."""

    def __init__(self, candidate: Candidate, wanted: float, ties: bool) -> None:
        self.candidate, self.wanted = candidate, wanted
        by_order = sorted(candidate.builds, key=lambda b: b.order[1:]) if ties else []
        self.places = {build: n for n, build in enumerate(by_order)}
        self._promised = _promised(candidate, self.places)
        self.few: dict[Build, Drawn] = {}
        self.drawn = dict(candidate.tried)

    def likely_few(self) -> list[Build]:
        """Builds worth a few draws: those that went through all, as others are held against them
        draw by draw, and those that may be on the front."""
        tried = [build for build in self.drawn if build not in self.few]
        if tried:
            return tried
        return _likely(self._promised, self._worth(self.few), self.few)

    def likely(self) -> list[Build]:
        """Builds that must go through all draws."""
        if not self.few:
            return _likely(self._promised, self._worth(self.drawn), self.drawn)
        # a share of draws that is so far below what is wanted is no accident
        sure = [b for b, d in self.few.items() if d.fit >= self.wanted - FAR / np.sqrt(SOME)]
        front = [b for b, d in self.drawn.items() if d.fit >= self.wanted]
        out: list[Build] = []
        for build in sorted(sure, key=lambda b: (-float(self.few[b].worth.sum()), b.order)):
            if build in self.drawn:
                continue
            places = self.places
            before = [b for b in front if not places or places[b] <= places[build]]
            if not any(_beats(self.few[b], self.few[build]) for b in before):
                out.append(build)
                front.append(build)
        return out

    def kept(self) -> dict[Build, Drawn]:
        """Those that went through all draws and fit often enough."""
        return {build: drawn for build, drawn in self.drawn.items() if drawn.fit >= self.wanted}

    def _worth(self, drawn: Mapping[Build, Drawn]) -> list[Array]:
        fit = [(b, d.worth) for b, d in drawn.items() if d.fit >= self.wanted]
        return [_beside(b, worth, self.places) for b, worth in fit]


def _beats(one: Drawn, other: Drawn) -> bool:
    """Whether a build is at least as good as another by every criterion, on the same few draws,
    by more than these may err; where they are equal no draw tells them apart."""
    ahead = one.worth - other.worth
    if (ahead < 0).any():
        return False
    apart = one.score - other.score
    error = float(apart.std()) / 100 / np.sqrt(len(apart))
    return bool(((ahead == 0) | (ahead >= 2 * error)).all())


def _stated(build: Build) -> Offered:
    return Offered(build, np.asarray(build.assessed.utilities[:, build.row, 0]), None)


def _front(offered: Sequence[Offered], chosen: Build, ties: bool) -> list[Offered]:
    """Those that no other goes before under any weights; the chosen one goes before its equals."""
    by_order = sorted(offered, key=lambda o: (o.build is not chosen, o.build.order[1:]))
    if ties:
        return _faces(by_order, chosen)
    kept: list[Offered] = []
    for one in by_order:
        if not any((other.worth >= one.worth).all() for other in kept):
            kept.append(one)
    return kept


def _faces(offered: Sequence[Offered], chosen: Build) -> list[Offered]:
    """Those that no other goes before whichever of the criteria have weights above zero: by those
    alone another is better, or as good with less current. The chosen one stays in any case."""
    if not offered:
        return []
    worth = np.stack([one.worth for one in offered])
    order = np.array([one.build.order[1] for one in offered])
    names = np.argsort(np.argsort([one.build.name for one in offered]))
    earlier = (order[:, None] < order) | ((order[:, None] == order) & (names[:, None] < names))
    # [a, b, c]: a against b by a criterion; the chosen one goes before what equals it by all
    no_worse = worth[:, None] >= worth
    better = worth[:, None] > worth
    own = np.array([one.build is chosen for one in offered])
    alike = (worth[:, None] == worth).all(axis=2)
    earlier = np.where(alike & (own[:, None] | own), own[:, None], earlier)
    kept = own.copy()
    count = worth.shape[1]
    for some in _weighed(count):
        before = no_worse[:, :, some].all(axis=2) & (better[:, :, some].any(axis=2) | earlier)
        kept |= ~before.any(axis=0)
    return [one for one, keep in zip(offered, kept.tolist(), strict=True) if keep]


def _weighed(count: int) -> Iterator[list[int]]:
    """Sets of criteria with weights above zero: all of them, of many those that are nearly none or
    nearly all."""
    sizes = range(1, count + 1) if count <= MANY else (1, 2, count - 2, count - 1, count)
    for size in sizes:
        yield from map(list, combinations(range(count), size))


def _beside(build: Build, worth: Array, places: Mapping[Build, int]) -> Array:
    """Utilities (C,), with places among equals (C + 1,) beside how early a build's own is."""
    return np.append(worth, -places[build]) if places else worth


def _promised(
    candidate: Candidate, places: Mapping[Build, int]
) -> list[tuple[Build, Array, Array]]:
    """Builds by their utilities (C,) averaged over spread lives, the best first, with the most that
    they may be; with places (C + 1,), see `_beside`."""
    rows = []
    likely = sorted(candidate.builds, key=lambda b: (-float(candidate.smooth[b].sum()), b.order))
    for build in likely:
        stated = build.assessed.utilities[:, build.row, 0]
        smooth = candidate.smooth[build]
        most = smooth + LEANING * np.abs(smooth - stated)
        rows.append((build, _beside(build, smooth, places), _beside(build, most, places)))
    return rows


def _likely(
    rows: Sequence[tuple[Build, Array, Array]], worth: Sequence[Array], drawn: Collection[Build]
) -> list[Build]:
    """Builds of `_promised` that are not drawn yet and may be on the front, against each other and
    against the worth (C + 1,) of those that are drawn."""
    kept: list[Build] = []
    left = [row for row in rows if row[0] not in drawn]
    if not left:
        return kept
    front = np.array([*worth, *(smooth for _, smooth, _ in left)])
    count = len(worth)
    for build, smooth, most in left:
        if not (front[:count] >= most).all(axis=1).any():
            kept.append(build)
            front[count] = smooth
            count += 1
    return kept
