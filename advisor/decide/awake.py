"""What builds do, whatever feeds them: their timelines, and when events that chance bears on end.

Builds on several feeds have it in common, so it is worked out once for all of them. (R, S, N)
arrays of R builds, S states and N draws, SI units.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass, field
from advisor.decide.chances import waiting
from advisor.model.draws import Array
from advisor.model.events import EventStates, Timeline, alike, asleep, calendar
from advisor.model.meetings import coinciding, fullest, met
from advisor.model.tables import Stack
from advisor.model.workload import ProductFigures

Index = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Awake:
    """Builds as rows, some of those that were laid out together.

    Attributes
    ----------
    part, sleep : (R,) indices into the stack; choice : (R, K) index of each task's option.
    line : over the whole calendar. worst : the same, with what may be on beside each state where
    events meet by chance, and the greatest fillings where they differ; one for each choice of loads
    that may be the worst. met_then : so at each of the product's times, if it has any.
    alike : of each line of `meeting` and each state, which of the line (0) and what comes before it
    there (1, ...) draws the same in it, itself where none does.
    rows : which of all rows these are. together, known : the line of all, and what was found there.
    """

    product: ProductFigures
    part: Index
    sleep: Index
    choice: Index
    line: Timeline
    met_then: tuple[tuple[Timeline, ...], ...]
    worst: tuple[Timeline, ...]
    alike: NDArray[np.intp]
    rows: slice
    together: Timeline
    known: dict[int, Array] = field(default_factory=dict)

    @property
    def meeting(self) -> tuple[tuple[Timeline, ...], ...]:
        """What pulses are held against: at each of the product's times, or over all."""
        return self.met_then or (self.worst,)

    def in_time(self, k: int) -> Array:
        """Chance that an event of task `k`, which is to finish within some time, does, (R, N).

        Where it surely does in as many as the product's needs ask for, that bound.
        """
        if k not in self.known:
            found = waiting(self.product, self.together, k, self.product.confidence).in_time
            if found is None:
                raise ValueError(f"task {k} has no time to finish within")
            self.known[k] = found
        return self.known[k][self.rows]

    def each(self, lengths: Sequence[int]) -> Iterator[Awake]:
        """Rows in groups of so many, one behind the other."""
        start = 0
        for length in lengths:
            some = slice(start, start := start + length)
            line = self.line.of_rows(some)
            yield replace(
                self,
                part=self.part[some],
                sleep=self.sleep[some],
                choice=self.choice[some],
                line=line,
                met_then=tuple(tuple(one.of_rows(some) for one in of) for of in self.met_then),
                worst=tuple(line if one is self.line else one.of_rows(some) for one in self.worst),
                rows=some,
            )


def awake(
    stack: Stack,
    product: ProductFigures,
    events: Sequence[tuple[EventStates, ...]],
    part: Index,
    sleep: Index,
    choice: Index,
    bridged: bool,
) -> Awake:
    """Builds as rows; `events` are those of `at_times`, the indices as in `Awake`. `bridged` tells
    whether a reservoir lies across their packs."""
    line, timed = calendar(stack, product, events, part, sleep, choice)

    every = tuple(range(len(product.tasks)))
    then = [(one, product.done(t)) for t, one in enumerate(timed)]

    def meeting(one: Timeline, done: Sequence[int], full: bool) -> tuple[Timeline, ...]:
        if full:
            one = fullest(product, one, once=not bridged)
        if not product.waits:
            return (one,)
        choices = coinciding(product, one, done, once=not bridged)
        return tuple(met(one, beside) for beside in choices)

    met_then = tuple(meeting(one, done, product.uneven) for one, done in then)
    # over the whole calendar a filling is the mean of those at its times
    worst = meeting(line, every, product.uneven or bool(product.switches and product.times))
    return Awake(
        product=product,
        part=part,
        sleep=sleep,
        choice=choice,
        line=line,
        met_then=met_then,
        worst=worst,
        alike=alike((line, *chain.from_iterable(met_then or (worst,))), asleep(product)),
        rows=slice(0, len(part)),
        together=line,
    )
