"""`explain`: where the current and the money go, where the points come from, build by build."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from advisor.catalogue.records import Catalogue
from advisor.catalogue.rules import exchanged
from advisor.catalogue.schema_product import Product
from advisor.catalogue.sense import in_words, product_warnings
from advisor.dataclass import dataclass, field
from advisor.decide.beaten import beaten
from advisor.decide.builds import Build
from advisor.decide.cautions import cautions_of
from advisor.decide.evaluate import Candidate, Evaluation, evaluate
from advisor.decide.left_out import LeftOut
from advisor.decide.marches import Marches
from advisor.decide.reasons import UNNAMED, against_rival, differences, ending, points
from advisor.decide.robustness import Firmness, firmness
from advisor.decide.stated import averaged_lives
from advisor.faults import AdvisorError, Fault, FaultError
from advisor.model.ends import ENDS
from advisor.model.operating_plan import PlanTask, solve
from advisor.model.served import Services
from advisor.quantities import show
from advisor.stages import Progress
from advisor.studies.asked import unknown_parts
from advisor.studies.chances import SpreadResult, chances
from advisor.studies.charging import ChargingResult, charging
from advisor.studies.consumers import Consumer, consumers
from advisor.studies.gating import GateResult, gating
from advisor.studies.harvests import HarvestResult, harvest_of
from advisor.studies.money import MoneyItem, money_items
from advisor.studies.phases import PhaseResult, TimeResult, phases, times
from advisor.studies.results import (
    WHERE_STATED,
    BuildResult,
    CostResult,
    LifeResult,
    Power,
    battery_current,
    build_result,
    cost_result,
    frame,
    invented,
    known,
    life_result,
    plain,
    power_result,
    warnings_of,
)

if TYPE_CHECKING:
    import pandas as pd


class NotRankedError(AdvisorError):
    """The part is not on the shortlist; the message says why."""


@dataclass(frozen=True, slots=True)
class ScoreItem:
    """Points of a criterion, against the other part's."""

    criterion: str
    """its name"""
    points: float
    """of 100, of this part"""
    over_points: float | None
    """the other part's"""
    difference: float | None
    """points gained over the other part"""
    value: str
    """in words"""
    over_value: str | None
    """the other part's, in words"""
    weight: float
    """of a sum of 1"""


@dataclass(frozen=True, slots=True)
class BuildItem:
    """A build that the chosen one beat (or the chosen one itself, first)."""

    build: BuildResult
    """how the part is built in"""
    score: float
    """[of 100] at the stated values"""
    difference: float
    """[points] against the chosen build, at the stated values"""
    expected: float | None
    """[of 100] mean over the draws; null without any"""
    battery_life_s: float
    """[s] at the stated values"""
    ends_by: str
    """see [ends of life](lists.md#ends-of-life)"""
    battery_current_a: float
    """[A] mean current from the pack over its life"""
    purchase: float | None
    """[per unit] what its parts cost"""
    lifetime: float | None
    """[per unit] over the service life"""


@dataclass(frozen=True, slots=True)
class Price:
    """What something costs in the operating plan, in `unit` (A of mean current, or C)."""

    of: str
    """one more event of a task, a tighter deadline, one more unit of busy share"""
    price: float
    """in `unit`"""
    unit: str
    """C, or A of mean current"""


@dataclass(frozen=True, slots=True)
class Plan:
    """The operating plan against the linear program's bound."""

    bound_a: float | None
    """[A] least mean current at the pack by any mix of options (linear program)"""
    practical_a: float
    """[A] mean current at the pack of the build, each task at one option"""
    busy_share: float
    """[share] time spent in events"""
    mixed: Mapping[str, Mapping[str, float]]
    """[share] task that the bound runs at two options, to the share of each"""
    prices: tuple[Price, ...]
    """what one more event or a tighter deadline costs"""


@dataclass(frozen=True, slots=True)
class Explanation:
    """Why a part stands where it stands."""

    product: str
    """the product's id"""
    part: str
    """the part that is explained"""
    rank: int
    """its place in the shortlist"""
    points: float
    """[of 100] its score"""
    over: str | None
    """the part that it is set against"""
    over_points: float | None
    """[of 100] the other's score"""
    invented: bool
    """whether anything behind the answer is demonstration data"""
    build: BuildResult
    """how it is built into the product"""
    power: Power
    """where its current goes, at the rail"""
    battery_life_s: LifeResult
    """how long a set of cells lasts"""
    life_target_s: float | None
    """[s] the battery life that is wanted"""
    cost: CostResult
    """what a unit costs"""
    current: tuple[Consumer, ...]
    """the pack's mean current over its life by consumer, self-discharge included"""
    charge_c: float | None
    """[C] what the pack gives until its life ends; over the sum of `current` it is the life, at the
    stated values; null for a life without end"""
    money: tuple[MoneyItem, ...]
    """the lifetime cost by item"""
    rates: Mapping[str, float]
    """what one of each other currency of the two parts' amounts is worth in the product's own"""
    score: tuple[ScoreItem, ...]
    """points by criterion, against the other part's"""
    plan: Plan
    """the operating plan with its bound"""
    builds: tuple[BuildItem, ...]
    """the chosen build and those it beat, the best first"""
    builds_in_all: int
    """how many builds stand"""
    reasons: tuple[str, ...]
    """in words, the weightiest first"""
    cautions: tuple[str, ...]
    """what to mind with the cells in use"""
    left_out: tuple[LeftOut, ...]
    """what the answer does without: packs, converters, sleep states, points and parts"""
    warnings: tuple[str, ...]
    """what looks odd in the files"""
    before_use: tuple[PhaseResult, ...] = field(default=(), metadata=WHERE_STATED)
    """what comes before the first day takes from the first pack, phase by phase; with `charge_c` it
    is what the pack gives in all. Left out where the product states no `before-use`"""
    times: tuple[TimeResult, ...] = field(default=(), metadata=WHERE_STATED)
    """the times of the calendar; left out where the product states no `times`"""
    chances: SpreadResult | None = field(default=None, metadata=WHERE_STATED)
    """what comes of events at random and of tries that fail; left out where the product states
    neither"""
    gating: tuple[GateResult, ...] = field(default=(), metadata=WHERE_STATED)
    """what is switched off between uses; left out where no capacitance is stated"""
    harvest: HarvestResult | None = field(default=None, metadata=WHERE_STATED)
    """the store through the year; left out where nothing is harvested into it"""
    charging: ChargingResult | None = field(default=None, metadata=WHERE_STATED)
    """the charges of the pack and its ageing; left out where nobody charges it"""

    def to_frame(self) -> pd.DataFrame:
        """Points per criterion as a data frame, a row a criterion."""
        return frame([plain(item) for item in self.score])


def explain(
    catalogue: Catalogue,
    product: Product,
    part: str,
    over: str | None = None,
    *,
    draws: int = 0,
    seed: int = 1,
    jobs: int = 1,
    progress: Progress | None = None,
    estimate_missing: bool = False,
    services: Services | None = None,
) -> Explanation:
    """Explain a part's place on the shortlist, against another part.

    Parameters
    ----------
    part : id of a part. over : id of the part to compare with; the winner when absent, or the
        runner-up when `part` is the winner. draws, seed, jobs, progress, estimate_missing : as for
        `shortlist`.

    Raises
    ------
    FaultError
        For an id that the catalogue does not have, or a part compared with itself.
    NotRankedError
        When one of the parts is not on the shortlist, with the reason.
    """
    if faults := faults_of(catalogue, part, over):
        raise FaultError(faults)
    inputs, kept = (catalogue, product, draws, seed, jobs, progress), Marches(services, kept=0)
    evaluation = evaluate(*inputs, estimate_missing=estimate_missing, hopes_too=True, marches=kept)
    place = _place(evaluation, part)
    rival: Candidate | None = None
    if over is not None:
        rival = evaluation.candidates[_place(evaluation, over)]
    elif len(evaluation.candidates) > 1:
        rival = evaluation.candidates[1 if place == 0 else 0]
    return explained(evaluation, place, rival, firmness(evaluation))


def faults_of(catalogue: Catalogue, part: str, over: str | None) -> list[Fault]:
    """Every fault of the parts to compare, as of `explain`; no build is tried for it."""
    asked = [("PART", part)] + ([] if over is None else [("--over", over)])
    faults = unknown_parts(catalogue, asked)
    if over == part and not faults:
        faults.append(Fault("--over", f'"{over}"', "another part than PART"))
    return faults


def _place(evaluation: Evaluation, part: str) -> int:
    for place, candidate in enumerate(evaluation.candidates):
        if candidate.part.part == part:
            return place
    helped = evaluation.gathered.brought.get(part)
    if part in evaluation.screened:
        why = "; ".join(f.text for f in evaluation.screened[part])
        raise NotRankedError(f"{part} is screened out: {why}" + (f"; {helped}" if helped else ""))
    why = f"{part} has missing data: {', '.join(evaluation.set_aside[part])}"
    why += f"; {helped}" if helped else ""
    # a name that nobody knows is lacked by every part
    odd = in_words(product_warnings(evaluation.product, evaluation.catalogue))
    raise NotRankedError("; ".join((why, *odd)))


def explained(
    evaluation: Evaluation, place: int, rival: Candidate | None, firm: Firmness
) -> Explanation:
    """The explanation of the candidate at `place` (0 = first), against another one; `firm` says how
    firm the whole order is."""
    candidate = evaluation.candidates[place]
    build = candidate.best
    life = life_result(candidate, averaged_lives([build])[0])
    current = consumers(build)
    money = money_items(evaluation, candidate, build, candidate.drawn)
    target = evaluation.product.life_target
    both = [one.part.part for one in (candidate, rival) if one is not None]
    return Explanation(
        product=evaluation.product.product,
        part=build.part,
        rank=place + 1,
        points=candidate.score,
        over=None if rival is None else rival.part.part,
        over_points=None if rival is None else rival.score,
        invented=invented(evaluation),
        build=build_result(build),
        power=power_result(build),
        battery_life_s=life,
        life_target_s=None if target is None else target.nominal,
        cost=cost_result(candidate, evaluation.own_cost.currency),
        current=current,
        charge_c=_charge(build),
        money=money,
        rates=exchanged(evaluation.product, evaluation.catalogue.only(both)),
        score=_score(evaluation, candidate, rival),
        plan=_plan(evaluation, candidate),
        builds=_builds(evaluation, candidate),
        builds_in_all=len(candidate.builds),
        reasons=_reasons(evaluation, place, rival, firm, life, current, money),
        cautions=cautions_of([build], evaluation.catalogue, evaluation.figures.hottest),
        left_out=evaluation.left_out,
        warnings=warnings_of(evaluation),
        before_use=phases(build),
        times=times(build),
        chances=chances(build),
        gating=gating(build),
        harvest=harvest_of(build, evaluation.product),
        charging=charging(build),
    )


def _charge(build: Build) -> float | None:
    """What the pack gives until its life ends, C; None for a life without end."""
    lasts = float(build.assessed.life.life_s[build.row, 0])
    if not np.isfinite(lasts):
        return None
    return (battery_current(build) + float(build.assessed.life.self_a[build.row, 0])) * lasts


def _score(
    evaluation: Evaluation, candidate: Candidate, rival: Candidate | None
) -> tuple[ScoreItem, ...]:
    mine = points(evaluation, candidate)
    theirs = None if rival is None else points(evaluation, rival)
    build = candidate.best
    other = None if rival is None else rival.best
    out = []
    for i, criterion in enumerate(evaluation.criteria):
        value = float(build.assessed.values[i, build.row, 0])
        out.append(
            ScoreItem(
                criterion=criterion.name,
                points=float(mine[i]),
                over_points=None if theirs is None else float(theirs[i]),
                difference=None if theirs is None else float(mine[i] - theirs[i]),
                value=criterion.shown(value),
                over_value=None
                if other is None
                else criterion.shown(float(other.assessed.values[i, other.row, 0])),
                weight=float(evaluation.weights[i]),
            )
        )
    return tuple(out)


def _plan(evaluation: Evaluation, candidate: Candidate) -> Plan:
    """The practical plan's current beside the linear program's bound, and the bound's prices."""
    build = candidate.best
    plan, p = candidate.plan, candidate.place
    z = int(build.assessed.sleep[build.row])
    parts = build.assessed.stack.parts[int(build.assessed.part[build.row])]
    tasks = []
    for k, task in enumerate(evaluation.figures.tasks):
        fed = plan.fed[k][p, : len(parts.options[k])]
        usable = [o for o in range(len(parts.options[k])) if fed[o]]
        tasks.append(
            PlanTask(
                name=task.name,
                options=tuple(parts.options[k][o].label for o in usable),
                charge=tuple(float(plan.charge[k][p, z, o]) for o in usable),
                length=tuple(float(plan.length[k][p, z, o]) for o in usable),
                rate=float(1 / task.period[0]),
                late=tuple(not bool(plan.allowed[k][p, z, o]) for o in usable),
                at_times={
                    time.name: float(1 / task.periods[t][0])
                    for t, time in enumerate(evaluation.figures.times)
                },
            )
        )
    bound = solve(tasks)
    practical = float(build.assessed.battery_a[build.row, 0])
    chosen = build.assessed.options(build.row)
    above = sum(
        t.rate * t.charge[t.options.index(o.label)] for t, o in zip(tasks, chosen, strict=True)
    )
    mixed = {name: mix for name, mix in bound.shares.items() if len(mix) > 1}
    prices = [Price("one more unit of busy share", bound.busy_price, "A")]
    prices += [Price(f"one more event of {n}", c, "C") for n, c in bound.busier.items()]
    prices += [Price(f"the deadline of {n}", a, "A") for n, a in bound.deadlines.items()]
    return Plan(
        bound_a=None if bound.current is None else practical - above + bound.current,
        practical_a=practical,
        busy_share=bound.busy,
        mixed=mixed,
        prices=tuple(prices),
    )


def _builds(evaluation: Evaluation, candidate: Candidate) -> tuple[BuildItem, ...]:
    """The chosen build, then the best of each other pack, converter, sleep state and add-ons."""
    listed, expected = beaten(evaluation, candidate)
    out = []
    for build in listed:
        assessed, row = build.assessed, build.row
        out.append(
            BuildItem(
                build=build_result(build),
                score=build.score,
                difference=build.score - candidate.best.score,
                expected=expected.get(build),
                battery_life_s=float(assessed.life.life_s[row, 0]),
                ends_by=ENDS[int(assessed.life.ends_by[row, 0])].name,
                battery_current_a=battery_current(build),
                purchase=known(assessed.costs.purchase[row, 0]),
                lifetime=known(assessed.costs.lifetime[row, 0]),
            )
        )
    return tuple(out)


def _reasons(
    evaluation: Evaluation,
    place: int,
    rival: Candidate | None,
    firm: Firmness,
    life: LifeResult,
    current: tuple[Consumer, ...],
    money: tuple[MoneyItem, ...],
) -> tuple[str, ...]:
    candidate = evaluation.candidates[place]
    build = candidate.best
    out = []
    if firm.verdict is not None and (len(evaluation.candidates) > 1 or firm.verdict.could_lead):
        out.append(f"verdict {firm.verdict.text}")
    guessed = evaluation.catalogue.estimated.get(build.part, ())
    if guessed:
        out.append(f"rests on estimates of what was not measured: {', '.join(guessed)}")
    above = firm.dominated_by[place]
    if above:
        out.append(f"beaten or met by every criterion by {', '.join(above)}")
    if rival is not None:
        rest = candidate.score - rival.score
        for criterion, gain, mine, theirs in differences(evaluation, candidate, rival):
            if abs(gain) >= 0.05 or abs(rest) >= UNNAMED:
                rest -= gain
                word = "gains" if gain > 0 else "loses"
                out.append(
                    f"{word} {abs(gain):.1f} points by {criterion.name}: "
                    f"{criterion.shown(mine)} against {criterion.shown(theirs)}"
                )
        gap = candidate.score - rival.score
        out.append(f"in all {against_rival(gap, rival.part.part, 'points ')}")
        if evaluation.draws:
            stated = candidate.best.score - rival.best.score
            if abs(stated - gap) >= UNNAMED:
                which = "ahead" if stated >= 0 else "behind"
                out.append(
                    f"at the stated values it would be {abs(stated):.1f} {which}; the draws "
                    "tell what is uncertain"
                )
    if current:
        top = current[0]
        out.append(
            f"most of the current: {top.consumer}, {show(top.a, 'current')} "
            f"({100 * top.share:.0f} % of what the battery gives)"
        )
    out += [
        f"{item.item}: {item.bought} pieces are bought where {item.needed} are needed, "
        "as no smaller purchase costs less"
        for item in money
        if item.bought is not None and item.needed is not None and item.bought > item.needed
    ]
    out.append(f"the battery's life ends because {ending(build)}")
    if life.averaged > life.nominal * 1.005:
        out.append(
            f"with the year's mean capacity in place of the coldest place's it would be "
            f"{show(life.averaged, 'time')}"
        )
    return tuple(out)
