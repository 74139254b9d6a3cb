"""Small random catalogues and products, made for breaking things: weak cells, tight limits.

Nothing in them describes anything real.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from advisor.catalogue.load import load_run
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product


@dataclass(frozen=True)
class Draft:
    """A catalogue and a product before they are written; each entry a line or a block of YAML."""

    points: dict[str, str]
    kernels: dict[str, dict[str, str]]  # kernel -> variant -> figures
    sleeps: dict[str, str]
    supply: str
    cells: dict[str, str]
    converters: dict[str, str]
    cell_options: list[str]
    converter_options: list[str]
    reservoir: str
    tasks: list[str]
    priorities: str
    others: dict[str, str] = field(default_factory=dict)  # more parts' files, by id
    addons: dict[str, str] = field(default_factory=dict)  # add-ons' files, by id
    features: str = ""  # of every part
    needs: str = ""  # features that the product needs
    refused: bool = False  # whether add-ons are

    def without_point(self, name: str) -> Draft:
        """The same part measured at one operating point less."""
        kernels = {
            kernel: {v: text for v, text in variants.items() if v.split("+")[0] != name}
            for kernel, variants in self.kernels.items()
        }
        return replace(
            self, points={k: v for k, v in self.points.items() if k != name}, kernels=kernels
        )

    def without_engine(self, name: str) -> Draft:
        """The same part without a hardware engine."""
        kernels = {
            kernel: {v: text for v, text in variants.items() if name not in v.split("+")[1:]}
            for kernel, variants in self.kernels.items()
        }
        return replace(self, kernels=kernels)

    def load(self, folder: Path) -> tuple[Catalogue, Product]:
        """Write the catalogue below `folder` and read it back with the product."""
        for kind, files in (
            ("parts", {"one": self.part(), **self.others}),
            ("cells", self.cells),
            ("converters", self.converters),
            ("addons", self.addons),
        ):
            (folder / kind).mkdir(parents=True, exist_ok=True)
            for old in (folder / kind).glob("*.yaml"):
                old.unlink()
            for name, text in files.items():
                (folder / kind / f"{name}.yaml").write_text(text)
        (folder / "kernels.yaml").write_text("crc: {work: one}\nhash: {work: one}\n")
        return load_run([folder], self._product().encode())

    def part(self, name: str = "one", breaks: str = "{1: 1.00}", setup: str = "4 h") -> str:
        """The part's file."""
        points = "".join(f"  {k}: {v}\n" for k, v in self.points.items())
        kernels = "".join(
            f"  {kernel}:\n" + "".join(f"    {v}: {text}\n" for v, text in variants.items())
            for kernel, variants in self.kernels.items()
            if variants
        )
        sleeps = "".join(f"  {k}: {v}\n" for k, v in self.sleeps.items())
        return (
            f"part: {name}\ninvented: true\nlifecycle: active\n"
            f"supply: {self.supply}\ntemperature: {{min: -40 degC, max: 85 degC}}\n"
            "evidence: {bench: {kind: bench, date: 2026-03-11}}\n"
            f"operating-points:\n{points}kernels:\n{kernels}"
            + (f"sleep-states:\n{sleeps}" if sleeps else "")
            + (f"features: {self.features}\n" if self.features else "")
            + f"price: {{currency: EUR, breaks: {breaks}}}\ntoolchain: {{setup: {setup}}}\n"
        )

    def _product(self) -> str:
        return (
            "product: probe\ninvented: true\nlife-target: 2 years\nservice-life: 6 years\n"
            "rail: 1.9 V\n"
            "environment: [{at: -10 degC, share: 0.3}, {at: 20 degC, share: 0.7}]\n"
            f"workload:\n{''.join(self.tasks)}"
            f"supply-options:\n  cells: [{', '.join(self.cell_options)}]\n"
            f"  converters: [{', '.join(self.converter_options)}]\n{self.reservoir}"
            "cost: {currency: EUR, units: 100, engineer-rate: 80 EUR/h, service-visit: 10, "
            "tools: 0}\n"
            + (f"needs: {{features: {self.needs}}}\n" if self.needs else "")
            + f"add-ons: {'refused' if self.refused else 'allowed'}\n"
            f"priorities:\n{self.priorities}"
        )


def draft(seed: int, reservoir: bool = False) -> Draft:
    """A random draft: the figures are spread widely, so that every limit binds somewhere."""
    rng = np.random.default_rng(seed)

    def between(low: float, high: float) -> float:
        return float(low * (high / low) ** rng.random())

    points: dict[str, str] = {}
    kernels: dict[str, dict[str, str]] = {"crc": {}, "hash": {}}
    switching = rng.random() < 0.4
    for name in ("fast", "mid", "slow")[: rng.integers(1, 4)]:
        speed = {"fast": 8.0, "mid": 3.0, "slow": 1.0}[name] * between(0.7, 1.4)
        least = f", supply-min: {between(1.8, 2.8):.3g} V" if rng.random() < 0.5 else ""
        points[name] = (
            f"{{idle-current: {0.3 * speed * between(0.5, 2):.3g} mA, supply: 3.0 V{least}, "
            "evidence: bench}"
        )
        for kernel, work in (("crc", 4.0), ("hash", 40.0)):
            time, current = work / speed * between(0.8, 1.3), speed * between(0.7, 1.5)
            kernels[kernel][name] = _figure(time, current)
            if kernel == "hash" and rng.random() < 0.4:
                kernels[kernel][f"{name}+aid"] = _figure(time / 5, current * between(0.8, 2.5))
    sleeps = {}
    for name in ("ram-kept", "off")[: rng.integers(0, 3)]:
        charge = f", wake-charge: {between(0.1, 20):.3g} µC" if rng.random() < 0.4 else ""
        sleeps[name] = (
            f"{{current: {between(0.3, 30):.3g} µA, wake-time: {between(0.02, 5):.3g} ms{charge}, "
            "evidence: bench}"
        )
    cells, cell_options = {}, []
    for name in ("small", "large")[: rng.integers(1, 3)]:
        cells[name] = _cell(name, rng, between)
        cell_options.append(f"{{cell: {name}}}")
    converters = {
        "down": (
            "converter: down\ninvented: true\nkind: linear\ninput: {min: 2.0 V, max: 5.5 V}\n"
            "output: {min: 1.2 V, max: 3.3 V}\nquiescent: 0.5 µA\ndropout: 0.15 V\n"
            f"max-output: {between(6, 60):.3g} mA\nprice: {{currency: EUR, breaks: {{1: 0.20}}}}\n"
        ),
        "buck": (
            "converter: buck\ninvented: true\nkind: buck\ninput: {min: 1.8 V, max: 5.5 V}\n"
            "output: {min: 1.0 V, max: 3.3 V}\nquiescent: 0.4 µA\n"
            "efficiency: {10 µA: 0.7, 1 mA: 0.88, 20 mA: 0.93}\n"
            f"max-output: {between(6, 60):.3g} mA\nprice: {{currency: EUR, breaks: {{1: 0.40}}}}\n"
        ),
    }
    tasks = []
    for name, every, kernel in (("sample", between(0.5, 30), "crc"), ("report", 60.0, "hash")):
        if name == "report" and rng.random() < 0.3:
            continue
        limit = f"    finish-within: {between(10, 400):.3g} ms\n" if rng.random() < 0.6 else ""
        load = (
            f"    loads: [{{load: radio, current: {between(0.5, 15):.3g} mA, "
            f"for: {between(1, 60):.3g} ms, cpu: {rng.choice(['idle', 'asleep'])}}}]\n"
            if rng.random() < 0.6
            else ""
        )
        tasks.append(
            f"  - task: {name}\n    every: {every:.3g} s\n"
            f"    kernels: {{{kernel}: {rng.integers(1, 4)}}}\n{limit}{load}"
        )
    timed = any("finish-within" in task for task in tasks)
    weights = ["battery-life: {weight: 3, poor: 0 years, good: 30 years}"]
    weights += ["lifetime-cost: {weight: 2, poor: 400, good: 0}"] * bool(rng.random() < 0.6)
    weights += [f"time-headroom: {{weight: {rng.integers(1, 7)}}}"] * bool(timed)
    weights += ["energy-per-day: {weight: 1, poor: 400 J, good: 0 J}"] * bool(rng.random() < 0.3)
    kind = "switching" if switching else "linear"
    return Draft(
        points=points,
        kernels=kernels,
        sleeps=sleeps,
        supply=f"{{min: 1.7 V, max: 3.6 V, regulator: {kind}}}",
        cells=cells,
        converters=converters,
        cell_options=cell_options,
        converter_options=["none", "down", "buck"][: rng.integers(1, 4)],
        reservoir=(
            f"  reservoir: {{capacitance: {between(10, 5000):.3g} uF, esr: 0.05 ohm, "
            "leakage: 0.2 µA, price: 0.1}\n"
            if reservoir
            else ""
        ),
        tasks=tasks,
        priorities="".join(f"  {line}\n" for line in weights),
    )


def several(seed: int, count: int = 3, reservoir: bool = False) -> Draft:
    """A random draft of several parts: the first, one whose figures are not far from its own, and
    more that are drawn apart. A larger purchase may be the cheaper one."""
    rng = np.random.default_rng((seed, count))
    first = draft(seed, reservoir)
    others = {}
    for n, name in enumerate(("two", "three", "four")[: count - 1]):
        one, more = rng.uniform(0.5, 3.0), rng.uniform(0.3, 1.0)
        breaks = f"{{1: {one:.2f}, {rng.integers(90, 180)}: {one * more:.2f}}}"
        drawn = first if n == 0 else draft(1000 * n + seed)
        text = drawn.part(name, breaks, f"{rng.uniform(1, 9):.1f} h")
        if n == 0:
            text = re.sub(
                r"(time|current|charge): ([0-9.]+)",
                lambda found: f"{found[1]}: {float(found[2]) * rng.uniform(0.7, 1.4):.4g}",
                text,
            )
        others[name] = text
    return replace(first, others=others)


NO_USE = "no-use"  # an add-on that brings what is lacked and states no figure of its own


def lacking(one: Draft, seed: int) -> Draft:
    """The same draft with needs that its first part does not meet, blocks that it does not have,
    and add-ons that bring some of them, each at the cost of ports."""
    rng = np.random.default_rng((seed, 5))
    addons = {}
    for n in range(rng.integers(3, 6)):
        name = f"add-{n}"
        brings = ", ".join(f"{f}: 1" for f in ("radio", "store", "spi") if rng.random() < 0.45)
        block = (
            f", blocks: {{call: {{current: {rng.uniform(1, 12):.3g} mA, "
            f"for: {rng.uniform(0.2, 4):.3g} ms}}}}"
            if rng.random() < 0.5 or not brings
            else ""
        )
        sleep = f"sleep: {rng.uniform(0.02, 3):.3g} µA\n" if rng.random() < 0.5 else ""
        supply = f"supply: {{min: {rng.uniform(1.2, 2.6):.3g} V, max: 3.6 V}}\n"
        addons[name] = (
            f"addon: {name}\ninvented: true\ngives: {{features: {{{brings}}}{block}}}\n"
            f"takes: {{features: {{{rng.choice(['uart', 'spi'])}: 1}}}}\n"
            f"standing: {rng.uniform(0.1, 40):.3g} µA\n{sleep}"
            f"{supply if rng.random() < 0.5 else ''}"
            "temperature: {min: -40 degC, max: 85 degC}\n"
            f"setup: {rng.uniform(1, 20):.3g} h\n"
            f"price: {{currency: EUR, breaks: {{1: {rng.uniform(0.2, 3):.2f}}}}}\n"
        )
    addons[NO_USE] = (
        f"addon: {NO_USE}\ninvented: true\n"
        "gives: {features: {radio: 1}, blocks: {call: {current: 1 mA, for: 1 ms}}}\n"
    )
    tasks = [
        task + "    uses: {call: 2}\n" if n == 0 and rng.random() < 0.7 else task
        for n, task in enumerate(one.tasks)
    ]
    own = f"{{radio: 0, store: 0, uart: {rng.integers(0, 3)}, spi: {rng.integers(0, 3)}}}"
    asked = [f"{f}: 1" for f in ("radio", "store") if rng.random() < 0.6] or ["radio: 1"]
    return replace(one, addons=addons, features=own, needs=f"{{{', '.join(asked)}}}", tasks=tasks)


def unsure(one: Draft, seed: int, read: bool = False) -> Draft:
    """The same draft with uncertainties on most of its figures, some of them wide.

    With `read` the figures are also read with those errors, so that the draft itself is the truth
    behind what is made.
    """
    rng = np.random.default_rng((seed, 77))
    figure = re.compile(
        r"(?<![0-9a-z.-])(time|current|charge|capacity|for|idle-current|every|standing|sleep): "
        r"([0-9.]+) ([a-zA-Zµ]+)(?=[,}\n])"
    )

    def spread(found: re.Match[str]) -> str:
        if rng.random() < 0.3:
            return found[0]
        share = rng.choice([2, 5, 10, 25])
        value = float(found[2])
        if rng.random() < 0.5:
            error, coverage = rng.normal() / 2, " (k=2)"
        else:
            error, coverage = rng.uniform(-1, 1), ""
        if read:
            value *= max(1 + error * share / 100, 0.05)
        return f"{found[1]}: {value:.5g} {found[3]} ± {share} %{coverage}"

    def all_of(texts: dict[str, str]) -> dict[str, str]:
        return {name: figure.sub(spread, text) for name, text in texts.items()}

    return replace(
        one,
        points=all_of(one.points),
        kernels={kernel: all_of(variants) for kernel, variants in one.kernels.items()},
        sleeps=all_of(one.sleeps),
        cells=all_of(one.cells),
        converters=all_of(one.converters),
        addons=all_of(one.addons),
        # what a product asks of its parts is known
        tasks=one.tasks if read else [figure.sub(spread, task) for task in one.tasks],
        others=all_of(one.others),
    )


def _figure(time_ms: float, current_ma: float) -> str:
    return (
        f"{{time: {time_ms:.4g} ms, current: {current_ma:.4g} mA, supply: 3.0 V, evidence: bench}}"
    )


def _cell(name: str, rng: np.random.Generator, between: object) -> str:
    assert callable(between)
    ohms = between(2, 60)
    well = f"two-well: {{c: 0.15, k: {between(0.02, 2):.3g} /h}}\n" if rng.random() < 0.3 else ""
    cold = rng.choice([0.8, 1.0])
    aged = f"shelf-life: {between(1, 20):.3g} years\n" if rng.random() < 0.3 else ""
    # told by the resistance, so that it takes no draw from what follows
    whole = "" if int(1000 * ohms) % 5 else "discharge-to: 70 %\n"
    pulse = f"max-pulse: {between(4, 60):.3g} mA\n" if rng.random() < 0.6 else ""
    return (
        f"cell: {name}\ninvented: true\nnominal-voltage: 3.0 V\n"
        f"capacity: {between(20, 900):.3g} mAh\n"
        "voltage-curve: {0: 3.2 V, 0.1: 3.0 V, 0.7: 2.85 V, 0.9: 2.5 V, 1: 2.0 V}\n"
        f"resistance: {{0: {ohms:.3g} ohm, 0.6: {1.6 * ohms:.3g} ohm, 1: {4 * ohms:.3g} ohm}}\n"
        f"cut-off: {rng.choice([1.8, 2.2])} V\n"
        f"temperature:\n  -20 degC: {{capacity: {cold}, resistance: 2.5}}\n"
        "  20 degC: {capacity: 1, resistance: 1}\n  60 degC: {capacity: 1, resistance: 0.8}\n"
        f"self-discharge: 1 %/year\ndoubles-every: 10 K\n{well}{pulse}{aged}{whole}"
        f"price: {{currency: EUR, breaks: {{1: {between(0.2, 2):.2f}}}}}\n"
    )
