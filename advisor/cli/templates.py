"""Forms of an entry of the catalogue: those of any answer, and its own file."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli.bundles import Look
from advisor.cli.options import Format, OutputOption

if TYPE_CHECKING:
    from advisor.cli.output import Screen


class EntryFormat(StrEnum):
    """Forms of output of an entry."""

    TABLE = "table"
    JSON = "json"
    CSV = "csv"
    YAML = "yaml"


EntryFormatOption = Annotated[
    EntryFormat,
    typer.Option("--format", help="Form of the output; yaml: the entry's file, as a template."),
]


class EntryShow(Look):
    """All of how an entry is shown."""

    form: EntryFormatOption = EntryFormat.TABLE
    output: OutputOption = None

    @property
    def as_template(self) -> bool:
        """Whether the entry's own file is asked for."""
        return self.form is EntryFormat.YAML

    def screen(self) -> Screen:
        """Where and how the entry is shown; refuses a place that cannot be written."""
        from advisor.cli.output import Screen

        form = Format.TABLE if self.as_template else Format(self.form.value)
        return Screen(
            form=form,
            output=self.output,
            width=self.width,
            no_color=self.no_color,
            quiet=self.quiet,
        )
