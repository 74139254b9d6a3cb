"""A product's store through the years, event by event: chance, a gated rail, a panel.

Written from the words of the model's page, without its code. Every event draws its own tries and
finds its rail's capacitance as far emptied as its own rest allows; the store goes hour by hour in
charge, its voltage straight from full to empty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

DAY, MONTH_DAYS = 86400.0, (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


@dataclass(frozen=True)
class Story:
    """SI figures of a product: a core, a radio behind a boost converter, a store, months."""

    period: float
    random: bool
    sleep: float
    core: tuple[float, float]  # A, s
    idle: float
    radio: tuple[float, float]  # A, s of a try
    fails: float
    most: int
    rail: float
    efficiency: float
    start: float
    farads: float
    decay: float
    capacity: float
    full: float
    empty: float
    months: tuple[float, ...]  # J that come into the store on a mean day
    spread: float
    persistence: float
    night: float  # share of a day


def events(story: Story, days: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """(C at constant current, J at constant power) of each hour of so many days."""
    count = int(days * DAY / story.period * 1.1) + 50
    if story.random:
        due = np.asarray(np.cumsum(rng.exponential(story.period, count)))
    else:
        due = np.asarray(story.period * (rng.random() + np.arange(count)))
    due = np.asarray(due[due < days * DAY])
    tries = np.minimum(rng.geometric(1 - story.fails, len(due)), story.most)
    on = tries * story.radio[1]
    length = story.core[1] + on
    # one after the other: an event that finds the core busy waits
    before = np.concatenate([[0.0], np.cumsum(length)[:-1]])
    begins = before + np.maximum.accumulate(due - before)
    rest = np.concatenate([[np.inf], np.diff(begins) - length[:-1] + story.core[1]])
    filled = story.farads * story.rail * -np.expm1(-rest / story.decay)
    watts = (story.radio[0] * on + filled) * story.rail / story.efficiency + story.start
    amps = story.core[0] * story.core[1] + story.idle * on - story.sleep * length
    hour = np.minimum((begins / 3600).astype(int), days * 24 - 1)
    constant = np.bincount(hour, amps, days * 24) + story.sleep * 3600
    return constant, np.bincount(hour, watts, days * 24)


def simulate(story: Story, devices: int, years: int, seed: int) -> tuple[float, float, float]:
    """(share of days lost, its standard error, J that a mean day takes at the mean voltage)."""
    rng = np.random.default_rng(seed)
    days = 365 * years
    drawn = [events(story, days, rng) for _ in range(devices)]
    constant, watts = (np.stack(of) for of in zip(*drawn, strict=True))
    middle = (story.full + story.empty) / 2
    load = float((constant.sum() * middle + watts.sum()) / days / devices)
    level = np.full(devices, story.capacity)
    shape = story.spread**-2
    today = rng.gamma(shape, 1 / shape, devices)
    lost = np.zeros((years, devices))
    lit = round(24 * (1 - story.night))
    for day in range(days):
        month = int(np.searchsorted(np.cumsum(MONTH_DAYS), day % 365, side="right"))
        anew = rng.random(devices) >= story.persistence
        today = np.where(anew, rng.gamma(shape, 1 / shape, devices), today)
        short = np.zeros(devices, dtype=bool)
        for hour in range(24):
            now = day * 24 + hour
            volts = story.empty + (story.full - story.empty) * level / story.capacity
            brought = story.months[month] * today / lit if hour < lit else 0.0
            level = level - constant[:, now] + (brought - watts[:, now]) / volts
            short |= level < 0
            level = np.clip(level, 0.0, story.capacity)
        lost[day // 365] += short
    each = lost[1:].mean(axis=0) / 365
    return float(each.mean()), float(each.std() / np.sqrt(devices)), load
