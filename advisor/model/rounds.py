"""What the cases of a pack with a reservoir carry, and how low a round of events from rest pulls.

Where all is forgotten before any event is due again, each finds the capacitor at rest or comes
right behind others, once: the orders of one round tell the lowest voltage. The capacitor's voltage
follows an equation of the first order, so what starts lower stays lower throughout. An order in
which a task surely begins no lower than in one that was walked, and which even from there sinks no
lower than that one did, need not be walked.

A case is one voltage, resistance and load; arrays of cases are (m,), states come first: (S, m).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.drain import Array, one_by_one
from advisor.model.relaxation import Circuit, Load, Stepper

FORGOTTEN = 7.0  # time constants after which it no longer matters who waited
GONE = 16.0  # time constants after which nothing is left
FEW = 16  # cases by which tasks are told apart
MOST = 3  # tasks of which every order is walked


@dataclass(frozen=True, slots=True)
class Train:
    """What the cases carry.

    amps, watts, seconds : (S, m) per state, the last one the rest between events. tasks : the
    states of each task's event. periods : (K, m) s. powered : per state, whether any case draws a
    constant power in it. copies : (K, m) how many events of each task come right behind each other;
    once each when absent.
    """

    amps: Array
    watts: Array
    seconds: Array
    tasks: tuple[slice, ...]
    periods: Array
    powered: Sequence[bool]
    copies: Array | None = None

    @property
    def lengths(self) -> Array:
        """How long each task's events right behind each other last, (K, m) s."""
        each = np.array([self.seconds[task].sum(axis=0) for task in self.tasks])
        return each if self.copies is None else np.asarray(self.copies * each)

    def taken(self, index: slice | NDArray[np.intp]) -> Train:
        """Some of the cases, by their indices (n,) or a slice."""
        return replace(
            self,
            amps=self.amps[:, index],
            watts=self.watts[:, index],
            seconds=self.seconds[:, index],
            periods=self.periods[:, index],
            copies=None if self.copies is None else self.copies[:, index],
        )

    def spelled(self) -> Train:
        """The same with every event that comes right behind another in states of its own."""
        if self.copies is None:
            return self
        loads = (self.amps, self.watts, self.seconds)
        (amps, watts, seconds), tasks, which = one_by_one(loads, self.tasks, [*self.copies])
        powered = [self.powered[state] or self.powered[-1] for state in which]
        return replace(
            self,
            amps=amps,
            watts=watts,
            seconds=seconds,
            tasks=tasks,
            powered=powered,
            copies=None,
        )


def once_tells(circuit: Circuit, train: Train) -> NDArray[np.bool_]:
    """Where one round from rest tells the lowest voltage, unless an event may come twice, (m,):
    where nothing is left of earlier events when the last one of a round begins."""
    if not 0 < len(train.tasks) <= MOST:
        return np.zeros(circuit.volts.shape, dtype=bool)
    lengths = train.lengths
    since = np.maximum(train.periods.min(axis=0) - lengths.sum(axis=0), 0.0)
    if len(lengths) == 2:
        # what comes before the last one, under constant powers forgotten somewhat later
        since = since + lengths.min(axis=0) / 4
    return np.asarray(since >= GONE * circuit.tau)


def lowest_of_round(circuit: Circuit, train: Train, rest: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Lowest voltage at the terminals over the orders of a round, (m,) V, NaN where it collapses;
    and where a last event sinks below where it began and is due again before that is forgotten.

    rest : (m,) V, where the terminals rest.
    """
    events, low = _Events(circuit, train), rest
    again = np.zeros(rest.shape, dtype=bool)
    if len(train.tasks) != 2:
        for order in permutations(range(len(train.tasks))):
            held = rest
            for task in order:
                found, held = events.passed(task, held)
                low = np.minimum(low, found)
        return low, again
    soon = train.periods - train.lengths.sum(axis=0) < FORGOTTEN * circuit.tau
    # the one that pulls most comes last: likely nothing ends lower
    last = int(np.argmin([events.deepest(k) for k in range(2)]))
    before, start = events.passed(1 - last, rest)
    behind, held = events.passed(last, start)
    low = np.minimum(np.minimum(low, before), behind)
    again = soon[last] & (held < start)
    sure = np.zeros(rest.shape, dtype=bool)
    if not soon[1 - last].all():
        bound, _ = events.passed(1 - last, held)
        sure = ~soon[1 - last] & (start <= rest) & (bound >= low)
    index = np.nonzero(~sure & ~np.isnan(low))[0]
    if index.size:
        some, rest = _Events(circuit.taken(index), train.taken(index)), rest[index]
        before, start = some.passed(last, rest)
        behind, held = some.passed(1 - last, start)
        low[index] = np.minimum(np.minimum(low[index], before), behind)
        again[index] |= soon[1 - last, index] & (held < start)
    return low, again


class _Events:
    """The events of some cases; each state's load is worked out once."""

    def __init__(self, circuit: Circuit, train: Train) -> None:
        self.train, self.tau = train, circuit.tau
        self.stepper = Stepper(circuit)
        self._loads: dict[int, tuple[Load, Array]] = {}

    def _load(self, state: int) -> tuple[Load, Array]:
        """A state's load, and its time constants, (m,)."""
        if state not in self._loads:
            train = self.train
            watts = train.watts[state] if train.powered[state] else None
            load = self.stepper.load(train.amps[state], watts)
            self._loads[state] = load, train.seconds[state] / self.tau
        return self._loads[state]

    def deepest(self, task: int) -> float:
        """Lowest voltage that a task's states would come to, V, summed over a few of the cases."""
        found, here = np.inf, self.train.tasks[task]
        for state in range(here.start, here.stop):
            load, _ = self._load(state)
            ends = load.upper if load.roots is None else load.roots.p
            found = min(found, float(np.nan_to_num(ends[:: 1 + ends.size // FEW]).sum()))
        return found

    def passed(self, task: int, held: Array) -> tuple[Array, Array]:
        """Lowest voltage at the terminals in a task's events right behind each other, from the
        capacitor's voltage, and that afterwards, (m,) V each."""
        low, here = np.full(held.shape, np.inf), self.train.tasks[task]
        counts = np.ones(1) if self.train.copies is None else self.train.copies[task]
        for n in range(int(counts.max(initial=1))):
            lowest, after = low, held
            for state in range(here.start, here.stop):
                load, span = self._load(state)
                first, end, after = self.stepper.under(load, after, span)
                lowest = np.minimum(lowest, np.minimum(first, end))
            if n and _alike(after, held):
                break  # each further one is the same again
            there = n < counts
            low, held = np.where(there, lowest, low), np.where(there, after, held)
        return low, held


def _alike(one: Array, other: Array) -> bool:
    return bool(((one == other) | np.isnan(one)).all())
