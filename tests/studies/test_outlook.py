"""The decision along a lever: closed forms, replays, steps."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path

import pytest

from advisor.catalogue.levers import grid, lever, span
from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.catalogue.shipped import load
from advisor.decide.along import Along, Offer
from advisor.decide.evaluate import evaluate
from advisor.faults import FaultError
from advisor.present.curves import outlook_page
from advisor.present.machine import to_json
from advisor.studies.outlook import document, outlook
from advisor.studies.shortlist import DRAWS, shortlist
from tests.decide.random_catalogues import several, unsure
from tests.shares import mostly_slow
from tests.studies.small import loaded, part

pytestmark = pytest.mark.once

PRODUCT = """
product: plain
invented: true
life-target: 2 years
service-life: 1 years
environment: [{at: 20 degC, share: 1}]
workload: [{task: sample, every: 10 s, kernels: {crc: 3}}]
supply-options: {cells: [{budget: 2000 mAh, voltage: 3.0 V}], converters: [none]}
cost: {currency: EUR, units: 100, engineer-rate: 80 EUR/h, service-visit: 10, tools: 0}
priorities: {lifetime-cost: {weight: 1, poor: 40, good: 0}}
"""
UNITS = "plain:cost.units"


def pair(
    tmp_path: Path, first: str = "{1: 1.00}", second: str = "{1: 2.00}"
) -> tuple[Catalogue, Product]:
    parts = {
        "cheap": part("cheap", kernel="4(1) mA", breaks=first, setup="10 h"),
        "quick": part("quick", kernel="4(1) mA", breaks=second, setup="2 h"),
    }
    return loaded(tmp_path, parts, PRODUCT)


def test_the_break_even_volume_in_closed_form(tmp_path: Path) -> None:
    # (F2 - F1)/(v1 - v2), a textbook break-even: 8 h at 80 over 1.00 a piece is 640 pieces
    found = outlook(*pair(tmp_path), along=[f"{UNITS}=10:100000"], draws=0, points=9)
    (one,) = found.levers
    assert one.break_even is not None
    assert [(c.before, c.to) for c in one.break_even] == [("quick", "cheap")]
    # both cost the same at 640; of equal parts the first by id leads
    assert one.break_even[0].x in (640, 641)
    assert [(c.before, c.to) for c in one.crossings] == [("quick", "cheap")]
    assert one.crossings[0].x in (640, 641)


def test_price_breaks_are_corners(tmp_path: Path) -> None:
    inputs = pair(tmp_path, first="{1: 5.00, 1000: 1.00}")
    found = outlook(*inputs, ["cheap"], along=[f"{UNITS}=100:10000"], draws=0, points=6)
    points = found.levers[0].curves[0].points
    # up to 200 pieces cost 5 each, 1000 in all; then a thousand for 1000 are bought whole, and
    # from there on 1 each; 10 h at 80 for all
    near = {p.x: p.lifetime_cost for p in points if p.step == 1}
    far = {p.x: p.lifetime_cost for p in points if p.step == 2}
    assert near == pytest.approx({200: 5 + 800 / 200, 999: 1800 / 999}, rel=1e-12)
    assert far == pytest.approx({201: 1800 / 201, 1000: 1 + 800 / 1000}, rel=1e-12)


def test_battery_changes_are_steps(tmp_path: Path) -> None:
    inputs = with_changes(*pair(tmp_path), ["plain:service-life=30 years"])
    path = "plain:workload.sample.every"
    found = outlook(*inputs, ["cheap"], along=[f"{path}=1 s:100 s"], draws=0, points=7)
    points = found.levers[0].curves[0].points
    jumps = [(p, q) for p, q in pairwise(points) if p.step == 1]
    assert jumps
    for near, far in jumps:
        assert far.step == 2
        # a hundredth of the lever, as the module says
        assert far.x == pytest.approx(near.x, rel=0.011)
        assert near.lifetime_cost is not None
        assert far.lifetime_cost is not None
        assert near.lifetime_cost - far.lifetime_cost == pytest.approx(10.0, abs=0.2)


def test_a_curve_is_the_shortlist_at_each_place() -> None:
    inputs = load("barrel-tag")
    path = "barrel-tag:workload.sample.every"
    some = ["quorvane-tib", "vantle-gaf"]
    found = outlook(*inputs, some, along=[f"{path}=20 s:90 s"], points=3, draws=500)
    for curve in found.levers[0].curves:
        for point in curve.points:
            if point.step:
                continue
            there = with_changes(*inputs, [f"{path}={point.x:.12g} s"])
            alone = shortlist(there[0].only([curve.part]), there[1], draws=500).ranking[0]
            life = point.battery_life_s
            assert life is not None
            assert life.nominal == pytest.approx(alone.battery_life_s.nominal, rel=1e-12)
            assert life.p05 == pytest.approx(alone.battery_life_s.p05, rel=1e-12)
            assert life.p95 == pytest.approx(alone.battery_life_s.p95, rel=1e-12)
            assert point.lifetime_cost == pytest.approx(alone.cost.expected, rel=1e-12)
            assert point.lifetime_cost_p05 == pytest.approx(alone.cost.p05, rel=1e-12)
            assert point.lifetime_cost_p95 == pytest.approx(alone.cost.p95, rel=1e-12)
            assert point.battery_change == alone.cost.change_probability
            assert point.score == pytest.approx(alone.score, rel=1e-12)


@pytest.mark.parametrize(
    "along",
    [
        "barrel-tag:workload.sample.every=8 s:60 s",
        "barrel-tag:priorities.purchase-cost.weight=1:40",
        "quorvane-tib:price.breaks.10000=0.1:2",
    ],
)
@pytest.mark.parametrize("draws", [0, 500])
def test_a_crossing_replays(along: str, draws: int) -> None:
    catalogue, product = load("barrel-tag")
    catalogue = catalogue.only(["quorvane-tib", "tessimur-mub", "vantle-gaf"])
    found = outlook(catalogue, product, along=[along], draws=draws, points=5)
    (one,) = found.levers
    for crossing in one.crossings:
        there = with_changes(catalogue, product, [f"{one.lever}={crossing.text}"])
        assert shortlist(*there, draws=draws).ranking[0].part == crossing.to
        # the crossing is found to a thousandth
        short = crossing.x * (1 - 2e-3)
        before = with_changes(catalogue, product, [f"{one.lever}={one.handle.text(short)}"])
        assert shortlist(*before, draws=draws).ranking[0].part == crossing.before
    if "weight" not in along:
        assert one.crossings


@pytest.mark.parametrize("product", mostly_slow(["barrel-tag", "frost-post", "valve-driver"], 3))
def test_the_first_part_at_the_value_that_stands_is_the_shortlists(product: str) -> None:
    inputs = load(product)
    base = evaluate(*inputs, DRAWS)
    first = shortlist(*inputs).ranking[0]
    found = outlook(*inputs, points=2, few=16, steps=False, among=4, base=base)
    for one in found.levers:
        handle = lever(*inputs, one.lever)
        assert one.now is not None
        line = Along(*inputs, handle, base, 16)
        assert line.leader(one.now) == first.part
        stands = [c.part for c in one.curves for p in c.points if p.x == one.now]
        assert stands[0] == first.part
        (point,) = [p for p in one.curves[0].points if p.x == one.now]
        assert point.score == first.score
        assert point.lifetime_cost == first.cost.expected
        crossings = [c for c in one.crossings if c.x <= one.now]
        if crossings:
            assert crossings[-1].to == first.part


@pytest.mark.parametrize("seed", range(4))
def test_the_first_part_of_random_products_stands_there_too(seed: int, tmp_path: Path) -> None:
    inputs = unsure(several(seed), seed).load(tmp_path)
    base = evaluate(*inputs, 400)
    if not base.candidates:
        return
    path = "probe:workload.sample.every"
    found = outlook(*inputs, along=[path], points=3, draws=400, few=32, steps=False)
    (one,) = found.levers
    first = base.candidates[0]
    (point,) = [p for p in one.curves[0].points if p.x == one.now]
    assert one.curves[0].part == first.part.part
    assert point.score == first.score


def test_where_nothing_fits_a_curve_has_no_value() -> None:
    inputs = load("barrel-tag")
    found = outlook(
        *inputs, ["quorvane-tib"], along=["barrel-tag:needs.memory.flash=8 KiB:8 MiB"], draws=0
    )
    points = found.levers[0].curves[0].points
    assert points[0].battery_life_s is not None
    assert points[-1].battery_life_s is None
    assert points[-1].score is None
    assert found.levers[0].crossings[-1].to is None


def test_the_usual_levers() -> None:
    catalogue, product = load("barrel-tag")
    catalogue = catalogue.only(["quorvane-tib", "tessimur-mub", "vantle-gaf"])
    found = outlook(catalogue, product, ["quorvane-tib"], draws=0, points=2)
    assert [one.lever for one in found.levers] == [
        "barrel-tag:workload.sample.every",
        "barrel-tag:cost.units",
    ]
    for one in found.levers:
        assert one.now in [p.x for p in one.curves[0].points]


def test_the_document_has_the_agreed_keys_and_is_the_same_for_any_jobs() -> None:
    catalogue, product = load("barrel-tag")
    inputs = catalogue.only(["quorvane-tib", "tessimur-mub", "vantle-gaf"]), product
    texts = {
        to_json(
            document(outlook(*inputs, ["quorvane-tib"], draws=50, points=3, steps=False, jobs=jobs))
        )
        for jobs in (1, 2)
    }
    (text,) = texts
    told = json.loads(text)
    assert told.keys() >= {"lever", "unit", "curves", "crossings"}
    point = told["curves"][0]["points"][0]
    assert point.keys() >= {"x", "battery_life_s", "lifetime_cost"}
    assert point["battery_life_s"].keys() >= {"nominal", "p05", "p95"}
    assert told["further"][0]["lever"] == "barrel-tag:cost.units"


def test_more_uncertainty_is_a_wider_band(tmp_path: Path) -> None:
    catalogue, product = pair(tmp_path)

    def width(figure: str) -> float:
        inputs = with_changes(catalogue, product, [f"cheap:kernels.crc.run.current={figure}"])
        along = ["plain:workload.sample.every=5 s:50 s"]
        found = outlook(*inputs, ["cheap"], along=along, draws=300, points=3)
        life = found.levers[0].curves[0].points[0].battery_life_s
        assert life is not None
        assert life.p05 is not None
        assert life.p95 is not None
        return life.p95 - life.p05

    widths = [width(f) for f in ("4 mA", "4.0(2) mA", "4.0(5) mA", "4.0(8) mA")]
    assert widths == sorted(widths)
    assert widths[0] == 0
    assert widths[1] > 0


@pytest.mark.parametrize(
    ("path", "near"),
    [
        ("barrel-tag", None),
        ("barrel-tag:summary", None),
        ("barrel-tag:workload", None),
        ("barrel-tog:cost.units", "barrel-tag"),
        ("barrel-tag:nothing.here", None),
        ("quorvane-tib:sleep-states.ram-kept.current", None),
    ],
)
def test_a_path_to_no_figure_is_a_fault(path: str, near: str | None) -> None:
    catalogue, product = load("barrel-tag")
    with pytest.raises(FaultError) as caught:
        lever(catalogue, product, path)
    assert caught.value.faults[0].nearest == near


@pytest.mark.parametrize(
    "text",
    ["10 s", "60 s:10 s", "60 s:60 s", "1 V:2 V", "10(1) s:20 s", "-5 s:5 s", "nan s:5 s", ":", ""],
)
def test_a_range_that_is_none_is_a_fault(text: str) -> None:
    catalogue, product = load("barrel-tag")
    found = lever(catalogue, product, "barrel-tag:workload.sample.every")
    with pytest.raises(FaultError):
        span(found, text)


def test_usual_ranges_stay_within_what_may_stand_there() -> None:
    catalogue, product = load("barrel-tag")
    share = lever(catalogue, product, "lb-coin:temperature.20 degC.capacity")
    assert span(share, None)[1] == 1.0
    series = lever(catalogue, product, "barrel-tag:supply-options.cells.lb-coin.series")
    assert span(series, "1:3") == (1.0, 3.0)
    absent = lever(catalogue, product, "barrel-tag:workload.sample.finish-within")
    assert absent.now is None
    with pytest.raises(FaultError):
        span(absent, None)


def test_places_run_evenly_in_the_logarithm_and_hold_what_stands() -> None:
    places = grid((1.0, 100.0), 3, False, 7.0)
    assert places == [1.0, pytest.approx(7.0), pytest.approx(10.0), 100.0]
    assert grid((-20.0, 20.0), 5, False, None) == [-20.0, -10.0, 0.0, 10.0, 20.0]
    assert grid((1.0, 3.0), 20, True, None) == [1.0, 2.0, 3.0]


@pytest.mark.parametrize("value", [1.23456789, 12.460693602957132, 9.9999999e-7, 1e6, -14.2000001])
def test_a_place_rounded_up_is_just_above(value: float) -> None:
    catalogue, product = load("barrel-tag")
    found = lever(catalogue, product, "barrel-tag:workload.sample.every")
    above = found.above(value)
    assert value <= above <= value + 1e-5 * abs(value)
    assert float(f"{above:.6g}") == pytest.approx(above, rel=1e-12)


def test_changes_are_checked_as_written_ones_are() -> None:
    inputs = load("barrel-tag")
    with pytest.raises(FaultError) as caught:
        with_changes(*inputs, ["barrel-tag:workload.sample.every=0 s", "nobody:x=1"])
    assert len(caught.value.faults) == 2
    changed = with_changes(*inputs, ["quorvane-tib:price.breaks.1=9.99"])
    assert changed[0].parts["quorvane-tib"].price != inputs[0].parts["quorvane-tib"].price
    assert changed[0].parts["quorvane-sij"] is inputs[0].parts["quorvane-sij"]


@pytest.mark.parametrize("scale", [1e-10, 1.0, 1e9])
def test_halving_is_as_close_for_small_figures_as_for_large_ones(scale: float) -> None:
    found = lever(*load("barrel-tag"), "lb-coin:self-discharge")
    near, far = scale, 1.5 * scale
    while (middle := found.between(near, far, 1e-3)) is not None:
        near = middle
    assert far - near <= 1e-3 * far


@pytest.mark.once
@pytest.mark.parametrize("product", mostly_slow(("barrel-tag", "valve-driver"), 2))
def test_price_breaks_are_found_where_the_decision_has_them(product: str) -> None:
    """Against halving by whole decisions, which know nothing of what moves where."""
    catalogue, asked = load(product)
    base = evaluate(catalogue, asked)
    some = tuple(sorted(c.part.part for c in base.candidates[:4]))
    line = Along(catalogue, asked, lever(catalogue, asked, f"{product}:cost.units"), base)
    found = 0
    for name in some:

        def offer(x: float, name: str = name) -> Offer | None:
            return line.offers(x, some).get(name)

        def state(x: float, name: str = name) -> object:
            there = line.offers(x, some).get(name)
            return None if there is None else there.state

        known = list(line.jumps(offer, 500.0, 40000.0, 0.01))
        assert known == list(line.changes(state, 500.0, 40000.0, 0.01))
        found += len(known)
    assert found > 8


@pytest.mark.parametrize(
    ("parts", "path", "rates", "told"),
    [
        (["ostrel-cag"], "cost.units=1000:2000", {"USD": 0.92}, True),
        (["ostrel-cag"], "cost.rates.USD=0.9:1", {"USD": 0.92}, False),
        (["quorvane-tib"], "cost.units=1000:2000", {}, False),
    ],
)
def test_it_tells_the_rates_behind_the_amounts(
    parts: list[str], path: str, rates: dict[str, float], told: bool
) -> None:
    """But not on the screen one that moves: it is none of those that the amounts rest on."""
    found = outlook(*load("barrel-tag"), parts, [f"barrel-tag:{path}"], points=2, draws=0)
    assert found.rates == rates
    assert json.loads(to_json(document(found)))["rates"] == rates
    for everything in (False, True):
        words = outlook_page(found, 0, everything).plain()
        assert ("Exchanged at 1 USD = 0.92 EUR." in words) == told


def test_parts_ways_and_places_that_are_none_are_told_at_once() -> None:
    along = ["barrel-tag:nokey", "barrel-tag:cost.units=9:3", "barrel-tag:cost.units"]
    with pytest.raises(FaultError) as raised:
        outlook(*load("barrel-tag"), ["nopart"], along, points=1, draws=0)
    told = [fault.path for fault in raised.value.faults]
    assert told == ["PART", "barrel-tag:nokey", "--along", "--points"]


@pytest.mark.parametrize(
    ("draws", "words"),
    [
        (600, "Expected over 600 draws (500 away from now), seed 1"),
        (400, "Expected over 400 draws, seed 1"),
        (0, "Stated values"),
    ],
)
def test_the_screen_says_how_many_draws_a_place_has(draws: int, words: str) -> None:
    along = ["barrel-tag:cost.units=2000:2100"]
    found = outlook(*load("barrel-tag"), ["quorvane-tib"], along, points=2, draws=draws)
    assert words in outlook_page(found, 0).plain()


def test_the_cheaper_of_the_two_is_one_that_fits() -> None:
    catalogue, product = load("barrel-tag")
    first, second = (r.part for r in shortlist(catalogue, product, draws=0).ranking[:2])
    two = catalogue.only([first, second])
    flash = [two.parts[name].memory.flash for name in (first, second)]
    assert flash[0] is not None
    assert flash[1] is not None
    # beyond the smaller one the other is the cheaper of those that fit, and beyond both neither is
    found = outlook(two, product, along=["barrel-tag:needs.memory.flash=8 KiB:8 MiB"], draws=0)
    changes = found.levers[0].break_even
    assert changes is not None
    fits = [first, second][int(flash[0].nominal < flash[1].nominal)]
    assert changes[-1].to is None
    assert flash[0].nominal == flash[1].nominal or changes[-1].before == fits
    assert "neither fits" in outlook_page(found, 0, everything=True).plain()
    alone = outlook(catalogue.only([first]), product, along=["barrel-tag:cost.units"], draws=0)
    assert alone.levers[0].break_even is None
    assert "Cheaper" not in outlook_page(alone, 0).plain()
    assert json.loads(to_json(document(alone)))["break_even"] is None
