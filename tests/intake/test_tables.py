"""Tables through maps: what comes in, and what is refused at its cell."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from advisor.catalogue.load import load_catalogue
from advisor.faults import FaultError
from advisor.studies.check import check_catalogue
from advisor.studies.sheets import Imported, import_table
from tests.intake.sheets import MAP, messy_text, messy_workbook, workbook

SIMPLE = "part: Part\nkeys:\n  memory.flash: Flash (KiB)\n"


def brought(folder: Path, table: str | bytes, text: str = SIMPLE, name: str = "t.csv") -> Imported:
    """A table's parts by a map."""
    path = folder / name
    path.write_bytes(table.encode() if isinstance(table, str) else table)
    return through(folder, path, text)


def through(folder: Path, path: Path, text: str, update: bool = False) -> Imported:
    """The parts of a table that stands."""
    (folder / "map.yaml").write_text(text, "utf-8")
    return import_table(path, folder / "map.yaml", folder / "ours", update=update)


def only(found: Imported) -> str:
    """The text of the one part."""
    (text,) = found.files.values()
    return text


def refused(folder: Path, table: str | bytes, text: str = SIMPLE, name: str = "t.csv") -> list[str]:
    """The faults of a table, without the folder."""
    with pytest.raises(FaultError) as error:
        brought(folder, table, text, name)
    return [fault.text().replace(f"{folder}/", "") for fault in error.value.faults]


def kept(found: Imported, folder: Path) -> Path:
    """The parts in a catalogue's folder."""
    for path, text in found.files.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")
    return folder / "ours"


@pytest.mark.parametrize("make", [messy_workbook, messy_text])
def test_a_messy_table_goes_in_by_a_short_map(tmp_path: Path, make: object) -> None:
    assert len(MAP.splitlines()) < 30
    text_file = make is messy_text
    path = messy_text(tmp_path / "m.csv") if text_file else messy_workbook(tmp_path / "m.xlsx")
    text = MAP.replace("sheet: Parts\n", "") if text_file else MAP
    found = through(tmp_path, path, text)
    assert [part.part for part in found.parts] == ["orlen-kav", "orlen-tul", "sundry-poj"]
    catalogue = load_catalogue([kept(found, tmp_path)])
    assert check_catalogue(catalogue).warnings == ()
    kav, tul, poj = catalogue.parts.values()
    assert kav.memory.flash is not None
    assert (kav.memory.flash.text, kav.supply.min.text) == ("88 KiB", "1.8 V")  # type: ignore[union-attr]
    assert tul.memory.flash.nominal == 1088 * 1024  # type: ignore[union-attr]
    assert tul.lifecycle == "last-orders"
    assert tul.price is not None
    assert tul.price.breaks is not None
    # the cell holds the number 2.412, or the text 2,412 behind a thousands point
    assert tul.price.breaks[1000].text == "2.412"
    assert tul.price.lead_time is None
    # a blank and what stands for one are absent, never zero
    assert poj.price is not None
    assert set(poj.price.breaks or {}) == {1, 1000}
    assert poj.sleep_states["ram-kept"].current.keys == ("25 degC",)  # type: ignore[union-attr]
    assert any("cp1252" in note for note in found.notes) == text_file


def test_several_rows_a_part_fill_placeholders(tmp_path: Path) -> None:
    table = (
        "Part,Kernel,Mode,Clock (MHz),Time,Current (mA),Idle\n"
        "Orlen KAV,Hash,Fast mode,48,0.412(3),5.1 ± 2 %,1.1\n"
        "Orlen KAV,Hash,slow,8,2.4,0.9 ± 0.1 (k=2),\n"
        ",CRC,slow+DMA,8,1.2 us,900 µA,\n"
    )
    text = (
        "part: Part\nfill-down: [Part]\n"
        "rows: {kernel: Kernel, point: {column: Mode, words: {Fast mode: fast}}}\n"
        "keys:\n"
        "  kernels.{kernel}.{point}.time: {column: Time, unit: ms}\n"
        "  kernels.{kernel}.{point}.current: Current\n"
        "constants:\n"
        "  kernels.{kernel}.{point}.evidence: bench\n"
        "  evidence.bench.kind: bench\n"
        "  operating-points.fast.clock: 48 MHz\n"
        "  operating-points.slow.clock: 8 MHz\n"
    )
    with pytest.raises(FaultError, match="an operating point of this part"):
        brought(tmp_path, table, text)
    text = text.replace("constants:\n", "  operating-points.{point}.clock: Clock\nconstants:\n")
    text = "".join(line + "\n" for line in text.splitlines() if "clock: 4" not in line)
    text = "".join(line + "\n" for line in text.splitlines() if "clock: 8 MHz" not in line)
    with pytest.raises(FaultError, match=r"slow\+dma"):
        # a point with an engine is no operating point itself
        brought(tmp_path, table.replace("slow,8", "slower,8"), text)
    table = table.replace(",8,1.2 us", ",,1.2 us")
    written = only(brought(tmp_path, table, text))
    assert "fast: {time: 0.412(3) ms, current: 5.1 mA ± 2 %, evidence: bench}" in written
    assert "slow: {time: 2.4 ms, current: 0.9 ± 0.1 mA (k=2), evidence: bench}" in written
    assert "slow+dma: {time: 1.2 us, current: 900 µA, evidence: bench}" in written


@pytest.mark.parametrize(
    ("cells", "layout", "expected"),
    [
        ("1.088", "decimal: comma\nthousands: point", "1088 KiB"),
        ("1 088,5", "decimal: comma\nthousands: blank", "1088.5 KiB"),
        ("1\u202f088", "thousands: blank", "1088 KiB"),
        ("1'088", "thousands: apostrophe", "1088 KiB"),
        ('"1,088.25"', "thousands: comma", "1088.25 KiB"),
        (" 88 ", "", "88 KiB"),
        ("64 B", "", "64 B"),
        ("6.5", "", "6.5 KiB"),
        (".5", "", ".5 KiB"),
    ],
)
def test_numbers_as_people_write_them(
    tmp_path: Path, cells: str, layout: str, expected: str
) -> None:
    text = f"delimiter: comma\n{layout}\n{SIMPLE}"
    if "," in cells and '"' not in cells:
        cells = f'"{cells}"'
    assert f"{{flash: {expected}}}" in only(
        brought(tmp_path, f"Part,Flash (KiB)\na,{cells}\n", text)
    )


@pytest.mark.parametrize(
    ("cell", "layout", "words"),
    [
        ("1.088", "decimal: comma", "with a decimal comma"),
        ("1,088", "", "with a decimal point"),
        ("10,88", "thousands: comma", "threes parted as the map says"),
        ("1.2.3", "", "with a decimal point"),
        ("x", "", "an amount of information"),
        ("64 KX", "", "an amount of information"),
        ("#N/A", "", "blanks: names this one"),
        ("#REF!", "", "blanks: names this one"),
        ("1-Feb", "", "a figure that became a date?"),
        ("Feb 26", "", "a figure that became a date?"),
        ("-5", "", "not below zero"),
        ("<5", "", "an amount of information"),
    ],
)
def test_cells_that_are_no_figures(tmp_path: Path, cell: str, layout: str, words: str) -> None:
    table = f"Part;Flash (KiB)\nok;5\na;{cell}\n"
    (fault,) = refused(tmp_path, table, f"delimiter: semicolon\n{layout}\n{SIMPLE}")
    assert fault.startswith("t.csv:3:2: ")
    assert words in fault


def test_every_fault_at_once_with_its_cell(tmp_path: Path) -> None:
    rows: list[list[Any]] = [
        ["Part", "Flash (KiB)", "Idle (mA)", "Part 2"],
        ["a", 64, "x", None],
        ["../b", 64, None, None],
        [None, 64, None, None],
        ["a b", "1,5", None, None],
        ["a-b", 12, None, None],
        ["only a name"],
    ]
    path = workbook(tmp_path / "t.xlsx", rows)
    text = SIMPLE + "  operating-points.run.idle-current: Idle\n"
    found = refused(tmp_path, path.read_bytes(), text, "t.xlsx")
    places = [fault.partition(": ")[0] for fault in found]
    assert sorted(places) == [
        *("t.xlsx:Parts!A3", "t.xlsx:Parts!A4", "t.xlsx:Parts!A6", "t.xlsx:Parts!A7"),
        *("t.xlsx:Parts!B5", "t.xlsx:Parts!C2"),
    ]
    assert not (tmp_path / "ours").exists()


@pytest.mark.parametrize(
    "name", ["../x", "a/b", "/etc/x", "..", "é", "a:b", "x\\y", "=1+1", "a..b", "-", "con\u200b"]
)
def test_names_that_are_no_ids_are_refused(tmp_path: Path, name: str) -> None:
    (fault,) = refused(tmp_path, f"Part,Flash (KiB)\n{name},64\n", f"delimiter: comma\n{SIMPLE}")
    assert fault.startswith("t.csv:2:1: part: read")
    again = f'delimiter: comma\nnames: {{"{name}": good}}\n{SIMPLE}'.replace("\\", "\\\\")
    assert "part: good" in only(brought(tmp_path, f"Part,Flash (KiB)\n{name},64\n", again))


def test_what_cannot_be_told_of_the_map(tmp_path: Path) -> None:
    text = (
        "header: [1]\npart: Prt\n"
        "rows: {kernel: Kernel, idle: Kernel}\n"
        "keys:\n"
        "  memory.flsh: Flash\n"
        "  memory: Flash\n"
        "  memory.ram: {column: Flash, place: B}\n"
        "  kernels.{kernel}.{point}.time: Flash\n"
        "  supply.min: {column: Flash, unit: mA}\n"
        "  temperature.max: {place: ZZ}\n"
        "  features.uart: {column: Flash, unit: MHz}\n"
        "skip-rows: [x]\n"
    )
    found = "\n".join(refused(tmp_path, "Part,Flash,Kernel\na,64,b\n", text))
    for words in (
        'map.yaml:2:7: map:part: read "Prt"; expected a column of the table; nearest valid: Part',
        "nearest valid: memory.flash",
        "below it flash, ram",
        "neither or both of column and place",
        "rows: that names the column of this placeholder",
        "{idle}, which no key has",
        "a unit of voltage",
        "the letters of a column",
        'map:skip-rows: read "x"',
        "map:keys.features.uart",
    ):
        assert words in found, found


def test_units_of_map_and_table_must_agree(tmp_path: Path) -> None:
    table = "Part,Idle\n,mA\na,1.1\n"
    text = "unit-row: 2\npart: Part\nkeys:\n  operating-points.run.idle-current: {}\n"
    (fault,) = refused(tmp_path, table, text.format("{column: Idle, unit: µA}"))
    assert 'expected "mA", as the table has it' in fault
    assert "1.1 mA" in only(brought(tmp_path, table, text.format("Idle")))
    (fault,) = refused(tmp_path, table.replace("mA", "KB"), text.format("Idle"))
    assert fault.startswith("t.csv:2:2: ")
    (fault,) = refused(tmp_path, table.replace("mA", ""), text.format("Idle"))
    assert fault.startswith("t.csv:3:2: ")
    assert "with its unit" in fault


def test_names_that_stand_twice_need_a_place(tmp_path: Path) -> None:
    table = "Part,Flash (KiB),Flash (KiB)\na,64,32\n"
    (fault,) = refused(tmp_path, table)
    assert "a column's place: one of B, C" in fault
    text = "part: Part\nkeys:\n  memory.flash: {place: C}\n"
    assert "32 KiB" in only(brought(tmp_path, table, text))


def test_rows_that_tell_two_things_of_one(tmp_path: Path) -> None:
    table = "Part,Flash (KiB)\na,64\na,64\n"
    assert "64 KiB" in only(brought(tmp_path, table))
    (fault,) = refused(tmp_path, table + "a,65\n")
    assert fault.startswith("t.csv:4:2: a:memory.flash: ")
    assert "as t.csv:2:2 has it" in fault.replace(f"{tmp_path}/", "")


def test_rows_are_taken_and_passed_over(tmp_path: Path) -> None:
    table = "Part,Flash (KiB),Pack\na,64,reel\na,66,tray\nb,x,\nc,1,reel\nd,9,none\n"
    text = SIMPLE + "only-where: {Pack: [reel, none]}\nskip-where: {Pack: [none]}\n"
    found = brought(tmp_path, table, text)
    assert [part.part for part in found.parts] == ["a", "c"]
    found = brought(tmp_path, table, SIMPLE + 'skip-rows: ["3-4", "6"]\n')
    assert [part.part for part in found.parts] == ["a", "c"]
    assert "columns that no key takes: Pack" in found.notes


def test_rows_of_a_workbook_go_by_what_its_cells_show(tmp_path: Path) -> None:
    rows: list[list[Any]] = [
        ["Part", "Flash (KiB)", "Rev"],
        [4711, 64, 2],
        [4712, 32, 3],
        ["x" * 101, 1, 3],
    ]
    path = workbook(tmp_path / "t.xlsx", rows)
    found = through(tmp_path, path, SIMPLE + 'only-where: {Rev: ["2"]}\n')
    assert [part.part for part in found.parts] == ["4711"]
    found = through(tmp_path, path, SIMPLE + 'skip-where: {Rev: ["2"], Flash: ["1"]}\n')
    assert [part.part for part in found.parts] == ["4712"]
    with pytest.raises(FaultError, match="a name of 101 characters"):
        through(tmp_path, path, SIMPLE)


@pytest.mark.parametrize(
    ("cell", "low", "high"),
    [
        ("1.8 – 3.6", "1.8 V", "3.6 V"),
        ("1.8 to 3.6 V", "1.8 V", "3.6 V"),
        ("1800-3600 mV", "1800 mV", "3600 mV"),
        ("1800 mV … 3.6 V", "1800 mV", "3.6 V"),
        ("1.8...3.6", "1.8 V", "3.6 V"),
        ("1.8V~3.6V", "1.8V", "3.6V"),
    ],
)
def test_ranges_in_one_cell(tmp_path: Path, cell: str, low: str, high: str) -> None:
    table = f"Part;VDD\na;{cell}\n"
    keys = "".join(
        f"  supply.{key}: {{column: VDD, unit: V, end: {end}}}\n"
        for key, end in (("min", "low"), ("max", "high"))
    )
    written = only(brought(tmp_path, table, f"part: Part\nkeys:\n{keys}"))
    assert f"supply: {{min: {low}, max: {high}}}" in written
    (fault, _) = refused(tmp_path, "Part;VDD\na;3.3\n", f"part: Part\nkeys:\n{keys}")
    assert "a range such as 1.8 to 3.6" in fault


def test_ranges_of_temperature(tmp_path: Path) -> None:
    text = "part: Part\nkeys:\n"
    for key, end in (("min", "low"), ("max", "high")):
        text += f"  temperature.{key}: {{column: T, unit: degC, end: {end}}}\n"
    for cell in ("-40 to +85", "-40…85 °C", "−40 – 85", "-40-85", "-40 ... 85"):
        (part,) = brought(tmp_path, f"Part;T\na;{cell}\n", text).files.values()
        found = load_catalogue_text(tmp_path, part)
        assert found == (-40.0, 85.0), cell


def load_catalogue_text(folder: Path, text: str) -> tuple[float, float]:
    """The temperatures of a part's text."""
    parts = folder / "seen" / "parts"
    parts.mkdir(parents=True, exist_ok=True)
    (parts / "a.yaml").write_text(text, "utf-8")
    span = load_catalogue([folder / "seen"]).parts["a"].temperature
    assert span.min is not None
    assert span.max is not None
    return span.min.nominal, span.max.nominal


def test_spreads_in_columns_of_their_own(tmp_path: Path) -> None:
    table = "Part,Typ,Max\na,1.1,2.2\nb,1.5,\nc,,3\n"
    text = (
        "part: Part\nkeys:\n"
        "  sleep-states.off.current.typical: {column: Typ, unit: µA}\n"
        "  sleep-states.off.current.max: {column: Max, unit: µA}\n"
    )
    (fault,) = refused(tmp_path, table, text)
    assert fault.startswith("t.csv:4:3: c:sleep-states.off.current: read max alone")
    a, b = brought(tmp_path, table.replace("c,,3\n", ""), text).files.values()
    assert "current: {typical: 1.1 µA, max: 2.2 µA}" in a
    assert "current: 1.5 µA" in b


def test_parts_that_stand_are_put_into_with_their_comments(tmp_path: Path) -> None:
    kept(brought(tmp_path, "Part,Flash (KiB)\na,64\nb,64\n"), tmp_path)
    file = tmp_path / "ours" / "parts" / "a.yaml"
    file.write_text("# ours\npart: a  # mine\nmemory:\n  flash: 64 KiB  # of the sheet\n", "utf-8")
    path = tmp_path / "t.csv"
    path.write_text("Part,Flash (KiB)\na,128\nb,64\nc,5\n", "utf-8")
    with pytest.raises(FaultError, match="--update"):
        through(tmp_path, path, SIMPLE)
    found = through(tmp_path, path, SIMPLE, update=True)
    assert [(p.part, p.new, p.changed) for p in found.parts] == [
        *(("a", False, True), ("b", False, False), ("c", True, True)),
    ]
    expected = "# ours\npart: a  # mine\nmemory:\n  flash: 128 KiB  # of the sheet\n"
    assert found.files[file] == expected
    file.write_text("part: a\nmemory: {flash: 64 KiB}\nsupply: {min: 1 V, max: 2 V}\n", "utf-8")
    path.write_text("Part,Vmin (V)\na,3\n", "utf-8")
    with pytest.raises(FaultError, match=r"t\.csv:2:2: a:supply\.min: read 3 V above 2 V"):
        through(tmp_path, path, "part: Part\nkeys:\n  supply.min: Vmin\n", update=True)


def test_a_map_says_the_encoding_and_a_wrong_one_is_told(tmp_path: Path) -> None:
    table = "Part,Größe (KiB)\na,64\n"
    text = "part: Part\nkeys:\n  memory.flash: Größe\n"
    for encoding in ("utf-8", "utf-8-sig", "utf-16", "cp1252"):
        assert "64 KiB" in only(brought(tmp_path, table.encode(encoding), text))
    (fault,) = refused(tmp_path, table.encode("cp1252"), "encoding: utf-8\n" + text)
    assert "byte 0xf6" in fault
    (fault,) = refused(tmp_path, b"\x81\n", text)
    assert "text in utf-8 or cp1252" in fault
