"""`decide` and `revisit`: decisions on record."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli.bundles import Answer, Command, Files, Look, RankedFiles, Sampling, Workers
from advisor.cli.options import READS, WRITES, ProductArgument

if TYPE_CHECKING:
    from advisor.present.layout import Page


def register(app: typer.Typer) -> None:
    """Put the commands on the application."""
    app.command()(Command(decide))
    app.command()(Command(revisit))


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
        WRITES,
    ] = None,
    *,
    files: RankedFiles,
    sampling: Sampling,
    look: Look,
) -> int:
    """Write a decision down. With its reason, the order of the day and digests of all inputs.

    Example: part-advisor decide frost-post quorvane-jor --because "least regret, two suppliers"
    """
    from advisor.cli.progress import progress
    from advisor.faults import Fault, FaultError
    from advisor.files import is_stream
    from advisor.present.record import decided_page
    from advisor.studies.record import decide as study

    screen = look.screen()
    if output is not None and output.exists() and not is_stream(output):
        raise FaultError((Fault("--output", f'"{output}", which is there', "a name that is free"),))
    with progress(look.quiet) as tell:
        inputs = files.product(product)
        found = study(
            *inputs,
            part,
            because,
            changes=files.changes or (),
            draws=sampling.draws,
            seed=sampling.seed,
            jobs=sampling.jobs,
            estimate_missing=files.estimate_missing,
            product_file=_own_file(product, files),
            catalogs=files.own_folders,
            folder="." if output is None else output.parent,
            progress=tell,
        )
    screen.warn(found.shortlist.warnings)
    if output is None:
        screen.text(found.text)
        return 0
    screen.keep(output, found.text.encode(), new=True)
    screen.page(decided_page(found, screen.columns))
    return 0


def _own_file(reference: str, files: Files) -> Path | None:
    """The file that a product was read from; None for a shipped one and for standard input."""
    from advisor.catalogue.places import product_files

    if reference == "-":
        return None
    path = files.find(reference)
    return None if path in product_files().values() else path


def revisit(
    record: Annotated[
        Path, typer.Argument(metavar="RECORD", help="The record of a decision."), READS
    ],
    product: Annotated[
        str | None,
        typer.Option(
            "--product",
            metavar="PRODUCT",
            help="The product as it is now; absent: where the record says it is.",
            show_default=False,
        ),
        READS,
    ] = None,
    *,
    files: Files,
    workers: Workers,
    show: Answer,
) -> int:
    """Revisit a decision. What has changed since, and whether it still stands.

    Example: part-advisor revisit record.yaml
    """
    from advisor.cli.progress import progress
    from advisor.present.left_out import told
    from advisor.studies.record import product_of, read_decision
    from advisor.studies.record import revisit as study

    screen = show.screen()
    decision = read_decision(record)
    where = product or str(product_of(decision, record))
    folders = [record.parent / name for name in decision.catalogs]
    with progress(show.quiet) as tell:
        inputs = files.product(where, before=decision.changes, otherwise=folders)
        found = study(decision, *inputs, jobs=workers.jobs, progress=tell)

    def page() -> Page:
        from advisor.present.record import revisited_page

        return revisited_page(found, screen.columns, screen.everything)

    listed = found.shortlist
    beside = [*listed.warnings, *told(listed.left_out, screen.everything)]
    screen.give(found.document(), lambda: found.rows(), page, beside)
    return 0 if found.stands else 1
