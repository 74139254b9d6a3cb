"""What every answer about a family tells beside: cautions, what was left out, what was taken for
granted, what looks odd."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from advisor.catalogue.families import FamilyRun
from advisor.catalogue.rules import exchanged
from advisor.catalogue.schema_family import FamilyFile
from advisor.decide.builds import Build
from advisor.decide.cautions import cautions_of
from advisor.decide.family import Family
from advisor.decide.family_plans import Plan
from advisor.decide.family_search import Objective
from advisor.decide.family_supply import (
    Supplied,
    at_what_is_paid,
    prices_alone,
    risks_of,
    weeks_held,
)
from advisor.decide.joint import Joined
from advisor.decide.left_out import LeftOut
from advisor.studies.results import invented, warnings_of
from advisor.studies.words import exchange, money, per_cent


def left_out_of(products: Sequence[Joined]) -> tuple[LeftOut, ...]:
    """What each product leaves out, and parts whose cost in a plan cannot be told."""
    out = []
    for one in products:
        name = one.product.product
        out += [replace(left, id=f"{name}: {left.id}") for left in one.evaluation.left_out]
        for part, paths in one.lacking.items():
            why = f"its cost lacks {', '.join(paths)}"
            out.append(LeftOut("part", f"{name}: {part}", why))
        for part in one.barred:
            state = one.evaluation.catalogue.parts[part].lifecycle
            out.append(LeftOut("part", f"{name}: {part}", f"cannot be bought: it is {state}"))
    return tuple(out)


def family_warnings(products: Sequence[Joined]) -> tuple[str, ...]:
    """What looks odd in the files of any product, each once."""
    return tuple(dict.fromkeys(w for one in products for w in warnings_of(one.evaluation)))


def assumed_of(file: FamilyFile, numbers: Family, draws: int) -> Iterator[str]:
    """Defaults and readings that may decide the answer."""
    share = per_cent(file.toolchain_share.nominal)
    yield (
        f"{share} of a part's set-up hours are its toolchain's, paid once for all its parts "
        "(toolchain-share; half unless said: common practice, no source)"
    )
    yield (
        "battery changes are priced at what each product pays for its cells by itself; scores are "
        "those of each product by itself"
    )
    if not draws:
        yield "ranked at the stated values, without draws: chances of life are yes or no"
    if numbers.limits.parts is None and len(numbers.platforms) > 1:
        yield "no limit on the number of different parts"
    if any(option.setup_h for member in numbers.members for option in member.options):
        yield "the set-up hours of an add-on are paid for each product that takes it"
    if file.supply is None:
        yield "supply is certain: no allocation, no last order, no late delivery (supply)"


def prices_of(products: Sequence[Joined]) -> dict[str, dict[str, float]]:
    """Product to its parts, with what a piece costs it by itself, money."""
    return {one.product.product: prices_alone(one.options.values()) for one in products}


def supply_priced(
    run: FamilyRun,
    products: Sequence[Joined],
    supply: Mapping[str, Supplied],
    makers: Mapping[str, str],
    plan: Plan | None,
) -> Iterator[str]:
    """By which prices supply's risks are told, and what those of the plan would make of them;
    nothing where supply is certain."""
    if not supply:
        return
    words = "risks of supply are priced at what each product pays for its part by itself"
    if plan is None:
        yield words
        return
    coin = products[0].evaluation.own_cost.currency
    there = at_what_is_paid(run.family, run.catalogue, makers, prices_of(products), plan)
    less = plan.lines["supply"] - math.fsum(risk.cost for of in there.values() for risk in of)
    would = []
    if money(abs(less)) != money(0.0):
        would.append(f"be {money(abs(less), coin)} {'less' if less > 0 else 'more'}")
    held = [
        f"{count} weeks of {t.member}"
        for t in plan.taken
        if (count := weeks_held(there[t.member])) != weeks_held(risks_of(supply, makers, t))
    ]
    if held:
        would.append(f"ask to hold {', '.join(held)}")
    if would:
        words += f"; at what this plan pays they would {' and '.join(would)}"
    yield words


def exchanged_at(products: Sequence[Joined]) -> Iterator[str]:
    """The rates behind amounts in other currencies, which are one for all products; or nothing."""
    rates: dict[str, float] = {}
    for one in products:
        rates |= exchanged(one.product, one.evaluation.catalogue)
    if rates:
        home = products[0].evaluation.own_cost.currency
        yield f"exchanged at {exchange(dict(sorted(rates.items())), home)} (cost.rates)"


def objective_of(aim: str) -> Objective:
    """What is sought by an aim; between cost and score it is cost that orders plans."""
    return "score" if aim == "score" else "cost"


def builds_of(products: Sequence[Joined], plan: Plan) -> list[Build]:
    """The builds that a plan takes, in order."""
    by_name = {one.product.product: one.options for one in products}
    return [by_name[t.member][o.name].build for t in plan.taken for o in t.options]


def family_cautions(products: Sequence[Joined], plan: Plan) -> tuple[str, ...]:
    """What to mind with the cells, converters and add-ons of a plan."""
    hottest = max(one.evaluation.figures.hottest for one in products)
    return cautions_of(builds_of(products, plan), products[0].evaluation.catalogue, hottest)


def invented_behind(run: FamilyRun, products: Sequence[Joined]) -> bool:
    """Whether anything behind an answer is demonstration data."""
    return run.family.invented or any(invented(one.evaluation) for one in products)
