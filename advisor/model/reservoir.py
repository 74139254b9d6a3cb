"""The lowest voltage of a pack with a reservoir across it, under events that repeat for ever.

What repeats has a periodic steady state, exact for one task (`steady_state`, over the states of
`relaxation`), and for several under constant currents, where the falls of all tasks add up.

Several tasks do not keep step, so sooner or later every phase comes. The worst counts: the events
of all tasks one right behind the other, since the core does one thing at a time, in whichever
order. With more than three tasks each is in turn the last, and before it the others in rising
order of B/(1 - exp(-L/tau)), B the fall that a task leaves and L its length: exchanging two
neighbours shows that no other order leaves more (Smith's rule for weighted completion times, Naval
Research Logistics Quarterly 3 (1956) 59-66).

Events are due a period apart. One that finds the core busy waits, first come first served; while
it waits the next of its task is left out, and one that has waited may be due again at once. Under
constant powers earlier events are taken to have started where the coming ones do, and to have
drawn what the worst ones draw no oftener than their tasks can meet.

A case is one voltage, resistance and load; arrays of cases are (m,), states come first: (S, m).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cached_property
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from advisor.model.drain import Array
from advisor.model.relaxation import Circuit, Stepper
from advisor.model.rounds import FORGOTTEN, GONE, Train, lowest_of_round, once_tells
from advisor.model.steady_state import Run
from advisor.model.supply import loaded_voltage

AT_ONCE = 1_000_000  # states of all orders that are walked at a time
MANY = 1500  # cases, from which on walking a round of its own is worth its calls
EARLIER = 12  # events of each task that are seen to wait


def lowest(circuit: Circuit, train: Train, enough: Array | None = None) -> Array:
    """Lowest voltage at the terminals in the periodic steady state, worst phase, (m,) V.

    NaN where the voltage collapses. A case that is found below `enough` (m,) is not followed
    further down: what is returned is then some voltage below that and not below the lowest.
    """
    floor = np.full(len(circuit.volts), -np.inf) if enough is None else enough
    # the orders of many tasks would not fit into memory for all cases together
    count = len(train.tasks)
    orders = len(list(permutations(range(count)))) if count <= 3 else count
    size = max(1, AT_ONCE // (orders * len(train.amps)))
    if len(floor) > size:
        parts = [slice(start, start + size) for start in range(0, len(floor), size)]
        cases = np.arange(len(floor))
        found = [lowest(circuit.taken(cases[p]), train.taken(p), floor[p]) for p in parts]
        return np.concatenate(found)
    return _lowest(circuit, train, floor)


def _lowest(circuit: Circuit, train: Train, floor: Array) -> Array:
    """`lowest` of cases that fit into memory together, (m,) V."""
    if len(circuit.volts) < MANY:
        return _repeated(circuit, train, floor)
    with np.errstate(invalid="ignore", divide="ignore", over="ignore", under="ignore"):
        once = once_tells(circuit, train)
        if np.count_nonzero(once) < MANY:
            return _repeated(circuit, train, floor)
        rest = loaded_voltage(circuit.volts, circuit.ohms, train.amps[-1], train.watts[-1])
        if once.all():
            out, again = lowest_of_round(circuit, train, rest)
        else:
            some = np.nonzero(once)[0]
            out, again = np.full(rest.shape, np.inf), ~once
            of = circuit.taken(some), train.taken(some), rest[some]
            out[some], again[some] = lowest_of_round(*of)
    others = np.nonzero(again & (out >= floor))[0]
    if others.size:
        out[others] = _repeated(circuit.taken(others), train.taken(others), floor[others])
    return out


def _repeated(circuit: Circuit, train: Train, floor: Array) -> Array:
    """`lowest` where earlier events may have left something, (m,) V."""
    with np.errstate(invalid="ignore", divide="ignore", over="ignore", under="ignore"):
        train = train.spelled()
        settled = loaded_voltage(circuit.volts, circuit.ohms, train.amps, train.watts)
        rest = settled[-1]
        if not train.tasks or not rest.size:
            return np.asarray(rest)
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
        alive = np.asarray((found.reshape(-1, len(rest)) >= floor).all(axis=0))
        for again, before in walks.repeating(alive, deeper):
            run = walks.twice(again, before)
            more, _ = run.periodic(least[again], floor[walks.case[again]])
            found[again] = np.minimum(found[again], more)
        for walk in found.reshape(-1, len(rest)):
            low = np.minimum(low, walk)  # NaN, where it collapses, wins
    return np.asarray(low)


def holds(circuit: Circuit, train: Train, least: Array) -> NDArray[np.bool_]:
    """Where the voltage surely stays at or above `least` (m,), by a bound without searching, (m,).

    As long as it does, a constant power draws no more than P/least. With that as a constant
    current the falls add up; those that other tasks leave are taken undecayed.
    """
    counts = np.ones((len(train.tasks), 1)) if train.copies is None else train.copies
    with np.errstate(invalid="ignore", divide="ignore", over="ignore", under="ignore"):
        amps = train.amps + np.where(train.watts > 0, train.watts / least, 0.0)
        settled = circuit.volts - circuit.ohms * amps
        fall = settled[-1] - settled
        decay = np.exp(-train.seconds / circuit.tau)
        left, own = [], []
        for here, count, period in zip(train.tasks, counts, train.periods, strict=True):
            end = np.zeros_like(least)
            for n in range(int(count.max(initial=1))):
                after = end
                for s in range(here.start, here.stop):
                    after = fall[s] + (after - fall[s]) * decay[s]
                end = np.where(n < count, after, end)
            length = count * train.seconds[here].sum(axis=0)
            series = np.maximum(end, 0.0) / -np.expm1(-period / circuit.tau)
            left.append(series)
            own.append(series * np.exp(np.minimum(length - period, 0.0) / circuit.tau))
        total = sum(left, np.zeros_like(least))
        low = settled[-1].copy()
        kappa = circuit.kappa
        for here, count, again in zip(train.tasks, counts, own, strict=True):
            # where there are several, one that has waited may follow its last at once
            held = again if len(left) == 1 else total
            for n in range(int(count.max(initial=1))):
                after, lowest_end = held, low
                for s in range(here.start, here.stop):
                    # the terminals stand between the capacitor and where they would rest
                    start = kappa * fall[s] + (1 - kappa) * after
                    after = fall[s] + (after - fall[s]) * decay[s]
                    end = kappa * fall[s] + (1 - kappa) * after
                    lowest_end = np.minimum(lowest_end, settled[-1] - np.maximum(start, end))
                there = n < count
                held, low = np.where(there, after, held), np.where(there, lowest_end, low)
        return np.asarray(low >= least)


def _meetings(periods: Array) -> Array:
    """Time after which each task's event may again be right behind another task's, (K, m) s."""
    if len(periods) == 1:
        return periods
    least, second = np.sort(periods, axis=0)[:2]
    return np.asarray(np.maximum(periods, np.where(periods == least, second, least)))


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
        self._whose = np.concatenate([np.full(t.stop - t.start, k) for k, t in enumerate(tasks)])
        self.walks: NDArray[np.intp] | None = None
        if count <= 3:
            orders = list(permutations(range(count)))
            walks = np.array([np.concatenate([np.r_[tasks[k]] for k in o]) for o in orders]).T
            self.walks, ends = walks, self._whose[walks[-1]]
        else:
            weight = _weights(circuit, train)
            turns = []
            for k in range(count):
                key = weight.copy()
                key[k] = np.inf
                # a stable sort of the states by their task's rank keeps their order within it
                rank = key.argsort(axis=0, kind="stable").argsort(axis=0)
                turns.append(rank[self._whose].argsort(axis=0, kind="stable"))
            walks = self.states = np.concatenate(turns, axis=1)
            ends = np.arange(count)
        # at which state in order the last task of each order begins
        self.begins = len(walks) - np.bincount(self._whose)[ends]
        self.orders, self.last = len(ends), np.repeat(ends, m)
        self.case = np.concatenate([np.arange(m)] * self.orders)
        same = self.walks is not None
        self.powered = [
            any(train.powered[s] for s in row) if same else any(train.powered[:-1]) for row in walks
        ]
        length = np.array([train.seconds[t].sum(axis=0) for t in tasks])
        self.periods = np.concatenate([train.periods] * self.orders, axis=1)
        self.lengths = np.concatenate([length] * self.orders, axis=1)
        self.total = self.lengths.sum(axis=0)
        self.busy = (length / train.periods).sum(axis=0)
        # whether any task is due again before its fall is forgotten
        tau = np.concatenate([circuit.tau] * self.orders)
        pause = (self.periods.min(axis=0) - self.total) / tau
        self.lively = bool((pause < FORGOTTEN).any())
        # only the last event need be right, the others are last in another order; by then what
        # came before may be forgotten, under constant powers somewhat later
        last = self.lengths[self.last, np.arange(len(self.case))]
        since = np.maximum(pause, 0.0) + np.maximum(self.total - last, 0.0) / tau / 4
        self.remembering = since < GONE

    @cached_property
    def states(self) -> NDArray[np.intp]:
        """The indices of the states in order, (P, E)."""
        assert self.walks is not None
        return np.repeat(self.walks, self.train.amps.shape[1], axis=1)

    @cached_property
    def owner(self) -> NDArray[np.intp]:
        """The index of the task of each of the states in order, (P, E)."""
        return self._whose[self.states]

    def plain(self, rest: Array) -> tuple[Array, NDArray[np.bool_]]:
        """Every event once from rest, as where nothing is left of earlier ones.

        Returns
        -------
        Lowest voltage (E,), and whether the last event ends below where it started.
        """
        train, m = self.train, len(rest)
        loads = train.amps, train.watts, train.seconds
        if self.walks is None:
            amps, watts, seconds = (x[self.states, self.case] for x in loads)
        else:
            amps, watts, seconds = (x[self.walks].reshape(len(self.walks), -1) for x in loads)
        stepper = Stepper(self.circuit if self.orders == 1 else self.circuit.tiled(self.orders))
        held = np.concatenate([rest] * self.orders)
        low = np.full(held.shape, np.inf)
        before = held.copy()
        for p, powered in enumerate(self.powered):
            for n in np.flatnonzero(self.begins == p).tolist():
                before[n * m : (n + 1) * m] = held[n * m : (n + 1) * m]
            first, last, held = stepper.step(
                held, amps[p], watts[p] if powered else None, seconds[p]
            )
            low = np.minimum(low, np.minimum(first, last))
        return low, held < before

    def once(self, at: NDArray[np.intp]) -> Run:
        """Every event once, in some of the cases, by their indices (n,)."""
        return self._run(at, self._waits()[:, at])

    def _run(self, at: NDArray[np.intp], late: Array) -> Run:
        train, case = self.train, self.case[at]
        states, owner = self.states[:, at], self.owner[:, at]
        return Run(
            circuit=self.circuit.taken(case),
            amps=train.amps[states, case],
            watts=train.watts[states, case],
            seconds=train.seconds[states, case],
            periods=train.periods[owner, case],
            meetings=_meetings(train.periods)[owner, case],
            late=late[owner, np.arange(len(at))],
            opens=np.diff(owner, axis=0, prepend=-1) != 0,
            powered=self.powered,
            rest=loaded_voltage(
                self.circuit.volts, self.circuit.ohms, train.amps[-1], train.watts[-1]
            )[case],
            sleep=(train.amps[-1, case], train.watts[-1, case]) if train.powered[-1] else None,
        )

    def repeating(
        self, alive: NDArray[np.bool_], deeper: NDArray[np.bool_]
    ) -> Iterator[tuple[NDArray[np.intp], bool]]:
        """Cases where a task that was kept waiting is due again, and may then sink lower.

        Parameters
        ----------
        alive : (m,) cases worth a look. deeper : (E,) where the last event ends below its start;
        elsewhere a second one does not sink as low as the first, if nothing comes between.

        Yields
        ------
        Cases, and whether others come again before the last one, rather than the last one itself.
        """
        count, here = len(self.lengths), np.arange(len(self.case))
        if count == 1:
            return
        alive = alive[self.case]
        if self.lively:
            period = self.periods[self.last, here]
            pause = (period - self.total) / self.circuit.tau[self.case]
            index = np.nonzero((pause < FORGOTTEN) & alive & (deeper | (count > 2)))[0]
            if index.size:
                yield index, False
        if count > 2:
            index = np.nonzero(self._due(here).any(axis=0) & alive)[0]
            if index.size:
                yield index, True

    def _due(self, at: NDArray[np.intp]) -> NDArray[np.bool_]:
        """Which tasks, the last not among them, come due again before the last begins, (K, A)."""
        last, here = self.last[at], np.arange(len(at))
        due = self.periods[:, at] < self.total[at] - self.lengths[last, at]
        due[last, here] = False
        return np.asarray(due)

    def twice(self, at: NDArray[np.intp], before: bool) -> Run:
        """Every event once, and then those due again.

        at : (n,) indices of cases.
        before : whether the last task's comes only after the others that are due again. Else it
        comes twice itself, as soon as it can be, with the others that are due by then.
        """
        train, case, last = self.train, self.case[at], self.last[at]
        here = np.arange(len(at))
        periods, total = self.periods[:, at], self.total[at]
        period, owner = periods[last, here], self.owner[:, at]
        late = np.ones_like(periods)
        if not before:
            # to be due again at the end it was due that late after the start, and so before
            length = self.lengths[last, at]
            since = np.maximum(period - total % period - length, 0.0)
            since = np.where(period > total, total - length, since)
            late[last, here] = np.exp(-since / self.circuit.tau[case])
        run = self._run(at, late)
        mine = owner == last
        once = ~mine if before else np.ones_like(mine)
        again = (self._due(at) if before else periods < total)[owner, here] | mine
        rest_a, rest_w = train.amps[-1, case], train.watts[-1, case]
        pause = np.zeros_like(period) if before else np.maximum(period - total, 0.0)

        def joined(values: Array, between: Array | float, instead: Array | float) -> Array:
            return np.concatenate(
                [
                    np.where(once, values, instead),
                    np.broadcast_to(between, (1, len(at))),
                    np.where(again, values, instead),
                ]
            )

        def earlier(values: Array) -> Array:
            # what comes again leaves nothing from before
            never = np.full_like(values, np.inf)
            second = np.where(mine, values, np.inf) if before else never
            return np.concatenate([np.where(once, values, np.inf), never[:1], second])

        none = np.zeros((1, len(at)), dtype=bool)
        powered = [p or train.powered[-1] for p in self.powered]
        return replace(
            run,
            amps=joined(run.amps, rest_a, rest_a),
            watts=joined(run.watts, rest_w, rest_w),
            seconds=joined(run.seconds, pause, 0.0),
            periods=earlier(run.periods),
            meetings=earlier(run.meetings),
            late=np.concatenate([run.late, run.late[:1], run.late]),
            opens=np.concatenate([run.opens, ~none, run.opens]),
            powered=[*powered, train.powered[-1], *powered],
        )

    def _waits(self) -> Array:
        """By how much more the earlier events of each task leave for having had to wait, (K, E).

        First come first served; an event is left out while its task's last one still waits.
        """
        late = np.ones_like(self.periods)
        if len(late) == 1 or not self.lively:
            return late
        tau = self.circuit.tau[self.case]
        ends = np.zeros_like(late)
        gone = np.cumsum(self.train.seconds[self.states, self.case], axis=0)
        for k in range(len(ends)):
            ends[k] = np.where(self.owner == k, gone, 0.0).max(axis=0)
        before = np.maximum(self.periods - ends, 0.0)
        index = np.nonzero((before / tau).min(axis=0) < FORGOTTEN)[0]
        if not index.size:
            return late
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
        late[:, index] = np.where(plain > 0, (left + beyond) / plain, 1.0)
        return late


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
