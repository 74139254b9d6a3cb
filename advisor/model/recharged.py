"""How long a pack lasts that somebody charges at intervals, full each time.

In one interval the pack gives the charge that a fresh one gives in that time, so its laws of ageing
(`ageing`) see the same stress all its life: cycles of that depth, states of charge from full down
by it, the temperatures of the product. Its mean current is that of an interval, which goes through
the upper part of the voltage curve alone. Depths are shares of the rated capacity, as in those
laws; states of charge are of the capacity left.

With the capacity C_0 (1 - q) and the resistance R (1 + r) that age leaves, one charge lasts

    t(q, r) = (1 - q) C_0 integral from 0 to D_end(r) of dD/(i(V(D)) + i_self + i_leak)

which is `battery.life` of that pack: capacity, cold, cut-off and sag are those of the aged one, in
the coldest place. The life of the pack is the first of

- the age at which the capacity left falls to `ageing.end`;
- the age at which one charge lasts no longer than an interval: a pack charged then would not carry
  the product to the next charge. It ages within that interval too, so the age at its end counts;
- where that is within the first interval, the time t that its first charge lasts while it ages:
  t(q, r) = t of what is lost by then;
- its shelf life.

Where nothing but the capacity shortens a charge, t(q) = (1 - q) t(0), and the second is the age of
q = 1 - every/t(0); where the sag or the kinetic battery model does, it is searched for below that.
The first charge of a pack that was stored is of what storage has left.

Axes: R rows (builds on one pack), S states, N draws, G depths. SI units.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from advisor.model import battery
from advisor.model.ageing import Ageing, Charged, Stress, before_use, stress
from advisor.model.battery import Life
from advisor.model.crossing import first_negative
from advisor.model.drain import Array, Drain, Pack, cases_of, refined, shelf_left
from advisor.model.ends import INDEX
from advisor.model.wear import Course, Worn, time_to

_ENOUGH = 1e-9  # of an interval: a charge that lasts as long but for rounding


def recharged(pack: Pack, drain: Drain, one: Life) -> Life:
    """The life of a pack that is charged every `pack.every_s`.

    Parameters
    ----------
    one : the life on one charge, of `battery.life`, each (R, N); no shelf life may have cut it
    short, so it is that of `on_one_charge(pack)`.
    """
    every = pack.every_s
    assert every is not None
    shape = one.life_s.shape
    shelf = np.broadcast_to(pack.shelf_life_s, shape)
    ageing = _laws(pack)
    depth, self_a, mean_v = battery.taken(pack, drain, every)
    fresh = stress(ageing, depth, every)
    life_s, ends_by, charged = _lived(pack, drain, one, one.next_s, depth, shelf, fresh)
    next_s, kept = life_s, None
    if drain.before:
        stored = in_service(fresh, ageing, pack, one.start_depth, drain)
        left = np.broadcast_to(shelf_left(pack, drain), shape)
        life_s, ends_by, charged = _lived(pack, drain, one, one.life_s, depth, left, stored, True)
        kept = Course(ageing, stored, 0.0).worn(np.zeros(shape)).left
    # no interval takes more of a pack than it has: a build that asks for more is out
    mean = np.where(depth < 1, pack.capacity_c * depth / every - self_a, one.mean_current_a)
    return replace(
        one,
        mean_current_a=np.where(one.dead, one.mean_current_a, mean),
        self_a=np.where(one.dead | ~(depth < 1), one.self_a, self_a),
        mean_v=np.where(one.dead | ~(depth < 1), one.mean_v, mean_v),
        life_s=np.where(one.dead, 0.0, life_s),
        ends_by=np.where(one.dead, one.ends_by, ends_by),
        next_s=np.where(one.dead, 0.0, next_s),
        charged=charged,
        left=kept,
    )


def in_service(new: Stress, ageing: Ageing, pack: Pack, begins: Array, drain: Drain) -> Stress:
    """What a new pack goes through, and the first one with it, which has lost some before use and
    begins at a depth (R, N), a share of the capacity."""
    if not drain.before:
        return new
    depths = battery.stored(pack, drain, begins)
    begun = before_use(ageing, [phase.seconds for phase in drain.before], depths)
    return replace(new, begun=begun + np.zeros(begins.shape))


def on_one_charge(pack: Pack) -> Pack:
    """The pack as `battery.life` is to take it: shelf life ends the pack, not one charge."""
    if pack.every_s is None:
        return pack
    return replace(pack, shelf_life_s=np.full_like(pack.shelf_life_s, np.inf))


def _laws(pack: Pack) -> Ageing:
    """How a pack ages: not at all where nothing is stated."""
    return pack.ageing or Ageing(None, None, np.zeros_like(pack.capacity_c))


def _lived(
    pack: Pack,
    drain: Drain,
    one: Life,
    first: Array,
    depth: Array,
    shelf: Array,
    under: Stress,
    stored: bool = False,
) -> tuple[Array, NDArray[np.int8], Charged]:
    """Life, what ends it, and the pack's story; see `Charged`. `one` is the life on one charge, of
    which storage took some before the `first` if the pack was `stored`."""
    every, run = pack.every_s, one.next_s
    assert every is not None
    ageing = _laws(pack)
    course = Course(ageing, under, np.maximum(shelf, every))
    most = np.where(ageing.end > 0, 1 - ageing.end, np.inf)
    end_s = course.time_to(most)
    with np.errstate(divide="ignore", invalid="ignore"):
        room = np.where(np.isfinite(run), 1 - every / run, 1.0)
    # beyond the other end nothing needs looking at
    carried_s = course.time_to(np.minimum(np.maximum(room, 0.0), most))
    carried_s = _strained(pack, drain, course, carried_s, np.minimum(end_s, shelf), one)
    # one that does not carry the first interval lasts as long as its charge does while it ages
    first_s, low_v = first, None
    if stored:
        first_s, low_v = _on_first_day(pack, drain, course, first, run)
    lasts_s = _first_charge(pack, drain, course, one, first, carried_s, first_s if stored else None)
    carried_s = np.where(
        carried_s < every, np.minimum(lasts_s, every), np.minimum(carried_s, lasts_s)
    )
    ends = np.stack([end_s, carried_s, shelf])
    names = ("faded", "interval", "shelf-life")
    ends_by = np.array([INDEX[name] for name in names], dtype=np.int8)[ends.argmin(axis=0)]
    life_s = ends.min(axis=0)
    at_end = course.worn(life_s)
    return (
        life_s,
        ends_by,
        Charged(
            every_s=every,
            first_s=first_s,
            run_s=run,
            depth=depth,
            calendar=at_end.calendar,
            cycles=at_end.cycles,
            resistance=at_end.resistance,
            shelf_s=shelf,
            under=under,
            first_low_v=low_v,
        ),
    )


def _first_charge(
    pack: Pack,
    drain: Drain,
    course: Course,
    one: Life,
    first: Array,
    carried: Array,
    begins: Array | None,
) -> Array:
    """How long the first charge lasts, (R, N) s, as the pack ages meanwhile; infinite where that is
    an interval or more.

    `first` is how long it lasts were the pack not to age, `carried` the age (R, N) s at which a
    charge lasts an interval no longer; `begins` how long it lasts as the pack is on the first day,
    (R, N) s, of one that was stored.
    """
    every, run = pack.every_s, one.next_s
    assert every is not None
    draws, stored = first.shape[1], begins is not None
    strained = _strains(pack, course.ageing)
    there = course.worn(np.broadcast_to(every, first.shape))
    short = _shortened(first, run, there.left)
    asked = (carried < every) | (short < every * (1 - _ENOUGH))
    if stored and strained:
        # it begins deeper than those that `carried` is of
        if pack.two_well is None and pack.drip is None:
            depth = one.start_depth / np.maximum(there.left, 1e-12)
            asked |= _may_fall_short(pack, drain, there, one, short, depth)
        else:
            asked = np.ones(first.shape, dtype=bool)
    out = np.full(first.shape, np.inf)
    index = np.flatnonzero(asked)
    if not index.size:
        return out
    its_every, pack = every[index % draws], refined(pack)

    def spare(share: Array, case: NDArray[np.intp]) -> Array:
        """How much longer than until an age the charge lasts as it is then, (m,), both of the
        interval."""
        if not case.size:
            return share
        at, span = index[case], its_every[case]
        worn = course.worn(share * span, at)
        if strained:
            lasts = _aged(pack, drain, worn, at, stored).life_s[0]
        else:
            lasts = _shortened(first.ravel()[at], run.ravel()[at], worn.left)
        return np.asarray(np.minimum(lasts / span - share, 1.0))

    # where it has aged by the end, it has aged less by the time that its charge is over
    whole = np.array([0.0, 1.0])
    begun = None
    # at the stated values the first day is told by its voltage, not by what a charge lasts
    if begins is not None and draws > 1:
        begun = np.minimum(begins.ravel()[index] / its_every, 1.0)
    found = first_negative(spare, whole, np.ones(len(index)), True, _ENOUGH, begun)
    here = np.flatnonzero(found < 1 - 2 * _ENOUGH)
    out.ravel()[index[here]] = found[here] * its_every[here]
    return out


def _on_first_day(
    pack: Pack, drain: Drain, course: Course, first: Array, run: Array
) -> tuple[Array, Array | None]:
    """(how long the first charge of a pack that was stored lasts, (R, N) s, as it is aged then; its
    lowest loaded voltage then, (R, N) V), the latter of draws only where it has nothing to give,
    infinite elsewhere, and None where age leaves a charge as it is but for the capacity.

    `first` and `run` are those of `_shortened`.
    """
    day = np.zeros(first.shape)
    if not _strains(pack, course.ageing):
        return _shortened(first, run, course.worn(day).left), None
    pack = refined(pack)

    def aged(cases: NDArray[np.intp], fresh: bool) -> Life:
        worn = course.worn(day.ravel()[cases], cases)
        return _aged(pack, drain, worn, cases, stored=True, fresh=fresh)

    told = first.shape[1] == 1
    found = aged(np.arange(first.size), told)
    if told:
        return found.life_s.reshape(first.shape), found.start_low_v.reshape(first.shape)
    low = np.full(first.size, np.inf)
    some = np.flatnonzero(found.life_s[0] <= 0)
    if some.size:
        low[some] = aged(some, True).start_low_v[0]
    return found.life_s.reshape(first.shape), low.reshape(first.shape)


def _strains(pack: Pack, ageing: Ageing) -> bool:
    """Whether age shortens a charge by more than the capacity that it takes."""
    rises = (law.rise.any() for law in (ageing.calendar, ageing.cycles) if law is not None)
    return pack.two_well is not None or any(rises)


def _aged(
    pack: Pack,
    drain: Drain,
    worn: Worn,
    cases: NDArray[np.intp],
    stored: bool = False,
    fresh: bool = False,
) -> Life:
    """One charge of packs that have lost so much, (m,), in the cases at places (m,): (1, m). It is
    the first in use of one that was `stored`; `fresh` as `battery.life` has it."""
    r, n = np.divmod(cases, drain.cut_off_v.shape[1])
    old, its = cases_of(pack, drain, r, n, before=stored)
    old = replace(
        old,
        capacity_c=old.capacity_c * np.maximum(worn.left, 1e-12),
        resistance=old.resistance * worn.resistance,
    )
    return battery.life(on_one_charge(old), its, fresh=fresh, means=False, following=False)


def _shortened(first: Array, run: Array, left: Array) -> Array:
    """How long the first charge lasts, (R, N) s, of a pack that has a share `left` of its capacity,
    less what storage took; `run` is a charge of a new one, `first` that without ageing."""
    with np.errstate(invalid="ignore"):
        short = np.maximum(np.minimum(first - (1 - left) * run, run * left), 0.0)
    return np.where(np.isfinite(run), short, first)


def _strained(
    pack: Pack, drain: Drain, course: Course, carried: Array, other: Array, one: Life
) -> Array:
    """The age (R, N) s at which one charge lasts an interval no longer, sag and the kinetic
    battery model looked at as well.

    `carried` is that age by the capacity alone, `other` what else ends the life: beyond it nothing
    needs looking at.
    """
    every = pack.every_s
    assert every is not None
    if not _strains(pack, course.ageing):
        return carried
    pack = refined(pack)
    upto = np.minimum(carried, other)
    asked = (upto > 0) & np.isfinite(upto)
    if pack.two_well is None and pack.drip is None and asked.any():
        there = course.worn(np.where(asked, upto, 0.0))
        lasts = one.next_s * np.maximum(there.left, 1e-12)
        asked &= _may_fall_short(pack, drain, there, one, lasts)
    upto = upto.ravel()
    draws = carried.shape[1]
    index = np.flatnonzero(asked)
    if not index.size:
        return carried

    def spare(age: Array, case: NDArray[np.intp]) -> Array:
        """How much longer than an interval a charge lasts at an age, (m,), of the interval."""
        if not case.size:
            return age
        at = index[case]
        run = _aged(pack, drain, course.worn(age * upto[at], at), at).life_s[0]
        # by the capacity alone it lasts just an interval at that age; where a voltage falls short
        # all at once, what was far above nil would draw the search to the wrong end
        return np.asarray(np.minimum(run / every[at % draws] - 1 + _ENOUGH, 1.0))

    ages = np.array([0.0, 1.0])
    found = first_negative(spare, ages, np.ones(len(index)), falling=True)
    out = carried.ravel().copy()
    earlier = np.isfinite(found)
    out[index[earlier]] = (found * upto[index])[earlier]
    return out.reshape(carried.shape)


def _may_fall_short(
    pack: Pack,
    drain: Drain,
    worn: Worn,
    one: Life,
    lasts: Array,
    begins: Array | float = 0.0,
) -> NDArray[np.bool_]:
    """Where a voltage may fall short within an interval of packs that have lost so much: a bound,
    (R, N).

    `lasts` (R, N) s is how long the charge would last with the resistance of a new pack, or less;
    `begins` (R, N) at which depth.

    The voltage falls with depth and a constant power draws the more, so the time to a depth bends
    down: until an interval has passed no more of what there is to D_end is taken than its share of
    the time to there.
    """
    end = np.where(one.dead, 1.0, one.end_depth)
    assert pack.every_s is not None
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.minimum(pack.every_s / lasts * (1 + _ENOUGH), 1.0)
        depth = begins + (end - begins) * share
    depth = np.where(lasts > 0, np.minimum(depth, 1.0), 1.0)
    short = np.zeros(depth.shape, dtype=bool)
    for lows in battery.lows_of(pack, drain):
        short |= lows.suspect(depth, worn.resistance)
    return short


def scaled(life: Life, pack: Pack, rows: NDArray[np.intp], factor: Array) -> Array:
    """Lives of some rows (B,) at the stated values, were a charge to last longer by a factor.

    factor : (B, Q). A pack that is changed lasts longer by it; of one that is charged again only
    what the capacity lets it carry moves, by the laws of ageing. (B, Q) s.
    """
    stated = life.life_s[rows]
    if life.charged is None or pack.every_s is None:
        return np.asarray(stated * factor)
    moves = life.ends_by[rows] == INDEX["interval"]
    if not moves.any():
        return np.broadcast_to(stated, factor.shape).copy()
    every, run = pack.every_s, life.charged.run_s[rows]
    ageing = _laws(pack)
    under = life.charged.under
    its = under.each(lambda x: x[rows])
    with np.errstate(divide="ignore", invalid="ignore"):
        before = time_to(ageing, its, np.maximum(1 - every / run, 0.0))
        after = time_to(ageing, its, np.maximum(1 - every / (run * factor), 0.0))
        moved = np.where(np.isfinite(after) & (before > 0), stated * after / before, stated)
    return np.asarray(np.where(moves, np.minimum(moved, life.charged.shelf_s[rows]), stated))
