"""Add-ons held against an account of charge state by state, on a flat source, set by set.

Which sets may be taken, the charge of a day, the battery's life, the cost and the score are worked
out from the keys' own texts, for parts and add-ons at random; nothing of the model is used.
"""

from __future__ import annotations

import itertools
import math
import random
from dataclasses import dataclass
from pathlib import Path

import pytest

import advisor
from advisor.faults import FaultError
from advisor.studies.results import RankedPart
from tests.shares import mostly_slow

YEAR = 365.25 * 86400
CHARGE = 0.1 * 3600
"""C: 100 mAh."""


@dataclass(frozen=True, slots=True)
class Part:
    idle: float  # mA
    sleep: float  # uA
    wake: float  # ms
    i2c: int
    rtc: int
    pins: int
    bits: int
    price: float
    setup: float
    block: float | None  # mA, for 20 ms

    def text(self, name: str) -> str:
        block = (
            ""
            if self.block is None
            else f"blocks: {{seal: {{current: {self.block} mA, for: 20 ms}}}}"
        )
        return f"""\
part: {name}
invented: true
lifecycle: active
memory: {{flash: 64 KiB, ram: 8 KiB}}
supply: {{min: 1.8 V, max: 3.6 V}}
temperature: {{min: -40 degC, max: 85 degC}}
features: {{i2c: {self.i2c}, rtc: {self.rtc}, pins: {self.pins}, adc-bits: {self.bits}}}
operating-points: {{run: {{clock: 16 MHz, idle-current: {self.idle} mA, supply: 3.0 V}}}}
{block}
sleep-states:
  ram-kept:
    {{current: {{25 degC: {self.sleep} uA}}, wake-time: {self.wake} ms, retains: [ram, rtc]}}
price: {{currency: EUR, breaks: {{1: {self.price}}}}}
toolchain: {{setup: {self.setup} h}}
"""


@dataclass(frozen=True, slots=True)
class Addon:
    standing: float  # uA
    sleep: float | None  # uA
    rtc: int
    pins: int
    bits: int
    block: tuple[float, float] | None  # mA, ms
    block_from: float | None  # V
    takes: int
    low: float  # V
    high: float
    coldest: int  # degC
    state: str
    price: float
    setup: float

    def text(self, name: str) -> str:
        gives = f"features: {{rtc: {self.rtc}, pins: {self.pins}}}"
        gives += f", grades: {{adc-bits: {self.bits}}}" if self.bits else ""
        if self.block is not None:
            window = "" if self.block_from is None else f", supply: {{min: {self.block_from} V}}"
            current, lasts = self.block
            gives += f", blocks: {{seal: {{current: {current} mA, for: {lasts} ms{window}}}}}"
        sleep = "" if self.sleep is None else f"sleep: {self.sleep} uA"
        return f"""\
addon: {name}
invented: true
lifecycle: {self.state}
gives: {{{gives}}}
takes: {{features: {{i2c: {self.takes}}}}}
standing: {self.standing} uA
{sleep}
supply: {{min: {self.low} V, max: {self.high} V}}
temperature: {{min: {self.coldest} degC, max: 85 degC}}
setup: {self.setup} h
price: {{currency: EUR, breaks: {{1: {self.price}}}}}
"""


@dataclass(frozen=True, slots=True)
class Case:
    parts: dict[str, Part]
    addons: dict[str, Addon]
    need: dict[str, int]
    uses: int
    every: float  # s
    volts: float
    asleep: bool | None  # what the core does while the sensor is on; None: no sensor

    def write(self, folder: Path) -> None:
        for kind, of in (("parts", self.parts), ("addons", self.addons)):
            (folder / "cat" / kind).mkdir(parents=True)
            for name, one in of.items():
                (folder / "cat" / kind / f"{name}.yaml").write_text(one.text(name))
        kernels = "crc: {work: a, stresses: integer, check: b}\n"
        (folder / "cat" / "kernels.yaml").write_text(kernels)
        loads = ""
        if self.asleep is not None:
            cpu = "asleep" if self.asleep else "idle"
            loads = f", loads: [{{load: sensor, current: 1 mA, for: 10 ms, cpu: {cpu}}}]"
        uses = f", uses: {{seal: {self.uses}}}" if self.uses else ""
        wanted = ", ".join(f"{k}: {v}" for k, v in self.need.items())
        for word in ("allowed", "refused"):
            (folder / f"{word}.yaml").write_text(f"""\
product: {word}
invented: true
life-target: 2 years
service-life: 10 years
environment: [{{at: 25 degC, share: 1}}]
workload: [{{task: look, every: {self.every} s{uses}{loads}}}]
retain: [ram, rtc]
needs:
  lifecycle: [active]
  temperature: {{min: 0 degC, max: 60 degC}}
  features: {{i2c: 0{", " if wanted else ""}{wanted}}}
supply-options: {{cells: [{{budget: 100 mAh, voltage: {self.volts} V}}]}}
add-ons: {word}
cost: {{currency: EUR, units: 100, engineer-rate: 100 EUR/h, service-visit: 4.00, tools: 50}}
priorities:
  battery-life: {{weight: 1, poor: 0 s, good: 2 years}}
  lifetime-cost: {{weight: 3, poor: 200.00, good: 1.00}}
""")

    def current(self, part: Part, taken: tuple[str, ...]) -> float | None:
        """Mean current, A; None where the part may not be built with these add-ons."""
        chips = [self.addons[name] for name in taken]
        has = {
            "i2c": part.i2c - sum(c.takes for c in chips),
            "rtc": part.rtc + sum(c.rtc for c in chips),
            "pins": part.pins + sum(c.pins for c in chips),
            "adc-bits": max([part.bits, *(c.bits for c in chips)]),
        }
        if has["i2c"] < 0 or any(has[k] < v for k, v in self.need.items()):
            return None
        for c in chips:
            if not c.low <= self.volts <= c.high or c.coldest > 0 or c.state == "ended":
                return None
        blocks = [(0.0, 0.0)]
        if self.uses:
            # an add-on brings what a part lacks: a part's own block goes first
            blocks = [] if part.block is None else [(part.block, 20.0)]
            if part.block is None:
                blocks = [
                    c.block
                    for c in chips
                    if c.block is not None and (c.block_from or 0.0) <= self.volts
                ]
        awake = sum(c.standing for c in chips) * 1e-6
        asleep = sum(c.standing if c.sleep is None else c.sleep for c in chips) * 1e-6
        found = []
        for current, lasts in blocks:
            states = [(part.wake * 1e-3, part.idle * 1e-3 + awake)]
            states += [(lasts * 1e-3, (part.idle + current) * 1e-3 + awake)] * self.uses
            if self.asleep is not None:
                core = part.sleep * 1e-6 + asleep if self.asleep else part.idle * 1e-3 + awake
                states.append((0.010, 1e-3 + core))
            states.append((self.every - sum(t for t, _ in states), part.sleep * 1e-6 + asleep))
            found.append(sum(t * i for t, i in states) / self.every)
        return min(found, default=None)

    def worth(self, part: Part, taken: tuple[str, ...], current: float) -> tuple[float, float]:
        """(score, lifetime cost)."""
        life = CHARGE / current / YEAR
        changes = max(0, math.ceil(10 / life - 1e-12) - 1)
        setup = part.setup + sum(self.addons[a].setup for a in taken)
        price = part.price + sum(self.addons[a].price for a in taken)
        cost = price + (setup * 100 + 50) / 100 + 4.0 * changes
        return 25 * min(1.0, life / 2) + 75 * min(1.0, max(0.0, (200 - cost) / 199)), cost


def drawn(seed: int) -> Case:
    rng = random.Random(seed)
    pick = rng.choice
    parts = {
        name: Part(
            idle=pick((0.5, 1, 4)),
            sleep=pick((1, 8, 40)),
            wake=pick((0, 5, 50)),
            i2c=pick((0, 1, 2, 3)),
            rtc=pick((0, 0, 1)),
            pins=pick((4, 8, 20)),
            bits=pick((0, 10, 12)),
            price=pick((1.0, 3.0)),
            setup=pick((1, 5)),
            block=pick((None, None, 3.0)),
        )
        for name in ("alpha", "beta")[: rng.randint(1, 2)]
    }
    addons = {}
    for name in ("vin", "kord", "mush")[: rng.randint(1, 3)]:
        standing = pick((0.0, 0.2, 3.0, 50.0))
        low, high = pick(((1.6, 5.5), (1.6, 5.5), (1.6, 2.9), (2.5, 5.5), (3.1, 5.5)))
        rtc, pins, bits = pick((0, 1)), pick((0, 0, 8, 16)), pick((0, 0, 12, 16))
        block = pick((None, (2.0, 50.0), (11.0, 5.0)))
        addons[name] = Addon(
            standing=standing,
            sleep=pick((None, None, 0.0, min(0.1, standing))),
            rtc=rtc,
            pins=pins if rtc or pins or bits or block else 8,
            bits=bits,
            block=block,
            block_from=pick((None, None, 3.2)),
            takes=pick((0, 1, 1, 2)),
            low=low,
            high=high,
            coldest=pick((-40, -40, -40, -40, 30)),
            state=pick(("active",) * 5 + ("ended",)),
            price=pick((0.5, 2.0)),
            setup=pick((0, 2, 7)),
        )
    able = any(p.block for p in parts.values()) or any(a.block for a in addons.values())
    need = {
        "i2c": pick((0, 0, 1)),
        "rtc": pick((0, 0, 1)),
        "pins": pick((0, 0, 6, 12)),
        "adc-bits": pick((0, 0, 0, 12, 14)),
    }
    return Case(
        parts=parts,
        addons=addons,
        need={k: v for k, v in need.items() if v and k != "i2c"},
        uses=pick((0, 1, 3)) if able else 0,
        every=pick((5.0, 30.0)),
        volts=pick((3.0, 3.0, 2.6)),
        asleep=pick((None, True, False)),
    )


def ranked(folder: Path, word: str) -> dict[str, RankedPart]:
    found = advisor.shortlist(*advisor.load(folder / f"{word}.yaml", folder / "cat"), draws=0)
    return {one.part: one for one in found.ranking}


SEEDS = range(120)


@pytest.mark.parametrize("seed", mostly_slow(SEEDS, every=3))
def test_the_best_admissible_set_is_taken_and_accounted_for(tmp_path: Path, seed: int) -> None:
    case = drawn(seed)
    case.write(tmp_path)
    allowed, refused = ranked(tmp_path, "allowed"), ranked(tmp_path, "refused")
    for word, found in (("allowed", allowed), ("refused", refused)):
        most = len(case.addons) if word == "allowed" else 0
        sets = [s for n in range(most + 1) for s in itertools.combinations(case.addons, n)]
        for name, part in case.parts.items():
            able = {s: i for s in sets if (i := case.current(part, s)) is not None}
            assert (name in found) == bool(able)
            if not able:
                continue
            one = found[name]
            taken = tuple(a for a in case.addons if a in one.build.addons)
            assert taken in able
            life = CHARGE / able[taken]
            assert one.battery_life_s.nominal == pytest.approx(life, rel=1e-9)
            assert one.power.rail_current_a == pytest.approx(able[taken], rel=1e-9)
            score, cost = case.worth(part, taken, able[taken])
            assert one.cost.lifetime == pytest.approx(cost, rel=1e-9)
            assert one.score == pytest.approx(score, abs=1e-9)
            assert score == pytest.approx(
                max(case.worth(part, s, i)[0] for s, i in able.items()), abs=1e-9
            )
    for name, one in refused.items():
        assert allowed[name].score >= one.score - 1e-9
    # what no part takes may as well not be there
    used = {a for one in allowed.values() for a in one.build.addons}
    for name in case.addons.keys() - used:
        (tmp_path / "cat" / "addons" / f"{name}.yaml").unlink()
    left = [case.addons[name] for name in used]
    blocks = [p.block for p in case.parts.values()] + [a.block for a in left]
    if case.uses and not any(blocks):
        with pytest.raises(FaultError, match="seal"):  # nothing brings the block any more
            ranked(tmp_path, "allowed")
        return
    without = ranked(tmp_path, "allowed")
    assert [(p, o.build, o.score) for p, o in without.items()] == [
        (p, o.build, o.score) for p, o in allowed.items()
    ]


def test_the_cases_take_add_ons_and_refuse_some() -> None:
    """The sets are worth judging: some parts stand with an add-on alone, some sets may not be."""
    helped = barred = 0
    for seed in SEEDS:
        case = drawn(seed)
        for part in case.parts.values():
            alone = case.current(part, ())
            sets = [(name,) for name in case.addons]
            helped += alone is None and any(case.current(part, s) is not None for s in sets)
            barred += alone is not None and any(case.current(part, s) is None for s in sets)
    assert helped >= 15
    assert barred >= 5
