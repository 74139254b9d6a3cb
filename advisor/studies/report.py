"""`report`: everything that a decision rests on in one result, to be shown, questioned and kept."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence
from importlib.metadata import version
from typing import TYPE_CHECKING

from advisor.catalogue.records import KERNELS, Catalogue
from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass
from advisor.decide.builds import Build
from advisor.decide.cautions import GENERAL, cautions_of
from advisor.decide.evaluate import Candidate, Evaluation, evaluate
from advisor.decide.fronts import Offered, fronts
from advisor.decide.marches import Marches
from advisor.decide.reasons import ending
from advisor.decide.robustness import firmness
from advisor.model.served import Services
from advisor.stages import Progress
from advisor.studies.consumers import Consumer, consumers
from advisor.studies.explain import Explanation, explained
from advisor.studies.gaps import Gaps
from advisor.studies.gaps import gaps as study_gaps
from advisor.studies.inventory import FigureRow, figures_of
from advisor.studies.money import MoneyItem
from advisor.studies.money import money_items as money_of
from advisor.studies.outlook import Outlook, outlook
from advisor.studies.pictures import Pictures, pictures
from advisor.studies.results import BuildResult, build_result, known
from advisor.studies.shortlist import DRAWS, Shortlist, summarise
from advisor.studies.since import digests
from advisor.studies.tipping import Tipping
from advisor.studies.tipping import tipping as study_tipping

if TYPE_CHECKING:
    import pandas as pd

# Curves for a page: fewer places than `outlook` has, jumps shown and not searched for
PLACES, PLACE_DRAWS, AMONG, NEAR = 11, 64, 8, 0.1


@dataclass(frozen=True, slots=True)
class Weighted:
    """A criterion with its weight as the file has it, on any scale, and its anchors in `unit`."""

    criterion: str
    weight: float
    poor: float
    good: float
    unit: str


@dataclass(frozen=True, slots=True)
class OfferedBuild:
    """A build that some weights may choose.

    Attributes
    ----------
    name, battery_a : by which a part's builds of equal score go, the least current (A) and then the
    name first. precedence : by which parts of equal score go that are built so, from 1. values,
    worth : per criterion, in its unit at the stated values, and as the 0..1 that its weight
    multiplies, expected where there are draws; shown : the values in words. battery_life_s : s.
    purchase : per unit as stated; lifetime : the same over the service life, expected where there
    are draws; change : share of draws with a battery change. current : A at the pack. money : per
    unit over the service life.
    """

    build: BuildResult
    name: str
    battery_a: float
    precedence: int
    values: tuple[float, ...]
    worth: tuple[float, ...]
    shown: tuple[str, ...]
    battery_life_s: float
    ends: str
    purchase: float | None
    lifetime: float | None
    change: float | None
    current: tuple[Consumer, ...]
    money: tuple[MoneyItem, ...]


@dataclass(frozen=True, slots=True)
class OfferedPart:
    """A ranked part with the builds that it may be ranked by; `own` names that of the ranking."""

    part: str
    builds: tuple[OfferedBuild, ...]
    own: str

    @property
    def best(self) -> OfferedBuild:
        """The build of the ranking."""
        return next(build for build in self.builds if build.name == self.own)


@dataclass(frozen=True, slots=True)
class InputFile:
    """A document and every figure in it as written, uncertainty and all.

    `evidence` says of what kind each evidence is that figures name.
    """

    id: str
    kind: str
    invented: bool
    summary: str | None
    figures: tuple[FigureRow, ...]
    evidence: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Report:
    """A decision with all that it rests on.

    Attributes
    ----------
    call : what names the product and its catalogue on the command line. changes : what was set for
    the run. criteria : in the order of `OfferedBuild.worth`.
    parts : in the order of the ranking. explanation : of the first part; None where nothing fits.
    outlook, tipping, gaps : None where they were not asked for; the first also where nothing fits
    and no lever was named, or where there is none. pictures : None where nothing fits.
    """

    product: str
    summary: str | None
    invented: bool
    version: str
    date: datetime.date
    call: tuple[str, ...]
    changes: tuple[str, ...]
    shortlist: Shortlist
    explanation: Explanation | None
    criteria: tuple[Weighted, ...]
    parts: tuple[OfferedPart, ...]
    pictures: Pictures | None
    outlook: Outlook | None
    tipping: Tipping | None
    gaps: Gaps | None
    inputs: tuple[InputFile, ...]
    digests: Mapping[str, str]
    cautions: tuple[str, ...]
    warnings: tuple[str, ...]

    def to_frame(self) -> pd.DataFrame:
        """The ranking as a data frame, a row a part."""
        return self.shortlist.to_frame()


def report(
    catalogue: Catalogue,
    product: Product,
    *,
    along: Sequence[str] = (),
    tipping: bool = False,
    gaps: bool = False,
    call: Sequence[str] = (),
    changes: Sequence[str] = (),
    draws: int = DRAWS,
    seed: int = 1,
    jobs: int = 1,
    date: datetime.date | None = None,
    progress: Progress | None = None,
    estimate_missing: bool = False,
    services: Services | None = None,
) -> Report:
    """Gather a decision for a file: shortlist, breakdowns, curves, inputs, digests.

    Parameters
    ----------
    along : levers of the curves, as for `outlook`. tipping, gaps : whether these are worked out as
    well; the first may take a minute. call, changes : what names the inputs on the command line
    (the product's id when absent), and what was set for the run, to be told. date : today when
    absent. draws, seed, jobs : as for `shortlist`. progress : told of each study in turn.
    estimate_missing, services : as for `shortlist`.

    Raises
    ------
    FaultError
        As `shortlist` and `outlook` do.
    """
    found = evaluate(
        catalogue,
        product,
        draws,
        seed,
        jobs,
        progress,
        estimate_missing=estimate_missing,
        hopes_too=True,
        marches=Marches(services, kept=0),
    )
    catalogue, shared = found.catalogue, found.stated.marches.services
    firm = firmness(found)
    listed = summarise(found, firm)
    curves = None
    if along or (found.candidates and (product.workload or product.cost.units is not None)):
        curves = outlook(
            catalogue,
            product,
            along=along,
            points=PLACES,
            draws=draws,
            seed=seed,
            jobs=jobs,
            progress=progress,
            near=NEAR,
            steps=False,
            few=PLACE_DRAWS,
            among=AMONG,
            base=found,
        )
    winner = None
    if found.candidates:
        rival = found.candidates[1] if len(found.candidates) > 1 else None
        winner = explained(found, 0, rival, firm)
    offered = list(zip(found.candidates, fronts(found, jobs, progress, ties=True), strict=True))
    chosen = [one.build for _, builds in offered for one in builds]
    places = _places(found, offered)
    parts = tuple(
        OfferedPart(
            c.part.part,
            tuple(_offered(found, c, b, places[b.build]) for b in builds),
            c.best.name,
        )
        for c, builds in offered
    )
    return Report(
        product=product.product,
        summary=product.summary,
        invented=listed.invented,
        version=version("part-advisor"),
        date=date or datetime.date.today(),
        call=(*(call or (product.product,)), *(("--estimate-missing",) * estimate_missing)),
        changes=tuple(changes),
        shortlist=listed,
        explanation=winner,
        criteria=tuple(_criteria(found)),
        parts=parts,
        pictures=pictures(found, {part.part: part.best.current for part in parts}),
        outlook=curves,
        tipping=study_tipping(
            catalogue,
            product,
            draws=draws,
            seed=seed,
            jobs=jobs,
            progress=progress,
            services=shared,
        )
        if tipping
        else None,
        gaps=study_gaps(
            catalogue, product, seed=seed, jobs=jobs, progress=progress, services=shared
        )
        if gaps
        else None,
        inputs=tuple(_inputs(catalogue, product)),
        digests=digests(catalogue, product),
        cautions=_cautions(chosen, found, curves),
        warnings=listed.warnings,
    )


def _criteria(found: Evaluation) -> Iterator[Weighted]:
    given = [found.product.priorities[one.name].weight for one in found.criteria]
    total = sum(weight.nominal for weight in given if weight is not None)
    unsure = any(weight is not None and weight.u for weight in given)
    for one, weight, share in zip(found.criteria, given, found.weights.tolist(), strict=True):
        assert weight is not None  # a rule asks for it
        yield Weighted(
            criterion=one.name,
            # the mean of uncertain ones, by which the expected scores add up
            weight=total * share if unsure and found.draws else weight.nominal,
            poor=one.poor,
            good=one.good,
            unit=one.unit,
        )


def _places(
    found: Evaluation, offered: Sequence[tuple[Candidate, Sequence[Offered]]]
) -> dict[Build, int]:
    """Where each build goes among all that are offered, should its part tie, from 1."""
    order: dict[Build, tuple[tuple[float, ...], str, Build]] = {}
    for candidate, builds in offered:
        for one in builds:
            order[one.build] = one.build.level(found.criteria), candidate.part.part, one.build
    return {b: n for n, b in enumerate(sorted(order, key=lambda build: order[build]), 1)}


def _offered(found: Evaluation, candidate: Candidate, one: Offered, place: int) -> OfferedBuild:
    build, drawn = one.build, one.drawn
    at, row = build.assessed, build.row
    values = at.values[:, row, 0]
    return OfferedBuild(
        build=build_result(build),
        name=build.name,
        battery_a=build.order[1],
        precedence=place,
        values=tuple(float(v) for v in values),
        worth=tuple(float(u) for u in one.worth),
        shown=tuple(c.shown(float(v)) for c, v in zip(found.criteria, values, strict=True)),
        battery_life_s=float(at.life.life_s[row, 0]),
        ends=ending(build),
        purchase=known(at.costs.purchase[row, 0]),
        lifetime=known(at.costs.lifetime[row, 0] if drawn is None else drawn.cost),
        change=None if drawn is None else known(drawn.change),
        current=consumers(build),
        money=_comparable(money_of(found, candidate, build, drawn), build.part),
    )


def _comparable(items: Sequence[MoneyItem], part: str) -> tuple[MoneyItem, ...]:
    """The items under names that other parts' items have too; those of one name are one."""
    merged: dict[str, float | None] = {}
    for one in items:
        name = "the part itself" if one.item == part else one.item.removeprefix(f"{part}: ")
        before = merged.get(name, 0.0)
        merged[name] = None if before is None or one.amount is None else before + one.amount
    return tuple(MoneyItem(name, amount) for name, amount in merged.items())


def _cautions(chosen: list[Build], found: Evaluation, curves: Outlook | None) -> tuple[str, ...]:
    """Those of every pack that any weights, or any place of the curves, may choose."""
    along = () if curves is None else curves.cautions
    said = dict.fromkeys([*cautions_of(chosen, found.catalogue, found.figures.hottest), *along])
    return (*(text for text in said if text != GENERAL), GENERAL)


def _inputs(catalogue: Catalogue, product: Product) -> Iterator[InputFile]:
    """The product's file first, then the catalogue's by kind."""
    name = product.product
    figures = figures_of(catalogue, name)
    yield InputFile(
        id=name,
        kind="product",
        invented=product.invented,
        summary=product.summary,
        figures=figures,
        evidence={},
    )
    if KERNELS in catalogue.documents:
        yield InputFile(
            id=KERNELS,
            kind="kernels",
            invented=False,
            summary=None,
            figures=figures_of(catalogue, KERNELS),
            evidence={},
        )
    for kind, records in catalogue.kinds.items():
        for identity, record in records.items():
            named = getattr(record, "evidence", {})
            evidence = {key: one.kind or "unstated" for key, one in named.items()}
            figures = figures_of(catalogue, identity)
            yield InputFile(
                id=identity,
                kind=kind,
                invented=record.invented,
                summary=record.summary,
                figures=figures,
                evidence=evidence,
            )
