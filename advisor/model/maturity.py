"""Toolchain maturity: ten questions of equal weight, none 0, partial 50, full 100."""

from __future__ import annotations

import numpy as np

from advisor.catalogue.schema_parts import QUESTIONS, Toolchain
from advisor.dataclass import dataclass
from advisor.model.draws import Array, Sampler

POINTS = {"none": 0.0, "partial": 50.0, "full": 100.0}


@dataclass(frozen=True, slots=True)
class Maturity:
    """Score 0..100 with each unanswered question at 50; `low` and `high` with them at 0 and 100."""

    score: float
    low: float
    high: float
    unanswered: tuple[str, ...]


def maturity(toolchain: Toolchain) -> Maturity | None:
    """Score of a toolchain; None when no question is answered."""
    answers = toolchain.maturity or {}
    given = [POINTS[a.answer] for a in answers.values() if a.answer is not None]
    if not given:
        return None
    open_ones = tuple(q for q in QUESTIONS if q not in answers or answers[q].answer is None)
    n = len(QUESTIONS)
    low = sum(given) / n
    high = low + 100.0 * len(open_ones) / n
    return Maturity((low + high) / 2, low, high, open_ones)


def maturity_draws(result: Maturity, sampler: Sampler) -> Array:
    """Draws of the score, (N,): each unanswered question is none, partial or full alike."""
    if not sampler.random or not result.unanswered:
        return np.full(sampler.size, result.score)
    total = np.full(sampler.size, result.low)
    for question in result.unanswered:
        path = sampler.root.child("toolchain", "maturity", question)
        answer = sampler.choices(path, 3)
        total = total + sampler.traced(path, answer * (50.0 / len(QUESTIONS)))
    return total
