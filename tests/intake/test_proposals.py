"""Maps proposed for tables: they work on the table, and say where they are unsure."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from advisor.faults import FaultError
from advisor.intake.trade_words import guesses
from advisor.studies.sheets import Imported, import_table, propose
from tests.intake.sheets import messy_text, messy_workbook, workbook


def by_proposal(folder: Path, table: Path) -> tuple[str, Imported]:
    """(the map proposed, what it brings)."""
    found = propose(table)
    (folder / "map.yaml").write_text(found.text, "utf-8")
    return found.text, import_table(table, folder / "map.yaml", folder / "ours")


@pytest.mark.parametrize("form", ["xlsx", "csv"])
def test_the_messy_table_goes_in_by_its_own_proposal(tmp_path: Path, form: str) -> None:
    make = messy_workbook if form == "xlsx" else messy_text
    text, found = by_proposal(tmp_path, make(tmp_path / f"m.{form}"))
    for line in (
        *("header: [2, 3]", "unit-row: 4", "decimal: comma", "thousands: point", "part: Part"),
        'blanks: ["-", n/a]',
        "memory.flash: {column: Flash, unit: KiB}  # unsure: KB taken as KiB",
        "supply.max: {column: VDD, end: high}",
        'sleep-states.sleep.current.85 degC: "85 °C"',
        'price.breaks.1000: "1.000+"',
        "lifecycle: {column: Status, words: {Active: active, NRND: last-orders}}",
        "price.currency: EUR",
        'skip-rows: ["7"]',
    ):
        assert line in text
    assert [part.part for part in found.parts] == ["orlen-kav", "orlen-tul", "sundry-poj"]
    written = next(iter(found.files.values()))
    assert "current: {25 degC: 1.03 µA, 85 degC: 8.27 µA}" in written
    assert "table: {kind: estimate" in written


def test_a_long_table_of_kernels(tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text(
        "device,kernel,mode,time (ms),current (mA),idle current [µA],clock MHz,weight\n"
        "orlen-kav,hash,fast,0.41,5.1,900,48,2\norlen-kav,crc,fast,0.1,4,,48,2\n",
        "utf-8",
    )
    text, found = by_proposal(tmp_path, table)
    assert "rows:\n  kernel: kernel\n  point: mode\n" in text
    assert "# no key is told for: clock MHz, weight" in text
    (written,) = found.files.values()
    assert "fast: {time: 0.41 ms, current: 5.1 mA, evidence: table}" in written
    assert "idle-current: 900 µA" in written


def test_a_quote(tmp_path: Path) -> None:
    table = tmp_path / "q.csv"
    table.write_text(
        "MPN\tQty\tUnit Price (USD)\tMOQ\tPack Qty\tLead Time\tStock\n"
        "orlen-kav\t1\t1.20\t10\t5\t10\t100\norlen-kav\t100\t0.98\t10\t5\t10\t100\n",
        "utf-8",
    )
    text, found = by_proposal(tmp_path, table)
    assert "price.lead-time: {column: Lead Time, unit: weeks}  # unsure: the table tells no" in text
    (written,) = found.files.values()
    for line in ("breaks: {10: 1.20, 100: 0.98}", "multiple: 5", "lead-time: 10 weeks"):
        assert line in written
    assert "minimum-order: MOQ" in text
    assert "orlen-kav: sold from 10 pieces, so no price at 1" in found.notes
    assert "price.currency: USD" in text


def test_columns_that_are_something_else_are_put_off(tmp_path: Path) -> None:
    rows: list[list[Any]] = [["Part", "Flash", "RAM (KB)", "Status"], ["a", "plenty", 8, "new"]]
    rows += [["b", "some", 16, "old"], ["c", 64, 32, "active"]]
    text, found = by_proposal(tmp_path, workbook(tmp_path / "t.xlsx", rows))
    assert "# memory.flash: {column: Flash, unit: KiB}  # unsure: cells are read as" in text
    assert "# lifecycle: Status  # unsure: cells are read as" in text
    assert [part.values for part in found.parts] == [1, 1, 1]
    rows = [["Part", "Flash"], ["a", "plenty"], ["b", "some"]]
    text = propose(workbook(tmp_path / "t.xlsx", rows)).text
    assert "keys: {}" in text
    assert "# memory.flash" in text


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("Program Memory Size", "memory.flash"),
        ("Memory / RAM", "memory.ram"),
        ("SRAM", "memory.ram"),
        ("VDD min", "supply.min"),
        ("Supply voltage max.", "supply.max"),
        ("Temp. range", "temperature.range"),
        ("Operating temp", "temperature.range"),
        ("UARTs", "features.uart"),
        ("ADC resolution", "features.adc-bits"),
        ("Price @ 1k", "price.breaks.1000"),
        ("Price 10.000+", "price.breaks.10000"),
        ("Unit price", "price.breaks.1"),
        ("Standby current typ", "sleep-states.standby.current.typical"),
        ("Sleep current 85 °C max", "sleep-states.sleep.current.85 degC.max"),
        ("Wake-up time", "sleep-states.sleep.wake-time"),
        ("Max. frequency", "operating-points.run.clock"),
        ("Manufacturer", "maker"),
        ("Remarks on cooking", None),
    ],
)
def test_names_of_the_trade(name: str, key: str | None) -> None:
    found = next(guesses(name, point="run", kernel=None, quantity=None), None)
    assert (None if found is None else found.key) == key


def test_a_table_without_a_header_is_told(tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text("1;2;3\n4;5;6\n", "utf-8")
    with pytest.raises(FaultError, match="no row of names"):
        propose(table)
    table.write_bytes(b"")
    with pytest.raises(FaultError, match="an empty table"):
        propose(table)
