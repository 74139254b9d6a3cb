"""The figures that a product needs of each part, as arrays.

Axes, in this order wherever they occur: P parts, Z sleep states, O options (an operating point and
the engines used with it), S states of an event, N draws (1 for the stated values). SI units.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from itertools import product as combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.evidence import evidence_of
from advisor.catalogue.schema_parts import Block, Part, SleepState, Variant
from advisor.catalogue.sense import one_board
from advisor.catalogue.sheet import lacking
from advisor.dataclass import dataclass
from advisor.figures import Path
from advisor.model.addon_set import ALONE, Companions
from advisor.model.asleep import Asleep
from advisor.model.draws import Array, Sampler, gain_of
from advisor.model.leakage import told
from advisor.model.work import work
from advisor.model.workload import ProductFigures, TaskFigures
from advisor.quantities import Quantity, show, unmet

IDLE = "idle at "  # begins the sleep state of a part that does not sleep, before its point


@dataclass(frozen=True, slots=True)
class Option:
    """An operating point and the engines that do some of a task's kernels."""

    point: str
    engines: tuple[str, ...]
    variants: tuple[str, ...]  # the kernel entry used for each kernel of the task

    @property
    def label(self) -> str:
        """`point` or `point+engine+…`."""
        return str(Variant(self.point, self.engines))


@dataclass(slots=True)
class PartFigures:
    """What a product needs of one part.

    Chip currents come as a constant part (A) and a constant-power part (W): a part with a
    switching regulator on the chip draws power, one with a linear regulator draws current.

    Attributes
    ----------
    points : names; idle_a, idle_w : (points, N); supply_min : (points,) V, 0 where unstated.
    options : per task, its options; option_point : per task, (O,) index into points;
    time, run_a, run_w : per task, (O, kernels, N) s, A, W, of one event.
    block_a, block_time : per task, (blocks, N) A above idle, s per event.
    sleeps : names; the last are points at which the part may idle in place of sleeping.
    sleep_a, sleep_w : (Z, N); wake_time : (Z, N) s; wake_charge : (Z, N) C, NaN where the idle
    current over the wake time stands for it; sleep_min : (Z,) V, a point's least supply.
    timed_a : (T, Z, N) the constant sleep current at each of the product's times; stored_a,
    stored_w : (F, Z, N) what the chip draws in each phase before use.
    missing : paths of figures that the product needs and the part lacks.
    warnings : what was taken as it stands for want of a figure.
    left_out : paths of sleep states, operating points and entries of kernels that stay out, and
    why; of the whole part only, as builds do not ask.
    companions : the add-ons beside it; awake_a, asleep_a : by add-on, what it draws while the part
    is awake and asleep, (N,) A, which is in the chip's currents.
    """

    part: str
    points: tuple[str, ...] = ()
    idle_a: Array = field(default_factory=lambda: np.empty((0, 1)))
    idle_w: Array = field(default_factory=lambda: np.empty((0, 1)))
    supply_min: Array = field(default_factory=lambda: np.empty(0))
    options: list[tuple[Option, ...]] = field(default_factory=list)
    option_point: list[NDArray[np.intp]] = field(default_factory=list)
    time: list[Array] = field(default_factory=list)
    run_a: list[Array] = field(default_factory=list)
    run_w: list[Array] = field(default_factory=list)
    block_a: list[Array] = field(default_factory=list)
    block_time: list[Array] = field(default_factory=list)
    sleeps: tuple[str, ...] = ()
    sleep_a: Array = field(default_factory=lambda: np.empty((0, 1)))
    sleep_w: Array = field(default_factory=lambda: np.empty((0, 1)))
    wake_time: Array = field(default_factory=lambda: np.empty((0, 1)))
    wake_charge: Array = field(default_factory=lambda: np.empty((0, 1)))
    sleep_min: Array = field(default_factory=lambda: np.empty(0))
    timed_a: Array = field(default_factory=lambda: np.empty((0, 0, 1)))
    stored_a: Array = field(default_factory=lambda: np.empty((0, 0, 1)))
    stored_w: Array = field(default_factory=lambda: np.empty((0, 0, 1)))
    missing: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    left_out: list[tuple[Path, str]] = field(default_factory=list)
    companions: Companions = ALONE
    awake_a: Mapping[str, Array] = field(default_factory=dict)
    asleep_a: Mapping[str, Array] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Wanted:
    """The part of a profile that a chosen build uses; draws need no more."""

    sleep: str
    options: tuple[Option, ...]

    @property
    def points(self) -> frozenset[str]:
        """Operating points in use, awake or idling."""
        idling = {self.sleep.removeprefix(IDLE)} if never_sleeps(self.sleep) else set()
        return frozenset(idling | {o.point for o in self.options})


def never_sleeps(sleep: str) -> bool:
    """Whether a sleep state is idling at an operating point, in place of sleeping."""
    return sleep.startswith(IDLE)


class _PartReader:
    """Collects one part's figures; keeps the missing ones by path."""

    def __init__(
        self, part: Part, figures: ProductFigures, sampler: Sampler, wanted: Wanted | None
    ) -> None:
        self.part = part
        self.product = figures
        self.sampler = sampler
        self.wanted = wanted
        self.switching = part.supply.regulator == "switching"
        self.out = PartFigures(part.part)
        self.zero = np.zeros(sampler.size)
        self.root = sampler.root
        self.gains: dict[str | None, Array | float] = {}  # of each evidence, worked out once
        self.asleep = Asleep(part, figures, sampler, self._gain)

    def read(self) -> PartFigures:
        self._points()
        for k, task in enumerate(self.product.tasks):
            self._options(k, task)
            self._blocks(task)
        self._sleeps()
        if self.wanted is None:
            self._unused()
            self.out.warnings += one_board(self.part)
        return self.out

    def miss(self, *keys: str) -> None:
        path = str(self.root.child(*keys))
        if path not in self.out.missing:
            self.out.missing.append(path)

    def _gain(self, evidence: str | None) -> Array | float:
        if evidence not in self.gains:
            self.gains[evidence] = gain_of(self.part.evidence, evidence, self.sampler)
        return self.gains[evidence]

    def _current(self, path: Path, quantity: Quantity, evidence: str | None) -> Array:
        return np.asarray(self.sampler.take(path, quantity) * self._gain(evidence))

    def _split(self, current: Array, path: Path, supply: Quantity | None) -> tuple[Array, Array]:
        """(constant current, constant power) of a chip current taken at `supply`."""
        if not self.switching or supply is None:
            return current, self.zero
        return self.zero, current * self.sampler.take(path, supply)

    def _points(self) -> None:
        names, idle_a, idle_w, least = [], [], [], []
        wanted = None if self.wanted is None else self.wanted.points
        for name in sorted(self.part.operating_points):
            point = self.part.operating_points[name]
            at = self.root.child("operating-points", name)
            if point.idle_current is None:
                if wanted is None:
                    self.out.left_out.append((at, "lacks idle-current"))
                continue
            if wanted is not None and name not in wanted:
                continue
            current = self._current(
                at / "idle-current", point.idle_current, evidence_of(point, "idle-current")
            )
            if self.switching and point.supply is None and wanted is None:
                self.out.warnings.append(
                    f"{self.part.part}: idle current at {name} taken as it was measured: "
                    "its supply is not stated"
                )
            a, w = self._split(current, at / "supply", point.supply)
            names.append(name)
            idle_a.append(a)
            idle_w.append(w)
            least.append(0.0 if point.supply_min is None else point.supply_min.nominal)
        if not names:
            for name in self.part.operating_points:
                self.miss("operating-points", name, "idle-current")
            if not self.part.operating_points:
                self.miss("operating-points")
            names, idle_a, idle_w, least = ["?"], [self.zero], [self.zero], [0.0]
        self.out.points = tuple(names)
        self.out.idle_a, self.out.idle_w = np.array(idle_a), np.array(idle_w)
        self.out.supply_min = np.array(least)

    def _unused(self) -> None:
        """Note the points at which work of the product has no figures, and figures that lack
        something."""
        kernels: dict[str, list[str]] = {}
        for task in self.product.tasks:
            for kernel in task.kernels:
                kernels.setdefault(kernel, []).append(task.name)
        for point in self.out.points:
            bare = [
                kernel
                for kernel in kernels
                if point != "?" and not self._kernel_choices(kernel, point)
            ]
            if bare:
                tasks = dict.fromkeys(task for kernel in bare for task in kernels[kernel])
                why = f"no figures of {', '.join(bare)} there, so not for {', '.join(tasks)}"
                self.out.left_out.append((self.root.child("operating-points", point), why))
        for kernel in kernels:
            for variant in self.part.kernels.get(kernel, {}):
                path = self.root.child("kernels", kernel, variant)
                lacks = [
                    keys[-1] if keys[:3] == path.keys else ".".join(keys)
                    for keys in lacking(self.part, kernel, variant)
                ]
                if lacks:
                    self.out.left_out.append((path, f"lacks {', '.join(lacks)}"))

    def _kernel_choices(self, kernel: str, point: str) -> list[str]:
        """Entries of a kernel that run at `point`, plain first."""
        variants = self.part.kernels.get(kernel, {})
        return sorted(
            v
            for v in variants
            if Variant.parse(v).point == point and not lacking(self.part, kernel, v)
        )

    def _options(self, k: int, task: TaskFigures) -> None:
        options: list[Option] = []
        if self.wanted is not None:
            options = [self.wanted.options[k]]
        else:
            for point in self.out.points:
                if task.at not in (None, point):
                    continue
                choices = [self._kernel_choices(kernel, point) for kernel in task.kernels]
                for variants in combinations(*choices):
                    engines = sorted({e for v in variants for e in Variant.parse(v).engines})
                    if task.without.isdisjoint(engines):
                        options.append(Option(point, tuple(engines), tuple(variants)))
            options.sort(key=lambda o: o.label)
        if not options:
            self._missing_kernels(task)
        shape = (len(options), len(task.kernels), self.sampler.size)
        time, run_a, run_w = np.zeros(shape), np.zeros(shape), np.zeros(shape)
        seen: dict[tuple[str, str], tuple[Array, Array, Array]] = {}
        for o, option in enumerate(options):
            for j, (kernel, variant) in enumerate(zip(task.kernels, option.variants, strict=True)):
                if (kernel, variant) not in seen:
                    seen[kernel, variant] = self._kernel(kernel, variant)
                t, a, w = seen[kernel, variant]
                time[o, j], run_a[o, j], run_w[o, j] = t * task.kernels[kernel], a, w
        self.out.options.append(tuple(options))
        self.out.option_point.append(
            np.array([self.out.points.index(o.point) for o in options], dtype=np.intp)
        )
        self.out.time.append(time)
        self.out.run_a.append(run_a)
        self.out.run_w.append(run_w)

    def _kernel(self, kernel: str, variant: str) -> tuple[Array, Array, Array]:
        time, current, supply = work(self.part, kernel, variant, self.sampler, self._gain)
        a, w = self._split(current, *(supply or (self.root, None)))
        return time, a, w

    def _missing_kernels(self, task: TaskFigures) -> None:
        before = len(self.out.missing)
        for kernel in task.kernels:
            variants = self.part.kernels.get(kernel, {})
            if not variants:
                self.miss("kernels", kernel)
            elif task.at is not None and not self._kernel_choices(kernel, task.at):
                self.miss("kernels", kernel, task.at)
            elif all(lacking(self.part, kernel, variant) for variant in variants):
                for variant in variants:
                    for keys in lacking(self.part, kernel, variant):
                        self.miss(*keys)
        if len(self.out.missing) == before and self.out.points != ("?",):
            # each kernel is there, but no operating point has them all
            self.miss("kernels", next(iter(task.kernels), "any"))

    def _blocks(self, task: TaskFigures) -> None:
        a, t = [], []
        for name, uses in task.uses.items():
            block = self.part.blocks.get(name, Block())
            if block.current is None or block.duration is None:
                if name in self.part.blocks:
                    self.miss("blocks", name, "current" if block.current is None else "for")
                a.append(self.zero)
                t.append(self.zero)
                continue
            at = self.root.child("blocks", name)
            a.append(self._current(at / "current", block.current, evidence_of(block, "current")))
            t.append(self.sampler.take(at / "for", block.duration) * uses)
        shape = (len(a), self.sampler.size)
        self.out.block_a.append(np.array(a).reshape(shape))
        self.out.block_time.append(np.array(t).reshape(shape))

    def _sleeps(self) -> None:
        names, current, time, charge = [], [], [], []
        timed, stored = [], []
        for name in sorted(self.part.sleep_states):
            if self.wanted is not None and name != self.wanted.sleep:
                continue
            state = self.part.sleep_states[name]
            at = self.root.child("sleep-states", name)
            why = self._sleepless(state)
            if why:
                self.out.left_out.append((at, why))
                continue
            assert state.current is not None
            assert state.wake_time is not None
            beyond = told(state.current, self.product.hottest)
            if beyond is not None and self.wanted is None:
                self.out.warnings.append(f"{self.part.part}: sleep state {name}: {beyond}")
            names.append(name)
            asleep, at_times, in_phases = self.asleep.currents(name)
            current.append(asleep)
            timed.append(at_times)
            stored.append(in_phases)
            time.append(self.sampler.take(at / "wake-time", state.wake_time))
            charge.append(
                np.full(self.sampler.size, np.nan)
                if state.wake_charge is None
                else self._current(
                    at / "wake-charge", state.wake_charge, evidence_of(state, "wake-charge")
                )
            )
        if not self.part.sleep_states and self.wanted is None:
            self.out.warnings.append(
                f"{self.part.part}: no sleep state is known, so it is taken to idle"
            )
        idle = [i for i, name in enumerate(self.out.points) if self._idles(i, name)]
        self.out.sleeps = (*names, *(f"{IDLE}{self.out.points[i]}" for i in idle))
        self.out.sleep_a = np.array([*current, *self.out.idle_a[idle]])
        self.out.sleep_w = np.array([*(self.zero for _ in names), *self.out.idle_w[idle]])
        self.out.wake_time = np.array([*time, *(self.zero for _ in idle)])
        self.out.wake_charge = np.array([*charge, *(self.zero for _ in idle)])
        self.out.sleep_min = np.array([*(0.0 for _ in names), *self.out.supply_min[idle]])
        if self.product.times:
            each = [
                *timed,
                *(np.array([a] * len(self.product.times)) for a in self.out.idle_a[idle]),
            ]
            self.out.timed_a = np.stack(each, axis=1)
        if self.product.before:
            kept = [*stored, *(None for _ in idle)]
            self.out.stored_a, self.out.stored_w = self.asleep.stored(
                kept, self.out.sleep_a, self.out.sleep_w
            )
            missing, warnings = self.asleep.unsaid()
            for lacking_one in missing:
                self.miss("sleep-states", lacking_one, "current")
            self.out.warnings += warnings if self.wanted is None else []

    def _idles(self, i: int, name: str) -> bool:
        """Whether idling at a point may be the best way not to sleep: no other draws as little
        from as low a supply (of equals the first by name)."""
        if self.wanted is not None:
            return self.wanted.sleep == f"{IDLE}{name}"

        def draws(j: int) -> tuple[float, float, float]:
            out = self.out
            return float(out.idle_a[j, 0]), float(out.idle_w[j, 0]), float(out.supply_min[j])

        mine = draws(i)
        return not any(
            all(a <= b for a, b in zip(draws(j), mine, strict=True)) and (draws(j) != mine or j < i)
            for j in range(len(self.out.points))
            if j != i
        )

    def _sleepless(self, state: SleepState) -> str:
        """Why a state may not be slept in: it lacks figures, keeps too little or wakes too late;
        empty where it may."""
        if state.current is None or state.wake_time is None:
            return "lacks current" if state.current is None else "lacks wake-time"
        lost = [name for name in self.product.retain if name not in (state.retains or ())]
        if lost:
            return f"does not keep {', '.join(lost)}"
        within = [t.wake_within for t in self.product.tasks if t.wake_within is not None]
        if within and state.wake_time.nominal > min(within):
            asked, takes = show(min(within), "time"), show(state.wake_time.nominal, "time")
            return unmet("wake-within", asked, takes, "it takes")
        return ""


def part_figures(
    part: Part, figures: ProductFigures, sampler: Sampler, wanted: Wanted | None = None
) -> PartFigures:
    """Everything that a product needs of one part, as arrays; see `PartFigures`.

    With `wanted` only the figures of that build are read (and drawn).
    """
    return _PartReader(part, figures, sampler, wanted).read()


@dataclass(frozen=True, slots=True)
class Stack:
    """Part figures side by side, padded to the same counts.

    Attributes
    ----------
    parts : the P figures; idle_a, idle_w : (P, points, N); supply_min : (P, points).
    Per task: option_point (P, O); valid (P, O); time, run_a, run_w (P, O, kernels, N);
    block_a, block_time (P, blocks, N). sleep_a, sleep_w, wake_time, wake_charge (P, Z, N);
    sleep_min (P, Z); sleeping (P, Z): which sleep states are there; rests (P, Z): those that sleep.
    timed_a (P, T, Z, N), stored_a, stored_w (P, F, Z, N): at times, and in phases before use.
    """

    parts: tuple[PartFigures, ...]
    idle_a: Array
    idle_w: Array
    supply_min: Array
    option_point: tuple[NDArray[np.intp], ...]
    valid: tuple[NDArray[np.bool_], ...]
    time: tuple[Array, ...]
    run_a: tuple[Array, ...]
    run_w: tuple[Array, ...]
    block_a: tuple[Array, ...]
    block_time: tuple[Array, ...]
    sleep_a: Array
    sleep_w: Array
    wake_time: Array
    wake_charge: Array
    sleep_min: Array
    sleeping: NDArray[np.bool_]
    rests: NDArray[np.bool_]
    timed_a: Array
    stored_a: Array
    stored_w: Array

    def in_time(self, t: int) -> Stack:
        """The same with the sleep currents of one of the product's times."""
        return replace(self, sleep_a=self.timed_a[:, t], timed_a=self.timed_a[:, :0])

    def at_pace(self, product: ProductFigures, task: TaskFigures) -> Stack:
        """The same with the sleep currents as a task's events meet them, time by time."""
        if not product.times:
            return self
        rates = [t.share / period for t, period in zip(product.times, task.periods, strict=True)]
        met = [r * self.timed_a[:, i] for i, r in enumerate(rates)]
        return replace(self, sleep_a=np.asarray(sum(met) / sum(rates)))


def _pad(arrays: Sequence[NDArray[Any]]) -> NDArray[Any]:
    """Arrays of the same rank side by side, short ones filled with zeros; (P, …)."""
    if len({a.shape for a in arrays}) == 1:
        return np.array(arrays)
    shape = tuple(max(a.shape[i] for a in arrays) for i in range(arrays[0].ndim))
    out = np.zeros((len(arrays), *shape), dtype=arrays[0].dtype)
    for i, a in enumerate(arrays):
        out[i][tuple(slice(0, n) for n in a.shape)] = a
    return out


def stack(parts: Sequence[PartFigures]) -> Stack:
    """Put the figures of P >= 1 parts side by side."""
    tasks = range(len(parts[0].options))
    return Stack(
        parts=tuple(parts),
        idle_a=_pad([p.idle_a for p in parts]),
        idle_w=_pad([p.idle_w for p in parts]),
        supply_min=_pad([p.supply_min for p in parts]),
        option_point=tuple(_pad([p.option_point[k] for p in parts]) for k in tasks),
        valid=tuple(_pad([np.ones(len(p.options[k]), dtype=bool) for p in parts]) for k in tasks),
        time=tuple(_pad([p.time[k] for p in parts]) for k in tasks),
        run_a=tuple(_pad([p.run_a[k] for p in parts]) for k in tasks),
        run_w=tuple(_pad([p.run_w[k] for p in parts]) for k in tasks),
        block_a=tuple(_pad([p.block_a[k] for p in parts]) for k in tasks),
        block_time=tuple(_pad([p.block_time[k] for p in parts]) for k in tasks),
        sleep_a=_pad([p.sleep_a for p in parts]),
        sleep_w=_pad([p.sleep_w for p in parts]),
        wake_time=_pad([p.wake_time for p in parts]),
        wake_charge=_pad([p.wake_charge for p in parts]),
        sleep_min=_pad([p.sleep_min for p in parts]),
        sleeping=_pad([np.ones(len(p.sleeps), dtype=bool) for p in parts]),
        rests=_pad([np.array([not never_sleeps(z) for z in p.sleeps]) for p in parts]),
        timed_a=_pad([p.timed_a for p in parts]),
        stored_a=_pad([p.stored_a for p in parts]),
        stored_w=_pad([p.stored_w for p in parts]),
    )
