"""The screen of `tipping`."""

from __future__ import annotations

from advisor.present.layout import FAINT, Page
from advisor.present.left_out import left_out
from advisor.present.tables import INVENTED, notes
from advisor.studies.tipping import LeverTip, Tipping

MOST = 20  # levers that are told
AWAY = "away: change of the figure; u: in its standard uncertainties"
HEADER = ["now", "tips at", "away", "u", "then leads"]


def tipping_page(found: Tipping, width: int, everything: bool = False) -> Page:
    """Levers that tip, the nearest first; those that do not; weights."""
    page = Page(width)
    if found.winner is None:
        page.heading(f"{found.product}: nothing fits, so nothing tips.")
        left_out(page, found.left_out, everything)
        notes(page, found.warnings)
        return page
    page.heading(f"{found.product}: what would take the lead from {found.winner}")
    if found.invented:
        page.paragraph(INVENTED, style=FAINT)
    tips = [t for t in found.levers if t.tips_at is not None]
    if tips:
        page.paragraph(f"{AWAY}; below each, what sets it", style=FAINT)
        page.table(
            HEADER,
            [tip_row(t) for t in tips[:MOST]],
            [True, True, True, True, False],
            [f"--set {t.path}={t.text}" for t in tips[:MOST]],
            indent="  ",
        )
        if len(tips) > MOST:
            page.paragraph(f"and {len(tips) - MOST} more (--format json)", "  ", style=FAINT)
    firm = [t.path for t in found.levers if t.tips_at is None]
    if firm:
        page.heading("Figures that tip nowhere in the range")
        page.paragraph(", ".join(firm), "  ")
    near, never = weight_words(found)
    if near:
        page.heading("Weights")
        page.paragraph(near, "  ")
    if never:
        page.paragraph(never, "  ", "    ")
    page.paragraph(looked(found), style=FAINT)
    left_out(page, found.left_out, everything)
    notes(page, found.warnings)
    return page


def weight_words(found: Tipping) -> tuple[str, str]:
    """How little the weights must change for another part, and who is first under none."""
    near = never = ""
    if found.weights:
        first = found.weights[0]
        near = (
            f"{first.part} draws level when the weights change by {100 * first.l1:.1f} of 100 in "
            f"all (see weights {found.product})."
        )
    if found.never_first:
        never = f"First under no weights: {', '.join(found.never_first)}."
    return near, never


def looked(found: Tipping) -> str:
    """Where tips were looked for."""
    places = f"{found.points} place{'' if found.points == 1 else 's'}"
    return (
        f"Looked at {places} on each side, up to eight times the value or 20 K, among "
        f"{', '.join(found.contenders)}; what comes and goes between two places may not be seen."
    )


def tip_row(tip: LeverTip) -> list[str]:
    """A tip under `HEADER`."""
    return [
        tip.now_shown,
        tip.tips_shown or "-",
        "-" if tip.distance_share is None else f"{100 * tip.distance_share:.3g} %",
        "-" if tip.distance_u is None else f"{tip.distance_u:.1f}",
        tip.new_winner or "nothing fits",
    ]
