"""Criteria are declared whole or not at all; what has no value by one is named, never scored."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from advisor.catalogue.criteria import CRITERIA, MEASURES, Measure, measure_of
from advisor.catalogue.load import load_catalogue, load_run
from advisor.catalogue.records import stated
from advisor.decide.evaluate import evaluate
from advisor.dimensions import DIMENSIONS
from tests.studies.small import part

WHOLE: Mapping[str, Any] = {
    "name": "brightness",
    "title": "how bright it is",
    "better": "more",
    "dimension": "score",
    "unit": "1",
    "step": (1.0, "one"),
    "anchors": lambda product, cell: (0.0, 1.0),
    "anchored": "0 to 1",
    "reads": (("own-figures", "brightness"),),
    "value": lambda view: view.figure(("own-figures", "brightness")),
}
PRODUCT = """
product: probe
invented: true
life-target: 2 years
service-life: 5 years
environment: [{at: 20 degC, share: 1}]
workload: [{task: sample, every: 10 s, kernels: {crc: 1}}]
supply-options: {cells: [{cell: bare}, {cell: priced}]}
cost: {currency: EUR, units: 100, engineer-rate: 80 EUR/h, service-visit: 10, tools: 0}
priorities:
  lifetime-cost: {weight: 1, poor: 100, good: 0}
"""


@pytest.mark.parametrize(
    "left_out", ["unit", "step", "reads", "value", "title", "better", "dimension", "anchored"]
)
def test_a_criterion_that_is_not_declared_whole_cannot_be_made(left_out: str) -> None:
    empty = {"step": (0.0, ""), "reads": (), "value": None}
    with pytest.raises(ValueError, match="brightness"):
        Measure(**{**WHOLE, left_out: empty.get(left_out, "")})
    with pytest.raises(TypeError):
        Measure(**{k: v for k, v in WHOLE.items() if k != left_out})
    assert Measure(**WHOLE).name == "brightness"


def test_each_criterion_has_a_known_dimension_and_reads_what_parts_may_state() -> None:
    assert len(CRITERIA) == len(MEASURES)
    for measure in MEASURES:
        assert measure.dimension in DIMENSIONS
        for keys in measure.reads:
            stated(_part(), keys)  # raises for a key that parts do not have
    own = measure_of("own-figures.anything.at.all")
    assert own is not None
    assert own.reads == (("own-figures", "anything.at.all"),)
    assert measure_of("brightness") is None


def _part() -> Any:
    import tempfile

    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        (root / "parts").mkdir()
        (root / "parts/one.yaml").write_text(part("one"))
        (root / "kernels.yaml").write_text("crc: {work: one block}\n")
        catalogue = load_catalogue([root])
    return catalogue.parts["one"]


def _cell(name: str, price: str) -> str:
    return f"""
cell: {name}
invented: true
nominal-voltage: 3.0 V
capacity: 225 mAh
voltage-curve: 3.0 V
resistance: 0 ohm
cut-off: 2.0 V
temperature: {{-40 degC: {{capacity: 1, resistance: 1}}, 85 degC: {{capacity: 1, resistance: 1}}}}
self-discharge: 1 %/year
doubles-every: 10 K
{price}
"""


def test_a_build_without_a_value_is_no_build_and_a_part_without_one_is_named(
    tmp_path: Path,
) -> None:
    """One of two cells has no price: builds on it have no cost, so they do not compete."""
    for kind in ("parts", "cells"):
        (tmp_path / kind).mkdir()
    (tmp_path / "kernels.yaml").write_text("crc: {work: one block}\n")
    (tmp_path / "parts/one.yaml").write_text(part("one"))
    (tmp_path / "cells/bare.yaml").write_text(_cell("bare", ""))
    (tmp_path / "cells/priced.yaml").write_text(
        _cell("priced", "price: {currency: EUR, breaks: {1: 0.50}}")
    )
    found = evaluate(*load_run([tmp_path], PRODUCT.encode()))
    (one,) = found.candidates
    assert {build.assessed.feed.option.cell for build in one.builds} == {"priced"}
    only = PRODUCT.replace(", {cell: priced}", "")
    found = evaluate(*load_run([tmp_path], only.encode()))
    assert not found.candidates
    assert not found.screened
    assert found.set_aside == {"one": ("bare:price",)}
