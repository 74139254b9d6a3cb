"""Other builds that one might take once more is known: of parts that may win, in all draws.

One chooses a part with its build. Whoever learns first that a cell loses more than it was thought
to may stay with the part and take another cell, so a measurement is worth what choosing among
builds after it gains (Raiffa & Schlaifer, Applied Statistical Decision Theory, 1961): by parts
alone, each on the build that is best as things stand, it would be worth less than it is.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from advisor.decide.builds import Build
from advisor.decide.drawing import Drawn, draw_builds
from advisor.decide.evaluate import Candidate, Evaluation
from advisor.decide.ranks import first_place
from advisor.model.draws import Array, Trace

CLOSE = 3.0  # points behind the first within which a build is drawn
MOST = 24  # of them, the best


def alternatives(
    found: Evaluation, near: Sequence[int], least: float, jobs: int, trace: Trace
) -> tuple[list[Build], Array]:
    """Builds of some candidates beside the chosen ones that lead in some of the draws.

    Parameters
    ----------
    near : places of the candidates. least : share of the draws in which a build must lead, of all
    that are drawn. jobs : workers; the result does not depend on it. trace : those of the chosen
    builds; what the others read beside is added.

    Returns
    -------
    (the builds, their scores (B, N)); builds that break needs or limits in too many draws are none.
    """
    behind = [
        (-points, place, build)
        for place in near
        for build, points in _promised(found.candidates[place], found.weights)
        if points >= found.candidates[0].score - CLOSE
    ]
    ranked = sorted(behind, key=lambda one: (*one[:2], one[2].order))
    builds = [build for *_, build in ranked[:MOST]]

    def drawn(some: Sequence[Build], kept: Trace | None) -> list[Drawn]:
        if not some:
            return []
        return draw_builds(
            found.catalogue,
            found.product,
            some,
            found.criteria,
            found.draws,
            found.seed,
            jobs,
            None,
            kept,
        )

    enough = found.product.needs.confidence.nominal
    tried = zip(builds, drawn(builds, None), strict=True)
    fit = [(build, one.score) for build, one in tried if one.fit >= enough]
    scores = np.stack([*found.scores()[near], *(score for _, score in fit)])
    leads = first_place(scores)[len(near) :].tolist()
    fit = [one for one, share in zip(fit, leads, strict=True) if share >= least]
    more: Trace = {}
    # traced by themselves: what the others read bears on none of these
    drawn([build for build, _ in fit], more)
    for source, values in more.items():
        trace.setdefault(source, values)
    return [build for build, _ in fit], np.array([s for _, s in fit]).reshape(-1, found.draws)


def _promised(candidate: Candidate, weights: Array) -> list[tuple[Build, float]]:
    """What each build but the chosen one is worth by what is known of it, in points."""
    return [
        (
            build,
            candidate.tried[build].expected
            if build in candidate.tried
            else 100 * float(candidate.smooth[build] @ weights),
        )
        for build in candidate.builds[1:]
    ]
