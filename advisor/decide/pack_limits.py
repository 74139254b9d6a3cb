"""What the packs of builds may not fall short of: new, stored, and charged again; see `limits`.

Arrays (R, N): R builds on one feed, N draws or places of a lever. SI figures.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from advisor.decide.builds import Assessed
from advisor.decide.screens import Case
from advisor.model.drain import shelf_left
from advisor.model.ends import INDEX


def fresh(at: Assessed) -> Iterator[Case]:
    """A new pack carries the load, and so does the first as what comes before use ages it."""
    low = at.life.start_low_v
    yield Case(
        need="voltage of a fresh pack under load, in the cold",
        required=at.cut_off_v,
        offered=np.where(np.isnan(low), 0.0, low),
        # a voltage that holds is not what a pack emptied before use fails by
        broken=at.life.dead & ~(low >= at.cut_off_v),
    )
    charged = at.life.charged
    if charged is not None and charged.first_low_v is not None:
        yield Case(
            need="voltage of a pack aged before use under load, in the cold",
            required=at.cut_off_v,
            offered=np.nan_to_num(charged.first_low_v, posinf=np.inf),
            broken=_strained(at),
        )


def stored(at: Assessed) -> Iterator[Case]:
    """What comes before use leaves the pack something to give."""
    life = at.life
    if at.product.before:
        need = "depth of discharge in reach after before-use"
        offered = np.where(life.dead, 0.0, life.end_depth)
        yield Case(need=need, required=life.start_depth, offered=offered, broken=life.dead)
        if life.left is not None:
            # in proportion it is a little beyond where the voltage falls
            offered = np.minimum(life.end_depth * life.left, life.start_depth)
            need = f"{need}, of what age leaves"
            spent = _spent(at) & ~_strained(at)
            yield Case(need=need, required=life.start_depth, offered=offered, broken=spent)


def in_store(at: Assessed) -> Iterator[Case]:
    """The pack's shelf life is not over by the first day."""
    shelf = at.feed.pack.shelf_life_s
    if before := at.product.before:
        length = np.asarray(sum(phase.duration for phase in before))
        need, over = "shelf-life beyond before-use", _outlasted(at)
        yield Case(need=need, required=length, offered=shelf, broken=over)


def aged_in_store(at: Assessed) -> Iterator[Case]:
    """Age leaves the pack more than it is to have at least, on the first day."""
    left, ageing = at.life.left, at.feed.pack.ageing
    if left is not None and ageing is not None:
        need = "capacity left for ageing.end after before-use"
        yield Case(need=need, required=ageing.end, offered=left, broken=_faded(at))


def _faded(at: Assessed) -> NDArray[np.bool_]:
    """Whether packs, (R, N), have no life as what comes before use ages them to their end."""
    life = at.life
    return np.asarray((life.life_s <= 0) & ~life.dead & (life.ends_by == INDEX["faded"]))


def _spent(at: Assessed) -> NDArray[np.bool_]:
    """Whether packs, (R, N), have no more to give of their first charge as what comes before use
    has aged them."""
    life = at.life
    if life.charged is None:
        return np.zeros(life.dead.shape, dtype=bool)
    return np.asarray((life.charged.first_s <= 0) & ~life.dead & ~_faded(at))


def _strained(at: Assessed) -> NDArray[np.bool_]:
    """Whether packs, (R, N), are so as the resistance that age makes leaves too low a voltage."""
    charged = at.life.charged
    if charged is None or charged.first_low_v is None:
        return np.zeros(at.life.dead.shape, dtype=bool)
    return _spent(at) & ~(charged.first_low_v >= at.cut_off_v)


def _outlasted(at: Assessed) -> NDArray[np.bool_]:
    """Whether packs, (R, N), have no life as what comes before use takes their shelf life."""
    life, left = at.life, shelf_left(at.feed.pack, at.drain)
    return np.asarray((life.life_s <= 0) & ~life.dead & (left <= 0))


def interval(at: Assessed) -> Iterator[Case]:
    """Aged by the end of the first interval, the pack carries the product to the next charge."""
    life = at.life
    charged = life.charged
    if charged is not None:
        every, out = charged.every_s, (life.life_s < charged.every_s) & ~life.dead
        # what ends a pack in store is told there: the interval is held against a new one's charge
        gone = _outlasted(at) | _faded(at) | _spent(at)
        # and what ends within the first interval against what its charge comes to while it ages
        aged_s = np.where(life.ends_by == INDEX["interval"], life.life_s, np.inf)
        one_s = np.where(gone, charged.run_s, charged.one_s)
        new = one_s < every
        need = "recharge.every that one charge lasts"
        offered = np.where(gone, one_s, np.minimum(one_s, aged_s))
        yield Case(need=need, required=every, offered=offered, broken=out & new)
        # a charge of the new pack lasts, and the pack does not
        need = "recharge.every that the pack lasts as it ages"
        yield Case(need=need, required=every, offered=life.life_s, broken=out & ~new & ~gone)


def charging(at: Assessed) -> Iterator[Case]:
    """What an interval takes can be put in again within one."""
    charged, feed = at.life.charged, at.feed
    if charged is not None and feed.cell is not None and feed.most_charge_a is not None:
        mean = charged.depth * feed.pack.capacity_c / charged.every_s
        if feed.charge_efficiency is not None:
            mean = mean / feed.charge_efficiency
        need = f"{feed.cell.cell} charge.max-current, for what recharge.every takes"
        yield Case(need=need, required=mean, offered=feed.most_charge_a)
