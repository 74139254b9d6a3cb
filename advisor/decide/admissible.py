"""What each product of a family may be built as, with what each way is expected to cost and score.

Of a part on one pack and converter many builds stand, which differ in where it sleeps and at which
points its tasks run. Nothing bought differs between them, so only their upkeep and their score
count: of each part, pack, converter and set of companions the build of the best score and that of
the least upkeep go on, by averages over spread lives (`choosing`), and both go through all draws.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from advisor.decide.builds import Build
from advisor.decide.drawing import Drawn, draw_builds
from advisor.decide.evaluate import Candidate, Evaluation
from advisor.decide.ranks import DIGITS
from advisor.stages import Progress


@dataclass(frozen=True, slots=True, eq=False)
class Admissible:
    """A build that a product may take, and what it is expected to be.

    Attributes
    ----------
    drawn : its draws, None without any. pieces : item bought to pieces a unit. other : per unit,
    extras and reservoir. score : expected, of 0..100. upkeep : expected, per unit over the service
    life. life_chance : of reaching the life target; NaN without a target.
    """

    candidate: Candidate
    build: Build
    drawn: Drawn | None
    pieces: Mapping[str, int]
    other: float
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

    @property
    def setup_h(self) -> float:
        """Set-up of the part alone, h, at the stated values."""
        return float(self.candidate.cost.setup_h[0])


def admissible(
    evaluation: Evaluation, jobs: int = 1, progress: Progress | None = None
) -> tuple[Admissible, ...]:
    """Every build that a product may take, in order of part, feed and name; the first part's chosen
    build, its favourite, among them.

    Parameters
    ----------
    jobs : workers for the draws. progress : as in `draw_builds`.

    Notes
    -----
    A build that keeps the product's needs in less than `needs.confidence` of the draws is none.
    """
    picked: list[tuple[Candidate, Build]] = []
    for candidate in evaluation.candidates:
        picked += [(candidate, build) for build in _picked(evaluation, candidate)]
    drawn: Sequence[Drawn | None] = [None] * len(picked)
    if evaluation.draws and picked:
        drawn = _drawn(evaluation, picked, jobs, progress)
    wanted = evaluation.product.needs.confidence.nominal
    found = [
        _read(evaluation, candidate, build, one)
        for (candidate, build), one in zip(picked, drawn, strict=True)
        if one is None or one.fit >= wanted
    ]
    return tuple(_unbeaten(found, evaluation.candidates[0].best)) if found else ()


def _unbeaten(found: Sequence[Admissible], favourite: Build) -> list[Admissible]:
    """Those that nothing bought alike beats by upkeep, score and chance; the favourite stays."""
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
            if not beaten or one.build is favourite:
                left.append(one)
        out += left
    return out


def _drawn(
    evaluation: Evaluation,
    picked: Sequence[tuple[Candidate, Build]],
    jobs: int,
    progress: Progress | None,
) -> list[Drawn]:
    """The draws of each; those that went through all of them already are taken as they are."""
    known = {b: d for c in evaluation.candidates for b, d in c.tried.items()}
    known = {b: d for b, d in known.items() if len(d.score) == evaluation.draws}
    fresh = [build for _, build in picked if build not in known]
    found = draw_builds(
        evaluation.catalogue,
        evaluation.product,
        fresh,
        evaluation.criteria,
        evaluation.draws,
        evaluation.seed,
        jobs,
        progress,
    )
    known |= zip(fresh, found, strict=True)
    return [known[build] for _, build in picked]


def _picked(evaluation: Evaluation, candidate: Candidate) -> list[Build]:
    """Of each feed the best and the cheapest to keep; the chosen build is one of them."""
    by_feed: dict[str, list[Build]] = {}
    for build in candidate.builds:
        by_feed.setdefault(build.assessed.feed.name, []).append(build)
    out: list[Build] = []
    for feed in sorted(by_feed):
        mine = by_feed[feed]
        best = min(mine, key=lambda b: _standing(evaluation, candidate, b))
        cheapest = min(mine, key=lambda b: (_upkeep(b), b.assessed.battery_a[b.row, 0], b.name))
        chosen = [candidate.best] if candidate.best in mine else []
        out += dict.fromkeys([*chosen, best, cheapest])
    return out


def _standing(evaluation: Evaluation, candidate: Candidate, build: Build) -> tuple[float, Build]:
    """By which builds on one feed compete: the least is the best."""
    smooth = candidate.smooth.get(build)
    score = build.score if smooth is None else 100.0 * float(evaluation.weights @ smooth)
    return -round(score, DIGITS), build


def _upkeep(build: Build) -> float:
    """Upkeep at the stated values with changes in parts, so that a longer life is never worse."""
    life = float(build.assessed.life.life_s[build.row, 0])
    return -life


def _read(
    evaluation: Evaluation, candidate: Candidate, build: Build, drawn: Drawn | None
) -> Admissible:
    assessed, row = build.assessed, build.row
    feed, money = assessed.feed, assessed.feed_cost
    pieces = {build.part: 1}
    if feed.cell is not None:
        pieces[feed.cell.cell] = feed.option.series * feed.option.parallel
    if feed.converter is not None:
        pieces[feed.converter.converter] = 1
    target = evaluation.product.life_target
    chance = np.nan
    if target is not None:
        if drawn is None:
            chance = float(assessed.life.life_s[row, 0] >= target.nominal)
        else:
            chance = float(((drawn.life_s >= target.nominal) & drawn.fits).mean())
    extras = sum(float(e[0]) for e in candidate.cost.extras.values())
    return Admissible(
        candidate=candidate,
        build=build,
        drawn=drawn,
        pieces=pieces,
        other=extras + float(money.reservoir[0]),
        score=build.score if drawn is None else drawn.expected,
        upkeep=float(assessed.costs.upkeep[row, 0]) if drawn is None else drawn.upkeep,
        life_chance=chance,
    )
