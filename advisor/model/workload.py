"""A product's workload and surroundings as arrays, and curves over an array of places.

N is the draw axis (1 for the stated values). SI units, temperatures in degC.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.curves import Curve
from advisor.catalogue.schema_charge import Charge
from advisor.catalogue.schema_life import ASLEEP, DISCONNECTED, Retries, Stay
from advisor.catalogue.schema_product import Load, Product, StandingLoad, Task
from advisor.dataclass import dataclass
from advisor.figures import Path
from advisor.model.chance import Tries
from advisor.model.draws import Array, Sampler
from advisor.model.income import Income, income_of
from advisor.model.pieces import across, between, piece_and_share
from advisor.model.rails import Demand, Gate, RailFigures, Take, gate_of
from advisor.quantities import Quantity, exact

YEAR = 365.25 * 86400.0  # s
TEN_YEARS = exact(10 * YEAR, "time")  # in which rare meetings are counted where nothing is stated


@dataclass(frozen=True, slots=True)
class LoadFigures:
    """A load of a task: demand, duration (N,) s, and whether the core sleeps meanwhile.

    `on` is the place of its rail among the further ones, None on the main one. `gated` tells
    whether it is switched off between uses, `gate` what is filled then; `standby` (N,) A is what it
    draws between them where neither it nor its rail is.
    """

    name: str
    demand: Demand
    duration: Array
    asleep: bool
    tries: Tries | None = None
    on: int | None = None
    gated: bool = False
    gate: Gate | None = None
    standby: Array | None = None

    @property
    def whole(self) -> Array:
        """Mean length of all tries together, (N,) s."""
        return self.duration if self.tries is None else self.duration * self.tries.mean


@dataclass(frozen=True, slots=True)
class TaskFigures:
    """A task: period (N,) s; units of work (N,) per kernel; uses (N,) per block; its loads.

    `at` is the operating point that it must run at, if any; `without` engines that may not help.
    `period` is the mean over the calendar; `periods` those at each of the product's times, infinite
    where it is not done then, none where the product has no times.
    """

    name: str
    period: Array
    kernels: Mapping[str, Array]
    uses: Mapping[str, Array]
    loads: tuple[LoadFigures, ...]
    finish_within: Array | None
    wake_within: float | None
    at: str | None = None
    without: frozenset[str] = frozenset()
    periods: tuple[Array, ...] = ()
    random: bool = False
    tries: Tries | None = None
    use_tries: Mapping[str, Tries] = field(default_factory=dict)

    @property
    def by_chance(self) -> bool:
        """Whether its events do not all last as long."""
        return bool(self.tries or self.use_tries or any(load.tries for load in self.loads))


@dataclass(frozen=True, slots=True)
class TimeFigures:
    """A time of the calendar: its share (N,), and which places of the environment are its own."""

    name: str
    share: Array
    places: slice


@dataclass(frozen=True, slots=True)
class PhaseFigures:
    """What the first pack goes through before use: (N,) s at temperatures (E, N) degC with shares.

    `state` is the sleep state that the part is kept in, None where it is that of use; `connected`
    whether the pack feeds it at all.
    """

    name: str
    duration: Array
    temperature: Array
    share: Array
    state: str | None
    connected: bool


@dataclass(frozen=True, slots=True)
class ProductFigures:
    """The product's own figures: tasks, standing loads (N,) A, environment (E,N) with shares.

    `lead_time_s` is the longest time to delivery that is acceptable, if that matters. The
    environment is that of all `times`, by their shares; `before` is what comes before use.
    `confidence` is the share of events that must keep a deadline that chance bears on; `lasts_s`
    how long the product is in use, by which rare meetings are counted; `rails` are those beside
    the main one, on which `standing` stands; `luck` (N,) standard normal
    deviates of what a device's own events come to, None at the stated values. `income` is what is
    harvested, if anything is; `stays` are temperatures with their shares at the stated values.
    `service` is the least share of days on which the load is to be carried. `recharge_s` (N,) s is
    the time from one charge to the next, None where nobody charges the pack.
    """

    name: str
    tasks: tuple[TaskFigures, ...]
    standing: Mapping[str, Demand]
    temperature: Array
    share: Array
    hottest: float
    coldest: float
    rail: Array | None
    retain: tuple[str, ...]
    ram_kib: float | None
    lead_time_s: float | None = None
    times: tuple[TimeFigures, ...] = ()
    before: tuple[PhaseFigures, ...] = ()
    rails: tuple[RailFigures, ...] = ()
    confidence: float = 0.5
    lasts_s: float = 10 * YEAR
    luck: Array | None = None
    income: Income | None = None
    service: float | None = None
    stays: tuple[tuple[float, float], ...] = ()
    recharge_s: Array | None = None

    @property
    def switches(self) -> bool:
        """Whether a rail or a load is switched off between its uses."""
        loads = any(load.gated for task in self.tasks for load in task.loads)
        return loads or any(rail.gated for rail in self.rails)

    @property
    def uneven(self) -> bool:
        """Whether a rest before something is switched on may be longer than those that occur on
        average: where anything is a matter of chance, or several tasks share a rail that empties
        meanwhile, whose periods do not keep step."""
        shared = any(
            rail.gated
            and rail.gate is not None
            and rail.gate.decay is not None
            and sum(any(load.on == r for load in task.loads) for task in self.tasks) > 1
            for r, rail in enumerate(self.rails)
        )
        return shared or (self.switches and self.by_chance)

    @property
    def waits(self) -> bool:
        """Whether an event may find the core busy by chance."""
        return any(task.random for task in self.tasks)

    def events_of(self, k: int) -> float:
        """How many events of task `k` the product lasts for, at the most."""
        return float(self.lasts_s / self.tasks[k].period.min())

    @property
    def by_chance(self) -> bool:
        """Whether anything in its workload is a matter of chance."""
        return self.waits or any(task.by_chance for task in self.tasks)

    @property
    def paces(self) -> tuple[tuple[Array, ...], ...]:
        """Periods of all tasks, (N,) s each, at every time; infinite where one is not done then."""
        if not self.times:
            return (tuple(task.period for task in self.tasks),)
        return tuple(tuple(task.periods[t] for task in self.tasks) for t in range(len(self.times)))

    def unchargeable(self, charge: Charge | None) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Where it is too cold and where too hot for charging, (E, N) each."""
        low, high = _charged_within(charge)
        return self.temperature < low, self.temperature > high

    def stated_idle(self, charge: Charge | None) -> tuple[float, float]:
        """Share of the time too cold and too hot for charging, at the stated values."""
        low, high = _charged_within(charge)
        cold = sum(share for at, share in self.stays if at < low)
        return cold, sum(share for at, share in self.stays if at > high)

    def done(self, t: int) -> tuple[int, ...]:
        """Which tasks are done at a time."""
        return tuple(
            k for k, task in enumerate(self.tasks) if bool(np.isfinite(task.periods[t]).all())
        )

    def in_time(self, t: int) -> ProductFigures:
        """The product as if one of its times lasted for ever."""
        time = self.times[t]
        share = self.share[time.places]
        return replace(
            self,
            tasks=tuple(replace(task, period=task.periods[t], periods=()) for task in self.tasks),
            temperature=self.temperature[time.places],
            share=share / share.sum(axis=0),
            times=(),
        )

    @property
    def standing_a(self) -> Array:
        """Sum of the standing loads that are told as currents, (N,) A."""
        return sum((s.current for s in self.standing.values()), np.zeros(self.share.shape[-1]))

    @property
    def standing_w(self) -> Array:
        """Sum of the standing loads that are told as powers, (N,) W."""
        return sum((s.power for s in self.standing.values()), np.zeros(self.share.shape[-1]))


def product_figures(product: Product, sampler: Sampler) -> ProductFigures:
    """The product's figures as arrays; the product has passed its rules, so none is missing."""

    def take(path: Path, quantity: Quantity | None) -> Array:
        assert quantity is not None, path
        return sampler.take(path, quantity)

    root = sampler.root
    zero = np.zeros(sampler.size)

    def demand(path: Path, load: Load | StandingLoad) -> Demand:
        """What a load draws; a charge per event is its mean current over the load's time."""
        if load.power is not None:
            return Demand(current=zero, power=take(path / "power", load.power))
        if isinstance(load, Load) and load.charge is not None:
            charge = take(path / "charge", load.charge)
            return Demand(current=charge / take(path / "for", load.duration), power=zero)
        return Demand(current=take(path / "current", load.current), power=zero)

    def tries(path: Path, retries: Retries | None) -> Tries | None:
        """What is tried again, if anything."""
        return None if retries is None else Tries(take(path / "fails", retries.fails), retries.most)

    parts = {t.time: take(root.child("times", t.time, "share"), t.share) for t in product.times}
    parts = {name: part / sum(parts.values()) for name, part in parts.items()}
    tasks = []
    places = {rail.rail: r for r, rail in enumerate(product.rails)}
    for task in product.workload:
        at = root.child("workload", task.task)
        period, periods = _periods(task, parts, take, at)
        tasks.append(
            TaskFigures(
                name=task.task,
                period=period,
                periods=periods,
                kernels={k: take(at / "kernels" / k, n) for k, n in task.kernels.items()},
                uses={b: take(at / "uses" / b, n) for b, n in task.uses.items()},
                loads=tuple(
                    LoadFigures(
                        name=load.load,
                        demand=demand(at / "loads" / load.load, load),
                        duration=take(at / "loads" / load.load / "for", load.duration),
                        asleep=load.cpu == "asleep",
                        tries=tries(at.child("loads", load.load, "retries"), load.retries),
                        on=None if load.on is None else places[load.on],
                        gated=load.gated,
                        gate=gate_of(at / "loads" / load.load, load, take),
                        standby=None
                        if load.standby is None
                        else take(at.child("loads", load.load, "standby"), load.standby),
                    )
                    for load in task.loads
                ),
                finish_within=None
                if task.finish_within is None
                else take(at / "finish-within", task.finish_within),
                wake_within=None if task.wake_within is None else task.wake_within.nominal,
                at=task.at,
                without=frozenset(task.without_engines),
                random=task.arrival == "random",
                tries=tries(at / "retries", task.retries),
                use_tries={
                    block: Tries(take(at.child("use-retries", block, "fails"), r.fails), r.most)
                    for block, r in task.use_retries.items()
                },
            )
        )
    temperature, share, times = _stays(product, parts, take, root)
    standing: dict[str | None, dict[str, Demand]] = {None: {}}
    for s in product.standing_loads:
        of = standing.setdefault(s.on, {})
        of[s.load] = demand(root.child("standing-loads", s.load), s)
    ram = product.needs.memory.ram
    return ProductFigures(
        name=product.product,
        tasks=tuple(tasks),
        standing={**standing[None], **_standby(tasks, None)},
        temperature=temperature,
        share=share,
        hottest=max(s.at.nominal for s in product.stays),
        coldest=min(s.at.nominal for s in product.stays),
        rail=None if product.rail is None else take(root / "rail", product.rail),
        retain=product.retain,
        ram_kib=None if ram is None else ram.nominal / 1024,
        lead_time_s=None if product.needs.lead_time is None else product.needs.lead_time.nominal,
        times=times,
        before=_before(product, take, root),
        rails=_rails(product, tasks, standing, take, root, zero),
        confidence=product.needs.confidence.nominal,
        lasts_s=(product.service_life or product.life_target or TEN_YEARS).nominal,
        luck=sampler.luck(root / "chance") if _by_chance(product) else None,
        service=None if product.needs.service is None else product.needs.service.nominal,
        stays=_stated_stays(product),
        income=None if product.harvest is None else income_of(product.harvest, sampler),
        recharge_s=None
        if product.recharge is None
        else take(root.child("recharge", "every"), product.recharge.every),
    )


def _charged_within(charge: Charge | None) -> tuple[float, float]:
    """Temperatures between which a cell may be charged, degC; infinite where none is stated."""
    low = -np.inf if charge is None or charge.min is None else charge.min.nominal
    return low, np.inf if charge is None or charge.max is None else charge.max.nominal


def _stated_stays(product: Product) -> tuple[tuple[float, float], ...]:
    """(temperature degC, share of the calendar) of all places, at the stated values."""
    if not product.times:
        told = [(s.at.nominal, s.share.nominal) for s in product.environment]
    else:
        told = [
            (s.at.nominal, t.share.nominal * s.share.nominal)
            for t in product.times
            for s in t.environment or product.environment
        ]
    whole = sum(share for _, share in told)
    return tuple((at, share / whole) for at, share in told)


def _by_chance(product: Product) -> bool:
    return any(
        task.arrival == "random"
        or task.retries
        or task.use_retries
        or any(load.retries for load in task.loads)
        for task in product.workload
    )


def _standby(tasks: Sequence[TaskFigures], rail: int | None) -> dict[str, Demand]:
    """What the loads of a rail that are not switched off draw between their uses."""
    return {
        f"{load.name} of {task.name}": Demand(
            current=load.standby, power=np.zeros_like(task.period)
        )
        for task in tasks
        for load in task.loads
        if load.on == rail and load.standby is not None and not load.gated
    }


def _rails(
    product: Product,
    tasks: Sequence[TaskFigures],
    standing: Mapping[str | None, Mapping[str, Demand]],
    take: Take,
    root: Path,
    zero: Array,
) -> tuple[RailFigures, ...]:
    """The rails beside the main one; zero (N,)."""
    out = []
    for r, rail in enumerate(product.rails):
        at = root.child("rails", rail.rail)
        idle = _standby(tasks, r)
        least = [
            take(path.child("supply", "min"), load.supply.min)
            for path, load in product.every_load
            if load.on == rail.rail and load.supply.min is not None
        ]
        stands = standing.get(rail.rail, {})
        out.append(
            RailFigures(
                name=rail.rail,
                voltage=None if rail.voltage is None else take(at / "voltage", rail.voltage),
                gated=rail.gated,
                gate=gate_of(at, rail, take),
                standing=stands if rail.gated else {**stands, **idle},
                idle=idle,
                least_v=np.maximum.reduce([zero, *least]),
            )
        )
    return tuple(out)


def _places(stays: Sequence[Stay], take: Take, within: Path) -> tuple[Array, Array]:
    """(temperature, share) of the places, (E, N) each; shares sum to 1."""
    share = np.array([take(within / s.entry / "share", s.share) for s in stays])
    return np.array([take(within / s.entry / "at", s.at) for s in stays]), share / share.sum(axis=0)


def _stays(
    product: Product, parts: Mapping[str, Array], take: Take, root: Path
) -> tuple[Array, Array, tuple[TimeFigures, ...]]:
    """Temperatures and shares of the places of the whole calendar, (E, N) each, and its times."""
    if not product.times:
        return (*_places(product.environment, take, root / "environment"), ())
    temperatures, shares = [], []
    times = []
    end = 0
    for time in product.times:
        own, whole = time.environment, parts[time.time]
        within = root.child("times", time.time, "environment") if own else root / "environment"
        at, share = _places(own or product.environment, take, within)
        temperatures.append(at)
        shares.append(whole * share)
        times.append(TimeFigures(name=time.time, share=whole, places=slice(end, end + len(at))))
        end += len(at)
    return np.concatenate(temperatures), np.concatenate(shares), tuple(times)


def _periods(
    task: Task, parts: Mapping[str, Array], take: Take, at: Path
) -> tuple[Array, tuple[Array, ...]]:
    """A task's mean period over the calendar, (N,) s, and that at each time."""
    if not isinstance(task.every, Mapping):
        period = take(at / "every", task.every)
        return period, tuple(period for _ in parts)
    every = {name: take(at.child("every", name), task.every[name]) for name in task.every}
    rate = sum(parts[name] / period for name, period in every.items())
    never = np.full(next(iter(parts.values())).shape, np.inf)
    return np.asarray(1 / rate), tuple(every.get(name, never) for name in parts)


def _before(product: Product, take: Take, root: Path) -> tuple[PhaseFigures, ...]:
    """What comes before use, in order."""
    out = []
    for phase in product.before_use:
        at = root.child("before-use", phase.phase)
        temperature, share = _places(phase.environment, take, at / "environment")
        out.append(
            PhaseFigures(
                name=phase.phase,
                duration=take(at / "for", phase.duration),
                temperature=temperature,
                share=share,
                state=None if phase.state in (ASLEEP, DISCONNECTED) else phase.state,
                connected=phase.state != DISCONNECTED,
            )
        )
    return tuple(out)


def on_curve(x: Array, y: Array, at: Array) -> Array:
    """Piecewise linear interpolation, flat outside, per draw.

    Parameters
    ----------
    x : (X,) ascending places; y : (X, N) values; at : (..., N) places asked for. SI, of any kind.

    Returns
    -------
    (..., N) values.
    """
    if len(x) == 1:
        return np.broadcast_to(y[0], at.shape).copy()
    still = at.ndim > 1 and at.shape[-1] > 1 and bool((at == at[..., :1]).all())
    if still:
        at = at[..., :1]  # one place for all draws is looked up once
    i, share = piece_and_share(x, at)
    share = np.minimum(np.maximum(share, 0.0), 1.0)
    if still:
        return across(y, i[..., 0], share[..., 0])
    return between(y, i, share, np.arange(y.shape[1]))


def curve_values(path: Path, curve: Curve, sampler: Sampler) -> tuple[Array, Array]:
    """A curve's places (X,) and values (X, N); `path` is the curve's own."""
    values = [sampler.take(at, y) for at, y in curve.entries(path)]
    return np.array(curve.x), np.array(values)
