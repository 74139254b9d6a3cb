"""`shortlist`: which part, with which cell and converter, how many years, at what cost, and why."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import chain
from typing import TYPE_CHECKING

import numpy as np

from advisor.catalogue.evidence import evidence_of, figures_of, measured
from advisor.catalogue.records import Catalogue, stated
from advisor.catalogue.rules import exchanged
from advisor.catalogue.schema_parts import Part
from advisor.catalogue.schema_product import Product
from advisor.catalogue.schema_supply import AddOn
from advisor.catalogue.sheet import rests_on, stood_in
from advisor.dataclass import dataclass, field
from advisor.decide.builds import Build
from advisor.decide.could_lead import hoped
from advisor.decide.entrants import lacks
from advisor.decide.evaluate import Candidate, Evaluation, evaluate
from advisor.decide.left_out import LeftOut
from advisor.decide.limits import figures_read
from advisor.decide.marches import Marches
from advisor.decide.reasons import ending, points, reason
from advisor.decide.robustness import Firmness, Verdict, firmness
from advisor.decide.stated import averaged_lives
from advisor.figures import Path
from advisor.model.draws import Array
from advisor.model.maturity import maturity
from advisor.model.served import Services
from advisor.quantities import Quantity
from advisor.stages import Progress
from advisor.studies.clipped import ClippedResult, clipped_results
from advisor.studies.columns import flat_row
from advisor.studies.harvests import service_of
from advisor.studies.results import (
    CriterionResult,
    FailedResult,
    RankedPart,
    build_result,
    cautions_in_use,
    cost_result,
    failed_result,
    frame,
    invented,
    known,
    life_result,
    power_result,
    spread,
    warnings_of,
)

if TYPE_CHECKING:
    import pandas as pd

DRAWS = 1000


@dataclass(frozen=True, slots=True)
class ScreenedPart:
    """A part that fails needs, or that no build fits into the product."""

    part: str
    """the part's id"""
    failed: tuple[FailedResult, ...]
    """needs that are not met"""
    miss: float
    """sum over the needs of how far the offer is away, as a share of the need"""
    with_addons: tuple[tuple[str, ...], ...]
    """sets of add-ons, each of which would bring what it lacks"""
    not_brought: tuple[str, ...]
    """needs that it fails and no add-on that may be used brings, where it fails no other"""


@dataclass(frozen=True, slots=True)
class SetAsidePart:
    """A part that lacks figures the product needs, by path."""

    part: str
    """the part's id"""
    missing: tuple[str, ...]
    """paths of the figures that are needed and not stated"""
    with_addons: tuple[tuple[str, ...], ...]
    """sets of add-ons, each of which would bring all of it"""
    not_brought: tuple[str, ...]
    """needs that no add-on that may be used brings, where it lacks nothing else"""


@dataclass(frozen=True, slots=True)
class Shortlist:
    """The ranked shortlist of a product; see the JSON of the same names."""

    product: str
    """the product's id"""
    summary: str | None
    """the product in a line"""
    seed: int
    """of the draws"""
    draws: int
    """number of them"""
    confidence: float
    """[share] of the draws in which a part must keep its needs and limits (`needs.confidence`)"""
    invented: bool
    """whether anything behind the answer is demonstration data"""
    life_target_s: float | None
    """[s] the battery life that is wanted"""
    ranking: tuple[RankedPart, ...]
    """parts that fit, the best first"""
    screened_out: tuple[ScreenedPart, ...]
    """parts that fail a need, or that no build fits"""
    set_aside: tuple[SetAsidePart, ...]
    """parts that lack figures"""
    nearest_miss: str | None
    """the part that is out and came nearest, with what it fails or lacks, and how many more do so
    by as much"""
    verdict: Verdict | None
    """how firm the first place is"""
    pareto_front: tuple[str, ...]
    """ranked parts that none dominates"""
    order_agreement: float | None
    """[-1 to 1] mean of Kendall's tau-b between this order and that of each draw, over the first
    ten: 1 the same, 0 unrelated"""
    clipped: tuple[ClippedResult, ...]
    """anchors beyond which differences count nothing, where ranked parts lie there"""
    evidence: Mapping[str, float]
    """[share] kind of evidence to its share of the measured figures in use"""
    rates: Mapping[str, float]
    """currency to what one of it is worth in the product's, of those that prices here are in"""
    cautions: tuple[str, ...]
    """what to mind with the cells in use"""
    left_out: tuple[LeftOut, ...]
    """what the answer does without: packs, converters, sleep states, points and parts"""
    warnings: tuple[str, ...]
    """what looks odd in the files"""
    evaluation: Evaluation = field(repr=False, compare=False)

    def to_frame(self) -> pd.DataFrame:
        """The ranking as a data frame, a row a part; life in s, cost in the product's currency."""
        return frame([flat_row(part) for part in self.ranking])


def shortlist(
    catalogue: Catalogue,
    product: Product,
    *,
    draws: int = DRAWS,
    seed: int = 1,
    jobs: int = 1,
    progress: Progress | None = None,
    estimate_missing: bool = False,
    services: Services | None = None,
) -> Shortlist:
    """Rank the parts of a catalogue for a product.

    Parameters
    ----------
    draws : Monte Carlo draws of the stated uncertainties; 0 for the stated values alone.
    seed : of every random stream; the same seed gives the same result.
    jobs : workers for the draws; the result does not depend on it.
    progress : told how many chunks of the draws are done, of how many.
    estimate_missing : whether kernels that a part was not measured with are estimated from the
        others; without it such a part is set aside.
    services : what stores that are harvested into have answered other studies, for this one to
        share; it moves no figure.

    Raises
    ------
    FaultError
        When no pack of the product's choice states what a battery life needs.
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
    return summarise(found, firmness(found))


def summarise(evaluation: Evaluation, firm: Firmness) -> Shortlist:
    """The shortlist of an evaluation that is done already, with how firm its order is."""
    product = evaluation.product
    averaged = averaged_lives([candidate.best for candidate in evaluation.candidates])
    ranking = tuple(
        _ranked(evaluation, place, candidate, firm, averaged[place])
        for place, candidate in enumerate(evaluation.candidates)
    )
    screened = tuple(
        ScreenedPart(
            part=part,
            failed=tuple(failed_result(f) for f in failed),
            miss=float(sum(f.miss for f in failed)),
            with_addons=evaluation.helped(part).addons,
            not_brought=evaluation.helped(part).left,
        )
        for part, failed in evaluation.screened.items()
    )
    return Shortlist(
        product=product.product,
        summary=product.summary,
        seed=evaluation.seed,
        draws=evaluation.draws,
        confidence=product.needs.confidence.nominal,
        invented=invented(evaluation),
        life_target_s=None if product.life_target is None else product.life_target.nominal,
        ranking=ranking,
        screened_out=screened,
        set_aside=tuple(
            SetAsidePart(
                part=part,
                missing=missing,
                with_addons=evaluation.helped(part).addons,
                not_brought=evaluation.helped(part).left,
            )
            for part, missing in evaluation.set_aside.items()
        ),
        nearest_miss=_nearest_miss(evaluation, screened, firm),
        verdict=firm.verdict,
        pareto_front=tuple(
            p.part for p, over in zip(ranking, firm.dominated_by, strict=True) if not over
        ),
        order_agreement=firm.agreement,
        clipped=clipped_results(evaluation),
        evidence=_evidence(evaluation),
        rates=exchanged(product, evaluation.catalogue),
        cautions=cautions_in_use(evaluation),
        left_out=evaluation.left_out,
        warnings=warnings_of(evaluation),
        evaluation=evaluation,
    )


def _trimmed(shares: Array) -> tuple[float, ...]:
    """Shares of the ranks from the first on, without the zeros behind the last."""
    last = int(np.nonzero(shares)[0].max(initial=0)) + 1
    return tuple(float(x) for x in shares[:last])


def _ranked(
    evaluation: Evaluation, place: int, candidate: Candidate, firm: Firmness, averaged: float
) -> RankedPart:
    build = candidate.best
    assessed, row = build.assessed, build.row
    won, worth = points(evaluation, candidate), candidate.worth
    target = evaluation.product.life_target
    meets = None
    if candidate.drawn is not None and target is not None:
        long_enough = candidate.drawn.life_s >= target.nominal
        meets = float((long_enough & candidate.drawn.fits).mean())
    tools = maturity(candidate.part.toolchain)
    return RankedPart(
        rank=place + 1,
        part=build.part,
        maker=candidate.part.maker,
        invented=candidate.part.invented,
        score=candidate.score,
        stated_score=build.score,
        score_range=spread(None if candidate.drawn is None else candidate.drawn.score),
        first_place_probability=None if firm.first is None else float(firm.first[place]),
        meets_life_target_probability=meets,
        fits_probability=None if candidate.drawn is None else candidate.drawn.fit,
        broken={} if candidate.drawn is None else candidate.drawn.broken,
        rank_acceptability=None if firm.ranks is None else _trimmed(firm.ranks[place]),
        expected_regret=None if firm.regret is None else float(firm.regret[place]),
        dominated_by=firm.dominated_by[place],
        estimated=evaluation.catalogue.estimated.get(build.part, ()),
        build=build_result(build),
        power=power_result(build),
        battery_life_s=life_result(candidate, averaged),
        cost=cost_result(candidate, evaluation.own_cost.currency),
        setup_h=known(candidate.cost.setup_h[0]),
        toolchain=None if tools is None else known(tools.score),
        figures={
            ".".join(keys): value.nominal
            for keys in figures_read(evaluation.product)
            if isinstance(value := stated(candidate.part, keys), Quantity)
        },
        criteria={
            c.name: CriterionResult(
                value=float(assessed.values[i, row, 0]),
                unit=c.unit,
                utility=float(worth[i]),
                weight=float(evaluation.weights[i]),
                points=float(won[i]),
            )
            for i, c in enumerate(evaluation.criteria)
        },
        reason=reason(evaluation, place),
        ends=ending(build),
        service=service_of(build),
    )


@dataclass(frozen=True, slots=True, order=True)
class _Near:
    """How near a part came to fitting, the nearest first."""

    count: int
    miss: float
    part: str
    why: str


def _nearest_miss(
    evaluation: Evaluation, screened: tuple[ScreenedPart, ...], firm: Firmness
) -> str | None:
    """The part that came nearest to fitting, in words, and how many came as near in the same way:
    by the number of needs that it fails and of figures that it lacks, of equals one that only lacks
    figures, since they may yet be told, and of those one that could lead.

    Where nothing fits, a part that meets every need came nearer than one whose builds nobody tried.
    """
    aside = evaluation.set_aside
    could = () if firm.verdict is None else firm.verdict.could_lead
    if not evaluation.candidates and evaluation.unbuilt:
        screened = tuple(s for s in screened if s.part in evaluation.unbuilt)
        aside = {}
    near = []
    for part, missing in aside.items():
        leads = len(missing) == 1 and hoped(missing[0], could)
        why = f"lacks {_tails(part, missing)}"
        near.append(_Near(len(missing), -1.0 if leads else 0.0, part, why))
    least = min((one.count for one in near), default=None)
    for s in sorted(screened, key=lambda s: len(s.failed)):
        if least is not None and len(s.failed) > least:
            break  # what it lacks beside takes it no nearer
        told = [f.text for f in s.failed]
        lacking: tuple[str, ...] = ()
        if s.part not in evaluation.unbuilt:
            record = evaluation.catalogue.parts[s.part]
            lacking = lacks(record, evaluation.product, evaluation.stated)
        if lacking:
            told.append(f"lacks {_tails(s.part, lacking)}")
        near.append(_Near(len(s.failed) + len(lacking), s.miss, s.part, "; ".join(told)))
        least = near[-1].count if least is None else min(least, near[-1].count)
    if not near:
        return None
    first = min(near)
    alike = sum(
        (one.count, one.why, one.miss < 0) == (first.count, first.why, first.miss < 0)
        for one in near
    )
    by = " by as much" if first.part in evaluation.screened else ""
    more = f" (and {alike - 1} more{by})" if alike > 1 else ""
    return f"{first.part}: {first.why}{more}"


def _tails(part: str, paths: Sequence[str]) -> str:
    return ", ".join(path.removeprefix(f"{part}:") for path in paths)


def _evidence(evaluation: Evaluation) -> dict[str, float]:
    """Share of the ranked parts' measured figures in use, by kind of evidence.

    An entry counts as one, however many figures it has: its figures' shares of it add up to one.
    """
    counts: Counter[tuple[str, int]] = Counter()  # figures by kind and how many their entry has
    for candidate in evaluation.candidates:
        used = figures_in_use(candidate)
        addons = [evaluation.catalogue.addons[name] for name in candidate.addons]
        for path, record in chain(measured(candidate.part), *map(measured, addons)):
            names = figures_of(record)
            made = stood_in(candidate.part, *path.keys[1:]) if path.keys[0] == "kernels" else ()
            count = len(names) + len(made)
            if path not in used or not count:
                continue
            for name in names:
                of = evaluation.catalogue.addons.get(path.document, candidate.part)
                counts[_kind(of, evidence_of(record, name)), count] += 1
            if made:
                counts["estimate", count] += len(made)
    kinds: defaultdict[str, Fraction] = defaultdict(Fraction)
    for (kind, count), figures in counts.items():
        kinds[kind] += Fraction(figures, count)
    total = sum(kinds.values())
    return {kind: float(kinds[kind] / total) for kind in sorted(kinds)} if total else {}


def _kind(part: Part | AddOn, evidence: str | None) -> str:
    record = part.evidence.get(evidence or "")
    return "unstated" if record is None or record.kind is None else record.kind


def figures_in_use(candidate: Candidate) -> set[Path]:
    """Paths of the measured figures that the chosen build rests on."""
    build, own = candidate.best, Path(candidate.part.part)
    out = {own.child("sleep-states", build.assessed.sleep_name(build.row))}
    options = build.assessed.options(build.row)
    for task, option in zip(build.assessed.product.tasks, options, strict=True):
        out.add(own.child("operating-points", option.point))
        for kernel, variant in zip(task.kernels, option.variants, strict=True):
            out.add(own.child("kernels", kernel, variant))
            out |= set(rests_on(candidate.part, kernel, variant))
        out |= {_block(build, block) for block in task.uses}
    return out


def _block(build: Build, block: str) -> Path:
    """Where the block that a build's tasks use is told: in the part, or in what brings it."""
    by = dict(build.companions.blocks).get(block)
    if by is None:
        return Path(build.part).child("blocks", block)
    return Path(by).child("gives", "blocks", block)
