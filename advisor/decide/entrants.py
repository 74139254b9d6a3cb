"""Parts before any build of them: what screens them, what they lack, what else is read of them."""

from __future__ import annotations

from collections.abc import Mapping

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import Part
from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass, field
from advisor.decide.companions import Brought, Offer, beside_addons
from advisor.decide.costs import part_cost
from advisor.decide.lacking import criterion_missing
from advisor.decide.screens import Failed, Screened, screen
from advisor.decide.stage import Stage
from advisor.model.addon_set import ALONE, Companions
from advisor.model.companions import Fitted, fitted, with_companions
from advisor.model.tables import PartFigures


@dataclass(slots=True)
class Entrants:
    """The parts of a catalogue that builds are made of, and why the others are not.

    Attributes
    ----------
    fits, read : parts with the add-ons that they are tried with, each a row, and their figures.
    told : figures of each part without add-ons. screened : parts to the needs that they fail.
    set_aside : parts to the paths of figures that they lack. brought : what add-ons do for a part
    that is out for what they may bring. warnings : what looks odd.
    """

    fits: list[Fitted] = field(default_factory=list)
    read: list[PartFigures] = field(default_factory=list)
    told: list[PartFigures] = field(default_factory=list)
    screened: dict[str, tuple[Failed, ...]] = field(default_factory=dict)
    set_aside: dict[str, tuple[str, ...]] = field(default_factory=dict)
    brought: dict[str, Brought] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)


def entrants(
    catalogue: Catalogue, product: Product, parts: Mapping[str, Part], offer: Offer, here: Stage
) -> Entrants:
    """The parts (by their names) as they enter, at the stated values."""
    out = Entrants()
    for name in sorted(parts):
        part = parts[name]
        screening = screen(part, product)
        found = offer.brought(part, screening)
        own: tuple[str, ...] = ()
        if product.add_ons == "allowed" and found is None:
            # a figure that no add-on brings sets the part aside, whatever else they bring
            asked, own = beside_addons(screening)
            helped = offer.brought(part, asked) if own else None
            found, own = (helped, own) if helped is not None and helped.sets else (None, ())
        sets: tuple[Companions, ...] = (ALONE,)
        if product.add_ons == "allowed" and found is not None and found.sets:
            sets, screening = found.sets, Screened((), own)
            if not found.all_told:
                out.warnings.append(
                    f"{name}: of the sets of add-ons that bring what it lacks only the "
                    f"{len(sets)} smallest are tried"
                )
        elif found is not None:
            out.brought[name] = found
        if screening.failed:
            out.screened[name] = screening.failed
            continue
        figures, beside = _read(part, product, here)
        lacking = [*screening.missing, *beside]
        if lacking:
            out.set_aside[name] = tuple(dict.fromkeys(lacking))
            if set(lacking) != set(screening.missing):
                out.brought.pop(name, None)  # it would still lack the rest
            continue
        out.warnings += figures.warnings
        out.told.append(figures)
        for companions in sets:
            one = fitted(catalogue, part, companions)
            out.read.append(with_companions(figures, one, here.figures, here.samplers))
            out.fits.append(one)
    return out


def lacks(part: Part, product: Product, here: Stage) -> tuple[str, ...]:
    """Paths of figures that a part lacks of what the product needs, whatever else it fails."""
    _, beside = _read(part, product, here)
    return tuple(dict.fromkeys((*screen(part, product).missing, *beside)))


def _read(part: Part, product: Product, here: Stage) -> tuple[PartFigures, list[str]]:
    """(the figures of a part without add-ons, paths of those that it lacks; what the screens ask
    for not among them)."""
    sampler = here.samplers[part.part]
    figures = here.marches.profiles.of(part, here.figures, sampler)
    costs = part_cost(part, here.own_cost, sampler)
    return figures, [*figures.missing, *criterion_missing(part, product, costs.missing)]
