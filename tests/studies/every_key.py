"""Documents that state every key of the schema at least once; they describe nothing real."""

from __future__ import annotations

import datetime

KERNELS = """
hash: {work: one block hashed, stresses: integer, check: a digest}
filter: {work: 64 samples filtered, stresses: memory, check: a sum}
"""

PART = """
part: probe-part
maker: Probe
invented: true
summary: a part that states everything
lifecycle: active
core: {architecture: rv32imc, cores: 1, float-unit: none}
memory: {flash: 64 KiB, ram: 16 KiB}
supply: {min: 1.7 V, max: 3.7 V, regulator: linear, brown-out: 1.9 V}
temperature: {min: -40 degC, max: 85 degC}
features: {uart: 2}
evidence:
  bench: {kind: bench, date: 2026-03-11, instrument: meter-a, gain: 1 %, note: three boards,
          built: {toolchain: probe-kit, compiler: cc 12, flags: -O2, pack: 1f2e}}
  sheet: {kind: datasheet, date: 2026-01-01}
operating-points:
  fast:
    {clock: 48 MHz, idle-current: 1.1(1) mA, supply: 3.3 V, supply-min: 1.8 V, evidence: sheet}
  middle:
    clock: 24 MHz
    idle-current: 0.8 mA
    run-current: {per-clock: 100 uA/MHz, base: 0.2 mA, supply: 3.0 V, evidence: sheet}
  spare: {clock: 8 MHz}
run-current: 120 uA/MHz
kernels:
  hash:
    fast:
      time: 0.4(1) ms
      current: 6.0(1) mA
      supply: 3.3 V
      correlation: 0.4
      version: 1
      evidence: bench
    middle: {cycles: 19200}
    spare: {cycles: 19000}
    fast+aid: {time: 0.1(1) ms, current: 7.0(1) mA, supply: 3.3 V, evidence: bench}
  filter:
    fast:
      {time: 0.2(1) ms, current: 7.0(1) mA, supply: 3.3 V, evidence: bench,
       evidence-of: {time: sheet}}
    middle: {cycles: 9600}
    spare: {cycles: 9500}
blocks:
  radio-advert:
    {current: 6.1(1) mA, for: 2.1 ms, supply: {min: 1.8 V, max: 3.6 V}, evidence: bench,
     evidence-of: {for: sheet}}
sleep-states:
  ram-kept:
    current: {-20 degC: 1 µA, 25 degC: {typical: 2.4 µA, max: 5 µA}, 85 degC: 18 µA}
    supply: {25 degC: 3.0 V, 85 degC: 3.1 V}
    wake-time: 900 us
    wake-charge: 1.4 µC
    retains: [ram, rtc]
    adds: {ram-kib: 90 nA, rtc: 200 nA}
    evidence: sheet
    evidence-of: {25 degC: bench, wake-time: sheet}
price:
  {currency: EUR, breaks: {1: 1.42, 100: 0.98, 10000: 0.60}, multiple: 300, discount: all-units,
   lead-time: 12 weeks,
   offer: quote 7, date: 2026-05-04, stock: 1200}
extras: [{item: crystal, price: 0.12}]
toolchain:
  id: probe-kit
  maturity:
    compiler: {answer: full, evidence: upstream}
    debug: partial, needs a patch
  setup: {low: 2 h, likely: 3 h, high: 8 h}
board-area: 40 mm2
peak-current: 30 mA
own-figures: {radiation-score: 3}
code-size: {hash: 1.2 KiB}
boards:
  b-1-1f2e:
    {board: b-1, date: 2026-03-11, trace: 1f2e, evidence: bench,
     kernels: {hash: {fast: {time: 0.4(1) ms, current: 6.0(1) mA, supply: 3.3 V}}},
     operating-points: {fast: {idle-current: 1.1(1) mA}},
     sleep-states: {ram-kept: {current: {25 degC: 2.4 µA}, supply: 3.0 V}},
     common: {kernels.hash.fast.time: 0.01 %}}
  b-2-3d4c: {board: b-2, kernels: {hash: {fast: {time: 0.4(1) ms, current: 6.0(1) mA}}}}
"""

CELL = """
cell: probe-cell
invented: true
summary: a cell that states everything
chemistry: lithium manganese dioxide
rechargeable: false
nominal-voltage: 3.0 V
capacity: 500 ± 10 mAh
voltage-curve: {0: 3.3 V, 0.5: 2.9 V, 1: 2.1 V}
resistance: {0: 0.5 ohm, 0.5: 1 ohm, 1: 3 ohm}
cut-off: 2.0 V
temperature:
  -20 degC: {capacity: 0.95, resistance: 2.5}
  20 degC: {capacity: 1.0, resistance: 1.0}
  60 degC: {capacity: 0.98, resistance: 0.8}
self-discharge: 1.5(3) %/year
doubles-every: 10 K
shelf-life: 12 years
discharge-to: 90 %
max-continuous: 100 mA
max-pulse: {-12 degC: 300 mA, 20 degC: 400 mA}
after-rest:
  1 h: {-20 degC: {70 mA: 2.7 V}, 20 degC: {70 mA: 2.8 V}}
  30 days: {-20 degC: {70 mA: 2.6 V}}
price: {currency: EUR, breaks: {1: 2.60, 100: 2.05, 10000: 1.62}, multiple: 300,
  discount: all-units, lead-time: 4 weeks}
mass: 9 g
size: 17 mm x 34.5 mm
two-well: {c: 0.9, k: 4 /h}
cautions: [keep dry]
evidence:
  sheet: {kind: datasheet, date: 2026-01-01, note: table 2}
"""

CHARGED = """
cell: probe-charged
invented: true
rechargeable: true
nominal-voltage: 3.1 V
capacity: 700 mAh
voltage-curve: {0: 3.3 V, 1: 2.6 V}
resistance: 2 ohm
cut-off: 2.0 V
temperature:
  -20 degC: {capacity: 0.9, resistance: 2.5}
  60 degC: {capacity: 1.0, resistance: 0.8}
self-discharge: 3 %/year
doubles-every: 10 K
shelf-life: 12 years
max-continuous: 100 mA
max-pulse: 400 mA
price: {currency: EUR, breaks: {1: 60.00}, lead-time: 4 weeks}
charge: {efficiency: 98 %, min: 0 degC, max: 45 degC, max-current: 200 mA}
ageing:
  calendar:
    {loss: {50 %: 3 %, 100 %: 5 %}, after: 1 year, at: 25 degC, doubles-every: 15 K, exponent: 0.6,
     resistance: 1.5}
  cycles:
    {loss: 20 %, after: 300, depth: 80 %, at: 25 degC, doubles-every: 30 K, exponent: 0.7,
     depth-exponent: 1.2, resistance: 2}
  end: 75 %
"""

# what is harvested into; it leaks by its voltage, where the cells above discharge themselves
LEAKING = """
cell: probe-cap
invented: true
rechargeable: true
nominal-voltage: 3.0 V
capacity: 40 C
voltage-curve: {0: 3.4 V, 1: 2.4 V}
resistance: 1 ohm
cut-off: 2.0 V
temperature:
  -20 degC: {capacity: 0.95, resistance: 1.5}
  60 degC: {capacity: 1.0, resistance: 0.9}
leak: {2.4 V: 3 µA, 3.4 V: 8 µA}
shelf-life: 10 years
max-continuous: 1 A
max-pulse: 2 A
price: {currency: EUR, breaks: {1: 3.10}, lead-time: 8 weeks}
charge: {efficiency: 98 %}
"""

LINEAR = """
converter: probe-ldo
invented: true
summary: a linear converter
kind: linear
input: {min: 1.9 V, max: 5.5 V}
output: {min: 1.2 V, max: 3.6 V}
quiescent: 1.1 µA ± 20 %
dropout: 150 mV
max-output: 200 mA
price: {currency: USD, breaks: {1: 0.28, 1000: 0.14}, multiple: 300,
  discount: all-units, lead-time: 3 weeks}
cautions: [keep cool]
evidence: {sheet: {kind: datasheet, date: 2026-01-01, note: table 2}}
"""

SWITCHING = """
converter: probe-sw
invented: true
kind: buck-boost
input: {min: 1.9 V, max: 5.5 V}
output: {min: 1.2 V, max: 3.6 V}
quiescent: 1.1 µA
efficiency: {40 µA: 0.70, 1 mA: 0.85, 100 mA: 0.9}
light-load: {below: 2 mA, no-load: 0.8 µA, efficiency: 0.80}
start-up: 40 µJ
max-output: 200 mA
price: {currency: USD, breaks: {1: 0.28}, lead-time: 3 weeks}
"""

ADDON = """
addon: probe-add
invented: true
summary: an add-on that states everything
lifecycle: active
gives:
  features: {wireless: 1}
  grades: {sight-bits: 12}
  blocks:
    mark:
      {current: 3.1(1) mA, for: 1.5 ms, supply: {min: 1.8 V, max: 3.6 V}, evidence: bench,
       evidence-of: {for: sheet}}
takes: {features: {uart: 1}}
standing: 2.0 µA ± 20 %
sleep: 0.6 µA ± 20 %
supply: {min: 1.7 V, max: 3.7 V}
temperature: {min: -40 degC, max: 85 degC}
setup: {low: 1 h, likely: 2 h, high: 5 h}
board-area: 20 mm2
price:
  {currency: USD, breaks: {1: 1.10, 100: 0.80, 10000: 0.50}, multiple: 300, lead-time: 10 weeks,
   offer: quote 8, date: 2026-05-05, stock: 900}
cautions: [keep it clear of metal]
evidence:
  bench: {kind: bench, date: 2026-03-11, instrument: meter-a, gain: 1 %, note: one piece,
          built: {toolchain: probe-kit, compiler: cc 12, flags: -O2, pack: 1f2e}}
  sheet: {kind: datasheet, date: 2026-01-01}
"""

PRODUCT = """
product: probe
invented: true
summary: a product that states everything
life-target: 5 years
service-life: 12 years
rail: 2.2 V
rails:
  - {rail: far, voltage: 2.1 V, converters: [probe-sw], gated: true, capacitance: 8 uF, decay: 30 s}
  - {rail: near, converters: [none], gated: false}
environment: [{at: -10 degC, share: 0.2}, {at: 15 degC, share: 0.5}, {at: 45 degC, share: 0.3}]
times:
  - {time: day, share: 0.75}
  - {time: night, share: 0.25, environment: [{at: -12 degC, share: 0.4}, {at: 9 degC, share: 0.6}]}
before-use:
  - {phase: storage, for: 9 months, environment: [{at: 21 degC, share: 1}], state: disconnected}
  - phase: truck
    for: 20 days
    environment: [{at: 33 degC, share: 0.3}, {at: 52 degC, share: 0.7}]
    state: ram-kept
recharge: {every: 40 days, cost: 1.50}
workload:
  - task: sample
    every: 40 s
    arrival: random
    retries: {fails: 0.02, most: 2}
    use-retries: {radio-advert: {fails: 0.1, most: 3}}
    kernels: {filter: 8, hash: 2}
    uses: {radio-advert: 2}
    loads:
      - {load: probe, current: 2 mA, for: 12 ms, cpu: asleep, gated: true, capacitance: 2 uF,
         decay: 25 s, standby: 3 µA}
      - {load: radio, current: 60 mA, for: 20 ms, cpu: idle, retries: {fails: 0.2, most: 4}}
      - {load: pump, charge: 40 µC, for: 10 ms, supply: {min: 1.8 V, max: 5.5 V}, rail: far}
      - {load: lamp, power: 30 mW, for: 5 ms, cpu: asleep}
    at: fast
    without-engines: [aid]
    finish-within: 250 ms
    wake-within: 1 ms
standing-loads:
  - {load: divider, current: 0.8 µA, supply: {min: 1.5 V, max: 5.0 V}}
  - {load: keeper, power: 2 µW, rail: near}
retain: [ram, rtc]
needs:
  memory: {flash: 48 KiB, ram: 12 KiB}
  features: {uart: 1}
  temperature: {min: -20 degC, max: 60 degC}
  lifecycle: [active]
  lead-time: 20 weeks
  confidence: 60 %
supply-options:
  cells: [{cell: probe-cell, series: 1, parallel: 1}, {cell: probe-charged}]
  converters: [none]
  reservoir: {capacitance: 20 uF, esr: 0.5 ohm, leakage: 0.5 µA, price: 0.20}
add-ons: allowed
cost:
  currency: EUR
  units: 500
  engineer-rate: 80 EUR/h
  unit-cost-limit: 40.00
  service-visit: 30.00
  tools: 100
  rates: {USD: 0.92}
measuring:
  hours:
    kernel: 3 h
    idle-current: 30 min
    sleep-current: 4 h
    wake: 5 h
    block: 6 h
    quotation: 40 min
    toolchain-trial: 7 h
    maturity: 50 min
    product: 9 h
    cell: 10 h
    converter: 11 h
    calibration: 12 h
    other: 13 h
    whole-part: 14 h
priorities:
  battery-life: {weight: 5, poor: 1 year, good: 9 years}
  lifetime-cost: {weight: 4, poor: 300.00, good: 6.00}
  purchase-cost: {weight: 2}
  toolchain: {weight: 3}
  bring-up: {weight: 2}
  time-headroom: {weight: 1}
  memory-headroom: {weight: 1}
  energy-per-day: {weight: 1}
  board-area: {weight: 1}
  own-figures.radiation-score: {weight: 1, poor: 0, good: 10}
"""

MONTHS = {
    "january": 8, "february": 14, "march": 22, "april": 30, "may": 36, "june": 38,
    "july": 40, "august": 36, "september": 28, "october": 18, "november": 10, "december": 6,
}  # fmt: skip
_DAYS = "  spread: 40 %\n  persistence: 0.3\n  night: 14 h\n  scale: 0.9\n"


def _months(unit: str, factor: float) -> str:
    return "{" + ", ".join(f"{m}: {x * factor:.3g} {unit}" for m, x in MONTHS.items()) + "}"


def _harvesting(name: str, harvest: str) -> str:
    """The product by another name that harvests, where it is charged at intervals; what comes
    before use would empty its store."""
    start, end = (PRODUCT.index(word) for word in ("before-use:\n", "recharge:"))
    out = PRODUCT[:start] + PRODUCT[end:]
    for old, new in (
        ("product: probe\n", f"product: {name}\n"),
        ("recharge: {every: 40 days, cost: 1.50}\n", f"harvest:\n{harvest}"),
        (
            "[{cell: probe-cell, series: 1, parallel: 1}, {cell: probe-charged}]",
            "[{cell: probe-cap}]",
        ),
        ("  confidence: 60 %\n", "  confidence: 60 %\n  service: 50 %\n"),
        (
            "priorities:\n",
            "priorities:\n  days-without-service: {weight: 5, poor: 40 %, good: 0 %}\n",
        ),
    ):
        assert out.count(old) == 1, old
        out = out.replace(old, new)
    return out


HARVESTED = {
    "probe-lit": _harvesting(
        "probe-lit",
        "  panel: {area: 0.25 cm2, efficiency: 10 %, price: 1.10}\n"
        "  charger: {efficiency: 80 %, price: 0.60}\n"
        f"  irradiation: {_months('kWh/m2', 0.11)}\n{_DAYS}",
    ),
    "probe-fed": _harvesting("probe-fed", f"  energy: {_months('J', 0.8)}\n{_DAYS}"),
    "probe-log": _harvesting(
        "probe-log",
        "  file: {name: hours.csv, time: start, value: power, unit: mW, stamp: start,\n"
        "    delimiter: comma, decimal: point, skip: 0}\n",
    ),
}
# what these state beyond the other documents, which is all that is changed of them
BEYOND = {
    "probe-cap": ("leak.",),
    "probe-lit": ("harvest.", "needs.service", "priorities.days-without-service."),
    "probe-fed": ("harvest.energy.",),
    "probe-log": ("harvest.file.",),
}


def _hours(delimiter: str = ",", decimal: str = ".", ends: bool = False, factor: float = 1) -> str:
    """Three days of each month by the hour, lit from eight to sixteen; a second column of times has
    them a month later, and one of values half of what is harvested."""
    rows: list[tuple[str, ...]] = [("start", "later", "power", "half")]
    for month, energy in enumerate(MONTHS.values()):
        for day, share in ((9, 0.4), (10, 1.0), (11, 1.6)):
            for hour in range(24):
                mean = energy * 0.8 * share * factor / 8 / 3.6 if 8 <= hour < 16 else 0.0
                stamps = [
                    datetime.datetime(2025, m % 12 + 1, day, hour)
                    + datetime.timedelta(hours=int(ends))
                    for m in (month, month + 1)
                ]
                figures = [f"{x:.4f}".replace(".", decimal) for x in (mean, mean / 2)]
                rows.append((*(f"{at:%Y-%m-%dT%H:%M}" for at in stamps), *figures))
    return "".join(delimiter.join(row) + "\n" for row in rows)


HOURS = {
    "hours.csv": _hours(),
    "hours-b.csv": _hours(factor=1.1),
    "hours-ends.csv": _hours(ends=True),
    "hours-tabs.csv": _hours("\t"),
    "hours-commas.csv": _hours(";", ","),
    "hours-told.csv": "what follows is invented\n" + _hours(),
}
