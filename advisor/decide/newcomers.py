"""Parts that are out as things stand and come in along a lever, where they may lead.

On each side of a lever the parts that wait are looked at, by the stated values, at a few places
from its end inward. Those that stand at one of them and may lead there come in somewhere before it:
the first of the places outward at which they stand is looked for by halving. From there on the
search carries their builds along, as it does those of the parts that stand now.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np

from advisor.dataclass import dataclass
from advisor.decide.builds import Build
from advisor.decide.leading import FAR, Ask
from advisor.decide.line import Line
from advisor.decide.scans import MORE
from advisor.model.draws import Array

# Of the places of a side so many are looked at, the last of them and those evenly before it.
LOOKS = 2


@dataclass(frozen=True, slots=True)
class Newcomers:
    """Parts that come in along a lever, and values at which builds of them stand, SI."""

    parts: tuple[str, ...] = ()
    at: tuple[float, ...] = ()


def let_in(line: Line, sides: Sequence[Array]) -> Newcomers:
    """The parts that come in along a lever and may lead where they do.

    Parameters
    ----------
    sides : places (N,) SI outward, of each side.
    """
    deciding, lever = line.deciding, line.lever
    if not deciding.waiting.parts or lever.path.document in deciding.base.catalogue.parts:
        return Newcomers()
    if deciding.of_money(lever) and not deciding.plans(lever):
        return Newcomers()
    found: dict[str, list[float]] = {}
    for places in sides:
        step = max(1, len(places) // LOOKS)
        # the end first: what keeps a part out there as it does now keeps it out in between
        looked = list(range(len(places) - 1, -1, -step)[:LOOKS])
        stuck: set[str] = set()
        nearest: dict[str, int] = {}
        for n in looked:
            near, same = _may_lead(line, sides, float(places[n]), stuck)
            stuck |= same
            for part in near:
                found.setdefault(part, []).append(float(places[n]))
                nearest[part] = n
        for part, n in nearest.items():
            first = _first_of(line, part, places, n - step if n != looked[-1] else -1, n)
            found[part].append(float(places[first]))
    at = dict.fromkeys(x for each in found.values() for x in each)
    return Newcomers(tuple(sorted(found)), tuple(at))


def _may_lead(
    line: Line, sides: Sequence[Array], x: float, stuck: Collection[str]
) -> tuple[list[str], set[str]]:
    """The parts that wait and stand at a value, not too far behind those that stand now, and those
    that are kept out there by something that the lever does not move; none of those `stuck`."""
    deciding, lever = line.deciding, line.lever
    if not _worth_a_look(line, x, -np.inf):
        return [], set()
    told = line.told(np.concatenate(list(sides)), x)
    least = -np.inf if told is None else told - FAR
    some = [part for part in _worth_a_look(line, x, least) if part not in stuck]
    scores, builds, same = _look(line, x, some)
    if not scores:
        return [], same
    if told is None:
        (there,) = deciding.decided([line.look(x)])
        least = max(there.standing.scores.values(), default=-np.inf) - FAR
    near = [part for part, points in scores.items() if points >= least]
    unsure = [b for b in builds if b.part in near and b.part in deciding.waiting.unsure]
    if unsure:
        # what stands at the stated values may break a need in too many of the draws
        points = deciding.scanned(lever, unsure, np.array([x]), MORE, staged=True)
        if points is not None:
            sure = {b.part for b, one in zip(unsure, points[:, 0], strict=True) if one > -np.inf}
            near = [p for p in near if p in sure or p not in deciding.waiting.unsure]
    return near, same


def _worth_a_look(line: Line, x: float, least: float) -> tuple[str, ...]:
    """The parts that may stand at a value and be worth so many points."""
    deciding, lever = line.deciding, line.lever
    moved = deciding.moved(lever, x)
    if moved is None:
        return ()
    return deciding.waiting.worth_a_look(moved[1], lever, deciding.of_money(lever), least)


def _look(
    line: Line, x: float, parts: Sequence[str]
) -> tuple[Mapping[str, float], Sequence[Build], set[str]]:
    """Those of some parts that stand at a value with their points, builds of them, and those that
    something keeps out that is the same as things stand."""
    deciding, lever = line.deciding, line.lever
    moved = deciding.moved(lever, x)
    if moved is None or not parts:
        return {}, (), set()
    if deciding.of_money(lever):
        (there,) = deciding.decided([Ask(lever, x, tuple(parts), stated=True)])
        return there.standing.scores, there.builds, set()
    found = deciding.at_stated(moved[0].only(parts), moved[1])
    reasons = deciding.waiting.reasons
    same = {p for p, why in found.screened.items() if set(why) & set(reasons.get(p, ()))}
    return (
        {c.part.part: c.score for c in found.candidates},
        [c.best for c in found.candidates],
        same,
    )


def _first_of(line: Line, part: str, places: Array, before: int, at: int) -> int:
    """The first of places outward at which a part stands, by its number, beyond the one numbered
    `before` as far as one at which it does."""
    while at - before > 1:
        middle = (before + at) // 2
        scores, _, _ = _look(line, float(places[middle]), [part])
        before, at = (before, middle) if part in scores else (middle, at)
    return at
