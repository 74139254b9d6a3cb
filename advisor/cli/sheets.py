"""Commands on tables: `catalog quote|export`, and `catalog import` of a table."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli.bundles import Command, Files, Show, Voice
from advisor.cli.options import READS, WRITES

if TYPE_CHECKING:
    from advisor.cli.output import Screen
    from advisor.present.layout import Page

TABLES = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm")
TableArgument = Annotated[
    Path,
    typer.Argument(metavar="TABLE", help="A table: .csv, .tsv, .txt or .xlsx."),
    READS,
]
DryOption = Annotated[
    bool, typer.Option("--dry-run", help="Tell what would be written, and write nothing.")
]


def register(catalog: typer.Typer) -> None:
    """Put the commands into the group `catalog`."""
    catalog.command("quote")(Command(catalog_quote))
    catalog.command("export")(Command(catalog_export))


def import_table(
    table: Path,
    map_file: Path | None,
    into: Path | None,
    update: bool,
    dry_run: bool,
    show: Show,
) -> int:
    """Carry out `catalog import` of a table."""
    from advisor.cli.progress import progress
    from advisor.faults import Fault, FaultError
    from advisor.studies import sheets as study

    screen = show.screen()
    if map_file is None:
        if into is not None or update:
            expected = "a map by --map; without --into one is proposed"
            raise FaultError((Fault("--map", "nothing", expected),))
        proposed = study.propose(table)
        screen.text(proposed.text)
        screen.warn(proposed.notes)
        return 0
    if into is None:
        raise FaultError((Fault("--into", "nothing", "the folder of a catalogue"),))
    with progress(show.quiet, "reading the table"):
        found = study.import_table(table, map_file, into, update=update)

    def page() -> Page:
        from advisor.present.sheets import imported_page

        return imported_page(found, str(into), screen.columns, not dry_run)

    def give() -> None:
        screen.give(found.document(), lambda: found.rows(), page, found.notes)

    _write(screen, into, {} if dry_run else found.files, give)
    return 0


def catalog_quote(
    table: TableArgument,
    map_file: Annotated[
        Path,
        typer.Option("--map", metavar="MAP.yaml", help="What the columns are: prices only."),
        READS,
    ],
    onto: Annotated[
        Path,
        typer.Option("--onto", metavar="DIR", help="The catalogue's folder."),
    ],
    dry_run: DryOption = False,
    *,
    show: Show,
) -> int:
    """Put a distributor's quote onto parts that stand. By their names; comments stay.

    Example: part-advisor catalog quote quote.csv --map quote.yaml --onto ours
    """
    from advisor.cli.progress import progress
    from advisor.studies import sheets as study

    screen = show.screen()
    with progress(show.quiet, "reading the quote"):
        found = study.quote(table, map_file, onto)

    def page() -> Page:
        from advisor.present.sheets import quote_page

        return quote_page(found, str(onto), screen.columns, not dry_run)

    def give() -> None:
        notes = tuple(study.quote_notes(found))
        screen.give(found.document(), lambda: found.rows(), page, notes)

    _write(screen, onto, {} if dry_run else found.files, give)
    return 0


def _write(
    screen: Screen, folder: Path, files: Mapping[Path, str], give: Callable[[], None]
) -> None:
    """Write new files and changed ones with the answer, all or nothing."""
    from advisor.cli.writing import Output, add_files, check_free, check_outputs

    check_free(screen.output, folder, [str(path.relative_to(folder)) for path in files])
    standing = {path: text.encode() for path, text in files.items() if path.exists()}
    check_outputs([Output(path, "parts") for path in standing])
    new = {
        str(path.relative_to(folder)): text.encode()
        for path, text in files.items()
        if path not in standing
    }
    for path, data in standing.items():
        screen.keep(path, data, "parts")
    add_files(folder, new, "--into", give)


def catalog_export(
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            metavar="TABLE",
            help="The table, .csv or .xlsx; without it CSV goes to standard output.",
            show_default=False,
        ),
        WRITES,
    ] = None,
    map_file: Annotated[
        Path | None,
        typer.Option(
            "--map",
            metavar="MAP.yaml",
            help="Write the map that brings the table back.",
            show_default=False,
        ),
        WRITES,
    ] = None,
    *,
    files: Files,
    show: Voice,
) -> int:
    """Write the parts as a table. It comes back by `catalog import` as it was, but for comments.

    Example: part-advisor catalog export -o parts.csv --map parts.yaml
    """
    from advisor.cli.progress import progress
    from advisor.cli.writing import file_by_ending
    from advisor.studies import sheets as study

    screen = show.screen()
    form = "csv"
    if output is not None:
        form = file_by_ending(output, "--output", (".csv", ".xlsx")).suffix.lower()[1:]
    name = "the table" if output is None else output.name
    with progress(show.quiet):
        found = study.export_table(files.catalogue(), form, name)
    if map_file is not None:
        screen.keep(map_file, found.map.encode(), "--map")
    if output is not None:
        screen.keep(output, found.data)
        screen.text("")
    else:
        screen.text(found.data.decode("utf-8-sig"))
    screen.warn(found.notes)
    return 0
