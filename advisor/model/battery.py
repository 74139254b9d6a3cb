"""How long a pack lasts under a drain, and what ends it.

    t(D_end) = integral from 0 to D_end of C0 dD/(i(V(D)) + i_self + i_leak)

i_self of a cell that states its leakage over voltage is that at each depth.

with V(D) the open-circuit voltage over depth of discharge, piecewise linear, and i(V) = a + b/V +
g V the pack's mean current (a from constant currents, b from constant powers, g from what is filled
straight from the pack, see `march`). D_end is the least of:
the whole capacity; the capacity at hand in the coldest place; the depth where the open voltage,
or a loaded one, falls below the cut-off; the kinetic battery model's bound
D_end <= 1 - (1 - c) delta_max/C0. The life is no longer than the shelf life.

What comes before the first day is marched through in the same way, phase by phase, with what the
pack loses and feeds meanwhile. The life counts from the depth D_0 that it leaves, t(D_end) -
t(D_0), and the shelf life has run on. A pack that replaces the first one comes fresh.

Axes: R rows (builds on one pack), S states, N draws, G depths. SI units.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.ageing import Charged
from advisor.model.drain import (
    Array,
    Drain,
    Pack,
    Stored,
    joined,
    refined,
    rows_of_each,
    shelf_left,
)
from advisor.model.ends import ENDS, INDEX, Fading
from advisor.model.march import March
from advisor.model.sag import Lows
from advisor.model.two_wells import two_well_depth

_VISIBLE = 0.005  # of depth, between a sag and the open voltage's own end


LATER = ("charged", "emptied", "left")  # what charging makes of a life afterwards


@dataclass(frozen=True, slots=True)
class Life:
    """Result of `life`, each (R, N).

    end_depth; life_s; ends_by (index into ENDS); mean_current_a (time mean over the life, leak
    included, self-discharge not); start_peak_a, start_mean_a (the cells' current, fresh; the peak
    as it counts where their pulse limit is least); start_low_v (lowest loaded voltage, fresh; NaN
    where the pack cannot give the power); dead (fresh pack below the cut-off). start_depth (of
    discharge on the first day: what comes before use takes it from 0, and fresh then means on the
    first day); next_s (life of a pack that replaces the first one). self_a (time mean over the life
    of what the pack loses by itself). mean_v (time mean over the life of the open voltage, V; of
    draws only where currents go by it). Means over the life are NaN where nobody asks for them.
    charged (the story of a pack that is charged again, None for others). emptied (where what came
    before use left nothing, and a panel is to charge it from there; None where nothing is harvested
    or stored). left (what age has left on the first day, a share of the rated capacity, where the
    pack ages in store; None where it does not).
    """

    end_depth: Array
    life_s: Array
    ends_by: NDArray[np.int8]
    mean_current_a: Array
    start_peak_a: Array
    start_mean_a: Array
    start_low_v: Array
    dead: NDArray[np.bool_]
    start_depth: Array
    next_s: Array
    self_a: Array
    mean_v: Array
    charged: Charged | None = None
    emptied: NDArray[np.bool_] | None = None
    left: Array | None = None

    def rows(self, some: slice) -> Life:
        """The lives of some rows."""
        of = {f.name: getattr(self, f.name)[some] for f in fields(Life) if f.name not in LATER}
        return Life(
            **of,
            charged=None if self.charged is None else self.charged.rows(some),
            emptied=None if self.emptied is None else self.emptied[some],
            left=None if self.left is None else self.left[some],
        )


def lives(
    pack: Pack, drains: Sequence[Drain], fresh: bool = True, means: bool = True
) -> list[Life]:
    """`life` for several drains of one pack and the same tasks, worked out side by side."""
    together = life(pack, joined(drains), fresh, means)
    return [together.rows(rows) for rows in rows_of_each(drains)]


def averaged(pack: Pack, drain: Drain) -> Array:
    """Battery life with the mean capacity over the places in place of the coldest's, (R, N) s."""
    even = replace(pack, least_capacity=pack.mean_capacity)
    return life(even, drain, fresh=False, means=False).life_s


def life(
    pack: Pack,
    drain: Drain,
    fresh: bool = True,
    means: bool = True,
    found: tuple[Array, Array] | None = None,
    following: bool = True,
) -> Life:
    """Battery life of R builds on one pack.

    Parameters
    ----------
    pack, drain : see `Pack` and `Drain`; their draw axes are alike.
    fresh : whether the fresh pack's voltage and current are wanted as well; they are NaN
        otherwise, as most draws do without them. means : the same of means over the life.
    found : the depths of `_limits`, where they are known. following : whether the life of the next
        pack is wanted, which was not stored; it is NaN otherwise.

    Returns
    -------
    Life, every array (R, N).
    """
    pack = refined(pack)
    rows, _, draws = drain.share.shape
    shape = (rows, draws)
    march = _in_use(pack, drain)
    b, steady_a = march.b, drain.steady_a
    start = stored(pack, drain)[-1] if drain.before else None

    cut = cut_off_depth(pack, drain.cut_off_v)
    seen = lows_of(pack, drain)
    # a voltage that falls throughout and was short before the first day is so on that day; another
    # may have risen again
    falls = all(lows.falling for lows in seen)
    begin = None if falls else start
    found = found or _limits(pack, drain, seen, cut, drain.mean_constant_a, b, begin)
    sag, well = found
    if start is not None:
        sag, well = (np.where(x <= start, 0.0, x) for x in found)
    fading = Fading(pack=pack, cut_off=cut, sag=sag, two_well=well)
    depths = {i: end.depth(fading) for i, end in enumerate(ENDS) if end.depth is not None}
    bounds = np.empty((len(depths), *shape))
    for n, depth in enumerate(depths.values()):
        bounds[n] = depth
    ends_by = np.array([*depths], dtype=np.int8)[bounds.argmin(axis=0)]
    # any load sags a little: it ends the life only where it does so visibly before the cut-off
    barely = (ends_by == INDEX["sag"]) & (cut - sag < _VISIBLE)
    ends_by = np.where(barely, np.int8(INDEX["cut-off"]), ends_by)
    end = bounds.min(axis=0)
    if start is None:
        to_end = march.time(end)
        shelf = np.broadcast_to(pack.shelf_life_s, shape)
    else:
        end = np.maximum(end, start)
        to_start = march.time(start)
        to_end = march.time(end) - to_start
        shelf = np.broadcast_to(shelf_left(pack, drain), shape)
    if drain.variance is not None and drain.luck is not None:
        to_end = to_end * _by_luck(
            drain, to_end, pack.capacity_c * (end if start is None else end - start)
        )
    life_s = np.minimum(to_end, shelf)
    ends_by = np.where(to_end > shelf, np.int8(INDEX["shelf-life"]), ends_by)
    start_mean = steady_a + b / pack.open_v[0]
    if march.g is not None:
        start_mean = start_mean + march.g * pack.open_v[0]
    mean = self_a = mean_v = np.full(shape, np.nan)
    if means:
        used, early = end, to_end > shelf
        if early.any():
            reached = np.minimum(shelf, to_end)
            if start is not None:
                reached = to_start + reached
            used = march.depth_where(early, reached, end)
        if start is not None:
            used = used - start
        with np.errstate(divide="ignore", invalid="ignore"):
            lasting = (life_s > 0) & np.isfinite(life_s)
            self_a = np.broadcast_to(pack.self_discharge_a, shape)
            first = np.zeros(shape) if start is None else start
            if pack.drip is not None:
                gone = march.leaked(first + used) - march.leaked(first)
                self_a = np.where(lasting, gone / life_s, pack.drip.at(pack.open_v[0]))
            mean = np.where(
                lasting, pack.capacity_c * used / life_s - self_a, steady_a + pack.leak_a
            )
            # at the stated values it is told, of draws only where currents go by it
            if draws == 1 or march.g is not None:
                mean_v = march.mean_v(first, first + used)
            # a pack that never starts has no life to average over: its fresh current stands for it
            mean = np.where(life_s > 0, mean, start_mean + pack.leak_a)
    if fresh:
        lowest, greatest = zip(*(lows.fresh(start) for lows in seen), strict=True)
        low = np.minimum.reduce(lowest)
        counts = [one.strain for one in drain.seen] or [1.0]
        peak = np.maximum.reduce([p * c for p, c in zip(greatest, counts, strict=True)])
        dead = ~(low >= drain.cut_off_v)
    else:
        low = peak = np.full(shape, np.nan)
        dead = end <= 0
    if start is not None:
        dead = dead | (end <= start)
    life_s = np.where(dead, 0.0, life_s)
    next_s = life_s
    if start is not None:
        next_s = np.full(shape, np.nan)
        if following:
            known = found if falls else None
            next_s = life(pack, replace(drain, before=()), False, False, known).life_s
    return Life(
        end_depth=np.where(dead, 0.0, end),
        life_s=life_s,
        ends_by=np.asarray(ends_by, dtype=np.int8),
        mean_current_a=np.asarray(mean),
        start_peak_a=peak,
        start_mean_a=np.asarray(start_mean),
        start_low_v=low,
        dead=dead,
        start_depth=np.zeros(shape) if start is None else start,
        next_s=next_s,
        self_a=np.asarray(self_a),
        mean_v=mean_v,
    )


def _limits(
    pack: Pack,
    drain: Drain,
    seen: Sequence[Lows],
    cut: Array,
    a: Array,
    b: Array,
    start: Array | None,
) -> tuple[Array, Array]:
    """First depths at which a loaded voltage falls short, and beyond the kinetic battery model's
    bound, (R, N) shares of the capacity each, infinite where none is.

    cut : (R, N) share, where the open voltage falls short. a, b : (R, N) A, W, the mean drain.
    start : (R, N) share of which the first look is taken, where that is not 0.
    """
    search = np.minimum(pack.least_capacity, cut)
    sag = np.full(cut.shape, np.inf)
    # where the resistance is greatest they fall short first; the others are looked at until there
    for lows in sorted(seen, key=lambda one: -float(one.pack.resistance.sum())):
        sag = np.minimum(sag, lows.first_below(np.minimum(search, sag), start))
    well = np.full(cut.shape, np.inf)
    if pack.two_well is None:
        return sag, well
    if not drain.seen:
        return sag, two_well_depth(pack, drain, a, b, search, start)
    for one in drain.seen:
        upto, then = np.minimum(search, well), one.drain
        here = two_well_depth(pack, then, then.mean_constant_a, then.mean_power_w, upto, start)
        well = np.minimum(well, here)
    return sag, well


def _in_use(pack: Pack, drain: Drain) -> March:
    """The march of a pack in use."""
    own_a = pack.self_discharge_a if pack.drip is None else 0.0
    g = None if drain.filling is None else drain.conductance
    return March(pack, drain.steady_a + own_a + pack.leak_a, drain.mean_power_w, g)


def taken(pack: Pack, drain: Drain, seconds: Array) -> tuple[Array, Array, Array]:
    """Of a full pack after (N,) s in use: depth of discharge, (R, N) share of the capacity, 1 where
    that is more than it has; what it loses by itself meanwhile, (R, N) A; and its mean voltage,
    (R, N) V, NaN over draws of which no current goes by it."""
    pack = refined(pack)
    march = _in_use(pack, drain)
    whole = np.ones(drain.cut_off_v.shape)
    reached = march.depth(np.broadcast_to(seconds, whole.shape), whole)
    depth = np.asarray(np.where(march.draws, reached, 0.0))
    mean_v = np.full(depth.shape, np.nan)
    if depth.shape[1] == 1 or march.g is not None:
        mean_v = march.mean_v(0 * depth, depth)
    if pack.drip is None:
        return depth, np.broadcast_to(pack.self_discharge_a, depth.shape), mean_v
    return depth, np.asarray(march.leaked(depth) / seconds), mean_v


def _by_luck(drain: Drain, to_end: Array, charge: Array) -> Array:
    """What a device's own events make of its mean time (R, N) s to use up a charge (R, N) C.

    The charge that many events take is nearly normal, of variance v T, so the time to use up Q has
    the relative standard deviation sqrt(v T)/Q (renewal theory); lognormal, of mean 1.
    """
    assert drain.variance is not None
    assert drain.luck is not None
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = np.sqrt(drain.variance * to_end) / charge
    spread = np.where(np.isfinite(spread), np.minimum(spread, 1.0), 0.0)
    return np.asarray(np.exp(spread * drain.luck - spread**2 / 2))


def lows_of(pack: Pack, drain: Drain) -> list[Lows]:
    """The lowest voltages of a pack, by each drain that its pulses are held against."""
    if not drain.seen:
        return [Lows(pack, drain)]
    return [
        Lows(replace(pack, resistance=pack.resistance * one.ease), one.drain, one.outdone)
        for one in drain.seen
    ]


def stored(pack: Pack, drain: Drain, last: Array | None = None) -> list[Array]:
    """Depth of discharge after each phase before use, (R, N) shares of the capacity each; `last`
    the last of them, where it is known."""
    pack = refined(pack)
    out: list[Array] = []
    depth = np.zeros(drain.cut_off_v.shape)
    for phase, loss_a in zip(drain.before, pack.stored_loss_a, strict=True):
        if last is not None and len(out) == len(drain.before) - 1:
            return [*out, last]
        march = _stored(pack, phase, loss_a)
        with np.errstate(invalid="ignore"):
            after = march.depth(march.time(depth) + phase.seconds, np.ones_like(depth))
        # where nothing is drawn time passes and the depth stays
        depth = np.where(march.draws, np.maximum(after, depth), depth)
        out.append(depth)
    return out


def _stored(pack: Pack, phase: Stored, loss_a: Array) -> March:
    own_a = loss_a if pack.drip is None else 0.0
    return March(pack, phase.constant_a + own_a + pack.leak_a, phase.power_w)


def lost_before(pack: Pack, drain: Drain) -> list[Array]:
    """What the pack loses by itself in each phase before use, (R, N) C each."""
    pack = refined(pack)
    out = []
    before = np.zeros(drain.cut_off_v.shape)
    phases = zip(drain.before, pack.stored_loss_a, stored(pack, drain), strict=True)
    for phase, loss_a, after in phases:
        if pack.drip is None:
            out.append(loss_a * phase.seconds + 0 * after)
        else:
            march = _stored(pack, phase, loss_a)
            out.append(march.leaked(after) - march.leaked(before))
        before = after
    return out


def cut_off_depth(pack: Pack, cut_off: Array) -> Array:
    """First depth at which the open voltage is below the cut-off, (R, N) V; 1 where it never is.

    Depths are shares of the capacity, (R, N).
    """
    if bool((pack.open_v[-1] >= cut_off).all()):
        return np.ones_like(cut_off)
    below = pack.open_v[1:, None] < cut_off
    piece, draw = below.argmax(axis=0), np.arange(cut_off.shape[1])
    high, low = pack.open_v[piece, draw], pack.open_v[piece + 1, draw]
    with np.errstate(divide="ignore", invalid="ignore"):
        t = np.minimum(np.maximum((high - cut_off) / (high - low), 0.0), 1.0)
    width = pack.depth[piece + 1] - pack.depth[piece]
    return np.where(below.any(axis=0), pack.depth[piece] + t * width, 1.0)
