"""One pass over a product: stated, drawn, or with one figure on a grid."""

from __future__ import annotations

import pathlib
from dataclasses import replace

import numpy as np
import pytest

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.decide.marches import Marches
from advisor.decide.stage import anew_stage, grid_stage, stage
from advisor.figures import Path
from advisor.model.draws import Instrument
from advisor.quantities import read_quantity
from tests.model.records import CELL, LINEAR, PRODUCT, records

OPTIONS = (
    "{cells: [{cell: pill}, {cell: pill, series: 2}, {budget: 50 mAh, voltage: 3 V}], "
    "converters: [none, conv]}"
)


def inputs(root: pathlib.Path) -> tuple[Catalogue, Product]:
    product = {**PRODUCT, "supply-options": OPTIONS, "cost": "{currency: EUR, units: 10}"}
    cell = {**CELL, "capacity": "100 ± 10 mAh"}
    return records(root, product, {"pill": cell}, {"conv": LINEAR})


def test_feeds_by_their_place_in_the_product(tmp_path: pathlib.Path) -> None:
    here = stage(*inputs(tmp_path))
    single, pair, ideal = (here.feed(i, "none")[0] for i in range(3))
    assert [f.pack.open_v[0, 0] for f in (single, pair, ideal)] == [3.2, 6.4, 3.0]
    assert [f.pack.capacity_c[0] for f in (single, pair, ideal)] == pytest.approx([360, 360, 180])
    made, money = here.feed(1, "conv")
    assert made.converter_name == "conv"
    assert (money.pack[0], money.converter[0], money.reservoir[0]) == (2.0, 0.3, 0.0)
    assert here.feed(2, "none")[1].pack[0] == 0.0


def test_one_sampler_a_document(tmp_path: pathlib.Path) -> None:
    here = stage(*inputs(tmp_path), draws=500)
    assert here.samplers["pill"] is here.samplers["pill"]
    first, second = (here.feed(i, "none")[0].pack.capacity_c for i in (0, 1))
    # two packs of one cell see the same draws of it
    assert np.array_equal(first, second)
    other = stage(*inputs(tmp_path / "b"), draws=500, chunk=1).feed(0, "none")[0].pack.capacity_c
    assert not np.array_equal(first, other)


def test_one_figure_on_a_grid_and_all_others_stated(tmp_path: pathlib.Path) -> None:
    places = np.array([300.0, 360.0, 420.0])
    path = Path("pill", ("capacity",))
    here = grid_stage(*inputs(tmp_path), [(path, x) for x in places.tolist()], 0, 1)
    pack = here.feed(0, "none")[0].pack
    assert np.array_equal(pack.capacity_c, places)
    assert pack.self_discharge_a == pytest.approx(0.02 / (365.25 * 86400) * places, rel=1e-12)
    # on the battery model's grid, which has a place more where the voltage falls by a fifth
    assert pack.depth.tolist() == [0.0, 0.5, 0.75, 1.0]
    assert np.allclose(pack.open_v, [[3.2], [3.0], [2.7], [2.4]], rtol=1e-15, atol=0)
    assert here.samplers.taken() == {path}  # type: ignore[attr-defined]
    # a figure of the same name in another document stands
    prices = np.array([0.5, 1.0, 2.0])
    path = Path("pill", ("price", "breaks", "1"))
    cases = [(path, x) for x in prices.tolist()]
    money = grid_stage(*inputs(tmp_path / "c"), cases, 0, 1).feed(0, "conv")[1]
    assert money.pack == pytest.approx(prices, rel=1e-12)
    assert money.converter.tolist() == pytest.approx([0.3, 0.3, 0.3], rel=1e-12)
    untaken = grid_stage(*inputs(tmp_path / "b"), [(Path("conv", ("quiescent",)), 1e-6)], 0, 1)
    untaken.feed(0, "none")
    assert not untaken.samplers.taken()  # type: ignore[attr-defined]


def test_parts_own_figures_are_drawn_anew_and_nothing_else(tmp_path: pathlib.Path) -> None:
    catalogue, product = inputs(tmp_path)
    whose = replace(catalogue, parts={"chip": catalogue.parts.get("chip")})  # type: ignore[dict-item]
    usual, anew = (
        stage(whose, product, 200),
        anew_stage(whose, product, 200, 1, Marches(kept=0)),
    )
    one, two = (here.feed(0, "none")[0].pack.capacity_c for here in (usual, anew))
    assert np.array_equal(one, two)
    amps = read_quantity("3.0(2) mA", "current")
    for name, same in (("chip", False), ("chip@2", False), ("pill", True)):
        path = Path(name.partition("@")[0], ("idle-current",))
        one, two = (here.samplers[name].take(path, amps) for here in (usual, anew))
        assert np.array_equal(one, two) is same
    # what one meter puts on all parts is drawn anew for all alike
    meter = Instrument("meter")
    one, two = (anew.samplers[name].errors(meter) for name in ("chip", "chip@2"))
    assert np.array_equal(one, two)
    assert not np.array_equal(one, usual.samplers["chip"].errors(meter))
