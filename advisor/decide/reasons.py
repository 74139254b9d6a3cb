"""Reasons in a line: where the points come from, against the part that stands next."""

from __future__ import annotations

import numpy as np

from advisor.decide.builds import Build
from advisor.decide.evaluate import Evaluation
from advisor.decide.value import Criterion
from advisor.model.ends import ENDS

LINE = 72  # letters for a pack and the reason, so that both stand on one line of 80


def points(evaluation: Evaluation, build: Build) -> np.ndarray:
    """Points of the score per criterion, (C,), at the stated values; they sum to the score."""
    return np.asarray(100 * evaluation.weights * build.assessed.utilities[:, build.row, 0])


def differences(
    evaluation: Evaluation, build: Build, other: Build
) -> list[tuple[Criterion, float, float, float]]:
    """(criterion, points gained, value, other's value), the greatest gain or loss first."""
    gain = points(evaluation, build) - points(evaluation, other)
    rows = [
        (
            criterion,
            float(gain[i]),
            float(build.assessed.values[i, build.row, 0]),
            float(other.assessed.values[i, other.row, 0]),
        )
        for i, criterion in enumerate(evaluation.criteria)
    ]
    return sorted(rows, key=lambda row: (-abs(row[1]), row[0].name))


def reason(evaluation: Evaluation, place: int) -> str:
    """Why the candidate at `place` (0 = first) stands there, in numbers and a line's room.

    The points named first are those that make the gap, then after a semicolon those against it.
    """
    build = evaluation.candidates[place].best
    if len(evaluation.candidates) == 1:
        return "the only part that fits"
    rival = evaluation.candidates[1 if place == 0 else 0].best
    rows = differences(evaluation, build, rival)
    option = build.assessed.feed.option
    room = LINE - len(option.cell or "budget") - (5 if option.series * option.parallel > 1 else 0)
    gap = build.score - rival.score
    lead = f"{abs(gap):.1f} {'ahead of' if place == 0 else 'behind'} {rival.part}"
    sign = 1 if place == 0 else -1
    making = [f"{c.name} {g:+.1f}" for c, g, _, _ in rows if sign * g >= 0.05]
    against = [f"{c.name} {g:+.1f}" for c, g, _, _ in rows if sign * g <= -0.05]
    text = lead
    for group, mark in ((making, ": "), (against[:1], "; ")):
        for i, item in enumerate(group):
            piece = (mark if i == 0 else ", ") + item
            # what makes the gap is said first and always, the rest where there is room
            if (i or mark == "; ") and len(text) + len(piece) > room:
                break
            text += piece
    return text


def ending(build: Build) -> str:
    """What ends the battery's life, in words."""
    return ENDS[int(build.assessed.life.ends_by[build.row, 0])].words
