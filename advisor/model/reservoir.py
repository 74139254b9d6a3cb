"""The lowest voltage of a pack with a reservoir across it, under events that repeat for ever.

A source V behind R, a capacitor C of series resistance r and a load share one node, the terminals:

    (V - v)/R = A + P/v + (v - v_c)/r,    C dv_c/dt = (v - v_c)/r.

Within a state A and P are constant and the equation separates. With p > m the roots of
v^2 - (V - R A) v + R P, where the terminals may rest, k = r/(R + r) and tau = (R + r) C,

    dt/tau = -(v - k p m/v)/((v - p)(v - m)) dv,

whose integral is in closed form: nothing is stepped in time. A state that begins above m relaxes
to p. Where it begins below m, or there is no p, the terminals run down and collapse at
v = sqrt(k p m), where the load draws more with every further fall than source and capacitor give.

What repeats has a periodic steady state. Each task's earlier events leave a fall that decays while
the pack rests, a geometric series over its period; one equation in one unknown, the voltage at
which the coming events start, closes it. It is exact for one task, and for several under constant
currents, where the falls of all tasks add up.

Several tasks do not keep step, so sooner or later every phase comes. The worst counts: the events
of all tasks one right behind the other, since the core does one thing at a time, with each task in
turn the last, and before it the others in rising order of B/(1 - exp(-L/tau)), B the fall that a
task leaves and L its length: exchanging two neighbours shows that no other order leaves more
(Smith's rule for weighted completion times, Naval Research Logistics Quarterly 3 (1956) 59-66).
Earlier events are taken to have come at their periods, and under constant powers to have drawn
what the worst ones draw, which is never less.

A case is one voltage, resistance and load; arrays of cases are (m,), states come first: (S, m).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from advisor.model.drain import Array
from advisor.model.supply import loaded_voltage

LEAST_OHM = 1e-9  # a source without resistance holds its voltage to a nanovolt an ampere
TRIFLE = 1e-5  # V, of a start that is not looked at again
SETTLED = 1e-8  # V, by which the start of the events may still move
CLOSE = 3e-5  # V, of the last Newton step within a state: the error left is of its square
MOST = 60  # steps of either search
FORGOTTEN = 7.0  # time constants after which it no longer matters who waited
GONE = 16.0  # time constants after which nothing is left
EARLIER = 12  # events of each task that are seen to wait


@dataclass(frozen=True, slots=True)
class Circuit:
    """A pack at some depth, with its reservoir: volts V, ohms, esr ohm, farad F, each (m,)."""

    volts: Array
    ohms: Array
    esr: Array
    farad: Array

    @classmethod
    def of(cls, volts: Array, ohms: Array, farad: Array, esr: Array) -> Circuit:
        """Arrays that broadcast; a source without resistance gets next to none."""
        return cls(volts, np.maximum(ohms, LEAST_OHM), esr, farad)

    @property
    def tau(self) -> Array:
        """Time constant at constant currents, s."""
        return np.asarray((self.ohms + self.esr) * self.farad)

    @property
    def kappa(self) -> Array:
        """Share of the series resistance in both."""
        return np.asarray(self.esr / (self.ohms + self.esr))

    def tiled(self, times: int) -> Circuit:
        """The cases several times over."""
        return Circuit(*(np.tile(x, times) for x in (self.volts, self.ohms, self.esr, self.farad)))

    def taken(self, index: NDArray[np.intp]) -> Circuit:
        """Some of the cases."""
        return Circuit(self.volts[index], self.ohms[index], self.esr[index], self.farad[index])


@dataclass(frozen=True, slots=True)
class Train:
    """What the cases carry.

    amps, watts, seconds : (S, m) per state, the last one the rest between events. tasks : the
    states of each task's event. periods : (K, m) s. powered : per state, whether any case draws a
    constant power in it.
    """

    amps: Array
    watts: Array
    seconds: Array
    tasks: tuple[slice, ...]
    periods: Array
    powered: Sequence[bool]


def lowest(circuit: Circuit, train: Train, enough: Array | None = None) -> Array:
    """Lowest voltage at the terminals in the periodic steady state, worst phase, (m,) V.

    NaN where the voltage collapses. A case that is found below `enough` (m,) is not followed
    further down: what is returned is then some voltage below that and not below the lowest.
    """
    floor = np.full(len(circuit.volts), -np.inf) if enough is None else enough
    with np.errstate(invalid="ignore", divide="ignore", over="ignore", under="ignore"):
        settled = loaded_voltage(circuit.volts, circuit.ohms, train.amps, train.watts)
        rest = settled[-1]
        if not train.tasks or not rest.size:
            return rest
        low = rest
        walks = _Walks(circuit, train)
        # all that a state does is to draw the capacitor toward where that state would rest
        least = settled.min(axis=0)[walks.case]
        # where there is more to do than time there is no steady state: one round tells enough
        floor = np.where(walks.busy < 1, floor, np.inf)
        found, deeper = walks.plain(rest)
        more = walks.remembering & (found >= floor[walks.case])
        kept = np.nonzero(more)[0]
        if kept.size:
            run = walks.once(kept)
            found[kept], deeper[kept] = run.periodic(least[kept], floor[walks.case[kept]])
        alive = (found.reshape(-1, len(rest)) >= floor).all(axis=0)
        again = walks.repeating(alive, deeper)
        if again.size:
            twice, _ = walks.twice(again).periodic(least[again], floor[walks.case[again]])
            found[again] = np.minimum(found[again], twice)
        for walk in found.reshape(-1, len(rest)):
            low = np.minimum(low, walk)  # NaN, where it collapses, wins
    return low


def holds(circuit: Circuit, train: Train, least: Array) -> NDArray[np.bool_]:
    """Where the voltage surely stays at or above `least` (m,), by a bound without searching, (m,).

    As long as it does, a constant power draws no more than P/least. With that as a constant
    current the falls add up; those that other tasks leave are taken undecayed.
    """
    with np.errstate(invalid="ignore", divide="ignore", over="ignore", under="ignore"):
        amps = train.amps + np.where(train.watts > 0, train.watts / least, 0.0)
        settled = circuit.volts - circuit.ohms * amps
        fall = settled[-1] - settled
        decay = np.exp(-train.seconds / circuit.tau)
        left, own = [], []
        for here, period in zip(train.tasks, train.periods, strict=True):
            end = np.zeros_like(least)
            for s in range(here.start, here.stop):
                end = fall[s] + (end - fall[s]) * decay[s]
            length = train.seconds[here].sum(axis=0)
            series = np.maximum(end, 0.0) / -np.expm1(-period / circuit.tau)
            left.append(series)
            own.append(series * np.exp(np.minimum(length - period, 0.0) / circuit.tau))
        total = sum(left, np.zeros_like(least))
        low = settled[-1].copy()
        kappa = circuit.kappa
        for here, mine, again in zip(train.tasks, left, own, strict=True):
            held = total - mine + again
            for s in range(here.start, here.stop):
                # the terminals stand between the capacitor and where they would rest
                start = kappa * fall[s] + (1 - kappa) * held
                held = fall[s] + (held - fall[s]) * decay[s]
                end = kappa * fall[s] + (1 - kappa) * held
                low = np.minimum(low, settled[-1] - np.maximum(start, end))
        return np.asarray(low >= least)


def _meetings(periods: Array) -> Array:
    """Time after which each task's event may again be right behind another task's, (K, m) s."""
    if len(periods) == 1:
        return periods
    least, second = np.sort(periods, axis=0)[:2]
    return np.maximum(periods, np.where(periods == least, second, least))


class _Walks:
    """The events of all tasks one behind the other, in the orders that may be worst.

    Up to three tasks that is every order; beyond, for each task as the last, the others in rising
    order of their weights. E cases are orders times m.

    Attributes
    ----------
    case : (E,) the case of the circuit and the train. states, owner : (P, E) the states in order,
    and the task of each. last : (E,) the last task.
    """

    def __init__(self, circuit: Circuit, train: Train) -> None:
        self.circuit, self.train = circuit, train
        tasks, m = train.tasks, train.amps.shape[1]
        count = len(tasks)
        whose = np.concatenate([np.full(t.stop - t.start, k) for k, t in enumerate(tasks)])
        if count <= 3:
            orders = list(permutations(range(count)))
            walks = np.array([np.concatenate([np.r_[tasks[k]] for k in o]) for o in orders]).T
            states = np.repeat(walks, m, axis=1)
        else:
            weight = _weights(circuit, train)
            turns = []
            for k in range(count):
                key = weight.copy()
                key[k] = np.inf
                # a stable sort of the states by their task's rank keeps their order within it
                rank = key.argsort(axis=0, kind="stable").argsort(axis=0)
                turns.append(rank[whose].argsort(axis=0, kind="stable"))
            walks = states = np.concatenate(turns, axis=1)
        self.walks = walks if count <= 3 else None
        self.states, self.owner = states, whose[states]
        self.case = np.tile(np.arange(m), states.shape[1] // m)
        self.last = self.owner[-1]
        same = count <= 3
        self.powered = [
            any(train.powered[s] for s in row) if same else any(train.powered[:-1])
            for row in walks
        ]
        self.periods = train.periods[:, self.case]
        self.lengths = np.array([train.seconds[t].sum(axis=0) for t in tasks])[:, self.case]
        self.total = self.lengths.sum(axis=0)
        length = self.lengths[:, :m]
        self.busy = (length / train.periods).sum(axis=0)
        # whether any task is due again before its fall is forgotten
        tau = circuit.tau[self.case]
        pause = (self.periods.min(axis=0) - self.total) / tau
        self.lively = bool((pause < FORGOTTEN).any())
        # only the last event need be right, the others are last in another order; by then what
        # came before may be forgotten, under constant powers somewhat later
        last = self.lengths[self.last, np.arange(len(self.case))]
        since = np.maximum(pause, 0.0) + np.maximum(self.total - last, 0.0) / tau / 4
        self.remembering = since < GONE

    def plain(self, rest: Array) -> tuple[Array, NDArray[np.bool_]]:
        """Every event once from rest, as where nothing is left of earlier ones.

        Returns
        -------
        Lowest voltage (E,), and whether the last event ends below where it started.
        """
        train, m = self.train, len(rest)
        orders = len(self.case) // m
        if self.walks is None:
            loads = [x[self.states, self.case] for x in (train.amps, train.watts, train.seconds)]
        else:
            loads = [
                x[self.walks].reshape(len(self.walks), -1)
                for x in (train.amps, train.watts, train.seconds)
            ]
        circuit = self.circuit if orders == 1 else self.circuit.tiled(orders)
        stepper = _Stepper(circuit)
        held = found = np.tile(rest, orders)
        low = np.full(held.shape, np.inf)
        opens = np.diff(self.owner, axis=0, prepend=-1) != 0
        for p, powered in enumerate(self.powered):
            if opens[p].any():
                found = np.where(opens[p], held, found)
            amps, watts, seconds = (x[p] for x in loads)
            first, last, held = stepper.step(held, amps, watts if powered else None, seconds)
            low = np.minimum(low, np.minimum(first, last))
        return low, held < found

    def once(self, at: NDArray[np.intp]) -> _Run:
        """Every event once, in some of the cases."""
        return self._run(at, self._waits()[:, at])

    def _run(self, at: NDArray[np.intp], late: Array) -> _Run:
        train, case = self.train, self.case[at]
        states, owner = self.states[:, at], self.owner[:, at]
        return _Run(
            self.circuit.taken(case),
            train.amps[states, case],
            train.watts[states, case],
            train.seconds[states, case],
            train.periods[owner, case],
            _meetings(train.periods)[owner, case],
            late[owner, np.arange(len(at))],
            np.diff(owner, axis=0, prepend=-1) != 0,
            self.powered,
            loaded_voltage(
                self.circuit.volts, self.circuit.ohms, train.amps[-1], train.watts[-1]
            )[case],
            (train.amps[-1, case], train.watts[-1, case]) if train.powered[-1] else None,
        )

    def repeating(
        self, alive: NDArray[np.bool_], deeper: NDArray[np.bool_]
    ) -> NDArray[np.intp]:
        """Cases whose last task, kept waiting, is soon due again and might then sink lower.

        Parameters
        ----------
        alive : (m,) cases worth a look. deeper : (E,) where the last event ends below its start;
        elsewhere a second one does not sink as low as the first, if nothing comes between.
        """
        if len(self.train.tasks) == 1 or not self.lively:
            return np.zeros(0, dtype=np.intp)
        period = self.periods[self.last, np.arange(len(self.case))]
        pause = (period - self.total) / self.circuit.tau[self.case]
        deeper = deeper | (len(self.train.tasks) > 2)
        return np.nonzero((pause < FORGOTTEN) & alive[self.case] & deeper)[0]

    def twice(self, at: NDArray[np.intp]) -> _Run:
        """Every event once, then those due again meanwhile, the last task's among them or after.

        The last task was due with the first event; so it is due again a period from there.
        """
        train, case, last = self.train, self.case[at], self.last[at]
        here = np.arange(len(at))
        periods, total = self.periods[:, at], self.total[at]
        period = periods[last, here]
        late = np.ones_like(periods)
        waited = np.where(period > total, total - self.lengths[last, at], 0.0)
        late[last, here] = np.exp(-waited / self.circuit.tau[case])
        first = self._run(at, late)
        owner = self.owner[:, at]
        due = (periods < total)[owner, here] | (owner == last)
        rest_a, rest_w = train.amps[-1, case], train.watts[-1, case]
        pause = np.maximum(period - total, 0.0)

        def joined(values: Array, between: Array, instead: Array | float) -> Array:
            return np.concatenate([values, between[None], np.where(due, values, instead)])

        never = np.full_like(first.periods, np.inf)
        none = np.zeros((1, len(at)), dtype=bool)
        return replace(
            first,
            amps=joined(first.amps, rest_a, rest_a),
            watts=joined(first.watts, rest_w, rest_w),
            seconds=joined(first.seconds, pause, 0.0),
            # what comes again leaves nothing from before
            periods=np.concatenate([first.periods, never[:1], never]),
            meetings=np.concatenate([first.meetings, never[:1], never]),
            late=np.concatenate([first.late, first.late[:1], first.late]),
            opens=np.concatenate([first.opens, ~none, first.opens]),
            powered=[*self.powered, train.powered[-1], *(p or train.powered[-1] for p in self.powered)],
        )

    def _waits(self) -> Array:
        """By how much more the earlier events of each task leave for having had to wait, (K, E).

        First come first served; an event is left out while its task's last one still waits.
        """
        ones = np.ones_like(self.periods)
        if len(ones) == 1 or not self.lively:
            return ones
        tau = self.circuit.tau[self.case]
        ends = np.zeros_like(ones)
        gone = np.cumsum(self.train.seconds[self.states, self.case], axis=0)
        for k in range(len(ends)):
            ends[k] = np.where(self.owner == k, gone, 0.0).max(axis=0)
        before = np.maximum(self.periods - ends, 0.0)
        index = np.nonzero((before / tau).min(axis=0) < FORGOTTEN)[0]
        if not index.size:
            return ones
        tau, before = tau[index], before[:, index]
        periods, lengths = self.periods[:, index], self.lengths[:, index]
        count = np.arange(EARLIER)[None, :, None]
        due = -(before + lengths)[:, None] - count * periods[:, None]
        due = due.reshape(-1, len(index))
        here = np.arange(len(index))
        free = np.full(len(index), -np.inf)
        started = np.full(periods.shape, -np.inf)
        left = np.zeros_like(periods)
        for row in due.argsort(axis=0):
            task, at = row // EARLIER, due[row, here]
            taken = at >= started[task, here]
            start = np.maximum(at, free)
            free = np.where(taken, start + lengths[task, here], free)
            started[task, here] = np.where(taken, start, started[task, here])
            left[task, here] += np.where(taken, np.exp(np.minimum(free, 0.0) / tau), 0.0)
        # the series of events that never wait, and its share beyond those looked at
        plain = np.exp(-before / tau) / -np.expm1(-periods / tau)
        beyond = plain * np.exp(-EARLIER * periods / tau)
        ones[:, index] = np.where(plain > 0, (left + beyond) / plain, 1.0)
        return ones


def _weights(circuit: Circuit, train: Train) -> Array:
    """B/(1 - exp(-L/tau)) of each task, (K, m), by its currents at the open voltage."""
    amps = train.amps + train.watts / circuit.volts
    tau = circuit.tau
    decay = np.exp(-train.seconds / tau)
    out = []
    for here, period in zip(train.tasks, train.periods, strict=True):
        end = np.zeros_like(tau)
        for s in range(here.start, here.stop):
            excess = amps[s] - amps[-1]
            end = excess + (end - excess) * decay[s]
        length = train.seconds[here].sum(axis=0)
        share = np.expm1(-period / tau) * np.expm1(-length / tau)
        out.append(np.where(share > 0, end / share, 0.0))
    return np.array(out)


@dataclass(frozen=True, slots=True)
class _Run:
    """Events one behind the other: (P, E) states of E cases, and how each repeats.

    periods, meetings : (P, E) s, of the task that a state belongs to. late : (P, E) factor of what earlier events leave. opens : (P, E) whether a
    state is the first of its event. rest : (E,) V at which the capacitor rests. sleep : (A, W) of the rest, each (E,), where that draws a constant power.
    """

    circuit: Circuit
    amps: Array
    watts: Array
    seconds: Array
    periods: Array
    meetings: Array
    late: Array
    opens: NDArray[np.bool_]
    powered: list[bool]
    rest: Array
    sleep: tuple[Array, Array] | None

    def periodic(self, least: Array, floor: Array) -> tuple[Array, NDArray[np.bool_]]:
        """Lowest voltage in the periodic steady state, (E,), NaN where it collapses.

        With it whether the last event leaves the capacitor below where that event found it.

        The start x of the events is where x = F(x), F(x) the voltage that events started at x
        leave. F rises with x and is concave, so secants from the rest voltage come down to the
        highest such x and never pass it; where they turn up there is none. `least` bounds x; a
        case found below `floor` is left there.
        """
        start = self.rest
        low, after, deeper = self._passed(start, least)
        low = np.where(np.isnan(after), np.nan, low)
        off = start - after
        moving = np.nonzero((np.abs(off) > TRIFLE) & (low >= floor))[0]
        # a start that moves by microvolts lowers what follows by no more
        low = low - np.clip(off, 0.0, TRIFLE)
        if not moving.size:
            return low, deeper
        run, least, x0, x1 = self.taken(moving), least[moving], start[moving], after[moving]
        apart = any(self.powered) and bool((self.opens.sum(axis=0) > 1).any())
        if apart:
            _, x1, _ = run._passed(x0, least, apart)
        g0 = x0 - x1
        for _ in range(MOST):
            here, after, deeper[moving] = run._passed(x1, least, apart)
            g1 = x1 - after
            slope = (g0 - g1) / (x0 - x1)
            open_ones = g1 > SETTLED
            low[moving] = np.where(np.isnan(after) | (open_ones & (slope <= 0)), np.nan, here)
            open_ones &= (slope > 0) & (here >= floor[moving])
            going = np.nonzero(open_ones & (g1 / slope > SETTLED))[0]
            if not going.size:
                return low, deeper
            x0, g0 = x1[going], g1[going]
            down = x0 - g0 / slope[going]
            x1 = np.where(down < least[going], least[going], down)
            moving, least, run = moving[going], least[going], run.taken(going)
        low[moving] = np.nan
        return low, deeper

    def taken(self, index: NDArray[np.intp]) -> _Run:
        """Some of the cases."""
        return _Run(
            self.circuit.taken(index),
            self.amps[:, index],
            self.watts[:, index],
            self.seconds[:, index],
            self.periods[:, index],
            self.meetings[:, index],
            self.late[:, index],
            self.opens[:, index],
            self.powered,
            self.rest[index],
            None if self.sleep is None else (self.sleep[0][index], self.sleep[1][index]),
        )

    def _passed(
        self, start: Array, least: Array, apart: bool = False
    ) -> tuple[Array, Array, NDArray[np.bool_]]:
        """A pass through the events from `start`.

        apart : whether earlier events are taken to have come one by one, each from `start`, and
        one behind the other no oftener than their tasks can meet. It makes no difference to
        constant currents.

        Returns
        -------
        Lowest terminal voltage, voltage at which the next such events start, and whether the last
        event ends below where it started.
        """
        rate = self._recovery(start)
        gone, fall = np.zeros_like(start), np.zeros_like(start)
        held = alone = found = start
        low = np.full(start.shape, np.inf)
        stepper = _Stepper(self.circuit)

        def pulled(before: Array, after: Array) -> Array:
            # what a state pulled down, less what rest would have recovered meanwhile
            return self.rest + (before - self.rest) * recovered - after

        def series(period: Array) -> Array:
            ago = np.exp(rate * np.minimum(gone - period, 0.0))
            return np.asarray(ago / -np.expm1(-rate * period))

        for p, powered in enumerate(self.powered):
            found = np.where(self.opens[p], held, found)
            load = self.amps[p], self.watts[p] if powered else None, self.seconds[p]
            first, last, after = stepper.step(held, *load)
            low = np.minimum(low, np.minimum(first, last))
            recovered = np.exp(-rate * self.seconds[p])
            gone = gone + self.seconds[p]
            down = pulled(held, after)
            if apart:
                alone = np.where(self.opens[p], start, alone)
                _, _, then = stepper.step(alone, *load)
                once = pulled(alone, then)
                fall = fall + (down - once) * series(self.meetings[p])
                alone, down = then, once
            fall = fall + down * series(self.periods[p]) * self.late[p]
            held = after
        after = self.rest - fall
        return low, np.where(after < least, least, after), held < found

    def _recovery(self, start: Array) -> Array:
        """Rate at which the capacitor recovers at rest, 1/s: 1/tau, or less under a power.

        Under a constant power the rate is that at `start`, the lowest one on the way back.
        """
        circuit = self.circuit
        if self.sleep is None:
            return np.asarray(1 / circuit.tau)
        amps, watts = self.sleep
        kappa = circuit.kappa
        product = circuit.ohms * watts
        v = loaded_voltage(
            kappa * circuit.volts + (1 - kappa) * start, circuit.ohms * kappa, amps, watts
        )
        upper = loaded_voltage(circuit.volts, circuit.ohms, amps, watts)
        rate = (v - product / upper) / (v - kappa * product / v)
        # below the lower root it never recovers
        return np.asarray(np.where(rate > 0, rate, np.nan) / circuit.tau)


class _Stepper:
    """Takes the capacitor through a state of constant current and constant power."""

    def __init__(self, circuit: Circuit) -> None:
        self.volts, self.ohms = circuit.volts, circuit.ohms
        self.tau, self.kappa = circuit.tau, circuit.kappa
        self.source = self.ohms * self.kappa
        self.near, self.far = self.kappa * self.volts, 1 - self.kappa

    def step(
        self, held: Array, amps: Array, watts: Array | None, seconds: Array
    ) -> tuple[Array, Array, Array]:
        """(first and last voltage at the terminals, the capacitor's after `seconds`)."""
        span = seconds / self.tau
        upper = self.volts - self.ohms * amps
        open_v = self.near + self.far * held
        if watts is None:
            after = upper + (held - upper) * np.exp(-span)
            drop = self.source * amps
            return open_v - drop, self.near + self.far * after - drop, after
        product = self.ohms * watts
        u = open_v - self.source * amps
        first = (u + np.sqrt(u * u - 4 * self.kappa * product)) / 2
        p = (upper + np.sqrt(upper * upper - 4 * product)) / 2
        m = product / p
        fit = (first > m) & (upper > 0)
        if fit.all():
            last = self._relaxed(first, p, m, self.kappa, span)
            return first, last, self._held(last, amps, watts)
        last, after = self._odd(held, amps, watts, span, first)
        good = np.nonzero(fit)[0]
        kappa = self.kappa[good]
        last[good] = self._relaxed(first[good], p[good], m[good], kappa, span[good])
        after[good] = self._held(last, amps, watts)[good]
        return first, last, after

    def _held(self, terminals: Array, amps: Array, watts: Array) -> Array:
        """The capacitor's voltage that goes with one at the terminals."""
        return np.asarray(
            (terminals + self.source * (amps + watts / terminals) - self.near) / self.far
        )

    @staticmethod
    def _relaxed(first: Array, p: Array, m: Array, kappa: Array, span: Array) -> Array:
        """Voltage at the terminals after `span` time constants, on its way from `first` to p.

        In z = ln((v - p)/(v0 - p)) time is nearly straight, and bent one way, so Newton's steps
        do not wander. They start from the logistic curve whose rates at both ends are right.
        """
        if not first.size:
            return first
        apart, way, above = p - m, first - p, first - m
        both = kappa * m
        alpha, beta = (p - both) / apart, (m - kappa * p) / apart
        both *= p
        ratio = above / (first - both / first) * alpha
        z = span / alpha
        z = np.minimum(-z - np.log1p((1 - ratio) * np.expm1(-z)), 0.0)
        x = way * np.exp(z)
        for _ in range(MOST):
            v = p + x
            over = v - m
            time = beta * np.log(over / above) + kappa * np.log(v / first) - alpha * z
            z = np.minimum(z + (time - span) * over / (v - both / v), 0.0)
            before, x = x, way * np.exp(z)
            if np.abs(x - before).max() < CLOSE:
                break
        return np.asarray(p + x)

    def _odd(
        self, held: Array, amps: Array, watts: Array, span: Array, first: Array
    ) -> tuple[Array, Array]:
        """(last voltage, capacitor's) where there is no place to come to rest in."""
        rest = self.volts - self.ohms * amps
        after = rest + (held - rest) * np.exp(-span)
        last = self.near + self.far * after - self.source * amps
        fallen = _run_down(rest, self.ohms * watts, self.kappa, first, span)
        return (
            np.where(watts > 0, fallen, last),
            np.where(watts > 0, self._held(fallen, amps, watts), after),
        )


def _run_down(upper: Array, product: Array, kappa: Array, first: Array, span: Array) -> Array:
    """Voltage after `span` time constants of running down from `first`; NaN once collapsed.

    upper : V - R A, product : R P, with no root of v^2 - upper v + product between 0 and `first`
    that holds it up.
    """
    out = np.full(first.shape, np.nan)
    floor = np.maximum(np.sqrt(kappa * product), 1e-12)

    def elapsed(v: Array, i: NDArray[np.intp]) -> Array:
        k, u, f = kappa[i], upper[i], first[i]
        square = u * u / 4 - product[i]
        s = np.maximum(np.sqrt(np.abs(square)), 1e-9 * np.sqrt(product[i]))
        # the integral of dv/(v^2 - u v + product), by its discriminant
        low, high = v - u / 2, f - u / 2
        turned = (np.arctan2(high, s) - np.arctan2(low, s)) / s
        # both places of rest lie above, or both below zero
        real = (np.log1p(-2 * s / (high + s)) - np.log1p(-2 * s / (low + s))) / (2 * s)
        inverse = np.where(square < 0, turned, real)
        q0, q1 = f * f - u * f + product[i], v * v - u * v + product[i]
        return np.asarray((1 + k) / 2 * np.log(q0 / q1) + (1 - k) * u / 2 * inverse
                          - k * np.log(f / v))

    # from above the lower root it does not run down
    lower = product / (upper + np.sqrt(upper * upper - 4 * product)) * 2
    alive = np.nonzero((first > floor) & ~((upper > 0) & (first > lower)))[0]
    alive = alive[elapsed(floor[alive], alive) > span[alive]]
    low, high, v = floor[alive], first[alive], first[alive]
    for n in range(MOST):
        if not alive.size:
            break
        late = elapsed(v, alive) - span[alive]
        low, high = np.where(late > 0, v, low), np.where(late > 0, high, v)
        inside = kappa[alive] * product[alive] / v
        rate = (v * v - upper[alive] * v + product[alive]) / (v - inside)
        guess = v + late * rate
        good = (guess > low) & (guess < high) & (n % 4 != 3)
        before, v = v, np.where(good, guess, (low + high) / 2)
        if np.abs(v - before).max() < 1e-9:
            break
    out[alive] = v
    return out
