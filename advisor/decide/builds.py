"""A part with a pack, a converter, a sleep state and operating points: its power, life and cost.

The same code serves the stated values (N = 1) and the draws: `assess` takes rows, one per build on
one feed, and gives arrays (R, N).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.criteria import DAY, ENERGY, Keys
from advisor.dataclass import dataclass
from advisor.decide.awake import Awake
from advisor.decide.costs import Costs, FeedCost, ProductCost, costs
from advisor.decide.draining import Prepared
from advisor.decide.marches import Marches
from advisor.decide.ranks import DIGITS
from advisor.decide.sides import PartSide
from advisor.decide.value import Criterion, precedence, score, values_of
from advisor.model.addon_set import Companions
from advisor.model.battery import Life
from advisor.model.drain import Drain, joined, rows_of_each
from advisor.model.draws import Array
from advisor.model.events import Timeline
from advisor.model.harvest import (
    Harvested,
    answered,
    harvested,
    recovering,
)
from advisor.model.packs import Feed, cells_name
from advisor.model.recharged import on_one_charge, recharged, scaled
from advisor.model.sustained import sustained
from advisor.model.tables import Option, Stack
from advisor.model.workload import ProductFigures

Index = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Assessed:
    """Builds on one feed, assessed.

    Attributes
    ----------
    awake : what they do, whatever the feed.
    battery_a : (R, N) mean current at the pack, at series x nominal voltage (reservoir leak and
    self-discharge not in it). life : the battery model's result.
    headroom : (R, N) share of the tightest deadline left, NaN without one.
    values, utilities : (C, R, N) per criterion; score : (R, N). peak_a : (R, N) greatest rail
    current; rail_peaks : (N,) those of the further rails. drain : what the pack carries.
    harvest : how a store that is harvested into fares.
    """

    feed: Feed
    feed_cost: FeedCost
    stack: Stack
    awake: Awake
    battery_a: Array
    life: Life
    costs: Costs
    headroom: Array
    values: Array
    utilities: Array
    score: Array
    peak_a: Array
    rail_peaks: tuple[Array, ...]
    drain: Drain
    product: ProductFigures
    harvest: Harvested | None = None

    @property
    def part(self) -> Index:
        """Their parts, (R,) indices into the stack."""
        return self.awake.part

    @property
    def sleep(self) -> Index:
        """Their sleep states, (R,) indices into the stack."""
        return self.awake.sleep

    @property
    def choice(self) -> Index:
        """Each task's option, (R, K) indices into the stack."""
        return self.awake.choice

    @property
    def timeline(self) -> Timeline:
        """Their states over the whole calendar."""
        return self.awake.line

    @property
    def rail_a(self) -> Array:
        """Mean current at the rail, at series x nominal voltage, (R, N) A."""
        line = self.awake.line
        return np.asarray((line.share * line.rail_current(self.feed.chip_voltage())).sum(axis=1))

    @property
    def cut_off_v(self) -> Array:
        """Least voltage at the pack's terminals, (R, N) V."""
        return self.drain.cut_off_v

    @property
    def task_names(self) -> tuple[str, ...]:
        """Names of the product's tasks, in order."""
        return tuple(task.name for task in self.product.tasks)

    def options(self, row: int) -> tuple[Option, ...]:
        """The options of one row, one per task."""
        figures = self.stack.parts[int(self.part[row])]
        return tuple(figures.options[k][int(o)] for k, o in enumerate(self.choice[row]))

    def sleep_name(self, row: int) -> str:
        """The sleep state of one row."""
        return self.stack.parts[int(self.part[row])].sleeps[int(self.sleep[row])]

    def identity(self, row: int) -> str:
        """Everything that tells one build of a part from another, for breaking ties."""
        labels = ",".join(o.label for o in self.options(row))
        beside = self.companions(row).name
        own = f"{self.feed.name}|{self.sleep_name(row)}|{labels}"
        return f"{own}|{beside}" if beside else own

    def companions(self, row: int) -> Companions:
        """The add-ons of one row."""
        return self.stack.parts[int(self.part[row])].companions


@dataclass(frozen=True, slots=True, eq=False)
class Build:
    """One build of a part: a row of an assessment. Builds sort by their names."""

    part: str
    assessed: Assessed
    row: int

    @property
    def companions(self) -> Companions:
        """Its add-ons, and who of them brings which block."""
        return self.assessed.companions(self.row)

    @property
    def addons(self) -> tuple[str, ...]:
        """The ids of its add-ons, of each of which a unit has one piece."""
        return self.companions.addons

    @property
    def score(self) -> float:
        """Score at the stated values."""
        return float(self.assessed.score[self.row, 0])

    @property
    def order(self) -> tuple[float, float, Build]:
        """By which builds of a part compete: the least is the best, of equals the first by name."""
        # what is equal but for the order of its sums goes on by the next entry
        return (-round(self.score, DIGITS), float(self.assessed.battery_a[self.row, 0]), self)

    def level(self, criteria: Sequence[Criterion]) -> tuple[float, ...]:
        """By which parts that are built so go where their scores are equal, see `precedence`;
        `criteria` are those that it was assessed by."""
        return precedence(criteria, self.assessed.values[:, self.row, 0].tolist())

    def __lt__(self, other: Build) -> bool:
        return self.name < other.name

    @property
    def name(self) -> str:
        """Everything that tells it from the part's other builds."""
        return self.assessed.identity(self.row)


def relived(
    assessed: Assessed,
    rows: Index,
    factor: Array,
    side: PartSide,
    own_cost: ProductCost,
    criteria: Sequence[Criterion],
) -> Array:
    """Utilities of builds at the stated values, were their battery lives longer by a factor.

    Parameters
    ----------
    rows : (B,) of them. factor : (B, Q) on the life; what the pack gives in a day falls by it.
    side, own_cost : at the stated values.

    Returns
    -------
    (C, B, Q) shares of 1.
    """
    part = assessed.part[rows]
    life = assessed.life
    here = replace(
        life,
        life_s=scaled(life, assessed.feed.pack, rows, factor),
        next_s=scaled(replace(life, life_s=life.next_s), assessed.feed.pack, rows, factor),
        mean_current_a=life.mean_current_a[rows] / factor,
    )
    money = costs(
        side.cost[part],
        side.setup_h[part],
        assessed.feed_cost,
        own_cost,
        here.life_s,
        here.next_s,
        assessed.feed.pack.every_s,
    )
    view = _View(
        feed=assessed.feed,
        life=here,
        money=money,
        side=side,
        part=part,
        headroom=assessed.headroom[rows],
        days_without=_lost(assessed.harvest, life.life_s.shape)[rows],
    )
    return score(criteria, values_of(criteria, view, factor.shape))[1]


def assess(
    prepared: Sequence[Prepared],
    own_cost: ProductCost,
    product: ProductFigures,
    criteria: Sequence[Criterion],
    weights: Array | None = None,
    fresh: bool = False,
    marches: Marches | None = None,
    cases: int = 1,
) -> list[Assessed]:
    """Life, cost and score of builds on several feeds; see `Assessed`.

    `weights` (C, N) take the place of the criteria's own where they are drawn; `fresh` asks for
    the fresh pack's voltage and current over draws in any case: the stated values always have
    them, draws where the pulse limit may be passed. `marches` keeps battery lives for later passes,
    `cases` are in a row on the draw axis.
    """
    # converters behind the same cells share the battery model's passes
    packs: dict[str, list[int]] = defaultdict(list)
    for i, made in enumerate(prepared):
        packs[cells_name(made.feed.option)].append(i)
    marches = marches or Marches(kept=0)
    life_of: dict[int, Life] = {}
    stores: dict[int, Harvested] = {}
    together: list[_Together] = []
    of_means = any(criterion.name == ENERGY for criterion in criteria)
    for members in packs.values():
        feed = prepared[members[0]].feed
        drains = [prepared[i].drain for i in members]
        asked = fresh or drains[0].share.shape[2] == 1
        asked = asked or any(_may_pulse(prepared[i]) for i in members)
        asked = asked or feed.rested is not None
        drain = joined(drains)
        # at the stated values they are told, of draws only where a criterion goes by them
        means = asked or of_means or feed.pack.every_s is not None or product.income is not None
        (life,) = marches.lives(on_one_charge(feed.pack), [drain], asked, means, cases)
        if feed.pack.every_s is None and product.income is None:
            life_of |= zip(members, map(life.rows, rows_of_each(drains)), strict=True)
            continue
        one = _Together(members, feed, drain, life)
        together.append(one)
        if feed.pack.every_s is not None:
            one.life = recharged(feed.pack, one.drain, one.life)
        one.life = recovering(one.life, feed, product, one.drain, asked)

    def left(g: int, store: Harvested) -> Array:
        # a life rests on the fresh store alone, so it is worked out once
        one = together[g]
        one.life, kept = sustained(one.life, store, one.feed.pack, one.drain)
        return kept

    fed = [harvested(o.feed, product, o.drain, o.life, marches.services) for o in together]
    for one, store in zip(together, answered(fed, product, left), strict=True):
        for i, rows in zip(
            one.members, rows_of_each([prepared[i].drain for i in one.members]), strict=True
        ):
            life_of[i] = one.life.rows(rows)
            if store is not None:
                stores[i] = store.rows(rows)
    return [
        _assessed(made, life_of[i], stores.get(i), own_cost, product, criteria, weights)
        for i, made in enumerate(prepared)
    ]


@dataclass(slots=True)
class _Together:
    """Builds behind the same cells, the rows of several feeds one below the other: which these
    are, one of them, what they draw and how long they last."""

    members: list[int]
    feed: Feed
    drain: Drain
    life: Life


def _may_pulse(made: Prepared) -> bool:
    """Whether the cells' greatest current may pass their pulse limit: a bound, over all states of
    what pulses are held against.

    A constant power draws most at the least voltage that it may see, what is filled straight from
    the pack at the fresh one's; a reservoir only helps.
    """
    limit = made.feed.most_pulse_a
    if not np.isfinite(limit):
        return False
    whole = [(made.drain, np.ones(1))]
    seen = [(one.drain, np.asarray(one.strain)) for one in made.drain.seen] or whole
    return any(bool((_most_a(made.feed, drain) * strain > limit).any()) for drain, strain in seen)


def _most_a(feed: Feed, drain: Drain) -> Array:
    """A bound of what the pack gives in each state, (R, S, N) A."""
    with np.errstate(divide="ignore", invalid="ignore"):
        power = np.where(drain.power_w > 0, drain.power_w / drain.cut_off_v[:, None], 0.0)
    constant = drain.constant_a
    if drain.filling is not None:
        fresh_v = np.broadcast_to(feed.pack.open_v[0], drain.cut_off_v.shape)
        constant = np.maximum(constant, drain.constant_at(fresh_v))
    return np.asarray(constant + power)


def _assessed(
    made: Prepared,
    life: Life,
    harvest: Harvested | None,
    own_cost: ProductCost,
    product: ProductFigures,
    criteria: Sequence[Criterion],
    weights: Array | None,
) -> Assessed:
    feed, drain, side = made.feed, made.drain, made.side
    lines, worst, part = made.awake.line, made.awake.worst, made.awake.part
    money = costs(
        side.cost[part],
        side.setup_h[part],
        made.feed_cost,
        own_cost,
        life.life_s,
        life.next_s,
        feed.pack.every_s,
    )
    headroom = _headroom(lines, product)
    view = _View(
        feed=feed,
        life=life,
        money=money,
        side=side,
        part=part,
        headroom=headroom,
        days_without=_lost(harvest, life.life_s.shape),
    )
    values = values_of(criteria, view, life.life_s.shape)
    points, worth = score(criteria, values, weights)
    volts = feed.chip_voltage()
    current = np.maximum.reduce([one.rail_current(volts) for one in worst])
    state_a = np.where(lines.duration > 0, current, 0.0)
    state_a[:, -1] = current[:, -1]
    return Assessed(
        feed=feed,
        feed_cost=made.feed_cost,
        stack=made.stack,
        awake=made.awake,
        battery_a=made.battery_a,
        life=life,
        costs=money,
        headroom=headroom,
        values=values,
        utilities=worth,
        score=points,
        peak_a=state_a.max(axis=1),
        rail_peaks=_rail_peaks(feed, worst),
        drain=drain,
        product=product,
        harvest=harvest,
    )


def _rail_peaks(feed: Feed, worst: Sequence[Timeline]) -> tuple[Array, ...]:
    """Greatest current of each further rail, (N,) A; its loads are alike for all builds."""
    if not feed.rails:
        return ()
    there = np.asarray((worst[0].duration > 0).any(axis=0))
    there[-1] = True
    every = zip(*(one.rails for one in worst), strict=True)
    return tuple(
        np.maximum.reduce(
            [np.where(there & s.on, one.current(s), 0.0).max(axis=0) for s in choices]
        )
        for one, choices in zip(feed.rails, every, strict=True)
    )


def _lost(harvest: Harvested | None, shape: tuple[int, ...]) -> Array:
    """Share of days on which the load is not carried, (R, N); a pack that is used up and changed
    carries it until then."""
    return np.zeros(shape) if harvest is None else harvest.lost


def _headroom(lines: Timeline, product: ProductFigures) -> Array:
    """Share of the tightest deadline left, (R, N); NaN where no task has one."""
    left = [
        1 - lines.duration[:, here].sum(axis=1) / task.finish_within
        for task, here in zip(product.tasks, lines.tasks, strict=True)
        if task.finish_within is not None
    ]
    if not left:
        return np.full((lines.share.shape[0], lines.share.shape[2]), np.nan)
    return np.asarray(np.minimum.reduce(left))


@dataclass(frozen=True, slots=True)
class _View:
    """What the criteria read of builds; see `criteria.View`."""

    feed: Feed
    life: Life
    money: Costs
    side: PartSide
    part: Index
    headroom: Array
    days_without: Array

    @property
    def life_s(self) -> Array:
        """Battery life, (R, N) s."""
        return self.life.life_s

    @property
    def lifetime(self) -> Array:
        """Cost over the service life, (R, N) per unit."""
        return self.money.lifetime

    @property
    def purchase(self) -> Array:
        """Cost of the purchase, (R, N) per unit."""
        return self.money.purchase

    @property
    def energy_per_day(self) -> Array:
        """What the pack gives, at its nominal voltage, (R, N) J a day."""
        return np.asarray(self.life.mean_current_a * self.feed.nominal_v * DAY)

    @property
    def memory_headroom(self) -> Array:
        """Share of the tightest memory left, (R, N)."""
        return self.side.memory_headroom[self.part]

    @property
    def toolchain(self) -> Array:
        """Maturity of the toolchain, (R, N), 0..100."""
        return self.side.toolchain[self.part]

    def figure(self, keys: Keys) -> Array:
        """A part's own figure, (R, N) SI; NaN where it is not stated."""
        return self.side.figures[keys][self.part]
