"""Invented tables as people keep them, and maps for them."""

from __future__ import annotations

import datetime
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import xlsxwriter

MAP = """\
sheet: Parts
header: [2, 3]
unit-row: 4
decimal: comma
thousands: point
blanks: ["-", n/a]
part: Part
keys:
  maker: Maker
  memory.flash: {column: Flash, unit: KiB}
  memory.ram: {column: RAM, unit: KiB}
  supply.min: {column: VDD, end: low}
  supply.max: {column: VDD, end: high}
  sleep-states.ram-kept.current.25 degC: Sleep / 25 °C
  sleep-states.ram-kept.current.85 degC: Sleep / 85 °C
  price.breaks.1: 1+
  price.breaks.100: 100+
  price.breaks.1000: 1.000+
  price.lead-time: Lead time
  lifecycle: {column: Status, words: {NRND: last-orders}}
constants:
  price.currency: EUR
  evidence.sheet.kind: datasheet
  sleep-states.ram-kept.evidence: sheet
skip-rows: ["7"]
"""
ABOVE: Sequence[tuple[str, str]] = (
    *(("Part", ""), ("Maker", ""), ("Memory", "Flash"), ("Memory", "RAM"), ("VDD", "")),
    *(("Sleep", "25 °C"), ("Sleep", "85 °C"), ("Price (EUR)", "1+"), ("Price (EUR)", "100+")),
    *(("Price (EUR)", "1.000+"), ("Status", ""), ("Lead time", "")),
)
UNITS = ("", "", "KB", "KB", "V", "µA", "µA", "", "", "", "", "weeks")
ROWS: Sequence[Sequence[Any]] = (
    *(
        ("Orlen KAV", "Orlen", 88, 14, "1,8 – 3,6", "1,03", "8,27", "1,12", "0,88", "0,71"),
        ("Orlen TUL", "Orlen", "1.088", 208, "1,7 – 3,6", "-", "12,5", 3.4, "2,95", 2.412),
        ("Low power line",),
        ("Sundry POJ", "Sundry", 56, 6.5, "2,0 – 5,5", "0,4", "", "0,55", "n/a", "0,31"),
    ),
)
LAST = (("Active", "12"), ("NRND", "-"), (), ("Active", 26))


def lines() -> list[list[Any]]:
    """The rows below the unit row, with their last two cells."""
    return [[*row, *last] for row, last in zip(ROWS, LAST, strict=True)]


def messy_workbook(path: Path) -> Path:
    """A title, a merged header, a row of units, blanks of several kinds, texts and numbers."""
    book = xlsxwriter.Workbook(str(path))
    sheet = book.add_worksheet("Parts")
    book.add_worksheet("Notes").write(0, 0, "all of it is invented")
    sheet.write(0, 0, "Parts for the vineyard, as of spring (invented)")
    at = 0
    while at < len(ABOVE):
        above, below = ABOVE[at]
        end = at
        while end + 1 < len(ABOVE) and ABOVE[end + 1][0] == above:
            end += 1
        if not below:
            sheet.merge_range(1, at, 2, at, above)
        else:
            sheet.merge_range(1, at, 1, end, above)
            for column in range(at, end + 1):
                sheet.write(2, column, ABOVE[column][1])
        at = end + 1
    for column, unit in enumerate(UNITS):
        sheet.write(3, column, unit)
    for row, cells in enumerate(lines(), 4):
        for column, cell in enumerate(cells):
            sheet.write(row, column, cell)
    book.close()
    return path


def messy_text(path: Path) -> Path:
    """The same as a spreadsheet saves it as text: semicolons, decimal commas, cp1252."""
    above = [a if i == 0 or ABOVE[i - 1][0] != a else "" for i, (a, _) in enumerate(ABOVE)]
    rows = [
        ["Parts for the vineyard, as of spring (invented)"],
        above,
        [below for _, below in ABOVE],
        UNITS,
        *lines(),
    ]
    text = "\r\n".join(";".join(map(_as_text, row)) for row in rows) + "\r\n"
    path.write_bytes(text.encode("cp1252"))
    return path


def _as_text(cell: Any) -> str:
    return str(cell).replace(".", ",") if isinstance(cell, float) else str(cell)


def small_tables(folder: Path) -> None:
    """`parts.csv` with `map.yaml`, `quote.csv` with `quote.yaml`, and `ours` to put it onto."""
    (folder / "parts.csv").write_text("Part,Flash (KiB)\none,64\n", "utf-8")
    (folder / "map.yaml").write_text("part: Part\nkeys: {memory.flash: Flash}\n", "utf-8")
    (folder / "quote.csv").write_text("Part,Each (EUR)\ntwo,1.20\n", "utf-8")
    keys = "{price.breaks.1: Each}\nconstants: {price.currency: EUR}\n"
    (folder / "quote.yaml").write_text(f"part: Part\nkeys: {keys}", "utf-8")
    (folder / "ours" / "parts").mkdir(parents=True)
    (folder / "ours" / "parts" / "two.yaml").write_text("part: two  # ours\n", "utf-8")


def workbook(path: Path, rows: Sequence[Sequence[Any]], **formats: Any) -> Path:
    """A workbook of one sheet; a cell may be a (value, number format)."""
    book = xlsxwriter.Workbook(str(path), formats)
    sheet = book.add_worksheet("Parts")
    for row, cells in enumerate(rows):
        for column, cell in enumerate(cells):
            if isinstance(cell, tuple):
                form = book.add_format({"num_format": cell[1]})
                sheet.write(row, column, cell[0], form)
            elif isinstance(cell, datetime.date):
                sheet.write_datetime(row, column, cell, book.add_format({"num_format": "d-mmm"}))
            elif cell is not None:
                sheet.write(row, column, cell)
    book.close()
    return path


def parts_of_xml(parts: dict[str, bytes]) -> bytes:
    """An archive of some parts, packed."""
    import zipfile

    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return out.getvalue()


_RELATED = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def bare_workbook(sheet: bytes, **more: bytes) -> bytes:
    """The least that a workbook is, around the XML of one sheet (ECMA-376 part 1, 18)."""
    package = "http://schemas.openxmlformats.org/package/2006/relationships"
    parts = {
        "_rels/.rels": f'<Relationships xmlns="{package}"><Relationship Id="r1" '
        f'Type="{_RELATED}/officeDocument" Target="xl/workbook.xml"/></Relationships>'.encode(),
        "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_RELATED}"><sheets>'
        '<sheet name="Parts" sheetId="1" r:id="r1"/></sheets></workbook>'.encode(),
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{package}"><Relationship Id="r1" '
        f'Type="{_RELATED}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>'.encode(),
        "xl/worksheets/sheet1.xml": sheet,
    }
    return parts_of_xml(parts | {f"xl/{name}.xml": data for name, data in more.items()})


def sheet_xml(cells: str) -> bytes:
    """The XML of a sheet with such rows."""
    return f'<worksheet xmlns="{_MAIN}"><sheetData>{cells}</sheetData></worksheet>'.encode()
