"""What the life of a product adds to an explanation: its calendar, chance, rails, what charges it.

One or two of these are told in full. Where a product has more of them, they are a line each, so
that the answer stays a screenful or two; `--all` unfolds them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from advisor.present.charging import charging
from advisor.present.gating import switched
from advisor.present.harvest import enough, harvest, service_words
from advisor.present.layout import Page
from advisor.present.phases import before_use, busy, busy_words, chance_words, chances
from advisor.quantities import show
from advisor.studies.words import life

if TYPE_CHECKING:
    from advisor.studies.explain import Explanation

FEW = 2  # sections that are told in full


def many(result: Explanation) -> bool:
    """Whether there are more sections than are told in full."""
    some = (
        result.chances,
        result.before_use,
        result.gating,
        result.harvest,
        result.charging,
    )
    return sum(1 for one in some if one) > FEW


def life_sections(page: Page, result: Explanation, everything: bool) -> None:
    """The sections, or a line of each; `everything` tells all in full."""
    if everything or not many(result):
        busy(page, result.times)
        chances(page, result.chances, bool(result.times))
        before_use(page, result.before_use)
        switched(page, result)
        harvest(page, result.harvest)
        charging(page, result.charging, result.battery_life_s.nominal)
        return
    page.heading("All of its life (--all for the figures)")
    for text in in_short(result):
        page.paragraph(text, "  ", "    ")


def in_short(result: Explanation) -> list[str]:
    """A sentence of each section."""
    out = [busy_words(result.times, brief=True)] if result.times else []
    if result.chances is not None:
        chancy = [t for t in result.chances.tasks if t.arrival == "random" or t.lost or t.missed]
        out += [f"{chance_words(one, brief=True, times=bool(result.times))}." for one in chancy]
    out += [
        f"{one.phase}: {show(one.duration_s, 'time')} leave the first pack {100 * one.depth:.1f} % "
        "down."
        for one in result.before_use
    ]
    out += [
        f"{one.gate}: switching it on takes {show(one.takes_j, 'energy')} from the pack."
        for one in result.gating
        if one.gated
    ]
    if result.harvest is not None:
        out += [service_words(result.harvest.service), enough(result.harvest)]
    if result.charging is not None:
        one = result.charging.one_charge_s
        if one is not None:
            out.append(
                f"The first charge lasts {life(one)}; then age leaves "
                f"{100 * result.charging.capacity_left:.3g} % of its capacity."
            )
    return out
