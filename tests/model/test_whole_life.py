"""Chance, a gated rail, a charged store and a panel together, against a simulation by events.

All 200 products: `python -m pytest tests/model/test_whole_life.py -m "slow or not slow" -s`; the
last line tells the largest difference in its own error.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from advisor.catalogue.schema_hourly import MONTHS
from advisor.studies.explain import explain
from tests.model.life_simulator import Story, simulate
from tests.model.test_rails import CONVERTER, PART, made

pytestmark = pytest.mark.once

CELL = """
cell: store
invented: true
rechargeable: true
nominal-voltage: {middle} V
capacity: {capacity} C
voltage-curve: {{0: {full} V, 1: {empty} V}}
resistance: 0.001 ohm
cut-off: 1 V
temperature: {{-20 degC: {{capacity: 1, resistance: 1}}, 60 degC: {{capacity: 1, resistance: 1}}}}
self-discharge: 0 /s
doubles-every: 10 K
shelf-life: 10 years
charge: {{efficiency: 100 %}}
price: {{currency: EUR, breaks: {{1: 2}}, lead-time: 2 weeks}}
"""
PRODUCT = """
product: probe
invented: true
service-life: 5 years
environment: [{{at: 20 degC, share: 1}}]
rails:
  - {{rail: radio, voltage: {rail} V, converters: [up], gated: true, capacitance: {farads} F,
     decay: {decay} s}}
workload:
  - task: report
    every: {period} s
    arrival: {arrival}
    kernels: {{crc: 1}}
    loads: [{{load: radio, rail: radio, current: {radio} A, for: {seconds} s, cpu: idle,
             retries: {{fails: {fails}, most: {most}}}}}]
harvest:
  energy: {{{months}}}
  spread: {spread}
  persistence: {persistence}
  night: {night} h
supply-options: {{cells: [{{cell: store}}], converters: [none]}}
cost: {{currency: EUR, units: 100, engineer-rate: 80 EUR/h, service-visit: 10, tools: 0}}
priorities: {{battery-life: {{weight: 1, poor: 0 years, good: 50 years}}}}
"""


def invented(seed: int) -> Story:
    """A product of figures at random; its core is that of the rails' tests."""
    rng = np.random.default_rng(seed)
    period, fails, most = float(rng.uniform(200, 900)), float(rng.uniform(0, 0.5)), 4
    radio = float(rng.uniform(5e-3, 25e-3)), float(rng.uniform(0.05, 0.4))
    rail, efficiency = 3.3, 0.9
    tries = (1 - fails**most) / (1 - fails)
    full = float(rng.uniform(2.6, 3.2))
    empty = float(rng.uniform(0.72, 0.95)) * full
    # about what a day takes, by which store and months are chosen
    watts = radio[0] * radio[1] * tries * rail / efficiency * 86400 / period
    load = watts + 2e-6 * 86400 * (full + empty) / 2
    night = float(rng.choice([10, 12, 14])) / 24
    days = float(rng.uniform(1.5, 6)) + night
    season = 1 + 0.5 * np.cos(2 * np.pi * (np.arange(12) - 5.5) / 12)
    months = float(rng.uniform(1.2, 1.9)) * load * season
    return Story(
        period=period, random=bool(seed % 2), sleep=2e-6, core=(5e-3, 2e-3), idle=1e-3,
        radio=radio, fails=fails, most=most, rail=rail, efficiency=efficiency, start=12e-6,
        farads=float(rng.uniform(10e-6, 300e-6)), decay=float(rng.uniform(30, 900)),
        capacity=days * load / ((full + empty) / 2), full=full, empty=empty,
        months=tuple(float(m) for m in months), spread=float(rng.uniform(0.3, 0.6)),
        persistence=float(rng.uniform(0, 0.5)), night=night,
    )  # fmt: skip


def told(story: Story, root: Path) -> tuple[float, float]:
    """(share of days lost, J that a day takes), of the code under test."""
    (root / "cells").mkdir(parents=True)
    middle = (story.full + story.empty) / 2
    figures = {"middle": middle, "capacity": story.capacity, "full": story.full,
               "empty": story.empty}  # fmt: skip
    cell = CELL.format(**{name: f"{value:.12g}" for name, value in figures.items()})
    (root / "cells/store.yaml").write_text(cell)
    months = ", ".join(f"{m}: {e:.12g} J" for m, e in zip(MONTHS, story.months, strict=True))
    product = PRODUCT.format(
        rail=story.rail, farads=f"{story.farads:.12g}", decay=f"{story.decay:.12g}",
        period=f"{story.period:.12g}", arrival="random" if story.random else "regular",
        radio=f"{story.radio[0]:.12g}", seconds=f"{story.radio[1]:.12g}",
        fails=f"{story.fails:.12g}", most=story.most, months=months,
        spread=f"{story.spread:.12g}", persistence=f"{story.persistence:.12g}",
        night=f"{24 * story.night:.12g}",
    )  # fmt: skip
    found = explain(*made(root, product=product, part=PART, converters={"up": CONVERTER}), "chip")
    assert found.harvest is not None
    return found.harvest.service.lost, found.harvest.load_j


WORST: list[tuple[float, float, int]] = []
SEEDS = [*range(10), *(pytest.param(s, marks=pytest.mark.slow) for s in range(10, 200))]


@pytest.mark.parametrize("seed", SEEDS)
def test_a_whole_life_is_that_of_a_simulation(seed: int, tmp_path: Path) -> None:
    """Load within half a per cent; lost days within 6 % of them and four standard errors."""
    story = invented(seed)
    lost, load = told(story, tmp_path)
    simulated, error, drawn = simulate(story, 24, 3, seed)
    assert load == pytest.approx(drawn, rel=5e-3)
    WORST.append((abs(lost - simulated) / max(error, 1e-12), abs(lost / simulated - 1), seed))
    errors, apart, which = max(WORST)
    print(f"\nlargest of {len(WORST)}: {errors:.2f} errors, {100 * apart:.1f} %, seed {which}")
    assert abs(lost - simulated) < 0.06 * simulated + 4 * error
