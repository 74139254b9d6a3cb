"""`weights`: ask for weights, show what they imply, write them back."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from advisor.cli.bundles import Answer, RankedFiles, ReadingCommand, Sampling
from advisor.cli.options import ProductArgument

if TYPE_CHECKING:
    from advisor.catalogue.schema_product import Product
    from advisor.cli.bundles import Files
    from advisor.present.layout import Page
    from advisor.studies.weights import Weights

LONGEST = 1000  # characters of an answer


class Ask(StrEnum):
    """Ways of asking."""

    ORDER = "order"
    PAIRS = "pairs"


def register(app: typer.Typer) -> None:
    """Put the command on the application."""
    app.command()(ReadingCommand(weights))


def weights(
    product: ProductArgument,
    order: Annotated[
        str | None,
        typer.Option(
            "--order",
            metavar="A,B,...",
            help="Weights from an order: criteria, the most important first.",
            show_default=False,
        ),
    ] = None,
    judge: Annotated[
        list[str] | None,
        typer.Option(
            "--judge",
            metavar="A:B=N",
            help="Weights from pairs: A is N times as important as B (3, 1/3).",
            show_default=False,
        ),
    ] = None,
    ask: Annotated[
        Ask | None, typer.Option("--ask", help="Ask for an order or for pairs.", show_default=False)
    ] = None,
    write: Annotated[
        bool, typer.Option("--write", help="Write the weights into the product's file.")
    ] = False,
    *,
    files: RankedFiles,
    sampling: Sampling,
    show: Answer,
) -> int:
    """Show what weights mean and whom they put first. Makes them from an order or from pairs.

    Example: part-advisor weights barrel-tag
    """
    from advisor.cli.progress import progress
    from advisor.present.left_out import told
    from advisor.present.machine import with_cautions
    from advisor.studies.results import plain
    from advisor.studies.weights import faults_of
    from advisor.studies.weights import weights as study

    screen = show.screen()
    if sum(map(bool, (order, judge, ask))) > 1:
        files.noted(_refuse, ("--ask", "several ways at once", "--order, --judge or --ask"))
    target = files.noted(_file, product, files) if write else None
    if ask is not None and product == "-":
        files.noted(_refuse, ("--ask", "a product from standard input", "a product's file"))
    names = [] if order is None else [name.strip() for name in order.split(",")]
    pairs = files.noted(_pairs, judge or ()) or {}
    with progress(show.quiet) as tell:
        inputs = files.product(
            product,
            rest=lambda _, p: [] if order and judge else faults_of(p, names, pairs),
        )
    if ask is Ask.ORDER:
        names = _asked_order(inputs[1])
    elif ask is Ask.PAIRS:
        pairs = _asked_pairs(inputs[1])
    with progress(show.quiet) as tell:
        found = study(
            *inputs,
            order=names,
            pairs=pairs or None,
            draws=sampling.draws,
            seed=sampling.seed,
            jobs=sampling.workers,
            progress=tell,
            estimate_missing=files.estimate_missing,
            services=files.services,
        )
    if target is not None:
        screen.keep(target, _weighed(target, found), "--write")

    def page() -> Page:
        from advisor.present.weights import weights_page

        return weights_page(found, screen.columns, screen.everything)

    beside = [*found.warnings, *told(found.left_out, screen.everything)]
    screen.give(
        found,
        lambda: with_cautions([plain(row) for row in found.rows], found.cautions),
        page,
        beside,
    )
    return 0 if found.winner is not None else 1


def _file(reference: str, files: Files) -> Path:
    """The user's own file, which may be written."""
    from advisor.catalogue.shipped import product_files
    from advisor.cli.writing import Output, check_outputs

    shipped = [os.path.realpath(path) for path in product_files().values()]
    if reference == "-" or os.path.realpath(files.find(reference)) in shipped:
        _refuse(("--write", f'"{reference}"', "a product's file of your own"))
    if files.changes:
        _refuse(("--write", "--set", "the file as it stands: one of the two"))
    path = files.find(reference)
    check_outputs([Output(path, "--write")])
    return path


def _weighed(path: Path, found: Weights) -> bytes:
    """The product's file with its weights in place."""
    from advisor.catalogue.edit import replaced
    from advisor.source import read_bytes

    text = read_bytes(path, str(path)).decode("utf-8")
    values = {f"priorities.{name}.weight": weight for name, weight in found.texts.items()}
    return replaced(text, str(path), values).encode()


def _refuse(*faults: tuple[str, str, str]) -> NoReturn:
    """Raise faults of (where, read, expected); what they need is loaded for them alone."""
    from advisor.faults import Fault, FaultError

    raise FaultError(tuple(Fault(where, read, expected) for where, read, expected in faults))


def _number(text: str) -> float | None:
    """`3`, `0.5` or `1/3`; None for anything else."""
    above, slash, below = text.partition("/")
    try:
        return float(above) / float(below) if slash else float(above)
    except (ValueError, ZeroDivisionError):
        return None


def _pairs(texts: Sequence[str]) -> dict[tuple[str, str], float]:
    out: dict[tuple[str, str], float] = {}
    faults = []
    for text in texts:
        names, equals, number = text.partition("=")
        first, colon, second = (piece.strip() for piece in names.partition(":"))
        value = _number(number.strip())
        if not (equals and colon and first and second) or value is None:
            faults.append(("--judge", f'"{text}"', "A:B=N, such as battery-life:toolchain=3"))
        elif (first, second) in out:
            faults.append(("--judge", f"{first}:{second} twice", "each pair judged once"))
        else:
            out[first, second] = value
    if faults:
        _refuse(*faults)
    return out


def _answer(question: str) -> str:
    """A line of standard input, asked for on standard error."""
    from advisor.cli.streams import await_answer

    print(question, end=" ", file=sys.stderr, flush=True)
    await_answer()
    line = sys.stdin.readline(LONGEST)
    if not line:
        _refuse(("--ask", "the end of the answers", "an answer to each question"))
    if len(line) == LONGEST:
        _refuse(("--ask", f"a line of {LONGEST} characters or more", "a name or a number"))
    return line.strip()


def _asked_order(product: Product) -> list[str]:
    left = list(product.priorities)
    out: list[str] = []
    while len(left) > 1:
        for i, name in enumerate(left, 1):
            print(f"  {i} {name}", file=sys.stderr)
        rank = "most" if not out else "next most"
        text = _answer(f"Which matters {rank}? (number or name)")
        if text in left:
            chosen = text
        elif text.isascii() and text.isdigit() and 1 <= int(text) <= len(left):
            chosen = left[int(text) - 1]
        else:
            print(f"  not one of them: {text[:40]!r}", file=sys.stderr)
            continue
        left.remove(chosen)
        out.append(chosen)
    return [*out, *left]


def _asked_pairs(product: Product) -> dict[tuple[str, str], float]:
    from advisor.studies.weights import pairs_of

    print("1: equally; 3: three times as important as; 1/3: a third.", file=sys.stderr)
    out: dict[tuple[str, str], float] = {}
    for first, second in pairs_of(product):
        while (first, second) not in out:
            value = _number(_answer(f"{first} against {second}:"))
            if value is not None and 0 < value < float("inf"):
                out[first, second] = value
            else:
                print("  a number above zero, such as 3 or 1/3", file=sys.stderr)
    return out
