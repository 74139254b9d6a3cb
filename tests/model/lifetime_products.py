"""Devices of figures at random, with keys of a product's life on and off, and their files."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.model.lifetime_events import (
    DAY,
    YEAR,
    Device,
    Feed,
    Law,
    Load,
    Pack,
    Places,
    Rail,
    Sun,
    Task,
)
from tests.model.lifetime_simulator import Drain, stored

KEYS = (
    "storage", "times", "random", "retries", "tries", "rail", "gated", "decay", "start",
    "converter", "light", "loss", "places", "sag", "standing", "standby", "power", "asleep",
    "charged", "ageing", "panel", "leak",
)  # fmt: skip
MONTHS = (
    "january", "february", "march", "april", "may", "june",
    "july", "august", "september", "october", "november", "december",
)  # fmt: skip
NEEDS = {
    "gated": "rail", "decay": "gated", "start": "gated", "standby": "rail", "light": "converter",
    "leak": "panel",
}  # fmt: skip
KERNEL = 10e-3, 4e-3  # s, A for one unit
TABLE = ((1e-4, 0.75), (1e-3, 0.84), (1e-2, 0.90), (1e-1, 0.88))


def chosen(rng: np.random.Generator) -> frozenset[str]:
    """Keys that are on: a pack that is used up, charged or under a panel, the others by chance,
    with those that they need."""
    keys = {key for key in KEYS if rng.uniform() < 0.6} - {"charged", "panel"}
    kind = ("", "charged", "panel")[int(rng.integers(3))]
    keys = keys | {kind} if kind else keys - {"ageing"}
    return needed(keys if kind == "panel" else keys - {"leak"})


def needed(keys: set[str]) -> frozenset[str]:
    """With the keys without which these say nothing."""
    for _ in range(3):
        keys |= {NEEDS[key] for key in keys if key in NEEDS}
    if "ageing" in keys and not keys & {"charged", "panel"}:
        keys.add("charged")
    return frozenset(keys)


def _places(rng: np.random.Generator, several: bool, middle: float) -> Places:
    if not several:
        return ((middle, 1.0),)
    share = round(float(rng.uniform(0.1, 0.4)), 3)
    return (
        (round(middle - float(rng.uniform(8, 22)), 1), share),
        (round(middle + float(rng.uniform(0, 18)), 1), round(1 - share, 3)),
    )


def invented(seed: int, keys: frozenset[str]) -> Device:
    """A device of figures at random with these keys on."""
    rng = np.random.default_rng([seed, 77])
    several = "places" in keys
    if "times" in keys:
        share = round(float(rng.uniform(0.35, 0.65)), 3)
        times: tuple[tuple[float, Places], ...] = (
            (share, _places(rng, several, 22.0)),
            (round(1 - share, 3), _places(rng, several, 12.0)),
        )
    else:
        times = ((1.0, _places(rng, several, 20.0)),)
    buck = "converter" in keys and rng.uniform() < 0.6
    main = Feed()
    if buck:
        light = (0.5e-3, 0.6e-6, 0.8) if "light" in keys else None
        main = Feed("switch", 1.9, 2e-6, TABLE, light, 0.0, 1.9)
    elif "converter" in keys:
        main = Feed("linear", 1.9, 1.2e-6, least=2.0)
    rails = [Rail(main)]
    if "rail" in keys:
        feed = Feed(
            "switch", 3.3, 3e-6, TABLE,
            (1e-3, 0.8e-6, 0.78) if "light" in keys else None,
            40e-6 if "start" in keys else 0.0, 0.8,
        )  # fmt: skip
        gated = "gated" in keys and rng.uniform() < 0.7
        decay = float(rng.uniform(60, 900)) if "decay" in keys else None
        rails.append(
            Rail(feed, True, float(rng.uniform(20e-6, 300e-6)), decay) if gated else Rail(feed)
        )
    at = len(rails) - 1
    load_gated = "gated" in keys and not rails[at].gated
    loaded = float(rng.uniform(8e-3, 25e-3))
    by_power = "power" in keys and rng.uniform() < 0.5
    radio = Load(
        float(rng.uniform(0.05, 0.3)),
        0.0 if by_power else loaded, loaded * 3.0 if by_power else 0.0,
        rail=at, gated=load_gated,
        farads=float(rng.uniform(20e-6, 300e-6)) if load_gated else 0.0,
        decay=float(rng.uniform(60, 900)) if load_gated and "decay" in keys else None,
        standby=2e-6 if "standby" in keys and not load_gated and not rails[at].gated else 0.0,
        fails=float(rng.uniform(0.05, 0.5)) if "retries" in keys else 0.0,
        most=4 if "retries" in keys else 1,
    )  # fmt: skip
    probe = Load(float(rng.uniform(0.02, 0.3)), float(rng.uniform(0.3e-3, 2e-3)),
                 asleep="asleep" in keys)  # fmt: skip
    if "power" in keys and not by_power:
        probe = replace(probe, amps=0.0, watts=probe.amps * 3.0)

    def every(low: float, high: float, pauses: bool) -> tuple[float | None, ...]:
        first = float(rng.uniform(low, high))
        if "times" not in keys:
            return (first,)
        return (first, None if pauses else first * float(rng.uniform(2, 6)))

    units = int(rng.integers(1, 5))
    tasks = (
        Task(every(150, 700, False), ((units * KERNEL[0], KERNEL[1]),), (probe,)),
        Task(
            every(500, 3600, bool(rng.uniform() < 0.3)), ((2 * KERNEL[0], KERNEL[1]),), (radio,),
            "random" in keys,
            float(rng.uniform(0.05, 0.3)) if "tries" in keys else 0.0,
            3 if "tries" in keys else 1,
        ),
    )  # fmt: skip
    phases: tuple[tuple[float, Places, bool], ...] = ()
    if "storage" in keys:
        phases = (
            (float(rng.uniform(60, 300)) * DAY, ((8.0, 0.7), (30.0, 0.3)), False),
            (float(rng.uniform(5, 60)) * DAY, ((35.0, 1.0),), True),
        )
    pack = Pack(
        1.0, ((0.0, 3.2), (0.1, 3.0), (0.8, 2.8), (1.0, 2.1)), ((0.0, 1e-3), (1.0, 1e-3)), 1.8,
        ((-20.0, 1.0, 1.0), (60.0, 1.0, 1.0)),
        float(rng.uniform(0.01, 0.12)) / YEAR if "loss" in keys else 0.0, 10.0, 12 * YEAR,
    )  # fmt: skip
    if several:
        pack = replace(pack, cold=((-20.0, 0.75, 3.0), (10.0, 0.95, 1.5), (60.0, 1.0, 1.0)))
    device = Device(
        times, phases, tuple(rails), tasks, ((-20.0, 1e-6), (20.0, 2e-6), (60.0, 20e-6)),
        1e-3, (5e-3, 1e-3), 3e-6 if "standing" in keys else 0.0, 1.7, pack, 8 * YEAR,
    )  # fmt: skip
    return _stored(device, keys, rng)


def _stored(device: Device, keys: frozenset[str], rng: np.random.Generator) -> Device:
    """The device with a pack, visits or a panel that suit what it takes."""
    look = Drain(device, np.random.default_rng(0))
    day, pack = look.guess, device.pack
    watts = day * 2.85
    life = float(rng.uniform(1.2, 4)) * YEAR
    if "charged" in keys:
        every = float(rng.uniform(20, 120)) * DAY
        device = replace(device, recharge=every)
        life = every * float(rng.uniform(1.8, 4))
    if "panel" in keys:
        night = float(rng.uniform(8, 15)) * 3600
        life = (float(rng.uniform(2, 7)) + night / DAY) * DAY
        swing = 1 + float(rng.uniform(0.2, 0.6)) * np.cos(2 * np.pi * (np.arange(12) - 5.5) / 12)
        sun = Sun(
            tuple(float(m) for m in float(rng.uniform(1.6, 2.6)) * watts * swing),
            float(rng.uniform(0.3, 0.7)), float(rng.uniform(0, 0.5)), night,
        )  # fmt: skip
        device = replace(device, sun=sun)
        pack = replace(pack, efficiency=0.97)
        if "leak" in keys:
            pack = replace(
                pack, loses=0.0, volts=((0.0, 3.2), (1.0, 2.0)),
                leak=((2.0, 0.05 * day / DAY), (2.6, 0.2 * day / DAY), (3.2, 0.6 * day / DAY)),
            )  # fmt: skip
        elif "places" in keys:
            pack = replace(pack, least_charge=0.0)
    pack = replace(pack, capacity=life * day / DAY)
    if "sag" in keys:
        peak = max(float(p[:3] @ [1, 1 / 2.2, 2.2]) * float(p[3]) for p in look.days.peaks())
        drop = float(rng.uniform(0.4, 0.85)) / peak
        pack = replace(pack, ohms=((0.0, 0.6 * drop), (1.0, 1.2 * drop)))
    if "ageing" in keys:
        # where a panel makes it a cycle a day the cell stands many of them
        cycled = 3000.0 if "panel" in keys else float(rng.uniform(200, 500))
        pack = replace(
            pack,
            calendar=Law(
                ((0.0, 0.02), (0.5, 0.04), (1.0, 0.07)), YEAR, 25.0, float(rng.uniform(12, 20)),
                float(rng.uniform(0.5, 0.9)), 1.5,
            ),
            cycles=Law(
                ((0.0, 0.2), (1.0, 0.2)), cycled, 25.0, 40.0,
                float(rng.uniform(0.5, 1.0)), 2.0, 0.8, float(rng.uniform(1.0, 1.4)),
            ),
            end=float(rng.uniform(0.65, 0.8)),
        )  # fmt: skip
    device = replace(device, pack=pack)
    if not device.phases:
        return device
    # what comes before use leaves most of the pack
    drain = Drain(device, np.random.default_rng(0))
    stored(drain)
    most = float(rng.uniform(0.02, 0.12 if "charged" in keys else 0.3))
    less = min(1.0, most * pack.capacity / float(drain.holder.drawn))
    return replace(device, phases=tuple((t * less, at, on) for t, at, on in device.phases))


def _curve(points: tuple[tuple[float, float], ...], x: str, y: str) -> dict[str, str]:
    return {f"{a:.12g}{x}": f"{b:.12g}{y}" for a, b in points}


def _environment(places: Places) -> list[dict[str, object]]:
    return [{"at": f"{at:.12g} degC", "share": share} for at, share in places]


def _converter(name: str, feed: Feed) -> dict[str, object]:
    told: dict[str, object] = {
        "converter": name, "kind": "linear" if feed.kind == "linear" else "buck-boost",
        "invented": True, "input": {"min": f"{feed.least:.12g} V", "max": "6 V"},
        "output": {"min": "1.5 V", "max": "4 V"}, "quiescent": f"{feed.quiescent:.12g} A",
        "max-output": "1 A",
        "price": {"currency": "EUR", "breaks": {"1": 0.5}, "lead-time": "2 weeks"},
    }  # fmt: skip
    if feed.kind == "linear":
        told |= {"dropout": f"{feed.least - feed.volts:.12g} V"}
        return told
    told["efficiency"] = _curve(feed.efficiency, " A", "")
    told["start-up"] = f"{feed.start_up:.12g} J"
    if feed.light:
        below, none, share = feed.light
        told["light-load"] = {
            "below": f"{below:.12g} A", "no-load": f"{none:.12g} A", "efficiency": share,
        }  # fmt: skip
    return told


def _load(name: str, load: Load) -> dict[str, object]:
    told: dict[str, object] = {"load": name, "for": f"{load.seconds:.12g} s"}
    told |= {"power": f"{load.watts:.12g} W"} if load.watts else {"current": f"{load.amps:.12g} A"}
    told["cpu"] = "asleep" if load.asleep else "idle"
    if load.rail:
        told["rail"] = "radio"
    if load.gated:
        told |= {"gated": True, "capacitance": f"{load.farads:.12g} F"}
        if load.decay:
            told["decay"] = f"{load.decay:.12g} s"
    if load.standby:
        told["standby"] = f"{load.standby:.12g} A"
    if load.fails:
        told["retries"] = {"fails": load.fails, "most": load.most}
    return told


def _law(law: Law, cycles: bool) -> dict[str, object]:
    told: dict[str, object] = {
        "at": f"{law.at:.12g} degC", "doubles-every": f"{law.doubles:.12g} K",
        "exponent": law.exponent, "resistance": law.rise,
    }  # fmt: skip
    if cycles:
        more = {"loss": law.loss[0][1], "after": law.after, "depth": law.depth}
        return told | more | {"depth-exponent": law.depth_exponent}
    return told | {
        "loss": {f"{s:.12g}": q for s, q in law.loss}, "after": f"{law.after:.12g} s",
    }  # fmt: skip


def _cell(device: Device) -> dict[str, object]:
    pack = device.pack
    told: dict[str, object] = {
        "cell": "store", "invented": True, "nominal-voltage": "2.85 V",
        "rechargeable": device.recharge is not None or device.sun is not None,
        "capacity": f"{pack.capacity:.12g} C", "voltage-curve": _curve(pack.volts, "", " V"),
        "resistance": _curve(pack.ohms, "", " ohm"), "cut-off": f"{pack.cut_off:.12g} V",
        "temperature": {
            f"{at:.12g} degC": {"capacity": c, "resistance": r} for at, c, r in pack.cold
        },
        "shelf-life": f"{pack.shelf:.12g} s", "max-continuous": "100 A", "max-pulse": "100 A",
        "price": {"currency": "EUR", "breaks": {"1": 2}, "lead-time": "2 weeks"},
    }  # fmt: skip
    if pack.leak:
        told["leak"] = _curve(pack.leak, " V", " A")
    else:
        told |= {"self-discharge": f"{pack.loses:.12g} /s", "doubles-every": "10 K"}
    if told["rechargeable"]:
        told["charge"] = {
            "efficiency": pack.efficiency, "min": f"{max(pack.least_charge, -100):.12g} degC",
            "max": "70 degC", "max-current": "100 A",
        }  # fmt: skip
    if pack.calendar and pack.cycles:
        told["ageing"] = {
            "calendar": _law(pack.calendar, False), "cycles": _law(pack.cycles, True),
            "end": pack.end,
        }  # fmt: skip
    return told


def _product(device: Device) -> dict[str, object]:
    names = ["day", "night"]
    tasks = []
    for name, other, task in zip(("sample", "report"), ("probe", "radio"), device.tasks,
                                 strict=True):  # fmt: skip
        told: dict[str, object] = {"task": name}
        if len(device.times) == 1:
            told["every"] = f"{task.every[0]:.12g} s"
        else:
            told["every"] = {
                names[k]: f"{e:.12g} s" for k, e in enumerate(task.every) if e is not None
            }
        if task.random:
            told["arrival"] = "random"
        if task.fails:
            told["retries"] = {"fails": task.fails, "most": task.most}
        told["kernels"] = {"crc": round(task.work[0][0] / KERNEL[0])}
        told["loads"] = [_load(other, load) for load in task.loads]
        tasks.append(told)
    main = device.rails[0].feed
    product: dict[str, object] = {
        "product": "probe", "invented": True, "service-life": f"{device.service:.12g} s",
        "workload": tasks,
        "supply-options": {
            "cells": [{"cell": "store"}], "converters": ["none" if main.kind == "none" else "main"],
        },
        "cost": {"currency": "EUR", "units": 100, "engineer-rate": "80 EUR/h", "service-visit": 10,
                 "tools": 0},
        "priorities": {"battery-life": {"weight": 1, "poor": "0 years", "good": "50 years"},
                       "lifetime-cost": {"weight": 1, "poor": 1000, "good": 0}},
    }  # fmt: skip
    if main.kind != "none":
        product["rail"] = f"{main.volts:.12g} V"
    if len(device.times) == 1:
        product["environment"] = _environment(device.times[0][1])
    else:
        product["times"] = [
            {"time": name, "share": share, "environment": _environment(places)}
            for name, (share, places) in zip(names, device.times, strict=True)
        ]
    for rail in device.rails[1:]:
        told = {"rail": "radio", "voltage": f"{rail.feed.volts:.12g} V", "converters": ["up"]}
        if rail.gated:
            told |= {"gated": True, "capacitance": f"{rail.farads:.12g} F"}
            if rail.decay:
                told["decay"] = f"{rail.decay:.12g} s"
        product["rails"] = [told]
    if device.phases:
        product["before-use"] = [
            {"phase": f"phase-{n}", "for": f"{seconds:.12g} s", "environment": _environment(places),
             "state": "asleep" if powered else "disconnected"}
            for n, (seconds, places, powered) in enumerate(device.phases)
        ]  # fmt: skip
    if device.standing:
        product["standing-loads"] = [{"load": "divider", "current": f"{device.standing:.12g} A"}]
    if device.recharge:
        product["recharge"] = {"every": f"{device.recharge:.12g} s", "cost": 4}
    if device.sun:
        product["harvest"] = {
            "energy": {m: f"{e:.12g} J" for m, e in zip(MONTHS, device.sun.months, strict=True)},
            "spread": device.sun.spread, "persistence": device.sun.persistence,
            "night": f"{device.sun.night:.12g} s",
        }  # fmt: skip
    return product


def written(device: Device, root: Path) -> Path:
    """The device as a catalogue in a folder and a product's file beside it, which is returned."""
    seconds, amps = KERNEL
    part = {
        "part": "chip", "invented": True,
        "supply": {"min": f"{device.least_supply:.12g} V", "max": "3.9 V", "regulator": "linear"},
        "temperature": {"min": "-40 degC", "max": "85 degC"},
        "operating-points": {"fast": {"idle-current": f"{device.idle:.12g} A"}},
        "kernels": {"crc": {"fast": {"time": f"{seconds:.12g} s", "current": f"{amps:.12g} A",
                                     "supply": "3 V"}}},
        "sleep-states": {"kept": {"current": _curve(device.sleep, " degC", " A"),
                                  "wake-time": f"{device.wake[0]:.12g} s"}},
        "price": {"currency": "EUR", "breaks": {"1": 1}},
        "toolchain": {"setup": "1 h"},
    }  # fmt: skip
    files = {
        "parts/chip.yaml": part, "cells/store.yaml": _cell(device),
        "kernels.yaml": {"crc": {"work": "one"}}, "../probe.yaml": _product(device),
    }  # fmt: skip
    for name, rail in zip(("main", "up"), device.rails, strict=False):
        if rail.feed.kind != "none":
            files[f"converters/{name}.yaml"] = _converter(name, rail.feed)
    for name, text in files.items():
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(text, indent=1))
    return root.parent / "probe.yaml"
