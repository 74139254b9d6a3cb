"""`decide` and `revisit`: decisions on record."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli.options import (
    CatalogOption,
    DrawsOption,
    Format,
    FormatOption,
    JobsOption,
    NoCacheOption,
    NoColorOption,
    OutputOption,
    ProductArgument,
    QuietOption,
    SeedOption,
    SetOption,
    WidthOption,
)

if TYPE_CHECKING:
    from advisor.present.layout import Page


def register(app: typer.Typer) -> None:
    """Put the commands on the application."""
    app.command()(decide)
    app.command()(revisit)


def decide(
    product: ProductArgument,
    part: Annotated[str, typer.Argument(metavar="PART", help="The part that is chosen.")],
    because: Annotated[
        str, typer.Option("--because", metavar="TEXT", help="Why, in the team's words.")
    ],
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            metavar="RECORD.yaml",
            help="Write the record there, to a file that is not yet; absent: on standard output.",
            show_default=False,
        ),
    ] = None,
    catalog: CatalogOption = None,
    changes: SetOption = None,
    seed: SeedOption = 1,
    draws: DrawsOption = 2000,
    jobs: JobsOption = 1,
    width: WidthOption = 0,
    no_color: NoColorOption = False,
    quiet: QuietOption = False,
    no_cache: NoCacheOption = False,
) -> int:
    """Write a decision down. With its reason, the order of the day and digests of all inputs.

    Example: part-advisor decide frost-post quorvane-jor --because "least regret, two suppliers"
    """
    from advisor.catalogue.shipped import load
    from advisor.cli.output import Screen, check_writable, write_bytes
    from advisor.faults import Fault, FaultError
    from advisor.present.record import decided_page
    from advisor.studies.record import decide as study

    screen = Screen(Format.TABLE, None, width, no_color, quiet)
    if output is not None:
        check_writable(output, "--output")
        if output.exists():
            raise FaultError(
                (Fault("--output", f'"{output}", which is there', "a name that is free"),)
            )
    inputs = load(product, catalog or (), changes or (), cached=not no_cache)
    found = study(*inputs, part, because, changes=changes or (), draws=draws, seed=seed, jobs=jobs)
    screen.warn(found.shortlist.warnings)
    if output is None:
        screen.text(found.text)
        return 0
    write_bytes(output, found.text.encode())
    screen.page(decided_page(found, screen.columns))
    return 0


def revisit(
    record: Annotated[Path, typer.Argument(metavar="RECORD", help="The record of a decision.")],
    product: Annotated[
        str | None,
        typer.Option(
            "--product",
            metavar="PRODUCT",
            help="The product as it is now; absent: the shipped one of the record's id.",
            show_default=False,
        ),
    ] = None,
    catalog: CatalogOption = None,
    changes: SetOption = None,
    jobs: JobsOption = 1,
    form: FormatOption = Format.TABLE,
    output: OutputOption = None,
    width: WidthOption = 0,
    no_color: NoColorOption = False,
    quiet: QuietOption = False,
    no_cache: NoCacheOption = False,
) -> int:
    """Revisit a decision. What has changed since, and whether it still stands.

    Example: part-advisor revisit record.yaml
    """
    from advisor.catalogue.shipped import load
    from advisor.cli.output import Screen
    from advisor.studies.record import read_decision
    from advisor.studies.record import revisit as study

    screen = Screen(form, output, width, no_color, quiet)
    decision = read_decision(record)
    assumed = [*decision.changes, *(changes or ())]
    inputs = load(product or decision.decision, catalog or (), assumed, cached=not no_cache)
    found = study(decision, *inputs, jobs=jobs)

    def page() -> Page:
        from advisor.present.record import revisited_page

        return revisited_page(found, screen.columns)

    screen.give(found.document(), lambda: found.rows(), page, found.shortlist.warnings)
    return 0 if found.stands else 1
