"""The screen of `gaps`."""

from __future__ import annotations

from collections.abc import Sequence

from advisor.present.layout import FAINT, Page
from advisor.present.left_out import left_out
from advisor.present.tables import INVENTED, notes
from advisor.studies.gaps import Gap, Gaps

MOST = 12  # rows of a table


def gaps_page(found: Gaps, width: int, everything: bool = False) -> Page:
    """The advice, what perfect knowledge is worth, and the figures and groups behind it."""
    page = Page(width)
    page.heading(f"{found.product}: what to measure next")
    if found.invented:
        page.paragraph(INVENTED, style=FAINT)
    page.heading(found.advice)
    if found.chosen is not None:
        page.paragraph(worth(found))
        _table(page, "By figure", found.figures, found.currency)
        _table(page, "By group", found.groups, found.currency)
        page.paragraph(how(found), style=FAINT)
    left_out(page, found.left_out, everything)
    notes(page, found.warnings)
    return page


def how(found: Gaps) -> str:
    """What the worths rest on."""
    return (
        f"{found.draws} draws, seed {found.seed}; a worth counts where it exceeds twice its "
        "standard error. Only parts that may still win are asked about."
    )


def worth(found: Gaps) -> str:
    """What knowing every figure first would add."""
    text = f"As things stand one takes {found.chosen}, the best on average"
    if found.first != found.chosen:
        text += f", though {found.first} leads at the stated values"
    text += f". Knowing every figure first would add {found.evpi_score:.2f} points"
    if found.evpi_money is not None:
        text += f", worth {found.currency} {found.evpi_money:.2f} a unit by the weights"
        if found.units is not None:
            text += f" ({found.currency} {found.evpi_money * found.units:.0f} in all)"
    return text + "."


def gap_rows(rows: Sequence[Gap], currency: str) -> tuple[list[str], list[list[str]], list[Gap]]:
    """(header, rows, the figures of the rows) of those worth anything by themselves."""
    shown = [g for g in rows if g.score > 0][:MOST]
    money = any(g.money is not None for g in shown)
    header = ["figure", "points", "error", *([f"{currency} a unit"] if money else []), "worth it"]
    return (
        header,
        [
            [
                g.path,
                f"{g.score:.3f}",
                f"{g.error:.3f}",
                *([f"{g.money:.2f}"] if money and g.money is not None else []),
                "yes" if g.worth_it else "no",
            ]
            for g in shown
        ],
        shown,
    )


def _table(page: Page, title: str, rows: Sequence[Gap], currency: str) -> None:
    page.heading(title)
    header, cells, shown = gap_rows(rows, currency)
    if not shown:
        page.paragraph("None is worth anything by itself.", "  ")
        return
    page.table(
        header,
        cells,
        [False, *(True for _ in header[2:]), False],
        [g.action if g.worth_it else "" for g in shown],
        indent="  ",
    )
    left = len(rows) - len(shown)
    if left:
        page.paragraph(f"and {left} more, worth less or nothing", "  ", style=FAINT)
