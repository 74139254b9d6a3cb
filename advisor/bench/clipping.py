"""Whether a meter stood at its end of range, told from how its samples pile up at an extreme.

Noise makes the samples of a level a bell: few at its end, more below. A meter at its end cuts the
bell off, and what is beyond lies on the last code or, where its gain or zero wanders, on the last
two. A level read in steps wider than its noise piles up too; then samples of the same size repeat
elsewhere as well, and only the meter's stated range can tell.
"""

from __future__ import annotations

import math

import numpy as np

from advisor.bench.chunks import Floats
from advisor.dataclass import dataclass, field

KEPT = 6  # distinct values next to an extreme that are counted
MANY = 16  # samples on one value from which they are a pile
STEEP = 4.0  # times as many as on any value near it, where samples do not repeat elsewhere
SURE = 4.0  # standard deviations of a difference of counts
USUAL = 0.02  # share of samples that repeat the one before, up to which they do not repeat
LOOK = 512  # samples of a first piece among which the outermost values are looked for
STEPS_OF = 256  # samples of a size that are kept, to find the step of their codes
ON_CODE = 0.1  # of a step; a text's digits put codes off their lattice


@dataclass(slots=True)
class Extremes:
    """The outermost values of a trace on one side, with how often each stands."""

    sign: int
    values: Floats = field(default_factory=lambda: np.empty(0))
    counts: Floats = field(default_factory=lambda: np.empty(0))

    @property
    def value(self) -> float:
        """The outermost, times the sign."""
        return float(self.values[0]) if len(self.values) else -math.inf

    def take(self, top: float, i: Floats) -> None:
        """Count a piece's samples whose greatest, times the sign, is `top`."""
        least = self.values[-1] if len(self.values) == KEPT else -math.inf
        if top < least:
            return
        signed = self.sign * i
        if math.isinf(least):
            # of a first piece only what can be among the outermost, where that is enough
            few = min(len(i), LOOK)
            if not len(self.values):
                least = float(np.partition(signed, -few)[-few])
                least = least if len(np.unique(signed[signed >= least])) >= KEPT else -math.inf
        near, counts = np.unique(signed[signed >= least], return_counts=True)
        both = np.concatenate((self.values, near))
        known, at = np.unique(both, return_inverse=True)
        total = np.bincount(at, weights=np.concatenate((self.counts, counts.astype(float))))
        self.values, self.counts = known[::-1][:KEPT].copy(), total[::-1][:KEPT].astype(float)

    def clips(self, repeating: float) -> bool:
        """Whether the meter was at its end; `repeating` of samples of that size repeat elsewhere.

        A pile at zero is no end of a part that is off: there it takes a cut bell.
        """
        c, v = self.counts, self.values
        if not len(c):
            return False
        beside = float(c[1:4].max()) if len(c) > 1 else 0.0
        if repeating < USUAL:
            return bool(c[0] >= MANY and c[0] > STEEP * beside)
        if len(v) < KEPT:
            return False
        # what cuts a bell off need not do so on a code
        step = float(-np.diff(v[1:]).max())
        even = np.abs(np.diff(v[1:]) / -step - 1).max() < ON_CODE and v[0] - v[1] < 1.5 * step
        if not even or c[1:5].min() < 3:
            return False
        # beside a value of three samples or more, what is surely more is more than `MANY`
        on_last = c[0] > c[1] + SURE * math.sqrt(c[0] + c[1])
        # on the last code but one, with a trace of samples above it and a bell's side below
        on_two = min(c[1] - c[2], c[2] - c[0]) > SURE * math.sqrt(c[1] + c[2])
        return bool(on_last or on_two)


@dataclass(slots=True)
class Steps:
    """Some samples of each size, to tell the step between a meter's codes."""

    kept: dict[int, list[float]] = field(default_factory=dict)

    def take(self, few: Floats) -> None:
        """Keep some of these samples."""
        sizes = np.frexp(few)[1]
        for size in np.unique(sizes).tolist():
            held = self.kept.setdefault(size, [])
            if len(held) < STEPS_OF and len(self.kept) < 256:
                held += few[sizes == size][: STEPS_OF - len(held)].tolist()

    def at(self, level: float) -> float:
        """The step of codes of that size, A; 0 where samples stand on no lattice."""
        size = int(np.frexp(level)[1])
        for sizes in ((size,), (size - 1, size, size + 1)):
            values = np.unique([x for s in sizes for x in self.kept.get(s, [])])
            if len(values) < 2:
                continue
            gaps = np.diff(values)
            step = float(gaps[gaps > 1e-9 * gaps.max()].min())
            off = np.abs(gaps / step - np.round(gaps / step))
            return step if float(off.max()) < ON_CODE else 0.0
        return 0.0
