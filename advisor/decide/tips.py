"""The nearest value of a lever at which the lead is lost, on either side of the value that stands.

Scores are no one-way functions of a figure: builds take turns, limits rule some out, prices have
breaks. So a side is laid out in places, and a scan (see `line`) carries builds along them by a few
draws; where the lead may be lost between two places, more are put there. A change that the scan
shows is closed in on to a thousandth (of 10 K for temperatures) with all draws and confirmed by
the real decision on both sides of it; where that takes another build or finds another part, the
search goes on from there.

What is promised: at a tip the real decision names another part, and at a value within a thousandth
before it still the winner. No nearer place of the grid loses the lead by more than a scan errs.
What comes and goes between two places, what only a build does that no decision on the way has
taken, and parts that are out but between two of the few places of `newcomers`, may be missed.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.levers import NEAR, Lever, part_way
from advisor.dataclass import dataclass
from advisor.decide.closing import Search, Tip, asked, pinned, share_of, surely_kept
from advisor.decide.leading import Ask, Decided, Deciding
from advisor.decide.least_digits import least_digits
from advisor.decide.line import Line
from advisor.decide.looks import scanned_together
from advisor.decide.newcomers import Newcomers, let_in
from advisor.decide.ranks import DIGITS
from advisor.decide.refused import last_that_may
from advisor.decide.scans import COARSE, FINE, MORE
from advisor.decide.workers import over_groups
from advisor.figures import Path
from advisor.model.draws import Array

# Where the lead may be lost between two places, so many intervals are put there, and so often.
PARTS = 4
ROUNDS = 2
# Points that a scanned lead may be too great by.
SLACK = 0.5
# Times that a side is gone along once more, by the builds that were found on it.
AGAIN = 3
# Levers that are first looked along in common passes.
SIDE_BY_SIDE = 8
Done = Callable[[int], None]


@dataclass(frozen=True, slots=True)
class Changes:
    """The nearest value at which another part leads, and the nearest at which nothing fits."""

    tip: Tip | None
    limit: Tip | None


def nearest_tips(
    deciding: Deciding,
    levers: Sequence[tuple[Lever, tuple[float, float]]],
    points: int,
    done: Done | None = None,
    jobs: int = 1,
) -> list[Changes]:
    """The nearest changes of each lever, in its own unit, on both sides of the value that stands.

    Beyond a change on its side nothing is looked for, nor farther than a tip on the other side.

    Parameters
    ----------
    levers : each with the ends of the range looked at. points : places on each side to begin with.
    done : told how many levers are through. jobs : workers; the result does not depend on it.
    """
    groups: dict[str, list[int]] = {}
    for n, (lever, _) in enumerate(levers):
        groups.setdefault(lever.path.document if deciding.of_part(lever) else "", []).append(n)
    moved = {p for part in groups for p in ([part] if part else deciding.scores)}
    for draws in (COARSE, FINE):
        deciding.look_as_now(moved, draws)
    deciding.look_as_now(moved, MORE, chosen=True)
    if any(deciding.of_money(lever) for lever, _ in levers):
        deciding.prepare_looks()
    beside: dict[Path, list[Lever]] = {}
    for lever, _ in levers:
        beside.setdefault(lever.path.parent, []).append(lever)
    looks = [
        some[k : k + SIDE_BY_SIDE]
        for some in groups.values()
        for k in range(0, len(some), SIDE_BY_SIDE)
    ]

    def look(group: Sequence[int]) -> list[FirstLook]:
        return _first(deciding.apart(), [levers[n] for n in group], beside, points)

    first = over_groups(look, looks, jobs, None, deciding.put_away)

    def search(group: Sequence[int]) -> list[Changes]:
        here = deciding.apart()
        lines = [_begun(here, levers[n][0], first[n]) for n in group]
        return _run(
            here,
            [
                _told_in_digits(line, first[n].ends, points, first[n].late)
                for line, n in zip(lines, group, strict=True)
            ],
        )

    # those of one part are decided in common passes
    searches = [groups[part] for part in groups if part] + [[n] for n in groups.get("", ())]
    return over_groups(search, searches, jobs, done, deciding.put_away)


@dataclass(frozen=True, slots=True)
class FirstLook:
    """The first looks along a lever: the `ends` that may stand of the range, `places` (N,) on both
    sides, `points` (B, N) of what is carried there, NaN where nobody looked; `untold` where no scan
    tells anything; `late` the parts that come in."""

    ends: tuple[float, float]
    places: Array
    points: Array
    untold: bool
    late: Newcomers


def _first(
    deciding: Deciding,
    levers: Sequence[tuple[Lever, tuple[float, float]]],
    beside: Mapping[Path, Sequence[Lever]],
    points: int,
) -> list[FirstLook]:
    """First looks along levers that move the same builds, in common passes; `beside`: those that
    lie in a path."""
    lines = [Line(deciding, lever) for lever, _ in levers]
    ends = []
    for lever, (low, high) in levers:
        near = [one.now for one in beside[lever.path.parent] if one is not lever]
        limits = [now for now in near if now is not None]
        reach = [last_that_may(deciding, lever, end, limits) for end in (low, high)]
        ends.append((reach[0], reach[1]))
    places = [
        np.empty(0) if lever.whole or deciding.weighs(lever) else _outward(lever, reach, points)
        for (lever, _), reach in zip(levers, ends, strict=True)
    ]
    scanned_together(lines, places)
    out = []
    for line, (lever, _), both, at in zip(lines, levers, ends, places, strict=True):
        given, untold = line.given(at), line.untold
        sides = [_laid_out(lever, end, points) for end in both if end != lever.now]
        late = let_in(line, sides)
        out.append(FirstLook(ends=both, places=at, points=given, untold=untold, late=late))
    return out


def _begun(deciding: Deciding, lever: Lever, look: FirstLook) -> Line:
    line = Line(deciding, lever, look.late.parts)
    line.take_over(look.places, line.carried, look.points)
    line.untold = look.untold
    return line


def _outward(lever: Lever, ends: tuple[float, float], points: int) -> Array:
    sides = [_laid_out(lever, end, points) for end in ends if end != lever.now]
    return np.concatenate([np.empty(0), *sides])


def _run(deciding: Deciding, searches: Sequence[Generator[Ask, Decided, Changes]]) -> list[Changes]:
    """Searches to their ends, what they ask for in common passes."""
    out: dict[int, Changes] = {}
    asked: list[tuple[int, Ask]] = []

    def go_on(n: int, found: Decided | None) -> None:
        try:
            asked.append((n, searches[n].send(found)))  # type: ignore[arg-type]
        except StopIteration as end:
            out[n] = end.value

    for n in range(len(searches)):
        go_on(n, None)
    while asked:
        now, asked = asked, []
        for (n, _), found in zip(now, deciding.decided([ask for _, ask in now]), strict=True):
            go_on(n, found)
    return [out[n] for n in range(len(searches))]


def _told_in_digits(
    line: Line, ends: tuple[float, float], points: int, late: Newcomers
) -> Generator[Ask, Decided, Changes]:
    """The changes on both sides of a lever, with the values by which they are told."""
    for x in late.at:
        there = yield Ask(line.lever, x, late.parts, stated=True)
        line.bring(there.builds)
    found = yield from _both(line, ends, points)
    tip = yield from _in_digits(line, found.tip)
    return Changes(tip=tip, limit=(yield from _in_digits(line, found.limit)))


def _in_digits(line: Line, tip: Tip | None) -> Search:
    return None if tip is None else replace(tip, told=(yield from least_digits(line, tip)))


def _both(line: Line, ends: tuple[float, float], points: int) -> Generator[Ask, Decided, Changes]:
    """Both sides of a lever, the one that the scan loses sooner first."""
    lever = line.lever
    now = lever.now
    assert now is not None
    sides = [end for end in ends if end != now]
    places = {end: _laid_out(lever, end, points) for end in sides}
    looks: dict[float, Decided | None] = {}
    if sides:
        leads = line.leads(np.concatenate([*places.values()]))
        if leads is not None:
            each = np.split(leads, np.cumsum([len(at) for at in places.values()])[:-1])
            sides = [sides[n] for n in sorted(range(len(sides)), key=lambda n: _lost(each[n]))]
        # at both ends before builds are scanned anew, but where a tip may bring the other end near
        here = sides[:1] if leads is not None and (leads < 0).any() else sides
        for end in [end for end in here if _worth_a_look(line, places[end])]:
            looks[end] = yield line.look(end)
        looks = {end: looks.get(end) for end in here}
        for end, look in looks.items():
            if look is not None:
                line.learn(line.look(end), look)
    tip: Tip | None = None
    limit: Tip | None = None
    for end in sides:
        at, far = places[end], end
        if tip is not None and (far := _within(lever, end, tip.at)) != end:
            at = np.array([*at[np.abs(at - now) < abs(far - now)], *([far] if far != now else [])])
        if not at.size:
            continue
        look = looks.get(end)
        if far not in looks and _worth_a_look(line, at):
            look = yield line.look(far)
            line.learn(line.look(far), look)
        found = yield from _side(line, at, look)
        if found is None:
            continue
        if found.leader is None:
            limit = _nearest([limit, found], lever)
        else:
            tip = _nearest([tip, found], lever)
    return Changes(tip, limit)


def _worth_a_look(line: Line, places: Array) -> bool:
    """Whether to look for the builds that stand at the end of places outward."""
    if line.leads(places) is None:
        return True
    return line.deciding.plans(line.lever) and line.may_bring(places)


def _lost(leads: Array) -> int:
    return int(np.argmax(leads < 0)) if (leads < 0).any() else len(leads)


def _within(lever: Lever, end: float, tip: float) -> float:
    """The end of a side, no farther from the value that stands than a tip on the other side."""
    now = lever.now
    assert now is not None
    mirrored = now * now / tip if now > 0 and tip > 0 and end > 0 else 2 * now - tip
    if lever.whole:
        mirrored = float(round(mirrored))
    return mirrored if abs(mirrored - now) < abs(end - now) else end


def _nearest(tips: Sequence[Tip | None], lever: Lever) -> Tip | None:
    now = lever.now
    assert now is not None
    there = [tip for tip in tips if tip is not None]
    return min(there, key=lambda tip: _distance(tip.at, now), default=None)


def _distance(x: float, now: float) -> float:
    if x > 0 and now > 0:
        return abs(float(np.log(x / now)))
    return abs(x - now)


def _laid_out(lever: Lever, end: float, points: int) -> Array:
    """Places outward, the value that stands not among them; closer together near it."""
    now = lever.now
    assert now is not None
    places = [part_way(now, end, (i / points) ** 1.5) for i in range(1, points)] + [end]
    if lever.whole:
        places = list(dict.fromkeys(float(round(x)) for x in places))
    return np.array([x for x in places if x != now])


# One side ----------------------------------------------------------------------------------------


def _side(line: Line, places: Array, look: Decided | None) -> Search:
    """The nearest change on a side, looked for from `places` outward; `look` is what there is at
    the last one."""
    lever = line.lever
    untold = line.leads(places) is None
    out = look is not None and line.deciding.winner not in look.standing.scores
    if untold and look is not None and line.deciding.moves_nothing(lever, look.standing):
        return None
    if untold:
        places = places[len(places) % 2 == 0 :: 2]
        line.staged = not line.deciding.of_part(lever)
        line.untold = not line.staged
        if line.leads(places) is None:
            return (yield from _decided(line, places))
    tip: Tip | None = None
    for _ in range(AGAIN):
        carried = len(line.carried)
        nearer = yield from _walked(line, places, out and tip is None)
        if nearer is None:
            nearer = yield from _checked(line, places)
        if nearer is None:
            break
        tip = nearer
        now = lever.now
        assert now is not None
        places = np.array([*places[np.abs(places - now) < abs(tip.at - now)]])
        if len(line.carried) == carried or not places.size:
            break
    return tip


def _walked(line: Line, places: Array, certain: bool) -> Search:
    """The first change along places outward, those between which it may hide looked into;
    `certain`: whether the last one is asked at whatever the scan tells."""
    now, winner = line.lever.now, line.deciding.winner
    assert now is not None
    close = now
    inside = np.empty(0)
    looked: set[tuple[float, float]] = set()
    while True:
        still = np.abs(places - now) > abs(close - now)
        ahead = places[still]
        if not ahead.size:
            return None
        leads = line.leads(places)
        assert leads is not None
        leads = leads[still]
        # beyond what a decision told, though not as near as changes are told apart
        near = line.lever.reach(close, 2 * NEAR) if close != now else 0.0
        inside = inside[np.abs(inside - now) > abs(close - now) + near]
        ahead, leads = _looked_into(line, close, places, ahead, leads, inside, looked)
        inside = np.setdiff1d(ahead, places)
        suspects = _suspects(line.known_lead(close), leads, certain)
        if not suspects.size:
            return None
        at = suspects[0]
        x = float(ahead[at])
        if leads[at] < 0:
            before = close if at == 0 else float(ahead[at - 1])
            found = yield from pinned(line, (close, before), x, None)
            if found is not None:
                return found
        elif not surely_kept(line, x):
            there, _ = yield from asked(line, x)
            if there.leader != winner:
                return (yield from pinned(line, (close, close), x, there))
        close = x


def _checked(line: Line, places: Array) -> Search:
    """The change that more draws show at places outward where few showed none."""
    now = line.lever.now
    assert now is not None
    leads, told = line.surely(places)
    lost = np.flatnonzero(_told(leads) < 0)
    if not lost.size:
        return None
    kept = np.flatnonzero(told[: lost[0]])
    close = float(places[kept[-1]]) if kept.size else now
    return (yield from pinned(line, (now, close), float(places[lost[0]]), None))


def _looked_into(
    line: Line,
    close: float,
    every: Array,
    places: Array,
    leads: Array,
    inside: Array,
    looked: set[tuple[float, float]],
) -> tuple[Array, Array]:
    """Places and scanned leads with those `inside`, and with more of both where the lead may be
    lost in between, as far as the first where it clearly is. `every` are the places to begin
    with, `looked` are the intervals that were
    looked into, and are."""
    grid = np.concatenate([[line.lever.now], every])
    ahead = line.deciding.stands().lead if close == line.lever.now else float(leads[0])
    places, leads = np.concatenate([[close], places]), np.concatenate([[ahead], leads])
    wanted = inside.tolist()
    for n in range(ROUNDS + 1):
        if n or not wanted:
            clearly = np.flatnonzero(leads[1:] < -SLACK)
            last = int(clearly[0]) if clearly.size else len(places)
            ends = [(float(places[i]), float(places[i + 1])) for i in _doubtful(leads) if i < last]
            ends = [
                pair
                for pair in ends
                if pair not in looked and _wide(grid, *pair) and line.hides(*pair)
            ]
            looked |= set(ends)
            wanted = [x for pair in ends for x in _between(line.lever, *pair, PARTS)]
            wanted = [x for x in wanted if x not in places]
        if not wanted:
            break
        more = line.between(np.array(wanted))
        places, leads = np.concatenate([places, wanted]), np.concatenate([leads, more])
        order = np.argsort(np.abs(places - close), kind="stable")
        places, leads = places[order], leads[order]
        wanted = []
    return places[1:], leads[1:]


def _wide(grid: Array, close: float, beyond: float) -> bool:
    """Whether an interval is worth more places: not one that is as narrow as `ROUNDS` leave it."""
    order = np.sort(grid)
    at = int(np.clip(np.searchsorted(order, (close + beyond) / 2), 1, len(order) - 1))
    low, high = float(order[at - 1]), float(order[at])
    width = share_of(low, high, beyond) - share_of(low, high, close)
    return bool(abs(width) > 1.01 / PARTS**ROUNDS)


def _doubtful(leads: Array) -> NDArray[np.intp]:
    """Intervals, by their nearer place, inside which the lead may fall below zero unseen.

    Builds that take turns make a dent between two places. It is taken to be no deeper than what
    the lead changes by from place to place there.
    """
    leads = _told(leads)
    moved = np.abs(np.diff(leads))
    around = np.concatenate(([0.0], moved, [0.0]))
    around = np.maximum.reduce([around[:-2], around[1:-1], around[2:]])
    least = np.minimum(leads[:-1], leads[1:])
    # what moves nothing hides nothing; what is lost at its end is closed in on anyway
    return np.flatnonzero((least >= 0) & (least - around < SLACK) & (around > 0))


def _told(leads: Array) -> Array:
    """Leads with the decimals that count, those of parts without a rival within the scale."""
    return np.clip(np.round(leads, DIGITS), -100.0, 100.0)


def _between(lever: Lever, close: float, beyond: float, parts: int) -> list[float]:
    places = [part_way(close, beyond, k / parts) for k in range(1, parts)]
    if lever.whole:
        places = list(dict.fromkeys(float(round(x)) for x in places))
    return [x for x in places if x not in (close, beyond)]


def _suspects(close: float, leads: Array, certain: bool) -> NDArray[np.intp]:
    """Places to ask at: where a scanned lead is lost, and where it is least before it grows again
    and small; the last one if that is `certain`. `close` is the lead just before the first."""
    leads = _told(leads)
    # of places with one lead the first stands for all
    first = np.flatnonzero(np.diff(leads, prepend=np.inf))
    steps = leads[first]
    around = np.concatenate((_told(np.array([close])), steps, [np.inf]))
    least = first[(steps < around[:-2]) & (steps < around[2:]) & (steps < SLACK)]
    last = [len(leads) - 1] if certain else []
    return np.unique([*np.flatnonzero(leads < 0), *least, *last]).astype(np.intp)


# By decisions alone ------------------------------------------------------------------------------


def _decided(line: Line, places: Array) -> Search:
    """The nearest change on a side where no scan can tell: by decisions at all places."""
    lever, winner = line.lever, line.deciding.winner
    now = lever.now
    assert now is not None
    close = now
    for x in places.tolist():
        found = yield Ask(lever, x, line.parts)
        there = found.standing
        if there.leader != winner:
            beyond = x
            while (middle := lever.between(close, beyond, NEAR)) is not None:
                found = yield Ask(lever, middle, line.parts)
                if found.standing.leader == winner:
                    close = middle
                else:
                    beyond, there = middle, found.standing
            return Tip(beyond, there.leader)
        close = x
    return None
