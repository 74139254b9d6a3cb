"""`explain`: where the current and the money go, where the points come from, build by build."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.catalogue.sense import in_words, product_warnings
from advisor.decide.builds import Build, averaged_lives
from advisor.decide.cautions import cautions
from advisor.decide.drawing import Progress
from advisor.decide.evaluate import Candidate, Evaluation, evaluate
from advisor.decide.left_out import LeftOut
from advisor.decide.reasons import differences, ending, points
from advisor.decide.robustness import firmness
from advisor.faults import AdvisorError, Fault, FaultError
from advisor.model.ends import ENDS
from advisor.model.operating_plan import PlanTask, solve
from advisor.model.packs import cells_name
from advisor.quantities import show
from advisor.studies.consumers import Consumer, consumers
from advisor.studies.results import (
    BuildResult,
    CostResult,
    LifeResult,
    Power,
    build_result,
    cost_result,
    frame,
    invented,
    known,
    life_result,
    plain,
    power_result,
    unknown_parts,
    warnings_of,
)

if TYPE_CHECKING:
    import pandas as pd


class NotRankedError(AdvisorError):
    """The part is not on the shortlist; the message says why."""


@dataclass(frozen=True, slots=True)
class MoneyItem:
    """An item of the lifetime cost, per unit; for all units, the pieces needed and bought."""

    item: str
    """what is paid for"""
    amount: float | None
    """[per unit] over the service life"""
    needed: int | None = None
    """pieces that all units need"""
    bought: int | None = None
    """pieces bought, where a price break or a multiple makes it more"""


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
    """[points] against the chosen build"""
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
    """the pack's mean current by consumer, at its nominal voltage"""
    money: tuple[MoneyItem, ...]
    """the lifetime cost by item"""
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
    asked = [("PART", part)] + ([] if over is None else [("--over", over)])
    faults = unknown_parts(catalogue, asked)
    if faults:
        raise FaultError(tuple(faults))
    if over == part:
        raise FaultError((Fault("--over", f'"{over}"', "another part than PART"),))
    evaluation = evaluate(
        catalogue, product, draws, seed, jobs, progress, estimate_missing=estimate_missing
    )
    place = _place(evaluation, part)
    rival: Build | None = None
    if over is not None:
        rival = evaluation.candidates[_place(evaluation, over)].best
    elif len(evaluation.candidates) > 1:
        rival = evaluation.candidates[1 if place == 0 else 0].best
    return explained(evaluation, place, rival)


def _place(evaluation: Evaluation, part: str) -> int:
    for place, candidate in enumerate(evaluation.candidates):
        if candidate.part.part == part:
            return place
    if part in evaluation.screened:
        why = "; ".join(f.text for f in evaluation.screened[part])
        raise NotRankedError(f"{part} is screened out: {why}")
    why = f"{part} is set aside for lack of figures: {', '.join(evaluation.set_aside[part])}"
    # a name that nobody knows is lacked by every part
    odd = in_words(product_warnings(evaluation.product, evaluation.catalogue))
    raise NotRankedError("; ".join((why, *odd)))


def explained(evaluation: Evaluation, place: int, rival: Build | None) -> Explanation:
    """The explanation of the candidate at `place` (0 = first), against another build."""
    candidate = evaluation.candidates[place]
    build = candidate.best
    feed = build.assessed.feed
    current = consumers(build)
    money = money_items(evaluation, candidate, build)
    target = evaluation.product.life_target
    return Explanation(
        product=evaluation.product.product,
        part=build.part,
        rank=place + 1,
        points=build.score,
        over=None if rival is None else rival.part,
        over_points=None if rival is None else rival.score,
        invented=invented(evaluation),
        build=build_result(build),
        power=power_result(build),
        battery_life_s=life_result(candidate, averaged_lives([candidate.best])[0]),
        life_target_s=None if target is None else target.nominal,
        cost=cost_result(candidate, evaluation.own_cost.currency),
        current=current,
        money=money,
        score=_score(evaluation, build, rival),
        plan=_plan(evaluation, candidate),
        builds=_builds(candidate),
        builds_in_all=len(candidate.builds),
        reasons=_reasons(evaluation, place, rival, current, money),
        cautions=cautions([feed], evaluation.figures.hottest),
        left_out=evaluation.left_out,
        warnings=warnings_of(evaluation),
    )


def money_items(
    evaluation: Evaluation, candidate: Candidate, build: Build
) -> tuple[MoneyItem, ...]:
    """The lifetime cost of a candidate's build by item, per unit; the items add up to it."""
    assessed, row = build.assessed, build.row
    money, feed = assessed.costs, assessed.feed
    cost = assessed.feed_cost
    part = candidate.part
    items: list[tuple[str, float]] = []
    purchases = {**candidate.cost.bought, **cost.bought}  # by the names of the items
    extras = {k: float(v[0]) for k, v in candidate.cost.extras.items()}
    items.append((part.part, float(candidate.cost.part[0])))
    items += [(f"{part.part}: {name}", amount) for name, amount in extras.items()]
    if feed.cell is not None:
        name = f"{feed.option.series * feed.option.parallel} x {feed.cell.cell}"
        items.append((name, float(cost.pack[0])))
        if feed.cell.cell in cost.bought:
            purchases[name] = cost.bought[feed.cell.cell]
    if feed.converter is not None:
        items.append((feed.converter_name, float(cost.converter[0])))
    if evaluation.product.supply_options.reservoir is not None:
        items.append(("reservoir", float(cost.reservoir[0])))
    items.append(("development: set-up hours and tools", float(money.development[row, 0])))
    visits = float(money.replacements[row, 0])
    words = f"upkeep: {visits:g} battery change{'' if visits == 1 else 's'}"
    words = "upkeep" if np.isnan(visits) else words
    items.append((words, float(money.upkeep[row, 0])))
    out = []
    for name, amount in items:
        bought = purchases.get(name)
        item = MoneyItem(name, known(amount))
        if bought is not None:
            item = replace(item, needed=bought.needed, bought=int(bought.purchase.pieces[0]))
        out.append(item)
    return tuple(out)


def _score(evaluation: Evaluation, build: Build, rival: Build | None) -> tuple[ScoreItem, ...]:
    mine = points(evaluation, build)
    theirs = None if rival is None else points(evaluation, rival)
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
                if rival is None
                else criterion.shown(float(rival.assessed.values[i, rival.row, 0])),
                weight=criterion.weight,
            )
        )
    return tuple(out)


def _plan(evaluation: Evaluation, candidate: Candidate) -> Plan:
    """The practical plan's current beside the linear program's bound, and the bound's prices."""
    build = candidate.best
    plan, p = candidate.plan
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


def _builds(candidate: Candidate, most: int = 8) -> tuple[BuildItem, ...]:
    """The chosen build, then the best of each other pack, converter and sleep state."""
    told: dict[tuple[str, str, str], Build] = {}
    for build in candidate.builds:
        feed = build.assessed.feed
        told.setdefault(
            (cells_name(feed.option), feed.converter_name, build.assessed.sleep_name(build.row)),
            build,
        )
    out = []
    for build in list(told.values())[:most]:
        assessed, row = build.assessed, build.row
        out.append(
            BuildItem(
                build=build_result(build),
                score=build.score,
                difference=build.score - candidate.best.score,
                battery_life_s=float(assessed.life.life_s[row, 0]),
                ends_by=ENDS[int(assessed.life.ends_by[row, 0])].name,
                battery_current_a=float(assessed.battery_a[row, 0]),
                purchase=known(assessed.costs.purchase[row, 0]),
                lifetime=known(assessed.costs.lifetime[row, 0]),
            )
        )
    return tuple(out)


def _reasons(
    evaluation: Evaluation,
    place: int,
    rival: Build | None,
    current: tuple[Consumer, ...],
    money: tuple[MoneyItem, ...],
) -> tuple[str, ...]:
    candidate = evaluation.candidates[place]
    build = candidate.best
    life = life_result(candidate, averaged_lives([candidate.best])[0])
    out = []
    firm = firmness(evaluation)
    if firm.verdict is not None and len(evaluation.candidates) > 1:
        out.append(f"verdict {firm.verdict.text}")
    guessed = evaluation.catalogue.estimated.get(build.part, ())
    if guessed:
        out.append(f"rests on estimates of what was not measured: {', '.join(guessed)}")
    above = firm.dominated_by[place]
    if above:
        out.append(f"beaten or met by every criterion by {', '.join(above)}")
    if rival is not None:
        for criterion, gain, mine, theirs in differences(evaluation, build, rival):
            if abs(gain) >= 0.05:
                word = "gains" if gain > 0 else "loses"
                out.append(
                    f"{word} {abs(gain):.1f} points by {criterion.name}: "
                    f"{criterion.shown(mine)} against {criterion.shown(theirs)}"
                )
        gap = build.score - rival.score
        out.append(
            f"in all {abs(gap):.1f} points {'ahead of' if gap >= 0 else 'behind'} {rival.part}"
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
