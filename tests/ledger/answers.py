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
from advisor.faults import FaultError
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
from tests.ledger.settings import EVERY, LACKING, RIVAL, SETTINGS, Texts
from tests.studies import every_key
from tests.studies.small import loaded_files
from tests.studies.small_family import family_run, write_family
from tests.studies.test_family import run_of

Inputs = tuple[Catalogue, Product]
Case = Callable[[Path], Any]  # from an empty folder to a plain answer


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


def _lacking(name: str, estimated: bool) -> Case:
    changes, texts = LACKING[name]

    def case(folder: Path) -> Any:
        inputs = every(folder, "probe", changes, texts, RIVAL)
        try:
            return answer(inputs, 24, estimated=estimated)
        except FaultError as error:
            return {"faults": [fault.text() for fault in error.faults]}

    return case


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
    **{f"lacking-{name}": _lacking(name, False) for name in LACKING},
    "lacking-kernel-estimated": _lacking("kernel", True),
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
