"""What joins the keys of rails, of loads on them, and of converters at light load."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from advisor.catalogue.records import Catalogue
from advisor.catalogue.rule import Breach, Rule
from advisor.catalogue.schema_product import Load, Product
from advisor.catalogue.schema_rails import NONE, Rail
from advisor.catalogue.schema_supply import Converter
from advisor.faults import nearest
from advisor.figures import Path


def _gates(product: Product) -> Iterator[tuple[Path, Load | Rail]]:
    """What may be switched off between uses."""
    for rail in product.rails:
        yield Path(product.product).child("rails", rail.rail), rail
    for path, load in product.every_load:
        if isinstance(load, Load):
            yield path, load


def _missing(product: Product, _: Catalogue) -> Iterator[Breach]:
    for rail in product.rails:
        at = f"rails.{rail.rail}"
        if not rail.converters:
            yield f"{at}.converters", "nothing", None
        if rail.voltage is None and any(name != NONE for name in rail.converters):
            yield f"{at}.voltage", "nothing", None
    for path, gate in _gates(product):
        if gate.gated and gate.capacitance is None:
            yield (path / "capacitance").dotted, "nothing", None


def _made(product: Product, _: Catalogue) -> Iterator[Breach]:
    for rail in product.rails:
        if rail.voltage is not None and rail.converters and set(rail.converters) == {NONE}:
            yield f"rails.{rail.rail}.voltage", rail.voltage.text, None


def _unknown(product: Product, _: Catalogue) -> Iterator[Breach]:
    names = tuple(rail.rail for rail in product.rails)
    for path, load in product.every_load:
        if load.on is not None and load.on not in names:
            read = f'"{load.on}"' if names else f'"{load.on}", and the product has no rails'
            yield (path / "rail").dotted, read, nearest(load.on, names)


def _unused(product: Product, _: Catalogue) -> Iterator[Breach]:
    used = {load.on for _, load in product.every_load}
    for rail in product.rails:
        if rail.rail not in used:
            yield f"rails.{rail.rail}", "none", None


def _standing(product: Product, _: Catalogue) -> Iterator[Breach]:
    gated = {rail.rail for rail in product.rails if rail.gated}
    for standing in product.standing_loads:
        if standing.on in gated:
            yield f"standing-loads.{standing.load}.rail", f'"{standing.on}", which is gated', None


def _decay(product: Product, _: Catalogue) -> Iterator[Breach]:
    for path, gate in _gates(product):
        if gate.decay is not None and gate.capacitance is None:
            yield (path / "decay").dotted, gate.decay.text, None


def _instant(product: Product, _: Catalogue) -> Iterator[Breach]:
    gated = {rail.rail for rail in product.rails if rail.gated}
    for path, load in product.every_load:
        if not isinstance(load, Load) or load.duration is None:
            continue
        if load.duration.nominal == 0 and (load.gated or load.on in gated):
            yield (path / "for").dotted, load.duration.text, None


def _standby(product: Product, _: Catalogue) -> Iterator[Breach]:
    for path, load in product.every_load:
        if not isinstance(load, Load) or load.standby is None or load.current is None:
            continue
        if load.standby.nominal > load.current.nominal:
            read = f"{load.standby.text}, and {load.current.text} in use"
            yield (path / "standby").dotted, read, None


def _converters(product: Product, catalogue: Catalogue) -> Iterator[Breach]:
    if not product.rails:
        return
    known = {*catalogue.converters, *catalogue.unread(), NONE}
    for rail in product.rails:
        for name in rail.converters:
            if name not in known:
                near = nearest(name, (NONE, *catalogue.converters))
                yield f"rails.{rail.rail}.converters.{name}", f'"{name}"', near


PRODUCT_FAULTS = (
    Rule("this figure: absent is never zero", _missing),
    Rule("a converter that makes this voltage", _made),
    Rule("one of the product's rails", _unknown),
    Rule("a load that stands on it", _unused),
    Rule("a rail that is never switched off", _standing),
    Rule("a capacitance beside it", _decay),
    Rule("a time above zero for what is switched on", _instant),
    Rule("no more than the load draws in use", _standby),
    Rule("an id that the catalogue defines", _converters, unknown=True),
)


def _linear(converter: Converter, _: Catalogue) -> Iterator[Breach]:
    if converter.kind == "linear" and converter.light_load is not None:
        yield "light-load", "a light-load mode of a linear converter", None


def _more_without_load(converter: Any, _: Catalogue) -> Iterator[Breach]:
    mode, quiescent = converter.light_load, converter.quiescent
    if mode is not None and quiescent is not None and mode.no_load.nominal > quiescent.nominal:
        yield "light-load.no-load", f"{mode.no_load.text}, above {quiescent.text}", None


CONVERTER_FAULTS = (
    Rule("light-load with the switching kinds", _linear),
    Rule("no more than the quiescent current, which flows without load too", _more_without_load),
)
