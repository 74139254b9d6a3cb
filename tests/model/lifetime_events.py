"""The days of a device, event by event: what each takes from the pack, and the pulses it makes.

With `tests.model.lifetime_simulator`, which lives whole lives of them, a second opinion on the
whole model, written from its page (`advisor/reference/model.md`) and from the sources below alone;
it shares no code with the package. A device is stored, then has days made of times with
temperatures of their own; its tasks come at their periods or at random, try again, switch rails and
loads on that have to be filled, and sleep in between. Its pack discharges itself, sags, is charged
at visits or by a panel, ages, and is changed.

Sources: charge as the sum of current x time by state, converters and Arrhenius's law, a capacitor
charged from a constant voltage: textbook; power laws of ageing whose state is carried as in
Schmalstieg et al., J. Power Sources 257 (2014) 325 and Naumann et al., J. Energy Storage 17 (2018)
153; a store's days after Moran, Austral. J. Appl. Sci. 5 (1954) 116, a day as the one before with
some chance after Jacobs and Lewis, J. Roy. Statist. Soc. B 40 (1978) 94 (both from memory).

Where the page leaves two readings the one taken is told beside the code, marked "Read as". What the
other would give, where it was tried: days bound by a normal copula in place of repeats, 3 to 6 % of
the lost days less; fillings in the sag at their mean, up to 7 % more life, and where a charge has
to last an interval up to 90 %.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
DAY, YEAR = 86400.0, 365.25 * 86400.0
KELVIN = 273.15


@dataclass(frozen=True)
class Feed:
    """What stands between pack and rail: `none`, `linear` or `switch`; V, A, J and shares."""

    kind: str = "none"
    volts: float = 0.0
    quiescent: float = 0.0
    efficiency: tuple[tuple[float, float], ...] = ()
    light: tuple[float, float, float] | None = None  # below, no load, efficiency
    start_up: float = 0.0
    least: float = 0.0  # of its input, dropout counted

    def draw(self, amps: Array | float, watts: float = 0.0) -> Array:
        """What the pack gives for a current and a power at the rail.

        Returns (…, 3): a, b, c of i = a + b/V + c·V.
        """
        amps = np.asarray(amps, dtype=float)
        if self.kind == "none":
            return np.stack([amps, np.full_like(amps, watts), 0 * amps], axis=-1)
        amps = amps + watts / self.volts
        if self.kind == "linear":
            return np.stack([amps + self.quiescent, 0 * amps, 0 * amps], axis=-1)
        loads, shares = (np.array(column) for column in zip(*self.efficiency, strict=True))
        share = np.interp(np.log(np.maximum(amps, 1e-15)), np.log(loads), shares)
        passed = np.minimum(amps / loads[0], 1.0)  # of the way from no load to the first one
        a = self.quiescent * (1 - passed)
        b = np.where(amps < loads[0], passed * loads[0] / shares[0], amps / share) * self.volts
        if self.light is not None:
            below, none, through = self.light
            # "never more than the table says": at a voltage in the middle of those in use
            other = none + self.volts * amps / (through * self.volts)
            less = (amps < below) & (other <= a + b / self.volts)
            a = np.where(less, none, a)
            b = np.where(less, self.volts * amps / through, b)
        return np.stack([a, b, 0 * amps], axis=-1)


@dataclass(frozen=True)
class Rail:
    """A rail; the first is the chip's."""

    feed: Feed
    gated: bool = False
    farads: float = 0.0
    decay: float | None = None


@dataclass(frozen=True)
class Load:
    """A load of an event: A or W at its rail for so many s."""

    seconds: float
    amps: float = 0.0
    watts: float = 0.0
    asleep: bool = False
    rail: int = 0
    gated: bool = False
    farads: float = 0.0
    decay: float | None = None
    standby: float = 0.0
    fails: float = 0.0
    most: int = 1


@dataclass(frozen=True)
class Task:
    """Work and loads of an event; `every` has a period for each time, none where it is not done."""

    every: tuple[float | None, ...]
    work: tuple[tuple[float, float], ...]  # s, A
    loads: tuple[Load, ...] = ()
    random: bool = False
    fails: float = 0.0
    most: int = 1


@dataclass(frozen=True)
class Law:
    """Loss of capacity: of time (`depth` none) or of cycles; K, s or a number of cycles."""

    loss: tuple[tuple[float, float], ...]  # over state of charge
    after: float
    at: float
    doubles: float
    exponent: float
    rise: float
    depth: float = 1.0
    depth_exponent: float = 1.0

    def rate(self, charge: Array | float, places: Places) -> Array:
        """How fast u = loss^(1/exponent) grows, averaged over (°C, share) places.

        Read as: the loss, not u, doubles with `doubles`, since the key says "doubles the loss".
        """
        levels, losses = zip(*self.loss, strict=True)
        loss = np.interp(charge, levels, losses)
        at, warmer = self.at + KELVIN, self.at + self.doubles + KELVIN
        energy = np.log(2.0) / (1 / at - 1 / warmer)
        rate = np.zeros_like(loss)
        for place, share in places:
            warmth = np.exp(energy * (1 / at - 1 / (place + KELVIN)))
            rate = rate + share * (loss * warmth) ** (1 / self.exponent)
        return np.asarray(rate / self.after)


Places = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Pack:
    """Cells in one: C, V, ohm, over depth of discharge; the price is that of a change."""

    capacity: float
    volts: tuple[tuple[float, float], ...]
    ohms: tuple[tuple[float, float], ...]
    cut_off: float
    cold: tuple[tuple[float, float, float], ...]  # °C, capacity, resistance
    loses: float  # 1/s at 20 °C
    doubles: float
    shelf: float
    discharge_to: float = 1.0
    leak: tuple[tuple[float, float], ...] = ()  # A over V of one of the cells' pack
    efficiency: float = 1.0
    least_charge: float = -300.0  # °C
    calendar: Law | None = None
    cycles: Law | None = None
    end: float = 0.0


@dataclass(frozen=True)
class Sun:
    """J of a day by month into the charger's output, its spread and what binds two days."""

    months: tuple[float, ...]
    spread: float
    persistence: float
    night: float  # s


@dataclass(frozen=True)
class Device:
    """All of it."""

    times: tuple[tuple[float, Places], ...]  # share of the calendar, its temperatures
    phases: tuple[tuple[float, Places, bool], ...]  # s, temperatures, powered
    rails: tuple[Rail, ...]
    tasks: tuple[Task, ...]
    sleep: tuple[tuple[float, float], ...]  # °C, A, logarithmic
    idle: float
    wake: tuple[float, float]  # s, A
    standing: float
    least_supply: float
    pack: Pack
    service: float
    recharge: float | None = None
    sun: Sun | None = None

    def places(self) -> Places:
        """Temperatures of the whole calendar with their shares."""
        return tuple((at, p * q) for p, places in self.times for at, q in places)

    def asleep(self, at: float) -> float:
        """Sleep current at a temperature."""
        degrees, amps = zip(*self.sleep, strict=True)
        return float(np.exp(np.interp(at, degrees, np.log(amps))))


@dataclass(frozen=True)
class State:
    """A state of an event: s, the chip's A with standing loads, what is on beside it."""

    seconds: float
    main: float
    loads: tuple[Load, ...]
    on: frozenset[int]
    asleep: bool


Use = tuple[Array, Array, int, int, int]  # when it is on and off; task, time and state


class Days:
    """The events of a device, day after day: what they and the sleep between them take."""

    def __init__(self, device: Device, rng: np.random.Generator) -> None:
        self.device, self.rng = device, rng
        self.now = 0.0  # days
        self.off: dict[object, float] = {}  # when what is switched off was last on
        self.phase = {
            (j, k): float(rng.uniform())
            for j in range(len(device.tasks))
            for k in range(len(device.times))
        }
        self.filled: dict[tuple[int, int, int], dict[int, float]] = {}  # greatest, A or F/s
        self._peaks: list[Array] | None = None
        self.laid = [
            [self._states(j, k) for k in range(len(device.times))] for j in range(len(device.tasks))
        ]
        self.rest = [[self.between(at) for at, _ in places] for _, places in device.times]

    def between(self, at: float) -> Array:
        """What sleep takes at a temperature, standing loads and rails in it."""
        return self._pack(self.device.asleep(at) + self.device.standing, (), frozenset())

    def _standby(self, rail: int, but: tuple[Load, ...]) -> float:
        return sum(
            load.standby
            for task in self.device.tasks
            for load in task.loads
            if load.rail == rail
            and all(load is not other for other in but)
            and not load.gated
            and not self.device.rails[rail].gated
        )

    def _pack(
        self,
        main: float,
        loads: tuple[Load, ...],
        on: frozenset[int],
        filling: dict[int, Array] | None = None,
    ) -> Array:
        """What the pack gives while the chip takes `main`, loads are on and rails are filled, A."""
        total: Array = np.zeros(3)
        for r, rail in enumerate(self.device.rails):
            if rail.gated and r not in on:
                continue
            mine = [load for load in loads if load.rail == r]
            amps = self._standby(r, loads) + (main if r == 0 else 0.0)
            amps += sum(load.amps for load in mine)
            more = (filling or {}).get(r, np.zeros(()))
            if rail.feed.kind == "none":
                watts = sum(load.watts for load in mine)
                total = total + rail.feed.draw(amps, watts) + more[..., None] * [0.0, 0.0, 1.0]
            else:
                total = total + rail.feed.draw(amps + more, sum(load.watts for load in mine))
        return total

    def _states(self, j: int, k: int) -> list[State]:
        """States of a try of a task at a time: s, chip's current, load, gated rails that are on."""
        device, task = self.device, self.device.tasks[j]
        sleep = sum(device.asleep(at) * share for at, share in device.times[k][1])
        states: list[tuple[float, float, Load | None]] = [(device.wake[0], device.wake[1], None)]
        states += [(seconds, amps, None) for seconds, amps in task.work]
        asleep = False
        for load in task.loads:
            if asleep and not load.asleep:
                states.append((device.wake[0], device.wake[1], None))
            asleep = load.asleep
            states.append((load.seconds, sleep if asleep else device.idle, load))
        laid = []
        for n, (seconds, amps, used) in enumerate(states):
            on = {
                r
                for r in range(len(device.rails))
                if any(s[2] is not None and s[2].rail == r for s in states[: n + 1])
                and any(s[2] is not None and s[2].rail == r for s in states[n:])
            }
            its = () if used is None else (used,)
            dozes = used is not None and used.asleep
            laid.append(State(seconds, amps + device.standing, its, frozenset(on), dozes))
        return laid

    def pass_by(self, days: float) -> Array:
        """Live through so many days; returns ΣA, ΣB, ΣC of what events and sleep take."""
        device, total = self.device, np.zeros(3)
        begin, self.now = self.now, self.now + days
        switched: dict[object, list[Use]] = {}
        before = 0.0
        for k, (share, places) in enumerate(device.times):
            span, busy = share * DAY, 0.0
            for j, task in enumerate(device.tasks):
                if task.every[k] is None:
                    continue
                busy += self._task(j, k, (begin, self.now), (before, span), switched, total)
            slept = days * span - busy
            for (_, part), amps in zip(places, self.rest[k], strict=True):
                total += part * slept * amps
            before += span
        for gate, uses in switched.items():
            self._fill(gate, uses, total)
        return total

    def _task(
        self,
        j: int,
        k: int,
        days: tuple[float, float],
        place: tuple[float, float],
        switched: dict[object, list[Use]],
        total: Array,
    ) -> float:
        """Events of a task at a time of these days; adds to the total, returns the time taken."""
        task, (before, span), rng = self.device.tasks[j], place, self.rng
        period, first, last = task.every[k] or 0.0, days[0] * span, days[1] * span
        at: Array
        if task.random:
            # a time's own clock: it stands still during the others
            at = np.sort(rng.uniform(first, last, rng.poisson((last - first) / period)))
        else:
            phase = self.phase[j, k] * period
            ticks = np.ceil(np.array([first - phase, last - phase]) / period)
            at = phase + period * np.arange(ticks[0], ticks[1], dtype=np.float64)
        begins = (at // span) * DAY + before + at % span
        tries = self._tries(task.fails, task.most, len(begins))
        event = np.repeat(np.arange(len(begins)), tries)
        laid = self.laid[j][k]
        lengths: list[Array] = []
        for state in laid:
            fails, most = (state.loads[0].fails, state.loads[0].most) if state.loads else (0.0, 1)
            tried = self._tries(fails, most, len(event)).astype(np.float64)
            lengths.append(state.seconds * tried)
        whole = np.sum(np.array(lengths), axis=0)
        ends = np.cumsum(whole)
        heads = np.concatenate([[0], np.cumsum(tries)[:-1]]).astype(int)
        start = begins[event] + ends - whole - (ends - whole)[heads][event] if len(event) else ends
        opened: set[object] = set()
        when = start.copy()
        for n, state in enumerate(laid):
            total += self._pack(state.main, state.loads, state.on) * lengths[n].sum()
            gates: list[object] = [r for r in state.on if self.device.rails[r].gated]
            for gate in [*gates, *(load for load in state.loads if load.gated)]:
                if gate not in opened:
                    opened.add(gate)
                    until = when + lengths[n]
                    for later in range(n + 1, len(laid)):
                        if not isinstance(gate, Load) and gate in laid[later].on:
                            until = until + lengths[later]
                    switched.setdefault(gate, []).append((when.copy(), until, j, k, n))
            when = when + lengths[n]
        return float(whole.sum())

    def _tries(self, fails: float, most: int, count: int) -> NDArray[np.int64]:
        if fails == 0:
            return np.ones(count, dtype=np.int64)
        return np.minimum(self.rng.geometric(1 - fails, count), most)

    def _fill(self, gate: object, uses: list[Use], total: Array) -> None:
        """Fillings and starts of what was switched on, each after its own rest."""
        device = self.device
        load = gate if isinstance(gate, Load) else None
        r = load.rail if load is not None else int(gate)  # type: ignore[call-overload]
        rail = device.rails[r]
        farads, decay = (load.farads, load.decay) if load else (rail.farads, rail.decay)
        on, off = (np.concatenate([use[n] for use in uses]) for n in (0, 1))
        which = np.repeat(np.arange(len(uses)), [len(use[0]) for use in uses])
        order = np.argsort(on, kind="stable")
        on, off, which = on[order], off[order], which[order]
        rests = on - np.concatenate([[self.off.get(gate, -np.inf)], off[:-1]])
        if len(off):
            self.off[gate] = float(off[-1])
        part = np.ones(len(on)) if decay is None else -np.expm1(-np.maximum(rests, 0) / decay)
        if load is None:
            total += np.array([0.0, rail.feed.start_up, 0.0]) * len(on)
        if rail.feed.kind == "none":
            total += np.array([0.0, 0.0, farads * part.sum()])
        for u, (_, _, j, k, n) in enumerate(uses):
            state, mine = self.laid[j][k][n], part[which == u]
            # read as: spread over the first try of the state that switches it on
            filling = farads * mine / state.seconds
            if rail.feed.kind != "none":
                filling = filling * rail.feed.volts
                more = self._pack(state.main, state.loads, state.on, {r: filling})
                more = more - self._pack(state.main, state.loads, state.on)
                total += more.sum(axis=0) * state.seconds
            most = self.filled.setdefault((j, k, n), {})
            # the very first, of a fresh pack, is no pulse that ends a life
            again = float(filling[np.isfinite(rests[which == u])].max(initial=0.0))
            if again > most.get(r, 0.0):
                most[r], self._peaks = again, None

    def peaks(self) -> list[Array]:
        """a, b, c and the resistance's factor of each state, with the greatest filling seen in it.

        And of states that meet.

        A load that is on while the core sleeps meets any state of another task where one of the
        two comes at random.
        """
        if self._peaks is None:
            found, tasks = [], self.device.tasks
            for j, k, n in np.ndindex(len(tasks), len(self.device.times), 9):
                if tasks[j].every[k] is None or n >= len(self.laid[j][k]):
                    continue
                state = self.laid[j][k][n]
                found.append(self._meet((j, k, n), None))
                if not state.asleep:
                    continue
                for other, task in enumerate(tasks):
                    if other == j or task.every[k] is None or not (task.random or tasks[j].random):
                        continue
                    for m in range(len(self.laid[other][k])):
                        found.append(self._meet((j, k, n), (other, k, m)))
            self._peaks = found
        return self._peaks

    def _meet(self, one: tuple[int, int, int], two: tuple[int, int, int] | None) -> Array:
        filling: dict[int, Array] = {}
        states, starts = [], 0.0
        for place in (one, two):
            if place is not None:
                states.append(self.laid[place[0]][place[1]][place[2]])
                for r, amps in self.filled.get(place, {}).items():
                    filling[r] = filling.get(r, np.zeros(())) + amps
                    # read as: a start is spread over the same state as the filling
                    start = self.device.rails[r].feed.start_up / states[-1].seconds
                    starts += start if self.device.rails[r].gated else 0.0
        loads = tuple(load for state in states for load in state.loads)
        on = frozenset(r for state in states for r in state.on)
        amps = self._pack(states[-1].main, loads, on, filling) + np.array([0.0, starts, 0.0])
        degrees, _, factors = zip(*self.device.pack.cold, strict=True)
        # read as: a pulse finds the coldest place of the times at which it comes
        coldest = max(np.interp(at, degrees, factors) for at, _ in self.device.times[one[1]][1])
        return np.append(amps, coldest)
