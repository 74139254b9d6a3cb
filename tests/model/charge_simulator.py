"""A pack that is charged at intervals, day by day in plain Python: a second opinion.

Written from the words of `model/recharged` and `model/ageing`, without their code: every day some
more is lost, by how much as it is then; now and then a whole discharge is gone through in small
steps of the depth to see whether one charge of the aged pack still lasts an interval.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

DAY = 86400.0
STEPS = 600  # of the depth, in a discharge


@dataclass(frozen=True)
class Story:
    """A pack, what it feeds, how it ages, and where it stands."""

    capacity_c: float
    empty_v: float  # its voltage falls straight from full to empty
    full_v: float
    ohms: float  # at the coldest place, straight from full to empty
    empty_ohms: float
    cut_off_v: float
    least_capacity: float
    self_a: float
    rest_a: float
    rest_w: float
    pulse_a: float  # for `pulse_s` in each `period_s`
    pulse_s: float
    period_s: float
    every_s: float
    shelf_s: float
    end: float
    places: tuple[tuple[float, float], ...]  # (degC, share)
    calendar: dict[str, float]  # loss_empty, loss_full, after, at, step, z, rise
    cycles: dict[str, float]  # loss, after, depth, at, step, z, p, rise

    def volts(self, depth: float) -> float:
        return self.full_v + (self.empty_v - self.full_v) * depth

    def factor(self, law: dict[str, float], celsius: float) -> float:
        """Arrhenius's factor on the loss, of a law that doubles it a step above its test."""
        test = 1 / (law["at"] + 273.15)
        doubled = 1 / (law["at"] + law["step"] + 273.15)
        return float(2 ** ((test - 1 / (celsius + 273.15)) / (test - doubled)))

    def run(self, left: float, rise: float, upto: float = math.inf) -> tuple[float, float]:
        """(seconds that one charge lasts, depth reached), with that much capacity and resistance.

        `upto` ends it after so many seconds.
        """
        seconds, step = 0.0, 1 / STEPS
        share = self.pulse_s / self.period_s
        before = self.margin(0.0, rise)
        if before < 0:
            return 0.0, 0.0
        for i in range(STEPS):
            v = self.volts((i + 0.5) * step)
            rate = self.rest_a * (1 - share) + self.pulse_a * share + self.self_a
            rate += self.rest_w * (1 - share) / v
            took = left * self.capacity_c * step / rate
            after = self.margin((i + 1) * step, rise)
            part = 1.0 if after >= 0 else before / (before - after)
            if seconds + took * part > upto:
                return upto, (i + (upto - seconds) / took) * step
            seconds += took * part
            if after < 0:
                return seconds, (i + part) * step
            before = after
        return seconds, 1.0

    def margin(self, depth: float, rise: float) -> float:
        """How far a depth is from the end of a discharge, below 0 beyond it: in V or of depth."""
        v = self.volts(depth)
        ohms = (self.ohms + (self.empty_ohms - self.ohms) * depth) * rise
        rest_a = self.rest_a + self.rest_w / v
        loaded = v - ohms * max(self.pulse_a, rest_a) - self.cut_off_v
        return min(self.least_capacity - depth, loaded)


@dataclass(frozen=True)
class End:
    """What ended the pack, when (s), and what it had lost by then."""

    ends_by: str
    seconds: float
    calendar: float
    cycles: float


def simulate(story: Story, look: int = 7) -> End:
    """March day by day; one charge is gone through every `look` days."""
    _, depth = story.run(1.0, 1.0, story.every_s)
    law, use = story.calendar, story.cycles
    lost_c = lost_y = 0.0
    day = 0
    interval = story.every_s / DAY
    while True:
        left, rise = 1 - lost_c - lost_y, 1 + law["rise"] * lost_c + use["rise"] * lost_y
        seconds = day * DAY
        if left <= story.end:
            return End("faded", seconds, lost_c, lost_y)
        if seconds >= story.shelf_s:
            return End("shelf-life", seconds, lost_c, lost_y)
        if day % look == 0 and story.run(left, rise)[0] < story.every_s:
            return End("interval", seconds, lost_c, lost_y)
        # half a day into the day, at each place for its share of it; in the state of charge of
        # then, of the capacity left, and each power law from where its loss has come to
        charge = max(1 - depth / left * (((day + 0.5) % interval) / interval), 0.0)
        loss = law["loss_empty"] + (law["loss_full"] - law["loss_empty"]) * charge
        for celsius, share in story.places:
            k = loss * story.factor(law, celsius)
            equal = law["after"] * (lost_c / k) ** (1 / law["z"])
            lost_c = k * ((equal + share * DAY) / law["after"]) ** law["z"]
        for celsius, share in story.places:
            k = use["loss"] * story.factor(use, celsius)
            equal = use["after"] * (lost_y / k) ** (1 / use["z"])
            more = share / interval * (depth / use["depth"]) ** use["p"]
            lost_y = k * ((equal + more) / use["after"]) ** use["z"]
        day += 1


def ranges(turns: list[float]) -> dict[float, float]:
    """Cycles by range, as ASTM E1049 counts them (rainflow); half cycles as halves."""
    found: dict[float, float] = {}
    stack: list[float] = []

    def count(size: float, cycles: float) -> None:
        size = round(size, 9)
        found[size] = found.get(size, 0.0) + cycles

    for turn in turns:
        stack.append(turn)
        while len(stack) >= 3:
            latest, before = abs(stack[-1] - stack[-2]), abs(stack[-2] - stack[-3])
            if latest < before:
                break
            if len(stack) == 3:
                count(before, 0.5)
                stack.pop(0)
            else:
                count(before, 1.0)
                last = stack.pop()
                stack.pop()
                stack.pop()
                stack.append(last)
    for one, other in itertools.pairwise(stack):
        count(abs(one - other), 0.5)
    return found
