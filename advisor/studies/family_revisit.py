"""`revisit` of a family: whether a chosen plan can still be built, keeps its limits, and is no
further behind than it was.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from advisor import figures
from advisor.catalogue.families import FamilyRun, load_family
from advisor.catalogue.schema_record import FamilyRecord, RecordedBuild
from advisor.dataclass import dataclass, field
from advisor.decide.family import Family
from advisor.decide.family_beside import POINTS
from advisor.decide.family_model import Build
from advisor.decide.family_plans import Answer, Plan, broken, priced, solve
from advisor.decide.family_search import GAP, Objective
from advisor.decide.joint import Joined
from advisor.decide.left_out import LeftOut
from advisor.faults import Fault, FaultError
from advisor.model.served import Services
from advisor.names import Named
from advisor.stages import Progress
from advisor.studies.family import STATUS, evaluated_products, numbers_of
from advisor.studies.family_beside import (
    builds_of,
    family_cautions,
    family_warnings,
    invented_behind,
    left_out_of,
    objective_of,
)
from advisor.studies.family_record import (
    SECONDS,
    inputs_of,
    read_family_decision,
)
from advisor.studies.results import BuildResult, build_result, frame, plain
from advisor.studies.since import Change, altered, changes_since, digests

if TYPE_CHECKING:
    import pandas as pd

RULE = (
    "the decision stands where its plan can still be built and keeps every limit, and no plan "
    "betters it by more than one did then (to a millionth)"
)


@dataclass(frozen=True, slots=True)
class Unbuilt:
    """A product that cannot be built as it was decided, and why."""

    product: str
    part: str
    why: str


@dataclass(frozen=True, slots=True)
class ProductThen:
    """A product in the plan as it was decided and in the best plan now.

    Attributes
    ----------
    part, best_part : a part, or `first + second`; None where it is not in that plan.
    cost_then, cost_now : money, its share of the decided plan's cost, all units.
    score_then, score_now : points of 100, by the decided plan. rebuilt : whether what is bought now
    runs otherwise than it did, as the build of then is not among the best on its pack.
    """

    product: str
    part: str | None
    best_part: str | None
    cost_then: float | None
    cost_now: float | None
    score_then: float | None
    score_now: float | None
    rebuilt: bool


@dataclass(frozen=True, slots=True)
class FamilyRevisited:
    """A family's decision looked at again.

    Attributes
    ----------
    stands : by `RULE`; None where time ran out before that could be told. unbuilt : products that
    cannot be built as decided. broken : limits that the plan breaks now, in words.
    cost, score, best_cost, best_score : money and points of 100, of the plan decided and of the
    best, then and now; None where there is none. behind : by how much the best plan betters it,
    money or points. status : of the search now, as `family` tells it.
    changed : figures that were kept and are others now. documents : ids whose figures changed, of
    those whose figures were not kept. new, gone : ids of files. altered : ids whose figures in the
    record are not those of their digest there.
    """

    family: str
    because: str
    date: datetime.date
    aim: str
    currency: str
    stands: bool | None
    rule: str
    unbuilt: tuple[Unbuilt, ...]
    broken: tuple[str, ...]
    cost_then: float
    cost_now: float | None
    best_cost_then: float
    best_cost_now: float | None
    score_then: float
    score_now: float | None
    best_score_then: float
    best_score_now: float | None
    behind_then: float
    behind_now: float | None
    status: str
    changed: tuple[Change, ...]
    documents: tuple[str, ...]
    new: tuple[str, ...]
    gone: tuple[str, ...]
    altered: tuple[str, ...]
    products: tuple[ProductThen, ...]
    invented: bool
    cautions: tuple[str, ...]
    left_out: tuple[LeftOut, ...]
    warnings: tuple[str, ...]
    builds: tuple[BuildResult, ...] = field(repr=False, compare=False)

    def rows(self) -> list[dict[str, object]]:
        """A row a product."""
        return [plain(one) for one in self.products]

    def document(self) -> dict[str, object]:
        """The result for JSON."""
        found = {n: getattr(self, n) for n in self.__slots__ if n != "builds"}
        return {**plain(found), "date": self.date.isoformat()}

    def to_frame(self) -> pd.DataFrame:
        """A row a product."""
        return frame(self.rows())


def revisit_family(
    record: FamilyRecord | Named,
    run: FamilyRun | None = None,
    jobs: int = 1,
    seconds: float = SECONDS,
    progress: Progress | None = None,
    services: Services | None = None,
) -> FamilyRevisited:
    """Say what has changed since a family's decision and whether it still stands.

    Parameters
    ----------
    record : a record, or its file. run : the family as it stands now, with the record's own changes
    laid over it; None where the record's file tells where it is. seconds : for the search, s.
    services : as for `shortlist`.

    Raises
    ------
    FaultError
        For a family that is not the record's, or that is nowhere to be found.
    """
    if not isinstance(record, FamilyRecord):
        file = Path(record)
        record = read_family_decision(file)
        if run is None:
            references, own, folders, changes = inputs_of(record, file)
            run = load_family(references, folders, changes, own=own)
    if run is None:
        raise FaultError((Fault("revisit", "a record alone", "its file, or the family too"),))
    if run.family.family != record.family_decision:
        expected = f'"{record.family_decision}", as in the record'
        raise FaultError((Fault("--product", f'"{run.family.family}"', expected),))
    products, faults = evaluated_products(
        run, record.draws, record.seed, jobs, progress, record.estimate_missing, services
    )
    numbers = None if faults else numbers_of(run, products)[0]
    objective = objective_of(record.aim)
    best = None if numbers is None else solve(numbers, objective, seconds)
    unbuilt, builds = _built(record, run, products, numbers)
    plan = None if unbuilt or numbers is None else priced(numbers, builds)
    missed = () if plan is None or numbers is None else broken(numbers, plan)
    behind_then = record.cost.nominal - record.best_cost.nominal
    if objective == "score":
        behind_then = record.best_score.nominal - record.score.nominal
    top = None if best is None else best.plan
    behind_now = None if plan is None or top is None else _behind(plan, top, objective)
    records = {run.family.family: run.family, **{one.product: one for one in run.products}}
    current = digests(run.catalogue)
    kept = {figures.document_of(path) for path in record.figures}
    others = [n for n in current if record.digests.get(n) not in (None, current[n])]
    shown = plan or top
    return FamilyRevisited(
        family=run.family.family,
        because=record.because,
        date=record.date,
        aim=record.aim,
        currency=run.products[0].cost.currency or "",
        stands=_stands(plan, bool(missed), best, objective, behind_then),
        rule=RULE,
        unbuilt=tuple(unbuilt),
        broken=() if numbers is None else tuple(numbers.words(limit) for limit in missed),
        cost_then=record.cost.nominal,
        cost_now=None if plan is None else plan.cost,
        best_cost_then=record.best_cost.nominal,
        best_cost_now=None if top is None else top.cost,
        score_then=record.score.nominal,
        score_now=None if plan is None else plan.score,
        best_score_then=record.best_score.nominal,
        best_score_now=None if top is None else top.score,
        behind_then=behind_then,
        behind_now=behind_now,
        status="infeasible" if best is None else STATUS.get(best.status, "none"),
        changed=tuple(changes_since(record.figures, run.catalogue, kept, records)),
        documents=tuple(n for n in others if n not in kept),
        new=tuple(n for n in current if n not in record.digests),
        gone=tuple(sorted(n for n in record.digests if n not in current)),
        altered=altered(record.figures, record.digests),
        products=tuple(_products(record, run, plan, top)),
        invented=invented_behind(run, products),
        cautions=() if shown is None else family_cautions(products, shown),
        left_out=left_out_of(products),
        warnings=family_warnings(products),
        builds=()
        if shown is None
        else tuple(build_result(one) for one in builds_of(products, shown)),
    )


def _behind(plan: Plan, top: Plan, objective: Objective) -> float:
    return plan.cost - top.cost if objective == "cost" else top.score - plan.score


def _stands(
    plan: Plan | None,
    breaks: bool,
    best: Answer | None,
    objective: Objective,
    behind_then: float,
) -> bool | None:
    """Whether a decision stands, by the rule; None where the search ended too soon to tell."""
    if plan is None or breaks or best is None:
        return False
    scale = abs(plan.cost) if objective == "cost" else POINTS
    allowed = max(behind_then, 0.0) + GAP * scale
    if best.plan is not None and _behind(plan, best.plan, objective) > allowed:
        return False
    could = plan.cost - best.bound if objective == "cost" else best.bound - plan.score
    return True if best.proven or could <= allowed else None


def _built(
    record: FamilyRecord, run: FamilyRun, products: Sequence[Joined], numbers: Family | None
) -> tuple[list[Unbuilt], dict[str, Build]]:
    """What cannot be built as decided, and the builds of what can."""
    unbuilt: list[Unbuilt] = []
    builds: dict[str, Build] = {}
    by_name = {one.product.product: one for one in products}
    kept = {one.product: one for one in record.products}
    for name in by_name:
        if name not in kept:
            unbuilt.append(Unbuilt(name, "", "new in the family: nothing was decided for it"))
    for name, one in kept.items():
        wanted = [one.first] if one.second is None else [one.first, one.second]
        part = " + ".join(build.part for build in wanted)
        if name not in by_name:
            unbuilt.append(Unbuilt(name, part, "no longer in the family"))
            continue
        found = [_same(build, by_name[name], numbers) for build in wanted]
        for build, option in zip(wanted, found, strict=True):
            if option is None:
                unbuilt.append(Unbuilt(name, build.part, _why(build, by_name[name])))
        if None not in found:
            builds[name] = Build(str(found[0]), None if len(found) == 1 else found[1])
    return unbuilt, builds


def _same(kept: RecordedBuild, one: Joined, numbers: Family | None) -> str | None:
    """The option of a recorded build; where it is none any more, as another of the same purchase is
    as good in everything, that one."""
    if kept.build in one.options:
        return kept.build
    pieces = dict(kept.pieces)
    alike = [
        (name, option)
        for name, option in one.options.items()
        if option.part == kept.part and option.feed == kept.fed_by and option.pieces == pieces
    ]
    if not alike or numbers is None:
        return None
    member = numbers.member(one.product.product)
    by_name = {option.name: option for option in member.options}

    def order(found: tuple[str, object]) -> tuple[bool, bool, float, float, str]:
        option = by_name[found[0]]
        short = option.score < member.least_score
        return not member.lives(option), short, option.upkeep, -option.score, option.name

    return min(alike, key=order)[0]


def _why(kept: RecordedBuild, one: Joined) -> str:
    """Why a build is none of a product's any more."""
    evaluation, part = one.evaluation, kept.part
    if part not in evaluation.catalogue.parts:
        return "its part is no longer in the catalogue"
    if part in evaluation.screened:
        return "; ".join(failed.text for failed in evaluation.screened[part])
    if part in evaluation.set_aside:
        return f"its part lacks {', '.join(evaluation.set_aside[part])}"
    if part in one.barred:
        return f"its part cannot be bought: it is {evaluation.catalogue.parts[part].lifecycle}"
    if part in one.lacking:
        return f"its cost lacks {', '.join(one.lacking[part])}"
    return f"no build of it on {kept.fed_by} keeps the product's needs"


def _products(
    record: FamilyRecord, run: FamilyRun, plan: Plan | None, top: Plan | None
) -> Iterator[ProductThen]:
    kept = {one.product: one for one in record.products}
    now = {} if plan is None else {t.member: t for t in plan.taken}
    best = {} if top is None else {t.member: t for t in top.taken}
    names = [product.product for product in run.products]
    for name in [*names, *(n for n in kept if n not in names)]:
        one, mine = kept.get(name), now.get(name)
        part = None
        wanted: list[str] = []
        if one is not None:
            both = [one.first] if one.second is None else [one.first, one.second]
            part = " + ".join(build.part for build in both)
            wanted = [build.build for build in both]
        other = best.get(name)
        yield ProductThen(
            product=name,
            part=part,
            best_part=None if other is None else other.parts,
            cost_then=None if one is None else one.cost.nominal,
            cost_now=None if mine is None else mine.cost,
            score_then=None if one is None else one.score.nominal,
            score_now=None if mine is None else mine.score,
            rebuilt=mine is not None and [o.name for o in mine.options] != wanted,
        )
