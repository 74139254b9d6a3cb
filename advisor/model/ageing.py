"""How a cell that is charged again loses capacity, and its resistance grows, with time and cycles.

Each of two laws says which share of the rated capacity a test cost, and how that goes with its
stress:

    calendar   q_c = L(s) A_c (t/T)^z                    s the state of charge
    cycles     q_y = L A_y ((n/N) (d/D)^p)^z             d the charge of a cycle, of the rated one

L is lost after the time T, or after N cycles of the depth D; A = exp(E (1/K_0 - 1/K)) is
Arrhenius's factor from the test's temperature K_0 to K, both in kelvin, with the E that doubles the
loss at `doubles-every` above K_0. So stated are the laws of Wang et al. (J. Power Sources 196
(2011) 3942; z = 0.55, p = 1: only the charge that goes through counts), Naumann et al. (J. Energy
Storage 17 (2018) 153; calendar, z = 0.5) and Schmalstieg et al. (J. Power Sources 257 (2014) 325;
calendar, z = 0.75). Both losses add up (as in the last; common practice): capacity left
1 - q_c - q_y, of the rated one. The resistance is that of the fresh cell times 1 + r_c q_c + r_y
q_y.

A power law carries its state where the stress changes: what has been lost, not the time that has
passed, says how fast it goes on. With k = L A/T^z, q = k t^z at one stress, so dq/dt = z k^(1/z)
q^(1-1/z): u = q^(1/z) grows at the rate k^(1/z), whatever it is, and the rates of several stresses
add up over their times, in any order. So the rate at a mixture of temperatures and states of charge
is the mean of k^(1/z) over the time, exactly. It is neither k at the mean stress nor the mean of k.

The state of charge is of the capacity left: a pack that has faded to l goes down to 1 - d/l by a
charge d of the rated capacity. So the calendar law's rate is that of bands of loss, each at its
middle, which are gone through one after the other; with one loss for all states there is one.

Axes: R rows (builds on one pack), N draws. SI units, temperatures in degC.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.schema_charge import Ageing as Stated
from advisor.catalogue.schema_charge import CalendarAgeing, CycleAgeing
from advisor.dataclass import dataclass
from advisor.figures import Path
from advisor.model.draws import Array, Sampler
from advisor.model.pieces import piece_of
from advisor.model.workload import ProductFigures, curve_values, on_curve

KELVIN = 273.15
CALENDAR = ("loss", "after", "at", "doubles-every", "exponent")
CYCLES = ("loss", "after", "depth", "at", "doubles-every", "exponent", "depth-exponent")

ALIKE = 1e-5  # of losses, below which the middle of both stands for what lies between
NO_SPAN = 1e-8  # of states of charge, below which there is nothing between
STEPS = 3  # of a phase before use: more change the loss by less than three thousandths of it
LEAST_LEFT = 1e-3  # of the capacity, that states of charge are of
BANDS = (
    0.04,
    0.1,
    0.17,
    0.25,
    0.34,
    0.44,
    0.55,
    0.67,
    0.8,
    1.0,
)  # of what is lost of the capacity, up to


@dataclass(frozen=True, slots=True)
class Law:
    """A law at the product's temperatures: loss (u)^z, (N,) each.

    unit : time (s) or cycles of the test's depth that cost the test's loss at the test's stress.
    warmth : mean of A^(1/z) over the environment; stored : the same in each phase before use.
    rise : of the resistance per loss. depth, power : of a cycle of the test, and of the depth.
    charged, loss : states of charge (X,) and losses (X, N) over them; cycles have one.
    """

    exponent: Array
    unit: Array
    warmth: Array
    stored: tuple[Array, ...]
    rise: Array
    charged: Array
    loss: Array
    depth: Array
    power: Array

    def of(self, n: NDArray[np.intp]) -> Law:
        """That of some draws, as many as there are indices (m,)."""
        return Law(
            exponent=self.exponent[n],
            unit=self.unit[n],
            warmth=self.warmth[n],
            stored=tuple(one[n] for one in self.stored),
            rise=self.rise[n],
            charged=self.charged,
            loss=self.loss[:, n],
            depth=self.depth[n],
            power=self.power[n],
        )


@dataclass(frozen=True, slots=True)
class Ageing:
    """How a pack ages; `end` (N,) is the least share of the rated capacity left, 0 where none is
    stated. A law is None where none is stated."""

    calendar: Law | None
    cycles: Law | None
    end: Array

    @property
    def by_charge(self) -> bool:
        """Whether it ages by its state of charge."""
        return self.calendar is not None and len(self.calendar.charged) > 1

    def of(self, n: NDArray[np.intp]) -> Ageing:
        """That of some draws, as many as there are indices (m,)."""
        return Ageing(
            calendar=None if self.calendar is None else self.calendar.of(n),
            cycles=None if self.cycles is None else self.cycles.of(n),
            end=self.end[n],
        )


# a share of the time, and the states of charge, of the capacity left, between which it goes evenly;
# arrays that broadcast to (R, N)
Stay = tuple[Array | float, Array, Array]


class Rates:
    """The calendar law's rate by what has been lost, (R, N) 1/s in each band of loss; a band's is
    worked out when it is first asked for. `bounds` are the losses up to which the bands go."""

    def __init__(self, bounds: Sequence[float], rate: Callable[[int], Array]) -> None:
        self.bounds = tuple(bounds)
        self._rate = rate
        self._known: dict[int, Array] = {}

    def __getitem__(self, band: int) -> Array:
        if band not in self._known:
            self._known[band] = self._rate(band)
        return self._known[band]

    def each(self, change: Callable[[Array], Array]) -> Rates:
        """The same of some cases, by what picks them out of (R, N), rates in 1/s."""
        return Rates(self.bounds, lambda band: change(self[band]))


@dataclass(frozen=True, slots=True)
class Stress:
    """What a pack goes through, as rates at which each law's u = q^(1/z) grows.

    calendar : by what has been lost by then, see `Rates`. cycles : (R, N) 1/s. begun : (R, N), the
    calendar law's u on the first day.
    """

    calendar: Rates
    cycles: Array
    begun: Array

    def each(self, change: Callable[[Array], Array]) -> Stress:
        """The same of some cases, by what picks them out of (R, N), rates in 1/s."""
        return Stress(self.calendar.each(change), change(self.cycles), change(self.begun))


@dataclass(frozen=True, slots=True)
class Charged:
    """A pack that is charged again, each (R, N) but `every_s`, (N,) s.

    first_s, run_s : how long the first charge in use lasts, and that of a pack that comes fresh;
    the first as storage has aged the pack; neither as it ages meanwhile.
    depth : charge of an interval, share of the rated capacity. calendar, cycles : share lost at the
    end of life; resistance : over the fresh one's then. shelf_s : what is left of the shelf life on
    the first day. under : the stress. first_low_v : lowest loaded voltage, V, of the first pack as
    storage has aged it; of draws only where it has nothing to give, infinite elsewhere; None where
    it was not stored, or loses nothing but capacity by age.
    """

    every_s: Array
    first_s: Array
    run_s: Array
    depth: Array
    calendar: Array
    cycles: Array
    resistance: Array
    shelf_s: Array
    under: Stress
    first_low_v: Array | None = None

    def rows(self, some: slice) -> Charged:
        """The stories of some rows."""
        return Charged(
            every_s=self.every_s,
            first_s=self.first_s[some],
            run_s=self.run_s[some],
            depth=self.depth[some],
            calendar=self.calendar[some],
            cycles=self.cycles[some],
            resistance=self.resistance[some],
            shelf_s=self.shelf_s[some],
            under=self.under.each(lambda x: x[some]),
            first_low_v=None if self.first_low_v is None else self.first_low_v[some],
        )

    @property
    def one_s(self) -> Array:
        """How long the first charge lasts, (R, N) s, or one of a pack that comes fresh if that is
        less."""
        return np.minimum(self.first_s, self.run_s)

    @property
    def left(self) -> Array:
        """Capacity left at the end of life, (R, N) share of the rated one."""
        return np.asarray(np.maximum(1 - self.calendar - self.cycles, 0.0))


def lacking(ageing: Stated, own: Path) -> Iterator[Path]:
    """Paths of the figures that a stated law lacks; `own` is that of the ageing."""
    for name, keys in (("calendar", CALENDAR), ("cycles", CYCLES)):
        law = getattr(ageing, name)
        if law is not None:
            for key in keys:
                if getattr(law, key.replace("-", "_")) is None:
                    yield own.child(name, key)


def ageing_of(ageing: Stated, product: ProductFigures, sampler: Sampler) -> Ageing:
    """A cell's laws at the product's temperatures; no figure of a stated law is missing."""
    own = sampler.root / "ageing"
    return Ageing(
        calendar=None
        if ageing.calendar is None
        else _law(ageing.calendar, own / "calendar", product, sampler),
        cycles=None
        if ageing.cycles is None
        else _law(ageing.cycles, own / "cycles", product, sampler),
        end=np.zeros(sampler.size) if ageing.end is None else sampler.take(own / "end", ageing.end),
    )


def _law(
    law: CalendarAgeing | CycleAgeing, own: Path, product: ProductFigures, sampler: Sampler
) -> Law:
    def take(key: str) -> Array:
        quantity = getattr(law, key.replace("-", "_"))
        assert quantity is not None, own / key
        return sampler.take(own / key, quantity)

    one = np.ones(sampler.size)
    exponent = np.maximum(take("exponent"), 1e-3)
    at, step = take("at") + KELVIN, take("doubles-every")
    # so that the loss doubles from `at` to `at` + step
    slope = np.log(2.0) / (1 / at - 1 / (at + step))

    def warmth(temperature: Array, share: Array) -> Array:
        factor = np.exp(slope * (1 / at - 1 / (temperature + KELVIN)) / exponent)
        return np.asarray((share * factor).sum(axis=0))

    if isinstance(law, CalendarAgeing):
        assert law.loss is not None
        charged, loss = curve_values(own / "loss", law.loss, sampler)
        depth, power = one, 0 * one
    else:
        charged, loss = np.zeros(1), take("loss")[None]
        depth, power = take("depth"), take("depth-exponent")
    return Law(
        exponent=exponent,
        unit=take("after"),
        warmth=warmth(product.temperature, product.share),
        stored=tuple(warmth(phase.temperature, phase.share) for phase in product.before),
        rise=0 * one if law.resistance is None else take("resistance"),
        charged=charged,
        loss=loss,
        depth=depth,
        power=power,
    )


def stress(
    ageing: Ageing,
    depth: Array,
    period: Array,
    full: Array | float | Callable[[float], Sequence[Stay]] = 1.0,
    counts: Array | float = 1.0,
) -> Stress:
    """The stress of a pack that takes a depth in each period, evenly, from a state of charge on.

    Parameters
    ----------
    depth : (R, N) charge of one cycle, as a share of the rated capacity. period : (N,) s, from one
    charge to the next. full : (R, N) state of charge after each charge, of the capacity left; or
    where the pack stays, by the share of its capacity that is left. counts : (R, N) cycles of that
    depth that a period counts as.
    """
    law = ageing.calendar
    nothing = np.zeros(depth.shape)
    cycles = _cycled(ageing.cycles, depth, period) * counts
    if law is None:
        return Stress(Rates((1.0,), lambda _: nothing), cycles, nothing)
    held = _Held(law)
    ends = (0.0, *BANDS) if len(law.charged) > 1 else (0.0, 0.0)

    def rate(band: int) -> Array:
        left = 1 - (ends[band] + ends[band + 1]) / 2
        if callable(full):
            mean = sum(
                (share * held.between(low, high) for share, low, high in full(left)), nothing
            )
        else:
            top = np.atleast_2d(full)
            mean = held.between(top - depth / left, top) + nothing
        return np.asarray(law.warmth * mean / law.unit)

    return Stress(Rates(ends[1:] if len(ends) > 2 else (1.0,), rate), cycles, nothing)


def _cycled(law: Law | None, depth: Array, period: Array) -> Array:
    """The cycle law's rate, (R, N) 1/s."""
    if law is None:
        return np.zeros(depth.shape)
    with np.errstate(divide="ignore"):
        cycles = (depth / law.depth) ** law.power / (law.unit * period)
    # a pack that gives nothing goes through no cycles, even where no depth counts
    cycles = np.where(depth > 0, cycles, 0.0)
    return np.asarray(law.warmth * law.loss[0] ** (1 / law.exponent) * cycles)


class _Held:
    """Means of L(s)^(1/z) over states of charge, exactly: L is straight between its places."""

    def __init__(self, law: Law) -> None:
        self.power = 1 / law.exponent
        if len(law.charged) == 1:
            self.charged, self.loss = law.charged, law.loss
            return
        inside = [float(s) for s in law.charged if 0.0 < s < 1.0]
        self.charged = np.array([0.0, *inside, 1.0])
        places = np.broadcast_to(self.charged[:, None], (len(self.charged), law.loss.shape[1]))
        self.loss = on_curve(law.charged, law.loss, places)
        self.rise = np.diff(self.loss, axis=0) / np.diff(self.charged)[:, None]
        self.raised = self.loss ** (self.power + 1)
        parts = self._mean(self.loss[:-1], self.loss[1:], self.raised[:-1], self.raised[1:])
        area = np.cumsum(parts * np.diff(self.charged)[:, None], axis=0)
        self.area = np.concatenate([np.zeros((1, area.shape[1])), area])

    def _mean(self, low: Array, high: Array, low_raised: Array, high_raised: Array) -> Array:
        """Mean of L^p, p = 1/z, between losses that L runs straight between, from their L^(p+1)."""
        apart = high - low
        alike = np.abs(apart) <= ALIKE * high
        with np.errstate(divide="ignore", invalid="ignore"):
            mean = (high_raised - low_raised) / ((self.power + 1) * apart)
        if alike.any():
            mean = np.where(alike, ((low + high) / 2) ** self.power, mean)
        return np.asarray(mean)

    def _there(self, at: Array) -> tuple[Array, Array, NDArray[np.intp]]:
        """(L at states of charge (R, N) in 0..1, how far they are beyond the place before them, and
        the number of that place for each draw)."""
        i = piece_of(self.charged, at)
        draws = self.loss.shape[1]
        # by one number a place: taking so is several times as quick as by two
        place = i * draws + np.arange(draws)
        beyond = at - self.charged[i]
        return self.loss.ravel().take(place) + self.rise.ravel().take(place) * beyond, beyond, place

    def _upto(self, at: Array) -> tuple[Array, Array]:
        """(integral of L^p from nothing to states of charge (R, N) in 0..1, L there)."""
        loss, beyond, place = self._there(at)
        low, low_raised, area = (x.ravel().take(place) for x in (self.loss, self.raised, self.area))
        raised = loss ** (self.power + 1)
        return area + self._mean(low, loss, low_raised, raised) * beyond, loss

    def between(self, low: Array, high: Array) -> Array:
        """Mean of L^(1/z) between two states of charge, shares, all equally long; arrays that
        broadcast to (R, N)."""
        if len(self.charged) == 1:
            return np.asarray(self.loss[0] ** self.power)
        at_last = np.clip(high, 0.0, 1.0)
        if low is high:
            return np.asarray(self._there(at_last)[0] ** self.power)
        at_first = np.clip(low, 0.0, 1.0)
        (from_, _), (to, at_once) = self._upto(at_first), self._upto(at_last)
        span = at_last - at_first
        with np.errstate(divide="ignore", invalid="ignore"):
            mean = (to - from_) / span
        if (span > NO_SPAN).all():
            return np.asarray(mean)
        return np.asarray(np.where(span > NO_SPAN, mean, at_once**self.power))


def before_use(ageing: Ageing, seconds: list[Array], depths: list[Array]) -> Array | float:
    """The calendar law's u on the first day, (R, N).

    Parameters
    ----------
    seconds : (N,) of each phase before use. depths : (R, N) of discharge after each of them, shares
    of the rated capacity, gone to evenly.

    States of charge are of the capacity left, that in the middle of each of a few steps.
    """
    law = ageing.calendar
    begun: Array | float = 0.0
    if law is None:
        return begun
    full = np.zeros(depths[0].shape if depths else 1)
    held = _Held(law)
    for length, depth, warmth in zip(seconds, depths, law.stored, strict=True):
        rise = warmth * length / law.unit
        if not ageing.by_charge:
            begun = begun + rise * held.between(1 - depth, 1 - full)
        else:
            places = [full + (depth - full) * k / STEPS for k in range(STEPS + 1)]
            grown = rise / STEPS * held.between(1 - places[1], 1 - places[0])
            for first, then in pairwise(places):
                left = np.maximum(1 - (begun + grown / 2) ** law.exponent, LEAST_LEFT)
                grown = rise / STEPS * held.between(1 - then / left, 1 - first / left)
                begun = begun + grown
        full = depth
    return begun
