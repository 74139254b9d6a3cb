"""The command `catalog import`: files of others into a catalogue."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli.bundles import Command, Show
from advisor.cli.options import READS
from advisor.cli.sheets import TABLES, DryOption, import_table

if TYPE_CHECKING:
    from advisor.present.layout import Page


@Command
def catalog_import(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="A pack (.pack) or its description (.pdsc); a devicetree source (.dts, .dtsi); "
            "a table (.csv, .tsv, .txt, .xlsx).",
        ),
        READS,
    ],
    folder: Annotated[
        Path | None,
        typer.Option(
            "--into",
            metavar="DIR",
            help="The catalogue's folder, new or standing.",
            show_default=False,
        ),
    ] = None,
    only: Annotated[
        list[str] | None,
        typer.Option(
            "--only",
            metavar="PATTERN",
            help="Of a pack: names to take, such as 'vn4*'; may be given several times.",
            show_default=False,
        ),
    ] = None,
    map_file: Annotated[
        Path | None,
        typer.Option(
            "--map",
            metavar="MAP.yaml",
            help="Of a table: what its columns are; without one a map is proposed.",
            show_default=False,
        ),
        READS,
    ] = None,
    update: Annotated[
        bool, typer.Option("--update", help="Of a table: put into parts that stand already.")
    ] = False,
    dry_run: DryOption = False,
    *,
    show: Show,
) -> int:
    """Bring parts or cells from a file of others. With what each lacks; no file is written over.

    Example: part-advisor catalog import valley.pdsc --into ours --only 'vn4*'
    """
    from advisor.cli.progress import progress
    from advisor.cli.writing import add_files, check_free
    from advisor.faults import Fault, FaultError
    from advisor.studies.imported import imported

    if file.suffix.lower() in TABLES:
        if only:
            raise FaultError((Fault("--only", only[0], "a pack, of which names are taken"),))
        return import_table(file, map_file, folder, update, dry_run, show)
    faults = [
        Fault(option, "one for tables", f"no such option with {file.suffix or 'this file'}")
        for option, given in (("--map", map_file is not None), ("--update", update))
        if given
    ]
    if folder is None:
        faults.append(Fault("--into", "nothing", "the folder of a catalogue"))
    if faults or folder is None:
        raise FaultError(tuple(faults))
    screen = show.screen()
    with progress(show.quiet):
        found = imported(file, folder, only or ())
    check_free(screen.output, folder, [entry.file for entry in found.entries])
    files = {} if dry_run else found.files

    def page() -> Page:
        from advisor.present.imported import imported_page

        return imported_page(found, screen.columns, not dry_run)

    def give() -> None:
        screen.give(found.document(), lambda: found.rows(), page)

    add_files(folder, files, "--into", give)
    return 0


def register(catalog: typer.Typer) -> None:
    """Put the command into the group `catalog`."""
    catalog.command("import")(catalog_import)
