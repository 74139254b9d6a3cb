"""`family` on the shipped family: what it promises holds figure by figure."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest

from advisor.catalogue.families import FamilyRun, load_family
from advisor.decide.family_supply import outlook_of
from advisor.decide.supply_risk import Need, Source, of_part
from advisor.faults import FaultError
from advisor.present.family import answer, family_page
from advisor.present.machine import to_json
from advisor.studies.family import family, joined_products, planned
from advisor.studies.family_results import FamilyPlan

pytestmark = pytest.mark.once

DRAWS = 60
PARTS = ("ostrel-goz", "ostrel-ruv", "quorvane-jor", "quorvane-sij", "quorvane-tib", "tessimur-rud")


def run_of(*changes: str) -> FamilyRun:
    """The shipped family with the parts that matter to it."""
    run = load_family("vineyard", changes=changes)
    return replace(run, catalogue=run.catalogue.only(PARTS))


@pytest.fixture(scope="module")
def plan() -> FamilyPlan:
    return family(run_of(), draws=DRAWS)


def again(plan: FamilyPlan, *changes: str, aim: str = "cost", plans: int = 0) -> FamilyPlan:
    """A plan for the same evaluated products under other limits."""
    return planned(run_of(*changes), plan.joined, aim, plans, 60.0, DRAWS, 1)


def test_the_saving_is_proven_line_by_line(plan: FamilyPlan) -> None:
    *lines, total = plan.lines
    assert total.line == "all"
    for name in ("separate", "pooled", "together", "saving"):
        assert math.fsum(getattr(one, name) for one in lines) == pytest.approx(
            getattr(total, name), rel=1e-12, abs=1e-9
        )
    for one in plan.lines:
        assert one.saving == pytest.approx(one.separate - one.together, abs=1e-9)
    assert plan.saving == total.saving
    assert plan.separate_cost == total.separate
    assert plan.cost == pytest.approx(math.fsum(one.cost for one in plan.plan), rel=1e-12)
    by_line = {one.line: one.together for one in lines}
    for name, amount in by_line.items():
        parts = math.fsum(one.lines.get(name, 0.0) for one in plan.plan)
        assert parts == pytest.approx(amount, rel=1e-12, abs=1e-9)
    for kind, name in (("part", "parts"), ("cell", "cells"), ("converter", "converters")):
        bought = math.fsum(one.total for one in plan.purchases if one.kind == kind)
        assert bought == pytest.approx(by_line.get(name, 0.0), abs=1e-9)


def test_the_shipped_family_chooses_otherwise_than_its_products_and_saves(plan: FamilyPlan) -> None:
    assert plan.status == "optimal"
    assert plan.gap is not None
    assert plan.gap <= 1e-6
    assert plan.saving is not None
    assert plan.saving > 0
    assert any(one.part != one.alone for one in plan.plan)
    total = plan.lines[-1]
    assert total.pooled > total.together, "choosing together saves beyond buying together"


def test_what_each_product_loses_is_against_the_first_of_its_shortlist(plan: FamilyPlan) -> None:
    for one, joined in zip(plan.plan, plan.joined, strict=True):
        first = joined.evaluation.candidates[0]
        assert one.favourite == first.part.part
        assert one.favourite_score == first.score
        assert one.gives_up == pytest.approx(first.score - one.score, abs=1e-9)
        assert one.gives_up >= -1e-9


def test_next_best_plans_put_other_parts_into_products_and_cost_no_less(plan: FamilyPlan) -> None:
    mine = {one.product: one.part for one in plan.plan}
    seen = [mine]
    assert plan.cost is not None
    costs = [plan.cost]
    for other in plan.alternatives:
        assert dict(other.parts) not in seen
        seen.append(dict(other.parts))
        costs.append(other.cost)
        assert other.regret is not None
        assert other.regret >= 0
    assert costs == sorted(costs)
    assert len(costs) == 4
    assert plan.regret is not None
    assert plan.regret <= min(o.regret for o in plan.alternatives if o.regret is not None)


def test_a_contradiction_in_the_limits_is_named(plan: FamilyPlan) -> None:
    found = again(plan, "vineyard:limits={parts: 1, engineering: 2 h, capital: 1000000}")
    assert found.status == "infeasible"
    assert not found.plan
    assert found.conflict
    assert not any("capital" in words for words in found.conflict)
    # without any one of them the others hold: here both of two
    assert len(found.conflict) <= 2
    page = family_page(found, 80).plain()
    assert "No plan keeps all limits" in page
    for words in found.conflict:
        assert words.split(" at ")[0] in " ".join(page.split())


def test_limits_bind_and_are_priced(plan: FamilyPlan) -> None:
    tight = again(plan, "vineyard:limits={parts: 1}")
    assert len(tight.adopted) == 1
    price = next(one for one in tight.limits if "part" in one.limit)
    assert price.saving is not None
    looser = again(plan, "vineyard:limits={parts: 2}")
    assert tight.cost is not None
    assert looser.cost is not None
    assert price.saving == pytest.approx(tight.cost - looser.cost, abs=1e-6 * tight.cost)


def test_the_aim_is_kept_to(plan: FamilyPlan) -> None:
    best = again(plan, "vineyard:limits={cost: 60000}", aim="score")
    assert best.score is not None
    assert plan.score is not None
    assert best.score >= plan.score - 1e-6
    assert best.cost is not None
    assert best.cost <= 60000 * (1 + 1e-6)
    front = again(plan, "vineyard:limits={parts: 2}", aim="front").front
    assert len(front) >= 2
    costs, scores = [p.cost for p in front], [p.score for p in front]
    assert costs == sorted(costs)
    assert scores == sorted(scores)


def test_a_second_source_is_taken_where_it_is_worth_more_than_it_costs(plan: FamilyPlan) -> None:
    likely = "vineyard:supply.allocation={every: 2 years, lasts: 40 weeks}"
    no_store = "vineyard:supply.holding=400 %/year"  # as where parts do not keep
    dear = "vineyard:products.frost-post.missed-unit=40"
    second = [
        f"vineyard:products.frost-post.{one}"
        for one in ("second-source=allowed", "second-share=40 %", "porting=20 h")
    ]
    found = again(plan, likely, no_store, dear, *second, "vineyard:limits={parts: 5}")
    post = found.plan[0]
    assert post.second is not None
    assert post.first.maker != post.second.maker
    assert post.first.units + post.second.units == post.units
    risk = next(one for one in found.supply if one.product == "frost-post")
    assert risk.total < risk.alone
    calm = again(plan, *second)
    assert calm.plan[0].second is None


def test_an_answer_is_the_same_twice_and_json_has_the_agreed_keys(plan: FamilyPlan) -> None:
    one, two = (to_json(again(plan)) for _ in range(2))
    assert one == two
    told = json.loads(to_json(plan))
    assert {"status", "objective", "bound", "adopted", "separate_cost", "saving"} <= set(told)
    assert {"product", "part", "cell", "converter", "addons", "cost"} <= set(told["plan"][0])
    assert told["conflict"] == []


def test_the_screen_fits_and_says_what_was_taken_for_granted(plan: FamilyPlan) -> None:
    page = family_page(plan, 80).plain()
    lines = page.splitlines()
    assert max(map(len, lines)) <= 80
    assert len(lines) <= 75
    for text in answer(plan):
        assert " ".join(text.split()) in " ".join(page.split())
    assert "toolchain-share" in page
    assert "button cells kill children" in page


def test_the_prices_behind_the_risks_of_supply_are_told(plan: FamilyPlan) -> None:
    """By the closed forms once more, with what the plan pays for a piece."""
    words = "risks of supply are priced at what each product pays for its part by itself"
    (told,) = (text for text in plan.assumed if text.startswith(words))
    assert told in json.loads(to_json(plan))["assumed"]
    assert told in " ".join(family_page(plan, 80).plain().split())
    run = run_of()
    assert run.family.supply is not None
    outlook = outlook_of(run.family.supply)
    less, held = 0.0, []
    for member, one, risk in zip(run.family.products, plan.plan, plan.supply, strict=True):
        price = run.catalogue.parts[one.part].price
        assert price is not None
        assert price.lead_time is not None
        assert member.missed_unit is not None
        each = one.lines["parts"] / one.units
        source = Source(one.part, one.first.maker, each, price.lead_time.nominal, "active")
        there = of_part(Need(one.product, one.units, member.missed_unit.nominal), source, outlook)
        less += risk.total - there.cost
        assert there.allocation is not None
        if there.allocation.weeks != risk.buffer_weeks:
            held.append(f"{there.allocation.weeks} weeks of {one.product}")
    assert less > 0.01
    assert held
    would = f"be EUR {less:.2f} less and ask to hold {', '.join(held)}"
    assert told == f"{words}; at what this plan pays they would {would}"
    # where there is no plan, and where each buys for itself, there is nothing to hold against it
    assert words in again(plan, "vineyard:limits={parts: 1, engineering: 2 h}").assumed
    alone = run_of("vineyard:products=[{product: barrel-tag, missed-unit: 2}]")
    assert words in family(alone, draws=0, plans=0).assumed
    certain = run_of("vineyard:products=[{product: barrel-tag}]", "vineyard:supply=null")
    found = family(certain, draws=0, plans=0).assumed
    assert not any("risks of supply" in text for text in found)


def test_the_rates_behind_amounts_in_other_currencies_are_told(plan: FamilyPlan) -> None:
    assert not any("exchanged" in text for text in plan.assumed)
    whole = load_family("vineyard")
    run = replace(whole, catalogue=whole.catalogue.only([*PARTS, "ostrel-cag"]))
    found = family(run, draws=0)
    assert "exchanged at 1 USD = 0.92 EUR (cost.rates)" in found.assumed


def test_a_product_that_nothing_fits_is_told_by_name() -> None:
    run = run_of("barrel-tag:cost.unit-cost-limit=0.01")
    with pytest.raises(FaultError, match="barrel-tag"):
        joined_products(run, 0, 1)


def test_a_part_that_cannot_be_bought_is_left_out_where_supply_counts(plan: FamilyPlan) -> None:
    assert any("cannot be bought" in one.why for one in plan.left_out) == any(
        part.lifecycle in ("announced", "ended")
        for joined in plan.joined
        for part in (c.part for c in joined.evaluation.candidates)
    )


def test_what_an_add_on_warns_of_stands_among_the_cautions() -> None:
    changes = (
        "vineyard:products=[{product: barrel-tag, missed-unit: 2}]",
        "barrel-tag:add-ons=allowed",
        "barrel-tag:needs.features.adc-bits=16",
        "fine-gauge:cautions=[keep it dry]",
        "swift-gauge:cautions=[keep it dry]",
    )
    found = family(run_of(*changes), draws=0, plans=0)
    (one,) = found.plan
    assert one.addons
    assert any("keep it dry" in text and one.addons[0] in text for text in found.cautions)
