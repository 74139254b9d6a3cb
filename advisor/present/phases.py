"""A product's calendar as text."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from advisor.present.layout import Page
from advisor.quantities import show

if TYPE_CHECKING:
    from advisor.studies.chances import ChanceResult, SpreadResult
    from advisor.studies.phases import PhaseResult, TimeResult


def busy_words(times: Sequence[TimeResult], brief: bool = False) -> str:
    """The busy share at each time of the calendar, in a sentence; `brief` without its share."""
    told = [
        f"{one.time}{'' if brief else f' ({100 * one.share:.3g} % of the calendar)'} "
        f"{100 * one.busy_share:.3g} %"
        for one in times
    ]
    return f"Busy: {', '.join(told)} of the time."


def busy(page: Page, times: Sequence[TimeResult]) -> None:
    """The busy share at each time; nothing where there is but one."""
    if times:
        page.paragraph(busy_words(times), "  ", "    ")


def before_use(page: Page, phases: Sequence[PhaseResult]) -> None:
    """What the phases before use take from the first pack; nothing where there are none."""
    if not phases:
        return
    page.heading("What comes before the first day takes from the first pack")
    for one in phases:
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


def chance_words(one: ChanceResult, brief: bool = False, times: bool = False) -> str:
    """What chance makes of a task: `brief` without its waits; the calendar may have `times`."""
    how = "at random" if one.arrival == "random" else "a period apart"
    parts = [how if brief else f"events {how}"]
    if one.busy and not brief:
        wait = "without end" if one.wait_s is None else show(one.wait_s, "time")
        parts.append(f"{100 * one.busy:.3g} % find the core busy; the mean wait of all is {wait}")
    if one.lost:
        last = "for good" if brief else "at their last try"
        parts.append(f"{100 * one.lost:.3g} % fail {last}")
    if one.missed is not None:
        worst = ", at the worst time" if times else ""
        late = "are late" if brief else "miss their deadline"
        parts.append(f"{100 * one.missed:.3g} % {late}{worst}")
    return f"{one.task}: {'; '.join(parts)}"


def chances(page: Page, found: SpreadResult | None, times: bool) -> None:
    """What chance makes of each task, and of the life; nothing where there is none.

    `times` : whether the calendar has times, of which a missed deadline is that of the worst.
    """
    if found is None:
        return
    page.heading("What is left to chance")
    for one in found.tasks:
        page.paragraph(chance_words(one, times=times), "  ", "    ")
    lasts = "which does not move its end, by age"
    if found.life_sd_s is not None:
        lasts = f"the life by {show(found.life_sd_s, 'time')}"
    page.paragraph(
        f"By chance alone the charge of a life varies by {show(found.charge_sd_c, 'charge')} "
        f"(standard deviation), {lasts}.",
        "  ",
        "    ",
    )
