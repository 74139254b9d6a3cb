"""`gaps`: what to measure next, by what knowing it would be worth."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Hours, Product
from advisor.dataclass import dataclass
from advisor.decide.alternatives import alternatives
from advisor.decide.builds import Build
from advisor.decide.effort import Effort, action, effort, measurement
from advisor.decide.evaluate import Evaluation, evaluate
from advisor.decide.information import Worth, partial, perfect
from advisor.decide.left_out import LeftOut
from advisor.decide.marches import Marches
from advisor.decide.ranks import first_place
from advisor.decide.sample_information import COUNTS, sampled
from advisor.figures import Path
from advisor.model.draws import Instrument, Source, Trace, stream
from advisor.model.served import Services
from advisor.stages import Progress, begin
from advisor.studies.results import cautions_in_use, frame, invented, names_of, plain, warnings_of
from advisor.studies.shortlist import DRAWS as RANKED_BY

if TYPE_CHECKING:
    import pandas as pd

DRAWS = 8000
NEAR = 0.001  # chance of being first from which a part's figures are asked about
SURE = 2.0  # standard errors that a worth must exceed to count
LEAST = 0.005  # points below which nothing is worth a measurement where efforts are not weighed
SAMPLED = 6  # figures of which the worth of more measurements is worked out


@dataclass(frozen=True, slots=True)
class Sample:
    """What so many more measurements of a figure are worth, each as uncertain as the figure is."""

    measurements: int
    """how many more, independent of each other"""
    score: float
    """[points] what they are worth: EVSI"""
    error: float
    """[points] standard error of that"""
    worth_money: float | None
    """the same for all units; null where no cost is weighed or no units are stated"""
    effort_h: float
    """[h] an engineer's hours for them"""
    effort_money: float | None
    """what those cost; null without an engineer's rate"""
    net: float | None
    """what they are worth for all units, less what they cost"""


@dataclass(frozen=True, slots=True)
class Gap:
    """An uncertain figure, or a group of them, and what knowing it first is worth."""

    path: str
    """of the figure, or the group's name"""
    score: float
    """[points] what knowing it first is worth"""
    error: float
    """[points] standard error of that"""
    money: float | None
    """[per unit] the same, as the weights trade points for cost; null where no cost is weighed"""
    money_error: float | None
    """[per unit] standard error of that"""
    worth_money: float | None
    """the same for all units; null where no units are stated"""
    effort_h: float
    """[h] an engineer's hours for the measurement, or for all distinct ones of a group"""
    usual_hours: tuple[str, ...]
    """kinds of measurement whose hours in that are defaults: common practice, no source"""
    effort_money: float | None
    """what those cost; null without an engineer's rate"""
    net: float | None
    """what it is worth for all units, less what the measurement costs; null where either is"""
    worth_it: bool
    """whether its points exceed twice their error and its net gain is above 0; without a net gain,
    whether its points exceed that and 0.005 points"""
    action: str
    """what to do about it"""
    members: tuple[str, ...]
    """paths of a group's figures"""
    samples: tuple[Sample, ...]
    """of more measurements, for figures whose worth exceeds twice its error; at most six figures"""
    best_measurements: int | None
    """how many more of those gain most; null where none gains, or where there is no net gain"""


@dataclass(frozen=True, slots=True)
class Gaps:
    """What to measure next; EVPI is what knowing everything first would add."""

    product: str
    """the product's id"""
    seed: int
    """of the draws"""
    draws: int
    """number of them"""
    invented: bool
    """whether anything behind the answer is demonstration data"""
    currency: str
    """of every amount"""
    units: int | None
    """how many are made"""
    engineer_rate: float | None
    """[per hour] what an engineer's hour costs"""
    no_net: str | None
    """what lacks for a net gain, so that worth is judged by points alone; null where nothing"""
    usual_hours: tuple[str, ...]
    """kinds of measurement, of those worth something, whose hours are a default: common practice,
    no source"""
    first: str | None
    """the part that leads, which one takes as things stand"""
    chosen: str | None
    """the same"""
    fitting: int
    """how many parts fit"""
    evpi_score: float
    """[points] what knowing every figure first is worth"""
    evpi_money: float | None
    """[per unit] the same in money"""
    figures: tuple[Gap, ...]
    """one by one, the most worth first"""
    groups: tuple[Gap, ...]
    """of figures that one measurement tells together"""
    advice: str
    """in words"""
    left_out: tuple[LeftOut, ...]
    """what the answer does without: packs, converters, sleep states, points and parts"""
    cautions: tuple[str, ...]
    """what to mind with the cells in use"""
    warnings: tuple[str, ...]
    """what looks odd in the files"""

    def rows(self) -> list[dict[str, Any]]:
        """A row a figure or group, each kind the worthiest first; EVSI in a column a count."""
        return [_row(gap) for gap in (*self.figures, *self.groups)]

    def to_frame(self) -> pd.DataFrame:
        """The rows as a data frame."""
        return frame(self.rows())


def gaps(
    catalogue: Catalogue,
    product: Product,
    *,
    draws: int = DRAWS,
    seed: int = 1,
    jobs: int = 1,
    progress: Progress | None = None,
    estimate_missing: bool = False,
    services: Services | None = None,
) -> Gaps:
    """What each uncertain figure is worth knowing before the choice.

    Parameters
    ----------
    draws : at least 100. seed, jobs, progress, estimate_missing, services : as for
    `shortlist`.

    Raises
    ------
    FaultError
        When no pack of the product's choice states what a battery life needs.
    """
    trace: Trace = {}
    found = evaluate(
        catalogue,
        product,
        draws,
        seed,
        jobs,
        progress,
        trace,
        estimate_missing=estimate_missing,
        marches=Marches(services, kept=0),
        ranked_by=min(draws, RANKED_BY),  # so that both name the same part
    )
    if not found.candidates:
        return _nothing(found)
    scores = found.scores()
    names = [c.part.part for c in found.candidates]
    chances = first_place(scores)
    near = sorted({0, *np.nonzero(chances >= NEAR)[0].tolist()})
    begin(progress, "drawing builds")
    builds, others = alternatives(found, near, NEAR, jobs, trace)
    rivals = np.concatenate([scores[near], others])
    terms = _terms(found)
    asked = _asked(found, [*(found.candidates[i].best for i in near), *builds], trace)
    told = {source: measurement(source, catalogue) for source in asked}
    begin(progress, "valuing figures")
    known = {}
    for source in asked:
        known[source] = partial(rivals, [trace[source]])
        if progress is not None:
            progress(len(known), len(asked))
    worthiest = sorted(asked, key=lambda source: -round(known[source].value, 9))
    repeated = [s for s in worthiest if told[s].repeats and terms.counts(known[s])]
    figures = []
    begin(progress, "valuing more measurements")
    for source in worthiest:
        takes = effort([told[source]], terms.hours)
        samples: tuple[Sample, ...] = ()
        if source in repeated[:SAMPLED]:
            rng = stream(seed, "samples", str(source))
            x = trace[source]
            found_worths = sampled(rivals, x, float(x.std()), rng, known=known[source])
            samples = tuple(map(terms.sample, COUNTS, found_worths, [takes] * len(COUNTS)))
        figures.append(_gap(source, known[source], takes, terms, samples=samples))
    groups = []
    begin(progress, "valuing groups")
    for group, members in _groups(asked).items():
        part = group.document in catalogue.parts
        takes = effort([told[m] for m in members], terms.hours, part)
        worth = partial(rivals, [trace[m] for m in members])
        # to know all is worth no less than to know one of them; chance may say otherwise
        worth = max([worth, *(known[m] for m in members)], key=lambda one: one.value)
        groups.append(_gap(group, worth, takes, terms, members))
    evpi = perfect(np.concatenate([scores, others]))
    groups.sort(key=lambda g: (-round(g.score, 9), g.path))
    return Gaps(
        product=product.product,
        seed=seed,
        draws=draws,
        invented=invented(found),
        currency=found.own_cost.currency,
        units=product.cost.units,
        engineer_rate=terms.hour,
        no_net=terms.lacks,
        usual_hours=_usual([*figures, *groups]),
        first=names[0],
        chosen=names[0],
        fitting=len(names),
        evpi_score=evpi,
        evpi_money=None if terms.point is None else evpi * terms.point,
        figures=tuple(figures),
        groups=tuple(groups),
        advice=_advice(evpi, figures, groups, terms, found),
        left_out=found.left_out,
        cautions=cautions_in_use(found),
        warnings=warnings_of(found),
    )


def _nothing(found: Evaluation) -> Gaps:
    product, terms = found.product, _terms(found)
    return Gaps(
        product=product.product,
        seed=found.seed,
        draws=found.draws,
        invented=invented(found),
        currency=found.own_cost.currency,
        units=product.cost.units,
        engineer_rate=terms.hour,
        no_net=terms.lacks,
        usual_hours=(),
        first=None,
        chosen=None,
        fitting=0,
        evpi_score=0.0,
        evpi_money=None,
        figures=(),
        groups=(),
        advice="Nothing fits, so no measurement decides anything.",
        left_out=found.left_out,
        cautions=cautions_in_use(found),
        warnings=warnings_of(found),
    )


@dataclass(frozen=True, slots=True)
class _Terms:
    """What points and hours are worth: (cost per unit) a point, cost of an hour; None unknown."""

    point: float | None
    hour: float | None
    units: int | None
    hours: Hours

    @property
    def lacks(self) -> str | None:
        """What keeps a net gain from being told, in words."""
        missing = [
            words
            for value, words in (
                (self.point, "no cost is weighed"),
                (self.units, "no units are stated (cost.units)"),
                (self.hour, "no engineer's rate is stated (cost.engineer-rate)"),
            )
            if value is None
        ]
        return " and ".join(missing) or None

    def counts(self, worth: Worth) -> bool:
        """Whether a worth is more than chance, and, where nothing else says so, worth a look."""
        least = 0.0 if self.lacks is None else LEAST
        return worth.value > max(SURE * worth.error, least)

    def in_all(self, score: float) -> float | None:
        """Points as money for all units."""
        if self.point is None or self.units is None:
            return None
        return score * self.point * self.units

    def cost(self, hours: float) -> float | None:
        """Hours as money."""
        return None if self.hour is None else hours * self.hour

    def net(self, score: float, hours: float) -> float | None:
        """Expected net gain: what points are worth for all units, less what hours cost."""
        worth, cost = self.in_all(score), self.cost(hours)
        return None if worth is None or cost is None else worth - cost

    def sample(self, measurements: int, worth: Worth, each: Effort) -> Sample:
        """What so many more measurements are worth, each of that effort."""
        hours = measurements * each.hours
        return Sample(
            measurements=measurements,
            score=worth.value,
            error=worth.error,
            worth_money=self.in_all(worth.value),
            effort_h=hours,
            effort_money=self.cost(hours),
            net=self.net(worth.value, hours),
        )


def _terms(found: Evaluation) -> _Terms:
    hour = float(found.own_cost.engineer_rate[0])
    return _Terms(
        point=_rate(found),
        hour=hour if np.isfinite(hour) else None,
        units=found.product.cost.units,
        hours=found.product.measuring.hours,
    )


def _rate(found: Evaluation) -> float | None:
    """Cost per unit that one point of the score is worth by the weights."""
    for criterion in found.criteria:
        if criterion.dimension == "money" and criterion.weight > 0:
            return abs(criterion.poor - criterion.good) / (100 * criterion.weight)
    return None


def _asked(found: Evaluation, builds: Sequence[Build], trace: Trace) -> list[Source]:
    """What is traced that a measurement or an enquiry could settle, of builds that may yet win."""
    feeds = [build.assessed.feed for build in builds]
    known = {found.product.product, *(build.part for build in builds)}
    known |= {f.option.cell for f in feeds if f.option.cell is not None}
    known |= {record.converter for f in feeds for record, _ in f.bought}
    known |= {name for build in builds for name in build.addons}
    weights = Path(found.product.product) / "priorities"
    asked = [
        source
        for source in trace
        if isinstance(source, Instrument)
        or (source.document in known and not source.within(weights))
    ]
    return sorted(asked, key=str)


def _groups(asked: Sequence[Source]) -> dict[Path, list[Path]]:
    """Groups of two figures or more: everything of a document."""
    out: dict[Path, list[Path]] = defaultdict(list)
    for source in asked:
        if isinstance(source, Path):
            out[Path(source.document)].append(source)
    return {group: members for group, members in sorted(out.items()) if len(members) > 1}


def _gap(
    source: Source,
    worth: Worth,
    takes: Effort,
    terms: _Terms,
    members: Sequence[Path] = (),
    samples: tuple[Sample, ...] = (),
) -> Gap:
    net = terms.net(worth.value, takes.hours)
    gaining = [s for s in samples if s.net is not None and s.net > 0 and s.score > SURE * s.error]
    best = max(gaining, key=lambda s: s.net or 0.0, default=None)
    return Gap(
        path=str(source),
        score=worth.value,
        error=worth.error,
        money=None if terms.point is None else worth.value * terms.point,
        money_error=None if terms.point is None else worth.error * terms.point,
        worth_money=terms.in_all(worth.value),
        effort_h=takes.hours,
        usual_hours=tuple(sorted(takes.usual)),
        effort_money=terms.cost(takes.hours),
        net=net,
        worth_it=terms.counts(worth) and (net is None or net > 0),
        action=f"measure all of {source} better, {len(members)} figures"
        if members
        else action(source),
        members=tuple(map(str, members)),
        samples=samples,
        best_measurements=None if best is None else best.measurements,
    )


def _usual(rows: Sequence[Gap]) -> tuple[str, ...]:
    """Kinds whose default hours enter a net gain that is looked at."""
    kinds = {k for g in rows if g.score > SURE * g.error for k in g.usual_hours}
    return tuple(sorted(kinds))


def row_names() -> list[str]:
    """The names in a row of `Gaps.rows`."""
    return [*(n for n in names_of(Gap) if n != "samples"), *(f"evsi_{n}" for n in COUNTS)]


def _row(gap: Gap) -> dict[str, Any]:
    row = plain(gap)
    del row["samples"]
    by_count = {s.measurements: s.score for s in gap.samples}
    return {**row, **{f"evsi_{n}": by_count.get(n) for n in COUNTS}}


def _advice(
    evpi: float, figures: Sequence[Gap], groups: Sequence[Gap], terms: _Terms, found: Evaluation
) -> str:
    currency = found.own_cost.currency

    def gain(gap: Gap) -> float:
        return gap.score if gap.net is None else gap.net

    single = max((g for g in figures if g.worth_it), key=gain, default=None)
    group = max((g for g in groups if g.worth_it), key=gain, default=None)
    # a net gain has the lesser effort in it already; points alone do not
    enough = 0.5 if terms.lacks else 1.0
    if single is not None and (group is None or gain(single) >= enough * gain(group)):
        return f"First {single.action}."
    if group is not None:
        alone = "" if single is None else f" (alone, first {single.action})"
        return f"No one figure settles it; {group.action}{alone}."
    rows = [*figures, *groups]
    seen = (g for g in rows if g.net is not None and terms.counts(Worth(g.score, g.error)))
    nearest = max(seen, key=gain, default=None)
    if nearest is not None:
        return (
            f"Nothing is worth measuring. The nearest is to {nearest.action}: worth {currency} "
            f"{nearest.worth_money:.0f} in all, at {currency} {nearest.effort_money:.0f} of effort."
        )
    if evpi < LEAST:
        known, costs = terms.in_all(evpi), [g.effort_money for g in rows if g.effort_money]
        alone = "no other part fits, and " if len(found.candidates) == 1 else ""
        what = "its build" if alone else "the choice"
        text = f"Nothing is worth measuring: {alone}{what} is the best in nearly every draw"
        if known is not None and costs and known > min(costs):
            text += (
                f"; what knowing all would add, {currency} {known:.0f} in all, is too little a "
                "unit to be told from chance"
            )
        return text + "."
    return (
        f"Nothing is worth measuring by itself: knowing all would add {evpi:.2f} points, but no "
        "figure or group of figures shows a part of it beyond chance."
    )
