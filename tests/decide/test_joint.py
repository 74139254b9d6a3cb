"""The plain numbers of a family against the catalogue's files and the risks of supply."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from advisor.catalogue.families import FamilyRun, load_family
from advisor.decide.admissible import admissible
from advisor.decide.evaluate import evaluate
from advisor.decide.family import Family
from advisor.decide.family_model import Build
from advisor.decide.family_plans import priced
from advisor.decide.family_supply import (
    Supplied,
    at_what_is_paid,
    outlook_of,
    prices_alone,
    supplied,
    weeks_held,
)
from advisor.decide.joint import Joined, joined, maker_of, problem
from advisor.decide.supply_risk import Need, Source, of_part, of_two_sources

pytestmark = pytest.mark.once

PARTS = ("ostrel-ruv", "quorvane-tib", "vantle-gaf", "helmaric-lep")
CHANGES = (
    "vineyard:products=[{product: barrel-tag, units: 700, missed-unit: 3, second-source: allowed,"
    " second-share: 30 %, porting: 9 h, life-chance: 60 %, give-up: 7},"
    " {product: must-probe, missed-unit: 5}]",
    "vineyard:stock={ostrel-ruv: 150, lb-coin: 40}",
    "vineyard:limits={parts: 2, engineering: 30 h, capital: 9000, cost: 80000}",
    "vineyard:toolchain-share=20 %",
    "quorvane-tib:price={currency: USD, breaks: {1: 3.00, 1000: 2.00}, multiple: 25,"
    " discount: incremental, lead-time: 9 weeks}",
)


@pytest.fixture(scope="module")
def made() -> tuple[FamilyRun, list[Joined], dict[str, Supplied], Family]:
    run = load_family("vineyard", changes=CHANGES)
    run = replace(run, catalogue=run.catalogue.only(PARTS))
    products = []
    for product in run.products:
        found = evaluate(run.catalogue, product)
        products.append(joined(found, admissible(found), True))
    makers = {part: maker_of(run.catalogue, part) for part in PARTS}
    units = {one.product.product: one.units for one in products}
    prices = {one.product.product: prices_alone(one.options.values()) for one in products}
    risks = supplied(run.family, run.catalogue, makers, prices, units)
    return run, products, risks, problem(run.family, run.catalogue, products, risks)


def test_numbers_are_those_of_the_files(
    made: tuple[FamilyRun, list[Joined], dict[str, Supplied], Family],
) -> None:
    run, products, _, family = made
    tag, probe = family.members
    assert (tag.units, probe.units) == (700, 800)
    assert (tag.life_chance, tag.give_up) == (0.6, 7)
    assert (tag.second, tag.second_share, tag.porting_h) == ("allowed", 0.3, 9)
    assert (probe.life_chance, probe.give_up, probe.second) == (None, None, "refused")
    assert (tag.tools, probe.tools) == (600, 600)
    assert family.toolchain_share == 0.2
    assert family.rate == 80
    limits = family.limits
    assert (limits.parts, limits.hours, limits.capital, limits.cost) == (2, 30, 9000, 80000)
    items = {item.name: item for item in family.items}
    tib = items["quorvane-tib"]
    assert [quantity for quantity, _ in tib.breaks] == [1, 1000]
    assert [each for _, each in tib.breaks] == pytest.approx([2.76, 1.84])
    assert (tib.multiple, tib.incremental, tib.stock) == (25, True, 0)
    assert items["ostrel-ruv"].stock == 150
    assert items["lb-coin"].stock == 40
    assert items["lb-coin"].kind == "cell"
    for member, one in zip(family.members, products, strict=True):
        assert member.favourite == one.favourite
        for option in member.options:
            taken = one.options[option.name]
            cost = taken.build.assessed.costs
            assert option.upkeep == pytest.approx(cost.upkeep[taken.build.row, 0])
            assert option.score == taken.build.score
            assert option.pieces[option.part] == 1
    for platform in family.platforms:
        setup = run.catalogue.parts[platform.part].toolchain.setup
        assert setup is not None
        assert platform.setup_h == pytest.approx(setup.nominal / 3600)


def test_supply_is_that_of_each_part_and_of_each_pair_of_makers(
    made: tuple[FamilyRun, list[Joined], dict[str, Supplied], Family],
) -> None:
    run, products, risks, family = made
    assert run.family.supply is not None
    outlook = outlook_of(run.family.supply)
    assert outlook.holding_per_year == pytest.approx(0.18)
    assert outlook.made_over_s == pytest.approx(4 * 365.25 * 86400)

    def source(part: str, product: Joined) -> Source:
        price = run.catalogue.parts[part].price
        assert price is not None
        lead = price.lead_time
        each = next(o for o in product.options.values() if o.part == part).candidate.cost.part[0]
        return Source(
            part=part,
            maker=maker_of(run.catalogue, part),
            price=float(each),
            lead_time_s=None if lead is None else lead.nominal,
            lifecycle=run.catalogue.parts[part].lifecycle,
        )

    tag, probe = products
    mine = risks["must-probe"]
    assert not mine.pairs
    for option in family.members[1].options:
        alone = of_part(Need("must-probe", 800, 5.0), source(option.part, probe), outlook)
        assert option.supply == pytest.approx(alone.cost, rel=1e-12)
        assert option.supply_of_two == (0, 0)
    need = Need("barrel-tag", 700, 3.0)
    parts = sorted({o.part for o in tag.options.values()})
    makers = {part: maker_of(run.catalogue, part) for part in parts}
    for first in parts:
        for second in parts:
            if makers[first] == makers[second]:
                continue
            whole = of_two_sources(need, source(first, tag), source(second, tag), 0.3, outlook)
            summed = sum(one.cost for one in risks["barrel-tag"].of(first, second, makers))
            # each maker has one part here, so the pair's dearest is the pair's own
            assert summed == pytest.approx(whole.cost, rel=1e-9)
            option = next(o for o in family.members[0].options if o.part == first)
            assert option.supply_of_two[0] == pytest.approx(
                risks["barrel-tag"].first[first].cost, rel=1e-12
            )


@pytest.mark.parametrize("second", ["ostrel-ruv", None])
def test_risks_at_what_a_plan_pays(
    second: str | None, made: tuple[FamilyRun, list[Joined], dict[str, Supplied], Family]
) -> None:
    """By hand: quorvane-tib at EUR 2.76, beyond a thousand pieces at EUR 1.84; of ostrel-ruv
    150 are in stock, the next ones are bought, or none where stock does."""
    run, products, _, family = made
    assert run.family.supply is not None
    outlook = outlook_of(run.family.supply)
    makers = {part: maker_of(run.catalogue, part) for part in PARTS}
    prices = {one.product.product: prices_alone(one.options.values()) for one in products}
    build = {(m.name, o.part): o.name for m in family.members for o in m.options}

    def name(product: str, part: str) -> str:
        return build[product, part]

    tag = Build(name("barrel-tag", "quorvane-tib"), second and name("barrel-tag", second))
    plan = priced(
        family,
        {"barrel-tag": tag, "must-probe": Build(name("must-probe", "quorvane-tib"))},
    )
    # 490 and 800 pieces, or 700 and 800: both beyond a thousand, sold by 25
    count = 1290 if second else 1500
    pieces = math.ceil(count / 25) * 25
    each = (1000 * 2.76 + (pieces - 1000) * 1.84) / count
    bought = {one.item: one for one in plan.bought}
    assert bought["quorvane-tib"].total / count == pytest.approx(each, rel=1e-9)
    lead = run.catalogue.parts["quorvane-tib"].price
    assert lead is not None
    assert lead.lead_time is not None
    tib = Source("quorvane-tib", makers["quorvane-tib"], each, lead.lead_time.nominal, "active")
    found = at_what_is_paid(run.family, run.catalogue, makers, prices, plan)
    probe = of_part(Need("must-probe", 800, 5.0), tib, outlook)
    assert sum(risk.cost for risk in found["must-probe"]) == pytest.approx(probe.cost, rel=1e-9)
    assert probe.allocation is not None
    assert weeks_held(found["must-probe"]) == probe.allocation.weeks
    need = Need("barrel-tag", 700, 3.0)
    whole = of_part(need, tib, outlook)
    if second is not None:
        ruv = run.catalogue.parts[second]
        assert ruv.price is not None
        assert bought[second].from_stock == 150
        paid = bought[second].total / (210 - 150)
        time = None if ruv.price.lead_time is None else ruv.price.lead_time.nominal
        other = Source(second, makers[second], paid, time, ruv.lifecycle)
        whole = of_two_sources(need, tib, other, 0.3, outlook)
    assert sum(risk.cost for risk in found["barrel-tag"]) == pytest.approx(whole.cost, rel=1e-9)


def test_risks_of_a_part_that_stock_meets_go_by_its_own_price(
    made: tuple[FamilyRun, list[Joined], dict[str, Supplied], Family],
) -> None:
    """Nobody pays for a piece of it, and what is kept in store is not for nothing."""
    run, products, risks, family = made
    stocked = replace(
        family,
        items=tuple(replace(i, stock=5000) if i.name == "ostrel-ruv" else i for i in family.items),
    )
    builds = {
        m.name: Build(next(o.name for o in m.options if o.part == "ostrel-ruv"))
        for m in family.members
    }
    makers = {part: maker_of(run.catalogue, part) for part in PARTS}
    prices = {one.product.product: prices_alone(one.options.values()) for one in products}
    plan = priced(stocked, builds)
    found = at_what_is_paid(run.family, run.catalogue, makers, prices, plan)
    for product, of in found.items():
        assert of == (risks[product].alone["ostrel-ruv"],)
