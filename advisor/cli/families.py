"""`family`: parts for several products at once."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli.bundles import Answer, RankedFiles, ReadingCommand, Sampling
from advisor.cli.options import READS, CautionsOption

if TYPE_CHECKING:
    from advisor.present.layout import Page


def register(app: typer.Typer) -> None:
    """Put the command on the application."""
    app.command()(ReadingCommand(family))


def family(
    products: Annotated[
        list[str],
        typer.Argument(
            metavar="FAMILY|PRODUCT...",
            help="A family's file or id, or products that make one.",
        ),
        READS,
    ],
    aim: Annotated[
        str | None,
        typer.Option(
            "--aim",
            metavar="cost|score|front",
            help="Least cost, greatest score, or what lies between; absent: the family's own.",
            show_default=False,
        ),
    ] = None,
    plans: Annotated[
        int, typer.Option("--plans", metavar="N", min=0, max=50, help="Next-best plans to find.")
    ] = 3,
    seconds: Annotated[
        float,
        typer.Option("--seconds", metavar="S", min=1, max=86400, help="Time for each search."),
    ] = 60.0,
    *,
    files: RankedFiles,
    sampling: Sampling,
    show: Answer,
    cautions: CautionsOption = False,
) -> int:
    """Choose parts for several products together: what is shared, what it saves, what limits it.

    Example: part-advisor family frost-post valve-driver --set family:limits.parts=1
    """
    from advisor.cli.progress import progress
    from advisor.present.family import told
    from advisor.present.machine import with_cautions
    from advisor.studies.family import ROW, rows
    from advisor.studies.family import family as study

    screen = show.screen()
    run = files.family(products)
    with progress(show.quiet) as tell:
        found = study(
            run,
            aim=aim,
            plans=plans,
            seconds=seconds,
            draws=sampling.draws,
            seed=sampling.seed,
            jobs=sampling.workers,
            progress=tell,
            estimate_missing=files.estimate_missing,
            services=files.services,
        )

    def page() -> Page:
        from advisor.present.family import family_page

        return family_page(found, screen.columns, screen.everything, cautions)

    screen.give(
        found,
        lambda: with_cautions(rows(found), found.cautions),
        page,
        told(found),
        [*ROW, "cautions"],
    )
    return 0 if found.plan else 1
