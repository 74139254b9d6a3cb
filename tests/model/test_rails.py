"""Rails, gated loads and light-load modes: by hand, by invariants, and event by event."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from advisor.catalogue.load import load_run
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.decide.builds import Build
from advisor.decide.evaluate import Evaluation, evaluate
from advisor.faults import FaultError
from advisor.model.rails import Gate
from advisor.model.supply import LightMode, through_switching
from advisor.studies.explain import Explanation, explain
from tests.decide.random_catalogues import Draft, draft
from tests.model.rails_simulator import Branch, Capacitor, Machine, Source, Switched
from tests.shares import mostly_slow

PART = """
part: chip
invented: true
supply: {min: 1.7 V, max: 3.7 V, regulator: linear}
temperature: {min: -40 degC, max: 85 degC}
operating-points: {fast: {idle-current: 1 mA}}
kernels: {crc: {fast: {time: 2 ms, current: 5 mA, supply: 3.0 V}}}
sleep-states: {ram-kept: {current: 2 µA, wake-time: 0 s}}
price: {currency: EUR, breaks: {1: 1}}
toolchain: {setup: 1 h}
"""
CONVERTER = """
converter: NAME
invented: true
kind: boost
input: {min: 0.8 V, max: 3.6 V}
output: {min: 1.8 V, max: 3.6 V}
quiescent: 4 µA
efficiency: {1 mA: 0.9}
start-up: 12 µJ
max-output: 200 mA
price: {currency: EUR, breaks: {1: 0.50}, lead-time: 8 weeks}
"""
PRODUCT = """
product: probe
invented: true
service-life: 1 years
environment: [{at: 20 degC, share: 1}]
RAILS
workload:
  - task: report
    every: 60 s
    kernels: {crc: 1}
    loads: [{load: radio, current: 26 mA, for: 60 ms, cpu: asleep, MORE}]
supply-options: {cells: [{budget: 1000 mAh, voltage: 3.0 V}], converters: [none]}
cost: {currency: EUR, units: 100, engineer-rate: 80 EUR/h, service-visit: 10, tools: 0}
priorities: {battery-life: {weight: 1, poor: 0 years, good: 50 years}}
"""
RAIL = "{rail: radio, voltage: 3.3 V, converters: [up], gated: GATED, capacitance: 10 uF}"
# the core: 2 ms at 5 mA a minute, the rest asleep at 2 µA
CORE = (2e-3 * 5e-3 + (60 - 2e-3) * 2e-6) / 60


def made(
    root: Path,
    rails: str = "",
    more: str = "retries: {fails: 0, most: 1}",
    converters: dict[str, str] | None = None,
    part: str = PART,
    product: str = PRODUCT,
) -> tuple[Catalogue, Product]:
    """A catalogue of the part and of converters, and the product."""
    for kind in ("parts", "converters", "cells"):
        (root / kind).mkdir(parents=True, exist_ok=True)
    (root / "parts/chip.yaml").write_text(part)
    for name, text in (converters or {"up": CONVERTER}).items():
        (root / f"converters/{name}.yaml").write_text(text.replace("NAME", name))
    (root / "kernels.yaml").write_text("crc: {work: one}\n")
    text = product.replace("RAILS", f"rails: [{rails}]" if rails else "").replace("MORE", more)
    return load_run([root], text.encode())


def battery_a(inputs: tuple[Catalogue, Product]) -> float:
    """Mean current from the pack of the chosen build."""
    best = evaluate(*inputs).candidates[0].best
    return float(best.assessed.battery_a[best.row, 0])


def told(inputs: tuple[Catalogue, Product]) -> Explanation:
    """The explanation, whose consumers add up to what the pack gives."""
    found = explain(*inputs, "chip")
    life = found.battery_life_s.nominal
    assert found.charge_c is not None
    assert sum(c.a for c in found.current) * life == pytest.approx(found.charge_c, rel=1e-9)
    assert all(c.a >= -1e-18 for c in found.current)
    return found


def amounts(found: Explanation) -> dict[str, float]:
    return {c.consumer: c.a for c in found.current}


# By hand ------------------------------------------------------------------------------------------


def test_a_filling_straight_from_the_pack(tmp_path: Path) -> None:
    """10 µF at 3.0 V: 30 µC and 90 µJ drawn, 45 µJ stored, 30 s against 1 µA (textbook)."""
    more = "gated: true, capacitance: 10 uF, standby: 1 µA"
    found = told(made(tmp_path, more=more))
    (one,) = found.gating
    assert one.gate == "load radio of report"
    assert one.gated
    assert one.charge_c == pytest.approx(30e-6, rel=1e-12)
    assert one.energy_j == pytest.approx(90e-6, rel=1e-12)
    assert one.takes_j == pytest.approx(90e-6, rel=1e-9)
    assert one.stored_j == pytest.approx(45e-6, rel=1e-12)
    assert one.pays_beyond_s == pytest.approx(30.0, rel=1e-9)
    assert one.rest_s == pytest.approx(60 - 60e-3, rel=1e-12)
    assert amounts(found)["report: filling radio"] == pytest.approx(30e-6 / 60, rel=1e-12)


def test_standing_by_and_gating_cross_where_it_is_told(tmp_path: Path) -> None:
    """At a rest of 30 s, the period being 30.06 s, both take the same."""
    product = PRODUCT.replace("every: 60 s", "every: 30.06 s")
    common = "capacitance: 10 uF, standby: 1 µA"
    gated = made(tmp_path / "a", more=f"gated: true, {common}", product=product)
    standing = made(tmp_path / "b", more=f"gated: false, {common}", product=product)
    assert battery_a(gated) == pytest.approx(battery_a(standing), rel=1e-12)


def test_a_rail_through_a_boost_converter(tmp_path: Path) -> None:
    """26 mA at 3.3 V for 60 ms and 10 µF filled through 90 %, a start of 12 µJ, from 3.0 V."""
    core = CORE
    through = 3.3 / (0.9 * 3.0)
    event = 26e-3 * 60e-3 * through + 10e-6 * 3.3 * through + 12e-6 / 3.0
    found = told(made(tmp_path / "a", RAIL.replace("GATED", "true"), "rail: radio"))
    assert found.plan.practical_a == pytest.approx(core + event / 60, rel=1e-9)
    parts = amounts(found)
    assert parts["filling rail radio"] == pytest.approx(33e-6 * 1.1 / 60, rel=1e-9)
    assert parts["starts of up on radio"] == pytest.approx(4e-6 / 60, rel=1e-9)
    assert found.build.rails == {"radio": "up"}
    (one,) = found.gating
    # the converter stands by at 4 µA from 3 V: 12 µW
    assert one.takes_j == pytest.approx(33e-6 * 3.3 / 0.9 + 12e-6, rel=1e-9)
    assert one.pays_beyond_s == pytest.approx(one.takes_j / 12e-6, rel=1e-9)
    standing = 26e-3 * 60e-3 * through + (60 - 60e-3) * 4e-6
    always = told(made(tmp_path / "b", RAIL.replace("GATED", "false"), "rail: radio"))
    assert always.plan.practical_a == pytest.approx(core + standing / 60, rel=1e-9)
    assert not always.gating[0].gated


def test_a_decay_leaves_some_of_the_charge() -> None:
    """After as long as its time constant 1 - 1/e of it is gone."""
    gate = Gate(capacitance=np.array([10e-6]), decay=np.array([2.0]))
    assert gate.filled(np.array([2.0]))[0] == pytest.approx(10e-6 * 0.6321206, rel=1e-6)


def test_where_gating_pays_with_a_decay(tmp_path: Path) -> None:
    """The rest told is where both take the same: 30 µC (1 - exp(-t/20 s)) = 1 µA t."""
    more = "gated: true, capacitance: 10 uF, standby: 1 µA, decay: 20 s"
    rest = told(made(tmp_path, more=more)).gating[0].pays_beyond_s
    assert rest is not None
    assert 30e-6 * (1 - np.exp(-rest / 20)) == pytest.approx(1e-6 * rest, rel=1e-9)
    assert 17.0 < rest < 18.0


def test_pulses_of_a_constant_charge() -> None:
    """1 µA without load, 3 to 1.8 V, 90 %: the efficiencies are plain arithmetic."""
    light = LightMode(*(np.array([x]) for x in (2e-3, 1e-6, 0.9, 3.0)))
    table = np.array([2e-3]), np.array([[0.9]])
    for amps, wanted in ((1e-6, 36.0), (1e-5, 78.3), (1e-4, 88.7), (1e-3, 89.9)):
        a, w = through_switching(np.array([amps]), np.array([1.8]), np.array([1e-6]), *table, light)
        assert 100 * 1.8 * amps / (3 * a[0] + w[0]) == pytest.approx(wanted, abs=0.05)


@pytest.mark.parametrize("efficiency", [0.2, 0.6, 0.95])
def test_more_load_is_never_the_cheaper(efficiency: float) -> None:
    light = LightMode(*(np.array([x]) for x in (1e-3, 5e-7, efficiency, 3.0)))
    amps = np.geomspace(1e-7, 1e-1, 2000)
    a, w = through_switching(
        amps,
        np.array([1.8]),
        np.array([1e-6]),
        np.array([1e-5, 1e-3, 1e-1]),
        np.array([[0.7], [0.85], [0.9]]) * np.ones(2000),
        light,
    )
    drawn = a + w / 3.0
    assert (np.diff(drawn) >= -1e-15).all()


def test_a_load_on_its_rail_is_held_against_the_rail_s_limits(tmp_path: Path) -> None:
    rail = RAIL.replace("GATED", "true")
    weak = {"up": CONVERTER.replace("max-output: 200 mA", "max-output: 20 mA")}
    with pytest.raises(Exception, match="up max-output for rail radio"):
        explain(*made(tmp_path / "a", rail, "rail: radio", weak), "chip")
    with pytest.raises(Exception, match="supply min of load radio of report"):
        explain(*made(tmp_path / "b", rail, "rail: radio, supply: {min: 3.4 V}"), "chip")
    # on the main rail of 3.0 V it would not do
    explain(*made(tmp_path / "c", rail, "rail: radio, supply: {min: 3.2 V}"), "chip")
    narrow = {
        "up": CONVERTER.replace("output: {min: 1.8 V, max: 3.6 V}", "output: {min: 1 V, max: 3 V}")
    }
    with pytest.raises(Exception, match="up output max for rail radio"):
        explain(*made(tmp_path / "d", rail, "rail: radio", narrow), "chip")


def test_a_gated_converter_must_state_its_start(tmp_path: Path) -> None:
    without = {"up": CONVERTER.replace("start-up: 12 µJ\n", "")}
    with pytest.raises(FaultError, match="up:start-up"):
        evaluate(*made(tmp_path, RAIL.replace("GATED", "true"), "rail: radio", without))
    told(made(tmp_path / "b", RAIL.replace("GATED", "false"), "rail: radio", without))


@pytest.mark.parametrize(
    ("rail", "path"),
    [
        ("{rail: radio, converters: [up]}", "rails.radio.voltage"),
        ("{rail: radio, voltage: 3.3 V}", "rails.radio.converters"),
        ("{rail: radio, voltage: 3.3 V, converters: [up], gated: true}", "rails.radio.capacitance"),
        ("{rail: radio, voltage: 3.3 V, converters: [upp]}", "rails.radio.converters.upp"),
    ],
)
def test_what_a_rail_must_state(rail: str, path: str, tmp_path: Path) -> None:
    with pytest.raises(FaultError) as error:
        made(tmp_path, rail, "rail: radio")
    assert [fault.path for fault in error.value.faults] == [f"probe:{path}"]


def test_two_of_one_converter_are_bought(tmp_path: Path) -> None:
    rail = (
        "{rail: a, voltage: 3.3 V, converters: [up]}, {rail: b, voltage: 3.2 V, converters: [up]}"
    )
    product = PRODUCT.replace(
        "supply-options:", "standing-loads: [{load: x, current: 1 µA, rail: b}]\nsupply-options:"
    )
    found = told(made(tmp_path, rail, "rail: a", product=product))
    item = next(m for m in found.money if m.item == "2 x up")
    assert item.amount == pytest.approx(1.0, rel=1e-12)


def test_rests_are_those_of_each_time(tmp_path: Path) -> None:
    """A decay of 60 s, uses every 60 s by day and every 600 s by night: fillings of each time."""
    times = "times: [{time: day, share: 0.75}, {time: night, share: 0.25}]\nworkload:"
    product = PRODUCT.replace("workload:", times).replace(
        "every: 60 s", "every: {day: 60 s, night: 600 s}"
    )
    more = "gated: true, capacitance: 10 uF, decay: 60 s"
    found = told(made(tmp_path, more=more, product=product))
    by_hand = sum(
        share / period * 30e-6 * (1 - np.exp(-(period - 0.06) / 60))
        for share, period in ((0.75, 60.0), (0.25, 600.0))
    )
    assert amounts(found)["report: filling radio"] == pytest.approx(by_hand, rel=1e-9)


def test_tries_fill_once_and_tries_of_all_fill_each_time(tmp_path: Path) -> None:
    """Tries of a load follow each other; 1.25 tries of a whole event switch on 1.25 times."""
    rail = RAIL.replace("GATED", "true")
    retried = told(made(tmp_path / "a", rail, "rail: radio, retries: {fails: 0.2}"))
    once = told(made(tmp_path / "b", rail, "rail: radio"))
    product = PRODUCT.replace("kernels: {crc: 1}", "kernels: {crc: 1}\n    retries: {fails: 0.2}")
    whole = told(made(tmp_path / "c", rail, "rail: radio", product=product))
    for name in ("filling rail radio", "starts of up on radio"):
        assert amounts(retried)[name] == pytest.approx(amounts(once)[name], rel=1e-9)
        assert amounts(whole)[name] == pytest.approx(1.25 * amounts(once)[name], rel=1e-9)
    load = "report: load radio"
    assert amounts(retried)[load] == pytest.approx(1.25 * amounts(once)[load], rel=1e-9)


def test_pulses_on_a_rail_meet_those_on_another(tmp_path: Path) -> None:
    """At random, a load that the core sleeps through is on beside another task's, the rail full."""
    other = (
        "  - {task: ring, every: 300 s, arrival: random, loads: [{load: bell, current: 5 mA, "
        "for: 1 s, cpu: asleep, rail: radio}]}\nsupply-options:"
    )
    product = PRODUCT.replace("supply-options:", other)
    inputs = made(tmp_path, RAIL.replace("GATED", "true"), "rail: radio", product=product)
    best = evaluate(*inputs).candidates[0].best
    # the rail's 10 µF at 3.3 V over the radio's 60 ms
    filling = 33e-6 / 60e-3
    assert best.assessed.rail_peaks[0][0] == pytest.approx(31e-3 + filling, rel=1e-6)


def test_draws_move_every_key_of_a_rail(tmp_path: Path) -> None:
    """Spread alone of a rail's figures spreads the life."""
    rail = "{rail: radio, voltage: 3.3 V ± 2 %, converters: [up], gated: true, capacitance: 10 uF}"
    found = evaluate(*made(tmp_path, rail, "rail: radio"), draws=200).candidates[0]
    assert found.drawn is not None
    assert float(found.drawn.battery_a.std() / found.drawn.battery_a.mean()) > 1e-3


# Invariants on random products --------------------------------------------------------------------

IDEAL = (
    "converter: ideal\ninvented: true\nkind: buck-boost\ninput: {min: 1.0 V, max: 6 V}\n"
    "output: {min: 1.0 V, max: 5 V}\nquiescent: 0 µA\nefficiency: {1 nA: 1}\nmax-output: 9 A\n"
    "price: {currency: EUR, breaks: {1: 0.1}}\nstart-up: 0 J\n"
)
FLAT = IDEAL.replace("ideal", "flat").replace("quiescent: 0 µA", "quiescent: 0.7 µA")
LOSSY = FLAT.replace("flat", "lossy").replace("{1 nA: 1}", "{100 µA: 0.8, 10 mA: 0.9}")
SOME = [s for s in range(40) if any("loads:" in task for task in draft(s).tasks)][:10]


def on_rail(one: Draft, rails: str, more: str, main: str = "ideal") -> Draft:
    """A draft with its loads changed, its main rail through `main`, and further rails."""
    return replace(
        one,
        converters={"ideal": IDEAL, "flat": FLAT, "lossy": LOSSY, **one.converters},
        converter_options=[main],
        tasks=[task.replace("{load: radio,", f"{{load: radio, {more}") for task in one.tasks],
        priorities=one.priorities + (f"rails: [{rails}]\n" if rails else ""),
    )


def every(one: Draft, root: Path) -> tuple[Evaluation, dict[tuple[str, ...], Build]]:
    """The decision, and the builds by what they are made of, rails apart."""
    found = evaluate(*one.load(root))
    builds = [b for c in found.candidates for b in c.builds]
    return found, {
        (
            str(b.assessed.feed.option.cell),
            b.assessed.sleep_name(b.row),
            *(o.label for o in b.assessed.options(b.row)),
        ): b
        for b in builds
    }


def currents(builds: dict[tuple[str, ...], Build]) -> dict[tuple[str, ...], tuple[float, float]]:
    return {
        k: (float(b.assessed.battery_a[b.row, 0]), float(b.assessed.life.life_s[b.row, 0]))
        for k, b in builds.items()
    }


@pytest.mark.parametrize("seed", mostly_slow(SOME, 3))
def test_a_second_rail_takes_what_its_converter_takes(seed: int, tmp_path: Path) -> None:
    """Of equal voltage through an ideal converter it is as one rail; a linear one beside it adds
    its quiescent current and no more."""
    one = draft(seed)
    _, alone = every(on_rail(one, "", ""), tmp_path / "a")
    rail = "{rail: aux, voltage: 1.9 V, converters: [ideal]}"
    _, same = every(on_rail(one, rail, "rail: aux, "), tmp_path / "b")
    before, after = currents(alone), currents(same)
    assert before.keys() == after.keys()
    for key, values in before.items():
        assert after[key] == pytest.approx(values, rel=1e-9)
    _, down = every(on_rail(one, "", "", "down"), tmp_path / "c")
    _, beside = every(
        on_rail(one, rail.replace("ideal", "down"), "rail: aux, ", "down"), tmp_path / "d"
    )
    before, after = currents(down), currents(beside)
    common = before.keys() & after.keys()
    assert common or not before
    for key in common:
        assert after[key][0] == pytest.approx(before[key][0] + 0.5e-6, rel=1e-9)


@pytest.mark.parametrize("seed", mostly_slow(SOME, 3))
def test_gating_nothing_changes_nothing(seed: int, tmp_path: Path) -> None:
    one = draft(seed)
    rail = "{rail: aux, voltage: 2.2 V, converters: [lossy]}"
    _, plain = every(on_rail(one, rail, "rail: aux, "), tmp_path / "a")
    more = "rail: aux, gated: true, capacitance: 0 uF, "
    _, gated = every(on_rail(one, rail, more), tmp_path / "b")
    assert currents(plain) == currents(gated)


@pytest.mark.parametrize("seed", mostly_slow(SOME, 3))
def test_a_light_load_mode_like_the_line_changes_nothing(seed: int, tmp_path: Path) -> None:
    """The line without a no-load current is V I/(eta V), whatever the pack's voltage."""
    one = draft(seed)
    line = LOSSY.replace("quiescent: 0.7 µA", "quiescent: 0 µA")
    mode = line + "light-load: {below: 100 µA, no-load: 0 µA, efficiency: 80 %}\n"
    rail = "{rail: aux, voltage: 2.2 V, converters: [lossy]}"
    found = []
    for n, text in enumerate((line, mode)):
        base = on_rail(one, rail, "rail: aux, ", "lossy")
        changed = replace(base, converters={**base.converters, "lossy": text})
        found.append(currents(every(changed, tmp_path / str(n))[1]))
    assert found[0].keys() == found[1].keys()
    for key, values in found[0].items():
        assert found[1][key] == pytest.approx(values, rel=1e-12)


@pytest.mark.parametrize("seed", mostly_slow(SOME, 3))
def test_another_converter_never_makes_a_part_worse(seed: int, tmp_path: Path) -> None:
    one = draft(seed)
    few, _ = every(
        on_rail(one, "{rail: aux, voltage: 1.9 V, converters: [down]}", "rail: aux, "),
        tmp_path / "a",
    )
    rail = "{rail: aux, voltage: 1.9 V, converters: [down, lossy]}"
    more, _ = every(on_rail(one, rail, "rail: aux, "), tmp_path / "b")
    assert len(more.candidates) >= len(few.candidates)
    if few.candidates:
        assert more.candidates[0].score >= few.candidates[0].score - 1e-9


A = {"below": "A", "no-load": "A", "efficiency": ""}

# Event by event -----------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", mostly_slow(range(24), 4))
def test_event_by_event(seed: int, tmp_path: Path) -> None:
    """The life of random devices with rails against a simulation of every event.

    An event more or less is a thousandth of the life at the most.
    """
    rng = np.random.default_rng((seed, 31))
    kinds = [str(rng.choice(["none", "linear", "switching"])) for _ in range(3)]
    gated = [False, bool(rng.random() < 0.6), bool(rng.random() < 0.6)]
    volts = [1.9, float(rng.uniform(2.0, 2.3)), float(rng.uniform(3.3, 3.6))]
    kinds[2] = "switching"
    rails, texts, lines = [], {}, []
    for r, kind in enumerate(kinds):
        light = None
        if kind == "switching" and rng.random() < 0.5:
            light = (float(rng.uniform(2e-4, 9e-4)), 1e-6, float(rng.uniform(0.85, 0.95)))
        start = float(rng.uniform(1e-5, 4e-4))
        starts = start if gated[r] and kind != "none" else 0.0
        source = Source(kind, volts[r], 2e-6, 1e-3, 0.8, light, starts)
        decay = None if rng.random() < 0.5 else float(rng.uniform(0.5, 30))
        farads = float(rng.uniform(1e-5, 1e-4))
        standing = 0.0 if gated[r] else float(rng.uniform(1e-6, 5e-6))
        rails.append(Branch(source, standing, Capacitor(farads, decay) if gated[r] else None))
        own = {
            "linear": "kind: linear\ndropout: 0.1 V\n",
            "switching": "kind: buck-boost\nefficiency: {1 mA: 0.8}\n",
            "none": "",
        }[kind]
        mode = ""
        if light is not None:
            keys = zip(("below", "no-load", "efficiency"), light, strict=True)
            mode = f"light-load: {{{', '.join(f'{k}: {x} {A[k]}' for k, x in keys)}}}\n"
        if kind != "none":
            texts[f"c{r}"] = (
                f"converter: c{r}\ninvented: true\n{own}input: {{min: 1 V, max: 5 V}}\n"
                f"output: {{min: 1 V, max: 5 V}}\nquiescent: 2 µA\nstart-up: {start} J\n{mode}"
                "max-output: 1 A\nprice: {currency: EUR, breaks: {1: 1}}\n"
            )
        if r:
            behind = f"voltage: {volts[r]} V, converters: [c{r}]"
            by = "converters: [none]" if kind == "none" else behind
            empties = "" if decay is None else f", decay: {decay} s"
            gate = f", gated: true, capacitance: {farads} F{empties}" if gated[r] else ""
            lines.append(f"{{rail: r{r}, {by}{gate}}}")
    jobs, tasks = [], []
    for k, period in enumerate((20.0, 60.0)):
        core = float(rng.uniform(1e-3, 8e-3))
        loads, written = [], []
        # a rail of its own for each task, or the pack's: rests of one task are then exact
        for n, r in enumerate((k + 1, 0, k + 1)[: int(rng.integers(1, 4))]):
            amps, seconds = float(rng.uniform(2e-3, 2e-2)), float(rng.uniform(0.01, 0.05))
            store: Capacitor | None = None
            extra = f", rail: r{r}" if r else ""
            if rng.random() < 0.5:
                store = Capacitor(float(rng.uniform(1e-6, 5e-5)), float(rng.uniform(1, 40)))
                extra += f", gated: true, capacitance: {store.farads} F, decay: {store.decay} s"
            loads.append(Switched(r, amps, seconds, store))
            written.append(f"{{load: l{n}, current: {amps} A, for: {seconds} s{extra}}}")
        jobs.append((period, 5e-3, core, loads))
        tasks.append(
            f"  - {{task: t{k}, every: {period} s, kernels: {{crc: {core / 2e-3}}}, "
            f"loads: [{', '.join(written)}]}}\n"
        )
    stands = [f"{{load: s0, current: {rails[0].standing} A}}"]
    stands += [
        f"{{load: s{r}, current: {rails[r].standing} A, rail: r{r}}}"
        for r in (1, 2)
        if not gated[r]
    ]
    machine = Machine(6.0, (3.2, 2.6), 2e-6, 1e-3, rails, jobs)
    cell = (
        "cell: pill\ninvented: true\nnominal-voltage: 2.9 V\ncapacity: 6 C\n"
        "voltage-curve: {0: 3.2 V, 1: 2.6 V}\nresistance: 0.001 ohm\ncut-off: 1 V\n"
        "temperature: {20 degC: {capacity: 1, resistance: 1}}\nself-discharge: 0 /s\n"
        "doubles-every: 10 K\nprice: {currency: EUR, breaks: {1: 2}}\n"
    )
    (tmp_path / "cells").mkdir()
    (tmp_path / "cells/pill.yaml").write_text(cell)
    main = "none" if kinds[0] == "none" else "c0"
    product = (
        "product: probe\ninvented: true\nservice-life: 1 years\nrail: 1.9 V\n"
        f"environment: [{{at: 20 degC, share: 1}}]\nrails: [{', '.join(lines)}]\n"
        f"workload:\n{''.join(tasks)}standing-loads: [{', '.join(stands)}]\n"
        f"supply-options: {{cells: [{{cell: pill}}], converters: [{main}]}}\n"
        "cost: {currency: EUR, units: 100, engineer-rate: 80 EUR/h, service-visit: 10, tools: 0}\n"
        "priorities: {battery-life: {weight: 1, poor: 0 years, good: 5 years}}\n"
    )
    found = evaluate(*made(tmp_path, converters=texts, product=product))
    builds = [b for b in found.candidates[0].builds if b.assessed.sleep_name(b.row) == "ram-kept"]
    assert len(builds) == 1
    life = float(builds[0].assessed.life.life_s[builds[0].row, 0])
    assert life == pytest.approx(machine.life(2.9), rel=3e-3)
