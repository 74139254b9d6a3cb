"""Small records for the tests of the model; they describe nothing real."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from advisor.catalogue.load import load_run
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.decide.stage import Samplers
from advisor.model.packs import Feed, feed
from advisor.model.workload import ProductFigures, product_figures

CELL = {
    "nominal-voltage": "3.0 V",
    "capacity": "100 mAh",
    "voltage-curve": "{0: 3.2 V, 0.5: 3.0 V, 1: 2.4 V}",
    "resistance": "{0: 10 ohm, 1: 30 ohm}",
    "cut-off": "2.0 V",
    "temperature": "{-20 degC: {capacity: 0.6, resistance: 4}, "
    "20 degC: {capacity: 1, resistance: 1}}",
    "self-discharge": "2 %/year",
    "doubles-every": "10 K",
    "price": "{currency: EUR, breaks: {1: 1.00}}",
}
LINEAR = {
    "kind": "linear",
    "input": "{min: 1.9 V, max: 5.5 V}",
    "output": "{min: 1.2 V, max: 3.6 V}",
    "quiescent": "1 µA",
    "dropout": "150 mV",
    "max-output": "200 mA",
    "price": "{currency: EUR, breaks: {1: 0.30}}",
}
PRODUCT = {
    "life-target": "1 year",
    "rail": "2.5 V",
    "environment": "[{at: 20 degC, share: 1}]",
    "workload": "[{task: sample, every: 10 s, kernels: {crc: 1}}]",
    "supply-options": "{cells: [{cell: pill}], converters: [none]}",
    "priorities": "{battery-life: {weight: 1}}",
}


def written(kind: str, name: str, keys: Mapping[str, str]) -> str:
    """A file's text."""
    return f"{kind}: {name}\ninvented: true\n" + "".join(f"{k}: {v}\n" for k, v in keys.items())


def records(
    root: Path,
    product: Mapping[str, str] = PRODUCT,
    cells: Mapping[str, Mapping[str, str]] | None = None,
    converters: Mapping[str, Mapping[str, str]] | None = None,
    parts: Mapping[str, str] | None = None,
    kernels: Sequence[str] = ("crc",),
) -> tuple[Catalogue, Product]:
    """A catalogue of the given records, by id, and the product `probe`."""
    kinds = {"cells": cells or {"pill": CELL}, "converters": converters or {}}
    for folder in ("parts", *kinds):
        (root / folder).mkdir(parents=True, exist_ok=True)
    (root / "kernels.yaml").write_text("".join(f"{k}: {{work: a}}\n" for k in kernels))
    for folder, found in kinds.items():
        for name, keys in found.items():
            (root / folder / f"{name}.yaml").write_text(written(folder[:-1], name, keys))
    for name, text in (parts or {}).items():
        (root / f"parts/{name}.yaml").write_text(text)
    return load_run([root], written("product", "probe", product).encode())


def fed(
    inputs: tuple[Catalogue, Product], converter: str = "none", draws: int = 0
) -> tuple[Feed, ProductFigures]:
    """The product's first pack with a converter, and the product's figures."""
    catalogue, product = inputs
    samplers = Samplers(draws, 1, 0)
    figures = product_figures(product, samplers[product.product])
    option = product.supply_options.cells[0]
    return feed(
        option,
        None if option.cell is None else catalogue.cells[option.cell],
        None if converter == "none" else catalogue.converters[converter],
        figures,
        product.supply_options.reservoir,
        samplers,
    ), figures
