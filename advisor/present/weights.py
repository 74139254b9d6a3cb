"""The screen of `weights`."""

from __future__ import annotations

from advisor.present.layout import FAINT, Page
from advisor.present.left_out import left_out
from advisor.present.tables import INVENTED, notes
from advisor.studies.weights import Weights

HOW = {
    "file": "as the file states them",
    "order": "from the order, rank-order centroid (Barron & Barrett 1996)",
    "pairs": "from judgements by pairs, principal eigenvector (Saaty 1980)",
}
MOST = 8  # parts that are told
SEEN = 0.001  # share of the weightings from which their mean is shown


def weights_page(found: Weights, width: int, everything: bool = False) -> Page:
    """The weights, what they mean, whom they put first, and how little would change that."""
    page = Page(width)
    page.heading(f"{found.product}: weights {HOW[found.method]}")
    if found.invented:
        page.paragraph(INVENTED, style=FAINT)
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
    if found.exchange:
        page.heading("What that means")
        for text in found.exchange:
            page.paragraph(text, "  ", "    ")
    if found.clipped:
        page.heading("Where they count nothing")
        for one in found.clipped:
            page.paragraph(one.text, "  ", "    ")
    page.heading("Whom they put first")
    if found.winner is None:
        page.paragraph("Nothing fits, whatever the weights.", "  ")
    else:
        _leads(page, found)
        _unknown(page, found)
    left_out(page, found.left_out, everything)
    notes(page, found.warnings)
    return page


def _leads(page: Page, found: Weights) -> None:
    words = f"{found.winner}" + (
        f", in place of {found.winner_before}" if found.winner != found.winner_before else ""
    )
    page.paragraph(f"{words}.", "  ")
    rivals = [lead for lead in found.leads if lead.part != found.winner]
    if rivals:
        page.heading("The smallest changes that put another part first")
        page.paragraph(
            "sum of the changes of weights that sum to 100, then the weights that change, at which "
            "the part has at least drawn level",
            "  ",
            style=FAINT,
        )
        for lead in rivals[:MOST]:
            moved = ", ".join(
                f"{r.criterion} {100 * lead.weights[r.criterion]:.1f}"
                for r in found.rows
                if abs(lead.weights[r.criterion] - r.weight) >= 5e-4
            )
            page.paragraph(f"{lead.part}: {100 * (lead.l1 or 0):.1f}: {moved}", "  ", "    ")
        if len(rivals) > MOST:
            page.paragraph(f"and {len(rivals) - MOST} more", "  ", style=FAINT)
    if found.never_first:
        page.paragraph(
            f"Lead under no weights at all: {', '.join(found.never_first)}.", "  ", "    "
        )


def _unknown(page: Page, found: Weights) -> None:
    told = found.unknown
    page.heading("If nobody knew the weights")
    text = (
        f"share of {told.weightings:,} weightings, all equally likely, that put the part first; "
        "the mean of those, of 100"
    )
    if told.draws:
        text += f"; for the first ones, in how many of {told.draws:,} draws they lead at that mean"
    page.paragraph(f"{text} (SMAA-2, Lahdelma & Salminen 2001)", "  ", style=FAINT)
    seen = [row for row in told.parts if row.acceptability >= SEEN]
    for row in seen[:MOST]:
        middle = ", ".join(f"{name} {100 * w:.0f}" for name, w in row.central_weights.items())
        line = f"{row.part}: {100 * row.acceptability:.1f} %: {middle}"
        if row.confidence is not None:
            line += f"; there it leads in {100 * row.confidence:.0f} % of the draws"
        page.paragraph(line, "  ", "    ")
    if len(seen) > MOST:
        page.paragraph(f"and {len(seen) - MOST} more", "  ", style=FAINT)
    rare = [row.part for row in told.parts if 0 < row.acceptability < SEEN]
    if rare:
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
