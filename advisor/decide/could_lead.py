"""Who might lead and is not in the race as it stands, or is in it by an estimate.

A verdict is about the parts that are compared. It is not settled while a part that was set aside
for one figure would lead if that figure were as good as any other part's, or while a part that
rests on estimates may lead. (A part that lacks what an add-on brings is compared with it, unless
the product refuses them: then what it would take is told where the part is.) The trials are at the
stated values, so that they are on the generous side.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from advisor.decide.evaluate import Evaluation, evaluate
from advisor.decide.hopes import hopes
from advisor.model.draws import Array

MAY = 0.01  # chance of leading from which a part that rests on estimates counts


def could_lead(evaluation: Evaluation, chances: Array) -> tuple[str, ...]:
    """Parts that could lead, each with what that rests on, in words.

    Parameters
    ----------
    chances : (P,) share of the draws in which each candidate leads.
    """
    lead = evaluation.candidates[0].score
    out = []
    for candidate, chance in zip(evaluation.candidates, chances.tolist(), strict=True):
        guessed = evaluation.catalogue.estimated.get(candidate.part.part, ())
        if guessed and chance >= MAY:
            out.append(f"{candidate.part.part} rests on estimates ({', '.join(guessed)})")
    best = _at_their_best(evaluation)
    for part, missing in evaluation.set_aside.items():
        if len(missing) == 1 and best[part] >= lead:
            out.append(f"{part}, missing {missing[0]}, could lead")
    return tuple(out)


def _at_their_best(evaluation: Evaluation) -> dict[str, float]:
    """Scores of the parts set aside for one figure, were it as good as any other part's, at the
    stated values: minus infinity where one is out even so, infinite where no other part tells how
    good it may be."""
    names, tried = hopes(evaluation.catalogue, evaluation.product, evaluation.set_aside)
    known = dict(evaluation.hopes)
    rest = {name: part for name, part in tried.items() if name not in known}
    if rest:
        there = replace(evaluation.catalogue, parts=rest)
        found = evaluate(there, evaluation.product, stated=evaluation.stated).candidates
        known |= {**dict.fromkeys(rest, -np.inf), **{c.part.part: c.score for c in found}}
    return {
        part: max((known[name] for name in some), default=np.inf) for part, some in names.items()
    }
