"""Who might lead and is not in the race as it stands, or is in it by an estimate.

A verdict is about the parts that are compared. It is not settled while a part that was set aside
for one figure would lead if that figure were as good as any other part's, or while a part that
rests on estimates may lead. A part that lacks what an add-on brings is compared with it, unless
the product refuses them: then what it would take is told where the part is. Where that add-on lacks
one figure itself, it is tried as if the figure were as good as it can be: it costs nothing, draws
nothing, takes no time. The trials are at the stated values, so that they are on the generous side.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from advisor.catalogue.schema_parts import Price
from advisor.catalogue.schema_product import Product
from advisor.catalogue.schema_supply import AddOn
from advisor.decide.evaluate import Evaluation, evaluate
from advisor.decide.hopes import hopes
from advisor.figures import Path
from advisor.model.draws import Array
from advisor.quantities import exact

COLDEST = -273.15  # degC; as far on the other side of zero nothing works either
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
    out += _with_addons(evaluation, lead)
    best = _at_their_best(evaluation)
    for part, missing in evaluation.set_aside.items():
        if len(missing) == 1 and best[part] >= lead:
            out.append(f"{_helped(evaluation, part)}{_with_one_figure(missing[0])}")
    return tuple(out)


def hoped(missing: str, told: Sequence[str]) -> bool:
    """Whether the part that was set aside for one figure, by its path, is among those that could
    lead."""
    return any(one.endswith(_with_one_figure(missing)) for one in told)


def _with_one_figure(missing: str) -> str:
    return f", missing {missing}, could lead"


def _helped(evaluation: Evaluation, part: str) -> str:
    """A part that was set aside for one figure, with the add-ons of its best build were it as good
    as any other part's."""
    if evaluation.product.add_ons != "allowed":
        return part
    aside = {part: evaluation.set_aside[part]}
    _, tried = hopes(evaluation.catalogue, evaluation.product, aside)
    there = replace(evaluation.catalogue, parts=tried)
    found = evaluate(there, evaluation.product, stated=evaluation.stated).candidates
    addons = found[0].addons if found else ()
    return f"{part} with {' and '.join(addons)}" if addons else part


def _with_addons(evaluation: Evaluation, lead: float) -> Iterator[str]:
    """Parts that fail a need and could lead with an add-on that lacks one figure, add-on by add-on:
    the best of them."""
    catalogue, product = evaluation.catalogue, evaluation.product
    out = {name: catalogue.parts[name] for name in evaluation.screened}
    for one in evaluation.gathered.addons if out else ():
        path = one.why.removeprefix("lacks ")
        addon = catalogue.addons[one.id]
        keys = Path.parse(catalogue.documents[one.id].root, path).keys
        best = _at_best(addon, keys, product) if path != one.why and ", " not in path else None
        if best is None:
            continue
        there = replace(catalogue, parts=out, addons={**catalogue.addons, one.id: best})
        found = [c for c in evaluate(there, product).candidates if one.id in c.addons]
        ahead = [c.part.part for c in found if c.score >= lead]
        if ahead:
            more = f" (and {len(ahead) - 1} more parts)" if len(ahead) > 1 else ""
            yield f"{ahead[0]} with {one.id}, missing {path}, could lead{more}"


def _at_best(addon: AddOn, keys: tuple[str, ...], product: Product) -> AddOn | None:
    """An add-on with the figure behind keys as good as it can be; None where none is best."""
    price = addon.price or Price(currency=product.cost.currency)
    match keys:
        case ["standing"]:
            return replace(addon, standing=exact(0.0, "current"))
        case ["setup"]:
            return replace(addon, setup=exact(0.0, "time"))
        case ["board-area"]:
            return replace(addon, board_area=exact(0.0, "area"))
        case ["price", "breaks"]:
            return replace(addon, price=replace(price, breaks={1: exact(0.0, "money")}))
        case ["price", "lead-time"]:
            return replace(addon, price=replace(price, lead_time=exact(0.0, "time")))
        case ["temperature", end]:
            widest = exact(-COLDEST if end == "max" else COLDEST, "temperature")
            return replace(addon, temperature=replace(addon.temperature, **{end: widest}))
        case ["lifecycle"] if product.needs.lifecycle:
            return replace(addon, lifecycle=product.needs.lifecycle[0])
        case ["gives", "blocks", name, what]:
            block = addon.gives.blocks[name]
            block = (
                replace(block, duration=exact(0.0, "time"))
                if what == "for"
                else replace(block, current=exact(0.0, "current"))
            )
            blocks = {**addon.gives.blocks, name: block}
            return replace(addon, gives=replace(addon.gives, blocks=blocks))
    return None


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
