"""The screen of `weights`."""

from __future__ import annotations

from advisor.present.layout import FAINT, Page
from advisor.present.left_out import left_out
from advisor.present.tables import INVENTED, foremost_caution, notes
from advisor.studies.weights import Weights

HOW = {
    "file": "as the file states them",
    "order": "from the order, rank-order centroid (Barron & Barrett 1996)",
    "pairs": "from judgements by pairs, principal eigenvector (Saaty 1980)",
}
MOST = 3  # parts, or anchors, that are told
SEEN = 0.001  # share of the weightings from which their mean is shown


def weights_page(found: Weights, width: int, everything: bool = False) -> Page:
    """The weights, what they mean, whom they put first, and how little would change that."""
    page = Page(width)
    page.heading(f"{found.product}: weights {HOW[found.method]}")
    if found.invented:
        page.paragraph(INVENTED, style=FAINT)
    _first(page, found)
    asked = found.method != "file"
    page.table(
        ["criterion", "weight", *(["in the file"] if asked else [])],
        [
            [r.criterion, f"{100 * r.weight:.1f} %", *([f"{100 * r.stands:.1f} %"] * asked)]
            for r in found.rows
        ],
        [False, True, *([True] * asked)],
        indent="  ",
    )
    if found.consistency is not None:
        _consistency(page, found)
    # those that make parts further down alike change no choice
    told = found.clipped if everything else [one for one in found.clipped if one.head][:MOST]
    beyond = {one.criterion for one in told if one.head}
    others = [text for text in found.no_exchange if text.partition(":")[0] not in beyond]
    if found.exchange or (others and found.winner is not None):
        page.heading("What that means")
        for text in (*found.exchange, *others):
            page.paragraph(text, "  ", "    ")
    if found.clipped:
        without = ", and so have no rate of exchange" if beyond else ""
        page.heading(f"Where they count nothing{without}")
        for one in told:
            page.paragraph(one.text, "  ", "    ")
        _more(page, len(found.clipped) - len(told), "anchor" if not told else "more anchor")
    if found.winner is not None:
        _leads(page, found, everything)
        _unknown(page, found, everything)
    left_out(page, found.left_out, everything)
    foremost_caution(page, found.cautions)
    notes(page, found.warnings)
    return page


def _more(page: Page, count: int, what: str) -> None:
    """What is folded, as a count, with what unfolds it."""
    if count > 0:
        page.paragraph(f"{count} {what}{'' if count == 1 else 's'}: --all", "  ", style=FAINT)


def _first(page: Page, found: Weights) -> None:
    """Whom they put first."""
    if found.winner is None:
        page.paragraph("Nothing fits, whatever the weights.")
        return
    words = f"They put {found.winner} first"
    if found.winner != found.winner_before:
        words += f", in place of {found.winner_before}"
    if not found.unknown.draws:
        words += ", at the stated values, without draws"
    page.paragraph(f"{words}.")


def _leads(page: Page, found: Weights, everything: bool) -> None:
    rivals = [lead for lead in found.leads if lead.part != found.winner]
    if rivals:
        page.heading("The smallest changes that put another part first")
        page.paragraph(
            "sum of the changes, of 100, and the new weights, at which the part draws level",
            "  ",
            style=FAINT,
        )
        told = rivals if everything else rivals[:MOST]
        for lead in told:
            moved = ", ".join(
                f"{r.criterion} {100 * lead.weights[r.criterion]:.1f}"
                for r in found.rows
                if abs(lead.weights[r.criterion] - r.weight) >= 5e-4
            )
            page.paragraph(f"{lead.part}: {100 * (lead.l1 or 0):.1f}: {moved}", "  ", "    ")
        _more(page, len(rivals) - len(told), "more part")
    if found.never_first and everything:
        page.paragraph(
            f"Lead under no weights at all: {', '.join(found.never_first)}.", "  ", "    "
        )
    elif found.never_first:
        count = len(found.never_first)
        leads = "part leads" if count == 1 else "parts lead"
        page.paragraph(f"{count} {leads} under no weights at all: --all", "  ", "    ")


def _unknown(page: Page, found: Weights, everything: bool) -> None:
    told = found.unknown
    page.heading("If nobody knew the weights")
    text = (
        f"share of {told.weightings:,} weightings, all equally likely, that put the part first; "
        "their mean, of 100"
    )
    if told.draws:
        some = "the draw" if told.draws == 1 else f"{told.draws:,} draws"
        text += f"; for some, in how many of {some} it leads there"
    page.paragraph(f"{text} (SMAA-2, Lahdelma & Salminen 2001)", "  ", style=FAINT)
    seen = [row for row in told.parts if row.acceptability >= SEEN]
    listed = seen if everything else seen[:MOST]
    for row in listed:
        middle = ", ".join(f"{name} {100 * w:.0f}" for name, w in row.central_weights.items())
        line = f"{row.part}: {100 * row.acceptability:.1f} %: {middle}"
        if row.confidence is not None:
            line += f"; leads there in {100 * row.confidence:.0f} %"
        page.paragraph(line, "  ", "    ")
    rare = [row.part for row in told.parts if 0 < row.acceptability < SEEN]
    if not everything:
        _more(page, len(seen) + len(rare) - len(listed), "more part")
    elif rare:
        page.paragraph(f"In fewer than {100 * SEEN:.1f} %: {', '.join(rare)}.", "  ", "    ")


def _consistency(page: Page, found: Weights) -> None:
    told = found.consistency
    assert told is not None
    word = "good enough" if told.accepted else "judge again"
    page.paragraph(
        f"Consistency ratio {told.ratio:.3f}: {word} (up to 0.1 is commonly accepted); greatest "
        f"eigenvalue {told.greatest:.4f} for {len(found.rows)} criteria.",
        "  ",
    )
    if told.triple and told.discord > 1.001:
        a, b, c = told.triple
        page.paragraph(
            f"Least in agreement: {a} to {b} and {b} to {c} miss {a} to {c} by a factor of "
            f"{told.discord:.3g}.",
            "  ",
            "    ",
        )
