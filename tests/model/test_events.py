"""Currents of events and sleep against a plain loop over the same rules."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.catalogue.load import load_run
from advisor.model.events import state_names
from advisor.studies.shortlist import shortlist

pytestmark = pytest.mark.once

POINTS = {"fast": (3.0e-3, 48), "slow": (0.6e-3, 8)}
KERNELS = {
    ("crc", "fast"): (0.2e-3, 9e-3),
    ("crc", "slow"): (1.2e-3, 1.7e-3),
    ("crc", "fast+engine"): (0.05e-3, 9.5e-3),
    ("hash", "fast"): (1e-3, 10e-3),
    ("hash", "slow"): (6e-3, 1.9e-3),
}
SLEEP = {-20.0: 1e-6, 25.0: 2e-6, 85.0: 20e-6}
WAKE, WAKE_CHARGE = 0.4e-3, 0.5e-6
BLOCK = (6e-3, 2e-3)


def part(regulator: str) -> str:
    points = "".join(
        f"  {n}: {{idle-current: {i} A, supply: 3.3 V, evidence: b}}\n"
        for n, (i, _) in POINTS.items()
    )
    kernels = ""
    for kernel in ("crc", "hash"):
        kernels += f"  {kernel}:\n"
        for (name, point), (t, i) in KERNELS.items():
            if name == kernel:
                kernels += f"    {point}: {{time: {t} s, current: {i} A, supply: 3.3 V}}\n"
    sleep = ", ".join(f"{t} degC: {i} A" for t, i in SLEEP.items())
    return f"""
part: one
lifecycle: active
memory: {{flash: 64 KiB, ram: 16 KiB}}
supply: {{min: 1.8 V, max: 3.6 V, regulator: {regulator}}}
temperature: {{min: -40 degC, max: 85 degC}}
evidence: {{b: {{kind: bench, date: 2026-03-11}}}}
operating-points:
{points}kernels:
{kernels}blocks:
  advert: {{current: {BLOCK[0]} A, for: {BLOCK[1]} s}}
sleep-states:
  ram-kept:
    current: {{{sleep}}}
    wake-time: {WAKE} s
    wake-charge: {WAKE_CHARGE} C
    retains: [ram]
    adds: {{ram-kib: 10 nA}}
"""


def product(
    loads: list[tuple[float, float, str]], uses: int, environment: dict[float, float]
) -> str:
    written = ", ".join(
        f"{{load: l{n}, current: {i} A, for: {t} s, cpu: {cpu}}}"
        for n, (i, t, cpu) in enumerate(loads)
    )
    places = ", ".join(f"{{at: {t} degC, share: {s}}}" for t, s in environment.items())
    return f"""
product: p
life-target: 1 year
rail: 2.5 V
environment: [{places}]
workload:
  - task: t
    every: 2 s
    kernels: {{crc: 3, hash: 1}}
    uses: {{{f"advert: {uses}" if uses else ""}}}
    loads: [{written}]
retain: [ram]
needs: {{memory: {{ram: 8 KiB}}}}
supply-options: {{cells: [{{budget: 1000 mAh, voltage: 2.5 V}}], converters: [none]}}
priorities: {{battery-life: {{weight: 1}}}}
"""


def by_hand(
    point: str,
    engine: bool,
    loads: list[tuple[float, float, str]],
    uses: int,
    environment: dict[float, float],
    switching: bool,
) -> float:
    """Mean rail current, A, by the rules in words: wake, kernels, blocks, loads, then sleep."""
    factor = 3.3 / 2.5 if switching else 1.0
    idle = POINTS[point][0] * factor
    logs = [math.log(i) for i in SLEEP.values()]
    sleep = (
        sum(share * math.exp(np.interp(t, list(SLEEP), logs)) for t, share in environment.items())
        + 8 * 10e-9
    )
    charge, length = WAKE_CHARGE, WAKE
    for kernel, count in (("crc", 3), ("hash", 1)):
        key = f"{point}+engine" if engine and kernel == "crc" else point
        time, current = KERNELS[kernel, key]
        charge += count * time * current * factor
        length += count * time
    charge += uses * BLOCK[1] * (BLOCK[0] + idle)
    length += uses * BLOCK[1]
    asleep = False
    for current, time, cpu in loads:
        if asleep and cpu == "idle":
            charge += WAKE_CHARGE
            length += WAKE
        charge += time * (current + (sleep if cpu == "asleep" else idle))
        length += time
        asleep = cpu == "asleep"
    return charge / 2 + sleep * (1 - length / 2)


load = st.tuples(st.floats(1e-6, 2e-2), st.floats(1e-4, 5e-2), st.sampled_from(["idle", "asleep"]))
places = st.sampled_from(
    [{25.0: 1.0}, {-20.0: 0.5, 60.0: 0.5}, {-15.0: 0.2, 10.0: 0.5, 40.0: 0.3}, {-30.0: 1.0}]
)


@pytest.mark.parametrize("regulator", ["linear", "switching"])
@given(loads=st.lists(load, max_size=4), uses=st.integers(0, 2), environment=places)
def test_mean_current_by_hand(
    tmp_path_factory: pytest.TempPathFactory,
    regulator: str,
    loads: list[tuple[float, float, str]],
    uses: int,
    environment: dict[float, float],
) -> None:
    root = tmp_path_factory.getbasetemp() / f"events-{regulator}"
    (root / "parts").mkdir(parents=True, exist_ok=True)
    (root / "parts/one.yaml").write_text(part(regulator))
    (root / "kernels.yaml").write_text("crc: {work: a}\nhash: {work: a}\n")
    inputs = load_run([root], product(loads, uses, environment).encode())
    (found,) = shortlist(*inputs, draws=0).ranking
    point = found.build.operating_points["t"]
    engine = found.build.engines["t"] == ("engine",)
    mine = by_hand(point, engine, loads, uses, environment, regulator == "switching")
    assert found.power.rail_current_a == pytest.approx(mine, rel=1e-9)
    # the plan is the least of all, sleeping throughout
    others = [
        by_hand(p, e, loads, uses, environment, regulator == "switching")
        for p, e in (("fast", False), ("fast", True), ("slow", False))
    ]
    assert mine == pytest.approx(min(others), rel=1e-9)


def test_the_core_wakes_again_only_for_a_load_that_it_must_be_awake_for() -> None:
    """Wake, compute, sleep through two loads, wake for the third."""
    loads = [SimpleNamespace(name=n, asleep=a) for n, a in (("a", 1), ("b", 1), ("c", 0), ("d", 0))]
    task: Any = SimpleNamespace(kernels=("crc",), uses={"advert": 1}, loads=loads)
    assert [(s.kind, s.name) for s in state_names(task)] == [
        ("wake", ""),
        ("kernel", "crc"),
        ("block", "advert"),
        ("load", "a"),
        ("load", "b"),
        ("wake", ""),
        ("load", "c"),
        ("load", "d"),
    ]
