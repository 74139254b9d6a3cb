"""What a family's report holds, in the blocks that every form of a report shows."""

from __future__ import annotations

from collections.abc import Iterator

from advisor.present import layout
from advisor.present.blocks import Block, Bullets, Glance, Grid, Section, Typed, Words, printed
from advisor.present.family import (
    PRODUCTS,
    amount,
    beside,
    clash,
    parts_of,
    priced,
    product_row,
    proof,
    saving_row,
)
from advisor.present.glance import Figure, foremost
from advisor.studies.family_report import FamilyReport
from advisor.studies.family_results import FamilyPlan, OtherPlan
from advisor.studies.words import build_words, per_cent

SMALL = 0.05  # points


def title(found: FamilyReport) -> str:
    """What a family's report is called."""
    return f"{found.plan.family}: which parts"


def command(found: FamilyReport) -> str:
    """What makes the plan again, where the files are the same."""
    plan = found.plan
    changes = [word for text in found.changes for word in ("--set", text)]
    usual = ["--seed", str(plan.seed), "--draws", str(plan.draws)]
    return str(layout.Typed(("part-advisor", "family", *found.call, *changes, *usual)))


def sections(found: FamilyReport) -> Iterator[Section]:
    """The report in order, as it is printed; what there is nothing to say of is left out."""
    yield from map(printed, _sections(found))


def _sections(found: FamilyReport) -> Iterator[Section]:
    plan = found.plan
    if plan.plan:
        yield Section("answer", "The plan", tuple(_answer(plan)))
        yield Section("saving", "What it saves, and why", tuple(_saving(plan)))
    else:
        yield Section("answer", "No plan", tuple(_no_plan(plan)))
    if plan.limits:
        yield Section("limits", "Limits", (_limits(plan),))
    plans = [_plans(name, plan) for name in ("front", "alternatives") if getattr(plan, name)]
    if plans:
        yield Section("plans", "Other plans", tuple(plans))
    if plan.supply:
        yield Section("supply", "Supply", (_supply(plan),))
    if plan.plan:
        yield Section("builds", "How each product is built", (_builds(plan),), fold="narrow")
        blocks = (_purchases(plan), _lines(plan))
        yield Section("purchases", "Purchases", blocks, fold="narrow")
    if plan.assumed:
        yield Section("assumed", "Taken for granted", (Bullets(plan.assumed),))
    if plan.left_out:
        out = tuple(f"{one.kind.replace('-', ' ')} {one.id}: {one.why}" for one in plan.left_out)
        said = f"{len(out)} packs, converters, sleep states, points and parts"
        yield Section("out", "Left out", (Bullets(out),), fold="always", beside=said)
    if plan.warnings:
        yield Section("warnings", "Warnings", (Bullets(plan.warnings),))
    if plan.cautions:
        yield Section("cautions", "Cautions", (Bullets(plan.cautions),))
    yield Section("again", "To get this again", tuple(_again(found)), fold="narrow")


def _answer(plan: FamilyPlan) -> Iterator[Block]:
    yield Glance(five(plan))
    told, _ = foremost(plan.plan[0].first.build, plan.cautions)
    yield from (Words(f"Caution: {text}", "caution") for text in told[:1])
    if plan.regret is not None:
        more = amount(plan.regret, plan.currency)
        yield Words(
            f"Over the scenarios of supply the plan costs {more} more on average than the best of "
            "the plans listed in each."
        )
    yield _products(plan)


def five(plan: FamilyPlan) -> tuple[Figure, ...]:
    """Parts, expected cost and how sure it is, saving, what goes out first, points."""
    coin = plan.currency
    assert plan.cost is not None
    assert plan.score is not None
    assert plan.hours is not None
    assert plan.capital is not None
    count = len(plan.adopted)
    parts = "; ".join(f"{one.part}: {', '.join(one.products)}" for one in plan.adopted)
    units = sum(one.units for one in plan.plan)
    most = max(plan.plan, key=lambda one: one.gives_up)
    loses = "each product has its own favourite"
    if most.gives_up >= SMALL:
        loses = f"mean over the products; {most.product} gives up most, {most.gives_up:.1f} points"
    out = [
        Figure("Parts", f"{count} for {len(plan.plan)} products", parts),
        Figure(
            "Expected cost",
            amount(plan.cost, coin),
            f"for all {units:,} units over their service lives; {proof(plan).rstrip('.')}",
        ),
    ]
    if plan.saving is not None and plan.separate_cost is not None:
        out.append(_saved(plan, plan.saving, plan.separate_cost))
    out += [
        Figure(
            "Capital",
            amount(plan.capital, coin),
            "before the first unit is sold: purchases, tools, set-up and porting "
            f"({plan.hours:.1f} h of engineering)",
        ),
        Figure("Points", f"{plan.score:.1f} of 100", loses),
    ]
    return tuple(out)


def _saved(plan: FamilyPlan, saving: float, separate: float) -> Figure:
    total = plan.lines[-1]
    share = f" ({per_cent(abs(saving) / separate)})" if separate else ""
    ways = (
        ("buying and setting up together", total.separate - total.pooled),
        ("choosing together", total.pooled - total.together),
    )
    said = ", ".join(
        f"{amount(abs(value))} {'less' if value >= 0 else 'more'} by {how}" for how, value in ways
    )
    name = "Saving" if saving >= 0 else "More than separately"
    about = f"against choosing separately, {amount(separate, plan.currency)}: {said}"
    return Figure(name, amount(abs(saving), plan.currency) + share, about)


def _products(plan: FamilyPlan) -> Grid:
    return Grid(
        name="products",
        caption=f"What each product takes; cost in {plan.currency} a unit, score of 100",
        header=PRODUCTS,
        rows=tuple((*product_row(one), f"{one.gives_up:.1f}") for one in plan.plan),
        texts=3,
        small=tuple(beside(one) for one in plan.plan),
    )


def _saving(plan: FamilyPlan) -> Iterator[Block]:
    yield Grid(
        name="three-ways",
        caption=f"Expected cost in three ways, {plan.currency}: each product choosing and buying "
        "by itself, the same builds bought and set up together, and the plan",
        header=("line", "separately", "bought together", "the plan", "saves"),
        rows=tuple(saving_row(one) for one in plan.lines),
        last=True,
    )


def _no_plan(plan: FamilyPlan) -> Iterator[Block]:
    if plan.conflict:
        yield Words(clash(plan))
        yield Bullets(plan.conflict)
    else:
        yield Words("No plan was found in the time that it may take.")


def _limits(plan: FamilyPlan) -> Grid:
    return Grid(
        name="looser",
        caption="What each limit costs: the plan made anew with the limit a step looser",
        header=("limit", "a step looser"),
        rows=tuple((one.limit, priced(one, plan)) for one in plan.limits),
        texts=2,
    )


_PLANS = {
    "front": "Between least cost and greatest score",
    "alternatives": "Next-best plans",
}


def numbered(name: str, place: int) -> str:
    """What a plan is called in tables and charts, by its list and its place there from 1."""
    return f"f{place}" if name == "front" else str(place)


def _plans(name: str, plan: FamilyPlan) -> Grid:
    listed: tuple[OtherPlan, ...] = getattr(plan, name)
    regret = any(one.regret is not None for one in listed)
    header = ("parts", "plan", "cost", "more", "score") + (("regret",) if regret else ())
    return Grid(
        name=name,
        caption=f"{_PLANS[name]}: expected cost, {plan.currency}, and mean score of 100"
        + ("; regret: over the scenarios of supply" if regret else ""),
        header=header,
        rows=tuple(
            (
                parts_of(one),
                numbered(name, n),
                amount(one.cost),
                amount(one.more),
                f"{one.score:.1f}",
                *(("-" if one.regret is None else amount(one.regret),) if regret else ()),
            )
            for n, one in enumerate(listed, 1)
        ),
    )


def _supply(plan: FamilyPlan) -> Grid:
    return Grid(
        name="risks",
        caption=f"What supply may cost while the units are made, {plan.currency} expected",
        header=("product", "part", "lead time", "allocation", "weeks held", "last buy", "all"),
        rows=tuple(
            (
                one.product,
                one.part,
                "-" if one.lead_time is None else amount(one.lead_time),
                amount(one.allocation),
                f"{one.buffer_weeks:.0f}",
                amount(one.last_buy),
                amount(one.total),
            )
            for one in plan.supply
        ),
        texts=2,
    )


def _builds(plan: FamilyPlan) -> Grid:
    rows = []
    for product in plan.plan:
        for one in (product.first, product.second):
            if one is not None:
                rows.append((product.product, one.part, build_words(one.build), f"{one.units:,}"))
    return Grid(
        name="built",
        caption="Builds, with the operating point of each task",
        header=("product", "part", "build", "units"),
        rows=tuple(rows),
        texts=3,
    )


def _purchases(plan: FamilyPlan) -> Grid:
    return Grid(
        name="bought",
        caption=f"What is bought for all products, {plan.currency}",
        header=("item", "kind", "needed", "from stock", "bought", "each", "total"),
        rows=tuple(
            (
                one.item,
                one.kind,
                f"{one.needed:,}",
                f"{one.from_stock:,}",
                f"{one.pieces:,}",
                f"{one.each:.3f}",
                amount(one.total),
            )
            for one in plan.purchases
        ),
        texts=2,
    )


def _lines(plan: FamilyPlan) -> Grid:
    names = [line.line for line in plan.lines if line.line != "all" and line.together]
    return Grid(
        name="lines",
        caption=f"Cost of each product, {plan.currency}; a part's set-up in equal shares of those "
        "that take it, a purchase by pieces",
        header=("line", *(one.product for one in plan.plan)),
        rows=tuple(
            (name, *(amount(one.lines.get(name, 0.0)) for one in plan.plan)) for name in names
        ),
    )


def _again(found: FamilyReport) -> Iterator[Block]:
    yield Typed(command(found))
    yield Words("Digests (SHA-256) of the figures of every file that was read:", "faint")
    yield Grid(
        name="digests",
        caption="Digests",
        header=("file", "digest"),
        rows=tuple(found.digests.items()),
        texts=2,
        fold="always",
    )
