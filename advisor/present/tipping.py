"""The screen of `tipping`."""

from __future__ import annotations

from advisor.present.layout import FAINT, STRONG, Page, setting
from advisor.present.left_out import left_out
from advisor.present.tables import INVENTED, foremost_caution, notes
from advisor.studies.tipping import LeverTip, Tipping
from advisor.studies.words import of_draws

MOST = 20  # levers of a report
LISTED = 6  # levers that are told, limits among them
SOME = 2  # limits that are told
PHYSICAL, PRICE, PREFERENCE = "Physical figures", "Prices and costs", "Preferences"
KINDS = (PHYSICAL, PRICE, PREFERENCE)
LIMITS = "Values at which nothing fits"


def tipping_page(found: Tipping, width: int, everything: bool = False) -> Page:
    """What would take the lead, the nearest of each kind first; then limits and weights.

    `everything` tells all of them, what sets each, and the figures that tip nowhere.
    """
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
    if any(tip.distance_u is not None for tip in tips):
        page.paragraph("u: standard uncertainties of the figure", style=FAINT)
    if not tips:
        page.paragraph("No figure that was looked at does, within its range.")
    limits = found.limits if everything else found.limits[:SOME]
    listed = tips if everything else tips[: LISTED - len(limits)]
    for kind in KINDS:
        some = [t for t in listed if kind_of(t, found.product) == kind]
        if some:
            page.heading(kind)
        for tip in some:
            _told(page, found, tip, everything)
    if limits:
        page.heading(LIMITS)
    for tip in limits:
        _told(page, found, tip, everything)
    _rest(page, found, tips, len(listed), len(limits), everything)
    near, never = weight_words(found)
    if near:
        page.paragraph(f"Weights: {near}", hanging="  ")
    if never and everything:
        page.paragraph(never, "  ", "    ")
    page.paragraph(looked(found) if everything else _looked(found), style=FAINT)
    if found.unmoved:
        page.paragraph(unmoved(found, everything), style=FAINT)
    left_out(page, found.left_out, everything)
    foremost_caution(page, found.cautions)
    notes(page, found.warnings)
    return page


def kind_of(tip: LeverTip, product: str) -> str:
    """Which of `KINDS` a figure is."""
    document, _, keys = tip.path.partition(":")
    first = keys.partition(".")[0]
    if document == product and first == "priorities":
        return PREFERENCE
    if first in ("cost", "price", "extras", "service-life") or keys.startswith("toolchain.setup"):
        return PRICE
    return PHYSICAL


def _told(page: Page, found: Tipping, tip: LeverTip, everything: bool) -> None:
    """A figure, what it is now, the change needed, and who leads then."""
    page.line("  ", (short_name(tip, found.product), STRONG))
    leads = "" if tip.new_winner is None else f", then {tip.new_winner}"
    far = f" ({in_u(tip)} u)" if tip.distance_u is not None else ""
    page.paragraph(f"from {tip.now_shown} to {tip.tips_shown}: {change(tip)}{far}{leads}", "    ")
    if everything:
        page.typed(setting(tip.path, tip.text), "    ", FAINT)


def short_name(tip: LeverTip, product: str) -> str:
    """A figure's path, without the product's own id before it."""
    return tip.path.removeprefix(f"{product}:")


def change(tip: LeverTip) -> str:
    """The change to the value that is told, in words."""
    if tip.tips_at is None:
        return "none"
    more = tip.tips_at > tip.now
    if tip.distance_k is not None:
        return f"{_near(tip.distance_k * tip.beyond)} K {'warmer' if more else 'colder'}"
    if tip.distance_share is None:
        return "more" if more else "less"
    share = tip.distance_share * tip.beyond
    if more and share >= 1:
        return f"{_near(1 + share)} times as much"
    return f"{_near(100 * share)} % {'more' if more else 'less'}"


def in_u(tip: LeverTip) -> str:
    """The same in the figure's standard uncertainties, a dash where it is exact."""
    return "-" if tip.distance_u is None else f"{tip.distance_u * tip.beyond:.1f}"


def _near(value: float) -> str:
    """In two figures: nobody changes a figure by more of them."""
    return f"{float(f'{value:.2g}'):g}"


def _rest(
    page: Page, found: Tipping, tips: list[LeverTip], told: int, limits: int, everything: bool
) -> None:
    """What is not listed: as counts, or by name."""
    stop = {t.path for t in found.limits}
    firm = [_named(t) for t in found.levers if t.tips_at is None and t.path not in stop]
    if everything:
        if firm:
            page.heading("Figures that tip nowhere in the range")
            page.paragraph(", ".join(firm), "  ")
        return
    counts = beside(len(tips) - told, len(found.limits) - limits, len(firm))
    never = len(found.never_first)
    if never:
        leads = "part that leads" if never == 1 else "parts that lead"
        counts.append(f"{never} {leads} under no weights")
    if counts:
        page.lines.append([])
        page.paragraph(f"Beside these {', '.join(counts)}: --all", style=FAINT)


def beside(tips: int, limits: int, firm: int) -> list[str]:
    """What is not listed, as counts; none of what is none."""
    tip = "tips" if firm == 1 else "tip"
    counts = (
        (tips, f"more that {'tips' if tips == 1 else 'tip'}"),
        (limits, f"more limit{'' if limits == 1 else 's'}"),
        (firm, f"figure{'' if firm == 1 else 's'} that {tip} nowhere in the range"),
    )
    return [f"{count} {what}" for count, what in counts if count > 0]


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
        never = f"Lead under no weights: {', '.join(found.never_first)}."
    return near, never


def _looked(found: Tipping) -> str:
    """Where tips were looked for, in short."""
    by = f"{of_draws(found.draws)}, seed {found.seed}" if found.draws else "the stated values"
    count = len(found.contenders)
    return (
        f"By the score over {by}, up to eight times the value or 20 K, among "
        f"{count} part{'' if count == 1 else 's'}; each is confirmed by the decision (--all for "
        "more)."
    )


def looked(found: Tipping) -> str:
    """Where tips were looked for."""
    places = f"{found.points} place{'' if found.points == 1 else 's'}"
    by = (
        f"expected score over {of_draws(found.draws)}, seed {found.seed}"
        if found.draws
        else "score at the stated values, no draws"
    )
    return (
        f"By {by}. Looked at {places} on each side and at more where the lead is small, up to "
        f"eight times the value or 20 K, among {', '.join(found.contenders)}.{_let_in(found)} A "
        "figure keeps its own spread as it moves. Tips are confirmed by the decision on both "
        "sides; what comes and goes between two places may not be seen."
    )


def unmoved(found: Tipping, everything: bool = True) -> str:
    """How many figures of cells and converters are moved only where they are asked for, with
    `everything` of which; empty where all that were asked for are."""
    if not found.unmoved:
        return ""
    count = sum(found.unmoved.values())
    figures = "1 figure" if count == 1 else f"{count} figures"
    each = ", ".join(f"{n} of {name}" for name, n in found.unmoved.items())
    which = f" ({each})" if everything else ""
    others = " and those of parts behind the second" if len(found.contenders) > 2 else ""
    return (
        f"Not moved unless asked for: {figures} of the cells and converters compared{which}"
        f"{others}; --lever ID moves all of one."
    )


def _let_in(found: Tipping) -> str:
    """Where parts that are out as things stand were looked at, and which."""
    if not found.waiting:
        return ""
    are = "which is" if len(found.waiting) == 1 else "which are"
    return (
        f" {', '.join(found.waiting)}, {are} out as things stand, may come in where a figure of "
        "the product or of its supply is another: looked at halfway and at the end of each side."
    )


def _named(tip: LeverTip) -> str:
    """A figure, a rate of exchange with what it says."""
    rate = tip.now_shown.startswith("1 ") and " = " in tip.now_shown
    return f"{tip.path} ({tip.now_shown})" if rate else tip.path
