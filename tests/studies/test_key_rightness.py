"""What a key changes is changed by the right amount: the answer against a formula of its own.

The formula below is written from the model's description, in plain arithmetic without arrays: an
event's charge state by state, the mean current, the charge at hand, the money over the service
life, the score. Each figure is moved in turn by a tenth.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path

import pytest

from advisor.catalogue.load import load_run, with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.studies.shortlist import shortlist

YEAR = 365.25 * 86400.0
PART = """
part: chip
invented: true
lifecycle: active
memory: {flash: 64 KiB, ram: 16 KiB}
supply: {min: 1.7 V, max: 3.7 V}
temperature: {min: -40 degC, max: 85 degC}
operating-points: {fast: {idle-current: 1.1 mA, supply: 3.3 V}}
kernels:
  hash: {fast: {time: 0.4 ms, current: 6.0 mA, supply: 3.3 V}}
  filter: {fast: {time: 0.2 ms, current: 7.0 mA, supply: 3.3 V}}
blocks: {advert: {current: 6.1 mA, for: 2.1 ms}}
sleep-states:
  ram-kept:
    current: {0 degC: 1 µA, 40 degC: 4 µA}
    wake-time: 0.9 ms
    wake-charge: 1.4 µC
    retains: [ram, rtc]
    adds: {ram-kib: 90 nA, rtc: 200 nA}
price: {currency: USD, breaks: {1: 1.42, 1000: 0.98}, multiple: 300}
extras: [{item: crystal, price: 0.12}]
toolchain: {setup: 3 h}
own-figures: {merit: 3}
"""
PRODUCT = """
product: probe
invented: true
life-target: 5 years
service-life: 12 years
rail: 2.2 V
environment: [{at: 10 degC, share: 0.6}, {at: 30 degC, share: 0.4}]
workload:
  - task: sample
    every: 40 s
    kernels: {filter: 8, hash: 2}
    uses: {advert: 2}
    loads:
      - {load: sensor, current: 2 mA, for: 12 ms, cpu: asleep}
      - {load: radio, current: 60 mA, for: 20 ms, cpu: idle}
      - {load: pump, charge: 40 µC, for: 10 ms, cpu: idle}
      - {load: lamp, power: 30 mW, for: 5 ms, cpu: asleep}
standing-loads: [{load: divider, current: 0.8 µA}, {load: keeper, power: 2 µW}]
retain: [ram, rtc]
needs: {memory: {ram: 12 KiB}}
supply-options: SUPPLY
cost:
  {currency: EUR, units: UNITS, engineer-rate: 80 EUR/h, service-visit: 30.00, tools: 100,
   rates: {USD: 0.92}}
priorities:
  battery-life: {weight: 5, poor: 0.1 years, good: 40 years}
  lifetime-cost: {weight: 4, poor: 900.00, good: 0}
  purchase-cost: {weight: 2, poor: 20, good: 0}
  own-figures.merit: {weight: 1, poor: 0, good: 10}
"""
CELL = """
cell: pill
invented: true
nominal-voltage: 3.0 V
capacity: 500 mAh
voltage-curve: {0: 3.0 V, 1: LAST V}
resistance: {0: 0.4 ohm, 1: 0.7 ohm}
cut-off: 1.5 V
temperature: {-20 degC: {capacity: 0.8, resistance: 2}, 40 degC: {capacity: 1.0, resistance: 1}}
self-discharge: 1.5 %/year
doubles-every: 10 K
price: {currency: EUR, breaks: {1: 2.60}}
"""
CONVERTER = """
converter: conv
invented: true
kind: linear
input: {min: 1.9 V, max: 5.5 V}
output: {min: 1.2 V, max: 3.6 V}
quiescent: 1.1 µA
dropout: 150 mV
max-output: 200 mA
price: {currency: EUR, breaks: {1: 0.28}}
"""
# path -> (value, unit); what a path leads to by its position has a short name in the formula
CHIP = {
    "chip:operating-points.fast.idle-current": (1.1e-3, "A"),
    "chip:kernels.hash.fast.time": (0.4e-3, "s"),
    "chip:kernels.hash.fast.current": (6.0e-3, "A"),
    "chip:kernels.filter.fast.time": (0.2e-3, "s"),
    "chip:kernels.filter.fast.current": (7.0e-3, "A"),
    "chip:blocks.advert.current": (6.1e-3, "A"),
    "chip:blocks.advert.for": (2.1e-3, "s"),
    "chip:sleep-states.ram-kept.current.0 degC": (1e-6, "A"),
    "chip:sleep-states.ram-kept.current.40 degC": (4e-6, "A"),
    "chip:sleep-states.ram-kept.wake-time": (0.9e-3, "s"),
    "chip:sleep-states.ram-kept.wake-charge": (1.4e-6, "C"),
    "chip:sleep-states.ram-kept.adds.ram-kib": (90e-9, "A"),
    "chip:sleep-states.ram-kept.adds.rtc": (200e-9, "A"),
    "chip:price.breaks.1": (1.42, ""),
    "chip:price.breaks.1000": (0.98, ""),
    "chip:price.multiple": (300, ""),
    "chip:extras.crystal.price": (0.12, ""),
    "chip:toolchain.setup": (3 * 3600.0, "s"),
    "chip:own-figures.merit": (3.0, ""),
    "probe:service-life": (12 * YEAR, "s"),
    "probe:workload.sample.every": (40.0, "s"),
    "probe:workload.sample.kernels.filter": (8.0, ""),
    "probe:workload.sample.kernels.hash": (2.0, ""),
    "probe:workload.sample.uses.advert": (2.0, ""),
    "probe:workload.sample.loads.sensor.current": (2e-3, "A"),
    "probe:workload.sample.loads.sensor.for": (12e-3, "s"),
    "probe:workload.sample.loads.radio.current": (60e-3, "A"),
    "probe:workload.sample.loads.radio.for": (20e-3, "s"),
    "probe:workload.sample.loads.pump.charge": (40e-6, "C"),
    "probe:workload.sample.loads.pump.for": (10e-3, "s"),
    "probe:workload.sample.loads.lamp.power": (30e-3, "W"),
    "probe:workload.sample.loads.lamp.for": (5e-3, "s"),
    "probe:standing-loads.divider.current": (0.8e-6, "A"),
    "probe:standing-loads.keeper.power": (2e-6, "W"),
    "probe:needs.memory.ram": (12 * 1024.0, "B"),
    "probe:cost.units": (450, ""),
    "probe:cost.engineer-rate": (80.0, "EUR/h"),
    "probe:cost.service-visit": (30.0, ""),
    "probe:cost.tools": (100.0, ""),
    "probe:cost.rates.USD": (0.92, ""),
    "probe:priorities.battery-life.weight": (5.0, ""),
    "probe:priorities.battery-life.poor": (0.1 * YEAR, "s"),
    "probe:priorities.battery-life.good": (40 * YEAR, "s"),
    "probe:priorities.lifetime-cost.weight": (4.0, ""),
    "probe:priorities.lifetime-cost.poor": (900.0, ""),
    "probe:priorities.purchase-cost.weight": (2.0, ""),
    "probe:priorities.purchase-cost.poor": (20.0, ""),
    "probe:priorities.own-figures.merit.weight": (1.0, ""),
    "probe:priorities.own-figures.merit.good": (10.0, ""),
}
BUDGET = {
    "probe:supply-options.reservoir.leakage": (0.5e-6, "A"),
    "probe:supply-options.reservoir.price": (0.20, ""),
}
PILL = {
    "pill:capacity": (1800.0, "C"),
    "pill:voltage-curve.0": (3.0, "V"),
    "pill:voltage-curve.1": (2.0, "V"),
    "pill:resistance.0": (0.4, "ohm"),
    "pill:resistance.1": (0.7, "ohm"),
    "pill:temperature.-20 degC.capacity": (0.8, ""),
    "pill:temperature.-20 degC.resistance": (2.0, ""),
    "pill:self-discharge": (0.015 / YEAR, "/s"),
    "pill:doubles-every": (10.0, "K"),
    "pill:price.breaks.1": (2.60, ""),
    "conv:quiescent": (1.1e-6, "A"),
    "conv:dropout": (0.150, "V"),
    "conv:price.breaks.1": (0.28, ""),
    "probe:rail": (2.2, "V"),
    "pill:parallel": (1, ""),
}
# what does not bind in a setting
NOT_FELT: dict[str, set[str]] = {
    "ideal": {"chip:price.breaks.1000"},
    "sag": {"pill:temperature.-20 degC.capacity", "chip:price.breaks.1"},
    "cold": {
        "chip:price.breaks.1000",
        "pill:voltage-curve.0",
        "pill:voltage-curve.1",
        "pill:resistance.0",
        "pill:resistance.1",
        "pill:temperature.-20 degC.resistance",
        "conv:dropout",
    },
}


def answer(f: Mapping[str, float], setting: str) -> dict[str, float]:
    """Life in s, money per unit and score, from figures by path in SI."""

    def chip(name: str) -> float:
        return f[f"chip:{name}"]

    def own(name: str) -> float:
        return f[f"probe:{name}"]

    sleep = 0.0
    cold, hot = (
        chip("sleep-states.ram-kept.current.0 degC"),
        chip("sleep-states.ram-kept.current.40 degC"),
    )
    for at, share in ((10, 0.6), (30, 0.4)):
        sleep += share * cold * (hot / cold) ** (at / 40)
    sleep += chip("sleep-states.ram-kept.adds.rtc")
    sleep += chip("sleep-states.ram-kept.adds.ram-kib") * own("needs.memory.ram") / 1024
    idle = chip("operating-points.fast.idle-current")
    wake, every = chip("sleep-states.ram-kept.wake-time"), own("workload.sample.every")
    # it wakes for the kernels, and once more for the radio after it slept through the sensor
    length, charge = 2 * wake, 2 * chip("sleep-states.ram-kept.wake-charge")
    for kernel in ("filter", "hash"):
        time = own(f"workload.sample.kernels.{kernel}") * chip(f"kernels.{kernel}.fast.time")
        length, charge = length + time, charge + time * chip(f"kernels.{kernel}.fast.current")
    time = own("workload.sample.uses.advert") * chip("blocks.advert.for")
    length, charge = length + time, charge + time * (chip("blocks.advert.current") + idle)
    # what feeds a power: the ideal source's own voltage, or the rail
    volts = 3.0 if setting == "ideal" else own("rail")
    for load, beside in (("sensor", sleep), ("radio", idle), ("pump", idle), ("lamp", sleep)):
        of = f"workload.sample.loads.{load}"
        time = own(f"{of}.for")
        length += time
        charge += time * beside
        if load == "pump":
            charge += own(f"{of}.charge")
        elif load == "lamp":
            charge += time * own(f"{of}.power") / volts
        else:
            charge += time * own(f"{of}.current")
    standing = own("standing-loads.divider.current") + own("standing-loads.keeper.power") / volts
    mean = charge / every + sleep * (1 - length / every) + standing
    pack = converter = reservoir = 0.0
    if setting == "ideal":
        life = 3240.0 / (mean + own("supply-options.reservoir.leakage"))
        reservoir = own("supply-options.reservoir.price")
    else:
        strings = f["pill:parallel"]
        mean += f["conv:quiescent"]
        peak = own("workload.sample.loads.radio.current") + idle + standing + f["conv:quiescent"]
        r = f["pill:temperature.-20 degC.resistance"]
        worst = (r + (1 - r) * 30 / 60) / strings  # at 10 degC, half-way from -20 to 40
        v0, v1 = f["pill:voltage-curve.0"], f["pill:voltage-curve.1"]
        at_0 = v0 - peak * worst * f["pill:resistance.0"]
        at_1 = v1 - peak * worst * f["pill:resistance.1"]
        least = own("rail") + f["conv:dropout"]
        sag = (at_0 - least) / (at_0 - at_1)
        cap = f["pill:temperature.-20 degC.capacity"]
        usable = min(1.0, (cap + 1.0) / 2, sag if at_1 < least else 1.0)
        step = f["pill:doubles-every"]
        warmth = 0.6 * 2 ** (-10 / step) + 0.4 * 2 ** (10 / step)
        capacity = f["pill:capacity"] * strings
        life = capacity * usable / (mean + capacity * f["pill:self-discharge"] * warmth)
        pack, converter = strings * f["pill:price.breaks.1"], f["conv:price.breaks.1"]
    units, multiple = own("cost.units"), chip("price.multiple")
    ways = []
    for quantity, price in ((1, chip("price.breaks.1")), (1000, chip("price.breaks.1000"))):
        bought = math.ceil(max(units, quantity) / multiple) * multiple
        ways.append(bought * (chip("price.breaks.1000") if bought >= 1000 else price))
    rate = own("cost.rates.USD")
    purchase = min(ways) * rate / units + chip("extras.crystal.price") * rate
    purchase += pack + converter + reservoir
    hours = chip("toolchain.setup") / 3600
    development = (hours * own("cost.engineer-rate") + own("cost.tools")) / units
    changes = max(0, math.ceil(own("service-life") / life) - 1)
    upkeep = changes * (pack + own("cost.service-visit"))
    lifetime = purchase + development + upkeep

    def worth(name: str, value: float, poor: float, good: float) -> float:
        weight = own(f"priorities.{name}.weight")
        return weight * min(1.0, max(0.0, (value - poor) / (good - poor)))

    names = ("battery-life", "lifetime-cost", "purchase-cost", "own-figures.merit")
    weights = sum(own(f"priorities.{n}.weight") for n in names)
    anchors = own("priorities.battery-life.poor"), own("priorities.battery-life.good")
    score = worth("battery-life", life, *anchors)
    score += worth("lifetime-cost", lifetime, own("priorities.lifetime-cost.poor"), 0.0)
    score += worth("purchase-cost", purchase, own("priorities.purchase-cost.poor"), 0.0)
    merit = chip("own-figures.merit")
    score += worth("own-figures.merit", merit, 0.0, own("priorities.own-figures.merit.good"))
    return {
        "life": life,
        "purchase": purchase,
        "development": development,
        "upkeep": upkeep,
        "lifetime": lifetime,
        "changes": float(changes),
        "score": 100 * score / weights,
    }


SUPPLY = {
    "ideal": "{cells: [{budget: 900 mAh, voltage: 3.0 V}], converters: [none], reservoir: "
    "{capacitance: 20 uF, esr: 0.5 ohm, leakage: 0.5 µA, price: 0.20}}",
    "sag": "{cells: [{cell: pill, parallel: 1}], converters: [conv]}",
}
SUPPLY["cold"] = SUPPLY["sag"]
# 450 chips are two packages at the first price; 850 are cheapest as 1200 at the second
UNITS = {"ideal": 450, "sag": 850, "cold": 450}
LAST = {"sag": "2.0", "cold": "2.9"}


def figures(setting: str) -> dict[str, tuple[float, str]]:
    found = CHIP | (BUDGET if setting == "ideal" else PILL)
    found = found | {"probe:cost.units": (UNITS[setting], "")}
    if setting == "cold":
        found = found | {"pill:voltage-curve.1": (2.9, "V")}
    return found


def _product(setting: str) -> str:
    return PRODUCT.replace("SUPPLY", SUPPLY[setting]).replace("UNITS", str(UNITS[setting]))


def inputs(root: Path, setting: str) -> tuple[Catalogue, Product]:
    for folder in ("parts", "cells", "converters"):
        (root / folder).mkdir()
    (root / "kernels.yaml").write_text("hash: {work: a}\nfilter: {work: a}\n")
    (root / "parts/chip.yaml").write_text(PART)
    (root / "cells/pill.yaml").write_text(CELL.replace("LAST", LAST.get(setting, "2.0")))
    (root / "converters/conv.yaml").write_text(CONVERTER)
    return load_run([root], _product(setting).encode())


def told(found: tuple[Catalogue, Product]) -> dict[str, float]:
    (best,) = shortlist(*found, draws=0).ranking
    money = best.cost
    named = {
        "life": best.battery_life_s.nominal,
        "purchase": money.purchase,
        "development": money.development,
        "upkeep": money.upkeep,
        "lifetime": money.lifetime,
        "changes": money.replacements,
        "score": best.score,
    }
    assert all(v is not None for v in named.values())
    return {k: float(v) for k, v in named.items() if v is not None}


@pytest.mark.parametrize("setting", SUPPLY)
def test_each_figure_changes_the_answer_by_the_right_amount(tmp_path: Path, setting: str) -> None:
    made = inputs(tmp_path, setting)
    stated = figures(setting)
    base = {path: value for path, (value, _) in stated.items()}
    expected = answer(base, setting)
    assert told(made) == pytest.approx(expected, rel=1e-7)
    idle = set()
    for path, (value, unit) in stated.items():
        whole = isinstance(value, int)
        moved = value + max(1, value // 10) if whole else value * 1.1
        if path == "pill:voltage-curve.1" and setting == "cold":
            moved = 2.95
        to = answer({**base, path: moved}, setting)
        if path == "pill:parallel":
            change = [f"probe:supply-options.cells=[{{cell: pill, parallel: {moved}}}]"]
        else:
            change = [f"{path}={moved:.12g} {unit}"]
        # crossings are found to 1e-8 of depth
        assert told(with_changes(*made, change)) == pytest.approx(to, rel=1e-7), path
        if to == expected:
            idle.add(path)
    # what does not bind is known beforehand; everything else is felt
    assert idle == NOT_FELT[setting]
