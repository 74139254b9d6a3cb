"""Explanations add up, and say who is out and why."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.catalogue.load import with_changes
from advisor.catalogue.shipped import load, product_files
from advisor.faults import FaultError
from advisor.present.explanation import explanation_page
from advisor.studies.explain import Explanation, NotRankedError, explain
from advisor.studies.shortlist import shortlist
from tests.shares import mostly_slow
from tests.studies.small import loaded, part

pytestmark = pytest.mark.once

PRODUCTS = sorted(product_files())


@pytest.fixture(scope="module", params=mostly_slow(PRODUCTS, 3))
def explained(request: pytest.FixtureRequest) -> list[Explanation]:
    inputs = load(request.param)
    found = []
    for draws in (0, 400):
        order = [p.part for p in shortlist(*inputs, draws=draws).ranking]
        some: list[tuple[str, str | None]] = [
            (order[0], None),
            (order[1], None),
            (order[len(order) // 2], None),
        ]
        some += [(order[len(order) // 2], None), (order[-1], None), (order[-1], order[2])]
        found += [explain(*inputs, part, over, draws=draws) for part, over in some]
    return found


def test_points_add_up_to_the_scores(explained: list[Explanation]) -> None:
    for found in explained:
        assert sum(i.points for i in found.score) == pytest.approx(found.points, rel=1e-12)
        assert found.over_points is not None
        over = [i.over_points for i in found.score]
        assert sum(o for o in over if o is not None) == pytest.approx(found.over_points, rel=1e-12)


def test_differences_add_up_to_the_difference(explained: list[Explanation]) -> None:
    for found in explained:
        assert found.over_points is not None
        gap = found.points - found.over_points
        parts = [i.difference for i in found.score if i.difference is not None]
        # a difference of numbers below 100: rounding is of the order of 1e-14
        assert sum(parts) == pytest.approx(gap, abs=1e-11)


def test_currents_add_up_to_what_the_pack_gives(explained: list[Explanation]) -> None:
    for found in explained:
        assert sum(c.share for c in found.current) == pytest.approx(1.0, rel=1e-12)
        assert all(c.a >= -1e-15 for c in found.current)
        total = sum(c.a for c in found.current)
        lost = sum(c.a for c in found.current if c.consumer == "self-discharge")
        assert total - lost == pytest.approx(found.power.battery_current_a, rel=1e-9)
        # one current of one build, wherever it is told
        assert found.builds[0].battery_current_a == found.power.battery_current_a
        # the charge that the pack gives lasts the life that is told
        assert found.charge_c is not None
        assert found.charge_c / total == pytest.approx(found.battery_life_s.nominal, rel=1e-9)
        ordered = [c.a for c in found.current]
        assert ordered == sorted(ordered, reverse=True)


def test_money_adds_up_to_the_lifetime_cost(explained: list[Explanation]) -> None:
    for found in explained:
        amounts = [i.amount for i in found.money]
        assert all(a is not None for a in amounts)
        assert sum(a for a in amounts if a is not None) == pytest.approx(found.cost.told, rel=1e-12)


def test_the_plan_is_no_better_than_its_bound(explained: list[Explanation]) -> None:
    for found in explained:
        assert found.plan.bound_a is not None
        assert found.plan.bound_a <= found.plan.practical_a * (1 + 1e-12)


def test_the_chosen_build_comes_first(explained: list[Explanation]) -> None:
    for found in explained:
        assert found.builds[0].build == found.build
        assert found.builds[0].difference == 0
        drawn = found.cost.expected is not None
        scores = [b.expected if drawn else b.score for b in found.builds]
        assert None not in scores
        # a build may be a twentieth of a point short of the best
        ordered = sorted((s for s in scores if s is not None), reverse=True)
        assert scores == pytest.approx(ordered, abs=0.05 if drawn else 1e-9)
        assert len(found.builds) <= found.builds_in_all


def test_reasons_name_the_numbers(explained: list[Explanation]) -> None:
    for found in explained:
        text = "\n".join(found.reasons)
        assert str(found.over) in text
        assert "the battery's life ends because" in text
        gained = [i for i in found.score if i.difference is not None and abs(i.difference) >= 0.05]
        assert all(i.criterion in text for i in gained)


def test_who_is_beaten_by_every_criterion_gains_by_none(explained: list[Explanation]) -> None:
    for found in explained:
        beaten = [text for text in found.reasons if text.startswith("beaten or met by every")]
        if any(str(found.over) in text for text in beaten):
            assert all((item.difference or 0.0) <= 1e-9 for item in found.score)


def test_a_longer_life_in_some_draws_is_not_beaten() -> None:
    """Both last their shelf life as stated, and one of them longer where draws cut it short."""
    inputs = load("barrel-tag")
    expected, stated = (
        "\n".join(explain(*inputs, "tessimur-mub", "quorvane-tib", draws=n).reasons)
        for n in (2000, 0)
    )
    assert "gains 0.1 points by battery-life" in expected
    assert "beaten or met" not in expected
    assert "beaten or met by every criterion by quorvane-tib" in stated


def test_breakdown_and_current_agree_without_a_converter() -> None:
    inputs = load("barrel-tag", changes=["barrel-tag:supply-options.converters=[none]"])
    part = shortlist(*inputs, draws=0).ranking[0]
    found = explain(*inputs, part.part)
    sleep = next(c.a for c in found.current if c.consumer.startswith("sleep"))
    assert sleep == pytest.approx(part.power.breakdown_a.sleep, rel=1e-12)
    for task, amount in part.power.breakdown_a.tasks.items():
        # what a task draws stands there state by state
        mine = sum(c.a for c in found.current if c.consumer.startswith(f"{task}:"))
        assert mine == pytest.approx(amount, rel=1e-12)


def test_a_part_that_is_screened_out_says_why() -> None:
    inputs = load("frost-post")
    out = shortlist(*inputs, draws=0).screened_out[0]
    with pytest.raises(NotRankedError, match=f"{out.part} is screened out: {out.failed[0].need}"):
        explain(*inputs, out.part)


def test_a_part_that_lacks_figures_names_them() -> None:
    inputs = load("frost-post")
    aside = shortlist(*inputs, draws=0).set_aside[0]
    with pytest.raises(NotRankedError, match=aside.missing[0]):
        explain(*inputs, aside.part)


def test_unknown_parts_and_a_part_over_itself_are_faults() -> None:
    inputs = load("frost-post")
    with pytest.raises(FaultError) as caught:
        explain(*inputs, "quorvane-sijj")
    assert caught.value.faults[0].nearest == "quorvane-sij"
    with pytest.raises(FaultError):
        explain(*inputs, "quorvane-sij", "quorvane-sij")


def test_it_says_when_more_is_bought_than_needed(tmp_path: Path) -> None:
    breaks = "{1: 2.00, 100: 0.98, 1000: 0.71}"
    product = PLAIN.replace("UNITS", "999")
    found = explain(*loaded(tmp_path / "a", {"one": part("one", breaks=breaks)}, product), "one")
    # a thousand at 0.71 for 710.00, where 999 at 0.98 were 979.02
    (item,) = [m for m in found.money if m.item == "one"]
    assert (item.needed, item.bought) == (999, 1000)
    assert item.amount == pytest.approx(710 / 999, rel=1e-12)
    words = "one: 1000 pieces are bought where 999 are needed, as no smaller purchase costs less"
    assert words in found.reasons
    assert "one (1000 bought for 999)" in explanation_page(found, 0).plain()
    product = PLAIN.replace("UNITS", "700")
    found = explain(*loaded(tmp_path / "b", {"one": part("one", breaks=breaks)}, product), "one")
    (item,) = [m for m in found.money if m.item == "one"]
    assert (item.needed, item.bought) == (700, 700)
    assert not any("are bought" in text for text in found.reasons)


PLAIN = """
product: plain
invented: true
life-target: 2 years
environment: [{at: 20 degC, share: 1}]
workload: [{task: sample, every: 10 s, kernels: {crc: 3}}]
supply-options: {cells: [{budget: 2000 mAh, voltage: 3.0 V}], converters: [none]}
cost: {currency: EUR, units: UNITS, engineer-rate: 80 EUR/h, service-visit: 10, tools: 0}
service-life: 1 years
priorities: {lifetime-cost: {weight: 1, poor: 40, good: 0}}
"""


def test_the_plan_is_that_of_the_chosen_feed() -> None:
    """What the draws choose may stand on another feed than what leads at the stated values."""
    catalogue, product = load("frost-post")
    found = explain(catalogue, product, "quorvane-sij", draws=400)
    stated = explain(catalogue, product, "quorvane-sij")
    assert found.build.converter != stated.build.converter
    alone = with_changes(
        catalogue,
        product,
        [
            f"frost-post:supply-options.cells=[{{cell: {found.build.cell}}}]",
            f"frost-post:supply-options.converters=[{found.build.converter}]",
        ],
    )
    assert explain(*alone, "quorvane-sij", draws=400).plan == found.plan


@pytest.mark.parametrize(
    ("one", "other", "rates"),
    [
        ("ostrel-cag", "quorvane-tib", {"USD": 0.92}),
        ("quorvane-tib", "ostrel-cag", {"USD": 0.92}),
        ("quorvane-tib", "quorvane-sij", {}),
    ],
)
def test_it_tells_the_rates_behind_the_amounts_of_both(
    one: str, other: str, rates: dict[str, float]
) -> None:
    found = explain(*load("barrel-tag"), one, over=other)
    assert found.rates == rates
    told = "  exchanged at 1 USD = 0.92 EUR"
    assert (told in explanation_page(found, 100).plain().splitlines()) is bool(rates)
