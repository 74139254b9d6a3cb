"""A pack that is charged again: what one charge does, and what age has left of it in the end."""

from __future__ import annotations

import numpy as np

from advisor.dataclass import dataclass
from advisor.decide.builds import Build
from advisor.model.ageing import Charged
from advisor.model.packs import chargeable


@dataclass(frozen=True, slots=True)
class ChargingResult:
    """The charges of a pack and its ageing, at the stated values."""

    every_s: float
    """[s] from one charge to the next"""
    one_charge_s: float | None
    """[s] how long the first charge lasts, of which what comes before use may have taken some, and
    aged the pack; null where nothing is drawn"""
    depth: float
    """[share] what one interval takes, of the rated capacity: the depth of each cycle"""
    charges: float | None
    """visits over the service life that charge it; null without a service life"""
    charge_c: float | None
    """[C] what each charge puts in, by `charge.efficiency`; null where that is not stated"""
    charge_time_s: float | None
    """[s] the least time of each, at `charge.max-current`; null where that is not stated"""
    allowed: float
    """[share] of the time at which it is neither too cold nor too hot to be charged"""
    calendar_loss: float
    """[share] of the rated capacity, lost with time when its life ends"""
    cycle_loss: float
    """[share] of the rated capacity, lost by its cycles when its life ends"""
    capacity_left: float
    """[share] of the rated capacity, left when its life ends: 1 less both losses"""
    resistance: float
    """the resistance when its life ends, over the fresh one's"""


def charging(build: Build) -> ChargingResult | None:
    """The charges of a build's pack; None where nobody charges it."""
    assessed, row = build.assessed, build.row
    charged, feed = assessed.life.charged, assessed.feed
    if charged is None or feed.cell is None:
        return None
    visits = assessed.costs.charges
    count = np.nan if visits is None else float(visits[row, 0])
    one = float(charged.one_s[row, 0])
    depth = float(charged.depth[row, 0])
    keys = feed.cell.charge
    stated = keys is not None and keys.efficiency is not None
    return ChargingResult(
        every_s=float(charged.every_s[0]),
        one_charge_s=one if np.isfinite(one) else None,
        depth=depth,
        charges=count if np.isfinite(count) else None,
        charge_c=_put_in(build, charged) if stated else None,
        charge_time_s=charge_time(build) if stated else None,
        allowed=float(chargeable(feed.cell, assessed.product)[0]),
        calendar_loss=float(charged.calendar[row, 0]),
        cycle_loss=float(charged.cycles[row, 0]),
        capacity_left=float(charged.left[row, 0]),
        resistance=float(charged.resistance[row, 0]),
    )


def _put_in(build: Build, charged: Charged) -> float:
    """What a charge puts in, C: at least what an interval takes, where no efficiency is stated."""
    feed = build.assessed.feed
    keys = None if feed.cell is None else feed.cell.charge
    share = 1.0 if keys is None or keys.efficiency is None else keys.efficiency.nominal
    return float(charged.depth[build.row, 0]) * float(feed.pack.capacity_c[0]) / share


def charge_time(build: Build) -> float | None:
    """The least time of a charge at the cell's `charge.max-current`, s; None where nobody charges
    the pack or that is not stated."""
    charged, feed = build.assessed.life.charged, build.assessed.feed
    keys = None if feed.cell is None else feed.cell.charge
    if charged is None or keys is None or keys.max_current is None:
        return None
    return _put_in(build, charged) / (keys.max_current.nominal * feed.option.parallel)
