"""What a harvest makes of builds: how often their store runs empty, and how long their packs last.

All that is harvested goes through the store, of which the charge efficiency comes back. The store
is the energy between a full pack and the depth at which it no longer carries the build,
C_0 times the integral of V over depth, the fresh pack's; the load of a day is what the pack gives
then at its mean voltage over that depth, its own losses in it. A store bridges the nights first:
what the longest takes is set aside, and `store` follows the rest by day.

Constant currents, straight from the pack or through a linear converter, are a load in charge, not
in energy: of energy they take more from a full store than from an empty one, by the voltage, and
what is filled at its voltage more still, which the chain follows as straight over the charge.
Constant powers take the same all along. What a capacitor leaks over its voltage the chain follows
by its curve, see `leaking`.

Nothing is charged below and above the temperatures at which the cells may be. Of which months those
days are is not said, so the cold ones are taken to be of the six months of least harvest and the
hot ones of the others, as one spell in each month (common practice, no source).

How often the store runs empty is told of the pack's whole life: as it fades the chain is asked for
the capacity left at some moments, of which the mean is taken. The depth at which it no longer
carries the build stays that of the fresh one.

Axes: R rows (builds on one feed), N draws. SI units.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model import battery
from advisor.model.drain import Drain, Pack, at_depth, leaks_around, rows_of
from advisor.model.draws import Array
from advisor.model.leaking import leak_of, taken
from advisor.model.pieces import between, piece_and_share
from advisor.model.served import LOWEST, Service, Services, shifted
from advisor.model.standing import FADED, Filling
from advisor.model.store import MONTH_DAYS, YEAR_DAYS, Dawns
from advisor.model.workload import ProductFigures

if TYPE_CHECKING:
    from advisor.catalogue.schema_supply import Cell
    from advisor.model.battery import Life
    from advisor.model.packs import Feed

DAY = 86400.0
EVEN = 1e-9  # of a logarithm, below which months differ by rounding alone
HALF = 6  # months of the dark half of a year
_PLACES = np.linspace(0.0, 1.0, 33)
_EVENLY = np.where((_PLACES == 0) | (_PLACES == 1), 0.5, 1.0) / 32
# three-point Gauss-Legendre on 0..1, of a life in which capacity is lost
MOMENTS = (0.5 - np.sqrt(0.15), 0.5, 0.5 + np.sqrt(0.15))
WEIGHTS = {1: np.ones(1), len(MOMENTS): np.array([5.0, 8.0, 5.0]) / 18.0}


@dataclass(frozen=True, slots=True)
class Harvested:
    """How builds on one feed fare, (R, N) each but where said.

    income_j : (12, N) J, a day's mean harvest by month that comes out of the store again. load_w :
    W, mean that the pack gives, its own losses in it. store_j : J, the store; volts : V, its mean;
    night_j : J of it set aside for the nights. lost : share of days on which the load is not
    carried, over the pack's life, unserved : share of the load. left : (A, R, N) share of the store
    that age leaves, at moments evenly in the pack's life. night : (N,) share of a day. ages :
    whether it ages by how full it stands, which `fillings` tell of stores of which `FADED` is left
    until its life is known. chain_w : W, mean load that the chain counts in, bridged_j : J that it
    sets aside for a night, load : how it goes with what is held, see `Service`. cold,
    hot : (N,) share of the time too cold or too hot to charge. service : the chain's answers.
    """

    income_j: Array
    load_w: Array
    store_j: Array
    volts: Array
    night_j: Array
    lost: Array
    unserved: Array
    night: Array
    cold: Array
    hot: Array
    service: Service
    left: Array
    chain_w: Array
    bridged_j: Array
    load: tuple[Array, ...]
    ages: bool
    fillings: tuple[Filling, ...] = ()

    def rows(self, some: slice) -> Harvested:
        """How some rows fare."""
        names = "load_w", "store_j", "volts", "night_j", "lost", "unserved", "chain_w"
        mine = {name: getattr(self, name)[some] for name in (*names, "bridged_j")}
        load = tuple(one[some] for one in self.load)
        return replace(self, left=self.left[:, some], load=load, **mine)

    @property
    def income_w(self) -> Array:
        """Mean harvest over the year, (N,) W."""
        return np.asarray(MONTH_DAYS @ self.income_j / YEAR_DAYS / DAY)

    @property
    def cover(self) -> Array:
        """Harvest over load, over the year, (R, N) shares."""
        return cover_of(self.income_w, self.load_w)

    @property
    def chain_cover(self) -> Array:
        """The same over the load that the chain counts in, (R, N) shares."""
        return cover_of(self.income_w, self.chain_w)

    @property
    def days(self) -> Array:
        """What the fresh store has left for days, (R, N) count of days of load."""
        return days_of(self.store_j, self.night_j, self.load_w)

    @property
    def chain_days(self) -> Array:
        """The same in loads that the chain counts in, (R, N) count of days."""
        return self.days_left(1.0)

    @property
    def aged_days(self) -> Array:
        """The same as it fades, (A, R, N) counts of days."""
        return self.days_left(self.left)

    def days_left(self, left: Array | float) -> Array:
        """The same with a share of the store left, (..., R, N) counts of days."""
        return days_of(self.store_j * left, self.bridged_j, self.chain_w)

    @property
    def depth(self) -> Array:
        """Mean depth of a day's discharge, (R, N) share of the store: what a night takes."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(np.where(self.store_j > 0, self.night_j / self.store_j, 1.0))

    def again(self, row: int, income: float = 1.0, store: float = 1.0) -> float:
        """Share of lost days of a row at the stated values, with so many times the harvest and the
        store."""
        aged = self.store_j[row] * store * self.left[:, row]
        days = days_of(aged, self.bridged_j[row], self.chain_w[row])
        cover = np.broadcast_to(self.chain_cover[row] * income, days.shape)
        load = [np.broadcast_to(one[row], days.shape) for one in self.load]
        return float(self.service.at(cover, days, *load).lost[:, 0] @ WEIGHTS[len(days)])

    def fillings_by_month(self, row: int) -> list[Filling]:
        """How full a row stands at the stated values month by month, (1, 12) shares, of stores of
        which `FADED` is left."""
        cover = float(self.chain_cover[row, 0])
        load = [float(one[row, 0]) for one in self.load]
        days = [float(self.days_left(left)[row, 0]) for left in FADED]
        return [self.service.filling_by_month(cover, one, *load) for one in days]

    def by_month(self, row: int) -> Dawns:
        """A row at the stated values, month by month."""
        days = float(self.aged_days[:, row, 0] @ WEIGHTS[len(self.left)])
        load = [float(one[row, 0]) for one in self.load]
        return self.service.by_month(float(self.chain_cover[row, 0]), days, *load)


def cover_of(income_w: Array, load_w: Array) -> Array:
    """Harvests over loads, both W, as shares (R, N)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        found = income_w / load_w
    return np.asarray(np.where(load_w > 0, found, np.where(income_w > 0, np.inf, 0)))


def days_of(store_j: Array, night_j: Array, load_w: Array) -> Array:
    """What a store (J) has left after the nights, in days of a load (W); arrays (R, N)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        days = (store_j - night_j) / (load_w * DAY)
    return np.asarray(np.where(load_w > 0, days, np.inf))


def harvestable(cell: Cell | None) -> bool:
    """Whether a harvest may go into a cell."""
    return cell is not None and cell.rechargeable and cell.charge is not None


def recovering(life: Life, feed: Feed, product: ProductFigures, drain: Drain, fresh: bool) -> Life:
    """Lives of builds of which what comes before use empties the store, as of a fresh one.

    What is harvested charges it again, whatever voltage it has fallen to: a capacitor from nothing,
    another cell unless it has given all that it has, as its protection locks it out then (common
    practice, no source). `sustained` takes back those that are not charged by more than they give.
    `fresh` : whether the fresh pack's voltage and current are wanted, as for `battery.life`.
    """
    if product.income is None or not drain.before or not harvestable(feed.cell):
        return life
    asleep = life.dead & (life.next_s > 0)
    if feed.pack.drip is None:
        asleep &= life.start_depth < 1
    if not asleep.any():
        return life
    rows = np.flatnonzero(asleep.any(axis=1))
    anew = battery.life(feed.pack, replace(rows_of(drain, rows), before=()), fresh)
    changed = ("end_depth", "life_s", "ends_by", "mean_current_a", "start_peak_a", "start_mean_a",
               "start_low_v", "dead", "self_a", "mean_v")  # fmt: skip
    parts = {}
    for name in changed:
        parts[name] = getattr(life, name).copy()
        parts[name][rows] = np.where(asleep[rows], getattr(anew, name), parts[name][rows])
    return replace(life, emptied=asleep, **parts)


def harvested(
    feed: Feed, product: ProductFigures, drain: Drain, life: Life, services: Services
) -> Harvested | None:
    """Store, load and harvest of R builds on one feed, which `answered` then follows through the
    year; None where the pack cannot be charged, or nothing is harvested."""
    income, cell, pack = product.income, feed.cell, feed.pack
    if income is None or cell is None or not harvestable(cell) or feed.charge_efficiency is None:
        return None
    store_j, volts = energy_to(pack, life.end_depth)
    own_a = pack.self_discharge_a if pack.drip is None else 0.0
    open_v = _down_to(pack, pack.open_v, life.end_depth)
    amps = drain.steady_a + pack.leak_a
    if drain.filling is not None:
        amps = amps + drain.conductance * open_v
    drip = None
    if pack.drip is not None:
        drip = leaks_around(pack, 0 * life.end_depth, life.end_depth, len(_PLACES))
    mean_w, fall_w = _over_depth(open_v * (amps + (own_a if drip is None else drip)))
    load_w = mean_w + drain.mean_power_w
    night_j = load_w * income.night * DAY
    too_cold, too_hot = (
        (product.share * one).sum(axis=0) for one in product.unchargeable(cell.charge)
    )
    months, spread, persistence = income.stated
    order = np.argsort(months, kind="stable")
    idle = _idle(order, too_cold, too_hot)
    stated = _idle(order, *(np.array([x]) for x in feed.stated_idle))[:, 0]
    leak = leak_of(cell, income.stated_night) if pack.drip is not None else None
    answers = services.of(
        tuple(float(m) for m in np.array(months) / max(sum(months), 1e-300)),
        spread,
        persistence,
        tuple(float(x) for x in stated),
        Service if leak is None else leak,
    )
    chain_w, bridged_j = load_w, night_j
    load: tuple[Array, ...] = (_pull(fall_w / 2, load_w, night_j, store_j),)
    if leak is not None and drip is not None:
        chain_w, load = taken(open_v, drip, amps, drain.mean_power_w, life.end_depth)
        # the chain goes through the nights that are stated
        bridged_j = load_w * (income.night - income.stated_night) * DAY
    return Harvested(
        income_j=income.energy * feed.charge_efficiency * (1 - idle),
        load_w=load_w,
        store_j=store_j,
        volts=volts,
        night_j=night_j,
        lost=np.zeros(load_w.shape),
        unserved=np.zeros(load_w.shape),
        night=income.night,
        cold=too_cold,
        hot=too_hot,
        service=answers,
        left=np.ones((1, *load_w.shape)),
        chain_w=chain_w,
        bridged_j=bridged_j,
        load=load,
        ages=pack.ageing is not None and pack.ageing.by_charge,
    )


def answered(
    some: Sequence[Harvested | None],
    product: ProductFigures,
    aged: Callable[[int, Harvested], Array],
) -> list[Harvested | None]:
    """The same with what the chain answers, where months, spread and persistence may be drawn.

    `aged` tells what age leaves of the store of each by its place, (A, R, N) shares, from how the
    fresh one fares.

    What moves all months alike moves the cover. What moves them otherwise counts by the weight that
    each has at that cover and store, to the first order. Those of one chain are asked together.
    """
    out = list(some)
    groups: dict[int, list[int]] = defaultdict(list)
    for i, one in enumerate(some):
        if one is not None:
            groups[id(one.service)].append(i)
    for members in groups.values():
        found = [one for one in (some[i] for i in members) if one is not None]
        answers = found[0].service
        moves = [_moves(one, product) for one in found]
        moved = [(np.zeros(()), np.zeros(()))] * len(found)
        if any(one is not None for one in moves):
            answers.know_leanings(*_in_one([(one.chain_cover, one.chain_days) for one in found]))
            moved = [
                answers.lean(one.chain_cover, one.chain_days, *move) if move is not None else still
                for one, move, still in zip(found, moves, moved, strict=True)
            ]
        covers = [one.chain_cover * np.exp(by) for one, (by, _) in zip(found, moved, strict=True)]
        sizes = [
            [(c, one.days_left(left), *one.load) for left in FADED if one.ages]
            for c, one in zip(covers, found, strict=True)
        ]
        if any(sizes):
            answers.know(*_in_one([place for of in sizes for place in of]))
        for k, (i, of) in enumerate(zip(members, sizes, strict=True)):
            one = replace(found[k], fillings=tuple(answers.filling(*place) for place in of))
            found[k] = replace(one, left=aged(i, one), fillings=())
        covers = [np.broadcast_to(c, one.left.shape) for c, one in zip(covers, found, strict=True)]
        places = [
            (c, one.aged_days, *(np.broadcast_to(part, c.shape) for part in one.load))
            for c, one in zip(covers, found, strict=True)
        ]
        answers.know(*_in_one(places))
        for i, one, place, (_, more) in zip(members, found, places, moved, strict=True):
            fared, weights = answers.at(*place), WEIGHTS[len(one.left)]
            lost = np.tensordot(weights, shifted(fared.lost, more), 1)
            unserved = np.tensordot(weights, fared.unserved, 1)
            # more spread and persistence are told of lost days alone
            out[i] = replace(one, lost=lost, unserved=np.minimum(unserved, lost))
    return out


def _in_one(places: Sequence[tuple[Array, ...]]) -> list[Array]:
    return [np.concatenate([x.ravel() for x in of]) for of in zip(*places, strict=True)]


def _moves(at: Harvested, product: ProductFigures) -> tuple[Array, Array, Array] | None:
    """What differs from the stated pattern: logarithms of months (12, N) beside the year's mean,
    spread and persistence (N,); None where nothing does."""
    income = product.income
    assert income is not None
    months, spread, persistence = income.stated
    stated = np.array(months) * (1 - at.service.idle)
    total = float(MONTH_DAYS @ stated)
    sums = MONTH_DAYS @ at.income_j
    if total <= 0 or not (sums > 0).all():
        return None
    then = (stated / total)[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(then > 0, at.income_j / sums / then, 1.0)
    moved = np.log(np.maximum(ratio, LOWEST))
    moved = np.where(np.abs(moved) < EVEN, 0.0, moved)
    found = moved, income.spread - spread, income.persistence - persistence
    return found if any(one.any() for one in found) else None


def _idle(order: NDArray[np.intp], cold: Array, hot: Array) -> Array:
    """Share of idle days by month, (12, N), from shares of the year (N,): the cold ones in the
    first six months of an order of rising harvest, the hot ones in the others, what is more in the
    rest."""
    year = MONTH_DAYS / YEAR_DAYS
    dark = np.zeros(12, dtype=bool)
    dark[order[:HALF]] = True
    out = np.zeros((12, len(cold)))
    for share, first in ((cold, dark), (hot, ~dark)):
        room = float(year[first].sum())
        out[first] += np.minimum(share / room, 1.0)
        out[~first] += np.maximum(share - room, 0.0) / (1 - room)
    return np.asarray(np.minimum(out, 1.0))


def energy_to(pack: Pack, depth: Array) -> tuple[Array, Array]:
    """Energy of a pack down to depths (R, N), J, and its mean open voltage until there, V."""
    volts, grid = pack.open_v, pack.depth
    mean = (volts[1:] + volts[:-1]) / 2 * np.diff(grid)[:, None]
    until = np.concatenate([np.zeros((1, volts.shape[1])), np.cumsum(mean, axis=0)])
    draw = np.arange(depth.shape[1])
    i, share = piece_and_share(grid, depth)
    there = between(volts, i, share, draw)
    area = until[i, draw] + (volts[i, draw] + there) / 2 * (depth - grid[i])
    with np.errstate(divide="ignore", invalid="ignore"):
        average = np.where(depth > 0, area / depth, volts[0])
    return np.asarray(pack.capacity_c * area), np.asarray(average)


def _pull(more_w: Array, load_w: Array, night_j: Array, store_j: Array) -> Array:
    """By how much more of its mean load a full store carries, (R, N) shares, where that is (R, N) W
    from half to full; of what the nights leave of it."""
    with np.errstate(divide="ignore", invalid="ignore"):
        found = more_w / load_w * (1 - np.clip(night_j / store_j, 0.0, 1.0))
    return np.asarray(np.where(np.isfinite(found), np.clip(found, 0.0, 1.0), 0.0))


def _down_to(pack: Pack, values: Array, depth: Array) -> Array:
    """Values over a pack's depth (G, N), in any unit, at even places down to depths (R, N):
    (33, R, N)."""
    draw = np.arange(depth.shape[1])
    return np.stack([at_depth(pack.depth, values, depth * x, draw) for x in _PLACES])


def _over_depth(watts: Array) -> tuple[Array, Array]:
    """Of what is taken at even places down to a depth (33, R, N) W: the mean, W, and how much less
    it is at the end, by the line through it, W."""
    beside = _PLACES - 0.5
    slope = np.tensordot(_EVENLY * beside, watts, 1) / (_EVENLY @ beside**2)
    return np.tensordot(_EVENLY, watts, 1), np.asarray(-slope)


def own_loss(pack: Pack, depth: Array) -> Array:
    """What a pack loses by itself on average down to depths (R, N), A."""
    if pack.drip is None:
        return np.broadcast_to(pack.self_discharge_a, depth.shape)
    return np.tensordot(_EVENLY, leaks_around(pack, 0 * depth, depth, len(_PLACES)), 1)
