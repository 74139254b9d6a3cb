"""A store that is harvested into: by hand, at the brink of its needs, and what must hold."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from advisor.catalogue.load import load_run
from advisor.catalogue.schema_hourly import MONTHS
from advisor.faults import FaultError
from advisor.model import harvest
from advisor.present.harvest import harvest_words
from advisor.studies.explain import explain
from advisor.studies.results import plain
from advisor.studies.shortlist import shortlist
from tests.shares import mostly_slow

ROOT = Path(__file__).parents[2]
BRIGHT = (0.9, 1.6, 2.7, 3.9, 4.8, 5.3, 5.4, 4.7, 3.4, 2.0, 1.1, 0.7)  # kWh/m2 a day, invented
LENGTHS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
HARVEST = (
    "\nharvest:\n  panel: {area: 0.8 cm2, efficiency: 10 %, price: 1.10}\n"
    "  charger: {efficiency: 80 %, price: 0.60}\n  irradiation: {"
    + ", ".join(f"{m}: {x} kWh/m2" for m, x in zip(MONTHS, BRIGHT, strict=True))
    + "}\n  spread: 45 %\n  persistence: 0.4\n  night: 15 h\n"
)
PART = "quorvane-tib"
# by which the build of least lost days is chosen
SERVED = "priorities={days-without-service: {weight: 1, poor: 100 %, good: 0 %}}"


@cache
def inputs(*changes: str, harvest: str = HARVEST, cells: str = "[{cell: sc-drum}]") -> Any:
    text = (ROOT / "profiles" / "frost-post.yaml").read_text() + harvest
    start = text.index("  cells: [")
    end = text.index("\n", start)
    text = f"{text[:start]}  cells: {cells}{text[end:]}"
    own = tuple(f"frost-post:{c}" if ":" not in c.partition("=")[0] else c for c in changes)
    catalogue, product = load_run([ROOT / "catalog"], text.encode(), own, cached=True)
    return replace(catalogue, parts={PART: catalogue.parts[PART]}), product


def told(*changes: str, **other: str) -> Any:
    catalogue, product = inputs(*changes, **other)
    return explain(catalogue, product, PART)


def test_harvest_load_and_store_by_hand() -> None:
    found = told()
    assert found.harvest is not None
    harvest = found.harvest
    irradiation = np.dot(BRIGHT, LENGTHS) / 365 * 3.6e6
    # panel 0.8 cm2 at 10 %, charger 80 %, of the charge 98 % comes out again
    income = irradiation * 0.8e-4 * 0.10 * 0.80 * 0.98
    assert harvest.income_j == pytest.approx(income, rel=1e-6)
    # 90 C between 2.70 V and the depth at which it ends
    life = harvest.store_j
    build = found.build
    assert build.cell == "sc-drum"
    # straight from the pack at its mean voltage, and what the capacitor leaks at each
    volts = life / (90 * _depth(life))
    at = np.linspace(2.7, 2.7 - 1.8 * _depth(life), 33)
    leak = np.interp(at, [0.9, 1.8, 2.3, 2.7], [1.5e-6, 4e-6, 9e-6, 22e-6])
    leaks = {c.consumer: c.a for c in found.current}["self-discharge"]
    assert leaks == pytest.approx(np.trapezoid(leak, dx=1 / 32), rel=5e-3)
    current = sum(c.a for c in found.current)
    load = (current - leaks) * volts + np.trapezoid(leak * at, dx=1 / 32)
    assert harvest.load_j == pytest.approx(load * 86400, rel=2e-3)
    assert harvest.night_j == pytest.approx(harvest.load_j * 15 / 24, rel=1e-9)
    assert harvest.service.cover == pytest.approx(income / harvest.load_j, rel=1e-6)
    days = (harvest.store_j - harvest.night_j) / harvest.load_j
    assert harvest.service.store_days == pytest.approx(days, rel=1e-6)
    by_month = sum(m.income_j * n for m, n in zip(harvest.months, LENGTHS, strict=True)) / 365
    assert by_month == pytest.approx(harvest.income_j, rel=1e-9)
    lost = sum(m.lost * n for m, n in zip(harvest.months, LENGTHS, strict=True)) / 365
    assert lost == pytest.approx(harvest.service.lost, rel=1e-6)
    # over the life the currents, the charge and the time agree
    assert found.charge_c == pytest.approx(current * found.battery_life_s.nominal, rel=1e-6)
    money = {item.item: item.amount for item in found.money}
    assert money["panel"] == pytest.approx(1.10)
    assert money["charger"] == pytest.approx(0.60)
    assert sum(money.values()) == pytest.approx(found.cost.told, rel=1e-6)


def _depth(store_j: float) -> float:
    """Depth of a capacitor of 90 C from 2.70 V to 0.90 V at which so much has been given:
    90 (2.7 d - 0.9 d^2) = E."""
    return float((2.7 - np.sqrt(2.7**2 - 4 * 0.9 * store_j / 90)) / (2 * 0.9))


@pytest.mark.once
def test_what_would_reach_the_aim_reaches_it() -> None:
    found = told(SERVED, "harvest.panel.area=0.25 cm2").harvest
    assert found is not None
    assert found.service.lost > 0.01
    area = found.enough_area_m2
    assert area is not None
    assert area > 0.25e-4
    mended = told(SERVED, f"harvest.panel.area={area * 1e4:.9g} cm2").harvest
    assert mended is not None
    assert mended.service.lost == pytest.approx(0.01, rel=1e-3)


@pytest.mark.once
def test_a_part_that_keeps_too_few_days_is_out_with_its_share() -> None:
    few = (SERVED, "harvest.panel.area=0.25 cm2")
    lost = told(*few).harvest.service.lost
    for wanted, stands in ((1 - lost * 1.01, True), (1 - lost * 0.99, False)):
        found = shortlist(*inputs(*few, f"needs.service={wanted:.9f}"))
        assert (PART in [r.part for r in found.ranking]) is stands
        if not stands:
            failed = {s.part: s.failed for s in found.screened_out}[PART]
            assert any(f.need == "needs.service on a share of the days" for f in failed)


def test_a_harvest_of_nothing_is_as_none() -> None:
    dark = HARVEST
    for x in BRIGHT:
        dark = dark.replace(f": {x} kWh", ": 0 kWh")
    cells = "[{cell: li-flat}]"
    free = dark.replace("price: 1.10", "price: 0").replace("price: 0.60", "price: 0")
    nothing, without = (plain(told(harvest=harvest, cells=cells)) for harvest in (free, ""))
    store = nothing.pop("harvest")
    assert store["service"]["lost"] == 1.0
    for one in (nothing, without):
        one.pop("warnings")
        one["money"] = [m for m in one["money"] if m["item"] not in ("panel", "charger")]
    assert json.dumps(nothing) == json.dumps(without)


@pytest.mark.once
@pytest.mark.parametrize(
    ("curve", "apart"), [("lm-stout:voltage-curve={0: 3.0 V, 1: 3.0 V}", 1e-6), ("", 3e-3)]
)
def test_a_harvest_below_the_load_prolongs_the_life(curve: str, apart: float) -> None:
    """Half the load is harvested: the pack gives the other half, so it lasts twice as long; of a
    voltage that falls nearly so, as more than half of the load is harvested at its end."""
    cells = "[{cell: lm-stout}]"
    both = ("lm-stout:rechargeable=true", "lm-stout:charge={efficiency: 100 %}",
            "lm-stout:shelf-life=400 years", *([curve] if curve else []))  # fmt: skip
    without = told(*both, harvest="", cells=cells)
    trial = told(*both, cells=cells)
    cover = trial.harvest.service.cover
    half = told(*both, f"harvest.scale={0.5 / cover:.9g}", cells=cells)
    assert half.battery_life_s.nominal == pytest.approx(
        2 * without.battery_life_s.nominal, rel=apart
    )


def test_a_pack_that_cannot_be_charged_lives_without() -> None:
    found = shortlist(*inputs(cells="[{cell: ls-pen}]"))
    bare = shortlist(*inputs(cells="[{cell: ls-pen}]", harvest=""))
    assert [r.battery_life_s for r in found.ranking] == [r.battery_life_s for r in bare.ranking]
    assert [r.cost for r in found.ranking] == [r.cost for r in bare.ranking]
    assert all(r.service is None for r in found.ranking)
    assert "ls-pen cannot be charged: it lives without the harvest" in found.warnings


@pytest.mark.parametrize(
    ("cells", "change", "said"),
    [
        ("[{cell: li-flat}]", "li-flat:charge=null", "li-flat states no charge"),
        ("[{budget: 99 mAh, voltage: 3 V}]", "", "the ideal budget cannot be charged"),
    ],
)
def test_a_pack_that_no_harvest_goes_into_is_named(cells: str, change: str, said: str) -> None:
    catalogue, product = inputs(*([change] if change else []), cells=cells)
    found = shortlist(catalogue, product, draws=0)
    assert f"{said}: it lives without the harvest" in found.warnings


@pytest.mark.once
def test_a_build_loses_as_many_days_as_hours_gone_through() -> None:
    """sc-drum under the panel of 0.35 cm2, its leak over voltage: the build's own currents, by the
    simulation of hours that knows nothing of the chain."""
    from advisor.decide.evaluate import evaluate
    from tests.model import test_leaking_store as hours

    found = evaluate(*inputs(SERVED, "harvest.panel.area=0.35 cm2"))
    best = found.candidates[0].best
    at, row = best.assessed, best.row
    assert at.harvest is not None
    points = ((0.9, 1.5e-6), (1.8, 4e-6), (2.3, 9e-6), (2.7, 22e-6))
    one = hours.Capacitor(
        farads=50,
        leak=points,
        amps=float(at.drain.mean_constant_a[row, 0] + at.feed.pack.leak_a[0]),
        watts=float(at.drain.mean_power_w[row, 0]),
        empty=2.7 - 1.8 * float(at.life.end_depth[row, 0]),
        harvest=float(at.harvest.income_w[0]) * 86400,
        spread=0.45,
        persistence=0.4,
        months=BRIGHT,
    )
    simulated, error = hours.gone_through(one)
    assert 2e-3 < simulated < 0.3
    assert abs(float(at.harvest.lost[row, 0]) - simulated) < 0.05 * simulated + 3 * error
    # no answer warns of its leak, which is followed
    assert not any("sc-drum" in w and "leaks more" in w for w in found.warnings)


def stored(seconds: str, *more: str) -> Any:
    """A capacitor kept connected before use, as long as that empties it."""
    phase = "{phase: shelf, for: LONG, environment: [{at: 20 degC, share: 1}], state: asleep}"
    return shortlist(*inputs(f"before-use=[{phase.replace('LONG', seconds)}]", SERVED, *more))


@pytest.mark.once
def test_a_store_that_storage_empties_is_charged_by_its_panel() -> None:
    found, short = stored("200 days"), stored("1 h")
    assert [r.part for r in found.ranking] == [PART]
    assert any("sc-drum is emptied by before-use" in w for w in found.warnings)
    assert not any("is emptied by" in w for w in short.warnings)
    # as often without service as one that comes full; its shelf life has run on
    (one,), (full,) = found.ranking, short.ranking
    assert one.service.lost == pytest.approx(full.service.lost, rel=1e-9)
    gone = full.battery_life_s.nominal - one.battery_life_s.nominal
    assert gone == pytest.approx(200 * 86400 - 3600, rel=1e-6)
    # a harvest that does not cover the load never fills it
    few = stored("200 days", "harvest.panel.area=0.02 cm2")
    assert not few.ranking
    needs = {f.need for s in few.screened_out for f in s.failed}
    assert "depth of discharge in reach after before-use" in needs


@pytest.mark.once
def test_what_is_odd_before_use_and_over_the_year_is_told() -> None:
    def warned(*changes: str) -> str:
        return "\n".join(shortlist(*inputs(*changes)).warnings)

    phase = "before-use=[{phase: truck, for: 2 days, environment: [{at: AT, share: 1}], state: X}]"
    hot = warned(phase.replace("AT", "95 degC").replace("X", "disconnected"))
    assert "before-use.truck.environment" in hot
    assert "beyond the hottest that sc-drum states" in hot
    mild = warned(phase.replace("AT", "30 degC").replace("X", "disconnected"))
    assert "before-use" not in mild
    assert "no season is told" in warned("environment=[{at: 15 degC, share: 1}]")
    assert "no season is told" not in mild
    # a second sleep state that draws a tenth
    part = f"{PART}:sleep-states.deep={{current: 100 nA, wake-time: 1 ms, retains: [rtc]}}"
    for state, odd in (("ram-kept", True), ("deep", False)):
        words = warned(part, phase.replace("AT", "30 degC").replace("X", state))
        assert ("ram-kept, which in" in words) is odd


def test_a_change_at_the_last_visit_is_told() -> None:
    """A pack that lasts a little less than half of the service life is changed once more for it."""
    cells = {"harvest": "", "cells": "[{cell: alk-slim}]"}
    life = shortlist(*inputs(**cells)).ranking[0].battery_life_s.nominal

    def warned(times: float) -> str:
        changed = inputs(f"service-life={times * life / 86400:.9g} days", **cells)
        return "\n".join(shortlist(*changed).warnings)

    assert "the last of 2 battery changes comes" in warned(2.05)
    for kept in (1.99, 2.5):
        assert "battery changes comes" not in warned(kept)


@pytest.mark.once
def test_days_too_cold_to_charge_bring_nothing() -> None:
    """An eighth of the year below the limit, told of the six darkest months."""
    cold = told("sc-drum:charge.min=0 degC").harvest
    free = told().harvest
    assert cold is not None
    assert free is not None
    assert cold.cold == pytest.approx(0.08)
    dark = sorted(range(12), key=lambda m: BRIGHT[m])[:6]
    share = 0.08 / (sum(LENGTHS[m] for m in dark) / 365)
    for m in range(12):
        less = 1 - share if m in dark else 1.0
        assert cold.months[m].income_j == pytest.approx(free.months[m].income_j * less, rel=1e-9)
    assert cold.service.lost > free.service.lost


@pytest.mark.once
@pytest.mark.parametrize(
    ("limit", "environment", "sentence"),
    [
        (
            "min=0 degC",
            "[{at: -10 degC, share: 0.49}, {at: 20 degC, share: 0.51}]",
            "Too cold to charge on 49 % of days, counted in the six months of least harvest, as a "
            "spell in each.",
        ),
        (
            "min=0 degC",
            "[{at: -10 degC, share: 0.045}, {at: 20 degC, share: 0.955}]",
            "Too cold to charge on 4.5 % of days, counted in the six months of least harvest, as a "
            "spell in each.",
        ),
        (
            "min=0 degC",
            "[{at: -10 degC, share: 0.7}, {at: 20 degC, share: 0.3}]",
            "Too cold to charge on 70 % of days, counted in the six months of least harvest, what "
            "is more than these have in the rest, as a spell in each.",
        ),
        (
            "max=30 degC",
            "[{at: 35 degC, share: 0.6}, {at: 20 degC, share: 0.4}]",
            "Too hot to charge on 60 % of days, counted in the other months, what is more than "
            "these have in the rest, as a spell in each.",
        ),
    ],
)
def test_more_than_half_a_year_of_cold_is_not_told_of_six_months(
    limit: str, environment: str, sentence: str
) -> None:
    found = told(f"sc-drum:charge.{limit}", f"environment={environment}").harvest
    assert found is not None
    assert [text for text in harvest_words(found) if text.startswith("Too ")] == [sentence]


def test_ageing_ends_the_life_of_a_charged_cell() -> None:
    found = told("li-flat:shelf-life=40 years", cells="[{cell: li-flat}]")
    assert found.battery_life_s.ends_by == "faded"
    # nearly full at 25 degC on average, 7.5 % the first year: far below ten years at an end of 70 %
    assert 3 * 31557600 < found.battery_life_s.nominal < 12 * 31557600


@pytest.mark.once
def test_service_is_that_of_the_whole_life(monkeypatch: pytest.MonkeyPatch) -> None:
    """A store that fades loses more days than a fresh one; three moments of its life tell as much
    as many evenly in it."""
    few = (SERVED, "harvest.panel.area=0.22 cm2", "li-flat:capacity=30 mAh")
    cells = "[{cell: li-flat}]"
    aged = told(*few, cells=cells).harvest.service
    ageless = told(*few, "li-flat:ageing.calendar.loss=0.01 %", "li-flat:ageing.cycles.loss=0.01 %",
                   cells=cells).harvest.service  # fmt: skip
    # what is told of the store is of the fresh one
    assert aged.store_days == pytest.approx(ageless.store_days, rel=0.01)
    assert 0.005 < ageless.lost < aged.lost * 0.95
    count = 60
    moments = tuple((np.arange(count) + 0.5) / count)
    monkeypatch.setattr(harvest, "MOMENTS", moments)
    monkeypatch.setitem(harvest.WEIGHTS, count, np.full(count, 1 / count))
    even = told(*few, cells=cells).harvest.service
    assert aged.lost == pytest.approx(even.lost, rel=1e-2)


@pytest.mark.once
@pytest.mark.parametrize("seed", mostly_slow(range(8), 8))
def test_more_harvest_more_store_and_less_load_never_lose_more(seed: int) -> None:
    """On products at random."""
    rng = np.random.default_rng(seed)
    area, night = np.exp(rng.uniform(-1.6, 1.0)), rng.uniform(8, 18)
    base = (
        SERVED,
        f"harvest.panel.area={area:.4g} cm2",
        f"harvest.night={night:.3g} h",
        f"harvest.spread={rng.uniform(0.2, 0.8):.3g}",
        f"harvest.persistence={rng.uniform(0, 0.7):.3g}",
        f"workload.sample.every={rng.uniform(1, 4):.4g} s",
    )

    def lost(*others: str) -> dict[str, float]:
        found = shortlist(*inputs(*base, *others))
        return {r.part: r.service.lost for r in found.ranking if r.service is not None}

    first = lost()
    assert first
    for better in (
        f"harvest.panel.area={area * 1.2:.6g} cm2",
        "sc-drum:capacity=120 C",
        "workload.report.every=30 min",
    ):
        found = lost(better)
        # parts may take another build, and places of the chain's lattice have a grid of their own
        assert all(found[part] <= first[part] + 5e-3 for part in first if part in found), better


def test_what_the_product_lacks_is_told() -> None:
    short = HARVEST.replace("  spread: 45 %\n", "").replace(", december: 0.7 kWh/m2", "")
    with pytest.raises(FaultError) as error:
        inputs(harvest=short)
    assert {f.path for f in error.value.faults} == {
        "frost-post:harvest.spread",
        "frost-post:harvest.irradiation.december",
    }


@pytest.mark.once
def test_draws_move_with_every_uncertain_figure() -> None:
    def lost(*changes: str) -> float:
        found = shortlist(
            *inputs(SERVED, "harvest.panel.area=0.5 cm2", *changes),
            draws=64,
        )
        return found.ranking[0].score

    sure = lost()
    for key, text in (
        ("panel.efficiency", "10(1) %"),
        ("charger.efficiency", "80(5) %"),
        ("irradiation.december", "0.7(1) kWh/m2"),
        ("spread", "45(8) %"),
        ("persistence", "0.4(1)"),
        ("night", "15(1) h"),
        ("scale", "1.0(1)"),
    ):
        assert lost(f"harvest.{key}={text}") != sure, key
