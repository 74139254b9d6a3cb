"""A change of the lead between two values of a lever, closed in on.

Where the scan loses the lead between them, the change is found by all draws of the builds that lead
their parts there; then the real decision is asked for just beyond it and just before it, and goes
for whatever it tells: each of its answers narrows the bracket, down to a thousandth.
"""

from __future__ import annotations

from collections.abc import Generator

import numpy as np

from advisor.catalogue.levers import NEAR, Lever, part_way
from advisor.dataclass import dataclass
from advisor.decide.leading import Ask, Decided, Standing
from advisor.decide.line import Line

# Places of a scan inside a bracket.
INSIDE = 8
# Values at which a change is closed in on with all draws, before decisions are asked for.
CLOSER = 6
# Share of a value within which a change is closed in on by decisions alone.
NARROW = 0.03


@dataclass(frozen=True, slots=True)
class Tip:
    """Where the lead is lost: the first value found beyond the change, and who leads there; None
    where nothing fits."""

    at: float
    leader: str | None


# A search asks for decisions, one at a time, and goes on with them.
Search = Generator[Ask, Decided, Tip | None]


def asked(line: Line, x: float) -> Generator[Ask, Decided, tuple[Standing, bool]]:
    """The standing at a value, and whether it took a build that was not carried along."""
    ask = line.ask(x)
    found = yield ask
    return found.standing, line.learn(ask, found)


def pinned(line: Line, near: tuple[float, float], beyond: float, there: Standing | None) -> Search:
    """The change between a place where the winner leads and one where it does not.

    `near` are the last place where the winner is known to lead and the last where the scan says so.
    `there` is the standing beyond; None where only the scan says that the lead is lost there: the
    change may turn out to be none.
    """
    lever, winner = line.lever, line.deciding.winner
    close, scanned = near
    far = beyond
    pending: float | None = None  # a change that was closed in on, asked for beyond it only
    for n in range(200):
        if there is not None and lever.between(close, beyond, NEAR) is None:
            return (yield from _told(line, beyond, there))
        halved = lever.between(close, beyond, NEAR / 4)
        guess, pending = pending, None
        if n > 1 and there is not None and lever.between(close, beyond, NARROW) is None:
            # where scans erred, decisions tell more so near than all draws of a few builds
            guess = _straight(close, line.known_lead(close), beyond, there.lead) if n % 2 else None
        elif guess is None and n % 4 != 3:
            inside = min(close, beyond) < scanned < max(close, beyond)
            start = scanned if inside and n % 4 != 2 else close
            guess = _crossing(line, start, beyond)
            pending = guess if there is None else None
        if guess is None:
            x = beyond if there is None else halved
        else:
            x = _beside(lever, guess, close, beyond, there is not None)
        if x is None:
            x = beyond if there is None else close
        if there is not None and x in (close, beyond):
            return (yield from _told(line, beyond, there))
        standing, _ = yield from asked(line, x)
        if standing.leader == winner:
            if x == far:
                return None
            close = x
        else:
            beyond, there = x, standing
    assert there is not None
    return (yield from _told(line, beyond, there))


def _told(line: Line, beyond: float, there: Standing) -> Search:
    """The change that was found; where none of the parts that were asked fits, one among all."""
    if there.leader is None:
        found = yield Ask(line.lever, beyond, None)
        there = found.standing
    return Tip(beyond, there.leader)


def _beside(lever: Lever, guess: float, close: float, beyond: float, sure: bool) -> float | None:
    """A value just beyond a guessed change; just before it where it is known to be lost there."""
    step = float(np.copysign(lever.reach(guess, 0.4 * NEAR), beyond - close))
    if lever.whole:
        step = float(np.copysign(0.5, beyond - close))
    low, high = sorted((close, beyond))
    for x in (guess - step, guess + step) if sure else (guess + step, guess - step):
        if lever.whole:
            x = float(np.ceil(x) if (x > guess) else np.floor(x))
        # a decision at what is known already would tell nothing
        if low < x < high and lever.between(x, beyond if sure else close, 0.1 * NEAR) is not None:
            return x
        if lever.whole and low < x < high:
            return x
    return lever.between(close, beyond, NEAR / 4)


def _crossing(line: Line, close: float, beyond: float) -> float | None:
    """Where the scan loses the lead, closed in on with all draws; None where it does not."""
    lever = line.lever
    places = np.array([part_way(close, beyond, k / INSIDE) for k in range(INSIDE + 1)])
    leads = line.between(places)
    lost = np.flatnonzero(leads < 0)
    if not lost.size or lost[0] == 0:
        return None
    at = int(lost[0])
    low, high = float(places[at - 1]), float(places[at])
    ahead, behind = float(leads[at - 1]), float(leads[at])
    x = _straight(low, ahead, high, behind)
    builds = line.close(np.array([low, x, high]))
    if not builds:
        return x
    # the few draws tell a slope over the whole bracket: near by they go in steps
    slope = (float(leads[0]) - float(leads[-1])) / INSIDE
    sure: dict[bool, tuple[float, float]] = {}
    last: tuple[float, float] | None = None
    for n in range(CLOSER):
        lead = line.exactly(x, builds)
        sure[lead < 0] = x, lead
        if len(sure) == 2:
            guess = _straight(*sure[False], *sure[True])
            if n % 3 == 2:
                guess = part_way(sure[False][0], sure[True][0], 0.5)
        else:
            # not yet on the other side, which a step beyond the line's zero may be
            if last is not None and abs(lead) < abs(last[1]) < np.inf:
                slope = (last[1] - lead) / (_share(low, high, x) - _share(low, high, last[0]))
            steps = 2.0**n
            if np.isfinite(slope) and slope > 0 and np.isfinite(lead):
                steps = min(1.05 * abs(lead) / slope, steps)
            guess = part_way(low, high, _share(low, high, x) + (steps if lead >= 0 else -steps))
        guess = min(max(guess, min(close, beyond)), max(close, beyond))
        if abs(guess - x) <= lever.reach(x, 0.1 * NEAR):
            return guess
        last, x = (x, lead), guess
    return x


def _share(low: float, high: float, x: float) -> float:
    """How far a value is from one to another, as `part_way` has it."""
    if low > 0 and high > 0 and x > 0:
        return float(np.log(x / low) / np.log(high / low))
    return (x - low) / (high - low)


def _straight(close: float, ahead: float, beyond: float, behind: float) -> float:
    """Where a straight line between two leads crosses zero."""
    share = 0.5
    if np.isfinite(ahead) and np.isfinite(behind) and ahead > behind:
        share = min(max(ahead / (ahead - behind), 0.0), 1.0)
    return part_way(close, beyond, share)
