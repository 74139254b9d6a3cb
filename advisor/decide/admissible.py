"""What each product of a family may be built as, with what each way is expected to cost and score.

Of a part on one pack and converter many builds stand, which differ in where it sleeps and at which
points its tasks run. Nothing bought differs between them, so only their upkeep and their score
count: of each part, pack, converter and set of companions the build of the best score, by averages
over spread lives (`choosing`), and those that last longest go on through all draws.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from advisor.dataclass import dataclass
from advisor.decide.builds import Build
from advisor.decide.costs import HOUR
from advisor.decide.drawing import Drawn, draw_builds
from advisor.decide.evaluate import Candidate, Evaluation
from advisor.decide.ranks import DIGITS
from advisor.model.draws import Array
from advisor.stages import Progress

NEAR = 0.9  # of the longest stated life, of which a build's upkeep may be the least, of at most
MOST = 3  # builds on one feed
SOME = 256  # draws after which what is worse in everything goes no further, by more than
ERRORS = 4.0  # standard errors


@dataclass(frozen=True, slots=True, eq=False)
class Admissible:
    """A build that a product may take, and what it is expected to be.

    Attributes
    ----------
    drawn : its draws, None without any. pieces : item bought to pieces a unit. other : per unit,
    extras and reservoir. setup_h : of its part, and of its add-ons beside it, h at the stated
    values. score : expected, of 0..100. upkeep : expected, per unit over the service
    life. life_chance : of reaching the life target; NaN without a target.
    """

    candidate: Candidate
    build: Build
    drawn: Drawn | None
    pieces: Mapping[str, int]
    other: float
    setup_h: tuple[float, float]
    score: float
    upkeep: float
    life_chance: float

    @property
    def part(self) -> str:
        """The part's id."""
        return self.build.part

    @property
    def feed(self) -> str:
        """The pack and the converter."""
        return self.build.assessed.feed.name


def admissible(
    evaluation: Evaluation, jobs: int = 1, progress: Progress | None = None
) -> tuple[Admissible, ...]:
    """Every build that a product may take, in order of part and feed; each part's chosen one is
    among them.

    Parameters
    ----------
    jobs : workers for the draws. progress : as in `draw_builds`.

    Notes
    -----
    A build that keeps the product's needs in less than `needs.confidence` of the draws is none.
    """
    picked = [(c, build) for c in evaluation.candidates for build in _picked(evaluation, c)]
    drawn: Sequence[Drawn | None] = [None] * len(picked)
    if evaluation.draws and picked:
        if evaluation.draws > SOME:
            picked = _near(evaluation, picked, _drawn(evaluation, picked, SOME, jobs, None))
        drawn = _drawn(evaluation, picked, evaluation.draws, jobs, progress)
    wanted = evaluation.product.needs.confidence.nominal
    found = [
        _read(evaluation, candidate, build, one)
        for (candidate, build), one in zip(picked, drawn, strict=True)
        if one is None or one.fit >= wanted
    ]
    return tuple(_unbeaten(found))


def _unbeaten(found: Sequence[Admissible]) -> list[Admissible]:
    """Those that nothing bought alike beats by upkeep, score and chance; chosen builds stay."""
    groups: dict[tuple[object, ...], list[Admissible]] = {}
    for one in found:
        groups.setdefault((one.part, one.feed, *one.pieces.items()), []).append(one)
    out: list[Admissible] = []
    for mine in groups.values():
        left: list[Admissible] = []
        for one in sorted(mine, key=lambda o: (o.upkeep, -o.score, o.build.name)):
            beaten = any(
                o.upkeep <= one.upkeep
                and o.score >= one.score
                and not o.life_chance < one.life_chance
                for o in left
            )
            if not beaten or one.build is one.candidate.best:
                left.append(one)
        out += left
    return out


def _drawn(
    evaluation: Evaluation,
    picked: Sequence[tuple[Candidate, Build]],
    draws: int,
    jobs: int,
    progress: Progress | None,
) -> list[Drawn]:
    """So many draws of each; those that went through as many already are taken as they are."""
    known = {b: d for c in evaluation.candidates for b, d in c.tried.items()}
    known = {b: d for b, d in known.items() if len(d.score) == draws}
    fresh = [build for _, build in picked if build not in known]
    found = draw_builds(
        evaluation.catalogue,
        evaluation.product,
        fresh,
        evaluation.criteria,
        draws,
        evaluation.seed,
        jobs,
        progress,
        marches=evaluation.stated.marches,
    )
    known |= zip(fresh, found, strict=True)
    return [known[build] for _, build in picked]


def _near(
    evaluation: Evaluation, picked: Sequence[tuple[Candidate, Build]], drawn: Sequence[Drawn]
) -> list[tuple[Candidate, Build]]:
    """Those of a part and a feed that a few draws leave near the best score or the least upkeep."""
    groups: dict[tuple[str, str, tuple[str, ...]], list[int]] = {}
    for i, (_, build) in enumerate(picked):
        groups.setdefault((build.part, *_bought(build)), []).append(i)
    stay: list[int] = []
    for members in groups.values():
        left: list[int] = []
        for i in sorted(members, key=lambda i: (-drawn[i].expected, i)):
            chosen = picked[i][1] is picked[i][0].best
            if chosen or not any(_surely(drawn[j], drawn[i]) for j in left):
                left.append(i)
        stay += left
    return [picked[i] for i in sorted(stay)]


def _surely(one: Drawn, other: Drawn) -> bool:
    """Whether a build is no worse than another by score, by upkeep and by life, beyond chance."""
    both = one.fits & other.fits
    # what is bought is alike, so costs differ by upkeep
    gains = (
        one.score - other.score,
        _less(other.lifetime[both], one.lifetime[both]),
        _less(one.life_s[both], other.life_s[both]),
    )
    return all(_never(gain) or _clearly(gain) for gain in gains)


def _less(a: Array, b: Array) -> Array:
    """a - b, nothing between equal ones without end."""
    return np.subtract(a, b, out=np.zeros_like(a), where=a != b)


def _never(gains: Array) -> bool:
    return not gains.any()


def _clearly(gains: Array) -> bool:
    """Whether paired differences (N,) are above zero by more than chance."""
    if len(gains) < 2:
        return False
    return bool(gains.mean() > ERRORS * gains.std(ddof=1) / np.sqrt(len(gains)))


def _picked(evaluation: Evaluation, candidate: Candidate) -> list[Build]:
    """Of each feed the best and the cheapest to keep; the chosen build is one of them."""
    by_feed: dict[tuple[str, tuple[str, ...]], list[Build]] = {}
    for build in candidate.builds:
        by_feed.setdefault(_bought(build), []).append(build)
    out: list[Build] = []
    for feed in sorted(by_feed):
        mine = by_feed[feed]
        best = min(mine, key=lambda b: _standing(evaluation, candidate, b))
        chosen = [candidate.best] if candidate.best in mine else []
        out += dict.fromkeys([*chosen, best, *_lasting(mine)])
    return out


def _bought(build: Build) -> tuple[str, tuple[str, ...]]:
    """What is bought beside the part: pack and converter, and add-ons."""
    return build.assessed.feed.name, build.addons


def _standing(evaluation: Evaluation, candidate: Candidate, build: Build) -> tuple[float, Build]:
    """By which builds on one feed compete: the least is the best."""
    smooth = candidate.smooth.get(build)
    score = build.score if smooth is None else 100.0 * float(evaluation.weights @ smooth)
    return -round(score, DIGITS), build


def _lasting(builds: Sequence[Build]) -> list[Build]:
    """Those that may cost least to keep: lives that end by something else spread otherwise."""
    lives = {b: float(b.assessed.life.life_s[b.row, 0]) for b in builds}
    longest = max(lives.values())
    near = [b for b in builds if lives[b] >= NEAR * longest]
    return sorted(near, key=lambda b: (-lives[b], b.assessed.battery_a[b.row, 0], b.name))[:MOST]


def _read(
    evaluation: Evaluation, candidate: Candidate, build: Build, drawn: Drawn | None
) -> Admissible:
    assessed, row = build.assessed, build.row
    feed, money = assessed.feed, assessed.feed_cost
    pieces = {build.part: 1}
    if feed.cell is not None:
        pieces[feed.cell.cell] = feed.option.series * feed.option.parallel
    pieces |= {record.converter: count for record, count in feed.bought}
    pieces |= dict.fromkeys(build.addons, 1)
    cost = candidate.costs[int(assessed.part[row])]
    # the part's own hours are those of the part without add-ons
    own = evaluation.catalogue.parts[build.part].toolchain.setup
    hours = float(cost.setup_h[0])
    of_part = hours if own is None or not build.addons else own.nominal / HOUR
    target = evaluation.product.life_target
    chance = np.nan
    if target is not None:
        if drawn is None:
            chance = float(assessed.life.life_s[row, 0] >= target.nominal)
        else:
            chance = float(((drawn.life_s >= target.nominal) & drawn.fits).mean())
    extras = sum(float(e[0]) for e in cost.extras.values())
    return Admissible(
        candidate=candidate,
        build=build,
        drawn=drawn,
        pieces=pieces,
        other=extras + float(money.reservoir[0]),
        setup_h=(of_part, hours - of_part),
        score=build.score if drawn is None else drawn.expected,
        upkeep=float(assessed.costs.upkeep[row, 0]) if drawn is None else drawn.upkeep,
        life_chance=chance,
    )
