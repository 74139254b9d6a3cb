"""The whole decision: every part against the product, its best build, its draws.

Builds of a part compete by their score at the stated values (ties: least battery current, then
the build's name); the winner is kept in every draw, as a product is built one way.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from advisor.catalogue.criteria import MATURITY, measures
from advisor.catalogue.records import Catalogue, stated
from advisor.catalogue.schema_parts import Part
from advisor.catalogue.schema_product import Product
from advisor.decide.builds import (
    Build,
    assess,
    part_side,
    prepare,
)
from advisor.decide.costs import PartCost, ProductCost, part_cost
from advisor.decide.drawing import Drawn, Progress, draw_builds
from advisor.decide.left_out import Gathered, LeftOut, Supplies, nearest, paired
from advisor.decide.limits import feed_faults, figures_read, plan_faults, row_faults
from advisor.decide.missing import Estimated, fill_missing, notes
from advisor.decide.screens import Failed, Screened, screen
from advisor.decide.stage import Stage, stage
from advisor.decide.value import Criterion, criteria
from advisor.faults import Fault, FaultError
from advisor.figures import Path
from advisor.model.draws import Array, Trace
from advisor.model.maturity import maturity
from advisor.model.packs import (
    CELL_LIMITS,
    cells_name,
    missing_cell,
    missing_converter,
)
from advisor.model.plan import Plans, choose
from advisor.model.tables import PartFigures, part_figures, stack
from advisor.model.workload import ProductFigures

AT_ONCE = 8  # builds that are drawn together where a part's best one fits too seldom


@dataclass(frozen=True, slots=True)
class Candidate:
    """A part that stays in: its builds, best first, and the best one's draws."""

    part: Part
    builds: tuple[Build, ...]
    cost: PartCost
    plan: tuple[Plans, int]  # the plans of the chosen build's feed, and the part's place in it
    drawn: Drawn | None

    @property
    def best(self) -> Build:
        """The chosen build."""
        return self.builds[0]


@dataclass(frozen=True, slots=True)
class Evaluation:
    """Everything a shortlist, an explanation or a study along a lever reads.

    `candidates` come in order of rank; `screened` maps a part to the needs it fails, or to what
    keeps its nearest build out where it is one of the `unbuilt`; `set_aside` to the paths of
    figures it lacks; `gathered` what `left_out` is made of. N = draws or 1.
    """

    catalogue: Catalogue
    product: Product
    draws: int
    seed: int
    criteria: tuple[Criterion, ...]
    candidates: tuple[Candidate, ...]
    screened: Mapping[str, tuple[Failed, ...]]
    unbuilt: frozenset[str]
    set_aside: Mapping[str, tuple[str, ...]]
    warnings: tuple[str, ...]
    figures: ProductFigures
    own_cost: ProductCost
    gathered: Gathered

    @property
    def left_out(self) -> tuple[LeftOut, ...]:
        """Everything that the answer does without, with its reason."""
        return self.gathered.left_out(self.screened, self.set_aside)

    @property
    def weights(self) -> Array:
        """Weights of the criteria at the stated values, (C,) shares of 1."""
        return np.array([c.weight for c in self.criteria])

    def scores(self) -> Array:
        """Score of every candidate in every draw, (P, N); the stated values without draws."""
        return np.stack(
            [
                c.best.assessed.score[c.best.row] if c.drawn is None else c.drawn.score
                for c in self.candidates
            ]
        )


def _feed_pairs(
    catalogue: Catalogue, product: Product, supplies: Supplies
) -> tuple[list[tuple[int, str]], list[str], list[str]]:
    """((cell option, converter) pairs, paths missing, warnings) of the product's supply."""
    pairs: list[tuple[int, str]] = []
    missing: list[str] = []
    warnings: list[str] = []
    gone: set[str] = set()
    timed = product.needs.lead_time is not None
    converters = list(dict.fromkeys(product.supply_options.converters))
    for name in converters:
        if name != "none":
            lacking = missing_converter(catalogue.converters[name], timed)
            if lacking:
                missing += lacking
                gone.add(name)
                supplies.lacking["converter", name] = tuple(lacking)
    for i, option in enumerate(product.supply_options.cells):
        if option.cell is not None:
            cell = catalogue.cells[option.cell]
            lacking = missing_cell(cell, timed)
            if lacking:
                missing += lacking
                supplies.lacking["pack", cells_name(option)] = tuple(lacking)
                continue
            for name, effect in CELL_LIMITS.items():
                if getattr(cell, name) is None:
                    warnings.append(f"{option.cell} states no {name.replace('_', '-')}: {effect}")
        pairs += [(i, c) for c in converters if c not in gone]
    return pairs, missing, list(dict.fromkeys(warnings))


def _criterion_missing(part: Part, product: Product, cost_missing: Sequence[str]) -> list[str]:
    """Paths of figures that a weighted criterion needs and the part lacks."""
    out: list[str] = []
    if product.cost.unit_cost_limit is not None:
        out += cost_missing
    for keys in dict.fromkeys(keys for measure in measures(product) for keys in measure.reads):
        if keys == ("price",):
            out += cost_missing
        elif stated(part, keys) is None or (keys == MATURITY and maturity(part.toolchain) is None):
            # answers to it may be there and yet tell nothing
            out.append(str(Path(part.part, keys)))
    for end in ("min", "max"):
        if getattr(part.supply, end) is None:
            out.append(f"{part.part}:supply.{end}")
    return out


def evaluate(
    catalogue: Catalogue,
    product: Product,
    draws: int = 0,
    seed: int = 1,
    jobs: int = 1,
    progress: Progress | None = None,
    trace: Trace | None = None,
    estimate_missing: bool = False,
) -> Evaluation:
    """Screen, build, score and rank every part of a catalogue for a product.

    Parameters
    ----------
    draws : Monte Carlo draws of the stated uncertainties; 0 for the stated values alone.
    seed : of every random stream. jobs : workers for the draws; the result does not depend on it.
    progress : told how many chunks of the draws are done, of how many.
    trace : filled with the draws (N,) of every uncertain figure of the chosen builds, by path.
    estimate_missing : whether kernels that a part was not measured with are estimated.

    Raises
    ------
    FaultError
        When no pack of the product's choice states what a battery life needs.
    """
    filled: tuple[Estimated, ...] = ()
    if estimate_missing:
        catalogue, filled = fill_missing(catalogue, product)
    here = stage(catalogue, product)
    supplies = Supplies()
    pairs, missing, warnings = _feed_pairs(catalogue, product, supplies)
    if not pairs:
        raise FaultError(
            tuple(
                Fault(path, "nothing", "this figure, without which no pack can be used")
                for path in missing
            )
        )
    if product.add_ons == "allowed":
        warnings.append(f"{product.product}:add-ons allowed: companion chips are not weighed yet")
    screens: dict[str, Screened] = {}
    read: list[PartFigures] = []
    kept: list[Part] = []
    set_aside: dict[str, tuple[str, ...]] = {}
    screened: dict[str, tuple[Failed, ...]] = {}
    for name in sorted(catalogue.parts):
        part = catalogue.parts[name]
        screens[name] = screening = screen(part, product)
        if screening.failed:
            screened[name] = screening.failed
            continue
        figures = part_figures(part, here.figures, here.samplers[name])
        costs = part_cost(part, here.own_cost, here.samplers[name])
        lacking = [*screening.missing, *figures.missing]
        lacking += _criterion_missing(part, product, costs.missing)
        if lacking:
            set_aside[name] = tuple(dict.fromkeys(lacking))
            continue
        warnings += figures.warnings
        read.append(figures)
        kept.append(part)
    first = product.supply_options.cells[0].cell
    wanted = criteria(product, None if first is None else catalogue.cells.get(first))
    candidates: list[Candidate] = []
    ruled_out: dict[str, tuple[Failed, ...]] = {}
    if kept:
        candidates, ruled_out, valueless = _nominal(here, kept, read, wanted, pairs, supplies)
        screened |= ruled_out
        set_aside |= valueless
    if draws and candidates:
        builds = [c.best for c in candidates]
        drawn = draw_builds(catalogue, product, builds, wanted, draws, seed, jobs, progress, trace)
        candidates = with_draws(candidates, drawn)

        def again(these: Sequence[Build]) -> list[Drawn]:
            return draw_builds(catalogue, product, these, wanted, draws, seed, jobs)

        candidates, unsure = _confident(candidates, product.needs.confidence.nominal, again)
        screened |= unsure
        ruled_out |= unsure
    ranked = {c.part.part for c in candidates}
    warnings += notes([one for one in filled if one.part in ranked])
    return Evaluation(
        catalogue=catalogue,
        product=product,
        draws=draws,
        seed=seed,
        criteria=wanted,
        candidates=tuple(candidates),
        screened=dict(sorted(screened.items())),
        unbuilt=frozenset(ruled_out),
        set_aside=set_aside,
        warnings=tuple(dict.fromkeys(warnings)),
        figures=here.figures,
        own_cost=here.own_cost,
        gathered=Gathered(supplies, tuple(read)),
    )


def _confident(
    candidates: Sequence[Candidate],
    wanted: float,
    draw: Callable[[Sequence[Build]], list[Drawn]],
) -> tuple[list[Candidate], dict[str, tuple[Failed, ...]]]:
    """Candidates whose build keeps all needs and limits in a wanted share of the draws.

    Where a part's best build does so too seldom, its next best ones are drawn until one does.

    Returns
    -------
    Candidates by the score of those builds, and parts of which none does, with the best share.
    """
    sure: list[Candidate] = []
    out: dict[str, tuple[Failed, ...]] = {}
    for candidate in candidates:
        assert candidate.drawn is not None
        surest, others = candidate.drawn, list(candidate.builds[1:])
        chosen: tuple[Build, Drawn] | None = None
        if surest.fit >= wanted:
            chosen = candidate.best, surest
        while chosen is None and others:
            batch, others = others[:AT_ONCE], others[AT_ONCE:]
            for build, drawn in zip(batch, draw(batch), strict=True):
                surest = max(surest, drawn, key=lambda one: one.fit)
                if drawn.fit >= wanted:
                    chosen = build, drawn
                    break
        if chosen is None:
            need, share = next(iter(surest.broken.items()))
            words = f"needs.confidence ({need} broken in {100 * share:.0f} % of draws)"
            gap = wanted - surest.fit
            out[candidate.part.part] = (
                Failed(
                    need=words,
                    required=wanted,
                    offered=surest.fit,
                    dimension="share",
                    miss=gap,
                ),
            )
        else:
            build, drawn = chosen
            builds = (build, *(b for b in candidate.builds if b is not build))
            sure.append(replace(candidate, builds=builds, drawn=drawn))
    sure.sort(key=lambda c: (*c.best.order[:2], c.part.part))
    return sure, out


def with_draws(candidates: Sequence[Candidate], drawn: Sequence[Drawn]) -> list[Candidate]:
    """Candidates with the draws of their best builds, in the same order."""
    return [replace(c, drawn=d) for c, d in zip(candidates, drawn, strict=True)]


def _nominal(
    here: Stage,
    parts: Sequence[Part],
    read: Sequence[PartFigures],
    wanted: Sequence[Criterion],
    pairs: Sequence[tuple[int, str]],
    supplies: Supplies,
) -> tuple[list[Candidate], dict[str, tuple[Failed, ...]], dict[str, tuple[str, ...]]]:
    """Every build at the stated values: candidates by rank, parts that no build saves, and parts
    of which no build has a value by every criterion, with what is missing.

    `supplies` is told what comes of each pack with each converter.
    """
    table = stack(read)
    events = here.events(table)
    part_costs = [part_cost(p, here.own_cost, here.samplers[p.part]) for p in parts]
    side = part_side(parts, part_costs, here.product, here.samplers, figures_read(here.product))
    builds: dict[int, list[Build]] = defaultdict(list)
    reasons: dict[int, list[list[Failed]]] = defaultdict(list)
    unfit: list[list[Failed]] = []
    fed = []
    for pair in pairs:
        made, money = here.feed(*pair)
        unmet = feed_faults(made, here.figures)
        if unmet:
            unfit.append(unmet)
            supplies.unfit[paired(made)] = unmet
        else:
            fed.append((made, money))
            supplies.tried(made)
    feeds = [made for made, _ in fed]
    plans_by_feed = choose(feeds, table, here.figures, events, side.floor_v[:, 0])
    plans, prepared = [], []
    for (made, money), plan in zip(fed, plans_by_feed, strict=True):
        for p, faults in plan_faults(plan, table, here.figures):
            reasons[p].append(faults)
            supplies.failed[paired(made)].append(faults)
        if plan.part.size:
            plans.append(plan)
            rows = plan.part, plan.sleep, plan.choice
            prepared.append(prepare(made, money, table, here.figures, events, side, *rows))
    plan_of: dict[int, Plans] = {}
    unknown: dict[int, list[str]] = defaultdict(list)
    for plan, assessed in zip(
        plans, assess(prepared, here.own_cost, here.figures, wanted), strict=True
    ):
        plan_of[id(assessed)] = plan
        on = paired(assessed.feed)
        for r, faults in enumerate(row_faults(assessed, side, here.own_cost)):
            p = int(assessed.part[r])
            lacking = np.isnan(assessed.values[:, r, 0])
            if faults:
                reasons[p].append(faults)
                supplies.failed[on].append(faults)
            elif lacking.any():
                # what has no value by a weighted criterion has no score
                names = [c.name for c, no in zip(wanted, lacking, strict=True) if no]
                supplies.unpriced[on] = assessed.feed_cost.missing
                unknown[p] += assessed.feed_cost.missing or [f"{parts[p].part}:{n}" for n in names]
            else:
                builds[p].append(Build(parts[p].part, assessed, r))
                supplies.stood.add(on)
    candidates = []
    ruled_out = {}
    valueless = {}
    for p, part in enumerate(parts):
        if not builds[p] and unknown[p]:
            valueless[part.part] = tuple(dict.fromkeys(unknown[p]))
            continue
        if not builds[p]:
            # a pack and a converter that do not go together say nothing of the part
            ruled_out[part.part] = nearest(reasons[p] or unfit)
            continue
        ordered = tuple(sorted(builds[p], key=lambda b: b.order))
        plan = plan_of[id(ordered[0].assessed)]
        candidates.append(
            Candidate(part=part, builds=ordered, cost=part_costs[p], plan=(plan, p), drawn=None)
        )
    candidates.sort(key=lambda c: (*c.best.order[:2], c.part.part))
    return candidates, ruled_out, valueless
