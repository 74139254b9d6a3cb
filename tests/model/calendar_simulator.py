"""A product's life event by event: day and night, storage, chance. Shares no code with the model.

Plain arithmetic on one device: each event takes its charge when it comes, in between the device
sleeps and the pack loses by itself. Events that come while the core is busy wait.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field

import numpy as np

YEAR = 365.25 * 86400.0


@dataclass
class Job:
    """A task: seconds between events at each time (None: not then), states as (s, A, W, fails,
    most): what they draw beyond sleep, and how often they are tried."""

    every: list[float | None]
    states: list[tuple[float, float, float, float, int]]
    random: bool = False


@dataclass
class Device:
    """SI figures; `times` as (share, temperature), one after the other in each `cycle`."""

    capacity: float
    volts: tuple[float, float]  # of a full and an empty pack, straight between
    loss: float  # share of the capacity a second, at 20 degC
    doubling: float
    sleep: tuple[float, float, float, float]  # cold degC and A, hot degC and A
    times: list[tuple[float, float]]
    jobs: list[Job]
    standing: float = 0.0
    cycle: float = 3600.0
    before: list[tuple[float, float, bool]] = field(default_factory=list)  # s, degC, asleep

    def asleep(self, degrees: float) -> float:
        """Sleep current at a temperature, between two figures of a table in its logarithm."""
        cold, low, hot, high = self.sleep
        share = (degrees - cold) / (hot - cold)
        return float(np.exp(np.log(low) * (1 - share) + np.log(high) * share))

    def lost(self, degrees: float) -> float:
        """Self-discharge, A."""
        return self.capacity * self.loss * 2 ** ((degrees - 20) / self.doubling)


@dataclass
class Lived:
    """What came of a device: its life in s, events that found the core busy, all events, waits."""

    life: float
    met_busy: int
    events: int
    waited: float
    lost: int


def live(device: Device, seed: int) -> Lived:
    """Go through a device's life."""
    rng = np.random.default_rng(seed)
    given = 0.0
    for seconds, degrees, awake in device.before:
        amps = device.lost(degrees) + (device.asleep(degrees) + device.standing if awake else 0.0)
        given += amps * seconds
    bounds = np.cumsum([share * device.cycle for share, _ in device.times])

    def when(t: float) -> tuple[int, float]:
        """(the time of the calendar, when it ends)."""
        start = t - t % device.cycle
        i = int(np.searchsorted(bounds, t % device.cycle, side="right"))
        i = min(i, len(bounds) - 1)
        return i, start + float(bounds[i])

    due: list[tuple[float, int]] = []
    for k, job in enumerate(device.jobs):
        heapq.heappush(due, (_next(job, 0.0, when, rng, True), k))
    now = free = waited = 0.0
    met_busy = events = missed = 0
    while True:
        at, k = due[0]
        # sleep and losses until then, time by time
        while now < at:
            i, end = when(now)
            until = min(at, end if end > now else now + 1e-6)
            degrees = device.times[i][1]
            amps = device.asleep(degrees) + device.lost(degrees) + device.standing
            if given + amps * (until - now) >= device.capacity:
                life = now + (device.capacity - given) / amps
                return Lived(life, met_busy, events, waited, missed)
            given += amps * (until - now)
            now = until
        heapq.heappop(due)
        job = device.jobs[k]
        events += 1
        if at < free:
            met_busy += 1
            waited += free - at
        length = 0.0
        full, empty = device.volts
        volts = full + (empty - full) * given / device.capacity
        for seconds, amps, watts, fails, most in job.states:
            tries, won = 0, False
            while tries < most and not won:
                tries += 1
                won = rng.random() >= fails
            missed += not won
            length += tries * seconds
            given += tries * seconds * (amps + watts / volts)
        free = max(free, at) + length
        heapq.heappush(due, (_next(job, at, when, rng, False), k))


def _next(job: Job, t: float, when, rng: np.random.Generator, first: bool) -> float:  # type: ignore[no-untyped-def]
    """When the next event comes."""
    while True:
        i, end = when(t)
        every = job.every[i]
        if every is not None:
            gap = rng.exponential(every) if job.random else every * (rng.random() if first else 1.0)
            if t + gap < end:
                return float(t + gap)
            if not job.random and job.every[when(end + 1e-6)[0]] == every:
                return float(t + gap)
        t, first = end + 1e-6, True
