"""Catalogues, products, notes and records with changes in them, through every command."""

from __future__ import annotations

import random
from pathlib import Path

from advisor.catalogue.shipped import catalogue_folder, product_files
from tests.fuzz.oracle import Bench
from tests.fuzz.trees import changed

PARTS = ("quorvane-tib", "ostrel-yab", "tessimur-rud", "vantle-gaf")
PRODUCTS = ("frost-post", "barrel-tag", "valve-driver")
FORMS = ("table", "json", "csv")
SLOW = 0.02  # share of cases through a command that takes a second or more


def furnish(base: Path) -> None:
    """A catalogue of a few parts and all else, in the folder that all cases share."""
    for path in sorted(catalogue_folder().rglob("*.yaml")):
        if path.parent.name == "parts" and path.stem not in PARTS:
            continue
        at = base / "catalog" / path.relative_to(catalogue_folder())
        at.parent.mkdir(parents=True, exist_ok=True)
        at.write_bytes(path.read_bytes())


def _targets(base: Path) -> list[Path]:
    return sorted((base / "catalog").rglob("*.yaml"))


def place(rng: random.Random, bench: Bench) -> tuple[str, list[str]]:
    """A product and the folders of a catalogue, with changes in a file or two of them."""
    name = rng.choice(PRODUCTS)
    product = bench.folder / f"{name}.yaml"
    text = product_files()[name].read_text("utf-8")
    count = rng.choice((1, 1, 1, 2))
    into_product = rng.random() < 0.5
    product.write_bytes(changed(rng, text) if into_product else text.encode())
    (bench.folder / "mine").mkdir()
    for path in rng.sample(_targets(bench.base), count - into_product):
        at = bench.folder / "mine" / path.relative_to(bench.base / "catalog")
        if rng.random() < 0.03:
            at = at.with_name(rng.choice(("x.yaml", "a b.yaml", "é.yaml", "x.yml", ".x.yaml")))
        at.parent.mkdir(parents=True, exist_ok=True)
        at.write_bytes(changed(rng, path.read_text("utf-8")))
    folders = ["--catalog", str(bench.base / "catalog")]
    if any((bench.folder / "mine").iterdir()):
        folders += ["--catalog", "mine"]
    return product.name, folders


def calls(rng: random.Random, product: str) -> list[str]:
    """A command for a product."""
    part, other = rng.sample(PARTS, 2)
    form = ["--format", rng.choice(FORMS)]
    draws = ["--draws", rng.choice(("0", "0", "7", "40"))]
    if rng.random() < SLOW:
        name = Path(product).stem
        along = ["--along", f"{name}:cost.units=100:10000"]
        return rng.choice(
            (
                ["report", product, "-o", "out." + rng.choice(("html", "md", "xlsx")), *draws],
                ["gaps", product, "--draws", "100", *form],
                ["outlook", product, part, "--points", "3", *along, *draws, *form],
                ["outlook", product, "--points", "3", "--plot", "out.svg", *along, *draws, *form],
                ["tipping", product, "--points", "1", "--lever", f"{name}:cost.units", *form],
                ["tipping", product, "--points", "1", "--lever", f"{part}:price.breaks.1", *form],
            )
        )
    return rng.choice(
        (
            *((["shortlist", product, *draws, *form],) * 6),
            ["shortlist", product, "--estimate-missing", *draws, *form],
            ["shortlist", product, *draws, *form, "-o", "out.txt"],
            *((["explain", product, part, *draws, *form],) * 3),
            ["explain", product, part, "--over", other, *draws, *form],
            ["weights", product, *draws, *form],
            ["weights", product, *draws, "--order", "battery-life,toolchain,bring-up", *form],
            ["product", "check", product, *form],
            ["catalog", "check", *form],
            ["catalog", "list", *form],
            ["catalog", "show", part, *form],
            ["catalog", "show", "lm-thumb", *form],
            ["compare", *form],
            ["compare", part, other, "--at-clock", "16 MHz", *form],
            ["decide", product, part, "--because", "why not", *draws],
            ["decide", product, part, "--because", "why not", *draws, "-o", "out.yaml"],
        )
    )


def yaml(rng: random.Random, bench: Bench) -> None:
    """One case: changed files, one command."""
    if rng.random() < 0.06:
        record(rng, bench)
        return
    product, folders = place(rng, bench)
    given = [*calls(rng, product), *folders]
    if rng.random() < 0.05 and product in given:
        data = (bench.folder / product).read_bytes()
        bench.call(*("-" if word == product else word for word in given), stdin=data)
        return
    said = bench.call(*given)
    if given[0] == "decide" and "-o" in given and said.code == 0:
        # what is written down can be read again
        again = bench.call("revisit", "out.yaml", "--product", product, *folders)
        if again.code == 2:
            bench.fail(f"a record that is refused: {again.err[-600:].decode(errors='replace')}")


def record(rng: random.Random, bench: Bench) -> None:
    """A decision on record, changed, and revisited."""
    folders = ["--catalog", str(bench.base / "catalog")]
    name = rng.choice(PRODUCTS)
    draws = ["--draws", "9"]
    said = bench.call("decide", name, "quorvane-tib", "--because", "x", *draws, *folders)
    if said.code or not said.out:
        return
    data = changed(rng, said.out.decode())
    (bench.folder / "record.yaml").write_bytes(data)
    bench.call("revisit", "record.yaml", *folders, "--format", rng.choice(FORMS))
