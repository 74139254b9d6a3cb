"""A trace's outline: extremes and means of equal pieces, in one pass and constant memory."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.bench.chunks import Chunk, Floats, refused
from advisor.dataclass import dataclass

MOST = 2048  # pieces; from half as many on


@dataclass(frozen=True, slots=True)
class Outline:
    """Pieces of as many samples each, the last one perhaps of fewer.

    Attributes
    ----------
    t : (B + 1,) edges in s. low, mean, high : (B,) A. rows : samples.
    """

    t: Floats
    low: Floats
    mean: Floats
    high: Floats
    rows: int


def outline(chunks: Iterable[Chunk]) -> Outline:
    """The outline of a trace.

    Raises
    ------
    FaultError
        For a trace without samples, and samples that are no numbers.
    """
    size, rows, end, file = 1, 0, np.nan, "trace"
    kept: list[NDArray[Any]] = []  # (4, pieces): begin, low, sum, high
    count = 0
    rest: Chunk | None = None
    for chunk in chunks:
        if not len(chunk.t):
            continue
        chunk.finite()
        file, end = chunk.file, float(chunk.t[-1])
        rows += len(chunk.t)
        whole = chunk if rest is None else rest.joined(chunk)
        at = 0
        while (pieces := min((len(whole.t) - at) // size, MOST - count)) > 0:
            part = slice(at, at + pieces * size)
            i = whole.i[part].reshape(pieces, size)
            kept.append(
                np.stack([whole.t[part][::size], i.min(axis=1), i.sum(axis=1), i.max(axis=1)])
            )
            at, count = part.stop, count + pieces
            if count == MOST:
                # twice as long, half as many
                a = np.concatenate(kept, axis=1).reshape(4, -1, 2)
                kept = [
                    np.stack([a[0, :, 0], a[1].min(axis=1), a[2].sum(axis=1), a[3].max(axis=1)])
                ]
                size, count = 2 * size, MOST // 2
        rest = whole.piece(slice(at, None)) if at < len(whole.t) else None
    counts = [size] * count
    if rest is not None:
        i = rest.i
        kept.append(np.array([[rest.t[0]], [i.min()], [i.sum()], [i.max()]]))
        counts.append(len(i))
    if not kept:
        raise refused(file, "no samples", "some")
    a = np.concatenate(kept, axis=1)
    return Outline(
        t=np.append(a[0], end), low=a[1], mean=a[2] / np.array(counts), high=a[3], rows=rows
    )
