"""Tips replay on the real decision: just beyond one another part leads, just before it does not."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from advisor.catalogue.levers import lever
from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.catalogue.shipped import load
from advisor.decide.evaluate import evaluate
from advisor.faults import FaultError
from advisor.present.machine import to_json
from advisor.present.tipping import change, in_u, tipping_page
from advisor.studies.shortlist import DRAWS as USUAL
from advisor.studies.shortlist import shortlist
from advisor.studies.tipping import LeverTip, Tipping, _asked, tipping
from tests.decide.random_catalogues import several, unsure
from tests.shares import mostly_slow
from tests.studies.small import loaded, loaded_files, part

pytestmark = pytest.mark.once

Inputs = tuple[Catalogue, Product]

PRODUCT = """
product: plain
invented: true
life-target: 3 years
service-life: 9 years
environment: [{at: 20 degC, share: 1}]
workload: [{task: sample, every: 10 s, kernels: {crc: 3}}]
standing-loads: [{load: leak, current: 1 µA}]
supply-options: {cells: [{budget: 500 mAh, voltage: 3.0 V}], converters: [none]}
cost: {currency: EUR, units: 300, engineer-rate: 80 EUR/h, service-visit: 10, tools: 50}
priorities:
  battery-life: {weight: 3, poor: 0 years, good: 8 years}
  lifetime-cost: {weight: 2, poor: 60, good: 0}
  bring-up: {weight: 1}
"""


def drawn(root: Path, seed: int) -> tuple[Catalogue, Product]:
    """Four parts drawn at random, none of them far from the others."""
    rng = np.random.default_rng(seed)
    parts = {}
    for n in range(4):
        time, kernel, sleep, price, setup = (
            f"{rng.uniform(low, high):.2f}"
            for low, high in ((1.0, 3.0), (3.0, 6.0), (1.0, 4.0), (1.0, 3.0), (2.0, 12.0))
        )
        parts[f"part-{n}"] = part(
            f"part-{n}",
            f"{time} ms",
            f"{kernel}(10) mA",
            f"{sleep} µA",
            f"{{1: {price}}}",
            f"{setup} h",
        )
    return loaded(root, parts, PRODUCT)


DRAWS = 300


def replayed(inputs: Inputs, found: Tipping, draws: int, tips: Sequence[LeverTip]) -> None:
    """Just beyond each tip the part that it names is first, just before it still the winner."""
    for tip in tips:
        handle = lever(*inputs, tip.path)
        there = with_changes(*inputs, [f"{tip.path}={tip.text}"])
        assert _first(there, draws) == tip.new_winner, tip.path
        assert tip.tips_at is not None
        # found to a thousandth: a little nearer to what stands, nothing has changed
        far = tip.tips_at - tip.now
        step = handle.reach(tip.tips_at, 1.2e-3)
        if handle.whole:
            step = 1.0
        if abs(far) > step:
            back = tip.tips_at - step * np.sign(far)
            before = with_changes(*inputs, [handle.assignment(back)])
            assert _first(before, draws) == found.winner, tip.path


def _first(inputs: Inputs, draws: int) -> str | None:
    candidates = evaluate(*inputs, draws).candidates
    return candidates[0].part.part if candidates else None


@pytest.mark.parametrize("draws", [0, DRAWS])
@pytest.mark.parametrize("seed", mostly_slow(range(5), 5))
def test_tips_replay(tmp_path: Path, seed: int, draws: int) -> None:
    inputs = drawn(tmp_path, seed)
    found = tipping(*inputs, draws=draws)
    assert found.winner == shortlist(*inputs, draws=draws).ranking[0].part
    tips = [t for t in found.levers if t.tips_at is not None]
    assert len(tips) >= 5
    replayed(inputs, found, draws, [*tips, *found.limits])


@pytest.mark.parametrize("seed", mostly_slow(range(4), 4))
def test_tips_of_unsure_products_replay(tmp_path: Path, seed: int) -> None:
    inputs = unsure(several(seed), seed).load(tmp_path)
    found = tipping(*inputs, draws=DRAWS)
    if found.winner is not None:
        assert found.winner == shortlist(*inputs, draws=DRAWS).ranking[0].part
        tips = [t for t in found.levers if t.tips_at is not None]
        replayed(inputs, found, DRAWS, [*tips, *found.limits])


SHIPPED = {
    "barrel-tag": (
        "barrel-tag:standing-loads.level-strip.current",
        "quorvane-tib:sleep-states.ram-kept.current.25 degC",
        "barrel-tag:environment.22 degC.at",
    ),
    "frost-post": ("frost-post:cost.service-visit", "quorvane-jor:toolchain.setup"),
    "valve-driver": ("valve-driver:rail", "valve-driver:priorities.battery-life.weight"),
}


@pytest.mark.parametrize("name", mostly_slow(SHIPPED, 3))
def test_some_tips_of_a_shipped_product_replay(name: str) -> None:
    inputs = load(name)
    found = tipping(*inputs, SHIPPED[name])
    assert found.winner == shortlist(*inputs).ranking[0].part
    replayed(inputs, found, USUAL, [t for t in found.levers if t.tips_at is not None])


@pytest.mark.slow
def test_every_tip_of_a_shipped_product_replays() -> None:
    """Of the one whose search is quickest; the others take many minutes."""
    inputs = load("barrel-tag")
    found = tipping(*inputs)
    tips = [t for t in found.levers if t.tips_at is not None]
    assert len(tips) >= 5
    replayed(inputs, found, USUAL, [*tips, *found.limits])


def test_a_narrow_lead_is_not_stepped_over() -> None:
    """From 15.57 mA on a cell's limit of pulses rules out the leader's build."""
    path = "barrel-tag:workload.report.loads.radio.current"
    inputs = load("barrel-tag")
    (tip,) = tipping(*inputs, [path]).levers
    assert tip.new_winner == "tessimur-mub"
    assert tip.tips_at is not None
    assert tip.tips_at == pytest.approx(15.57e-3, rel=2e-3)
    handle = lever(*inputs, path)
    before = with_changes(*inputs, [handle.assignment(tip.tips_at * 0.998)])
    assert _first(before, USUAL) == shortlist(*inputs).ranking[0].part


def test_a_change_of_the_battery_is_no_cliff(tmp_path: Path) -> None:
    """A part whose stated life is a hair longer than the service life: at the stated values a
    hundredth of a per cent more current costs a visit and the lead; over the draws a visit is half
    paid for already, and no such sliver tips."""
    product = PRODUCT.replace("service-life: 9 years", "service-life: 3 years").replace(
        "poor: 60, good: 0", "poor: 40, good: 0"
    )
    parts = {
        "edge": part("edge", "2.00 ms", "4.0(4) mA", "2.00 µA", "{1: 1.00}", "4 h"),
        "sure": part("sure", "2.00 ms", "3.0(1) mA", "2.00 µA", "{1: 4.00}", "9 h"),
    }
    inputs = loaded(tmp_path, parts, product)
    # the stated life is put right at the service life
    alone = evaluate(inputs[0].only(["edge"]), inputs[1]).candidates[0].best
    life = float(alone.assessed.life.life_s[alone.row, 0])
    inputs = with_changes(*inputs, [f"plain:service-life={life * (1 - 1e-4):.12g}s"])
    path = "plain:standing-loads.leak.current"
    (stated,) = tipping(*inputs, [path], draws=0).levers
    (expected,) = tipping(*inputs, [path], draws=2000).levers
    assert stated.distance_share is not None
    assert stated.distance_share < 0.01
    assert expected.distance_share is None or expected.distance_share > 0.05


def test_temperatures_are_told_in_kelvin_and_limits_apart(tmp_path: Path) -> None:
    inputs = drawn(tmp_path, 1)
    place = "plain:environment.20 degC.at"
    only = inputs[0].only([shortlist(*inputs, draws=0).ranking[0].part])
    found = tipping(only, inputs[1], [place], draws=0)
    assert found.levers[0].distance_share is None
    (winner,) = only.parts
    found = tipping(only, inputs[1], [f"{winner}:supply.min"], draws=DRAWS)
    (limit,) = found.limits
    assert limit.new_winner is None
    assert limit.tips_at == pytest.approx(3.0, rel=1e-3)
    assert found.levers[0].tips_at is None
    assert [row["kind"] for row in found.rows()] == ["tip", "limit"]
    found = tipping(*load("barrel-tag"), ["barrel-tag:environment.22 degC.at"], draws=500)
    (tip,) = found.levers
    assert tip.distance_share is None
    assert tip.tips_at is not None
    assert tip.distance_k == pytest.approx(abs(tip.tips_at - tip.now))
    page = tipping_page(found, 100).plain()
    assert re.search(r"\d K (warmer|colder)", page)
    # in as few digits as they stand in and still tip, as other figures are
    assert tip.now_shown == "22 degC"
    assert tip.tips_shown is not None
    assert re.fullmatch(r"-?\d+(\.\d*[1-9])? degC", tip.tips_shown)
    assert f"from 22 °C to {tip.tips_shown.replace('degC', '°C').replace('-', '−')}: " in page


def test_a_rate_of_exchange_is_echoed() -> None:
    found = tipping(*load("barrel-tag"), ["barrel-tag:cost.rates.USD"], draws=100)
    assert found.levers[0].now_shown == "1 USD = 0.92 EUR"
    assert "1 USD = 0.92 EUR" in tipping_page(found, 100, everything=True).plain()


def test_distances(tmp_path: Path) -> None:
    inputs = drawn(tmp_path, 1)
    found = tipping(*inputs, draws=0)
    for tip in found.levers:
        if tip.tips_at is None:
            assert tip.text is None
            continue
        handle = lever(*inputs, tip.path)
        far = abs(tip.tips_at - tip.now)
        assert tip.told_at is not None
        assert handle.in_own_unit().shown(tip.told_at) == tip.tips_shown
        assert handle.in_own_unit().text(tip.told_at) == tip.text
        # so much more than needed is told at most
        assert 1 - 1e-9 <= tip.beyond <= 1.05 + 1e-9
        assert abs(tip.told_at - tip.tips_at) <= handle.reach(tip.tips_at, 0.01) * (1 + 1e-9)
        if handle.dimension == "temperature":
            assert tip.distance_k == pytest.approx(far)
            continue
        assert tip.distance_share == pytest.approx(far / abs(tip.now))
        assert (tip.distance_u is None) == (handle.u == 0)
        if handle.u:
            assert tip.distance_u == pytest.approx(far / handle.u)
    order = [t.distance_share for t in found.levers if t.distance_share is not None]
    assert (np.diff(order) > -1e-9).all()


@pytest.mark.parametrize(
    ("unit", "now", "tips_at", "told", "words"),
    [
        # the exact change, the value in few digits, and the change to that: by hand
        ("A", 0.240, 0.0864, 0.080, "67 % less"),
        ("1", 1000.0, 210.0, 200.0, "80 % less"),
        ("1", 10.0, 19.6, 20.0, "2 times as much"),
        ("1", 10.0, 15.8, 16.0, "60 % more"),
        ("K", 261.15, 268.85, 269.15, "8 K warmer"),
        ("K", 261.15, 253.45, 253.15, "8 K colder"),
    ],
)
def test_the_change_is_told_to_the_value_beside_it(
    unit: str, now: float, tips_at: float, told: float, words: str
) -> None:
    far, kelvin = abs(tips_at - now), unit == "K"
    tip = LeverTip(
        path="x:y",
        now=now,
        unit=unit,
        tips_at=tips_at,
        text="",
        new_winner=None,
        distance_u=far / (abs(told - now) / 4),
        distance_share=None if kelvin else far / now,
        distance_k=far if kelvin else None,
        now_shown="",
        tips_shown="",
        told_at=told,
    )
    assert (change(tip), in_u(tip)) == (words, "4.0")
    exact = replace(tip, told_at=None, distance_u=None)
    assert (exact.beyond, in_u(exact)) == (1.0, "-")


def test_counts_move_by_whole_numbers() -> None:
    """To the next one that may stand there; what is stated with a fraction moves as before."""
    product = "frost-post"
    paths = {
        "quorvane-jor:features.adc-bits": (12, 11, "11"),
        "quorvane-jor:features.rtc": (1, 0, "0"),
        f"{product}:needs.features.adc-bits": (12, 13, "13"),
        f"{product}:needs.features.rtc": (1, 2, "2"),
    }
    catalogue, asked = load(product)
    few = catalogue.only(["quorvane-jor", "quorvane-sij", "tessimur-rud"])
    found = tipping(few, asked, list(paths), draws=100)
    tips = {t.path: t for t in (*found.levers, *found.limits) if t.tips_at is not None}
    assert {path: (t.now, t.tips_at, t.text) for path, t in tips.items()} == paths
    page = tipping_page(found, 100, everything=True).plain()
    assert "from 12 to 11: 8.3 % less, then " in page
    assert "from 1 to 0: 100 % less, then " in page
    assert "from 12 to 13: 8.3 % more" in page
    path = "frost-post:needs.features.adc-bits"
    half = tipping(*with_changes(few, asked, [f"{path}=11.5"]), [path], draws=100)
    at = half.limits[0].tips_at
    assert at is not None
    assert 12 < at < 12.02


def test_a_closed_form(tmp_path: Path) -> None:
    # two parts alike but for the price: it tips where the prices are equal
    inputs = drawn(tmp_path, 2)
    catalogue, product = with_changes(
        inputs[0].only(["part-0", "part-1"]),
        inputs[1],
        [f"part-1:{p}" for p in ("price.breaks.1=2.00", "toolchain.setup=4 h")]
        + [f"part-0:{p}" for p in ("price.breaks.1=1.50", "toolchain.setup=4 h")]
        + [
            f"part-{n}:{p}"
            for n in (0, 1)
            for p in ("kernels.crc.run.time=2 ms", "kernels.crc.run.current=4 mA")
        ]
        + [f"part-{n}:sleep-states.ram-kept.current=2 µA" for n in (0, 1)],
    )
    paths = ["part-0:price.breaks.1", "part-1:price.breaks.1"]
    found = tipping(catalogue, product, paths, draws=0)
    at = {t.path: t.tips_at for t in found.levers}
    assert at["part-0:price.breaks.1"] == pytest.approx(2.00, rel=1e-3)
    assert at["part-1:price.breaks.1"] == pytest.approx(1.50, rel=1e-3)


def test_a_limit_inside_the_range_is_found(tmp_path: Path) -> None:
    """The pack gives 3 V: a greatest supply below that, or a least above, rules the leader out,
    though at the end of the range, past each other, they may not stand."""
    inputs = drawn(tmp_path, 1)
    winner = shortlist(*inputs, draws=DRAWS).ranking[0].part
    paths = [f"{winner}:supply.max", f"{winner}:supply.min"]
    for tip in tipping(*inputs, paths, draws=DRAWS).levers:
        assert tip.tips_at == pytest.approx(3.0, rel=1e-3), tip.path


@pytest.mark.slow
def test_places_are_honoured(tmp_path: Path) -> None:
    """More places at the start find no other tip where few find it, and are told."""
    inputs = drawn(tmp_path, 2)
    found = {points: tipping(*inputs, points=points, draws=100) for points in (4, 16)}
    many = {tip.path: tip.tips_at for tip in found[16].levers}
    for tip in found[4].levers:
        assert (tip.tips_at is None) == (many[tip.path] is None), tip.path
        if tip.tips_at is not None:
            assert many[tip.path] == pytest.approx(tip.tips_at, rel=1e-3), tip.path
    assert found[16].points == 16


def test_the_document_and_shipped_levers() -> None:
    found = tipping(
        *load("barrel-tag"),
        [
            "quorvane-tib:price.breaks.10000",
            "barrel-tag:priorities.purchase-cost.weight",
            "barrel-tag:cost.engineer-rate",
        ],
        draws=500,
    )
    told = json.loads(to_json(found))
    assert told.keys() >= {"winner", "levers", "limits", "weights", "never_first", "draws", "seed"}
    assert told["levers"][0].keys() >= {
        *("path", "now", "tips_at", "text", "new_winner"),
        *("distance_u", "distance_share", "distance_k"),
    }  # fmt: skip
    assert told["weights"][0].keys() >= {"part", "l1", "weights"}
    assert found.levers[0].new_winner == "tessimur-mub"


CELL = """
cell: tiny
invented: true
chemistry: unheard of
nominal-voltage: 3.0 V
capacity: 500 ± 20 mAh
voltage-curve: {0: 3.0 V, 1: 2.0 V}
resistance: 1 ohm
cut-off: 2.0 V
temperature: {20 degC: {capacity: 1.0, resistance: 1.0}}
self-discharge: 1 %/year
doubles-every: 10 K
price: {currency: EUR, breaks: {1: 1.20}}
mass: 3 g
"""


def test_figures_of_cells_that_are_not_moved_are_counted(tmp_path: Path) -> None:
    """All but the price; a mass decides nothing, so it is none of them."""
    files = {f"parts/{name}": part(name, setup=f"{n} h") for n, name in enumerate("abc", 1)}
    files |= {"kernels": "crc: {work: one block}\n", "cells/tiny": CELL}
    product = PRODUCT.replace("{budget: 500 mAh, voltage: 3.0 V}", "{cell: tiny}")
    inputs = loaded_files(tmp_path, files, product)
    found = tipping(*inputs, draws=0, points=1)
    paths = {tip.path for tip in found.levers}
    assert {path for path in paths if path.startswith("tiny")} == {"tiny:price.breaks.1"}
    assert found.unmoved == {"tiny": 10}
    words = "Not moved unless asked for: 10 figures of the cells and converters compared"
    others = " and those of parts behind the second; --lever ID moves all of one."
    assert f"{words}{others}" in tipping_page(found, 0).plain()
    assert f"{words} (10 of tiny){others}" in tipping_page(found, 0, everything=True).plain()
    assert json.loads(to_json(found))["unmoved"] == {"tiny": 10}
    every = tipping(*inputs, ["tiny"], draws=0, points=1)
    moved = {tip.path for tip in every.levers}
    assert len(moved) == 11
    assert moved >= {"tiny:capacity", "tiny:voltage-curve.0", "tiny:temperature.20 degC.capacity"}
    assert "tiny:mass" not in moved
    assert every.unmoved == {}
    assert "Not moved" not in tipping_page(every, 0).plain()


def test_all_figures_of_a_record_at_once(tmp_path: Path) -> None:
    """Those that are levers, each once, with what is asked for beside; the product's needs too."""
    inputs = drawn(tmp_path, 1)
    own = [
        *("supply.min", "supply.max", "temperature.min", "temperature.max"),
        *("operating-points.run.idle-current", "operating-points.run.supply"),
        *("kernels.crc.run.time", "kernels.crc.run.current", "kernels.crc.run.supply"),
        *("sleep-states.ram-kept.current", "sleep-states.ram-kept.wake-time"),
        *("price.breaks.1", "toolchain.setup"),
    ]
    found = tipping(*inputs, ["part-2:price.breaks.1", "part-2"], points=1, draws=0)
    paths = [tip.path for tip in found.levers]
    assert len(paths) == len(set(paths))
    assert set(paths) >= {f"part-2:{keys}" for keys in own}
    assert all(path.startswith("part-2:") for path in paths)
    base = evaluate(*with_changes(*inputs, ["plain:needs={confidence: 60 %}"]))
    whole, unasked = ({str(x.path) for x in _asked(base, some)} for some in (["plain"], ()))
    assert whole - unasked == {"plain:needs.confidence"}
    assert {path for path in unasked if path.startswith("plain:")} < whole


def test_a_record_without_figures_is_refused(tmp_path: Path) -> None:
    files = {
        "kernels": "crc: {work: one block}\n",
        "parts/only": part("only"),
        "cells/bare": "cell: bare\ninvented: true\nchemistry: unheard of\n",
    }
    inputs = loaded_files(tmp_path, files, PRODUCT)
    with pytest.raises(FaultError) as raised:
        tipping(*inputs, ["bare"], draws=0)
    assert "bare: read no figure that can be moved" in str(raised.value)
    with pytest.raises(FaultError, match="nearest"):
        tipping(*inputs, ["bar"], draws=0)


def test_levers_that_are_none() -> None:
    """All of them at once, and where nothing fits too."""
    paths = ["barrel-tag:summary", "barrel-tag:cost.nothing", "nobody:x", "barrel-tag:cost.units"]
    for changes in ((), ("barrel-tag:needs.memory.flash=64 MiB",)):
        with pytest.raises(FaultError) as raised:
            tipping(*load("barrel-tag", changes=changes), paths, draws=0)
        assert [fault.path for fault in raised.value.faults] == paths[:3]
