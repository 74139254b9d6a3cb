"""The nearest value of a lever at which another part takes the lead.

From the value that stands the search goes outward on both sides. Scores are no one-way functions
of a figure: builds take turns, limits rule some out, prices have breaks. So a side is laid out in
places, and where the lead may be lost between two of them, more are put there. Where many values
are decided at once, each place is a real decision. Where each takes a decision of its own, a scan
carries builds along and shows where to ask. A change that was found is closed in on to a
thousandth.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.levers import NEAR, Lever, part_way
from advisor.decide.leading import Deciding, Shared, Standing
from advisor.decide.ranks import DIGITS
from advisor.model.draws import Array

# Where the lead may be lost between two places, so many intervals are put there, and so often: six
# places a side then come to 384 where it matters, as near to each other as 0.5 %.
PARTS = 8
ROUNDS = 2
# Places of a scan on a side before it is looked into: a scan costs little more for them than for a
# few, and its rounds then reach 0.1 %.
SCANNED = 24
# Points that a scanned lead may be too great by, as another build of a rival may be better there.
SLACK = 3.0
# Of the places where a scanned lead stays lost, every so many are asked at: the leader may have a
# better build where it begins and lose further on.
STRIDE = 12
# Times that a change nearer than the one found is looked for, by the builds that it has shown.
NEARER = 3

Done = Callable[[int], None]
Places = list[float]
At = list[tuple[float, Standing]]  # outward from the value that stands


@dataclass(frozen=True, slots=True)
class Tip:
    """Where a lever tips the decision: the first value found beyond the change, and who leads."""

    at: float
    leader: str | None


# A search asks for the standings at places, and goes on with them.
Search = Generator[Places, list[Standing], Tip | None]


def nearest_tips(
    deciding: Deciding,
    levers: Sequence[tuple[Lever, tuple[float, float]]],
    points: int,
    done: Done | None = None,
) -> list[Tip | None]:
    """The nearest tip of each lever on either side of the value that stands; None without one.

    Parameters
    ----------
    levers : each with the ends of the range looked at. points : places on each side to begin with
        where no scan can tell. done : told how many levers are through.
    """
    levers = [
        (lever, (_last_that_may(deciding, lever, low), _last_that_may(deciding, lever, high)))
        for lever, (low, high) in levers
    ]
    parts = [(lever, ends) for lever, ends in levers if deciding.of_part(lever)]
    together = iter(_together(deciding, parts, points))
    out: list[Tip | None] = []
    for lever, ends in levers:
        out.append(
            next(together) if deciding.of_part(lever) else _alone(deciding, lever, ends, points)
        )
        if done is not None:
            done(len(out))
    return out


def _last_that_may(deciding: Deciding, lever: Lever, end: float) -> float:
    """The end of a side, or the last value before it that may stand where the lever does."""
    now = lever.now
    assert now is not None
    if deciding.may_stand(lever, end):
        return end
    last, refused = now, end
    while (middle := lever.between(last, refused, NEAR)) is not None:
        if deciding.may_stand(lever, middle):
            last = middle
        else:
            refused = middle
    return last


def _together(
    deciding: Deciding, levers: Sequence[tuple[Lever, tuple[float, float]]], points: int
) -> list[Tip | None]:
    """The tips of levers that move one part each: all their searches, step by step, in common
    passes."""
    searches = [
        (n, lever, _split(deciding, lever, end, points, PARTS))
        for n, (lever, ends) in enumerate(levers)
        for end in ends
        if end != lever.now
    ]
    found: dict[int, list[Tip]] = {n: [] for n in range(len(levers))}
    asked = [(n, lever, search, next(search)) for n, lever, search in searches]
    while asked:
        wanted = [(lever, x) for _, lever, _, places in asked for x in places]
        standings = iter(deciding.of_parts(wanted))
        further = []
        for n, lever, search, places in asked:
            try:
                more = search.send([next(standings) for _ in places])
            except StopIteration as end:
                if end.value is not None:
                    found[n].append(end.value)
            else:
                further.append((n, lever, search, more))
        asked = further
    return [_nearest(tips, lever) for tips, (lever, _) in zip(found.values(), levers, strict=True)]


def _alone(deciding: Deciding, lever: Lever, ends: tuple[float, float], points: int) -> Tip | None:
    """The tip of a lever that several parts' scores rest on."""
    sides = [end for end in ends if end != lever.now]
    if deciding.weighs(lever):
        found = [
            _run(
                _split(deciding, lever, end, max(points, SCANNED), PARTS),
                lambda places: deciding.of_priority(lever, places),
            )
            for end in sides
        ]
        return _nearest(found, lever)
    line = Shared(deciding, lever)

    def ask(places: Places) -> list[Standing]:
        return [line.ask(x) for x in places]

    leads = None
    if not lever.whole and sides:
        places = [_evenly(lever, end) for end in sides]
        leads = line.scanned(np.concatenate(places))
    if leads is None:
        return _nearest(
            [_run(_split(deciding, lever, end, points, 2), ask) for end in sides], lever
        )
    # the side where the lead is lost sooner by the scan goes first: the other need not go farther
    each = np.split(leads, len(sides))
    order = sorted(range(len(sides)), key=lambda n: _first_lost(each[n]))
    tip: Tip | None = None
    for n in order:
        end = sides[n] if tip is None else _within(lever, sides[n], tip.at)
        other = _run(_scanned(line, end, places[n], each[n]), ask)
        tip = _nearest([tip, other], lever)
    return tip


def _first_lost(leads: Array) -> int:
    return int(np.argmax(leads < 0)) if (leads < 0).any() else len(leads)


def _within(lever: Lever, end: float, tip: float) -> float:
    """The end of a side, no farther from the value that stands than a tip on the other side."""
    now = lever.now
    assert now is not None
    mirrored = now * now / tip if now > 0 and tip > 0 and end > 0 else 2 * now - tip
    return mirrored if abs(mirrored - now) < abs(end - now) else end


def _run(search: Search, ask: Callable[[Places], list[Standing]]) -> Tip | None:
    places = next(search)
    while True:
        try:
            places = search.send(ask(places))
        except StopIteration as end:
            tip: Tip | None = end.value
            return tip


def _nearest(tips: Sequence[Tip | None], lever: Lever) -> Tip | None:
    now = lever.now
    assert now is not None
    there = [tip for tip in tips if tip is not None]
    return min(there, key=lambda tip: _distance(tip.at, now), default=None)


def _distance(x: float, now: float) -> float:
    if x > 0 and now > 0:
        return abs(float(np.log(x / now)))
    return abs(x - now)


# By real decisions -------------------------------------------------------------------------------


def _split(deciding: Deciding, lever: Lever, end: float, points: int, parts: int) -> Search:
    """The nearest change on a side, by decisions at places, more where the lead may be lost.

    `parts` are what an interval is split into: many where many places are decided at once.
    """
    now = lever.now
    assert now is not None
    winner = deciding.winner
    places = _outward(now, end, points, lever.whole)
    at: At = [(now, deciding.stands()), *zip(places, (yield places), strict=True)]
    for _ in range(ROUNDS):
        at = _till_lost(at, winner)
        inside = [
            x
            for i in _doubtful(np.array([there.lead for _, there in at]), 0.0)
            for x in _between(lever, at[i][0], at[i + 1][0], parts)
        ]
        if not inside:
            break
        at = _merged(at, zip(inside, (yield inside), strict=True), now)
    at = _till_lost(at, winner)
    if at[-1][1].leader == winner:
        return None
    return (yield from _closed_in(lever, winner, at[-2][0], at[-1], parts))


def _closed_in(
    lever: Lever, winner: str, close: float, far: tuple[float, Standing], parts: int
) -> Search:
    """The change between a place where the winner leads and one where it does not."""
    beyond, there = far
    while lever.between(close, beyond, NEAR / 2) is not None:
        places = _between(lever, close, beyond, parts)
        for x, standing in zip(places, (yield places), strict=True):
            if standing.leader != winner:
                beyond, there = x, standing
                break
            close = x
    return Tip(beyond, there.leader)


def _till_lost(at: At, winner: str) -> At:
    """The places up to the first where another part leads."""
    lost = next((i for i, (_, there) in enumerate(at) if there.leader != winner), len(at) - 1)
    return at[: lost + 1]


def _doubtful(leads: Array, slack: float) -> NDArray[np.intp]:
    """Intervals, by their nearer place, inside which the lead may fall to `slack` or below.

    Builds that take turns make a dent between two places. It is taken to be no deeper than what
    the lead changes by from place to place there.
    """
    leads = _told(leads)
    moved = np.abs(np.diff(leads))
    around = np.concatenate(([0.0], moved, [0.0]))
    around = np.maximum.reduce([around[:-2], around[1:-1], around[2:]])
    least = np.minimum(leads[:-1], leads[1:])
    # what moves nothing hides nothing
    return np.flatnonzero((least - around < slack) & (around > 0))


def _told(leads: Array) -> Array:
    """Leads with the decimals that count, those of parts without a rival within the scale."""
    return np.clip(np.round(leads, DIGITS), -100.0, 100.0)


def _between(lever: Lever, close: float, beyond: float, parts: int) -> Places:
    places = [part_way(close, beyond, k / parts) for k in range(1, parts)]
    if lever.whole:
        places = list(dict.fromkeys(float(round(x)) for x in places))
    return [x for x in places if x not in (close, beyond)]


def _merged(at: At, more: Sequence[tuple[float, Standing]] | zip, now: float) -> At:  # type: ignore[type-arg]
    return sorted([*at, *more], key=lambda one: abs(one[0] - now))


def _outward(now: float, end: float, points: int, whole: bool) -> Places:
    # closer together near the value that stands
    places = [part_way(now, end, (i / points) ** 1.5) for i in range(1, points + 1)]
    if whole:
        places = list(dict.fromkeys(float(round(x)) for x in places))
    return [x for x in places if x != now]


# By a scan ---------------------------------------------------------------------------------------


def _scanned(line: Shared, end: float, places: Array, leads: Array) -> Search:
    """The nearest change on a side, by decisions where a scan shows that the lead may be lost.

    `leads` (N,) are the scanned ones at `places` outward, of which those up to `end` count.
    """
    lever, winner = line.lever, line.deciding.winner
    now = lever.now
    assert now is not None
    # what the end shows is carried along
    (last,) = yield [end]
    known = {end: last}
    if end != places[-1]:
        places, leads = _laid_out(line, end)
    tip: Tip | None = None
    for _ in range(1 + NEARER):
        places, leads = _looked_into(line, places, leads)
        nearer = None
        before, ahead = now, line.deciding.stands().lead
        for x in places[_suspects(leads, ahead)].tolist():
            if tip is not None and abs(x - tip.at) <= 2 * NEAR * abs(tip.at):
                continue
            if x not in known:
                (known[x],) = yield [x]
            there = known[x]
            if there.leader != winner:
                nearer = yield from _pinned(line, (before, ahead), (x, there))
                break
            before, ahead = x, there.lead
        if nearer is None:
            break
        tip = nearer
        places, leads = _laid_out(line, tip.at)
    return tip


def _evenly(lever: Lever, end: float) -> Array:
    now = lever.now
    assert now is not None
    return np.array([*(part_way(now, end, i / SCANNED) for i in range(1, SCANNED)), end])


def _laid_out(line: Shared, end: float) -> tuple[Array, Array]:
    """(places outward, scanned leads) from the value that stands to an end, by what counts there"""
    now = line.lever.now
    assert now is not None
    places = _evenly(line.lever, end)
    leads = line.scanned(places, (now, end))
    assert leads is not None
    return places, leads


def _looked_into(line: Shared, places: Array, leads: Array) -> tuple[Array, Array]:
    """Places and leads with more of both where the lead may be lost, as far as the first where it
    clearly is: from there on a decision tells more than a scan."""
    now = line.lever.now
    assert now is not None
    clearly = np.flatnonzero(leads < -SLACK)
    last = int(clearly[0]) if clearly.size else len(places)
    from_now = np.concatenate(([line.deciding.stands().lead], leads))
    ends = np.concatenate(([now], places))
    doubtful = [i for i in _doubtful(from_now, SLACK) if i <= last]
    inside = [x for i in doubtful for x in _between(line.lever, ends[i], ends[i + 1], PARTS)]
    if not inside:
        return places, leads
    about = {float(ends[i]) for i in doubtful} | {float(ends[i + 1]) for i in doubtful}
    more = line.scanned(np.array(inside), tuple(sorted(about)))
    assert more is not None
    places, leads = np.concatenate([places, inside]), np.concatenate([leads, more])
    order = np.argsort(np.abs(places - now), kind="stable")
    return places[order], leads[order]


def _suspects(leads: Array, stands: float) -> NDArray[np.intp]:
    """Places to ask at: where a scanned lead is lost, on the way while it stays lost, where it is
    least before it grows again, and the end; `stands` is the lead at the value that stands."""
    leads = _told(leads)
    lost = leads < 0
    begins = np.flatnonzero(lost & ~np.concatenate(([False], lost[:-1])))
    while_lost = np.flatnonzero(lost)[::STRIDE]
    around = np.concatenate(([round(stands, DIGITS)], leads, [np.inf]))
    least = (leads < around[:-2]) & (leads <= around[2:]) & (leads < SLACK)
    return np.unique([*begins, *while_lost, *np.flatnonzero(least), len(leads) - 1])


def _pinned(line: Shared, near: tuple[float, float], far: tuple[float, Standing]) -> Search:
    """The change between a place where the winner leads and one where it does not.

    Where the scan shows the change between the two it is asked for on both sides of it; then false
    position on the lead, with halving against steps.
    """
    lever, winner = line.lever, line.deciding.winner
    close, ahead = near
    beyond, there = far
    behind = there.lead
    side = 0
    first = _crossing(line, close, beyond)
    for n in range(200):
        middle = lever.between(close, beyond, NEAR / 2)
        if middle is None:
            break
        if first:
            at = first.pop()
            if not min(close, beyond) < at < max(close, beyond):
                continue
        else:
            guess = _guess(close, beyond, ahead, behind) if n % 3 != 2 else None
            at = middle if guess is None else guess
        (standing,) = yield [at]
        if standing.leader == winner:
            close, ahead = at, standing.lead
            behind = behind / 2 if side == 1 else behind
            side = 1
        else:
            beyond, behind, there = at, standing.lead, standing
            ahead = ahead / 2 if side == -1 else ahead
            side = -1
    return Tip(beyond, there.leader)


def _crossing(line: Shared, close: float, beyond: float) -> Places:
    """Places a little before and a little after the change that the scan shows; the last first."""
    lever = line.lever
    share = 0.5
    while lever.between(close, beyond, NEAR / 10) is not None:
        places = np.array([part_way(close, beyond, k / SCANNED) for k in range(SCANNED + 1)])
        leads = line.scanned(places, (close, beyond))
        assert leads is not None
        lost = np.flatnonzero(leads < 0)
        if not lost.size or lost[0] == 0:
            return []
        close, beyond = places[lost[0] - 1], places[lost[0]]
        before, after = leads[lost[0] - 1], leads[lost[0]]
        if np.isfinite(before) and np.isfinite(after):
            share = float(before / (before - after))
    at = part_way(close, beyond, share)
    step = float(np.copysign(NEAR / 5 * abs(at), beyond - close))
    return [at - step, at + step]


def _guess(close: float, beyond: float, ahead: float, behind: float) -> float | None:
    """Where a straight line between the leads crosses zero, a little beyond it."""
    if not (np.isfinite(ahead) and np.isfinite(behind)) or ahead - behind <= 0:
        return None
    share = min(max(ahead / (ahead - behind), 0.0) + 2e-4, 1.0)
    x = part_way(close, beyond, share)
    inside = min(close, beyond) < x < max(close, beyond)
    return x if inside else None
