"""What a pack with a converter may not exceed, whatever the part; see `limits`."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import product as combinations

from advisor.dataclass import dataclass
from advisor.decide.screens import DARK, DELIVERY, TAKES, Case, Limit
from advisor.model.harvest import harvestable
from advisor.model.packs import Feed, chargeable
from advisor.model.workload import ProductFigures


@dataclass(frozen=True, slots=True)
class Supply:
    """A feed in a product: the subject of the limits at the level `feed`."""

    feed: Feed
    product: ProductFigures


def _table(at: Supply) -> Iterator[Case]:
    cell = at.feed.cell
    if at.feed.covered or cell is None or cell.temperature is None:
        return
    ends = cell.temperature.at
    cold = at.product.coldest < ends[0]
    place, end = (at.product.coldest, ends[0]) if cold else (at.product.hottest, ends[-1])
    need = f"{cell.cell} temperature table"
    yield Case(need=need, required=place, offered=end, broken=True, miss=1.0)


def _cold_pulses(at: Supply) -> Iterator[Case]:
    """Of the cold nothing is known beyond what was measured there."""
    cell = at.feed.cell
    if cell is None:
        return
    known = []
    if cell.max_pulse is not None and cell.max_pulse.keys:
        known.append(("max-pulse", cell.max_pulse.x[0]))
    if at.feed.rested is not None:
        known.append(("after-rest", at.feed.rested.coldest))
    for name, end in known:
        if at.product.coldest < end:
            need = f"{cell.cell} {name} table"
            yield Case(need=need, required=at.product.coldest, offered=end, broken=True, miss=1.0)


def _chargeable(at: Supply) -> Iterator[Case]:
    """Somewhere in the year it must be warm, or cool, enough to charge it."""
    cell, product = at.feed.cell, at.product
    charged = at.feed.pack.every_s is not None or (product.income is not None and harvestable(cell))
    if not charged or cell is None or cell.charge is None or chargeable(cell, product).any():
        return
    ends = [end.nominal for end in (cell.charge.min, cell.charge.max) if end is not None]
    places = [place for place, _ in product.stays]
    # of two ends a place is beyond the nearer one
    place, end = min(combinations(places, ends), key=lambda pair: abs(pair[0] - pair[1]))
    need = f"{cell.cell} at a temperature at which it may be charged"
    beyond = "the nearest place has" if place > end else ""
    yield Case(need=need, required=end, offered=place, broken=True, miss=1.0, beyond=beyond)


def _input_max(at: Supply) -> Iterator[Case]:
    for record, _ in at.feed.bought:
        if record.input.max is not None:
            need = f"{record.converter} input max for a fresh pack"
            yield Case(need=need, required=at.feed.pack.open_v[0], offered=record.input.max.nominal)


def _output_min(at: Supply) -> Iterator[Case]:
    for one in at.feed.conversions:
        if one.converter is not None and one.converter.output.min is not None:
            need = f"{one.name} output min for {one.at}"
            yield Case(need=need, required=one.volts, offered=one.converter.output.min.nominal)


def _output_max(at: Supply) -> Iterator[Case]:
    for one in at.feed.conversions:
        if one.converter is not None and one.converter.output.max is not None:
            need = f"{one.name} output max for {one.at}"
            yield Case(need=need, required=one.volts, offered=one.converter.output.max.nominal)


def _direction(kind: str, side: str, beyond: str = "") -> Callable[[Supply], Iterator[Case]]:
    def cases(at: Supply) -> Iterator[Case]:
        for one in at.feed.conversions:
            if one.converter is not None and one.converter.kind == kind:
                need = f"{one.name} ({kind}) needs a pack at or {side} {one.at}"
                volts = at.feed.pack.open_v[0]
                yield Case(need=need, required=one.volts, offered=volts, beyond=beyond)

    return cases


def _lead_time(at: Supply) -> Iterator[Case]:
    longest, cell = at.product.lead_time_s, at.feed.cell
    if longest is None:
        return
    bought = [] if cell is None else [(cell.cell, cell.price)]
    bought += [(record.converter, record.price) for record, _ in at.feed.bought]
    for name, price in bought:
        # what does not state it is left out before
        if price is not None and price.lead_time is not None:
            offered = price.lead_time.nominal
            need = f"{name} lead-time"
            yield Case(need=need, required=longest, offered=offered, unit=DELIVERY, beyond=TAKES)


FEED_LIMITS = (
    Limit(
        name="temperature-table",
        level="feed",
        title="the cell's temperature table reaches over the environment",
        dimension="temperature",
        cases=_table,
        apart_from=DARK,
    ),
    Limit(
        name="cold-pulses",
        level="feed",
        title="the cell's pulse tables reach down to the coldest place",
        dimension="temperature",
        least=False,
        cases=_cold_pulses,
        apart_from=DARK,
    ),
    Limit(
        name="charge-temperature",
        level="feed",
        title="somewhere a pack that is charged again, or harvested into, may be charged",
        dimension="temperature",
        cases=_chargeable,
        apart_from=DARK,
    ),
    Limit(
        name="lead-time",
        level="feed",
        title="cells and converter are delivered in time",
        dimension="time",
        least=False,
        cases=_lead_time,
        apart_from=DARK,
    ),
    Limit(
        name="input-max",
        level="feed",
        title="the fresh pack is within the converter's input",
        dimension="voltage",
        cases=_input_max,
        apart_from=DARK,
    ),
    Limit(
        name="output-min",
        level="feed",
        title="the rail is within the converter's output, from below",
        dimension="voltage",
        least=False,
        cases=_output_min,
        apart_from=DARK,
    ),
    Limit(
        name="output-max",
        level="feed",
        title="the rail is within the converter's output, from above",
        dimension="voltage",
        cases=_output_max,
        apart_from=DARK,
    ),
    Limit(
        name="buck",
        level="feed",
        title="a buck converter's pack is at or above the rail",
        dimension="voltage",
        cases=_direction("buck", "above"),
        apart_from=DARK,
    ),
    Limit(
        name="boost",
        level="feed",
        title="a boost converter's pack is at or below the rail",
        dimension="voltage",
        least=False,
        cases=_direction("boost", "below", "a fresh one has"),
        apart_from=DARK,
    ),
)
