"""A change of the lead between two values of a lever, closed in on.

Where the scan loses the lead between them, the change is found by all draws of the builds that lead
their parts there; then the real decision is asked for just beyond it and just before it, and goes
for whatever it tells: each of its answers narrows the bracket, down to a thousandth.
"""

from __future__ import annotations

from collections.abc import Generator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from advisor.catalogue.levers import NEAR, Lever, part_way
from advisor.dataclass import dataclass
from advisor.decide.builds import Build
from advisor.decide.leading import Ask, Decided, Standing
from advisor.decide.line import Line
from advisor.model.draws import Array

# Places of a scan inside a bracket.
INSIDE = 8
# Values at which a change is closed in on with all draws, before decisions are asked for.
CLOSER = 8
# Share of a value within which a change is closed in on by decisions alone.
NARROW = 0.03
# Share of a value within which a look at the builds that stand tells of another value as well, and
# looks around one crossing.
ALIKE = 0.005
LOOKS = 3
# Crossings that are closed in on by scans, before decisions halve what is left.
CROSSINGS = 3
# Scans of a bracket while builds turn out to break a need at the stated values.
FALLS = 3
# Points by which all draws of the builds that stand must show the lead kept, for no decision.
SURE = 0.15
# Points by which few draws must show it lost for all draws not to be asked.
DOUBT = 0.25


@dataclass(frozen=True, slots=True)
class Tip:
    """Where the lead is lost: the first value found beyond the change, and who leads there; None
    where nothing fits. `among`: the parts that may lead there, None for all. `told`: the value of
    the fewest digits just beyond it at which the same part leads; None until it is looked for."""

    at: float
    leader: str | None
    among: tuple[str, ...] | None = None
    told: float | None = None


# A search asks for decisions, one at a time, and goes on with them.
Search = Generator[Ask, Decided, Tip | None]


def asked(line: Line, x: float) -> Generator[Ask, Decided, tuple[Standing, bool]]:
    """The standing at a value, and whether it took a build that was not carried along."""
    if line.knows(x):
        return line.known_standing(x), False
    ask = line.ask(x)
    found = yield ask
    return found.standing, line.learn(ask, found)


def asked_among(line: Line, x: float, parts: tuple[str, ...]) -> Generator[Ask, Decided, Standing]:
    """The standing at a value among some parts."""
    if line.knows(x):
        return line.known_standing(x)
    found = yield line.ask(x, parts)
    return found.standing


def surely_kept(line: Line, x: float) -> bool:
    """Whether all draws of the builds that stand at a value keep the lead there beyond doubt; if so
    they put scans right from then on."""
    if line.knows(x) or line.out_near(x, ALIKE) or line.finely(x) < -DOUBT:
        return False
    builds, lead = _by_all_draws(line, x)
    return bool(SURE <= lead < np.inf and line.reckon(x, builds, line.most) >= SURE)


def _looked(line: Line, x: float) -> Generator[Ask, Decided, bool]:
    """Whether a look at the stated values brings builds that were not carried along; none is taken
    where one was nearby."""
    if not line.worth_looks or line.seen_near(x, ALIKE):
        return False
    ask = replace(line.ask(x), stated=True)
    found = yield ask
    return line.learn(ask, found)


def pinned(line: Line, near: tuple[float, float], beyond: float, there: Standing | None) -> Search:
    """The change between a place where the winner leads and one where it does not.

    `near` are the last place where the winner is known to lead and the last where the scan says so.
    `there` is the standing beyond; None where only the scan says that the lead is lost there: the
    change may turn out to be none.
    """
    if there is None and surely_kept(line, beyond):
        return None
    lever, winner = line.lever, line.deciding.winner
    close, scanned = near
    far = beyond
    pending: float | None = None  # a change that was closed in on, asked for on one side only
    stepped = False
    blind = False  # decisions lose the lead where all draws of the builds that stand keep it
    crossings = 0
    ended = False  # nothing is left between the two
    for n in range(200):
        if there is not None and (ended or lever.between(close, beyond, NEAR) is None):
            standing, _ = yield from asked(line, close)
            if standing.leader == winner:
                return (yield from _told(line, beyond, there))
            # it was reckoned to be kept there, and is not: decisions alone go on
            beyond, there, close = close, standing, line.kept_before(close)
            ended, blind, pending = False, True, None
        halved = lever.between(close, beyond, NEAR / 4)
        guess, pending = pending, None
        if guess is not None:
            pass
        elif blind:
            inside = min(close, beyond) < scanned < max(close, beyond)
            halved, scanned = scanned if inside else halved, close
        elif n > 1 and there is not None and lever.between(close, beyond, NARROW) is None:
            # where scans erred, decisions tell more so near than all draws of a few builds, but at
            # a step between builds that they took
            if not stepped:
                stepped, guess = True, _between_taken(line, close, beyond)
                pending = guess
            elif n % 2:
                guess = _straight(close, line.known_lead(close), beyond, there.lead)
        elif n % 4 != 3 and crossings < CROSSINGS:
            crossings += 1
            inside = min(close, beyond) < scanned < max(close, beyond)
            start = scanned if inside and n % 4 != 2 else close
            guess = yield from _crossed(line, start, beyond)
            pending = guess
        if guess is None or (there is None and guess == beyond):
            x = beyond if there is None else halved
        else:
            x = _beside(lever, guess, close, beyond, there is not None)
        if x is None:
            x = beyond if there is None else close
        ended = there is not None and x in (close, beyond)
        if ended:
            continue
        wide = guess is None and lever.between(close, beyond, NARROW) is not None
        if wide and not blind and line.worth_looks and surely_kept(line, x):
            if x == far:
                return None
            close = x
            continue
        standing, _ = yield from asked(line, x)
        keeps = standing.leader == winner
        if keeps:
            if x == far:
                return None
            close = x
        else:
            beyond, there = x, standing
        # on its other side it is asked for only if it was right on this one
        if pending is not None and keeps != (abs(x - near[0]) < abs(pending - near[0])):
            pending = None
            blind = blind or (not keeps and _seems_kept(line, x))
    assert there is not None
    return (yield from _told(line, beyond, there))


def _seems_kept(line: Line, x: float) -> bool:
    """Whether the lead is kept beyond doubt at a value by all draws of the builds that stand."""
    if not line.worth_looks:
        return False
    return _by_all_draws(line, x)[1] >= SURE


def _by_all_draws(line: Line, x: float) -> tuple[list[Build], float]:
    """The builds that lead their parts and stand at a value, and the lead by all their draws."""
    builds = line.that_stand(x, line.close(np.array([x])))
    return builds, line.exactly(x, builds) if builds else -np.inf


def _crossed(line: Line, close: float, beyond: float) -> Generator[Ask, Decided, float | None]:
    """`_crossing`, once more with the builds that a look there finds."""
    guess = _crossing(line, close, beyond)
    for _ in range(LOOKS):
        if guess is None or not (yield from _looked(line, guess)):
            break
        guess = _crossing(line, close, beyond)
    return guess


def _between_taken(line: Line, close: float, beyond: float) -> float | None:
    """Where all draws of the builds that decisions took on either side lose the lead, by halving;
    None where there is nothing to tell them apart by."""
    builds = line.taken((close, beyond))
    if not builds:
        return None

    def lost(x: float) -> bool:
        return line.exactly(x, line.that_stand(x, builds) or builds) < 0

    if not lost(beyond):
        return None
    low, high = close, beyond
    while (middle := line.lever.between(low, high, NEAR / 2)) is not None:
        low, high = (low, middle) if lost(middle) else (middle, high)
    return part_way(low, high, 0.5)


def _told(line: Line, beyond: float, there: Standing) -> Search:
    """The change that was found; where none of the parts that were asked fits, one among all."""
    if there.leader is None:
        found = yield Ask(line.lever, beyond, None)
        there = found.standing
        return Tip(beyond, there.leader)
    return Tip(beyond, there.leader, line.ask(beyond).parts)


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
    builds: list[Build] = []
    for _ in range(FALLS):
        leads = line.between(places)
        lost = np.flatnonzero(leads < 0)
        if not lost.size or lost[0] == 0:
            return None
        at = int(lost[0])
        low, high = float(places[at - 1]), float(places[at])
        known, builds = builds, line.close(np.array([low, high]))
        # what the draws keep may be out at the stated values, and so in the decision
        if set(builds) <= set(known) or line.stand(builds, places).all():
            break
    ahead, behind = float(leads[at - 1]), float(leads[at])
    x = _straight(low, ahead, high, behind)
    if not builds:
        return x
    if (step := _step(line, low, high, builds)) is not None:
        return step
    # the few draws tell the shape, all draws how far it is off: at the ones asked for, and at those
    # where the decision is known the scan is exact
    shares = np.linspace(0.0, 1.0, INSIDE + 1)
    told: dict[float, float] = {}
    # the shares of the way that are known to keep and to lose the lead
    kept: float | None = None
    gone: float | None = None
    if line.knows(close) and np.isfinite(leads[0]):
        told[0.0] = kept = 0.0
    last: tuple[float, float] | None = None
    sizes: dict[bool, float] = {}  # the last lead that was kept, and the last that was lost
    for _ in range(CLOSER):
        lead = line.exactly(x, builds)
        along = share_of(close, beyond, x)
        guessed = float(np.interp(along, shares, leads))
        if not np.isfinite(lead) or not np.isfinite(guessed):
            return _halved(line, (close, beyond), (low, high), x, builds)
        told[along] = lead - guessed
        kept, gone = (along, gone) if lead >= 0 else (kept, along)
        share = _first_zero(shares, leads, told)
        if share is None:
            if along == 1.0:
                return None  # by all draws it is not lost there
            share = 1.0
        inside = kept if kept is not None else 0.0, gone if gone is not None else 1.0
        if last is not None and lead != last[1]:
            straight = along - lead * (along - last[0]) / (lead - last[1])
            share = straight if inside[0] < straight < inside[1] else share
        size = abs(lead)
        if kept is not None and gone is not None and size > 0.5 * sizes.get(lead >= 0, np.inf):
            share = (kept + gone) / 2  # a step, or a bend: a straight line tells little
        sizes[lead >= 0] = size
        last = along, lead
        guess = part_way(close, beyond, share)
        # the second of two values that close has told nearly all
        if abs(guess - x) <= lever.reach(x, 0.3 * NEAR):
            return guess
        x = guess
    return x


def _step(line: Line, low: float, high: float, builds: Sequence[Build]) -> float | None:
    """Where a build that stands at one of two places falls out, or comes in, if the lead is lost
    just there by all draws; None elsewhere."""
    stands = line.stand(builds, np.array([low, high]))
    while (stands[:, 0] != stands[:, -1]).any():
        if line.lever.between(low, high, NEAR / 2) is None:
            here = [line.that_stand(x, builds) for x in (low, high)]
            leads = [
                line.exactly(x, some) for x, some in zip((low, high), here, strict=True) if some
            ]
            lost = len(leads) == 2 and leads[0] >= 0 > leads[1]
            return part_way(low, high, 0.5) if lost else None
        places = np.array([part_way(low, high, k / INSIDE) for k in range(INSIDE + 1)])
        stands = line.stand(builds, places)
        at = int(np.flatnonzero((stands != stands[:, :1]).any(axis=0))[0])
        low, high = float(places[at - 1]), float(places[at])
        stands = stands[:, [at - 1, at]]
    return None


def _halved(
    line: Line,
    ends: tuple[float, float],
    around: tuple[float, float],
    x: float,
    builds: Sequence[Build],
) -> float | None:
    """Where all draws lose the lead at a step that has no height, closed in on by halving; None
    where they do not."""
    low, high = around
    for end in (low, high):
        if (line.exactly(end, builds) < 0) == (end == low):
            # the step lies elsewhere: between this end and the other one of the bracket
            low, high = (ends[0], low) if end == low else (high, ends[1])
            break
    if high == ends[1] and high != around[1] and line.exactly(high, builds) >= 0:
        return None
    for n in range(CLOSER):
        middle = x if n == 0 and min(low, high) < x < max(low, high) else part_way(low, high, 0.5)
        if line.lever.between(low, high, 0.2 * NEAR) is None:
            break
        if line.exactly(middle, builds) < 0:
            high = middle
        else:
            low = middle
    return part_way(low, high, 0.5)


def _first_zero(shares: Array, leads: Array, told: Mapping[float, float]) -> float | None:
    """The first share of the way at which scanned leads (N,), put right by what they are off at
    some shares, fall below zero; None where they do not."""
    every = np.union1d(shares, list(told))
    at = np.array(sorted(told))
    off = np.interp(every, at, np.array([told[one] for one in at.tolist()]))
    there = np.interp(every, shares, np.clip(leads, -100.0, 100.0)) + off
    lost = np.flatnonzero(there < 0)
    if not lost.size:
        return None
    n = int(lost[0])
    if n == 0:
        return 0.0
    ahead, behind = there[n - 1], there[n]
    return float(every[n - 1] + (every[n] - every[n - 1]) * ahead / (ahead - behind))


def share_of(low: float, high: float, x: float) -> float:
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
