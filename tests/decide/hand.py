"""Two small parts on an ideal budget, and their figures worked by hand."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from tests.studies.small import loaded, part

YEAR = 365.25 * 86400.0
PRODUCT = """
product: plain
invented: true
life-target: 2 years
service-life: 1 years
environment: [{at: 20 degC, share: 1}]
workload: [{task: sample, every: 10 s, kernels: {crc: 3}}]
supply-options: {cells: [{budget: 200 mAh, voltage: 3.0 V}], converters: [none]}
cost: {currency: EUR, units: 100, engineer-rate: 80 EUR/h, service-visit: 10, tools: 0}
priorities:
  battery-life: {weight: 3, poor: 0 years, good: 10 years}
  purchase-cost: {weight: 1, poor: 4.00, good: 0}
"""


def pair(
    root: Path, one: Mapping[str, Any], two: Mapping[str, Any], product: str = PRODUCT
) -> tuple[Catalogue, Product]:
    """Parts `one` and `two` with some figures of their own."""
    return loaded(root, {"one": part("one", **one), "two": part("two", **two)}, product)


def mean_current(kernel: Any = 4e-3, sleep: Any = 2e-6, time: Any = 2e-3) -> Any:
    """Per event of 10 s: a wake of 0.1 ms at the idle 1 mA and three units of work; then sleep."""
    length = 0.1e-3 + 3 * time
    return (0.1e-3 * 1e-3 + 3 * time * kernel) / 10 + sleep * (1 - length / 10)


def life(**figures: Any) -> Any:
    """Seconds that 200 mAh last."""
    return 720.0 / mean_current(**figures)
