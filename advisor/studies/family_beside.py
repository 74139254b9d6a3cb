"""What every answer about a family tells beside: cautions, what was left out, what looks odd."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from advisor.catalogue.families import FamilyRun
from advisor.catalogue.rules import exchanged
from advisor.decide.builds import Build
from advisor.decide.cautions import cautions_of
from advisor.decide.family_plans import Plan
from advisor.decide.family_search import Objective
from advisor.decide.joint import Joined
from advisor.decide.left_out import LeftOut
from advisor.studies.results import invented, warnings_of
from advisor.studies.words import exchange


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
