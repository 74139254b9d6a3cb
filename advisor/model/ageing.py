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

Axes: R rows (builds on one pack), N draws, B bands of loss. SI units, temperatures in degC.
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
from advisor.model.workload import ProductFigures, curve_values, on_curve

KELVIN = 273.15
CALENDAR = ("loss", "after", "at", "doubles-every", "exponent")
CYCLES = ("loss", "after", "depth", "at", "doubles-every", "exponent", "depth-exponent")

# four-point Gauss-Legendre on 0..1: exact to degree 7, so for any 1/z up to that
_X, _W = np.polynomial.legendre.leggauss(4)
_NODES, _WEIGHTS = (_X + 1) / 2, _W / 2
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
_NEWTON = 9  # steps of a convergence that is quadratic, and monotonic from above


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

    def of(self, n: NDArray[np.intp]) -> Ageing:
        """That of some draws, as many as there are indices (m,)."""
        return Ageing(
            calendar=None if self.calendar is None else self.calendar.of(n),
            cycles=None if self.cycles is None else self.cycles.of(n),
            end=self.end[n],
        )


@dataclass(frozen=True, slots=True)
class Stress:
    """What a pack goes through, as rates at which each law's u = q^(1/z) grows, (R, N) 1/s.

    calendar : (B, R, N), by what has been lost by then, a rate for each of `BANDS`, or one for all.
    begun : (R, N), the calendar law's u on the first day.
    """

    calendar: Array
    cycles: Array
    begun: Array

    def of(self, r: NDArray[np.intp], n: NDArray[np.intp]) -> Stress:
        """That of some cases, by their indices (m,) of row and draw."""
        return Stress(self.calendar[:, r, n], self.cycles[r, n], self.begun[r, n])


@dataclass(frozen=True, slots=True)
class Worn:
    """What a pack has lost, (R, N): with time and by cycles, shares of the rated capacity; and the
    resistance over the fresh one's."""

    calendar: Array
    cycles: Array
    resistance: Array

    @property
    def left(self) -> Array:
        """Capacity left, (R, N) share of the rated one."""
        return np.asarray(np.maximum(1 - self.calendar - self.cycles, 0.0))


@dataclass(frozen=True, slots=True)
class Charged:
    """A pack that is charged again, each (R, N) but `every_s`, (N,) s.

    first_s, run_s : how long the first charge in use lasts, and that of a pack that comes fresh.
    depth : charge of an interval, share of the rated capacity. calendar, cycles : share lost at the
    end of life; resistance : over the fresh one's then. shelf_s : what is left of the shelf life on
    the first day. under : the stress.
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

    @property
    def one_s(self) -> Array:
        """How long one charge of the new pack lasts, (R, N) s, the first one if that is less."""
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
    full: Array | float | Callable[[float], Array] = 1.0,
) -> Stress:
    """The stress of a pack that takes a depth in each period, evenly, from a state of charge on.

    Parameters
    ----------
    depth : (R, N) charge of one cycle, as a share of the rated capacity. period : (N,) s, from one
    charge to the next. full : (R, N) state of charge after each charge, of the capacity left;
    perhaps by the share that is left.
    """
    rate = np.zeros((1, *depth.shape))
    law = ageing.calendar
    if law is not None:
        ends = (0.0, *BANDS) if len(law.charged) > 1 else (0.0, 0.0)
        rates = []
        for low, high in pairwise(ends):
            left = 1 - (low + high) / 2
            top = (full(left) if callable(full) else full) * np.ones(depth.shape)
            rates.append(law.warmth * _charged(law, top - depth / left, top) / law.unit)
        rate = np.stack(rates)
    return Stress(rate, _cycled(ageing.cycles, depth, period), np.zeros(depth.shape))


def _cycled(law: Law | None, depth: Array, period: Array) -> Array:
    """The cycle law's rate, (R, N) 1/s."""
    if law is None:
        return np.zeros(depth.shape)
    with np.errstate(divide="ignore"):
        cycles = (depth / law.depth) ** law.power / (law.unit * period)
    # a pack that gives nothing goes through no cycles, even where no depth counts
    cycles = np.where(depth > 0, cycles, 0.0)
    return np.asarray(law.warmth * law.loss[0] ** (1 / law.exponent) * cycles)


def _charged(law: Law, low: Array, high: Array) -> Array:
    """Mean of L(s)^(1/z) between two states of charge, (R, N) each, all equally long."""
    if len(law.charged) == 1:
        return np.broadcast_to(law.loss[0] ** (1 / law.exponent), low.shape)
    low = np.clip(low, 0.0, 1.0)
    span = np.maximum(high - low, 0.0)
    inside = [float(s) for s in law.charged if 0.0 < s < 1.0]
    total = np.zeros(low.shape)
    for start, end in zip([0.0, *inside], [*inside, 1.0], strict=True):
        left, right = np.clip(low, start, end), np.clip(high, start, end)
        if (right > left).any():
            for node, weight in zip(_NODES, _WEIGHTS, strict=True):
                loss = on_curve(law.charged, law.loss, left + node * (right - left))
                total += weight * (right - left) * loss ** (1 / law.exponent)
    at_once = on_curve(law.charged, law.loss, high) ** (1 / law.exponent)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(span > 1e-9, total / span, at_once))


def before_use(ageing: Ageing, seconds: list[Array], depths: list[Array]) -> Array | float:
    """The calendar law's u on the first day, (R, N).

    Parameters
    ----------
    seconds : (N,) of each phase before use. depths : (R, N) of discharge after each of them.
    """
    law = ageing.calendar
    begun: Array | float = 0.0
    if law is None:
        return begun
    full = np.ones(depths[0].shape) if depths else np.ones(1)
    for length, depth, warmth in zip(seconds, depths, law.stored, strict=True):
        begun = begun + warmth * _charged(law, 1 - depth, full) * length / law.unit
        full = 1 - depth
    return begun


def worn(ageing: Ageing, under: Stress, seconds: Array) -> Worn:
    """What a pack has lost after so many s (R, N) in use under a stress."""
    return worn_at(ageing, under, [seconds])[0]


def worn_at(ageing: Ageing, under: Stress, moments: Sequence[Array]) -> list[Worn]:
    """`worn` after several times, (R, N) s each, for which the bands are gone through once."""
    bands = []
    u_c, u_y = under.begun, np.zeros(under.cycles.shape)
    for bound, rate in _banded(under):
        whole = None
        if bound < 1:
            whole = _until(ageing, rate, under.cycles, (u_c, u_y), bound)
            u_c, u_y = u_c + _over(rate, whole), u_y + _over(under.cycles, whole)
        bands.append((rate, whole))
    return [_worn(ageing, under, bands, seconds) for seconds in moments]


def _worn(
    ageing: Ageing, under: Stress, bands: Sequence[tuple[Array, Array | None]], seconds: Array
) -> Worn:
    """`worn` after (R, N) s, with each band's calendar rate (R, N) 1/s and how long it lasts."""
    u_c, u_y = under.begun, np.zeros(under.cycles.shape)
    to_go = seconds
    for rate, whole in bands:
        here = to_go if whole is None else np.minimum(whole, to_go)
        u_c, u_y = u_c + _over(rate, here), u_y + _over(under.cycles, here)
        to_go = np.where(here < to_go, to_go - np.where(here < to_go, here, 0.0), 0.0)
    q_c, rise_c = _lost(ageing.calendar, u_c)
    q_y, rise_y = _lost(ageing.cycles, u_y)
    return Worn(q_c, q_y, 1 + rise_c + rise_y)


def _banded(under: Stress) -> list[tuple[float, Array]]:
    """(loss up to which, calendar law's rate (R, N) 1/s) of each band."""
    bounds = BANDS if len(under.calendar) > 1 else (1.0,)
    return list(zip(bounds, under.calendar, strict=True))


def _over(rate: Array, seconds: Array) -> Array:
    # a pack that lasts for ever and does not age has lost nothing
    return np.asarray(np.where(rate > 0, rate * np.where(rate > 0, seconds, 0.0), 0.0))


def _lost(law: Law | None, u: Array) -> tuple[Array, Array]:
    if law is None:
        return np.zeros(u.shape), np.zeros(u.shape)
    lost = u**law.exponent
    return lost, lost * law.rise


def time_to(ageing: Ageing, under: Stress, loss: Array) -> Array:
    """Seconds in use until a share of the capacity is lost, (R, N); infinite where it never is."""
    total = np.zeros(np.broadcast_shapes(loss.shape, under.cycles.shape))
    u_c, u_y = under.begun + total, total
    for bound, rate in _banded(under):
        aim = np.minimum(loss, bound) if bound < 1 else loss
        here = _until(ageing, rate, under.cycles, (u_c, u_y), aim)
        u_c, u_y = u_c + _over(rate, here), u_y + _over(under.cycles, here)
        total = total + here
    return total


def _until(
    ageing: Ageing, calendar: Array, cycles: Array, begun: tuple[Array, Array], loss: Array | float
) -> Array:
    """Seconds until a share of the capacity is lost at rates (R, N) 1/s, from what each law's u has
    come to, (R, N); infinite where it never is.

    With x = ln t, the logarithm of each loss (u_0 + K t)^z is convex in x and rising, and so is
    that of their sum: Newton's steps from above stay above and close in quadratically.
    """
    laws = [
        (law.exponent, rate, u)
        for law, rate, u in (
            (ageing.calendar, calendar, begun[0]),
            (ageing.cycles, cycles, begun[1]),
        )
        if law is not None
    ]
    out = np.full(np.broadcast_shapes(np.shape(loss), calendar.shape), np.inf)
    already = np.zeros(out.shape)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for z, rate, u in laws:
            alone = (np.maximum(loss, 0.0) ** (1 / z) - u) / rate
            out = np.minimum(out, np.where(rate > 0, alone, np.inf))
            already = already + u**z
        # at once where as much is lost already, never where it does not go on
        out = np.where(loss <= already * (1 + 1e-12), 0.0, out)
        if len(laws) < 2:
            return out
        open_ones = (out > 0) & np.isfinite(out)
        x, aim = np.log(np.where(open_ones, out, 1.0)), np.log(np.where(open_ones, loss, 1.0))
        for _ in range(_NEWTON):
            t, total, slope = np.exp(x), np.zeros(x.shape), np.zeros(x.shape)
            for z, rate, u0 in laws:
                u = u0 + rate * t
                lost = u**z
                total = total + lost
                slope = slope + np.where(u > 0, z * lost * rate * t / u, 0.0)
            move = (np.log(total) - aim) * total / slope
            x = x - np.where(open_ones & np.isfinite(move), move, 0.0)
        return np.where(open_ones, np.minimum(np.exp(x), out), out)
