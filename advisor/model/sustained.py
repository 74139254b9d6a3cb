"""How long packs last that a harvest charges while they age.

Where the harvest of a year covers the load the pack is changed for its age alone. Where it does
not, it prolongs the life: the pack gives what is lacking, t = t_0/(1 - cover), t_0 the life without
and cover the harvest over the load; a harvest of nothing leaves everything as it was.

Axes: R rows (builds on one feed), N draws. SI units.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from advisor.model.ageing import Ageing, Stress, before_use, stress
from advisor.model.battery import stored
from advisor.model.drain import Drain, Pack, at_depth
from advisor.model.draws import Array
from advisor.model.ends import INDEX
from advisor.model.harvest import DAY, MOMENTS, Harvested, energy_to, own_loss
from advisor.model.standing import Nights
from advisor.model.wear import Course

if TYPE_CHECKING:
    from advisor.model.battery import Life


def sustained(life: Life, at: Harvested, pack: Pack, drain: Drain) -> tuple[Life, Array]:
    """Lives of builds whose pack is harvested into, see above, and what age leaves of the store at
    moments of them, (A, R, N) shares of the capacity; at one alone where it does not age, and the
    fresh one where its life has no end.

    A pack ages by a cycle a day of what a night takes, as full as it stands, see `standing`, and is
    changed once it has less capacity left than it is to have, or at the end of its shelf life.
    """
    shape = life.life_s.shape
    if life.emptied is not None:
        stays = life.emptied & ~(at.cover > 1)
        life = replace(
            life,
            life_s=np.where(stays, 0.0, life.life_s),
            dead=life.dead | stays,
            emptied=life.emptied & ~stays,
        )
    alive = ~life.dead & (life.life_s > 0)
    shelf = np.broadcast_to(pack.shelf_life_s, shape)
    phases = [phase.seconds for phase in drain.before]
    with np.errstate(divide="ignore", invalid="ignore"):
        longer = np.where(at.cover < 1, 1 / (1 - np.minimum(at.cover, 1.0)), np.inf)
    kept = np.maximum(shelf - sum(phases, np.zeros(shape[1])), 0.0)
    faded = next_faded = np.full(shape, np.inf)
    course = None
    if pack.ageing is not None:
        new = _stress(pack, pack.ageing, at, life, drain)
        used = _in_service(new, pack, life, drain)
        course = Course(pack.ageing, used, kept)
        if (pack.ageing.end > 0).any():
            most = np.where(pack.ageing.end > 0, 1 - pack.ageing.end, np.inf)
            faded = course.time_to(most)
            anew = course if used is new else Course(pack.ageing, new, shelf)
            next_faded = faded if used is new else anew.time_to(most)

    def until(seconds: Array, age: Array) -> Array:
        # a life that age ended is not known beyond it
        return np.where(
            alive,
            np.minimum(
                np.where(seconds > 0, np.where(seconds > 0, seconds, 1.0) * longer, 0.0), age
            ),
            0.0,
        )

    # what it gives on average at its mean voltage, the reservoir's leak in it
    given_a = drain.mean_constant_a + pack.leak_a + drain.mean_power_w / at.volts
    life_s = until(life.life_s, np.minimum(kept, faded))
    moved = alive & (at.cover > 0)
    ends_by = life.ends_by
    for name, age in (("shelf-life", kept), ("faded", faded)):
        ends_by = np.where(moved & (life_s >= age), np.int8(INDEX[name]), ends_by)
    lasting = replace(
        life,
        life_s=np.where(moved, life_s, life.life_s),
        next_s=np.where(moved, until(life.next_s, np.minimum(shelf, next_faded)), life.next_s),
        ends_by=ends_by.astype(np.int8),
        mean_current_a=np.where(moved, given_a, life.mean_current_a),
        self_a=np.where(moved, own_loss(pack, life.end_depth), life.self_a),
    )
    if course is None or not (lasting.life_s > 0).any():
        return lasting, np.ones((1, *shape))
    ends = np.where(np.isfinite(lasting.life_s), lasting.life_s, 0.0)
    return lasting, np.stack([course.worn(ends * moment).left for moment in MOMENTS])


def _in_service(new: Stress, pack: Pack, life: Life, drain: Drain) -> Stress:
    """What a new pack goes through, and the first one with it, which has lost some before use."""
    if not drain.before:
        return new
    assert pack.ageing is not None
    depths = stored(pack, drain, life.start_depth)
    begun = before_use(pack.ageing, [phase.seconds for phase in drain.before], depths)
    return replace(new, begun=begun + np.zeros(life.life_s.shape))


def _stress(pack: Pack, ageing: Ageing, at: Harvested, life: Life, drain: Drain) -> Stress:
    """What a pack goes through that is charged by day and discharged by night."""
    deepest = life.end_depth
    taken, days = np.minimum(at.depth, 1.0) * deepest, np.full(deepest.shape[1], DAY)
    if not at.fillings:
        return stress(ageing, taken, days)
    draw = np.arange(deepest.shape[1])

    def drawn(depth: Array) -> Array:
        own = pack.self_discharge_a
        if pack.drip is not None:
            own = at_depth(pack.depth, pack.drip, depth, draw)
        volts = at_depth(pack.depth, pack.open_v, depth, draw)
        amps = drain.mean_constant_a + pack.leak_a + own + drain.mean_power_w / volts
        return np.asarray(amps * at.night * DAY / pack.capacity_c)

    # each at the depth in the middle of it
    first, last = (
        np.minimum(drawn(np.clip(depth, 0.0, deepest)), deepest)
        for depth in (taken / 2, deepest - taken / 2)
    )
    nights = Nights(
        night=at.night,
        taken=taken,
        first=first,
        last=last,
        deepest=deepest,
        falls=2 * (energy_to(pack, deepest / 2)[1] / at.volts - 1),
        drawn=drawn,
    )
    law = ageing.cycles
    counts = 1.0 if law is None else nights.cycles(at.fillings, law.power)
    return stress(ageing, taken, days, lambda left: nights.stays(at.fillings, left), counts)
