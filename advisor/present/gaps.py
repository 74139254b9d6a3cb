"""The screen of `gaps`."""

from __future__ import annotations

from collections.abc import Sequence

from advisor.catalogue.schema_product import USUAL_HOURS
from advisor.present.layout import FAINT, Page
from advisor.present.left_out import left_out
from advisor.present.tables import INVENTED, foremost_caution, notes
from advisor.studies.gaps import LEAST, Gap, Gaps
from advisor.studies.words import of_draws

MOST = 12  # rows of a table


def gaps_page(found: Gaps, width: int, everything: bool = False) -> Page:
    """The advice, what perfect knowledge is worth, and the figures and groups behind it.

    `everything` also tells how worths and hours are reckoned.
    """
    page = Page(width)
    page.heading(f"{found.product}: what to measure next")
    if found.invented:
        page.paragraph(INVENTED, style=FAINT)
    page.heading(found.advice)
    if found.chosen is not None:
        page.paragraph(worth(found))
        if usual(found):
            page.paragraph(usual(found))
        if any(g.score > 0 for g in (*found.figures, *found.groups)):
            _table(page, "By figure", found.figures, found.currency)
            _table(page, "By group", found.groups, found.currency)
        else:
            page.paragraph("No figure is worth anything by itself, and no group of them.")
        header, cells = sample_rows(found.figures, found.currency)
        if cells:
            page.heading("How many more")
            page.table(header, cells, [False, *(True for _ in header[1:])], indent="  ")
            page.paragraph(sample_words(), "  ", style=FAINT)
        page.paragraph(how(found) if everything else _how_in_short(found), style=FAINT)
    left_out(page, found.left_out, everything)
    foremost_caution(page, found.cautions)
    notes(page, found.warnings)
    return page


def how(found: Gaps) -> str:
    """What the worths and efforts rest on."""
    text = (
        f"{of_draws(found.draws)}, seed {found.seed}; a worth counts where it exceeds twice its "
        "standard error. Only parts that may still win are asked about, each on its best build and "
        "on others that may be better once more is known. "
    )
    if found.no_net is None:
        text += (
            "Worth it is what gains: what it is worth for all "
            f"{found.units} units, less an engineer's hours at {found.currency} "
            f"{found.engineer_rate:.2f}. "
        )
    else:
        text += f"{_by_points(found)} "
    return text + (
        "Hours are those of distinct measurements: time and current of a kernel at a point count "
        "once, so do time and charge of a wake, all prices of one quotation and what one discharge "
        "tells of a cell."
    )


def _how_in_short(found: Gaps) -> str:
    """The draws, why no money is told where none is, and what tells the rest."""
    text = f"{of_draws(found.draws)}, seed {found.seed} (how it is reckoned: --all)"
    return text if found.no_net is None else f"{_by_points(found)} {text}"


def _by_points(found: Gaps) -> str:
    return f"Worth it goes by points alone, above {LEAST:g}, as {found.no_net}."


def usual(found: Gaps) -> str:
    """The default hours that the answer rests on; empty where it rests on none."""
    if not found.usual_hours:
        return ""
    kinds = ", ".join(f"{k} {USUAL_HOURS[k]:g} h" for k in found.usual_hours)
    return (
        f"Hours that the product does not state are defaults (common practice, no source): {kinds}."
        " State them as measuring.hours."
    )


def worth(found: Gaps) -> str:
    """What knowing every figure first would add."""
    why = "the best on average" if found.fitting > 1 else "the only part that fits"
    text = f"As things stand one takes {found.chosen}, {why}. "
    text += f"Knowing every figure first would add {found.evpi_score:.2f} points"
    if found.evpi_money is not None:
        text += f", worth {found.currency} {found.evpi_money:.2f} a unit by the weights"
        if found.units is not None:
            text += f" ({found.currency} {found.evpi_money * found.units:.0f} in all)"
    return text + "."


def gap_rows(rows: Sequence[Gap], currency: str) -> tuple[list[str], list[list[str]], list[Gap]]:
    """(header, rows, the figures of the rows) of those worth anything by themselves."""
    shown = [g for g in rows if g.score > 0][:MOST]
    money = any(g.money is not None for g in shown)
    in_all = any(g.worth_money is not None for g in shown)
    net = any(g.net is not None for g in shown)
    header = ["figure", "points", "error"]
    header += [f"{currency} in all" if in_all else f"{currency} a unit"] if money else []
    header += ["hours", *([f"net {currency}"] if net else []), "worth it"]
    return (
        header,
        [
            [
                g.path,
                f"{g.score:.3f}",
                f"{g.error:.3f}",
                *([_money(g.worth_money, 0) if in_all else _money(g.money, 2)] if money else []),
                f"{g.effort_h:g}",
                *([_money(g.net, 0)] if net else []),
                "yes" if g.worth_it else "no",
            ]
            for g in shown
        ],
        shown,
    )


def sample_rows(figures: Sequence[Gap], currency: str) -> tuple[list[str], list[list[str]]]:
    """(header, rows) of what more measurements of a figure are worth, by their number."""
    asked = [g for g in figures if g.samples]
    if not asked:
        return [], []
    net = any(s.net is not None for g in asked for s in g.samples)
    header = ["figure", *(f"{s.measurements} more" for s in asked[0].samples), "known"]
    rows = []
    for g in asked:
        best = next((s for s in g.samples if s.measurements == g.best_measurements), None)
        row = [g.path, *(f"{s.score:.3f}" for s in g.samples), f"{g.score:.3f}"]
        if net:
            row += ["none", ""] if best is None else [str(best.measurements), _money(best.net, 0)]
        rows.append(row)
    return [*header, *(["best", f"net {currency}"] if net else [])], rows


def sample_words() -> str:
    """What a further measurement is taken to be."""
    return (
        "Points of so many more runs, boards or calibrations, each independent and as uncertain as "
        "the figure stands now; a better meter tells more, and to know it is the most."
    )


def _money(value: float | None, digits: int) -> str:
    # no minus before a zero
    return "" if value is None else f"{round(value, digits) + 0.0:.{digits}f}"


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
