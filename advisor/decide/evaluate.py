"""The whole decision: every part against the product, its best build, its draws.

With draws, a part's score is the mean over them of its points, a draw that breaks a need or a limit
scoring nothing, and builds of a part compete by the same score on common random numbers (ties:
least battery current at the stated values, then the build's name). So the first part is also the
one of least expected regret. Without draws the scores are those of the stated values.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import field, replace

import numpy as np

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import Part
from advisor.catalogue.schema_product import Product
from advisor.catalogue.schema_supply import AddOn
from advisor.dataclass import dataclass
from advisor.decide.builds import Build, assess, prepare
from advisor.decide.choosing import (
    SOME,
    Asleep,
    asleep,
    choose_builds,
    pack_spread,
    spread_worth,
    unsure,
)
from advisor.decide.companions import Brought, Offer, in_words
from advisor.decide.costs import PartCost, ProductCost, part_cost, with_addons
from advisor.decide.drawing import CHUNK, Drawn, draw_builds, mean_weights
from advisor.decide.lacking import criterion_missing, feed_pairs
from advisor.decide.left_out import Gathered, LeftOut, Supplies, nearest, paired
from advisor.decide.limits import feed_faults, figures_read, plan_faults, row_faults
from advisor.decide.marches import Marches
from advisor.decide.missing import fill_missing, notes, with_stand_ins
from advisor.decide.ranks import DIGITS
from advisor.decide.screens import Failed, Screened, screen
from advisor.decide.sides import PartSide, part_side
from advisor.decide.stage import Stage, stage
from advisor.decide.value import Criterion, criteria_of
from advisor.faults import Fault, FaultError
from advisor.model.addon_set import ALONE, Companions
from advisor.model.companions import Fitted, fitted, with_companions
from advisor.model.draws import Array, Known, Trace
from advisor.model.meetings import longer_rests
from advisor.model.plan import Plans, choose
from advisor.model.tables import PartFigures, part_figures, stack
from advisor.model.workload import ProductFigures
from advisor.stages import Progress, begin


@dataclass(frozen=True, slots=True)
class Candidate:
    """A part that stays in.

    Attributes
    ----------
    builds : the chosen one first, then those that went through all draws, best first, then the
    others by their stated scores; with add-ons where the part needs some. costs : of every part
    with its add-ons, by its place in what was assessed. plans : those of each feed, by the identity
    of what was assessed on it. drawn : the chosen build's draws, None without any.
    tried : those of every build that went through all of them. smooth : (C,) utilities of every
    build averaged over spread lives, see `choosing`.
    """

    part: Part
    builds: tuple[Build, ...]
    costs: Sequence[PartCost]
    plans: Mapping[int, Plans]
    drawn: Drawn | None = None
    tried: Mapping[Build, Drawn] = field(default_factory=dict)
    smooth: Mapping[Build, Array] = field(default_factory=dict)

    @property
    def best(self) -> Build:
        """The chosen build."""
        return self.builds[0]

    @property
    def place(self) -> int:
        """Of the part with the add-ons of its chosen build, in the plans."""
        return int(self.best.assessed.part[self.best.row])

    @property
    def cost(self) -> PartCost:
        """Of the part with the add-ons of its chosen build."""
        return self.costs[self.place]

    @property
    def addons(self) -> tuple[str, ...]:
        """The ids of its chosen build's add-ons."""
        return self.best.addons

    @property
    def plan(self) -> Plans:
        """The plans of the chosen build's feed."""
        return self.plans[id(self.best.assessed)]

    @property
    def score(self) -> float:
        """Expected score of the chosen build, of 0..100; the stated one without draws."""
        return self.best.score if self.drawn is None else self.drawn.expected

    @property
    def worth(self) -> Array:
        """Expected utilities of the chosen build, (C,) of 0..1; the stated ones without draws."""
        if self.drawn is None:
            return np.asarray(self.best.assessed.utilities[:, self.best.row, 0])
        return self.drawn.worth

    @property
    def order(self) -> tuple[float, float, str]:
        """By which parts are ranked: the least is first."""
        return (-round(self.score, DIGITS), self.best.order[1], self.part.part)


@dataclass(frozen=True, slots=True)
class Evaluation:
    """Everything a shortlist, an explanation or a study along a lever reads.

    `candidates` come in order of rank; `screened` maps a part to the needs it fails, or to what
    keeps its nearest build out where it is one of the `unbuilt`; `set_aside` to the paths of
    figures it lacks; `brought` to what add-ons do for it, where it is out for what they may bring;
    `gathered` what `left_out` is made of. `weights` are the criteria's mean
    weights, (C,) shares of 1: the stated ones but where they are uncertain themselves. N = draws
    or 1. `stated` : the pass over the stated values.
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
    brought: Mapping[str, Brought]
    warnings: tuple[str, ...]
    figures: ProductFigures
    own_cost: ProductCost
    weights: Array
    gathered: Gathered
    stated: Stage

    @property
    def left_out(self) -> tuple[LeftOut, ...]:
        """Everything that the answer does without, with its reason."""
        return self.gathered.left_out(self.screened, self.set_aside)

    @property
    def addons(self) -> tuple[AddOn, ...]:
        """The add-ons of the candidates' chosen builds, each once."""
        names = sorted({name for c in self.candidates for name in c.addons})
        return tuple(self.catalogue.addons[name] for name in names)

    def helped(self, part: str) -> Brought:
        """What add-ons do for a part that is out; nothing where they do not help."""
        return self.brought.get(part, Brought())

    def scores(self) -> Array:
        """Score of every candidate in every draw, (P, N); the stated values without draws."""
        return np.stack(
            [
                c.best.assessed.score[c.best.row] if c.drawn is None else c.drawn.score
                for c in self.candidates
            ]
        )


def evaluate(
    catalogue: Catalogue,
    product: Product,
    draws: int = 0,
    seed: int = 1,
    jobs: int = 1,
    progress: Progress | None = None,
    trace: Trace | None = None,
    estimate_missing: bool = False,
    ranked_by: int | None = None,
    marches: Marches | None = None,
    stated: Stage | None = None,
) -> Evaluation:
    """Screen, build, score and rank every part of a catalogue for a product.

    Parameters
    ----------
    draws : Monte Carlo draws of the stated uncertainties; 0 for the stated values alone.
    seed : of every random stream. jobs : workers for the draws; the result does not depend on it.
    progress : told how many chunks of the draws are done, of how many.
    trace : filled with the draws (N,) of every uncertain figure of the chosen builds, by path.
    estimate_missing : whether kernels that a part was not measured with are estimated.
    ranked_by : of how many draws, the first ones, the mean scores rank; all when absent.
    marches : battery lives of earlier evaluations, and of this one.
    stated : the stage of an evaluation of the same product whose catalogue differs in parts alone.

    Raises
    ------
    FaultError
        When no pack of the product's choice states what a battery life needs.
    """
    begin(progress, "screening parts")
    if estimate_missing:
        catalogue = fill_missing(catalogue, product)
    catalogue = with_stand_ins(catalogue, product)
    here = stated or stage(catalogue, product, marches=marches)
    here = replace(here, catalogue=catalogue)
    supplies = Supplies()
    pairs, missing, warnings = feed_pairs(catalogue, product, supplies)
    if not pairs:
        wanting = "this figure, without which no pack can be used"
        raise FaultError(tuple(Fault(path, "nothing", wanting) for path in missing))
    for option in product.supply_options.cells:
        if option.cell is not None:
            warnings += longer_rests(catalogue.cells[option.cell], here.figures)
    offer = Offer(catalogue, product)
    allowed = product.add_ons == "allowed"
    brought: dict[str, Brought] = {}
    read: list[PartFigures] = []
    kept: list[Fitted] = []
    told: list[PartFigures] = []
    set_aside: dict[str, tuple[str, ...]] = {}
    screened: dict[str, tuple[Failed, ...]] = {}
    for name in sorted(catalogue.parts):
        part = catalogue.parts[name]
        screening = screen(part, product)
        found = offer.brought(part, screening)
        sets: tuple[Companions, ...] = (ALONE,)
        if allowed and found is not None and found.sets:
            sets, screening = found.sets, Screened((), ())
            if not found.all_told:
                warnings.append(
                    f"{name}: of the sets of add-ons that bring what it lacks only the "
                    f"{len(sets)} smallest are tried"
                )
        elif found is not None:
            brought[name] = found
        if screening.failed:
            screened[name] = screening.failed
            continue
        figures = part_figures(part, here.figures, here.samplers[name])
        costs = part_cost(part, here.own_cost, here.samplers[name])
        lacking = [*screening.missing, *figures.missing]
        lacking += criterion_missing(part, product, costs.missing)
        if lacking:
            set_aside[name] = tuple(dict.fromkeys(lacking))
            if set(lacking) != set(screening.missing):
                brought.pop(name, None)  # it would still lack the rest
            continue
        warnings += figures.warnings
        told.append(figures)
        for companions in sets:
            one = fitted(catalogue, part, companions)
            read.append(with_companions(figures, one, here.figures, here.samplers))
            kept.append(one)
    wanted = criteria_of(catalogue, product)
    candidates: list[Candidate] = []
    ruled_out: dict[str, tuple[Failed, ...]] = {}
    weights = mean_weights(product, wanted, draws, seed)
    if kept:
        begin(progress, "working out builds")
        candidates, ruled_out, valueless, side = _nominal(here, kept, read, wanted, pairs, supplies)
        screened |= ruled_out
        set_aside |= valueless
        if draws and candidates:
            run = _Run(
                here=here, criteria=wanted, weights=weights, seed=seed, jobs=jobs, draws=draws
            )
            candidates, unlikely = run.chosen(candidates, side, progress)
            screened |= unlikely
            ruled_out |= unlikely
            candidates = run.drawn(candidates, progress, trace)
            head = ranked_by or draws
            candidates.sort(key=lambda c: (*_by_first(c, head), *c.order))
    ranked = {c.part.part for c in candidates}
    warnings += notes(catalogue, ranked)
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
        brought=brought,
        warnings=tuple(dict.fromkeys(warnings)),
        figures=here.figures,
        own_cost=here.own_cost,
        weights=weights,
        stated=here,
        gathered=Gathered(
            supplies=supplies,
            read=tuple(told),
            addons=tuple(offer.left_out()) if allowed else (),
            brought={name: in_words(one, allowed) for name, one in brought.items()},
        ),
    )


def _by_first(candidate: Candidate, draws: int) -> tuple[float]:
    assert candidate.drawn is not None
    return (-round(float(candidate.drawn.score[:draws].mean()), DIGITS),)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Run:
    """What the draws of a decision are taken with."""

    here: Stage
    criteria: tuple[Criterion, ...]
    weights: Array
    seed: int
    jobs: int
    draws: int
    known: Known = field(default_factory=dict)

    def draw(
        self,
        builds: Sequence[Build],
        draws: int,
        progress: Progress | None = None,
        trace: Trace | None = None,
    ) -> list[Drawn]:
        here = self.here
        return draw_builds(
            here.catalogue,
            here.product,
            builds,
            self.criteria,
            draws,
            self.seed,
            self.jobs,
            progress,
            trace,
            here.marches,
            self.known,
        )

    def chosen(
        self, candidates: Sequence[Candidate], side: PartSide, progress: Progress | None
    ) -> tuple[list[Candidate], dict[str, tuple[Failed, ...]]]:
        """Candidates with their chosen builds, and parts of which none fits often enough."""
        here = self.here
        every = [build for c in candidates for build in c.builds]
        likely: dict[Asleep, Build] = {}
        for build in every:
            likely.setdefault(asleep(build), build)
        few = min(SOME, self.draws)
        begin(progress, "choosing builds")
        some = self.draw(list(likely.values()), few, progress)
        spread = dict(zip(likely.values(), some, strict=True))
        current = {
            key: spread[build].battery_a / build.assessed.battery_a[build.row]
            for key, build in likely.items()
        }
        small = stage(here.catalogue, here.product, few, self.seed, known=self.known)
        packs = pack_spread(small, every)
        worth = spread_worth(every, current, packs, side, here, self.criteria)
        ends = np.cumsum([len(c.builds) for c in candidates])[:-1]
        smooth = np.split(worth, ends)
        wanted = here.product.needs.confidence.nominal
        # beyond the first chunk more draws refine the figures of what is chosen
        found, surest = choose_builds(
            [c.builds for c in candidates],
            smooth,
            self.weights,
            wanted,
            min(self.draws, CHUNK),
            self.draw,
            spread,
        )
        stay: list[Candidate] = []
        out: dict[str, tuple[Failed, ...]] = {}
        for candidate, mine, one, sure in zip(candidates, smooth, found, surest, strict=True):
            if one is None:
                out[candidate.part.part] = unsure(sure, wanted)
                continue
            tried = sorted(one.tried, key=lambda b: (b is not one.build, -one.tried[b].expected))
            others = (b for b in candidate.builds if b not in one.tried)
            by_build = dict(zip(candidate.builds, mine, strict=True))
            stay.append(
                replace(
                    candidate,
                    builds=(*tried, *others),
                    drawn=one.drawn,
                    tried=one.tried,
                    smooth=by_build,
                )
            )
        return stay, out

    def drawn(
        self, candidates: Sequence[Candidate], progress: Progress | None, trace: Trace | None
    ) -> list[Candidate]:
        """Candidates with all draws of their chosen builds, traced if asked."""
        if trace is None and self.draws <= CHUNK:
            return list(candidates)
        begin(progress, "drawing builds")
        found = self.draw([c.best for c in candidates], self.draws, progress, trace)
        return [
            replace(c, drawn=d, tried={**c.tried, c.best: d})
            for c, d in zip(candidates, found, strict=True)
        ]


def _nominal(
    here: Stage,
    fits: Sequence[Fitted],
    read: Sequence[PartFigures],
    wanted: Sequence[Criterion],
    pairs: Sequence[tuple[int, str, tuple[str, ...]]],
    supplies: Supplies,
) -> tuple[list[Candidate], dict[str, tuple[Failed, ...]], dict[str, tuple[str, ...]], PartSide]:
    """Every build at the stated values: candidates by rank, parts that no build saves, parts of
    which no build has a value by every criterion, with what is missing, and the parts' figures.

    `supplies` is told what comes of each pack with each converter.
    """
    table = stack(read)
    events = here.events(table)
    timed = here.timed(table, events)
    own: dict[str, PartCost] = {}
    part_costs = []
    for one in fits:
        name = one.part.part
        if name not in own:
            own[name] = part_cost(one.part, here.own_cost, here.samplers[name])
        part_costs.append(with_addons(own[name], one.addons, here.own_cost, here.samplers))
    side = part_side(fits, part_costs, here.product, here.samplers, figures_read(here.product))
    names = [one.part.part for one in fits]
    builds: dict[str, list[Build]] = defaultdict(list)
    reasons: dict[str, list[list[Failed]]] = defaultdict(list)
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
            reasons[names[p]].append(faults)
            supplies.failed[paired(made)].append(faults)
        if plan.part.size:
            plans.append(plan)
            rows = plan.part, plan.sleep, plan.choice
            prepared.append(prepare(made, money, table, here.figures, timed, side, *rows))
    plan_of: dict[int, Plans] = {}
    unknown: dict[str, list[str]] = defaultdict(list)
    for plan, assessed in zip(
        plans,
        assess(prepared, here.own_cost, here.figures, wanted, marches=here.marches),
        strict=True,
    ):
        plan_of[id(assessed)] = plan
        on = paired(assessed.feed)
        for r, faults in enumerate(row_faults(assessed, side, here.own_cost)):
            name = names[int(assessed.part[r])]
            lacking = np.isnan(assessed.values[:, r, 0])
            if faults:
                reasons[name].append(faults)
                supplies.failed[on].append(faults)
            elif lacking.any():
                # what has no value by a weighted criterion has no score
                without = [c.name for c, no in zip(wanted, lacking, strict=True) if no]
                supplies.unpriced[on] = assessed.feed_cost.missing
                unknown[name] += assessed.feed_cost.missing or [f"{name}:{n}" for n in without]
            else:
                builds[name].append(Build(name, assessed, r))
                supplies.stood.add(on)
    candidates = []
    ruled_out = {}
    valueless = {}
    for name, part in {one.part.part: one.part for one in fits}.items():
        if not builds[name] and unknown[name]:
            valueless[name] = tuple(dict.fromkeys(unknown[name]))
            continue
        if not builds[name]:
            # a pack and a converter that do not go together say nothing of the part
            ruled_out[name] = nearest(reasons[name] or unfit)
            continue
        ordered = tuple(sorted(builds[name], key=lambda b: b.order))
        candidates.append(Candidate(part=part, builds=ordered, costs=part_costs, plans=plan_of))
    candidates.sort(key=lambda c: c.order)
    return candidates, ruled_out, valueless, side
