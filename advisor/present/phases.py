"""A product's calendar as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from advisor.present.layout import Page
from advisor.quantities import show

if TYPE_CHECKING:
    from advisor.studies.explain import Explanation


def calendar(page: Page, result: Explanation) -> None:
    """The busy share at each time, and what the phases before use take from the first pack;
    nothing where there are none."""
    if result.times:
        told = [
            f"{one.time} ({100 * one.share:.3g} % of the calendar) {100 * one.busy_share:.3g} %"
            for one in result.times
        ]
        page.paragraph(f"Busy: {', '.join(told)} of the time.", "  ", "    ")
    if not result.before_use:
        return
    page.heading("What comes before the first day takes from the first pack")
    for one in result.before_use:
        parts = [
            f"{show(amount, 'charge')} {what}"
            for amount, what in (
                (one.self_discharge_c, "self-discharge"),
                (one.fed_c, "fed"),
                (one.reservoir_c, "reservoir leak"),
            )
            if amount
        ]
        page.paragraph(
            f"{one.phase}, {show(one.duration_s, 'time')}: {', '.join(parts) or 'nothing'}; "
            f"then {100 * one.depth:.1f} % is gone",
            "  ",
            "    ",
        )
