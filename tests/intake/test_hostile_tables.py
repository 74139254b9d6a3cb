"""Tables made to exhaust, to deceive or to break are told clearly, in bounded time and memory."""

from __future__ import annotations

import datetime
import io
import json
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest

from advisor.faults import FaultError
from advisor.intake.formats import Format, format_of, plain
from advisor.intake.grid import DATE, FORMULA, NUMBER, Grid, shown
from advisor.intake.tables import read_grid
from tests.intake.sheets import (
    bare_workbook,
    messy_workbook,
    parts_of_xml,
    sheet_xml,
    workbook,
)
from tests.intake.test_tables import SIMPLE, only, refused, through

SECONDS, MEGABYTES = 5.0, 200.0

# what a run takes beyond what starting and importing take; the peak of all that went before too
_CHILD = """
import json, resource, sys, time
from pathlib import Path
import polars
from advisor.faults import FaultError
from advisor.intake.tables import read_grid
import advisor.intake.delimited, advisor.intake.workbooks
polars.Series([""], dtype=polars.String).str.strip_chars()
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
out = []
for name in sys.argv[1:]:
    start = time.process_time()
    try:
        read_grid(Path(name))
        said = ""
    except FaultError as error:
        said = str(error)
    took = time.process_time() - start
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    out.append([said, took, (after - before) / 1024])
print(json.dumps(out))
"""


def bounded(*paths: Path) -> list[str]:
    """The fault of each table, read in a process of its own within the bounds."""
    done = subprocess.run(
        [sys.executable, "-c", _CHILD, *map(str, paths)],
        capture_output=True,
        timeout=120,
        check=True,
    )
    out = []
    for path, (said, seconds, megabytes) in zip(paths, json.loads(done.stdout), strict=True):
        assert seconds < SECONDS, f"{path.name}: {seconds} s"
        assert megabytes < MEGABYTES, f"{path.name}: {megabytes} MB"
        out.append(str(said))
    return out


def packed(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


def cell(at: str, value: str, kind: str = "n") -> str:
    row = at.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    return f'<row r="{row}"><c r="{at}" t="{kind}"><v>{value}</v></c></row>'


def said_larger(data: bytes, size: int) -> bytes:
    """A workbook whose sheet says another size of itself, in the list of its parts."""
    archive = zipfile.ZipFile(io.BytesIO(data))
    own = archive.getinfo("xl/worksheets/sheet1.xml").file_size
    at = data.rindex(own.to_bytes(4, "little"))
    return data[:at] + size.to_bytes(4, "little") + data[at + 4 :]


ENTITY = b'<!DOCTYPE a [<!ENTITY b "bb">]>'
BOOK = bare_workbook(sheet_xml(cell("A1", "1") + " " * 5000))
TEXTS: dict[str, tuple[Callable[[], bytes], str]] = {
    "nul": (lambda: b"Part;Flash\na;1\nb\0;2\n", ":3:1: table: read a NUL"),
    "escape": (lambda: b"Part;Flash\na;\x1b[31m1\n", ":2:1: table: read the control character"),
    "bidi": (lambda: "Part;Flash\na;\u202e1\n".encode(), "bidirectional control"),
    "c1": (lambda: "Part;Flash\na\x85;1\n".encode(), "the control character U+0085"),
    "wide": (lambda: b";".join(b"c%d" % i for i in range(40_000)) + b"\n", "40000 columns"),
    "open": (lambda: b'"Part;Flash\n' + b"a;1\n" * 300_000, "a row that breaks off"),
    "quote": (lambda: b'Part;Flash\n"a"b;1\n', "a row that breaks off"),
    "long": (lambda: b"\n" * 1_100_000, "rows; expected at most 1048576"),
    "many": (lambda: (b'"";' * 5000 + b"\n") * 1000, "cells; expected at most 4000000"),
    "archive": (lambda: BOOK, "the control character"),
}
BOOKS: dict[str, tuple[Callable[[], bytes], str]] = {
    "large": (lambda: said_larger(BOOK, 600 << 20), "600 MiB unpacked"),
    "blank": (lambda: bare_workbook(b"<a>" + b" " * (40 << 20)), "times its size"),
    "short": (lambda: said_larger(BOOK, 100), "xl/worksheets/sheet1.xml"),
    "twice": (lambda: bare_workbook(sheet_xml(cell("A1", "1") * 2)), "a cell that stands twice"),
    "far": (lambda: bare_workbook(sheet_xml(cell("XFE1", "1"))), "Parts!XFE1: table: read column"),
    "deep": (lambda: bare_workbook(sheet_xml(cell("A1048577", "1"))), "row 1048577"),
    "beyond": (lambda: bare_workbook(sheet_xml('<row r="99999999999"/>')), "row 99999999999"),
    "text": (lambda: bare_workbook(sheet_xml(cell("A1", "7", "s"))), "a text that the workbook"),
    "number": (lambda: bare_workbook(sheet_xml(cell("A1", "1x"))), 'Parts!A1: table: read "1x"'),
    "open": (lambda: bare_workbook(b"<worksheet><sheetData>"), "broken in line 1"),
    "entity": (lambda: bare_workbook(ENTITY + sheet_xml(cell("A1", "&b;"))), "a document type in"),
    "other": (lambda: parts_of_xml({"a.txt": b"x"}), "an archive of something else"),
    "cut": (lambda: BOOK[:-30], "what is no workbook"),
    "secret": (lambda: b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(512), "a password"),
    "csv": (lambda: b"Part;Flash\n", "what is no workbook"),
    "parts": (lambda: parts_of_xml({f"x{i}": b"" for i in range(10_001)}), "10001 parts"),
}


@pytest.mark.once
def test_tables_made_to_break(tmp_path: Path) -> None:
    paths, words = [], []
    # 3 GB of one line: a hole in a file, which takes no room on disk
    paths.append(tmp_path / "line.csv")
    with paths[0].open("wb") as file:
        file.write(b"Part;Flash\na;" + b"1" * (2 << 20))
        file.truncate(3 << 30)
    words.append("line.csv:2:1: table: read a line without end")
    for made, ending in ((TEXTS, "csv"), (BOOKS, "xlsx")):
        for name, (data, said) in made.items():
            paths.append(packed(tmp_path / f"{name}.{ending}", data()))
            words.append(said)
    for path, wanted, said in zip(paths, words, bounded(*paths), strict=True):
        assert wanted in said, path.name


def test_external_entities_are_not_followed(tmp_path: Path) -> None:
    secret = packed(tmp_path / "s.txt", b"hidden")
    evil = f'<!DOCTYPE a [<!ENTITY b SYSTEM "file://{secret}">]>'.encode()
    path = packed(tmp_path / "t.xlsx", bare_workbook(evil + sheet_xml(cell("A1", "&b;"))))
    with pytest.raises(FaultError, match="a document type") as error:
        read_grid(path)
    assert "hidden" not in str(error.value)


def cells(grid: Grid) -> list[list[str | None]]:
    """The cells below the header, row by row."""
    return [grid.row(at) for at in range(1, len(grid.numbers))]


def test_formulas_count_by_what_they_came_to(tmp_path: Path) -> None:
    """ECMA-376 part 1, 18.3.1.40: `f` beside the value that was calculated last."""
    formula = '<row r="2"><c r="A2" t="str"><f>"a"</f><v>a</v></c><c r="B2"><f>2*32</f>{}</c></row>'
    head = '<row r="1"><c r="A1" t="inlineStr"><is><t>Part</t></is></c>'
    head += '<c r="B1" t="inlineStr"><is><t>Flash (KiB)</t></is></c></row>'
    done = bare_workbook(sheet_xml(head + formula.format("<v>64</v>")))
    found = through(tmp_path, packed(tmp_path / "t.xlsx", done), SIMPLE)
    assert "flash: 64 KiB" in only(found)
    empty = bare_workbook(sheet_xml(head + formula.format("")))
    (fault,) = refused(tmp_path, empty, SIMPLE, "t.xlsx")
    assert fault.startswith("t.xlsx:Parts!B2: memory.flash: read a formula without its value")


def test_values_that_were_never_calculated_are_none(tmp_path: Path) -> None:
    """A library writes 0 beside a formula and asks for calculation on opening (calcPr, 18.2.2)."""
    rows: list[list[Any]] = [["Part", "Flash (KiB)"], ["a", "=2*32"]]
    path = workbook(tmp_path / "t.xlsx", rows)
    # an independent reader sees the zero
    assert pd.read_excel(path).iloc[0, 1] == 0
    (fault,) = refused(tmp_path, path.read_bytes(), SIMPLE, "t.xlsx")
    assert "a formula without its value" in fault
    assert cells(read_grid(path))[0][1] == FORMULA


@pytest.mark.parametrize("since_1904", [False, True])
def test_dates_made_of_figures_are_told(tmp_path: Path, since_1904: bool) -> None:
    day = datetime.datetime(2026, 2, 1)
    rows: list[list[Any]] = [["Part", "Flash (KiB)"], ["a", day]]
    path = workbook(tmp_path / "t.xlsx", rows, date_1904=since_1904)
    (fault,) = refused(tmp_path, path.read_bytes(), SIMPLE, "t.xlsx")
    assert fault.startswith("t.xlsx:Parts!B2: memory.flash: read the date 2026-02-01; expected")
    assert "a figure that became a date?" in fault
    assert openpyxl.load_workbook(path)["Parts"]["B2"].value == day
    text = SIMPLE.replace("memory.flash: Flash (KiB)", "evidence.sheet.date: Flash (KiB)")
    assert "date: 2026-02-01" in only(through(tmp_path, path, text))


def test_numbers_without_what_binary_fractions_add(tmp_path: Path) -> None:
    """As a spreadsheet shows them: 15 digits; a per cent and a unit by the cell's format."""
    shown_as = {
        0.1 + 0.2: "0.3",
        0.28999999999999998: "0.29",
        1e-6: "1e-6",
        2.412: "2.412",
        1000.0: "1000",
        123456789012345.0: "123456789012345",
        -40.0: "-40",
    }
    rows = [[value] for value in shown_as]
    grid = read_grid(workbook(tmp_path / "t.xlsx", [["n"], *rows]))
    assert [shown(row[0] or "") for row in cells(grid)] == list(shown_as.values())
    forms = [
        *((0.125, "0.0%"), (2.3, '0.0" mA"'), (1.12, "#,##0.00 [$€-407]"), (5e-7, "0.00E+00")),
        *(
            (45000, "yyyy-mm-dd"),
            (0.5, "[h]:mm"),
            (12, '0" of "0'),
            (3, "General"),
            (-4, "0;[Red]-0"),
        ),
    ]
    grid = read_grid(workbook(tmp_path / "t.xlsx", [["n"], *[[one] for one in forms]]))
    assert [row[0] for row in cells(grid)] == [
        *(NUMBER + "12.5 %", NUMBER + "2.3 mA", NUMBER + "1.12 €", NUMBER + "5e-7"),
        *(DATE + "2023-03-15", DATE + "1899-12-31 12:00"),
        *(NUMBER + "12 of", NUMBER + "3", NUMBER + "-4"),
    ]


def test_formats_of_cells() -> None:
    """ECMA-376 part 1, 18.8.30: the built-in numbers, and codes of one's own."""
    assert format_of(9, None) == Format(per_cent=True)
    assert format_of(14, None).date
    assert format_of(22, None).date
    assert not format_of(2, None).date
    assert format_of(164, 'dd"."mm').date
    assert not format_of(164, '0.0" d"').date
    assert format_of(164, '0.0" d"').unit == "d"
    assert format_of(164, '0.0,," MHz"').scaled
    assert format_of(164, '0.0,," MHz"').shown(5e6).startswith("scaled")
    # the serial numbers of ECMA-376 part 1, 18.17.4.1
    assert Format(date=True).day(2.0, True) == "1900-01-02"
    assert Format(date=True).day(3687.4207639, True).startswith("1910-02-03 10:05")
    assert Format(date=True).day(0.0, False) == "1904-01-01"
    assert Format(date=True).day(1e12, True) == "of no calendar"
    assert plain(1e22) == "1e22"


def test_cells_are_those_that_other_readers_see(tmp_path: Path) -> None:
    path = messy_workbook(tmp_path / "m.xlsx")
    grid = read_grid(path, sheet="Parts")
    other = openpyxl.load_workbook(path)["Parts"]
    seen = 0
    for at, number in enumerate(grid.numbers):
        for column, series in enumerate(grid.columns):
            cell = other.cell(number, column + 1).value
            text = series[at]
            assert (cell is None) == (text is None)
            if text is not None:
                assert shown(text) == (plain(cell) if isinstance(cell, (int, float)) else cell)
                seen += 1
    assert seen > 50
    merged = {(r.top, r.left, r.bottom, r.right) for r in grid.regions}
    assert merged == {
        (r.min_row, r.min_col, r.max_row, r.max_col) for r in other.merged_cells.ranges
    }


def test_sheets_are_named_or_the_only_one_with_cells(tmp_path: Path) -> None:
    path = messy_workbook(tmp_path / "m.xlsx")
    with pytest.raises(FaultError, match=r'2 sheets with cells.*"Parts", "Notes"'):
        read_grid(path)
    with pytest.raises(FaultError, match='sheet "Prts"'):
        read_grid(path, sheet="Prts")
    assert len(read_grid(path, sheet="Notes").columns) == 1
    with pytest.raises(FaultError, match="a text file has none"):
        read_grid(packed(tmp_path / "t.csv", b"a;b\n"), sheet="Parts")
    for name in ("t.ods", "t.xls", "t.pdf"):
        with pytest.raises(FaultError, match=r"ends in \.csv"):
            read_grid(packed(tmp_path / name, b"x"))
    with pytest.raises(FaultError, match="no such file"):
        read_grid(tmp_path / "none.csv")
    (tmp_path / "d.xlsx").mkdir()
    with pytest.raises(FaultError, match="a folder"):
        read_grid(tmp_path / "d.xlsx")


def test_texts_with_spelled_characters_and_pronunciation(tmp_path: Path) -> None:
    """ECMA-376 part 1, 22.9.2.19 for `_x000D_`; what spells a reading (rPh) is none of the text."""
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    texts = (
        f'<sst xmlns="{main}"><si><r><t>Pa</t></r><r><t>rt</t></r><rPh><t>no</t></rPh></si>'
        "<si><t>a_x0041_b</t></si><si><t>_x005F_x0041_</t></si></sst>"
    )
    book = bare_workbook(
        sheet_xml(cell("A1", "0", "s") + cell("A2", "1", "s") + cell("A3", "2", "s"))
    )
    path = packed(tmp_path / "t.xlsx", book)
    rels = "xl/_rels/workbook.xml.rels"
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    kind = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings"
    more = f'<Relationship Id="r2" Type="{kind}" Target="/xl/texts.xml"/></Relationships>'
    parts[rels] = parts[rels].replace(b"</Relationships>", more.encode())
    parts["xl/texts.xml"] = texts.encode()
    grid = read_grid(packed(path, parts_of_xml(parts)))
    assert grid.columns[0].to_list() == ["Part", "aAb", "_x0041_"]
