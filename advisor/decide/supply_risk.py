"""What the risks of supply are expected to cost a product, and scenarios to judge plans by.

Closed forms decide, draws judge: `of_part` and `of_two_sources` give the expected cost, `scenarios`
draws failures of makers and demand once for all plans, and the mean over the draws is the closed
form. Pieces that are wanted on average are paid elsewhere; here is what chance adds to them.

Buffers are kept for each product. Products on one part could share theirs, so the cost is
overstated there, the more so the more independent their demands are. An allocation stands in whole
weeks: one that lasts less counts as a week. Within a week of allocation nothing is delivered.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass, field
from advisor.dimensions import YEAR
from advisor.model.draws import Array, stream
from advisor.model.stock import Failing, Held, newsvendor, newsvendor_with_disruptions

WEEK = 7 * 86400.0
BARRED = ("announced", "ended")  # states of supply in which nothing can be bought


@dataclass(frozen=True, slots=True)
class Allocation:
    """A maker's allocations: mean time from one's end to the next, and mean length, s."""

    every_s: float
    lasts_s: float

    def failing(self) -> Failing:
        """As a chain of weeks: begins at week/every, ends at week/lasts, each at most 1."""
        if not (self.every_s > 0 and self.lasts_s > 0):
            raise ValueError("times of an allocation must be above zero")
        return Failing.of(min(1.0, WEEK / self.every_s), min(1.0, WEEK / self.lasts_s))


@dataclass(frozen=True, slots=True)
class Outlook:
    """What is supposed of supply: production time, holding a year (share of price), spread.

    `spread` is the relative standard deviation of a year's demand, weeks independent; None where
    unstated. `usual` is the allocation of makers that are not in `allocations`, None where it is
    unstated.
    """

    made_over_s: float
    holding_per_year: float
    spread: float | None = None
    usual: Allocation | None = None
    allocations: Mapping[str, Allocation] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not self.made_over_s > 0 or self.holding_per_year < 0 or (self.spread or 0) < 0:
            raise ValueError("made-over must be above zero, holding and spread not below")

    def allocation(self, maker: str) -> Allocation | None:
        """That of a maker, its own before the usual one."""
        return self.allocations.get(maker, self.usual)


@dataclass(frozen=True, slots=True)
class Need:
    """A product's: pieces wanted over the production time, pieces at hand, money a unit missed.

    One unit takes one piece. Pieces at hand are paid and used first: they leave that share of the
    production time out of every risk, and a last buy is smaller by them.
    """

    product: str
    units: float
    missed: float
    at_hand: float = 0.0

    @property
    def open(self) -> float:
        """Pieces that have yet to be bought."""
        return max(0.0, self.units - self.at_hand)

    @property
    def exposed(self) -> float:
        """Share of the production time for which they are wanted, 0..1."""
        return self.open / self.units if self.units else 0.0


@dataclass(frozen=True, slots=True)
class Source:
    """A part as its seller has it: price each, lead time s, state of supply; None: not stated."""

    part: str
    maker: str
    price: float
    lead_time_s: float | None
    lifecycle: str | None


@dataclass(frozen=True, slots=True)
class Ordered:
    """Stock against demand, `times` over: one order's newsvendor, its costs of a piece left and
    short, the order's mean and standard deviation in pieces, and money that is certain."""

    times: float
    span_s: float
    mean: float
    sd: float
    over: float
    under: float
    certain: float
    held: Held

    @property
    def cost(self) -> float:
        """Expected money over the production time."""
        return self.certain + self.times * self.held.cost

    @property
    def left(self) -> float:
        """Expected pieces in store when an order comes (lead time) or at the end (last buy)."""
        return self.held.left

    @property
    def short(self) -> float:
        """Expected units missed over the production time."""
        return self.times * self.held.short


@dataclass(frozen=True, slots=True)
class Buffered:
    """A buffer against allocations of all of `makers` at once.

    `weeks` of demand are held, `exposed` weeks long; `weekly` pieces a week; money of a piece held
    a week, and of one missed; expected stock in pieces, units missed over the exposed weeks.
    """

    makers: tuple[str, ...]
    weeks: int
    exposed: float
    weekly: float
    holding: float
    missed: float
    stock: float
    short: float

    @property
    def cost(self) -> float:
        """Expected money over the production time."""
        return self.exposed * self.holding * self.stock + self.missed * self.short


@dataclass(frozen=True, slots=True)
class Risk:
    """What chance in supply is expected to cost a product, line by line.

    Each line is None where there is no such risk, or where it cannot be told: then `missing` names
    what is not stated. `lacking` are pieces that nobody can sell: then the choice is not admissible
    and its cost is without end. Of two sources `lead_time` and `last_buy` have an entry each.
    """

    product: str
    lead_time: tuple[Ordered, ...]
    last_buy: tuple[Ordered, ...]
    allocation: Buffered | None
    missing: tuple[str, ...]
    lacking: float

    @property
    def lines(self) -> dict[str, float]:
        """Money by line, in the order of an answer."""
        return {
            "lead time": sum(x.cost for x in self.lead_time),
            "last buy": sum(x.cost for x in self.last_buy),
            "allocation": self.allocation.cost if self.allocation else 0.0,
        }

    @property
    def cost(self) -> float:
        """Expected money over the production time; infinite where pieces cannot be bought."""
        return math.inf if self.lacking else sum(self.lines.values())

    @property
    def short(self) -> float:
        """Expected units missed over the production time."""
        ordered = sum(x.short for x in (*self.lead_time, *self.last_buy))
        return ordered + (self.allocation.short if self.allocation else 0.0)


def of_part(need: Need, source: Source, outlook: Outlook) -> Risk:
    """The risk of a product on one part alone.

    Under last orders there is one purchase, so neither lead time nor allocation counts after it.
    """
    lead, last, missing = _ordered(need, source, outlook, 1.0)
    barred = source.lifecycle in BARRED
    buffer = None
    if not last and not barred:
        buffer, unstated = _buffered(need, (source.maker,), source.price, outlook)
        missing += unstated
    return Risk(
        product=need.product,
        lead_time=lead,
        last_buy=last,
        allocation=buffer,
        missing=missing,
        lacking=need.open if barred else 0.0,
    )


def of_two_sources(
    need: Need, first: Source, second: Source, second_share: float, outlook: Outlook
) -> Risk:
    """The risk of a product made with two parts of different makers.

    Both are short only while both makers are in allocation, independent of each other; while one
    is, the other delivers all. The buffer, if one pays, is of the dearer part, for a joint failure.
    Against demand each source holds its own share of stock.

    Parameters
    ----------
    second_share : of the units, between 0 and 1.

    Raises
    ------
    ValueError
        When both are of one maker, whose parts fail together.
    """
    if first.maker == second.maker or not 0 < second_share < 1:
        raise ValueError("two sources need two makers and a share between 0 and 1")
    lead: tuple[Ordered, ...] = ()
    last: tuple[Ordered, ...] = ()
    missing: tuple[str, ...] = ()
    lacking = 0.0
    for source, share in ((first, 1 - second_share), (second, second_share)):
        one, two, unstated = _ordered(need, source, outlook, share)
        lead, last, missing = lead + one, last + two, missing + unstated
        lacking += share * need.open if source.lifecycle in BARRED else 0.0
    # what is bought for good at the beginning waits for no maker
    waiting = [s for s in (first, second) if s.lifecycle not in (*BARRED, "last-orders")]
    buffer = None
    if len(waiting) == 2:
        dearer = max(first.price, second.price)
        buffer, unstated = _buffered(need, (first.maker, second.maker), dearer, outlook)
        missing += unstated
    elif waiting:
        (source,) = waiting
        share = second_share if source is second else 1 - second_share
        buffer, unstated = _buffered(need, (source.maker,), source.price, outlook, share)
        missing += unstated
    return Risk(
        product=need.product,
        lead_time=lead,
        last_buy=last,
        allocation=buffer,
        missing=tuple(dict.fromkeys(missing)),
        lacking=lacking,
    )


def second_source_worth(alone: Risk, both: Risk) -> dict[str, float]:
    """Money that a second source takes off each line, and in `total`; below zero where it adds.

    Porting and set-up are not in it: those are the price to hold against it.
    """
    out = {line: money - both.lines[line] for line, money in alone.lines.items()}
    return {**out, "total": sum(out.values())}


def _ordered(
    need: Need, source: Source, outlook: Outlook, share: float
) -> tuple[tuple[Ordered, ...], tuple[Ordered, ...], tuple[str, ...]]:
    """(stock over the lead time, last buy, what is not stated) of a share of a product's pieces.

    The relative spread of demand over a time t is spread·√(year/t), weeks being independent.
    """
    if not need.open or source.lifecycle in BARRED:
        return (), (), ()
    whole, name = outlook.made_over_s, source.part
    missing: tuple[str, ...] = () if outlook.spread is not None else ("spread",)
    if source.lifecycle is None:
        missing += (f"{name}: lifecycle",)
    rate, spread = share * need.units / whole, outlook.spread or 0.0
    sd_over = spread * rate * math.sqrt(YEAR)  # pieces a root of a second
    yearly = outlook.holding_per_year * source.price
    if source.lifecycle == "last-orders":
        # bought at once, used evenly after what is at hand; what is left lies all the time
        kept = yearly * whole / YEAR
        used = kept * (1 - need.exposed / 2)
        mean, sd = share * need.open, sd_over * math.sqrt(whole)
        over, under = source.price + kept, need.missed - used
        held = newsvendor(mean, sd, over=over, under=max(0.0, under), least=mean)
        if under < 0:  # a piece in store costs more than a unit missed
            cost = over * held.left + under * held.short
            held = Held(quantity=held.quantity, left=held.left, short=held.short, cost=cost)
        last = Ordered(
            times=1.0,
            span_s=whole,
            mean=mean,
            sd=sd,
            over=over,
            under=under,
            certain=used * mean,
            held=held,
        )
        return (), (last,), missing
    if source.lead_time_s is None:
        return (), (), (*missing, f"{name}: price.lead-time")
    span = min(source.lead_time_s, whole)
    over = yearly * span / YEAR
    if not (span and over and spread):
        return (), (), missing  # nothing to bridge, or stock for nothing, as much as it takes
    mean, sd = rate * span, sd_over * math.sqrt(span)
    lead = Ordered(
        times=whole * need.exposed / span,
        span_s=span,
        mean=mean,
        sd=sd,
        over=over,
        under=need.missed,
        certain=0.0,
        held=newsvendor(mean, sd, over=over, under=need.missed, least=mean),
    )
    return (lead,), (), missing


def _buffered(
    need: Need, makers: tuple[str, ...], price: float, outlook: Outlook, share: float = 1.0
) -> tuple[Buffered | None, tuple[str, ...]]:
    """The buffer against allocations of all of the makers at once, and what is not stated.

    A unit is missed once, whatever the allocation lasts: that is a backorder's price a week of
    missed/(mean length in weeks), whose E[X - n] over the mean length is the chance of X > n.
    """
    known = [outlook.allocation(maker) for maker in makers]
    missing = tuple(f"{m}: allocation" for m, a in zip(makers, known, strict=True) if a is None)
    stated = [a.failing() for a in known if a is not None]
    if missing or not need.open:
        return None, missing
    failing = stated[0]
    for other in stated[1:]:
        failing = failing.beside(other)
    exposed = outlook.made_over_s * need.exposed / WEEK
    weekly = share * need.units / (outlook.made_over_s / WEEK)
    holding = outlook.holding_per_year * price * WEEK / YEAR
    if not (holding and failing.share):
        return None, ()  # stock for nothing, as much as it takes
    ends = 1 - failing.goes_on
    held = newsvendor_with_disruptions(failing, over=holding, under=need.missed * ends)
    return Buffered(
        makers=makers,
        weeks=int(held.quantity),
        exposed=exposed,
        weekly=weekly,
        holding=holding,
        missed=need.missed,
        stock=weekly * held.left,
        short=weekly * exposed * held.short * ends,
    ), ()


@dataclass(frozen=True, slots=True, eq=False)
class Scenarios:
    """Draws of supply: per maker how long its allocation has lasted in each week, (draws, weeks)
    of weeks, 0 where there is none; per product a standard normal deviate a week, same shape."""

    draws: int
    weeks: int
    lasted: Mapping[str, NDArray[np.int32]]
    demand: Mapping[str, Array]

    @property
    def in_allocation(self) -> dict[str, NDArray[np.int64]]:
        """Count of weeks in allocation over the production time, per maker (draws,)."""
        return {maker: (x > 0).sum(axis=1) for maker, x in self.lasted.items()}


def scenarios(
    makers: Sequence[str], products: Sequence[str], outlook: Outlook, draws: int, seed: int
) -> Scenarios:
    """Draws of each maker's weeks, begun in the steady state, and of each product's demand.

    Each maker and product has a stream of its own, so that one more changes no other's draws.
    Makers whose allocations are not stated have none drawn.
    """
    weeks = max(1, math.ceil(outlook.made_over_s / WEEK - 1e-9))
    lasted = {}
    for maker in makers:
        allocation = outlook.allocation(maker)
        if allocation is not None:
            rng = stream(seed, "supply", "maker", maker)
            lasted[maker] = _lasted(allocation, rng, draws, weeks)
    demand = {
        p: stream(seed, "supply", "product", p).standard_normal((draws, weeks)) for p in products
    }
    return Scenarios(draws=draws, weeks=weeks, lasted=lasted, demand=demand)


def _lasted(
    allocation: Allocation, rng: np.random.Generator, draws: int, weeks: int
) -> NDArray[np.int32]:
    alpha = min(1.0, WEEK / allocation.every_s)
    failing = allocation.failing()
    chance = rng.random((draws, weeks))
    # in the steady state the weeks that a failure has lasted are geometric
    age = np.where(chance[:, 0] < failing.share, rng.geometric(1 - failing.goes_on, draws), 0)
    out = np.empty((draws, weeks), dtype=np.int32)
    out[:, 0] = age
    for week in range(1, weeks):
        down = chance[:, week] < np.where(age > 0, failing.goes_on, alpha)
        age = np.where(down, age + 1, 0)
        out[:, week] = age
    return out


def scenario_costs(plans: Sequence[Sequence[Risk]], base: Array, drawn: Scenarios) -> Array:
    """What each of P plans costs in each of N scenarios.

    The mean over the draws is the plan's base plus its expected cost, but for the error of drawing.

    (P, N) of money, in the currency of the needs.

    Parameters
    ----------
    plans : of each plan its products' risks. base : (P,) money that no scenario changes.
    """
    judged = _Judged(drawn)
    out = np.repeat(np.asarray(base, dtype=np.float64)[:, None], drawn.draws, axis=1)
    for row, plan in zip(out, plans, strict=True):
        for risk in plan:
            row += judged.cost(risk)
    return out


def regret(costs: Array) -> Array:
    """Mean over N scenarios of a plan's cost less the least of all plans' there, (P,).

    Costs (P, N) and regret are money, in the currency of the needs; scenarios have equal shares.
    """
    return np.asarray((costs - costs.min(axis=0)).mean(axis=1))


class _Judged:
    """Costs of risks under scenarios; what several share is reckoned once."""

    def __init__(self, drawn: Scenarios) -> None:
        self.drawn = drawn
        self._blocks: dict[tuple[str, int], Array] = {}
        self._ages: dict[tuple[tuple[str, ...], int], tuple[Array, Array]] = {}

    def cost(self, risk: Risk) -> Array:
        """Money of one product's risk, (draws,)."""
        if risk.lacking:
            return np.full(self.drawn.draws, math.inf)
        out = np.zeros(self.drawn.draws)
        for ordered in (*risk.lead_time, *risk.last_buy):
            z = self._deviates(risk.product, ordered.span_s)
            # as many orders as the draws hold whole, for as many as there are
            surplus = ordered.held.quantity - ordered.mean - ordered.sd * z
            each = np.where(surplus > 0, ordered.over * surplus, -ordered.under * surplus)
            out += ordered.certain + ordered.times * each.mean(axis=1)
        if risk.allocation is not None:
            out += self._allocated(risk.allocation)
        return out

    def _deviates(self, product: str, span_s: float) -> Array:
        """Standard normal deviates of the product's demand over each span, (draws, spans)."""
        weeks = self.drawn.weeks
        length = min(weeks, max(1, round(span_s / WEEK)))
        key = (product, length)
        if key not in self._blocks:
            count = weeks // length
            z = self.drawn.demand[product][:, : count * length]
            self._blocks[key] = z.reshape(-1, count, length).sum(axis=2) / math.sqrt(length)
        return self._blocks[key]

    def _allocated(self, buffer: Buffered) -> Array:
        """Money of a buffer, (draws,): the last weeks of the production time are the exposed."""
        exposed = min(self.drawn.weeks, math.ceil(buffer.exposed - 1e-9))
        key = (buffer.makers, exposed)
        if key not in self._ages:
            ages = self.drawn.lasted[buffer.makers[0]]
            for maker in buffer.makers[1:]:
                ages = np.minimum(ages, self.drawn.lasted[maker])
            ages = ages[:, self.drawn.weeks - exposed :]
            # of every count of weeks n: share of weeks with X > n, and mean of (n - X) above 0
            top = int(ages.max()) + 1
            flat = ages + top * np.arange(len(ages))[:, None]
            seen = np.bincount(flat.ravel(), minlength=top * len(ages)).reshape(-1, top) / exposed
            below = seen.cumsum(axis=1)  # F(n)
            self._ages[key] = (1 - below, below.cumsum(axis=1))
        over, stock = self._ages[key]
        n, top = buffer.weeks, over.shape[1]
        missed = over[:, n] if n < top else np.zeros(len(over))
        # E(n - X)+ = F(0) + ... + F(n - 1), and F is 1 from the longest on
        held = 0.0 if n == 0 else stock[:, min(n, top) - 1] + max(0, n - top)
        each = buffer.holding * held + buffer.missed * missed
        return np.asarray(buffer.exposed * buffer.weekly * each)
