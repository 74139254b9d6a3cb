"""A pack with a reservoir under repeating events, against a simulator of its circuit.

The simulator knows Kirchhoff's current law at the terminals and the capacitor's equation, and
nothing of the model: it runs a train of events through SciPy's ODE solver from a rested capacitor
until no more than 1e-7 of that start is left. Constant currents make the equation linear; then the
exponential of its two coefficients, read off the equation, stands for the solver. The worst phase
is sought by trying every order of the tasks' last events.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import permutations

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from advisor.model.battery import ENDS, Life, life
from advisor.model.drain import Drain, Pack

State = tuple[float, float, float]  # constant A, power W, duration s
SLEEP = 2e-6
FORGOTTEN = 1e-7


@dataclass(frozen=True)
class Task:
    period: float
    states: tuple[State, ...]

    @property
    def length(self) -> float:
        return sum(s[2] for s in self.states)


@dataclass(frozen=True)
class Circuit:
    """volts behind ohms, a capacitor of farad and esr, and a load across both."""

    volts: float
    ohms: float
    farad: float
    esr: float = 0.0

    def node(self, held: float, amps: float, watts: float) -> tuple[float, float]:
        """Kirchhoff: (V - v)/R + (v_c - v)/r = A + P/v gives v, and how far it is from none."""
        if self.esr == 0:
            return held, held - 0.02 if watts else np.inf
        g = 1 / self.ohms + 1 / self.esr
        b = self.volts / self.ohms + held / self.esr - amps
        if watts == 0:
            return b / g, np.inf
        lack = b - 2 * np.sqrt(g * watts)
        return float(b + np.sqrt(max(b * b - 4 * g * watts, 0.0))) / (2 * g), lack

    def terminals(self, held: float, amps: float, watts: float) -> float:
        """Voltage at the terminals; NaN where none solves Kirchhoff's law."""
        v, lack = self.node(held, amps, watts)
        return v if lack >= 0 else np.nan

    def rate(self, held: float, amps: float, watts: float) -> float:
        """The current into the capacitor over C."""
        v, _ = self.node(held, amps, watts)
        load = amps + watts / v if watts else amps
        return float(((self.volts - v) / self.ohms - load) / self.farad)

    def rest(self, amps: float) -> float:
        return self.volts - self.ohms * amps

    def run(self, held: float, state: State) -> tuple[float, float]:
        """(lowest terminal voltage, capacitor's at the end) of one state; NaN: collapsed."""
        amps, watts, span = state
        start = self.terminals(held, amps, watts)
        if np.isnan(start):
            return np.nan, np.nan
        if watts == 0:
            b = self.rate(0.0, amps, 0.0)
            a = self.rate(1.0, amps, 0.0) - b
            after = held * np.exp(a * span) + b / a * np.expm1(a * span)
        else:

            def gone(_: float, v: np.ndarray) -> float:
                return self.node(v[0], amps, watts)[1]

            gone.terminal = True  # type: ignore[attr-defined]
            with np.errstate(invalid="ignore"):
                solved = solve_ivp(
                    lambda _, v: [self.rate(v[0], amps, watts)],
                    (0.0, span),
                    [held],
                    method="LSODA",
                    rtol=1e-9,
                    atol=1e-11,
                    events=gone,
                )
            if solved.status != 0:
                return np.nan, np.nan
            after = float(solved.y[0, -1])
        return min(start, self.terminals(after, amps, watts)), float(after)


def trains(tasks: list[Task], memory: float) -> Iterator[list[Task | float]]:
    """Events and pauses over `memory` s, for every order of the last ones, back to back.

    Each task's events are due a period apart. One that finds the core busy waits, first come
    first served; while it waits, the next of its task is left out. The last in order is due when
    its turn comes, or has waited: since the first began, or so long that it is then due again.
    """
    for order in permutations(range(len(tasks))):
        ends = np.cumsum([tasks[k].length for k in order])
        last = tasks[order[-1]]
        turn = ends[-1] - last.length
        waits = {0.0, turn, float(turn % last.period), float(ends[-1] % last.period)}
        for waited in sorted(w for w in waits if w <= turn):
            due = []
            for end, k in zip(ends, order, strict=True):
                task = tasks[k]
                begin = end - task.length - (waited if k == order[-1] else 0.0)
                before = -int(memory / task.period) - 1
                after = int((ends[-1] + last.period - begin) / task.period)
                due += [(begin + n * task.period, k) for n in range(before, after + 1)]
            due.sort(key=lambda d: (round(d[0] / memory, 12), order.index(d[1])))
            train: list[Task | float] = []
            free = due[0][0]
            started = [-np.inf] * len(tasks)
            for at, k in due:
                if at < started[k]:
                    continue
                if at > free:
                    train.append(at - free)
                    free = at
                train.append(tasks[k])
                started[k] = free
                free += tasks[k].length
            yield train


def lowest(circuit: Circuit, tasks: list[Task], sleep: float = SLEEP) -> float:
    """Lowest voltage at the terminals over the worst phase; NaN where it collapses."""
    memory = -np.log(FORGOTTEN) * (circuit.ohms + circuit.esr) * circuit.farad
    low = circuit.rest(sleep)
    for train in trains(tasks, memory):
        held = circuit.rest(sleep)
        for item in train:
            states = item.states if isinstance(item, Task) else ((sleep, 0.0, item),)
            for state in states:
                least, held = circuit.run(held, state)
                low = min(low, least) if not np.isnan(least) else np.nan
                if np.isnan(low):
                    return low
    return low


def column(*values: float) -> np.ndarray:
    return np.array(values)[:, None]


def one(value: float) -> np.ndarray:
    return np.array([value])


def pack(
    depth: tuple[float, ...],
    volts: tuple[float, ...],
    ohms: tuple[float, ...],
    farad: float,
    esr: float = 0.0,
) -> Pack:
    return Pack(
        depth=np.array(depth),
        open_v=column(*volts),
        resistance=column(*ohms),
        capacity_c=one(3600.0 * 0.2),
        self_discharge_a=one(0.0),
        leak_a=one(0.0),
        least_capacity=one(1.0),
        mean_capacity=one(1.0),
        shelf_life_s=one(np.inf),
        reservoir=(one(farad), one(esr)),
    )


def drain(tasks: list[Task], cut_off: float = 0.0, sleep: float = SLEEP) -> Drain:
    states = [s for t in tasks for s in t.states] + [(sleep, 0.0, 0.0)]
    share = [s[2] / t.period for t in tasks for s in t.states]
    edges = np.cumsum([0, *(len(t.states) for t in tasks)])

    def shaped(values: list[float]) -> np.ndarray:
        return np.array(values).reshape(1, -1, 1)

    return Drain(
        constant_a=shaped([s[0] for s in states]),
        power_w=shaped([s[1] for s in states]),
        share=shaped([*share, 1 - sum(share)]),
        duration_s=shaped([s[2] for s in states]),
        tasks=tuple(slice(int(a), int(b)) for a, b in zip(edges, edges[1:], strict=False)),
        period_s=column(*(t.period for t in tasks)),
        cut_off_v=np.array([[cut_off]]),
    )


def fresh(circuit: Circuit, tasks: list[Task], sleep: float = SLEEP) -> float:
    made = pack(
        (0.0, 1.0), (circuit.volts,) * 2, (circuit.ohms,) * 2, circuit.farad, circuit.esr
    )
    return float(life(made, drain(tasks, sleep=sleep)).start_low_v[0, 0])


@dataclass(frozen=True)
class Device:
    """Curves over the depth of discharge, a reservoir, tasks and a cut-off."""

    depth: tuple[float, ...]
    volts: tuple[float, ...]
    ohms: tuple[float, ...]
    farad: float
    esr: float
    tasks: tuple[Task, ...]
    cut_off: float

    def circuit(self, depth: float) -> Circuit:
        return Circuit(
            float(np.interp(depth, self.depth, self.volts)),
            float(np.interp(depth, self.depth, self.ohms)),
            self.farad,
            self.esr,
        )

    def margin(self, depth: float) -> float:
        low = lowest(self.circuit(depth), list(self.tasks))
        return -1.0 if np.isnan(low) else low - self.cut_off

    def modelled(self) -> Life:
        made = pack(self.depth, self.volts, self.ohms, self.farad, self.esr)
        return life(made, drain(list(self.tasks), self.cut_off))

    def end(self, about: float) -> float:
        """First depth at which the simulator's voltage is below the cut-off, else 1."""
        # every margin falls with depth: look close to a guess first, then everywhere
        low, high = max(0.97 * about, 0.0), min(1.03 * about, 1.0)
        if self.margin(low) < 0:
            low, high = 0.0, low
        elif self.margin(high) >= 0:
            low, high = high, 1.0
        if self.margin(low) < 0:
            return low
        if self.margin(high) >= 0:
            return high
        return float(brentq(self.margin, low, high, xtol=1e-5 * high, rtol=1e-5))

    def life(self, end: float) -> float:
        """Charge over current, powers at the open voltage, by quadrature."""
        a = SLEEP + sum((s[0] - SLEEP) * s[2] / t.period for t in self.tasks for s in t.states)
        b = sum(s[1] * s[2] / t.period for t in self.tasks for s in t.states)

        def slowness(depth: float) -> float:
            return 1 / (a + b / float(np.interp(depth, self.depth, self.volts)))

        found, _ = quad(slowness, 0, end, points=[d for d in self.depth if 0 < d < end] or None)
        return 3600 * 0.2 * float(found)


def device(seed: int) -> Device:
    """A random pack, reservoir and train of one to three tasks that end it by sag, mostly."""
    rng = np.random.default_rng(seed)

    def log(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    depth = (0.0, 0.5, 0.9, 1.0)
    top = rng.uniform(2.8, 3.6)
    volts = (top, top - rng.uniform(0.05, 0.3), top - rng.uniform(0.3, 0.8), 1.8)
    first = log(5, 100)
    ohms = (first, first * rng.uniform(1, 1.3), first * rng.uniform(1.3, 2), 3 * first)
    farad, esr = log(1e-5, 0.2), float(rng.choice([0.0, rng.uniform(0.01, 2)]))
    tau = first * farad
    count, powers = int(rng.integers(1, 4)), bool(rng.random() < 0.5)
    tasks = []
    for _ in range(count):
        length = min(max(tau * log(0.01, 3), 1e-3), 5.0)
        period = max(length * log(3 * count, 300), tau / (2 if powers else 8))
        states: list[State] = []
        for _ in range(int(rng.integers(1, 4))):
            size = rng.uniform(0.2, 1.0)
            part = length * rng.uniform(0.2, 0.5)
            power = powers and rng.random() < 0.7
            states.append((0.0, size * top, part) if power else (size, 0.0, part))
        tasks.append(Task(period, tuple(states)))
    made = Device(depth, volts, ohms, farad, esr, tuple(tasks), rng.uniform(1.0, 2.4))
    # scaled so that at constant currents the sag would end it at some depth
    at = made.circuit(rng.uniform(0.1, 0.95))
    amps = [
        replace(t, states=tuple((a + w / top, 0.0, s) for a, w, s in t.states)) for t in tasks
    ]
    fall = at.volts - lowest(at, amps, 0.0)
    by = max(at.volts - made.cut_off, 0.1) / fall
    scaled = [replace(t, states=tuple((a * by, w * by, s) for a, w, s in t.states)) for t in tasks]
    return replace(made, tasks=tuple(scaled))
