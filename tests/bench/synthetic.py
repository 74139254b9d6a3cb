"""Catalogues and products of any size, drawn from a seed: every part valid, no two alike.

The figures are drawn from wide ranges that a part might have; they describe nothing that exists,
and the files say so. A part's file has 60 lines, as long as one that an engineer fills in.
"""

from __future__ import annotations

import math
import random
from pathlib import Path

KERNELS = ("crc", "filter", "fft", "hash", "cipher", "sort", "parse", "matrix")
LINES = 60

_STRESSES = ("memory", "integer", "float", "branch", "control")
_QUESTIONS = ("compiler", "kit", "debug", "flashing", "rtos", "manual", "errata", "examples")


def kernels_file() -> str:
    """`kernels.yaml`."""
    lines = []
    for i, name in enumerate(KERNELS):
        stress = _STRESSES[i % len(_STRESSES)]
        lines.append(f'{name}: {{work: "one block of {name}", stresses: {stress}, check: "sum"}}')
    return "\n".join(lines) + "\n"


def part_file(index: int) -> str:
    """A part's file, the same for the same index, `LINES` lines long."""
    draw = random.Random(f"part {index}")

    def about(middle: float, spread: float = 2.0) -> float:
        return middle * math.exp(math.log(spread) * draw.uniform(-1, 1))

    clock = draw.choice((14, 22, 36, 54, 60, 76, 92, 112))
    slow = clock / draw.choice((2, 4, 8))
    ram = draw.choice((14, 18, 28, 52, 112, 208))
    sleep = about(1.5, 3.0)
    lines = [
        f"part: {part_name(index)}",
        f"maker: Invented {index % 6}",
        "invented: true",
        f"summary: drawn part number {index}",
        "lifecycle: active",
        f"core: {{architecture: rv32imc, cores: 1, float-unit: {draw.choice(('none', 'single'))}}}",
        f"memory: {{flash: {draw.choice((56, 112, 208, 448))} KiB, ram: {ram} KiB}}",
        "supply: {min: 1.8 V, max: 3.6 V, regulator: linear, brown-out: 1.7 V}",
        "temperature: {min: -40 degC, max: 85 degC}",
        f"features: {{uart: {draw.randint(1, 4)}, spi: 2, i2c: 2, adc-bits: 12, rtc: 1}}",
        "evidence:",
        "  bench:",
        "    kind: bench",
        "    date: 2026-03-11",
        f"    instrument: meter-{draw.choice('abc')}",
        f"    gain: {about(0.2):.2f} %",
        "  sheet: {kind: datasheet, date: 2025-10-01, note: rev 3 table 9}",
        "operating-points:",
        "  fast:",
        f"    clock: {clock} MHz",
        f"    idle-current: {about(clock / 40):.3f} mA",
        "    supply: 3.0 V",
        "    evidence: sheet",
        f"  slow: {{clock: {slow:g} MHz, idle-current: {about(slow / 40):.3f} mA, "
        "supply: 3.0 V, evidence: sheet}",
        "kernels:",
    ]
    for name in KERNELS:
        cycles = about(20_000)
        fast, rest = cycles / clock / 1000, cycles / slow / 1000
        lines += [
            f"  {name}:",
            f"    fast: {{time: {fast:.4f} ± {fast / 100:.4f} ms, "
            f"current: {about(clock / 12):.2f} mA ± 1 %, supply: 3.0 V, evidence: bench}}",
            f"    slow: {{time: {rest:.4f} ± {rest / 100:.4f} ms, "
            f"current: {about(slow / 10):.2f} mA ± 1 %, supply: 3.0 V, evidence: bench}}",
        ]
    lines += [
        "sleep-states:",
        "  ram-kept:",
        f"    current: {{25 degC: {sleep:.3f} ± {sleep / 5:.3f} µA, 85 degC: {sleep * 9:.2f} µA}}",
        f"    wake-time: {about(9):.1f} us",
        f"    wake-charge: {about(14):.1f} nC",
        "    retains: [ram, rtc]",
        "    evidence: sheet",
        f"price: {{currency: EUR, breaks: {{1: {about(2.4):.2f}, 50000: 0.40}}, multiple: 100}}",
        "toolchain:",
    ]
    answers = [draw.choice(("none", "partial", "full")) for _ in _QUESTIONS]
    maturity = ", ".join(f"{q}: {a}" for q, a in zip(_QUESTIONS, answers, strict=True))
    low = about(3)
    return "\n".join(
        [
            *lines,
            f"  maturity: {{{maturity}}}",
            f"  setup: {{low: {low:.1f} h, likely: {low * 1.5:.1f} h, high: {low * 4:.1f} h}}",
            "",
        ]
    )


def part_name(index: int) -> str:
    """The id of a drawn part."""
    return f"drawn-{index:04d}"


CELLS = {
    "drawn-flat": """\
cell: drawn-flat
invented: true
chemistry: lithium manganese dioxide
rechargeable: false
nominal-voltage: 3.0 V
capacity: 480 ± 24 mAh
voltage-curve: {0: 3.25 V, 0.1: 3.05 V, 0.8: 2.85 V, 0.95: 2.5 V, 1: 2.0 V}
resistance: {0: 0.4 ohm, 0.8: 0.9 ohm, 1: 3 ohm}
cut-off: 2.0 V
temperature:
  -20 degC: {capacity: 0.7, resistance: 3.0}
  20 degC: {capacity: 1.0, resistance: 1.0}
  60 degC: {capacity: 1.0, resistance: 0.8}
self-discharge: 1 %/year
doubles-every: 10 degC
shelf-life: 10 years
max-continuous: 500 mA
max-pulse: 1500 mA
price: {currency: EUR, breaks: {1: 2.10, 1000: 1.20}}
""",
    "drawn-falling": """\
cell: drawn-falling
invented: true
chemistry: alkaline
rechargeable: false
nominal-voltage: 1.5 V
capacity: 2.4 ± 0.2 Ah
voltage-curve: {0: 1.6 V, 0.2: 1.4 V, 0.6: 1.22 V, 0.9: 1.05 V, 1: 0.8 V}
resistance: {0: 0.2 ohm, 0.6: 0.4 ohm, 1: 1.2 ohm}
cut-off: 0.9 V
temperature:
  -20 degC: {capacity: 0.5, resistance: 4.0}
  20 degC: {capacity: 1.0, resistance: 1.0}
  60 degC: {capacity: 1.0, resistance: 0.8}
self-discharge: 3 %/year
doubles-every: 10 degC
shelf-life: 7 years
max-continuous: 400 mA
max-pulse: 1000 mA
price: {currency: EUR, breaks: {1: 0.60, 1000: 0.28}}
""",
}

CONVERTER = """\
converter: drawn-buck-boost
invented: true
kind: buck-boost
input: {min: 1.0 V, max: 5.5 V}
output: {min: 1.8 V, max: 5.0 V}
quiescent: 0.9 ± 0.2 µA
efficiency: {10 µA: 0.74, 1 mA: 0.88, 100 mA: 0.91}
max-output: 300 mA
price: {currency: EUR, breaks: {1: 0.90, 1000: 0.48}}
"""

PRODUCT = """\
product: drawn-post
summary: a drawn product for timing
life-target: 5 years
service-life: 10 years
rail: 3.0 V
environment: [{at: -10 degC, share: 0.15}, {at: 12 degC, share: 0.6}, {at: 30 degC, share: 0.25}]
workload:
  - task: sample
    every: 20 s
    kernels: {filter: 8, crc: 1}
    loads: [{load: probe, current: 0.9 mA, for: 12 ms, cpu: asleep}]
    finish-within: 400 ms
  - task: report
    every: 1 h
    kernels: {hash: 20, cipher: 20, parse: 10}
    loads: [{load: radio, current: 18 mA, for: 40 ms, cpu: idle}]
    finish-within: 4 s
standing-loads: [{load: divider, current: 0.8 µA}]
retain: [ram, rtc]
needs:
  memory: {flash: 48 KiB, ram: 12 KiB}
  features: {uart: 1, adc-bits: 12}
  temperature: {min: -20 degC, max: 60 degC}
  lifecycle: [active]
supply-options:
  cells: [{cell: drawn-flat}, {cell: drawn-falling, series: 2}]
  converters: [none, drawn-buck-boost]
cost: {currency: EUR, units: 5000, engineer-rate: 80 EUR/h, service-visit: 30.00, tools: 0}
priorities:
  battery-life: {weight: 5, poor: 1 year, good: 8 years}
  lifetime-cost: {weight: 4, poor: 120.00, good: 6.00}
  toolchain: {weight: 3}
  bring-up: {weight: 2}
  time-headroom: {weight: 1}
"""


def write_catalogue(folder: Path, parts: int) -> Path:
    """A catalogue of so many drawn parts in a folder that is made for it."""
    for kind in ("parts", "cells", "converters"):
        (folder / kind).mkdir(parents=True, exist_ok=True)
    (folder / "kernels.yaml").write_text(kernels_file(), encoding="utf-8")
    for i in range(parts):
        (folder / "parts" / f"{part_name(i)}.yaml").write_text(part_file(i), encoding="utf-8")
    for name, text in CELLS.items():
        (folder / "cells" / f"{name}.yaml").write_text(text, encoding="utf-8")
    (folder / "converters" / "drawn-buck-boost.yaml").write_text(CONVERTER, encoding="utf-8")
    return folder
