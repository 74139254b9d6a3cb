"""What may end a pack's life, declared once: its name, its words, the depth at which it does.

Axes: R rows (builds on one pack), N draws. SI units.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from advisor.dataclass import dataclass
from advisor.model.drain import Array, Pack


@dataclass(frozen=True, slots=True)
class Fading:
    """What the ends are told from.

    Attributes
    ----------
    pack : the pack, (N,). cut_off : (R, N) depth at which the open voltage meets the cut-off;
    sag : at which a loaded one first does, infinite where none; two_well : the kinetic battery
    model's bound, infinite where the cell has none.
    """

    pack: Pack
    cut_off: Array
    sag: Array
    two_well: Array


@dataclass(frozen=True, slots=True)
class End:
    """An end of life: `depth` of discharge at which it comes, (R, N) or broadcast to it.

    None where it comes by time: then the battery's march tells. A life is ended by the `noun`, and
    ends because `words`. `reads` are keys of the cell's own figures that it takes from
    `pack.figures`.
    """

    name: str
    noun: str
    words: str
    depth: Callable[[Fading], Array] | None
    reads: tuple[tuple[str, ...], ...] = ()


DISCHARGE = ("discharge-to",)

# of depths alike the first is told
ENDS = (
    End("capacity", "use", "the cells are used up", lambda at: np.ones(1)),
    End(
        "cold",
        "the cold",
        "the coldest place leaves the rest of the capacity out of reach",
        lambda at: at.pack.least_capacity,
    ),
    End(
        "discharged",
        "its least charge",
        "the cells are to be discharged no deeper",
        lambda at: at.pack.figures.get(DISCHARGE, np.ones(1)),
        reads=(DISCHARGE,),
    ),
    End(
        "cut-off",
        "the cut-off voltage",
        "the open voltage falls to the cut-off",
        lambda at: at.cut_off,
    ),
    End("sag", "sag under load", "the voltage sags under load in the cold", lambda at: at.sag),
    End("two-well", "slow charge", "charge cannot follow the pulses", lambda at: at.two_well),
    End("faded", "age", "age leaves less of the capacity than it is to have", None),
    End(
        "interval",
        "its interval",
        "one charge of the aged cells does not last until the next",
        None,
    ),
    End("shelf-life", "shelf life", "the cells reach the end of their shelf life", None),
)
INDEX = {end.name: i for i, end in enumerate(ENDS)}
BY_AGE = (INDEX["faded"], INDEX["shelf-life"])  # whatever the pack gives
