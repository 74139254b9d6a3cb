"""Cases whose answers are kept: the shipped products, documents that state every key in many
settings, random products, and the studies of a few of them. All but the first are nothing real."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from advisor.catalogue.load import load_run
from advisor.catalogue.places import catalogue_folder, product_files
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.decide.evaluate import evaluate
from advisor.decide.family_plans import solve
from advisor.decide.fronts import fronts
from advisor.decide.robustness import firmness
from advisor.studies.explain import explained
from advisor.studies.family import family
from advisor.studies.gaps import gaps
from advisor.studies.outlook import outlook
from advisor.studies.results import plain
from advisor.studies.shortlist import summarise
from advisor.studies.tipping import tipping
from advisor.studies.weights import weights
from tests.decide import test_limits as limits
from tests.decide.family_judge import small
from tests.decide.random_catalogues import draft, lacking, several, unsure
from tests.decide.small_families import drawn
from tests.studies import every_key
from tests.studies.small import loaded_files
from tests.studies.small_family import family_run, write_family
from tests.studies.test_family import run_of

Inputs = tuple[Catalogue, Product]
Case = Callable[[Path], Any]  # from an empty folder to a plain answer

EVERY = {
    "parts/probe-part": every_key.PART,
    "cells/probe-cell": every_key.CELL,
    "cells/probe-charged": every_key.CHARGED,
    "cells/probe-cap": every_key.LEAKING,
    "converters/probe-ldo": every_key.LINEAR,
    "converters/probe-sw": every_key.SWITCHING,
    "addons/probe-add": every_key.ADDON,
    "asked/probe": every_key.PRODUCT,
    **{f"asked/{name}": text for name, text in every_key.HARVESTED.items()},
}
# (file, text, what stands in its place) of the documents that state every key
Texts = tuple[tuple[str, str, str], ...]


def answer(inputs: Inputs, draws: int, *, over: bool = True, estimated: bool = False) -> Any:
    """The shortlist, the first part and the second one explained, and the builds of the front."""
    found = evaluate(inputs[0], inputs[1], draws, 1, estimate_missing=estimated)
    firm = firmness(found)
    out = {"shortlist": plain(summarise(found, firm))}
    first = found.candidates
    if first:
        rival = first[1] if over and len(first) > 1 else None
        out["first"] = plain(explained(found, 0, rival, firm))
        out["last"] = plain(explained(found, len(first) - 1, None, firm))
    if first and over and draws:
        out["front"] = [
            [[offered.build.name, list(offered.worth)] for offered in one] for one in fronts(found)
        ]
    return out


def every(
    folder: Path,
    product: str,
    changes: Iterable[str] = (),
    texts: Texts = (),
    more: Mapping[str, str] | None = None,
) -> Inputs:
    """The documents that state every key, some texts replaced, some files beside them."""
    files = {**EVERY, **(more or {})}
    for name, old, new in texts:
        assert files[name].count(old) >= 1, (name, old)
        files[name] = files[name].replace(old, new)
    for name, text in files.items():
        path = folder / f"{name}.yaml"
        path.parent.mkdir(exist_ok=True, parents=True)
        path.write_text(text, "utf-8")
    for name, text in every_key.HOURS.items():
        (folder / "asked" / name).write_text(text, "utf-8")
    root = folder / "catalogue"
    root.mkdir()
    for kind in ("parts", "cells", "converters", "addons"):
        (folder / kind).rename(root / kind)
    (root / "kernels.yaml").write_text(every_key.KERNELS, "utf-8")
    return load_run([root], folder / f"asked/{product}.yaml", tuple(changes))


RIVAL = {
    "parts/probe-rival": every_key.PART.replace("part: probe-part", "part: probe-rival")
    .replace("maker: Probe", "maker: Other")
    .replace("idle-current: 1.1(1) mA", "idle-current: 0.7(1) mA")
    .replace("time: 0.2(1) ms", "time: 0.5(2) ms")
    .replace("1: 1.42, 100: 0.98", "1: 0.90, 100: 0.80")
    .replace("likely: 3 h, high: 8 h", "likely: 6 h, high: 20 h")
}
CHARGED = (
    "probe:supply-options.cells=[{cell: probe-charged}]",
    "probe:cost.unit-cost-limit=90",
)
BARE = (
    # a cell of few keys, and a part that sleeps in no state of its own
    ("cells/probe-cell", "self-discharge: 1.5(3) %/year\ndoubles-every: 10 K\n", ""),
    ("cells/probe-cell", "shelf-life: 12 years\ndischarge-to: 90 %\n", ""),
    ("cells/probe-cell", "two-well: {c: 0.9, k: 4 /h}\n", ""),
    ("cells/probe-cell", "resistance: {0: 0.5 ohm, 0.5: 1 ohm, 1: 3 ohm}", "resistance: 1 ohm"),
)
NO_WELL = (("cells/probe-cell", "two-well: {c: 0.9, k: 4 /h}\n", ""),)
NO_RESERVOIR = (
    (
        "asked/probe",
        "  reservoir: {capacitance: 20 uF, esr: 0.5 ohm, leakage: 0.5 µA, price: 0.20}\n",
        "",
    ),
)
SIMPLE = (  # of one time, one rail and nothing before use
    (
        "asked/probe",
        every_key.PRODUCT[
            every_key.PRODUCT.index("rails:\n") : every_key.PRODUCT.index("environment:")
        ],
        "",
    ),
    (
        "asked/probe",
        every_key.PRODUCT[
            every_key.PRODUCT.index("times:\n") : every_key.PRODUCT.index("recharge:")
        ],
        "",
    ),
    ("asked/probe", ", rail: far", ""),
    ("asked/probe", ", rail: near", ""),
)
# name: (product, changes, texts)
SETTINGS: dict[str, tuple[str, tuple[str, ...], Texts]] = {
    "stated": ("probe", (), ()),
    "linear": ("probe", ("probe:supply-options.converters=[probe-ldo]",), ()),
    "switched": ("probe", ("probe:supply-options.converters=[probe-sw, none]",), ()),
    "own-regulator": ("probe", ("probe-part:supply.regulator=switching",), ()),
    "budget": (
        "probe",
        ("probe:supply-options.cells=[{budget: 900 mAh, voltage: 3.0 V}, {cell: probe-charged}]",),
        (),
    ),
    "helped": (
        "probe",
        (
            "probe:needs.features={uart: 1, wireless: 1, sight-bits: 10}",
            "probe:workload.sample.uses={radio-advert: 2, mark: 3}",
        ),
        (),
    ),
    "bare": ("probe", ("probe:cost.unit-cost-limit=900",), BARE),
    "simple": ("probe", (), SIMPLE),
    "simple-firm": ("probe", ("probe:workload.sample.arrival=regular",), SIMPLE + NO_RESERVOIR),
    "simple-often": (
        "probe",
        ("probe:workload.sample.every=0.5 s", "probe:supply-options.converters=[probe-sw]"),
        SIMPLE + NO_WELL,
    ),
    "by-middle": (
        "probe",
        (
            "probe:workload.sample.at=middle",
            "probe-part:operating-points.middle.supply-min=1.9 V",
            "probe:supply-options.converters=[probe-ldo, probe-sw]",
        ),
        SIMPLE,
    ),
    "by-spare": (
        "probe",
        (
            "probe:workload.sample.at=spare",
            "probe-part:operating-points.spare.idle-current=0.5 mA",
        ),
        NO_RESERVOIR,
    ),
    "busy": ("probe", ("probe:workload.sample.every=300 ms",), ()),
    "seldom": ("probe", ("probe:workload.sample.every=9 h",), NO_WELL),
    "several-cells": (
        "probe",
        (
            "probe:supply-options.cells=[{cell: probe-cell, parallel: 3}, "
            "{cell: probe-cell, series: 2}, {cell: probe-charged, parallel: 2}]",
            "probe:supply-options.converters=[probe-ldo, probe-sw, none]",
            "probe:cost.unit-cost-limit=900",
        ),
        (),
    ),
    "weak-pulse": ("probe", ("probe-cell:max-pulse.-12 degC=40 mA",), NO_RESERVOIR),
    "sags": ("probe", ("probe-cell:resistance.1=30 ohm", "probe-cell:resistance.0=9 ohm"), ()),
    "sags-bare": (
        "probe",
        ("probe-cell:resistance=12 ohm", "probe:cost.unit-cost-limit=900"),
        BARE + NO_RESERVOIR,
    ),
    "large-store": (
        "probe",
        (
            "probe:supply-options.reservoir.capacitance=20 mF",
            "probe:supply-options.reservoir.esr=3 ohm",
            "probe-cell:resistance.0=9 ohm",
        ),
        (),
    ),
    "two-well": ("probe", ("probe-cell:two-well.c=0.2", "probe-cell:two-well.k=0.01 /h"), SIMPLE),
    "spoils": (
        "probe",
        ("probe-cell:self-discharge=40 %/year", "probe-cell:shelf-life=4 years"),
        (),
    ),
    "shelf": (
        "probe",
        (
            "probe-cell:shelf-life=6 months",
            "probe:workload.sample.every=1 h",
            "probe:cost.unit-cost-limit=900",
        ),
        (),
    ),
    "long-stored": ("probe", ("probe:before-use.storage.for=11 years",), ()),
    "hot": (
        "probe",
        ("probe:environment=[{at: 59 degC, share: 1}]", "probe:cost.unit-cost-limit=900"),
        SIMPLE,
    ),
    "retries": (
        "probe",
        (
            "probe:workload.sample.retries.fails=0.6",
            "probe:workload.sample.retries.most=30",
            "probe:workload.sample.loads.radio.retries.fails=0",
        ),
        (),
    ),
    "ungated": (
        "probe",
        (
            "probe:workload.sample.loads.lamp.rail=near",
            "probe:rails.far.gated=false",
            "probe:standing-loads.keeper.rail=far",
            "probe:workload.sample.loads.probe.gated=false",
        ),
        (),
    ),
    "incremental": (
        "probe",
        (
            "probe-part:price.discount=incremental",
            "probe-cell:price.discount=incremental",
            "probe:cost.units=9900",
        ),
        (),
    ),
    "bare-needs": ("probe", ("probe:needs.memory.flash=1 KiB", "probe:retain=[]"), ()),
    "refused": ("probe", ("probe:needs.features={uart: 9}", "probe:add-ons=refused"), ()),
    "unlikely": ("probe", ("probe:needs.confidence=100 %", "probe-part:supply.max=3.0 V"), ()),
    "charged": ("probe", CHARGED, ()),
    "charged-simple": ("probe", CHARGED, SIMPLE + NO_RESERVOIR),
    "charged-often": (
        "probe",
        (*CHARGED, "probe:recharge.every=1 day", "probe:workload.sample.every=1 s"),
        SIMPLE,
    ),
    "charged-late": (
        "probe",
        (*CHARGED, "probe:recharge.every=250 days", "probe:workload.sample.every=20 s"),
        (),
    ),
    "charged-worn": (
        "probe",
        (
            *CHARGED,
            "probe-charged:ageing.calendar.loss.100 %=30 %",
            "probe-charged:ageing.cycles.after=40",
            "probe-charged:ageing.cycles.exponent=1",
            "probe-charged:ageing.calendar.exponent=1",
        ),
        (),
    ),
    "charged-cold": ("probe", (*CHARGED, "probe-charged:charge.min=12 degC"), ()),
    "lit": ("probe-lit", (), ()),
    "lit-dark": ("probe-lit", ("probe-lit:harvest.panel.area=0.16 cm2",), ()),
    "lit-bright": ("probe-lit", ("probe-lit:harvest.panel.area=9 cm2",), ()),
    "fed": ("probe-fed", (), ()),
    "fed-even": (
        "probe-fed",
        (
            "probe-fed:harvest.spread=0 %",
            "probe-fed:harvest.persistence=0",
            "probe-fed:harvest.night=0 h",
        ),
        (),
    ),
    "fed-wild": (
        "probe-fed",
        ("probe-fed:harvest.spread=90 %", "probe-fed:harvest.persistence=0.95"),
        (),
    ),
    "fed-cell": (
        "probe-fed",
        (
            "probe-fed:supply-options.cells="
            "[{cell: probe-charged}, {cell: probe-cap, parallel: 2}]",
            "probe-fed:cost.unit-cost-limit=190",
            "probe-charged:charge.min=-5 degC",
        ),
        (),
    ),
    "logged": ("probe-log", (), ()),
}


def _setting(name: str) -> Case:
    product, changes, texts = SETTINGS[name]

    def case(folder: Path) -> Any:
        return answer(every(folder, product, changes, texts), 24)

    return case


def _shipped(name: str, estimated: bool = False) -> Case:
    def case(folder: Path) -> Any:
        inputs = load_run([catalogue_folder()], product_files()[name])
        return answer(inputs, 12, over=False, estimated=estimated)

    return case


def odd(folder: Path, seed: int) -> Inputs:
    """A random product and its catalogue: of the seed depend the parts' number, whether there is a
    reservoir, what is lacked, and what is unsure."""
    reservoir = seed % 2 == 0
    one = draft(seed, reservoir) if seed % 4 == 1 else several(seed, 2 + seed % 3, reservoir)
    one = lacking(one, seed) if seed % 3 == 0 else one
    return (one if seed % 5 == 4 else unsure(one, seed)).load(folder)


def _odd(seed: int) -> Case:
    def case(folder: Path) -> Any:
        return answer(odd(folder, seed), (48, 0, 7)[seed % 7 % 3], estimated=seed % 2 == 1)

    return case


def _studied(folder: Path, seed: int) -> Any:
    """What to measure, where it tips, what the weights mean and a curve of a random product."""
    inputs = odd(folder, seed)
    part = next(iter(inputs[0].parts))
    levers = ["probe:life-target", f"{part}:price.breaks.1"]
    named = list(inputs[1].priorities)
    pairs = {
        (a, b): 1.0 + (3 * n + 2 * len(b)) % 7 for n, a in enumerate(named) for b in named[n + 1 :]
    }
    return {
        "gaps": plain(gaps(*inputs, draws=100)),
        "weights": plain(weights(*inputs, draws=60)),
        "order": plain(weights(*inputs, order=named, draws=60)),
        "pairs": plain(weights(*inputs, pairs=pairs, draws=60)),
        "tipping": plain(tipping(*inputs, levers, draws=40, points=9)),
        "outlook": plain(outlook(*inputs, along=levers[:1], draws=40, points=5)),
    }


def _rivals(folder: Path) -> Any:
    """Two parts that state every key."""
    inputs = every(folder, "probe", more=RIVAL)
    return {**answer(inputs, 24), "gaps": plain(gaps(*inputs, draws=100))}


def _limits(folder: Path) -> Any:
    """What is told of each limit where it is broken."""
    out = {}
    for n, ((level, name), (_, _, breaks)) in enumerate(limits.CASES.items()):
        files = breaks(
            {
                "part one": limits.PART,
                "cell": limits.CELL,
                "converter": limits.CONVERTER,
                "product": limits.PRODUCT,
            }
        )
        product = files.pop("product").replace("CONVERTER", "dc")
        named = {
            {"cell": "cells/flat", "converter": "converters/dc"}.get(k, f"parts/{k[5:]}"): text
            for k, text in files.items()
        }
        own = folder / str(n)
        own.mkdir()
        (own / "kernels.yaml").write_text("crc: {work: one block}\n")
        found = evaluate(*loaded_files(own, named, product))
        out[f"{level} {name}"] = plain(summarise(found, firmness(found)).screened_out)
    return out


def _vineyard(_: Path) -> Any:
    return plain(family(run_of(), plans=1, draws=12))


def _family(changes: tuple[str, ...], aim: str | None) -> Case:
    def case(folder: Path) -> Any:
        run = family_run(write_family(folder), changes)
        return plain(family(run, aim=aim, draws=40))

    return case


ODD = (1, 2, 4, 5, 6, 7, 8, 9, 10, 11, 13, 14, 16, 18, 19, 20, 22, 23, 24, 25, 29)
CASES: dict[str, Case] = {
    **{name: _shipped(name) for name in ("barrel-tag", "crate-call", "frost-post", "valve-driver")},
    **{f"every-{name}": _setting(name) for name in SETTINGS},
    "every-rivals": _rivals,
    **{f"odd-{seed}": _odd(seed) for seed in ODD},
    "studied-7": lambda folder: _studied(folder, 7),
    "studied-11": lambda folder: _studied(folder, 11),
    "barrel-tag-estimated": _shipped("barrel-tag", estimated=True),
    "limits": _limits,
    "family": _family((), None),
    "family-of-five": _vineyard,
    "families": lambda _: {
        name: [plain(solve(one(seed))) for seed in range(8)]
        for name, one in (("drawn", drawn), ("judged", small))
    },
}
