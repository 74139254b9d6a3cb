"""`weights`: where weights come from, what they mean in the product's units, what they decide."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass
from advisor.decide.clipping import clips
from advisor.decide.evaluate import Evaluation, evaluate
from advisor.decide.fronts import Offered, fronts
from advisor.decide.left_out import LeftOut
from advisor.decide.marches import Marches
from advisor.decide.unknown_weights import WEIGHTINGS, standings
from advisor.decide.weighing import (
    ACCEPTED,
    exchange,
    leads,
    order_weights,
    pair_weights,
    weighed,
)
from advisor.faults import Fault, FaultError, nearest
from advisor.model.draws import Array
from advisor.model.served import Services
from advisor.stages import Progress, begin
from advisor.studies.clipped import ClippedResult, clipped_results
from advisor.studies.results import (
    cautions_in_use,
    frame,
    invented,
    plain,
    warnings_of,
)
from advisor.studies.shortlist import DRAWS

if TYPE_CHECKING:
    import pandas as pd

METHODS = ("file", "order", "pairs")


@dataclass(frozen=True, slots=True)
class WeightRow:
    """A criterion's weight, of a sum of 1: in the file, and by the answers (None without any)."""

    criterion: str
    """its name"""
    stands: float
    """[of 1] its weight in the file"""
    weight: float
    """[of 1] its weight by the answers"""


@dataclass(frozen=True, slots=True)
class Consistency:
    """How well judgements by pairs agree."""

    greatest: float
    """the greatest eigenvalue of the judgements"""
    ratio: float
    """consistency ratio (Saaty 1980)"""
    accepted: bool
    """whether the ratio is at most 0.1"""
    triple: tuple[str, ...]
    """the three criteria whose judgements agree least"""
    discord: float
    """by what factor they disagree"""


@dataclass(frozen=True, slots=True)
class LeadRow:
    """A part and the smallest change of weights that brings it to the front (None: none does)."""

    part: str
    """the part that draws level"""
    l1: float | None
    """[of 1] sum of the changes of weights; null where no weights put it first"""
    weights: Mapping[str, float]
    """[of 1] criterion to its weight there"""


@dataclass(frozen=True, slots=True)
class StandingRow:
    """A part where nobody knows the weights (SMAA-2, Lahdelma & Salminen 2001)."""

    part: str
    """the part's id"""
    acceptability: float
    """[share] weightings that put it first by its expected score; ties are split"""
    central_weights: Mapping[str, float]
    """[of 1] criterion to the mean of the weightings that put it first; empty where none did"""
    confidence: float | None
    """[share] draws in which it is first under its central weights; null without draws, and for
    all but the three parts of the greatest acceptability"""


@dataclass(frozen=True, slots=True)
class UnknownWeights:
    """Whom the figures favour if nobody knew the weights: all weights are equally likely."""

    weightings: int
    """weights drawn, uniform over all that sum to 1"""
    draws: int
    """draws of the figures behind a confidence"""
    parts: tuple[StandingRow, ...]
    """the parts, the greatest acceptability first"""


@dataclass(frozen=True, slots=True)
class Weights:
    """Weights of a product, what they imply, and how firmly they decide."""

    product: str
    """the product's id"""
    method: str
    """where the weights come from: `file`, `order` or `pairs`"""
    invented: bool
    """whether anything behind the answer is demonstration data"""
    rows: tuple[WeightRow, ...]
    """the weights"""
    consistency: Consistency | None
    """of judgements by pairs"""
    exchange: tuple[str, ...]
    """what is worth what, in words; nothing of criteria of which one of the first five parts lies
    beyond an anchor"""
    no_exchange: tuple[str, ...]
    """criteria of which nothing is told there, with why"""
    clipped: tuple[ClippedResult, ...]
    """anchors beyond which differences count nothing, where ranked parts lie there"""
    winner_before: str | None
    """first by the weights in the file"""
    winner: str | None
    """first by these"""
    leads: tuple[LeadRow, ...]
    """the smallest change for each rival, the nearest first"""
    never_first: tuple[str, ...]
    """parts that lead under no weights"""
    unknown: UnknownWeights
    """the parts if nobody knew the weights"""
    left_out: tuple[LeftOut, ...]
    """what the answer does without: packs, converters, sleep states, points and parts"""
    cautions: tuple[str, ...]
    """what to mind with the cells in use"""
    warnings: tuple[str, ...]
    """what looks odd in the files"""
    texts: Mapping[str, str]
    """criterion to its weight as the file would have it"""

    def to_frame(self) -> pd.DataFrame:
        """A row a criterion."""
        return frame([plain(row) for row in self.rows])


def weights(
    catalogue: Catalogue,
    product: Product,
    *,
    order: Sequence[str] = (),
    pairs: Mapping[tuple[str, str], float] | None = None,
    draws: int = DRAWS,
    seed: int = 1,
    jobs: int = 1,
    progress: Progress | None = None,
    estimate_missing: bool = False,
    services: Services | None = None,
) -> Weights:
    """What a product's weights mean, or what weights follow from an order or from judgements.

    Parameters
    ----------
    order : the criteria, the most important first. pairs : how many times as important the first
        criterion is as the second, for every pair once.
    draws : of the figures, for the confidence in parts under unknown weights; 0 for none.
    seed : of the draws and the unknown weights. jobs : workers; the result does not depend on it.
    progress : told how many of the parts are drawn, of how many. estimate_missing : as for
        `shortlist`.

    Raises
    ------
    FaultError
        For an unknown criterion, a missing or repeated one, a missing pair, or both ways at once.
    """
    names = tuple(product.priorities)
    if faults := faults_of(product, order, pairs):
        raise FaultError(faults)
    consistency = None
    method = "file"
    new: Array | None = None
    if order:
        method = "order"
        by_rank = order_weights(len(names))
        new = np.array([by_rank[order.index(name)] for name in names])
    elif pairs:
        method = "pairs"
        new, consistency = _by_pairs(pairs, names)
    before = evaluate(
        catalogue,
        product,
        draws,
        seed,
        jobs,
        progress,
        estimate_missing=estimate_missing,
        marches=Marches(services, kept=0),
    )
    now = before.weights
    if new is None:
        new = now
    texts = {n: _text(w) for n, w in zip(names, new, strict=True)}
    changed = before
    if method != "file":
        by_answers = weighed(product, {n: float(t) for n, t in texts.items()})
        kept = before.stated.marches
        changed = evaluate(before.catalogue, by_answers, draws, seed, jobs, progress, marches=kept)
    offered = fronts(before, jobs, progress)
    begin(progress, "weighing")
    found = leads(before, offered, new)
    told, untold = _exchange(changed, new)
    return Weights(
        product=product.product,
        method=method,
        invented=invented(before),
        rows=tuple(
            WeightRow(n, float(a), float(b)) for n, a, b in zip(names, now, new, strict=True)
        ),
        consistency=consistency,
        exchange=told,
        no_exchange=untold,
        clipped=clipped_results(changed),
        winner_before=before.candidates[0].part.part if before.candidates else None,
        winner=changed.candidates[0].part.part if changed.candidates else None,
        leads=tuple(
            LeadRow(lead.part, lead.distance, lead.weights)
            for lead in sorted(
                (x for x in found if x.distance is not None),
                key=lambda x: (round(x.distance or 0.0, 9), x.part),
            )
        ),
        never_first=tuple(sorted(lead.part for lead in found if lead.distance is None)),
        unknown=_unknown(before, offered, draws, seed, jobs, progress),
        left_out=before.left_out,
        cautions=cautions_in_use(before),
        warnings=warnings_of(before),
        texts=texts,
    )


def pairs_of(product: Product) -> list[tuple[str, str]]:
    """Every pair of the product's criteria, in the order of the file."""
    return list(combinations(product.priorities, 2))


def _unknown(
    evaluation: Evaluation,
    offered: Sequence[Sequence[Offered]],
    draws: int,
    seed: int,
    jobs: int,
    progress: Progress | None,
) -> UnknownWeights:
    names = [c.name for c in evaluation.criteria]
    rows = []
    for one in standings(evaluation, offered, draws, seed, jobs, progress):
        central = [] if one.central is None else zip(names, one.central.tolist(), strict=True)
        rows.append(StandingRow(one.part, one.acceptability, dict(central), one.confidence))
    return UnknownWeights(WEIGHTINGS, draws, tuple(rows))


def _text(weight: float) -> str:
    """A weight as it stands in a file, of 100."""
    return f"{100 * weight:.4g}"


def faults_of(
    product: Product, order: Sequence[str], pairs: Mapping[tuple[str, str], float] | None
) -> list[Fault]:
    """Every fault of an order and of judgements, as of `weights`; no build is tried for it."""
    names, faults = tuple(product.priorities), list[Fault]()
    if order and pairs:
        faults.append(Fault("--judge", "an order and judgements", "one of the two"))
    if order:
        faults += _of_order(order, names)
    if pairs:
        faults += _of_pairs(pairs, names)
    return faults


def _of_order(order: Sequence[str], names: Sequence[str]) -> list[Fault]:
    faults = [
        Fault("--order", f'"{name}"', "a criterion of the product", nearest=nearest(name, names))
        for name in order
        if name not in names
    ]
    faults += [
        Fault("--order", f'"{name}" twice', "each criterion once")
        for name in dict.fromkeys(order)
        if order.count(name) > 1
    ]
    faults += [
        Fault("--order", f'no "{name}"', "every criterion of the product")
        for name in names
        if name not in order
    ]
    return faults


def _of_pairs(pairs: Mapping[tuple[str, str], float], names: Sequence[str]) -> list[Fault]:
    faults = [
        Fault("--judge", f'"{name}"', "a criterion of the product", nearest=nearest(name, names))
        for name in dict.fromkeys(n for pair in pairs for n in pair)
        if name not in names
    ]
    faults += [Fault("--judge", f"{a} against itself", "two criteria") for a, b in pairs if a == b]
    faults += [
        Fault("--judge", f"{value:g}", "a number above zero, such as 3 or 1/3")
        for value in pairs.values()
        if not 0 < value < np.inf
    ]
    for a, b in combinations(names, 2):
        given = ((a, b) in pairs) + ((b, a) in pairs)
        if given != 1:
            read = "nothing" if given == 0 else "two judgements"
            faults.append(Fault("--judge", f"{read} of {a} and {b}", "each pair judged once"))
    return faults


def _by_pairs(
    pairs: Mapping[tuple[str, str], float], names: Sequence[str]
) -> tuple[Array, Consistency]:
    matrix = np.ones((len(names), len(names)))
    for (a, b), value in pairs.items():
        i, j = names.index(a), names.index(b)
        matrix[i, j], matrix[j, i] = value, 1 / value
    found = pair_weights(matrix)
    triple = () if found.triple is None else tuple(names[i] for i in found.triple)
    return found.weights, Consistency(
        greatest=found.greatest,
        ratio=found.ratio,
        accepted=found.ratio <= ACCEPTED,
        triple=triple,
        discord=found.discord,
    )


def _exchange(found: Evaluation, weights: Array) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What one more of each criterion is worth, in money where a cost is weighed, and why nothing
    is told of the others: beyond an anchor more of it is worth nothing."""
    criteria = found.criteria
    beyond: dict[str, tuple[int, int]] = {}  # parts of the head of the list, and of how many
    for clip in clips(found):
        if clip.head:
            before = beyond.get(clip.criterion.name, (0, 0))[0]
            beyond[clip.criterion.name] = before + clip.head, clip.of
    weighed = [i for i, c in enumerate(criteria) if weights[i] > 0 and c.name not in beyond]
    untold = [
        _untold(c.name, weights[i] > 0, beyond) for i, c in enumerate(criteria) if i not in weighed
    ]
    money = [i for i in weighed if criteria[i].dimension == "money"]
    if len(weighed) < 2:
        alone = [f"{criteria[i].name}: no rate of exchange, as no other has one" for i in weighed]
        return (), (*untold, *alone)
    of = money[0] if money else max(weighed, key=lambda i: weights[i])
    out = []
    for i in weighed:
        if i != of:
            one, words = criteria[i].measure.step
            if criteria[i].dimension == "money":
                words = f"{criteria[i].unit} {words}"
            amount = criteria[of].shown(exchange(criteria, weights, of, i) * one)
            way = "more" if criteria[i].good > criteria[i].poor else "less"
            name = criteria[i].name
            out.append(f"{name}: {words} {way} is worth {amount} of {criteria[of].name}")
    return tuple(out), tuple(untold)


def _untold(name: str, counts: bool, beyond: Mapping[str, tuple[int, int]]) -> str:
    """Why nothing is told of a criterion."""
    if not counts:
        return f"{name}: no rate of exchange, as it weighs nothing"
    count, of = beyond.get(name, (0, 0))
    who = f"{count} of the first {of} {'lies' if count == 1 else 'lie'}"
    who = "the only part lies" if of == 1 else who
    return (
        f"{name}: no rate of exchange, as {who} beyond an anchor, where differences count nothing"
    )
