"""What to measure next: shipped products, and a synthetic one whose top gap truly matters."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from advisor.catalogue.levers import lever
from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.catalogue.shipped import load, product_files
from advisor.decide.evaluate import evaluate
from advisor.model.draws import Trace
from advisor.present.gaps import gaps_page
from advisor.present.machine import to_csv, to_json
from advisor.studies.gaps import gaps
from advisor.studies.shortlist import shortlist
from tests.studies.small import loaded, part

pytestmark = pytest.mark.once

PRODUCT = """
product: plain
invented: true
life-target: 5 years
environment: [{at: 20 degC, share: 1}]
workload: [{task: sample, every: 10 s, kernels: {crc: 1}}]
supply-options: {cells: [{budget: 500 mAh, voltage: 3.0 V}], converters: [none]}
priorities: {battery-life: {weight: 1, poor: 0 years, good: 40 years}}
"""


# the same where a cost is weighed too, of a rate and a number of units
PRICED = PRODUCT.replace(
    "priorities: {battery-life: {weight: 1, poor: 0 years, good: 40 years}}",
    """
cost: {currency: EUR, units: UNITS, engineer-rate: 90 EUR/h}
priorities:
  battery-life: {weight: 3, poor: 0 years, good: 40 years}
  purchase-cost: {weight: 1, poor: 6.00, good: 1.00}
""",
)
VAGUE = "vague:sleep-states.ram-kept.current.25 degC"


def priced(root: Path, units: int, more: str = "") -> tuple[Catalogue, Product]:
    """Two parts, of one the sleep current is hardly known, and so many units of the product."""
    parts = {
        "vague": part("vague", sleep="{25 degC: 2.00(30) µA}", breaks="{1: 1.50(2)}"),
        "sharp": part("sharp", sleep="{25 degC: 2.00(1) µA}", breaks="{1: 1.50}"),
    }
    return loaded(root, parts, PRICED.replace("UNITS", str(units)) + more)


def two(root: Path, seed: int) -> tuple[Catalogue, Product]:
    """Two parts nearly alike: the sleep current of one is hardly known, the kernels are."""
    rng = np.random.default_rng(seed)
    sleep = 2.0 * rng.uniform(0.98, 1.02)
    figures = {
        "vague": (
            f"4.00({rng.integers(1, 3)}) mA",
            f"{sleep:.3f} ± {rng.uniform(0.2, 0.35):.3f} µA",
        ),
        "sharp": (f"4.00({rng.integers(1, 3)}) mA", "2.00(1) µA"),
    }
    parts = {
        name: part(name, kernel=kernel, sleep=f"{{25 degC: {current}}}")
        for name, (kernel, current) in figures.items()
    }
    return loaded(root, parts, PRODUCT)


def test_the_vague_figure_comes_first(tmp_path: Path) -> None:
    found = gaps(*two(tmp_path, 1))
    top = found.figures[0]
    assert top.path == "vague:sleep-states.ram-kept.current.25 degC"
    assert top.worth_it
    assert top.score == pytest.approx(found.evpi_score, rel=0.15)
    assert (
        found.advice
        == "First measure the sleep current in ram-kept at 25 degC of vague with a better meter."
    )
    assert {g.path for g in found.groups} == {"vague", "sharp"}


def test_measuring_the_top_gap_moves_the_verdict_more_than_the_last(tmp_path: Path) -> None:
    moved = {"top": [], "last": []}  # type: dict[str, list[float]]
    for seed in range(8):
        inputs = two(tmp_path / str(seed), seed)
        found = gaps(*inputs, draws=1000)
        before = shortlist(*inputs, draws=1000).ranking[0].first_place_probability
        for which, gap in (("top", found.figures[0]), ("last", found.figures[-1])):
            text = {"vague:sleep": "2.0 µA", "sharp:sleep": "2.0 µA"}.get(gap.path[:11], "4 mA")
            there = with_changes(*inputs, [f"{gap.path}={text}"])
            after = shortlist(*there, draws=1000).ranking[0].first_place_probability
            assert before is not None
            assert after is not None
            moved[which].append(abs(after - before))
    assert np.mean(moved["top"]) > np.mean(moved["last"])


def test_nothing_is_worth_measuring_where_the_choice_is_plain() -> None:
    found = gaps(*load("valve-driver"), draws=1000)
    assert found.evpi_score == pytest.approx(0.0, abs=1e-9)
    assert found.advice.startswith("Nothing is worth measuring")
    assert not any(g.worth_it for g in (*found.figures, *found.groups))


@pytest.mark.parametrize("name", sorted(product_files()))
def test_the_document(name: str) -> None:
    inputs = load(name)
    found = gaps(*inputs, draws=400)
    told = json.loads(to_json(found))
    assert told.keys() >= {"evpi_score", "evpi_money", "figures"}
    assert told["figures"][0].keys() >= {"path", "score", "money", "error"}
    scores = [g.score for g in found.figures]
    assert scores == sorted(scores, reverse=True)
    # no figure is worth more than all of them, give or take its error
    assert all(g.score <= found.evpi_score + 4 * g.error + 1e-9 for g in found.figures)
    assert to_json(gaps(*inputs, draws=400, jobs=2)) == to_json(found)


def test_a_figure_is_named_as_the_file_writes_it() -> None:
    catalogue, product = load("frost-post")
    found = gaps(catalogue, product, draws=500)
    assert len(found.figures) > 10
    for gap in found.figures:
        if not gap.path.startswith("instrument ") and ".maturity." not in gap.path:
            handle = lever(catalogue, product, gap.path)
            assert handle.u > 0, gap.path


@pytest.mark.parametrize(("units", "worth_it"), [(10, False), (20_000, True)])
def test_worth_is_weighed_against_effort(tmp_path: Path, units: int, worth_it: bool) -> None:
    found = gaps(*priced(tmp_path, units), draws=2000)
    assert found.no_net is None
    assert found.engineer_rate == 90.0
    top = found.figures[0]
    assert top.path == VAGUE
    # purchase-cost has a quarter of the weight, and 5.00 between its anchors: 0.20 a point
    assert top.money == pytest.approx(0.2 * top.score, rel=1e-9)
    assert top.worth_money == pytest.approx(0.2 * top.score * units, rel=1e-9)
    assert (top.effort_h, top.effort_money) == (2.0, 180.0)
    assert top.net is not None
    assert top.net == pytest.approx(0.2 * top.score * units - 180.0, rel=1e-9)
    assert top.score > 2 * top.error
    assert top.worth_it == worth_it == (top.net > 0)
    assert top.usual_hours == ("sleep-current",)
    assert "sleep-current" in found.usual_hours
    if worth_it:
        assert "sleep current in ram-kept at 25 degC of vague" in found.advice
        assert found.advice.startswith("First ")
    else:
        assert found.advice.startswith("Nothing is worth measuring. The nearest is to ")
        assert "of effort." in found.advice


def test_stated_hours_decide(tmp_path: Path) -> None:
    dear = gaps(*priced(tmp_path / "a", 5000), draws=2000)
    assert dear.figures[0].worth_it
    more = "measuring: {hours: {sleep-current: 4000 h}}\n"
    for_nothing = gaps(*priced(tmp_path / "b", 5000, more), draws=2000)
    top = for_nothing.figures[0]
    assert (top.path, top.effort_h, top.effort_money) == (VAGUE, 4000.0, 360_000.0)
    assert not top.worth_it
    # what is stated is no default
    assert top.usual_hours == ()
    assert "sleep-current" not in for_nothing.usual_hours
    assert [g.score for g in dear.figures] == [g.score for g in for_nothing.figures]


def test_a_group_takes_its_distinct_measurements(tmp_path: Path) -> None:
    vague = part("vague", time="2.0(2) ms", kernel="4.0(4) mA", sleep="{25 degC: 2.0(3) µA}")
    inputs = loaded(tmp_path, {"vague": vague, "sharp": part("sharp")}, PRODUCT)
    found = gaps(*inputs, draws=400)
    (group,) = [g for g in found.groups if g.path == "vague"]
    assert len(group.members) == 3
    # one run gives time and current of the kernel; with the sleep current two measurements
    assert group.effort_h == 4.0
    assert [g.effort_h for g in found.figures] == [2.0] * 3


@pytest.mark.parametrize(
    ("change", "lacks"),
    [
        ("plain:priorities={battery-life: {weight: 1, poor: 0 years, good: 40 years}}", "cost is"),
        ("plain:cost={currency: EUR, units: 5000}", "engineer's rate"),
    ],
)
def test_without_money_points_alone_decide(tmp_path: Path, change: str, lacks: str) -> None:
    found = gaps(*with_changes(*priced(tmp_path, 5000), [change]), draws=2000)
    assert found.no_net is not None
    assert lacks in found.no_net
    top = found.figures[0]
    assert (top.path, top.net) == (VAGUE, None)
    assert top.worth_it == (top.score > max(2 * top.error, 0.005))
    assert top.worth_it
    assert top.best_measurements is None
    assert [s.net for s in top.samples] == [None] * 3
    page = " ".join(gaps_page(found, 0).plain().split())
    assert f"Worth it goes by points alone, above 0.005, as {found.no_net}." in page


def test_more_measurements_of_the_vague_figure(tmp_path: Path) -> None:
    catalogue, product = priced(tmp_path, 20_000)
    found = gaps(catalogue, product)
    top = found.figures[0]
    assert [s.measurements for s in top.samples] == [1, 4, 16]
    values = [s.score for s in top.samples]
    assert values == sorted(values)
    assert values[-1] <= top.score <= found.evpi_score + 4 * top.error
    # by the closed form: to act or not on what n readings, each as uncertain as the figure, tell;
    # the lead is nearly linear in the current, whose share in its variance is R squared
    trace: Trace = {}
    scores = evaluate(catalogue, product, 8000, 1, 1, None, trace).scores()
    lead = scores[0] - scores[1]
    x = next(v for k, v in trace.items() if str(k) == VAGUE)
    spread = abs(float(np.corrcoef(lead, x)[0, 1])) * float(lead.std())
    for sample in top.samples:
        n = sample.measurements
        learnt = spread * np.sqrt(n / (n + 1))
        c = abs(float(lead.mean())) / learnt
        exact = learnt * (stats.norm.pdf(c) - c * stats.norm.sf(c))
        # the lead bends a little, as life goes by the inverse of the current
        assert sample.score == pytest.approx(exact, rel=0.08)
        assert sample.effort_h == 2.0 * n
        assert sample.effort_money == 180.0 * n
        assert sample.net == pytest.approx(0.2 * sample.score * 20_000 - 180.0 * n, rel=1e-9)
    best = max(top.samples, key=lambda s: s.net or 0.0)
    assert top.best_measurements == best.measurements


def test_few_measurements_are_best_where_hours_are_dear(tmp_path: Path) -> None:
    best = []
    for units in (20_000, 3_000_000):
        top = gaps(*priced(tmp_path / str(units), units), draws=2000).figures[0]
        best.append(top.best_measurements)
    assert best[1] == 16
    assert best[0] is not None
    assert best[0] < 16


def test_enquiries_are_not_repeated(tmp_path: Path) -> None:
    inputs = priced(tmp_path, 20_000)
    found = gaps(*with_changes(*inputs, ["vague:price.breaks.1=1.5(5)"]), draws=2000)
    quoted = next(g for g in found.figures if g.path == "vague:price.breaks.1")
    assert quoted.score > 2 * quoted.error
    assert quoted.samples == ()
    assert quoted.effort_h == 1.0


def test_rows_and_screen_tell_efforts_and_samples(tmp_path: Path) -> None:
    found = gaps(*priced(tmp_path, 20_000), draws=2000)
    row = found.rows()[0]
    top = found.figures[0]
    assert row["path"] == VAGUE
    assert (row["effort_h"], row["net"]) == (2.0, top.net)
    assert [row[f"evsi_{n}"] for n in (1, 4, 16)] == [s.score for s in top.samples]
    assert found.rows()[-1]["evsi_1"] is None
    assert list(found.rows()[-1]) == list(row)
    page = gaps_page(found, 0).plain()
    assert "EUR in all  hours  net EUR  worth it" in page
    assert "How many more" in page
    assert "as the figure stands now" in " ".join(page.split())
    assert "(common practice, no source): " in page
    assert "sleep-current 2 h" in page
    # how it is reckoned is folded
    assert "twice its standard error" not in page
    assert "2000 draws, seed 1 (how it is reckoned: --all)" in page
    assert "twice its standard error" in gaps_page(found, 0, everything=True).plain()
    assert to_csv(found.rows()).splitlines()[0].endswith("evsi_1,evsi_4,evsi_16")


def test_a_worth_too_small_a_unit_to_be_seen_is_said(tmp_path: Path) -> None:
    sure = ["vague:sleep-states.ram-kept.current.25 degC=2.00(1) µA", "sharp:price.breaks.1=1.59"]
    for units, told in ((100, False), (9_000_000, True)):
        inputs = with_changes(*priced(tmp_path / str(units), units), sure)
        found = gaps(*inputs, draws=2000)
        assert 0 < found.evpi_score < 0.005
        assert found.advice.startswith("Nothing is worth measuring: the choice is the best")
        assert ("too little a unit to be told from chance" in found.advice) == told


def test_nothing_fits_nothing_to_measure() -> None:
    found = gaps(*load("barrel-tag", changes=["barrel-tag:needs.memory.flash=9 MiB"]), draws=100)
    assert found.chosen is None
    assert found.figures == ()
    assert "Nothing fits" in found.advice


def test_another_build_of_the_part_may_be_taken_once_more_is_known(tmp_path: Path) -> None:
    """One part on two budgets of charge, of one hardly known: which is taken is what it is worth.

    Life goes by the charge, so that worths are those of two acts with a normal gain between them
    (Raiffa & Schlaifer 1961).
    """
    cells = "[{budget: 500(60) mAh, voltage: 3.0 V}, {budget: 490 mAh, voltage: 3.0 V}]"
    product = PRODUCT.replace("[{budget: 500 mAh, voltage: 3.0 V}]", cells)
    inputs = loaded(tmp_path, {"alone": part("alone", sleep="5.00(1) µA")}, product)
    found = gaps(*inputs)
    assert (found.chosen, found.fitting) == ("alone", 1)
    points = shortlist(*inputs).ranking[0].score / 500
    ahead, spread = 10 * points, 60 * points
    top = found.figures[0]
    assert ".budget" in top.path
    # all of its variance, and what n readings as uncertain as it is tell of it
    asked = [(1.0, found.evpi_score, 0.06), (1.0, top.score, 0.06)]
    asked += [(s.measurements / (s.measurements + 1), s.score, 0.1) for s in top.samples]
    for share, worth, within in asked:
        told = spread * np.sqrt(share)
        c = ahead / told
        assert worth == pytest.approx(told * (stats.norm.pdf(c) - c * stats.norm.sf(c)), rel=within)
    page = " ".join(gaps_page(found, 0).plain().split())
    assert "one takes alone, the only part that fits. Knowing" in page
    sure = gaps(*with_changes(*inputs, [f"{top.path}=500 mAh"]), draws=400)
    assert sure.advice.startswith("Nothing is worth measuring: no other part fits, and its build")


def test_a_group_is_worth_no_less_than_its_members(tmp_path: Path) -> None:
    for seed in range(6):
        found = gaps(*two(tmp_path / str(seed), seed), draws=500)
        alone = {g.path: g.score for g in found.figures}
        for group in found.groups:
            assert group.score >= max(alone[path] for path in group.members)
