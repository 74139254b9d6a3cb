"""`schema`: the keys of the files."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli.bundles import Command, Show

if TYPE_CHECKING:
    from advisor.present.layout import Page


def register(app: typer.Typer) -> None:
    """Put the command on the application."""
    app.command()(Command(schema))


def schema(
    kind: Annotated[
        str,
        typer.Argument(
            metavar="KIND",
            help=(
                "part, cell, converter, addon, kernels, product, family, record, family-record, "
                "notes, instrument, hours, map or project."
            ),
        ),
    ],
    *,
    show: Show,
) -> int:
    """List the keys of a kind of file. As JSON: its JSON Schema, draft 2020-12.

    Example: part-advisor schema part --format json
    """
    from advisor.studies.schema import schema as study

    screen = show.screen()
    found = study(kind)

    def page() -> Page:
        from advisor.present.reference import reference_page

        return reference_page(found, screen.columns)

    screen.give(found.document, lambda: found.rows(), page)
    return 0
