"""Where a build's current goes: the pack's mean current by what draws it."""

from __future__ import annotations

import numpy as np

from advisor.dataclass import dataclass
from advisor.decide.builds import Build
from advisor.model.conversion import Conversion
from advisor.studies.results import addon_currents, battery_current


@dataclass(frozen=True, slots=True)
class Consumer:
    """A share of the pack's mean current over its life, A."""

    consumer: str
    """what draws it"""
    a: float
    """[A] mean current"""
    share: float
    """of what the battery gives"""


def real_voltage(build: Build) -> float:
    """The pack's voltage at which its constant powers draw their mean current, V.

    With a + b/V the current from constant currents and powers, it is b/(mean current - a), what is
    filled straight from the pack in a: the harmonic mean of the voltage over the time that the pack
    lasts.
    """
    assessed, row = build.assessed, build.row
    drain, pack = assessed.drain, assessed.feed.pack
    a = float(drain.steady_a[row, 0] + pack.leak_a[0])
    if drain.filling is not None:
        a += float(drain.conductance[row, 0]) * mean_voltage(build)
    b = float((drain.share[row, :, 0] * drain.power_w[row, :, 0]).sum())
    over = battery_current(build) - a
    return b / over if b > 0 and over > 0 else float(assessed.feed.nominal_v[0])


def mean_voltage(build: Build) -> float:
    """The pack's mean voltage over the time that it lasts, V: what is filled straight from it takes
    its mean current at that."""
    return float(build.assessed.life.mean_v[build.row, 0])


def filled_from(build: Build, one: Conversion) -> float:
    """The voltage that a rail is filled to, V: the pack's mean one where that is the rail."""
    return mean_voltage(build) if one.converter is None else float(one.volts[0])


def consumers(build: Build) -> tuple[Consumer, ...]:
    """The pack's mean current over its life by consumer; shares sum to 1.

    The charge that the pack gives, over the sum, is its life. Through a switching converter a rail
    current I appears as I x V_rail/V at the pack; what the converter takes beyond that is its loss.
    A linear converter passes the current and adds its quiescent current. What is filled straight
    from the pack takes its current at the mean voltage.
    """
    assessed, row = build.assessed, build.row
    lines, feed, drain = assessed.timeline.filled_by(row), assessed.feed, assessed.drain
    real, full = real_voltage(build), filled_from(build, feed.main)
    ratio = _ratio(feed.main, real)
    volts = real if feed.converter is None else float(feed.chip_voltage()[0])
    share = lines.share[row, :, 0] * ratio
    brought = dict(build.companions.blocks)
    beside = addon_currents(build)
    chip = lines.chip_a[row, :, 0] - sum(beside.values()) + lines.chip_w[row, :, 0] / volts
    load = lines.load_a[:, 0] + lines.load_w[:, 0] / volts
    amounts: list[tuple[str, float]] = [
        (f"sleep ({assessed.sleep_name(row)})", share[-1] * chip[-1])
    ]
    for task, here, names in zip(assessed.task_names, lines.tasks, lines.names, strict=True):
        for s, name in zip(range(here.start, here.stop), names, strict=True):
            if name.kind == "load":
                amounts.append((f"{task}: load {name.name}", share[s] * load[s]))
                filling = share[s] * float(lines.fill_s[s, 0]) * full
                amounts += [(f"{task}: filling {name.name}", filling)] if filling else []
                amounts.append((f"{task}: core during {name.name}", share[s] * chip[s]))
            else:
                by = brought.get(name.name) if name.kind == "block" else None
                words = f"{name} of {by}" if by else str(name)
                amounts.append((f"{task}: {words}", share[s] * chip[s]))
    amounts += [(f"add-on {n}", float((share * a).sum())) for n, a in beside.items()]
    amounts += [
        (f"standing {name}", float(value.at(volts)[0]) * ratio)
        for name, value in assessed.product.standing.items()
    ]
    power = float((drain.share[row, :, 0] * drain.power_w[row, :, 0]).sum())
    given = float(drain.steady_a[row, 0]) + power / real
    if drain.filling is not None:
        given += float(drain.conductance[row, 0]) * mean_voltage(build)
    further = [_of_rail(build, r, real, lines.share[row, :, 0]) for r in range(len(feed.rails))]
    loss = given - sum(a for _, a in amounts)
    loss -= sum(a for one in further for _, a in one)
    if feed.converter is not None:
        amounts.append((f"loss in {feed.converter_name}", loss))
    amounts += [item for one in further for item in one]
    if feed.pack.reservoir is not None:
        amounts.append(("reservoir leak", float(feed.pack.leak_a[0])))
    amounts.append(("self-discharge", float(assessed.life.self_a[row, 0])))
    merged: dict[str, float] = {}
    for consumer, amount in amounts:
        merged[consumer] = merged.get(consumer, 0.0) + float(amount)
    total = sum(merged.values())
    rows = [Consumer(n, a, a / total if total else 0.0) for n, a in merged.items()]
    return tuple(sorted(rows, key=lambda c: -c.a))


def _ratio(one: Conversion, real: float) -> float:
    """What a current at a rail is at the pack, the converter's loss apart."""
    return float(one.volts[0]) / real if one.switching else 1.0


def _of_rail(build: Build, r: int, real: float, share: np.ndarray) -> list[tuple[str, float]]:
    """What a further rail takes from the pack, A by consumer; `share` (S,) of the time."""
    lines, product = build.assessed.timeline.filled_by(build.row), build.assessed.product
    one, states, rail = build.assessed.feed.rails[r], lines.rails[r], product.rails[r]
    ratio = _ratio(one, real)
    volts = real if one.converter is None else float(one.volts[0])
    on = states.on[:, 0]
    amps = states.load_a[:, 0] + states.load_w[:, 0] / volts
    amounts: list[tuple[str, float]] = []
    stands = sum(float(d.at(volts)[0]) for d in rail.standing.values())
    for task, here, names in zip(product.tasks, lines.tasks, lines.names, strict=True):
        on_it = {load.name for load in task.loads if load.on == r}
        for s, name in zip(range(here.start, here.stop), names, strict=True):
            if name.kind == "load" and name.name in on_it:
                used = share[s] * (amps[s] - stands) * ratio
                amounts.append((f"{task.name}: load {name.name}", float(used)))
    amounts += [(f"standing {n}", float(d.at(volts)[0]) * ratio) for n, d in rail.standing.items()]
    filling = float((share * states.fill_s[:, 0]).sum()) * filled_from(build, one) * ratio
    starts = float((share * states.starts[:, 0]).sum() * one.start_up_j[0]) / real
    a, w = one.carried(states)
    loss = float((share * np.where(on, a[:, 0] + w[:, 0] / real, 0.0)).sum())
    loss -= sum(amount for _, amount in amounts) + filling + starts
    if filling:
        amounts.append((f"filling rail {rail.name}", filling))
    if starts:
        amounts.append((f"starts of {one.name} on {rail.name}", starts))
    if one.converter is not None:
        amounts.append((f"loss in {one.name} on {rail.name}", loss))
    return amounts
