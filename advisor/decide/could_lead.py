"""Who might lead and is not in the race as it stands, or is in it by an estimate.

A verdict is about the parts that are compared. It is not settled while a part that was set aside
for one figure would lead if that figure were as good as any other part's, or while a part that
rests on estimates may lead. (A part that lacks what an add-on brings is compared with it, unless
the product refuses them: then what it would take is told where the part is.) The trials are at the
stated values, so that they are on the generous side.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from advisor.catalogue.records import Catalogue, stated
from advisor.catalogue.schema_parts import Part
from advisor.catalogue.schema_product import Product
from advisor.decide.evaluate import Evaluation, evaluate
from advisor.decide.missing import fill_missing
from advisor.decide.stage import Stage
from advisor.figures import Path
from advisor.model.draws import Array
from advisor.quantities import Quantity

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


def _scores(
    catalogue: Catalogue, product: Product, here: Stage, parts: Mapping[str, Part]
) -> dict[str, float]:
    """Scores of parts, by their keys, at the stated values; minus infinity where one is out."""
    if not parts:
        return {}
    tried = {name: replace(part, part=name) for name, part in parts.items()}
    found = evaluate(replace(catalogue, parts=tried), product, stated=here).candidates
    return {**dict.fromkeys(parts, -np.inf), **{c.part.part: c.score for c in found}}


def _at_their_best(evaluation: Evaluation) -> dict[str, float]:
    """Scores of the parts set aside for one figure, were it as good as any other part's; infinite
    where no other part tells how good it may be."""
    catalogue, product = evaluation.catalogue, evaluation.product
    out: dict[str, float] = {}
    tried: dict[str, Part] = {}
    filled: Catalogue | None = None
    for name, missing in evaluation.set_aside.items():
        if len(missing) != 1:
            continue
        out[name] = np.inf
        part = catalogue.parts[name]
        keys = Path.parse(catalogue.documents[name].root, missing[0]).keys
        if keys[0] == "kernels":
            filled = filled or fill_missing(catalogue, product, evaluation.set_aside.keys())
            if filled.estimated.get(name):
                tried[f"{name} 0"] = filled.parts[name]
            continue
        there = [p for other, p in sorted(catalogue.parts.items()) if other != name]
        values = [x for p in there if isinstance(x := _stated(p, keys), Quantity)]
        values.sort(key=lambda quantity: quantity.nominal)
        # which way is better depends on the figure
        for n, value in enumerate(dict.fromkeys((*values[:1], *values[-1:]))):
            tried[f"{name} {n}"] = _placed(part, keys, value)
    for key, score in _scores(catalogue, product, evaluation.stated, tried).items():
        name = key.partition(" ")[0]
        out[name] = score if np.isinf(out[name]) and out[name] > 0 else max(out[name], score)
    return out


def _stated(part: Part, keys: tuple[str, ...]) -> object:
    try:
        return stated(part, keys)
    except AttributeError:
        return None


def _placed(record: Any, keys: tuple[str, ...], value: object) -> Any:
    """A record with a value behind keys."""
    if not keys:
        return value
    name = keys[0]
    if isinstance(record, Mapping):
        return {**record, name: _placed(record.get(name), keys[1:], value)}
    field = name.replace("-", "_")
    return replace(record, **{field: _placed(getattr(record, field), keys[1:], value)})
