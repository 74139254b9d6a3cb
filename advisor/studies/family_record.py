"""`decide` of a family: a plan written down with what it rests on, and read again."""

from __future__ import annotations

import datetime
import os
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from advisor.catalogue.edit import quoted
from advisor.catalogue.families import UNNAMED, FamilyRun
from advisor.catalogue.load import read_document
from advisor.catalogue.places import family_files, product_files
from advisor.catalogue.run import value_of
from advisor.catalogue.schema_record import FamilyRecord
from advisor.dataclass import dataclass
from advisor.decide.family_beside import alternatives
from advisor.decide.family_plans import Answer, Plan, solve
from advisor.decide.left_out import LeftOut
from advisor.faults import Fault, FaultError
from advisor.faults import Place as Where
from advisor.lp import Status
from advisor.model.served import Services
from advisor.names import Named, paths_of
from advisor.source import read_file
from advisor.stages import Progress
from advisor.studies.family import joined_products, numbers_of
from advisor.studies.family_beside import (
    builds_of,
    family_cautions,
    family_warnings,
    invented_behind,
    left_out_of,
    objective_of,
)
from advisor.studies.record import plain_id, seen_from
from advisor.studies.results import build_result
from advisor.studies.shortlist import DRAWS
from advisor.studies.since import digests, kept_figures

if TYPE_CHECKING:
    from advisor.studies.results import BuildResult

SECONDS = 60.0  # for each search


@dataclass(frozen=True, slots=True)
class FamilyDecided:
    """A plan that is chosen, against the best one; `text` is the record as YAML.

    Attributes
    ----------
    place : 0 for the best plan, n for the n-th next best. parts : product to part, or to
        `first + second`. cost, best_cost : money, of this plan and of the best. score, best_score :
        points of 100. proven : whether the best is proven best. builds : that of each product.
    """

    family: str
    place: int
    aim: str
    currency: str
    parts: Mapping[str, str]
    cost: float
    score: float
    best_cost: float
    best_score: float
    proven: bool
    text: str
    invented: bool
    builds: tuple[BuildResult, ...]
    cautions: tuple[str, ...]
    left_out: tuple[LeftOut, ...]
    warnings: tuple[str, ...]


def decide_family(
    run: FamilyRun,
    because: str,
    *,
    place: int = 0,
    changes: Sequence[str] = (),
    date: datetime.date | None = None,
    draws: int = DRAWS,
    seed: int = 1,
    jobs: int = 1,
    seconds: float = SECONDS,
    progress: Progress | None = None,
    estimate_missing: bool = False,
    services: Services | None = None,
    catalogs: Named | Sequence[Named] = (),
    folder: Named = ".",
) -> FamilyDecided:
    """Write down that a plan is chosen for a family.

    Parameters
    ----------
    because : why. place : 0 for the best plan by the family's aim, n for the n-th next best.
    changes : what was set for the run, kept so that it is set again. date : today when absent.
    seconds : for each search, s. catalogs : where the catalogue was read; none for the shipped one.
    folder : where the record will stand, from which files are told. Others as for `family`.

    Raises
    ------
    FaultError
        Where there is no such plan, for a decision without a reason, and for one whose record could
        not be read again.
    """
    reason = " ".join(because.split())
    if not reason:
        raise FaultError((Fault("--because", "nothing", "why this plan, in a few words"),))
    products = joined_products(run, draws, seed, jobs, progress, estimate_missing, services)
    numbers = numbers_of(run, products)[0]
    best = solve(numbers, objective_of(run.family.objective), seconds)
    if best.plan is None:
        why = "no plan keeps all limits" if best.status is Status.INFEASIBLE else "no plan in time"
        raise FaultError((Fault("FAMILY", why, "a plan; `family` tells why there is none"),))
    found: list[Answer] = [best]
    if place:
        found += alternatives(numbers, best, place, seconds)
    if place >= len(found) or (plan := found[place].plan) is None:
        expected = f"0 for the best plan, at most {len(found) - 1}: there are no more"
        raise FaultError((Fault("--plan", str(place), expected),))
    text = "\n".join(
        [
            *_head(run, reason, changes, date, draws, seed, estimate_missing),
            *_found_at(run, paths_of(catalogs), Path(folder)),
            *_chosen(plan, best.plan),
            *_rest(run, plan),
            "",
        ]
    )
    # what could not be revisited is not written
    _read(Path("record"), text)
    taken = builds_of(products, plan)
    return FamilyDecided(
        family=run.family.family,
        place=place,
        aim=run.family.objective,
        currency=products[0].evaluation.own_cost.currency,
        parts={t.member: t.parts for t in plan.taken},
        cost=plan.cost,
        score=plan.score,
        best_cost=best.plan.cost,
        best_score=best.plan.score,
        proven=best.proven,
        text=text,
        invented=invented_behind(run, products),
        builds=tuple(build_result(one) for one in taken),
        cautions=family_cautions(products, plan),
        left_out=left_out_of(products),
        warnings=family_warnings(products),
    )


# The record's text -------------------------------------------------------------------------------


def _head(
    run: FamilyRun,
    because: str,
    changes: Sequence[str],
    date: datetime.date | None,
    draws: int,
    seed: int,
    estimate_missing: bool,
) -> Iterator[str]:
    from importlib.metadata import version

    yield f"family-decision: {plain_id(run.family.family)}"
    yield "# A plan as it was chosen. `part-advisor revisit` says whether it still stands."
    if run.family.invented or any(product.invented for product in run.products):
        yield "# Some of the figures behind it are invented for demonstration."
    yield f"because: {quoted(because)}"
    yield f"date: {(date or datetime.date.today()).isoformat()}"
    yield f"version: {quoted(version('part-advisor'))}"
    yield f"currency: {quoted(run.products[0].cost.currency or '')}"
    yield f"draws: {draws}"
    yield f"seed: {seed}"
    yield f"aim: {run.family.objective}"
    if changes:
        yield "changes:"
        yield from (f"  - {quoted(change)}" for change in changes)
    if estimate_missing:
        yield "estimate-missing: true"


def _found_at(run: FamilyRun, catalogs: Sequence[Path], folder: Path) -> Iterator[str]:
    """Lines that tell where the inputs are, from the folder of the record."""
    if run.file is not None and run.file not in family_files().values():
        yield f"family-file: {quoted(seen_from(folder, run.file))}"
    shipped = product_files()
    files = {}
    for product in run.products:
        name = product.product
        file = Path(run.catalogue.documents[name].file)
        beside = run.file is not None and file.parent == run.file.parent
        if not beside and file != shipped.get(name):
            files[name] = seen_from(folder, file)
    if files:
        yield "product-files:"
        yield from (f"  {plain_id(name)}: {quoted(path)}" for name, path in files.items())
    if catalogs:
        yield "catalogs:"
        yield from (f"  - {quoted(seen_from(folder, path))}" for path in catalogs)


def _chosen(plan: Plan, best: Plan) -> Iterator[str]:
    yield "products:"
    for one in plan.taken:
        yield f"  - product: {plain_id(one.member)}"
        yield f"    units: {sum(one.units)}"
        for name, option in zip(("first", "second"), one.options, strict=False):
            pieces = ", ".join(f"{plain_id(k)}: {n}" for k, n in option.pieces.items() if n)
            yield f"    {name}:"
            yield f"      part: {plain_id(option.part)}"
            yield f"      build: {quoted(option.name)}"
            yield f"      fed-by: {quoted(option.feed)}"
            yield f"      pieces: {{{pieces}}}"
        yield f"    cost: {one.cost:.12g}"
        yield f"    score: {one.score:.12g}"
    yield f"cost: {plan.cost:.12g}"
    yield f"score: {plan.score:.12g}"
    yield f"best-cost: {best.cost:.12g}"
    yield f"best-score: {best.score:.12g}"


def _rest(run: FamilyRun, plan: Plan) -> Iterator[str]:
    yield "digests:"
    yield from (f"  {plain_id(n)}: {value}" for n, value in digests(run.catalogue).items())
    kept = [run.family.family, *(product.product for product in run.products)]
    kept += [one.item for one in plan.bought]
    yield "figures:"
    for path, text in kept_figures(run.catalogue, kept):
        yield f"  {quoted(path)}: {quoted(text)}"


# Reading and finding ----------------------------------------------------------------------------


def is_family_record(path: Named) -> bool:
    """Whether a file is the record of a family's decision; False where it cannot be read."""
    try:
        return (
            value_of(read_file(Path(path), str(path), spelled=True).root, "family-decision")
            is not None
        )
    except FaultError:
        return False


def read_family_decision(path: Named) -> FamilyRecord:
    """Read the record of a family's decision.

    Raises
    ------
    FaultError
        With every fault found.
    """
    return _read(Path(path))


def _read(path: Path, text: str | None = None) -> FamilyRecord:
    # a text of the team's may hold anything; every screen shows it escaped
    return read_document(FamilyRecord, path, text, spelled=True)[0]


def inputs_of(
    record: FamilyRecord, file: Path
) -> tuple[list[str], dict[str, Path], list[Path], tuple[str, ...]]:
    """(references, files of products, catalogue folders, changes) by which `load_family` reads
    what a record (`file`) tells of.

    Raises
    ------
    FaultError
        For a file that is not where the record says, and for a family that is nowhere.
    """
    beside, faults = file.parent, []
    named = dict(record.product_files)
    own = {name: beside / path for name, path in named.items()}
    told = {f"product-files.{name}": path for name, path in own.items()}
    if record.family_file is not None:
        told["family-file"] = beside / record.family_file
    for key, path in told.items():
        if not os.path.exists(path):
            expected = "the file, or --product with the family's"
            faults.append(Fault(key, f'"{path}", which is not there', expected, _at(file)))
    if faults:
        raise FaultError(faults)
    folders = [beside / name for name in record.catalogs]
    name = record.family_decision
    if record.family_file is not None:
        references = [str(beside / record.family_file)]
    elif name in family_files():
        references = [name]
    elif name == UNNAMED:
        references = [one.product for one in record.products]
    else:
        near = [beside / part / f"{name}.yaml" for part in ("", "profiles", "products")]
        there = [path for path in near if os.path.exists(path)]
        if not there:
            read = f'"{name}", neither shipped nor in {", ".join(map(str, near))}'
            expected = "the family's file, by --product or family-file in the record"
            raise FaultError((Fault("--product", read, expected, _at(file)),))
        references = [str(there[0])]
    return references, own, folders, record.changes


def _at(file: Path) -> Where:
    return Where(str(file), 1, 1)
