"""A device on a bench, from the physics: what it draws, and how each kind of meter samples it.

Written apart from the package: it imports none of it. A device is a current that is constant piece
by piece; a meter sees it through its front end, picks a range, adds its errors and noise, and
writes codes. All made up.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import signal

Floats = NDArray[np.float64]
FINER = 16  # steps of the front end within a sample


@dataclass
class Device:
    """Edges in s and (one fewer) currents in A; `work` are (begin, end) of the runs, s."""

    edges: list[float] = field(default_factory=lambda: [0.0])
    currents: list[float] = field(default_factory=list)
    work: list[tuple[float, float]] = field(default_factory=list)

    def draws(self, current: float, length: float) -> tuple[float, float]:
        """Draw a current for so long; (begin, end)."""
        begin = self.edges[-1]
        self.edges.append(begin + length)
        self.currents.append(current)
        return begin, begin + length

    def runs(self, current: float, length: float) -> None:
        """Do a run of work with the marker up."""
        self.work.append(self.draws(current, length))

    def charge(self, t: Floats) -> Floats:
        """Charge drawn until t, C."""
        steps = np.diff(self.edges) * np.array(self.currents)
        total = np.concatenate(([0.0], np.cumsum(steps)))
        return np.interp(t, self.edges, total)

    def current(self, t: Floats) -> Floats:
        """Current at t, A."""
        at = np.clip(np.searchsorted(self.edges, t, side="right") - 1, 0, len(self.currents) - 1)
        return np.array(self.currents)[at]


@dataclass
class Range:
    """A range of a meter as it really is: end A, gain, offset A, code A, noise A."""

    to: float
    gain: float
    offset: float
    code: float
    noise: float


@dataclass
class Channel:
    """A voltage channel as it really is: gain, offset V, code V, noise V."""

    gain: float
    offset: float
    code: float
    noise: float


@dataclass
class Supply:
    """A supply behind a resistance: `first` V open, which falls by `falls` V until `until` s."""

    first: float
    falls: float
    until: float
    resistance: float

    def volts(self, device: Device, t: Floats) -> Floats:
        """What stands at the chip's pin at t."""
        at = np.clip(t / self.until, 0.0, 1.0)
        return self.first - self.falls * at - self.resistance * device.current(t)

    def mean(self, device: Device, begin: float, end: float) -> float:
        """The mean of it over a stretch of one current."""
        t = begin + (np.arange(1000) + 0.5) / 1000 * (end - begin)
        return float(self.volts(device, t).mean())


@dataclass
class Meter:
    """A meter as it really is. `lag` s; `glitch` samples that a change of range spoils."""

    rate: float
    ranges: list[Range]
    sample: str = "point"
    lag: float = 0.0
    clock: float = 0.0
    glitch: int = 0

    def seen(self, device: Device, t: Floats, extra: Callable[[Floats], Floats]) -> Floats:
        """What the front end makes of the current at its samples."""
        if self.sample == "mean":
            fine = t[:, None] - (np.arange(FINER) + 0.5) / (FINER * self.rate)
            own = (device.charge(t) - device.charge(t - 1 / self.rate)) * self.rate
            return np.asarray(own + extra(fine.reshape(-1)).reshape(fine.shape).mean(axis=1))
        if self.sample == "lag":
            step = 1 / (FINER * self.rate)
            fine = t[0] + np.arange((len(t) - 1) * FINER + 1) * step
            keep = np.exp(-step / self.lag)
            x = device.current(fine) + extra(fine)
            y, _ = signal.lfilter([1 - keep], [1, -keep], x, zi=[keep * x[0]])
            return np.asarray(y[::FINER])
        return device.current(t) + extra(t)

    def read(
        self,
        device: Device,
        draw: np.random.Generator,
        extra: Callable[[Floats], Floats] = np.zeros_like,
    ) -> tuple[Floats, Floats]:
        """(time in s by its own clock, reading in A) of the whole of a device's day."""
        first = draw.uniform(0, 1) / self.rate
        t = np.arange(first, device.edges[-1], 1 / self.rate)
        seen = self.seen(device, t, extra)
        which = self._ranging(seen)
        pick = {
            k: np.array([getattr(r, k) for r in self.ranges])[which] for k in Range.__annotations__
        }
        noisy = seen + pick["noise"] * draw.standard_normal(len(t))
        read = noisy * (1 + pick["gain"]) + pick["offset"]
        if self.glitch:
            for at in np.flatnonzero(np.diff(which)) + 1:
                span = slice(at, at + self.glitch)
                read[span] = draw.uniform(-0.2, 1.3, len(read[span])) * seen[span].max()
        code = pick["code"]
        some = code > 0
        read[some] = np.round(read[some] / code[some]) * code[some]
        return t * (1 + self.clock), read

    def read_volts(
        self,
        volts: Callable[[Floats], Floats],
        true: Floats,
        channel: Channel,
        draw: np.random.Generator,
    ) -> Floats:
        """What a voltage channel behind the same kind of front end makes of it, at true times s."""
        if self.sample == "mean":
            fine = true[:, None] - (np.arange(FINER) + 0.5) / (FINER * self.rate)
            seen = volts(fine.reshape(-1)).reshape(fine.shape).mean(axis=1)
        elif self.sample == "lag":
            step = 1 / (FINER * self.rate)
            x = volts(true[0] + np.arange((len(true) - 1) * FINER + 1) * step)
            keep = np.exp(-step / self.lag)
            seen = signal.lfilter([1 - keep], [1, -keep], x, zi=[keep * x[0]])[0][::FINER]
        else:
            seen = volts(true)
        noisy = seen + channel.noise * draw.standard_normal(len(true))
        read = noisy * (1 + channel.gain) + channel.offset
        return np.asarray(np.round(read / channel.code) * channel.code if channel.code else read)

    def _ranging(self, seen: Floats) -> NDArray[np.int64]:
        """The range of each sample: up at once, down once the lower holds it with room."""
        if len(self.ranges) == 1:
            return np.zeros(len(seen), dtype=np.int64)
        ends = np.array([r.to for r in self.ranges])
        up = np.searchsorted(ends, np.abs(seen))
        down = np.searchsorted(0.8 * ends, np.abs(seen))
        out = np.empty(len(seen), dtype=np.int64)
        now = int(up[0])
        for k in range(len(seen)):
            now = max(now, int(up[k])) if up[k] > now else min(now, int(down[k]))
            out[k] = now
        return np.minimum(out, len(ends) - 1)


def marker(
    device: Device, t: Floats, clock: float, rise: float = 0.0, level: float = 1.0
) -> Floats:
    """The marker's pin at samples of a clock: 0 to `level`, edges that take `rise` s."""
    true = t / (1 + clock)
    out = np.zeros(len(t))
    for begin, end in device.work:
        if rise:
            up = np.clip((true - begin) / rise, 0, 1) * np.clip((end + rise - true) / rise, 0, 1)
        else:
            up = ((true >= begin) & (true < end)).astype(float)
        out = np.maximum(out, level * up)
    return out


@dataclass
class Bench:
    """A session: what is true of it, SI, and how its meter errs.

    `works` are name -> (units, time and current of one). The stretches of `states` are held from
    `margin` s before to after what the notes say.
    """

    works: dict[str, tuple[int, float, float]]
    states: dict[str, float]
    idle: float
    runs: int
    device: Device
    spans: dict[str, tuple[float, float]]


def bench(
    draw: np.random.Generator,
    runs: int = 20,
    overhead: float = 0.0,
    supply: Supply | None = None,
    switching: bool = False,
) -> Bench:
    """A day on the bench: two kernels of random time and current, a sleep state and idle.

    A `switching` part takes a power: the currents are those at a supply's first voltage.
    """
    works = {
        "hash": (20, draw.uniform(0.3e-3, 0.6e-3), draw.uniform(6e-3, 18e-3)),
        "filter": (40, draw.uniform(0.15e-3, 0.3e-3), draw.uniform(5e-3, 12e-3)),
    }
    states = {"ram-kept": draw.uniform(5e-6, 60e-6)}
    idle = draw.uniform(1.0e-3, 3e-3)
    device = Device()
    device.draws(idle + overhead, 5e-3)
    for units, time, current in works.values():
        for _ in range(runs):
            spread = 1 + 0.005 * draw.standard_normal(2)
            drawn = current * spread[0]
            if switching and supply is not None:
                falls = supply.falls * min(device.edges[-1] / supply.until, 1.0)
                drawn *= supply.first / (supply.first - falls)
            device.runs(drawn + overhead, units * time * spread[1])
            device.draws(idle + overhead, draw.uniform(4e-3, 6e-3))
    begin, end = device.draws(states["ram-kept"] + overhead, 0.62)
    spans = {"ram-kept": (begin + 0.01, end - 0.01)}
    device.draws(idle + overhead, 5e-3)
    return Bench(works, states, idle, runs, device, spans)
