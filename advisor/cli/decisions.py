"""Commands that decide: `shortlist`, `explain`, `outlook`, `tipping` and `gaps`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli.bundles import Answer, RankedFiles, ReadingCommand, Sampling
from advisor.cli.options import (
    WRITES,
    AlongOption,
    CautionsOption,
    Format,
    ProductArgument,
)

if TYPE_CHECKING:
    from advisor.cli.output import Screen
    from advisor.present.layout import Page
    from advisor.studies.explain import Explanation
    from advisor.studies.gaps import Gaps
    from advisor.studies.outlook import Outlook
    from advisor.studies.shortlist import Shortlist
    from advisor.studies.tipping import Tipping


class ManyDraws(Sampling):
    """For what draws alone can tell."""

    draws: Annotated[
        int,
        typer.Option("--draws", metavar="N", min=100, max=1_000_000, help="Number of draws."),
    ] = 8000


def register(app: typer.Typer) -> None:
    """Put the commands on the application."""
    app.command()(ReadingCommand(shortlist))
    app.command()(ReadingCommand(explain))
    app.command()(ReadingCommand(outlook))
    app.command()(ReadingCommand(tipping))
    app.command()(ReadingCommand(gaps))


def shortlist(
    product: ProductArgument,
    *,
    files: RankedFiles,
    sampling: Sampling,
    show: Answer,
    top: Annotated[
        int, typer.Option("--top", metavar="N", min=0, help="Parts to list; 0 for all (table).")
    ] = 5,
    cautions: CautionsOption = False,
) -> int:
    """Rank the parts for a product: battery life, cost, and why.

    Example: part-advisor shortlist frost-post --set frost-post:workload.sample.every=30s
    """
    from advisor.cli.progress import progress
    from advisor.present.machine import with_cautions
    from advisor.studies.columns import flat_names, flat_row
    from advisor.studies.shortlist import shortlist as study

    screen = show.screen()
    with progress(show.quiet) as tell:
        inputs = files.product(product)
        found = study(
            *inputs,
            draws=sampling.draws,
            seed=sampling.seed,
            jobs=sampling.workers,
            progress=tell,
            estimate_missing=files.estimate_missing,
            services=files.services,
        )

    def page() -> Page:
        from advisor.present.tables import shortlist_page

        return shortlist_page(found, screen.columns, top or None, screen.everything, cautions)

    screen.give(
        found,
        lambda: with_cautions([flat_row(p) for p in found.ranking], found.cautions),
        page,
        [*_beside(found, screen), *_none_fits(found)],
        [*flat_names(inputs[1]), "cautions"],
    )
    return 0 if found.ranking else 1


def _beside(found: Shortlist | Explanation | Outlook | Tipping | Gaps, screen: Screen) -> list[str]:
    """What CSV cannot say: warnings, and what was left out."""
    from advisor.present.left_out import told

    return [*found.warnings, *told(found.left_out, screen.everything)]


def _none_fits(found: Shortlist) -> list[str]:
    """What CSV cannot say: that no part fits, and which one nearly does."""
    if found.ranking:
        return []
    return ["Nothing fits." + (f" Nearest: {found.nearest_miss}" if found.nearest_miss else "")]


def explain(
    product: ProductArgument,
    part: Annotated[str, typer.Argument(metavar="PART", help="A part's id.")],
    over: Annotated[
        str | None,
        typer.Option(
            "--over",
            metavar="PART",
            help="The part to compare with; the winner if absent.",
            show_default=False,
        ),
    ] = None,
    *,
    files: RankedFiles,
    sampling: Sampling,
    show: Answer,
    cautions: CautionsOption = False,
) -> int:
    """Show where current, money and points go. One part is set against another.

    Example: part-advisor explain frost-post ostrel-yab --over tessimur-rud
    """
    from advisor.cli.progress import progress
    from advisor.present.machine import with_cautions
    from advisor.studies.explain import NotRankedError, ScoreItem, faults_of
    from advisor.studies.explain import explain as study
    from advisor.studies.results import names_of, plain

    screen = show.screen()
    try:
        with progress(show.quiet) as tell:
            inputs = files.product(product, rest=lambda c, _: faults_of(c, part, over))
            found = study(
                *inputs,
                part,
                over,
                draws=sampling.draws,
                seed=sampling.seed,
                jobs=sampling.workers,
                progress=tell,
                estimate_missing=files.estimate_missing,
                services=files.services,
            )
    except NotRankedError as error:
        if show.form is Format.TABLE:
            raise
        head = [*names_of(ScoreItem), "cautions"]
        answer = {
            "product": inputs[1].product,
            "part": part,
            "over": over,
            "ranked": False,
            "why": str(error),
        }
        screen.give(answer, list, _no_page, [str(error)], head)
        return 1

    def page() -> Page:
        from advisor.present.explanation import explanation_page

        return explanation_page(found, screen.columns, screen.everything, cautions)

    screen.give(
        found,
        lambda: with_cautions([plain(i) for i in found.score], found.cautions),
        page,
        _beside(found, screen),
    )
    return 0


def _no_page() -> Page:
    raise AssertionError("a screen says so in a line")


def outlook(
    product: ProductArgument,
    parts: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[PART]...",
            help="Parts to show; if absent, those that lead anywhere.",
            show_default=False,
        ),
    ] = None,
    along: AlongOption = None,
    points: Annotated[
        int, typer.Option("--points", metavar="N", min=2, max=400, help="Places on the way.")
    ] = 21,
    plot: Annotated[
        Path | None,
        typer.Option(
            "--plot", metavar="FILE.svg|png", help="Draw the curves there.", show_default=False
        ),
        WRITES,
    ] = None,
    *,
    files: RankedFiles,
    sampling: Sampling,
    show: Answer,
) -> int:
    """Show battery life and cost along a figure. Tells where the leader changes; may take a minute.

    Example: part-advisor outlook barrel-tag --along barrel-tag:cost.units=2000:9000 --points 5
    """
    from advisor.cli.progress import progress
    from advisor.cli.writing import file_by_ending
    from advisor.present.machine import with_cautions
    from advisor.stages import begin
    from advisor.studies.outlook import COLUMNS, document, faults_of
    from advisor.studies.outlook import outlook as study

    screen = show.screen()
    drawing = None if plot is None else files.noted(file_by_ending, plot)
    with progress(show.quiet) as tell:
        inputs = files.product(product, rest=lambda c, p: faults_of(c, p, parts or (), along or ()))
        found = study(
            *inputs,
            parts or (),
            along or (),
            points=points,
            draws=sampling.draws,
            seed=sampling.seed,
            jobs=sampling.workers,
            progress=tell,
            estimate_missing=files.estimate_missing,
            services=files.services,
        )
        if drawing is not None:
            from advisor.present.curves import save_plot

            begin(tell, "drawing the curves")
            screen.keep(drawing, save_plot(found, drawing), "--plot")

    def page() -> Page:
        from advisor.present.curves import outlook_page

        return outlook_page(found, screen.columns, screen.everything)

    screen.give(
        document(found),
        lambda: with_cautions(found.rows(), found.cautions),
        page,
        _beside(found, screen),
        [*COLUMNS, "cautions"],
    )
    fits = any(p.battery_life_s for one in found.levers for c in one.curves for p in c.points)
    return 0 if fits else 1


def tipping(
    product: ProductArgument,
    levers: Annotated[
        list[str] | None,
        typer.Option(
            "--lever",
            metavar="PATH|ID",
            help="A figure to move, or all of a record by its id. If absent: the product's, "
            "prices, and what the two leading parts rest on; half a minute to several.",
            show_default=False,
        ),
    ] = None,
    points: Annotated[
        int, typer.Option("--points", metavar="N", min=1, max=400, help="Places on each side.")
    ] = 12,
    plot: Annotated[
        Path | None,
        typer.Option(
            "--plot", metavar="FILE.svg|png", help="Draw the tips there.", show_default=False
        ),
        WRITES,
    ] = None,
    *,
    files: RankedFiles,
    sampling: Sampling,
    show: Answer,
) -> int:
    """Tell what would change the winner. Each figure has the value at which another part leads.

    Example: part-advisor tipping barrel-tag --lever quorvane-tib:price.breaks.10000
    """
    from advisor.cli.progress import progress
    from advisor.cli.writing import file_by_ending
    from advisor.present.machine import with_cautions
    from advisor.stages import begin
    from advisor.studies.tipping import ROW, faults_of
    from advisor.studies.tipping import tipping as study

    screen = show.screen()
    drawing = None if plot is None else files.noted(file_by_ending, plot)
    with progress(show.quiet) as tell:
        inputs = files.product(product, rest=lambda c, p: faults_of(c, p, levers or ()))
        found = study(
            *inputs,
            levers or (),
            points=points,
            draws=sampling.draws,
            seed=sampling.seed,
            jobs=sampling.workers,
            progress=tell,
            estimate_missing=files.estimate_missing,
            services=files.services,
        )
        if drawing is not None:
            from advisor.present.lever_plots import save_tips

            begin(tell, "drawing the tips")
            screen.keep(drawing, save_tips(found, drawing), "--plot")

    def page() -> Page:
        from advisor.present.tipping import tipping_page

        return tipping_page(found, screen.columns, screen.everything)

    screen.give(
        found,
        lambda: with_cautions(found.rows(), found.cautions),
        page,
        [*_beside(found, screen), *_not_moved(found, screen)],
        (*ROW, "cautions"),
    )
    return 0 if found.winner is not None else 1


def _not_moved(found: Tipping, screen: Screen) -> list[str]:
    """What CSV cannot say: figures that are moved only where they are asked for."""
    from advisor.present.tipping import unmoved

    line = unmoved(found, screen.everything)
    return [line] if line else []


def gaps(
    product: ProductArgument,
    plot: Annotated[
        Path | None,
        typer.Option(
            "--plot",
            metavar="FILE.svg|png",
            help="Draw worth over effort there.",
            show_default=False,
        ),
        WRITES,
    ] = None,
    *,
    files: RankedFiles,
    sampling: ManyDraws,
    show: Answer,
) -> int:
    """Tell what to measure next. Each figure has what knowing it first is worth.

    Example: part-advisor gaps barrel-tag
    """
    from advisor.cli.progress import progress
    from advisor.cli.writing import file_by_ending
    from advisor.present.machine import with_cautions
    from advisor.stages import begin
    from advisor.studies.gaps import gaps as study
    from advisor.studies.gaps import row_names

    screen = show.screen()
    drawing = None if plot is None else files.noted(file_by_ending, plot)
    with progress(show.quiet) as tell:
        inputs = files.product(product)
        found = study(
            *inputs,
            draws=sampling.draws,
            seed=sampling.seed,
            jobs=sampling.workers,
            progress=tell,
            estimate_missing=files.estimate_missing,
            services=files.services,
        )
        if drawing is not None:
            from advisor.present.lever_plots import save_worths

            begin(tell, "drawing the worths")
            screen.keep(drawing, save_worths(found, drawing), "--plot")

    def page() -> Page:
        from advisor.present.gaps import gaps_page

        return gaps_page(found, screen.columns, screen.everything)

    screen.give(
        found,
        lambda: with_cautions(found.rows(), found.cautions),
        page,
        _beside(found, screen),
        (*row_names(), "cautions"),
    )
    return 0 if found.chosen is not None else 1
