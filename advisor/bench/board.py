"""What stands between the meter's reading and the chip's own current, with its terms.

i = (reading − zero) − overhead + reset current. Zero readings give the offset of the meter's lowest
range; an overhead that the same range took carries the same offset, which cancels. In any other
case the range's limit of error stands in the budget.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import field, replace

import numpy as np

from advisor.bench.budget import Term, combined, repeats, stated
from advisor.bench.chunks import Chunk, Floats
from advisor.bench.clipping import Steps
from advisor.bench.instrument import SHUNT, Meter, Range, quantised
from advisor.bench.notes import Session
from advisor.bench.segments import BLOCKS, Measured, Pieces, Window, measure
from advisor.bench.stillness import FINE, Unstill, unstill
from advisor.catalogue.schema_bench import OverheadTrace
from advisor.dataclass import dataclass
from advisor.faults import FaultLog
from advisor.quantities import show

Source = Callable[[], Iterable[Chunk]]
MATTERS = 0.5  # of a standard uncertainty: what moves a figure by more is refused or told


@dataclass(frozen=True, slots=True)
class Reading:
    """A current that the meter read, A: its mean, extremes over the repeats, a sample's scatter.

    `when` is s from the trace's start; `between` the standard deviation from repeat to repeat.
    """

    mean: float
    low: float
    high: float
    scatter: float
    when: float
    between: float = 0.0


@dataclass(slots=True)
class Board:
    """The overhead, the reset current and the zero readings, A."""

    session: Session
    steps: Steps
    overhead: float = 0.0
    reset: float = 0.0
    terms: list[Term] = field(default_factory=list)
    traced: Reading | None = None
    zeros: list[tuple[float, float]] = field(default_factory=list)
    zero_terms: list[Term] = field(default_factory=list)

    @property
    def meter(self) -> Meter:
        """The session's."""
        return self.session.meter

    def ranges(self, read: Reading) -> tuple[Range, ...]:
        """Ranges that a reading was taken in: two standard deviations of a sample to each side."""
        return self.meter.touched(read.low - 2 * read.scatter, read.high + 2 * read.scatter)

    def code(self, level: float) -> float:
        """The step of the meter's codes at a reading, A; 0 where it has none."""
        steps = [
            r.resolution if r.resolution is not None else self.steps.at(level)
            for r in self.meter.touched(level, level)
        ]
        return max(steps)

    def cancels(self, read: Reading) -> bool:
        """Whether the overhead's own offset is the reading's: one range took both."""
        return (
            self.traced is not None
            and self.ranges(self.traced) == self.ranges(read)
            and len(self.ranges(read)) == 1
        )

    def zeroed(self, read: Reading) -> bool:
        """Whether the zero readings tell this reading's offset."""
        return bool(self.zeros) and self.ranges(read) == self.meter.ranges[:1]

    def _zero(self, read: Reading) -> float:
        """The zero at a reading's time, between the readings of it; 0 in another range, A."""
        if not self.zeroed(read):
            return 0.0
        times, values = zip(*self.zeros, strict=True)
        return float(np.interp(read.when, times, values))

    def net(self, read: Reading) -> float:
        """What is taken off a reading, A."""
        if self.cancels(read):
            return self.overhead - self.reset
        off = 0.0 if self.traced is None else self._zero(self.traced)
        return self.overhead - off + self._zero(read) - self.reset

    def chip(self, read: Reading, factor: float) -> list[Term]:
        """Type B terms of the chip's current times a factor (1, or a time for a charge)."""
        shunt = self.session.trace.current.shunt
        own, meter = self.ranges(read), self.meter
        # with the overhead of its own range taken off, the gain holds for the rest
        taken = read.mean - self._zero(read)
        if self.cancels(read):
            taken -= self.overhead
        terms = [meter.gains(own, taken * factor)]
        if self.zeroed(read) and not self.cancels(read):
            terms += [replace(t, u=t.u * abs(factor)) for t in self.zero_terms]
        elif not self.cancels(read):
            terms.append(meter.offsets(own, factor))
        whole = taken
        if self.traced is not None and not self.cancels(read):
            other = self.ranges(self.traced)
            whole -= self.traced.mean
            for term in (
                meter.gains(other, self.traced.mean * factor),
                *([] if self.zeroed(self.traced) else [meter.offsets(other, factor)]),
            ):
                terms.append(replace(term, source=f"{term.source}, of the overhead"))
        if shunt is not None:
            terms.append(stated(SHUNT, shunt, whole / shunt.nominal * factor))
        code = self.code(read.mean)
        # a scatter below a step may be two codes taking turns, which is no noise
        dither = max(read.scatter if read.scatter >= code else 0.0, 2 * self.floor(read.mean))
        dither = math.hypot(dither, read.between)
        terms.append(quantised("resolution of the meter", code, dither, factor))
        return terms + [replace(t, u=t.u * abs(factor)) for t in self.terms]

    def says(self, name: str, read: Reading) -> Iterator[str]:
        """What a reader must know of how the offset got out of a figure, or did not."""
        if self.traced is not None and not self.cancels(read) and len(self.meter.ranges) > 1:
            one = " and ".join(r.name for r in self.ranges(self.traced))
            two = " and ".join(r.name for r in self.ranges(read))
            yield (
                f"{name}: the overhead was read in range {one}, this in {two}: the meter's offset "
                "cancels within one range only, so both limits stand"
            )

    def floor(self, level: float) -> float:
        """The least standard deviation of a sample at a reading, by the meter's statement, A."""
        noise = [r.noise for r in self.meter.touched(level, level) if r.noise is not None]
        return max(noise, default=0.0) / 2


def reading(pieces: Pieces, begin: float, end: float) -> Reading:
    """The reading of a stretch."""
    n = float(pieces.count.sum())
    mean = float(pieces.charge.sum() / pieces.time.sum())
    spread = math.sqrt(max(float(pieces.square.sum()) / n - mean**2, 0.0))
    return Reading(mean=mean, low=mean, high=mean, scatter=spread, when=0.5 * (begin + end))


def stretch(begin: float, end: float) -> Window:
    """The window of a stretch that must stand still."""
    return Window(begin, end, BLOCKS * FINE, raw=True)


def blocks(pieces: Pieces) -> Floats:
    """(B,) mean current of the blocks of a stretch, A."""
    charge, time = pieces.together(BLOCKS)
    return np.asarray(charge / time)


def odd(board: Board, pieces: Pieces, window: Window, step: float) -> list[Unstill]:
    """What is in a stretch besides its level."""
    level = float(pieces.charge.sum() / pieces.time.sum())
    return unstill(pieces, window.begin, window.end, step, board.floor(level), board.code(level))


def zero_windows(session: Session) -> list[Window]:
    """The stretches with nothing connected."""
    return [stretch(s.begin.nominal, s.end.nominal) for s in session.notes.zero]


def board_of(
    session: Session,
    overhead: Source | None,
    found: Measured,
    zeros: Sequence[Pieces],
    log: FaultLog,
) -> Board:
    """The board of a session; `zeros` are the zero stretches of its trace."""
    notes, board = session.notes, Board(session, found.steps)
    for window, pieces in zip(zero_windows(session), zeros, strict=True):
        if not _there(session, "zero", window, found, log):
            continue
        mean, term = repeats(blocks(pieces), "zero readings")
        board.zeros.append((0.5 * (window.begin + window.end), mean))
        board.zero_terms.append(replace(term, u=term.u / len(zeros)))
        _still(board, "zero", pieces, window, found.step, term, log)
    if board.zeros:
        board.zeros.sort()
        apart = float(np.ptp([value for _, value in board.zeros]))
        # straight between the readings of it; half of the way there may be bent
        drift = Term("drift between zero readings", "B", apart / 4 / math.sqrt(3), "rectangular")
        board.zero_terms.append(drift)
    told = notes.board_overhead
    if isinstance(told, OverheadTrace):
        assert overhead is not None
        assert told.begin is not None
        assert told.end is not None
        window = stretch(told.begin.nominal, told.end.nominal)
        beside = measure(overhead(), [window])
        if _there(session, "board-overhead", window, beside, log):
            pieces = beside.windows[0]
            board.overhead, term = repeats(blocks(pieces), "board overhead")
            board.terms.append(term)
            board.traced = reading(pieces, window.begin, window.end)
            _still(board, "board-overhead", pieces, window, beside.step, term, log)
    elif told is not None:
        board.overhead = told.nominal
        board.terms.append(stated("board overhead", told, 1.0))
    if notes.reset_current is not None:
        board.reset = notes.reset_current.nominal
        board.terms.append(stated("reset current", notes.reset_current, 1.0))
    return board


def _there(session: Session, at: str, window: Window, found: Measured, log: FaultLog) -> bool:
    """Note a stretch that is not in its trace, is too short, or has a drop-out."""
    before = len(log.faults)
    if window.begin < found.first or window.end > found.last:
        session.fault(
            log,
            at,
            f"{window.begin:g} to {window.end:g} s",
            f"a stretch inside its trace, {found.first:g} to {found.last:g} s",
        )
    elif (window.end - window.begin) / BLOCKS < 2 * found.step:
        session.fault(log, at, f"fewer than {2 * BLOCKS} samples", "a longer stretch")
    gap = found.gap_inside(window.begin, window.end)
    if gap is not None:
        session.fault(log, at, gap_words(at, gap), "no drop-out in it")
    return len(log.faults) == before


def gap_words(name: str, gap: tuple[float, float]) -> str:
    """A drop-out in something."""
    return f"{name}: a drop-out of {show(gap[1], 'time')} at {gap[0]:.6g} s"


def _still(
    board: Board,
    at: str,
    pieces: Pieces,
    window: Window,
    step: float,
    repeat: Term,
    log: FaultLog,
) -> None:
    read = reading(pieces, window.begin, window.end)
    offset = board.meter.offsets(board.ranges(read), 1.0)
    known = combined(read.mean, [repeat, offset]).u
    for one in odd(board, pieces, window, step):
        if one.moves > MATTERS * known and one.kind != "wander":
            board.session.fault(log, at, f"a stretch that {one.words}", "one that stands still")
