"""A device with several rails, event by event. Shares no code with the model.

Plain arithmetic: what is switched on fills its capacitance from wherever it has fallen to, a
converter starts, and each state takes its charge at the pack's voltage of then.
"""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass, field


@dataclass
class Source:
    """A converter: kind `none`, `linear` or `switching`, with one efficiency from `least` A up and
    perhaps a light-load mode (below A, no-load A, efficiency)."""

    kind: str
    volts: float = 0.0
    quiescent: float = 0.0
    least: float = 1e-6
    efficiency: float = 1.0
    light: tuple[float, float, float] | None = None
    start: float = 0.0

    def taken(self, amps: float, pack: float) -> float:
        """Current at the pack."""
        if self.kind == "none":
            return amps
        if self.kind == "linear":
            return amps + self.quiescent
        if self.light is not None and amps < self.light[0]:
            return self.light[1] + self.volts * amps / (self.light[2] * pack)
        if amps >= self.least:
            return self.volts * amps / (self.efficiency * pack)
        full = self.volts * self.least / (self.efficiency * pack)
        return self.quiescent + (full - self.quiescent) * amps / self.least

    def filling(self, charge: float, pack: float) -> float:
        """Charge at the pack of a charge that passes at a load above `least`."""
        through = self.kind == "switching"
        return charge * self.volts / (self.efficiency * pack) if through else charge


@dataclass
class Capacitor:
    """What is filled: farads, seconds of decay (None: at once), volts when last left, and when."""

    farads: float
    decay: float | None
    left: tuple[float, float] | None = None

    def filled(self, volts: float, now: float) -> float:
        """Charge that fills it again."""
        before = 0.0
        if self.left is not None and self.decay is not None:
            before = self.left[0] * math.exp(-(now - self.left[1]) / self.decay)
        return self.farads * (volts - before)


@dataclass
class Branch:
    """A rail with what stands on it, A; `capacitor` where it is gated."""

    source: Source
    standing: float = 0.0
    capacitor: Capacitor | None = None

    def asleep(self, pack: float) -> float:
        """Current at the pack between events."""
        return 0.0 if self.capacitor else self.source.taken(self.standing, pack)


@dataclass
class Switched:
    """A load of an event: its rail, A, s, its own capacitor where it is gated."""

    rail: int
    amps: float
    seconds: float
    capacitor: Capacitor | None = None


@dataclass
class Machine:
    """The whole device; rail 0 is the chip's. Jobs are (period, core A, core s, loads)."""

    capacity: float
    volts: tuple[float, float]
    sleep: float
    idle: float
    rails: list[Branch]
    jobs: list[tuple[float, float, float, list[Switched]]] = field(default_factory=list)

    def life(self, nominal: float) -> float:
        """Seconds until the pack is empty; fillings of a bare pack at its nominal voltage."""
        used, now = 0.0, 0.0
        heap = [(job[0], k) for k, job in enumerate(self.jobs)]
        heapq.heapify(heap)
        while True:
            then, k = heapq.heappop(heap)
            pack = self.volts[0] + (self.volts[1] - self.volts[0]) * used / self.capacity
            rest = self.rails[0].source.taken(self.sleep + self.rails[0].standing, pack)
            rest += sum(rail.asleep(pack) for rail in self.rails[1:])
            step = rest * (then - now)
            charge = self._event(k, then, pack, rest, nominal)
            if used + step + charge >= self.capacity:
                return now + (then - now) * (self.capacity - used) / (step + charge)
            used, now = used + step + charge, then
            heapq.heappush(heap, (then + self.jobs[k][0], k))

    def _event(self, k: int, now: float, pack: float, rest: float, nominal: float) -> float:
        """Charge of an event beyond what rest takes meanwhile."""
        _, amps, seconds, loads = self.jobs[k]
        main = self.rails[0]
        others = sum(rail.asleep(pack) for rail in self.rails[1:])
        total = seconds * (main.source.taken(amps + main.standing, pack) + others - rest)
        at = now + seconds
        for n, load in enumerate(loads):
            for r, rail in enumerate(self.rails):
                mine = [i for i, one in enumerate(loads) if one.rail == r]
                on = not rail.capacitor or (mine and mine[0] <= n <= mine[-1])
                if not on:
                    continue
                drawn = rail.standing + (load.amps if load.rail == r else 0.0)
                drawn += self.idle if r == 0 else 0.0
                total += load.seconds * rail.source.taken(drawn, pack)
                volts = nominal if rail.source.kind == "none" else rail.source.volts
                if rail.capacitor and n == mine[0]:
                    filled = rail.capacitor.filled(volts, at)
                    total += rail.source.filling(filled, pack) + rail.source.start / pack
                if load.rail == r and load.capacitor:
                    total += rail.source.filling(load.capacitor.filled(volts, at), pack)
                    load.capacitor.left = volts, at + load.seconds
                if rail.capacitor and n == mine[-1]:
                    rail.capacitor.left = volts, at + load.seconds
            total -= load.seconds * rest
            at += load.seconds
        return total
