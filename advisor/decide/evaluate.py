"""The whole decision: every part against the product, its best build, its draws.

With draws, a part's score is the mean over them of its points, a draw that breaks a need or a limit
scoring nothing, and builds of a part compete by the same score on common random numbers (ties:
least battery current at the stated values, then the build's name). So the first part is also the
one of least expected regret. Without draws the scores are those of the stated values. Of parts of
equal score none goes before one that beats it by every criterion (`value.precedence`).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import field, replace

import numpy as np

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import Part
from advisor.catalogue.schema_product import Product
from advisor.catalogue.schema_supply import AddOn
from advisor.dataclass import dataclass
from advisor.decide.builds import Build
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
from advisor.decide.costs import PartCost, ProductCost
from advisor.decide.drawing import CHUNK, Drawn, draw_builds, draw_currents, mean_weights
from advisor.decide.entrants import entrants
from advisor.decide.hopes import hopes
from advisor.decide.lacking import feed_pairs
from advisor.decide.left_out import Gathered, LeftOut, Supplies
from advisor.decide.marches import Marches
from advisor.decide.missing import fill_missing, notes, with_stand_ins
from advisor.decide.ranks import DIGITS
from advisor.decide.screens import Failed
from advisor.decide.sides import PartSide
from advisor.decide.stage import Begun, Paired, Stage, stage
from advisor.decide.stated import stand
from advisor.decide.value import Criterion, criteria_of
from advisor.faults import Fault, FaultError
from advisor.model.draws import Array, Known, Trace
from advisor.model.meetings import longer_rests
from advisor.model.plan import Plans
from advisor.model.workload import ProductFigures
from advisor.stages import Progress, begin

FEW = 8  # parts that may be tried beside however few compete


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
    build averaged over spread lives, see `choosing`. criteria : by which it has values.
    """

    part: Part
    builds: tuple[Build, ...]
    costs: Sequence[PartCost]
    plans: Mapping[int, Plans]
    criteria: Sequence[Criterion]
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
    def order(self) -> tuple[float, tuple[float, ...], str]:
        """By which parts are ranked: the least is first."""
        return (-round(self.score, DIGITS), self.best.level(self.criteria), self.part.part)


@dataclass(frozen=True, slots=True)
class Evaluation:
    """Everything a shortlist, an explanation or a study along a lever reads.

    `candidates` come in order of rank; `screened` maps a part to the needs it fails, or to what
    keeps its nearest build out where it is one of the `unbuilt`, `held` one of these to sections of
    the product of which no figure lets it in; `set_aside` to the paths of
    figures it lacks; `brought` to what add-ons do for it, where it is out for what they may bring;
    `gathered` what `left_out` is made of. `weights` are the criteria's mean
    weights, (C,) shares of 1: the stated ones but where they are uncertain themselves. N = draws
    or 1. `stated` : the pass over the stated values. `hopes` : stated scores of parts as `hopes`
    has them, minus infinity where one is out; those that were looked at.
    """

    catalogue: Catalogue
    product: Product
    draws: int
    seed: int
    criteria: tuple[Criterion, ...]
    candidates: tuple[Candidate, ...]
    screened: Mapping[str, tuple[Failed, ...]]
    unbuilt: frozenset[str]
    held: Mapping[str, frozenset[str]]
    set_aside: Mapping[str, tuple[str, ...]]
    brought: Mapping[str, Brought]
    warnings: tuple[str, ...]
    figures: ProductFigures
    own_cost: ProductCost
    weights: Array
    gathered: Gathered
    stated: Stage
    hopes: Mapping[str, float]

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
        return np.array(
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
    hopes_too: bool = False,
    known: Known | None = None,
    without: Collection[Paired] = (),
    told: bool = True,
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
    hopes_too : whether parts that lack one figure are looked at as well, as `hopes` has them.
    known : draws of figures that other evaluations with this seed took, and those of this one.
    without : packs with the converters behind them that are not tried. told : whether it is asked
    for what rules parts out; where it is not, `screened` of the unbuilt is not to be told.

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
    pairs = [pair for pair in pairs if pair not in without] or pairs
    if not pairs:
        wanting = "this figure, without which no pack can be used"
        raise FaultError(tuple(Fault(path, "nothing", wanting) for path in missing))
    for option in product.supply_options.cells:
        if option.cell is not None:
            warnings += longer_rests(catalogue.cells[option.cell], here.figures)
    offer = Offer(catalogue, product)
    entered = entrants(catalogue, product, catalogue.parts, offer, here)
    warnings += entered.warnings
    set_aside, screened = entered.set_aside, entered.screened
    hopeful: dict[str, Part] = {}
    if draws and hopes_too:
        _, tried = hopes(catalogue, product, set_aside)
        # many of them are looked at where they are asked for, if they are
        hopeful = tried if len(tried) <= max(FEW, len(entered.fits)) else {}
    beside = entrants(catalogue, product, hopeful, offer, here)
    allowed = product.add_ons == "allowed"
    wanted = criteria_of(catalogue, product)
    candidates: list[Candidate] = []
    ruled_out: dict[str, tuple[Failed, ...]] = {}
    held: Mapping[str, frozenset[str]] = {}
    at_best: dict[str, float] = {}
    weights = mean_weights(product, wanted, draws, seed)
    if entered.fits:
        begin(progress, "working out builds")
        stood = stand(here, entered, beside, wanted, pairs, supplies, told)
        parts = {one.part.part: one.part for one in entered.fits}
        candidates = [
            Candidate(
                part=part,
                builds=stood.builds[name],
                costs=stood.costs,
                plans=stood.plans,
                criteria=wanted,
            )
            for name, part in parts.items()
            if name in stood.builds
        ]
        candidates.sort(key=lambda c: c.order)
        ruled_out, held = dict(stood.ruled_out), stood.held
        screened |= ruled_out
        set_aside |= stood.valueless
        at_best = {**dict.fromkeys(hopeful, -np.inf), **stood.hopes}
        if draws and candidates:
            run = _Run(
                here=here,
                criteria=wanted,
                weights=weights,
                seed=seed,
                jobs=jobs,
                draws=draws,
                begun=Begun({} if known is None else known),
            )
            candidates, unlikely = run.chosen(candidates, stood.side, progress)
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
        held=held,
        set_aside=set_aside,
        brought=entered.brought,
        warnings=tuple(dict.fromkeys(warnings)),
        figures=here.figures,
        own_cost=here.own_cost,
        weights=weights,
        stated=here,
        hopes=at_best,
        gathered=Gathered(
            supplies=supplies,
            read=tuple(entered.told),
            addons=tuple(offer.left_out()) if allowed else (),
            brought={name: in_words(one, allowed) for name, one in entered.brought.items()},
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
    begun: Begun = field(default_factory=Begun)

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
            self.begun,
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
        drawn = draw_currents(
            here.catalogue,
            here.product,
            list(likely.values()),
            few,
            self.seed,
            self.begun,
            here.marches,
        )
        current = {
            key: over / build.assessed.battery_a[build.row]
            for (key, build), over in zip(likely.items(), drawn, strict=True)
        }
        small = self.begun.stage(here.catalogue, here.product, few, self.seed, here.marches)
        packs = pack_spread(small, every)
        worth, points = spread_worth(every, current, packs, side, here, self.criteria, self.weights)
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
            np.split(points, ends),
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
