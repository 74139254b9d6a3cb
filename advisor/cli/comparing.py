"""`compare`: parts by their measured kernels."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli.bundles import Files, ReadingCommand, Show
from advisor.cli.options import WRITES

if TYPE_CHECKING:
    from advisor.present.layout import Page


def register(app: typer.Typer) -> None:
    """Put the command on the application."""
    app.command()(ReadingCommand(compare))


def compare(
    parts: Annotated[
        list[str] | None,
        typer.Argument(metavar="[PART]...", help="Parts; all if absent.", show_default=False),
    ] = None,
    kernel: Annotated[
        list[str] | None,
        typer.Option("--kernel", metavar="K", help="A kernel; all if absent.", show_default=False),
    ] = None,
    at_clock: Annotated[
        str | None,
        typer.Option(
            "--at-clock",
            metavar="CLOCK",
            help="The common clock, such as 24MHz; absent: between the measured clocks of most.",
            show_default=False,
        ),
    ] = None,
    plot: Annotated[
        Path | None,
        typer.Option(
            "--plot",
            metavar="FILE.svg|png",
            help="Draw the energies there, at the common clock too; --full draws every part.",
            show_default=False,
        ),
        WRITES,
    ] = None,
    full: Annotated[
        bool, typer.Option("--full", help="Tell every kernel's figures and what stands beside.")
    ] = False,
    *,
    files: Files,
    show: Show,
) -> int:
    """Compare parts by their kernels. At their own clocks, at a common one, and where ranks flip.

    Example: part-advisor compare quorvane-tib tessimur-mub --kernel filter --at-clock 16MHz
    """
    from advisor.catalogue.kinds import Figure
    from advisor.catalogue.levers import read_option
    from advisor.cli.progress import progress
    from advisor.cli.writing import file_by_ending
    from advisor.stages import begin
    from advisor.studies.compare import Row, faults_of
    from advisor.studies.compare import compare as study
    from advisor.studies.results import names_of

    screen = show.screen()
    drawing = None if plot is None else files.noted(file_by_ending, plot)
    clock = None
    if at_clock is not None:
        wanted = Figure("frequency", above=True)
        told = files.noted(read_option, "--at-clock", at_clock, wanted)
        clock = None if told is None else told.nominal
    with progress(show.quiet) as tell:
        loaded = files.catalogue(lambda c: faults_of(c, parts or (), kernel or ()))
        begin(tell, "comparing kernels")
        found = study(loaded, parts or (), kernel or (), clock)
        if drawing is not None:
            from advisor.present.compare import save_dots

            begin(tell, "drawing the kernels")
            screen.keep(drawing, save_dots(found, drawing, full), "--plot")

    def page() -> Page:
        from advisor.present.compare import compare_page

        return compare_page(found, screen.columns, full)

    head = ["kernel", *(name for name in names_of(Row) if name != "at_clock")]
    screen.give(found, lambda: found.rows(), page, head=head)
    return 0 if any(found.kernels.values()) else 1
