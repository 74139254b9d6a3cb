"""Who might lead and is not in the race as it stands, or is in it by an estimate.

A verdict is about the parts that are compared. It is not settled while a part that was set aside
for one figure would lead if that figure were as good as any other part's, while a part that lacks
only what a companion chip brings would lead without that need, or while a part that rests on
estimates may lead. The trials are at the stated values, so that they are on the generous side.
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
    for part, missing in evaluation.set_aside.items():
        if len(missing) == 1 and _at_its_best(evaluation, part, missing[0]) >= lead:
            out.append(f"{part}, set aside for {missing[0]}, could lead")
    if evaluation.product.add_ons == "allowed":
        for part in _lacking(evaluation):
            if _score(evaluation.catalogue, _without_needs(evaluation.product), part) >= lead:
                out.append(f"{part} could lead with a companion chip")
    return tuple(out)


def _score(catalogue: Catalogue, product: Product, part: str) -> float:
    """A part's score at the stated values; minus infinity where it does not fit."""
    found = evaluate(catalogue.only([part]), product).candidates
    return found[0].score if found else -np.inf


def _at_its_best(evaluation: Evaluation, part: str, missing: str) -> float:
    """A part's score with a missing figure as good as any other part's; infinite where no other
    part tells how good it may be."""
    catalogue, product = evaluation.catalogue, evaluation.product
    path = Path.parse(catalogue.documents[part].root, missing)
    if path.keys[0] == "kernels":
        filled, made = fill_missing(catalogue, product)
        there = any(one.part == part for one in made)
        return _score(filled, product, part) if there else np.inf
    rest = [p for name, p in sorted(catalogue.parts.items()) if name != part]
    stated_there = [x for p in rest if isinstance(x := _stated(p, path.keys), Quantity)]
    stated_there.sort(key=lambda quantity: quantity.nominal)
    scores = []
    # which way is better depends on the figure
    for value in dict.fromkeys((*stated_there[:1], *stated_there[-1:])):
        changed = _placed(catalogue.parts[part], path.keys, value)
        parts = {**catalogue.parts, part: changed}
        scores.append(_score(replace(catalogue, parts=parts), product, part))
    return max(scores, default=np.inf)


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
        return {**record, name: _placed(record[name], keys[1:], value)}
    field = name.replace("-", "_")
    return replace(record, **{field: _placed(getattr(record, field), keys[1:], value)})


def _lacking(evaluation: Evaluation) -> list[str]:
    """Parts that fail nothing but what some add-on brings."""
    brings = {
        f"features.{n}" for a in evaluation.catalogue.addons.values() for n in a.gives.features
    }
    brings |= {f"blocks.{n}" for a in evaluation.catalogue.addons.values() for n in a.gives.blocks}
    return [
        part
        for part, failed in evaluation.screened.items()
        if part not in evaluation.unbuilt and all(f.need in brings for f in failed)
    ]


def _without_needs(product: Product) -> Product:
    """The product without what an add-on could bring: features, and blocks that tasks use."""
    return replace(
        product,
        needs=replace(product.needs, features={}),
        workload=tuple(replace(task, uses={}) for task in product.workload),
    )
