"""The builds of each part that some weights may choose, with what they are worth.

What a build is worth by a criterion does not depend on the weights. So whoever carries these builds
with their utilities ranks the parts under any weights as the whole decision does.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from advisor.decide.builds import Build
from advisor.decide.choosing import LEANING
from advisor.decide.drawing import Drawn, draw_builds
from advisor.decide.evaluate import Candidate, Evaluation
from advisor.model.draws import Array
from advisor.stages import Progress, begin


@dataclass(frozen=True, slots=True, eq=False)
class Offered:
    """A build that some weights may choose: its utilities (C,), expected where there are draws."""

    build: Build
    worth: Array
    drawn: Drawn | None


def fronts(
    evaluation: Evaluation, jobs: int = 1, progress: Progress | None = None
) -> list[list[Offered]]:
    """For every candidate the builds that some weights may choose, the chosen one among them.

    A build is left out where another is at least as good by every criterion and goes before it
    where their scores are equal (`Build.order`): whatever the weights, that other one is taken.
    With draws it must fit in the share of them that is wanted.

    Parameters
    ----------
    jobs : workers for the draws; the result does not depend on it. progress : as in `draw_builds`.
    """
    candidates = evaluation.candidates
    if not evaluation.draws:
        return [_front([_stated(b) for b in c.builds], c.best) for c in candidates]
    wanted = evaluation.product.needs.confidence.nominal
    known = [dict(c.tried) for c in candidates]
    begin(progress, "drawing builds that some weights may choose")
    while True:
        # a build that was drawn may be worth less than it promised, and no longer beat another
        asked = [
            _likely(c, [d.worth for d in there.values() if d.fit >= wanted], there)
            for c, there in zip(candidates, known, strict=True)
        ]
        if not any(asked):
            break
        drawn = iter(
            draw_builds(
                evaluation.catalogue,
                evaluation.product,
                [build for builds in asked for build in builds],
                evaluation.criteria,
                evaluation.draws,
                evaluation.seed,
                jobs,
                progress,
            )
        )
        for there, builds in zip(known, asked, strict=True):
            there.update((build, next(drawn)) for build in builds)
    return [
        _front([Offered(b, d.worth, d) for b, d in there.items() if d.fit >= wanted], c.best)
        for c, there in zip(candidates, known, strict=True)
    ]


def _stated(build: Build) -> Offered:
    return Offered(build, np.asarray(build.assessed.utilities[:, build.row, 0]), None)


def _front(offered: Sequence[Offered], chosen: Build) -> list[Offered]:
    """Those that no other goes before under any weights; the chosen one goes before its equals."""
    kept: list[Offered] = []
    for one in sorted(offered, key=lambda o: (o.build is not chosen, o.build.order[1:])):
        if not any((other.worth >= one.worth).all() for other in kept):
            kept.append(one)
    return kept


def _likely(candidate: Candidate, worth: Sequence[Array], drawn: Collection[Build]) -> list[Build]:
    """Builds that are not drawn yet and may be on the front, by their utilities averaged over
    spread lives, against each other and against the worth (C,) of those that are drawn."""
    rows = []
    for build in candidate.builds:
        if build in drawn:
            continue
        stated = build.assessed.utilities[:, build.row, 0]
        smooth = candidate.smooth[build]
        rows.append((build, smooth, smooth + LEANING * np.abs(smooth - stated)))
    rows.sort(key=lambda row: (-float(row[1].sum()), row[0].order))
    kept: list[Build] = []
    front = list(worth)
    for build, smooth, most in rows:
        if not any((other >= most).all() for other in front):
            kept.append(build)
            front.append(smooth)
    return kept
