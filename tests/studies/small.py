"""A small part and its kernels, for tests that need little more than one figure to move."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from advisor.catalogue.load import load_run
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product


def part(
    name: str,
    time: str = "2 ms",
    kernel: str = "4 mA",
    sleep: str = "2 µA",
    breaks: str = "{1: 1.00}",
    setup: str = "4 h",
) -> str:
    """A part's file; each figure as text."""
    return f"""
part: {name}
invented: true
lifecycle: active
supply: {{min: 1.8 V, max: 3.6 V}}
temperature: {{min: -40 degC, max: 85 degC}}
evidence: {{bench: {{kind: bench, date: 2026-03-11}}}}
operating-points: {{run: {{idle-current: 1 mA, supply: 3.0 V, evidence: bench}}}}
kernels: {{crc: {{run: {{time: {time}, current: {kernel}, supply: 3.0 V, evidence: bench}}}}}}
sleep-states: {{ram-kept: {{current: {sleep}, wake-time: 0.1 ms, evidence: bench}}}}
price: {{currency: EUR, breaks: {breaks}}}
toolchain: {{setup: {setup}}}
"""


def loaded(root: Path, parts: Mapping[str, str], product: str) -> tuple[Catalogue, Product]:
    """A catalogue of parts, by id, and a product."""
    (root / "parts").mkdir(parents=True)
    (root / "kernels.yaml").write_text("crc: {work: one block}\n")
    for name, text in parts.items():
        (root / f"parts/{name}.yaml").write_text(text)
    return load_run([root], product.encode())


def loaded_files(root: Path, files: Mapping[str, str], product: str) -> tuple[Catalogue, Product]:
    """A catalogue of files, by their names below the root, and a product."""
    for name, text in files.items():
        path = root / f"{name}.yaml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    return load_run([root], product.encode())
