"""Stretches told by their current, where no marker tells them: changes of the level."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

import numpy as np

from advisor.bench.chunks import Chunk, Floats

READINGS = 8  # ways of parting levels that are tried


def binned(chunks: Iterable[Chunk], most: int = 1 << 15) -> tuple[Floats, Floats]:
    """(B+1,) edges in s and (B,) mean current of pieces of as many samples each, B up to `most`."""
    size = 1
    sums: list[Floats] = []
    edges: list[Floats] = []
    rest_i: Floats = np.empty(0)
    rest_t: Floats = np.empty(0)
    total = 0
    end = np.nan
    for chunk in chunks:
        end = float(chunk.t[-1]) if len(chunk.t) else end
        rest_i = np.concatenate((rest_i, chunk.i))
        rest_t = np.concatenate((rest_t, chunk.t))
        whole = len(rest_i) // size
        sums.append(rest_i[: whole * size].reshape(whole, size).sum(axis=1))
        edges.append(rest_t[: whole * size : size])
        rest_i, rest_t = rest_i[whole * size :], rest_t[whole * size :]
        total += whole
        while total > most:
            # twice as long, half as many; an odd one waits for its fellow
            s, e = np.concatenate(sums), np.concatenate(edges)
            if len(s) % 2:
                missing = np.repeat(s[-1] / size, size)
                rest_i = np.concatenate((missing, rest_i))
                rest_t = np.concatenate((np.repeat(e[-1], size), rest_t))
                s, e = s[:-1], e[:-1]
            sums, edges = [s.reshape(-1, 2).sum(axis=1)], [e[::2]]
            size *= 2
            total = len(sums[0])
    found = np.concatenate(sums) / size if sums else np.empty(0)
    return np.append(np.concatenate(edges) if edges else np.empty(0), end), found


def changes(level: Floats) -> list[int]:
    """Where a level changes: the first place of each stretch, and the end.

    Pelt with least squares (Killick, Fearnhead & Eckley 2012) and the penalty 2 ln(n) s², with s²
    from the differences of neighbours.
    """
    import ruptures

    noise = float(np.median(np.abs(np.diff(level)))) / (0.6745 * np.sqrt(2))
    noise = max(noise, 1e-9 * float(np.ptp(level)), 1e-30)
    search = ruptures.KernelCPD(kernel="linear", min_size=2).fit((level / noise)[:, None])
    return [0, *map(int, search.predict(pen=2.0 * np.log(len(level))))]


def by_current(level: Floats) -> Iterator[list[tuple[int, int]]]:
    """Stretches of high current, as (first, past the last) piece, from the changes of the level.

    What is high is a matter of where to part the levels: each reading parts them at another step,
    the widest first.
    """
    if len(level) < 8:
        return
    breaks = changes(level)
    means = np.array([level[a:b].mean() for a, b in pairwise(breaks)])
    ranked = np.sort(means)
    steps = np.diff(ranked)
    for at in np.argsort(-steps, kind="stable")[:READINGS]:
        limit = 0.5 * (ranked[at] + ranked[at + 1])
        found: list[tuple[int, int]] = []
        for (a, b), mean in zip(pairwise(breaks), means, strict=True):
            if mean > limit:
                if found and found[-1][1] == a:
                    found[-1] = (found[-1][0], b)
                else:
                    found.append((a, b))
        yield found


def refined(chunks: Iterable[Chunk], spans: Sequence[tuple[float, float]]) -> Iterator[float]:
    """The change in each span of time, s, by the split into two levels of least squares."""
    kept: list[tuple[list[Floats], list[Floats]]] = [([], []) for _ in spans]
    for chunk in chunks:
        if not len(chunk.t):
            continue
        for (begin, end), (times, currents) in zip(spans, kept, strict=True):
            if begin <= chunk.t[-1] and end >= chunk.t[0]:
                a, b = np.searchsorted(chunk.t, (begin, end))
                times.append(chunk.t[a:b].copy())
                currents.append(chunk.i[a:b].copy())
    for times, currents in kept:
        t, i = np.concatenate(times), np.concatenate(currents)
        n = np.arange(1, len(i))
        total = np.cumsum(i - i.mean())
        # least squares of two levels is greatest spread between them
        gain = total[:-1] ** 2 * (1 / n + 1 / (len(i) - n))
        at = int(np.argmax(gain))
        yield 0.5 * float(t[at] + t[at + 1])
