"""Loads told as power or charge, from the rail to the battery's life, against sums by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from scipy.integrate import quad

from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.studies.explain import explain
from advisor.studies.shortlist import shortlist
from tests.model.records import CELL, LINEAR, PRODUCT, records
from tests.studies.small import part

Inputs = tuple[Catalogue, Product]

SLEEP = 1e-6  # A
SOURCE = {**CELL, "resistance": "{0: 0 ohm}", "cut-off": "1 V", "self-discharge": "0 %/year"}
BUCK = {
    **{k: v for k, v in LINEAR.items() if k != "dropout"},
    "kind": "buck",
    "efficiency": "{10 µA: 0.8, 1 mA: 0.9, 100 mA: 0.9}",
}
CHIP = part("chip", sleep="1 µA")


def product(root: Path, converter: str, keys: dict[str, str]) -> Inputs:
    """A product of the given keys on a cell without resistance, 3.2 to 3.0 to 2.4 V, 360 C."""
    options = f"{{cells: [{{cell: pill}}], converters: [{converter}]}}"
    named = {**PRODUCT, "rail": "2.0 V", "supply-options": options, **keys}
    return records(
        root,
        named,
        cells={"pill": SOURCE},
        converters={"line": LINEAR, "down": BUCK},
        parts={"chip": CHIP},
    )


def standing(root: Path, converter: str, power: str = "6 mW") -> Inputs:
    """The chip asleep beside a load of constant power."""
    loads = f"[{{load: lamp, power: {power}}}]"
    return product(root, converter, {"workload": "[]", "standing-loads": loads})


def life(inputs: Inputs) -> float:
    (best,) = shortlist(*inputs, draws=0).ranking
    return best.battery_life_s.nominal


def open_v(depth: float) -> float:
    return 3.2 - 0.4 * depth if depth < 0.5 else 3.0 - 1.2 * (depth - 0.5)


def test_straight_from_the_pack_a_power_draws_more_as_the_pack_falls(tmp_path: Path) -> None:
    """t = C times the integral of dD/(I + P/V(D)), by adaptive quadrature."""
    expected = sum(
        360.0 * quad(lambda d: 1 / (SLEEP + 6e-3 / open_v(d)), *ends)[0]
        for ends in ((0.0, 0.5), (0.5, 1.0))
    )
    assert life(standing(tmp_path, "none")) == pytest.approx(expected, rel=1e-6)
    # nearly the energy over the power: 360 C at 2.9 V on average
    assert expected == pytest.approx(360 * 2.9 / 6e-3, rel=1e-3)


def test_behind_a_linear_converter_a_power_is_a_current_of_the_rail(tmp_path: Path) -> None:
    # 6 mW from 2 V are 3 mA, whatever the pack's voltage; 1 µA sleeps, 1 µA the converter
    expected = 360 / (3e-3 + 2e-6)
    assert life(standing(tmp_path, "line")) == pytest.approx(expected, rel=1e-6)


def test_behind_a_switching_converter_a_power_is_one_of_the_pack(tmp_path: Path) -> None:
    # (6 mW + 1 µA x 2 V)/0.9 from the pack, 2.9 V on average: power times time is energy
    expected = 360 * 2.9 / ((6e-3 + 2e-6) / 0.9)
    assert life(standing(tmp_path, "down")) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("converter", ["none", "line", "down"])
def test_a_charge_is_its_mean_current(tmp_path: Path, converter: str) -> None:
    """60 µC in 20 ms are 3 mA for 20 ms, whatever feeds it; 6 mW at 2 V behind a converter too."""

    def told(folder: str, how: str) -> float:
        loads = f"[{{load: pump, {how}, for: 20 ms}}]"
        work = f"[{{task: sample, every: 1 s, kernels: {{crc: 1}}, loads: {loads}}}]"
        return life(product(tmp_path / folder, converter, {"workload": work}))

    current = told("current", "current: 3 mA")
    assert told("charge", "charge: 60 µC") == pytest.approx(current, rel=1e-12)
    if converter != "none":
        assert told("power", "power: 6 mW") == pytest.approx(current, rel=1e-12)


@pytest.mark.parametrize("converter", ["none", "line", "down"])
def test_where_the_current_goes_adds_up_with_powers(tmp_path: Path, converter: str) -> None:
    keys = {
        "workload": "[{task: sample, every: 1 s, kernels: {crc: 1}, loads: ["
        "{load: lamp, power: 30 mW, for: 5 ms, cpu: asleep}, "
        "{load: pump, charge: 60 µC, for: 20 ms}]}]",
        "standing-loads": "[{load: keeper, power: 60 µW}, {load: divider, current: 2 µA}]",
    }
    inputs = product(tmp_path, converter, keys)
    found = explain(*inputs, "chip")
    rows = {c.consumer: c.a for c in found.current}
    total = sum(a for name, a in rows.items() if name != "self-discharge")
    assert total == pytest.approx(found.power.battery_current_a, rel=1e-12)
    # at the pack's own voltage over its life, through the linear converter the rail's 2 V
    volts = 60e-6 / rows["standing keeper"]
    assert rows["sample: load lamp"] == pytest.approx(30e-3 * 5e-3 / volts, rel=1e-12)
    if converter == "line":
        assert volts == pytest.approx(2.0, rel=1e-12)
    else:
        assert 2.0 < volts < 3.3
    ratio = 2 / volts if converter == "down" else 1.0
    assert rows["sample: load pump"] == pytest.approx(60e-6 * ratio, rel=1e-12)
    (best,) = shortlist(*inputs, draws=0).ranking
    breakdown = best.power.breakdown_a
    parts = breakdown.sleep + breakdown.standing + sum(breakdown.tasks.values())
    assert parts == pytest.approx(best.power.rail_current_a, rel=1e-12)


def test_a_power_counts_towards_the_greatest_currents(tmp_path: Path) -> None:
    """100 mW from 2 V are 50 mA, with 1 mA of the idle core, against the converter's output; from
    3.2 V they are 31.25 mA, against the pulses of the cell."""
    loads = "[{load: lamp, power: 100 mW, for: 5 ms}]"
    keys = {"workload": f"[{{task: sample, every: 1 s, kernels: {{crc: 1}}, loads: {loads}}}]"}
    for converter, limit, what, stays in (
        ("line", "line:max-output=51 mA", "line max-output", True),
        ("line", "line:max-output=50.9 mA", "line max-output", False),
        ("none", "pill:max-pulse=32.3 mA", "pill max-pulse", True),
        ("none", "pill:max-pulse=32.2 mA", "pill max-pulse", False),
    ):
        made = product(tmp_path / limit.replace(":", ""), converter, keys)
        found = shortlist(*with_changes(*made, [limit]), draws=0)
        assert bool(found.ranking) is stays
        if not stays:
            assert [f.need for f in found.screened_out[0].failed] == [what]
