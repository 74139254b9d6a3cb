"""A product's workload and surroundings as arrays, and curves over an array of places.

N is the draw axis (1 for the stated values). SI units, temperatures in degC.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from advisor.catalogue.curves import Curve
from advisor.catalogue.schema_product import Load, Product, StandingLoad
from advisor.figures import Path
from advisor.model.draws import Array, Sampler
from advisor.quantities import Quantity


@dataclass(frozen=True, slots=True)
class Demand:
    """What a load draws: a constant current (N,) A or a constant power (N,) W, the other zero."""

    current: Array
    power: Array

    def at(self, volts: Array | float) -> Array:
        """Its current, (N,) A, at a voltage that broadcasts to (N,)."""
        return np.asarray(self.current + self.power / volts)


@dataclass(frozen=True, slots=True)
class LoadFigures:
    """A load of a task: demand, duration (N,) s, and whether the core sleeps meanwhile."""

    name: str
    demand: Demand
    duration: Array
    asleep: bool


@dataclass(frozen=True, slots=True)
class TaskFigures:
    """A task: period (N,) s; units of work (N,) per kernel; uses (N,) per block; its loads.

    `at` is the operating point that it must run at, if any; `without` engines that may not help.
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


@dataclass(frozen=True, slots=True)
class ProductFigures:
    """The product's own figures: tasks, standing loads (N,) A, environment (E,N) with shares.

    `lead_time_s` is the longest time to delivery that is acceptable, if that matters.
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

    tasks = []
    for task in product.workload:
        at = root.child("workload", task.task)
        tasks.append(
            TaskFigures(
                name=task.task,
                period=take(at / "every", task.every),
                kernels={k: take(at / "kernels" / k, n) for k, n in task.kernels.items()},
                uses={b: take(at / "uses" / b, n) for b, n in task.uses.items()},
                loads=tuple(
                    LoadFigures(
                        name=load.load,
                        demand=demand(at / "loads" / load.load, load),
                        duration=take(at / "loads" / load.load / "for", load.duration),
                        asleep=load.cpu == "asleep",
                    )
                    for load in task.loads
                ),
                finish_within=None
                if task.finish_within is None
                else take(at / "finish-within", task.finish_within),
                wake_within=None if task.wake_within is None else task.wake_within.nominal,
                at=task.at,
                without=frozenset(task.without_engines),
            )
        )
    stays = product.environment
    within = root / "environment"
    share = np.stack([take(within / s.entry / "share", s.share) for s in stays])
    ram = product.needs.memory.ram
    return ProductFigures(
        name=product.product,
        tasks=tuple(tasks),
        standing={
            s.load: demand(root.child("standing-loads", s.load), s) for s in product.standing_loads
        },
        temperature=np.stack([take(within / s.entry / "at", s.at) for s in stays]),
        share=share / share.sum(axis=0),
        hottest=max(s.at.nominal for s in stays),
        coldest=min(s.at.nominal for s in stays),
        rail=None if product.rail is None else take(root / "rail", product.rail),
        retain=product.retain,
        ram_kib=None if ram is None else ram.nominal / 1024,
        lead_time_s=None if product.needs.lead_time is None else product.needs.lead_time.nominal,
    )


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
    i = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    t = np.clip((at - x[i]) / (x[i + 1] - x[i]), 0.0, 1.0)
    n = np.arange(y.shape[1])
    return np.asarray(y[i, n] * (1 - t) + y[i + 1, n] * t)


def curve_values(path: Path, curve: Curve, sampler: Sampler) -> tuple[Array, Array]:
    """A curve's places (X,) and values (X, N); `path` is the curve's own."""
    values = [sampler.take(at, y) for at, y in curve.entries(path)]
    return np.array(curve.x), np.stack(values)
