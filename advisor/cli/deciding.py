"""`decide` and `revisit`: decisions on record."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from advisor.cli.bundles import Answer, Files, Look, RankedFiles, ReadingCommand, Sampling, Workers
from advisor.cli.options import READS, WRITES, FamilyOrProductArgument

if TYPE_CHECKING:
    from advisor.catalogue.families import FamilyRun
    from advisor.catalogue.schema_record import FamilyRecord
    from advisor.cli.output import Screen
    from advisor.present.layout import Page


def register(app: typer.Typer) -> None:
    """Put the commands on the application."""
    app.command()(ReadingCommand(decide))
    app.command()(ReadingCommand(revisit))


def decide(
    product: FamilyOrProductArgument,
    because: Annotated[
        str, typer.Option("--because", metavar="TEXT", help="Why, in the team's words.")
    ],
    part: Annotated[
        str | None,
        typer.Argument(
            metavar="PART", help="The part that is chosen; none for a family.", show_default=False
        ),
    ] = None,
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
    plan: Annotated[
        int | None,
        typer.Option(
            "--plan",
            metavar="N",
            min=0,
            max=50,
            help="For a family: the N-th next-best plan; absent or 0: the best.",
            show_default=False,
        ),
    ] = None,
    *,
    files: RankedFiles,
    sampling: Sampling,
    look: Look,
) -> int:
    """Write a decision down. With its reason, the order of the day and digests of all inputs.

    Example: part-advisor decide frost-post quorvane-jor --because "least regret, two suppliers"
    """
    from advisor.catalogue.families import family_file
    from advisor.cli.progress import progress
    from advisor.files import is_stream
    from advisor.present.record import decided_page
    from advisor.studies.record import decide as study

    screen = look.screen()
    if output is not None and output.exists() and not is_stream(output):
        files.noted(_refuse, "--output", f'"{output}", which is there', "a name that is free")
    family = family_file(product) is not None
    if family and part is not None:
        expected = "no part: a family's plan names them; --plan picks a next-best one"
        files.noted(_refuse, "PART", f'"{part}"', expected)
    if family:
        return _decide_family(product, because, output, plan or 0, files, sampling, look)
    if part is None:
        expected = "the part that is chosen, which only a family goes without"
        files.noted(_refuse, "PART", "nothing", expected)
    if plan is not None:
        files.noted(_refuse, "--plan", str(plan), "a family, which has plans")
    with progress(look.quiet) as tell:
        inputs = files.product(product)
        assert part is not None
        found = study(
            *inputs,
            part,
            because,
            changes=files.changes or (),
            draws=sampling.draws,
            seed=sampling.seed,
            jobs=sampling.workers,
            estimate_missing=files.estimate_missing,
            services=files.services,
            product_file=_own_file(product, files),
            catalogs=files.own_folders,
            folder="." if output is None else output.parent,
            progress=tell,
        )
    _out(
        screen,
        output,
        found.text,
        found.shortlist.warnings,
        lambda: decided_page(found, screen.columns),
    )
    return 0


def _refuse(where: str, read: str, expected: str) -> NoReturn:
    """Raise a fault; what it needs is loaded for it alone."""
    from advisor.faults import Fault, FaultError

    raise FaultError((Fault(where, read, expected),))


def _decide_family(
    reference: str,
    because: str,
    output: Path | None,
    plan: int,
    files: RankedFiles,
    sampling: Sampling,
    look: Look,
) -> int:
    from advisor.cli.progress import progress
    from advisor.present.family_record import decided_page
    from advisor.studies.family_record import decide_family

    screen = look.screen()
    run = files.family([reference])
    with progress(look.quiet) as tell:
        found = decide_family(
            run,
            because,
            place=plan,
            changes=files.changes or (),
            draws=sampling.draws,
            seed=sampling.seed,
            jobs=sampling.workers,
            progress=tell,
            estimate_missing=files.estimate_missing,
            services=files.services,
            catalogs=files.own_folders,
            folder="." if output is None else output.parent,
        )
    _out(screen, output, found.text, found.warnings, lambda: decided_page(found, screen.columns))
    return 0


def _out(
    screen: Screen,
    output: Path | None,
    text: str,
    warnings: Sequence[str],
    page: Callable[[], Page],
) -> None:
    """Give a record out: as it is, or to its file, with what was decided on the screen."""
    screen.warn(warnings)
    if output is None:
        screen.text(text)
        return
    screen.keep(output, text.encode(), new=True)
    screen.page(page())


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
            metavar="FAMILY|PRODUCT",
            help="The product, or family, as it is now; absent: where the record says it is.",
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
    from advisor.studies.family_record import is_family_record
    from advisor.studies.record import product_of, read_decision
    from advisor.studies.record import revisit as study

    if is_family_record(record):
        return _revisit_family(record, product, files, workers, show)
    screen = show.screen()
    decision = read_decision(record)
    where = product or str(product_of(decision, record))
    folders = [record.parent / name for name in decision.catalogs]
    with progress(show.quiet) as tell:
        inputs = files.product(where, before=decision.changes, otherwise=folders)
        found = study(
            decision, *inputs, jobs=workers.workers, progress=tell, services=files.services
        )

    def page() -> Page:
        from advisor.present.record import revisited_page

        return revisited_page(found, screen.columns, screen.everything)

    listed = found.shortlist
    beside = [*listed.warnings, *told(listed.left_out, screen.everything)]
    screen.give(found.document(), lambda: found.rows(), page, beside)
    return 0 if found.stands else 1


def _revisit_family(
    record: Path, reference: str | None, files: Files, workers: Workers, show: Answer
) -> int:
    from advisor.cli.progress import progress
    from advisor.present.family_record import revisited_page, standing, verdict
    from advisor.present.left_out import told
    from advisor.present.machine import with_cautions
    from advisor.studies.family_record import read_family_decision
    from advisor.studies.family_revisit import revisit_family

    screen = show.screen()
    decision = read_family_decision(record)
    run = _family_now(decision, record, reference, files)
    with progress(show.quiet) as tell:
        found = revisit_family(
            decision, run, jobs=workers.workers, progress=tell, services=files.services
        )

    def page() -> Page:
        return revisited_page(found, screen.columns, screen.everything)

    said = [*verdict(found), *standing(found)]
    beside = [*said, *found.warnings, *told(found.left_out, screen.everything)]
    screen.give(found.document(), lambda: with_cautions(found.rows(), found.cautions), page, beside)
    return 0 if found.stands else 1


def _family_now(
    decision: FamilyRecord, record: Path, reference: str | None, files: Files
) -> FamilyRun:
    """The family that a record is of, from where the call or the record says that it is."""
    from advisor.catalogue.families import family_file
    from advisor.faults import Fault, FaultError
    from advisor.studies.family_record import inputs_of

    if reference is None:
        references, own, folders, changes = inputs_of(decision, record)
        return files.family(references, changes, folders, own)
    if family_file(reference) is None:
        expected = "a family's file or id, as the record is of a family"
        raise FaultError((Fault("--product", f'"{reference}"', expected),))
    folders = [record.parent / name for name in decision.catalogs]
    own = {name: record.parent / path for name, path in decision.product_files.items()}
    there = {name: path for name, path in own.items() if path.is_file()}
    return files.family([reference], decision.changes, folders, there)
