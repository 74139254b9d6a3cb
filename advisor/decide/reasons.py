"""Reasons in a line: where the points come from, against the part that stands next."""

from __future__ import annotations

import numpy as np

from advisor.decide.builds import Build
from advisor.decide.evaluate import Candidate, Evaluation
from advisor.decide.value import Criterion
from advisor.model.ends import ENDS

UNNAMED = 0.1  # points of a gap, and of any criterion, that may stay unnamed


def points(evaluation: Evaluation, candidate: Candidate) -> np.ndarray:
    """Points of the score per criterion, (C,): expected, or at the stated values without draws.

    They sum to the score.
    """
    return np.asarray(100 * evaluation.weights * candidate.worth)


def differences(
    evaluation: Evaluation, mine: Candidate, other: Candidate
) -> list[tuple[Criterion, float, float, float]]:
    """(criterion, points gained, stated value, other's), the greatest gain or loss first."""
    gain = points(evaluation, mine) - points(evaluation, other)
    build, against = mine.best, other.best
    rows = [
        (
            criterion,
            float(gain[i]),
            float(build.assessed.values[i, build.row, 0]),
            float(against.assessed.values[i, against.row, 0]),
        )
        for i, criterion in enumerate(evaluation.criteria)
    ]
    return sorted(rows, key=lambda row: (-abs(row[1]), row[0].name))


def reason(evaluation: Evaluation, place: int) -> str:
    """Why the candidate at `place` (0 = first) stands there, in numbers.

    The points named first are those that make the gap, then after a semicolon those against it,
    the greatest of each first, until those that are left come to less than `UNNAMED`, one by one
    and in all: what outweighs what is the reason of two that are level.
    """
    mine = evaluation.candidates[place]
    if len(evaluation.candidates) == 1:
        return "the only part that fits"
    rival = evaluation.candidates[1 if place == 0 else 0]
    gap = rest = mine.score - rival.score
    sign = 1 if place == 0 else -1
    making: list[str] = []
    against: list[str] = []
    for criterion, gain, _, _ in differences(evaluation, mine, rival):
        if max(abs(rest), abs(gain)) < UNNAMED:
            break
        rest -= gain
        (making if sign * gain > 0 else against).append(f"{criterion.name} {gain:+.1f}")
    text = against_rival(gap, rival.part.part)
    for group, mark in ((making, ": "), (against, "; ")):
        if group:
            text += mark + ", ".join(group)
    return text


def against_rival(lead: float, rival: str, unit: str = "") -> str:
    """How far a part is ahead of another by its score, or behind, in words; `unit` with a blank
    behind it."""
    if f"{abs(lead):.1f}" == "0.0":
        return f"level with {rival}"
    return f"{abs(lead):.1f} {unit}{'ahead of' if lead > 0 else 'behind'} {rival}"


def ending(build: Build) -> str:
    """What ends the battery's life, in words."""
    return ENDS[int(build.assessed.life.ends_by[build.row, 0])].words
