"""The screens: shortlist and explanation."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

from advisor.catalogue.schema_parts import Variant
from advisor.decide.clipping import NOTHING
from advisor.decide.robustness import AGREE
from advisor.model.tables import never_sleeps
from advisor.present.layout import FAINT, GOOD, PLAIN, POOR, STRONG, Page, cells
from advisor.present.left_out import left_out
from advisor.present.phases import calendar
from advisor.quantities import show
from advisor.studies.columns import Column, fitting, shown
from advisor.studies.results import BuildResult, CostResult, RankedPart
from advisor.studies.shortlist import Shortlist
from advisor.studies.words import build_words, life, life_range, money, pack, per_cent

if TYPE_CHECKING:
    from advisor.studies.explain import Explanation
    from advisor.studies.money import MoneyItem

INVENTED = "DEMONSTRATION DATA, in part invented: it describes no real product."

ROOMY = 96  # letters of a line that has room for more than the answer itself
MORE = ", ..."
TOP = 5  # parts listed unless more are asked for


def shortlist_page(
    result: Shortlist,
    width: int,
    most: int | None = TOP,
    everything: bool = False,
    cautioned: bool = False,
) -> Page:
    """The shortlist: the answer with its caution, the first parts, what there is beside.

    Parameters
    ----------
    most : parts to list; None for all. everything : tells how firm the order is and all that was
    left out with its reason, in place of a line. cautioned : tells every caution.
    """
    page = Page(width)
    page.heading(f"{result.product}" + (f": {result.summary}" if result.summary else ""))
    if result.invented:
        page.paragraph(INVENTED, style=FAINT)
    if result.ranking:
        first, *more = answer(result)
        page.heading(first)
        for text in more:
            page.paragraph(text)
        caution(page, result.ranking[0].build, result.cautions, cautioned)
        _ranking(page, result, most)
    else:
        page.heading("Nothing fits.")
        if result.nearest_miss:
            page.paragraph(f"The nearest miss is {result.nearest_miss}.")
    if result.ranking and result.draws and everything:
        _firmness(page, result)
    _left_out(page, result, everything)
    if result.evidence:
        shares, how = rests_on(result)
        for text in (shares, how) if everything else (f"{shares} {_drawn(result)}",):
            page.paragraph(text, "", "  ", FAINT)
    notes(page, result.warnings, result.cautions if cautioned else ())
    if result.cautions and not cautioned:
        page.paragraph(result.cautions[-1], "", "  ")
    return page


def caution(
    page: Page,
    build: BuildResult,
    cautions: Sequence[str],
    all_follow: bool,
    how: str = "--cautions",
) -> None:
    """The foremost caution on a build's cells and converter, inside the answer.

    Parameters
    ----------
    all_follow : whether all are told below. how : what tells the others.
    """
    own = [
        text
        for text in cautions
        if {build.cell, build.converter} & set(text.partition(": ")[0].split(", "))
    ]
    if not own:
        return
    more = len(cautions) - 1
    rest = "" if all_follow or not more else f" ({more} more: {how})"
    # its first sentence says what it is about
    told = own[0] if all_follow else own[0].partition(". ")[0].rstrip(".") + "."
    page.paragraph(f"Caution: {told}{rest}", style=STRONG)


def _drawn(result: Shortlist) -> str:
    """How the figures were drawn, in a few words."""
    if not result.draws:
        return "Ranked at the stated values, without draws."
    return f"{result.draws} draws, seed {result.seed}; ranges are 5 to 95 % of them."


def rests_on(result: Shortlist) -> tuple[str, str]:
    """What kinds of evidence the figures in use are of, and how they were drawn."""
    shares = ", ".join(f"{k} {per_cent(v)}" for k, v in result.evidence.items())
    how = (
        f"{result.draws} draws of the stated uncertainties, seed {result.seed}; ranges are 5 "
        "to 95 %. A draw that breaks a need or a limit scores nothing; a part is out that keeps "
        f"them in less than {per_cent(result.confidence)} of the draws (needs.confidence)."
        if result.draws
        else "Ranked at the stated values, without draws: what is uncertain is not looked at."
    )
    return f"Measured figures in use: {shares}.", how


def answer(result: Shortlist) -> tuple[str, ...]:
    """The first part in sentences: its build first, then its life, its cost, why, how firm."""
    best = result.ranking[0]
    lives = best.battery_life_s
    spread = life_range(lives.p05, lives.p95)
    words = f"Battery life {life(lives.nominal)}" + (f" ({spread})" if spread else "")
    if result.life_target_s is not None:
        words += f", wanted {life(result.life_target_s)}"
        if best.meets_life_target_probability is not None:
            words += f" (met in {per_cent(best.meets_life_target_probability)} of draws)"
    out = [
        f"First: {best.part} on {build_words(best.build)}.",
        f"{words}; it ends because {best.ends}.",
    ]
    if best.cost.told is not None:
        out.append(cost_words(best.cost))
    seldom = fits(best).removeprefix("; ")
    if seldom:
        out.append(f"It {seldom}.")
    awake = [
        f"{one.id.partition(':')[2]} {one.why}"
        for one in result.left_out
        if one.kind == "sleep-state" and one.id.startswith(f"{best.part}:")
    ]
    if awake and never_sleeps(best.build.sleep_state):
        # what decides the life is no line among others
        out.append(f"It never sleeps: {'; '.join(awake)}.")
    out.append(f"Why: {best.reason}.")
    if result.verdict is not None and len(result.ranking) > 1:
        out.append(f"Verdict {result.verdict.text}.")
    told = "; ".join(one.text.removesuffix(NOTHING) for one in result.clipped if one.head)
    if told:
        out.append(f"Beyond an anchor{NOTHING}: {told}.")
    return tuple(out)


def cost_words(cost: CostResult) -> str:
    """What a unit costs over the service life in a sentence: expected, with its range."""
    if cost.expected is None:
        changes = cost.replacements or 0.0
        return (
            f"{money(cost.lifetime, cost.currency)} a unit over the service life at the stated "
            f"values, of it {money(cost.purchase)} to buy, {money(cost.development)} to develop, "
            f"{money(cost.upkeep)} for {changes:g} battery change{'' if changes == 1 else 's'}."
        )
    change = (
        ""
        if cost.change_probability is None
        else f" (needed in {per_cent(cost.change_probability)} of draws)"
    )
    return (
        f"Expected cost {money(cost.expected, cost.currency)} a unit over the service life"
        f"{cost_range(cost, ' (', ')')}: {money(cost.expected_purchase)} to buy, "
        f"{money(cost.expected_development)} to develop, {money(cost.expected_upkeep)} for "
        f"battery changes{change}."
    )


def cost_range(cost: CostResult, before: str = "", after: str = "") -> str:
    """`5.31 to 38.9`: 5 to 95 % of the draws; empty without them."""
    if cost.p05 is None or cost.p95 is None:
        return ""
    return f"{before}{money(cost.p05)} to {money(cost.p95)}{after}"


def legend(result: Shortlist, columns: Sequence[Column] = ()) -> str:
    """What the columns of a shortlist are; all that are shown, or some."""
    currency = result.ranking[0].cost.currency or "no currency"
    told = (f"{c.head}: {c.legend}" for c in columns or shown(result.ranking) if c.legend)
    expected = "expected " if result.draws else ""
    return "; ".join(told).format(currency=currency, expected=expected)


def below(part: RankedPart, roomy: bool = True) -> str:
    """A ranked part's second line: its pack, with room what it costs in 5 to 95 % of the draws, why
    it stands there, and how often it fails."""
    cost = cost_range(part.cost, ", cost ") if roomy else ""
    return f"on {pack(part.build)}{cost}: {part.reason}{fits(part)}"


def _in_room(text: str, room: int) -> str:
    """A text without the last of its terms where it takes more than a line of `room` letters; 0
    is room enough."""
    if not room or cells(text) <= room:
        return text
    ends = [found.start() for found in re.finditer("[,;] ", text)]
    kept = [end for end in ends if cells(text[:end]) + len(MORE) <= room]
    return text[: kept[-1]] + MORE if kept else text


def fits(part: RankedPart) -> str:
    """In how many draws a part fits, where it does not in all, and what it breaks most."""
    if part.fits_probability is None or part.fits_probability >= 1:
        return ""
    need = next(iter(part.broken))
    return f"; fits in {per_cent(part.fits_probability)} of draws ({need})"


def _ranking(page: Page, result: Shortlist, most: int | None) -> None:
    listed = result.ranking if most is None else result.ranking[:most]
    columns = fitting(
        result.ranking,
        lambda some: page.takes(
            [c.head for c in some], [[c.text(part) for c in some] for part in listed]
        ),
    )
    roomy = not page.width or page.width >= ROOMY
    page.heading("Shortlist")
    page.paragraph(legend(result, columns), style=FAINT)
    page.table(
        [column.head for column in columns],
        [[column.text(part) for column in columns] for part in listed],
        [column.right for column in columns],
        # the first one's is the answer itself
        [
            "" if p.rank == 1 else _in_room(below(p, roomy), 0 if roomy else page.width - 3)
            for p in listed
        ],
        [STRONG if p.rank == 1 else PLAIN for p in listed],
    )
    if any(p.estimated for p in listed):
        page.paragraph(
            "*: rests on kernels that were estimated, not measured; see the warnings", "  "
        )
    if len(listed) < len(result.ranking):
        page.paragraph(f"and {len(result.ranking) - len(listed)} more: --top 0", "   ", style=FAINT)


FIRM = (
    "share of draws at each rank; regret: points given away on average against the best of "
    "each draw; beaten: parts that are at least as good by every criterion and better by one"
)


def firm_rows(result: Shortlist) -> tuple[list[str], list[list[str]]]:
    """(header, rows) of the ranks over the draws, for those that may come near the top."""
    near = [p for p in result.ranking if p.rank == 1 or sum((p.rank_acceptability or ())[:3]) > 0]
    ranks = range(min(5, len(result.ranking)))
    return ["part", *(f"rank {r + 1}" for r in ranks), "regret", "beaten by"], [
        [
            p.part,
            *(per_cent(_rank(p, r)) for r in ranks),
            "-" if p.expected_regret is None else f"{p.expected_regret:.2f}",
            "none" if not p.dominated_by else str(len(p.dominated_by)),
        ]
        for p in near
    ]


def agreement(result: Shortlist) -> str | None:
    """How far the draws agree with the order, in words."""
    if result.order_agreement is None:
        return None
    return (
        f"The draws agree with this order, over the first {min(AGREE, len(result.ranking))}, "
        f"by a mean Kendall's tau of {result.order_agreement:.2f} (1 the same, 0 unrelated)."
    )


def _firmness(page: Page, result: Shortlist) -> None:
    if len(result.ranking) < 2:
        return
    page.heading("How firm the order is")
    page.paragraph(FIRM, style=FAINT)
    header, rows = firm_rows(result)
    page.table(header, rows, [False, *(True for _ in header[1:])], indent="  ")
    text = agreement(result)
    if text is not None:
        page.paragraph(text, "  ")


def _rank(part: RankedPart, rank: int) -> float:
    shares = part.rank_acceptability or ()
    return shares[rank] if rank < len(shares) else 0.0


def _left_out(page: Page, result: Shortlist, everything: bool) -> None:
    left_out(page, result.left_out, everything)
    if result.ranking and result.nearest_miss:
        page.paragraph(f"Nearest miss: {result.nearest_miss}.", "", "  ", FAINT)


def notes(page: Page, warnings: tuple[str, ...], cautions: tuple[str, ...] = ()) -> None:
    """Warnings and cautions, as every screen ends."""
    if warnings:
        page.heading("Warnings")
        for text in warnings:
            page.paragraph(f"- {text}", "  ", "    ")
    if cautions:
        page.heading("Cautions")
        for text in cautions:
            page.paragraph(f"- {text}", "  ", "    ")


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
    spread = life_range(lives.p05, lives.p95)
    target = "" if result.life_target_s is None else f", wanted {life(result.life_target_s)}"
    page.paragraph(
        f"Battery life {life(lives.nominal)}{f' ({spread})' if spread else ''}{target}; ends by "
        f"{lives.ends_by}."
    )
    caution(page, result.build, result.cautions, cautioned)
    page.heading("Where the current goes (mean over the battery's life, at the pack's own voltage)")
    large = [c for c in result.current if c.share >= FOLDED]
    small = [c for c in result.current if 0 < c.share < FOLDED]
    rows = [(c.consumer, c.share, _current(c.a, c.share)) for c in large]
    if small:
        a, share = sum(c.a for c in small), sum(c.share for c in small)
        rows.append((f"{len(small)} more, under 1 % each", share, _current(a, share)))
    page.bars(rows)
    total = sum(c.a for c in result.current)
    page.line(f"  in all {show(total, 'current')}" + _over_life(result))
    calendar(page, result)
    told = result.cost.told
    if told is not None and told > 0:
        what = "expected" if result.cost.expected else "at the stated values"
        page.heading(
            f"Where the money goes ({what} {money(told, result.cost.currency)} a unit over the "
            f"service life{cost_range(result.cost, ', ')})"
        )
        page.bars([(_bought(m), m.amount or 0.0, money(m.amount)) for m in result.money])
    _points(page, result)
    _plan(page, result, everything)
    _build_table(page, result, everything)
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
    return f"; the {charge} that the pack gives by then last {lasts}"


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


def _points(page: Page, result: Explanation) -> None:
    page.heading("Where the points come from")
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


def _build_table(page: Page, result: Explanation, everything: bool) -> None:
    if len(result.builds) < 2:
        return
    if not everything:
        other = result.builds[1]
        points = other.score if other.expected is None else other.expected
        page.paragraph(
            f"Of {result.builds_in_all} builds the next best is on {pack(other.build)} with "
            f"{other.build.converter}, sleeping in {other.build.sleep_state}: {points:.1f} points, "
            f"{life(other.battery_life_s)} (--all for the others).",
            hanging="  ",
        )
        return
    page.heading(
        f"The build against those it beat ({result.builds_in_all} in all, the best of each pack, "
        "converter and sleep state)"
    )
    rows = []
    used = []
    for item in result.builds:
        rows.append(
            [
                pack(item.build),
                item.build.converter,
                item.build.sleep_state,
                f"{item.score:.1f}",
                *([] if item.expected is None else [f"{item.expected:.1f}"]),
                life(item.battery_life_s),
                item.ends_by,
                money(item.lifetime),
            ]
        )
        used.append(
            ", ".join(
                f"{task} at {Variant(point, item.build.engines[task])}"
                for task, point in item.build.operating_points.items()
            )
        )
    drawn = [] if result.builds[0].expected is None else ["expected"]
    page.table(
        ["pack", "converter", "sleep", "stated", *drawn, "life", "ends by", "cost"],
        rows,
        [False, False, False, True, *(True for _ in drawn), True, False, True],
        used if len(set(used)) > 1 else [],
        [STRONG],
        indent="  ",
    )
