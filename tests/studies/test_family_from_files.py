"""Families from files of one's own, held against plain arithmetic from the figures as written.

Cells are flat and without resistance, so that a life is capacity over mean current; the plans are
those of `tests.decide.family_judge`. Everything is invented.
"""

from __future__ import annotations

import math
import random
from dataclasses import replace
from pathlib import Path
from statistics import NormalDist

import numpy as np
import pytest

import advisor
from advisor.decide.family import Family, Item, Limits, Member, Option, Platform
from advisor.studies.family_results import FamilyPlan
from tests.decide.family_judge import Plans, judged, purchase
from tests.shares import mostly_slow

YEAR = 365.25 * 86400
WEEK = 7 * 86400
GAP = 1e-6
"""Relative: the search's gap."""

PART = """\
part: {name}
invented: true
maker: {maker}
lifecycle: {state}
memory: {{flash: 64 KiB, ram: 8 KiB}}
supply: {{min: 1.8 V, max: 3.6 V}}
temperature: {{min: -40 degC, max: 85 degC}}
operating-points: {{run: {{clock: 16 MHz, idle-current: 1 mA, supply: 3.0 V}}}}
sleep-states:
  ram-kept: {{current: {{25 degC: {sleep} uA}}, wake-time: 0 us, retains: [ram, rtc]}}
price: {{currency: {currency}, breaks: {breaks}, multiple: {multiple}{lead}}}
toolchain: {{{chain}setup: {setup} h}}
"""
CELL = """\
cell: {name}
invented: true
chemistry: zinc air
nominal-voltage: 3.0 V
capacity: {capacity} mAh
voltage-curve: {{0: 3.0 V, 1: 3.0 V}}
resistance: {{0: 0 ohm, 1: 0 ohm}}
cut-off: 2.0 V
temperature: {{25 degC: {{capacity: 1.0, resistance: 1.0}}}}
self-discharge: 0 %/year
doubles-every: 10 K
shelf-life: 40 years
max-continuous: 500 mA
max-pulse: 1 A
price: {{currency: EUR, breaks: {breaks}}}
"""
PRODUCT = """\
product: {name}
invented: true
life-target: 2 years
service-life: 10 years
environment: [{{at: 25 degC, share: 1}}]
workload:
  - task: look
    every: {every} s
    loads: [{{load: sensor, current: 1 mA, for: 10 ms, cpu: asleep}}]
retain: [ram, rtc]
needs: {{memory: {{flash: 16 KiB}}, lifecycle: [active, last-orders]}}
supply-options: {{cells: [{cells}]}}
cost:
  currency: EUR
  units: {units}
  engineer-rate: {rate} EUR/h
  service-visit: 4.00
  tools: {tools}
  rates: {{USD: {usd}}}
priorities: {{battery-life: {{weight: 1, poor: 0 years, good: 20 years}}}}
"""


def written(breaks: dict[int, float]) -> str:
    return "{" + ", ".join(f"{q}: {p}" for q, p in breaks.items()) + "}"


def part(folder: Path, name: str, **told: object) -> None:
    usual = {"state": "active", "currency": "EUR", "multiple": 1, "lead": "", "chain": ""}
    text = PART.format(name=name, **{**usual, **told})
    (folder / "cat" / "parts" / f"{name}.yaml").write_text(text)


def ready(folder: Path) -> None:
    for name in ("parts", "cells"):
        (folder / "cat" / name).mkdir(parents=True)
    kernels = "crc: {work: a, stresses: integer, check: b}\n"
    (folder / "cat" / "kernels.yaml").write_text(kernels)


def planned(folder: Path) -> FamilyPlan:
    run = advisor.load_family(folder / "fam.yaml", folder / "cat")
    return advisor.family(run, draws=0, plans=0)


def prices(rng: random.Random, low: float, high: float) -> dict[int, float]:
    quantity, price = rng.choice((1, 1, 1, 10, 50)), round(rng.uniform(low, high), 2)
    found = {}
    for _ in range(rng.randint(1, 3)):
        found[quantity] = price
        quantity *= rng.choice((2, 5, 10))
        price = round(price * rng.choice((0.5, 0.8, 0.95)), 3)
    return found


def family_of(folder: Path, seed: int) -> tuple[Family, str]:
    """Writes files at random, and reckons what they are as numbers; the family and its aim."""
    rng = random.Random(seed)
    ready(folder)
    usd, rate = rng.choice((0.8, 0.93, 1.25)), rng.choice((50, 100))
    items: list[Item] = []
    platforms: list[Platform] = []
    sleeps: dict[str, float] = {}
    for name in ("alpha", "beta", "gamma", "delta")[: rng.randint(2, 4)]:
        breaks, currency = prices(rng, 1, 6), rng.choice(("EUR", "USD"))
        setup, chain = rng.choice((0, 3, 10, 25.5)), rng.choice((None, "kit-a", "kit-a", "kit-b"))
        maker, multiple = rng.choice(("Mavo", "Selk", "Tirun")), rng.choice((1, 1, 10))
        sleeps[name] = rng.choice((1, 5, 10, 30, 60))
        part(
            folder,
            name,
            maker=maker,
            sleep=sleeps[name],
            currency=currency,
            breaks=written(breaks),
            multiple=multiple,
            setup=setup,
            chain="" if chain is None else f"id: {chain}, ",
        )
        worth = usd if currency == "USD" else 1.0
        of = tuple((q, p * worth) for q, p in breaks.items())
        items.append(Item(name=name, kind="part", breaks=of, multiple=multiple))
        platforms.append(Platform(part=name, maker=maker, setup_h=setup, toolchain=chain))
    capacity = {"flat": 1000, "stout": 2500}
    cells = list(capacity)[: rng.randint(1, 2)]
    for name in cells:
        breaks = prices(rng, 0.5, 3)
        text = CELL.format(name=name, capacity=capacity[name], breaks=written(breaks))
        (folder / "cat" / "cells" / f"{name}.yaml").write_text(text)
        items.append(Item(name=name, kind="cell", breaks=tuple(breaks.items())))
    members: list[Member] = []
    lines = ["family: fam", "invented: true", "products:"]
    for product in ("one", "two", "three")[: rng.randint(2, 3)]:
        own, every = rng.choice((20, 100, 333)), rng.choice((2, 10, 60))
        strings, tools = rng.choice((1, 1, 2)), rng.choice((0, 50))
        text = PRODUCT.format(
            name=product,
            every=every,
            cells=", ".join(f"{{cell: {c}, parallel: {strings}}}" for c in cells),
            units=own,
            rate=rate,
            tools=tools,
            usd=usd,
        )
        (folder / f"{product}.yaml").write_text(text)
        units = rng.choice((own, own, 15, 70, 500))
        chance, loss = rng.choice((None, None, 0.9)), rng.choice((None, None, 0, 5, 30))
        second = rng.choice(("refused", "refused", "refused", "required"))
        share, porting = rng.choice((0.5, 0.3)), rng.choice((2, 9))
        entry = f"  - {{product: {product}"
        entry += "" if units == own else f", units: {units}"
        entry += "" if chance is None else f", life-chance: {chance}"
        entry += "" if loss is None else f", give-up: {loss}"
        if second == "required":
            entry += f", second-source: required, second-share: {share}, porting: {porting} h"
        lines.append(entry + "}")
        options = []
        for name, sleep in sleeps.items():
            for cell in cells:
                mean = sleep * 1e-6 + 1e-3 * 0.010 / every
                life = min(capacity[cell] * strings * 3.6 / mean / YEAR, 40.0)
                (item,) = (i for i in items if i.name == cell)
                pack = purchase(item, units * strings) / units
                changes = max(0, math.ceil(10 / life - 1e-12) - 1)
                options.append(
                    Option(
                        name=f"{name} {cell}",
                        part=name,
                        feed=cell,
                        pieces={name: 1, cell: strings},
                        other=0.0,
                        upkeep=changes * (pack + 4.0),
                        supply=0.0,
                        score=100 * min(1.0, life / 20),
                        life_chance=float(life >= 2),
                    )
                )
        members.append(
            Member(
                name=product,
                units=units,
                options=tuple(options),
                favourite=max(options, key=lambda o: o.score).name,
                tools=tools,
                life_chance=chance,
                give_up=loss,
                second=second,  # type: ignore[arg-type]
                second_share=share if second == "required" else 0.0,
                porting_h=porting if second == "required" else 0.0,
            )
        )
    stock = {i.name: rng.choice((5, 60, 400)) for i in items if rng.random() < 0.3}
    items = [replace(i, stock=stock.get(i.name, 0)) for i in items]
    shared, aim = rng.choice((0.5, 0, 0.25, 1)), rng.choice(("cost", "score"))
    most, hours = rng.choice((None, None, 1, 2)), rng.choice((None, None, None, 20))
    capital = rng.choice((None, None, None, 1500, 5000))
    lines += [f"stock: {written(dict(stock))}", f"toolchain-share: {shared}", f"objective: {aim}"]  # type: ignore[arg-type]
    told = {"parts": most, "engineering": hours and f"{hours} h", "capital": capital}
    lines.append("limits: " + written({k: v for k, v in told.items() if v is not None}))  # type: ignore[misc]
    (folder / "fam.yaml").write_text("\n".join(lines) + "\n")
    family = Family(
        members=tuple(members),
        items=tuple(items),
        platforms=tuple(platforms),
        rate=rate,
        toolchain_share=shared,
        limits=Limits(parts=most, hours=hours, capital=capital),
    )
    return family, aim


@pytest.mark.parametrize("seed", mostly_slow(range(60), every=12))
def test_an_answer_from_files_is_the_best_of_all_plans(tmp_path: Path, seed: int) -> None:
    family, aim = family_of(tmp_path, seed)
    plans = Plans(family)
    best = plans.best(family, aim)
    found = planned(tmp_path)
    if best is None:
        assert found.status == "infeasible"
        assert len(found.conflict) == plans.conflict(family)
        return
    assert found.status == "optimal"
    value = best.cost if aim == "cost" else best.score
    assert found.objective == pytest.approx(value, rel=3 * GAP)
    pairs = tuple(
        (f"{p.part} {p.cell}", None if p.second is None else f"{p.second.part} {p.cell}")
        for p in found.plan
    )
    mine = judged(family, pairs)
    for name in ("cost", "capital", "hours", "score"):
        assert getattr(found, name) == pytest.approx(getattr(mine, name), rel=1e-9)
    assert len(found.adopted) == mine.parts
    for one in found.plan:
        member = family.member(one.product)
        assert one.units == member.units
        assert one.cost == pytest.approx(sum(one.lines.values()), rel=1e-9)
        assert one.favourite_score == pytest.approx(max(o.score for o in member.options), rel=1e-6)
        assert one.gives_up == pytest.approx(one.favourite_score - one.score, abs=1e-9)
    assert found.cost == pytest.approx(sum(p.cost for p in found.plan), rel=1e-9)
    for bought in found.purchases:
        (item,) = (i for i in family.items if i.name == bought.item)
        assert bought.total == pytest.approx(purchase(item, bought.needed), rel=1e-9, abs=1e-12)
        assert bought.from_stock == min(item.stock, bought.needed)
    total = found.lines[-1]
    assert total.together == pytest.approx(mine.cost, rel=1e-9)
    for way in ("separate", "pooled", "together"):
        parts = sum(getattr(line, way) for line in found.lines[:-1])
        assert parts == pytest.approx(getattr(total, way), rel=1e-9)


@pytest.mark.once
def test_what_supply_may_cost_is_what_comes_of_drawing_it(tmp_path: Path) -> None:
    """Demands and allocations drawn here, by another way than that of the closed forms."""
    ready(tmp_path)
    facts = {"alpha": ("Mavo", 2.0, 8, 10), "beta": ("Selk", 5.0, 20, 5)}
    for name, (maker, price, weeks, sleep) in facts.items():
        lead = f", lead-time: {weeks} weeks"
        part(
            tmp_path, name, maker=maker, sleep=sleep, breaks=f"{{1: {price}}}", setup=10, lead=lead
        )
    (tmp_path / "cat" / "cells" / "flat.yaml").write_text(
        CELL.format(name="flat", capacity=1000, breaks="{1: 1.00}")
    )
    for name, units in (("one", 1000), ("two", 2000)):
        text = PRODUCT.format(
            name=name, every=10, cells="{cell: flat}", units=units, rate=100, tools=0, usd=0.8
        )
        (tmp_path / f"{name}.yaml").write_text(text)
    (tmp_path / "fam.yaml").write_text(
        "family: fam\n"
        "products:\n"
        "  - {product: one, missed-unit: 15, second-source: required, second-share: 0.3, "
        "porting: 5 h}\n"
        "  - {product: two, missed-unit: 8}\n"
        "supply:\n"
        "  made-over: 2 years\n"
        "  holding: 20 %/year\n"
        "  spread: 30 %\n"
        "  allocation: {every: 1 years, lasts: 10 weeks}\n"
        "  makers: {Selk: {every: 3 years, lasts: 20 weeks}}\n"
    )
    found = planned(tmp_path)
    rng = np.random.default_rng(4)
    made, holding, spread = 2 * YEAR, 0.2 / YEAR, 0.3
    chains = {"Mavo": (YEAR, 10 * WEEK), "Selk": (3 * YEAR, 20 * WEEK)}

    def late(units: float, name: str, missed: float) -> tuple[float, float]:
        """Orders of a lead time, one demand after the other; mean and standard error."""
        _, price, weeks, _ = facts[name]
        over = holding * price * weeks * WEEK
        mean, sd = (
            units * weeks * WEEK / made,
            spread * units / made * math.sqrt(weeks * WEEK * YEAR),
        )
        stock = max(mean, mean + sd * NormalDist().inv_cdf(missed / (missed + over)))
        demand = rng.normal(mean, sd, 200_000)
        paid = over * np.maximum(stock - demand, 0) + missed * np.maximum(demand - stock, 0)
        orders = made / (weeks * WEEK)
        return orders * paid.mean(), orders * paid.std() / math.sqrt(len(paid))

    def short(units: float, price: float, missed: float, names: list[str]) -> tuple[float, float]:
        """Weeks of allocation of all makers at once, drawn run by run; least over the buffers."""
        weeks = 1_000_000
        together = np.ones(weeks, bool)
        for name in names:
            every, lasts = chains[facts[name][0]]
            starts = rng.geometric(WEEK / every, weeks // 40)
            runs = rng.geometric(WEEK / lasts, weeks // 40)
            states = np.tile([False, True], weeks // 40)
            own = np.repeat(states, np.stack([starts, runs], axis=1).ravel())
            assert len(own) >= weeks
            together &= own[:weeks]
        at = np.arange(weeks)
        lasted = at - np.maximum.accumulate(np.where(together, -1, at))
        weekly, keep = units / made * WEEK, holding * price * WEEK
        tried = []
        for buffer in range(60):
            paid = weekly * (keep * np.maximum(buffer - lasted, 0) + missed * (lasted > buffer))
            blocks = paid.reshape(-1, 10_000).mean(axis=1)
            factor = made / WEEK
            tried.append((factor * paid.mean(), factor * blocks.std() / math.sqrt(len(blocks))))
        return min(tried)

    one, two = found.supply
    assert (one.product, two.product) == ("one", "two")
    assert one.part == "alpha + beta"
    ways = [late(700, "alpha", 15), late(300, "beta", 15)]
    assert one.lead_time == pytest.approx(
        sum(m for m, _ in ways), abs=4 * math.hypot(*(e for _, e in ways))
    )
    mean, error = late(2000, "alpha", 8)
    assert two.lead_time == pytest.approx(mean, abs=4 * error)
    mean, error = short(1000, 5.0, 15, ["alpha", "beta"])
    assert one.allocation == pytest.approx(mean, abs=4 * error)
    mean, error = short(2000, 2.0, 8, ["alpha"])
    assert two.allocation == pytest.approx(mean, abs=4 * error)
    for risk, taken in zip(found.supply, found.plan, strict=True):
        assert taken.lines["supply"] == pytest.approx(risk.total, rel=1e-9)
