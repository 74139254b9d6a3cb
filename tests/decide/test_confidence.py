"""A draw that breaks a need or a limit is a failure: shares by hand, and what they screen out."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from advisor.decide.evaluate import Evaluation, evaluate
from tests.studies.small import loaded, part

DRAWS = 4000
PRODUCT = """
product: probe
invented: true
environment: [{at: 20 degC, share: 1}]
workload: [{task: sample, every: 10 s, kernels: {crc: 1}LIMIT}]
needs: {NEEDS}
supply-options: {cells: [{budget: 900 mAh, voltage: 3.0 V}]}
cost: {currency: EUR, units: 100, unit-cost-limit: 1.02}
priorities: {battery-life: {weight: 1, poor: 0 years, good: 60 years}}
"""


def decided(
    root: Path, parts: dict[str, str], limit: str = "", needs: str = "", draws: int = DRAWS
) -> Evaluation:
    text = PRODUCT.replace("LIMIT", limit).replace("NEEDS", needs)
    return evaluate(*loaded(root, parts, text), draws=draws)


def share(p: float) -> object:
    """A share of the draws within four standard errors."""
    return pytest.approx(p, abs=4 * np.sqrt(p * (1 - p) / DRAWS))


def test_a_price_over_its_limit_in_some_draws(tmp_path: Path) -> None:
    """1.00 ± 0.50 is above 1.02 in (1.50 - 1.02)/1.00 = 48 % of the draws."""
    parts = {"one": part("one", breaks="{1: 1.00 ± 0.50}"), "two": part("two", sleep="3 µA")}
    found = decided(tmp_path, parts)
    # a failure is worth nothing, so the part that never fails is worth more
    two, one = found.candidates
    assert [c.part.part for c in (one, two)] == ["one", "two"]
    assert one.best.score > two.best.score
    assert one.score < two.score
    assert one.drawn is not None
    assert two.drawn is not None
    assert one.drawn.fit == share(0.52)
    assert one.drawn.broken == {"unit-cost-limit": 1 - one.drawn.fit}
    assert two.drawn.fit == 1
    assert two.drawn.broken == {}
    # the other part leads in the draws that fail
    assert (one.drawn.score[~one.drawn.fits] == 0).all()
    assert (one.drawn.score > two.drawn.score).mean() == pytest.approx(one.drawn.fit)


def test_a_deadline_missed_in_some_draws(tmp_path: Path) -> None:
    """2.0 ± 0.5 ms is above 2.06 ms in (2.50 - 2.06)/1.00 = 44 % of the draws."""
    parts = {"one": part("one", time="2.0 ± 0.5 ms").replace("wake-time: 0.1 ms", "wake-time: 0 s")}
    (one,) = decided(tmp_path, parts, ", finish-within: 2.06 ms").candidates
    assert one.drawn is not None
    assert one.drawn.fit == share(0.56)
    assert list(one.drawn.broken) == ["workload.sample.finish-within"]


def test_a_wanted_confidence_screens(tmp_path: Path) -> None:
    parts = {"one": part("one", breaks="{1: 1.00 ± 0.50}")}
    assert decided(tmp_path / "half", parts).candidates
    assert decided(tmp_path / "less", parts, needs="confidence: 45 %").candidates
    strict = decided(tmp_path / "most", parts, needs="confidence: 90 %")
    assert not strict.candidates
    (failed,) = strict.screened["one"]
    assert failed.need.startswith("needs.confidence (unit-cost-limit broken in 4")
    assert failed.required == 0.9
    assert failed.offered == share(0.52)
    assert isinstance(failed.offered, float)
    assert failed.miss == pytest.approx(0.9 - failed.offered, rel=1e-12)
    # without draws there is nothing that could fail
    assert decided(tmp_path / "stated", parts, needs="confidence: 90 %", draws=0).candidates


def test_a_build_that_keeps_its_limits_more_often_is_taken(tmp_path: Path) -> None:
    """The longer life by an engine whose time is unsure; without it the deadline is surely met."""
    text = part("one", time="2.0 ms").replace("wake-time: 0.1 ms", "wake-time: 0 s")
    engine = "run+aid: {time: 2.02 ± 0.06 ms, current: 1 mA, supply: 3.0 V, evidence: bench}"
    text = text.replace("kernels: {crc: {run:", f"kernels: {{crc: {{{engine}, run:")
    limit = ", finish-within: 2.06 ms"
    # 2.02 ± 0.06 ms keeps 2.06 ms in (2.06 - 1.96)/0.12 = 83 % of the draws
    (one,) = decided(tmp_path / "half", {"one": text}, limit).candidates
    assert one.best.assessed.options(one.best.row)[0].label == "run+aid"
    (one,) = decided(tmp_path / "most", {"one": text}, limit, "confidence: 90 %").candidates
    assert one.best.assessed.options(one.best.row)[0].label == "run"
    assert one.drawn is not None
    assert one.drawn.fit == 1
