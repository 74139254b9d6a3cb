"""`gaps`: what to measure next, by what knowing it would be worth."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.decide.drawing import Progress
from advisor.decide.evaluate import Evaluation, evaluate
from advisor.decide.information import Worth, partial, perfect
from advisor.decide.left_out import LeftOut
from advisor.decide.ranks import first_place
from advisor.figures import Path
from advisor.model.draws import Instrument, Source, Trace
from advisor.studies.results import frame, invented, plain, warnings_of

if TYPE_CHECKING:
    import pandas as pd

DRAWS = 8000
NEAR = 0.001  # chance of being first from which a part's figures are asked about
SURE = 2.0  # standard errors that a worth must exceed to count
LEAST = 0.005  # points below which nothing is worth a measurement


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
    worth_it: bool
    """whether that is more than twice its error, and than 0.005 points"""
    action: str
    """what to do about it"""
    members: tuple[str, ...]
    """paths of a group's figures"""


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
    first: str | None
    """the part that leads at the stated values"""
    chosen: str | None
    """the part of the greatest mean score, which one takes as things stand"""
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
    warnings: tuple[str, ...]
    """what looks odd in the files"""

    def rows(self) -> list[dict[str, Any]]:
        """A row a figure or group, each kind the worthiest first."""
        return [plain(gap) for gap in (*self.figures, *self.groups)]

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
) -> Gaps:
    """What each uncertain figure is worth knowing before the choice.

    Parameters
    ----------
    draws : at least 100. seed, jobs, progress : as for `shortlist`.

    Raises
    ------
    FaultError
        When no pack of the product's choice states what a battery life needs.
    """
    trace: Trace = {}
    found = evaluate(catalogue, product, draws, seed, jobs, progress, trace)
    if not found.candidates:
        return _nothing(found)
    scores = found.scores()
    names = [c.part.part for c in found.candidates]
    chances = first_place(scores)
    best = int(scores.mean(axis=1).argmax())
    near = sorted({best, *np.nonzero(chances >= NEAR)[0].tolist()})
    rate = _rate(found)
    rivals = scores[near]
    asked = _asked(found, [names[i] for i in near], trace)
    figures = [_gap(source, partial(rivals, [trace[source]]), rate, ()) for source in asked]
    groups = []
    for group, members in _groups(asked).items():
        worth = partial(rivals, [trace[m] for m in members])
        groups.append(_gap(group, worth, rate, members))
    evpi = perfect(scores)
    figures.sort(key=lambda g: (-round(g.score, 9), g.path))
    groups.sort(key=lambda g: (-round(g.score, 9), g.path))
    return Gaps(
        product=product.product,
        seed=seed,
        draws=draws,
        invented=invented(found),
        currency=found.own_cost.currency,
        units=product.cost.units,
        first=names[0],
        chosen=names[best],
        evpi_score=evpi,
        evpi_money=None if rate is None else evpi * rate,
        figures=tuple(figures),
        groups=tuple(groups),
        advice=_advice(evpi, figures, groups),
        left_out=found.left_out,
        warnings=warnings_of(found),
    )


def _nothing(found: Evaluation) -> Gaps:
    product = found.product
    return Gaps(
        product=product.product,
        seed=found.seed,
        draws=found.draws,
        invented=invented(found),
        currency=found.own_cost.currency,
        units=product.cost.units,
        first=None,
        chosen=None,
        evpi_score=0.0,
        evpi_money=None,
        figures=(),
        groups=(),
        advice="Nothing fits, so no measurement decides anything.",
        left_out=found.left_out,
        warnings=warnings_of(found),
    )


def _rate(found: Evaluation) -> float | None:
    """Cost per unit that one point of the score is worth by the weights."""
    for criterion in found.criteria:
        if criterion.dimension == "money" and criterion.weight > 0:
            return abs(criterion.poor - criterion.good) / (100 * criterion.weight)
    return None


def _asked(found: Evaluation, near: Sequence[str], trace: Trace) -> list[Source]:
    """What is traced that a measurement or an enquiry could settle, of what may still win."""
    feeds = [c.best.assessed.feed for c in found.candidates if c.part.part in near]
    known = {*near, found.product.product}
    known |= {f.option.cell for f in feeds if f.option.cell is not None}
    known |= {f.converter_name for f in feeds if f.converter is not None}
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


def _gap(source: Source, worth: Worth, rate: float | None, members: Sequence[Path]) -> Gap:
    return Gap(
        path=str(source),
        score=worth.value,
        error=worth.error,
        money=None if rate is None else worth.value * rate,
        money_error=None if rate is None else worth.error * rate,
        worth_it=worth.value > max(SURE * worth.error, LEAST),
        action=f"measure all of {source} better, {len(members)} figures"
        if members
        else _action(source),
        members=tuple(map(str, members)),
    )


def _advice(evpi: float, figures: Sequence[Gap], groups: Sequence[Gap]) -> str:
    single = next((g for g in figures if g.worth_it), None)
    group = next((g for g in groups if g.worth_it), None)
    if single is not None and (group is None or single.score >= 0.5 * group.score):
        return f"First {single.action}."
    if group is not None:
        alone = "" if single is None else f" (alone, first {single.action})"
        return f"No one figure settles it; {group.action}{alone}."
    if evpi < LEAST:
        return "Nothing is worth measuring: the choice is the best in nearly every draw."
    return (
        f"Nothing is worth measuring by itself: knowing all would add {evpi:.2f} points, but no "
        "figure or group of figures shows a part of it beyond chance."
    )


def _action(source: Source) -> str:
    """What to do about a figure, in words."""
    if isinstance(source, Instrument):
        return f"calibrate {source.name}, whose gain many figures share"
    identity = source.document
    match source.keys:
        case ["kernels", kernel, point, what]:
            how = " with a better meter" if what == "current" else ""
            return f"measure the {what} of {kernel} at {point} of {identity}{how}"
        case ["operating-points", point, what]:
            return f"measure the {what.replace('-', ' ')} at {point} of {identity}"
        case ["sleep-states", state, "current", *place]:
            where = f" at {place[0]}" if place else ""
            return f"measure the sleep current in {state}{where} of {identity} with a better meter"
        case ["sleep-states", state, what, *_]:
            return f"measure the {what.replace('-', ' ')} of {state} of {identity}"
        case ["blocks", block, what]:
            word = "length" if what == "for" else what
            return f"measure the {word} of {block} of {identity}"
        case ["price" | "extras", *_]:
            return f"ask for a quotation for {identity}"
        case ["toolchain", "setup"]:
            return f"try the toolchain of {identity} for a day"
        case ["toolchain", "maturity", question]:
            return f'answer the question "{question}" on the toolchain of {identity}'
        case ["evidence", name, "gain"]:
            return f"calibrate what {name} of {identity} was taken with"
        case _:
            return f"find out {source.dotted} of {identity}"
