"""Times of samples from what a file says of them, and a marker that rings.

Where a rate tells the times, stamps beside it are good to their jitter only: a computer's clock, or
one stamp for a whole batch. They then show that no sample is missing, and that the rate is right.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.bench.chunks import Chunk, Columns, Floats, Stamps, refused
from advisor.bench.trace import samples
from advisor.catalogue.schema_bench import MarkerColumn
from advisor.dataclass import dataclass
from advisor.faults import FaultError

DRIFT = 1e-3  # by which the rate of the stamps may differ from the one stated
RESTLESS = 100.0  # a marker that rings for so many times its debounce never settles


def recorded(
    paths: Sequence[Path], columns: Columns, marker: MarkerColumn | None = None
) -> Iterator[Chunk]:
    """Samples of traces, one after the other in time, with their times and a settled marker.

    Raises
    ------
    FaultError
        As `trace.samples`; for several files where nothing tells the time between them, stamps that
        do not keep to the rate, and a marker that never settles.
    """
    stamps = columns.stamps
    if len(paths) > 1 and not stamps.column:
        words = "another file, without a column of times"
        raise refused(str(paths[1]), words, "one file: nothing tells the time between them")
    chunks: Iterator[Chunk] = (chunk for path in paths for chunk in samples(path, columns))
    if not stamps.plain:
        chunks = _Clock(stamps, columns.factors[0]).told(chunks)
    if marker is not None and (marker.hysteresis is not None or marker.debounce is not None):
        chunks = settled(chunks, marker)
    return chunks


@dataclass(slots=True)
class _Batch:
    """Samples that bear one stamp, in s: the stamp, the first one's number and how many."""

    stamp: float
    first: int
    count: int


class _Clock:
    """Makes times in s of the stamps of one pass over a trace."""

    def __init__(self, stamps: Stamps, factor: float) -> None:
        self.stamps = stamps
        self.factor = factor
        self.origin: int | None = None
        self.rows = 0
        self.start = 0.0
        self.batches: list[_Batch] = []  # the last two
        self.longest = 0

    def told(self, chunks: Iterable[Chunk]) -> Iterator[Chunk]:
        """The same samples, with their times."""
        last: Chunk | None = None
        for chunk in chunks:
            stamps = chunk.t
            if self.stamps.exact:
                if self.origin is None:
                    self.origin = int(chunk.t[0])
                stamps = (chunk.t - self.origin) * 1e-9
            if self.stamps.rate is None or self.stamps.kind == "index":
                yield replace(chunk, t=stamps)
                continue
            if self.stamps.column:
                chunk = replace(chunk, t=np.asarray(stamps, dtype=np.float64))
                chunk.finite()
                self.check(chunk)
                last = chunk
            numbers = np.arange(self.rows, self.rows + len(chunk.t), dtype=np.float64)
            self.rows += len(chunk.t)
            yield replace(chunk, t=self.start + numbers / self.stamps.rate)
        if last is not None:
            self.rows -= len(last.t)
            self.held(last, *self.known(), ended=True)

    def known(self) -> tuple[Floats, Floats, Floats]:
        """Stamp, first sample and count of the batches that are kept, (B,) each."""
        rows = [(b.stamp, b.first, b.count) for b in self.batches]
        stamp, first, count = np.array(rows, dtype=np.float64).reshape(-1, 3).T
        return stamp, first, count

    def check(self, chunk: Chunk) -> None:
        """Hold stamps against the rate, a batch by its first and by its last sample."""
        if not self.rows:
            self.start = float(chunk.t[0])
        t = chunk.t
        edges = np.concatenate(([0], np.flatnonzero(t[1:] != t[:-1]) + 1, [len(t)]))
        counts = np.diff(edges)
        rows = self.rows + edges[:-1]
        values = t[edges[:-1]]
        if self.batches and self.batches[-1].stamp == values[0]:
            # a batch goes on over the seam
            self.batches[-1].count += int(counts[0])
            edges, counts, rows, values = edges[1:], counts[1:], rows[1:], values[1:]
        stamp, first, count = (
            np.concatenate(pair) for pair in zip(self.known(), (values, rows, counts), strict=True)
        )
        self.held(chunk, stamp, first, count)
        keep = slice(max(len(stamp) - 2, 0), None)
        self.batches = [
            _Batch(float(s), int(f), int(c))
            for s, f, c in zip(stamp[keep], first[keep], count[keep], strict=True)
        ]

    def held(
        self, chunk: Chunk, stamp: Floats, first: Floats, count: Floats, ended: bool = False
    ) -> None:
        """Refuse (B,) stamps in s of batches, by number and count of samples, off the rate.

        Of the last one it is not known how long it is, unless the trace has `ended`.
        """
        rate, jitter = self.stamps.rate, self.stamps.jitter
        assert rate is not None
        assert jitter is not None
        if len(count):
            self.longest = max(self.longest, int(count.max()))
        if len(stamp) < 2:
            return
        steps = np.diff(stamp)
        by_first = steps - np.diff(first) / rate
        by_last = steps - (np.diff(first + count)) / rate
        off = np.where(np.abs(by_first) < np.abs(by_last), by_first, by_last)
        elapsed = first / rate
        whole = stamp - self.start - elapsed
        room = 2 * jitter + self.longest / rate + DRIFT * elapsed
        bad = np.abs(off) > 2 * jitter
        # the first batch may have begun before the file, the last may go on after it
        bad[first[:-1] == 0] = False
        bad[first[1:] + count[1:] >= self.rows + len(chunk.t)] = False
        within = f"rate {rate:g} Hz within a jitter of {jitter:g} s: "
        if bad.any():
            at = int(np.flatnonzero(bad)[0])
            read = f"a stamp {off[at]:+.4g} s off its neighbour"
            raise self.refused(chunk, first[at + 1], read, within + "are samples missing?")
        wrong = np.abs(whole) > room
        wrong[-1] &= ended
        if wrong.any():
            at = int(np.flatnonzero(wrong)[0])
            read = f"a stamp {whole[at]:+.4g} s off the rate by then"
            raise self.refused(chunk, first[at], read, within + "is it another rate?")

    def refused(self, chunk: Chunk, number: float, read: str, expected: str) -> FaultError:
        """A fault of the stamp of a sample, by its number."""
        at = max(int(number) - self.rows, -chunk.row)
        return chunk.refused(at, "time", f"{read} in row {chunk.row + at + 1}", expected)


def settled(chunks: Iterable[Chunk], marker: MarkerColumn) -> Iterator[Chunk]:
    """The same samples, their marker cleaned of noise about its level and of ringing.

    Above its level (or below, where the notes say so) it counts as at work until it comes back by
    the hysteresis. What is at work, or not, for less than the debounce takes the state of the next
    stretch that lasts: an edge stands where the marker first left, and a spike is none.
    """
    work = _Marker(marker)
    for chunk in chunks:
        if len(chunk.t):
            yield from work.take(chunk)
    yield from work.rest()


class _Marker:
    """The state of one pass over a marker."""

    def __init__(self, marker: MarkerColumn) -> None:
        level = marker.above if marker.above is not None else marker.below
        assert level is not None
        self.sign = 1.0 if marker.above is not None else -1.0
        self.level = level.nominal
        self.back = 0.0 if marker.hysteresis is None else marker.hysteresis.nominal
        self.debounce = 0.0 if marker.debounce is None else marker.debounce.nominal
        self.up = False
        self.lasting = False  # the state of the last stretch that lasted
        self.held: Chunk | None = None  # samples whose stretch has not lasted yet
        self.states: NDArray[np.bool_] = np.empty(0, dtype=bool)

    def take(self, chunk: Chunk) -> Iterator[Chunk]:
        """One chunk more; what is settled by then."""
        assert chunk.m is not None
        chunk.finite()
        states = self.hysteresis(np.asarray(chunk.m, dtype=np.float64))
        if not self.debounce:
            yield self.written(chunk, states)
            return
        if self.held is not None:
            chunk = self.held.joined(chunk)
            states = np.concatenate((self.states, states))
        turns = np.flatnonzero(states[1:] != states[:-1]) + 1
        starts = np.concatenate(([0], turns))
        ends = np.concatenate((chunk.t[turns], chunk.t[-1:]))
        lasts = ends - chunk.t[starts] >= self.debounce
        # a stretch that goes on from before has lasted already
        lasts[0] = lasts[0] or bool(states[0] == self.lasting)
        places = np.flatnonzero(lasts)
        if not len(places):
            self.hold(chunk, states, 0)
            return
        final = int(places[-1])
        cut = int(starts[final + 1]) if final + 1 < len(starts) else len(states)
        following = places[np.searchsorted(places, np.arange(final + 1))]
        lengths = np.diff(np.append(starts[: final + 1], cut))
        clean = np.repeat(states[starts[following]], lengths)
        self.lasting = bool(states[starts[final]])
        if cut:
            yield self.written(chunk.piece(slice(0, cut)), clean)
        self.hold(chunk, states, cut)

    def hold(self, chunk: Chunk, states: NDArray[np.bool_], cut: int) -> None:
        """Keep samples from `cut` on until a stretch lasts."""
        self.held = chunk.piece(slice(cut, None)) if cut < len(states) else None
        self.states = states[cut:]
        if self.held is not None and self.held.t[-1] - self.held.t[0] > RESTLESS * self.debounce:
            row = self.held.row + 1
            words = f"a marker that does not settle from row {row} on"
            raise self.held.refused(0, "marker", words, "a shorter debounce, or hysteresis")

    def rest(self) -> Iterator[Chunk]:
        """Samples at the end whose stretch did not last."""
        if self.held is not None:
            yield self.written(self.held, np.full(len(self.held.t), self.lasting))

    def hysteresis(self, m: Floats) -> NDArray[np.bool_]:
        """(N,) whether at work, from (N,) values of the marker."""
        up = self.sign * m > self.sign * self.level
        down = self.sign * m <= self.sign * self.level - self.back
        told = np.where(up | down, np.arange(len(m)), -1)
        last = np.maximum.accumulate(told)
        states = np.where(last >= 0, up[np.maximum(last, 0)], self.up)
        self.up = bool(states[-1])
        return states

    def written(self, chunk: Chunk, states: NDArray[np.bool_]) -> Chunk:
        """The samples with a marker clear of its level, either way."""
        step = max(1.0, abs(self.level))
        m: NDArray[Any] = np.where(
            states, self.level + self.sign * step, self.level - self.sign * step
        )
        return replace(chunk, m=m)
