"""Criteria for tests that need no product."""

from __future__ import annotations

from advisor.catalogue.criteria import Measure
from advisor.decide.value import Criterion


def criterion(
    name: str,
    weight: float = 1.0,
    poor: float = 0.0,
    good: float = 1.0,
    dimension: str = "score",
    unit: str = "1",
) -> Criterion:
    """A criterion of that name, whose values come from the test."""
    measure = Measure(
        name=name,
        title="made up for a test",
        better="either",
        dimension=dimension,
        unit=unit,
        step=(1.0, "1"),
        anchors=lambda product, cell: (poor, good),
        anchored="POOR to GOOD",
        reads=(("kernels",),),
        value=lambda view: view.life_s,
    )
    return Criterion(measure=measure, weight=weight, poor=poor, good=good, unit=unit)
