"""A product's calendar as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from advisor.present.layout import Page
from advisor.quantities import show

if TYPE_CHECKING:
    from advisor.studies.chances import SpreadResult
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
    if result.chances is not None:
        _chances(page, result.chances)
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


def _chances(page: Page, found: SpreadResult) -> None:
    """What chance makes of each task, and of the life."""
    page.heading("What is left to chance")
    for one in found.tasks:
        parts = [f"events {'at random' if one.arrival == 'random' else 'a period apart'}"]
        if one.busy:
            wait = "without end" if one.wait_s is None else show(one.wait_s, "time")
            parts.append(f"{100 * one.busy:.3g} % find the core busy, mean wait {wait}")
        if one.lost:
            parts.append(f"{100 * one.lost:.3g} % fail at their last try")
        if one.missed is not None:
            parts.append(f"{100 * one.missed:.3g} % miss their deadline")
        page.paragraph(f"{one.task}: {'; '.join(parts)}", "  ", "    ")
    page.paragraph(
        f"By chance alone the charge of a life varies by {show(found.charge_sd_c, 'charge')} "
        f"(standard deviation), the life by {show(found.life_sd_s, 'time')}.",
        "  ",
        "    ",
    )
