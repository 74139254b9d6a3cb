"""Parts as a table and back: the same records, figures to the letter, by other readers too."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.catalogue.edit import quoted
from advisor.catalogue.load import load_catalogue
from advisor.catalogue.records import Catalogue
from advisor.catalogue.shipped import catalogue_folder
from advisor.faults import FaultError
from advisor.studies.sheets import export_table, import_table, propose
from tests.studies import every_key

FORMS = ("csv", "xlsx")


def catalogue_of(folder: Path, **parts: str) -> Catalogue:
    (folder / "parts").mkdir(parents=True, exist_ok=True)
    for name, text in parts.items():
        (folder / "parts" / f"{name}.yaml").write_text(f"part: {name}\n{text}", "utf-8")
    return load_catalogue([folder])


def back(folder: Path, catalogue: Catalogue, form: str) -> Catalogue:
    """The catalogue as its exported table brings it back."""
    found = export_table(catalogue, form)
    table = folder / f"t.{form}"
    table.write_bytes(found.data)
    (folder / "map.yaml").write_text(found.map, "utf-8")
    brought = import_table(table, folder / "map.yaml", folder / "again")
    for path, text in brought.files.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")
    if catalogue.kernels:
        (folder / "again" / "kernels.yaml").write_text(every_key.KERNELS, "utf-8")
    return load_catalogue([folder / "again"])


@pytest.mark.once
@pytest.mark.parametrize("form", FORMS)
def test_the_shipped_parts_come_back(tmp_path: Path, form: str) -> None:
    catalogue = load_catalogue([catalogue_folder()])
    found = export_table(catalogue, form)
    (tmp_path / f"t.{form}").write_bytes(found.data)
    (tmp_path / "map.yaml").write_text(found.map, "utf-8")
    brought = import_table(tmp_path / f"t.{form}", tmp_path / "map.yaml", tmp_path / "again")
    parts = tmp_path / "again" / "parts"
    parts.mkdir(parents=True)
    for path, text in brought.files.items():
        path.write_text(text, "utf-8")
    again = load_catalogue([tmp_path / "again"])
    # records hold each figure's text, so they are equal to the letter
    assert again.parts == catalogue.parts
    assert found.notes == (f"comments stay behind, in the files of {len(catalogue.parts)} parts",)


@pytest.mark.parametrize("form", FORMS)
def test_a_part_that_states_everything_comes_back(tmp_path: Path, form: str) -> None:
    folder = tmp_path / "ours"
    (folder / "parts").mkdir(parents=True)
    (folder / "kernels.yaml").write_text(every_key.KERNELS, "utf-8")
    (folder / "parts" / "probe-part.yaml").write_text(every_key.PART, "utf-8")
    catalogue = load_catalogue([folder])
    assert back(tmp_path, catalogue, form).parts == catalogue.parts


ODD = """\
maker: "=HYPERLINK(1)"
summary: "'quoted, \\"twice\\"; and\\non two lines "
core: {}
features: {UART_2: 3, "a b": 1}
evidence: {one: {}, two: {kind: bench, note: "+1"}}
operating-points: {"Fast mode": {clock: 48 MHz}, slow: {}}
kernels: {Hash: {"Fast mode+aid": {time: 8.1(2) ms}}}
sleep-states:
  ram-kept: {current: {-20.5 degC: {typical: 1 µA, max: 2 µA}, 298.15 K: 3 µA ± 2 %}, retains: []}
  off: {current: {typical: 1 nA, max: 2 nA}, retains: [ram, rtc]}
price: {breaks: {1: 1.10, 1000: 0.90}}
extras: [{item: "crystal 32.768 kHz", price: 0.10}, {item: clip}]
toolchain: {maturity: {kit: {answer: full}, debug: "partial, a word"}}
own-figures: {heat.of.day: 1.50, "-x": 2}
"""


@pytest.mark.parametrize("form", FORMS)
def test_odd_names_and_texts_come_back(tmp_path: Path, form: str) -> None:
    catalogue = catalogue_of(tmp_path / "ours", odd=ODD, bare="")
    again = back(tmp_path, catalogue, form)
    assert again.parts == catalogue.parts
    assert again.parts["odd"].maker == "=HYPERLINK(1)"


@pytest.mark.parametrize(
    "text",
    ["own-figures: {x.max: 1}\n", "features: {'{a}': 1}\n", "own-figures: {'{': 1, 'a{b}': 2}\n"],
)
def test_names_that_no_table_can_hold_are_told(tmp_path: Path, text: str) -> None:
    with pytest.raises(FaultError, match="no table can tell") as error:
        export_table(catalogue_of(tmp_path / "ours", odd=text), "csv")
    place = error.value.faults[0].place
    assert place is not None
    assert place.line == 2


TEXTS = st.text(
    st.characters(exclude_categories=("Cs", "Cc", "Cf", "Zl", "Zp", "Cn", "Co")), min_size=1
).filter(lambda text: text not in ("{}", "[]"))


@settings(max_examples=12)
@given(maker=TEXTS, summary=TEXTS, note=TEXTS)
@pytest.mark.parametrize("form", FORMS)
def test_any_text_comes_back(
    tmp_path_factory: pytest.TempPathFactory, form: str, maker: str, summary: str, note: str
) -> None:
    said = {"maker": maker, "summary": summary}
    lines = "".join(f"{key}: {quoted(text)}\n" for key, text in said.items())
    lines += f"evidence: {{a: {{note: {quoted(note)}}}}}\n"
    folder = tmp_path_factory.mktemp("texts")
    catalogue = catalogue_of(folder, odd=lines)
    # read back and compared by the export itself, which raises where they differ
    data = export_table(catalogue, form).data
    rows = _rows(data, form)
    told = {cell.removeprefix("'") if form == "csv" else cell for row in rows for cell in row}
    assert {maker, summary, note} <= told


def _rows(data: bytes, form: str) -> list[list[str]]:
    """The cells as another reader sees them."""
    if form == "csv":
        return list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))
    sheet = openpyxl.load_workbook(io.BytesIO(data)).active
    return [[cell or "" for cell in row] for row in sheet.iter_rows(values_only=True)]


def test_other_readers_see_the_same_cells(tmp_path: Path) -> None:
    catalogue = load_catalogue([catalogue_folder()]).only(["dunsele-bov", "helmaric-vok"])
    text, book = (export_table(catalogue, form).data for form in FORMS)
    (tmp_path / "t.csv").write_bytes(text)
    (tmp_path / "t.xlsx").write_bytes(book)
    plain: dict[str, Any] = {"dtype": str, "keep_default_na": False}
    one = pd.read_csv(tmp_path / "t.csv", **plain)
    two = pd.read_excel(tmp_path / "t.xlsx", **plain)
    # CSV leads what a spreadsheet would run by an apostrophe
    assert one.map(lambda cell: cell.removeprefix("'")).equals(two)
    part = one[(one["part"] == "dunsele-bov") & (one["{kernel}"] == "hash")]
    assert part["kernels.{kernel}.{point}.time"].tolist() == ["1.087(3) ms", "4.34(1) ms"]
    sheet = openpyxl.load_workbook(tmp_path / "t.xlsx").active
    assert {cell.data_type for row in sheet.iter_rows() for cell in row if cell.value} == {"s"}
    # the same catalogue gives the same bytes
    assert export_table(catalogue, "xlsx").data == book


def test_an_exported_table_needs_no_map(tmp_path: Path) -> None:
    catalogue = catalogue_of(tmp_path / "ours", odd=ODD)
    for form in FORMS:
        table = tmp_path / f"t.{form}"
        table.write_bytes(export_table(catalogue, form).data)
        (tmp_path / "map.yaml").write_text(propose(table).text, "utf-8")
        found = import_table(table, tmp_path / "map.yaml", tmp_path / "again")
        assert [part.part for part in found.parts] == ["odd"]


def test_a_table_saved_by_a_spreadsheet_of_another_land_comes_back(tmp_path: Path) -> None:
    """Semicolons and cp1252, as spreadsheets save text with a decimal comma."""
    text = "maker: Ö\nsleep-states: {off: {current: 8.1(2) µA}}\n"
    catalogue = catalogue_of(tmp_path / "ours", odd=text)
    found = export_table(catalogue, "csv")
    out = io.StringIO()
    csv.writer(out, delimiter=";").writerows(_rows(found.data, "csv"))
    (tmp_path / "t.csv").write_bytes(out.getvalue().encode("cp1252"))
    (tmp_path / "map.yaml").write_text(found.map, "utf-8")
    brought = import_table(tmp_path / "t.csv", tmp_path / "map.yaml", tmp_path / "again")
    (text,) = brought.files.values()
    assert "8.1(2) µA" in text
    assert len(brought.notes) == 2
