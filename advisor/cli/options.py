"""Options that commands share, each declared once."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

# marks of parameters: what names a file or folder that the run reads, what one that it writes
READS, WRITES = "reads", "writes"
LEAST_WIDTH = 40  # columns of a screen


class Format(StrEnum):
    """Forms of output."""

    TABLE = "table"
    JSON = "json"
    CSV = "csv"


class NarrowError(typer.BadParameter):
    """A width that is no screen's."""

    expected = f"0, or a whole number, {LEAST_WIDTH} at least"


def _wide_enough(width: int) -> int:
    if 0 < width < LEAST_WIDTH:
        raise NarrowError(f"{width} is neither 0 nor {LEAST_WIDTH} at least.")
    return width


ProductArgument = Annotated[
    str,
    typer.Argument(metavar="PRODUCT", help="A product's id, a file, or - for input."),
    READS,
]
FamilyOrProductArgument = Annotated[
    str,
    typer.Argument(
        metavar="FAMILY|PRODUCT",
        help="A family's or a product's id, a file, or - for a product by input.",
    ),
    READS,
]
CatalogOption = Annotated[
    list[Path] | None,
    typer.Option(
        "--catalog",
        metavar="DIR",
        help="A catalogue folder in place of the shipped one; later ones are laid over earlier.",
        show_default=False,
    ),
    READS,
]
SetOption = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="PATH=VALUE",
        help="Change a figure for this run, such as ostrel-yab:price.breaks.1=1.80; null leaves "
        "it out.",
        show_default=False,
    ),
]
SeedOption = Annotated[
    int,
    typer.Option("--seed", metavar="N", min=0, max=10**12 - 1, help="Seed of the draws."),
]
DrawsOption = Annotated[
    int,
    typer.Option("--draws", metavar="N", min=0, max=1_000_000, help="Number of draws; 0 for none."),
]
JobsOption = Annotated[
    int | None,
    typer.Option(
        "--jobs", metavar="N", min=1, max=64, help="Workers; a core each unless told. Same result."
    ),
]
FormatOption = Annotated[Format, typer.Option("--format", help="Form of the output.")]
OutputOption = Annotated[
    Path | None,
    typer.Option(
        "--output", "-o", metavar="FILE", help="Write there, all or nothing.", show_default=False
    ),
    WRITES,
]
WidthOption = Annotated[
    int,
    typer.Option(
        "--width",
        metavar="N",
        min=0,
        max=10_000,
        callback=_wide_enough,
        help="Columns to use, 40 at least; 0: the terminal's, or no limit in a pipe.",
    ),
]
NoColorOption = Annotated[bool, typer.Option("--no-color", help="No colour.")]
AllOption = Annotated[
    bool, typer.Option("--all", help="Unfold it all: what was left out, with why (table, CSV).")
]
CautionsOption = Annotated[
    bool, typer.Option("--cautions", help="Tell every caution, those of other cells too (table).")
]
QuietOption = Annotated[bool, typer.Option("--quiet", "-q", help="No warnings on standard error.")]
NoCacheOption = Annotated[
    bool, typer.Option("--no-cache", help="Read every file; neither use nor keep the cache.")
]
AlongOption = Annotated[
    list[str] | None,
    typer.Option(
        "--along",
        metavar="PATH[=FROM:TO]",
        help="A figure to move; if absent, the busiest task's period, and the units.",
        show_default=False,
    ),
]
EstimateOption = Annotated[
    bool,
    typer.Option("--estimate-missing", help="Estimate kernels that a part was not measured with."),
]
