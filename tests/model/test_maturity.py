"""Toolchain maturity: the ten questions, their points, and the range of those not answered."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.catalogue.schema_parts import QUESTIONS, Answer, Toolchain
from advisor.model.draws import Sampler
from advisor.model.maturity import maturity, maturity_draws


def toolchain(*answers: str) -> Toolchain:
    given = dict(zip(QUESTIONS, (Answer(answer=a) for a in answers), strict=False))
    return Toolchain(maturity=given)


def test_ten_questions_of_equal_weight() -> None:
    assert len(QUESTIONS) == 10
    found = maturity(toolchain(*["full"] * 6, *["partial"] * 3, "none"))
    assert found is not None
    assert (found.score, found.low, found.high) == (75.0, 75.0, 75.0)
    assert found.unanswered == ()


def test_unanswered_questions_widen_the_range() -> None:
    found = maturity(toolchain("full", "full", "partial", "none"))
    assert found is not None
    assert (found.low, found.high) == (25.0, 85.0)
    assert found.score == 55.0
    assert len(found.unanswered) == 6


def test_no_answer_is_no_score() -> None:
    assert maturity(Toolchain()) is None


def test_draws_stay_in_the_range_about_the_score() -> None:
    found = maturity(toolchain("full", "full", "partial", "none"))
    assert found is not None
    drawn = maturity_draws(found, Sampler("part", 50_000))
    assert drawn.min() >= found.low
    assert drawn.max() <= found.high
    # six questions of 0, 5 or 10 points alike: variance 6 x 50/3
    deviation = np.sqrt(6 * 50 / 3)
    assert drawn.mean() == pytest.approx(found.score, abs=4 * deviation / np.sqrt(50_000))
    assert drawn.std() == pytest.approx(deviation, rel=0.02)
    assert maturity_draws(found, Sampler("part")).tolist() == [55.0]
