"""What a family's report holds, in the blocks that every form of a report shows."""

from __future__ import annotations

from collections.abc import Iterator

from advisor.present.blocks import Block, Bullets, Grid, Section, Typed, Words
from advisor.present.family import amount, answer, beside, clash, parts_of, priced, proof, worth
from advisor.studies.family_report import FamilyReport
from advisor.studies.family_results import FamilyPlan, OtherPlan
from advisor.studies.words import build_words, in_years, pack


def sections(found: FamilyReport) -> Iterator[Section]:
    """The report in order; what there is nothing to say of is left out."""
    plan = found.plan
    if plan.plan:
        first, *more = answer(plan)
        blocks: tuple[Block, ...] = (Words(first, "lead"), *map(Words, more), _products(plan))
        yield Section("answer", "The plan", blocks)
        yield Section("saving", "What it saves, and why", tuple(_saving(plan)))
    else:
        yield Section("answer", "No plan", tuple(_no_plan(plan)))
    if plan.limits:
        yield Section("limits", "Limits", (_limits(plan),))
    if plan.front:
        yield Section("front", "Between least cost and greatest score", (_plans("front", plan),))
    if plan.alternatives:
        yield Section("alternatives", "Next-best plans", (_plans("alternatives", plan),))
    if plan.supply:
        yield Section("supply", "Supply", (_supply(plan),))
    if plan.plan:
        yield Section("builds", "How each product is built", (_builds(plan),))
        yield Section("purchases", "Purchases", (_purchases(plan), _lines(plan)))
    if plan.assumed:
        yield Section("assumed", "Taken for granted", (Bullets(plan.assumed),))
    if plan.left_out:
        out = tuple(f"{one.kind.replace('-', ' ')} {one.id}: {one.why}" for one in plan.left_out)
        yield Section("out", "Left out", (Bullets(out),), bulky=True)
    if plan.warnings:
        yield Section("warnings", "Warnings", (Bullets(plan.warnings),))
    yield Section("cautions", "Cautions", (Bullets(plan.cautions),))
    yield Section("again", "To get this again", (Typed(found.command),))


def _products(plan: FamilyPlan) -> Grid:
    return Grid(
        name="products",
        caption=f"What each product takes; cost in {plan.currency} a unit, score of 100",
        header=("product", "part", "fed by", "units", "cost", "years", "score", "loses"),
        rows=tuple(
            (
                one.product,
                one.part + "".join(f" + {name}" for name in one.addons),
                pack(one.first.build) + ("" if one.converter == "none" else f", {one.converter}"),
                f"{one.units:,}",
                f"{one.cost_per_unit:.2f}",
                in_years(one.first.life_s),
                f"{one.score:.1f}",
                f"{one.gives_up:.1f}",
            )
            for one in plan.plan
        ),
        texts=3,
        small=tuple(beside(one) for one in plan.plan),
    )


def _saving(plan: FamilyPlan) -> Iterator[Block]:
    yield Words(proof(plan))
    yield Grid(
        name="saving",
        caption=f"Expected cost in three ways, {plan.currency}: each product choosing and buying "
        "by itself, the same builds bought and set up together, and the plan",
        header=("line", "separately", "bought together", "the plan", "saves"),
        rows=tuple(
            (
                one.line,
                amount(one.separate),
                amount(one.pooled),
                amount(one.together),
                amount(one.saving),
            )
            for one in plan.lines
        ),
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
        name="limits",
        caption="What each limit costs: the plan made anew with the limit a step looser",
        header=("limit", "a step looser", "by the relaxation, a unit"),
        rows=tuple(
            (one.limit, priced(one, plan), "-" if not one.dual else worth(abs(one.dual), plan))
            for one in plan.limits
        ),
        texts=2,
    )


def _plans(name: str, plan: FamilyPlan) -> Grid:
    listed: tuple[OtherPlan, ...] = getattr(plan, name)
    regret = any(one.regret is not None for one in listed)
    header = ("parts", "cost", "more", "score") + (("regret",) if regret else ())
    return Grid(
        name=name,
        caption=f"Expected cost, {plan.currency}, and mean score of 100"
        + ("; regret: over the scenarios of supply" if regret else ""),
        header=header,
        rows=tuple(
            (parts_of(one), amount(one.cost), amount(one.more), f"{one.score:.1f}")
            + (("-" if one.regret is None else amount(one.regret),) if regret else ())
            for one in listed
        ),
    )


def _supply(plan: FamilyPlan) -> Grid:
    return Grid(
        name="supply",
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
                rows.append((product.product, one.part, f"{one.units:,}", build_words(one.build)))
    return Grid(
        name="builds",
        caption="Builds, with the operating point of each task",
        header=("product", "part", "units", "build"),
        rows=tuple(rows),
        texts=2,
    )


def _purchases(plan: FamilyPlan) -> Grid:
    return Grid(
        name="purchases",
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
