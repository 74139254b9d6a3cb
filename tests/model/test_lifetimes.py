"""Whole lives of random products against a simulation that lives through them.

Every key of a product's life by itself and all of them by chance: `tests.model.lifetime_products`
makes the product, `tests.model.lifetime_simulator` lives it. All 200:

    python -m pytest tests/model/test_lifetimes.py -m "slow or not slow" -s

The last table tells the largest difference of each figure, in per cent and in standard errors.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import advisor
from advisor.studies.explain import Explanation
from tests.model.lifetime_events import YEAR, Device
from tests.model.lifetime_products import KEYS, chosen, invented, needed, written
from tests.model.lifetime_simulator import Lived, changed, live, visited

pytestmark = pytest.mark.once

STEADY = 5e-3  # of a figure: what is asked where nothing comes by chance
ERRORS = 3.0  # standard errors of the simulation
LOST = 0.06  # of the days lost: classes of days, levels, and a voltage taken as straight
RARE = 1e-5  # of the days: too few of them are lived
LEVELS = 0.01  # of the life of a store that a panel charges: three levels stand for all
QUICK = (10, 12, 14)
COUNT = 200
Row = tuple[str, float, float, float, float]
WORST: dict[str, list[tuple[float, float, float, int]]] = defaultdict(list)


def compared(device: Device, found: Explanation, lived: Lived) -> Iterator[Row]:
    """(figure, told, lived, its standard error as a share, share that is allowed beside it)."""
    life, u = found.battery_life_s.nominal, lived.life_u
    if found.harvest is not None and found.harvest.months[0].life_s is not None:
        # the simulation begins on the first of January
        life = found.harvest.months[0].life_s
    aged = device.pack.calendar is not None
    # a first interval after storage counts as any other; the simulation has it begin less full
    first = lived.depth_before * (device.recharge or 0.0) / lived.life if aged else 0.0
    if device.sun is not None and aged:
        first = LEVELS
    yield "life", life, lived.life, u, STEADY + first
    yield "current", found.power.battery_current_a, lived.amps, lived.amps_u or u, STEADY
    if found.before_use:
        yield "depth before use", found.before_use[-1].depth, lived.depth_before, 0.0, STEADY
    if found.charging is not None:
        of = found.charging
        # of what was lost the error is about that of the life
        gone = u if found.battery_life_s.ends_by == "interval" else 0.0
        yield "capacity left", of.capacity_left, lived.left, gone * (1 - lived.left), STEADY + first
        rise = gone * (lived.resistance - 1)
        yield "resistance", of.resistance, lived.resistance, rise, STEADY + first
        yield "depth of a cycle", of.depth, lived.depth, lived.amps_u, STEADY
        if not device.phases and of.one_charge_s is not None:
            yield "one charge", of.one_charge_s, lived.one_charge, lived.one_charge_u, STEADY
    if found.harvest is not None and device.sun is not None:
        service = found.harvest.service
        assert service.cover is not None
        yield "cover", service.cover, lived.cover, lived.amps_u, STEADY
        if max(service.lost, lived.lost) > RARE:
            yield "days lost", service.lost, lived.lost, lived.lost_u / max(lived.lost, RARE), LOST
    yield from _money(device, found, lived, STEADY + first + ERRORS * u)


def _money(device: Device, found: Explanation, lived: Lived, apart: float) -> Iterator[Row]:
    """Packs, visits and what they cost; a count may be that of a life as far off as it may be."""
    count = visited if device.recharge else changed
    may = []
    for factor in (1 - apart, 1.0, 1 + apart):
        its = replace(lived, life=lived.life * factor, following=lived.following * factor)
        its = count(device, replace(its, changes=0, charges=0))
        may.append((its.changes, its.charges))
    cost = found.cost
    assert cost.replacements is not None
    told = (round(cost.replacements), round(cost.charges or 0))
    assert min(m[0] for m in may) <= told[0] <= max(m[0] for m in may), (told, may)
    assert min(m[1] for m in may) <= told[1] <= max(m[1] for m in may), (told, may)
    yield "packs changed", told[0], lived.changes, 0.0, np.inf
    upkeep = told[0] * (2 + 10) + told[1] * 4
    converters = sum(rail.feed.kind != "none" for rail in device.rails)
    bought = 1 + 2 + 0.5 * converters + 80 / 100
    assert cost.lifetime is not None
    yield "cost", cost.lifetime, bought + upkeep, 0.0, 1e-9


def judged(seed: int, keys: frozenset[str], root: Path, years: float = np.inf) -> list[str]:
    """What differs by more than it may, in words; a store under a panel is followed for `years`."""
    device = invented(seed, keys)
    if device.sun is not None:
        shelf = min(device.pack.shelf, years * YEAR)
        device = replace(device, pack=replace(device.pack, shelf=shelf))
    path = written(device, root / "catalogue")
    found = advisor.explain(*advisor.load(str(path), str(root / "catalogue")), "chip")
    lived = live(device, seed)
    wrong = []
    for name, told, seen, error, allowed in compared(device, found, lived):
        apart = told / seen - 1 if seen else float(told != seen)
        WORST[name].append((abs(apart), abs(apart) / error if error else 0.0, apart, seed))
        if abs(apart) > allowed + ERRORS * error:
            wrong.append(f"{name}: told {told:.6g}, lived {seen:.6g}, {100 * apart:+.2f} %")
    return wrong


@pytest.mark.parametrize(
    ("seed", "quick"),
    [
        *((seed, True) for seed in QUICK),
        *(pytest.param(seed, False, marks=pytest.mark.slow) for seed in range(COUNT)),
    ],
)
def test_a_life_is_as_it_is_lived(seed: int, quick: bool, tmp_path: Path) -> None:
    """With keys on and off by chance."""
    keys = chosen(np.random.default_rng([seed, 1]))
    years = 1.5 if quick else np.inf
    assert not judged(seed, keys, tmp_path, years), sorted(keys)


@pytest.mark.slow
@pytest.mark.parametrize("key", KEYS)
def test_each_key_by_itself_is_as_it_is_lived(key: str, tmp_path: Path) -> None:
    """With what it cannot do without."""
    assert not judged(1000 + KEYS.index(key), needed({key}), tmp_path)


@pytest.mark.slow
def test_the_largest_differences_are_told() -> None:
    """Last, so that -s shows them."""
    for name, found in WORST.items():
        share, error = max(found), max(found, key=lambda one: one[1])
        mean = np.mean([one[2] for one in found])
        print(
            f"\n{name}: {len(found)} compared, at most {100 * share[0]:.3f} % (seed {share[3]}), "
            f"{error[1]:.1f} errors (seed {error[3]}), mean {100 * mean:+.3f} %",
            end="",
        )
