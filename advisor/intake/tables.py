"""The door to tables: a file's ending says how it is read."""

from __future__ import annotations

from pathlib import Path

from advisor.intake.delimited import read_delimited
from advisor.intake.grid import Grid, refused
from advisor.intake.workbooks import read_workbook


def read_grid(
    path: Path,
    *,
    sheet: str | None = None,
    encoding: str | None = None,
    delimiter: str | None = None,
    data: bytes | None = None,
    guess: bool = False,
) -> Grid:
    """Read a table, `.csv`, `.tsv` or `.txt`, or a workbook, `.xlsx`.

    Parameters
    ----------
    sheet, encoding, delimiter : as a map has them; None to be told from the file.
    data : what is about to be the file's.
    guess : whether of several sheets the one with most cells is meant.

    Raises
    ------
    FaultError
        For a file that cannot be read, that is no table, or too large a one.
    """
    ending = path.suffix.lower()
    if ending in (".xlsx", ".xlsm"):
        return read_workbook(path, sheet, data, guess=guess)
    if ending not in (".csv", ".tsv", ".txt"):
        expected = "a table that ends in .csv, .tsv, .txt or .xlsx"
        if ending in (".xls", ".ods"):
            expected += ": save it as one"
        raise refused(str(path), f'"{path.name}"', expected)
    if sheet is not None:
        raise refused(str(path), f'sheet "{sheet}"', "no sheet: a text file has none")
    return read_delimited(path, encoding, delimiter, data)
