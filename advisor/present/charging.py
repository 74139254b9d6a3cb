"""The charges of a pack, and its ageing, as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from advisor.present.layout import Page
from advisor.quantities import show
from advisor.studies.words import life

if TYPE_CHECKING:
    from advisor.studies.charging import ChargingResult


def charging(page: Page, found: ChargingResult | None, lasts_s: float) -> None:
    """What one charge does and what age leaves; nothing where nobody charges the pack.

    `lasts_s` is the life of the pack, s.
    """
    if found is None:
        return
    page.heading("How it is charged, and how it ages")
    for text in charging_words(found, lasts_s):
        page.paragraph(text, "  ", "    ")


def charging_words(found: ChargingResult, lasts_s: float) -> list[str]:
    """The same in sentences."""
    one = "without end" if found.one_charge_s is None else show(found.one_charge_s, "time")
    out = [
        f"The first charge lasts {one}; charged every "
        f"{show(found.every_s, 'time')} it gives {100 * found.depth:.3g} % of its rated capacity."
    ]
    if found.charges is not None:
        out[0] += f" Visits to charge it over the service life: {found.charges:g}."
    if found.charge_c is not None:
        put = f"A charge puts in {show(found.charge_c, 'charge')}"
        if found.charge_time_s is not None:
            put += f" and takes at least {show(found.charge_time_s, 'time')}"
        out.append(f"{put}.")
    if found.allowed < 1:
        out.append(
            f"For {100 * (1 - found.allowed):.3g} % of the time it is too cold or too hot to be "
            "charged there: the visits have to fall on other days, or the pack is taken to a "
            "milder place."
        )
    lost = (
        f"When its life of {life(lasts_s)} ends, {100 * found.calendar_loss:.3g} % of the rated "
        f"capacity is lost with time and {100 * found.cycle_loss:.3g} % by cycles: "
        f"{100 * found.capacity_left:.3g} % is left, the resistance {found.resistance:.3g} times "
        "the new one's."
    )
    out.append(lost)
    return out
