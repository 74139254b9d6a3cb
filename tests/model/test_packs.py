"""Packs and converters as arrays, against sums worked by hand from the records below."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from advisor.catalogue.load import load_catalogue
from advisor.catalogue.shipped import catalogue_folder
from advisor.model import packs
from advisor.model.draws import Sampler
from advisor.model.packs import Feed, missing_converter
from advisor.quantities import read_quantity
from tests.model.records import CELL, LINEAR, PRODUCT, fed, records

MAH = 3.6
YEAR = 365.25 * 86400.0


def pack_of(root: Path, cells: str, **keys: str) -> Feed:
    product = {**PRODUCT, "supply-options": f"{{cells: [{cells}], converters: [none]}}"}
    if "environment" in keys:
        product["environment"] = keys.pop("environment")
    named = {k.replace("_", "-"): v for k, v in keys.items()}
    return fed(records(root, product, {"pill": {**CELL, **named}}))[0]


def test_two_in_series_three_strings(tmp_path: Path) -> None:
    one = pack_of(tmp_path / "one", "{cell: pill}")
    six = pack_of(tmp_path / "six", "{cell: pill, series: 2, parallel: 3}")
    # volts 3.2, 3.0, 2.4 each: twice; ohms 10, 20 (half-way), 30 each: two thirds; 100 mAh: thrice
    assert six.pack.depth.tolist() == [0.0, 0.5, 1.0]
    assert six.pack.open_v[:, 0] == pytest.approx([6.4, 6.0, 4.8], rel=1e-15)
    assert one.pack.resistance[:, 0] == pytest.approx([10, 20, 30], rel=1e-15)
    assert six.pack.resistance[:, 0] == pytest.approx([20 / 3, 40 / 3, 20], rel=1e-12)
    assert six.pack.capacity_c[0] == pytest.approx(300 * MAH, rel=1e-12)
    # the cut-off and the nominal voltage of each cell, twice
    assert six.cut_off_v[0] == pytest.approx(4.0, rel=1e-15)
    assert six.nominal_v[0] == pytest.approx(6.0, rel=1e-15)
    # each of the three strings loses 2 % of 100 mAh a year
    assert six.pack.self_discharge_a[0] == pytest.approx(3 * 0.02 * 360 / YEAR, rel=1e-12)


def test_the_cold_costs_capacity_and_raises_resistance(tmp_path: Path) -> None:
    places = "[{at: 20 degC, share: 0.7}, {at: 0 degC, share: 0.3}]"
    found = pack_of(tmp_path, "{cell: pill}", environment=places).pack
    # half-way between -20 and 20 degC: capacity (0.6 + 1)/2, resistance (4 + 1)/2
    assert found.least_capacity[0] == pytest.approx(0.8, rel=1e-12)
    assert found.mean_capacity[0] == pytest.approx(0.7 * 1 + 0.3 * 0.8, rel=1e-12)
    assert found.resistance[:, 0] == pytest.approx([25, 50, 75], rel=1e-12)


def test_self_discharge_doubles_with_every_step(tmp_path: Path) -> None:
    places = "[{at: 20 degC, share: 0.5}, {at: 0 degC, share: 0.25}, {at: 30 degC, share: 0.25}]"
    table = "{-20 degC: {capacity: 1, resistance: 1}, 40 degC: {capacity: 1, resistance: 1}}"
    found = pack_of(tmp_path, "{cell: pill}", environment=places, temperature=table).pack
    # 2 % of 100 mAh a year at 20 degC, a quarter of it at 0, twice at 30
    mean = 0.5 * 1 + 0.25 * 0.25 + 0.25 * 2
    assert found.self_discharge_a[0] == pytest.approx(0.02 * 360 / YEAR * mean, rel=1e-12)


def test_curves_of_unlike_depths_meet_on_one_grid(tmp_path: Path) -> None:
    curves = {
        "voltage_curve": "{0.2: 3.0 V, 0.6: 2.6 V}",
        "resistance": "{0: 10 ohm, 0.4: 20 ohm, 1: 50 ohm}",
    }
    found = pack_of(tmp_path, "{cell: pill}", **curves).pack
    assert found.depth == pytest.approx([0.0, 0.2, 0.4, 0.6, 1.0], rel=1e-15)
    # flat outside its points, straight between them
    assert found.open_v[:, 0] == pytest.approx([3.0, 3.0, 2.8, 2.6, 2.6], rel=1e-12)
    assert found.resistance[:, 0] == pytest.approx([10, 15, 20, 30, 50], rel=1e-12)


def test_an_environment_outside_the_table_is_told(tmp_path: Path) -> None:
    for n, (at, covered) in enumerate(
        [("-20 degC", True), ("-21 degC", False), ("20 degC", True), ("21 degC", False)]
    ):
        places = f"[{{at: {at}, share: 1}}]"
        assert pack_of(tmp_path / str(n), "{cell: pill}", environment=places).covered is covered


def test_an_ideal_budget_is_flat_and_keeps_its_charge(tmp_path: Path) -> None:
    reservoir = "{capacitance: 100 uF, esr: 0.5 ohm, leakage: 0.2 µA, price: 0.1}"
    options = (
        "{cells: [{budget: 50 mAh, voltage: 3.1 V}], converters: [none], "
        f"reservoir: {reservoir}}}"
    )
    found = fed(records(tmp_path, {**PRODUCT, "supply-options": options}))[0]
    assert found.pack.open_v[:, 0].tolist() == [3.1, 3.1]
    assert found.pack.capacity_c[0] == pytest.approx(50 * MAH, rel=1e-12)
    assert found.pack.self_discharge_a[0] == 0
    assert found.pack.leak_a[0] == pytest.approx(0.2e-6, rel=1e-12)
    assert found.pack.reservoir is not None
    assert [float(x[0]) for x in found.pack.reservoir] == pytest.approx([100e-6, 0.5], rel=1e-12)
    assert found.cut_off_v[0] == 0


SWITCHING = {k: v for k, v in LINEAR.items() if k != "dropout"}
TABLE = "{10 µA: 0.5, 1 mA: 0.9}"


@pytest.mark.parametrize(
    ("converter", "least"),
    [
        # the rail of 2.5 V: a linear one needs its dropout above it, a buck the rail itself, a
        # boost its own least input; a cell's cut-off or the input's least where that is more
        (LINEAR, 2.65),
        ({**LINEAR, "dropout": "0 V"}, 2.5),
        ({**LINEAR, "input": "{min: 2.9 V, max: 5.5 V}"}, 2.9),
        ({**SWITCHING, "kind": "buck", "efficiency": TABLE}, 2.5),
        ({**SWITCHING, "kind": "boost", "efficiency": TABLE}, 2.0),
        (
            {**SWITCHING, "kind": "boost", "efficiency": TABLE, "input": "{min: 2.2 V, max: 3 V}"},
            2.2,
        ),
    ],
)
def test_where_a_pack_ends_behind_a_converter(
    tmp_path: Path, converter: dict[str, str], least: float
) -> None:
    options = "{cells: [{cell: pill}], converters: [conv]}"
    product = {**PRODUCT, "supply-options": options}
    found = fed(records(tmp_path, product, converters={"conv": converter}), "conv")[0]
    assert found.cut_off_v[0] == pytest.approx(least, rel=1e-12)


def test_a_converter_carries_the_chip_s_power_as_well(tmp_path: Path) -> None:
    # 1 mA, 4 mW and 1 mW of loads (2 mA at the rail of 2.5 V), 3 mA of loads: 6 mA at the rail
    load = (np.array([1e-3]), np.array([4e-3]), np.array([3e-3]), np.array([1e-3]))
    options = "{cells: [{cell: pill}], converters: [conv]}"
    product = {**PRODUCT, "supply-options": options}
    linear = fed(records(tmp_path / "l", product, converters={"conv": LINEAR}), "conv")[0]
    a, w = linear.cell_side(*load)
    assert (a[0], w[0]) == (pytest.approx(6.001e-3, rel=1e-12), 0.0)
    buck = {**SWITCHING, "kind": "buck", "efficiency": TABLE}
    switching = fed(records(tmp_path / "s", product, converters={"conv": buck}), "conv")[0]
    a, w = switching.cell_side(*load)
    # above the table its efficiency of 90 % holds: 15 mW out, 16.7 mW in
    assert (a[0], w[0]) == (0.0, pytest.approx(15e-3 / 0.9, rel=1e-12))
    bare = fed(records(tmp_path / "n"))[0]
    a, w = bare.cell_side(*load)
    assert (a[0], w[0]) == (pytest.approx(4e-3, rel=1e-12), pytest.approx(5e-3, rel=1e-12))
    assert bare.chip_voltage()[0] == 3.0
    assert linear.chip_voltage()[0] == 2.5


WIDE = {**CELL, "voltage-curve": "{0: 3.0(2) V, 0.5: 2.9(2) V, 1: 2.8(2) V}"}


def test_drawn_voltage_falls_with_depth(tmp_path: Path) -> None:
    found = fed(records(tmp_path, cells={"pill": WIDE}), draws=20_000)[0].pack.open_v
    own = Sampler("pill", 20_000)
    drawn = np.stack(
        [
            own.take(own.root.child("voltage-curve", at), read_quantity(f"{volts}(2) V", "voltage"))
            for at, volts in (("0", "3.0"), ("0.5", "2.9"), ("1", "2.8"))
        ]
    )
    falls = (np.diff(drawn, axis=0) <= 0).all(axis=0)
    # three points 0.1 V apart with u = 0.2 V: some third of the draws falls by itself
    assert 0.2 < falls.mean() < 0.6
    assert (np.diff(found, axis=0) <= 0).all()
    # those that fall stay as drawn; the others keep their values, in falling order
    assert np.array_equal(found[:, falls], drawn[:, falls])
    assert np.array_equal(np.sort(found, axis=0), np.sort(drawn, axis=0))
    # no falling curve is further off than before, such as the stated one (root mean square)
    stated = np.array([3.0, 2.9, 2.8])[:, None]
    before, after = (np.sqrt(((v - stated) ** 2).mean(axis=0)) for v in (drawn, found))
    assert (after <= before + 1e-12).all()
    assert (after < before - 1e-3).any()


@pytest.mark.parametrize(
    ("kind", "record", "path"),
    [
        ("linear", {"kind": None}, "kind"),
        ("linear", {"quiescent": None}, "quiescent"),
        ("linear", {"dropout": None}, "dropout"),
        ("buck", {"efficiency": None}, "efficiency"),
        ("linear", {"max_output": None}, "max-output"),
        *(
            ("buck", {window: (end, None)}, f"{window}.{end}")
            for window in ("input", "output")
            for end in ("min", "max")
        ),
    ],
)
def test_each_figure_that_a_converter_lacks_is_named(
    kind: str, record: dict[str, Any], path: str
) -> None:
    catalogue = load_catalogue([catalogue_folder()])
    whole = next(
        c for c in catalogue.converters.values() if c.kind == kind and not missing_converter(c)
    )
    for name, value in record.items():
        if isinstance(value, tuple):
            record[name] = replace(getattr(whole, name), **{value[0]: None})
    lacking = missing_converter(replace(whole, **record))
    assert f"{whole.converter}:{path}" in lacking
    # what kind it is says which loss is asked for
    assert len(lacking) == (2 if path == "kind" else 1)


def test_two_wells_are_taken_where_both_figures_stand(tmp_path: Path) -> None:
    """c and k of the cell, whatever is in series and parallel; none without either."""
    two = pack_of(
        tmp_path / "two", "{cell: pill, series: 2, parallel: 3}", two_well="{c: 0.6, k: 0.01 /h}"
    ).pack.two_well
    assert two is not None
    assert two[0].tolist() == [0.6]
    assert two[1] == pytest.approx([0.01 / 3600])
    assert pack_of(tmp_path / "none", "{cell: pill}").pack.two_well is None


def test_a_time_s_strain_is_the_least_limit_of_all_places_over_its_own(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Limits of 1, 4 and 2 mA at three places: a time at the last two may pulse 2 mA."""
    limits = 1e-3 * np.array([[1.0], [4.0], [2.0]])
    monkeypatch.setattr(packs, "pulse_limits", lambda *_: limits)
    times = [
        SimpleNamespace(places=places, share=np.ones(1)) for places in ([1, 2], [0, 1], [1], [2])
    ]
    product: Any = SimpleNamespace(temperature=np.array([[253.0], [293.0], [313.0]]), times=times)
    cell: Any = SimpleNamespace(max_pulse="a curve")
    found = packs._strains(cell, product)
    assert [float(one[0]) for one in found] == pytest.approx([0.5, 1.0, 0.25, 0.5])
    # without a limit nothing strains
    cell.max_pulse = None
    assert [float(one[0]) for one in packs._strains(cell, product)] == [1.0] * 4
