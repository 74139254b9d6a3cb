"""Arguments of every command: wrong, missing, twice, strange; any `--set` to anything."""

from __future__ import annotations

import random
from pathlib import Path

from advisor import figures
from advisor.catalogue.shipped import product_files
from tests.fuzz import texts, trees
from tests.fuzz.files import FORMS, PARTS, PRODUCTS, calls
from tests.fuzz.oracle import Bench

OPTIONS = (
    *("--draws", "--seed", "--jobs", "--format", "--output", "-o", "--width", "--no-color", "-q"),
    *("--quiet", "--no-cache", "--catalog", "--set", "--top", "--over", "--along", "--points"),
    *(
        "--lever",
        "--kernel",
        "--at-clock",
        "--plot",
        "--order",
        "--judge",
        "--because",
        "--product",
    ),
    *("--want", "--bench", "--estimate-missing", "--log", "--optimise", "--target", "--version"),
    *("--", "-", "--frobnicate", "--draws=5", "--format=json", "-o-"),
)
COMMANDS = (
    *("shortlist", "explain", "outlook", "tipping", "gaps", "weights", "report", "decide"),
    *("revisit", "compare", "distil", "rehearse", "kernels", "catalog", "product", "schema"),
)
BELOW = ("list", "show", "check", "export")
PLOTS = ("x.svg", "x.png", "x.pdf", "no/x.svg", ".", "")


def _paths(base: Path) -> list[tuple[str, str]]:
    """(path, value) of every figure of the products and the small catalogue."""
    found: list[tuple[str, str]] = []
    files = [*product_files().values(), *sorted((base / "catalog").rglob("*.yaml"))]
    for file in files:
        root = trees.tree(file.read_text("utf-8"))
        found += [(f"{file.stem}:{dotted}", node.value) for dotted, node in figures.walk(root)]
    return found


_FOUND: dict[Path, list[tuple[str, str]]] = {}


def change(rng: random.Random, base: Path) -> str:
    """A `--set`: mostly a path that stands, and a value that may."""
    paths = _FOUND.setdefault(base, _paths(base))
    path, value = rng.choice(paths)
    way = rng.random()
    if way < 0.03:
        path = texts.text(rng, path)
    elif way < 0.07:
        path = path.rpartition(".")[0] or path
    elif way < 0.1:
        path += "." + rng.choice(texts.WORDS)
    elif way < 0.12:
        path = rng.choice(paths)[0].partition(":")[0] + ":" + path.partition(":")[2]
    way = rng.random()
    if way < 0.5:
        value = texts.nudged(rng, value)
    elif way < 0.75:
        value = texts.rescaled(rng, value)
    elif way < 0.85:
        value = texts.text(rng, value)
    elif way < 0.9:
        value = rng.choice(paths)[1]
    elif way < 0.97:
        others = [texts.rescaled(rng, value) for _ in range(3)]
        value = rng.choice(
            (
                f"{{typical: {value}, max: {others[0]}}}",
                f"{{low: {others[0]}, likely: {value}, high: {others[1]}}}",
                f"[{value}, {others[2]}]",
                "[" * 80,
                "{}",
                f"&a {value}",
                "!!python/object/apply:os.system [ls]",
            )
        )
    return f"{path}={value}"


def _word(rng: random.Random, base: Path) -> str:
    return rng.choice(
        (
            rng.choice(texts.WORDS),
            rng.choice(texts.NUMBERS),
            rng.choice(PARTS),
            rng.choice(PRODUCTS),
            rng.choice(FORMS),
            rng.choice(PLOTS),
            change(rng, base).partition("=")[0],
            change(rng, base),
            "5",
            "16 MHz",
            "battery-life,toolchain",
            "battery-life:toolchain=3",
            f"battery-life:toolchain={rng.choice(texts.NUMBERS)}",
            f"frost-post:cost.units={rng.choice(texts.NUMBERS)}:{rng.choice(texts.NUMBERS)}",
        )
    )


def _bounded(given: list[str]) -> list[str]:
    """The call with nothing in it that is meant to take long, or to build for emulated machines."""
    out = [word.replace("\0", "") for word in given]
    if out[:2] == ["kernels", "verify"]:
        out[1] = "list"
    for i, word in enumerate(out[:-1]):
        if word == "--draws" and out[i + 1].lstrip("+-").isdigit() and int(out[i + 1]) > 2000:
            out[i + 1] = "2000"
    product = out[1] if out[1:] and out[1] in PRODUCTS else "frost-post"
    slow = {
        "gaps": ["--draws", "100"],
        "tipping": ["--lever", f"{product}:cost.units"],
        "outlook": ["--along", f"{product}:cost.units=100:10000"],
    }
    return [*out, *slow.get(out[0] if out else "", [])]


def case(rng: random.Random, bench: Bench) -> None:
    """One case: a call of a command."""
    folders = ["--catalog", str(bench.base / "catalog")]
    way = rng.random()
    if way < 0.7:
        given = [*calls(rng, rng.choice(PRODUCTS)), *folders]
        for _ in range(rng.choice((1, 1, 1, 2, 4))):
            given += ["--set", change(rng, bench.base)]
    elif way < 0.88:
        given = [*calls(rng, rng.choice(PRODUCTS)), *folders]
        for _ in range(rng.choice((1, 1, 2))):
            at = rng.randrange(1, len(given) + 1)
            new = rng.choice((rng.choice(OPTIONS), _word(rng, bench.base)))
            given[at : at + rng.randrange(2)] = [new]
    else:
        given = [rng.choice(COMMANDS)]
        if given[0] in ("kernels", "catalog", "product"):
            given.append(rng.choice(BELOW))
        for _ in range(rng.randrange(5)):
            given.append(rng.choice((rng.choice(OPTIONS), _word(rng, bench.base))))
    bench.call(*_bounded(given))
