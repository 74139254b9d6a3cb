"""Which build of each part: the one of the greatest expected score, on common random numbers.

A part has dozens of builds, and drawing all of them through all draws would take most of a run. A
build's expected score differs from its stated one because what it is worth bends: where a battery
change comes in, at an anchor, where a need breaks. So it is looked for in three steps:

1. The spread of a part's current is taken from a few draws of its best stated build in each sleep
   state, that of each pack's capacity from as many, and every build's utilities are averaged over
   lives so spread. A build that breaks a need in some draws is worth less than that, never more.
2. Builds that may come within a margin of a part's best go through some of the draws: what such an
   average may be wrong by, and what the few lives that it is of may favour one over another by.
3. Those that are then not clearly behind, by paired differences, go through all. Should what was
   found there fall below what other builds promise, they are drawn too, the likeliest first.

Where draws are few all builds go through them: what other figures of a draw do to a score (prices,
say), no average over lives tells, and there is little to spare.

What is lost against drawing all builds through all draws is held by tests on random products.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from advisor.dataclass import dataclass
from advisor.decide.builds import Build, relived
from advisor.decide.drawing import Drawn
from advisor.decide.ranks import DIGITS
from advisor.decide.screens import Failed
from advisor.decide.sides import PartSide
from advisor.decide.stage import Stage
from advisor.decide.value import Criterion
from advisor.model.addon_set import Companions
from advisor.model.draws import Array
from advisor.model.ends import BY_AGE
from advisor.model.packs import cells_name

EVERY = 32  # draws that all builds go through where no more are asked for
SOME = 128  # draws of a spread, by which most builds are told from the best as well
MORE = 512  # draws by which several that are near the best are told apart
NEAR = 0.04  # points by which an average over spread lives may be wrong, and
LEANING = 0.1  # of what it differs from the stated score, as much again
WIDER = 4.0  # times as much, where draws are few
WITHIN = 0.03  # points that may be lost
SURE = 2.5  # standard errors by which an average over few lives may be off another's
AT_ONCE = 8  # builds drawn together where a part's likeliest ones fit too seldom

Asleep = tuple[str, str, Companions]
Draw = Callable[[Sequence[Build], int], list[Drawn]]


@dataclass(frozen=True, slots=True)
class Chosen:
    """A part's chosen build and its draws; `tried` are all builds that went through all draws."""

    build: Build
    drawn: Drawn
    tried: Mapping[Build, Drawn]


@dataclass(frozen=True, slots=True)
class Spread:
    """What lives are spread by: of each pack, by its name, the capacity at hand over the stated one
    and the current that it loses by itself, (Q,) each, and the stated loss."""

    capacity: Mapping[str, Array]
    loss_a: Mapping[str, Array]
    stated_loss_a: Mapping[str, float]


def asleep(build: Build) -> Asleep:
    """A build's part, sleep state and add-ons: what its current's spread mostly comes of."""
    return build.part, build.assessed.sleep_name(build.row), build.companions


def pack_spread(drawn: Stage, builds: Sequence[Build]) -> Spread:
    """The spread of the packs that builds use, by a pass over a few draws."""
    capacity, loss, stated_loss = {}, {}, {}
    for build in builds:
        feed = build.assessed.feed
        name = cells_name(feed.option)
        if name in capacity:
            continue
        there = drawn.like(feed)[0].pack
        capacity[name] = (there.capacity_c * there.least_capacity) / (
            feed.pack.capacity_c * feed.pack.least_capacity
        )
        loss[name] = there.self_discharge_a + there.leak_a
        stated_loss[name] = float((feed.pack.self_discharge_a + feed.pack.leak_a)[0])
    return Spread(capacity, loss, stated_loss)


def spread_worth(
    builds: Sequence[Build],
    current: Mapping[Asleep, Array],
    packs: Spread,
    side: PartSide,
    here: Stage,
    criteria: Sequence[Criterion],
    shares: Array,
) -> tuple[Array, Array]:
    """Utilities of builds averaged over spread lives, (B, C) shares of 1, and their points at each
    of these lives, (B, Q).

    Parameters
    ----------
    current : of each part, sleep state and its add-ons, the current over the stated one, (Q,).
    side : of all parts, stated. shares : (C,) of 1, the weights.
    """
    groups: dict[int, list[int]] = {}
    for i, build in enumerate(builds):
        groups.setdefault(id(build.assessed), []).append(i)
    out = np.empty((len(builds), len(criteria)))
    count = len(next(iter(current.values())))
    points = np.empty((len(builds), count))
    for members in groups.values():
        assessed = builds[members[0]].assessed
        rows = np.array([builds[i].row for i in members], dtype=np.intp)
        name = cells_name(assessed.feed.option)
        stated = assessed.battery_a[rows]
        moved = stated * np.stack([current[asleep(builds[i])] for i in members])
        with np.errstate(divide="ignore", invalid="ignore"):
            before, after = stated + packs.stated_loss_a[name], moved + packs.loss_a[name]
            factor = packs.capacity[name] * np.where(after > 0, before / after, 1.0)
        # age ends these whatever they draw
        factor[np.isin(assessed.life.ends_by[rows, 0], BY_AGE)] = 1.0
        worth = relived(assessed, rows, factor, side, here.own_cost, criteria)
        out[members] = worth.mean(axis=2).T
        points[members] = 100 * np.tensordot(shares, worth, 1)
    return out, points


def choose_builds(
    builds: Sequence[Sequence[Build]],
    worth: Sequence[Array],
    weights: Array,
    wanted: float,
    draws: int,
    draw: Draw,
    spread: Sequence[Array] | None = None,
) -> tuple[list[Chosen | None], list[Drawn]]:
    """The chosen build of each part, and the surest one's draws.

    Parameters
    ----------
    builds : of each of P parts, at least one. worth : (B, C) of `spread_worth`, part by part;
    spread : (B, Q) points of it, where averages may be wrong by how few lives they are of.
    weights : (C,). wanted : share of the draws in which needs and limits must be kept.
    draw : builds through so many draws, of which fewer are the first of more.

    Returns
    -------
    (P,) None where no build fits in so many draws; (P,) the draws that fit most often.
    """
    # where so few draws are asked for that none go before, more goes through all of them
    wide = 1.0 if draws >= 2 * SOME else WIDER
    told = [
        _promise(these, 100 * (w @ weights), wide) for these, w in zip(builds, worth, strict=True)
    ]
    lives = spread or [np.zeros((len(these), 1)) for these in builds]
    race = [
        _Race(list(these), 100 * (w @ weights), promise, wanted, points)
        for these, w, promise, points in zip(builds, worth, told, lives, strict=True)
    ]

    def take(which: Callable[[_Race], list[Build]], many: int) -> bool:
        asked = [(one, build) for one in race for build in which(one)]
        found = draw([build for _, build in asked], many) if asked else []
        for (one, build), drawn in zip(asked, found, strict=True):
            (one.tried if many == draws else one.some)[build] = drawn
        return bool(asked)

    if draws <= EVERY:
        take(lambda one: one.builds, draws)
    if draws >= 2 * SOME:
        take(_Race.contenders, SOME)
    while True:
        if draws >= 2 * SOME:
            take(_Race.doubtful, SOME)
        take(_Race.leading, draws)
        if draws >= 2 * MORE:
            take(_Race.rivals, MORE)
        if not take(_Race.next, draws):
            break
    return [one.chosen() for one in race], [one.surest() for one in race]


def _promise(builds: Sequence[Build], smooth: Array, wide: float) -> Array:
    """What builds may be worth at most, points (B,), where they keep all their needs."""
    stated = np.array([build.score for build in builds])
    return np.asarray(smooth + wide * (NEAR + LEANING * np.abs(smooth - stated)))


class _Race:
    """One part's builds on the way to the best."""

    def __init__(
        self, builds: list[Build], smooth: Array, promise: Array, wanted: float, spread: Array
    ) -> None:
        self.wanted = wanted
        self._spread = spread
        self._rows = {build: n for n, build in enumerate(builds)}
        self._luck: dict[Build, Array] = {}
        order = sorted(range(len(builds)), key=lambda i: (-float(promise[i]), builds[i].order))
        self.builds = [builds[i] for i in order]
        self.promise = {builds[i]: float(promise[i]) for i in order}
        self.smooth = {builds[i]: float(smooth[i]) for i in order}
        stated = [build.score for build in builds]
        # what is promised less what it may be wrong by, twice over: what it is worth at the least
        self.least = max(
            float(promise[i]) - 2 * (NEAR + LEANING * abs(float(promise[i]) - stated[i]))
            for i in range(len(builds))
        )
        self.some: dict[Build, Drawn] = {}
        self.tried: dict[Build, Drawn] = {}

    def contenders(self) -> list[Build]:
        """Builds worth some draws: none where only one is in question."""
        first = max(self.builds, key=lambda b: self.smooth[b])
        near = [b for b in self.builds if self.promise[b] + self._by_luck(b, first) > self.least]
        return near if len(near) > 1 else []

    def _by_luck(self, build: Build, other: Build) -> float:
        """Points by which the lives that averages are of may favour another build over one."""
        if other not in self._luck:
            gap = self._spread - self._spread[self._rows[other]]
            self._luck[other] = SURE * gap.std(axis=1) / np.sqrt(gap.shape[1])
        return float(self._luck[other][self._rows[build]])

    def doubtful(self) -> list[Build]:
        """Builds worth some draws as the best one so far is worth less than they promise."""
        best = self.best()
        if best is None:
            return []
        left = [b for b in self.builds if b not in self.tried and b not in self.some]
        out = [b for b in left if self._promises(b, best)]
        return out if len(out) > 1 else []

    def best(self) -> Build | None:
        """The best of those that went through all draws and fit often enough."""
        fit = [b for b, drawn in self.tried.items() if drawn.fit >= self.wanted]
        return min(fit, key=self._order, default=None)

    def _order(self, build: Build) -> tuple[float, tuple[float, float, Build]]:
        return (-round(self.tried[build].expected, DIGITS), build.order)

    def next(self) -> list[Build]:
        """Builds that must still go through all draws; empty when the best is found."""
        left = [b for b in self.builds if b not in self.tried]
        best = self.best()
        if best is None:
            if not self.tried and any(b in self.some for b in self.builds[:1]):
                sure = [b for b, drawn in self.some.items() if drawn.fit >= self.wanted]
                return self._nearly_best(sure or list(self.some))
            return left[: AT_ONCE if self.tried else 1]
        out = [b for b in left if self._may_beat(b, best)]
        seen = [b for b in out if b in self.some]
        return [*self._nearly_best(seen), *(b for b in out if b not in self.some)][:AT_ONCE]

    def leading(self) -> list[Build]:
        """Of several builds that may beat the best by few draws the first, if it does: what it is
        worth in all draws rules most of the others out."""
        best = self.best()
        if best is None:
            return []
        few = [b for b in self.some if b not in self.tried and self._may_beat(b, best)]
        if len(few) < 2:
            return []
        first = min(few, key=lambda b: (-round(self.some[b].expected, DIGITS), b.order))
        return [first] if self._ahead(first, best)[0] > WITHIN else []

    def rivals(self) -> list[Build]:
        """Builds that may beat the best and went through few draws, where they are several: more
        draws tell most of them apart before any goes through all."""
        best = self.best()
        if best is None:
            return []
        few = [b for b, drawn in self.some.items() if len(drawn.score) < MORE]
        out = [b for b in few if b not in self.tried and self._may_beat(b, best)]
        return out if len(out) > 1 else []

    def _may_beat(self, build: Build, best: Build) -> bool:
        """Whether a build may be worth more than the best one so far, by so much that it counts."""
        if build not in self.some:
            return self._promises(build, best)
        ahead, error = self._ahead(build, best)
        if ahead + 2 * error > WITHIN:
            return True
        # what the best loses only beyond the draws that both went through, the other need not lose
        mine, seen = self.tried[best].expected, self.some[build]
        before = float(self.tried[best].score[: len(seen.score)].mean())
        return mine < before - WITHIN and seen.expected > mine + WITHIN

    def _promises(self, build: Build, best: Build) -> bool:
        """Whether a build promises more than the best one so far is worth.

        What that one gained over its own average (by set-up hours, say) others gain as well.
        """
        worth = min(self.tried[best].expected, self.smooth[best])
        most = self.promise[build]
        return most + self._by_luck(build, best) > worth + WITHIN

    def _nearly_best(self, among: Sequence[Build]) -> list[Build]:
        """Of builds that went through some draws the best, and those not clearly behind it."""
        if not among:
            return []
        best = min(among, key=lambda b: (-round(self.some[b].expected, DIGITS), b.order))
        out = [best]
        for build in among:
            ahead, error = self._ahead(build, best)
            if build is not best and ahead + 2 * error > WITHIN:
                out.append(build)
        return out

    def _ahead(self, build: Build, best: Build) -> tuple[float, float]:
        """Points that a build is ahead of another by some draws, with its standard error."""
        mine, other = self.some[build].score, (self.tried.get(best) or self.some[best]).score
        most = min(len(mine), len(other))
        gap = mine[:most] - other[:most]
        return float(gap.mean()), float(gap.std() / np.sqrt(len(gap)))

    def chosen(self) -> Chosen | None:
        """The best, once it is found; None where no build fits often enough."""
        best = self.best()
        return None if best is None else Chosen(best, self.tried[best], self.tried)

    def surest(self) -> Drawn:
        """The draws of the build that fits most often."""
        return max(self.tried.values(), key=lambda drawn: drawn.fit)


def unsure(surest: Drawn, wanted: float) -> tuple[Failed, ...]:
    """Why a part is out whose surest build keeps its needs in too few draws."""
    need, share = next(iter(surest.broken.items()))
    words = f"needs.confidence ({need} broken in {100 * share:.0f} % of draws)"
    return (
        Failed(
            need=words,
            required=wanted,
            offered=surest.fit,
            dimension="share",
            miss=wanted - surest.fit,
        ),
    )
