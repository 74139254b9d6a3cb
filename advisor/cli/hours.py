"""Commands of the log of hours: `hours add|list`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli.bundles import Command, Form
from advisor.cli.options import READS, WRITES

if TYPE_CHECKING:
    from advisor.present.layout import Page

hours = typer.Typer(
    help="The log of hours from the box to the first working program: add, list.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@hours.command("add")
@Command
def hours_add(
    log: Annotated[Path, typer.Argument(metavar="LOG", help="The log, new or standing."), WRITES],
    part: Annotated[str, typer.Option("--part", metavar="ID", help="The part.")],
    day: Annotated[str, typer.Option("--date", metavar="DAY", help="Such as 2026-03-11.")],
    start: Annotated[str, typer.Option("--start", metavar="TIME", help="Such as 09:30.")],
    stop: Annotated[str, typer.Option("--stop", metavar="TIME", help="Such as 11:00.")],
    did: Annotated[
        str | None,
        typer.Option("--did", metavar="TEXT", help="What was done.", show_default=False),
    ] = None,
    in_the_way: Annotated[
        str | None,
        typer.Option(
            "--in-the-way", metavar="TEXT", help="What stood in the way.", show_default=False
        ),
    ] = None,
    question: Annotated[
        str | None,
        typer.Option(
            "--question",
            metavar="Q",
            help="The question on the toolchain that it bears on, such as debug.",
            show_default=False,
        ),
    ] = None,
    answer: Annotated[
        str | None,
        typer.Option(
            "--answer",
            metavar="A",
            help="none, partial or full, to --question.",
            show_default=False,
        ),
    ] = None,
    works: Annotated[
        bool, typer.Option("--works", help="At its end the first program worked.")
    ] = False,
    toolchain: Annotated[
        str | None,
        typer.Option("--toolchain", metavar="ID", help="The toolchain.", show_default=False),
    ] = None,
    *,
    show: Form,
) -> int:
    """Add a sitting to a log of hours. Until the first program works, and what stood in the way.

    Example: part-advisor hours add log.yaml --part one --date 2026-03-11 --start 09:30 --stop 11:00
    """
    from advisor.studies.hours import added
    from advisor.studies.hours import hours as study

    screen = show.screen()
    given = {
        "date": day,
        "start": start,
        "stop": stop,
        "did": did,
        "in-the-way": in_the_way,
        "question": question,
        "answer": answer,
        "works": "true" if works else None,
    }
    text = added(log, part, {k: v for k, v in given.items() if v is not None}, toolchain)
    found = study(log, text)
    screen.keep(log, text.encode())

    def page() -> Page:
        from advisor.present.hours import hours_page

        return hours_page(found, screen.columns)

    screen.give(found.document(), lambda: found.rows(), page)
    return 0


@hours.command("list")
@Command
def hours_list(
    log: Annotated[Path, typer.Argument(metavar="LOG", help="The log."), READS],
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            metavar="PART.yaml",
            help="Put the set-up time and the answers into this part's file.",
            show_default=False,
        ),
        WRITES,
    ] = None,
    *,
    show: Form,
) -> int:
    """List a log of hours. With what it says of set-up time and toolchain.

    Example: part-advisor hours list log.yaml
    """
    from advisor.source import read_bytes
    from advisor.studies.hours import hours as study
    from advisor.studies.hours import into_part, notes
    from advisor.studies.results import plain
    from advisor.studies.standing import Replaced, replaced

    screen = show.screen()
    found = study(log)
    document = found.document()
    gone: tuple[Replaced, ...] = ()
    if output is not None:
        before = read_bytes(output, str(output)).decode("utf-8")
        after = into_part(found, str(log), before, str(output))
        gone = replaced(before, after, str(output))
        screen.keep(output, after.encode())
        document["replaced"] = [plain(one) for one in gone]

    def page() -> Page:
        from advisor.present.hours import hours_page

        return hours_page(found, screen.columns)

    screen.give(document, lambda: found.rows(), page, tuple(notes(found)))
    screen.warn([f"{output}: {one.words()}" for one in gone])
    return 0
