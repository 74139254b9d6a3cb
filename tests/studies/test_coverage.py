"""Whether the ranges tell the truth: synthetic parts of known truth, measured with their error.

Every figure of a part is its true value moved by an error of the stated kind and size. The range
of 5 to 95 % must then hold what the true figures give nine times in ten.
"""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from advisor.catalogue.load import load_run, with_changes
from advisor.catalogue.shipped import load
from advisor.studies.results import plain
from advisor.studies.shortlist import Shortlist, shortlist
from tests.studies import small

pytestmark = pytest.mark.once

PARTS = 400

PRODUCT = """
product: probe
invented: true
life-target: 5 years
service-life: 1 months
rail: 3.0 V
environment: [{at: 0 degC, share: 0.4}, {at: 30 degC, share: 0.6}]
workload:
  - {task: sample, every: 20 s, kernels: {filter: 5, crc: 1}, uses: {beacon: 1}}
  - {task: report, every: 400 s, kernels: {filter: 40}}
retain: [ram]
supply-options: {cells: [{budget: 800 mAh, voltage: 3.0 V}], converters: [none]}
cost: {currency: EUR, units: 50, engineer-rate: 80 EUR/h, service-visit: 1, tools: 0}
priorities: {battery-life: {weight: 1}, lifetime-cost: {weight: 1, poor: 40, good: 0}}
"""


class _Written:
    """A figure's text, true or as measured."""

    def __init__(self, rng: np.random.Generator, measured: bool) -> None:
        self.rng, self.measured = rng, measured

    def normal(self, true: float, share: float, unit: str) -> str:
        seen = true + share * true * self.rng.standard_normal()
        return (
            f"{seen:.9g} ± {2 * share * true:.9g} {unit} (k=2)"
            if self.measured
            else f"{true} {unit}"
        )

    def rectangular(self, true: float, share: float, unit: str) -> str:
        seen = true + share * true * self.rng.uniform(-1, 1)
        return self._stated(seen, share * true, unit, f"{true} {unit}")

    def gained(self, true: float, gain: float, share: float, unit: str) -> str:
        """As `normal`, by an instrument that reads too little by a factor."""
        seen = true / gain + share * true * self.rng.standard_normal()
        return self._stated(seen, 2 * share * true, f"{unit} (k=2)", f"{true} {unit}")

    def _stated(self, seen: float, half: float, unit: str, true: str) -> str:
        return f"{seen:.9g} ± {half:.9g} {unit}" if self.measured else true

    def typical(self, true: float, ratio: float, unit: str) -> str:
        sigma = math.log(ratio) / 2.3263478740408408  # 99 % of the normal distribution
        seen = true * math.exp(sigma * self.rng.standard_normal())
        if not self.measured:
            return f"{true} {unit}"
        return f"{{typical: {seen:.9g} {unit}, max: {seen * ratio:.9g} {unit}}}"

    def hours(self, low: float, likely: float, high: float) -> str:
        alpha = 1 + 4 * (likely - low) / (high - low)
        true = low + (high - low) * self.rng.beta(alpha, 6 - alpha)
        if not self.measured:
            return f"{true} h"
        return f"{{low: {low} h, likely: {likely} h, high: {high} h}}"


def part(n: int, measured: bool) -> str:
    rng = np.random.default_rng([7, n])
    truth = rng.lognormal(0.0, 0.4, 10)
    write = _Written(rng, measured)
    gain = 1 + 0.03 * rng.uniform(-1, 1)
    return f"""
part: part-{n:03d}
invented: true
lifecycle: active
supply: {{min: 1.8 V, max: 3.6 V}}
temperature: {{min: -40 degC, max: 85 degC}}
evidence:
  bench: {{kind: bench, date: 2026-03-11, instrument: meter-{n}, gain: 3 %}}
  sheet: {{kind: datasheet, date: 2026-03-11}}
operating-points:
  run:
    idle-current: {write.rectangular(0.9 * truth[0], 0.1, "mA")}
    supply: 3 V
    evidence: sheet
kernels:
  filter:
    run:
      time: {write.normal(1.2 * truth[1], 0.01, "ms")}
      current: {write.gained(3.5 * truth[2], gain, 0.02, "mA")}
      supply: 3 V
      evidence: bench
  crc:
    run:
      time: {write.normal(0.2 * truth[3], 0.01, "ms")}
      current: {write.gained(3.1 * truth[2], gain, 0.02, "mA")}
      supply: 3 V
      evidence: bench
blocks:
  beacon: {{current: {write.gained(6 * truth[5], gain, 0.02, "mA")}, for: 2 ms, evidence: bench}}
sleep-states:
  ram-kept:
    current: {write.typical(2.0 * truth[6], 2.5, "µA")}
    wake-time: 0.1 ms
    retains: [ram]
    evidence: sheet
price: {{currency: EUR, breaks: {{1: {write.rectangular(2 * truth[7], 0.05, "").strip()}}}}}
toolchain: {{setup: {write.hours(2, 3, 9)}}}
"""


def run(root: Path, measured: bool, draws: int) -> Shortlist:
    (root / "parts").mkdir(parents=True)
    (root / "kernels.yaml").write_text("filter: {work: a}\ncrc: {work: a}\n")
    for n in range(PARTS):
        (root / f"parts/part-{n:03d}.yaml").write_text(part(n, measured))
    return shortlist(*load_run([root], PRODUCT.encode()), draws=draws)


@pytest.mark.slow
def test_ranges_hold_the_truth_nine_times_in_ten(tmp_path: Path) -> None:
    truth = {p.part: p for p in run(tmp_path / "true", False, 0).ranking}
    found = run(tmp_path / "seen", True, 2000).ranking
    assert len(found) == len(truth) == PARTS
    life = cost = 0
    for seen in found:
        true = truth[seen.part]
        lives, money = seen.battery_life_s, seen.cost
        assert lives.p05 is not None
        assert lives.p95 is not None
        assert money.p05 is not None
        assert money.p95 is not None
        assert true.cost.lifetime is not None
        life += lives.p05 <= true.battery_life_s.nominal <= lives.p95
        cost += money.p05 <= true.cost.lifetime <= money.p95
    # 90 %, give or take 2.7 deviations of a count of 400: 86 to 94 %
    assert 0.86 <= life / PARTS <= 0.94
    assert 0.86 <= cost / PARTS <= 0.94


GAINED = """
product: plain
invented: true
life-target: 5 years
environment: [{at: 20 degC, share: 1}]
workload: [{task: sample, every: 10 s, kernels: {crc: 3}}]
supply-options: {cells: [{budget: 200 mAh, voltage: 3.0 V}], converters: [none]}
priorities: {battery-life: {weight: 1, poor: 0 years, good: 90 years}}
"""


def gained(root: Path, meters: tuple[str, str], lead: float = 1.02) -> Shortlist:
    """Two parts whose currents are known but for their meter's gain of 10 %; one draws more."""
    (root / "parts").mkdir(parents=True)
    (root / "kernels.yaml").write_text("crc: {work: a}\n")
    for name, factor, meter in zip(("less", "more"), (1.0, lead), meters, strict=True):
        text = small.part(name, kernel=f"{4 * factor} mA", sleep=f"{2 * factor} µA")
        text = text.replace("idle-current: 1 mA", f"idle-current: {factor} mA")
        text = text.replace("{kind: bench,", f"{{kind: bench, instrument: {meter}, gain: 10 %,")
        (root / f"parts/{name}.yaml").write_text(text)
    return shortlist(*load_run([root], GAINED.encode()), draws=40_000)


def test_a_meter_s_gain_has_its_whole_width(tmp_path: Path) -> None:
    # every current is the stated one times g, even on 0.9..1.1: the life is L/g, whose 5 and 95 %
    # lie at g = 1.09 and 0.91. A quantile's deviation is sqrt(0.05 x 0.95/N) x 0.2 = 0.02 %
    for part in gained(tmp_path, ("m", "n")).ranking:
        life = part.battery_life_s
        assert life.p05 == pytest.approx(life.nominal / 1.09, rel=1e-3)
        assert life.p50 == pytest.approx(life.nominal, rel=2e-3)
        assert life.p95 == pytest.approx(life.nominal / 0.91, rel=1e-3)


def test_a_shared_meter_s_gain_cancels_between_parts_and_others_do_not(tmp_path: Path) -> None:
    def chance(root: Path, meters: tuple[str, str]) -> float:
        found = {p.part: p for p in gained(root, meters).ranking}
        return float(found["less"].first_place_probability or 0.0)

    assert chance(tmp_path / "one", ("m", "m")) == 1.0
    # two of their own, a and b even on 0.9..1.1: `more` leads where a > 1.02 b
    low, high = 0.9, 1.1 / 1.02
    loses = (1.1 * (high - low) - 1.02 * (high**2 - low**2) / 2) / 0.2**2
    # a share of N draws is known to sqrt(p q/N) = 0.25 %
    assert chance(tmp_path / "two", ("m", "n")) == pytest.approx(1 - loses, abs=0.01)


DRAWS = 16_000

# every uncertain figure that bears on the best part of a product, and a wider statement of it
WIDER = [
    ("frost-post:standing-loads.divider.current", ["0.8 µA", "0.8 µA ± 10 %", "0.8 µA ± 30 %"]),
    ("lm-thumb:capacity", ["1500 mAh", "1500 ± 60 mAh", "1500 ± 200 mAh"]),
    ("lm-thumb:self-discharge", ["1.5 %/year", "1.5(3) %/year", "1.5(9) %/year"]),
    (
        "tessimur-rud:sleep-states.ram-kept.current.25 degC",
        ["1.02 µA", "1.02 µA ± 25 %", "1.02 µA ± 60 %", "{typical: 1.02 µA, max: 8 µA}"],
    ),
    ("tessimur-rud:kernels.filter.fast.current", ["5.02 mA", "5.02(4) mA", "5.02(90) mA"]),
    ("tessimur-rud:kernels.filter.fast.time", ["132.2 us", "132.2(4) us", "132(20) us"]),
    ("tessimur-rud:evidence.bench.gain", ["0 %", "0.2 %", "2 %", "10 %"]),
    ("tessimur-rud:operating-points.fast.idle-current", ["1.39 mA", "1.39(10) mA", "1.39(90) mA"]),
    ("frost-post:workload.report.loads.radio.current", ["26 mA", "26(1) mA", "26(6) mA"]),
    ("frost-post:workload.sample.loads.probe.for", ["2 ms", "2.0(1) ms", "2.0(6) ms"]),
]


@pytest.mark.parametrize(("path", "texts"), WIDER, ids=[p for p, _ in WIDER])
def test_widening_one_figure_never_narrows_the_range(path: str, texts: list[str]) -> None:
    catalogue, product = load("frost-post")
    inputs = catalogue.only(["tessimur-rud"]), product
    fixed = [
        "frost-post:supply-options.cells=[{cell: lm-thumb}]",
        "frost-post:supply-options.converters=[none]",
        "lm-thumb:shelf-life=90 years",
        "tessimur-rud:operating-points.slow.supply-min=3.5 V",
    ]
    widths, costs = [], []
    for text in texts:
        there = with_changes(*inputs, [*fixed, f"{path}={text}"])
        part = shortlist(*there, draws=DRAWS).ranking[0]
        found = plain(part.battery_life_s)
        widths.append(found["p95"] - found["p05"])
        costs.append((part.cost.p95 or 0) - (part.cost.p05 or 0))
    # a figure's draws are stretched about the same places, so a range moves with it and not by
    # chance; but draws of two figures correlate by about 1/sqrt(N), here 0.8 %, and a figure that
    # hardly counts may take a part of that from the range
    for narrow, wide in pairwise(widths):
        assert wide >= narrow * (1 - 0.005)
    assert widths[-1] > widths[0]
    for narrow, wide in pairwise(costs):
        assert wide >= narrow * (1 - 0.005)
