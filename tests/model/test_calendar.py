"""A product's calendar against a simulation event by event, and against plain arithmetic."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from advisor.catalogue.load import load_run, with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.decide.evaluate import evaluate
from advisor.faults import FaultError
from advisor.studies.explain import explain
from tests.model.calendar_simulator import YEAR, Device, Job, live
from tests.shares import mostly_slow

pytestmark = pytest.mark.once

PART = """
part: chip
invented: true
supply: {min: 1.7 V, max: 3.7 V, regulator: linear}
temperature: {min: -40 degC, max: 85 degC}
operating-points: {fast: {idle-current: 1 mA}}
kernels: {crc: {fast: {time: 2 ms, current: 5 mA, supply: 3.0 V}}}
sleep-states:
  ram-kept: {current: {0 degC: COLD A, 40 degC: HOT A}, wake-time: 0 s}
price: {currency: EUR, breaks: {1: 1}}
toolchain: {setup: 1 h}
"""
CELL = """
cell: pill
invented: true
nominal-voltage: 3.0 V
capacity: CAPACITY C
voltage-curve: {0: 3.2 V, 1: 2.6 V}
resistance: 0.01 ohm
cut-off: 1.8 V
temperature: {-20 degC: {capacity: 1, resistance: 1}, 60 degC: {capacity: 1, resistance: 1}}
self-discharge: LOSS /s
doubles-every: DOUBLING K
price: {currency: EUR, breaks: {1: 2}}
"""
PRODUCT = """
product: probe
invented: true
service-life: 1 years
CALENDAR
workload:
WORKLOAD
standing-loads: [{load: divider, current: 2 µA}]
supply-options: {cells: [{cell: pill}], converters: [none]}
cost: {currency: EUR, units: 100, engineer-rate: 80 EUR/h, service-visit: 10, tools: 0}
priorities: {battery-life: {weight: 1, poor: 0 years, good: 5 years}}
"""


def made(device: Device, calendar: str, workload: str, folder: Path) -> tuple[Catalogue, Product]:
    """The catalogue and the product of a device."""
    for kind in ("parts", "cells", "converters"):
        (folder / kind).mkdir(parents=True, exist_ok=True)
    (folder / "kernels.yaml").write_text("crc: {work: one}\n")
    _, cold, _, hot = device.sleep
    part = PART.replace("COLD", f"{cold:.12g}").replace("HOT", f"{hot:.12g}")
    cell = CELL.replace("CAPACITY", f"{device.capacity:.12g}")
    cell = cell.replace("LOSS", f"{device.loss:.12g}").replace(
        "DOUBLING", f"{device.doubling:.12g}"
    )
    (folder / "parts/chip.yaml").write_text(part)
    (folder / "cells/pill.yaml").write_text(cell)
    product = PRODUCT.replace("CALENDAR", calendar).replace("WORKLOAD", workload)
    return load_run([folder], product.encode())


def lives(found: tuple[Catalogue, Product]) -> tuple[float, float, float]:
    """(life, that of the next pack, depth on the first day) of the build that sleeps."""
    builds = evaluate(*found).candidates[0].builds
    build = next(b for b in builds if b.assessed.sleep_name(b.row) == "ram-kept")
    life = build.assessed.life
    return tuple(float(x[build.row, 0]) for x in (life.life_s, life.next_s, life.start_depth))  # type: ignore[return-value]


def drawn(seed: int) -> tuple[Device, str, str]:
    """A random device with day and night, perhaps stored before; its calendar and its workload."""
    rng = np.random.default_rng(seed)
    share = rng.uniform(0.3, 0.7)
    day, night = rng.uniform(15, 39), rng.uniform(1, 15)
    cold = rng.uniform(1e-6, 4e-6)
    jobs, work = [], []
    for k in range(rng.integers(1, 3)):
        slow = rng.uniform(60, 300)
        every = [slow * rng.uniform(0.05, 0.3), None if rng.random() < 0.3 else slow]
        asleep = rng.random() < 0.5
        seconds, amps, watts = rng.uniform(0.01, 0.4), rng.uniform(1e-3, 2e-2), 0.0
        load = f"current: {amps:.12g} A"
        if rng.random() < 0.5:
            amps, watts = 0.0, 3 * amps
            load = f"power: {watts:.12g} W"
        paces = ", ".join(
            f"{n}: {t:.12g} s" for n, t in zip(("day", "night"), every, strict=True) if t
        )
        work.append(
            f"  - task: t{k}\n    every: {{{paces}}}\n    kernels: {{crc: 1}}\n"
            f"    loads: [{{load: l, {load}, for: {seconds:.12g} s, "
            f"cpu: {'asleep' if asleep else 'idle'}}}]\n"
        )
        beside = 0.0 if asleep else 1e-3
        states = [(0.002, 5e-3, 0.0, 0.0, 1), (seconds, amps + beside, watts, 0.0, 1)]
        jobs.append(Job(every, states))
    device = Device(
        capacity=rng.uniform(30, 60),
        volts=(3.2, 2.6),
        loss=rng.uniform(0.05, 1.0) / YEAR,
        doubling=rng.uniform(8, 15),
        sleep=(0.0, cold, 40.0, cold * rng.uniform(2, 20)),
        times=[(share, day), (1 - share, night)],
        jobs=jobs,
        standing=2e-6,
    )
    calendar = "times:" + "".join(
        f"\n  - {{time: {name}, share: {part:.12g}, "
        f"environment: [{{at: {at:.12g} degC, share: 1}}]}}"
        for name, part, at in (("day", share, day), ("night", 1 - share, night))
    )
    if rng.random() < 0.6:
        at, asleep = rng.uniform(5, 38), bool(rng.random() < 0.5)
        amps = device.lost(at) + (device.asleep(at) + 2e-6 if asleep else 0.0)
        seconds = rng.uniform(0.02, 0.6) * device.capacity / amps
        device.before = [(seconds, at, asleep)]
        calendar += (
            f"\nbefore-use: [{{phase: storage, for: {seconds:.12g} s, environment: "
            f"[{{at: {at:.12g} degC, share: 1}}], "
            f"state: {'ram-kept' if asleep else 'disconnected'}}}]"
        )
    return device, calendar, "".join(work)


@pytest.mark.parametrize("seed", mostly_slow(list(range(12)), 3))
def test_a_life_is_that_of_a_simulation_event_by_event(seed: int, tmp_path: Path) -> None:
    """Within 1 %: the simulation ends somewhere in its cycle of an hour."""
    device, calendar, workload = drawn(seed)
    found = made(device, calendar, workload, tmp_path)
    life, following, depth = lives(found)
    assert life == pytest.approx(live(device, seed).life, rel=0.01)
    taken = sum(
        s * (device.lost(at) + (device.asleep(at) + 2e-6 if asleep else 0.0))
        for s, at, asleep in device.before
    )
    assert depth == pytest.approx(taken / device.capacity, rel=1e-9)
    device.before = []
    assert following == pytest.approx(live(device, seed).life, rel=0.01)


def test_one_time_is_the_same_as_none(tmp_path: Path) -> None:
    device, _, workload = drawn(3)
    plain = workload.replace("every: {day:", "every: {all:")
    plain = "".join(
        line.split(", night")[0] + ("}\n" if ", night" in line else "")
        for line in plain.splitlines(keepends=True)
    )
    stays = "environment: [{at: 0 degC, share: 0.4}, {at: 30 degC, share: 0.6}]"
    one = made(device, f"{stays}\ntimes: [{{time: all, share: 1}}]", plain, tmp_path / "a")
    none = made(device, stays, plain.replace("{all: ", "").replace("s}", "s"), tmp_path / "b")
    assert lives(one) == pytest.approx(lives(none), rel=1e-12)


def test_money_counts_the_stored_pack_and_those_that_follow(tmp_path: Path) -> None:
    """The first lasts less than those that replace it: 1 + ceil((service - first)/next) packs."""
    device, calendar, workload = drawn(1)
    assert device.before
    found = made(device, calendar, workload, tmp_path)
    first, following, _ = lives(found)
    assert first < following
    service = first + 2.5 * following
    found = with_changes(*found, [f"probe:service-life={service:.12g} s"])
    build = evaluate(*found).candidates[0].best
    assert build.assessed.costs.replacements[build.row, 0] == 3
    service = first + 2.0 * following - 1
    found = with_changes(*found, [f"probe:service-life={service:.12g} s"])
    build = evaluate(*found).candidates[0].best
    assert build.assessed.costs.replacements[build.row, 0] == 2


def test_an_explanation_adds_up_from_the_first_phase_to_the_end(tmp_path: Path) -> None:
    device, calendar, workload = drawn(1)
    found = made(device, calendar, workload, tmp_path)
    told = explain(*found, "chip")
    mean = sum(row.a for row in told.current)
    assert told.charge_c == pytest.approx(mean * told.battery_life_s.nominal, rel=1e-9)
    before = sum(p.self_discharge_c + p.reservoir_c + p.fed_c for p in told.before_use)
    assert before == pytest.approx(told.before_use[-1].depth * device.capacity, rel=1e-9)
    assert told.charge_c is not None
    assert before + told.charge_c == pytest.approx(device.capacity, rel=1e-9)


def test_storage_that_takes_everything_leaves_no_build(tmp_path: Path) -> None:
    device, calendar, workload = drawn(1)
    found = made(device, calendar, workload, tmp_path)
    gone = with_changes(*found, ["probe:before-use.storage.for=90 years"])
    needs = {failed.need for failed in evaluate(*gone).screened["chip"]}
    assert "depth of discharge in reach after before-use" in needs
    # and so does a shelf life that is over by then
    seconds = device.before[0][0]
    aged = with_changes(*found, [f"pill:shelf-life={seconds / 2:.12g} s"])
    assert "chip" in evaluate(*aged).screened
    young = with_changes(*found, [f"pill:shelf-life={seconds + 86400:.12g} s"])
    life, following, _ = lives(young)
    assert life == pytest.approx(86400, rel=1e-9)
    assert following == pytest.approx(min(seconds + 86400, lives(found)[1]), rel=1e-9)


FAULTS = {
    "times=[{time: day, share: 0.5}, {time: night, share: 0.4}]": "shares that sum to 0.9",
    "times=[{time: low, share: 1}]": '"low", which a spread is written with',
    "workload.t0.every={dusk: 3 s}": '"dusk"',
    "environment=[{at: 3 degC, share: 1}]": "every time has its own",
    "times.day.environment=[]": "nothing",
    "before-use=[{phase: store, for: 3 days}]": "nothing",
}


@pytest.mark.parametrize("change", FAULTS)
def test_a_calendar_that_does_not_hold_together_is_refused(change: str, tmp_path: Path) -> None:
    device, calendar, workload = drawn(1)
    found = made(device, calendar, workload, tmp_path)
    with pytest.raises(FaultError) as caught:
        with_changes(*found, [f"probe:{change}"])
    assert FAULTS[change] in str(caught.value)


def test_a_state_that_no_part_has_is_refused(tmp_path: Path) -> None:
    device, calendar, workload = drawn(1)
    stored = calendar.replace("state: ram-kept", "state: ram-kpt").replace(
        "disconnected", "ram-kpt"
    )
    with pytest.raises(FaultError) as caught:
        made(device, stored, workload, tmp_path)
    assert '"ram-kpt"' in str(caught.value)
    assert caught.value.faults[0].nearest == "ram-kept"


def test_a_part_without_the_state_of_storage_is_screened(tmp_path: Path) -> None:
    from advisor.catalogue.records import Catalogue as Records

    device, calendar, workload = drawn(1)
    stored = calendar.replace("state: disconnected", "state: ram-kept")
    assert "state: ram-kept" in stored
    root = tmp_path
    made(device, stored, workload, root)
    other = PART.replace("chip", "bare").replace("ram-kept:", "deep:")
    other = other.replace("COLD", "1e-6").replace("HOT", "2e-6")
    (root / "parts/bare.yaml").write_text(other)
    product = PRODUCT.replace("CALENDAR", stored).replace("WORKLOAD", workload)
    found = load_run([root], product.encode())
    assert isinstance(found[0], Records)
    (failed,) = evaluate(*found).screened["bare"]
    assert failed.text == "before-use.storage.state: ram-kept needed, deep offered"
