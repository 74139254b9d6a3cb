"""The keys of a product's life, against the same product without them."""

from __future__ import annotations

import re
import tempfile
from functools import partial
from pathlib import Path

from advisor.catalogue.load import load_run
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_hourly import MONTHS
from advisor.catalogue.schema_product import Product
from advisor.model.served import Services
from advisor.studies.shortlist import shortlist
from tests.bench.processes import RUN, wait
from tests.bench.registry import Row, Scale, benchmark, middle, timed, turn_about

ROOT = Path(__file__).parents[2]
CELLS = "[{cell: lm-thumb}, {cell: ls-pen}, {cell: alk-pen, series: 2}]"
CHARGED = "[{cell: fp-pen}, {cell: li-flat}]"
STORES = "[{cell: fp-pen}, {cell: li-flat}, {cell: sc-drum}]"
RAIL = "load: radio, current: 26 mA, for: 60 ms, cpu: idle"
SUN = (0.9, 1.6, 2.7, 3.9, 4.8, 5.3, 5.4, 4.7, 3.4, 2.0, 1.1, 0.7)  # kWh/m2 a day, invented
# each as (its name, what a text of the product becomes, lines of its own)
Key = tuple[str, dict[str, str], str]
KEYS: tuple[Key, ...] = (
    (
        "before use",
        {},
        "before-use:\n"
        "  - {phase: storage, for: 9 months, environment: [{at: 15 degC, share: 1}],"
        " state: disconnected}\n"
        "  - {phase: truck, for: 20 days, environment: [{at: 33 degC, share: 0.3},"
        " {at: 52 degC, share: 0.7}], state: asleep}\n",
    ),
    (
        "times",
        {"every: 1 s\n": "every: {day: 1 s, night: 2 s}\n"},
        "times:\n  - {time: day, share: 0.6}\n"
        "  - {time: night, share: 0.4, environment: [{at: -12 degC, share: 0.2},"
        " {at: 6 degC, share: 0.8}]}\n",
    ),
    ("random", {"every: 10 min\n": "every: 10 min\n    arrival: random\n"}, ""),
    ("retries", {RAIL: f"{RAIL}, retries: {{fails: 0.2, most: 4}}"}, ""),
    (
        "a second rail",
        {"cpu: idle": "cpu: idle, rail: radio"},
        "rails: [{rail: radio, voltage: 2.5 V, converters: [buck-a, buck-b], gated: false}]\n",
    ),
)
RECHARGE: Key = ("recharge", {}, "recharge: {every: 300 days, cost: 4.00}\n")
HARVEST: Key = (
    "harvest",
    {},
    "harvest:\n  panel: {area: 8 cm2, efficiency: 10 %, price: 1.10}\n"
    "  charger: {efficiency: 80 %, price: 0.60}\n  irradiation: {"
    + ", ".join(f"{m}: {x} kWh/m2" for m, x in zip(MONTHS, SUN, strict=True))
    + "}\n  spread: 45 %\n  persistence: 0.4\n  night: 15 h\n",
)


def text_of(cells: str, keys: tuple[Key, ...]) -> str:
    """The frost post with these cells and keys."""
    text = (ROOT / "profiles" / "frost-post.yaml").read_text("utf-8").replace(CELLS, cells)
    for name, changes, lines in keys:
        for before, after in changes.items():
            if before not in text:
                raise RuntimeError(f"{name}: the product has no {before!r}")
            text = text.replace(before, after, 1)
        text += lines
    return text


def asked(cells: str, keys: tuple[Key, ...]) -> tuple[Catalogue, Product]:
    """The frost post's catalogue and the post itself, with these cells and keys."""
    return load_run([ROOT / "catalog"], text_of(cells, keys).encode(), cached=True)


# what the shipped product that has them all is without them; each begins a line
ALONE = (
    (r"rails: .*\n", ""),
    (r"times:\n.*\n.*\n", "environment: [{at: 2 degC, share: 0.4}, {at: 18 degC, share: 0.6}]\n"),
    (r"before-use:.*\n.*\n", ""),
    (r"    every: \{day: 1 s, night: 20 s\}", "    every: 2 s"),
    (r"    every: \{day: 15 min, night: 6 h\}", "    every: 30 min"),
    (r"    arrival: random\n", ""),
    (r"        (rail|gated|capacitance|decay|retries): .*\n", ""),
    (r"  service: .*\n", ""),
    (r"harvest:\n(  .*\n)+", ""),
)
VARIANTS: tuple[tuple[str, str, tuple[Key, ...]], ...] = (
    ("used up", CELLS, KEYS),
    ("charged", CHARGED, (*KEYS, RECHARGE)),
    ("harvested into", STORES, (*KEYS, HARVEST)),
)


@benchmark("lives", "a shortlist with the keys of a product's life against one without")
def lives(scale: Scale) -> list[Row]:
    """As a user waits for it, cache warm, and the decision alone, in one process and warm."""
    return [*commands(scale), *decisions(scale)]


def commands(scale: Scale) -> list[Row]:
    """Whole processes, from the call to the exit."""
    rows = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        warm = {"ADVISOR_CACHE_DIR": str(folder / "warm")}
        shipped = (ROOT / "profiles" / "crate-call.yaml").read_text("utf-8")
        alone = shipped
        for before, after in ALONE:
            alone, count = re.subn(f"^{before}", after, alone, flags=re.MULTILINE)
            if not count:
                raise RuntimeError(f"crate-call has no {before}")
        cases = [
            (f"packs that are {name}", "frost-post", text_of(cells, keys), text_of(cells, ()))
            for name, cells, keys in VARIANTS
        ]
        cases.append(("crate-call, which has them all", "crate-call", shipped, alone))
        for case, (what, product, *texts) in enumerate(cases):
            calls = []
            for n, text in enumerate(texts):
                path = folder / f"{case}{n}" / f"{product}.yaml"
                path.parent.mkdir()
                path.write_text(text, encoding="utf-8")
                calls.append([*RUN, "shortlist", str(path), "--draws", str(scale.draws)])
                wait(calls[-1], folder, warm)
            timings = turn_about(scale.rounds, [partial(wait, c, folder, warm) for c in calls])
            with_, without = map(min, timings)
            rows.append(
                Row(f"the whole process of shortlist, {what}", with_, "without", without, 1.5)
            )
    return rows


def decisions(scale: Scale) -> list[Row]:
    """The decision alone: nothing is started, read or written, and stores are known already."""
    rows = []
    for name, cells, keys in VARIANTS:
        products = [asked(cells, keys), asked(cells, ())]
        known = Services()
        works = [partial(shortlist, *one, draws=scale.draws, services=known) for one in products]
        if not all(work().ranking for work in works):
            raise RuntimeError(f"{name}: nothing fits, which says nothing of the time")
        with_, without = turn_about(scale.rounds, [partial(timed, work) for work in works])
        said = ", ".join(key for key, _, _ in keys)
        what = f"the decision alone of packs that are {name}, with {said}"
        rows.append(Row(what, middle(with_), "without", middle(without), 1.5))
    return rows
