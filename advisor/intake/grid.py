"""A table as it stands in a file: columns of texts with the row of each, within bounds.

Text files and workbooks become the same: a text a cell, nothing where it is blank. What a workbook
says of a cell beyond its text leads that text as a mark, which no text of a file can hold.
"""

from __future__ import annotations

import contextlib
import io
import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from advisor.dataclass import dataclass, field
from advisor.faults import Fault, FaultError, Place, letters

if TYPE_CHECKING:
    import polars as pl

MOST_COLUMNS = 16_384  # as a sheet of a workbook has (ECMA-376 leaves it open; common practice)
MOST_ROWS = 1_048_576
MOST_CELLS = 4_000_000
LONGEST_LINE = 1 << 20  # bytes of a line, or characters of a cell
LARGEST = 256 << 20  # bytes of a text file

# marks of cells that a workbook has typed
NUMBER, DATE, BROKEN, FORMULA = "\0n", "\0d", "\0e", "\0f"
MARK = "\0"


@dataclass(frozen=True, slots=True)
class Region:
    """Cells merged into one, rows and columns from 1, both ends inside."""

    top: int
    left: int
    bottom: int
    right: int


@dataclass(frozen=True, slots=True)
class Grid:
    """The cells of a table.

    `columns` hold its cells, null where blank; `numbers` the row of each in the file (its line in a
    text file). `notes` say what was guessed of the file, `layout` what a map would say of it.
    """

    file: str
    sheet: str
    columns: Sequence[pl.Series]
    numbers: Sequence[int]
    regions: Sequence[Region] = ()
    notes: tuple[str, ...] = ()
    layout: dict[str, str] = field(default_factory=dict)

    def place(self, row: int, column: int) -> Place:
        """Where a cell stands, its indices from 0."""
        return Place(self.file, self.numbers[row], column + 1, self.sheet)

    def row(self, index: int) -> list[str | None]:
        """The cells of a row, by its index."""
        return [column[index] for column in self.columns]

    def name(self, column: int) -> str:
        """A column by its letters, its index from 0."""
        return letters(column + 1)


def refused(
    file: str, read: str, expected: str, *, row: int = 1, column: int = 1, sheet: str = ""
) -> FaultError:
    """The error of one fault in a table."""
    return FaultError((Fault("table", read, expected, Place(file, row, column, sheet)),))


@contextlib.contextmanager
def opened(path: Path, data: bytes | None = None) -> Iterator[io.BufferedIOBase]:
    """A file of cells, opened for its bytes.

    Parameters
    ----------
    data : what is about to be the file's.

    Raises
    ------
    FaultError
        When it is no file that can be read.
    """
    file, expected = str(path), "a table that can be read"
    if data is not None:
        yield io.BytesIO(data)
        return
    try:
        if os.path.exists(path) and not os.path.isfile(path):
            read = "a folder" if os.path.isdir(path) else "something that is no file"
            raise refused(file, read, expected)
        handle = open(path, "rb")  # noqa: SIM115 - closed below
    except FileNotFoundError:
        raise refused(file, "no such file", expected) from None
    except (OSError, ValueError) as error:
        read = str(getattr(error, "strerror", None) or "a name that cannot be")
        raise refused(file, read, expected) from None
    with handle:
        yield handle


def shown(cell: str) -> str:
    """A cell's text without its mark."""
    return cell[2:] if cell.startswith(MARK) else cell
