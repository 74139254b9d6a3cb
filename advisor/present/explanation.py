"""The screen of `explain`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from advisor.present.builds import build_table
from advisor.present.layout import FAINT, GOOD, PLAIN, POOR, STRONG, Page
from advisor.present.left_out import left_out
from advisor.present.life_sections import life_sections, many
from advisor.present.tables import INVENTED, beyond, caution, cost_range, notes
from advisor.quantities import show
from advisor.studies.words import (
    build_words,
    ended_by,
    exchange,
    life,
    life_with_range,
    money,
    per_cent,
)

if TYPE_CHECKING:
    from advisor.studies.explain import Explanation
    from advisor.studies.money import MoneyItem


def explanation_page(
    result: Explanation, width: int, everything: bool = False, cautioned: bool = False
) -> Page:
    """The explanation: current, money, points, the plan and the builds that it beat.

    Parameters
    ----------
    everything : tells the prices of the plan, the other builds, the reasons in sentences and all
    that was left out, in place of a line each. cautioned : tells every caution.
    """
    page = Page(width)
    over = f" over {result.over}" if result.over else ""
    page.heading(
        f"{result.product}: {result.part}{over}, rank {result.rank}, {result.points:.1f} points"
    )
    if result.invented:
        page.paragraph(INVENTED, style=FAINT)
    page.paragraph(f"On {build_words(result.build)}.")
    lives = result.battery_life_s
    target = "" if result.life_target_s is None else f", wanted {life(result.life_target_s)}"
    page.paragraph(
        f"Battery life {life_with_range(lives.nominal, lives.p05, lives.p95)}{target}; ended "
        f"by {ended_by(lives.ends_by)}."
    )
    caution(page, result.build, result.cautions, cautioned)
    page.heading("Where the current goes (mean over the battery's life, at the pack's own voltage)")
    short = many(result) and not everything
    folded = FOLDED * (2 if short else 1)
    large = [c for c in result.current if c.share >= folded]
    small = [c for c in result.current if 0 < c.share < folded]
    rows = [(c.consumer, c.share, _current(c.a, c.share)) for c in large]
    if small:
        a, share = sum(c.a for c in small), sum(c.share for c in small)
        name = f"{len(small)} more, under {per_cent(folded)} each"
        rows.append((name, share, _current(a, share)))
    page.bars(rows)
    total = sum(c.a for c in result.current)
    page.paragraph(f"in all {show(total, 'current')}" + _over_life(result), "  ", "    ")
    life_sections(page, result, everything)
    told = result.cost.told
    if told is not None and told > 0:
        what = "expected" if result.cost.expected else "at the stated values"
        page.heading(
            f"Where the money goes ({what} {money(told, result.cost.currency)} a unit over the "
            f"service life{cost_range(result.cost, ', ', beyond(result.cost))})"
        )
        page.bars([(_bought(m), m.amount or 0.0, money(m.amount)) for m in result.money])
    if result.rates:
        page.paragraph(f"exchanged at {exchange(result.rates, result.cost.currency)}", "  ")
    _points(page, result)
    if not short:
        _plan(page, result, everything)
    build_table(page, result, everything)
    if everything:
        page.heading("Reasons")
        for text in result.reasons:
            page.paragraph(f"- {text}", "  ", "    ")
    left_out(page, result.left_out, everything)
    notes(page, result.warnings, result.cautions if cautioned else ())
    if result.cautions and not cautioned:
        page.paragraph(result.cautions[-1], "", "  ")
    return page


FOLDED = 0.01  # share of the current below which consumers are told together


def _current(a: float, share: float) -> str:
    return f"{show(a, 'current')}  {100 * share:5.1f} %"


def _over_life(result: Explanation) -> str:
    """How the current makes the life."""
    if result.charge_c is None:
        return ""
    charge, lasts = show(result.charge_c, "charge"), life(result.battery_life_s.nominal)
    over = "" if result.charging is None else ", over all its charges,"
    return f"; the {charge} that the pack gives by then{over} last {lasts}"


def point_rows(result: Explanation) -> tuple[list[str], list[list[str]]]:
    """(header, rows) of the points by criterion, against the other part's; the sum last."""
    header = ["criterion", "weight", "value", "points"]
    if result.over is not None:
        header += [result.over, "points", "difference"]
    rows = []
    for item in result.score:
        row = [item.criterion, f"{100 * item.weight:.1f} %", item.value, f"{item.points:.2f}"]
        if result.over is not None:
            row += [item.over_value or "", f"{item.over_points:.2f}", f"{item.difference:+.2f}"]
        rows.append(row)
    last = ["in all", "100.0 %", "", f"{result.points:.2f}"]
    if result.over is not None and result.over_points is not None:
        last += ["", f"{result.over_points:.2f}", f"{result.points - result.over_points:+.2f}"]
    return header, [*rows, last]


def _bought(item: MoneyItem) -> str:
    """An item's name, with the pieces where more are bought than needed."""
    if item.bought is None or item.bought == item.needed:
        return item.item
    return f"{item.item} ({item.bought} bought for {item.needed})"


MEANS = "values as stated; points: mean over the draws"


def _points(page: Page, result: Explanation) -> None:
    means = "" if result.cost.expected is None else f" ({MEANS})"
    page.heading(f"Where the points come from{means}")
    header, rows = point_rows(result)
    gains = [item.difference or 0.0 for item in result.score]
    styles = [GOOD if g >= 0.05 else POOR if g <= -0.05 else PLAIN for g in gains]
    right = [False, *(True for _ in header[1:])]
    page.table(header, rows, right, styles=[*styles, STRONG], indent="  ")


def plan_words(result: Explanation) -> list[str]:
    """The operating plan in sentences."""
    plan = result.plan
    out = [f"As built, whole points: {show(plan.practical_a, 'current')}."]
    if plan.bound_a is not None:
        out.append(
            f"No mix of points does better than {show(plan.bound_a, 'current')}, "
            f"busy {per_cent(plan.busy_share)} of the time."
        )
    for task, mix in plan.mixed.items():
        shares = ", ".join(f"{per_cent(x)} at {label}" for label, x in mix.items())
        out.append(f"That bound runs {task} mixed: {shares}.")
    for price in plan.prices:
        if price.price > 0:
            dimension = "current" if price.unit == "A" else "charge"
            out.append(f"{price.of}: {show(price.price, dimension)}")
    return out


def _plan(page: Page, result: Explanation, everything: bool) -> None:
    head = "The operating plan (mean current at the pack, leak and self-discharge apart)"
    words = plan_words(result)
    if everything:
        page.heading(head)
        for text in words:
            page.paragraph(text, "  ")
    else:
        page.heading("Operating plan")
        page.paragraph(" ".join(words[:2]), "  ")
