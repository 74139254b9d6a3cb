"""`family`: parts for several products together, what that saves, and what limits it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from advisor.catalogue.families import FamilyRun
from advisor.catalogue.schema_family import OBJECTIVES, FamilyFile
from advisor.dataclass import dataclass
from advisor.decide.admissible import Admissible, admissible
from advisor.decide.conflicts import conflict
from advisor.decide.evaluate import evaluate
from advisor.decide.family import Family, Option, Platform
from advisor.decide.family_beside import Apart, Price, alternatives, apart, front, prices
from advisor.decide.family_plans import LINES, Answer, Plan, Taken, solve
from advisor.decide.family_supply import Supplied, outlook_of, risks_of, supplied, weeks_held
from advisor.decide.joint import Joined, joined, maker_of, problem
from advisor.decide.marches import Marches
from advisor.decide.supply_risk import Risk, regret, scenario_costs, scenarios
from advisor.faults import Fault, FaultError, nearest
from advisor.lp import Status
from advisor.model.ends import ENDS
from advisor.model.served import Services
from advisor.stages import Progress, begin
from advisor.studies.family_beside import (
    assumed_of,
    exchanged_at,
    family_cautions,
    family_warnings,
    invented_behind,
    left_out_of,
    objective_of,
    prices_of,
    supply_priced,
)
from advisor.studies.family_results import (
    AdoptedPart,
    FamilyPlan,
    LimitPrice,
    OtherPlan,
    PlannedBuild,
    PlannedProduct,
    PurchaseResult,
    SavingLine,
    SupplyRisk,
    given_up,
)
from advisor.studies.harvests import service_of
from advisor.studies.results import build_result, fitting, known, spread
from advisor.studies.shortlist import DRAWS

SCENARIOS = 500  # of supply, by which plans are judged

ROW = (
    *("product", "part", "maker", "second", "cell", "converter", "addons", "units", "cost"),
    *("cost_per_unit", "score", "favourite", "favourite_score", "gives_up", "life_chance"),
)


def rows(found: FamilyPlan) -> list[dict[str, Any]]:
    """The plan as rows, a row a product."""
    return [
        {
            "product": one.product,
            "part": one.part,
            "maker": one.first.maker,
            "second": None if one.second is None else one.second.part,
            "cell": one.cell,
            "converter": one.converter,
            "addons": one.addons,
            "units": one.units,
            "cost": one.cost,
            "cost_per_unit": one.cost_per_unit,
            "score": one.score,
            "favourite": one.favourite,
            "favourite_score": one.favourite_score,
            "gives_up": one.gives_up,
            "life_chance": one.first.life_chance,
            **one.first.fed(),
        }
        for one in found.plan
    ]


def evaluated_products(
    run: FamilyRun,
    draws: int,
    seed: int,
    jobs: int = 1,
    progress: Progress | None = None,
    estimate_missing: bool = False,
    services: Services | None = None,
) -> tuple[list[Joined], list[Fault]]:
    """Every product of a family evaluated, with what it may be built as; and a fault for each into
    which nothing fits, or nothing whose cost can be told."""
    kept = Marches(services, kept=0)
    found: list[Joined] = []
    faults: list[Fault] = []
    for product in run.products:
        begin(progress, f"drawing {product.product}")
        inputs = run.catalogue, product, draws, seed, jobs
        evaluation = evaluate(*inputs, estimate_missing=estimate_missing, marches=kept)
        one = joined(
            evaluation, admissible(evaluation, jobs, progress), run.family.supply is not None
        )
        if not evaluation.candidates:
            wanted = "a product that some part fits; `shortlist` tells why none does"
            faults.append(Fault(f"products.{product.product}", "nothing fits", wanted))
        elif not one.options or one.favourite is None:
            paths = sorted({path for paths in one.lacking.values() for path in paths})
            faults += [Fault(p, "nothing", "this figure, for the cost of a plan") for p in paths]
        found.append(one)
    return found, list(dict.fromkeys(faults))


def joined_products(
    run: FamilyRun,
    draws: int,
    seed: int,
    jobs: int = 1,
    progress: Progress | None = None,
    estimate_missing: bool = False,
    services: Services | None = None,
) -> list[Joined]:
    """Every product of a family evaluated, with what it may be built as.

    Raises
    ------
    FaultError
        Where nothing fits into a product, or nothing whose cost can be told.
    """
    found, faults = evaluated_products(run, draws, seed, jobs, progress, estimate_missing, services)
    if faults:
        raise FaultError(faults)
    return found


def family(
    run: FamilyRun,
    *,
    aim: str | None = None,
    plans: int = 3,
    seconds: float = 60.0,
    draws: int = DRAWS,
    seed: int = 1,
    jobs: int = 1,
    progress: Progress | None = None,
    estimate_missing: bool = False,
    services: Services | None = None,
) -> FamilyPlan:
    """Choose parts for the products of a family together.

    Parameters
    ----------
    run : of `load_family`. aim : `cost`, `score` or `front`; the family's own when absent.
    plans : next-best plans to find. seconds : time for each search, s.
    draws, seed, jobs, progress, estimate_missing, services : as for `shortlist`.

    Raises
    ------
    FaultError
        Where nothing fits into a product, for another aim or no time, or where a cost lacks a
        figure.
    """
    wanted = aim or run.family.objective
    if wanted not in OBJECTIVES:
        expected = "one of " + ", ".join(OBJECTIVES)
        near = nearest(wanted, OBJECTIVES)
        raise FaultError((Fault("aim", f'"{wanted}"', expected, nearest=near),))
    if not 0 < seconds < math.inf:
        raise FaultError((Fault("seconds", f"{seconds}", "a time above zero"),))
    products = joined_products(run, draws, seed, jobs, progress, estimate_missing, services)
    return planned(run, products, wanted, plans, seconds, draws, seed, progress)


def numbers_of(
    run: FamilyRun, products: Sequence[Joined]
) -> tuple[Family, dict[str, Supplied], dict[str, str]]:
    """What there is to decide on, each product's risks of supply, and who makes each part."""
    makers = {
        option.part: maker_of(run.catalogue, option.part)
        for one in products
        for option in one.options.values()
    }
    units = {one.product.product: one.units for one in products}
    supply = supplied(run.family, run.catalogue, makers, prices_of(products), units)
    return problem(run.family, run.catalogue, products, supply), supply, makers


def planned(
    run: FamilyRun,
    products: Sequence[Joined],
    aim: str,
    plans: int,
    seconds: float,
    draws: int,
    seed: int,
    progress: Progress | None = None,
) -> FamilyPlan:
    """The plan for products that are evaluated already; see `family`."""
    numbers, supply, makers = numbers_of(run, products)
    objective = objective_of(aim)
    begin(progress, "choosing together")
    answer = solve(numbers, objective, seconds)
    shown = _Shown(
        products={one.product.product: one for one in products},
        platforms={platform.part: platform for platform in numbers.platforms},
    )
    made = FamilyPlan(
        family=run.family.family,
        summary=run.family.summary,
        seed=seed,
        draws=draws,
        invented=invented_behind(run, products),
        currency=products[0].evaluation.own_cost.currency,
        aim=aim,
        status=STATUS.get(answer.status, "none"),
        objective=answer.value,
        bound=answer.bound if math.isfinite(answer.bound) else None,
        gap=answer.gap if math.isfinite(answer.gap) else None,
        assumed=(
            *assumed_of(run.family, numbers, draws),
            *supply_priced(run, products, supply, makers, answer.plan),
            *exchanged_at(products),
        ),
        left_out=left_out_of(products),
        warnings=family_warnings(products),
        joined=tuple(products),
    )
    plan = answer.plan
    if plan is None:
        if answer.status is Status.INFEASIBLE:
            begin(progress, "finding what conflicts")
            worst = conflict(numbers, seconds)
            if worst is not None:
                words = tuple(numbers.words(limit) for limit in worst.limits)
                made = replace(made, conflict=words, conflict_smallest=worst.smallest)
        return made
    begin(progress, "choosing apart")
    by_itself = apart(numbers, objective, seconds)
    lines = None if by_itself is None else tuple(_lines(by_itself, plan))
    begin(progress, "next-best plans")
    others = alternatives(numbers, answer, plans, seconds)
    begin(progress, "the front" if aim == "front" else "limits")
    between = front(numbers, seconds) if aim == "front" else None
    judged = _regret(run.family, supply, makers, [plan, *(o.plan for o in others if o.plan)], seed)
    return replace(
        made,
        plan=tuple(
            shown.product(taken, None if by_itself is None else by_itself.alone[place])
            for place, taken in enumerate(plan.taken)
        ),
        cost=plan.cost,
        score=plan.score,
        hours=plan.hours,
        capital=plan.capital,
        adopted=tuple(shown.adopted(plan, part) for part in plan.adopted),
        purchases=tuple(
            PurchaseResult(
                item=one.item,
                kind=one.kind,
                needed=one.needed,
                from_stock=one.from_stock,
                pieces=one.pieces,
                each=one.each,
                total=one.total,
            )
            for one in plan.bought
        ),
        separate_cost=None if lines is None else lines[-1].separate,
        saving=None if lines is None else lines[-1].saving,
        lines=lines or (),
        alternatives=tuple(
            _other(one.plan, plan, one.proven, None if judged is None else judged[i + 1])
            for i, one in enumerate(others)
            if one.plan is not None
        ),
        front=()
        if between is None
        else tuple(_other(one, plan, between.complete, None) for one in between.plans),
        limits=tuple(_limits(numbers, answer, seconds)),
        supply=tuple(_supply(supply, makers, plan)),
        regret=None if judged is None else judged[0],
        cautions=family_cautions(products, plan),
    )


STATUS = {
    Status.OPTIMAL: "optimal",
    Status.FEASIBLE: "feasible",
    Status.INFEASIBLE: "infeasible",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shown:
    """The plan's plain numbers put back into the catalogue's words."""

    products: Mapping[str, Joined]
    platforms: Mapping[str, Platform]

    def option(self, product: str, name: str) -> Admissible:
        return self.products[product].options[name]

    def product(self, taken: Taken, alone: Plan | None) -> PlannedProduct:
        one = self.products[taken.member]
        favourite = one.evaluation.candidates[0]
        first = self.build(taken, taken.first, taken.units[0])
        own = taken if alone is None else alone.taken[0]
        return PlannedProduct(
            product=taken.member,
            part=first.part,
            cell=first.build.cell,
            converter=first.build.converter,
            addons=first.build.addons,
            units=sum(taken.units),
            first=first,
            second=None
            if taken.second is None
            else self.build(taken, taken.second, taken.units[1]),
            cost=taken.cost,
            cost_per_unit=taken.cost / sum(taken.units),
            lines={k: v for k, v in taken.lines.items() if v},
            score=taken.score,
            favourite=favourite.part.part,
            favourite_score=taken.favourite,
            gives_up=given_up(taken.favourite, taken.score),
            alone=own.first.part,
            alone_cost=own.cost,
        )

    def build(self, taken: Taken, option: Option, units: int) -> PlannedBuild:
        one = self.option(taken.member, option.name)
        drawn, build = one.drawn, one.build
        lives = spread(None if drawn is None else fitting(drawn, drawn.life_s))
        life, visits = build.assessed.life, build.assessed.costs.charges
        one_s = None if life.charged is None else known(life.charged.one_s[build.row, 0])
        return PlannedBuild(
            part=option.part,
            maker=self.platforms[option.part].maker,
            units=units,
            build=build_result(build),
            score=option.score,
            life_s=float(life.life_s[build.row, 0]),
            life_p05_s=lives.p05,
            life_p95_s=lives.p95,
            life_chance=known(one.life_chance),
            ends_by=ENDS[int(life.ends_by[build.row, 0])].name,
            one_charge_s=one_s,
            charges=None if visits is None else known(visits[build.row, 0]),
            service=service_of(build),
        )

    def adopted(self, plan: Plan, part: str) -> AdoptedPart:
        platform = self.platforms[part]
        users = [t.member for t in plan.taken if part in {o.part for o in t.options}]
        return AdoptedPart(
            part=part,
            maker=platform.maker,
            toolchain=platform.toolchain,
            setup_h=platform.setup_h,
            products=tuple(users),
        )


def _lines(apart: Apart, plan: Plan) -> Iterator[SavingLine]:
    """Line by line, and their sum."""
    rows = [
        SavingLine(
            line=name,
            separate=apart.separate[name],
            pooled=apart.pooled.lines[name],
            together=plan.lines[name],
            saving=apart.separate[name] - plan.lines[name],
        )
        for name in LINES
        if apart.separate[name] or apart.pooled.lines[name] or plan.lines[name]
    ]
    yield from rows
    separate = math.fsum(row.separate for row in rows)
    together = math.fsum(row.together for row in rows)
    yield SavingLine(
        line="all",
        separate=separate,
        pooled=math.fsum(row.pooled for row in rows),
        together=together,
        saving=separate - together,
    )


def _other(other: Plan, plan: Plan, proven: bool, regret: float | None) -> OtherPlan:
    return OtherPlan(
        cost=other.cost,
        more=other.cost - plan.cost,
        score=other.score,
        parts={t.member: t.parts for t in other.taken},
        proven=proven,
        regret=regret,
    )


def _risks(supply: Mapping[str, Supplied], makers: Mapping[str, str], plan: Plan) -> list[Risk]:
    """What supply may cost, of every product of a plan."""
    return [risk for t in plan.taken for risk in risks_of(supply, makers, t)]


def _regret(
    file: FamilyFile,
    supply: Mapping[str, Supplied],
    makers: Mapping[str, str],
    plans: Sequence[Plan],
    seed: int,
) -> list[float] | None:
    """What each plan costs more on average than the best of them in each scenario of supply; None
    where supply is certain, or where there is no other plan."""
    if file.supply is None or len(plans) < 2:
        return None
    names = [member.product for member in file.products]
    drawn = scenarios(sorted(set(makers.values())), names, outlook_of(file.supply), SCENARIOS, seed)
    base = np.array([plan.cost - plan.lines["supply"] for plan in plans])
    costs = scenario_costs([_risks(supply, makers, plan) for plan in plans], base, drawn)
    return [float(one) for one in regret(costs)]


def _supply(
    supply: Mapping[str, Supplied], makers: Mapping[str, str], plan: Plan
) -> Iterator[SupplyRisk]:
    for t in plan.taken:
        if t.member not in supply:
            continue
        of = risks_of(supply, makers, t)
        lines = {name: sum(risk.lines[name] for risk in of) for name in of[0].lines}
        untold = any(missing.endswith("lead-time") for risk in of for missing in risk.missing)
        yield SupplyRisk(
            product=t.member,
            part=t.parts,
            lead_time=None if untold else lines["lead time"],
            allocation=lines["allocation"],
            buffer_weeks=float(weeks_held(of)),
            last_buy=lines["last buy"],
            total=sum(lines.values()),
            alone=supply[t.member].alone[t.first.part].cost,
        )


def _limits(numbers: Family, answer: Answer, seconds: float) -> Iterator[LimitPrice]:
    for one in prices(numbers, answer, seconds):
        yield LimitPrice(
            limit=one.words,
            step=_step(one),
            saving=one.gain,
            unsure=one.unsure,
            dual=one.per_unit,
        )


def _step(price: Price) -> str:
    """By how much a limit was loosened, in words."""
    match price.limit.rule:
        case "parts":
            return "one part more"
        case "engineering":
            return f"{price.step:g} h more"
        case "capital" | "cost":
            return "1 % more"
        case "life-chance":
            return "1 % of the draws less"
        case "give-up":
            return f"{price.step:g} point more"
    return "without it"
