"""Whole lives: a pack that is used up, charged at visits, or charged by a panel while it ages.

Lives through what `tests.model.lifetime_events` makes of a device's days; see there for the sources
and for how choices that the page leaves open are marked.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.model.lifetime_events import DAY, Array, Days, Device, Places

MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


@dataclass
class Lived:
    """What a device lived through: s, A, shares; `u` are standard errors, shares of the figure."""

    life: float = 0.0
    life_u: float = 0.0
    ends: str = ""
    amps: float = 0.0
    amps_u: float = 0.0
    depth_before: float = 0.0
    following: float = 0.0
    changes: int = 0
    charges: int = 0
    left: float = 1.0
    resistance: float = 1.0
    one_charge: float = np.inf
    one_charge_u: float = 0.0
    lost: float = 0.0
    lost_u: float = 0.0
    cover: float = 0.0
    depth: float = 0.0  # of the first whole interval, of the rated capacity


class Holder:
    """A pack with its depth and its age; `shrinks` lets the curve go with the capacity left."""

    def __init__(self, device: Device) -> None:
        self.device, self.pack = device, device.pack
        self.drawn: Array | float = 0.0  # C
        self.u: list[Array | float] = [0.0, 0.0]
        self.left: Array | float = 1.0
        self.resistance: Array | float = 1.0
        needs = [device.pack.cut_off]
        for rail in device.rails:
            needs.append(device.least_supply if rail.feed.kind == "none" else rail.feed.least)
        self.cut = max(needs)
        degrees, capacity, _ = (np.array(c) for c in zip(*self.pack.cold, strict=True))
        at = [place for place, _ in device.places()]
        self.cold = float(np.interp(at, degrees, capacity).min())
        self.most = min(1.0, self.cold, self.pack.discharge_to)

    def volts(self, drawn: Array | float) -> Array:
        """Open voltage after so much charge.

        Read as: what age takes shrinks the curve, so depth is of the capacity left.
        """
        depths, volts = zip(*self.pack.volts, strict=True)
        depth = np.asarray(drawn) / (self.pack.capacity * self.left)
        return np.asarray(np.interp(depth, depths, volts))

    def loses(self, places: Places, volts: Array) -> Array:
        """A that it loses by itself."""
        if self.pack.leak:
            at, amps = zip(*self.pack.leak, strict=True)
            return np.asarray(np.interp(volts, at, amps))
        warm = sum(share * 2 ** ((at - 20) / self.pack.doubles) for at, share in places)
        return self.pack.capacity * self.pack.loses * warm + 0 * volts

    def margin(self, drawn: float, peaks: list[Array]) -> float:
        """How far it is from its end: below 0 past it (a share of its depth, or V)."""
        depth = drawn / (self.pack.capacity * self.left)
        depths, ohms = zip(*self.pack.ohms, strict=True)
        volts = float(self.volts(drawn))
        a, b, c, colder = np.array(peaks).T
        ohm = np.interp(depth, depths, ohms) * colder * self.resistance
        a = a + c * volts
        root = (volts - ohm * a) ** 2 - 4 * ohm * b
        if (root < 0).any():
            return -1.0
        low = (volts - ohm * a + np.sqrt(root)) / 2
        return float(min(self.most - depth, (low - self.cut).min()))

    def age(self, seconds: float, charge: Array | float, places: Places) -> None:
        """Time goes by at a state of charge."""
        if self.pack.calendar is not None:
            self.u[0] = self.u[0] + seconds * self.pack.calendar.rate(charge, places)
            self._sum()

    def cycle(self, depth: Array | float, places: Places) -> None:
        """A cycle of a depth, of the rated capacity."""
        law = self.pack.cycles
        if law is not None:
            steps = (np.asarray(depth) / law.depth) ** law.depth_exponent
            self.u[1] = self.u[1] + steps * law.rate(0.0, places)
            self._sum()

    def _sum(self) -> None:
        laws = (self.pack.calendar, self.pack.cycles)
        lost = [
            (law, u**law.exponent) for law, u in zip(laws, self.u, strict=True) if law is not None
        ]
        self.left = 1 - sum(q for _, q in lost)
        self.resistance = 1 + sum(law.rise * q for law, q in lost)


class Drain:
    """A device on a pack: its clock, its events and what it has seen of their scatter."""

    def __init__(self, device: Device, rng: np.random.Generator) -> None:
        self.device, self.holder = device, Holder(device)
        self.days = Days(device, rng)
        self.places = device.places()
        self.given = 0.0
        self.chunks: list[Array] = []
        look = self.days.pass_by(5.0)
        self.guess = float(self._charge(look, 0.0, 5 * DAY)[0]) / 5

    def _charge(self, events: Array, drawn: float, seconds: float) -> tuple[float, float]:
        """What leaves the pack in all, and of it what the device takes."""
        volts = self.holder.volts(drawn)
        given = float(events @ np.array([1, 1 / volts, volts]))
        return given + float(self.holder.loses(self.places, volts)) * seconds, given

    def step(self, days: float) -> None:
        """Live on; the open voltage is that of the middle of the step."""
        events, seconds = self.days.pass_by(days), days * DAY
        drawn = float(self.holder.drawn)
        whole, _ = self._charge(events, drawn, seconds)
        whole, given = self._charge(events, drawn + whole / 2, seconds)
        self.holder.drawn = drawn + whole
        self.given += given
        self.chunks.append(np.array([whole / days]))

    def over(self) -> float:
        """How far the pack is from carrying no more."""
        return self.holder.margin(float(self.holder.drawn), self.days.peaks())

    def step_to_end(self, days: float) -> float:
        """A step, which ends where the pack does; returns the days that it carried."""
        before, given = float(self.holder.drawn), self.given
        if self.over() < 0:
            return 0.0
        self.step(days)
        if self.over() >= 0:
            return days
        after, low, high = float(self.holder.drawn), 0.0, 1.0
        for _ in range(40):
            middle = (low + high) / 2
            self.holder.drawn = before + middle * (after - before)
            low, high = (middle, high) if self.over() >= 0 else (low, middle)
        self.given = given + low * (self.given - given)
        return low * days

    def reaches(self) -> float:
        """Charge at which the pack, as aged as it is, carries no more, C."""
        low, high = 0.0, float(_holds(self.holder))
        for _ in range(30):
            middle = (low + high) / 2
            carries = self.holder.margin(middle, self.days.peaks()) >= 0
            low, high = (middle, high) if carries else (low, middle)
        return low

    def scatter(self) -> float:
        """Standard error of the mean charge of a day, as its share."""
        rates = np.array(self.chunks).ravel()
        if len(rates) < 4:
            return 0.0
        # what the voltage does on the way is no scatter: neighbours are held against each other
        return float(np.sqrt(np.mean(np.diff(rates) ** 2) / 2 / len(rates)) / rates.mean())


def stored(drain: Drain) -> None:
    """Phases before the first day: the pack by itself, or the device asleep on it."""
    device, holder = drain.device, drain.holder
    for seconds, places, powered in device.phases:
        asleep = np.sum([share * drain.days.between(at) for at, share in places], axis=0) * powered
        for _ in range(40):
            drawn = float(holder.drawn)
            middle = drawn
            for part in (80, 40):
                volts = holder.volts(middle)
                amps = holder.loses(places, volts) + asleep @ [1, 1 / volts, volts]
                middle, after = (
                    drawn + float(amps) * seconds / 80,
                    drawn + float(amps) * seconds / part,
                )
            holder.age(seconds / 40, 1 - (drawn + after) / 2 / _holds(holder), places)
            holder.drawn = after


def _holds(holder: Holder) -> Array | float:
    return holder.pack.capacity * holder.left


def used_up(device: Device, seed: int, fresh: bool, shelf: bool = True, steps: int = 150) -> Lived:
    """A pack that nobody charges, until it carries no more or is too old."""
    drain, lived = Drain(device, np.random.default_rng(seed)), Lived()
    if not fresh:
        stored(drain)
        lived.depth_before = float(drain.holder.drawn) / device.pack.capacity
    spent = 0.0 if fresh else sum(seconds for seconds, *_ in device.phases)
    limit = (device.pack.shelf - spent) / DAY if shelf else np.inf
    days, lived.ends = 0.0, "drained"
    pace = device.pack.capacity / steps / drain.guess
    while True:
        step = min(pace, limit - days)
        carried = drain.step_to_end(step)
        days += carried
        if carried < step:
            break
        if days >= limit:
            lived.ends = "shelf-life"
            break
    lived.life = days * DAY
    lived.amps = drain.given / max(lived.life, 1.0)
    lived.life_u = drain.scatter() if lived.ends == "drained" else 0.0
    return lived


def changed(device: Device, lived: Lived) -> Lived:
    """Packs bought over the service life, each living as long as one that comes fresh."""
    gone = lived.life
    while gone < device.service:
        lived.changes += 1
        gone += lived.following
    return lived


def recharged(device: Device, seed: int, fresh: bool, steps: int = 12) -> Lived:
    """A pack that somebody charges at visits, until it is changed.

    Read as: a cycle's depth is all that left the pack since the last visit, what it lost by itself
    too; what a cycle costs comes with the visit. Life ends where the capacity passes `ageing.end`,
    or where what a charge would last over an interval passes that interval, each in a straight line
    within the interval; a first charge that does not last ends it at once.
    """
    drain, lived = Drain(device, np.random.default_rng(seed)), Lived()
    holder, pack, every = drain.holder, device.pack, float(device.recharge or 0) / DAY
    if not fresh:
        stored(drain)
        lived.depth_before = float(holder.drawn) / pack.capacity
    spent = 0.0 if fresh else sum(seconds for seconds, *_ in device.phases)
    limit, begin = (pack.shelf - spent) / DAY, 0.0
    spare: float | None = None
    depths: list[float] = []
    drops: list[tuple[float, float, float]] = []  # of what is to spare, capacity and resistance
    while True:
        left, rise, given = float(holder.left), float(holder.resistance), drain.given
        for n in range(steps):
            before = float(holder.drawn)
            carried = drain.step_to_end(every / steps)
            middle = 1 - (before + float(holder.drawn)) / 2 / _holds(holder)
            holder.age(carried * DAY, max(0.0, middle), drain.places)
            if carried < every / steps:
                ends, share, now = "interval", 0.0, (n * every / steps + carried) / every - 1
                if spare is not None:  # it ages within that interval too
                    share = spare / (spare - now)
                break
        else:
            taken = float(holder.drawn)
            if begin > 0 or not depths:
                depths = [*(depths if begin > every else []), taken / pack.capacity]
            more = drain.reaches() / taken - 1
            slope, spare = (0.0 if spare is None else spare - more), more
            holder.cycle(taken / pack.capacity, drain.places)
            drops.append((slope, left - float(holder.left), float(holder.resistance) - rise))
            holder.drawn, ends, share = 0.0, "", 2.0
            if holder.left <= pack.end:
                ends, share = "faded", (left - pack.end) / (left - float(holder.left))
        if begin + min(share, 1.0) * every > limit:
            ends, share = "shelf-life", (limit - begin) / every
        if ends:
            break
        begin += every
    lived.life, lived.ends = (begin + share * every) * DAY, ends
    lived.left, lived.resistance = left, rise
    if ends != "interval":
        lived.left += share * (float(holder.left) - left)
        lived.resistance += share * (float(holder.resistance) - rise)
        given += share * (drain.given - given)
        lived.amps = given / max(lived.life, 1.0)
    else:
        lived.amps = given / max(begin, every) / DAY
        if drops:
            lived.left -= share * drops[-1][1]
            lived.resistance += share * drops[-1][2]
    lived.depth, lived.amps_u = float(np.mean(depths or [0.0])), drain.scatter()
    if ends == "interval" and len(drops) > 2:
        # one interval's own scatter decides, by how fast what is to spare goes
        goes = max(float(np.mean([drop[0] for drop in drops[-12:]])), 1e-6)
        lived.life_u = lived.amps_u * float(np.sqrt(begin / every)) / goes * every * DAY
        lived.life_u = float(np.hypot(lived.life_u / max(lived.life, 1.0), lived.amps_u))
    return lived


def visited(device: Device, lived: Lived) -> Lived:
    """Visits over the service life: a pack is changed at the last visit that it reaches."""
    every = float(device.recharge or 0)
    now, reach = every, lived.life
    while now < device.service:
        if now + every > reach * (1 + 1e-12):
            lived.changes, reach = lived.changes + 1, now + lived.following
        else:
            lived.charges += 1
        now += every
    return lived


def harvested(
    device: Device, seed: int, copies: int = 64, parts: tuple[int, int] = (4, 3)
) -> Lived:
    """A store that a panel charges, day after day until it has faded; many copies side by side.

    A day begins at dawn; what falls on the panel comes evenly while there is light and charges at
    the store's voltage. A day is lost where the load is not carried at some moment of it.
    Read as: with the chance of the persistence a day is as the one before; days too cold to charge
    are a spell somewhere in each of the six months of the least harvest; a day is a cycle as deep
    as what its night takes. Cover and current are those at the voltage that the store's charge has
    on average.
    """
    assert device.sun is not None
    rng, sun = np.random.default_rng(seed), device.sun
    drain, lived = Drain(device, rng), Lived()
    holder, pack = drain.holder, device.pack
    sample = np.array([drain.days.pass_by(1.0) for _ in range(120)]) / DAY
    floor = drain.reaches() / pack.capacity
    volts = holder.volts(np.linspace(0, floor, 2001) * pack.capacity)
    a, b, c = sample.mean(axis=0)
    lived.amps = float(a + b / volts.mean() + c * volts.mean())
    watts = float(np.mean((a + holder.loses(drain.places, volts)) * volts + b + c * volts**2))
    lived.amps_u = float(sample.sum(axis=1).std() / np.sqrt(120) / sample.sum(axis=1).mean())
    stored(drain)
    lived.depth_before = float(holder.drawn) / pack.capacity
    spent = sum(seconds for seconds, *_ in device.phases)
    limit, night = (pack.shelf - spent) / DAY, sun.night / DAY
    drawn = np.full(copies, min(float(holder.drawn), floor * pack.capacity))
    cold = sum(share for at, share in drain.places if at < pack.least_charge)
    dark = set(np.argsort(sun.months)[:6].tolist())
    shape = 1 / sun.spread**2
    sky = rng.gamma(shape, 1 / shape, copies)
    alive, ended, lost = np.ones(copies, bool), np.full(copies, limit), np.zeros(copies)
    day, income = 0, 0.0
    while alive.any():
        for month, length in enumerate(MONTH_DAYS):
            spell = np.zeros(copies)
            if month in dark:
                spell = np.floor(2 * cold * length + rng.uniform(size=copies))
            first = np.floor(rng.uniform(size=copies) * (length - spell + 1))
            for n in range(length):
                anew = rng.gamma(shape, 1 / shape, copies)
                sky = np.where(rng.uniform(size=copies) < sun.persistence, sky, anew)
                lit = (n < first) | (n >= first + spell)
                joules = sun.months[month] * sky * lit * pack.efficiency
                events = sample[rng.integers(len(sample), size=copies)]
                drawn, failed, dark_c = _day(drain, drawn, joules, events, floor, night, parts)
                holder.cycle(dark_c / pack.capacity, drain.places)
                lost += failed & alive
                income, day = income + float(joules.mean()), day + 1
                over = alive & ((holder.left + 0 * drawn <= pack.end) | (day >= limit))
                ended[over] = min(day, limit)
                alive &= ~over
    lived.life = float(ended.mean()) * DAY
    lived.ends = "shelf-life" if ended.min() >= limit else "faded"
    share = lost / ended
    lived.lost = float(share.mean())
    lived.lost_u = float(share.std(ddof=1) / np.sqrt(copies))
    lived.life_u = float(ended.std(ddof=1) / np.sqrt(copies) / ended.mean())
    lived.cover = income / day / DAY / watts
    return lived


def _day(
    drain: Drain,
    drawn: Array,
    joules: Array,
    events: Array,
    floor: float,
    night: float,
    parts: tuple[int, int],
) -> tuple[Array, NDArray[np.bool_], Array]:
    """From dawn to dawn: what is drawn then, whether the day failed, C that the night took."""
    holder = drain.holder
    least, failed, dusk = floor * _holds(holder), np.zeros(len(drawn), bool), drawn
    for light, length, count in ((True, 1 - night, parts[0]), (False, night, parts[1])):
        seconds = length * DAY / count
        for _ in range(count if length > 0 else 0):
            at = drawn
            for half in (0.5, 1.0):
                volts = holder.volts(at)
                amps = events[:, 0] + events[:, 1] / volts + events[:, 2] * volts
                amps = amps + holder.loses(drain.places, volts)
                gain = joules / (1 - night) / DAY / volts if light else 0.0
                at = np.maximum(drawn + (amps - gain) * seconds * half, 0.0)
            failed |= at > least
            before, drawn = drawn, np.minimum(at, least)
            level = 1 - (before + drawn) / 2 / _holds(holder)
            holder.age(seconds, np.clip(level, 0, 1), drain.places)
        if light:
            dusk = drawn
    return drawn, failed, np.maximum(drawn - dusk, 0.0)


def live(device: Device, seed: int, copies: int = 64) -> Lived:
    """A device's whole service life."""
    if device.sun is not None:
        lived = harvested(device, seed, copies)
        lived.following = lived.life
        return changed(device, lived)
    life = recharged if device.recharge else used_up
    lived = life(device, seed, fresh=False)
    lived.following = lived.life
    if device.phases:
        lived.following = life(device, seed + 1, fresh=True).life
    if device.recharge:
        once = used_up(device, seed + 2, fresh=True, shelf=False)
        lived.one_charge, lived.one_charge_u = once.life, once.life_u
        return visited(device, lived)
    return changed(device, lived)
