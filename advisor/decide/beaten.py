"""The builds that a part's chosen one beat: the best of each pack, converter and so on."""

from __future__ import annotations

from collections.abc import Sequence

from advisor.decide.builds import Build
from advisor.decide.drawing import draw_builds
from advisor.decide.evaluate import Candidate, Evaluation
from advisor.decide.ranks import DIGITS
from advisor.model.packs import cells_name

MOST = 8  # builds that are told, the chosen one among them
NEAR = 0.2  # points within which a build may be worth more than another of its kind
LIKELY = 6  # of them, by what they promise


def beaten(evaluation: Evaluation, candidate: Candidate) -> tuple[list[Build], dict[Build, float]]:
    """The chosen build, then the best one of each other kind, the best first.

    Returns
    -------
    (builds; expected scores, empty without draws). With draws they are those of what went through
    all of them and keeps needs and limits often enough, and what each kind's best is known by; else
    that is the stated score.
    """
    kinds: dict[tuple[str, ...], list[Build]] = {}
    for build in candidate.builds:
        kinds.setdefault(_kind(build), []).append(build)
    # the chosen one comes first, and with it all of its kind
    others = list(kinds.values())[1:]
    if not evaluation.draws:
        return [candidate.best, *(some[0] for some in others[: MOST - 1])], {}
    expected = _expected(evaluation, candidate, others)

    def order(build: Build) -> tuple[float, tuple[float, float, Build]]:
        return (-round(expected[build], DIGITS), build.order)

    known = [[b for b in some if b in expected] for some in others]
    best = sorted((min(some, key=order) for some in known if some), key=order)
    return [candidate.best, *best[: MOST - 1]], expected


def _kind(build: Build) -> tuple[str, ...]:
    feed = build.assessed.feed
    return (
        cells_name(feed.option),
        feed.converter_name,
        *feed.rail_converters,
        build.assessed.sleep_name(build.row),
        build.companions.name,
    )


def _expected(
    evaluation: Evaluation, candidate: Candidate, kinds: Sequence[Sequence[Build]]
) -> dict[Build, float]:
    """Expected scores of the chosen build, of those that went through all draws, and of those of
    the likeliest kinds that may be the best of theirs, which are drawn for it."""
    through = {b: one for b, one in candidate.tried.items() if len(one.score) == evaluation.draws}
    promised = {
        build: candidate.tried[build].expected
        if build in candidate.tried
        else 100 * float(candidate.smooth[build] @ evaluation.weights)
        for build in candidate.builds
    }
    ordered = [sorted(some, key=lambda b: -promised[b]) for some in kinds]
    likely = sorted(ordered, key=lambda some: -promised[some[0]])[: MOST - 1]
    near = [b for some in likely for b in some[:LIKELY] if promised[b] > promised[some[0]] - NEAR]
    left = [build for build in near if build not in through]
    drawn = draw_builds(
        evaluation.catalogue,
        evaluation.product,
        left,
        evaluation.criteria,
        evaluation.draws,
        evaluation.seed,
        marches=evaluation.stated.marches,
    )
    through |= zip(left, drawn, strict=True)
    wanted = evaluation.product.needs.confidence.nominal
    return {build: one.expected for build, one in through.items() if one.fit >= wanted}
