"""A product's calendar as a build lives through it: its times, and what comes before use."""

from __future__ import annotations

from advisor.dataclass import dataclass
from advisor.decide.builds import Build
from advisor.model.battery import lost_before, stored
from advisor.model.drain import rows_of


@dataclass(frozen=True, slots=True)
class PhaseResult:
    """A phase before use: what it takes from the first pack, at the stated values."""

    phase: str
    """its name"""
    duration_s: float
    """[s] how long it lasts"""
    self_discharge_c: float
    """[C] what the pack loses by itself"""
    reservoir_c: float
    """[C] what leaks through the reservoir, which lies across the pack at all times"""
    fed_c: float
    """[C] what chip, standing loads and converter draw; 0 where the pack is disconnected"""
    depth: float
    """[share] depth of discharge at its end"""


@dataclass(frozen=True, slots=True)
class TimeResult:
    """A time of the calendar, at the stated values."""

    time: str
    """its name"""
    share: float
    """[share] of the calendar"""
    busy_share: float
    """[share] of it spent in events"""


def times(build: Build) -> tuple[TimeResult, ...]:
    """The times of the calendar of a build."""
    busy = build.assessed.timeline.busy_at
    return tuple(
        TimeResult(time=one.name, share=float(one.share[0]), busy_share=float(spent[build.row, 0]))
        for one, spent in zip(build.assessed.product.times, busy, strict=True)
    )


def phases(build: Build) -> tuple[PhaseResult, ...]:
    """The phases before use of a build; their charges add up to the depth on the first day."""
    assessed, row = build.assessed, build.row
    pack = assessed.feed.pack
    drain = rows_of(assessed.drain, slice(row, row + 1))
    out = []
    before = 0.0
    depths = stored(pack, drain)
    losses = lost_before(pack, drain)
    for phase, loss, reached in zip(assessed.product.before, losses, depths, strict=True):
        seconds, depth = float(phase.duration[0]), float(reached[0, 0])
        taken = float(pack.capacity_c[0]) * (depth - before)
        lost, leaked = float(loss[0, 0]), float(pack.leak_a[0]) * seconds
        fed = max(taken - lost - leaked, 0.0) if phase.connected else 0.0
        out.append(
            PhaseResult(
                phase=phase.name,
                duration_s=seconds,
                self_discharge_c=lost,
                reservoir_c=leaked,
                fed_c=fed,
                depth=depth,
            )
        )
        before = depth
    return tuple(out)
