"""Where a build's current goes: the pack's mean current by what draws it."""

from __future__ import annotations

from dataclasses import dataclass

from advisor.decide.builds import Build


@dataclass(frozen=True, slots=True)
class Consumer:
    """A share of the pack's mean current, A, at the pack's nominal voltage."""

    consumer: str
    """what draws it"""
    a: float
    """[A] mean current"""
    share: float
    """of what the battery gives"""


def consumers(build: Build) -> tuple[Consumer, ...]:
    """The pack's mean current by consumer, at series x nominal voltage; shares sum to 1.

    Through a switching converter a rail current I appears as I x V_rail/V at the pack; what the
    converter takes beyond that is its loss. A linear converter passes the current and adds its
    quiescent current.
    """
    assessed, row = build.assessed, build.row
    lines, feed = assessed.timeline, assessed.feed
    switching = feed.converter is not None and feed.converter.kind != "linear"
    ratio = float(feed.rail_v[0] / feed.nominal_v[0]) if switching else 1.0
    volts = float(feed.chip_voltage()[0])
    share = lines.share[row, :, 0] * ratio
    chip = lines.chip_a[row, :, 0] + lines.chip_w[row, :, 0] / volts
    load = lines.load_a[:, 0] + lines.load_w[:, 0] / volts
    amounts: list[tuple[str, float]] = [
        (f"sleep ({assessed.sleep_name(row)})", share[-1] * chip[-1])
    ]
    for task, here, names in zip(assessed.task_names, lines.tasks, lines.names, strict=True):
        for s, name in zip(range(here.start, here.stop), names, strict=True):
            if name.kind == "load":
                amounts.append((f"{task}: load {name.name}", share[s] * load[s]))
                amounts.append((f"{task}: core during {name.name}", share[s] * chip[s]))
            else:
                amounts.append((f"{task}: {name}", share[s] * chip[s]))
    amounts += [
        (f"standing {name}", float(value.at(volts)[0]) * ratio)
        for name, value in assessed.product.standing.items()
    ]
    loss = float(assessed.battery_a[row, 0]) - sum(a for _, a in amounts)
    if feed.converter is not None:
        amounts.append((f"loss in {feed.converter_name}", loss))
    if feed.pack.reservoir is not None:
        amounts.append(("reservoir leak", float(feed.pack.leak_a[0])))
    amounts.append(("self-discharge", float(feed.pack.self_discharge_a[0])))
    merged: dict[str, float] = {}
    for consumer, amount in amounts:
        merged[consumer] = merged.get(consumer, 0.0) + float(amount)
    total = sum(merged.values())
    rows = [Consumer(n, a, a / total if total else 0.0) for n, a in merged.items()]
    return tuple(sorted(rows, key=lambda c: -c.a))
