"""The criterion `board-area`, by a hand case and where a part lacks the figure."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.catalogue.criteria import CRITERIA
from advisor.decide.evaluate import evaluate
from advisor.quantities import show
from tests.studies.small import loaded, part

PRODUCT = """
product: probe
invented: true
environment: [{at: 20 degC, share: 1}]
workload: [{task: sample, every: 10 s, kernels: {crc: 1}}]
supply-options: {cells: [{budget: 900 mAh, voltage: 3.0 V}]}
priorities: {board-area: {weight: 1, poor: 100 mm2, good: 20 mm2}}
"""


def test_area_is_scored_in_its_own_unit_and_missed_by_name(tmp_path: Path) -> None:
    """From 100 mm2 down to 20 mm2: 40 mm2 is worth (100 - 40)/(100 - 20) = 0.75."""
    parts = {
        "small": part("small") + "board-area: 0.4 cm2\n",
        "wide": part("wide") + "board-area: 90 ± 10 mm²\n",
        "bare": part("bare"),
    }
    found = evaluate(*loaded(tmp_path, parts, PRODUCT), draws=200)
    assert [c.part.part for c in found.candidates] == ["small", "wide"]
    assert found.candidates[0].best.score == pytest.approx(75.0, rel=1e-12)
    assert found.candidates[1].best.score == pytest.approx(12.5, rel=1e-12)
    assert found.set_aside == {"bare": ("bare:board-area",)}
    (criterion,) = found.criteria
    assert criterion.unit == "m2"
    assert criterion.shown(4e-5) == "40.0 mm²"
    assert show(2.5e-4, "area") == "2.50 cm²"
    drawn = found.candidates[1].drawn
    assert drawn is not None
    # 80 to 100 mm2 is worth 25 to 0 points
    assert drawn.score.min() >= 0
    assert drawn.score.max() <= 25
    assert drawn.score.std() > 5


def test_its_anchors_stand_without_the_file_s() -> None:
    assert CRITERIA["board-area"].anchors(None, None) == (4e-4, 0.0)
