"""What a unit costs, against sums worked by hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.decide.costs import Costs, costs, part_cost, product_cost
from advisor.decide.stage import stage
from tests.model.records import CELL, LINEAR, PRODUCT, records

YEAR = 365.25 * 86400.0
PART = """
part: chip
invented: true
price: {currency: USD, breaks: {1: 2.00, 1000: 1.50}, multiple: 250}
extras: [{item: crystal, price: 0.20}, {item: coil, price: 0.35}]
toolchain: {setup: 12 h}
"""
COST = (
    "{currency: EUR, units: 600, engineer-rate: 90 EUR/h, service-visit: 25.00, tools: 300, "
    "rates: {USD: 0.90}}"
)
OPTIONS = (
    "{cells: [{cell: pill, series: 2, parallel: 3}], converters: [conv], "
    "reservoir: {capacitance: 1 mF, esr: 1 ohm, leakage: 1 nA, price: 0.45}}"
)


def inputs(root: Path, part: str = PART, **product: str) -> tuple[Catalogue, Product]:
    named = {
        **PRODUCT,
        "cost": COST,
        "supply-options": OPTIONS,
        "service-life": "10 years",
        **{k.replace("_", "-"): v for k, v in product.items()},
    }
    cell = {**CELL, "price": "{currency: EUR, breaks: {1: 1.00, 3000: 0.80}, multiple: 100}"}
    return records(root, named, {"pill": cell}, {"conv": LINEAR}, {"chip": part})


def found(root: Path, life_s: float, part: str = PART, **product: str) -> Costs:
    made = inputs(root, part, **product)
    here = stage(*made)
    feed_money = here.feed(0, "conv")[1]
    piece = part_cost(made[0].parts["chip"], here.own_cost, here.samplers["chip"])
    return costs(
        piece.each[None], piece.setup_h[None], feed_money, here.own_cost, np.array([[life_s]])
    )


def test_a_unit_s_cost_by_hand(tmp_path: Path) -> None:
    made = found(tmp_path, 4 * YEAR)
    # 600 chips in packages of 250: 750 at 2.00 = 1500 dollars, as 1000 at 1.50 are; the fewer
    part = 1500 * 0.90 / 600
    # 6 cells a unit, 3600 at 0.80; a converter at 0.30; extras in the part's currency
    pack = 3600 * 0.80 / 600
    extras = (0.20 + 0.35) * 0.90
    assert made.purchase[0, 0] == pytest.approx(part + extras + pack + 0.30 + 0.45, rel=1e-12)
    assert made.development[0, 0] == pytest.approx((12 * 90 + 300) / 600, rel=1e-12)
    # ten years of four: three packs, so two changes, each a pack and a visit
    assert made.replacements[0, 0] == 2
    assert made.upkeep[0, 0] == pytest.approx(2 * (pack + 25), rel=1e-12)
    total = made.purchase + made.development + made.upkeep
    assert made.lifetime[0, 0] == pytest.approx(total[0, 0], rel=1e-12)


def test_purchases_are_told_with_their_pieces(tmp_path: Path) -> None:
    catalogue, product = inputs(tmp_path, cost=COST.replace("units: 600", "units: 760"))
    here = stage(catalogue, product)
    part = part_cost(catalogue.parts["chip"], here.own_cost, here.samplers["chip"])
    # 760 in packages of 250 are 1000, at 1.50
    assert part.bought["chip"].needed == 760
    assert part.bought["chip"].purchase.pieces.tolist() == [1000]
    assert part.part[0] == pytest.approx(1000 * 1.50 * 0.90 / 760, rel=1e-12)
    feed = here.feed(0, "conv")[1]
    assert feed.bought["pill"].needed == 6 * 760
    assert feed.bought["pill"].purchase.pieces.tolist() == [4600]
    assert feed.bought["conv"].purchase.pieces.tolist() == [760]


def test_where_no_multiple_is_told_as_many_pieces_are_bought_as_are_needed(tmp_path: Path) -> None:
    alone = PART.replace(", multiple: 250", "")
    for units in (1, 601):
        catalogue, product = inputs(
            tmp_path / f"{units}", alone, cost=COST.replace("units: 600", f"units: {units}")
        )
        here = stage(catalogue, product)
        part = part_cost(catalogue.parts["chip"], here.own_cost, here.samplers["chip"])
        assert part.bought["chip"].purchase.pieces.tolist() == [units]
        assert part.part[0] == pytest.approx(2.00 * 0.90, rel=1e-12)


def test_incremental_prices_are_honoured_for_part_and_cell(tmp_path: Path) -> None:
    made = inputs(tmp_path, PART.replace("multiple: 250", "discount: incremental"),
                  cost=COST.replace("units: 600", "units: 1500"))  # fmt: skip
    here = stage(*made)
    part = part_cost(made[0].parts["chip"], here.own_cost, here.samplers["chip"])
    # the first thousand at 2.00, five hundred at 1.50
    assert part.part[0] == pytest.approx((1000 * 2.00 + 500 * 1.50) * 0.90 / 1500, rel=1e-12)


def test_an_engineer_paid_in_another_currency(tmp_path: Path) -> None:
    cost = COST.replace("90 EUR/h", "100 USD/h")
    made = found(tmp_path, 20 * YEAR, cost=cost)
    assert made.development[0, 0] == pytest.approx((12 * 100 * 0.90 + 300) / 600, rel=1e-12)
    assert made.upkeep[0, 0] == 0


@pytest.mark.parametrize(
    ("part", "missing", "known"),
    [
        (PART.replace("price: {currency: USD, breaks: {1: 2.00, 1000: 1.50}, multiple: 250}\n", ""),
         "chip:price.breaks", False),
        (PART.replace("currency: USD, ", ""), "chip:price.currency", False),
        (PART.replace("{item: coil, price: 0.35}", "{item: coil}"), "chip:extras.coil.price", True),
    ],
)  # fmt: skip
def test_a_price_that_is_missing_is_unknown_and_named(
    tmp_path: Path, part: str, missing: str, known: bool
) -> None:
    catalogue, product = inputs(tmp_path, part)
    here = stage(catalogue, product)
    piece = part_cost(catalogue.parts["chip"], here.own_cost, here.samplers["chip"])
    assert missing in piece.missing
    assert np.isnan(piece.each).all()
    assert np.isnan(piece.part[0]) != known


def test_a_pack_and_a_converter_without_a_price_are_named(tmp_path: Path) -> None:
    """Each that lacks one, and only that; the reservoir has its price all the same."""
    named = {**PRODUCT, "cost": COST, "supply-options": OPTIONS, "service-life": "10 years"}
    for lacking in (set(), {"pill"}, {"conv"}, {"pill", "conv"}):
        cell, conv = (
            {k: v for k, v in keys.items() if k != "price" or name not in lacking}
            for name, keys in (("pill", CELL), ("conv", LINEAR))
        )
        folder = tmp_path / "-".join(["of", *sorted(lacking)])
        made = records(folder, named, {"pill": cell}, {"conv": conv}, {"chip": PART})
        money = stage(*made).feed(0, "conv")[1]
        assert set(money.missing) == {f"{name}:price" for name in lacking}
        assert bool(np.isnan(money.pack).all()) is ("pill" in lacking)
        assert bool(np.isnan(money.converter).all()) is ("conv" in lacking)
        assert money.reservoir[0] == 0.45


def test_draws_of_prices_and_rates_go_through(tmp_path: Path) -> None:
    # a rate of 0.90 give or take 0.09, and a coil of 0.35 give or take 0.05: both rectangular
    part = PART.replace("price: 0.35", "price: 0.35 ± 0.05")
    catalogue, product = inputs(tmp_path, part, cost=COST.replace("USD: 0.90", "USD: 0.90 ± 0.09"))
    here = stage(catalogue, product, draws=20_000)
    piece = part_cost(catalogue.parts["chip"], here.own_cost, here.samplers["chip"])
    rate = piece.extras["crystal"] / 0.20
    assert (rate.min(), rate.max()) == pytest.approx((0.81, 0.99), abs=1e-3)
    assert piece.part == pytest.approx(1500 / 600 * rate, rel=1e-12)
    coil = piece.extras["coil"] / rate
    assert (coil.min(), coil.max()) == pytest.approx((0.30, 0.40), abs=1e-3)
    assert abs(np.corrcoef(coil, rate)[0, 1]) < 0.03


def test_what_the_product_does_not_state_is_unknown(tmp_path: Path) -> None:
    part = PART.replace("USD", "EUR")
    catalogue, product = inputs(tmp_path, part, cost="{currency: EUR}")
    here = stage(catalogue, product)
    own = product_cost(product, here.samplers["probe"])
    assert (own.units, own.limit) == (None, np.inf)
    assert np.isnan([own.engineer_rate[0], own.service_visit[0], own.tools[0]]).all()
    # without a number of units no price can be told, and none is missing from the part's file
    piece = part_cost(catalogue.parts["chip"], own, here.samplers["chip"])
    assert np.isnan(piece.part[0])
    assert (piece.missing, piece.bought) == ((), {})
    assert piece.setup_h[0] == pytest.approx(12.0, rel=1e-12)
