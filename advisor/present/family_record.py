"""The screens of `decide` and `revisit` of a family."""

from __future__ import annotations

from advisor.present.family import amount, mind
from advisor.present.layout import FAINT, GOOD, PLAIN, POOR, STRONG, Page
from advisor.present.left_out import left_out
from advisor.present.record import changes
from advisor.present.tables import INVENTED, notes
from advisor.studies.family_record import FamilyDecided
from advisor.studies.family_revisit import FamilyRevisited

NONE = {"infeasible": "No plan keeps all limits now."}


def decided_page(found: FamilyDecided, width: int) -> Page:
    """What was decided, against the best plan of the day."""
    page = Page(width)
    which = f"next-best plan {found.place}" if found.place else "the plan"
    page.heading(f"{found.family}: {which} is chosen")
    if found.invented:
        page.paragraph(INVENTED, style=FAINT)
    by_part: dict[str, list[str]] = {}
    for product, part in found.parts.items():
        by_part.setdefault(part, []).append(product)
    page.paragraph("; ".join(f"{part}: {', '.join(of)}" for part, of in by_part.items()))
    page.paragraph(
        f"Expected cost {amount(found.cost, found.currency)}, mean score {found.score:.1f} of 100."
    )
    if found.place:
        page.paragraph(f"The best plan {_better(found)}.")
    elif found.proven:
        page.paragraph("No plan is better within the limits.")
    if not found.proven:
        page.paragraph("Time ran out before the best plan was proven best.")
    _mind(page, found)
    left_out(page, found.left_out, False, "family --all tells why")
    return page


def _better(found: FamilyDecided) -> str:
    if found.aim == "score":
        return f"scores {found.best_score - found.score:.2f} points more"
    less = amount(found.cost - found.best_cost, found.currency)
    return f"costs {less} less ({amount(found.best_cost, found.currency)})"


def revisited_page(found: FamilyRevisited, width: int, everything: bool = False) -> Page:
    """Whether a family's decision stands, and what has changed since."""
    page = Page(width)
    page.heading(f"{found.family}: a plan chosen on {found.date.isoformat()}")
    if found.invented:
        page.paragraph(INVENTED, style=FAINT)
    page.paragraph(f"Because: {found.because}")
    for n, text in enumerate(verdict(found)):
        style = GOOD if found.stands else POOR
        page.paragraph(text, "" if not n else "  ", "" if not n else "    ", style)
    for text in standing(found):
        page.paragraph(text)
    _mind(page, found)
    page.paragraph(f"Rule: {found.rule}.", style=FAINT)
    _products(page, found)
    changes(page, found, everything)
    left_out(page, found.left_out, everything)
    notes(page, found.warnings)
    return page


def verdict(found: FamilyRevisited) -> list[str]:
    """Whether it stands; else all that speaks against it, a line each."""
    if found.stands:
        return ["The decision stands."]
    if found.stands is None:
        return ["Whether the decision stands is not known: time ran out before it was proven."]
    out = ["The decision does not stand:"]
    for one in found.unbuilt:
        part = f" on {one.part}" if one.part else ""
        out.append(f"{one.product}{part} cannot be built: {one.why}")
    out += [f"it breaks the limit: {limit}" for limit in found.broken]
    if len(out) == 1:
        now, then = found.behind_now, found.behind_then
        assert now is not None
        out.append(f"a plan betters it by {_amount(now, found)}; then by {_amount(then, found)}")
    return out


def standing(found: FamilyRevisited) -> list[str]:
    """What it costs now against then, and against the best plan now."""
    coin = found.currency
    out = []
    if found.cost_now is not None and found.score_now is not None:
        out.append(
            f"It costs {amount(found.cost_now, coin)} now, {amount(found.cost_then, coin)} then; "
            f"mean score {found.score_now:.1f} now, {found.score_then:.1f} then."
        )
    if found.best_cost_now is None or found.best_score_now is None:
        out.append(NONE.get(found.status, "No plan was found now: time ran out."))
    else:
        sure = "" if found.status == "optimal" else " (not proven best: time ran out)"
        out.append(
            f"The best plan now{sure} costs {amount(found.best_cost_now, coin)} and scores "
            f"{found.best_score_now:.1f}; then {amount(found.best_cost_then, coin)} and "
            f"{found.best_score_then:.1f}."
        )
    others = [one.product for one in found.products if one.best_part not in (None, one.part)]
    if others:
        out.append(f"It takes other parts for: {', '.join(others)}.")
    return out


def _amount(value: float, found: FamilyRevisited) -> str:
    if found.aim == "score":
        return f"{value:.2f} points"
    return amount(value, found.currency)


def _mind(page: Page, found: FamilyDecided | FamilyRevisited) -> None:
    """The foremost caution of the cells in use, and the general one."""
    mind(page, found.builds, found.cautions, "family --cautions")
    if found.cautions:
        page.paragraph(found.cautions[-1])


def _products(page: Page, found: FamilyRevisited) -> None:
    page.heading(f"Products, {found.currency}")
    rows = [
        [
            one.product,
            one.part or "-",
            _told(one.cost_then),
            _told(one.cost_now),
            "-" if one.score_then is None else f"{one.score_then:.1f}",
            "-" if one.score_now is None else f"{one.score_now:.1f}",
        ]
        for one in found.products
    ]
    below = []
    for one in found.products:
        told = []
        if one.best_part is not None and one.best_part != one.part:
            told.append(f"in the best plan now: {one.best_part}")
        if one.rebuilt:
            told.append("what is bought is the same; it sleeps or runs otherwise now")
        below.append("; ".join(told))
    page.table(
        ["product", "part", "cost then", "now", "score then", "now"],
        rows,
        [False, False, True, True, True, True],
        below,
        [STRONG if text else PLAIN for text in below],
    )


def _told(value: float | None) -> str:
    return "-" if value is None else amount(value)
