"""Parts that were set aside for one figure, as they would be were it as good as any other's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from advisor.catalogue.records import Catalogue, stated
from advisor.catalogue.schema_parts import Part
from advisor.catalogue.schema_product import Product
from advisor.decide.missing import fill_missing
from advisor.figures import Path
from advisor.quantities import Quantity

Hopes = dict[str, tuple[str, ...]]


def hopes(
    catalogue: Catalogue, product: Product, set_aside: Mapping[str, tuple[str, ...]]
) -> tuple[Hopes, dict[str, Part]]:
    """Of each part that lacks one figure alone the names under which it is tried, and these parts.

    A part that no other tells how good it may be has none. No id holds a blank, so that no name is
    an id.
    """
    out: Hopes = {}
    tried: dict[str, Part] = {}
    filled: Catalogue | None = None
    for name, missing in set_aside.items():
        if len(missing) != 1:
            continue
        part = catalogue.parts[name]
        keys = Path.parse(catalogue.documents[name].root, missing[0]).keys
        mine: list[Part] = []
        if keys[0] == "kernels":
            filled = filled or fill_missing(catalogue, product, set_aside.keys())
            if filled.estimated.get(name):
                mine = [filled.parts[name]]
        else:
            there = [p for other, p in sorted(catalogue.parts.items()) if other != name]
            told = [_stated(p, keys) for p in there]
            values = [x for x in told if isinstance(x, Quantity)]
            values.sort(key=lambda quantity: quantity.nominal)
            # which way is better depends on the figure; words have no order
            ends = dict.fromkeys((*values[:1], *values[-1:]))
            words = dict.fromkeys(x for x in told if isinstance(x, str))
            mine = [_placed(part, keys, value) for value in (*ends, *words)]
        out[name] = tuple(f"{name} {n}" for n in range(len(mine)))
        tried |= {n: replace(one, part=n) for n, one in zip(out[name], mine, strict=True)}
    return out, tried


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
