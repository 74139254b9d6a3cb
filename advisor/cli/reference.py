"""`schema`: the keys of the files."""

from __future__ import annotations

from typing import Annotated

import typer

from advisor.cli.options import (
    Format,
    FormatOption,
    NoColorOption,
    OutputOption,
    QuietOption,
    WidthOption,
)


def register(app: typer.Typer) -> None:
    """Put the command on the application."""
    app.command()(schema)


def schema(
    kind: Annotated[
        str,
        typer.Argument(metavar="KIND", help="part, cell, converter, addon, kernels or product."),
    ],
    form: FormatOption = Format.TABLE,
    output: OutputOption = None,
    width: WidthOption = 0,
    no_color: NoColorOption = False,
    quiet: QuietOption = False,
) -> int:
    """List the keys of a kind of file. As JSON: its JSON Schema, draft 2020-12.

    Example: part-advisor schema part --format json
    """
    from advisor.cli.output import Screen
    from advisor.present.machine import to_csv, to_json
    from advisor.studies.schema import schema as study

    screen = Screen(form, output, width, no_color, quiet)
    found = study(kind)
    if form is Format.JSON:
        screen.text(to_json(found.document))
    elif form is Format.CSV:
        screen.text(to_csv(found.rows()))
    else:
        from advisor.present.reference import reference_page

        screen.page(reference_page(found, screen.columns))
    return 0
