"""How long packs last that a harvest charges while they age.

Where the harvest of a year covers what the pack gives at some depth before the end of its life, it
settles there and is changed for its age alone: of a voltage that falls the load and the leak fall,
so a store settles that its harvest does not keep full. Where it does not, it prolongs the life: the
pack gives what is lacking, over its depth, see `settling`. Where it gives the same at all depths
that is t = t_0/(1 - cover), t_0 the life without and cover the harvest over the load; a harvest of
nothing leaves everything as it was.

Axes: R rows (builds on one feed), N draws, M months of a year. SI units.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from advisor.model.ageing import Ageing, Stress, stress
from advisor.model.drain import Drain, Pack, at_depth, rows_of, shelf_left
from advisor.model.draws import Array
from advisor.model.ends import INDEX
from advisor.model.harvest import DAY, MOMENTS, Harvested, energy_to, own_loss
from advisor.model.recharged import in_service
from advisor.model.settling import prolonged
from advisor.model.standing import Filling, Nights
from advisor.model.store import MONTH_DAYS, YEAR_DAYS
from advisor.model.wear import Course

if TYPE_CHECKING:
    from advisor.model.battery import Life

HALVED = 40  # times, a month in which a life ends


def sustained(life: Life, at: Harvested, pack: Pack, drain: Drain) -> tuple[Life, Array]:
    """Lives of builds whose pack is harvested into, see above, and what age leaves of the store at
    moments of them, (A, R, N) shares of the capacity; at one alone where it does not age, and the
    fresh one where its life has no end.

    A pack ages by a cycle a day of what a night takes, as full as it stands, see `standing`, and is
    changed once it has less capacity left than it is to have, or at the end of its shelf life.
    """
    shape = life.life_s.shape
    if life.emptied is not None:
        stays = life.emptied & ~np.isinf(_longer(life, at, pack, drain, 0 * life.end_depth))
        life = replace(
            life,
            life_s=np.where(stays, 0.0, life.life_s),
            dead=life.dead | stays,
            emptied=life.emptied & ~stays,
        )
    alive = ~life.dead & (life.life_s > 0)
    shelf = np.broadcast_to(pack.shelf_life_s, shape)
    begun = life.start_depth
    if life.emptied is not None:
        # charged again they are as fresh ones
        begun = np.where(life.emptied, 0.0, begun)
    longer = _longer(life, at, pack, drain, begun)
    next_longer = longer
    if drain.before:
        next_longer = _longer(life, at, pack, drain, np.zeros(shape))
    kept = np.broadcast_to(shelf_left(pack, drain), shape)
    faded = next_faded = np.full(shape, np.inf)
    course = left = None
    if pack.ageing is not None:
        new = _stress(pack, pack.ageing, at, life, drain)
        used = in_service(new, pack.ageing, pack, life.start_depth, drain)
        course = Course(pack.ageing, used, kept)
        left = course.worn(np.zeros(shape)).left if drain.before else None
        if (pack.ageing.end > 0).any():
            most = np.where(pack.ageing.end > 0, 1 - pack.ageing.end, np.inf)
            faded = course.time_to(most)
            anew = course if used is new else Course(pack.ageing, new, shelf)
            next_faded = faded if used is new else anew.time_to(most)

    def until(seconds: Array, longer: Array, age: Array) -> Array:
        # a life that age ended is not known beyond it
        return np.where(
            alive,
            np.minimum(
                np.where(seconds > 0, np.where(seconds > 0, seconds, 1.0) * longer, 0.0), age
            ),
            0.0,
        )

    # what it gives on average at its mean voltage, the reservoir's leak in it
    given_a = drain.steady_a + pack.leak_a + drain.mean_power_w / at.volts
    if drain.filling is not None:
        given_a = given_a + drain.conductance * at.volts
    life_s = until(life.life_s, longer, np.minimum(kept, faded))
    moved = alive & (at.cover > 0)
    ends_by = life.ends_by
    for name, age in (("shelf-life", kept), ("faded", faded)):
        ends_by = np.where(moved & (life_s >= age), np.int8(INDEX[name]), ends_by)
    lasting = replace(
        life,
        life_s=np.where(moved, life_s, life.life_s),
        next_s=np.where(
            moved, until(life.next_s, next_longer, np.minimum(shelf, next_faded)), life.next_s
        ),
        ends_by=ends_by.astype(np.int8),
        mean_current_a=np.where(moved, given_a, life.mean_current_a),
        self_a=np.where(moved, own_loss(pack, life.end_depth), life.self_a),
        left=left,
        mean_v=np.where(moved, at.volts, life.mean_v),
    )
    if course is None or not (lasting.life_s > 0).any():
        return lasting, np.ones((1, *shape))
    ends = np.where(np.isfinite(lasting.life_s), lasting.life_s, 0.0)
    return lasting, np.stack([course.worn(ends * moment).left for moment in MOMENTS])


def _longer(life: Life, at: Harvested, pack: Pack, drain: Drain, start: Array) -> Array:
    """By how much longer discharges from depths (R, N) last, (R, N) factors; infinite where they
    are never empty."""
    out = np.where(at.cover < 1, 1.0, np.inf)
    rows = np.flatnonzero((at.cover < 1).any(axis=1))
    if len(rows) and (at.income_w > 0).any():
        start, end = start[rows], life.end_depth[rows]
        found = prolonged(pack, rows_of(drain, rows), at.income_w, start, end)
        out[rows] = np.where(at.cover[rows] < 1, found, np.inf)
    return out


def by_beginning(life: Life, at: Harvested, pack: Pack, drain: Drain, row: int) -> Array | None:
    """Lives of a row at the stated values by the month on whose first day they begin, (M,) s; None
    where no season moves them: the pack does not fade, or ages alike however full it stands, or
    gives more than it gets."""
    ageing = pack.ageing
    faded = life.ends_by[row, 0] == INDEX["faded"] and life.life_s[row, 0] > 0
    if ageing is None or not at.ages or not faded:
        return None
    own = slice(row, row + 1)
    life, at, drain = life.rows(own), at.rows(own), rows_of(drain, np.array([row]))
    if np.isfinite(_longer(life, at, pack, drain, life.start_depth)[0, 0]):
        return None
    deepest = life.end_depth
    under = _standing(ageing, _nights(pack, at, deepest, drain), at.fillings_by_month(0))
    under = in_service(under, ageing, pack, life.start_depth, drain)
    kept = float(shelf_left(pack, drain)[0])
    long = 2 * float(life.life_s[0, 0]) + YEAR_DAYS * DAY
    return np.minimum(walked(ageing, under, min(kept, long)), kept)


def walked(ageing: Ageing, under: Stress, upto: float) -> Array:
    """Seconds until a pack is left with no more than `ageing.end`, (M,), by the month on whose
    first day it begins, January first.

    Parameters
    ----------
    ageing : of one draw. under : the stress by month, (1, M) as the draws of one row. upto : s,
    beyond which it is infinite.

    What is lost in a month goes by the bands of loss that its middle lies in.
    """
    months, bounds = np.arange(12), np.array(under.calendar.bounds)
    calendar, cycles = ageing.calendar, ageing.cycles
    assert calendar is not None
    z = np.array([calendar.exponent[0], 1.0 if cycles is None else cycles.exponent[0]])[:, None]
    by_cycles = np.broadcast_to(under.cycles, (1, 12))[0]
    aim = 1 - float(ageing.end[0])
    u = np.stack([np.broadcast_to(under.begun[0], 12), np.zeros(12)])
    gone, lived = np.zeros(12), np.full(12, np.inf)
    while np.isinf(lived).any() and (gone < upto).any():
        seconds = MONTH_DAYS[months] * DAY
        middle = u
        for _ in range(2):
            band = np.searchsorted(bounds[:-1], (middle**z).sum(axis=0))
            told = {b: np.broadcast_to(under.calendar[b], (1, 12))[0] for b in set(band.tolist())}
            rate = np.array([told[b][m] for b, m in zip(band.tolist(), months, strict=True)])
            grows = np.stack([rate, by_cycles[months]])
            middle = u + grows * seconds / 2
        ends = np.isinf(lived) & (((u + grows * seconds) ** z).sum(axis=0) >= aim)
        low, high = np.zeros(12), seconds
        for _ in range(HALVED if ends.any() else 0):
            half = (low + high) / 2
            over = ((u + grows * half) ** z).sum(axis=0) >= aim
            low, high = np.where(over, low, half), np.where(over, half, high)
        lived = np.where(ends, gone + high, lived)
        u, gone, months = u + grows * seconds, gone + seconds, (months + 1) % 12
    return lived


def _stress(pack: Pack, ageing: Ageing, at: Harvested, life: Life, drain: Drain) -> Stress:
    """What a pack goes through that is charged by day and discharged by night."""
    if not at.fillings:
        taken = np.minimum(at.depth, 1.0) * life.end_depth
        return stress(ageing, taken, np.full(taken.shape[1], DAY))
    return _standing(ageing, _nights(pack, at, life.end_depth, drain), at.fillings)


def _standing(ageing: Ageing, nights: Nights, fillings: Sequence[Filling]) -> Stress:
    """The same of one that stands as full as told."""
    law = ageing.cycles
    counts = 1.0 if law is None else nights.cycles(fillings, law.power)
    days = np.full(nights.taken.shape[1], DAY)
    return stress(ageing, nights.taken, days, lambda left: nights.stays(fillings, left), counts)


def _nights(pack: Pack, at: Harvested, deepest: Array, drain: Drain) -> Nights:
    """What nights take of packs that give so much, (R, N) shares of the capacity."""
    taken = np.minimum(at.depth, 1.0) * deepest
    draw = np.arange(deepest.shape[1])

    def drawn(depth: Array) -> Array:
        volts = at_depth(pack.depth, pack.open_v, depth, draw)
        own = pack.self_discharge_a if pack.drip is None else pack.drip.at(volts)
        amps = drain.steady_a + pack.leak_a + own + drain.mean_power_w / volts
        if drain.filling is not None:
            amps = amps + drain.conductance * volts
        return np.asarray(amps * at.night * DAY / pack.capacity_c)

    # each at the depth in the middle of it
    first, last = (
        np.minimum(drawn(np.clip(depth, 0.0, deepest)), deepest)
        for depth in (taken / 2, deepest - taken / 2)
    )
    return Nights(
        night=at.night,
        taken=taken,
        first=first,
        last=last,
        deepest=deepest,
        falls=2 * (energy_to(pack, deepest / 2)[1] / at.volts - 1),
        drawn=drawn,
    )
