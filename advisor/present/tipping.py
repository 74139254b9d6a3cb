"""The screen of `tipping`."""

from __future__ import annotations

from advisor.present.layout import FAINT, Page
from advisor.present.tables import INVENTED
from advisor.studies.tipping import LeverTip, Tipping

MOST = 20  # levers that are told


def tipping_page(found: Tipping, width: int) -> Page:
    """Levers that tip, the nearest first; those that do not; weights."""
    page = Page(width)
    if found.winner is None:
        page.heading(f"{found.product}: nothing fits, so nothing tips.")
        return page
    page.heading(f"{found.product}: what would take the lead from {found.winner}")
    if found.invented:
        page.paragraph(INVENTED, style=FAINT)
    tips = [t for t in found.levers if t.tips_at is not None]
    if tips:
        page.paragraph(
            "away: change of the figure; u: in its standard uncertainties; below each, what sets "
            "it",
            style=FAINT,
        )
        page.table(
            ["now", "tips at", "away", "u", "then leads"],
            [_row(t) for t in tips[:MOST]],
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
    if found.weights:
        page.heading("Weights")
        near = found.weights[0]
        page.paragraph(
            f"{near.part} draws level when the weights change by {100 * near.l1:.1f} of 100 in "
            f"all (see weights {found.product}).",
            "  ",
        )
    if found.never_first:
        page.paragraph(f"First under no weights: {', '.join(found.never_first)}.", "  ", "    ")
    places = f"{found.points} place{'' if found.points == 1 else 's'}"
    page.paragraph(
        f"Looked at {places} on each side, up to eight times the value or 20 K, among "
        f"{', '.join(found.contenders)}; what comes and goes between two places is not seen.",
        style=FAINT,
    )
    return page


def _row(tip: LeverTip) -> list[str]:
    return [
        tip.now_shown,
        tip.tips_shown or "-",
        "-" if tip.distance_share is None else f"{100 * tip.distance_share:.3g} %",
        "-" if tip.distance_u is None else f"{tip.distance_u:.1f}",
        tip.new_winner or "nothing fits",
    ]
