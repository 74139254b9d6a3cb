"""The screen of `family`: the plan, what it saves and why, what limits it, what comes next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from advisor.present.harvest import days
from advisor.present.layout import FAINT, PLAIN, POOR, STRONG, Page
from advisor.present.left_out import left_out
from advisor.present.tables import INVENTED, caution, cautions_of, notes
from advisor.studies.family_results import (
    FamilyPlan,
    LimitPrice,
    OtherPlan,
    PlannedProduct,
    SavingLine,
)
from advisor.studies.results import BuildResult
from advisor.studies.words import in_years, life, pack, per_cent, rails

SLIGHT = 1e-4  # of the cost, below which a line of the saving is folded
SMALL = 0.005  # of an amount, below which nothing is told of it
BESIDE = 3  # next-best plans on the first screen


def family_page(
    result: FamilyPlan, width: int, everything: bool = False, cautioned: bool = False
) -> Page:
    """The plan of a family.

    Parameters
    ----------
    everything : tells purchases, the saving of every line, each product's lines and all that was
    left out. cautioned : tells every caution.
    """
    page = Page(width)
    page.heading(f"{result.family}" + (f": {result.summary}" if result.summary else ""))
    if result.invented:
        page.paragraph(INVENTED, style=FAINT)
    if not result.plan:
        _no_plan(page, result)
    else:
        for n, text in enumerate(answer(result)):
            if n:
                page.paragraph(text)
            else:
                page.heading(text)
        _caution(page, result, cautioned)
        _products(page, result)
        _saving(page, result, everything)
        _limits(page, result, everything)
        _others(page, result)
        _supply(page, result, everything)
        if everything:
            _purchases(page, result)
    if result.assumed:
        page.heading("Taken for granted")
        for text in result.assumed:
            page.paragraph(text, "  ", "    ")
    left_out(page, result.left_out, everything)
    notes(page, result.warnings, result.cautions if cautioned else ())
    if result.cautions and not cautioned:
        page.paragraph(result.cautions[-1], "", "  ")
    return page


def amount(value: float, currency: str = "") -> str:
    """Money of a whole family: whole from a thousand up."""
    text = f"{value:,.0f}" if abs(value) >= 1000 else f"{value:,.2f}"
    return f"{currency} {text}".strip()


def answer(result: FamilyPlan) -> list[str]:
    """The answer in a few sentences; the first is its heading."""
    coin = result.currency
    assert result.cost is not None
    assert result.score is not None
    parts = [f"{one.part} ({', '.join(one.products)})" for one in result.adopted]
    count = f"{len(parts)} part{'' if len(parts) == 1 else 's'}"
    products = f"{len(result.plan)} product{'' if len(result.plan) == 1 else 's'}"
    out = [f"Plan: {count} for {products}: {'; '.join(parts)}."]
    units = sum(one.units for one in result.plan)
    sure = proof(result)
    out.append(
        f"Expected cost {amount(result.cost, coin)} for all {units:,} units over their service "
        f"lives; mean score {result.score:.1f} of 100; {sure}"
    )
    if result.separate_cost is not None and result.saving is not None:
        total = result.lines[-1]
        share = per_cent(abs(result.saving) / result.separate_cost) if result.separate_cost else ""
        word = "saves" if result.saving >= 0 else "costs"
        more = "" if result.saving >= 0 else " more"
        out.append(
            f"It {word} {amount(abs(result.saving), coin)}{more} ({share}) against choosing "
            f"separately ({amount(result.separate_cost, coin)}): "
            f"{_way(total.separate - total.pooled, coin)} by buying and setting up together, "
            f"{_way(total.pooled - total.together, coin)} by choosing together."
        )
    assert result.hours is not None
    assert result.capital is not None
    out.append(
        f"It takes {result.hours:.1f} h of engineering and {amount(result.capital, coin)} before "
        "the first unit is sold."
    )
    if result.regret is not None:
        out.append(
            f"Over the scenarios of supply it costs {amount(result.regret, coin)} more on average "
            "than the best of the plans listed in each."
        )
    return out


def _way(saved: float, currency: str) -> str:
    return f"{amount(abs(saved), currency)} {'less' if saved >= 0 else 'more'}"


def proof(result: FamilyPlan) -> str:
    """How sure it is that no plan is better."""
    best = "greatest" if result.aim == "score" else "least"
    if result.status == "optimal":
        return f"proven {best} within the limits (gap {_gap(result.gap)})."
    if result.bound is None or result.gap is None:
        return "time ran out before it was proven best."
    side = "more than" if result.aim == "score" else "less than"
    told = f"{result.bound:.1f}" if result.aim == "score" else amount(result.bound, result.currency)
    return f"time ran out: no plan {'scores' if result.aim == 'score' else 'costs'} {side} {told}."


def _gap(gap: float | None) -> str:
    """How far the plan may be from the best at most."""
    return f"{100 * (gap or 0):.4f}".rstrip("0").rstrip(".") + " %"


def _no_plan(page: Page, result: FamilyPlan) -> None:
    if result.conflict:
        page.heading("No plan keeps all limits.")
        page.paragraph(clash(result))
        for text in result.conflict:
            page.paragraph(f"- {text}", "  ", "    ", POOR)
    else:
        page.heading("No plan was found in the time that it may take.")


def clash(result: FamilyPlan) -> str:
    """What the limits that conflict are."""
    if result.conflict_smallest and len(result.conflict) == 1:
        return "No plan keeps this one by itself; without it the others can hold:"
    if result.conflict_smallest:
        return "These cannot hold together; without any one of them the others can:"
    return "These cannot hold together; fewer of them may be to blame, which took too long to tell:"


def _caution(page: Page, result: FamilyPlan, cautioned: bool) -> None:
    builds = {one.cell: one.first.build for one in result.plan}
    if not cautioned:
        # the fold tells how to have the others
        mind(page, list(builds.values()), result.cautions)
        return
    for build in builds.values():
        caution(page, build, result.cautions, True)


def mind(
    page: Page, builds: Sequence[BuildResult], cautions: Sequence[str], how: str = "--cautions"
) -> None:
    """The foremost caution of all builds, inside the answer."""

    def place(build: BuildResult) -> int:
        own = cautions_of(build, cautions)
        return cautions.index(own[0]) if own else len(cautions)

    if builds:
        caution(page, min(builds, key=place), cautions, False, how)


def _products(page: Page, result: FamilyPlan) -> None:
    page.heading("Products")
    rows, below, styles = [], [], []
    for one in result.plan:
        loses = f"{one.gives_up:.1f}" if one.gives_up >= SMALL else "0"
        rows.append([*product_row(one), loses])
        below.append(beside(one))
        styles.append(STRONG if one.gives_up >= 1 else PLAIN)
    page.table(
        PRODUCTS,
        rows,
        [False, False, False, True, True, True, True, True],
        below,
        styles,
    )
    page.paragraph(
        f"cost: {result.currency} a unit, purchases and set-up shared; score: of 100, by itself; "
        "loses: points against its own favourite",
        "",
        "  ",
        FAINT,
    )


PRODUCTS = ("product", "part", "fed by", "units", "cost", "years", "score", "loses")


def product_row(one: PlannedProduct) -> tuple[str, ...]:
    """What stands below `PRODUCTS` of a product, but for what it loses."""
    return (
        one.product,
        one.part + "".join(f" + {name}" for name in one.addons),
        pack(one.first.build)
        + ("" if one.converter == "none" else f", {one.converter}")
        + "".join(f", {words}" for words in rails(one.first.build)),
        f"{one.units:,}",
        f"{one.cost_per_unit:.2f}",
        in_years(one.first.life_s),
        f"{one.score:.1f}",
    )


def saving_row(one: SavingLine) -> tuple[str, ...]:
    """A line of the saving: what it costs in three ways, and what is saved."""
    return (
        one.line,
        amount(one.separate),
        amount(one.pooled),
        amount(one.together),
        amount(one.saving),
    )


def beside(one: PlannedProduct) -> str:
    """What is told below a product's row."""
    out = []
    if one.second is not None:
        out.append(f"{one.second.units:,} of them on {one.second.part}, its second source")
    if one.favourite != one.part:
        out.append(f"its favourite: {one.favourite} ({one.favourite_score:.1f})")
    if one.alone != one.part:
        out.append(f"alone it takes {one.alone}, {amount(one.alone_cost / one.units)} a unit")
    chance = one.first.life_chance
    if chance is not None and chance < 1:
        out.append(f"reaches its life target in {per_cent(chance)} of the draws")
    if one.first.one_charge_s is not None:
        out.append(f"one charge of the new pack lasts {life(one.first.one_charge_s)}")
    if one.first.service is not None:
        out.append(f"{days(one.first.service.lost)} of days without service")
    return "; ".join(out)


def _saving(page: Page, result: FamilyPlan, everything: bool) -> None:
    told = [
        line
        for line in result.lines
        if everything or line.line == "all" or abs(line.saving) >= SLIGHT * abs(result.cost or 0)
    ]
    if not told:
        return
    page.heading(f"Saving, {result.currency}")
    page.table(
        ["", "separately", "bought together", "the plan", "saves"],
        [saving_row(line) for line in told],
        [False, True, True, True, True],
        styles=[STRONG if line.line == "all" else PLAIN for line in told],
    )
    if len(told) < len(result.lines):
        alike = [line.line for line in result.lines if line not in told]
        page.paragraph(f"much alike: {', '.join(alike)} (--all)", "", "  ", FAINT)


def _limits(page: Page, result: FamilyPlan, everything: bool) -> None:
    if not result.limits:
        return
    page.heading("Limits")
    loose = [one for one in result.limits if one.saving == 0 and not everything]
    for one in result.limits:
        if one not in loose:
            page.paragraph(f"{one.limit}: {priced(one, result)}", "  ", "    ")
    if loose:
        names = "; ".join(one.limit for one in loose)
        page.paragraph(f"a step looser saves nothing: {names}", "  ", "    ", FAINT)


def priced(one: LimitPrice, result: FamilyPlan) -> str:
    """What a limit costs, in words."""
    if one.saving is None:
        return "what it costs was not found in time"
    if not one.saving:
        return f"{one.step} saves nothing"
    off = f" (give or take {worth(one.unsure, result)})" if one.unsure else ""
    each = f"; by the relaxation {worth(abs(one.dual), result)} a unit" if one.dual else ""
    gains = "gains" if result.aim == "score" else "saves"
    return f"{one.step} {gains} {worth(one.saving, result)}{off}{each}"


def worth(value: float, result: FamilyPlan) -> str:
    """An amount of what the family aims at."""
    if result.aim == "score":
        return f"{value:.2f} points"
    return amount(value, result.currency)


def _others(page: Page, result: FamilyPlan) -> None:
    for title, plans, most in (
        ("Between least cost and greatest score", result.front, None),
        ("Next-best plans", result.alternatives, BESIDE),
    ):
        if not plans:
            continue
        page.heading(title)
        shown = plans if most is None else plans[:most]
        regret = any(one.regret is not None for one in shown)
        page.table(
            ["cost", "more", "score", *(["regret"] if regret else [])],
            [
                [
                    amount(one.cost),
                    amount(one.more),
                    f"{one.score:.1f}",
                    *(["-" if one.regret is None else amount(one.regret)] if regret else []),
                ]
                for one in shown
            ],
            [True, True, True, *([True] if regret else [])],
            [parts_of(one) for one in shown],
        )


def parts_of(plan: OtherPlan) -> str:
    """Part by part the products that take it."""
    by_part: dict[str, list[str]] = {}
    for product, part in plan.parts.items():
        by_part.setdefault(part, []).append(product)
    return "; ".join(f"{part}: {', '.join(of)}" for part, of in by_part.items())


def _supply(page: Page, result: FamilyPlan, everything: bool) -> None:
    if not result.supply:
        return
    if not everything:
        page.heading("Supply")
        page.paragraph(f"{supply(result)} (--all)", "  ", "    ")
        return
    page.heading(f"Supply, {result.currency} expected")
    page.table(
        ["product", "part", "lead time", "allocation", "held", "last buy", "all"],
        [
            [
                one.product,
                one.part,
                "-" if one.lead_time is None else amount(one.lead_time),
                amount(one.allocation),
                f"{one.buffer_weeks:.0f} weeks" if one.buffer_weeks else "-",
                amount(one.last_buy) if one.last_buy else "-",
                amount(one.total),
            ]
            for one in result.supply
        ],
        [False, False, True, True, True, True, True],
        [
            f"with {one.part.partition(' + ')[0]} alone: {amount(one.alone, result.currency)}"
            if " + " in one.part
            else ""
            for one in result.supply
        ],
    )


def supply(result: FamilyPlan) -> str:
    """What supply may cost, in a sentence."""
    coin = result.currency
    total = sum(one.total for one in result.supply)
    lines = {
        "allocations": sum(one.allocation for one in result.supply),
        "late deliveries": sum(one.lead_time or 0.0 for one in result.supply),
        "last orders": sum(one.last_buy for one in result.supply),
    }
    parts = ", ".join(f"{amount(v, coin)} by {name}" for name, v in lines.items() if v)
    held = ", ".join(
        f"{one.product} {one.buffer_weeks:.0f}" for one in result.supply if one.buffer_weeks
    )
    weeks = f"; to hold, in weeks of demand: {held}" if held else ""
    return f"{amount(total, coin)} expected" + (f": {parts}" if parts else "") + weeks


def _purchases(page: Page, result: FamilyPlan) -> None:
    page.heading(f"Purchases, {result.currency}")
    page.table(
        ["item", "needed", "from stock", "bought", "each", "total"],
        [
            [
                one.item,
                f"{one.needed:,}",
                f"{one.from_stock:,}" if one.from_stock else "-",
                f"{one.pieces:,}",
                f"{one.each:.3f}",
                amount(one.total),
            ]
            for one in result.purchases
        ],
        [False, True, True, True, True, True],
    )
    page.heading(f"Cost of each product, {result.currency}")
    names = [line.line for line in result.lines if line.line != "all" and line.together]
    page.table(
        ["", *(one.product for one in result.plan)],
        [[name, *(_of(one.lines, name) for one in result.plan)] for name in names],
        [False, *(True for _ in result.plan)],
    )
    page.paragraph("Set-up of a part is told in equal shares of the products that take it.", "  ")


def _of(lines: Mapping[str, float], name: str) -> str:
    value = lines.get(name, 0.0)
    return amount(value) if value else "-"


def told(result: FamilyPlan) -> Sequence[str]:
    """What CSV cannot say: the answer, or why there is none."""
    if result.plan:
        return answer(result)
    return [f"cannot hold together: {text}" for text in result.conflict] or ["no plan in time"]
