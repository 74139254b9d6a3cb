"""A store that is harvested into, as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from advisor.present.layout import Page
from advisor.quantities import show
from advisor.studies.words import life, per_cent

if TYPE_CHECKING:
    from advisor.studies.harvests import HarvestResult, ServiceResult

RARE = 5e-4  # share of the days that is told as less than that
HALF = 179 / 365  # of a year, the shortest that six of its months are
LONG = 60.0  # days of load, the least that a store holds of which a full beginning counts for years


def days(share: float) -> str:
    """A share of days lost."""
    return "under 0.05 %" if 0 < share < RARE else per_cent(share)


def service_words(told: ServiceResult) -> str:
    """How often a store runs empty, in a sentence."""
    if told.cover is None:
        return "What is harvested covers the load, which is nothing."
    cover = f"Harvest {told.cover:.3g} times the load" if told.cover else "Nothing is harvested"
    store = "" if told.store_days is None else f"; store {told.store_days:.3g} days"
    lost = f"{days(told.lost)} of days without service"
    if told.lost and told.store_days is not None and told.store_days >= LONG:
        lost += " in the long run, fewer in the first years of one that begins full"
    return f"{cover}{store}; {lost}."


def harvest(page: Page, found: HarvestResult | None) -> None:
    """What charges the store, what it gives, and what would reach the aim."""
    if found is None:
        return
    page.heading("What the harvest covers (of a day, behind charger and cells)")
    for text in harvest_words(found):
        page.paragraph(text, "  ", "    ")


def harvest_words(found: HarvestResult) -> list[str]:
    """The same in sentences."""
    out = [
        f"Harvested {show(found.income_j, 'energy')} on the year's mean, load "
        f"{show(found.load_j, 'energy')}; the store holds {show(found.store_j, 'energy')}, of "
        f"which a night takes {show(found.night_j, 'energy')}.",
        service_words(found.service),
    ]
    worst = sorted((m for m in found.months if m.lost > 0), key=lambda m: -m.lost)[:3]
    if worst:
        told = [f"{m.month} {days(m.lost)} ({show(m.income_j, 'energy')} a day)" for m in worst]
        out.append(f"Most of them in {', '.join(told)}.")
    for share, word, when in (
        (found.cold, "cold", "the six months of least harvest"),
        (found.hot, "hot", "the other months"),
    ):
        if share:
            rest = ", what is more than these have in the rest" if share > HALF else ""
            out.append(
                f"Too {word} to charge on {100 * share:.3g} % of days, counted in {when}{rest}, "
                "as a spell in each."
            )
    return [*out, *_begun(found), enough(found)]


def _begun(found: HarvestResult) -> list[str]:
    """How long packs last by the month in which they begin, where these differ."""
    lives = [(m.life_s, m.month) for m in found.months if m.life_s is not None]
    if not lives:
        return []
    (short, one), (long, other) = min(lives), max(lives)
    told, most = life(short), life(long)
    if told == most:
        return []
    return [f"Begun in {one} the pack fades after {told}, in {other} after {most}."]


def enough(found: HarvestResult) -> str:
    """What would reach the aim, in a sentence."""
    ways = []
    if found.enough_area_m2 is not None and found.panel_area_m2 is not None:
        ways.append(f"{_area(found.enough_area_m2)} of panel ({_area(found.panel_area_m2)} now)")
    elif found.enough_income is not None:
        ways.append(f"{found.enough_income:.3g} times the harvest")
    if found.enough_store_j is not None:
        store = show(found.enough_store_j, "energy")
        # one that loses no more by itself than this one
        ways.append(f"a like store of {store}")
    aim = f"{100 * found.aim:.6g} % of days take"
    return f"{aim} {', or '.join(ways)}." if ways else f"{aim} more than either can give."


def _area(square_metres: float) -> str:
    return f"{1e4 * square_metres:.3g} cm²"
