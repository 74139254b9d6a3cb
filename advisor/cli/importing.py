"""The command `catalog import`: files of others into a catalogue."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli.bundles import Command, Show
from advisor.cli.options import READS

if TYPE_CHECKING:
    from advisor.present.layout import Page


@Command
def catalog_import(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="A pack (.pack) or its description (.pdsc); a devicetree source (.dts, .dtsi).",
        ),
        READS,
    ],
    folder: Annotated[
        Path,
        typer.Option("--into", metavar="DIR", help="The catalogue's folder, new or standing."),
    ],
    only: Annotated[
        list[str] | None,
        typer.Option(
            "--only",
            metavar="PATTERN",
            help="Names to take, such as 'vn4*'; may be given several times.",
            show_default=False,
        ),
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Tell what would be written, and write nothing.")
    ] = False,
    *,
    show: Show,
) -> int:
    """Bring parts or cells from a file of others. With what each lacks; no file is written over.

    Example: part-advisor catalog import valley.pdsc --into ours --only 'vn4*'
    """
    from advisor.cli.writing import add_files, check_free
    from advisor.studies.imported import imported

    screen = show.screen()
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
