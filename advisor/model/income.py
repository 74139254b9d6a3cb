"""What a product harvests, as arrays: energy of a day by month, its spread, its nights.

N is the draw axis (1 for the stated values). SI units.
"""

from __future__ import annotations

import numpy as np

from advisor.catalogue.schema_harvest import Harvest
from advisor.catalogue.schema_hourly import MONTHS
from advisor.dataclass import dataclass
from advisor.model.draws import Array, Sampler


@dataclass(frozen=True, slots=True)
class Income:
    """What goes into a store in a day: energy (12, N) J at its terminals, by month.

    spread, persistence : (N,) of days. night : (N,) share of a day. stated : the same at the stated
    values, which the chain is worked out for: months (12,) J, spread, persistence. stated_night :
    a share of a day.
    """

    energy: Array
    spread: Array
    persistence: Array
    night: Array
    stated: tuple[tuple[float, ...], float, float]
    stated_night: float


def income_of(harvest: Harvest, sampler: Sampler) -> Income:
    """What the product's harvest comes to; it has passed its rules, so nothing is missing.

    The figures of a file are exact and no levers; they move by `scale`.
    """
    own = sampler.root / "harvest"
    factor = np.ones(sampler.size)
    stated = 1.0
    for keys, quantity in harvest.factors.items():
        factor = factor * sampler.take(own.child(*keys), quantity)
        stated *= quantity.nominal
    months = harvest.months
    where = own / ("energy" if harvest.energy else "irradiation")
    of_file = harvest.days
    energy = [
        np.full(sampler.size, months[m].nominal)
        if of_file is not None
        else sampler.take(where / m, months[m])
        for m in MONTHS
    ]

    def other(name: str) -> tuple[Array, float]:
        quantity = getattr(harvest, name)
        if quantity is None:
            nominal = float(getattr(of_file, name).nominal)
            return np.full(sampler.size, nominal), nominal
        return sampler.take(own / name, quantity), float(quantity.nominal)

    spread, stated_spread = other("spread")
    persistence, stated_persistence = other("persistence")
    night, stated_night = other("night")
    return Income(
        energy=np.stack(energy) * factor,
        spread=spread,
        persistence=np.clip(persistence, 0.0, 0.95),
        night=np.minimum(night, 86400.0) / 86400.0,
        stated=(
            tuple(months[m].nominal * stated for m in MONTHS),
            stated_spread,
            stated_persistence,
        ),
        stated_night=min(stated_night, 86400.0) / 86400.0,
    )
